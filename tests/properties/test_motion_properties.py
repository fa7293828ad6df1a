"""What must hold of machine time for any moves and any machine."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from motion_cases import machine, polyline, random_walk

from shopcalc.motion import machine_time
from shopcalc.moves import Kind, from_lists, join

RULES = [
    {},
    {"corner": "stop"},
    {"corner": "tolerance", "corner_tolerance": 0.03},
    {"corner": "speed_jump", "corner_speed_jump": (8.0, 8.0, 4.0)},
    {"corner": "tolerance", "corner_tolerance": 0.03, "look_ahead": 12, "blocks_per_second": 100.0},
    {"corner": "tolerance", "corner_tolerance": 0.03, "jerk": 8000.0},
]
cases = st.tuples(st.integers(0, 10_000), st.integers(1, 120), st.integers(0, len(RULES) - 1))


def build(case):
    seed, moves, rule = case
    rng = np.random.default_rng(seed)
    limits = tuple(rng.uniform(50, 300, 3)), tuple(rng.uniform(200, 2000, 3))
    return random_walk(rng, moves), machine(*limits, **RULES[rule])


@settings(max_examples=150, deadline=None)
@given(cases, st.floats(1.0, 5.0))
def test_enlarging_the_whole_path_never_saves_time(case, scale):
    """Jerk apart: there the plan without jerk is the model, and its humps scale too."""
    moves, m = build(case)
    larger = replace(moves, points=moves.points * scale)
    assert machine_time(larger, m).total_s >= machine_time(moves, m).total_s * (1 - 1e-9)


@settings(max_examples=100, deadline=None)
@given(cases, st.floats(0.01, 5.0), st.integers(0, 119))
def test_adding_a_dwell_never_saves_time(case, seconds, place):
    moves, m = build(case)
    at = min(place, len(moves) - 1)
    before, after = polyline(moves.points[: at + 1]), polyline(moves.points[at:])
    before = replace(before, feed=np.full(len(before), 3000.0))
    after = replace(after, feed=np.full(len(after), 3000.0))
    stand = from_lists([moves.points[at]] * 2, [Kind.DWELL], value=[seconds])
    plain, dwelt = join([before, after]), join([before, stand, after])
    assert machine_time(dwelt, m).total_s >= machine_time(plain, m).total_s + seconds * (1 - 1e-9) - 1e-9


@settings(max_examples=150, deadline=None)
@given(cases, st.integers(0, 2), st.sampled_from(["feed", "rapid", "acceleration"]), st.floats(0.2, 1.0))
def test_tightening_an_axis_never_saves_time(case, axis, what, share):
    moves, m = build((case[0], case[1], case[2] % 5))
    axes = list(m.axes)
    axes[axis] = replace(axes[axis], **{what: getattr(axes[axis], what) * share})
    assert machine_time(moves, replace(m, axes=tuple(axes))).total_s >= machine_time(moves, m).total_s * (1 - 1e-9)


@settings(max_examples=100, deadline=None)
@given(cases, st.floats(0.1, 1.0))
def test_tightening_the_controller_never_saves_time(case, share):
    moves, m = build((case[0], case[1], 4))
    c = m.controller
    for tighter in (
        replace(c, corner_tolerance=c.corner_tolerance * share),
        replace(c, blocks_per_second=c.blocks_per_second * share),
        replace(c, look_ahead=max(1, int(c.look_ahead * share))),
        replace(c, jerk=20_000.0),
    ):
        slower = machine_time(moves, replace(m, controller=tighter)).total_s
        assert slower >= machine_time(moves, m).total_s * (1 - 1e-9)


@settings(max_examples=150, deadline=None)
@given(cases)
def test_never_below_length_over_feed(case):
    moves, m = build(case)
    time = machine_time(moves, m)
    assert time.cutting_time_s >= time.length_over_feed_s * (1 - 1e-9)
    assert np.isfinite(time.seconds).all()
    assert (time.seconds >= 0).all()


@settings(max_examples=100, deadline=None)
@given(cases)
def test_running_the_path_backwards_keeps_its_length_and_its_time(case):
    """Time too, where look-ahead and jerk do not tell past from future."""
    moves, m = build((case[0], case[1], case[2] % 4))
    back = from_lists(moves.points[::-1], moves.kind[::-1], feed=np.nan_to_num(moves.feed[::-1], nan=1.0))
    assert back.lengths.sum() == pytest.approx(moves.lengths.sum())
    assert machine_time(back, m).total_s == pytest.approx(machine_time(moves, m).total_s, rel=1e-7)
