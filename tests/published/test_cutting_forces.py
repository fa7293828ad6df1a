"""Cutting forces in wood: the geometry of cutting along and across the grain, trends, and the few numbers read.

Sources, by abstract, introduction or conclusions: B. Palubicki, Materials 14:2208 (2021); G. Woodson, USDA Forest
Service Research Paper SO-146 (1979); J. Vazquez-Cooz and R. Meyer, XII World Forestry Congress, paper 0886-A2; R.
Curti and others, BioResources 13(3):5491 (2018); P. Iskra and R. Hernandez, Wood and Fiber Science (2011); P.
Moradpour and others, Drvna industrija (2016); R. Sedlecky and M. Gasparik, BioResources 12(4):7413 (2017); Coatings
14(9):1085 (2024); J. Dippon and others, Forest Products Journal (2000); B. Porankiewicz and others, BioResources
(2011).
Trends are tested in direction only: how steep they are is remembered and not read.
"""

import inspect
import itertools
import math
from dataclasses import replace

import numpy as np
import pytest

from shopcalc.cutters import Cutter
from shopcalc.cutting import chipload
from shopcalc.cutting.force import BANDS, Load, coefficients
from shopcalc.cutting.grain import MODES, end_modes, flute_modes, grain_vector, mean_flute_modes
from shopcalc.materials import read_materials

ROWS = [
    "CF01", "CF02", "CF05", "CF06", "CF07", "CF08", "CF09", "CF10", "CF11", "CF12", "CF13", "CF15", "CF16", "CF20",
    "CF21", "CF22", "CF23", "CF24", "CF25", "CF26", "CF27",
]  # fmt: skip
WOOD = read_materials()
MAPLE = WOOD["hard-maple"]
DEPTHS = [0.015 * 25.4, 0.030 * 25.4, 0.045 * 25.4, 0.060 * 25.4]  # of SO-146 [mm]
TURN = np.linspace(0, 2 * math.pi, 73)
ALONG, ACROSS, UPRIGHT = grain_vector("flat"), grain_vector("flat", math.pi / 2), grain_vector("end")
FLAT = [grain_vector(s, a) for s in ("flat", "edge") for a in np.radians([0, 20, 45, 90, 135])]


def tangential(c, chip):
    """(3,) force along the motion on each mm of edge [N/mm]."""
    return c.edge + c.chip * chip


def normal(c, chip):
    """(3,) force square to it."""
    return c.normal_edge + c.normal_chip * chip


def likely(material=MAPLE, **how):
    return coefficients(material, **how)["likely"]


def square_end(diameter=12, helix=0.0):
    return Cutter("SQ", "", "square end", diameter, diameter, 2, 40, 90, 50, helix=helix)


# --- geometry


def test_cf20_spindle_along_the_grain_flutes_peel_at_every_angle():
    """Edge to grain 0, motion to grain 90: 0-90."""
    assert flute_modes(UPRIGHT, TURN) == pytest.approx(np.tile([0, 1, 0], (73, 1)), abs=1e-12)


def test_cf21_spindle_along_the_grain_end_teeth_cut_across_the_fibres():
    """Edge to grain 90, motion to grain 90: 90-90."""
    assert end_modes(UPRIGHT, TURN) == pytest.approx(np.tile([0, 0, 1], (73, 1)), abs=1e-12)


@pytest.mark.parametrize("grain", FLAT)
def test_cf22_spindle_across_the_grain_flutes_never_peel(grain):
    """Edge to grain 90 at every angle; the motion swings from along the grain to across it twice a turn."""
    modes = flute_modes(grain, TURN)
    assert modes[:, MODES.index("0-90")] == pytest.approx(np.zeros(73), abs=1e-12)
    fine = flute_modes(grain, np.linspace(0, 2 * math.pi, 7201))[:, MODES.index("90-90")]
    assert [fine.min(), fine.max()] == pytest.approx([0, 1], abs=1e-6)
    assert np.sum(np.diff(np.sign(fine - 0.5)) != 0) == 4


@pytest.mark.parametrize("grain", FLAT)
def test_cf23_spindle_across_the_grain_end_teeth_never_cut_across_the_fibres(grain):
    assert end_modes(grain, TURN)[:, MODES.index("90-90")] == pytest.approx(np.zeros(73), abs=1e-12)


@pytest.mark.parametrize("direction", ["climb", "conventional"])
@pytest.mark.parametrize(
    ("grain", "width", "share"),
    [(ALONG, 1.0, 0.66667), (ACROSS, 1.0, 0.33333), (ALONG, 0.1, 0.18667), (ACROSS, 0.1, 0.81333)],
)
def test_cf24_to_cf27_share_of_90_90(grain, width, share, direction):
    """Full slot and a tenth of the diameter, along and across."""
    modes = mean_flute_modes(grain, width * 12, 12, direction)
    assert modes[MODES.index("90-90")] == pytest.approx(share, abs=1e-5)


@pytest.mark.parametrize(("width", "along"), [(0.25, 0.4167), (0.5, 0.6667), (0.1, 0.1867)])
def test_side_cuts_share_of_90_90(width, along):
    """Derived: 2/3 also at half the diameter, 0.4167 at a quarter; across the grain the rest."""
    for direction in ("climb", "conventional"):
        assert mean_flute_modes(ALONG, width * 12, 12, direction)[2] == pytest.approx(along, abs=5e-5)
        assert mean_flute_modes(ACROSS, width * 12, 12, direction)[2] == pytest.approx(1 - along, abs=5e-5)


@pytest.mark.parametrize("width", [0.01, 0.1, 0.3, 0.5, 0.77, 1.0])
def test_closed_form_of_the_share_along_the_grain(width):
    """[2/3 - cos p + cos^3 p / 3] / (1 - cos p) with cos p = 1 - 2 width / diameter (derived)."""
    cos = 1 - 2 * width
    wanted = (2 / 3 - cos + cos**3 / 3) / (1 - cos)
    assert mean_flute_modes(ALONG, width * 9, 9, "conventional")[2] == pytest.approx(wanted, abs=1e-12)


@pytest.mark.parametrize("degrees", [0, 15, 30, 45])
def test_helix_turns_the_first_angle(degrees):
    """Spindle along the grain: edge to grain is the helix. Across it: from 90 down to 90 less the helix (derived)."""
    h = math.radians(degrees)
    modes = flute_modes(UPRIGHT, TURN, h)
    wanted = np.tile([math.sin(h) ** 2, math.cos(h) ** 2, 0], (73, 1))
    assert modes == pytest.approx(wanted, abs=1e-12)
    fine = flute_modes(ALONG, np.linspace(0, 2 * math.pi, 7201), h)
    assert fine[:, 1].max() == pytest.approx(math.sin(h) ** 2, abs=1e-6)  # flute pointing left: motion with the grain
    assert fine[0] == pytest.approx([math.cos(h) ** 2, math.sin(h) ** 2, 0], abs=1e-12)
    assert fine[1800] == pytest.approx([0, 0, 1], abs=1e-6)  # pointing ahead


# --- numbers


@pytest.mark.parametrize("read", [32.0, 37.6])
def test_cf01_cf02_particleboard_lies_inside_the_band(read):
    """Palubicki gives no chips in the abstract; mean chips of 0.05 to 0.3 mm are assumed, which 0.1 to 0.6 mm per
    tooth give at a tenth to a quarter of the diameter. The band has to hold the figure at every one of them, and the
    likely curve to pass through it somewhere between."""
    bands = coefficients(WOOD["particleboard"])
    chips = np.linspace(0.05, 0.3, 26)
    low, middle, high = ((bands[b].chip[0] + bands[b].edge[0] / chips) for b in BANDS)
    assert np.all((low < read) & (read < high))
    assert middle.min() < read < middle.max()


def test_particleboard_specific_thrust_falls_as_the_chip_thickens():
    """Palubicki, abstract."""
    c = coefficients(WOOD["particleboard"])["likely"]
    chips = np.linspace(0.05, 0.5, 20)
    thrust = [normal(c, h)[0] / h for h in chips]
    assert np.all(np.diff(thrust) < 0)


# --- trends


@pytest.mark.parametrize("band", BANDS)
@pytest.mark.parametrize("wet", [0.10, 0.20, 0.60])
@pytest.mark.parametrize("degrees", [10, 20, 30, 40])
def test_cf05_force_rises_with_depth(band, wet, degrees):
    c = coefficients(MAPLE, moisture=wet, rake=math.radians(degrees))[band]
    assert np.all(np.diff([tangential(c, h) for h in DEPTHS], axis=0) > 0)


@pytest.mark.parametrize("depth", DEPTHS)
@pytest.mark.parametrize("band", BANDS)
def test_cf05_force_rises_with_specific_gravity(band, depth):
    gravities = np.linspace(0.4, 0.8, 9)
    forces = [tangential(coefficients(replace(MAPLE, specific_gravity_12=x))[band], depth) for x in gravities]
    assert np.all(np.diff(forces, axis=0) > 0)


@pytest.mark.parametrize("depth", DEPTHS)
@pytest.mark.parametrize("band", BANDS)
def test_cf05_force_falls_with_rake(band, depth):
    """Over all rakes of the paper, 10 to 70 degrees."""
    forces = [tangential(coefficients(MAPLE, rake=r)[band], depth) for r in np.radians([10, 20, 30, 40, 50, 60, 70])]
    assert np.all(np.diff(forces, axis=0) < 0)


@pytest.mark.parametrize("depth", DEPTHS)
@pytest.mark.parametrize("band", BANDS)
def test_cf05_force_falls_with_moisture(band, depth):
    """10 and 20 %, and saturated."""
    forces = [tangential(coefficients(MAPLE, moisture=m)[band], depth) for m in (0.10, 0.20, 0.80)]
    assert np.all(np.diff(forces, axis=0) < 0)


@pytest.mark.parametrize("mode", ["90-0", "90-90"])
def test_cf06_normal_force_of_the_chip_changes_sign_between_rakes_of_20_and_30(mode):
    """The chip's own part. The edge's part always pushes off, so that the whole follows later with thin chips: at the
    paper's two thickest still below 30, at its thinnest beyond (a limit of the remembered edge terms)."""
    j = MODES.index(mode)
    at20, at30 = (likely(rake=math.radians(d)) for d in (20, 30))
    assert at20.normal_chip[j] > 0 > at30.normal_chip[j]
    for depth in DEPTHS[2:]:
        assert normal(at20, depth)[j] > 0 > normal(at30, depth)[j]


def test_cf06_does_not_hold_for_peeling():
    """The abstract says it of 90-0 and 90-90 alone."""
    for degrees in (10, 20, 30, 50, 70):
        assert likely(rake=math.radians(degrees)).normal_chip[MODES.index("0-90")] > 0


def test_cf07_normal_force_in_peeling_rises_with_depth_and_with_nothing_else():
    j = MODES.index("0-90")
    how = list(itertools.product((0.4, 0.65, 0.8), (0.10, 0.20, 0.60), np.radians([10, 50, 70])))
    for band in BANDS:
        cs = [coefficients(replace(MAPLE, specific_gravity_12=x), moisture=m, rake=r)[band] for x, m, r in how]
        for depth in DEPTHS:
            assert len({round(float(normal(c, depth)[j]), 12) for c in cs}) == 1
        for c in cs:
            assert np.all(np.diff([normal(c, h)[j] for h in DEPTHS]) > 0)


@pytest.mark.parametrize("wood", ["hard-maple", "red-maple"])
def test_cf08_dry_maple_needs_more_than_green_and_a_larger_rake_less(wood):
    """In 90-90. The temperature of the wood is not in the model, so frozen wood is not looked at."""
    j, maple = MODES.index("90-90"), WOOD[wood]
    dry, green = (tangential(likely(maple, moisture=m), 0.2)[j] for m in (0.08, 0.60))
    blunt, keen = (tangential(likely(maple, rake=math.radians(d)), 0.2)[j] for d in (20, 35))
    assert dry > green
    assert blunt > keen


@pytest.mark.parametrize("wet", [0.08, 0.60])
def test_cf09_least_force_with_the_motion_along_the_grain(wet):
    """Green beech; edge across the grain, motion from along it to across it. The paper finds 50 to 70 degrees a
    compromise of force and surface, which force alone does not show."""
    c = likely(WOOD["beech"], moisture=wet)
    turn = np.linspace(0, math.pi / 2, 19)  # flute pointing left moves with the grain, pointing ahead across it
    force = flute_modes(ALONG, turn) @ tangential(c, 0.2)
    assert np.argmin(force) == 0
    assert np.all(np.diff(force) > 0)


def test_cf10_force_in_conventional_milling_is_positive_and_greatest_at_the_exit():
    """Sugar maple, knife and motion as when planing; a side cut of a tenth of the diameter."""
    cut = Load(square_end(), likely(), ALONG, 1.2, 8, "conventional")
    arc = np.linspace(0, math.acos(1 - 2 * 0.1), 50)
    edge, chip = cut.line(arc)[0]
    force = edge + 0.3 * chip
    assert np.all(force > 0)
    assert np.argmax(force) == 49
    assert np.all(np.diff(force) > 0)


@pytest.mark.parametrize("oak", ["white-oak"])
def test_cf11_oak_needs_more_than_beech_and_thicker_chips_more_force(oak):
    """Green, 90-90. Speed over feed is the inverse of the chip. European woods; of ours white oak is denser than
    beech, red oak is not, and the model goes by specific gravity alone."""
    j = MODES.index("90-90")
    a, b = (likely(WOOD[w], moisture=0.6) for w in (oak, "beech"))
    assert tangential(a, 0.2)[j] > tangential(b, 0.2)[j]
    assert np.all(np.diff([tangential(b, h)[j] for h in (0.1, 0.2, 0.4)]) > 0)


def power(material, rpm, feed):
    per_tooth = chipload.feed_per_tooth(feed, rpm, 2)
    load = Load(square_end(16), coefficients(material)["likely"], ALONG, 2, 18, "conventional")
    return float(load.at(per_tooth).torque) * rpm * 2 * math.pi / 60_000


@pytest.mark.parametrize("feed", [4000.0, 8000.0, 11000.0])
@pytest.mark.parametrize("rpm", [24_000.0, 48_000.0])
def test_cf12_mdf_takes_more_power_than_glued_spruce(feed, rpm):
    """Edge milling at 4, 8, 11 m/min, rim at 20 and 40 m/s. The faced board in between is no material of ours."""
    assert power(WOOD["mdf"], rpm, feed) > power(WOOD["sitka-spruce"], rpm, feed)


@pytest.mark.parametrize("wood", ["mdf", "sitka-spruce"])
def test_cf12_power_rises_with_feed_and_with_speed(wood):
    assert np.all(np.diff([power(WOOD[wood], 24_000.0, f) for f in (4000.0, 8000.0, 11000.0)]) > 0)
    assert np.all(np.diff([power(WOOD[wood], n, 8000.0) for n in (24_000.0, 36_000.0, 48_000.0)]) > 0)


@pytest.mark.parametrize("rpm", [12_000.0, 24_000.0, 48_000.0])
def test_cf13_cutting_speed_does_not_change_the_force(rpm):
    """At the same feed per tooth power grows as the speed does and not otherwise; the loads do not know a speed."""
    per_turn = power(WOOD["mdf"], rpm, 0.2 * 2 * rpm) / rpm
    assert per_turn == pytest.approx(power(WOOD["mdf"], 18_000.0, 0.2 * 2 * 18_000.0) / 18_000.0)
    for call in (coefficients, Load, Load.at, Load.turn):
        assert not {"rpm", "speed", "cutting_speed"} & set(inspect.signature(call).parameters)


# --- forms


@pytest.mark.parametrize("band", BANDS)
def test_cf15_force_is_an_edge_term_plus_a_constant_times_the_chips_area(band):
    """MDF: straight lines over the chip that do not start at zero; the constant depends on density and rake."""
    mdf = WOOD["mdf"]
    cut = Load(square_end(), coefficients(mdf)[band], ALONG, 12, 5, "climb")
    f = np.linspace(0.05, 0.5, 10)
    torque = np.asarray(cut.at(f).torque)
    slope, start = np.polyfit(f, torque, 1)
    assert torque == pytest.approx(start + slope * f, rel=1e-12)
    assert start > 0
    double = Load(square_end(), coefficients(mdf)[band], ALONG, 12, 10, "climb")
    assert np.asarray(double.at(f).torque) == pytest.approx(2 * torque)  # the area, not the thickness alone
    dense = coefficients(replace(mdf, specific_gravity_12=0.9))[band].chip
    keen = coefficients(mdf, rake=math.radians(35))[band].chip
    assert np.all(dense > coefficients(replace(mdf, specific_gravity_12=0.6))[band].chip)
    assert np.all(keen < coefficients(mdf)[band].chip)


@pytest.mark.parametrize("band", BANDS)
@pytest.mark.parametrize("term", ["chip", "edge"])
def test_cf16_factors_multiply(term, band):
    """Species, rake, edge, moisture: changing all at once is the product of changing each alone. Speed and temperature
    are not in the model, which is a factor of one."""
    plain = {"material": MAPLE, "rake": math.radians(20), "moisture": 0.08, "wear": 0.0}
    other = {"material": WOOD["cherry"], "rake": math.radians(32), "moisture": 0.16, "wear": 0.6}

    def value(how):
        how = dict(how)
        return getattr(coefficients(how.pop("material"), **how)[band], term)

    product = np.prod([value(plain | {k: v}) / value(plain) for k, v in other.items()], axis=0)
    assert value(other) / value(plain) == pytest.approx(product)
