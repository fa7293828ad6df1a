"""A V, ball or tapered cutter in its groove, in section: width, depth, and what a wrong zero does to it."""

from __future__ import annotations

import math

import numpy as np
import plotly.graph_objects as go

from shopcalc.controls.parts import GREY, HUE, LENGTH, MeasuredControl, NumberControl, choice, figure
from shopcalc.controls.played import Played, label
from shopcalc.cutters import Cutter, Shape
from shopcalc.cutting.engagement import cutting_speed, edge_height, effective_diameter, groove_width
from shopcalc.lessons.judging import tell
from shopcalc.units import System

_KINDS: tuple[tuple[str, Shape], ...] = (("V", "V"), ("ball", "ball"), ("tapered ball", "tapered ball"))
_WIDEST, _FLUTES = 25.4, 25.0  # of V and tapered ball; of all [mm]


class ShapesControl(Played):
    """Choose the shape, move angle, tip, depth and an error of zero; see the groove.

    Parameters
    ----------
    system : {"metric", "inch"}
        Units at first.
    """

    def __init__(self, system: System = "inch") -> None:
        self.shape = choice("cutter", list(_KINDS), "V", self.update)
        self.angle = NumberControl("whole angle at the tip, degrees", 60, 4, 120, 2)
        self.tip = MeasuredControl("flat or round of the tip", 0.3, 0.1, 12.7, LENGTH, system)
        self.depth = MeasuredControl("depth of the tip", 3.175, 0.2, 12, LENGTH, system)
        self.zero = MeasuredControl("zero is too deep by", 0.254, -0.8, 0.8, LENGTH, system)
        self.rpm = NumberControl("spindle speed, rpm", 16000, 6000, 24000, 500)
        drawn = figure(
            [
                go.Scatter(x=[], y=[], mode="lines", fill="toself", name="wood", line={"color": GREY},
                           fillcolor="#f4efe4"),
                go.Scatter(x=[], y=[], mode="lines", name="cutter", line={"color": HUE, "width": 4}),
                go.Scatter(x=[], y=[], mode="lines", name="groove with the wrong zero",
                           line={"color": "#111111", "dash": "dash", "width": 2}),
            ],
            title={"text": "The groove in section, square to the feed"}, height=430, width=640,
            xaxis={"title": {"text": ""}}, yaxis={"title": {"text": ""}, "scaleanchor": "x"},
            legend={"orientation": "h", "y": -0.25},
        )  # fmt: skip
        super().__init__(system, (self.shape, self.angle, self.tip, self.depth, self.zero, self.rpm), drawn)

    @property
    def cutter(self) -> Cutter:
        """As it is set."""
        shape, tip = self.shape.value, self.tip.value
        if shape == "ball":
            return Cutter("lesson", "", "ball", tip, tip, 2, max(_FLUTES, tip), 90.0, 45.0)
        angle = math.radians(self.angle.value)
        return Cutter("lesson", "", shape, _WIDEST, 12.7, 2, _FLUTES, 90.0, 45.0, tip_diameter=tip,
                      included_angle=angle)  # fmt: skip

    def update(self) -> None:
        """Reckon the groove by the models of the package, and draw it."""
        self.angle.box.disabled = self.angle.slider.disabled = self.shape.value == "ball"
        cutter, depth = self.cutter, self.depth.value
        deeper = max(depth + self.zero.value, 0.0)
        self.widths = float(groove_width(cutter, depth)), float(groove_width(cutter, deeper))
        self._say(cutter, depth)
        self._draw(cutter, depth, deeper)

    def _say(self, cutter: Cutter, depth: float) -> None:
        def told(value: float, quantity: str = "length") -> str:
            return tell(value, quantity, self.system, 3)

        rpm = self.rpm.value
        self.rim = 1e3 * float(cutting_speed(float(effective_diameter(cutter, depth)), rpm))  # mm/s
        tip = 1e3 * float(cutting_speed(cutter.tip_diameter, rpm)) if cutter.shape == "V" else 0.0
        off = self.widths[1] - self.widths[0]
        rows = [
            ["groove at the top", told(self.widths[0])],
            [
                f"with a zero {told(abs(self.zero.value))} too {'deep' if self.zero.value >= 0 else 'high'}",
                f"{told(self.widths[1])}, {told(abs(off))} {'more' if off >= 0 else 'less'}",
            ],
            ["width for each unit of depth there", f"{self._growth(cutter, depth):.3g}"],
            ["edge at the top of the groove moves at", told(self.rim, "speed")],
            ["edge at the tip moves at", f"{told(tip, 'speed')}: there it {'rubs' if tip > 0 else 'only presses'}"],
        ]
        self.tell(
            f"groove {told(self.widths[0])} wide; with that zero {told(self.widths[1])}", "The groove", rows,
            "Geometry: a true cutter in wood that stands. Bending, torn edges and chatter, the ringing of cutter and "
            "part, are not in it. A worn tip is wider than its maker says: measure a test groove.",
        )  # fmt: skip

    def _growth(self, cutter: Cutter, depth: float) -> float:
        step = 1e-4
        return float(groove_width(cutter, depth + step) - groove_width(cutter, depth - step)) / (2 * step)

    def _draw(self, cutter: Cutter, depth: float, deeper: float) -> None:
        per, unit = LENGTH[self.system].per, LENGTH[self.system].unit
        top = depth * 1.6
        radius = np.linspace(0.0, float(effective_diameter(cutter, min(top + depth, cutter.cutting_length))) / 2, 400)
        height = np.asarray(edge_height(cutter, radius))
        seen = height <= top + depth
        x = np.concatenate([-radius[seen][::-1], radius[seen]])
        y = np.concatenate([height[seen][::-1], height[seen]])
        reach = 1.5 * max(*self.widths, depth)

        def groove(deep: float) -> tuple[list[float], list[float]]:
            inside = y <= deep
            half = float(groove_width(cutter, deep)) / 2
            return [-reach, -half, *x[inside], half, reach], [0.0, 0.0, *(y[inside] - deep), 0.0, 0.0]

        wood, wrong = groove(depth), groove(deeper)
        floor = -1.5 * max(depth, deeper)
        up = y - depth <= top
        lines = (
            ([*wood[0], reach, -reach, -reach], [*wood[1], floor, floor, 0.0]),
            (x[up], y[up] - depth), wrong,
        )  # fmt: skip
        with self.figure.change() as f:
            for trace, (px, py) in zip(f.data, lines, strict=True):
                trace.x, trace.y = np.asarray(px) / per, np.asarray(py) / per
            f.layout.xaxis.title.text = f"across the groove, {unit}"
            f.layout.yaxis.title.text = f"height, {unit}"
            f.layout.annotations = [label(0.75 * reach / per, floor / 2 / per, "wood"),
                                    label(0.0, 0.6 * top / per, "cutter")]  # fmt: skip


def shapes_control(system: System = "inch") -> ShapesControl:
    """The control over V, ball and tapered cutters, to be shown by ``.view``.

    Parameters
    ----------
    system : {"metric", "inch"}
        Units at first.
    """
    return ShapesControl(system)
