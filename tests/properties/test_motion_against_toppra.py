"""Motion along paths against the library toppra, over generated paths.

toppra lets every axis use its whole speed and acceleration by itself, at every place (a box). Straight lines have the
same model here. Our arcs keep centripetal and tangential acceleration each within the weaker axis instead, so the box
bounds them from both sides. The chords of a curve under "share" stand for the curve that toppra is given.
"""

import math
from dataclasses import replace

import numpy as np
import pytest
from motion_cases import machine, polyline
from scipy.interpolate import CubicSpline
from scipy.optimize import brentq
from scipy.spatial.transform import Rotation
from toppra_paths import ArcLengthPath, helix, smooth, straight, tangent, toppra_seconds

from shopcalc.motion import machine_time
from shopcalc.moves import PLANE_AXES, Kind, from_lists

GRID = 3e-3  # what the grid costs toppra on curves, always on the slow side (1e-3 seen on a circle of 401 steps)
#: Cases a family: some in the ordinary run, all of them by hand (python -m pytest -n 0 -m benchmark).
FEW_OR_MANY = pytest.mark.parametrize("cases", [pytest.param(24), pytest.param(250, marks=pytest.mark.benchmark)])


def limits(rng, spread=1.0):
    """Speeds [mm/s], accelerations [mm/s2] of the axes, the latter within a factor, and a feed [mm/s]."""
    acceleration = 10 ** rng.uniform(2.3, 3.4) * spread ** rng.uniform(-0.5, 0.5, 3)
    return rng.uniform(60, 400, 3), acceleration, 10 ** rng.uniform(1, 2.6)


def within(ratio, low, high):
    ratio = np.asarray(ratio)
    assert np.isfinite(ratio).all()
    assert ratio.min() >= low, f"case {ratio.argmin()}: ratio {ratio.min()}"
    assert ratio.max() <= high, f"case {ratio.argmax()}: ratio {ratio.max()}"


# ---- straight lines


@FEW_OR_MANY
@pytest.mark.parametrize("flat", [True, False], ids=["along one axis", "through space"])
def test_straight_lines_under_limits_per_axis_and_a_feed(cases, flat):
    """The same model: what is left is the step of the grid in which speeding up ends."""
    rng = np.random.default_rng(1)
    ratio = []
    for _ in range(cases):
        speed, acceleration, feed = limits(rng, 10.0)
        step = rng.normal(size=3) * 10 ** rng.uniform(-1, 3)
        if flat:
            step[rng.permutation(3)[:2]] = 0.0
        ours = machine_time(polyline([(0, 0, 0), step], feed=60 * feed), machine(tuple(speed), tuple(acceleration)))
        ratio.append(ours.total_s / toppra_seconds(straight(step), speed, acceleration, feed))
    within(ratio, 1 - 1e-3, 1 + 1e-6)


@FEW_OR_MANY
def test_chains_of_collinear_lines_with_a_feed_each(cases):
    """Rapids and lines of different feeds one behind the other, from rest to rest, without a corner: the two passes
    against toppra with a feed that changes along the path."""
    rng = np.random.default_rng(2)
    ratio = []
    for _ in range(cases):
        speed, acceleration, _ = limits(rng, 10.0)
        pieces = int(rng.integers(2, 9))
        unit = rng.normal(size=3)
        unit /= np.linalg.norm(unit)
        ends = np.concatenate([[0.0], np.cumsum(10 ** rng.uniform(-0.5, 1.8, pieces))])
        feeds = 10 ** rng.uniform(0.7, 2.7, pieces)
        kinds = np.where(rng.random(pieces) < 0.3, Kind.RAPID, Kind.LINE)
        m = machine(tuple(speed), tuple(acceleration))
        m = replace(m, axes=tuple(replace(a, rapid=60 * 1.5 * v) for a, v in zip(m.axes, speed, strict=True)))
        moves = from_lists(np.outer(ends, unit), kinds, feed=60 * feeds)
        fastest = np.where(kinds == Kind.RAPID, 1.5, 1.0) * np.min(speed / np.abs(unit))
        top = np.where(kinds == Kind.RAPID, fastest, np.minimum(fastest, feeds))

        def feed(s, ends=ends, top=top):
            """At a junction the lower of both."""
            last = np.clip(np.searchsorted(ends, s + 1e-9, side="right") - 1, 0, len(top) - 1)
            first = np.clip(np.searchsorted(ends, s - 1e-9, side="right") - 1, 0, len(top) - 1)
            return min(top[last], top[first])

        theirs = toppra_seconds(straight(ends[-1] * unit), 1.5 * speed, acceleration, feed, places=ends)
        ratio.append(machine_time(moves, m).total_s / theirs)
    within(ratio, 1 - 2e-3, 1 + 1e-6)


# ---- arcs


def arc(rng, *, sinks, sweep=None, steepness=(-2, 0.3)):
    """A random arc or helix: its path for toppra, a function that makes our moves, radius, sweep and its plane."""
    plane = int(rng.integers(0, 3))
    radius = 10 ** rng.uniform(0, 2.3)
    sweep = rng.choice([-1, 1]) * (rng.uniform(0.3, 4 * math.pi) if sweep is None else sweep)
    begin = rng.uniform(0, 2 * math.pi)
    sink = rng.choice([-1, 1]) * radius * abs(sweep) * 10 ** rng.uniform(*steepness) if sinks else 0.0
    path = helix(radius, begin, sweep, sink, PLANE_AXES[plane])
    points = np.array([path(0.0)[:3], path(path.length)[:3]])
    return path, lambda feed: from_lists(points, [Kind.ARC], feed=60 * feed, arcs={0: ((0, 0, 0), sweep, plane)}), \
        radius, abs(sweep), plane  # fmt: skip


def box_gain(speed, acceleration, feed, plane):
    """How much longer our arc may take than the box at most [-].

    The box lets the acceleration in the plane be as long as its diagonal; slowed down by the factor k, speeds fall by k
    and accelerations by k^2, and the box's plan keeps our limits.
    """
    first, second, _ = PLANE_AXES[plane]
    push, top = acceleration[[first, second]], speed[[first, second]]
    run = math.hypot(*top) / top.min() if feed > top.min() else 1.0
    return max(math.sqrt(math.hypot(*push) / push.min()), run)


@FEW_OR_MANY
@pytest.mark.parametrize("sinks", [False, True], ids=["arcs", "helices"])
@pytest.mark.parametrize("spread", [1.0, 4.0], ids=["like axes", "unlike axes"])
def test_arcs_lie_between_two_bounds_of_the_box(cases, sinks, spread):
    """Slowed down by 2^(1/4) ours keeps to the box (both accelerations at once are at most sqrt 2 long), and slowed
    down by ``box_gain`` the box's plan keeps to ours."""
    rng = np.random.default_rng(3)
    ratio, low, high = [], [], []
    for _ in range(cases):
        speed, acceleration, feed = limits(rng, spread)
        speed = np.full(3, speed[0]) if spread == 1 else speed
        path, moves, _, _, plane = arc(rng, sinks=sinks)
        theirs = toppra_seconds(path, speed, acceleration, feed)
        ratio.append(machine_time(moves(feed), machine(tuple(speed), tuple(acceleration))).total_s / theirs)
        low.append(2**-0.25 * (1 - GRID))
        high.append(box_gain(speed, acceleration, feed, plane))
    within(np.array(ratio) / low, 1.0, math.inf)
    within(np.array(ratio) / high, 0.0, 1.0)


@FEW_OR_MANY
def test_steep_helices_lie_between_the_same_bounds(cases):
    """Sinking 1 to 5 times as far as they go round, without a feed, the axis across strong or weak: what the plane
    holds back counts for the share of the way in the plane only, and the axis across limits the rest."""
    rng = np.random.default_rng(12)
    ratio = []
    for _ in range(cases):
        path, moves, _, _, plane = arc(rng, sinks=True, sweep=rng.uniform(1, 15), steepness=(0, 0.7))
        acceleration = np.full(3, 10 ** rng.uniform(2.3, 3.4))
        acceleration[PLANE_AXES[plane][2]] *= rng.choice([0.1, 30.0])
        theirs = toppra_seconds(path, 20_000.0, acceleration)
        ratio.append(machine_time(moves(20_000.0), machine(20_000.0, tuple(acceleration))).total_s / theirs)
    within(ratio, 2**-0.25 * (1 - GRID), 2**0.25)


@FEW_OR_MANY
def test_arcs_are_at_most_a_twentieth_of_root_r_over_a_quicker_than_the_box(cases):
    """Between the two models lies a third: the whole acceleration in the plane no longer than A, which the box allows.

    From rest, v^2 = r A sin(2 s/r); it is at v^2 = r A after s = pi r/4 and 1.3110 sqrt(r/A) (half the lemniscate's
    constant), 0.5257 sqrt(r/A) later than at full speed; ours loses 0.5 sqrt(r/A). Twice the difference is 0.0515.
    """
    rng = np.random.default_rng(4)
    for case in range(cases):
        speed, acceleration, feed = limits(rng, 4.0)
        path, moves, radius, _, plane = arc(rng, sinks=False)
        push = acceleration[list(PLANE_AXES[plane][:2])].min()
        theirs = toppra_seconds(path, speed, acceleration, feed)
        ours = machine_time(moves(feed), machine(tuple(speed), tuple(acceleration))).total_s
        assert theirs * (1 - GRID) <= ours + 0.0515 * math.sqrt(radius / push), case


@FEW_OR_MANY
def test_long_arcs_at_a_feed_the_axes_can_hold_approach_length_over_feed(cases):
    """Where F^2/r <= A both run at F; ours loses F/A at its ends, the box at least F/(A sqrt 2): many turns agree."""
    rng = np.random.default_rng(5)
    for case in range(cases):
        push = 10 ** rng.uniform(2.3, 3.4)
        path, moves, radius, sweep, _ = arc(rng, sinks=False, sweep=rng.uniform(4, 12) * math.pi)
        feed = min(200.0, math.sqrt(push * radius) * rng.uniform(0.3, 0.999))
        theirs = toppra_seconds(path, 400.0, push, feed)
        ours = machine_time(moves(feed), machine(400.0, push)).total_s
        assert ours == pytest.approx(radius * sweep / feed + feed / push, rel=1e-12), case
        assert theirs * (1 - GRID) <= ours + 0.0515 * math.sqrt(radius / push), case
        assert ours <= theirs + (1 - math.sqrt(0.5)) * feed / push, case
        assert ours == pytest.approx(theirs, rel=0.03), case


@FEW_OR_MANY
def test_long_arcs_that_the_axes_hold_back_are_a_fortieth_slower_than_the_box(cases):
    """Ours runs at v^2 = A r all round. In the box each axis has v^2 <= A r where it points to the centre, and on to
    the diagonal its whole A: with w = v^2/(A r) and q the angle from the axis, w cos q + w'/2 sin q = 1, so
    w = 1/cos^2(q/2), and an eighth of a turn takes 2 sin(pi/8) instead of pi/4: a ratio of 1.0262."""
    rng = np.random.default_rng(6)
    ratio = []
    for _ in range(cases):
        push = 10 ** rng.uniform(2.3, 3.4)
        turns = int(rng.integers(4, 8))
        path, moves, radius, sweep, _ = arc(rng, sinks=False, sweep=2 * math.pi * turns)
        theirs = toppra_seconds(path, 5000.0, push, grid=200 * turns)
        ours = machine_time(moves(5000.0), machine(5000.0, push)).total_s
        assert ours == pytest.approx(math.sqrt(radius / push) * (sweep + 1), rel=1e-12)
        ratio.append(ours / theirs)
    within(np.array(ratio) / (math.pi / 4 / (2 * math.sin(math.pi / 8))), 0.995, 1.005)


@FEW_OR_MANY
def test_rounded_rectangles_lie_between_the_same_bounds(cases):
    """Lines and the arcs that touch them: the lines agree, the arcs lie between the bounds of like axes."""
    rng = np.random.default_rng(7)
    ratio = []
    for _ in range(cases):
        push, top = 10 ** rng.uniform(2.3, 3.4), rng.uniform(60, 400)
        radius = 10 ** rng.uniform(0, 1.7)
        sides = 10 ** rng.uniform(0, 2.3, 2)
        feed = min(top, 10 ** rng.uniform(1, 2.6))
        pieces, points, kinds, arcs = [], [np.zeros(3)], [], {}
        for k in range(4):
            along = np.array([math.cos(k * math.pi / 2), math.sin(k * math.pi / 2), 0.0])
            left = np.array([-along[1], along[0], 0.0])
            pieces += [straight(sides[k % 2] * along), helix(radius, (k - 1) * math.pi / 2, math.pi / 2)]
            points.append(points[-1] + sides[k % 2] * along)
            arcs[len(kinds) + 1] = (points[-1] + radius * left, math.pi / 2, 0)
            points.append(points[-1] + radius * (along + left))
            kinds += [Kind.LINE, Kind.ARC]
        m = machine(top, push, corner="tolerance", corner_tolerance=0.02)
        ours = machine_time(from_lists(points, kinds, feed=60 * feed, arcs=arcs), m).total_s
        path = tangent(pieces)
        ends = np.cumsum([p.length for p in pieces])
        ratio.append(ours / toppra_seconds(path, top, push, feed, places=ends))
    within(ratio, 2**-0.25 * (1 - GRID), 2**0.25)


# ---- corners within a tolerance


def blended(rng):
    """An L of two legs in space and the arc of tolerance D that touches both: legs, unit vectors, radius, turn, D.

    The radius is found by its meaning: the arc's nearest point to the corner is D away from it.
    """
    first, second = rng.normal(size=(2, 3))
    first /= np.linalg.norm(first)
    second /= np.linalg.norm(second)
    turn = math.acos(float(np.clip(first @ second, -1, 1)))
    if not 0.15 < turn < 2.9:
        return blended(rng)
    tolerance = 10 ** rng.uniform(-2.3, -0.7)
    radius = brentq(lambda r: math.hypot(r, r * math.tan(turn / 2)) - r - tolerance, 0, 1e6 * tolerance, xtol=1e-12)
    legs = rng.uniform(1, 3, 2) * (radius * math.tan(turn / 2)) + 10 ** rng.uniform(0, 2, 2)
    return legs, first, second, radius, turn, tolerance


def test_corner_speed_is_that_of_the_arc_within_the_tolerance():
    """v^2 / R = a_n, with R from where the arc passes the corner and a_n from the axes along the bisector."""
    rng = np.random.default_rng(8)
    ratio = []
    while len(ratio) < 300:
        speed, acceleration, _ = limits(rng, 10.0)
        legs, first, second, radius, _, tolerance = blended(rng)
        points = [-legs[0] * 50 * first, (0, 0, 0), legs[1] * 50 * second]
        m = machine(tuple(5 * speed), tuple(acceleration), corner="tolerance", corner_tolerance=tolerance)
        time = machine_time(polyline(points, feed=1e6), m)
        corner = time.exit[0]
        if corner > 0.999 * min(time.peak):
            continue  # held by an axis, not by the corner
        bisector = (second - first) / np.linalg.norm(second - first)
        ratio.append(corner**2 / radius / np.min(acceleration / np.abs(bisector)))
    within(ratio, 1 - 1e-6, 1 + 1e-6)


def seconds_to(length, top, push, speed):
    """From rest over a length to at most ``speed``, at most at ``top`` between (closed form) [s]."""
    speed = min(speed, top, math.sqrt(2 * push * length))
    peak = min(top, math.sqrt(push * length + speed**2 / 2))
    return (2 * peak - speed) / push + max(0.0, length - (2 * peak**2 - speed**2) / (2 * push)) / peak


def least(limit, unit):
    """The tightest of limits per axis along a direction, or along each of some."""
    return float(np.min(limit / np.maximum(np.abs(unit), 1e-12)))


@FEW_OR_MANY
def test_an_l_with_a_tolerance_against_toppra_round_the_blend(cases):
    """Our plan keeps to the legs and turns at their corner; a control that uses the tolerance runs the blend.

    With v the speed of our corner, the box's time round the blend lies between two plans made of it. *Not slower*: the
    legs up to the arc and the arc at v sqrt(f), where f is how much less the axes give along the arc's other normals
    than along the bisector. *Not quicker*: in the middle of the arc the box is held by R sum A_k |n_k| against our
    R min A_k/|n_k|; up to there each leg has its own acceleration and the arc that of all axes together.
    """
    rng = np.random.default_rng(9)
    ratio, shares = [], []
    while len(ratio) < cases:
        speed, acceleration, feed = limits(rng, 4.0)
        feed = min(feed, speed.min())
        legs, first, second, radius, turn, tolerance = blended(rng)
        cut = radius * math.tan(turn / 2)
        normal, across = (q / np.linalg.norm(q) for q in (second - first, second + first))
        m = machine(tuple(speed), tuple(acceleration), corner="tolerance", corner_tolerance=tolerance)
        points = [-legs[0] * first, (0, 0, 0), legs[1] * second]
        time = machine_time(polyline(points, feed=60 * feed), m)
        corner, pushes = float(time.exit[0]), [least(acceleration, u) for u in (first, second)]
        reached = [math.sqrt(2 * p * (leg - cut)) for p, leg in zip(pushes, legs, strict=True)]
        if corner > 0.999 * min(feed, *reached):
            continue  # the corner holds nothing back
        legs_of_ours = sum(seconds_to(leg, feed, p, corner) for leg, p in zip(legs, pushes, strict=True))
        assert time.total_s == pytest.approx(legs_of_ours, rel=1e-9)

        def bend(order, radius=radius, across=across, normal=normal, turn=turn):
            """Position on the arc and its derivatives: each a quarter turn on."""
            quarter, scale = order * math.pi / 2, radius ** (1 - order)
            return lambda s: (
                scale
                * (
                    np.outer(np.sin(s / radius - turn / 2 + quarter), across)
                    - np.outer(np.cos(s / radius - turn / 2 + quarter), normal)
                )
            )

        arc_path = ArcLengthPath(radius * turn, bend(0), bend(1), bend(2))
        path = tangent([straight((legs[0] - cut) * first), arc_path, straight((legs[1] - cut) * second)])
        ends = np.cumsum([legs[0] - cut, radius * turn])
        theirs = toppra_seconds(path, speed, acceleration, feed, places=np.linspace(*ends, 9))

        share = least(acceleration, radius * bend(2)(np.linspace(0, radius * turn, 301))) / least(acceleration, normal)
        on_arc = corner * math.sqrt(share)
        slow = radius * turn / on_arc + sum(
            seconds_to(leg - cut, feed, p, on_arc) for leg, p in zip(legs, pushes, strict=True)
        )
        assert theirs * (1 - GRID) <= slow

        all_axes = float(np.linalg.norm(acceleration))
        middle2 = corner**2 * float(acceleration @ np.abs(normal)) / least(acceleration, normal)
        quick = 0.0
        for leg, p in zip(legs, pushes, strict=True):
            touch2 = min(feed**2, 2 * p * (leg - cut), middle2 + all_axes * radius * turn)
            peak = min(feed, math.sqrt((touch2 + middle2 + all_axes * radius * turn) / 2))
            quick += seconds_to(leg - cut, feed, p, math.sqrt(touch2)) + radius * turn / 2 / peak
        assert theirs >= quick * (1 - 1e-6)
        ratio.append(time.total_s / theirs)
        shares.append(slow / quick)
    assert np.median(shares) < 1.15  # the bounds are narrow enough to say something
    within(ratio, 0.9, 1.2)


# ---- fine chords of curves


def circle(rng):
    angle = np.linspace(0, 2 * np.pi * rng.uniform(0.5, 2.5), 2001)
    return np.stack([np.cos(angle), np.sin(angle), 0 * angle], axis=1)


def ellipse(rng):
    angle = np.linspace(0, 2 * np.pi * rng.uniform(0.5, 2.0), 2001)
    return np.stack([np.cos(angle), rng.uniform(0.3, 1.0) * np.sin(angle), 0 * angle], axis=1)


def sine_wave(rng):
    along = np.linspace(0, 2 * np.pi * rng.uniform(1, 6), 2001)
    return np.stack([along, rng.uniform(0.2, 1.5) * np.sin(along), 0 * along], axis=1)


def spiral(rng):
    angle = np.linspace(0, 2 * np.pi * rng.uniform(2, 5), 4001)
    radius = 1 + rng.uniform(0.03, 0.3) * angle
    return np.stack([radius * np.cos(angle), radius * np.sin(angle), 0 * angle], axis=1)


def random_spline(rng):
    knots = int(rng.integers(5, 10))
    points = np.cumsum(rng.normal(size=(knots, 3)) * [1, 1, 0.6] + [0.5, 0, 0], axis=0)
    return CubicSpline(np.arange(knots), points)(np.linspace(0, knots - 1, 3001))


def curve(rng, shape):
    """A curve of that shape, turned, its smallest radius 1 to 50 mm, no longer than 400 mm: path and that radius."""
    dense = shape(rng)
    if rng.random() < 0.5:
        dense = dense @ Rotation.random(random_state=rng).as_matrix().T
    else:
        dense = dense @ Rotation.from_euler("z", rng.uniform(0, 2 * np.pi)).as_matrix().T
    path = smooth(dense)
    sharpest = np.linalg.norm(path.evaldd(np.linspace(0, path.length, 3001))[:, :3], axis=1).max()
    radius = 10 ** rng.uniform(0, math.log10(50))
    path = smooth(dense * radius * sharpest)
    return (path, radius) if path.length < 400 else curve(rng, shape)


def times_of_chords(rng, shape, spread):
    """Smallest radius, toppra's seconds on the curve, and ours on its chords under each setting."""
    path, radius = curve(rng, shape)
    speed, acceleration, _ = limits(rng, spread)
    feed = 10 ** rng.uniform(1.2, 2.6)
    chord = min(10 ** rng.uniform(math.log10(0.05), 0), 0.3 * radius)
    count = max(2, math.ceil(path.length / chord))
    at = np.linspace(0, path.length, count + 1)
    if rng.random() < 0.5:
        at[1:-1] += rng.uniform(-0.3, 0.3, count - 1) * path.length / count  # chords of unlike length
    chords = polyline(path(at)[:, :3], feed=60 * feed)
    theirs = toppra_seconds(path, speed, acceleration, feed, int(min(3000, max(400, 15 * path.length / radius))))
    ours = [
        machine_time(chords, machine(tuple(speed), tuple(acceleration), chord_curvature=c)).total_s
        for c in ("off", "speed", "share")
    ]
    return [radius, theirs, *ours]


SHAPES = [circle, ellipse, sine_wave, spiral, random_spline]


@FEW_OR_MANY
@pytest.mark.parametrize("spread", [1.0, 4.0], ids=["like axes", "unlike axes"])
@pytest.mark.parametrize("shape", SHAPES)
def test_chords_that_share_take_the_time_of_their_curve(cases, shape, spread, capsys):
    """Within 5 % of toppra on the smooth curve, nearly; "off" is never slower than "speed".

    A bend that pulls an axis against the change of speed leaves it more acceleration than a straight line has, so
    "share" may be quicker than "speed" (8 % on waves under unlike axes) and even than "off" (2 %), which know a bound
    for each cause by itself. One case in 2500 misses the 5 %: a single wave of 1.1 mm radius in chords of 0.2 to
    0.5 mm; joined to 0.3 mm, which the noise of rounding needs, they reach 0.7 mm and blunt its crest (14 % quicker).
    """
    seed = [11, SHAPES.index(shape), int(spread)]
    rows = [times_of_chords(np.random.default_rng([*seed, k]), shape, spread) for k in range(cases)]
    radius, theirs, off, speed, share = np.array(rows).T
    if cases > 100:
        with capsys.disabled():
            for name, seconds in (("off", off), ("speed", speed), ("share", share)):
                gap = 100 * (seconds / theirs - 1)
                figures = (
                    f"{gap.min():7.2f} {np.median(gap):7.2f} {gap.max():7.2f} %, {(abs(gap) > 5).sum()} beyond 5 %"
                )
                print(f"{shape.__name__:14s} {spread:3.0f} {name:6s} {figures}")
    assert (off <= speed * (1 + 1e-9)).all()
    assert (speed <= share * 1.1).all()
    assert (off <= share * 1.03).all()
    assert (off / theirs).min() < 0.75  # what the setting is for
    assert (speed / theirs).min() < 0.96
    within(share[radius >= 2] / theirs[radius >= 2], 0.975, 1.04)
    within(share / theirs, 0.85 if shape is sine_wave else 0.975, 1.04)
    assert (np.abs(share / theirs - 1) > 0.05).sum() <= (shape is sine_wave and cases > 100)
    assert abs(np.median(share / theirs) - 1) < 0.002
