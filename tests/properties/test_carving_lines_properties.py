"""Letters nobody drew: areas of any outline sunk with any V are cut to the outline, and nowhere beyond."""

import itertools
import math

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from scipy import ndimage
from shapely import affinity
from v_block import Block

from shopcalc.cutters import Cutter
from shopcalc.errors import InputError
from shopcalc.moves import Kind
from shopcalc.paths import Cutting
from shopcalc.relief.carving_lines import incise_letters, raise_letters, v_grooves
from shopcalc.relief.medial import medial_axis

few = settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much]
)
TOLERANCE = 0.02


@st.composite
def areas(draw):
    """A star-shaped outline with corners of all kinds, turned, with a hole or without one."""
    n = draw(st.integers(3, 9))
    radius = [draw(st.floats(2.0, 12.0)) for _ in range(n)]
    angle = 2 * np.pi * (np.arange(n) + [draw(st.floats(-0.3, 0.3)) for _ in range(n)]) / n
    outline = shapely.Polygon(np.column_stack([radius * np.cos(angle), radius * np.sin(angle)]))
    assume(outline.is_valid and outline.area > 20)
    kind = draw(st.sampled_from(["plain", "round hole", "square hole", "rounded"]))
    if kind == "rounded":
        outline = outline.buffer(-1).buffer(1, quad_segs=16)
        assume(isinstance(outline, shapely.Polygon) and not outline.is_empty)
    elif kind != "plain":
        hole = (
            shapely.Point(0, 0).buffer(0.9, quad_segs=24) if kind == "round hole" else shapely.box(-0.7, -0.7, 0.7, 0.7)
        )
        outline = outline.difference(affinity.rotate(hole, draw(st.floats(0, 90))))
        assume(isinstance(outline, shapely.Polygon))
    return outline


@st.composite
def cuttings(draw):
    angle = math.radians(draw(st.sampled_from([45, 60, 90, 120])))
    tip = draw(st.sampled_from([0.0, 0.2, 0.5]))
    cutter = Cutter(
        "V", "", "V", draw(st.sampled_from([6.0, 30.0])), 6, 2, 30, 80, 50, tip_diameter=tip, included_angle=angle
    )
    entry = draw(st.sampled_from(["ramp", "plunge"]))
    return Cutting(cutter, 2400, 900, 18000, draw(st.sampled_from([1.0, 3.0, 30.0])), entry=entry)


@few
@given(areas())
def test_every_place_of_a_middle_line_touches_the_edge_twice(area):
    """A disc a little larger sticks out in two places, or along a wide stretch."""
    axis = medial_axis(area, tolerance=TOLERANCE)
    for chain in axis.chains:
        assert np.abs(chain[:, 2] - shapely.distance(shapely.points(chain[:, :2]), area.boundary)).max() < 1e-9
        for x, y, distance in chain[1:-1][::5]:
            if distance < 0.3:
                continue
            touched = shapely.Point(x, y).buffer(distance + 1.5 * TOLERANCE, quad_segs=64).difference(area)
            parts = [p.centroid for p in shapely.get_parts(touched) if p.area > 1e-9]
            spread = max((a.distance(b) for a in parts for b in parts), default=0.0)
            width = max((p.minimum_rotated_rectangle.length / 2 for p in shapely.get_parts(touched)), default=0.0)
            assert max(spread, width) > 0.25 * distance


@few
@given(areas())
def test_the_discs_of_the_middle_lines_fill_the_area(area):
    axis = medial_axis(area, tolerance=TOLERANCE)
    at = []
    for chain in axis.chains:
        at.append(chain)
        for a, b in itertools.pairwise(chain):
            n = max(1, math.ceil(math.dist(a, b) / 0.03))
            at.append(a + (b - a) * (np.arange(1, n) / n)[:, None])
    at = np.concatenate(at)
    discs = shapely.union_all(shapely.buffer(shapely.points(at[:, :2]), at[:, 2], quad_segs=24))
    assert discs.difference(area.buffer(TOLERANCE)).area < 1e-9
    assert area.difference(discs.buffer(2 * TOLERANCE)).area < 5e-3


@few
@given(areas(), cuttings(), st.sampled_from([None, 0.8, 2.5]))
def test_a_sunk_area_is_cut_to_its_outline_and_not_beyond(area, cutting, depth):
    cutter = cutting.cutter
    if medial_axis(area).greatest <= cutter.tip_diameter / 2:
        with pytest.raises(InputError, match="nothing is wider than the tip"):
            incise_letters([area], cutting)
        return
    carved = incise_letters([area], cutting, depth=depth, cusp=0.05, tolerance=TOLERANCE)
    slope, flat = math.tan(cutter.included_angle / 2), cutter.tip_diameter / 2
    block = Block.around(area, 0.1).cut(carved.operations[0][1], cutter, cutting.plunge_feed)
    inside = block.inside_by(area)
    cap = carved.greatest_depth
    assert (-block.z - np.minimum(np.maximum(inside, 0) / slope, cap)).max() < TOLERANCE / slope
    ridges = 0.05 if carved.capped_by else 0.0
    assert (np.minimum((inside - flat) / slope, cap) + block.z).max() < 2 * TOLERANCE / slope + ridges
    assert block.rapid_in_wood < 1e-9
    assert block.fast_in_wood < 0.05
    assert cap <= (math.inf if depth is None else depth) + 1e-12
    moves = carved.operations[0][1]
    assert (moves.points[moves.points[:, 2] <= 0][:, 2] >= -cap - 1e-9).all()


@few
@given(areas(), st.floats(0, 2 * math.pi), st.floats(-500, 500))
def test_middle_lines_turn_and_move_with_the_area(area, angle, shift):
    there = affinity.translate(affinity.rotate(area, angle, use_radians=True, origin=(0, 0)), shift, -shift)
    one, two = medial_axis(area), medial_axis(there)
    assert two.greatest == np.float64(one.greatest) or abs(two.greatest - one.greatest) < TOLERANCE
    back = [affinity.rotate(affinity.translate(shapely.LineString(c[:, :2]), -shift, shift), -angle, use_radians=True,
                            origin=(0, 0)) for c in two.chains if len(c) > 1]  # fmt: skip
    here = [shapely.LineString(c[:, :2]) for c in one.chains if len(c) > 1]
    if here and back:  # only branches at the limit of the tolerance may come and go
        far = shapely.union_all(here).hausdorff_distance(shapely.union_all(back))
        assert far < 1.0


@few
@given(areas(), st.sampled_from([0.0, 0.4]))
def test_raised_areas_keep_their_tops(area, chamfer):
    square = Cutter("SQ3", "", "square end", 3.0, 6.0, 2, 12, 50, 25)
    cutter = Cutter("V90", "", "V", 25.4, 6, 2, 12, 60, 40, tip_diameter=0.2, included_angle=math.pi / 2)
    carved = raise_letters(
        [area], Cutting(square, 2400, 900, 18000, 3), depth=3, margin=6, chamfer=chamfer,
        chamfering=Cutting(cutter, 2400, 900, 18000, 3),
    )  # fmt: skip
    whole = shapely.box(*area.bounds).buffer(6, join_style="mitre")
    assert carved.left.difference(whole).area < 1e-6
    assert carved.left.buffer(-2e-3).intersection(area).area < 1e-6  # edges in common disturb the library
    if chamfer and len(carved.operations) > 1:
        block = Block.around(area, 0.1).cut(carved.operations[1][1], cutter)
        inside = block.inside_by(area)
        assert (-block.z - np.maximum(0.4 - inside, 0))[inside > 0].max() < 0.02


@few
@given(st.lists(st.tuples(st.floats(0, 60), st.floats(0, 60)), min_size=2, max_size=5), st.sampled_from([0.0, 3.0]),
       st.booleans())  # fmt: skip
def test_grooves_take_what_they_say_and_no_more(points, ramp, sharp):
    line = shapely.LineString(points)
    assume(line.is_simple and line.length > 10 and min(math.dist(a, b) for a, b in itertools.pairwise(points)) > 6)
    cutter = Cutter("V90", "", "V", 25.4, 6, 2, 12, 60, 40, tip_diameter=0.2, included_angle=math.pi / 2)
    carved = v_grooves([points], Cutting(cutter, 2400, 900, 18000, 1.2), width=3, ramp_out=ramp, sharp_corners=sharp)
    block = Block.around(line, 0.2, margin=12).cut(carved.operations[0][1], cutter)
    far = shapely.distance(shapely.points(block.X, block.Y), line)
    deepest = np.minimum(1.4, np.maximum(0, 1.5 - far))
    if not sharp:
        assert (-block.z - deepest).max() < 1e-6
    assert block.z.min() >= -1.4 - 1e-9
    if not ramp:
        assert (deepest + block.z).max() < 1e-6
    _, islands = ndimage.label(block.z < 0)
    assert islands == 1
    assert (carved.operations[0][1].kind != Kind.ARC).all()
