"""What a log holds: times, cutters, observations, quotes, operators, sign-offs, answers; each a frozen record."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields, replace
from datetime import date
from decimal import Decimal, InvalidOperation
from typing import Any, TypeVar

from shopcalc.documents import clean
from shopcalc.errors import Fault, did_you_mean, raise_all
from shopcalc.standard_times import PHASES

#: What may happen to a cutter; what may be seen or heard; how a quote may end.
CUTTER_EVENTS: tuple[str, ...] = ("cut", "measured", "reground", "retired")
OBSERVATIONS: tuple[str, ...] = ("sound", "burn", "tear-out", "size", "other")
OUTCOMES: tuple[str, ...] = ("open", "won", "lost")
#: Longest time of one entry [s]: a timer that ran for a month was forgotten.
LONGEST = 31 * 86400.0
_MOST_LETTERS = 4000


@dataclass(frozen=True)
class TimeEntry:
    """Time spent on something; a timer that still runs where ``seconds`` is None.

    Parameters
    ----------
    job : str
        Key of a job, see ``job_key``; empty for work on no job.
    program, part : str
        Ids of the job; empty where none.
    load : int or None
        Number of the load within its program and part: times of one number are one load, run in pieces [-].
    phase : str
        Of ``PHASES``; empty is machining where a program is said.
    cutter, machine : str
        Ids; empty where none.
    began : int or None
        UTC, since 1970 [µs].
    utc_offset : int or None
        Of the local time, east of UTC [min].
    seconds : float or None
        How long [s].
    loads : int
        Alike ones it covers [-].
    standing : float
        Of ``seconds``, while the machine stood and waited: not in the time of a load [s].
    done : bool
        Whether the phase is finished with it, so that its sum may stand for the whole.
    running : float or None
        The computer's running time at the start [s].
    boot : str
        Which start of the computer that was.
    person : str
        Whose time it is; empty takes who makes the entry.
    """

    job: str = ""
    program: str = ""
    part: str = ""
    load: int | None = None
    phase: str = ""
    cutter: str = ""
    machine: str = ""
    began: int | None = None
    utc_offset: int | None = None
    seconds: float | None = None
    loads: int = 1
    standing: float = 0.0
    done: bool = False
    running: float | None = None
    boot: str = ""
    person: str = ""

    @property
    def subject(self) -> str:
        """What it was spent on, for people: "reed-bed-chest, rail-ends, assembly"."""
        words = (self.job, self.program, self.part, self.load and f"load {self.load}", self.phase, self.machine)
        return ", ".join(str(w) for w in words if w) or "no job"


@dataclass(frozen=True)
class CutterEvent:
    """Something in the life of a cutter.

    Parameters
    ----------
    cutter : str
        Id.
    what : str
        Of ``CUTTER_EVENTS``.
    distance : float or None
        Cut since the last entry [mm].
    seconds : float or None
        Cut since the last entry [s].
    diameter : float or None
        Measured [mm].
    reason : str
        Why it was retired.
    """

    cutter: str
    what: str
    distance: float | None = None
    seconds: float | None = None
    diameter: float | None = None
    reason: str = ""

    @property
    def subject(self) -> str:
        """For people."""
        return f"cutter {self.cutter} {self.what}"


@dataclass(frozen=True)
class Observation:
    """Something seen or heard.

    Parameters
    ----------
    what : str
        Of ``OBSERVATIONS``.
    job, program, part, cutter, machine : str
        Where; empty where it does not matter.
    size_off : float or None
        What a size is off by, too large is positive [mm].
    """

    what: str
    job: str = ""
    program: str = ""
    part: str = ""
    cutter: str = ""
    machine: str = ""
    size_off: float | None = None

    @property
    def subject(self) -> str:
        """For people."""
        where = ", ".join(w for w in (self.job, self.program, self.part, self.cutter, self.machine) if w)
        return f"{self.what}: {where}" if where else self.what


@dataclass(frozen=True)
class QuoteOutcome:
    """A quote and what became of it.

    Parameters
    ----------
    job : str
        Key of the job.
    outcome : str
        Of ``OUTCOMES``.
    reason : str
        Why.
    quote : str
        JSON of ``quote --json``; empty where there is none.
    paid : Decimal or None
        What it was sold for, by this shop or by another [currency].
    currency : str
        Three letters.
    """

    job: str
    outcome: str
    reason: str = ""
    quote: str = ""
    paid: Decimal | None = None
    currency: str = ""

    @property
    def subject(self) -> str:
        """For people."""
        return f"quote of {self.job}: {self.outcome}"


@dataclass(frozen=True)
class Operator:
    """Somebody who logs.

    Parameters
    ----------
    name : str
        As in entries.
    active : bool
        Whether they still do.
    """

    name: str
    active: bool = True

    @property
    def subject(self) -> str:
        """For people."""
        return f"operator {self.name}" + ("" if self.active else " no longer logs")


@dataclass(frozen=True)
class LessonSignOff:
    """Somebody was seen to master a lesson.

    Parameters
    ----------
    lesson, person : str
        Which, and who learned it.
    score : float or None
        Right answers [ratio].
    date : str
        As 2026-03-02.
    signed_by : str
        Who saw it.
    machine : str
        On which; empty where an older log does not say.
    """

    lesson: str
    person: str
    score: float | None = None
    date: str = ""
    signed_by: str = ""
    machine: str = ""

    @property
    def subject(self) -> str:
        """For people."""
        return f"lesson {self.lesson}: {self.person}" + (f" on {self.machine}" if self.machine else "")


@dataclass(frozen=True)
class LessonAnswer:
    """The first answer to an exercise; it stands as it was given.

    Parameters
    ----------
    person, lesson, exercise : str
        Who, in which lesson, which kind of exercise.
    seed : int
        Of its draw [-].
    correct : bool
        Whether it was right.
    hints : int
        Taken before it [-].
    mistakes : str
        Names of the common mistakes that lead to it, parted by "; ".
    """

    person: str
    lesson: str
    exercise: str
    seed: int
    correct: bool
    hints: int = 0
    mistakes: str = ""

    @property
    def subject(self) -> str:
        """For people."""
        wrong = f" ({self.mistakes})" if self.mistakes else ""
        return f"{self.person}: {self.exercise} {self.seed} {'right' if self.correct else 'wrong'}{wrong}"


LogRecord = TimeEntry | CutterEvent | Observation | QuoteOutcome | Operator | LessonSignOff | LessonAnswer
#: Kind of entry to its record and its table.
KINDS: Mapping[str, tuple[type[LogRecord], str]] = {
    "time": (TimeEntry, "times"), "cutter": (CutterEvent, "cutter_events"),
    "observation": (Observation, "observations"),
    "quote": (QuoteOutcome, "quotes"), "operator": (Operator, "operators"), "sign-off": (LessonSignOff, "sign_offs"),
    "answer": (LessonAnswer, "answers"),
}  # fmt: skip
_KIND = {record: kind for kind, (record, _) in KINDS.items()}
_R = TypeVar("_R", bound=LogRecord)


def kind_of(record: LogRecord) -> str:
    """Kind of a record.

    Parameters
    ----------
    record : LogRecord
        Any.

    Example
    -------
    >>> kind_of(Operator("Ann"))
    'operator'
    """
    return _KIND[type(record)]


def job_key(text: str) -> str:
    """What a job is called in the log, whether its name or its file was given.

    Parameters
    ----------
    text : str
        "Reed-bed chest", "jobs/reed-bed-chest.toml".

    Example
    -------
    >>> job_key("Reed-bed chest"), job_key("jobs/reed-bed-chest.toml")
    ('reed-bed-chest', 'reed-bed-chest')
    """
    text = clean(text)
    if text.lower().endswith(".toml"):
        text = text.replace("\\", "/").rsplit("/", 1)[-1][:-5]
    letters = "".join(c if c.isalnum() else " " for c in text.casefold())
    return "-".join(letters.split())


def tidied(record: _R) -> _R:
    """The record as it is kept: texts on one line, its job by its key; whatever is wrong with it is refused.

    Parameters
    ----------
    record : LogRecord
        As given.

    Returns
    -------
    LogRecord
        Of the same kind.

    Raises
    ------
    InputError
        With every fault, each with its field.

    Example
    -------
    >>> tidied(TimeEntry("Garden gates", seconds=60.0)).job
    'garden-gates'
    """
    texts = {f.name: getattr(record, f.name) for f in fields(record)}
    kept: dict[str, Any] = {k: clean(v) for k, v in texts.items() if isinstance(v, str) and k != "quote"}
    if kept.get("job"):
        kept["job"] = job_key(kept["job"])
    record = replace(record, **kept)
    raise_all(faults(record))
    return record


def faults(record: LogRecord) -> Iterator[Fault]:
    """Everything that is wrong with a record.

    Parameters
    ----------
    record : LogRecord
        Tidied.

    Example
    -------
    >>> [str(f) for f in faults(TimeEntry("gates", seconds=-60.0))]
    ["'minutes': -60 s is less than no time: check the number and its sign"]
    """
    for f in fields(record):
        value = getattr(record, f.name)
        if isinstance(value, str) and f.name != "quote" and len(value) > _MOST_LETTERS:
            yield Fault(f"the text has {len(value)} letters", f"write at most {_MOST_LETTERS}", field=f.name)
        if isinstance(value, float) and not math.isfinite(value):
            yield Fault(f"{value} is not a number", "check it", field=f.name)
    yield from _FAULTS[type(record)](record)


def _one_of(word: str, allowed: tuple[str, ...], field: str) -> Iterator[Fault]:
    if word not in allowed:
        yield Fault(f"'{word}' is not known", did_you_mean(word, allowed), field=field)


def _named(record: Any, *names: str) -> Iterator[Fault]:
    for name in names:
        if not getattr(record, name):
            yield Fault("it is empty", f"say the {name}", field=name)


def _time_faults(t: TimeEntry) -> Iterator[Fault]:
    if t.phase:
        yield from _one_of(t.phase, PHASES, "phase")
    if not (t.job or t.program or t.phase or t.machine):
        yield Fault("it says nothing of what was done", "give a job, a program, a phase or a machine", field="job")
    if t.seconds is not None and t.seconds < 0:
        yield Fault(f"{t.seconds:g} s is less than no time", "check the number and its sign", field="minutes")
    if t.seconds is not None and t.seconds > LONGEST:
        message = f"{t.seconds / 86400:.0f} days are too long for one entry"
        yield Fault(message, "was a timer forgotten? say how long it took", field="minutes")
    if t.standing < 0 or (t.seconds is not None and t.standing > max(t.seconds, 0.0)):
        given = f"the machine stood for {round(t.standing, 2):g} s of {round(t.seconds or 0.0, 2):g} s"
        yield Fault(given, "give a part of the whole time", field="minutes-standing")
    if not 1 <= t.loads <= 10_000:
        yield Fault(f"{t.loads} loads", "give a count from 1", field="loads")
    if t.load is not None and not 1 <= t.load <= 100_000:
        yield Fault(f"{t.load} is not the number of a load", "give a count from 1", field="load")
    if t.load is not None and t.loads != 1:
        yield Fault("both the number of a load and several loads are given", "give one of them", field="load")
    if t.began is None and t.seconds is None:
        yield Fault("it has neither a start nor a duration", "give one of them", field="minutes")


def _cutter_faults(c: CutterEvent) -> Iterator[Fault]:
    yield from _named(c, "cutter")
    yield from _one_of(c.what, CUTTER_EVENTS, "what")
    for name in ("distance", "seconds", "diameter"):
        value = getattr(c, name)
        if value is not None and (value < 0 or (name == "diameter" and value == 0)):
            yield Fault(f"{value:g} is below the least allowed", "check the number and its sign", field=name)
    if c.what == "cut" and c.distance is None and c.seconds is None:
        yield Fault("neither distance nor minutes are given", 'give e.g. --distance "800 m"', field="distance")
    if c.what == "measured" and c.diameter is None:
        yield Fault("the diameter is missing", 'give e.g. --diameter "12.62 mm"', field="diameter")
    if c.what == "retired" and not c.reason:
        yield Fault("the reason is missing", 'give e.g. --reason "chipped"', field="reason")


def _observation_faults(o: Observation) -> Iterator[Fault]:
    yield from _one_of(o.what, OBSERVATIONS, "what")


def _quote_faults(q: QuoteOutcome) -> Iterator[Fault]:
    yield from _named(q, "job")
    yield from _one_of(q.outcome, OUTCOMES, "outcome")
    if q.quote:
        try:
            if not isinstance(json.loads(q.quote), dict):
                raise ValueError
        except ValueError:
            yield Fault("this is not a quote", "give what shopcalc quote --json printed", field="quote")
    if q.paid is not None and (not q.paid.is_finite() or q.paid < 0):
        yield Fault(f"{q.paid} is not a price", "check the number and its sign", field="paid")


def _operator_faults(o: Operator) -> Iterator[Fault]:
    yield from _named(o, "name")


def _sign_off_faults(s: LessonSignOff) -> Iterator[Fault]:
    yield from _named(s, "lesson", "person")
    if s.score is not None and not 0 <= s.score <= 1:
        yield Fault(f"{s.score:g} is not a share", "give right answers over all", field="score")
    if s.date:
        try:
            date.fromisoformat(s.date)
        except ValueError:
            yield Fault(f"'{s.date}' is no date", "write it as 2026-03-02", field="date")


def _answer_faults(a: LessonAnswer) -> Iterator[Fault]:
    yield from _named(a, "person", "lesson", "exercise")
    for name in ("seed", "hints"):
        if getattr(a, name) < 0:
            yield Fault(f"{getattr(a, name)} is below the least allowed", "give 0 or more", field=name)


_FAULTS: Mapping[type[LogRecord], Any] = {
    TimeEntry: _time_faults, CutterEvent: _cutter_faults, Observation: _observation_faults,
    QuoteOutcome: _quote_faults, Operator: _operator_faults, LessonSignOff: _sign_off_faults,
    LessonAnswer: _answer_faults,
}  # fmt: skip


def as_cells(record: LogRecord) -> dict[str, Any]:
    """The record as columns of its table.

    Parameters
    ----------
    record : LogRecord
        Tidied.

    Example
    -------
    >>> as_cells(Operator("Ann"))
    {'name': 'Ann', 'active': 1}
    """

    def cell(value: Any) -> Any:
        return int(value) if isinstance(value, bool) else str(value) if isinstance(value, Decimal) else value

    return {f.name: cell(getattr(record, f.name)) for f in fields(record)}


def from_cells(kind: str, cells: Mapping[str, Any]) -> LogRecord:
    """A record from the columns of its table.

    Parameters
    ----------
    kind : str
        Of ``KINDS``.
    cells : mapping
        Column to value.

    Example
    -------
    >>> from_cells("operator", {"name": "Ann", "active": 1})
    Operator(name='Ann', active=True)
    """
    record, _ = KINDS[kind]
    given = {f.name: cells[f.name] for f in fields(record)}
    for flag in ("done", "active", "correct"):
        if flag in given:
            given[flag] = bool(given[flag])
    if given.get("paid") is not None:
        try:
            given["paid"] = Decimal(given["paid"])
        except InvalidOperation:
            given["paid"] = None
    return record(**given)
