"""What a program's reader says: refusals that stop it, notes that are counted."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple, NoReturn

from shopcalc.errors import Fault, InputError


class Word(NamedTuple):
    """A letter with its number and the column where it stands, counted from 1."""

    letter: str
    value: float
    column: int
    text: str


class BadTextError(Exception):
    """A place in a line that cannot be read.

    Parameters
    ----------
    column : int
        Where, counted from 1.
    message, remedy : str
        As in a Fault.
    """

    def __init__(self, column: int, message: str, remedy: str) -> None:
        super().__init__(message)
        self.column, self.message, self.remedy = column, message, remedy


@dataclass(frozen=True)
class Note:
    """Something in a program that was not understood or was taken in one of several ways.

    Parameters
    ----------
    line, column : int
        Where it first occurs, counted from 1.
    word : str
        The word it is about.
    message : str
        How it was taken, and how often it occurs.
    text : str
        The source line.
    """

    line: int
    column: int
    word: str
    message: str
    text: str = ""


class Reports:
    """Refusals and notes about one program.

    Parameters
    ----------
    name : str
        What faults call the program.

    Attributes
    ----------
    noted : int
        Executed lines that got at least one note.
    """

    def __init__(self, name: str) -> None:
        self.name = name
        self.text, self.number = "", 0
        self.noted, self._fresh = 0, True  # whether the present line has no note yet
        self._first: dict[str, Note] = {}
        self._times: dict[str, int] = {}

    def at(self, text: str, number: int) -> None:
        """Say which line is being read."""
        self.text, self.number, self._fresh = text, number, True

    def refuse(self, word: Word | None, message: str, remedy: str) -> NoReturn:
        """Raise a placed fault for a word of the present line."""
        column = word.column if word is not None else 1
        raise InputError(Fault(message, remedy, self.name, self.number, column, text=self.text))

    def note(self, word: Word | None, message: str, times: int = 1, *, understood: bool = False) -> None:
        """Report something where it first occurs, and count it from then on; no word stands for that many lines.

        What is understood, and only told, does not count against the line.
        """
        if not understood:
            self.noted += times if word is None else self._fresh
            self._fresh = self._fresh and word is None
        if message not in self._first:
            column, text = (word.column, word.text) if word is not None else (1, "")
            self._first[message] = Note(self.number, column, text, message, self.text)
        self._times[message] = self._times.get(message, 0) + times

    def notes(self) -> tuple[Note, ...]:
        """Each kind of note once, in the order of their lines, with how often it occurred."""
        out = []
        for message, first in self._first.items():
            times = self._times[message]
            said = message if times <= 1 else f"{message} ({times} times)"
            out.append(replace(first, message=said))
        return tuple(sorted(out, key=lambda n: (n.line, n.column, n.message)))
