"""Speed along a run of moves: what the feed asks for, what the machine reaches, and the minutes that come of it."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import plotly.graph_objects as go

from shopcalc.controls.parts import (
    FEED,
    GREY,
    HUE,
    LONG,
    PALE,
    MeasuredControl,
    NumberControl,
    Shown,
    choice,
    figure,
)
from shopcalc.controls.played import Played, label
from shopcalc.lessons.minutes import run
from shopcalc.units import System, write, write_time

_RATE: Mapping[System, Shown] = {"metric": Shown("mm/s²", 1.0, 50.0, 1), "inch": Shown("in/s²", 25.4, 1.0, 2)}
_DRAWN = 8  # moves at most


class MinutesControl(Played):
    """Move length, count, feed and acceleration of straight moves; see which feed is reached.

    Parameters
    ----------
    system : {"metric", "inch"}
        Units at first.
    """

    def __init__(self, system: System = "inch") -> None:
        self.length = MeasuredControl("length of a move", 12.7, 1, 1000, LONG, system)
        self.count = NumberControl("moves", 40, 1, 400, 1)
        self.feed = MeasuredControl("feed in the program", 6096, 500, 12000, FEED, system)
        self.rate = MeasuredControl("acceleration of an axis", 508, 100, 2000, _RATE, system)
        self.corner = choice("between moves", [("a square corner, where it stops", True),
                                               ("straight on, without a stop", False)], True, self.update)  # fmt: skip
        drawn = figure(
            [
                go.Scatter(x=[], y=[], mode="lines", fill="tozeroy", name="feed of the machine",
                           line={"color": HUE, "width": 3}, fillcolor=PALE),
                go.Scatter(x=[], y=[], mode="lines", name="feed in the program",
                           line={"color": GREY, "dash": "dash", "width": 3}),
            ],
            title={"text": "Feed along the way"}, height=360, width=640,
            xaxis={"title": {"text": ""}}, yaxis={"title": {"text": ""}, "rangemode": "tozero"},
            legend={"orientation": "h", "y": -0.3},
        )  # fmt: skip
        super().__init__(system, (self.length, self.count, self.feed, self.rate, self.corner), drawn)

    def update(self) -> None:
        """Time the moves by the engine that times programs, and draw their feed."""
        n, length = round(self.count.value), self.length.value
        stop = bool(self.corner.value)
        time = run([length] * n, self.feed.value, self.rate.value, stop=stop)
        self.seconds, self.plain = time.total_s, 60 * n * length / self.feed.value
        self.reached = 60 * float(time.peak.max())
        self._say(n)
        few = time if n <= _DRAWN else run([length] * _DRAWN, self.feed.value, self.rate.value, stop=stop)
        distance, speed, _ = few.profile()
        length_shown, feed_shown = LONG[self.system], FEED[self.system]
        with self.figure.change() as f:
            f.data[0].x, f.data[0].y = distance / length_shown.per, 60 * speed / feed_shown.per
            f.data[1].x = np.array([0.0, distance[-1]]) / length_shown.per
            f.data[1].y = [self.feed.value / feed_shown.per] * 2
            f.layout.xaxis.title.text = f"way, {length_shown.unit}"
            f.layout.yaxis.title.text = f"feed, {feed_shown.unit}"
            top = self.feed.value / feed_shown.per
            f.layout.yaxis.range = [0, 1.2 * top]
            f.layout.annotations = [label(distance[-1] / length_shown.per / 2, 1.12 * top,
                                          f"{min(n, _DRAWN)} of {n} moves drawn")]  # fmt: skip

    def _say(self, count: int) -> None:
        def told(value: float) -> str:
            return write(value, "feed", self.system)

        v = self.feed.value / 60
        needed = write(v * v / self.rate.value, "length", self.system, fraction=False)
        short = self.reached < 0.999 * self.feed.value
        rows = [
            ["length over feed", write_time(self.plain)],
            ["what the machine takes", f"{write_time(self.seconds)}, {self.seconds / self.plain:.2f} times as long"],
            ["feed in the program", told(self.feed.value)],
            ["greatest feed that is reached", told(self.reached)],
            ["way to speed up to it and slow down", needed],
            ["the chip where it is fastest, against the planned one", f"{self.reached / self.feed.value:.0%}"],
        ]
        said = f"it NEVER reaches its feed: only {told(self.reached)}" if short else "it reaches its feed"
        self.tell(
            f"{count} moves take {write_time(self.seconds)}, not {write_time(self.plain)}; {said}", "The minutes", rows,
            "Even acceleration of each axis, from rest to rest. Your control may blend corners, limit jerk or read "
            "blocks slowly: a timed program of yours tells. Turning the feed up saves nothing where it is not reached.",
        )  # fmt: skip


def minutes_control(system: System = "inch") -> MinutesControl:
    """The control over moves and minutes, to be shown by ``.view``.

    Parameters
    ----------
    system : {"metric", "inch"}
        Units at first.
    """
    return MinutesControl(system)
