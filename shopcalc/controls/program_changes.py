"""Two further controls of notebook 03: which change of a program buys most, and what differs between two versions."""

from __future__ import annotations

from typing import TYPE_CHECKING

import ipywidgets as widgets
import plotly.graph_objects as go

from shopcalc.comparing import Comparison, compare
from shopcalc.controls.parts import GREY, HUE, PALE, big, choice, figure, note, table
from shopcalc.controls.path_picture import WIDTH
from shopcalc.errors import InputError
from shopcalc.gains import Findings, examine
from shopcalc.units import write_time

if TYPE_CHECKING:
    from shopcalc.controls.program_time import ProgramTimeControl

_NOTHING = "no program could be read"


class SavingsControl:
    """Every change tried on one program, on the machine as the limits have it now, most seconds first.

    Parameters
    ----------
    timing : ProgramTimeControl
        Whose programs and machine are meant; followed when its limits change.
    """

    def __init__(self, timing: ProgramTimeControl) -> None:
        self._timing = timing
        names = list(timing.programs)
        self.program = choice("to be changed", [(n, n) for n in names], timing.shown.value, self.update, "46em")
        self.figure = figure(
            [
                go.Bar(x=[], y=[], orientation="h", name="the cut stays as it is", marker={"color": HUE}),
                go.Bar(
                    x=[], y=[], orientation="h", name="the cutter's limits come first",
                    marker={"color": PALE, "line": {"color": HUE, "width": 1.5}, "pattern": {"shape": "/"}},
                ),
            ],
            title={"text": "Seconds saved in each run"}, height=330, width=WIDTH, barmode="overlay", showlegend=True,
            legend={"orientation": "h", "y": -0.22, "yanchor": "top", "x": 0},
            xaxis={"title": {"text": "seconds saved", "standoff": 4}, "rangemode": "tozero"},
            yaxis={"autorange": "reversed", "automargin": True, "type": "category"},
            margin={"t": 50, "b": 90, "l": 10, "r": 20},
        )  # fmt: skip
        self.answer, self.table, self.no_help = (widgets.HTML() for _ in range(3))
        self.view = widgets.VBox([self.program, self.answer, self.figure, self.table, self.no_help])
        timing.when_timed(self.update)
        self.update()

    def update(self) -> None:
        """Try the changes anew and show them."""
        self.findings: Findings | None = None
        name = self.program.value
        if name is None:
            self._say(_NOTHING)
            return
        try:
            found = examine(
                self._timing.programs[name].moves, self._timing.present_machine(), system=self._timing.system
            )  # fmt: skip
        except InputError as fault:
            self._say(f"{name}: {fault}")
            return
        self.findings = found
        best = found.savings[0] if found.savings else None
        text = f"{name}: {write_time(found.seconds)}; "
        if best is None:
            text += "no change that was tried helps"
        else:
            text += f"{best.name} would save {write_time(best.seconds_saved)}"
            text += "" if best.same_cut else ", once the cutter's limits allow it"
        if found.together is not None:
            text += f"; all that leaves the cut as it is, {write_time(found.together.seconds_saved)}"
        self._say(text)

    def _say(self, text: str) -> None:
        self.answer.value = big(text)
        savings = self.findings.savings if self.findings else ()
        with self.figure.change() as f:
            for bar, same in zip(f.data, (True, False), strict=True):
                chosen = [s for s in savings if s.same_cut == same]
                bar.x, bar.y = [s.seconds_saved for s in chosen], [s.name for s in chosen]
            f.layout.yaxis.categoryarray = [s.name for s in savings]
            f.layout.height = 190 + 34 * max(3, len(savings))
        rows = [[s.name, f"{s.seconds_saved:.1f}", s.change, s.check] for s in savings]
        head = ["change", "saves, s", "what to change", "check first"]
        self.table.value = table("Each change made and timed again", head, rows, words=(2, 3)) if rows else ""
        tried = self.findings.tried if self.findings else ()
        self.no_help.value = "".join(note(f"no help: {t.name}: {t.reason}") for t in tried)


class ComparisonControl:
    """Two programs side by side: minutes by what the machine does, and what changed in words.

    Parameters
    ----------
    timing : ProgramTimeControl
        Whose programs and machine are meant; followed when its limits change.
    """

    def __init__(self, timing: ProgramTimeControl) -> None:
        self._timing = timing
        names = list(timing.programs)
        options = [(n, n) for n in names]
        first = names[0] if names else None
        self.before = choice("before", options, first, self.update, "46em")
        self.after = choice("after", options, names[1] if len(names) > 1 else first, self.update, "46em")
        self.figure = figure(
            [
                go.Bar(x=[], y=[], orientation="h", name="before", marker={"color": GREY}, textposition="auto"),
                go.Bar(x=[], y=[], orientation="h", name="after", marker={"color": HUE}, textposition="auto"),
            ],
            title={"text": "Minutes before and after"}, height=360, width=WIDTH, showlegend=True,
            legend={"orientation": "h", "y": -0.2, "yanchor": "top", "x": 0, "traceorder": "normal"},
            xaxis={"title": {"text": "minutes", "standoff": 4}, "rangemode": "tozero"},
            yaxis={"autorange": "reversed", "automargin": True, "type": "category"},
            margin={"t": 50, "b": 90, "l": 10, "r": 20},
        )  # fmt: skip
        self.answer, self.table, self.words = (widgets.HTML() for _ in range(3))
        self.view = widgets.VBox([self.before, self.after, self.answer, self.figure, self.table, self.words])
        timing.when_timed(self.update)
        self.update()

    def update(self) -> None:
        """Compare anew and show it."""
        self.comparison: Comparison | None = None
        a, b = self.before.value, self.after.value
        if a is None or b is None:
            self.answer.value = big(_NOTHING)
            return
        programs, machine = self._timing.programs, self._timing.present_machine()
        c = self.comparison = compare(programs[a].moves, programs[b].moves, machine)
        first, *others = c.sentences(self._timing.system)
        self.answer.value = big(first)
        self.words.value = "".join(note(line) for line in others)
        kinds = [k for k, pair in c.by_kind.items() if any(s != 0 for s in pair)]
        with self.figure.change() as f:
            for bar, side in zip(f.data, (0, 1), strict=True):
                minutes = [c.by_kind[k][side] / 60 for k in kinds]
                bar.x, bar.y, bar.text = minutes, kinds, [_minutes(60 * m) for m in minutes]
        rows = [[k, *(_minutes(s) for s in c.by_kind[k]), _minutes(c.by_kind[k][1] - c.by_kind[k][0])] for k in kinds]
        last = ["together", *(_minutes(s) for s in c.seconds), _minutes(c.seconds[1] - c.seconds[0])]
        head = ["what", "before, min", "after, min", "more, min"]
        self.table.value = table("The same in figures", head, rows, last)


def _minutes(seconds: float) -> str:
    return "unknown" if seconds != seconds else f"{seconds / 60:.2f}"
