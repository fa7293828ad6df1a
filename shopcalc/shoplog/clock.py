"""Clocks: the wall's, kept in UTC with its offset, and the computer's own running time, which nobody sets."""

from __future__ import annotations

import datetime
import time
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from shopcalc.errors import Fault, InputError
from shopcalc.units import write_time

_EXAMPLE = 'write it as "2026-11-30 14:05", or with its offset, "2026-11-30 14:05-05:00"'
_STEP = 2.0  # s by which both clocks may differ before the wall's is taken to have been set
_DRIFT = 1e-3  # share of the time that may differ besides: a clock that is being steered runs off by half of it


@dataclass(frozen=True)
class Moment:
    """One moment by both clocks.

    Parameters
    ----------
    utc : int
        Since 1970 [µs].
    offset : int
        Of the local time, east of UTC [min].
    running : float or None
        Since the computer was started, its sleep included where it says so [s].
    boot : str
        Which start that was; empty where the computer does not say.
    """

    utc: int
    offset: int = 0
    running: float | None = None
    boot: str = ""

    @property
    def shown(self) -> str:
        """For people."""
        return shown_moment(self.utc, self.offset)


def now() -> Moment:
    """Both clocks as they stand.

    Example
    -------
    >>> now().utc > 0
    True
    """
    local = datetime.datetime.now().astimezone()
    return Moment(_utc(local), _minutes(local), _running(), _boot())


def _running() -> float:
    clock = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic() if clock is None else time.clock_gettime(clock)


@lru_cache(maxsize=1)
def _boot() -> str:
    try:
        return Path("/proc/sys/kernel/random/boot_id").read_text(encoding="ascii").strip()
    except (OSError, ValueError):
        return ""


_EPOCH = datetime.datetime(1970, 1, 1, tzinfo=datetime.UTC)


def _utc(at: datetime.datetime) -> int:
    return (at - _EPOCH) // datetime.timedelta(microseconds=1)


def _minutes(local: datetime.datetime) -> int:
    offset = local.utcoffset()
    assert offset is not None  # an aware time has one
    return round(offset.total_seconds() / 60)


def read_moment(text: str) -> Moment:
    """Read a date and a time of day, local where no offset is said.

    Parameters
    ----------
    text : str
        "2026-11-30 14:05", "2026-11-30T14:05:07.25-05:00", "2026-11-30 19:05Z".

    Returns
    -------
    Moment
        Without running time.

    Raises
    ------
    InputError
        When it is no date and time, or the clocks were changed so that it does not exist or comes twice.

    Example
    -------
    >>> read_moment("2026-11-30 14:05-05:00").shown
    '2026-11-30 14:05:00'
    """
    try:
        given = datetime.datetime.fromisoformat(text.strip())
    except ValueError:
        raise InputError(Fault(f"'{text}' is not a date and a time of day", _EXAMPLE)) from None
    if len(text.strip()) <= 10:
        raise InputError(Fault(f"'{text}' has no time of day", _EXAMPLE))
    if not 1990 <= given.year <= 2200:
        raise InputError(Fault(f"'{text}' lies too far from today", "check the year"))
    if given.tzinfo is None:
        given = _local(given, text)
    return Moment(_utc(given), _minutes(given))


def _local(given: datetime.datetime, text: str) -> datetime.datetime:
    first, second = (given.replace(fold=k).astimezone() for k in (0, 1))
    if first.utcoffset() == second.utcoffset():
        return first
    back = first.astimezone(datetime.UTC).astimezone()
    if back.replace(tzinfo=None) != given:
        message = f"'{text}' does not exist: the clocks were put forward over it"
        raise InputError(Fault(message, f"write the time before or after, e.g. {back:%Y-%m-%d %H:%M}"))
    both = " or ".join(f'"{t.isoformat(" ", "minutes")}"' for t in (first, second))
    raise InputError(Fault(f"'{text}' came twice: the clocks were put back", f"say which with its offset: {both}"))


def write_moment(utc: int, offset: int) -> str:
    """A moment for people and for tables, as ``read_moment`` reads it.

    Parameters
    ----------
    utc : int
        Since 1970 [µs].
    offset : int
        East of UTC [min].

    Example
    -------
    >>> write_moment(1_000_000, -300)
    '1969-12-31 19:00:01-05:00'
    """
    return _at(utc, offset).isoformat(" ", "auto")


def shown_moment(utc: int, offset: int) -> str:
    """A moment for people: local time to the second.

    Parameters
    ----------
    utc : int
        Since 1970 [µs].
    offset : int
        East of UTC [min].

    Example
    -------
    >>> shown_moment(1_250_000, -300)
    '1969-12-31 19:00:01'
    """
    return f"{_at(utc, offset):%Y-%m-%d %H:%M:%S}"


def _at(utc: int, offset: int) -> datetime.datetime:
    zone = datetime.timezone(datetime.timedelta(minutes=offset))
    return (_EPOCH + datetime.timedelta(microseconds=utc)).astimezone(zone)


def elapsed(began: Moment, ended: Moment) -> tuple[float, str]:
    """Time between two moments, by the running time where both are of one start of the computer.

    Parameters
    ----------
    began, ended : Moment
        In this order.

    Returns
    -------
    seconds : float
        [s]
    note : str
        What people should know of it; empty where both clocks agree.

    Raises
    ------
    InputError
        When only the wall clock is there, and it runs backwards.

    Example
    -------
    >>> elapsed(Moment(0, 0, 100.0, "a"), Moment(-3_600_000_000, 0, 160.0, "a"))
    (60.0, "the clock was set back by 1 h 01 min meanwhile: the computer's running time counts")
    """
    wall = (ended.utc - began.utc) / 1e6
    if began.boot and began.boot == ended.boot and began.running is not None and ended.running is not None:
        own = ended.running - began.running
        if abs(wall - own) <= _STEP + _DRIFT * own:
            return own, ""
        way = "forward" if wall > own else "back"
        by = write_time(abs(wall - own))
        return own, f"the clock was set {way} by {by} meanwhile: the computer's running time counts"
    if wall < 0:
        message = f"it would end at {ended.shown}, before it began at {began.shown}: the clock was set back"
        raise InputError(Fault(message, 'set the clock right, or say how long it took: log stop --minutes "12 min"'))
    return wall, ""
