"""Drilling cycles as the moves of one hole."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from shopcalc.moves import Kind, Stop

#: Cycles that are read: simple, with a dwell, pecking, tapping, boring.
CYCLES = (73, 81, 82, 83, 84, 85, 86, 88, 89)
PECKING = (73, 83)
DWELLING = (82, 86, 88, 89)


def pecks(r: float, z: float, peck: float) -> int:
    """How many pecks a hole takes; 1 without pecking.

    Parameters
    ----------
    r, z : float
        Retract level and depth [mm].
    peck : float
        Depth of one peck; 0 for the whole hole at once [mm].

    Example
    -------
    >>> pecks(0.2, -1.1, 0.21)
    7
    """
    return max(1, math.ceil((r - z) / peck - 1e-9)) if peck > 0 else 1


@dataclass(frozen=True)
class Pecking:
    """How a control pecks; its dialect.

    Parameters
    ----------
    to_clear : bool
        Whether G83 rises to the level it leaves the hole at, or to the retract level only.
    restart : float
        How far above the last depth feeding begins again in G83 [mm].
    chip_break : float
        How far G73 backs off [mm].
    """

    to_clear: bool = True
    restart: float = 0.254  # 0.010 in, from memory
    chip_break: float = 0.254


def hole(
    code: int, r: float, z: float, clear: float, peck: float, dwell: float, how: Pecking | None = None
) -> Iterator[tuple[Kind, float]]:
    """The moves of one hole from above it, without the way to it.

    Parameters
    ----------
    code : int
        One of ``CYCLES``.
    r, z, clear : float
        Retract level, depth and the height to leave at [mm].
    peck : float
        Depth of one peck [mm].
    dwell : float
        At the bottom, where the cycle has one [s].
    how : Pecking, optional
        How the control pecks.

    Yields
    ------
    tuple
        RAPID or LINE with the height [mm], DWELL with its seconds [s], STOP with its reason.

    References
    ----------
    NISTIR 6556 (Kramer, Proctor, Messina, 2000), section 3.5.16, for G81 to G89; G73 (a peck that only breaks the
    chip) is not in it: common practice, no source. How far above the last depth G83 returns is from memory. G84 feeds
    in and out, the spindle stopped and started the other way in between; G88 stops for a hand that lifts the cutter,
    which is timed as a rapid.
    """
    how = how or Pecking()
    yield Kind.RAPID, r
    count = pecks(r, z, peck) if code in PECKING else 1
    for i in range(1, count + 1):
        depth = z if i == count else r - i * peck
        yield Kind.LINE, depth
        if i < count:
            if code == 83:
                yield Kind.RAPID, clear if how.to_clear else r
            yield Kind.RAPID, min(depth + (how.restart if code == 83 else how.chip_break), clear)
    if code in DWELLING and dwell > 0:
        yield Kind.DWELL, dwell
    if code in (84, 86, 88):
        yield Kind.STOP, Stop.SPINDLE_STOP
    if code == 84:
        yield Kind.STOP, Stop.SPINDLE_START
    if code == 88:
        yield Kind.STOP, Stop.PROGRAM_STOP
    yield (Kind.LINE if code in (84, 85, 89) else Kind.RAPID), clear
    if code == 84:
        yield Kind.STOP, Stop.SPINDLE_STOP
    if code in (84, 86, 88):
        yield Kind.STOP, Stop.SPINDLE_START
