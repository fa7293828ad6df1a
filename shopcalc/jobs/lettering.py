"""Lettering and lines in a job: from an operation's words or drawing to paths on its part."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from shopcalc.errors import InputError
from shopcalc.jobs.records import Incise
from shopcalc.moves import Moves
from shopcalc.paths.tracing import Cutting, in_turn
from shopcalc.relief.inscription import (
    CHAMFER,
    Inscription,
    carve_inscription,
    inscription,
    misfits,
    require_room,
)
from shopcalc.units import System


@dataclass(frozen=True, eq=False)
class LetteringPlan:
    """What one incise operation does.

    Parameters
    ----------
    operations : tuple of (Cutting, Moves)
        In the order they are cut.
    notes : tuple of str
        What does not fit, with the dimension to change.
    """

    operations: tuple[tuple[Cutting, Moves], ...]
    notes: tuple[str, ...]


def plan_incise(
    operation: Incise,
    room: tuple[float, float, float],
    cutting: Cutting,
    clearing: Cutting | None,
    *,
    folder: Path,
    system: System = "metric",
) -> LetteringPlan:
    """Plan lettering or lines in the middle of a part's face.

    Parameters
    ----------
    operation : Incise
        Several of it stand side by side along the part, lines beside each other across it.
    room : (3,) float
        Length, width and thickness of the part as it lies [mm].
    cutting : Cutting
        A V.
    clearing : Cutting or None
        Of the ground.
    folder : Path
        Where drawings are.
    system : {"metric", "inch"}
        What the reader thinks in.

    Returns
    -------
    LetteringPlan

    Raises
    ------
    InputError
        When it is larger than the part, or cannot be cut as described.
    """
    length, width, thickness = room
    drawing = None if operation.drawing is None else folder / operation.drawing
    try:
        what = inscription(
            text=operation.text, height=operation.height, drawing=drawing, length=operation.length, line=operation.line
        )
    except InputError as e:  # the job file's line is told instead; the drawing's name goes into the words
        raise InputError(
            [replace(f, message=f"{Path(f.file).name}: {f.message}" if f.file else f.message) for f in e.faults]
        ) from None
    along, across = (operation.count, 1) if operation.line is None else (1, operation.count)
    places = [
        (length * (i + 0.5) / along, width * (k + 0.5) / across) for i in range(along) for k in range(across)
    ]  # fmt: skip
    parts: dict[int, list[tuple[Cutting, Moves]]] = {}
    notes: list[str] = []
    for x, y in places:
        here = what.centred(x, y)
        carved = carve_inscription(
            here, cutting, clearing=clearing, stop_depth=operation.stop_depth, raised=operation.raised,
            chamfer=CHAMFER if operation.chamfer is None else operation.chamfer, margin=operation.margin,
            line_width=operation.width, stopped=not _runs_through(operation, length), ramp_out=operation.ramp_out,
            system=system,
        )  # fmt: skip
        require_room(here, carved, length / along, width / across, thickness, system, operation.height)
        notes += [n for n in misfits(here, carved, cutting.cutter, system, operation.height) if n not in notes]
        for cut, moves in carved.operations:
            parts.setdefault(id(cut), []).append((cut, moves))
    done = [(found[0][0], in_turn(found[0][0], [m for _, m in found])) for found in parts.values()]
    return LetteringPlan(tuple(done), (*_of_drawing(what), *notes))


def _runs_through(operation: Incise, length: float) -> bool:
    return operation.line is not None and operation.line >= length - 1e-6


def _of_drawing(what: Inscription) -> list[str]:
    return [f"{what.name}: {note}" for note in what.notes]
