"""The motion engine against closed forms and against plain loops over the same definitions."""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from motion_cases import machine, plain_seconds, polyline, random_walk

from shopcalc.machines import Axis
from shopcalc.motion import CAUSES, HELD_BACK, Timing, corner_speed_squared, machine_time
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
    alike = machine_time(polyline([(0, 0, 0), (9, 0, 0), (0, 0, 0), (9, 0, 0)]), machine(corner="stop"))
    assert [i for i, _ in alike.slowest_places(2)] == [0, 1]  # of equals those that come first


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


def held(time):
    """What set the time of each move, in words."""
    return [HELD_BACK[h] for h in time.held_back]


@pytest.mark.parametrize(("known", "rate"), [(5, math.inf), (40, math.inf), (40, 60.0), (1, 20.0), (500, math.inf)])
def test_raster_lines_of_chords_under_look_ahead_and_block_rate(known, rate):
    """Lines of n chords of length c with a full stop at each end, never as fast as the axes allow.

    At junction i of a line the machine has sped up over i chords, and must be able to stop within the N - 1 chords it
    knows and within the n - i that are left: v_i^2 = 2 a c min(i, N - 1, n - i). Between two junctions the chord is
    the triangle peak^2 = (v_i^2 + v_(i+1)^2)/2 + a c, so t_i = (2 peak - v_i - v_(i+1))/a: at both ends of the line
    that is one straight ramp, in the middle, at even junction speeds, up and down again. No chord takes less than 1/B.
    """
    a, c, n, lines = 500.0, 0.2, 150, 4
    points = [(c * i if k % 2 == 0 else c * (n - i), 0.0, 0.0) for k in range(lines) for i in range(k > 0, n + 1)]
    moves = polyline(points)
    moves = replace(moves, exact_stop=np.arange(1, len(moves) + 1) % n == 0)
    time = machine_time(moves, machine(1e6, a, look_ahead=known, blocks_per_second=rate))
    squares = [2 * a * c * min(i, known - 1, n - i) for i in range(n + 1)]
    chords = []
    for v2, w2 in itertools.pairwise(squares):
        peak = math.sqrt((v2 + w2) / 2 + a * c)
        chords.append(max((2 * peak - math.sqrt(v2) - math.sqrt(w2)) / a, 1 / rate))
    assert time.total_s == pytest.approx(lines * sum(chords), rel=1e-9)
    timing = Timing(machine(1e6, a, look_ahead=known, blocks_per_second=rate), window=30)
    for begin in range(0, len(moves), 37):
        timing.add(moves.part(begin, min(len(moves), begin + 37)))
    assert timing.finish().total_s == pytest.approx(lines * sum(chords), rel=1e-9)


@pytest.mark.parametrize("pieces", [1, 3, 50, 4000])
def test_a_line_in_pieces_keeps_its_closed_form_under_jerk(pieces):
    """T = d/v + v/a + a/J however many pieces make the line: long even stretches are cut without a loss."""
    points = np.linspace(0, 1, pieces + 1)[:, None] * [1000, 0, 0]
    time = machine_time(polyline(points), machine(100.0, 500.0, jerk=5000.0))
    assert time.total_s == pytest.approx(10 + 0.2 + 0.1, rel=1e-9)
    timing = Timing(machine(100.0, 500.0, jerk=5000.0), window=100)
    timing.add(polyline(points))
    assert timing.finish().total_s == pytest.approx(10.3, rel=1e-9)


def test_a_short_line_under_jerk_never_reaches_its_acceleration():
    """Up and down in one: d = 2 v_top sqrt(v_top/J), so with T = 4 sqrt(v_top/J): T = 4 (d / (2 J))^(1/3)."""
    d, jerk = 0.5, 1000.0
    time = machine_time(polyline([(0, 0, 0), (d, 0, 0)]), machine(1e6, 1e6, jerk=jerk))
    assert time.total_s == pytest.approx(4 * (d / (2 * jerk)) ** (1 / 3), rel=1e-9)


# ---- bends of fine chords


def chords(radius, chord, turns=1.0, begin=0.0):
    """Chords of a circle about the origin."""
    angle = begin + np.linspace(0, 2 * np.pi * turns, max(8, round(2 * np.pi * turns * radius / chord)) + 1)
    return np.stack([radius * np.cos(angle), radius * np.sin(angle), 0 * angle], axis=1)


def test_shared_acceleration_on_chords_agrees_with_toppra_on_the_circle():
    """WE47: toppra takes 1.01029 s for a circle of radius 10 from rest to rest under 500 mm/s2 per axis."""
    m = machine(1000.0, corner="tolerance", corner_tolerance=0.05, chord_curvature="share")
    assert machine_time(polyline(chords(10, 0.1)), m).total_s == pytest.approx(1.01029, rel=0.01)


@pytest.mark.parametrize("rule", ["speed", "share"])
@pytest.mark.parametrize("radius", [0.1, 0.3, 0.6, 2.0])
def test_a_bend_tighter_than_the_joined_chords_is_still_one(radius, rule):
    """Chords of a fiftieth of the radius turn by little each, but joined to 0.3 mm by up to half a turn and more: k = d
    over the mean chord is 1/r all the same, so the speed stays below 2^(1/4) sqrt(A r) (diagonal places), and below
    1.07 times that between bends that lie up to 57 degrees apart (their sizes, axis by axis, change evenly)."""
    m = machine(1000.0, corner="tolerance", corner_tolerance=0.05, chord_curvature=rule)
    time = machine_time(polyline(chords(radius, radius / 50, turns=6)), m)
    middle = slice(len(time.peak) // 4, 3 * len(time.peak) // 4)
    assert math.sqrt(500 * radius) * 0.95 < time.peak[middle].max() < math.sqrt(500 * radius) * 1.28
    assert {"bend of fine chords", "acceleration, short between corners"} >= set(held(time)[middle])


@pytest.mark.parametrize("rule", ["speed", "share"])
def test_turns_above_30_degrees_stay_corners(rule):
    """An octagon, also of sides far below the joining length: the same time as without the setting."""
    corner = {"corner": "tolerance", "corner_tolerance": 0.05}
    for side in (0.05, 5.0):
        at = np.cumsum([0, *(np.exp(2j * np.pi * k / 8) * side for k in range(24))])
        moves = polyline(np.stack([at.real, at.imag, 0 * at.real], axis=1))
        with_, without = (machine_time(moves, machine(chord_curvature=c, **corner)).total_s for c in (rule, "off"))
        assert with_ == pytest.approx(without, rel=1e-9)


@pytest.mark.parametrize("rule", ["speed", "share"])
def test_noise_of_rounding_is_no_bend(rule):
    """A straight line of 0.02 mm chords with 0.001 mm of rounding across runs as fast as one of chords joined to 0.3 mm
    may: each is off by at most 0.0005 mm at both ends, so k <= 4 x 0.0005 / 0.3^2 and v >= sqrt(A/k)."""
    rng = np.random.default_rng(1)
    x = np.linspace(0, 60, 3001)
    points = np.stack([x, np.round(rng.uniform(-0.0005, 0.0005, len(x)), 3), 0 * x], axis=1)
    points[:, 1] += rng.choice([-0.0005, 0.0005], len(x))
    time = machine_time(polyline(points, feed=6000), machine(1000.0, 5000.0, chord_curvature=rule))
    assert time.peak[1000:2000].min() > min(100, math.sqrt(5000 / (4 * 0.0010 / 0.3**2))) * 0.99


def test_an_s_bend_runs_through_its_inflection():
    """Two half circles of opposite sense: no slower where the bend changes sign, and the same time reversed."""
    one, other = chords(5, 0.1, turns=0.5), chords(5, 0.1, turns=-0.5, begin=np.pi) + np.array([10.0, 0, 0])
    path = np.concatenate([one[::-1], other[1:]])
    m = machine(1000.0, chord_curvature="share")
    time, back = machine_time(polyline(path), m), machine_time(polyline(path[::-1]), m)
    assert time.total_s == pytest.approx(back.total_s, rel=1e-3)  # chords are joined from the other end
    middle = len(one) - 1
    assert time.exit[middle - 1] >= time.exit[middle - 40 : middle + 40].min()


def test_a_line_slows_down_for_the_curve_it_leads_into():
    """A long line, then tangent chords of radius 4: the curve's speed is reached by braking on it."""
    line = [(4, -60 + 2.0 * i, 0) for i in range(30)]
    path = np.concatenate([line, chords(4, 0.1, turns=0.5)])
    time = machine_time(polyline(path, feed=9000), machine(1000.0, chord_curvature="share"))
    assert time.peak[:29].max() > 140
    assert time.exit[33] == pytest.approx(math.sqrt(500 * 4), rel=0.05)  # the first joined chord is behind it


# ---- what held it back


def test_what_held_each_move_back_is_named():
    m = machine((100.0, 50.0, 20.0), corner="stop")
    assert held(machine_time(polyline([(0, 0, 0), (9000, 0, 0)], feed=3000), m)) == ["asked feed"]
    assert held(machine_time(polyline([(0, 0, 0), (0, 0, -900)], feed=6000), m)) == ["speed of an axis"]
    assert held(machine_time(polyline([(0, 0, 0), (5, 0, 0)], feed=6000), m)) == ["acceleration, short between corners"]
    assert held(machine_time(polyline([(0, 0, 0), (50, 0, 0)], feed=6000), m)) == ["full stop"]
    assert held(machine_time(polyline([(0, 0, 0), (9, 0, 0)], feed=math.nan), m)) == ["unknown feed"]
    stand = from_lists([(0, 0, 0)] * 2, [Kind.DWELL], value=[1.0])
    assert held(machine_time(stand, m)) == ["standing"]
    arc = from_lists([(10, 0, 0)] * 2, [Kind.ARC], feed=60_000, arcs={0: ((0, 0, 0), 40 * math.pi, 0)})
    assert held(machine_time(arc, machine(1000.0))) == ["arc"]
    jerky = machine_time(polyline([(0, 0, 0), (20, 0, 0)], feed=6000), machine(jerk=300.0))
    assert held(jerky) == ["jerk"]
    blocks = machine_time(polyline([(0.01 * i, 0, 0) for i in range(9)]), machine(1e4, 1e7, blocks_per_second=10.0))
    assert held(blocks) == ["block rate"] * 8
    ahead = machine_time(polyline([(i, 0, 0) for i in range(99)], feed=60_000), machine(1e4, look_ahead=4))
    assert held(ahead)[40:60] == ["moves known ahead"] * 20


def test_a_corner_is_named_at_the_end_it_lies_at():
    """Two long lines that meet at right angles, with stops far away: 200 mm/s, down to the corner and up again."""
    points = [(0, 0, 0), (1000, 0, 0), (1000, 1000, 0)]
    m = machine(200.0, 100.0, corner="speed_jump", corner_speed_jump=(1.0,) * 3)
    run = polyline([(-1000, 0, 0), *points, (1000, 2000, 0)], feed=12_000)
    assert held(machine_time(run, m))[1:3] == ["corner at its end", "corner at its start"]


def test_causes_tell_corners_from_stops_and_waiting():
    """A zigzag of n legs L under full stops at its two ends and corner speed v: the closed form of each share.

    A ramp between v and the feed F loses (F - v)^2 / (2 a F) against F; there are two in each leg.
    """
    legs, length, feed, jump, a = 12, 60.0, 100.0, 10.0, 500.0
    points = [(0, 0, 0)]
    for k in range(legs):
        x, y, _ = points[-1]
        points.append((x + length, y, 0) if k % 2 == 0 else (x, y + length, 0))
    m = machine(1000.0, a, corner="speed_jump", corner_speed_jump=(jump,) * 3, blocks_per_second=0.5)
    time = machine_time(polyline(points, feed=60 * feed), m)
    causes = time.causes()
    assert causes["corners"] == pytest.approx((2 * legs - 2) * (feed - jump) ** 2 / (2 * a * feed))
    assert causes["starts and stops"] == pytest.approx(2 * feed / (2 * a))
    assert causes["cutting at the asked feed"] == pytest.approx(legs * length / feed)
    assert causes["waiting for blocks"] == pytest.approx(
        2.0 * legs - sum(v for k, v in causes.items() if "wait" not in k)
    )
    assert list(causes) == [c for c in CAUSES if c in causes]


def test_time_by_depth_is_that_of_the_levels():
    """Three levels of one square; each level lies in the band above its height."""
    points, levels = [(0, 0, 0)], (-1.0, -2.0, -3.0)
    for z in levels:
        points += [(0, 0, z), (10, 0, z), (10, 10, z), (0, 10, z), (0, 0, z)]
    time = machine_time(polyline(points, feed=3000), machine(corner="stop"))
    bands = time.by_depth(1.0)
    assert [(b.low, b.high) for b in bands] == [(z, z + 1) for z in levels]
    assert [b.length for b in bands] == [pytest.approx(41.0)] * 3
    assert len({round(b.seconds, 9) for b in bands}) == 1
    assert sum(b.seconds for b in bands) == pytest.approx(time.total_s)
    below, above = time.by_depth([-1.5])[::-1]
    assert (below.low, below.high, above.low, above.high) == (-math.inf, -1.5, -1.5, math.inf)
    assert below.length == pytest.approx(82)
    edges = time.by_depth([-3.0, -2.0])  # a height just at an edge lies in the band above
    assert [(b.low, b.high) for b in edges] == [(-2.0, math.inf), (-3.0, -2.0)]
    assert [b.length for b in edges] == [pytest.approx(82.0), pytest.approx(41.0)]
    assert [b.lost for b in bands] == [pytest.approx(b.seconds - b.length / 50) for b in bands]
    with pytest.raises(ValueError, match="make them higher"):
        time.by_depth(1e-6)


# ---- the way to the cutters, further axes


def test_a_cutter_change_costs_the_way_there_and_back():
    """Rapids of 100, 100 and 50 mm/s under 500 mm/s2: up 40 (40/50 + 50/500), across (60, 80) at 125 mm/s under 625
    (100/125 + 125/625), down 10 (a triangle: 2 sqrt(10/500)... it reaches 50 mm/s: 10/50 + 50/500)."""
    change = from_lists([(0, 0, 10)] * 2, [Kind.CHANGE], value=[2])
    m = machine((100.0, 100.0, 50.0))
    near = replace(
        m, times=replace(m.times, change_place=(160.0, 180.0, 140.0)), work_zeros={54: (100.0, 100.0, 100.0)}
    )
    assert machine_time(change, m).total_s == 30
    up, across, down = 30 / 50 + 0.1, 100 / 125 + 0.2, 0.0
    assert machine_time(change, near).total_s == pytest.approx(30 + 2 * (up + across + down), rel=1e-12)
    low = replace(near, times=replace(near.times, change_place=(160.0, 180.0, 100.0)))  # 10 mm below the cutter
    assert machine_time(change, low).total_s == pytest.approx(30 + 2 * (across + 10 / 50 + 0.1), rel=1e-12)
    assert machine_time(change, replace(near, work_zeros={})).change_time_s == 30
    timing = Timing(near)
    timing.add(change)
    assert timing.finish().change_time_s == pytest.approx(30 + 2 * (up + across), rel=1e-12)


def with_axes(points, feed, **extra):
    """Lines with positions of further axes."""
    moves = polyline(points, feed=feed)
    return replace(moves, extra={k: np.asarray(v, dtype=float) for k, v in extra.items()})


def further(m, **axes):
    return replace(m, more_axes={k: Axis(60 * v, 60 * v, a) for k, (v, a) in axes.items()})


def test_a_turn_alone_takes_its_degrees_over_the_feed():
    """NISTIR 6556, 2.1.2.5: where only a rotary axis moves F counts degrees: 360 deg at 1800 deg/min, 30 deg/s."""
    turn = with_axes([(0, 0, 0)] * 2, 1800, A=[0, 360])
    m = further(machine(), a=(200.0, 100.0))
    assert machine_time(turn, m).total_s == pytest.approx(360 / 30 + 30 / 100)
    slow = further(machine(), a=(20.0, 100.0))
    assert machine_time(turn, slow).total_s == pytest.approx(360 / 20 + 20 / 100)
    assert held(machine_time(turn, slow)) == ["speed of an axis"]
    both = with_axes([(0, 0, 0)] * 2, 1800, A=[0, 30], B=[0, 40])
    assert machine_time(both, machine()).total_s == pytest.approx(50 / 30)
    assert machine_time(turn, m).totals.cutting_length == 0


def test_lengths_go_before_degrees():
    """x with a: the feed counts along x, and a turns along; u with a: along u. The slowest axis sets the pace."""
    m = further(machine(math.inf, math.inf), a=(90.0, math.inf), u=(math.inf, math.inf))
    wrapped = with_axes([(0, 0, 0), (100, 0, 0)], 6000, A=[0, 180])
    assert machine_time(wrapped, m).total_s == pytest.approx(180 / 90)
    assert machine_time(with_axes([(0, 0, 0), (100, 0, 0)], 600, A=[0, 9]), m).total_s == pytest.approx(100 / 10)
    assert machine_time(with_axes([(0, 0, 0)] * 2, 600, U=[0, 50], A=[0, 360]), m).total_s == pytest.approx(5)
    assert machine_time(with_axes([(0, 0, 0)] * 2, 60, U=[0, 50], A=[0, 360]), m).length[0] == 50


def test_the_machine_stops_where_the_feed_changes_what_it_counts():
    moves = with_axes([(0, 0, 0), (50, 0, 0), (50, 0, 0), (100, 0, 0)], 3000, A=[0, 0, 90, 90])
    time = machine_time(moves, further(machine(), a=(360.0, 1000.0)))
    assert time.exit[:2].tolist() == [0, 0]
    assert (time.seconds > 0).all()


def test_a_corner_of_a_further_axis_slows_the_tip():
    """The tip runs straight on, but a begins to turn by 0.5 deg/mm: d is that alone, so a_n is the axis' own A."""
    straight = [(0, 0, 0), (100, 0, 0), (200, 0, 0)]
    m = further(machine(1000.0, corner="tolerance", corner_tolerance=0.05), a=(1e6, 800.0))
    even = machine_time(with_axes(straight, 60_000, A=[0, 50, 100]), m)
    kinked = machine_time(with_axes(straight, 60_000, A=[0, 0, 50]), m)
    d = 0.5
    h = math.sqrt(1 - d * d / 4)
    assert kinked.exit[0] ** 2 == pytest.approx(800 * 0.05 * h / (1 - h))
    assert even.exit[0] > kinked.exit[0]
    unlimited = machine_time(
        with_axes(straight, 60_000, A=[0, 0, 50]), machine(1000.0, corner="tolerance", corner_tolerance=0.05)
    )
    assert unlimited.exit[0] == pytest.approx(even.exit[0])
    jump = further(machine(1000.0, corner="speed_jump", corner_speed_jump=(1.0,) * 3), a=(1e6, 800.0))
    assert machine_time(with_axes(straight, 60_000, A=[0, 0, 50]), jump).exit[0] > 50


def test_a_further_axis_that_stands_changes_nothing():
    rng = np.random.default_rng(8)
    moves = random_walk(rng, 200)
    m = further(machine(corner="tolerance", corner_tolerance=0.02, look_ahead=9, jerk=9000.0), a=(1.0, 1.0))
    still = replace(moves, extra={"A": np.full(201, 30.0)})
    np.testing.assert_allclose(machine_time(still, m).seconds, machine_time(moves, m).seconds, rtol=1e-12)
    turning = replace(moves, extra={"A": rng.normal(size=201).cumsum()})
    timing = Timing(m, window=7)
    for begin in range(0, 200, 11):
        timing.add(turning.part(begin, min(200, begin + 11)))
    assert timing.finish().total_s == pytest.approx(machine_time(turning, m).total_s, rel=1e-9)
    assert machine_time(turning, m).total_s > machine_time(moves, m).total_s * 1.5


def test_corner_speeds_know_any_number_of_axes():
    """A right angle in x and y under the rule of a tolerance: R = D h/(1 - h) with h = sqrt(1/2), across both axes."""
    rule = machine(corner="tolerance", corner_tolerance=0.1).controller
    before, after = np.array([[1.0, 0, 0, 0], [1, 0, 0, 0]]), np.array([[0.0, 1, 0, 0], [1, 0, 0, 0]])
    h = math.sqrt(0.5)
    got = corner_speed_squared(before, after, rule, np.array([500.0, 500, 500, 1]))
    assert got.tolist() == [pytest.approx(500 * math.sqrt(2) * 0.1 * h / (1 - h)), math.inf]
    turned = corner_speed_squared(
        before[1:], before[1:] + np.array([0, 0, 0, 0.3]), rule, np.array([500.0, 500, 500, 7])
    )
    half = math.sqrt(1 - 0.09 / 4)
    assert turned[0] == pytest.approx(7 * 0.1 * half / (1 - half))


def test_a_program_of_one_line_streams():
    timing = Timing(machine())
    timing.add(from_lists([(0, 0, 0)], []))
    timing.add(polyline([(0, 0, 0), (100, 0, 0)], feed=6000))
    totals = timing.finish()
    assert totals.total_s == pytest.approx(1.2)
    assert totals.slowest_places()[0].held_back == "full stop"
    assert totals.extents.tolist() == [[0, 100], [0, 0], [0, 0]]
