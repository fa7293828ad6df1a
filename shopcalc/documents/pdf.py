"""A document as PDF: black and white, fonts embedded, every page with its number, the job's name and the date."""

from __future__ import annotations

import datetime
import itertools
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from shopcalc.documents.blocks import (
    MARGINS,
    PAPERS,
    SIZE,
    Boxes,
    Break,
    Caution,
    Cell,
    Checklist,
    Document,
    Gap,
    Heading,
    PaperSize,
    Paragraph,
    Table,
    cell_text,
)
from shopcalc.documents.drawing import Drawing, Stroke, Words
from shopcalc.documents.lettering import POINT, Lettering
from shopcalc.documents.text import clean

if TYPE_CHECKING:
    from fpdf import FPDF

_LEADING = 1.32  # from line to line, in sizes of the letters
_FOOT = 9.0  # pt
_PAD = 1.5  # mm between a cell's edge and its text
_TICK, _WRITE = 4.4, 22.0  # mm: a box to tick; the least width to write in


def as_pdf(document: Document, paper: PaperSize = "letter") -> tuple[bytes, tuple[str, ...]]:
    """The document as PDF, and what its fonts could not show.

    Parameters
    ----------
    document : Document
        Any.
    paper : {"letter", "a4"}
        It is printed on.
    """
    from fpdf import FPDF

    pdf = FPDF(unit="mm", format=PAPERS[paper])
    pdf.set_auto_page_break(False)
    pdf.set_title(clean(document.headline))
    pdf.set_lang("en-US")
    pdf.set_creation_date(datetime.datetime.combine(document.date, datetime.time(12), datetime.UTC))
    writer = _Writer(pdf, paper)
    writer.write(document)
    return bytes(pdf.output()), tuple(writer.letters.notes())


class _Writer:
    """Sets blocks one under another; y is the height reached on the page."""

    def __init__(self, pdf: FPDF, paper: PaperSize) -> None:
        self.pdf, self.letters = pdf, Lettering(pdf)
        width, height = PAPERS[paper]
        self.left, self.top, self.bottom = MARGINS[3], MARGINS[0], height - MARGINS[2]
        self.right, self.height = width - MARGINS[1], height
        self.width = self.right - self.left
        self.y = self.top
        pdf.add_page()

    def write(self, document: Document) -> None:
        self.text(document.title, 18.0, bold=True)
        if document.about:
            self.text(document.about)
        for block in document.printed:
            self._block(block)
        pages = self.pdf.page
        for number in range(1, pages + 1):
            self.pdf.page = number
            y = self.height - MARGINS[2] + 8
            [foot, *_] = self.letters.lines(document.foot, self.width - 35, _FOOT)
            self.letters.put(self.left, y, foot, _FOOT)
            self.letters.put(self.right, y, f"page {number} of {pages}", _FOOT, anchor="end")

    def _block(self, b: Any) -> None:
        makers: dict[type, Callable[[Any], None]] = {
            Heading: lambda h: self.heading(h.text), Paragraph: self._paragraph, Table: self.table, Boxes: self.boxes,
            Checklist: self.checklist, Caution: self.caution, Drawing: self.drawing, Break: lambda _: self.new_page(),
        }  # fmt: skip
        makers[type(b)](b)

    # --- places -------------------------------------------------------------------------------------------------------

    def new_page(self) -> None:
        self.pdf.add_page()
        self.y = self.top

    def room(self, height: float) -> None:
        """A new page unless so much is left on this one [mm]."""
        if self.y + height > self.bottom and self.y > self.top:
            self.new_page()

    def line(self, x0: float, y0: float, x1: float, y1: float, width: float = 0.2) -> None:
        self.pdf.set_line_width(width)
        self.pdf.line(x0, y0, x1, y1)

    def frame(self, x: float, y: float, width: float, height: float, line: float = 0.3) -> None:
        self.pdf.set_line_width(line)
        self.pdf.rect(x, y, width, height)

    def set_lines(
        self, lines: Sequence[str], x: float, y: float, size: float = SIZE, *, bold: bool = False, anchor: str = "start"
    ) -> float:
        """Lines from y downwards; gives where they end."""
        step = size * POINT * _LEADING
        for k, line in enumerate(lines):
            self.letters.put(x, y + k * step + 0.98 * size * POINT, line, size, bold=bold, anchor=anchor)
        return y + len(lines) * step

    # --- blocks -------------------------------------------------------------------------------------------------------

    def text(self, text: str, size: float = SIZE, *, bold: bool = False) -> None:
        step = size * POINT * _LEADING
        for line in self.letters.lines(text, self.width, size, bold):
            self.room(step)
            self.y = self.set_lines([line], self.left, self.y, size, bold=bold)
        self.y += 1.2

    def heading(self, text: str, with_next: float = 22.0) -> None:
        self.room(3.0 + 13.0 * POINT * _LEADING + with_next)
        if self.y > self.top:
            self.y += 3.0
        self.text(text, 13.0, bold=True)

    def _paragraph(self, p: Paragraph) -> None:
        self.text(p.text, 16.0 if p.large else SIZE, bold=p.large)

    def drawing(self, d: Drawing) -> None:
        below = self.letters.lines(d.below, self.width, SIZE) if d.below else []
        self.room(d.height + 4 + len(below) * SIZE * POINT * _LEADING)
        shrunk = min(1.0, self.width / d.width)
        x0, y0 = self.left + (self.width - shrunk * d.width) / 2, self.y + 2
        for s in d.shapes:
            if isinstance(s, Words):
                [line, *_] = self.letters.lines(s.text, 1e6, SIZE, s.bold)
                x, y = x0 + shrunk * s.at[0], y0 + shrunk * s.at[1]
                self.letters.put(x, y, line, SIZE * shrunk, bold=s.bold, anchor=s.anchor)
            else:
                self._stroke(s, x0, y0, shrunk)
        self.y = y0 + shrunk * d.height + 2
        self.y = self.set_lines(below, self.left, self.y) + (1.2 if below else 0.0)

    def _stroke(self, s: Stroke, x0: float, y0: float, shrunk: float) -> None:
        points = [(x0 + shrunk * x, y0 + shrunk * y) for x, y in s.points]
        self.pdf.set_line_width(s.width or 0.2)
        if s.dashed:
            self.pdf.set_dash_pattern(2.2, 1.4)
        if s.fill is not None:
            self.pdf.set_fill_color(round(255 * s.fill))
        if s.closed:
            style = ("D" if s.width else "") + ("F" if s.fill is not None else "")
            self.pdf.polygon(points, style=style or "D")
        else:
            for (xa, ya), (xb, yb) in itertools.pairwise(points):
                self.pdf.line(xa, ya, xb, yb)
        self.pdf.set_dash_pattern()

    def boxes(self, b: Boxes) -> None:
        gap = 2.5
        wide = (self.width - gap * (b.columns - 1)) / b.columns
        for row in _rows(b):
            told = [self.letters.lines(label, wide - 2.4, SIZE) for label in row]
            high = max(b.height, max(len(t) for t in told) * SIZE * POINT * _LEADING + 1.0)
            self.room(high + gap)
            for k, lines in enumerate(told):
                x = self.left + k * (wide + gap)
                self.frame(x, self.y, wide, high)
                self.set_lines(lines, x + 1.2, self.y + 0.5)
            self.y += high + gap

    def checklist(self, c: Checklist) -> None:
        self.heading(c.title)
        for item in c.items:
            lines = self.letters.lines(item, self.width - 7.0, SIZE)
            self.room(len(lines) * SIZE * POINT * _LEADING)
            self.frame(self.left, self.y + 0.4, 4.0, 4.0)
            self.y = self.set_lines(lines, self.left + 7.0, self.y) + 0.3
        self.y += 1.2

    def caution(self, c: Caution) -> None:
        one, inner = len(c.items) == 1, self.width - 8.0
        if one:  # its title leads the sentence; bold letters are wider
            more = self.letters.width(c.title, SIZE, True) - self.letters.width(c.title, SIZE, False)
            told = [self.letters.lines(f"{c.title} {c.items[0]}", inner - more - 0.5, SIZE, c.grave)]
        else:
            told = [self.letters.lines(c.title, inner, SIZE, True)]
            told += [self.letters.lines(t, inner - 4.0, SIZE, c.grave) for t in c.items]
        high = sum(len(t) for t in told) * SIZE * POINT * _LEADING + 3.0
        self.room(high + 2.0)
        if high > self.bottom - self.top:  # nobody writes so much; then the page's end may tear it
            for t in (c.title, *c.items):
                self.text(t)
            return
        y, bold = self.y + 1.0, c.grave
        self.frame(self.left, y, self.width, high, 1.3 if c.grave else 0.5)
        at = y + 1.5
        for k, lines in enumerate(told):
            if k:
                self.set_lines(["•"], self.left + 4.5, at)
            elif one and lines[0].startswith(clean(c.title)):
                at = self._lead(clean(c.title), lines[0], at)
                lines = lines[1:]
            at = self.set_lines(lines, self.left + (8.0 if k else 4.0), at, bold=bold or not (k or one))
        self.y = y + high + 1.5

    def _lead(self, title: str, line: str, y: float) -> float:
        """The first line of a caution, its title bold; gives where it ends."""
        x = self.left + 4.0
        self.set_lines([line[len(title) :].strip()], x + self.letters.width(f"{title} ", SIZE, True), y)
        return self.set_lines([title], x, y, bold=True)

    # --- tables -------------------------------------------------------------------------------------------------------

    def table(self, t: Table) -> None:
        if t.title:
            self.heading(t.title)
        widths = self._widths(t)
        self._head(t, widths)
        ruled = False
        for row in t.rows:
            if row:
                for piece in self._cut_to_page(row, t, widths):
                    self._row(piece, row, t, widths, ruled)
                    ruled = False
            else:
                ruled = True
        self.y += 1.2
        for sentence in t.below:
            self.text(sentence)

    def _widths(self, t: Table) -> list[float]:
        """Of the columns: as wide as they are written where there is room, else each gives of what it can spare."""
        least, full = [0.0] * t.columns, [0.0] * t.columns
        for row in (t.head, *t.rows):
            for k, cell in enumerate(row):
                bold, whole = row is t.head or self._bold(t, k), k in t.numbers and row is not t.head
                small, wide = self._natural(cell, bold=bold, whole=whole)
                least[k], full[k] = max(least[k], small), max(full[k], wide)
        spare = self.width - sum(full)
        if spare >= 0:
            grow = [k for k in range(t.columns) if k not in t.numbers] if t.head else [t.columns - 1]
            grow = grow or list(range(t.columns))
            share = sum(full[k] for k in grow)
            return [w + (spare * w / share if k in grow else 0.0) for k, w in enumerate(full)]
        least = [min(v, w) for v, w in zip(least, full, strict=True)]
        if sum(least) > self.width:
            return [v * self.width / sum(least) for v in least]
        give = sum(w - v for v, w in zip(least, full, strict=True))
        share = (self.width - sum(least)) / give
        return [v + share * (w - v) for v, w in zip(least, full, strict=True)]

    def _natural(self, cell: Cell, *, bold: bool, whole: bool) -> tuple[float, float]:
        """Narrowest and natural width of a cell [mm]."""
        if isinstance(cell, Gap):
            wide = _TICK if cell is Gap.TICK else _WRITE
            return wide + 2 * _PAD, wide + 2 * _PAD
        text = cell_text(cell)
        words = [text] if whole else text.split(" ")
        longest = max((self.letters.width(w, SIZE, bold) for w in words), default=0.0)
        return min(longest, self.width / 3) + 2.1 * _PAD, self.letters.width(text, SIZE, bold) + 2.1 * _PAD

    @staticmethod
    def _bold(t: Table, column: int) -> bool:
        return not t.head and column == 0

    def _head(self, t: Table, widths: list[float]) -> None:
        if not t.head:
            return
        told = [self.letters.lines(h, w - 2 * _PAD, SIZE, True) for h, w in zip(t.head, widths, strict=True)]
        deep = max(len(lines) for lines in told) * SIZE * POINT * _LEADING
        self.room(deep + 12.0)
        x = self.left
        for k, (lines, wide) in enumerate(zip(told, widths, strict=True)):
            y = self.y + deep - len(lines) * SIZE * POINT * _LEADING
            at, anchor = (x + wide - _PAD, "end") if k in t.numbers else (x + _PAD, "start")
            self.set_lines(lines, at, y, bold=True, anchor=anchor)
            x += wide
        self.y += deep + 0.8
        self.line(self.left, self.y, self.right, self.y, 0.5)
        self.y += 0.6

    def _cut_to_page(self, row: Sequence[Cell], t: Table, widths: list[float]) -> list[list[list[str]]]:
        """The lines of a row; in pieces only where no page is long enough for it."""
        told = [
            self.letters.lines(_kept(cell_text(c), k in t.numbers), w - 2 * _PAD, SIZE, self._bold(t, k))
            for k, (c, w) in enumerate(zip(row, widths, strict=False))
        ]
        most = int((self.bottom - self.top) / (SIZE * POINT * _LEADING)) - 6
        count = max(len(lines) for lines in told)
        return [[lines[i : i + most] for lines in told] for i in range(0, count, most)]

    def _row(self, told: list[list[str]], row: Sequence[Cell], t: Table, widths: list[float], ruled: bool) -> None:
        high = max(max(len(lines) for lines in told) * SIZE * POINT * _LEADING, 7.0 if Gap.WRITE in row else 0.0) + 0.9
        if self.y + high > self.bottom:
            self.new_page()
            self._head(t, widths)
        if ruled:
            self.line(self.left, self.y, self.right, self.y, 0.5)
        x = self.left
        for k, (lines, cell, wide) in enumerate(zip(told, row, widths, strict=False)):
            if cell is Gap.TICK:
                self.frame(x + _PAD, self.y + 0.8, 4.2, 4.2)
            elif cell is Gap.WRITE:
                self.frame(x + 0.4, self.y + 0.4, wide - 0.8, high - 0.8)
            else:
                at, anchor = (x + wide - _PAD, "end") if k in t.numbers else (x + _PAD, "start")
                self.set_lines(lines, at, self.y + 0.5, bold=self._bold(t, k), anchor=anchor)
            x += wide
        self.y += high
        self.line(self.left, self.y, self.right, self.y, 0.15)


def _kept(text: str, whole: bool) -> str:
    """A number stays with its unit."""
    return text.replace(" ", "\u00a0") if whole else text


def _rows(b: Boxes) -> list[tuple[str, ...]]:
    return [b.labels[i : i + b.columns] for i in range(0, len(b.labels), b.columns)]
