"""Coefficients learned from a shop's readings: simulated readings give back what they were made with."""

import math
import re
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopcalc.cutters import Cutter
from shopcalc.cutting.deflection import Give, cutter_give
from shopcalc.cutting.force import BANDS, Load, coefficients
from shopcalc.cutting.grain import MODES, grain_vector
from shopcalc.cutting.measured import PowerReading, PushOffReading, apply, fit_power, fit_push_off, known
from shopcalc.cutting.push_off import push_off
from shopcalc.errors import InputError
from shopcalc.learned import Learned, append
from shopcalc.materials import read_materials

WOOD = read_materials()
MAPLE, MDF = WOOD["hard-maple"], WOOD["mdf"]
CUTTER = Cutter("SQ12", "", "square end", 12, 12, 2, 40, 90, 50, helix=0.5, regrinds=1)
GIVE = Give(3_000, 600)  # a light machine
DATE = "2026-03-02"
ALONG, ACROSS, UPRIGHT = grain_vector("flat"), grain_vector("flat", math.pi / 2), grain_vector("end")
FEEDS = (0.05, 0.1, 0.2, 0.3, 0.4)


def readings(edge, chip, feeds=FEEDS, material=MAPLE, noise=0.0, grain=ALONG, efficiency=1.0, seed=1):
    """Watts from mean torque and speed, of a wood whose terms are so many times the likely ones."""
    true = coefficients(material)["likely"].scaled(chip=chip, edge=edge)
    draw = np.random.default_rng(seed)
    out = []
    for i, f in enumerate(feeds):
        rpm, width, direction = 12_000.0 + 1500 * (i % 3), 3.0 + i % 2 * 3, ("climb", "conventional")[i % 2]
        torque = Load(CUTTER, true, grain, width, 8.0, direction).at(f).torque / 1000
        cutting = torque * rpm * 2 * math.pi / 60 * math.exp(noise * draw.standard_normal()) / efficiency
        out.append(PowerReading(rpm, f, width, 8.0, direction, grain, 300 + float(cutting), 300.0))
    return out


def power(*args, material=MAPLE, **how):
    return fit_power(CUTTER, material, readings(*args, material=material, **how), date=DATE)


# --- power


@settings(max_examples=20)
@given(st.floats(0.4, 2.5), st.floats(0.4, 2.5), st.sampled_from([ALONG, ACROSS, UPRIGHT]))
def test_a_perfect_series_is_recovered(edge, chip, grain):
    got = power(edge, chip, grain=grain)
    assert got.edge_factor == pytest.approx(edge, rel=1e-6)
    assert got.chip_factor == pytest.approx(chip, rel=1e-6)
    assert got.residual < 1e-6
    assert got.n == 5
    assert got.source == "this shop, 2026-03-02"


@pytest.mark.parametrize("seed", range(8))
def test_scattering_readings_are_recovered_within_their_scatter(seed):
    """40 readings that scatter by 5 %; ten times as many scatter bands hold both factors."""
    got = power(1.4, 0.8, feeds=np.tile(np.linspace(0.03, 0.5, 10), 4), noise=0.05, seed=seed)
    assert got.edge_factor == pytest.approx(1.4, rel=0.12)
    assert got.chip_factor == pytest.approx(0.8, rel=0.08)
    assert got.residual == pytest.approx(0.05, rel=0.4)


def test_the_band_widens_with_scatter_and_narrows_with_readings():
    def width(noise, n):
        got = power(1.2, 0.9, feeds=np.tile(FEEDS, n), noise=noise)
        low, likely, high = (got.band_factors[b] for b in BANDS)
        assert low < likely == 1 < high
        assert low * high == pytest.approx(1)
        return high / low

    assert width(0.0, 2) < width(0.1, 2) < width(0.3, 2)
    assert width(0.0, 8) < width(0.0, 2)
    assert width(0.0, 1) > 1.1, "five readings that agree do not make certainty"


def test_the_band_holds_four_fifths_of_further_cuts():
    """400 cuts of woods that scatter by 20 %; fitted to 60 of them."""
    got = power(1.1, 0.9, feeds=np.tile(np.linspace(0.05, 0.4, 12), 5), noise=0.2)
    band = apply(coefficients(MAPLE), got)
    rest = readings(1.1, 0.9, feeds=np.tile(np.linspace(0.05, 0.4, 20), 20), noise=0.2, seed=7)
    inside = 0
    for r in rest:
        watts = [
            Load(CUTTER, band[b], r.grain, r.width, r.level, r.direction).at(r.feed_per_tooth).torque
            * r.rpm * 2 * math.pi / 60_000 for b in BANDS
        ]  # fmt: skip
        inside += watts[0] < r.spindle_power - 300 < watts[2]
    assert 0.74 <= inside / len(rest) <= 0.88


def test_alike_chips_teach_one_common_factor_and_it_is_said():
    rs = [replace(r, width=3.0) for r in readings(1.3, 1.3, feeds=(0.2, 0.2))]
    true = coefficients(MAPLE)["likely"].scaled(1.3, 1.3)
    rs = [
        replace(r, spindle_power=300 + float(Load(CUTTER, true, ALONG, 3.0, 8.0, r.direction).at(0.2).torque)
                * r.rpm * 2 * math.pi / 60_000)
        for r in rs
    ]  # fmt: skip
    got = fit_power(CUTTER, MAPLE, rs, date=DATE)
    assert got.edge_factor == got.chip_factor == pytest.approx(1.3)
    assert "could not be told apart: the chips of the readings are too much alike" in got.words
    assert "feeds further apart" in got.words
    assert "told apart" not in power(1.3, 0.9).words


def test_readings_that_contradict_an_edge_term_teach_a_common_factor():
    """Power that grows faster than the chip would leave the edge less than nothing."""
    rs = [replace(r, spindle_power=300 + 2000 * r.feed_per_tooth**2 * r.width) for r in readings(1, 1)]
    got = fit_power(CUTTER, MAPLE, rs, date=DATE)
    assert got.edge_factor == got.chip_factor > 0
    assert "vanish" in got.words


def test_two_readings_say_that_nothing_checks_them():
    assert "take a third" in power(1.2, 0.9, feeds=(0.05, 0.4)).words
    assert "take a third" not in power(1.2, 0.9).words


def test_the_drives_losses_can_be_taken_off():
    lossy = readings(1.2, 0.9, efficiency=0.8)
    assert fit_power(CUTTER, MAPLE, lossy, date=DATE, efficiency=0.8).chip_factor == pytest.approx(0.9)
    assert fit_power(CUTTER, MAPLE, lossy, date=DATE).chip_factor == pytest.approx(0.9 / 0.8)


def test_a_factor_outside_the_tables_band_is_pointed_out():
    assert "outside the tables' band" in power(4.0, 4.0).words
    assert "outside" not in power(1.0, 1.0).words


# --- what is applied


def test_applied_coefficients_predict_the_readings():
    band = apply(coefficients(MAPLE), power(1.4, 0.7))
    for r in readings(1.4, 0.7):
        torque = Load(CUTTER, band["likely"], r.grain, r.width, r.level, r.direction).at(r.feed_per_tooth).torque
        assert torque * r.rpm * 2 * math.pi / 60_000 == pytest.approx(r.spindle_power - r.idle_power)
    assert {c.source for c in band.values()} == {"this shop, 2026-03-02"}


def test_modes_that_were_never_cut_move_along_and_keep_their_band():
    """Along the grain no flute without helix peels; with this one a quarter would, of little torque."""
    plain, got = coefficients(MAPLE), power(1.4, 0.7)
    assert got.modes == ("90-0", "90-90")
    assert "0-90 was not cut" in got.words
    band = apply(plain, got)
    for term, factor in (("edge", 1.4), ("chip", 0.7)):
        before, after = ({b: getattr(c, term) for b, c in bands.items()} for bands in (plain, band))
        for b in BANDS:
            assert after[b][1] == pytest.approx(factor * before[b][1])
            assert after[b][[0, 2]] == pytest.approx(factor * before["likely"][[0, 2]] * got.band_factors[b])
            assert np.all(after["low"] < after["likely"])
            assert np.all(after["likely"] < after["high"])
    assert power(1, 1, grain=UPRIGHT).modes != got.modes
    assert power(1, 1, material=MDF).modes == MODES


def test_normal_force_keeps_the_tables_ratios():
    plain, band = coefficients(MAPLE), apply(coefficients(MAPLE), power(1.4, 0.7))
    for b in BANDS:
        assert band[b].normal_edge / band[b].edge == pytest.approx(plain[b].normal_edge / plain[b].edge)
        assert band[b].normal_chip / band[b].chip == pytest.approx(plain[b].normal_chip / plain[b].chip)


def test_what_was_learned_is_kept_and_comes_back(tmp_path):
    """Through the shop's table; a factor from the table moves every band and narrows none."""
    got = power(1.3, 1.3)
    rows = got.rows(CUTTER, machine="router", station="flat", material="hard-maple")
    append(tmp_path / "learned.csv", rows)
    value = Learned(rows, {"SQ12": 1}).value("force_factor", cutter="SQ12", material="hard-maple")
    again = known(value)
    assert again.source == got.source
    assert again.chip_factor == pytest.approx(1.3)
    plain, band = coefficients(MAPLE), apply(coefficients(MAPLE), again)
    for b in BANDS:
        assert band[b].chip == pytest.approx(1.3 * plain[b].chip)
        assert band[b].normal_edge == pytest.approx(1.3 * plain[b].normal_edge)


# --- push-off


def walls(factor, material=MAPLE, noise=0.0, height=None, directions=("climb", "conventional"), n=2):
    true = coefficients(material)["likely"].scaled(factor, factor)
    draw = np.random.default_rng(3)
    out = []
    for i in range(n):
        direction, f = directions[i % len(directions)], (0.1, 0.2, 0.3)[i % 3]
        load = Load(CUTTER, true, ALONG, 4.0, 20.0, direction)
        seen = push_off(load, GIVE, f, np.linspace(0, 20, 9) if height is None else height).max()
        out.append(
            PushOffReading(
                f, 4.0, 20.0, direction, ALONG, float(seen) * math.exp(noise * draw.standard_normal()), height
            )
        )
    return out


@pytest.mark.parametrize("height", [None, 0.0, 12.0])
@pytest.mark.parametrize("factor", [0.6, 1.0, 1.9])
def test_push_off_is_recovered(factor, height):
    got = fit_push_off(CUTTER, MAPLE, GIVE, walls(factor, height=height, directions=("climb",), n=3), date=DATE)
    assert got.learned
    assert got.force_factor == got.chip_factor == got.edge_factor == pytest.approx(factor, rel=1e-6)
    assert got.residual < 1e-6
    assert got.what == "push-off"
    assert "conventional cuts are taken to follow" in got.words
    assert got.rows(CUTTER, station="flat")[0].what == "push-off"


def test_scattering_walls_are_recovered():
    got = fit_push_off(CUTTER, MAPLE, GIVE, walls(1.3, noise=0.1, directions=("climb",), n=40), date=DATE)
    assert got.force_factor == pytest.approx(1.3, rel=0.05)
    assert got.residual == pytest.approx(0.1, rel=0.4)


def test_a_wall_on_the_other_side_teaches_nothing():
    rs = walls(1.0, directions=("climb",), n=3)
    got = fit_push_off(CUTTER, MAPLE, GIVE, [*rs[:2], replace(rs[2], push_off=-0.2)], date=DATE)
    assert not got.learned
    assert "reading 3 (-0.200 mm read" in got.words
    assert got.rows(CUTTER) == ()
    assert apply(coefficients(MAPLE), got)["likely"] is not None
    assert apply(coefficients(MAPLE), got)["high"].chip == pytest.approx(coefficients(MAPLE)["high"].chip)


def test_what_a_caliper_cannot_tell_teaches_nothing():
    got = fit_push_off(CUTTER, MAPLE, GIVE, [replace(r, push_off=0.015) for r in walls(1.0)], date=DATE)
    assert not got.learned
    assert "caliper" in got.words


# --- push-off itself


def test_push_off_by_hand_at_the_wall():
    """Straight flutes in one mode: at the wall the chip is nothing and only the edge pushes, along the whole level."""
    c = coefficients(MAPLE)["likely"]
    plain = replace(CUTTER, helix=0.0)
    for direction in ("climb", "conventional"):
        load = Load(plain, c, ALONG, 4.0, 20.0, direction)
        z = (np.arange(24) + 0.5) * 20 / 24
        # at the wall a flute runs with the feed or against it, and its inward push is straight off the wall
        each = c.normal_edge[0] * 20 / 24
        quick = sum(each * (cutter_give(plain, h, 5.0)[0, 0] + GIVE.quick) for h in z)
        off_wall = 1 if direction == "climb" else -1
        slow = off_wall * float(load.at(0.2).side) * GIVE.slow
        assert push_off(load, GIVE, 0.2, 5.0)[0] == pytest.approx(quick + slow)


@given(st.floats(0.01, 0.4), st.floats(0.01, 0.4), st.sampled_from(["climb", "conventional"]))
def test_push_off_is_linear_in_the_feed_and_takes_arrays(a, b, direction):
    load = Load(CUTTER, coefficients(MAPLE)["likely"], ALONG, 4.0, 20.0, direction)
    feeds, heights = np.array([[a], [b], [(a + b) / 2]]), np.array([0.0, 7.0, 20.0])
    got = push_off(load, GIVE, feeds, heights)
    assert got.shape == (3, 1, 3)
    assert got[2, 0] == pytest.approx((got[0, 0] + got[1, 0]) / 2)


def test_softer_springs_push_off_more():
    load = Load(CUTTER, coefficients(MAPLE)["likely"], ALONG, 4.0, 20.0, "climb")
    firm, soft, tall = (push_off(load, g, 0.2, 0.0)[0] for g in (GIVE, Give(1_000, 600), Give(3_000, 600, 300)))
    assert 0 < firm < soft
    assert firm < tall
    longer = replace(CUTTER, stick_out=70)
    assert push_off(Load(longer, load.coefficients, ALONG, 4.0, 20.0, "climb"), GIVE, 0.2, 0.0)[0] > firm


# --- refusals


def spoilt(**how):
    first, *rest = readings(1, 1)
    return [replace(first, **how), *rest]


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: fit_power(CUTTER, MAPLE, [], date=DATE), "0 readings of power"),
        (lambda: fit_power(CUTTER, MAPLE, readings(1, 1)[:1], date=DATE), "1 reading of power"),
        (lambda: fit_power(CUTTER, MAPLE, spoilt(idle_power=2000), date=DATE), r"readings\[1\].spindle_power.*idling"),
        (lambda: fit_power(CUTTER, MAPLE, spoilt(idle_power=-1), date=DATE), "idle power"),
        (lambda: fit_power(CUTTER, MAPLE, spoilt(rpm=0), date=DATE), r"readings\[1\].rpm"),
        (lambda: fit_power(CUTTER, MAPLE, spoilt(spindle_power=math.nan), date=DATE), "spindle power"),
        (lambda: fit_power(CUTTER, MAPLE, spoilt(width=20.0), date=DATE), r"readings\[1\].*width of cut 20 mm"),
        (lambda: fit_power(CUTTER, MAPLE, readings(1, 1), date="2.3.2026"), "not a date"),
        (lambda: fit_power(CUTTER, MAPLE, readings(1, 1), date=DATE, efficiency=1.2), "efficiency"),
        (lambda: power(20, 20), "times the tables' likely force"),
        (lambda: power(0.001, 0.001), "check that power is in watts"),
        (lambda: fit_push_off(CUTTER, MAPLE, GIVE, [], date=DATE), "no reading"),
        (lambda: fit_push_off(CUTTER, MAPLE, GIVE, [replace(walls(1)[0], push_off=math.nan)], date=DATE), "push-off"),
        (lambda: fit_push_off(CUTTER, MAPLE, GIVE, [replace(walls(1)[0], height=21.0)], date=DATE), "height of 21"),
        (lambda: fit_push_off(CUTTER, MAPLE, GIVE, [replace(walls(1)[0], push_off=30.0)], date=DATE), "in mm"),
    ],
)
def test_bad_readings_are_refused_with_a_remedy(call, words):
    with pytest.raises(InputError) as caught:
        call()
    text = " / ".join(str(f) for f in caught.value.faults)
    assert re.search(words, text), text
    assert all(f.remedy for f in caught.value.faults)


def test_every_bad_reading_is_told_at_once():
    bad = [replace(r, idle_power=5000.0) for r in readings(1, 1)]
    with pytest.raises(InputError) as caught:
        fit_power(CUTTER, MAPLE, bad, date=DATE)
    assert len(caught.value.faults) == 5


def test_importing_it_loads_no_optimiser():
    code = "import sys, shopcalc.cutting.measured; print('scipy.optimize' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
