"""How an answer is judged: a number with its unit, a choice, an order, a line of a program."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

from shopcalc.errors import InputError
from shopcalc.units import QUANTITIES, System, read

_BARE = re.compile(r"\s*[+-]?(\d+\.?\d*|\.\d+)\s*")
#: Slips of unit by the factor they leave on the number, for each quantity that has any.
_UNIT_SLIPS: Mapping[str, tuple[tuple[str, float], ...]] = {
    quantity: (("mm written as in", 25.4), ("in written as mm", 1 / 25.4))
    for quantity in ("length", "feed", "feed_per_tooth")
} | {"time": (("seconds written as minutes", 60.0), ("minutes written as seconds", 1 / 60))}


@dataclass(frozen=True)
class Verdict:
    """What is said to an answer.

    Parameters
    ----------
    right : bool
        Whether it is right.
    message : str
        Why, or what to think of next; never the answer itself when it is wrong.
    mistakes : tuple of str
        Names of the common mistakes that lead to this answer.
    """

    right: bool
    message: str
    mistakes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Mistake:
    """A wrong way that many take.

    Parameters
    ----------
    name : str
        What it is called.
    answer : float or str
        Where it leads: a number [house unit of the quantity asked for], or the letters or line given.
    think : str
        What to think of.
    """

    name: str
    answer: float | str
    think: str


class Judge(Protocol):
    """Judges what was written."""

    def answer(self) -> str:
        """The right answer as a person would write it."""

    def check(self, text: str) -> Verdict:
        """Judge a text that is not empty."""


#: Unit of each quantity in an answer.
_SHOWN: Mapping[System, Mapping[str, str]] = {
    "metric": {"speed": "m/s", "force": "N", "length": "mm", "feed": "mm/min", "feed_per_tooth": "mm/tooth"},
    "inch": {"speed": "ft/s", "force": "lbf", "length": "in", "feed": "in/min", "feed_per_tooth": "in/tooth"},
}
_SAME = {"time": "s", "spindle_speed": "rpm", "ratio": "%", "angle": "deg"}


def tell(value: float, quantity: str, system: System, digits: int = 4) -> str:
    """Write a number of an exercise with as many digits as its checking needs.

    Parameters
    ----------
    value : float
        [house unit of the quantity].
    quantity : str
        A key of ``units.QUANTITIES``.
    system : {"metric", "inch"}
        What the reader thinks in.
    digits : int
        That count.

    Example
    -------
    >>> tell(0.381, "length", "inch"), tell(0.381, "length", "metric"), tell(900, "time", "inch")
    ('0.015 in', '0.381 mm', '15 min')
    """
    unit = "min" if quantity == "time" and value >= 120 else _SAME.get(quantity) or _SHOWN[system][quantity]
    shown = value / (1000.0 * read(f"0.001 {unit}", quantity))  # a whole inch is no feed per tooth
    number = f"{shown:.{digits}g}" if shown else "0"
    return f"{f'{float(number):f}'.rstrip('0').rstrip('.')} {unit}"


@dataclass(frozen=True)
class Number:
    """A number with its unit is asked for.

    Parameters
    ----------
    value : float
        The right one [house unit].
    quantity : str
        A key of ``units.QUANTITIES``.
    system : {"metric", "inch"}
        Of the exercise; an answer may come in either.
    mistakes : tuple of Mistake
        Known wrong ways.
    tolerance : float
        Share of the right number by which an answer may be off [-].
    """

    value: float
    quantity: str
    system: System
    mistakes: tuple[Mistake, ...]
    tolerance: float = 0.03

    def __post_init__(self) -> None:
        most = QUANTITIES[self.quantity].largest  # what lies beyond is refused before it is judged
        object.__setattr__(self, "mistakes", tuple(m for m in self.mistakes if 0 < float(m.answer) <= most))

    def answer(self) -> str:
        """The right number in the exercise's unit."""
        return tell(self.value, self.quantity, self.system)

    def near(self, given: float, wanted: float, times: float = 1.0) -> bool:
        """Whether a number counts as another.

        Parameters
        ----------
        given, wanted : float
            [house unit].
        times : float
            How many tolerances they may be apart [-].
        """
        return math.isclose(given, wanted, rel_tol=times * self.tolerance * (1 + 1e-9), abs_tol=1e-12)

    @property
    def clear(self) -> bool:
        """No known mistake, nor a slip of unit, comes near the right number."""
        return not any(self.near(float(m.answer), self.value, 2.0) for m in self.mistakes)

    def check(self, text: str) -> Verdict:
        """Judge a number with its unit; a wrong unit is told apart from a wrong number.

        Parameters
        ----------
        text : str
            What was written.

        Returns
        -------
        Verdict
            Right within the tolerance.
        """
        try:
            given = read(text, self.quantity)
        except InputError as e:
            bare = _BARE.fullmatch(text) is not None  # not an answer yet: it may be written again
            return Verdict(False, self._bare(text) if bare else _told(e), ("form" if bare else "unit",))
        if self.near(given, self.value):
            return Verdict(True, "Right.")
        found = [m for m in self.mistakes if self.near(given, float(m.answer))]
        if found:
            return Verdict(False, " Or: ".join(f"{m.name}? {m.think}" for m in found), tuple(m.name for m in found))
        for name, factor in _UNIT_SLIPS.get(self.quantity, ()):
            if self.near(given, self.value * factor):
                return Verdict(False, f"The number is right and the unit is wrong: {name}.", ("unit",))
        way = "too large" if given > self.value else "too small"
        return Verdict(False, f"The unit fits; the number is {way}. Take the next hint.")

    def _bare(self, text: str) -> str:
        """What is said to a number without its unit."""
        unit = self.answer().split(" ", 1)[1]
        said = "A number needs its unit"
        try:
            if self.near(read(f"{text.strip()} {unit}", self.quantity), self.value):
                said = f"The number is right in {unit}, but it needs its unit"
        except InputError:
            pass
        return f"{said}: write it behind, such as {QUANTITIES[self.quantity].examples}."


def _told(refused: InputError) -> str:
    fault = refused.faults[0]
    return f"{fault.message}: {fault.remedy}."


@dataclass(frozen=True)
class Choice:
    """One of several answers is right; every wrong one has its reason.

    Parameters
    ----------
    options : tuple of str
        In the order shown, lettered from a.
    right : int
        Which, from 0 [-].
    mistakes : tuple of Mistake
        One for each wrong option, its answer the letter.
    """

    options: tuple[str, ...]
    right: int
    mistakes: tuple[Mistake, ...]

    def answer(self) -> str:
        """Its letter."""
        return "abcdefgh"[self.right]

    def check(self, text: str) -> Verdict:
        """Judge a letter, or the words of an option.

        Parameters
        ----------
        text : str
            What was written.

        Returns
        -------
        Verdict
            With the reason against a wrong option.
        """
        letters = "abcdefgh"[: len(self.options)]
        plain = " ".join(text.lower().split()).strip(" .)(")
        words = [o.lower().strip(" .") for o in self.options]
        letter = letters[words.index(plain)] if plain in words else plain
        if len(letter) != 1 or letter not in letters:
            return Verdict(False, f"Answer with one letter, {letters[0]} to {letters[-1]}.", ("form",))
        if letter == self.answer():
            return Verdict(True, "Right.")
        wrong = next(m for m in self.mistakes if m.answer == letter)
        return Verdict(False, f"Not {letter}. {wrong.think}", (wrong.name,))


@dataclass(frozen=True)
class Order:
    """Several things are put in order.

    Parameters
    ----------
    items : tuple of str
        In the order shown, lettered from a.
    right : str
        The letters in the right order.
    reasons : mapping
        Letter to why it stands where it does.
    mistakes : tuple of Mistake
        Whole orders that many give, their answers the letters.
    """

    items: tuple[str, ...]
    right: str
    reasons: Mapping[str, str]
    mistakes: tuple[Mistake, ...] = ()

    def answer(self) -> str:
        """Letters in order."""
        return " ".join(self.right)

    def check(self, text: str) -> Verdict:
        """Judge letters in order, with or without commas between them.

        Parameters
        ----------
        text : str
            What was written.

        Returns
        -------
        Verdict
            With the reason for the first place that is wrong.
        """
        given = re.sub(r"[\s,;>.)(-]+", "", text.lower())
        if sorted(given) != sorted(self.right):
            last = max(self.right)
            return Verdict(False, f"Write each letter from a to {last} once, such as {' '.join(sorted(self.right))}.",
                           ("form",))  # fmt: skip
        if given == self.right:
            return Verdict(True, "Right.")
        known = [m for m in self.mistakes if m.answer == given]
        place = next(i for i, (a, b) in enumerate(zip(given, self.right, strict=True)) if a != b)
        said = known[0].think if known else self.reasons[self.right[place]]
        names = tuple(m.name for m in known) or ("order",)
        return Verdict(False, f"Place {place + 1} is not right. {said}", names)


@dataclass(frozen=True)
class Line:
    """One line of a program or sheet has the fault.

    Parameters
    ----------
    right : int
        Its number, from 1 [-].
    lines : tuple of str
        All of them.
    mistakes : tuple of Mistake
        Lines that look wrong to many, their answers the number as text.
    """

    right: int
    lines: tuple[str, ...]
    mistakes: tuple[Mistake, ...] = ()

    def answer(self) -> str:
        """The line's number."""
        return f"line {self.right}"

    def check(self, text: str) -> Verdict:
        """Judge a line's number.

        Parameters
        ----------
        text : str
            "7" or "line 7".

        Returns
        -------
        Verdict
            With what a sound line does.
        """
        m = re.fullmatch(r"\s*(?:line|n)?\s*0*(\d{1,4})\s*\.?\s*", text.lower())
        if m is None or not 1 <= int(m[1]) <= len(self.lines):
            return Verdict(False, f"Answer with the number of one line, 1 to {len(self.lines)}.", ("form",))
        if int(m[1]) == self.right:
            return Verdict(True, "Right.")
        known = [x for x in self.mistakes if x.answer == m[1]]
        said = known[0].think if known else "Ask of each line where the tip is before and after it."
        return Verdict(False, f"Line {m[1]} is sound. {said}", tuple(x.name for x in known) or ("sound line",))
