"""What must hold of every change to a program, whatever the program: measured here by ways of its own."""

import math
from collections import Counter

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from motion_cases import machine
from scipy.spatial import cKDTree

from shopcalc.gains import drop_levels, examine, fit, lower_clearance, rapid_in_air, reorder
from shopcalc.gcode import read_text, write_program
from shopcalc.motion import machine_time
from shopcalc.moves import PLANE_AXES, Kind, from_lists

RULES = [
    {"corner": "tolerance", "corner_tolerance": 0.03},
    {"corner": "speed_jump", "corner_speed_jump": (8.0, 8.0, 4.0), "look_ahead": 20, "blocks_per_second": 120.0},
    {"corner": "stop", "stop_between_rapid_and_feed": True},
]
seeds = st.integers(0, 100_000)
tolerances = st.sampled_from([0.005, 0.01, 0.02])


def sampled(moves, step):
    """Points along a path, no further apart than a step, in their order."""
    out, arcs = [moves.points[:1]], {int(i): k for k, i in enumerate(moves.arc_index)}
    for i, length in enumerate(moves.lengths):
        share = np.linspace(0, 1, 2 + math.ceil(length / step))[1:, None]
        start, end = moves.points[i], moves.points[i + 1]
        points = start + share * (end - start)
        if i in arcs:
            k = arcs[i]
            a, b, _ = PLANE_AXES[int(moves.arc_plane[k])]
            centre, sweep = moves.arc_centre[k], moves.arc_sweep[k]
            radius = math.hypot(start[a] - centre[a], start[b] - centre[b])
            angle = math.atan2(start[b] - centre[b], start[a] - centre[a]) + share[:, 0] * sweep
            points[:, a], points[:, b] = centre[a] + radius * np.cos(angle), centre[b] + radius * np.sin(angle)
        out.append(points)
    return np.concatenate(out)


def apart(a, b):
    """How far the farther point of either set lies from the other set."""
    return max(cKDTree(a).query(b)[0].max(), cKDTree(b).query(a)[0].max())


def curve(seed):
    """Straights, arcs in any plane, helices and noise, all as short chords rounded to 0.001 mm."""
    rng = np.random.default_rng(seed)
    points = [np.zeros(3)]
    for _ in range(rng.integers(1, 6)):
        at, count = points[-1], int(rng.integers(2, 40))
        if rng.random() < 0.4:
            way = rng.normal(size=3) * rng.uniform(0.1, 5)
            points += [at + way * (k + 1) / count for k in range(count)]
            continue
        a, b, c = PLANE_AXES[rng.integers(3)]
        radius, begin = 10 ** rng.uniform(-0.3, 1.5), rng.uniform(0, 2 * np.pi)
        sweep, rise = rng.uniform(-7, 7), rng.choice([0.0, rng.normal()])
        for k in range(count):
            angle, to = begin + sweep * (k + 1) / count, at.copy()
            to[a] += radius * (np.cos(angle) - np.cos(begin))
            to[b] += radius * (np.sin(angle) - np.sin(begin))
            to[c] += rise * (k + 1) / count
            points.append(to)
    at = np.asarray(points) + rng.normal(size=(len(points), 3)) * rng.choice([0.0, 0.001, 0.004])
    feeds = np.where(rng.random(len(at) - 1) < 0.03, 1500.0, 3000.0)
    return from_lists(at.round(3), [Kind.LINE] * (len(at) - 1), feed=feeds)


def shop_program(seed):
    """Holes, open cuts and laps at levels here and there, from one clearance height; rapids down, or feeds."""
    rng = np.random.default_rng(seed)
    height, by_rapid = float(rng.choice([10.0, 25.0, 60.0])), bool(rng.random() < 0.5)
    points, kinds = [(0.0, 0.0, height)], []

    def add(kind, *to):
        points.append(tuple(float(v) for v in to))
        kinds.append(kind)

    for _ in range(rng.integers(2, 14)):
        x, y = rng.uniform(0, 400, 2).round(3)
        add(Kind.RAPID, x, y, height)
        if by_rapid:
            add(Kind.RAPID, x, y, 2)
        shape = rng.integers(3)
        if shape == 0:
            add(Kind.LINE, x, y, -rng.uniform(1, 9))
        elif shape == 1:
            add(Kind.LINE, x, y, -3)
            dx, dy = rng.uniform(-60, 60, 2).round(3)
            add(Kind.LINE, x + dx, y + dy, -3)
        else:
            size = rng.uniform(10, 60)
            for z in -2.0 * np.arange(1, rng.integers(2, 6)):
                add(Kind.LINE, x, y, z)
                for dx, dy in ((size, 0), (size, size), (0, size), (0, 0)):
                    add(Kind.LINE, x + dx, y + dy, z)
        add(Kind.RAPID, *points[-1][:2], height)
    add(Kind.RAPID, 0, 0, height)
    return from_lists(points, kinds, feed=rng.uniform(800, 6000))


def router(seed):
    rng = np.random.default_rng(seed)
    return machine(tuple(rng.uniform(60, 300, 3)), tuple(rng.uniform(200, 1500, 3)), **RULES[seed % len(RULES)])


def cuts(moves):
    """Every cutting move as its two ends and its feed, with how often it occurs."""
    at = np.flatnonzero(moves.cutting)
    return Counter(
        (*moves.points[i].round(6).tolist(), *moves.points[i + 1].round(6).tolist(), round(float(moves.feed[i]), 6))
        for i in at
    )


@settings(max_examples=150)
@given(seeds, tolerances, st.booleans())
def test_the_fitted_path_lies_within_the_tolerance_both_ways(seed, tolerance, arcs):
    moves = curve(seed)
    made = fit(moves, tolerance, arcs=arcs)
    step = 0.01 if moves.lengths.sum() < 300 else 0.03
    assert apart(sampled(moves, step), sampled(made.moves, step)) <= tolerance + step * step + step / 2
    assert made.moves.points[0].tolist() == moves.points[0].tolist()
    assert made.moves.points[-1].tolist() == moves.points[-1].tolist()
    assert len(made.moves) == len(moves) - made.dropped
    assert set(made.moves.feed) <= set(moves.feed)
    assert made.moves.lengths.sum() == pytest.approx(moves.lengths.sum(), rel=0.05, abs=0.5)


@settings(max_examples=60)
@given(seeds, tolerances)
def test_dropped_corners_lie_on_the_new_path(seed, tolerance):
    """Against dense samples of the new path alone, fine enough to hold the tolerance itself."""
    moves = curve(seed)
    made = fit(moves, tolerance)
    dense = sampled(made.moves, max(0.002, made.moves.lengths.sum() / 200_000))
    gap = np.linalg.norm(np.diff(dense, axis=0), axis=1).max() / 2
    off = cKDTree(dense).query(moves.points)[0]
    assert off.max() <= math.hypot(tolerance, gap) + 1e-9


@settings(max_examples=60)
@given(seeds, st.sampled_from([3.0, 12.0, 25.4, 80.0]))
def test_another_order_cuts_the_same_and_keeps_overlaps_in_turn(seed, diameter):
    moves = shop_program(seed)
    made = reorder(moves, router(seed), diameter=diameter)
    if made is None:
        return
    assert cuts(made.moves) == cuts(moves)
    assert made.moves.points[[0, -1]].tolist() == moves.points[[0, -1]].tolist()
    before, after = pieces(moves), pieces(made.moves)
    assert sorted(before) == sorted(after)
    assert after[-1] == before[-1]
    place = {p: k for k, p in enumerate(after)}
    for k, one in enumerate(before):
        for other in before[k + 1 :]:
            if near(one, other, diameter):
                assert place[one] < place[other]
    over = (made.moves.kind == Kind.RAPID) & (np.abs(np.diff(made.moves.points[:, :2], axis=0)).max(axis=1) > 1e-6)
    height = moves.points[0, 2]
    assert (np.minimum(made.moves.points[:-1, 2], made.moves.points[1:, 2])[over] >= height - 1e-9).all()


def pieces(moves):
    """Runs of moves between rapids over the work, as tuples of points."""
    out, own = [], []
    side = np.abs(np.diff(moves.points[:, :2], axis=0)).max(axis=1) > 1e-6
    for i in range(len(moves)):
        if moves.kind[i] == Kind.RAPID and side[i]:
            if any(p[2] <= 0 for p in own):
                out.append(tuple(own))
            own = []
        else:
            own.append(tuple(moves.points[i + 1].tolist()))
            if len(own) == 1:
                own.insert(0, tuple(moves.points[i].tolist()))
    return out


def near(one, other, diameter):
    """Whether the plans of two pieces come nearer than a cutter, by their boxes."""
    a, b = np.asarray(one)[:, :2], np.asarray(other)[:, :2]
    return bool(((a.min(axis=0) - b.max(axis=0) <= diameter) & (b.min(axis=0) - a.max(axis=0) <= diameter)).all())


@settings(max_examples=60)
@given(seeds, st.booleans())
def test_a_lower_height_leaves_the_cuts_below_it_alone(seed, known):
    moves = shop_program(seed)
    made = lower_clearance(moves, stock_top=0.0 if known else None)
    if made is None:
        return
    assert made.height >= (5.0 if known else 7.0) - 1e-9
    assert made.moves.points[:, 2].max() <= moves.points[:, 2].max()
    below = [p for p in moves.points.round(9).tolist() if p[2] < made.height - 1e-6]
    assert [p for p in made.moves.points.round(9).tolist() if p[2] < made.height - 1e-6] == below
    kept = set(np.unique(moves.feed[moves.cutting]))
    assert set(np.unique(made.moves.feed[made.moves.cutting])) <= kept


@settings(max_examples=60)
@given(seeds, st.floats(-3, 8))
def test_rapids_in_air_never_enter_the_wood(seed, top):
    moves = shop_program(seed)
    made = rapid_in_air(moves, stock_top=top)
    if made is None:
        return
    out, _ = made
    assert out.lengths.sum() == pytest.approx(moves.lengths.sum())
    below = moves.kind == Kind.RAPID
    old = {(*moves.points[i].tolist(), *moves.points[i + 1].tolist()) for i in np.flatnonzero(below)}
    for i in np.flatnonzero(out.kind == Kind.RAPID):
        way = (*out.points[i].tolist(), *out.points[i + 1].tolist())
        assert way in old or min(out.points[i, 2], out.points[i + 1, 2]) >= top + 2 - 1e-9


@settings(max_examples=60)
@given(seeds, st.integers(2, 4))
def test_fewer_levels_reach_the_same_depth_everywhere(seed, keep):
    """The deepest cut over each place of a fine grid is the same before and after."""
    moves = shop_program(seed)
    made = drop_levels(moves, keep)
    if made is None:
        return
    assert floor(made.moves) == floor(moves)
    assert made.dropped >= 1
    assert made.depth > made.depth_before - 1e-9


def floor(moves):
    """Lowest level cut at each place, to 0.5 mm in plan."""
    flat = moves.cutting & (np.abs(np.diff(moves.points[:, 2])) < 1e-9)
    out = {}
    for i in np.flatnonzero(flat):
        length = moves.lengths[i]
        share = np.linspace(0, 1, 2 + int(length / 0.2))[:, None]
        at = moves.points[i] + share * (moves.points[i + 1] - moves.points[i])
        for x, y, z in at.tolist():
            place = (round(2 * x), round(2 * y))
            out[place] = min(out.get(place, 0.0), round(z, 6))
    return out


@settings(max_examples=40)
@given(seeds, st.booleans())
def test_every_saving_saves_what_it_says_and_can_be_written(seed, known):
    moves, m = shop_program(seed), router(seed)
    found = examine(moves, m, stock_top=0.0 if known else None, diameter=12.0)
    now = machine_time(moves, m).total_s
    for s in (*found.savings, *([found.together] if found.together else [])):
        assert s.seconds_saved > 0
        assert s.seconds_before == now
        assert machine_time(s.moves, m).total_s == s.seconds_after
        again = read_text(write_program(s.moves, title="x"), start=s.moves.points[0]).moves
        assert machine_time(again, m).total_s == pytest.approx(s.seconds_after, rel=1e-3)


@settings(max_examples=30)
@given(seeds)
def test_all_together_moves_the_path_by_one_tolerance_at_most(seed):
    moves, m = curve(seed), router(1)
    together = examine(moves, m).together
    if together is not None:
        assert apart(sampled(moves, 0.01), sampled(together.moves, 0.01)) <= 0.02 + 0.005


@settings(max_examples=40)
@given(seeds, tolerances)
def test_fitted_arcs_are_written_and_read_back(seed, tolerance):
    made = fit(curve(seed), tolerance).moves
    again = read_text(write_program(made, title="x"), start=made.points[0]).moves
    m = router(seed)
    assert machine_time(again, m).total_s == pytest.approx(machine_time(made, m).total_s, rel=1e-3)
