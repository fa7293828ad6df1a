"""What a shop's own test cuts taught: rows in its folder that are only added to, each with its date and its source.

A value counts for the edge it was measured on: a regrind makes the older rows of that cutter history.
"""

from __future__ import annotations

import csv
import datetime
import io
import os
import tempfile
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Literal, get_args

from shopcalc.errors import Fault, InputError, did_you_mean
from shopcalc.reading import Column, Row, TableReader, read_file
from shopcalc.sources import Value
from shopcalc.units import QUANTITIES, read

What = Literal["fit test", "ladder", "power", "push-off"]
WHAT: tuple[str, ...] = get_args(What)

#: What may be learned, and the key of ``units.QUANTITIES`` it is measured in.
NAMES: Mapping[str, str] = {
    "true_diameter": "length",
    "push_off_climb": "length",
    "push_off_conventional": "length",
    "greatest_feed_per_tooth": "feed_per_tooth",
    "greatest_depth": "length",
    "force_factor": "ratio",
}
_SIGNED = frozenset({"push_off_climb", "push_off_conventional"})  # negative where the cutter digs in
_UNITS = {"length": ("mm", 1.0), "feed_per_tooth": ("mm/tooth", 1.0), "ratio": ("%", 100.0)}
_STATIONS = ("flat", "edge", "end")

_COLUMNS: tuple[Column, ...] = (
    Column("date", required=True),
    Column("what", required=True, choices=WHAT),
    Column("cutter"),
    Column("regrinds", "count", minimum=0, maximum=50),
    Column("machine"),
    Column("station", choices=_STATIONS),
    Column("material"),
    Column("name", required=True, choices=tuple(NAMES)),
    Column("value", required=True),
    Column("source"),
    Column("note"),
)


@dataclass(frozen=True)
class LearnedRow:
    """One value that a test cut taught.

    Parameters
    ----------
    date : str
        Of the test, as 2026-03-02.
    what : {"fit test", "ladder", "power", "push-off"}
        Kind of test.
    cutter : str
        Its id; empty where the value holds for every cutter.
    regrinds : int or None
        How often the cutter had been ground again then [-]; None only where there is no cutter.
    machine, station, material : str
        Where and in what; empty where the value holds for every one.
    name : str
        One of ``NAMES``.
    value : float
        In the house unit of ``unit_quantity``.
    unit_quantity : str
        Key of ``units.QUANTITIES``; that of ``NAMES`` where none is given.
    source : str
        "this shop, DATE" where none is given.
    note : str
        What a reader should know besides.

    Example
    -------
    >>> row = LearnedRow("2026-03-02", "fit test", "SQ12", 1, "router", "flat", "white-oak", "true_diameter", 12.63)
    >>> row.source, row.unit_quantity
    ('this shop, 2026-03-02', 'length')
    """

    date: str
    what: str
    cutter: str
    regrinds: int | None
    machine: str
    station: str
    material: str
    name: str
    value: float
    unit_quantity: str = ""
    source: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "unit_quantity", self.unit_quantity or NAMES.get(self.name, ""))
        object.__setattr__(self, "source", self.source or f"this shop, {self.date}")

    @property
    def written(self) -> str:
        """The value with its unit, as the table holds it."""
        unit, factor = _UNITS[self.unit_quantity]
        return f"{float(f'{self.value * factor:.12g}')!r} {unit}"

    @property
    def known(self) -> Value:
        """The value with its source."""
        unit = QUANTITIES[self.unit_quantity].shown
        return Value(self.value, unit, self.source, self.what, "measured", self.note)


@dataclass(frozen=True)
class Learned:
    """All rows of a shop.

    Parameters
    ----------
    rows : tuple of LearnedRow
        In the order they were added.
    regrinds : mapping
        Present number of regrinds of each cutter by id.
    """

    rows: tuple[LearnedRow, ...] = ()
    regrinds: Mapping[str, int] = field(default_factory=dict)

    def latest(
        self,
        name: str,
        *,
        cutter: str = "",
        regrinds: int | None = None,
        machine: str = "",
        station: str = "",
        material: str = "",
    ) -> LearnedRow | None:
        """The newest row that counts; None when there is none.

        Parameters
        ----------
        name : str
            One of ``NAMES``.
        cutter : str
            Its id; empty for values of no single cutter.
        regrinds : int, optional
            Its present number of regrinds; that of the shop, else the greatest of its rows, where none is given [-].
        machine, station, material : str
            Asked for; a row that leaves one blank holds for all of them, and an empty one asks for any.

        Raises
        ------
        InputError
            When no such thing can be learned.
        """
        now = self._present(cutter, regrinds)
        fits = [r for r in self._of(name, cutter, machine, station, material) if not r.cutter or r.regrinds == now]
        return max(enumerate(fits), key=lambda at: (at[1].date, at[0]))[1] if fits else None

    def value(
        self,
        name: str,
        *,
        cutter: str = "",
        regrinds: int | None = None,
        machine: str = "",
        station: str = "",
        material: str = "",
    ) -> Value | None:
        """The newest value that counts with its source, as ``latest`` finds it; None when there is none.

        Parameters
        ----------
        name, cutter, regrinds, machine, station, material
            As in ``latest``.
        """
        asked = {"machine": machine, "station": station, "material": material}
        row = self.latest(name, cutter=cutter, regrinds=regrinds, **asked)
        if row is None:
            return None
        aside = self.set_aside(name, cutter=cutter, regrinds=regrinds, **asked)
        return replace(row.known, note="; ".join(t for t in (row.note, aside) if t))

    def set_aside(
        self,
        name: str,
        *,
        cutter: str,
        regrinds: int | None = None,
        machine: str = "",
        station: str = "",
        material: str = "",
    ) -> str:
        """Why rows of this cutter do not count, in words; empty when none had to be set aside.

        Parameters
        ----------
        name, cutter, regrinds, machine, station, material
            As in ``latest``.
        """
        now = self._present(cutter, regrinds)
        others = [r for r in self._of(name, cutter, machine, station, material) if r.cutter and r.regrinds != now]
        if not others or now is None:
            return ""
        row = max(enumerate(others), key=lambda at: (at[1].date, at[0]))[1]
        seen = f"{row.written} of {row.date} was measured at regrind {row.regrinds}, {cutter} is at regrind {now} now"
        if row.regrinds is not None and row.regrinds > now:
            return f"{seen}: check the regrinds in cutters.csv"
        return f"{seen}: it no longer counts, a regrind changes the edge"

    def _present(self, cutter: str, regrinds: int | None) -> int | None:
        if regrinds is not None or not cutter:
            return regrinds
        if cutter in self.regrinds:
            return self.regrinds[cutter]
        return max((r.regrinds for r in self.rows if r.cutter == cutter and r.regrinds is not None), default=None)

    def _of(self, name: str, cutter: str, machine: str, station: str, material: str) -> list[LearnedRow]:
        if name not in NAMES:
            raise InputError(Fault(f"'{name}' is nothing a test cut teaches", did_you_mean(name, NAMES)))
        asked = (("cutter", cutter), ("machine", machine), ("station", station), ("material", material))
        return [r for r in self.rows if r.name == name and all(getattr(r, k) in ("", v) or not v for k, v in asked)]


def read_learned(path: Path | str, regrinds: Mapping[str, int] | None = None) -> Learned:
    """Read what a shop has learned.

    Parameters
    ----------
    path : Path or str
        The shop's learned.csv; a shop without one has learned nothing yet.
    regrinds : mapping, optional
        Present number of regrinds of each cutter by id [-].

    Raises
    ------
    InputError
        With every fault: file, row, column, value and remedy.
    """
    if not Path(path).exists():
        return Learned((), dict(regrinds or {}))
    table = TableReader(path, _COLUMNS)
    if not table.rows:  # every row was taken back: that is no fault here
        table.faults = [f for f in table.faults if f.row is not None]
    rows = [r for row in table.rows if (r := _row(table, row)) is not None]
    table.finish()
    return Learned(tuple(rows), dict(regrinds or {}))


def _row(table: TableReader, row: Row) -> LearnedRow | None:
    if table.sound(row, "date") and not _is_date(row["date"]):
        table.fault(row.number, "date", f"'{row['date']}' is not a date", _DATE)
    if row["cutter"] and row["regrinds"] is None and table.sound(row, "regrinds"):
        table.fault(row.number, "regrinds", "it is not said how often the cutter was ground", "write 0 for never")
    if not row["cutter"] and table.sound(row, "name") and row["name"] != "force_factor":
        table.fault(row.number, "cutter", f"'{row['name']}' belongs to a cutter", "write the cutter's id")
    if not table.sound(row, "name", "value"):
        return None
    quantity = NAMES[row["name"]]
    try:
        value = read(row["value"], quantity, above=None if row["name"] in _SIGNED else 0.0)
    except InputError as e:
        table.faults += [replace(f, file=table.file, row=row.number, field="value") for f in e.faults]
        return None
    texts = {k: row[k] or "" for k in ("date", "what", "cutter", "machine", "station", "material", "source", "note")}
    return LearnedRow(**texts, regrinds=row["regrinds"], name=row["name"], value=value, unit_quantity=quantity)


_DATE = "write year-month-day, e.g. 2026-03-02"


def _is_date(text: str) -> bool:
    try:
        datetime.date.fromisoformat(text)
    except ValueError:
        return False
    return len(text) == 10


def append(path: Path | str, rows: Iterable[LearnedRow]) -> Learned:
    """Add rows: all of them or none; what stood there stays as it was.

    Parameters
    ----------
    path : Path or str
        The shop's learned.csv; made when there is none.
    rows : iterable of LearnedRow
        Of one test.

    Returns
    -------
    Learned
        Everything, as the file now holds it.

    Raises
    ------
    InputError
        When a row or the file as it stands is at fault, or it cannot be written; then nothing has changed.
    """
    new = list(rows)
    if not new:
        raise InputError(Fault("there is nothing to add", "give at least one row", file=str(path)))
    for number, row in enumerate(new, start=1):
        if row.unit_quantity not in _UNITS or NAMES.get(row.name) != row.unit_quantity:
            message = f"row {number} to be added: '{row.name}' in {row.unit_quantity or 'no unit'} cannot be learned"
            raise InputError(Fault(message, did_you_mean(row.name, NAMES), file=str(path), field="name"))
        if not _is_date(row.date):
            message = f"row {number} to be added: '{row.date}' is not a date"
            raise InputError(Fault(message, _DATE, file=str(path), field="date"))
    target = Path(path)
    header = [c.name for c in _COLUMNS]
    old, end = "", "\n"
    if target.exists():
        read_learned(target)  # a file at fault is mended first, not added to
        old = read_file(target, "a CSV table")
        end = "\r\n" if "\r\n" in old else "\n"
        header = [c.strip() for c in next(csv.reader(io.StringIO(old, newline="")))]
        old = old if old.endswith("\n") else old + end
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator=end)
    if not old:
        writer.writerow(header)
    for row in new:
        writer.writerow(_cells(row, header, target))
    return _replace_text(target, old + out.getvalue())


def _cells(row: LearnedRow, header: Sequence[str], path: Path) -> list[str]:
    cells = {c.name: getattr(row, c.name) for c in _COLUMNS} | {"value": row.written}
    for name, cell in cells.items():
        if name not in header and cell not in ("", None):
            remedy = f"add '{name}' to its header, and a comma to every row"
            raise InputError(Fault(f"the table has no column for {name} '{cell}'", remedy, file=str(path), field=name))
    return [" ".join(str(cells[n]).split()) if cells[n] is not None else "" for n in header]


def forget_last(path: Path | str) -> tuple[LearnedRow, ...]:
    """Take the last test back: its rows become remarks, and the file as it was is kept beside it as .bak.

    Parameters
    ----------
    path : Path or str
        The shop's learned.csv.

    Returns
    -------
    tuple of LearnedRow
        What no longer counts: the last rows that share date, kind, cutter and place and repeat no name.

    Raises
    ------
    InputError
        When there is nothing to take back, or it cannot be written.
    """
    target = Path(path)
    rows = read_learned(target).rows
    if not rows:
        raise InputError(Fault("there is nothing to take back", "check the file's name", file=str(path)))
    last: list[LearnedRow] = []
    for row in reversed(rows):
        if last and (_test_of(row) != _test_of(rows[-1]) or row.name in {r.name for r in last}):
            break
        last.insert(0, row)
    text = read_file(target, "a CSV table")
    records = list(csv.reader(io.StringIO(text, newline="")))
    end = "\r\n" if "\r\n" in text else "\n"
    left = len(last)
    for i in reversed(range(1, len(records))):
        units = i == 1 and records[i] and records[i][0].strip().lower() in ("unit", "units")
        if left and not units and any(c.strip() for c in records[i]) and not records[i][0].lstrip().startswith("#"):
            records[i] = [f"# taken back: {records[i][0]}", *records[i][1:]]
            left -= 1
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator=end).writerows(records)
    _write(target.with_name(target.name + ".bak"), text)
    _replace_text(target, out.getvalue())
    return tuple(last)


def _test_of(row: LearnedRow) -> tuple[object, ...]:
    return row.date, row.what, row.cutter, row.regrinds, row.machine, row.station, row.material


def _replace_text(target: Path, text: str) -> Learned:
    """Put a text in the file's place once it has been read back without a fault."""
    return _write(target, text, check=True)


def _write(target: Path, text: str, check: bool = False) -> Learned:
    scratch = ""
    try:
        handle, scratch = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}-")
        with os.fdopen(handle, "w", encoding="utf-8", newline="") as f:
            f.write(text)
            f.flush()
            os.fsync(f.fileno())
        known = read_learned(scratch) if check else Learned()
        os.chmod(scratch, target.stat().st_mode & 0o777 if target.exists() else 0o644)
        os.replace(scratch, target)
    except InputError as e:
        raise InputError([replace(f, file=str(target)) for f in e.faults]) from None
    except OSError as e:
        reason = (e.strerror or str(e)).lower()
        remedy = "check the folder and its permissions; nothing was changed"
        raise InputError(Fault(f"it cannot be written ({reason})", remedy, file=str(target))) from None
    finally:
        if scratch and os.path.exists(scratch):
            os.unlink(scratch)
    return known
