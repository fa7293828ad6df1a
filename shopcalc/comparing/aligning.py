"""Which move of one program is which of another: the same places first, then the same path elsewhere.

Two sequences are aligned between anchors: moves that occur once in each, in the longest run that keeps their order.
From the anchors the match is drawn out in both directions, small gaps are solved exactly (longest common subsequence),
large ones without anchors by looking a little ahead on both sides. All of it is linear in the moves, but for the gaps.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from shopcalc.compiling import compiled
from shopcalc.moves import PLANE_AXES, Floats, Kind, Moves

Ints = NDArray[np.int64]

_SMALL_GAP = 1_000_000  # products of moves up to which a gap is solved exactly
_MOST_CELLS = 300_000_000  # for all gaps together
_AHEAD = 48  # moves a large gap without anchors is looked ahead
_MOST_LOOKS = 60_000_000
_MOST_ROUNDS = 30


class Match(IntEnum):
    """How a move was found again."""

    NONE = 0
    PLACE = 1  #: at the same place
    PLAN = 2  #: the same seen from above, at another height
    ORDER = 3  #: at the same place, elsewhere in the order
    PATH = 4  #: the same path, shifted
    PLAN_PATH = 5  #: the same path seen from above, shifted, at other heights


@dataclass(frozen=True, eq=False)
class Features:
    """What is compared of each move.

    Parameters
    ----------
    values : (n, f) float
        Positions [mm] and the number of a standing move.
    kinds : (n,) int
        What must be equal exactly.
    """

    values: Floats
    kinds: Ints


def features(moves: Moves, match: Match) -> Features:
    """What has to be alike for a kind of match.

    Parameters
    ----------
    moves : Moves
        A program.
    match : Match
        How it shall be found again.

    Returns
    -------
    Features
    """
    start, end, middle = moves.points[:-1], moves.points[1:], _middles(moves)
    kinds = moves.kind.astype(np.int64) * 1000
    kinds[moves.arc_index] += moves.arc_plane * 100 + (np.abs(moves.arc_sweep) // (2 * np.pi - 1e-6)).astype(np.int64)
    columns: list[Floats]
    flat = slice(0, 2)
    if match in (Match.PLACE, Match.ORDER):
        columns = [start, end, middle]
        columns += [c for letter in sorted(moves.extra) for c in _both_ends(moves.extra[letter])]
    elif match == Match.PATH:
        columns = [end - start, middle - start]
    else:
        rise = end[:, 2] - start[:, 2]
        upright = np.abs(end[:, flat] - start[:, flat]).max(axis=1, initial=0.0) < 1e-6
        kinds += np.where(upright & (moves.kind <= Kind.ARC), 10 * (1 + np.sign(rise).astype(np.int64)), 0)
        plan = [start[:, flat], end[:, flat], middle[:, flat]]
        shifted = [(end - start)[:, flat], (middle - start)[:, flat]]
        columns = plan if match == Match.PLAN else shifted
    return Features(np.ascontiguousarray(np.column_stack([*columns, moves.value])), kinds)


def _both_ends(at: Floats) -> tuple[Floats, Floats]:
    return at[:-1], at[1:]


def _middles(moves: Moves) -> Floats:
    """(n, 3) the middle of each move along its path, which with both ends tells one arc from another."""
    out = (moves.points[:-1] + moves.points[1:]) / 2
    if len(moves.arc_index):
        rows = np.arange(len(moves.arc_index))
        axes = np.asarray(PLANE_AXES)[moves.arc_plane]
        spoke = moves.points[moves.arc_index] - moves.arc_centre
        a, b = spoke[rows, axes[:, 0]], spoke[rows, axes[:, 1]]
        c, s = np.cos(moves.arc_sweep / 2), np.sin(moves.arc_sweep / 2)
        out[moves.arc_index, axes[:, 0]] = moves.arc_centre[rows, axes[:, 0]] + c * a - s * b
        out[moves.arc_index, axes[:, 1]] = moves.arc_centre[rows, axes[:, 1]] + s * a + c * b
    return out


@compiled
def _alike(fa, ka, i, fb, kb, j, tolerance):  # type: ignore[no-untyped-def]
    if ka[i] != kb[j]:
        return False
    for c in range(fa.shape[1]):  # noqa: SIM110 - compiled as it stands
        if abs(fa[i, c] - fb[j, c]) > tolerance:
            return False
    return True


@compiled
def _exact(fa, ka, fb, kb, tolerance, a0, a1, b0, b1, partner):  # type: ignore[no-untyped-def]
    """Longest common subsequence of a small gap."""
    n, m = a1 - a0, b1 - b0
    step = np.zeros((n, m), dtype=np.uint8)
    below, here = np.zeros(m + 1, dtype=np.int32), np.zeros(m + 1, dtype=np.int32)
    for i in range(n - 1, -1, -1):
        for j in range(m - 1, -1, -1):
            if _alike(fa, ka, a0 + i, fb, kb, b0 + j, tolerance):
                here[j], step[i, j] = below[j + 1] + 1, 1
            elif below[j] >= here[j + 1]:
                here[j], step[i, j] = below[j], 2
            else:
                here[j], step[i, j] = here[j + 1], 3
        below[:] = here
    i = j = 0
    while i < n and j < m:
        if step[i, j] == 1:
            partner[a0 + i] = b0 + j
            i, j = i + 1, j + 1
        elif step[i, j] == 2:
            i += 1
        else:
            j += 1


@compiled
def _settle(fa, ka, fb, kb, tolerance, gaps, partner, small, budget):  # type: ignore[no-untyped-def]
    """Draw matches out into each gap and solve the small ones; the large ones that are left, and cells spent."""
    left = np.empty_like(gaps)
    count, cells = 0, 0
    for g in range(gaps.shape[0]):
        a0, a1, b0, b1 = gaps[g, 0], gaps[g, 1], gaps[g, 2], gaps[g, 3]
        while a0 < a1 and b0 < b1 and _alike(fa, ka, a0, fb, kb, b0, tolerance):
            partner[a0] = b0
            a0, b0 = a0 + 1, b0 + 1
        while a0 < a1 and b0 < b1 and _alike(fa, ka, a1 - 1, fb, kb, b1 - 1, tolerance):
            a1, b1 = a1 - 1, b1 - 1
            partner[a1] = b1
        if a0 == a1 or b0 == b1:
            continue
        size = (a1 - a0) * (b1 - b0)
        if size <= small and cells + size <= budget:
            cells += size
            _exact(fa, ka, fb, kb, tolerance, a0, a1, b0, b1, partner)
        else:
            left[count, 0], left[count, 1], left[count, 2], left[count, 3] = a0, a1, b0, b1
            count += 1
    return left[:count], cells


@compiled
def _longest(second):  # type: ignore[no-untyped-def]
    """Indices of the longest ascending subsequence."""
    n = second.shape[0]
    ends, before = np.empty(n, dtype=np.int64), np.full(n, -1, dtype=np.int64)
    size = 0
    for i in range(n):
        low, high = 0, size
        while low < high:
            middle = (low + high) // 2
            if second[ends[middle]] < second[i]:
                low = middle + 1
            else:
                high = middle
        if low > 0:
            before[i] = ends[low - 1]
        ends[low] = i
        size = max(size, low + 1)
    out = np.empty(size, dtype=np.int64)
    at = ends[size - 1] if size else -1
    for k in range(size - 1, -1, -1):
        out[k] = at
        at = before[at]
    return out


@compiled
def _look_ahead(fa, ka, fb, kb, tolerance, gap, partner, ahead, budget):  # type: ignore[no-untyped-def]
    """Walk through a gap without anchors; where the two differ, go on where three moves in a row are alike again."""
    i, a1, j, b1 = gap[0], gap[1], gap[2], gap[3]
    looks = 0
    while i < a1 and j < b1 and looks < budget:
        looks += 1
        if _alike(fa, ka, i, fb, kb, j, tolerance):
            partner[i] = j
            i, j = i + 1, j + 1
            continue
        found = False
        for far in range(1, ahead + 1):
            for di in range(far + 1):
                p, q = i + di, j + far - di
                good = p < a1 and q < b1
                for k in range(3):
                    looks += 1
                    if not good or p + k >= a1 or q + k >= b1:
                        break
                    good = _alike(fa, ka, p + k, fb, kb, q + k, tolerance)
                if good:
                    i, j, found = p, q, True
                    break
            if found:
                break
        if not found:
            i, j = i + 1, j + 1
    return looks


def align(a: Features, b: Features, gaps: Ints, partner: Ints, tolerance: float) -> None:
    """Match the moves of two programs within gaps, in order.

    Parameters
    ----------
    a, b : Features
        Of the two programs.
    gaps : (k, 4) int
        Begin and end in ``a``, begin and end in ``b``.
    partner : (n,) int
        Of each move of ``a`` its move of ``b``; -1 for none; filled in place.
    tolerance : float
        Greatest difference of a coordinate [mm].
    """
    cells, looks = _MOST_CELLS, _MOST_LOOKS
    for _ in range(_MOST_ROUNDS):
        gaps, spent = _settle(a.values, a.kinds, b.values, b.kinds, tolerance, gaps, partner, _SMALL_GAP, cells)
        cells -= int(spent)
        again: list[Ints] = []
        for gap in gaps:
            found = _anchors(a, b, gap, tolerance)
            if len(found):
                partner[found[:, 0]] = found[:, 1]
                again.append(_between(gap, found))
            elif looks > 0:
                looks -= int(_look_ahead(a.values, a.kinds, b.values, b.kinds, tolerance, gap, partner, _AHEAD, looks))
        if not again:
            return
        gaps = np.concatenate(again)


def _anchors(a: Features, b: Features, gap: Ints, tolerance: float) -> Ints:
    """Moves that occur once on both sides of a gap, as pairs in the longest order common to both."""
    a0, a1, b0, b1 = (int(v) for v in gap)
    keys = [_keys(f.values[s], f.kinds[s], 16 * tolerance) for f, s in ((a, slice(a0, a1)), (b, slice(b0, b1)))]
    once = [_once(k) for k in keys]
    _, i, j = np.intersect1d(keys[0][once[0]], keys[1][once[1]], assume_unique=True, return_indices=True)
    i, j = once[0][i], once[1][j]
    order = np.argsort(i)
    i, j = i[order] + a0, j[order] + b0
    good = (a.kinds[i] == b.kinds[j]) & (np.abs(a.values[i] - b.values[j]) <= tolerance).all(axis=1)
    i, j = i[good], j[good]
    kept = _longest(j)
    return np.stack([i[kept], j[kept]], axis=1)


def _once(keys: NDArray[np.uint64]) -> Ints:
    """Indices of keys that occur once."""
    _, first, count = np.unique(keys, return_index=True, return_counts=True)
    return np.asarray(first[count == 1], dtype=np.int64)


def _keys(values: Floats, kinds: Ints, cell: float) -> NDArray[np.uint64]:
    """One number for each move; equal for equal moves but where rounding falls on two sides of a border."""
    out = kinds.astype(np.uint64) + np.uint64(0x9E3779B97F4A7C15)
    for column in values.T:
        out = (out ^ np.round(column / cell).astype(np.int64).astype(np.uint64)) * np.uint64(0x100000001B3)
        out ^= out >> np.uint64(29)
    return out


def _between(gap: Ints, pairs: Ints) -> Ints:
    """The gaps that anchors leave of a gap, the empty ones too where only one side is."""
    begin = np.concatenate([[gap[[0, 2]]], pairs + 1])
    end = np.concatenate([pairs, [gap[[1, 3]]]])
    out = np.stack([begin[:, 0], end[:, 0], begin[:, 1], end[:, 1]], axis=1)
    return np.asarray(out[(out[:, 0] < out[:, 1]) & (out[:, 2] < out[:, 3])], dtype=np.int64)


def elsewhere(a: Features, b: Features, free_a: Ints, free_b: Ints, tolerance: float) -> Ints:
    """Pairs of equal moves among those that were not matched, whatever their order.

    Parameters
    ----------
    a, b : Features
        Of the two programs.
    free_a, free_b : (k,) int
        The moves that are left.
    tolerance : float
        Greatest difference of a coordinate [mm].

    Returns
    -------
    (m, 2) int
        Of moves that occur several times the first goes with the first.
    """
    keys = [_keys(f.values[s], f.kinds[s], 16 * tolerance) for f, s in ((a, free_a), (b, free_b))]
    ranked = [_ranked(k) for k in keys]
    _, i, j = np.intersect1d(ranked[0], ranked[1], assume_unique=True, return_indices=True)
    i, j = free_a[i], free_b[j]
    good = (a.kinds[i] == b.kinds[j]) & (np.abs(a.values[i] - b.values[j]) <= tolerance).all(axis=1)
    order = np.argsort(i[good])
    return np.stack([i[good][order], j[good][order]], axis=1)


def _ranked(keys: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """Keys made different by how often each came before."""
    order = np.argsort(keys, kind="stable")
    ordered = keys[order]
    first = np.flatnonzero(np.concatenate([[True], ordered[1:] != ordered[:-1]])) if len(keys) else np.zeros(0, int)
    rank = np.arange(len(keys)) - np.repeat(first, np.diff(np.append(first, len(keys))))
    out = np.empty_like(keys)
    out[order] = (ordered ^ rank.astype(np.uint64)) * np.uint64(0xD6E8FEB86659FD93) + rank.astype(np.uint64)
    return out


@compiled
def _drawn_out(fa, ka, fb, kb, tolerance, pairs, partner, taken):  # type: ignore[no-untyped-def]
    for sense in (1, -1):
        for row in range(pairs.shape[0]):
            k = row if sense > 0 else pairs.shape[0] - 1 - row
            i, j = pairs[k, 0] + sense, pairs[k, 1] + sense
            while 0 <= i < partner.shape[0] and 0 <= j < taken.shape[0]:
                if partner[i] >= 0 or taken[j] or not _alike(fa, ka, i, fb, kb, j, tolerance):
                    break
                partner[i], taken[j] = j, True
                i, j = i + sense, j + sense


def draw_out(a: Features, b: Features, pairs: Ints, partner: Ints, taken: NDArray[np.bool_], tolerance: float) -> None:
    """Match the neighbours of pairs as far as they are alike.

    Parameters
    ----------
    a, b : Features
        Of the two programs.
    pairs : (k, 2) int
        Matched already.
    partner : (n,) int
        Of each move of ``a``; filled in place.
    taken : (m,) bool
        Which moves of ``b`` are matched; filled in place.
    tolerance : float
        Greatest difference of a coordinate [mm].
    """
    _drawn_out(a.values, a.kinds, b.values, b.kinds, tolerance, pairs, partner, taken)


def match_between(
    a: Features, b: Features, partner: Ints, in_order: NDArray[np.bool_], free: tuple[Ints, Ints], tolerance: float
) -> Ints:
    """Match what is left between the moves that are matched in order.

    Parameters
    ----------
    a, b : Features
        Of the two programs.
    partner : (n,) int
        Of each move of ``a``.
    in_order : (n,) bool
        Which of them hold the order.
    free : ((k,) int, (l,) int)
        The moves of both that are left, ascending.
    tolerance : float
        Greatest difference of a coordinate [mm].

    Returns
    -------
    (r, 2) int
        New pairs.
    """
    free_a, free_b = free
    at = np.flatnonzero(in_order)
    gap_a, gap_b = np.searchsorted(at, free_a), np.searchsorted(partner[at], free_b)
    gap = np.intersect1d(gap_a, gap_b)
    edges = [np.searchsorted(g, gap, side) for g in (gap_a, gap_b) for side in ("left", "right")]
    own = np.full(len(free_a), -1, dtype=np.int64)
    few = [Features(np.ascontiguousarray(f.values[k]), f.kinds[k]) for f, k in ((a, free_a), (b, free_b))]
    align(few[0], few[1], np.stack(edges, axis=1).astype(np.int64), own, tolerance)
    found = np.flatnonzero(own >= 0)
    return np.stack([free_a[found], free_b[own[found]]], axis=1)
