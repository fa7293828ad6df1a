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
from shopcalc.paths import Cutting, Tenon, bore, cut_out, face, groove, mortise, program, rebate, sink, tenon

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
