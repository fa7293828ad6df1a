"""Backups while the log is in use, putting one back, and looking whether a file is whole."""

from __future__ import annotations

import contextlib
import datetime
import os
import shutil
import sqlite3
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from shopcalc.errors import Fault, InputError
from shopcalc.shoplog.migrations import reached
from shopcalc.shoplog.records import KINDS
from shopcalc.shoplog.store import FILE, ShopLog


@dataclass(frozen=True)
class Checked:
    """What a look at the file found.

    Parameters
    ----------
    entries, running : int
        In the log, and timers of it that run [-].
    troubles : tuple of str
        What is wrong; empty where it is whole.
    """

    entries: int
    running: int
    troubles: tuple[str, ...]


def check(log: ShopLog) -> Checked:
    """Look whether the file is whole.

    Parameters
    ----------
    log : ShopLog
        Open.

    Raises
    ------
    InputError
        When it cannot even be read.
    """
    found = [row[0] for row in log.rows("PRAGMA integrity_check") if row[0] != "ok"]
    for table, row, other, _ in log.rows("PRAGMA foreign_key_check"):
        found.append(f"row {row} of {table} belongs to a row of {other} that is not there")
    for kind, (_, table) in KINDS.items():
        question = f"SELECT count(*) FROM entries WHERE kind = ? AND id NOT IN (SELECT entry FROM {table})"
        if missing := log.rows(question, (kind,))[0][0]:
            found.append(f"{missing} entries of kind {kind} have nothing in them")
    return Checked(log.rows("SELECT count(*) FROM entries")[0][0], len(log.running()), tuple(found))


def backup(log: ShopLog, target: Path | str) -> int:
    """Copy the log while others go on writing; the copy is whole or not there.

    Parameters
    ----------
    log : ShopLog
        Open for writing.
    target : Path or str
        A new file.

    Returns
    -------
    int
        Entries in the copy [-].

    Raises
    ------
    InputError
        When it exists already, or cannot be written.
    """
    place = Path(target).resolve()
    if place.exists():
        raise InputError(Fault("there is such a file already", "name a new one", file=str(target)))
    if not place.parent.is_dir():
        raise InputError(Fault("there is no such folder", "make it, or name another", file=str(place.parent)))
    draft = place.with_name(f".shopcalc-{place.name}-{os.getpid()}")
    with log.doing("a backup", str(target), draft=str(draft), target=str(place)):
        try:
            count = _copied(log, draft)
            os.replace(draft, place)
        except (OSError, sqlite3.Error) as e:
            reason = (getattr(e, "strerror", None) or str(e)).lower()
            raise InputError(
                Fault(f"no backup was made ({reason})", "check space and permissions", str(target))
            ) from None
        finally:
            for piece in (draft, draft.with_name(f"{draft.name}-journal")):
                with contextlib.suppress(OSError):
                    piece.unlink()
    return count


def _copied(log: ShopLog, draft: Path) -> int:
    with contextlib.closing(sqlite3.connect(draft, isolation_level=None)) as copy:
        log.copy_to(copy)
        copy.execute("PRAGMA journal_mode = DELETE")  # one file, nothing beside it
        troubles = [row[0] for row in copy.execute("PRAGMA integrity_check") if row[0] != "ok"]
        if troubles:
            message = f"the copy is not whole: {troubles[0]}"
            raise InputError(Fault(message, "shopcalc log check looks at the log itself", file=str(log.path)))
        count = int(copy.execute("SELECT count(*) FROM entries").fetchone()[0])
    with draft.open("rb+") as file:
        os.fsync(file.fileno())
    return count


def restore(folder: Path | str, source: Path | str) -> list[str]:
    """Put a backup in the log's place; what stood there is kept beside it.

    Parameters
    ----------
    folder : Path or str
        Of the shop.
    source : Path or str
        The backup.

    Returns
    -------
    list of str
        What was done, for people.

    Raises
    ------
    InputError
        When the backup is not whole or not a log; then nothing was changed.
    """
    count = _whole(Path(source))
    path = Path(folder) / FILE
    stamp = f"{datetime.datetime.now():%Y%m%d-%H%M%S}"
    if not path.exists():
        _put(Path(source), path)
        return [f"{count} entries are back"]
    try:
        log = ShopLog.of(folder)
    except InputError as e:
        if not any("damaged" in f.message for f in e.faults):
            raise
        kept = _aside(path, stamp)
        _put(Path(source), path)
        return [f"{count} entries are back", f"the damaged log is kept as {kept}"]
    with log:
        try:
            aside = path.with_name(f"log-before-restoring-{stamp}.sqlite")
            there = backup(log, aside)
        except InputError as e:
            if not any("whole" in f.message for f in e.faults):
                raise
            log.close()
            kept = _aside(path, stamp)
            _put(Path(source), path)
            return [f"{count} entries are back", f"the damaged log is kept as {kept}"]
        with log.doing("a restoring", str(source)), contextlib.closing(_read_only(Path(source))) as copy:
            log.copy_from(copy)
    with ShopLog.of(folder):  # an older backup's tables are brought up to date
        pass
    return [f"{count} entries are back", f"the log as it was, with {there} entries, is kept as {aside}"]


def _read_only(path: Path) -> sqlite3.Connection:
    return sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True, isolation_level=None)


def _whole(source: Path) -> int:
    """Entries of a backup; it is refused when it is not whole."""
    if not source.is_file():
        raise InputError(Fault("there is no such file", "name a file that shopcalc log backup made", file=str(source)))
    try:
        with contextlib.closing(_read_only(source)) as copy:
            if not reached(copy):
                raise InputError(Fault("there is no log in it", "name a file that shopcalc log backup made"))
            troubles = [row[0] for row in copy.execute("PRAGMA integrity_check") if row[0] != "ok"]
            if troubles:
                raise InputError(Fault(f"the backup is damaged: {troubles[0]}", "take another backup"))
            return int(copy.execute("SELECT count(*) FROM entries").fetchone()[0])
    except InputError as e:
        raise InputError([Fault(f.message, f.remedy, file=str(source)) for f in e.faults]) from None
    except sqlite3.Error as e:
        raise InputError(Fault(f"the backup is damaged ({e})", "take another backup", file=str(source))) from None


def _aside(path: Path, stamp: str) -> Path:
    kept = path.with_name(f"log-damaged-{stamp}.sqlite")
    for end in ("-wal", "-shm", ""):
        with contextlib.suppress(FileNotFoundError):
            os.replace(f"{path}{end}", f"{kept}{end}")
    return kept


def _put(source: Path, path: Path) -> None:
    draft = path.with_name(f".shopcalc-{path.name}-{os.getpid()}")
    _attempt(lambda: shutil.copyfile(source, draft), draft)
    os.replace(draft, path)


def _attempt(action: Callable[[], object], draft: Path) -> None:
    try:
        action()
    except OSError as e:
        with contextlib.suppress(OSError):
            draft.unlink()
        reason = (e.strerror or str(e)).lower()
        raise InputError(Fault(f"the backup could not be put back ({reason})", "make room", file=str(draft))) from None
