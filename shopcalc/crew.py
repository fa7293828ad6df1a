"""Who works in the shop and when: kinds of people with what they may do, the working day, days it is closed."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from shopcalc.reading import FieldReader
from shopcalc.standard_times import PHASES

DAYS: tuple[str, ...] = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")


#: What people may be good for: the phases, and the machine's carving, which not everybody who runs it must know.
SKILLS: tuple[str, ...] = (*PHASES, "carving")


@dataclass(frozen=True)
class People:
    """So many people who may do the same.

    Parameters
    ----------
    name : str
        Of the person, or of the kind.
    count : int
        How many [-].
    may : frozenset of str
        Of ``SKILLS``; "setup" and "machining" together run the machine.
    """

    name: str
    count: int = 1
    may: frozenset[str] = frozenset(SKILLS)


@dataclass(frozen=True)
class Workday:
    """When the shop works.

    Parameters
    ----------
    hours : float
        Worked in a day, breaks not counted [s].
    start : float
        Of the day, after midnight [s].
    days : frozenset of int
        Worked days of the week, Monday is 0.
    closed : frozenset of date
        Further days without work.
    """

    hours: float = 28800.0
    start: float = 28800.0
    days: frozenset[int] = frozenset(range(5))
    closed: frozenset[datetime.date] = frozenset()

    def works(self, day: datetime.date) -> bool:
        """Whether the shop works on that day.

        Parameters
        ----------
        day : date
            Any.
        """
        return day.weekday() in self.days and day not in self.closed


#: One person who does everything.
ALONE: tuple[People, ...] = (People("owner"),)


def read_people(r: FieldReader, table: Mapping[str, Any]) -> tuple[People, ...]:
    """Kinds of people from the sub-tables of [people]; one person who does everything where there are none.

    Parameters
    ----------
    r : FieldReader
        Collects the faults.
    table : mapping
        The section [people]; its plain values are rates and not looked at.

    Returns
    -------
    tuple of People
        In the file's order. Where nobody is said to carve, everybody who runs the machine may.
    """
    out: list[People] = []
    before = len(r.faults)
    for name, entry in table.items():
        if not isinstance(entry, dict):
            continue
        where = f"people.{name}."
        r.known(entry, ("count", "may"), where)
        said = entry.get("may", list(SKILLS))
        may = [w for w in said if isinstance(w, str)] if isinstance(said, list) else []
        if not may or not isinstance(said, list) or len(may) < len(said):
            r.fault(f"{where}may", f"{said!r} is not a list of phases", 'write e.g. ["stock", "assembly"]')
        r.known(dict.fromkeys(may), SKILLS, f"{where}may.")
        out.append(People(name, r.count(entry, "count", where, 1), frozenset(may)))
    if not any("carving" in kind.may for kind in out):
        out = [replace(k, may=k.may | {"carving"}) if "machining" in k.may else k for k in out]
    missing = [p for p in PHASES if not any(p in kind.may for kind in out)]
    if out and missing and len(r.faults) == before:
        r.fault("people", f"nobody may do: {', '.join(missing)}", "add the phases under 'may' of somebody")
    return tuple(out) or ALONE


def read_workday(r: FieldReader, table: Mapping[str, Any]) -> Workday:
    """The section [workday]; eight hours from eight on, Monday to Friday, where it says nothing.

    Parameters
    ----------
    r : FieldReader
        Collects the faults.
    table : mapping
        The section.

    Returns
    -------
    Workday
        With every day that is closed.
    """
    r.known(table, ("hours", "start", "days", "closed"), "workday.")
    usual = Workday()
    hours = r.quantity(table, "hours", "workday.", "time", usual.hours, maximum=86400.0)
    start = r.quantity(table, "start", "workday.", "time", usual.start, zero=True, maximum=86400.0)
    if start + hours > 86400.0 + 1e-6:
        r.fault("workday.hours", "the day ends after midnight", "check start and hours")
    said = _texts(r, table, "days", DAYS[:5])
    r.known(dict.fromkeys(said), DAYS, "workday.days.")
    days = frozenset(DAYS.index(d) for d in said if d in DAYS)
    closed = frozenset(d for d in (_date(r, text) for text in _texts(r, table, "closed", ())) if d)
    return Workday(hours, start, days or usual.days, closed)


def _texts(r: FieldReader, table: Mapping[str, Any], key: str, usual: tuple[str, ...]) -> tuple[str, ...]:
    said = table.get(key, list(usual))
    if not isinstance(said, list) or (not said and usual):
        r.fault(f"workday.{key}", f"{said!r} is not a list", f'write e.g. {key} = ["{usual[0] if usual else "DATE"}"]')
        return usual
    return tuple(str(v) for v in said)


def _date(r: FieldReader, text: str) -> datetime.date | None:
    try:
        return datetime.date.fromisoformat(text)
    except ValueError:
        r.fault("workday.closed", f"'{text}' is not a day", "write year-month-day, e.g. 2026-12-24")
        return None
