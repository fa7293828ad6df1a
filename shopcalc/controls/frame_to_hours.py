"""Control of notebook 04: the sizes of a frame; its drawing, hours and price follow."""

from __future__ import annotations

import copy
import time
import tomllib
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import ipywidgets as widgets

from shopcalc.controls.outcome import Outcome, fault_list, said
from shopcalc.controls.parts import LENGTH, LONG, MeasuredControl, NumberControl, choice, heading, note
from shopcalc.errors import Fault, InputError
from shopcalc.frames.expansion import text as exact
from shopcalc.jobs import Job
from shopcalc.jobs.reading import check_job
from shopcalc.reading import load_toml, read_file
from shopcalc.shop import Shop
from shopcalc.units import System, read

_JOINTS = ("plain", "haunched", "stepped", "paired")
_NONE = "none stands in the file"


class FrameControl:
    """Move the sizes of a job's first frame; see drawing, hours and price follow.

    Parameters
    ----------
    shop : Shop
        Whose cutters, machines and rates count.
    path : Path or str
        A job file with ``[[frames]]``; it is read, and written only when asked.

    Raises
    ------
    InputError
        When the file is refused, or holds no frame.
    """

    def __init__(self, shop: Shop, path: Path | str) -> None:
        self.shop, self.path = shop, Path(path)
        self._read()
        self.refused: tuple[Fault, ...] = ()
        self._calls: list[Callable[[], None]] = []
        self._undo: list[dict[str, Any]] = []
        self._quiet = True
        self.outcome = Outcome()
        self._build()
        self._state = self._states()
        self._quiet = False
        self.update()

    def _read(self) -> None:
        load_toml(self.path)
        self.text = read_file(self.path, "a job file")
        self.data: dict[str, Any] = tomllib.loads(self.text)
        job = check_job(self.data, str(self.path), self.shop)
        if job.expansion is None:
            raise InputError(Fault(_NONE, "add [[frames]], or take another file", file=str(self.path), field="frames"))
        self.job: Job = job

    # --- controls -----------------------------------------------------------------------------------------------------

    def _build(self) -> None:
        job = self.job
        assert job.expansion is not None
        laid = job.expansion.layouts[0]
        f, s, system = laid.frame, laid.sizes, job.system

        def size(name: str, value: float, low: float, high: float, long: bool = False) -> MeasuredControl:
            return MeasuredControl(name, value, low, max(high, 1.5 * value), LONG if long else LENGTH, system)

        self.units = choice("units", [("inch", "inch"), ("metric: mm", "metric")], system, self._change_units, "20em")
        self.width = size("width", f.width, 150.0, 1500.0, long=True)
        self.height = size("height", f.height, 150.0, 2500.0, long=True)
        self.thickness = size("thickness", f.thickness, 12.0, 60.0)
        self.stile = size("stiles, width", s.stile, 25.0, 180.0)
        self.top_rail = size("top rail, width", s.rails[-1], 25.0, 180.0)
        self.bottom_rail = size("bottom rail, width", s.rails[0], 25.0, 180.0)
        self.middle_rails = NumberControl("rails between them", len(s.rails) - 2, 0, 6, 1)
        self.muntins = NumberControl("muntins, each lower row", max(s.muntins), 0, 6, 1)
        self.arch = size("rise of the arch", f.arch, 0.0, 150.0)
        self.joint = choice("joint", [(j, j) for j in _JOINTS], f.joint, self.update, "20em")
        self.panel = choice("panels", [("raised", "raised"), ("flat", "flat")], f.panel, self.update, "20em")
        self.quantity = NumberControl("how many, of the whole job", job.quantity, 1, 60, 1)
        self._from_file = self._states()
        self.wrong = {name: widgets.HTML() for name in self._settings()}
        for name, control in self._settings().items():
            if not isinstance(control, widgets.Dropdown):
                control.observe(self.update)
            self.wrong[name].layout.margin = "0 0 0 1em"
        self.undo_button, self.write_button = (
            widgets.Button(description=words, layout=widgets.Layout(width=width))
            for words, width in (("undo", "7em"), ("write it into the job file", "16em"))
        )
        self.undo_button.disabled = True
        self.undo_button.on_click(lambda _: self.undo())
        self.write_button.on_click(lambda _: self.write())
        self.faults, self.progress = widgets.HTML(), widgets.HTML()
        self._put_together()

    def _put_together(self) -> None:
        def row(name: str) -> widgets.Box:
            control = self._settings()[name]
            shown = control if isinstance(control, widgets.Dropdown) else control.view
            return widgets.VBox([shown, self.wrong[name]])

        line = widgets.Layout(display="flex", flex_flow="row wrap", align_items="flex-start")
        numbers = [n for n, c in self._settings().items() if not isinstance(c, widgets.Dropdown)]
        o = self.outcome
        self.view = widgets.VBox(
            [
                widgets.HTML(heading("The frame")),
                widgets.Box([self.units, row("joint"), row("panel")], layout=line),
                *(row(n) for n in numbers),
                widgets.Box([self.undo_button, self.write_button, self.progress], layout=line),
                self.faults, o.answer, o.drawing, o.hours_figure, o.tables, o.remarks,
            ]
        )  # fmt: skip

    def _settings(self) -> Mapping[str, Any]:
        names = (
            "width", "height", "thickness", "stile", "top_rail", "bottom_rail", "middle_rails", "muntins", "arch",
            "quantity", "joint", "panel",
        )  # fmt: skip
        return {name: getattr(self, name) for name in names}

    def _states(self) -> dict[str, Any]:
        return {name: control.value for name, control in self._settings().items()}

    def observe(self, call: Callable[[], None]) -> None:
        """Call ``call()`` whenever another frame is shown.

        Parameters
        ----------
        call : callable
            Without arguments.
        """
        self._calls.append(call)

    def set(self, **values: Any) -> None:
        """Move several controls at once, then compute once.

        Parameters
        ----------
        **values : object
            By the control's name; a length as a text with its unit, or in the house's unit.

        Raises
        ------
        ValueError
            When there is no such control.
        """
        known = self._settings()
        if unknown := sorted(set(values) - set(known)):
            raise ValueError(f"no control is named {', '.join(unknown)}: there are {', '.join(known)}")
        with self._silently():
            for name, value in values.items():
                length = isinstance(known[name], MeasuredControl) and isinstance(value, str)
                known[name].value = read(value, "length") if length else value
        self.update()

    @contextmanager
    def _silently(self) -> Iterator[None]:
        quiet, self._quiet = self._quiet, True
        try:
            yield
        finally:
            self._quiet = quiet

    def undo(self) -> None:
        """Bring back the sizes before the last change."""
        if not self._undo:
            return
        before = self._undo.pop()
        with self._silently():
            for name, control in self._settings().items():
                control.value = before[name]
        self._state = self._states()
        self.update()

    @property
    def can_undo(self) -> bool:
        """Whether there is a change to take back."""
        return bool(self._undo)

    # --- computing ----------------------------------------------------------------------------------------------------

    def changes(self) -> dict[str, Any]:
        """What the file would have to say otherwise.

        Returns
        -------
        dict
            Place to value, as ``job_file`` takes them; only what was moved.
        """
        system: System = self.job.system
        moved = {n: v for n, v in self._states().items() if v != self._from_file[n]}
        frame, out = self.data["frames"][0], dict[str, Any]()
        for name, value in moved.items():
            if name == "quantity":
                out["job.quantity"] = round(value)
            elif name in ("top_rail", "bottom_rail") and isinstance(frame.get(name), dict):
                out[f"frames[0].{name}.width"] = exact(value, system)
            elif name in ("joint", "panel"):
                out[f"frames[0].{name}"] = value
            elif name == "middle_rails":
                out["frames[0].middle_rails"] = round(value)
            elif name != "muntins":
                out[f"frames[0].{name}"] = exact(value, system)
        if {"muntins", "middle_rails", "arch"} & set(moved):
            rows, each = round(self.middle_rails.value) + 1, round(self.muntins.value)
            out["frames[0].muntins"] = [*[each] * (rows - 1), 0 if self.arch.value > 0 else each]
        return out

    def update(self) -> None:
        """Lay the frame out anew, time it, price it."""
        if self._quiet:
            return
        begin = time.monotonic()
        now = self._states()
        if now != self._state:
            self._undo.append(self._state)
            del self._undo[:-50]
            self._state = now
        self.undo_button.disabled = not self._undo
        try:
            self.job = check_job(self._changed(), str(self.path), self.shop)
            self.outcome.show(self.job)
        except InputError as e:
            self._refuse(e.faults)
            return
        self._refuse(())
        self.progress.value = note(f"computed in {time.monotonic() - begin:.1f} s")
        for call in self._calls:
            call()

    def _changed(self) -> dict[str, Any]:
        from shopcalc.job_file import read_place

        data = copy.deepcopy(self.data)
        for place, value in self.changes().items():
            *above, key = read_place(place)
            table: Any = data
            for step in above:
                table = table[step]
            table[key] = value
        return data

    def _refuse(self, faults: tuple[Fault, ...]) -> None:
        """Say faults beside the controls they are about, the others below; the last frame that can be made stays."""
        self.refused = faults
        by_name: dict[str, list[Fault]] = {name: [] for name in self.wrong}
        others: list[Fault] = []
        for fault in faults:
            steps = (fault.field or "").replace("[", ".").split(".")
            key = steps[2] if steps[:1] == ["frames"] and len(steps) > 2 else steps[-1]
            (by_name.get(key, others)).append(fault)
        for name, own in by_name.items():
            self.wrong[name].value = "".join(f'<div role="alert">{note("✗ " + said(f))}</div>' for f in own)
        self.faults.value = fault_list(others, "Not so:")
        if faults:
            self.progress.value = note("below: the last frame that can be made")

    def _change_units(self) -> None:
        for control in self._settings().values():
            if isinstance(control, MeasuredControl):
                control.system = self.units.value

    def write(self) -> None:
        """Write the sizes that were moved into the job file; its earlier version is kept."""
        from shopcalc.job_file import OpenJobFile

        try:
            file = OpenJobFile(self.path, self.shop)
            if file.text != self.text:
                message = "the file says something else than when this was opened"
                raise InputError(Fault(message, "run the cell again, then move the sizes"))
            for place, value in self.changes().items():
                file.set(place, value)
            kept = file.write()
        except InputError as e:
            self.faults.value = fault_list(e.faults, "Not written:")
            return
        self._read()
        self._from_file = self._states()
        self.progress.value = note(
            "nothing to write" if kept is None else f"written; before: {kept.parent.name}/{kept.name}"
        )


def frame_to_hours(shop: Shop, path: Path | str) -> FrameControl:
    """The control over a frame's sizes, to be shown by ``.view``.

    Parameters
    ----------
    shop : Shop
        The shop.
    path : Path or str
        A job file with a frame.
    """
    return FrameControl(shop, path)
