"""What the comments at the head of a program say about it, and where its moves say otherwise: the moves are trusted."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from shopcalc.gcode.reports import Note
from shopcalc.moves import Floats

_NUMBER = r"([+-]?(?:\d+\.?\d*|\.\d+))"
_TIME = re.compile(r"\b(?:run[ -]?|cycle[ -]?|machin\w+ )?(?:time|duration)\b[^\d\n]{0,20}(\d.*)", re.IGNORECASE)
_CLOCK = re.compile(r"(\d+):(\d\d?)(?::(\d\d?(?:\.\d*)?))?")
_PARTS = re.compile(r"(\d+(?:\.\d*)?)\s*(h|m(?:in)?|s(?:ec)?)[a-z]*\b", re.IGNORECASE)
_AXIS_FIRST = re.compile(r"\b([XYZ])[ _]?(min|max)\w*\s*[:=]?\s*" + _NUMBER + r"\s*(mm|in\b|\")?", re.IGNORECASE)
_AXIS_LAST = re.compile(r"\b(min|max)\w*[ _]?([XYZ])\s*[:=]?\s*" + _NUMBER + r"\s*(mm|in\b|\")?", re.IGNORECASE)
_SECONDS = {"h": 3600.0, "m": 60.0, "s": 1.0}
_LEAST_LENGTH = 0.5  # mm by which extents may differ, as rounded headers do
_LEAST_SHARE = 0.25  # by which times may differ: no two estimates of machine time agree better


@dataclass(frozen=True)
class Claim:
    """One thing a program's head says.

    Parameters
    ----------
    what : str
        "time", or an axis with "min" or "max".
    value : float
        Seconds, or a length in ``unit``.
    unit : str
        "mm", "in", or empty for the program's own.
    line : int
        Where it stands, counted from 1.
    text : str
        As it is written.
    """

    what: str
    value: float
    unit: str
    line: int
    text: str


def read_claims(comment: str, line: int) -> Iterator[Claim]:
    """Claims in one comment.

    Parameters
    ----------
    comment : str
        Without its brackets.
    line : int
        Where it stands.

    Yields
    ------
    Claim
        Times and extents.

    Example
    -------
    >>> [(c.what, c.value) for c in read_claims("X max = 120.5 mm, time 1 h 5 min", 3)]
    [('time', 3900.0), ('x max', 120.5)]
    """
    if (match := _TIME.search(comment)) is not None:
        seconds = _seconds(match[1])
        if seconds > 0:
            yield Claim("time", seconds, "s", line, match[0].strip()[:40])
    found = [(m, m[1], m[2]) for m in _AXIS_FIRST.finditer(comment)]
    found += [(m, m[2], m[1]) for m in _AXIS_LAST.finditer(comment)]
    for m, axis, end in found:
        unit = {"mm": "mm", "in": "in", '"': "in"}.get((m[4] or "").lower(), "")
        yield Claim(f"{axis.lower()} {end.lower()}", float(m[3]), unit, line, m[0].strip()[:40])


def _seconds(text: str) -> float:
    if (clock := _CLOCK.match(text)) is not None:
        hours, minutes, seconds = (clock[1], clock[2], clock[3]) if clock[3] else ("0", clock[1], clock[2])
        return 3600.0 * float(hours) + 60.0 * float(minutes) + float(seconds)
    total, at = 0.0, 0
    for part in _PARTS.finditer(text):
        if part.start() - at > 5:
            break
        total += float(part[1]) * _SECONDS[part[2][0].lower()]
        at = part.end()
    return total


def differences(claims: Iterable[Claim], scale: float, extents: Floats, seconds: float) -> Iterator[Note]:
    """Where a program's head says something else than its moves.

    Parameters
    ----------
    claims : iterable of Claim
        Of its head.
    scale : float
        Millimetres per unit of length of the program.
    extents : (3, 2) float
        Of its moves [mm].
    seconds : float
        Its time; nan when unknown [s].

    Yields
    ------
    Note
        One for each claim that is off by more than half a millimetre, or a quarter of the time.
    """
    for c in claims:
        if c.what == "time":
            if math.isfinite(seconds) and abs(c.value - seconds) > _LEAST_SHARE * max(seconds, 60.0):
                said, found = f"{c.value / 60:.1f} min", f"{seconds / 60:.1f} min"
                yield Note(
                    c.line, 1, c.text, f"the head says {said}, its moves take {found} here: the moves are trusted"
                )
            continue
        axis, end = c.what.split()
        size = {"mm": 1.0, "in": 25.4, "": scale}[c.unit]
        reached = float(extents["xyz".index(axis), 0 if end == "min" else 1])
        if abs(c.value * size - reached) > _LEAST_LENGTH:
            said = f"{axis.upper()} {end} {c.value:g}"
            message = f"the head says {said}, its moves reach {reached / size:.3f}: the moves are trusted"
            yield Note(c.line, 1, c.text, message)
