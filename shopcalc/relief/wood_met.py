"""The wood a finishing cutter meets along its lines after roughing, by sweeping its underside over a map of the wood.

What stands over the finished surface at most is no measure of it: in corners and slits wood stands that the tip never
reaches, or that the lines before have half taken. So the wood itself is kept as a map, and each step of the tip along
each line takes its share of it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shopcalc.compiling import compiled
from shopcalc.moves import Floats
from shopcalc.relief.finishing import LineDirection
from shopcalc.relief.heights import HeightMap
from shopcalc.relief.reach import Outside, Shaped, _underside, centre_surface, profile

_TOUCH = 0.02  # mm; less is no wood met, but the grid


@dataclass(frozen=True, eq=False)
class WoodMet:
    """Wood taken at once along the finishing lines.

    Parameters
    ----------
    thickness : (rows, columns) float
        At each place of the tip on a line: the thickest wood taken anywhere under the cutter, measured straight down;
        nan between the lines [mm].
    """

    thickness: Floats

    @property
    def greatest(self) -> float:
        """Anywhere [mm]."""
        return float(np.nanmax(self.thickness))

    def share_above(self, depth: float) -> float:
        """Share of the way that meets more than a depth [-].

        Parameters
        ----------
        depth : float
            [mm].
        """
        on = self.thickness[~np.isnan(self.thickness)]
        return float((on > depth).mean())


def wood_met(
    surface: HeightMap,
    stands: HeightMap,
    cutter: Shaped,
    stepover: float,
    direction: LineDirection = "x",
    outside: Outside = "nothing",
) -> WoodMet:
    """Sweep a finishing cutter over the wood that roughing left.

    Parameters
    ----------
    surface : HeightMap
        What shall be carved.
    stands : HeightMap
        The wood before, on the same grid, see ``roughing.after_roughing``.
    cutter : Cutter or Profile
        That finishes.
    stepover : float
        Between the lines [mm]; at least a pixel is taken.
    direction : {"x", "y", "both"} or float
        Lines across 45° and more run along y, others along x; of both, the first ones count.
    outside : {"nothing", "stock"}
        What stands beyond the map's edge.

    Returns
    -------
    WoodMet
        Geometry, to the grid: lines to and fro, every pixel along them.

    Example
    -------
    >>> from shopcalc.relief.heights import sampled
    >>> from shopcalc.relief.reach import Profile
    >>> floor = sampled(lambda x, y: -5.0 + 0 * x, 20.0, 10.0, pixel=0.5)
    >>> met = wood_met(floor, floor.with_(floor.z + 2), Profile(2.0, flat=2.0), 1.0)
    >>> met.greatest, met.share_above(1.9) > 0.7  # the last lines find it taken
    (2.0, True)
    """
    along_y = direction == "y" or (isinstance(direction, float) and 45 < abs(direction) % 180 < 135)
    heights = _underside(profile(cutter), surface.pixel)
    tips = centre_surface(surface, cutter, outside=outside).z
    tips, wood = (np.ascontiguousarray(v.T if along_y else v) for v in (tips, stands.z))
    apart = max(1, round(stepover / surface.pixel))
    met = np.full(tips.shape, np.nan)
    _sweep(tips, wood.copy(), heights, apart, _TOUCH, met)
    return WoodMet(met.T if along_y else met)


@compiled
def _sweep(tips: Floats, wood: Floats, heights: Floats, apart: int, touch: float, out: Floats) -> None:
    rows, columns = tips.shape
    reach = heights.shape[0] - 1
    for line, row in enumerate(range(0, rows, apart)):
        for step in range(columns):
            column = step if line % 2 == 0 else columns - 1 - step
            tip, thickest = tips[row, column], 0.0
            for y in range(max(0, row - reach), min(rows, row + reach + 1)):
                for x in range(max(0, column - reach), min(columns, column + reach + 1)):
                    under = tip + heights[abs(y - row), abs(x - column)]
                    if wood[y, x] > under:
                        thickest = max(thickest, wood[y, x] - under)
                        wood[y, x] = under
            out[row, column] = thickest if thickest > touch else 0.0
