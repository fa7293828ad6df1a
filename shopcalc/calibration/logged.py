"""Logged machine times, from a table or from anything else that can say program, seconds and note."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from shopcalc.errors import Fault, InputError
from shopcalc.moves import Moves
from shopcalc.reading import Column, TableReader
from shopcalc.units import read

#: Starting and stopping a watch by hand, both together [s]; common practice, no source.
HAND = 1.0
#: How far two runs of one program differ that are timed exactly, as sigma of the logarithm; common practice, no source.
AGAIN = 0.005
_BEND = 1.5  # sigma from which one entry among several of a program counts less (Huber's rule)
_COLUMNS = (Column("program", required=True), Column("time", required=True), Column("note"))


@dataclass(frozen=True)
class LoggedTime:
    """One run of a program by the watch.

    Parameters
    ----------
    program : str
        Its name.
    seconds : float
        Machine time of one run [s].
    note : str
        What a reader should know besides.
    step : float
        To what it was rounded [s].
    row : int or None
        Of the table it comes from.
    """

    program: str
    seconds: float
    note: str = ""
    step: float = 1.0
    row: int | None = None

    @property
    def sigma(self) -> float:
        """Standard deviation of the logarithm that watch, rounding and the run itself bring [-]."""
        return math.hypot(math.hypot(HAND, self.step / math.sqrt(12)) / self.seconds, AGAIN)


@dataclass(frozen=True, eq=False)
class Run:
    """A program with all its logged times.

    Parameters
    ----------
    program : str
        Its name.
    moves : Moves
        What it does.
    logged : tuple of LoggedTime
        At least one.
    """

    program: str
    moves: Moves
    logged: tuple[LoggedTime, ...]

    @property
    def middle(self) -> tuple[float, float, tuple[float, ...]]:
        """Logarithm of the time of one run, its standard deviation [-], and each entry's distance in sigmas.

        Notes
        -----
        From the median by Huber's weights; the weights that are left say how sure it is.

        References
        ----------
        Huber, "Robust estimation of a location parameter", Annals of Mathematical Statistics 35(1), 1964.
        """
        y = np.log([t.seconds for t in self.logged])
        sigma = np.array([t.sigma for t in self.logged])
        at = float(np.median(y))
        weight = 1 / sigma**2
        for _ in range(50):
            off = np.abs(y - at) / sigma
            weight = np.minimum(1.0, _BEND / np.maximum(off, 1e-12)) / sigma**2
            at = float((weight * y).sum() / weight.sum())
        return at, float(1 / math.sqrt(weight.sum())), tuple(((y - at) / sigma).tolist())


def gathered(entries: Sequence[LoggedTime], moves: Mapping[str, Moves]) -> tuple[Run, ...]:
    """Entries by program, in the order they first appear.

    Parameters
    ----------
    entries : sequence of LoggedTime
        In any order.
    moves : mapping
        Program to what it does.

    Raises
    ------
    InputError
        When a program is not there, or a time is not above 0.
    """
    faults = []
    for e in entries:
        if e.program not in moves:
            faults.append(Fault(f"program '{e.program}' is not there", "give its file", row=e.row, field="program"))
        if not (math.isfinite(e.seconds) and e.seconds > 0):
            faults.append(Fault(f"{e.seconds} s is no time", "write what the watch said", row=e.row, field="time"))
    if not entries:
        faults.append(Fault("no time is logged", "log the machine time of a program first"))
    if faults:
        raise InputError(faults)
    names = dict.fromkeys(e.program for e in entries)
    return tuple(Run(n, moves[n], tuple(e for e in entries if e.program == n)) for n in names)


def read_times(path: Path | str) -> tuple[LoggedTime, ...]:
    """Read a table with the columns program, time (with its unit: "754 s", "12.5 min", "12 min 34 s") and note.

    Parameters
    ----------
    path : Path or str
        CSV.

    Returns
    -------
    tuple of LoggedTime
        What a time was rounded to is taken from how it is written: "12.5 min" to 6 s.

    Raises
    ------
    InputError
        With every fault found.
    """
    table = TableReader(path, _COLUMNS)
    out = []
    for row in table.rows:
        if not table.sound(row, "program", "time"):
            continue
        try:
            seconds, step = _time(row["time"])
        except InputError as e:
            table.faults += [replace(f, file=table.file, row=row.number, field="time") for f in e.faults]
            continue
        out.append(LoggedTime(row["program"], seconds, row["note"] or "", step, row.number))
    table.finish()
    return tuple(out)


def _time(text: str) -> tuple[float, float]:
    """Seconds, and what they were rounded to."""
    parts = re.findall(r"[\d.]+\s*[A-Za-z]+", text)
    if len(parts) < 2 or "".join(text.split()) != "".join("".join(parts).split()):
        parts = [text]
    seconds = math.fsum(read(p, "time", minimum=0.0) for p in parts)
    if seconds <= 0:
        raise InputError(Fault("a run takes more than 0 s", "write what the watch said"))
    number, unit = re.fullmatch(r"\s*([\d.]*)[^A-Za-z]*(.*?)\s*", parts[-1]).groups()  # type: ignore[union-attr]
    decimals = len(number.partition(".")[2])
    return seconds, float(read(f"1 {unit}", "time")) * 10.0**-decimals
