"""A black-and-white sheet for dimensioned drawings, in millimetres of paper, written as SVG."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from html import escape

from shopcalc.units import System, write

LETTER = 2.7  # mm, height of ordinary lettering
_ADVANCE = 0.56  # of the height, mean width of a sign
_PITCH = 3.3  # mm between lines of lettering
_THICK, _THIN = 0.35, 0.15  # mm, lines seen and lines of dimensions
Point = tuple[float, float]


class View:
    """One view on a sheet: its own scale and place, y upwards.

    Parameters
    ----------
    sheet : Sheet
        It is drawn on.
    left, bottom : float
        Where its origin lies on the paper, y downwards there [mm].
    scale : float
        Paper to wood [-].
    """

    def __init__(self, sheet: Sheet, left: float, bottom: float, scale: float) -> None:
        self.sheet, self.left, self.bottom, self.scale = sheet, left, bottom, scale

    def at(self, x: float, y: float) -> Point:
        """A point of the wood on the paper [mm].

        Parameters
        ----------
        x, y : float
            [mm].
        """
        return self.left + self.scale * x, self.bottom - self.scale * y

    def ring(self, points: Iterable[Sequence[float]], style: str = "seen", fill: str = "none") -> None:
        """A closed outline.

        Parameters
        ----------
        points : iterable of (2,) float
            [mm].
        style : str
            Class of its line.
        fill : str
            Colour or pattern inside.
        """
        path = " ".join(f"{a:.2f},{b:.2f}" for a, b in (self.at(float(x), float(y)) for x, y in points))
        self.sheet.add(f'<polygon class="{style}" fill="{fill}" points="{path}"/>')

    def line(self, a: Point, b: Point, style: str = "seen") -> None:
        """A straight line.

        Parameters
        ----------
        a, b : (2,) float
            Its ends [mm].
        style : str
            Class of the line.
        """
        (x1, y1), (x2, y2) = self.at(*a), self.at(*b)
        self.sheet.line((x1, y1), (x2, y2), style)

    def across(self, stops: Sequence[float], y: float, away: float) -> float:
        """A chain of level dimensions.

        Parameters
        ----------
        stops : sequence of float
            Where it is divided, along x [mm].
        y : float
            From where its help lines begin [mm].
        away : float
            On the paper, downwards [mm].

        Returns
        -------
        float
            How far its lettering reaches below ``y`` on the paper [mm].
        """
        s = self.sheet
        row = self.at(0, y)[1] + away
        ends = [self.at(x, 0)[0] for x in stops]
        for x in ends:
            s.line((x, row - away + math.copysign(1.0, away)), (x, row + math.copysign(1.2, away)), "size")
        s.line((ends[0], row), (ends[-1], row), "size")
        for x in ends:
            s.tick((x, row))
        last, deep = -math.inf, away
        for (a, b), (p, q) in zip(itertools.pairwise(stops), itertools.pairwise(ends), strict=True):
            shown, middle = s.size(abs(b - a)), (p + q) / 2
            if s.wide(shown) < abs(q - p) - 0.8:
                s.text((middle, row - 0.8), shown, "middle")
            else:
                last = max(middle, last + _PITCH)
                s.text((last + 0.9, row + 1.6), shown, "end", turn=-90)
                deep = max(deep, away + 1.6 + s.wide(shown))
        return deep

    def upright(self, stops: Sequence[float], x: float, away: float) -> None:
        """A chain of upright dimensions.

        Parameters
        ----------
        stops : sequence of float
            Where it is divided, along y [mm].
        x : float
            From where its help lines begin [mm].
        away : float
            On the paper, to the right; negative to the left [mm].
        """
        s = self.sheet
        column = self.at(x, 0)[0] + away
        ends = [self.at(0, y)[1] for y in stops]
        for y in ends:
            s.line((column - away + math.copysign(1.0, away), y), (column + math.copysign(1.2, away), y), "size")
        s.line((column, ends[0]), (column, ends[-1]), "size")
        for y in ends:
            s.tick((column, y))
        last = math.inf
        for (a, b), (p, q) in zip(itertools.pairwise(stops), itertools.pairwise(ends), strict=True):
            shown, middle = s.size(abs(b - a)), (p + q) / 2
            if s.wide(shown) < abs(q - p) - 0.8:
                s.text((column - 0.8, middle), shown, "middle", turn=-90)
            else:  # beside the line, none over another
                last = min(middle, last - _PITCH)
                s.text((column + math.copysign(1.4, away), last + 0.9), shown, "start" if away > 0 else "end")


class Sheet:
    """A page: A4 in metric shops, Letter in inch ones.

    Parameters
    ----------
    system : {"inch", "metric"}
        Of its page and dimensions.
    title, alt : str
        What it is, and what it shows for those who do not see it.
    """

    def __init__(self, system: System, title: str, alt: str) -> None:
        self.system, self.title, self.alt = system, title, alt
        self.width, self.height = (215.9, 279.4) if system == "inch" else (210.0, 297.0)
        self._items: list[str] = []

    def add(self, item: str) -> None:
        """One element of SVG, its texts escaped already.

        Parameters
        ----------
        item : str
            The element.
        """
        self._items.append(item)

    def size(self, value: float) -> str:
        """A length without its unit, which the page says once.

        Parameters
        ----------
        value : float
            [mm].
        """
        return write(round(value, 6), "length", self.system).rsplit(" ", 1)[0]

    def wide(self, text: str, height: float = LETTER) -> float:
        """About how wide a text is on the paper [mm].

        Parameters
        ----------
        text : str
            Which.
        height : float
            Of its letters [mm].
        """
        return _ADVANCE * height * len(text)

    def line(self, a: Point, b: Point, style: str = "seen") -> None:
        """A straight line on the paper.

        Parameters
        ----------
        a, b : (2,) float
            Its ends [mm].
        style : str
            Class of the line.
        """
        self.add(f'<line class="{style}" x1="{a[0]:.2f}" y1="{a[1]:.2f}" x2="{b[0]:.2f}" y2="{b[1]:.2f}"/>')

    def tick(self, at: Point) -> None:
        """The slanting end of a dimension.

        Parameters
        ----------
        at : (2,) float
            On the paper [mm].
        """
        x, y = at
        self.line((x - 0.8, y + 0.8), (x + 0.8, y - 0.8), "tick")

    def text(self, at: Point, text: str, anchor: str = "start", *, turn: float = 0.0, height: float = LETTER) -> None:
        """A line of text.

        Parameters
        ----------
        at : (2,) float
            On the paper [mm].
        text : str
            Any; it is escaped here.
        anchor : {"start", "middle", "end"}
            Which of its points lies there.
        turn : float
            Clockwise [deg].
        height : float
            Of its letters [mm].
        """
        x, y = at
        turned = f' transform="rotate({turn:g} {x:.2f} {y:.2f})"' if turn else ""
        where = f'x="{x:.2f}" y="{y:.2f}" text-anchor="{anchor}" font-size="{height / 0.72:.2f}"'
        self.add(f"<text {where}{turned}>{escape(text)}</text>")

    def leader(self, to: Point, at: Point, text: str, anchor: str = "start") -> None:
        """A text with a line to what it is about.

        Parameters
        ----------
        to, at : (2,) float
            What it is about, and where the text begins, on the paper [mm].
        text : str
            Any.
        anchor : {"start", "end"}
            Which of its ends lies there.
        """
        self.line(to, at, "size")
        self.add(f'<circle cx="{to[0]:.2f}" cy="{to[1]:.2f}" r="0.4" fill="black"/>')
        self.text((at[0] + (0.8 if anchor == "start" else -0.8), at[1] + 0.9), text, anchor)

    def svg(self) -> str:
        """The page as SVG text."""
        w, h = self.width, self.height
        return "\n".join((
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{w:g}mm" height="{h:g}mm" viewBox="0 0 {w:g} {h:g}" '
            'role="img" aria-labelledby="drawing-title drawing-alt">',
            f'<title id="drawing-title">{escape(self.title)}</title>',
            f'<desc id="drawing-alt">{escape(self.alt)}</desc>',
            "<defs>",
            *(_hatch(name, turn, pitch) for name, turn, pitch in (("cut", 45, 1.6), ("panel-cut", -45, 1.1))),
            "</defs>",
            "<style>text{font-family:Helvetica,Arial,sans-serif;fill:black;stroke:white;stroke-width:.7;"
            "paint-order:stroke;stroke-linejoin:round}"
            f".seen{{stroke:black;stroke-width:{_THICK}}}.light{{stroke:black;stroke-width:{_THIN}}}"
            f".hidden{{stroke:black;stroke-width:.2;stroke-dasharray:1.6 .9;fill:none}}"
            f".dotted{{stroke:black;stroke-width:.3;stroke-dasharray:.5 .7;fill:none}}"
            f".size{{stroke:black;stroke-width:{_THIN};fill:none}}.tick{{stroke:black;stroke-width:.3}}"
            ".mark{stroke:black;stroke-width:.4;stroke-dasharray:5 1.2 1 1.2}</style>",
            f'<rect width="{w:g}" height="{h:g}" fill="white"/>',
            *self._items,
            "</svg>",
        )) + "\n"  # fmt: skip


def _hatch(name: str, turn: int, pitch: float) -> str:
    return (
        f'<pattern id="{name}" width="{pitch}" height="{pitch}" patternUnits="userSpaceOnUse" '
        f'patternTransform="rotate({turn})"><rect width="{pitch}" height="{pitch}" fill="white"/>'
        f'<line x1="0" y1="0" x2="0" y2="{pitch}" stroke="black" stroke-width=".25"/></pattern>'
    )
