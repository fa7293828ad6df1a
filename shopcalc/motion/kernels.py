"""The loops that see every move, compiled: plain, one after the other, nothing that knows a Machine or a Moves.

All of them stand in this one file, so that a change anywhere makes the compiled copies on disk stale together. Speeds
are squared [mm2/s2] where the name says ``speed2``. A window is a stretch of moves whose first junction has a known
speed; whole programs are one window, and ``final`` says that the program ends with it.
"""

from __future__ import annotations

import math

import numpy as np

from shopcalc.compiling import compiled
from shopcalc.moves import Kind, Stop

_RAPID, _LINE, _ARC = int(Kind.RAPID), int(Kind.LINE), int(Kind.ARC)
_DWELL, _CHANGE, _STOP, _SPINDLE = int(Kind.DWELL), int(Kind.CHANGE), int(Kind.STOP), int(Stop.SPINDLE_START)

#: What bounds the speed at a junction (``why``).
NEIGHBOUR, CORNER, BEND, LOOK_AHEAD, FULL_STOP = 0, 1, 2, 3, 4
#: What set the time of a move (``held``); the order of ``results.HELD_BACK``.
(
    ASKED, AXIS, ARC_SPEED, CORNER_IN, CORNER_OUT, STANDSTILL, CURVATURE, KNOWN_AHEAD, ACCELERATION, JERK, BLOCKS,
    UNKNOWN, STANDING,
) = range(13)  # fmt: skip
#: Corner rules.
NONE, TOLERANCE, SPEED_JUMP, STOPPING = 0, 1, 2, 3
#: Rows of the table of reciprocal limits.
RAPID_ROW, FEED_ROW, ACCELERATION_ROW, JUMP_ROW = 0, 1, 2, 3

CHORD = 0.3  # mm; shorter chords carry more rounding noise than curvature
_JOINED = CHORD * (1.0 - 1e-9)  # chords of just that length are not doubled by rounding
_TIE = 1.0 + 1e-9  # two bounds so near each other are one, and the farther one is named: the near one follows from it
_LOOSE = 1.0 + 2e-9  # beyond a tie
_FASTEST2 = 1e30  # mm2/s2: no limit, but a number
_SHARPEST_BEND = math.cos(math.radians(30))  # a sharper turn is a corner, not a curve


@compiled
def _corner_speed2(rule, tolerance, bend2, across, jump):  # type: ignore[no-untyped-def]
    """Squared speed through one corner from |d|^2, max |d_k| / A_k and max |d_k| / J_k."""
    if rule == 3:
        return 0.0
    if rule == 1 and bend2 > 1e-24:
        half = math.sqrt(max(0.0, 1.0 - bend2 / 4.0))  # h, because before . after = 1 - |d|^2 / 2
        if half < 1e-9:
            return 0.0  # straight back: a full stop whatever the limits
        if across > 0.0:
            return 4.0 * tolerance * half * (1.0 + half) / (math.sqrt(bend2) * across)
    if rule == 2 and jump > 0.0:
        return 1.0 / (jump * jump)
    return math.inf


@compiled
def corner_speeds2(before, after, inverse, counted, rule, tolerance, out):  # type: ignore[no-untyped-def]
    """Squared speeds of many corners over any number of axes; ``counted`` axes enter |d|."""
    for i in range(before.shape[0]):
        bend2 = across = jump = 0.0
        for k in range(before.shape[1]):
            turn = abs(after[i, k] - before[i, k])
            if turn > 0.0:
                if counted[k]:
                    bend2 += turn * turn
                across = max(across, turn * inverse[0, k])
                jump = max(jump, turn * inverse[1, k])
        out[i] = _corner_speed2(rule, tolerance, bend2, across, jump)


@compiled
def limits_and_corners(  # type: ignore[no-untyped-def]
    points, kind, feed, exact_stop, arc_index, arc_centre, arc_sweep, arc_plane, inverse, rule, tolerance, between,
    feed_factor, length, asked, allowed, accel, gain, bound, speed2, why, tangents,
):  # fmt: skip
    """Length, speeds and acceleration of each move; squared speed allowed at each junction but the first and last.

    ``tangents``: (n, 6) start and end direction of each move, written when it has rows. ``gain`` is 2 a L, what the
    squared speed can change along the move. ``why`` says what bounds each junction, ``bound`` each move's speed.
    """
    arcs, next_arc = arc_index.shape[0], 0
    moved, was_rapid = False, False
    bx = by = bz = top_before = 0.0
    keep = tangents.shape[0] > 0
    for i in range(kind.shape[0]):
        k = kind[i]
        dx, dy, dz = points[i + 1, 0] - points[i, 0], points[i + 1, 1] - points[i, 1], points[i + 1, 2] - points[i, 2]
        size = math.sqrt(dx * dx + dy * dy + dz * dz)
        want = math.inf if k == _RAPID else feed[i] * feed_factor
        asked[i] = want
        arc = next_arc < arcs and arc_index[next_arc] == i
        x = y = z = ex = ey = ez = slowest = weakest = 0.0  # slowest: seconds per mm; weakest: s2 per mm
        top, what = math.inf, AXIS
        if arc:
            p = (3 - arc_plane[next_arc]) % 3  # the plane's first axis, its second and the one across
            q, s = (p + 1) % 3, (p + 2) % 3
            op, oq = points[i, p] - arc_centre[next_arc, p], points[i, q] - arc_centre[next_arc, q]
            sweep = arc_sweep[next_arc]
            axial = points[i + 1, s] - points[i, s]
            radius = math.sqrt(op * op + oq * oq)
            around = radius * sweep
            size = math.sqrt(around * around + axial * axial)
            next_arc += 1
            if size > 0.0:
                around, axial = around / size, axial / size
                angle = math.atan2(oq, op)
                first, second = -math.sin(angle) * around, math.cos(angle) * around
                last, final = -math.sin(angle + sweep) * around, math.cos(angle + sweep) * around
                if p == 0:
                    x, y, z, ex, ey, ez = first, second, axial, last, final, axial
                elif p == 2:
                    z, x, y, ez, ex, ey = first, second, axial, last, final, axial
                else:
                    y, z, x, ey, ez, ex = first, second, axial, last, final, axial
                share, along = abs(around), abs(axial)
                hold = max(inverse[ACCELERATION_ROW, p], inverse[ACCELERATION_ROW, q])
                if share > 0.0:
                    if hold > 0.0:
                        top, what = math.sqrt(radius / hold) / share, ARC_SPEED
                        weakest = share * hold
                    slowest = share * max(inverse[FEED_ROW, p], inverse[FEED_ROW, q])
                if along > 0.0:
                    slowest = max(slowest, along * inverse[FEED_ROW, s])
                    weakest = max(weakest, along * inverse[ACCELERATION_ROW, s])
        elif size > 0.0 and k <= _ARC:
            part = 1.0 / size
            x, y, z = dx * part, dy * part, dz * part
            ex, ey, ez = x, y, z
            row = RAPID_ROW if k == _RAPID else FEED_ROW
            ax, ay, az = abs(x), abs(y), abs(z)
            if ax > 0.0:
                slowest, weakest = ax * inverse[row, 0], ax * inverse[ACCELERATION_ROW, 0]
            if ay > 0.0:
                slowest, weakest = max(slowest, ay * inverse[row, 1]), max(weakest, ay * inverse[ACCELERATION_ROW, 1])
            if az > 0.0:
                slowest, weakest = max(slowest, az * inverse[row, 2]), max(weakest, az * inverse[ACCELERATION_ROW, 2])
        moves = size > 0.0 and k <= _ARC
        length[i] = size if moves else 0.0
        if slowest > 0.0 and 1.0 / slowest <= top:
            top, what = 1.0 / slowest, AXIS
        if want <= top:  # not where no feed is known
            top, what = want, ASKED
        allowed[i], bound[i] = top, what
        accel[i] = 1.0 / weakest if weakest > 0.0 else math.inf
        gain[i] = 2.0 * accel[i] * size if moves else 0.0
        if keep:
            tangents[i, 0], tangents[i, 1], tangents[i, 2] = x, y, z
            tangents[i, 3], tangents[i, 4], tangents[i, 5] = ex, ey, ez
        if i > 0:
            if not (moved and moves) or exact_stop[i - 1] or (between and was_rapid != (k == _RAPID)):
                speed2[i], why[i] = 0.0, FULL_STOP
            else:
                least = min(top, top_before)
                cap, reason = least * least, NEIGHBOUR
                tx, ty, tz = abs(x - bx), abs(y - by), abs(z - bz)
                bend2 = tx * tx + ty * ty + tz * tz
                if bend2 > 0.0 or rule == STOPPING:
                    across = jump = 0.0
                    if rule == TOLERANCE:
                        across = max(
                            tx * inverse[ACCELERATION_ROW, 0],
                            max(ty * inverse[ACCELERATION_ROW, 1], tz * inverse[ACCELERATION_ROW, 2]),
                        )
                    elif rule == SPEED_JUMP:
                        if tx > 0.0:
                            jump = tx * inverse[JUMP_ROW, 0]
                        if ty > 0.0:
                            jump = max(jump, ty * inverse[JUMP_ROW, 1])
                        if tz > 0.0:
                            jump = max(jump, tz * inverse[JUMP_ROW, 2])
                    through = _corner_speed2(rule, tolerance, bend2, across, jump)
                    if through < cap:
                        cap, reason = through, CORNER
                speed2[i], why[i] = cap, reason
        moved, was_rapid, top_before, bx, by, bz = moves, k == _RAPID, top, ex, ey, ez


@compiled
def _bend(points, middle, end, start, size, unit, out):  # type: ignore[no-untyped-def]
    """Bend at ``middle`` between the chord of ``unit`` and ``size`` that ends there and the one to ``end``."""
    size2 = 0.0
    for k in range(3):
        out[k] = points[end, k] - start[k]
        size2 += out[k] * out[k]
    size2 = math.sqrt(size2)
    for k in range(3):
        out[k] = 2.0 * (out[k] / size2 - unit[k]) / (size + size2) if size > 0.0 and size2 > 0.0 else 0.0


@compiled
def _fill(length, bends, begin, end, lead, total, first, low, high):  # type: ignore[no-untyped-def]
    """Bends within one chord from junction ``begin`` (-1: before the window, by ``lead``) to ``end``, straight."""
    walked = lead
    for j in range(begin + 1, end):
        if j > 0:
            walked += length[j - 1]
        share = 1.0 if first else walked / total
        for k in range(3):
            # sizes change evenly, not the signed bends: these cancel where joined chords turn by half a circle
            size = abs(high[k]) if first else abs(low[k]) + (abs(high[k]) - abs(low[k])) * share
            positive = high[k] > 0.0 if first else low[k] + (high[k] - low[k]) * share > 0.0
            bends[j, k] = size if positive else -size
    if end >= 0:
        for k in range(3):
            bends[end, k] = high[k]


@compiled
def bends_of_chords(points, kind, length, carried, final, share, limit, speed2, why, bends, mark):  # type: ignore[no-untyped-def]
    """Curvature that fine chords stand for, at each junction (signed, axis by axis), and the speeds it allows.

    Lines that turn by no more than 30 degrees from one to the next make a run. Within it, chords of at least 0.3 mm
    along the path (the last one may be shorter) are joined, the bend at their ends is d over their mean length, and
    its size changes evenly between. Where a run begins or ends there is a corner and no bend; the first and the last
    chord keep the bend of their one inner end. ``mark``: 2 no run goes through, 1 chords meet, 0 within a chord.

    Returns the last junction whose bend no later move can change.
    """
    n = kind.shape[0]
    active, first, walked = carried[0] != 0.0, carried[1] != 0.0, carried[2]
    start, low, high, ahead, unit = carried[3:6].copy(), carried[6:9].copy(), np.zeros(3), np.zeros(3), np.zeros(3)
    anchor, lead = -1, walked  # the junction whose bend is known already
    closed, middle, size, total = False, 0, 0.0, 0.0  # whether a whole chord lies behind the anchor
    mark[0] = 2
    if active:
        mark[0] = 0
        if walked == 0.0:
            anchor, mark[0] = 0, 1
            bends[0, 0], bends[0, 1], bends[0, 2] = low[0], low[1], low[2]
    for i in range(n + 1):
        line = i < n and kind[i] == _LINE and length[i] > 0.0
        goes_on = active and line
        if goes_on and i > 0:
            dot = 0.0
            for k in range(3):
                dot += (points[i + 1, k] - points[i, k]) * (points[i, k] - points[i - 1, k])
            goes_on = dot >= _SHARPEST_BEND * length[i] * length[i - 1]
        if active and not goes_on and (i < n or final):
            if closed and walked > 0.0:
                _bend(points, middle, i, start, size, unit, high)
                _fill(length, bends, anchor, middle, lead, total, first, low, high)
                _fill(length, bends, middle, i, 0.0, 1.0, True, high, high)
            elif not first:
                _fill(length, bends, anchor, i, 0.0, 1.0, True, low, low)
            bends[i, 0] = bends[i, 1] = bends[i, 2] = 0.0
            mark[i] = 2
            active = False
        if not line:
            if i > 0 and not active:
                mark[i] = 2
            continue
        if not goes_on:
            active, first, closed, walked, anchor, lead = True, True, False, 0.0, i, 0.0
            mark[i] = 2
            for k in range(3):
                start[k], low[k] = points[i, k], 0.0
        walked += length[i]
        mark[i + 1] = 0
        if walked >= _JOINED:
            if closed:
                _bend(points, middle, i + 1, start, size, unit, ahead)
                _fill(length, bends, anchor, middle, lead, total, first, low, ahead)
                anchor, lead, first = middle, 0.0, False
                low[0], low[1], low[2] = ahead[0], ahead[1], ahead[2]
            size = 0.0
            for k in range(3):
                unit[k] = points[i + 1, k] - start[k]
                size += unit[k] * unit[k]
            size = math.sqrt(size)
            for k in range(3):
                unit[k] = unit[k] / size if size > 0.0 else 0.0
                start[k] = points[i + 1, k]
            closed, middle, total, walked = True, i + 1, walked, 0.0
            mark[i + 1] = 1
    known = n
    if active and not final:
        known = max(0, anchor)
    if not share:  # else they are weighed together with the change of speed
        for j in range(1, known + 1):
            for k in range(3):
                if bends[j, k] != 0.0:
                    cap = limit[k] / abs(bends[j, k])
                    if cap < speed2[j]:
                        speed2[j], why[j] = cap, BEND
    return known


@compiled
def _limit_to_known(speed2, why, gain, ahead, end):  # type: ignore[no-untyped-def]
    """Lower junction i to what moves i .. i + ahead - 1 can brake away (all that are left, at the program's end).

    Each sum of so many neighbours is the end of one block and the beginning of the next, so nothing is subtracted.
    Where an open window cuts a sum short it is still more than a plan that stops in front of the window's last move can
    use up, so nothing is decided by it; where bends may help to brake, ``end`` leaves such junctions out.
    """
    n = gain.shape[0]
    if ahead <= 0:
        for i in range(1, end + 1):
            speed2[i], why[i] = 0.0, LOOK_AHEAD
        return
    ahead = min(ahead, n)
    rest = np.zeros(ahead)
    for begin in range(0, end + 1, ahead):
        total = 0.0
        for j in range(ahead - 1, -1, -1):
            if begin + j < n:
                total += gain[begin + j]
            rest[j] = total
        total = 0.0
        for j in range(min(ahead, end + 1 - begin)):
            known = rest[j] + total
            if begin + j > 0 and known < speed2[begin + j]:
                speed2[begin + j], why[begin + j] = known, LOOK_AHEAD
            if begin + ahead + j < n:
                total += gain[begin + ahead + j]


@compiled
def _rows(points, bends, most, gain, size, move, box):  # type: ignore[no-untyped-def]
    """Fill ``box`` with p, q and A of a move, and say whether it bends: |p_j w + q_j w'| <= A_j.

    w and w' are the squared speeds at its ends. At both of them |t_j a + w k_j| <= A_j with a = (w' - w) / (2 L) and
    t = u -+ L k / 2, the curve's direction there. (Only in the middle it would be bound: a move along which an axis
    turns around would allow any w if w' were 0.) The last row keeps further axes within what they can change.
    """
    bent = False
    half = 0.5 / size
    for k in range(3):
        along = (points[move + 1, k] - points[move, k]) * half / size
        here, there = bends[move, k], bends[move + 1, k]
        bent = bent or here != 0.0 or there != 0.0
        begin, end = along - 0.25 * here, along + 0.25 * there
        box[0, k], box[1, k] = here - begin, begin
        box[0, k + 3], box[1, k + 3] = -end, there + end
    box[2, 6] = gain[move] if most else math.inf
    return bent


@compiled
def _narrowed(slope, rest, low, high):  # type: ignore[no-untyped-def]
    """Those t from ``low`` to ``high`` with slope t <= rest."""
    if slope > 0.0:
        high = min(high, rest / slope)
    elif slope < 0.0:
        low = max(low, rest / slope)
    return low, high


@compiled
def _highest(box, top, known):  # type: ignore[no-untyped-def]
    """Largest w <= top of the rows of ``box`` with some w' <= known, and that w': one row after the other.

    Where a row excludes the best so far, the best of all lies on its line (Seidel's way).
    """
    w, x = top, known
    for c in range(14):
        sign = 1.0 if c % 2 == 0 else -1.0
        p, q, limit = sign * box[0, c // 2], sign * box[1, c // 2], box[2, c // 2]
        if limit == math.inf or p * w + q * x <= limit * (1.0 + 1e-13):
            continue
        by_end = abs(p) >= abs(q)  # along the line, w' is the one that is free
        offset, slope = (limit / p, -q / p) if by_end else (limit / q, -p / q)
        low, high = _narrowed(slope, (top if by_end else known) - offset, 0.0, known if by_end else top)
        low, high = _narrowed(-slope, offset, low, high)
        for d in range(c):
            turn = 1.0 if d % 2 == 0 else -1.0
            before, after, rest = turn * box[0, d // 2], turn * box[1, d // 2], box[2, d // 2]
            if rest < math.inf:
                if by_end:
                    low, high = _narrowed(before * slope + after, rest - before * offset, low, high)
                else:
                    low, high = _narrowed(before + after * slope, rest - after * offset, low, high)
        if by_end:
            x = high if slope > 0.0 else min(low, high)
            w = offset + slope * x
        else:
            w = high
            x = offset + slope * w
    return max(0.0, w), max(0.0, x)


@compiled
def _before(box, top, known):  # type: ignore[no-untyped-def]
    """Largest squared speed up to ``top`` at the beginning of a move that ends with at most ``known``.

    Also says whether ``known`` is what bounds it, and not the bend alone.
    """
    top, known = min(top, _FASTEST2), min(known, _FASTEST2)
    w, low, falls = top, 0.0, False
    for k in range(7):
        p, q, limit = box[0, k], box[1, k], box[2, k]
        if limit < math.inf:
            if p < 0.0:
                p, q = -p, -q
            rest = q * known
            if p > 0.0:
                high = (limit - rest) / p
                if high < w:
                    w, falls = high, q > 0.0
                low = max(low, (-limit - rest) / p)
            elif abs(rest) > limit:
                falls = True
    if w >= low and not falls:
        return w, True
    w, x = _highest(box, top, known)
    return w, x >= known * (1.0 - 1e-9)


@compiled
def _after(box, top, known):  # type: ignore[no-untyped-def]
    """Largest squared speed up to ``top`` at the end of a move from ``known``, and whether that is what bounds it."""
    w, follows = min(top, _FASTEST2), True
    for k in range(7):
        p, q, limit = box[0, k], box[1, k], box[2, k]
        if limit < math.inf and q != 0.0:
            if q < 0.0:
                p, q = -p, -q
            high = (limit - p * known) / q
            if high < w:
                w, follows = high, p < 0.0
    return max(0.0, w), follows


@compiled
def junction_speeds(  # type: ignore[no-untyped-def]
    speed2, why, gain, length, points, bends, limit, most, look_ahead, end, final
):
    """Largest squared junction speeds within the caps that the accelerations can join, in place up to ``end``.

    Returns the last junction whose speed, and with it all before, no later move can change: the plan is made once
    open at ``end`` and once with a stop there, and what both agree on stands. Where bends share the acceleration, each
    move has an area of pairs of speeds at its ends, convex and with (0, 0) in it: from the end back the largest speed
    from which the rest can be run, then forward the largest that the move before allows (the two passes of Pham and
    Pham 2018). ``most``: whether ``gain`` bounds the change there, too.
    """
    share = bends.shape[0] > 0
    box = np.zeros((3, 7))
    box[0, 6], box[1, 6] = -1.0, 1.0
    for k in range(3):
        box[2, k] = box[2, k + 3] = limit[k]
    if look_ahead > 0:
        _limit_to_known(speed2, why, gain, look_ahead - 1, end)
    if final:
        speed2[end], why[end] = 0.0, FULL_STOP
    for i in range(end - 1, 0, -1):
        if speed2[i] > 0.0:
            reason = why[i + 1]
            if share and length[i] > 0.0 and _rows(points, bends, most, gain, length[i], i, box):
                reached, follows = _before(box, speed2[i] * _LOOSE, speed2[i + 1])
                reason = reason if follows else BEND
            else:
                reached = speed2[i + 1] + gain[i]
            if reached < speed2[i] * _TIE:
                speed2[i], why[i] = min(reached, speed2[i]), reason
    agreed, low = end, speed2[end]
    closed = np.zeros(1)
    if not final and speed2[end] > 0.0:
        low = 0.0
        count = 1
        closed = np.empty(64)
        closed[0] = 0.0
        while agreed > 0 and low < speed2[agreed]:
            agreed -= 1
            if agreed == 0:
                break
            if share and length[agreed] > 0.0 and _rows(points, bends, most, gain, length[agreed], agreed, box):
                low, _ = _before(box, speed2[agreed], low)
            else:
                low = min(low + gain[agreed], speed2[agreed])
            if count == closed.shape[0]:
                more = np.empty(2 * count)
                more[:count] = closed
                closed = more
            closed[count] = low
            count += 1
    for i in range(end):
        if speed2[i + 1] > 0.0:
            reason = why[i]
            if share and length[i] > 0.0 and _rows(points, bends, most, gain, length[i], i, box):
                reached, follows = _after(box, speed2[i + 1] * _LOOSE, speed2[i])
                reason = reason if follows else BEND
            else:
                reached = speed2[i] + gain[i]
            if reached < speed2[i + 1] * _TIE:
                speed2[i + 1], why[i + 1] = min(reached, speed2[i + 1]), reason
    if final:
        return end
    while agreed < end and closed[end - agreed - 1] >= speed2[agreed + 1]:
        agreed += 1
    return agreed


@compiled
def _ramp(change, a, jerk):  # type: ignore[no-untyped-def]
    """Seconds between two speeds: dv/a + a/J once a is reached, else 2 sqrt(dv/J)."""
    return change / a + a / jerk if change >= a * a / jerk else 2.0 * math.sqrt(max(0.0, change) / jerk)


@compiled
def _sudden(run, v0, v1, top, a):  # type: ignore[no-untyped-def]
    """Seconds of a hump of length ``run`` from v0 over at most ``top`` to v1, without jerk."""
    floor = max(v0, v1)
    peak = max(top, floor)
    need = (2.0 * peak * peak - v0 * v0 - v1 * v1) / (2.0 * a)
    if need > run:
        peak = min(peak, max(floor, math.sqrt(a * run + (v0 * v0 + v1 * v1) / 2.0)))
        need = (2.0 * peak * peak - v0 * v0 - v1 * v1) / (2.0 * a)
    return (2.0 * peak - v0 - v1) / a + (max(0.0, run - need) / peak if peak > 0.0 else 0.0)


@compiled
def _gradual(run, v0, v1, top, a, jerk):  # type: ignore[no-untyped-def]
    """Seconds of the same hump under jerk, between two speeds of which one can be reached from the other.

    Where both ramps do not fit the top is lowered: with x = sqrt(top - max(v0, v1)) the length they need is convex
    and rising, so Newton's steps from above come down to the answer.
    """
    floor = max(v0, v1)
    peak = max(top, floor)
    x = math.sqrt(peak - floor)
    for _ in range(60):
        up, down = _ramp(peak - v0, a, jerk), _ramp(peak - v1, a, jerk)
        need = ((peak + v0) * up + (peak + v1) * down) / 2.0
        if need <= run or peak <= floor:
            break
        slope = x * (up + down)
        for v in (v0, v1):
            change = peak - v
            steep = 1.0 / a if change >= a * a / jerk else 1.0 / math.sqrt(change * jerk)
            slope += (peak + v) * x * steep
        step = (need - run) / slope
        x = max(0.0, x - step)
        peak = floor + x * x
        if step <= 1e-15 * x:
            break
    up, down = _ramp(peak - v0, a, jerk), _ramp(peak - v1, a, jerk)
    seconds = up + down
    if peak > 0.0:
        seconds += max(0.0, run - ((peak + v0) * up + (peak + v1) * down) / 2.0) / peak
    slower = min(v0, v1)
    if slower > 0.0:
        seconds = min(seconds, run / slower)  # a control may always stay at the lower speed: ripples cost no more
    return seconds


#: Columns of the table of humps: moves from, to; length up to the even tail behind its last slowing down, and that
#: tail; speeds at its ends and the highest; seconds of its ramps and what they change; whether speed fell before.
_BEGIN, _END, _RUN, _TAIL, _ENTER, _LEAVE, _TOP, _SLOW, _GAINED, _FELL = range(10)


@compiled
def _note(row, begin, end, run, tail, enter, leave, top, slow, change, fell):  # type: ignore[no-untyped-def]
    """Fill one row of the table of humps."""
    row[_BEGIN], row[_END], row[_RUN], row[_TAIL], row[_ENTER] = begin, end, run, tail, enter
    row[_LEAVE], row[_TOP], row[_SLOW], row[_GAINED], row[_FELL] = leave, top, slow, change, 1.0 if fell else 0.0


@compiled
def _pool(humps, count, final, jerk):  # type: ignore[no-untyped-def]
    """Join humps that are too short for the gradual ramp between the speeds at their ends, in place.

    Where speed would rise over such a hump the valley behind it is not reached, where it would fall the one before it;
    either way acceleration does not come to rest there, and two humps are one. Returns how many there are, and how many
    no later one can change: the speed at which the next one begins can be braked away within it, to whatever is left
    (v0 + v1) sqrt((v0 - v1) / J) is greatest at v1 = v0 / 3).
    """
    last = -1
    for k in range(count):
        last += 1
        if last < k:
            humps[last] = humps[k]
        while True:
            row = humps[last]
            joins = False
            if last > 0 and row[_BEGIN] == humps[last - 1, _END] and row[_ENTER] > 0.0:
                before = humps[last - 1]
                joins = row[_ENTER] > row[_LEAVE] and not _has_room(row, jerk)
                joins = joins or (before[_LEAVE] > before[_ENTER] and not _has_room(before, jerk))
            if not joins:
                break
            last -= 1
            row = humps[last]
            behind = humps[last + 1]
            row[_RUN] += row[_TAIL] + behind[_RUN]
            row[_END], row[_TAIL], row[_LEAVE] = behind[_END], behind[_TAIL], behind[_LEAVE]
            row[_TOP] = max(row[_TOP], behind[_TOP])
            row[_SLOW] += behind[_SLOW]
            row[_GAINED] += behind[_GAINED]
    if final:
        return last + 1, last + 1
    for k in range(last, 0, -1):
        v = humps[k, _ENTER]
        if 1.09 * v * math.sqrt(v / jerk) <= humps[k, _RUN]:
            return last + 1, k
    return last + 1, 0


@compiled
def _has_room(row, jerk):  # type: ignore[no-untyped-def]
    """Whether a hump is long enough for a gradual ramp between the speeds at its ends; acceleration is known to be."""
    v0, v1 = row[_ENTER], row[_LEAVE]
    return row[_TOP] == math.inf or (v0 + v1) * math.sqrt(abs(v1 - v0) / jerk) <= row[_RUN]


@compiled
def _finish(  # type: ignore[no-untyped-def]
    i, extra, least_time, asked, seconds, lost_limits, lost_ramps, lost_jerk, lost_blocks, held, slowest
):
    """Add the wait for the next block and name what set the move's time."""
    lost_jerk[i] = extra
    total = seconds[i] + extra
    wait = max(0.0, least_time - total)
    lost_blocks[i] = wait
    if math.isnan(asked[i]):
        seconds[i] = lost_limits[i] = lost_ramps[i] = lost_jerk[i] = lost_blocks[i] = math.nan
        held[i] = UNKNOWN
        return
    seconds[i] = total + wait
    # all loaded first and chosen without branches: which is the greatest is a toss for a processor to guess
    limits, ramps, by_limit, by_ramp = lost_limits[i], lost_ramps[i], held[i], slowest[i]
    what = by_ramp if ramps > limits else by_limit
    most = max(limits, ramps)
    what = JERK if extra > most else what
    most = max(extra, most)
    what = BLOCKS if wait > most else what
    held[i] = what if max(wait, most) > 0.01 * seconds[i] else ASKED


@compiled
def times(  # type: ignore[no-untyped-def]
    kind, value, points, length, asked, allowed, accel, gain, speed2, why, bends, limit, jerk, least_time, change,
    spindle_start, valley, end, final, speed, peak, seconds, lost_limits, lost_ramps, lost_jerk, lost_blocks, held,
    slowest,
):  # fmt: skip
    """Seconds of moves 0 .. end - 1 and what held them back.

    Under jerk the plan is cut into humps: up, along, down. A hump begins with the first speeding up after a slowing
    down, after every standing move, and within a long stretch of even speed, where enough of it lies on both sides for
    any ramp (so that no hump grows without end). Returns the number of moves whose hump no later move can change, and
    whether the next begins in a valley.
    """
    share = bends.shape[0] > 0
    gradual = jerk < math.inf
    speed[0] = math.sqrt(speed2[0])
    is_open, hump, fell, fell_at_begin = False, 0, valley, valley
    run = slow = rise = top = enter = 0.0  # of the open hump
    humps, count = np.empty((end + 2 if gradual else 0, 10)), 0
    core = 0.0
    steady, split = 0.0, -1  # length of even speed so far; where the hump may be split
    run2 = slow2 = rise2 = top2 = 0.0  # of its part behind the split
    for i in range(end + 1):
        size = length[i] if i < end else 0.0
        if i < end:
            speed[i + 1] = math.sqrt(speed2[i + 1])
        begins = False
        v0 = v1 = best = rounding = ramp_time = 0.0
        if size > 0.0:
            v0, v1, w0, w1, a, fastest = speed[i], speed[i + 1], speed2[i], speed2[i + 1], accel[i], allowed[i]
            best2 = (w0 + w1 + gain[i]) / 2.0
            if share:
                best2 = math.inf
                own = math.inf  # what its own bend allows in the direction in which the plan changes speed
                small = 1e-9 * (w0 + w1)
                sense = 0.0 if abs(w1 - w0) <= small else 1.0 if w1 > w0 else -1.0
                for k in range(3):
                    here, there = bends[i, k], bends[i + 1, k]
                    low, high = abs(here), abs(there)
                    if low + high > 0.0:
                        best2 = min(best2, 2.0 * limit[k] / (low + high))
                        step, half = points[i + 1, k] - points[i, k], 0.5 * size * size
                        along, left = abs(step), (limit[k] - abs(w0 * here + w1 * there) / 2.0) * size
                        if left < a * along:
                            a = left / along
                        for end_step, pull in ((step - half * here, w0 * here), (step + half * there, w1 * there)):
                            along = abs(end_step)
                            against = pull * sense * (1.0 if end_step > 0.0 else -1.0) if sense != 0.0 else abs(pull)
                            left = (limit[k] - against) * size
                            if left < own * along:
                                own = left / along
                plain = abs(w1 - w0) / (2.0 * size)
                if plain >= own * (1.0 - 1e-6) - small / size and min(w0, w1) > small:
                    a = plain  # it is used up: no higher speed between its ends
                a = max(a, plain)
                accel[i] = a
                best2 = min(best2, (w0 + w1) / 2.0 + a * size)
            best = fastest if fastest * fastest <= best2 else math.sqrt(best2)
            best = max(best, max(v0, v1))
            peak[i] = best
            climb, fall = best - v0, best - v1
            up = down = 0.0
            time = 0.0  # where no limit at all is known: no time either
            if best < math.inf:
                # by length over mean speed: a bend may leave next to no acceleration, and dv/a would be all rounding
                even = size
                if 0.0 < a < math.inf and (climb > 0.0 or fall > 0.0):
                    slope = 0.5 / a
                    if climb > 0.0:
                        rising = min(even, (best * best - w0) * slope)
                        up = 2.0 * rising / (best + v0)
                        even -= rising
                    if fall > 0.0:
                        sinking = min(even, (best * best - w1) * slope)
                        down = 2.0 * sinking / (best + v1)
                        even -= sinking
                time = up + down + even / best if even > 0.0 else up + down
            rounding = 1e-9 * (1.0 + best)
            ramp_time = (up if climb > rounding else 0.0) + (down if fall > rounding else 0.0)
            pace = 1.0 / fastest
            free = size * pace
            seconds[i] = time
            lost_limits[i] = 0.0 if held[i] == ASKED else free - size / asked[i]
            lost_ramps[i] = time - free
            # where most of the ramps' time went
            begin_loss = up - (best + v0) * up * 0.5 * pace
            end_loss = down - (best + v1) * down * 0.5 * pace
            even_loss = time - free - begin_loss - end_loss
            reason, what = why[i], CORNER_IN
            if end_loss > begin_loss:
                reason, what = why[i + 1], CORNER_OUT
            if reason == BEND or (share and even_loss > max(begin_loss, end_loss)):
                what = CURVATURE
            elif reason == LOOK_AHEAD:
                what = KNOWN_AHEAD
            elif reason == NEIGHBOUR or best < fastest * (1.0 - 1e-9):
                what = ACCELERATION
            elif reason == FULL_STOP:
                what = STANDSTILL
            slowest[i] = what
            if not gradual:
                _finish(
                    i, 0.0, least_time, asked, seconds, lost_limits, lost_ramps, lost_jerk, lost_blocks, held, slowest
                )
                continue
            lost_jerk[i] = ramp_time
            begins = not is_open or (climb > rounding and fell)
        elif i < end:
            peak[i] = lost_limits[i] = lost_ramps[i] = lost_jerk[i] = lost_blocks[i] = seconds[i] = 0.0
            held[i] = STANDING
            if kind[i] == _DWELL:
                seconds[i] = value[i]
            elif kind[i] == _CHANGE:
                seconds[i] = change
            elif kind[i] == _STOP and value[i] == _SPINDLE:
                seconds[i] = spindle_start
        elif not final:
            break  # the open hump waits for what comes
        # under jerk: close what ends in front of this move
        if is_open and (begins or size == 0.0):
            if split >= 0:
                run, slow, rise, top = run + run2, slow + slow2, rise + rise2, max(top, top2)
            core = core if fell and core > 0.0 else run
            _note(humps[count], hump, i, core, run - core, enter, speed[i], top, slow, rise, fell_at_begin)
            count += 1
            is_open, fell = False, False
        if size == 0.0:
            continue
        if not is_open:
            is_open, hump, enter, split, steady = True, i, v0, -1, 0.0
            fell_at_begin = fell
            run = slow = rise = top = core = 0.0
        climbs, falls = best - v0 > rounding, best - v1 > rounding
        gained = (best - v0 if climbs else 0.0) + (best - v1 if falls else 0.0)
        if (climbs or falls) and split >= 0:
            run, slow, rise, top, split = run + run2, slow + slow2, rise + rise2, max(top, top2), -1
        if split >= 0:
            run2, slow2, rise2, top2 = (
                run2 + size,
                slow2 + ramp_time,
                rise2 + gained,
                max(top2, best),
            )
        else:
            run, slow, rise, top = run + size, slow + ramp_time, rise + gained, max(top, best)
        if climbs or falls:
            core = run
        if climbs:
            fell = False
        if falls:
            fell = True
        steady = 0.0 if climbs or falls else steady + size
        enough = 2.0 * best * math.sqrt(best / jerk)
        if split >= 0 and run2 >= enough:
            core = core if fell and core > 0.0 else run
            _note(humps[count], hump, split, core, run - core, enter, speed[split], top, slow, rise, fell_at_begin)
            count += 1
            core = 0.0
            hump, enter, fell_at_begin = split, speed[split], fell
            run, slow, rise, top, steady, split = run2, slow2, rise2, top2, run2, -1
        if split < 0 and steady > 0.0 and steady >= enough:
            split = i + 1
            run2 = slow2 = rise2 = top2 = 0.0
    if not gradual:
        return end, False
    count, decided = _pool(humps, count, final, jerk)
    for k in range(decided):
        row = humps[k]
        run, enter, leave, top, slow = row[_RUN], row[_ENTER], row[_LEAVE], row[_TOP], row[_SLOW]
        factor = 0.0
        if slow > 0.0 and top < math.inf:
            push = row[_GAINED] / slow
            factor = _gradual(run, enter, leave, top, push, jerk) - _sudden(run, enter, leave, top, push)
            factor = max(0.0, factor) / slow
        for j in range(int(row[_BEGIN]), int(row[_END])):
            _finish(
                j, lost_jerk[j] * factor, least_time, asked, seconds, lost_limits, lost_ramps, lost_jerk, lost_blocks,
                held, slowest,
            )  # fmt: skip
    if decided < count:
        return int(humps[decided, _BEGIN]), humps[decided, _FELL] > 0.0
    if is_open:
        return hump, fell_at_begin
    return end, False


@compiled
def add_up(  # type: ignore[no-untyped-def]
    kind, points, travel, length, seconds, asked, allowed, accel, speed, peak, why, lost_limits, lost_ramps, lost_jerk,
    lost_blocks, step, edges, lowest, offset, kinds, causes, extents, bands, places,
):  # fmt: skip
    """Add a window to the sums: ``kinds`` (2, 6), ``causes`` (13,), ``extents`` (3, 2), ``bands`` (b, 3), ``places``.

    ``kinds``: seconds and lengths; ``causes`` in the order of ``results.CAUSES`` and then length / feed; ``bands``:
    seconds, length and lost seconds of each depth band, of ``step`` from ``lowest`` on or between ``edges``;
    ``places``: (p, 2) the moves that lost most, most first: seconds and number.
    """
    for i in range(kind.shape[0]):
        k = kind[i]
        spent = seconds[i]
        kinds[0, k] += spent
        kinds[1, k] += travel[i]
        if k <= _ARC:
            for axis in range(3):
                low, high = points[i, axis], points[i + 1, axis]
                extents[axis, 0] = min(extents[axis, 0], min(low, high))
                extents[axis, 1] = max(extents[axis, 1], max(low, high))
        if k == _RAPID:
            causes[9] += spent
        elif k == _CHANGE:
            causes[11] += spent
        elif k > _ARC:
            causes[10] += spent
        else:
            lost = lost_limits[i] + lost_ramps[i] + lost_jerk[i] + lost_blocks[i]
            causes[0] += spent - lost
            causes[1] += lost_limits[i]
            causes[7] += lost_jerk[i]
            causes[8] += lost_blocks[i]
            if length[i] > 0.0:
                causes[12] += length[i] / asked[i]
                a, v0, v1, best = accel[i], speed[i], speed[i + 1], peak[i]
                left = lost_ramps[i]
                if 0.0 < a < math.inf:
                    begin_loss = end_loss = 0.0
                    if best > v0:
                        rising = min(length[i], (best * best - v0 * v0) / (2.0 * a))
                        begin_loss = 2.0 * rising / (best + v0) - rising / allowed[i]
                    if best > v1:
                        sinking = min(length[i], (best * best - v1 * v1) / (2.0 * a))
                        end_loss = 2.0 * sinking / (best + v1) - sinking / allowed[i]
                    if left - begin_loss - end_loss > 1e-9 * spent:  # an even speed below the allowed one: a bend's
                        causes[4] += left - begin_loss - end_loss
                        left = begin_loss + end_loss
                    causes[_cause(why[i])] += begin_loss
                    left -= begin_loss
                causes[_cause(why[i + 1])] += left
            if bands.shape[0] > 0:
                z = min(points[i, 2], points[i + 1, 2]) + 1e-6  # a level counts to the band above it, rounding or not
                band = math.floor(z / step) - lowest if step > 0.0 else int(np.searchsorted(edges, z, side="right"))
                bands[band, 0] += spent
                bands[band, 1] += travel[i]
                bands[band, 2] += lost
            last = places.shape[0] - 1
            if last >= 0 and lost > places[last, 0]:
                while last > 0 and lost > places[last - 1, 0]:
                    places[last, 0], places[last, 1] = places[last - 1, 0], places[last - 1, 1]
                    last -= 1
                places[last, 0], places[last, 1] = lost, offset + i


@compiled
def _cause(why):  # type: ignore[no-untyped-def]
    """Place in ``results.CAUSES`` of what bounds a junction."""
    if why == CORNER:
        return 2
    if why == FULL_STOP:
        return 3
    if why == BEND:
        return 4
    if why == LOOK_AHEAD:
        return 5
    return 6
