"""Test cuts: what three sizes say of a cutter, ladders that stop, programs that stay inside the scrap."""

import html.parser
import itertools
import math
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from workpiece import Workpiece, swept

from shopcalc.cutters import Cutter
from shopcalc.cutting.limits import Hold
from shopcalc.cutting.testcuts import RESULTS, fit_test, hard_share, ladder
from shopcalc.cutting.testcuts.ground import MARGIN, checked
from shopcalc.cutting.tuning import tune
from shopcalc.errors import InputError
from shopcalc.gcode import read_text
from shopcalc.learned import append, read_learned
from shopcalc.motion import machine_time
from shopcalc.moves import Kind, Stop
from shopcalc.paths import Cutting
from shopcalc.shop import Shop

SHOP = Shop.open()
SQ12 = Cutter("SQ12", "half inch", "square end", 12.0, 12.0, 2, 40.0, 90.0, 50.0, maker_rpm=20000, regrinds=1)
CUTTING = Cutting(SQ12, 4000, 1000, 16000, depth_per_pass=6)
FLAT, END = (120.0, 140.0, 25.0), (400.0, 140.0, 28.0)
SCRAPS = {"flat": FLAT, "end": END}
STATIONS = ("flat", "end")


def text_of(message):
    return pytest.raises(InputError, match=message)


def made(station="flat", depth=6.0, **more):
    return fit_test(SQ12, CUTTING, station, SCRAPS[station], depth, **more)


# --- the fit test: oracle is the wood left by the moves, swept with a cutter that is not as programmed ---------------


def pushed(test, off):
    """The moves with each wall pass shifted off its tongue: by ``off["climb"]`` where the tongue lies on the right.

    Written from the moves alone: a pass at the side cuts' feed runs past wood that is still standing on one side.
    """
    m = test.moves
    axis = test.ground.lane_axis
    points = m.points.copy()
    lanes = [sorted(test.lanes[k]) for k in ("climb tongue", "conventional tongue")]
    if axis == 0:
        lanes = [[test.ground.across - b, test.ground.across - a] for a, b in lanes]
    shifted = 0
    for i in np.flatnonzero((m.kind == Kind.LINE) & (np.abs(m.feed - test.cutting.feed) < 1e-9)):
        a, b = m.points[i], m.points[i + 1]
        if abs(a[2] - b[2]) > 1e-9:
            continue
        at = a[axis]
        low, high = next(lane for lane in lanes if lane[0] - 6.1 < at < lane[1] + 6.1)
        side = np.zeros(3)
        side[axis] = (low + high) / 2 - at  # towards the tongue
        way = (b - a) / np.linalg.norm(b - a)
        on_right = np.cross(side, way)[2] > 0
        points[[i, i + 1], axis] -= np.sign(side[axis]) * off["climb" if on_right else "conventional"]
        shifted += 1
    assert shifted >= 4
    return replace(m, points=points)


def caliper(test, diameter, off=None):
    """Slot, climb tongue and conventional tongue in the middle of their length."""
    moves = pushed(test, off) if off else test.moves
    gone = swept(moves, diameter / 2, -test.depth)
    axis, mid = test.ground.lane_axis, test.ground.along / 2
    across = test.ground.across
    line = shapely.LineString([(mid, 0), (mid, across)] if axis == 1 else [(0, mid), (across, mid)])
    out = []
    for name, (a, b) in ((k, test.lanes[k]) for k in ("slot", "climb tongue", "conventional tongue")):
        middle = (a + b) / 2 if axis == 1 else across - (a + b) / 2
        point = shapely.Point((mid, middle) if axis == 1 else (middle, mid))
        pieces = line.intersection(gone) if name == "slot" else line.difference(gone)
        out.append(next(p.length for p in shapely.get_parts(pieces) if p.distance(point) < 1e-9))
    return out


@pytest.mark.parametrize("station", STATIONS)
@pytest.mark.parametrize("depth", [5.0, 12.0])
def test_a_cutter_that_is_as_programmed_leaves_the_nominal_sizes(station, depth):
    test = made(station, depth)
    assert caliper(test, 12.0) == pytest.approx(tuple(test.wanted), abs=1e-6)


@pytest.mark.parametrize("station", STATIONS)
@pytest.mark.parametrize("diameter", [11.7, 12.0, 12.2])
@pytest.mark.parametrize(("climb", "conventional"), [(0.0, 0.0), (0.08, -0.03), (-0.05, 0.06)])
def test_reading_finds_diameter_and_push_off_of_the_wood_that_was_cut(station, diameter, climb, conventional):
    """Which passes climb is told from the moves: the wood on the right of a spindle that turns clockwise."""
    test = made(station)
    sizes = caliper(test, diameter, {"climb": climb, "conventional": conventional})
    found = test.read(*sizes)
    assert found.true_diameter == pytest.approx(diameter, abs=1e-6)
    assert found.push_off_climb == pytest.approx(climb, abs=1e-6)
    assert found.push_off_conventional == pytest.approx(conventional, abs=1e-6)


E = st.floats(-0.4, 0.4)


@given(st.floats(11.2, 12.6), E, E, st.floats(0, 0.8))
def test_simulated_readings_are_undone_exactly(diameter, climb, conventional, share):
    """The three equations of the docstring, forwards; the reading solves them backwards."""
    test = made()
    slot, tongue, _ = test.wanted
    sizes = (
        diameter - share * (climb + conventional),
        tongue + slot - diameter + 2 * climb,
        tongue + slot - diameter + 2 * conventional,
    )
    found = test.read(*sizes, slot_share=share)
    assert found.true_diameter == pytest.approx(diameter, abs=1e-9)
    assert (found.push_off_climb, found.push_off_conventional) == pytest.approx((climb, conventional), abs=1e-9)
    assert found.diameter_range[0] <= found.true_diameter <= found.diameter_range[1]
    taken_lightly = test.read(*sizes)
    assert (taken_lightly.too_thick_climb, taken_lightly.too_thick_conventional) == pytest.approx(
        (found.too_thick_climb, found.too_thick_conventional)
    ), "what the next tongue needs does not depend on how the slot is judged"


@given(st.floats(11.2, 12.6), E, E)
def test_a_slot_pushed_like_side_cuts_would_leave_the_diameter_open(diameter, climb, conventional):
    """With a share of 1 slot and mean tongue always fill the pitch: three readings, two equations."""
    slot, tongue, _ = made().wanted
    whole = diameter - (climb + conventional)
    mean = (2 * (tongue + slot - diameter) + 2 * (climb + conventional)) / 2
    assert whole + mean == pytest.approx(tongue + slot)
    with text_of("leaves the diameter open"):
        made().read(whole, mean, mean, slot_share=1.0)


def test_the_range_of_the_diameter_covers_a_slot_that_shows_a_quarter_of_the_push_off():
    test = made()
    d, e, k = 12.05, 0.1, 0.06
    slot = d - 0.25 * (e + k)
    tongues = [10 + 12 - d + 2 * v for v in (e, k)]
    found = test.read(slot, *tongues)
    assert found.true_diameter == pytest.approx(slot)
    assert found.diameter_range[0] < slot
    assert found.diameter_range[1] >= d


def test_the_reading_in_words_in_both_systems():
    test = made()
    words = test.read(11.94, 10.14, 10.02).words
    assert words == (
        "SQ12 cuts a diameter of 11.94 mm (between 11.92 mm and 11.97 mm); climbing leaves 0.04 mm on each wall, "
        "conventional cutting digs 0.02 mm into each wall; tongues programmed as here come out 0.14 mm too thick by "
        "climbing, 0.02 mm too thick conventionally"
    )
    inch = test.read(11.94, 10.14, 10.0, system="inch").words
    assert "diameter of 0.470 in" in inch
    assert " mm" not in inch
    assert inch.endswith("0.0055 in too thick by climbing, right conventionally")


@pytest.mark.parametrize(
    ("sizes", "fields"),
    [
        ((9.5, 10.1, 10.0), ["slot"]),
        ((14.5, 10.1, 10.0), ["slot"]),
        ((0.47, 0.4, 0.39), ["slot", "climb_tongue", "conventional_tongue"]),
        ((12, -10, 10), ["climb_tongue"]),
        ((12, 10, math.nan), ["conventional_tongue"]),
    ],
)
def test_readings_that_cannot_be_are_all_named(sizes, fields):
    with pytest.raises(InputError) as caught:
        made().read(*sizes)
    assert [f.field for f in caught.value.faults] == fields
    assert all("caliper" in f.remedy for f in caught.value.faults)


def test_readings_that_do_not_go_together_are_refused():
    with text_of("slipped: cut a new one"):
        made().read(13.9, 11.9, 10.0)


def test_a_reading_becomes_what_the_shop_learned(tmp_path):
    test = made()
    rows = test.read(11.94, 10.14, 10.02).rows("2026-03-02", SQ12, machine="router", station="flat", material="red-oak")
    append(tmp_path / "learned.csv", rows)
    shop = read_learned(tmp_path / "learned.csv", {"SQ12": 1})
    assert shop.value("true_diameter", cutter="SQ12").value == 11.94
    assert shop.value("push_off_climb", cutter="SQ12", station="flat").value == pytest.approx(0.04)
    assert shop.value("push_off_conventional", cutter="SQ12", station="end") is None


@pytest.mark.parametrize("station", STATIONS)
def test_only_wall_passes_run_at_the_setting_and_slots_run_lightly(station):
    test = made(station, 12.0)
    m = test.moves
    level = (m.kind == Kind.LINE) & (np.abs(np.diff(m.points[:, 2])) < 1e-9)
    feeds, counts = np.unique(m.feed[level], return_counts=True)
    assert feeds.tolist() == [2000.0, 4000.0]
    assert counts.tolist() == [4 * 4, 4 * 2], "four slots in levels of 3 mm, four walls in levels of 6 mm"


@pytest.mark.parametrize("station", STATIONS)
def test_no_rapid_and_no_plunge_touches_the_scrap(station):
    """Oracle: a height map the moves are cut into."""
    test = made(station, 12.0)
    x, y = (test.ground.along, test.ground.across) if station == "flat" else (test.ground.across, test.ground.along)
    block = Workpiece((0, x), (0, y), 0.5).cut(test.moves, SQ12)
    assert block.rapid_in_wood == 0
    assert block.plunged_in_wood == 0
    assert block.engaged <= 6 + 1e-9, "no pass takes more than a level"
    assert block.height.min() == pytest.approx(-12)


@settings(max_examples=60)
@given(
    st.sampled_from(STATIONS),
    st.floats(3, 20),
    st.tuples(st.floats(20, 400), st.floats(20, 300), st.floats(6, 60)),
    st.floats(1, 30),
    st.floats(0.5, 12),
    st.floats(4, 30),
)
def test_in_any_scrap_the_program_stays_inside_or_the_remedy_works(station, diameter, scrap, depth, side, tongue):
    c = Cutter("C", "", "square end", diameter, diameter, 2, 30.0, 90.0, 50.0, maker_rpm=20000)
    cutting = Cutting(c, 3000, 1000, 15000, depth_per_pass=5)
    side = min(side, diameter)
    try:
        test = fit_test(c, cutting, station, scrap, depth, side_width=side, tongue=tongue)
    except InputError as e:
        (fault,) = e.faults
        assert fault.remedy
        if "the cuts need" not in fault.message:
            return
        wider = float(fault.remedy.split("at least ")[1].split(" mm")[0])
        assert wider > scrap[1]
        test = fit_test(c, cutting, station, (scrap[0], wider, scrap[2]), depth, side_width=side, tongue=tongue)
    m = read_text(test.program()).moves
    low, high = m.extents().T
    lead = diameter / 2 + cutting.lead
    across, along = test.ground.lane_axis, 1 - test.ground.lane_axis
    cuts = m.points[1:][m.points[1:, 2] < -1e-6]
    assert cuts[:, across].min() - diameter / 2 >= MARGIN - 1e-6
    assert cuts[:, across].max() + diameter / 2 <= test.ground.across - MARGIN + 1e-6
    assert low[along] >= -lead - 1e-6
    assert high[along] <= test.ground.along + lead + 1e-6
    assert low[2] == pytest.approx(-depth)
    assert machine_time(m, SHOP.machine("router")).total_s > 0


def test_a_program_that_was_tampered_with_is_found():
    test = made()
    text = test.program()
    assert checked(text, test.ground, test.cutting, test.depth, 0) == text
    for change, found in (
        (("Z-6", "Z-7"), "too deep"),
        (("G0 Z10", "G0 Z5"), "too low"),
        (("X-8", "X-18"), "too far past"),
        (("Y112.8", "Y132.8"), "sideways"),
        (("\nM2", "\nM0\nM2"), "does not stop where it should"),
    ):
        assert change[0] in text
        with text_of(found):
            checked(text.replace(*change), test.ground, test.cutting, test.depth, 0)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"station": "edge"}, "no room for test cuts.*lay a board flat"),
        ({"scrap": (120, 100, 25)}, "cuts need .*take one of at least .* side cuts narrower than 5.4"),
        ({"scrap": (30, 140, 25)}, "length of 30 mm is too short"),
        ({"scrap": (400, 140, 10), "station": "end"}, "thickness of 10 mm is too short"),
        ({"scrap": (52, 140, 25), "station": "end"}, "for the clamp"),
        ({"scrap": (120, 140, 8)}, "less a floor of 3 mm"),
        ({"scrap": (120, 140)}, "give length, width and thickness"),
        ({"scrap": (120, -140, 25)}, "scrap width"),
        ({"depth": 0}, "depth"),
        ({"depth": 21.0, "cutter": replace(SQ12, cutting_length=20)}, "cutting length"),
        ({"cutter": replace(SQ12, shape="ball")}, "square end"),
        ({"cutter": replace(SQ12, maker_rpm=None)}, "greatest speed of SQ12 is not known"),
        ({"cutter": replace(SQ12, marked_rpm=12000)}, "above the 12000 rev/min"),
        ({"side_width": 13.0}, "cutter's diameter"),
        ({"side_width": 0.0}, "side width"),
    ],
)
def test_what_cannot_be_cut_is_refused_with_a_remedy(change, message):
    given_ = {"cutter": SQ12, "cutting": CUTTING, "station": "flat", "scrap": FLAT, "depth": 6.0} | change
    with text_of(message) as caught:
        fit_test(**given_)
    assert all(f.remedy for f in caught.value.faults)


# --- the ladder ------------------------------------------------------------------------------------------------------

GENTLE, HARDEST = (16000.0, 1600.0, 4.0), (16000.0, 9600.0, 8.0)


def climb(gentle=GENTLE, hardest=HARDEST, steps=5, station="flat", share=lambda *_: 0.5, width=None, **more):
    scrap = more.pop("scrap", SCRAPS.get(station))
    return ladder(
        SQ12, CUTTING, gentle, hardest, steps=steps, station=station, scrap=scrap, hard_bound_share=share, width=width,
        **more,
    )  # fmt: skip


def test_rungs_rise_by_a_constant_factor_from_gentle_to_hardest():
    rungs = climb().rungs
    assert (rungs[0].feed, rungs[0].depth) == (1600, 4)
    assert (rungs[-1].feed, rungs[-1].depth) == (9600, 8)
    for values in ([r.feed_per_tooth for r in rungs], [r.depth for r in rungs]):
        ratios = [b / a for a, b in itertools.pairwise(values)]
        assert ratios == pytest.approx([ratios[0]] * 4, rel=3e-3)
    assert all(r.feed_per_tooth == r.feed / (r.rpm * 2) for r in rungs)


def test_speed_may_rise_too_and_then_the_spindle_is_started_anew():
    made_ = climb(gentle=(12000, 1600, 4), hardest=(18000, 3000, 4), steps=3)
    assert [r.rpm for r in made_.rungs] == [12000, 14696, 18000]
    text = made_.program()
    assert [line for line in text.splitlines() if "M3" in line] == ["S12000 M3", "S14696 M3", "S18000 M3"]


@settings(max_examples=60)
@given(
    st.sampled_from(STATIONS),
    st.tuples(st.floats(60, 400), st.floats(30, 400), st.floats(12, 60)),
    st.integers(2, 12),
    st.floats(1, 9),
    st.floats(0.3, 3),
    st.one_of(st.none(), st.floats(1, 12)),
    st.sampled_from(["climb", "conventional"]),
)
def test_in_any_scrap_a_ladder_stops_once_a_rung_inside_the_wood_below_every_hard_bound(
    station, scrap, steps, depth, hardness, width, direction
):
    """Read by our own reader: as many program stops as rungs, each with the spindle off and the tip out of the wood."""
    asked = []

    def share(rpm, feed, deep):
        asked.append(hardness * feed * deep / (9600 * 8))
        return asked[-1]

    cutting, refused = replace(CUTTING, direction=direction), []
    try:
        found = ladder(
            SQ12, cutting, (16000, 1600, depth / 2), (16000, 9600, depth), steps=steps, station=station, scrap=scrap,
            hard_bound_share=share, width=width,
        )  # fmt: skip
    except InputError as e:
        refused = [f.remedy for f in e.faults]
    if refused:
        assert all(refused)
        return
    n = len(found.rungs)
    assert 2 <= n <= steps
    assert n + found.left_out == steps
    assert all(r.hard_share <= 1 for r in found.rungs)
    assert [r.hard_share for r in found.rungs] == asked[:n]
    assert len(asked) == min(n + 1, steps), "asked until the first that would pass a bound"

    m = read_text(found.program()).moves
    stops = np.flatnonzero((m.kind == Kind.STOP) & (m.value == Stop.PROGRAM_STOP))
    assert len(stops) == n
    turning = False
    at_stops = []
    for kind, value in zip(m.kind, m.value, strict=True):
        if kind == Kind.STOP:
            turning = value == Stop.SPINDLE_START or (turning and value not in (Stop.SPINDLE_STOP, Stop.END))
            if value == Stop.PROGRAM_STOP:
                at_stops.append(turning)
        assert kind != Kind.LINE or turning, "nothing is cut with the spindle off"
    assert at_stops == [False] * n
    assert (m.points[stops, 2] > 0).all()
    axis, r = found.ground.lane_axis, SQ12.diameter / 2
    cuts = m.points[1:][m.points[1:, 2] < -1e-6]
    assert cuts[:, axis].min() - r >= MARGIN - 1e-6
    assert cuts[:, axis].max() + r <= found.ground.across - MARGIN + 1e-6
    parts = np.split(np.arange(len(m)), stops)
    for rung, part in zip(found.rungs, parts, strict=False):
        line = part[(m.kind[part] == Kind.LINE) & (m.points[part + 1, 2] < 0)]
        assert m.points[line + 1, 2].min() == pytest.approx(-rung.depth)
        assert m.feed[line[-1]] == pytest.approx(rung.feed)


@pytest.mark.parametrize("station", STATIONS)
@pytest.mark.parametrize("direction", ["climb", "conventional"])
@pytest.mark.parametrize("width", [None, 5.0])
def test_each_rung_cuts_its_own_lane_in_the_direction_asked_for(station, direction, width):
    """Oracle: a height map, looked at before and behind the last stroke of each rung."""
    found = ladder(
        SQ12, replace(CUTTING, direction=direction), GENTLE, HARDEST, steps=3, station=station,
        scrap=SCRAPS[station], hard_bound_share=lambda *_: 0.5, width=width,
    )  # fmt: skip
    g = found.ground
    x, y = (g.along, g.across) if station == "flat" else (g.across, g.along)
    block = Workpiece((0, x), (0, y), 0.5).cut(found.moves, SQ12)
    assert block.rapid_in_wood == 0
    assert block.plunged_in_wood == 0
    profile = block.height[len(block.x) // 2] if station == "flat" else block.height[:, len(block.y) // 2][::-1]
    v = np.linspace(0, g.across, len(profile))
    for rung in found.rungs:
        inside = (v > rung.lane[0] + 0.5) & (v < rung.lane[1] - 0.5)
        assert np.allclose(profile[inside], -rung.depth)
    gone = sum((v > r.lane[0] - 0.5) & (v < r.lane[1] + 0.5) for r in found.rungs).astype(bool)
    assert (profile[~gone] == 0).all()
    if width is None:
        return
    m = found.moves
    for i in np.flatnonzero((m.kind == Kind.LINE) & np.isin(m.feed, [r.feed for r in found.rungs])):
        a, b = m.points[i], m.points[i + 1]
        if abs(a[2] - b[2]) > 1e-9:
            continue
        at = a[1] if station == "flat" else g.across - a[0]
        rung = next(r for r in found.rungs if r.lane[0] < at < r.lane[1])
        towards = np.zeros(3)
        axis = g.lane_axis
        towards[axis] = 1.0 if (rung.lane[1] - at < at - rung.lane[0]) == (axis == 1) else -1.0
        assert (np.cross(towards, b - a)[2] > 0) == (direction == "climb"), "the wood stands on the right to climb"


def test_a_ladder_ends_below_a_hard_bound_of_the_real_limits():
    oak, router = SHOP.material("white-oak"), SHOP.machine("router")
    c = SHOP.cutter("SQ6")
    held = Hold(clamp_force=400.0, friction=0.3, base=100.0)
    share = hard_share(c, oak, router, station="flat", width=2.0, hold=held)
    opening = Cutting(c, 1500, 600, 18000, depth_per_pass=2)
    found = ladder(
        c, opening, (18000, 1500, 2), (18000, 11000, 24), steps=10, station="flat", scrap=(120, 300, 40),
        hard_bound_share=share, width=2.0,
    )  # fmt: skip
    assert found.left_out > 0
    last = found.rungs[-1]
    assert share(last.rpm, last.feed, last.depth) == last.hard_share <= 1
    assert "a hard bound lies above" in found.read(["ok"] * len(found.rungs)).words
    unknown = hard_share(SHOP.cutter("OLD12"), oak, router, station="flat", width=2.0)
    assert math.isnan(unknown(10000, 1000, 3))


def test_settings_of_the_tuning_are_taken_as_they_are():
    c = SHOP.cutter("SQ12")
    setting = tune(c, SHOP.material("white-oak"), SHOP.machine("router"), station="flat", grain="along", cut_depth=6,
                   cut_width=5)  # fmt: skip
    gentle = (setting.rpm, setting.feed_mm_min / 3, setting.depth_per_pass_mm)
    found = ladder(c, replace(CUTTING, cutter=c), gentle, setting, steps=3, station="flat", scrap=FLAT,
                   hard_bound_share=lambda *_: 0.9)  # fmt: skip
    assert found.rungs[-1].feed == math.floor(setting.feed_mm_min + 1e-6)
    assert found.rungs[-1].depth == pytest.approx(setting.depth_per_pass_mm, abs=0.01)


def test_what_a_ladder_teaches_in_words_and_rows():
    feeds = climb(hardest=(16000, 9600, 4))
    found = feeds.read(["ok", "ok", "torn"])
    assert (found.last_good.number, found.first_bad.number, found.why) == (2, 3, "torn")
    assert found.words == "feed per tooth up to 0.078 mm held; 0.122 mm tore"
    assert feeds.read(["ok", "ok", "torn"], "inch").words == "feed per tooth up to 0.0031 in held; 0.0048 in tore"
    rows = found.rows("2026-03-02", SQ12, station="flat", note="oak")
    assert {r.name: r.value for r in rows} == {
        "greatest_feed_per_tooth": found.last_good.feed_per_tooth, "greatest_depth": 4.0,
    }  # fmt: skip
    assert rows[0].note.endswith("tore; oak")
    assert (rows[0].what, rows[0].regrinds) == ("ladder", 1)
    depths = climb(hardest=(16000, 1600, 8))
    assert depths.read(["ok", "chattered"]).words == "depth up to 4.00 mm held; 4.75 mm chattered"
    assert (
        "with 4.00 mm of depth held; 0.078 mm with 4.75 mm of depth sounded wrong"
        in climb().read(["ok", "noise"]).words
    )
    assert "nothing harder was cut" in climb().read(["ok"] * 5).words
    assert "nothing harder was cut" in climb(share=lambda r, f, d: f / 5000).read(["ok"]).words
    none = climb().read(["burnt"])
    assert none.last_good is None
    assert none.rows("2026-03-02", SQ12) == ()
    assert "dull edge" in none.words


def test_results_that_make_no_sense_are_refused():
    with text_of("6 results for 5 rungs"):
        climb().read(["ok"] * 6)
    with text_of("0 results"):
        climb().read([])
    with text_of("did you mean 'torn'"):
        climb().read(["ok", "tron"])
    with text_of("rung 2 was torn, but results follow it"):
        climb().read(["ok", "torn", "ok"])


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"steps": 1}, "no ladder"),
        ({"steps": 12, "scrap": (120, 140, 25)}, "ask for at most 6 rungs"),
        ({"scrap": (120, 30, 25)}, "use a smaller cutter"),
        ({"hardest": GENTLE}, "same setting"),
        ({"hardest": (16000, 800, 8)}, "hardest feed per tooth.*exchange"),
        ({"hardest": (16000, 9600, 3)}, "hardest depth"),
        ({"hardest": (16000, 1602, 4), "steps": 6, "scrap": (120, 300, 25)}, "same after rounding"),
        ({"hardest": (21000, 12600, 8)}, "above the 20000 rev/min"),
        ({"share": lambda *_: 1.01}, "gentlest rung uses 101 %"),
        ({"share": lambda *_: math.nan}, "unknown hard bound"),
        ({"share": lambda r, f, d: f / 1700}, "only the gentlest rung"),
        ({"width": 13.0}, "give no width"),
        ({"width": 0.0}, "width"),
        ({"gentle": (16000, 0, 4)}, "feed"),
        ({"station": "edge", "scrap": FLAT}, "no room"),
        ({"hardest": (16000, 9600, 24)}, "less a floor"),
    ],
)
def test_a_ladder_that_cannot_be_is_refused_with_a_remedy(change, message):
    with text_of(message) as caught:
        climb(**change)
    assert all(f.remedy for f in caught.value.faults)


# --- printed sheets --------------------------------------------------------------------------------------------------


class Page(html.parser.HTMLParser):
    """Text, balance of tags and counts of a page."""

    void = frozenset({"meta", "br", "hr"})

    def __init__(self, text):
        super().__init__()
        self.open, self.words, self.tags, self.classes = [], [], [], []
        self.feed(text)
        self.close()
        assert not self.open

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.classes += [v for k, v in attrs if k == "class"]
        if tag not in self.void:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if self.open and self.open[-1] != "style":
            self.words.append(data)

    @property
    def text(self):
        return " ".join(" ".join(self.words).replace("\u00a0", " ").split())


CAUTIONS = (
    "come before this sheet", "speed marked on the cutter", "Guard closed", "clamp", "Eye and ear protection", "dust",
    "Stand clear", "first stop the feed, then the spindle, then look",
)  # fmt: skip


@pytest.mark.parametrize("system", ["metric", "inch"])
@pytest.mark.parametrize("station", STATIONS)
@pytest.mark.parametrize("kind", ["fit", "ladder", "side ladder"])
def test_a_sheet_has_boxes_cautions_and_one_system_of_units(kind, station, system):
    test = made(station) if kind == "fit" else climb(station=station, steps=3, width=None if kind == "ladder" else 4.0)
    text = test.sheet_html(system)
    page = Page(text)
    for words in CAUTIONS:
        assert words in page.text
    assert "This test: 16000 rev/min at most" in page.text
    assert ("back-up block" in page.text) == (station == "end")
    other = " mm" if system == "inch" else " in/"
    assert other not in page.text.replace("16 mm", "").replace("programs in mm", "")
    assert "allowance" not in text
    assert "http" not in text.replace("http://www.w3.org", "")
    assert page.classes.count("box") == (12 if kind == "fit" else 3)
    assert page.classes.count("tick") == (0 if kind == "fit" else 3 * len(RESULTS))
    svg = ElementTree.fromstring(text[text.index("<svg") : text.index("</svg>") + 6])
    numbers = [t.text for t in svg.iter("text") if t.text.isdigit() and t.text != "0"]
    assert sorted(numbers) == ["1", "2", "3"]
    width, height = (float(v) for v in svg.get("viewBox").split()[2:])
    for circle in svg.iter("circle"):
        assert 0 < float(circle.get("cx")) < width
        assert 0 < float(circle.get("cy")) + float(circle.get("r")) <= height


def test_names_are_escaped():
    odd = replace(SQ12, id="<SQ&12>", title='1/2" <b>')
    text = fit_test(odd, CUTTING, "flat", FLAT, 6.0).sheet_html()
    assert "<SQ&12>" not in text
    Page(text)


def test_every_number_of_a_rung_stands_in_the_table():
    head, *rows = climb().table()
    assert len(head) == 6
    assert rows[0] == ("1", "16000 rev/min", "1600 mm/min", "0.05 mm/tooth", "4.00 mm", "50 %")
    assert len(rows) == 5


def test_the_longest_ladder_of_a_scrap_fits_and_one_more_does_not():
    share = lambda *_: 0.1  # noqa: E731
    climb(steps=6, share=share)
    with text_of("at most 6 rungs"):
        climb(steps=7, share=share)
