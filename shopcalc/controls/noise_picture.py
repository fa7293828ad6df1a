"""How long bare ears may stay in noise, by the health institute's rule and by the law's; limits of dust beside it."""

from __future__ import annotations

import ipywidgets as widgets
import numpy as np
import plotly.graph_objects as go

from shopcalc.controls.parts import GREY, HUE, NumberControl, big, figure, note, table
from shopcalc.lessons.safe_work import legal_minutes, permitted_minutes
from shopcalc.sources import bibliography, cautions
from shopcalc.units import write_time


class NoiseControl:
    """Move the level and the time; see how much of a day's noise is used up."""

    def __init__(self) -> None:
        self.level = NumberControl("noise, dBA", 94, 75, 115, 1)
        self.minutes = NumberControl("time in it, minutes a day", 60, 5, 480, 5)
        self.plugs = NumberControl("muffs or plugs take off, dB", 0, 0, 30, 1)
        levels = np.arange(80.0, 116.0)
        self.figure = figure(
            [go.Scatter(x=levels, y=permitted_minutes(levels), mode="lines", name="recommended: half for each 3 dB",
                        line={"color": HUE, "width": 4}),
             go.Scatter(x=levels, y=legal_minutes(levels), mode="lines", name="US law: half for each 5 dB",
                        line={"color": GREY, "width": 3, "dash": "dash"}),
             go.Scatter(x=[], y=[], mode="markers", name="you", marker={"color": "#111", "size": 14, "symbol": "x"})],
            title={"text": "Minutes a day in noise"}, height=380, width=640,
            xaxis={"title": {"text": "at the ear, dBA"}, "range": [75, 116]},
            yaxis={"title": {"text": "minutes"}, "type": "log", "range": [0.2, 3.2],
                   "tickvals": [4, 15, 60, 120, 240, 480, 960]},
            legend={"orientation": "h", "y": -0.25},
        )  # fmt: skip
        self.answer, self.table = widgets.HTML(), widgets.HTML()
        self._numbers = (self.level, self.minutes, self.plugs)
        for n in self._numbers:
            n.observe(self.update)
        self.view = widgets.VBox([*(n.view for n in self._numbers), self.answer, self.figure, self.table])
        self.update()

    def update(self) -> None:
        """Reckon the day's share and show it."""
        at_ear = self.level.value - self.plugs.value
        most = float(permitted_minutes(at_ear))
        self.used = self.minutes.value / most
        told = f"{at_ear:g} dBA at the ear: {write_time(60 * most)} a day at the most, {100 * self.used:.0f} % used"
        self.verdict = told + (": TOO MUCH" if self.used > 1 else ": within it")
        self.answer.value = big(("✗ " if self.used > 1 else "✓ ") + self.verdict)
        with self.figure.change() as f:
            f.data[2].x, f.data[2].y = [at_ear], [self.minutes.value]
        known = bibliography()
        rows = [[c.value, f"{c.topic}: {c.item}{', ' if c.basis else ''}{c.basis}",
                 f"{known[c.source].title if c.source in known else c.source} ({c.kind})"]
                for c in cautions() if c.topic in ("wood dust", "noise") and not c.applies_to]  # fmt: skip
        self.table.value = table("Limits", ["limit", "of what", "where it stands"], rows, words=(1, 2)) + note(
            "What muffs and plugs take off in use is less than their box says. The nearest measured level is worth "
            "more than any table: common practice, no source."
        )


def noise_control() -> NoiseControl:
    """The control over noise and time, to be shown by ``.view``."""
    return NoiseControl()
