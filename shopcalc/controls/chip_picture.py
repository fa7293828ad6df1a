"""A chip to play with: its thickness over the turn of a flute, and the window in which it neither burns nor tears."""

from __future__ import annotations

import math

import ipywidgets as widgets
import numpy as np
import plotly.graph_objects as go

from shopcalc.controls.parts import (
    FEED,
    GREY,
    HUE,
    LENGTH,
    PALE,
    MeasuredControl,
    NumberControl,
    big,
    figure,
    note,
    table,
)
from shopcalc.cutting.chipload import chip_at, feed_per_tooth, greatest_chip, mean_chip
from shopcalc.cutting.engagement import engagement_angle
from shopcalc.sources import practice
from shopcalc.units import System, write


class ChipControl:
    """Move feed, speed, flutes and width of cut; see the chip.

    Parameters
    ----------
    system : {"metric", "inch"}
        Units at first.
    group : str
        Of woods: "hardwood", "softwood", "sheet" or "laminated".
    """

    def __init__(self, system: System = "inch", group: str = "hardwood") -> None:
        self.group = group
        self.units = widgets.ToggleButtons(
            options=["inch", "metric"], value=system, description="units", style={"description_width": "17em"}
        )
        self.feed = MeasuredControl("feed", 3600, 300, 12000, FEED, system)
        self.rpm = NumberControl("spindle speed, rpm", 16000, 6000, 24000, 500)
        self.flutes = NumberControl("flutes", 2, 1, 4, 1)
        self.diameter = MeasuredControl("cutter's diameter", 12.7, 3, 25.4, LENGTH, system)
        self.width = MeasuredControl("width of cut", 6.35, 0.2, 25.4, LENGTH, system)
        self._measured = (self.feed, self.diameter, self.width)
        self.figure = figure(
            [
                go.Scatter(x=[], y=[], mode="lines", name="chip in the wood", line={"color": HUE, "width": 4}),
                go.Scatter(x=[0, 180], y=[], mode="lines", name="its mean", line={"color": HUE, "dash": "dot"}),
                go.Scatter(x=[0, 180], y=[], mode="lines+text", name="rubs and burns below",
                           line={"color": GREY, "dash": "dash"}),
                go.Scatter(x=[0, 180], y=[], mode="lines+text", name="tears above", line={"color": PALE, "width": 4}),
            ],
            title={"text": "Thickness of the chip over half a turn of one flute"}, height=360, width=640,
            xaxis={"title": {"text": "turn of the flute, degrees"}, "range": [0, 180]},
            yaxis={"rangemode": "tozero", "title": {"text": ""}}, legend={"orientation": "h", "y": -0.25},
        )  # fmt: skip
        self.answer, self.table = widgets.HTML(), widgets.HTML()
        for control in (self.feed, self.rpm, self.flutes, self.diameter, self.width):
            control.observe(self.update)
        self.units.observe(lambda _: self._change_units(), names="value")
        controls = (self.feed, self.rpm, self.flutes, self.diameter, self.width)
        self.view = widgets.VBox([self.units, *(c.view for c in controls), self.answer, self.figure, self.table])
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
        """Reckon the chip and show it."""
        d = self.diameter.value
        w = min(self.width.value, d)
        self.per_tooth = float(feed_per_tooth(self.feed.value, self.rpm.value, round(self.flutes.value)))
        self.mean, self.most = (float(f(self.per_tooth, w, d)) for f in (mean_chip, greatest_chip))
        thin, thick = (practice()[f"chip_{k}.{self.group}"].value for k in ("thin", "thick"))
        says = "it RUBS, heats and burns" if self.mean < thin else "it TEARS" if self.mean > thick else "in the window"
        self.verdict = f"mean chip {write(self.mean, 'length', self.system, fraction=False)}: {says}"
        self.answer.value = big(self.verdict)
        shown = LENGTH[self.system]
        angle = np.linspace(0.0, float(engagement_angle(w, d)), 60)
        with self.figure.change() as f:
            f.data[0].x, f.data[0].y = np.degrees(angle), chip_at(self.per_tooth, angle) / shown.per
            for trace, value in zip(f.data[1:], (self.mean, thin, thick), strict=True):
                trace.y = [value / shown.per] * 2
            f.layout.yaxis.title.text = f"chip, {shown.unit}"
        rows = [[name, write(v, "length", self.system, fraction=False)] for name, v in (
            ("feed per tooth", self.per_tooth), ("greatest chip", self.most), ("mean chip", self.mean),
            (f"rubs below, {self.group}", thin), (f"tears above, {self.group}", thick))]  # fmt: skip
        rows.append(["flute is in the wood", f"{math.degrees(angle[-1]):.0f}° of its turn"])
        self.table.value = table("The chip", ["what", "how much"], rows) + note(
            "The two ends of the window are common practice without a source: a test cut on scrap tells more."
        )


def chip_control(system: System = "inch", group: str = "hardwood") -> ChipControl:
    """The control over one chip, to be shown by ``.view``.

    Parameters
    ----------
    system : {"metric", "inch"}
        Units at first.
    group : str
        Of woods.
    """
    return ChipControl(system, group)
