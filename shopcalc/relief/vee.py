"""V cutters: how deep for how wide, what a wrong height costs, and what a carving made with them is."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from shopcalc.cutters import Cutter
from shopcalc.cutting.engagement import refuse
from shopcalc.moves import Moves
from shopcalc.paths.tracing import Cutting, program
from shopcalc.units import System

EMPTY = Polygon()


@dataclass(frozen=True, eq=False)
class Carved:
    """Paths that carve lines or letters, and what they leave.

    Parameters
    ----------
    operations : tuple of (Cutting, Moves)
        In the order they are cut.
    greatest_depth : float
        Of any tip below the surface [mm].
    chains : int
        Lines that are followed without a lift, passes over one line counted once.
    capped : shapely geometry
        Where the V had to stop short of the depth that the width asks for, and the ground is flat instead.
    capped_by : str
        "depth", "the cutter's diameter", "the cutting length", or nothing.
    left : shapely geometry
        Where wood stays that should go, seen from above: corners, gaps and strokes too narrow for the cutters.
    corner_radius : float
        Smallest radius of an inside corner at the surface [mm].
    notes : tuple of str
        What the operator should know.
    unchamfered : shapely geometry
        Edges of raised letters that get no chamfer or only a part of it.
    """

    operations: tuple[tuple[Cutting, Moves], ...]
    greatest_depth: float
    chains: int
    capped: BaseGeometry
    capped_by: str
    left: BaseGeometry
    corner_radius: float
    notes: tuple[str, ...]
    unchamfered: BaseGeometry = EMPTY

    @property
    def moves(self) -> Moves:
        """The whole program, cutter changes included."""
        return program(self.operations)

    @property
    def capped_area(self) -> float:
        """[mm2]."""
        return float(self.capped.area)

    @property
    def left_area(self) -> float:
        """[mm2]."""
        return float(self.left.area)


def groove_depth(cutter: Cutter, width: float) -> float:
    """How deep a V cutter goes to cut a width; the inverse of ``effective_diameter``.

    Parameters
    ----------
    cutter : Cutter
        A V.
    width : float
        At the surface [mm].

    Returns
    -------
    float
        Of the tip [mm]; 0 where the width is below the tip's flat.

    Raises
    ------
    InputError
        When the cutter is no V.

    Notes
    -----
    Geometry: (width - flat) / (2 tan(angle / 2)).

    Example
    -------
    >>> v = Cutter("V90", "", "V", 25.4, 12.7, 2, 12.7, 60, 40, included_angle=math.pi / 2)
    >>> round(groove_depth(v, 6.0), 9)
    3.0
    """
    v = Vee(cutter)
    return max(0.0, float(v.depth(width / 2)))


def height_error(cutter: Cutter, error: float) -> float:
    """How much wider a V's line becomes when the tip is too deep.

    Parameters
    ----------
    cutter : Cutter
        A V.
    error : float
        Of the height, positive too deep [mm].

    Returns
    -------
    float
        [mm]. Geometry: 2 e tan(angle / 2).

    Raises
    ------
    InputError
        When the cutter is no V.

    Example
    -------
    >>> v = Cutter("V90", "", "V", 25.4, 12.7, 2, 12.7, 60, 40, included_angle=math.pi / 2)
    >>> round(height_error(v, 0.5), 9)
    1.0
    """
    return 2 * error * Vee(cutter).slope


class Vee:
    """Flat, slope and reach of a V cutter.

    Parameters
    ----------
    cutter : Cutter
        Refused when it is no V.
    """

    def __init__(self, cutter: Cutter) -> None:
        if cutter.shape != "V":
            refuse(f"{cutter.id} is a {cutter.shape} cutter", "lines and letters are cut with a V")
        self.flat = cutter.tip_diameter / 2
        self.slope = math.tan(cutter.included_angle / 2)  # radius gained per depth
        if not 0 < cutter.included_angle < math.pi:
            refuse(f"{cutter.id} has no angle between its flanks", "enter its included angle")
        self.widest = cutter.true_diameter / 2

    def depth(self, radius: Any) -> Any:
        """Depth of the tip whose flank reaches a radius at the surface, negative within the flat [mm]."""
        return (radius - self.flat) / self.slope

    def radius(self, depth: float) -> float:
        """Radius at the surface of a tip at a depth [mm]."""
        return self.flat + depth * self.slope

    def deepest(self, cutter: Cutter, depth: float | None) -> tuple[float, str]:
        """Greatest depth the V may have, and what bounds it."""
        bounds = [(self.depth(self.widest), "the cutter's diameter"), (cutter.cutting_length, "the cutting length")]
        if depth is not None:
            bounds.append((depth, "depth"))
        most, why = min(bounds, key=lambda b: b[0])
        return float(most), why


#: Error of the height that is told with every V, by what the reader thinks in [mm].
TOLD_ERROR: dict[System, float] = {"metric": 0.5, "inch": 0.508}


def v_notes(cutter: Cutter, flat: float, system: System = "metric") -> list[str]:
    """What the operator of a V should know.

    Parameters
    ----------
    cutter : Cutter
        A V.
    flat : float
        Half the tip's flat where it counts, else 0 [mm].
    system : {"metric", "inch"}
        What the reader thinks in.
    """
    error = TOLD_ERROR[system]
    out = [
        f"find the surface first, where it is carved: {small(error, system)} too deep makes every line "
        f"{small(height_error(cutter, error), system)} wider",
        "a tip that runs out makes lines wider by twice its run-out: clean the collet, and measure a line cut in waste",
    ]
    if flat > 0:
        out.append(
            f"the tip's flat of {small(2 * flat, system)} leaves inside corners with a radius of {small(flat, system)} "
            f"at the surface, and cuts nothing narrower than itself"
        )
    return out


def small(value: float, system: System) -> str:
    """A small length for people: thousandths of an inch, or three digits of millimetres.

    Parameters
    ----------
    value : float
        [mm].
    system : {"metric", "inch"}
        What the reader thinks in.

    Example
    -------
    >>> small(0.5774, "metric"), small(0.5774, "inch")
    ('0.577 mm', '0.0227 in')
    """
    if system == "metric":
        return f"{value:.3g} mm"
    inches = value / 25.4
    return f"{inches:.3g} in" if inches >= 0.1 else f"{float(f'{inches:.4f}'):g} in"


def area_words(value: float, system: System) -> str:
    """An area for people.

    Parameters
    ----------
    value : float
        [mm2].
    system : {"metric", "inch"}
        What the reader thinks in.
    """
    shown, unit = (value, "mm2") if system == "metric" else (value / 645.16, "in2")
    return f"{shown:,.0f} {unit}" if shown >= 10 else f"{shown:.2g} {unit}"


BY_HAND = (
    "cleaning up by hand: cut across the fibres at both ends of a stroke before paring along them, pare downhill with "
    "the grain, and support short grain between two strokes (common practice, no source)"
)
