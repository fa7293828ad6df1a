"""A shorter order of cuts: pieces between ways over the work, each cut as it was, none turned round.

Pieces whose places overlap keep their order among each other, and the last one stays last, because it may be the one
that frees the part.
"""

from __future__ import annotations

import math
import random
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shopcalc.compiling import compiled
from shopcalc.gains.heights import SAME, sideways
from shopcalc.gains.rebuilding import Ints, rebuilt, stretches, without_empty_rapids
from shopcalc.machines import Machine
from shopcalc.moves import Floats, Kind, Moves

MOST_PIECES = 20_000
#: Taken where no cutter's diameter is known [mm].
DIAMETER = 25.4
_MOST_PAIRS = 3_000_000
_NEAR = 14
_EFFORT = 4_000_000  # looks at an exchange after which no new shake is tried


@compiled
def _seconds(p, i, q, j, speed, acceleration):  # type: ignore[no-untyped-def]
    """A straight rapid from row i of p to row j of q, by the axes that bind; a trace of its length breaks ties."""
    cruise = ramp = size = 0.0
    for k in range(3):
        d = abs(q[j, k] - p[i, k])
        cruise = max(cruise, d / speed[k])
        ramp = max(ramp, d / acceleration[k])
        size += d * d
    seconds = 2.0 * math.sqrt(ramp)
    if cruise * cruise >= ramp and cruise > 0:
        seconds = cruise + ramp / cruise
    return seconds + 1e-9 * math.sqrt(size)


@compiled
def _pairs(low, high, order, out):  # type: ignore[no-untyped-def]
    """Pairs of boxes that overlap, swept along x; their number, or -1 when there are more than ``out`` holds."""
    count = 0
    for s in range(order.shape[0]):
        i = order[s]
        for t in range(s + 1, order.shape[0]):
            j = order[t]
            if low[j, 0] > high[i, 0]:
                break
            if low[j, 1] <= high[i, 1] and high[j, 1] >= low[i, 1]:
                if count >= out.shape[0]:
                    return -1
                out[count, 0], out[count, 1] = min(i, j), max(i, j)
                count += 1
    return count


@compiled
def _cost(i, j, start, end, speed, acceleration):  # type: ignore[no-untyped-def]
    """The way from piece i to piece j; the last row of ``end`` is where all begins, which -1 names."""
    return _seconds(end, i, start, j, speed, acceleration)


@compiled
def _total(order, start, end, speed, acceleration):  # type: ignore[no-untyped-def]
    total = _cost(-1, order[0], start, end, speed, acceleration)
    for k in range(1, order.shape[0]):
        total += _cost(order[k - 1], order[k], start, end, speed, acceleration)
    return total


@compiled
def _nearest_first(start, end, speed, acceleration, near, first, bound):  # type: ignore[no-untyped-def]
    """Always the nearest piece whose forerunners are done; the last piece last."""
    n = start.shape[0]
    waits = np.zeros(n, dtype=np.int64)
    for i in range(n):
        for k in range(first[i], first[i + 1]):
            if bound[k] < i:
                waits[i] += 1
    waits[n - 1] += 1  # for all others
    done = np.zeros(n, dtype=np.bool_)
    order = np.empty(n, dtype=np.int64)
    at = -1
    for k in range(n - 1):
        best, least = -1, np.inf
        for m in range(near.shape[1]):
            j = near[at, m]
            if not done[j] and waits[j] == 0:
                c = _cost(at, j, start, end, speed, acceleration)
                if c < least:
                    best, least = j, c
        if best < 0:
            for j in range(n - 1):
                if not done[j] and waits[j] == 0:
                    c = _cost(at, j, start, end, speed, acceleration)
                    if c < least:
                        best, least = j, c
        order[k], done[best], at = best, True, best
        for m in range(first[best], first[best + 1]):
            if bound[m] > best:
                waits[bound[m]] -= 1
    order[n - 1] = n - 1
    return order


@compiled
def _clash(order, place, first, bound, b, e, low, high):  # type: ignore[no-untyped-def]
    """Whether a piece at places b..e may not change sides with one at places low..high."""
    for k in range(b, e + 1):
        i = order[k]
        for m in range(first[i], first[i + 1]):
            if low <= place[bound[m]] <= high:
                return True
    return False


@compiled
def _renew(order, place, forth, back, low, high, start, end, speed, acceleration):  # type: ignore[no-untyped-def]
    """Places and ways (forth[k] to place k from the one before, back[k] the other way) after a change at low..high."""
    for k in range(low, high + 1):
        place[order[k]] = k
    for k in range(max(1, low), min(order.shape[0], high + 2)):
        forth[k] = _cost(order[k - 1], order[k], start, end, speed, acceleration)
        back[k] = _cost(order[k], order[k - 1], start, end, speed, acceleration)


@compiled
def _better(i, order, place, near, forth, back, start, end, speed, acceleration, first, bound):  # type: ignore[no-untyped-def]
    """Make one exchange that puts a near piece behind piece i: the places it changed, first and last, and the effort.

    Either the sequence of a stretch is turned round, or one to three pieces are put elsewhere.
    """
    n, looked = order.shape[0], 0
    p = place[i] if i >= 0 else -1
    if p == n - 1:
        return -1, -1, looked
    after = order[p + 1]
    here = _cost(i, after, start, end, speed, acceleration)
    for c in range(near.shape[1]):
        j = near[i, c]
        q = place[j]
        looked += 1
        if q == p + 1 or i == j:
            continue
        way = _cost(i, j, start, end, speed, acceleration)
        if p + 1 < q < n - 1 and way < here:
            follow = order[q + 1]
            gain = here + forth[q + 1] - way - _cost(after, follow, start, end, speed, acceleration)
            for k in range(p + 2, q + 1):
                gain += forth[k] - back[k]
            looked += (q - p) // 8
            if gain > 1e-9 and not _clash(order, place, first, bound, p + 1, q, p + 1, q):
                low, high = p + 1, q
                while low < high:
                    order[low], order[high] = order[high], order[low]
                    low, high = low + 1, high - 1
                return p + 1, q, looked
        before = order[q - 1] if q > 0 else -1
        come = _cost(before, j, start, end, speed, acceleration)
        if way >= here and way >= come:
            continue
        for e in range(q, min(q + 3, n - 1)):  # put q .. e between p and p + 1
            if q <= p <= e:
                break
            last, follow = order[e], order[e + 1]
            gain = come + forth[e + 1] + here - way
            gain -= _cost(before, follow, start, end, speed, acceleration)
            gain -= _cost(last, after, start, end, speed, acceleration)
            if gain <= 1e-9:
                continue
            b, f = (p + 1, q - 1) if p < q else (e + 1, p)
            if not _clash(order, place, first, bound, q, e, b, f):
                _move(order, q, e, p)
                return min(q, p + 1), max(e, p), looked
    return -1, -1, looked


@compiled
def _improve(order, place, waiting, near, start, end, speed, acceleration, first, bound, effort):  # type: ignore[no-untyped-def]
    """Exchange until nothing near helps, beginning behind the pieces that are ``waiting``; what it cost to look."""
    n = order.shape[0]
    forth, back = np.zeros(n + 1), np.zeros(n + 1)
    _renew(order, place, forth, back, 0, n - 1, start, end, speed, acceleration)
    spent, queue, head, count = 0, np.empty(n + 1, dtype=np.int64), 0, 0
    for i in range(-1, n):
        if waiting[i]:
            queue[count] = i
            count += 1
    while count and spent < effort:
        i = queue[head]
        head, count = (head + 1) % (n + 1), count - 1
        waiting[i] = False
        low, high, looked = _better(i, order, place, near, forth, back, start, end, speed, acceleration, first, bound)
        spent += looked
        if low < 0:
            continue
        _renew(order, place, forth, back, low, high, start, end, speed, acceleration)
        spent += (high - low) // 4
        for k in (low - 2, low - 1, low, low + 1, high - 1, high, high + 1):
            j = order[k] if 0 <= k < n else -1
            if not waiting[j]:
                queue[(head + count) % (n + 1)] = j
                waiting[j], count = True, count + 1
    for i in range(-1, n):
        waiting[i] = False
    return spent


@compiled
def _move(order, q, e, p):  # type: ignore[no-untyped-def]
    """Put places q..e behind place p."""
    taken = order[q : e + 1].copy()
    size = e - q + 1
    if p < q:
        for k in range(e, p + size, -1):
            order[k] = order[k - size]
        order[p + 1 : p + 1 + size] = taken
    else:
        for k in range(q, p - size + 1):
            order[k] = order[k + size]
        order[p - size + 1 : p + 1] = taken


def _search(
    start: Floats, end: Floats, speed: Floats, acceleration: Floats, near: Ints, first: Ints, bound: Ints
) -> Ints:
    """The best of two beginnings, then shaken (a stretch put elsewhere) and improved again while effort is left."""
    n = len(start)
    place, waiting = np.arange(n), np.ones(n + 1, dtype=bool)
    ways = (start, end, speed, acceleration)

    def improved(order: Ints) -> tuple[float, int]:
        spent = int(_improve(order, place, waiting, near, *ways, first, bound, _EFFORT))
        return float(_total(order, *ways)), spent

    best = np.arange(n)
    least, effort = improved(best)
    order = _nearest_first(*ways, near, first, bound)
    waiting[:] = True
    seconds, spent = improved(order)
    effort += spent
    if seconds < least:
        best, least = order, seconds
    draw = random.Random(1)  # the same program gives the same order each time
    for _ in range(20 * n + 200 if n > 4 else 0):
        if effort > _EFFORT:
            break
        q, p = draw.randrange(n - 1), draw.randrange(n - 1) - 1
        e = min(n - 2, q + draw.randrange(30))
        if q - 1 <= p <= e:
            continue
        order = best.copy()
        place[order] = np.arange(n)
        b, f = (p + 1, q - 1) if p < q else (e + 1, p)
        if _clash(order, place, first, bound, q, e, b, f):
            continue
        for k in (q - 1, q, e, e + 1, p, p + 1):
            waiting[order[k] if k >= 0 else -1] = True
        _move(order, q, e, p)
        seconds, spent = improved(order)
        effort += n + spent
        if seconds < least - 1e-9:
            best, least = order, seconds
    return best


@dataclass(frozen=True, eq=False)
class Reordered:
    """A program with its cuts in another order.

    Parameters
    ----------
    moves : Moves
        The program.
    pieces : int
        How many pieces could have changed places.
    moved : int
        How many follow another piece than before.
    """

    moves: Moves
    pieces: int
    moved: int


def reorder(moves: Moves, machine: Machine, *, diameter: float | Mapping[int, float] = DIAMETER) -> Reordered | None:
    """Look for an order of cuts with shorter ways over the work.

    Parameters
    ----------
    moves : Moves
        A program without further axes.
    machine : Machine
        Its rapids are what a way costs.
    diameter : float or mapping
        Of the cutter, or of each cutter number: places nearer than this overlap [mm].

    Returns
    -------
    Reordered or None
        None when no order was found that is shorter.

    Notes
    -----
    A piece lies between two rapids at the height at which most ways over the work run, or above. Within one cutter and
    between two places where the machine stands: always the nearest next one, then stretches of the sequence turned
    round and up to three pieces put elsewhere (2-opt and or-opt), then shaken and improved again; pieces are never
    cut the other way. Neighbours in the program that overlap stay together. Up to 20000 pieces.

    References
    ----------
    Croes (1958) for 2-opt and Or (1976) for or-opt, both remembered, not read; the tests hold it to known optima.
    """
    source, points = [], [moves.points[:1]]
    pieces = moved = 0
    at = 0
    for begin, end in stretches(moves):
        found = _stretch(moves.part(begin, end), machine, diameter)
        if found is None:
            continue
        source.append(np.arange(at, begin))
        points.append(moves.points[at + 1 : begin + 1])
        source.append(found.source + begin)
        points.append(found.points)
        pieces, moved, at = pieces + found.pieces, moved + found.moved, end
    if not moved:
        return None
    source.append(np.arange(at, len(moves)))
    points.append(moves.points[at + 1 :])
    out = rebuilt(moves, np.concatenate(source), np.concatenate(points))
    return Reordered(without_empty_rapids(out), pieces, moved)


@dataclass(frozen=True, eq=False)
class _Found:
    source: Ints
    points: Floats
    pieces: int
    moved: int


def _stretch(moves: Moves, machine: Machine, diameter: float | Mapping[int, float]) -> _Found | None:
    """A shorter order between two places where the machine stands."""
    z = moves.points[:, 2]
    over = (moves.kind == Kind.RAPID) & sideways(moves)
    if over.sum() < 3:
        return None
    level = np.minimum(z[:-1], z[1:])
    heights, counts = np.unique(level[over].round(4), return_counts=True)
    over &= level >= heights[np.argmax(counts)] - 1e-3
    ways = np.flatnonzero(over)
    first, last = ways[:-1] + 1, ways[1:]
    first, last = first[last > first], last[last > first]  # of two ways in a row one is enough
    tail = int(ways[-1])
    if moves.cutting[tail:].any():  # the stretch still cuts behind its last way: that piece is the last, and stays so
        first, last = np.append(first, tail + 1), np.append(last, len(moves))
        tail = len(moves)
    if not 3 <= len(first) <= MOST_PIECES:
        return None
    low, high = _boxes(moves, first, last, _wide(diameter, int(moves.cutter[0])) / 2)
    low, high, first, last = _together(low, high, first, last)
    n = len(first)
    if n < 3:
        return None
    pairs = np.empty((min(_MOST_PAIRS, n * n), 2), dtype=np.int64)
    count = int(_pairs(low, high, np.argsort(low[:, 0], kind="stable"), pairs))
    if count < 0:
        return None
    index, bound = _lists(pairs[:count], n)
    home = moves.points[int(ways[0])]
    start, stop = moves.points[first], moves.points[last]
    speed = np.asarray([a.rapid / 60 for a in machine.axes])
    acceleration = np.asarray([a.acceleration for a in machine.axes])
    near = _near(start, stop, home)
    order = _search(start, np.vstack([stop, home]), speed, acceleration, near, index, bound)
    changed = int((np.diff(order) != 1).sum() + (order[0] != 0))
    return _walk(moves, int(ways[0]), tail, first[order], last[order], n, changed) if changed else None


def _wide(diameter: float | Mapping[int, float], number: int) -> float:
    if isinstance(diameter, Mapping):
        return float(diameter.get(number, max(diameter.values(), default=DIAMETER)))
    return float(diameter)


def _boxes(moves: Moves, first: Ints, last: Ints, grown: float) -> tuple[Floats, Floats]:
    """Lowest and highest x and y of the cuts of each piece, grown by the cutter; nowhere for pieces without a cut."""
    n = len(moves)
    low = np.minimum(moves.points[:-1, :2], moves.points[1:, :2])
    high = np.maximum(moves.points[:-1, :2], moves.points[1:, :2])
    if len(moves.arc_index):  # the whole circle: never too small
        reach = moves.arc_radius[:, None]
        low[moves.arc_index] = moves.arc_centre[:, :2] - reach
        high[moves.arc_index] = moves.arc_centre[:, :2] + reach
    cut = moves.cutting[:, None]
    low, high = np.where(cut, low, np.inf), np.where(cut, high, -np.inf)
    edges = np.stack([first, last], axis=1).ravel()
    if edges[-1] == n:  # reduceat wants an index before the end
        low, high = np.vstack([low, [[np.inf] * 2]]), np.vstack([high, [[-np.inf] * 2]])
    return np.minimum.reduceat(low, edges)[::2] - grown, np.maximum.reduceat(high, edges)[::2] + grown


def _together(low: Floats, high: Floats, first: Ints, last: Ints) -> tuple[Floats, Floats, Ints, Ints]:
    """Neighbours in the program whose places overlap as one piece."""
    joined = ((low[1:] <= high[:-1]) & (high[1:] >= low[:-1])).all(axis=1)
    heads = np.flatnonzero(np.concatenate([[True], ~joined]))
    tails = np.append(heads[1:] - 1, len(first) - 1)
    return np.minimum.reduceat(low, heads), np.maximum.reduceat(high, heads), first[heads], last[tails]


def _lists(pairs: Ints, n: int) -> tuple[Ints, Ints]:
    """Pairs as one list of partners for each piece."""
    both = np.concatenate([pairs, pairs[:, ::-1]])
    both = both[np.argsort(both[:, 0], kind="stable")]
    return np.searchsorted(both[:, 0], np.arange(n + 1)), np.ascontiguousarray(both[:, 1])


def _near(start: Floats, stop: Floats, home: Floats) -> NDArray[np.int64]:
    """The pieces that begin nearest to the end of each piece, and to the beginning of all, row n."""
    from scipy.spatial import cKDTree

    count = min(_NEAR, len(start))
    _, near = cKDTree(start[:, :2]).query(np.vstack([stop, home])[:, :2], k=count)
    return np.asarray(near, dtype=np.int64).reshape(len(start) + 1, count)


def _walk(moves: Moves, way: int, tail: int, first: Ints, last: Ints, pieces: int, changed: int) -> _Found:
    """The pieces in their new order, joined by rapids at the higher of the two heights."""
    source: list[Ints] = [np.arange(way)]
    points: list[Floats] = [moves.points[1 : way + 1]]
    at = moves.points[way]
    for b, e in zip(first.tolist(), last.tolist(), strict=True):
        to = moves.points[b]
        path = []
        if to[2] > at[2] + SAME:
            path.append([at[0], at[1], to[2]])
        path.append([to[0], to[1], max(at[2], to[2])])
        if at[2] > to[2] + SAME:
            path.append(to.tolist())
        source += [np.full(len(path), b - 1), np.arange(b, e)]  # b - 1 was the way to this piece: a rapid
        points += [np.asarray(path), moves.points[b + 1 : e + 1]]
        at = moves.points[e]
    source.append(np.arange(tail, len(moves)))
    points.append(moves.points[tail + 1 :])
    return _Found(np.concatenate(source), np.concatenate(points), pieces, changed)
