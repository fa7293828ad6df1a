"""Machine time: Moves and a Machine in, seconds out. The one engine behind planned and programmed times.

The plan is the classic one of a control that looks ahead: every move has a greatest speed and an acceleration along
its path, every junction between moves a greatest speed, and the squared junction speeds are the largest that satisfy

    v[i]^2 <= cap[i]^2,   v[i+1]^2 <= v[i]^2 + 2 a L,   v[i]^2 <= v[i+1]^2 + 2 a L.

Each move is then a trapezoid (or triangle) of speed over time.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from shopcalc.moves import PLANE_AXES, Floats, Kind, Moves, Stop

if TYPE_CHECKING:
    from shopcalc.machines import Controller, Machine

_PASS_BLOCK = 1024  # moves per block of the two passes: running sums stay small, so squared speeds keep their digits
_CHORD = 0.3  # mm; shorter chords carry more rounding noise than curvature
#: Where seconds go, in the order people are shown them.
CAUSES = (
    "cutting at the asked feed",
    "slower where an axis or an arc limits",
    "corners, starts and stops",
    "gradual acceleration",
    "waiting for blocks",
    "rapids",
    "dwells and spindle starts",
    "cutter changes",
)
_SHARPEST_CURVE = math.cos(math.radians(30))  # a sharper turn is a corner, not a curve


@dataclass(frozen=True, eq=False)
class MotionTime:
    """Seconds of every move, how fast it ran and what held it back.

    Parameters
    ----------
    moves : Moves
        What was timed.
    seconds : (n,) float
        Time of each move; nan where no feed is known [s].
    entry, exit, peak : (n,) float
        Speed at start, end and at its greatest; 0 for standing moves [mm/s].
    asked : (n,) float
        Speed the program asks for: feed as run, or the rapid speed; nan when unknown, inf when unlimited [mm/s].
    acceleration : (n,) float
        Along each move's path; inf where nothing limits it [mm/s2].
    lost_to_limits : (n,) float
        Seconds more than length / asked speed, because an axis or an arc does not allow that speed [s].
    lost_to_ramps : (n,) float
        Seconds lost to speeding up and slowing down at corners, starts and stops [s].
    lost_to_jerk : (n,) float
        Seconds the ramps take longer because acceleration itself builds up gradually [s].
    lost_to_blocks : (n,) float
        Seconds waited for the next block [s].
    """

    moves: Moves
    seconds: Floats
    entry: Floats
    exit: Floats
    peak: Floats
    asked: Floats
    acceleration: Floats
    lost_to_limits: Floats
    lost_to_ramps: Floats
    lost_to_jerk: Floats
    lost_to_blocks: Floats

    @property
    def total_s(self) -> float:
        """Time of the whole [s]; nan when the feed of any cutting move is unknown."""
        return float(self.seconds.sum())

    def _sum(self, *kinds: Kind) -> float:
        return float(self.seconds[np.isin(self.moves.kind, kinds)].sum())

    @property
    def cutting_time_s(self) -> float:
        """Lines and arcs at feed [s]; nan when unknown."""
        return self._sum(Kind.LINE, Kind.ARC)

    @property
    def rapid_time_s(self) -> float:
        """Rapids [s]."""
        return self._sum(Kind.RAPID)

    @property
    def dwell_time_s(self) -> float:
        """Dwells and waiting for the spindle [s]."""
        return self._sum(Kind.DWELL, Kind.STOP)

    @property
    def change_time_s(self) -> float:
        """Cutter changes [s]."""
        return self._sum(Kind.CHANGE)

    @property
    def length_over_feed_s(self) -> float:
        """What length / feed alone would say for the cutting moves, feed as run [s]; nan when unknown."""
        cut = self.moves.cutting
        return float((self.moves.lengths[cut] / self.asked[cut]).sum())

    def causes(self) -> dict[str, float]:
        """Where the seconds went, in words [s]; the values add up to ``total_s``."""
        rapid, cut = self.moves.kind == Kind.RAPID, self.moves.cutting
        ideal = self.seconds - self.lost_to_limits - self.lost_to_ramps - self.lost_to_jerk - self.lost_to_blocks
        out = dict(
            zip(
                CAUSES,
                (
                    float(ideal[cut].sum()),
                    float(self.lost_to_limits[cut].sum()),
                    float(self.lost_to_ramps[cut].sum()),
                    float(self.lost_to_jerk[cut].sum()),
                    float(self.lost_to_blocks[cut].sum()),
                    float(self.seconds[rapid].sum()),
                    self.dwell_time_s,
                    self.change_time_s,
                ),
                strict=True,
            )
        )
        return {k: v for k, v in out.items() if v != 0 or math.isnan(v)}

    def by_cutter(self) -> dict[int, float]:
        """Seconds in the moves made with each cutter number [s]; changes count for the cutter put in."""
        numbers, at = np.unique(self.moves.cutter, return_inverse=True)
        sums = np.bincount(at, weights=self.seconds)
        return {int(c): float(s) for c, s in zip(numbers, sums, strict=True)}

    def profile(self, points: int = 4000) -> tuple[Floats, Floats, Floats]:
        """Speed along the path, for drawing.

        Parameters
        ----------
        points : int
            About how many points at most; longer runs keep the lowest and the highest speed of each stretch, so that
            thinning hides no stop and no peak.

        Returns
        -------
        distance, speed, asked : (m,) float
            Distance from the start [mm], speed there and the speed asked for there [mm/s]; rapids ask for nan.
        """
        go = np.flatnonzero(self.moves.kind <= Kind.ARC)
        length, v0, v1, vp = self.moves.lengths[go], self.entry[go], self.exit[go], self.peak[go]
        begin = np.cumsum(length) - length
        with np.errstate(divide="ignore", invalid="ignore"):
            up = np.where(np.isfinite(self.acceleration[go]), (vp**2 - v0**2) / (2 * self.acceleration[go]), 0.0)
            down = np.where(np.isfinite(self.acceleration[go]), (vp**2 - v1**2) / (2 * self.acceleration[go]), 0.0)
        shares = np.array([0.0, 0.1, 0.3, 0.6, 1.0])  # speed grows with the root of the distance: a few points each
        rise = np.sqrt(v0[:, None] ** 2 + (vp**2 - v0**2)[:, None] * shares)
        fall = np.sqrt(v1[:, None] ** 2 + (vp**2 - v1**2)[:, None] * shares[::-1])
        near = begin[:, None] + up[:, None] * shares
        far = (begin + length)[:, None] - down[:, None] * shares[::-1]
        distance = np.concatenate([near, far], axis=1).ravel()
        speed = np.concatenate([rise, fall], axis=1).ravel()
        asked = np.repeat(np.where(np.isfinite(self.asked[go]), self.asked[go], np.nan), 2 * len(shares))
        if len(distance) > points:
            keep = _low_and_high(distance, speed, points // 2)
            distance, speed, asked = distance[keep], speed[keep], asked[keep]
        return distance, speed, asked

    def slowest_places(self, count: int = 5) -> list[tuple[int, float]]:
        """Moves that lost most against the asked speed: their index and the seconds lost [s].

        Parameters
        ----------
        count : int
            How many at most.
        """
        lost = self.lost_to_limits + self.lost_to_ramps + self.lost_to_jerk + self.lost_to_blocks
        lost = np.where(self.moves.cutting & np.isfinite(lost), lost, 0.0)
        order = np.argsort(-lost, kind="stable")[:count]
        return [(int(i), float(lost[i])) for i in order if lost[i] > 0]


def _low_and_high(distance: Floats, speed: Floats, stretches: int) -> NDArray[np.int64]:
    """Indices of the lowest and highest speed in each of so many equal stretches, and of both ends."""
    stretch = np.minimum((distance / max(distance[-1], 1e-9) * stretches).astype(np.int64), stretches - 1)
    order = np.lexsort((speed, stretch))
    first = np.flatnonzero(np.diff(stretch[order], prepend=-1))
    last = np.append(first[1:] - 1, len(order) - 1)
    return np.unique(np.concatenate([[0], order[first], order[last], [len(distance) - 1]]))


def machine_time(moves: Moves, machine: Machine) -> MotionTime:
    """Time a run of moves on a machine.

    Parameters
    ----------
    moves : Moves
        Lines, arcs, rapids and standing moves.
    machine : Machine
        Axis limits, corner rule, look-ahead, block rate, jerk, times; an absent limit is none.

    Returns
    -------
    MotionTime
        Seconds per move and in sum.

    Notes
    -----
    *Lines* of unit direction u: speed <= min V_k/|u_k| and the asked speed; acceleration = min A_k/|u_k|.
    *Arcs* of radius r, in-plane share c and axial share s of the unit tangent: (v c)^2/r and the tangential
    acceleration's in-plane part each stay within the weaker in-plane axis; v <= min(V_plane/c, V_axial/s).
    *Corners* with d = u2 - u1: see ``corner_speed_squared``. *Full stops* at start, end, every standing move and
    exact stop. *Look-ahead* N: the machine can always stop at the end of the N moves it knows. *Block rate*: no move
    takes less than 1/B. *Jerk*: see ``_jerk_delay``. What is neglected: lag of the drives, feed that the operator
    changes by hand, and the path change inside the corner tolerance.

    References
    ----------
    Jeon (2011), corner speed from a tolerated deviation; the two-pass plan is the textbook solution of
    time-optimal motion along a given path (definition).
    """
    controller = machine.controller
    length = moves.lengths
    moving = (moves.kind <= Kind.ARC) & (length > 0)
    first, last = _tangents(moves, length)
    asked = _asked_speed(moves, machine)
    fastest, accel = _move_limits(moves, machine, length, first, asked)
    cap2 = _junction_caps(moves, controller, _accelerations(machine), length, moving, first, last, fastest)
    del first, last
    gain = 2.0 * np.where(moving, accel, np.inf) * np.where(moving, length, 1.0)  # what v^2 can change along a move
    speed2 = _junction_speeds(cap2, gain, moving, controller.look_ahead)
    entry, exit_ = np.sqrt(speed2[:-1]), np.sqrt(speed2[1:])
    peak = np.sqrt(np.minimum(fastest**2, (speed2[:-1] + speed2[1:] + gain) / 2.0))
    peak = np.where(moving, np.maximum(peak, np.maximum(entry, exit_)), 0.0)
    seconds = _trapezoid_seconds(length, entry, exit_, peak, accel, moving)
    jerk = np.zeros_like(seconds)
    if math.isfinite(controller.jerk):
        jerk = _jerk_delay(length, entry, exit_, peak, accel, moving, seconds, controller.jerk)
    wait = np.zeros_like(seconds)
    if math.isfinite(controller.blocks_per_second):
        wait = np.where(moving, np.maximum(0.0, 1.0 / controller.blocks_per_second - seconds - jerk), 0.0)
    return _collect(moves, machine, length, moving, asked, fastest, accel, entry, exit_, peak, seconds, jerk, wait)


def _collect(
    moves: Moves, machine: Machine, length: Floats, moving: NDArray[np.bool_], asked: Floats, fastest: Floats,
    accel: Floats, entry: Floats, exit_: Floats, peak: Floats, seconds: Floats, jerk: Floats, wait: Floats,
) -> MotionTime:  # fmt: skip
    """Split the time by what held each move back and add the standing moves."""
    with np.errstate(divide="ignore", invalid="ignore"):
        ideal = np.where(moving, length / asked, 0.0)
        held = np.where(moving, length / fastest, 0.0)
    limits = np.where(moving, held - ideal, 0.0)
    ramps = np.where(moving, seconds - held, 0.0)
    unknown = moving & np.isnan(asked)
    total = seconds + jerk + wait
    total = np.where(moving, total, _standing_seconds(moves, machine))
    total[unknown] = np.nan
    for part in (limits, ramps, jerk, wait):
        part[unknown] = np.nan
    entry, exit_ = np.where(moving, entry, 0.0), np.where(moving, exit_, 0.0)
    return MotionTime(moves, total, entry, exit_, peak, asked, accel, limits, ramps, jerk, wait)


def _standing_seconds(moves: Moves, machine: Machine) -> Floats:
    out = np.where(moves.kind == Kind.DWELL, moves.value, 0.0)
    out[moves.kind == Kind.CHANGE] = machine.times.cutter_change
    out[(moves.kind == Kind.STOP) & (moves.value == Stop.SPINDLE_START)] = machine.times.spindle_start
    return out


def _accelerations(machine: Machine) -> tuple[float, float, float]:
    x, y, z = machine.axes
    return x.acceleration, y.acceleration, z.acceleration


def _asked_speed(moves: Moves, machine: Machine) -> Floats:
    """Feed as run for lines and arcs [mm/s]; rapids ask for all there is; nan where no feed is known."""
    return np.where(moves.kind == Kind.RAPID, np.inf, moves.feed * (machine.feed_share / 60.0))


def _tangents(moves: Moves, length: Floats) -> tuple[Floats, Floats]:
    """Unit tangents at the start and at the end of each move, (n, 3) each; zero where nothing travels."""
    straight = np.diff(moves.points, axis=0)
    with np.errstate(divide="ignore", invalid="ignore"):
        straight /= length[:, None]
    straight[~np.isfinite(straight)] = 0.0
    if not len(moves.arc_index):
        return straight, straight
    first, last = straight, straight.copy()
    index = moves.arc_index
    axes = np.asarray(PLANE_AXES)[moves.arc_plane]
    rows = np.arange(len(index))
    travel = length[index]
    around = moves.arc_radius * moves.arc_sweep / travel  # signed in-plane share of the tangent
    axial = moves.arc_axial / travel
    offset = moves.points[index] - moves.arc_centre
    begin = np.arctan2(offset[rows, axes[:, 1]], offset[rows, axes[:, 0]])
    for tangent, angle in ((first, begin), (last, begin + moves.arc_sweep)):
        t = np.empty((len(index), 3))
        t[rows, axes[:, 0]] = -np.sin(angle) * around
        t[rows, axes[:, 1]] = np.cos(angle) * around
        t[rows, axes[:, 2]] = axial
        tangent[index] = t
    return first, last


def _move_limits(
    moves: Moves, machine: Machine, length: Floats, direction: Floats, asked: Floats
) -> tuple[Floats, Floats]:
    """Greatest speed [mm/s] and acceleration [mm/s2] along each move."""
    rapid = moves.kind == Kind.RAPID
    fastest = np.full(len(moves), np.inf)
    accel = np.full(len(moves), np.inf)
    with np.errstate(divide="ignore"):
        for k, axis in enumerate(machine.axes):
            part = np.abs(direction[:, k])
            limit = np.where(rapid, axis.rapid / 60.0, axis.feed / 60.0)
            _lower(fastest, limit, part)
            _lower(accel, np.full(1, axis.acceleration), part)
    if len(moves.arc_index):
        fastest[moves.arc_index], accel[moves.arc_index] = _arc_limits(moves, machine, length)
    return np.fmin(fastest, asked), accel


def _lower(bound: Floats, limit: Floats, part: Floats) -> None:
    """Lower ``bound`` in place to ``limit / part``; an axis that does not travel limits nothing."""
    ratio = np.where(part > 0, np.divide(limit, np.where(part > 0, part, 1.0)), np.inf)
    np.minimum(bound, ratio, out=bound)


def _arc_limits(moves: Moves, machine: Machine, length: Floats) -> tuple[Floats, Floats]:
    """Greatest speed and tangential acceleration of each arc, from its plane's weaker axis and its normal axis."""
    axes = np.asarray(PLANE_AXES)[moves.arc_plane]
    feed = np.asarray([a.feed / 60.0 for a in machine.axes])
    accel = np.asarray(_accelerations(machine))
    radius, travel = moves.arc_radius, length[moves.arc_index]
    in_plane = np.abs(radius * moves.arc_sweep) / travel
    axial = np.abs(moves.arc_axial) / travel
    plane_feed = np.minimum(feed[axes[:, 0]], feed[axes[:, 1]])
    plane_accel = np.minimum(accel[axes[:, 0]], accel[axes[:, 1]])
    fastest = np.sqrt(plane_accel * radius) / in_plane
    along = plane_accel / in_plane
    _lower(fastest, plane_feed, in_plane)
    _lower(fastest, feed[axes[:, 2]], axial)
    _lower(along, accel[axes[:, 2]], axial)
    return fastest, along


def corner_speed_squared(before: Floats, after: Floats, controller: Controller, accelerations: Floats) -> Floats:
    """Greatest squared speed through corners between straight tangents.

    Parameters
    ----------
    before, after : (m, 3) float
        Unit tangents into and out of each corner [-].
    controller : Controller
        Its corner rule: tolerance D, speed jump J, stop or none.
    accelerations : (3,) float
        Of the axes [mm/s2].

    Returns
    -------
    (m,) float
        Squared speed [mm2/s2]; inf where the corner limits nothing.

    Notes
    -----
    With d = after - before, n = d/|d|, h = sqrt((1 + before.after)/2): *tolerance* v^2 = a_n R, R = D h/(1 - h),
    a_n = min A_k/|n_k| (an arc that touches both legs and passes the corner at distance D); *speed jump*
    v = min J_k/|d_k|. 1 - h is taken from |d|^2 so that nearly straight corners keep their digits.

    References
    ----------
    Jeon (2011), as derived from the tangent arc (geometry).
    """
    turn = after - before
    bend2 = np.einsum("ij,ij->i", turn, turn)
    out = np.full(len(turn), np.inf)
    if controller.corner == "stop":
        out[:] = 0.0
    elif controller.corner == "tolerance":
        half = np.sqrt(np.maximum(0.0, 1.0 - bend2 / 4.0))  # h, because before.after = 1 - |d|^2/2
        sharp = bend2 > 1e-24
        with np.errstate(divide="ignore"):
            radius = controller.corner_tolerance * half * (1.0 + half) / np.where(sharp, bend2 / 4.0, 1.0)
        across = np.full(len(turn), np.inf)
        bend = np.sqrt(bend2)
        for k, a in enumerate(accelerations):
            _lower(across, np.full(1, a) * bend, np.abs(turn[:, k]))
        with np.errstate(invalid="ignore"):
            out = np.where(sharp, across * radius, np.inf)
        out[sharp & (half < 1e-9)] = 0.0  # straight back: a full stop whatever the limits
    elif controller.corner == "speed_jump":
        speed = np.full(len(turn), np.inf)
        for k, jump in enumerate(controller.corner_speed_jump):
            _lower(speed, np.full(1, jump), np.abs(turn[:, k]))
        out = speed**2
    return out


def _junction_caps(
    moves: Moves, controller: Controller, accelerations: tuple[float, float, float], length: Floats,
    moving: NDArray[np.bool_], first: Floats, last: Floats, fastest: Floats,
) -> Floats:  # fmt: skip
    """(n + 1,) squared speed allowed at each junction, full stops included; junction i stands before move i."""
    n = len(moves)
    cap2 = np.zeros(n + 1)
    if n < 2:
        return cap2
    inner = cap2[1:-1]
    inner[:] = corner_speed_squared(last[:-1], first[1:], controller, np.asarray(accelerations))
    if controller.chord_curvature == "speed":
        np.minimum(inner, _curvature_caps(moves, length, accelerations), out=inner)
    np.minimum(inner, np.minimum(fastest[:-1], fastest[1:]) ** 2, out=inner)
    stop = ~(moving[:-1] & moving[1:]) | moves.exact_stop[:-1]
    if controller.stop_between_rapid_and_feed:
        rapid = moves.kind == Kind.RAPID
        stop |= rapid[:-1] != rapid[1:]
    inner[stop] = 0.0
    return cap2


def _curvature_caps(moves: Moves, length: Floats, accelerations: tuple[float, float, float]) -> Floats:
    """(n - 1,) squared speed at which the chords of a curve ask all an axis has: v^2 |k_j| <= A_j.

    Notes
    -----
    Curvature k = d / mean length of the two chords. Chords are first joined to at least 0.3 mm; turns above 30
    degrees, arcs and rapids are corners and are left to the corner rule.
    """
    caps = np.full(len(moves) - 1, np.inf)
    line = (moves.kind == Kind.LINE) & (length > 0)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], line, [False]]).astype(np.int8)))
    for begin, end in zip(edges[::2], edges[1::2], strict=True):
        if end - begin < 2:
            continue
        walked = np.concatenate([[0.0], np.cumsum(length[begin:end])])
        keep = np.unique(np.concatenate([np.unique(walked // _CHORD, return_index=True)[1], [end - begin]]))
        points = moves.points[begin:end + 1][keep]  # fmt: skip
        chord = np.diff(points, axis=0)
        size = np.linalg.norm(chord, axis=1)
        good = size > 0
        if good.sum() < 2:
            continue
        unit = chord / np.where(good, size, 1.0)[:, None]
        turn = np.diff(unit, axis=0)
        curve = np.einsum("ij,ij->i", unit[1:], unit[:-1]) >= _SHARPEST_CURVE
        bend = np.abs(turn) / ((size[1:] + size[:-1]) / 2.0)[:, None]
        allowed = np.full(len(turn), np.inf)
        for k, a in enumerate(accelerations):
            _lower(allowed, np.full(1, a), bend[:, k])
        allowed[~curve] = np.inf
        nearest = np.clip(np.searchsorted(keep[1:-1], np.arange(1, end - begin)), 0, max(0, len(allowed) - 1))
        caps[begin : end - 1] = allowed[nearest]
    return caps


def _junction_speeds(cap2: Floats, gain: Floats, moving: NDArray[np.bool_], look_ahead: int) -> Floats:
    """Largest squared junction speeds within the caps that the accelerations can join.

    Notes
    -----
    With S the running sum of the gains 2 a L, v_i^2 = min over k >= i of (cap_k^2 + S_k) - S_i is the backward pass (a
    reversed running minimum) and its mirror the forward pass; both run block by block.
    """
    if len(gain) == 0:
        return cap2
    finite = np.isfinite(gain)
    reach = float(gain[finite].sum()) + 1.0
    speed2 = np.minimum(cap2, reach)
    step = np.where(moving, np.minimum(gain, float(speed2.max()) + 1.0), 0.0)  # more gain than this binds nothing
    if look_ahead > 0:
        _limit_to_known(speed2, np.where(moving, gain, 0.0), look_ahead)
    for b, e in _blocks(len(step)):
        total = np.concatenate([[0.0], np.cumsum(step[b:e])])
        up = speed2[b : e + 1] - total
        speed2[b : e + 1] = np.minimum.accumulate(up) + total
    for b, e in reversed(list(_blocks(len(step)))):
        total = np.concatenate([np.cumsum(step[b:e][::-1])[::-1], [0.0]])
        down = speed2[b : e + 1] - total
        speed2[b : e + 1] = np.minimum.accumulate(down[::-1])[::-1] + total
    speed2 = np.minimum(speed2, cap2)
    return np.maximum(speed2, 0.0)


def _blocks(n: int) -> Iterator[tuple[int, int]]:
    for b in range(0, n, _PASS_BLOCK):
        yield b, min(n, b + _PASS_BLOCK)


def _limit_to_known(speed2: Floats, gain: Floats, known: int) -> None:
    """Lower junction b to what the moves known when move b - 1 starts, b .. b + known - 2, can brake away."""
    n = len(gain)
    ahead = known - 1
    if ahead <= 0:
        speed2[:] = 0.0
        return
    usable = np.minimum(gain, float(speed2.max()) + 1.0)
    for b, e in _blocks(n):
        far = min(n, e + ahead)
        total = np.concatenate([[0.0], np.cumsum(usable[b:far])])
        at = np.arange(e - b)
        speed2[b:e] = np.minimum(speed2[b:e], total[np.minimum(at + ahead, far - b)] - total[at])


def _trapezoid_seconds(
    length: Floats, entry: Floats, exit_: Floats, peak: Floats, accel: Floats, moving: NDArray[np.bool_]
) -> Floats:
    """Seconds of each move: up to the peak, along, down to the exit."""
    with np.errstate(divide="ignore", invalid="ignore"):
        up = (peak - entry) / accel
        down = (peak - exit_) / accel
        ramps = (peak + entry) / 2.0 * up + (peak + exit_) / 2.0 * down
        cruise = np.maximum(0.0, length - ramps) / peak
        seconds = up + down + cruise
    seconds[np.isinf(peak)] = 0.0  # no limit at all is known: no time either
    return np.where(moving, seconds, 0.0)


def _ramp_seconds(change: Floats, accel: Floats, jerk: float) -> Floats:
    """Time between two speeds under acceleration and jerk: dv/a + a/J once a is reached, else 2 sqrt(dv/J) [s]."""
    with np.errstate(invalid="ignore"):
        return np.where(change >= accel**2 / jerk, change / accel + accel / jerk, 2.0 * np.sqrt(change / jerk))


def _jerk_delay(
    length: Floats, entry: Floats, exit_: Floats, peak: Floats, accel: Floats, moving: NDArray[np.bool_],
    seconds: Floats, jerk: float,
) -> Floats:  # fmt: skip
    """Seconds each move takes longer because acceleration builds up gradually.

    Notes
    -----
    The plan is cut into humps at the lowest points of the junction speeds: up from v0, along at the highest, down to
    v1. A ramp of dv takes dv/a + a/J (or 2 sqrt(dv/J) when it never reaches a) at its mean speed; where both ramps do
    not fit into the hump its top is lowered. Exact for a hump of one acceleration and one cruise speed; in a hump over
    several moves the mean acceleration of its ramps stands for theirs.
    """
    delay = np.zeros_like(seconds)
    at = np.flatnonzero(moving)
    if not len(at):
        return delay
    v_in, v_out, top, size, acc = entry[at], exit_[at], peak[at], length[at], accel[at]
    low = _hump_begins(at, v_in, top, v_out)
    hump = np.cumsum(low) - 1
    starts = np.flatnonzero(low)
    v0 = v_in[starts]
    v1 = v_out[np.append(starts[1:] - 1, len(at) - 1)]
    vt = np.maximum.reduceat(top, starts)
    run = np.add.reduceat(size, starts)
    with np.errstate(divide="ignore", invalid="ignore"):
        ramp_time = np.where(np.isfinite(acc), (2 * top - v_in - v_out) / acc, 0.0)
    ramp_change = 2 * top - v_in - v_out
    slow, change = np.add.reduceat(ramp_time, starts), np.add.reduceat(ramp_change, starts)
    some = slow > 0
    a = np.where(some, change / np.where(some, slow, 1.0), np.inf)
    extra = np.zeros(len(starts))
    s = np.flatnonzero(some & np.isfinite(vt))
    before = _hump_seconds(run[s], v0[s], v1[s], vt[s], a[s], math.inf)
    with np.errstate(divide="ignore"):
        held = run[s] / np.minimum(v0[s], v1[s])  # a control may always stay at the lower speed: ripples cost no more
    gradual = np.minimum(_hump_seconds(run[s], v0[s], v1[s], vt[s], a[s], jerk), held)
    extra[s] = np.maximum(0.0, gradual - before)
    weight = ramp_time / np.where(slow > 0, slow, 1.0)[hump]
    delay[at] = extra[hump] * weight
    return delay


def _hump_begins(at: NDArray[np.int64], v_in: Floats, top: Floats, v_out: Floats) -> NDArray[np.bool_]:
    """Moves with which a hump begins: the first to speed up after the last slowing down (flat valleys included)."""
    least = 1e-9 * (1.0 + top)
    change = np.zeros(2 * len(top), dtype=np.int8)
    change[0::2] = top - v_in > least
    change[1::2] = -(top - v_out > least).astype(np.int8)
    latest = np.maximum.accumulate(np.where(change != 0, np.arange(len(change)), -1))
    before = latest[1:-1:2]  # the last change before each move but the first
    begins = np.ones(len(top), dtype=bool)
    begins[1:] = (change[2::2] > 0) & (before >= 0) & (change[before] < 0)
    begins[1:] |= np.diff(at) > 1
    return begins


def _hump_seconds(run: Floats, v0: Floats, v1: Floats, top: Floats, accel: Floats, jerk: float) -> Floats:
    """Seconds of one hump of length ``run`` between v0 and v1, no faster than ``top``."""

    def ramp(change: Floats) -> Floats:
        return _ramp_seconds(change, accel, jerk) if math.isfinite(jerk) else change / accel

    def needed(peak: Floats) -> Floats:
        up, down = ramp(peak - v0), ramp(peak - v1)
        return (peak + v0) / 2.0 * up + (peak + v1) / 2.0 * down

    floor = np.maximum(v0, v1)
    lo, hi = floor.copy(), np.maximum(top, floor)
    fits = needed(hi) <= run
    for _ in range(60):
        mid = (lo + hi) / 2.0
        ok = needed(mid) <= run
        lo, hi = np.where(ok, mid, lo), np.where(ok, hi, mid)
    peak = np.where(fits, np.maximum(top, floor), lo)
    ramps = ramp(peak - v0) + ramp(peak - v1)
    cruise = np.maximum(0.0, run - needed(peak)) / np.where(peak > 0, peak, 1.0)
    out: Floats = ramps + cruise
    return out
