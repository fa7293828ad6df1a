"""The whole body that turns: flutes in their true shape, shank or neck, holder and spindle nose above the stick-out."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from shopcalc.cutters import Cutter
from shopcalc.cutting.engagement import refuse, require_positive
from shopcalc.moves import Floats
from shopcalc.relief.reach import profile

ROUND = 0.01  # mm; how far a ball's cones may stand out of the ball


class Section(NamedTuple):
    """A cylinder or cone of the body: its part, heights over the tip and the radii there [mm]."""

    part: str
    low: float
    high: float
    radius_low: float
    radius_high: float


class Piece(NamedTuple):
    """A cylinder of holder or spindle: its name, length and diameter [mm]."""

    part: str
    length: float
    diameter: float


@dataclass(frozen=True)
class Holder:
    """What stands above the collet's face.

    Parameters
    ----------
    pieces : tuple of Piece
        From the collet's nut upwards.
    note : str
        Where the sizes come from.
    """

    pieces: tuple[Piece, ...]
    note: str = ""

    def __post_init__(self) -> None:
        for p in self.pieces:
            require_positive(**{f"length of the {p.part}": p.length, f"diameter of the {p.part}": p.diameter})


#: A collet chuck in the nose of a router spindle (invented; measure yours).
INVENTED_HOLDER = Holder(
    (Piece("nut", 25.0, 42.0), Piece("holder", 35.0, 50.0), Piece("spindle nose", 120.0, 110.0)), "invented"
)


@dataclass(frozen=True)
class ToolBody:
    """A cutter in its holder as cylinders and cones about one axis.

    Parameters
    ----------
    id : str
        Of the cutter.
    sections : tuple of Section
        From the tip upwards.
    cutter : Cutter or None
        Whose body it is.
    """

    id: str
    sections: tuple[Section, ...]
    cutter: Cutter | None = None

    @property
    def parts(self) -> tuple[str, ...]:
        """Names of its parts, from the tip upwards."""
        return tuple(dict.fromkeys(s.part for s in self.sections))

    @property
    def array(self) -> Floats:
        """(n, 4) float: low, high, radius there of each section [mm]."""
        return np.array([s[1:] for s in self.sections], dtype=float).reshape(-1, 4)


def tool_body(cutter: Cutter, holder: Holder | None = INVENTED_HOLDER) -> ToolBody:
    """The body of a cutter of the rack.

    Parameters
    ----------
    cutter : Cutter
        Its true diameter up to the cutting length, its shank from there to the stick-out.
    holder : Holder or None
        Above the stick-out; None leaves it out.

    Returns
    -------
    ToolBody
        Cones for V and taper, exactly; a ball as cones around it that stand out of it by at most ``ROUND``. A drill
        is taken as a cylinder to its tip, and a step from flutes to a thicker shank as sharp: both on the safe side.

    Raises
    ------
    InputError
        When nothing of the cutter stands out.

    Example
    -------
    >>> v = Cutter("V90", "", "V", 20.0, 12.0, 2, 12.0, 60.0, 40.0, included_angle=math.pi / 2)
    >>> [(s.part, round(s.low, 3), round(s.high, 3), round(s.radius_high, 3)) for s in tool_body(v, None).sections]
    [('flutes', 0.0, 10.0, 10.0), ('flutes', 10.0, 12.0, 10.0), ('shank', 12.0, 40.0, 6.0)]
    """
    if not cutter.stick_out > 0:
        refuse(f"{cutter.id} does not stick out of its collet", "enter its stick-out")
    top = min(cutter.cutting_length, cutter.stick_out)
    corners = [(0.0, cutter.true_diameter / 2)] if cutter.shape == "drill" else _flank(cutter)
    inside = [c for c in corners if c[0] < top - 1e-9]
    (h0, r0), beyond = inside[-1], corners[len(inside) :]
    if beyond:  # the flutes end within a cone
        h1, r1 = beyond[0]
        inside.append((top, r0 + (r1 - r0) * (top - h0) / (h1 - h0)))
    else:
        inside.append((top, r0))
    out = [Section("flutes", a[0], b[0], a[1], b[1]) for a, b in itertools.pairwise(inside) if b[0] > a[0]]
    if cutter.stick_out > top:
        out.append(Section("shank", top, cutter.stick_out, cutter.shank / 2, cutter.shank / 2))
    at = cutter.stick_out
    for piece in holder.pieces if holder else ():
        out.append(Section(piece.part, at, at + piece.length, piece.diameter / 2, piece.diameter / 2))
        at += piece.length
    return ToolBody(cutter.id, tuple(out), cutter)


def _flank(cutter: Cutter) -> list[tuple[float, float]]:
    """Heights over the tip and radii: corners of cones that hold the flutes."""
    shape = profile(cutter)
    corners = [(0.0, shape.flat)]
    if shape.ball > 0:  # tangents of the ball between points on it meet outside; few enough degrees keep them near
        end = math.pi / 2 - shape.half_angle
        half = min(math.acos(shape.ball / (shape.ball + ROUND)), math.pi / 8)
        count = max(2, math.ceil(end / (2 * half)))
        step = end / count
        out = shape.ball / math.cos(step / 2)
        corners = [(0.0, shape.flat + shape.ball * math.tan(step / 2))]
        for k in range(1, count):
            angle = (k + 0.5) * step
            corners.append((shape.ball - out * math.cos(angle), shape.flat + out * math.sin(angle)))
        corners.append((shape.ball * (1 - math.cos(end)), shape.flat + shape.ball * math.sin(end)))
    height, radius = corners[-1]
    if shape.half_angle < math.pi / 2 and radius < shape.radius - 1e-9:
        slope = math.tan(shape.half_angle)
        if slope > 0:
            corners.append((height + (shape.radius - radius) / slope, shape.radius))
    return corners
