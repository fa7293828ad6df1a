"""Control of notebook 03: program files, the machine's limits, minutes."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import TYPE_CHECKING

import ipywidgets as widgets
import numpy as np
import plotly.graph_objects as go
from numpy.typing import NDArray

from shopcalc.controls.parts import (
    GREY,
    HUE,
    LiveFigure,
    NumberControl,
    big,
    choice,
    figure,
    heading,
    note,
    table,
)  # fmt: skip
from shopcalc.controls.path_picture import WIDTH, PathPicture, Place, places_table
from shopcalc.controls.thinning import View
from shopcalc.errors import InputError
from shopcalc.gcode import Program, read_program
from shopcalc.machines import Axis, Controller, Machine
from shopcalc.motion import CAUSES, MotionTime, machine_time
from shopcalc.moves import Kind, from_lists
from shopcalc.program_times import PROGRAM_ENDINGS
from shopcalc.units import System, write

if TYPE_CHECKING:
    from shopcalc.shop import Shop

_MINUTE = 60.0
#: What is shown: name of the unit of speeds, mm/min in one of it; of acceleration; of short lengths; of long ones.
_UNITS: dict[System, tuple[tuple[str, float], ...]] = {
    "metric": (("m/min", 1000.0), ("mm/s²", 1.0), ("mm", 1.0), ("m", 1000.0)),
    "inch": (("in/min", 25.4), ("in/s²", 25.4), ("in", 25.4), ("ft", 304.8)),
}
#: What one sentence calls the losses that ``MotionTime.causes`` names.
_COSTS = {
    "slower where an axis or an arc limits": "limits of axes and arcs",
    "corners": "corners",
    "starts and stops": "starts and stops",
    "bends of fine chords": "bends of fine chords",
    "moves known ahead": "the few moves known ahead",
    "slower neighbouring moves": "slower neighbouring moves",
    "gradual acceleration": "acceleration that builds up gradually",
    "waiting for blocks": "the block rate",
}
_AROUND = 25.0  # mm shown on each side of a place
_ALONG = 60.0  # mm of path shown before and after it
_MOST_BANDS = 10


@dataclass(frozen=True)
class Timed:
    """One program and its time under the present settings."""

    name: str
    program: Program
    time: MotionTime


class ProgramTimeControl:
    """Choose programs, move the machine's limits, see the minutes.

    Parameters
    ----------
    shop : Shop
        Where programs and machines are.
    machine : Machine
        The machine to begin with.
    files : list of Path
        Program files to choose from; one that cannot be read is listed with its fault.
    system : {"metric", "inch"}
        Units shown.
    """

    def __init__(self, shop: Shop, machine: Machine, files: list[Path], system: System = "metric") -> None:
        self.shop, self.machine, self.system = shop, machine, system
        self._speed, self._accel, self._short, self._long = _UNITS[system]
        self.files = {file.name: file for file in files}
        self.programs: dict[str, Program] = {}
        self.refused: list[str] = []
        for file in files:
            try:
                self.programs[file.name] = read_program(file, machine)
            except InputError as fault:
                self.refused += [str(f) for f in fault.faults]
        self.timed: list[Timed] = []
        self.places: list[Place] = []
        self._texts: dict[tuple[str, int], str] = {}
        self._quiet = False
        self._calls: list[Callable[[], None]] = []
        self._build_controls()
        self._build_figures()
        self.update()

    def _build_controls(self) -> None:
        x = self.machine.axes[0]
        names = list(self.programs)
        self.chosen = widgets.SelectMultiple(
            options=names, value=names, rows=min(9, max(3, len(names))), description="programs",
            layout=widgets.Layout(width="46em"), style={"description_width": "7em"},
        )  # fmt: skip
        tolerance = self.machine.controller.corner_tolerance
        self.rapid = _limit("rapid", self._speed, _or(x.rapid, 20_000), 1000, 60_000)
        self.acceleration = _limit("acceleration", self._accel, _or(x.acceleration, 500), 50, 5000)
        self.tolerance = _limit("corner tolerance", self._short, _or(tolerance, 0.05), 0.005, 0.5)
        self.feed_share = NumberControl("feed as run, % of program", 100 * self.machine.feed_share, 10, 200, 5)
        kinds = [(f"by {k}", k) for k in ("cause", "cutter", "depth")]
        self.sorted_by = choice("minutes", kinds, "cause", self._draw_causes)
        first = names[0] if names else None
        self.shown = choice("program shown", [(n, n) for n in names], first, self._show_another, "46em")
        self.look_at = choice("look at", [("the whole", 0)], 0, self._look, "46em")
        self.back = widgets.Button(description="back to the whole", layout=widgets.Layout(width="12em"))
        self.back.on_click(lambda _: self._look_at_the_whole())
        sides = [("along the path", "depth"), ("from the front, x over z", "front")]
        self.side = choice("depth", sides, "depth", self._look)
        for control in (self.rapid, self.acceleration, self.tolerance, self.feed_share):
            control.observe(self.update)
        self.chosen.observe(lambda _: self.update(), names="value")

    def _build_figures(self) -> None:
        unit = self._speed[0]
        self.causes_figure = figure(
            [go.Bar(x=[], y=[], orientation="h", marker={"color": HUE}, textposition="auto", name="minutes")],
            title={"text": "Where the minutes went"}, height=330, width=580,
            xaxis={"title": {"text": "minutes"}, "rangemode": "tozero"},
            yaxis={"autorange": "reversed", "automargin": True, "type": "category"},
        )  # fmt: skip
        self.speed_figure = figure(
            [
                go.Scatter(x=[], y=[], mode="lines", line={"color": GREY, "dash": "dot", "width": 2}, name="asked for"),
                go.Scatter(x=[], y=[], mode="lines", line={"color": HUE, "width": 2}, name="reached"),
            ],
            title={"text": "Speed along the path"}, height=360, width=WIDTH,
            margin={"t": 70, "b": 45, "l": 10, "r": 20},
            legend={"orientation": "h", "y": 1.02, "yanchor": "bottom", "x": 1, "xanchor": "right"},
            xaxis={"title": {"text": f"distance, {self._long[0]}"}},
            yaxis={"title": {"text": f"speed, {unit}"}, "rangemode": "tozero"},
        )  # fmt: skip
        nothing = PathPicture()
        self.plan_figure = LiveFigure(nothing.figure("plan", system=self.system))
        self.depth_figure = LiveFigure(nothing.figure("depth", system=self.system, legend=False))
        self.answer, self.sentence, self.table, self.places_table, self.faults, self.sums = (
            widgets.HTML() for _ in range(6)
        )  # fmt: skip
        beside = widgets.Layout(display="flex", flex_flow="row wrap", align_items="flex-start")
        self.view = widgets.VBox(
            [
                self.chosen, self.rapid.view, self.acceleration.view, self.tolerance.view, self.feed_share.view,
                self.answer, self.sentence, self.faults, self.table,
                widgets.HTML(heading("Where the time went")), self.sorted_by,
                widgets.Box([self.causes_figure, self.sums], layout=beside),
                widgets.HTML(heading("Where on the part")), self.shown,
                widgets.Box([self.look_at, self.back], layout=beside), self.places_table, self.plan_figure, self.side,
                self.depth_figure, self.speed_figure,
            ]
        )  # fmt: skip

    def present_machine(self) -> Machine:
        """The machine as the sliders have it; z keeps its own ratio to x."""
        m, x0 = self.machine, self.machine.axes[0]
        rapid, acceleration = self.rapid.value * self._speed[1], self.acceleration.value * self._accel[1]
        by_rapid, by_acceleration = _ratio(rapid, x0.rapid), _ratio(acceleration, x0.acceleration)
        axes = tuple(
            replace(
                a,
                rapid=a.rapid * by_rapid if math.isfinite(a.rapid) else rapid,
                acceleration=a.acceleration * by_acceleration if math.isfinite(a.acceleration) else acceleration,
            )
            for a in m.axes
        )
        controller = m.controller
        if controller.corner == "tolerance":
            controller = replace(controller, corner_tolerance=self.tolerance.value * self._short[1])
        return m.with_(axes=axes, controller=controller, feed_share=self.feed_share.value / 100)

    def update(self) -> None:
        """Time the chosen programs anew and show them."""
        machine = self.present_machine()
        self.timed = [
            Timed(name, self.programs[name], machine_time(self.programs[name].moves, machine))
            for name in self.chosen.value
        ]
        self._show_table()
        self._say_costs()
        self._draw_causes()
        self._draw_program()
        for call in self._calls:
            call()

    def when_timed(self, call: Callable[[], None]) -> None:
        """Call ``call()`` whenever the programs were timed anew.

        Parameters
        ----------
        call : callable
            Without arguments.
        """
        self._calls.append(call)

    @property
    def total_minutes(self) -> float:
        """Minutes of all chosen programs; nan when one of them is unknown."""
        return sum(t.time.total_s for t in self.timed) / _MINUTE

    def _show_table(self) -> None:
        known = [t for t in self.timed if math.isfinite(t.time.total_s)]
        total = sum(t.time.total_s for t in known)
        ideal = sum(t.time.length_over_feed_s for t in known)
        count = len(self.timed)
        text = f"{count} program{'s' if count != 1 else ''}: {write(total, 'time')}"
        if ideal > 0:
            text += f"; length / feed alone would say {write(ideal, 'time')}"
        if len(known) < count:
            text += f"; {count - len(known)} unknown, because no feed is programmed"
        self.answer.value = big(text)
        self.faults.value = "".join(note(f"not read: {f}") for f in self.refused)
        rows = [self._row(t) for t in self.timed]
        sums = [_minutes(total)] if len(known) == count else [f"{_minutes(total)} + unknown"]
        cut = sum(t.time.moves.cutting_length for t in self.timed)
        rapid = sum(t.time.moves.rapid_length for t in self.timed)
        parts = [
            _minutes(sum(getattr(t.time, k) for t in known))
            for k in ("cutting_time_s", "rapid_time_s", "change_time_s", "dwell_time_s")
        ]
        last = ["together", self._metres(cut), self._metres(rapid), *parts, *sums, _minutes(ideal)]
        unit = self._long[0]
        head = [
            "program", f"cutting, {unit}", f"rapid, {unit}", "cutting, min", "rapid, min", "changes, min",
            "standing, min", "in all, min", "length / feed, min",
        ]  # fmt: skip
        self.table.value = table("Lengths and minutes", head, rows, last)

    def _row(self, t: Timed) -> list[str]:
        m, time = t.time.moves, t.time
        seconds = (time.cutting_time_s, time.rapid_time_s, time.change_time_s, time.dwell_time_s, time.total_s)
        lengths = [self._metres(m.cutting_length), self._metres(m.rapid_length)]
        return [t.name, *lengths, *(_minutes(s) for s in seconds), _minutes(time.length_over_feed_s)]

    def _metres(self, mm: float) -> str:
        return f"{mm / self._long[1]:.2f}"

    def _say_costs(self) -> None:
        """One sentence: what the losses cost; or which program's time is unknown, and from which line on."""
        lines = []
        known = [t for t in self.timed if math.isfinite(t.time.total_s)]
        total = sum(t.time.total_s for t in known) / _MINUTE
        sums = self._sums("cause")
        costs = sorted(((sums.get(c, 0.0), words) for c, words in _COSTS.items()), reverse=True)
        costs = [(minutes, words) for minutes, words in costs if minutes >= 0.005]
        if known:
            first = [f"{words} cost {m:.2f}" if k == 0 else f"{words} {m:.2f}" for k, (m, words) in enumerate(costs)]
            lost = ", ".join(first) if first else "all of it at the asked feed"
            lines.append(f"{total:.2f} min; {lost}")
        for t in self.timed:
            at = _first_without_feed(t)
            if at is not None:
                text = self._text_of(t.name, at).strip()
                lines.append(
                    f"{t.name}: time unknown, no feed is known from line {at} on ({text}); write an F word there"
                )
        self.sentence.value = "".join(big(line) for line in lines)

    def _sums(self, sort: str) -> dict[str, float]:
        """Minutes of the chosen programs by cause, cutter or depth, as far as they are known; none of them zero."""
        sums: dict[str, float] = dict.fromkeys(CAUSES, 0.0) if sort == "cause" else {}
        for t in self.timed:
            parts: Mapping[str, float]
            if sort == "cause":
                parts = t.time.causes()
            elif sort == "cutter":
                parts = {_cutter(n, t): seconds for n, seconds in t.time.by_cutter().items()}
            else:
                continue
            for name, seconds in parts.items():
                if math.isfinite(seconds):
                    sums[name] = sums.get(name, 0.0) + seconds / _MINUTE
        if sort == "depth":
            sums = {n: s / _MINUTE for n, s in _by_depth([t.time for t in self.timed], self._short).items()}
        return {name: minutes for name, minutes in sums.items() if minutes > 0}

    def _draw_causes(self) -> None:
        sort = self.sorted_by.value
        sums = self._sums(sort)
        with self.causes_figure.change() as f:
            f.data[0].x, f.data[0].y = list(sums.values()), list(sums)
            f.data[0].text = [f"{v:.2f}" for v in sums.values()]
            f.layout.title.text = f"Where the minutes went, by {sort}"
            f.layout.height = max(330, 110 + 30 * len(sums))
        total = sum(sums.values())
        rows = [[name, f"{m:.2f}", f"{100 * m / total:.0f}"] for name, m in sums.items()]
        self.sums.value = table("The same in figures", [sort, "min", "%"], rows, ["together", f"{total:.2f}", "100"])

    def _show_another(self) -> None:
        """Another program: see all of it first."""
        self._quiet = True
        self.look_at.value = 0
        self._quiet = False
        self._draw_program()

    def _look_at_the_whole(self) -> None:
        self.look_at.value = 0

    def _look(self) -> None:
        if not self._quiet:
            self._draw_pictures()

    def _draw_program(self) -> None:
        """Time and draw the program shown; the place looked at stays, if there still is one of its number."""
        name = self.shown.value
        if name is None:
            return
        self._shown_time = machine_time(self.programs[name].moves, self.present_machine())
        self._whole = PathPicture()
        self._whole.add(self._shown_time)
        self.places = self._whole.places(5)
        chosen = self.look_at.value
        options = [("the whole", 0)]
        options += [(f"place {p.number}: {p.line_words}, {p.lost_s:.2f} s lost", p.number) for p in self.places]
        self._quiet = True
        self.look_at.options = options
        self.look_at.value = chosen if chosen <= len(self.places) else 0
        self._quiet = False
        self._draw_pictures()
        self.places_table.value = places_table(self.places, name, self.system, lambda line: self._text_of(name, line))

    def _draw_pictures(self) -> None:
        name = self.shown.value
        if name is None:
            return
        picture, plan, side = self._whole, None, None
        place = self.places[self.look_at.value - 1] if self.look_at.value else None
        view: View = self.side.value
        along = (-math.inf, math.inf)
        if place is not None:
            low, high = self._whole.extents[2] + (-1.0, 1.0)
            x, y, z = ((c - _AROUND, c + _AROUND) for c in place.at)
            z = (max(z[0], low), min(z[1], high))
            along = (place.distance[0] - _ALONG, place.distance[1] + _ALONG)
            picture = PathPicture((x, y, z, along))
            picture.add(self._shown_time)
            plan, side = (x, y), (x if view == "front" else along, z)
        with_name = name if place is None else f"{name}, place {place.number}"
        _renew(self.plan_figure, picture.figure("plan", with_name, self.system, self.places, plan))
        _renew(self.depth_figure, picture.figure(view, with_name, self.system, self.places, side, legend=False))
        self._draw_speed(with_name, along)

    def _draw_speed(self, name: str, along: tuple[float, float]) -> None:
        time = self._shown_time
        ends = np.cumsum(np.where(time.moves.kind <= Kind.ARC, time.moves.lengths, 0.0))
        begin, end = 0, len(ends)
        if math.isfinite(along[0]):
            begin = int(np.searchsorted(ends, along[0]))
            end = min(len(ends), int(np.searchsorted(ends, along[1])) + 1)
        distance, speed, asked = _part(time, begin, end).profile()
        distance = distance + (ends[begin - 1] if begin else 0.0)
        factor = 60 / self._speed[1]
        far = distance / self._long[1]
        with self.speed_figure.change() as f:
            f.data[0].x, f.data[0].y = far.tolist(), [None if math.isnan(v) else v * factor for v in asked]
            f.data[1].x, f.data[1].y = far.tolist(), (speed * factor).tolist()
            f.layout.title.text = f"Speed along the path: {name}"
            ends_shown = (
                {"range": [a / self._long[1] for a in along]} if math.isfinite(along[0]) else {"autorange": True}
            )
            f.layout.xaxis = {"title": {"text": f"distance, {self._long[0]}", "standoff": 4}, **ends_shown}

    def _text_of(self, name: str, line: int) -> str:
        """Text of a line of a program file."""
        if (name, line) not in self._texts:
            text = ""
            with self.files[name].open(encoding="utf-8", errors="replace") as lines:
                for number, one in enumerate(lines, start=1):
                    if number == line:
                        text = one.rstrip("\n")
                        break
            self._texts[name, line] = text
        return self._texts[name, line]


def _renew(shown: LiveFigure, fresh: go.Figure) -> None:
    """Show in a live picture what a fresh one of the same kind holds."""
    with shown.change() as f:
        for old, new in zip(f.data, fresh.data, strict=True):
            old.x, old.y, old.showlegend = new.x, new.y, new.showlegend
            if new.mode == "markers":
                old.hovertext, old.marker.size = new.hovertext, new.marker.size
        for name in ("title", "xaxis", "yaxis", "annotations", "height", "margin", "legend"):
            f.layout[name] = fresh.layout[name]


def _part(time: MotionTime, begin: int, end: int) -> MotionTime:
    """Some of the moves, with their times."""
    if (begin, end) == (0, len(time.moves)):
        return time
    given = {f.name: getattr(time, f.name) for f in fields(time)}
    arrays = {n: v[begin:end] for n, v in given.items() if isinstance(v, np.ndarray) and len(v) == len(time.moves)}
    return replace(time, moves=time.moves.part(begin, end), **arrays)


def _first_without_feed(t: Timed) -> int | None:
    """Line of the first move whose time nobody can know."""
    unknown = np.flatnonzero(np.isnan(t.time.seconds))
    return int(t.time.moves.line[unknown[0]]) if len(unknown) else None


def _cutter(number: int, t: Timed) -> str:
    if number == 0:
        return "before the first cutter"
    return str(t.time.moves.labels.get(number, f"cutter {number}"))


def _by_depth(times: list[MotionTime], unit: tuple[str, float]) -> dict[str, float]:
    """Seconds of cutting moves by the height of their lower end, from the top down, and of all the rest together."""
    heights = [
        t.moves.points[:, 2][np.append(t.moves.cutting, False) | np.append(False, t.moves.cutting)] for t in times
    ]
    z = np.concatenate([*heights, np.zeros(0)])
    if not len(z):
        return {}
    word, per = unit
    step = _round_step(max((float(z.max()) - float(z.min())) / per / _MOST_BANDS, 0.01))
    sums: dict[int, float] = {}
    for time in times:
        for band in time.by_depth(step * per):
            if math.isfinite(band.seconds):
                number = round(band.low / per / step)
                sums[number] = sums.get(number, 0.0) + band.seconds
    rest = sum(float(np.nansum(t.seconds[~t.moves.cutting])) for t in times)
    out = {f"z {step * n:.4g} to {step * (n + 1):.4g} {word}": sums[n] for n in sorted(sums, reverse=True)}
    return {**out, "rapids and standing": rest}


def _round_step(least: float) -> float:
    """1, 2 or 5 times a power of ten, no less than the given."""
    power = 10.0 ** math.floor(math.log10(least))
    return next(k * power for k in (1, 2, 5, 10) if k * power >= least * (1 - 1e-9))


def _limit(name: str, unit: tuple[str, float], value: float, low: float, high: float) -> NumberControl:
    """A number control over a limit of the machine, given in house units, shown in another; steps of about 1 %."""
    word, size = unit
    step = 10.0 ** math.floor(math.log10((high - low) / size / 100))
    value, low, high = (round(v / size, 4) for v in (value, low, high))
    return NumberControl(f"{name}, {word}", value, low, high, step)


def _or(value: float, otherwise: float) -> float:
    return value if math.isfinite(value) else otherwise


def _ratio(new: float, old: float) -> float:
    return new / old if math.isfinite(old) else 1.0


def _minutes(seconds: float) -> str:
    return "unknown" if math.isnan(seconds) else f"{seconds / _MINUTE:.2f}"


def program_time(
    shop: Shop, machine: str | None = None, folder: Path | None = None, system: System = "metric"
) -> ProgramTimeControl:
    """The control over all programs of a folder, to be shown by ``.view``.

    Parameters
    ----------
    shop : Shop
        The shop whose machines and programs are meant.
    machine : str, optional
        A machine of the shop; its first one if not given.
    folder : Path, optional
        Where the programs are; the shop's ``programs`` folder if not given.
    system : {"metric", "inch"}
        Units shown.

    Raises
    ------
    InputError
        When there is no such machine.
    """
    chosen = shop.machine(machine) if machine else next(iter(shop.machines.values()))
    files = sorted(p for p in (folder or shop.folder / "programs").iterdir() if p.suffix.lower() in PROGRAM_ENDINGS)
    return ProgramTimeControl(shop, chosen, files, system)


def straight_move_seconds(
    distance: Iterable[float], speed: Iterable[float], acceleration: Iterable[float], jerk: Iterable[float]
) -> NDArray[np.float64]:
    """Seconds of straight moves from rest to rest, by the engine that times programs.

    Parameters
    ----------
    distance, speed, acceleration, jerk : (n,) float
        [mm], [mm/s], [mm/s2], [mm/s3]; inf for no limit.

    Returns
    -------
    (n,) float
        [s]
    """
    out = []
    for d, v, a, j in zip(distance, speed, acceleration, jerk, strict=True):
        machine = Machine(axes=(Axis(60 * v, 60 * v, a),) * 3, controller=Controller(jerk=j))
        out.append(machine_time(from_lists([(0, 0, 0), (d, 0, 0)], [Kind.LINE], feed=60 * v), machine).total_s)
    return np.asarray(out)
