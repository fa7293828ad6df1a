"""Finishing a relief: parallel lines over its surface, the cusps they leave, and cleaning up after a larger cutter."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from shopcalc.cutters import Cutter
from shopcalc.cutting.engagement import cusp, refuse, require_positive, stepover_for_cusp
from shopcalc.moves import Floats, Moves
from shopcalc.paths.tracing import Cutting, Direction, in_turn
from shopcalc.relief.heights import HeightMap
from shopcalc.relief.layouts import Inside, direction_of, extent, lay_out, merged, require_step
from shopcalc.relief.lines import draw, strokes
from shopcalc.relief.reach import Outside, Shaped, profile, reached
from shopcalc.relief.tip_heights import Surface

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

__all__ = ["Cusps", "clean_up", "cusps", "finish", "stepover_for", "stepover_for_cusp"]

#: Of lines: along x, along y, an angle against x [deg], or first along x and then along y.
LineDirection: TypeAlias = Literal["x", "y", "both"] | float
Area: TypeAlias = "BaseGeometry | NDArray[np.bool_] | None"

#: Height by which straight pieces may miss the surface they follow [mm].
TOLERANCE = 0.01
_LINK = 3.0  # steps; a longer way between two lines is gone lifted
_SHARE = 0.95


def finish(
    surface: HeightMap,
    cutting: Cutting,
    *,
    stepover: float | None = None,
    direction: LineDirection = "x",
    tolerance: float = TOLERANCE,
    along: Direction | None = None,
    skim: float = 0.0,
    standing: float | None = None,
    area: Area = None,
    beyond: float = 0.0,
    outside: Outside = "nothing",
    link: float | None = None,
    centre: HeightMap | None = None,
) -> Moves:
    """Cut a relief by straight lines side by side, the tip everywhere as low as the surface lets it.

    Parameters
    ----------
    surface : HeightMap
        What shall be carved.
    cutting : Cutting
        Cutter, feeds and how it goes down.
    stepover : float, optional
        Sideways step, measured level, at most [mm]; the lines are spread evenly. The step of ``cutting`` when it is
        left out.
    direction : {"x", "y", "both"} or float
        Of the lines; a number is an angle against x [deg]; both is x first, then y.
    tolerance : float
        Height by which the straight pieces may miss the way of the tip [mm].
    along : {"climb", "conventional", "both"}, optional
        The side of the uncut wood, one way only, or to and fro; that of ``cutting`` when it is left out.
    skim : float
        Wood to keep for later, square to the surface [mm].
    standing : float, optional
        Wood that stands over the finished surface at most, as roughing left it [mm]; up to the stock's top, 0, when it
        is left out. It decides how high an entry begins.
    area : shapely geometry or (rows, columns) bool, optional
        Where the tip shall go: a shape in the map's coordinates, or pixels; the whole map when it is left out.
    beyond : float
        How far the lines run over every edge of the map [mm].
    outside : {"nothing", "stock"}
        What stands beyond the edge, see ``reach.centre_surface``.
    link : float, optional
        Longest way between the ends of neighbouring lines that is gone over the surface [mm]; three steps when it is
        left out. Longer ones are lifted to the safe height.
    centre : HeightMap, optional
        ``reach.centre_surface`` of the same map, cutter and outside, when at hand; it saves most of the time.

    Returns
    -------
    Moves
        From the safe height to the safe height. The tip is nowhere lower than the surface lets it by more than the
        tolerance, and at its points nowhere higher (see ``lines`` for what lies between pixels).

    Raises
    ------
    InputError
        When a setting is out of range, the area holds no line, or the cutter carves nothing or has no room to go down.

    Notes
    -----
    Geometry. One way, the lines are ordered so that the uncut wood lies to the right (climb) or left (conventional)
    for a spindle that turns clockwise seen from above.

    Example
    -------
    >>> from shopcalc.relief.heights import sampled
    >>> slope = sampled(lambda x, y: -0.75 * x, 40.0, 20.0, pixel=0.5)
    >>> ball = Cutter("B6", "", "ball", 6, 6, 2, 40, 60, 50)
    >>> moves = finish(slope, Cutting(ball, 3000, 1000, 18000, 3), stepover=1.0, along="both", standing=0.0)
    >>> round(moves.cutting_length / 10)  # 21 lines of 50 mm, 20 steps, and 10 mm down to the wood
    108
    """
    way: Direction = cutting.direction if along is None else along
    if way not in ("climb", "conventional", "both"):
        refuse(f"along '{way}' is not known", "use one of: climb, conventional, both")
    if standing is not None and not standing >= 0:
        refuse(f"standing wood of {standing} mm", "give 0 or more")
    step = cutting.step if stepover is None else stepover
    require_step(step)
    over = Surface(surface, cutting.cutter, skim=skim, outside=outside, centre=centre)
    inside = _inside(surface, area)
    parts = []
    for one in ("x", "y") if direction == "both" else (direction,):
        layout = lay_out(extent(surface, beyond), direction_of(one), step, inside=inside)
        if not len(layout.line):
            refuse("no line crosses the area", "step less, or give a larger area")
        reach = _LINK * layout.step if link is None else link
        ways = strokes(over, merged(layout, reach), reach, tolerance, way)
        wood = [max(0.0, -w[0, 2]) if standing is None else min(standing, max(0.0, -w[0, 2])) for w in ways]
        parts.append(draw(cutting, ways, wood))
    return in_turn(cutting, parts)


def _inside(surface: HeightMap, area: Area) -> BaseGeometry | Inside | None:
    if area is None:
        return None
    if isinstance(area, np.ndarray):
        if area.shape != surface.z.shape:
            refuse(f"an area of {area.shape} pixels over a map of {surface.z.shape}", "give one value for each pixel")
        if not area.any():
            refuse("the area is empty", "mark at least one pixel")
        return Inside(area.astype(bool), surface)
    if area.is_empty or area.area <= 0:
        refuse("the area is empty", "give a shape with an area")
    return area


@dataclass(frozen=True, eq=False)
class Cusps:
    """Ridges between neighbouring lines, square to the surface.

    Parameters
    ----------
    height : HeightMap
        At each pixel [mm].
    beyond_share : float
        Share of the area steeper along the sideways step than the formula holds for: the cutter's flank or side cuts
        there, and the highest ridge it holds for stands in [-].
    """

    height: HeightMap
    beyond_share: float

    @property
    def greatest(self) -> float:
        """[mm]."""
        return float(self.height.z.max())

    @property
    def mean(self) -> float:
        """[mm]."""
        return float(self.height.z.mean())

    @property
    def most(self) -> float:
        """What 95 % of the area stays below [mm]."""
        return float(np.quantile(self.height.z, _SHARE))


def cusps(surface: HeightMap, cutter: Cutter, stepover: float, direction: LineDirection = "x") -> Cusps:
    """Cusps that parallel lines leave on a surface, by its true slope along the sideways step.

    Parameters
    ----------
    surface : HeightMap
        What is carved; the surface the cutter reaches, where that differs much.
    cutter : Cutter
        Any shape but a drill.
    stepover : float
        Sideways step, measured level [mm].
    direction : {"x", "y", "both"} or float
        Of the lines, as in ``finish``; after both the lower of both cusps stands.

    Returns
    -------
    Cusps
        Geometry, see ``engagement.cusp``. A slope along the lines changes nothing.

    Raises
    ------
    InputError
        When the step is wider than the cutter's round or diameter.

    Example
    -------
    >>> from shopcalc.relief.heights import sampled
    >>> up = sampled(lambda x, y: y - 10, 10.0, 10.0, pixel=0.5)
    >>> ball = Cutter("B6", "", "ball", 6, 6, 2, 20, 60, 30)
    >>> round(cusps(up, ball, 0.5, "x").mean, 7), round(cusps(up, ball, 0.5, "y").mean, 7)
    (0.0209062, 0.0104348)
    """
    require_step(stepover)
    profile(cutter)  # a drill carves nothing
    steepest = _steepest(cutter, stepover)
    found: list[Floats] = []
    beyond = np.ones(surface.z.shape, dtype=bool)
    for one in ("x", "y") if direction == "both" else (direction,):
        dx, dy = direction_of(one)
        slope = np.arctan(np.abs(_slope_along(surface, (-dy, dx))))
        beyond &= slope > steepest + 1e-12
        found.append(np.asarray(cusp(cutter, stepover, np.minimum(slope, steepest)), dtype=np.float64))
    return Cusps(surface.with_(np.minimum.reduce(found)), float(beyond.mean()))


def _slope_along(surface: HeightMap, along: tuple[float, float]) -> Floats:
    """Rise over run in a direction [-]."""
    rise = np.zeros(surface.z.shape)
    for axis, share in ((1, along[0]), (0, along[1])):
        if abs(share) > 1e-12 and surface.z.shape[axis] > 1:
            rise += share * np.gradient(surface.z, surface.pixel, axis=axis)
    return rise


def _steepest(cutter: Cutter, stepover: float) -> float:
    """Greatest slope at which neighbouring lines still meet as ``engagement.cusp`` asks [rad]."""
    cusp(cutter, stepover)  # refuses a step that is too wide even on the level
    under = profile(cutter)
    a = under.half_angle if under.half_angle < math.pi / 2 else 0.0
    flank = math.pi / 2 - a
    if not under.ball:
        return flank - 1e-6
    low, high = 0.0, flank
    for _ in range(60):
        middle = (low + high) / 2
        fits = stepover <= 2 * under.ball * math.sin(flank - middle) * math.cos(middle)
        low, high = (middle, high) if fits else (low, middle)
    return min(low, flank - 1e-6)


def stepover_for(
    surface: HeightMap, cutter: Cutter, cusp: float, direction: LineDirection = "x", share: float = _SHARE
) -> float:
    """Widest sideways step that keeps the cusps of a surface low.

    Parameters
    ----------
    surface : HeightMap
        What is carved.
    cutter : Cutter
        Any shape but a drill.
    cusp : float
        Wanted height of the ridges at most [mm].
    direction : {"x", "y", "both"} or float
        Of the lines, as in ``finish``.
    share : float
        Of the area on which it shall hold [-].

    Returns
    -------
    float
        [mm]; the exact value for the slope that only ``1 - share`` of the area exceeds.

    Raises
    ------
    InputError
        When no step leaves so high a cusp.

    Example
    -------
    >>> from shopcalc.relief.heights import sampled
    >>> level = sampled(lambda x, y: 0 * x - 2, 10.0, 10.0, pixel=0.5)
    >>> round(float(stepover_for(level, Cutter("B6", "", "ball", 6, 6, 2, 20, 60, 30), 0.005)), 6)
    0.346266
    """
    require_positive(cusp=cusp)
    if not 0 < share <= 1:
        refuse(f"a share of {share}", "give a number above 0 and at most 1")
    under = profile(cutter)
    slopes = []
    for one in ("x", "y") if direction == "both" else (direction,):
        dx, dy = direction_of(one)
        slopes.append(np.arctan(np.abs(_slope_along(surface, (-dy, dx)))))
    slope = float(np.quantile(np.minimum.reduce(slopes), share))
    a = under.half_angle if under.half_angle < math.pi / 2 else 0.0
    steepest = math.pi / 2 - a - 1e-6
    if under.ball:  # the steepest on which the round can leave so much
        steepest = min(steepest, math.pi / 2 - a - math.acos(max(0.0, 1 - cusp / under.ball)) - 1e-9)
    return float(stepover_for_cusp(cutter, cusp, max(0.0, min(slope, steepest))))


@dataclass(frozen=True, eq=False)
class CleanUp:
    """Lines of a smaller cutter where a larger one left too much.

    Parameters
    ----------
    moves : Moves or None
        None when nothing is left to clean.
    region : (rows, columns) bool
        Where the first cutter left more than was asked and the second reaches further.
    area_share : float
        Share of the map the lines go over [-].
    left_before, left_after : float
        Greatest depth the cutters leave over the surface: the first alone, both [mm].
    """

    moves: Moves | None
    region: NDArray[np.bool_]
    area_share: float
    left_before: float
    left_after: float


def clean_up(
    surface: HeightMap,
    first: Shaped,
    cutting: Cutting,
    left_over: float,
    *,
    stepover: float | None = None,
    direction: LineDirection = "x",
    tolerance: float = TOLERANCE,
    along: Direction | None = "both",
    outside: Outside = "nothing",
) -> CleanUp:
    """Cut with a smaller cutter only where a larger one left more than a depth.

    Parameters
    ----------
    surface : HeightMap
        What shall be carved.
    first : Cutter or Profile
        The cutter that was everywhere before.
    cutting : Cutting
        The smaller one.
    left_over : float
        Depth that may stay [mm].
    stepover, direction, tolerance, along, outside
        As in ``finish``.

    Returns
    -------
    CleanUp
        The lines go over the region grown by the round of the small tip and half a step, so that it is cut from both
        sides; runs nearer together than three steps are joined, the ways between the others are lifted, each to the
        nearest next.

    Raises
    ------
    InputError
        As in ``finish``.

    Notes
    -----
    Geometry: closing by the first cutter less the surface, and less the closing by the second.

    Example
    -------
    >>> from shopcalc.relief.heights import sampled
    >>> vee = sampled(lambda x, y: -8 + np.abs(x - 15), 30.0, 10.0, pixel=0.25)
    >>> small = Cutter("B2", "", "ball", 2, 6, 2, 20, 60, 30)
    >>> done = clean_up(vee, Cutter("B8", "", "ball", 8, 8, 2, 20, 60, 30), Cutting(small, 2000, 600, 18000, 1), 0.2)
    >>> bool(done.area_share < 0.3), bool(done.left_after < 0.6 < done.left_before)
    (True, True)
    """
    from scipy.ndimage import distance_transform_edt

    require_positive(left_over=left_over)
    step = cutting.step if stepover is None else stepover
    require_step(step)
    before = reached(surface, first, outside=outside).z
    after = np.minimum(before, reached(surface, cutting.cutter, outside=outside).z)
    left = before - surface.z
    region = (left > left_over) & (before - after > tolerance)
    summary = (region, 0.0, float(left.max()), float((after - surface.z).max()))
    if not region.any():
        return CleanUp(None, *summary)
    under = profile(cutting.cutter)
    round_part = min(under.radius, under.flat + under.ball) if under.flat + under.ball > 0 else under.radius
    grown = distance_transform_edt(~region) * surface.pixel <= round_part + step / 2
    moves = finish(
        surface, cutting, stepover=step, direction=direction, tolerance=tolerance, along=along, area=grown,
        outside=outside, standing=float(left[region].max()),
    )  # fmt: skip
    return CleanUp(moves, region, float(grown.mean()), summary[2], summary[3])
