"""Lines laid over a map: straight and level ones, clipped to areas, joined where the gap is short, put in order."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from shopcalc.cutting.engagement import refuse
from shopcalc.moves import Floats
from shopcalc.relief.heights import HeightMap

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry
from shopcalc.relief.tip_heights import Whole

SAME = 1e-6  # mm


@dataclass(frozen=True)
class Layout:
    """Parallel lines over an area.

    Parameters
    ----------
    along : (2,) float
        Unit vector of the lines; the next line lies to its right.
    line : (n,) int
        Which line a run belongs to, ascending.
    offset : (n,) float
        Distance of that line from the origin, to the left of the vector [mm].
    begin, end : (n,) float
        Where the run lies on its line, ascending within a line [mm].
    step : float
        Between the lines [mm].
    """

    along: tuple[float, float]
    line: Whole
    offset: Floats
    begin: Floats
    end: Floats
    step: float

    def points(self, offset: Floats, at: Floats) -> Floats:
        """(n, 2) float: x and y of places on lines [mm]."""
        dx, dy = self.along
        return np.stack([dx * at - dy * offset, dy * at + dx * offset], axis=-1)


def direction_of(direction: str | float) -> tuple[float, float]:
    """Unit vector of a direction.

    Parameters
    ----------
    direction : {"x", "y"} or float
        An angle against x [deg].

    Returns
    -------
    (2,) float
        Exact for quarter turns. Definition.

    Raises
    ------
    InputError
        When it is neither.

    Example
    -------
    >>> direction_of("y"), direction_of(180)
    ((0.0, 1.0), (-1.0, 0.0))
    """
    degrees = {"x": 0.0, "y": 90.0}.get(direction) if isinstance(direction, str) else float(direction)
    if degrees is None or not math.isfinite(degrees):
        refuse(f"direction '{direction}' is not known", "use x, y, both or an angle in degrees")
    assert degrees is not None
    turn = math.radians(degrees)
    along = (math.cos(turn), math.sin(turn))
    if degrees % 90 == 0:
        along = (float(round(along[0])), float(round(along[1])))
    return along


def extent(surface: HeightMap, beyond: float = 0.0) -> tuple[float, float, float, float]:
    """Least x and y, greatest x and y of a map.

    Parameters
    ----------
    surface : HeightMap
        Any.
    beyond : float
        So much wider on every side [mm].

    Returns
    -------
    (4,) float
        [mm]. Definition.
    """
    x, y = surface.origin
    return x - beyond, y - beyond, x + surface.length + beyond, y + surface.width + beyond


def lay_out(
    box: tuple[float, float, float, float],
    along: tuple[float, float],
    stepover: float,
    *,
    inside: BaseGeometry | Inside | None = None,
) -> Layout:
    """Lay parallel lines over a rectangle, evenly and at most a stepover apart, from side to side.

    Parameters
    ----------
    box : (4,) float
        Least x and y, greatest x and y [mm].
    along : (2,) float
        Unit vector.
    stepover : float
        At most [mm].
    inside : shapely geometry or Inside, optional
        Where lines are wanted; everywhere when it is left out.

    Returns
    -------
    Layout
        A line lies on both sides of the box; of askew lines those that only touch its corners are left out.
    """
    require_step(stepover)
    x0, y0, x1, y1 = box
    if inside is not None and not isinstance(inside, Inside):
        bounds = inside.bounds
        x0, y0, x1, y1 = max(x0, bounds[0]), max(y0, bounds[1]), min(x1, bounds[2]), min(y1, bounds[3])
        if not (x1 > x0 and y1 > y0):
            refuse("the area lies beside the map", "give an area over the carving")
    dx, dy = along
    corners = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
    across = corners @ np.array([-dy, dx])
    high, low = float(across.max()), float(across.min())
    count = max(1, math.ceil((high - low) / stepover - 1e-9))
    offset = high - (high - low) * np.arange(count + 1) / count
    begin, end = np.full(count + 1, -np.inf), np.full(count + 1, np.inf)
    for unit, shift, least, most in ((dx, -dy * offset, x0, x1), (dy, dx * offset, y0, y1)):
        if abs(unit) < 1e-12:
            continue
        one, other = (least - shift) / unit, (most - shift) / unit
        begin, end = np.maximum(begin, np.minimum(one, other)), np.minimum(end, np.maximum(one, other))
    good = end - begin > SAME
    line = np.flatnonzero(good)
    out = Layout(along, line, offset[good], begin[good], end[good], (high - low) / count)
    if inside is None:
        return out
    return inside.clipped(out) if isinstance(inside, Inside) else _clipped(out, inside)


def require_step(stepover: float) -> None:
    """Refuse a step that is no length above 0.

    Parameters
    ----------
    stepover : float
        [mm].

    Raises
    ------
    InputError
        When it is not.
    """
    if not (math.isfinite(stepover) and stepover > 0):
        refuse(f"a step of {stepover} mm between lines", "give a length above 0")


def _clipped(layout: Layout, area: BaseGeometry) -> Layout:
    """The runs within a polygon."""
    import shapely

    ends = np.stack([layout.points(layout.offset, at) for at in (layout.begin, layout.end)], axis=1)
    wide = area.buffer(SAME, join_style="mitre")  # a line on the edge itself is inside
    cut = shapely.intersection(shapely.linestrings(ends), wide)
    parts, which = shapely.get_parts(cut, return_index=True)
    keep = shapely.length(parts) > 3 * SAME
    parts, which = parts[keep], which[keep]
    along = np.array(layout.along)
    if not len(parts):
        return _runs(layout, which, np.empty(0), np.empty(0))
    coordinates, owner = shapely.get_coordinates(parts, return_index=True)
    at = coordinates @ along
    begin, end = np.full(len(parts), np.inf), np.full(len(parts), -np.inf)
    np.minimum.at(begin, owner, at)
    np.maximum.at(end, owner, at)
    return _runs(layout, which, begin, end)


def _runs(layout: Layout, which: Whole, begin: Floats, end: Floats) -> Layout:
    order = np.lexsort((begin, which))
    w = which[order]
    return Layout(layout.along, layout.line[w], layout.offset[w], begin[order], end[order], layout.step)


@dataclass(frozen=True, eq=False)
class Inside:
    """Pixels of a map where lines are wanted.

    Parameters
    ----------
    mask : (rows, columns) bool
        Which.
    surface : HeightMap
        Whose pixels.
    """

    mask: NDArray[np.bool_]
    surface: HeightMap

    def clipped(self, layout: Layout) -> Layout:
        """The runs over these pixels, looked at every half pixel."""
        step = self.surface.pixel / 2
        which, begin, end = [], [], []
        rows, columns = self.mask.shape
        for k in range(len(layout.line)):
            n = max(1, math.ceil((layout.end[k] - layout.begin[k]) / step))
            at = layout.begin[k] + (layout.end[k] - layout.begin[k]) * (np.arange(n) + 0.5) / n
            x, y = (layout.points(np.full(n, layout.offset[k]), at) - np.array(self.surface.origin)).T
            i = np.clip((y / self.surface.pixel - 1e-9).astype(np.int64), 0, rows - 1)
            j = np.clip((x / self.surface.pixel - 1e-9).astype(np.int64), 0, columns - 1)
            change = np.flatnonzero(np.diff(np.concatenate([[False], self.mask[i, j], [False]]).astype(np.int8)))
            edges = layout.begin[k] + (layout.end[k] - layout.begin[k]) * change / n
            which.append(np.full(len(change) // 2, k))
            begin.append(edges[::2])
            end.append(edges[1::2])
        return _runs(layout, np.concatenate(which), np.concatenate(begin), np.concatenate(end))


def merged(layout: Layout, gap: float) -> Layout:
    """Join runs of one line that are near to each other.

    Parameters
    ----------
    layout : Layout
        Runs.
    gap : float
        Most that may lie between them [mm].

    Returns
    -------
    Layout
    """
    n = len(layout.line)
    if n < 2:
        return layout
    new = np.ones(n, dtype=bool)
    new[1:] = (layout.line[1:] != layout.line[:-1]) | (layout.begin[1:] - layout.end[:-1] > gap)
    first = np.flatnonzero(new)
    last = np.append(first[1:], n) - 1
    return Layout(
        layout.along, layout.line[first], layout.offset[first], layout.begin[first], layout.end[last], layout.step
    )


def chains(layout: Layout, link: float, to_and_fro: bool) -> list[list[tuple[int, bool]]]:
    """Runs that follow each other: neighbours on the next line, near enough to go straight over.

    Parameters
    ----------
    layout : Layout
        Runs.
    link : float
        Longest way between two of them [mm].
    to_and_fro : bool
        Every second one is gone backwards.

    Returns
    -------
    list of list of (int, bool)
        Runs by number, and whether backwards; the chains sorted so that the ways between them are short (always to
        the nearest next).
    """
    found: list[list[tuple[int, bool]]] = []
    open_: list[int] = []
    bounds = np.flatnonzero(np.diff(layout.line, prepend=-2, append=-2))
    for first, last in itertools.pairwise(bounds):
        free = list(range(first, last))
        still = []
        for chain in open_:
            run, back = found[chain][-1]
            if layout.line[run] + 1 != layout.line[first]:
                continue
            if to_and_fro:
                at = layout.begin[run] if back else layout.end[run]
                starts = [(layout.begin if back else layout.end)[k] for k in free]
            else:
                at = layout.begin[run]
                starts = [layout.begin[k] for k in free]
            apart = layout.offset[run] - layout.offset[first]
            near = [math.hypot(apart, s - at) for s in starts]
            if near and min(near) <= link:
                chosen = free.pop(int(np.argmin(near)))
                found[chain].append((chosen, to_and_fro and not back))
                still.append(chain)
        for k in free:
            found.append([(k, False)])
            still.append(len(found) - 1)
        open_ = still
    if len(found) < 2:
        return found
    first_last = np.array([[_end(layout, c[0], True), _end(layout, c[-1], False)] for c in found])
    return [
        [(k, not b) for k, b in reversed(found[c])] if turn else found[c]
        for c, turn in nearest_next(first_last[:, 0], first_last[:, 1], turns=to_and_fro)
    ]


def _end(layout: Layout, run: tuple[int, bool], start: bool) -> Floats:
    k, back = run
    at = layout.begin[k] if start != back else layout.end[k]
    end: Floats = layout.points(layout.offset[k : k + 1], np.array([at]))[0]
    return end


def nearest_next(begin: Floats, end: Floats, *, turns: bool) -> list[tuple[int, bool]]:
    """Order things so that each is followed by the nearest that is left.

    Parameters
    ----------
    begin, end : (n, 2) float
        Where each begins and ends; the first stays first [mm].
    turns : bool
        Whether they may be gone from end to begin.

    Returns
    -------
    list of (int, bool)
        Which, and whether turned.

    Example
    -------
    >>> nearest_next(np.array([[0.0, 0], [9, 0], [4, 0]]), np.array([[3.0, 0], [12, 0], [8, 0]]), turns=False)
    [(0, False), (2, False), (1, False)]
    """
    n = len(begin)
    done = np.zeros(n, dtype=bool)
    at, out = begin[0], []
    for _ in range(n):
        to_begin = np.where(done, np.inf, np.hypot(*(begin - at).T))
        to_end = np.where(done, np.inf, np.hypot(*(end - at).T)) if turns else np.full(n, np.inf)
        k = int(np.argmin(np.minimum(to_begin, to_end)))
        turned = bool(to_end[k] < to_begin[k])
        done[k] = True
        out.append((k, turned))
        at = begin[k] if turned else end[k]
    return out
