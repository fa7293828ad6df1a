"""From a job to hours: planned, programmed and logged side by side; everything downstream uses the best one known."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from shopcalc.errors import Fault, InputError, raise_all
from shopcalc.gcode import read_program
from shopcalc.jobs.counting import drivers, finish_area
from shopcalc.jobs.planning import Plan, plan_load
from shopcalc.jobs.reading import Job
from shopcalc.jobs.records import Load, Program
from shopcalc.jobs.wood import Purchase, take_off_job, wood_bought
from shopcalc.motion import machine_time
from shopcalc.moves import Kind, Moves
from shopcalc.risk import three_point
from shopcalc.shop import PHASES, Rates, Shop
from shopcalc.standard_times import PHASE_DRIVERS, average_share
from shopcalc.units import write, write_time

_TIMES = 0.25  # share of the planned time by which a program's may differ before it is pointed out
_LEAD = 10.0  # mm by which the run-ins of two ways to cut the same may differ at least
_DEPTH = 1.0  # mm by which depths may differ: what is cut through goes into the spoil board


@dataclass(frozen=True)
class ProgramTime:
    """Times of one program, each for one load.

    Parameters
    ----------
    program : Program
        Which.
    loads : int
        In the whole job [-].
    planned : float
        From dimensions [s].
    programmed : float or None
        From the program's text [s]; None while there is none, or where it gives no feed.
    logged : float or None
        By the clock [s].
    cutting, moving, changing, standing : float
        Parts of the best one; they add up to it [s].
    attended : float
        Share of it somebody stands by [ratio].
    carving : bool
        Whether it carves a relief.
    band : (3,) float or None
        Where a relief is planned without artwork: low, likely, high [s].
    cutters : tuple of str
        Ids, in order of use.
    sanding : float
        Hours of people its carved surfaces ask for in the whole job, beyond level ones [h].
    level_sanding : float
        Of the same surfaces as if they were level, counted with all other faces [h].
    """

    program: Program
    loads: int
    planned: float
    programmed: float | None
    logged: float | None
    cutting: float
    moving: float
    changing: float
    standing: float
    attended: float
    carving: bool
    band: tuple[float, float, float] | None
    cutters: tuple[str, ...]
    sanding: float = 0.0
    level_sanding: float = 0.0

    @property
    def best(self) -> float:
        """Logged, else programmed, else planned [s]."""
        return next(t for t in (self.logged, self.programmed, self.planned) if t is not None)

    @property
    def by_area(self) -> bool:
        """Whether the best time known still comes from an area or a kind of relief alone, without artwork."""
        return self.band is not None and self.logged is None and self.programmed is None


@dataclass(frozen=True)
class PhaseHours:
    """Hours of the shop's own people in one phase of the whole job.

    Parameters
    ----------
    planned, programmed, logged : float or None
        [h]; None where nothing is known.
    best : float
        The best one known [h].
    quoted : float
        What the customer pays for: the best, or 0 [h].
    working : str
        How it was counted, for people.
    """

    planned: float | None
    programmed: float | None
    logged: float | None
    best: float
    quoted: float
    working: str


@dataclass(frozen=True)
class Estimate:
    """Hours, machine time and take-off of a job.

    Parameters
    ----------
    job : Job
        The job.
    programs : tuple of ProgramTime
        In the job's order.
    hours : mapping
        Phase to PhaseHours, all phases in order.
    drivers : mapping
        Driver to its count for the whole job [-], areas [m2].
    purchases : tuple of Purchase
        Wood.
    finish_area : float
        Surfaces that get a finish [m2].
    warnings : tuple of str
        What to know before relying on it.
    """

    job: Job
    programs: tuple[ProgramTime, ...]
    hours: Mapping[str, PhaseHours]
    drivers: Mapping[str, float]
    purchases: tuple[Purchase, ...]
    finish_area: float
    warnings: tuple[str, ...]

    @property
    def machine_seconds(self) -> float:
        """Machine time of the whole job [s]."""
        return sum(p.best * p.loads for p in self.programs)

    @property
    def carving_seconds(self) -> float:
        """Machine time of the programs that carve [s]."""
        return sum(p.best * p.loads for p in self.programs if p.carving)

    @property
    def carving_sanding(self) -> float:
        """Hours of people that carved surfaces ask for, beyond level ones [h]."""
        return sum(p.sanding for p in self.programs)

    @property
    def carving_sanding_in_full(self) -> float:
        """The same with what level faces of that size would ask for: the carving's own [h]."""
        return self.carving_sanding + sum(p.level_sanding for p in self.programs)

    @property
    def own_hours(self) -> float:
        """Hours of the shop's own people, quoted or not [h]."""
        return sum(h.best for h in self.hours.values())


def purchases(job: Job, shop: Shop) -> tuple[Purchase, ...]:
    """Wood to buy: rough sizes with the shop's waste, or laid out on boards and sheets where job or shop say so.

    Parameters
    ----------
    job : Job
        The job.
    shop : Shop
        Whose waste, rules and materials count.

    Notes
    -----
    Sawn and laminated wood in board feet at the next thickness sold; sheets by area (definition; waste is the shop's).
    """
    return wood_bought(take_off_job(job, shop))


def estimate(job: Job, shop: Shop | None = None, *, known: Mapping[str, ProgramTime] | None = None) -> Estimate:
    """Hours, machine time and wood of a job.

    Parameters
    ----------
    job : Job
        From ``open_job``.
    shop : Shop, optional
        Whose cutters and standard minutes count; None takes the one the job was read for.
    known : mapping, optional
        Id of a program to its times, which are then taken over as they are, without its warnings.

    Raises
    ------
    InputError
        When an operation cannot be done as described (a cutter wider than its groove), or a program's text is
        refused; all of them at once.
    """
    shop = job.shop if shop is None else shop
    warnings, faults, times = list(job.warnings), list[Fault](), list[ProgramTime]()
    for program in job.programs:
        try:
            found = None if known is None else known.get(program.id)
            times.append(found or _program_time(job, program, shop, warnings))
        except InputError as e:
            faults += e.faults
    raise_all(dict.fromkeys(faults))
    counts = drivers(job, shop)
    hours = {phase: _phase(phase, job, shop.rates, counts, times) for phase in PHASES}
    without = [t.program.id for t in times if t.programmed is None]
    if 0 < len(without) < len(times):
        warnings.append(f"programmed hours leave out what has no program yet: {', '.join(without)}")
    return Estimate(
        job,
        tuple(times),
        hours,
        counts,
        purchases(job, shop),
        finish_area(job),
        tuple(dict.fromkeys(warnings)),
    )


# --- programs --------------------------------------------------------------------------------------------------------


def _program_time(job: Job, program: Program, shop: Shop, warnings: list[str]) -> ProgramTime:
    loads = [load for load in job.loads if load.program == program.id]
    count = sum(load.count for load in loads)
    plans = [(load.count / count, plan_load(job, program, load.part, shop)) for load in loads]
    for _, plan in plans:
        warnings += plan.warnings
    timed = [(share, plan.by_area, _timed(plan.moves, job)) for share, plan in plans]
    split = [sum(share * times[k] for share, _, times in timed) for k in range(4)]
    low, likely, high = (sum(share * by_area[k] for share, by_area, _ in timed) for k in range(3))
    with_path, mean = sum(split), three_point(low, likely, high)[0]
    split[0] += mean + sum(share * plan.carved[0] for share, plan in plans)  # lines of a quote add as means
    split[2] += sum(share * plan.carved[1] for share, plan in plans)
    with_path += sum(share * sum(plan.carved) for share, plan in plans)
    planned = sum(split)
    band = (with_path + low, with_path + likely, with_path + high) if high > 0 else None
    programmed = None
    if program.file is not None:
        programmed, read_split = _programmed(job, program, shop, plans, warnings)
        split = read_split or split
    best = next(t for t in (program.logged, programmed, planned) if t is not None)
    scale = best / sum(split) if sum(split) > 0 else 0.0
    cutting, moving, changing, standing = (s * scale for s in split)
    return ProgramTime(
        program,
        count * job.quantity,
        planned,
        programmed,
        program.logged,
        cutting,
        moving,
        changing,
        standing,
        _attended(plans, job, program, loads, shop.rates),
        any(o.kind == "carve" for load in loads for _, o in job.operations(program.id, load.part)),
        band,
        tuple(dict.fromkeys([*(c for _, plan in plans for c in plan.cutters), *_cutters(job, program)])),
        count * job.quantity * sum(share * plan.sanding for share, plan in plans),
        count * job.quantity * sum(share * plan.level_sanding for share, plan in plans),
    )


def _timed(moves: Moves, job: Job) -> tuple[float, float, float, float]:
    """Seconds cutting, moving, changing, standing."""
    if not len(moves):
        return 0.0, 0.0, 0.0, 0.0
    t = machine_time(moves, job.machine)
    return t.cutting_time_s, t.rapid_time_s, t.change_time_s, t.dwell_time_s


def _programmed(
    job: Job, program: Program, shop: Shop, plans: list[tuple[float, Plan]], warnings: list[str]
) -> tuple[float | None, list[float] | None]:
    read = read_program(shop.folder / str(program.file), job.machine)
    for note in read.warnings:
        warnings.append(f"{read.name}, line {note.line}, column {note.column}, {note.word}: {note.message}")
    split = list(_timed(read.moves, job))
    total = sum(split)
    differs = list(_differences(read.moves, total, job, program, shop, [plan for _, plan in plans]))
    if differs:
        again = "make the program anew or mend the job"
        warnings.append(f"program '{program.id}': {read.name} disagrees with the job: {'; '.join(differs)}; {again}")
    if total != total:  # nan: a feed is missing
        warnings.append(f"program '{program.id}': {read.name} cuts where no feed is set, so its time is unknown")
        return None, None
    return total, split


def _differences(
    text: Moves, seconds: float, job: Job, program: Program, shop: Shop, plans: list[Plan]
) -> Iterator[str]:
    """What of a program's text does not go with the job's dimensions: cutters, extents, time."""
    chosen = dict.fromkeys([*_cutters(job, program), *(c for plan in plans for c in plan.cutters)])
    yield from _other_cutters(text, list(chosen), shop)
    if any(sum(plan.by_area) > 0 for plan in plans) or not text.cutting.any():
        return  # a relief without artwork has no path to compare with
    if any(sum(plan.carved) > 0 for plan in plans):
        yield from _other_time(seconds, plans, job)
        return
    widest = max(shop.cutter(key).true_diameter for key in _cutters(job, program))
    spans, low = _reach(text)
    for plan in plans:
        planned, floor = _reach(plan.moves)
        if any(abs(a - b) > max(widest, _LEAD) for a, b in zip(spans, planned, strict=True)):  # run-in is a habit
            shown, wanted = (" x ".join(write(v, "length", job.system) for v in each) for each in (spans, planned))
            yield f"it cuts over {shown}, where the sizes ask for {wanted}"
            break
        if low < 0 and abs(low - floor) > _DEPTH:  # else its zero is not the part's face
            deep, wanted = (write(-v, "length", job.system) for v in (low, floor))
            yield f"it cuts {deep} deep, where the sizes ask for {wanted}"
            break
    yield from _other_time(seconds, plans, job)


def _other_time(seconds: float, plans: list[Plan], job: Job) -> Iterator[str]:
    times = [sum(_timed(plan.moves, job)) + sum(plan.carved) for plan in plans]
    if seconds == seconds and all(abs(seconds - t) > _TIMES * t for t in times):
        yield f"it takes {write_time(seconds)}, where {write_time(times[0])} is planned"


def _reach(moves: Moves) -> tuple[tuple[float, float], float]:
    """Spans of what is cut, the longer first, however the part lies; and the lowest place [mm]."""
    ends = np.concatenate([moves.points[:-1][moves.cutting], moves.points[1:][moves.cutting]])
    x, y = (float(v) for v in np.ptp(ends[:, :2], axis=0))
    return (max(x, y), min(x, y)), float(ends[:, 2].min())


def _cutters(job: Job, program: Program) -> list[str]:
    """Ids of the cutters a job gives a program."""
    loads = [load for load in job.loads if load.program == program.id]
    return list(dict.fromkeys(o.cutter for load in loads for _, o in job.operations(program.id, load.part)))


def _other_cutters(text: Moves, wanted: list[str], shop: Shop) -> Iterator[str]:
    """Cutters of a text that are not the job's, by the comment at their change, else by their place in the rack."""
    rack = {c.number: c.id for c in shop.cutters.values() if c.number}
    found: set[str] = set()
    unknown = 0
    numbers = sorted({int(v) for v in text.value[text.kind == Kind.CHANGE]})
    if not numbers:
        return
    for number in numbers:
        label = text.labels.get(number, "").strip()
        place = rack.get(number)
        named = next((key for key in shop.cutters if key.casefold() == label.casefold()), place)
        if named is None:
            unknown += 1
        elif named not in wanted:
            yield f"it uses cutter {named} (T{number})"
        elif place is not None and place != named:
            yield f"it calls T{number} {named}, but {place} has that place in the rack"
        found.update([named] if named else [])
    missing = [key for key in wanted if key not in found]
    by_hand = [key for key in missing if not shop.cutter(key).number]
    missing = [key for key in missing if key not in by_hand[:unknown]]
    if unknown > len(by_hand):
        yield "it calls a cutter that no place in the rack has"
    if missing:
        yield f"it does not use {', '.join(missing)}"


def _attended(plans: list[tuple[float, Plan]], job: Job, program: Program, loads: list[Load], rates: Rates) -> float:
    """Attended share of each kind of operation, weighted by its planned seconds."""
    weight: dict[str, float] = {}
    for share, plan in plans:
        for kind, seconds in plan.seconds_by_kind.items():
            weight[kind] = weight.get(kind, 0.0) + share * seconds
    total = sum(weight.values())
    if total > 0:
        return sum(rates.attended[kind] * s for kind, s in weight.items()) / total
    kinds = [o.kind for load in loads for _, o in job.operations(program.id, load.part)]
    return sum(rates.attended[k] for k in kinds) / len(kinds) if kinds else 1.0


# --- phases ----------------------------------------------------------------------------------------------------------


def _phase(phase: str, job: Job, rates: Rates, counts: Mapping[str, float], times: list[ProgramTime]) -> PhaseHours:
    said = job.phases.get(phase)
    programmed = None
    if phase == "machining":
        planned, programmed, best, working = _machining(times)
    else:
        mine = [d for d in PHASE_DRIVERS[phase] if counts[d]]
        carved = sum(t.sanding for t in times) if phase == "finishing" else 0.0
        shares = {d: average_share(rates.learning[d], job.quantity) for d in mine}
        planned = best = sum(counts[d] * rates.minutes[d] * shares[d] for d in mine) / 3600 + carved
        words = [_worked(d, counts[d], rates.minutes[d], shares[d]) for d in mine if rates.minutes[d]]
        words += [f"carved surfaces {60 * carved:.0f} min"] if carved else []
        working = " + ".join(words) or "nothing to do"
    logged = None
    if said is not None and (seconds := said.said(job.quantity)) is not None:
        planned = best = seconds / 3600
        each = said.hours_each or 0.0
        working = "as said in the job" + (f": {job.quantity} × {each / 3600:g} h" if each else "")
        working += f" + {said.hours / 3600:g} h" if each and said.hours else ""
    if said is not None and said.logged is not None:
        logged = best = said.logged / 3600
        working = "by the clock"
    quoted = best if said is None or said.quoted else 0.0
    return PhaseHours(planned, programmed, logged, best, quoted, working)


def _machining(times: list[ProgramTime]) -> tuple[float | None, float | None, float, str]:
    """Attended hours: planned, programmed, best, and how they were counted."""

    def hours(which: str) -> Iterator[float]:
        for t in times:
            seconds = getattr(t, which)
            if seconds is not None:
                yield seconds * t.loads * t.attended / 3600

    best, machine = sum(hours("best")), sum(t.best * t.loads for t in times) / 3600
    share = best / machine if machine else 0.0
    programmed = list(hours("programmed"))
    working = f"attended {100 * share:.0f} % of {machine:.2f} machine h"
    return sum(hours("planned")), sum(programmed) if programmed else None, best, working


def _worked(driver: str, count: float, seconds: float, share: float) -> str:
    """What, how often, how long: "load 74 × 4 min"; "24 joints × 3 min × 85 %" where the phase says what."""
    name, per = driver.replace("cut_out", "cut out").split("_per_")
    amount = f"{count:.1f} m²" if per == "area" else f"{count:.0f}"
    if name in PHASES and per != "area":
        amount += f" {per}" if count == 1 else f" {per}s"
    else:
        amount = f"{name.replace('_', ' ')} {amount}"
    learned = f" × {100 * share:.0f} %" if share < 1 else ""
    return f"{amount} × {seconds / 60:g} min{learned}"
