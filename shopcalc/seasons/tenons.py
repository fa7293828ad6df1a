"""A tenon across whose width the wood moves, in a mortise that keeps its length."""

from __future__ import annotations

import math
from dataclasses import dataclass

from shopcalc.seasons.movement import Movement, Rings
from shopcalc.seasons.panels import Year, swing
from shopcalc.units import System, write

#: Most that is taken off a tenon's edges before it is better split: 1/16 in (common practice, no source) [mm].
EDGE_MOST = 25.4 / 16
#: Tenons from this width on are pegged with slots: 3 in (common practice, no source) [mm].
PEGGED_FROM = 76.2
_EPS = 1e-9


@dataclass(frozen=True)
class TenonYear:
    """A tenon across whose width the wood moves, in a stile that does not move along its length.

    Parameters
    ----------
    width, clearance : float
        Of the tenon today, and mortise less tenon at the edges, in total [mm].
    swell, shrink : float
        How much wider and narrower it will be than today [mm].
    """

    width: float
    clearance: float
    swell: float
    shrink: float

    @property
    def wedges(self) -> bool:
        """Whether it presses on the ends of its mortise at the wettest."""
        return self.swell > self.clearance + _EPS

    @property
    def widest(self) -> float:
        """Widest tenon that this clearance lets swell [mm]."""
        return math.inf if self.swell <= 0 else max(0.0, self.clearance) * self.width / self.swell

    @property
    def split(self) -> bool:
        """Whether it is better made as two: more than 1/16 in off its edges would be needed (common practice)."""
        return self.wedges and self.swell > EDGE_MOST

    def words(self, system: System = "metric") -> str:
        """What to do, in one sentence; empty when it has room.

        Parameters
        ----------
        system : {"metric", "inch"}
            What the reader thinks in.
        """
        if not self.wedges:
            return ""
        need, has = (write(v, "length", system, fraction=False) for v in (self.swell, self.clearance))
        told = f"at the wettest the tenon grows {need} between the ends of its mortise and has {has}"
        peg = "; peg it in the middle in a round hole, further out in slots along its width"
        if self.split:
            return f"{told}: split it in two with a gap between, each with room of its own at the edges{peg}"
        more = write(self.swell - self.clearance, "length", system, fraction=False)
        cure = f"{told}: take {more} more off its edges in total (the glue is on the cheeks)"
        return cure + (peg if self.width > PEGGED_FROM else "")


def tenon_year(width: float, clearance: float, movement: Movement, year: Year, rings: Rings = "unknown") -> TenonYear:
    """Follow a tenon across its width through the year.

    Parameters
    ----------
    width : float
        Today [mm].
    clearance : float
        Mortise less tenon at the edges, in total [mm].
    movement : Movement
        Of its wood.
    year : Year
        Moistures.
    rings : str, float or sequence of Strip
        As in ``movement.across``.

    Returns
    -------
    TenonYear
        At the most its rings allow, and as if no glue held it.

    Raises
    ------
    InputError
        As ``swing``.

    Example
    -------
    >>> oak = Movement("white oak", 0.0018, 0.00365)
    >>> t = tenon_year(100, 0.8, oak, Year(8, 6, 11))
    >>> t.wedges, round(t.widest), t.split
    (True, 73, False)
    """
    moves = swing(movement, year, rings)
    return TenonYear(width, clearance, width * moves.swell, width * moves.shrink)
