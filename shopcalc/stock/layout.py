"""Records of a layout: pieces to cut, boards and sheets to cut from, and what lies where."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property


@dataclass(frozen=True)
class Piece:
    """One rectangle to cut.

    Parameters
    ----------
    part : str
        Id of the part it is for.
    length, width : float
        Along and across the grain [mm].
    label : str
        What people read on it.
    """

    part: str
    length: float
    width: float
    label: str = ""

    @property
    def area(self) -> float:
        """[mm2]."""
        return self.length * self.width


@dataclass(frozen=True)
class Item:
    """A board or sheet that pieces can be cut from.

    Parameters
    ----------
    id : str
        What people call it.
    length, width : float
        Along and across the grain [mm].
    clear : tuple of (x, y, length, width)
        Rectangles pieces may lie in, trims and defects taken off [mm].
    count : int
        How many of them can be had [-].
    cost : float
        What is made least: board feet, area or money of one.
    """

    id: str
    length: float
    width: float
    clear: tuple[tuple[float, float, float, float], ...]
    count: int = 1
    cost: float = 1.0

    @property
    def area(self) -> float:
        """[mm2]."""
        return self.length * self.width


@dataclass(frozen=True)
class Laid:
    """A piece in its place.

    Parameters
    ----------
    piece : int
        Its number among the pieces, from 0.
    x, y : float
        Lower left corner, from the item's [mm].
    length, width : float
        As it lies, along x and y [mm].
    turned : bool
        Whether its grain lies across the item's.
    """

    piece: int
    x: float
    y: float
    length: float
    width: float
    turned: bool = False


@dataclass(frozen=True)
class Filled:
    """One board or sheet with what is cut from it.

    Parameters
    ----------
    item : Item
        Which.
    laid : tuple of Laid
        Without overlap, a kerf apart.
    """

    item: Item
    laid: tuple[Laid, ...]

    @property
    def used_length(self) -> float:
        """From the item's beginning to the end of its last piece [mm]."""
        return max(p.x + p.length for p in self.laid)


@dataclass(frozen=True)
class Layout:
    """Pieces laid out.

    Parameters
    ----------
    pieces : tuple of Piece
        All that were wanted.
    filled : tuple of Filled
        Boards or sheets used.
    missing : tuple of int
        Pieces that found no place: too large for every item, or nothing was left.
    bound : float
        No layout of the placed pieces on these items costs less.
    kerf : float
        [mm]
    """

    pieces: tuple[Piece, ...]
    filled: tuple[Filled, ...]
    missing: tuple[int, ...]
    bound: float
    kerf: float

    @cached_property
    def cost(self) -> float:
        """Of the items used; what ``bound`` is a bound of."""
        return sum(f.item.cost for f in self.filled)

    @property
    def net_area(self) -> float:
        """Of the pieces placed [mm2]."""
        return sum(self.pieces[p.piece].area for f in self.filled for p in f.laid)

    @property
    def bought_area(self) -> float:
        """Of the items used, whole [mm2]."""
        return sum(f.item.area for f in self.filled)

    @property
    def yield_(self) -> float:
        """Net / bought [ratio]; NaN when nothing was bought."""
        return self.net_area / self.bought_area if self.filled else float("nan")

    @property
    def waste(self) -> float:
        """Bought / net - 1 [ratio]."""
        return self.bought_area / self.net_area - 1 if self.filled else float("nan")
