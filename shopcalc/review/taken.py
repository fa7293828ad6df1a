"""Planned, programmed and logged, side by side, for each program and each phase."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from shopcalc.jobs import ProgramTime
from shopcalc.logged import JobTimes, logged_times
from shopcalc.review.plans import Plan
from shopcalc.shoplog import ShopLog


@dataclass(frozen=True)
class Compared:
    """The three times of one thing.

    Parameters
    ----------
    job : str
        Key.
    what : {"program", "phase"}
        Of machine time, or of people's (machining: the machine's, of all loads that were logged).
    name : str
        Of the program or phase.
    planned : float
        From dimensions and standard times: of one load, or of the whole phase [s].
    programmed : float or None
        From the program's text [s].
    logged : float or None
        By the clock: the median load, or the phase so far [s].
    count, of : int
        Loads logged, and in the job; 0 of 0 for a phase of people [-].
    finished : bool
        Whether the logged time is the whole: a load's always is, a phase's once somebody said it is done.
    """

    job: str
    what: Literal["program", "phase"]
    name: str
    planned: float
    programmed: float | None
    logged: float | None
    count: int
    of: int
    finished: bool

    def error(self, which: Literal["planned", "programmed"]) -> float | None:
        """How much too long (+) or too short (-) it was, as a share of what was logged; None while that is not whole.

        Parameters
        ----------
        which : {"planned", "programmed"}
            Of the times before the run.

        Returns
        -------
        float or None
            [ratio]
        """
        said = self.planned if which == "planned" else self.programmed
        if said is None or not self.logged or not self.finished:
            return None
        return said / self.logged - 1.0


def compared(plans: Sequence[Plan], log: ShopLog) -> tuple[Compared, ...]:
    """The three times of all programs and phases.

    Parameters
    ----------
    plans : sequence of Plan
        From ``read_plans``.
    log : ShopLog
        Open.

    Returns
    -------
    tuple of Compared
        By job: its programs, then its phases in the order of the work; those with neither plan nor time are left out.
    """
    return tuple(c for p in plans for c in _of_job(p, logged_times(log, p.estimate.job)))


def _of_job(plan: Plan, times: JobTimes) -> Iterator[Compared]:
    machine = [_program(plan.key, t, times) for t in plan.estimate.programs]
    yield from machine
    for phase, hours in plan.estimate.hours.items():
        if phase == "machining":
            yield from _machining(plan, machine)
            continue
        logged = times.phases.get(phase)
        finished = phase in times.done
        if logged is None and hours.logged is not None:
            logged, finished = 3600 * hours.logged, True
        planned = 3600 * (hours.planned or 0.0)
        if planned or logged:
            yield Compared(plan.key, "phase", phase, planned, None, logged, 0, 0, finished and logged is not None)


def _program(job: str, t: ProgramTime, times: JobTimes) -> Compared:
    mine = times.programs.get(t.program.id)
    logged, count = (t.logged, 0) if mine is None else (mine.seconds, mine.count)
    return Compared(job, "program", t.program.id, t.planned, t.programmed, logged, count, t.loads, logged is not None)


def _machining(plan: Plan, machine: Sequence[Compared]) -> Iterator[Compared]:
    """All loads that were logged: what they took, and what they should have taken."""
    ran = [(c, c.count or c.of) for c in machine if c.logged is not None]
    every = all(c.programmed is not None for c, _ in ran)
    if not ran:
        yield Compared(
            plan.key, "phase", "machining", sum(c.planned * c.of for c in machine), None, None, 0,
            sum(c.of for c in machine), False,
        )  # fmt: skip
        return
    yield Compared(
        plan.key,
        "phase",
        "machining",
        sum(c.planned * n for c, n in ran),
        sum((c.programmed or 0.0) * n for c, n in ran) if every else None,
        sum((c.logged or 0.0) * n for c, n in ran),
        sum(n for _, n in ran),
        sum(c.of for c in machine),
        True,
    )
