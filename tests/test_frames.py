"""Frames: sizes as written by hand, geometry against shapely slice by slice, refusals with the size that mends them."""

import math
import re
import tomllib
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
import shapely
from shapely import Point, Polygon, box

from shopcalc.errors import InputError
from shopcalc.frames import Frame, as_job_text, expand, layout
from shopcalc.frames.sizing import sizes_of
from shopcalc.jobs import estimate, open_job
from shopcalc.jobs.reading import check_job
from shopcalc.jobs.wood import take_off_job
from shopcalc.shop import Shop, demo_folder
from shopcalc.units import read

SHOP = Shop.open()
ROUTER = SHOP.machine("router")
DOOR = {"id": "door", "material": "white-oak", "width": "20 in", "height": "30 in", "thickness": "7/8 in"}


def frame(**more) -> Frame:
    return Frame.model_validate(DOOR | more)


def job(*frames, **heading):
    data = {"job": {"name": "Frames", "machine": "router"} | heading, "frames": list(frames)}
    return check_job(data, "frames.toml", SHOP)


# --- against what was written by hand --------------------------------------------------------------------------------

CHEST = {"material": "white-oak", "panel_material": "yellow-poplar", "height": "21 1/8 in", "thickness": "7/8 in",
         "stile": "2 1/2 in", "foot": "1 1/2 in"}  # fmt: skip
SIDES = {
    "end": (CHEST | {"id": "end", "width": "18 1/4 in"}, {"stile": "stile", "rail": "end-rail", "panel": "end-panel"}),
    "back": (
        CHEST | {"id": "back", "width": "42 in", "muntins": 2, "muntin": "2 in"},
        {"stile": "stile", "rail": "long-rail", "muntin": "muntin", "panel": "panel"},
    ),
}


@pytest.mark.parametrize("side", SIDES)
def test_a_side_of_the_chest_comes_out_as_it_was_written_by_hand(side):
    """Every part has the sizes, and every operation the figures, of the chest's own; only cutters may differ."""
    table, same = SIDES[side]
    chest = open_job(demo_folder() / "jobs" / "reed-bed-chest.toml")
    made = job(table)
    assert sorted(p.id for p in made.parts) == sorted(f"{side}-{k}" for k in same)
    for ours, theirs in same.items():
        part, hand = made.part(f"{side}-{ours}"), chest.part(theirs)
        for name in ("length", "width", "thickness", "extra_length", "extra_width", "extra_thickness"):
            assert getattr(part, name) == pytest.approx(getattr(hand, name), abs=1e-6), (ours, name)
        assert (part.material, part.grain, part.glued) == (hand.material, hand.grain, hand.glued)
        for o in hand.operations or chest.part("long-rail").operations[1:]:
            mine = next(x for x in part.operations if x.kind == o.kind)
            for name in set(type(o).model_fields) - {"cutter", "program", "note"}:
                assert getattr(mine, name) == pytest.approx(getattr(o, name), abs=1e-6), (ours, o.kind, name)
    loads = {
        (load.part, next(p.station for p in made.programs if p.id == load.program)): load.count for load in made.loads
    }
    assert loads[f"{side}-rail", "end"] == 4
    if side == "back":
        assert loads["back-muntin", "edge"] == loads["back-muntin", "end"] == 4


def test_a_plain_door_takes_a_dozen_lines_and_is_timed_and_priced(tmp_path):
    text = """[job]
name = "Door"
machine = "router"
[[frames]]
id = "door"
material = "white-oak"
panel_material = "yellow-poplar"
width = "20 in"
height = "30 in"
thickness = "7/8 in"
"""
    assert len(text.splitlines()) <= 12
    (tmp_path / "door.toml").write_text(text)
    found = estimate(open_job(tmp_path / "door.toml"))
    assert {p.program.station for p in found.programs} == {"flat", "edge", "end"}
    assert all(p.planned > 5 for p in found.programs)
    assert not found.job.warnings


def test_the_example_of_the_readme_is_a_frame():
    text = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")
    [example] = re.findall(r"```toml\n(\[\[frames\]\].*?)```", text, re.S)
    made = job(*tomllib.loads(example)["frames"])
    assert len(made.expansion.layouts[0].openings) == 4
    assert made.expansion.layouts[0].arch is not None


def test_the_tables_as_text_are_the_same_job():
    """Taken over in place of the frames, they give the same parts, programs, loads and planned times."""
    tables = [
        DOOR | {"joint": "haunched", "arch": "2 in", "top_rail": "5 in", "quantity": 3, "title": 'a "door" \\ 1'},
        DOOR | {"id": "wide", "width": "30 in", "muntins": 1, "joint": "paired", "stile": "4 in", "corners": "squared"},
    ]
    made = job(*tables)
    text = as_job_text(made.expansion)
    data = {"job": {"name": "Frames", "machine": "router"}} | tomllib.loads(text)
    taken = check_job(data, "frames.toml", SHOP)
    assert taken.parts == made.parts
    assert taken.programs == made.programs
    assert taken.loads == made.loads
    assert [p.planned for p in estimate(taken).programs] == [p.planned for p in estimate(made).programs]


def test_like_parts_of_several_frames_share_their_programs():
    """Doors of one height and two widths: stiles and rail ends are the same, rails are not as long."""
    made = job(DOOR | {"quantity": 2}, DOOR | {"id": "wide", "width": "26 in"})
    runs = {}
    for load in made.loads:
        runs.setdefault(load.program, []).append(load.part)
    assert runs["door-stile-mortises"] == ["door-stile", "wide-stile"]
    assert runs["door-rail-ends"] == ["door-rail", "wide-rail"]
    assert runs["door-rail-grooves"] == ["door-rail"]
    assert next(x.count for x in made.loads if x.part == "door-rail" and x.program == "door-rail-ends") == 8
    assert next(x.count for x in made.loads if x.part == "wide-rail" and x.program == "door-rail-ends") == 4


def test_metric_frames_take_metric_usual_sizes():
    table = {"id": "d", "material": "white-oak", "width": "500 mm", "height": "800 mm", "thickness": "22 mm"}
    laid = layout(Frame.model_validate(table), SHOP, "metric")
    assert laid.sizes.groove_depth == 10
    assert laid.openings[0].width == pytest.approx(500 - 2 * laid.sizes.stile)
    made = check_job({"job": {"name": "d", "machine": "router", "system": "metric"}, "frames": [table]}, "f", SHOP)
    assert made.part("d-panel").width == pytest.approx(laid.openings[0].width + 2 * 10 - 6)


# --- geometry, slice by slice ----------------------------------------------------------------------------------------


def random_table(rng) -> dict:
    """Frames of many kinds; some are impossible."""

    def mm(low, high):
        return f"{rng.uniform(low, high):.2f} mm"

    rows = int(rng.integers(0, 4))
    out = {
        "id": "r", "material": "white-oak", "width": mm(350, 1300), "height": mm(500, 1900), "thickness": mm(19, 34),
        "stile": mm(55, 110), "joint": str(rng.choice(["plain", "haunched", "stepped", "paired"])),
        "corners": str(rng.choice(["rounded", "squared", "relieved"])), "middle_rails": rows,
        "panel": str(rng.choice(["raised", "flat"])), "raised_faces": int(rng.integers(1, 3)),
        "top_rail": mm(70, 190), "bottom_rail": mm(70, 190),
        "muntins": [int(v) for v in rng.integers(0, 4, rows + 1)],
    }  # fmt: skip
    if rng.random() < 0.4:
        out |= {"arch": mm(15, 90), "muntins": [*out["muntins"][:-1], 0]}
    if rng.random() < 0.4:
        out["foot"] = mm(20, 150)
    if rng.random() < 0.5:
        out["muntin"] = mm(40, 80)
    if rng.random() < 0.5:
        out["groove_depth"] = mm(7, 13)
    return out


def cases(number: int):
    rng = np.random.default_rng(20)
    found = []
    while len(found) < number:
        table = random_table(rng)
        try:
            found.append(layout(Frame.model_validate(table), SHOP, "metric"))
        except InputError:
            continue
    return found


CASES = cases(200)


def circle_of(laid):
    """Centre and radius of the arch from three of its points alone."""
    ring = laid.member("top rail").outline
    (ax, ay), (bx, by), (cx, cy) = ring[0], ring[len(ring) // 3], ring[len(ring) - 3]
    d = 2 * (ax * (by - cy) + bx * (cy - ay) + cx * (ay - by))
    ux = ((ax**2 + ay**2) * (by - cy) + (bx**2 + by**2) * (cy - ay) + (cx**2 + cy**2) * (ay - by)) / d
    uy = ((ax**2 + ay**2) * (cx - bx) + (bx**2 + by**2) * (ax - cx) + (cx**2 + cy**2) * (bx - ax)) / d
    return (ux, uy), math.hypot(ax - ux, ay - uy)


def grooved_away(laid, m, z):
    """What grooves take out of a member at a height z off the middle of the thickness, as a shapely area."""
    s, out = laid.sizes, []
    if abs(z) >= s.groove / 2 or m.role == "panel":
        return Polygon()
    d, (x0, y0, x1, y1) = s.groove_depth, Polygon(m.outline).bounds
    if m.role == "stile":
        low, high = laid.stile_groove
        round_end = s.groove / 2 - math.sqrt((s.groove / 2) ** 2 - z * z)
        low, high = low + (round_end if low > 0 else 0), high - (round_end if high < laid.frame.height else 0)
        return box(x1 - d, low, x1, high) if x0 == 0 else box(x0, low, x0 + d, high)
    far = laid.frame.width
    if m.role == "muntin":
        return shapely.union_all([box(x0, y0 - far, x0 + d, y1 + far), box(x1 - d, y0 - far, x1, y1 + far)])
    if m.name != "bottom rail" and laid.arch is not None and m.name == "top rail":
        centre, radius = circle_of(laid)
        return Point(centre).buffer(radius + d, quad_segs=2000).intersection(box(x0 - far, y0, x1 + far, y1))
    if m.name != "bottom rail":
        out.append(box(x0 - far, y0, x1 + far, y0 + d))
    if m.name != "top rail":
        out.append(box(x0 - far, y1 - d, x1 + far, y1))
    return shapely.union_all(out)


def slices(laid, z):
    """Every member cut through parallel to the frame's face."""
    s, out = laid.sizes, {}
    for m in laid.members:
        wood = Polygon(m.outline)
        if m.role == "panel":
            if abs(z) >= s.tongue / 2:
                wood = wood.buffer(-s.rim) if s.raise_depth(laid.frame) else Polygon()
        elif m.role in ("rail", "muntin"):
            thick = laid.joints[0].tenon.thickness if m.role == "rail" else s.groove - s.clearance
            if abs(z) < thick / 2:
                wood = shapely.union_all([wood, *map(Polygon, m.tongues)])
        elif abs(z) < s.mortise / 2:
            x0, _, x1, _ = wood.bounds
            d = laid.joints[0].mortise_depth
            for a, b in (span for j in laid.joints for span in j.mortises):
                wood = wood.difference(box(x1 - d, a, x1, b) if x0 == 0 else box(x0, a, x0 + d, b))
        out[m.name] = wood.difference(grooved_away(laid, m, z))
    return out


def hollows(laid):
    """Every groove and mortise in the middle of the thickness, where the only room in a frame may be."""
    s, out = laid.sizes, []
    for m in laid.members:
        wood = shapely.union_all([Polygon(m.outline), *map(Polygon, m.tongues)])
        out.append(grooved_away(laid, m, 0.0).intersection(wood))
        if m.role == "stile":
            left = m.name == "left stile"
            x = s.stile - s.mortise_depth if left else laid.frame.width - s.stile
            out += [box(x, a, x + s.mortise_depth, b) for j in laid.joints for a, b in j.mortises]
    return shapely.union_all(out)


def opening_of(laid, panel):
    """The field of a panel, from the frame's own members by shapely alone."""
    w, h = laid.frame.width, laid.frame.height
    fixed = shapely.union_all([Polygon(m.outline) for m in laid.members if m.role != "panel"])
    holes = box(0, 0, w, h).difference(fixed)
    centre = Polygon(panel.outline).centroid
    return next(p for p in getattr(holes, "geoms", [holes]) if p.contains(centre))


@pytest.mark.parametrize("number", range(0, 200, 20))
def test_members_fill_the_frame_and_no_wood_stands_in_wood(number):
    """Slices in the middle, at the tongue's cheek, beside the groove and at the face: union and overlap by shapely."""
    for laid in CASES[number : number + 20]:
        s, f = laid.sizes, laid.frame
        outer = box(0, 0, f.width, f.height).difference(box(s.stile, 0, f.width - s.stile, f.foot))
        faces = {m.name: Polygon(m.outline) for m in laid.members if m.role != "panel"}
        for a, b in combinations(faces.values(), 2):
            assert a.intersection(b).area < 1e-6
        fields = [opening_of(laid, m) for m in laid.members if m.role == "panel"]
        assert sum(p.area for p in [*faces.values(), *fields]) == pytest.approx(outer.area, rel=1e-9)
        assert shapely.union_all([*faces.values(), *fields]).symmetric_difference(outer).area < 1e-3
        assert len(fields) == len(laid.openings) == sum(n + 1 for n in s.muntins)
        heights = [0.0, min(s.tongue, s.groove - s.clearance) / 2 * 0.999, f.thickness / 2 * 0.999]
        if s.mortise > s.groove + 0.5:
            heights.append((s.groove + laid.joints[0].tenon.thickness) / 4)
        for z in heights:
            wood = slices(laid, z)
            for (p, a), (q, b) in combinations(wood.items(), 2):
                assert a.intersection(b).area < 0.02, (p, q, z, f)
        empty = outer.difference(shapely.union_all(list(slices(laid, 0.0).values())))
        assert empty.difference(hollows(laid)).area < 0.5, (
            f
        )  # chords of arcs apart, all room lies in grooves and mortises


def test_each_panel_stands_in_its_groove_by_what_was_asked():
    for laid in CASES:
        s = laid.sizes
        for m in (m for m in laid.members if m.role == "panel"):
            field, wood = opening_of(laid, m), Polygon(m.outline)
            (x0, y0, x1, y1), (u0, v0, u1, v1) = wood.bounds, field.bounds
            inside = s.groove_depth - s.clearance_across / 2, s.groove_depth - s.clearance_along / 2
            np.testing.assert_allclose([u0 - x0, x1 - u1], inside[0], atol=1e-6)
            np.testing.assert_allclose([v0 - y0, y1 - v1], inside[1], atol=1e-6)
            if len(m.outline) > 4:
                centre, radius = circle_of(laid)
                away = np.hypot(*(m.outline[2:] - centre).T)
                np.testing.assert_allclose(away, radius + inside[1], atol=1e-6)
                assert laid.frame.arch == pytest.approx(v1 - laid.openings[-1].y[1], abs=1e-6)
            else:
                assert wood.area == pytest.approx((x1 - x0) * (y1 - y0))


def test_tenons_are_their_mortises_less_the_clearance():
    """The room in a joint, by volume, against boxes of shapely; and every mortise has wood around it."""
    for laid in CASES:
        s, f = laid.sizes, laid.frame
        stile = Polygon(laid.member("left stile").outline)
        for j in laid.joints:
            rings = [Polygon(t) for t in laid.member(j.rail).tongues if t[:, 0].max() < f.width / 2]
            wood = shapely.union_all(rings)
            holes = [box(s.stile - j.mortise_depth, a, s.stile, b) for a, b in j.mortises]
            assert wood.within(stile.buffer(1e-6))
            beyond = wood.difference(box(s.stile - s.groove_depth, 0, s.stile, f.height))
            deep = [h.difference(box(s.stile - s.groove_depth, 0, s.stile, f.height)) for h in holes]
            room = sum(
                (h.bounds[3] - h.bounds[1]) * (h.bounds[2] - h.bounds[0])
                - (h.bounds[3] - h.bounds[1] - s.edge_clearance) * (h.bounds[2] - h.bounds[0] - s.end_gap)
                for h in deep
            )
            assert shapely.union_all(deep).area - beyond.area == pytest.approx(room, abs=1e-6)
            assert beyond.difference(shapely.union_all(holes)).area < 1e-9
            assert j.tenon.thickness == pytest.approx(j.mortise_width - s.clearance)
            assert all(h.bounds[0] > 5.99 and h.bounds[1] > 4 and h.bounds[3] < f.height - 4 for h in holes)


def test_parts_are_as_large_as_their_members_with_tenons():
    for laid in CASES:
        for m in laid.members:
            ring = shapely.union_all([Polygon(m.outline), *map(Polygon, m.tongues)])
            x0, y0, x1, y1 = ring.bounds
            long, wide = (x1 - x0, y1 - y0) if m.role == "rail" else (y1 - y0, x1 - x0)
            assert (m.length, m.width) == pytest.approx((long, wide), abs=1e-6)


# --- what cannot be, and what mends it -------------------------------------------------------------------------------

REFUSED = {
    "width": ({"width": "5 in", "stile": "2 1/2 in"}, "width"),
    "muntins leave no openings": ({"muntins": 7}, "width"),
    "height": ({"height": "5 1/2 in", "stile": "2 1/2 in"}, "height"),
    "rails too near": ({"middle_rails": [{"from_foot": "4 in"}]}, "middle_rails[0].from_foot"),
    "groove leaves no walls": ({"groove": "3/4 in", "mortise": "3/4 in"}, "groove"),
    "mortise leaves no walls": ({"mortise": "3/4 in"}, "mortise"),
    "haunch wants mortise and groove alike": ({"joint": "haunched", "mortise": "3/8 in"}, "mortise"),
    "groove wider than the mortise": ({"groove": "3/8 in", "mortise": "1/4 in"}, "groove"),
    "mortise through the stile": ({"mortise_depth": "2 1/4 in", "stile": "2 1/4 in", "mortise_cutter": "SQ12L",
                                   "mortise": "1/2 in", "groove": "1/4 in", "thickness": "1 1/2 in"}, "mortise_depth"),
    "tenon hardly longer than the groove": ({"mortise_depth": "1/2 in"}, "mortise_depth"),
    "loose": ({"clearance": "1/8 in"}, "clearance"),
    "tongue too narrow": ({"top_rail": "1 in"}, "top_rail"),
    "paired in a narrow rail": ({"joint": "paired", "top_rail": "6 in", "bottom_rail": "2 in"}, "bottom_rail"),
    "mortise at the stile's end": ({"joint": "haunched", "haunch": "1/8 in"}, "haunch"),
    "panel tongue": ({"panel_fit": "1/4 in"}, "panel_fit"),
    "panel rattles": ({"panel": "flat", "panel_thickness": "1/8 in"}, "panel_thickness"),
    "panel too thin to raise": ({"panel_thickness": "1/4 in"}, "panel_thickness"),
    "panel leaves its groove along": ({"clearance_along": "3/4 in"}, "clearance_along"),
    "panel leaves its groove across": ({"clearance_across": "3/8 in"}, "clearance_across"),
    "rim ends in the groove": ({"rim": "1/4 in"}, "rim"),
    "border too wide": ({"muntins": 3, "border": "3 in"}, "border"),
    "border as narrow as its rim": ({"border": "1/4 in"}, "border"),
    "cove too steep": ({"profile": "cove", "border": "1/2 in"}, "border"),
    "arch too high for its rail": ({"arch": "2 in"}, "arch"),
    "arch too steep": ({"arch": "5 in", "top_rail": "9 in"}, "arch"),
    "groove deeper than its cutter": ({"groove_depth": "1 1/4 in", "mortise_depth": "1 3/4 in", "mortise": "1/2 in",
                                       "stile": "4 in", "clearance_across": "1/4 in", "mortise_cutter": "SQ12L"},
                                      "groove_depth"),
    "mortise deeper than its cutter": ({"mortise_depth": "1 1/2 in"}, "mortise_depth"),
    "tenon longer than its cutter": ({"mortise_depth": "1 3/4 in", "tenon_cutter": "SQ12", "mortise": "1/2 in",
                                      "mortise_cutter": "SQ12L", "thickness": "1 1/4 in", "stile": "3 in"},
                                     "mortise_depth"),
    "gap narrower than its cutter": ({"joint": "paired", "top_rail": "6 in", "bottom_rail": "6 in", "gap": "1/4 in",
                                      "tenon_cutter": "SQ12"}, "gap"),
    "border deeper than its cutter": ({"panel_thickness": "1 1/2 in", "raise_cutter": "SURF50"}, "panel_thickness"),
    "stile longer than its station": ({"height": "82 in"}, "height"),
    "rail longer than its station": ({"width": "84 in", "muntins": 3, "top_rail": "5 in"}, "width"),
    "rail wider than the end station": ({"bottom_rail": "10 in"}, "bottom_rail"),
    "stile wider than the edge station": ({"stile": "7 1/2 in", "width": "40 in", "top_rail": "4 in",
                                           "bottom_rail": "4 in"}, "stile"),
    "panel wider than the table": ({"width": "60 in", "height": "64 in"}, "width"),
}  # fmt: skip
MEND = re.compile(r"(?:lessen|increase) ([a-z_ ]+) by [^;]+?, to ([^;]+)")


def put(table, field, value):
    """A value at a field such as middle_rails[0].from_foot."""
    found = re.match(r"(\w+)(?:\[(\d+)\])?(?:\.(\w+))?$", field)
    key, number, inner = found[1], found[2], found[3]
    if number is not None:
        rows = [dict(r) for r in table[key]]
        rows[int(number)][inner] = value
        return table | {key: rows}
    return table | {key: value}


@pytest.mark.parametrize("name", REFUSED)
def test_what_cannot_be_is_refused_and_the_size_named_mends_it(name):
    """The fault stands at the field; with the first size it suggests there, the same fault is gone."""
    more, field = REFUSED[name]
    table = DOOR | more
    with pytest.raises(InputError) as refused:
        job(table)
    faults = [f for f in refused.value.faults if f.field == f"frames[0].{field}"]
    assert faults, [(f.field, f.message) for f in refused.value.faults]
    assert faults[0].message.startswith("frame 'door': ")
    for _ in range(4):  # a size that mends one thing may leave another, which is told next
        found = MEND.search(faults[0].remedy or "")
        assert found, faults[0].remedy
        at = faults[0].field.removeprefix("frames[0].")
        key = at if found[1] in ("it", "its width") else found[1]
        table = put(table, key, found[2].strip())
        try:
            job(table)
            return
        except InputError as e:
            same = [f for f in e.faults if f.message == faults[0].message]
            assert not same, (table, faults[0])
            faults = list(e.faults)
    pytest.fail(f"still refused: {faults[0]}")


@pytest.mark.parametrize(
    ("more", "field", "words"),
    [
        ({"top_rail": {"from_foot": "4 in"}}, "top_rail.from_foot", "leave it out"),
        ({"middle_rails": [{}, {"from_foot": "9 in"}]}, "middle_rails[0].from_foot", "for every rail"),
        ({"muntins": [1, 2]}, "muntins", "one count"),
        ({"arch": "1 in", "top_rail": "4 in", "muntins": 1}, "muntins", "muntins = [0]"),
        ({"gap": "1 in"}, "gap", "paired"),
        ({"haunch": "1 in"}, "haunch", "haunched"),
        ({"material": "white-ok"}, "material", "white-oak"),
        ({"panel_material": "yelow-poplar"}, "panel_material", "yellow-poplar"),
        ({"groove_cutter": "SQ66"}, "groove_cutter", "SQ6"),
        ({"mortise_cutter": "BALL6"}, "mortise_cutter", "square end"),
        ({"joint": "dovetail"}, "joint", "plain"),
        ({"stil": "3 in"}, "stil", "stile"),
        ({"top_rail": {"widht": "3 in"}}, "top_rail.widht", "width"),
        ({"stile": "3"}, "stile", "in"),
        ({"quantity": 0}, "quantity", "1"),
    ],
)
def test_slips_of_the_pen_are_named_with_what_to_write(more, field, words):
    with pytest.raises(InputError) as refused:
        job(DOOR | more)
    fault = next(f for f in refused.value.faults if f.field == f"frames[0].{field}")
    assert words in (fault.remedy or "") + fault.message
    assert fault.file == "frames.toml"


@pytest.mark.parametrize("more", [{"mortise": "1/16 in"}, {"groove_depth": "4 in"}, {"groove": "0.1 mm"},
                                  {"groove": "1/16 in", "joint": "haunched"}])  # fmt: skip
def test_sizes_no_cutter_of_the_rack_goes_into_are_refused_with_their_size(more):
    with pytest.raises(InputError) as refused:
        job(DOOR | more)
    key = next(iter(more))
    assert any(key in f.field and f"{key.split('_')[0]}" in f.message + (f.remedy or "") for f in refused.value.faults)


@pytest.mark.parametrize(("sheet", "said", "glued"), [("birch-plywood", {}, False), ("mdf", {}, False),
                                                      ("yellow-poplar", {}, True),
                                                      ("yellow-poplar", {"glued": False}, False)])  # fmt: skip
def test_a_panel_of_a_sheet_is_neither_glued_up_nor_planed(sheet, said, glued):
    made = job(DOOR | {"panel": "flat", "panel_material": sheet} | said)
    panel, stile = made.part("door-panel"), made.part("door-stile")
    assert panel.glued is glued
    assert (panel.extra_thickness == 0.0) is (SHOP.material(sheet).group == "sheet")
    assert stile.extra_thickness != 0.0


def test_every_fault_is_told_at_once_and_parts_of_frames_are_not_missed():
    data = {
        "job": {"name": "", "machine": "router"},
        "frames": [DOOR | {"arch": "9 in"}, DOOR | {"thickness": "7/8"}],
        "loads": [{"program": "door-rail-ends", "part": "door-rail", "count": 4}],
    }
    with pytest.raises(InputError) as refused:
        check_job(data, "frames.toml", SHOP)
    assert {f.field for f in refused.value.faults} == {"job.name", "frames[1].thickness"}
    with pytest.raises(InputError) as refused:
        check_job(data | {"frames": [DOOR | {"arch": "9 in"}, DOOR]}, "frames.toml", SHOP)
    assert {f.field for f in refused.value.faults} >= {"job.name", "frames[0].arch", "frames[1].id"}


def test_what_only_the_whole_job_shows_stands_at_the_frame():
    """No price for the wood; an id that a part has already; a machine that lacks a station."""
    part = {"id": "door-stile", "quantity": 1, "material": "white-oak", "length": "9 in", "width": "2 in",
            "thickness": "1 in"}  # fmt: skip
    heading = {"name": "n", "machine": "router"}
    cases = [
        ({"job": heading, "parts": [part], "frames": [DOOR]}, "frames[0]", "stands twice"),
        ({"job": heading | {"machine": "small-router"}, "frames": [DOOR]}, "frames[0].id", "no edge station"),
    ]
    unpriced = next(k for k in SHOP.materials if k not in SHOP.rates.materials and SHOP.material(k).group == "hardwood")
    cases.append(({"job": heading, "frames": [DOOR | {"material": unpriced}]}, "frames[0]", "no price"))
    for data, field, words in cases:
        with pytest.raises(InputError) as refused:
            check_job(data, "f", SHOP)
        assert any(f.field == field and words in f.message for f in refused.value.faults), refused.value.faults


def test_frames_stand_beside_parts_written_by_hand():
    part = {
        "id": "shelf",
        "quantity": 1,
        "material": "white-oak",
        "length": "9 in",
        "width": "2 in",
        "thickness": "1 in",
    }
    data = {"job": {"name": "n", "machine": "router"}, "parts": [part], "frames": [DOOR]}
    found = check_job(data, "f", SHOP)
    assert [p.id for p in found.parts][:2] == ["shelf", "door-stile"]
    assert found.place(found.part("door-rail"), found.part("door-rail").operations[0]) == "frames[0]"


@pytest.mark.parametrize(("tables", "quantity", "asked"), [
    ([{"quantity": 14}], 1, "quantity = 14"), ([{"quantity": 2}], 3, "quantity = 6"), ([{}], 14, ""),
    ([{"quantity": 2}, {"id": "other"}], 1, ""),
])  # fmt: skip
def test_like_frames_in_one_piece_are_asked_about(tables, quantity, asked):
    made = job(*(DOOR | t for t in tables), quantity=quantity)
    found = [w for w in made.warnings if "like frames in one piece" in w]
    assert len(found) == bool(asked)
    assert all(asked in w for w in found)


@pytest.mark.parametrize("many", [1, 14])
def test_the_weight_of_a_piece_is_said_once(many):
    said = take_off_job(job(DOOR | {"quantity": many})).sentences()
    assert sum("one finished piece weighs" in s.lower() for s in said) == 1


def test_usual_sizes_are_said_in_words_that_read_back():
    made = expand([frame(joint="haunched")], SHOP, ROUTER)
    for part in made.parts:
        for key in ("length", "width", "thickness"):
            member = next(m for m in made.layouts[0].members if m.part == part["id"])
            assert read(part[key], "length") == pytest.approx(getattr(member, key), abs=1e-6)
    assert sizes_of(frame(), SHOP).stile == pytest.approx(63.5)
