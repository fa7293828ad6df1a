"""The trainer's view in a notebook: who may run what, where people go wrong, what to do next; and a page to print."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import ipywidgets as widgets

from shopcalc import lessons
from shopcalc.controls.parts import heading, note, table
from shopcalc.controls.sign_off import NO_LOG, ShopChooser, button, to_print
from shopcalc.documents.blocks import Figure, Table
from shopcalc.errors import InputError
from shopcalc.shop import Shop
from shopcalc.shoplog import Moment, ShopLog, now
from shopcalc.shoplog.store import FILE
from shopcalc.training import NEEDED, Training, training


class TrainingControl:
    """What the log says of everybody's lessons.

    Parameters
    ----------
    shop : Shop, Path, str or None
        Whose log; None takes a folder "my-shop" here or above, if there is one.
    clock : callable
        Gives the present moment.
    """

    def __init__(self, shop: Shop | Path | str | None = None, clock: Callable[[], Moment] = now) -> None:
        self._clock = clock
        self._chooser = ShopChooser(shop, self.update)
        self.folder = self._chooser.folder
        self.again_button = button("look again", self.update, "reads the log anew")
        self.print_button = button("print it", self.print_page, "gives it as a page to print")
        self.said, self.page, self.tables = widgets.HTML(), widgets.HTML(), widgets.HTML()
        self.found: Training | None = None
        buttons = widgets.HBox([self.again_button, self.print_button])
        self.view = widgets.VBox([widgets.HTML(heading("The trainer's view")), self.folder, buttons, self.said,
                                  self.page, self.tables])  # fmt: skip
        self.update()

    def update(self) -> None:
        """Read the log and show it."""
        self.found, self.page.value, self.tables.value = None, "", ""
        self.said.value = note(self._read())
        if self.found is not None and self.found.steps:
            shown = (*self.found.tables(), _done(self.found))
            self.tables.value = "".join(_table(t) for t in shown)

    def _read(self) -> str:
        shop = self._chooser.shop
        if shop is None:
            return f"{self._chooser.fault}." if self._chooser.fault else NO_LOG
        if not (shop.folder / FILE).exists():
            return "Nothing is logged yet: write your name in a lesson and answer."
        try:
            with ShopLog.of(shop.folder, clock=self._clock) as log:
                self.found = training(log, {name: m.title or name for name, m in shop.machines.items()})
        except InputError as e:
            return str(e)
        return (
            "" if self.found.steps else "Nobody has answered an exercise yet: write your name in a lesson and answer."
        )

    def print_page(self) -> None:
        """Give it as a page to print."""
        if self.found is not None:
            self.page.value = to_print(self.found.as_document(), "training")


def _done(found: Training) -> Table:
    """Who has done which lesson."""
    scores = {(p, s.lesson): s for p, mine in found.scores.items() for s in mine}
    signed = {(r.person, key) for r in found.rights for key in r.signed if r.holding(key)}
    rows = []
    for key, title in lessons.LESSONS.items():
        cells = []
        for p in found.steps:
            s = scores.get((p, key))
            state = "–" if s is None else "✓ passed" if lessons.passed(s).passed else f"{len(s.attempts)} answered"
            cells.append("✓✓ signed" if (p, key) in signed else state)
        rows.append((title + (" (needed)" if key in NEEDED else ""), *cells))
    return Table("Who has done which lesson", ("lesson", *found.steps), tuple(rows))


def _table(t: Table) -> str:
    rows = [[c.text if isinstance(c, Figure) else str(c) for c in row] for row in t.rows]
    words = [k for k in range(len(t.head)) if k not in t.numbers]
    return table(t.title, t.head, rows, words=words) + "".join(note(b) for b in t.below)


def training_control(shop: Shop | Path | str | None = None) -> TrainingControl:
    """The trainer's view, to be shown by ``.view``.

    Parameters
    ----------
    shop : Shop, Path, str or None
        Whose log; None takes a folder "my-shop" here or above, if there is one.
    """
    return TrainingControl(shop)
