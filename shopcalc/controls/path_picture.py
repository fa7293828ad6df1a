"""Pictures of a program's path: line width is the share of speed lost, numbers lead to the slowest places.

``PathPicture`` takes ``MotionTime`` piece by piece, whole programs or windows of huge ones, keeps bounded memory, and
draws the plan, the view from the front and the depth along the path to within a tolerance that it states.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import plotly.graph_objects as go
from numpy.typing import NDArray

from shopcalc.compiling import compiled
from shopcalc.controls.parts import GREY, HUE, TEMPLATE, table
from shopcalc.controls.thinning import CUT, NO_FEED, RAPID, VIEWS, Strokes, Thinner, View, sorts_of
from shopcalc.motion import HELD_BACK
from shopcalc.moves import PLANE_AXES, Floats, Kind, Moves, Stop
from shopcalc.units import System, write

if TYPE_CHECKING:
    from shopcalc.motion import MotionTime

#: Most points drawn in one view.
MOST_POINTS = 6000
#: Of the pictures [px]: a tablet held upright shows them whole.
WIDTH = 680
_INNER = WIDTH - 90.0
_MOST_STOPS = 600
_NEAR = 5.0  # mm along the path: losses this close to each other are one place
_LONGEST = 15.0  # mm: no place is longer, or a whole carving would be one
_KEPT = 9  # slowest places kept
_CLEARLY = 1 + 1e-9  # of equals the first counts, whatever rounding says
_INK = "#222222"

#: Line width of each class of lost speed [px], and what the legend says.
CLASSES = (
    (1.3, "runs as asked"),
    (3.0, "up to a quarter lost"),
    (5.0, "a quarter to a half lost"),
    (7.5, "a half to three quarters lost"),
    (11.0, "more than three quarters lost"),
)
_LENGTH: dict[System, tuple[str, float, int]] = {"metric": ("mm", 1.0, 1), "inch": ("in", 25.4, 3)}
_FAR: dict[System, tuple[str, float, int]] = {"metric": ("m", 1000.0, 3), "inch": ("ft", 304.8, 3)}
_SPEED: dict[System, tuple[str, float]] = {"metric": ("m/min", 1000 / 60), "inch": ("in/min", 25.4 / 60)}
_STANDS = {
    Stop.PROGRAM_STOP: "program stop", Stop.OPTIONAL_STOP: "optional stop", Stop.END: "end of the program",
    Stop.SPINDLE_START: "spindle starts", Stop.SPINDLE_STOP: "spindle stops", Stop.OTHER: "stop",
}  # fmt: skip

#: In words, what bounds the speed between two moves (see ``MotionTime.bounds``).
_SLOWED = {
    0: "for a slower neighbouring move", 1: "at a corner", 2: "in a bend of fine chords",
    3: "because it knows too few moves ahead", 4: "for a stop",
}  # fmt: skip

#: Which of x, y, z and distance a view shows.
_AXES: dict[View, tuple[int, int]] = {"plan": (0, 1), "front": (0, 2), "depth": (3, 2)}

# columns of a place
_LOST, _LIMITS, _RAMPS, _JERK, _BLOCKS, _FROM, _TO, _LINE0, _LINE1, _MOST, _X, _Y, _Z, _SLOW, _ASKED, _WHY = range(16)


def _put(best: Floats, place: Floats) -> None:
    """Sort a finished place into the list of the slowest; of equals the earlier stays before."""
    k = len(best)
    while k > 0 and place[_LOST] > best[k - 1, _LOST] * _CLEARLY:
        k -= 1
    if k < len(best):
        for n in range(len(best) - 1, k, -1):
            best[n] = best[n - 1]
        best[k] = place


def _note(
    place: Floats, best: Floats, at: float, parts: tuple[float, float, float, float], x: float, y: float, z: float,
    line: int, speed: float, asked: float, why: int,
) -> None:  # fmt: skip
    """Count one loss into the place at hand, or begin the next with it."""
    lost = parts[0] + parts[1] + parts[2] + parts[3]
    if lost <= 1e-9:
        return
    if place[_LOST] > 0 and (at - place[_TO] > _NEAR or at - place[_FROM] > _LONGEST):
        _put(best, place)
        place[:] = 0.0
    if place[_LOST] == 0.0:
        place[_FROM] = at
        place[_LINE0] = line
        place[_SLOW] = np.inf
    place[_LOST] += lost
    for k in range(4):
        place[_LIMITS + k] += parts[k]
    place[_TO] = at
    place[_LINE1] = line
    place[_SLOW] = min(place[_SLOW], speed)
    place[_ASKED] = max(place[_ASKED], asked)
    if lost > place[_MOST] * _CLEARLY:
        place[_MOST] = lost
        place[_WHY] = why
        place[_X] = x
        place[_Y] = y
        place[_Z] = z


def _losses(
    distance: float, points: Floats, middle: Floats, sort: NDArray[np.int8], length: Floats, seconds: Floats,
    entry: Floats, exit_: Floats, peak: Floats, asked: Floats, limits: Floats, ramps: Floats, jerk: Floats,
    blocks: Floats, bounds: NDArray[np.uint8], held: NDArray[np.uint8], line: NDArray[np.int32], place: Floats,
    best: Floats,
) -> float:  # fmt: skip
    """Find the slowest places; returns the distance at the end.

    A ramp from v0 to the greatest speed v loses (v - v0)^2 / (2 a v): so what speeding up and slowing down cost is
    shared between the two ends of a move. What limits and blocks cost stands at its middle.
    """
    for i in range(len(sort)):
        if sort[i] == CUT:
            a, b = (peak[i] - entry[i]) ** 2, (peak[i] - exit_[i]) ** 2
            share = a / (a + b) if a + b > 0 else 0.5
            p = points[i]
            _note(
                place, best, distance, (0.0, ramps[i] * share, jerk[i] * share, 0.0), p[0], p[1], p[2], line[i],
                entry[i], asked[i], bounds[i],
            )  # fmt: skip
            p = middle[i]
            mean = length[i] / seconds[i] if seconds[i] > 0 else 0.0
            _note(
                place, best, distance + length[i] / 2, (limits[i], 0.0, 0.0, blocks[i]), p[0], p[1], p[2], line[i],
                mean, asked[i], held[i],
            )  # fmt: skip
            p, share = points[i + 1], 1.0 - share
            _note(
                place, best, distance + length[i], (0.0, ramps[i] * share, jerk[i] * share, 0.0), p[0], p[1], p[2],
                line[i], exit_[i], asked[i], bounds[i + 1],
            )  # fmt: skip
        if sort[i] >= 0:
            distance += length[i]
    return distance


if TYPE_CHECKING:
    _find = _losses
else:
    _put = compiled(_put)
    _note = compiled(_note)
    _find = compiled(_losses)


@dataclass(frozen=True)
class Place:
    """Where the machine loses time against the asked feed.

    Parameters
    ----------
    number : int
        1 is the slowest.
    lines : (int, int)
        First and last program line that has to do with it.
    at : (float, float, float)
        x, y, z of its greatest loss [mm].
    distance : (float, float)
        Along the path, from and to [mm].
    lost_s : float
        Seconds lost.
    causes : (float, float, float, float)
        Of them: limits of axes and arcs; corners, starts and stops; gradual acceleration; waiting for blocks [s].
    slowest, asked : float
        Speed there and speed asked for [mm/s].
    why : int
        At its greatest loss: what bounds the speed, as in ``MotionTime.bounds``, or ``MotionTime.held_back`` where
        limits or blocks cost most.
    """

    number: int
    lines: tuple[int, int]
    at: tuple[float, float, float]
    distance: tuple[float, float]
    lost_s: float
    causes: tuple[float, float, float, float]
    slowest: float
    asked: float
    why: int

    def held_by(self, system: System = "metric") -> str:
        """What held the machine back, in words."""
        unit, per = _SPEED[system]
        slow, asked = f"{self.slowest / per:.3g}", f"{self.asked / per:.3g} {unit}"
        main = int(np.argmax(self.causes))
        if main == 1 and self.slowest < 1e-3:
            text = f"comes to a full stop, asked {asked}"
        elif main == 1:
            text = f"slows to {slow} {_SLOWED.get(self.why, 'at a corner')}, asked {asked}"
        else:
            limit = "the arc" if self.why < len(HELD_BACK) and HELD_BACK[self.why] == "arc" else "the speed of an axis"
            text = {
                0: f"{limit} allows {slow} of {asked}",
                2: f"acceleration builds up gradually: {slow} of {asked}",
                3: f"waits for blocks: {slow} of {asked} on average",
            }[main]
        names = ("a limit of axis or arc", "corners, starts or stops", "gradual acceleration", "waiting for blocks")
        also = [n for k, n in enumerate(names) if k != main and self.causes[k] > 0.25 * self.lost_s]
        return f"{text}; also {also[0]}" if also else text

    @property
    def line_words(self) -> str:
        """Its program lines in words, as "lines 12 to 14"."""
        first, last = self.lines
        return f"line {first}" if first == last else f"lines {first} to {last}"


@dataclass
class _Stands:
    """Collects where the machine stands; many that lie close together in a view become one with their sum."""

    rows: Floats = field(default_factory=lambda: np.zeros((0, 5)))
    what: list[str] = field(default_factory=list)
    spent: Floats = field(default_factory=lambda: np.zeros(2))

    def add(self, rows: Floats, what: list[str]) -> None:
        self.rows, self.what = np.concatenate([self.rows, rows]), self.what + what
        if len(self.rows) > 8 * _MOST_STOPS:
            merged = self.merged(2 * _MOST_STOPS)
            self.rows, self.what, self.spent = merged.rows, merged.what, merged.spent

    def merged(self, most: int) -> _Stands:
        if len(self.rows) <= most:
            return self
        low = self.rows[:, :2].min(axis=0)
        cell = np.maximum((self.rows[:, :2].max(axis=0) - low) / 1000, 1e-6)
        while True:
            cells = np.floor((self.rows[:, :2] - low) / cell).astype(np.int64)
            _, first, at = np.unique(cells, axis=0, return_index=True, return_inverse=True)
            if len(first) <= most:
                break
            cell = cell * 1.5
        rows = self.rows[first].copy()
        for column in (2, 3):
            rows[:, column] = np.bincount(at.ravel(), self.rows[:, column])
        order = np.argsort(first)
        return _Stands(rows[order], [self.what[k] for k in first[order]], self.spent + cell)


class PathPicture:
    r"""Draws what it is given, piece by piece.

    Parameters
    ----------
    window : (4, 2) float, optional
        Least and greatest x, y, z and distance along the path: a view leaves out what lies outside, and is so much
        finer for what is left [mm].
    most : int
        Points drawn in one view at most.

    Example
    -------
    >>> from shopcalc.gcode import read_text
    >>> from shopcalc.machines import Axis, Controller, Machine
    >>> from shopcalc.motion import machine_time
    >>> machine = Machine(axes=(Axis(20_000, 12_000, 500),) * 3, controller=Controller(corner="stop"))
    >>> picture = PathPicture()
    >>> picture.add(machine_time(read_text("G21 F6000\nG1 X100\nY80\n").moves, machine))
    >>> picture.extents[1].tolist()
    [0.0, 80.0]
    >>> picture.places(1)[0].line_words
    'lines 2 to 3'
    """

    def __init__(self, window: Sequence[Sequence[float]] | None = None, most: int = MOST_POINTS) -> None:
        self.most = most
        edges = np.array([[-np.inf, np.inf]] * 4 if window is None else window, dtype=float)
        edges[2] = (-np.inf, np.inf) if window is None else edges[2]
        self._thinners = {view: Thinner(view, np.concatenate([edges[u], edges[v]])) for view, (u, v) in _AXES.items()}
        self._edges = edges
        self._stands: dict[View, _Stands] = {view: _Stands() for view in VIEWS}
        self._place, self._best = np.zeros(16), np.zeros((_KEPT, 16))
        self.distance = 0.0
        #: Line of the first cutting move whose feed nobody said, and how many such moves there are.
        self.no_feed_line: int | None = None
        self.no_feed_moves = 0

    @property
    def extents(self) -> Floats:
        """(3, 2) float: least and greatest x, y, z of all that is drawn, bulges of arcs included [mm]."""
        plan, front = self._thinners["plan"].extents, self._thinners["front"].extents
        return np.stack([plan[0], plan[1], front[1]])

    def add(self, time: MotionTime) -> None:
        """Draw some more moves.

        Parameters
        ----------
        time : MotionTime
            Of moves that begin where those before ended, or elsewhere after a gap.
        """
        moves = time.moves
        if not len(moves):
            return
        length = moves.lengths
        sort = sorts_of(moves.kind, length, time.seconds)
        lost = time.lost_to_limits + time.lost_to_ramps + time.lost_to_jerk + time.lost_to_blocks
        known = (sort == CUT) & np.isfinite(lost)
        seconds = np.where(np.isfinite(time.seconds), time.seconds, 0.0)
        for view in self._thinners.values():
            view.add(time, sort, length, seconds)
        self._add_stands(moves, length, sort, time.seconds)
        end = _find(
            self.distance, moves.points, _middles(moves), np.where(known | (sort != CUT), sort, RAPID).astype(np.int8),
            length, seconds, time.entry, time.exit, time.peak, time.asked, time.lost_to_limits, time.lost_to_ramps,
            time.lost_to_jerk, time.lost_to_blocks, time.bounds, time.held_back, moves.line, self._place, self._best,
        )  # fmt: skip
        self.distance = float(end)
        missing = np.flatnonzero(sort == NO_FEED)
        self.no_feed_moves += len(missing)
        if len(missing) and self.no_feed_line is None:
            self.no_feed_line = int(moves.line[missing[0]])

    def _add_stands(self, moves: Moves, length: Floats, sort: NDArray[np.int8], seconds: Floats) -> None:
        at = np.flatnonzero(moves.kind > Kind.ARC)
        if not len(at):
            return
        along = self.distance + np.cumsum(np.where(sort >= 0, length, 0.0))[at]
        place = np.column_stack([moves.points[at], along])
        what = [_stands(int(k), float(v)) for k, v in zip(moves.kind[at], moves.value[at], strict=True)]
        for view, (u, v) in _AXES.items():
            inside = np.all(
                (place[:, [u, v]] >= self._edges[[u, v], 0]) & (place[:, [u, v]] <= self._edges[[u, v], 1]), 1
            )
            rows = np.column_stack([place[:, u], place[:, v], seconds[at], np.ones(len(at)), moves.line[at]])
            self._stands[view].add(rows[inside], [w for w, yes in zip(what, inside, strict=True) if yes])

    def strokes(self, view: View) -> Strokes:
        """What is drawn of a view.

        Parameters
        ----------
        view : {"plan", "front", "depth"}
            Which.
        """
        return self._thinners[view].strokes(self.most - _MOST_STOPS - 40)

    def places(self, count: int = 5) -> list[Place]:
        """The places that lose most, the slowest first; losses within a few mm of path are one place.

        Parameters
        ----------
        count : int
            How many at most, up to nine.
        """
        best = self._best.copy()
        if self._place[_LOST] > 0:
            _put(best, self._place)
        return [
            Place(
                n, (int(p[_LINE0]), int(p[_LINE1])), (float(p[_X]), float(p[_Y]), float(p[_Z])),
                (float(p[_FROM]), float(p[_TO])), float(p[_LOST]),
                (float(p[_LIMITS]), float(p[_RAMPS]), float(p[_JERK]), float(p[_BLOCKS])), float(p[_SLOW]),
                float(p[_ASKED]), int(p[_WHY]),
            )
            for n, p in enumerate(best[:count], start=1) if p[_LOST] > 0
        ]  # fmt: skip

    def traces(
        self, view: View, system: System = "metric", places: Sequence[Place] = (), strokes: Strokes | None = None
    ) -> list[go.Scatter]:
        """The lines and markers of a view, always the same ten in the same order.

        Parameters
        ----------
        view : {"plan", "front", "depth"}
            Which.
        system : {"metric", "inch"}
            Units shown.
        places : sequence of Place
            To be marked.
        strokes : Strokes, optional
            Those of the view, when they are at hand.
        """
        s = self.strokes(view) if strokes is None else strokes
        per = _scale(view, system)
        plunges = _points_only(s)
        out = [
            _line(s, (s.sort == RAPID) & ~plunges, per, "rapids", {"color": GREY, "width": 1, "dash": "dash"}),
            _line(
                s, (s.sort == NO_FEED) & ~plunges, per, "no feed is known", {"color": _INK, "width": 2, "dash": "dot"}
            ),
        ]
        classes = s.width_class
        for k, (width, name) in enumerate(CLASSES):
            chosen = (s.sort == CUT) & (classes == k) & ~plunges
            out.append(_line(s, chosen, per, name, {"color": HUE, "width": width}, always=True))
        down = plunges & (s.sort != RAPID)
        size = np.where(s.sort == CUT, 4.0 + 2.0 * classes, 5.0)[down]
        out.append(
            go.Scatter(
                x=_numbers(s.ends[down, 0, 0] / per[0]), y=_numbers(s.ends[down, 0, 1] / per[1]), mode="markers",
                name="straight down", marker={"color": HUE, "size": size.tolist()}, hoverinfo="name",
                showlegend=bool(down.any()),
            )
        )  # fmt: skip
        stands = self._stands[view].merged(_MOST_STOPS)
        text = [
            f"{what}, {write(row[2], 'time')}, line {int(row[4])}" if row[3] == 1
            else f"{int(row[3])} stops, {write(row[2], 'time')} in all, the first in line {int(row[4])}"
            for row, what in zip(stands.rows, stands.what, strict=True)
        ]  # fmt: skip
        out.append(
            go.Scatter(
                x=_numbers(stands.rows[:, 0] / per[0]), y=_numbers(stands.rows[:, 1] / per[1]), mode="markers",
                name="machine stands", hovertext=text, hoverinfo="text", showlegend=bool(len(text)),
                marker={"symbol": "x-thin", "size": 10, "line": {"color": _INK, "width": 2.5}},
            )
        )  # fmt: skip
        at = [_seen(p, view) for p in places]
        out.append(
            go.Scatter(
                x=[u / per[0] for u, _ in at], y=[v / per[1] for _, v in at], mode="markers", name="slowest places",
                hovertext=[f"{p.number}: {p.line_words}, {p.lost_s:.2f} s lost" for p in places], hoverinfo="text",
                marker={"symbol": "circle-open", "size": 13, "color": _INK, "line": {"width": 2}},
                showlegend=bool(at),
            )
        )  # fmt: skip
        return out

    def tolerance(self, view: View, strokes: Strokes) -> tuple[float, float]:
        """How far what is drawn may be from the path, in u and in v [mm].

        Parameters
        ----------
        view : {"plan", "front", "depth"}
            Which.
        strokes : Strokes
            Those of the view.
        """
        stands = self._stands[view].merged(_MOST_STOPS).spent
        return max(strokes.tolerance[0], float(stands[0])), max(strokes.tolerance[1], float(stands[1]))

    def said(self, view: View, strokes: Strokes, system: System = "metric") -> str:
        """How true the picture is, in words.

        Parameters
        ----------
        view : {"plan", "front", "depth"}
            Which.
        strokes : Strokes
            Those of the view.
        system : {"metric", "inch"}
            Units shown.
        """
        unit, per, _ = _LENGTH[system]
        u, v = (t / per for t in self.tolerance(view, strokes))
        text = f"drawn to within {_rounded_up(v)} {unit}"
        if view == "depth":
            far, by, _ = _FAR[system]
            text += " of depth" + (f" and {_rounded_up(u * per / by)} {far} of distance" if u * per > 5 else "")
        elif view == "front" and _rounded_up(u) != _rounded_up(v):
            text = f"drawn to within {_rounded_up(u)} {unit} of x and {_rounded_up(v)} {unit} of z"
        if strokes.averaged > 5:
            far, by, _ = _LENGTH[system] if strokes.averaged < 1000 else _FAR[system]
            text += f"; widths are means over about {_rounded_up(strokes.averaged / by)} {far} of path"
        return text

    def figure(
        self, view: View, name: str = "", system: System = "metric", places: Sequence[Place] = (),
        window: tuple[tuple[float, float], tuple[float, float]] | None = None, legend: bool = True,
    ) -> go.Figure:  # fmt: skip
        """A view as a whole picture.

        Parameters
        ----------
        view : {"plan", "front", "depth"}
            Which.
        name : str
            Of the program.
        system : {"metric", "inch"}
            Units shown.
        places : sequence of Place
            To be numbered.
        window : ((float, float), (float, float)), optional
            Least and greatest u and v shown; the whole if not given [mm].
        legend : bool
            Whether the picture explains its lines.
        """
        strokes = self.strokes(view)
        per = _scale(view, system)
        if window is None:
            low, high = self._thinners[view].extents.T
            if not np.isfinite(low).all():
                low, high = np.zeros(2), np.ones(2)
            pad = 0.07 * (high - low)
            if view == "plan":
                pad[:] = max(0.07 * float((high - low).max()), 1e-3)
            else:
                pad = np.maximum(pad, 0.1)
            window = ((low[0] - pad[0], high[0] + pad[0]), (low[1] - pad[1], high[1] + pad[1]))
        spans = [(b - a) / p for (a, b), p in zip(window, per, strict=True)]
        shown = [p for p in places if all(a <= c <= b for c, (a, b) in zip(_seen(p, view), window, strict=True))]
        inner = min(560.0, max(240.0, _INNER * spans[1] / spans[0])) if view == "plan" else 230.0
        words = {"plan": "Plan", "front": "From the front", "depth": "Depth along the path"}[view]
        unit, far = _LENGTH[system][0], _FAR[system][0]
        axis = {"zeroline": False, "showgrid": True, "gridcolor": "#ececec", "automargin": True}
        below = 50 + (110 if legend else 0)
        return go.Figure(
            self.traces(view, system, places, strokes),
            {
                "template": TEMPLATE, "width": WIDTH, "height": inner + 70 + below, "showlegend": legend,
                "title": {
                    "text": f"{words}: {name}" if name else words, "y": 1.0, "yanchor": "top", "pad": {"t": 10},
                    "subtitle": {"text": self.said(view, strokes, system), "font": {"size": 12, "color": "#444444"}},
                },
                "margin": {"t": 70, "b": below, "l": 10, "r": 20},
                "legend": {"orientation": "h", "y": -52 / inner, "yanchor": "top", "x": 0, "font": {"size": 12},
                           "itemwidth": 42},
                "xaxis": {
                    **axis, "range": [e / per[0] for e in window[0]],
                    "title": {"text": f"distance, {far}" if view == "depth" else f"x, {unit}", "standoff": 4},
                    **({"constrain": "domain"} if view == "plan" else {}),
                },
                "yaxis": {
                    **axis, "range": [e / per[1] for e in window[1]],
                    "title": {"text": f"y, {unit}" if view == "plan" else f"z, {unit}"},
                    **({"constrain": "domain", "scaleanchor": "x"} if view == "plan" else {}),
                },
                "annotations": _labels(shown, view, window, per, (_INNER, inner)),
            },
        )  # fmt: skip


def _line(
    s: Strokes, chosen: NDArray[np.bool_], per: tuple[float, float], name: str, line: dict[str, object],
    always: bool = False,
) -> go.Scatter:  # fmt: skip
    points = s.chains(chosen)
    if not len(points):
        points = np.full((1, 2), np.nan)  # a line without any point would not stand in the legend
    return go.Scatter(
        x=_numbers(points[:, 0] / per[0]), y=_numbers(points[:, 1] / per[1]), mode="lines", name=name,
        line={**line, "simplify": False}, hoverinfo="name", showlegend=always or bool(chosen.any()),
    )  # fmt: skip


def _numbers(values: Floats) -> list[float | None]:
    return [None if math.isnan(v) else v for v in np.round(values, 6).tolist()]


def _scale(view: View, system: System) -> tuple[float, float]:
    """House units in one shown unit of u and v."""
    short = _LENGTH[system][1]
    return (_FAR[system][1] if view == "depth" else short), short


def _seen(place: Place, view: View) -> tuple[float, float]:
    x, y, z = place.at
    if view == "plan":
        return x, y
    return (x, z) if view == "front" else (sum(place.distance) / 2, z)


def _points_only(s: Strokes) -> NDArray[np.bool_]:
    """Strokes that a view shows as points, because they go straight at the eye, and no line of their sort joins."""
    flat = np.all(s.ends[:, 0] == s.ends[:, 1], axis=1)
    joined = np.zeros(len(s), bool)
    same = (s.sort[1:] == s.sort[:-1]) & np.all(s.ends[1:, 0] == s.ends[:-1, 1], axis=1)
    joined[1:] |= same & ~flat[:-1]
    joined[:-1] |= same & ~flat[1:]
    light = s.width_class == 0
    return np.asarray(flat & ~(joined & light))


def _rounded_up(value: float) -> str:
    """Two digits, never less than the value."""
    if value <= 0:
        return "0"
    step = 10.0 ** (math.floor(math.log10(value)) - 1)
    up = math.ceil(value / step - 1e-9) * step
    return f"{up:.{max(0, -math.floor(math.log10(step)))}f}".rstrip("0").rstrip(".") if step < 1 else f"{up:.0f}"


def _labels(
    places: Sequence[Place], view: View, window: tuple[tuple[float, float], tuple[float, float]],
    per: tuple[float, float], size: tuple[float, float],
) -> list[dict[str, Any]]:  # fmt: skip
    """A number beside each place, with a line to it; places on top of each other share one label."""
    (u0, u1), (v0, v1) = window
    pixel = max((u1 - u0) / size[0], (v1 - v0) / size[1]) if view == "plan" else 0.0
    pu, pv = (pixel, pixel) if pixel else ((u1 - u0) / size[0], (v1 - v0) / size[1])
    groups: list[tuple[float, float, list[Place]]] = []
    for p in places:
        u, v = _seen(p, view)
        for gu, gv, members in groups:
            if math.hypot((u - gu) / pu, (v - gv) / pv) < 26:
                members.append(p)
                break
        else:
            groups.append((u, v, [p]))
    out, taken = [], [(u / pu, v / pv) for u, v, _ in groups]
    for u, v, members in groups:
        here = (u / pu, v / pv)
        right, up = (1 if u < (u0 + u1) / 2 else -1), (1 if v > (v0 + v1) / 2 else -1)
        # broken numbers: plotly draws no line to a label whose corner lies exactly on a diagonal through the place
        ways = [
            (a * right, b * up)
            for a, b in (
                (42.37, 37.71), (42.37, -37.71), (-42.37, 37.71), (-42.37, -37.71), (0.0, 51.83), (60.19, 0.0),
                (71.57, 63.91), (-71.57, 63.91),
            )
        ]  # fmt: skip
        free = [
            max(0.0, 30 - min((math.dist((here[0] + a, here[1] + b), t) for t in taken), default=99)) for a, b in ways
        ]
        outside = [
            50.0
            * (not 12 < (u - u0) / pu + a < (u1 - u0) / pu - 12 or not 12 < (v - v0) / pv + b < (v1 - v0) / pv - 12)
            for a, b in ways
        ]
        a, b = ways[int(np.argmin(np.add(free, outside)))]
        taken.append((here[0] + a, here[1] + b))
        out.append(
            {
                "x": u / per[0], "y": v / per[1], "ax": a, "ay": -b, "text": ", ".join(str(p.number) for p in members),
                "showarrow": True, "arrowhead": 0, "arrowwidth": 1.5, "arrowcolor": _INK, "standoff": 8,
                "bgcolor": "white", "bordercolor": _INK, "borderwidth": 1.5, "borderpad": 3,
                "font": {"size": 14, "color": _INK},
            }
        )  # fmt: skip
    return out


def _middles(moves: Moves) -> Floats:
    """(n, 3) float: the place half-way along each move [mm]."""
    middle: Floats = (moves.points[1:] + moves.points[:-1]) / 2
    if len(moves.arc_index):
        axes, rows = np.asarray(PLANE_AXES)[moves.arc_plane], np.arange(len(moves.arc_index))
        offset = moves.points[moves.arc_index] - moves.arc_centre
        angle = np.arctan2(offset[rows, axes[:, 1]], offset[rows, axes[:, 0]]) + moves.arc_sweep / 2
        for k, part in ((0, np.cos(angle)), (1, np.sin(angle))):
            middle[moves.arc_index, axes[:, k]] = moves.arc_centre[rows, axes[:, k]] + moves.arc_radius * part
    return middle


def _stands(kind: int, value: float) -> str:
    if kind == Kind.DWELL:
        return "dwell"
    if kind == Kind.CHANGE:
        return f"change to cutter {int(value)}"
    return _STANDS.get(Stop(int(value)), "stop") if int(value) in set(Stop) else "stop"


HEAD = ("no.", "program lines", "first of them", "x, y, z", "seconds lost", "what held it back")


def rows(
    places: Sequence[Place], system: System = "metric", text_of: Callable[[int], str] = lambda _: ""
) -> list[list[str]]:
    """One row of texts for each place, in the columns of ``HEAD``; ``text_of`` gives the text of a program line."""
    out = []
    _, per, digits = _LENGTH[system]
    for p in places:
        first, last = p.lines
        at = ", ".join(f"{c / per:.{digits}f}" for c in p.at).replace("-0.0,", "0.0,")
        text = text_of(first).strip()
        out.append(
            [str(p.number), f"{first}" if first == last else f"{first} to {last}",
             text if len(text) <= 34 else text[:33] + "…", at, f"{p.lost_s:.2f}", p.held_by(system)]
        )  # fmt: skip
    return out


def places_table(
    places: Sequence[Place], name: str, system: System = "metric", text_of: Callable[[int], str] = lambda _: ""
) -> str:
    """The table of ``rows`` as HTML."""
    head = [f"x, y, z, {_LENGTH[system][0]}" if h == "x, y, z" else h for h in HEAD]
    return table(f"Where {name} loses most against its feed", head, rows(places, system, text_of), words=(1, 2, 5))
