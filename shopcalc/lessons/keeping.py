"""Answers and sign-offs in the shop's log: what is kept, read back, and how long it counts."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from shopcalc.documents import clean
from shopcalc.errors import Fault, InputError
from shopcalc.lessons.drawing_lots import KINDS, LESSONS
from shopcalc.lessons.scoring import Attempt, Score, holds, sign_off
from shopcalc.shoplog.records import LessonAnswer, LessonSignOff
from shopcalc.shoplog.store import Entry, ShopLog, Written

_SOON = datetime.timedelta(days=30)  # before a sign-off lapses people are told

State = Literal["holds", "lapses soon", "lapsed"]


@dataclass(frozen=True)
class Signed:
    """The latest sign-off of a person in a lesson on a machine.

    Parameters
    ----------
    entry : int
        Its number in the log [-].
    record : LessonSignOff
        As it was kept.
    date, until : date
        Of the signature, and the last day on which it holds.
    """

    entry: int
    record: LessonSignOff
    date: datetime.date
    until: datetime.date

    def state(self, today: datetime.date) -> State:
        """Whether it still holds.

        Parameters
        ----------
        today : date
            Asked for.

        Returns
        -------
        {"holds", "lapses soon", "lapsed"}
            Soon is within 30 days.
        """
        if today > self.until:
            return "lapsed"
        return "lapses soon" if today > self.until - _SOON else "holds"


def keep_answer(log: ShopLog, person: str, attempt: Attempt, mistakes: Sequence[str] = ()) -> Written:
    """Keep the first answer to an exercise.

    Parameters
    ----------
    log : ShopLog
        Open for writing.
    person : str
        Who answered.
    attempt : Attempt
        How it went.
    mistakes : sequence of str
        Names of the common mistakes that lead to the answer.

    Returns
    -------
    Written
        Once it is on the disk.

    Raises
    ------
    InputError
        When it could not be written.
    """
    record = LessonAnswer(
        person, KINDS[attempt.kind].lesson, attempt.kind, attempt.seed, attempt.first_try, attempt.hints,
        "; ".join(mistakes),
    )  # fmt: skip
    return log.add(record, operator=person, origin="lesson")


def answers(log: ShopLog, person: str | None = None, lesson: str | None = None) -> list[Entry]:
    """Answers that were kept, in their order.

    Parameters
    ----------
    log : ShopLog
        Open.
    person, lesson : str or None
        Only theirs, only of it.

    Returns
    -------
    list of Entry
        Kinds of exercises that no longer exist are left out.
    """
    where, values = "e.kind = 'answer'", list[str]()
    for column, value in (("person", person), ("lesson", lesson)):
        if value is not None:
            where += f" AND e.id IN (SELECT entry FROM answers WHERE {column} = ?)"
            values.append(clean(value))
    found = log.entries(where, values)
    return [e for e in found if isinstance(e.record, LessonAnswer) and _known(e.record)]


def _known(a: LessonAnswer) -> bool:
    return a.exercise in KINDS and KINDS[a.exercise].lesson == a.lesson


def score_of(log: ShopLog, person: str, lesson: str, today: datetime.date | None = None) -> Score:
    """What a person did in a lesson, as far as it still counts.

    Parameters
    ----------
    log : ShopLog
        Open.
    person, lesson : str
        Who, in which lesson.
    today : date or None
        Answers older than a sign-off would hold do not count; None takes the log's clock.

    Returns
    -------
    Score
        Each exercise counts once, by its first answer.
    """
    at = today or day(log.clock().utc)
    out = Score(lesson)
    for e in answers(log, person, lesson):
        a = e.record
        if isinstance(a, LessonAnswer) and day(e.recorded) + holds(lesson) >= at:
            out = out.with_(Attempt(a.exercise, a.seed, a.correct, a.hints))
    return out


def day(moment: int) -> datetime.date:
    """The day of a moment, by the local time of the computer.

    Parameters
    ----------
    moment : int
        UTC, since 1970 [µs].
    """
    return datetime.datetime.fromtimestamp(moment / 1e6).date()


def keep_sign_off(
    log: ShopLog, score: Score, person: str, machine: str, date: datetime.date, signed_by: str
) -> Written:
    """Keep a sign-off.

    Parameters
    ----------
    log : ShopLog
        Open for writing.
    score : Score
        Of the lesson.
    person, machine : str
        Who learned it, and on which machine they were watched.
    date : date
        Of the signature.
    signed_by : str
        Who watched; the entry is theirs.

    Returns
    -------
    Written
        Once it is on the disk.

    Raises
    ------
    InputError
        As for ``sign_off``, or when it could not be written.
    """
    today = day(log.clock().utc)
    if date > today:
        raise InputError(Fault(f"{date} has not come yet", f"give a day up to {today}", field="date"))
    record = sign_off(score, person, machine, date, signed_by)
    return log.add(record, operator=signed_by, origin="lesson")


def signed(log: ShopLog) -> Mapping[tuple[str, str, str], Signed]:
    """The latest sign-off of each person, machine and lesson.

    Parameters
    ----------
    log : ShopLog
        Open.

    Returns
    -------
    mapping
        (person, machine, lesson) to it; lessons that no longer exist and sign-offs without a date are left out.
    """
    out: dict[tuple[str, str, str], Signed] = {}
    for e in log.entries("e.kind = 'sign-off'"):
        s = e.record
        if not isinstance(s, LessonSignOff) or s.lesson not in LESSONS or not s.date:
            continue
        date, key = datetime.date.fromisoformat(s.date), (s.person, s.machine, s.lesson)
        if key not in out or out[key].date <= date:
            out[key] = Signed(e.id, s, date, date + holds(s.lesson))
    return out
