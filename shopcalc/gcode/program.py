"""Reading a program: pieces of its text, plain lines all at once, every other line by the interpreter."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from shopcalc.errors import Fault, InputError
from shopcalc.gcode.claims import Claim
from shopcalc.gcode.collecting import joined
from shopcalc.gcode.interpreter import Interpreter
from shopcalc.gcode.modal import Modal
from shopcalc.gcode.reports import Note, Word
from shopcalc.gcode.source import LONGEST_LINE, Place, Source, open_source
from shopcalc.gcode.words import BadTextError, blank_comments
from shopcalc.gcode.zeros import Zeros
from shopcalc.moves import Moves

if TYPE_CHECKING:
    from shopcalc.machines import Machine

_PIECE = 1 << 21  # bytes read at once: what bounds the memory
_AFTER_JUMP = 1 << 12  # bytes read first after a jump, and twice as many each time: a short loop costs little


@dataclass(frozen=True, eq=False)
class Program:
    """A program as read.

    Parameters
    ----------
    moves : Moves
        What the cutter's tip does.
    warnings : tuple of Note
        At most one of a kind, with how often it occurred in the message.
    blocks : int
        Lines with at least one word, up to the end of the program.
    name : str
        The file's name.
    noted : int
        How many of the blocks gave a warning; the others were understood fully.
    claims : tuple of Claim
        What the comments at its head say about it.
    scale : float
        Millimetres per unit of length at its end.
    """

    moves: Moves
    warnings: tuple[Note, ...]
    blocks: int
    name: str
    noted: int = 0
    claims: tuple[Claim, ...] = ()
    scale: float = 1.0

    @property
    def understood(self) -> float:
        """Share of the blocks that gave no warning [-]."""
        return 1.0 - min(self.noted, self.blocks) / self.blocks if self.blocks else 1.0


def read_program(
    path: Path | str, machine: Machine | None = None, *, start: Iterable[float] = (0.0, 0.0, 0.0)
) -> Program:
    """Read a program file.

    Parameters
    ----------
    path : Path or str
        The file.
    machine : Machine, optional
        Whose dialect it is written in: dwell unit, unit when none is said, arc tolerance.
    start : (3,) float
        Where the cutter's tip is when the program starts [mm].

    Raises
    ------
    InputError
        When the file cannot be read, or where motion would be wrong: file, line, column and remedy.
    """
    return _whole(stream_program(path, machine, start=start))


def read_text(
    text: str, name: str = "program", machine: Machine | None = None, *, start: Iterable[float] = (0.0, 0.0, 0.0)
) -> Program:
    """Read program text.

    Parameters
    ----------
    text : str
        The program.
    name : str
        What faults call it.
    machine : Machine, optional
        As in ``read_program``.
    start : (3,) float
        As in ``read_program`` [mm].

    Raises
    ------
    InputError
        As ``read_program``.

    Example
    -------
    >>> read_text("G21 G1 X30 Y40 F600").moves.cutting_length
    50.0
    """
    raw = io.BytesIO(text.encode("utf-8", "surrogateescape"))
    return _whole(ProgramStream(lambda: Source(raw, name), name, machine, start))


class ProgramStream:
    """A program read while it is asked for: iterating yields its moves piece by piece, in bounded memory.

    Each piece begins where the one before it ends; there is at least one, and none has more than 65536 moves. It can be
    iterated once.

    Parameters
    ----------
    opened : callable
        Gives the text.
    name : str
        What faults call it.
    machine : Machine or None
        Whose dialect it is written in.
    start : (3,) float
        Where the cutter's tip is when the program starts [mm].
    progress : callable, optional
        Called about once per piece of text with the bytes read and those of the whole file.
    is_file : bool
        Whether it is a file, which may have been cut off.

    Raises
    ------
    InputError
        From the iteration.
    """

    def __init__(
        self, opened: Callable[[], Source], name: str, machine: Machine | None, start: Iterable[float],
        progress: Callable[[int, int], object] | None = None, *, is_file: bool = False,
    ) -> None:  # fmt: skip
        self.name = Path(name).name
        self._opened, self._progress, self._is_file = opened, progress, is_file
        self._reader = Interpreter(name, machine, start)
        self._pieces = self._read()

    def __iter__(self) -> Iterator[Moves]:
        return self._pieces

    @property
    def warnings(self) -> tuple[Note, ...]:
        """As ``Program.warnings``, so far."""
        return self._reader.notes()

    @property
    def blocks(self) -> int:
        """As ``Program.blocks``, so far."""
        return self._reader.blocks

    @property
    def noted(self) -> int:
        """Executed lines with at least one warning, so far."""
        return self._reader.reports.noted

    @property
    def claims(self) -> tuple[Claim, ...]:
        """As ``Program.claims``."""
        return tuple(self._reader.claims)

    @property
    def scale(self) -> float:
        """As ``Program.scale``, so far."""
        return self._reader.state.scale

    @property
    def state(self) -> Modal:
        """What is in force so far: units, zero, plane, motion, feed."""
        return self._reader.state

    @property
    def zeros(self) -> Zeros:
        """The work zero in use so far, and by what it was moved."""
        return self._reader.zeros

    @property
    def labels(self) -> dict[int, str]:
        """Names of cutter numbers, so far."""
        return dict(self._reader.labels)

    def _read(self) -> Iterator[Moves]:
        source = self._opened()
        try:
            yield from self._execute(source)
        finally:
            source.file.close()

    def _execute(self, source: Source) -> Iterator[Moves]:
        from shopcalc.gcode.quick import QuickReader  # the compiler takes 0.2 s to load

        reader, out = self._reader, self._reader.mover.out
        reader.source, quick = source, QuickReader(reader)
        text = bytearray(max(min(_PIECE, source.end), 2 * LONGEST_LINE) + 1)
        codes = np.frombuffer(text, dtype=np.uint8)
        begin = length = 0  # of the piece of text
        place, size, furthest = (source.begin, 1), _PIECE, (source.begin, 1)
        while not reader.ended:
            if not begin <= place[0] < begin + length:
                if place[0] >= source.end:
                    break
                furthest = max(furthest, place)
                if self._progress is not None:
                    self._progress(furthest[0], source.end)
                begin, length = place[0], source.piece(text, place[0], size)
                if not length:
                    source.refuse_endless(*place)
                size = min(2 * size, _PIECE)
            at, number = place[0] - begin, place[1]
            if reader.takes_plain_lines:
                at, number = quick.run(codes, at, length, number)
                place = begin + at, number
                if out.full or at == length:
                    yield from self._full_pieces()
                    continue
            line, after = source.line(text, at, length, number)
            reader.here, reader.after = place, (begin + after, number + 1)
            reader.line(line, number)
            place = reader.after
            if reader.jump is not None:
                furthest = max(furthest, place)
                place, reader.jump = reader.jump, None
                if not begin <= place[0] < begin + length:
                    size = min(_AFTER_JUMP, _PIECE)
            if out.full:
                yield from self._full_pieces()
        reader.finish(place[1] - 1)
        if not reader.ended and self._is_file and not source.ends_with_a_line:
            message = (
                "the text breaks off in a line, without an end of the program (M2, M30 or %): is the file complete?"
            )
            reader.reports.note(None, message)
        if reader.ended:
            self._report_rest(source, max(furthest, place))
        if reader.blocks == 0:
            self._refuse_empty(source)
        if self._progress is not None:
            self._progress(source.end, source.end)
        yield replace(out.rest(), labels=self.labels)

    def _full_pieces(self) -> Iterator[Moves]:
        for piece in self._reader.mover.out.take():
            yield replace(piece, labels=self.labels)

    def _report_rest(self, source: Source, place: Place) -> None:
        """Say when words stand behind the end of the program."""
        for _, number, line in source.lines(*place):
            try:
                text = blank_comments(line).text
            except BadTextError:
                text = line
            words = text.strip(" \t\r%")
            if words:
                self._reader.reports.at(line, number)
                word = Word("", 0.0, text.index(words[0]) + 1, words.split()[0][:20])
                self._reader.reports.note(word, "text behind the end of the program is not executed")
                return

    def _refuse_empty(self, source: Source) -> None:
        if source.blank():
            message, remedy = "the file is empty", "write the program out again"
        else:
            message, remedy = "there is not a single word of a program in it", "check that this is the right file"
        raise InputError(Fault(message, remedy, file=source.name, line=1, column=1))


def stream_program(
    path: Path | str, machine: Machine | None = None, *, start: Iterable[float] = (0.0, 0.0, 0.0),
    progress: Callable[[int, int], object] | None = None,
) -> ProgramStream:  # fmt: skip
    """Read a program file of any length in bounded memory.

    Parameters
    ----------
    path : Path or str
        The file.
    machine : Machine, optional
        As in ``read_program``.
    start : (3,) float
        As in ``read_program`` [mm].
    progress : callable, optional
        Called about once per piece of text with the bytes read and those of the whole file.

    Returns
    -------
    ProgramStream
        Iterating it yields ``Moves``; faults are raised from there.
    """
    return ProgramStream(lambda: open_source(path), str(path), machine, start, progress, is_file=True)


def _whole(stream: ProgramStream) -> Program:
    moves = joined(stream)
    return Program(moves, stream.warnings, stream.blocks, stream.name, stream.noted, stream.claims, stream.scale)
