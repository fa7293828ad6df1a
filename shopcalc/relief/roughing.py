"""Roughing a relief: level by level down to a skim over the finished surface, and what then stands.

At each level the tip moves level, only where the lowest height it may have there (``reach.centre_surface`` plus the
skim) is no higher than the level. Between pixels no sample of the map asks for more than the highest of the pixels
around, so every place whose four neighbours are free is free. What stays between two levels are terraces.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from shopcalc.compiling import compiled
from shopcalc.cutting.engagement import pass_depths, pass_levels, refuse, require_at_most, require_positive
from shopcalc.moves import Floats, Kind, Moves
from shopcalc.paths.tracing import Cutting
from shopcalc.relief.heights import HeightMap, sampled
from shopcalc.relief.lines import (
    Layout,
    chains,
    direction_of,
    draw,
    lay_out,
    nearest_next,
    shape_of,
    skimmed,
    under,
)
from shopcalc.relief.reach import Outside, Shaped, centre_surface, profile, reached

if TYPE_CHECKING:
    from shapely import Polygon
    from shapely.geometry.base import BaseGeometry

Pattern: TypeAlias = Literal["lines", "rings"]
Bools: TypeAlias = NDArray[np.bool_]

_WIDEST = 0.5  # of the diameter: rings further apart leave posts in corners and where they meet
_LINK = 2.0  # steps; ways between two runs that are looked at
_OVER = 2.0  # mm above the stock's top, for ways over the carving itself


def rough(
    surface: HeightMap,
    cutting: Cutting,
    *,
    depth_per_pass: float | None = None,
    width_per_pass: float | None = None,
    skim: float = 0.5,
    pattern: Pattern = "lines",
    direction: Literal["x", "y"] = "x",
    stock_top: float = 0.0,
    lap: bool = True,
    outside: Outside = "nothing",
) -> Moves:
    """Rough a relief level by level.

    Parameters
    ----------
    surface : HeightMap
        What shall be carved.
    cutting : Cutting
        Cutter, feeds, direction (climb, conventional or both) and how it goes down.
    depth_per_pass : float, optional
        Of one level at most [mm]; that of ``cutting`` when it is left out. The levels are equal.
    width_per_pass : float, optional
        Sideways step at most [mm]; that of ``cutting`` when it is left out.
    skim : float
        Wood kept for finishing, square to the surface [mm].
    pattern : {"lines", "rings"}
        Lines clipped at each level, or rings from the inside of each region outwards, which keep climb or
        conventional without lifting. Lines to and fro when the cutting's direction is "both", else one way.
    direction : {"x", "y"}
        Of the lines.
    stock_top : float
        Height of the stock's top; not below the highest place of the carving [mm].
    lap : bool
        Lines only: a lap round each region after its lines takes the strip beside the last line.
    outside : {"nothing", "stock"}
        What stands beyond the map's edge, see ``reach.centre_surface``.

    Returns
    -------
    Moves
        From the safe height to the safe height. Never below the centre surface plus skim.

    Raises
    ------
    InputError
        When a setting is out of range, the carving is deeper than the flutes, or nothing is to be roughed.

    Notes
    -----
    Geometry. Levels: see ``roughing_levels``; those at which nothing wide enough is free are left out. Within a level
    regions are taken each to the nearest next; a way between two runs is gone at the level where all of it is free,
    else 2 mm above the stock's top, where no wood stands: clamps stay outside the carving. First and last the safe
    height is used. Rings keep a pixel more from the region's edge.

    Example
    -------
    >>> from shopcalc.cutters import Cutter
    >>> hollow = dished(60.0, 40.0, 6.0, pixel=0.5)
    >>> end = Cutter("SQ8", "", "square end", 8, 8, 2, 25, 60, 40)
    >>> moves = rough(hollow, Cutting(end, 4000, 1200, 18000, 2.0), skim=0.5)
    >>> sorted(set(moves.points[:, 2].round(3).tolist()))[0] > -6.0 + 0.5
    True
    """
    depth = cutting.depth_per_pass if depth_per_pass is None else depth_per_pass
    width = cutting.step if width_per_pass is None else width_per_pass
    require_positive(depth_per_pass=depth, width_per_pass=width)
    require_at_most("width per pass", width, "the cutter's diameter", cutting.cutter.true_diameter, "step less")
    if pattern not in ("lines", "rings"):
        refuse(f"pattern '{pattern}' is not known", "use lines or rings")
    if direction not in ("x", "y"):
        refuse(f"direction '{direction}' is not known", "use x or y")
    if surface.z.max() > stock_top:
        refuse(
            f"the carving reaches {surface.z.max() - stock_top:.3g} mm above the stock's top",
            "give the stock's true top, or lower the carving",
        )
    if cutting.safe_height <= stock_top:
        refuse(
            f"the safe height of {cutting.safe_height:.4g} mm is not above the stock's top at {stock_top:.4g} mm",
            "raise it above all that stands there",
        )
    least = tips_for_roughing(surface, cutting.cutter, skim, outside)
    downs = roughing_levels(surface.with_(least), depth, width, skim=skim, stock_top=stock_top)
    require_at_most(
        "depth of roughing", downs[-1], f"the cutting length of {cutting.cutter.id}", cutting.cutter.cutting_length,
        "use a longer cutter",
    )  # fmt: skip
    ways: list[Floats] = []
    standing: list[float] = []
    before = 0.0
    for down in downs:
        level = stock_top - down
        free = least <= level + 1e-9
        runs = (
            _lines(surface, free, cutting, width, direction, outside)
            if pattern == "lines"
            else _rings(surface, free, cutting, width, outside)
        )
        if pattern == "lines" and lap:
            runs += _rings(surface, free, cutting, math.inf, outside)
        for run in runs:
            ways.append(np.column_stack([run, np.full(len(run), level)]))
            standing.append(down - before)
        before = down if runs else before
    if not ways:
        refuse(
            f"nothing is to be roughed: below the skim all places are too narrow for {cutting.cutter.id}",
            "finish at once, or rough with a smaller cutter",
        )
    return draw(cutting, ways, standing, lift=stock_top + _OVER)


def roughing_levels(
    least: HeightMap, depth: float, width: float, *, skim: float, stock_top: float = 0.0
) -> tuple[float, ...]:
    """Depths of the levels of roughing below the stock's top.

    Parameters
    ----------
    least : HeightMap
        Least heights of the tip that keep the skim, see ``tips_for_roughing`` [mm].
    depth, width : float
        Of one level, and between lines, at most [mm].
    skim : float
        Wood kept for finishing [mm].
    stock_top : float
        Height of the stock's top [mm].

    Returns
    -------
    tuple of float
        Equal ones [mm]. The last one is where a line finds room; lower places are left to finishing while no more than
        another skim stands above what roughing keeps there.

    Raises
    ------
    InputError
        When the skim is thicker than the carving is deep.

    Example
    -------
    >>> pit = sampled(lambda x, y: np.where((abs(x - 10) < 0.2) & (abs(y - 10) < 0.2), -3.0, -2.0), 20, 20, pixel=0.25)
    >>> roughing_levels(pit, 5.0, 4.0, skim=0.5), roughing_levels(pit, 5.0, 4.0, skim=1.5)
    ((2.5,), (2.0,))
    """
    lowest = float(least.z.min())
    bottom = min(room_for_a_line(least, width), lowest + skim)
    if stock_top - bottom <= 1e-6:
        bottom = lowest
    if stock_top - bottom <= 1e-6:
        refuse("nothing is to be roughed: the skim is thicker than the carving is deep", "finish at once")
    return tuple(pass_levels(pass_depths(stock_top - bottom, depth)))


def room_for_a_line(least: HeightMap, width: float) -> float:
    """Lowest height at which a line of roughing surely finds a place, wherever the lines lie.

    Parameters
    ----------
    least : HeightMap
        Least heights of the tip, see ``tips_for_roughing`` [mm].
    width : float
        Between lines [mm].

    Returns
    -------
    float
        [mm]. Geometry: somewhere the tip is free over a whole step, across and along.

    Example
    -------
    >>> slot = sampled(lambda x, y: np.where(abs(y - 10) < 1.1, -3.0, -2.0), 20, 20, pixel=0.25)
    >>> room_for_a_line(slot, 1.5), room_for_a_line(slot, 4.0)
    (-3.0, -2.0)
    """
    from scipy.ndimage import maximum_filter1d

    pixels = math.ceil(width / least.pixel) + 1
    return max(
        float(maximum_filter1d(least.z, min(pixels, least.z.shape[k]), axis=k, mode="nearest").min()) for k in (0, 1)
    )


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


def _cells(free: Bools) -> Bools:
    """Squares between four pixels' middles that are all free."""
    return free[:-1, :-1] & free[1:, :-1] & free[:-1, 1:] & free[1:, 1:]


def _lines(
    surface: HeightMap, free: Bools, cutting: Cutting, width: float, direction: str, outside: Outside
) -> list[Floats]:
    """(n, 2) float each: runs of one level in their order [mm]."""
    pixel, (x0, y0) = surface.pixel, surface.origin
    rows, columns = free.shape
    box = (x0, y0, x0 + surface.length, y0 + surface.width)
    if outside == "stock" and min(rows, columns) > 1:  # beyond the outermost middles the walls come nearer
        box = (x0 + pixel / 2, y0 + pixel / 2, box[2] - pixel / 2, box[3] - pixel / 2)
    layout = lay_out(box, direction_of(direction), width)
    which, begin, end = [], [], []
    mask, first, across, length = (
        (free, x0, y0, columns) if direction == "x" else (free.T, y0, x0, rows)
    )  # lines run along the columns of mask
    sign = 1.0 if direction == "x" else -1.0
    for k, offset in enumerate(layout.offset):
        at = (sign * offset - across) / pixel - 0.5
        low = int(np.clip(math.floor(at + 1e-9), 0, mask.shape[0] - 1))
        high = int(np.clip(math.ceil(at - 1e-9), 0, mask.shape[0] - 1))
        open_ = mask[low] & mask[high]
        change = np.flatnonzero(np.diff(np.concatenate([[False], open_, [False]]).astype(np.int8)))
        starts, ends = change[::2].astype(np.float64), change[1::2] - 1.0
        starts = np.where(starts == 0, layout.begin[k], first + (starts + 0.5) * pixel)
        ends = np.where(ends == length - 1, layout.end[k], first + (ends + 0.5) * pixel)
        which.append(np.full(len(starts), k))
        begin.append(starts)
        end.append(ends)
    w = np.concatenate(which)
    runs = Layout(
        layout.along, layout.line[w], layout.offset[w], np.concatenate(begin), np.concatenate(end), layout.step
    )
    both = cutting.direction == "both"
    found: list[Floats] = []
    for chain in chains(runs, _LINK * runs.step if both else math.inf, both):
        way: list[Floats] = []
        for run, back in chain:
            ends_of_run = runs.points(runs.offset[[run, run]], np.array([runs.begin[run], runs.end[run]]))
            if back or cutting.direction == "conventional":
                ends_of_run = ends_of_run[::-1]
            link = _link(surface, free, runs, way[-1], ends_of_run) if way and both else None
            if link is not None:
                way += [link, ends_of_run]
            else:
                if way:
                    found.append(np.concatenate(way))
                way = [ends_of_run]
        found.append(np.concatenate(way))
    return found


def _link(surface: HeightMap, free: Bools, runs: Layout, before: Floats, after: Floats) -> Floats | None:
    """(n, 2) float: corners of a free way from the end of a run to the next, straight or square to both; or None."""
    if _free_way(surface, free, before[-1], after[0]):
        return np.empty((0, 2))
    along = np.array(runs.along)
    at, begin, to, end = (float(p @ along) for p in (before[-1], before[-2], after[0], after[1]))
    inwards = 1.0 if begin > at else -1.0
    nearer = max(at, to) if inwards > 0 else min(at, to)
    for inset in (0, 1, 2, 4, 8):
        s = nearer + inwards * inset * surface.pixel
        if (s - begin) * inwards > 0 or (s - end) * inwards > 0:
            break
        one, other = before[-1] + (s - at) * along, after[0] + (s - to) * along
        if _free_way(surface, free, one, other):
            return np.stack([one, other])
    return None


def _free_way(surface: HeightMap, free: Bools, begin: Floats, end: Floats) -> bool:
    """Whether the straight way between two points is free: all pixels around every eighth of a pixel of it."""
    rows, columns = free.shape
    n = max(2, math.ceil(8 * math.dist(begin, end) / surface.pixel) + 1)
    at = (begin + np.linspace(0, 1, n)[:, None] * (end - begin) - np.array(surface.origin)) / surface.pixel - 0.5
    x, y = np.clip(at[:, 0], 0, columns - 1), np.clip(at[:, 1], 0, rows - 1)
    low_x, high_x = np.floor(x + 1e-9).astype(int), np.ceil(x - 1e-9).astype(int)
    low_y, high_y = np.floor(y + 1e-9).astype(int), np.ceil(y - 1e-9).astype(int)
    return bool((free[low_y, low_x] & free[low_y, high_x] & free[high_y, low_x] & free[high_y, high_x]).all())


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


def _rings(surface: HeightMap, free: Bools, cutting: Cutting, width: float, outside: Outside) -> list[Floats]:
    """(n, 2) float each: rings of one level, innermost first; only the outermost when the width is infinite [mm]."""
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
    waiting, order = list(_polygons(edge)), []
    while waiting:
        piece = waiting.pop()
        order.append(piece)
        if not math.isinf(width):
            waiting.extend(_polygons(piece.buffer(-spacing).simplify(spacing / 200)))
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
                if link.length <= _LINK * spacing and area.covers(link):
                    ways[-1].append(points)
                    continue
            ways.append([points])
    found = [np.concatenate(way) for way in ways]
    if len(found) < 3:
        return found
    order_of = nearest_next(np.array([w[0] for w in found]), np.array([w[-1] for w in found]), turns=False)
    return [found[k] for k, _ in order_of]


def _polygons(shape: BaseGeometry) -> list[Polygon]:
    import shapely

    return [p for p in shapely.get_parts(shape) if p.geom_type == "Polygon" and p.area > 1e-6]


def _begun_near(ring: Floats, at: Floats) -> Floats:
    """A closed ring begun at its corner nearest to a point."""
    k = int(np.argmin(np.hypot(*(ring[:-1] - at).T)))
    return np.concatenate([ring[k:-1], ring[: k + 1]])


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
            for piece in _polygons(edge):
                for ring in rings_within(room.difference(piece), cutting, math.inf, keep_off=0.0):
                    if shapely.LineString(ring).distance(piece) < 1e-6:
                        ways.append(np.column_stack([ring, np.full(len(ring), -down)]))
                        standing.append(min(down, deep))
            before = down
    return draw(cutting, ways, standing, lift=_OVER)


def _away(cutting: Cutting, depth: float, slope: float) -> float:
    """How far the axis keeps from the outline when the tip is so deep [mm]."""
    under_side = profile(cutting.cutter)
    r = np.concatenate([np.linspace(0, under_side.radius, 4001), [under_side.flat]])
    height = under_side.height(r)
    out = r + np.maximum(depth - height, 0.0) / (math.tan(slope) if slope < math.pi / 2 else math.inf)
    return float(out[height <= depth].max())


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
