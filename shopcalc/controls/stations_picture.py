"""A part laid in one of the three stations and turned: which face looks where, and where a joint then lies."""

from __future__ import annotations

import math
from collections.abc import Mapping

import ipywidgets as widgets
import numpy as np
import plotly.graph_objects as go

from shopcalc.controls.parts import (
    GREY,
    HUE,
    LENGTH,
    PALE,
    LiveFigure,
    MeasuredControl,
    big,
    choice,
    figure,
    note,
    table,
)
from shopcalc.machines import STATIONS
from shopcalc.moves import Floats
from shopcalc.units import System, write

#: Faces of a part by the direction they look to: along its length, its width, its thickness.
FACES: Mapping[tuple[int, int], str] = {
    (0, -1): "end A", (0, 1): "end B", (1, 1): "marked edge", (1, -1): "other edge", (2, 1): "marked face",
    (2, -1): "back",
}  # fmt: skip
#: Columns: where length, width and thickness point in the station, whose axes are right, to the fence, up.
_LAID: Mapping[str, Floats] = {
    "flat": np.array([[1, 0, 0], [0, 1, 0], [0, 0, 1]], float).T,
    "edge": np.array([[-1, 0, 0], [0, 0, 1], [0, 1, 0]], float).T,
    "end": np.array([[0, 0, -1], [-1, 0, 0], [0, 1, 0]], float).T,
}
_TURNS: Mapping[str, Floats] = {
    "as it was laid": np.diag([1.0, 1.0, 1.0]), "rolled over: right and left stay": np.diag([1.0, -1.0, -1.0]),
    "tipped over: fence side stays": np.diag([-1.0, 1.0, -1.0]), "turned round: top stays": np.diag([-1.0, -1.0, 1.0]),
}  # fmt: skip
_WAYS = (((2, 1), "up, to the spindle"), ((1, 1), "at the fence"), ((0, -1), "to the left"), ((1, -1), "towards you"),
         ((0, 1), "to the right"), ((2, -1), "down, on the table or clamp"))  # fmt: skip
_TITLES = {"flat": "flat on the table", "edge": "stood on its long edge", "end": "stood on end"}

#: Which side has to look up to the spindle for the joint to be cut into it.
RIGHT_UP = {"flat": "marked face", "edge": "marked edge", "end": "end A"}


class StationsControl:
    """Lay the part, turn it, and see where its marks and its joint are.

    Parameters
    ----------
    system : {"metric", "inch"}
        Units at first.
    """

    def __init__(self, system: System = "inch") -> None:
        self.units = widgets.ToggleButtons(options=["inch", "metric"], value=system, description="units")
        self.station = choice("station", [(_TITLES[s], s) for s in STATIONS], "flat", self.update)
        self.turn = choice("then it is", [(t, t) for t in _TURNS], "as it was laid", self.update)
        self.width = MeasuredControl("rail is wide", 76.2, 30, 150, LENGTH, system)
        self.thickness = MeasuredControl("rail is thick", 22.225, 10, 60, LENGTH, system)
        self.place = MeasuredControl("joint's middle from the mark", 9.525, 2, 75, LENGTH, system)
        self.measured = MeasuredControl("thickness as measured", 22.9, 10, 60, LENGTH, system)
        self._numbers = (self.width, self.thickness, self.place, self.measured)
        self.figure = _empty()
        self.answer, self.table = widgets.HTML(), widgets.HTML()
        for n in self._numbers:
            n.observe(self.update)
        self.units.observe(lambda _: self._change_units(), names="value")
        self.view = widgets.VBox([self.units, self.station, self.turn, *(n.view for n in self._numbers), self.answer,
                                  self.figure, self.table])  # fmt: skip
        self.update()

    @property
    def system(self) -> System:
        """Units that are shown."""
        return "metric" if self.units.value == "metric" else "inch"

    def _change_units(self) -> None:
        for n in self._numbers:
            n.system = self.system
        self.update()

    @property
    def lie(self) -> Floats:
        """Where length, width and thickness of the part point in the station, as columns [-]."""
        out: Floats = _TURNS[self.turn.value] @ _LAID[self.station.value]
        return out

    def face(self, axis: int, way: int) -> str:
        """Which face of the part looks somewhere.

        Parameters
        ----------
        axis : int
            Of the station: 0 to the right, 1 to the fence, 2 up [-].
        way : int
            1 along the axis, -1 against it [-].
        """
        along = self.lie[axis]
        part = int(np.argmax(np.abs(along)))
        return FACES[part, way * round(float(along[part]))]

    @property
    def from_fence(self) -> float:
        """Where the middle of the joint lies, from the fence [mm].

        Flat, the joint is a groove in the marked face and its place counts from the marked edge; on edge and on end
        it counts across the thickness from the marked face.
        """
        flat = self.station.value == "flat"
        whole = self.width.value if flat else self.thickness.value
        mark = "marked edge" if flat else "marked face"
        place = min(self.place.value, whole)
        return place if self.face(1, 1) == mark else whole - place

    def update(self) -> None:
        """Turn the part and say where everything is."""
        s = self.system
        right = RIGHT_UP[self.station.value]
        up = self.face(2, 1)
        far = write(self.from_fence, "length", s, fraction=False)
        self.verdict = f"up: {up}; at the fence: {self.face(1, 1)}; the joint's middle is {far} from the fence"
        warn = "" if up == right else f" ✗ The {right} does not look up: this side is not the one to cut."
        self.answer.value = big(self.verdict + warn)
        rows = [[words, self.face(*way)] for way, words in _WAYS]
        low = write(abs(self.measured.value - self.thickness.value), "length", s, fraction=False)
        deep = "deeper" if self.measured.value > self.thickness.value else "shallower"
        zero = (
            "Zero on the top: every depth is true, whatever the thickness. Zero on the table, with the thickness of "
            f"the drawing: all cuts from the top come out {low} {deep}."
        )
        self.table.value = (
            table("Where each face looks", ["way", "face"], rows, words=(1,))
            + note(zero)
            + note("Geometry. The mark, a pencil line, goes on once, on the best face and edge, and stays to the end.")
        )
        _draw(self.figure, self)


def _empty() -> LiveFigure:
    return figure([], title={"text": ""}, height=420, width=640, showlegend=False,
                  xaxis={"visible": False, "scaleanchor": "y"}, yaxis={"visible": False})  # fmt: skip


_EYE = (math.cos(math.radians(25)), math.sin(math.radians(25)))


def _seen(p: Floats) -> Floats:
    """Slanting view: right stays right, the fence goes up and to the right, up stays up."""
    return np.stack([p[..., 0] + 0.55 * _EYE[0] * p[..., 1], p[..., 2] + 0.55 * _EYE[1] * p[..., 1]], axis=-1)


def _draw(drawn: LiveFigure, control: StationsControl) -> None:
    size = np.abs(control.lie) @ np.array([3.4, 2.2, 1.5])  # a part that shows all its faces; not to scale
    x, y, z = size / 2
    faces = (
        ((2, 1), [(-x, -y, z), (x, -y, z), (x, y, z), (-x, y, z)]),
        ((1, -1), [(-x, -y, -z), (x, -y, -z), (x, -y, z), (-x, -y, z)]),
        ((0, 1), [(x, -y, -z), (x, y, -z), (x, y, z), (x, -y, z)]),
    )
    wall = _seen(np.array([(sx * (x + 0.5), y, sz) for sx, sz in ((-1, -z), (1, -z), (1, 1.25 * z), (-1, 1.25 * z))]))
    traces = [go.Scatter(x=wall[[0, 1, 2, 3, 0], 0], y=wall[[0, 1, 2, 3, 0], 1], mode="lines", fill="toself",
                         fillcolor="#dddddd", line={"color": "#111", "width": 2}, hoverinfo="skip")]  # fmt: skip
    words = [{"x": wall[2, 0], "y": wall[2, 1], "text": "fence", "showarrow": False, "yshift": 10, "xanchor": "right"}]
    for (axis, way), corners in faces:
        name = control.face(axis, way)
        p = _seen(np.array([*corners, corners[0]], float))
        marked = name.startswith("marked")
        traces.append(go.Scatter(
            x=p[:, 0], y=p[:, 1], mode="lines", fill="toself", fillcolor=PALE if marked else "#f2ead8",
            line={"color": HUE if marked else GREY, "width": 5 if marked else 2}, hoverinfo="skip",
        ))  # fmt: skip
        middle = p[:4].mean(axis=0) - (np.array([0.5 * x, 0.0]) if axis == 2 else 0.0)  # beside the joint
        shown = ("✓ " if marked else "") + (name.replace(" ", "<br>") if axis == 0 else name)  # that side is narrow
        words.append({"x": middle[0], "y": middle[1], "text": shown, "showarrow": False,
                      "font": {"size": 15, "color": "#111"}})  # fmt: skip
    whole = control.width.value if control.station.value == "flat" else control.thickness.value
    across = y - 2 * y * min(control.from_fence / whole, 1.0)
    joint = _seen(np.array([(0.1 * x, across, z), (0.9 * x, across, z)]))
    right = control.face(2, 1) == RIGHT_UP[control.station.value]
    line = {"color": "#111", "width": 6, "dash": "dot"}
    traces.append(go.Scatter(x=joint[:, 0], y=joint[:, 1], mode="lines", line=line, opacity=1.0 if right else 0.0,
                             hoverinfo="skip"))  # fmt: skip
    words += [
        {"x": 0, "y": z + 0.55 * y * _EYE[1] + 0.1, "ax": 0, "ay": -60, "text": "spindle", "showarrow": True,
         "arrowwidth": 3, "arrowhead": 2},
    ]  # fmt: skip
    title = f"{_TITLES[control.station.value]}, {control.turn.value}; dotted: the joint's middle"
    with drawn.change() as f:
        if not f.data:
            f.add_traces(traces)
        for old, new in zip(f.data, traces, strict=True):
            old.update(x=new.x, y=new.y, fillcolor=new.fillcolor, line=new.line, opacity=new.opacity)
        f.layout.annotations = words
        f.layout.title.text = title


def stations_control(system: System = "inch") -> StationsControl:
    """The control over a part in its three stations, to be shown by ``.view``.

    Parameters
    ----------
    system : {"metric", "inch"}
        Units at first.
    """
    return StationsControl(system)
