"""An interrupted program: where to begin again, with what, what to make sure of, and the minutes left."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shopcalc.cutting.engagement import refuse
from shopcalc.machines import Machine
from shopcalc.motion import machine_time
from shopcalc.moves import Kind, Moves
from shopcalc.units import System, write, write_time


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
        return (
            "Stop the spindle, lock it out, and look: part still tight, no loose piece, no clamp moved, nothing burnt.",
            f"Inspect cutter {name} for chips, burns and a loosened collet; renew it if in doubt; {measure}.",
            "Home all axes after a loss of power; check x and y zero at the part's own stop, z zero on an untouched "
            "face. If the part was moved, or lost its zero, do not go on.",
            f"Raise to {height}, go to x {x}, y {y} at that height.",
            f"Start the spindle and let it come to {turn} before anything touches wood; extraction on.",
            f"Begin at line {self.line} with low feed, hand at the stop: {write(self.repeated, 'length', system)} of "
            "the way is run again.",
            f"{write_time(self.seconds_left)} are left at the machine.",
        )


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
        refuse(f"nothing is cut after line {line}", f"give a line from 0 to {int(moves.line.max()) - 1}")
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
