"""Detail that a cutter leaves in a carved surface, the smallest detail a surface has, and which cutters reach it.

All of it looks at pixels (see ``reach``): in valleys that a cutter fills, and beside steep walls, the depth left may be
up to half a pixel's rise too great. Take pixels of a tenth of the tip's radius or less.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from shopcalc.cutters import Cutter
from shopcalc.cutting.engagement import refuse
from shopcalc.moves import Floats
from shopcalc.relief.heights import HeightMap
from shopcalc.relief.reach import Outside, Profile, Progress, ShankRoom, Shaped, reached, shank_room

#: Depth up to which detail counts as reached [mm] (reasoning: sanding takes as much).
TOLERANCE = 0.02
#: Share of the area a ball must reach to fit a surface: the rest may be sharp corners [-] (reasoning).
FITS_SHARE = 0.995

_BALL_PIXELS = 16  # of radius: with twice as many the next coarser map will do
_GAP_PIXELS = 8  # of half a gap's width, likewise
_CREASE = 5.0  # of the tolerance: a ball so small leaves no more in a crease of two sides of 45 degrees
_ROUNDED = 3.0  # of the smoothing: a crease gets such a radius by it
_FINEST = 2.0  # pixels below which a ball has no shape
_AT_ONCE = 4_000_000  # squares of a map beyond which a coarser one comes first
_WIDE = 8.0  # squares of a gap that will do there: it is told to a square or an eighth
_STEEP_SHARE = 0.001  # of the area that may be steeper than the wall named the steepest


@dataclass(frozen=True, eq=False)
class DetailLeft:
    """What is left standing above a surface.

    Parameters
    ----------
    depth : HeightMap
        Wood left over each pixel, not negative [mm].
    tolerance : float
        Less than this counts as reached [mm].

    Notes
    -----
    Definitions; each pixel stands for its square.
    """

    depth: HeightMap
    tolerance: float

    @property
    def area_share(self) -> float:
        """Share of the area where more than the tolerance is left [-]."""
        return float((self.depth.z > self.tolerance).mean())

    @property
    def greatest(self) -> float:
        """Most that is left anywhere [mm]."""
        return float(self.depth.z.max())

    @property
    def mean(self) -> float:
        """Mean over the whole area [mm]."""
        return float(self.depth.z.mean())

    @property
    def mean_where_left(self) -> float:
        """Mean over the area where more than the tolerance is left [mm]; 0 when there is none."""
        left = self.depth.z[self.depth.z > self.tolerance]
        return float(left.mean()) if left.size else 0.0

    @property
    def volume(self) -> float:
        """All that is left [mm3]."""
        return float(self.depth.z.sum()) * self.depth.pixel**2

    def deeper_than(self, depth: float) -> float:
        """Share of the area where more than a depth is left [-]."""
        return float((self.depth.z > depth).mean())

    def as_json(self) -> dict[str, float]:
        """Figures with their units in the keys; ``mean_mm`` is over the whole area."""
        return {
            "area_share": self.area_share,
            "greatest_mm": self.greatest,
            "mean_mm": self.mean,
            "volume_mm3": self.volume,
        }


def detail_left(
    surface: HeightMap,
    cutters: Shaped | Sequence[Shaped],
    *,
    tolerance: float = TOLERANCE,
    outside: Outside = "nothing",
    progress: Progress | None = None,
) -> DetailLeft:
    """What one cutter, or several one after the other, leave at best.

    Parameters
    ----------
    surface : HeightMap
        What shall be carved.
    cutters : Cutter, Profile or sequence of them
        Each goes everywhere it can; the order does not matter for what is left.
    tolerance : float
        Less than this counts as reached [mm].
    outside : {"nothing", "stock"}
        What stands beyond the map's edge, see ``reach.reached``.
    progress : callable, optional
        Called with the share done.

    Returns
    -------
    DetailLeft
        Geometry: closing minus surface. Cusps between lines come on top.

    Raises
    ------
    InputError
        When there is no cutter, or one that carves nothing.

    Example
    -------
    >>> from shopcalc.relief.heights import sampled
    >>> groove = sampled(lambda x, y: np.abs(x - 10.05) - 10.05, 20.0, 8.0, pixel=0.1)
    >>> ball = Profile(3.0, ball=3.0, half_angle=0.0)
    >>> round(detail_left(groove, ball).greatest, 2), detail_left(groove, Profile(12, half_angle=0.7)).greatest
    (1.24, 0.0)
    """
    all_of_them: Sequence[Shaped] = [cutters] if isinstance(cutters, (Cutter, Profile)) else list(cutters)
    if not all_of_them:
        refuse("no cutter is named", "name at least one")
    lowest: Floats | None = None
    for number, cutter in enumerate(all_of_them):
        after = reached(surface, cutter, outside=outside, progress=_part(progress, number, len(all_of_them))).z
        lowest = after if lowest is None else np.minimum(lowest, after, out=lowest)
    assert lowest is not None
    return DetailLeft(surface.with_(np.subtract(lowest, surface.z, out=lowest)), tolerance)


@dataclass(frozen=True)
class SmallestDetail:
    """How fine a surface is.

    Parameters
    ----------
    valley_radius : float
        Of the largest ball that reaches all but ``1 - FITS_SHARE`` of the area within the tolerance [mm].
    valley_limit : {"found", "finer than the pixels", "wider than the map"}
        In the last two cases the radius is only a bound: the least or the greatest that can be told from this map. A
        crease has no radius: it counts as finer than the pixels.
    narrowest_gap : float or None
        Width at half its depth of the narrowest groove or pit [mm]; None when there is none.
    gap_depth : float
        How deep it is [mm]; 0 when there is none.
    steepest_wall : float
        Angle against level of all but 0.1 % of the area at most [rad].
    tolerance : float
        That was used: grown with the artwork's grey steps and noise [mm].
    grey_step : float
        Between neighbouring heights that occur, 0 when they are not stepped [mm].
    noise : float
        Standard deviation from pixel to pixel [mm].
    pixel : float
        Of the map [mm].
    creased_share : float
        Share of the area that even a ball of two pixels' radius does not reach: creases, and feet of walls, sharper
        than the map can tell [-].
    """

    valley_radius: float
    valley_limit: str
    narrowest_gap: float | None
    gap_depth: float
    steepest_wall: float
    tolerance: float
    grey_step: float
    noise: float
    pixel: float = 0.0
    creased_share: float = 0.0

    @property
    def finest_told(self) -> float:
        """Radius below which this map tells no valley from a crease [mm]."""
        return self.valley_radius if self.valley_limit == "finer than the pixels" else _FINEST * self.pixel

    @property
    def width(self) -> float:
        """The lesser of the narrowest gap and the diameter that fits the valleys [mm]."""
        return min(2 * self.valley_radius, math.inf if self.narrowest_gap is None else self.narrowest_gap)


def smallest_detail(surface: HeightMap, *, tolerance: float = TOLERANCE) -> SmallestDetail:
    """Least valley radius, narrowest gap and steepest wall of a surface.

    Parameters
    ----------
    surface : HeightMap
        Anything carved.
    tolerance : float
        Depth that counts as reached [mm]; raised to one grey step, and to six times the noise left after smoothing.

    Returns
    -------
    SmallestDetail
        Geometry and definitions.

    Notes
    -----
    Noise is smoothed down to a sixth of the tolerance first, by at most two pixels.

    *Valley radius*: balls are doubled until one leaves more than the tolerance, square to the surface, on more than
    ``1 - FITS_SHARE`` of the area, then halved in between to 5 %; once a ball of half the size fits, nothing finer is
    there, and a coarser map does. Curvature itself would be that of the grey steps. Tips on pixels make it err to the
    small side in steep valleys.

    In a crease between two sides of 45 degrees a ball of radius r leaves r (sqrt 2 - 1), nothing that counts while r is
    below 2.4 times the tolerance, and smoothing makes it round: a radius of five tolerances, or of three times the
    smoothing, and less tells no valley from a crease, and is a bound.

    *Gap*: discs of growing width fill what is narrower than they are. A place is in a gap of a width when the disc of
    that width fills it by more than half of what one of twice the width does: exactly half the depth for a straight
    groove of V or square section. It is told to a pixel or an eighth, must be ``5 tolerance`` deep and cover half the
    square of its width.

    *Wall*: rise less one grey step and three times the noise, over runs of 1, 2, 4, ... 32 pixels; the steepest of
    these counts, so a terrace on an even slope does not.

    A map of more than four million squares is looked at on a coarser one first, and on its own squares only where that
    shows creases, gaps of less than eight squares or valleys of less than sixteen.

    Example
    -------
    >>> from shopcalc.relief.heights import sampled
    >>> groove = sampled(lambda x, y: -np.sqrt(np.maximum(0, 3.0**2 - (x - 6) ** 2)), 12.0, 12.0, pixel=0.1)
    >>> found = smallest_detail(groove)
    >>> round(found.valley_radius, 1), round(found.narrowest_gap, 1)
    (2.8, 5.2)
    """
    if surface.z.size > _AT_ONCE and min(surface.z.shape) >= 64:
        told = smallest_detail(_thinned(surface), tolerance=tolerance)
        wide = told.narrowest_gap is None or told.narrowest_gap >= _WIDE * told.pixel
        if wide and told.valley_radius >= _BALL_PIXELS * told.pixel and told.creased_share == 0:
            return told
    step, noise = _grey_step(surface.z), _noise(surface.z)
    quiet, left = _quieted(surface, noise, tolerance / 6)
    most = max(tolerance, step, 6 * left)
    maps = _Coarser(quiet)
    radius, limit, creased = _valley_radius(maps, most)
    smoothed = 0.0 if quiet is surface else _smoothing(noise, tolerance / 6) * surface.pixel
    if limit == "found" and radius <= max(_CREASE * most, _ROUNDED * smoothed):
        limit = "finer than the pixels"
    gap, deep = _narrowest_gap(maps, 5 * most)
    wall = _steepest_wall(surface, step + 3 * noise)
    return SmallestDetail(radius, limit, gap, deep, wall, most, step, noise, surface.pixel, creased)


@dataclass(frozen=True, eq=False)
class Reaching:
    """What one cutter of a rack leaves.

    Parameters
    ----------
    cutter : Cutter
        The one.
    left : DetailLeft or None
        None for a cutter that carves nothing.
    room : ShankRoom or None
        Whether flutes and shank allow it.
    enough : bool
        Whether it leaves no more than was asked.
    chosen : bool
        True for the largest that is enough and has the room.
    """

    cutter: Cutter
    left: DetailLeft | None
    room: ShankRoom | None
    enough: bool
    chosen: bool = False


def which_reaches(
    surface: HeightMap,
    cutters: Iterable[Cutter],
    *,
    most_left: float = 0.1,
    most_area: float = 1 - FITS_SHARE,
    tolerance: float = TOLERANCE,
    outside: Outside = "nothing",
    progress: Progress | None = None,
) -> list[Reaching]:
    """What each cutter of a rack leaves, the one that leaves least first, and the largest that will do.

    Parameters
    ----------
    surface : HeightMap
        What shall be carved.
    cutters : iterable of Cutter
        A rack; drills are listed last, with nothing reached.
    most_left : float
        Detail that may be left [mm].
    most_area : float
        Share of the area on which more may be left: sharp corners that no cutter clears [-].
    tolerance : float
        Less than this counts as reached in the figures [mm].
    outside : {"nothing", "stock"}
        What stands beyond the map's edge.
    progress : callable, optional
        Called with the share done.

    Returns
    -------
    list of Reaching
        By volume left; one at most is chosen. "Largest" is the widest tip (ball radius or flat), then the diameter,
        because a wider tip takes wider steps for the same cusp.

    Example
    -------
    >>> from shopcalc.relief.heights import sampled
    >>> waves = sampled(lambda x, y: np.cos(2 * np.pi * x / 20) - 1, 40.0, 10.0, pixel=0.2)
    >>> rack = [Cutter(f"B{d}", "", "ball", d, 6, 2, 20, 60, 40) for d in (6, 12, 24, 36)]
    >>> next(one.cutter.id for one in which_reaches(waves, rack) if one.chosen)
    'B24'
    """
    rack = list(cutters)
    found: list[Reaching] = []
    for number, cutter in enumerate(rack):
        if cutter.shape == "drill":
            found.append(Reaching(cutter, None, None, enough=False))
            continue
        left = detail_left(
            surface, cutter, tolerance=tolerance, outside=outside, progress=_part(progress, number, len(rack))
        )
        room = shank_room(surface, cutter)
        found.append(Reaching(cutter, left, room, enough=left.deeper_than(most_left) <= most_area))
    able = [one for one in found if one.enough and one.room is not None and not one.room.notes]
    best = max(able, key=lambda one: _size(one.cutter), default=None)
    found.sort(key=lambda one: math.inf if one.left is None else one.left.volume)
    return [
        Reaching(one.cutter, one.left, one.room, one.enough, chosen=best is not None and one is best) for one in found
    ]


def _size(cutter: Cutter) -> tuple[float, float]:
    """Width of the tip, then the diameter."""
    pointed = cutter.shape in ("V", "tapered ball")
    return (cutter.tip_diameter if pointed else cutter.true_diameter, cutter.true_diameter)


def _part(progress: Progress | None, number: int, count: int) -> Progress | None:
    """Progress of one of several equal parts."""
    if progress is None:
        return None
    tell: Callable[[float], None] = progress
    return lambda share: tell((number + share) / count)


def _thinned(surface: HeightMap) -> HeightMap:
    """Means over whole blocks, at most ``_AT_ONCE`` of them."""
    block = math.ceil(math.sqrt(surface.z.size / _AT_ONCE))
    rows, columns = (n // block for n in surface.z.shape)
    z = surface.z[: rows * block, : columns * block].reshape(rows, block, columns, block).mean(axis=(1, 3))
    return HeightMap(z, surface.pixel * block, surface.origin, surface.name)


def _valley_radius(maps: _Coarser, tolerance: float) -> tuple[float, str, float]:
    """Radius of the largest ball that fits, whether that is a find or a bound, and what the finest does not reach."""
    surface = maps.maps[0]

    def missed(radius: float) -> float:
        level = maps.for_radius(radius, _BALL_PIXELS)
        ball = Profile(radius, ball=radius, half_angle=0.0)
        left = detail_left(level, ball).depth.z / np.hypot(1.0, _slope(level))
        return float((left > tolerance).mean())

    def fits(radius: float) -> bool:
        return missed(radius) <= 1 - FITS_SHARE

    least, greatest = _FINEST * surface.pixel, min(surface.length, surface.width) / 2
    creased = missed(least)
    if greatest <= least or creased > 1 - FITS_SHARE:
        return least, "finer than the pixels", creased
    good = least
    while True:
        bad = min(2 * good, greatest)
        if not fits(bad):
            break
        if bad == greatest:
            return greatest, "wider than the map", creased
        good = bad
    while bad > 1.05 * good:
        middle = math.sqrt(good * bad)
        good, bad = (middle, bad) if fits(middle) else (good, middle)
    return good, "found", creased


def _narrowest_gap(maps: _Coarser, least_depth: float) -> tuple[float | None, float]:
    """Width at half depth of the narrowest gap, and its depth."""
    whole = maps.maps[0]
    half, greatest = 1.0, min(whole.length, whole.width) / 4 / whole.pixel
    while half <= greatest:
        level = maps.for_radius(half * whole.pixel, _GAP_PIXELS)
        pixels = max(1, round(half * whole.pixel / level.pixel))
        depth = _gap_of(level, pixels, least_depth)
        if depth:
            while pixels > 1 and (narrower := _gap_of(level, pixels - 1, least_depth)):
                pixels, depth = pixels - 1, narrower
            return 2 * pixels * level.pixel, depth  # between 2 pixels - 1, which still went in, and 2 pixels + 1
        half = level.pixel / whole.pixel * max(pixels + 1, round(pixels * 1.25))
    return None, 0.0


def _gap_of(level: HeightMap, half: int, least_depth: float) -> float:
    """Depth of the deepest gap of one width, 0 when there is none."""
    margin = 2 * half + 1
    mirrored = level.with_(np.pad(level.z, margin, mode="reflect", reflect_type="odd"))  # gaps and slopes go on
    crop = (slice(margin, -margin), slice(margin, -margin))
    narrow, wide = (detail_left(mirrored, _disc(h, level.pixel)).depth.z[crop] for h in (half, margin))
    inside = (wide >= least_depth) & (narrow > 0.5 * wide * (1 + 1e-9))
    return float(wide[inside].max()) if inside.sum() >= 0.5 * margin**2 else 0.0


def _disc(half: int, pixel: float) -> Profile:
    """A flat end that covers so many pixels on either side of its middle."""
    radius = (half + 0.25) * pixel
    return Profile(radius, flat=radius)


class _Coarser:
    """A map and its coarser copies (means over 2 x 2 pixels, over 4 x 4, ...), made when they are asked for."""

    def __init__(self, surface: HeightMap) -> None:
        self.maps = [surface]

    def for_radius(self, radius: float, pixels: int) -> HeightMap:
        """The coarsest map on which a radius still has so many pixels."""
        wanted = math.floor(math.log2(max(1.0, radius / self.maps[0].pixel / pixels)))
        while len(self.maps) <= wanted and min(self.maps[-1].z.shape) >= 4:
            last = self.maps[-1]
            rows, columns = last.z.shape[0] // 2, last.z.shape[1] // 2
            z = last.z[: 2 * rows, : 2 * columns].reshape(rows, 2, columns, 2).mean(axis=(1, 3))
            self.maps.append(HeightMap(z, 2 * last.pixel, last.origin, last.name))
        return self.maps[min(wanted, len(self.maps) - 1)]


def _grey_step(z: Floats) -> float:
    """Distance of neighbouring heights when all stand on a ladder of at least 16 rungs, else 0."""
    heights = np.unique(z)
    if not 16 <= len(heights) <= min(5000, z.size // 4):
        return 0.0
    gaps = np.diff(heights)
    gaps = gaps[gaps > 1e-9 * (heights[-1] - heights[0])]
    step = float(gaps.min())
    rungs = gaps / step
    even = np.abs(rungs - np.round(rungs)).max() < 0.05
    return step if even and step <= (heights[-1] - heights[0]) / 16 else 0.0


def _noise(z: Floats) -> float:
    """Standard deviation of noise from pixel to pixel, by fourth differences that smooth shapes hardly have.

    The median of |fourth difference| / sqrt(70) is 0.6745 of it (binomial weights 1 4 6 4 1; normal distribution).
    """
    if min(z.shape) < 5:
        return 0.0
    found = [np.median(np.abs(np.diff(z, 4, axis=axis))) / math.sqrt(70) / 0.6745 for axis in (0, 1)]
    return float(max(found))


def _slope(surface: HeightMap) -> Floats:
    """Greatest rise to a neighbour along each axis, together, over run [-]."""
    squared = np.zeros(surface.z.shape)
    for axis in (0, 1):
        rise = np.abs(np.diff(surface.z, axis=axis)) / surface.pixel
        before, after = np.insert(rise, 0, 0.0, axis), np.insert(rise, rise.shape[axis], 0.0, axis)
        squared += np.maximum(before, after) ** 2
    return np.sqrt(squared)


def _quieted(surface: HeightMap, noise: float, wanted: float) -> tuple[HeightMap, float]:
    """The map smoothed until its noise is small enough, and the noise that is left; a quiet one stays as it is.

    A normal distribution of s pixels takes independent noise down by 2 sqrt(pi) s.
    """
    if noise <= wanted:
        return surface, noise
    from scipy.ndimage import gaussian_filter

    pixels = _smoothing(noise, wanted)
    return surface.with_(gaussian_filter(surface.z, pixels)), noise / (2 * math.sqrt(math.pi) * pixels)


def _smoothing(noise: float, wanted: float) -> float:
    """Standard deviation of the smoothing that takes noise down, half a pixel to two [pixels]."""
    return min(2.0, max(0.5, noise / wanted / (2 * math.sqrt(math.pi))))


def _steepest_wall(surface: HeightMap, unsure: float) -> float:
    """Angle against level [rad] that only a thousandth of the area exceeds for sure."""
    z, steepest = surface.z, 0.0
    for run in (1, 2, 4, 8, 16, 32):
        if run >= min(z.shape):
            break
        across = np.abs(z[:-run, run:] - z[:-run, :-run]) - unsure
        along = np.abs(z[run:, :-run] - z[:-run, :-run]) - unsure
        squared = (np.maximum(across, 0.0) ** 2 + np.maximum(along, 0.0) ** 2).ravel()
        rank = int((1 - _STEEP_SHARE) * (squared.size - 1))
        squared.partition(rank)
        steepest = max(steepest, math.sqrt(squared[rank]) / (run * surface.pixel))
    return math.atan(steepest)
