"""What all controls are made of: a figure that stays true, a number with its slider, a plain table."""

from __future__ import annotations

import html
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import ipywidgets as widgets
import plotly.graph_objects as go
import plotly.io as pio

#: One hue, readable in print and without colour vision; grey for what is only asked for or compared with.
HUE = "#0b5a8a"
PALE = "#9cc3dc"
GREY = "#6b6b6b"

pio.templates["shop"] = go.layout.Template(
    layout={
        "modebar": {"remove": ["sendChartToCloud", "lasso2d", "select2d", "autoScale2d"]},
        "font": {"size": 14, "color": "#222222"},
        "title": {"font": {"size": 16}, "x": 0.0, "xanchor": "left"},
        "margin": {"l": 10, "r": 20, "t": 50, "b": 45},
        "colorway": [HUE, PALE, GREY],
    }
)
TEMPLATE = "plotly_white+shop"

_STYLE = """<style>
.shop-table{border-collapse:collapse;font-size:14px;margin:4px 0}
.shop-table th{border-bottom:2px solid #222;text-align:right;padding:3px 8px;vertical-align:bottom}
.shop-table td{border-bottom:1px solid #ccc;text-align:right;padding:3px 8px;font-variant-numeric:tabular-nums}
.shop-table th:first-child,.shop-table td:first-child,.shop-table .words{text-align:left}
.shop-table td:first-child{white-space:nowrap}
.shop-table tr.sum td{border-top:2px solid #222;font-weight:600}
.shop-table caption{text-align:left;font-weight:600;font-size:15px;padding:6px 0;color:#222}
.shop-big{font-size:19px;margin:6px 0}.shop-note{color:#444;font-size:13px;margin:4px 0;max-width:62em}
</style>"""


class LiveFigure(go.FigureWidget):  # type: ignore[misc]
    """A plotly figure that still shows the present numbers after the page is reloaded.

    plotly hands the browser a snapshot of traces and layout only when the figure is made and when it is displayed by
    itself; inside a box a reload would bring back the old curve. Changing it through ``change`` renews the snapshot.
    """

    @contextmanager
    def change(self) -> Iterator[LiveFigure]:
        """Apply several changes at once and renew what a reloaded page will be given."""
        with self.batch_update():
            yield self
        self._repr_mimebundle_()


def figure(traces: Sequence[Any], **layout: Any) -> LiveFigure:
    """A whole figure in the shop's look; traces and titles given at once, because later ones may not be shown."""
    return LiveFigure(data=list(traces), layout={"template": TEMPLATE, "width": 780, **layout})


class NumberControl:
    """A number box with its name, and a slider for the hand, tied together.

    The slider alone has no name for a screen reader; the box has, and takes exact numbers.

    Parameters
    ----------
    name : str
        What it is, with the unit.
    value, low, high, step : float
        In that unit.
    """

    def __init__(self, name: str, value: float, low: float, high: float, step: float) -> None:
        self.box = widgets.BoundedFloatText(
            value=value, min=low, max=high, step=step, description=name,
            style={"description_width": "17em"}, layout=widgets.Layout(width="25em"),
        )  # fmt: skip
        self.slider = widgets.FloatSlider(
            value=value, min=low, max=high, step=step, readout=False, continuous_update=False,
            layout=widgets.Layout(width="22em"),
        )  # fmt: skip
        plain = (_plain, _plain)  # a slider's thirty-one is 31.000000000000004
        widgets.link((self.slider, "value"), (self.box, "value"), transform=plain)
        self.view = widgets.HBox([self.box, self.slider])

    @property
    def value(self) -> float:
        """The number now."""
        return float(self.box.value)

    @value.setter
    def value(self, number: float) -> None:
        self.box.value = number

    def observe(self, call: Any) -> None:
        """Call ``call()`` whenever the number changes."""
        self.box.observe(lambda _: call(), names="value")


def _plain(value: float) -> float:
    return round(value, 6)


def table(
    caption: str, head: Sequence[str], rows: Sequence[Sequence[str]], last: Sequence[str] | None = None,
    words: Sequence[int] = (),
) -> str:  # fmt: skip
    """An HTML table of texts; the first column and those in ``words`` are set to the left, ``last`` is the sum."""

    def line(cells: Sequence[str], tag: str, row_class: str = "") -> str:
        scope = " scope=col" if tag == "th" else ""
        kinds = [" class=words" if i in words else "" for i in range(len(cells))]
        cell = "".join(f"<{tag}{k}{scope}>{html.escape(c)}</{tag}>" for k, c in zip(kinds, cells, strict=True))
        return f"<tr{row_class}>{cell}</tr>"

    body = "".join(line(r, "td") for r in rows)
    foot = line(last, "td", ' class="sum"') if last is not None else ""
    title = html.escape(caption)
    return (
        f'{_STYLE}<table class="shop-table"><caption>{title}</caption>'
        f"<thead>{line(head, 'th')}</thead><tbody>{body}{foot}</tbody></table>"
    )


def big(text: str) -> str:
    """One answer, large."""
    return f'{_STYLE}<div class="shop-big" role="status">{html.escape(text)}</div>'


def note(text: str) -> str:
    """A remark in small type."""
    return f'{_STYLE}<div class="shop-note">{html.escape(text)}</div>'
