"""Pictures of a carving: a surface in light, the detail left in one hue, lines to and fro, a cut through both."""

from __future__ import annotations

import base64
import io
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import plotly.graph_objects as go
from numpy.typing import NDArray

from shopcalc.controls.parts import TEMPLATE, LiveFigure
from shopcalc.cutters import Cutter
from shopcalc.moves import Floats
from shopcalc.relief.finishing import LineDirection
from shopcalc.relief.heights import HeightMap
from shopcalc.relief.layouts import direction_of, extent, lay_out
from shopcalc.relief.picture import shaded
from shopcalc.relief.reach import profile
from shopcalc.units import System

Pixels = NDArray[np.uint8]
Window = tuple[float, float, float, float]  # least x and y, greatest x and y [mm]

_INK = "#222222"
#: From shade to light, as oak looks under a lamp: brightness alone tells the shape.
_WOOD = np.array([(34, 20, 10), (104, 66, 36), (186, 138, 88), (232, 196, 148), (255, 243, 222)], dtype=float)
#: Depths at which a colour begins, in the shown unit, and the colours: one hue, the darker the more is left.
STEPS: Mapping[System, tuple[float, ...]] = {
    "metric": (0.02, 0.05, 0.1, 0.2, 0.5, 1.0), "inch": (0.001, 0.002, 0.004, 0.008, 0.02, 0.04),
}  # fmt: skip
_HUES = ((188, 216, 235), (126, 178, 212), (66, 138, 186), (20, 100, 152), (6, 68, 112), (2, 36, 64))
_SHARP = 2.0  # image pixels for one of the screen
_APART = 13.0  # screen pixels between the lines that are drawn at least
#: Of every picture [px].
#: Of the tool bar, which would lie over the titles: frames and buttons beside the pictures do the same.
_BUTTONS = ["zoom", "pan", "zoomIn", "zoomOut", "resetScale", "autoScale", "sendChartToCloud", "toImage"]
MARGIN = {"l": 6, "r": 6, "t": 48, "b": 62}


# --- images -----------------------------------------------------------------------------------------------------------


def in_wood(surface: HeightMap) -> Pixels:
    """A surface in light from the upper left, in the colours of wood.

    Parameters
    ----------
    surface : HeightMap
        Which.

    Returns
    -------
    (rows, columns, 3) uint8
        Colours; the first row is the highest y.
    """
    at = shaded(surface) * (len(_WOOD) - 1)
    return np.stack([np.interp(at, np.arange(len(_WOOD)), _WOOD[:, k]) for k in range(3)], axis=-1).astype(np.uint8)


def detail(surface: HeightMap, left: HeightMap, system: System) -> Pixels:
    """Where wood is left over a surface: pale ground, one hue, the darker the more.

    Parameters
    ----------
    surface, left : HeightMap
        What was wanted, and the depth left over it, on one grid.
    system : {"metric", "inch"}
        Whose round numbers bound the colours.

    Returns
    -------
    (rows, columns, 3) uint8
        Colours; the first row is the highest y.
    """
    per = 25.4 if system == "inch" else 1.0
    grey = in_wood(surface).mean(axis=-1, keepdims=True)
    ground = 255 - 0.16 * (255 - grey)
    colours = np.concatenate([[(0, 0, 0)], _HUES]).astype(float)
    which = np.digitize(left.z[::-1] / per, STEPS[system])
    return np.where((which > 0)[:, :, None], colours[which], ground).astype(np.uint8)


def address(pixels: Pixels, whole: Window, window: Window, width: float) -> str:
    """An image of a part of a picture, for the browser, at the screen's resolution.

    Parameters
    ----------
    pixels : (rows, columns, 3) uint8
        The whole; the first row is the highest y.
    whole, window : (4,) float
        What the whole covers and what is shown: least x and y, greatest x and y [mm].
    width : float
        Of the picture on the screen [px].

    Returns
    -------
    str
        The image itself, as an address that asks for nothing.
    """
    from PIL import Image

    rows, columns = pixels.shape[:2]
    per_x, per_y = columns / (whole[2] - whole[0]), rows / (whole[3] - whole[1])
    box = (
        max(0.0, (window[0] - whole[0]) * per_x), max(0.0, (whole[3] - window[3]) * per_y),
        min(float(columns), (window[2] - whole[0]) * per_x), min(float(rows), (whole[3] - window[1]) * per_y),
    )  # fmt: skip
    wide = round(width * _SHARP)
    tall = max(1, round(wide * (box[3] - box[1]) / max(box[2] - box[0], 1e-9)))
    image = Image.fromarray(pixels).resize((wide, tall), Image.Resampling.BICUBIC, box=box)
    file = io.BytesIO()
    image.save(file, format="JPEG", quality=88)
    return "data:image/jpeg;base64," + base64.b64encode(file.getvalue()).decode("ascii")


# --- figures of the surface -------------------------------------------------------------------------------------------


def picture(title: str, width: float, *, scale: bool = False) -> LiveFigure:
    """A figure for one image: lines of the path, the line of the section, numbered places, a scale of hues if wanted.

    Parameters
    ----------
    title : str
        What it shows.
    width : float
        [px].
    scale : bool
        Whether the hues are explained below.
    """
    axis = {
        "showgrid": False,
        "zeroline": False,
        "ticks": "outside",
        "tickfont": {"size": 11},
        "title": {"text": ""},
        "automargin": False,
    }
    traces = [
        go.Scatter(x=[], y=[], mode="lines", line={"color": "rgba(255,255,255,0.55)", "width": 1}, hoverinfo="skip",
                   name="lines"),
        go.Scatter(x=[], y=[], mode="markers", hoverinfo="skip", name="way", cliponaxis=False,
                   marker={"symbol": "arrow", "size": 8, "color": "white", "angle": [],
                           "line": {"color": _INK, "width": 1}}),
        go.Scatter(x=[], y=[], mode="lines", line={"color": _INK, "width": 1.5, "dash": "dash"}, hoverinfo="skip",
                   name="section"),
        go.Scatter(x=[], y=[], mode="markers+text", textposition="middle center", hoverinfo="skip", name="places",
                   textfont={"size": 12, "color": _INK},
                   marker={"size": 19, "color": "rgba(255,255,255,0.85)", "line": {"color": _INK, "width": 1.5}}),
        _hue_scale() if scale else go.Scatter(x=[], y=[], hoverinfo="skip", name="none"),
    ]  # fmt: skip
    return LiveFigure(
        data=traces,
        layout={
            "template": TEMPLATE, "width": width, "height": width, "showlegend": False, "margin": dict(MARGIN),
            "title": {"text": title, "font": {"size": 14}, "x": MARGIN["l"] / width, "y": 0.95,
                      "yanchor": "top"},
            "meta": title,
            "xaxis": {**axis, "range": [0, 1]},
            "yaxis": {**axis, "range": [0, 1], "showticklabels": False, "ticks": ""},
            "images": [{"source": "", "xref": "x", "yref": "y", "x": 0, "y": 1, "sizex": 1, "sizey": 1,
                        "sizing": "stretch", "layer": "below"}],
            "dragmode": "zoom", "plot_bgcolor": "white",
            "modebar": {"remove": _BUTTONS},
        },
    )  # fmt: skip


def _hue_scale() -> go.Scatter:
    n = len(_HUES)
    colours = [[k / n + d, f"rgb{hue}"] for k, hue in enumerate(_HUES) for d in (0.0, 1 / n)]
    return go.Scatter(
        x=[None], y=[None], mode="markers", hoverinfo="skip", name="scale",
        marker={
            "color": [0], "cmin": 0, "cmax": n, "colorscale": colours, "showscale": True,
            "colorbar": {"orientation": "h", "thickness": 12, "len": 0.9, "x": 0.5, "y": -0.12, "yanchor": "top",
                         "tickvals": list(range(n)), "ticktext": [], "tickfont": {"size": 11}, "outlinewidth": 1,
                         "xpad": 0, "ypad": 0, "title": {"text": ""}},
        },
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class Shown:
    """What all pictures of one carving have in common.

    Parameters
    ----------
    surface : HeightMap
        The artwork.
    window : (4,) float
        What is shown [mm].
    section : (2, 2) float
        Ends of the line of the section [mm].
    places : sequence of (float, float)
        To be numbered [mm].
    system : {"metric", "inch"}
        Units shown.
    """

    surface: HeightMap
    window: Window
    section: Floats
    places: Sequence[tuple[float, float]]
    system: System


def show(figure: LiveFigure, pixels: Pixels, shown: Shown, *, subtitle: str = "", numbers: bool = False) -> None:
    """Put an image into a figure.

    Parameters
    ----------
    figure : LiveFigure
        From ``picture``.
    pixels : (rows, columns, 3) uint8
        From ``in_wood`` or ``detail``.
    shown : Shown
        Window, section and places.
    subtitle : str
        Below the title.
    numbers : bool
        Whether the places are numbered in it.
    """
    per = 25.4 if shown.system == "inch" else 1.0
    whole = extent(shown.surface)
    x0, y0, x1, y1 = shown.window
    inner = figure.layout.width - MARGIN["l"] - MARGIN["r"]
    tall = inner * (y1 - y0) / (x1 - x0)
    a, b = max(x0, whole[0]), max(y0, whole[1])
    c, d = min(x1, whole[2]), min(y1, whole[3])
    with figure.change() as f:
        image = f.layout.images[0]
        image.source = address(pixels, whole, (a, b, c, d), inner * (c - a) / (x1 - x0))
        image.x, image.y, image.sizex, image.sizey = a / per, d / per, (c - a) / per, (d - b) / per
        f.layout.height = high = tall + MARGIN["t"] + MARGIN["b"]
        f.layout.title.y = 1 - 10 / high
        f.layout.xaxis.range, f.layout.yaxis.range = [x0 / per, x1 / per], [y0 / per, y1 / per]
        f.layout.xaxis.ticksuffix = " in" if shown.system == "inch" else ""
        f.layout.xaxis.showticksuffix = "last"
        f.layout.xaxis.title = {"text": "", "standoff": 0}
        f.layout.title.text = f'{f.layout.meta}<br><span style="font-size:11px;color:#444">{subtitle}</span>'
        f.data[2].x, f.data[2].y = (shown.section[:, k] / per for k in (0, 1))
        seen = [(n, p) for n, p in enumerate(shown.places, start=1) if a <= p[0] <= c and b <= p[1] <= d]
        if numbers:
            f.data[3].x, f.data[3].y = [p[0] / per for _, p in seen], [p[1] / per for _, p in seen]
            f.data[3].text = [str(n) for n, _ in seen]
        if f.data[4].name == "scale":
            f.data[4].marker.colorbar.ticktext = [f"{step:g}" for step in STEPS[shown.system]]
            f.data[4].marker.colorbar.y = -24 / tall


def show_lines(figure: LiveFigure, shown: Shown, stepover: float, direction: LineDirection) -> str:
    """Draw finishing lines over a picture, to and fro: all of them when there is room, else every so many.

    Parameters
    ----------
    figure : LiveFigure
        From ``picture``.
    shown : Shown
        What is seen.
    stepover : float
        Of the lines [mm].
    direction : {"x", "y", "both"} or float
        As in ``finishing.finish``; of both the second is drawn.

    Returns
    -------
    str
        What is drawn, in words.
    """
    per = 25.4 if shown.system == "inch" else 1.0
    layout = lay_out(extent(shown.surface), direction_of("y" if direction == "both" else direction), stepover)
    inner = figure.layout.width - MARGIN["l"] - MARGIN["r"]
    pixel = (shown.window[2] - shown.window[0]) / inner
    every = max(1, math.ceil(_APART * pixel / layout.step))
    inset = min(0.02 * (shown.window[2] - shown.window[0]), 3.0)
    x0, y0, x1, y1 = shown.window
    if every > 1:
        corners = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)]) @ np.array([-layout.along[1], layout.along[0]])
        in_sight = (layout.offset >= corners.min()) & (layout.offset <= corners.max())
        every = max(every, math.ceil(in_sight.sum() / 9))
    x: list[float | None] = []
    y: list[float | None] = []
    heads: list[tuple[float, float, float]] = []
    turn = math.degrees(math.atan2(layout.along[0], layout.along[1]))  # clockwise from up
    for number in range(every // 2, len(layout.line), every):
        fro = (number // every) % 2 == 1
        ends = layout.points(
            np.full(2, layout.offset[number]), np.array([layout.begin[number] + inset, layout.end[number] - inset])
        )
        low, high = _within(ends, (x0 + inset, y0 + inset, x1 - inset, y1 - inset))
        if low >= high:
            continue
        a, b = (ends[0] + t * (ends[1] - ends[0]) for t in (low, high))
        x += [a[0] / per, b[0] / per, None]
        y += [a[1] / per, b[1] / per, None]
        head = a if fro else b
        heads.append((head[0] / per, head[1] / per, turn + (180 if fro else 0)))
    with figure.change() as f:
        f.data[0].x, f.data[0].y = x, y
        f.data[1].x, f.data[1].y = [h[0] for h in heads], [h[1] for h in heads]
        f.data[1].marker.angle = [h[2] for h in heads]
    return "every line" if every == 1 else f"one line in {every}"


def _within(ends: Floats, box: Window) -> tuple[float, float]:
    """Which part of a straight line lies in a box, as shares of its length."""
    low, high = 0.0, 1.0
    for k in (0, 1):
        begin, step = float(ends[0, k]), float(ends[1, k] - ends[0, k])
        if abs(step) < 1e-12:
            if not box[k] <= begin <= box[k + 2]:
                return 1.0, 0.0
            continue
        one, other = sorted(((box[k] - begin) / step, (box[k + 2] - begin) / step))
        low, high = max(low, one), min(high, other)
    return low, high


# --- a cut through wood and cutter ------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Section:
    """A cut along x or y through what was wanted and what is reached.

    Parameters
    ----------
    distance, wanted, reached : (n,) float
        Along the line, and heights there [mm].
    place : int
        Of the samples: where most is left, or the narrowest hollow where nothing is.
    tip : (3,) float
        Where the tip stands that leaves this place: along the line, beside it, height [mm].
    """

    distance: Floats
    wanted: Floats
    reached: Floats
    place: int
    tip: tuple[float, float, float]

    @property
    def left(self) -> float:
        """Wood left at the place [mm]."""
        return float(self.reached[self.place] - self.wanted[self.place])


def section(surface: HeightMap, after: HeightMap, tips: HeightMap, cutter: Cutter, along: str, at: float) -> Section:
    """Cut through a carving along the row or column of squares nearest to a line.

    Parameters
    ----------
    surface, after : HeightMap
        What was wanted and what one cutter reaches.
    tips : HeightMap
        Its ``reach.centre_surface``; it may be wider than the map.
    cutter : Cutter
        Which.
    along : {"x", "y"}
        Direction of the line.
    at : float
        Where it lies across [mm].

    Returns
    -------
    Section
        Geometry, on the map's samples.
    """
    across = surface.y if along == "x" else surface.x
    row = int(np.abs(across - at).argmin())
    cut = (slice(row, row + 1), slice(None)) if along == "x" else (slice(None), slice(row, row + 1))
    wanted, reached = surface.z[cut].ravel(), after.z[cut].ravel()
    distance = surface.x if along == "x" else surface.y
    left = reached - wanted
    if left.max() > 1e-6:
        place = int(left.argmax())
    else:  # the cutter fits: the narrowest hollow then is where it would first touch
        bend = np.zeros(len(wanted))
        bend[1:-1] = wanted[2:] - 2 * wanted[1:-1] + wanted[:-2]
        place = int(bend.argmax())
    here = (float(distance[place]), float(across[row]))
    x, y = here if along == "x" else here[::-1]
    tip = _resting(tips, cutter, x, y)
    beside = tip[1] - y if along == "x" else tip[0] - x
    return Section(distance, wanted, reached, place, (tip[0] if along == "x" else tip[1], beside, tip[2]))


def _resting(tips: HeightMap, cutter: Cutter, x: float, y: float) -> tuple[float, float, float]:
    """The tip that cuts lowest over a place [mm]."""
    under = profile(cutter)
    columns, rows = tips.x, tips.y
    c = slice(*np.searchsorted(columns, (x - under.radius, x + under.radius)))
    r = slice(*np.searchsorted(rows, (y - under.radius, y + under.radius)))
    over = tips.z[r, c] + under.height(np.hypot(columns[None, c] - x, rows[r, None] - y))
    i, j = np.unravel_index(int(over.argmin()), over.shape)
    return float(columns[c][j]), float(rows[r][i]), float(tips.z[r, c][i, j])


def outline(cutter: Cutter, beside: float, tall: float) -> tuple[Floats, Floats]:
    """A cutter cut by a plane beside its axis.

    Parameters
    ----------
    cutter : Cutter
        Which.
    beside : float
        From the axis to the plane [mm].
    tall : float
        How high over the tip it is drawn [mm].

    Returns
    -------
    (n,) float, (n,) float
        Along the plane from the axis, and height over the tip [mm]. Geometry.
    """
    under = profile(cutter)
    half = math.sqrt(max(under.radius**2 - beside**2, 0.0))
    s = half * np.sin(np.linspace(-math.pi / 2, math.pi / 2, 241))  # denser where it gets steep
    z = under.height(np.minimum(np.hypot(s, beside), under.radius))
    keep = z <= tall
    s, z = s[keep], z[keep]
    if not len(s):
        return np.zeros(0), np.zeros(0)
    return np.concatenate([s[:1], s, s[-1:]]), np.concatenate([[tall], z, [tall]])
