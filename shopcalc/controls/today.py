"""The page of the day for a tablet beside the machine: large buttons, nothing to type, the log as its only memory."""

from __future__ import annotations

import html
import re
from collections.abc import Callable, Sequence
from functools import partial
from typing import Any

import ipywidgets as widgets

from shopcalc.controls.parts import table
from shopcalc.errors import Fault, InputError
from shopcalc.shop import Shop, demo_folder
from shopcalc.shoplog import Entry, Moment, ShopLog, TimeEntry, now
from shopcalc.shoplog.clock import shown_moment
from shopcalc.shoplog.timers import start, stop
from shopcalc.today import ShopLoad, Today, read_jobs, today
from shopcalc.units import System, write, write_time

_SHOWN = 4  # batches whose next load has a button
_STYLE = """<style>
.shop-today,.shop-today .widget-html-content{font-size:18px;line-height:1.4;color:#111;overflow:visible}
.shop-today .jupyter-button{min-height:56px;height:auto;font-size:18px;line-height:1.3;white-space:normal;
 text-align:left;padding:8px 14px;border:2px solid #111;border-radius:6px;background:#fff;color:#111;margin:4px 2px}
.shop-today .jupyter-button:focus-visible{outline:4px solid #111;outline-offset:2px}
.shop-today .jupyter-button.shop-start{background:#0b5a8a;border-color:#0b5a8a;color:#fff;font-weight:600}
.shop-today .jupyter-button.shop-stop{background:#111;border:4px double #fff;outline:2px solid #111;color:#fff;
 font-weight:600}
.shop-today .shop-chosen{font-weight:700;border-width:5px;background:#e6e6e6}
.shop-today h3{font-size:20px;margin:10px 0 2px}.shop-today p{margin:3px 0}.shop-today s{color:#444}
.shop-today .shop-table,.shop-today .shop-table caption{font-size:16px}
.shop-today .shop-table{width:100%}.shop-today .shop-table th:first-child{width:40%}
.shop-today .shop-table th,.shop-today .shop-table td{padding:3px 4px;overflow-wrap:normal;word-break:normal;
 hyphens:none;white-space:normal}
.shop-today .shop-table td:first-child{white-space:normal;overflow-wrap:anywhere}
.shop-today .widget-html,.shop-today .widget-html-content{min-width:0;max-width:100%;white-space:normal}
.shop-today .shop-said{border-left:6px solid #111;padding:4px 10px;font-weight:600}
</style>"""
CAUTION = (
    "<b>Caution:</b> lock the spindle's power out before you change a cutter; at an odd sound stop the feed first, "
    "then the spindle."
)


def today_page(
    shop: Shop,
    operators: Sequence[str],
    jobs: Sequence[str] = (),
    *,
    system: System = "inch",
    clock: Callable[[], Moment] = now,
) -> TodayControl:
    """The page of the day.

    Parameters
    ----------
    shop : Shop
        Whose jobs and log; the demo shop keeps no log.
    operators : sequence of str
        Who may be at the machine.
    jobs : sequence of str
        Shown besides those that are begun.
    system : {"metric", "inch"}
        Units at first.
    clock : callable
        Of timers and of the day.

    Returns
    -------
    TodayControl
        With ``view``.

    Raises
    ------
    InputError
        When the shop keeps no log, or nobody is named.
    """
    return TodayControl(shop, operators, jobs, system, clock)


class TodayControl:
    """What is to do today, with buttons that write into the log.

    Parameters
    ----------
    shop : Shop
        Whose.
    operators, jobs : sequence of str
        Who may be at the machine; jobs shown besides those that are begun.
    system : {"metric", "inch"}
        Units at first.
    clock : callable
        Of timers and of the day.
    """

    def __init__(
        self, shop: Shop, operators: Sequence[str], jobs: Sequence[str], system: System, clock: Callable[[], Moment]
    ) -> None:
        if shop.folder.resolve() == demo_folder().resolve():
            raise InputError(Fault("the demo shop keeps no log", 'make your own, or a copy: copy_starter("my-shop")'))
        self.shop, self.system, self._wanted, self._clock = shop, system, tuple(jobs), clock
        with self._log() as log:
            self.jobs, self.faults = read_jobs(shop, log, jobs)
            self.page: Today = today(self.jobs, log)
        self.operators = tuple(dict.fromkeys(o for o in (*operators, self.page.operator) if o))
        if not self.operators:
            raise InputError(Fault("nobody is named who may be at the machine", 'name them: today_page(shop, ["Ann"])'))
        self.operator = self.page.operator or self.operators[0]
        self.said = ""
        self.view = widgets.VBox(layout=widgets.Layout(width="100%", max_width="780px"))
        self.view.add_class("shop-today")
        self._show()

    def _log(self) -> ShopLog:
        return ShopLog.of(self.shop.folder, clock=self._clock)

    # --- what the buttons do ---

    def choose(self, operator: str) -> None:
        """Say who is at the machine.

        Parameters
        ----------
        operator : str
            One of ``operators``.
        """
        self.operator, self.said = operator, ""
        self._show()

    def start(self, entry: TimeEntry) -> None:
        """Start a timer; work by hand may go on beside a program that runs, otherwise one thing at a time.

        Parameters
        ----------
        entry : TimeEntry
            On what.
        """

        def action(log: ShopLog) -> str:
            for e in log.running(self.operator):
                if isinstance(e.record, TimeEntry) and bool(e.record.program) == bool(entry.program):
                    raise InputError(
                        Fault(f"{self.operator}'s timer runs on {e.record.subject}", "stop that one first")
                    )
            written, _ = start(log, entry, operator=self.operator, running="beside")
            return "; ".join((f"▶ Started: {entry.subject} ({self.operator})", *written.notes))

        self._write(action)

    def stop(self, number: int, done: bool = False) -> None:
        """Stop a timer, whoever started it.

        Parameters
        ----------
        number : int
            Of its entry.
        done : bool
            Whether the phase is finished.
        """

        def action(log: ShopLog) -> str:
            stopped, written = stop(log, operator=self.operator, entry=number, done=done)
            return "; ".join((f"■ Stopped: {stopped.says}", *written.notes))

        self._write(action)

    def undo(self) -> None:
        """Take the last entry of this operator back: a timer stopped by mistake runs on."""
        self._write(lambda log: f"↶ Taken back: {log.undo(operator=self.operator)[0].says}")

    def again(self) -> None:
        """Read jobs and log again."""
        with self._log() as log:
            self.jobs, self.faults = read_jobs(self.shop, log, self._wanted)
        self._write(lambda _: "")

    def units(self) -> None:
        """Show the other system of units."""
        self.system = "metric" if self.system == "inch" else "inch"
        self._show()

    def _write(self, action: Callable[[ShopLog], str]) -> None:
        with self._log() as log:
            try:
                self.said = action(log)
            except InputError as e:
                self.said = "; ".join(f"✗ Not done: {f.message}: {f.remedy}" for f in e.faults)
            self.page = today(self.jobs, log)
        self._show()

    # --- what is shown ---

    def _show(self) -> None:
        groups = (self._who(), self._timers(), self._loads(), self._hand(), self._looks_back(), self._foot())
        self.view.children = [w for group in groups for w in group]

    def _who(self) -> list[Any]:
        row = []
        for name in self.operators:
            chosen = name == self.operator
            row.append(_button(f"✓ {name}" if chosen else name, partial(self.choose, name), "who is at the machine"))
            if chosen:
                row[-1].add_class("shop-chosen")
        other = "millimetres" if self.system == "inch" else "inches"
        row.append(_button(f"show {other}", self.units, "units"))
        row.append(_button("↻ read again", self.again, "read jobs and log again"))
        said = f'<p class="shop-said" role="status">{html.escape(self.said)}</p>' if self.said else ""
        wrong = "".join(f"<p>⚠ {html.escape(f'{f.message}: {f.remedy}')}</p>" for f in self.faults)
        head = widgets.HTML(f"{_STYLE}<p>{CAUTION}</p>{wrong}{said}")
        return [widgets.HBox(row, layout=widgets.Layout(flex_flow="row wrap")), head]

    def _timers(self) -> list[Any]:
        out: list[Any] = [widgets.HTML(f"<h3>Running: {len(self.page.timers) or 'nothing'}</h3>")]
        for e in self.page.timers:
            out += self._timer(e)
        return out

    def _timer(self, e: Entry) -> list[Any]:
        t = e.record
        assert isinstance(t, TimeEntry)
        assert t.began is not None
        since = f"since {shown_moment(t.began, t.utc_offset or 0)[11:16]}, {e.whose}"
        row = [_button(f"■ STOP  {_named(t)} ({since})", partial(self.stop, e.id), "ends this timer", "shop-stop")]
        if not t.program and t.phase:
            tip = "ends this timer; the phase's hours count from now on"
            row.append(_button(f"■ STOP, all of {t.phase} done", partial(self.stop, e.id, True), tip, "shop-stop"))
        return row

    def _loads(self) -> list[Any]:
        page = self.page
        bound, alone = sum(x.bound for x in page.next), sum(x.alone for x in page.next)
        head = (
            f"<h3>Next loads</h3><p>{len(page.done)} of {len(page.loads)} done; left: "
            f"{write_time(bound)} attended, {write_time(alone)} unattended.</p>"
        )
        struck = "".join(f"<p><s>{html.escape(_named(x.entry))}</s> ✓ done</p>" for x in page.done[-3:])
        out: list[Any] = [widgets.HTML(head + struck)]
        batches, rows = page.batches[:_SHOWN], []
        for i, batch in enumerate(batches):
            x, kind = batch[0], "" if i else "shop-start"
            begin = "▶ start" if i else "▶ START"
            out.append(_button(f"{begin}  {_named(x.entry)} of {x.of}", partial(self.start, x.entry), _tip(x), kind))
            bound, alone = sum(y.bound for y in batch), sum(y.alone for y in batch)
            what = f"{x.program}, {x.part} ({x.station})"
            rows.append((what, str(len(batch)), _kept(bound), _kept(alone)))
        if rows:
            head_row = ("program, part (station)", "loads left", "attended", "alone")
            out.append(widgets.HTML(table("Minutes of these", head_row, rows) + self._fetch()))
        return out

    def _fetch(self) -> str:
        rows = []
        for key in self.page.cutters(_SHOWN):
            c = self.shop.cutters[key]
            rows.append((key, c.title, write(c.diameter, "length", self.system)))
        return table("Cutters to fetch for them", ("cutter", "what it is", "diameter"), rows, words=(1,))

    def _hand(self) -> list[Any]:
        out: list[Any] = []
        for h in self.page.hand_work[:3]:
            text = f"▶ start  {h.task}, {write_time(h.seconds)} beside {h.program} ({h.job})"
            out.append(_button(text, partial(self.start, TimeEntry(h.job, phase=h.phase)), f"phase {h.phase}"))
        none = "" if out else "<p>Nothing: no program left runs by itself long enough.</p>"
        return [widgets.HTML(f"<h3>By hand while the machine runs alone</h3>{none}"), *out]

    def _looks_back(self) -> list[Any]:
        page = self.page
        rows = [
            (f"{m.what} ({m.job})", _kept(m.logged), _kept(m.planned), f"{_arrow(m.ratio)} {m.ratio:.2f}")
            for m in page.misses[:5]
        ]
        head = ("program or phase", "logged", "planned", "ratio")
        text = table(f"Logged against planned on {page.day}", head, rows) if rows else "<p>Nothing logged before.</p>"
        first = page.measure[0] if page.measure else None
        text += "<h3>Measure this next</h3>"
        text += (
            "<p>Every number left has a time by the clock.</p>"
            if first is None
            else f"<p><b>{html.escape(first.what)}</b> ({html.escape(first.job)}): {first.hours:.1f} h planned, never "
            f"timed, may be off by {first.spread:.0%}: {first.cost:.1f} h either way.</p>"
        )
        out: list[Any] = [widgets.HTML(f"<h3>Misses of the last day</h3>{text}")]
        if first is not None and first.phase != "machining":
            call = partial(self.start, TimeEntry(first.job, phase=first.phase))
            out.append(_button(f"▶ start  {first.phase} ({first.job})", call, "time it"))
        return out

    def _foot(self) -> list[Any]:
        return [_button("↶ take my last entry back", self.undo, "a timer stopped by mistake runs on")]


def _button(text: str, call: Callable[[], None], tip: str, kind: str = "") -> widgets.Button:
    out = widgets.Button(description=text, tooltip=tip, layout=widgets.Layout(width="auto"))
    if kind:
        out.add_class(kind)
    out.on_click(lambda _: call())
    return out


def _named(t: TimeEntry) -> str:
    if not t.program:
        return f"{t.phase} ({t.job})"
    return f"{t.program}, {t.part}, load {t.load}" if t.load else t.program


def _tip(x: ShopLoad) -> str:
    return f"{x.job}, {x.station}: {write_time(x.bound)} attended, {write_time(x.alone)} unattended"


def _kept(seconds: float) -> str:
    """A time that no line parts from its unit."""
    return re.sub(r"(?<=\d) (?=[a-z])", "\u00a0", write_time(seconds))


def _arrow(ratio: float) -> str:
    return "▲ over" if ratio > 1.05 else "▼ under" if ratio < 0.95 else "= as planned"
