"""Areas a roughing cutter is free in, as rings one within the other."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, TypeAlias

import numpy as np
from numpy.typing import NDArray

from shopcalc.compiling import compiled
from shopcalc.moves import Floats
from shopcalc.paths.tracing import Cutting
from shopcalc.relief.heights import HeightMap
from shopcalc.relief.layouts import nearest_next
from shopcalc.relief.reach import Outside

if TYPE_CHECKING:
    from shapely import Polygon
    from shapely.geometry.base import BaseGeometry

Bools: TypeAlias = NDArray[np.bool_]
_WIDEST = 0.5  # of the diameter: rings further apart leave posts in corners and where they meet
LINK = 2.0  # steps; ways between two runs that are looked at


def _cells(free: Bools) -> Bools:
    """Squares between four pixels' middles that are all free."""
    return free[:-1, :-1] & free[1:, :-1] & free[:-1, 1:] & free[1:, 1:]


@compiled
def _trace(cells: Bools, right: Bools, out: NDArray[np.int64], sizes: NDArray[np.int64]) -> tuple[int, int]:
    """Loops round free cells, these on the left, over their corners; right marks edges going +x with a cell above."""
    rows, columns = cells.shape
    used, loops = 0, 0
    for i0 in range(rows):
        for j0 in range(columns):
            if not right[i0, j0]:
                continue
            i, j, di, dj, begin = i0, j0, 0, 1, used
            while True:
                if dj == 1:
                    right[i, j] = False
                out[used, 0], out[used, 1] = i, j
                used += 1
                i, j = i + di, j + dj
                for turn in range(3):  # left first: cells that touch at a corner only stay apart
                    if turn == 0:
                        ni, nj = dj, -di
                    elif turn == 1:
                        ni, nj = di, dj
                    else:
                        ni, nj = -dj, di
                    # the cells left and right of the edge from (i, j) towards (ni, nj)
                    li, lj = i + (ni + nj - 1) // 2, j + (nj - ni - 1) // 2
                    ri, rj = i + (ni - nj - 1) // 2, j + (nj + ni - 1) // 2
                    left = 0 <= li < rows and 0 <= lj < columns and cells[li, lj]
                    other = 0 <= ri < rows and 0 <= rj < columns and cells[ri, rj]
                    if left and not other:
                        di, dj = ni, nj
                        break
                if i == i0 and j == j0 and di == 0 and dj == 1:
                    break
            sizes[loops] = used - begin
            loops += 1
    return used, loops


def region(surface: HeightMap, free: Bools) -> BaseGeometry:
    """The area over which every point has only free pixels around it.

    Parameters
    ----------
    surface : HeightMap
        Whose pixels.
    free : (rows, columns) bool
        Which.

    Returns
    -------
    shapely geometry
        In the map's coordinates, its corners on the pixels' middles; may be empty.

    Example
    -------
    >>> from shopcalc.relief.heights import sampled
    >>> level = sampled(lambda x, y: 0 * x, 4.0, 3.0, pixel=0.5)
    >>> region(level, np.ones((6, 8), dtype=bool)).area
    8.75
    """
    import shapely

    cells = _cells(free)
    if not cells.any():
        return shapely.Polygon()
    right = cells.copy()
    right[1:] &= ~cells[:-1]
    edges = int(np.abs(np.diff(np.pad(cells, 1).astype(np.int8), axis=0)).sum())
    edges += int(np.abs(np.diff(np.pad(cells, 1).astype(np.int8), axis=1)).sum())
    out, sizes = np.empty((edges + 4, 2), dtype=np.int64), np.empty(edges + 1, dtype=np.int64)
    used, loops = _trace(np.ascontiguousarray(cells), right, out, sizes)
    xy = (out[:used, ::-1] + 0.5) * surface.pixel + np.array(surface.origin)
    rings = []
    for loop in np.split(xy, np.cumsum(sizes[: loops - 1])):
        turn = np.any(np.roll(loop, -1, axis=0) - loop != loop - np.roll(loop, 1, axis=0), axis=1)
        rings.append(shapely.LinearRing(loop[turn | (np.arange(len(loop)) == 0)]))
    lines = shapely.union_all(rings)  # puts a node where loops touch
    faces = shapely.get_parts(shapely.polygonize(shapely.get_parts(lines).tolist()))
    inside = shapely.get_coordinates(shapely.point_on_surface(faces)) - np.array(surface.origin)
    j, i = np.floor(inside / surface.pixel - 0.5).astype(np.int64).T
    return shapely.union_all(faces[cells[i, j]])


def free_rings(surface: HeightMap, free: Bools, cutting: Cutting, width: float, outside: Outside) -> list[Floats]:
    """Rings in the area a cutter is free in.

    Parameters
    ----------
    surface : HeightMap
        For the places of its pixels.
    free : (rows, columns) bool
        Where the tip may be.
    cutting : Cutting
        Cutter and direction.
    width : float
        Between rings, at most [mm].
    outside : str
        What stands round the map.
    """
    x, y = surface.origin
    wide = 0 if outside == "stock" else 2  # over a free edge the tip is held up no more than on it
    beyond = wide * surface.pixel
    frame = HeightMap(np.pad(surface.z, wide, mode="edge"), surface.pixel, (x - beyond, y - beyond))
    area = region(frame, np.pad(free, wide, mode="edge"))
    return rings_within(area, cutting, width, keep_off=surface.pixel)


def rings_within(area: BaseGeometry, cutting: Cutting, width: float, *, keep_off: float) -> list[Floats]:
    """Rings from the inside of an area outwards, joined where the way between them lies within it.

    Parameters
    ----------
    area : shapely geometry
        Where the tip may go [mm].
    cutting : Cutting
        Direction: all but conventional keep the wood outside to the right.
    width : float
        Between the rings at most [mm]; infinite for the outermost alone.
    keep_off : float
        From the area's edge; the rings are smoothed within as much [mm].

    Returns
    -------
    list of (n, 2) float
        Ways [mm].

    Example
    -------
    >>> from shopcalc.cutters import Cutter
    >>> import shapely
    >>> end = Cutting(Cutter("SQ8", "", "square end", 8, 8, 2, 25, 60, 40), 4000, 1200, 18000, 2.0)
    >>> [len(way) > 8 for way in rings_within(shapely.box(0, 0, 40, 30), end, 4.0, keep_off=0.1)]
    [True]
    """
    import shapely

    spacing = min(width, _WIDEST * cutting.cutter.true_diameter)
    edge = area.buffer(-keep_off, join_style="mitre").simplify(keep_off) if keep_off > 0 else area
    waiting, order = list(polygons(edge)), []
    while waiting:
        piece = waiting.pop()
        order.append(piece)
        if not math.isinf(width):
            waiting.extend(polygons(piece.buffer(-spacing).simplify(spacing / 200)))
    shapely.prepare(area)
    ways: list[list[Floats]] = []
    for piece in reversed(order):  # inside first
        turned = shapely.geometry.polygon.orient(piece)
        for ring in (turned.exterior, *turned.interiors):
            points = np.asarray(ring.coords)[:, :2]
            if cutting.direction == "conventional":
                points = points[::-1]
            if ways:
                last = ways[-1][-1][-1]
                points = _begun_near(points, last)
                link = shapely.LineString([last, points[0]])
                if link.length <= LINK * spacing and area.covers(link):
                    ways[-1].append(points)
                    continue
            ways.append([points])
    found = [np.concatenate(way) for way in ways]
    if len(found) < 3:
        return found
    order_of = nearest_next(np.array([w[0] for w in found]), np.array([w[-1] for w in found]), turns=False)
    return [found[k] for k, _ in order_of]


def polygons(shape: BaseGeometry) -> list[Polygon]:
    """Polygons of an area, whatever it is made of.

    Parameters
    ----------
    shape : shapely geometry
        [mm].
    """
    import shapely

    return [p for p in shapely.get_parts(shape) if p.geom_type == "Polygon" and p.area > 1e-6]


def _begun_near(ring: Floats, at: Floats) -> Floats:
    """A closed ring begun at its corner nearest to a point."""
    k = int(np.argmin(np.hypot(*(ring[:-1] - at).T)))
    return np.concatenate([ring[k:-1], ring[: k + 1]])
