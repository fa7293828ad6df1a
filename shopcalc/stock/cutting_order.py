"""The order of cuts that free the pieces of one board or sheet: crosscuts and rips, each from edge to edge."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from shopcalc.stock.layout import Filled, Laid, Piece

_TOLERANCE = 0.02  # mm


@dataclass(frozen=True)
class Cut:
    """One cut, from edge to edge of what is left.

    Parameters
    ----------
    kind : {"crosscut", "rip"}
        Across or along the item's length.
    at : float
        From the near end or edge of the board [mm].
    x, y, length, width : float
        What is cut, as it lies on the board [mm].
    gives : str
        Label of the piece that is free afterwards; empty for none.
    """

    kind: str
    at: float
    x: float
    y: float
    length: float
    width: float
    gives: str = ""


@dataclass(frozen=True)
class Order:
    """How a board is cut up.

    Parameters
    ----------
    cuts : tuple of Cut
        In order.
    leftovers : tuple of (x, y, length, width)
        Clear wood without a piece [mm].
    edge_to_edge : bool
        Whether cuts from edge to edge free every piece; else it must be nested on the router.
    """

    cuts: tuple[Cut, ...]
    leftovers: tuple[tuple[float, float, float, float], ...]
    edge_to_edge: bool


_Rect = tuple[float, float, float, float]


def cutting_order(filled: Filled, pieces: Sequence[Piece], kerf: float) -> Order:
    """Cuts from edge to edge that free every piece, and what is left over.

    Parameters
    ----------
    filled : Filled
        A board or sheet with its pieces.
    pieces : sequence of Piece
        Their names.
    kerf : float
        Of the saw [mm].

    Returns
    -------
    Order
        Trims of ends, edges and defects come before; where no cut frees the pieces, ``edge_to_edge`` is False and
        the leftovers are the stretch beyond the last piece.
    """
    cuts: list[Cut] = []
    left: list[_Rect] = []
    whole = True
    for room in filled.item.clear:
        x, y, length, width = room
        inside = [
            p for p in filled.laid
            if x - 1 <= p.x and p.x + p.length <= x + length + 1 and y - 1 <= p.y and p.y + p.width <= y + width + 1
        ]  # fmt: skip
        if not inside:
            left.append(room)
            continue
        found = _split(room, inside, kerf, pieces)
        if found is None:
            whole = False
            end = max(p.x + p.length for p in inside) + kerf
            if x + length > end:
                left.append((end, y, x + length - end, width))
        else:
            cuts += found[0]
            left += found[1]
    return Order(tuple(cuts), tuple(left), whole)


def _split(room: _Rect, laid: list[Laid], kerf: float, pieces: Sequence[Piece]) -> tuple[list[Cut], list[_Rect]] | None:
    """Cuts and leftovers of a rectangle; None where no cut goes through."""
    _, _, length, width = room
    first = laid[0]
    if len(laid) == 1 and first.length > length - _TOLERANCE and first.width > width - _TOLERANCE:
        return [], []
    for axis, kind in ((0, "crosscut"), (1, "rip")):
        start, size = room[axis], room[2 + axis]
        ends = sorted((p.x, p.x + p.length) if axis == 0 else (p.y, p.y + p.width) for p in laid)
        low = ends[0][0]
        if low > start + _TOLERANCE:  # waste before the first piece
            at, head, tail = max(low - kerf, start), *_parted(room, axis, max(low - kerf, start), low)
        else:
            gap = _gap(ends, start + size, kerf)
            if gap is None:
                continue
            at, head, tail = gap, *_parted(room, axis, gap, min(gap + kerf, start + size))
        near = [p for p in laid if (p.x, p.y)[axis] < at - _TOLERANCE]
        far = [p for p in laid if (p.x, p.y)[axis] >= at - _TOLERANCE]
        one = _split(head, near, kerf, pieces) if near else ([], _clear(head))
        two = _split(tail, far, kerf, pieces) if far else ([], _clear(tail))
        if one is None or two is None:
            return None
        free = pieces[near[0].piece].label if len(near) == 1 and not one[0] else ""
        return [Cut(kind, at, *room, free), *one[0], *two[0]], [*one[1], *two[1]]
    return None


def _parted(room: _Rect, axis: int, at: float, begin: float) -> tuple[_Rect, _Rect]:
    """What lies before ``at`` and from ``begin`` on."""
    x, y, length, width = room
    if axis == 0:
        return (x, y, at - x, width), (begin, y, x + length - begin, width)
    return (x, y, length, at - y), (x, begin, length, y + width - begin)


def _clear(room: _Rect) -> list[_Rect]:
    return [room] if min(room[2:]) > _TOLERANCE else []


def _gap(ends: list[tuple[float, float]], stop: float, kerf: float) -> float | None:
    """Where the first cut that meets no piece goes: behind the pieces that overlap each other from the beginning."""
    reach = ends[0][1]
    for low, high in ends[1:]:
        if low >= reach + kerf - _TOLERANCE:
            return reach
        reach = max(reach, high)
    return reach if reach < stop - _TOLERANCE else None
