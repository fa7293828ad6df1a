"""Pictures of machine time: what is drawn is where the path is, however much was left out, and says what was lost."""

import itertools
import math
import time as clock
import tracemalloc
from dataclasses import fields, replace

import numpy as np
import pytest
import shapely
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from shopcalc.controls import thinning
from shopcalc.controls.path_picture import MOST_POINTS, PathPicture, rows
from shopcalc.controls.thinning import CUT, NO_FEED, RAPID, VIEWS, Thinner
from shopcalc.gcode import read_text
from shopcalc.machines import Axis, Controller, Machine
from shopcalc.motion import machine_time
from shopcalc.moves import PLANE_AXES, Kind, from_lists

MACHINE = Machine(
    axes=(Axis(20_000, 12_000, 500),) * 3, controller=Controller(corner="tolerance", corner_tolerance=0.02)
)
UV = {"plan": (0, 1), "front": (0, 2), "depth": (3, 2)}


def timed(text, machine=MACHINE):
    return machine_time(read_text(text).moves, machine)


def pictured(*times, window=None):
    picture = PathPicture(window)
    for t in times:
        picture.add(t)
    return picture


def part(t, begin, end):
    arrays = {f.name: getattr(t, f.name) for f in fields(t)}
    cut = {k: v[begin:end] for k, v in arrays.items() if isinstance(v, np.ndarray) and len(v) == len(t.moves)}
    return replace(t, moves=t.moves.part(begin, end), bounds=t.bounds[begin : end + 1], **cut)


def sampled(moves, i):
    """(n, 4) x, y, z and distance of places along one move, by the definition of a helix."""
    at = np.flatnonzero(moves.arc_index == i)
    share = np.linspace(0, 1, 1500 if len(at) else 30)
    a, b = moves.points[i], moves.points[i + 1]
    out = a + share[:, None] * (b - a)
    if len(at):
        p, q, _ = PLANE_AXES[moves.arc_plane[at[0]]]
        centre, sweep = moves.arc_centre[at[0]], moves.arc_sweep[at[0]]
        offset = a - centre
        turned = (offset[p] + 1j * offset[q]) * np.exp(1j * sweep * share)
        out[:, p], out[:, q] = centre[p] + turned.real, centre[q] + turned.imag
    begin = moves.lengths[:i][moves.kind[:i] <= Kind.ARC].sum()
    return np.column_stack([out, begin + share * moves.lengths[i]])


def true_lines(moves, view, kinds):
    chosen = np.flatnonzero(np.isin(moves.kind, kinds) & (moves.lengths > 0))
    return [sampled(moves, i)[:, UV[view]] for i in chosen]


def farthest(places, ends):
    """Greatest distance of places from the nearest of some straight pieces."""
    tree = shapely.STRtree(shapely.linestrings(ends))
    return tree.query_nearest(shapely.points(places), return_distance=True, all_matches=False)[1].max()


def gap(strokes, lines, scale):
    """Greatest distance from one to the other, both ways, where each axis is measured in its own tolerance."""
    strokes, lines = strokes / np.asarray(scale), [line / np.asarray(scale) for line in lines]
    true = np.concatenate([np.stack([line[:-1], line[1:]], axis=1) for line in lines])
    share = np.linspace(0, 1, 25)[:, None]
    drawn = np.concatenate([a + share * (b - a) for a, b in strokes])
    return max(farthest(np.concatenate(lines), strokes), farthest(drawn, true))


@st.composite
def runs(draw):
    """Rapids, lines, arcs and helices in all planes, dwells; some of them back and forth in one place."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    count, size = draw(st.integers(3, 120)), draw(st.sampled_from([0.05, 1.0, 40.0]))
    points, kind, arcs, value = [rng.normal(0, 30, 3)], [], {}, []
    for i in range(count):
        here, sort = points[-1], rng.choice([0, 1, 1, 1, 2, 3], p=[0.1, 0.3, 0.2, 0.1, 0.25, 0.05])
        value.append(0.25 if sort == 3 else 0.0)
        kind.append(int(sort))
        if sort == 3:
            points.append(here.copy())
        elif sort == 2:
            plane = int(rng.integers(3))
            p, q, w = PLANE_AXES[plane]
            radius, begin, sweep = size * rng.uniform(0.2, 2), rng.uniform(-4, 4), rng.uniform(-9, 9)
            centre = here.copy()
            centre[p] -= radius * math.cos(begin)
            centre[q] -= radius * math.sin(begin)
            end = here.copy()
            end[p], end[q] = centre[p] + radius * math.cos(begin + sweep), centre[q] + radius * math.sin(begin + sweep)
            end[w] += rng.choice([0.0, 1.0]) * rng.normal(0, size)
            arcs[i] = (centre, sweep, plane)
            points.append(end)
        else:
            step = rng.normal(0, size, 3) * rng.choice([0, 1], 3, p=[0.4, 0.6])
            points.append(here + (-step if i % 3 == 0 else step))
    feed = np.full(count, 3000.0)
    return from_lists(points, kind, feed=feed, value=value, arcs=arcs)


@pytest.mark.parametrize("view", VIEWS)
@pytest.mark.parametrize(("room", "points"), [(1 << 16, 6000), (1 << 16, 90), (40, 60)])
def test_what_is_drawn_lies_within_the_stated_tolerance_of_the_path_and_reaches_as_far(view, room, points, monkeypatch):
    """Also when most strokes had to go, at once or again and again because there was room for few."""
    monkeypatch.setattr(thinning, "_ROOM", room)
    thinned = []

    @settings(max_examples=25, phases=[Phase.explicit, Phase.generate])
    @given(runs())
    def check(moves):
        t = machine_time(moves, MACHINE)
        thinner = Thinner(view)
        sort = thinning.sorts_of(moves.kind, moves.lengths, t.seconds)
        thinner.add(t, sort, moves.lengths, t.seconds)
        s = thinner.strokes(points)
        assert s.point_count() <= points
        thinned.append(max(s.tolerance) > 0.021)
        for kinds, number in (([0], RAPID), ([1, 2], CUT)):
            lines = true_lines(moves, view, kinds)
            assert bool(lines) == bool((s.sort == number).any())
            if lines:
                limit = 1.0 if view == "plan" else math.sqrt(2)
                assert gap(s.ends[s.sort == number], lines, s.tolerance) <= limit + 0.05
        if len(s):
            extents = np.vstack([moves.extents(), [(0.0, moves.lengths[sort >= 0].sum())]])[list(UV[view])]
            np.testing.assert_allclose(s.ends.min(axis=(0, 1)), extents[:, 0], rtol=0, atol=1e-9)
            np.testing.assert_allclose(s.ends.max(axis=(0, 1)), extents[:, 1], rtol=0, atol=1e-9)
        cut, lost = moves.cutting, t.lost_to_limits + t.lost_to_ramps + t.lost_to_jerk + t.lost_to_blocks
        assert s.seconds[s.sort == CUT].sum() == pytest.approx(t.seconds[cut].sum(), rel=1e-6)
        assert s.lost[s.sort == CUT].sum() == pytest.approx(lost[cut].sum(), rel=1e-6, abs=1e-9)
        assert s.seconds[s.sort == RAPID].sum() == pytest.approx(t.seconds[moves.kind == Kind.RAPID].sum(), rel=1e-6)

    check()
    assert any(thinned) or points == 6000


def carving(count, pitch=0.5, width=300.0, step=0.3, feed=3000.0):
    """Lines to and fro over a hilly ground, of short moves; invented."""
    per = int(width / step)
    x = np.concatenate([np.linspace(0, width, per), np.linspace(width, 0, per)])
    x = np.tile(x, count // per // 2 + 1)[: count + 1]
    y = (np.arange(count + 1) // per) * pitch
    z = -3 + 2 * np.sin(x / 20) * np.cos(y / 15)
    return from_lists(np.column_stack([x, y, z]), np.full(count, 1), feed=feed)


def test_a_long_carving_is_drawn_with_few_points_near_its_path():
    moves = carving(60_000)
    picture = pictured(machine_time(moves, MACHINE))
    for view in VIEWS:
        s = picture.strokes(view)
        assert s.point_count() <= MOST_POINTS
        assert max(len(t.x) for t in picture.traces(view)) <= MOST_POINTS
        along = np.column_stack([moves.points, np.concatenate([[0], np.cumsum(moves.lengths)])])[:, UV[view]]
        limit = 1.0 if view == "plan" else math.sqrt(2)
        assert gap(s.ends, [along], s.tolerance) <= limit + 0.05
    assert picture.strokes("plan").tolerance[0] < 0.02 * 300


def test_one_rapid_and_one_stop_in_a_hundred_thousand_moves_stay_in_sight():
    moves = carving(100_000)
    middle = 60_000
    kind, value = moves.kind.copy(), moves.value.copy()
    kind[middle], kind[middle + 400] = Kind.RAPID, Kind.DWELL
    points, feed = moves.points.copy(), moves.feed.copy()
    feed[[middle, middle + 400]] = np.nan
    points[middle + 401 :] += points[middle + 400] - points[middle + 401]
    value[middle + 400] = 2.5
    moves = replace(moves, kind=kind, value=value, points=points, feed=feed)
    picture = pictured(machine_time(moves, MACHINE))
    for view in VIEWS:
        s = picture.strokes(view)
        rapid = s.ends[s.sort == RAPID]
        assert len(rapid) == 1
        stands = picture.traces(view)[8]
        assert len(stands.x) == 1
        assert "dwell, 2.5 s" in stands.hovertext[0]
    s = picture.strokes("plan")
    np.testing.assert_allclose(s.ends[s.sort == RAPID][0], points[[middle, middle + 1], :2], atol=1e-9)
    assert picture.traces("plan")[8].x[0] == pytest.approx(points[middle + 400, 0], abs=1e-6)


def test_width_along_a_line_is_the_closed_form_of_its_ramps():
    """100 mm at 100 mm/s and 500 mm/s2: ramps of 10 mm take 0.2 s where 0.1 s was asked (geometry)."""
    s = pictured(timed("G21 F6000\nG1 X100\n")).strokes("plan")
    assert s.ends[:, 1, 0].tolist() == pytest.approx([10, 90, 100])
    assert s.seconds.tolist() == pytest.approx([0.2, 0.8, 0.2])
    assert s.share.tolist() == pytest.approx([0.5, 0, 0.5], abs=1e-9)


def test_what_is_merged_is_as_wide_as_the_time_weighted_loss_of_its_members():
    """Two hundred short moves, every other one at a speed an axis cannot give: one stroke with the mean of both."""
    slow = Machine(axes=(Axis(6000, 3000, math.inf),) * 3, controller=Controller())
    points = [(i * 0.05, 0, 0) for i in range(201)]
    feed = [6000.0 if i % 2 else 3000.0 for i in range(200)]
    t = machine_time(from_lists(points, [1] * 200, feed=feed), slow)
    s = pictured(t).strokes("plan")
    lost = t.lost_to_limits.sum() / t.seconds.sum()
    assert lost == pytest.approx(0.25)
    assert len(s) < 60
    assert s.share == pytest.approx(lost, abs=0.08)
    assert s.lost.sum() / s.seconds.sum() == pytest.approx(lost)


def test_pieces_give_the_same_picture_as_the_whole():
    text = "G21 F6000\n" + "".join(f"G1 X{i * 7 % 50} Y{i * 3 % 40}\nG2 X{i * 7 % 50 + 5} I2.5 J0\n" for i in range(80))
    t = timed(text)
    whole, pieces = pictured(t), pictured(*(part(t, b, min(b + 7, len(t.moves))) for b in range(0, len(t.moves), 7)))
    for view in VIEWS:
        np.testing.assert_allclose(whole.strokes(view).ends, pieces.strokes(view).ends)
        np.testing.assert_allclose(whole.strokes(view).lost, pieces.strokes(view).lost, atol=1e-12)
    assert whole.places(9) == pieces.places(9)
    np.testing.assert_allclose(whole.extents, t.moves.extents(), rtol=0, atol=1e-12)


def test_a_corner_is_one_place_between_its_two_lines_and_loses_what_its_ramps_lose():
    """Exact stop at a corner: (v - 0)^2 / (2 a v) on each side, 0.1 s each at 100 mm/s and 500 mm/s2 (geometry)."""
    stop = replace(MACHINE, controller=Controller(corner="stop"))
    places = pictured(timed("G21 F6000\nG1 X100\nY100\n", stop)).places()
    assert [p.lines for p in places] == [(2, 3), (2, 2), (3, 3)]
    assert places[0].at == pytest.approx((100, 0, 0))
    assert [p.lost_s for p in places] == pytest.approx([0.2, 0.1, 0.1])
    assert places[0].held_by() == "comes to a full stop, asked 6 m/min"
    assert "236 in/min" in places[0].held_by("inch")


def test_many_short_moves_of_one_corner_count_as_one_place():
    """A rounded corner of forty chords, 1.5 mm radius, between two long lines."""
    turn = [(50 + 1.5 * math.sin(a), 1.5 - 1.5 * math.cos(a), 0) for a in np.linspace(0, math.pi / 2, 41)]
    points = [(0, 0, 0), *turn, (51.5, 60, 0)]
    bent = replace(MACHINE, controller=Controller(corner="tolerance", corner_tolerance=0.001, chord_curvature="speed"))
    moves = replace(from_lists(points, [1] * 42, feed=9000.0), line=np.arange(1, 43, dtype=np.int32))
    t = machine_time(moves, bent)
    places = pictured(t).places(9)
    inside = [p for p in places if p.distance[0] < 52 and p.distance[1] > 49]
    assert len(inside) == 1
    assert inside[0].at[:2] == pytest.approx((51, 0.5), abs=1.2)
    lost = t.lost_to_limits + t.lost_to_ramps
    assert sum(p.lost_s for p in places) == pytest.approx(lost.sum())


@settings(max_examples=30, phases=[Phase.explicit, Phase.generate])
@given(runs())
def test_places_never_lose_more_than_the_program_and_stand_in_order(moves):
    t = machine_time(moves, MACHINE)
    places = pictured(t).places(9)
    lost = (t.lost_to_limits + t.lost_to_ramps + t.lost_to_jerk + t.lost_to_blocks)[moves.cutting]
    assert sum(p.lost_s for p in places) <= lost.sum() * (1 + 1e-9) + 1e-9
    seconds = [p.lost_s for p in places]
    assert all(a * (1 + 1e-8) >= b for a, b in itertools.pairwise(seconds))
    assert all(p.distance[1] - p.distance[0] <= 15 + 1e-9 for p in places)


def test_causes_are_told_in_words():
    blocks = replace(MACHINE, controller=Controller(blocks_per_second=20))
    fine = "G21 F6000\n" + "".join(f"G1 X{i / 2}\n" for i in range(1, 100))
    assert "waits for blocks" in pictured(timed(fine, blocks)).places()[0].held_by()
    slow = Machine(axes=(Axis(6000, 1000, 500),) * 3, controller=Controller())
    assert "the speed of an axis allows" in pictured(timed("G21 F6000\nG1 X300\n", slow)).places()[0].held_by()
    assert "the arc allows" in pictured(timed("G21 F6000\nG2 X4 I2 J0\n")).places()[0].held_by()
    corner = [p for p in pictured(timed("G21 F6000\nG1 X100\nY100\n")).places() if p.at == (100, 0, 0)]
    assert "at a corner" in corner[0].held_by()


def test_without_a_feed_the_path_is_drawn_and_the_line_is_known():
    picture = pictured(timed("G21\nG0 X10\nG1 X50\nF600 X80\n"))
    s = picture.strokes("plan")
    assert s.ends[s.sort == NO_FEED].tolist() == [[[10, 0], [50, 0]]]
    assert picture.no_feed_line == 3
    assert picture.no_feed_moves == 1
    assert all(math.isfinite(v) for v in s.seconds)
    assert any(t.name == "no feed is known" and t.showlegend for t in picture.figure("plan").data)


def test_a_hole_bored_straight_down_is_a_point_in_the_plan():
    picture = pictured(timed("G21 F600\nG0 X20 Y30 Z5\nG1 Z-10\nG0 Z5\nX50\nG1 Z-10\n"))
    dots = picture.traces("plan")[7]
    assert set(zip(dots.x, dots.y, strict=True)) == {(20, 30), (50, 30)}


def test_a_window_is_drawn_finer_and_holds_nothing_else():
    t = machine_time(carving(150_000), MACHINE)
    whole = pictured(t).strokes("front")
    near = pictured(t, window=[(100, 150), (10, 40), (-9, 9), (0, 1e9)]).strokes("front")
    assert near.tolerance[1] < whole.tolerance[1] / 1.5
    assert near.ends[..., 0].min() > 99
    assert near.ends[..., 0].max() < 151


def test_inch_and_metric_show_the_same_picture():
    picture = pictured(timed("G21 F6000\nG1 X254\nY50.8 Z-2.54\n"))
    places = picture.places()
    mm, inch = (picture.figure("depth", "a", s, places) for s in ("metric", "inch"))
    assert max(v for t in mm.data[2:7] for v in t.x if v) == pytest.approx(
        0.254 + math.hypot(50.8, 2.54) / 1000, abs=1e-5
    )
    assert np.array(inch.layout.yaxis.range) * 25.4 == pytest.approx(np.array(mm.layout.yaxis.range))
    assert "ft" in inch.layout.xaxis.title.text
    assert "drawn to within 0.02 mm" in mm.layout.title.subtitle.text
    assert "in" in inch.layout.title.subtitle.text
    table = rows(places, "inch", lambda line: f"text of {line}")
    assert table[0][2].startswith("text of")


def test_places_on_top_of_each_other_share_a_label_and_none_lie_on_others():
    text = "G21 F6000 G0 Z5\n" + "".join(f"G0 X0 Y0\nG1 Z-{d}\nX100\nY100\nG0 Z5\n" for d in (1, 2, 3, 4, 5))
    picture = pictured(timed(text))
    places = picture.places()
    for view in VIEWS:
        labels = picture.figure(view, places=places).layout.annotations
        told = sorted(int(n) for a in labels for n in a.text.split(", "))
        assert told == [p.number for p in places]


def test_nothing_to_draw_is_no_crash():
    picture = PathPicture()
    picture.add(machine_time(from_lists([(0, 0, 0)], []), MACHINE))
    for view in VIEWS:
        assert len(picture.figure(view).data) == 10
    assert picture.places() == []


@pytest.mark.benchmark
def test_a_million_moves_take_under_a_second_and_bounded_memory():
    moves = carving(1_000_000)
    t = machine_time(moves, MACHINE)
    pictured(part(t, 0, 1000)).strokes("front")  # compile first
    begin = clock.process_time()  # whatever else the computer does
    picture = pictured(t)
    views = {view: picture.strokes(view) for view in VIEWS}
    took = clock.process_time() - begin
    print(f"\na million moves in three views: {took:.2f} s", {v: s.tolerance for v, s in views.items()})
    pieces = [part(t, b, min(b + 65_536, 1_000_000)) for b in range(0, 1_000_000, 65_536)]
    tracemalloc.start()
    picture = PathPicture()
    for piece in pieces:
        picture.add(piece)
    peak = tracemalloc.get_traced_memory()[1] / 1e6
    tracemalloc.stop()
    print(f"in pieces of 65 536 moves: {peak:.0f} MB at most")
    assert took < 1.0
    assert peak < 100
