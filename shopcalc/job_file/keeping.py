"""A job file while it is worked on: checked by its reader, every change undone, no version lost."""

from __future__ import annotations

import contextlib
import datetime
import hashlib
import json
import os
import shutil
import tempfile
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from shopcalc.errors import Fault, InputError
from shopcalc.job_file.editing import add_table, read_place, remove, set_value
from shopcalc.job_file.spans import Place
from shopcalc.jobs.reading import Job, check_job
from shopcalc.reading import load_toml, read_file
from shopcalc.shop import Shop

_MARK = b"\xef\xbb\xbf"  # at the start of UTF-8 that some editors write
_EARLIER = "earlier"


class OpenJobFile:
    """A job file and what is being changed in it.

    Changes are kept beside the file until they are written, so that none is lost when Python ends.

    Parameters
    ----------
    path : Path or str
        TOML file.
    shop : Shop
        It is checked against.

    Raises
    ------
    InputError
        When it is no TOML file. What is wrong with its values stands in ``faults``.
    """

    def __init__(self, path: Path | str, shop: Shop) -> None:
        self.path, self.shop = Path(path), shop
        load_toml(self.path)  # says what is wrong with the file itself
        self._known = self.path.read_bytes()
        self.text = self._read()
        self._base = _digest(self._known)  # of the version that was changed here
        self._before: list[str] = []
        self.taken_up = False
        draft = self._drafted()
        if draft is not None and draft[1] != self.text:
            self._before, self.taken_up = [self.text], True
            self._base, self.text = draft
        self._check()

    # --- what it says now ---------------------------------------------------------------------------------------------

    @property
    def data(self) -> Mapping[str, Any]:
        """The tables as they stand now, written or not."""
        return self._data

    @property
    def faults(self) -> tuple[Fault, ...]:
        """All that the job's reader refuses in them."""
        return self._faults

    @property
    def job(self) -> Job | None:
        """The job they make; None while there are faults."""
        return self._job

    @property
    def unwritten(self) -> bool:
        """Whether something was changed that the file does not say yet."""
        return self.text != self._decoded(self._known)

    @property
    def changed_on_disk(self) -> bool:
        """Whether somebody else changed the file, or took it away, since it was read or written here."""
        now = self._on_disk()
        return now is None or _digest(now) != self._base

    def get(self, place: str | Place, missing: Any = None) -> Any:
        """A value as it stands now.

        Parameters
        ----------
        place : str or Place
            "frames[0].width".
        missing : object
            Given back where there is none.
        """
        found: Any = self._data
        for step in _way(place):
            try:
                found = found[step]
            except (KeyError, IndexError, TypeError):
                return missing
        return found

    # --- changes ------------------------------------------------------------------------------------------------------

    def set(self, place: str | Place, value: Any) -> None:
        """Change a value, or add it.

        Parameters
        ----------
        place : str or Place
            "parts[2].operations[1].depth".
        value : str, bool, int, sequence or mapping
            With its unit where it has one.

        Raises
        ------
        InputError
            When there is no such table; a value that is not understood stands in ``faults``.
        """
        self._change(set_value(self.text, _way(place), value))

    def add(self, place: str | Place, values: Mapping[str, Any]) -> None:
        """Add an entry behind the last one of a list of tables.

        Parameters
        ----------
        place : str or Place
            "parts", "parts[2].operations".
        values : mapping
            Key to value.

        Raises
        ------
        InputError
            When the table it belongs to is not there.
        """
        self._change(add_table(self.text, _way(place), values))

    def remove(self, place: str | Place) -> None:
        """Take a value or a table out.

        Parameters
        ----------
        place : str or Place
            "hardware[0]".

        Raises
        ------
        InputError
            When there is nothing.
        """
        self._change(remove(self.text, _way(place)))

    def undo(self) -> bool:
        """Take the last change back, written or not.

        Returns
        -------
        bool
            Whether there was one.
        """
        if not self._before:
            return False
        self.text = self._before.pop()
        self._check()
        self._keep_draft()
        return True

    @property
    def can_undo(self) -> bool:
        """Whether there is a change to take back."""
        return bool(self._before)

    def read_again(self) -> None:
        """Take over what somebody else wrote into the file; what stood here comes back by ``undo``.

        Raises
        ------
        InputError
            When it is no TOML file any more.
        """
        load_toml(self.path)
        self._known = self.path.read_bytes()
        self._base = _digest(self._known)
        self._change(self._read())

    def write(self, *, over: bool = False) -> Path | None:
        """Write the file as a whole, and keep the version it had.

        Parameters
        ----------
        over : bool
            Also over a version that somebody else wrote meanwhile; that one is kept, too.

        Returns
        -------
        Path or None
            Where the earlier version is kept; None when nothing was to be written.

        Raises
        ------
        InputError
            With every fault, or when the file was changed meanwhile; nothing is written then.
        """
        if self._faults:
            raise InputError(self._faults)
        now = self._on_disk()
        if self.changed_on_disk and not over:
            message = "somebody else changed the file since it was read here"
            remedy = "read it again, and undo brings yours back; or write over it, and theirs is kept"
            raise InputError(Fault(message, remedy, file=str(self.path)))
        new = (_MARK if self._known.startswith(_MARK) else b"") + self.text.encode()
        if new == now:
            self._known, self._base = new, _digest(new)
            self._keep_draft()
            return None
        try:
            kept = self._keep_version(now)
            _replace(self.path, new)
        except OSError as e:
            reason = (e.strerror or str(e)).lower()
            raise InputError(
                Fault(f"it cannot be written ({reason})", "check the folder", file=str(self.path))
            ) from None
        self._known, self._base = new, _digest(new)
        self._keep_draft()
        return kept

    # --- by itself ----------------------------------------------------------------------------------------------------

    def _change(self, text: str) -> None:
        if text == self.text:
            return
        self._before.append(self.text)
        self.text = text
        self._check()
        self._keep_draft()

    def _check(self) -> None:
        self._data: Mapping[str, Any] = tomllib.loads(self.text)
        self._faults: tuple[Fault, ...] = ()
        self._job: Job | None = None
        try:
            self._job = check_job(self._data, str(self.path), self.shop)
        except InputError as e:
            self._faults = e.faults

    def _decoded(self, raw: bytes) -> str:
        return raw.decode("utf-8-sig")

    def _read(self) -> str:
        read_file(self.path, "a .toml file")
        return self._decoded(self._known)

    def _on_disk(self) -> bytes | None:
        try:
            return self.path.read_bytes()
        except OSError:
            return None

    @property
    def _draft(self) -> Path:
        return self.path.with_name(f".{self.path.name}.unwritten")

    def _drafted(self) -> tuple[str, str] | None:
        """What was changed and not written when Python ended, after the digest of the version it was changed from."""
        try:
            found = json.loads(self._draft.read_bytes())
            base, text = str(found["changed from"]), str(found["text"])
            tomllib.loads(text)
        except (OSError, ValueError, KeyError, TypeError):
            return None
        return base, text

    def _keep_draft(self) -> None:
        with contextlib.suppress(OSError):  # a folder one may only read: the changes then live as long as Python
            if self.unwritten:
                _replace(self._draft, json.dumps({"changed from": self._base, "text": self.text}).encode())
            else:
                self._draft.unlink(missing_ok=True)

    def _keep_version(self, raw: bytes | None) -> Path | None:
        if raw is None:
            return None
        folder = self.path.parent / _EARLIER
        folder.mkdir(exist_ok=True)
        stamp = datetime.datetime.now().strftime("%Y-%m-%d-%H%M%S")
        name = f"{self.path.stem}.{stamp}"
        place, number = folder / f"{name}.toml", 1
        while place.exists():
            place, number = folder / f"{name}-{number}.toml", number + 1
        place.write_bytes(raw)
        return place


def _digest(raw: bytes) -> str:
    return hashlib.sha256(raw).hexdigest()


def _way(place: str | Place) -> Place:
    return read_place(place) if isinstance(place, str) else tuple(place)


def _replace(path: Path, raw: bytes) -> None:
    """Write a file as a whole or not at all; it keeps its permissions."""
    handle, scratch = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}-")
    try:
        with os.fdopen(handle, "wb") as out:
            out.write(raw)
            out.flush()
            os.fsync(out.fileno())
        if path.exists():
            shutil.copymode(path, scratch)
        else:
            os.chmod(scratch, 0o644)
        os.replace(scratch, path)
    except BaseException:
        Path(scratch).unlink(missing_ok=True)
        raise
