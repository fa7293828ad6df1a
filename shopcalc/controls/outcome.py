"""What comes of a job: price, hours by phase, minutes by load, and the drawing of its frames."""

from __future__ import annotations

import base64
import html
from collections.abc import Sequence

import ipywidgets as widgets
import plotly.graph_objects as go

from shopcalc.controls.parts import HUE, big, figure, note, table
from shopcalc.errors import Fault
from shopcalc.frames import Layout
from shopcalc.jobs import Estimate, Job, estimate
from shopcalc.jobs.by_load import load_minutes
from shopcalc.logged import learned_times, with_times
from shopcalc.people_learned import LearnedTimes
from shopcalc.quote import Price, price
from shopcalc.shop import PHASES
from shopcalc.units import System


def frame_drawing(laid: Layout, system: System = "inch", width: str = "min(100%, 54em)") -> str:
    """A frame's drawing for a page, with its words for those who do not see it.

    Parameters
    ----------
    laid : Layout
        From ``frames.layout``.
    system : {"inch", "metric"}
        Of its dimensions.
    width : str
        As CSS writes it.

    Returns
    -------
    str
        HTML: an image by itself, so that its style stays its own.
    """
    from shopcalc.frames.drawing import describe, svg

    code = base64.b64encode(svg(laid, system).encode()).decode()
    words = html.escape(describe(laid, system), quote=True)
    return f'<img class="shop-drawing" alt="{words}" src="data:image/svg+xml;base64,{code}" style="width:{width}">'


def hours_table(found: Estimate) -> str:
    """Hours by phase as an HTML table.

    Parameters
    ----------
    found : Estimate
        Of the job.
    """
    rows = [
        [p, f"{h.best:.1f}", f"{h.quoted:.1f}", h.working]
        for p, h in ((p, found.hours[p]) for p in PHASES)
        if h.best or h.quoted
    ]
    last = ["together", f"{found.own_hours:.1f}", f"{sum(h.quoted for h in found.hours.values()):.1f}", ""]
    return table("Hours by phase", ["phase", "hours", "quoted", "working"], rows, last, words=(3,))


def loads_table(found: Estimate) -> str:
    """Minutes by program and load as an HTML table.

    Parameters
    ----------
    found : Estimate
        Of the job.
    """
    frame = load_minutes(found)
    rows = [
        [str(program), str(part), str(len(g)), *(f"{g[k].sum():.1f}" for k in ("setup", "machine", "attended"))]
        for (program, part), g in frame.groupby(["program", "part"], sort=False)
    ]
    sums = (f"{frame[k].sum():.1f}" for k in ("setup", "machine", "attended"))
    head = ["program", "part", "loads", "set-up", "machine", "attended"]
    last = ["together", "", str(len(frame)), *sums]
    return table("Minutes by load, for one piece", head, rows, last, words=(1,))


def parts_table(job: Job) -> str:
    """The parts of a job with their finished sizes as an HTML table.

    Parameters
    ----------
    job : Job
        Which.
    """
    from shopcalc.units import write

    rows = [
        [p.id, str(p.quantity), *(write(v, "length", job.system) for v in (p.length, p.width, p.thickness)), p.material]
        for p in job.parts
    ]
    return table("Parts, finished", ["part", "pieces", "length", "width", "thickness", "wood"], rows, words=(5,))


def fault_list(faults: Sequence[Fault], title: str) -> str:
    """Faults as a list that a screen reader speaks at once; empty where there are none.

    Parameters
    ----------
    faults : sequence of Fault
        Those found.
    title : str
        What cannot be done for them.
    """
    if not faults:
        return ""
    lines = "".join(f"<li>{html.escape(_said(f))}</li>" for f in faults)
    return f'<div role="alert" class="shop-faults"><strong>{html.escape(title)}</strong><ul>{lines}</ul></div>'


def said(fault: Fault) -> str:
    """A fault without its place, for beside its field.

    Parameters
    ----------
    fault : Fault
        Which.
    """
    return f"{fault.message}: {fault.remedy}" if fault.remedy else fault.message


def _said(fault: Fault) -> str:
    return f"{fault.field}: {said(fault)}" if fault.field else said(fault)


class Outcome:
    """Price, hours and drawing of a job; ``show`` brings another.

    What the shop's log taught of its people's times is read once for each job: sizes are dragged much faster.
    """

    def __init__(self) -> None:
        self._learned: dict[str, LearnedTimes] = {}
        self.estimate: Estimate | None = None
        self.price: Price | None = None
        self.answer, self.drawing, self.tables, self.remarks = (widgets.HTML() for _ in range(4))
        self.hours_figure = figure(
            [go.Bar(x=[], y=list(PHASES), orientation="h", marker={"color": HUE}, textposition="outside",
                    cliponaxis=False)],
            title={"text": "Hours of the shop's own people"}, height=330,
            xaxis={"title": {"text": "hours"}, "rangemode": "tozero"},
            yaxis={"autorange": "reversed", "automargin": True},
        )  # fmt: skip

    def show(self, job: Job) -> None:
        """Estimate and price a job, and show it.

        Parameters
        ----------
        job : Job
            From a job file.

        Raises
        ------
        InputError
            When an operation cannot be done as described.
        """
        if job.name not in self._learned:
            self._learned[job.name] = learned_times(job)
        found = estimate(with_times(job, self._learned[job.name]))
        self.estimate, self.price = found, price(found)
        p = self.price
        each = f", {float(p.asked) / job.quantity:,.0f} each" if job.quantity > 1 else ""
        self.answer.value = big(
            f"{found.own_hours:.1f} h of our own, {found.machine_seconds / 60:.0f} machine minutes; "
            f"asked {p.asked:,.0f} {p.currency}{each}, floor {p.floor:,.0f} {p.currency}"
        )
        with self.hours_figure.change() as f:
            hours = [found.hours[k].best for k in PHASES]
            f.data[0].x, f.data[0].text = hours, [f"{h:.1f}" for h in hours]
        laid = job.expansion.layouts if job.expansion is not None else ()
        self.drawing.value = "".join(frame_drawing(one, job.system) for one in laid)
        self.tables.value = parts_table(job) + hours_table(found) + loads_table(found)
        self.remarks.value = "".join(note(t) for t in p.warnings)
