"""A tenon cut on end by a cutter that bends: its cheeks in section, level by level, with the error drawn larger."""

from __future__ import annotations

import numpy as np
import plotly.graph_objects as go

from shopcalc.controls.parts import FEED, GREY, HUE, LENGTH, MeasuredControl, choice, figure
from shopcalc.controls.played import Played, label, square_cutter
from shopcalc.controls.tenons import magnified
from shopcalc.cutting.chipload import feed_per_tooth
from shopcalc.cutting.cut import ask
from shopcalc.cutting.deflection import cantilever, cutter_give, modulus
from shopcalc.cutting.engagement import pass_count
from shopcalc.cutting.force import BANDS, Load
from shopcalc.cutting.grain import Direction, grain_vector
from shopcalc.cutting.push_off import push_off
from shopcalc.lessons.judging import tell
from shopcalc.moves import Floats
from shopcalc.shop import Shop
from shopcalc.units import System

_RAIL = (101.6, 38.1)  # width and thickness of the section [mm]
_THICK, _LONG = 12.7, 38.1  # of the tenon [mm]
_RPM = 16000.0
_KNOWN = 100.0  # N at the tip, to compare cutters by


class BendingControl(Played):
    """Move stick-out, diameter, depth and width; see what becomes of a tenon's cheeks.

    Parameters
    ----------
    system : {"metric", "inch"}
        Units at first.
    """

    def __init__(self, system: System = "inch") -> None:
        shop = Shop.open()
        self._wood, self._machine = shop.material("white-oak"), next(iter(shop.machines.values()))
        self.stick_out = MeasuredControl("cutter sticks out", 44.45, 30, 80, LENGTH, system)
        self.diameter = MeasuredControl("cutter's diameter", 7.9375, 6, 16, LENGTH, system)
        self.level = MeasuredControl("most depth of a level", 12.7, 2, 25, LENGTH, system)
        self.width = MeasuredControl("width of cut", 6.35, 0.5, 6.35, LENGTH, system)
        self.feed = MeasuredControl("feed", 3048, 500, 9000, FEED, system)
        self.way = choice("cut", [("climb", "climb"), ("conventional", "conventional")], "climb", self.update)
        drawn = figure(
            [
                go.Scatter(x=[], y=[], mode="lines", name="as it should be", line={"color": GREY, "dash": "dash"}),
                go.Scatter(x=[], y=[], mode="lines", fill="toself", name="as it is cut",
                           line={"color": HUE, "width": 3}, fillcolor="#f4efe4",
                           fillpattern={"shape": "|", "fgcolor": "#c9b98f", "bgcolor": "#f4efe4"}),
            ],
            title={"text": "A tenon that stands on end, in section"}, height=470, width=640,
            xaxis={"title": {"text": ""}}, yaxis={"title": {"text": ""}}, legend={"orientation": "h", "y": -0.2},
        )  # fmt: skip
        moved = (self.stick_out, self.diameter, self.level, self.width, self.feed, self.way)
        super().__init__(system, moved, drawn)

    def update(self) -> None:
        """Reckon the cheek by the models of the package, and draw it."""
        cutter = square_cutter(self.diameter.value, self.stick_out.value)
        width = min(self.width.value, self.diameter.value)
        self.levels = pass_count(_LONG, min(self.level.value, cutter.cutting_length))
        level = _LONG / self.levels
        cut = ask(cutter, self._wood, self._machine, station="end", grain=grain_vector("end"), depth=_LONG,
                  width=width, part=_RAIL)  # fmt: skip
        per_tooth = float(feed_per_tooth(self.feed.value, _RPM, 2))
        heights = np.linspace(0.0, level, 13)
        way: Direction = "climb" if self.way.value == "climb" else "conventional"
        self.off = {
            b: push_off(Load(cutter, cut.coefficients[b], cut.grain, width, level, way), cut.give[b], per_tooth,
                        heights) for b in BANDS
        }  # fmt: skip
        self.tip_give = _KNOWN * float(cutter_give(cutter, 0.0, 0.0)[0, 0])
        self.plain_give = float(cantilever(_KNOWN, cutter.stick_out, modulus(cutter), cutter.diameter))
        self._say(level)
        self._draw(heights)

    def _say(self, level: float) -> None:
        means = {b: 2 * float(v.mean()) for b, v in self.off.items()}
        error = means["likely"]
        off = "thick" if error > 0 else "thin"

        def told(value: float, quantity: str = "length") -> str:
            return tell(abs(value), quantity, self.system, 2)

        rows = [
            [f"tip under {told(_KNOWN, 'force')}, flutes counted", f"gives {told(self.tip_give)}"],
            ["a plain bar of that size", f"gives {told(self.plain_give)}"],
            ["levels", f"{self.levels} of {tell(level, 'length', self.system, 3)}"],
            [
                "tenon's thickness is off by, low to high force",
                "; ".join(f"{told(v)} too {'thick' if v > 0 else 'thin'}" for v in means.values()),
            ],
            ["taper of one level, tip to top", told(float(np.ptp(self.off["likely"])))],
        ]
        self.tell(
            f"The tenon comes out {told(error)} too {off} at the likely force", "The tenon", rows,
            "White oak stood on end, 4 x 1 1/2 in (102 x 38 mm), a tenon 1/2 in (12.7 mm) thick and 1 1/2 in "
            "(38 mm) long, 16000 rpm. Forces and stiffness are from memory in part, hence three figures: a test cut "
            "tells. Chatter, the ringing of cutter and part, is not in it.",
        )  # fmt: skip

    def _draw(self, heights: Floats) -> None:
        per, unit = LENGTH[self.system].per, LENGTH[self.system].unit
        off = self.off["likely"]
        times = magnified(float(np.abs(off).max()), _LONG)
        up = np.concatenate([heights + k * heights[-1] for k in range(self.levels)])
        half = _THICK / 2 + times * np.tile(off, self.levels)
        x = np.concatenate([half, -half[::-1]])
        y = np.concatenate([up, up[::-1]])
        should = np.array([1, 1, -1, -1]) * _THICK / 2, np.array([0, 1, 1, 0]) * _LONG
        shoulder = _RAIL[1] / 2
        with self.figure.change() as f:
            f.data[0].x, f.data[0].y = should[0] / per, should[1] / per
            f.data[1].x = np.concatenate([[shoulder], x, [-shoulder, -shoulder, shoulder, shoulder]]) / per
            f.data[1].y = np.concatenate([[0.0], y, [0.0, -12.0, -12.0, 0.0]]) / per
            f.layout.xaxis.title.text = f"across the thickness, {unit}"
            f.layout.yaxis.title.text = f"above the shoulder, {unit}"
            f.layout.annotations = [
                label(0.0, 1.08 * _LONG / per, f"error drawn {times} times larger"),
                label(0.0, -6.0 / per, "rail, fibres upright"),
            ]


def bending_control(system: System = "inch") -> BendingControl:
    """The control over a tenon and its bending cutter, to be shown by ``.view``.

    Parameters
    ----------
    system : {"metric", "inch"}
        Units at first.
    """
    return BendingControl(system)
