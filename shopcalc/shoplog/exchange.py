"""Times to and from tables: CSV in with every row judged before any is taken, CSV and Excel out."""

from __future__ import annotations

import csv
import datetime
import hashlib
import io
import uuid
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

from shopcalc.documents import Cell, Document, Figure, Table
from shopcalc.errors import Fault, InputError
from shopcalc.reading import Column, Row, TableReader
from shopcalc.shoplog.clock import now, read_moment, shown_moment, write_moment
from shopcalc.shoplog.records import LONGEST, TimeEntry, tidied
from shopcalc.shoplog.store import Entry, ShopLog
from shopcalc.standard_times import PHASES
from shopcalc.units import write_time

_ACTIVE = "=+-@"  # a spreadsheet takes a text that begins so for a formula
_SHEET_ROWS = 1_048_000  # a sheet takes few more
_TEXTS = ("job", "program", "part", "phase", "cutter", "machine")

#: Columns of a table of times, in and out.
COLUMNS: tuple[Column, ...] = (
    Column("began"),
    Column("time", "time", required=True, minimum=0.0, maximum=LONGEST),
    Column("operator"),
    Column("job"),
    Column("program"),
    Column("part"),
    Column("load", "count", minimum=1, maximum=100_000),
    Column("loads", "count", minimum=1, maximum=10_000),
    Column("phase", choices=PHASES),
    Column("cutter"),
    Column("machine"),
    Column("standing", "time", minimum=0.0),
    Column("done", "yes"),
    Column("note"),
    Column("uid"),
)


@dataclass(frozen=True)
class ImportRow:
    """One row of a file and what would become of it.

    Parameters
    ----------
    number : int
        As a spreadsheet numbers it.
    verdict : {"taken", "known", "refused"}
        What would become of it.
    says : str
        What it holds, or why it is known.
    faults : tuple of Fault
        Why it is refused.
    uid, note : str
        Of the entry it makes.
    record : TimeEntry or None
        What it makes.
    """

    number: int
    verdict: Literal["taken", "known", "refused"]
    says: str
    faults: tuple[Fault, ...] = ()
    uid: str = ""
    note: str = ""
    record: TimeEntry | None = None


@dataclass(frozen=True)
class ImportPlan:
    """A file judged row by row; nothing is taken yet.

    Parameters
    ----------
    file : str
        As it was named.
    operator : str
        Who takes it.
    rows : tuple of ImportRow
        In the file's order.
    """

    file: str
    operator: str
    rows: tuple[ImportRow, ...]

    def count(self, verdict: str) -> int:
        """How many rows have that verdict [-]."""
        return sum(r.verdict == verdict for r in self.rows)

    @property
    def faults(self) -> list[Fault]:
        """Of all rows."""
        return [f for r in self.rows for f in r.faults]


def plan_import(log: ShopLog, path: Path | str, *, operator: str) -> ImportPlan:
    """Judge a table of times row by row; nothing is written.

    Parameters
    ----------
    log : ShopLog
        Open.
    path : Path or str
        A CSV file with some of ``COLUMNS``; ``time`` must be there.
    operator : str
        Who takes it, and whose time it is in rows that name nobody.

    Returns
    -------
    ImportPlan
        What would be taken, what is there already and what is refused.

    Raises
    ------
    InputError
        When the file or its header cannot be used at all.
    """
    table = TableReader(path, COLUMNS, key="uid")
    by_row: dict[int, list[Fault]] = {}
    for fault in table.faults:
        if fault.row is None:
            raise InputError(fault)
        by_row.setdefault(fault.row, []).append(fault)
    rows, alike = [], Counter[str]()
    for row in table.rows:
        if row.number not in by_row:
            rows.append(_judged(row, str(path), operator, alike))
    rows += [ImportRow(n, "refused", "", tuple(found)) for n, found in by_row.items()]
    rows.sort(key=lambda r: r.number)
    return ImportPlan(str(path), operator, tuple(_known(log, rows)))


def _judged(row: Row, file: str, operator: str, alike: Counter[str]) -> ImportRow:
    cells: dict[str, Any] = {k: _plain(v) if isinstance(v, str) else v for k, v in row.cells.items()}
    try:
        texts: dict[str, Any] = {name: cells[name] or "" for name in _TEXTS}
        moment = None if cells["began"] is None else read_moment(cells["began"])
        record = tidied(
            TimeEntry(
                **texts,
                load=cells["load"],
                began=None if moment is None else moment.utc,
                utc_offset=None if moment is None else moment.offset,
                seconds=cells["time"],
                loads=cells["loads"] or 1,
                standing=cells["standing"] or 0.0,
                done=bool(cells["done"]),
                person=cells["operator"] or operator,
            )
        )
    except InputError as e:
        names = {"minutes": "time", "minutes-standing": "standing", None: "began"}
        found = (replace(f, file=file, row=row.number, field=names.get(f.field, f.field)) for f in e.faults)
        return ImportRow(row.number, "refused", "", tuple(found))
    uid, note = cells["uid"], cells["note"] or ""
    if not uid:  # the same row of the same or another file gets the same name; the second of two alike another one
        content = repr((note, record))
        alike[content] += 1
        uid = hashlib.blake2b(f"{content}|{alike[content]}".encode(), digest_size=16).hexdigest()
    return ImportRow(row.number, "taken", f"{record.subject}: {write_time(record.seconds)}", (), uid, note, record)


def _known(log: ShopLog, rows: list[ImportRow]) -> list[ImportRow]:
    """The same rows; those that are in the log already say so."""
    uids = _kept(log, [r.uid for r in rows if r.uid])
    gone = {u for (u,) in log.rows("SELECT uid FROM entries WHERE id IN (SELECT undoes FROM entries)")}
    starts = [r.record.began for r in rows if r.record is not None and r.record.began is not None]
    there: dict[Any, int] = {}
    if starts:
        question = (
            "SELECT t.person, t.began, t.seconds, t.job, t.program, t.part, e.id FROM times t JOIN entries e ON "
            "e.id = t.entry WHERE t.began BETWEEN ? AND ? AND t.seconds IS NOT NULL"
        )
        there = {tuple(found[:6]): found[6] for found in log.rows(question, (min(starts), max(starts)))}
    out = []
    for r in rows:
        if r.record is not None:
            same = (r.record.person, r.record.began, r.record.seconds, r.record.job, r.record.program, r.record.part)
            number = uids.get(r.uid) or there.get(same)
            if number is not None:
                undone = ", which was undone since" if r.uid in gone else ""
                r = replace(r, verdict="known", says=f"{r.says} stands in the log as entry {number}{undone}")
        out.append(r)
    return out


def _kept(log: ShopLog, uids: Sequence[str]) -> dict[str, int]:
    out: dict[str, int] = {}
    for k in range(0, len(uids), 900):
        some = uids[k : k + 900]
        out.update(log.rows(f"SELECT uid, id FROM entries WHERE uid IN ({', '.join('?' * len(some))})", some))
    return out


def take(log: ShopLog, plan: ImportPlan, *, good_rows: bool = False) -> int:
    """Take what a plan says, in one go.

    Parameters
    ----------
    log : ShopLog
        Open for writing.
    plan : ImportPlan
        From ``plan_import``.
    good_rows : bool
        Take the good rows although others are refused; else it is all or nothing.

    Returns
    -------
    int
        Rows taken [-].

    Raises
    ------
    InputError
        When rows are refused and ``good_rows`` is not said: then nothing is taken.
    """
    if plan.faults and not good_rows:
        raise InputError(plan.faults)
    rows = [r for r in plan.rows if r.verdict == "taken"]
    uid, name = uuid.uuid4().hex, Path(plan.file).name

    def action() -> int:
        meanwhile = _kept(log, [r.uid for r in rows])
        new = [r for r in rows if r.uid not in meanwhile]
        for r in new:
            assert r.record is not None
            log.insert(r.record, operator=plan.operator, note=r.note, origin=name, uid=r.uid)
        if new:
            log.rows("INSERT INTO imports VALUES (?, ?, ?, ?)", (uid, name, len(new), now().utc))
        return len(new)

    return log.transaction(action, "an import", name, uid) if rows else 0


# --- out -------------------------------------------------------------------------------------------------------------


def as_csv(log: ShopLog) -> str:
    """Every time that counts, as ``plan_import`` takes it; a program that reads it as formulas finds none.

    Parameters
    ----------
    log : ShopLog
        Open.
    """
    kept = io.StringIO(newline="")
    writer = csv.writer(kept, lineterminator="\n")
    writer.writerow([c.name for c in COLUMNS])
    for e in log.entries("e.kind = 'time'"):
        t = e.record
        if isinstance(t, TimeEntry) and t.seconds is not None:
            writer.writerow([_safe(str(v)) for v in _cells(e, t)])
    return kept.getvalue()


def _cells(e: Entry, t: TimeEntry) -> tuple[str, ...]:
    began = "" if t.began is None else write_moment(t.began, t.utc_offset or 0)
    return (
        began, f"{t.seconds!r} s", t.person, t.job, t.program, t.part, "" if t.load is None else str(t.load),
        str(t.loads), t.phase, t.cutter, t.machine, f"{t.standing!r} s", "yes" if t.done else "no", e.note, e.uid,
    )  # fmt: skip


def _safe(text: str) -> str:
    return (
        f"'{text}" if text[:1] and (text[0] in _ACTIVE or (text[0] == "'" and text[1:2] in (*_ACTIVE, "'"))) else text
    )


def _plain(text: str) -> str:
    return text[1:] if text[:1] == "'" and text[1:2] and text[1] in _ACTIVE + "'" else text


def as_workbook(log: ShopLog) -> bytes:
    """The log as an Excel workbook: a sheet each of times, cutters, observations, quotes, sign-offs.

    Parameters
    ----------
    log : ShopLog
        Open.

    Raises
    ------
    InputError
        When a sheet cannot hold it.
    """
    from shopcalc.documents.workbook import as_workbook as written

    found = [_times_table(log), *(_table(log, kind, title) for kind, title in _OTHERS)]
    tables = tuple(t for t in found if t.rows) or (found[0],)
    if any(len(t.rows) > _SHEET_ROWS for t in tables):
        raise InputError(Fault("a workbook cannot hold so many rows", "export a .csv file instead"))
    today = datetime.date.today()
    return written(Document("Shop log", "log", today, tables))


_OTHERS = (("cutter", "Cutters"), ("observation", "Observations"), ("quote", "Quotes"), ("sign-off", "Sign-offs"))


def _times_table(log: ShopLog) -> Table:
    head = ("entry", "began", "minutes", "operator", *_TEXTS, "load", "loads", "standing", "done", "note")
    rows = []
    for e in log.entries("e.kind = 'time'"):
        t = e.record
        if not isinstance(t, TimeEntry) or t.seconds is None:
            continue
        began = "" if t.began is None else shown_moment(t.began, t.utc_offset or 0)
        stood = t.standing / 60
        rows.append(
            (
                Figure(str(e.id), e.id, "", 0), began, Figure(f"{t.seconds / 60:.2f}", t.seconds / 60, "min", 2),
                t.person, *(str(getattr(t, n)) for n in _TEXTS), "" if t.load is None else str(t.load), str(t.loads),
                Figure(f"{stood:.2f}", stood, "min", 2), "yes" if t.done else "no", e.note,
            )
        )  # fmt: skip
    return Table("Times", head, tuple(rows), frozenset({0, 2, 12}))


def _table(log: ShopLog, kind: str, title: str) -> Table:
    from dataclasses import fields

    from shopcalc.shoplog.records import KINDS

    units = {"distance": "mm", "seconds": "s", "diameter": "mm", "size_off": "mm"}
    names = [f.name for f in fields(KINDS[kind][0]) if f.name != "quote"]
    rows: list[tuple[Cell, ...]] = []
    for e in log.entries("e.kind = ?", (kind,)):
        cells = [getattr(e.record, n) for n in names]
        shown: list[Cell] = [
            Figure(str(v), v, units[n]) if n in units and v is not None else "" if v is None else str(v)
            for n, v in zip(names, cells, strict=True)
        ]
        rows.append((Figure(str(e.id), e.id, "", 0), shown_moment(e.recorded, e.recorded_offset), e.operator,
                     *shown, e.note))  # fmt: skip
    return Table(title, ("entry", "recorded", "operator", *names, "note"), tuple(rows), frozenset({0}))
