"""Moves: the shared coin. Programs and paths both make them; only ``motion`` turns them into seconds.

A ``Moves`` is one unbroken run of the cutter's tip: ``points[i]`` to ``points[i + 1]`` is move ``i``. Moves in which
nothing travels (dwell, cutter change, stop) have both points alike. Arrays are read-only by convention: make a new
``Moves`` instead of writing into one.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


class Kind(IntEnum):
    """What a move is."""

    RAPID = 0
    LINE = 1
    ARC = 2
    DWELL = 3
    CHANGE = 4
    STOP = 5


class Stop(IntEnum):
    """Why the machine stands at a STOP move (kept in ``Moves.value``)."""

    PROGRAM_STOP = 0
    OPTIONAL_STOP = 1
    END = 2
    SPINDLE_START = 3
    SPINDLE_STOP = 5
    OTHER = 9


#: In-plane axes (first, second) and the axial one for each arc plane; right-handed, so a positive sweep is
#: counter-clockwise seen from the positive axial side. XY = 0 (G17), ZX = 1 (G18), YZ = 2 (G19).
PLANE_AXES: tuple[tuple[int, int, int], ...] = ((0, 1, 2), (2, 0, 1), (1, 2, 0))


@dataclass(frozen=True, eq=False)
class Moves:
    """A run of moves as arrays.

    Parameters
    ----------
    points : (n + 1, 3) float
        Positions of the cutter's tip in program coordinates [mm].
    kind : (n,) uint8
        Values of ``Kind``.
    feed : (n,) float
        Programmed feed [mm/min]; nan for rapids, standing moves, and where no feed is known.
    value : (n,) float
        Dwell: seconds [s]. Change: number of the new cutter. Stop: a value of ``Stop``. Else 0.
    arc_index : (m,) int
        Which moves are arcs, ascending.
    arc_centre : (m, 3) float
        Arc centres [mm]; the axial coordinate is that of the arc's start.
    arc_sweep : (m,) float
        Signed sweep [rad], positive counter-clockwise seen from the plane's positive normal; a helix of several
        turns sweeps more than 2 pi.
    arc_plane : (m,) uint8
        0 = XY, 1 = ZX, 2 = YZ (see ``PLANE_AXES``).
    rpm : (n,) float
        Spindle speed in force [rev/min]; 0 when it stands or is unknown.
    cutter : (n,) int32
        Cutter number in force; 0 when none was named.
    exact_stop : (n,) bool
        True where the program asks to stop at the end of the move.
    line : (n,) int32
        Line of the program text each move comes from, counted from 1; 0 when made by ``paths``.
    labels : mapping
        Names of cutter numbers, where known: ``{3: "SQ12"}``.
    extra : mapping
        Positions of further axes by their letter, (n + 1,) each: A B C [deg], U V W [mm]; empty for nearly all
        programs, and a letter stands in it only when its axis travels somewhere.
    """

    points: Floats
    kind: NDArray[np.uint8]
    feed: Floats
    value: Floats
    arc_index: NDArray[np.int64]
    arc_centre: Floats
    arc_sweep: Floats
    arc_plane: NDArray[np.uint8]
    rpm: Floats
    cutter: NDArray[np.int32]
    exact_stop: NDArray[np.bool_]
    line: NDArray[np.int32]
    labels: Mapping[int, str] = field(default_factory=dict)
    extra: Mapping[str, Floats] = field(default_factory=dict)

    def __len__(self) -> int:
        return int(self.kind.shape[0])

    @property
    def lengths(self) -> Floats:
        """(n,) float: length of each move along its path, helices along the helix [mm]."""
        length: Floats = np.linalg.norm(np.diff(self.points, axis=0), axis=1)
        if len(self.arc_index):
            radius, axial = self.arc_radius, self.arc_axial
            length[self.arc_index] = np.hypot(radius * self.arc_sweep, axial)
        return length

    @property
    def arc_radius(self) -> Floats:
        """(m,) float: radius of each arc, taken at its start [mm]."""
        offset = self.points[self.arc_index] - self.arc_centre
        axes = np.asarray(PLANE_AXES)[self.arc_plane]
        rows = np.arange(len(axes))
        radius: Floats = np.hypot(offset[rows, axes[:, 0]], offset[rows, axes[:, 1]])
        return radius

    @property
    def arc_axial(self) -> Floats:
        """(m,) float: travel of each arc along its plane's normal [mm]; not zero for a helix."""
        axes = np.asarray(PLANE_AXES)[self.arc_plane]
        rows = np.arange(len(axes))
        travel: Floats = (self.points[self.arc_index + 1] - self.points[self.arc_index])[rows, axes[:, 2]]
        return travel

    @property
    def cutting(self) -> NDArray[np.bool_]:
        """(n,) bool: True for lines and arcs at feed."""
        return np.asarray((self.kind == Kind.LINE) | (self.kind == Kind.ARC))

    @property
    def cutting_length(self) -> float:
        """Length of all lines and arcs at feed [mm]."""
        return float(self.lengths[self.cutting].sum())

    @property
    def rapid_length(self) -> float:
        """Length of all rapids [mm]."""
        return float(self.lengths[self.kind == Kind.RAPID].sum())

    def extents(self) -> Floats:
        """(3, 2) float: lowest and highest x, y, z that any moving move touches, bulges of arcs included [mm]."""
        moving = np.flatnonzero(self.kind <= Kind.ARC)
        if not len(moving):
            return np.repeat(self.points[:1].T, 2, axis=1)
        ends = np.concatenate([self.points[moving], self.points[moving + 1]])
        low, high = ends.min(axis=0), ends.max(axis=0)
        if len(self.arc_index):
            for axis, lo, hi in self._arc_bulges():
                low[axis], high[axis] = min(low[axis], lo), max(high[axis], hi)
        return np.stack([low, high], axis=1)

    def _arc_bulges(self) -> Iterable[tuple[int, float, float]]:
        """Axis, lowest and highest coordinate of the quarter points that arcs pass."""
        start = self.points[self.arc_index] - self.arc_centre
        for plane, (p, q, _) in enumerate(PLANE_AXES):
            chosen = self.arc_plane == plane
            if not chosen.any():
                continue
            radius, sweep = self.arc_radius[chosen], self.arc_sweep[chosen]
            begin = np.arctan2(start[chosen, q], start[chosen, p])
            first, last = np.minimum(begin, begin + sweep), np.maximum(begin, begin + sweep)
            centre = self.arc_centre[chosen]
            for quarter, axis, sign in ((0.0, p, 1), (0.5, q, 1), (1.0, p, -1), (1.5, q, -1)):
                angle = quarter * np.pi
                passed = np.ceil((first - angle) / (2 * np.pi)) * 2 * np.pi + angle <= last
                if passed.any():
                    reached = centre[passed, axis] + sign * radius[passed]
                    yield axis, float(reached.min()), float(reached.max())

    def shifted(self, offset: Iterable[float]) -> Moves:
        """The same moves somewhere else.

        Parameters
        ----------
        offset : (3,) float
            What is added to every position [mm].
        """
        by = np.asarray(list(offset), dtype=float)
        return replace(self, points=self.points + by, arc_centre=self.arc_centre + by)

    def part(self, begin: int, end: int) -> Moves:
        """Moves ``begin`` to ``end - 1`` as a run of their own.

        Parameters
        ----------
        begin, end : int
            As in a slice, 0 <= begin <= end <= n.

        Raises
        ------
        ValueError
            When they do not lie so.

        Example
        -------
        >>> m = from_lists([(0, 0, 0), (3, 0, 0), (3, 4, 0)], [Kind.LINE, Kind.LINE], feed=600)
        >>> m.part(1, 2).cutting_length
        4.0
        """
        if not 0 <= begin <= end <= len(self):
            raise ValueError(f"there are {len(self)} moves: {begin} to {end} is no part of them")
        first, last = np.searchsorted(self.arc_index, (begin, end))
        arcs, own = slice(first, last), slice(begin, end)
        return Moves(
            points=self.points[begin : end + 1], kind=self.kind[own], feed=self.feed[own], value=self.value[own],
            arc_index=self.arc_index[arcs] - begin, arc_centre=self.arc_centre[arcs], arc_sweep=self.arc_sweep[arcs],
            arc_plane=self.arc_plane[arcs], rpm=self.rpm[own], cutter=self.cutter[own],
            exact_stop=self.exact_stop[own], line=self.line[own], labels=self.labels,
            extra={letter: at[begin : end + 1] for letter, at in self.extra.items()},
        )  # fmt: skip


def from_lists(
    points: Iterable[Iterable[float]],
    kind: Iterable[int],
    *,
    feed: float | Iterable[float] = np.nan,
    value: Iterable[float] | None = None,
    arcs: Mapping[int, tuple[Iterable[float], float, int]] | None = None,
    rpm: float = 0.0,
    cutter: int = 0,
    labels: Mapping[int, str] | None = None,
) -> Moves:
    """Build Moves from plain lists; ``arcs`` maps a move's index to (centre, sweep, plane).

    Parameters
    ----------
    points : (n + 1, 3) float
        Positions [mm].
    kind : (n,) int
        Values of ``Kind``.
    feed : float or (n,) float
        Feed of the lines and arcs [mm/min]; ignored on other moves.
    value : (n,) float, optional
        Seconds, cutter number or stop reason of standing moves.
    arcs : mapping, optional
        Index of an arc to its centre [mm], sweep [rad] and plane.
    rpm : float
        Spindle speed [rev/min].
    cutter : int
        Cutter number.
    labels : mapping, optional
        Names of cutter numbers.

    Example
    -------
    >>> m = from_lists([(0, 0, 5), (0, 0, -1), (30, 40, -1)], [Kind.RAPID, Kind.LINE], feed=3000)
    >>> m.cutting_length
    50.0
    """
    at = np.asarray([list(p) for p in points], dtype=float).reshape(-1, 3)
    kinds = np.asarray(list(kind), dtype=np.uint8)
    n = len(kinds)
    speeds = np.full(n, feed, dtype=float) if isinstance(feed, (int, float)) else np.asarray(list(feed), dtype=float)
    speeds[(kinds != Kind.LINE) & (kinds != Kind.ARC)] = np.nan
    given = dict(sorted((arcs or {}).items()))
    return Moves(
        points=at,
        kind=kinds,
        feed=speeds,
        value=np.zeros(n) if value is None else np.asarray(list(value), dtype=float),
        arc_index=np.asarray(list(given), dtype=np.int64),
        arc_centre=np.asarray([list(a[0]) for a in given.values()], dtype=float).reshape(-1, 3),
        arc_sweep=np.asarray([a[1] for a in given.values()], dtype=float),
        arc_plane=np.asarray([a[2] for a in given.values()], dtype=np.uint8),
        rpm=np.full(n, rpm, dtype=float),
        cutter=np.full(n, cutter, dtype=np.int32),
        exact_stop=np.zeros(n, dtype=bool),
        line=np.zeros(n, dtype=np.int32),
        labels=dict(labels or {}),
    )


def join(parts: Iterable[Moves]) -> Moves:
    """Put runs of moves one after the other.

    Parameters
    ----------
    parts : sequence of Moves
        Each must begin where the one before it ends (within 1e-6 mm); further axes likewise.

    Raises
    ------
    ValueError
        When there is a gap, because a cutter cannot jump.
    """
    runs = list(parts)
    if not runs:
        return from_lists([(0, 0, 0)], [])
    for before, after in itertools.pairwise(runs):
        gap = float(np.abs(before.points[-1] - after.points[0]).max())
        if gap > 1e-6:
            raise ValueError(f"moves do not join: a gap of {gap:.6g} mm; add a rapid between them")
    starts = np.cumsum([0] + [len(r) for r in runs[:-1]])
    labels: dict[int, str] = {}
    for r in runs:
        labels.update(r.labels)
    return Moves(
        points=np.concatenate([runs[0].points[:1], *(r.points[1:] for r in runs)]),
        kind=np.concatenate([r.kind for r in runs]),
        feed=np.concatenate([r.feed for r in runs]),
        value=np.concatenate([r.value for r in runs]),
        arc_index=np.concatenate([r.arc_index + s for r, s in zip(runs, starts, strict=True)]),
        arc_centre=np.concatenate([r.arc_centre for r in runs]),
        arc_sweep=np.concatenate([r.arc_sweep for r in runs]),
        arc_plane=np.concatenate([r.arc_plane for r in runs]),
        rpm=np.concatenate([r.rpm for r in runs]),
        cutter=np.concatenate([r.cutter for r in runs]),
        exact_stop=np.concatenate([r.exact_stop for r in runs]),
        line=np.concatenate([r.line for r in runs]),
        labels=labels,
        extra={letter: _joined(runs, letter) for letter in sorted(set().union(*(r.extra for r in runs)))},
    )


def _joined(runs: Sequence[Moves], letter: str) -> Floats:
    """Positions of a further axis over several runs; it stands where a run does not know it, and begins at 0."""
    at, columns = 0.0, [np.zeros(1)]
    for number, run in enumerate(runs):
        own = run.extra.get(letter)
        if own is None:
            columns.append(np.full(len(run), at))
            continue
        if number and abs(own[0] - at) > 1e-6:
            raise ValueError(f"moves do not join: axis {letter} jumps by {own[0] - at:.6g}; add a rapid between them")
        if not number:
            columns[0] = own[:1]
        columns.append(own[1:])
        at = float(own[-1])
    return np.concatenate(columns)
