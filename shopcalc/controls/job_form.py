"""A form that writes a job file: every key of it with its unit, faults beside their fields, price and drawing live."""

from __future__ import annotations

import html
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import ipywidgets as widgets

from shopcalc.controls.outcome import Outcome, fault_list
from shopcalc.controls.parts import heading, note
from shopcalc.controls.record_fields import ROW, RecordFields
from shopcalc.controls.table_list import TableList
from shopcalc.errors import Fault, InputError
from shopcalc.frames import Frame, Layout
from shopcalc.job_file import OpenJobFile, new_job
from shopcalc.jobs.records import Heading, PhaseEntry
from shopcalc.shop import PHASES, Shop
from shopcalc.units import System, write

_SLOW = 3.0  # s from which the price waits for its button
_MAIN = (
    "id", "title", "quantity", "material", "panel_material", "width", "height", "thickness", "stile", "top_rail",
    "bottom_rail", "middle_rails", "muntin", "muntins", "foot", "arch", "joint", "panel",
)  # fmt: skip
_LENGTHS = (
    "stile", "muntin", "mortise", "mortise_depth", "haunch", "gap", "clearance", "edge_clearance", "end_gap",
    "groove", "groove_depth",
    "panel_thickness", "border", "rim", "clearance_along", "clearance_across",
)  # fmt: skip
_CUTTERS = ("groove_cutter", "mortise_cutter", "tenon_cutter", "raise_cutter", "outline_cutter")


class JobForm:
    """Fields for a job file; what is typed is checked at once and written when asked.

    Parameters
    ----------
    shop : Shop
        Whose machines, woods, cutters and rates count.
    path : Path or str
        Of the file; one that is not there is begun from an example.

    Raises
    ------
    InputError
        When it is no TOML file.
    """

    def __init__(self, shop: Shop, path: Path | str) -> None:
        self.shop, self.path = shop, Path(path)
        if not self.path.exists():
            new_job(self.path, self.path.stem.replace("-", " ").capitalize(), shop)
        self.file = OpenJobFile(self.path, shop)
        self.outcome, self._priced = Outcome(), False
        self._build()
        self._changed()
        self._conflict(self.file.changed_on_disk)
        if self.file.taken_up:
            self.progress.value = note("What had not been written last time was taken up again; undo goes back.")

    def _build(self) -> None:
        file, changed = self.file, self._changed
        self.heading_fields = RecordFields(Heading, ("job",), file, lambda _: changed(), self._offers())
        rest = [k for k in Frame.model_fields if k not in _MAIN]
        self.frames = TableList("frame", ("frames",), file, changed, self._offers, [*_MAIN, *rest])
        self.parts = TableList("part", ("parts",), file, changed, self._offers)
        self.programs = TableList("program", ("programs",), file, changed, self._offers)
        self.loads = TableList("load", ("loads",), file, changed, self._offers)
        self.hardware = TableList("hardware", ("hardware",), file, changed, self._offers)
        self.phases = _PhaseFields(file, changed)
        self._lists = (self.frames, self.parts, self.programs, self.loads, self.hardware)
        self.section = widgets.ToggleButtons(
            options=["job", "frames", "parts", "programs", "loads", "hardware", "hours"], description="section",
            style={"button_width": "6.5em"},
        )  # fmt: skip
        self.section.observe(lambda _: self._turn(), names="value")
        buttons = ("undo", "write the file", "price it now", "read the file again", "write over it")
        self.undo_button, self.write_button, self.price_button, self.read_button, self.over_button = (
            widgets.Button(description=words, layout=widgets.Layout(width="12em")) for words in buttons
        )
        calls = (self.undo, self.write, self._show_outcome, self.read_again, lambda: self.write(over=True))
        for button, call in zip(
            (self.undo_button, self.write_button, self.price_button, self.read_button, self.over_button), calls,
            strict=True,
        ):  # fmt: skip
            button.on_click(lambda _, call=call: call())
        self.follow = widgets.Checkbox(value=True, description="price and drawing follow", indent=False)
        self.faults, self.progress, self.state = widgets.HTML(), widgets.HTML(), widgets.HTML()
        self._pane = widgets.VBox()
        o = self.outcome
        ours = [self.undo_button, self.write_button, self.price_button, self.follow]
        self.view = widgets.VBox(
            [
                widgets.HTML(heading("Job file")),
                self.state,
                o.answer,
                widgets.Box(ours, layout=ROW),
                widgets.Box([self.read_button, self.over_button], layout=ROW),
                self.progress,
                self.section,
                self._pane,
                self.faults,
                o.drawing,
                o.hours_figure,
                o.tables,
                o.remarks,
            ]
        )  # fmt: skip
        self._turn()
        self._conflict(False)

    def _turn(self) -> None:
        """Show the chosen section."""
        words = {
            "job": "* is needed. A price or a size carries its unit; an empty field leaves the shop's usual.",
            "frames": "A frame becomes parts, operations, programs and loads by itself. Rails: a width, a count, or "
            'a list such as [{ width = "5 in", from_foot = "34 in" }].',
            "parts": "Finished sizes. Parts of frames are not here: they come of the frame.",
            "programs": "A program runs operations at a station; one without a file is planned from the dimensions.",
            "loads": "Only loads that differ from one for each piece.",
            "hardware": "What is bought, for one finished piece.",
            "hours": 'Hours you know better than the standard times: "9 h", or { hours_each = "9 h" }.',
        }
        chosen = self.section.value
        fields: Any = {"job": self.heading_fields, "hours": self.phases}.get(chosen) or getattr(self, chosen)
        self._pane.children = (widgets.HTML(note(words[chosen])), fields.view)

    def _offers(self) -> Mapping[str, Sequence[str]]:
        """Names that may be meant, by key."""
        shop, cutters = self.shop, list(self.shop.cutters)

        def ids(table: str) -> list[str]:
            found = self.file.get(table, [])
            return [str(e["id"]) for e in found if isinstance(e, dict) and e.get("id")]

        job = self.file.job
        framed = job is not None and job.expansion is not None
        parts = [p.id for p in job.parts] if job is not None and framed else ids("parts")
        programs = [p.id for p in job.programs] if job is not None and framed else ids("programs")
        woods = list(shop.rates.materials)
        keys = ("cutter", "rough_cutter", "clean_cutter", "ground_cutter", *_CUTTERS)
        return {
            "machine": list(shop.machines), "material": woods, "panel_material": woods, "program": programs,
            "part": parts, **dict.fromkeys(keys, cutters),
        }  # fmt: skip

    # --- what was changed ---------------------------------------------------------------------------------------------

    def set(self, place: str, value: Any) -> None:
        """Change a value as if it had been typed.

        Parameters
        ----------
        place : str
            "frames[0].width".
        value : object
            As the file says it.

        Raises
        ------
        InputError
            When there is no such table.
        """
        self.file.set(place, value)
        self._changed()

    def undo(self) -> None:
        """Take the last change back."""
        self.file.undo()
        self._changed()

    def read_again(self) -> None:
        """Take over what somebody else wrote into the file; undo brings ours back."""
        try:
            self.file.read_again()
        except InputError as e:
            self.faults.value = fault_list(e.faults, "Not read:")
            return
        self._conflict(False)
        self._changed()

    def write(self, over: bool = False) -> None:
        """Write the file, and keep the version it had.

        Parameters
        ----------
        over : bool
            Also over what somebody else wrote meanwhile, which is kept.
        """
        try:
            kept = self.file.write(over=over)
        except InputError as e:
            self.faults.value = fault_list(e.faults, "Not written:")
            self._conflict(self.file.changed_on_disk)
            return
        self._conflict(False)
        self._tell_state()
        where = "" if kept is None else f"; the version before is kept as {kept.parent.name}/{kept.name}"
        self.progress.value = note("There was nothing to write." if kept is None else f"Written{where}.")

    def _conflict(self, yes: bool) -> None:
        for button in (self.read_button, self.over_button):
            button.layout.display = None if yes else "none"

    def _changed(self) -> None:
        """Show what the file says now, its faults, and what comes of it."""
        self.progress.value = ""
        self.heading_fields.fill()
        self.phases.fill()
        for one in self._lists:
            one.refresh()
        self._hints()
        self._say(self.file.faults)
        self._tell_state()
        if self.file.job is None and self.outcome.price is not None:
            self.progress.value = note("Price and drawing are those of the last version that can be quoted.")
        elif self.follow.value:
            self._show_outcome()

    def _tell_state(self) -> None:
        self.undo_button.disabled = not self.file.can_undo
        state = "changed, not written yet" if self.file.unwritten else "as written"
        self.state.value = f'<div role="status">{html.escape(self.path.name)}: {state}</div>'

    def _say(self, faults: Sequence[Fault], title: str = "This cannot be quoted yet:") -> None:
        by_place: dict[str, list[Fault]] = {}
        for fault in faults:
            by_place.setdefault(fault.field or "", []).append(fault)
        self.heading_fields.say(by_place)
        self.phases.say(by_place)
        for one in self._lists:
            one.say(by_place)
        self.faults.value = fault_list(faults, title)

    def _hints(self) -> None:
        job, fields = self.file.job, self.frames.fields
        if job is None or job.expansion is None or fields is None:
            return
        number = fields.place[1]
        assert isinstance(number, int)
        fields.hint(_usual(job.expansion.layouts[number], job.system))

    def _show_outcome(self) -> None:
        job = self.file.job
        if job is None:
            return
        begin = time.monotonic()
        try:
            self.outcome.show(job)
        except InputError as e:
            self._say(e.faults)
            return
        took, first, self._priced = time.monotonic() - begin, not self._priced, True
        if took > _SLOW and self.follow.value and not first:  # the first one also compiles
            self.follow.value = False
            self.progress.value = note(f"That took {took:.0f} s: from now on press the button for a new price.")


class _PhaseFields:
    """A field for the hours of each phase, said outright."""

    def __init__(self, file: OpenJobFile, changed: Callable[[], None]) -> None:
        from pydantic import create_model

        entries: Any = {phase: (PhaseEntry | None, None) for phase in PHASES}
        self._fields = RecordFields(create_model("Hours", **entries), ("phases",), file, lambda _: changed(), {})
        self.view = self._fields.view
        self.fill, self.say = self._fields.fill, self._fields.say


def _usual(laid: Layout, system: System) -> dict[str, str]:
    """What a frame's empty fields come to."""
    s = laid.sizes
    out = {key: write(getattr(s, key), "length", system) for key in _LENGTHS}
    rails = {"top_rail": s.rails[-1], "bottom_rail": s.rails[0]}
    out |= {key: write(value, "length", system) for key, value in rails.items()}
    return out | dict(zip(_CUTTERS, s.cutters, strict=True))


def job_form(shop: Shop, path: Path | str) -> JobForm:
    """The form for a job file, to be shown by ``.view``.

    Parameters
    ----------
    shop : Shop
        The shop.
    path : Path or str
        Of the file; one that is not there is begun from an example.
    """
    return JobForm(shop, path)
