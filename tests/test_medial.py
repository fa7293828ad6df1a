"""Middle lines of areas: closed forms, a raster's distance transform, and the buffers of another library.

Closed forms are elementary geometry (bisectors, the parabola between a corner and a line, the normals of an ellipse).
``scipy.ndimage.distance_transform_edt`` and ``shapely`` buffers never saw a Voronoi diagram.
"""

import itertools
import math

import numpy as np
import pytest
import shapely
from scipy import ndimage
from shapely import affinity

from shopcalc.errors import InputError
from shopcalc.relief.letters import letter_outlines
from shopcalc.relief.medial import medial_axis

RECTANGLE = shapely.box(0, 0, 40, 10)
ELL = shapely.Polygon([(0, 0), (40, 0), (40, 8), (8, 8), (8, 50), (0, 50)])


def rows(axis):
    return np.concatenate(axis.chains)


def dense(axis, pace=0.05):
    """Places along all chains, straight between those given."""
    out = []
    for chain in axis.chains:
        out.append(chain[:1])
        for a, b in itertools.pairwise(chain):
            n = max(1, math.ceil(math.dist(a[:2], b[:2]) / pace))
            out.append(a + (b - a) * (np.arange(1, n + 1) / n)[:, None])
    return np.concatenate(out)


def inside_by(axis, depth, pace=0.05):
    """What lies at least so far inside, from the discs alone: of each, what is left of its radius."""
    at = dense(axis, pace)
    at = at[at[:, 2] >= depth]
    return shapely.union_all(shapely.buffer(shapely.points(at[:, :2]), at[:, 2] - depth, quad_segs=24))


def letter(name, height=20.0):
    return max((o.shape for o in letter_outlines(name, height)), key=lambda p: p.area)


# ------------------------------------------------------------------ closed forms


def test_a_rectangle_has_a_spine_and_four_bisectors():
    axis = medial_axis(RECTANGLE)
    spine = shapely.LineString([(5, 5), (35, 5)])
    bisectors = [[(0, 0), (5, 5)], [(0, 10), (5, 5)], [(40, 0), (35, 5)], [(40, 10), (35, 5)]]
    exact = shapely.union_all([spine, *map(shapely.LineString, bisectors)])
    found = shapely.union_all([shapely.LineString(c[:, :2]) for c in axis.chains])
    assert found.hausdorff_distance(exact) < 1e-6
    assert axis.length == pytest.approx(30 + 4 * 5 * math.sqrt(2), abs=1e-6)
    at = rows(axis)
    assert at[:, 2] == pytest.approx(
        np.minimum(np.minimum(at[:, 1], 10 - at[:, 1]), np.minimum(at[:, 0], 40 - at[:, 0]))
    )


def test_chains_are_long_ones():
    """Spine and two bisectors in one; the other two branch off."""
    assert sorted(len(c) for c in medial_axis(RECTANGLE).chains) == [2, 2, 4]


def test_a_square_is_its_diagonals():
    chains = medial_axis(shapely.box(0, 0, 10, 10)).chains
    assert len(chains) == 2
    for chain in chains:
        assert chain[[0, -1], 2].tolist() == [0, 0]
        assert shapely.LineString(chain[:, :2]).length == pytest.approx(10 * math.sqrt(2), abs=1e-6)


def test_a_ring_is_one_closed_chain_in_its_middle():
    chords = 128  # sagitta of the chords 0.006 mm
    ring = (
        shapely.Point(0, 0)
        .buffer(20, quad_segs=chords // 4)
        .difference(shapely.Point(0, 0).buffer(12, quad_segs=chords // 4))
    )
    (chain,) = medial_axis(ring).chains
    assert np.array_equal(chain[0], chain[-1])
    assert np.hypot(chain[:, 0], chain[:, 1]) == pytest.approx(16, abs=0.01)
    assert chain[:, 2] == pytest.approx(4, abs=0.01)


def test_a_disc_is_its_middle():
    axis = medial_axis(shapely.Point(3, 7).buffer(6, quad_segs=64))
    assert [c.shape for c in axis.chains] == [(1, 3)]
    assert axis.chains[0][0] == pytest.approx([3, 7, 6], abs=0.005)


@pytest.mark.parametrize("half_angle", [2, 5, 20, 40])
def test_a_wedge_is_cut_to_its_point_along_the_bisector(half_angle):
    t = math.tan(math.radians(half_angle))
    at = rows(medial_axis(shapely.Polygon([(0, 0), (60, -60 * t), (60, 60 * t)])))
    side, back = 60 / math.cos(math.radians(half_angle)), 2 * 60 * t
    radius = 60 * 60 * t / (side + back / 2)  # area over half the perimeter
    assert at[:, 2].max() == pytest.approx(radius, rel=1e-6)
    point = at[np.hypot(at[:, 0], at[:, 1]).argmin()]
    assert point == pytest.approx([0, 0, 0], abs=1e-9)
    spine = at[at[:, 0] < 60 - radius - 1e-6]
    assert spine[:, 1] == pytest.approx(0, abs=1e-6)
    assert spine[:, 2] == pytest.approx(spine[:, 0] * math.sin(math.radians(half_angle)), abs=1e-6)


def test_between_an_inner_corner_and_a_line_it_is_a_parabola():
    """L: from where the inner corner (8, 8) is as far as the line y = 0, until x = 8."""
    at = rows(medial_axis(ELL))
    curve = at[(at[:, 0] > at[:, 1] + 1e-6) & (at[:, 0] < 8 - 1e-9)]
    assert len(curve) > 5
    assert np.hypot(curve[:, 0] - 8, curve[:, 1] - 8) == pytest.approx(curve[:, 1], abs=3e-4)
    assert curve[:, 2] == pytest.approx(curve[:, 1], abs=3e-4)
    junction = at[np.abs(at[:, 0] - at[:, 1]).argmin()]
    diagonal = at[np.abs(at[:, 0] - at[:, 1]) < 1e-6]
    assert diagonal[:, 2].max() == pytest.approx(8 * (2 - math.sqrt(2)), abs=1e-6)
    assert junction[2] <= diagonal[:, 2].max()


def test_an_ellipse_ends_in_the_middle_of_its_round_ends():
    """Normals of an ellipse: the axis lies within (a2 - b2) / a of the middle, with d2 = b2 (1 - x2 / (a2 - b2))."""
    a, b, tolerance = 30.0, 12.0, 0.01
    u = np.linspace(0, 2 * np.pi, 4001)[:-1]
    axis = medial_axis(shapely.Polygon(np.column_stack([a * np.cos(u), b * np.sin(u)])), tolerance=tolerance)
    (chain,) = axis.chains
    reach = (a * a - b * b) / a
    assert np.abs(chain[:, 1]).max() < 1e-3
    assert chain[:, 2] == pytest.approx(b * np.sqrt(1 - chain[:, 0] ** 2 / (a * a - b * b)), abs=1e-3)
    assert reach * 0.85 < np.abs(chain[[0, -1], 0]).min() <= np.abs(chain[:, 0]).max() <= reach
    end = np.array([abs(chain[0, 0]), abs(chain[0, 2])])
    assert a - end.sum() < 1.1 * tolerance  # what the last disc leaves at the ellipse's tip


# ------------------------------------------------------------------ others' distance maps and buffers


SHAPES = {
    "L": ELL,
    "with a hole": shapely.box(0, 0, 30, 20).difference(shapely.Point(11, 9).buffer(5, quad_segs=64)),
    "a turned frame": affinity.rotate(shapely.box(0, 0, 30, 20).difference(shapely.box(4, 5, 27, 14)), 17),
    "narrow neck": shapely.union_all(
        [shapely.box(0, 0, 10, 10), shapely.box(10, 4.95, 20, 5.05), shapely.box(20, 0, 30, 10)]
    ),
    **{name: letter(name) for name in "AgSWR&"},
}
shapes = pytest.mark.parametrize("area", SHAPES.values(), ids=SHAPES)


@shapes
def test_distances_are_exact(area):
    at = rows(medial_axis(area))
    assert at[:, 2] == pytest.approx(shapely.distance(shapely.points(at[:, :2]), area.boundary), abs=1e-9)
    assert area.buffer(1e-9).covers(shapely.multipoints(at[:, :2]))


@shapes
def test_distances_are_linear_between_the_places(area):
    axis = medial_axis(area)
    at = dense(axis)
    off = np.abs(at[:, 2] - shapely.distance(shapely.points(at[:, :2]), area.boundary))
    assert off.max() < axis.tolerance / 2


@shapes
@pytest.mark.parametrize("share", [0.0, 0.3, 0.7])
def test_what_lies_deep_inside_is_what_a_buffer_leaves(area, share):
    """Both ways: nothing beyond the buffer, and nothing of it missing."""
    axis = medial_axis(area)
    depth = share * axis.greatest
    wanted, found = area.buffer(-depth, quad_segs=64), inside_by(axis, depth, 0.02)
    assert found.difference(wanted.buffer(axis.tolerance)).area < 1e-9
    assert wanted.difference(found.buffer(1.5 * axis.tolerance)).area < 2e-3  # scallops between discs in sharp corners
    assert found.area == pytest.approx(wanted.area, rel=0.01, abs=wanted.length * axis.tolerance)


@shapes
def test_a_rasters_ridges_lie_on_the_chains(area):
    """Where a fine distance map is no plain slope, a chain passes; and its heights are the chain's."""
    pixel = 0.05
    x0, y0, x1, y1 = area.bounds
    x, y = np.arange(x0 - pixel, x1 + 2 * pixel, pixel), np.arange(y0 - pixel, y1 + 2 * pixel, pixel)
    X, Y = np.meshgrid(x, y)
    distance = ndimage.distance_transform_edt(shapely.contains_xy(area, X, Y)) * pixel
    slope = np.hypot(*np.gradient(distance, pixel))
    ridge = (slope < 0.75) & (distance > 6 * pixel)
    axis = medial_axis(area)
    lines = shapely.STRtree([shapely.LineString(c[:, :2]) for c in axis.chains if len(c) > 1])
    places = shapely.points(X[ridge], Y[ridge])
    assert len(places) > 20 or area is SHAPES["narrow neck"]
    if len(places):
        _, away = lines.query_nearest(places, return_distance=True, all_matches=False)
        assert away.max() < 2.5 * pixel
    at = dense(axis)
    column, row = np.round((at[:, 0] - x[0]) / pixel).astype(int), np.round((at[:, 1] - y[0]) / pixel).astype(int)
    assert np.abs(distance[row, column] - at[:, 2]).max() < 1.5 * pixel


def test_a_neck_far_narrower_than_the_rest_is_followed():
    """Two squares of 10 mm and a neck of 0.1 mm: one chain runs through, straight, and nothing superfluous is drawn."""
    axis = medial_axis(SHAPES["narrow neck"])
    assert len(axis.chains) == 5
    (through,) = (c for c in axis.chains if np.ptp(c[:, 0]) > 12)
    assert np.ptp(through[:, 0]) == pytest.approx(20, abs=1e-3)
    assert through[:, 1] == pytest.approx(5, abs=2e-3)


# ------------------------------------------------------------------ branches and tolerance


def test_chords_of_a_curve_get_no_branches_but_sharp_corners_do():
    leaf = shapely.Point(-6, 0).buffer(12, quad_segs=48).intersection(shapely.Point(6, 0).buffer(12, quad_segs=48))
    (chain,) = medial_axis(leaf).chains
    assert chain[[0, -1], 2].tolist() == [0, 0]
    assert np.abs(chain[[0, -1], 1]) == pytest.approx(math.sqrt(144 - 36), abs=0.05)


@pytest.mark.parametrize(("sides", "branches"), [(6, 6), (12, 12), (120, 0)])
def test_a_blunt_corner_gets_a_branch_until_the_disc_is_near_enough(sides, branches):
    """Radius 10: 10 (1 - cos(pi / n)) is 1.34, 0.34 and 0.0034 mm."""
    u = 2 * np.pi * np.arange(sides) / sides
    axis = medial_axis(shapely.Polygon(10 * np.column_stack([np.cos(u), np.sin(u)])))
    assert sum(float(c[k, 2]) == 0 for c in axis.chains for k in (0, -1)) == branches


def test_a_finer_tolerance_reaches_further_into_round_ends():
    slot = shapely.LineString([(0, 0), (20, 0)]).buffer(4, quad_segs=200)
    u = np.linspace(0, 2 * np.pi, 2001)[:-1]
    egg = shapely.Polygon(np.column_stack([(10 + 2 * np.cos(u)) * np.cos(u), 8 * np.sin(u)]))
    for area in (slot, egg):
        lengths = [medial_axis(area, tolerance=t).length for t in (0.1, 0.02, 0.005)]
        assert lengths == sorted(lengths)
    assert medial_axis(slot).length == pytest.approx(20, abs=0.1)


def test_parts_of_an_area_have_their_own_chains():
    two = shapely.union_all([RECTANGLE, affinity.translate(RECTANGLE, 0, 30)])
    assert len(medial_axis(two).chains) == 2 * len(medial_axis(RECTANGLE).chains)


def test_far_from_zero_nothing_is_lost():
    there = medial_axis(affinity.translate(letter("R"), 9e4, -7e4))
    here = medial_axis(letter("R"))
    assert there.length == pytest.approx(here.length, abs=0.05)
    assert there.greatest == pytest.approx(here.greatest, abs=1e-6)


@pytest.mark.parametrize(
    ("area", "tolerance", "words"),
    [
        (shapely.Polygon([(0, 0), (9, 9), (9, 0), (0, 9)]), 0.02, "not one area"),
        (shapely.Polygon(), 0.02, "no area"),
        (RECTANGLE, 0.0, "tolerance is 0"),
    ],
)
def test_what_is_no_area_is_refused(area, tolerance, words):
    with pytest.raises(InputError, match=words):
        medial_axis(area, tolerance=tolerance)
