"""Detail a cutter leaves, the smallest detail of a surface, and the cutter of a rack that reaches it.

Surfaces of known radius, gap and angle are the reference: straight waves, grooves and planes (elementary geometry).
"""

import json
import math

import numpy as np
import pytest
from scipy import ndimage

from shopcalc.cutters import Cutter, read_cutters
from shopcalc.errors import InputError
from shopcalc.relief import detail
from shopcalc.relief.detail import FITS_SHARE, TOLERANCE, detail_left, smallest_detail, which_reaches
from shopcalc.relief.heights import HeightMap, sampled
from shopcalc.relief.reach import Profile, reached


def ball(radius):
    return Profile(radius, ball=radius, half_angle=0.0)


def waves(amplitude=1.0, length=10.0, pixel=0.1, turned=0.0):
    across = lambda x, y: x * math.cos(turned) + y * math.sin(turned)  # noqa: E731
    return sampled(lambda x, y: amplitude * (np.cos(2 * np.pi * across(x, y) / length) - 1), 40.0, 30.0, pixel=pixel)


def groove(width, depth=4.0, section="square", middle=20.05, pixel=0.1):
    """A straight groove along y, as wide at the top as is said."""
    cuts = {
        "square": lambda u: np.where(np.abs(u) < 1, -depth, 0.0),
        "V": lambda u: depth * np.minimum(0.0, np.abs(u) - 1),
        "round": lambda u: depth * np.minimum(0.0, u**2 - 1),
    }
    return sampled(lambda x, y: cuts[section](2 * (x - middle) / width), 40.0, 30.0, pixel=pixel)


# ------------------------------------------------------------------ what is left


def test_figures_of_what_is_left_in_a_valley():
    """Straight valley at 45 degrees: depth r (sqrt 2 - 1), section r^2 (1 - pi / 4), width 2 r / sqrt 2."""
    surface = sampled(lambda x, y: np.abs(x - 10.05) - 20, 20.1, 40.0, pixel=0.1)
    left = detail_left(surface, ball(3.0), tolerance=0.02)
    assert left.greatest == pytest.approx(3 * (math.sqrt(2) - 1), abs=0.003)
    assert left.volume == pytest.approx(9 * (1 - math.pi / 4) * 40.0, rel=0.02)  # less at the two free ends
    assert left.mean == pytest.approx(left.volume / (20.1 * 40.0), rel=1e-9)
    # above 0.02 mm within |x| < 2.12 - 0.23 mm: there the ball's lower side is 0.02 mm above the flank
    assert left.area_share == pytest.approx(2 * 1.89 / 20.1, abs=0.006)
    assert left.mean_where_left == pytest.approx(left.mean / left.area_share, rel=0.03)
    assert left.deeper_than(left.greatest) == 0.0


def test_json_has_the_keys_of_the_interface():
    left = detail_left(groove(3.0), ball(3.0))
    assert list(left.as_json()) == ["area_share", "greatest_mm", "mean_mm", "volume_mm3"]
    assert json.loads(json.dumps(left.as_json()))["greatest_mm"] == left.greatest > 3.0


def test_nothing_is_left_on_a_level_map():
    left = detail_left(sampled(lambda x, y: -2.0 + 0 * x, 10.0, 10.0, pixel=0.5), ball(3.0))
    assert left.as_json() == {"area_share": 0.0, "greatest_mm": 0.0, "mean_mm": 0.0, "volume_mm3": 0.0}
    assert left.mean_where_left == 0.0


def test_cutters_in_turn_leave_the_least_of_each():
    surface, both = groove(3.0, section="V"), [ball(3.0), Profile(4.0, half_angle=math.radians(20))]
    told = []
    left = detail_left(surface, both, progress=told.append)
    least = np.minimum(*(reached(surface, one).z for one in both)) - surface.z
    assert (left.depth.z == least).all()
    assert told == sorted(told)
    assert told[-1] == 1.0


def test_no_cutter_is_refused():
    with pytest.raises(InputError, match="no cutter is named"):
        detail_left(groove(3.0), [])


# ------------------------------------------------------------------ the smallest detail


@pytest.mark.parametrize(("amplitude", "length"), [(1.0, 10.0), (3.0, 10.0), (0.5, 10.0), (0.4, 5.0)])
@pytest.mark.parametrize("turned", [0.0, 0.5])
def test_the_valley_radius_of_waves(amplitude, length, turned):
    """1 / (A k^2) at their bottom; more may leave less than the tolerance, a pixel's rise takes a little off."""
    radius = 1 / (amplitude * (2 * np.pi / length) ** 2)
    found = smallest_detail(waves(amplitude, length, turned=turned))
    assert found.valley_limit == "found"
    assert 0.9 * radius < found.valley_radius < 1.3 * radius


def test_the_ball_that_is_named_fits_and_a_larger_one_does_not():
    """By the definition, on the map itself."""
    surface = waves(1.0, 10.0)
    radius = smallest_detail(surface).valley_radius
    share = [
        (detail_left(surface, ball(r)).depth.z / np.hypot(1, np.gradient(surface.z, 0.1, axis=1)) > TOLERANCE).mean()
        for r in (radius, 1.06 * radius)
    ]
    assert share[0] <= 1 - FITS_SHARE < share[1]


@pytest.mark.parametrize("section", ["square", "V", "round"])
@pytest.mark.parametrize(("width", "pixel"), [(2.0, 0.1), (3.3, 0.1), (6.0, 0.1), (3.3, 0.07)])
def test_a_gap_is_measured_at_half_its_depth(section, width, pixel):
    half_way = {"square": 1.0, "V": 0.5, "round": math.sqrt(0.5)}[section] * width
    found = smallest_detail(groove(width, section=section, pixel=pixel))
    assert found.narrowest_gap == pytest.approx(half_way, abs=0.2 + 0.06 * half_way)
    assert found.gap_depth == pytest.approx(4.0, rel=0.1)


def test_the_narrower_of_two_gaps_counts_and_a_shallow_scratch_does_not():
    wide, narrow = groove(5.0, middle=10.0), groove(1.6, middle=30.0)
    both = wide.with_(np.minimum(wide.z, narrow.z))
    assert smallest_detail(both).narrowest_gap == pytest.approx(1.6, abs=0.2)
    scratched = wide.with_(np.minimum(wide.z, groove(0.4, depth=0.05, middle=30.0).z))
    assert smallest_detail(scratched).narrowest_gap == pytest.approx(5.0, abs=0.5)
    assert smallest_detail(both).width <= 1.8


def test_a_round_pit_is_a_gap_and_a_cliff_is_none():
    pit = sampled(lambda x, y: np.where(np.hypot(x - 20, y - 15) < 1.5, -3.0, 0.0), 40.0, 30.0, pixel=0.1)
    assert smallest_detail(pit).narrowest_gap == pytest.approx(3.0, abs=0.3)
    cliff = sampled(lambda x, y: np.where(x < 20, 0.0, -5.0), 40.0, 30.0, pixel=0.1)
    found = smallest_detail(cliff)
    assert found.narrowest_gap is None
    assert found.gap_depth == 0.0


@pytest.mark.parametrize("angle", [3.0, 20.0, 45.0, 70.0])
@pytest.mark.parametrize("turned", [0.0, 0.7])
def test_the_angle_of_a_plane(angle, turned):
    steep = math.tan(math.radians(angle))
    a, b = steep * math.cos(turned), steep * math.sin(turned)
    found = smallest_detail(sampled(lambda x, y: a * x + b * y - 200, 20.0, 15.0, pixel=0.1))
    assert math.degrees(found.steepest_wall) == pytest.approx(angle, abs=1.0)
    assert found.valley_limit == "wider than the map"
    assert found.valley_radius == 7.5
    assert found.narrowest_gap is None


def test_a_wall_is_steep_and_its_foot_finer_than_any_ball():
    found = smallest_detail(groove(2.3))
    assert math.degrees(found.steepest_wall) > 88
    assert found.valley_radius < 0.5


@pytest.mark.parametrize("pixel", [0.1, 0.5, 1.0])
def test_a_crease_is_sharper_than_the_map_can_tell_whatever_the_pixel(pixel):
    """Straight creases of 45 degrees every 8 mm: no radius is there, and none is told as found."""
    tent = sampled(lambda x, y: np.abs((x % 8) - 4) - 4, 160.0, 60.0, pixel=pixel)
    found = smallest_detail(tent)
    assert found.valley_limit == "finer than the pixels"
    assert found.finest_told == found.valley_radius < 6 * pixel


def test_a_round_valley_has_no_crease():
    wave = sampled(lambda x, y: np.cos(2 * np.pi * x / 20) - 1, 60.0, 20.0, pixel=0.1)
    assert smallest_detail(wave).creased_share == 0.0


def test_a_huge_map_is_told_alike_from_a_coarser_one(monkeypatch):
    """Waves as before; a groove too narrow for the coarser map is still found. "Huge" begins earlier here."""
    ground = sampled(lambda x, y: np.cos(2 * np.pi * x / 20) - 1 + 0 * y, 42.0, 42.0, pixel=0.1)
    slit = ground.with_(np.where(np.abs(ground.x - 20)[None, :] < 0.2, ground.z - 2, ground.z))
    one, narrow = smallest_detail(ground), smallest_detail(slit)
    monkeypatch.setattr(detail, "_AT_ONCE", ground.z.size // 3)
    other = smallest_detail(ground)
    assert other.pixel == pytest.approx(0.2)  # the coarser map was enough
    assert other.valley_radius == pytest.approx(one.valley_radius, rel=0.1)
    assert smallest_detail(slit).narrowest_gap == narrow.narrowest_gap < 0.7


@pytest.mark.parametrize("spoilt", ["eight bits", "noise", "both"])
def test_grey_steps_and_noise_hardly_change_the_figures(spoilt):
    clean = waves(3.0)
    z = clean.z
    if spoilt != "eight bits":
        z = z + np.random.default_rng(7).normal(0.0, 0.01, z.shape)
    if spoilt != "noise":
        z = np.round(z / 6 * 255) * 6 / 255
    before, after = smallest_detail(clean), smallest_detail(clean.with_(z))
    assert after.valley_radius == pytest.approx(before.valley_radius, rel=0.15)
    assert after.narrowest_gap == pytest.approx(before.narrowest_gap, abs=0.4)
    assert after.steepest_wall == pytest.approx(before.steepest_wall, abs=math.radians(2))
    assert (after.grey_step == pytest.approx(6 / 255)) if spoilt != "noise" else (after.grey_step == 0.0)
    if spoilt == "noise":
        assert after.noise == pytest.approx(0.01, rel=0.05)


def test_a_terraced_gentle_slope_is_no_staircase():
    """One degree in grey steps of 0.04 mm: single pixels would say 22 degrees."""
    gentle = sampled(lambda x, y: -math.tan(math.radians(1)) * x, 60.0, 20.0, pixel=0.1)
    found = smallest_detail(gentle.with_(np.round(gentle.z / 0.04) * 0.04))
    assert math.degrees(found.steepest_wall) < 1.5
    assert found.valley_limit == "wider than the map"


def test_a_small_map_has_an_answer():
    for shape in ((1, 1), (2, 3), (6, 6)):
        found = smallest_detail(HeightMap(np.zeros(shape), 0.1))
        assert found.steepest_wall == 0.0
        assert found.valley_radius > 0


# ------------------------------------------------------------------ a rack


def test_the_largest_cutter_that_reaches_enough_is_chosen():
    """Waves with a bottom radius of 2.53 mm: balls up to 5 mm fit, one of 1/2 in does not."""
    surface = waves(1.0)
    rack = [Cutter(f"B{d:g}", "", "ball", d, 6.0, 2, 20.0, 60.0, 40.0) for d in (12.7, 2.0, 5.0, 3.0)]
    found = which_reaches(surface, rack, most_left=0.05)
    assert [one.cutter.id for one in found if one.chosen] == ["B5"]
    assert [one.cutter.id for one in found if one.enough] == ["B2", "B3", "B5"]
    volumes = [one.left.volume for one in found]
    assert volumes == sorted(volumes)


def test_a_cutter_that_is_too_short_is_not_chosen():
    surface = sampled(lambda x, y: 8 * (np.cos(2 * np.pi * x / 40) - 1), 40.0, 10.0, pixel=0.2)
    rack = [
        Cutter("SHORT", "", "ball", 6.0, 6.0, 2, 10.0, 60.0, 40.0),
        Cutter("LONG", "", "ball", 3.0, 3.0, 2, 20, 60, 40),
    ]
    found = which_reaches(surface, rack)
    assert all(one.enough for one in found)
    assert [one.cutter.id for one in found if one.chosen] == ["LONG"]


def test_none_is_chosen_when_none_reaches_enough():
    found = which_reaches(groove(0.5), [Cutter("B6", "", "ball", 6.0, 6.0, 2, 20.0, 60.0, 40.0)], most_area=0.0)
    assert [one.chosen for one in found] == [False]


def test_the_whole_demo_rack_can_be_asked(demo_rack):
    told = []
    surface = ndimage.gaussian_filter(np.random.default_rng(3).normal(size=(150, 200)), 6)
    surface = HeightMap((surface - surface.max()) / np.ptp(surface) * 6.0, 0.2)
    found = which_reaches(surface, demo_rack, progress=told.append)
    assert {one.cutter.id for one in found} == {one.id for one in demo_rack}
    drills = [one for one in found if one.cutter.shape == "drill"]
    assert found[-len(drills) :] == drills
    assert all(one.left is None and not one.enough for one in drills)
    assert sum(one.chosen for one in found) == 1
    assert told == sorted(told)


@pytest.fixture(scope="module")
def demo_rack():
    from pathlib import Path

    return list(read_cutters(Path(__file__).parents[1] / "data" / "cutters.csv").values())
