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

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from shopcalc.cutting.engagement import refuse
from shopcalc.moves import Floats, Kind, Moves
from shopcalc.paths.tracing import Cutting, Direction

if TYPE_CHECKING:
    pass
from shopcalc.relief.layouts import SAME, Layout, chains
from shopcalc.relief.tip_heights import Surface

_OVER = 1.0  # mm above the wood from which a cutter goes down at cutting feeds


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
        if air < from_ - SAME:
            add(np.array([[start[0], start[1], air]]), Kind.LINE, cutting.feed_in_air)
        before = np.concatenate([[[start[0], start[1], min(air, from_)]], entry[:-1]])
        add(entry, Kind.LINE, _feeds(cutting, before, entry))
        add(way[1:], Kind.LINE, _feeds(cutting, way[:-1], way[1:]))
        up = over if number + 1 < len(ways) else safe
        add(np.array([[way[-1, 0], way[-1, 1], up]]), Kind.RAPID, math.nan)
    at = np.concatenate(points)
    kind, feed = np.concatenate(kinds), np.concatenate(feeds)
    still = np.abs(np.diff(at, axis=0)).max(axis=1) < SAME
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
    if wood <= SAME or cutting.entry == "plunge" or (may and total < cutting.cutter.true_diameter):
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
    if (lengths < SAME).any():  # straight up or down somewhere: every point as it stands
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
