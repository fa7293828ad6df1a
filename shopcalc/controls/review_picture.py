"""Looking back as pictures: planned, programmed and logged; whether the shop learns; what an hour earned."""

from __future__ import annotations

import html
from collections.abc import Sequence
from typing import Any

import ipywidgets as widgets
import plotly.graph_objects as go

from shopcalc.controls.parts import GREY, HUE, PALE, TEMPLATE, LiveFigure, note, table
from shopcalc.documents.blocks import cell_text
from shopcalc.review import Compared, Review, Trend
from shopcalc.review.looking_back import tables
from shopcalc.shop import PHASES
from shopcalc.units import write_time

_ROW = 28  # px of one line
_WIDTH = 620  # px: a tablet with the list of files away
_DECADES = {"type": "log", "tickvals": [v * 10**k for k in range(-2, 4) for v in (1, 2, 5)]}
_SHOWN = 30  # programs of one picture, those that are furthest off
#: Time, its name, shape and look: told apart without colour.
_TIMES: tuple[tuple[str, str, dict[str, Any]], ...] = (
    ("planned", "circle-open", {"size": 13, "color": GREY, "line": {"width": 2}}),
    ("programmed", "diamond-open", {"size": 12, "color": HUE, "line": {"width": 2}}),
    ("logged", "x", {"size": 10, "color": "#111111"}),
)


def times_figure(found: Review, what: str = "phase", job: str | None = None) -> go.Figure:
    """Planned, programmed and logged of every program or phase.

    Parameters
    ----------
    found : Review
        From ``review``.
    what : {"phase", "program"}
        Of which; phases of all jobs are added up, over those that are finished.
    job : str, optional
        Only of this one, by its key.

    Returns
    -------
    Figure
        A ring for planned, a diamond for programmed, a cross for logged, the error of the plan in words beside it.
    """
    rows = [c for c in found.compared if c.what == what and c.error("planned") is not None and job in (None, c.job)]
    lines = _phases(rows) if what == "phase" else _programs(rows)
    names = [html.escape(name) for name, _ in lines]
    unit, factor = ("h", 3600.0) if what == "phase" else ("min", 60.0)
    out = go.Figure(layout={"template": TEMPLATE})
    joined: dict[str, list[Any]] = {"x": [], "y": []}
    for name, (_, three) in zip(names, lines, strict=True):
        known = [v / factor for v in three if v]
        joined["x"] += [min(known), max(known), None]
        joined["y"] += [name, name, None]
    out.add_scatter(**joined, mode="lines", line={"color": PALE, "width": 3}, hoverinfo="skip", showlegend=False)
    for k, (title, symbol, look) in enumerate(_TIMES):
        there = [(name, three[k]) for name, (_, three) in zip(names, lines, strict=True) if three[k]]
        out.add_scatter(
            x=[(v or 0.0) / factor for _, v in there], y=[name for name, _ in there], mode="markers", name=title,
            marker={"symbol": symbol, **look}, customdata=[write_time(v or 0.0) for _, v in there],
            hovertemplate=f"%{{y}}: {title} %{{customdata}}<extra></extra>",
        )  # fmt: skip
    for name, (_, (planned, _, logged)) in zip(names, lines, strict=True):
        most = max(planned or 0.0, logged or 0.0) / factor
        text = f"plan {100 * ((planned or 0.0) / (logged or 1.0) - 1):+.0f} %"
        out.add_annotation(
            x=_place(most, what), y=name, text=text, showarrow=False, xanchor="left", xshift=12, font={"size": 12}
        )  # fmt: skip
    title = (
        "Phases that are finished, and machining of all loads logged" if what == "phase" else "One load of each program"
    )
    _lay_out(out, title, len(names))
    out.update_xaxes(title=f"time [{unit}]", **({"rangemode": "tozero"} if what == "phase" else _DECADES))
    if what == "program" and lines:
        every = [_place(v / factor, what) for _, three in lines for v in three if v]
        out.update_xaxes(range=[min(every) - 0.1, max(every) + 0.6])  # room for the words
    out.update_yaxes(categoryorder="array", categoryarray=names[::-1])
    return out


def _place(value: float, what: str) -> float:
    """Annotations of a logarithmic axis are placed by the logarithm."""
    import math

    return math.log10(value) if what == "program" and value > 0 else value


Line = tuple[str, tuple[float | None, float | None, float | None]]


def _phases(rows: Sequence[Compared]) -> list[Line]:
    out: list[Line] = []
    for phase in PHASES:
        mine = [c for c in rows if c.name == phase]
        if not mine:
            continue
        programmed = [c.programmed for c in mine if c.programmed is not None]
        whole = sum(programmed) if len(programmed) == len(mine) else None
        jobs = "1 job" if len(mine) == 1 else f"{len(mine)} jobs"
        out.append((f"{phase} ({jobs})", (sum(c.planned for c in mine), whole, sum(c.logged or 0.0 for c in mine))))
    return out


def _programs(rows: Sequence[Compared]) -> list[Line]:
    far = sorted(rows, key=lambda c: -abs(c.error("planned") or 0.0))[:_SHOWN]
    return [
        (c.name if len({r.job for r in rows}) == 1 else f"{c.name} ({c.job})", (c.planned, c.programmed, c.logged))
        for c in sorted(far, key=lambda c: -(c.logged or 0.0))
    ]


def learning_figure(found: Review, most: int = 6) -> go.Figure:
    """Logged over planned from day to day, each phase in a strip of its own.

    Parameters
    ----------
    found : Review
        From ``review``.
    most : int
        Strips; those with a line first, the steepest first [-].

    Returns
    -------
    Figure
        A dot for each day, the line where there are days enough, the verdict in words.
    """
    order = sorted(found.trends, key=lambda t: (t.change is None, t.what == "program", -abs(t.change or 0.0)))
    shown = order[:most]
    out = go.Figure(layout={"template": TEMPLATE})
    for k, t in enumerate(shown):
        axis = "" if k == 0 else str(k + 1)
        _strip(out, t, axis)
        high = 1.0 - k / max(len(shown), 1)
        low = high - 0.72 / max(len(shown), 1)
        out.layout[f"xaxis{axis}"] = {
            "domain": [0, 1],
            "anchor": f"y{axis}",
            "matches": "x" if k else None,
            "type": "date",
            "showticklabels": t is shown[-1],
        }
        out.layout[f"yaxis{axis}"] = {"domain": [low, high - 0.06 / max(len(shown), 1)], "anchor": f"x{axis}",
                                      "rangemode": "tozero", "nticks": 4}  # fmt: skip
        out.add_annotation(
            x=0, y=high, xref="paper", yref="paper", xanchor="left", yanchor="bottom", showarrow=False,
            text=html.escape(learning_words(t)), yshift=-8,
        )  # fmt: skip
    out.update_layout(
        title="Is the shop learning? logged over planned, 1 = as planned", width=_WIDTH, height=90 + 150 * len(shown),
        showlegend=False, margin={"t": 70},
    )  # fmt: skip
    return out


def _strip(out: go.Figure, t: Trend, axis: str) -> None:
    import math

    days = [f"{_date(d)}" for d in t.days]
    on = {"xaxis": f"x{axis}", "yaxis": f"y{axis}"}
    out.add_scatter(
        x=days, y=list(t.ratios), mode="markers", marker={"size": 9, "color": HUE, "symbol": "circle"}, **on,
        hovertemplate="%{x}: %{y:.2f}<extra></extra>",
    )  # fmt: skip
    ends = days[:1] + days[-1:]
    out.add_scatter(x=ends, y=[1, 1], mode="lines", line={"color": GREY, "dash": "dot", "width": 1}, **on)
    if t.change is not None and t.level is not None:
        first, span = t.level / (1 + t.change), t.days[-1] - t.days[0]
        shares = [k / 20 for k in range(21)]
        out.add_scatter(
            x=[_date(t.days[0] + s * span) for s in shares],
            y=[first * math.exp(s * math.log1p(t.change)) for s in shares],
            mode="lines", line={"color": "#111111", "width": 2}, hoverinfo="skip", **on,
        )  # fmt: skip


def _date(day: float) -> str:
    import datetime

    return str(datetime.date(1970, 1, 1) + datetime.timedelta(days=round(day)))


def learning_words(t: Trend) -> str:
    """What is said of one phase or program.

    Parameters
    ----------
    t : Trend
        From ``trends``.
    """
    if t.change is None or t.low is None or t.high is None:
        return f"{t.name}: too few days to say ({len(t.days)})"
    ends = f"95 %: {100 * t.low:+.0f} to {100 * t.high:+.0f} %"
    return f"{t.name}: {t.verdict}, {100 * t.change:+.0f} % since the first ({ends})"


def earnings_figure(found: Review) -> go.Figure:
    """What an hour of people earned in each job that was paid.

    Parameters
    ----------
    found : Review
        From ``review``.

    Returns
    -------
    Figure
        A bar for each job, hatched where hours are still as planned, and one for each kind of work below.
    """
    paid = [e for e in found.earned if e.per_hour is not None]
    names = [html.escape(e.job) for e in paid] + [f"{html.escape(k.kind)}: {len(k.jobs)} of them" for k in found.kinds]
    values = [float(e.per_hour or 0) for e in paid] + [float(k.per_hour) for k in found.kinds]
    open_ = [e.open_hours / e.all_hours if e.all_hours else 0.0 for e in paid] + [0.0] * len(found.kinds)
    told = [
        f"{v:,.2f}" + (f", {100 * o:.0f} % of the hours as planned" if o else "")
        for v, o in zip(values, open_, strict=True)
    ]
    out = go.Figure(layout={"template": TEMPLATE})
    out.add_bar(
        x=values, y=names, orientation="h", text=told, textposition="auto",
        hovertemplate="%{y}: %{text}<extra></extra>",
        marker={
            "color": [HUE] * len(paid) + [PALE] * len(found.kinds),
            "pattern": {"shape": ["/" if o else "" for o in open_]},
        },
    )  # fmt: skip
    _lay_out(out, "What an hour earned: by job (dark), by kind of work (pale)", len(names))
    out.update_xaxes(title=f"paid less bought less machine, over people's hours [{html.escape(found.currency)}/h]")
    out.update_yaxes(categoryorder="array", categoryarray=names[::-1])
    return out


def _lay_out(figure: go.Figure, title: str, rows: int) -> None:
    figure.update_layout(
        title=title, width=_WIDTH, height=150 + _ROW * rows, margin={"t": 80},
        legend={"orientation": "h", "x": 0, "y": 1.0, "yanchor": "bottom"},
    )  # fmt: skip
    figure.update_yaxes(automargin=True, showgrid=True)


def review_view(found: Review, system: str = "inch") -> widgets.VBox:
    """All pictures, and the tables for those who read numbers.

    Parameters
    ----------
    found : Review
        From ``review``.
    system : {"inch", "metric"}
        Of lengths.
    """
    drawn = [times_figure(found), times_figure(found, "program"), learning_figure(found), earnings_figure(found)]
    drawn = [f for f in drawn if any(len(t.x) for t in f.data)]
    pictures = [LiveFigure(data=list(f.data), layout=f.layout.to_plotly_json()) for f in drawn]
    shown = [
        table(t.title, t.head, [tuple(cell_text(c) for c in row) for row in t.rows],
              words=tuple(k for k in range(len(t.head)) if k not in t.numbers)) + "".join(note(b) for b in t.below)
        for t in tables(found, "metric" if system == "metric" else "inch")[2:] if t.rows
    ]  # fmt: skip
    plain = '<div style="line-height:1.35;overflow-x:auto;max-width:100%">'
    return widgets.VBox([*pictures, *(widgets.HTML(f"{plain}{s}</div>") for s in shown)])
