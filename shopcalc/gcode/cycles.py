"""Drilling cycles as the moves of one hole."""

from __future__ import annotations

import math
from collections.abc import Iterator

from shopcalc.moves import Kind, Stop

#: Cycles that are read: simple, with a dwell, pecking, boring.
CYCLES = (73, 81, 82, 83, 85, 86, 89)
PECKING = (73, 83)
_BACK_OFF = 0.254  # mm above the last depth to which a peck returns: 0.010 in, from memory


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


def hole(code: int, r: float, z: float, clear: float, peck: float, dwell: float) -> Iterator[tuple[Kind, float]]:
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

    Yields
    ------
    tuple
        RAPID or LINE with the height [mm], DWELL with its seconds [s], STOP with its reason.

    References
    ----------
    NISTIR 6556 (Kramer, Proctor, Messina, 2000), section 3.5.16, for G81 to G89; G73 (a peck that only breaks the
    chip) is not in it: common practice, no source. How far above the last depth G83 returns is from memory.
    """
    yield Kind.RAPID, r
    count = pecks(r, z, peck) if code in PECKING else 1
    for i in range(1, count + 1):
        depth = z if i == count else r - i * peck
        yield Kind.LINE, depth
        if i < count:
            back = min(depth + _BACK_OFF, clear)
            if code == 83:
                yield Kind.RAPID, clear
            yield Kind.RAPID, back
    if code in (82, 86, 89) and dwell > 0:
        yield Kind.DWELL, dwell
    if code == 86:
        yield Kind.STOP, Stop.SPINDLE_STOP
    yield (Kind.LINE if code in (85, 89) else Kind.RAPID), clear
    if code == 86:
        yield Kind.STOP, Stop.SPINDLE_START
