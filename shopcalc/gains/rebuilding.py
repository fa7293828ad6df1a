"""New moves out of old ones: each takes its settings from one move of the program it comes from."""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

from shopcalc.moves import PLANE_AXES, Floats, Kind, Moves

Ints = NDArray[np.int64]
#: Index, centre [mm], sweep [rad] and plane of the arcs among new moves.
Arcs = tuple[Ints, Floats, Floats, NDArray[np.uint8]]


def rebuilt(
    moves: Moves, source: Ints, points: Floats, *, kind: NDArray[np.uint8] | None = None, arcs: Arcs | None = None
) -> Moves:
    """Moves through other points, with settings taken from the moves of a program.

    Parameters
    ----------
    moves : Moves
        The program; without further axes.
    source : (m,) int
        Which of its moves each new one takes feed, speed, cutter, value, exact stop and line from.
    points : (m + 1, 3) float
        Where the new moves lead [mm].
    kind : (m,) uint8, optional
        Of the new moves; that of their sources where not given.
    arcs : (index, centre, sweep, plane), optional
        Of the new arcs; those of their sources where not given, at the height where each now begins.

    Returns
    -------
    Moves
    """
    kinds = np.asarray(moves.kind[source] if kind is None else kind, dtype=np.uint8)
    if arcs is None:
        index = np.flatnonzero(kinds == Kind.ARC)
        which = np.searchsorted(moves.arc_index, source[index])
        plane, centre = moves.arc_plane[which], moves.arc_centre[which].copy()
        axial = np.asarray(PLANE_AXES)[plane, 2]
        centre[np.arange(len(index)), axial] = points[index, axial]
        arcs = (index, centre, moves.arc_sweep[which], plane)
    cutting = (kinds == Kind.LINE) | (kinds == Kind.ARC)
    return Moves(
        points=points, kind=kinds, feed=np.where(cutting, moves.feed[source], np.nan),
        value=np.where(kinds > Kind.ARC, moves.value[source], 0.0), arc_index=arcs[0], arc_centre=arcs[1],
        arc_sweep=arcs[2], arc_plane=arcs[3], rpm=moves.rpm[source], cutter=moves.cutter[source],
        exact_stop=moves.exact_stop[source], line=moves.line[source], labels=moves.labels,
    )  # fmt: skip


def without_empty_rapids(moves: Moves) -> Moves:
    """The same moves without rapids that lead nowhere, at which a machine would only stand.

    Parameters
    ----------
    moves : Moves
        Without further axes.

    Returns
    -------
    Moves
    """
    empty = (moves.kind == Kind.RAPID) & ~moves.exact_stop & (np.abs(np.diff(moves.points, axis=0)).max(axis=1) < 1e-9)
    if not empty.any():
        return moves
    keep = np.flatnonzero(~empty)
    return rebuilt(moves, keep, np.concatenate([moves.points[:1], moves.points[keep + 1]]))


def stretches(moves: Moves) -> list[tuple[int, int]]:
    """Where the machine does not stand: begin and end of each run of moving moves with one cutter.

    Parameters
    ----------
    moves : Moves
        A program.

    Returns
    -------
    list of (int, int)
        As in slices.
    """
    moving = moves.kind <= Kind.ARC
    border = np.flatnonzero((np.diff(moves.cutter) != 0) | (np.diff(moving.astype(np.int8)) != 0)) + 1
    edges = np.concatenate([[0], border, [len(moves)]])
    return [(int(b), int(e)) for b, e in itertools.pairwise(edges) if e > b and moving[b]]
