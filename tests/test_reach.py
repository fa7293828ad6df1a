"""Where a cutter can go over a surface and what it leaves: closed forms, fine integration, and plain grey morphology.

Closed forms are elementary geometry: a ball's centre runs on the surface's parallel at its radius.
``scipy.ndimage.grey_dilation`` with a full structuring function is the oracle for the same discrete cutter.
"""

import math

import numpy as np
import pytest
from scipy import ndimage

from shopcalc.cutters import Cutter
from shopcalc.cutting.engagement import effective_diameter
from shopcalc.errors import InputError
from shopcalc.relief.heights import HeightMap, sampled
from shopcalc.relief.reach import (
    Profile,
    between_pixels,
    centre_surface,
    profile,
    reached,
    shank_room,
    swept,
)

PIXEL = 0.1


def cutter(shape, diameter, **more):
    return Cutter(shape, "", shape, diameter, 6.0, 2, 20.0, 60.0, 40.0, **more)


RACK = {
    "ball": cutter("ball", 3.0),
    "core-box": cutter("core-box", 4.0),
    "tapered ball": cutter("tapered ball", 4.0, tip_diameter=1.6, included_angle=math.radians(20)),
    "V": cutter("V", 4.0, tip_diameter=0.5, included_angle=math.radians(60)),
    "V, sharp": cutter("V", 4.0, included_angle=math.radians(90)),
    "square end": cutter("square end", 2.5),
    "surfacing": cutter("surfacing", 5.0),
    "compression": cutter("compression", 3.0),
}
shapes = pytest.mark.parametrize("one", RACK.values(), ids=RACK)
BALL = Profile(1.5, ball=1.5, half_angle=0.0)


def rough(rows, columns, depth=6.0, seed=4):
    z = ndimage.gaussian_filter(np.random.default_rng(seed).normal(size=(rows, columns)), 1.5)
    return HeightMap((z - z.max()) / (z.max() - z.min()) * depth, PIXEL)


def full_structure(one, pixel=PIXEL):
    """(footprint, heights) of the whole cutter over whole offsets, by its own radial loop."""
    under, reach = profile(one), int(one.true_diameter / 2 / pixel + 1e-9)
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    height = under.height(pixel * np.sqrt(x**2 + y**2))
    return np.isfinite(height), np.where(np.isfinite(height), height, 0.0)


def plain(z, one, outside=-1e6):
    """Tips and what they leave, by plain morphology on a map framed twice the cutter's reach."""
    foot, height = full_structure(one)
    reach = foot.shape[0] // 2
    framed = np.pad(z, 2 * reach, constant_values=outside)
    tips = ndimage.grey_dilation(framed, footprint=foot, structure=-height, mode="constant", cval=outside)
    left = ndimage.grey_erosion(tips, footprint=foot, structure=-height, mode="constant", cval=1e6)
    inner = slice(2 * reach, -2 * reach)
    return tips[inner, inner], left[inner, inner]


# ------------------------------------------------------------------ the cutter's own shape


@pytest.mark.parametrize("name", ["ball", "core-box", "tapered ball", "V", "V, sharp"])
def test_a_profile_is_the_inverse_of_the_effective_diameter(name):
    one = RACK[name]
    distance = np.linspace(profile(one).flat + 0.01, one.diameter / 2, 60)
    np.testing.assert_allclose(effective_diameter(one, profile(one).height(distance)), 2 * distance, rtol=1e-9)


def test_a_tapered_ball_has_no_kink_where_the_flank_begins():
    under = profile(RACK["tapered ball"])
    join = under.ball * math.cos(under.half_angle)
    before, at, after = under.height(join + np.array([-1e-5, 0.0, 1e-5]))
    assert (at - before) / 1e-5 == pytest.approx((after - at) / 1e-5, rel=1e-3)
    assert (after - at) / 1e-5 == pytest.approx(1 / math.tan(math.radians(10)), rel=1e-6)


@pytest.mark.parametrize("name", ["square end", "surfacing", "compression"])
def test_flat_ends_are_flat_to_the_rim_and_end_there(name):
    height = profile(RACK[name]).height(RACK[name].diameter / 2 * np.array([0.0, 0.5, 1.0, 1.001]))
    assert height.tolist() == [0.0, 0.0, 0.0, math.inf]


def test_a_reground_ball_is_as_small_as_it_was_measured():
    assert profile(cutter("ball", 6.0, measured_diameter=5.8)).ball == 2.9


def test_a_drill_is_refused():
    with pytest.raises(InputError, match=r"drill, which carves nothing: choose a ball"):
        profile(cutter("drill", 6.0))


def test_impossible_undersides_are_refused():
    for wrong in ({"radius": 0.0}, {"radius": 1.0, "flat": 2.0}, {"radius": 1.0, "half_angle": 2.0}):
        with pytest.raises(InputError):
            Profile(**wrong)


# ------------------------------------------------------------------ the same discrete cutter, by plain morphology


@shapes
@pytest.mark.parametrize("outside", ["nothing", "stock"])
def test_results_are_those_of_plain_morphology(one, outside):
    surface = rough(128, 111)
    tips, left = plain(surface.z, one, -1e6 if outside == "nothing" else 0.0)
    assert np.abs(centre_surface(surface, one, outside=outside).z - tips).max() == 0.0
    np.testing.assert_allclose(reached(surface, one, outside=outside).z, left, rtol=0, atol=1e-12)


def test_a_flat_end_of_many_pixels_too():
    """Wide enough for running maxima over several powers of two, and for more than one strip."""
    surface, one = rough(60, 300), cutter("square end", 7.0)
    tips, left = plain(surface.z, one)
    assert np.abs(centre_surface(surface, one).z - tips).max() == 0.0
    assert np.abs(reached(surface, one).z - left).max() == 0.0


@pytest.mark.parametrize("shape", [(1, 1), (1, 40), (40, 1), (3, 200), (200, 3)])
def test_maps_smaller_than_the_cutter(shape):
    surface, one = HeightMap(-5 * np.random.default_rng(2).random(shape), PIXEL), RACK["V"]
    tips, left = plain(surface.z, one)
    assert np.abs(centre_surface(surface, one).z - tips).max() == 0.0
    np.testing.assert_allclose(reached(surface, one).z, left, rtol=0, atol=1e-12)


def test_a_cutter_smaller_than_a_pixel_follows_everything():
    surface, fine = rough(20, 30), Profile(0.04, ball=0.04, half_angle=0.0)
    assert (centre_surface(surface, fine).z == surface.z).all()
    assert (reached(surface, fine).z == surface.z).all()


def test_a_rough_landscape_of_open_data():
    """Elevations of a mountain ridge, scaled to a relief 8 mm deep.

    matplotlib ships them in its wheel (``jacksboro_fault_dem.npz``, Jacksboro fault, Tennessee); its documentation
    names the US Geological Survey as the source, whose data are in the public domain.
    """
    cbook = pytest.importorskip("matplotlib.cbook")
    with cbook.get_sample_data("jacksboro_fault_dem.npz") as data:
        ground = data["elevation"].astype(float)[:120, :150]
    surface = HeightMap((ground - ground.max()) / np.ptp(ground) * 8.0, PIXEL)
    tips, left = plain(surface.z, RACK["tapered ball"])
    assert np.abs(centre_surface(surface, RACK["tapered ball"]).z - tips).max() == 0.0
    found = reached(surface, RACK["tapered ball"])
    np.testing.assert_allclose(found.z, left, rtol=0, atol=1e-12)
    assert 0.05 < (found.z - surface.z > 0.02).mean() < 0.95


# ------------------------------------------------------------------ closed forms


def tip_over_plane(one, slope):
    """How much the tip stands above a plane under its axis."""
    under = profile(one)
    if under.ball and (under.half_angle == 0 or slope <= 1 / math.tan(under.half_angle)):
        return under.ball * (math.hypot(1, slope) - 1)
    if under.half_angle < math.pi / 2 and slope <= 1 / math.tan(under.half_angle):
        return under.flat * slope
    return slope * under.radius - float(under.height(under.radius))


@shapes
@pytest.mark.parametrize("slope", [0.0, 0.2, 1.0, 2.5, 7.0])
@pytest.mark.parametrize("turned", [0.0, 0.3, math.pi / 4])
def test_on_a_plane_the_tip_is_right_within_the_bound_and_nothing_is_left(one, slope, turned):
    a, b = slope * math.cos(turned), slope * math.sin(turned)
    surface = sampled(lambda x, y: a * x + b * y - 80, 13.0, 13.0, pixel=PIXEL)
    low = (surface.z + tip_over_plane(one, slope) - centre_surface(surface, one).z)[26:-26, 26:-26]
    assert low.min() > -1e-9
    assert low.max() <= between_pixels(one, PIXEL, slope) + 1e-9
    if slope == 1.0 and profile(one).half_angle < math.pi / 2 and profile(one).ball:
        assert between_pixels(one, PIXEL, slope) < 2 * PIXEL**2 * 2**1.5 / (4 * profile(one).ball)
    inner = slice(52, -52)
    assert np.abs(reached(surface, one).z - surface.z)[inner, inner].max() < 1e-9


@pytest.mark.parametrize("radius", [2.5, 8.0])
def test_on_a_sphere_the_balls_centre_runs_on_a_larger_sphere(radius):
    big = 12.0
    surface = sampled(lambda x, y: np.sqrt(big**2 - (x - 6) ** 2 - (y - 6) ** 2) - big, 12.0, 12.0, pixel=PIXEL)
    x, y = np.meshgrid(surface.x - 6, surface.y - 6)
    true = np.sqrt((big + radius) ** 2 - x**2 - y**2) - radius - big
    inside = np.hypot(x, y) * big / (big + radius) < 5.8  # where it touches within the map at least for sure
    slope = 1.0
    bound = between_pixels(Profile(radius, ball=radius, half_angle=0.0), PIXEL, slope) + PIXEL**2 * 2**1.5 / (4 * big)
    low = (true - centre_surface(surface, Profile(radius, ball=radius, half_angle=0.0)).z)[inside]
    assert low.min() > -1e-9
    assert low.max() < bound


def test_in_a_bowl_the_balls_centre_runs_on_a_smaller_bowl_and_nothing_is_left():
    big, radius = 9.0, 4.0
    surface = sampled(lambda x, y: -np.sqrt(big**2 - (x - 6) ** 2 - (y - 6) ** 2), 12.0, 12.0, pixel=PIXEL)
    ball = Profile(radius, ball=radius, half_angle=0.0)
    x, y = np.meshgrid(surface.x - 6, surface.y - 6)
    inside = np.hypot(x, y) * big / (big - radius) < 5.8
    true = -np.sqrt((big - radius) ** 2 - np.hypot(x, y)[inside] ** 2) - radius
    low = true - centre_surface(surface, ball).z[inside]
    assert low.min() > -1e-9
    assert low.max() < between_pixels(ball, PIXEL, 0.9)
    left = (reached(surface, ball).z - surface.z)[inside]
    assert left.max() < 2 * between_pixels(ball, PIXEL, 0.9)


def test_on_a_cone_the_ball_turns_about_the_point_first():
    steep, middle = 0.8, 5.05  # the point is on a pixel
    surface = sampled(lambda x, y: -steep * np.hypot(x - middle, y - middle), 10.1, 10.1, pixel=PIXEL)
    x, y = np.meshgrid(surface.x - middle, surface.y - middle)
    d = np.hypot(x, y)
    r, out = BALL.ball, BALL.ball * steep / math.hypot(1, steep)
    true = np.where(d <= out, np.sqrt(np.maximum(r**2 - d**2, 0)) - r, r * (math.hypot(1, steep) - 1) - steep * d)
    low = true - centre_surface(surface, BALL).z
    flank = (d > out + 0.6) & (d < 4.5)  # touches 0.6 mm from the axis or further out, where the cone is less convex
    assert low[d < 4.5].min() > -1e-9
    assert low[flank].max() < between_pixels(BALL, PIXEL, steep) + PIXEL**2 / 4 * steep / 0.6
    assert low[d < 4.5].max() < PIXEL * steep / 2
    on_point = d <= out - PIXEL
    assert np.abs((true - centre_surface(surface, BALL).z)[on_point]).max() < 1e-9


@shapes
def test_over_waves_the_tip_is_that_of_a_fine_search(one):
    """One dimension is enough: the waves are straight, and the underside rises with the distance."""
    wave = lambda x: 1.5 * np.cos(2 * np.pi * x / 7.0) - 1.5  # noqa: E731
    surface = sampled(lambda x, y: wave(x), 28.0, 6.0, pixel=PIXEL)
    u = np.linspace(-profile(one).radius, profile(one).radius, 40001)
    true = np.array([(wave(x + u) - profile(one).height(np.abs(u))).max() for x in surface.x[60:-60]])
    low = true - centre_surface(surface, one).z[30, 60:-60]
    curved = 1.5 * (2 * np.pi / 7.0) ** 2
    steepest = 1.5 * 2 * np.pi / 7.0
    bound = max(between_pixels(one, PIXEL, s) for s in np.linspace(0, steepest, 50)) + PIXEL**2 / 4 * curved
    assert low.min() > -1e-6
    assert low.max() < bound


@pytest.mark.parametrize("one", [RACK["ball"], RACK["core-box"], RACK["V"], RACK["tapered ball"]], ids=lambda c: c.id)
def test_below_a_step_the_cutter_stands_off_by_its_own_shape(one):
    surface = sampled(lambda x, y: np.where(x < 5, 0.0, -9.0), 10.0, 6.0, pixel=PIXEL)
    tips = centre_surface(surface, one).z[30]
    away = surface.x - surface.x[surface.x < 5].max()
    np.testing.assert_allclose(tips, np.maximum(-9.0, np.where(away > 0, -profile(one).height(away), 0.0)), atol=1e-9)


def test_a_square_end_keeps_its_radius_from_a_wall_and_leaves_nothing_beside_it():
    surface = sampled(lambda x, y: np.where(x < 5, 0.0, -3.0), 10.0, 6.0, pixel=PIXEL)
    one = RACK["square end"]
    tips = centre_surface(surface, one).z[30]
    assert surface.x[tips < -1].min() - 5.0 == pytest.approx(one.diameter / 2, abs=PIXEL)
    assert (reached(surface, one).z == surface.z).all()


def test_a_valley_keeps_what_lies_below_the_ball():
    """Depth r (sqrt(1 + s^2) - 1) in the middle, r^2 (tan f - f) across, for walls at the angle f = atan s."""
    for steep in (0.5, 1.0, 2.0):
        surface = sampled(lambda x, y: steep * np.abs(x - 5.05) - 20, 10.1, 6.0, pixel=PIXEL)  # noqa: B023
        left = reached(surface, BALL).z - surface.z
        angle = math.atan(steep)
        assert left[30].max() == pytest.approx(1.5 * (math.hypot(1, steep) - 1), abs=between_pixels(BALL, 0.1, steep))
        assert left[30].sum() * PIXEL == pytest.approx(1.5**2 * (math.tan(angle) - angle), rel=0.03)


def test_a_v_reaches_the_bottom_of_a_valley_wider_than_itself_and_a_flat_end_does_not():
    surface = sampled(lambda x, y: np.abs(x - 5.05) - 20, 10.1, 6.0, pixel=PIXEL)
    assert np.abs(reached(surface, RACK["V, sharp"]).z - surface.z).max() < 1e-9
    left = reached(surface, RACK["square end"]).z - surface.z
    assert left.max() == pytest.approx(RACK["square end"].diameter / 2, abs=PIXEL)


def test_what_is_left_in_waves_is_that_of_a_fine_search():
    """Waves with a bottom radius of 0.83 mm under a ball of 1.5 mm; the reference has pixels a tenth as wide.

    Where the bottom is on a pixel they agree; where it lies between two, at most half a pixel's rise is left too much.
    """
    u = np.arange(-150, 151) * 0.01
    under = BALL.height(np.abs(u))
    steepest = 1.5 * 2 * np.pi / 7.0
    for shift, most in ((0.05, 0.004), (0.0, PIXEL / 2 * steepest)):
        wave = lambda x: 1.5 * np.cos(2 * np.pi * (x - shift) / 7.0) - 1.5  # noqa: E731, B023
        surface = sampled(lambda x, y: wave(x), 21.0, 6.0, pixel=PIXEL)  # noqa: B023
        x = np.arange(-200, 2301) * 0.01
        tips = ndimage.grey_dilation(wave(x), footprint=np.ones(301), structure=-under)
        fine = ndimage.grey_erosion(tips, footprint=np.ones(301), structure=-under) - wave(x)
        more = (reached(surface, BALL).z - surface.z)[30] - np.interp(surface.x, x, fine)
        assert fine.max() > 0.25
        assert more[30:-30].min() > -0.004
        assert more[30:-30].max() < most


def test_the_cutter_hardly_enters_the_surface_between_the_pixels():
    """Everywhere on a surface five times as fine, tips and surface both taken between pixels of the coarse one."""
    shape = lambda x, y: np.sin(x) * np.cos(0.7 * y) - 1  # noqa: E731
    coarse, fine = (sampled(shape, 12.0, 12.0, pixel=p) for p in (PIXEL, PIXEL / 5))
    on_fine = centre_surface(fine, BALL).z[2::5, 2::5]  # the fine pixels in the middle of the coarse ones
    low = (on_fine - centre_surface(coarse, BALL).z)[16:-16, 16:-16]  # the fine map goes a little further
    assert low.min() > -1e-9
    assert low.max() < between_pixels(BALL, PIXEL, 1.22) + PIXEL**2 / 4  # steepest slope, least ridge radius 1


# ------------------------------------------------------------------ the edge, and the rest


def test_wood_beyond_the_edge_keeps_the_cutter_off_by_its_own_shape():
    level = sampled(lambda x, y: -4.0 + 0 * x, 10.0, 10.0, pixel=PIXEL)
    tips = centre_surface(level, BALL, outside="stock")
    away = level.x + PIXEL / 2  # from the first pixel of wood
    expected = np.maximum(-4.0, -BALL.height(away))
    np.testing.assert_allclose(tips.z[50, :50], expected[:50], atol=1e-12)
    assert (centre_surface(level, BALL).z == -4.0).all()


def test_a_tip_that_passes_the_edge_reaches_a_surface_that_falls_outwards():
    slope = sampled(lambda x, y: np.where(y < 1, -12.0, -x), 10.0, 6.0, pixel=PIXEL)
    over_map = swept(centre_surface(slope, BALL), BALL).z - slope.z
    assert over_map[30, -1] > 0.1
    assert np.abs(reached(slope, BALL).z - slope.z)[30:-20].max() < 1e-9
    wide = centre_surface(slope, BALL, beyond=BALL.radius)
    assert wide.z.shape == (90, 130)
    assert wide.origin == pytest.approx((-1.5, -1.5))
    assert wide.x[15] == pytest.approx(slope.x[0])
    inner = swept(wide, BALL).z[15:-15, 15:-15]
    assert np.abs(inner - reached(slope, BALL).z)[30:-20].max() < 1e-9
    assert wide.z.min() == -12.0


def test_progress_rises_to_one():
    told = []
    reached(rough(400, 300), RACK["core-box"], progress=told.append)
    assert told == sorted(told)
    assert told[-1] == 1.0
    assert len(told) >= 4


def test_a_negative_margin_is_refused():
    with pytest.raises(InputError, match="beyond the edge"):
        centre_surface(rough(5, 5), BALL, beyond=-1.0)


def test_a_shank_thicker_than_the_cutter_meets_the_wall():
    pit = sampled(lambda x, y: np.where(np.abs(x - 15) < 6, -14.0, 0.0), 30.0, 6.0, pixel=0.25)
    short = Cutter("S", "", "ball", 3.0, 6.0, 2, 10.0, 50.0, 12.0)
    room = shank_room(pit, short)
    assert room.deepest == 14.0
    assert room.shank_overlap == pytest.approx(4.0)
    # tips on the floor, up to 1.5 mm from the wall; the shank touches within 3 mm of it
    assert room.deeper_share == pytest.approx((12 - 2 * 1.5) / 30, abs=0.03)
    assert room.shank_share == pytest.approx(2 * 1.5 / 30, abs=0.04)
    assert [note.split(":")[0].split(",")[0] for note in room.notes] == [
        "4.0 mm deeper than the flutes of 10.0 mm",
        "the shank would touch finished wood by 4.0 mm",
        "the collet would touch the stock's top",
    ]


def test_long_flutes_leave_room():
    pit = sampled(lambda x, y: np.where(np.abs(x - 15) < 6, -14.0, 0.0), 30.0, 6.0, pixel=0.25)
    room = shank_room(pit, RACK["ball"])
    assert room.notes == ()
    assert room.shank_overlap == pytest.approx(14.0 - 20.0)
