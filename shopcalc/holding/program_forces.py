"""How hard a program itself drives its cutters: the move of each that takes most wood at each turn."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shopcalc.moves import Moves


@dataclass(frozen=True)
class Driven:
    """The move of one cutter that goes furthest at each turn.

    Parameters
    ----------
    cutter : int
        Its number.
    label : str
        What the program calls it.
    rpm, feed : float
        As written there [rev/min], [mm/min].
    move, line : int
        Which move it is; its line, 0 where it has none.
    """

    cutter: int
    label: str
    rpm: float
    feed: float
    move: int
    line: int

    @property
    def per_turn(self) -> float:
        """Way at each turn [mm]."""
        return self.feed / self.rpm


def worst_cuts(moves: Moves, *, top: float = 0.0) -> dict[int, Driven]:
    """For each cutter, the cut whose teeth take the thickest chips, from the feeds and speeds a program says.

    Parameters
    ----------
    moves : Moves
        As read.
    top : float
        Of the wood: what stays above it cuts nothing [mm].

    Returns
    -------
    dict
        Cutter number to Driven; those without a spindle speed, or that only go straight down, are left out. The feed is
        the one asked for: corners and acceleration only make it less, and a setting of the feed above 100 % more.

    Notes
    -----
    Push grows with the chip, and the chip with feed per turn (definition of feed per tooth).

    Example
    -------
    >>> from shopcalc.moves import Kind, from_lists
    >>> at = [(0, 0, -2), (50, 0, -2), (50, 9, -2)]
    >>> path = from_lists(at, [Kind.LINE] * 2, feed=[900, 1800], rpm=18000, cutter=3)
    >>> worst_cuts(path)[3].per_turn
    0.1
    """
    a, b = moves.points[:-1], moves.points[1:]
    sideways = np.abs(b - a)[:, :2].max(axis=1) > 1e-6
    if len(moves.arc_index):
        sideways[moves.arc_index] = True
    cuts = moves.cutting & sideways & (moves.rpm > 0) & (moves.feed > 0) & (np.minimum(a[:, 2], b[:, 2]) < top - 1e-6)
    share = np.where(cuts, moves.feed, 0.0) / np.where(cuts, moves.rpm, 1.0)
    out = {}
    for number in np.unique(moves.cutter[cuts]).tolist():
        i = int(np.argmax(np.where(moves.cutter == number, share, 0.0)))
        out[number] = Driven(
            number, moves.labels.get(number, ""), float(moves.rpm[i]), float(moves.feed[i]), i, int(moves.line[i])
        )
    return out


def driven_of(found: dict[int, Driven], cutter: str, number: int | None) -> Driven | None:
    """The one of a cutter of the rack, by its name in the program, else by its place.

    Parameters
    ----------
    found : dict
        From ``worst_cuts``.
    cutter : str
        Its id.
    number : int or None
        Its place in the rack.
    """
    named = [d for d in found.values() if d.label.strip().casefold() == cutter.casefold()]
    unnamed = [d for d in found.values() if number and d.cutter == number and not d.label.strip()]
    return next(iter(named + unnamed), None)
