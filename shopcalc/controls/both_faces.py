"""Both faces of a panel: what moisture, rings and width make of the first, and orders of cuts side by side."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import ipywidgets as widgets
import plotly.graph_objects as go

from shopcalc.controls.parts import (
    GREY,
    HUE,
    LENGTH,
    LONG,
    LiveFigure,
    MeasuredControl,
    NumberControl,
    big,
    choice,
    figure,
    table,
)
from shopcalc.controls.parts import note as small
from shopcalc.cutting.fit import write_fit
from shopcalc.errors import InputError
from shopcalc.holding import Schedule, Wet, cup_after, schedules, surfacing
from shopcalc.holding.surfacing import usual_cutting
from shopcalc.seasons import Band, movement_of
from shopcalc.seasons.movement import standing
from shopcalc.units import System

if TYPE_CHECKING:
    from shopcalc.shop import Shop

_SAWN = (("not known", "unknown"), ("flat-sawn", "flat-sawn"), ("rift-sawn", "rift-sawn"),
         ("quarter-sawn", "quarter-sawn"))  # fmt: skip
_UNIT = {"metric": ("mm", 1.0), "inch": ("in", 25.4)}
_NOTES = (
    "Bands run over what the rings and the drying before each cut may be; the share that evens out while a panel is "
    "turned or rests is common practice, no source. Stress from the kiln is not in them: saw a slice of each board and "
    "see whether it pinches.",
    "Minutes are those at the machine with turning; the rest itself is days on stickers, both faces to the air. Turn "
    "the panel with the spindle stopped and the machine locked out, two people for a heavy one.",
)


class BothFacesControl:
    """Choose wood, rings, moisture and sizes; see the cup after the first face, and what each order of cuts leaves.

    Parameters
    ----------
    shop : Shop
        Whose cutters, woods and machines count.
    system : {"metric", "inch"}
        Units at first.
    material, machine : str or None
        To begin with; None for the first of the shop's.
    """

    def __init__(
        self, shop: Shop, system: System = "metric", *, material: str | None = None, machine: str | None = None
    ) -> None:  # fmt: skip
        self.shop, call = shop, self.update
        self.plans: tuple[Schedule, ...] = ()
        self.cup = Band(0.0, 0.0, 0.0)
        rack = [c for c in shop.cutters.values() if c.shape in ("surfacing", "square end")]
        self._cutter = max(rack, key=lambda c: (c.shape == "surfacing", c.diameter))
        moving = {k: m for k, m in shop.materials.items() if m.group in ("hardwood", "softwood") and _moves(m)}
        woods = sorted(((m.title, k) for k, m in moving.items()), key=lambda w: w[0].lower())
        machines = [(m.title or k, k) for k, m in shop.machines.items()]
        self.units = choice("units", [("metric: mm", "metric"), ("inch", "inch")], system, self._change_units)
        self.material = choice("wood", woods, material or woods[0][1], call)
        self.sawn = choice("sawn", _SAWN, "unknown", call)
        self.machine = choice("machine", machines, machine or machines[0][1], call)

        def length(name: str, value: float, low: float, high: float, fine: bool = True) -> MeasuredControl:
            control = MeasuredControl(name, value, low, high, LENGTH if fine else LONG, system)
            control.observe(call)
            return control

        def number(name: str, value: float, low: float, high: float, step: float) -> NumberControl:
            control = NumberControl(name, value, low, high, step)
            control.observe(call)
            return control

        self.length = length("panel is long", 900.0, 100.0, 2500.0, fine=False)
        self.width = length("wide, or its widest strip", 300.0, 40.0, 1250.0, fine=False)
        self.thickness = length("rough thickness, faces clean", 28.0, 6.0, 100.0)
        self.wanted = length("finished thickness", 22.0, 3.0, 95.0)
        self.finish = length("kept for each last cut", 1.0, 0.1, 5.0)
        self.mean = number("moisture, mean, %", 10, 7, 13, 0.5)
        self.faces = number("face A wetter than B by, %", 1.0, -4, 4, 0.1)
        self.core = number("core wetter than the faces by, %", 1.0, -4, 4, 0.1)
        self.to = number("moisture it comes to, %", 8, 6, 14, 0.5)
        self.turns = number("cuts when the faces take turns", 4, 2, 8, 1)
        self.answer, self.table, self.remarks = widgets.HTML(), widgets.HTML(), widgets.HTML()
        self.figure = _empty()
        row = widgets.Layout(flex_flow="row wrap")
        self.view = widgets.VBox([
            widgets.HBox([self.units, self.material, self.sawn, self.machine], layout=row),
            *(c.view for c in (*self._lengths(), self.mean, self.faces, self.core, self.to, self.turns)),
            self.answer, self.table, self.figure, self.remarks,
        ])  # fmt: skip
        self.update()

    def _lengths(self) -> tuple[MeasuredControl, ...]:
        return (self.length, self.width, self.thickness, self.wanted, self.finish)

    @property
    def system(self) -> System:
        """Units shown."""
        shown: System = self.units.value
        return shown

    def _change_units(self) -> None:
        for control in self._lengths():
            control.system = self.system
        self.update()

    def update(self) -> None:
        """Plan the cuts anew."""
        s = self.system
        try:
            self.plans, self.cup = self._compute()
        except InputError as e:
            self.plans = ()
            self.answer.value = big("✗ " + "; ".join(f"{f.message}: {f.remedy}" for f in e.faults))
            self.table.value = self.remarks.value = ""
            _draw(self.figure, (), s)
            return
        best, first = self.plans[0], next(p for p in self.plans if p.name.startswith("one face"))
        low, likely, high = (write_fit(v, s) for v in self.cup)
        ends = " against ".join(write_fit(p.error.likely, s) for p in (best, first))
        least = "quickest and no worse: " if best is first else "least is left by: "
        self.answer.value = big(
            f"Half of it taken from face A alone, it cups {likely} (from {low} to {high}); {least}{best.name}"
            + ("" if best is first else f", {ends} one face after the other")
        )
        rows = [
            [p.name, _band(p.error, s), _band(p.at_tongue, s), f"{p.minutes:.0f} min",
             "yes" if p.fits else "no: a cut is thinner than the cup it must take"]
            for p in self.plans
        ]  # fmt: skip
        head = [
            "order of cuts",
            "hollow or crown left",
            "thickness at the tongue",
            "with turning",
            "last cuts reach it",
        ]
        self.table.value = table("Orders of cuts, the flattest first", head, rows, words=(4,))
        movement = movement_of(self.shop.material(self.material.value))
        self.remarks.value = "".join(small(t) for t in (*_NOTES, f"Its movement: {standing(movement.kind)}."))
        _draw(self.figure, self.plans, s)

    def _compute(self) -> tuple[tuple[Schedule, ...], Band]:
        material, machine = self.shop.material(self.material.value), self.shop.machine(self.machine.value)
        movement, cutting = movement_of(material), usual_cutting(self._cutter, material, machine)
        long, wide, thick = self.length.value, self.width.value, self.thickness.value
        wet = Wet(self.mean.value, self.faces.value, self.core.value, self.to.value)

        @cache
        def seconds(depth: float) -> float:
            return surfacing(cutting, long, wide, depth, machine).seconds

        plans = schedules(
            wide, thick, self.wanted.value, movement, wet, rings=self.sawn.value, finish=self.finish.value,
            turns=int(self.turns.value), seconds=seconds,
        )  # fmt: skip
        return plans, cup_after(wide, thick, (thick - self.wanted.value) / 2, movement, wet, self.sawn.value)


def _moves(material: object) -> bool:
    try:
        movement_of(material)  # type: ignore[arg-type]
    except InputError:
        return False
    return True


def _band(band: Band, system: System) -> str:
    if system == "metric":
        low, likely, high = (f"{v:.2f} mm" for v in band)
    else:
        low, likely, high = (f"{v / 25.4:.3f} in" for v in band)
    return f"{likely} ({low.split()[0]} to {high.split()[0]})"


def _empty() -> LiveFigure:
    bar = {"mode": "markers+text", "textposition": "top center", "cliponaxis": False}
    traces = [
        go.Scatter(x=[], y=[], text=[], marker={"size": 11, "color": HUE}, name="left in the panel, likely and band",
                   error_x={"type": "data", "symmetric": False, "array": [], "arrayminus": [], "color": HUE,
                            "thickness": 3}, **bar),
        go.Scatter(x=[], y=[], text=[], marker={"size": 11, "color": GREY, "symbol": "square"}, name="minutes",
                   xaxis="x2", yaxis="y2", **bar),
    ]  # fmt: skip
    return figure(
        traces, title={"text": "Orders of cuts"}, height=340, showlegend=False,
        xaxis={"title": {"text": ""}, "domain": [0, 0.6], "rangemode": "tozero"},
        yaxis={"title": {"text": ""}, "automargin": True},
        xaxis2={"title": {"text": "minutes, with turning"}, "domain": [0.66, 1.0],
                "rangemode": "tozero", "anchor": "y2"},
        yaxis2={"showticklabels": False, "anchor": "x2"},
        margin={"l": 200, "r": 30, "t": 50, "b": 60}, width=640,
    )  # fmt: skip


def _draw(drawn: LiveFigure, plans: tuple[Schedule, ...], system: System) -> None:
    unit, per = _UNIT[system]
    digits = 2 if system == "metric" else 3
    rows = list(range(len(plans)))
    with drawn.change() as f:
        error, minutes = f.data
        likely = [p.error.likely / per for p in plans]
        error.update(x=likely, y=rows, text=[f"{v:.{digits}f}" for v in likely])
        error.error_x.update(array=[(p.error.most - p.error.likely) / per for p in plans],
                             arrayminus=[(p.error.likely - p.error.least) / per for p in plans])  # fmt: skip
        times = [p.minutes for p in plans]
        minutes.update(x=times, y=rows, text=[f"{v:.0f}" for v in times])
        ticks = {"tickvals": rows, "ticktext": [p.name for p in plans], "range": [len(plans) - 0.5, -0.7]}
        f.layout.yaxis.update(ticks)
        f.layout.yaxis2.update(ticks)
        f.layout.xaxis.title.text = f"hollow left at rest, {unit}"
        f.layout.title.text = "Orders of cuts: what is left, and minutes" if plans else "no plan: see above"
        f.layout.xaxis.range = [0, 1.15 * max((p.error.most / per for p in plans), default=1.0) + 1e-6]
        f.layout.xaxis2.range = [0, 1.3 * max(times, default=1.0)]


def both_faces_control(
    shop: Shop, system: System = "metric", *, material: str | None = None, machine: str | None = None
) -> BothFacesControl:  # fmt: skip
    """The control over both faces of a panel, to be shown by ``.view``.

    Parameters
    ----------
    shop : Shop
        Whose cutters, woods and machines count.
    system : {"metric", "inch"}
        Units at first.
    material, machine : str or None
        To begin with.
    """
    return BothFacesControl(shop, system, material=material, machine=machine)
