"""The motion engine against closed forms and against plain loops over the same definitions."""

import math

import numpy as np
import pytest
from motion_cases import machine, plain_seconds, polyline, random_walk

from shopcalc.motion import machine_time
from shopcalc.moves import Kind, Stop, from_lists, join


def test_a_line_from_rest_to_rest_is_a_trapezoid():
    time = machine_time(polyline([(0, 0, 0), (100, 0, 0)], feed=6000), machine())
    assert time.total_s == pytest.approx(100 / 100 + 100 / 500, abs=1e-12)
    assert time.peak[0] == 100
    assert time.entry[0] == time.exit[0] == 0


def test_a_short_line_is_a_triangle():
    assert machine_time(polyline([(0, 0, 0), (10, 0, 0)]), machine()).total_s == pytest.approx(2 * math.sqrt(10 / 500))


def test_cutting_a_straight_line_into_collinear_pieces_changes_nothing():
    whole = machine_time(polyline([(0, 0, 0), (30, 40, 0)]), machine(corner="tolerance", corner_tolerance=0.01))
    pieces = np.linspace(0, 1, 38)[:, None] * [30, 40, 0]
    split = machine_time(polyline(pieces), machine(corner="tolerance", corner_tolerance=0.01))
    assert split.total_s == pytest.approx(whole.total_s, rel=1e-9)


def test_a_zigzag_with_exact_stops_is_the_sum_of_its_legs():
    points = [(0, 0, 0), (50, 0, 0), (50, 2, 0), (0, 2, 0), (0, 4, 0)]
    legs = sum(2 * math.sqrt(d / 500) if d < 20 else d / 100 + 0.2 for d in (50, 2, 50, 2))
    assert machine_time(polyline(points), machine(corner="stop")).total_s == pytest.approx(legs, abs=1e-12)


@pytest.mark.parametrize("sides", [3, 4, 6, 12, 48])
def test_a_polygon_with_corner_tolerance_has_its_closed_form(sides):
    """Legs run from corner speed to corner speed; the axis rule is made direction-free by its own limit."""
    side = 40.0
    at = np.cumsum([np.exp(2j * np.pi * k / sides) * side for k in range(sides)])
    points = [(0, 0, 0), *((z.real, z.imag, 0) for z in at)]
    moves = polyline(points)
    time = machine_time(moves, machine(1000.0, corner="tolerance", corner_tolerance=0.05))
    expected, before = 0.0, 0.0
    for k in range(sides):
        u, w = np.exp(2j * np.pi * k / sides), np.exp(2j * np.pi * (k + 1) / sides)
        a = 500 / max(abs(u.real), abs(u.imag))
        n = (w - u) / abs(w - u)
        half = math.cos(math.pi / sides)
        corner = 500 / max(abs(n.real), abs(n.imag)) * 0.05 * half / (1 - half)
        after = 0.0 if k == sides - 1 else corner
        peak = math.sqrt((before + after) / 2 + a * side)
        expected += (2 * peak - math.sqrt(before) - math.sqrt(after)) / a
        before = after
    assert time.total_s == pytest.approx(expected, rel=1e-9)


def test_an_arc_keeps_its_centripetal_acceleration():
    moves = from_lists([(10, 0, 0), (10, 0, 0)], [Kind.ARC], feed=60_000, arcs={0: ((0, 0, 0), 20 * math.pi, 0)})
    v = math.sqrt(500 * 10)
    time = machine_time(moves, machine(1000.0))
    assert time.peak[0] == pytest.approx(v)
    assert time.total_s == pytest.approx(200 * math.pi / v + v / 500)


def test_a_helix_is_limited_by_its_axial_axis():
    """One turn of radius 3 sinking 4 pi: in-plane share 0.6 x ..., axial axis slow."""
    sink = 8 * math.pi
    moves = from_lists(
        [(3, 0, 0), (3, 0, -sink)], [Kind.ARC], feed=60_000, arcs={0: ((0, 0, 0), 2 * math.pi, 0)}
    )  # in-plane 6 pi, axial 8 pi, path 10 pi
    time = machine_time(moves, machine((1000, 1000, 4), math.inf))
    assert moves.lengths[0] == pytest.approx(10 * math.pi)
    assert time.total_s == pytest.approx(sink / 4)


def test_tangent_lines_and_arcs_run_through():
    """A slot with round ends: no corner at the tangent points, so no stop there."""
    moves = from_lists(
        [(0, 0, 0), (50, 0, 0), (50, 10, 0), (0, 10, 0)],
        [Kind.LINE, Kind.ARC, Kind.LINE],
        feed=1200,
        arcs={1: ((50, 5, 0), math.pi, 0)},
    )
    time = machine_time(moves, machine(corner="tolerance", corner_tolerance=0.01))
    assert np.allclose(time.exit[:2], 20)


def test_standing_moves_take_their_own_time_and_stop_the_machine():
    drill = polyline([(0, 0, 0), (0, 0, -10)], feed=600)
    stand = from_lists(
        [(0, 0, -10)] * 5, [Kind.DWELL, Kind.CHANGE, Kind.STOP, Kind.STOP], value=[0.5, 7, Stop.SPINDLE_START, Stop.END]
    )
    time = machine_time(join([drill, stand]), machine())
    assert time.exit[0] == 0
    assert time.dwell_time_s == pytest.approx(0.5 + 4)
    assert time.change_time_s == 30
    assert time.total_s == pytest.approx(time.cutting_time_s + 34.5)


def test_a_program_without_feed_has_an_unknown_time():
    moves = join(
        [polyline([(0, 0, 0), (10, 0, 0)], kind=Kind.RAPID), polyline([(10, 0, 0), (20, 0, 0)], feed=math.nan)]
    )
    time = machine_time(moves, machine())
    assert math.isnan(time.total_s)
    assert math.isnan(time.cutting_time_s)
    assert time.rapid_time_s > 0


def test_a_machine_without_limits_runs_at_the_programmed_feed():
    m = machine(math.inf, math.inf)
    assert machine_time(polyline([(0, 0, 0), (30, 40, 0), (0, 0, 0)], feed=3000), m).total_s == pytest.approx(2.0)


def test_nothing_takes_no_time():
    assert machine_time(from_lists([(0, 0, 0)], []), machine()).total_s == 0


def test_rapids_wait_for_feed_only_where_the_machine_says_so():
    moves = join([polyline([(0, 0, 0), (50, 0, 0)], kind=Kind.RAPID), polyline([(50, 0, 0), (100, 0, 0)], feed=3000)])
    blended, stopped = (machine_time(moves, machine(stop_between_rapid_and_feed=s)) for s in (False, True))
    assert blended.exit[0] == pytest.approx(50)
    assert stopped.exit[0] == 0
    assert stopped.total_s > blended.total_s


def test_look_ahead_of_one_stops_after_every_move():
    moves = random_walk(np.random.default_rng(3), 40)
    one, stop = (machine_time(moves, machine(**c)).total_s for c in ({"look_ahead": 1}, {"corner": "stop"}))
    assert one == pytest.approx(stop, rel=1e-12)


def test_a_long_raster_under_look_ahead_reaches_only_what_it_can_brake():
    """Chords of 0.1 mm, 51 known: after each move 50 are left to brake in, so v^2 = 2 a 50 L."""
    time = machine_time(polyline([(0.1 * i, 0, 0) for i in range(4001)]), machine(1000.0, look_ahead=51))
    assert time.exit[2000] == pytest.approx(math.sqrt(2 * 500 * 50 * 0.1), rel=1e-9)


def test_block_rate_is_the_least_time_of_a_move():
    time = machine_time(
        polyline([(0.01 * i, 0, 0) for i in range(501)], feed=6000),
        machine(acceleration=math.inf, blocks_per_second=200),
    )
    assert time.total_s == pytest.approx(500 / 200)


def test_causes_add_up_to_the_total():
    moves = random_walk(np.random.default_rng(5), 300)
    m = machine(corner="tolerance", corner_tolerance=0.02, blocks_per_second=40, jerk=5000, look_ahead=20)
    time = machine_time(moves, m)
    assert sum(time.causes().values()) == pytest.approx(time.total_s, rel=1e-9)
    assert sum(time.by_cutter().values()) == pytest.approx(time.total_s, rel=1e-9)


def test_the_slowest_places_are_those_that_lost_most():
    """Of a long and a short stroke at one feed the short one never gets up to speed."""
    points = [(0, 0, 0), (100, 0, 0), (100, 1, 0), (0, 1, 0)]
    time = machine_time(polyline(points, feed=5000), machine(corner="stop"))
    places = time.slowest_places(2)
    assert places[0][1] >= places[1][1] > 0
    assert {i for i, _ in time.slowest_places(9)} == {0, 1, 2}


@pytest.mark.parametrize("seed", range(20))
def test_long_walks_agree_with_plain_loops(seed):
    """Random walks of up to 2600 moves over all corner rules, look-ahead and block rate: same seconds to 1e-9."""
    rng = np.random.default_rng(seed)
    moves = random_walk(rng, int(rng.integers(1, 2600)))
    rule = [
        {},
        {"corner": "stop"},
        {"corner": "tolerance", "corner_tolerance": rng.uniform(0.005, 0.2)},
        {"corner": "speed_jump", "corner_speed_jump": tuple(rng.uniform(2, 30, 3))},
    ][seed % 4]
    if seed % 3 == 0:
        rule["look_ahead"] = int(rng.integers(1, 60))
    if seed % 5 == 0:
        rule["blocks_per_second"] = rng.uniform(20, 500)
    m = machine(tuple(rng.uniform(50, 400, 3)), tuple(rng.uniform(200, 2000, 3)), **rule)
    np.testing.assert_allclose(machine_time(moves, m).seconds, plain_seconds(moves, m), rtol=1e-9)


@pytest.mark.parametrize("radius", [1.0, 3.0, 10.0, 50.0])
def test_chords_of_a_circle_run_at_the_speed_of_its_arc(radius):
    """Fine chords under the curvature setting settle where v^2/r meets the axis acceleration; the corner rule alone
    would let them run faster."""
    angle = np.linspace(0, 6 * np.pi, int(6 * np.pi * radius / 0.05))
    points = np.stack([radius * np.cos(angle), radius * np.sin(angle), 0 * angle], axis=1)
    rule = {"corner": "tolerance", "corner_tolerance": 0.05}
    free = machine_time(polyline(points), machine(1000.0, **rule))
    held = machine_time(polyline(points), machine(1000.0, chord_curvature="speed", **rule))
    middle = slice(len(angle) // 3, 2 * len(angle) // 3)
    arc = math.sqrt(500 * radius)
    slack = 0.01 + 0.02 / radius  # a joined chord of 0.3 mm turns by 17 degrees at 1 mm: no place is quite axis-aligned
    assert arc * (1 - slack) < held.peak[middle].min() < arc * (1 + slack)
    assert held.peak[middle].max() < arc * 1.22  # diagonal places: the box of the axes allows 2^(1/4)
    assert held.total_s >= free.total_s


def test_ripples_of_speed_cost_no_more_under_jerk_than_the_lower_speed():
    points = [(0.05 * i, 0.0005 * (i % 2), 0) for i in range(4000)]
    m = {"corner": "tolerance", "corner_tolerance": 0.02, "look_ahead": 100}
    free, gradual = (machine_time(polyline(points), machine(jerk=j, **m)) for j in (math.inf, 5000.0))
    slowest = free.exit[1000:3000].min()
    assert gradual.total_s < 200 / slowest + 2
