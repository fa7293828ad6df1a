"""What all controls are made of: a figure that stays true, a number with its slider, a plain table."""

from __future__ import annotations

import html
import inspect
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import anywidget
import ipywidgets as widgets
import plotly.graph_objects as go
import plotly.io as pio
from plotly.basewidget import BaseFigureWidget

from shopcalc.units import System

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
.shop-heading{font-size:16px;font-weight:600;margin:8px 0 2px}
.shop-big{font-size:19px;margin:6px 0}.shop-note{color:#444;font-size:13px;margin:4px 0;max-width:62em}
</style>"""


#: Where the page keeps plotly's drawing code: a promise that the one who has it fulfils.
_PLACE = """(globalThis.shopDrawing ??= (() => {
  let done; const there = new Promise(kept => { done = kept; }); there.done = done; return there; })())"""
#: What each figure brings instead of five megabytes of its own.
_LOADER = f"""export default () => {{
  let drawn;
  const made = model => drawn ??= {_PLACE}.then(drawing => {{
    const figure = drawing(); figure.initialize({{model}}); return figure; }});
  return {{ initialize({{model}}) {{ made(model); }},
    async render(context) {{ return (await made(context.model)).render(context); }} }};
}};"""


class _Drawing(anywidget.AnyWidget):
    """Plotly's drawing code, sent once. A reloaded page has two seconds for each figure to be ready: with the code in
    every one of them a busy computer shows no chart, and no control either.
    """

    def __init__(self) -> None:
        code = Path(inspect.getfile(BaseFigureWidget)).parent / "package_data" / "widgetbundle.js"
        text = code.read_text(encoding="utf-8")
        name = re.findall(r"([\w$]+) as default\s*}", text)[-1]  # others before stand in texts of the code
        super().__init__(_esm=f"{text}\n{_PLACE}.done({name});")


@cache
def _drawing() -> _Drawing:
    return _Drawing()


class _Keys(anywidget.AnyWidget):
    """Keys pressed on a control are the control's. The lab takes plain keys for its commands wherever no text can be
    typed: a letter on a list would cut the cell, an arrow leave it. Keys with Ctrl, Alt or Shift stay the lab's.
    """

    _esm = """globalThis.shopKeys ??= (() => {
  const mark = 'data-lm-suppress-shortcuts';
  window.addEventListener('keydown', event => {
    const control = event.target;
    if (!control?.closest?.('.jupyter-widgets')) return;
    const plain = !(event.ctrlKey || event.metaKey || event.altKey || event.shiftKey);
    if (plain) control.setAttribute(mark, 'true'); else control.removeAttribute(mark);
  }, true);
  return true; })();
export default () => ({});"""


#: One for the page, alive as long as this module.
KEYS = _Keys()


class LiveFigure(go.FigureWidget):  # type: ignore[misc]
    """A plotly figure that still shows the present numbers after the page is reloaded.

    plotly hands the browser a snapshot of traces and layout only when the figure is made and when it is displayed by
    itself; inside a box a reload would bring back the old curve. Changing it through ``change`` renews the snapshot.
    """

    _esm = _LOADER

    def __init__(self, *given: Any, **named: Any) -> None:
        _drawing()
        super().__init__(*given, **named)

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


@dataclass(frozen=True)
class Shown:
    """How a quantity is shown in one system of units.

    Parameters
    ----------
    unit : str
        As people read it.
    per : float
        House units in one of it.
    step : float
        Of the slider [unit].
    digits : int
        Decimals of the number in the box.
    """

    unit: str
    per: float
    step: float
    digits: int


#: What the controls of both systems move.
LENGTH: Mapping[System, Shown] = {"metric": Shown("mm", 1.0, 0.1, 3), "inch": Shown("in", 25.4, 1 / 64, 4)}
LONG: Mapping[System, Shown] = {"metric": Shown("mm", 1.0, 5.0, 2), "inch": Shown("in", 25.4, 0.25, 4)}
FINE: Mapping[System, Shown] = {"metric": Shown("mm", 1.0, 0.005, 4), "inch": Shown("in", 25.4, 0.0002, 5)}
FEED: Mapping[System, Shown] = {"metric": Shown("mm/min", 1.0, 10.0, 0), "inch": Shown("in/min", 25.4, 1.0, 1)}
FORCE: Mapping[System, Shown] = {"metric": Shown("N", 1.0, 1.0, 1), "inch": Shown("lbf", 4.4482216152605, 0.1, 2)}


class MeasuredControl(NumberControl):
    """A number with a unit, shown in either system; what it stands for is kept apart and never drifts.

    Parameters
    ----------
    name : str
        What it is, without the unit.
    value, low, high : float
        House unit.
    shown : mapping
        System to ``Shown``.
    system : {"metric", "inch"}
        Shown at first.
    """

    def __init__(
        self, name: str, value: float, low: float, high: float, shown: Mapping[System, Shown], system: System
    ) -> None:  # fmt: skip
        self._name, self._house, self._low, self._high = name, value, low, high
        self._shown, self._system = shown, system
        self._calls: list[Callable[[], Any]] = []
        super().__init__(name, 0.0, 0.0, 1.0, 1.0)
        self._quiet = False
        self._show()
        self.box.observe(self._typed, names="value")

    @property
    def value(self) -> float:
        """The quantity now [house unit]."""
        return self._house

    @value.setter
    def value(self, number: float) -> None:
        if number == self._house:
            return
        self._house = number
        self._low, self._high = min(self._low, number), max(self._high, number)
        self._show()
        self._tell()

    @property
    def system(self) -> System:
        """What is shown."""
        return self._system

    @system.setter
    def system(self, system: System) -> None:
        self._system = system
        self._show()

    def limit(self, low: float, high: float) -> None:
        """Move the ends of the slider; the quantity is brought in between.

        Parameters
        ----------
        low, high : float
            House unit.
        """
        self._low, self._high = low, high
        self._house = min(max(self._house, low), high)
        self._show()

    def enable(self, yes: bool) -> None:
        """Let it be moved, or not.

        Parameters
        ----------
        yes : bool
            Whether it counts now.
        """
        self.box.disabled = self.slider.disabled = not yes

    def observe(self, call: Any) -> None:
        """Call ``call()`` whenever the quantity changes, not when merely its unit does."""
        self._calls.append(call)

    def _tell(self) -> None:
        for call in self._calls:
            call()

    def _typed(self, _: Any) -> None:
        if not self._quiet:
            self._house = float(self.box.value) * self._shown[self._system].per
            self._tell()

    def _show(self) -> None:
        """Rename and renumber box and slider; wide ends first, or the value would be cut to the old ones."""
        s = self._shown[self._system]
        value = round(self._house / s.per, s.digits)
        # the slider steps from its low end: ends that are whole steps keep round numbers round
        low = min(value, max(s.step, _whole(self._low / s.per, s.step)) if self._low > 0 else self._low / s.per)
        high = max(value, _whole(self._high / s.per, s.step))
        self._quiet = True
        try:
            self.box.description = f"{self._name}, {s.unit}" if s.unit else self._name
            for w in (self.box, self.slider):
                w.min, w.max = min(w.min, low), max(w.max, high)
            for w in (self.box, self.slider):
                w.step, w.value = s.step, value
            for w in (self.box, self.slider):
                w.min, w.max = low, high
        finally:
            self._quiet = False


def _whole(value: float, step: float) -> float:
    return _plain(round(value / step) * step)


def _plain(value: float) -> float:
    return round(value, 6)


def choice(
    name: str, options: Sequence[tuple[str, Any]], value: Any, call: Callable[[], Any], width: str = "30em"
) -> widgets.Dropdown:  # fmt: skip
    """A named list to choose from.

    Parameters
    ----------
    name : str
        What is chosen.
    options : sequence of (str, object)
        As shown, and what it stands for.
    value : object
        Chosen at first.
    call : callable
        Called without arguments when another is chosen.
    width : str
        Of the whole, as CSS writes it.

    Returns
    -------
    Dropdown
    """
    out = widgets.Dropdown(
        options=list(options), value=value, description=name, style={"description_width": "9em"},
        layout=widgets.Layout(width=width),
    )  # fmt: skip
    out.observe(lambda _: call(), names="value")
    return out


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


def heading(text: str) -> str:
    """What stands above a group of controls or a picture."""
    return f'{_STYLE}<div class="shop-heading">{html.escape(text)}</div>'


def note(text: str) -> str:
    """A remark in small type."""
    return f'{_STYLE}<div class="shop-note">{html.escape(text)}</div>'
