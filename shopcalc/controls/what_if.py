"""A drill at the machine: something is wrong; first stop and look, then see what each change does."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import ipywidgets as widgets
import plotly.graph_objects as go

from shopcalc.controls.parts import (
    FEED,
    FORCE,
    HUE,
    LENGTH,
    PALE,
    MeasuredControl,
    NumberControl,
    big,
    choice,
    figure,
    note,
    table,
)
from shopcalc.controls.sign_off import button
from shopcalc.cutting.cut import Hold, Pass, ask
from shopcalc.cutting.grain import grain_vector
from shopcalc.cutting.limits import Limit, Loads, check
from shopcalc.shop import Shop
from shopcalc.units import System

#: Which limits are drawn, and what people call them.
_DRAWN = {
    "burns": "chip too thin: it rubs and burns", "tears": "chip too thick: it tears",
    "bends": "the cutter bends", "slips": "the part slips in its grip",
    "slips out of the collet": "the shank is gripped too short", "breaks": "the cutter breaks",
    "over-speeds the cutter": "over the greatest speed of the cutter",
}  # fmt: skip
_FIRST = ("stop the feed", "stop the spindle", "wait until it stands, and look")
_SOUND = {"feed": 3600.0, "rpm": 16000.0, "stick_out": 40.0, "clamp": 2500.0, "edge": 0.0}


@dataclass(frozen=True)
class Event:
    """Something that is not as it should be.

    Parameters
    ----------
    heard : str
        What is heard, smelled or seen.
    seen : str
        What is found when one looks.
    found : mapping
        What differs from a sound setting: feed [mm/min], rpm [rev/min], stick_out [mm], clamp [N], edge [-].
    """

    heard: str
    seen: str
    found: Mapping[str, float]


EVENTS = (
    Event("a squeal, and the walls turn dark", "Dust in place of chips; the edge is whole.", {"feed": 900.0}),
    Event("it smells of burning, in a cut that ran well all week", "The edge shines: it is dull.", {"edge": 1.0}),
    Event("the part has moved a little", "One clamp is loose; the part slides under a push.", {"clamp": 150.0}),
    Event("the groove gets deeper as it goes", "The shank has crept down out of the collet.", {"stick_out": 70.0}),
    Event("torn edges, and a roar", "Thick chips and torn fibres; the speed was set too low.", {"rpm": 4500.0,
                                                                                            "feed": 6000.0}),
)  # fmt: skip


class WhatIfControl:
    """One drill: the first three answers, then the levers.

    Parameters
    ----------
    system : {"metric", "inch"}
        Units at first.
    shop : Shop or None
        Whose cutter and machine; None is the demo's.
    """

    def __init__(self, system: System = "inch", shop: Shop | None = None) -> None:
        self.shop = shop or Shop.open()
        self.machine = next(iter(self.shop.machines.values()))
        self.cutter = next(c for c in self.shop.cutters.values() if c.shape == "square end" and c.diameter > 9)
        self._wood = self.shop.material("white-oak")
        self.units = widgets.ToggleButtons(options=["inch", "metric"], value=system, description="units")
        self.event = choice("it happens", [(e.heard, e) for e in EVENTS], EVENTS[0], self.begin, "44em")
        self.first = [button(words, self._presser(n), words, "18em") for n, words in enumerate(_FIRST)]
        self.wrong = [button(w, self._hasty, w, "18em") for w in ("turn the feed down", "reach in and feel the edge")]
        self.feed = MeasuredControl("feed", 3600, 300, 9000, FEED, system)
        self.rpm = NumberControl("spindle speed, rpm", 16000, 4000, 24000, 500)
        self.stick_out = MeasuredControl("cutter sticks out", 40, 38.2, 75, LENGTH, system)
        self.clamp = MeasuredControl("clamps press with", 2500, 50, 4000, FORCE, system)
        self.edge = NumberControl("edge: 0 sharp, 100 dull", 0, 0, 100, 10)
        self._levers = (self.feed, self.rpm, self.stick_out, self.clamp, self.edge)
        self.figure = figure(
            [go.Bar(x=[], y=list(_DRAWN.values()), orientation="h", name="as it was found", textposition="outside",
                    marker={"color": PALE, "pattern": {"shape": "/"}}),
             go.Bar(x=[], y=list(_DRAWN.values()), orientation="h", name="as set now", textposition="outside",
                    marker={"color": HUE})],
            title={"text": "How much of each bound is used; over 100 % it happens"}, height=430, width=640,
            barmode="group",
            xaxis={"title": {"text": "% of the bound"}, "range": [0, 260]},
            yaxis={"autorange": "reversed", "automargin": True}, legend={"orientation": "h", "y": -0.2},
            shapes=[{"type": "line", "x0": 100, "x1": 100, "yref": "paper", "y0": 0, "y1": 1,
                     "line": {"color": "#111111", "width": 3, "dash": "dash"}}],
        )  # fmt: skip
        self.said, self.answer, self.table = widgets.HTML(), widgets.HTML(), widgets.HTML()
        self._quiet = False
        for lever in self._levers:
            lever.observe(self.update)
        self.units.observe(lambda _: self._change_units(), names="value")
        self._after = widgets.VBox([*(c.view for c in self._levers), self.answer, self.figure, self.table])
        row = widgets.Layout(flex_flow="row wrap")
        self.view = widgets.VBox(
            [self.units, self.event, widgets.HBox([self.wrong[0], self.first[1], self.first[0]], layout=row),
             widgets.HBox([self.wrong[1], self.first[2]], layout=row), self.said, self._after]
        )  # fmt: skip
        self.begin()

    @property
    def system(self) -> System:
        """Units that are shown."""
        return "metric" if self.units.value == "metric" else "inch"

    def _change_units(self) -> None:
        for lever in (self.feed, self.stick_out, self.clamp):
            lever.system = self.system
        self.update()

    def begin(self) -> None:
        """Let it happen: the machine runs, nothing is known yet."""
        self.done = 0
        self._after.layout.display = "none"
        found = {**_SOUND, **self.event.value.found}
        self._quiet = True
        for name, control in zip(_SOUND, self._levers, strict=True):
            control.value = found[name] * (100 if name == "edge" else 1)
        self._quiet = False
        self.found = self._limits()
        self.said.value = big(f"The machine cuts, and: {self.event.value.heard}. What do you do first?")
        self.update()

    def _presser(self, number: int) -> Any:
        return lambda: self.press(number)

    def press(self, number: int) -> None:
        """Do one of the first three things.

        Parameters
        ----------
        number : int
            0 stops the feed, 1 the spindle, 2 looks.
        """
        if number > self.done:
            still = "the feed still drives the cutter into the wood" if self.done == 0 else "the cutter still turns"
            self.said.value = big(f"✗ NOT YET: {still}.") + note("Stop the feed, stop the spindle, look.")
            return
        self.done = max(self.done, number + 1)
        if self.done < len(_FIRST):
            self.said.value = big(f"✓ RIGHT: {_FIRST[self.done - 1]}. And next?")
            return
        self.said.value = big(f"✓ RIGHT: now you see. {self.event.value.seen}")
        self._after.layout.display = ""

    def _hasty(self) -> None:
        self.said.value = big("✗ NOT FIRST.") + note(
            "For any sound, smell or movement that was not expected: stop the feed, stop the spindle, wait until it "
            "stands, look. Only then think of speed, feed, grip and edge. Common practice, no source."
        )

    def _limits(self) -> dict[str, Limit]:
        cutter = replace(self.cutter, stick_out=min(max(self.stick_out.value, self.cutter.cutting_length + 0.1), 80.0))
        cut = ask(cutter, self._wood, self.machine, station="flat", grain=grain_vector("flat"), depth=10.0, width=6.0,
                  wear=self.edge.value / 100, hold=Hold(self.clamp.value, source="as set"))  # fmt: skip
        loads = Loads(cut, Pass(1, 1, 10.0, 6.0, "climb"))
        return {x.name: x for x in check(loads, self.rpm.value, self.feed.value) if x.name in _DRAWN}

    def update(self) -> None:
        """Reckon the bounds and draw what each change does."""
        if self._quiet:
            return
        now = self.now = self._limits()
        over = [words for name, words in _DRAWN.items() if _share(now, name) > 100]
        self.verdict = "within all bounds that are drawn: try it on scrap" if not over else "; ".join(over)
        self.answer.value = big(("✗ " if over else "✓ ") + self.verdict)
        shares = [[_share(limits, name) for name in _DRAWN] for limits in (self.found, now)]
        with self.figure.change() as f:
            for trace, mine in zip(f.data, shares, strict=True):
                trace.x, trace.text = mine, [f"{x:.0f}\u00a0%" for x in mine]
            f.layout.xaxis.range = [0, 1.15 * max(120.0, *shares[0], *shares[1])]
        rows = [[words, *(f"{_share(x, n):.0f}\u00a0%" for x in (self.found, now)), now[n].remedy if n in now else ""]
                for n, words in _DRAWN.items()]  # fmt: skip
        self.table.value = table("Bounds", ["what can happen", "found", "now", "what moves away from it"], rows,
                                 words=(3,)) + note(
            "White oak, 1/2 in (12.7 mm) cutter, 10 mm (0.394 in) deep, 6 mm (0.236 in) wide. The same models as in "
            "cutter tuning; chip bounds and friction are common practice, no source, and forces are from memory in "
            "part. They do not cover chatter, the ringing of cutter and part: no figure here rules it out."
        )  # fmt: skip


def _share(limits: Mapping[str, Limit], name: str) -> float:
    used = limits[name].used if name in limits else None
    return 100.0 * (used or 0.0)


def what_if(system: System = "inch", shop: Shop | None = None) -> WhatIfControl:
    """The drill at the machine, to be shown by ``.view``.

    Parameters
    ----------
    system : {"metric", "inch"}
        Units at first.
    shop : Shop or None
        Whose cutter and machine; None is the demo's.
    """
    return WhatIfControl(system, shop)
