"""Keep-outs: clamps, bolts and stops as upright boxes and cylinders, where no part of cutter or spindle may come."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from shopcalc.cutting.engagement import refuse, require_positive
from shopcalc.moves import Floats


@dataclass(frozen=True)
class KeepOut:
    """An upright body: a rectangle with rounded corners, lying at any angle, from one height to another.

    Parameters
    ----------
    name : str
        What it is; bodies of one name are one thing, and are shifted together.
    x, y : float
        Its middle [mm].
    half_length, half_width : float
        Of the rectangle before its corners are rounded outwards; both 0 for a cylinder [mm].
    rounding : float
        Of the corners, or the cylinder's radius [mm].
    turn : float
        Of its length against x, counter-clockwise [rad].
    bottom, top : float
        Heights [mm].
    """

    name: str
    x: float
    y: float
    half_length: float
    half_width: float
    rounding: float
    turn: float
    bottom: float
    top: float

    def __post_init__(self) -> None:
        sizes = (self.half_length, self.half_width, self.rounding)
        if not (min(sizes) >= 0 and max(sizes) > 0 and all(map(math.isfinite, (*sizes, self.x, self.y, self.turn)))):
            refuse(f"keep-out '{self.name}' has no size", "give it a length and width, or a diameter, above 0")
        if not self.bottom < self.top:
            refuse(
                f"keep-out '{self.name}' reaches from {self.bottom:g} to {self.top:g} mm",
                "give a top above its bottom, in the program's heights",
            )

    def moved(self, x: float = 0.0, y: float = 0.0, z: float = 0.0) -> KeepOut:
        """The same somewhere else.

        Parameters
        ----------
        x, y, z : float
            By how much [mm].
        """
        return replace(self, x=self.x + x, y=self.y + y, bottom=self.bottom + z, top=self.top + z)

    def turned(self, angle: float, about: tuple[float, float] = (0.0, 0.0)) -> KeepOut:
        """The same turned about an upright axis, as when a station's frame is turned against the part's.

        Parameters
        ----------
        angle : float
            Counter-clockwise [rad].
        about : (2,) float
            The axis [mm].
        """
        c, s = math.cos(angle), math.sin(angle)
        dx, dy = self.x - about[0], self.y - about[1]
        return replace(self, x=about[0] + c * dx - s * dy, y=about[1] + s * dx + c * dy, turn=self.turn + angle)

    def grown(self, margin: float) -> KeepOut:
        """The same with a margin all round, sideways and upright.

        Parameters
        ----------
        margin : float
            [mm].
        """
        return replace(self, rounding=self.rounding + margin, bottom=self.bottom - margin, top=self.top + margin)

    def outline(self, corners: int = 8) -> Floats:
        """(n, 2) float: its outline from above, for drawing [mm].

        Parameters
        ----------
        corners : int
            Points on each rounded quarter.
        """
        quarter = np.linspace(0, math.pi / 2, corners if self.rounding > 0 else 1)
        at = []
        for k, (sx, sy) in enumerate(((1, 1), (-1, 1), (-1, -1), (1, -1))):
            angle = quarter + k * math.pi / 2
            middle = (sx * self.half_length, sy * self.half_width)
            at.append(np.stack([np.cos(angle), np.sin(angle)], axis=1) * self.rounding + middle)
        c, s = math.cos(self.turn), math.sin(self.turn)
        out: Floats = np.concatenate(at) @ np.array([[c, s], [-s, c]]) + (self.x, self.y)
        return out


def box(
    name: str, x: float, y: float, length: float, width: float, *, bottom: float, top: float, turn: float = 0.0
) -> KeepOut:
    """A box, axis-aligned or turned.

    Parameters
    ----------
    name : str
        What it is.
    x, y : float
        Its middle [mm].
    length, width : float
        [mm].
    bottom, top : float
        Heights [mm].
    turn : float
        Of its length against x, counter-clockwise [rad].
    """
    require_positive(length=length, width=width)
    return KeepOut(name, x, y, length / 2, width / 2, 0.0, turn, bottom, top)


def cylinder(name: str, x: float, y: float, diameter: float, *, bottom: float, top: float) -> KeepOut:
    """An upright cylinder: a bolt, a dog, a knob.

    Parameters
    ----------
    name : str
        What it is.
    x, y : float
        Its axis [mm].
    diameter : float
        [mm].
    bottom, top : float
        Heights [mm].
    """
    require_positive(diameter=diameter)
    return KeepOut(name, x, y, 0.0, 0.0, diameter / 2, 0.0, bottom, top)


def as_array(keep_outs: Sequence[KeepOut]) -> Floats:
    """Keep-outs as rows for the compiled sweep: x, y, half sizes, rounding, cosine, sine, bottom, top.

    Parameters
    ----------
    keep_outs : sequence of KeepOut
        Any.
    """
    rows = [
        (k.x, k.y, k.half_length, k.half_width, k.rounding, math.cos(k.turn), math.sin(k.turn), k.bottom, k.top)
        for k in keep_outs
    ]
    return np.array(rows, dtype=float).reshape(-1, 9)
