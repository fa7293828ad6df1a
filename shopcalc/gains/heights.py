"""Heights: how low the cutter may go over the work, and how much of a way down may be a rapid."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shopcalc.gains.rebuilding import Ints, rebuilt, without_empty_rapids
from shopcalc.moves import Floats, Kind, Moves

SAME = 1e-6  # mm; closer heights are one height


def sideways(moves: Moves) -> NDArray[np.bool_]:
    """Which moves travel in x or y; whole turns do, too.

    Parameters
    ----------
    moves : Moves
        A program.

    Returns
    -------
    (n,) bool
    """
    way = np.diff(moves.points[:, :2], axis=0)
    out = np.asarray(np.abs(way).max(axis=1) > SAME) if len(way) else np.zeros(0, dtype=bool)
    out[moves.arc_index] = True
    return out


@dataclass(frozen=True, eq=False)
class Lowered:
    """A program that goes over the work at a lower height.

    Parameters
    ----------
    moves : Moves
        The program.
    height : float
        The new greatest height of its ways over the work [mm].
    before : float
        The height most of them had [mm].
    top : float
        What the wood's top was taken for [mm].
    places : int
        How many points were lowered.
    """

    moves: Moves
    height: float
    before: float
    top: float
    places: int


def shown_top(moves: Moves) -> float | None:
    """The height that no wood reaches where the program goes down, as far as the program alone shows it.

    Parameters
    ----------
    moves : Moves
        A program.

    Returns
    -------
    float or None
        The highest z at which a rapid way down ends and a feed begins, and of all cuts to the side [mm]; None when
        some way down at feed begins at the height of the ways over the work, because then the wood's top may lie
        anywhere along it.
    """
    side, cutting = sideways(moves), moves.cutting
    over = side & (moves.kind == Kind.RAPID)
    if not over.any() or not cutting.any():
        return None
    first = np.flatnonzero(cutting[1:] & ~cutting[:-1]) + 1
    if cutting[0]:
        return None
    begins = moves.points[first, 2]
    arrives_down = moves.points[first, 2] < moves.points[first - 1, 2] - SAME
    if not (arrives_down & (moves.kind[first - 1] == Kind.RAPID) & ~side[first - 1]).all():
        return None
    return float(max(begins.max(), highest_cut(moves)))


def highest_cut(moves: Moves) -> float:
    """The highest z of a cut to the side, where there must be wood whatever height was given for its top [mm].

    Parameters
    ----------
    moves : Moves
        A program.
    """
    lying = np.flatnonzero(moves.cutting & sideways(moves))
    cuts = np.maximum(moves.points[lying, 2], moves.points[lying + 1, 2])
    upright = moves.arc_plane > 0
    if upright.any():
        cuts = np.append(cuts, (moves.arc_centre[upright, 2] + moves.arc_radius[upright]))
    return float(cuts.max(initial=-np.inf))


def lower_clearance(moves: Moves, *, stock_top: float | None = None, clearance: float = 5.0) -> Lowered | None:
    """Go over the work no higher than a clearance above its top.

    Parameters
    ----------
    moves : Moves
        A program without further axes.
    stock_top : float, optional
        Height of the wood's top in the program's coordinates; what ``shown_top`` finds where not given. Where the
        program cuts to the side higher than that, the highest of those cuts counts [mm].
    clearance : float
        Above it [mm].

    Returns
    -------
    Lowered or None
        None when the top is not known, or no way over the work is higher. Only points between rapids, and between a
        rapid and a move straight up or down, are lowered; the ways to and from places where the machine stands
        (cutter changes, stops) keep their height there.

    Example
    -------
    >>> from shopcalc.moves import from_lists
    >>> m = from_lists([(0, 0, 50), (9, 0, 50), (9, 0, 2), (9, 0, -3), (9, 0, 50), (20, 0, 50)],
    ...                [Kind.RAPID, Kind.RAPID, Kind.LINE, Kind.RAPID, Kind.RAPID], feed=600)
    >>> lower_clearance(m).height
    7.0
    """
    top = shown_top(moves) if stock_top is None else max(stock_top, highest_cut(moves))
    if top is None or not len(moves):
        return None
    height = top + clearance
    z = moves.points[:, 2]
    rapid, side = moves.kind == Kind.RAPID, sideways(moves)
    may = rapid | (moves.cutting & ~side)
    free = np.zeros(len(z), dtype=bool)
    free[1:-1] = may[:-1] & may[1:] & (rapid[:-1] | rapid[1:])
    low = free & (z > height + SAME)
    if not low.any() or (moves.cutting & side & (np.maximum(z[:-1], z[1:]) > height + SAME)).any():
        return None
    over = np.flatnonzero(rapid & side & low[1:])
    if not len(over):
        return None
    heights, counts = np.unique(z[over + 1].round(3), return_counts=True)
    points = moves.points.copy()
    points[low, 2] = height
    out = without_empty_rapids(rebuilt(moves, np.arange(len(moves)), points))
    return Lowered(out, height, float(heights[np.argmax(counts)]), top, int(low.sum()))


def rapid_in_air(moves: Moves, *, stock_top: float, above: float = 2.0) -> tuple[Moves, int] | None:
    """Turn what of straight ways down (and up) at feed lies above the wood into rapids.

    Parameters
    ----------
    moves : Moves
        A program without further axes.
    stock_top : float
        Height of the wood's top in the program's coordinates; the highest cut to the side where that is higher [mm].
    above : float
        How far above it the feed begins [mm].

    Returns
    -------
    (Moves, int) or None
        The program and how many ways were changed; None when there are none.

    Example
    -------
    >>> from shopcalc.moves import from_lists
    >>> m = from_lists([(0, 0, 10), (0, 0, -3)], [Kind.LINE], feed=600)
    >>> rapid_in_air(m, stock_top=0)[0].points[:, 2].tolist()
    [10.0, 2.0, -3.0]
    """
    z, limit = moves.points[:, 2], max(stock_top, highest_cut(moves)) + above
    begin, end = z[:-1], z[1:]
    upright = (moves.kind == Kind.LINE) & ~sideways(moves) & ~moves.exact_stop & (np.abs(end - begin) > SAME)
    whole = upright & (np.minimum(begin, end) >= limit - SAME)
    down = upright & ~whole & (begin > limit + SAME)
    up = upright & ~whole & (end > limit + SAME)
    if not (whole | down | up).any():
        return None
    n = len(moves)
    source: Ints = np.repeat(np.arange(n), 1 + (down | up))
    second = np.concatenate([[False], source[1:] == source[:-1]])
    first = np.concatenate([source[1:] == source[:-1], [False]])
    ends: Floats = moves.points[source + 1].copy()
    ends[first, 2] = limit
    kind = moves.kind[source].copy()
    kind[whole[source] | (first & down[source]) | (second & up[source])] = Kind.RAPID
    out = rebuilt(moves, source, np.concatenate([moves.points[:1], ends]), kind=kind)
    return out, int((whole | down | up).sum())
