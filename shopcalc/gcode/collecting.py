"""Gathers moves one by one and in runs, and joins them into arrays at the end."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from shopcalc.moves import Floats, Kind, Moves

_FIELDS = (
    ("kind", np.uint8), ("feed", np.float64), ("value", np.float64), ("line", np.int32), ("rpm", np.float64),
    ("cutter", np.int32), ("exact", np.bool_),
)  # fmt: skip


class Collector:
    """Columns of moves in the making.

    Parameters
    ----------
    start : (3,) float
        Where the first move begins [mm].
    """

    def __init__(self, start: Floats) -> None:
        self.start = start.copy()
        self.count = 0
        self._single: list[tuple[Any, ...]] = []
        self._ends: list[Floats] = []
        self._columns: dict[str, list[NDArray[Any]]] = {name: [] for name, _ in _FIELDS}
        self._arcs: list[tuple[NDArray[np.int64], Floats, Floats, NDArray[np.uint8]]] = []

    def one(
        self, kind: int, end: Floats, feed: float, value: float, line: int, rpm: float, cutter: int, exact: bool
    ) -> None:
        """Add one move."""
        self._single.append((end[0], end[1], end[2], kind, feed, value, line, rpm, cutter, exact))
        self.count += 1
        if len(self._single) >= 65536:
            self._flush()

    def arc(self, centre: Floats, sweep: float, plane: int) -> None:
        """Say that the next move is an arc."""
        self._arcs.append(
            (np.array([self.count]), centre[None, :].copy(), np.array([sweep]), np.array([plane], dtype=np.uint8))
        )

    def many(
        self, kind: NDArray[np.uint8], ends: Floats, feed: Floats, line: NDArray[np.int32], rpm: float, cutter: int,
        exact: bool, centres: Floats, sweeps: Floats, plane: int,
    ) -> None:  # fmt: skip
        """Add a run of moves; its arcs in order."""
        self._flush()
        n = len(kind)
        if len(sweeps):
            at = np.flatnonzero(kind == Kind.ARC) + self.count
            self._arcs.append((at, centres, sweeps, np.full(len(sweeps), plane, dtype=np.uint8)))
        self._ends.append(ends)
        given: dict[str, NDArray[Any]] = {
            "kind": kind, "feed": feed, "value": np.zeros(n), "line": line, "rpm": np.full(n, rpm),
            "cutter": np.full(n, cutter, dtype=np.int32), "exact": np.full(n, exact),
        }  # fmt: skip
        for name, column in given.items():
            self._columns[name].append(column)
        self.count += n

    def _flush(self) -> None:
        if not self._single:
            return
        rows = list(zip(*self._single, strict=True))
        self._ends.append(np.array(rows[:3], dtype=float).T)
        for (name, dtype), row in zip(_FIELDS, rows[3:], strict=True):
            self._columns[name].append(np.array(row, dtype=dtype))
        self._single = []

    def _column(self, name: str, dtype: Any) -> NDArray[Any]:
        parts = self._columns.pop(name)
        return np.concatenate(parts) if parts else np.zeros(0, dtype=dtype)

    def moves(self, labels: Mapping[int, str]) -> Moves:
        """All moves, with the names of cutter numbers; the collector is empty afterwards."""
        self._flush()
        points = np.concatenate([self.start[None, :], *self._ends])
        self._ends = []
        c = {name: self._column(name, dtype) for name, dtype in _FIELDS}
        arcs = [np.concatenate(part) for part in zip(*self._arcs, strict=True)] if self._arcs else None
        return Moves(
            points=points, kind=c["kind"], feed=c["feed"], value=c["value"],
            arc_index=arcs[0] if arcs else np.zeros(0, dtype=np.int64),
            arc_centre=arcs[1] if arcs else np.zeros((0, 3)),
            arc_sweep=arcs[2] if arcs else np.zeros(0),
            arc_plane=arcs[3] if arcs else np.zeros(0, dtype=np.uint8),
            rpm=c["rpm"], cutter=c["cutter"], exact_stop=c["exact"], line=c["line"], labels=dict(labels),
        )  # fmt: skip
