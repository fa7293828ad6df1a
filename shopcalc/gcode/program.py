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
from shopcalc.gcode.words import plain_lines
from shopcalc.moves import Moves

if TYPE_CHECKING:
    from shopcalc.machines import Machine

_PIECE = 1 << 21  # bytes read at once: what bounds the memory of the quick reader
_WORTH = 4  # plain lines in a row from which the quick reader pays


@dataclass(frozen=True)
class Note:
    """Something in a program that was not understood or was taken in one of several ways.

    Parameters
    ----------
    line, column : int
        Counted from 1.
    word : str
        The word it is about.
    message : str
        What it would have done, and how it was taken.
    """

    line: int
    column: int
    word: str
    message: str


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
        Lines with at least one word.
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
    if not raw.strip():
        raise InputError(Fault("the file is empty", "write the program out again", file=name))
    if b"\0" in raw:
        line = raw[: raw.index(b"\0")].count(b"\n") + 1
        remedy = "it holds zero bytes: write it out again as text"
        raise InputError(Fault("this is not program text", remedy, file=name, line=line, column=1))
    reader = Interpreter(name, machine, start)
    if raw.startswith(b"\xef\xbb\xbf"):
        raw = raw[3:]
    data = np.frombuffer(raw, dtype=np.uint8)
    first = 1
    for begin, end in _pieces(raw):
        piece = data[begin:end]
        if piece[-1] != 10:
            piece = np.append(piece, np.uint8(10))
        first += _read_piece(reader, piece, first)
        if reader.ended:
            break
    if reader.blocks == 0:
        message = "there is not a single word of a program in it"
        raise InputError(Fault(message, "check that this is the right file", file=name))
    return Program(reader.moves(), tuple(Note(*n) for n in reader.notes()), reader.blocks, Path(name).name)


def _pieces(raw: bytes) -> Iterator[tuple[int, int]]:
    begin, size = 0, len(raw)
    while begin < size:
        end = size
        if begin + _PIECE < size:
            cut = raw.find(b"\n", begin + _PIECE)
            end = size if cut < 0 else cut + 1
        yield begin, end
        begin = end


def _read_piece(reader: Interpreter, piece: NDArray[np.uint8], first: int) -> int:
    """Feed one piece of whole lines to the reader; returns how many lines it had."""
    lines = plain_lines(piece)
    count = len(lines.plain)
    edges = np.flatnonzero(np.diff(lines.plain.astype(np.int8), prepend=0, append=0))
    runs = [(int(b), int(e)) for b, e in zip(edges[::2], edges[1::2], strict=True) if e - b >= _WORTH]
    text = piece.tobytes()
    at = 0
    for begin, end in [*runs, (count, count)]:
        while at < end and not reader.ended:
            if begin <= at and reader.takes_plain_lines:
                taken = reader.plain_run(lines.values[at:end], first + at)
                at += taken
                if at >= end:
                    break
            line = text[lines.starts[at] : lines.ends[at]].decode("utf-8", "replace")
            reader.line(line.rstrip("\r"), first + at)
            at += 1
    return count
