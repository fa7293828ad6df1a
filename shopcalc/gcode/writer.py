"""Moves to program text (ISO 6983): reading it back gives the same moves."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from typing import Literal

import numpy as np

from shopcalc.moves import PLANE_AXES, Floats, Kind, Moves, Stop

_DECIMALS = 6
_LEAST = 0.5 * 10.0**-_DECIMALS
_TURN = 2.0 * math.pi
_WHOLE = 1e-9  # rad by which a whole turn may be off
_STOPS = {
    Stop.PROGRAM_STOP: "M0", Stop.OPTIONAL_STOP: "M1", Stop.END: "M2", Stop.SPINDLE_START: "M3",
    Stop.SPINDLE_STOP: "M5", Stop.OTHER: "M9",
}  # fmt: skip


def write_program(moves: Moves, *, title: str, notes: Iterable[str] = (), dwell_unit: Literal["s", "ms"] = "s") -> str:
    """Write moves as a program in millimetres, absolute, feed per minute.

    Parameters
    ----------
    moves : Moves
        Must begin where the operator will start it: the first point is named in a comment. Their spindle starts,
        cutter changes and end are written where they stand; nothing is added, except that a spindle that stands is
        started before a cut that asks for a speed.
    title : str
        First comment.
    notes : sequence of str
        Further comments, a line each.
    dwell_unit : {"s", "ms"}
        What a dwell's number means to the machine; milliseconds are written as whole numbers.

    Returns
    -------
    str
        Lines closed by line feeds. Positions and feeds have six decimals, trimmed; a helix of several turns is written
        turn by turn; moves shorter than half the last decimal vanish.

    Raises
    ------
    ValueError
        When a move follows the end of the program, or a position is no number.

    References
    ----------
    ISO 6983-1 (2009); NISTIR 6556 (Kramer, Proctor, Messina, 2000).

    Example
    -------
    >>> from shopcalc.moves import from_lists
    >>> m = from_lists([(0, 0, 5), (10, 0, 5), (10, 0, -2)], [Kind.RAPID, Kind.LINE], feed=600)
    >>> print(write_program(m, title="edge"), end="")
    (edge)
    (made by shopcalc from moves; check it above the work before cutting)
    (starts at X0 Y0 Z5; lengths in mm, feeds in mm/min)
    G21 G17 G90 G94
    G0 X10 Y0 Z5
    G1 Z-2 F600
    """
    if not np.isfinite(moves.points).all():
        raise ValueError("a position is not a number: it cannot be written")
    ends = np.flatnonzero((moves.kind == Kind.STOP) & (moves.value == Stop.END))
    if len(ends) and ends[0] != len(moves) - 1:
        raise ValueError(f"move {int(ends[0]) + 1} stands behind the end of the program: it would never run")
    x, y, z = (_number(v) for v in moves.points[0])
    head = [title, "made by shopcalc from moves; check it above the work before cutting", *notes]
    if (moves.kind == Kind.CHANGE).any():
        head.append("cutter lengths are not set here: measure each cutter, or add the length offset your control needs")
    lines = [_comment(h) for h in [*head, f"starts at X{x} Y{y} Z{z}; lengths in mm, feeds in mm/min"]]
    lines.append("G21 G17 G90 G94")
    return "\n".join([*lines, *_Writer(moves, dwell_unit).lines()]) + "\n"


class _Writer:
    """What the control knows at each place of the program that is being written."""

    def __init__(self, moves: Moves, dwell_unit: str) -> None:
        self.moves, self.milliseconds = moves, dwell_unit == "ms"
        self.arcs = {int(i): j for j, i in enumerate(moves.arc_index)}
        self.at = moves.points[0].round(_DECIMALS)
        self.plane, self.feed, self.rpm, self.mode = 0, math.nan, 0.0, ""
        self.turning, self.exact, self.all_axes = False, False, True

    def lines(self) -> Iterator[str]:
        m = self.moves
        for i, kind in enumerate(m.kind.tolist()):
            if kind > Kind.ARC:
                yield from self._standing(i, Kind(kind))
                continue
            if m.rpm[i] != self.rpm and (self.turning or (kind != Kind.RAPID and m.rpm[i] > 0)):
                yield self._speed(i)
            if kind != Kind.RAPID and m.rpm[i] > 0 and not self.turning:
                self.turning = True
                yield "M3"
            if bool(m.exact_stop[i]) != self.exact:
                self.exact = not self.exact
                yield "G61" if self.exact else "G64"
            if kind == Kind.ARC:
                yield from self._arc(i, self.arcs[i])
            else:
                yield from self._straight(i, Kind(kind), m.points[i + 1])

    def _speed(self, i: int) -> str:
        self.rpm = float(self.moves.rpm[i])
        return f"S{_number(self.rpm)}"

    def _standing(self, i: int, kind: Kind) -> Iterator[str]:
        m, value = self.moves, float(self.moves.value[i])
        stop = Stop(int(value)) if kind == Kind.STOP else None
        stays = kind == Kind.DWELL or stop not in (None, Stop.SPINDLE_START, Stop.SPINDLE_STOP)
        if stays and self.turning and m.rpm[i] != self.rpm:
            yield self._speed(i)
        if kind == Kind.DWELL:
            yield f"G4 P{round(value * 1000)}" if self.milliseconds else f"G4 P{_number(value)}"
            return
        self.all_axes = True  # whoever starts again in the middle gets a whole position
        if stop is None:
            label = m.labels.get(int(value))
            self.turning = False
            yield f"T{int(value)} M6" + (f" {_comment(label)}" if label else "")
            return
        speed = self._speed(i) + " " if stop == Stop.SPINDLE_START and m.rpm[i] != self.rpm else ""
        if stop in (Stop.SPINDLE_START, Stop.SPINDLE_STOP):
            self.turning = stop == Stop.SPINDLE_START
        yield speed + _STOPS[stop]

    def _axes(self, end: Floats, which: Iterable[int] = (0, 1, 2)) -> list[str]:
        words = []
        for k in which:
            text = _number(end[k])
            if self.all_axes or text != _number(self.at[k]):
                words.append(f"{'XYZ'[k]}{text}")
                self.at[k] = float(text)
        return words

    def _block(self, word: str, words: list[str], feed: float) -> str:
        out = [] if word == self.mode and not self.all_axes else [word]
        self.mode, self.all_axes = word, False
        if word != "G0" and not (feed == self.feed or (math.isnan(feed) and math.isnan(self.feed))):
            words = [*words, "F0" if math.isnan(feed) else f"F{_number(feed)}"]
            self.feed = feed
        return " ".join(out + words)

    def _straight(self, i: int, kind: Kind, end: Floats) -> Iterator[str]:
        rises = all(_number(end[k]) == _number(self.at[k]) for k in (0, 1))
        if self.all_axes and kind == Kind.RAPID and rises:  # z alone first: whoever starts here may stand elsewhere
            self.at[2] = float(_number(end[2]))
            yield self._block("G0", [f"Z{_number(end[2])}"], math.nan)
            yield f"X{_number(end[0])} Y{_number(end[1])}"
            return
        words = self._axes(end)
        if words:
            yield self._block(f"G{int(kind)}", words, float(self.moves.feed[i]))

    def _arc(self, i: int, j: int) -> Iterator[str]:
        m, sweep = self.moves, float(self.moves.arc_sweep[j])
        p, q, axial = PLANE_AXES[int(m.arc_plane[j])]
        if int(m.arc_plane[j]) != self.plane:
            self.plane = int(m.arc_plane[j])
            yield f"G{17 + self.plane}"
        centre, start, end = m.arc_centre[j], m.points[i], m.points[i + 1]
        whole, rest = divmod(abs(sweep) + _WHOLE, _TURN)
        turns = int(whole) + (rest > 2.0 * _WHOLE)
        chord = math.hypot(end[p] - start[p], end[q] - start[q])
        if turns == 0 or (turns == 1 and abs(sweep) < math.pi and chord < 2.0 * _LEAST):
            yield from self._straight(i, Kind.LINE, end)  # too short to be told from a whole turn
            return
        word, feed = "G2" if sweep < 0 else "G3", float(m.feed[i])
        for turn in range(1, turns + 1):
            target = end.copy()
            full = turn * _TURN <= abs(sweep) + _WHOLE
            if turn < turns:
                target[axial] = start[axial] + (end[axial] - start[axial]) * turn * _TURN / abs(sweep)
            offset = {k: f"{'IJK'[k]}{_number(float(centre[k] - self.at[k]))}" for k in sorted((p, q))}
            if full:  # not a digit may differ, or a whole turn becomes none
                target[p], target[q] = self.at[p], self.at[q]
            words = self._axes(target)
            yield self._block(word, [*words, *offset.values()], feed)


def _number(value: float) -> str:
    text = f"{value:.{_DECIMALS}f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def _comment(text: str) -> str:
    """A comment in ASCII that no control can take for anything else."""
    plain = text.replace("(", "[").replace(")", "]").encode("ascii", "replace").decode("ascii")
    return f"({' '.join(plain.split())})"
