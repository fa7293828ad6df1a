"""What a roughing cutter leaves standing: the wood after its moves, its stairs, and how high its tip may go."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from shopcalc.compiling import compiled
from shopcalc.cutting.engagement import refuse, require_positive
from shopcalc.moves import Floats, Kind, Moves
from shopcalc.relief.heights import HeightMap, sampled
from shopcalc.relief.reach import Outside, Shaped, centre_surface, profile, reached
from shopcalc.relief.tip_heights import shape_of, skimmed, under

if TYPE_CHECKING:
    pass


def stairs(surface: HeightMap, cutter: Shaped, share: float = 0.95) -> float:
    """Height of the steps that a flat end leaves on slopes beside its cusps, because its rim meets pixel after pixel.

    Parameters
    ----------
    surface : HeightMap
        On whose pixels the lines are drawn.
    cutter : Cutter or Profile
        Of finishing.
    share : float
        Of the area on which they are no higher [-].

    Returns
    -------
    float
        [mm]; 0 for a cutter without a flat wider than a pixel. Geometry: over a point between pixels the higher
        neighbours count, and so they do below it: two pixels' rise along x and along y. A finer map makes them lower in
        the same measure.

    Example
    -------
    >>> from shopcalc.cutters import Cutter
    >>> slope = sampled(lambda x, y: 0.5 * x - 10, 20.0, 10.0, pixel=0.1)
    >>> round(stairs(slope, Cutter("SQ4", "", "square end", 4, 4, 2, 25, 60, 40)), 6)
    0.1
    """
    if profile(cutter).flat <= surface.pixel or min(surface.z.shape) < 2:
        return 0.0
    rises = [np.abs(np.gradient(surface.z, axis=k)) for k in (0, 1)]
    return 2 * float(np.quantile(rises[0] + rises[1], share))


def tips_for_roughing(surface: HeightMap, cutter: Shaped, skim: float, outside: Outside = "nothing") -> Floats:
    """Least height of the tip over each pixel that keeps a skim.

    Parameters
    ----------
    surface : HeightMap
        What shall be carved.
    cutter : Cutter or Profile
        Of roughing.
    skim : float
        Wood kept, square to the surface [mm].
    outside : {"nothing", "stock"}
        What stands beyond the map's edge.

    Returns
    -------
    (rows, columns) float
        [mm]. Geometry: the centre surface of a cutter grown by the skim, so much higher.

    Example
    -------
    >>> from shopcalc.cutters import Cutter
    >>> level = sampled(lambda x, y: 0 * x - 3, 4.0, 4.0, pixel=0.5)
    >>> float(tips_for_roughing(level, Cutter("B6", "", "ball", 6, 6, 2, 20, 60, 30), 0.5).max())
    -2.5
    """
    return centre_surface(surface, skimmed(cutter, skim), outside=outside).z + skim


@dataclass(frozen=True, eq=False)
class AfterRoughing:
    """What stands after roughing.

    Parameters
    ----------
    heights : HeightMap
        Of the wood that stands [mm].
    finished : HeightMap
        What the finishing cutter will leave at best, or the carving itself [mm].
    levels : tuple of float
        Heights at which the tip moved level, from the top down [mm].
    """

    heights: HeightMap
    finished: HeightMap
    levels: tuple[float, ...]

    @property
    def greatest(self) -> float:
        """Depth of wood the finishing cutter meets at worst [mm]."""
        return float((self.heights.z - self.finished.z).max())

    @property
    def mean(self) -> float:
        """[mm]."""
        return float((self.heights.z - self.finished.z).mean())

    @property
    def volume(self) -> float:
        """Of the wood over the finished surface [mm^3]."""
        return float((self.heights.z - self.finished.z).sum() * self.heights.pixel**2)

    @property
    def terrace(self) -> float:
        """Height of the steps that stand where the carving slopes, 0 for a single level [mm]."""
        return float(-np.diff(self.levels).min()) if len(self.levels) > 1 else 0.0

    @property
    def notes(self) -> tuple[str, ...]:
        """What to tell the operator."""
        out = []
        if self.terrace > 0:
            out.append(f"terraces of {self.terrace:.2f} mm stand between {len(self.levels)} levels")
        out.append(f"the finishing cutter meets up to {self.greatest:.2f} mm, {self.mean:.2f} mm in the mean")
        return tuple(out)


def after_roughing(
    surface: HeightMap,
    cutter: Shaped,
    moves: Moves,
    *,
    stock_top: float = 0.0,
    finishing: Shaped | None = None,
    outside: Outside = "nothing",
) -> AfterRoughing:
    """What stands after moves were cut, from the moves themselves.

    Parameters
    ----------
    surface : HeightMap
        What shall be carved.
    cutter : Cutter or Profile
        That made the moves.
    moves : Moves
        Lines; rapids are taken to be above the wood.
    stock_top : float
        Height of the stock before [mm].
    finishing : Cutter or Profile, optional
        The next cutter: what it meets is counted down to what it will leave, else down to the carving.
    outside : {"nothing", "stock"}
        What stands beyond the map's edge.

    Returns
    -------
    AfterRoughing
        Geometry: the least of tip + underside; level moves exactly, sloped ones every half pixel.

    Raises
    ------
    InputError
        When there are arcs among the moves.

    Example
    -------
    >>> from shopcalc.cutters import Cutter
    >>> hollow = dished(60.0, 40.0, 6.0, pixel=0.5)
    >>> end = Cutter("SQ8", "", "square end", 8, 8, 2, 25, 60, 40)
    >>> from shopcalc.paths import Cutting
    >>> from shopcalc.relief.roughing import rough
    >>> left = after_roughing(hollow, end, rough(hollow, Cutting(end, 4000, 1200, 18000, 2.0), skim=0.5))
    >>> 1.6 < left.terrace < 1.8, left.greatest < 4.0
    (True, True)
    """
    heights = cut_heights(surface, cutter, moves, stock_top)
    finished = surface if finishing is None else reached(surface, finishing, outside=outside)
    level = (moves.kind == Kind.LINE) & (np.abs(np.diff(moves.points[:, 2])) < 1e-9)
    levels = np.unique(moves.points[1:, 2][level].round(6))[::-1]
    return AfterRoughing(heights, finished, tuple(float(z) for z in levels if z < stock_top))


def cut_heights(surface: HeightMap, cutter: Shaped, moves: Moves, stock_top: float) -> HeightMap:
    """Heights of stock of even height after moves were cut: the least of tip + underside at each pixel [mm].

    Parameters
    ----------
    surface : HeightMap
        On whose pixels.
    cutter : Cutter or Profile
        See ``reach.profile``.
    moves : Moves
        Rapids and lines.
    stock_top : float
        Height of the stock before [mm].

    Example
    -------
    >>> from shopcalc.cutters import Cutter
    >>> from shopcalc.moves import from_lists
    >>> board = sampled(lambda x, y: 0 * x, 10.0, 4.0, pixel=0.5)
    >>> groove = from_lists([(2, 2, -1), (8, 2, -1)], [Kind.LINE], feed=3000)
    >>> ball = Cutter("B2", "", "ball", 2, 6, 2, 20, 60, 30)
    >>> cut_heights(board, ball, groove, 0.0).z[:, 10].round(3).tolist()
    [0.0, 0.0, -0.661, -0.968, -0.968, -0.661, 0.0, 0.0]
    """
    if (moves.kind == Kind.ARC).any():
        refuse("arcs cannot be followed over a map here", "give moves made of lines")
    heights = np.full(surface.z.shape, float(stock_top))
    line = np.flatnonzero(moves.kind == Kind.LINE)
    shift = np.array([surface.origin[0], surface.origin[1], 0.0])
    begin, end = moves.points[line] - shift, moves.points[line + 1] - shift
    _paint(heights, begin, end, surface.pixel, shape_of(profile(cutter)))
    return surface.with_(heights)


@compiled
def _paint(heights: Floats, begin: Floats, end: Floats, pixel: float, shape: Floats) -> None:
    """Take straight moves out of the heights."""
    rows, columns = heights.shape
    rim = shape[0] * (1.0 + 1e-9)
    for k in range(begin.shape[0]):
        run = math.hypot(end[k, 0] - begin[k, 0], end[k, 1] - begin[k, 1])
        parts = 1
        if abs(end[k, 2] - begin[k, 2]) > 1e-9:
            parts = max(1, math.ceil(2.0 * run / pixel))
        for part in range(parts + (1 if parts > 1 or run < 1e-9 else 0)):
            x0, y0, z = begin[k, 0], begin[k, 1], min(begin[k, 2], end[k, 2])
            x1, y1 = end[k, 0], end[k, 1]
            if parts > 1:
                share = part / parts
                x0 += (x1 - x0) * share
                y0 += (y1 - y0) * share
                z = begin[k, 2] + (end[k, 2] - begin[k, 2]) * share
                x1, y1 = x0, y0
            elif part > 0:
                break
            elif abs(end[k, 2] - begin[k, 2]) > 1e-9 and run >= 1e-9:  # shorter than half a pixel: its lower end
                if end[k, 2] < begin[k, 2]:
                    x0, y0 = x1, y1
                else:
                    x1, y1 = x0, y0
            dx, dy = x1 - x0, y1 - y0
            size = dx * dx + dy * dy
            first = max(0, math.ceil((min(y0, y1) - rim) / pixel - 0.5))
            last = min(rows - 1, math.floor((max(y0, y1) + rim) / pixel - 0.5))
            left = max(0, math.ceil((min(x0, x1) - rim) / pixel - 0.5))
            right = min(columns - 1, math.floor((max(x0, x1) + rim) / pixel - 0.5))
            for i in range(first, last + 1):
                y = (i + 0.5) * pixel - y0
                for j in range(left, right + 1):
                    if heights[i, j] <= z:
                        continue
                    x = (j + 0.5) * pixel - x0
                    t = 0.0
                    if size > 0.0:
                        t = min(1.0, max(0.0, (x * dx + y * dy) / size))
                    away = (x - t * dx) ** 2 + (y - t * dy) ** 2
                    if away > rim * rim:
                        continue
                    low = z + under(away, shape)
                    if low < heights[i, j]:
                        heights[i, j] = low


def dished(length: float, width: float, rise: float, *, pixel: float) -> HeightMap:
    """A ground that falls from level edges to its middle.

    Parameters
    ----------
    length, width : float
        Along x and y [mm].
    rise : float
        Of the edges over the middle [mm].
    pixel : float
        About this size [mm].

    Returns
    -------
    HeightMap
        z = -rise (1 - X^2)(1 - Y^2), X and Y from -1 to 1 over the ground: its edges are at 0.

    Example
    -------
    >>> round(dished(60.0, 40.0, 6.0, pixel=0.5).depth, 3)
    5.999
    """
    require_positive(length=length, width=width, rise=rise, pixel=pixel)
    return sampled(
        lambda x, y: -rise * (1 - (2 * x / length - 1) ** 2) * (1 - (2 * y / width - 1) ** 2), length, width,
        pixel=pixel, name="dished ground",
    )  # fmt: skip
