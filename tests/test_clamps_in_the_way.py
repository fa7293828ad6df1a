"""Keep-outs against a sweep in small steps, whose outlines are shapely's and whose radii are written down apart."""

import itertools
import math

import numpy as np
import pytest
import shapely
from shapely import affinity

from shopcalc.cutters import Cutter
from shopcalc.errors import InputError
from shopcalc.holding.collisions import bodies_of, check_clear
from shopcalc.holding.keep_outs import KeepOut, box, cylinder
from shopcalc.holding.tool_body import Holder, Piece, tool_body
from shopcalc.moves import PLANE_AXES, Kind, from_lists, join

HOLDER = Holder((Piece("nut", 20.0, 40.0), Piece("spindle nose", 60.0, 90.0)))
SQ = Cutter("SQ12", "", "square end", 12.0, 12.0, 2, 30.0, 80.0, 40.0)
RACK = (
    SQ,
    Cutter("SURF", "", "surfacing", 50.0, 12.0, 3, 12.0, 70.0, 38.0),
    Cutter("BALL", "", "ball", 16.0, 12.0, 2, 25.0, 80.0, 45.0),
    Cutter("V60", "", "V", 20.0, 8.0, 2, 16.0, 60.0, 34.0, tip_diameter=1.0, included_angle=math.pi / 3),
    Cutter("TB", "", "tapered ball", 6.0, 6.0, 2, 25.0, 60.0, 40.0, tip_diameter=3.0, included_angle=math.radians(11)),
)
GREY = 0.2  # mm: nearer to touching than this is judged by nobody


def parts_of(c):
    """Low and high end of each part, and its widest radius up to a height."""

    def flutes(h):
        h, r = np.clip(h, 0.0, c.cutting_length), c.diameter / 2
        if c.shape == "ball":
            return np.sqrt(np.maximum(r**2 - np.maximum(r - h, 0.0) ** 2, 0.0))
        if c.shape == "V":
            return np.minimum(c.tip_diameter / 2 + h * math.tan(c.included_angle / 2), r)
        if c.shape == "tapered ball":
            b, a = c.tip_diameter / 2, c.included_angle / 2
            up = b * (1 - math.sin(a))
            ball = np.sqrt(np.maximum(b**2 - np.maximum(b - h, 0.0) ** 2, 0.0))
            return np.where(h < up, ball, np.minimum(b * math.cos(a) + (h - up) * math.tan(a), r))
        return np.full_like(h, r)

    def plain(r):
        return lambda h: np.full_like(h, r)

    yield "flutes", 0.0, c.cutting_length, flutes
    yield "shank", c.cutting_length, c.stick_out, plain(c.shank / 2)
    at = c.stick_out
    for part, long, wide in HOLDER.pieces:
        yield part, at, at + long, plain(wide / 2)
        at += long


def samples(moves, step=0.3):
    """Tip positions along each move, and the move."""
    out, which = [], []
    for i in range(len(moves)):
        a, b = moves.points[i], moves.points[i + 1]
        n = int(moves.lengths[i] / step) + 2
        t = np.linspace(0, 1, n)[:, None]
        at = a + t * (b - a)
        if moves.kind[i] == Kind.ARC:
            k = int(np.flatnonzero(moves.arc_index == i)[0])
            p, q, _ = PLANE_AXES[moves.arc_plane[k]]
            u, v = a[p] - moves.arc_centre[k, p], a[q] - moves.arc_centre[k, q]
            angle = t[:, 0] * moves.arc_sweep[k]
            at[:, p] = moves.arc_centre[k, p] + u * np.cos(angle) - v * np.sin(angle)
            at[:, q] = moves.arc_centre[k, q] + u * np.sin(angle) + v * np.cos(angle)
        out.append(at)
        which.append(np.full(n, i))
    return np.concatenate(out), np.concatenate(which)


def shape_of(k: KeepOut):
    if k.half_length == 0:
        return shapely.Point(k.x, k.y)
    flat = shapely.box(-k.half_length, -k.half_width, k.half_length, k.half_width)
    return affinity.translate(affinity.rotate(flat, k.turn, origin=(0, 0), use_radians=True), k.x, k.y)


def swept(moves, cutter, keeps, grow):
    """(move, part, name) that overlap in any sample, everything grown (or shrunk) by so much."""
    at, which = samples(moves)
    found = set()
    for k in keeps:
        room = shapely.distance(shape_of(k), shapely.points(at[:, :2])) - (k.rounding if k.half_length == 0 else 0.0)
        for part, low, high, radius in parts_of(cutter):
            bottom, top = k.bottom - at[:, 2] - grow, k.top - at[:, 2] + grow
            meets = (bottom < high) & (top > low)
            hit = meets & (room < radius(np.minimum(top, high)) + grow)
            found |= {(int(i), part, k.name) for i in np.unique(which[hit])}
    return found


def random_path(rng, at, count=5):
    points, kinds, arcs = [np.array(at, dtype=float)], [], {}
    for i in range(count):
        here = points[-1]
        pick = rng.integers(0, 5)
        if pick < 3:
            step = np.array([*rng.uniform(-60, 60, 2), rng.choice([0.0, rng.uniform(-12, 12)])])
            points.append(here + step)
            kinds.append(Kind.RAPID if pick == 0 else Kind.LINE)
            continue
        plane = int(rng.integers(0, 3)) if pick == 4 else 0
        p, q, n = PLANE_AXES[plane]
        sweep = float(rng.uniform(-3, 3) if plane == 0 else rng.uniform(-1.5, 1.5))
        radius, begin = rng.uniform(3, 40 if plane == 0 else 12), rng.uniform(0, 2 * np.pi)
        centre, end = here.copy(), here.copy()
        centre[p], centre[q] = here[p] - radius * np.cos(begin), here[q] - radius * np.sin(begin)
        end[p] = centre[p] + radius * np.cos(begin + sweep)
        end[q] = centre[q] + radius * np.sin(begin + sweep)
        end[n] = here[n] + rng.uniform(-5, 5)
        points.append(end)
        kinds.append(Kind.ARC)
        arcs[i] = (centre, sweep, plane)
    return from_lists(points, kinds, feed=3000, arcs=arcs)


def random_keeps(rng):
    for n in range(2):
        x, y = rng.uniform(-70, 70, 2)
        bottom = rng.uniform(-30, 10)
        top = bottom + rng.uniform(5, 60)
        if rng.random() < 0.5:
            yield cylinder(f"bolt {n}", x, y, rng.uniform(6, 30), bottom=bottom, top=top)
        else:
            turn = rng.choice([0.0, rng.uniform(0, np.pi)])
            yield box(f"clamp {n}", x, y, *rng.uniform(10, 80, 2), bottom=bottom, top=top, turn=turn)


def test_planted_collisions_are_all_found_and_none_is_invented():
    """300 loads with collisions and 300 without, judged by the sweep in small steps."""
    rng = np.random.default_rng(5)
    planted, clean, parts, kinds = 0, 0, set(), set()
    while planted < 300 or clean < 300:
        cutter = RACK[rng.integers(len(RACK))]
        keeps = list(random_keeps(rng))
        moves = random_path(rng, (*rng.uniform(-60, 60, 2), rng.uniform(-25, 40)))
        sure, possible = swept(moves, cutter, keeps, -GREY), swept(moves, cutter, keeps, GREY)
        if (sure and planted >= 300) or (not sure and (clean >= 300 or possible)):
            continue
        told = check_clear(moves, tool_body(cutter, HOLDER), keeps)
        found = {(int(i), c.part, c.keep_out) for c in told.collisions for i in c.moves}
        assert sure <= found, (cutter.id, sorted(sure - found))
        assert found <= possible, (cutter.id, sorted(found - possible))
        planted, clean = planted + bool(sure), clean + (not possible)
        parts |= {part for _, part, _ in sure}
        kinds |= {(int(moves.kind[i]), plane_of(moves, i)) for i, _, _ in sure}
        assert bool(sure) == bool(told.collisions)
    assert parts == {"flutes", "shank", "nut", "spindle nose"}
    assert kinds == {(0, -1), (1, -1), (2, 0), (2, 1), (2, 2)}  # rapids, lines, arcs in all three planes


def plane_of(moves, i):
    found = np.flatnonzero(moves.arc_index == i)
    return int(moves.arc_plane[found[0]]) if len(found) else -1


def line(a, b, kind=Kind.LINE):
    return from_lists([a, b], [kind], feed=3000)


def only(found):
    (c,) = found.collisions
    return c


def test_a_clamp_in_the_path_of_the_flutes():
    """A line 10 mm beside a box's face, cutter of 12: 6 - 10 + 15 sideways; 5 mm of height."""
    found = check_clear(line((0, 0, 15), (100, 0, 15)), tool_body(SQ, HOLDER),
                        [box("clamp", 50, 20, 30, 30, bottom=0, top=20)])  # fmt: skip
    c = only(found)
    assert (c.part, c.keep_out) == ("flutes", "clamp")
    assert c.sideways == pytest.approx(1.0, abs=1e-6)
    assert c.rise == pytest.approx(5.0, abs=1e-9)
    assert c.depth == pytest.approx(1.0, abs=1e-6)
    assert found.shift("clamp") == (pytest.approx(1.0, abs=1e-5), "+y")


def test_the_holder_meets_a_clamp_that_the_flutes_pass():
    """Nut of 40 across, 40 over the tip: tip at -25, so its face is at 15, 8 under the clamp's top."""
    found = check_clear(line((0, 0, -25), (100, 0, -25)), tool_body(SQ, HOLDER),
                        [box("clamp", 50, 25, 30, 30, bottom=0, top=23)])  # fmt: skip
    nut = only(found)
    assert nut.part == "nut"
    assert nut.rise == pytest.approx(8.0)
    assert nut.sideways == pytest.approx(10.0)
    assert "stick out 8 mm more" in found.remedy(nut)
    longer = check_clear(line((0, 0, -25), (100, 0, -25)),
                         tool_body(Cutter("L", "", "square end", 12.0, 12.0, 2, 30.0, 90.0, 48.0), HOLDER),
                         found.keep_outs)  # fmt: skip
    assert longer.clear


def test_a_bolt_under_a_groove():
    bolt = cylinder("bolt", 40, 2, 8, bottom=-40, top=-6)
    deep = check_clear(line((0, 0, -8), (100, 0, -8)), tool_body(SQ, HOLDER), [bolt])
    assert only(deep).rise == pytest.approx(2.0)
    assert only(deep).sideways == pytest.approx(6 + 4 - 2, abs=1e-6)  # both radii less the distance of the axes
    assert check_clear(line((0, 0, -6), (100, 0, -6)), tool_body(SQ, HOLDER), [bolt]).clear  # touches
    near = check_clear(line((0, 0, -5), (100, 0, -5)), tool_body(SQ, HOLDER), [bolt], margin=3)
    assert only(near).depth < 0
    assert "nearer than the margin" in near.says()[0]


def test_a_rapid_asks_for_more_height_and_names_its_line():
    found = check_clear(line((0, 0, 10), (100, 0, 10), Kind.RAPID), tool_body(SQ, HOLDER),
                        [box("clamp", 50, 0, 20, 20, bottom=-20, top=22)])  # fmt: skip
    assert "raise the clearance height by 12 mm" in found.says()[0]


@pytest.mark.parametrize("way", ["+x", "-x", "+y", "-y"])
def test_a_shift_is_the_least_that_clears(way):
    """Shifted by what is told every move is clear, by a tenth less it is not; no nearer place on any side is."""
    rng = np.random.default_rng(int.from_bytes(way.encode()))
    seen = 0
    while seen < 8:
        moves, keeps = random_path(rng, (0, 0, 0), 6), list(random_keeps(rng))[:1]
        found = check_clear(moves, tool_body(SQ, HOLDER), keeps)
        if not found.collisions or (told := found.shift(keeps[0].name)) is None or told[1] != way:
            continue
        seen += 1

        def room(by, side, k=keeps[0], m=moves):
            dx, dy = {"+x": (by, 0), "-x": (-by, 0), "+y": (0, by), "-y": (0, -by)}[side]
            return check_clear(m, tool_body(SQ, HOLDER), [k.moved(dx, dy)]).clear

        assert room(told[0] + 1e-4, way)
        for share, side in itertools.product(np.linspace(0, 0.99, 25), ("+x", "-x", "+y", "-y")):
            assert not room(share * (told[0] - 0.1), side)


def test_turning_frame_and_path_together_changes_nothing():
    rng = np.random.default_rng(2)
    c, s = math.cos(0.7), math.sin(0.7)
    for _ in range(40):
        keeps, at = list(random_keeps(rng)), rng.uniform(-80, 80, (6, 3)) * (1, 1, 0.2)
        lines = [Kind.LINE] * 5
        turned = np.stack([c * at[:, 0] - s * at[:, 1], s * at[:, 0] + c * at[:, 1], at[:, 2]], axis=1)
        one = check_clear(from_lists(at, lines, feed=1), tool_body(SQ, HOLDER), keeps)
        two = check_clear(from_lists(turned, lines, feed=1), tool_body(SQ, HOLDER), [k.turned(0.7) for k in keeps])
        key = [(x.keep_out, x.part, x.moves.tolist(), round(x.sideways, 5)) for x in one.collisions]
        assert key == [(x.keep_out, x.part, x.moves.tolist(), round(x.sideways, 5)) for x in two.collisions]


def test_a_body_holds_the_cutter_and_stands_out_little():
    for cutter in RACK:
        body = tool_body(cutter, HOLDER)
        name, _, high, radius = next(parts_of(cutter))
        for h in np.linspace(0.001, high - 0.001, 400):
            (s,) = (x for x in body.sections if x.low <= h < x.high)
            r = s.radius_low + (s.radius_high - s.radius_low) * (h - s.low) / (s.high - s.low)
            true = float(radius(np.array([h]))[0])
            assert r >= true - 1e-9
            if cutter.shape not in ("ball", "tapered ball"):
                assert r == pytest.approx(true, abs=1e-9)
        assert body.parts == (name, "shank", "nut", "spindle nose")


def test_bodies_are_found_by_label_and_unknown_ones_are_told():
    path = from_lists([(0, 0, 0), (1, 0, 0)], [Kind.LINE], feed=1, cutter=7, labels={7: "sq12"})
    assert bodies_of(path, {"SQ12": SQ})[7].id == "SQ12"
    lost = check_clear(path, bodies_of(path, {}), [cylinder("bolt", 50, 0, 5, bottom=0, top=1)])
    assert not lost.clear
    assert "cutter sq12" in lost.says()[0]


def test_what_moves_before_any_cutter_is_called_is_checked_with_the_longest():
    first = from_lists([(0, 0, 5), (100, 0, 5)], [Kind.RAPID], labels={1: "V60", 2: "SQ12"})
    then = [from_lists([(100, 0, 5), (100, 0, 5)], [Kind.DWELL], value=[1], cutter=n) for n in (1, 2)]
    moves = join([first, *then])
    bodies = bodies_of(moves, {c.id: c for c in RACK}, HOLDER)
    assert bodies[0].id == "SQ12"
    found = check_clear(moves, bodies, [box("clamp", 50, 0, 20, 20, bottom=0, top=9)])
    assert "raise the clearance height by 4 mm" in found.says()[0]
    assert "5/32 in" in found.says("inch")[0] or "3/16 in" in found.says("inch")[0]


@pytest.mark.parametrize(
    ("make", "word"),
    [
        (lambda: box("clamp", 0, 0, 10, 0, bottom=0, top=1), "width"),
        (lambda: cylinder("bolt", 0, 0, 5, bottom=3, top=3), "top above"),
        (lambda: KeepOut("stop", 0, 0, 0, 0, 0, 0, 0, 1), "no size"),
        (lambda: check_clear(line((0, 0, 0), (1, 0, 0)), tool_body(SQ), [], margin=-1), "below zero"),
        (lambda: check_clear(line((0, 0, 0), (1, 0, 0)), tool_body(SQ), []).shift("x"), "no keep-out"),
    ],
)
def test_what_makes_no_sense_is_refused(make, word):
    with pytest.raises(InputError, match=word):
        make()
