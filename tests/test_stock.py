"""Layouts on boards and sheets against shapely, an exhaustive search and bounds; and their diagrams."""

import itertools
import random
import time
import xml.etree.ElementTree as ET
from functools import cache

import pytest
from shapely import STRtree, box, union_all

from shopcalc.stock.bounds import bound
from shopcalc.stock.cutting_order import cutting_order
from shopcalc.stock.drawing import cut_diagram
from shopcalc.stock.layout import Item, Piece
from shopcalc.stock.packing import lay_out

SVG = "{http://www.w3.org/2000/svg}"


def board(name, length, width, trim=0.0, count=1, defect=None):
    """A board whose cost is its area, with a stretch cut out where there is a defect."""
    spans = [(trim, length - trim)] if defect is None else [(trim, defect[0]), (defect[1], length - trim)]
    clear = tuple((a, trim, b - a, width - 2 * trim) for a, b in spans if b > a)
    return Item(name, length, width, clear, count, length * width * 1e-4)


def random_case(seed):
    """Pieces, items, kerf and the two switches, of sizes a shop meets and some that fit nowhere."""
    rng = random.Random(seed)
    sheets = seed % 2 == 1
    high = (700, 900) if sheets else (1500, 210)
    pieces = []
    for k in range(rng.randint(1, 6)):
        size = rng.uniform(80, high[0]), rng.uniform(25, high[1] if rng.random() < 0.9 else 1.5 * high[1])
        pieces += [Piece(f"p{k}", *size, f"p{k}")] * rng.randint(1, 4)
    if sheets:
        items = [board("sheet", 2440, 1220, 12, rng.choice([1, 20])), board("half", 1220, 1220, 12, 2)]
    else:
        items = []
        for k in range(rng.randint(2, 8)):
            length = rng.uniform(1200, 3600)
            flaw = None if rng.random() < 0.7 else (length * 0.4, length * 0.4 + rng.uniform(20, 200))
            items.append(board(f"b{k}", length, rng.uniform(110, 240), 6, 1, flaw))
    turnable = sheets and rng.random() < 0.5
    return pieces, items, rng.choice([0.0, 3.2, 9.5]), not sheets or rng.random() < 0.5, turnable


@pytest.mark.parametrize("start", range(0, 200, 25))
def test_pieces_lie_inside_apart_once_and_along_the_grain(start):
    """200 random cases; shapely knows nothing of how they were laid out. Positions are whole hundredths of a mm."""
    for seed in range(start, start + 25):
        pieces, items, kerf, edge, turnable = random_case(seed)
        found = lay_out(pieces, items, kerf, edge_to_edge=edge, turnable=turnable, tries=8)
        laid = [p for f in found.filled for p in f.laid]
        assert sorted([*(p.piece for p in laid), *found.missing]) == list(range(len(pieces))), seed
        for item in items:
            assert sum(f.item == item for f in found.filled) <= item.count
        for f in found.filled:
            room = union_all([box(x, y, x + a, y + b) for x, y, a, b in f.item.clear]).buffer(0.011, join_style="mitre")
            shapes = [box(p.x, p.y, p.x + p.length, p.y + p.width) for p in f.laid]
            assert all(room.contains(s) for s in shapes), seed
            tree = STRtree(shapes)
            for k, s in enumerate(shapes):  # square neighbourhood: a kerf is as wide as the blade in both directions
                around = s.buffer(max(kerf - 0.011, -0.011), join_style="mitre")
                near = [j for j in tree.query(around) if j != k and shapes[j].intersection(around).area > 1e-6]
                assert not near, (seed, kerf)
            if edge:
                order = cutting_order(f, pieces, kerf)
                assert order.edge_to_edge, seed
                assert {c.gives for c in order.cuts if c.gives} <= {p.label for p in pieces}
                left = [box(x, y, x + a, y + b) for x, y, a, b in order.leftovers]
                assert all(s.intersection(piece).area < 1.0 for s in left for piece in shapes)
        for p in laid:
            size = pieces[p.piece].length, pieces[p.piece].width
            assert (p.length, p.width) == (size[::-1] if p.turned else size)
            assert turnable or not p.turned
        assert found.bound <= found.cost + 1e-9, seed
        for k in found.missing:  # no board that is left would take it
            size = pieces[k].length, pieces[k].width
            ways = (size, size[::-1]) if turnable else (size,)
            left = [i for i in items if sum(f.item == i for f in found.filled) < i.count]
            assert not any(w[0] <= r[2] and w[1] <= r[3] for w in ways for i in left for r in i.clear), seed


# --- an exhaustive search --------------------------------------------------------------------------------------------


def least_length(sizes, width, kerf):
    """Shortest board of this width that cuts from edge to edge can free these pieces from: every division tried."""

    @cache
    def shortest(these, wide):
        if len(these) == 1:
            length, across = sizes[these[0]]
            return length if across <= wide + 1e-9 else float("inf")
        best = float("inf")
        for part in itertools.chain.from_iterable(itertools.combinations(these, n) for n in range(1, len(these))):
            rest = tuple(t for t in these if t not in part)
            best = min(best, shortest(part, wide) + kerf + shortest(rest, wide))
            for some in itertools.chain.from_iterable(itertools.combinations(part, n) for n in range(1, len(part) + 1)):
                low = sum(sizes[t][1] for t in some) + kerf * (len(some) - 1)
                if low + kerf < wide:
                    best = min(best, max(shortest(part, low), shortest(rest, round(wide - low - kerf, 6))))
        return best

    return lambda these: shortest(tuple(sorted(these)), width)


def cheapest(pieces, items, kerf):
    """Least cost over all ways to share pieces out among single boards."""
    sizes = [(p.length, p.width) for p in pieces]
    every = range(len(pieces))
    subsets = [s for n in range(len(pieces) + 1) for s in itertools.combinations(every, n)]
    best = {(): 0.0}
    for item in items:
        (_, _, length, width) = item.clear[0]
        need = least_length(sizes, width, kerf)
        fits = [s for s in subsets if s and need(s) <= length + 1e-9]
        step = dict(best)
        for done, cost in best.items():
            for s in fits:
                if not set(s) & set(done):
                    key = tuple(sorted((*done, *s)))
                    step[key] = min(step.get(key, float("inf")), cost + item.cost)
        best = step
    return best.get(tuple(every))


@pytest.mark.parametrize("seed", range(24))
def test_small_layouts_are_as_good_as_an_exhaustive_search(seed):
    """Five pieces, three boards, all cuts from edge to edge; sizes in whole mm, so that both count alike."""
    rng = random.Random(seed)
    pieces = [Piece(f"p{k}", rng.randint(200, 900), rng.randint(40, 150)) for k in range(5)]
    items = [board(f"b{k}", rng.randint(900, 1800), rng.randint(150, 260)) for k in range(3)]
    best = cheapest(pieces, items, 3.0)
    found = lay_out(pieces, items, 3.0)
    if best is None:
        assert found.missing
        return
    assert not found.missing
    assert found.cost == pytest.approx(best)
    assert found.bound <= best + 1e-9


def test_the_bound_is_met_where_nothing_is_wasted():
    """Six pieces that fill a board to the last kerf; a seventh needs another one."""
    item = board("b", 3 * 400 + 2 * 3, 2 * 100 + 3, count=5)
    pieces = [Piece("p", 400, 100)] * 6
    found = lay_out(pieces, [item], 3.0)
    assert (len(found.filled), found.missing) == (1, ())
    assert found.bound == pytest.approx(found.cost)
    assert bound([*pieces, Piece("p", 400, 100)], [item], 3.0) == pytest.approx(2 * item.cost)


def test_wide_pieces_cannot_lie_side_by_side_and_the_bound_knows():
    """Area would let two boards do; each piece is wider than half a board."""
    item = board("b", 1000, 200, count=10)
    pieces = [Piece("p", 990, 105)] * 4
    assert bound(pieces, [item], 3.0) == pytest.approx(4 * item.cost)
    assert lay_out(pieces, [item], 3.0).cost == pytest.approx(4 * item.cost)


def test_nothing_wanted_nothing_that_fits_and_nothing_to_cut_from():
    assert lay_out([], [board("b", 1000, 200)], 3.0).filled == ()
    large = lay_out([Piece("p", 1001, 50)], [board("b", 1000, 200)], 3.0)
    assert (large.missing, large.filled, large.bound) == ((0,), (), 0.0)
    assert lay_out([Piece("p", 10, 5)], [], 3.0).missing == (0,)


def test_a_piece_may_fill_a_board_to_its_edges():
    assert not lay_out([Piece("p", 2438.4, 1219.2)], [board("s", 2438.4, 1219.2)], 9.525).missing


def sixty(seed, high):
    rng = random.Random(seed)
    kinds = [(rng.uniform(150, high[0]), rng.uniform(30, high[1])) for _ in range(20)]
    return [Piece(f"p{k}", *s, f"p{k}") for k, s in enumerate(kinds) for _ in range(3)]


def test_sixty_parts_on_boards_and_on_sheets_take_less_than_five_seconds_each():
    """On a pile of forty random boards, and on whole sheets; and most of the wood is used."""
    rng = random.Random(5)
    pile = [board(f"b{k}", 304.8 * rng.randint(6, 12), rng.uniform(127, 229), 4) for k in range(40)]
    sheets = [board("sheet", 2440, 1220, 12, 60)]
    for pieces, items, edge, least in (
        (sixty(1, (1200, 120)), pile, True, 0.7),
        (sixty(2, (700, 500)), sheets, False, 0.6),
    ):
        began = time.process_time()
        found = lay_out(pieces, items, 3.2, edge_to_edge=edge)
        assert time.process_time() - began < 5.0
        assert not found.missing
        assert found.yield_ > least
        assert found.bound <= found.cost
        assert found.waste == pytest.approx(1 / found.yield_ - 1)


def test_the_same_seed_gives_the_same_layout_and_more_tries_are_never_worse_than_all_boards():
    pieces, items = sixty(3, (900, 100))[:20], [board(f"b{k}", 2000 + 100 * k, 150 + 5 * k, 3) for k in range(12)]
    one, two = (lay_out(pieces, items, 3.2, tries=20) for _ in range(2))
    assert one == two
    assert one.cost <= sum(i.cost for i in items)


# --- the order of cuts -----------------------------------------------------------------------------------------------


def test_a_pinwheel_cannot_be_sawn_and_is_said_so():
    """Five pieces round a middle one: the known figure that no cut from edge to edge divides."""
    from shopcalc.stock.layout import Filled, Laid

    pieces = [Piece(n, 1, 1, n) for n in "abcde"]
    laid = (Laid(0, 0, 0, 60, 30), Laid(1, 60, 0, 30, 60), Laid(2, 30, 60, 60, 30), Laid(3, 0, 30, 30, 60),
            Laid(4, 30, 30, 30, 30))  # fmt: skip
    order = cutting_order(Filled(board("s", 90, 90), laid), pieces, 0.0)
    assert not order.edge_to_edge
    rows = cutting_order(Filled(board("s", 90, 90), laid[:1]), pieces, 0.0)
    assert rows.edge_to_edge
    assert sum(a * b for _, _, a, b in rows.leftovers) == pytest.approx(90 * 90 - 60 * 30)


def test_cuts_and_leftovers_account_for_the_whole_board():
    """Pieces, leftovers and what the blade takes: the area of every cut is a kerf wide at most."""
    pieces = [Piece("rail", 600, 70, "rail")] * 4 + [Piece("stile", 400, 50, "stile")] * 3
    found = lay_out(pieces, [board("b", 2400, 160)], 3.0)
    (f,) = found.filled
    order = cutting_order(f, pieces, 3.0)
    blade = sum(3.0 * (c.width if c.kind == "crosscut" else c.length) for c in order.cuts)
    rest = f.item.area - sum(p.area for p in pieces) - sum(a * b for _, _, a, b in order.leftovers)
    assert 0 <= rest <= blade + 1
    assert [c.gives for c in order.cuts].count("rail") <= 4


# --- diagrams --------------------------------------------------------------------------------------------------------

HOSTILE = '</text><script>alert("x")</script>&"\'\x00\x1b\u202e<image href="http://example.org/x.png"/>'


def test_hostile_titles_do_no_harm():
    pieces = [Piece(HOSTILE, 600, 140, HOSTILE[:20])]
    found = lay_out(pieces, [board(HOSTILE, 2400, 160)], 3.0)
    text = cut_diagram(HOSTILE, found.filled, pieces, 3.0)
    root = ET.fromstring(text)  # refuses control characters and stray markup
    assert {e.tag.removeprefix(SVG) for e in root.iter()} == {
        "svg", "title", "style", "defs", "pattern", "rect", "line", "text",
    }  # fmt: skip
    assert not [a for e in root.iter() for a in e.attrib if "href" in a or a.startswith("on")]
    assert "<script>" in "".join(root.itertext())  # as plain letters


def test_the_diagram_shows_every_piece_in_its_place():
    """Rectangles of the drawing over one scale are the pieces of the layout, upside up."""
    pieces = sixty(4, (700, 90))[:12]
    found = lay_out(pieces, [board(f"b{k}", 2000, 180, 3, 1, (900, 950)) for k in range(8)], 3.2)
    root = ET.fromstring(cut_diagram("boards", found.filled, pieces, 3.2, system="metric", keep=(100, 50)))
    rects = root.findall(f".//{SVG}rect[@class='piece']")
    shown = sorted((float(r.get("width")) * 2, float(r.get("height")) * 2) for r in rects)
    wanted = sorted((p.length, p.width) for p in pieces)
    for a, b in zip(shown, wanted, strict=True):
        assert a == pytest.approx(b, abs=0.02)
    assert len(root.findall(f".//{SVG}rect[@class='defect']")) == len(found.filled)
    words = [t.text for t in root.findall(f".//{SVG}text")]
    assert all(any(w.startswith(f"{k + 1}") for w in words) for k in range(len(pieces)))
