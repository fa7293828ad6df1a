"""Maps made finer and coarser, and what a cutter and its roughing leave of them."""

from __future__ import annotations

import math
from typing import Literal, TypeAlias

import numpy as np

from shopcalc.cutters import Cutter
from shopcalc.relief.finishing import TOLERANCE
from shopcalc.relief.heights import HeightMap
from shopcalc.relief.reach import Outside, profile, reached

Role: TypeAlias = Literal["rough", "finish", "clean up"]
LOOK = 60_000  # squares of the map a scheme is made from
_SMOOTHER = 6.0  # of the tolerance: what the tip may sink between two samples
_MOST_SQUARES = 12_000_000  # of a refined map


def reach_of(surface: HeightMap, cutter: Cutter, outside: Outside, cache: dict[str, HeightMap]) -> HeightMap:
    """What a cutter reaches, computed once.

    Parameters
    ----------
    surface : HeightMap
        What shall be carved; always the same for one cache.
    cutter : Cutter
        Which.
    outside : {"nothing", "stock"}
        What stands beyond the edge.
    cache : dict
        Cutter id to the answer.

    Returns
    -------
    HeightMap
        See ``reach.reached``.
    """
    if cutter.id not in cache:
        cache[cutter.id] = reached(surface, cutter, outside=outside)
    return cache[cutter.id]


def refined(surface: HeightMap, cutter: Cutter, tolerance: float = TOLERANCE) -> HeightMap:
    """A map fine enough that a round tip runs smoothly over it instead of from sample to sample.

    Parameters
    ----------
    surface : HeightMap
        What shall be carved.
    cutter : Cutter
        Its tip counts.
    tolerance : float
        Of the path [mm].

    Returns
    -------
    HeightMap
        Its squares split evenly by an odd number, so that every sample stays; linear between them, so that nothing is
        added. A tip of radius r sinks h^2 / 8 r between two samples, a V of flat radius f and half angle a
        (h/2 - f) / tan a (geometry); that shall be a sixth of the tolerance, as far as memory lets it.

    Example
    -------
    >>> from shopcalc.relief.heights import sampled
    >>> ball = Cutter("B6", "", "ball", 6, 6, 2, 20, 60, 30)
    >>> refined(sampled(lambda x, y: -x / 10, 20.0, 10.0, pixel=0.5), ball).pixel
    0.16666666666666666
    """
    tip, sinks = profile(cutter), tolerance / _SMOOTHER
    if tip.ball:
        wanted = math.sqrt(8 * tip.ball * sinks)
    elif tip.half_angle < math.pi / 2:
        wanted = 2 * (tip.flat + sinks * math.tan(tip.half_angle))
    else:
        return surface
    split = 1
    while surface.pixel / split > wanted * 1.01 and surface.z.size * (split + 2) ** 2 <= _MOST_SQUARES:
        split += 2
    if split == 1:
        return surface
    z = surface.z
    for axis in (0, 1):
        at = (np.arange(z.shape[axis] * split) + 0.5) / split - 0.5
        low = np.clip(np.floor(at).astype(np.int64), 0, max(z.shape[axis] - 2, 0))
        high = np.minimum(low + 1, z.shape[axis] - 1)
        share = np.clip(at - low, 0.0, 1.0)
        share = share[:, None] if axis == 0 else share
        z = np.take(z, low, axis=axis) * (1 - share) + np.take(z, high, axis=axis) * share
    return HeightMap(z, surface.pixel / split, surface.origin, surface.name)


def coarser(surface: HeightMap, squares: int) -> HeightMap:
    """A map of at most so many squares, means over whole blocks.

    Parameters
    ----------
    surface : HeightMap
        Which.
    squares : int
        At most.

    Returns
    -------
    HeightMap
        The same one when it is small enough; a last row or column that fills no block is left out.
    """
    block = max(1, math.ceil(math.sqrt(surface.z.size / squares)))
    rows, columns = surface.z.shape[0] // block, surface.z.shape[1] // block
    if block == 1 or min(rows, columns) < 2:
        return surface
    z = surface.z[: rows * block, : columns * block].reshape(rows, block, columns, block).mean(axis=(1, 3))
    return HeightMap(z, surface.pixel * block, surface.origin, surface.name)
