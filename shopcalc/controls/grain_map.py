"""A part's outline with its grain: where it is cut against it, where the flutes come out, and how the plan goes round.

Line width and dash carry the lie, numbers lead to the table: nothing is told by colour alone.
"""

from __future__ import annotations

import math

import plotly.graph_objects as go
import shapely
from shapely.geometry.base import BaseGeometry

from shopcalc.controls.parts import GREY, HUE, PALE, TEMPLATE, table
from shopcalc.cutting.breakout import EdgePlan, Exit, GrainMap, chords
from shopcalc.cutting.grain import Lie
from shopcalc.paths.runs import Point, Run
from shopcalc.units import System

_LENGTH: dict[System, tuple[str, float, int]] = {"metric": ("mm", 1.0, 0), "inch": ("in", 25.4, 2)}
_LINES: dict[Lie, tuple[str, dict[str, object]]] = {
    "against": ("against the grain", {"color": HUE, "width": 8, "simplify": False}),
    "with": ("with the grain", {"color": HUE, "width": 2}),
    "neither": ("along or square to it", {"color": HUE, "width": 2, "dash": "dot"}),
}
_FIBRES = "#c9c9c9"


def draw(grain_map: GrainMap, plan: EdgePlan | None = None, system: System = "metric") -> go.Figure:
    """The outline: thick against the grain, thin with it, dotted where it is neither; exits numbered as in the table.

    A filled number is a bad exit, an open one splits nothing. With a plan: an arrow beside each edge, pointing with the
    feed, and its place in the order of cutting; the start as a square, back-up blocks as bars against their face.
    """
    unit, scale, digits = _LENGTH[system]
    outline = [(x / scale, y / scale) for x, y in chords(grain_map.outline, 0.05)]
    line = shapely.LineString(outline)
    x0, y0, x1, y1 = line.bounds
    size = max(x1 - x0, y1 - y0)
    traces = [_fibres(grain_map, outline, size)]
    for lie, (name, style) in _LINES.items():
        points: list[tuple[float | None, float | None]] = []
        for s in grain_map.stretches:
            if s.lie == lie:
                points += [(x / scale, y / scale) for x, y in chords(s.piece, 0.005)]
                points.append((None, None))
        if points:
            xs, ys = zip(*points, strict=True)
            text = f"{name}, {grain_map.length_of(lie) / scale:.{digits}f} {unit}"
            traces.append(go.Scatter(x=xs, y=ys, mode="lines", line=style, name=text, hoverinfo="name"))
    figure = go.Figure(traces)
    for name, bad in (("exit that splits", True), ("exit that does not", False)):
        chosen = [(k, e) for k, e in enumerate(grain_map.exits, 1) if (e.risk == "high") == bad]
        if not chosen:
            continue
        places = [_beyond(e, size * scale * 0.05) for _, e in chosen]
        figure.add_trace(
            go.Scatter(
                x=[p[0] / scale for p in places], y=[p[1] / scale for p in places], mode="markers+text", name=name,
                text=[str(k) for k, _ in chosen], hovertext=[e.remedy or "nothing is needed" for _, e in chosen],
                hoverinfo="text", textfont={"color": "white" if bad else HUE, "size": 13},
                marker={"size": 22, "color": HUE if bad else "white", "line": {"color": HUE, "width": 2}},
            )
        )  # fmt: skip
    _label_edges(figure, grain_map, plan, size, scale)
    if plan is not None:
        _show_plan(figure, plan, size, scale)
    pad = 0.2 * size
    inner = 680 * (y1 - y0 + 2 * pad) / (x1 - x0 + 2 * pad)
    inner = min(700, max(260, inner))
    figure.update_layout(
        template=TEMPLATE, width=780, height=inner + 190, title={"text": "Grain round the outline"},
        margin={"t": 50, "b": 140}, legend={"orientation": "h", "y": -60 / inner, "yanchor": "top"},
        xaxis={
            "title": {"text": unit, "standoff": 4}, "showgrid": False, "zeroline": False, "range": [x0 - pad, x1 + pad],
            "constrain": "domain",
        },
        yaxis={
            "title": {"text": unit}, "showgrid": False, "zeroline": False, "scaleanchor": "x",
            "range": [y0 - pad, y1 + pad], "constrain": "domain", "automargin": True,
        },
    )  # fmt: skip
    return figure


def _fibres(m: GrainMap, outline: list[Point], size: float) -> go.Scatter:
    """Light parallel lines over the wood; on end its pores, because the fibres point at the eye."""
    line = shapely.LineString(outline)
    margin = 0.12 * size
    wood: BaseGeometry
    if not m.outline.closed:
        wood = line.buffer((1 if m.side == "outside" else -1) * margin, single_sided=True)
    elif m.side == "outside":
        wood = shapely.Polygon(outline)
    else:
        wood = shapely.Polygon(outline).buffer(margin, join_style="mitre").difference(shapely.Polygon(outline))
    x0, y0, x1, y1 = wood.bounds
    cx, cy, reach, pitch = (x0 + x1) / 2, (y0 + y1) / 2, math.hypot(x1 - x0, y1 - y0), size / 45
    count = math.ceil(reach / 2 / pitch)
    xs: list[float | None] = []
    ys: list[float | None] = []
    if m.station == "end":
        for i in range(-count, count + 1):
            for j in range(-count, count + 1):
                p = (cx + pitch * i, cy + pitch * (j + 0.5 * (i % 2)))
                if wood.contains(shapely.Point(p)):
                    xs.append(p[0])
                    ys.append(p[1])
        marker = {"size": 3, "color": _FIBRES}
        return go.Scatter(x=xs, y=ys, mode="markers", marker=marker, name="fibres, on end", hoverinfo="skip")
    c, s = math.cos(m.grain_angle), math.sin(m.grain_angle)
    for k in range(-count, count + 1):
        mx, my = cx - s * k * pitch, cy + c * k * pitch
        fibre = shapely.LineString([(mx - c * reach, my - s * reach), (mx + c * reach, my + s * reach)])
        for part in shapely.get_parts(fibre.intersection(wood)):
            if part.length:
                xs += [*(p[0] for p in part.coords), None]
                ys += [*(p[1] for p in part.coords), None]
    return go.Scatter(x=xs, y=ys, mode="lines", line={"color": _FIBRES, "width": 1}, name="fibres", hoverinfo="skip")


def _beyond(e: Exit, away: float) -> Point:
    """Outside its corner, where the flutes go."""
    x, y = e.face[0] + e.motion[0], e.face[1] + e.motion[1]
    length = math.hypot(x, y)
    return e.point[0] + x / length * away, e.point[1] + y / length * away


def _middle(piece: Run) -> tuple[Point, Point]:
    """Middle of an edge and the flutes' direction there."""
    half, step = piece.length / 2, piece.length * 1e-3
    a, b = (piece.split(half + s)[0].end for s in (-step, step))
    length = math.dist(a, b)
    return ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2), ((b[0] - a[0]) / length, (b[1] - a[1]) / length)


def _label_edges(figure: go.Figure, m: GrainMap, plan: EdgePlan | None, size: float, scale: float) -> None:
    order = {s.edge: k for k, s in enumerate(plan.strokes, 1)} if plan is not None else {}
    for i, edge in enumerate(m.edges):
        (x, y), (tx, ty) = _middle(edge.piece)
        away = (0.1 if plan is not None else 0.05) * size
        text = f"edge {i + 1}"
        if plan is not None:
            text = f"cut {order[i]}: {text}" if i in order else f"{text}, at size"
        figure.add_annotation(
            x=x / scale + ty * away, y=y / scale - tx * away, showarrow=False, text=text, font={"size": 13},
            textangle=-90 if abs(ty) > abs(tx) else 0,
        )  # fmt: skip


def _show_plan(figure: go.Figure, plan: EdgePlan, size: float, scale: float) -> None:
    for e in plan.blocks:
        (x, y), (nx, ny) = (e.point[0] / scale, e.point[1] / scale), e.face
        tx, ty = -ny, nx  # along the face into the part; the block begins a little before the corner
        face = math.inf if e.through is None else plan.map.edges[e.through].piece.length / scale
        low, high, thick, gap = -0.04 * size, min(0.2 * size, 0.3 * face), 0.045 * size, 0.012 * size
        corners = [
            (x + tx * u + nx * (gap + v), y + ty * u + ny * (gap + v))
            for u, v in ((low, 0), (high, 0), (high, thick), (low, thick))
        ]
        path = "M" + "L".join(f"{a:.4f},{b:.4f}" for a, b in corners) + "Z"
        figure.add_shape(type="path", path=path, fillcolor=PALE, line={"color": GREY, "width": 1}, layer="below")
        figure.add_annotation(
            x=x + tx * high * 0.6 + nx * (gap + 1.8 * thick), y=y + ty * high * 0.6 + ny * (gap + 1.8 * thick),
            text="block", showarrow=False, font={"size": 12}, textangle=-90 if abs(ny) < abs(nx) else 0,
        )  # fmt: skip
    for number, stroke in enumerate(plan.strokes):
        (x, y), (tx, ty) = _middle(plan.map.edges[stroke.edge].piece)
        sense = -1 if stroke.direction == "climb" else 1
        away, half = 0.05 * size, sense * 0.06 * size
        cx, cy = x / scale + ty * away, y / scale - tx * away
        figure.add_annotation(
            x=cx + tx * half, y=cy + ty * half, ax=cx - tx * half, ay=cy - ty * half, xref="x", yref="y", axref="x",
            ayref="y", showarrow=True, arrowhead=2, arrowsize=1.2, arrowwidth=1.6 if number else 3,
            arrowcolor="#222222", text="",
        )  # fmt: skip
    figure.add_trace(
        go.Scatter(
            x=[plan.start[0] / scale], y=[plan.start[1] / scale], mode="markers", name="start", hoverinfo="name",
            marker={"symbol": "square", "size": 13, "color": "white", "line": {"color": "#222222", "width": 3}},
        )
    )  # fmt: skip


HEAD = ("no.", "at x, y", "flutes come along", "out through", "fibres unsupported", "risk", "what helps")


def rows(grain_map: GrainMap, plan: EdgePlan | None = None, system: System = "metric") -> list[list[str]]:
    """One row of texts for each numbered exit, in the columns of ``HEAD``; with a plan, whether its order helps."""
    unit, scale, _ = _LENGTH[system]
    out = []
    for number, e in enumerate(grain_map.exits, 1):
        length = "without end" if math.isinf(e.unsupported) else f"{e.unsupported / scale:.3g} {unit}"
        place = f"{e.point[0] / scale:.4g},\N{NO-BREAK SPACE}{e.point[1] / scale:.4g}"
        remedy = e.remedy or "nothing is needed"
        if plan is not None and e.risk == "high":
            left = any(b.point == e.point and b.through == e.through for b in plan.blocks)
            remedy = e.remedy if left else "the order of cutting: waste stands behind it until the face is cut"
        out.append([str(number), place, f"edge {e.edge + 1}", e.through_words, length, e.risk, remedy])
    return out


def exits_table(grain_map: GrainMap, plan: EdgePlan | None = None, system: System = "metric") -> str:
    """The table of ``rows`` as HTML."""
    return table("Where the flutes come out", HEAD, rows(grain_map, plan, system), words=(2, 3, 5, 6))
