"""Control of notebook 01: one cut, its setting, every bound by consequence, and where settings may lie."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Literal, get_args

import ipywidgets as widgets
import numpy as np
import plotly.graph_objects as go

from shopcalc.controls.parts import (
    FEED,
    FINE,
    FORCE,
    HUE,
    LENGTH,
    LONG,
    PALE,
    MeasuredControl,
    NumberControl,
    Shown,
    big,
    choice,
    figure,
    heading,
    note,
    table,
)
from shopcalc.controls.region import curve_names, region
from shopcalc.cutters import Cutter
from shopcalc.cutting import limits as lim
from shopcalc.cutting.engagement import effective_diameter, pass_count
from shopcalc.cutting.force import BANDS
from shopcalc.cutting.grain import Direction
from shopcalc.cutting.limits import Cut, Limit, Pass, habit
from shopcalc.cutting.relaxing import Relaxation, in_the_whole, relaxations
from shopcalc.cutting.report import CAUTIONS, amount, grain_words, limit_rows, wall_error_words
from shopcalc.cutting.tuning import Costs, Goal, Search, Setting, ask
from shopcalc.errors import InputError
from shopcalc.machines import STATIONS
from shopcalc.sources import cautions
from shopcalc.units import System, write, write_time

if TYPE_CHECKING:
    from shopcalc.shop import Shop

_ACROSS, _UP = 150, 150  # settings the plane is looked at with
_CURVES = 18  # more bounds than ever cross one window
_WIDTH, _HEIGHT, _LEFT, _RIGHT, _TOP, _BOTTOM = 830, 580, 80, 190, 140, 55  # of the plane [px]
_TALL = 17 / (_HEIGHT - _TOP - _BOTTOM)  # of a name, as share of the plane's height
_WIDE = 22 / (_WIDTH - _LEFT - _RIGHT)
_MOST = 150.0  # per cent; longer bars are cut off, their number is not
_RPM: Mapping[System, Shown] = {s: Shown("rev/min", 1.0, 100.0, 0) for s in get_args(System)}
_STALE = "The cut has changed since: press again."


def by_hand(cut: Cut, levels: int, side_steps: int, direction: Direction) -> Pass:
    """A division into passes somebody chose, with no fewer than the cutter's size needs.

    Parameters
    ----------
    cut : Cut
        What is cut.
    levels, side_steps : int
        As wanted [-].
    direction : {"climb", "conventional"}
        Of the pass that leaves the wall.

    Returns
    -------
    Pass
        No level is deeper than the flutes are long, and no step wider than the cutter. In the solid the first pass is
        as wide as the cutter and the others share what is beside it.
    """
    levels = max(levels, pass_count(cut.depth, cut.cutter.cutting_length))
    level = cut.depth / levels
    across = float(effective_diameter(cut.cutter, level))
    if not cut.in_solid:
        steps = max(side_steps, pass_count(cut.width, across))
        return Pass(levels, steps, level, cut.width / steps, direction)
    width = min(cut.width, across)
    beside = cut.width - width
    if beside <= 1e-9:
        return Pass(levels, 1, level, width, direction)
    steps = max(side_steps, 1 + pass_count(beside, across))
    return Pass(levels, steps, level, width, direction, beside / (steps - 1))


class CutterTuningControl:
    """Describe a cut, move its setting or have it tuned, see what it uses of every bound.

    Parameters
    ----------
    shop : Shop
        Whose rack, machines, woods and rates are offered.
    system : {"metric", "inch"}
        Units shown at first.
    cutter, material, machine : str or None
        To begin with; None for the first of the shop's.
    station : {"flat", "edge", "end"}
        To begin with.
    """

    def __init__(
        self, shop: Shop, system: System = "metric", *, cutter: str | None = None, material: str | None = None,
        machine: str | None = None, station: Literal["flat", "edge", "end"] = "flat",
    ) -> None:  # fmt: skip
        self.shop, self.costs = shop, Costs.of(shop.rates)
        self.tuned: Setting | None = None
        self._tuned_how, self._undo = "", list[tuple[Any, ...]]()
        self._key: tuple[Any, ...] = ()
        self._answers: dict[tuple[Any, ...], tuple[Setting, str]] = {}
        self.pays: list[Relaxation] = []
        self._quiet = True
        cutters = {k: c for k, c in shop.cutters.items() if c.shape != "drill"}
        first = shop.cutter(cutter or next(iter(cutters)))
        self._build_cut(cutters, first, system, material, machine, station)
        self._build_setting(system)
        self._build_figures()
        self._quiet = False
        self.tune_to("cheapest")
        self._undo.clear()
        self.undo_button.disabled = True

    # --- controls -----------------------------------------------------------------------------------------------------

    def _build_cut(
        self, cutters: Mapping[str, Cutter], first: Cutter, system: System, material: str | None, machine: str | None,
        station: str,
    ) -> None:  # fmt: skip
        shop, call = self.shop, self.update
        woods = sorted(((m.title, k) for k, m in shop.materials.items()), key=lambda w: w[0].lower())
        machines = [(m.title or k, k) for k, m in shop.machines.items()]
        systems = [("metric: mm, N", "metric"), ("inch: in, lbf", "inch")]
        self.units = choice("units", systems, system, self._change_units)
        racked = [(f"{k}: {c.title}", k) for k, c in cutters.items()]
        self.cutter = choice("cutter", racked, first.id, self._change_cutter)
        self.material = choice("wood", woods, shop.material(material).id if material else woods[0][1], call)
        self.machine = choice("machine", machines, machine or machines[0][1], call)
        self.station = choice("station", [(s, s) for s in STATIONS], station, self._change_lie)
        grains = [(g, g) for g in ("along", "across", "degrees")]
        self.grain = choice("feed to grain", grains, "along", self._change_lie)
        self.degrees = NumberControl("grain, degrees from the feed", 30, -90, 90, 5)
        self.degrees.observe(call)
        self.in_solid = widgets.Checkbox(value=False, description="wood on both sides, as in a groove", indent=False)
        self.in_solid.observe(lambda _: call(), names="value")
        self.cut_depth = MeasuredControl("depth of the whole cut", 12.0, 0.2, 120.0, LENGTH, system)
        self.cut_width = MeasuredControl("width of the whole cut", 10.0, 0.2, 120.0, LENGTH, system)
        self.length = MeasuredControl("length of a pass", 600.0, 10.0, 3000.0, LONG, system)
        self.stick_out = MeasuredControl("stick-out", first.stick_out, 10.0, 120.0, LENGTH, system)
        self.wear = NumberControl("wear of the edge, % of its life", 0, 0, 100, 5)
        self.push_off = MeasuredControl("error allowed on the wall", habit("push_off"), 0.01, 1.0, FINE, system)
        for control in (*self._measured(), self.wear):
            control.observe(call)
        self._enable_lie()
        self._fit_stick_out(first)

    def _build_setting(self, system: System) -> None:
        self.rpm = MeasuredControl("spindle speed", 16_000, 1000, 30_000, _RPM, system)
        self.feed_per_tooth = MeasuredControl("feed per tooth", 0.15, 0.005, 1.5, FINE, system)
        self.levels = NumberControl("levels", 3, 1, 40, 1)
        self.side_steps = NumberControl("side steps", 1, 1, 20, 1)
        ways = [(d, d) for d in get_args(Direction)]
        self.direction = choice("direction", ways, "climb", self.update)
        for control in (self.rpm, self.feed_per_tooth, self.levels, self.side_steps):
            control.observe(self.update)
        self.quickest_button = _button("quickest that keeps every bound", lambda: self.tune_to("quickest"))
        self.cheapest_button = _button("cheapest", lambda: self.tune_to("cheapest"))
        self.undo_button = _button("undo", self.undo)
        self.hours = NumberControl("hours of the whole job", 20, 1, 500, 1)
        self.repeats = NumberControl("such cuts in the job", 16, 1, 500, 1)
        for control in (self.hours, self.repeats):
            control.observe(self._show_pays)
        self.pays_button = _button("what would pay", self.what_pays)

    def _measured(self) -> tuple[MeasuredControl, ...]:
        return self.cut_depth, self.cut_width, self.length, self.stick_out, self.push_off

    @property
    def system(self) -> System:
        """Units shown."""
        shown: System = self.units.value
        return shown

    def _change_units(self) -> None:
        for control in (*self._measured(), self.rpm, self.feed_per_tooth):
            control.system = self.system
        self.pays = []
        self._show_pays()
        self.update()

    def _change_cutter(self) -> None:
        self._fit_stick_out(self.shop.cutter(self.cutter.value))
        self.update()

    def _fit_stick_out(self, c: Cutter) -> None:
        """Flutes are never clamped, and something has to be."""
        self.stick_out.limit(c.cutting_length, max(c.overall_length - 1.0, c.stick_out))
        quiet, self._quiet = self._quiet, True
        self.stick_out.value = c.stick_out
        self._quiet = quiet

    def _change_lie(self) -> None:
        self._enable_lie()
        self.update()

    def _enable_lie(self) -> None:
        lying = self.station.value != "end"
        self.grain.disabled = not lying
        for w in (self.degrees.box, self.degrees.slider):
            w.disabled = not lying or self.grain.value != "degrees"

    # --- pictures -----------------------------------------------------------------------------------------------------

    def _build_figures(self) -> None:
        self.region_figure = figure(
            [
                go.Heatmap(
                    x=[0, 1], y=[0, 1], z=[[0, 0], [0, 0]], zmin=0, zmax=1, showscale=False, hoverinfo="skip",
                    colorscale=[[0, "rgba(0,0,0,0)"], [1, "rgba(90,90,90,0.28)"]], name="passed",
                ),
                *(go.Scatter(x=[], y=[], mode="lines", line={"color": HUE}, name="") for _ in range(_CURVES)),
                _point("tuned", "x-thin-open", "top left"), _point("present", "circle-open", "bottom right"),
            ],
            height=_HEIGHT, showlegend=False,
            margin={"l": _LEFT, "r": _RIGHT, "t": _TOP, "b": _BOTTOM},
            xaxis={"title": {"text": "spindle speed, rev/min"}, "showgrid": False, "tickformat": "d"},
            yaxis={"title": {"text": ""}, "showgrid": False, "rangemode": "tozero", "tickformat": "d"},
        )  # fmt: skip
        self.region_figure.layout.width = _WIDTH
        ends = {
            "mode": "markers",
            "hoverinfo": "skip",
            "marker": {"symbol": "line-ns-open", "size": 13, "color": "#222"},
        }
        self.bounds_figure = figure(
            [
                go.Bar(x=[], y=[], orientation="h", marker={"color": HUE}, textposition="auto", cliponaxis=False,
                       hoverinfo="skip", name="used"),
                go.Scatter(x=[], y=[], name="ends here", **ends),
            ],
            title={"text": "How much of each bound is used, tightest first"}, height=620, showlegend=False,
            xaxis={"title": {"text": ""}, "range": [0, _MOST + 5], "ticksuffix": " %"},
            yaxis={"autorange": "reversed", "automargin": True}, bargap=0.35,
            shapes=[{"type": "line", "x0": 100, "x1": 100, "y0": 0, "y1": 1, "yref": "paper", "line": {"width": 2}}],
        )  # fmt: skip
        self.bounds_figure.layout.width = _WIDTH
        self.force_figure = figure(
            [t for axis, colour in (("y", HUE), ("y2", "#333333")) for t in _band_traces(axis, colour)],
            title={"text": "Force on the cutter over one turn: likely (line), low to high (band)"}, height=460,
            showlegend=False,
            xaxis={"title": {"text": "turn of the first flute, degrees"}, "range": [0, 360], "dtick": 45,
                   "anchor": "y2"},
            yaxis={"domain": [0.55, 1.0], "title": {"text": ""}}, yaxis2={"domain": [0.0, 0.45], "title": {"text": ""}},
        )  # fmt: skip
        self.force_figure.layout.width = _WIDTH
        self.answer, self.table, self.remarks, self.cautions, self.pays_table = (widgets.HTML() for _ in range(5))
        self.region_title = widgets.HTML()
        boxes = widgets.Layout(flex_flow="row wrap")
        self.view = widgets.VBox(
            [
                widgets.HTML(heading("The cut")),
                widgets.HBox([self.cutter, self.material, self.machine, self.station], layout=boxes),
                widgets.HBox([self.grain, self.in_solid, self.units], layout=boxes),
                self.degrees.view, self.cut_depth.view, self.cut_width.view, self.length.view, self.stick_out.view,
                self.wear.view, self.push_off.view,
                widgets.HTML(heading("The setting")),
                self.rpm.view, self.feed_per_tooth.view, self.levels.view, self.side_steps.view, self.direction,
                widgets.HBox([self.quickest_button, self.cheapest_button, self.undo_button], layout=boxes),
                self.answer, self.region_title, self.region_figure, self.remarks, self.bounds_figure, self.table,
                self.force_figure,
                widgets.HTML(heading("What would pay")),
                self.hours.view, self.repeats.view, widgets.HBox([self.pays_button]), self.pays_table, self.cautions,
            ]
        )  # fmt: skip

    # --- what is shown ------------------------------------------------------------------------------------------------

    def present_cutter(self) -> Cutter:
        """The cutter as far out of the collet as the slider has it."""
        return replace(self.shop.cutter(self.cutter.value), stick_out=self.stick_out.value)

    def asked(self) -> dict[str, Any]:
        """The cut in the words of ``tune``."""
        station = self.station.value
        grain = {"degrees": f"{self.degrees.value:g} deg"}.get(self.grain.value, self.grain.value)
        return {
            "station": station, "grain": "end" if station == "end" else grain, "cut_depth": self.cut_depth.value,
            "cut_width": self.cut_width.value, "length": self.length.value, "in_solid": bool(self.in_solid.value),
            "greatest_push_off": self.push_off.value, "wear": self.wear.value / 100,
        }  # fmt: skip

    def _things(self) -> tuple[Any, Any, Any]:
        machine = self.shop.machine(self.machine.value)
        return self.present_cutter(), self.shop.material(self.material.value), machine

    def _cut_key(self) -> tuple[Any, ...]:
        """What the cut depends on, the setting left out."""
        return *self.asked().items(), self.present_cutter(), self.material.value, self.machine.value

    def present_cut(self) -> Cut:
        """The cut as the controls have it."""
        return ask(*self._things(), **self.asked())

    @property
    def feed(self) -> float:
        """Feed as run [mm/min]."""
        return self.rpm.value * self.present_cutter().flutes * self.feed_per_tooth.value

    def update(self) -> None:
        """Look at the present setting anew and show it."""
        if self._quiet:
            return
        key = self._cut_key()
        if key != self._key:
            self._key, self.pays = key, []
            self.tuned, self._tuned_how = self._answers.get(key, (None, ""))
            self._show_pays()
        try:
            cut = self.present_cut()
            shape = by_hand(cut, round(self.levels.value), round(self.side_steps.value), self.direction.value)
            search = Search(cut, costs=self.costs)
            self.setting = search.at(shape, self.rpm.value, self.feed)
        except InputError as refused:
            self._blank("; ".join(str(f) for f in refused.faults))
            return
        self.cut, self.loads = cut, search.loads(shape)
        self._show_answer()
        self._draw_region(search)
        self._draw_bounds()
        self._draw_force()

    def tune_to(self, goal: Goal) -> None:
        """Set the sliders to the tuned setting.

        Parameters
        ----------
        goal : {"cheapest", "quickest"}
            What is wanted of it.
        """
        try:
            found = Search(self.present_cut(), costs=self.costs, goal=goal).setting()
        except InputError:
            self.update()  # says what is wrong
            return
        self._undo = [self._state()]
        self.undo_button.disabled = False
        way = (found.rpm, found.feed_per_tooth_mm, found.levels, found.side_steps, found.direction)
        self._set(way)
        self._key = self._cut_key()
        self._answers[self._key] = self.tuned, self._tuned_how = found, goal
        self.update()

    def undo(self) -> None:
        """Bring back the setting from before the last button."""
        if self._undo:
            self._set(self._undo.pop())
            self.undo_button.disabled = True
            self.update()

    def _state(self) -> tuple[Any, ...]:
        numbers = (self.rpm, self.feed_per_tooth, self.levels, self.side_steps)
        return (*(c.value for c in numbers), self.direction.value)

    def _set(self, state: tuple[Any, ...]) -> None:
        self._quiet = True
        try:
            for control, value in zip(
                (self.rpm, self.feed_per_tooth, self.levels, self.side_steps), state, strict=False
            ):
                control.value = value
            self.direction.value = state[-1]
        finally:
            self._quiet = False

    def _blank(self, words: str) -> None:
        """Nothing stale is left standing where the cut cannot be."""
        self.answer.value = big(f"This cannot be cut: {words}")
        self.table.value = self.remarks.value = ""
        for drawn in (self.region_figure, self.bounds_figure, self.force_figure):
            with drawn.change() as f:
                f.layout.annotations = []
                for trace in f.data:
                    trace.x = trace.y = []
                    if trace.type == "heatmap":
                        trace.z = []

    def _kept(self) -> Iterator[tuple[Limit, bool, float]]:
        """Each limit, tightest first, whether it is kept, and the share at which it ends."""
        reserved = {b.name for b in lim.bounds(self.loads, self.setting.rpm, self.feed) if b.reserve}
        for x in self.setting.limits:
            most = 1 - habit("reserve") if x.name in reserved else 1.0
            yield x, x.used is None or x.used <= most + 1e-9, most

    def verdict(self) -> str:
        """In words whether the present setting may be run."""
        s = self.setting
        if s.forbidden:
            return "DO NOT RUN: " + ", ".join(x.name for x in s.forbidden)
        passed = [x for x, kept, _ in self._kept() if not kept]
        hard = [x.name for x in passed if x.hard]
        soft = [x.name for x in passed if not x.hard]
        words = [f"eats into the reserve of: {', '.join(hard)}"] if hard else []
        words += [f"passes bounds of quality: {', '.join(soft)}"] if soft else []
        words = words or [f"keeps every bound{' that is known' if s.unknown else ''}; held back by {s.binds}"]
        words += [f"not known, find out before running: {', '.join(x.name for x in s.unknown)}"] if s.unknown else []
        told = "; ".join(words)
        return told[0].upper() + told[1:]

    def _show_answer(self) -> None:
        s, system, m = self.setting, self.system, self.cut.material
        cost = "" if s.cost is None else f"; {s.cost:.2f} {self.costs.currency} expected"
        window = f"{amount(m.chip_thin, 'mm', system)} and {amount(self.cut.chip_thick, 'mm', system)}"
        lines = [
            self.verdict(),
            f"Time {write_time(60 * s.minutes['likely'])}{cost}",
            f"Mean chip {amount(s.mean_chip_mm, 'mm', system)}, to lie between {window}",
            f"Wall: {wall_error_words(*s.push_off_mm['likely'][:2], system)}, at the likely force",
        ]
        self.answer.value = "".join(big(t) for t in lines)
        passes = f"{s.levels} level{'s' * (s.levels > 1)} of {amount(s.depth_per_pass_mm, 'mm', system)}, "
        passes += f"{s.side_steps} side step{'s' * (s.side_steps > 1)} of {amount(s.width_per_pass_mm, 'mm', system)}"
        if (s.levels, s.side_steps) != (round(self.levels.value), round(self.side_steps.value)):
            passes += " (no fewer: flutes and diameter do not allow more at once)"
        feed = f"feed {write(s.feed_mm_min, 'feed', system)}, plunge feed {write(s.plunge_feed_mm_min, 'feed', system)}"
        grain = "; ".join(grain_words(self.cut.cutter, self.cut.grain, s))
        if m.group == "sheet":
            grain = "a board's core has no grain; its faces tear where flutes lift them"
        high = f"at the high force the wall has {wall_error_words(*s.push_off_mm['high'][:2], system)}"
        relief = f"held back by {s.binds}; to relax that: {remedies(s)}"
        self.remarks.value = "".join(note(t) for t in (f"{passes}; {feed}", grain, high, relief))
        dust = [c for c in cautions("wood dust", m.id) if c.applies_to and c.item == "carcinogen class"]
        words = [*CAUTIONS, *(f"Dust of {m.title}: carcinogen class {c.value}, {c.basis}." for c in dust)]
        self.cautions.value = "".join(note(t) for t in words)
        rows = limit_rows(s.limits, system)
        head = ["bound", "used", "now, and at which it ends", "kind", "source"]
        shown = [[name, _capped(x.used), words, kind, source] for x, (_, name, words, kind, source) in
                 zip(s.limits, rows, strict=True)]  # fmt: skip
        self.table.value = table("Every bound in numbers", head, shown, words=(2, 3, 4))

    def _draw_region(self, search: Search) -> None:
        s, per = self.setting, FEED[self.system].per
        marks = [(s.rpm, self.feed)]
        if self.tuned is not None:
            marks.append((self.tuned.rpm, self.tuned.rpm * self.cut.cutter.flutes * self.tuned.feed_per_tooth_mm))
        left = 0.8 * min(search.low, *(x for x, _ in marks))
        right = 1.06 * max(search.high / (1 - habit("reserve")), *(x for x, _ in marks))
        top = 1.2 * max(search.fastest(self.loads.shape), *(y for _, y in marks))
        rpm, feed = np.linspace(left, right, _ACROSS), np.linspace(top / _UP, top, _UP)
        passed, self.curves, self.everywhere = region(self.loads, rpm, feed)
        self.feasible_share = 1 - float(passed.mean())
        title = "Settings that keep every bound (white) and that do not (grey)"
        if self.everywhere:
            title += f"; with these passes no speed or feed keeps: {', '.join(self.everywhere)}"
        self.region_title.value = heading(title)
        with self.region_figure.change() as f:
            f.data[0].x, f.data[0].y, f.data[0].z = rpm, feed / per, passed.astype(np.uint8)
            for k, trace in enumerate(f.data[1 : 1 + _CURVES]):
                c = self.curves[k] if k < len(self.curves) else None
                trace.x, trace.y = ([], []) if c is None else (c.rpm, c.feed / per)
                trace.name = "" if c is None else c.name
                if c is not None:
                    trace.line = {"color": HUE, "width": 3 if c.hard else 1.5, "dash": "solid" if c.hard else "dash"}
            present = [(s.rpm, self.feed / per)]
            tuned = [(x, y / per) for x, y in marks[1:]]
            same = bool(tuned) and all(math.isclose(a, b, rel_tol=1e-6) for a, b in zip(*present, *tuned, strict=True))
            words = f"tuned, {self._tuned_how}"
            if self.tuned is not None and (self.tuned.levels, self.tuned.side_steps) != (s.levels, s.side_steps):
                words += f" ({self.tuned.levels} × {self.tuned.side_steps} passes)"
            for trace, points, name in (
                (f.data[-2], [] if same else tuned, words),
                (f.data[-1], present, f"present: {words}" if same else "present"),
            ):
                trace.textposition = f"bottom {'left' if points and points[0][0] > (left + right) / 2 else 'right'}"
                trace.x, trace.y, trace.text = [p[0] for p in points], [p[1] for p in points], [name] * len(points)
            f.layout.xaxis.range, f.layout.yaxis.range = [left, right], [0, top / per]
            f.layout.yaxis.title.text = f"feed as run, {FEED[self.system].unit}"
            f.layout.annotations = curve_names(self.curves, left, right, top, tall=_TALL, wide=_WIDE)

    def _draw_bounds(self) -> None:
        kept = list(self._kept())
        names = [f"{x.name} (hard)" if x.hard else x.name for x, _, _ in kept]
        shares = [0.0 if x.used is None else 100 * x.used for x, _, _ in kept]
        with self.bounds_figure.change() as f:
            f.data[0].y, f.data[0].x = names, [min(v, _MOST) for v in shares]
            f.data[0].text = [_capped(x.used) + ("" if ok else " passed") for x, ok, _ in kept]
            f.data[1].y, f.data[1].x = names, [100 * most for _, _, most in kept]
            reserve = 100 * habit("reserve")
            f.layout.xaxis.title.text = (
                f"share of the bound used; the tick is where it ends: hard bounds keep {reserve:.0f} % in reserve"
            )

    def _draw_force(self) -> None:
        shown = FORCE[self.system]
        turns = {b: self.loads.loads[b].turn(self.feed_per_tooth.value) for b in BANDS}
        degrees = np.degrees(np.append(turns["low"][0], 2 * math.pi))
        with self.force_figure.change() as f:
            for first, which, sign in ((0, 1, -1), (3, 2, 1)):
                low, likely, high = (sign * np.append(turns[b][which], turns[b][which][0]) / shown.per for b in BANDS)
                for trace, line in zip(f.data[first : first + 3], (low, high, likely), strict=True):
                    trace.x, trace.y = degrees, np.round(line, 3)
            f.layout.yaxis.title.text = f"against the feed, {shown.unit}"
            f.layout.yaxis2.title.text = f"to the left of it, {shown.unit}"

    # --- what would pay -----------------------------------------------------------------------------------------------

    def what_pays(self) -> None:
        """Tune the same cut with one thing changed at a time; takes a second or two."""
        self.pays_button.description, self.pays_button.disabled = "working …", True
        try:
            self.pays = relaxations(
                *self._things(), rack=self.shop.cutters, costs=self.costs, system=self.system, **self.asked()
            )
        except InputError:
            self.pays = []
        finally:
            self.pays_button.description, self.pays_button.disabled = "what would pay", False
        self._show_pays()

    def _show_pays(self) -> None:
        if not self.pays:
            self.pays_table.value = note(_STALE)
            return
        rows = []
        for r in self.pays:
            money = "" if r.saved_cost is None else f"{r.saved_cost * self.repeats.value:+.2f}"
            saved = self.repeats.value * r.saved_minutes
            rows.append([r.change, f"{60 * r.saved_minutes:+.1f}", money, in_the_whole(saved, self.hours.value),
                         r.setting.binds])  # fmt: skip
        head = ["change", "saved a cut, s", f"saved in the job, {self.costs.currency}", "in the whole", "then binds"]
        caption = "One thing changed at a time, each tuned anew, against this cut tuned as it is"
        self.pays_table.value = table(caption, head, rows, words=(3, 4))


def remedies(setting: Setting) -> str:
    """What would relax all that holds a setting back.

    Parameters
    ----------
    setting : Setting
        Any.

    Returns
    -------
    str
    """
    names = setting.binds.split("; ")
    return "; or ".join(dict.fromkeys(x.remedy for name in names for x in setting.limits if x.name == name))


def _capped(used: float | None) -> str:
    """A used share for people; what is passed ten times over needs no digits."""
    return "unknown" if used is None else "> 999 %" if used > 9.995 else f"{100 * used:.0f} %"


def _button(words: str, call: Any) -> widgets.Button:
    out = widgets.Button(description=words, layout=widgets.Layout(width="auto"))
    out.on_click(lambda _: call())
    return out


def _point(name: str, symbol: str, where: str) -> go.Scatter:
    marker = {"symbol": symbol, "size": 15, "color": "#111111", "line": {"width": 3, "color": "#111111"}}
    return go.Scatter(x=[], y=[], mode="markers+text", marker=marker, textposition=where, name=name,
                      textfont={"size": 14, "color": "#111111"})  # fmt: skip


def _band_traces(axis: str, colour: str) -> list[go.Scatter]:
    edge = {"color": colour, "width": 0.7}
    common = {"x": [], "y": [], "mode": "lines", "yaxis": axis}
    fill = PALE if colour == HUE else "#c9c9c9"
    return [
        go.Scatter(**common, line=edge, name="low"),
        go.Scatter(**common, line=edge, fill="tonexty", fillcolor=fill, name="high"),
        go.Scatter(**common, line={"color": colour, "width": 3}, name="likely"),
    ]


def cutter_tuning(
    shop: Shop, system: System = "metric", *, cutter: str | None = None, material: str | None = None,
    machine: str | None = None, station: Literal["flat", "edge", "end"] = "flat",
) -> CutterTuningControl:  # fmt: skip
    """The control over one cut's setting, to be shown by ``.view``.

    Parameters
    ----------
    shop : Shop
        Whose rack, machines, woods and rates are offered.
    system : {"metric", "inch"}
        Units shown at first.
    cutter, material, machine : str or None
        To begin with; None for the first of the shop's.
    station : {"flat", "edge", "end"}
        To begin with.

    Returns
    -------
    CutterTuningControl

    Raises
    ------
    InputError
        When the shop has no such cutter, material or machine.
    """
    return CutterTuningControl(shop, system, cutter=cutter, material=material, machine=machine, station=station)
