"""A panel in its groove at the driest and at the wettest of the year.

*Clearance* is groove bottom to groove bottom less the panel's width, in total. The frame's length is taken as fixed:
wood hardly moves along its grain (a tenth to two tenths of a percent from green to dry).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

from shopcalc.errors import Fault, InputError
from shopcalc.seasons.movement import Band, Movement, Rings, across
from shopcalc.units import System, write

#: Clearance that must be left when the panel is widest: finish and dust take it up (common practice, no source) [mm].
LEAST_CLEARANCE = 0.5
#: Tongue that must stand in the groove on either side when the panel is narrowest (common practice, no source) [mm].
HOLD = 3.0
_EPS = 1e-9


class Year(NamedTuple):
    """Moisture of the wood today, and at the driest and the wettest it will come to [% moisture]."""

    now: float
    driest: float
    wettest: float


class Swing(NamedTuple):
    """Share of its width by which a piece will be wider and narrower than today, both not negative [ratio]."""

    swell: float
    shrink: float


def swing(movement: Movement, year: Year, rings: Rings = "unknown") -> Swing:
    """How far a piece moves from today's width, at the most its rings allow.

    Parameters
    ----------
    movement : Movement
        Of its wood.
    year : Year
        Moistures.
    rings : str, float or sequence of Strip
        As in ``movement.across``.

    Returns
    -------
    Swing
        [ratio]; 0 on a side where the year does not pass today.

    Raises
    ------
    InputError
        When the driest is wetter than the wettest, and as ``relative_change``.

    Example
    -------
    >>> oak = Movement("white oak", 0.0018, 0.00365)
    >>> [round(100 * s, 1) for s in swing(oak, Year(8, 6, 11))]
    [1.1, 0.7]
    """
    if year.driest > year.wettest:
        message = f"the driest, {year.driest:g} %, is wetter than the wettest, {year.wettest:g} %"
        raise InputError(Fault(message, "change the two round"))
    ends = [across(movement, year.now, m, rings) for m in (year.driest, year.wettest)]
    return Swing(max(0.0, ends[1].most), max(0.0, -ends[0].most))


@dataclass(frozen=True)
class PanelYear:
    """A panel in its groove through the year.

    Parameters
    ----------
    width, depth : float
        Of the panel today across its grain, and of the groove [mm].
    clearance : float
        Today, in total [mm].
    swell, shrink : float
        How much wider and narrower it will be than today [mm].
    least, hold : float
        Clearance wanted at the wettest, tongue wanted in either groove at the driest [mm].
    """

    width: float
    depth: float
    clearance: float
    swell: float
    shrink: float
    least: float = LEAST_CLEARANCE
    hold: float = HOLD

    @property
    def at_wettest(self) -> float:
        """Clearance then, in total [mm]; below zero it pushes the frame apart."""
        return self.clearance - self.swell

    @property
    def at_driest(self) -> float:
        """Clearance then, in total [mm]."""
        return self.clearance + self.shrink

    @property
    def held_in_middle(self) -> float:
        """Tongue in either groove at the driest when the panel is pinned in its middle [mm]."""
        return self.depth - self.at_driest / 2

    @property
    def held_loose(self) -> float:
        """Tongue in the one groove at the driest when the panel has slid into the other [mm]."""
        return self.depth - self.at_driest

    @property
    def shows(self) -> float:
        """Strip on either side that comes out of the groove between today and the driest, panel pinned [mm]."""
        return self.shrink / 2

    @property
    def jams(self) -> bool:
        """Whether it pushes the frame apart at the wettest."""
        return self.at_wettest < -_EPS

    @property
    def falls_out(self) -> bool:
        """Whether it leaves its groove at the driest though pinned in the middle."""
        return self.held_in_middle <= _EPS

    @property
    def wanted(self) -> tuple[float, float]:
        """Clearance to leave today, from and to, in total [mm]; the first is the greater where none will do."""
        return clearance_to_leave(self.depth, self.swell, self.shrink, self.least, self.hold)

    def words(self, system: System = "metric") -> tuple[str, ...]:
        """What is wrong and what to do, a sentence each; empty when nothing is.

        Parameters
        ----------
        system : {"metric", "inch"}
            What the reader thinks in.
        """

        def show(value: float) -> str:
            return write(value, "length", system, fraction=False)

        low, high = self.wanted
        cure = f"leave {show(low)} to {show(high)} in total today"
        if low > high:
            needs = depth_needed(self.swell, self.shrink, self.least, self.hold)
            cure = f"no width suits a groove {show(self.depth)} deep: it takes {show(needs)}, or a narrower panel"
        out = []
        if self.jams:
            out.append(f"at the wettest it is {show(-self.at_wettest)} too wide and pushes the frame apart; {cure}")
        elif self.at_wettest < self.least - _EPS:
            out.append(f"at the wettest only {show(self.at_wettest)} of clearance is left in total; {cure}")
        if self.falls_out:
            out.append(f"at the driest it leaves its groove even when pinned in the middle; {cure}")
        elif self.held_in_middle < self.hold - _EPS:
            out.append(f"at the driest only {show(self.held_in_middle)} stands in either groove; {cure}")
        elif self.held_loose <= _EPS:
            out.append(
                "at the driest it can slide until it leaves one groove: pin it in the middle of both ends, or put soft "
                "spacers in the grooves"
            )
        return tuple(out)


def clearance_to_leave(
    depth: float, swell: float, shrink: float, least: float = LEAST_CLEARANCE, hold: float = HOLD
) -> tuple[float, float]:
    """Clearance to leave today, in total, so that a panel neither jams nor leaves its groove.

    Parameters
    ----------
    depth : float
        Of the groove [mm].
    swell, shrink : float
        How much wider and narrower the panel will be than today [mm].
    least, hold : float
        Clearance wanted at the wettest, tongue wanted in either groove at the driest [mm].

    Returns
    -------
    (float, float)
        From and to [mm]; the first is the greater where no clearance does both. Geometry: the panel is pinned in its
        middle.

    Example
    -------
    >>> clearance_to_leave(10, swell=2, shrink=1.5)
    (2.5, 12.5)
    """
    return swell + least, 2 * (depth - hold) - shrink


def depth_needed(swell: float, shrink: float, least: float = LEAST_CLEARANCE, hold: float = HOLD) -> float:
    """Least depth of groove in which some clearance keeps a panel from jamming and from leaving it.

    Parameters
    ----------
    swell, shrink : float
        How much wider and narrower the panel will be than today [mm].
    least, hold : float
        As in ``clearance_to_leave`` [mm].

    Returns
    -------
    float
        [mm]. Geometry.

    Example
    -------
    >>> depth_needed(2, 1.5)
    5.0
    """
    return hold + (swell + shrink + least) / 2


def panel_year(
    width: float, depth: float, clearance: float, movement: Movement, year: Year, rings: Rings = "unknown",
    least: float = LEAST_CLEARANCE, hold: float = HOLD,
) -> PanelYear:  # fmt: skip
    """Follow a panel of known width through the year.

    Parameters
    ----------
    width, depth : float
        Of the panel today across its grain, and of the groove [mm].
    clearance : float
        Today, in total [mm].
    movement : Movement
        Of its wood.
    year : Year
        Moistures.
    rings : str, float or sequence of Strip
        As in ``movement.across``.
    least, hold : float
        As in ``clearance_to_leave`` [mm].

    Returns
    -------
    PanelYear
        At the most its rings allow.

    Raises
    ------
    InputError
        When a size is not above zero, and as ``swing``.

    Example
    -------
    >>> oak = Movement("white oak", 0.0018, 0.00365)
    >>> p = panel_year(300, 10, 4, oak, Year(8, 6, 11))
    >>> round(p.at_wettest, 2), round(p.at_driest, 2), p.jams
    (0.71, 6.19, False)
    """
    for name, value in (("width", width), ("groove's depth", depth)):
        if not (math.isfinite(value) and value > 0):
            raise InputError(Fault(f"the panel's {name} is {value:g} mm", "give a length above zero"))
    moves = swing(movement, year, rings)
    return PanelYear(width, depth, clearance, width * moves.swell, width * moves.shrink, least, hold)


def width_to_cut(
    between: float, depth: float, movement: Movement, year: Year, rings: Rings = "unknown",
    least: float = LEAST_CLEARANCE, hold: float = HOLD,
) -> tuple[float, float]:  # fmt: skip
    """Widths to which a panel may be cut today.

    Parameters
    ----------
    between : float
        From groove bottom to groove bottom [mm].
    depth : float
        Of each groove [mm].
    movement : Movement
        Of its wood.
    year : Year
        Moistures.
    rings : str, float or sequence of Strip
        As in ``movement.across``.
    least, hold : float
        As in ``clearance_to_leave`` [mm].

    Returns
    -------
    (float, float)
        Narrowest and widest [mm]; the first is the greater where no width does both.

    Raises
    ------
    InputError
        As ``swing``.

    Example
    -------
    >>> oak = Movement("white oak", 0.0018, 0.00365)
    >>> [round(w, 1) for w in width_to_cut(304, 10, oak, Year(8, 6, 11))]
    [292.1, 300.2]
    """
    moves = swing(movement, year, rings)
    return (between - 2 * (depth - hold)) / (1 - moves.shrink), (between - least) / (1 + moves.swell)


def clearance_at(
    width: float, clearance: float, movement: Movement, now: float, moisture: float, rings: Rings = "unknown"
) -> Band:
    """Clearance of a panel when its wood has another moisture.

    Parameters
    ----------
    width, clearance : float
        Of the panel today across its grain, and groove bottom to groove bottom less it [mm].
    movement : Movement
        Of its wood.
    now, moisture : float
        Today's, and that other one [% moisture].
    rings : str, float or sequence of Strip
        As in ``movement.across``.

    Returns
    -------
    Band
        In total [mm]: of the rings that move least, of those between, of those that move most.

    Raises
    ------
    InputError
        As ``relative_change``.

    Example
    -------
    >>> oak = Movement("white oak", 0.0018, 0.00365)
    >>> [round(c, 2) for c in clearance_at(300, 4, oak, 8, 11)]
    [2.38, 1.55, 0.71]
    """
    return Band(*(clearance - width * change for change in across(movement, now, moisture, rings)))
