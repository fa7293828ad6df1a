"""The trainer's view of a log: who may run what, where people go wrong most, and what each should do next."""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from shopcalc import lessons
from shopcalc.documents import Caution, Cell, Document, Figure, Heading, Paragraph, Table
from shopcalc.documents.plain import as_lines
from shopcalc.lessons.keeping import Signed, answers, day
from shopcalc.shoplog import LessonAnswer, Operator, ShopLog

_STUCK = 3  # wrong answers in a row after which somebody sits down with the learner (common practice, no source)
_SHOWN = 3  # steps of each person in a table
#: Lessons that must be signed before somebody runs a machine alone: those with safety in them.
NEEDED: tuple[str, ...] = tuple(key for key in lessons.LESSONS if lessons.about_safety(key))
RULE = (
    f"Alone: all {len(NEEDED)} lessons with safety in them are signed for this machine and hold. "
    "The shop's owner decides; this is no licence. Common practice, no source."
)


@dataclass(frozen=True)
class Right:
    """What one person has signed for one machine.

    Parameters
    ----------
    person, machine : str
        Who, and the machine's name.
    signed : mapping
        Lesson to its latest sign-off.
    today : date
        On which it is judged.
    """

    person: str
    machine: str
    signed: Mapping[str, Signed]
    today: datetime.date

    def holding(self, lesson: str) -> bool:
        """Whether a lesson is signed and holds.

        Parameters
        ----------
        lesson : str
            Key of ``lessons.LESSONS``.
        """
        return lesson in self.signed and self.signed[lesson].state(self.today) != "lapsed"

    @property
    def missing(self) -> tuple[str, ...]:
        """Needed lessons that are not signed, or lapsed."""
        return tuple(key for key in NEEDED if not self.holding(key))

    @property
    def alone(self) -> bool:
        """Whether nothing needed is missing."""
        return not self.missing

    @property
    def until(self) -> datetime.date | None:
        """Last day on which all that is needed holds; None where something is missing."""
        return min(self.signed[key].until for key in NEEDED) if self.alone else None


@dataclass(frozen=True)
class Trouble:
    """A kind of exercise and how it goes wrong.

    Parameters
    ----------
    kind, lesson : str
        Of exercise, and its lesson.
    tried, wrong : int
        First answers, and those of them that were wrong or had a hint [-].
    people : tuple of str
        Who had it wrong.
    mistakes : tuple of (str, int)
        Named mistakes with their counts, the most frequent first.
    """

    kind: str
    lesson: str
    tried: int
    wrong: int
    people: tuple[str, ...]
    mistakes: tuple[tuple[str, int], ...]


@dataclass(frozen=True)
class Training:
    """What the trainer sees.

    Parameters
    ----------
    date : date
        On which it is judged.
    rights : tuple of Right
        Of each person and machine.
    scores : mapping
        Person to their scores in lessons they began.
    troubles : tuple of Trouble
        Most wrong answers first.
    steps : mapping
        Person to what to do next, the most pressing first.
    titles : mapping
        Machine to what people call it.
    """

    date: datetime.date
    rights: tuple[Right, ...]
    scores: Mapping[str, tuple[lessons.Score, ...]]
    troubles: tuple[Trouble, ...]
    steps: Mapping[str, tuple[str, ...]]
    titles: Mapping[str, str]

    def as_json(self) -> dict[str, Any]:
        """For other programs."""
        return {
            "date": self.date.isoformat(),
            "needed": list(NEEDED),
            "rights": [
                {"person": r.person, "machine": r.machine, "alone": r.alone,
                 "until": r.until.isoformat() if r.until else None, "missing": list(r.missing),
                 "signed": {k: {"date": s.date.isoformat(), "until": s.until.isoformat(), "score": s.record.score,
                                "by": s.record.signed_by, "state": s.state(self.date)} for k, s in r.signed.items()}}
                for r in self.rights
            ],
            "lessons": [
                {"person": p, "lesson": s.lesson, "passed": lessons.passed(s).passed, "tried": len(s.attempts),
                 "right": s.right_at_first_try, "hints": s.hints_used}
                for p, scores in self.scores.items() for s in scores
            ],
            "troubles": [
                {"kind": t.kind, "lesson": t.lesson, "tried": t.tried, "wrong": t.wrong, "people": list(t.people),
                 "mistakes": [{"name": n, "count": c} for n, c in t.mistakes]}
                for t in self.troubles
            ],
            "next": {p: list(s) for p, s in self.steps.items()},
        }  # fmt: skip

    def tables(self) -> tuple[Table, ...]:
        """Who may run what; sign-offs with their dates; where people go wrong; what to do next."""
        return (self._who(), self._dates(), self._wrong(), self._next())

    def as_lines(self) -> list[str]:
        """For a terminal."""
        if not self.steps:
            return ["nobody has answered an exercise or signed a lesson yet"]
        return [line.rstrip() for t in self.tables() for line in ("", *as_lines(t))][1:]

    def as_document(self) -> Document:
        """To print."""
        people = ", ".join(self.steps) or "nobody yet"
        return Document(
            "Training at the machines", people, self.date,
            (Caution("What this paper is not", lessons.NOT_A_LICENCE, grave=True), *self.tables(),
             Heading("Rules"), *(Paragraph(r) for r in (RULE, *lessons.RETAKE_RULES))),
            "A shop's own record of exercises.",
        )  # fmt: skip

    def _who(self) -> Table:
        rows = []
        for r in self.rights:
            what = "alone" if r.alone else "only watched"
            missing = "all" if r.missing == NEEDED else ", ".join(r.missing) or "nothing"
            rows.append((r.person, self.titles.get(r.machine, r.machine), what, _written(r.until), missing))
        return Table("Who may run what", ("person", "machine", "may run it", "until", "missing"), tuple(rows),
                     below=(RULE,))  # fmt: skip

    def _dates(self) -> Table:
        rows = []
        for r in self.rights:
            for key in lessons.LESSONS:
                if (s := r.signed.get(key)) is not None:
                    rows.append((r.person, r.machine or "not said", lessons.LESSONS[key], str(s.date),
                                 s.record.signed_by, str(s.until), s.state(self.date)))  # fmt: skip
        head = ("person", "machine", "lesson", "signed", "by", "holds until", "state")
        return Table("Sign-offs", head, tuple(rows))

    def _wrong(self) -> Table:
        rows: list[tuple[Cell, ...]] = []
        for t in self.troubles:
            named = ", ".join(f"{n} ({c})" for n, c in t.mistakes[:_SHOWN]) or "no named mistake"
            rows.append((t.kind.replace("-", " "), Figure(f"{t.wrong} of {t.tried}", t.wrong, "", 0), named,
                         ", ".join(t.people)))  # fmt: skip
        return Table("Where people go wrong most", ("exercise", "wrong", "named mistakes", "who"), tuple(rows),
                     frozenset({1}), ("Wrong: the first answer was wrong, or took a hint.",))  # fmt: skip

    def _next(self) -> Table:
        rows = tuple((p, "; ".join(s[:_SHOWN]) or "nothing: all is signed and holds") for p, s in self.steps.items())
        return Table("What to do next", ("person", "next"), rows)


def _written(date: datetime.date | None) -> str:
    return "–" if date is None else date.isoformat()


def training(log: ShopLog, machines: Mapping[str, str], today: datetime.date | None = None) -> Training:
    """Read the trainer's view out of a log.

    Parameters
    ----------
    log : ShopLog
        Open.
    machines : mapping
        Of the shop, name to what people call it.
    today : date or None
        On which it is judged; None takes the log's clock.

    Returns
    -------
    Training
        Of everybody who answered an exercise or was signed off, without those who no longer log.
    """
    at = today or day(log.clock().utc)
    heads = (e.record for e in log.entries("e.kind = 'operator'"))
    active = {o.name: o.active for o in heads if isinstance(o, Operator)}  # the latest word on each
    gone = {name for name, still in active.items() if not still}
    given = [e.record for e in answers(log) if isinstance(e.record, LessonAnswer) and e.record.person not in gone]
    signed = {key: s for key, s in lessons.signed(log).items() if key[0] not in gone}
    people = sorted({a.person for a in given} | {person for person, _, _ in signed})
    scores = {p: tuple(_scores(log, p, at)) for p in people}
    rights = tuple(
        Right(p, m, {k: s for (who, where, k), s in signed.items() if (who, where) == (p, m)}, at)
        for p in people for m in dict.fromkeys((*machines, *(w for who, w, _ in signed if who == p)))
    )  # fmt: skip
    steps = {p: tuple(_steps(scores[p], [r for r in rights if r.person == p], machines)) for p in people}
    return Training(at, rights, scores, _troubles(given), steps, machines)


def _scores(log: ShopLog, person: str, today: datetime.date) -> Iterable[lessons.Score]:
    for key in lessons.LESSONS:
        score = lessons.score_of(log, person, key, today)
        if score.attempts:
            yield score


def _troubles(given: Iterable[LessonAnswer]) -> tuple[Trouble, ...]:
    """By kind of exercise; an exercise answered twice counts once, by its first answer."""
    first: dict[tuple[str, str, int], LessonAnswer] = {}
    for a in given:
        first.setdefault((a.person, a.exercise, a.seed), a)
    by_kind: dict[str, list[LessonAnswer]] = {}
    for a in first.values():
        by_kind.setdefault(a.exercise, []).append(a)
    out = []
    for kind, mine in by_kind.items():
        wrong = [a for a in mine if not a.correct or a.hints]
        if wrong:
            named = Counter(m for a in wrong for m in a.mistakes.split("; ") if m)
            people = tuple(sorted({a.person for a in wrong}))
            out.append(Trouble(kind, mine[0].lesson, len(mine), len(wrong), people, tuple(named.most_common())))
    return tuple(sorted(out, key=lambda t: (-t.wrong, -t.wrong / t.tried, t.kind)))


def _steps(scores: Iterable[lessons.Score], rights: Sequence[Right], machines: Mapping[str, str]) -> Iterable[str]:
    """What a person should do next, the most pressing first."""
    mine = {s.lesson: s for s in scores}
    passed = {key for key, s in mine.items() if lessons.passed(s).passed}
    for r in rights:
        for key, s in r.signed.items():
            if (state := s.state(r.today)) != "holds":
                again = "have it signed" if key in passed else "take it again"
                yield f"{_name(key)} on {machines.get(r.machine, r.machine)} {_lapse(state, s)}: {again}"
    yield from (
        f"go through '{k.replace('-', ' ')}' together: wrong {_STUCK} times in a row"
        for s in mine.values()
        for k in _stuck(s)
    )
    signed = {key for r in rights for key in r.signed}
    for key in lessons.LESSONS:
        if key in passed - signed:
            yield f"have {_name(key)} signed at the machine"
    for key, score in mine.items():
        if key not in passed and key not in signed:
            yield f"go on with {_name(key)}: {lessons.passed(score).missing[0]}"
    order = sorted(lessons.LESSONS, key=lambda key: key not in NEEDED)  # safety first
    begin = next((key for key in order if key not in mine and key not in signed), None)
    if begin is not None:
        yield f"begin {_name(begin)}"


def _name(lesson: str) -> str:
    return f"'{lessons.LESSONS[lesson]}'"


def _lapse(state: str, s: Signed) -> str:
    return f"lapsed after {s.until}" if state == "lapsed" else f"lapses after {s.until}"


def _stuck(score: lessons.Score) -> Iterable[str]:
    for kind in score.kinds_tried:
        latest = [a for a in score.attempts if a.kind == kind][-_STUCK:]
        if len(latest) == _STUCK and not any(a.first_try for a in latest):
            yield kind
