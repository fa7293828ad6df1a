"""What must hold for the paths over every surface, cutter and setting, over drawn cases."""

import math
import re

import numpy as np
import shapely
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from test_finishing import ROUTER, brute_force, on_feed, run

from shopcalc.cutters import Cutter
from shopcalc.errors import InputError
from shopcalc.motion import machine_time
from shopcalc.moves import Kind
from shopcalc.relief.finishing import cusps, finish
from shopcalc.relief.heights import HeightMap
from shopcalc.relief.layouts import chains, direction_of, lay_out, nearest_next
from shopcalc.relief.reach import between_pixels, centre_surface
from shopcalc.relief.roughing import rough
from shopcalc.relief.standing_wood import after_roughing, cut_heights
from shopcalc.relief.tip_heights import Surface, skimmed

PIXEL = 0.5
heights = st.integers(0, 320).map(lambda n: -n / 64)
flat_maps = st.tuples(st.integers(2, 12), st.integers(2, 12)).flatmap(
    lambda shape: st.one_of(
        arrays(float, shape, elements=heights),
        arrays(float, shape, elements=heights, fill=st.just(0.0)),
        st.tuples(st.floats(-1, 1), st.floats(-1, 1)).map(
            lambda ab: np.fromfunction(lambda i, j: ab[0] * i + ab[1] * j - 15.0, shape)
        ),
    )
)
maps = flat_maps.map(lambda z: HeightMap(z, PIXEL))
sizes = st.floats(0.6, 3.0)


def cutter(shape, radius, tip, angle):
    pointed = shape in ("V", "tapered ball")
    return Cutter("C", "", shape, 2 * radius, 6, 2, 30, 60, 40, tip_diameter=2 * radius * tip if pointed else 0.0,
                  included_angle=angle if pointed else 0.0)  # fmt: skip


cutters = st.builds(
    cutter,
    st.sampled_from(["ball", "square end", "V", "tapered ball"]),
    sizes, st.floats(0.1, 0.9), st.floats(math.radians(20), math.radians(100)),
)  # fmt: skip
many = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.filter_too_much])


def allowed(tool, surface, skim=0.0):
    """By how much a path may be too low: the tolerance, and what the cutter's curve bends within a pixel."""
    if tool.shape == "square end" and not skim:
        return 0.0
    grown = skimmed(tool, skim)
    rises = [np.abs(np.diff(surface.z, axis=k)).max() / surface.pixel for k in (0, 1)]
    steepest = max(3.0, *rises) if grown.half_angle == 0 else 0.98 / math.tan(grown.half_angle)
    return between_pixels(grown, surface.pixel, steepest)


@many
@given(maps, cutters, st.floats(0.2, 3.0), st.sampled_from(["x", "y"]), st.sampled_from(["climb", "both"]),
       st.sampled_from(["nothing", "stock"]))  # fmt: skip
def test_no_line_goes_below_the_surface(surface, tool, step, direction, along, outside):
    tolerance = 0.05
    m = finish(
        surface, run(tool), stepover=step, direction=direction, along=along, tolerance=tolerance, outside=outside
    )
    swept = brute_force(surface, tool, m, 0.1)
    assert (swept - surface.z).min() >= -tolerance - allowed(tool, surface) - 1e-9


@many
@given(maps, cutters, st.floats(0.0, 1.0), st.floats(0.8, 2.0), st.sampled_from(["lines", "rings"]),
       st.sampled_from(["climb", "conventional", "both"]), st.sampled_from(["nothing", "stock"]))  # fmt: skip
def test_no_level_goes_below_the_skim(surface, tool, skim, depth, pattern, direction, outside):
    try:
        m = rough(surface, run(tool, direction=direction, entry="plunge"), depth_per_pass=depth, skim=skim,
                  pattern=pattern, outside=outside, stock_top=max(0.0, surface.z.max()))  # fmt: skip
    except InputError as error:
        assume(not re.search("to be roughed|no line", str(error)))
        raise
    swept = brute_force(surface, tool, m, 0.25)
    assert (swept - surface.z).min() >= skim - 1e-9
    assert after_roughing(surface, tool, m, stock_top=max(0.0, surface.z.max())).heights.z.min() >= surface.z.min()


@many
@given(maps, cutters)
def test_points_over_pixels_are_never_below_the_centre_surface(surface, tool):
    over = Surface(surface, tool)
    known = centre_surface(surface, tool)
    x, y = (g.ravel() for g in np.meshgrid(surface.x, surface.y))
    points, counts = over.along(np.stack([x, y, x, y], axis=1), 1e-6)
    assert (counts == 1).all()
    assert np.abs(points[:, 2] - known.z.ravel()).max() < 1e-9


@many
@given(maps, st.floats(0.4, 3.0), st.sampled_from(["x", "y", 30.0, 77.0]), st.integers(1, 3))
def test_twice_as_many_lines_take_longer_and_leave_lower_cusps(surface, step, direction, times):
    ball = cutter("ball", 2.0, 0, 0)
    layout = lay_out((0, 0, surface.length, surface.width), direction_of(direction), step)
    even = layout.step
    try:
        one = finish(surface, run(ball), stepover=even, direction=direction, along="climb")
    except InputError as error:
        assume("no line crosses" not in str(error))  # the area is smaller than a step
        raise
    more = finish(surface, run(ball), stepover=even / 2**times, direction=direction, along="climb")
    assert machine_time(more, ROUTER).total_s >= machine_time(one, ROUTER).total_s - 1e-9
    assert cusps(surface, ball, even / 2**times, direction).greatest <= cusps(surface, ball, even, direction).greatest


@many
@given(maps, cutters, st.floats(0.3, 2.0), st.sampled_from(["climb", "both"]))
def test_a_quarter_turn_changes_neither_length_nor_time(surface, tool, step, along):
    turned = HeightMap(np.ascontiguousarray(np.rot90(surface.z, -1)), surface.pixel)
    one = finish(surface, run(tool), stepover=step, direction="x", along=along, tolerance=0.02)
    other = finish(turned, run(tool), stepover=step, direction="y", along=along, tolerance=0.02)
    assert abs(one.cutting_length - other.cutting_length) <= 1e-3 * one.cutting_length
    assert abs(one.rapid_length - other.rapid_length) < 1e-6 * (1 + one.rapid_length)


@many
@given(maps, cutters, st.floats(0.3, 2.0), st.data())
def test_lines_cover_every_place_of_the_area_within_half_a_step(surface, tool, step, data):
    x0 = data.draw(st.floats(0, surface.length * 0.4))
    y0 = data.draw(st.floats(0, surface.width * 0.4))
    area = shapely.box(x0, y0, surface.length, surface.width)
    direction = data.draw(st.sampled_from(["x", "y"]))
    m = finish(surface, run(tool), stepover=step, direction=direction, along="both", area=area)
    begin, end = on_feed(m)
    way = shapely.union_all([shapely.LineString([a, b]) for a, b in zip(begin[:, :2], end[:, :2], strict=True)])
    assert area.difference(way.buffer(step / 2 + 1e-6)).area < 1e-6
    assert area.buffer(1e-6).covers(way)


@given(st.lists(st.tuples(st.integers(0, 5), st.floats(0, 50), st.floats(0.1, 9)), min_size=1, max_size=25),
       st.booleans(), st.floats(0.1, 9))  # fmt: skip
def test_every_run_is_cut_once(drawn, to_and_fro, link):
    from shopcalc.relief.layouts import Layout

    drawn = sorted(drawn)
    line = np.array([d[0] for d in drawn])
    begin = np.array([d[1] for d in drawn])
    layout = Layout((1.0, 0.0), line, -1.0 * line, begin, begin + np.array([d[2] for d in drawn]), 1.0)
    runs = [run for chain in chains(layout, link, to_and_fro) for run, _ in chain]
    assert sorted(runs) == list(range(len(drawn)))


@given(st.lists(st.tuples(st.floats(0, 9), st.floats(0, 9)), min_size=1, max_size=12), st.booleans())
def test_nearest_next_takes_each_once(points, turns):
    at = np.array(points)
    order = nearest_next(at, at[::-1], turns=turns)
    assert sorted(k for k, _ in order) == list(range(len(at)))


@many
@given(maps, cutters, st.floats(0.4, 2.0))
def test_what_stands_after_finishing_is_no_lower_than_the_surface(surface, tool, step):
    """The fast sweep of a whole finishing path, sloped moves and all."""
    m = finish(surface, run(tool), stepover=step, along="both", tolerance=0.05)
    left = cut_heights(surface, tool, m, 20.0).z
    assert (left - surface.z).min() >= -0.05 - allowed(tool, surface) - 1e-9
    assert (m.kind[m.points[1:, 2] == 10.0] == Kind.RAPID).all() or m.points[:, 2].max() >= 10.0
