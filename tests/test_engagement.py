"""Engagement against brute force: profiles as polygons, cutters dropped on slopes, hulls of envelopes."""

import math

import numpy as np
import pytest
from shapely import LineString, MultiPoint, Point

from shopcalc.cutters import Cutter
from shopcalc.cutting import engagement as e
from shopcalc.errors import InputError


def cutter(shape: str, diameter: float = 12.0, **more: object) -> Cutter:
    """A cutter of which only the shape matters."""
    return Cutter("T1", "", shape, diameter, 12, 2, 40, 80, 50, **more)


V60 = cutter("V", included_angle=math.radians(60), tip_diameter=0.4)
TAPERED = cutter("tapered ball", 6, included_angle=math.radians(20), tip_diameter=2.0)
SHAPES = [
    cutter("ball"),
    cutter("core-box", 19),
    V60,
    cutter("V", included_angle=math.pi / 2),
    TAPERED,
    cutter("square end"),
]


def profile(c: Cutter):
    """Cross-section through the axis as a polygon, built from circles and tangents."""
    top, r = 40.0, c.diameter / 2
    if c.shape in ("ball", "core-box"):
        body = MultiPoint([(-r, top), (r, top)]).union(Point(0, r).buffer(r, quad_segs=4000))
    elif c.shape == "tapered ball":
        tip, a = c.tip_diameter / 2, c.included_angle / 2
        wide = (tip + (top - tip) * math.sin(a)) / math.cos(a)  # where the tangent to the tip is at the top
        body = MultiPoint([(-wide, top), (wide, top)]).union(Point(0, tip).buffer(tip, quad_segs=4000))
    elif c.shape == "V":
        f, wide = c.tip_diameter / 2, c.tip_diameter / 2 + top * math.tan(c.included_angle / 2)
        body = MultiPoint([(-wide, top), (wide, top), (-f, 0), (f, 0)])
    else:
        body = MultiPoint([(-r, top), (r, top), (-r, 0), (r, 0)])
    return body.convex_hull.intersection(LineString([(0, -1), (0, top + 1)]).buffer(r, cap_style="flat"))


@pytest.mark.parametrize("c", SHAPES, ids=lambda c: f"{c.shape} {c.diameter:g}")
def test_effective_diameter_is_the_width_of_the_profile_at_that_depth(c):
    shape = profile(c)
    for depth in (0.1, 0.5, 0.99, 3.0, 9.0, 15.0):
        wanted = shape.intersection(LineString([(-50, depth), (50, depth)])).length
        assert e.effective_diameter(c, depth) == pytest.approx(wanted, abs=2e-5)
        assert e.groove_width(c, depth) == e.effective_diameter(c, depth)


@pytest.mark.parametrize("c", SHAPES, ids=lambda c: f"{c.shape} {c.diameter:g}")
def test_edge_height_undoes_effective_diameter(c):
    depth = np.linspace(0.05, 0.4 * c.diameter, 9)
    wide = e.effective_diameter(c, depth)
    back = e.effective_diameter(c, e.edge_height(c, wide / 2))
    np.testing.assert_allclose(back, wide, atol=1e-9)
    assert e.edge_height(c, c.diameter / 2 + 0.01) == math.inf


@pytest.mark.parametrize("c", SHAPES, ids=lambda c: f"{c.shape} {c.diameter:g}")
def test_edge_shares_follow_the_profiles_outline(c):
    """The share is the rise of the edge over its length, at the top and on average."""
    low = e.edge_height(c, c.tip_diameter / 2) if c.shape == "V" else 0.0
    for depth in (0.3, 2.0, 3.5):
        z = np.linspace(low, depth, 40001)
        radius = e.effective_diameter(c, z) / 2
        length = np.hypot(np.diff(radius), np.diff(z))
        assert e.mean_edge_share(c, depth) == pytest.approx((depth - low) / length.sum(), abs=3e-4)
        assert e.edge_share(c, depth) == pytest.approx((np.diff(z) / length)[-1], abs=2e-3)


def dropped_cusp(c: Cutter, step: float, slope: float) -> float:
    """Let two copies of the cutter down until they touch the slope; the greatest height left between them."""
    x = np.linspace(-c.diameter, c.diameter + step, 120001)
    wood = x * math.tan(slope)
    left = np.full_like(x, np.inf)
    for centre in (0.0, step):
        edge = e.edge_height(c, x - centre)
        touch = np.max(np.where(np.isfinite(edge), wood - edge, -np.inf))
        left = np.minimum(left, edge + touch)
    contact = [
        x[np.nanargmin(np.where(np.isfinite(h := e.edge_height(c, x - m)), h - wood, np.inf))] for m in (0, step)
    ]
    between = (x >= min(contact)) & (x <= max(contact))
    return float(((left - wood)[between] * math.cos(slope)).max(initial=0.0))


@pytest.mark.parametrize("c", SHAPES, ids=lambda c: f"{c.shape} {c.diameter:g}")
@pytest.mark.parametrize("degrees", [0, 10, 40])
@pytest.mark.parametrize("step", [0.2, 0.7, 1.1])
def test_cusp_is_what_dropped_cutters_leave(c, degrees, step):
    slope = math.radians(degrees)
    if c is TAPERED and step / math.cos(slope) > c.tip_diameter * math.cos(c.included_angle / 2 + slope):
        with pytest.raises(InputError, match="chord of the cutter's round"):
            e.cusp(c, step, slope)
        return
    found = e.cusp(c, step, slope)
    assert found == pytest.approx(dropped_cusp(c, step, slope), abs=4e-4)
    if found > 1e-12:
        assert e.stepover_for_cusp(c, found, slope) == pytest.approx(step, rel=1e-9)


def test_a_square_end_leaves_a_level_floor():
    assert e.cusp(cutter("square end"), 11.0) == 0
    assert e.stepover_for_cusp(cutter("square end"), 0.01) == 12


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: e.engagement_angle(12.1, 12), "width of cut 12.1 mm is above the cutter's diameter, 12 mm"),
        (lambda: e.engagement_angle(0, 12), "width of cut is 0"),
        (lambda: e.cutting_speed(-3, 12000), "diameter is -3"),
        (lambda: e.cutting_speed(3, math.nan), "rpm is nan"),
        (lambda: e.effective_diameter(V60, 41), "beyond|above the cutting length, 40 mm"),
        (lambda: e.effective_diameter(V60, -1), "depth -1 mm"),
        (lambda: e.cusp(cutter("ball"), 12.5), "above the chord"),
        (lambda: e.cusp(TAPERED, 1.99), "above the chord"),
        (lambda: e.cusp(V60, 1, math.radians(61)), "slope 61 deg"),
        (lambda: e.stepover_for_cusp(cutter("ball"), 6.5), "cusp 6.5 mm is above"),
        (lambda: e.pass_depths(10, 5, last=6), "last level 6 mm is above the most per level"),
        (lambda: e.pass_depths(10, 0), "most per pass is 0"),
    ],
)
def test_impossible_input_is_refused_with_its_values_and_a_remedy(call, words):
    with pytest.raises(InputError, match=words) as caught:
        call()
    assert caught.value.faults[0].remedy


def test_levels_add_up():
    assert e.pass_depths(19, 6, first=3, last=1) == (3, 5, 5, 5, 1)
    assert e.pass_depths(4, 6, first=3) == (3, 1)
    assert e.pass_depths(2, 6, last=3) == (2,)
    assert e.pass_depths(2, 6, first=3) == (2,)
    assert e.pass_levels(e.pass_depths(0.3, 0.1))[-1] == 0.3
    assert e.pass_count(12.0000000001, 6) == 2


def test_arrays_broadcast():
    widths, diameters = np.array([[1.0], [2.0]]), np.array([6.0, 8.0, 10.0])
    assert e.engagement_angle(widths, diameters).shape == (2, 3)
    assert e.effective_diameter(V60, np.array([1.0, 2.0])).shape == (2,)
    assert isinstance(e.cusp(cutter("ball"), 0.5), float)
    assert e.approach_length(6, 12) == e.approach_length(11, 12) == 6
