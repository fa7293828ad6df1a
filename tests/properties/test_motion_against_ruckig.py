"""Straight motion against the library ruckig, over generated moves.

ruckig (Berscheid and Kröger, "Jerk-limited real-time trajectory generation with arbitrary target states", Robotics:
Science and Systems XVII, 2021) plans each axis by itself and waits for the slowest. With one axis, or along one
straight line, its model is ours, with and without jerk. Where several axes move it only bounds ours from below.
"""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from motion_cases import machine, polyline, random_walk

from shopcalc.motion import machine_time
from shopcalc.moves import Kind, from_lists, join

ruckig = pytest.importorskip("ruckig")
CASES = 250
SAME = 1e-8  # relative; the worst seen is 5e-15, and 5e-10 where ruckig is given a hair more acceleration


def ruckig_seconds(distance, speed, acceleration, jerk=math.inf, before=0.0, after=0.0):
    """Least time over ``distance`` (k,) of k axes, from speed ``before`` to speed ``after`` [s]."""
    distance = np.atleast_1d(np.asarray(distance, dtype=float))
    axes = len(distance)

    def each(value):
        return [float(v) for v in np.broadcast_to(value, axes)]

    problem = ruckig.InputParameter(axes)
    problem.current_position, problem.target_position = [0.0] * axes, list(distance)
    problem.current_velocity, problem.target_velocity = each(before), each(after)
    problem.max_velocity, problem.max_acceleration = each(speed), each(acceleration)
    if math.isfinite(jerk):
        problem.max_jerk = each(jerk)
    answer = ruckig.Trajectory(axes)
    result = ruckig.Ruckig(axes).calculate(problem, answer)
    assert result in (ruckig.Result.Working, ruckig.Result.Finished), result
    return answer.duration


def one_move(rng):
    """Distance 0.01-2000 mm, speed, acceleration and jerk of the sizes routers have, and some beyond."""
    return 10 ** rng.uniform([-2, 0.7, 1.5, 2.5], [3.301, 3.0, 4.0, 6.0])


def direction(rng):
    """A unit vector; now and then along an axis or within a plane."""
    u = rng.normal(size=3) * (rng.random(3) < 0.8)
    return direction(rng) if not u.any() else u / np.linalg.norm(u)


def same(ours, theirs):
    assert np.shape(ours) == np.shape(theirs)
    gap = np.abs(np.asarray(ours) / np.asarray(theirs) - 1)
    assert gap.max() <= SAME, f"case {gap.argmax()}: {ours[gap.argmax()]} s, not {theirs[gap.argmax()]} s"


@pytest.mark.parametrize("gradual", [False, True], ids=["no jerk limit", "jerk limit"])
@pytest.mark.parametrize("axis", [0, 1, 2])
def test_one_axis_from_rest_to_rest(axis, gradual):
    """Trapezoid and triangle, or all seven phases and every case that lacks some of them."""
    rng = np.random.default_rng(10 + axis)
    ours, theirs = [], []
    for _ in range(CASES):
        distance, speed, acceleration, jerk = one_move(rng)
        jerk = jerk if gradual else math.inf
        end = np.zeros(3)
        end[axis] = rng.choice([-1, 1]) * distance
        others = np.full((2, 3), 1e-3)  # the other axes are slow and stand still
        others[:, axis] = speed, acceleration
        m = machine(tuple(others[0]), tuple(others[1]), jerk=jerk)
        ours.append(machine_time(polyline([(0, 0, 0), end]), m).total_s)
        theirs.append(ruckig_seconds(distance, speed, acceleration, jerk))
    same(ours, theirs)


@pytest.mark.parametrize("gradual", [False, True], ids=["no jerk limit", "jerk limit"])
def test_a_diagonal_is_one_axis_along_the_line(gradual):
    """Speed min V_k/|u_k| or the feed, acceleration min A_k/|u_k|, jerk along the path, as one axis."""
    rng = np.random.default_rng(20)
    ours, theirs = [], []
    for _ in range(CASES):
        distance, _, _, jerk = one_move(rng)
        jerk = jerk if gradual else math.inf
        u, speed, acceleration = direction(rng), rng.uniform(20, 500, 3), rng.uniform(50, 5000, 3)
        feed = 10 ** rng.uniform(0.5, 3)
        travels = u != 0
        along = [min(q[travels] / np.abs(u[travels])) for q in (speed, acceleration)]
        m = machine(tuple(speed), tuple(acceleration), jerk=jerk)
        ours.append(machine_time(polyline([(0, 0, 0), distance * u], feed=60 * feed), m).total_s)
        theirs.append(ruckig_seconds(distance, min(along[0], feed), along[1], jerk))
    same(ours, theirs)


def test_diagonals_whose_axes_are_free_of_each_other_are_a_lower_bound():
    """Our axes keep to the line. Each of them stays within its limits, so no axis by itself is slower: ratio >= 1.

    Equal where one axis binds both speed and acceleration, for then that axis runs as it would alone (and where the
    speed is never reached, where the axis with the weakest A_k/|u_k| does not reach its own either). Else, with axis i
    binding the speed v and axis j the acceleration a, and d = a = 1: ours takes 1/v + v, axis i at least 1/v, axis j
    at least 2; the ratio is at most 5/4, at v = 1/2.
    """
    rng = np.random.default_rng(30)
    ours, theirs, alike = [], [], []
    for _ in range(4 * CASES):
        distance = 10 ** rng.uniform(-2, 3.301)
        u, speed, acceleration = direction(rng), rng.uniform(20, 500, 3), rng.uniform(50, 5000, 3)
        if rng.random() < 0.3:
            acceleration = speed * rng.uniform(2, 20)  # the same axis binds both
        with np.errstate(divide="ignore"):
            by_speed, by_acceleration = speed / np.abs(u), acceleration / np.abs(u)
        alike.append(by_speed.argmin() == by_acceleration.argmin())
        ours.append(
            machine_time(polyline([(0, 0, 0), distance * u]), machine(tuple(speed), tuple(acceleration))).total_s
        )
        theirs.append(ruckig_seconds(distance * u, speed, acceleration))
    ratio, alike = np.array(ours) / theirs, np.array(alike)
    assert min(alike.sum(), (~alike).sum()) >= 200
    assert np.abs(ratio[alike] - 1).max() <= SAME
    assert ratio.min() >= 1 - SAME
    assert ratio.max() <= 1.25 + SAME
    assert ratio.max() > 1.1  # the difference is really there


@pytest.mark.parametrize("gradual", [False, True], ids=["no jerk limit", "jerk limit"])
def test_programs_with_rests_are_sums_of_moves(gradual):
    """Strokes between exact stops, dwells and sharp turns back; each stroke in one to five collinear pieces."""
    rng = np.random.default_rng(40)
    ours, theirs = [], []
    for _ in range(CASES):
        jerk = one_move(rng)[3] if gradual else math.inf
        speed, acceleration = rng.uniform(20, 500, 3), rng.uniform(50, 5000, 3)
        parts, at, seconds = [], np.zeros(3), 0.0
        for _ in range(int(rng.integers(1, 6))):
            u, distance, feed = direction(rng), 10 ** rng.uniform(-1, 2.5), 10 ** rng.uniform(0.5, 3)
            cuts = np.sort(np.concatenate([[0, 1], rng.random(int(rng.integers(0, 5)))]))
            stroke = polyline(at + np.outer(cuts, distance * u), feed=60 * feed)
            travels = u != 0
            along = [min(q[travels] / np.abs(u[travels])) for q in (speed, acceleration)]
            seconds += ruckig_seconds(distance, min(along[0], feed), along[1], jerk)
            at = stroke.points[-1]
            if rng.random() < 0.5:
                stops = stroke.exact_stop.copy()
                stops[-1] = True
                parts.append(replace(stroke, exact_stop=stops))
            else:
                rest = rng.uniform(0.0, 2.0)
                parts += [stroke, from_lists([at, at], [Kind.DWELL], value=[rest])]
                seconds += rest
        ours.append(machine_time(join(parts), machine(tuple(speed), tuple(acceleration), jerk=jerk)).total_s)
        theirs.append(seconds)
    same(ours, theirs)


RULES = [
    {"corner": "tolerance", "corner_tolerance": 0.05},
    {"corner": "speed_jump", "corner_speed_jump": (9.0, 6.0, 3.0)},
    {"corner": "tolerance", "corner_tolerance": 0.05, "look_ahead": 7},
    {},
]


@pytest.mark.parametrize("rule", RULES)
def test_every_move_between_its_two_speeds_takes_the_least_time(rule):
    """Random walks without jerk: the speeds at both ends are the plan's, the time between them is ruckig's."""
    rng = np.random.default_rng(50)
    ours, theirs = [], []
    for _ in range(20):
        speed, acceleration = rng.uniform(20, 500, 3), rng.uniform(50, 5000, 3)
        moves = random_walk(rng, 15)
        time = machine_time(moves, machine(tuple(speed), tuple(acceleration), **rule))
        for i, step in enumerate(np.diff(moves.points, axis=0)):
            length = float(np.linalg.norm(step))
            with np.errstate(divide="ignore"):
                top, push = (float(np.min(q * length / np.abs(step))) for q in (speed, acceleration))
            top = np.fmin(top, moves.feed[i] / 60)
            before, after = min(top, time.entry[i]), min(top, time.exit[i])
            ours.append(time.seconds[i])
            # a move that only speeds up is just long enough; a hair too short, and ruckig would turn back first
            theirs.append(ruckig_seconds(length, top, push * (1 + 1e-9), before=before, after=after))
    same(ours, theirs)


def ramp_length(low, high, acceleration, jerk):
    """Way of a jerk-limited change of speed (closed form) [mm]."""
    change = abs(high - low)
    never = 2 * np.sqrt(change / jerk)  # when it does not reach the acceleration
    ramp = np.where(change * jerk >= acceleration**2, change / acceleration + acceleration / jerk, never)
    return (low + high) / 2 * ramp


def test_gradual_humps_between_corners_take_the_least_time():
    """Zigzags under jerk: between two corners at which the speed dips and acceleration is nought, a move is ruckig's,
    as long as it is long enough for the gradual change from one corner's speed to the other's."""
    rng = np.random.default_rng(60)
    ours, theirs = [], []
    while len(ours) < CASES:
        speed, acceleration, jerk = rng.uniform(50, 400), rng.uniform(200, 3000), 10 ** rng.uniform(3.5, 5.5)
        legs = 10 ** rng.uniform(0.5, 2.3, 6)
        turns = np.cumsum(rng.choice([-1, 1], 6) * rng.uniform(0.6, 2.6, 6))
        steps = legs[:, None] * np.stack([np.cos(turns), np.sin(turns), 0 * turns], axis=1)
        points = np.concatenate([np.zeros((1, 3)), np.cumsum(steps, axis=0)])
        rule = {"corner": "tolerance", "corner_tolerance": 10 ** rng.uniform(-2.3, -0.7)}
        time = machine_time(polyline(points), machine(speed, acceleration, jerk=jerk, **rule))
        if (ramp_length(time.entry, time.exit, math.inf, jerk) > legs).any():
            continue  # too short for the speeds at its ends: it is planned as one with its neighbours
        for i, step in enumerate(steps):
            along = legs[i] / np.abs(step).max()  # equal axes: one factor for speed and acceleration
            v0, v1, a = float(time.entry[i]), float(time.exit[i]), acceleration * along
            dips = time.peak[i] > max(v0, v1) * (1 + 1e-6)
            if dips and ramp_length(v0, v1, a, jerk) < legs[i]:
                ours.append(time.seconds[i])
                theirs.append(ruckig_seconds(legs[i], speed * along, a, jerk, v0, v1))
    same(ours, theirs)


def test_neighbouring_strokes_never_beat_their_moves_alone():
    """A program with corners taken at speed is no slower than with a stop at each, and no faster than one axis over
    the whole length at the greatest speed and acceleration of any of its moves."""
    rng = np.random.default_rng(70)
    for case in range(CASES):
        speed, acceleration = rng.uniform(20, 500, 3), rng.uniform(50, 5000, 3)
        moves = random_walk(rng, int(rng.integers(2, 12)))
        time = machine_time(moves, machine(tuple(speed), tuple(acceleration), **RULES[case % len(RULES)])).total_s
        each, best_speed, best_push = 0.0, 0.0, 0.0
        for (before, after), feed in zip(itertools.pairwise(moves.points), moves.feed, strict=True):
            step = after - before
            length = float(np.linalg.norm(step))
            with np.errstate(divide="ignore"):
                top, push = (float(np.min(q * length / np.abs(step))) for q in (speed, acceleration))
            top = float(np.fmin(top, feed / 60))
            each += ruckig_seconds(length, top, push)
            best_speed, best_push = max(best_speed, top), max(best_push, push)
        assert time <= each * (1 + SAME), case
        assert time >= ruckig_seconds(moves.lengths.sum(), best_speed, best_push) * (1 - SAME), case
