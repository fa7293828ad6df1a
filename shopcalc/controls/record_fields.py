"""Fields of one table of a job file: a labelled box for each key, its fault beside it."""

from __future__ import annotations

import inspect
import re
import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from types import UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

import ipywidgets as widgets
from pydantic import BaseModel

from shopcalc.controls.outcome import said
from shopcalc.controls.parts import note
from shopcalc.errors import Fault, InputError
from shopcalc.job_file import OpenJobFile, write_place, write_value
from shopcalc.job_file.spans import Place

ROW = widgets.Layout(display="flex", flex_flow="row wrap", align_items="flex-start")
_USUAL = "the usual"
_YES_NO = (("yes", True), ("no", False))
_LABEL = {"description_width": "10em"}


def meanings(model: type[BaseModel]) -> dict[str, str]:
    """What each key of a table means, as its record says.

    Parameters
    ----------
    model : type
        A record with its Parameters.

    Returns
    -------
    dict
        Key to a sentence.

    Example
    -------
    >>> from shopcalc.jobs.records import Heading
    >>> meanings(Heading)["quantity"]
    'Finished pieces [-].'
    """
    out: dict[str, str] = {}
    for record in reversed(model.__mro__):
        names: list[str] = []
        for line in inspect.cleandoc(record.__doc__ or "").splitlines():
            if found := re.match(r"^([a-z_]+(?:, [a-z_]+)*) : ", line):
                names = found[1].split(", ")
            elif line.startswith("    "):
                out |= {n: f"{out.get(n, '')} {line.strip()}".strip() for n in names if record is not BaseModel}
            elif line.strip():
                names = []
    return {k: v for k, v in out.items() if k in model.model_fields}


def usual_order(model: type[BaseModel]) -> list[str]:
    """Keys of a record: those that are needed first, the note last.

    Parameters
    ----------
    model : type
        The record.
    """
    return sorted(model.model_fields, key=lambda k: (k == "note", not model.model_fields[k].is_required()))


def unknown_keys(model: type[BaseModel], file: OpenJobFile, place: Place) -> list[str]:
    """Keys of a table that its record does not know; they need a box to be taken out by.

    Parameters
    ----------
    model : type
        The record.
    file : OpenJobFile
        That holds the table.
    place : Place
        Of the table.
    """
    found = file.get(place, {})
    return [k for k in found if k not in model.model_fields] if isinstance(found, Mapping) else []


def _types(annotation: Any) -> Iterator[Any]:
    """What an annotation allows, without None."""
    origin = get_origin(annotation)
    if origin is Annotated:
        yield from _types(get_args(annotation)[0])
    elif origin in (Union, UnionType):
        for one in get_args(annotation):
            yield from _types(one)
    elif annotation is not type(None):
        yield annotation


class RecordFields:
    """Boxes for the keys of one table; what is typed goes into the file's text, an empty box takes its key out.

    Parameters
    ----------
    model : type
        The record whose keys they are.
    place : Place
        Of the table.
    file : OpenJobFile
        That is changed.
    changed : callable
        Called with the key after a change.
    offers : mapping
        Key to names that are offered.
    keys : sequence of str, optional
        Which, in their order; all of the record's if not given.
    """

    def __init__(
        self, model: type[BaseModel], place: Place, file: OpenJobFile, changed: Callable[[str], None],
        offers: Mapping[str, Sequence[str]], keys: Sequence[str] | None = None,
    ) -> None:  # fmt: skip
        self.model, self.place, self.file, self._changed = model, place, file, changed
        self._told = meanings(model)
        self._quiet = False
        self._kinds: dict[str, str] = {}
        self.boxes: dict[str, Any] = {}
        self.wrong: dict[str, widgets.HTML] = {}
        self.unknown = unknown_keys(model, file, place)
        for key in [*(usual_order(model) if keys is None else keys), *self.unknown]:
            self.boxes[key] = self._box(key, offers.get(key, ()))
            self.wrong[key] = widgets.HTML(layout=widgets.Layout(max_width="27em", margin="0 0 0 10em"))
            self.boxes[key].observe(lambda change, key=key: self._typed(key, change["new"]), names="value")
        cells = [widgets.VBox([self.boxes[k], self.wrong[k]]) for k in self.boxes]
        self.view = widgets.Box(cells, layout=ROW)
        self.fill()

    def _box(self, key: str, offered: Sequence[str]) -> Any:
        if key in self.unknown:  # emptied, it is gone
            self._kinds[key] = "raw"
            layout = widgets.Layout(width="24em")
            return widgets.Text(description=f"{key} ?", continuous_update=False, style=_LABEL, layout=layout)
        info = self.model.model_fields[key]
        allowed = list(_types(info.annotation))
        needed = " *" if info.is_required() else ""
        look = {
            "description": key.replace("_", " ") + needed, "style": _LABEL, "tooltip": self._told.get(key, ""),
            "layout": widgets.Layout(width="24em"),
        }  # fmt: skip
        literal = next((a for a in allowed if get_origin(a) is Literal), None)
        if literal is not None or bool in allowed:
            self._kinds[key] = "choice"
            allows = offered or get_args(literal)
            choices = [(str(v), v) for v in allows] if literal is not None else list(_YES_NO)
            first = [] if info.is_required() else [(_USUAL, "")]
            return widgets.Dropdown(options=[*first, *choices], value=(first or choices)[0][1], **look)
        simple = all(a in (str, int, float) or getattr(a, "__name__", "") == "Decimal" for a in allowed)
        self._kinds[key] = "raw" if not simple else "count" if allowed == [int] else "text"
        if key == "note":
            look["layout"] = widgets.Layout(width="48em", height="4em")
            return widgets.Textarea(continuous_update=False, **look)
        if offered:
            return widgets.Combobox(options=list(offered), ensure_option=False, continuous_update=False, **look)
        return widgets.Text(continuous_update=False, **look)

    # --- from the file and into it ------------------------------------------------------------------------------------

    def fill(self) -> None:
        """Show what the file says now; a box that shows it already is not touched, so the cursor stays."""
        with self._silently():
            for key, box in self.boxes.items():
                value = self.file.get((*self.place, key))
                shown = self._shown(key, value)
                if isinstance(box, widgets.Dropdown) and shown not in [v for _, v in box.options]:
                    box.options = [*box.options, (str(shown), shown)]  # what the reader refuses must be seen
                if box.value != shown:
                    box.value = shown

    def _shown(self, key: str, value: Any) -> Any:
        if value is None:
            return ""
        if self._kinds[key] == "choice":
            return value if not isinstance(value, (list, dict)) else str(value)
        return value if isinstance(value, str) else write_value(value)

    def _typed(self, key: str, value: Any) -> None:
        if self._quiet:
            return
        place = (*self.place, key)
        try:
            if isinstance(value, str) and not value.strip():
                if self.file.get(place) is not None:
                    self.file.remove(place)
            else:
                self.file.set(place, self._read(key, value))
        except InputError as e:
            self.say({write_place(place): list(e.faults)})
            return
        self._changed(key)

    def _read(self, key: str, value: Any) -> Any:
        """What was typed as the file should say it: a count as a number, a list as a list, the rest as a text."""
        kind = self._kinds[key]
        if kind == "count" and re.fullmatch(r"\s*-?\d+\s*", value):
            return int(value)
        if kind == "raw":
            try:
                return tomllib.loads(f"v = {value}")["v"]
            except tomllib.TOMLDecodeError:
                pass
        return value.strip() if isinstance(value, str) else value

    @contextmanager
    def _silently(self) -> Iterator[None]:
        quiet, self._quiet = self._quiet, True
        try:
            yield
        finally:
            self._quiet = quiet

    def say(self, faults: Mapping[str, Sequence[Fault]]) -> None:
        """Show faults beside their boxes.

        Parameters
        ----------
        faults : mapping
            Place, as faults write it, to what is wrong there or within.
        """
        for key, shown in self.wrong.items():
            own = write_place((*self.place, key))
            found = [f for place, many in faults.items() if _within(place, own) for f in many]
            shown.value = "".join(f'<div role="alert">{note("✗ " + said(f))}</div>' for f in found)

    def hint(self, usual: Mapping[str, str]) -> None:
        """Show in empty boxes what is taken when they stay empty.

        Parameters
        ----------
        usual : mapping
            Key to the usual value in words.
        """
        for key, words in usual.items():
            if key in self.boxes and not isinstance(self.boxes[key], widgets.Dropdown) and not self.boxes[key].value:
                self.boxes[key].placeholder = f"usual: {words}" if words else ""


def _within(place: str, own: str) -> bool:
    return place == own or place.startswith((f"{own}.", f"{own}["))
