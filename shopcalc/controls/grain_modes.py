"""In which of the three ways flutes and tip cut, for a lie of the part to play with."""

from __future__ import annotations

import math

import ipywidgets as widgets
import numpy as np
import plotly.graph_objects as go

from shopcalc.controls.parts import HUE, PALE, NumberControl, big, figure, table
from shopcalc.cutting.grain import Direction, Station, end_modes, grain_vector, lie_at_wall, mean_flute_modes

WAYS = ("planing along the fibres", "peeling across the fibres", "cutting across the fibre ends")
_LIES: dict[str, Station] = {"flat on the table": "flat", "stood on its edge": "edge", "stood on end": "end"}
_SAYS = {
    "with": "with the grain: fibres are cut off clean", "against": "against the grain: fibres split ahead of the edge",
    "neither": "fibres run along the wall or square to it",
}  # fmt: skip


class GrainControl:
    """Turn the part, the fibres, the helix and the way round; see how flutes and tip cut."""

    def __init__(self) -> None:
        named, wide = {"description_width": "17em"}, widgets.Layout(width="30em")
        self.lie = widgets.Dropdown(options=list(_LIES), description="the part lies", style=named, layout=wide)
        self.way = widgets.Dropdown(options=["climb", "conventional"], description="cut", style=named, layout=wide)
        self.angle = NumberControl("fibres, degrees left of the feed", 0, -90, 90, 5)
        self.helix = NumberControl("helix, degrees", 0, 0, 45, 5)
        self.width = NumberControl("width of cut, % of the diameter", 50, 5, 100, 5)
        self.figure = figure(
            [
                go.Bar(x=[], y=list(WAYS), orientation="h", name="flutes", marker={"color": HUE}),
                go.Bar(x=[], y=list(WAYS), orientation="h", name="teeth at the tip",
                       marker={"color": PALE, "pattern": {"shape": "/"}}),
            ],
            title={"text": "How the wood is cut, share of the chips"}, height=300, barmode="group",
            xaxis={"title": {"text": "%"}, "range": [0, 100]},
            yaxis={"autorange": "reversed", "automargin": True}, legend={"orientation": "h", "y": -0.35},
        )  # fmt: skip
        self.answer, self.table = widgets.HTML(), widgets.HTML()
        for box in (self.lie, self.way):
            box.observe(lambda _: self.update(), names="value")
        for control in (self.angle, self.helix, self.width):
            control.observe(self.update)
        numbers = (self.angle.view, self.helix.view, self.width.view)
        self.view = widgets.VBox([self.lie, self.way, *numbers, self.answer, self.figure, self.table])
        self.update()

    def update(self) -> None:
        """Look up the ways and show them."""
        station = _LIES[self.lie.value]
        way: Direction = "climb" if self.way.value == "climb" else "conventional"
        grain = grain_vector(station, math.radians(self.angle.value))
        flutes = mean_flute_modes(grain, self.width.value, 100.0, way, math.radians(self.helix.value))
        tip = end_modes(grain, np.radians(np.arange(0, 180, 5))).mean(axis=0)
        self.shares = {"flutes": [float(s) for s in flutes], "tip": [float(s) for s in tip]}
        most = WAYS[max(range(3), key=lambda i: self.shares["flutes"][i])]
        self.verdict = f"the flutes are mostly {most}; at the wall: {_SAYS[lie_at_wall(grain, way)]}"
        self.answer.value = big(self.verdict)
        with self.figure.change() as f:
            for trace, who in zip(f.data, ("flutes", "tip"), strict=True):
                trace.x = [100 * s for s in self.shares[who]]
        rows = [[w, *(f"{100 * self.shares[who][i]:.0f} %" for who in ("flutes", "tip"))] for i, w in enumerate(WAYS)]
        self.table.value = table("Share of each way", ["way", "flutes", "teeth at the tip"], rows)


def grain_control() -> GrainControl:
    """The control over the three ways of cutting, to be shown by ``.view``."""
    return GrainControl()
