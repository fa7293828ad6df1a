"""Today at the machine: which loads come next, what is done, what runs, what went wrong yesterday, what to measure.

Nothing is kept but the log: read again with the jobs it gives the same page.
"""

from __future__ import annotations

import datetime
import statistics
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from shopcalc.errors import Fault, InputError
from shopcalc.jobs import Estimate, estimate, open_job
from shopcalc.jobs.tasks import schedule_job
from shopcalc.jobs.workdays import Schedule
from shopcalc.loading import LoadPlan, plan_loads, work
from shopcalc.reading import load_toml
from shopcalc.shop import Shop
from shopcalc.shoplog import Entry, Moment, ShopLog, TimeEntry, job_key
from shopcalc.shoplog.store import IN_FORCE

_LEAST = 60.0  # s of hand work beside a load below which it is not offered
State = Literal["next", "running", "done"]


@dataclass(frozen=True)
class PlannedJob:
    """A job as the models see it; made once, because it takes seconds.

    Parameters
    ----------
    key : str
        As in the log.
    estimate : Estimate
        Without what the log says.
    plan : LoadPlan
        Its loads in order.
    days : Schedule
        Who does what when, this job alone.
    """

    key: str
    estimate: Estimate
    plan: LoadPlan
    days: Schedule


@dataclass(frozen=True)
class ShopLoad:
    """One clamping and what the log says of it.

    Parameters
    ----------
    job, program, part : str
        Key of the job, ids.
    load, of : int
        Its number within its program and part, and how many there are [-].
    station : str
        Where it is clamped.
    cutters : tuple of str
        Ids, in order of use.
    state : {"next", "running", "done"}
        By the log.
    hand : float
        Clamping, zero, and what changes before it [s].
    machine : float
        One run of its program: logged, else programmed, else planned [s].
    attended : float
        Share of the run somebody stands by [ratio].
    """

    job: str
    program: str
    part: str
    load: int
    of: int
    station: str
    cutters: tuple[str, ...]
    state: State
    hand: float
    machine: float
    attended: float

    @property
    def bound(self) -> float:
        """Somebody is bound [s]."""
        return self.hand + self.machine * self.attended

    @property
    def alone(self) -> float:
        """The machine runs by itself [s]."""
        return self.machine * (1 - self.attended)

    @property
    def entry(self) -> TimeEntry:
        """What a timer of it is started on."""
        return TimeEntry(self.job, self.program, self.part, self.load)


@dataclass(frozen=True)
class HandWork:
    """Work of people that fits while a program runs by itself.

    Parameters
    ----------
    job, program : str
        What runs.
    task, phase : str
        What is done meanwhile.
    seconds : float
        How long both go on together in the job's schedule [s].
    """

    job: str
    program: str
    task: str
    phase: str
    seconds: float


@dataclass(frozen=True)
class Miss:
    """What was logged against what was planned.

    Parameters
    ----------
    job, what : str
        Key of the job; a program, or a phase that is finished.
    logged, planned : float
        Of one load, or of the whole phase [s].
    count : int
        Loads [-].
    """

    job: str
    what: str
    logged: float
    planned: float
    count: int

    @property
    def ratio(self) -> float:
        """Logged / planned [ratio]."""
        return self.logged / self.planned


@dataclass(frozen=True)
class Measure:
    """A number nobody has measured yet, and what not knowing it costs.

    Parameters
    ----------
    job, what, phase : str
        Key of the job; a program or a phase; the phase it belongs to.
    hours : float
        Planned and still to do [h].
    spread : float
        Standard deviation of the logarithm of hours used over hours planned [-].
    """

    job: str
    what: str
    phase: str
    hours: float
    spread: float

    @property
    def cost(self) -> float:
        """Hours it may well be off by [h]."""
        return self.hours * self.spread


@dataclass(frozen=True)
class Today:
    """The page of one moment.

    Parameters
    ----------
    loads : tuple of ShopLoad
        All of the jobs, in order.
    timers : tuple of Entry
        That run, the oldest first.
    hand_work : tuple of HandWork
        Beside programs that still have loads to run.
    day : date or None
        The last day before this one that has times.
    misses : tuple of Miss
        Of that day, the largest ratio first.
    measure : tuple of Measure
        What to measure, the dearest first.
    operator : str
        Who made the last entry; empty where there is none.
    """

    loads: tuple[ShopLoad, ...]
    timers: tuple[Entry, ...]
    hand_work: tuple[HandWork, ...]
    day: datetime.date | None
    misses: tuple[Miss, ...]
    measure: tuple[Measure, ...]
    operator: str

    @property
    def next(self) -> tuple[ShopLoad, ...]:
        """Loads neither done nor running."""
        return tuple(x for x in self.loads if x.state == "next")

    @property
    def done(self) -> tuple[ShopLoad, ...]:
        """Loads that are struck off."""
        return tuple(x for x in self.loads if x.state == "done")

    @property
    def batches(self) -> tuple[tuple[ShopLoad, ...], ...]:
        """The loads that come next, those of one part in one program together."""
        out: dict[tuple[str, str, str], list[ShopLoad]] = defaultdict(list)
        for x in self.next:
            out[x.job, x.program, x.part].append(x)
        return tuple(tuple(b) for b in out.values())

    def cutters(self, count: int) -> tuple[str, ...]:
        """Cutters of the next so many batches, in order of use.

        Parameters
        ----------
        count : int
            Of batches [-].
        """
        return tuple(dict.fromkeys(c for b in self.batches[:count] for c in b[0].cutters))


# --- the jobs --------------------------------------------------------------------------------------------------------


def read_jobs(shop: Shop, log: ShopLog, wanted: Sequence[str] = ()) -> tuple[tuple[PlannedJob, ...], tuple[Fault, ...]]:
    """Read and plan the jobs of the shop's folder that are begun or asked for.

    Parameters
    ----------
    shop : Shop
        Its folder's ``jobs`` are searched.
    log : ShopLog
        Open; a job that has times in it is begun.
    wanted : sequence of str
        Names, or names of files, of jobs to be shown besides; they come first.

    Returns
    -------
    jobs : tuple of PlannedJob
        In the order asked for, then as they were begun.
    faults : tuple of Fault
        Of files that cannot be read and of jobs without a file: the others are shown all the same.
    """
    question = "SELECT t.job FROM times t JOIN entries e ON e.id = t.entry WHERE t.job <> '' AND "
    begun = [job for (job,) in log.rows(f"{question}{IN_FORCE} GROUP BY t.job ORDER BY min(t.entry)")]
    names, faults = dict[str, str](), list[Fault]()
    for path in sorted((shop.folder / "jobs").glob("*.toml")):
        key = job_key(path.name)
        names[key] = str(path)
        try:
            said = load_toml(path).get("job")
        except InputError:
            continue  # told below where the job is one of those shown
        if isinstance(said, Mapping) and isinstance(said.get("name"), str):
            names.setdefault(job_key(said["name"]), str(path))
    out = dict[str, PlannedJob]()
    for key in dict.fromkeys([*map(job_key, wanted), *begun]):
        if key not in names:
            known = ", ".join(sorted({job_key(p) for p in names.values()})) or "none"
            faults.append(Fault(f"job '{key}' has no file in the shop's jobs folder", f"there are: {known}"))
        elif names[key] not in out:
            try:
                out[names[key]] = plan_job(shop, names[key])
            except InputError as e:
                faults += e.faults
    return tuple(out.values()), tuple(faults)


def plan_job(shop: Shop, path: str) -> PlannedJob:
    """Read and plan one job.

    Parameters
    ----------
    shop : Shop
        Whose.
    path : str
        Its file.

    Raises
    ------
    InputError
        With every fault of the file.
    """
    job = open_job(path, shop)
    found = estimate(job)
    order = plan_loads(work(job, job.shop, estimate=found))
    return PlannedJob(job_key(path), found, order, schedule_job(found, order=order.order))


# --- the log against them --------------------------------------------------------------------------------------------


def today(jobs: Sequence[PlannedJob], log: ShopLog, now: Moment | None = None) -> Today:
    """What the log says of the jobs at this moment.

    Parameters
    ----------
    jobs : sequence of PlannedJob
        From ``read_jobs``.
    log : ShopLog
        Open.
    now : Moment, optional
        For the day; None asks the log's clock.

    Returns
    -------
    Today
        A load counts as done once a time of its number stands in the log; times without a number, or without a part,
        strike off the first loads that are left.
    """
    now = log.clock() if now is None else now
    of_key = {key: j for j in jobs for key in (j.key, job_key(j.estimate.job.name))}
    entries = [e for e in log.entries("e.kind = 'time'") if isinstance(e.record, TimeEntry)]
    mine: dict[str, list[TimeEntry]] = defaultdict(list)
    for e in entries:
        if isinstance(e.record, TimeEntry) and e.record.job in of_key:
            mine[of_key[e.record.job].key].append(e.record)
    loads = tuple(x for j in jobs for x in _loads(j, mine[j.key]))
    left = {(x.job, x.program) for x in loads if x.state != "done"}
    day, misses = _misses(of_key, entries, now)
    measure = sorted((m for j in jobs for m in _unmeasured(j, mine[j.key], loads)), key=lambda m: -m.cost)
    fits = (h for j in jobs for h in beside(j) if (h.job, h.program) in left and h.phase not in _done(mine[j.key]))
    last = list(log.entries("e.kind NOT IN ('answer', 'sign-off')", last=1, all_=True))
    timers = tuple(e for e in entries if isinstance(e.record, TimeEntry) and e.record.seconds is None)
    who = last[0].operator if last else ""
    return Today(loads, timers, tuple(fits), day, misses, tuple(measure), who)


def _is_run(t: TimeEntry) -> bool:
    return bool(t.program) and t.phase in ("", "machining")


def _done(times: Sequence[TimeEntry]) -> set[str]:
    return {t.phase for t in times if t.done and t.seconds is not None}


def _states(plan: LoadPlan, times: Sequence[TimeEntry]) -> dict[tuple[str, str, int], State]:
    """State of each load that is done or runs; loads without a number take the first free ones, in the plan's order."""
    out: dict[tuple[str, str, int], State] = {}
    every = [(s.batch.program, s.batch.part, i + 1) for s in plan.steps for i in range(s.batch.loads)]
    known = set(every)
    loose = list[TimeEntry]()
    for t in filter(_is_run, times):
        key = (t.program, t.part, t.load or 0)
        if key not in known:
            loose.append(t)
        elif t.seconds is None or out.get(key) != "running":
            out[key] = "running" if t.seconds is None else "done"
    for t in loose:
        free = [k for k in every if k not in out and k[0] == t.program and t.part in ("", k[1])]
        out |= dict.fromkeys(free[: t.loads], "running" if t.seconds is None else "done")
    return out


def _loads(j: PlannedJob, times: Sequence[TimeEntry]) -> Iterator[ShopLoad]:
    states = _states(j.plan, times)
    programs = {t.program.id: t for t in j.estimate.programs}
    logged = _per_load(times)
    for s in j.plan.steps:
        b, t = s.batch, programs[s.batch.program]
        own = logged.get(b.program)
        machine = statistics.median(own) if own else t.best
        for i in range(b.loads):
            state = states.get((b.program, b.part, i + 1), "next")
            hand = b.seconds / b.loads + (s.before if i == 0 else 0.0)
            yield ShopLoad(
                j.key, b.program, b.part, i + 1, b.loads, b.station, b.cutters, state, hand, machine, t.attended
            )  # fmt: skip


def _per_load(times: Sequence[TimeEntry]) -> dict[str, list[float]]:
    """Seconds of each load that was logged, by program, pieces of one number added up, standing left out."""
    pieces: dict[tuple[str, str, int], float] = defaultdict(float)
    out: dict[str, list[float]] = defaultdict(list)
    for t in times:
        if not _is_run(t) or t.seconds is None:
            continue
        if t.load is None:
            out[t.program] += [(t.seconds - t.standing) / t.loads] * t.loads
        else:
            pieces[t.program, t.part, t.load] += t.seconds - t.standing
    for (program, _, _), seconds in pieces.items():
        out[program].append(seconds)
    return out


def beside(j: PlannedJob, least: float = _LEAST) -> tuple[HandWork, ...]:
    """Hand work that the job's schedule puts beside programs that run by themselves.

    Parameters
    ----------
    j : PlannedJob
        From ``read_jobs``.
    least : float
        Shorter ones are left out [s].

    Returns
    -------
    tuple of HandWork
        In the order of the schedule; with none left out they add up to its ``beside_machine``.
    """
    out = []
    for run in (s for s in j.days.slots if s.task.machine):
        for s in (s for s in j.days.slots if not s.task.machine):
            both = 3600 * (min(run.end, s.free_from) - max(run.free_from, s.start))
            if both > 0 and both >= least:
                program = run.task.name.split(" ")[1]  # "run heron 2"
                out.append((run.start, s.start, HandWork(j.key, program, s.task.name, s.task.phase, both)))
    return tuple(h for _, _, h in sorted(out, key=lambda o: o[:2]))


def _local_day(utc: int, offset: int) -> datetime.date:
    zone = datetime.timezone(datetime.timedelta(minutes=offset))
    return datetime.datetime.fromtimestamp(utc / 1e6, zone).date()


def _misses(
    of_key: Mapping[str, PlannedJob], entries: Sequence[Entry], now: Moment
) -> tuple[datetime.date | None, tuple[Miss, ...]]:
    """Of the last day before this one: loads whose last piece falls on it, and phases finished on it."""
    days: dict[datetime.date, set[tuple[str, str]]] = defaultdict(set)
    times: dict[tuple[str, str], list[tuple[datetime.date, TimeEntry]]] = defaultdict(list)
    for e in entries:
        t = e.record
        if not isinstance(t, TimeEntry) or t.seconds is None or t.job not in of_key:
            continue
        at, offset = (e.recorded, e.recorded_offset) if t.began is None else (t.began, t.utc_offset or 0)
        what = (of_key[t.job].key, t.program if _is_run(t) else t.phase)
        day = _local_day(at, offset)
        days[day].add(what)
        times[what].append((day, t))
    earlier = [d for d in days if d < _local_day(now.utc, now.offset)]
    if not earlier:
        return None, ()
    day = max(earlier)
    found = (_miss(of_key[job], what, times[job, what], day) for job, what in days[day])
    return day, tuple(sorted((m for m in found if m is not None), key=lambda m: (-m.ratio, m.job, m.what)))


def _miss(
    j: PlannedJob, what: str, times: Sequence[tuple[datetime.date, TimeEntry]], day: datetime.date
) -> Miss | None:  # fmt: skip
    programs = {t.program.id: t for t in j.estimate.programs}
    if what in programs:
        last = {(t.part, t.load): d for d, t in sorted(times, key=lambda x: x[0]) if t.load is not None}
        own = [t for d, t in times if (d if t.load is None else last[t.part, t.load]) == day]
        each = _per_load(own).get(what, [])
        t = programs[what]
        planned = t.planned if t.programmed is None else t.programmed
        return Miss(j.key, what, sum(each) / len(each), planned, len(each)) if each and planned > 0 else None
    finished = [d for d, t in times if t.done]
    hours = j.estimate.hours[what].planned if what in j.estimate.hours else None
    if not hours or not finished or max(finished) != day:
        return None
    return Miss(j.key, what, sum(t.seconds or 0.0 for _, t in times), 3600 * hours, 1)


def _unmeasured(j: PlannedJob, times: Sequence[TimeEntry], loads: Sequence[ShopLoad]) -> Iterator[Measure]:
    """Programs without any time by the clock that have loads left, and phases without a time that counts."""
    spread = j.estimate.job.shop.rates.spread
    known, done = _per_load(times), _done(times)
    for t in j.estimate.programs:
        left = sum(x.state != "done" for x in loads if (x.job, x.program) == (j.key, t.program.id))
        if left and t.program.id not in known and t.logged is None:
            yield Measure(j.key, t.program.id, "machining", left * t.best / 3600, spread["machining"])
    for phase, hours in j.estimate.hours.items():
        if phase != "machining" and hours.best > 0 and hours.logged is None and phase not in done:
            yield Measure(j.key, phase, phase, hours.best, spread[phase])
