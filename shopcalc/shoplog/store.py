"""The log's file: opened, written in transactions, read; several processes may do so at once.

Nothing is ever changed or taken out. An entry counts as long as no other replaces or undoes it; an undo that is itself
the last word on an entry brings back what that entry had replaced.
"""

from __future__ import annotations

import contextlib
import glob
import random
import sqlite3
import threading
import time
import uuid
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any, TypeVar

from shopcalc.documents import clean
from shopcalc.errors import Fault, InputError
from shopcalc.shoplog.clock import Moment, now, shown_moment
from shopcalc.shoplog.marks import RunMark, left_behind
from shopcalc.shoplog.migrations import STEPS, migrate, reached
from shopcalc.shoplog.records import KINDS, LogRecord, TimeEntry, as_cells, from_cells, kind_of, tidied
from shopcalc.units import write_time

FILE = "log.sqlite"
_PATIENCE = 60.0  # s to wait for other processes
_BUSY = 2.0  # s SQLite waits by itself before we look at the clock
_LATE = 120.0  # s by which the clock may stand before the last entry
_T = TypeVar("_T")

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


class ShopLog:
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
        self.path, self.writable, self.clock = path, writable, clock
        self.told: list[str] = []
        self._turn = threading.RLock()
        self._mark = RunMark(path)
        self._database = self._patiently(self._opened)
        try:
            self._patiently(self._prepare)
        except InputError as e:  # of the file, whatever was to be done with it
            self.close()
            raise InputError([replace(f, file=str(path)) for f in e.faults]) from None
        except BaseException:
            self.close()
            raise

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

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the file; what was confirmed stands in it."""
        with self._turn:
            database = getattr(self, "_database", None)
            if database is not None:
                with contextlib.suppress(sqlite3.Error):
                    database.close()
            self._mark.close()

    # --- opening -----------------------------------------------------------------------------------------------------

    def _opened(self) -> sqlite3.Connection:
        mode = "rwc" if self.writable else "ro"
        address = self.path.resolve().as_uri()
        try:
            database = _connected(f"{address}?mode={mode}")
        except sqlite3.OperationalError:
            wal = self.path.with_name(self.path.name + "-wal")
            if self.writable or (wal.exists() and wal.stat().st_size):
                raise
            database = _connected(f"{address}?immutable=1")  # a folder that takes no files: nobody writes there
        return database

    def _prepare(self) -> None:
        database = self._database
        at = reached(database)
        if not self.writable:
            if at < len(STEPS):
                remedy = "shopcalc log check brings them up to date"
                raise InputError(Fault("its tables are those of an older version", remedy))
            return
        behind = list(left_behind(self.path))
        if at < len(STEPS):
            self._mark.set("tables")
        database.execute("PRAGMA journal_mode = WAL")
        database.execute("PRAGMA foreign_keys = ON")
        database.execute("PRAGMA synchronous = NORMAL")  # tables alone may be made again after the power went
        migrate(database)
        database.execute("PRAGMA synchronous = FULL")  # an entry that was confirmed outlives that
        database.execute("BEGIN IMMEDIATE")  # a file that cannot be written is refused now, not at the first entry
        database.execute("ROLLBACK")
        self._mark.set("idle")
        self.told += [t for t in (self._recovered(b) for b in behind) if t]
        if self.told and (running := len(self.running())):
            self.told.append(f"{running} timer{'s' if running > 1 else ''} went on meanwhile and still run")

    def _recovered(self, doing: Mapping[str, Any]) -> str:
        """What an earlier run was at when it ended without closing, and what is there of it."""
        what, about, uid = doing.get("what"), doing.get("about", ""), doing.get("uid", "")
        cut = f"an earlier run was cut off during {what} ({about})"
        if what == "idle":
            last = self.rows("SELECT coalesce(max(id), 0) FROM entries")[0][0]
            return f"an earlier run ended without closing the log: all its entries are kept, the last is entry {last}"
        if what == "tables":
            return "an earlier run was cut off while it made the log's tables: they are complete now"
        if what == "an entry":
            known = self.rows("SELECT id FROM entries WHERE uid = ?", (uid,))
            return f"{cut}: entry {known[0][0]} is whole and kept" if known else f"{cut}: not written, give it again"
        if what == "an import":
            known = self.rows("SELECT rows FROM imports WHERE uid = ?", (uid,))
            return f"{cut}: all {known[0][0]} rows are kept" if known else f"{cut}: no row was taken, import it again"
        if what == "a backup":
            draft = Path(str(doing.get("draft", "")))
            if draft.name.startswith(".shopcalc-"):
                for piece in draft.parent.glob(f"{glob.escape(draft.name)}*"):
                    with contextlib.suppress(OSError):
                        piece.unlink()
            whole = Path(str(doing.get("target", ""))).is_file()
            return f"{cut}: the backup is whole" if whole else f"{cut}: what was begun is removed, make it again"
        if what == "a restoring":
            return f"{cut}: look at the list, and restore again if it is not what you want"
        return ""

    # --- reading and writing -------------------------------------------------------------------------------------

    def rows(self, statement: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        """Rows of a question.

        Parameters
        ----------
        statement : str
            In SQL.
        values : sequence
            For its question marks.

        Raises
        ------
        InputError
            When the file cannot be read.
        """
        return self._patiently(lambda: self._database.execute(statement, values).fetchall())

    def transaction(self, action: Callable[[], _T], what: str, about: str, uid: str) -> _T:
        """Do several things or none of them; waits for other processes.

        Parameters
        ----------
        action : callable
            Calls ``insert``; may be called again when another process was in the way.
        what, about, uid : str
            For whoever finds it cut off.

        Returns
        -------
        object
            What ``action`` gives, once it is safely on the disk.

        Raises
        ------
        InputError
            When nothing could be written, with the reason; or what ``action`` raises.
        """
        if not self.writable:
            raise InputError(Fault("the log is open for reading only", "open it for writing", file=str(self.path)))

        def attempt() -> _T:
            self._database.execute("BEGIN IMMEDIATE")
            try:
                done = action()
                self._database.execute("COMMIT")
            except BaseException:
                if self._database.in_transaction:
                    self._database.execute("ROLLBACK")
                raise
            return done

        with self._turn:
            self._mark.set(what, about, uid=uid)
            try:
                return self._patiently(attempt)
            finally:
                self._mark.set("idle")

    def _patiently(self, action: Callable[[], _T]) -> _T:
        """Again and again while other processes are in the way; every other trouble in words."""
        until = time.monotonic() + _PATIENCE
        pause = 0.002
        with self._turn:
            while True:
                try:
                    return action()
                except sqlite3.Error as e:
                    if not (_code(e) in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED) and time.monotonic() < until):
                        raise InputError(_trouble(e, self.path)) from None
                time.sleep(pause * random.uniform(0.5, 1.5))
                pause = min(2 * pause, 0.25)

    @contextlib.contextmanager
    def doing(self, what: str, about: str, **more: str) -> Iterator[None]:
        """Say what is being done besides writing entries, for whoever finds it cut off.

        Parameters
        ----------
        what, about : str
            For people.
        **more : str
            What its end is seen by.
        """
        self._mark.set(what, about, **more)
        try:
            yield
        finally:
            self._mark.set("idle")

    def copy_to(self, other: sqlite3.Connection) -> None:
        """Copy the whole file as it stands at this moment.

        Parameters
        ----------
        other : Connection
            To an empty file.
        """
        with self._turn:
            self._database.backup(other)

    def copy_from(self, other: sqlite3.Connection) -> None:
        """Take the contents of another file in place of this one's, all at once.

        Parameters
        ----------
        other : Connection
            To a whole log.
        """
        with self._turn:
            self._patiently(lambda: other.backup(self._database))

    # --- entries -------------------------------------------------------------------------------------------------

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
                    "SELECT id FROM entries e WHERE operator = ? AND undoes IS NULL AND NOT EXISTS "
                    "(SELECT 1 FROM entries u WHERE u.undoes = e.id) ORDER BY id DESC LIMIT 1",
                    (name,),
                )
                if not found:
                    remedy = "name the entry: shopcalc log undo --entry N (shopcalc log list shows them)"
                    raise InputError(Fault(f"{name or 'nobody'} has no entry to undo", remedy))
                number = found[0][0]
            target = self.entry(number)
            if target.kind == "undo":
                raise InputError(Fault(f"entry {number} is itself an undo", "give the entry again instead"))
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


def _connected(address: str) -> sqlite3.Connection:
    database = sqlite3.connect(address, uri=True, timeout=_BUSY, isolation_level=None, check_same_thread=False)
    try:
        database.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except BaseException:
        database.close()
        raise
    return database


def _code(error: sqlite3.Error) -> int:
    return int(getattr(error, "sqlite_errorcode", 0)) & 0xFF


def _not_writable(path: Path) -> Fault:
    remedy = "make a shop of your own: shopcalc new my-shop, then --shop my-shop; or mend the permissions"
    return Fault("the log cannot be written here", remedy, file=str(path))


def _trouble(error: sqlite3.Error, path: Path) -> Fault:
    """What went wrong with the file, in words, and what to do."""
    code, file = _code(error), str(path)
    kept = "nothing of this was written, everything confirmed before is kept"
    if code in (sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR):
        full = "the disk is full" if code == sqlite3.SQLITE_FULL else "the disk could not be read or written"
        return Fault(f"{full}: {kept}", "make room or check the disk, then give it again", file=file)
    if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM):
        return _not_writable(path)
    if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
        remedy = "shopcalc log restore BACKUP puts a backup in its place; the damaged file is kept beside it"
        return Fault("the log is damaged", remedy, file=file)
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        message = f"another process has been writing for {_PATIENCE:.0f} s: {kept}"
        return Fault(message, "wait until it is done, then give it again", file=file)
    return Fault(f"the log cannot be used ({error})", "shopcalc log check says more", file=file)
