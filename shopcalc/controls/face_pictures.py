"""Faces of a board before and after: depths to be taken as contours with their numbers, and a section to slide."""

from __future__ import annotations

from typing import Literal

import numpy as np
import plotly.graph_objects as go

from shopcalc.controls.parts import GREY, HUE, LiveFigure, figure
from shopcalc.holding import CleanUp
from shopcalc.moves import Floats
from shopcalc.units import System, write

Show = Literal["rough heights", "wood taken", "heights after"]
_UNIT: dict[System, tuple[str, float, int]] = {"metric": ("mm", 1.0, 2), "inch": ("in", 25.4, 3)}
_SCALE = [[0.0, "#f4f8fb"], [1.0, "#6fa8c9"]]  # light, so that black numbers stand out on all of it
_SIDES = ("A", "B")


def faces_figure() -> LiveFigure:
    """An empty picture of both faces from above, to be filled by ``show_faces``."""
    traces = []
    for k in ("", "2"):
        at = {"xaxis": f"x{k}", "yaxis": f"y{k}"}
        traces += [
            go.Contour(x=[], y=[], z=[], colorscale=_SCALE, showscale=False, line={"color": "#7f9cad", "width": 1},
                       contours={"showlabels": False}, hoverinfo="skip", **at),
            go.Scatter(x=[], y=[], mode="markers+text", text=[], marker={"size": 5, "color": "#111"},
                       textfont={"size": 13, "color": "#111"}, textposition="top right", hoverinfo="text",
                       cliponaxis=False, **at),
            go.Scatter(x=[], y=[], mode="markers", hoverinfo="skip",
                       marker={"size": 13, "symbol": "x-thin-open", "color": "#111", "line": {"width": 2}}, **at),
        ]  # fmt: skip
    axes = {"title": {"text": ""}, "constrain": "domain"}
    names = [{"xref": "paper", "yref": "paper", "x": 0, "y": y, "text": "", "showarrow": False, "xanchor": "left",
              "yanchor": "bottom", "font": {"size": 15}} for y in (1.03, 0.42)]  # fmt: skip
    return figure(
        traces, title={"text": "Both faces"}, height=640, width=640, showlegend=False, annotations=names,
        xaxis={**axes, "anchor": "y"}, yaxis={**axes, "domain": [0.6, 1.0]}, xaxis2={**axes, "anchor": "y2"},
        yaxis2={**axes, "domain": [0.0, 0.4]}, margin={"l": 70, "r": 40, "t": 90, "b": 55},
    )  # fmt: skip


def show_faces(drawn: LiveFigure, found: CleanUp | None, show: Show, system: System) -> None:
    """Fill the picture of both faces.

    Parameters
    ----------
    drawn : LiveFigure
        From ``faces_figure``.
    found : CleanUp or None
        From ``clean_up``, on a grid of points; None leaves it empty.
    show : {"rough heights", "wood taken", "heights after"}
        What the numbers are. Heights count from the plane of the finished face, so that they compare.
    system : {"metric", "inch"}
        What the reader thinks in.
    """
    if found is None:
        with drawn.change() as f:
            f.layout.title.text = "no picture until every box can be read"
            for t in f.data:
                t.update(x=[], y=[], **({"z": []} if t.type == "contour" else {}))
            for a in f.layout.annotations:
                a.text = ""
        return
    unit, per, digits = _UNIT[system]
    b, missed = found.faces, set(found.missed)
    xs, ys = np.unique(b.x), np.unique(b.y)
    with drawn.change() as f:
        f.layout.title.text = {
            "rough heights": f"Before: heights over the finished planes, {unit}",
            "wood taken": f"Wood to be taken, {unit}", "heights after": f"After: what stays off the planes, {unit}",
        }[show]  # fmt: skip
        for k, depth in enumerate((found.depth_a, found.depth_b)):
            after, taken = np.minimum(depth, 0.0), np.maximum(depth, 0.0)
            z = {"rough heights": depth, "wood taken": taken, "heights after": after}[show] / per
            contour, points, misses = f.data[3 * k : 3 * k + 3]
            contour.update(x=xs / per, y=ys / per, z=z.reshape(len(ys), len(xs)))
            points.update(x=b.x / per, y=b.y / per, text=[_number(v, digits) for v in z])
            mine = [m for m in missed if depth[m] - found.skin < -1e-6]
            misses.update(x=b.x[mine] / per, y=b.y[mine] / per)
            note = f"crosses: missed at {len(mine)}" if mine else "cleans up everywhere measured"
            f.layout.annotations[k].text = f"face {_SIDES[k]}: {note}"
        rim = 0.09
        for axis, values in (("xaxis", xs), ("yaxis", ys), ("xaxis2", xs), ("yaxis2", ys)):
            more = rim * float(np.ptp(values)) * (2 if axis.startswith("y") else 1)
            way = [(values.min() - more) / per, (values.max() + more) / per]
            way = way[::-1] if axis.startswith("y") else way  # the first row of boxes stands on top
            f.layout[axis].update(range=way, title={"text": f"{'along' if axis.startswith('x') else 'across'}, {unit}"})


def section_figure() -> LiveFigure:
    """An empty section along the board, to be filled by ``show_section``."""
    lines = (("face A, rough", GREY, "solid"), ("face A, finished", HUE, "dash"), ("face B, finished", HUE, "dash"),
             ("face B, rough", GREY, "solid"))  # fmt: skip
    traces = [
        go.Scatter(x=[], y=[], mode="lines+markers" if dash == "solid" else "lines", name=name,
                   line={"color": colour, "width": 2 if dash == "solid" else 3, "dash": dash})
        for name, colour, dash in lines
    ]  # fmt: skip
    for t in traces[2:]:
        t.update(xaxis="x", yaxis="y2")
    return figure(
        traces, title={"text": "Section"}, height=440, width=640, legend={"orientation": "h", "y": -0.2},
        xaxis={"title": {"text": ""}, "anchor": "y2"}, yaxis={"title": {"text": ""}, "domain": [0.54, 1.0]},
        yaxis2={"title": {"text": ""}, "domain": [0.0, 0.46]}, margin={"l": 75, "r": 30, "t": 50, "b": 95},
    )  # fmt: skip


def show_section(drawn: LiveFigure, found: CleanUp | None, row: int, system: System) -> None:
    """Fill the section.

    Parameters
    ----------
    drawn : LiveFigure
        From ``section_figure``.
    found : CleanUp or None
        From ``clean_up``; None leaves it empty.
    row : int
        Which row of points across the board, from 0 [-].
    system : {"metric", "inch"}
        What the reader thinks in.
    """
    with drawn.change() as f:
        if found is None:
            for t in f.data:
                t.update(x=[], y=[])
            f.layout.title.text = "no section until every box can be read"
            return
        unit, per, _ = _UNIT[system]
        b = found.faces
        y = np.unique(b.y)[row]
        at = np.flatnonzero(b.y == y)
        at = at[np.argsort(b.x[at])]
        top: Floats = b.upper - found.depth_a
        curves = (b.upper, top, top - found.thickness, b.lower)
        for t, values in zip(f.data, curves, strict=True):
            t.update(x=b.x[at] / per, y=values[at] / per)
        spans = [np.concatenate([v[at] for v in pair]) for pair in (curves[:2], curves[2:])]
        reach = 0.6 * max(max(float(np.ptp(v)) for v in spans), 0.5)  # one scale for both faces
        for axis, values in zip(("yaxis", "yaxis2"), spans, strict=True):
            middle = (float(values.max()) + float(values.min())) / 2
            f.layout[axis].range = [(middle - reach) / per, (middle + reach) / per]
        f.layout.yaxis.title.text, f.layout.yaxis2.title.text = f"face A, {unit}", f"face B, {unit}"
        where = write(round(float(y), 1), "length", system, fraction=False)
        f.layout.title.text = f"Section at {where} across, heights drawn larger"
        f.layout.xaxis.title.text = f"along the board, {unit}"


def _number(value: float, digits: int) -> str:
    text = f"{value:.{digits}f}"
    return text.lstrip("-") if float(text) == 0 else text.replace("-", "\u2212")
