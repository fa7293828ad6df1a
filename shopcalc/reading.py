"""Reading files people wrote: texts, TOML fields and CSV tables, with every fault found at once."""

from __future__ import annotations

import csv
import io
import re
import tomllib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from shopcalc.errors import Fault, InputError, did_you_mean, raise_all
from shopcalc.units import QUANTITIES, read, read_count


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
        signed: bool = False,
    ) -> float:
        """A value with its unit, more than 0 (or 0 too, or below it), in the house unit."""
        bound: dict[str, float] = {} if signed else {"minimum": 0.0} if zero else {"above": 0.0}
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
