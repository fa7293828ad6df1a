"""A panel's clearance in its groove through the year: a band for what its rings allow, with the two ways it fails."""

from __future__ import annotations

import math
from dataclasses import dataclass

import ipywidgets as widgets
import numpy as np
import plotly.graph_objects as go

from shopcalc.controls.parts import GREY, HUE, LiveFigure, figure, note, table
from shopcalc.cutting.fit import write_fit
from shopcalc.seasons import Band, Movement, Place, clearance_at
from shopcalc.seasons.movement import Rings, standing
from shopcalc.seasons.panels import HOLD
from shopcalc.units import System

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_STEPS = 9  # moistures drawn where only the ends of the year are known
_UNIT: dict[System, tuple[str, float]] = {"metric": ("mm", 1.0), "inch": ("in", 25.4)}
_NO_CURE = (
    "Wood lags behind the air by weeks and a finish slows it further: thick parts hardly reach the ends of the band. "
    "The frame's length is taken as fixed."
)


@dataclass(frozen=True)
class ClearanceYear:
    """Clearance of a panel at each month, or at moistures from the driest to the wettest.

    Parameters
    ----------
    labels : tuple of str
        Month or moisture.
    moisture : tuple of float
        [% moisture].
    bands : tuple of Band
        Groove bottom to groove bottom less the panel [mm].
    depth, today : float
        Of the groove, and clearance today [mm].
    """

    labels: tuple[str, ...]
    moisture: tuple[float, ...]
    bands: tuple[Band, ...]
    depth: float
    today: float

    def says(self, clearance: float) -> str:
        """What a clearance means, in words.

        Parameters
        ----------
        clearance : float
            In total [mm].
        """
        if clearance < 0:
            return "jams"
        if clearance >= 2 * self.depth:
            return "falls out"
        if clearance > 2 * (self.depth - HOLD):
            return "little tongue left"
        return "can slide out of one groove: pin it" if clearance >= self.depth else "fits"


def clearances_through(
    width: float, depth: float, clearance: float, movement: Movement, place: Place, now: float,
    rings: Rings = "unknown",
) -> ClearanceYear:  # fmt: skip
    """Follow a panel's clearance through the year of a place.

    Parameters
    ----------
    width, depth, clearance : float
        Of the panel today across its grain, of the groove, and in total today [mm].
    movement : Movement
        Of its wood.
    place : Place
        Where it will stand.
    now : float
        Today's moisture [% moisture].
    rings : str, float or sequence of Strip
        As in ``seasons.across``.

    Returns
    -------
    ClearanceYear
        By month where the place has months.
    """
    moistures = place.months or tuple(float(m) for m in np.linspace(place.driest, place.wettest, _STEPS))
    labels = MONTHS if place.months else tuple(f"{m:.1f} %" for m in moistures)
    bands = tuple(clearance_at(width, clearance, movement, now, m, rings) for m in moistures)
    return ClearanceYear(labels, moistures, bands, depth, clearance)


def season_picture(through: ClearanceYear, title: str, system: System = "metric") -> LiveFigure:
    """Draw a panel's clearance through the year.

    Parameters
    ----------
    through : ClearanceYear
        From ``clearances_through``.
    title : str
        What is drawn.
    system : {"metric", "inch"}
        What the reader thinks in.

    Returns
    -------
    LiveFigure
        Band and line in one hue; bounds told apart by their dashes and named in the margin.
    """
    unit, per = _UNIT[system]
    x = list(through.labels)
    least, likely, most = (np.array([b[k] for b in through.bands]) / per for k in range(3))
    low, high = np.minimum(least, most), np.maximum(least, most)
    hollow = {"mode": "lines", "line": {"width": 0}, "hoverinfo": "skip", "showlegend": False}
    traces = [
        go.Scatter(x=x, y=high, **hollow),
        go.Scatter(x=x, y=low, **{**hollow, "showlegend": True}, fill="tonexty", fillcolor="rgba(11,90,138,0.25)",
                   name="whatever its rings"),
        go.Scatter(x=x, y=likely, mode="lines+markers", line={"color": HUE, "width": 3}, marker={"size": 7},
                   name="rings half way between flat and quarter", hovertemplate="%{x}: %{y:.3f} " + unit),
    ]  # fmt: skip
    bounds = (
        (0.0, "jams below", "solid", "#111111"),
        (2 * (through.depth - HOLD), f"{write_fit(HOLD, system)} of tongue", "dash", GREY),
        (2 * through.depth, "falls out above", "solid", "#111111"),
        (through.today, "today", "dot", HUE),
    )
    shapes = [
        {"type": "line", "xref": "paper", "x0": 0, "x1": 1, "y0": v / per, "y1": v / per,
         "line": {"color": colour, "width": 2, "dash": dash}}
        for v, _, dash, colour in bounds
    ]  # fmt: skip
    names = [
        {"xref": "paper", "x": 1.01, "y": v / per, "text": text, "showarrow": False, "xanchor": "left",
         "font": {"color": colour}}
        for v, text, _, colour in bounds
    ]  # fmt: skip
    reach = 2 * through.depth / per
    near = min((through.today - v for v, *_ in bounds[:-1]), key=abs)
    if abs(near) < 0.15 * through.depth:  # two names in one place cannot be read
        names[-1]["yshift"] = 14 if near >= 0 else -14
    axis = "month" if x[0] in MONTHS else "moisture of the wood"
    return figure(
        traces, title={"text": title}, height=430, width=640, shapes=shapes, annotations=names,
        xaxis={"title": {"text": axis}, "type": "category"},
        yaxis={"title": {"text": f"clearance in total, {unit}"},
               "range": [min(-0.08 * reach, float(low.min()) - 0.05 * reach),
                         max(1.08 * reach, float(high.max()) + 0.05 * reach)]},
        margin={"l": 70, "r": 160, "t": 50, "b": 110}, legend={"orientation": "h", "y": -0.25},
    )  # fmt: skip


def season_table(through: ClearanceYear, title: str, system: System = "metric") -> str:
    """The same numbers as a table.

    Parameters
    ----------
    through : ClearanceYear
        From ``clearances_through``.
    title : str
        What is told.
    system : {"metric", "inch"}
        What the reader thinks in.

    Returns
    -------
    str
        HTML.
    """
    rows = []
    monthly = through.labels[0] in MONTHS
    for label, moisture, band in zip(through.labels, through.moisture, through.bands, strict=True):
        worst = min(band) if min(band) < 0 else max(band)
        cells = (write_fit(v, system) for v in (min(band), band.likely, max(band)))
        when = [label, f"{moisture:.1f} %"] if monthly else [label]
        rows.append([*when, *cells, through.says(worst)])
    head = ["moisture", "least clearance", "rings half way", "greatest", "then it"]
    head = ["month", *head] if monthly else head
    return table(title, head, rows, words=[len(head) - 1])


def season_view(
    width: float, depth: float, clearance: float, movement: Movement, place: Place, now: float,
    rings: Rings = "unknown", system: System = "metric",
) -> widgets.VBox:  # fmt: skip
    """Picture and table of a panel's clearance through the year.

    Parameters
    ----------
    width, depth, clearance : float
        Of the panel today across its grain, of the groove, and in total today [mm].
    movement : Movement
        Of its wood.
    place : Place
        Where it will stand.
    now : float
        Today's moisture [% moisture].
    rings : str, float or sequence of Strip
        As in ``seasons.across``.
    system : {"metric", "inch"}
        What the reader thinks in.

    Returns
    -------
    VBox
        With a note of what the figures leave out and how sure they are.
    """
    through = clearances_through(width, depth, clearance, movement, place, now, rings)
    title = f"{movement.title} panel of {write_fit(width, system)}, {place.title}"
    remark = f"{_NO_CURE} Its movement: {standing(movement.kind)}."
    if not math.isclose(now, min(max(now, place.driest), place.wettest)):
        remark += f" Today's {now:.1f} % lies outside the year's {place.driest:.1f} to {place.wettest:.1f} %."
    picture = season_picture(through, title, system)
    return widgets.VBox([picture, widgets.HTML(season_table(through, title, system)), widgets.HTML(note(remark))])
