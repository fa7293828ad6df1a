"""Moves and a Machine in, seconds of every move out: arrays are laid out here, the loops stand in ``kernels``."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from shopcalc.motion.corners import RULES
from shopcalc.motion.further import further_axes
from shopcalc.motion.results import MotionTime
from shopcalc.moves import Floats, Kind, Moves, from_lists

if TYPE_CHECKING:
    from shopcalc.machines import Machine

_NO_BENDS = np.zeros((0, 3))
_NO_TANGENTS = np.zeros((0, 6))


@dataclass(frozen=True, eq=False)
class Start:
    """What must be known of the moves before a window.

    Parameters
    ----------
    speed2 : float
        Squared speed with which it begins [mm2/s2].
    bound : int
        What bounds that speed, as in ``MotionTime.bounds``.
    chord : (9,) float
        The joined chord that is under way: whether there is one, whether it is the first of its run, how far it has
        come [mm], where it began [mm] and the bend there [1/mm].
    valley : bool
        Whether speed last fell, so that the next speeding up begins a hump.
    """

    speed2: float = 0.0
    bound: int = 4
    chord: Floats = field(default_factory=lambda: np.zeros(9))
    valley: bool = False


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
    takes less than 1/B.

    *Jerk*: the plan is cut into humps (up, along, down), also within long stretches of even speed; a ramp of dv takes
    dv/a + a/J, or 2 sqrt(dv/J) when it never reaches a, at its mean speed, a being the mean over the hump; where both
    ramps do not fit the top is lowered, and humps too short for the ramp between the speeds at their ends are one with
    the next. An even stretch behind the last slowing down is none of the hump's length.

    *Bends of fine chords*: lines that turn by at most 30 degrees make a run, in which chords are joined to 0.3 mm and
    bend by k = d over their mean length. "speed": v^2 |k_j| <= A_j at each junction. "share": |t_j a + v^2 k_j| <= A_j
    at both ends of each move, with a = (v1^2 - v0^2)/(2 L) and t = u -+ L k/2, the curve's direction there: a bend that
    pulls an axis against the change of speed helps it. The squared speeds are the largest that satisfy this. Within a
    move that has not used it up, and at starts and stops, speed rises and falls with what the mean bend leaves.

    *Further axes*: see ``further_axes``. What is neglected: lag of the drives, feed that the operator changes by hand,
    and the path change inside the corner tolerance.

    References
    ----------
    Jeon (2011), corner speed from a tolerated deviation; the two-pass plan is the textbook solution of
    time-optimal motion along a given path (definition); under "share" that of Pham and Pham, "A new approach to
    time-optimal path parameterization based on reachability analysis", IEEE Transactions on Robotics 34(3), 2018.
    """
    time, _, _ = plan(moves, machine, Start(), final=True)
    return time


def _reciprocals(machine: Machine) -> Floats:
    """(4, 3): 1 / rapid speed, feed speed [s/mm], acceleration [s2/mm] and speed jump [s/mm] of x, y and z."""
    x, y, z = machine.axes
    jump = machine.controller.corner_speed_jump
    limits = [
        [x.rapid / 60.0, y.rapid / 60.0, z.rapid / 60.0],
        [x.feed / 60.0, y.feed / 60.0, z.feed / 60.0],
        [x.acceleration, y.acceleration, z.acceleration],
        [jump[0], jump[1], jump[2]],
    ]
    return np.array([[1.0 / v if v > 0 else math.inf for v in row] for row in limits])


def plan(moves: Moves, machine: Machine, start: Start, *, final: bool) -> tuple[MotionTime, int, Start]:
    """Time those moves of a window that nothing to come can change.

    Parameters
    ----------
    moves : Moves
        The window.
    machine : Machine
        What runs them.
    start : Start
        What the moves before left.
    final : bool
        Whether the program ends with the window: then all moves are timed.

    Returns
    -------
    time : MotionTime
        Of moves 0 .. done - 1.
    done : int
        How many moves.
    next : Start
        For the window that begins with move ``done``.
    """
    from shopcalc.motion import kernels

    n = len(moves)
    controller, times = machine.controller, machine.times
    floats = np.empty((7, n))
    length, asked, allowed, accel, gain, peak, seconds = floats
    lost = np.empty((4, n))
    speed2, speed = np.empty(n + 1), np.empty(n + 1)
    why, held, slowest = np.empty(n + 1, np.uint8), np.empty(n, np.uint8), np.empty(n, np.uint8)
    speed2[0], why[0] = start.speed2, start.bound
    speed2[n], why[n] = math.inf, 0
    points, kind = np.ascontiguousarray(moves.points, dtype=float), np.ascontiguousarray(moves.kind, dtype=np.uint8)
    limit = np.array([a.acceleration for a in machine.axes], dtype=float)
    tangents = np.empty((n, 6)) if moves.extra else _NO_TANGENTS
    bends, mark = _NO_BENDS, np.zeros(0, np.uint8)
    end = n if final else n - 1  # the last corner's other side is not known
    with np.errstate(all="ignore"):  # where the loops run uncompiled
        kernels.limits_and_corners(
            points, kind, np.ascontiguousarray(moves.feed, dtype=float), np.ascontiguousarray(moves.exact_stop),
            moves.arc_index, np.ascontiguousarray(moves.arc_centre), np.ascontiguousarray(moves.arc_sweep),
            np.ascontiguousarray(moves.arc_plane), _reciprocals(machine), RULES[controller.corner],
            float(controller.corner_tolerance), bool(controller.stop_between_rapid_and_feed),
            machine.feed_share / 60.0, length, asked, allowed, accel, gain, held, speed2, why, tangents,
        )  # fmt: skip
        if controller.chord_curvature != "off":
            bends, mark = np.zeros((n + 1, 3)), np.zeros(n + 1, np.uint8)
            share = controller.chord_curvature == "share"
            known = kernels.bends_of_chords(
                points, kind, length, start.chord, final, share, limit, speed2, why, bends, mark
            )
            end = min(end, known)  # bends that may still change are left out
            if share and controller.look_ahead > 0 and not final:
                # a bend may help to brake, so what a window cuts short of the moves known ahead might decide
                end = min(end, max(0, n + 1 - int(controller.look_ahead)))
        if moves.extra:
            further_axes(moves, machine, tangents, length, asked, allowed, accel, gain, held, speed2, why)
        done, valley = 0, start.valley
        if n > 0 and (end > 0 or final):
            shared = bends if controller.chord_curvature == "share" else _NO_BENDS
            most = bool(moves.extra)
            decided = kernels.junction_speeds(
                speed2, why, gain, length, points, shared, limit, most, int(controller.look_ahead), end, final
            )
            done, valley = kernels.times(
                kind, np.ascontiguousarray(moves.value, dtype=float), points, length, asked, allowed, accel, gain,
                speed2, why, shared, limit, float(controller.jerk), 1.0 / controller.blocks_per_second,
                float(times.cutter_change), float(times.spindle_start), start.valley, decided, final, speed, peak,
                seconds, lost[0], lost[1], lost[2], lost[3], held, slowest,
            )  # fmt: skip
    _change_ways(moves, machine, seconds, done)
    following = start if done == 0 else Start(
        float(speed2[done]), int(why[done]), _chord_at(start.chord, done, points, length, bends, mark), bool(valley)
    )  # fmt: skip
    whole = done == n
    time = MotionTime(
        moves if whole else moves.part(0, done), seconds[:done], speed[:done], speed[1 : done + 1], peak[:done],
        asked[:done], accel[:done], lost[0, :done], lost[1, :done], lost[2, :done], lost[3, :done], allowed[:done],
        length[:done], held[:done], why[: done + 1],
    )  # fmt: skip
    return time, done, following


def _chord_at(
    before: Floats, at: int, points: Floats, length: Floats, bends: Floats, mark: NDArray[np.uint8]
) -> Floats:  # fmt: skip
    """The joined chord that is under way at a junction, as ``Start.chord`` has it."""
    out = np.zeros(9)
    if not len(mark) or mark[at] == 2:
        return out
    met = np.flatnonzero(mark[: at + 1])
    if not len(met):  # the chord began before the window
        out[:] = before
        out[2] = np.cumsum(np.concatenate([before[2:3], length[:at]]))[-1]
        return out
    begin = int(met[-1])
    out[0], out[1] = 1.0, float(mark[begin] == 2)
    out[2] = np.cumsum(np.concatenate([[0.0], length[begin:at]]))[-1]
    out[3:6], out[6:9] = points[begin], bends[begin]
    return out


def _change_ways(moves: Moves, machine: Machine, seconds: Floats, count: int) -> None:
    """Add the rapid ways to the place of cutter changes and back to the first ``count`` moves, in place.

    Up (or down) to the higher of both places, across in one straight line, down; back likewise: every leg a rapid
    from rest to rest (a convention of this model). Nothing is added unless change place and work zero 54 are known.
    """
    place, zero = machine.times.change_place, machine.work_zeros.get(54)
    if place is None or zero is None:
        return
    there = np.asarray(place, dtype=float) - np.asarray(zero, dtype=float)
    for i in np.flatnonzero(moves.kind[:count] == Kind.CHANGE):
        here = moves.points[i]
        high = max(here[2], there[2])
        legs = [(0.0, 0.0, high - here[2]), (there[0] - here[0], there[1] - here[1], 0.0), (0.0, 0.0, high - there[2])]
        seconds[i] += 2.0 * sum(_rest_to_rest(leg, machine) for leg in legs)


def _rest_to_rest(leg: tuple[float, float, float], machine: Machine) -> float:
    """Seconds of one straight rapid from rest to rest, jerk included."""
    if not any(leg):
        return 0.0
    alone = replace(machine.controller, blocks_per_second=math.inf, look_ahead=0)
    return machine_time(from_lists([(0.0, 0.0, 0.0), leg], [Kind.RAPID]), machine.with_(controller=alone)).total_s
