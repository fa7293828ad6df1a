"""Front views of a job's frames for the customer: outlines and outer sizes, none of the joinery."""

from __future__ import annotations

from collections.abc import Sequence

from shopcalc.documents.drawing import WORDS, Drawing, Stroke, Words, arrow
from shopcalc.frames import Layout
from shopcalc.units import System, write

_WIDE, _HIGH = 180.0, 105.0  # at most, sizes included [mm]
_SIZES = 13.0  # room for the sizes at the left [mm]
_BELOW = 18.5  # for the sizes and the title below [mm]
_LETTER = 0.55 * WORDS  # about, of one [mm]
_APART = 10.0  # between two frames [mm]


def front_views(layouts: Sequence[Layout], system: System = "inch", pieces: int = 1) -> Drawing | None:
    """All frames of a job side by side at one scale, as the customer will see them.

    Parameters
    ----------
    layouts : sequence of Layout
        Of the job's frames; one of each kind.
    system : {"inch", "metric"}
        Sizes are written in.
    pieces : int
        Of the whole job, each with all these frames [-].

    Returns
    -------
    Drawing or None
        None without frames.
    """
    if not layouts:
        return None
    wide = sum(x.frame.width for x in layouts)
    room = _WIDE - len(layouts) * _SIZES - (len(layouts) - 1) * _APART
    scale = min(room / wide, (_HIGH - _BELOW - 6) / max(x.frame.height for x in layouts))
    foot = 6 + scale * max(x.frame.height for x in layouts)
    shapes: list[Stroke | Words] = []
    left = _SIZES
    for laid in layouts:
        shapes += _front(laid, left, foot, scale, system)
        middle, room = left + scale * laid.frame.width / 2, scale * laid.frame.width + _SIZES + _APART
        shapes.append(Words((middle, foot + 14.5), _short(counted(laid, pieces), int(room / _LETTER)), "middle"))
        left += scale * laid.frame.width + _SIZES + _APART
    names = ", ".join(_named(x, system, pieces) for x in layouts)
    return Drawing(f"front view: {names}", _WIDE, foot + _BELOW, tuple(shapes), "Not to scale for measuring.")


def counted(laid: Layout, pieces: int = 1) -> str:
    """How many of a frame the whole job has, and what it is called.

    Parameters
    ----------
    laid : Layout
        Of the frame.
    pieces : int
        Of the whole job [-].
    """
    return f"{laid.frame.quantity * pieces} × {laid.frame.title or laid.frame.id}"


def outer_size(laid: Layout, system: System) -> str:
    """Width and height of a frame.

    Parameters
    ----------
    laid : Layout
        Of the frame.
    system : {"inch", "metric"}
        It is written in.
    """
    return f"{write(laid.frame.width, 'length', system)} × {write(laid.frame.height, 'length', system)}"


def _short(text: str, letters: int) -> str:
    return text if len(text) <= letters else text[: max(letters - 1, 4)] + "…"


def _named(laid: Layout, system: System, pieces: int) -> str:
    f = laid.frame
    return f"{counted(laid, pieces)}, {write(f.width, 'length', system)} wide, {write(f.height, 'length', system)} high"


def _front(laid: Layout, left: float, foot: float, scale: float, system: System) -> list[Stroke | Words]:
    def place(x: float, y: float) -> tuple[float, float]:
        return left + scale * x, foot - scale * y

    out: list[Stroke | Words] = []
    behind = sorted(laid.members, key=lambda m: m.role != "panel")  # what stands in grooves is drawn first
    for m in behind:
        ring = tuple(place(float(x), float(y)) for x, y in m.outline)
        out.append(Stroke(ring, 0.35, closed=True, fill=0.93 if m.role == "panel" else 1.0))
    (x0, y0), (x1, y1) = place(0, 0), place(laid.frame.width, laid.frame.height)
    below, beside = y0 + 4, x0 - 3
    out += [*arrow(((x0 + x1) / 2, below), (x0, below), 0.2), *arrow(((x0 + x1) / 2, below), (x1, below), 0.2)]
    out += [*arrow((beside, (y0 + y1) / 2), (beside, y0), 0.2), *arrow((beside, (y0 + y1) / 2), (beside, y1), 0.2)]
    out.append(Words(((x0 + x1) / 2, below + 5), outer_size(laid, system), "middle"))
    return out
