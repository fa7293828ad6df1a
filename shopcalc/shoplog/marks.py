"""What each running process is at, in a small file beside the log, so that the next start can say what was cut off.

The file is held locked while its process lives: one that can be locked belongs to a process that ended without closing.
The log itself needs none of this to stay whole; it only lets people know.
"""

from __future__ import annotations

import contextlib
import itertools
import json
import os
import sys
import time
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

_SIZE = 4096  # bytes; always written whole, in one go
_ABOUT = 300  # letters of what it is about
_A_MINUTE = 60.0  # s
_numbers = itertools.count(1)


class RunMark:
    """The mark of one open log.

    Parameters
    ----------
    path : Path
        Of the log.
    """

    def __init__(self, path: Path) -> None:
        self._path, self._file, self._name = path, -1, Path()

    def set(self, what: str, about: str = "", **more: str) -> None:
        """Say what is being done; a disk that takes no mark takes no message, and nothing else."""
        with contextlib.suppress(OSError):
            if self._file < 0:
                self._create()
            text = json.dumps({"what": what, "about": about[:_ABOUT], **more}).encode()
            os.lseek(self._file, 0, os.SEEK_SET)
            os.write(self._file, text[:_SIZE].ljust(_SIZE))

    def _create(self) -> None:
        name = f"{self._path.name}-run-{os.getpid()}-{next(_numbers)}"
        draft = self._path.with_name(f".{name}")
        file = os.open(draft, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o666)
        _lock(file)
        if sys.platform == "win32":  # an open file cannot be renamed there
            os.close(file)
        os.replace(draft, self._path.with_name(name))
        self._name = self._path.with_name(name)
        self._file = os.open(self._name, os.O_RDWR) if sys.platform == "win32" else file

    def close(self) -> None:
        """Take the mark away."""
        if self._file >= 0:
            os.close(self._file)
            self._file = -1
            with contextlib.suppress(OSError):
                self._name.unlink()


def _lock(file: int) -> bool:
    """Whether the file could be locked; on Windows open files cannot be removed, and that tells."""
    if sys.platform == "win32":
        return True
    import fcntl

    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def left_behind(path: Path) -> Iterator[Mapping[str, Any]]:
    """What processes were at that ended without closing; their marks are taken away.

    Parameters
    ----------
    path : Path
        Of the log.
    """
    for draft in path.parent.glob(f".{path.name}-run-*"):
        with contextlib.suppress(OSError):
            if time.time() - draft.stat().st_mtime > _A_MINUTE:  # cut off before it had its name
                draft.unlink()
    for name in sorted(path.parent.glob(f"{path.name}-run-*")):
        with contextlib.suppress(OSError, ValueError):
            file = os.open(name, os.O_RDWR)
            try:
                if not _lock(file):
                    continue
                text = os.read(file, _SIZE)
                if sys.platform != "win32":
                    name.unlink()  # while it is locked: nobody else tells of it
            finally:
                os.close(file)
            if sys.platform == "win32":
                name.unlink()
            found = json.loads(text)
            if isinstance(found, dict):
                yield found
