"""An interrupted program: where to begin again, with what, what to make sure of, and the minutes left."""

from __future__ import annotations

import io
import math
import re
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from shopcalc.cutting.engagement import refuse
from shopcalc.errors import Fault, InputError
from shopcalc.gcode.program import ProgramStream, read_program
from shopcalc.gcode.source import Source, open_source
from shopcalc.gcode.words import blank_comments
from shopcalc.machines import Machine
from shopcalc.motion import machine_time
from shopcalc.moves import Kind, Moves
from shopcalc.units import System, write, write_time

_LENGTH_OFFSET = re.compile(r"G0*(43|43\.1|44|49)(?![\d.])")


@dataclass(frozen=True)
class Modes:
    """What a control must have in force before a line, because a stop or a loss of power may have undone it.

    Parameters
    ----------
    codes : tuple of str
        To be entered: unit, plane, distances, feed mode, work zero, length offset, feed in force.
    motion : int
        Of the last motion word before it: 0 to 3, or a drilling cycle.
    spindle : int
        3 or 4, the way it turns; 0 where it stands.
    zero : (3,) float
        Where the program's zero lies in the moves' coordinates [mm].
    compensated : bool
        Whether the cutter's radius is compensated there.
    moved : bool
        Whether the program itself has moved its zero (G52, G92).
    """

    codes: tuple[str, ...] = ()
    motion: int = -1
    spindle: int = 3
    zero: tuple[float, float, float] = (0.0, 0.0, 0.0)
    compensated: bool = False
    moved: bool = False


@dataclass(frozen=True)
class Resume:
    """How to go on with a program.

    Parameters
    ----------
    line : int
        To begin with; the place where the program itself was last at a safe height.
    done : int
        Last line that was done.
    cutter : int
        Number that must be in the spindle.
    label : str
        Its name, where known.
    rpm, feed : float
        Spindle speed, and feed of the first cut that follows; 0 and nan where the program says none [rev/min, mm/min].
    safe_height : float
        To come at: the highest at which the program crosses over the work [mm].
    above : (2,) float
        Where to come down: x and y [mm].
    entry : (3,) float
        Where the first cut that follows begins [mm].
    repeated : float
        Way at feed that is run a second time, mostly in air [mm].
    seconds_left : float
        From there to the end [s].
    changed : bool
        Whether a cutter was changed in the program before.
    modes : Modes or None
        In force there; None where only moves are known.
    """

    line: int
    done: int
    cutter: int
    label: str
    rpm: float
    feed: float
    safe_height: float
    above: tuple[float, float]
    entry: tuple[float, float, float]
    repeated: float
    seconds_left: float
    changed: bool
    modes: Modes | None = None

    def says(self, system: System = "metric") -> tuple[str, ...]:
        """Step by step, with what to make sure of.

        Parameters
        ----------
        system : {"metric", "inch"}
            What the reader thinks in.
        """
        name = f"T{self.cutter}" + (f" ({self.label})" if self.label else "")
        height = write(self.safe_height, "length", system)
        x, y = (write(v, "length", system) for v in self.above)
        measure = "measure its length again: a cutter was changed before" if self.changed else "check its length"
        turn = f"{self.rpm:.0f} rev/min" if self.rpm else "the speed of the set-up sheet"
        way = " counter-clockwise (M4)" if self.modes and self.modes.spindle == 4 else ""
        return (
            "Stop the spindle, lock it out, and look: part still tight, no loose piece, no clamp moved, nothing burnt.",
            f"Inspect cutter {name} for chips, burns and a loosened collet; renew it if in doubt; {measure}.",
            "Home all axes after a loss of power; check x and y zero at the part's own stop, z zero on an untouched "
            "face. If the part was moved, or lost its zero, do not go on.",
            *self._sets(),
            f"Raise to {height} first, straight up; then go to x {x}, y {y} at that height.",
            f"Start the spindle{way} and let it come to {turn} before anything touches wood; extraction on.",
            *self._last(),
            f"Begin at line {self.line} with low feed, hand at the stop: {write(self.repeated, 'length', system)} of "
            "the way is run again.",
            f"{write_time(self.seconds_left)} are left at the machine.",
        )

    def _sets(self) -> tuple[str, ...]:
        """What to enter before anything moves."""
        m = self.modes
        if m is None:
            return ("Enter unit, plane, distances, work zero and length offset as the program has them there.",)
        codes = " ".join("G90" if c == "G91" else c for c in m.codes)  # the way there is told from zero
        out = [f"Enter what is in force there, a stop may have undone it: {codes}."]
        if m.motion > 3 and m.motion != 80:
            out.append(f"A drilling cycle (G{m.motion}) is on there: begin at the line that holds its words instead.")
        if m.compensated:
            out.append("The cutter's radius is compensated there (G41 or G42): begin where it is switched on instead.")
        if m.moved:
            out.append("The program has moved its zero before (G52 or G92): set it again as it does, or begin anew.")
        return tuple(out)

    def _last(self) -> tuple[str, ...]:
        """What to enter when the cutter stands above its place."""
        m = self.modes
        if m is None:
            return ()
        words = ["G91"] * ("G91" in m.codes) + [f"G{m.motion}"] * (0 <= m.motion <= 3)
        told = f"Enter {' '.join(words)} last, with no axis beside it: line {self.line} goes by what was entered last."
        return (told,) if words else ()


def modes_before(program: Path | str | bytes, line: int, machine: Machine) -> Modes:
    """What is in force before a line of a program: its text read up to there.

    Parameters
    ----------
    program : Path, str or bytes
        The file, or its text as bytes.
    line : int
        Counted from 1; the line itself is not read.
    machine : Machine
        Whose dialect it is written in.

    Raises
    ------
    InputError
        When the file cannot be read, or its lines do not simply follow each other.
    """
    source = Source(io.BytesIO(program), "program") if isinstance(program, bytes) else open_source(program)
    try:
        before = [text for _, number, text in source.lines(source.begin, 1) if number < line]
    finally:
        source.file.close()
    raw = "\n".join([*before, ""]).encode("utf-8", "surrogateescape")
    stream = ProgramStream(lambda: Source(io.BytesIO(raw), source.name), source.name, machine, (0.0, 0.0, 0.0))
    for _ in stream:
        pass
    s, z = stream.state, stream.zeros
    codes = [f"G{21 if s.scale == 1.0 else 20}", f"G{17 + s.plane}", f"G{90 if s.absolute else 91}",
             f"G{s.feed_mode}", f"G{z.system:g}"]  # fmt: skip
    codes += _length_offset(before)
    if math.isfinite(s.feed):
        codes.append(f"F{round(s.feed / s.scale, 4):g}")
    at = (float(s.offset[0]), float(s.offset[1]), float(s.offset[2]))
    return Modes(tuple(codes), s.motion if s.motion_said else -1, s.spindle, at, s.compensated, z.moved)


def _length_offset(lines: list[str]) -> list[str]:
    """The last length offset that was switched on and not off again."""
    for text in reversed(lines):
        bare = blank_comments(text).text.upper().replace(" ", "")
        if found := _LENGTH_OFFSET.findall(bare):
            number = re.search(r"H(\d+)", bare)
            return [] if found[-1] == "49" else [f"G{found[-1]}" + (f" H{number[1]}" if number else "")]
    return []


def resume_program(program: Path | str, machine: Machine, line: int) -> Resume:
    """Where to begin a program file again, in the program's own coordinates, and what must be in force there.

    Parameters
    ----------
    program : Path or str
        The file.
    machine : Machine
        Whose dialect it is written in, and for the time left.
    line : int
        Last line that was surely done, counted from 1.

    Raises
    ------
    InputError
        As ``resume_after``, and when the file cannot be read.
    """
    found = resume_after(read_program(program, machine).moves, machine, line)
    try:
        modes = modes_before(program, found.line, machine)
    except InputError as e:
        message = f"what is in force at line {found.line} cannot be told: {e.faults[0].message}"
        raise InputError(Fault(message, "find the place by eye; begin a part of it by hand", str(program))) from e
    x, y, z = modes.zero
    return replace(
        found, modes=modes, safe_height=found.safe_height - z, above=(found.above[0] - x, found.above[1] - y),
        entry=(found.entry[0] - x, found.entry[1] - y, found.entry[2] - z),
    )  # fmt: skip


def resume_after(moves: Moves, machine: Machine, line: int) -> Resume:
    """Where to begin again after an interruption.

    Parameters
    ----------
    moves : Moves
        Of the program, each with its line.
    machine : Machine
        For the time left.
    line : int
        Last line that was surely done, counted from 1.

    Returns
    -------
    Resume
        Begins at the rapid that comes down from the last safe height, never in the middle of a cut.

    Raises
    ------
    InputError
        When the moves have no lines, or nothing is left to do after it. Lines of subprograms and loops, which run more
        than once, are refused: the line alone does not say where it stopped.
    """
    if not moves.line.any():
        refuse("these moves come from no program", "read the program's text")
    steps = np.flatnonzero(moves.line > 0)
    if (np.diff(moves.line[steps]) < 0).any():
        refuse("the program runs some lines more than once", "find the place by eye; begin a part of it by hand")
    next_move = int(np.searchsorted(moves.line, line, side="right"))
    cuts = np.flatnonzero(moves.cutting[next_move:])
    if line < 0 or not len(cuts):
        all_cuts = moves.line[moves.cutting]
        last = int(all_cuts.max()) - 1 if len(all_cuts) else 0
        refuse(f"nothing is cut after line {line}", f"give a line from 0 to {last}")
    first_cut = next_move + int(cuts[0])
    usual, safe = _heights(moves)
    start = first_cut
    while start > 0 and not (
        moves.points[start, 2] >= usual - 1e-6 and moves.points[start + 1, 2] < moves.points[start, 2] - 1e-6
    ):
        start -= 1
    travels = moves.cutting[start:next_move]
    entry = start + int(np.flatnonzero(moves.cutting[start:])[0])
    x, y, _ = moves.points[start].tolist()
    number = int(moves.cutter[entry])
    ex, ey, ez = moves.points[entry].tolist()
    return Resume(
        int(moves.line[start]), line, number, moves.labels.get(number, ""), float(moves.rpm[entry]),
        float(moves.feed[entry]), safe, (x, y), (ex, ey, ez), float(moves.lengths[start:next_move][travels].sum()),
        machine_time(moves.part(start, len(moves)), machine).total_s,
        bool((moves.kind[:start] == Kind.CHANGE).sum() > 1),
    )  # fmt: skip


def _heights(moves: Moves) -> tuple[float, float]:
    """Usual and greatest height at which rapids cross over the work [mm]."""
    a, b = moves.points[:-1], moves.points[1:]
    crossing = (moves.kind == Kind.RAPID) & (np.abs(b - a)[:, :2].max(axis=1) > 1e-6)
    heights = np.minimum(a[crossing, 2], b[crossing, 2])
    top = float(moves.points[:, 2].max())
    return (float(np.median(heights)), float(heights.max())) if len(heights) else (top, top)
