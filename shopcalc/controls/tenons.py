"""Control of notebook 02: a tenon on the end of a standing rail, drawn with its errors, and other ways to cut it."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Literal, get_args

import ipywidgets as widgets
import numpy as np
import plotly.graph_objects as go

from shopcalc.controls.cutter_tuning import remedies
from shopcalc.controls.parts import (
    GREY,
    HUE,
    LENGTH,
    MeasuredControl,
    NumberControl,
    big,
    choice,
    figure,
    heading,
    table,
)
from shopcalc.controls.parts import note as small
from shopcalc.cutters import Cutter
from shopcalc.cutting.breakout import for_tenon
from shopcalc.cutting.engagement import refuse
from shopcalc.cutting.fit import (
    CORNER_KINDS,
    Clearances,
    CornerKind,
    CornerMinutes,
    MortiseSize,
    corner_minutes,
    tenon_size,
    write_fit,
)
from shopcalc.cutting.force import BANDS, Band
from shopcalc.cutting.limits import habit
from shopcalc.cutting.report import CAUTIONS, amount
from shopcalc.cutting.tenons import TenonPlan, as_cutting, lying_flat, minutes_per_load, on_end, ways
from shopcalc.cutting.tuning import Costs
from shopcalc.errors import InputError
from shopcalc.machines import Machine
from shopcalc.moves import Floats, Kind, Moves
from shopcalc.paths import Tenon
from shopcalc.units import System, write, write_time

if TYPE_CHECKING:
    from shopcalc.shop import Shop

Style = Literal["plain", "haunched", "stepped", "paired"]
STYLES: tuple[str, ...] = get_args(Style)
_FLAT = ("square end", "surfacing", "compression")
_ROUNDS = (1, 2, 5)  # times powers of ten: how many times an error is magnified
_SHOWN = 0.06  # of the rail's thickness an error is magnified to about this much
_SIDE = 420  # px
_STALE = "The tenon has changed since: press again."


def magnified(error: float, size: float) -> int:
    """How many times an error is drawn larger than it is.

    Parameters
    ----------
    error : float
        The largest [mm].
    size : float
        Of what it is drawn on [mm].

    Returns
    -------
    int
        1, 2 or 5 times a power of ten, such that it shows as a twentieth of the size or so.

    Example
    -------
    >>> magnified(0.02, 22), magnified(2.0, 22)
    (50, 1)
    """
    wanted = _SHOWN * size / max(abs(error), 1e-6)
    steps = [r * 10**p for p in range(5) for r in _ROUNDS]
    return max((s for s in steps if s <= wanted), default=1)


def arcs_as_lines(moves: Moves) -> tuple[Floats, Floats]:
    """A path seen from above as lines: moves at feed, and rapids apart, with nan between runs.

    Parameters
    ----------
    moves : Moves
        Arcs in the level plane count, others are drawn straight.

    Returns
    -------
    feed, rapid : (n, 2) float
        [mm].
    """
    arcs = {int(i): k for k, i in enumerate(moves.arc_index)}
    gap = [(math.nan, math.nan)]
    out: dict[bool, list[tuple[float, float]]] = {True: [], False: []}
    for i in map(int, np.flatnonzero(moves.kind <= Kind.ARC)):
        a, b = (moves.points[i + k, :2] for k in (0, 1))
        line = [(float(a[0]), float(a[1])), (float(b[0]), float(b[1]))]
        if i in arcs and moves.arc_plane[arcs[i]] == 0:
            centre, sweep = moves.arc_centre[arcs[i], :2], moves.arc_sweep[arcs[i]]
            turn = math.atan2(*(a - centre)[::-1]) + np.linspace(0, sweep, 2 + math.ceil(abs(sweep) / 0.1))
            radius = float(np.linalg.norm(a - centre))
            line = [(centre[0] + radius * math.cos(t), centre[1] + radius * math.sin(t)) for t in turn]
        if np.allclose(a, b) and len(line) == 2:
            continue  # straight up or down
        out[bool(moves.kind[i] != Kind.RAPID)] += [*line, *gap]
    return np.array(out[True] or gap), np.array(out[False] or gap)


class TenonControl:
    """Describe a rail and its tenon; see it cut on end, with its error magnified, and what other ways would take.

    Parameters
    ----------
    shop : Shop
        Whose rack, machines, woods, rates and standard minutes count.
    system : {"metric", "inch"}
        Units shown at first.
    cutter, material, machine : str or None
        To begin with; None for the longest flat cutter, and the first of the shop's.
    """

    def __init__(
        self, shop: Shop, system: System = "metric", *, cutter: str | None = None, material: str | None = None,
        machine: str | None = None,
    ) -> None:  # fmt: skip
        self.shop, self.costs = shop, Costs.of(shop.rates)
        self.load = minutes_per_load(shop.rates.minutes)
        self.plans: list[TenonPlan] = []
        self._quiet = True
        self._build_controls(system, cutter, material, machine)
        self._build_figures()
        self._quiet = False
        self.update()

    # --- controls -----------------------------------------------------------------------------------------------------

    def _build_controls(self, system: System, cutter: str | None, material: str | None, machine: str | None) -> None:
        shop, call = self.shop, self.update
        rack = {k: c for k, c in shop.cutters.items() if c.shape in _FLAT}
        longest = max(rack, key=lambda k: rack[k].cutting_length)
        woods = sorted(((m.title, k) for k, m in shop.materials.items()), key=lambda w: w[0].lower())
        machines = [(m.title or k, k) for k, m in shop.machines.items()]
        systems = [("metric: mm, N", "metric"), ("inch: in, lbf", "inch")]
        self.units = choice("units", systems, system, self._change_units)
        titles = [(f"{k}: {c.title}", k) for k, c in rack.items()]
        self.cutter = choice("cutter", titles, shop.cutter(cutter).id if cutter else longest, call)
        self.material = choice("wood", woods, shop.material(material).id if material else woods[0][1], call)
        self.machine = choice("machine", machines, machine or machines[0][1], call)
        self.style = choice("style", [(s, s) for s in STYLES], "plain", self._change_style)
        self.way = choice("way", [("line by line", False), ("in rounds", True)], False, call)
        self.band = choice("judge error at", [(f"{b} force", b) for b in BANDS], "likely", call)
        self.corners = choice("corners", [(k, k) for k in CORNER_KINDS], "squared mortise", call)
        self.rounded = widgets.Checkbox(value=False, description="tenon's corners rounded", indent=False)
        self.rounded.observe(lambda _: call(), names="value")

        def length(name: str, value: float, low: float, high: float) -> MeasuredControl:
            control = MeasuredControl(name, value, low, high, LENGTH, system)
            control.observe(call)
            return control

        self.rail_width = length("rail width", 90.0, 10.0, 300.0)
        self.rail_thickness = length("rail thickness", 22.0, 6.0, 90.0)
        self.tenon_width = length("tenon width", 70.0, 5.0, 300.0)
        self.tenon_thickness = length("mortise thickness", 9.5, 2.0, 60.0)
        self.length = length("tenon length", 30.0, 3.0, 100.0)
        self.from_edge = length("from reference edge", 10.0, 0.0, 150.0)
        self.from_face = length("from reference face", 6.25, 0.0, 60.0)
        self.clearance = length("clearance of both cheeks", 0.1, -0.3, 1.0)
        self.skim = length("skim kept for a last lap", 0.0, 0.0, 2.0)
        self.stub = length("length of haunch or step", 10.0, 0.5, 60.0)
        self.gap = length("gap between the pair", 20.0, 1.0, 150.0)
        self.squaring = NumberControl("squaring by hand, min", 6, 0, 60, 0.5)
        self.squaring.observe(call)
        self.ways_button = widgets.Button(
            description="compare every cutter, on end and flat", layout=widgets.Layout(width="auto")
        )
        self.ways_button.on_click(lambda _: self.compare())
        self.progress = widgets.IntProgress(value=0, min=0, max=len(rack), layout=widgets.Layout(width="22em"))
        self.progress.layout.visibility = "hidden"
        self._enable_style()

    def _lengths(self) -> tuple[MeasuredControl, ...]:
        return (
            self.rail_width, self.rail_thickness, self.tenon_width, self.tenon_thickness, self.length, self.from_edge,
            self.from_face, self.clearance, self.skim, self.stub, self.gap,
        )  # fmt: skip

    @property
    def system(self) -> System:
        """Units shown."""
        shown: System = self.units.value
        return shown

    def _change_units(self) -> None:
        for control in self._lengths():
            control.system = self.system
        self.update()

    def _change_style(self) -> None:
        self._enable_style()
        self.update()

    def _enable_style(self) -> None:
        self.stub.enable(self.style.value in ("haunched", "stepped"))
        self.gap.enable(self.style.value == "paired")

    # --- pictures -----------------------------------------------------------------------------------------------------

    def _build_figures(self) -> None:
        wood = {"mode": "lines", "fill": "toself", "hoverinfo": "skip"}
        plain = {"mode": "lines", "hoverinfo": "skip"}
        true = {"scaleanchor": "x", "scaleratio": 1}
        rail = go.Scatter(x=[], y=[], line={"color": GREY, "width": 1}, fillcolor="#ededed", name="rail", **wood)
        stub = go.Scatter(x=[], y=[], line={"color": HUE, "width": 1}, fillcolor="#cfdfe9", name="stub", **wood)
        tongue = go.Scatter(x=[], y=[], line={"color": HUE, "width": 3}, fillcolor="#9cc3dc", name="tongue", **wood)
        mortise = go.Scatter(x=[], y=[], line={"color": "#111", "width": 1.5, "dash": "dot"}, name="mortise", **plain)
        blocks = go.Scatter(x=[], y=[], line={"color": "#222", "width": 1}, name="back-up blocks",
                            fillpattern={"shape": "/", "fgcolor": "#222"}, **wood)  # fmt: skip
        self.end_figure = figure(
            [rail, blocks, stub, tongue, mortise], title={"text": "Looking at the end of the rail"}, height=300,
            showlegend=False, xaxis={"title": {"text": ""}}, yaxis={"title": {"text": ""}, **true},
            margin={"l": 60, "r": 20, "t": 50, "b": 45},
        )  # fmt: skip
        cut = {**plain, "line": {"color": HUE, "width": 2.5}}
        nominal = go.Scatter(x=[], y=[], line={"color": GREY, "width": 1, "dash": "dot"}, fillcolor="#dbe7ef",
                             name="as wanted", **wood)  # fmt: skip
        dashed = go.Scatter(x=[], y=[], line={"color": GREY, "width": 1, "dash": "dash"}, name="levels", **plain)
        self.side_figure = figure(
            [
                rail, nominal, dashed,
                go.Scatter(x=[], y=[], name="front cheek", **cut), go.Scatter(x=[], y=[], name="back cheek", **cut),
            ],
            title={"text": ""}, height=480, showlegend=False, xaxis={"title": {"text": ""}, "constrain": "domain"},
            yaxis={"title": {"text": ""}, "constrain": "domain", **true}, margin={"l": 60, "r": 20, "t": 70, "b": 45},
        )  # fmt: skip
        self.path_figure = figure(
            [
                rail, tongue,
                go.Scatter(x=[], y=[], name="rapids", **plain, line={"color": GREY, "width": 1, "dash": "dot"}),
                go.Scatter(x=[], y=[], name="at feed", **plain, line={"color": HUE, "width": 1.5}),
                go.Scatter(x=[], y=[], name="cutter", **plain, line={"color": "#111", "width": 1}),
            ],
            title={"text": "Path of the cutter's centre from above: at feed (full), rapids (dotted)"}, height=420,
            showlegend=False, xaxis={"title": {"text": ""}}, yaxis={"title": {"text": ""}, **true},
            margin={"l": 60, "r": 20, "t": 50, "b": 45},
        )  # fmt: skip
        for drawn in (self.end_figure, self.path_figure):
            drawn.layout.width = 830
        self.side_figure.layout.width = 620
        self.answer, self.table, self.remarks, self.ways_table, self.cautions = (widgets.HTML() for _ in range(5))
        self.ways_table.value = small("Takes some seconds: every flat cutter of the rack is tuned both ways.")
        self.cautions.value = "".join(small(t) for t in CAUTIONS)
        row = widgets.Layout(flex_flow="row wrap")
        self.view = widgets.VBox(
            [
                widgets.HBox([self.cutter, self.material, self.machine, self.units], layout=row),
                widgets.HTML(heading("The rail and its tenon")),
                self.rail_width.view, self.rail_thickness.view, self.tenon_width.view, self.tenon_thickness.view,
                self.length.view, self.from_edge.view, self.from_face.view, self.clearance.view,
                widgets.HBox([self.style, self.rounded], layout=row), self.stub.view, self.gap.view,
                widgets.HTML(heading("How it is cut")),
                widgets.HBox([self.way, self.band, self.corners], layout=row), self.skim.view, self.squaring.view,
                self.answer, self.end_figure, self.side_figure, self.path_figure, self.table, self.remarks,
                widgets.HTML(heading("Other ways")),
                widgets.HBox([self.ways_button, self.progress]), self.ways_table, self.cautions,
            ]
        )  # fmt: skip

    # --- what is asked ------------------------------------------------------------------------------------------------

    def shape(self) -> Tenon:
        """The tenon to be cut: the mortise's thickness less the clearance, taken off both cheeks alike."""
        off = self.clearance.value
        wanted = (self.tenon_thickness.value, self.tenon_width.value, self.length.value)
        size = tenon_size(*wanted, Clearances(cheeks=off, edges=0.0, end=0.0))
        left, width = self.from_edge.value, self.rail_width.value
        right = width - left - size.width
        style, stub = self.style.value, self.stub.value
        plain = Tenon(
            size.width, size.thickness, size.length, left, self.from_face.value + off / 2,
            rounded=bool(self.rounded.value),
        )  # fmt: skip
        if style == "haunched":
            if left <= 0:
                refuse("a haunch needs room at the reference edge", "move the tenon away from the edge")
            return replace(plain, stub_length=stub, stub_left=left)
        if style == "stepped":
            if left <= 0 or right <= 1e-9:
                refuse("a stepped tenon needs room at both edges", "make the tenon narrower")
            return replace(plain, stub_length=stub, stub_left=left, stub_right=right)
        return replace(plain, gap=self.gap.value) if style == "paired" else plain

    def _cutter(self) -> Cutter:
        return self.shop.cutter(self.cutter.value)

    def _material(self) -> Any:
        return self.shop.material(self.material.value)

    def _machine(self) -> Machine:
        return self.shop.machine(self.machine.value)

    def _rail(self) -> tuple[float, float]:
        return self.rail_width.value, self.rail_thickness.value

    def _more(self) -> dict[str, Any]:
        return {"minutes_per_load": self.load, "costs": self.costs}

    def update(self) -> None:
        """Tune the tenon on end anew and show it."""
        if self._quiet:
            return
        self.plans = []
        self.ways_table.value = small(_STALE)
        try:
            self.tenon = self.shape()
            self.plan = on_end(
                self._cutter(), self._material(), self._machine(), *self._rail(), self.tenon, skim=self.skim.value,
                laps=bool(self.way.value), **self._more(),
            )  # fmt: skip
        except InputError as refused:
            self._blank("; ".join(str(f) for f in refused.faults))
            return
        self.exits = for_tenon(
            *self._rail(), self.tenon, as_cutting(self.plan.cutter, self.plan.setting), skim=self.skim.value,
            laps=bool(self.way.value), machine=self._machine(),
        )  # fmt: skip
        self._show_answer()
        self._show_table()
        self._draw_end()
        self._draw_side()
        self._draw_path()

    def _blank(self, words: str) -> None:
        """Nothing stale is left standing where the tenon cannot be."""
        self.answer.value = big(f"This tenon cannot be cut: {words}")
        self.table.value = self.remarks.value = ""
        for drawn in (self.end_figure, self.side_figure, self.path_figure):
            with drawn.change() as f:
                for trace in f.data:
                    trace.x = trace.y = []

    # --- what is shown ------------------------------------------------------------------------------------------------

    def thickness_words(self, band: Band) -> str:
        """How much too thick or too thin the tenon comes out at a force, in words.

        Parameters
        ----------
        band : {"low", "likely", "high"}
            Of the force.

        Returns
        -------
        str
        """
        names = ("at the bottom of a level", "at its top")
        return ", ".join(
            f"{amount(abs(v), 'mm', self.system)} too {'thick' if v >= 0 else 'thin'} {where}"
            for v, where in zip(self.plan.thickness_error[band], names, strict=True)
        )

    def _show_answer(self) -> None:
        p, s = self.plan, self.plan.setting
        band: Band = self.band.value
        machine, whole = (write_time(60 * m[band]) for m in (p.minutes, p.total))
        lines = [f"{machine} at the machine, {whole} with clamping and zero"]
        lines.append(f"Tenon {self.thickness_words(band)}, if the wood asks the {band} force")
        worst, allowed = max(map(abs, p.thickness_error[band])) / 2, habit("push_off")
        if worst > allowed:
            words = f"{amount(worst, 'mm', self.system)} on a cheek, {amount(allowed, 'mm', self.system)} allowed"
            lines.append(f"Too far off: {words}; keep a skim, or take more levels")
        if s.unknown:
            names = ", ".join(x.name for x in s.unknown)
            lines.insert(0, f"Not known, find out before running: {names}")
        if s.forbidden:
            lines.insert(0, "DO NOT RUN: " + "; ".join(f"{x.name}: {x.remedy}" for x in s.forbidden))
        over = [x.name for x in s.limits if not x.hard and (x.used or 0.0) > 1 + 1e-9]
        if over:
            lines.append(f"Passes bounds of quality: {', '.join(over)}")
        self.answer.value = "".join(big(t) for t in lines)

    def corner(self) -> CornerMinutes | str:
        """Minutes of the chosen way to make round and square meet, or why it cannot be."""
        kind: CornerKind = self.corners.value
        t = self.tenon
        try:
            return corner_minutes(
                kind, cutting=as_cutting(self._cutter(), self.plan.setting),
                machine=self._machine(),
                mortise=MortiseSize(self.tenon_thickness.value, t.width, t.length), tenon=t, rail=self._rail(),
                hand_minutes=self.squaring.value, system=self.system,
            )  # fmt: skip
        except InputError as refused:
            return "; ".join(str(f) for f in refused.faults)

    def _show_table(self) -> None:
        p, s, system = self.plan, self.plan.setting, self.system
        minutes = [write_time(60 * p.minutes[b]) for b in BANDS]
        level = amount(s.depth_per_pass_mm, "mm", system)
        path = f"{p.path_length / 304.8:.1f} ft" if system == "inch" else f"{p.path_length / 1000:.2f} m"
        rows = [
            ["time at the machine at low, likely, high force", ", ".join(minutes)],
            ["with clamping and finding zero", f"{write_time(60 * p.total['likely'])} for {p.loads} clamping"],
            ["spindle speed", write(s.rpm, "spindle_speed", system)],
            ["feed", write(s.feed_mm_min, "feed", system)],
            ["levels", f"{s.levels} of about {level}, {s.direction}"],
            ["path at feed", path],
            ["tenon as cut", f"{write_fit(self.tenon.thickness, system)} thick in a mortise of "
             f"{write_fit(self.tenon_thickness.value, system)}, {self.tenon.style}"],
            *([f"thickness at the {b} force", self.thickness_words(b)] for b in BANDS),
            ["held back by", f"{s.binds}; to relax that: {remedies(s)}"],
        ]  # fmt: skip
        corner = self.corner()
        if isinstance(corner, str):
            rows.append([f"corners: {self.corners.value}", f"cannot be: {corner}"])
        else:
            spent = f"{60 * corner.machine:+.1f} s at the machine, {corner.hand:g} min by hand"
            rows.append([f"corners: {corner.kind}", f"{spent}; {corner.words}"])
        self.table.value = table("The tenon on end", ["what", "how much"], rows, words=(1,))
        self.remarks.value = "".join(small(t) for t in self._remarks())

    def _remarks(self) -> list[str]:
        unit = self.system
        places = [f"{f}, {write_fit(a, unit)} to {write_fit(b, unit)}" for f, (a, b) in self.blocks().items()]
        out = [
            f"The cutter leaves the rail {len(self.exits.exits)} times across the fibres' ends, where splits run down "
            f"the rail past the shoulder. Back-up blocks, as drawn: {'; '.join(places)}.",
            f"Clamping and zero of {self.load:g} min are the shop's standard times; forces are mostly from memory.",
        ]
        if self.exits.scoring_length > 0:
            extra, wide = write_time(self.exits.scoring_seconds), write(1.0, "length", unit)
            out.append(f"Where no block can go: a light scoring cut of {wide} round the shoulder first, {extra} more.")
        return out

    def _draw_end(self) -> None:
        per, unit = LENGTH[self.system].per, LENGTH[self.system].unit
        width, thickness = self._rail()
        t = self.tenon
        x, y = (t.from_edge, t.from_edge + t.width), (t.from_face, t.from_face + t.thickness)
        pieces = [x] if t.gap <= 0 else [(x[0], x[0] + (t.width - t.gap) / 2), (x[1] - (t.width - t.gap) / 2, x[1])]
        off = self.clearance.value / 2
        lines = [
            _box((0, width), (0, thickness)),
            self._blocks(),
            _box((x[0] - t.stub_left, x[1] + t.stub_right), y, t.rounded) if t.stub_length else _NOTHING,
            _together([_box(p, y, t.rounded) for p in pieces]),
            _box(x, (y[0] - off, y[1] + off), t.rounded),
        ]
        with self.end_figure.change() as f:
            for trace, (px, py) in zip(f.data, lines, strict=True):
                trace.x, trace.y = px / per, py / per
            f.layout.xaxis.title.text = f"across the rail's width, {unit}; dotted: the mortise; hatched: back-up blocks"
            f.layout.yaxis.title.text = f"from the face, {unit}"

    def blocks(self) -> dict[str, tuple[float, float]]:
        """Face of the rail to where its back-up block reaches from and to, over small gaps too [mm]."""
        return {f: (min(a for a, _ in spans), max(b for _, b in spans)) for f, spans in self.exits.blocks.items()}

    def _blocks(self) -> tuple[Floats, Floats]:
        """Outlines of the blocks against the rail's faces."""
        (width, thickness), deep = self._rail(), 0.3 * self.rail_thickness.value
        beside = {"reference edge": (-deep, 0.0), "far edge": (width, width + deep)}
        beyond = {"reference face": (-deep, 0.0), "far face": (thickness, thickness + deep)}
        boxes = [_box(beside[f], v) if f in beside else _box(v, beyond[f]) for f, v in self.blocks().items()]
        return _together(boxes) if boxes else _NOTHING

    def _draw_side(self) -> None:
        """The rail from its edge: thickness across, length up; the shoulder at zero, the end of the tenon on top."""
        per, unit = LENGTH[self.system].per, LENGTH[self.system].unit
        t, s, thickness = self.tenon, self.plan.setting, self.rail_thickness.value
        bottom, top = self.plan.thickness_error[self.band.value]
        self.times = magnified(max(abs(bottom), abs(top)) / 2, thickness)
        z = t.length * (1 - np.arange(s.levels + 1) / s.levels)  # the ends of the levels, from the tenon's end down
        heights = np.repeat(z, 2)[1:-1]  # top and bottom of each level
        error = self.times * np.tile([top / 2, bottom / 2], s.levels)
        y = (t.from_face, t.from_face + t.thickness)
        levels = _together([(np.array([-0.15, 1.15]) * thickness, np.array([v, v])) for v in z])
        below = -min(0.6 * thickness, t.length)
        lines = [
            _box((0, thickness), (below, 0)), _box(y, (0, t.length)), levels, (y[0] - error, heights),
            (y[1] + error, heights),
        ]  # fmt: skip
        with self.side_figure.change() as f:
            for trace, (px, py) in zip(f.data, lines, strict=True):
                trace.x, trace.y = px / per, py / per
            f.layout.title.text = (
                f"From the edge, levels dashed; error of the cheeks at the {self.band.value} force<br>"
                f"drawn {self.times} times as large as it is"
            )
            f.layout.xaxis.title.text = f"from the face, {unit}"
            f.layout.yaxis.title.text = f"above the shoulder, {unit}"

    def _draw_path(self) -> None:
        per, unit = LENGTH[self.system].per, LENGTH[self.system].unit
        width, thickness = self._rail()
        t = self.tenon
        feed, rapid = arcs_as_lines(self.plan.moves)
        turn = np.linspace(0, 2 * math.pi, 49)
        radius = self._cutter().true_diameter / 2
        first = feed[np.flatnonzero(np.isfinite(feed[:, 0]))[0]]
        lines = [
            _box((0, width), (0, thickness)),
            _box((t.from_edge, t.from_edge + t.width), (t.from_face, t.from_face + t.thickness), t.rounded),
            (rapid[:, 0], rapid[:, 1]), (feed[:, 0], feed[:, 1]),
            (first[0] + radius * np.cos(turn), first[1] + radius * np.sin(turn)),
        ]  # fmt: skip
        with self.path_figure.change() as f:
            for trace, (px, py) in zip(f.data, lines, strict=True):
                trace.x, trace.y = px / per, py / per
            f.layout.xaxis.title.text = f"across the rail's width, {unit}; the circle: the cutter where it begins"
            f.layout.yaxis.title.text = f"from the face, {unit}"

    # --- other ways ---------------------------------------------------------------------------------------------------

    def compare(self) -> None:
        """Tune the tenon with every flat cutter of the rack, on end and lying flat; takes some seconds."""
        self.ways_button.disabled, self.progress.layout.visibility = True, "visible"
        found = list[TenonPlan]()
        rack = [c for c in self.shop.cutters.values() if c.shape in _FLAT]
        try:
            shape = self.shape()
            for n, cutter in enumerate(rack):
                self.progress.value = n
                found += ways(
                    [cutter], self._material(), self._machine(), *self._rail(), shape, laps=bool(self.way.value),
                    minutes_per_load=self.load, costs=self.costs,
                )  # fmt: skip
        except InputError as refused:
            self.ways_table.value = small("; ".join(str(f) for f in refused.faults))
            return
        finally:
            self.ways_button.disabled, self.progress.layout.visibility = False, "hidden"
        self.plans = sorted(found, key=lambda p: p.total["likely"])
        self.ways_table.value = self._ways(len(rack))

    def _ways(self, tried: int) -> str:
        rows = []
        for p in self.plans:
            s = p.setting
            worst = max(map(abs, p.thickness_error[self.band.value])) if p.station == "end" else math.nan
            error = "as its two zeros" if math.isnan(worst) else write_fit(worst, self.system)
            flat = p.station == "flat"
            minutes = (p.minutes["likely"], p.handling, p.total["likely"])
            rows.append([
                p.cutter.id, "flat, twice" if flat else "on end", *(f"{v:.1f}" for v in minutes), str(s.levels), error,
                s.binds,
            ])  # fmt: skip
        head = ["cutter", "rail", *(f"{w}, min" for w in ("machine", "handling", "in all")), "levels", "thick off by",
                "held back by"]  # fmt: skip
        caption = f"Every way that may be run, of {tried} cutters; handling from the shop's standard minutes"
        shown = table(caption, head, rows, words=(1, 6, 7))
        return shown + small(self._flat_words())

    def _flat_words(self) -> str:
        """What to know of rails lying flat, or why there are none."""
        if not any(p.station == "flat" for p in self.plans):
            try:
                lying_flat(self._cutter(), self._material(), self._machine(), *self._rail(), self.shape())
            except InputError as refused:
                return f"None is lying flat: {'; '.join(str(f) for f in refused.faults)}"
        return (
            "Lying flat the cheeks are floors: their depth is as true as the two zeros and the stock's thickness; "
            "turned over, the rail is clamped and its zero found a second time."
        )


_NOTHING = (np.zeros(0), np.zeros(0))


def _box(x: tuple[float, float], y: tuple[float, float], rounded: bool = False) -> tuple[Floats, Floats]:
    """Outline of a rectangle, its corners rounded to half the shorter side or square."""
    r = min(x[1] - x[0], y[1] - y[0]) / 2 if rounded else 0.0
    turn = np.linspace(0, math.pi / 2, 13) if r else np.zeros(1)
    px, py = [], []
    corners = ((x[1] - r, y[1] - r), (x[0] + r, y[1] - r), (x[0] + r, y[0] + r), (x[1] - r, y[0] + r))
    for k, (cx, cy) in enumerate(corners):
        px.append(cx + r * np.cos(turn + k * math.pi / 2))
        py.append(cy + r * np.sin(turn + k * math.pi / 2))
    ax, ay = np.concatenate(px), np.concatenate(py)
    return np.append(ax, ax[0]), np.append(ay, ay[0])


def _together(lines: list[tuple[Floats, Floats]]) -> tuple[Floats, Floats]:
    gap = np.array([math.nan])
    xs = np.concatenate([v for x, _ in lines for v in (x, gap)])
    ys = np.concatenate([v for _, y in lines for v in (y, gap)])
    return xs[:-1], ys[:-1]


def tenon_control(
    shop: Shop, system: System = "metric", *, cutter: str | None = None, material: str | None = None,
    machine: str | None = None,
) -> TenonControl:  # fmt: skip
    """The control over one tenon, to be shown by ``.view``.

    Parameters
    ----------
    shop : Shop
        Whose rack, machines, woods, rates and standard minutes count.
    system : {"metric", "inch"}
        Units shown at first.
    cutter, material, machine : str or None
        To begin with; None for the longest flat cutter, and the first of the shop's.

    Returns
    -------
    TenonControl

    Raises
    ------
    InputError
        When the shop has no such cutter, material or machine.
    """
    return TenonControl(shop, system, cutter=cutter, material=material, machine=machine)
