"""What was found out about programs, kept in the user's cache folder while program, machine and package stay the same.

The cache only saves time: whatever is wrong with it, programs are timed as if it were empty, and why is said once.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
import time
import zlib
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from shopcalc.machines import Axis, Controller, Machine, Spindle, Times
from shopcalc.program_times.results import ProgramTime, Refused

_PACKAGE = Path(__file__).parents[1]
#: What decides what a program's time is, and how a machine's file is read: a change there makes every answer old.
_DECIDING = (
    "gcode", "motion", "program_times", "compiling.py", "errors.py", "machines.py", "moves.py", "reading.py",
    "units.py",
)  # fmt: skip
#: Fields of a machine that change no time and no warning.
_FOR_PEOPLE = ("name", "title", "stations", "rack_places", "source", "kind", "calibrated", "spread", "holder")
_FILE = "programs.sqlite"
_FORMAT = 1  # of the table below
_MOST_BYTES = 64_000_000  # of answers; a usual one has 1000
_PATIENCE = 5.0  # s to wait for another process
_A_DAY = 86_400  # s; when an answer was last used need not be known better


class ProgramCache:
    """Answers about programs by what they depend on; several processes may use one at once.

    Parameters
    ----------
    folder : Path, optional
        Where it is, or is made; the user's cache folder by default.
    most_bytes : int
        Of answers kept; those longest unused go first.

    Attributes
    ----------
    complaint : str or None
        Why it cannot be used, or only be read.

    Example
    -------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder, ProgramCache(Path(folder)) as cache:
    ...     key = cache.key(b"the digest of a program", Machine())
    ...     print(cache.get(key, "door.nc"))
    None
    """

    def __init__(self, folder: Path | None = None, most_bytes: int = _MOST_BYTES) -> None:
        self.complaint: str | None = None
        self._most_bytes = most_bytes
        self._machine_texts: list[tuple[Machine, bytes]] = []
        self._used: list[bytes] = []
        self._new: list[tuple[bytes, bytes]] = []
        self._database: sqlite3.Connection | None = None
        try:
            self._path = (folder if folder is not None else _user_folder()) / _FILE
            self._path.parent.mkdir(parents=True, exist_ok=True)
            self._open()
        except (OSError, sqlite3.Error) as e:
            self._give_up(e)

    def __enter__(self) -> ProgramCache:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _open(self) -> None:
        try:
            self._database = _opened(self._path)
        except sqlite3.DatabaseError as e:
            if not _is_damaged(e):
                raise
            self._start_anew()

    def _start_anew(self) -> None:
        """Put an empty file in place of a damaged one; whoever still has that open keeps it to himself."""
        if self._database is not None:
            self._database.close()
            self._database = None
        self.complaint = f"what was remembered of programs was damaged, and is gathered anew in {self._path}"
        self._path.unlink()
        self._database = _opened(self._path)

    def _failed(self, error: Exception) -> None:
        """Begin anew after damage, and go on without a cache after anything else."""
        if _is_damaged(error) and self.complaint is None:
            try:
                self._start_anew()
                return
            except (OSError, sqlite3.Error) as e:
                error = e
        self._give_up(error)

    def _give_up(self, error: Exception) -> None:
        if self._database is not None:
            self._database.close()
            self._database = None
        reason = (getattr(error, "strerror", None) or str(error)).lower()
        self.complaint = f"what was found out about programs cannot be remembered ({reason})"

    # --- answers about programs ----------------------------------------------------------------------------------

    def key(self, content: bytes, machine: Machine) -> bytes:
        """What the answer about a program depends on, in short.

        Parameters
        ----------
        content : bytes
            Digest of the program's file.
        machine : Machine
            Its limits and its dialect; names and notes count for nothing.
        """
        text = next((t for m, t in self._machine_texts if m is machine), None)
        if text is None:
            text = "|".join(
                f"{f.name}={_text(getattr(machine, f.name))}" for f in fields(machine) if f.name not in _FOR_PEOPLE
            ).encode()
            self._machine_texts.append((machine, text))
        return hashlib.blake2b(b"\0".join((b"program", content, text, engine())), digest_size=20).digest()

    def get(self, key: bytes, file: str) -> ProgramTime | Refused | None:
        """The answer kept under a key, or None.

        Parameters
        ----------
        key : bytes
            From ``key``.
        file : str
            What the program is called this time.
        """
        document = self._read(key)
        try:
            if isinstance(document, list):
                kind: type[ProgramTime] | type[Refused] = Refused if document[0] == "refused" else ProgramTime
                return kind.from_document(file, document[1])
        except (TypeError, ValueError, IndexError):  # not written by this version, whatever its key says
            pass
        return None

    def put(self, key: bytes, answer: ProgramTime | Refused) -> None:
        """Keep an answer; a refusal only when it is about the text itself.

        Parameters
        ----------
        key : bytes
            From ``key``.
        answer : ProgramTime or Refused
            About that program.
        """
        if isinstance(answer, Refused):
            if any(f.line is None for f in answer.faults):
                return
            self._write(key, ["refused", answer.document()])
        else:
            self._write(key, ["time", answer.document()])

    # --- machines ------------------------------------------------------------------------------------------------

    def machine(self, content: bytes, name: str) -> Machine | None:
        """A machine as it was read from a file, without its stations, or None.

        Parameters
        ----------
        content : bytes
            Digest of the file.
        name : str
            Which of its machines.
        """
        document = self._read(_machine_key(content, name))
        try:
            return None if document is None else _machine_of(document)
        except (TypeError, ValueError, KeyError):
            return None

    def put_machine(self, content: bytes, name: str, machine: Machine) -> None:
        """Keep a machine.

        Parameters
        ----------
        content : bytes
            Digest of the file it was read from.
        name : str
            Which of its machines.
        machine : Machine
            What was read.
        """
        document = {f.name: _plain(getattr(machine, f.name)) for f in fields(machine)}
        del document["stations"]
        back = _machine_of(json.loads(json.dumps(document)))
        if all(_text(getattr(back, k)) == _text(getattr(machine, k)) for k in document):
            self._write(_machine_key(content, name), document)

    # --- the file ------------------------------------------------------------------------------------------------

    def _read(self, key: bytes) -> Any:
        if self._database is None:
            return None
        try:
            row = self._database.execute("SELECT document, used FROM answers WHERE key = ?", (key,)).fetchone()
        except sqlite3.Error as e:
            self._failed(e)
            return None
        if row is None:
            return None
        try:
            document = json.loads(zlib.decompress(row[0]))
        except (TypeError, ValueError, zlib.error):  # damaged: timed again and written over
            return None
        if time.time() - row[1] > _A_DAY:
            self._used.append(key)
        return document

    def _write(self, key: bytes, document: Any) -> None:
        if self._database is not None:
            self._new.append((key, zlib.compress(json.dumps(document).encode())))

    def save(self) -> None:
        """Write what was put so far."""
        if self._database is None or not (self._new or self._used):
            return
        now = int(time.time())
        try:
            with self._database:
                self._database.execute("BEGIN IMMEDIATE")
                rows = [(key, now, len(document), document) for key, document in self._new]
                self._database.executemany("INSERT OR REPLACE INTO answers VALUES (?, ?, ?, ?)", rows)
                used = [(now, key) for key in self._used]
                self._database.executemany("UPDATE answers SET used = ? WHERE key = ?", used)
                if self._new:
                    self._leave_out_oldest()
        except sqlite3.Error as e:
            self._failed(e)
        self._new, self._used = [], []

    def _leave_out_oldest(self) -> None:
        assert self._database is not None
        (size,) = self._database.execute("SELECT total(size) FROM answers").fetchone()
        if size <= self._most_bytes:
            return
        keys = []
        for key, own in self._database.execute("SELECT key, size FROM answers ORDER BY used, rowid"):
            if size <= 0.8 * self._most_bytes:
                break
            keys.append((key,))
            size -= own
        self._database.executemany("DELETE FROM answers WHERE key = ?", keys)

    def close(self) -> None:
        """Write what was put, and close the file."""
        self.save()
        if self._database is not None:
            self._database.close()
            self._database = None


def _user_folder() -> Path:
    import platformdirs

    return platformdirs.user_cache_path("shopcalc", appauthor=False)


def _opened(path: Path) -> sqlite3.Connection:
    database = sqlite3.connect(path, timeout=_PATIENCE, isolation_level=None)
    try:
        (found,) = database.execute("PRAGMA user_version").fetchone()
        if found == 0:
            table = "answers(key BLOB PRIMARY KEY, used INTEGER, size INTEGER, document BLOB)"
            database.execute("BEGIN IMMEDIATE")
            database.execute(f"CREATE TABLE IF NOT EXISTS {table}")
            database.execute(f"PRAGMA user_version = {_FORMAT}")
            database.execute("COMMIT")
        elif found != _FORMAT:
            raise sqlite3.DatabaseError("file is of another version")
        database.execute("SELECT key, used, size, document FROM answers LIMIT 0")
    except BaseException:
        database.close()
        raise
    return database


def _is_damaged(error: Exception) -> bool:
    """Whether a new file would help, as against one that is locked, full or not for writing."""
    if not isinstance(error, sqlite3.DatabaseError):
        return False
    words = ("malformed", "not a database", "no such table", "no such column", "another version")
    return any(w in str(error) for w in words)


def file_digest(path: str) -> bytes | None:
    """Digest of a regular file's content; None of anything else, and of what cannot be read.

    Parameters
    ----------
    path : str
        The file.
    """
    try:
        with open(path, "rb") as file:
            return hashlib.file_digest(file, lambda: hashlib.blake2b(digest_size=20)).digest()
    except (OSError, ValueError):
        return None


@lru_cache(maxsize=1)
def engine() -> bytes:
    """Digest of the package's version and of its text as far as it decides on times."""
    from importlib.metadata import PackageNotFoundError, version

    digest = hashlib.blake2b(digest_size=20)
    try:
        digest.update(version("shopcalc").encode())
    except PackageNotFoundError:  # run from its folder
        digest.update(b"not installed")
    for name in _DECIDING:
        place = _PACKAGE / name
        for file in sorted(place.glob("*.py")) if place.is_dir() else [place]:
            try:
                digest.update(file.name.encode() + b"\0" + file.read_bytes())
            except OSError:  # an installation without its text; its version counts
                digest.update(file.name.encode())
    return digest.digest()


# --- machines as text ------------------------------------------------------------------------------------------------


def _text(value: Any) -> str:
    """A value as text that is the same wherever and whenever it is written."""
    if is_dataclass(value) and not isinstance(value, type):
        return f"{type(value).__name__}({','.join(f'{f.name}={_text(getattr(value, f.name))}' for f in fields(value))})"
    if isinstance(value, Mapping):
        return "{" + ",".join(sorted(f"{_text(k)}:{_text(v)}" for k, v in value.items())) + "}"
    if isinstance(value, (tuple, list)):
        return f"({','.join(map(_text, value))})"
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        return repr(float(value))
    return repr(value)


def _plain(value: Any) -> Any:
    """The same made of lists and mappings; a mapping as its pairs, for its keys may be numbers."""
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: _plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, Mapping):
        return [[_plain(k), _plain(v)] for k, v in value.items()]
    return [_plain(v) for v in value] if isinstance(value, (tuple, list)) else value


def _tuples(values: Mapping[str, Any]) -> dict[str, Any]:
    return {k: tuple(v) if isinstance(v, list) else v for k, v in values.items()}


def _machine_of(document: Mapping[str, Any]) -> Machine:
    own = _tuples(document)
    x, y, z = (Axis(**a) for a in document["axes"])
    own["axes"] = (x, y, z)
    own["controller"] = Controller(**_tuples(document["controller"]))
    own["times"] = Times(**_tuples(document["times"]))
    if document["spindle"] is not None:
        own["spindle"] = Spindle(**_tuples(document["spindle"]))
    own["more_axes"] = {letter: Axis(**a) for letter, a in document["more_axes"]}
    own["work_zeros"] = {number: tuple(place) for number, place in document["work_zeros"]}
    return Machine(**own)


def _machine_key(content: bytes, name: str) -> bytes:
    text = name.encode("utf-8", "surrogateescape")
    return hashlib.blake2b(b"\0".join((b"machine", content, text, engine())), digest_size=20).digest()
