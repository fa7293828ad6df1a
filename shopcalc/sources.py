"""Sources and tables: the bibliography, and readers that find every fault of a table or a TOML file at once."""

from __future__ import annotations

import csv
import io
import re
import tomllib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from shopcalc.errors import Fault, InputError, did_you_mean, raise_all
from shopcalc.units import QUANTITIES, read, read_count

if TYPE_CHECKING:
    import pandas as pd

TABLES = Path(__file__).with_name("tables")

#: How sure a value is.
KINDS: dict[str, str] = {
    "published": "read in the source itself",
    "second-hand": "read in a transcription or quotation of the source",
    "derived": "computed from an identity or from values of this table",
    "measured": "measured in this shop",
    "maker": "from the maker's data sheet or mark",
    "practice": "common practice, no source",
    "memory": "from memory, not read",
    "invented": "made up for the demo",
}


@dataclass(frozen=True)
class Source:
    """One entry of the bibliography.

    Parameters
    ----------
    key : str
        What tables cite.
    author, title : str
        As on the title page.
    edition : str
        Edition, report number or journal volume.
    year : int
        0 where there is none.
    where : str
        Where to read it.
    """

    key: str
    author: str
    title: str
    edition: str = ""
    year: int = 0
    where: str = ""

    def __str__(self) -> str:
        """Author, title, edition, year."""
        return ", ".join(p for p in (self.author, self.title, self.edition, str(self.year or "")) if p)


@dataclass(frozen=True)
class Value:
    """One value of a table with where it comes from.

    Parameters
    ----------
    value : float
        In the house unit.
    unit : str
        House unit, as people read it.
    source, place : str
        Key of the bibliography, and table, equation or page there.
    kind : str
        One of ``KINDS``.
    note : str
        What a reader should know besides.
    """

    value: float
    unit: str
    source: str
    place: str
    kind: str
    note: str = ""

    @property
    def cited(self) -> str:
        """Source, place and kind in one line, for a tooltip or a footnote."""
        known = bibliography().get(self.source)
        words = [str(known or self.source), self.place, KINDS.get(self.kind, self.kind)]
        return "; ".join(w for w in words if w)


@dataclass(frozen=True)
class Caution:
    """One limit or rule of safe work.

    Parameters
    ----------
    id, topic, item : str
        Key, subject ("wood dust", "noise", "machines", "lockout", "cutters", "fire"), and what is limited.
    applies_to : tuple of str
        Material ids; empty when it holds for every material.
    value : str
        The limit with its unit, the class, or "rule".
    basis : str
        Over what time, or under which condition.
    source, place, kind : str
        As in ``Value``.
    """

    id: str
    topic: str
    item: str
    applies_to: tuple[str, ...]
    value: str
    basis: str
    source: str
    place: str
    kind: str


# --- files ---------------------------------------------------------------------------------------------------------


def read_file(path: Path | str, what: str = "a text file") -> str:
    """Text of a file; whatever is wrong with the file itself is said with what to do.

    Parameters
    ----------
    path : Path or str
        The file.
    what : str
        What it should be, for the message.

    Raises
    ------
    InputError
        When it is missing, a folder, unreadable, not UTF-8 text, or empty.
    """
    file = str(path)

    def refuse(message: str, remedy: str, line: int | None = None) -> InputError:
        return InputError(Fault(message, remedy, file=file, line=line))

    try:
        raw = Path(path).read_bytes()
    except FileNotFoundError:
        raise refuse("there is no such file", "check the name and the folder") from None
    except IsADirectoryError:
        raise refuse("this is a folder, not a file", f"name {what} in it") from None
    except (OSError, ValueError) as e:
        reason = (getattr(e, "strerror", None) or str(e) or "unreadable").lower()
        raise refuse(f"it cannot be read ({reason})", "check the file, its folder and the permissions") from None
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise refuse("this is UTF-16, not UTF-8 text", "save it again as UTF-8 (in a spreadsheet: CSV UTF-8)")
    found = re.search(rb"[\x00-\x08\x0e-\x1a\x1c-\x1f]", raw)
    if found:
        line = raw[: found.start()].count(b"\n") + 1
        raise refuse(f"this is not text but a binary file; {what} is wanted", "save it as UTF-8 text", line)
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as e:
        line = raw[: e.start].count(b"\n") + 1
        raise refuse("this is not UTF-8 text", "save it again as UTF-8 (in a spreadsheet: CSV UTF-8)", line) from None
    if not text.strip():
        raise refuse("the file is empty", "fill it in, or copy one from a starter shop (shopcalc new FOLDER)")
    return text


def load_toml(path: Path | str) -> dict[str, Any]:
    """Read a TOML file; whatever is wrong with the file itself is said with its place.

    Parameters
    ----------
    path : Path or str
        The file.

    Raises
    ------
    InputError
        When it is missing, unreadable, not text, empty, or not TOML (then with line and column).
    """
    text = read_file(path, "a .toml file")
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as e:
        place = re.search(r" \(at line (\d+), column (\d+)\)$", str(e))
        lines = text.split("\n")
        line, column = (int(place[1]), int(place[2])) if place else (len(lines), len(lines[-1]) + 1)
        message = re.sub(r" \(at .*\)$", "", str(e))
        shown = lines[line - 1].rstrip("\r") if line <= len(lines) else None
        raise InputError(
            Fault(
                f"this is not TOML: {message[0].lower()}{message[1:]}",
                "check quotation marks, brackets and double keys",
                file=str(path),
                line=line,
                column=column,
                text=shown,
            )
        ) from None
    if not data:
        raise InputError(
            Fault("the file holds nothing but comments", "fill it in, or copy one from a starter shop", file=str(path))
        )
    return data


class FieldReader:
    """Reads fields of a TOML file and collects its faults, each with its file and dotted path.

    Parameters
    ----------
    file : str
        The file as the user named it.
    prefix : str
        Dotted path of the table that is read, with its last dot.
    """

    def __init__(self, file: str, prefix: str = "") -> None:
        self.file, self.prefix, self.faults = file, prefix, list[Fault]()

    def fault(self, where: str, message: str, remedy: str) -> None:
        """Note one fault of the field ``where``."""
        self.faults.append(Fault(message, remedy, file=self.file, field=self.prefix + where))

    def attempt(self, where: str, default: Any, action: Callable[[], Any]) -> Any:
        """What ``action`` gives; or, when it refuses, the default, and its faults are noted."""
        try:
            return action()
        except InputError as e:
            self.faults += [replace(f, file=self.file, field=self.prefix + where) for f in e.faults]
            return default

    def table(self, data: Mapping[str, Any], key: str, where: str = "") -> Mapping[str, Any]:
        """The table ``key``; empty when it is absent."""
        value = data.get(key, {})
        if not isinstance(value, dict):
            self.fault(where + key, f"{value!r} is not a table", f"write a section [{self.prefix}{where}{key}]")
            return {}
        return value

    def known(self, data: Mapping[str, Any], keys: Iterable[str], where: str = "") -> None:
        """Note every key that is not one of ``keys``."""
        allowed = tuple(keys)
        for key in data:
            if key not in allowed:
                self.fault(where + key, f"'{key}' is not known here", did_you_mean(key, allowed))

    def quantity(
        self,
        data: Mapping[str, Any],
        key: str,
        where: str,
        quantity: str,
        default: float,
        zero: bool = False,
        maximum: float | None = None,
    ) -> float:
        """A value with its unit, more than 0 (or 0 too), in the house unit."""
        bound: dict[str, float] = {"minimum": 0.0} if zero else {"above": 0.0}
        if key not in data:
            return default
        value: float = self.attempt(where + key, default, lambda: read(data[key], quantity, maximum=maximum, **bound))
        return value

    def count(self, data: Mapping[str, Any], key: str, where: str, default: int) -> int:
        """A whole number from 1 up."""
        if key not in data:
            return default
        value: int = self.attempt(where + key, default, lambda: read_count(data[key], minimum=1))
        return value

    def choice(self, data: Mapping[str, Any], key: str, where: str, allowed: tuple[str, ...], default: Any) -> Any:
        """One of the words allowed."""
        value = data.get(key, default)
        if key in data and value not in allowed:
            self.fault(where + key, f"{value!r} is not known", did_you_mean(str(value), allowed))
            return default
        return value

    def text(self, data: Mapping[str, Any], key: str, where: str = "") -> str:
        """A text; empty when it is absent."""
        value = data.get(key, "")
        if not isinstance(value, str):
            self.fault(where + key, f"{value!r} is not a text", "put it in quotation marks")
            return ""
        return value

    def kind(self, data: Mapping[str, Any], default: str = "") -> str:
        """How sure the figures are; one of ``KINDS``."""
        word: str = self.choice(data, "kind", "", tuple(KINDS), default)
        return word


# --- tables --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Column:
    """What one column of a table holds.

    Parameters
    ----------
    name : str
        Header.
    holds : str
        A key of ``units.QUANTITIES``, or "text", "count" or "yes" (yes or no).
    required : bool
        Whether a blank cell is a fault; else blank means unknown.
    above, minimum, maximum : float or None
        Bounds in the house unit, as for ``units.read``; counts use minimum and maximum.
    choices : tuple of str
        Words allowed in a text column.
    """

    name: str
    holds: str = "text"
    required: bool = False
    above: float | None = None
    minimum: float | None = None
    maximum: float | None = None
    choices: tuple[str, ...] = ()

    def read(self, cell: str, unit: str = "") -> Any:
        """The cell in the house unit; None when it is blank.

        Parameters
        ----------
        cell : str
            As written.
        unit : str
            Unit of a bare number, from the row of units.

        Raises
        ------
        InputError
            Without place; the table adds it.
        """
        if not cell:
            if self.required:
                raise InputError(Fault("the cell is blank", f"write {self._wanted()}"))
            return None
        if self.holds == "text":
            if self.choices and cell not in self.choices:
                raise InputError(Fault(f"'{cell}' is not known", did_you_mean(cell, self.choices)))
            return cell
        if self.holds == "yes":
            if cell.lower() not in ("yes", "no"):
                raise InputError(Fault(f"'{cell}' is neither yes nor no", "write yes or no"))
            return cell.lower() == "yes"
        if self.holds == "count":
            return read_count(cell, minimum=int(self.minimum or 0), maximum=int(self.maximum or 1_000_000))
        bare = unit and re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", cell)
        text = f"{cell} {unit}" if bare else cell
        return read(text, self.holds, above=self.above, minimum=self.minimum, maximum=self.maximum)

    def _wanted(self) -> str:
        if self.choices:
            return "one of: " + ", ".join(self.choices)
        plain = {"text": "a text", "count": "a whole number", "yes": "yes or no"}
        return plain.get(self.holds) or f"a {self.holds.replace('_', ' ')}, e.g. {QUANTITIES[self.holds].examples}"


@dataclass(frozen=True)
class Row:
    """One row of a table.

    Parameters
    ----------
    number : int
        As a spreadsheet numbers it; the header is row 1.
    cells : mapping
        Column name to value in the house unit; None where the cell is blank or at fault.
    """

    number: int
    cells: Mapping[str, Any]

    def __getitem__(self, name: str) -> Any:
        return self.cells[name]


class TableReader:
    """A CSV table read with every fault: a header row, if wanted a row of units (its first cell is "unit"), then rows.

    Rows whose first cell starts with # are remarks. The reader keeps collecting faults, so that checks between columns
    can join them before ``finish`` raises all.

    Parameters
    ----------
    path : Path or str
        The file.
    columns : sequence of Column
        Every column the table may have; a required column must be there.
    key : str
        Column (or several, parted by spaces) whose values may not repeat.
    """

    def __init__(self, path: Path | str, columns: Sequence[Column], key: str = "") -> None:
        self.file = str(path)
        self.columns = {c.name: c for c in columns}
        self.faults: list[Fault] = []
        self.rows: list[Row] = []
        self._key = tuple(key.split())
        self._units: dict[str, str] = {}
        self._faulty: set[tuple[int, str]] = set()
        records = self._records(read_file(path, "a CSV table"))
        header = self._header(records[0])
        for number, record in enumerate(records[1:], start=2):
            if not any(c.strip() for c in record) or record[0].lstrip().startswith("#"):
                continue
            if number == 2 and record[0].strip().lower() in ("unit", "units"):
                self._read_units(header, record)
            else:
                self._read_row(number, header, record)
        if not self.rows and not self.faults:
            self.fault(None, None, "the table has a header but no rows", "add a row, or copy one from a starter shop")
        self._refuse_repeats()

    def fault(self, row: int | None, field: str | None, message: str, remedy: str) -> None:
        """Note one fault."""
        self.faults.append(Fault(message, remedy, file=self.file, row=row, field=field))
        if row is not None and field is not None:
            self._faulty.add((row, field))

    def sound(self, row: Row, *names: str) -> bool:
        """Whether none of these cells was at fault: only then is it fair to judge them together."""
        return not any((row.number, n) in self._faulty for n in names)

    def finish(self) -> None:
        """Raise all faults found, in the order of the rows.

        Raises
        ------
        InputError
            When there is at least one.
        """
        raise_all(sorted(self.faults, key=lambda f: f.row or 0))

    def _records(self, text: str) -> list[list[str]]:
        reader = csv.reader(io.StringIO(text, newline=""), strict=True)
        records: list[list[str]] = []
        try:
            for record in reader:
                records.append(record)
        except csv.Error as e:
            remedy = "close every quotation mark; the file may have been cut short"
            raise InputError(
                Fault(f"this is not CSV: {e}", remedy, file=self.file, row=len(records) + 1, line=reader.line_num)
            ) from None
        return records

    def _header(self, record: list[str]) -> list[str]:
        names = [c.strip() for c in record]
        for mark, word in ((";", "semicolons"), ("\t", "tabs")):
            if len(names) == 1 and mark in names[0]:
                self.fault(1, None, f"the columns are parted by {word}", "save the table with commas between columns")
                self.finish()
        for name in names:
            if name not in self.columns:
                shown = name or "(blank)"
                self.fault(1, shown, f"the column '{shown}' is not known", did_you_mean(name, self.columns))
            elif names.count(name) > 1:
                self.fault(1, name, f"the column '{name}' stands twice", "keep one of them")
        for column in self.columns.values():
            if column.required and column.name not in names:
                self.fault(1, column.name, f"the column '{column.name}' is missing", "add it to the header")
        self.finish()
        return names

    def _read_units(self, header: list[str], record: list[str]) -> None:
        if len(record) != len(header):
            self._ragged(2, header, record)
            return
        for name, cell in zip(header[1:], record[1:], strict=True):
            unit, holds = cell.strip(), self.columns[name].holds
            if holds not in QUANTITIES:
                if unit not in ("", "-", holds):
                    self.fault(2, name, f"'{unit}' is a unit, but the column holds {holds}", f"write {holds}, or -")
                continue
            if unit in ("", "-"):
                continue  # each cell then carries its own
            try:
                read(f"1 {unit}", holds)
                self._units[name] = unit
            except InputError as e:
                self.faults += [replace(f, file=self.file, row=2, field=name) for f in e.faults]

    def _read_row(self, number: int, header: list[str], record: list[str]) -> None:
        if len(record) != len(header):
            self._ragged(number, header, record)
            return
        cells: dict[str, Any] = dict.fromkeys(self.columns)
        for name, cell in zip(header, record, strict=True):
            try:
                cells[name] = self.columns[name].read(cell.strip(), self._units.get(name, ""))
            except InputError as e:
                self.faults += [replace(f, file=self.file, row=number, field=name) for f in e.faults]
                self._faulty.add((number, name))
        self.rows.append(Row(number, cells))

    def _ragged(self, number: int, header: list[str], record: list[str]) -> None:
        more = "more" if len(record) > len(header) else "fewer"
        remedy = "put a text that holds a comma in quotation marks" if more == "more" else "fill up the row with commas"
        self.fault(number, None, f"the row has {len(record)} cells, {more} than the header's {len(header)}", remedy)

    def _refuse_repeats(self) -> None:
        seen: dict[tuple[Any, ...], int] = {}
        for row in self.rows:
            value = tuple(row[k] for k in self._key)
            if not value or None in value:
                continue
            if value in seen:
                shown = ", ".join(str(v) for v in value)
                self.fault(row.number, self._key[-1], f"'{shown}' stands already in row {seen[value]}", "keep one")
            seen.setdefault(value, row.number)


#: Columns that say where the values of a row come from.
STANDING = (Column("source"), Column("place"), Column("kind", choices=tuple(KINDS)), Column("note"))


def check_standing(table: TableReader, row: Row, published: bool) -> None:
    """Note what is missing in a row's source and kind.

    Parameters
    ----------
    table : TableReader
        Collects the faults.
    row : Row
        With the columns of ``STANDING``.
    published : bool
        Whether the source must stand in the bibliography; a shop's own table may say it in its own words.
    """
    if row["kind"] is None and table.sound(row, "kind"):
        table.fault(row.number, "kind", "it is not said how sure the value is", "write one of: " + ", ".join(KINDS))
    needs = row["kind"] in ("published", "second-hand", "derived", "measured", "maker")
    if row["source"] is None and needs:
        table.fault(row.number, "source", f"a {row['kind']} value needs a source", "name it, or use another kind")
    elif published and row["source"] and row["source"] not in bibliography():
        remedy = did_you_mean(row["source"], bibliography())
        table.fault(row.number, "source", f"'{row['source']}' is not in the bibliography", remedy)


def read_values(
    path: Path | str, fields: Mapping[str, str], key: str, known: Iterable[str], *, published: bool = True
) -> dict[str, dict[str, Value]]:
    """Read a table with one value a row: KEY, field, value, unit, source, place, kind, note.

    Parameters
    ----------
    path : Path or str
        The CSV file.
    fields : mapping
        Every field to the key of ``units.QUANTITIES`` it is measured in.
    key : str
        Header of the first column, e.g. "material".
    known : iterable of str
        What may stand in it.
    published : bool
        Whether sources must stand in the bibliography.

    Returns
    -------
    dict
        Key to field to Value; a blank value is unknown and left out.

    Raises
    ------
    InputError
        With every fault.
    """
    columns = (
        Column(key, required=True, choices=tuple(known)),
        Column("field", required=True, choices=tuple(fields)),
        Column("value"),
        Column("unit", required=True),
        *STANDING,
    )
    table = TableReader(path, columns, f"{key} field")
    out: dict[str, dict[str, Value]] = {}
    for row in table.rows:
        if row["value"] is None or not table.sound(row, key, "field", "unit") or row["field"] is None:
            continue
        check_standing(table, row, published)
        quantity = fields[row["field"]]
        value = _number_with_unit(table, row, quantity)
        if value is not None:
            out.setdefault(row[key], {})[row["field"]] = _value(value, quantity, row)
    table.finish()
    return out


# --- what ships with the package ------------------------------------------------------------------------------------


@lru_cache(maxsize=1)
def bibliography() -> Mapping[str, Source]:
    """Every source the package's tables cite, by key.

    Example
    -------
    >>> print(bibliography()["WH-282"].author)
    Forest Products Laboratory
    """
    path = TABLES / "sources.toml"
    faults: list[Fault] = []
    out: dict[str, Source] = {}
    for key, data in load_toml(path).items():
        r = FieldReader(str(path), f"{key}.")
        r.known(data, ("author", "title", "edition", "year", "where"))
        year = r.count(data, "year", "", 0)
        author, title, edition, where = (r.text(data, k) for k in ("author", "title", "edition", "where"))
        out[key] = Source(key, author, title, edition, year, where)
        faults += r.faults
    raise_all(faults)
    return out


#: Units of the practice table, house quantity by name of value (the part before the first dot).
_PRACTICE = {
    "chip_thin": "length", "chip_thick": "length", "depth_share": "ratio", "rim_speed_steel": "speed",
    "rim_speed_carbide": "speed", "unmarked_rpm": "spindle_speed", "specific_energy": "pressure",
    "plunge_share": "ratio", "stepover_share": "ratio", "reserve": "ratio", "last_depth": "length",
}  # fmt: skip


@lru_cache(maxsize=1)
def practice() -> Mapping[str, Value]:
    """The trade's habits as values: common practice or memory, every one of them to be replaced by the shop's own.

    Returns
    -------
    mapping
        Name ("chip_thin.hardwood", "reserve") to Value.

    Example
    -------
    >>> practice()["chip_thin.hardwood"].kind
    'practice'
    """
    columns = (
        Column("name", required=True),
        Column("value", required=True),
        Column("unit", required=True),
        *STANDING,
    )
    table = TableReader(TABLES / "practice.csv", columns, "name")
    out: dict[str, Value] = {}
    for row in table.rows:
        check_standing(table, row, published=True)
        quantity = _PRACTICE.get((row["name"] or "").split(".")[0])
        if quantity is None:
            table.fault(row.number, "name", f"'{row['name']}' is not known", did_you_mean(str(row["name"]), _PRACTICE))
        elif table.sound(row, "value", "unit"):
            value = _number_with_unit(table, row, quantity)
            if value is not None:
                out[row["name"]] = _value(value, quantity, row)
    table.finish()
    return out


def _number_with_unit(table: TableReader, row: Row, quantity: str) -> float | None:
    """Cells "value" and "unit" together in the house unit; a fault is noted."""
    unit = "dimensionless" if row["unit"] == "-" else row["unit"]
    try:
        return read(f"{row['value']} {unit}", quantity, above=0.0)
    except InputError as e:
        table.faults += [replace(f, file=table.file, row=row.number, field="value") for f in e.faults]
        return None


def _value(value: float, quantity: str, row: Row) -> Value:
    source, place, kind, note = (row[k] or "" for k in ("source", "place", "kind", "note"))
    return Value(value, QUANTITIES[quantity].shown, source, place, kind, note)


@lru_cache(maxsize=1)
def _all_cautions() -> tuple[Caution, ...]:
    names = ("id", "topic", "item", "applies_to", "value", "basis")
    columns = (*(Column(n, required=n in ("id", "topic", "item", "value")) for n in names), *STANDING)
    table = TableReader(TABLES / "safety.csv", columns, "id")
    out = []
    for row in table.rows:
        check_standing(table, row, published=True)
        out.append(
            Caution(
                row["id"],
                row["topic"],
                row["item"],
                tuple((row["applies_to"] or "").split()),
                row["value"],
                row["basis"] or "",
                row["source"] or "",
                row["place"] or "",
                row["kind"] or "",
            )
        )
    table.finish()
    return tuple(out)


def cautions(topic: str = "", material: str = "") -> tuple[Caution, ...]:
    """Limits and rules of safe work; local codes and the makers' instructions come first.

    Parameters
    ----------
    topic : str
        Subject; empty for all.
    material : str
        Material id: what names this material, and what holds for every one. Empty for all.

    Returns
    -------
    tuple of Caution
        In the order of the table.

    Example
    -------
    >>> [c.value for c in cautions("wood dust", "white-oak") if c.applies_to]
    ['A1']
    """
    species = material.removeprefix("laminated-")
    return tuple(
        c
        for c in _all_cautions()
        if (not topic or c.topic == topic) and (not species or not c.applies_to or species in c.applies_to)
    )


def table_for_people(records: Iterable[Mapping[str, Any]], units: Mapping[str, str], index: str = "") -> pd.DataFrame:
    """Rows as a table for people: the unit of each column stands in ``attrs["units"]``.

    Parameters
    ----------
    records : iterable of mapping
        One for each row.
    units : mapping
        Column to its unit, "-" for pure numbers; columns of text need none.
    index : str
        Column that names the rows.
    """
    import pandas as pd

    out = pd.DataFrame(list(records))
    if index:
        out = out.set_index(index)
    out.attrs["units"] = dict(units)
    return out
