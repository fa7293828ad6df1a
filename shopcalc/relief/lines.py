"""Paths over a carved surface: the tip's height over any point, lines and their order, and moves drawn from them.

The tip's lowest heights are known over the pixels' middles (``reach.centre_surface``). Over a point between them

- they are interpolated where they differ by no more than a quarter of the tolerance, or where their second differences
  are no more than the tolerance: a straight line then passes below what it should by an eighth of these at most, for
  each sample of the map holds the tip up by a concave function of where the tip stands;
- where neighbours differ by more than the cutter's flank can explain, its rim touches (a flat end on any slope): the
  higher of the neighbours counts, which leaves up to a pixel's rise standing and never cuts too deep;
- else (walls, sharp valleys) the greatest of *surface - underside* is searched for at the point itself. The search
  starts from the sample touched last and looks only into squares of pixels whose highest sample could raise it.

Along a line the same holds between two points a pixel apart; where the height jumps the pixel is looked at in
eighths, and a jump in there is gone up before it or down behind it. With half of the tolerance for the points that
are left out, a path is nowhere lower than the samples of the map let it by more than the tolerance, and where the
cutter rides on a single high sample by what its own curve bends over half a pixel, h^2 (1 + s^2)^1.5 / 8 r for a
ball: half of ``reach.between_pixels``, by which these heights are unsure anyway. On lines askew to the pixels a
single high sample may lie between two points: a sharp V then sinks into it by up to half a pixel times the slope of
its flank.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from shopcalc.compiling import compiled
from shopcalc.cutting.engagement import refuse
from shopcalc.moves import Floats, Kind, Moves
from shopcalc.paths.tracing import Cutting, Direction
from shopcalc.relief.heights import HeightMap
from shopcalc.relief.reach import Outside, Profile, Shaped, centre_surface, cores, profile

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

_PARTS = 8  # a pixel is looked at in so many parts where the height jumps
_OVER = 1.0  # mm above the wood from which a cutter goes down at cutting feeds
_SAME = 1e-6  # mm

Whole = NDArray[np.int64]


def skimmed(cutter: Shaped, skim: float) -> Profile:
    """The underside grown by the wood it shall leave, square to itself.

    Parameters
    ----------
    cutter : Cutter or Profile
        See ``reach.profile``.
    skim : float
        Wood to keep on the surface [mm].

    Returns
    -------
    Profile
        Its tip lies ``skim`` below the cutter's tip. Geometry: a flat end gets a rounded edge, a ball a larger radius;
        where a flank ends in the rim, the flank goes on, which keeps a little more.

    Example
    -------
    >>> skimmed(Profile(3.0, ball=3.0, half_angle=0.0), 0.5)
    Profile(radius=3.5, flat=0.0, ball=3.5, half_angle=0.0)
    """
    under = profile(cutter)
    if not (math.isfinite(skim) and skim >= 0):
        refuse(f"a skim of {skim} mm", "give 0 or more")
    if skim == 0:
        return under
    half_angle = 0.0 if under.half_angle == math.pi / 2 else under.half_angle
    return Profile(under.radius + skim, under.flat, under.ball + skim, half_angle)


def shape_of(underside: Profile) -> Floats:
    """Describe an underside to compiled loops.

    Parameters
    ----------
    underside : Profile
        Any.

    Returns
    -------
    (5,) float
        Radii of rim, flat and ball, end of the ball [mm], rise of the flank over run [-]. Definition.

    Example
    -------
    >>> shape_of(Profile(3.0, flat=3.0)).tolist()
    [3.0, 3.0, 0.0, 3.0, 0.0]
    """
    level = underside.half_angle == math.pi / 2
    flank = 0.0 if level else (math.inf if underside.half_angle == 0 else 1 / math.tan(underside.half_angle))
    past = underside.radius if level else underside.flat + underside.ball * math.cos(underside.half_angle)
    return np.array([underside.radius, underside.flat, underside.ball, past, flank])


@compiled
def under(squared: float, shape: Floats) -> float:
    """Height of the underside over the tip, for compiled loops; infinite beyond the rim.

    Parameters
    ----------
    squared : float
        Squared distance from the axis [mm^2].
    shape : (5,) float
        See ``shape_of``.

    Returns
    -------
    float
        [mm]; geometry, see ``reach.Profile``.
    """
    d = math.sqrt(squared)
    if d > shape[0] * (1.0 + 1e-9):
        return np.inf
    x = min(max(d - shape[1], 0.0), shape[3] - shape[1])
    height = shape[2] - math.sqrt(max(shape[2] * shape[2] - x * x, 0.0))
    if d > shape[3] and shape[4] < np.inf:
        height += shape[4] * (d - shape[3])
    return float(height)


@compiled
def _tip(
    z: Floats, peaks: Floats, tile: int, places: Whole, least: Floats, pixel: float, shape: Floats, y: float, x: float,
    row: int, column: int,
) -> tuple[float, int, int]:  # fmt: skip
    """Height of the tip over a point given in pixels, and the sample it touches; begun from a sample."""
    best = -np.inf
    square = pixel * pixel
    if row >= 0:
        best = z[row, column] - under(((row - y) ** 2 + (column - x) ** 2) * square, shape)
    if best == -np.inf:
        row, column = -1, -1
    tile_row, tile_column = math.floor(y + 0.5) // tile, math.floor(x + 0.5) // tile
    for k in range(places.shape[0]):
        i, j = tile_row + places[k, 0], tile_column + places[k, 1]
        if i < 0 or j < 0 or i >= peaks.shape[0] or j >= peaks.shape[1] or peaks[i, j] - least[k] <= best:
            continue
        for r in range(i * tile, min(i * tile + tile, z.shape[0])):
            for c in range(j * tile, min(j * tile + tile, z.shape[1])):
                if z[r, c] - least[k] <= best:
                    continue
                height = z[r, c] - under(((r - y) ** 2 + (c - x) ** 2) * square, shape)
                if height > best:
                    best, row, column = height, r, c
    return best, row, column


@compiled
def _height(
    z: Floats, peaks: Floats, tile: int, places: Whole, least: Floats, pixel: float, shape: Floats, known: Floats,
    margin: int, limit: float, y: float, x: float, touched: Whole,
) -> tuple[float, bool]:  # fmt: skip
    """Height of the tip over a point of the frame (pixels), and whether the rim touches."""
    v, u = y - margin, x - margin
    i, j = math.floor(v), math.floor(u)
    down, right = v - i, u - j
    m, n = i + (1 if down > 0.0 else 0), j + (1 if right > 0.0 else 0)
    rows, columns = known.shape
    if i >= 0 and j >= 0 and m < rows and n < columns:
        a, b, c, d = known[i, j], known[i, n], known[m, j], known[m, n]
        most = max(max(a, b), max(c, d))
        mean = (a * (1.0 - right) + b * right) * (1.0 - down) + (c * (1.0 - right) + d * right) * down
        if most - min(min(a, b), min(c, d)) <= 0.25 * limit:
            return mean, False
        edge = max(max(abs(a - b), abs(c - d)), max(abs(a - c), abs(b - d)))
        if edge > shape[4] * pixel * (1.0 + 1e-6) + 1e-9:
            return most, True
        bend = 0.0
        for r in (i, m):
            for k in (j, n):
                if down > 0.0 and r > 0 and r + 1 < rows:
                    bend = max(bend, abs(known[r - 1, k] - 2.0 * known[r, k] + known[r + 1, k]))
                if right > 0.0 and k > 0 and k + 1 < columns:
                    bend = max(bend, abs(known[r, k - 1] - 2.0 * known[r, k] + known[r, k + 1]))
        if bend <= limit:
            return mean, False
    height, touched[0], touched[1] = _tip(
        z, peaks, tile, places, least, pixel, shape, y, x, touched[0], touched[1]
    )  # fmt: skip
    return height, False


@compiled
def _sampled(
    z: Floats, peaks: Floats, tile: int, places: Whole, least: Floats, pixel: float, shape: Floats, known: Floats,
    margin: int, track: Floats, tolerance: float, s: Floats, t: Floats, floor: float, coarse: Floats,
) -> int:  # fmt: skip
    """Places along a straight track (pixels) and heights of the tip there [mm]; how many."""
    x0, y0 = track[0], track[1]
    length = math.hypot(track[2] - x0, track[3] - y0)
    dx, dy = 0.0, 0.0
    if length > 0:
        dx, dy = (track[2] - x0) / length, (track[3] - y0) / length
    level, upright = abs(dy) < 1e-9, abs(dx) < 1e-9
    n = 1
    coarse[0, 0] = 0.0
    if length > 1e-9:
        step, at = length / math.ceil(length - 1e-9), 0.0
        if level or upright:
            begin = x0 if level else y0
            forwards = (dx if level else dy) > 0
            step, at = 1.0, (math.ceil(begin) - begin if forwards else begin - math.floor(begin))
        else:
            at = step
        while at < length - 1e-9:
            if at > 1e-9:
                coarse[n, 0] = at
                n += 1
            at += step
        coarse[n, 0] = length
        n += 1
    touched = np.full(2, -1)
    for k in range(n):
        x, y = x0 + dx * coarse[k, 0], y0 + dy * coarse[k, 0]
        height, rim = _height(
            z, peaks, tile, places, least, pixel, shape, known, margin, tolerance, y, x, touched
        )  # fmt: skip
        coarse[k, 1] = max(height, floor)
        coarse[k, 2] = 1.0 if rim else 0.0
    flank = shape[4] * pixel * (1.0 + 1e-6) + 1e-9
    for k in range(1, n):
        if abs(coarse[k, 1] - coarse[k - 1, 1]) > max(0.25 * tolerance, flank * (coarse[k, 0] - coarse[k - 1, 0])):
            coarse[k - 1, 2] = coarse[k, 2] = 1.0
    for k in range(n):  # the rim touches: the higher of the neighbours
        before, after = max(k - 1, 0), min(k + 1, n - 1)
        high = coarse[k, 1]
        if coarse[before, 2] + coarse[k, 2] + coarse[after, 2] > 0.0:
            high = max(coarse[before, 1], high, coarse[after, 1])
        coarse[k, 3] = high
    count = 0
    for k in range(n):
        s[count], t[count] = coarse[k, 0], coarse[k, 3]
        count += 1
        if k + 1 == n or coarse[k, 3] != coarse[k, 1] or coarse[k + 1, 3] != coarse[k + 1, 1]:
            continue
        rise = coarse[k + 1, 1] - coarse[k, 1]
        before = rise if k == 0 else coarse[k, 1] - coarse[k - 1, 1]
        after = rise if k + 2 >= n else coarse[k + 2, 1] - coarse[k + 1, 1]
        ends = k == 0 or k + 2 >= n
        bends = abs(rise - before) > tolerance or abs(after - rise) > tolerance
        if abs(rise) <= 0.25 * tolerance or not (ends or bends):
            continue
        # in parts
        gap = (coarse[k + 1, 0] - coarse[k, 0]) / _PARTS
        begin = count - 1
        for part in range(1, _PARTS):
            at = coarse[k, 0] + gap * part
            x, y = x0 + dx * at, y0 + dy * at
            height, _ = _height(
                z, peaks, tile, places, least, pixel, shape, known, margin, tolerance, y, x, touched
            )  # fmt: skip
            s[count], t[count] = at, max(height, floor)
            count += 1
        s[count], t[count] = coarse[k + 1, 0], coarse[k + 1, 1]  # for a look only
        jumps = 0
        for part in range(_PARTS):
            i = begin + part
            one = t[i + 1] - t[i]
            earlier = one if part == 0 else t[i] - t[i - 1]
            later = one if part == _PARTS - 1 else t[i + 2] - t[i + 1]
            jump = abs(one) > 0.25 * tolerance and (abs(one - earlier) > tolerance or abs(later - one) > tolerance)
            coarse[part, 4] = 1.0 if jump else 0.0
            jumps += 1 if jump else 0
        if jumps == 0:
            continue
        count += jumps  # the parts are spread out from behind, a corner goes in at each jump
        to = count
        s[to], t[to] = coarse[k + 1, 0], coarse[k + 1, 1]
        for part in range(_PARTS - 1, -1, -1):
            i = begin + part
            if coarse[part, 4] > 0.0:
                to -= 1
                low_behind = t[to + 1] < t[i]
                s[to] = s[to + 1] if low_behind else s[i]
                t[to] = max(t[to + 1], t[i])
            to -= 1
            s[to], t[to] = s[i], t[i]
    return count


@compiled
def _thinned(s: Floats, t: Floats, n: int, pixel: float, within: float, keep: Whole) -> int:
    """Which places stay so that the chords pass all others within a height; greedy, from each the furthest."""
    keep[0] = 0
    count, a = 1, 0
    while a < n - 1:
        low, high, last, i = -np.inf, np.inf, a + 1, a + 1
        while i < n:
            along = (s[i] - s[a]) * pixel
            if along < 1e-9:
                if i > a + 1:
                    break
                last = i
                break
            if i > a + 1 and s[i] - s[i - 1] < 1e-12:  # a jump: end before it
                break
            slope, room = (t[i] - t[a]) / along, within / along
            if low <= slope <= high:
                last = i
            low, high = max(low, slope - room), min(high, slope + room)
            if low > high:
                break
            i += 1
        keep[count] = last
        count, a = count + 1, last
    return count


@compiled
def _over_tracks(
    z: Floats, peaks: Floats, tile: int, places: Whole, least: Floats, pixel: float, shape: Floats, known: Floats,
    margin: int, tracks: Floats, tolerance: float, floor: float, counts: Whole,
) -> Floats:  # fmt: skip
    """Points (pixels, pixels, mm) along straight tracks, as few as the tolerance lets."""
    longest = 0.0
    for k in range(tracks.shape[0]):
        longest = max(longest, math.hypot(tracks[k, 2] - tracks[k, 0], tracks[k, 3] - tracks[k, 1]))
    room = int(longest) + 20
    coarse = np.empty((room, 5))
    s, t, keep = np.empty(room * 2 * _PARTS), np.empty(room * 2 * _PARTS), np.empty(room * 2 * _PARTS, dtype=np.int64)
    out = np.empty((max(1024, 4 * tracks.shape[0]), 3))
    used = 0
    for k in range(tracks.shape[0]):
        n = _sampled(
            z, peaks, tile, places, least, pixel, shape, known, margin, tracks[k], tolerance, s, t, floor, coarse
        )  # fmt: skip
        n = _thinned(s, t, n, pixel, 0.5 * tolerance, keep)
        if used + n > out.shape[0]:
            larger = np.empty((2 * (used + n), 3))
            larger[:used] = out[:used]
            out = larger
        x0, y0 = tracks[k, 0], tracks[k, 1]
        length = math.hypot(tracks[k, 2] - x0, tracks[k, 3] - y0)
        for i in range(n):
            share = s[keep[i]] / length if length > 0 else 0.0
            out[used, 0] = x0 + (tracks[k, 2] - x0) * share
            out[used, 1] = y0 + (tracks[k, 3] - y0) * share
            out[used, 2] = t[keep[i]]
            used += 1
        counts[k] = n
    return out[:used]


class Surface:
    """A map made ready to be asked for the tip's height over any point.

    Parameters
    ----------
    surface : HeightMap
        What shall be carved.
    cutter : Cutter or Profile
        See ``reach.profile``.
    skim : float
        Wood to keep on it [mm].
    outside : {"nothing", "stock"}
        What stands beyond the map's edge.
    centre : HeightMap, optional
        ``reach.centre_surface`` of the same map, cutter and outside, when at hand.
    """

    def __init__(
        self,
        surface: HeightMap,
        cutter: Shaped,
        *,
        skim: float = 0.0,
        outside: Outside = "nothing",
        centre: HeightMap | None = None,
    ) -> None:
        grown = skimmed(cutter, skim)
        if centre is None or skim > 0:
            centre = centre_surface(surface, grown, outside=outside)
        if centre.z.shape != surface.z.shape:
            refuse(f"a centre surface of {centre.z.shape} pixels over a map of {surface.z.shape}", "give the map's own")
        self._known = np.ascontiguousarray(centre.z)
        self.map, self.skim = surface, skim
        self._shape = shape_of(grown)
        reach = int(grown.radius / surface.pixel) + 1
        self._margin = 0
        z = np.ascontiguousarray(surface.z, dtype=np.float64)
        if outside == "stock":
            self._margin = reach + 1
            z = np.pad(z, self._margin, constant_values=0.0)
        self._z = z
        self._tile = max(4, min(32, round(reach / 6)))
        rows = np.maximum.reduceat(z, np.arange(0, z.shape[0], self._tile), axis=0)
        self._peaks = np.maximum.reduceat(rows, np.arange(0, z.shape[1], self._tile), axis=1)
        around = np.arange(-(reach // self._tile) - 2, reach // self._tile + 3)
        i, j = (g.ravel() for g in np.meshgrid(around, around, indexing="ij"))
        gap = [np.maximum((np.abs(k) - 1) * self._tile + 0.5, 0.0) * (k != 0) for k in (i, j)]
        height = grown.height(np.hypot(*gap) * surface.pixel)
        order = np.argsort(height, kind="stable")[: int(np.isfinite(height).sum())]
        self._places = np.stack([i[order], j[order]], axis=1).astype(np.int64)
        self._least = height[order]
        self._floor = float(surface.z.min())

    def along(self, tracks: Floats, tolerance: float) -> tuple[Floats, Whole]:
        """Points of the tip along straight tracks over the surface.

        Parameters
        ----------
        tracks : (n, 4) float
            x, y of each start and end [mm].
        tolerance : float
            By which the straight pieces may miss the height between their ends [mm].

        Returns
        -------
        (m, 3) float
            All points one after the other, both ends of every track among them [mm].
        (n,) int
            How many belong to each track.
        """
        if not (math.isfinite(tolerance) and tolerance > 0):
            refuse(f"a tolerance of {tolerance} mm", "give a height above 0")
        pixel = self.map.pixel
        corner = np.array([self.map.origin[0], self.map.origin[1]])
        shift = self._margin - 0.5
        grid = np.ascontiguousarray((tracks - np.tile(corner, 2)) / pixel + shift)
        grid = np.where(np.abs(grid - np.round(grid)) < 1e-9, np.round(grid), grid)
        counts = np.zeros(len(tracks), dtype=np.int64)
        pieces = min(max(1, len(tracks)), 4 * cores())
        edges = np.linspace(0, len(tracks), pieces + 1).astype(int)

        def one(piece: int) -> Floats:
            part = slice(edges[piece], edges[piece + 1])
            found: Floats = _over_tracks(
                self._z, self._peaks, self._tile, self._places, self._least, pixel, self._shape, self._known,
                self._margin, grid[part], float(tolerance), self._floor, counts[part],
            )  # fmt: skip
            return found

        with ThreadPoolExecutor(cores()) as pool:
            points = np.concatenate(list(pool.map(one, range(pieces))))
        points[:, :2] = (points[:, :2] - shift) * pixel + corner
        points[:, 2] += self.skim
        return points, counts


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
    good = end - begin > _SAME
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
    wide = area.buffer(_SAME, join_style="mitre")  # a line on the edge itself is inside
    cut = shapely.intersection(shapely.linestrings(ends), wide)
    parts, which = shapely.get_parts(cut, return_index=True)
    keep = shapely.length(parts) > 3 * _SAME
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


def strokes(surface: Surface, layout: Layout, link: float, tolerance: float, way: Direction) -> list[Floats]:
    """Ways of the tip along the lines of a layout.

    Parameters
    ----------
    surface : Surface
        What they go over.
    layout : Layout
        Runs, in their order.
    link : float
        Longest way between two lines that is gone over the surface; only to and fro [mm].
    tolerance : float
        See ``Surface.along`` [mm].
    way : {"climb", "conventional", "both"}
        Lines as they are laid out, each backwards, or to and fro.

    Returns
    -------
    list of (n, 3) float
        Each is cut in one go [mm].
    """
    to_and_fro = way == "both"
    plan: list[list[Floats]] = []
    for chain in chains(layout, link, to_and_fro):
        ends = [
            layout.points(layout.offset[[k, k]], np.array([layout.begin[k], layout.end[k]]))[:: -1 if back else 1]
            for k, back in chain
        ]
        if to_and_fro:
            plan.append([np.concatenate(ends)])
        else:
            plan.extend([e[::-1] if way == "conventional" else e] for e in ends)
    corners = [p[0] for p in plan]
    return follow(surface, corners, tolerance)


def follow(surface: Surface, corners: Sequence[Floats], tolerance: float) -> list[Floats]:
    """Ways of the tip over polylines.

    Parameters
    ----------
    surface : Surface
        What they go over.
    corners : sequence of (n, 2) float
        One polyline each [mm].
    tolerance : float
        See ``Surface.along`` [mm].

    Returns
    -------
    list of (m, 3) float
        As few points as the tolerance lets, the corners among them [mm].
    """
    if not corners:
        return []
    tracks = np.concatenate([np.concatenate([c[:-1], c[1:]], axis=1) for c in corners])
    points, counts = surface.along(tracks, tolerance)
    first = np.cumsum(counts) - counts
    owner = np.repeat(np.arange(len(corners)), [len(c) - 1 for c in corners])
    keep = np.ones(len(points), dtype=bool)
    keep[first[1:][owner[1:] == owner[:-1]]] = False  # the corner is there already
    sizes = np.bincount(owner, weights=np.add.reduceat(keep, first), minlength=len(corners)).astype(int)
    return np.split(points[keep], np.cumsum(sizes)[:-1])


def draw(cutting: Cutting, ways: Sequence[Floats], standing: Sequence[float], *, lift: float | None = None) -> Moves:
    """Moves that enter, follow and leave ways one after the other, lifted in between.

    Parameters
    ----------
    cutting : Cutting
        Feeds, heights and how to enter.
    ways : sequence of (n, 3) float
        Points of the tip [mm].
    standing : sequence of float
        Wood above the first point of each way [mm].
    lift : float, optional
        Height of the ways between them, where it is known that nothing stands there so high; the safe height when it
        is left out, or lower [mm].

    Returns
    -------
    Moves
        From the safe height to the safe height; downhill no faster than the plunge feed straight down.

    Raises
    ------
    InputError
        When there is no way, or the cutter has no room to ramp and may not plunge.
    """
    if not ways:
        refuse("no line is left to cut", "check the area and the depths")
    safe = cutting.safe_height
    over = safe if lift is None else min(lift, safe)
    points: list[Floats] = [np.array([[ways[0][0, 0], ways[0][0, 1], safe]])]
    kinds: list[NDArray[np.uint8]] = []
    feeds: list[Floats] = []

    def add(part: Floats, kind: Kind, feed: float | Floats) -> None:
        points.append(part)
        kinds.append(np.full(len(part), kind, dtype=np.uint8))
        feeds.append(np.broadcast_to(np.asarray(feed, dtype=np.float64), len(part)).copy())

    for number, (way, wood) in enumerate(zip(ways, standing, strict=True)):
        start = way[0]
        if number:
            add(np.array([[start[0], start[1], over]]), Kind.RAPID, math.nan)
        top = start[2] + max(wood, 0.0)
        entry = _entry(cutting, way, max(wood, 0.0))
        from_ = over if number else safe
        air = top if len(entry) > 1 else min(from_, top + _OVER)
        if air < from_ - _SAME:
            add(np.array([[start[0], start[1], air]]), Kind.LINE, cutting.feed_in_air)
        before = np.concatenate([[[start[0], start[1], min(air, from_)]], entry[:-1]])
        add(entry, Kind.LINE, _feeds(cutting, before, entry))
        add(way[1:], Kind.LINE, _feeds(cutting, way[:-1], way[1:]))
        up = over if number + 1 < len(ways) else safe
        add(np.array([[way[-1, 0], way[-1, 1], up]]), Kind.RAPID, math.nan)
    at = np.concatenate(points)
    kind, feed = np.concatenate(kinds), np.concatenate(feeds)
    still = np.abs(np.diff(at, axis=0)).max(axis=1) < _SAME
    at = np.concatenate([at[:1], at[1:][~still]])
    return _moves(cutting, at, kind[~still], feed[~still])


def _feeds(cutting: Cutting, begin: Floats, end: Floats) -> Floats:
    """Feed of straight pieces: downhill the plunge feed bounds the speed of z."""
    d = end - begin
    down, length = -d[:, 2], np.sqrt((d * d).sum(axis=1))
    with np.errstate(divide="ignore", invalid="ignore"):
        bound = np.where(down > 0, cutting.plunge_feed * length / np.where(down > 0, down, 1.0), np.inf)
    return np.minimum(cutting.feed, bound)


def _entry(cutting: Cutting, way: Floats, wood: float) -> Floats:
    """Points from over the wood down to the start of a way: straight, or a ramp to and fro along it."""
    lengths = np.hypot(*np.diff(way[:, :2], axis=0).T)
    at = np.concatenate([[0.0], np.cumsum(lengths)])
    total = float(at[-1])
    plain = way[:1]
    may = cutting.cutter.centre_cutting
    if wood <= _SAME or cutting.entry == "plunge" or (may and total < cutting.cutter.true_diameter):
        return plain
    if total < cutting.radius:
        refuse(
            f"there is no room to ramp {cutting.cutter.id} down, which does not cut at its centre",
            "choose a cutter that may plunge, or a smaller one",
        )
    reach = wood / math.tan(cutting.ramp)
    half = min(total, reach / 2)
    times = max(1, math.ceil(reach / (2 * half) - 1e-9))
    inner = (at > 0) & (at < half)
    s = np.concatenate([[0.0], at[inner], [half]])
    there = np.stack([np.interp(s, at, way[:, k]) for k in range(3)], axis=1)
    if (lengths < _SAME).any():  # straight up or down somewhere: every point as it stands
        there[1:-1] = way[inner]
    drop = wood / (2 * times)
    out = []
    for turn in range(times):
        above = wood - 2 * turn * drop
        forth = there + np.outer(above - drop * s / half, [0.0, 0.0, 1.0])
        back = there[::-1] + np.outer(above - drop - drop * (1 - s[::-1] / half), [0.0, 0.0, 1.0])
        out += [forth[1:], back[1:]]
    return np.concatenate(out)


def _moves(cutting: Cutting, points: Floats, kind: NDArray[np.uint8], feed: Floats) -> Moves:
    n, number = len(kind), cutting.cutter.number or 0
    return Moves(
        points=points, kind=kind, feed=np.where(kind == Kind.LINE, feed, np.nan), value=np.zeros(n),
        arc_index=np.zeros(0, dtype=np.int64), arc_centre=np.zeros((0, 3)), arc_sweep=np.zeros(0),
        arc_plane=np.zeros(0, dtype=np.uint8), rpm=np.full(n, float(cutting.rpm)),
        cutter=np.full(n, number, dtype=np.int32), exact_stop=np.zeros(n, dtype=bool),
        line=np.zeros(n, dtype=np.int32), labels={number: cutting.cutter.id} if number else {},
    )  # fmt: skip
