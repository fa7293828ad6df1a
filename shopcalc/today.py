"""Today at the machine: which loads come next, what is done, what runs, what went wrong yesterday, what to measure.

Nothing is kept but the log: read again with the jobs it gives the same page.
"""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from shopcalc.errors import Fault, InputError
from shopcalc.jobs import Estimate, estimate, open_job
from shopcalc.jobs.tasks import schedule_job
from shopcalc.jobs.workdays import Schedule
from shopcalc.loading import LoadPlan, plan_loads, work
from shopcalc.logged import JobTimes, logged_times, with_learned
from shopcalc.reading import load_toml
from shopcalc.shop import Shop
from shopcalc.shoplog import Entry, Moment, ShopLog, TimeEntry, job_key
from shopcalc.shoplog.store import IN_FORCE
from shopcalc.shoplog.views import COUNTS, IS_RUN, LOCAL_DAY

_LEAST = 60.0  # s of hand work beside a load below which it is not offered
_MINUTE, _A_DAY = 60_000_000, 86_400_000_000  # µs
_TIMES_OF = f"times t JOIN entries e ON e.id = t.entry WHERE t.seconds IS NOT NULL AND {COUNTS}"
#: The same for questions that ask little: from the times found each entry is looked up, where the other gathers all.
_FEW_TIMES = f"times t CROSS JOIN entries e ON e.id = t.entry WHERE t.seconds IS NOT NULL AND {IN_FORCE}"
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
                out[names[key]] = plan_job(shop, names[key], log)
            except InputError as e:
                faults += e.faults
    return tuple(out.values()), tuple(faults)


def plan_job(shop: Shop, path: str, log: ShopLog | None = None) -> PlannedJob:
    """Read and plan one job.

    Parameters
    ----------
    shop : Shop
        Whose.
    path : str
        Its file.
    log : ShopLog, optional
        The shop's, open: finished jobs correct the standard times, as in its quotes; the job's own times do not, so
        that they can be held against the plan. None plans by the standard times.

    Raises
    ------
    InputError
        With every fault of the file.
    """
    job = open_job(path, shop)
    job = job if log is None else with_learned(job, log)
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
    runs: dict[str, list[_Run]] = defaultdict(list)
    for job, *run in log.rows(_RUNS):
        if job in of_key:
            runs[of_key[job].key].append(_Run(*run))
    times = {j.key: logged_times(log, j.estimate.job) for j in jobs}
    loads = tuple(x for j in jobs for x in _loads(j, runs[j.key], times[j.key]))
    left = {(x.job, x.program) for x in loads if x.state != "done"}
    planned = {key: (j.key, j.estimate) for key, j in of_key.items()}
    day, misses = misses_of_the_last_day(planned, log, now)
    measure = sorted((m for j in jobs for m in _unmeasured(j, times[j.key], loads)), key=lambda m: -m.cost)
    fits = (h for j in jobs for h in beside(j) if (h.job, h.program) in left and h.phase not in times[h.job].done)
    last = list(log.entries("e.kind NOT IN ('answer', 'sign-off')", last=1, all_=True))
    who = last[0].operator if last else ""
    return Today(loads, tuple(log.running()), tuple(fits), day, misses, tuple(measure), who)


@dataclass(frozen=True)
class _Run:
    """Runs of one load, or all those without its number."""

    program: str
    part: str
    load: int | None
    running: bool
    loads: int


_RUNS = (
    f"SELECT t.job, t.program, t.part, t.load, t.seconds IS NULL, sum(t.loads) FROM times t JOIN entries e ON e.id = "
    f"t.entry WHERE {IS_RUN} AND {COUNTS} GROUP BY t.job, t.program, t.part, t.load, t.seconds IS NULL "
    "ORDER BY min(t.entry)"
)


def _states(plan: LoadPlan, runs: Sequence[_Run]) -> dict[tuple[str, str, int], State]:
    """State of each load that is done or runs; loads without a number take the first free ones, in the plan's order."""
    out: dict[tuple[str, str, int], State] = {}
    every = [(s.batch.program, s.batch.part, i + 1) for s in plan.steps for i in range(s.batch.loads)]
    known = set(every)
    loose = list[_Run]()
    for r in runs:
        key = (r.program, r.part, r.load or 0)
        if key not in known:
            loose.append(r)
        elif r.running or out.get(key) != "running":
            out[key] = "running" if r.running else "done"
    for r in loose:
        free = [k for k in every if k not in out and k[0] == r.program and r.part in ("", k[1])]
        out |= dict.fromkeys(free[: r.loads], "running" if r.running else "done")
    return out


def _loads(j: PlannedJob, runs: Sequence[_Run], times: JobTimes) -> Iterator[ShopLoad]:
    states = _states(j.plan, runs)
    programs = {t.program.id: t for t in j.estimate.programs}
    for s in j.plan.steps:
        b, t = s.batch, programs[s.batch.program]
        machine = times.programs[b.program].seconds if b.program in times.programs else t.best
        for i in range(b.loads):
            state = states.get((b.program, b.part, i + 1), "next")
            hand = b.seconds / b.loads + (s.before if i == 0 else 0.0)
            yield ShopLoad(
                j.key, b.program, b.part, i + 1, b.loads, b.station, b.cutters, state, hand, machine, t.attended
            )  # fmt: skip


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


def misses_of_the_last_day(
    planned: Mapping[str, tuple[str, Estimate]], log: ShopLog, now: Moment
) -> tuple[datetime.date | None, tuple[Miss, ...]]:
    """What was logged against what was planned on the last day that has times.

    Parameters
    ----------
    planned : mapping
        What the log may call a job, to its key and its estimate.
    log : ShopLog
        Open.
    now : Moment
        Its own day does not count.

    Returns
    -------
    day : date or None
        The last one before; None where there is none.
    misses : tuple of Miss
        Loads whose last piece falls on it, and phases finished on it; the largest ratio first.
    """
    midnight = (now.utc + _MINUTE * now.offset) // _A_DAY
    names = ", ".join("?" * len(planned))
    newest = log.rows(
        f"SELECT t.began FROM {_FEW_TIMES} AND t.began < ? AND +t.job IN ({names}) ORDER BY t.began DESC LIMIT 1",
        (_A_DAY * (midnight - 1), *planned),
    )
    since = newest[0][0] - 3 * _A_DAY if newest else -(2**60)  # some zones are nearly a day ahead, others behind
    last = log.rows(
        f"SELECT t.job, max({LOCAL_DAY}) FROM {_FEW_TIMES} AND (t.began IS NULL OR t.began >= ?) AND +t.job IN "
        f"({names}) AND {LOCAL_DAY} < ? GROUP BY +t.job",
        (since, *planned, midnight),
    )
    if not last:
        return None, ()
    day = max(d for _, d in last)
    found = []
    for key in dict.fromkeys(planned[job][0] for job, d in last if d == day):
        names_of_it = [n for n, (k, _) in planned.items() if k == key]
        found += list(_misses(key, planned[names_of_it[0]][1], log, names_of_it, day))
    date = datetime.date(1970, 1, 1) + datetime.timedelta(days=day)
    return date, tuple(sorted(found, key=lambda m: (-m.ratio, m.job, m.what)))


def _misses(key: str, found: Estimate, log: ShopLog, names: Sequence[str], day: int) -> Iterator[Miss]:
    of_job = f"IN ({', '.join('?' * len(names))})"
    near = (*names, (day - 1) * _A_DAY, (day + 2) * _A_DAY, day)
    of_day = f"{_FEW_TIMES} AND +t.job {of_job} AND (t.began IS NULL OR t.began BETWEEN ? AND ?) AND {LOCAL_DAY} = ?"
    each: dict[str, list[float]] = defaultdict(list)
    numbered = set()
    for program, part, load, seconds, loads in log.rows(
        f"SELECT t.program, t.part, t.load, t.seconds - t.standing, t.loads FROM {of_day} AND {IS_RUN}", near
    ):
        if load is None:
            each[program] += [seconds / loads] * loads
        else:
            numbered.add((program, part, load))
    keys = sorted(numbered)
    for some in (keys[k : k + 300] for k in range(0, len(keys), 300)):  # the pieces of other days too
        of_load = f"(t.program, t.part, t.load) IN (VALUES {', '.join(['(?, ?, ?)'] * len(some))})"
        rows = log.rows(
            f"SELECT t.program, sum(t.seconds - t.standing) FROM {_FEW_TIMES} AND t.job {of_job} AND {IS_RUN} AND "
            f"{of_load} GROUP BY t.program, t.part, t.load HAVING max({LOCAL_DAY}) = ?",
            (*names, *(v for key in some for v in key), day),
        )
        for program, seconds in rows:
            each[program].append(seconds)
    for t in found.programs:
        own, said = each[t.program.id], t.planned if t.programmed is None else t.programmed
        if own and said > 0:
            yield Miss(key, t.program.id, sum(own) / len(own), said, len(own))
    finished = {phase for (phase,) in log.rows(f"SELECT t.phase FROM {of_day} AND t.done", near)}
    if not finished:
        return
    rows = log.rows(
        f"SELECT t.phase, sum(t.seconds) FROM {_TIMES_OF} AND t.job {of_job} AND t.phase <> '' AND NOT ({IS_RUN}) "
        f"GROUP BY t.phase HAVING max(CASE WHEN t.done THEN {LOCAL_DAY} END) = ?",
        (*names, day),
    )
    for phase, seconds in rows:
        hours = found.hours[phase].planned if phase in found.hours else None
        if hours:
            yield Miss(key, phase, seconds, 3600 * hours, 1)


def _unmeasured(j: PlannedJob, times: JobTimes, loads: Sequence[ShopLoad]) -> Iterator[Measure]:
    """Programs without any time by the clock that have loads left, and phases without a time that counts."""
    spread = j.estimate.job.shop.rates.spread
    for t in j.estimate.programs:
        left = sum(x.state != "done" for x in loads if (x.job, x.program) == (j.key, t.program.id))
        if left and t.program.id not in times.programs and t.logged is None:
            yield Measure(j.key, t.program.id, "machining", left * t.best / 3600, spread["machining"])
    for phase, hours in j.estimate.hours.items():
        if phase != "machining" and hours.best > 0 and hours.logged is None and phase not in times.done:
            yield Measure(j.key, phase, phase, hours.best, spread[phase])
