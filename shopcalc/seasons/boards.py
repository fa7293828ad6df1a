"""Wide boards through the year: the cup of one, the gaps between several that are not glued to each other."""

from __future__ import annotations

import math

from shopcalc.seasons.movement import Band, Movement
from shopcalc.seasons.panels import Year, swing

#: Distance of flat-sawn boards from the pith, from and to (common practice, no source) [mm].
RING_RADIUS = (75.0, 300.0)


def cup_depth(width: float, thickness: float, difference: float) -> float:
    """Hollow of a board one of whose faces has become longer than the other.

    Parameters
    ----------
    width, thickness : float
        Of the board [mm].
    difference : float
        Strain of one face across the grain less that of the other [ratio].

    Returns
    -------
    float
        Between its edges and its middle, not negative [mm]: a shallow arc of curvature difference / thickness
        (geometry).

    Example
    -------
    >>> round(cup_depth(200, 20, 0.002), 3)
    0.5
    """
    return width**2 * abs(difference) / (8 * thickness)


def ring_difference(
    thickness: float, radius: float, movement: Movement, moisture_from: float, moisture_to: float
) -> float:
    """Strain of one face less that of the other that bends a flat-sawn board as its curved rings do.

    Parameters
    ----------
    thickness : float
        Of the board [mm].
    radius : float
        From the pith to the board [mm].
    movement : Movement
        Of its wood.
    moisture_from, moisture_to : float
        When it was planed, and now [% moisture].

    Returns
    -------
    float
        [ratio]; negative hollows the bark side, as drying does. Wood that grows by one share along its rings and by
        another across them stays free of stress when every angle about the pith grows by the difference of both; a
        straight line beside the pith then takes the curvature 2 difference / radius (geometry; first order).
    """
    flat, steep = (float(movement.strain(moisture_from, moisture_to, a)) for a in (0.0, math.pi / 2))
    return 2 * thickness * (flat - steep) / radius


def cup(
    width: float, thickness: float, movement: Movement, year: Year, radius: tuple[float, float] = RING_RADIUS
) -> Band:
    """Cup to expect of a wide flat-sawn board that nothing holds flat, between today and the year's worst.

    Parameters
    ----------
    width, thickness : float
        Of the board, or of the widest strip of a panel whose strips are glued up with their rings in turn [mm].
    movement : Movement
        Of its wood.
    year : Year
        Moistures.
    radius : (2,) float
        From the pith to the board, as read at its end: least and most [mm].

    Returns
    -------
    Band
        [mm]; cleats, a frame, battens across or a like finish on both faces hold it flatter, uneven drying cups more.

    Raises
    ------
    InputError
        As ``relative_change``.

    Example
    -------
    >>> oak = Movement("white oak", 0.0018, 0.00365)
    >>> [round(c, 2) for c in cup(300, 20, oak, Year(8, 6, 11))]
    [0.42, 0.67, 1.66]
    """
    ends = [
        cup_depth(width, thickness, ring_difference(thickness, r, movement, year.now, m))
        for r in (max(radius), sum(radius) / 2, min(radius))
        for m in (year.driest, year.wettest)
    ]
    return Band(*(max(pair) for pair in (ends[:2], ends[2:4], ends[4:])))


def board_gaps(between: float, width: float, number: int, movement: Movement, year: Year) -> tuple[float, float, float]:
    """Even gap beside each of several boards that stand side by side and are not glued to each other.

    Parameters
    ----------
    between : float
        Room for all, from groove bottom to groove bottom [mm].
    width : float
        Of each board today [mm].
    number : int
        Boards [-].
    movement : Movement
        Of their wood.
    year : Year
        Moistures.

    Returns
    -------
    (float, float, float)
        Today, at the driest, at the wettest [mm]; shared by the gaps between the boards and both ends.

    Raises
    ------
    InputError
        As ``swing``.
    """
    moves = swing(movement, year)
    widths = (width, width * (1 - moves.shrink), width * (1 + moves.swell))
    today, dry, wet = ((between - number * w) / (number + 1) for w in widths)
    return today, dry, wet
