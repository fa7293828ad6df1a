"""Control of notebook 03: program files, the machine's limits, minutes."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import ipywidgets as widgets
import numpy as np
import plotly.graph_objects as go
from numpy.typing import NDArray

from shopcalc.controls.parts import GREY, HUE, NumberControl, big, figure, note, table
from shopcalc.errors import InputError
from shopcalc.gcode import Program, read_program
from shopcalc.machines import Axis, Controller, Machine
from shopcalc.motion import CAUSES, MotionTime, machine_time
from shopcalc.moves import Kind, from_lists
from shopcalc.units import System, write

if TYPE_CHECKING:
    from shopcalc.shop import Shop

_MINUTE = 60.0
#: What is shown: name of the unit of speeds, mm/min in one of it; of acceleration; of short lengths; of long ones.
_UNITS: dict[System, tuple[tuple[str, float], ...]] = {
    "metric": (("m/min", 1000.0), ("mm/s²", 1.0), ("mm", 1.0), ("m", 1000.0)),
    "inch": (("in/min", 25.4), ("in/s²", 25.4), ("in", 25.4), ("ft", 304.8)),
}


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
        self.programs: dict[str, Program] = {}
        self.refused: list[str] = []
        for file in files:
            try:
                self.programs[file.name] = read_program(file, machine)
            except InputError as fault:
                self.refused += [str(f) for f in fault.faults]
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
        self.shown = widgets.Dropdown(
            options=names, description="speed of", style={"description_width": "7em"},
            layout=widgets.Layout(width="46em"),
        )  # fmt: skip
        for control in (self.rapid, self.acceleration, self.tolerance, self.feed_share):
            control.observe(self.update)
        self.chosen.observe(lambda _: self.update(), names="value")
        self.shown.observe(lambda _: self._draw_speed(), names="value")

    def _build_figures(self) -> None:
        unit = self._speed[0]
        self.causes_figure = figure(
            [go.Bar(x=[], y=[], orientation="h", marker={"color": HUE}, textposition="auto", name="minutes")],
            title={"text": "Where the minutes went"}, height=330,
            xaxis={"title": {"text": "minutes"}, "rangemode": "tozero"},
            yaxis={"autorange": "reversed", "automargin": True},
        )  # fmt: skip
        self.speed_figure = figure(
            [
                go.Scatter(x=[], y=[], mode="lines", line={"color": GREY, "dash": "dot", "width": 2}, name="asked for"),
                go.Scatter(x=[], y=[], mode="lines", line={"color": HUE, "width": 2}, name="reached"),
            ],
            title={"text": "Speed along the path"}, height=360, legend={"orientation": "h", "y": 1.12, "x": 0.6},
            xaxis={"title": {"text": f"distance, {self._long[0]}"}},
            yaxis={"title": {"text": f"speed, {unit}"}, "rangemode": "tozero"},
        )  # fmt: skip
        self.answer, self.table, self.places, self.faults = (widgets.HTML() for _ in range(4))
        self.view = widgets.VBox(
            [
                self.chosen, self.rapid.view, self.acceleration.view, self.tolerance.view, self.feed_share.view,
                self.answer, self.table, self.faults, self.causes_figure, self.shown, self.speed_figure, self.places,
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
        self._draw_causes()
        self._draw_speed()

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

    def _draw_causes(self) -> None:
        sums = dict.fromkeys(CAUSES, 0.0)
        for t in self.timed:
            for cause, seconds in t.time.causes().items():
                if math.isfinite(seconds):
                    sums[cause] += seconds / _MINUTE
        sums = {cause: minutes for cause, minutes in sums.items() if minutes > 0}
        with self.causes_figure.change() as f:
            f.data[0].x, f.data[0].y = list(sums.values()), list(sums)
            f.data[0].text = [f"{v:.2f}" for v in sums.values()]

    def _draw_speed(self) -> None:
        name = self.shown.value
        if name is None:
            return
        time = machine_time(self.programs[name].moves, self.present_machine())
        distance, speed, asked = time.profile()
        factor = 60 / self._speed[1]
        along = distance / self._long[1]
        with self.speed_figure.change() as f:
            f.data[0].x, f.data[0].y = along.tolist(), [None if math.isnan(v) else v * factor for v in asked]
            f.data[1].x, f.data[1].y = along.tolist(), (speed * factor).tolist()
            f.layout.title.text = f"Speed along the path: {name}"
        rows = []
        for number, (i, lost) in enumerate(time.slowest_places(5), start=1):
            x, y, z = (write(float(v), "length", self.system) for v in time.moves.points[i + 1])
            rows.append([str(number), str(time.moves.line[i]), f"{x}, {y}, {z}", f"{lost:.2f}"])
        head = ["place", "program line", "ends at x, y, z", "seconds lost"]
        self.places.value = table(f"Where {name} loses most against its feed", head, rows, words=(2,))


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


#: Endings under which shops keep program text (common practice, no source).
PROGRAM_ENDINGS = frozenset({".nc", ".ngc", ".tap", ".gcode", ".cnc"})


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
