"""Heights of a carved surface on a square grid: what every artwork becomes."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from shopcalc.cutting.engagement import refuse
from shopcalc.moves import Floats


@dataclass(frozen=True, eq=False)
class HeightMap:
    """A surface as heights over a square grid; read-only by convention.

    Parameters
    ----------
    z : (rows, columns) float
        Height at the middle of each square, 0 at the stock's top and negative below it; row 0 is the lowest y [mm].
    pixel : float
        Side of a square [mm].
    origin : (2,) float
        Where the map's lower left corner lies [mm].
    name : str
        What it is, for people.

    Raises
    ------
    InputError
        When there are no heights, a height is no number, or the pixel is not above 0.

    Example
    -------
    >>> ridge = sampled(lambda x, y: -abs(x - 20.0), 40.0, 10.0, pixel=0.5)
    >>> ridge.length, ridge.width, float(ridge.z.min())
    (40.0, 10.0, -19.75)
    """

    z: Floats
    pixel: float
    origin: tuple[float, float] = (0.0, 0.0)
    name: str = ""

    def __post_init__(self) -> None:
        if self.z.ndim != 2 or 0 in self.z.shape:
            refuse(f"heights of shape {self.z.shape} are no surface", "give rows and columns of heights")
        if not (math.isfinite(self.pixel) and self.pixel > 0):
            refuse(f"a pixel of {self.pixel} mm", "give a size above 0")
        if not np.isfinite(self.z).all():
            refuse("a height is not a number", "fill holes in the artwork first")

    @property
    def length(self) -> float:
        """Extent along x [mm]."""
        return float(self.z.shape[1] * self.pixel)

    @property
    def width(self) -> float:
        """Extent along y [mm]."""
        return float(self.z.shape[0] * self.pixel)

    @property
    def depth(self) -> float:
        """From the stock's top to the lowest place [mm]."""
        return float(max(0.0, -self.z.min()))

    @property
    def x(self) -> Floats:
        """(columns,) float: x of the squares' middles [mm]."""
        return np.asarray(self.origin[0] + (np.arange(self.z.shape[1]) + 0.5) * self.pixel, dtype=np.float64)

    @property
    def y(self) -> Floats:
        """(rows,) float: y of the squares' middles [mm]."""
        return np.asarray(self.origin[1] + (np.arange(self.z.shape[0]) + 0.5) * self.pixel, dtype=np.float64)

    def with_(self, z: Floats, name: str | None = None) -> HeightMap:
        """The same grid with other heights."""
        return replace(self, z=z, name=self.name if name is None else name)


def sampled(
    height: Callable[[Floats, Floats], Floats | float], length: float, width: float, *, pixel: float, name: str = ""
) -> HeightMap:
    """Heights of a surface given by a formula.

    Parameters
    ----------
    height : callable
        z of x and y, both (rows, columns) [mm].
    length, width : float
        Extents along x and y; the pixel is fitted so that it divides the length [mm].
    pixel : float
        About this size [mm].
    name : str
        What it is.
    """
    columns = max(1, round(length / pixel))
    side = length / columns
    rows = max(1, round(width / side))
    x, y = np.meshgrid((np.arange(columns) + 0.5) * side, (np.arange(rows) + 0.5) * side)
    z = np.asarray(np.broadcast_to(height(x, y), x.shape), dtype=float).copy()
    return HeightMap(z, side, name=name)
