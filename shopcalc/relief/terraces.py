"""Terraces: the treads and risers a slope gets when its heights were stored in too few levels."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from shopcalc.compiling import compiled
from shopcalc.cutting.engagement import require_positive
from shopcalc.moves import Floats
from shopcalc.relief.heights import HeightMap

#: Fewer levels than this are taken for a drawing in steps that is meant, more for a smooth one.
FEWEST_LEVELS, MOST_LEVELS = 16, 4096
_SWEEPS = 30


@dataclass(frozen=True)
class Terraces:
    """Treads and risers found in a map.

    Parameters
    ----------
    levels : int
        Distinct heights.
    step : float
        Height of a riser [mm].
    tread : float
        Width of a typical tread on a slope [mm].

    Example
    -------
    >>> print(Terraces(256, 0.047, 1.2))
    steps of 0.047 mm: 256 levels, treads about 1.2 mm wide
    """

    levels: int
    step: float
    tread: float

    def __str__(self) -> str:
        return f"steps of {self.step:.2g} mm: {self.levels} levels, treads about {self.tread:.2g} mm wide"


def find_terraces(heights: HeightMap) -> Terraces | None:
    """Terraces in a map, or None.

    Few levels alone make none: on a steep face every pixel is another level. Looked for are stairs: runs of pixels of
    one height with one step up at one end and one step down at the other. Half of their area must lie in treads at
    least two pixels wide.

    Parameters
    ----------
    heights : HeightMap
        The artwork on its own grid.

    Notes
    -----
    Definition; common practice, no source, for the fewest and the most levels looked at.

    Example
    -------
    >>> from shopcalc.relief.heights import sampled
    >>> stairs = sampled(lambda x, y: np.round(-x / 10, 1), 100.0, 4.0, pixel=0.1)
    >>> print(find_terraces(stairs))
    steps of 0.1 mm: 101 levels, treads about 1 mm wide
    """
    found = stairs_in(heights.z)
    if found is None:
        return None
    levels, step, tread = found
    return Terraces(levels, step, tread * heights.pixel)


def stairs_in(values: NDArray[Any]) -> tuple[int, float, float] | None:
    """Levels, step [unit of the values] and tread [pixels] of the stairs in an array, or None.

    Parameters
    ----------
    values : (rows, columns) array
        Heights or grey values, white or high first or last alike.

    Notes
    -----
    Definition.
    """
    flat = values.reshape(-1)
    if len(np.unique(flat[:: max(1, len(flat) // 20_000)])) > MOST_LEVELS:
        return None
    levels = np.unique(flat).astype(np.float64)
    spread = float(levels[-1] - levels[0]) if len(levels) else 0.0
    if spread > 0:  # what differs by rounding alone is one level
        levels = levels[np.concatenate(([True], np.diff(levels) > 1e-9 * spread))]
    if not FEWEST_LEVELS <= len(levels) <= MOST_LEVELS:
        return None
    gaps = np.diff(levels)
    step = float(np.median(gaps[gaps < 1.5 * gaps.min()]))
    treads = np.concatenate([_treads(values, step), _treads(values.T, step)])
    if len(treads) < 20:
        return None
    treads.sort()
    tread = float(treads[np.searchsorted(np.cumsum(treads), treads.sum() / 2)])  # half of the stairs is wider
    return (len(levels), step, tread) if tread >= 2 else None


def _treads(values: NDArray[Any], step: float) -> NDArray[np.int64]:
    """Lengths of all runs along rows that have one step up and one step on in the same direction at their ends."""
    rise = np.diff(values.astype(np.float64), axis=1)
    row, column = np.nonzero(np.abs(rise) > 1e-6 * step)
    size = rise[row, column]
    one = np.abs(np.abs(size) - step) < 0.25 * step
    stairs = (row[1:] == row[:-1]) & one[1:] & one[:-1] & (np.sign(size[1:]) == np.sign(size[:-1]))
    return np.asarray((column[1:] - column[:-1])[stairs], dtype=np.int64)


def smoothed(heights: HeightMap, terraces: Terraces | None = None) -> HeightMap:
    """The map without its terraces: no height moves by more than half a step, and real edges stay.

    Between its risers a tread becomes the smooth surface that meets each riser half way up; a tread with risers on one
    side only (a top, a ground) keeps its height a tread's width away from them. Neighbours that differ by more than
    one and a half steps have an edge between them and do not pull at each other.

    Parameters
    ----------
    heights : HeightMap
        The artwork.
    terraces : Terraces or None
        Its treads and risers; None looks for them, and a map without comes back as it is.

    Notes
    -----
    Definition: least bending and least distance from the map, the latter weighed by 1 / tread^2, under bounds
    (half a step anywhere, a quarter to a half beside risers), relaxed from coarse to fine. Nothing rises above the
    map's highest or sinks below its lowest place.

    Raises
    ------
    InputError
        When step or tread are not above 0.

    Example
    -------
    >>> from shopcalc.relief.heights import sampled
    >>> stairs = sampled(lambda x, y: np.round(-x / 10, 1), 100.0, 4.0, pixel=0.1)
    >>> ramp = sampled(lambda x, y: -x / 10, 100.0, 4.0, pixel=0.1)
    >>> bool(abs(smoothed(stairs).z - ramp.z)[:, 20:-20].max() < 0.01)
    True
    """
    if terraces is None:
        terraces = find_terraces(heights)
        if terraces is None:
            return heights
    step = terraces.step
    require_positive(step=step, tread=terraces.tread)
    z = np.asarray(heights.z, dtype=np.float64)
    uphill, downhill = _beside_risers(z, step)
    # beside a riser the true surface passes the middle of the step within half a pixel
    low = z + step * np.where(uphill, np.where(downhill, -0.25, 0.25), -0.5)
    high = z + step * np.where(downhill, np.where(uphill, 0.25, -0.25), 0.5)
    low, high = np.clip(low, z.min(), None), np.clip(high, None, z.max())
    low, high = np.minimum(low, z.max()), np.maximum(high, z.min())
    east = (np.abs(np.diff(z, axis=1)) <= 1.5 * step).astype(np.float64)
    north = (np.abs(np.diff(z, axis=0)) <= 1.5 * step).astype(np.float64)
    hold = (heights.pixel / terraces.tread) ** 2
    return heights.with_(_taut(z, low, high, east, north, hold))


def _beside_risers(z: Floats, step: float) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Where a neighbour lies one step higher, and where one lies one step lower."""
    uphill, downhill = np.zeros(z.shape, dtype=bool), np.zeros(z.shape, dtype=bool)
    for axis in (0, 1):
        rise = np.diff(z, axis=axis)
        up, down = np.abs(rise - step) < 0.25 * step, np.abs(rise + step) < 0.25 * step
        first, last = (slice(None, -1), slice(None)), (slice(1, None), slice(None))
        if axis == 1:
            first, last = first[::-1], last[::-1]
        uphill[first] |= up
        downhill[last] |= up
        downhill[first] |= down
        uphill[last] |= down
    return uphill, downhill


def _taut(z: Floats, low: Floats, high: Floats, east: Floats, north: Floats, hold: float) -> Floats:
    """Relax a grid after its coarser half: wide treads would take a sweep per pixel of their width otherwise."""
    rows, columns = z.shape
    out = np.clip(z, low, high)
    if min(rows, columns) >= 8 and hold < 0.25:
        links = _halved_links(east, columns), _halved_links(north.T, rows).T
        coarse = _taut(_halved(z), _halved(low), _halved(high), *links, 4 * hold)
        out = z + np.repeat(np.repeat(coarse - _halved(z), 2, axis=0), 2, axis=1)[:rows, :columns]
        np.clip(out, low, high, out=out)
    _relax(out, z, low, high, np.ascontiguousarray(east), np.ascontiguousarray(north), hold, _SWEEPS)
    return out


def _halved(values: Floats) -> Floats:
    """Means of 2 x 2 squares; an odd last row or column counts twice."""
    padded = np.pad(values, ((0, values.shape[0] % 2), (0, values.shape[1] % 2)), mode="edge")
    out: Floats = padded.reshape(padded.shape[0] // 2, 2, padded.shape[1] // 2, 2).mean(axis=(1, 3))
    return out


def _halved_links(links: Floats, columns: int) -> Floats:
    """Links across the coarse columns' borders: the mean of the two fine ones."""
    across = links[:, 1 : columns - 1 + (columns % 2) : 2]
    rows = across.shape[0]
    padded = np.pad(across, ((0, rows % 2), (0, 0)), mode="edge")
    out: Floats = padded.reshape(padded.shape[0] // 2, 2, padded.shape[1]).mean(axis=1)
    return out


def _sweeps(
    u: Floats, z: Floats, low: Floats, high: Floats, east: Floats, north: Floats, hold: float, sweeps: int
) -> None:
    """Over-relaxed sweeps of each height towards the mean of its linked neighbours, kept between its bounds."""
    rows, columns = u.shape
    for sweep in range(sweeps):
        for r in range(rows):
            i = r if sweep % 2 == 0 else rows - 1 - r
            for c in range(columns):
                j = c if sweep % 2 == 0 else columns - 1 - c
                total = hold * z[i, j]
                weight = hold
                if 0 < j < columns - 1:  # both neighbours or none: one alone would tilt the height towards it
                    w = min(east[i, j - 1], east[i, j])
                    total += w * (u[i, j - 1] + u[i, j + 1])
                    weight += 2.0 * w
                if 0 < i < rows - 1:
                    w = min(north[i - 1, j], north[i, j])
                    total += w * (u[i - 1, j] + u[i + 1, j])
                    weight += 2.0 * w
                value = u[i, j] + 1.5 * (total / weight - u[i, j])
                u[i, j] = min(max(value, low[i, j]), high[i, j])


_relax = compiled(_sweeps)
