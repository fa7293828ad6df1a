"""A load under its clamps: plan and side view with the cutter's path, and a clamp to slide that says what it meets."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import ipywidgets as widgets
import numpy as np
import plotly.graph_objects as go

from shopcalc.controls.parts import GREY, HUE, LENGTH, LONG, LiveFigure, MeasuredControl, big, choice, figure
from shopcalc.controls.parts import note as small
from shopcalc.controls.tenons import arcs_as_lines
from shopcalc.errors import InputError
from shopcalc.holding import Clear, Collision, Placed, check_clear, read_fixtures
from shopcalc.jobs import Job
from shopcalc.load_holding import LoadHolding, check_load, placed_in
from shopcalc.machines import PART_AXES
from shopcalc.moves import Floats, Kind, Moves
from shopcalc.units import System, write

_MOST = 3  # collisions drawn with their cutter and number
_DARK, _LIGHT = "rgba(17,17,17,0.75)", "rgba(107,107,107,0.25)"
_UNIT = {"metric": ("mm", 1.0), "inch": ("in", 25.4)}
CAUTIONS = (
    "Clamps stand here where you say, the machine meets them where they really stand: measure from the part's corner, "
    "and run the first part in the air, hand on the stop. Sizes of fixtures and holder are the shop's own; the demo's "
    "are invented.",
    "Whether a clamp still holds at its new place is for you to see; what is said of its hold goes by what was "
    "entered. Lock the machine out before you reach in to move one.",
)


def usual_clamps(job: Job, program: str, part: str) -> tuple[Placed, ...]:
    """Two straps over the ends of a part and a pin at each side, from the shop's own fixtures, to begin with.

    Parameters
    ----------
    job : Job
        From ``open_job``.
    program, part : str
        Their ids.

    Returns
    -------
    tuple of Placed
        Each strap reaches 25 mm over the part and presses there; an arrangement to move, not a proposal.

    Raises
    ------
    InputError
        When the shop has no fixtures.toml, or no clamp or stop in it.
    """
    from shopcalc.cutting.engagement import refuse

    own = read_fixtures(job.shop.folder / "fixtures.toml")
    straps = [f for f in own.values() if f.kind == "clamp" and f.height > 0]
    stops = [f for f in own.values() if f.kind == "stop" and f.height > 0]
    if not straps or not stops:
        refuse("the shop's fixtures.toml has no clamp or no stop", "enter what you hold parts with")
    x, y, z = _size(job, program, part)
    clamp, stop = max(straps, key=lambda f: f.force), stops[0]
    out, pin = clamp.length / 2 - 25, max(stop.diameter, stop.width) / 2
    return (
        Placed(clamp, -out, y / 2, on=-z, presses=(12.0, y / 2), name="left clamp"),
        Placed(clamp, x + out, y / 2, on=-z, presses=(x - 12.0, y / 2), name="right clamp"),
        Placed(stop, x / 2, -pin, on=-z, stops=(0.0, -1.0), name="front stop"),
        Placed(stop, x / 2, y + pin, on=-z, stops=(0.0, 1.0), name="back stop"),
    )


def _size(job: Job, program: str, part: str) -> tuple[float, float, float]:
    chosen, record = next(p for p in job.programs if p.id == program), job.part(part)
    station = job.machine.stations.get(chosen.station)
    x, y, z = (float(getattr(record, a)) for a in (station.part_axes if station else PART_AXES[chosen.station]))
    return x, y, z


class ClampsControl:
    """Slide a clamp over a load and see at once what it meets.

    Parameters
    ----------
    job : Job
        From ``open_job``.
    program, part : str
        Ids of a load.
    placed : sequence of Placed or None
        What holds it, each with a name; None for what the job file places, else ``usual_clamps``.
    system : {"metric", "inch"}
        Units at first.
    """

    def __init__(
        self, job: Job, program: str, part: str, placed: Sequence[Placed] | None = None, system: System = "metric"
    ) -> None:  # fmt: skip
        self.job, self.program, self.part = job, program, part
        self.placed = list(placed or placed_in(job, program, part) or usual_clamps(job, program, part))
        self._stood = tuple(self.placed)
        self.size = _size(job, program, part)
        self.load: LoadHolding = check_load(job, program, part, self.placed)
        self.clear: Clear = self.load.clear
        self._quiet = True
        names = [p.name or p.fixture.id for p in self.placed]
        self.units = choice("units", [("metric: mm", "metric"), ("inch", "inch")], system, self._change_units)
        self.thing = choice("move", [(n, k) for k, n in enumerate(names)], 0, self._chosen)

        def length(name: str, value: float, low: float, high: float, shown: Any = LONG) -> MeasuredControl:
            control = MeasuredControl(name, value, low, high, shown, system)
            control.observe(self._moved)
            return control

        x, y, _ = self.size
        self.x = length("its middle along x", self.placed[0].x, -150.0, x + 150.0)
        self.y = length("its middle along y", self.placed[0].y, -150.0, y + 150.0)
        self.margin = length("to be kept free all round", 3.0, 0.0, 20.0, LENGTH)
        self.shift, self.back = (
            widgets.Button(description=text, layout=widgets.Layout(width="auto"))
            for text in ("move it as the remedy says", "all back to where they stood")
        )
        self.shift.on_click(lambda _: self.follow())
        self.back.on_click(lambda _: self.put_back())
        self.figure = _empty(len(self.placed))
        self.answer, self.remarks, cautions = (widgets.HTML() for _ in range(3))
        cautions.value = "".join(small(t) for t in CAUTIONS)
        row = widgets.Layout(flex_flow="row wrap")
        self.view = widgets.VBox([
            widgets.HBox([self.units, self.thing], layout=row), self.x.view, self.y.view, self.margin.view,
            widgets.HBox([self.shift, self.back], layout=row), self.answer, self.figure, self.remarks, cautions,
        ])  # fmt: skip
        self._quiet = False
        self.update()

    @property
    def system(self) -> System:
        """Units shown."""
        shown: System = self.units.value
        return shown

    def _change_units(self) -> None:
        self._quiet = True
        for control in (self.x, self.y, self.margin):
            control.system = self.system
        self._quiet = False
        self.update()

    def _chosen(self) -> None:
        self._quiet = True
        self.x.value, self.y.value = self.placed[self.thing.value].x, self.placed[self.thing.value].y
        self._quiet = False
        self.update()

    def _moved(self) -> None:
        if self._quiet:
            return
        p = self.placed[self.thing.value]
        dx, dy = self.x.value - p.x, self.y.value - p.y
        pads = None if p.presses is None else (p.presses[0] + dx, p.presses[1] + dy)
        self.placed[self.thing.value] = replace(p, x=self.x.value, y=self.y.value, presses=pads)
        self.update()

    def follow(self) -> None:
        """Move the thing chosen by the shortest way to where every move is clear of it."""
        p = self.placed[self.thing.value]
        name = p.name or p.fixture.id
        way = self.clear.shift(name) if any(c.keep_out == name for c in self.clear.collisions) else None
        if way is None:
            return
        by = (way[0] + 0.05) * (-1 if way[1][0] == "-" else 1)
        (self.x if way[1][1] == "x" else self.y).value += by

    def put_back(self) -> None:
        """Put everything back to where it stood at first."""
        self.placed = list(self._stood)
        self._chosen()

    def update(self) -> None:
        """Check every move against what stands there now."""
        if self._quiet:
            return
        keep_outs = [p.keep_out() for p in self.placed]
        self.clear = check_clear(self.load.clear.moves, self.load.clear.bodies, keep_outs, margin=self.margin.value)
        met = {c.keep_out for c in self.clear.collisions}
        says, s = self.clear.says(self.system), self.system
        chosen = keep_outs[self.thing.value].name
        self.shift.disabled = chosen not in met
        free = write(self.margin.value, "length", s, fraction=False)
        told = says[0] if says else f"every move is clear of all {len(keep_outs)} by {free} or more"
        told = f"{len(met)} of {len(keep_outs)} stand in the way: {told}" if met else told
        holds, bad = self._holds(s)
        if bad and not met:
            told += ", but it does not hold as it stands: see below the picture"
        self.answer.value = big(("✓ " if self.clear.clear and not bad else "✗ ") + told)
        self.remarks.value = "".join(small(t) for t in (*holds, *says[1:]))
        _draw(self.figure, self.clear, self.size, self._title(), s)

    def _holds(self, system: System) -> tuple[tuple[str, ...], bool]:
        """What the load says of its hold with everything where it stands now, and whether that is bad."""
        try:
            load = check_load(self.job, self.program, self.part, self.placed, margin=self.margin.value)
        except InputError as e:
            return tuple(f"✗ {f.message}: {f.remedy}" for f in e.faults), True
        others = set(load.clear.says(system))
        good = replace(load, clear=replace(load.clear, collisions=())).good
        return tuple(t for t in load.says(system) if t not in others), not good

    def _title(self) -> str:
        return f"{self.part} under program {self.program}"


def _empty(count: int) -> LiveFigure:
    plain = {"mode": "lines", "hoverinfo": "skip"}
    wood = {"fill": "toself", "fillcolor": "#f2ead8", "line": {"color": GREY, "width": 1.5}}
    traces = []
    for k in ("", "2"):
        at = {"yaxis": f"y{k}"}
        traces += [
            go.Scatter(x=[], y=[], **wood, **plain, **at),
            go.Scatter(x=[], y=[], line={"color": HUE, "width": 1}, opacity=0.7, **plain, **at),
            go.Scatter(x=[], y=[], line={"color": GREY, "width": 1, "dash": "dot"}, **plain, **at),
            *(go.Scatter(x=[], y=[], fill="toself", line={"color": "#111", "width": 2}, **plain, **at)
              for _ in range(count)),
            go.Scatter(x=[], y=[], line={"color": "#b00020", "width": 2}, **plain, **at),
        ]  # fmt: skip
    true = {"scaleanchor": "x", "scaleratio": 1, "constrain": "domain", "title": {"text": ""}}
    return figure(
        traces, title={"text": ""}, height=560, width=640, showlegend=False,
        xaxis={"anchor": "y2", "title": {"text": ""}, "constrain": "domain"}, yaxis={**true, "domain": [0.34, 1.0]},
        yaxis2={**true, "nticks": 3, "domain": [0.0, 0.27], "anchor": "x"}, margin={"l": 70, "r": 20, "t": 50, "b": 50},
    )  # fmt: skip


def _draw(drawn: LiveFigure, found: Clear, size: tuple[float, float, float], title: str, system: System) -> None:
    """Wood, path at feed and rapids, keep-outs and the cutter where it meets them, from above and from the front."""
    unit, per = _UNIT[system]
    met = {c.keep_out for c in found.collisions}
    x, y, z = size
    count = len(found.keep_outs)
    views = (
        (_ring(0, 0, x, y), *arcs_as_lines(found.moves)), (_ring(0, -z, x, 0), *_from_front(found.moves)),
    )  # fmt: skip
    names: list[dict[str, Any]] = []
    with drawn.change() as f:
        for v, (wood, feed, rapid) in enumerate(views):
            traces = f.data[v * (count + 4) : (v + 1) * (count + 4)]
            for t, line in zip(traces, (wood, feed, rapid), strict=False):
                t.update(x=line[:, 0] / per, y=line[:, 1] / per)
            for k, t in zip(found.keep_outs, traces[3:], strict=False):
                outline = k.outline()
                low, high = outline.min(axis=0), outline.max(axis=0)
                shape = np.vstack([outline, outline[:1]]) if v == 0 else _ring(low[0], k.bottom, high[0], k.top)
                bad = k.name in met
                t.update(x=shape[:, 0] / per, y=shape[:, 1] / per, fillcolor=_DARK if bad else _LIGHT)
                t.line.width = 4 if bad else 1.5
                if v == 0:
                    names.append(_label(k.name, bad, low / per, high / per, y / 2 / per))
            worst = found.collisions[:_MOST]
            body = np.concatenate([_body(c, v) for c in worst]) if worst else np.empty((0, 2))
            traces[-1].update(x=body[:, 0] / per, y=body[:, 1] / per)
        f.layout.annotations = names
        f.layout.title.text = title
        f.layout.xaxis.title.text = f"x, {unit}: red where a cutter meets something; dotted: rapids"
        f.layout.yaxis.title.text, f.layout.yaxis2.title.text = f"from above: y, {unit}", f"front: z, {unit}"


def _label(name: str, bad: bool, low: Floats, high: Floats, half: float) -> dict[str, Any]:
    """Its name, away from the part's middle, with a mark for those who do not see colours."""
    above = low[1] + high[1] >= 2 * half
    return {"x": (low[0] + high[0]) / 2, "y": (high if above else low)[1], "text": f"{'✗' if bad else '✓'} {name}",
            "showarrow": False, "yanchor": "bottom" if above else "top", "bgcolor": "rgba(255,255,255,0.85)",
            "yref": "y", "font": {"size": 14, "color": "#111"}}  # fmt: skip


def _ring(x0: float, y0: float, x1: float, y1: float) -> Floats:
    return np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)], float)


def _from_front(moves: Moves) -> tuple[Floats, Floats]:
    """Moves at feed and rapids seen from the front, nan between runs; arcs as their chords."""
    out = []
    for mine in (moves.kind != Kind.RAPID, moves.kind == Kind.RAPID):
        k = np.flatnonzero(mine & (moves.kind <= Kind.ARC))
        gap = np.full((len(k), 2), np.nan)
        out.append(np.stack([moves.points[k][:, [0, 2]], moves.points[k + 1][:, [0, 2]], gap], axis=1).reshape(-1, 2))
    return out[0], out[1]


def _body(c: Collision, view: int) -> Floats:
    """The cutter up to the part that meets something: a circle from above, its outline from the front."""
    x, y, z = c.at
    last = max((k for k, s in enumerate(c.body.sections) if s.part == c.part), default=0)
    parts = c.body.sections[: last + 1]
    if view == 0:
        s, t = parts[-1], np.linspace(0, 2 * math.pi, 40)
        r = max(s.radius_low, s.radius_high)
        out = np.stack([x + r * np.cos(t), y + r * np.sin(t)], axis=1)
    else:
        right = [p for s in parts for p in ((s.radius_low, s.low), (s.radius_high, s.high))]
        out = np.array([(x + r, z + h) for r, h in right] + [(x - r, z + h) for r, h in reversed(right)])
    return np.vstack([out, out[:1], [[math.nan, math.nan]]])


def clamps_control(
    job: Job, program: str, part: str, placed: Sequence[Placed] | None = None, system: System = "metric"
) -> ClampsControl:  # fmt: skip
    """The control over what holds a load, to be shown by ``.view``.

    Parameters
    ----------
    job : Job
        From ``open_job``.
    program, part : str
        Ids of a load.
    placed : sequence of Placed or None
        What holds it, each with a name; None for what the job file places, else ``usual_clamps``.
    system : {"metric", "inch"}
        Units at first.
    """
    return ClampsControl(job, program, part, placed, system)
