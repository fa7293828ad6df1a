"""The order of loads as a picture: a strip for each station, what is changed in between, and the rack below."""

from __future__ import annotations

import html
from collections.abc import Sequence
from typing import Any

import ipywidgets as widgets
import plotly.graph_objects as go

from shopcalc.controls.parts import HUE, PALE, TEMPLATE, LiveFigure, big, choice, note, table
from shopcalc.documents.blocks import cell_text
from shopcalc.jobs import Estimate, Job
from shopcalc.loading import LoadPlan, Work, plan_loads, with_order, work
from shopcalc.loading.pricing import KINDS

_INK = "#222222"
_ROW, _RACK_ROW = 46, 24  # of a station and of a cutter [px]
_NARROW = 0.011  # share of the whole time that one figure of a number needs as room in a bar
WIDTH = 780


def loading_figure(plan: LoadPlan) -> go.Figure:
    """The order of loads along the hours it takes.

    Parameters
    ----------
    plan : LoadPlan
        From ``plan_loads`` or ``with_order``.

    Returns
    -------
    Figure
        Stations above, with numbered loads and the changes before them; cutters in the rack below.
    """
    traces, layout = _drawn(plan)
    return go.Figure(data=traces, layout={"template": TEMPLATE, "width": WIDTH, **layout})


def _clock(plan: LoadPlan) -> list[tuple[float, float, float]]:
    """When the change before each step begins, when its loads begin and end [h]."""
    out, now = [], 0.0
    for s in plan.steps:
        out.append((now, now + s.before / 3600, now + (s.before + s.batch.seconds) / 3600))
        now = out[-1][2]
    return out


def _bars(name: str, rows: Sequence[tuple[str, float, float, str, str]], axis: str, **more: Any) -> go.Bar:
    """Bars from (row, begin, end, text, told when pointed at)."""
    return go.Bar(
        name=name, orientation="h", y=[r[0] for r in rows], base=[r[1] for r in rows],
        x=[r[2] - r[1] for r in rows], text=[r[3] for r in rows], customdata=[r[4] for r in rows],
        hovertemplate="%{customdata}<extra></extra>", yaxis=axis, textposition="inside", insidetextanchor="middle",
        textangle=0, constraintext="none", **more,
    )  # fmt: skip


def _drawn(plan: LoadPlan) -> tuple[list[Any], dict[str, Any]]:
    clock = _clock(plan)
    whole = clock[-1][2] if clock else 0.0
    stations = list(dict.fromkeys(s.batch.station for s in plan.steps))
    changes, loads, held, cuts, puts = [], [], [], [], []
    for k, (s, (begin, start, end)) in enumerate(zip(plan.steps, clock, strict=True), 1):
        name = html.escape(s.batch.name)
        told = f"{k}: {name}, {s.batch.loads} clampings<br>{html.escape(s.why)}"
        kinds = ", ".join(f"{KINDS[kind]} {v / 60:.1f} min" for kind, v in s.seconds.items())
        changes.append((s.batch.station, begin, start, "", f"before {k}: {kinds}"))
        loads.append((s.batch.station, start, end, str(k) if end - start > _NARROW * len(str(k)) * whole else "", told))
        held += [
            (c, begin, end, "", f"{html.escape(c)} stands in the rack")
            for c in s.rack.cutters
            if c not in s.batch.cutters
        ]
        cuts += [(c, begin, end, "", f"{html.escape(c)} is used by {k}: {name}") for c in s.batch.cutters]
        puts += [(c, begin, f"{html.escape(c)} is put in before {k}") for c in s.rack.put_in]
    cutters = list(dict.fromkeys(c for s in plan.steps for c in (*s.rack.put_in, *s.rack.cutters)))
    above, below = max(_ROW * len(stations), 2 * _ROW), _RACK_ROW * max(len(cutters), 1)
    free = 120.0 + 55.0  # between and beside both [px]
    share = below / (above + below + 55.0)
    traces = [
        _bars("change before a load", changes, "y2", marker={"color": PALE, "pattern": {"shape": "/"}}),
        _bars(
            "loads, with their number", loads, "y2",
            marker={"color": HUE, "line": {"color": "white", "width": 1}}, textfont={"color": "white", "size": 12},
        ),
        _bars("in the rack, idle", held, "y", marker={"color": "#d9d9d9"}),
        _bars("in use", cuts, "y", marker={"color": HUE}, showlegend=False),
        go.Scatter(
            name="put into the rack", mode="markers", x=[p[1] for p in puts], y=[p[0] for p in puts],
            customdata=[p[2] for p in puts], hovertemplate="%{customdata}<extra></extra>", yaxis="y", cliponaxis=False,
            marker={"symbol": "triangle-right", "size": 12, "color": _INK, "line": {"color": "white", "width": 1}},
        ),
    ]  # fmt: skip
    layout = {
        "title": {"text": f"Order of the loads: {plan.seconds / 60:.0f} min between them"}, "barmode": "overlay",
        "height": above + below + 55 + free, "bargap": 0.25,
        "legend": {"orientation": "h", "y": -65 / (above + below + 55), "yanchor": "top", "x": 0},
        "margin": {"t": 50, "b": 110, "l": 10, "r": 20},
        "xaxis": {"title": {"text": "hours at the machine", "standoff": 4}, "range": [0, whole * 1.005], "anchor": "y"},
        "yaxis": {
            "domain": [0, share], "type": "category", "categoryarray": cutters[::-1], "categoryorder": "array",
            "automargin": True, "title": {"text": "rack"},
        },
        "yaxis2": {
            "domain": [1 - above / (above + below + 55), 1], "type": "category", "categoryarray": stations[::-1],
            "categoryorder": "array", "automargin": True, "title": {"text": "station"}, "anchor": "x",
        },
    }  # fmt: skip
    return traces, layout


def loading_table(plan: LoadPlan) -> str:
    """The steps as an HTML table, every text made safe.

    Parameters
    ----------
    plan : LoadPlan
        Which.
    """
    shown = plan.table()
    rows = [[cell_text(c) for c in row] for row in shown.rows]
    last = ["", "together", "", str(sum(s.batch.loads for s in plan.steps)), "", "", f"{plan.seconds / 60:.1f}", ""]
    return table(shown.title, shown.head, rows, last, words=(1, 2, 4, 5, 7))


class LoadingControl:
    """The order found, to be changed by hand: one load is put before another and the minutes follow.

    Parameters
    ----------
    given : Work
        What is put in order.
    time_limit : float
        Of the search [s].
    """

    def __init__(self, given: Work, time_limit: float = 4.0) -> None:
        self.found = plan_loads(given, time_limit=time_limit)
        self.plan = self.found
        names = list(self.found.order)
        self.moved = choice("move", [(n, n) for n in names], names[0], lambda: None, "46em")
        self.before = choice("to before", [*((n, n) for n in names), ("the end", "")], "", lambda: None, "46em")
        self.move = widgets.Button(description="move it", tooltip="put the one load before the other")
        self.back = widgets.Button(description="as found", tooltip="the order of least time again")
        self.move.on_click(lambda _: self.put())
        self.back.on_click(lambda _: self.show(self.found))
        traces, layout = _drawn(self.plan)
        self.figure = LiveFigure(data=traces, layout={"template": TEMPLATE, "width": WIDTH, **layout})
        self.answer, self.table, self.remarks = (widgets.HTML() for _ in range(3))
        buttons = widgets.HBox([self.move, self.back])
        self.view = widgets.VBox(
            [self.answer, self.figure, self.moved, self.before, buttons, self.table, self.remarks]
        )  # fmt: skip
        self.show(self.found)

    def put(self) -> None:
        """Put the chosen load before the other one, and price the new order."""
        if self.moved.value == self.before.value:
            return
        order = [n for n in self.plan.order if n != self.moved.value]
        at = order.index(self.before.value) if self.before.value else len(order)
        self.show(with_order(self.plan, [*order[:at], self.moved.value, *order[at:]]))

    def show(self, plan: LoadPlan) -> None:
        """Show a plan of the same work.

        Parameters
        ----------
        plan : LoadPlan
            Found, or said.
        """
        self.plan = plan
        traces, layout = _drawn(plan)
        with self.figure.change() as f:
            for old, new in zip(f.data, traces, strict=True):
                old.update(new)
            f.update_layout(**layout)
        first, *rest = plan.summary()
        self.answer.value = big(
            f"{plan.seconds / 60:.1f} min between the loads" + (", rules broken" * bool(plan.broken))
        )
        self.table.value = loading_table(plan)
        self.remarks.value = "".join(note(line) for line in (first, *rest))


def loading_control(job: Job, estimate: Estimate | None = None) -> LoadingControl:
    """The control over the order of a job's loads, to be shown by ``.view``.

    Parameters
    ----------
    job : Job
        From ``open_job``.
    estimate : Estimate, optional
        Of the same job: the strip then shows machine times as well.
    """
    return LoadingControl(work(job, estimate=estimate))
