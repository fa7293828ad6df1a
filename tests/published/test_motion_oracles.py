"""Motion against published or independently computed figures.

Sources: closed forms of the trapezoid and the jerk-limited ramp; the time-optimal libraries ruckig and toppra, run
again here and not only quoted (over generated cases in tests/properties/test_motion_against_ruckig.py and
test_motion_against_toppra.py); Jeon (2011) for the corner speed from a tolerated deviation.
"""

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from motion_cases import machine, polyline
from toppra_paths import helix, straight, toppra_seconds

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


def ruckig_seconds(distance: float, speed: float, acceleration: float, jerk: float) -> float:
    """One axis from rest to rest by ruckig."""
    ruckig = pytest.importorskip("ruckig")
    problem = ruckig.InputParameter(1)
    problem.current_position, problem.target_position = [0.0], [distance]
    problem.max_velocity, problem.max_acceleration = [speed], [acceleration]
    if math.isfinite(jerk):
        problem.max_jerk = [jerk]
    answer = ruckig.Trajectory(1)
    ruckig.Ruckig(1).calculate(problem, answer)
    return answer.duration


def test_toppra_gives_the_figures_that_are_quoted():
    """WE40, WE46 and WE47 run again: 1.2 s and 1.0 s, both sides; the circle of radius 10 in 1.0102 s."""
    assert toppra_seconds(straight([100, 0, 0]), 100, 500) == pytest.approx(1.2, abs=1e-5)
    assert toppra_seconds(straight([60, 80, 0]), 100, 500) == pytest.approx(1.0, abs=1e-5)
    assert toppra_seconds(helix(10, 0, 2 * math.pi), 100, 500, grid=3201) == pytest.approx(1.01029, abs=2e-4)


def test_ruckig_gives_the_figures_that_are_quoted():
    """Every row of the motion oracles by ruckig itself."""
    with TABLE.open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            given = (float(row[k]) for k in ("distance_mm", "v_max_mm_s", "a_max_mm_s2", "j_max_mm_s3"))
            assert ruckig_seconds(*given) == pytest.approx(float(row["duration_s"]), abs=6e-7), row
