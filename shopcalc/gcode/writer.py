"""Moves to program text (ISO 6983): reading it back gives the same moves."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator

import numpy as np

from shopcalc.moves import PLANE_AXES, Kind, Moves, Stop

_STOPS = {
    Stop.PROGRAM_STOP: "M0", Stop.OPTIONAL_STOP: "M1", Stop.END: "M2", Stop.SPINDLE_START: "M3",
    Stop.SPINDLE_STOP: "M5", Stop.OTHER: "M9",
}  # fmt: skip


def write_program(moves: Moves, *, title: str, notes: Iterable[str] = ()) -> str:
    """Write moves as a program in millimetres, absolute, feed per minute.

    Parameters
    ----------
    moves : Moves
        Must begin where the operator will start it: the first point is named in a comment.
    title : str
        First comment.
    notes : sequence of str
        Further comments, a line each.

    Returns
    -------
    str
        Lines closed by line feeds. Positions have six decimals of a millimetre, trimmed.

    References
    ----------
    ISO 6983-1 (2009); NISTIR 6556 (Kramer, Proctor, Messina, 2000).
    """
    lines = [_comment(title), *(_comment(n) for n in notes)]
    x, y, z = moves.points[0]
    lines.append(_comment(f"starts at X{_number(x)} Y{_number(y)} Z{_number(z)}, lengths in mm"))
    lines.append("G21 G17 G90 G94 G91.1 G64")
    lines += _body(moves)
    return "\n".join(lines) + "\n"


def _body(moves: Moves) -> Iterator[str]:
    arcs = {int(i): j for j, i in enumerate(moves.arc_index)}
    plane, feed, rpm, exact, mode = 0, math.nan, 0.0, False, ""
    for i in range(len(moves)):
        kind = Kind(int(moves.kind[i]))
        if moves.rpm[i] != rpm and moves.rpm[i] > 0:
            rpm = float(moves.rpm[i])
            yield f"S{_number(rpm)}"
        if bool(moves.exact_stop[i]) != exact and kind <= Kind.ARC:
            exact = not exact
            yield "G61" if exact else "G64"
        if kind == Kind.CHANGE:
            number = int(moves.value[i])
            label = moves.labels.get(number)
            yield f"T{number} M6" + (f" {_comment(label)}" if label else "")
        elif kind == Kind.DWELL:
            yield f"G4 P{_number(float(moves.value[i]))}"
        elif kind == Kind.STOP:
            yield _STOPS[Stop(int(moves.value[i]))]
        else:
            words = []
            if kind == Kind.ARC and int(moves.arc_plane[arcs[i]]) != plane:
                plane = int(moves.arc_plane[arcs[i]])
                yield f"G{17 + plane}"
            word = {Kind.RAPID: "G0", Kind.LINE: "G1"}.get(kind) or ("G2" if moves.arc_sweep[arcs[i]] < 0 else "G3")
            if word != mode:
                words.append(word)
                mode = word
            start, end = moves.points[i], moves.points[i + 1]
            words += [f"{a}{_number(e)}" for a, s, e in zip("XYZ", start, end, strict=True) if s != e]
            if kind == Kind.ARC:
                words += _arc_words(moves, i, arcs[i])
            if kind != Kind.RAPID and not math.isnan(moves.feed[i]) and moves.feed[i] != feed:
                feed = float(moves.feed[i])
                words.append(f"F{_number(feed)}")
            yield " ".join(words)


def _arc_words(moves: Moves, i: int, j: int) -> list[str]:
    p, q, _ = PLANE_AXES[int(moves.arc_plane[j])]
    offset = moves.arc_centre[j] - moves.points[i]
    if abs(moves.arc_sweep[j]) > 2 * np.pi + 1e-9:
        raise ValueError(f"move {i} turns more than once: cut the helix into single turns before writing it")
    return [f"{'IJK'[k]}{_number(float(offset[k]))}" for k in sorted((p, q))]


def _number(value: float) -> str:
    text = f"{value:.6f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def _comment(text: str) -> str:
    plain = text.replace("(", "[").replace(")", "]").encode("ascii", "replace").decode("ascii")
    return f"({' '.join(plain.split())})"
