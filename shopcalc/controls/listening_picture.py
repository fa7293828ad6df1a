"""A recording as a picture: its tones over time with the tooth tone, and how loud it was in and out of the wood."""

from __future__ import annotations

import html
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import plotly.graph_objects as go

from shopcalc.controls.parts import GREY, HUE, TEMPLATE
from shopcalc.listening import HOP, WINDOW, Heard, Spectra, Stretch, levels, listen, open_recording

_COLUMNS, _ROWS = 600, 250  # of the strip at most
_WIDTH, _HEIGHT = 900, 620


def listening_figure(path: str | Path, heard: Heard) -> go.Figure:
    """Picture of what was heard.

    Parameters
    ----------
    path : str or Path
        The recording.
    heard : Heard
        From ``hear`` of the same recording.

    Returns
    -------
    Figure
        Above a strip of tones with the tooth tone (dashed) and possible chatter (boxes), below how loud it was, the
        cutting shaded.

    Raises
    ------
    InputError
        When the recording can no longer be read.
    """
    spectra = listen(open_recording(path))
    times = np.arange(len(spectra.power)) * HOP + WINDOW / 2
    out = go.Figure(layout={"template": TEMPLATE})
    out.add_trace(_strip(spectra, times))
    _tooth(out, heard)
    for t in heard.tones:
        out.add_shape(
            type="rect", x0=t.when.begins, x1=t.when.ends, y0=t.frequency - 50, y1=t.frequency + 50,
            line={"color": "#b00020", "width": 2},
        )  # fmt: skip
        out.add_annotation(
            x=t.when.ends, y=t.frequency, text=f"possible chatter, {t.frequency:,.0f} Hz", xanchor="left",
            showarrow=False, bgcolor="white", font={"color": "#b00020"},
        )  # fmt: skip
    level = levels(spectra)
    out.add_scatter(x=times, y=level, mode="lines", name="level", line={"color": GREY, "width": 1.5}, yaxis="y2")
    for c in heard.cuts:
        out.add_shape(
            type="rect", x0=c.begins, x1=c.ends, y0=float(level.min()), y1=float(level.max()), yref="y2",
            fillcolor=HUE, opacity=0.25, line={"width": 0}, layer="below",
        )  # fmt: skip
    for moment, name in ((heard.start, "at speed"), (heard.stop, "slower")):
        if moment is not None:
            out.add_vline(x=moment, line={"color": "#222222", "width": 1, "dash": "dot"})
            out.add_annotation(x=moment, y=1.0, yref="paper", yanchor="bottom", text=name, showarrow=False)
    told = "" if heard.cutting is None else f": cutting {heard.cutting:.1f} s (shaded), in air {heard.air:.1f} s"
    out.update_layout(
        title=html.escape(heard.file) + told, width=_WIDTH, height=_HEIGHT, showlegend=False,
        xaxis={"title": "time [s]", "anchor": "y2", "range": [0, heard.seconds]},
        yaxis={"title": "frequency [Hz]", "domain": [0.4, 1.0], "range": [0, spectra.power.shape[1] * spectra.step]},
        yaxis2={"title": "level [dB]", "domain": [0.0, 0.34], "anchor": "x"},
    )  # fmt: skip
    return out


def _strip(spectra: Spectra, times: Any) -> go.Heatmap:
    """The loudest of each cell, over the noise beside it."""
    wide, high = (max(1, -(-n // m)) for n, m in zip(spectra.over.shape, (_COLUMNS, _ROWS), strict=True))
    x, y = np.arange(0, len(times), wide), np.arange(0, spectra.over.shape[1], high)
    cells = np.maximum.reduceat(np.maximum.reduceat(spectra.over, x, axis=0), y, axis=1)
    return go.Heatmap(
        x=times[x], y=y * spectra.step, z=cells.T, zmin=0, zmax=30, colorscale="Greys", name="",
        hovertemplate="%{x:.1f} s, %{y:.0f} Hz: %{z:.0f} dB over the noise beside it", showscale=False,
    )  # fmt: skip


def _tooth(out: go.Figure, heard: Heard) -> None:
    """The tooth tone in and out of the wood."""
    if not heard.cuts:
        return
    ends = [heard.start or 0.0, *(x for c in heard.cuts for x in (c.begins, c.ends)), heard.stop or heard.seconds]
    spans = [Stretch(a, b) for a, b in pairwise(ends)]
    for k, span in enumerate(spans):
        speed = heard.speed_cutting if k % 2 else heard.speed_air
        if speed is not None:
            tone = heard.flutes * speed / 60.0
            line = {"color": HUE, "width": 2, "dash": "dash"}
            out.add_scatter(x=[span.begins, span.ends], y=[tone, tone], mode="lines", line=line, name="tooth tone")
