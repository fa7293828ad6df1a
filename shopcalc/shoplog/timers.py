"""Timers: a row with a start and no stop, so that nothing need keep running; stopping is a row that replaces it."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

from shopcalc.documents import clean
from shopcalc.errors import Fault, InputError
from shopcalc.shoplog.clock import Moment, elapsed, shown_moment
from shopcalc.shoplog.records import LONGEST, TimeEntry, tidied
from shopcalc.shoplog.store import IN_FORCE, Entry, ShopLog, Written
from shopcalc.units import write_time

_FORGOTTEN = 14 * 3600.0  # s; longer than any day of work


def start(
    log: ShopLog,
    entry: TimeEntry,
    *,
    operator: str,
    note: str = "",
    running: Literal["ask", "end", "beside"] = "ask",
) -> tuple[Written, tuple[Entry, ...]]:
    """Start a timer.

    Parameters
    ----------
    log : ShopLog
        Open for writing.
    entry : TimeEntry
        On what; its start and its duration are filled in here.
    operator, note : str
        Whose timer; for people.
    running : {"ask", "end", "beside"}
        What becomes of this operator's timers that run: refuse, end them now, or let both run.

    Returns
    -------
    written : Written
        With notes, e.g. that two timers of one person run.
    ended : tuple of Entry
        Timers that were ended by it, as they stand now.

    Raises
    ------
    InputError
        When one runs and nothing is said about it.
    """
    now = log.clock()
    entry = tidied(
        replace(
            entry,
            began=now.utc,
            utc_offset=now.offset,
            seconds=None,
            standing=0.0,
            running=now.running,
            boot=now.boot,
            person=entry.person or operator,
        )
    )
    name, uid = clean(operator), uuid.uuid4().hex

    def action() -> tuple[Written, tuple[Entry, ...]]:
        open_ones, notes = log.running(name), list[str]()
        if open_ones and running == "ask":
            raise InputError([_runs(e, now) for e in open_ones])
        ended = tuple(_end(log, e, now, name, notes) for e in open_ones) if running == "end" else ()
        made = log.insert(entry, operator=name, note=note, origin="timer", uid=uid)
        if open_ones and running == "beside":
            other = ", ".join(f"{e.id} ({e.says})" for e in open_ones)
            notes.append(f"{name} has two timers now, marked as overlapping: entry {made.entry} and {other}")
        return replace(made, notes=(*notes, *made.notes)), ended

    return log.transaction(action, "an entry", f"start of {entry.subject}", uid)


def _runs(entry: Entry, now: Moment) -> Fault:
    assert isinstance(entry.record, TimeEntry)
    assert entry.record.began is not None
    since = shown_moment(entry.record.began, entry.record.utc_offset or 0)
    message = f"{entry.whose} has a timer already: {entry.record.subject}, since {since} (entry {entry.id})"
    return Fault(message, "add --end-running to end it now, or --beside to let both run")


def _end(log: ShopLog, entry: Entry, now: Moment, operator: str, notes: list[str]) -> Entry:
    made = _stopped(log, entry, now, operator, notes)
    return log.entry(made.entry)


def _stopped(
    log: ShopLog,
    entry: Entry,
    now: Moment,
    operator: str,
    notes: list[str],
    *,
    seconds: float | None = None,
    standing: float = 0.0,
    done: bool = False,
    note: str = "",
    uid: str | None = None,
) -> Written:
    record = entry.record
    assert isinstance(record, TimeEntry)
    assert record.began is not None
    if seconds is None:
        began = Moment(record.began, record.utc_offset or 0, record.running, record.boot)
        seconds, said = elapsed(began, now)
        if said:
            notes.append(said)
        if seconds > LONGEST:
            message = f"it has run for {seconds / 86400:.0f} days (entry {entry.id}): it was forgotten"
            raise InputError(Fault(message, 'say how long it took: shopcalc log stop --minutes "12 min"'))
        if seconds > _FORGOTTEN:
            notes.append(
                f"it ran for {write_time(seconds)}: if it was forgotten, say how long it took: "
                f'shopcalc log correct NUMBER --minutes "12 min"'
            )
    stopped = tidied(replace(record, seconds=seconds, standing=standing, done=done or record.done))
    both = "; ".join(t for t in (entry.note, clean(note)) if t)
    return log.insert(stopped, operator=operator, note=both, replaces=entry.id, origin="timer", uid=uid)


def stop(
    log: ShopLog,
    *,
    operator: str,
    entry: int | None = None,
    seconds: float | None = None,
    standing: float = 0.0,
    done: bool = False,
    note: str = "",
) -> tuple[Entry, Written]:
    """Stop a timer.

    Parameters
    ----------
    log : ShopLog
        Open for writing.
    operator : str
        Who stops it; their own one is meant where no entry is said.
    entry : int or None
        Number of the timer.
    seconds : float or None
        How long it took, where the timer is not to be believed [s].
    standing : float
        Of it, while the machine stood and waited [s].
    done : bool
        Whether the phase is finished with it.
    note : str
        For people.

    Returns
    -------
    stopped : Entry
        As it stands now.
    written : Written
        With notes.

    Raises
    ------
    InputError
        When there is none, when it is not clear which one, or when the clock was set back since; it then still runs.
    """
    now, name, uid = log.clock(), clean(operator), uuid.uuid4().hex

    def action() -> tuple[Entry, Written]:
        timer, notes = _which(log, name, entry), list[str]()
        made = _stopped(log, timer, now, name, notes, seconds=seconds, standing=standing, done=done, note=note, uid=uid)
        notes += overlaps(log, made.entry)
        return log.entry(made.entry), replace(made, notes=(*notes, *made.notes))

    return log.transaction(action, "an entry", "stop of a timer", uid)


def _which(log: ShopLog, operator: str, number: int | None) -> Entry:
    running = log.running()
    shown = "; ".join(f"entry {e.id}: {e.whose}, {getattr(e.record, 'subject', '')}" for e in running)
    if number is not None:
        found = [e for e in running if e.id == number]
        if not found:
            raise InputError(Fault(f"entry {number} is not a running timer", f"running: {shown or 'none'}"))
        return found[0]
    mine = [e for e in running if e.whose == operator]
    if len(mine) == 1:
        return mine[0]
    if not mine:
        remedy = f"stop another one's with --entry; running: {shown}" if running else "log start begins one"
        raise InputError(Fault(f"{operator or 'nobody'} has no timer running", remedy))
    raise InputError(Fault(f"{operator} has {len(mine)} timers running", f"say which with --entry; running: {shown}"))


def overlaps(log: ShopLog, number: int) -> list[str]:
    """Which other times of the same person an entry overlaps, in words.

    Parameters
    ----------
    log : ShopLog
        Open.
    number : int
        Of an entry that counts.
    """
    entry = log.entry(number)
    record = entry.record
    if not isinstance(record, TimeEntry) or record.began is None or record.seconds is None:
        return []
    end = record.began + round(record.seconds * 1e6)
    found: Sequence[tuple[int]] = log.rows(
        "SELECT e.id FROM times t JOIN entries e ON e.id = t.entry WHERE t.began > ? AND t.began < ? AND e.id <> ? "
        "AND t.person = ? AND t.seconds IS NOT NULL AND t.began + t.seconds * 1000000 > ? AND " + IN_FORCE,
        (record.began - round(LONGEST * 1e6), end, number, record.person, record.began),
    )
    if not found:
        return []
    numbers = ", ".join(str(row[0]) for row in found[:5]) + (", ..." if len(found) > 5 else "")
    return [f"{record.person}'s time overlaps entry {numbers}: it is marked as overlapping"]
