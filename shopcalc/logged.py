"""Times by the clock brought into a job: minutes of one load of each program, hours of each phase that is finished."""

from __future__ import annotations

import statistics
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, replace

from shopcalc.jobs import Job
from shopcalc.jobs.records import PhaseEntry
from shopcalc.people_learned import LearnedTimes, corrected, learn_times
from shopcalc.shoplog import ShopLog, job_key
from shopcalc.shoplog.store import FILE
from shopcalc.shoplog.views import COUNTS
from shopcalc.units import write_time

_FEW = 3  # loads below which one odd one sways the median


@dataclass(frozen=True)
class LoadTimes:
    """What the clock says of one load of a program.

    Parameters
    ----------
    program : str
        Id.
    seconds : float
        Median of each part's loads, parts weighted by how often the job loads them [s].
    mean : float
        The same of their means [s].
    count : int
        Loads logged [-].
    without : tuple of str
        Parts of the job's loads of which none is logged.
    """

    program: str
    seconds: float
    mean: float
    count: int
    without: tuple[str, ...] = ()


@dataclass(frozen=True)
class JobTimes:
    """What the clock says of a job.

    Parameters
    ----------
    programs : mapping
        Id to LoadTimes, of those that are logged.
    phases : mapping
        Phase to seconds logged [s]; machining is in the programs.
    done : frozenset of str
        Phases that somebody said are finished: only then is their sum the whole.
    """

    programs: Mapping[str, LoadTimes]
    phases: Mapping[str, float]
    done: frozenset[str]


def logged_times(log: ShopLog, job: Job) -> JobTimes:
    """What the clock says of a job.

    Parameters
    ----------
    log : ShopLog
        Open.
    job : Job
        Found by its name or by the name of its file.

    Returns
    -------
    JobTimes
        Without timers that run.

    Notes
    -----
    Times of one number are one load. A median is not swayed by the one load that was interrupted (reasoning).
    """
    keys = _keys(job)
    marks = ", ".join("?" * len(keys))
    rows = log.rows(
        "SELECT t.program, t.part, t.load, t.phase, t.seconds, t.standing, t.loads, t.done FROM times t "
        f"JOIN entries e ON e.id = t.entry WHERE t.job IN ({marks}) AND t.seconds IS NOT NULL AND {COUNTS} "
        "ORDER BY t.entry",
        keys,
    )
    numbered: dict[str, dict[tuple[str, int], float]] = defaultdict(lambda: defaultdict(float))
    loads: dict[str, dict[str, list[float]]] = defaultdict(lambda: defaultdict(list))
    phases: dict[str, float] = defaultdict(float)
    done = set()
    for program, part, load, phase, seconds, standing, count, finished in rows:
        if program and phase in ("", "machining"):
            if load is None:
                loads[program][part] += [(seconds - standing) / count] * count
            else:
                numbered[program][part, load] += seconds - standing
        elif phase:
            phases[phase] += seconds
        if finished and phase:
            done.add(phase)
    for program, pieces in numbered.items():
        for (part, _), seconds in pieces.items():
            loads[program][part].append(seconds)
    found = {program: _of_program(program, parts, job) for program, parts in loads.items()}
    return JobTimes({p: t for p, t in found.items() if t.seconds > 0}, dict(phases), frozenset(done))


def _of_program(program: str, parts: Mapping[str, list[float]], job: Job) -> LoadTimes:
    count = sum(len(times) for times in parts.values())
    wanted = {load.part: load.count for load in job.loads if load.program == program}
    own = {part: weight for part, weight in wanted.items() if part in parts}
    if not own or set(parts) - set(wanted):  # some say no part: they may be any
        every = [t for times in parts.values() for t in times]
        return LoadTimes(program, statistics.median(every), statistics.fmean(every), count)
    whole = sum(own.values())
    median, mean = (
        sum(weight * middle(parts[part]) for part, weight in own.items()) / whole
        for middle in (statistics.median, statistics.fmean)
    )
    return LoadTimes(program, median, mean, count, tuple(p for p in wanted if p not in own))


def with_logged(job: Job, log: ShopLog) -> Job:
    """The job with what the clock says of it; what its file itself says is logged stays.

    Parameters
    ----------
    job : Job
        Of the log's shop.
    log : ShopLog
        Open.

    Returns
    -------
    Job
        With warnings that say what was taken from how many loads, and what is not finished yet.
    """
    times = logged_times(log, job)
    known = {p.id for p in job.programs}
    told = []
    programs = []
    for program in job.programs:
        t = times.programs.get(program.id)
        if t is None or program.logged is not None:
            programs.append(program)
            continue
        programs.append(program.model_copy(update={"logged": t.seconds}))
        if t.count < _FEW or t.without:
            from_ = f"from {t.count} load{'s' if t.count > 1 else ''}"
            rest = f", none of {', '.join(t.without)}" if t.without else ""
            told.append(f"program '{program.id}': {write_time(t.seconds)} by the clock, {from_}{rest}")
    if stray := [p for p in times.programs if p not in known]:
        told.append(f"the log has times of programs this job has not: {', '.join(stray)}")
    phases = dict(job.phases)
    for phase, seconds in times.phases.items():
        said = phases.get(phase, PhaseEntry())
        if said.logged is not None:
            continue
        if phase == "machining":
            told.append(f"machining: {write_time(seconds)} are logged without a program, so they count for none")
        elif phase in times.done:
            phases[phase] = said.model_copy(update={"logged": seconds})
        else:
            told.append(f"{phase}: {write_time(seconds)} logged so far; log the last of it with --done and it counts")
    return replace(job, programs=tuple(programs), phases=phases, warnings=(*job.warnings, *told))


def with_learned(job: Job, log: ShopLog) -> Job:
    """The job of a shop whose standard times are corrected by its finished jobs.

    Parameters
    ----------
    job : Job
        Of the log's shop; its own times do not count, so that its plan stays what was known without them.
    log : ShopLog
        Open.

    Returns
    -------
    Job
        Its ``shop`` has the rates to estimate and price it with; a warning says what was corrected by how many jobs.
    """
    return with_times(job, learn_times(job.shop, log, without=_keys(job)))


def with_times(job: Job, learned: LearnedTimes) -> Job:
    """The job of a shop whose standard times are corrected so.

    Parameters
    ----------
    job : Job
        Of the shop the times are from.
    learned : LearnedTimes
        From ``learn_times``.
    """
    if not learned.phases:
        return job
    shop = replace(job.shop, rates=corrected(job.shop.rates, learned))
    return replace(job, shop=shop, warnings=(*job.warnings, *learned.notes))


def learned_times(job: Job) -> LearnedTimes:
    """What the finished jobs of its shop tell of people's times, if the shop keeps a log.

    Parameters
    ----------
    job : Job
        From ``open_job``; its own times do not count.
    """
    if not (job.shop.folder / FILE).exists():
        return LearnedTimes({})
    with ShopLog.of(job.shop.folder, writable=False) as log:
        return learn_times(job.shop, log, without=_keys(job))


def with_log(job: Job, log: ShopLog) -> Job:
    """The job as its shop knows it: times by the clock, and standard times corrected by finished jobs.

    Parameters
    ----------
    job : Job
        Of the log's shop.
    log : ShopLog
        Open.
    """
    return with_logged(with_learned(job, log), log)


def job_with_log(job: Job, *, learned: bool = True) -> Job:
    """The job with what its shop's log says of it, if the shop keeps one.

    Parameters
    ----------
    job : Job
        From ``open_job``.
    learned : bool
        Whether finished jobs also correct the standard times; price it with its ``shop`` then.
    """
    if not (job.shop.folder / FILE).exists():
        return job
    with ShopLog.of(job.shop.folder, writable=False) as log:
        return with_log(job, log) if learned else with_logged(job, log)


def _keys(job: Job) -> list[str]:
    return list(dict.fromkeys(k for k in (job_key(job.name), job_key(job.file)) if k))
