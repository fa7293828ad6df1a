"""Which files of a folder are programs."""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path

from shopcalc.errors import Fault

#: Endings under which shops keep program text (common practice, no source), and endings that never hold one.
PROGRAM_ENDINGS = (".nc", ".ngc", ".tap", ".gcode", ".cnc", ".eia", ".min", ".mpf", ".din", ".anc", ".iso")
NO_PROGRAM_ENDINGS = (".toml", ".csv", ".ipynb", ".json", ".html", ".pdf", ".png", ".py")


def programs_in(
    names: Iterable[str | os.PathLike[str]], others: dict[str, int] | None = None
) -> tuple[list[str], list[Fault]]:
    """Files as named; of folders, the programs in them and below, sorted.

    Hidden files and folders below are left out, and each folder counts once, so that links cannot lead round.

    Parameters
    ----------
    names : iterable of path
        Files and folders.
    others : dict, optional
        Gains, for each other ending in the folders, how many files were not looked at.

    Returns
    -------
    files : list of str
        In the order of the names.
    faults : list of Fault
        Folders that cannot be read, and those without a program.
    """
    files: list[str] = []
    faults: list[Fault] = []
    for name in (os.fspath(n) for n in names):
        if not Path(name).is_dir():
            files.append(name)
            continue
        before = len(faults)
        found = _below(name, faults, {} if others is None else others)
        if not found and len(faults) == before:
            remedy = f"looked for {', '.join(PROGRAM_ENDINGS)}"
            faults.append(Fault("there is no program in this folder", remedy, name))
        files += found
    return files, faults


def _below(top: str, faults: list[Fault], others: dict[str, int]) -> list[str]:
    """Programs anywhere below a folder, sorted folder by folder."""
    found: list[tuple[list[str], str]] = []
    seen: set[tuple[int, int]] = set()
    left, links = [top], list[str]()
    while left or links:
        folder = left.pop() if left else links.pop()  # where a folder is also linked to, its own name counts
        try:
            at = os.stat(folder)
            if (at.st_dev, at.st_ino) in seen:
                continue
            seen.add((at.st_dev, at.st_ino))
            with os.scandir(folder) as entries:
                inside = sorted((e for e in entries if not e.name.startswith(".")), key=lambda e: e.name)
        except OSError as e:
            reason = (e.strerror or str(e)).lower()
            faults.append(Fault(f"the folder cannot be read ({reason})", "check its permissions", file=folder))
            continue
        for entry in inside:
            if _is_folder(entry):
                (links if entry.is_symlink() else left).append(entry.path)
            elif _is_file(entry):
                if entry.name.lower().endswith(PROGRAM_ENDINGS):
                    found.append((entry.path.split(os.sep), entry.path))
                else:
                    ending = os.path.splitext(entry.name)[1].lower()
                    others[ending] = others.get(ending, 0) + 1
    return [path for _, path in sorted(found)]


def _is_folder(entry: os.DirEntry[str]) -> bool:
    try:
        return entry.is_dir()
    except OSError:  # a link that leads round within itself
        return False


def _is_file(entry: os.DirEntry[str]) -> bool:
    try:
        return entry.is_file()
    except OSError:
        return False
