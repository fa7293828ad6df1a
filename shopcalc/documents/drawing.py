"""Line drawings in black and white, kept as strokes and words so that a page and a PDF show the same."""

from __future__ import annotations

import html
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from shopcalc.documents.text import clean

Point = tuple[float, float]
#: Height of words that are read at arm's length: 11 pt [mm].
WORDS = 11 * 25.4 / 72


@dataclass(frozen=True)
class Stroke:
    """A line through points.

    Parameters
    ----------
    points : tuple of (x, y)
        On paper, x to the right, y down [mm].
    width : float
        0 draws no outline [mm].
    closed : bool
        Back to its start.
    dashed : bool
        For what is not wood: a path, a hidden edge.
    fill : float or None
        Of a closed one: 0 black to 1 white [-]; None for none.
    """

    points: tuple[Point, ...]
    width: float = 0.4
    closed: bool = False
    dashed: bool = False
    fill: float | None = None


@dataclass(frozen=True)
class Words:
    """A word or two.

    Parameters
    ----------
    at : (x, y)
        Foot of the letters [mm].
    text : str
        Of one line.
    anchor : {"start", "middle", "end"}
        Which of its places stands there.
    bold : bool
        Whether it is printed bold.
    """

    at: Point
    text: str
    anchor: Literal["start", "middle", "end"] = "start"
    bold: bool = False


@dataclass(frozen=True)
class Drawing:
    """A drawing of the size it is printed in.

    Parameters
    ----------
    label : str
        What it shows, for who cannot see it.
    width, height : float
        On paper [mm].
    shapes : tuple of Stroke or Words
        From back to front.
    below : str
        Sentence under it.
    """

    label: str
    width: float
    height: float
    shapes: tuple[Stroke | Words, ...]
    below: str = ""


def box(x: float, y: float, across: float, down: float, **look: float | bool | None) -> Stroke:
    """A rectangle.

    Parameters
    ----------
    x, y : float
        Upper left corner [mm].
    across, down : float
        Its size [mm].
    look : float, bool or None
        Further fields of ``Stroke``.
    """
    corners = ((x, y), (x + across, y), (x + across, y + down), (x, y + down))
    return Stroke(corners, closed=True, **look)  # type: ignore[arg-type]


def arrow(start: Point, end: Point, width: float = 0.5) -> Iterator[Stroke]:
    """An arrow along x or y.

    Parameters
    ----------
    start, end : (x, y)
        [mm]
    width : float
        [mm]
    """
    yield Stroke((start, end), width)
    (x0, y0), (x1, y1) = start, end
    long = max(abs(x1 - x0), abs(y1 - y0)) or 1.0
    u, v = 2.4 * (x1 - x0) / long, 2.4 * (y1 - y0) / long
    wings = ((x1 - u - v / 3, y1 - v - u / 3), (x1, y1), (x1 - u + v / 3, y1 - v + u / 3))
    yield Stroke(wings, 0.0, closed=True, fill=0.0)


def as_svg(drawing: Drawing) -> str:
    """The drawing for a page.

    Parameters
    ----------
    drawing : Drawing
        Any.
    """
    size = f"{drawing.width:.1f} {drawing.height:.1f}"
    head = (
        f'<svg viewBox="0 0 {size}" width="{drawing.width:.1f}mm" height="{drawing.height:.1f}mm" role="img" '
        f'aria-label="{html.escape(clean(drawing.label))}">'
    )
    return "\n".join([head, *(_shape_svg(s) for s in drawing.shapes), "</svg>"])


def _shape_svg(s: Stroke | Words) -> str:
    if isinstance(s, Words):
        weight = ' font-weight="700"' if s.bold else ""
        place = f'x="{s.at[0]:.2f}" y="{s.at[1]:.2f}" font-size="{WORDS:.2f}" text-anchor="{s.anchor}"'
        return f"<text {place}{weight}>{html.escape(clean(s.text))}</text>"
    path = "M" + " L".join(f"{x:.2f} {y:.2f}" for x, y in s.points) + (" Z" if s.closed else "")
    fill = "none" if s.fill is None else "#" + f"{round(255 * s.fill):02x}" * 3
    line = f'stroke="#000" stroke-width="{s.width:g}"' if s.width else 'stroke="none"'
    dash = ' stroke-dasharray="2.2 1.4"' if s.dashed else ""
    return f'<path d="{path}" fill="{fill}" {line}{dash}/>'
