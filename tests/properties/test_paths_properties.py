"""Paths for dimensions nobody chose: nothing overcut, nothing left, no shorter for more wood."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from shapely import Point, Polygon, box
from workpiece import Workpiece, swept

from shopcalc.cutters import Cutter
from shopcalc.cutting.engagement import pass_count, pass_depths, pass_levels
from shopcalc.errors import InputError
from shopcalc.moves import join
from shopcalc.paths import (
    Cutting,
    Tenon,
    arc,
    bore,
    cut_out,
    face,
    groove,
    groove_along,
    incise,
    mortise,
    program,
    raise_panel,
    rebate,
    sink,
    tenon,
)

few = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
SQ6 = Cutter("SQ6", "", "square end", 6, 6, 2, 40, 90, 50, number=1)
directions = st.sampled_from(["climb", "conventional", "both"])


def setting(depth_per_pass: float = 4, **more: object) -> Cutting:
    return Cutting(SQ6, 4000, 1200, 16000, depth_per_pass=depth_per_pass, **more)


@st.composite
def outlines(draw):
    """A star-shaped outline of 4 to 9 corners, never thinner than a hand's breadth at the middle."""
    n = draw(st.integers(4, 9))
    radii = draw(st.lists(st.floats(18, 60), min_size=n, max_size=n))
    turn = draw(st.floats(0, 1))
    angles = [2 * math.pi * (i + turn) / n for i in range(n)]
    return Polygon([(r * math.cos(a), r * math.sin(a)) for r, a in zip(radii, angles, strict=True)])


def or_too_narrow(make):
    """Moves, or None where the only complaint is a sharp point or a neck too narrow for the cutter."""
    try:
        return make()
    except InputError as e:
        if "narrower than the cutter" not in str(e):
            raise
        return None


@few
@given(outlines(), st.floats(0.1, 1.0), directions, st.booleans())
def test_a_recess_of_any_outline(outline, stepover, direction, island):
    islands = [Point(0, 0).buffer(5, quad_segs=16)] if island else []
    cutting = setting(20, stepover=stepover, direction=direction)
    moves = or_too_narrow(lambda: sink(cutting, outline, depth=3, islands=islands))
    assume(moves is not None)
    wanted = outline.difference(shapely.union_all(islands))
    reachable = wanted.buffer(-3, quad_segs=64).buffer(3, quad_segs=64)
    area = swept(moves, 3, -3)
    assert area.difference(wanted.buffer(0.02)).is_empty
    assert reachable.buffer(-0.02).difference(area).area < 1e-3 * wanted.area


@few
@given(outlines(), st.integers(0, 5), st.sampled_from(["climb", "conventional"]))
def test_cutting_out_any_outline_leaves_the_part(outline, bridges, direction):
    cutting = setting(5, direction=direction)
    moves = or_too_narrow(lambda: cut_out(cutting, outline, thickness=10, bridges=bridges, bridge_length=6))
    assume(moves is not None)
    deep = swept(moves, 3, -10.2)
    assert deep.intersection(outline.buffer(-0.02)).is_empty
    around = outline.buffer(3, quad_segs=64).exterior.length
    low = np.abs(moves.points[:, 2] + 10.2) < 1e-9
    once = float(moves.lengths[moves.cutting & low[1:] & low[:-1]].sum())
    if bridges == 0:
        assert once == pytest.approx(around, rel=2e-3)
    else:
        assert once == pytest.approx(around - bridges * 12, rel=2e-3)


@few
@given(
    st.floats(30, 120), st.floats(15, 40), st.floats(0.2, 1), st.floats(0.1, 1), st.floats(0, 1), st.floats(0, 1),
    st.floats(2, 38), st.floats(0, 0.5), st.sampled_from(["climb", "conventional"]),
)  # fmt: skip
def test_any_tenon_in_any_rail(rail_width, rail_thickness, w, t, u, v, length, skim, direction):
    shape = Tenon(w * rail_width, t * rail_thickness, length, u * (1 - w) * rail_width, v * (1 - t) * rail_thickness)
    assume(rail_width - shape.width > 1 or rail_thickness - shape.thickness > 1)
    cutting = setting(15, direction=direction)
    moves = tenon(cutting, rail_width, rail_thickness, shape, skim=skim)
    x0, y0 = shape.from_edge, shape.from_face
    kept = box(x0, y0, x0 + shape.width, y0 + shape.thickness)
    piece = Workpiece((0, rail_width), (0, rail_thickness), 0.5).cut(moves, SQ6)
    stays = shapely.contains_xy(kept.buffer(-0.02), piece.X, piece.Y)
    goes = ~shapely.contains_xy(kept.buffer(0.02), piece.X, piece.Y)
    assert (piece.height[stays] == 0).all()
    np.testing.assert_allclose(piece.height[goes], -length, atol=1e-9)
    assert piece.rapid_in_wood == piece.plunged_in_wood == 0


@few
@given(st.floats(6, 30), st.floats(0, 60), st.floats(1, 20), st.floats(0.5, 19))
def test_more_wood_is_never_a_shorter_path(width, longer, depth, deeper):
    """Same cutter and settings: a deeper or a longer mortise cuts at least as far."""
    length = width + longer
    first = mortise(setting(), (0, 0), length=length, width=width, depth=depth)
    deep = mortise(setting(), (0, 0), length=length, width=width, depth=depth + deeper)
    assert deep.cutting_length >= first.cutting_length - 1e-6
    plunged = setting(entry="plunge")  # ramps come in whole turns, so a longer slot may need fewer of them
    short, long = (mortise(plunged, (0, 0), length=n, width=width, depth=depth) for n in (length, length + 5))
    assert long.cutting_length >= short.cutting_length - 1e-6


@few
@given(st.floats(60, 200), st.floats(20, 90), st.floats(0.5, 9), st.sampled_from(["along", "across", "both", "rings"]))
def test_climbing_and_conventional_are_equally_long(length, width, depth, pattern):
    """One is the mirror of the other (corner points of rings may start elsewhere, not be longer)."""
    ways = [face(setting(direction=d), length, width, depth=depth, pattern=pattern) for d in ("climb", "conventional")]
    assert ways[0].cutting_length == pytest.approx(ways[1].cutting_length)
    rebates = [rebate(setting(direction=d), length, width=9, depth=depth) for d in ("climb", "conventional")]
    assert rebates[0].cutting_length == pytest.approx(rebates[1].cutting_length)


@few
@given(st.lists(st.tuples(st.floats(-200, 200), st.floats(-200, 200)), min_size=1, max_size=5), st.floats(1, 30))
def test_operations_join_to_a_program_and_the_program_joins(centres, depth):
    c = setting(5)
    operations = [(c, bore(c, [p], diameter=10, depth=depth)) for p in centres]
    operations.append((c, groove(c, (0, 0), (100, 0), depth=depth)))
    whole = program(operations)
    again = join([whole, whole.shifted(whole.points[-1] - whole.points[0])])
    assert len(again) == 2 * len(whole)
    assert whole.points[:, 2].min() == pytest.approx(-depth, abs=1e-9)


#: name: extent in x and y, what is cut to a depth; all fit cutters of 6 mm and are at least 20 mm wide
OPERATIONS = {
    "face along": ((0, 60), (0, 30), lambda c, d: face(c, 60, 30, depth=d, pattern="both")),
    "face in rings": ((0, 60), (0, 30), lambda c, d: face(c, 60, 30, depth=d, pattern="rings")),
    "sink": ((0, 60), (0, 40), lambda c, d: sink(c, box(5, 5, 55, 35), depth=d, islands=[box(25, 15, 32, 22)])),
    "small sink": ((0, 20), (0, 20), lambda c, d: sink(c, box(5, 5, 12, 14), depth=d)),
    "open groove": ((0, 60), (0, 20), lambda c, d: groove(c, (0, 10), (60, 10), depth=d, open_start=True)),
    "open wide groove": (
        (0, 60), (0, 30),
        lambda c, d: groove(c, (0, 15), (60, 15), depth=d, width=13, open_start=True, open_end=True),
    ),
    "stopped groove": ((0, 60), (0, 20), lambda c, d: groove(c, (10, 10), (30, 10), depth=d)),
    "stopped wide groove": ((0, 60), (0, 30), lambda c, d: groove(c, (10, 15), (50, 15), depth=d, width=11)),
    "arch": ((0, 60), (0, 40), lambda c, d: groove_along(c, arc((30, -10), 35, math.radians(130), -1.4), depth=d)),
    "wide arch": (
        (0, 60), (0, 40), lambda c, d: groove_along(c, arc((30, -10), 35, math.radians(130), -1.4), depth=d, width=9),
    ),
    "ring": ((0, 60), (0, 60), lambda c, d: groove_along(c, arc((30, 30), 20, 0, 2 * math.pi), depth=d)),
    "mortise": ((0, 60), (0, 20), lambda c, d: mortise(c, (30, 10), length=30, width=6, depth=d)),
    "wide mortise": ((0, 60), (0, 30), lambda c, d: mortise(c, (30, 15), length=40, width=17, depth=d, angle=0.1)),
    "bore": ((0, 60), (0, 30), lambda c, d: bore(c, [(15, 15), (40, 15)], diameter=6, depth=d)),
    "wide bore": ((0, 60), (0, 30), lambda c, d: bore(c, [(15, 15), (40, 15)], diameter=17, depth=d)),
    "rebate": ((0, 60), (0, 30), lambda c, d: rebate(c, 60, width=14, depth=d)),
    "stopped rebate": ((0, 60), (0, 30), lambda c, d: rebate(c, 60, width=14, depth=d, start=10, end=50)),
    "tenon": ((0, 60), (0, 28), lambda c, d: tenon(c, 60, 28, Tenon(40, 9, d, 10, 8))),
    "haunched tenon": (
        (0, 60), (0, 28), lambda c, d: tenon(c, 60, 28, Tenon(35, 9, d, 20, 8, stub_length=d / 3, stub_left=20)),
    ),
    "rounded tenon": ((0, 60), (0, 28), lambda c, d: tenon(c, 60, 28, Tenon(40, 9, d, 10, 8, rounded=True))),
    "cut out": ((0, 70), (0, 60), lambda c, d: cut_out(c, box(10, 10, 60, 50), thickness=d + 3.1, bridges=0)),
    "cut out, bridges": ((0, 70), (0, 60), lambda c, d: cut_out(c, box(10, 10, 60, 50), thickness=d + 3.1, bridges=3)),
    "opening, bridges": (
        (0, 70), (0, 60), lambda c, d: cut_out(c, box(10, 10, 60, 50), thickness=d + 3.1, side="inside", bridges=3),
    ),
    "raised panel": ((0, 70), (0, 60), lambda c, d: raise_panel(c, 70, 60, border=25, depth=d, rim=6)),
    "incised": ((0, 60), (0, 30), lambda c, d: incise(c, [[(5, 5), (50, 20), (20, 25)]], depth=d)),
}  # fmt: skip


@pytest.mark.parametrize("name", OPERATIONS)
@settings(max_examples=6, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.floats(1, 30), st.floats(1.5, 15), st.sampled_from(["climb", "conventional", "both"]),
    st.sampled_from(["ramp", "plunge"]), st.floats(1, 30),
)  # fmt: skip
def test_no_move_takes_off_more_than_one_level(name, depth, depth_per_pass, direction, entry, ramp):
    """Wood taken off along the axis, wherever the cutter stands in its path, against a height map."""
    x, y, make = OPERATIONS[name]
    cutting = setting(depth_per_pass, direction=direction, entry=entry, ramp=math.radians(ramp))
    # a grid that lies on no edge: there a hair decides whether wood is met
    piece = Workpiece((x[0] + 0.21, x[1]), (y[0] + 0.21, y[1]), 1.03).cut(make(cutting, depth), SQ6)
    assert 0 < piece.engaged <= depth_per_pass + 1e-6
    assert piece.rapid_in_wood <= 1e-9


@given(st.floats(0.01, 500), st.floats(0.01, 100), st.none() | st.floats(0.01, 1), st.none() | st.floats(0.01, 1))
def test_levels_sum_to_the_whole_and_none_is_too_deep(total, most, first_share, last_share):
    first = None if first_share is None else first_share * most
    last = None if last_share is None else last_share * most
    assume(total / most < 2000)
    depths = pass_depths(total, most, first=first, last=last)
    assert math.fsum(depths) == pytest.approx(total, abs=1e-12)
    assert pass_levels(depths)[-1] == pytest.approx(total, abs=1e-12)
    assert max(depths) <= most * (1 + 1e-8) + 1e-8
    assert min(depths) > 0
    if first is None and last is None:
        assert len(depths) == pass_count(total, most)
