"""A job's hours as tasks: what comes after what, what runs by itself, what has to dry."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping, Sequence

from shopcalc.jobs.counting import blanks, frames, load_groups, strips
from shopcalc.jobs.hours import Estimate, ProgramTime
from shopcalc.jobs.placing import schedule
from shopcalc.jobs.workdays import Schedule, Task
from shopcalc.shop import Rates, Shop
from shopcalc.standard_times import PHASE_DRIVERS

_WORTH = 10 / 60  # h by itself from which somebody turns to other work meanwhile (common practice, no source)
_SHARES = 12  # tasks into which the pieces of a batch are gathered at most
_SANDING = ("sanding_per_area", "cutter_lines_per_area")


def job_tasks(estimate: Estimate, shop: Shop | None = None, order: Sequence[str] = ()) -> tuple[Task, ...]:
    """The hours of a job as tasks with their order.

    Parameters
    ----------
    estimate : Estimate
        Its best hours are the tasks' hours, said and logged ones too.
    shop : Shop, optional
        For drying; None takes the one the job was read for.
    order : sequence of str
        Loads as "program/part" as the machine runs them; empty leaves the order to the schedule.

    Returns
    -------
    tuple of Task
        Design; programming of each program; stock of each part; the loads of each program, after its programming, its
        parts' stock and what is run on them before; assembly by frames; sanding; coats that dry; hardware; delivery. A
        load that runs by itself for ten minutes or more is a task of its own, and its person is free then; otherwise
        somebody waits beside the machine, so people are bound for more hours than are attended.
    """
    own = estimate.job.shop if shop is None else shop
    rates = own.rates
    design = _phase(estimate, "design", (), 1)
    begin = _names(design)
    coding = list(_shared(estimate, "programming", "program", _program_weights(estimate, rates, "programming"), begin))
    glued = {p.id for p in estimate.job.parts if p.glued or strips(p, own) > 1}
    boards = {p.id: float(blanks(p, estimate.job, own) * strips(p, own)) for p in estimate.job.parts}
    stock = [
        Task(
            t.name,
            t.phase,
            t.hours,
            after=t.after,
            waits=rates.drying / 3600 if t.name.split(" ", 1)[1] in glued else 0.0,
        )
        for t in _shared(estimate, "stock", "stock", boards, begin)
    ]
    runs = list(_runs(estimate, rates, {t.name for t in (*coding, *stock)}, begin, order))
    made = _last(runs, *coding, *stock) or begin
    groups = min(estimate.job.quantity, _SHARES)
    joined = _assembly(estimate, made, groups, rates)
    finish = _finishing(estimate, [_names(j) or made for j in joined], rates)
    done = _last(finish) or tuple(dict.fromkeys(n for j in joined for n in _names(j))) or made
    hardware = _phase(estimate, "hardware", done, groups)
    out = [*design, *coding, *stock, *runs, *(t for j in joined for t in j), *finish, *hardware]
    return (*out, *_phase(estimate, "delivery", _names(hardware) or done, 1))


def schedule_job(
    estimate: Estimate,
    shop: Shop | None = None,
    *,
    start: datetime.date | None = None,
    order: Sequence[str] = (),
    tries: int = 40,
    seed: int = 1,
) -> Schedule:
    """Who does what when for one job alone in the shop.

    Parameters
    ----------
    estimate : Estimate
        Of the job.
    shop : Shop, optional
        For its people, days and drying; None takes the one the job was read for.
    start : date, optional
        First day; None leaves dates, weekends and closed days out.
    order : sequence of str
        Loads as "program/part" as the machine runs them, as of ``loading.plan_loads``; empty leaves it free.
    tries, seed : int
        As in ``schedule`` [-].

    Returns
    -------
    Schedule
        With the bound no schedule can beat.
    """
    rates = (estimate.job.shop if shop is None else shop).rates
    return schedule(job_tasks(estimate, shop, order), rates.crew, rates.workday, start=start, tries=tries, seed=seed)


def _names(tasks: Sequence[Task]) -> tuple[str, ...]:
    return tuple(t.name for t in tasks)


def _last(tasks: Sequence[Task], *more: Task) -> tuple[str, ...]:
    """Names of the tasks none of them comes after."""
    everyone = [*tasks, *more]
    before = {a for t in everyone for a in t.after}
    return tuple(t.name for t in everyone if t.name not in before)


def _phase(estimate: Estimate, phase: str, after: tuple[str, ...], parts: int, waits: float = 0.0) -> list[Task]:
    """A phase in so many equal tasks; none where it has no hours."""
    hours = estimate.hours[phase].best
    names = [phase] if parts == 1 else [f"{phase} {i + 1}" for i in range(parts)]
    return [Task(name, phase, hours / parts, after=after, waits=waits) for name in names] if hours > 0 else []


def _shared(
    estimate: Estimate, phase: str, word: str, weights: Mapping[str, float], after: tuple[str, ...]
) -> Iterator[Task]:
    """A phase shared out by weights: "stock top-rail"."""
    hours, total = estimate.hours[phase].best, sum(weights.values())
    for key, weight in weights.items():
        if hours * weight > 0:
            yield Task(f"{word} {key}", phase, hours * weight / total, after=after)


def _program_weights(estimate: Estimate, rates: Rates, phase: str) -> dict[str, float]:
    """Standard time of each program in a phase, however much of it the job then says."""
    out = {t.program.id: 0.0 for t in estimate.programs}
    for g in load_groups(estimate.job):
        out[g.program] += sum(g.times * n * rates.minutes[d] for d, n in g.counts.items() if d in PHASE_DRIVERS[phase])
    return out if sum(out.values()) else dict.fromkeys(out, 1.0)


def _runs(
    estimate: Estimate, rates: Rates, known: set[str], begin: tuple[str, ...], order: Sequence[str] = ()
) -> Iterator[Task]:
    """Set-up and machine time of each program: loads one by one where they run by themselves long enough.

    With an order each load of it is a run of its own, and each comes after the one before.
    """
    setup = _program_weights(estimate, rates, "setup")
    total = sum(setup.values()) or 1.0
    planned = sum(t.best * t.loads * t.attended for t in estimate.programs) / 3600
    scale = estimate.hours["machining"].best / planned if planned else 0.0
    last: dict[str, str] = {}  # of each part, and of each program
    previous: tuple[str, ...] = ()
    for t, parts, share in _batches(estimate, order):
        key = t.program.id
        before = [f"program {key}", *(f"stock {p}" for p in parts)]
        before = [n for n in before if n in known]
        before += [last[w] for w in (*parts, *(f"program {a}" for a in t.program.after)) if w in last]
        after = tuple(dict.fromkeys((*before, *previous))) or begin
        hand = share * estimate.hours["setup"].best * setup[key] / total
        several = share < 1
        tasks = list(_loads(t, hand, scale, after, f"run {key}/{parts[0]}" if several else f"run {key}", share))
        yield from tasks
        last |= dict.fromkeys((*parts, f"program {key}"), tasks[-1].name)
        previous = (tasks[-1].name,) if order else ()


def _batches(estimate: Estimate, order: Sequence[str]) -> Iterator[tuple[ProgramTime, list[str], float]]:
    """Programs with their parts and the share of their loads: whole ones, or load by load where an order is said."""
    loads, times = estimate.job.loads, {t.program.id: t for t in estimate.programs}
    if not order:
        for key, t in times.items():
            yield t, [load.part for load in loads if load.program == key], 1.0
        return
    named = {f"{load.program}/{load.part}": load for load in loads}
    for name in order:
        load = named[name]
        yield (
            times[load.program],
            [load.part],
            load.count / sum(x.count for x in loads if x.program == load.program),
        )


def _loads(
    t: ProgramTime, hand: float, scale: float, after: tuple[str, ...], name: str, share: float
) -> Iterator[Task]:
    machine, loads = t.best / 3600, round(t.loads * share)
    attended = min(machine * t.attended * scale, machine)
    skill = "carving" if t.carving else ""
    if machine - attended < _WORTH:
        yield Task(name, "machining", hand + loads * machine, machine=True, after=after, skill=skill)
        return
    shares = min(loads, _SHARES)
    for i in range(shares):
        own = name if shares == 1 else f"{name} {i + 1}"
        each = loads / shares
        bound = (hand + loads * attended) / shares
        yield Task(own, "machining", hand / shares + each * machine, bound, True, after, skill=skill)
        after = (own,)


def _assembly(estimate: Estimate, after: tuple[str, ...], groups: int, rates: Rates) -> list[list[Task]]:
    """Tasks of each group of pieces: its frames, each drying in its clamps."""
    hours, each = estimate.hours["assembly"].best, max(1, min(frames(estimate.job), _SHARES // groups))
    if hours <= 0:
        return [[] for _ in range(groups)]
    many = groups * each > 1
    share = hours / (groups * each)
    return [
        [
            Task(f"assembly {g * each + i + 1}" if many else "assembly", "assembly", share, after=after,
                 waits=rates.drying / 3600)
            for i in range(each)
        ]
        for g in range(groups)
    ]  # fmt: skip


def _finishing(estimate: Estimate, after: Sequence[tuple[str, ...]], rates: Rates) -> list[Task]:
    """Sanding of each group of pieces, then coats on all of them, each left to dry."""
    hours, counts = estimate.hours["finishing"].best, estimate.drivers
    if hours <= 0:
        return []
    times = {d: counts[d] * rates.minutes[d] for d in PHASE_DRIVERS["finishing"]}
    sanding = sum(times[d] for d in _SANDING) + 3600 * estimate.carving_sanding
    total = sum(times.values()) + 3600 * estimate.carving_sanding
    share = sanding / total if total else 0.0
    many = len(after) > 1
    sanded = [
        Task(f"sanding {i + 1}" if many else "sanding", "finishing", hours * share / len(after), after=a)
        for i, a in enumerate(after)
        if share > 0
    ]
    before = _names(sanded) or tuple(dict.fromkeys(n for a in after for n in a))
    out: list[Task] = []
    for i in range(rates.coats if share < 1 else 0):
        each = hours * (1 - share) / rates.coats
        out.append(Task(f"coat {i + 1}", "finishing", each, after=before, waits=rates.drying / 3600))
        before = (out[-1].name,)
    return [*sanded, *out]
