"""A cutter seen from above in a climb or a conventional cut: where the chip is thick, and which way it is pushed."""

from __future__ import annotations

import math

import numpy as np
import plotly.graph_objects as go

from shopcalc.controls.parts import FEED, GREY, HUE, LENGTH, PALE, MeasuredControl, NumberControl, choice, figure
from shopcalc.controls.played import Played, arrow, label, square_cutter
from shopcalc.controls.tenons import magnified
from shopcalc.cutting.chipload import chip_at, feed_per_tooth
from shopcalc.cutting.cut import ask
from shopcalc.cutting.force import BANDS, Load
from shopcalc.cutting.grain import Direction, arc, grain_vector
from shopcalc.cutting.push_off import push_off
from shopcalc.lessons.judging import tell
from shopcalc.shop import Shop
from shopcalc.units import System

_DEPTH = 10.0  # mm of the level
_D = 12.7  # mm
_BLACK = "#111111"


class ClimbControl(Played):
    """Choose the way round and move width, feed and stick-out; see the chip, the push and the wall.

    Parameters
    ----------
    system : {"metric", "inch"}
        Units at first.
    """

    def __init__(self, system: System = "inch") -> None:
        shop = Shop.open()
        self._wood, self._machine = shop.material("white-oak"), next(iter(shop.machines.values()))
        self.way = choice(
            "cut",
            [("climb: wood stays on the right", "climb"), ("conventional: wood stays on the left", "conventional")],
            "climb",
            self.update,
        )
        self.width = MeasuredControl("width of cut", 6.35, 0.4, _D, LENGTH, system)
        self.feed = MeasuredControl("feed", 3556, 500, 9000, FEED, system)
        self.rpm = NumberControl("spindle speed, rpm", 14000, 6000, 24000, 500)
        self.stick_out = MeasuredControl("cutter sticks out", 50.8, 31.75, 75, LENGTH, system)
        drawn = figure(
            [
                go.Scatter(x=[], y=[], fill="toself", mode="lines", name="wood that stays", line={"color": GREY},
                           fillpattern={"shape": "/", "fgcolor": GREY, "bgcolor": "#f4f1ea"}),
                go.Scatter(x=[], y=[], fill="toself", mode="lines", name="wood to be taken", line={"color": GREY},
                           fillcolor="#e9e2d3"),
                go.Scatter(x=[], y=[], mode="lines", name="cutter", line={"color": _BLACK, "width": 2}),
                go.Scatter(x=[], y=[], fill="toself", mode="lines", name="chip of one flute", line={"color": HUE},
                           fillcolor=PALE),
                go.Scatter(x=[], y=[], mode="lines", name="wall as it is cut",
                           line={"color": HUE, "width": 4, "dash": "dash"}),
            ],
            title={"text": "Seen from above"}, height=520, width=640,
            xaxis={"visible": False}, yaxis={"visible": False, "scaleanchor": "x"},
            legend={"orientation": "h", "y": -0.02},
        )  # fmt: skip
        super().__init__(system, (self.way, self.width, self.feed, self.rpm, self.stick_out), drawn)

    @property
    def direction(self) -> Direction:
        """Which way round."""
        return "climb" if self.way.value == "climb" else "conventional"

    def update(self) -> None:
        """Reckon push and wall by the models of the package, and draw them."""
        width = min(self.width.value, _D)
        cutter = square_cutter(_D, max(self.stick_out.value, 30.0))
        cut = ask(cutter, self._wood, self._machine, station="flat", grain=grain_vector("flat"), depth=_DEPTH,
                  width=width)  # fmt: skip
        loads = {b: Load(cutter, cut.coefficients[b], cut.grain, width, _DEPTH, self.direction) for b in BANDS}
        self.per_tooth = float(feed_per_tooth(self.feed.value, self.rpm.value, 2))
        self.off = {b: float(push_off(loads[b], cut.give[b], self.per_tooth, _DEPTH / 2)[0]) for b in BANDS}
        forces = loads["likely"].at(self.per_tooth)
        self.push = float(forces.feed), float(forces.side)
        self._say()
        self._draw(width)

    def _say(self) -> None:
        away = self.push[1] * (1 if self.direction == "climb" else -1) > 0
        side = "AWAY from the wall" if away else "TOWARDS the wall"
        ahead = self.push[0] > 0
        off = self.off["likely"]

        def told(value: float, quantity: str = "length") -> str:
            return tell(abs(value), quantity, self.system, 2)

        wall = f"{told(off)} too much {'stays on the wall' if off > 0 else 'is taken off the wall'}"
        if len({v > 0 for v in self.off.values()}) > 1:
            wall = "the wall may be off either way"

        bands = "; ".join(f"{b} {told(v)} {'stays' if v > 0 else 'taken'}" for b, v in self.off.items())
        rows = [
            ["mean push to the side", f"{told(self.push[1], 'force')}, {side.lower()}"],
            [
                "mean push along the feed",
                f"{told(self.push[0], 'force')}, {'pulls it ahead: it can grab' if ahead else 'holds it back'}",
            ],
            ["error of the wall, by force", bands],
            ["feed per tooth", told(self.per_tooth, "feed_per_tooth")],
            ["one flute's chip", "thick to thin" if self.direction == "climb" else "thin to thick"],
        ]
        self.tell(
            f"Pushed {side} and {'AHEAD' if ahead else 'BACK'}; {wall}", "The push", rows,
            "White oak along the grain, 1/2 in (12.7 mm) cutter, 10 mm (0.394 in) deep. The forces are from memory in "
            "part: trust the way it goes, measure how much. Chatter, the ringing of cutter and part, is not in it.",
        )  # fmt: skip

    def _draw(self, width: float) -> None:
        per, r = LENGTH[self.system].per, _D / 2
        wall = -r if self.direction == "climb" else r
        low, high, edge = -1.6 * r, 2.4 * r, 1.6 * wall
        a = np.linspace(*arc(width, _D, self.direction), 60)
        around = np.linspace(0, 2 * math.pi, 120)
        rim = r * np.sin(a), r * np.cos(a)
        chip = chip_at(self.per_tooth, a)
        times = magnified(float(chip.max()), 4 * r)
        inner = r - times * chip
        off = self.off["likely"]
        more = magnified(off, 4 * r)
        cut = wall - math.copysign(more * off, wall)
        free = wall - math.copysign(width, wall)
        order = slice(None, None, -1) if self.direction == "climb" else slice(None)  # from the wall on
        lines = (
            ([low, high, high, low, low], [wall, wall, edge, edge, wall]),
            ([high, *rim[0][order], high, high], [wall, *rim[1][order], free, wall]),
            (r * np.sin(around), r * np.cos(around)),
            ([*rim[0], *(inner * np.sin(a))[::-1]], [*rim[1], *(inner * np.cos(a))[::-1]]),
            ([low, 0.0], [cut, cut]),
        )
        with self.figure.change() as f:
            for trace, (x, y) in zip(f.data, lines, strict=True):
                trace.x, trace.y = np.asarray(x) / per, np.asarray(y) / per
            f.layout.annotations = self._words(r / per, wall / per, cut / per, times, more)

    def _words(self, r: float, wall: float, cut: float, times: int, more: int) -> list[dict[str, object]]:
        size = math.hypot(*self.push) or 1.0
        tip = self.push[0] / size * r, self.push[1] / size * r
        turn = 0.9 if self.direction == "climb" else 2.2  # on the side away from the wall
        begin = (1.12 * r * math.sin(turn - 0.5), 1.12 * r * math.cos(turn - 0.5))
        end = (1.12 * r * math.sin(turn), 1.12 * r * math.cos(turn))
        free = -wall
        return [
            arrow((1.4 * r, 1.25 * free), (2.3 * r, 1.25 * free), "feed", GREY),
            arrow(begin, end, "turns", GREY),
            arrow((0.0, 0.0), tip, "push", _BLACK),
            label(1.75 * r, 0.35 * free, f"chip drawn {times} times as thick"),
            label(-1.0 * r, cut + 0.12 * free, f"its error drawn {more} times larger", yanchor="middle"),
        ]


def climb_control(system: System = "inch") -> ClimbControl:
    """The control over climb and conventional, to be shown by ``.view``.

    Parameters
    ----------
    system : {"metric", "inch"}
        Units at first.
    """
    return ClimbControl(system)
