"""Where the next hour is: what could be changed about the whole job, each change timed and priced anew, ranked."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from decimal import Decimal

from shopcalc.deciding.variants import alike, as_one, estimate_like, in_one_clamping, with_operations
from shopcalc.errors import InputError
from shopcalc.jobs import Estimate, Job, ProgramTime
from shopcalc.jobs.planning import setting
from shopcalc.jobs.records import Carve, Operation, Part
from shopcalc.quote import Price, price
from shopcalc.shop import Shop

_LONGEST = 6  # programs with most machine time, whose cutters and feeds are looked at
_FASTER = 1.2  # times the feed
_WIDER = 1.25  # times the stepover of a relief
_LEAST = 0.001  # of the floor price: below this a change is not worth a line

#: A fixture for a station: hours to make it, material, and the share of clamping and zeroing it saves. Assumed.
FIXTURE = (4.0, 60.0, 0.5)


@dataclass(frozen=True)
class Saving:
    """One change and what it brings.

    Parameters
    ----------
    change : str
        What to do, for people.
    money : Decimal
        Off the floor price of this job [currency].
    hours, machine_minutes : float
        Of our own people and of the machine, saved in this job [h], [min].
    outlay : Decimal
        Paid once [currency].
    check : str
        What to look at first.
    """

    change: str
    money: Decimal
    hours: float
    machine_minutes: float
    outlay: Decimal = Decimal("0.00")
    check: str = ""

    @property
    def pays_back_after(self) -> float | None:
        """Such jobs until the outlay is back [-]; None without outlay."""
        return float(self.outlay / self.money) if self.outlay and self.money > 0 else None


def next_hours(
    priced: Price,
    shop: Shop | None = None,
    *,
    fixture: tuple[float, float, float] = FIXTURE,
    progress: Callable[[str], None] | None = None,
) -> tuple[Saving, ...]:
    """Changes that save money on a job, the largest saving first.

    Parameters
    ----------
    priced : Price
        Of the job as it stands.
    shop : Shop, optional
        Whose rack and rates count; None takes the one the job was read for.
    fixture : (3,) float
        Hours to make one [h], its material [currency], share of clamping and zeroing it saves [ratio].
    progress : callable, optional
        Told what is tried.

    Returns
    -------
    tuple of Saving
        Each by itself, against the job as it stands: two that touch the same program do not add up.

    Notes
    -----
    A change of a program is planned before and after, and the share it takes off is applied to the best time known.
    """
    shop = priced.estimate.job.shop if shop is None else shop
    found = []
    for make in (_clampings, _single_programs, _cutters, _feeds, _stepovers, _fixtures(fixture)):
        for saving in make(priced, shop, progress or (lambda _: None)):
            if saving.money >= max(_LEAST * float(priced.floor), 1.0):
                found.append(saving)
    return tuple(sorted(found, key=lambda s: (s.outlay > 0 and (s.pays_back_after or 0) > 1, -s.money)))


def _saving(
    change: str, priced: Price, e: Estimate, shop: Shop, check: str, outlay: Decimal = Decimal("0.00")
) -> Saving:
    new, old = price(replace(e, job=replace(e.job, asked_price=None)), shop), priced.estimate
    return Saving(
        change,
        priced.floor - new.floor,
        old.own_hours - e.own_hours,
        (old.machine_seconds - e.machine_seconds) / 60,
        outlay,
        check,
    )


def _title(job: Job, program: str) -> str:
    found = next(p for p in job.programs if p.id == program)
    return found.title or found.id


def _clampings(priced: Price, shop: Shop, told: Callable[[str], None]) -> Iterator[Saving]:
    e, seen = priced.estimate, set[frozenset[str]]()
    for t in e.programs:
        gone = t.program.id
        merged = in_one_clamping(e.job, gone, e)
        if merged is None or frozenset({gone, *merged[1]}) in seen:
            continue
        job, hosts = merged
        seen.add(frozenset({gone, *hosts}))
        told(f"one clamping: {_title(e.job, gone)}")
        into = " and ".join(f"'{_title(e.job, h)}'" for h in sorted(hosts))
        check = "same face up and within reach of one clamping; where edges differ, the part is turned all the same"
        change = f"do '{_title(e.job, gone)}' in the clamping of {into}: {_fewer(t.loads)}"
        yield _saving(change, priced, estimate_like(job, e), shop, check)


def _fewer(loads: int) -> str:
    return f"{loads} loads fewer" if loads > 1 else "one load fewer"


def _single_programs(priced: Price, shop: Shop, told: Callable[[str], None]) -> Iterator[Saving]:
    e = priced.estimate
    groups: list[list[str]] = []
    for t in (t for t in e.programs if not t.carving):
        home = next((g for g in groups if alike(e.job, g[0], t.program.id)), None)
        if home is None:
            groups.append([t.program.id])
        else:
            home.append(t.program.id)
    for group in (g for g in groups if len(g) > 1):
        told(f"one program: {_title(e.job, group[0])}")
        job, base = e.job, e
        for gone in group[1:]:
            job = as_one(job, group[0], gone, base)
            base = estimate_like(job, base)
        names = ", ".join(f"'{_title(e.job, g)}'" for g in group)
        yield _saving(
            f"one program for {names}", priced, base, shop, "length as a parameter, or a run-out past the shorter part"
        )


def _worth(e: Estimate) -> list[ProgramTime]:
    return sorted((t for t in e.programs if not t.carving), key=lambda t: -t.best * t.loads)[:_LONGEST]


def _retimed(e: Estimate, program: ProgramTime, change: Callable[[Part, Operation], Operation]) -> Estimate | None:
    """The job with a program changed: its planned time before and after, applied to the best known."""
    key = program.program.id
    blank = {"file": None, "logged": None}

    def planned_anew(change: Callable[[Part, Operation], Operation]) -> tuple[Job, float, tuple[str, ...]]:
        job = with_operations(e.job, lambda part, o: change(part, o) if o.program == key else o)
        job = replace(job, programs=tuple(p.model_copy(update=blank) if p.id == key else p for p in job.programs))
        anew = estimate_like(job, e)
        return job, next(t.planned for t in anew.programs if t.program.id == key), anew.warnings

    try:
        _, before, known = planned_anew(lambda _, o: o)
        job, after, told = planned_anew(change)
    except InputError:
        return None
    if not before > after or set(told) - set(known):
        return None  # slower, or it raises a doubt that was not there
    logged = {"file": None, "logged": program.best * after / before}
    job = replace(job, programs=tuple(p.model_copy(update=logged) if p.id == key else p for p in job.programs))
    return estimate_like(job, e)


def _cutters(priced: Price, shop: Shop, told: Callable[[str], None]) -> Iterator[Saving]:
    e = priced.estimate
    for t in _worth(e):
        for old in dict.fromkeys(o.cutter for p in e.job.parts for o in p.operations if o.program == t.program.id):
            now = shop.cutter(old)
            best: tuple[str, Estimate] | None = None
            for other in shop.cutters.values():
                if other.id == old or other.shape != now.shape or other.diameter < now.diameter - 1e-6:
                    continue
                told(f"{other.id} in {_title(e.job, t.program.id)}")
                anew = _retimed(
                    e,
                    t,
                    lambda _, o, old=old, new=other.id: o.model_copy(update={"cutter": new}) if o.cutter == old else o,  # type: ignore[misc]
                )
                if anew is not None and (best is None or anew.machine_seconds < best[1].machine_seconds):
                    best = other.id, anew
            if best is not None:
                change = f"{best[0]} in place of {old} in '{_title(e.job, t.program.id)}'"
                yield _saving(change, priced, best[1], shop, "inner corners, stick-out and push-off: shopcalc tune")


def _feeds(priced: Price, shop: Shop, told: Callable[[str], None]) -> Iterator[Saving]:
    e = priced.estimate
    for t in _worth(e):
        told(f"feed of {_title(e.job, t.program.id)}")
        station = t.program.station

        def faster(part: Part, o: Operation, station: str = station) -> Operation:
            feed = setting(o, part, station, e.job.machine, shop).feed  # type: ignore[arg-type]
            return o.model_copy(update={"feed": min(_FASTER * feed, *(a.feed for a in e.job.machine.axes[:2]))})

        anew = _retimed(e, t, faster)
        if anew is not None:
            change = f"feed {100 * (_FASTER - 1):.0f} % higher in '{_title(e.job, t.program.id)}'"
            yield _saving(change, priced, anew, shop, "only within what shopcalc tune allows this cutter")


def _stepovers(priced: Price, shop: Shop, told: Callable[[str], None]) -> Iterator[Saving]:
    e = priced.estimate
    for t in (t for t in e.programs if t.carving):

        def wider(_: Part, o: Operation) -> Operation:
            if not isinstance(o, Carve):
                return o
            if o.stepover:
                return o.model_copy(update={"stepover": _WIDER * o.stepover})
            return o.model_copy(update={"cusp": _WIDER**2 * o.cusp}) if o.cusp else o

        told(f"stepover of {_title(e.job, t.program.id)}")
        anew = _retimed(e, t, wider)
        if anew is not None:
            change = f"stepover {100 * (_WIDER - 1):.0f} % wider in '{_title(e.job, t.program.id)}'"
            check = f"cusps {_WIDER**2:.1f} times as high; the sanding they ask for is counted"
            yield _saving(change, priced, anew, shop, check)


def _fixtures(fixture: tuple[float, float, float]) -> Callable[..., Iterator[Saving]]:
    hours, material, share = fixture

    def found(priced: Price, shop: Shop, told: Callable[[str], None]) -> Iterator[Saving]:
        e, rates = priced.estimate, shop.rates
        each = sum(rates.minutes.get(k, 0.0) for k in ("load_per_load", "zero_per_load")) / 3600
        setup = e.hours["setup"]
        for station in dict.fromkeys(t.program.station for t in e.programs):
            loads = sum(t.loads for t in e.programs if t.program.station == station)
            freed = min(loads * each * share, setup.best)
            less = replace(setup, best=setup.best - freed, quoted=max(setup.quoted - freed, 0.0))
            told(f"fixture for the {station} station")
            yield _saving(
                f"a fixture with fixed stops for the {loads} loads at the {station} station",
                priced,
                replace(e, hours={**e.hours, "setup": less}),
                shop,
                f"assumed: {hours:g} h and {material:g} {rates.currency} to make, "
                f"{100 * share:.0f} % of clamping and zeroing saved",
                (Decimal(repr(hours)) * rates.people["setup"] + Decimal(repr(material))).quantize(Decimal("0.01")),
            )

    return found
