"""In which of the three ways flutes and tip cut, for a lie of the part to play with."""

from __future__ import annotations

import math

import ipywidgets as widgets
import numpy as np
import plotly.graph_objects as go
from shapely import LineString, MultiLineString, Point, box, get_coordinates, get_parts

from shopcalc.controls.parts import GREY, HUE, PALE, LiveFigure, NumberControl, big, figure, table
from shopcalc.cutting.grain import Direction, Station, end_modes, grain_vector, lie_at_wall, mean_flute_modes

WAYS = ("planing along the fibres", "peeling across the fibres", "cutting across the fibre ends")
_TURN = np.linspace(0.0, 2 * math.pi, 90)
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
            title={"text": "How the wood is cut, share of the chips"}, height=300, width=640, barmode="group",
            xaxis={"title": {"text": "%"}, "range": [0, 100]},
            yaxis={"autorange": "reversed", "automargin": True}, legend={"orientation": "h", "y": -0.35},
        )  # fmt: skip
        self.plan = _plan()
        self.answer, self.table = widgets.HTML(), widgets.HTML()
        for choice in (self.lie, self.way):
            choice.observe(lambda _: self.update(), names="value")
        for control in (self.angle, self.helix, self.width):
            control.observe(self.update)
        numbers = (self.angle.view, self.helix.view, self.width.view)
        self.view = widgets.VBox([self.lie, self.way, *numbers, self.answer, self.plan, self.figure, self.table])
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
        _lay(self.plan, station, math.radians(self.angle.value), self.width.value / 100, way)
        rows = [[w, *(f"{100 * self.shares[who][i]:.0f} %" for who in ("flutes", "tip"))] for i, w in enumerate(WAYS)]
        self.table.value = table("Share of each way", ["way", "flutes", "teeth at the tip"], rows)


def _plan() -> LiveFigure:
    """Empty drawing of cutter and wood from above, feed to the right."""
    bare = {"visible": False, "showgrid": False}
    return figure(
        [
            go.Scatter(x=[], y=[], mode="lines", fill="toself", name="wood that stays", line={"color": GREY},
                       fillcolor="#e2d5bd"),
            go.Scatter(x=[], y=[], mode="lines", fill="toself", name="wood to be taken", line={"color": GREY},
                       fillcolor="#f4efe4"),
            go.Scatter(x=[], y=[], name="fibres", line={"color": "#7a5c2e", "width": 2},
                       marker={"color": "#7a5c2e", "size": 6}),
            go.Scatter(x=np.cos(_TURN), y=np.sin(_TURN), mode="lines", name="cutter", line={"color": HUE, "width": 3}),
        ],
        title={"text": "Seen from above"}, height=360, width=640, legend={"orientation": "h", "y": -0.05},
        xaxis={**bare, "range": [-2.6, 3]}, yaxis={**bare, "range": [-1.9, 1.9], "scaleanchor": "x"},
        annotations=[_arrow(0.75, 0.0, 0.0, 0.0, "feed"), _arrow(0.0, 0.0, 0.0, 0.0, "flute at the wall")],
        margin={"l": 10, "r": 10, "t": 50, "b": 40},
    )  # fmt: skip


def _arrow(x: float, y: float, tail: float, level: float, text: str) -> dict[str, object]:
    return {"x": x, "y": y, "ax": tail, "ay": level, "axref": "x", "ayref": "y", "text": text, "arrowhead": 2,
            "arrowwidth": 2, "arrowcolor": HUE, "font": {"size": 14}, "bgcolor": "rgba(255,255,255,0.85)"}  # fmt: skip


def _lay(drawn: LiveFigure, station: Station, angle: float, share: float, way: Direction) -> None:
    """Wood, its fibres and the flute's way at the wall, for a cutter of radius 1."""
    side = -1.0 if way == "climb" else 1.0  # the spindle turns clockwise
    free = side - 2 * share * side
    stays = box(-2.5, min(side, 1.7 * side), 2.9, max(side, 1.7 * side))
    taken = box(0.0, min(side, free), 2.9, max(side, free)) - Point(0, 0).buffer(1.0)
    wood = stays.union(taken)
    if station == "end":
        dots = np.stack(np.meshgrid(np.arange(-2.4, 2.9, 0.2), np.arange(-1.6, 1.7, 0.2)), axis=-1).reshape(-1, 2)
        fibres = np.array([p for p in dots if wood.contains(Point(p))])
    else:
        along, across = np.array([math.cos(angle), math.sin(angle)]), np.array([-math.sin(angle), math.cos(angle)])
        lines = MultiLineString([LineString([k * across - 5 * along, k * across + 5 * along])
                                 for k in np.arange(-4, 4, 0.2)])  # fmt: skip
        cut = [get_coordinates(p) for p in get_parts(lines.intersection(wood))]
        fibres = np.vstack([np.vstack([c, [[np.nan, np.nan]]]) for c in cut])
    with drawn.change() as f:
        for trace, shape in zip(f.data, (stays, taken), strict=False):
            trace.x, trace.y = get_coordinates(shape).T
        f.data[2].x, f.data[2].y = fibres.T
        f.data[2].mode = "markers" if station == "end" else "lines"
        f.data[2].name = "fibres, upright" if station == "end" else "fibres"
        f.layout.annotations = [
            _arrow(0.75, 0.0, -0.1, 0.0, "feed"),
            _arrow(0.6 * side, 1.1 * side, -0.7 * side, 1.1 * side, "flute at the wall"),
        ]


def grain_control() -> GrainControl:
    """The control over the three ways of cutting, to be shown by ``.view``."""
    return GrainControl()
