"""One program's time, read and timed piece by piece."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from pathlib import Path

import numpy as np

from shopcalc.gcode import stream_program
from shopcalc.gcode.claims import differences
from shopcalc.machines import Machine
from shopcalc.motion import Timing
from shopcalc.motion.results import Place
from shopcalc.program_times.machine_limits import MachineLimits
from shopcalc.program_times.results import EDGES, MOST_PLACES, ProgramTime

_NEAR, _LONGEST = 5.0, 50.0  # mm between moves of one place, and along a place
_NEXT = 3  # moves, or lines, that may lie between


def time_program(
    path: Path | str, machine: Machine, progress: Callable[[int, int], object] | None = None
) -> ProgramTime:
    r"""Time a program file of any length in bounded memory.

    Parameters
    ----------
    path : Path or str
        The file.
    machine : Machine
        What runs it, and whose dialect it is written in.
    progress : callable, optional
        Called now and then with the bytes read and those of the whole file.

    Returns
    -------
    ProgramTime
        The same sums as ``machine_time`` of all its moves at once.

    Raises
    ------
    InputError
        When the file cannot be read, or where motion would be wrong.

    Example
    -------
    >>> import tempfile
    >>> from shopcalc.machines import Axis
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = Path(folder) / "door.nc"
    ...     _ = path.write_text("G21 G90\nG1 X100 F6000\nM2\n")
    ...     time_program(path, Machine(axes=(Axis(6000, 6000, 500),) * 3)).length_over_feed_s
    1.0
    """
    stream = stream_program(path, machine, progress=progress)
    timing = Timing(machine, bands=EDGES, places=2 * MOST_PLACES)
    limits = MachineLimits(machine)
    cutters: set[int] = set()
    feedless: int | None = None
    for piece in stream:
        timing.add(piece)
        limits.add(piece)
        cutting = piece.cutting
        if not cutting.any():
            continue
        if (piece.cutter == piece.cutter[0]).all():
            cutters.add(int(piece.cutter[0]))
        else:
            cutters.update(np.unique(piece.cutter[cutting]).tolist())
        if feedless is None and (without := cutting & np.isnan(piece.feed)).any():
            feedless = int(piece.line[np.argmax(without)])
    t = timing.finish()
    warnings = [*stream.warnings, *differences(stream.claims, stream.scale, t.extents, t.total_s), *limits.notes()]
    return ProgramTime(
        file=str(path), blocks=stream.blocks, moves=t.moves, noted=stream.noted,
        cutting_length=t.cutting_length, rapid_length=t.rapid_length, cutting_time_s=t.cutting_time_s,
        rapid_time_s=t.rapid_time_s, dwell_time_s=t.dwell_time_s, change_time_s=t.change_time_s,
        length_over_feed_s=t.length_over_feed_s,
        extents=tuple((low, high) for low, high in t.extents.tolist()),
        cutters=tuple(sorted(cutters - {0})), causes=t.causes(),
        by_kind={kind.name.lower(): s for kind, s in t.by_kind().items()}, by_cutter=t.by_cutter(),
        labels=stream.labels, by_depth=tuple(t.by_depth()), slowest=_places(t.slowest_places()), feedless_line=feedless,
        warnings=tuple(sorted(warnings, key=lambda n: (n.line, n.column, n.message))),
    )  # fmt: skip


def _places(moves: Iterable[Place]) -> tuple[Place, ...]:
    """The slowest moves as places: those of one corner, or within a few mm of path, are one; most lost first."""
    groups: list[list[Place]] = []
    for p in sorted(moves, key=lambda p: p.move):
        if groups and _is_same_place(groups[-1], p):
            groups[-1].append(p)
        else:
            groups.append([p])
    found = []
    for group in groups:
        most = max(group, key=lambda p: p.lost)
        found.append(most._replace(lost=math.fsum(p.lost for p in group)))
    found.sort(key=lambda p: (-round(p.lost, 6), p.move))
    return tuple(found[:MOST_PLACES])


def _is_same_place(group: list[Place], p: Place) -> bool:
    last = group[-1]
    if p.move - last.move == 1 and last.held_back == "corner at its end" and p.held_back == "corner at its start":
        return True
    if p.move - last.move > _NEXT or abs(p.line - last.line) > _NEXT:
        return False
    return math.dist(last.end, p.end) <= _NEAR and math.dist(group[0].end, p.end) <= _LONGEST
