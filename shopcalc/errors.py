"""What goes wrong with what people give us, said so that they can mend it.

ShopcalcError
 └── InputError      one or more faults in a table, job, machine file, program, form or command line

A physical limit is not an error: it is a result with a margin (see ``cutting.limits``).
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

_MOST_CHOICES = 30  # named in one message


class ShopcalcError(Exception):
    """Any refusal of this package."""


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong, where it stands and what to do about it.

    Parameters
    ----------
    message : str
        What is wrong, with the value that was given and what is allowed.
    remedy : str
        What to do; empty only where the message already says it.
    file : str or None
        The file as the user named it.
    line, column : int or None
        Position in a text file, counted from 1.
    row : int or None
        Row of a table as a spreadsheet numbers it (the header is row 1).
    field : str or None
        Column of a table, or dotted path of a field in a TOML file ("parts[2].length").
    text : str or None
        The source line, for programs.
    """

    message: str
    remedy: str = ""
    file: str | None = None
    line: int | None = None
    column: int | None = None
    row: int | None = None
    field: str | None = None
    text: str | None = None

    @property
    def place(self) -> str:
        """Where it stands, in words: "gate.nc, line 12, column 7"."""
        parts = [
            self.file,
            None if self.row is None else f"row {self.row}",
            None if self.line is None else f"line {self.line}",
            None if self.column is None else f"column {self.column}",
            None if self.field is None else f"'{self.field}'",
        ]
        return ", ".join(p for p in parts if p)

    def __str__(self) -> str:
        """One line: place, message and remedy."""
        out = f"{self.place}: {self.message}" if self.place else self.message
        out = f"{out}: {self.remedy}" if self.remedy else out
        return " ".join(out.split())

    def marked(self) -> str:
        """The fault with its source line and a marker under the column."""
        if self.text is None or self.column is None:
            return str(self)
        before = self.text[: self.column - 1]
        pad = "".join("\t" if c == "\t" else " " for c in before)
        return f"{self}\n    {self.text}\n    {pad}^"


class InputError(ShopcalcError):
    """Something that was given cannot be used; holds every fault found, not only the first.

    Parameters
    ----------
    faults : Fault or sequence of Fault
        At least one.
    """

    def __init__(self, faults: Fault | Sequence[Fault]) -> None:
        self.faults: tuple[Fault, ...] = (faults,) if isinstance(faults, Fault) else tuple(faults)
        if not self.faults:
            raise ValueError("an InputError needs at least one fault")
        super().__init__("\n".join(str(f) for f in self.faults))


def raise_all(faults: Iterable[Fault]) -> None:
    """Raise one InputError with all faults, or nothing when there are none.

    Parameters
    ----------
    faults : iterable of Fault
        Those found.

    Raises
    ------
    InputError
        When there is at least one fault.
    """
    found = tuple(faults)
    if found:
        raise InputError(found)


def did_you_mean(word: str, allowed: Iterable[str]) -> str:
    """Remedy for a misspelt word: the nearest allowed one, else the whole choice.

    Parameters
    ----------
    word : str
        What was written.
    allowed : iterable of str
        What may be.

    Example
    -------
    >>> did_you_mean("wite-oak", ["white-oak", "red-oak"])
    "did you mean 'white-oak'?"
    """
    choices = sorted(allowed)
    near = difflib.get_close_matches(word.lower(), [c.lower() for c in choices], n=1)
    if near:
        right = next(c for c in choices if c.lower() == near[0])
        return f"did you mean '{right}'?"
    if not choices:
        return "none is defined yet"
    shown = ", ".join(choices[:_MOST_CHOICES]) + (", ..." if len(choices) > _MOST_CHOICES else "")
    return f"use one of: {shown}"
