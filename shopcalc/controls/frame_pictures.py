"""Pictures of notebook 04: who works when, what is measured, the widest panel through the year, one against many."""

from __future__ import annotations

from collections.abc import Sequence

import ipywidgets as widgets
import plotly.graph_objects as go

from shopcalc.controls.parts import GREY, HUE, PALE, figure, note, table
from shopcalc.controls.season_picture import season_view
from shopcalc.errors import Fault, InputError
from shopcalc.fit_table import fit_rows
from shopcalc.fit_table.pairs import tongues
from shopcalc.jobs import Job
from shopcalc.jobs.workdays import Schedule
from shopcalc.quote.batches import by_quantity
from shopcalc.seasons import movement_of, read_climate


def days_view(plan: Schedule) -> widgets.VBox:
    """Who works at a job when, as bars and as a table.

    Parameters
    ----------
    plan : Schedule
        From ``schedule_job``.

    Returns
    -------
    VBox
        Working hours along x; drying passes without a bar.
    """
    bound = [s for s in plan.slots if s.person and s.task.bound > 0]
    alone = [s for s in plan.slots if s.task.machine and s.end > s.free_from]

    def bars(rows: Sequence[tuple[str, float, float, str]], name: str, colour: str) -> go.Bar:
        return go.Bar(
            name=name, orientation="h", y=[r[0] for r in rows], base=[r[1] for r in rows],
            x=[r[2] - r[1] for r in rows], text=[r[3] for r in rows], hovertemplate="%{text}<extra></extra>",
            textposition="none", marker={"color": colour, "line": {"color": "white", "width": 1}},
        )  # fmt: skip

    runs = [("machine", s.start, s.end, s.task.name) for s in plan.slots if s.task.machine]
    picture = figure(
        [
            bars([(s.person, s.start, s.free_from, s.task.name) for s in bound], "at work", HUE),
            bars(runs, "the machine, with somebody", PALE),
            bars([("machine", s.free_from, s.end, s.task.name) for s in alone], "the machine, by itself", GREY),
        ],
        title={"text": f"{plan.working_days} working days"}, barmode="overlay", height=260 + 30 * len(plan.people),
        xaxis={"title": {"text": "working hours from the first morning on"}, "rangemode": "tozero"},
        yaxis={"automargin": True, "autorange": "reversed"}, legend={"orientation": "h", "y": -0.35},
        margin={"b": 110},
    )  # fmt: skip
    rows = [
        [str(r["day"]), str(r["who"]), f"{r['from']}–{r['to']}", str(r["task"])] for _, r in plan.by_day().iterrows()
    ]
    remark = (
        f"None can take less than {plan.shortest:.1f} working hours ({plan.binds}); this one takes {plan.finish:.1f}. "
        "As if this job were alone in the shop; drying passes without work."
    )
    told = table("Who does what when", ["day", "who", "from – to", "what"], rows, words=(1, 2, 3))
    return widgets.VBox([picture, widgets.HTML(note(remark)), _folded(told, "the same as a table")])


def fits_view(job: Job) -> widgets.HTML:
    """What to measure at the bench, as a table.

    Parameters
    ----------
    job : Job
        Whose joints and panels.

    Returns
    -------
    HTML
        With what is accepted, and what to do beyond it.
    """
    rows = [
        [str(i), r.what, *(_together(r.shown(v, job.system)) for v in (r.nominal, r.low, r.high)), r.measure_with,
         r.part, r.outside]
        for i, r in enumerate(fit_rows(job), 1)
    ]  # fmt: skip
    head = ["", "what", "as drawn", "from", "to", "with", "part", "outside that"]
    return widgets.HTML(table("What to measure at the bench", head, rows, words=(1, 5, 6, 7)))


def _together(text: str) -> str:
    """A number that keeps with its unit."""
    return text.replace(" ", "\u00a0")


def panel_view(job: Job) -> widgets.VBox:
    """The widest panel of a job in its grooves through the year.

    Parameters
    ----------
    job : Job
        With a panel in grooves.

    Returns
    -------
    VBox
        Picture and table.

    Raises
    ------
    InputError
        When it has no panel, or no clearance across its grain is known.
    """
    found = [t for t in tongues(job) if t.clearance is not None and t.number == 1]
    if not found:
        raise InputError(Fault("the job has no panel whose clearance is known", "add a frame with panels"))
    widest = max(found, key=lambda t: t.across)
    climate = read_climate(job.shop.folder)
    movement = movement_of(job.shop.material(widest.part.material))
    assert widest.clearance is not None
    return season_view(
        widest.across, widest.groove.depth, widest.clearance, movement, climate.place(job=job.file), climate.now,
        system=job.system,
    )  # fmt: skip


def quantities_view(job: Job, quantities: Sequence[int] = (1, 2, 5, 12, 30)) -> widgets.VBox:
    """The price of one against how many are made, as a curve and as a table.

    Parameters
    ----------
    job : Job
        What is made.
    quantities : sequence of int
        Finished pieces [-].

    Returns
    -------
    VBox
        Asked and floor price of each.
    """
    frame = by_quantity(job, quantities)
    x, money = list(frame.index), job.shop.rates.currency
    picture = figure(
        [
            go.Scatter(x=x, y=list(frame["asked_each"]), name="asked", mode="lines+markers", line={"color": HUE}),
            go.Scatter(x=x, y=list(frame["floor_each"]), name="floor", mode="lines+markers",
                       line={"color": GREY, "dash": "dash"}),
        ],
        title={"text": "The price of one against how many"}, height=330,
        xaxis={"title": {"text": "how many"}, "type": "log", "tickvals": x},
        yaxis={"title": {"text": f"{money} each"}, "rangemode": "tozero"},
        legend={"orientation": "h", "y": 1.15, "x": 0.6},
    )  # fmt: skip
    rows = [
        [str(n), f"{r['hours_each']:.1f}", f"{60 * r['machine_hours_each']:.0f}", f"{r['floor_each']:,.0f}",
         f"{r['asked_each']:,.0f}", f"{r['asked']:,.0f}"]
        for n, r in frame.iterrows()
    ]  # fmt: skip
    head = ["pieces", "our h each", "machine min each", "floor each", "asked each", "asked for all"]
    return widgets.VBox([picture, widgets.HTML(table(f"Price of one against how many, {money}", head, rows))])


def _folded(content: str, title: str) -> widgets.HTML:
    """A table behind a line that opens it, by the keyboard too."""
    return widgets.HTML(f"<details><summary>{title}</summary>{content}</details>")
