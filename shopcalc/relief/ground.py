"""The ground round a raised shape cleared, its edge upright or sloped."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from shopcalc.cutting.engagement import pass_depths, pass_levels, refuse, require_at_most, require_positive
from shopcalc.moves import Floats, Moves
from shopcalc.paths.tracing import Cutting
from shopcalc.relief.heights import HeightMap
from shopcalc.relief.lines import draw
from shopcalc.relief.reach import profile

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry
from shopcalc.relief.rings import polygons, region, rings_within

OVER = 2.0  # mm above the stock's top, for ways over the carving itself


def cut_round(
    shape: BaseGeometry | HeightMap,
    cutting: Cutting,
    *,
    depth: float,
    ground: BaseGeometry | None = None,
    edge_slope: float = math.pi / 2,
    edge_step: float | None = None,
    depth_per_pass: float | None = None,
    width_per_pass: float | None = None,
    skim: float = 0.0,
) -> Moves:
    """Clear the ground round a raised shape, its edge upright or sloped.

    Parameters
    ----------
    shape : shapely geometry or HeightMap
        Outline of what stays at the stock's top; or a map, where all that is higher than the ground stays (carve it
        afterwards).
    cutting : Cutting
        Cutter, feeds, direction and how it goes down. A square end leaves a level ground.
    depth : float
        Of the ground below the stock's top, z = 0 [mm].
    ground : shapely geometry, optional
        The area to clear; wood stands round it. With an outline that is left out, a strip of two diameters; with a map,
        the whole map, its edges free.
    edge_slope : float
        Of the shape's edge against level, its top at the outline [rad]; pi / 2 is upright.
    edge_step : float, optional
        Depth between laps along a sloped edge [mm], which leave so high terraces; that of the levels when left out.
    depth_per_pass, width_per_pass : float, optional
        Of one level, and between rings, at most [mm]; those of ``cutting`` when left out.
    skim : float
        Wood kept at the edge, sideways [mm].

    Returns
    -------
    Moves
        Rings at each level, the inside of the ground first and the edges last; then the laps of a sloped edge from the
        top down.

    Raises
    ------
    InputError
        When the cutter fits nowhere round the shape, or a setting is out of range.

    Notes
    -----
    Geometry: at the tip's depth d the axis keeps max over r of r + (d - underside(r)) / tan(slope) from the outline.

    Example
    -------
    >>> from shopcalc.cutters import Cutter
    >>> import shapely
    >>> end = Cutting(Cutter("SQ8", "", "square end", 8, 8, 2, 25, 60, 40), 4000, 1200, 18000, 2.0)
    >>> moves = cut_round(shapely.box(0, 0, 30, 20), end, depth=5.0)
    >>> float(moves.points[:, 2].min())
    -5.0
    """
    import shapely

    require_positive(depth=depth)
    deep = cutting.depth_per_pass if depth_per_pass is None else depth_per_pass
    width = cutting.step if width_per_pass is None else width_per_pass
    require_positive(depth_per_pass=deep, width_per_pass=width)
    if not 0 < edge_slope <= math.pi / 2 or not skim >= 0:
        refuse(f"an edge of {math.degrees(edge_slope):.4g} deg and a skim of {skim} mm", "give 0 to 90 deg, 0 or more")
    require_at_most(
        "depth", depth, f"the cutting length of {cutting.cutter.id}", cutting.cutter.cutting_length,
        "use a longer cutter",
    )  # fmt: skip
    if isinstance(shape, HeightMap):
        x, y = shape.origin
        box = shapely.box(x, y, x + shape.length, y + shape.width)
        pixel = shape.pixel
        wider = HeightMap(np.pad(shape.z, 1, mode="edge"), pixel, (x - pixel, y - pixel))  # its edges are free
        open_ground = region(wider, wider.z <= -depth + 1e-6)
        if shape.z.max() <= -depth + 1e-6 or open_ground.is_empty:
            refuse("nothing is raised over the ground, or there is no ground", "check the depth")
        outline = box.difference(open_ground)
        room = box if ground is None else ground.buffer(-cutting.radius)
    else:
        outline = shape
        strip = outline.buffer(_away(cutting, depth, edge_slope) + 1.5 * cutting.cutter.true_diameter)
        room = strip if ground is None else ground.buffer(-cutting.radius)
    ways: list[Floats] = []
    standing: list[float] = []

    def cut(area: BaseGeometry, down: float, wood: float, apart: float) -> None:
        for ring in rings_within(area, cutting, apart, keep_off=0.0):
            ways.append(np.column_stack([ring, np.full(len(ring), -down)]))
            standing.append(wood)

    before = 0.0
    for down in pass_levels(pass_depths(depth, deep)):
        cut(room.difference(outline.buffer(_away(cutting, down, edge_slope) + skim)), down, down - before, width)
        before = down
    if not ways:
        refuse(f"{cutting.cutter.id} fits nowhere round the shape", "take a smaller cutter, or clear a larger ground")
    if edge_slope < math.pi / 2 and edge_step is not None:
        before = 0.0
        for down in pass_levels(pass_depths(depth, edge_step)):
            edge = outline.buffer(_away(cutting, down, edge_slope) + skim)
            for piece in polygons(edge):
                for ring in rings_within(room.difference(piece), cutting, math.inf, keep_off=0.0):
                    if shapely.LineString(ring).distance(piece) < 1e-6:
                        ways.append(np.column_stack([ring, np.full(len(ring), -down)]))
                        standing.append(min(down, deep))
            before = down
    return draw(cutting, ways, standing, lift=OVER)


def _away(cutting: Cutting, depth: float, slope: float) -> float:
    """How far the axis keeps from the outline when the tip is so deep [mm]."""
    under_side = profile(cutting.cutter)
    r = np.concatenate([np.linspace(0, under_side.radius, 4001), [under_side.flat]])
    height = under_side.height(r)
    out = r + np.maximum(depth - height, 0.0) / (math.tan(slope) if slope < math.pi / 2 else math.inf)
    return float(out[height <= depth].max())
