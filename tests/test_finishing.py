"""Lines over a relief: length against closed forms and integration, what they sweep against brute force, cusps, order.

Geometry throughout; WE22 and WE25 of the published list are derived from it, too.
"""

import math

import numpy as np
import pytest
import shapely
from scipy.integrate import quad

from shopcalc.cutters import Cutter
from shopcalc.cutting.engagement import cusp
from shopcalc.errors import InputError
from shopcalc.gcode import read_text, write_program
from shopcalc.machines import Axis, Controller, Machine
from shopcalc.motion import machine_time
from shopcalc.moves import Kind
from shopcalc.paths.tracing import Cutting, program
from shopcalc.relief.finishing import clean_up, cusps, finish, stepover_for
from shopcalc.relief.heights import HeightMap, sampled
from shopcalc.relief.reach import Profile, between_pixels, centre_surface, profile, reached
from shopcalc.relief.tip_heights import Surface, skimmed

BALL6 = Cutter("B6", "", "ball", 6, 6, 2, 40, 60, 45)
V60 = Cutter("V60", "", "V", 12, 6, 2, 12, 60, 40, tip_diameter=0.2, included_angle=math.radians(60))
TAPER = Cutter("T1", "", "tapered ball", 6, 6, 2, 30, 60, 40, tip_diameter=1.0, included_angle=math.radians(12))
FLAT4 = Cutter("SQ4", "", "square end", 4, 6, 2, 20, 60, 40)
CUTTERS = {"ball": BALL6, "V": V60, "tapered ball": TAPER, "flat": FLAT4}
ROUTER = Machine(
    axes=(Axis(20000, 12000, 800), Axis(20000, 12000, 800), Axis(10000, 5000, 500)),
    controller=Controller(
        corner="tolerance", corner_tolerance=0.03, chord_curvature="share", blocks_per_second=500.0, look_ahead=100
    ),
)


def run(cutter=BALL6, **settings):
    return Cutting(cutter, 3000, 1000, 18000, 3, **settings)


def on_feed(moves):
    """Begin and end of the moves that cut, without the way down at the start."""
    line = np.flatnonzero(moves.kind == Kind.LINE)
    return moves.points[line], moves.points[line + 1]


def brute_force(surface, cutter, moves, step):
    """Least tip + underside at each pixel over points of the path as close as asked."""
    begin, end = on_feed(moves)
    x, y = (g.ravel() for g in np.meshgrid(surface.x, surface.y))
    out = np.full(x.shape, np.inf)
    under = profile(cutter)
    for a, b in zip(begin, end, strict=True):
        n = max(1, math.ceil(np.linalg.norm(b - a) / step))
        for share in np.linspace(0, 1, n + 1):
            c = a + share * (b - a)
            out = np.minimum(out, c[2] + under.height(np.hypot(x - c[0], y - c[1])))
    return out.reshape(surface.z.shape)


def lengths_of_lines(moves, axis=0):
    """Length of all that runs along an axis of the plane."""
    begin, end = on_feed(moves)
    d = end - begin
    return float(np.linalg.norm(d, axis=1)[np.abs(d[:, 1 - axis]) < 1e-9][:].sum())


def middle(surface, margin):
    """A shape that keeps away from the map's edge, where the surface ends and the cutter sinks beside it."""
    return shapely.box(margin, margin, surface.length - margin, surface.width - margin)


@pytest.mark.parametrize("slope", [0.0, 0.3, 1.0, 2.0])
@pytest.mark.parametrize("degrees", [0.0, 90.0])
def test_lines_on_a_plane_are_as_long_as_the_plane_is_steep(slope, degrees):
    """Closed form: n lines of L sqrt(1 + s^2) along the slope, of L across it."""
    plane = sampled(lambda x, y: -slope * x, 40.0, 40.0, pixel=0.1)
    m = finish(plane, run(), stepover=2.0, direction=degrees, along="both", area=middle(plane, 10), standing=0.0)
    axis = 0 if degrees == 0 else 1
    begin, end = on_feed(m)
    d = end - begin
    cut = np.linalg.norm(d, axis=1)[np.abs(d[:, axis]) > 1e-9].sum()
    assert cut == pytest.approx(11 * 20 * (math.hypot(1, slope) if axis == 0 else 1), rel=2e-4)


def test_askew_lines_on_a_plane():
    """Through a square of 20 mm at 30 degrees: the lines' lengths are widths of the square, the slope is s cos 30."""
    plane = sampled(lambda x, y: -0.5 * x, 40.0, 40.0, pixel=0.1)
    m = finish(plane, run(), stepover=1.0, direction=30.0, along="climb", area=middle(plane, 10), standing=0.0)
    begin, end = on_feed(m)
    d = end - begin
    level = np.hypot(d[:, 0], d[:, 1])
    assert np.linalg.norm(d, axis=1)[level > 0].sum() / level.sum() == pytest.approx(
        math.hypot(1, 0.5 * math.cos(math.radians(30))), rel=5e-4
    )
    across = 20 * (math.cos(math.radians(30)) + math.sin(math.radians(30)))
    step = across / math.ceil(across)
    turn = math.radians(30)
    box, total = middle(plane, 10), 0.0
    for k in range(math.ceil(across) + 1):
        o = (20 * (math.cos(turn) - math.sin(turn))) + across / 2 - k * step  # from the square's middle (20, 20)
        foot = np.array([-math.sin(turn), math.cos(turn)]) * o
        far = 100 * np.array([math.cos(turn), math.sin(turn)])
        total += shapely.LineString([foot - far, foot + far]).intersection(box).length
    assert level.sum() == pytest.approx(total, rel=1e-6)


SHAPES = {
    # height of the centre of the ball's tip path over x (y), worked as offset curves
    "sphere cap": lambda x, y: np.sqrt(np.maximum(30.0**2 - (x - 20) ** 2 - (y - 20) ** 2, 0)) - 40.0,
    "cone": lambda x, y: -0.8 * np.hypot(x - 20, y - 20),
    "sine ridge": lambda x, y: 2 * np.sin(2 * np.pi * x / 20) - 2.0 + 0 * y,
}


def tip_over(name, x, y):
    """Lowest tip of a ball of 3 mm by geometry: an offset sphere, an offset cone, the greatest over a fine circle."""
    r = 3.0
    if name == "sphere cap":
        return math.sqrt((30 + r) ** 2 - (x - 20) ** 2 - (y - 20) ** 2) - 40.0 - r
    if name == "cone":
        d, s = math.hypot(x - 20, y - 20), 0.8
        apex = d < r * s / math.hypot(1, s)
        return (math.sqrt(r * r - d * d) - r) if apex else r * math.hypot(1, s) - s * d - r
    u = np.linspace(-r, r, 4001)
    return float((2 * np.sin(2 * np.pi * (x + u) / 20) - 2 - r + np.sqrt(r * r - u * u)).max())


@pytest.mark.parametrize("name", SHAPES)
def test_length_against_integration_over_the_offset_surface(name):
    surface = sampled(SHAPES[name], 40.0, 40.0, pixel=0.1)
    m = finish(surface, run(), stepover=4.0, tolerance=0.002, along="climb", area=middle(surface, 8), standing=0.0)
    expected = 0.0
    for y in np.linspace(8, 32, 7):
        x = np.linspace(8, 32, 2401)
        z = [tip_over(name, a, y) for a in x]
        expected += np.hypot(np.diff(x), np.diff(z)).sum()
    begin, end = on_feed(m)
    d = end - begin
    assert np.linalg.norm(d, axis=1)[np.abs(d[:, 0]) > 1e-9].sum() == pytest.approx(expected, rel=1e-3)


def lengths_along_x(m):
    """Of all lines, without the steps between them [mm]."""
    begin, end = on_feed(m)
    d = end - begin
    return np.linalg.norm(d, axis=1)[np.abs(d[:, 0]) > 1e-9].sum()


def test_down_a_step_the_path_is_an_arc_of_the_balls_own_radius():
    """From the edge the tip rolls down r acos(1 - h / r), h high; the rest is level: closed form."""
    high, r = 2.0, 3.0
    step = sampled(lambda x, y: np.where(x < 20, 0.0, -high) + 0 * y, 40.0, 4.0, pixel=0.05)
    m = finish(step, run(), stepover=4.0, tolerance=0.001, along="climb", standing=0.0, area=shapely.box(10, 1, 30, 3))
    one = 20 - math.sqrt(r * r - (r - high) ** 2) + r * math.acos(1 - high / r)
    assert lengths_along_x(m) == pytest.approx(2 * one, rel=3e-3)


def test_across_a_v_valley_the_path_is_the_valley_lifted():
    """Sides of 45 degrees: two straight lines that meet r (sqrt 2 - 1) over the bottom, however wide the ball."""
    valley = sampled(lambda x, y: -12 + np.abs(x - 20) + 0 * y, 40.0, 4.0, pixel=0.1)
    m = finish(
        valley, run(), stepover=4.0, tolerance=0.001, along="climb", standing=0.0, area=shapely.box(10, 1, 30, 3)
    )
    assert lengths_along_x(m) == pytest.approx(2 * 20 * math.sqrt(2), rel=3e-3)
    begin, end = on_feed(m)
    lowest = min(begin[:, 2].min(), end[:, 2].min())
    assert lowest == pytest.approx(-12 + 3 * (math.sqrt(2) - 1), abs=0.06)  # half a pixel of a side of 45 degrees


def test_a_sine_is_as_long_as_its_elliptic_integral():
    """A ball so small that it follows the curve itself: scipy's quadrature of sqrt(1 + z'^2)."""
    tiny = Cutter("B02", "", "ball", 0.2, 6, 2, 20, 60, 40)
    ridge = sampled(lambda x, y: np.sin(2 * np.pi * x / 20) - 1, 40.0, 2.0, pixel=0.05)
    m = finish(
        ridge, run(tiny), stepover=2.0, tolerance=0.001, along="climb", standing=0.0, area=shapely.box(10, 0.5, 30, 1.5)
    )
    one, _ = quad(lambda x: math.hypot(1, 2 * math.pi / 20 * math.cos(2 * math.pi * x / 20)), 10, 30)
    begin, end = on_feed(m)
    d = end - begin
    assert np.linalg.norm(d, axis=1)[np.abs(d[:, 0]) > 1e-9].sum() == pytest.approx(2 * one, rel=2e-3)


def wavy(pixel=0.4):
    return sampled(
        lambda x, y: -3 + 1.2 * np.sin(x / 1.9) * np.cos(y / 2.3) + 0.1 * x * np.sin(y / 5), 14.0, 12.0, pixel=pixel
    )


def walls(pixel=0.4):
    return sampled(
        lambda x, y: np.where((x > 4.1) & (x < 9.3) & (y > 3.0) & (y < 8.1), -0.5, -4.0), 14.0, 12.0, pixel=pixel
    )


@pytest.mark.parametrize("cutter", CUTTERS)
@pytest.mark.parametrize("shape", [wavy, walls])
@pytest.mark.parametrize("direction", ["x", "y"])
@pytest.mark.parametrize("skim", [0.0, 0.4])
def test_swept_nowhere_below_the_surface(cutter, shape, direction, skim):
    """Brute force over points of the path 0.05 mm apart against every pixel."""
    surface, tolerance = shape(), 0.02
    m = finish(
        surface, run(CUTTERS[cutter]), stepover=0.7, direction=direction, tolerance=tolerance, along="both", skim=skim
    )
    swept = brute_force(surface, CUTTERS[cutter], m, 0.05)
    unsure = between_pixels(skimmed(CUTTERS[cutter], skim), surface.pixel, 1.0) if cutter != "flat" else 0.0
    assert (swept - surface.z).min() >= skim - tolerance - unsure - 1e-9


@pytest.mark.parametrize("cutter", ["ball", "flat"])
@pytest.mark.parametrize("shape", [wavy, walls])
@pytest.mark.parametrize("direction", ["x", "y", 30.0])
def test_with_pixels_fine_for_the_cutter_the_tolerance_alone_is_kept(cutter, shape, direction):
    """Pixels of 0.1 mm under a ball of 3 mm bend by 0.0004 mm."""
    surface, tolerance = shape(0.1), 0.01
    m = finish(surface, run(CUTTERS[cutter]), stepover=1.3, direction=direction, tolerance=tolerance, along="both")
    swept = brute_force(surface, CUTTERS[cutter], m, 0.1)
    assert (swept - surface.z).min() >= -tolerance - (0.1 * 0.5 * 3 if direction == 30.0 and cutter == "flat" else 0)


@pytest.mark.parametrize("cutter", ["ball", "tapered ball"])
@pytest.mark.parametrize("direction", ["x", "y", 30.0])
def test_swept_nowhere_above_what_the_cutter_reaches_by_more_than_cusp_and_tolerance(cutter, direction):
    surface, tolerance, step = wavy(0.2), 0.02, 0.3
    tool = CUTTERS[cutter]
    m = finish(surface, run(tool), stepover=step, direction=direction, tolerance=tolerance, along="both", beyond=1.0)
    swept, best = brute_force(surface, tool, m, 0.05), reached(surface, tool)
    slope = np.hypot(*np.gradient(best.z, surface.pixel))
    high = cusp(tool, step, math.atan(slope.max()))
    upright = high * math.hypot(1, slope.max())  # cusps are square to the surface
    inside = (slice(16, -16), slice(16, -16))
    grid = between_pixels(tool, surface.pixel, float(slope.max()))
    assert (swept - best.z)[inside].max() <= upright + tolerance + grid


@pytest.mark.parametrize("cutter", CUTTERS)
@pytest.mark.parametrize("shape", [wavy, walls])
def test_heights_at_the_pixels_middles_are_those_of_the_centre_surface(cutter, shape):
    surface = shape()
    known = centre_surface(surface, CUTTERS[cutter])
    m = finish(surface, run(CUTTERS[cutter]), stepover=surface.pixel, tolerance=1e-4, along="climb",
               area=shapely.box(0.2, 0.2, 13.8, 11.8), standing=0.0)  # fmt: skip
    begin, _ = on_feed(m)
    lower = 0
    for x, y, z in begin:
        j, i = (x / surface.pixel - 0.5), (y / surface.pixel - 0.5)
        if abs(j - round(j)) < 1e-6 and abs(i - round(i)) < 1e-6 and z < 0.5:
            at = known.z[round(i), round(j)]
            assert z >= at - 1e-4
            lower += z <= at + 1e-4
    assert lower > 20


def test_with_and_without_the_centre_surface_at_hand():
    surface = wavy()
    one = finish(surface, run(), stepover=0.7)
    other = finish(surface, run(), stepover=0.7, centre=centre_surface(surface, BALL6))
    assert np.array_equal(one.points, other.points)
    with pytest.raises(InputError, match="centre surface"):
        finish(surface, run(), stepover=0.7, centre=centre_surface(surface, BALL6, beyond=2.0))


def test_a_skim_grows_the_underside_square_to_itself():
    for cutter, skim in ((BALL6, 0.4), (TAPER, 0.3), (V60, 0.5), (FLAT4, 0.25)):
        under, grown = profile(cutter), skimmed(cutter, skim)
        r = np.linspace(0, under.radius, 400)
        z = under.height(r)
        d = np.linspace(0, under.radius + skim, 300)
        gap = np.hypot(d[:, None] - r, grown.height(d)[:, None] - skim - z)
        assert gap.min(axis=1).max() <= skim * 1.3 + 0.05
        assert (gap.min(axis=1) >= skim - 1e-3).mean() > 0.9


@pytest.mark.parametrize("along", ["climb", "conventional", "both"])
@pytest.mark.parametrize("direction", ["x", "y", 45.0])
def test_side_of_the_uncut_wood(along, direction):
    """Climb: the wood not yet cut lies to the right of every line, for a spindle that turns clockwise from above."""
    level = sampled(lambda x, y: -2 + 0 * x, 20.0, 16.0, pixel=0.5)
    m = finish(level, run(), stepover=2.0, direction=direction, along=along, standing=0.0)
    begin, end = on_feed(m)
    d = (end - begin)[:, :2]
    turn = {"x": 0.0, "y": 90.0}.get(direction, direction)
    unit = np.array([math.cos(math.radians(turn)), math.sin(math.radians(turn))])
    lines = np.abs(d @ unit) > 0.99 * np.hypot(*d.T) + 1e-9
    heading = d[lines] / np.hypot(*d[lines].T)[:, None]
    right = np.stack([heading[:, 1], -heading[:, 0]], axis=1)
    middles = (begin + end)[lines, :2] / 2
    later = [(middles[k + 1 :] - middles[k]) @ right[k] for k in range(len(middles) - 1)]
    if along == "climb":
        assert all((s > 0).all() for s in later)
    elif along == "conventional":
        assert all((s < 0).all() for s in later)
    else:
        assert (np.einsum("ij,ij->i", heading[1:], heading[:-1]) < -0.9).all()
        assert (m.kind == Kind.RAPID).sum() == 1


def test_entries_start_above_the_wood_and_obey_the_plunge_feed():
    deep = sampled(lambda x, y: -6 + 0 * x, 40.0, 10.0, pixel=0.5)
    for entry in ("ramp", "plunge"):
        cutting = run(entry=entry, ramp=math.radians(5))
        m = finish(deep, cutting, stepover=5.0, along="climb")
        begin, end = on_feed(m)
        d = end - begin
        length = np.linalg.norm(d, axis=1)
        feed = m.feed[m.kind == Kind.LINE]
        down = d[:, 2] < -1e-9
        in_wood = down & (end[:, 2] < 0)
        assert (-d[in_wood, 2] / length[in_wood] * feed[in_wood] <= cutting.plunge_feed * (1 + 1e-9)).all()
        run_of = np.hypot(d[:, 0], d[:, 1])
        if entry == "ramp":
            assert (-d[in_wood, 2] <= math.tan(math.radians(5)) * run_of[in_wood] * (1 + 1e-6)).all()
        assert (m.points[1:][m.kind == Kind.RAPID][:, 2] == cutting.safe_height).all()
    low = finish(deep, run(), stepover=5.0, along="climb", standing=0.5)
    high = finish(deep, run(), stepover=5.0, along="climb")
    assert machine_time(low, ROUTER).total_s < machine_time(high, ROUTER).total_s


def test_a_cutter_that_does_not_cut_at_its_centre_needs_room_to_ramp():
    from dataclasses import replace

    blunt = replace(BALL6, centre_cutting=False)
    deep = sampled(lambda x, y: -6 + 0 * x, 2.0, 2.0, pixel=0.5)
    with pytest.raises(InputError, match="no room to ramp"):
        finish(deep, run(blunt), stepover=1.0, along="climb")


def test_halving_a_nested_step_never_lowers_the_time_nor_raises_the_cusp():
    surface = wavy()
    times, left = [], []
    for step in (4.0, 2.0, 1.0, 0.5, 0.25):
        m = finish(surface, run(), stepover=step, along="climb", tolerance=0.002)  # no links, which are not nested
        times.append(machine_time(m, ROUTER).total_s)
        left.append(brute_force(surface, BALL6, m, 0.2))
        if len(left) > 1:
            assert (left[-1] <= left[-2] + 0.004 + between_pixels(BALL6, surface.pixel, 1.0) / 2).all()
    assert times == sorted(times)
    high = [cusps(surface, BALL6, s).greatest for s in (2.0, 1.0, 0.5, 0.25)]
    assert high == sorted(high, reverse=True)


def test_a_quarter_turn_of_map_and_lines_changes_neither_length_nor_time():
    surface = wavy()
    turned = HeightMap(np.ascontiguousarray(np.rot90(surface.z, -1)), surface.pixel)  # x becomes y
    square = Machine(axes=(ROUTER.axes[0], ROUTER.axes[0], ROUTER.axes[2]), controller=ROUTER.controller)
    one = finish(surface, run(), stepover=0.8, direction="x", along="both", standing=0.0)
    found = []
    for direction in ("y", 90.0):
        other = finish(turned, run(), stepover=0.8, direction=direction, along="both", standing=0.0)
        found.append(other)
        assert other.cutting_length == pytest.approx(one.cutting_length, rel=1e-9)
        assert machine_time(other, square).total_s == pytest.approx(machine_time(one, square).total_s, rel=1e-6)
    assert machine_time(found[0], square).total_s == machine_time(found[1], square).total_s


def test_read_back_from_a_program_it_takes_the_same_time():
    surface, cutting = wavy(), run()
    whole = program([(cutting, finish(surface, cutting, stepover=0.7, direction="both", along="both"))])
    again = read_text(write_program(whole, title="relief")).moves
    assert machine_time(again, ROUTER).total_s == pytest.approx(machine_time(whole, ROUTER).total_s, rel=5e-3)
    assert again.cutting_length == pytest.approx(whole.cutting_length, rel=1e-6)


def test_we25_and_its_counter_case():
    """Ball of 3 mm, 0.5 mm steps up a plane of 45 degrees: 0.0209062; along the slope the level value, WE22."""
    up = sampled(lambda x, y: y - 10, 10.0, 10.0, pixel=0.5)
    across, along = cusps(up, BALL6, 0.5, "x"), cusps(up, BALL6, 0.5, "y")
    assert across.greatest == pytest.approx(0.0209062, abs=5e-8)
    assert along.greatest == pytest.approx(0.0104348, abs=5e-8)
    assert across.mean == pytest.approx(across.most) == pytest.approx(across.greatest)
    half = cusps(up, BALL6, 0.5, 45.0)
    assert half.mean == pytest.approx(cusp(BALL6, 0.5, math.atan(math.sqrt(0.5))), rel=1e-9)
    assert cusps(up, BALL6, 0.5, "both").greatest == pytest.approx(0.0104348, abs=5e-8)


def test_cusps_are_those_that_are_swept():
    """The ridge between lines on a slope, by the path itself on a fine grid, square to the plane."""
    plane = sampled(lambda x, y: 0.8 * y - 20, 6.0, 12.0, pixel=0.02)
    m = finish(plane, run(), stepover=1.0, tolerance=0.0005, along="climb", standing=0.0)
    begin, end = on_feed(m)
    y = plane.y
    tips = {round(float(a[1]), 6): float(a[2]) for a, b in zip(begin, end, strict=True) if b[0] - a[0] > 3}
    assert len(tips) == 13
    swept = np.min([z + Profile(3.0, ball=3.0, half_angle=0.0).height(np.abs(y - c)) for c, z in tips.items()], axis=0)
    part = (y > 4) & (y < 8)
    ridge = float((swept - (0.8 * y - 20))[part].max()) / math.hypot(1, 0.8)
    assert ridge == pytest.approx(cusps(plane, BALL6, 1.0).most, rel=0.02)


def test_steeper_than_the_flank_is_told():
    wall = sampled(lambda x, y: np.where(y < 5, -8.0, 0.0), 10.0, 10.0, pixel=0.5)
    found = cusps(wall, V60, 0.3)
    assert 0 < found.beyond_share < 0.3
    assert np.isfinite(found.height.z).all()
    with pytest.raises(InputError):
        cusps(wall, BALL6, 7.0)


@pytest.mark.parametrize("cutter", ["ball", "tapered ball", "flat"])
def test_step_for_a_cusp_is_the_inverse(cutter):
    plane = sampled(lambda x, y: 0.4 * y - 10, 10.0, 10.0, pixel=0.5)
    step = stepover_for(plane, CUTTERS[cutter], 0.01)
    assert cusps(plane, CUTTERS[cutter], step).greatest == pytest.approx(0.01, rel=1e-9)


def test_lines_keep_to_an_area():
    surface = wavy()
    ring = shapely.Point(7, 6).buffer(5).difference(shapely.Point(7, 6).buffer(2))
    m = finish(surface, run(), stepover=0.5, along="climb", area=ring)
    begin, end = on_feed(m)
    assert ring.buffer(1e-5).covers(shapely.MultiPoint(np.concatenate([begin, end])[:, :2]))
    whole = finish(surface, run(), stepover=0.5, along="climb").cutting_length
    assert m.cutting_length < 0.7 * whole
    mask = np.zeros(surface.z.shape, dtype=bool)
    mask[10:20, 5:30] = True
    m = finish(surface, run(), stepover=0.5, along="both", area=mask)
    begin, end = on_feed(m)
    box = shapely.box(5 * 0.4, 10 * 0.4, 30 * 0.4, 20 * 0.4).buffer(0.01)
    assert box.covers(shapely.MultiPoint(np.concatenate([begin, end])[:, :2]))


def test_links_over_a_gap_follow_the_surface_or_are_lifted():
    ridge = sampled(lambda x, y: np.where(np.abs(x - 10) < 1, 0.0, -4.0), 20.0, 10.0, pixel=0.2)
    two = shapely.union_all([shapely.box(1, 1, 7, 9), shapely.box(13, 1, 19, 9)])
    lifted = finish(ridge, run(), stepover=1.0, along="both", area=two)
    over = finish(ridge, run(), stepover=1.0, along="both", area=two, link=10.0)
    assert (lifted.kind == Kind.RAPID).sum() == 3  # up, across to the other, up
    assert (over.kind == Kind.RAPID).sum() == 1
    for m in (lifted, over):
        assert (brute_force(ridge, BALL6, m, 0.1) - ridge.z).min() >= -0.01 - 1e-9


def test_cleaning_up_goes_only_where_the_first_cutter_left_wood_and_takes_it():
    vee = sampled(lambda x, y: np.maximum(-8 + np.abs(x - 15), -6.0 + 0.0 * y), 30.0, 20.0, pixel=0.2)
    big = Cutter("B10", "", "ball", 10, 10, 2, 30, 60, 40)
    small = Cutter("B2", "", "ball", 2, 6, 2, 20, 60, 30)
    done = clean_up(vee, big, run(small), 0.2, stepover=0.2)
    left = reached(vee, big).z - vee.z
    assert done.left_before == pytest.approx(left.max())
    after = np.minimum(reached(vee, big).z, brute_force(vee, small, done.moves, 0.1)) - vee.z
    assert after[2:-2].max() < 0.2 + cusp(small, 0.2, math.pi / 4) * math.sqrt(2) + 0.05
    assert after.min() >= -0.01 - between_pixels(small, 0.2, 1.0) / 2
    begin, end = on_feed(done.moves)
    x = np.concatenate([begin, end])[:, 0]
    places = vee.x[done.region.any(axis=0)]
    assert x.min() >= places.min() - 1.0 - 0.1 - 0.3
    assert x.max() <= places.max() + 1.0 + 0.1 + 0.3
    assert clean_up(vee, small, run(small), 0.2).moves is None


def test_clean_up_keeps_rapids_short():
    """Many pits: the rapids between them are a small part of those of the order in which lines find them."""
    rng = np.random.default_rng(5)
    pits = np.zeros((200, 300))
    for _ in range(60):
        i, j = rng.integers(8, 192), rng.integers(8, 292)
        y, x = np.indices(pits.shape)
        pits = np.minimum(pits, -np.maximum(0, 1.2 - 0.4 * np.hypot(y - i, x - j)))
    surface = HeightMap(pits, 0.25)
    small = Cutter("B1", "", "ball", 1, 6, 2, 10, 60, 30)
    done = clean_up(surface, Cutter("B8", "", "ball", 8, 8, 2, 30, 60, 40), run(small), 0.1, stepover=0.2)
    rapid = done.moves.kind == Kind.RAPID
    level = np.hypot(*np.diff(done.moves.points[:, :2], axis=0).T)[rapid].sum()
    assert level < 60 * 2 * math.sqrt(75 * 50 / 60)  # twice the mean distance of neighbours, each
    assert done.area_share < 0.35


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ({"stepover": 0.0}, "step"),
        ({"stepover": 1.0, "tolerance": 0.0}, "tolerance"),
        ({"stepover": 1.0, "direction": "up"}, "direction 'up'"),
        ({"stepover": 1.0, "along": "left"}, "along 'left'"),
        ({"stepover": 1.0, "skim": -1.0}, "skim"),
        ({"stepover": 1.0, "standing": math.nan}, "standing"),
        ({"stepover": 1.0, "area": np.ones((3, 3), dtype=bool)}, "pixels"),
        ({"stepover": 1.0, "area": shapely.box(100, 100, 120, 120)}, "beside the map"),
        ({"stepover": 1.0, "area": shapely.Polygon()}, "empty"),
    ],
)
def test_bad_settings_are_named(settings, words):
    with pytest.raises(InputError, match=words):
        finish(wavy(), run(), **settings)


def test_a_drill_carves_nothing():
    with pytest.raises(InputError, match="drill"):
        finish(wavy(), run(Cutter("D", "", "drill", 5, 5, 2, 30, 60, 40)), stepover=1.0)


def test_wood_beyond_the_edge_keeps_the_cutter_away():
    level = sampled(lambda x, y: -3 + 0 * x, 20.0, 20.0, pixel=0.25)
    m = finish(level, run(), stepover=1.0, outside="stock", along="both")
    begin, _ = on_feed(m)
    edge = np.minimum.reduce([begin[:, 0], begin[:, 1], 20 - begin[:, 0], 20 - begin[:, 1]])
    deep = begin[:, 2] < -2.9
    assert edge[deep].min() > 3.0 - 0.5
    surface = Surface(level, BALL6, outside="stock")
    points, counts = surface.along(np.array([[10.0, 10.0, 10.0, 10.0]]), 0.01)
    assert counts.tolist() == [1]
    assert points[0].tolist() == [10.0, 10.0, -3.0]
