"""Motion against published or independently computed figures.

Sources: closed forms of the trapezoid and the jerk-limited ramp; the time-optimal libraries ruckig and toppra, run
again here and not only quoted; Jeon (2011) for the corner speed from a tolerated deviation.
"""

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from motion_cases import machine, polyline

from shopcalc.motion import machine_time
from shopcalc.moves import Kind, from_lists

ROWS = ["WE40", "WE41", "WE42", "WE44", "WE46", "WE47", "motion_oracles"]
TABLE = Path(__file__).parents[2] / "shared" / "motion_oracles.csv"


def rest_to_rest(distance: float, speed: float, acceleration: float, jerk: float = math.inf) -> float:
    """Seconds of one straight move on x."""
    return machine_time(polyline([(0, 0, 0), (distance, 0, 0)]), machine(speed, acceleration, jerk=jerk)).total_s


def test_every_row_of_the_motion_oracles():
    """Printed with six decimals, so half of the last one."""
    with TABLE.open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) >= 12
    for row in rows:
        given = (float(row[k]) for k in ("distance_mm", "v_max_mm_s", "a_max_mm_s2", "j_max_mm_s3"))
        assert rest_to_rest(*given) == pytest.approx(float(row["duration_s"]), abs=6e-7), row


@pytest.mark.parametrize(
    ("distance", "speed", "acceleration", "jerk", "seconds"),
    [(100, 100, 500, math.inf, 1.2), (10, 100, 500, math.inf, 0.282843), (20, 100, 500, math.inf, 0.4),
     (100, 100, 500, 5000, 1.3), (1000, 250, 1000, 20000, 4.3)],
)  # fmt: skip
def test_closed_forms_of_one_move(distance, speed, acceleration, jerk, seconds):
    """WE40 trapezoid and triangle, WE41 and WE42 T = d/v + v/a + a/j."""
    assert rest_to_rest(distance, speed, acceleration, jerk) == pytest.approx(seconds, abs=6e-7)


@pytest.mark.parametrize(
    ("included", "speed"), [(90, 4.9135), (120, 8.0400), (135, 11.0168), (150, 16.8368), (170, 51.1655)]
)
def test_corner_speed_from_tolerated_deviation(included, speed):
    """WE44: a 500 mm/s2, deviation 0.02 mm. The legs lie so that the corner's bisector is an axis, because the
    published form knows one acceleration and ours asks each axis."""
    half = math.radians(included / 2)
    leg = np.array([math.sin(half), -math.cos(half), 0.0])
    points = [-100 * leg * [1, -1, 1], (0, 0, 0), 100 * leg * [1, 1, 1]]
    points[0], points[2] = np.array([-100 * leg[0], 100 * leg[1], 0]), np.array([100 * leg[0], 100 * leg[1], 0])
    time = machine_time(polyline(points), machine(corner="tolerance", corner_tolerance=0.02))
    assert time.exit[0] == pytest.approx(speed, abs=1e-4)


def test_diagonal_move_under_limits_per_axis():
    """WE46: (60, 80) mm with 100 mm/s and 500 mm/s2 per axis takes 1.0 s."""
    assert machine_time(polyline([(0, 0, 0), (60, 80, 0)]), machine()).total_s == pytest.approx(1.0, abs=1e-6)


def test_full_circle_is_slower_than_the_box_of_the_axes_allows():
    """WE47: toppra takes 1.01029 s for a circle of radius 10. It lets each axis use its whole 500 mm/s2 at every
    place; our arc keeps centripetal and tangential acceleration within the axis one by one: 1.0300 s, 2 % slower."""
    circle = from_lists([(10, 0, 0)] * 2, [Kind.ARC], feed=60_000, arcs={0: ((0, 0, 0), 2 * math.pi, 0)})
    ours = machine_time(circle, machine()).total_s
    v = math.sqrt(500 * 10)
    assert ours == pytest.approx(2 * math.pi * 10 / v + v / 500, abs=1e-9)
    assert 1.01029 < ours < 1.01029 * 1.02


@pytest.mark.parametrize("seed", range(60))
def test_ruckig_agrees_on_straight_moves(seed):
    """One axis from rest to rest, half of the cases with a jerk limit: same model, so 1e-6."""
    ruckig = pytest.importorskip("ruckig")
    rng = np.random.default_rng(seed)
    distance, speed, acceleration = 10 ** rng.uniform(-0.5, 3), 10 ** rng.uniform(1, 2.7), 10 ** rng.uniform(2, 3.5)
    jerk = 10 ** rng.uniform(3, 5.5) if seed % 2 else math.inf
    problem = ruckig.InputParameter(1)
    problem.current_position, problem.target_position = [0.0], [distance]
    problem.max_velocity, problem.max_acceleration = [speed], [acceleration]
    if math.isfinite(jerk):
        problem.max_jerk = [jerk]
    answer = ruckig.Trajectory(1)
    ruckig.Ruckig(1).calculate(problem, answer)
    assert rest_to_rest(distance, speed, acceleration, jerk) == pytest.approx(answer.duration, rel=1e-6)


@pytest.fixture(scope="module")
def toppra_seconds():
    """Time of a path q(s) under limits per axis by toppra; its log is not ours to read."""
    toppra = pytest.importorskip("toppra")
    import toppra.algorithm as algorithm
    import toppra.constraint as constraint

    toppra.setup_logging("ERROR")

    def seconds(knots, points, speed, acceleration, grid):
        path = toppra.SplineInterpolator(knots, points)
        limits = [
            constraint.JointVelocityConstraint(np.stack([-np.asarray(speed), speed], axis=1)),
            constraint.JointAccelerationConstraint(np.stack([-np.asarray(acceleration), acceleration], axis=1)),
        ]
        plan = algorithm.TOPPRA(limits, path, gridpoints=grid, parametrizer="ParametrizeConstAccel")
        return plan.compute_trajectory(0, 0).duration

    return seconds


@pytest.mark.parametrize("seed", range(50))
def test_toppra_agrees_on_straight_diagonals(seed, toppra_seconds):
    """Straight moves in space under different limits per axis: same model; its grid costs up to 1e-3."""
    rng = np.random.default_rng(seed)
    step = rng.normal(size=3) * 10 ** rng.uniform(0.5, 2.5)
    speed, acceleration = rng.uniform(30, 400, 3), rng.uniform(100, 2000, 3)
    theirs = toppra_seconds([0, 1], np.array([np.zeros(3), step]), speed, acceleration, np.linspace(0, 1, 801))
    ours = machine_time(polyline([(0, 0, 0), step]), machine(tuple(speed), tuple(acceleration))).total_s
    assert ours == pytest.approx(theirs, rel=1e-3)


@pytest.mark.parametrize("seed", range(20))
def test_toppra_bounds_our_circles(seed, toppra_seconds):
    """Whole circles: toppra may use both axes fully everywhere (a box), so it is never slower and at most 20 %
    faster: where v is bound by the centripetal term the box gains at most 2^(1/4) in speed."""
    rng = np.random.default_rng(100 + seed)
    radius, speed, acceleration = 10 ** rng.uniform(0.3, 2), rng.uniform(40, 300), rng.uniform(200, 1500)
    angle = np.linspace(0, 2 * np.pi, 241)
    points = np.stack([radius * np.cos(angle), radius * np.sin(angle), 0 * angle], axis=1)
    theirs = toppra_seconds(angle, points, [speed] * 3, [acceleration] * 3, np.linspace(0, 2 * np.pi, 801))
    circle = from_lists([(radius, 0, 0)] * 2, [Kind.ARC], feed=1e6, arcs={0: ((0, 0, 0), 2 * math.pi, 0)})
    ours = machine_time(circle, machine(speed, acceleration)).total_s
    assert theirs * (1 - 2e-3) <= ours <= theirs * 2**0.5
