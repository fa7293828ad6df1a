"""Tuning: settings recomputed from definitions, bounds that are never passed, and what happens where nothing fits."""

import json
import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopcalc.cutters import Cutter
from shopcalc.cutting import chipload
from shopcalc.cutting.tuning import grain_angle, tune
from shopcalc.errors import InputError
from shopcalc.machines import Axis, Machine, Spindle, Station
from shopcalc.materials import Material

SQ12 = Cutter("SQ12", "", "square end", 12, 12, 2, 38, 90, 48, maker_rpm=24000)
BIG = Cutter("BIG", "", "square end", 30, 12, 2, 60, 100, 60, body="steel", marked_rpm=16000)
COMP = Cutter(
    "COMP", "", "compression", 10, 10, 2, 28, 75, 40, cut_direction="compression", up_shear_length=5, maker_rpm=24000
)
OAK = Material("oak", "", "hardwood", 760, 0.68, 6000, None, None, None, None, chip_thin=0.04, chip_thick=0.25)
AXIS = Axis(rapid=20000, feed=12000, acceleration=800)
ROUTER = Machine(
    "router", axes=(AXIS, AXIS, Axis(8000, 5000, 500)), spindle=Spindle((6000, 18000, 24000), (1500, 4500, 4500))
)
KEYS = {
    "rpm", "feed_mm_min", "feed_per_tooth_mm", "greatest_chip_mm", "passes", "depth_per_pass_mm", "width_per_pass_mm",
    "minutes", "binds", "limits",
}  # fmt: skip


def tuned(cutter=SQ12, machine=ROUTER, material=OAK, depth=9.0, width=6.0, station="flat", grain="along", **more):
    return tune(cutter, material, machine, station=station, grain=grain, cut_depth=depth, cut_width=width, **more)


def limit(setting, name):
    return next(x for x in setting.limits if x.name == name)


cutters = st.sampled_from([
    SQ12, BIG, COMP, replace(SQ12, id="UNMARKED", maker_rpm=None),
    replace(SQ12, id="SQ3", diameter=3, cutting_length=12),
    Cutter("BALL", "", "ball", 12, 12, 2, 30, 80, 50, maker_rpm=24000),
    Cutter("V60", "", "V", 12, 6, 2, 10, 60, 30, included_angle=math.radians(60), maker_rpm=20000),
    Cutter("SURF", "", "surfacing", 50, 12, 3, 12, 60, 40, body="steel", centre_cutting=False, marked_rpm=16000),
])  # fmt: skip
grains = st.sampled_from(["along", "across", "end", "30 deg", 0.4])
stations = st.sampled_from(["flat", "edge", "end"])
cuts = (cutters, st.floats(0.3, 35), st.floats(0.3, 80), stations, grains)


@settings(max_examples=150, deadline=None)
@given(*cuts)
def test_hard_bounds_hold_and_numbers_agree(cutter, depth, width, station, grain):
    """Every figure is worked again from the others; the cutter's own speed is never passed."""
    s = tuned(cutter, depth=depth, width=width, station=station, grain=grain)
    known = [r for r in (cutter.marked_rpm, cutter.maker_rpm) if r is not None]
    assert s.rpm <= 0.85 * min(known, default=18000) + 1e-6
    assert s.feed_mm_min == pytest.approx(s.rpm * cutter.flutes * s.feed_per_tooth_mm)
    assert s.feed_mm_min <= 0.85 * 12000
    assert s.mean_chip_mm < s.greatest_chip_mm <= s.feed_per_tooth_mm * (1 + 1e-9)
    assert s.depth_per_pass_mm * s.levels == pytest.approx(depth)
    assert s.width_per_pass_mm <= cutter.diameter * (1 + 1e-9)
    assert s.passes == s.levels * s.side_steps
    used = [x.used for x in s.limits if x.used is not None]
    assert used == sorted(used, reverse=True)
    assert s.binds == s.limits[0].name
    assert s.minutes["low"] <= s.minutes["likely"] * (1 + 1e-9) <= s.minutes["high"] * (1 + 2e-9)
    assert s.runnable == (depth <= cutter.cutting_length and (cutter.marked_rpm or cutter.maker_rpm) is not None)
    assert limit(s, "bends or breaks").used <= 1 + 1e-9
    text = json.dumps(s.as_json(), allow_nan=False)
    assert set(json.loads(text)) >= KEYS
    assert tuned(cutter, depth=depth, width=width, station=station, grain=grain) == s


@pytest.mark.parametrize("width", [0.6, 3, 6, 12])
def test_the_chip_lies_in_the_middle_of_the_window(width):
    s = tuned(width=width, depth=4)
    assert s.mean_chip_mm == pytest.approx(math.sqrt(0.04 * 0.25), rel=0.01)
    assert s.mean_chip_mm == pytest.approx(chipload.mean_chip(s.feed_per_tooth_mm, width, 12))
    assert s.greatest_chip_mm == pytest.approx(chipload.greatest_chip(s.feed_per_tooth_mm, width, 12))
    assert limit(s, "burns").used == pytest.approx(limit(s, "tears").used, rel=0.02)


def test_power_is_the_high_specific_energy_times_the_rate():
    """60 N/mm2 from the table of habits (from memory, low confidence)."""
    s = tuned(depth=12, width=12)
    stall = limit(s, "stalls")
    assert stall.value == pytest.approx(60 * 12 * 12 * s.feed_mm_min / 60 / 1000)
    assert stall.hard
    assert "from memory" in stall.source
    assert stall.bound == 4500 * min(1, s.rpm / 18000)


def test_a_weak_spindle_costs_time_but_is_not_stalled():
    times = []
    for watts in (4000, 800, 300, 150):
        s = tuned(depth=24, width=12, machine=ROUTER.with_(spindle=Spindle((6000, 24000), (watts, watts))))
        assert limit(s, "stalls").used <= 0.85 + 1e-6
        assert s.runnable
        times.append(s.minutes["likely"])
    assert times == sorted(times)
    assert times[-1] > 1.3 * times[0]


def test_a_spindle_too_weak_for_any_clean_chip_says_so():
    s = tuned(depth=12, width=12, machine=ROUTER.with_(spindle=Spindle((12000, 24000), (5, 5))))
    assert not s.runnable
    assert s.limits[0].name.startswith("stalls")
    assert s.limits[0].used > 1


def test_a_cutter_slower_than_the_spindle_is_never_over_sped():
    s = tuned(replace(BIG, marked_rpm=5000))
    assert s.rpm <= 5000 * 0.85
    assert not s.runnable
    slow = limit(s, "too slow for the spindle")
    assert slow.used > 1
    assert slow.hard


def test_a_cutter_of_unknown_speed_is_never_runnable_and_sends_to_the_maker():
    """Practice bounds what is shown, but an unknown greatest speed is no permission."""
    bare = replace(SQ12, maker_rpm=None)
    s = tuned(bare)
    over = limit(s, "over-speeds the cutter")
    assert over.bound is None
    assert not s.runnable
    assert s.rpm <= 18000
    assert "find its greatest speed" in over.remedy
    assert "EN 847-1" in over.source
    assert "EN 847-1" not in limit(tuned(BIG), "over-speeds the cutter").source
    wide = replace(BIG, diameter=80, marked_rpm=None)
    assert tuned(wide).rpm <= 50 / (math.pi * 0.080) * 60


def test_a_tooth_never_takes_more_than_its_share_of_the_diameter():
    """Narrow cuts thin the chip; feeding up to the middle of the window would ask a ball for half a millimetre."""
    for width in (0.05, 0.3, 1.0, 3.0):
        s = tuned(replace(SQ12, shape="ball", diameter=6.35, measured_diameter=None), width=width, depth=2.0)
        assert s.feed_per_tooth_mm <= 0.04 * 6.35 * (1 + 1e-9)
        assert s.rpm > 6000


def test_the_lower_of_mark_and_data_sheet_counts():
    s = tuned(replace(SQ12, marked_rpm=12000))
    assert limit(s, "over-speeds the cutter").bound == 12000


def test_end_grain_takes_shallower_levels_than_across_and_along():
    depth = {g: tuned(depth=24, grain=g).depth_per_pass_mm for g in ("along", "across", "end")}
    assert depth["along"] == 12
    assert depth["across"] == 8
    assert depth["end"] == 6
    assert tuned(depth=24, grain="along", station="end").depth_per_pass_mm == 6
    assert depth["across"] <= tuned(depth=24, grain="45 deg").depth_per_pass_mm <= depth["along"]


@pytest.mark.parametrize("name", ["depth", "width", "length"])
def test_more_wood_never_takes_less_time(name):
    first = {"depth": 6.0, "width": 5.0, "length": 500.0}
    last = 0.0
    for factor in (1, 1.5, 2, 3, 5):
        now = tuned(**{**first, name: first[name] * factor}).minutes["likely"]
        assert now >= last - 1e-9
        last = now


def test_time_is_length_over_feed_where_nothing_slows_the_machine():
    free = Machine("free", axes=(Axis(), Axis(), Axis()), spindle=ROUTER.spindle)
    s = tuned(machine=free, depth=10, width=6, length=1000)
    way = 1000 + 2 * (6 + 2) + (10 + 10) / (2 * 0.35)  # run-in and run-out, and the way down at twice the plunge feed
    assert s.minutes["likely"] == pytest.approx(s.passes * way / s.feed_mm_min, rel=1e-3)
    slower = tuned(machine=free.with_(axes=(AXIS, AXIS, AXIS)), depth=10, width=6)
    assert slower.minutes["likely"] > s.minutes["likely"]


def test_a_skim_is_counted_timed_and_checked_for_rubbing():
    plain, skim = tuned(), tuned(skim=0.3)
    assert skim.passes == plain.passes + 1
    assert skim.width_per_pass_mm == pytest.approx(5.7)
    assert skim.minutes["likely"] > plain.minutes["likely"]
    rub = limit(skim, "rubs on the skim")
    assert rub.value == pytest.approx(chipload.greatest_chip(skim.feed_per_tooth_mm, 0.3, 12))
    assert limit(tuned(skim=0.01), "rubs on the skim").used > 1
    assert tuned(clearance=0.2).width_per_pass_mm == pytest.approx(6.1)


def test_a_long_stick_out_takes_shallower_levels():
    """Beyond four diameters in proportion (common practice, no source)."""
    short, long = (tuned(replace(SQ12, stick_out=s, overall_length=120), depth=36) for s in (48, 72))
    assert short.depth_per_pass_mm == 12
    assert long.depth_per_pass_mm == pytest.approx(36 / 5)


def test_a_slot_a_hair_wider_than_a_reground_cutter_is_two_passes():
    s = tuned(replace(SQ12, measured_diameter=11.96), width=12, depth=9)
    assert s.side_steps == 2
    assert s.width_per_pass_mm == 11.96


def test_a_clearance_wider_than_the_cut_is_refused():
    with pytest.raises(InputError, match="more than the cut"):
        tuned(clearance=99)


def test_wide_cuts_are_side_steps_and_deep_ones_levels():
    s = tuned(width=50, depth=30)
    assert s.side_steps == 1 + math.ceil((50 - 12) / (0.45 * 12))
    assert s.width_per_pass_mm == 12, "the first pass in the solid is a slot"
    assert s.levels == 3
    assert s.passes == s.side_steps * 3


def test_a_compression_cutter_must_go_in_past_its_up_cut_length():
    good, shallow = tuned(COMP, depth=19, width=10), tuned(COMP, depth=4, width=10)
    assert good.depth_per_pass_mm > 5
    assert limit(good, "tears the top face").used < 1
    assert limit(shallow, "tears the top face").used == pytest.approx(5 / 4)
    assert shallow.runnable


def test_a_slender_cutter_gets_a_thinner_chip_than_a_stout_one():
    slender = replace(SQ12, diameter=3.0, cutting_length=12)
    s = tuned(slender, depth=2, width=1.5)
    assert limit(s, "breaks").bound == pytest.approx(0.125)
    assert s.mean_chip_mm < tuned(depth=2, width=6).mean_chip_mm


def test_what_is_unknown_is_listed_last_and_said():
    s = tuned(machine=ROUTER.with_(spindle=None, axes=(Axis(rapid=9000), Axis(rapid=9000), Axis())))
    unknown = [x for x in s.limits if x.used is None]
    assert {x.name for x in unknown} == {"stalls", "outruns the machine"}
    assert s.limits[-len(unknown) :] == tuple(unknown)
    assert s.runnable
    json.dumps(s.as_json(), allow_nan=False)


def test_the_feed_as_run_makes_the_chip():
    s, slow = tuned(), tuned(machine=ROUTER.with_(feed_share=0.8))
    assert slow.mean_chip_mm == pytest.approx(s.mean_chip_mm, rel=1e-3)
    assert slow.feed_mm_min == pytest.approx(s.feed_mm_min / 0.8, rel=2e-3)


def test_every_limit_names_source_and_remedy():
    for x in (*tuned(skim=0.3).limits, *tuned(COMP).limits):
        assert x.source
        assert x.remedy


def test_grain_is_read_as_people_write_it():
    assert grain_angle("Along") == 0
    assert grain_angle("30") == grain_angle("30 deg") == pytest.approx(math.radians(30))
    assert grain_angle(math.radians(150)) == pytest.approx(math.radians(30))
    assert math.isnan(grain_angle("end"))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"depth": 0}, "cut depth is 0"),
        ({"width": -1}, "cut width is -1"),
        ({"width": math.nan}, "cut width is nan"),
        ({"station": "wall"}, "station 'wall' is not known"),
        ({"grain": "acros"}, "grain 'acros' is not known: did you mean 'across'"),
        ({"grain": "30 kg"}, "kg"),
        ({"skim": -0.1}, "skim -0.1"),
        ({"skim": 7}, "leave nothing"),
        ({"cutter": replace(SQ12, shape="drill")}, "is a drill"),
        ({"machine": ROUTER.with_(stations={"flat": Station("flat")}), "station": "end"}, "has no station 'end'"),
    ],
)
def test_bad_input_is_refused_with_a_remedy(change, words):
    with pytest.raises(InputError, match=words) as caught:
        tuned(**change)
    assert caught.value.faults[0].remedy
