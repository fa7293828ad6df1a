"""The text of a program, read in pieces of whole lines and from any line on: never more than a piece in memory.

Lines end at a line feed, a carriage return, or both. Pieces are read by seeking, not by mapping the file, because
mapped pages count as memory in use.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from pathlib import Path
from typing import IO, NoReturn

from shopcalc.errors import Fault, InputError

#: Where a line begins: its offset in bytes, and its number counted from 1.
Place = tuple[int, int]
LONGEST_LINE = 10_000  # characters; beyond it a file is no program
_PIECE = 1 << 20  # bytes looked through at once
_FIRST = 1 << 12  # bytes of the first lines after a jump
_HEAD = 1 << 16  # bytes in which a file that is no text is told at once
_LINE_FEED, _RETURN = 10, 13


class Source:
    r"""Program text in a file that is open for reading bytes.

    Parameters
    ----------
    file : binary file
        It must be able to seek.
    name : str
        What faults call it.

    Attributes
    ----------
    begin, end : int
        Offsets of the text: a mark at its front and an end mark of old systems are no part of it.

    Raises
    ------
    InputError
        When it is no text.

    Example
    -------
    >>> source = Source(io.BytesIO(b"G21\nO7\nG1 X5"), "door.nc")
    >>> source.find(rb"O7")
    (4, 2)
    >>> [text for _, _, text in source.lines(4, 2)]
    ['O7', 'G1 X5']
    """

    def __init__(self, file: IO[bytes], name: str) -> None:
        self.file, self.name = file, name
        self.end = file.seek(0, io.SEEK_END)
        head = bytearray(min(_HEAD, self.end))
        self._fill(head, 0, len(head))
        self.begin = 3 if head.startswith(b"\xef\xbb\xbf") else 0
        self._leave_out_end_mark()
        zero = head.find(b"\0", self.begin)
        if zero >= 0:
            before = _line_feeds(bytes(head[self.begin : zero]))
            self.refuse_zero(before.count(b"\n") + 1, len(before) - before.rfind(b"\n"))

    @property
    def ends_with_a_line(self) -> bool:
        """Whether its last line is closed."""
        last = bytearray(1)
        if self.end > self.begin:
            self._fill(last, self.end - 1, 1)
        return last[0] in (_LINE_FEED, _RETURN)

    def _leave_out_end_mark(self) -> None:
        tail = bytearray(256)
        while self.end > self.begin:
            begin = max(self.end - len(tail), self.begin)
            self._fill(tail, begin, self.end - begin)
            kept = bytes(tail[: self.end - begin]).rstrip(b"\x1a")
            self.end = begin + len(kept)
            if kept:
                return

    def _fill(self, buffer: bytearray, offset: int, size: int) -> None:
        """Read so many bytes into a buffer."""
        try:
            self.file.seek(offset)
            view, got = memoryview(buffer), 0
            while got < size:
                count = self.file.readinto(view[got:size])  # type: ignore[attr-defined]
                if not count:
                    remedy = "read it again once it is written completely"
                    raise InputError(Fault("the file became shorter while it was read", remedy, file=self.name))
                got += count
        except OSError as e:
            raise InputError(unreadable(e, self.name)) from None

    # --- pieces --------------------------------------------------------------------------------------------------

    def piece(self, buffer: bytearray, offset: int, size: int) -> int:
        """Read whole lines, at least one.

        Parameters
        ----------
        buffer : bytearray
            Where they are written to, from its start; longer than ``size`` and twice the longest line by one byte.
        offset : int
            Where a line begins, before ``end``.
        size : int
            About how many bytes.

        Returns
        -------
        int
            How many bytes: the last one ends a line, if need be one that the file lacks; 0 when the first line is
            longer than any program's.
        """
        while True:
            want = min(size, self.end - offset)
            self._fill(buffer, offset, want)
            if offset + want == self.end:
                if buffer[want - 1] not in (_LINE_FEED, _RETURN):
                    buffer[want] = _LINE_FEED
                    want += 1
                return want
            whole = buffer.rfind(b"\n", 0, want) + 1
            whole = max(whole, buffer.rfind(b"\r", whole, want - 1) + 1)  # what follows a return must be known
            if whole or size > LONGEST_LINE:
                return whole
            size = min(2 * size, 2 * LONGEST_LINE)

    def line(self, buffer: bytearray, at: int, end: int, number: int) -> tuple[str, int]:
        """One line of a piece, without its end, and where the next one begins in it.

        Parameters
        ----------
        buffer : bytearray
            A piece.
        at : int
            Where the line begins in it.
        end : int
            Where the piece ends.
        number : int
            Of the line.

        Raises
        ------
        InputError
            When it is too long, or no text.
        """
        stop = buffer.find(b"\n", at, end)
        lone = buffer.find(b"\r", at, stop if stop >= 0 else end)
        after = stop + 1
        if lone >= 0 and lone != stop - 1:
            stop, after = lone, lone + 1
        elif lone >= 0:
            stop = lone
        if stop - at >= LONGEST_LINE:
            self.refuse_long(number, stop - at)
        text = buffer[at:stop].decode("utf-8", "replace")
        if "\0" in text:
            self.refuse_zero(number, text.index("\0") + 1)
        return text, after

    # --- anywhere ------------------------------------------------------------------------------------------------

    def lines(self, offset: int, number: int) -> Iterator[tuple[int, int, str]]:
        """The lines from a place on, each with its offset and number.

        Parameters
        ----------
        offset : int
            Where a line begins.
        number : int
            Of that line.

        Yields
        ------
        tuple of int, int, str
            Offset, number and text without its end.
        """
        size = _FIRST
        while offset < self.end:
            buffer = bytearray(max(size, 2 * LONGEST_LINE) + 1)
            length, at = self.piece(buffer, offset, size), 0
            if not length:
                self.refuse_endless(offset, number)
            while at < length:
                text, after = self.line(buffer, at, length, number)
                yield offset + at, number, text
                at, number = after, number + 1
            offset += length
            size = min(2 * size, _PIECE)

    def find(self, pattern: bytes, start: Place | None = None) -> Place | None:
        """The first line that begins with a pattern.

        Parameters
        ----------
        pattern : bytes
            A regular expression for bytes; ``$`` is the end of a line, and a return before a line feed is a blank.
        start : tuple of int, int, optional
            Offset and number of the line from which on to look; from the first line by default.

        Returns
        -------
        tuple of int, int or None
            Offset and number of the line.
        """
        first, later = re.compile(pattern, re.MULTILINE), re.compile(rb"\n(?:" + pattern + rb")", re.MULTILINE)
        offset, number = start or (self.begin, 1)
        buffer = bytearray(_PIECE + 1)
        while offset < self.end:
            length = self.piece(buffer, offset, _PIECE)
            if not length:
                self.refuse_endless(offset, number)
            text = _line_feeds(bytes(memoryview(buffer)[:length]))
            if first.match(text) is not None:
                return offset, number
            match = later.search(text)
            if match is not None and match.start() + 1 < length:
                at = match.start() + 1
                return offset + at, number + text.count(b"\n", 0, at)
            offset, number = offset + length, number + text.count(b"\n")
        return None

    def blank(self) -> bool:
        """Whether there is nothing but blanks in it."""
        buffer, offset = bytearray(_PIECE), self.begin
        while offset < self.end:
            size = min(_PIECE, self.end - offset)
            self._fill(buffer, offset, size)
            if buffer[:size].strip():
                return False
            offset += size
        return True

    # --- what is no program --------------------------------------------------------------------------------------

    def refuse_zero(self, number: int, column: int) -> NoReturn:
        """Refuse a zero byte.

        Parameters
        ----------
        number, column : int
            Where it stands.
        """
        remedy = "it holds zero bytes: check that it is a program, and save it as plain text (UTF-8)"
        raise InputError(Fault("this is not program text", remedy, file=self.name, line=number, column=column))

    def refuse_long(self, number: int, length: int) -> NoReturn:
        """Refuse a line that no control could hold, before it fills the memory.

        Parameters
        ----------
        number : int
            Of the line.
        length : int
            Its characters.
        """
        message = f"a line of {length} characters: this is not a program"
        remedy = "check that this is the right file, and that each block stands on a line of its own"
        raise InputError(Fault(message, remedy, file=self.name, line=number, column=LONGEST_LINE))

    def refuse_endless(self, offset: int, number: int) -> NoReturn:
        """Refuse a line that does not fit into a piece.

        Parameters
        ----------
        offset, number : int
            Where it begins.
        """
        buffer, length = bytearray(_PIECE), 0
        while offset + length < self.end:
            size = min(_PIECE, self.end - offset - length)
            self._fill(buffer, offset + length, size)
            if (stop := _line_feeds(bytes(buffer[:size])).find(b"\n")) >= 0:
                length += stop
                break
            length += size
        self.refuse_long(number, length)


def open_source(path: Path | str) -> Source:
    """Open a program file; what cannot seek is read whole.

    Parameters
    ----------
    path : Path or str
        The file.

    Raises
    ------
    InputError
        When it cannot be read.
    """
    name = str(path)
    try:
        file = Path(path).open("rb", buffering=0)  # noqa: SIM115 - closed by whoever reads it
    except FileNotFoundError:
        raise InputError(Fault("there is no such file", "check the name and the folder", file=name)) from None
    except IsADirectoryError:
        raise InputError(Fault("this is a folder, not a program", "name a file in it", file=name)) from None
    except (OSError, ValueError) as e:
        raise InputError(unreadable(e, name)) from None
    try:
        return Source(file if file.seekable() else io.BytesIO(file.readall()), name)
    except OSError as e:
        file.close()
        raise InputError(unreadable(e, name)) from None
    except InputError:
        file.close()
        raise


def unreadable(error: Exception, name: str) -> Fault:
    """What to say of a file that cannot be read.

    Parameters
    ----------
    error : Exception
        What the system said.
    name : str
        Of the file.
    """
    reason = (getattr(error, "strerror", None) or "unreadable").lower()
    return Fault(f"it cannot be read ({reason})", "check the name and the permissions", file=name)


def _line_feeds(text: bytes) -> bytes:
    """As many bytes, each line closed by one line feed."""
    return text.replace(b"\r\n", b" \n").replace(b"\r", b"\n") if b"\r" in text else text
