"""Reading a program: pieces of its text, plain lines all at once, every other line by the interpreter."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from shopcalc.errors import Fault, InputError
from shopcalc.gcode.interpreter import Interpreter
from shopcalc.gcode.plain import plain_lines
from shopcalc.gcode.reports import Note, Word
from shopcalc.gcode.words import BadTextError, blank_comments
from shopcalc.moves import Moves

if TYPE_CHECKING:
    from shopcalc.machines import Machine

_PIECE = 1 << 21  # bytes read at once: what bounds the memory of the quick reader
_WORTH = 4  # plain lines in a row from which the quick reader pays
_LONGEST_LINE = 10_000  # characters; beyond it a file is no program
_MOST_WAIT = 4096  # lines read with care after the quick reader failed again and again


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
    """

    moves: Moves
    warnings: tuple[Note, ...]
    blocks: int
    name: str


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
    file = str(path)
    try:
        raw = Path(path).read_bytes()
    except FileNotFoundError:
        raise InputError(Fault("there is no such file", "check the name and the folder", file=file)) from None
    except IsADirectoryError:
        raise InputError(Fault("this is a folder, not a program", "name a file in it", file=file)) from None
    except (OSError, ValueError) as e:
        reason = (getattr(e, "strerror", None) or "unreadable").lower()
        remedy = "check the name and the permissions"
        raise InputError(Fault(f"it cannot be read ({reason})", remedy, file=file)) from None
    return _read(raw, file, machine, start)


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
    return _read(text.encode("utf-8", "surrogateescape"), name, machine, start)


def _read(raw: bytes, name: str, machine: Machine | None, start: Iterable[float]) -> Program:
    raw = _clean(raw, name)
    reader = Interpreter(name, machine, start)
    data = np.frombuffer(raw, dtype=np.uint8)
    first = 1
    for begin, end in _pieces(raw):
        piece = data[begin:end]
        _check_lengths(piece, first, name)
        lines, used = _read_piece(reader, piece, first)
        first += lines
        if reader.ended:
            _report_rest(reader, raw, begin + used, first)
            break
    if reader.blocks == 0:
        message = "there is not a single word of a program in it"
        raise InputError(Fault(message, "check that this is the right file", file=name, line=1, column=1))
    return Program(reader.moves(), reader.notes(), reader.blocks, Path(name).name)


def _clean(raw: bytes, name: str) -> bytes:
    """The text without a mark at its front or end, each line closed by one line feed; refuses what is no text."""
    if raw.startswith(b"\xef\xbb\xbf"):
        raw = raw[3:]
    if raw.endswith(b"\x1a"):  # an end mark of old systems
        raw = raw.rstrip(b"\x1a")
    if not raw or raw.isspace():
        raise InputError(Fault("the file is empty", "write the program out again", file=name, line=1, column=1))
    zero = raw.find(b"\0")
    if zero >= 0:
        line, column = raw.count(b"\n", 0, zero) + 1, zero - raw.rfind(b"\n", 0, zero)
        remedy = "it holds zero bytes: check that it is a program, and save it as plain text (UTF-8)"
        raise InputError(Fault("this is not program text", remedy, file=name, line=line, column=column))
    if b"\r" in raw and raw.count(b"\r") != raw.count(b"\r\n"):  # a lone carriage return ends a line, too
        raw = raw.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    return raw if raw.endswith(b"\n") else raw + b"\n"


def _pieces(raw: bytes) -> Iterator[tuple[int, int]]:
    begin, size = 0, len(raw)
    while begin < size:
        end = size
        if begin + _PIECE < size:
            end = raw.find(b"\n", begin + _PIECE) + 1
        yield begin, end
        begin = end


def _check_lengths(piece: NDArray[np.uint8], first: int, name: str) -> None:
    """Refuse a file whose lines no control could hold, before it fills the memory."""
    newline = np.flatnonzero(piece == ord("\n"))
    lengths = np.diff(newline, prepend=-1)
    if lengths.max() > _LONGEST_LINE:
        row = int(np.argmax(lengths > _LONGEST_LINE))
        message = f"a line of {lengths[row] - 1} characters: this is not a program"
        remedy = "check that this is the right file, and that each block stands on a line of its own"
        raise InputError(Fault(message, remedy, file=name, line=first + row, column=_LONGEST_LINE))


def _read_piece(reader: Interpreter, piece: NDArray[np.uint8], first: int) -> tuple[int, int]:
    """Feed one piece of whole lines to the reader; returns how many lines and bytes it took."""
    lines = plain_lines(piece)
    count = len(lines.plain)
    edges = np.flatnonzero(np.diff(lines.plain.astype(np.int8), prepend=0, append=0))
    runs = [(int(b), int(e)) for b, e in zip(edges[::2], edges[1::2], strict=True) if e - b >= _WORTH]
    text = piece.tobytes()
    at, resume, wait = 0, 0, 1
    for begin, end in [*runs, (count, count)]:
        while at < end and not reader.ended:
            if at >= max(begin, resume) and reader.takes_plain_lines:
                taken = reader.plain_run(lines.values[at:end], first + at)
                at += taken
                # a run that breaks off at once costs as much as one that goes through: wait longer each time
                wait = 1 if taken >= wait else min(2 * wait, _MOST_WAIT)
                resume = at + wait
                if at >= end:
                    break
            line = text[lines.starts[at] : lines.ends[at]].decode("utf-8", "replace")
            reader.line(line.rstrip("\r"), first + at)
            at += 1
    return at, int(lines.ends[at - 1]) + 1


def _report_rest(reader: Interpreter, raw: bytes, begin: int, first: int) -> None:
    """Say when words stand behind the end of the program."""
    number = first
    while begin < len(raw):
        end = raw.find(b"\n", begin)
        line = raw[begin:end].decode("utf-8", "replace")
        try:
            text = blank_comments(line).text
        except BadTextError:
            text = line
        words = text.strip(" \t\r%")
        if words:
            reader.reports.at(line, number)
            column = text.index(words[0]) + 1
            reader.reports.note(
                Word("", 0.0, column, words.split()[0][:20]), "text behind the end of the program is not executed"
            )
            return
        begin, number = end + 1, number + 1
