"""Strokes of a path: as few as a picture needs, none farther from the path than is said.

A view maps a place of the path to two numbers (u, v). Neighbouring moves of one sort become one stroke as long as all
of them stay within a sleeve about it; strokes that run wholly over earlier ones of their sort give their seconds to
those and are left out. Both errors are added up and stated. Memory stays bounded however long the path is.

Sleeve: the cone of directions from a stroke's start that pass every later point closely enough (geometry; the idea of
Zhao and Saalfeld, Linear-time sleeve-fitting polyline simplification algorithms, 1997, from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from shopcalc.compiling import compiled
from shopcalc.moves import Floats, Kind

if TYPE_CHECKING:
    from shopcalc.motion import MotionTime

View = Literal["plan", "front", "depth"]
#: What a view shows: x over y, x over z, or the distance along the path over z.
VIEWS: dict[View, int] = {"plan": 0, "front": 1, "depth": 2}
#: Sorts of strokes.
RAPID, CUT, NO_FEED = 0, 1, 2
#: Shares of the asked speed lost, where one class of width ends and the next begins.
CLASS_ENDS = (0.02, 0.25, 0.5, 0.75)

_FIRST = 0.02  # mm: what the first strokes may be off; finer than anybody sees
_ROOM = 1 << 16  # strokes kept before they are thinned further
_CELLS = 1 << 20  # of the grid that finds strokes over strokes
_THICK = 4  # strokes through a cell from which a bar shows them better
_MEAN = 16.0  # widths are means over at least so many tolerances of path: narrower changes cannot be read
_SLEEVE, _CHORDS, _CELL = 0.4, 0.1, 0.35  # shares of the tolerance: sleeve, arcs as chords, side of a cell (root 2: .5)

# columns of a stroke
_U0, _V0, _U1, _V1, _SORT, _SECONDS, _LOST, _LENGTH = range(8)
# places in the state of a view
_OPEN, _AU, _AV, _EU, _EV, _LU, _LV, _RU, _RV, _CONE, _FAR, _NOW_SORT, _CLASS, _SUM, _SUM_LOST, _SUM_LENGTH = range(16)
_COUNT, _DISTANCE, _SU, _SV, _BLEND, _ARC, _ARC_AT_HAND = range(16, 23)
_EXTREMES = 23  # four times u, v, sort: least u, greatest u, least v, greatest v
_STATE = _EXTREMES + 12


def _class_of_share(seconds: float, lost: float) -> int:
    share = lost / seconds if seconds > 0 else 0.0
    if share < 0.02:
        return 0
    if share < 0.25:
        return 1
    if share < 0.5:
        return 2
    return 3 if share < 0.75 else 4


def _close(state: Floats, strokes: Floats) -> None:
    """Put the open stroke into the buffer."""
    if state[_OPEN] == 0.0:
        return
    k = int(state[_COUNT])
    row = strokes[k]
    row[_U0] = state[_AU]
    row[_V0] = state[_AV]
    row[_U1] = state[_EU]
    row[_V1] = state[_EV]
    row[_SORT] = state[_NOW_SORT]
    row[_SECONDS] = state[_SUM]
    row[_LOST] = state[_SUM_LOST]
    row[_LENGTH] = state[_SUM_LENGTH]
    state[_COUNT] = k + 1
    state[_OPEN] = 0.0


def _extend(
    state: Floats, strokes: Floats, u0: float, v0: float, u1: float, v1: float, sort: int, seconds: float, lost: float,
    length: float,
) -> None:  # fmt: skip
    """Take one straight piece into the open stroke, or close that and begin another."""
    kind = _class_of_share(seconds, lost)
    goes_on = state[_OPEN] == 1.0 and state[_NOW_SORT] == sort and state[_EU] == u0 and state[_EV] == v0
    if goes_on and state[_CLASS] != kind:
        goes_on = state[_SUM_LENGTH] <= state[_BLEND] and length <= state[_BLEND]
    du = dv = r = 0.0
    if goes_on:
        du, dv = (u1 - state[_AU]) / state[_SU], (v1 - state[_AV]) / state[_SV]
        r = math.sqrt(du * du + dv * dv)
        goes_on = r >= state[_FAR] - 0.5
        if goes_on and state[_CONE] == 1.0:
            goes_on = (
                state[_RU] * dv - state[_RV] * du >= 0.0
                and du * state[_LV] - dv * state[_LU] >= 0.0
                and du * (state[_RU] + state[_LU]) + dv * (state[_RV] + state[_LV]) >= 0.0
            )
    if not goes_on:
        _close(state, strokes)
        state[_OPEN] = 1.0
        state[_AU] = u0
        state[_AV] = v0
        state[_CONE] = 0.0
        state[_FAR] = 0.0
        state[_NOW_SORT] = sort
        state[_CLASS] = kind
        state[_SUM] = state[_SUM_LOST] = state[_SUM_LENGTH] = 0.0
        du, dv = (u1 - u0) / state[_SU], (v1 - v0) / state[_SV]
        r = math.sqrt(du * du + dv * dv)
    state[_EU] = u1
    state[_EV] = v1
    state[_SUM] += seconds
    state[_SUM_LOST] += lost
    state[_SUM_LENGTH] += length
    state[_FAR] = max(state[_FAR], r)
    if r > 0.8:
        s = 0.8 / r
        c = math.sqrt(1.0 - s * s)
        uu, vv = du / r, dv / r
        lu, lv = uu * c - vv * s, uu * s + vv * c
        ru, rv = uu * c + vv * s, vv * c - uu * s
        if state[_CONE] == 0.0 or lu * state[_LV] - lv * state[_LU] > 0.0:  # the new left side lies right of the old
            state[_LU] = lu
            state[_LV] = lv
        if state[_CONE] == 0.0 or state[_RU] * rv - state[_RV] * ru > 0.0:
            state[_RU] = ru
            state[_RV] = rv
        state[_CONE] = 1.0


def _touch(state: Floats, u: float, v: float, sort: int) -> None:
    e = _EXTREMES
    if u < state[e]:
        state[e] = u
        state[e + 1] = v
        state[e + 2] = sort
    if u > state[e + 3]:
        state[e + 3] = u
        state[e + 4] = v
        state[e + 5] = sort
    if v < state[e + 7]:
        state[e + 6] = u
        state[e + 7] = v
        state[e + 8] = sort
    if v > state[e + 10]:
        state[e + 9] = u
        state[e + 10] = v
        state[e + 11] = sort


def _piece(
    state: Floats, strokes: Floats, window: Floats, u0: float, v0: float, u1: float, v1: float, sort: int,
    seconds: float, lost: float, length: float,
) -> None:  # fmt: skip
    """One straight piece, unless it lies outside the window."""
    if max(u0, u1) < window[0] or min(u0, u1) > window[1] or max(v0, v1) < window[2] or min(v0, v1) > window[3]:
        _close(state, strokes)
        return
    _touch(state, u0, v0, sort)
    _touch(state, u1, v1, sort)
    _extend(state, strokes, u0, v0, u1, v1, sort, seconds, lost, length)


def _phases(
    length: float, seconds: float, entry: float, exit_: float, peak: float, jerk: float, wait: float
) -> tuple[float, float, float, float]:
    """Where speeding up ends and slowing down begins: shares of the length and of the seconds gone by then.

    A ramp from v0 to the peak p takes (p - v0)/a and loses (p - v0)^2/(2 a p) against p; from what both ramps lose
    together follows a. Waiting is spread over the length.
    """
    up, down = max(0.0, peak - entry), max(0.0, peak - exit_)
    ramps = up * up + down * down
    if not (peak > 0.0 and ramps > 0.0 and seconds > 0.0):
        return 0.0, 0.0, 1.0, 1.0
    per_a = 2.0 * peak * max(0.0, seconds - jerk - wait - length / peak) / ramps
    rise = min(1.0, (peak + entry) / 2.0 * up * per_a / length)
    fall = min(1.0 - rise, (peak + exit_) / 2.0 * down * per_a / length)
    first = (up * per_a + jerk * up / (up + down) + wait * rise) / seconds
    last = (down * per_a + jerk * down / (up + down) + wait * fall) / seconds
    return rise, min(1.0, first), 1.0 - fall, max(min(1.0, first), 1.0 - last)


def _gone(share: float, rise: float, first: float, fall: float, last: float) -> float:
    """Share of the seconds gone after a share of the length."""
    if share <= 0.0 or share >= 1.0:
        return share
    if share < rise:
        return first * share / rise
    if share < fall:
        return first + (last - first) * (share - rise) / (fall - rise)
    return last + (1.0 - last) * (share - fall) / (1.0 - fall)


def _draw(
    view: int, first: int, first_step: int, points: Floats, sort: NDArray[np.int8], length: Floats, seconds: Floats,
    asked: Floats, entry: Floats, exit_: Floats, peak: Floats, jerk: Floats, wait: Floats,
    arc_index: NDArray[np.int64], arc_centre: Floats, arc_sweep: Floats, arc_plane: NDArray[np.uint8],
    window: Floats, state: Floats, strokes: Floats,
) -> tuple[int, int]:  # fmt: skip
    """Draw moves until the buffer is full; returns the move and the step of its arc to go on with."""
    room = len(strokes) - 6  # a move may close three strokes
    arc = int(np.searchsorted(arc_index, first))
    where = np.empty(3)
    iu, iv = 0, (1 if view == 0 else 2)
    share_last = 0.0
    for i in range(first, len(sort)):
        is_arc = arc < len(arc_index) and arc_index[arc] == i
        arc += is_arc
        if sort[i] < 0:
            continue
        begin = state[_DISTANCE]
        if not is_arc:
            if state[_COUNT] >= room:
                return i, 0
            end = begin + length[i]
            u0, u1 = (begin, end) if view == 2 else (points[i, iu], points[i + 1, iu])
            v0, v1 = points[i, iv], points[i + 1, iv]
            if sort[i] != CUT:
                _piece(state, strokes, window, u0, v0, u1, v1, sort[i], seconds[i], 0.0, length[i])
            elif length[i] <= state[_BLEND]:
                lost = seconds[i] - length[i] / asked[i]
                _piece(state, strokes, window, u0, v0, u1, v1, CUT, seconds[i], lost, length[i])
            else:
                rise, gone_1, fall, gone_2 = _phases(
                    length[i], seconds[i], entry[i], exit_[i], peak[i], jerk[i], wait[i]
                )  # fmt: skip
                before = gone = 0.0
                ub, vb = u0, v0
                for phase in range(3):
                    share, now = rise, gone_1
                    if phase == 1:
                        share, now = fall, gone_2
                    elif phase == 2:
                        share, now = 1.0, 1.0
                    if share <= before:
                        continue
                    un, vn = u1, v1
                    if share < 1.0:
                        un, vn = u0 + (u1 - u0) * share, v0 + (v1 - v0) * share
                    size = (share - before) * length[i]
                    spent = (now - gone) * seconds[i]
                    _piece(state, strokes, window, ub, vb, un, vn, CUT, spent, spent - size / asked[i], size)
                    ub, vb, before, gone = un, vn, share, now
            state[_DISTANCE] = end
            continue
        centre, sweep, plane = arc_centre[arc - 1], arc_sweep[arc - 1], arc_plane[arc - 1]
        p, q, w = 0, 1, 2
        if plane == 1:
            p, q, w = 2, 0, 1
        elif plane == 2:
            p, q, w = 1, 2, 0
        a, b = points[i], points[i + 1]
        radius = math.hypot(a[p] - centre[p], a[q] - centre[q])
        angle = math.atan2(a[q] - centre[q], a[p] - centre[p])
        quarter = math.pi / 2.0
        steps_of_quarter = 1
        if first_step == 0:  # an arc goes on with the steps it began with, although more may be allowed by then
            state[_ARC_AT_HAND] = state[_ARC]
        if radius > state[_ARC_AT_HAND]:
            steps_of_quarter = max(1, math.ceil(quarter / math.sqrt(8.0 * state[_ARC_AT_HAND] / radius)))
        # chords end at the quarter points, so that the picture reaches exactly as far as the arc
        low, high = min(angle, angle + sweep), max(angle, angle + sweep)
        size = quarter / steps_of_quarter
        least, most = math.ceil(low / size), math.floor(high / size)
        steps = most - least + 2 if most >= least else 1
        u_last = v_last = gone_last = 0.0
        rise, gone_1, fall, gone_2 = 0.0, 0.0, 1.0, 1.0
        if sort[i] == CUT:
            rise, gone_1, fall, gone_2 = _phases(length[i], seconds[i], entry[i], exit_[i], peak[i], jerk[i], wait[i])
        for step in range(max(0, first_step - 1), steps + 1):
            if step == 0:
                share = 0.0
                where[p], where[q], where[w] = a[p], a[q], a[w]
            elif step == steps:
                share = 1.0
                where[p], where[q], where[w] = b[p], b[q], b[w]
            else:
                n = least + step - 1 if sweep > 0 else most - step + 1
                at = n * size
                share = min(1.0, max(0.0, (at - angle) / sweep))
                turn = n % (4 * steps_of_quarter)
                cosine, sine = math.cos(at), math.sin(at)
                if turn % steps_of_quarter == 0:
                    fourth = turn // steps_of_quarter
                    cosine = 1.0 if fourth == 0 else (-1.0 if fourth == 2 else 0.0)
                    sine = 1.0 if fourth == 1 else (-1.0 if fourth == 3 else 0.0)
                where[p] = centre[p] + cosine * radius
                where[q] = centre[q] + sine * radius
                where[w] = a[w] + share * (b[w] - a[w])
            u, v = where[0], where[1]
            if view == 1:
                v = where[2]
            elif view == 2:
                u, v = begin + share * length[i], where[2]
            now = _gone(share, rise, gone_1, fall, gone_2)
            if step > max(0, first_step - 1):
                if state[_COUNT] >= room:
                    return i, step
                piece = (share - share_last) * length[i]
                spent = (now - gone_last) * seconds[i]
                lost = spent - piece / asked[i] if sort[i] == CUT else 0.0
                _piece(state, strokes, window, u_last, v_last, u, v, sort[i], spent, lost, piece)
            u_last, v_last, share_last, gone_last = u, v, share, now
        first_step = 0
        state[_DISTANCE] = begin + length[i]
    return len(sort), 0


def _merge(old: Floats, state: Floats, new: Floats) -> None:
    """Strokes of strokes, under the sleeve of the state."""
    for k in range(len(old)):
        s = old[k]
        _extend(state, new, s[_U0], s[_V0], s[_U1], s[_V1], int(s[_SORT]), s[_SECONDS], s[_LOST], s[_LENGTH])
    _close(state, new)


def _walk(s: Floats, low_u: float, low_v: float, cell_u: float, cell_v: float, cells: NDArray[np.int32]) -> int:
    """Columns and rows of the cells a stroke passes, one after the other; returns how many."""
    i, j = int((s[_U0] - low_u) / cell_u), int((s[_V0] - low_v) / cell_v)
    i_end, j_end = int((s[_U1] - low_u) / cell_u), int((s[_V1] - low_v) / cell_v)
    step_i, step_j = (1 if s[_U1] > s[_U0] else -1), (1 if s[_V1] > s[_V0] else -1)
    du, dv = abs(s[_U1] - s[_U0]), abs(s[_V1] - s[_V0])
    next_u = abs(low_u + (i + (step_i > 0)) * cell_u - s[_U0]) / du if du > 0 else np.inf
    next_v = abs(low_v + (j + (step_j > 0)) * cell_v - s[_V0]) / dv if dv > 0 else np.inf
    count = abs(i_end - i) + abs(j_end - j) + 1
    for k in range(count):
        cells[k, 0], cells[k, 1] = i, j
        if (next_u <= next_v and i != i_end) or j == j_end:
            i += step_i
            next_u += cell_u / du if du > 0 else np.inf
        else:
            j += step_j
            next_v += cell_v / dv if dv > 0 else np.inf
    return count


def _cover(
    strokes: Floats, frozen: int, sort: int, low_u: float, low_v: float, cell_u: float, cell_v: float,
    owner: NDArray[np.int32], keep: NDArray[np.bool_],
) -> None:  # fmt: skip
    """Leave out strokes all of whose cells earlier ones of their sort pass; their seconds go to those."""
    cells = np.empty((owner.shape[0] + owner.shape[1] + 2, 2), np.int32)
    for k in range(len(strokes)):
        s = strokes[k]
        if s[_SORT] != sort:
            continue
        count = _walk(s, low_u, low_v, cell_u, cell_v, cells)
        keep[k] = k < frozen
        for c in range(count):
            if owner[cells[c, 1], cells[c, 0]] < 0:
                keep[k] = True
        for c in range(count):
            j, i = cells[c, 1], cells[c, 0]
            if not keep[k]:
                strokes[owner[j, i], _SECONDS] += s[_SECONDS] / count
                strokes[owner[j, i], _LOST] += s[_LOST] / count
            elif owner[j, i] < 0:
                owner[j, i] = k


def _fill(
    strokes: Floats, sort: int, low_u: float, low_v: float, high_u: float, high_v: float, cell_u: float, cell_v: float,
    visits: NDArray[np.int32], sums: Floats, keep: NDArray[np.bool_], bars: Floats,
) -> int:  # fmt: skip
    """Where strokes of a sort lie thick on each other, upright bars over the cells they fill; how many, -1: no room."""
    rows, columns = visits.shape
    cells = np.empty((rows + columns + 2, 2), np.int32)
    for k in range(len(strokes)):
        if strokes[k, _SORT] == sort:
            for c in range(_walk(strokes[k], low_u, low_v, cell_u, cell_v, cells)):
                visits[cells[c, 1], cells[c, 0]] += 1
    for k in range(len(strokes)):
        if strokes[k, _SORT] != sort:
            continue
        count = _walk(strokes[k], low_u, low_v, cell_u, cell_v, cells)
        thick = 0
        for c in range(count):
            thick += abs(visits[cells[c, 1], cells[c, 0]]) >= _THICK
        if 2 * thick < count:
            continue
        keep[k] = False
        for c in range(count):
            j, i = cells[c, 1], cells[c, 0]
            visits[j, i] = -abs(visits[j, i])  # filled
            sums[0, j, i] += strokes[k, _SECONDS] / count
            sums[1, j, i] += strokes[k, _LOST] / count
    n = 0
    for i in range(columns):
        first = -1
        kind = 0
        for j in range(rows + 1):
            filled = j < rows and visits[j, i] < 0
            now = _class_of_share(sums[0, j, i], sums[1, j, i]) if filled else -1
            if first >= 0 and (not filled or (now != kind and j - first >= _MEAN)):
                bar = bars[n]
                n += 1
                bar[_U0] = bar[_U1] = min(low_u + (i + 0.5) * cell_u, high_u)
                bar[_V0], bar[_V1] = low_v + first * cell_v, min(low_v + j * cell_v, high_v)
                bar[_SORT] = sort
                bar[_SECONDS] = sums[0, first:j, i].sum()
                bar[_LOST] = sums[1, first:j, i].sum()
                first = -1
                if n == len(bars):
                    return -1
            if filled and first < 0:
                first = j
                kind = now
    return n


if TYPE_CHECKING:
    _run, _join, _over, _bars = _draw, _merge, _cover, _fill
else:
    _class_of_share, _close, _touch = compiled(_class_of_share), compiled(_close), compiled(_touch)
    _extend = compiled(_extend)
    _piece = compiled(_piece)
    _walk, _phases, _gone = compiled(_walk), compiled(_phases), compiled(_gone)
    _run, _join, _over, _bars = compiled(_draw), compiled(_merge), compiled(_cover), compiled(_fill)


@dataclass(frozen=True, eq=False)
class Strokes:
    """What is drawn of one view.

    Parameters
    ----------
    ends : (n, 2, 2) float
        Start and end (u, v) of each stroke [mm].
    sort : (n,) int
        ``RAPID``, ``CUT`` or ``NO_FEED``.
    seconds, lost : (n,) float
        Of all moves a stroke stands for; lost against the asked feed [s].
    tolerance : (2,) float
        How far drawn and true path may be apart in u and in v; in the plan, where both are alike, in any
        direction [mm].
    averaged : float
        Widths are means over about so much path at least [mm].
    """

    ends: Floats
    sort: NDArray[np.int64]
    seconds: Floats
    lost: Floats
    tolerance: tuple[float, float]
    averaged: float

    def __len__(self) -> int:
        return len(self.sort)

    @property
    def share(self) -> Floats:
        """(n,) float: share of the asked speed lost, 0 where nothing is known [-]."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.where(self.seconds > 0, np.clip(self.lost / self.seconds, 0.0, 1.0), 0.0)

    @property
    def width_class(self) -> NDArray[np.int64]:
        """(n,) int: 0 as asked .. 4 more than three quarters lost."""
        return np.asarray(np.searchsorted(CLASS_ENDS, self.share, side="right"))

    def chains(self, chosen: NDArray[np.bool_]) -> Floats:
        """(m, 2) float: the chosen strokes as one line, with nan between pieces that do not join."""
        ends = self.ends[chosen]
        if not len(ends):
            return np.empty((0, 2))
        index = np.flatnonzero(chosen)
        breaks = np.ones(len(ends), bool)
        breaks[1:] = (np.diff(index) > 1) | np.any(ends[1:, 0] != ends[:-1, 1], axis=1)
        gap = np.full((len(ends), 1, 2), np.nan)
        rows = np.concatenate([gap, ends], axis=1)
        taken = np.ones((len(ends), 3), bool)
        taken[~breaks, :2] = False
        return rows[taken][1:]

    def point_count(self) -> int:
        """Points that drawing takes, gaps between pieces included."""
        kinds = self.sort * 8 + np.where(self.sort == CUT, self.width_class, 0)
        return sum(len(self.chains(kinds == k)) for k in np.unique(kinds))


@dataclass
class Thinner:
    """Takes moves piece by piece and keeps the strokes of one view.

    Parameters
    ----------
    view : {"plan", "front", "depth"}
        What u and v are.
    window : (4,) float, optional
        Least and greatest u, least and greatest v: moves outside are left out [mm].
    """

    view: View
    window: Floats = field(default_factory=lambda: np.array([-np.inf, np.inf, -np.inf, np.inf]))

    def __post_init__(self) -> None:
        self._strokes = np.zeros((_ROOM, 8))
        self._frozen = 0
        self._spent = np.zeros(2)  # what strokes already kept are off
        self._share = 0.0  # of a pixel: what is allowed now, once more than the first
        state = np.zeros(_STATE)
        for k, sign in enumerate((1, -1, 1, -1)):
            state[_EXTREMES + 3 * k : _EXTREMES + 3 * k + 2] = sign * np.inf
        self._state = state
        self._allow(np.full(2, _FIRST))

    def _allow(self, tolerance: Floats) -> None:
        self._now = tolerance
        _sleeve_of(self._state, tolerance)

    @property
    def extents(self) -> Floats:
        """(2, 2) float: least and greatest u and v of all that was drawn [mm]; inf when nothing was."""
        e = self._state[_EXTREMES:]
        return np.array([[e[0], e[3]], [e[7], e[10]]])

    def add(self, time: MotionTime, sort: NDArray[np.int8], length: Floats, seconds: Floats) -> None:
        """Draw moves.

        Parameters
        ----------
        time : MotionTime
            Of moves that begin where those before ended, or elsewhere after a gap.
        sort : (n,) int8
            ``RAPID``, ``CUT``, ``NO_FEED`` or -1 for what does not travel.
        length, seconds : (n,) float
            Of each move [mm], [s]; 0 where unknown.
        """
        moves = time.moves
        at, step = 0, 0
        while at < len(sort):
            at, step = _run(
                VIEWS[self.view], at, step, moves.points, sort, length, seconds, time.asked, time.entry, time.exit,
                time.peak, time.lost_to_jerk, time.lost_to_blocks, moves.arc_index, moves.arc_centre, moves.arc_sweep,
                moves.arc_plane, self.window, self._state, self._strokes,
            )  # fmt: skip
            if at < len(sort):
                self._make_room()

    def _make_room(self) -> None:
        """Leave out what runs over earlier strokes; if that is not enough, allow more."""
        _close(self._state, self._strokes)
        strokes = self._strokes[: int(self._state[_COUNT])].copy()
        kept = self._uncovered(strokes.copy(), self._frozen, self._now)
        if kept is None or len(kept) > _ROOM // 2:
            kept, allowed, self._share = self._thinned(strokes, lambda s: len(s) <= _ROOM // 2)
            self._spent = np.maximum(self._spent, self._now) + allowed
            self._allow(np.array(allowed))
        self._strokes[: len(kept)] = kept
        self._state[_COUNT] = self._frozen = len(kept)

    def _pixel(self) -> Floats:
        """(2,) float: about what one pixel of a picture is worth in u and v [mm]."""
        span = self.extents[:, 1] - self.extents[:, 0]
        if self.view == "plan":
            span[:] = span.max()
        return np.maximum(span / (1000.0 if self.view == "plan" else np.array([1000.0, 300.0])), 1e-6)

    def _thinned(
        self, strokes: Floats, enough: Callable[[Floats], bool], closer: int = 0
    ) -> tuple[Floats, tuple[float, float], float]:
        """About the least thinning that is enough, the tolerance it takes [mm], and that in pixels."""

        def tried(share: float) -> Floats | None:
            tolerance = share * pixel
            state = np.zeros(_STATE)
            _sleeve_of(state, tolerance)
            merged = np.zeros((len(strokes) + 1, 8))
            _join(strokes, state, merged)
            merged = merged[: int(state[_COUNT])]
            if enough(merged):
                return merged
            barred = self._with_bars(merged, tolerance)
            kept = None if barred is None else self._uncovered(barred, 0, tolerance)
            return kept if kept is not None and enough(kept) else None

        pixel, low = self._pixel(), max(0.1, 2.0 * self._share) / 1.6
        high, best = low, None
        while best is None:
            low, high = high, high * 1.6
            best = tried(high)
        for _ in range(closer):
            middle = math.sqrt(low * high)
            if (other := tried(middle)) is None:
                low = middle
            else:
                high, best = middle, other
        at_u, at_v = high * pixel
        return best, (float(at_u), float(at_v)), high

    def _grid(self, tolerance: Floats) -> tuple[float, float, int, int]:
        """Sides of the cells [mm], and how many there are up and across."""
        span = self.extents[:, 1] - self.extents[:, 0]
        cell = _CELL * tolerance
        rows, columns = math.floor(span[1] / cell[1]) + 1, math.floor(span[0] / cell[0]) + 1
        return float(cell[0]), float(cell[1]), rows, columns

    def _with_bars(self, strokes: Floats, tolerance: Floats) -> Floats | None:
        """Bars for what lies thick, seen from the side; a plan keeps its lines, which show how the cutter went."""
        cell_u, cell_v, rows, columns = self._grid(tolerance)
        if self.view == "plan" or rows * columns > _CELLS:
            return strokes
        (low_u, high_u), (low_v, high_v) = self.extents
        keep, out = np.ones(len(strokes), bool), []
        for sort in np.unique(strokes[:, _SORT]):
            bars = np.zeros((_ROOM, 8))
            visits, sums = np.zeros((rows, columns), np.int32), np.zeros((2, rows, columns))
            count = _bars(
                strokes, int(sort), low_u, low_v, high_u, high_v, cell_u, cell_v, visits, sums, keep, bars
            )  # fmt: skip
            if count < 0:
                return None
            out.append(bars[:count])
        return np.concatenate([strokes[keep], *out])

    def _uncovered(self, strokes: Floats, frozen: int, tolerance: Floats) -> Floats | None:
        """Strokes that pass where none before them does; None when the grid would be too fine."""
        cell_u, cell_v, rows, columns = self._grid(tolerance)
        if columns * rows > _CELLS:
            return None
        keep, low = np.ones(len(strokes), bool), self.extents[:, 0]
        for sort in np.unique(strokes[:, _SORT]):
            owner = np.full((rows, columns), -1, np.int32)
            _over(strokes, frozen, int(sort), low[0], low[1], cell_u, cell_v, owner, keep)
        return strokes[keep]

    def strokes(self, points: int = 6000) -> Strokes:
        """What is to be drawn now; more moves may be added afterwards.

        Parameters
        ----------
        points : int
            How many points at most.
        """
        state = self._state.copy()
        buffer = self._strokes[: int(state[_COUNT]) + 1].copy()
        _close(state, buffer)
        rows = buffer[: int(state[_COUNT])]
        spent = np.maximum(self._spent, self._now)
        averaged, most = _MEAN * self._now[0], points - 12
        if _as_strokes(rows, spent, averaged).point_count() > most:
            rows, extra, _ = self._thinned(rows, lambda s: _as_strokes(s, spent, averaged).point_count() <= most, 2)
            averaged, spent = _MEAN * extra[0], spent + extra
        return _as_strokes(np.concatenate([rows, self._spurs(rows)]), spent, averaged)

    def _spurs(self, rows: Floats) -> Floats:
        """Short strokes to the extreme points of the path, where thinning left them out."""
        out = []
        for k in range(4):
            u, v, sort = self._state[_EXTREMES + 3 * k : _EXTREMES + 3 * k + 3]
            same = rows[rows[:, _SORT] == sort]
            if not len(same):
                continue
            start, along = same[:, :2], same[:, 2:4] - same[:, :2]
            scale = self._pixel()
            a, d = (np.array([u, v]) - start) / scale, along / scale
            size2 = np.einsum("ij,ij->i", d, d)
            t = np.clip(np.einsum("ij,ij->i", a, d) / np.where(size2 > 0, size2, 1.0), 0.0, 1.0)
            t[size2 == 0] = 0.0
            near = int(np.argmin(np.linalg.norm(a - t[:, None] * d, axis=1)))
            foot = start[near] + t[near] * along[near]
            if t[near] in (0.0, 1.0):
                foot = same[near, :2] if t[near] == 0.0 else same[near, 2:4]
            if foot[0] != u or foot[1] != v:
                part = same[near]
                size = part[_SECONDS] * 1e-9  # as wide as the stroke it stands on, and no seconds to speak of
                out.append([*foot, u, v, sort, size, part[_LOST] * 1e-9, 0.0])
        return np.array(out).reshape(-1, 8)


def _sleeve_of(state: Floats, tolerance: Floats) -> None:
    state[_SU], state[_SV] = _SLEEVE * tolerance[0], _SLEEVE * tolerance[1]
    state[_BLEND] = _MEAN * tolerance[0]
    state[_ARC] = _CHORDS * float(tolerance.min())


def _as_strokes(rows: Floats, tolerance: Floats, averaged: float) -> Strokes:
    return Strokes(
        rows[:, :4].reshape(-1, 2, 2), rows[:, _SORT].astype(np.int64), rows[:, _SECONDS], rows[:, _LOST],
        (float(tolerance[0]), float(tolerance[1])), float(averaged),
    )  # fmt: skip


def sorts_of(kind: NDArray[np.uint8], length: Floats, seconds: Floats) -> NDArray[np.int8]:
    """Sort of stroke for each move; -1 for what does not travel.

    Parameters
    ----------
    kind : (n,) uint8
        Values of ``Kind``.
    length, seconds : (n,) float
        Of each move [mm], [s]; seconds are nan where no feed is known.
    """
    out = np.where(kind == Kind.RAPID, RAPID, np.where(np.isnan(seconds), NO_FEED, CUT)).astype(np.int8)
    out[(kind > Kind.ARC) | (length <= 0)] = -1
    return out
