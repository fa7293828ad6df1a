"""Entries of the log: added, corrected, undone, read.

Nothing is ever changed or taken out. An entry counts as long as no other replaces or undoes it; an undo that is itself
the last word on an entry brings back what that entry had replaced.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

from shopcalc.documents import clean
from shopcalc.errors import Fault, InputError
from shopcalc.shoplog.clock import Moment, now, shown_moment
from shopcalc.shoplog.file import LogFile
from shopcalc.shoplog.records import KINDS, LogRecord, TimeEntry, as_cells, from_cells, kind_of, tidied
from shopcalc.units import write_time

FILE = "log.sqlite"
_LATE = 120.0  # s by which the clock may stand before the last entry

#: Of ``entries e``: counts still, because nothing that counts replaces or undoes it.
IN_FORCE = (
    "e.undoes IS NULL AND NOT EXISTS (SELECT 1 FROM entries u WHERE u.undoes = e.id) AND NOT EXISTS (SELECT 1 FROM "
    "entries r WHERE r.replaces = e.id AND NOT EXISTS (SELECT 1 FROM entries u WHERE u.undoes = r.id))"
)


@dataclass(frozen=True)
class Written:
    """What became of a request to write.

    Parameters
    ----------
    entry : int
        Its number.
    uid : str
        Its name in every copy of the log.
    notes : tuple of str
        What people should know of it.
    """

    entry: int
    uid: str
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Entry:
    """One entry as it stands in the log.

    Parameters
    ----------
    id : int
        Its number.
    uid : str
        Its name in every copy of the log.
    kind : str
        Of ``records.KINDS``, or "undo".
    recorded : int
        UTC, since 1970 [µs].
    recorded_offset : int
        Of the local time, east of UTC [min].
    operator : str
        Who made it.
    replaces, undoes : int or None
        Numbers of other entries.
    origin : str
        "by hand", "timer", or the file it was imported from.
    note : str
        For people.
    record : LogRecord or None
        What it holds; None for an undo.
    """

    id: int
    uid: str
    kind: str
    recorded: int
    recorded_offset: int
    operator: str
    replaces: int | None
    undoes: int | None
    origin: str
    note: str
    record: LogRecord | None

    @property
    def says(self) -> str:
        """In one line, for people."""
        if self.record is None:
            return f"undo of entry {self.undoes}"
        if not isinstance(self.record, TimeEntry):
            return self.record.subject
        long = "running" if self.record.seconds is None else write_time(self.record.seconds)
        return f"{self.record.subject}: {long}"

    @property
    def whose(self) -> str:
        """Whose time it is, or who made the entry."""
        return self.record.person if isinstance(self.record, TimeEntry) else self.operator


_HEAD = tuple(f.name for f in fields(Entry))[:-1]


class ShopLog(LogFile):
    """A shop's log, open.

    Parameters
    ----------
    path : Path
        Of the file.
    writable : bool
        Whether entries will be made; the file is then made where there is none.
    clock : callable
        Gives the present moment.

    Attributes
    ----------
    told : list of str
        What people should know: what an earlier run left undone, and what was made of it.

    Example
    -------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder, ShopLog(Path(folder) / "log.sqlite") as log:
    ...     log.add(TimeEntry("Garden gates", "rail-ends", seconds=204.0), operator="Ann").entry
    1
    """

    def __init__(self, path: Path, *, writable: bool = True, clock: Callable[[], Moment] = now) -> None:
        self.clock = clock
        super().__init__(path, writable=writable)
        if self.told and (running := len(self.running())):
            timers = "1 timer went on meanwhile and still runs" if running == 1 else f"{running} timers still run"
            self.told.append(timers)

    @classmethod
    def of(cls, folder: Path | str, *, writable: bool = True, clock: Callable[[], Moment] = now) -> ShopLog:
        """The log in a shop's folder.

        Parameters
        ----------
        folder : Path or str
            Of the shop.
        writable : bool
            Whether entries will be made.
        clock : callable
            Gives the present moment.

        Raises
        ------
        InputError
            When it cannot be opened: why, and what to do.
        """
        path = Path(folder) / FILE
        if not writable and not path.exists():
            raise InputError(Fault("nothing is logged yet", "say e.g.: shopcalc log start --job JOB", file=str(path)))
        if not path.parent.is_dir():
            raise InputError(Fault("there is no such folder", "name a shop's folder", file=str(path.parent)))
        return cls(path, writable=writable, clock=clock)

    def __enter__(self) -> ShopLog:
        return self

    def add(
        self, record: LogRecord, *, operator: str, note: str = "", replaces: int | None = None, origin: str = "by hand"
    ) -> Written:
        """Add an entry.

        Parameters
        ----------
        record : LogRecord
            What it holds.
        operator : str
            Who makes it.
        note : str
            For people.
        replaces : int or None
            Number of an entry it corrects.
        origin : str
            Where it comes from.

        Returns
        -------
        Written
            Once it is on the disk.

        Raises
        ------
        InputError
            When something is wrong with it, or it could not be written.
        """
        record, uid = tidied(record), uuid.uuid4().hex

        def action() -> Written:
            return self.insert(record, operator=operator, note=note, replaces=replaces, origin=origin, uid=uid)

        return self.transaction(action, "an entry", record.subject, uid)

    def insert(
        self,
        record: LogRecord,
        *,
        operator: str,
        note: str = "",
        replaces: int | None = None,
        origin: str = "by hand",
        uid: str | None = None,
    ) -> Written:
        """Add an entry within a transaction.

        Parameters
        ----------
        record : LogRecord
            Tidied.
        operator, note : str
            Who makes it; for people.
        replaces : int or None
            Number of an entry it corrects.
        origin : str
            Where it comes from.
        uid : str or None
            Its name; None takes a new one.

        Raises
        ------
        InputError
            When what it corrects does not count any more, or is of another kind.
        """
        if isinstance(record, TimeEntry) and not record.person:
            record = replace(record, person=clean(operator))
        kind, cells = kind_of(record), as_cells(record)
        if replaces is not None:
            other = self.entry(replaces)
            if other.kind != kind:
                raise InputError(Fault(f"entry {replaces} is of kind '{other.kind}'", f"correct it as a {other.kind}"))
            self._refuse_gone(other)
        uid = uid or uuid.uuid4().hex
        number, notes = self._head(uid, kind, operator, replaces, None, origin, note)
        names = ", ".join(cells)
        self._database.execute(
            f"INSERT INTO {KINDS[kind][1]} (entry, {names}) VALUES (?{', ?' * len(cells)})", (number, *cells.values())
        )
        return Written(number, uid, notes)

    def _head(
        self, uid: str, kind: str, operator: str, replaces: int | None, undoes: int | None, origin: str, note: str
    ) -> tuple[int, tuple[str, ...]]:
        operator = clean(operator)
        if not operator:
            raise InputError(Fault("nobody is named who makes the entry", "give --operator NAME", field="operator"))
        at, notes = self.clock(), []
        last = self._database.execute(
            "SELECT recorded, recorded_offset FROM entries ORDER BY id DESC LIMIT 1"
        ).fetchone()
        if last is not None and at.utc < last[0] - _LATE * 1e6:
            notes = [f"the clock says {at.shown}, but the last entry is of {shown_moment(*last)}: set the clock right"]
        row = self._database.execute(
            "INSERT INTO entries (uid, kind, recorded, recorded_offset, operator, replaces, undoes, origin, note) "
            "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (uid, kind, at.utc, at.offset, operator, replaces, undoes, origin, clean(note)),
        )
        assert row.lastrowid is not None
        return row.lastrowid, tuple(notes)

    def undo(self, *, operator: str, entry: int | None = None) -> tuple[Entry, Written]:
        """Take an entry back; what it had replaced counts again.

        Parameters
        ----------
        operator : str
            Who undoes.
        entry : int or None
            Its number; None takes this operator's last one that is not undone.

        Returns
        -------
        undone : Entry
            What was taken back.
        written : Written
            The entry that says so.

        Raises
        ------
        InputError
            When there is none, or another one was built on it since.
        """
        uid, name = uuid.uuid4().hex, clean(operator)

        def action() -> tuple[Entry, Written]:
            number = entry
            if number is None:
                found = self.rows(
                    "SELECT id FROM entries e WHERE operator = ? AND undoes IS NULL AND kind <> 'answer' "
                    "AND NOT EXISTS (SELECT 1 FROM entries u WHERE u.undoes = e.id) ORDER BY id DESC LIMIT 1",
                    (name,),
                )
                if not found:
                    remedy = "name the entry: shopcalc log undo --entry N (shopcalc log list shows them)"
                    raise InputError(Fault(f"{name or 'nobody'} has no entry to undo", remedy))
                number = found[0][0]
            target = self.entry(number)
            if target.kind == "undo":
                raise InputError(Fault(f"entry {number} is itself an undo", "give the entry again instead"))
            if target.kind == "answer":
                raise InputError(Fault("an answer to an exercise stands", "answer the next exercise: the latest count"))
            self._refuse_gone(target)
            made, notes = self._head(uid, "undo", operator, None, number, "by hand", "")
            return target, Written(made, uid, notes)

        return self.transaction(action, "an entry", "undo", uid)

    def _refuse_gone(self, target: Entry) -> None:
        """Refuse to build on an entry that does not count any more."""
        gone = self.rows("SELECT id, operator FROM entries WHERE undoes = ?", (target.id,))
        if gone:
            message = f"entry {target.id} ({target.says}) was undone by {gone[0][1]}"
            raise InputError(Fault(message, "give it again as a new entry"))
        later = self.rows(
            "SELECT r.id, r.operator FROM entries r WHERE r.replaces = ? AND NOT EXISTS "
            "(SELECT 1 FROM entries u WHERE u.undoes = r.id)",
            (target.id,),
        )
        if later:
            message = f"entry {target.id} ({target.says}) was replaced since by entry {later[0][0]} of {later[0][1]}"
            raise InputError(Fault(message, f"correct or undo entry {later[0][0]}"))

    def entry(self, number: int) -> Entry:
        """One entry, whether it counts or not.

        Parameters
        ----------
        number : int
            Its number.

        Raises
        ------
        InputError
            When there is none.
        """
        found = list(self.entries("e.id = ?", (number,), all_=True))
        if not found:
            raise InputError(Fault(f"there is no entry {number}", "shopcalc log list shows them"))
        return found[0]

    def running(self, operator: str | None = None) -> list[Entry]:
        """Timers that run, the oldest first.

        Parameters
        ----------
        operator : str or None
            Whose; None takes everybody's.
        """
        mine = "" if operator is None else " AND person = ?"
        where = f"e.id IN (SELECT entry FROM times WHERE seconds IS NULL{mine})"
        return list(self.entries(where, () if operator is None else (clean(operator),)))

    def entries(
        self, where: str = "1", values: Sequence[Any] = (), *, all_: bool = False, last: int | None = None
    ) -> Iterator[Entry]:
        """Entries in the order they were made.

        Parameters
        ----------
        where : str
            Condition in SQL on ``entries e``.
        values : sequence
            For its question marks.
        all_ : bool
            Also those that do not count any more, and undos.
        last : int or None
            Only so many of the end.
        """
        condition = where if all_ else f"({where}) AND {IN_FORCE}"
        end = "" if last is None else f" DESC LIMIT {int(last)}"
        columns = ", ".join(f"e.{name}" for name in _HEAD)
        heads = self.rows(f"SELECT {columns} FROM entries e WHERE {condition} ORDER BY e.id{end}", values)
        heads = heads if last is None else heads[::-1]
        bodies = {kind: self._bodies(kind, [h[0] for h in heads if h[2] == kind]) for kind in KINDS}
        for head in heads:
            cells = dict(zip(_HEAD, head, strict=True))
            yield Entry(**cells, record=bodies[head[2]][head[0]] if head[2] in KINDS else None)

    def _bodies(self, kind: str, numbers: list[int]) -> dict[int, LogRecord]:
        record, table = KINDS[kind]
        names = [f.name for f in fields(record)]
        out: dict[int, LogRecord] = {}
        for k in range(0, len(numbers), 900):  # as many as a statement surely takes
            some = numbers[k : k + 900]
            marks = ", ".join("?" * len(some))
            question = f"SELECT entry, {', '.join(names)} FROM {table} WHERE entry IN ({marks})"
            for number, *cells in self.rows(question, some):
                out[number] = from_cells(kind, dict(zip(names, cells, strict=True)))
        return out
