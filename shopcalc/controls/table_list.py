"""A list of tables of a job file: choose one, fill it in, add another, take one out."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import ipywidgets as widgets
from pydantic import BaseModel

from shopcalc.controls.parts import choice, heading
from shopcalc.controls.record_fields import ROW, RecordFields, unknown_keys, usual_order
from shopcalc.errors import Fault
from shopcalc.frames import Frame
from shopcalc.job_file import OpenJobFile
from shopcalc.job_file.spans import Place
from shopcalc.jobs.records import OPERATION_RECORDS, Hardware, Load, Part, Program

_TABLES: dict[str, type[BaseModel]] = {
    "frames": Frame, "parts": Part, "programs": Program, "loads": Load, "hardware": Hardware,
}  # fmt: skip


class TableList:
    """A list of tables: choose one, see its fields, add or take out.

    Parameters
    ----------
    name : str
        What one of them is called.
    place : Place
        Of the list.
    file : OpenJobFile
        That is changed.
    changed : callable
        Called after a change.
    offers : callable
        Gives names that are offered, by key.
    keys : sequence of str, optional
        Those shown; all if not given.
    """

    def __init__(
        self, name: str, place: Place, file: OpenJobFile, changed: Callable[[], None],
        offers: Callable[[], Mapping[str, Sequence[str]]], keys: Sequence[str] | None = None,
    ) -> None:  # fmt: skip
        self.name, self.place, self.file, self._changed, self._offers, self._keys = (
            name, place, file, changed, offers, keys,
        )  # fmt: skip
        self._quiet = False
        self.fields: RecordFields | None = None
        self.operations: TableList | None = None
        self.chosen = choice(name, [], None, self._choose, "30em")
        kinds = [(k, k) for k in OPERATION_RECORDS]
        self.kind = choice("new one", kinds, kinds[0][1], lambda: None, "18em")
        self.add_button = widgets.Button(description=f"add: {name}", layout=widgets.Layout(width="14em"))
        self.remove_button = widgets.Button(description=f"take out this {name}", layout=widgets.Layout(width="14em"))
        self.add_button.on_click(lambda _: self.add())
        self.remove_button.on_click(lambda _: self.remove())
        self._body = widgets.VBox()
        own = [self.chosen, self.remove_button, *([self.kind] if name == "operation" else []), self.add_button]
        self.view = widgets.VBox([widgets.Box(own, layout=ROW), self._body])
        self.refresh()

    def _entries(self) -> list[Any]:
        found = self.file.get(self.place, [])
        return found if isinstance(found, list) else []

    def _names(self) -> list[tuple[str, int]]:
        def named(entry: Any) -> str:
            keys = ("title", "id", "name", "kind", "program", "part")
            found = [str(entry[k]) for k in keys if isinstance(entry, dict) and entry.get(k)]
            return ", ".join(found[:2]) or "not named yet"

        return [(f"{i + 1}: {named(e)}", i) for i, e in enumerate(self._entries())]

    def refresh(self) -> None:
        """Show what the file says now; fields are made anew only where another table is shown."""
        names = self._names()
        before = self.chosen.value
        self._quiet = True
        if tuple(self.chosen.options) != tuple(names):
            self.chosen.options = names
            if names:
                self.chosen.value = min(before or 0, len(names) - 1)
        self._quiet = False
        self.remove_button.disabled = not names
        self._choose()

    def _model(self, entry: Any) -> type[BaseModel]:
        if self.name != "operation":
            return _TABLES[str(self.place[0])]
        kind = entry.get("kind") if isinstance(entry, dict) else None
        return OPERATION_RECORDS.get(str(kind), next(iter(OPERATION_RECORDS.values())))

    def _choose(self) -> None:
        if self._quiet:
            return
        at = self.chosen.value
        entries = self._entries()
        if at is None or at >= len(entries):
            self.fields = self.operations = None
            self._body.children = ()
            return
        place, model = (*self.place, at), self._model(entries[at])
        shown = self.fields
        same = shown is not None and (shown.place, shown.model) == (place, model)
        if shown is not None and same and shown.unknown == unknown_keys(model, self.file, place):
            shown.fill()
            if self.operations is not None:
                self.operations.refresh()
            return
        keys = self._keys or [k for k in usual_order(model) if k != "operations"]
        offers = {**self._offers(), "kind": list(OPERATION_RECORDS)}
        self.fields = RecordFields(model, place, self.file, lambda _: self._changed(), offers, keys)
        body: list[Any] = [self.fields.view]
        self.operations = None
        if model is Part:
            self.operations = TableList("operation", (*place, "operations"), self.file, self._changed, self._offers)
            body += [widgets.HTML(heading("Operations of this part")), self.operations.view]
        self._body.children = tuple(body)

    def add(self) -> None:
        """Add a table with what it cannot do without, and show it."""
        offers, number = self._offers(), len(self._entries()) + 1
        first = {k: v[0] for k, v in offers.items() if v}
        new: dict[str, Any] = {"id": f"{self.name}-{number}"}
        if self.name == "operation":
            new = {"kind": self.kind.value, "program": first.get("program", ""), "cutter": first.get("cutter", "")}
        elif self.name == "part":
            new |= {"quantity": 1, "material": first.get("material", "")}
        elif self.name == "frame":
            new |= {"material": first.get("material", "")}
        elif self.name == "load":
            new = {"program": first.get("program", ""), "part": first.get("part", ""), "count": 1}
        elif self.name == "hardware":
            new = {"name": f"hardware {number}", "quantity": 1}
        self.file.add(self.place, new)
        self._quiet = True
        self.chosen.options = self._names()
        self.chosen.value = number - 1
        self._quiet = False
        self._changed()

    def remove(self) -> None:
        """Take the chosen table out, with all it holds."""
        if self.chosen.value is not None:
            self.file.remove((*self.place, self.chosen.value))
            self.fields = None
            self._changed()

    def say(self, faults: Mapping[str, Sequence[Fault]]) -> None:
        """Show faults beside their fields.

        Parameters
        ----------
        faults : mapping
            Place to what is wrong there.
        """
        if self.fields is not None:
            self.fields.say(faults)
        if self.operations is not None:
            self.operations.say(faults)
