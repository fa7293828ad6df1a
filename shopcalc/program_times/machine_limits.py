"""Where a program asks for more than its machine has: travel along x, y and z, and speed of the spindle."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from shopcalc.gcode.reports import Note
from shopcalc.machines import Machine
from shopcalc.moves import Floats, Kind, Moves

_SLACK = 0.01  # mm, and rev/min: what rounding may add


class MachineLimits:
    """Watches the pieces of a program go by.

    Only the span of a program can be held against a machine's travel, for nobody knows where its zero will lie. What
    counts are both ends of cuts, the bulges of arcs, and of rapids the far end along the axes they move: where the
    machine stands at the beginning is not known.

    Parameters
    ----------
    machine : Machine
        Its travel and its spindle.
    """

    def __init__(self, machine: Machine) -> None:
        self._travel = [a.travel for a in machine.axes]
        self._spindle = machine.spindle
        self._span: dict[int, tuple[float, float]] = {
            k: (math.inf, -math.inf) for k in range(3) if math.isfinite(self._travel[k])
        }
        self._beyond: dict[int, int] = {}  # axis to the line that first goes too far
        self._speeds: dict[str, tuple[float, int]] = {}  # "above" or "below": the furthest speed, and the first line

    def add(self, piece: Moves) -> None:
        """Look at the next piece.

        Parameters
        ----------
        piece : Moves
            It begins where the one before ended.
        """
        if self._span:
            self._reach(piece)
        if self._spindle is not None:
            slow, fast = self._spindle.min_rpm - _SLACK, self._spindle.max_rpm + _SLACK
            if piece.rpm.max(initial=0.0) > fast:
                self._keep("above", piece, piece.cutting & (piece.rpm > fast))
            if piece.rpm.min(initial=math.inf) < slow:  # 0 where no speed was given
                self._keep("below", piece, piece.cutting & (piece.rpm > 0) & (piece.rpm < slow))

    def _reach(self, piece: Moves) -> None:
        lowest = [float(piece.points[:, k].min()) for k in range(3)]
        highest = [float(piece.points[:, k].max()) for k in range(3)]
        within = all(low <= lowest[k] and highest[k] <= high for k, (low, high) in self._span.items())
        if within and not len(piece.arc_index):
            return
        cutting, rapid = piece.cutting, piece.kind == Kind.RAPID
        whole = bool(cutting.all())
        bulges = list(piece._arc_bulges()) if len(piece.arc_index) else []
        for k, before in self._span.items():
            if whole or (before[0] <= lowest[k] and highest[k] <= before[1]):
                low, high = lowest[k], highest[k]
            else:
                lows, highs = _reached(piece, k, cutting, rapid)
                low, high = float(lows.min(initial=math.inf)), float(highs.max(initial=-math.inf))
            low = min([before[0], low, *(lo for axis, lo, _ in bulges if axis == k)])
            high = max([before[1], high, *(hi for axis, _, hi in bulges if axis == k)])
            self._span[k] = low, high
            if k in self._beyond or not high - low > self._travel[k] + _SLACK:
                continue
            lows, highs = _reached(piece, k, cutting, rapid)
            upper = np.maximum.accumulate(np.maximum(highs, before[1]))
            lower = np.minimum.accumulate(np.minimum(lows, before[0]))
            far = upper - lower > self._travel[k] + _SLACK
            at = np.argmax(far) if far.any() else piece.arc_index[0]  # else only a bulge goes too far
            self._beyond[k] = int(piece.line[at])

    def _keep(self, side: str, piece: Moves, chosen: NDArray[np.bool_]) -> None:
        index = np.flatnonzero(chosen)
        if len(index):
            furthest = max if side == "above" else min
            most = float(furthest(piece.rpm[index]))
            known, line = self._speeds.get(side, (most, int(piece.line[index[0]])))
            self._speeds[side] = furthest(known, most), line

    def notes(self) -> list[Note]:
        """One note for each limit that is not kept, at the first line that goes beyond it."""
        out = []
        for k, line in self._beyond.items():
            low, high = self._span[k]
            has = f"the machine has {_short(self._travel[k])} mm (travel)"
            out.append(Note(line, 1, "XYZ"[k], f"{'XYZ'[k]} runs {_short(high - low)} mm, {has}"))
        for side, (rpm, line) in self._speeds.items():
            assert self._spindle is not None
            has = f"it has {_short(self._spindle.max_rpm)}"
            if side == "below":
                has = f"its slowest is {_short(self._spindle.min_rpm)}"
            out.append(Note(line, 1, "S", f"the spindle is asked for {_short(rpm)} rev/min, {has}"))
        return out


def _reached(piece: Moves, k: int, cutting: NDArray[np.bool_], rapid: NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """Lowest and highest place of each move along an axis; infinite where none is known."""
    begin, end = piece.points[:-1, k], piece.points[1:, k]
    counts = cutting | (rapid & (end != begin))
    low = np.minimum(np.where(counts, end, math.inf), np.where(cutting, begin, math.inf))
    high = np.maximum(np.where(counts, end, -math.inf), np.where(cutting, begin, -math.inf))
    return low, high


def _short(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")
