"""Roughing a relief: level by level down to a skim over the finished surface, and what then stands.

At each level the tip moves level, only where the lowest height it may have there (``reach.centre_surface`` plus the
skim) is no higher than the level. Between pixels no sample of the map asks for more than the highest of the pixels
around, so every place whose four neighbours are free is free. What stays between two levels are terraces.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal, TypeAlias

import numpy as np

from shopcalc.cutting.engagement import pass_depths, pass_levels, refuse, require_at_most, require_positive
from shopcalc.moves import Floats, Moves
from shopcalc.paths.tracing import Cutting
from shopcalc.relief.heights import HeightMap
from shopcalc.relief.layouts import Layout, chains, direction_of, lay_out
from shopcalc.relief.lines import draw
from shopcalc.relief.reach import Outside

if TYPE_CHECKING:
    pass
from shopcalc.relief.ground import OVER
from shopcalc.relief.rings import LINK, Bools, free_rings
from shopcalc.relief.standing_wood import tips_for_roughing

Pattern: TypeAlias = Literal["lines", "rings"]


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
    >>> from shopcalc.relief.standing_wood import dished
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
            else free_rings(surface, free, cutting, width, outside)
        )
        if pattern == "lines" and lap:
            runs += free_rings(surface, free, cutting, math.inf, outside)
        for run in runs:
            ways.append(np.column_stack([run, np.full(len(run), level)]))
            standing.append(down - before)
        before = down if runs else before
    if not ways:
        refuse(
            f"nothing is to be roughed: below the skim all places are too narrow for {cutting.cutter.id}",
            "finish at once, or rough with a smaller cutter",
        )
    return draw(cutting, ways, standing, lift=stock_top + OVER)


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
    >>> from shopcalc.relief.heights import sampled
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
    >>> from shopcalc.relief.heights import sampled
    >>> slot = sampled(lambda x, y: np.where(abs(y - 10) < 1.1, -3.0, -2.0), 20, 20, pixel=0.25)
    >>> room_for_a_line(slot, 1.5), room_for_a_line(slot, 4.0)
    (-3.0, -2.0)
    """
    from scipy.ndimage import maximum_filter1d

    pixels = math.ceil(width / least.pixel) + 1
    return max(
        float(maximum_filter1d(least.z, min(pixels, least.z.shape[k]), axis=k, mode="nearest").min()) for k in (0, 1)
    )


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
    for chain in chains(runs, LINK * runs.step if both else math.inf, both):
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
