"""Two versions of a program: each planted edit is found, and nothing else."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from motion_cases import machine, random_walk

from shopcalc.comparing import compare
from shopcalc.gcode import read_text, write_program
from shopcalc.motion import machine_time
from shopcalc.moves import Kind, from_lists, join

ROUTER = machine((300.0, 300.0, 120.0), (800.0, 800.0, 500.0), corner="tolerance", corner_tolerance=0.03)


def drilled(places, depth=5.0):
    points, kinds = [(0, 0, 10)], []
    for x, y in places:
        points += [(x, y, 10), (x, y, 2), (x, y, -depth), (x, y, 10)]
        kinds += [Kind.RAPID, Kind.RAPID, Kind.LINE, Kind.RAPID]
    return from_lists([*points, (0, 0, 10)], [*kinds, Kind.RAPID], feed=900)


def wavy(count=400, seed=0):
    """A path in which no two moves are alike."""
    rng = np.random.default_rng(seed)
    steps = rng.uniform(-3, 3, (count, 3)) * (1, 1, 0.1)
    points = np.cumsum(np.vstack([[0, 0, -2], steps]), axis=0).round(3)
    return from_lists(points, [Kind.LINE] * count, feed=3000)


PLACES = [(100 + 37 * i % 400, 20 * i) for i in range(12)]


def kinds(comparison):
    return {c.differences for c in comparison.changes}


def moved(comparison, *difference):
    return sum(c.moves for c in comparison.changes if c.differences == difference)


def test_a_program_is_the_same_as_itself():
    c = compare(wavy(), wavy(), ROUTER)
    assert c.same
    assert c.kept == 400
    assert c.sentences()[0].startswith("nothing changed")
    assert len(c.frame()) == 0


def test_the_same_cuts_in_inch_are_no_change():
    text = "G21 G90\nG0 X10 Y10 Z5\nG1 Z-3 F1500\nX60.5 F3000\nG2 X80.25 Y29.75 I0 J19.75\nG1 Y90\nG0 Z5\nM2\n"
    inch = (
        "G20 G90\nG0 X0.3937 Y0.3937 Z0.1969\nG1 Z-0.1181 F59.06\nX2.3819 F118.11\n"
        "G2 X3.1594 Y1.1713 I0 J0.7776\nG1 Y3.5433\nG0 Z0.1969\nM2\n"
    )
    c = compare(read_text(text).moves, read_text(inch).moves, ROUTER)
    assert c.same, c.sentences()
    assert "nothing changed" in c.sentences("inch")[0]


def test_many_cuts_in_inch_are_no_change():
    mm = wavy(5000)
    inch = replace(mm, points=(mm.points / 25.4).round(4) * 25.4)
    assert compare(mm, inch, ROUTER).same


def test_a_feed_raised_on_one_stretch():
    old = wavy()
    feed = old.feed.copy()
    feed[100:150] *= 1.2
    new = replace(old, feed=feed)
    c = compare(old, new, ROUTER)
    (change,) = c.changes
    assert (change.differences, change.begin_before, change.moves) == (("feed",), 100, 50)
    times = [machine_time(m, ROUTER).seconds[100:150].sum() for m in (old, new)]
    assert [change.seconds_before, change.seconds_after] == pytest.approx(times)
    assert c.kept == 350
    assert any("20 % higher" in s and "3000 mm/min becomes 3600 mm/min" in s for s in c.sentences())
    assert any("feeds new: 3600 mm/min; gone: none" in s for s in c.sentences())


def test_a_hole_added_and_a_hole_taken_away():
    new = drilled([*PLACES[:6], (333.0, 77.0), *PLACES[6:]])
    c = compare(drilled(PLACES), new, ROUTER)
    assert kinds(c) == {("added",), ("removed",)}
    assert (c.added, c.removed) == (5, 1), "the way past it goes, the way to it, the hole and the way on come"
    back = compare(new, drilled(PLACES), ROUTER)
    assert (back.added, back.removed) == (1, 5)
    added = next(x for x in c.changes if x.differences == ("added",))
    assert added.cut_length == pytest.approx(7.0)
    assert c.seconds[1] - c.seconds[0] == pytest.approx(
        machine_time(new, ROUTER).total_s - machine_time(drilled(PLACES), ROUTER).total_s
    )


def test_all_half_a_millimetre_deeper():
    c = compare(drilled(PLACES), drilled(PLACES, depth=5.5), ROUTER)
    assert kinds(c) == {("shifted",)}
    assert {x.shift for x in c.changes} == {(0.0, 0.0, -0.5)}
    assert c.deepest == (-5.0, -5.5)
    assert moved(c, "shifted") == 24, "each way down and each way up"
    assert any("0.5 mm deeper" in s and "12 places" in s for s in c.sentences())
    assert any("deepest cut z -5.5 mm, was -5 mm" in s for s in c.sentences())


def test_a_whole_program_shifted_in_x():
    old = wavy()
    c = compare(old, old.shifted((12.5, 0, 0)), ROUTER)
    (change,) = c.changes
    assert change.differences == ("shifted",)
    assert change.shift == pytest.approx((12.5, 0, 0))
    assert change.moves == len(old)
    assert any("shifted by x 12.5 mm" in s for s in c.sentences())
    assert c.seconds[0] == pytest.approx(c.seconds[1])


def test_one_pocket_shifted_among_others():
    old = wavy(300)
    middle = old.points[100:201] + np.array([4.0, -2.0, 0.0])
    points = np.concatenate([old.points[:100], middle, old.points[201:]])
    c = compare(old, replace(old, points=points), ROUTER)
    shifted = next(x for x in c.changes if x.differences == ("shifted",))
    assert (shifted.begin_before, shifted.moves) == (100, 100)
    assert shifted.shift == pytest.approx((4, -2, 0))
    assert c.kept == 198


def test_pieces_in_another_order():
    order = [*PLACES[6:], *PLACES[:6]]
    c = compare(drilled(PLACES), drilled(order), ROUTER)
    assert ("order",) in kinds(c)
    holes = sum(x.moves for x in c.changes if x.differences == ("order",))
    assert holes == 6 * 3 + 5, "half the holes with the ways between them"
    assert not [x for x in c.changes if x.differences in (("added",), ("removed",)) and x.cut_length > 0]
    assert any("elsewhere in the order" in s for s in c.sentences())


def test_another_cutter_and_another_speed():
    old = from_lists([(0, 0, 0), (50, 0, 0), (50, 40, 0)], [Kind.LINE] * 2, feed=3000, rpm=16000, cutter=3,
                     labels={3: "SQ12"})  # fmt: skip
    new = replace(old, cutter=np.full(2, 4, dtype=np.int32), rpm=np.full(2, 18000.0), labels={4: "SQ10"})
    c = compare(old, new, ROUTER)
    (change,) = c.changes
    assert change.differences == ("spindle speed", "cutter")
    assert (change.rpm, change.cutter) == ((16000, 18000), (3, 4))
    assert (c.cutters_gone, c.cutters_new) == ((3,), (4,))
    assert set(c.by_cutter) == {3, 4}
    text = " ".join(c.sentences())
    assert "cutter 3 (SQ12) no longer cuts" in text
    assert "cutter 4 (SQ10) is new" in text
    assert "16000 rev/min becomes 18000 rev/min" in text


def test_lines_of_both_versions_are_named():
    old = "G21 G0 X5 Y0\nG1 X50 F3000\nX50 Y40\nX0\n"
    new = "(a longer head)\nG21 G0 X5 Y0\nG1 X50 F3000\nX50 Y40 F2000\nX0 F3000\n"
    (change,) = compare(read_text(old).moves, read_text(new).moves, ROUTER).changes
    assert (change.lines_before, change.lines_after) == ((3, 3), (4, 4))


def test_a_relief_at_other_heights_is_one_change():
    old = wavy(2000)
    points = old.points.copy()
    points[:, 2] = (points[:, 2] * 1.3).round(3)
    c = compare(old, replace(old, points=points), ROUTER)
    most = max(c.changes, key=lambda x: x.moves)
    assert most.differences == ("heights",)
    assert most.moves > 1900


def test_an_arc_with_another_bulge_is_another_cut():
    def bowed(sweep):
        centre = (5.0, -5.0 / math.tan(sweep / 2), 0.0)
        return from_lists([(0, 0, 0), (10, 0, 0)], [Kind.ARC], feed=3000, arcs={0: (centre, -sweep, 0)})

    assert compare(bowed(1.0), bowed(1.0), ROUTER).same
    c = compare(bowed(1.0), bowed(1.2), ROUTER)
    assert kinds(c) == {("added",), ("removed",)}


def test_nothing_against_something():
    empty, some = from_lists([(0, 0, 0)], []), wavy(20)
    assert compare(empty, some, ROUTER).added == 20
    assert compare(some, empty, ROUTER).removed == 20
    assert compare(empty, empty, ROUTER).same


def test_unknown_feeds_make_time_unknown_not_the_comparison():
    old = wavy(10)
    new = replace(old, feed=np.full(10, np.nan))
    c = compare(old, new, ROUTER)
    assert math.isnan(c.seconds[1])
    assert kinds(c) == {("feed",)}
    assert "unknown" in c.sentences()[0]


def test_regular_holes_without_one_unlike_another_are_aligned():
    """Every hole of the grid looks like the next one; one more in the middle of thousands is found at its place."""
    grid = [(20.0 * (i % 100), 20.0 * (i // 100)) for i in range(3000)]
    c = compare(drilled(grid), drilled([*grid[:1500], (7.0, 7.0), *grid[1500:]]).shifted((0, 0, 1.0)), ROUTER)
    assert (c.added, c.removed) == (5, 1)
    assert moved(c, "shifted") == 4 * 3000 + 1 - 1


def test_the_frame_tells_units_and_adds_up():
    old = drilled(PLACES)
    c = compare(old, drilled(PLACES[1:]), ROUTER)
    table = c.frame()
    assert len(table) == len(c.changes)
    assert table.attrs["units"]["more_s"] == "s"
    assert table["more_s"].sum() == pytest.approx(c.seconds[1] - c.seconds[0], abs=0.2)


def test_inch_words():
    text = " ".join(compare(drilled(PLACES), drilled(PLACES, depth=7.54), ROUTER).sentences("inch"))
    assert "0.1 in deeper" in text
    assert " mm" not in text


def test_a_hundred_thousand_moves_with_scattered_edits():
    old = wavy(100_000)
    keep = np.delete(np.arange(100_001), [5_000, 40_000, 77_777])
    new = from_lists(old.points[keep], [Kind.LINE] * (len(keep) - 1), feed=3000)
    c = compare(old, new, ROUTER)
    assert (c.removed, c.added) == (6, 3)
    assert [x.begin_before for x in c.changes if x.differences == ("removed",)] == [4999, 39999, 77776]


@given(st.integers(0, 10_000), st.integers(0, 10_000))
def test_every_move_of_both_versions_is_told_once(seed, other):
    rng = np.random.default_rng(other)
    old = random_walk(np.random.default_rng(seed), 60)
    points = old.points.copy()
    cut = np.sort(rng.choice(60, 2, replace=False))
    points[cut[0] : cut[1]] += rng.choice([0, 0.5, 3.0]) * rng.integers(-1, 2, 3)
    keep = np.delete(np.arange(61), rng.choice(np.arange(1, 60), rng.integers(0, 4), replace=False))
    feeds = rng.choice([1000.0, 2000.0], 60)
    new = from_lists(points[keep], old.kind[keep[1:] - 1], feed=feeds[keep[1:] - 1])
    c = compare(old, new, ROUTER)
    paired = sum(x.moves for x in c.changes if x.differences not in (("added",), ("removed",)))
    assert c.kept + paired + c.removed == len(old)
    assert c.kept + paired + c.added == len(new)
    back = compare(new, old, ROUTER)
    assert c.same == back.same
    assert c.seconds == back.seconds[::-1]


@given(st.integers(0, 10_000))
def test_written_and_read_back_is_the_same(seed):
    old = random_walk(np.random.default_rng(seed), 30)
    again = read_text(write_program(old, title="x"), start=old.points[0]).moves
    assert compare(old, again, ROUTER).same


def test_joined_programs_differ_by_what_was_joined():
    one, two = wavy(50), wavy(30, seed=5)
    way = from_lists([one.points[-1], two.points[0]], [Kind.RAPID])
    c = compare(one, join([one, way, two]), ROUTER)
    assert (c.kept, c.added, c.removed) == (50, 31, 0)


def test_what_has_no_name_or_no_speed_is_not_called_zero():
    path = [(0, 0, 0), (300, 0, 0), (300, 200, 0)]
    old = replace(from_lists(path, [Kind.LINE] * 2, feed=3000), line=np.full(2, 24, np.int32))
    new = replace(old, cutter=np.full(2, 3, np.int32), rpm=np.full(2, 18000.0))
    told = " ".join(compare(old, new, ROUTER).sentences())
    assert "every cut names its cutter now" in told
    assert "the speed that was not given becomes 18000 rev/min" in told
    assert "no named cutter becomes cutter 3" in told
    assert "0 rev/min" not in told.replace("18000 rev/min", "")
    assert told.count("line 24") == 1
