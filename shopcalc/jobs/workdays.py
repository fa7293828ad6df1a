"""Who does what when: tasks with an order among them, one machine, several people, working days, and drying overnight.

Time runs in working hours: an end of the day interrupts a task and the next morning takes it up again, and so it is
with the machine, which never runs while nobody is in the shop (fire, a broken cutter, a loose part). What dries goes
on drying at night and on days the shop is closed.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from shopcalc.crew import Workday
from shopcalc.sources import table_for_people

if TYPE_CHECKING:
    import pandas as pd

_TINY = 1e-9  # h


@dataclass(frozen=True)
class Task:
    """A piece of work for one person, for the machine, or for both.

    Parameters
    ----------
    name : str
        Its own.
    phase : str
        Of ``shop.PHASES``.
    hours : float
        From begin to end [h].
    attended : float or None
        From its begin on somebody is bound by it; None all the time [h].
    machine : bool
        Whether the machine is bound, from begin to end.
    after : tuple of str
        Names of the tasks that must have ended.
    waits : float
        Time that passes, worked or not, before what comes after may begin: drying [h].
    skill : str
        Asked for besides, of ``crew.SKILLS``.
    """

    name: str
    phase: str
    hours: float
    attended: float | None = None
    machine: bool = False
    after: tuple[str, ...] = ()
    waits: float = 0.0
    skill: str = ""

    @property
    def bound(self) -> float:
        """Hours somebody is bound [h]."""
        return self.hours if self.attended is None else min(self.attended, self.hours)

    @property
    def needs(self) -> frozenset[str]:
        """What its person must be able to do; whoever runs the machine also sets it up."""
        return frozenset(({"setup", "machining"} if self.machine else {self.phase}) | ({self.skill} - {""}))


@dataclass(frozen=True)
class Slot:
    """A task in its place.

    Parameters
    ----------
    task : Task
        Which.
    person : str
        Who; empty where nobody is bound.
    start, end : float
        From the first morning on [working h].
    """

    task: Task
    person: str
    start: float
    end: float

    @property
    def free_from(self) -> float:
        """When its person may turn to something else [working h]."""
        return self.start + self.task.bound


@dataclass(frozen=True)
class Days:
    """Working hours against days and the clock.

    Parameters
    ----------
    workday : Workday
        When the shop works.
    first : date or None
        First day; None counts days that follow each other without a closed one between.
    """

    workday: Workday
    first: datetime.date | None = None
    _dates: list[datetime.date] = field(default_factory=list, repr=False, compare=False)

    @property
    def hours(self) -> float:
        """Of a day [h]."""
        return self.workday.hours / 3600

    def date(self, day: int) -> datetime.date:
        """Date of a working day, 0 is the first; without dates, counted from the first of January of the year 1.

        Parameters
        ----------
        day : int
            Number [-].
        """
        if self.first is None:
            return datetime.date.fromordinal(1 + day)
        while len(self._dates) <= day:
            at = self._dates[-1] + datetime.timedelta(1) if self._dates else self.first
            while not self.workday.works(at):
                at += datetime.timedelta(1)
            self._dates.append(at)
        return self._dates[day]

    def place(self, t: float, end: bool = False) -> tuple[int, float]:
        """Working day and hours since its morning; an end falls on the evening before rather than on the next morning.

        Parameters
        ----------
        t : float
            [working h]
        end : bool
            Whether something ends then.
        """
        day = math.ceil(t / self.hours - _TINY) - 1 if end else math.floor(t / self.hours + _TINY)
        day = max(day, 0)
        return day, min(max(t - day * self.hours, 0.0), self.hours)

    def dried(self, t: float, waits: float) -> float:
        """When what ended at ``t`` has waited long enough [working h].

        Parameters
        ----------
        t : float
            End of the work [working h].
        waits : float
            Time that must pass, nights and closed days too [h].
        """
        if waits <= 0:
            return t
        day, within = self.place(t, end=True)
        ready = 24.0 * self.date(day).toordinal() + within + waits
        while 24.0 * self.date(day + 1).toordinal() <= ready + _TINY:
            day += 1
        return max(t, day * self.hours + min(ready - 24.0 * self.date(day).toordinal(), self.hours))


@dataclass(frozen=True)
class Schedule:
    """Tasks in their places.

    Parameters
    ----------
    slots : tuple of Slot
        By start.
    people : tuple of str
        Who works in the shop.
    days : Days
        Working hours against dates.
    shortest : float
        No schedule of these tasks and people can end earlier [working h].
    binds : str
        What that bound comes from: "order and drying", "people" or "machine".
    exact : bool
        Whether none ends earlier, because it ends at the bound or every order was tried.
    """

    slots: tuple[Slot, ...]
    people: tuple[str, ...]
    days: Days
    shortest: float
    binds: str
    exact: bool

    @property
    def finish(self) -> float:
        """End of the last task [working h]."""
        return max((s.end for s in self.slots), default=0.0)

    @property
    def working_days(self) -> int:
        """Days worked on it, begun ones count [-]."""
        return self.days.place(self.finish, end=True)[0] + 1 if self.slots else 0

    @property
    def last_date(self) -> datetime.date | None:
        """Day it is done; None without dates."""
        return self.days.date(self.working_days - 1) if self.slots and self.days.first else None

    @property
    def machine_hours(self) -> float:
        """The machine is bound, set-up with it [h]."""
        return sum(s.task.hours for s in self.slots if s.task.machine)

    @property
    def machine_idle(self) -> float:
        """The machine stands between its first and its last task [h]."""
        runs = [s for s in self.slots if s.task.machine]
        return max(s.end for s in runs) - min(s.start for s in runs) - self.machine_hours if runs else 0.0

    @property
    def idle(self) -> Mapping[str, float]:
        """Hours each person has nothing of this job to do before it ends [h]."""
        busy = dict.fromkeys(self.people, 0.0)
        for s in self.slots:
            if s.person:
                busy[s.person] += s.task.bound
        return {name: self.finish - hours for name, hours in busy.items()}

    @property
    def beside_machine(self) -> float:
        """Hours of other work done while the machine runs unattended [h]."""
        alone = [(s.free_from, s.end) for s in self.slots if s.task.machine]
        work = [(s.start, s.free_from) for s in self.slots if not s.task.machine]
        return sum(max(0.0, min(b, d) - max(a, c)) for a, b in alone for c, d in work)

    def table(self) -> pd.DataFrame:
        """Every task with who, day and clock of its begin and end.

        Returns
        -------
        pandas.DataFrame
            By start; days count from 1, with their dates where a first day was given.
        """
        rows = []
        for s in self.slots:
            begin, end = self.days.place(s.start), self.days.place(s.end, end=True)
            rows.append(
                {
                    "task": s.task.name, "phase": s.task.phase, "who": s.person, "machine": s.task.machine,
                    "hours": s.task.hours, "attended": s.task.bound, **self._at("from", *begin),
                    **self._at("to", *end), "dries": s.task.waits,
                }
            )  # fmt: skip
        return table_for_people(rows, {"hours": "h", "attended": "h", "dries": "h", "from_day": "-", "to_day": "-"})

    def by_day(self) -> pd.DataFrame:
        """Who does what on each day, and what the machine does.

        Returns
        -------
        pandas.DataFrame
            One row for each task on each day: day, date, who ("machine" for its own rows), task, from, to, hours.
        """
        rows = []
        for s in self.slots:
            spans = [(s.person, s.start, s.free_from)] if s.person else []
            spans += [("machine", s.start, s.end)] if s.task.machine else []
            for who, begin, end in spans:
                for day in range(self.days.place(begin)[0], self.days.place(end, end=True)[0] + 1):
                    a, b = max(begin, day * self.days.hours), min(end, (day + 1) * self.days.hours)
                    if b > a + _TINY:
                        morning = day * self.days.hours
                        at = {"day": day + 1} | ({"date": self.days.date(day)} if self.days.first else {})
                        clocks = {"from": self._clock(a - morning), "to": self._clock(b - morning)}
                        rows.append({**at, "who": who, "task": s.task.name, **clocks, "hours": b - a})
        rows.sort(key=lambda r: (r["day"], r["who"] == "machine", r["who"], r["from"]))
        return table_for_people(rows, {"day": "-", "hours": "h"})

    def _at(self, name: str, day: int, within: float) -> dict[str, Any]:
        date = {f"{name}_date": self.days.date(day)} if self.days.first else {}
        return {f"{name}_day": day + 1, **date, f"{name}_clock": self._clock(within)}

    def _clock(self, within: float) -> str:
        minutes = round(self.days.workday.start / 60 + 60 * within)
        return f"{minutes // 60:02d}:{minutes % 60:02d}"
