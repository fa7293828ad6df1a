"""The log's file: opened, written in transactions, read; several processes may do so at once."""

from __future__ import annotations

import contextlib
import glob
import random
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeVar

from shopcalc.errors import Fault, InputError
from shopcalc.shoplog.marks import RunMark, left_behind
from shopcalc.shoplog.migrations import STEPS, migrate, reached

_PATIENCE = 60.0  # s to wait for other processes
_BUSY = 2.0  # s SQLite waits by itself before we look at the clock
_T = TypeVar("_T")


class LogFile:
    """The file of a log, open.

    Parameters
    ----------
    path : Path
        Of the file.
    writable : bool
        Whether it will be written; it is then made where there is none.

    Attributes
    ----------
    told : list of str
        What people should know: what an earlier run left undone, and what was made of it.
    """

    def __init__(self, path: Path, *, writable: bool = True) -> None:
        self.path, self.writable = path, writable
        self.told: list[str] = []
        self._behind: list[Mapping[str, Any]] = []
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

    def __enter__(self) -> LogFile:
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
        self._behind += left_behind(self.path)
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
        self.told += [t for t in (self._recovered(b) for b in self._behind) if t]

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
