"""Levels: a path cut again and again at falling heights, and the same program with only some of those levels."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shopcalc.gains.heights import SAME, sideways
from shopcalc.gains.rebuilding import Ints, rebuilt, stretches
from shopcalc.moves import Floats, Kind, Moves

TOLERANCE = 0.01  # mm; paths nearer than this are one path
_MOST_PRODUCTS = 4_000_000  # points times moves up to which paths with other beginnings are compared


@dataclass(frozen=True)
class Tier:
    """The cuts of one level between two changes of height.

    Parameters
    ----------
    begin, end : int
        Moves, as in a slice.
    z : float
        [mm].
    """

    begin: int
    end: int
    z: float


@dataclass(frozen=True, eq=False)
class Deeper:
    """A program with fewer levels.

    Parameters
    ----------
    moves : Moves
        The program.
    levels, dropped : int
        Levels whose path repeats, and how many of them are left out.
    depth_before, depth : float
        The deepest step from level to level before and after, of those that changed [mm].
    places : int
        At how many places levels were left out.
    """

    moves: Moves
    levels: int
    dropped: int
    depth_before: float
    depth: float
    places: int


def repeated_levels(moves: Moves) -> list[list[Tier]]:
    """Runs of levels that cut the same path, each below the one before.

    Parameters
    ----------
    moves : Moves
        A program.

    Returns
    -------
    list of list of Tier
        At least two levels each, in the order of the program. A path is the same when each lies within 0.01 mm of the
        other and they are equally long: it may begin elsewhere, and run the other way.

    Example
    -------
    >>> from shopcalc.moves import from_lists
    >>> m = from_lists([(0, 0, 0), (0, 0, -2), (9, 0, -2), (0, 0, -2), (0, 0, -4), (9, 0, -4), (0, 0, -4)],
    ...                [Kind.LINE] * 6, feed=600)
    >>> [tier.z for tier in repeated_levels(m)[0]]
    [-2.0, -4.0]
    """
    found: list[list[Tier]] = []
    for begin, end in stretches(moves):
        chain: list[Tier] = []
        for tier in _tiers(moves, begin, end):
            if chain and tier.z < chain[-1].z - SAME and _same_path(moves, chain[-1], tier):
                chain.append(tier)
                continue
            if len(chain) > 1:
                found.append(chain)
            chain = [tier]
        if len(chain) > 1:
            found.append(chain)
    return found


def _tiers(moves: Moves, begin: int, end: int) -> list[Tier]:
    """Level cuts of a stretch, joined while their height stays the same."""
    p = moves.points[begin : end + 1]
    level = moves.cutting[begin:end] & (np.abs(np.diff(p[:, 2])) < SAME)
    part = moves.part(begin, end)
    level &= sideways(part)
    upright = part.arc_index[part.arc_plane > 0]
    level[upright] = False
    at = np.flatnonzero(level)
    if not len(at):
        return []
    z = p[at, 2]
    # a ramp that comes down to the same height still parts two levels only where the height changed in between
    heads = np.flatnonzero(np.concatenate([[True], np.abs(np.diff(z)) > SAME]))
    tails = np.append(heads[1:] - 1, len(at) - 1)
    return [Tier(begin + int(at[h]), begin + int(at[t]) + 1, float(z[h])) for h, t in zip(heads, tails, strict=True)]


def _same_path(moves: Moves, one: Tier, other: Tier) -> bool:
    a, b = moves.part(one.begin, one.end), moves.part(other.begin, other.end)
    if (a.arc_plane > 0).any() or (b.arc_plane > 0).any() or a.cutter[0] != b.cutter[0]:
        return False
    if len(a) == len(b) and (a.kind == b.kind).all():
        near = np.abs(a.points[:, :2] - b.points[:, :2]).max() <= TOLERANCE
        if near and (
            not len(a.arc_index)
            or (np.abs(a.arc_centre - b.arc_centre)[:, :2].max() <= TOLERANCE and _same_sweeps(a, b))
        ):
            return True
    if (a.kind == Kind.RAPID).any() or (b.kind == Kind.RAPID).any() or len(a) * len(b) > _MOST_PRODUCTS:
        return False
    if abs(a.lengths.sum() - b.lengths.sum()) > TOLERANCE * max(len(a), len(b)):
        return False
    return _lies_on(a, b) and _lies_on(b, a)


def _same_sweeps(a: Moves, b: Moves) -> bool:
    return bool((np.abs(a.arc_sweep - b.arc_sweep) * a.arc_radius <= 2 * TOLERANCE).all())


def _lies_on(a: Moves, b: Moves) -> bool:
    """Whether corners and middles of the moves of ``a`` lie on the path of ``b``, seen from above."""
    middles = (a.points[:-1] + a.points[1:]) / 2
    if len(a.arc_index):
        spoke = (a.points[a.arc_index] - a.arc_centre)[:, :2]
        c, s = np.cos(a.arc_sweep / 2), np.sin(a.arc_sweep / 2)
        turned = np.stack([c * spoke[:, 0] - s * spoke[:, 1], s * spoke[:, 0] + c * spoke[:, 1]], axis=1)
        middles = middles.copy()
        middles[a.arc_index, :2] = a.arc_centre[:, :2] + turned
    samples = np.concatenate([a.points, middles])[:, :2]
    nearest = np.full(len(samples), np.inf)
    start, way = b.points[:-1, :2], np.diff(b.points[:, :2], axis=0)
    line = b.kind == Kind.LINE
    if line.any():
        d = samples[:, None] - start[line]
        size = np.maximum((way[line] ** 2).sum(axis=1), 1e-18)
        t = np.clip((d * way[line]).sum(axis=2) / size, 0, 1)
        nearest = np.linalg.norm(d - t[..., None] * way[line], axis=2).min(axis=1)
    if len(b.arc_index):
        nearest = np.minimum(nearest, _from_arcs(samples, b))
    return bool((nearest <= TOLERANCE).all())


def _from_arcs(samples: Floats, b: Moves) -> Floats:
    """Distance of each sample from the nearest arc; inf beside the ends of all of them."""
    spoke = (b.points[b.arc_index] - b.arc_centre)[:, :2]
    d = samples[:, None] - b.arc_centre[:, :2]
    radius = b.arc_radius
    off = np.abs(np.linalg.norm(d, axis=2) - radius)
    cross = spoke[:, 0] * d[..., 1] - spoke[:, 1] * d[..., 0]
    turn = np.arctan2(cross, (spoke * d).sum(axis=2)) * np.sign(b.arc_sweep)
    slack = TOLERANCE / np.maximum(radius, TOLERANCE)
    turn = np.where(turn < -slack, turn + 2 * np.pi, turn)
    out: Floats = np.where(turn <= np.abs(b.arc_sweep) + slack, off, np.inf).min(axis=1)
    return out


def drop_levels(moves: Moves, keep: int, chains: list[list[Tier]] | None = None) -> Deeper | None:
    """Cut only every second, third ... level of paths that repeat; the last one stays.

    Parameters
    ----------
    moves : Moves
        A program without further axes.
    keep : int
        2 keeps every second level, counted from the last.
    chains : list of list of Tier, optional
        What ``repeated_levels`` found, where it is at hand.

    Returns
    -------
    Deeper or None
        None where no path repeats.

    Notes
    -----
    The way to a level that stays is drawn out to the level that now lies above it: what lay between the two heights
    is stretched, what lay above is lifted, so that a ramp gets steeper and no rapid comes lower than it was. Where the
    next kept way begins elsewhere on the path, the cutter first follows the path there at the height that is free. The
    wood's top is taken to lie as far above the first level as the second lies below it.
    """
    chains = repeated_levels(moves) if chains is None else chains
    source: list[Ints] = []
    points: list[Floats] = [moves.points[:1]]
    at = levels = dropped = places = 0
    before = after = 0.0
    for chain in chains:
        made = _thinned(moves, chain, keep, at)
        if made is None:
            continue
        own_source, own_points, gone, steps = made
        source.append(own_source)
        points.append(own_points)
        at = chain[-1].end
        levels, dropped, places = levels + len(chain), dropped + gone, places + 1
        z = [tier.z for tier in chain]
        before = max(before, *(a - b for a, b in itertools.pairwise(z)))
        after = max(after, *steps)
    if not places:
        return None
    source.append(np.arange(at, len(moves)))
    points.append(moves.points[at + 1 :])
    out = rebuilt(moves, np.concatenate(source), np.concatenate(points))
    return Deeper(out, levels, dropped, before, after, places)


def _thinned(moves: Moves, chain: list[Tier], keep: int, at: int) -> tuple[Ints, Floats, int, list[float]] | None:
    """Moves from ``at`` to the end of a chain with only every ``keep``-th level: sources, ends, levels gone, steps."""
    last = len(chain) - 1
    kept = list(range(last % keep, last + 1, keep))
    if len(kept) == len(chain):
        return None
    top = chain[0].z + (chain[0].z - chain[1].z)
    begun = _first_deeper(moves, chain, kept[0], top, at) if kept[0] > 0 else None
    if begun is None:  # a way down that is a rapid may not come lower: then the first level stays, too
        kept = [0, *kept] if kept[0] > 0 else kept
        if len(kept) == len(chain):
            return None
        begun = np.arange(at, chain[0].end), moves.points[at + 1 : chain[0].end + 1]
        steps = [top - chain[0].z]
    else:
        steps = [top - chain[kept[0]].z]
    source, points = [begun[0]], [begun[1]]
    for above, k in itertools.pairwise(kept):
        free, skipped = chain[above].z, chain[k - 1]
        here = points[-1][-1]
        retrace = _retrace(moves, skipped, here)
        if retrace is None:
            return None
        walk = moves.points[retrace + 1 : skipped.end + 1].copy()
        walk[:, 2] = np.maximum(walk[:, 2], free)
        ends = moves.points[skipped.end + 1 : chain[k].end + 1].copy()
        ends[:, 2] = _drawn_out(ends[:, 2], chain[k].z, skipped.z, free)
        source += [np.arange(retrace, skipped.end), np.arange(skipped.end, chain[k].end)]
        points += [walk, ends]
        steps.append(free - chain[k].z)
    if not _upright(moves, np.concatenate(source)):
        return None
    return np.concatenate(source), np.concatenate(points), len(chain) - len(kept), steps


def _upright(moves: Moves, source: Ints) -> bool:
    """Whether no arc among the moves stands upright: those cannot be drawn out in height."""
    standing = moves.arc_index[moves.arc_plane > 0]
    return not len(standing) or not np.isin(standing, source).any()


def _drawn_out(z: Floats, low: float, middle: float, high: float) -> Floats:
    """Heights from low to middle stretched to reach high; those above lifted with it, up to the highest."""
    stretched = low + (z - low) * (high - low) / (middle - low)
    lifted = np.minimum(z + (high - middle), max(float(z.max(initial=high)), high))
    return np.where(z > middle + SAME, lifted, np.where(z > low + SAME, stretched, z))


def _first_deeper(
    moves: Moves, chain: list[Tier], k: int, top: float, at: int
) -> tuple[NDArray[np.int64], Floats] | None:
    """The way to the first level and its path, let down to level k; None where a rapid would come lower."""
    first, low = chain[0], chain[k].z
    ends = moves.points[at + 1 : first.end + 1].copy()
    z = ends[:, 2]
    # only from the last place above the wood on: what was cut elsewhere before keeps its height
    over = np.flatnonzero(z[: first.begin - at] >= top - SAME)
    if not len(over) and moves.points[at, 2] < top - SAME:
        return None
    since = int(over[-1]) + 1 if len(over) else 0
    inner = np.arange(len(z)) >= since
    lower = inner & (z < top - SAME)
    mapped = np.where(lower, top - (top - z) * (top - low) / (top - first.z), z)
    if (lower & (moves.kind[at : first.end] == Kind.RAPID)).any():
        return None
    ends[:, 2] = mapped
    return np.arange(at, first.end), ends


def _retrace(moves: Moves, tier: Tier, here: Floats) -> int | None:
    """The move of a level's path at whose beginning the cutter stands now; the level's end where it stands there."""
    off = np.abs(moves.points[tier.begin : tier.end + 1, :2] - here[:2]).max(axis=1)
    met = np.flatnonzero(off <= TOLERANCE)
    return tier.begin + int(met[-1]) if len(met) else None
