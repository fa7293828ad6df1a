"""Tuning: settings recomputed from definitions, bounds that are never passed, and what happens where nothing fits."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopcalc.cutters import Cutter
from shopcalc.cutting import chipload
from shopcalc.cutting.force import Load
from shopcalc.cutting.limits import Loads, Pass
from shopcalc.cutting.relaxing import in_the_whole, relaxations
from shopcalc.cutting.tuning import Costs, Search, ask, grain_angle, tune
from shopcalc.errors import InputError
from shopcalc.machines import Axis, Machine, Spindle, Station
from shopcalc.materials import Material
from shopcalc.sources import Value

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
    Cutter("SURF", "", "surfacing", 50, 12, 3, 12, 66, 40, body="steel", centre_cutting=False, marked_rpm=16000),
])  # fmt: skip
grains = st.sampled_from(["along", "across", "end", "30 deg", 0.4])
stations = st.sampled_from(["flat", "edge", "end"])
cuts = (cutters, st.floats(0.3, 35), st.floats(0.3, 80), stations, grains)


@settings(max_examples=60, deadline=None)
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
    assert set(s.binds.split("; ")) <= {x.name for x in s.limits}
    assert s.minutes["low"] <= s.minutes["likely"] * 1.01 <= s.minutes["high"] * 1.02
    assert s.runnable == (depth <= cutter.cutting_length and (cutter.marked_rpm or cutter.maker_rpm) is not None)
    assert limit(s, "sings").used <= 1 + 1e-9
    assert abs(s.interpolation_error) < 0.01
    assert s.timed_points <= 60
    text = json.dumps(s.as_json(), allow_nan=False)
    assert set(json.loads(text)) >= KEYS
    assert tuned(cutter, depth=depth, width=width, station=station, grain=grain) == s


@pytest.mark.parametrize("width", [3, 6, 12])
def test_the_quickest_setting_stands_at_a_bound_and_a_dear_part_moves_it_inwards(width):
    """Nothing but minutes counts without costs; with a part worth something the chip keeps off the window's ends."""
    quick = tuned(width=width, depth=4)
    assert quick.limits[0].used == pytest.approx(1, abs=0.02) or limit(quick, "outruns the machine").used > 0.84
    dear = tuned(width=width, depth=4, costs=Costs(60.0, value=400.0))
    assert 0.04 * 1.2 < dear.mean_chip_mm < 0.25 / 1.2
    assert dear.scrap_chance < quick.scrap_chance
    assert dear.minutes["likely"] >= quick.minutes["likely"]
    for s in (quick, dear):
        assert s.mean_chip_mm == pytest.approx(chipload.mean_chip(s.feed_per_tooth_mm, width, 12))
        assert s.greatest_chip_mm == pytest.approx(chipload.greatest_chip(s.feed_per_tooth_mm, width, 12))


def test_a_part_worth_more_never_takes_a_riskier_setting():
    chances = [tuned(depth=9, width=8, costs=Costs(60.0, value=v)).scrap_chance for v in (1, 30, 300, 3000)]
    assert chances == sorted(chances, reverse=True)


def test_a_dear_edge_is_spared_by_thicker_chips():
    cheap, dear = (tuned(depth=9, width=8, costs=Costs(60.0, value=100.0, regrind=r)) for r in (0.0, 400.0))
    assert dear.feed_per_tooth_mm > cheap.feed_per_tooth_mm


def test_power_is_the_torque_of_the_force_model_at_that_speed():
    s = tuned(depth=12, width=12, in_solid=True)
    cut = ask(SQ12, OAK, ROUTER, station="flat", grain="along", cut_depth=12, cut_width=12, in_solid=True)
    load = Load(SQ12, cut.coefficients["high"], cut.grain, 12, s.depth_per_pass_mm, s.direction)
    stall = limit(s, "stalls")
    torque = float(load.at(s.feed_per_tooth_mm).torque)
    assert stall.value == pytest.approx(torque / 1000 * 2 * math.pi * s.rpm / 60)
    assert stall.hard
    assert "from memory" in stall.source
    assert stall.bound == 4500 * min(1, s.rpm / 18000)


def test_a_weak_spindle_costs_time_but_is_not_stalled():
    times = []
    for watts in (4000, 800, 300, 150):
        s = tuned(
            depth=24, width=12, in_solid=True, machine=ROUTER.with_(spindle=Spindle((6000, 24000), (watts, watts)))
        )
        assert limit(s, "stalls").used <= 0.85 + 1e-6
        assert s.runnable
        times.append(s.minutes["likely"])
    assert times == sorted(times)
    assert times[-1] > 1.3 * times[0]


def test_a_spindle_too_weak_for_any_clean_chip_says_so():
    s = tuned(depth=12, width=12, machine=ROUTER.with_(spindle=Spindle((12000, 24000), (5, 5))))
    assert s.limits[0].name in ("burns", "rubs where it is slow", "stalls", "stalls by torque")
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
        assert s.feed_per_tooth_mm <= 0.04 * 6.35 * 1.004  # nothing fits: rounding may decide
        assert s.rpm > 6000


def test_the_lower_of_mark_and_data_sheet_counts():
    s = tuned(replace(SQ12, marked_rpm=12000))
    assert limit(s, "over-speeds the cutter").bound == 12000


def test_levels_are_bounded_by_what_practice_allows_for_the_grain():
    """Common practice, no source: one diameter along and on end, three quarters across, blended between."""
    bound = {g: limit(tuned(depth=24, grain=g), "sings").bound for g in ("along", "across", "end", "45 deg")}
    assert bound["along"] == bound["end"] == pytest.approx(12)
    assert bound["across"] == pytest.approx(9)
    assert bound["45 deg"] == pytest.approx(10.5)
    assert limit(tuned(depth=24, grain="along", station="end"), "sings").bound == pytest.approx(12)


def test_a_cutter_that_sticks_out_far_sings_in_shallower_levels():
    """Common practice, no source: beyond six diameters in proportion."""
    out = {s: limit(tuned(replace(SQ12, stick_out=s, overall_length=s + 40.0), depth=24), "sings").bound
           for s in (60.0, 72.0, 96.0)}  # fmt: skip
    assert out == pytest.approx({60.0: 12, 72.0: 12, 96.0: 9})


def test_a_v_groove_is_cut_in_levels_and_never_sideways():
    """A 60 degree V is 2 d tan 30 = 9.24 mm wide at 8 mm; only what is wider than that needs lines beside it."""
    v = Cutter("V60", "", "V", 12, 6, 2, 10, 60, 30, included_angle=math.radians(60), maker_rpm=20000)
    assert tuned(v, depth=8, width=9.2, in_solid=True).side_steps == 1
    assert tuned(v, depth=8, width=14, in_solid=True).side_steps > 1


def test_the_collet_nut_stays_out_of_the_wood_and_something_is_held():
    short = replace(SQ12, stick_out=38.5)
    assert not tuned(short, depth=37, width=4).runnable
    assert tuned(short, depth=35, width=4).runnable
    assert limit(tuned(short, depth=37, width=4), "drives the nut into the wood").bound == pytest.approx(35.5)
    for out in (90.0, 120.0):
        with pytest.raises(InputError, match="nothing is held"):
            tuned(replace(SQ12, stick_out=out))


def test_what_nobody_has_entered_is_named_before_anything_else():
    assert {x.name for x in tuned().unknown} == {"lifts", "slips"}
    held = ROUTER.with_(stations={"flat": Station("flat", clamp_force=2000.0)})
    assert not tuned(machine=held).unknown
    assert "not known" in limit(tuned(machine=held), "bends").source
    stiff = ROUTER.with_(stations={"flat": Station("flat", clamp_force=2000.0, stiffness=3000.0)})
    assert "not known" not in limit(tuned(machine=stiff), "bends").source


def test_a_dull_edge_burns_sooner():
    sharp, dull = (limit(tuned(wear=w), "burns").bound for w in (0.0, 1.0))
    assert dull == pytest.approx(2 * sharp)


def test_what_the_shop_learned_bounds_the_tooth_and_the_level():
    own = {
        "greatest_feed_per_tooth": Value(0.12, "mm/tooth", "this shop, 2026-11-25", "", "logged"),
        "greatest_depth": Value(5.0, "mm", "this shop, 2026-11-25", "", "logged"),
    }
    s = tuned(depth=12, learned=own)
    assert s.feed_per_tooth_mm <= 0.12 + 1e-9
    assert s.depth_per_pass_mm <= 5
    assert limit(s, "snatches").source == limit(s, "sings").source == "this shop, 2026-11-25"


def test_what_holds_a_cut_back_is_named_even_beside_the_speed():
    """A weak clamp costs levels; that the spindle also stands at its bound is not the whole story."""
    weak = Station("flat", clamp_force=100.0, friction=0.3, stiffness=3000.0)
    s = tuned(replace(SQ12, helix=math.radians(30)), machine=ROUTER.with_(stations={"flat": weak}), depth=12, width=8)
    assert "slips" in s.binds.split("; ")


def test_the_side_the_grain_leans_to_is_kept():
    """Grain leaning to the left and to the right of the feed meets a climbing flute in another mode at each angle."""
    plus, minus = (tuned(grain=g, direction="climb").push_off_mm["likely"] for g in ("30 deg", "-30 deg"))
    assert max(abs(a - b) for a, b in zip(plus, minus, strict=True)) > 1e-4
    assert grain_angle("-30") == -grain_angle("30")


@pytest.mark.parametrize("name", ["depth", "width", "length"])
def test_more_wood_never_takes_less_time(name):
    first = {"depth": 6.0, "width": 5.0, "length": 500.0}
    last = 0.0
    for factor in (1, 1.5, 2, 3, 5):
        now = tuned(**{**first, name: first[name] * factor}).minutes["likely"]
        assert now >= last * 0.995
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


def test_a_slender_cutter_takes_more_levels_or_a_narrower_cut_because_it_bends():
    stout, slender = (
        tuned(
            replace(SQ12, diameter=6, helix=math.radians(30), stick_out=s, overall_length=s + 40),
            depth=24,
            width=5,
            greatest_push_off=0.03,
            direction="climb",
        )
        for s in (40, 90)
    )
    assert slender.passes > stout.passes
    assert limit(slender, "bends").used <= 1 + 1e-9
    assert slender.minutes["likely"] > stout.minutes["likely"]


@pytest.mark.parametrize("cutter", [SQ12, COMP, replace(SQ12, id="STRAIGHT", helix=0.0, cut_direction="straight")])
@pytest.mark.parametrize("station", ["flat", "end"])
def test_at_the_same_force_more_stick_out_never_lowers_push_off(cutter, station):
    """The setting is held, so the force is the same; practice and tuning do not come into it."""
    errors = []
    for out in (42, 48, 60, 80, 110):
        longer = replace(cutter, stick_out=float(out), overall_length=out + 40.0)
        cut = ask(longer, OAK, ROUTER, station=station, grain="across", cut_depth=12, cut_width=4)
        loads = Loads(cut, Pass(1, 1, 12.0, 4.0, "climb"))
        errors.append([float(loads.worst(np.asarray(f))) for f in (0.1, 0.3)])
    assert np.all(np.diff(errors, axis=0) >= -1e-12)


def test_a_slot_is_no_narrower_than_the_cutter():
    assert tuned(width=12, depth=9, in_solid=True).side_steps == 1
    s = tuned(replace(SQ12, measured_diameter=11.96), width=12, depth=9, in_solid=True)
    assert (s.side_steps, s.width_per_pass_mm) == (2, 11.96)
    with pytest.raises(InputError, match="wider than the slot"):
        tuned(width=10, depth=9, in_solid=True)


def test_chips_pack_in_a_deep_slot_of_a_down_cut_first():
    """Common practice, no source: three widths deep for an up-cut, one for a down-cut."""
    up, down = (
        tuned(replace(SQ12, helix=math.radians(30), cut_direction=d), width=12, depth=30, in_solid=True)
        for d in ("up", "down")
    )
    assert limit(up, "packs with chips").used == pytest.approx(30 / 36)
    assert limit(down, "packs with chips").used == pytest.approx(30 / 12)
    assert not any(x.name == "packs with chips" for x in tuned(width=5, depth=30).limits)


def test_a_clearance_wider_than_the_cut_is_refused():
    with pytest.raises(InputError, match="does not go with a cut"):
        tuned(clearance=99)


def test_wide_cuts_are_side_steps_and_deep_ones_levels():
    beside, solid = tuned(width=50, depth=30), tuned(width=50, depth=30, in_solid=True)
    assert beside.side_steps * beside.width_per_pass_mm == pytest.approx(50)
    assert beside.width_per_pass_mm <= 12
    assert solid.side_steps == 1 + math.ceil((50 - 12) / (0.45 * 12))
    assert solid.width_per_pass_mm == 12, "the first pass in the solid is a slot"
    assert solid.passes == solid.side_steps * solid.levels


def test_holding_is_looked_at_where_the_station_says_how_it_holds():
    held = Station("flat", clamp_force=60.0, friction=0.3, stands_above=40.0, base=80.0)
    s = tuned(replace(SQ12, helix=math.radians(30)), machine=ROUTER.with_(stations={"flat": held}), depth=12, width=8)
    for name in ("slips", "lifts", "tips"):
        assert limit(s, name).used <= 0.85 + 1e-6
        assert limit(s, name).hard
    assert s.minutes["likely"] > tuned(replace(SQ12, helix=math.radians(30)), depth=12, width=8).minutes["likely"]
    unknown = limit(tuned(), "slips")
    assert unknown.used is None
    assert "clamp_force" in unknown.source


def test_a_down_cut_presses_and_an_up_cut_lifts():
    lifts = {
        d: limit(tuned(replace(SQ12, helix=math.radians(30), cut_direction=d)), "lifts").value for d in ("up", "down")
    }
    assert lifts["up"] > 0 == lifts["down"]


def test_moves_too_short_for_the_feed_rub():
    """A length of 5 mm at 800 mm/s2 reaches sqrt(800 x 5) = 63 mm/s = 3795 mm/min and no more."""
    s = Search(ask(SQ12, OAK, ROUTER, station="flat", grain="along", cut_depth=4, cut_width=6, length=5.0))
    slow = limit(s.at(Pass(1, 1, 4.0, 6.0, "climb"), 18000, 9000), "rubs where it is slow")
    share = float(chipload.mean_share(6, 12))
    assert slow.value == pytest.approx(60 * math.sqrt(800 * 5) / 36000 * share, rel=1e-3)


def test_a_plunge_has_a_feed_of_its_own_that_the_spindle_can_drive():
    strong, weak = (
        tuned(depth=4, width=3, station="end", grain="end",
              machine=ROUTER.with_(spindle=Spindle((6000, 24000), (w, w))))
        for w in (4000, 300)
    )  # fmt: skip
    assert strong.plunge_feed_mm_min == pytest.approx(0.35 * strong.feed_mm_min, abs=10)
    assert weak.plunge_feed_mm_min < 0.3 * weak.feed_mm_min


def test_a_setting_chosen_by_hand_is_checked_and_timed():
    search = Search(ask(SQ12, OAK, ROUTER, station="flat", grain="along", cut_depth=9, cut_width=6))
    s = search.at(Pass(1, 1, 9.0, 6.0, "climb"), 20000, 12000)
    assert (s.rpm, s.feed_mm_min, s.levels) == (20000, 12000, 1)
    assert limit(s, "outruns the machine").used == 1
    assert s.minutes["likely"] == pytest.approx(search.exact_seconds(Pass(1, 1, 9.0, 6.0, "climb"), 12000) / 60)


def test_quickest_and_cheapest_differ_only_where_there_are_costs():
    costs = Costs(60.0, value=300.0)
    quick, cheap = (tuned(costs=costs, goal=g) for g in ("quickest", "cheapest"))
    assert quick.minutes["likely"] <= cheap.minutes["likely"]
    assert cheap.cost <= quick.cost
    assert tuned().cost is None


@pytest.mark.parametrize("mistake", [{"per_hour": -1.0}, {"per_hour": 1.0, "value": math.nan}])
def test_costs_that_cannot_be_are_refused(mistake):
    with pytest.raises(InputError, match="cannot be a cost"):
        Costs(**mistake)


def test_what_relaxing_pays_is_what_tuning_anew_says():
    costs = Costs(60.0, value=200.0)
    asked = {"station": "flat", "grain": "across", "cut_depth": 18.0, "cut_width": 10.0, "greatest_push_off": 0.02}
    slender = replace(SQ12, id="SQ6", diameter=6, stick_out=80, overall_length=120, helix=math.radians(30))
    found = relaxations(slender, OAK, ROUTER, rack={"SQ12": SQ12}, costs=costs, **asked)
    names = [r.change for r in found]
    assert {"40 mm deeper in the collet", "one flute more", "one flute fewer", "cutter SQ12", "a steel body"} <= set(
        names
    )
    assert [r.saved_cost for r in found] == sorted((r.saved_cost for r in found), reverse=True)
    now = tune(slender, OAK, ROUTER, costs=costs, **asked)
    thick = next(r for r in found if r.change == "cutter SQ12")
    assert thick.saved_cost == pytest.approx(now.cost - tune(SQ12, OAK, ROUTER, costs=costs, **asked).cost)
    assert thick.saved_cost > 0, "a cutter twice as thick bends a sixteenth"


def test_a_saving_is_set_against_the_whole_job():
    assert in_the_whole(40 / 60, 20) == "saves 40 s of 20 h: leave it"
    assert "worth a try" in in_the_whole(30, 20)
    assert "nothing" in in_the_whole(-1, 20)


def test_a_compression_cutter_must_go_in_past_its_up_cut_length():
    good, shallow = tuned(COMP, depth=19, width=10), tuned(COMP, depth=4, width=10)
    assert good.depth_per_pass_mm > 5
    assert limit(good, "tears the top face").used < 1
    assert limit(shallow, "tears the top face").used == pytest.approx(5 / 4)
    assert shallow.runnable


def test_a_slender_cutter_gets_a_thinner_chip_than_a_stout_one():
    slender = replace(SQ12, diameter=3.0, cutting_length=12)
    s = tuned(slender, depth=2, width=1.5)
    assert limit(s, "tears").bound == pytest.approx(0.125)
    assert s.mean_chip_mm < tuned(depth=2, width=6).mean_chip_mm


def test_what_is_unknown_is_listed_last_and_said():
    s = tuned(machine=ROUTER.with_(spindle=None, axes=(Axis(rapid=9000), Axis(rapid=9000), Axis())))
    unknown = [x for x in s.limits if x.used is None]
    assert {x.name for x in unknown} == {"stalls", "outruns the machine", "slips", "lifts"}
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
    assert grain_angle(math.radians(150)) == pytest.approx(math.radians(-30))
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
        ({"skim": -0.1}, "skim of -0.1"),
        ({"skim": 7}, "leaves nothing"),
        ({"direction": "up"}, "direction 'up' is not known"),
        ({"goal": "best"}, "goal 'best' is not known"),
        ({"wear": 2.0}, "wear 2 cannot be"),
        ({"greatest_push_off": 0.0}, "greatest push off"),
        ({"cutter": replace(SQ12, shape="drill")}, "is a drill"),
        ({"machine": ROUTER.with_(stations={"flat": Station("flat")}), "station": "end"}, "has no station 'end'"),
    ],
)
def test_bad_input_is_refused_with_a_remedy(change, words):
    with pytest.raises(InputError, match=words) as caught:
        tuned(**change)
    assert caught.value.faults[0].remedy
