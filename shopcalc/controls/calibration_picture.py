"""A calibration as two pictures: each program's error before and after, each factor's interval before and after."""

from __future__ import annotations

import html
import math
from typing import Any

import ipywidgets as widgets
import plotly.graph_objects as go

from shopcalc.calibration import Calibration, Learned
from shopcalc.controls.parts import GREY, HUE, PALE, TEMPLATE, LiveFigure, note, table
from shopcalc.machines_learned import value_of
from shopcalc.units import write_time

_ROW = 30  # px of one program or factor
_WIDTH = 820
_PRIOR = 1.96  # sigmas that hold 95 %


def error_figure(found: Calibration) -> go.Figure:
    """Error of every logged program, by the record and by the calibrated machine.

    Parameters
    ----------
    found : Calibration
        From ``calibrate``.

    Returns
    -------
    Figure
        Paired dots: open ones before, filled ones after; outliers are named at their dot.
    """
    programs = sorted(found.programs, key=lambda p: abs(p.error_before))
    names = [html.escape(p.program) + (f" ({p.runs} times)" if p.runs > 1 else "") for p in programs]
    before, after = [100 * p.error_before for p in programs], [100 * p.error_after for p in programs]
    joined: dict[str, list[Any]] = {"x": [], "y": []}
    for name, b, a in zip(names, before, after, strict=True):
        joined["x"] += [b, a, None]
        joined["y"] += [name, name, None]
    told = [f"logged {write_time(p.logged)}" for p in programs]
    hover = "%{y}: %{x:.1f} %, %{customdata}<extra></extra>"
    out = go.Figure(layout={"template": TEMPLATE})
    out.add_scatter(**joined, mode="lines", line={"color": PALE, "width": 3}, hoverinfo="skip", showlegend=False)
    out.add_scatter(
        x=before, y=names, mode="markers", name="by the record", customdata=told, hovertemplate=hover,
        marker={"size": 12, "color": "white", "line": {"color": GREY, "width": 2}},
    )  # fmt: skip
    out.add_scatter(
        x=after, y=names, mode="markers", name="calibrated", customdata=told, hovertemplate=hover,
        marker={"size": 12, "color": HUE},
    )  # fmt: skip
    for p, name, a in zip(programs, names, after, strict=True):
        if p.program in found.outliers:
            text = f"counts {100 * p.weight:.0f} %: check it"
            out.add_annotation(x=a, y=name, text=text, showarrow=False, xanchor="left", xshift=10)
    out.add_vline(x=0, line={"color": "#222222", "width": 1})
    title = f"Programmed against logged time, machine '{html.escape(found.record.name)}'"
    _lay_out(out, title, len(names))
    out.update_xaxes(title="too short (-) or too long (+) [%]")
    out.update_yaxes(categoryorder="array", categoryarray=names)
    return out


def factor_figure(found: Calibration) -> go.Figure:
    """What is known of every factor, against what was thought beforehand.

    Parameters
    ----------
    found : Calibration
        From ``calibrate``.

    Returns
    -------
    Figure
        95 % beforehand as a pale bar, 95 % now as a dark one with the most likely value; shares of the record.
    """
    names = [html.escape(_title(found, o)) for o in found.learned]
    out = go.Figure(layout={"template": TEMPLATE})
    out.add_scatter(
        **_bars(found, names, lambda o: (math.exp(-_PRIOR * o.factor.sigma), math.exp(_PRIOR * o.factor.sigma))),
        mode="lines", line={"color": PALE, "width": 14}, name="thought beforehand, 95 %", hoverinfo="skip",
    )  # fmt: skip
    out.add_scatter(
        **_bars(found, names, lambda o: (o.low, o.high)),
        mode="lines", line={"color": HUE, "width": 5}, name="now, 95 %", hoverinfo="skip",
    )  # fmt: skip
    told = [f"{100 * o.low:.0f} to {100 * o.high:.0f} %<br>{html.escape(o.factor.reason)}" for o in found.learned]
    out.add_scatter(
        x=[100 * o.value for o in found.learned], y=names, mode="markers", name="most likely", customdata=told,
        hovertemplate="%{y}: %{x:.0f} % of the record, %{customdata}<extra></extra>",
        marker={"size": 11, "color": HUE, "line": {"color": "white", "width": 1}},
    )  # fmt: skip
    out.add_vline(x=100, line={"color": "#222222", "width": 1})
    _lay_out(out, "Figures of the machine, as shares of its record", len(names))
    low, high = _ends(found)
    ticks = [v for v in (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000) if low <= v <= high]
    out.update_xaxes(
        type="log", title="of the record [%]", tickvals=ticks, ticktext=[str(t) for t in ticks],
        range=[math.log10(low), math.log10(high)],
    )  # fmt: skip
    out.update_yaxes(categoryorder="array", categoryarray=names[::-1])
    return out


def _title(found: Calibration, one: Learned) -> str:
    """The factor's title; where the record has no such figure, that one was assumed."""
    missing = all(math.isinf(float(value_of(found.record, name))) for name in one.factor.fields)
    return f"{one.factor.title} (beside one assumed)" if missing else one.factor.title


def _ends(found: Calibration) -> tuple[float, float]:
    """Ends of the axis, a little beyond every bar [%]."""
    low = min(min(o.low, math.exp(-_PRIOR * o.factor.sigma)) for o in found.learned)
    high = max(max(o.high, math.exp(_PRIOR * o.factor.sigma)) for o in found.learned)
    return 100 * low / 1.2, 100 * high * 1.2


def _bars(found: Calibration, names: list[str], ends: Any) -> dict[str, list[Any]]:
    out: dict[str, list[Any]] = {"x": [], "y": []}
    for name, one in zip(names, found.learned, strict=True):
        low, high = ends(one)
        out["x"] += [100 * low, 100 * high, None]
        out["y"] += [name, name, None]
    return out


def _lay_out(figure: go.Figure, title: str, rows: int) -> None:
    figure.update_layout(
        title=title, width=_WIDTH, height=150 + _ROW * rows, margin={"t": 80},
        legend={"orientation": "h", "x": 0, "y": 1.0, "yanchor": "bottom"},
    )  # fmt: skip
    figure.update_yaxes(automargin=True, showgrid=True)


def calibration_table(found: Calibration) -> str:
    """The factors' figures as an HTML table, for those who read numbers.

    Parameters
    ----------
    found : Calibration
        From ``calibrate``.
    """
    rows = [_row(found, one) for one in found.learned]
    return table("Factors", ("factor", "of the record", "95 %", "what these programs say"), rows, words=(3,))


def _row(found: Calibration, one: Learned) -> tuple[str, str, str, str]:
    key, k = one.factor.key, found.knowledge
    other = next((o for pair in k.tied if key in pair for o in pair if o != key), None)
    if other is not None:
        says = f"not told apart from {found.factor(other).factor.title}"
    else:
        says = "known" if key in k.known else "next to nothing" if key in k.silent else "partly known"
    return _title(found, one), f"{100 * one.value:.0f} %", f"{100 * one.low:.0f} to {100 * one.high:.0f} %", says


def calibration_view(found: Calibration) -> widgets.VBox:
    """Both pictures, the table, and what to time next.

    Parameters
    ----------
    found : Calibration
        From ``calibrate``.
    """
    words = f"What is left strays by {100 * found.spread:.1f} % (sigma of the logarithm)."
    if found.next:
        p = found.next[0]
        words += (
            f" Time next: {p.program} ({write_time(p.seconds)}); what is open in the others' times then falls from "
            f"{100 * p.before:.1f} to {100 * p.after:.1f} %."
        )
    drawn = [error_figure(found), factor_figure(found)]
    pictures = [LiveFigure(data=list(f.data), layout=f.layout.to_plotly_json()) for f in drawn]
    return widgets.VBox([*pictures, widgets.HTML(calibration_table(found)), widgets.HTML(note(words))])
