"""Scores of an operator in a lesson, when a lesson counts as learned, and the record of it on paper."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from shopcalc.documents import Boxes, Caution, Document, Gap, Paragraph, Table
from shopcalc.errors import Fault, InputError, did_you_mean, raise_all
from shopcalc.lessons.drawing_lots import KINDS, LESSONS, kinds
from shopcalc.shoplog.records import LessonSignOff

#: How many of a lesson's exercises must be right at the first try (common practice, no source) [ratio].
PASS_SHARE = 0.8
#: How often each kind must have been tried, with different seeds (common practice, no source) [-].
TRIES_EACH = 2
#: How long a sign-off holds, and the answers it rests on: of a lesson with safety in it, and of others (common
#: practice, no source) [d].
HOLDS_SAFETY, HOLDS_OTHERS = 365, 3 * 365
#: What failing means and how a lesson is taken again, for people.
RETAKE_RULES = (
    f"Passed: each kind tried {TRIES_EACH} times, the first answer counts. Of the latest {TRIES_EACH} of each kind "
    f"{PASS_SHARE:.0%} are right at once and without a hint; of safety kinds all.",
    "Not passed: no sign-off, and nobody runs the machine alone on the strength of this lesson. Take it again as often "
    "as you like: new exercises are drawn, and the latest push out the earlier.",
    f"A sign-off holds for one person on one machine: {HOLDS_SAFETY} days where safety is in the lesson, else "
    f"{HOLDS_OTHERS // 365} years. Older answers no longer count. Common practice, no source.",
)


@dataclass(frozen=True)
class Attempt:
    """One exercise and how it went.

    Parameters
    ----------
    kind : str
        Of exercise.
    seed : int
        Of its draw [-].
    first_try : bool
        Whether the first answer was right.
    hints : int
        Taken before it [-].
    """

    kind: str
    seed: int
    first_try: bool
    hints: int = 0


@dataclass(frozen=True)
class Score:
    """What one person did in one lesson.

    Parameters
    ----------
    lesson : str
        Key of ``LESSONS``.
    attempts : tuple of Attempt
        In their order; each exercise counts once, by its first answer.
    """

    lesson: str
    attempts: tuple[Attempt, ...] = ()

    def __post_init__(self) -> None:
        kinds(self.lesson)
        for a in self.attempts:
            if a.kind not in KINDS or KINDS[a.kind].lesson != self.lesson:
                fault = Fault(
                    f"'{a.kind}' is no kind of lesson '{self.lesson}'", did_you_mean(a.kind, kinds(self.lesson))
                )
                raise InputError(fault)

    def with_(self, attempt: Attempt) -> Score:
        """The score with one more attempt; an exercise that was done before counts no second time.

        Parameters
        ----------
        attempt : Attempt
            The new one.
        """
        known = any((a.kind, a.seed) == (attempt.kind, attempt.seed) for a in self.attempts)
        return self if known else replace(self, attempts=(*self.attempts, attempt))

    @property
    def kinds_tried(self) -> tuple[str, ...]:
        """Kinds with at least one attempt, in the order of the lesson."""
        return tuple(k for k in kinds(self.lesson) if any(a.kind == k for a in self.attempts))

    @property
    def right_at_first_try(self) -> int:
        """How many exercises [-]."""
        return sum(a.first_try and not a.hints for a in self.attempts)

    @property
    def hints_used(self) -> int:
        """In all [-]."""
        return sum(a.hints for a in self.attempts)

    @property
    def seeds(self) -> tuple[int, ...]:
        """Of the exercises, in their order [-]."""
        return tuple(a.seed for a in self.attempts)

    @property
    def share(self) -> float:
        """Right at the first try and without hints over all [ratio]; 0 before the first."""
        return self.right_at_first_try / len(self.attempts) if self.attempts else 0.0


@dataclass(frozen=True)
class Outcome:
    """Whether a lesson counts as learned.

    Parameters
    ----------
    passed : bool
        True when nothing is missing.
    missing : tuple of str
        What there is still to do.
    """

    passed: bool
    missing: tuple[str, ...]


def _last(score: Score, kind: str) -> list[Attempt]:
    return [a for a in score.attempts if a.kind == kind][-TRIES_EACH:]


def passed(score: Score) -> Outcome:
    """Whether a lesson counts as learned, and what is missing.

    Parameters
    ----------
    score : Score
        Of one person in one lesson.

    Returns
    -------
    Outcome
        Each kind is tried at least ``TRIES_EACH`` times. Of the latest so many of each kind, ``PASS_SHARE`` over the
        whole lesson are right at the first try and without hints, and every one of a safety kind. Retaking is by new
        seeds: later attempts push out the earlier ones. Common practice, no source.

    Example
    -------
    >>> passed(Score("fit")).missing[0]
    'each cheek: try 2 more'
    """
    missing, right, counted = [], 0, 0
    for kind in kinds(score.lesson):
        last, name = _last(score, kind), kind.replace("-", " ")
        good = sum(a.first_try and not a.hints for a in last)
        right, counted = right + good, counted + len(last)
        if len(last) < TRIES_EACH:
            missing.append(f"{name}: try {TRIES_EACH - len(last)} more")
        elif KINDS[kind].safety and good < TRIES_EACH:
            missing.append(f"{name}: the last {TRIES_EACH} must be right at the first try, because it is about safety")
    needed = math.ceil(PASS_SHARE * TRIES_EACH * len(kinds(score.lesson)) - 1e-9)
    if right < needed and not any("more" in m for m in missing):
        missing.append(f"{right} of the latest {counted} are right at the first try; {needed} are needed")
    return Outcome(not missing, tuple(missing))


def due(score: Score) -> tuple[str, ...]:
    """Kinds of exercises that still have to be tried or taken again.

    Parameters
    ----------
    score : Score
        Of one person in one lesson.

    Returns
    -------
    tuple of str
        Those whose latest tries are too few or not all right at once, in the order of the lesson.

    Example
    -------
    >>> due(Score("shapes"))[0]
    'v-width'
    """
    out = []
    for kind in kinds(score.lesson):
        last = _last(score, kind)
        if len(last) < TRIES_EACH or not all(a.first_try and not a.hints for a in last):
            out.append(kind)
    return tuple(out)


def about_safety(lesson: str) -> bool:
    """Whether a lesson holds exercises in which somebody can be hurt who gets them wrong.

    Parameters
    ----------
    lesson : str
        Key of ``LESSONS``.
    """
    return any(KINDS[kind].safety for kind in kinds(lesson))


def holds(lesson: str) -> datetime.timedelta:
    """How long a sign-off holds.

    Parameters
    ----------
    lesson : str
        Key of ``LESSONS``.

    Returns
    -------
    timedelta
        Common practice, no source.

    Example
    -------
    >>> holds("safety").days, holds("surface").days
    (365, 1095)
    """
    return datetime.timedelta(days=HOLDS_SAFETY if about_safety(lesson) else HOLDS_OTHERS)


def sign_off(score: Score, person: str, machine: str, date: datetime.date, signed_by: str) -> LessonSignOff:
    """What the shop's log keeps of a lesson that was passed.

    Parameters
    ----------
    score : Score
        Of the lesson.
    person : str
        Who learned it.
    machine : str
        On which they were watched.
    date : date
        Of the signature.
    signed_by : str
        Who watched.

    Returns
    -------
    LessonSignOff
        For ``shoplog``; its score is the share that was right at the first try.

    Raises
    ------
    InputError
        When the lesson is not passed, no machine is named, nobody signs, or somebody signs for themselves.
    """
    out, faults = passed(score), []
    if not out.passed:
        faults.append(Fault(f"lesson '{score.lesson}' is not passed: {'; '.join(out.missing)}", "do these first"))
    if not person.strip() or not signed_by.strip():
        faults.append(Fault("a sign-off needs two names", "say who learned and who watched"))
    elif person.strip().lower() == signed_by.strip().lower():
        faults.append(Fault(f"'{person}' cannot sign for their own lesson", "let somebody sign who watched"))
    if not machine.strip():
        faults.append(Fault("a sign-off needs a machine", "say on which machine they were watched"))
    raise_all(faults)
    return LessonSignOff(score.lesson, person.strip(), score.share, date.isoformat(), signed_by.strip(), machine)


NOT_A_LICENCE = (
    "This is a shop's own note that exercises were answered. It is no licence and no proof of skill at the machine.",
    "It does not take the place of the maker's training, nor of what law, insurer or local code ask for.",
    "Before somebody works alone, one who knows the machine watches them at it.",
)


def record_page(
    person: str, scores: Iterable[Score], date: datetime.date, signatures: Mapping[str, str] | None = None,
    machine: str = "",
) -> Document:  # fmt: skip
    """The record of a person's lessons, to print, sign and keep.

    Parameters
    ----------
    person : str
        Who learned.
    scores : iterable of Score
        One for each lesson.
    date : date
        Of the paper.
    signatures : mapping, optional
        Lesson to who signed it; a place to write is left for others.
    machine : str
        On which; empty leaves a place to write.

    Returns
    -------
    Document
        For ``documents.page.as_page`` and ``documents.pdf.as_pdf``.

    Raises
    ------
    InputError
        When no name is given.
    """
    if not person.strip():
        raise InputError(Fault("the record has no name", "say who learned"))
    signed = signatures or {}
    rows, open_points, seeds = [], [], []
    for s in scores:
        out = passed(s)
        rows.append((
            LESSONS[s.lesson], f"{len(s.kinds_tried)} of {len(kinds(s.lesson))}",
            f"{s.right_at_first_try} of {len(s.attempts)}", str(s.hints_used), "passed" if out.passed else "not yet",
            signed.get(s.lesson, Gap.WRITE),
        ))  # fmt: skip
        open_points += [f"{LESSONS[s.lesson]}: {m}." for m in out.missing]
        for kind in s.kinds_tried:
            mine = [a for a in s.attempts if a.kind == kind]
            right = f"{sum(a.first_try and not a.hints for a in mine)} of {len(mine)}"
            seeds.append((kind, ", ".join(str(a.seed) for a in mine), right, str(sum(a.hints for a in mine))))
    head = ("lesson", "kinds tried", "right at first try", "hints", "result", "seen and signed by")
    detail = ("kind", "seeds", "right at first try", "hints")
    return Document(
        f"Lessons of {person}", person, date,
        (
            Caution("What this paper is not", NOT_A_LICENCE, grave=True),
            Paragraph(f"Machine: {machine or '____________________'}"),
            Table("Lessons", head, tuple(rows), frozenset({1, 2, 3}), RETAKE_RULES),
            *(Paragraph(f"Still to do: {p}") for p in open_points),
            Table("Exercises, to make again by kind and seed", detail, tuple(seeds), frozenset({3})),
            Boxes(("watched at the machine by", "date", "signature"), 3),
        ),
        "A shop's own record of exercises.",
    )  # fmt: skip
