"""What the pictures of the lessons share: units, numbers to move, one answer, a picture, a table."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import ipywidgets as widgets

from shopcalc.controls.parts import LiveFigure, MeasuredControl, NumberControl, big, note, table
from shopcalc.cutters import Cutter
from shopcalc.units import System

HELIX = 0.5235987755982988  # 30 degrees; common practice, no source


def square_cutter(diameter: float, stick_out: float) -> Cutter:
    """A carbide cutter with two flutes and a square end, of no maker.

    Parameters
    ----------
    diameter, stick_out : float
        [mm].
    """
    flutes = min(28.0, stick_out - 1.0)
    return Cutter("lesson", "two flutes, square end", "square end", diameter, diameter, 2, flutes, stick_out + 40.0,
                  stick_out, helix=HELIX)  # fmt: skip


class Played:
    """A picture that follows what is moved; each kind reckons and draws in its own ``update``.

    Parameters
    ----------
    system : {"metric", "inch"}
        Units at first.
    moved : sequence of NumberControl or Dropdown
        In the order in which the tab key comes to them; lists already call ``update``.
    figure : LiveFigure
        To be filled by ``update``.
    """

    def __init__(self, system: System, moved: Sequence[NumberControl | widgets.Dropdown], figure: LiveFigure) -> None:
        self.units = widgets.ToggleButtons(
            options=["inch", "metric"], value=system, description="units", style={"description_width": "9em"}
        )
        self.figure, self.answer, self.table = figure, widgets.HTML(), widgets.HTML()
        self._measured = [m for m in moved if isinstance(m, MeasuredControl)]
        for control in moved:
            if isinstance(control, NumberControl):
                control.observe(self.update)
        self.units.observe(lambda _: self._change_units(), names="value")
        views = (m.view if isinstance(m, NumberControl) else m for m in moved)
        self.view = widgets.VBox([self.units, *views, self.answer, self.figure, self.table])
        self.update()

    @property
    def system(self) -> System:
        """Units that are shown."""
        return "metric" if self.units.value == "metric" else "inch"

    def _change_units(self) -> None:
        for control in self._measured:
            control.system = self.system
        self.update()

    def update(self) -> None:
        """Reckon and draw."""
        raise NotImplementedError

    def tell(self, verdict: str, caption: str, rows: Sequence[Sequence[str]], remark: str) -> None:
        """Show the answer, and the numbers with what they leave out.

        Parameters
        ----------
        verdict : str
            The answer in one line.
        caption : str
            Of the table.
        rows : sequence of (str, str)
            What, and how much.
        remark : str
            Where the numbers come from.
        """
        self.verdict = verdict
        self.answer.value = big(verdict)
        self.table.value = table(caption, ["what", "how much"], rows, words=(1,)) + note(remark)


def label(x: float, y: float, text: str, **more: Any) -> dict[str, Any]:
    """Words in a picture, without an arrow.

    Parameters
    ----------
    x, y : float
        Where, in the picture's unit.
    text : str
        Words.
    **more
        As plotly's annotations take them.
    """
    return {"x": x, "y": y, "text": text, "showarrow": False, "bgcolor": "rgba(255,255,255,0.8)", **more}


def arrow(start: tuple[float, float], end: tuple[float, float], text: str, color: str) -> dict[str, Any]:
    """An arrow in a picture, its words at its tail.

    Parameters
    ----------
    start, end : (float, float)
        In the picture's unit.
    text : str
        Words.
    color : str
        As CSS writes it.
    """
    return {"x": end[0], "y": end[1], "ax": start[0], "ay": start[1], "axref": "x", "ayref": "y", "text": text,
            "showarrow": True, "arrowhead": 2, "arrowwidth": 3, "arrowcolor": color,
            "bgcolor": "rgba(255,255,255,0.8)"}  # fmt: skip
