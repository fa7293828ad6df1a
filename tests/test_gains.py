"""Savings: each planted waste is found, made good, and timed again; what cannot help is said."""

import math
from dataclasses import replace

import numpy as np
import pytest
from motion_cases import machine

from shopcalc.errors import InputError
from shopcalc.gains import drop_levels, examine, fit, lower_clearance, rapid_in_air, reorder
from shopcalc.gcode import read_text, write_program
from shopcalc.motion import machine_time
from shopcalc.moves import PLANE_AXES, Kind, Stop, from_lists, join

ROUTER = machine((300.0, 300.0, 120.0), (800.0, 800.0, 500.0), corner="tolerance", corner_tolerance=0.03)


def chords(count=1000, radius=50.0, plane=0, rise=0.0, digits=3, turns=1.0):
    """A circle or helix as straight chords, rounded as programs write them."""
    a, b, c = PLANE_AXES[plane]
    angle = np.linspace(0, turns * 2 * np.pi, count + 1)
    points = np.zeros((count + 1, 3))
    points[:, a], points[:, b] = radius * np.cos(angle), radius * np.sin(angle)
    points[:, c] = rise * angle / (2 * np.pi)
    return from_lists(points.round(digits), [Kind.LINE] * count, feed=3000)


def drilled(places, *, height=10.0, start=2.0, depth=5.0, home=(0.0, 0.0)):
    """Holes in this order, from and to home."""
    points, kinds = [(*home, height)], []
    for x, y in places:
        points += [(x, y, height), (x, y, start), (x, y, -depth), (x, y, height)]
        kinds += [Kind.RAPID, Kind.RAPID, Kind.LINE, Kind.RAPID]
    return from_lists([*points, (*home, height)], [*kinds, Kind.RAPID], feed=900)


def laps(levels, path, *, closed=True, safe=10.0, feed=4000.0):
    """A path cut at each level, plunged at its start; risen and begun again where it is open."""
    points, kinds = [(*path[0], safe)], []
    for i, z in enumerate(levels):
        if i and not closed:
            points += [(*path[-1], safe), (*path[0], safe)]
            kinds += [Kind.RAPID, Kind.RAPID]
        points.append((*path[0], z))
        kinds.append(Kind.LINE)
        points += [(x, y, z) for x, y in path[1:]]
        kinds += [Kind.LINE] * (len(path) - 1)
    return from_lists([*points, (*path[-1], safe)], [*kinds, Kind.RAPID], feed=feed)


SQUARE = [(0, 0), (200, 0), (200, 100), (0, 100), (0, 0)]


@pytest.mark.parametrize("plane", [0, 1, 2])
def test_a_circle_of_a_thousand_chords_becomes_a_few_arcs(plane):
    moves = chords(plane=plane)
    made = fit(moves, 0.005)
    assert 1 <= len(made.moves) <= 4
    assert set(made.moves.kind) == {Kind.ARC}
    assert set(made.moves.arc_plane) == {plane}
    assert made.moves.arc_radius == pytest.approx(50, abs=0.005)
    assert abs(made.moves.arc_sweep.sum()) == pytest.approx(2 * math.pi, abs=1e-3)
    assert made.dropped == len(moves) - len(made.moves)
    assert 0 < made.deviation <= 0.005


def test_a_helix_about_z_stays_one_and_is_none_in_upright_planes():
    made = fit(chords(600, 20.0, rise=-3.0, turns=2.0), 0.01)
    assert len(made.moves) <= 6
    assert made.moves.arc_axial.sum() == pytest.approx(-6.0, abs=1e-6)
    assert not fit(chords(600, 20.0, plane=1, rise=-3.0), 0.001).arcs


def test_a_hexagon_and_a_zigzag_keep_their_corners():
    hexagon = chords(6)
    assert fit(hexagon, 0.02).moves is hexagon
    zigzag = from_lists([(i, 5 * (i % 2), 0) for i in range(50)], [Kind.LINE] * 49, feed=3000)
    assert fit(zigzag, 0.02).moves is zigzag


def test_lines_in_a_row_are_joined_but_not_to_and_fro():
    row = from_lists([(x, 0.004 * (x % 2), 0) for x in range(11)], [Kind.LINE] * 10, feed=3000)
    assert len(fit(row, 0.005, arcs=False).moves) == 1
    assert fit(row, 0.003, arcs=False).moves is row
    back = from_lists([(0, 0, 0), (10, 0, 0), (5, 0, 0), (15, 0, 0)], [Kind.LINE] * 3, feed=3000)
    assert fit(back, 0.02).moves is back


def test_nothing_is_joined_across_another_feed_speed_cutter_or_exact_stop():
    row = from_lists([(x, 0, 0) for x in range(5)], [Kind.LINE] * 4, feed=3000)
    assert len(fit(row, 0.01).moves) == 1
    two = np.array([1, 1, 2, 2])
    for changed in (
        replace(row, feed=two * 1000.0),
        replace(row, rpm=two * 1000.0),
        replace(row, cutter=two.astype(np.int32)),
        replace(row, exact_stop=np.array([False, True, False, False])),
    ):
        made = fit(changed, 0.01).moves
        assert len(made) == 2
        assert made.points[1].tolist() == [2, 0, 0]
    assert fit(replace(row, exact_stop=two == 1), 0.01).moves.exact_stop.tolist() == [True, True, False]


def test_chords_as_arcs_save_what_the_block_rate_costs():
    """A thousand chords at 100 a second take 10 s; as arcs only length over feed and two ramps are left."""
    slow = replace(ROUTER, controller=replace(ROUTER.controller, blocks_per_second=100.0))
    best = examine(chords(), slow).savings
    arcs = next(s for s in best if "arcs" in s.name)
    assert arcs.seconds_before == pytest.approx(10, rel=0.01)
    assert arcs.seconds_after == pytest.approx(2 * math.pi * 50 / 50 + 50 / 800, rel=0.02)
    assert arcs.same_cut


def test_a_ring_of_holes_is_drilled_round_the_ring():
    """The shortest way over places on a ring from one of its neighbours to the other is the ring itself."""
    angle = np.arange(40) * 2 * np.pi / 40
    ring = np.stack([500 + 400 * np.cos(angle), 500 + 400 * np.sin(angle)], axis=1)
    rng = np.random.default_rng(3)
    for _ in range(3):
        order = [*rng.permutation(39), 39]
        moves = drilled(ring[order], home=(900.0 + 5, 500.0))
        made = reorder(moves, ROUTER, diameter=8)
        best = drilled(ring, home=(905.0, 500.0))
        assert made.moves.rapid_length == pytest.approx(best.rapid_length)
        assert made.pieces == 40


def test_an_order_that_is_best_is_left_alone():
    line = drilled([(100 * i, 0) for i in range(1, 12)])
    assert reorder(line, ROUTER, diameter=8) is None


def test_cuts_that_overlap_keep_their_order_and_the_last_stays_last():
    places = [(900, 0), (10, 0), (900, 5), (15, 0), (450, 0)]
    made = reorder(drilled(places), ROUTER, diameter=12)
    at = made.moves.points[1:][made.moves.kind == Kind.LINE]
    order = [tuple(map(int, p[:2])) for p in at]
    assert sorted(order) == sorted(places)
    assert order.index((900, 0)) < order.index((900, 5))
    assert order.index((10, 0)) < order.index((15, 0))
    assert order[-1] == (450, 0)


def test_nothing_changes_places_across_a_cutter_change():
    one, two = drilled([(900, 0), (10, 0), (800, 0), (50, 0)]), drilled([(5, 5), (900, 9), (20, 5), (700, 9)])
    stand = from_lists([one.points[-1]] * 2, [Kind.CHANGE], value=[2])
    both = join([one, stand, replace(two, cutter=np.full(len(two), 2, dtype=np.int32))])
    made = reorder(both, ROUTER, diameter=8).moves
    change = int(np.flatnonzero(made.kind == Kind.CHANGE)[0])
    cut = np.flatnonzero(made.kind == Kind.LINE)
    assert sorted(made.points[cut[cut < change] + 1, 0]) == [10, 50, 800, 900]
    assert set(made.cutter[cut[cut > change]]) == {2}


def test_a_raster_at_a_silly_height_comes_down():
    lines = [((0, y), (100, y)) for y in range(0, 50, 5)]
    points, kinds = [(0, 0, 80)], []
    for (x0, y), (x1, _) in lines:
        points += [(x0, y, 80), (x0, y, 2), (x0, y, -3), (x1, y, -3), (x1, y, 80)]
        kinds += [Kind.RAPID, Kind.RAPID, Kind.LINE, Kind.LINE, Kind.RAPID]
    moves = from_lists(points, kinds, feed=3000)
    low = lower_clearance(moves)
    assert (low.height, low.before, low.top) == (7.0, 80.0, 2.0)
    assert low.moves.points[low.moves.cutting.nonzero()[0] + 1].tolist() == (
        moves.points[moves.cutting.nonzero()[0] + 1].tolist()
    )
    assert low.moves.points[1:-1, 2].max() == 7.0, "only the first and the last place keep their height"
    assert machine_time(low.moves, ROUTER).total_s < machine_time(moves, ROUTER).total_s - 8


def test_the_height_stays_where_the_program_does_not_show_the_wood():
    """Feed from the clearance height straight into the wood: its top may lie anywhere on that way."""
    moves = laps([-3.0, -6.0], SQUARE[:3], closed=False, safe=30.0)
    assert lower_clearance(moves) is None
    known = lower_clearance(moves, stock_top=0.0, clearance=4.0)
    assert known.height == 4.0
    assert known.moves.points[:, 2].max() == 30.0, "the first point is where the operator starts"


def test_a_slanting_way_down_keeps_its_height():
    points = [(0, 0, 40), (50, 0, 40), (80, 0, -2), (80, 50, -2), (80, 50, 40), (0, 0, 40)]
    kinds = [Kind.RAPID, Kind.LINE, Kind.LINE, Kind.RAPID, Kind.RAPID]
    assert lower_clearance(from_lists(points, kinds, feed=900), stock_top=0.0) is None


def test_places_where_the_machine_stands_keep_their_height():
    one = drilled([(50, 0), (90, 0)], height=60.0)
    stand = from_lists([one.points[-1]] * 2, [Kind.CHANGE], value=[2])
    made = lower_clearance(join([one, stand, drilled([(20, 0)], height=60.0)])).moves
    change = int(np.flatnonzero(made.kind == Kind.CHANGE)[0])
    assert made.points[change, 2] == made.points[change + 1, 2] == 60.0
    assert (made.points[:, 2] == 7.0).any()


def test_ways_down_through_air_become_rapids_only_above_the_wood():
    moves = from_lists([(0, 0, 50), (0, 0, -4), (30, 0, -4), (30, 0, 50)], [Kind.LINE] * 3, feed=600)
    made, ways = rapid_in_air(moves, stock_top=1.0)
    assert ways == 2
    assert made.kind.tolist() == [Kind.RAPID, Kind.LINE, Kind.LINE, Kind.LINE, Kind.RAPID]
    assert made.points[:, 2].tolist() == [50, 3, -4, -4, 3, 50]
    assert np.isnan(made.feed[[0, 4]]).all()
    assert rapid_in_air(made, stock_top=1.0) is None


@pytest.mark.parametrize("closed", [True, False])
def test_every_second_level_is_half_the_laps(closed):
    path = SQUARE if closed else SQUARE[:3]
    moves = laps([-2.0, -4.0, -6.0, -8.0], path, closed=closed)
    made = drop_levels(moves, 2)
    assert (made.levels, made.dropped, made.depth_before, made.depth) == (4, 2, 2.0, 4.0)
    along = made.moves.points[1:][(np.abs(np.diff(made.moves.points[:, 2])) < 1e-9) & made.moves.cutting]
    assert sorted(set(along[:, 2])) == [-8.0, -4.0]
    flat = np.hypot(*np.diff(made.moves.points[:, :2], axis=0).T)[made.moves.cutting].sum()
    whole = np.hypot(*np.diff(moves.points[:, :2], axis=0).T)[moves.cutting].sum()
    assert flat == pytest.approx(whole / 2)


def test_the_last_level_always_stays():
    moves = laps([-2.0, -4.0, -6.0, -7.0, -8.0], SQUARE)
    for keep, z in ((2, [-8.0, -6.0, -2.0]), (3, [-8.0, -4.0])):
        made = drop_levels(moves, keep).moves
        level = (np.abs(np.diff(made.points[:, 2])) < 1e-9) & made.cutting
        assert sorted(set(made.points[1:][level, 2])) == z


def test_levels_to_and_fro_in_a_slot_are_thinned_by_a_way_back_in_the_free_slot():
    """The next kept level begins at the other end: the cutter first goes there at the height that is free."""
    points = [(0, 0, 5), (0, 0, -3), (80, 0, -3), (80, 0, -6), (0, 0, -6), (0, 0, -9), (80, 0, -9), (80, 0, -12)]
    points += [(0, 0, -12), (0, 0, 5)]
    moves = from_lists(points, [*[Kind.LINE] * 8, Kind.RAPID], feed=2000)
    made = drop_levels(moves, 2)
    assert made.dropped == 2
    assert made.moves.points[:, 2].min() == -12
    steps = np.diff(made.moves.points, axis=0)
    assert np.abs(steps[:, 2]).max() <= 17, "and no step but the last rise is more than two levels and the start"
    free = 0.0
    for (x0, _, z0), (x1, _, z1) in zip(made.moves.points[:-1], made.moves.points[1:], strict=True):
        if x0 != x1:
            assert z0 == z1
            assert z0 >= free - 6.0, "no lap goes deeper than two levels at once"
            free = min(free, z0)


def test_no_rapid_comes_lower_when_levels_are_left_out():
    """Pecked entries that come down by rapid to just above the last level must rise with the wood."""
    points, kinds = [(0, 0, 10)], []
    for z in (-4.0, -8.0, -12.0, -16.0):
        points += [(0, 0, 10), (0, 0, z + 5), (0, 0, z), (90, 0, z), (90, 0, 10)]
        kinds += [Kind.RAPID, Kind.RAPID, Kind.LINE, Kind.LINE, Kind.RAPID]
    moves = from_lists(points, kinds, feed=2000)
    made = drop_levels(moves, 2).moves
    floor, at = 0.0, made.points
    for i in range(len(made)):
        if made.kind[i] == Kind.RAPID:
            assert at[i + 1, 2] >= floor - 1e-9
        floor = min(floor, at[i + 1, 2])


def test_paths_that_do_not_repeat_are_left_alone():
    other = [(0, 0), (200, 0), (200, 90), (0, 90), (0, 0)]
    assert drop_levels(join([laps([-2.0], SQUARE), laps([-4.0], other)]), 2) is None
    assert drop_levels(laps([-4.0, -2.0], SQUARE), 2) is None


def test_the_feed_beyond_which_nothing_is_gained_is_the_axis_limit():
    """One long line: length / axis speed is the end of it, whatever the program asks."""
    moves = from_lists([(0, 0, 0), (3000, 0, 0)], [Kind.LINE], feed=9000)
    found = {s.name: s for s in examine(moves, ROUTER).savings}
    limit = found["feed as high as this program can use"]
    assert limit.moves.feed[0] == pytest.approx(18_000, rel=0.03)
    assert limit.seconds_after == pytest.approx(
        machine_time(replace(moves, feed=np.array([1e6])), ROUTER).total_s, rel=0.01
    )
    assert found["feed 25 % higher"].moves.feed[0] == pytest.approx(9000 * 1.25)
    assert "axes and arcs hold it back" in limit.change
    assert not limit.same_cut
    assert "shopcalc tune" in limit.check


def test_a_feed_that_corners_hold_back_is_no_help_and_said_so():
    zigzag = from_lists([(0.2 * i, 0.2 * (i % 2), 0) for i in range(500)], [Kind.LINE] * 499, feed=9000)
    stop = machine(300.0, 800.0, corner="stop")
    found = examine(zigzag, stop)
    assert not [s for s in found.savings if "feed" in s.name]
    assert [t for t in found.tried if "feed" in t.name and "corners" in t.reason]


def test_feeds_are_raised_for_each_cutter_alone():
    one = from_lists([(0, 0, 0), (500, 0, 0)], [Kind.LINE], feed=3000, cutter=1, labels={1: "SQ12"})
    two = from_lists([(500, 0, 0), (900, 0, 0)], [Kind.LINE], feed=2000, cutter=2)
    found = {s.name: s for s in examine(join([one, two]), ROUTER).savings}
    alone = found["feed 50 % higher with cutter 1 (SQ12)"]
    assert alone.moves.feed.tolist() == [4500, 2000]
    assert "feed 50 % higher with cutter 2" in found


def busy():
    """Laps at three levels, then holes in a bad order, from a great height."""
    holes = drilled([(300, 0), (60, 0), (280, 40), (90, 9)], height=40.0, home=(0.0, 0.0))
    return join([laps([-2.0, -4.0, -6.0], SQUARE, safe=40.0), holes])


def test_savings_are_sorted_positive_and_timed():
    found = examine(busy(), ROUTER, stock_top=0.0, diameter=8)
    saved = [s.seconds_saved for s in found.savings]
    assert saved == sorted(saved, reverse=True)
    assert min(saved) > 0
    for s in (*found.savings, found.together):
        assert machine_time(s.moves, ROUTER).total_s == s.seconds_after
        assert s.seconds_before == found.seconds
        assert s.change
        assert s.check


def test_what_cannot_help_is_named():
    found = examine(from_lists([(0, 0, 0), (5, 0, 0)], [Kind.LINE], feed=100), ROUTER)
    named = {t.name for t in found.tried}
    assert {"shorter order of cuts", "lower clearance height", "rapids down to the wood"} <= named
    assert found.together is None
    assert any(s.startswith("no help: ") for s in found.sentences())


def test_together_is_at_least_as_good_as_each_harmless_change():
    places = np.random.default_rng(0).uniform(0, 900, (30, 2))
    moves = drilled(places, height=70.0)
    found = examine(moves, ROUTER, stock_top=0.0, diameter=8)
    alone = [s.seconds_saved for s in found.savings if s.same_cut]
    assert len(alone) >= 2
    assert found.together.seconds_saved >= max(alone) - 1e-9
    assert "shorter order" in found.together.change


def test_inch_words_for_inch_readers():
    found = examine(laps([-2.54, -5.08], SQUARE), ROUTER, system="inch", stock_top=0.0)
    text = " ".join(found.sentences())
    assert " in/min" in text
    assert "0.2 in" in text
    assert "mm" not in text.replace("mm/", "")


def test_the_frame_has_a_row_for_each_saving():
    found = examine(busy(), ROUTER, stock_top=0.0, diameter=8)
    table = found.frame()
    assert len(table) == len(found.savings) + 1
    assert table.attrs["units"]["saved_s"] == "s"
    assert table["saved_s"].iloc[0] == found.savings[0].seconds_saved


def test_a_program_without_feed_is_refused_and_bad_values_too():
    moves = from_lists([(0, 0, 0), (5, 0, 0)], [Kind.LINE])
    with pytest.raises(InputError, match="no feed"):
        examine(moves, ROUTER)
    good = replace(moves, feed=np.array([100.0]))
    for bad in ({"clearance": -1.0}, {"diameter": math.nan}, {"tolerances": (0.0,)}):
        with pytest.raises(InputError):
            examine(good, ROUTER, **bad)


def test_a_program_with_a_further_axis_only_has_its_feed_raised():
    moves = from_lists([(0, 0, 0), (500, 0, 0), (500, 400, 0)], [Kind.LINE] * 2, feed=3000)
    found = examine(replace(moves, extra={"a": np.array([0.0, 90.0, 0.0])}), ROUTER)
    assert all("feed" in s.name for s in found.savings)
    assert any("axis A" in t.reason for t in found.tried)
    assert found.together is None


def test_every_changed_program_is_written_and_read_back():
    moves = join([chords(200), from_lists([(50, 0, 0), (50, 0, 40)], [Kind.RAPID]),
                  drilled([(300, 0), (60, 0), (280, 40), (90, 9)], height=40.0, home=(50.0, 0.0))])  # fmt: skip
    end = from_lists([moves.points[-1]] * 2, [Kind.STOP], value=[Stop.END])
    found = examine(join([moves, end]), ROUTER, stock_top=0.0, diameter=8)
    for s in (*found.savings, found.together):
        again = read_text(write_program(s.moves, title="x"), start=s.moves.points[0]).moves
        assert machine_time(again, ROUTER).total_s == pytest.approx(s.seconds_after, rel=1e-3)


def test_wood_that_is_cut_above_the_given_top_counts():
    """Whoever gives z 0 as the wood's top while the program cuts at 20 is wrong by 20 mm or more."""
    points = [(0, 0, 60), (0, 0, 20), (90, 0, 20), (90, 0, 60), (0, 50, 60), (0, 50, 20), (90, 50, 20), (90, 50, 60)]
    kinds = [Kind.LINE, Kind.LINE, Kind.RAPID, Kind.RAPID, Kind.LINE, Kind.LINE, Kind.RAPID]
    moves = from_lists(points, kinds, feed=900)
    assert lower_clearance(moves, stock_top=0.0).height == 25.0
    assert rapid_in_air(moves, stock_top=0.0)[0].points[1, 2] == 22.0


@pytest.mark.parametrize(("top", "said"), [
    (-30.0, "no cut reaches below -30 mm.*check the sign"), (500.0, "nothing of the program lies above 500 mm"),
    (math.nan, "nan"),
])  # fmt: skip
def test_a_top_of_the_wood_that_cannot_be_meant_is_refused(top, said):
    moves = drilled([(0, 0), (50, 0), (90, 40)], height=40.0)
    assert examine(moves, ROUTER, stock_top=0.0).savings
    with pytest.raises(InputError, match=said) as refused:
        examine(moves, ROUTER, stock_top=top)
    assert refused.value.faults[0].field == "stock_top"


def test_one_height_of_the_wood_is_told_whatever_was_given():
    path = [(0, 0, 40), (0, 0, 12), (50, 0, 12), (50, 0, -3), (90, 0, -3), (90, 0, 40), (0, 0, 40)]
    kinds = [Kind.LINE] * 4 + [Kind.RAPID] * 2
    found = examine(from_lists(path, kinds, feed=600), ROUTER, stock_top=0.0)
    (aired,) = [s for s in found.savings if s.name == "rapids down to the wood"]
    assert aired.change == "1 way straight up or down is a rapid above z 14 mm, feeds from there on"
    assert "higher than z 12 mm" in aired.check
    assert "z 0 mm" not in found.together.check


def test_what_is_missing_is_named_and_progress_is_told():
    told = []
    found = examine(busy(), ROUTER, progress=told.append)
    assert any("give it as stock_top" in t.reason for t in found.tried)
    assert len(told) == len(set(told)) == 7
