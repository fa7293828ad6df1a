"""A short program followed line by line: where the tip is, above or in the wood, and what the line does."""

from __future__ import annotations

import html

import ipywidgets as widgets
import numpy as np
import plotly.graph_objects as go

from shopcalc.controls.parts import GREY, HUE, LENGTH, PALE, MeasuredControl, NumberControl, big, choice, figure, note
from shopcalc.controls.sign_off import button
from shopcalc.errors import InputError
from shopcalc.gcode import read_text
from shopcalc.lessons.programs import found
from shopcalc.moves import Kind, Moves
from shopcalc.units import System, write

_SOUND = "G21 G90 G17\nS12000 M3\nG0 X20 Y15 Z20\nG0 Z3\nG1 Z-5 F800\nG1 X100 F3000\nG1 Y35\nG1 X20\nG0 Z20\nM5\nM30"
PROGRAMS = (
    ("a sound one", _SOUND),
    ("first trap", _SOUND.replace("G1 Z-5 F800", "G0 Z-5")),
    ("second trap", _SOUND.replace("Z-5", "Z-50")),
    ("third trap", _SOUND.replace("G21", "G20")),
    ("fourth trap", _SOUND.replace("S12000 M3", "S12000")),
)
_KINDS = {Kind.RAPID: "rapid move", Kind.LINE: "feed move", Kind.ARC: "arc at feed"}
_LIST = '<pre style="font-size:15px;line-height:1.35;border:1px solid #ccc;padding:6px;margin:4px 0">{}</pre>'


class ProgramLinesControl:
    """Step through a program and watch the tip.

    Parameters
    ----------
    system : {"metric", "inch"}
        Units in which heights are told.
    """

    def __init__(self, system: System = "inch") -> None:
        self.units = widgets.ToggleButtons(options=["inch", "metric"], value=system, description="told in")
        self.program = choice("program", PROGRAMS, _SOUND, self._take)
        self.text = widgets.Textarea(
            value=_SOUND, description="its text", rows=11, style={"description_width": "9em"}, continuous_update=False,
            layout=widgets.Layout(width="34em"),
        )  # fmt: skip
        self.thickness = MeasuredControl("part is thick", 18, 3, 60, LENGTH, system)
        self.line = NumberControl("line", 1, 1, 11, 1)
        self.back = button("◀ line before", lambda: self._step(-1), "one line back")
        self.on = button("line after ▶", lambda: self._step(1), "one line on")
        self.show = button("say the faults", self.tell_faults, "what is wrong against the sheet")
        line = {"color": HUE, "width": 4}
        self.figure = figure(
            [go.Scatter(x=[], y=[], mode="lines", name="still to come", line={"color": PALE, "dash": "dot"}),
             go.Scatter(x=[], y=[], mode="lines", name="done", line=line),
             go.Scatter(x=[], y=[], mode="markers", name="tip", marker={"color": "#111", "size": 14, "symbol": "x"})],
            title={"text": "Height of the tip, move by move"}, height=340, width=640,
            xaxis={"title": {"text": "move"}, "dtick": 1}, yaxis={"title": {"text": ""}},
            legend={"orientation": "h", "y": -0.25},
        )  # fmt: skip
        self.answer, self.listing, self.faults = (widgets.HTML() for _ in range(3))
        self.text.observe(lambda _: self._read(), names="value")
        self.units.observe(lambda _: self._change_units(), names="value")
        self.line.observe(self.update)
        self.thickness.observe(self.update)
        buttons = widgets.HBox([self.back, self.on, self.show], layout=widgets.Layout(flex_flow="row wrap"))
        side = widgets.HBox([self.figure, self.listing], layout=widgets.Layout(flex_flow="row wrap"))
        self.view = widgets.VBox([self.units, self.program, self.text, self.thickness.view, self.line.view, buttons,
                                  self.answer, self.faults, side])  # fmt: skip
        self._read()

    @property
    def system(self) -> System:
        """Units in which heights are told."""
        return "metric" if self.units.value == "metric" else "inch"

    @property
    def lines(self) -> list[str]:
        """Of the program's text."""
        return str(self.text.value).splitlines()

    def _change_units(self) -> None:
        self.thickness.system = self.system
        self.update()

    def _take(self) -> None:
        self.text.value = self.program.value

    def _step(self, by: int) -> None:
        self.line.value = min(max(self.line.value + by, 1), max(len(self.lines), 1))

    def _read(self) -> None:
        self.moves: Moves | None = None
        self.faults.value = ""
        try:
            self.moves = read_text(self.text.value + "\n", "program", start=(0.0, 0.0, 20.0)).moves
        except InputError as e:
            self.faults.value = "".join(note(str(f)) for f in e.faults)
        for w in (self.line.box, self.line.slider):
            w.max = max(len(self.lines), 1)
        self.line.value = min(self.line.value, len(self.lines))
        self.update()

    def tell_faults(self) -> None:
        """Say what is wrong with the program against its sheet."""
        try:
            out = found(self.lines, self.thickness.value, 18000.0, "metric")
        except InputError:
            return
        says = [f"line {n}: {what}" for n, what in out] or ["none of the faults that are looked for"]
        self.faults.value = "".join(note(("✗ " if out else "✓ ") + s) for s in says)

    def update(self) -> None:
        """Show where the tip is after the line."""
        at = round(self.line.value)
        rows = [("▶ " if n == at else "  ") + f"{n:2d}  {text}" for n, text in enumerate(self.lines, 1)]
        self.listing.value = _LIST.format(html.escape("\n".join(rows)))
        self.verdict = f"line {at}: {self._says(at)}"
        self.answer.value = big(self.verdict)
        if self.moves is None:
            return
        per = LENGTH[self.system].per
        z = self.moves.points[:, 2] / per
        done = int(np.searchsorted(self.moves.line, at, side="right"))
        x = np.arange(len(z))
        low, under = min(float(z.min()), 0.0), -self.thickness.value / per
        with self.figure.change() as f:
            f.data[0].x, f.data[0].y = x[done:], z[done:]
            f.data[1].x, f.data[1].y = x[: done + 1], z[: done + 1]
            f.data[2].x, f.data[2].y = x[[done]], z[[done]]
            f.layout.shapes = [_line(0.0, HUE, "solid"), _line(under, GREY, "dash")]
            f.layout.annotations = [_name(0.0, "top of the part"), _name(under, "waste board below")]
            f.layout.yaxis.title.text = f"height, {LENGTH[self.system].unit}"
            f.layout.yaxis.range = [min(low, under) - 4 / per, float(z.max()) + 4 / per]

    def _says(self, at: int) -> str:
        if self.moves is None:
            return "the program cannot be read"
        k = np.flatnonzero((self.moves.line == at) & np.isin(self.moves.kind, [int(kind) for kind in _KINDS]))
        if not len(k):
            return "no move"
        i = int(k[-1])
        z = float(self.moves.points[i + 1, 2])
        where = "at the top" if abs(z) < 1e-9 else f"{write(abs(z), 'length', self.system, fraction=False)} "
        where += "" if abs(z) < 1e-9 else "above the top" if z > 0 else "below the top, in the wood"
        if z < -self.thickness.value:
            where += ", THROUGH the part"
        kind = Kind(int(self.moves.kind[i]))
        speed = "" if kind == Kind.RAPID else f" at {write(float(self.moves.feed[i]), 'feed', self.system)}"
        spindle = "" if self.moves.rpm[i] > 0 else "; the spindle STANDS"
        hits = "; a rapid INTO the wood" if kind == Kind.RAPID and z < 0 else ""
        return f"{_KINDS[kind]}{speed}, tip {where}{hits}{spindle}"


def _line(y: float, colour: str, dash: str) -> dict[str, object]:
    return {"type": "line", "xref": "paper", "x0": 0, "x1": 1, "y0": y, "y1": y,
            "line": {"color": colour, "width": 2, "dash": dash}}  # fmt: skip


def _name(y: float, text: str) -> dict[str, object]:
    return {"xref": "paper", "x": 1, "y": y, "text": text, "showarrow": False, "xanchor": "right", "yshift": 9}


def program_lines(system: System = "inch") -> ProgramLinesControl:
    """The control over a program followed line by line, to be shown by ``.view``.

    Parameters
    ----------
    system : {"metric", "inch"}
        Units in which heights are told.
    """
    return ProgramLinesControl(system)
