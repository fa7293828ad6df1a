"""What an exercise is: a question with everything needed to answer, check and explain it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from shopcalc.lessons.judging import Choice, Judge, Line, Mistake, Number, Order, Verdict
from shopcalc.units import System

_LONGEST = 200  # characters of an answer


@dataclass(frozen=True)
class Exercise:
    """A question with everything needed to answer, check and explain it.

    Parameters
    ----------
    kind : str
        As in ``lessons.kinds``.
    seed : int
        What it was drawn from [-].
    lesson : str
        Key of the lesson it belongs to.
    system : {"metric", "inch"}
        Units of its numbers.
    text : str
        The question; what it gives and how near an answer must be stand in it.
    hints : tuple of str
        From a nudge to nearly the answer.
    solution : str
        Worked with this exercise's numbers.
    judge : Judge
        Knows the right answer and the common mistakes.
    source : str
        Where the statement rests: a standard, a handbook, geometry, or "common practice, no source".
    safety : bool
        Whether somebody can be hurt who gets this wrong.
    given : mapping
        Quantities drawn, by name [house units], for whoever checks that they are realistic.
    """

    kind: str
    seed: int
    lesson: str
    system: System
    text: str
    hints: tuple[str, ...]
    solution: str
    judge: Judge
    source: str
    safety: bool = False
    given: Mapping[str, float] = field(default_factory=dict)

    @property
    def answer(self) -> str:
        """The right answer as a person would write it."""
        return self.judge.answer()

    @property
    def mistakes(self) -> tuple[Mistake, ...]:
        """Common mistakes that are known by name."""
        out: tuple[Mistake, ...] = getattr(self.judge, "mistakes", ())
        return out

    @property
    def form(self) -> Literal["number", "choice", "order", "line"]:
        """What an answer looks like."""
        forms: dict[type, Literal["number", "choice", "order", "line"]] = {
            Number: "number", Choice: "choice", Order: "order", Line: "line",
        }  # fmt: skip
        return forms[type(self.judge)]

    def check(self, text: object) -> Verdict:
        """Judge an answer.

        Parameters
        ----------
        text : object
            What was written; anything but a short text is refused in words.

        Returns
        -------
        Verdict
            Never an exception.

        Example
        -------
        >>> from shopcalc.lessons import make
        >>> e = make("feed-per-tooth", 3)
        >>> e.check(e.answer).right, e.check("").right
        (True, False)
        """
        if not isinstance(text, str) or not text.strip():
            return Verdict(False, "There is no answer yet: write one into the box.", ("form",))
        if len(text) > _LONGEST or not text.isprintable():
            return Verdict(False, "This is no answer: write one short line.", ("form",))
        return self.judge.check(text)
