"""The shop's own times of its people: what finished jobs took against the standard times, pulled to these while few.

Computed anew from the log each time and kept nowhere: the log only grows and says when and by whom, so what was learned
at any time can be found again, and undoing an entry undoes what was learned of it.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from shopcalc.errors import InputError
from shopcalc.jobs import Job, open_job
from shopcalc.jobs.counting import drivers
from shopcalc.reading import load_toml
from shopcalc.shop import PHASES, Rates, Shop
from shopcalc.shoplog import ShopLog, job_key
from shopcalc.shoplog.store import IN_FORCE
from shopcalc.shrinkage import TABLE_JOBS, Belief, prior, told_apart
from shopcalc.standard_times import PHASE_DRIVERS, average_share
from shopcalc.units import write_time

_ODD = 0.99  # of jobs that lie within what the others let expect; one outside is pointed out
_SURE = 0.95
_TOLD = 0.5  # of what is not known of a step beside its phase: less is not worth telling (assumed)
#: Logged over planned, or the other way: from here on it is a slip of the pen and no work (assumed).
SLIP = 20.0
_MISTYPED = "hours for minutes"
_UNLEARNED = ("machining",)  # the machine's, see its calibration


@dataclass(frozen=True)
class Finished:
    """A phase of a job that somebody said is finished.

    Parameters
    ----------
    job, phase : str
        Key of the job, and which phase.
    planned : float
        By the shop's standard times as they are now [s].
    logged : float
        By the clock [s].
    shares : mapping
        Driver to its share of what was planned [ratio].
    """

    job: str
    phase: str
    planned: float
    logged: float
    shares: Mapping[str, float] = field(default_factory=dict)

    @property
    def ratio(self) -> float:
        """Logged over planned [ratio]."""
        return self.logged / self.planned


@dataclass(frozen=True)
class DriverTimes:
    """What finished jobs tell of one step within its phase.

    Parameters
    ----------
    driver : str
        Which.
    told : float
        Share of what was not known of it that the jobs took away [ratio].
    beyond : float
        Factor on its time besides its phase's [ratio].
    """

    driver: str
    told: float
    beyond: float


@dataclass(frozen=True)
class PhaseTimes:
    """What finished jobs tell of a phase.

    Parameters
    ----------
    phase : str
        Which.
    jobs : tuple of Finished
        As logged; none is left out.
    own : float
        Share the log has in the factor, n / (n + k); the rest is the standard times' [ratio].
    said : float
        Factor the log alone would say [ratio].
    factor : float
        On a usual job's hours: said ** own [ratio].
    low, high : float
        Between which that factor lies with a chance of 95 % [ratio].
    sigma : float
        Of the next job's logarithm, what all phases of a job share in it [-].
    spread : float
        The same without what is shared: what ``Rates.spread`` holds [-].
    usual : float
        What ``Rates.spread`` held before [-].
    mean : float
        Factor on the mean, which quotes add up: a wider spread raises it [ratio].
    odd : tuple of Finished
        Jobs outside of what 99 % would be by all the others.
    without_odd : float
        What the factor would be without them [ratio].
    drivers : tuple of DriverTimes
        Of its steps; empty where the jobs cannot tell any of them from the others.
    """

    phase: str
    jobs: tuple[Finished, ...]
    own: float
    said: float
    factor: float
    low: float
    high: float
    sigma: float
    spread: float
    usual: float
    mean: float
    odd: tuple[Finished, ...] = ()
    without_odd: float = 1.0
    drivers: tuple[DriverTimes, ...] = ()


def learn_phase(jobs: Sequence[Finished], spread: float, shared: float) -> PhaseTimes:
    """The factor of a phase by its finished jobs.

    Parameters
    ----------
    jobs : sequence of Finished
        All of one phase, at least one.
    spread, shared : float
        The shop's spread of the phase, and of what all phases of one job share [-].

    Returns
    -------
    PhaseTimes
        With the factor's interval and the spread that risk shall take.

    Notes
    -----
    The logarithm of logged over planned is taken as normal. Its mean is pulled to the standard times by w = n / (n +
    k), k = s^2 / tau^2 = ``TABLE_JOBS``; its variance has a scaled inverse chi-square of ``SPREAD_JOBS`` degrees of
    freedom before the first job. The next job then follows Student's t; risk draws from the log-normal that has the
    same one-in-ten ends, since the exponential of a t has no mean.

    References
    ----------
    A. Gelman et al., Bayesian Data Analysis, 3rd ed., 2013, sections 2.6 (variance), 3.3 (mean and variance), 5.4
    (pulling to a common mean).

    Example
    -------
    >>> found = learn_phase([Finished("gates", "assembly", 3600.0, 4680.0)] * 4, 0.25, 0.12)
    >>> round(found.own, 3), round(found.factor, 3)
    (0.8, 1.272)
    """
    before = math.hypot(spread, shared)
    start = prior(before)
    values = [math.log(j.ratio) for j in jobs]
    after = start.after(values)
    said = math.exp(math.fsum(values) / len(values) - start.mean)
    low, high = (math.exp(end - start.mean) for end in after.mean_within(_SURE))
    own_spread = math.sqrt(max(after.sigma**2 - shared**2, 0.0))
    odd = [k for k, v in enumerate(values) if not _expected(v, start.after(values[:k] + values[k + 1 :]))]
    rest = start.after([v for k, v in enumerate(values) if k not in odd])
    return PhaseTimes(
        jobs[0].phase,
        tuple(jobs),
        len(values) / (len(values) + TABLE_JOBS),
        said,
        math.exp(after.mean - start.mean),
        low,
        high,
        after.sigma,
        own_spread,
        spread,
        math.exp(after.mean + (own_spread**2 + shared**2) / 2),
        tuple(jobs[k] for k in odd),
        math.exp(rest.mean - start.mean),
        _by_driver(jobs, values),
    )


def _by_driver(jobs: Sequence[Finished], values: Sequence[float]) -> tuple[DriverTimes, ...]:
    """Steps of a phase by jobs that mix them differently; to first order, what a step adds goes by its share."""
    names = list(dict.fromkeys(d for j in jobs for d in j.shares))
    if len(jobs) < 2 or len(names) < 2:
        return ()
    shares = np.array([[j.shares.get(d, 0.0) for d in names] for j in jobs])
    beyond, told = told_apart(shares, np.array(values))
    if told.max() < _TOLD:
        return ()
    return tuple(DriverTimes(d, float(t), math.exp(b)) for d, t, b in zip(names, told, beyond, strict=True))


def _expected(value: float, others: Belief) -> bool:
    low, high = others.next_within(_ODD)
    return low <= value <= high


@dataclass(frozen=True)
class LearnedTimes:
    """What a shop's log tells of its people's times.

    Parameters
    ----------
    phases : mapping
        Phase to PhaseTimes, of those with a finished job.
    left_out : tuple of str
        What is logged as finished and could not be compared, and why.
    slips : tuple of str
        Those of them whose time is so far from the plan that it was mistyped: quotes tell them too.
    """

    phases: Mapping[str, PhaseTimes]
    left_out: tuple[str, ...] = ()
    slips: tuple[str, ...] = ()

    @property
    def notes(self) -> tuple[str, ...]:
        """For a quote: what was corrected, by how many jobs, and what stands out; empty where nothing is learned."""
        words = [
            f"{p.phase} × {p.mean:.2f} (n = {len(p.jobs)}, w = {p.own:.2f}, spread {100 * p.spread:.0f} %)"
            for p in self.phases.values()
        ]
        odd = [f"{j.job}, {j.phase} × {j.ratio:.2f}" for p in self.phases.values() for j in p.odd]
        out: tuple[str, ...] = (
            "standard times corrected by n finished jobs of this shop; w is their share, the rest the table's: "
            f"{', '.join(words)}",
        )
        out += (f"far from the other jobs, and counted all the same: {', '.join(odd)}",) if odd else ()
        return (*(out if words else ()), *(f"not counted: {s}" for s in self.slips))


def learn_times(shop: Shop, log: ShopLog, *, without: Sequence[str] = ()) -> LearnedTimes:
    """The shop's own times by the finished phases of its jobs.

    Parameters
    ----------
    shop : Shop
        Its job files are planned by its standard times as they are now, so changing these counts nothing twice.
    log : ShopLog
        Open.
    without : sequence of str
        Keys of jobs that shall not count, as of the one that is quoted.

    Returns
    -------
    LearnedTimes
        In the order of the work; machining is the machine's own, see its calibration.
    """
    rows = log.rows(
        "SELECT t.job, t.phase, sum(t.seconds), max(t.done) FROM times t JOIN entries e ON e.id = t.entry "
        f"WHERE t.job <> '' AND t.phase <> '' AND t.seconds IS NOT NULL AND {IN_FORCE} GROUP BY t.job, t.phase"
    )
    logged: dict[tuple[str, str], float] = defaultdict(float)
    finished = set[tuple[str, str]]()
    left, slips = list[str](), list[str]()
    files = job_files(shop) if any(done for *_, done in rows) else {}
    for job, phase, seconds, done in rows:
        if phase in _UNLEARNED or job in without:
            continue
        if done and job not in files:
            left.append(f"{job}, {phase}: this shop has no job file of that name to plan it by")
        elif job in files:  # by its name or by its file's, it is one job
            logged[files[job], phase] += seconds
            finished |= {(files[job], phase)} if done else set()
    found: dict[str, list[Finished]] = {phase: [] for phase in PHASES}
    jobs = dict[str, Job | str]()
    for path, phase in (key for key in logged if key in finished):
        seconds = logged[path, phase]
        job = jobs.setdefault(path, _opened(path, shop))
        answer = job if isinstance(job, str) else _compared(job, phase, seconds, shop)
        if isinstance(answer, str):
            left.append(f"{job_key(path)}, {phase}: {answer}")
            slips += left[-1:] * (_MISTYPED in answer)
        else:
            found[phase].append(answer)
    rates = shop.rates
    return LearnedTimes(
        {p: learn_phase(x, rates.spread[p], rates.shared_spread) for p, x in found.items() if x},
        tuple(left),
        tuple(slips),
    )


def job_files(shop: Shop) -> dict[str, str]:
    """Keys of the jobs in a shop's folder, of their files and of their names, to their files.

    Parameters
    ----------
    shop : Shop
        Its folder's ``jobs`` are searched.
    """
    paths = sorted((shop.folder / "jobs").glob("*.toml"))
    out = dict[str, str]()
    for path in paths:
        try:
            out.setdefault(job_key(str(load_toml(path).get("job", {}).get("name", ""))), str(path))
        except (InputError, AttributeError):
            continue
    return out | {job_key(path.name): str(path) for path in paths}


def _opened(path: str, shop: Shop) -> Job | str:
    try:
        return open_job(path, shop, files_exist=False)
    except InputError as e:
        return f"its job file is refused ({e.faults[0].message})"


def _compared(job: Job, phase: str, seconds: float, shop: Shop) -> Finished | str:
    """A finished phase beside its plan, or why it has none."""
    said = job.phases.get(phase)
    if said is not None and said.said(job.quantity) is not None:
        return "its job file says the hours, so the standard times did not plan it"
    if phase == "finishing" and any(True for _ in job.done("carve")):
        return "it sands a carving, which goes by its surface and not by standard times"
    rates, counts = shop.rates, drivers(job, shop)
    steps = {
        d: counts[d] * rates.minutes[d] * average_share(rates.learning[d], job.quantity)
        for d in PHASE_DRIVERS[phase]
        if counts[d]
    }
    planned = sum(steps.values())
    if not planned > 0:
        return "the standard times plan nothing for it"
    if not seconds > 0:
        return "no time is logged"
    if not 1 / SLIP < seconds / planned < SLIP:
        told = f"{write_time(seconds)} are logged where {write_time(planned)} were planned"
        return f"{told}: {_MISTYPED}, or said to be done too early? shopcalc log correct mends an entry"
    return Finished(job_key(job.file), phase, planned, seconds, {d: v / planned for d, v in steps.items() if v})


def corrected(rates: Rates, learned: LearnedTimes) -> Rates:
    """The shop's rates with its own times and spreads in place of those it started from.

    Parameters
    ----------
    rates : Rates
        The shop's.
    learned : LearnedTimes
        From ``learn_times``.
    """
    if not learned.phases:
        return rates
    minutes = {}
    for phase, found in learned.phases.items():
        beyond = {d.driver: d.beyond for d in found.drivers}
        for d in PHASE_DRIVERS[phase]:  # rounded: what people read multiplies to what is paid
            minutes[d] = float(f"{rates.minutes[d] / 60 * found.mean * beyond.get(d, 1.0):.4g}") * 60
    spread = {phase: p.spread for phase, p in learned.phases.items()}
    return rates.with_(minutes={**rates.minutes, **minutes}, spread={**rates.spread, **spread})
