"""What must hold for every surface and cutter, over drawn cases."""

import math

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from shopcalc.relief.detail import detail_left
from shopcalc.relief.heights import HeightMap, sampled
from shopcalc.relief.reach import Profile, centre_surface, reached, swept

PIXEL = 0.5
heights = st.integers(0, 640).map(lambda n: -n / 64)
maps = (
    st.tuples(st.integers(1, 14), st.integers(1, 14))
    .flatmap(
        lambda shape: st.one_of(
            arrays(float, shape, elements=heights),
            arrays(float, shape, elements=heights, fill=st.just(0.0)),
            st.tuples(st.floats(-2, 2), st.floats(-2, 2)).map(
                lambda ab: np.fromfunction(lambda i, j: ab[0] * i + ab[1] * j - 60.0, shape)
            ),
        )
    )
    .map(lambda z: HeightMap(z, PIXEL))
)
sizes = st.floats(0.1, 4.0)
angles = st.floats(0.05, 1.3)


cutters = st.one_of(
    sizes.map(lambda r: Profile(r, ball=r, half_angle=0.0)),
    sizes.map(lambda r: Profile(r, flat=r)),
    st.builds(lambda r, share, a: Profile(r, flat=share * r, half_angle=a), sizes, st.floats(0, 1), angles),
    st.builds(lambda tip, a, r: Profile(max(r, tip), ball=tip, half_angle=a), sizes, angles, sizes),
)
outside = st.sampled_from(["nothing", "stock"])
many = settings(max_examples=120)


@many
@given(maps, cutters, outside)
def test_the_cutter_is_nowhere_below_the_surface_and_touches_it(surface, cutter, outside):
    """Every pixel against every pixel."""
    tips = centre_surface(surface, cutter, outside=outside).z
    rows, columns = (g.ravel() for g in np.indices(surface.z.shape))
    away = PIXEL * np.hypot(rows[:, None] - rows, columns[:, None] - columns)
    room = tips.ravel()[:, None] + cutter.height(away) - surface.z.ravel()
    assert room.min() > -1e-9
    if outside == "nothing":
        assert room.min(axis=1).max() < 1e-9


@many
@given(maps, cutters, outside)
def test_what_is_left_lies_on_or_above_the_surface_and_a_second_pass_changes_nothing(surface, cutter, outside):
    left = reached(surface, cutter, outside=outside)
    assert (left.z >= surface.z).all()
    assert np.abs(reached(left, cutter, outside=outside).z - left.z).max() < 1e-9
    assert (left.z <= swept(centre_surface(surface, cutter, outside=outside), cutter).z + 1e-9).all()


same_shape = st.builds(
    lambda shape, size, share, angle: tuple(
        {
            "ball": Profile(r, ball=r, half_angle=0.0),
            "flat": Profile(r, flat=r),
            "V": Profile(5.0, flat=r, half_angle=angle),
            "tapered ball": Profile(5.0, ball=r, half_angle=angle),
        }[shape]
        for r in (share * size, size)
    ),
    st.sampled_from(["ball", "flat", "V", "tapered ball"]),
    sizes,
    st.floats(0.05, 1.0),
    angles,
)


@many
@given(maps, same_shape, outside)
def test_a_smaller_tip_of_the_same_shape_goes_at_least_as_deep(surface, pair, outside):
    small, large = (centre_surface(surface, one, outside=outside).z for one in pair)
    assert (small - large).max() < 1e-9


@settings(max_examples=40)
@given(same_shape, st.floats(0.2, 2.0), st.floats(3.0, 9.0), st.floats(0, math.pi))
def test_a_smaller_tip_of_the_same_shape_leaves_no_more(pair, amplitude, length, turned):
    """On waves; tips stand on pixels, which may cost half a pixel's rise, and rims end on them, which doubles it."""
    wave = 2 * math.pi / length
    surface = sampled(
        lambda x, y: amplitude * (np.cos(wave * (x * math.cos(turned) + y * math.sin(turned))) - 1),
        20.0,
        12.0,
        pixel=0.2,
    )
    small, large = (detail_left(surface, one) for one in pair)
    grid = (0.2 if pair[0].flat else 0.1) * math.sqrt(2) * amplitude * wave
    assert (small.depth.z - large.depth.z).max() < grid
    assert small.mean < large.mean + 0.2 * grid


@many
@given(maps, cutters, cutters)
def test_two_cutters_in_turn_leave_no_more_than_either(surface, one, other):
    both = detail_left(surface, [one, other])
    for alone in (detail_left(surface, one), detail_left(surface, other)):
        assert (both.depth.z <= alone.depth.z).all()
        assert both.area_share <= alone.area_share
        assert both.volume <= alone.volume + 1e-9


@many
@given(maps, cutters, outside)
def test_turning_or_mirroring_the_map_turns_the_results_exactly(surface, cutter, outside):
    for turn in (np.rot90, np.flipud, np.transpose):
        turned = HeightMap(np.ascontiguousarray(turn(surface.z)), PIXEL)
        for what in (centre_surface, reached):
            expected = turn(what(surface, cutter, outside=outside).z)
            assert (what(turned, cutter, outside=outside).z == expected).all()


@many
@given(maps, cutters, st.integers(1, 500).map(lambda n: -n / 8))
def test_a_lower_surface_lowers_everything_by_as_much(surface, cutter, drop):
    lower = surface.with_(surface.z + drop)
    for what in (centre_surface, reached):
        assert np.abs(what(lower, cutter).z - what(surface, cutter).z - drop).max() < 1e-9


@many
@given(maps, cutters, outside, st.data())
def test_a_higher_surface_never_lowers_anything(surface, cutter, outside, data):
    more = data.draw(arrays(float, surface.z.shape, elements=st.integers(0, 64).map(lambda n: n / 16)))
    higher = surface.with_(surface.z + more)
    for what in (centre_surface, reached):
        assert (what(higher, cutter, outside=outside).z >= what(surface, cutter, outside=outside).z).all()
