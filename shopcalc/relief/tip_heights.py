"""How high a tip rides over a map: at a point, along a line, at the least points that keep a tolerance."""

from __future__ import annotations

import math
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from shopcalc.compiling import compiled
from shopcalc.cutting.engagement import refuse
from shopcalc.moves import Floats
from shopcalc.relief.heights import HeightMap
from shopcalc.relief.reach import Outside, Profile, Shaped, centre_surface, cores, profile

if TYPE_CHECKING:
    pass

_PARTS = 8  # a pixel is looked at in so many parts where the height jumps
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
