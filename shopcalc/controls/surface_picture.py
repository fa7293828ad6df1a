"""Lines of a ball cutter side by side, in section: the cusps they leave, and what finer lines cost."""

from __future__ import annotations

import math

import numpy as np
import plotly.graph_objects as go

from shopcalc.controls.parts import FEED, GREY, HUE, LENGTH, MeasuredControl, NumberControl, figure
from shopcalc.controls.played import Played, label
from shopcalc.cutters import Cutter
from shopcalc.cutting.engagement import cusp, pass_count
from shopcalc.lessons.judging import tell
from shopcalc.lessons.minutes import run
from shopcalc.sources import practice
from shopcalc.units import System, write, write_time

_FIELD = 304.8  # mm: side of the square that is carved
_ACCELERATION = 500.0  # mm/s2 of each axis
_LINES = 5  # drawn


class SurfaceControl(Played):
    """Move ball, stepover, slope and feed; see cusps and minutes.

    Parameters
    ----------
    system : {"metric", "inch"}
        Units at first.
    """

    def __init__(self, system: System = "inch") -> None:
        self.diameter = MeasuredControl("ball cutter's diameter", 6.35, 1, 25.4, LENGTH, system)
        self.stepover = MeasuredControl("stepover from above", 0.79375, 0.1, 6, LENGTH, system)
        self.slope = NumberControl("slope up the lines, degrees", 0, 0, 60, 5)
        self.feed = MeasuredControl("feed", 3048, 500, 9000, FEED, system)
        drawn = figure(
            [
                go.Scatter(x=[], y=[], mode="lines", fill="toself", name="face as it is cut",
                           line={"color": HUE, "width": 3}, fillcolor="#f4efe4"),
                go.Scatter(x=[], y=[], mode="lines", name="face as wanted", line={"color": GREY, "dash": "dash"}),
                go.Scatter(x=[], y=[], mode="markers", name="tip of the cutter",
                           marker={"color": GREY, "size": 9, "symbol": "triangle-down"}),
            ],
            title={"text": "The face in section, square to the lines"}, height=360, width=640,
            xaxis={"title": {"text": ""}}, yaxis={"title": {"text": ""}}, legend={"orientation": "h", "y": -0.3},
        )  # fmt: skip
        super().__init__(system, (self.diameter, self.stepover, self.slope, self.feed), drawn)

    def update(self) -> None:
        """Reckon cusp and minutes by the models of the package, and draw the face."""
        d, slope = self.diameter.value, math.radians(self.slope.value)
        ball = Cutter("lesson", "ball", "ball", d, d, 2, 2 * d, 3 * d + 40, 2 * d + 10)
        self.step = min(self.stepover.value, 0.98 * d * math.cos(slope) ** 2)
        self.cusp = float(cusp(ball, self.step, slope))
        self.lines = pass_count(_FIELD, self.step)
        self.seconds = run([_FIELD, self.step] * self.lines, self.feed.value, _ACCELERATION).total_s
        self.sanding = 1 + self.cusp / float(practice()["cusp_sanding"].value)
        self._say()
        self._draw(slope)

    def _say(self) -> None:
        def told(value: float) -> str:
            return tell(value, "length", self.system, 3)

        far = self.step / math.cos(math.radians(self.slope.value))
        wide = tell(_FIELD, "length", self.system, 3)
        rows = [
            ["lines apart along the slope", told(far)],
            ["cusp", told(self.cusp)],
            [f"lines over {wide}", str(self.lines)],
            [
                f"length over feed for {wide} square",
                write_time(60 * self.lines * (_FIELD + self.step) / self.feed.value),
            ],
            [
                "what the machine takes",
                f"{write_time(self.seconds)}, at {write(_ACCELERATION, 'acceleration', self.system)}",
            ],
            ["sanding, against a face without cusps", f"{self.sanding:.2g} times as long"],
        ]
        cut = "" if self.step == self.stepover.value else " (no wider: the round must still meet)"
        self.tell(
            f"cusp {told(self.cusp)}; the machine takes {write_time(self.seconds)}{cut}", "The face", rows,
            "Cusp and lines: geometry. Sanding by the cusp: common practice, no source. Torn fibres, dull edges and "
            "chatter, the ringing of cutter and part, are not in it.",
        )  # fmt: skip

    def _draw(self, slope: float) -> None:
        per, unit = LENGTH[self.system].per, LENGTH[self.system].unit
        r, far = self.diameter.value / 2, self.step / math.cos(slope)
        x = np.linspace(-_LINES * far / 2, _LINES * far / 2, 40 * _LINES + 1)
        inside = (x + far / 2) % far - far / 2 if _LINES % 2 else x % far - far / 2
        face = r - np.sqrt(r * r - inside**2)
        middles = (np.arange(_LINES) - (_LINES - 1) / 2) * far
        floor = -1.2 * self.cusp
        with self.figure.change() as f:
            f.data[1].x, f.data[1].y = np.array([x[0], x[-1]]) / per, [0.0, 0.0]
            f.data[0].x = np.concatenate([x, [x[-1], x[0], x[0]]]) / per
            f.data[0].y = np.concatenate([face, [floor, floor, face[0]]]) / per
            f.data[2].x, f.data[2].y = middles / per, np.zeros(_LINES)
            f.layout.xaxis.title.text = f"along the face, {unit}"
            f.layout.yaxis.title.text = f"height, {unit}"
            f.layout.yaxis.range = [floor / per, 2.0 * self.cusp / per]
            f.layout.annotations = [
                label(0, 1.6 * self.cusp / per, f"heights drawn about {self.times} times larger; {_LINES} lines")
            ]

    @property
    def times(self) -> int:
        """About how many times larger heights are drawn than lengths: the field is 680 by 205 dots."""
        along, high = _LINES * self.step / math.cos(math.radians(self.slope.value)) / 680, 3.2 * self.cusp / 205
        return max(1, round(along / high))


def surface_control(system: System = "inch") -> SurfaceControl:
    """The control over stepover and cusp, to be shown by ``.view``.

    Parameters
    ----------
    system : {"metric", "inch"}
        Units at first.
    """
    return SurfaceControl(system)
