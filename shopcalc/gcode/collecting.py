"""Gathers moves into pieces of bounded size, and pieces into one, without ever holding them twice."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from shopcalc.moves import Floats, Kind, Moves

PIECE = 1 << 16  # moves
_SPARE = 1.125  # how much longer than needed a column is made that grows
_COLUMNS = ("kind", "feed", "value", "rpm", "cutter", "exact_stop", "line")
_ARC_COLUMNS = ("arc_index", "arc_centre", "arc_sweep", "arc_plane")


class Collector:
    """Columns of a piece of moves in the making; a full piece is put aside, and the next begins where it ends.

    Parameters
    ----------
    start : (3,) float
        Where the first move begins [mm].

    Attributes
    ----------
    count, arcs : int
        Moves and arcs in the piece so far.
    points, kind, feed, line, arc_centre, arc_sweep : array
        As in ``Moves``, longer than filled; the quick reader writes into them and then calls ``took``.
    """

    def __init__(self, start: Floats) -> None:
        self._full: list[Moves] = []
        self._at: dict[str, float] = {}  # where the further axes are
        self._begin(start)

    def _begin(self, start: Floats) -> None:
        self.size, self.count, self.arcs = PIECE, 0, 0
        n = self.size
        self.points = np.empty((n + 1, 3))
        self.points[0] = start
        self.kind = np.empty(n, dtype=np.uint8)
        self.feed, self.value, self.rpm = np.empty(n), np.zeros(n), np.empty(n)
        self.cutter, self.line = np.empty(n, dtype=np.int32), np.empty(n, dtype=np.int32)
        self.exact_stop = np.empty(n, dtype=np.bool_)
        self.arc_centre, self.arc_sweep = np.empty((n, 3)), np.empty(n)
        self.arc_plane = np.empty(n, dtype=np.uint8)
        self._extra = {letter: np.full(n + 1, at) for letter, at in self._at.items()}

    @property
    def full(self) -> bool:
        """Whether pieces wait to be taken."""
        return bool(self._full)

    def one(
        self, kind: int, end: Floats, feed: float, value: float, line: int, rpm: float, cutter: int, exact: bool,
        extra: Mapping[str, float] | None = None,
    ) -> None:  # fmt: skip
        """Add one move; ``extra`` tells where further axes are at its end, which else stay where they were."""
        n = self.count
        self.points[n + 1] = end
        self.kind[n], self.feed[n], self.value[n], self.line[n] = kind, feed, value, line
        self.rpm[n], self.cutter[n], self.exact_stop[n] = rpm, cutter, exact
        if extra or self._at:
            for letter in (extra or {}).keys() - self._extra.keys():
                self._extra[letter] = np.zeros(self.size + 1)
            self._at.update(extra or {})
            for letter, at in self._at.items():
                self._extra[letter][n + 1] = at
        self.count = n + 1
        if self.count == self.size:
            self._put_aside()

    def arc(self, centre: Floats, sweep: float, plane: int) -> None:
        """Say that the next move is an arc."""
        self.arc_centre[self.arcs], self.arc_sweep[self.arcs], self.arc_plane[self.arcs] = centre, sweep, plane
        self.arcs += 1

    def took(self, moves: int, arcs: int, rpm: float, cutter: int, exact: bool, plane: int) -> None:
        """Add moves that are written already, except for what they have in common."""
        own, round_ = slice(self.count, self.count + moves), slice(self.arcs, self.arcs + arcs)
        self.rpm[own], self.cutter[own], self.exact_stop[own], self.arc_plane[round_] = rpm, cutter, exact, plane
        for letter, at in self._at.items():
            self._extra[letter][self.count + 1 : self.count + moves + 1] = at
        self.count += moves
        self.arcs += arcs
        if self.count == self.size:
            self._put_aside()

    def _put_aside(self) -> None:
        self._full.append(self.rest())
        self._begin(self._full[-1].points[-1])

    def take(self) -> list[Moves]:
        """The full pieces."""
        pieces, self._full = self._full, []
        return pieces

    def rest(self) -> Moves:
        """The piece in the making, without labels; nothing may be added to it afterwards."""
        n, m = self.count, self.arcs

        def cut(column: NDArray[Any], end: int, size: int) -> NDArray[Any]:
            return column if end == size else column[:end].copy()  # else it would hold the room it left

        arcs = np.flatnonzero(self.kind[:n] == Kind.ARC) if m else np.zeros(0, dtype=np.int64)
        return Moves(
            points=cut(self.points, n + 1, self.size + 1), arc_index=arcs,
            arc_centre=cut(self.arc_centre, m, self.size), arc_sweep=cut(self.arc_sweep, m, self.size),
            arc_plane=cut(self.arc_plane, m, self.size), labels={},
            extra={letter: cut(at, n + 1, self.size + 1) for letter, at in self._extra.items() if at[: n + 1].any()},
            **{name: cut(getattr(self, name), n, self.size) for name in _COLUMNS},
        )  # fmt: skip


class _Growing:
    """A column that grows in place: the memory of a long one is moved, not copied."""

    def __init__(self, first: NDArray[Any]) -> None:
        self.column, self.count = first.copy(), len(first)

    def add(self, more: NDArray[Any]) -> None:
        end = self.count + len(more)
        if end > len(self.column):
            self._resize(int(end * _SPARE))
        self.column[self.count : end] = more
        self.count = end

    def _resize(self, count: int) -> None:
        self.column.resize((count, *self.column.shape[1:]), refcheck=False)

    def done(self) -> NDArray[Any]:
        self._resize(self.count)
        return self.column


def joined(pieces: Iterable[Moves]) -> Moves:
    """Put the pieces of a program together, each dropped as soon as it is copied.

    Parameters
    ----------
    pieces : iterable of Moves
        At least one; each begins where the one before it ends. The last one's labels are the program's.
    """
    each = iter(pieces)
    first = next(each)
    piece = next(each, None)
    if piece is None:
        return first
    columns = {name: _Growing(getattr(first, name)) for name in ("points", *_COLUMNS, *_ARC_COLUMNS)}
    extra = {letter: _Growing(at) for letter, at in first.extra.items()}
    del first
    while piece is not None:
        before = columns["kind"].count
        for name, column in columns.items():
            more = getattr(piece, name)
            column.add(more[1:] if name == "points" else more + before if name == "arc_index" else more)
        for letter in extra.keys() | piece.extra.keys():
            at = piece.extra.get(letter, np.zeros(len(piece) + 1))  # a piece lacks an axis that stays at 0
            extra.setdefault(letter, _Growing(np.zeros(before + 1))).add(at[1:])
        labels = piece.labels
        piece = next(each, None)
    return Moves(
        labels=labels, extra={letter: column.done() for letter, column in extra.items()},
        **{name: column.done() for name, column in columns.items()},
    )  # fmt: skip
