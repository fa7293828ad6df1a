"""A program timed piece by piece takes what it takes as a whole, and both what plain loops over the definitions say."""

import itertools
import math
import tracemalloc
from dataclasses import replace

import numpy as np
import pytest
from motion_cases import machine, plain_seconds, polyline, random_machine, random_program

from shopcalc.motion import CAUSES, HELD_BACK, Timing, machine_time
from shopcalc.moves import Kind, from_lists, join

PER_MOVE = ("seconds", "entry", "exit", "peak", "acceleration", "lost_to_limits", "lost_to_ramps", "lost_to_jerk",
            "lost_to_blocks", "allowed", "length", "held_back")  # fmt: skip


def case(seed):
    """A program of up to 400 moves and a machine; the same for the same seed."""
    rng = np.random.default_rng(seed)
    return rng, random_program(rng, int(rng.integers(1, 400))), random_machine(rng)


def stream(moves, m, cuts, **options):
    """Totals and windows of a program handed over in pieces that end at ``cuts``."""
    windows = []
    timing = Timing(m, on_window=lambda first, time: windows.append((first, time)), **options)
    ends = np.unique(np.concatenate([[0, len(moves)], cuts])).astype(int)
    for begin, end in itertools.pairwise(ends):
        timing.add(moves.part(int(begin), int(end)))
    return timing.finish(), windows


@pytest.mark.parametrize("seed", [*range(300), 2190])  # the last: a speed of nought but for rounding
def test_whole_programs_agree_with_plain_loops(seed):
    _, moves, m = case(seed)
    time = machine_time(moves, m)
    ours, theirs = time.seconds, np.array(plain_seconds(moves, m))
    assert np.array_equal(np.isnan(ours), np.isnan(theirs))
    np.testing.assert_allclose(ours, theirs, rtol=1e-9, atol=1e-9)
    assert np.nansum(ours) == pytest.approx(np.nansum(theirs), rel=1e-9)
    go = time.length > 0
    changed = np.abs(time.exit**2 - time.entry**2)[go]
    assert (changed <= 2 * time.acceleration[go] * time.length[go] * (1 + 1e-9) + 1e-9).all()


@pytest.mark.parametrize("seed", [*range(300), 3329])  # the last: bends help to brake under look-ahead
def test_pieces_of_any_size_agree_with_the_whole(seed):
    """Pieces of one move up to the whole, gathered in windows as small as one move."""
    rng, moves, m = case(seed)
    whole = machine_time(moves, m)
    pieces = int(rng.choice([1, 2, 10, 60, len(moves) + 1]))
    cuts = np.arange(len(moves)) if pieces > len(moves) else rng.integers(0, len(moves) + 1, pieces)
    totals, windows = stream(moves, m, cuts, bands=2.0, places=7, window=int(rng.choice([1, 5, 40])))
    firsts = [first for first, _ in windows]
    assert firsts == [0, *np.cumsum([len(t.seconds) for _, t in windows])[:-1]]
    for name in PER_MOVE:
        together = np.concatenate([getattr(t, name) for _, t in windows])
        np.testing.assert_allclose(together, getattr(whole, name), rtol=1e-9, atol=1e-9, err_msg=name)
    bounds = np.concatenate([*(t.bounds[:-1] for _, t in windows), windows[-1][1].bounds[-1:]])
    np.testing.assert_array_equal(bounds, whole.bounds)
    again = join([t.moves for _, t in windows])
    np.testing.assert_array_equal(again.points, moves.points)
    np.testing.assert_array_equal(again.arc_sweep, moves.arc_sweep)
    for one, other in ((totals.causes(), whole.causes()), (totals.by_kind(), whole.by_kind()),
                       (totals.by_cutter(), whole.by_cutter())):  # fmt: skip
        assert one == pytest.approx(other, rel=1e-9, abs=1e-9, nan_ok=True)
    for name in ("total_s", "cutting_time_s", "rapid_time_s", "dwell_time_s", "change_time_s", "length_over_feed_s"):
        assert getattr(totals, name) == pytest.approx(getattr(whole, name), rel=1e-9, nan_ok=True), name
    assert totals.moves == len(moves)
    assert totals.cutting_length == pytest.approx(moves.cutting_length)
    assert totals.rapid_length == pytest.approx(moves.rapid_length)
    np.testing.assert_allclose(totals.extents, moves.extents(), atol=1e-9)
    np.testing.assert_allclose(totals.by_depth(), whole.by_depth(2.0), rtol=1e-9, atol=1e-9)
    places = whole.slowest_places(7)
    assert [p.move for p in totals.slowest_places()] == [i for i, _ in places]
    for place, (i, lost) in zip(totals.slowest_places(), places, strict=True):
        assert place.lost == pytest.approx(lost, rel=1e-9)
        assert place.line == moves.line[i]
        assert place.end == tuple(moves.points[i + 1])
        held = HELD_BACK[whole.held_back[i]]
        assert place.held_back == held or (held == "asked feed" != place.held_back)  # what it lost most to, if little
    assert [p.held_back for p in totals.slowest_places()][:5] == [p.held_back for p in whole.totals.slowest_places()]


@pytest.mark.parametrize("seed", range(40))
def test_all_sums_are_those_of_the_moves(seed):
    """Sums over the per-move arrays, taken here with numpy, by kind, cutter, cause and depth."""
    _, moves, m = case(1000 + seed)
    moves = replace(moves, feed=np.where(np.isnan(moves.feed) & moves.cutting, 3000.0, moves.feed))
    time = machine_time(moves, m)
    assert time.by_kind() == pytest.approx(
        {k: time.seconds[moves.kind == k].sum() for k in Kind if time.seconds[moves.kind == k].any()}
    )
    assert time.by_cutter() == pytest.approx({c: time.seconds[moves.cutter == c].sum() for c in set(moves.cutter)})
    cut = moves.cutting
    causes = {c: time.causes().get(c, 0.0) for c in CAUSES}
    lost = time.lost_to_limits + time.lost_to_ramps + time.lost_to_jerk + time.lost_to_blocks
    with np.errstate(invalid="ignore"):
        ideal = np.where(time.length > 0, time.length / time.asked, 0.0)[cut].sum()
    assert sum(causes.values()) == pytest.approx(time.total_s, rel=1e-9)
    assert causes[CAUSES[0]] == pytest.approx(ideal) == pytest.approx(time.length_over_feed_s)
    assert causes[CAUSES[1]] == pytest.approx(time.lost_to_limits[cut].sum())
    assert sum(causes[c] for c in CAUSES[2:7]) == pytest.approx(time.lost_to_ramps[cut].sum())
    assert causes["gradual acceleration"] == pytest.approx(time.lost_to_jerk[cut].sum())
    assert causes["waiting for blocks"] == pytest.approx(time.lost_to_blocks[cut].sum())
    assert causes["rapids"] == pytest.approx(time.rapid_time_s)
    low = np.minimum(moves.points[:-1, 2], moves.points[1:, 2])
    bands = time.by_depth([-20.0, -3.0, 0.0, 4.0])
    assert [b.low for b in bands] == sorted((b.low for b in bands), reverse=True)
    for band in bands:
        own = cut & (low >= band.low) & (low < band.high)
        assert band.seconds == pytest.approx(time.seconds[own].sum())
        assert band.length == pytest.approx(moves.lengths[own].sum())
        assert band.lost == pytest.approx(lost[own].sum())
    assert sum(b.seconds for b in bands) == pytest.approx(time.cutting_time_s)
    assert sum(b.seconds for b in time.by_depth(0.7)) == pytest.approx(time.cutting_time_s)


@pytest.mark.parametrize("rule", [{"jerk": 20_000.0}, {"chord_curvature": "share", "look_ahead": 80}])
def test_memory_does_not_grow_with_the_program(rule):
    """One long spiral at even speed, 10 and 40 pieces: the same peak, and far below what all moves would take."""
    m = machine(corner="tolerance", corner_tolerance=0.03, **rule)

    def peak(pieces):
        timing = Timing(m, window=2000)
        tracemalloc.start()
        for k in range(pieces):
            t = (np.arange(2001) + 2000 * k) / 900
            timing.add(polyline(np.stack([50 * np.cos(t) + 0.09 * t, 50 * np.sin(t), 0 * t], axis=1), feed=3000))
        assert timing.finish().moves == 2000 * pieces
        most = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return most

    peak(4)
    few, many = peak(10), peak(40)
    assert many < 1.2 * few


def test_a_valley_of_even_speed_is_remembered_between_windows():
    """Slow chords and a hump too short for its ramps under jerk: it begins where speed does, wherever a window ends."""
    x = np.concatenate([np.arange(0, 100, 0.5), [103.0], np.arange(103.5, 150, 0.5)])
    feed = np.full(len(x) - 1, 600.0)
    feed[199:201] = [9000.0, 600.0]
    feed[:5] = 9000.0
    moves = replace(polyline(np.stack([x, 0 * x, 0 * x], axis=1)), feed=feed)
    m = machine(200.0, 500.0, jerk=1000.0)
    whole = machine_time(moves, m)
    np.testing.assert_allclose(whole.seconds, plain_seconds(moves, m), rtol=1e-9)
    for window in (1, 7, 50):
        _, windows = stream(moves, m, np.arange(len(moves)), window=window)
        assert len(windows) > 2
        together = np.concatenate([t.seconds for _, t in windows])
        np.testing.assert_allclose(together, whole.seconds, rtol=1e-9)


def test_an_unknown_feed_leaves_everything_else_known():
    points = [(0, 0, 0), (100, 0, 0), (200, 0, 0), (200, 0, 50)]
    known = polyline(points[:2], feed=3000)
    unknown = polyline(points[1:3], feed=math.nan)
    back = from_lists(points[2:], [Kind.RAPID])
    timing = Timing(machine())
    for piece in (known, unknown, back):
        timing.add(piece)
    totals = timing.finish()
    assert math.isnan(totals.total_s)
    assert math.isnan(totals.cutting_time_s)
    assert totals.cutting_length == 200
    assert totals.rapid_time_s == machine_time(join([known, unknown, back]), machine()).rapid_time_s > 0
    assert totals.by_kind()[Kind.RAPID] == totals.rapid_time_s


def test_pieces_must_join_and_an_ended_program_takes_none():
    timing = Timing(machine())
    timing.add(polyline([(0, 0, 0), (1, 0, 0)]))
    timing.add(polyline([(2, 0, 0), (3, 0, 0)]))
    with pytest.raises(ValueError, match="do not join"):
        timing.finish()
    timing = Timing(machine())
    assert timing.finish().total_s == 0
    with pytest.raises(ValueError, match="ended"):
        timing.add(polyline([(0, 0, 0), (1, 0, 0)]))
    with pytest.raises(ValueError, match="ended"):
        timing.finish()


@pytest.mark.parametrize("bands", [0.0, -1.0, math.inf, [], [1.0, 1.0], [2.0, 1.0], [math.nan]])
def test_depth_bands_that_are_none_are_refused(bands):
    with pytest.raises(ValueError, match="depth bands"):
        Timing(machine(), bands=bands)
