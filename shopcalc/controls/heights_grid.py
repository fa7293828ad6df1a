"""A grid of boxes for readings of a board's faces: typed in either system, pasted as a table, undone; faults by box."""

from __future__ import annotations

import math
import re
import statistics
from collections.abc import Callable, Sequence
from typing import NamedTuple

import ipywidgets as widgets

from shopcalc.controls.parts import heading, note
from shopcalc.errors import InputError
from shopcalc.units import System, read, write

#: Ways to take the second reading at each place, as shown, and the name ``holding.faces`` has for it.
WAYS = (("gap below the board, by feelers", "below"), ("thickness, by callipers", "thickness"))
MOST_ALONG, MOST_ACROSS = 6, 5
_LETTERS = "abcdef"
_UNIT = {"metric": ("mm", 1.0, 2), "inch": ("in", 25.4, 4)}
_MOST_UNDONE = 200
_ASTRAY, _THICKEST = 50.0, 300.0  # mm; no board to be surfaced bends so far, or is so thick: common practice, no source


class Snapshot(NamedTuple):
    """All that is in the boxes: how many along and across, the second way, and the texts of both grids by row."""

    along: int
    across: int
    way: str
    first: tuple[tuple[str, ...], ...]
    second: tuple[tuple[str, ...], ...]


def read_height(text: str, system: System) -> float:
    """Read one height or gap.

    Parameters
    ----------
    text : str
        With its unit, or a number in the unit of the form.
    system : {"metric", "inch"}
        Of the form.

    Returns
    -------
    float
        [mm].

    Raises
    ------
    InputError
        When it is empty or no length.

    Example
    -------
    >>> read_height("1 1/4", "inch"), read_height("31.75 mm", "inch"), read_height("0,5", "metric")
    (31.75, 31.75, 0.5)
    """
    plain = text.strip().replace("\u2212", "-")
    if re.fullmatch(r"-?\d+,\d+", plain):
        plain = plain.replace(",", ".")
    if plain and not re.search(r"[A-Za-z\"']", plain):
        plain = f"{plain} {_UNIT[system][0]}"
    return read(plain, "length")


def write_height(value: float, system: System) -> str:
    """Write a height as a box shows it: without its unit, to 0.01 mm or 0.0001 in.

    Parameters
    ----------
    value : float
        [mm].
    system : {"metric", "inch"}
        Of the form.
    """
    _, per, digits = _UNIT[system]
    text = f"{value / per:.{digits}f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def rows_of(text: str) -> tuple[tuple[str, ...], ...]:
    """Rows of a pasted table: cells apart by tabs, semicolons, or else by spaces.

    Parameters
    ----------
    text : str
        As a spreadsheet gives it.

    Raises
    ------
    InputError
        When it is no even table, or larger than the grid can be.
    """
    from shopcalc.cutting.engagement import refuse

    lines = [line.rstrip("\r") for line in text.split("\n") if line.strip()]
    mark = next((m for m in ("\t", ";") if any(m in line for line in lines)), None)
    rows = tuple(tuple(c.strip() for c in (line.split(mark) if mark else line.split())) for line in lines)
    if len(rows) < 2 or len(rows[0]) < 2:
        refuse("what was pasted is no table of two rows and columns or more", "copy the cells of a spreadsheet")
    for number, row in enumerate(rows, 1):
        if len(row) != len(rows[0]):
            refuse(f"row {number} has {len(row)} cells, row 1 has {len(rows[0])}", "fill each row to the same length")
    if len(rows) > MOST_ACROSS or len(rows[0]) > MOST_ALONG:
        refuse(f"{len(rows)} rows of {len(rows[0])} are more than {MOST_ACROSS} of {MOST_ALONG}",
               "leave points out, or read a CSV file with holding.read_faces")  # fmt: skip
    return rows


class HeightsGrid:
    """Boxes for two readings at each point of a board.

    Parameters
    ----------
    first, second : sequence of sequence of float
        Readings by row across the board: face A over the table, and the second [mm].
    way : {"below", "thickness"}
        What the second is.
    system : {"metric", "inch"}
        Units at first.
    changed : callable
        Called without arguments after each change.
    """

    def __init__(
        self, first: Sequence[Sequence[float]], second: Sequence[Sequence[float]], way: str, system: System,
        changed: Callable[[], object],
    ) -> None:  # fmt: skip
        self._system, self._changed, self._quiet = system, changed, True
        self._exact: dict[str, float] = {}  # what a text of this form stands for, so that changing units never drifts
        self._example = tuple(tuple(tuple(map(float, row)) for row in g) for g in (first, second)), way
        self._past: list[Snapshot] = []
        self._now: Snapshot | None = None
        self._build()
        self._set(self._of_example())
        self._quiet = False

    def _build(self) -> None:
        style = {"description_width": "9em"}
        self.along = widgets.Dropdown(options=range(2, MOST_ALONG + 1), value=2, description="points along it",
                                      style=style, layout=widgets.Layout(width="16em"))  # fmt: skip
        self.across = widgets.Dropdown(options=range(2, MOST_ACROSS + 1), value=2, description="across it",
                                       style=style, layout=widgets.Layout(width="16em"))  # fmt: skip
        self.way = widgets.Dropdown(options=WAYS, description="second reading", style=style,
                                    layout=widgets.Layout(width="28em"))  # fmt: skip
        for w in (self.along, self.across, self.way):
            w.observe(lambda _: self._typed(), names="value")
        small = widgets.Layout(width="8.2em")
        self.boxes = [
            [[self._box(f, j, i, small) for i in range(MOST_ALONG)] for j in range(MOST_ACROSS)] for f in range(2)
        ]
        self._titles = widgets.HTML(), widgets.HTML()
        wide = widgets.Layout(overflow="auto")
        self._grids = widgets.VBox(layout=wide), widgets.VBox(layout=wide)
        self.paste = widgets.Textarea(
            placeholder="paste cells here: one row for each row of boxes", description="a table",
            style={"description_width": "5em"}, layout=widgets.Layout(width="30em", height="6em"),
        )  # fmt: skip
        self.fill_first, self.fill_second, self.undo, self.example, self.clear = buttons = [
            widgets.Button(description=text, layout=widgets.Layout(width="auto"))
            for text in ("fill heights with it", "fill second readings with it", "undo", "the example again",
                         "empty all boxes")
        ]  # fmt: skip
        calls = (lambda: self.fill(0), lambda: self.fill(1), self.take_back, self.show_example, self.empty)
        for button, call in zip(buttons, calls, strict=True):
            button.on_click(lambda _, call=call: call())
        self.said = widgets.HTML()
        row = widgets.Layout(flex_flow="row wrap")
        self.view = widgets.VBox([
            widgets.HBox([self.along, self.across, self.way], layout=row), self._titles[0], self._grids[0],
            self._titles[1], self._grids[1], widgets.HBox([self.undo, self.example, self.clear], layout=row),
            widgets.HBox([self.paste, widgets.VBox([self.fill_first, self.fill_second])], layout=row), self.said,
        ])  # fmt: skip

    def _box(self, grid: int, row: int, column: int, layout: widgets.Layout) -> widgets.Text:
        box = widgets.Text(description=box_name(grid, row, column), style={"description_width": "2.6em"},
                           layout=layout, continuous_update=False)  # fmt: skip
        box.observe(lambda _: self._typed(), names="value")
        return box

    # --- what is in the boxes -----------------------------------------------------------------------------------------

    @property
    def system(self) -> System:
        """Units of what is typed without one."""
        return self._system

    @system.setter
    def system(self, system: System) -> None:
        old, self._system = self._system, system
        self._quiet = True
        try:
            for box in (b for grid in self.boxes for row in grid for b in row):
                box.value = self._anew(box.value, old)
        finally:
            self._quiet = False
        self._now = self._shown()
        self._past = [s._replace(first=self._all_anew(s.first, old), second=self._all_anew(s.second, old))
                      for s in self._past]  # fmt: skip
        self._arrange()

    def _all_anew(self, texts: tuple[tuple[str, ...], ...], old: System) -> tuple[tuple[str, ...], ...]:
        return tuple(tuple(self._anew(t, old) for t in row) for row in texts)

    def _anew(self, text: str, old: System) -> str:
        """A text of the other system in this one; what cannot be read, or brings its own unit, stays."""
        if not text.strip() or re.search(r"[A-Za-z\"']", text):
            return text
        try:
            value = self._exact.get(f"{old} {text}", read_height(text, old))
        except InputError:
            return text
        return self._written(value)

    def _written(self, value: float) -> str:
        text = write_height(value, self._system)
        self._exact[f"{self._system} {text}"] = value
        return text

    def _shown(self) -> Snapshot:
        n, m = self.along.value, self.across.value
        first, second = (tuple(tuple(b.value for b in row[:n]) for row in grid[:m]) for grid in self.boxes)
        return Snapshot(n, m, self.way.value, first, second)

    def _set(self, shown: Snapshot) -> None:
        self._quiet = True
        try:
            self.along.value, self.across.value, self.way.value = shown[:3]
            for grid, texts in zip(self.boxes, (shown.first, shown.second), strict=True):
                for row, line in zip(grid, texts, strict=False):
                    for box, text in zip(row, line, strict=False):
                        box.value = text
        finally:
            self._quiet = False
        self._now = self._shown()
        self._arrange()

    def _arrange(self) -> None:
        n, m, unit = self.along.value, self.across.value, _UNIT[self._system][0]
        for grid, boxes in zip(self._grids, self.boxes, strict=True):
            want = [widgets.HBox(row[:n]) for row in boxes[:m]]
            if [r.children for r in grid.children] != [r.children for r in want]:
                grid.children = tuple(want)
        second = {"below": "Gap between table and board", "thickness": "Thickness"}[self.way.value]
        self._titles[0].value = heading(f"Face A over the table, {unit}, the board lying on face B")
        self._titles[1].value = heading(f"{second}, {unit}, at the same points")
        self.undo.disabled = not self._past

    def _typed(self) -> None:
        if not self._quiet:
            self._change(self._shown())

    def _change(self, shown: Snapshot) -> None:
        if self._now is not None and shown != self._now:
            self._past = [*self._past, self._now][-_MOST_UNDONE:]
        self._set(shown)
        self.said.value = ""
        self._changed()

    def _of_example(self) -> Snapshot:
        (first, second), way = self._example
        texts = [tuple(tuple(self._written(v) for v in row) for row in grid) for grid in (first, second)]
        return Snapshot(len(first[0]), len(first), way, texts[0], texts[1])

    # --- what a hand does ---------------------------------------------------------------------------------------------

    def take_back(self) -> None:
        """Undo the last change."""
        if self._past:
            self._set(self._past.pop())
            self._arrange()
            self.said.value = ""
            self._changed()

    def show_example(self) -> None:
        """Fill in the invented board again."""
        self._change(self._of_example())

    def empty(self) -> None:
        """Take every reading out."""
        s = self._shown()
        none = tuple(("",) * s.along for _ in range(s.across))
        self._change(s._replace(first=none, second=none))

    def fill(self, grid: int) -> None:
        """Put the pasted table into one grid; the grid takes its size.

        Parameters
        ----------
        grid : int
            0 for face A, 1 for the second readings [-].
        """
        try:
            rows = rows_of(self.paste.value)
        except InputError as e:
            self.said.value = note("✗ " + "; ".join(f"{f.message}: {f.remedy}" for f in e.faults))
            return
        s = self._shown()
        other = self.boxes[1 - grid]
        kept = tuple(tuple(b.value for b in row[: len(rows[0])]) for row in other[: len(rows)])
        first, second = (rows, kept) if grid == 0 else (kept, rows)
        self._change(Snapshot(len(rows[0]), len(rows), s.way, first, second))

    # --- what they say ------------------------------------------------------------------------------------------------

    def readings(self) -> tuple[list[float], list[float], list[str]]:
        """Both readings of every point, row by row across the board [mm], and the fault of each box that has one."""
        out: list[list[float]] = [[], []]
        faults = []
        shown = self._shown()
        for grid, texts in enumerate((shown.first, shown.second)):
            for j, row in enumerate(texts):
                for i, text in enumerate(row):
                    value, fault = self._one(grid, j, i, text)
                    out[grid].append(value)
                    faults += [fault] * bool(fault)
        faults += [] if faults else [*self._astray(out[0]), *self._between(*out)]
        return out[0], out[1], faults

    def _one(self, grid: int, row: int, column: int, text: str) -> tuple[float, str]:
        name = box_name(grid, row, column)
        if not text.strip():
            return math.nan, f"box {name} is empty: measure there too, or take fewer points"
        exact = self._exact.get(f"{self._system} {text}")
        try:
            value = read_height(text, self._system) if exact is None else exact
        except InputError as e:
            f = e.faults[0]
            return math.nan, f"box {name}: {f.message}: {f.remedy}"
        if grid == 1 and (value < 0 or (value == 0 and self.way.value == "thickness")):
            what = "a gap is at least 0" if self.way.value == "below" else "a thickness is above 0"
            return math.nan, f"box {name}: {text} cannot be, {what}: measure again"
        return value, ""

    def _astray(self, heights: list[float]) -> list[str]:
        """Heights no board has: a unit or a decimal point amiss."""
        n, middle, out = self.along.value, statistics.median(heights), list[str]()
        for k, v in enumerate(heights):
            if not (abs(v - middle) > _ASTRAY or abs(v) > _THICKEST):
                continue
            told = write(v, "length", self._system, fraction=False)
            other = '"31 mm"' if self._system == "inch" else '"1.25 in"'
            name = box_name(0, k // n, k % n)
            out.append(f"box {name}: {told} is no height of this board: look at its point and unit, as in {other}")
        return out

    def _between(self, first: list[float], second: list[float]) -> list[str]:
        if self.way.value != "below":
            return []
        n = self.along.value
        return [
            f"boxes {box_name(0, k // n, k % n)} and {box_name(1, k // n, k % n)}: the gap reaches as high as face A, "
            "no wood is left between: check both"
            for k, (a, b) in enumerate(zip(first, second, strict=True)) if a <= b
        ]  # fmt: skip


def box_name(grid: int, row: int, column: int) -> str:
    """Name of a box: A for the height of face A, B for the second reading, a letter along and a number across.

    Parameters
    ----------
    grid, row, column : int
        From 0 [-].

    Example
    -------
    >>> box_name(1, 0, 2)
    'B c1'
    """
    return f"{'AB'[grid]} {_LETTERS[column]}{row + 1}"
