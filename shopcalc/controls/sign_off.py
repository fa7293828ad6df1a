"""Who learns, in which shop's log it is kept, the sign-off of a lesson, and its record to print."""

from __future__ import annotations

import base64
import datetime
import html
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import ipywidgets as widgets

from shopcalc import lessons
from shopcalc.controls.parts import big, heading, note
from shopcalc.documents.blocks import Document
from shopcalc.documents.page import as_page
from shopcalc.errors import Fault, InputError
from shopcalc.lessons.keeping import day
from shopcalc.shop import Shop, demo_folder
from shopcalc.shoplog import Moment, ShopLog, now

_USUAL = "my-shop"  # a folder of this name, here or above, is offered at first
NO_LOG = (
    "Nothing is kept: the demo shop takes no log. For a shop of your own, say in a terminal: shopcalc new my-shop. "
    "Then write its folder above."
)
_NO_NAME = "Nothing is kept yet: write your name above, and each first answer goes into the shop's log."


def found_folder(text: str) -> Path | None:
    """A shop's folder by its name, looked for here and in the folders above.

    Parameters
    ----------
    text : str
        Path, or name of a folder.

    Returns
    -------
    Path or None
        The nearest that holds a shop; None for none.
    """
    given = Path(text).expanduser()
    here = Path.cwd()
    return next((p / given for p in (here, *here.parents) if (p / given / "machines.toml").is_file()), None)


def open_shop(text: str) -> Shop | None:
    """The shop in a folder; None for an empty text.

    Parameters
    ----------
    text : str
        Path, or name of a folder here or above.

    Raises
    ------
    InputError
        When there is no shop, or it is the demo shop, which takes no log.
    """
    if not text.strip():
        return None
    folder = found_folder(text.strip())
    if folder is None:
        raise InputError(Fault(f"there is no shop in '{text.strip()}'", "make one with: shopcalc new my-shop"))
    if folder.resolve() == demo_folder().resolve():
        raise InputError(Fault("the demo shop takes no log", "make your own with: shopcalc new my-shop"))
    return Shop.open(folder)


def button(name: str, call: Callable[[], Any], tip: str, width: str = "11em") -> widgets.Button:
    """A button that calls without arguments.

    Parameters
    ----------
    name, tip : str
        On it, and what it does.
    call : callable
        When pressed.
    width : str
        As CSS writes it.

    Returns
    -------
    Button
    """
    out = widgets.Button(description=name, tooltip=tip, layout=widgets.Layout(width=width))
    out.on_click(lambda _: call())
    return out


def to_print(document: Document, name: str) -> str:
    """A link that gives a document as a page to print, without a file on this computer's disk.

    Parameters
    ----------
    document : Document
        Any.
    name : str
        Of the file, without its ending.

    Returns
    -------
    str
        HTML.
    """
    data = base64.b64encode(as_page(document).encode()).decode()
    safe = "".join(c if c.isalnum() else "-" for c in name.lower())
    return (
        f'<a class="shop-print" style="color:#0b5a8a;text-decoration:underline;font-weight:600" '
        f'download="{html.escape(safe)}.html" href="data:text/html;base64,{data}">'
        f"Save {html.escape(document.title)}</a>, then open it and print it."
    )


class ShopChooser:
    """The folder of the shop whose log is meant.

    Parameters
    ----------
    shop : Shop, Path, str or None
        At first; None takes a folder "my-shop" where there is one.
    changed : callable
        Called when another is meant.
    """

    def __init__(self, shop: Shop | Path | str | None, changed: Callable[[], None]) -> None:
        usual = "" if found_folder(_USUAL) is None else _USUAL
        text = usual if shop is None else str(shop.folder if isinstance(shop, Shop) else shop)
        self.folder = widgets.Text(
            value=text, description="shop's folder", placeholder="none: nothing is kept", continuous_update=False,
            style={"description_width": "9em"}, layout=widgets.Layout(width="34em"),
        )  # fmt: skip
        self._changed = changed
        self.folder.observe(lambda _: self._open(), names="value")
        self.fault = ""
        self.shop: Shop | None = None
        self._read()

    def _read(self) -> None:
        self.shop, self.fault = None, ""
        try:
            self.shop = open_shop(self.folder.value)
        except InputError as e:
            self.fault = str(e)

    def _open(self) -> None:
        self._read()
        self._changed()


class SignOffForm:
    """The parts of a lesson's face that have to do with the log.

    Parameters
    ----------
    lesson : str
        Key of ``lessons.LESSONS``.
    score : callable
        Gives the present score.
    changed : callable
        Called when another person or shop is meant.
    shop : Shop, Path, str or None
        At first.
    person : str
        At first.
    clock : callable
        Gives the present moment.
    """

    def __init__(
        self, lesson: str, score: Callable[[], lessons.Score], changed: Callable[[], None],
        shop: Shop | Path | str | None, person: str, clock: Callable[[], Moment] = now,
    ) -> None:  # fmt: skip
        self.lesson, self._score, self._changed, self._clock = lesson, score, changed, clock
        named, wide = {"description_width": "9em"}, widgets.Layout(width="34em")
        self._chooser = ShopChooser(shop, self._renew)
        self.folder = self._chooser.folder
        self.person = widgets.Text(value=person, description="who learns", placeholder="your name", style=named,
                                   layout=wide, continuous_update=False)  # fmt: skip
        self.machine = widgets.Dropdown(description="machine", style=named, layout=wide)
        self.date = widgets.DatePicker(value=self.today, description="date", style=named, layout=wide)
        self.signed_by = widgets.Text(description="who signs", placeholder="who watched at the machine", style=named,
                                      layout=wide, continuous_update=False)  # fmt: skip
        self.sign_button = button("sign off", self.sign, "writes the sign-off into the shop's log")
        self.print_button = button("print the record", self.print_record, "gives the record as a page to print")
        self.kept, self.said, self.page = widgets.HTML(), widgets.HTML(), widgets.HTML()
        self.person.observe(lambda _: self._renew(), names="value")
        self.machine.observe(lambda _: self.tell(), names="value")
        self.who = widgets.VBox([self.folder, self.person, self.kept])
        rules = "".join(note(r) for r in (*lessons.RETAKE_RULES, *lessons.NOT_A_LICENCE))
        self.view = widgets.VBox(
            [widgets.HTML(heading("Sign-off, by whoever watched at the machine")), self.machine, self.date,
             self.signed_by, widgets.HBox([self.sign_button, self.print_button]), self.said, self.page,
             widgets.HTML(rules)]
        )  # fmt: skip
        self._machines()
        self.tell()

    @property
    def today(self) -> datetime.date:
        """By the clock."""
        return day(self._clock().utc)

    @property
    def ready(self) -> bool:
        """Whether answers are kept."""
        return self._chooser.shop is not None and bool(self.person.value.strip())

    def log(self) -> ShopLog:
        """The shop's log, open.

        Raises
        ------
        InputError
            When there is none, or nobody is named.
        """
        if self._chooser.shop is None:
            raise InputError(Fault(self._chooser.fault or "the demo shop takes no log",
                                   "say in a terminal: shopcalc new my-shop; then write my-shop above"))  # fmt: skip
        if not self.person.value.strip():
            raise InputError(Fault("nobody is named who learns", "write the name above"))
        return ShopLog.of(self._chooser.shop.folder, clock=self._clock)

    def _machines(self) -> None:
        shop = self._chooser.shop or Shop.open()
        before = self.machine.value
        self.machine.options = [(m.title or name, name) for name, m in shop.machines.items()]
        names = [*shop.machines]
        self.machine.value = before if before in names else next(iter(names), None)

    def _renew(self) -> None:
        self.said.value = self.page.value = ""
        self._machines()
        self._changed()
        self.tell()

    def tell(self) -> None:
        """Say where answers go, and what is signed already."""
        if self._chooser.shop is None:
            said = f"{self._chooser.fault}." if self._chooser.fault else NO_LOG
        elif not self.ready:
            said = _NO_NAME
        else:
            said = f"Each first answer of {self.person.value.strip()} is kept in the shop's log. {self._signed()}"
        self.kept.value = note(said)

    def _signed(self) -> str:
        try:
            with self.log() as log:
                found = lessons.signed(log).get((self.person.value.strip(), str(self.machine.value or ""), self.lesson))
        except InputError as e:
            return f"✗ It cannot be: {e}"
        where = self.machine.label
        if found is None:
            return f"No sign-off yet on {where}."
        state = found.state(self.today)
        upto = "it has lapsed" if state == "lapsed" else f"it holds until {found.until}"
        return f"Signed on {found.date} by {found.record.signed_by} on {where}: {upto}."

    def sign(self) -> None:
        """Write the sign-off into the log, or say what stands in its way."""
        try:
            with self.log() as log:
                kept = lessons.keep_sign_off(
                    log, self._score(), self.person.value, str(self.machine.value or ""), self.date.value or self.today,
                    self.signed_by.value,
                )  # fmt: skip
        except InputError as e:
            self.said.value = big("✗ NOT SIGNED.") + "".join(note(str(f)) for f in e.faults)
            return
        self.said.value = big(f"✓ SIGNED: {self.person.value.strip()} on {self.machine.label}, entry {kept.entry}.")
        self.tell()

    def print_record(self) -> None:
        """Give the record of all this person's lessons as a page to print."""
        try:
            scores, signatures = self._all()
            document = lessons.record_page(
                self.person.value, scores, self.date.value or self.today, signatures, str(self.machine.label or "")
            )
        except InputError as e:
            self.page.value = "".join(note(str(f)) for f in e.faults)
            return
        self.page.value = to_print(document, f"lessons-of-{self.person.value}")

    def _all(self) -> tuple[Sequence[lessons.Score], dict[str, str]]:
        if not self.ready:
            return [self._score()], {}
        person = self.person.value.strip()
        with self.log() as log:
            scores = [lessons.score_of(log, person, key) for key in lessons.LESSONS]
            found = lessons.signed(log)
        signatures = {
            key: f"{s.record.signed_by}, {s.date}" + ("" if s.state(self.today) != "lapsed" else ", lapsed")
            for (who, machine, key), s in found.items() if (who, machine) == (person, self.machine.value)
        }  # fmt: skip
        return [s for s in scores if s.attempts or s.lesson in signatures or s.lesson == self.lesson], signatures
