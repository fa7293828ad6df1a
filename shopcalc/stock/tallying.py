"""Take-off: board feet, exact and by the grading rules' tally, nominal thickness, and what to buy."""

from __future__ import annotations

import math
from collections.abc import Iterable

#: 144 cubic inches [mm3].
BOARD_FOOT = 144 * 25.4**3
_FOOT, _INCH = 304.8, 25.4
_EPS = 1e-9


def board_feet(length: float, width: float, thickness: float) -> float:
    """Board feet of a piece, unrounded.

    Parameters
    ----------
    length, width, thickness : float
        [mm]

    Returns
    -------
    float
        Volume in units of 144 cubic inches (definition) [board foot].

    Example
    -------
    >>> round(board_feet(8 * 304.8, 6.25 * 25.4, 2 * 25.4), 2)
    8.33
    """
    return length * width * thickness / BOARD_FOOT


def surface_measure(length: float, width: float, *, half_up: bool = False) -> int:
    """Surface measure of one board in whole square feet, as lumber is tallied.

    Parameters
    ----------
    length, width : float
        [mm]
    half_up : bool
        Where a half goes; a tally alternates, see ``tally``.

    Returns
    -------
    int
        Width in inches times length in feet, by 12, rounded; the length drops to the whole foot below [square foot].

    References
    ----------
    NHLA rules for the measurement of hardwood lumber, as given by the American Hardwood Export Council.

    Example
    -------
    >>> surface_measure(8 * 304.8, 6.25 * 25.4)
    4
    """
    feet = math.floor(length / _FOOT + _EPS)
    exact = width / _INCH * feet / 12
    whole = math.floor(exact + _EPS)
    part = exact - whole
    if abs(part - 0.5) < 1e-6:
        return whole + int(half_up)
    return whole + int(part > 0.5)


def tally(boards: Iterable[tuple[float, float]], thickness: float) -> float:
    """Board feet of a pack as it is invoiced: whole surface feet times nominal thickness.

    Parameters
    ----------
    boards : iterable of (length, width)
        [mm]
    thickness : float
        Nominal [mm]; below one inch it counts as one inch.

    Returns
    -------
    float
        Halves go down and up in turns [board foot].

    References
    ----------
    NHLA rules, as in ``surface_measure``; that thin stock counts as one inch is from memory.

    Example
    -------
    >>> tally([(8 * 304.8, 6.25 * 25.4)], 2 * 25.4)
    8.0
    """
    total, up = 0, False
    for length, width in boards:
        low, high = surface_measure(length, width), surface_measure(length, width, half_up=True)
        if low != high:
            low, up = (high if up else low), not up
        total += low
    return total * max(thickness / _INCH, 1.0)


def nominal_thickness(rough: float) -> float:
    """Thickness that sawn stock is sold in: the next quarter inch, at least four quarters.

    Parameters
    ----------
    rough : float
        What the piece needs before planing [mm].

    Returns
    -------
    float
        [mm]

    References
    ----------
    Common practice, no source: quarters run 4, 5, 6, 8, 10, 12, 16; above that the next whole inch.

    Example
    -------
    >>> nominal_thickness(30) / 25.4
    1.25
    """
    quarters = rough / (_INCH / 4)
    for sold in (4, 5, 6, 8, 10, 12, 16):
        if quarters <= sold + 1e-6:
            return sold * _INCH / 4
    return math.ceil(quarters / 4 - 1e-6) * _INCH
