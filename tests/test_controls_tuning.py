"""Controls of the tuning and tenon notebooks without a browser: what they show is what the public functions say."""

import html
import math
import re
import time
from itertools import pairwise

import numpy as np
import pytest

from shopcalc.controls import cutter_tuning, tenon_control
from shopcalc.controls.cutter_tuning import by_hand
from shopcalc.controls.parts import FINE, LENGTH, MeasuredControl
from shopcalc.controls.region import curve_names, region
from shopcalc.controls.tenons import magnified
from shopcalc.cutting.limits import bounds, check, habit
from shopcalc.cutting.report import amount
from shopcalc.cutting.tenons import on_end, timed
from shopcalc.cutting.tuning import Costs, Search, tune
from shopcalc.shop import Shop
from shopcalc.units import write_time


@pytest.fixture(scope="module")
def shop():
    return Shop.open()


@pytest.fixture
def tuning(shop):
    return cutter_tuning(shop, cutter="SQ12", material="white-oak", machine="router")


@pytest.fixture
def joint(shop):
    return tenon_control(shop, cutter="SQ12L", material="white-oak", machine="router")


# --- a number with a unit ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("value", [0.3, 12.0, 12.7, 33.337, 119.9])
def test_changing_units_to_and_fro_leaves_the_quantity(value):
    calls = []
    control = MeasuredControl("depth", value, 0.2, 120.0, LENGTH, "metric")
    control.observe(lambda: calls.append(1))
    for system in ("inch", "metric", "inch"):
        control.system = system
        assert control.value == value
    assert control.box.value == pytest.approx(value / 25.4, abs=1e-4)
    assert control.slider.value == control.box.value
    assert control.box.description == "depth, in"
    assert calls == []


def test_typing_inches_gives_millimetres_and_tells_once():
    calls = []
    control = MeasuredControl("depth", 10.0, 0.2, 120.0, LENGTH, "inch")
    control.observe(lambda: calls.append(control.value))
    control.box.value = 0.5
    control.slider.value = 0.75
    assert calls == pytest.approx([12.7, 19.05])


def test_a_quantity_beyond_the_slider_widens_it_and_a_tuned_one_keeps_all_its_digits():
    control = MeasuredControl("feed per tooth", 0.1, 0.005, 1.5, FINE, "inch")
    control.value = 2.123456789
    assert control.value == 2.123456789
    assert control.box.max >= control.box.value == pytest.approx(2.123456789 / 25.4, abs=1e-5)


# --- cutter tuning ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("goal", ["cheapest", "quickest"])
def test_a_button_sets_the_sliders_to_what_tune_answers(shop, tuning, goal):
    costs = Costs.of(shop.rates)
    tuning.tune_to(goal)
    asked = tuning.asked()
    told = tune(
        shop.cutter("SQ12"), shop.material("white-oak"), shop.machine("router"), costs=costs, goal=goal, **asked
    )
    assert tuning.rpm.value == told.rpm
    assert tuning.feed_per_tooth.value == told.feed_per_tooth_mm
    assert (tuning.levels.value, tuning.side_steps.value) == (told.levels, told.side_steps)
    assert tuning.setting.limits == told.limits
    assert tuning.setting.minutes["likely"] == pytest.approx(told.minutes["likely"])
    assert tuning.setting.cost == pytest.approx(told.cost)


@pytest.mark.parametrize(
    ("width", "in_solid"), [(6.0, False), (9.5, False), (12.66, False), (30.0, False), (12.66, True), (30.0, True)]
)
def test_a_tuned_division_set_by_hand_is_the_same_division(tuning, width, in_solid):
    tuning.cut_width.value = width
    tuning.in_solid.value = in_solid
    for shape in Search(tuning.present_cut()).shapes:
        same = by_hand(tuning.cut, shape.levels, shape.side_steps, shape.direction)
        assert same.level == pytest.approx(shape.level)
        assert (same.levels, same.side_steps, same.width) == (
            shape.levels,
            shape.side_steps,
            pytest.approx(shape.width),
        )
        assert (same.last_width or 0.0) == pytest.approx(shape.last_width or 0.0)


def test_fewer_passes_than_the_cutter_can_are_not_pretended(tuning):
    tuning.cut_depth.value, tuning.cut_width.value = 100.0, 40.0
    tuning.levels.value = tuning.side_steps.value = 1
    assert tuning.setting.levels == math.ceil(100 / 38.1)
    assert tuning.setting.side_steps == math.ceil(40 / 12.66)
    assert "no fewer" in tuning.remarks.value


def test_bars_and_table_say_what_check_says(tuning):
    for feed in (0.02, 0.15, 0.9):
        tuning.feed_per_tooth.value = feed
        limits = check(tuning.loads, tuning.rpm.value, tuning.feed)
        bars = tuning.bounds_figure.data[0]
        assert [y.removesuffix(" (hard)") for y in bars.y] == [x.name for x in limits]
        assert [y.endswith(" (hard)") for y in bars.y] == [x.hard for x in limits]
        assert list(bars.x) == pytest.approx([min(100 * (x.used or 0), 150) for x in limits])
        for x in limits:
            assert x.name in tuning.table.value


def test_every_slider_and_choice_moves_what_is_shown(tuning):
    """Nothing is there for show: each control changes the answer's numbers, the bars or the curves."""

    def shown():
        bars = tuning.bounds_figure.data[0]
        force = tuning.force_figure.data[2].y
        return tuning.answer.value, tuning.table.value, tuple(bars.x), tuple(np.round(force, 6))

    moves = [
        (tuning.cut_depth, 20.0), (tuning.cut_width, 25.0), (tuning.length, 100.0), (tuning.stick_out, 70.0),
        (tuning.wear, 60), (tuning.push_off, 0.03), (tuning.rpm, 12_000), (tuning.feed_per_tooth, 0.3),
        (tuning.levels, 4), (tuning.side_steps, 3), (tuning.direction, "conventional"), (tuning.in_solid, True),
        (tuning.cutter, "SQ12L"), (tuning.material, "cherry"), (tuning.station, "end"), (tuning.station, "flat"),
        (tuning.grain, "degrees"), (tuning.degrees, -45), (tuning.machine, "small-router"), (tuning.units, "inch"),
    ]  # fmt: skip
    tuning.cut_width.value, tuning.direction.value = 20.0, "climb"
    for control, value in moves:
        before = shown()
        control.value = value
        assert shown() != before, f"{control} does nothing"


def test_grain_counts_only_where_it_can(tuning):
    assert not tuning.grain.disabled
    assert tuning.degrees.box.disabled
    tuning.grain.value = "degrees"
    assert not tuning.degrees.box.disabled
    tuning.station.value = "end"
    assert tuning.grain.disabled
    assert tuning.degrees.box.disabled
    assert tuning.asked()["grain"] == "end"


def test_undo_brings_back_the_setting_from_before_the_last_button(tuning):
    assert tuning.undo_button.disabled
    mine = (9_000.0, 0.07, 4.0, 2.0)
    for control, value in zip((tuning.rpm, tuning.feed_per_tooth, tuning.levels, tuning.side_steps), mine, strict=True):
        control.value = value
    tuning.direction.value = "conventional"
    tuning.cheapest_button.click()
    assert tuning.rpm.value != mine[0]
    tuning.undo_button.click()
    assert (tuning.rpm.value, tuning.feed_per_tooth.value, tuning.levels.value, tuning.side_steps.value) == mine
    assert tuning.direction.value == "conventional"
    assert tuning.undo_button.disabled


def test_a_cut_that_cannot_be_leaves_no_stale_picture(tuning):
    tuning.in_solid.value = True  # a groove of 10 mm, a cutter of 12.66 mm
    assert "wider than the slot" in tuning.answer.value
    for drawn in (tuning.region_figure, tuning.bounds_figure, tuning.force_figure):
        assert all(len(trace.x or []) == 0 for trace in drawn.data)
        assert all(len(trace.get("x", [])) == 0 for trace in drawn._widget_data)
    tuning.cheapest_button.click()
    assert "wider than the slot" in tuning.answer.value
    tuning.in_solid.value = False
    assert "wider" not in tuning.answer.value
    assert len(tuning.bounds_figure.data[0].x) > 10


def test_inch_and_metric_show_the_same_cut(shop, tuning):
    limits, feed = tuning.setting.limits, float(tuning.region_figure.data[-1].y[0])
    tuning.units.value = "inch"
    assert tuning.setting.limits == limits
    assert tuning.region_figure.data[-1].y[0] == pytest.approx(feed / 25.4)
    assert "in/min" in tuning.region_figure.layout.yaxis.title.text
    assert "lbf" in tuning.force_figure.layout.yaxis.title.text
    assert tuning.cut_depth.box.description == "depth of the whole cut, in"
    assert not re.search(r"\bmm\b|\bN\b", re.sub("<style>.*?</style>", "", tuning.answer.value, flags=re.S))


def test_force_over_a_turn_is_that_of_the_loads(tuning):
    _, feed, side, _ = tuning.loads.loads["likely"].turn(tuning.feed_per_tooth.value)
    assert np.asarray(tuning.force_figure.data[2].y[:-1]) == pytest.approx(-feed, abs=1e-3)
    assert np.asarray(tuning.force_figure.data[5].y[:-1]) == pytest.approx(side, abs=1e-3)


def test_an_unmarked_cutter_is_forbidden_in_words(shop):
    control = cutter_tuning(shop, cutter="OLD12", material="white-oak", machine="router")
    assert control.verdict().startswith("DO NOT RUN: over-speeds the cutter")
    assert "unknown" in control.bounds_figure.data[0].text[-1]


def test_what_pays_is_asked_for_again_when_the_cut_changes(tuning):
    tuning.what_pays()
    assert tuning.pays
    for r in tuning.pays:
        assert r.change in tuning.pays_table.value
    tuning.cut_depth.value = 15.0
    assert tuning.pays == []
    assert "press again" in tuning.pays_table.value


# --- the region -------------------------------------------------------------------------------------------------------

WINDOW = np.linspace(5_000, 26_000, 121), np.linspace(100, 12_500, 121)


@pytest.mark.parametrize(("cutter", "station"), [("SQ12", "flat"), ("SQ6", "flat"), ("SQ12L", "end"), ("V60", "flat")])
def test_white_is_where_single_settings_keep_every_bound(shop, cutter, station):
    control = cutter_tuning(shop, cutter=cutter, material="white-oak", machine="router", station=station)
    rpm, feed = WINDOW
    passed, _, everywhere = region(control.loads, rpm, feed)
    picked = np.random.default_rng(7).integers(0, 121, (150, 2))
    for i, j in picked:
        kept = all(bool(np.all(b.kept)) for b in bounds(control.loads, rpm[j], feed[i]))
        assert kept == (passed[i, j] == 0)
    assert bool(everywhere) <= bool(passed.all())


@pytest.mark.parametrize("push_off", [0.1, 0.006, 0.0055])
def test_on_a_curve_its_bound_is_used_up(tuning, push_off):
    """By the bounds themselves at the very points drawn, and the reserve is kept where one is."""
    tuning.push_off.value = push_off
    tuning.material.value = "hard-maple"
    _, curves, _ = region(tuning.loads, *WINDOW)
    assert len(curves) >= 5
    for c in curves:
        on = np.isfinite(c.rpm) & np.isfinite(c.feed)
        assert on.any()
        first = next(b for b in bounds(tuning.loads, c.rpm[on], c.feed[on]) if b.name == c.name.split(",")[0])
        ends = 1 - habit("reserve") if first.reserve else 1.0
        inner = np.broadcast_to(first.used, on.sum())
        finite = np.isfinite(inner)
        assert inner[finite] == pytest.approx(ends, rel=2e-2)


@pytest.mark.parametrize("cutter", ["SQ12", "SQ6", "SQ3", "SURF50", "BALL12", "COMP10"])
@pytest.mark.parametrize("machine", ["router", "small-router"])
def test_every_side_of_the_white_region_is_a_named_curve(shop, cutter, machine):
    """Between a white and a grey setting side by side some curve passes, within two steps of the grid."""
    control = cutter_tuning(shop, cutter=cutter, material="white-oak", machine=machine)
    control.length.value = 12.0  # so short that the feed is not reached: a bound that turns upright
    top = 1.2 * max(control.feed, 3_000.0)
    rpm, feed = np.linspace(5_000, 26_000, 121), np.linspace(top / 121, top, 121)
    passed, curves, _ = region(control.loads, rpm, feed)
    assert 0 < passed.mean() < 1
    places = np.concatenate([np.stack([c.rpm / rpm[-1], c.feed / top]) for c in curves], axis=1)
    places = places[:, np.isfinite(places).all(axis=0)]
    step = 2.5 / 121
    for axis in (0, 1):
        rows, columns = np.nonzero(np.diff(passed, axis=axis))
        for i, j in zip(rows, columns, strict=True):
            away = np.abs(places - np.array([[rpm[j] / rpm[-1]], [feed[i] / top]])).max(axis=0).min()
            assert away < step, f"no curve at {rpm[j]:.0f} rev/min, {feed[i]:.0f} mm/min"


def test_names_never_overlap_and_stay_in_the_margin(shop):
    for cutter in shop.cutters.values():
        if cutter.shape == "drill":
            continue
        control = cutter_tuning(shop, cutter=cutter.id, material="white-oak", machine="router")
        notes = curve_names(control.curves, 5_000, 26_000, 12_500, tall=0.04, wide=0.04)
        for axis, other in (("y", 1.005), ("x", 1.0)):
            places = sorted(n[axis] for n in notes if n["x" if axis == "y" else "y"] == other)
            assert all(b - a >= 0.04 - 1e-9 for a, b in pairwise(places))


@pytest.mark.benchmark
def test_from_slider_to_redraw_takes_less_than_a_tenth_of_a_second(tuning, joint):
    """Computing and handing over; the browser's own drawing comes on top."""
    times = []
    for n in range(40):
        begin = time.perf_counter()
        tuning.feed_per_tooth.value = 0.1 + 0.005 * n
        times.append(time.perf_counter() - begin)
    for n in range(20):
        begin = time.perf_counter()
        tuning.cut_depth.value = 8 + 0.2 * n
        times.append(time.perf_counter() - begin)
    begin = time.perf_counter()
    joint.length.value = 28.0
    print(f"tuning {1000 * np.median(times):.0f} ms in the middle, {1000 * max(times):.0f} ms at most; "
          f"a tenon tuned anew {1000 * (time.perf_counter() - begin):.0f} ms")  # fmt: skip
    assert np.median(times) < 0.1


# --- tenons -----------------------------------------------------------------------------------------------------------


def test_the_tenon_shown_is_the_one_the_plan_cuts(shop, joint):
    plan = on_end(
        shop.cutter("SQ12L"), shop.material("white-oak"), shop.machine("router"), 90.0, 22.0, joint.tenon,
        costs=Costs.of(shop.rates),
    )  # fmt: skip
    assert joint.plan.minutes == plan.minutes
    assert joint.plan.setting.limits == plan.setting.limits
    assert joint.tenon.thickness == pytest.approx(9.5 - 0.1)
    assert joint.tenon.from_face == pytest.approx(6.25 + 0.05)
    assert timed(joint.plan, shop.machine("router")) == pytest.approx(joint.plan.minutes["likely"], rel=0.03)


def test_each_control_of_the_tenon_changes_what_is_shown(joint):
    def shown():
        drawn = (joint.end_figure, joint.side_figure, joint.path_figure)
        lines = tuple(tuple(np.nan_to_num(np.asarray(t.x, float))) for f in drawn for t in f.data)
        return joint.answer.value, joint.table.value, lines

    moves = [
        (joint.rail_width, 100.0), (joint.rail_thickness, 25.0), (joint.tenon_width, 60.0),
        (joint.tenon_thickness, 10.0), (joint.length, 35.0), (joint.from_edge, 20.0), (joint.from_face, 7.0),
        (joint.clearance, 0.3), (joint.skim, 0.5), (joint.skim, 0.0), (joint.style, "haunched"), (joint.stub, 15.0),
        (joint.style, "stepped"), (joint.style, "paired"), (joint.gap, 22.0), (joint.style, "plain"),
        (joint.rounded, True), (joint.way, True), (joint.corners, "rounded tenon"), (joint.band, "high"),
        (joint.cutter, "SQ12"), (joint.material, "mdf"), (joint.units, "inch"),
    ]  # fmt: skip
    for control, value in moves:
        before = shown()
        control.value = value
        assert shown() != before, f"{control} does nothing"
        assert joint.tenon.style == joint.style.value


def test_the_cheeks_are_drawn_magnified_as_said(joint):
    bottom, top = joint.plan.thickness_error["likely"]
    front, back = joint.side_figure.data[3], joint.side_figure.data[4]
    level = joint.tenon.length / joint.plan.setting.levels
    assert f"drawn {joint.times} times" in joint.side_figure.layout.title.text
    assert front.x[0] == pytest.approx(joint.tenon.from_face - joint.times * top / 2)
    assert back.x[1] == pytest.approx(joint.tenon.from_face + joint.tenon.thickness + joint.times * bottom / 2)
    assert front.y[0] - front.y[1] == pytest.approx(level)
    assert front.y[-1] == pytest.approx(0)


@pytest.mark.parametrize("error", [1e-5, 0.003, 0.02, 0.4, 5.0])
def test_magnifying_is_a_round_number_that_shows(error):
    times = magnified(error, 22.0)
    assert str(times).rstrip("0") in ("1", "2", "5")
    assert times == 1 or 0.3 < times * error / (0.06 * 22) <= 1 or times == 50_000


def test_the_band_chooses_the_error_and_the_minutes_shown(joint):
    joint.length.value = 60.0
    for band in ("low", "likely", "high"):
        joint.band.value = band
        assert joint.thickness_words(band) in joint.answer.value
        assert write_time(60 * joint.plan.minutes[band]) in joint.answer.value
        error = joint.plan.thickness_error[band]
        assert joint.times == magnified(max(map(abs, error)) / 2, 22.0)
        for value in error:
            assert amount(abs(value), "mm", "metric") in joint.thickness_words(band)


def test_a_tenon_longer_than_the_flutes_is_refused_in_words_and_leaves_no_picture(joint):
    joint.length.value = 90.0
    assert "longer than" in joint.answer.value
    assert all(len(t.x or []) == 0 for f in (joint.end_figure, joint.side_figure, joint.path_figure) for t in f.data)
    joint.length.value = 30.0
    assert "at the machine" in joint.answer.value


def test_the_comparison_holds_on_end_and_flat_and_goes_stale(joint):
    joint.ways_button.click()
    assert {p.station for p in joint.plans} == {"flat", "end"}
    assert [p.total["likely"] for p in joint.plans] == sorted(p.total["likely"] for p in joint.plans)
    assert all(p.handling == pytest.approx(joint.load * p.loads) for p in joint.plans)
    for p in joint.plans:
        assert p.cutter.id in joint.ways_table.value
    assert joint.progress.layout.visibility == "hidden"
    joint.length.value = 28.0
    assert joint.plans == []
    assert "press again" in joint.ways_table.value


def test_styles_that_are_not_drawn_lying_flat_say_so(joint):
    joint.style.value = "stepped"
    joint.compare()
    assert {p.station for p in joint.plans} == {"end"}
    assert "cut it on end" in joint.ways_table.value


def test_back_up_blocks_stand_where_the_cutter_comes_out(joint):
    for face, (low, high) in joint.blocks().items():
        assert face in joint.remarks.value
        reach = joint.rail_width.value if "face" in face else joint.rail_thickness.value
        assert 0 <= low < high <= reach + 1e-6
    assert "reference face" in joint.blocks() or "far face" in joint.blocks()


def test_corners_say_why_they_cannot_be_made(joint):
    joint.corners.value = "relieved mortise corners"
    assert "narrower than the cutter" in joint.table.value
    joint.corners.value = "squared mortise"
    joint.squaring.value = 9
    assert "9 min by hand" in joint.table.value


def test_what_holds_back_names_its_own_remedies_and_what_is_unknown_is_said_first(shop, tuning):
    names = tuning.setting.binds.split("; ")
    for x in tuning.setting.limits:
        if x.name in names:
            assert x.remedy in html.unescape(tuning.remarks.value)
    tuning.machine.value = "small-router"
    for x in tuning.setting.unknown:
        assert x.name in tuning.verdict().split("find out before running: ")[1]
