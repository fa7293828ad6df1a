"""The same job made another way: a job in, a job out; and its estimate, timing anew only what changed."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from dataclasses import replace
from decimal import Decimal

from shopcalc.jobs import Estimate, Job, ProgramTime, estimate
from shopcalc.jobs.records import Hardware, Load, Operation, Part, Program


def estimate_like(job: Job, base: Estimate) -> Estimate:
    """Estimate a variant of a job, taking over the times of every program that does the same to the same parts.

    Parameters
    ----------
    job : Job
        The variant.
    base : Estimate
        Of the job it was made from.

    Raises
    ------
    InputError
        When the variant asks for what cannot be done.
    """
    return estimate(job, known={t.program.id: t for t in _kept(job, base)})


def _kept(job: Job, base: Estimate) -> Iterator[ProgramTime]:
    old = {t.program.id: t for t in base.programs}
    if job.machine != base.job.machine:
        return
    for program in job.programs:
        was = old.get(program.id)
        if was is None or was.program != program or _done(job, program.id) != _done(base.job, program.id):
            continue
        loads, before = _loads(job, program.id), _loads(base.job, program.id)
        share = sum(loads.values()) / sum(before.values())
        if all(abs(loads[key] - share * before[key]) < 1e-9 for key in loads):
            count = job.quantity * sum(loads.values())
            each = count / was.loads
            yield replace(was, loads=count, sanding=was.sanding * each, level_sanding=was.level_sanding * each)


def _loads(job: Job, program: str) -> dict[str, int]:
    return {load.part: load.count for load in job.loads if load.program == program}


def _done(job: Job, program: str) -> dict[str, list[tuple[Part, Operation]]]:
    """What each part has done to it in a program; of the parts only what they are."""
    return {
        part: [(p.model_copy(update={"operations": ()}), o) for p, o in job.operations(program, part)]
        for part in _loads(job, program)
    }


def with_operations(job: Job, change: Callable[[Part, Operation], Operation | None]) -> Job:
    """Change or drop operations; programs and loads with nothing left to do go with them.

    Parameters
    ----------
    job : Job
        Stays as it is.
    change : callable
        Called with part and operation; what it returns takes the operation's place, None drops it.
    """
    parts = []
    for part in job.parts:
        kept = (change(part, o) for o in part.operations)
        parts.append(part.model_copy(update={"operations": tuple(o for o in kept if o is not None)}))
    return _tidy(replace(job, parts=tuple(parts)))


def _tidy(job: Job) -> Job:
    """Without programs that do nothing, loads of parts that are gone, and an order that names either."""
    described = {o.program for p in job.parts for o in p.operations}
    parts = {p.id for p in job.parts}
    loads = tuple(x for x in job.loads if x.program in described and x.part in parts)
    loaded = {x.program for x in loads}
    named = {f"{x.program}/{x.part}" for x in loads}
    return replace(
        job,
        loads=loads,
        programs=tuple(p for p in job.programs if p.id in loaded),
        order=tuple(name for name in job.order if name in named),
        joints=job.joints,
    )


def bought(job: Job, part: str, each: Decimal) -> Job:
    """The same job with a part that comes finished from somebody else.

    Parameters
    ----------
    job : Job
        Stays as it is.
    part : str
        Id.
    each : Decimal
        What one piece costs [currency].

    Raises
    ------
    KeyError
        When there is no such part.
    """
    gone = next((p for p in job.parts if p.id == part), None)
    if gone is None:
        raise KeyError(part)
    others = tuple(p for p in job.parts if p.id != part)
    described = {o.program for p in others for o in p.operations}
    orphans = {o.program for o in gone.operations} - described
    if any(x.part != part and x.program in orphans for x in job.loads):
        # another part runs a program that only this one describes: it keeps the description
        heir = {x.program: x.part for x in job.loads if x.part != part and x.program in orphans}
        others = tuple(
            p.model_copy(
                update={"operations": (*p.operations, *(o for o in gone.operations if heir.get(o.program) == p.id))}
            )
            for p in others
        )
    name = f"{gone.title or gone.id}, bought"
    item = Hardware.model_construct(name=name, quantity=gone.quantity, price=each, fitted=False)
    return _tidy(replace(job, parts=others, hardware=(*job.hardware, item)))


def turned_over(job: Job, programs: Collection[str]) -> Job:
    """The same job with some programs run on both faces: every load of theirs twice.

    Parameters
    ----------
    job : Job
        Stays as it is.
    programs : collection of str
        Ids.
    """
    loads = tuple(x.model_copy(update={"count": 2 * x.count}) if x.program in programs else x for x in job.loads)
    return replace(job, loads=loads)


def in_one_clamping(job: Job, gone: str, base: Estimate) -> tuple[Job, frozenset[str]] | None:
    """The same job with a program done in the clampings of others at the same station, and which; None if it cannot be.

    Parameters
    ----------
    job : Job
        Stays as it is.
    gone : str
        Id of the program that is taken in by others.
    base : Estimate
        Of the job, for the times.

    Notes
    -----
    Every part of it must be clamped just as often for one other program at the same station; the machine then takes
    as long as for both.
    """
    station, times = {p.id: p.station for p in job.programs}, {t.program.id: t for t in base.programs}
    host: dict[str, str] = {}
    for load in (x for x in job.loads if x.program == gone):
        others = [
            x.program
            for x in job.loads
            if x.part == load.part
            and x.program != gone
            and x.count == load.count
            and station[x.program] == station[gone]
            and all(p.id == load.part for p, _ in job.operations(x.program, load.part))
        ]
        if not others or any(p.id != load.part for p, _ in job.operations(gone, load.part)):
            return None
        host[load.part] = others[0]
    served: dict[str, set[str]] = {}
    for x in job.loads:
        served.setdefault(x.program, set()).add(x.part)
    if any(served[p] - set(host) for p in host.values()):
        return None  # its host also serves parts that have nothing of it done
    longer = {p: times[p].best + times[gone].best for p in host.values()}
    merged = with_operations(
        job,
        lambda part, o: o.model_copy(update={"program": host[part.id]}) if o.program == gone else o,
    )
    programs = tuple(_as_logged(p, longer.get(p.id)) for p in merged.programs)
    return replace(merged, programs=programs), frozenset(host.values())


def _as_logged(program: Program, seconds: float | None) -> Program:
    return program if seconds is None else program.model_copy(update={"file": None, "logged": seconds})


#: What of an operation may differ between parts that one program serves, its length being a parameter.
_ALONG = frozenset({"length", "from_end", "span", "spacing", "count", "note", "program"})


def alike(job: Job, one: str, other: str) -> bool:
    """Whether two programs do the same at the same station but for lengths along the part.

    Parameters
    ----------
    job : Job
        Theirs.
    one, other : str
        Ids.
    """
    a, b = (next(p for p in job.programs if p.id == key) for key in (one, other))
    return a.station == b.station and _kinds(job, one) == _kinds(job, other) and _sections(job, a) == _sections(job, b)


def _kinds(job: Job, program: str) -> set[str]:
    """Its operations as text, without what runs along the part."""
    described = [(p, o) for p in job.parts for o in p.operations if o.program == program]
    along = (
        {"length"}
        if any(o.kind in ("tenon", "carve", "sink", "mortise", "raise", "face") for _, o in described)
        else set()
    )
    return {str(sorted((k, v) for k, v in o.model_dump().items() if k not in _ALONG - along)) for _, o in described}


def _sections(job: Job, program: Program) -> set[tuple[str, float, float]]:
    parts = (job.part(x.part) for x in job.loads if x.program == program.id)
    return {(p.material, p.width if program.station == "end" else 0.0, p.thickness) for p in parts}


def as_one(job: Job, kept: str, gone: str, base: Estimate) -> Job:
    """The same job with two programs that are alike as one; the machine takes as long as before.

    Parameters
    ----------
    job : Job
        Stays as it is.
    kept, gone : str
        Ids.
    base : Estimate
        Of the job, for the times.
    """
    times = {t.program.id: t for t in base.programs}
    a, b = times[kept], times[gone]
    mean = (a.best * a.loads + b.best * b.loads) / (a.loads + b.loads)
    parts = tuple(
        p.model_copy(update={"operations": tuple(o for o in p.operations if o.program != gone)}) for p in job.parts
    )
    counts: dict[tuple[str, str], int] = {}
    for x in job.loads:
        key = (kept if x.program == gone else x.program, x.part)
        counts[key] = counts.get(key, 0) + x.count
    loads = tuple(Load(program=program, part=part, count=n) for (program, part), n in counts.items())
    programs = tuple(_as_logged(p, mean if p.id == kept else None) for p in job.programs if p.id != gone)
    return replace(job, parts=parts, loads=loads, programs=programs, order=())
