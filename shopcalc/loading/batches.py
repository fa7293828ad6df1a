"""What is put in order: batches (the loads of one part in one program, clamped one after another), and their rules."""

from __future__ import annotations

import graphlib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from shopcalc.errors import Fault, InputError, did_you_mean, raise_all
from shopcalc.jobs.hours import Estimate
from shopcalc.jobs.reading import Job
from shopcalc.jobs.records import Carve, CutOut, Groove, Load, Operation
from shopcalc.machines import PART_AXES, Machine, StationName
from shopcalc.shop import Shop

#: Standard times of a change between two batches [s]: the shop's own minutes of the same name come first. All of them
#: common practice, no source: each was set by going through its step alone.
MINUTES: dict[str, float] = {
    # chips off, stop bars and clamps carried over, the other zero called up and looked at; setting them comes on top
    "change_station": 240.0,
    # stops, pods or clamps moved for another size or another program in the same station, one piece tried
    "change_fixture": 360.0,
    # the next program called up, its first way watched above the wood
    "change_program": 60.0,
    # one stack put away, the next fetched and its marked faces found
    "change_part": 60.0,
    # found, edges looked at, collet cleaned, its length touched off and written in
    "load_into_rack": 240.0,
}
#: Standard times of the shop that stand for one of these where it says none of that name.
_INSTEAD = {
    "change_fixture": ("stops_per_program",),
    "load_into_rack": ("find_per_cutter", "measure_length_per_cutter"),
}
#: What is the same in every order [s], by the shop's own minutes first.
_EACH_LOAD = {"load_per_load": 240.0, "zero_per_load": 180.0}


@dataclass(frozen=True)
class Batch:
    """All loads of one part in one program, clamped one after another.

    Parameters
    ----------
    name : str
        "program/part".
    program, part : str
        Ids.
    station : {"flat", "edge", "end"}
        Where it is clamped.
    loads : int
        Clampings in the whole job [-].
    cutters : tuple of str
        Ids, in order of use.
    held : tuple of float
        Sizes its stops and clamps are set to [mm].
    seconds : float
        Of clamping, zero and, where it is known, machine time: the same in every order [s].
    """

    name: str
    program: str
    part: str
    station: StationName
    loads: int
    cutters: tuple[str, ...]
    held: tuple[float, ...]
    seconds: float = 0.0


@dataclass(frozen=True)
class Precedence:
    """One batch that has to be done before another.

    Parameters
    ----------
    before, after : str
        Names of the two.
    reason : str
        Why, for people.
    """

    before: str
    after: str
    reason: str

    def __str__(self) -> str:
        """In one line."""
        return f"{self.before} before {self.after}: {self.reason}"


@dataclass(frozen=True)
class Standards:
    """What a change between two batches costs.

    Parameters
    ----------
    change_station, change_fixture, change_program, change_part : float
        See ``MINUTES``; the fixture counts where station, program or held sizes change [s].
    load_into_rack : float
        A cutter that does not stand in the rack when it is needed: found, put in, measured [s].
    cutter_change : float
        From the rack into the spindle [s].
    places : int
        Of the rack; cutters that stand measured in holders of their own beside the machine count as well [-].
    standing : tuple of str
        Cutters that stand in it, measured, when the job begins.
    """

    change_station: float = MINUTES["change_station"]
    change_fixture: float = MINUTES["change_fixture"]
    change_program: float = MINUTES["change_program"]
    change_part: float = MINUTES["change_part"]
    load_into_rack: float = MINUTES["load_into_rack"]
    cutter_change: float = 12.0
    places: int = 12
    standing: tuple[str, ...] = ()

    @classmethod
    def of(cls, shop: Shop, machine: Machine) -> Standards:
        """Those of a shop and its machine; a rack of unknown size has the highest place the shop's cutters have.

        Parameters
        ----------
        shop : Shop
            Whose minutes and cutters count.
        machine : Machine
            For its cutter change and its rack.
        """
        said, times = shop.rates.minutes, dict(MINUTES)
        for name in MINUTES:
            instead = _INSTEAD.get(name, ())
            if name in said:
                times[name] = said[name]
            elif instead and all(key in said for key in instead):
                times[name] = sum(said[key] for key in instead)
        numbers = [c.number for c in shop.cutters.values() if c.number]
        places = machine.rack_places or max(numbers, default=1)
        return cls(cutter_change=machine.times.cutter_change, places=places).with_(**times)

    def with_(self, **changes: Any) -> Standards:
        """The same with some fields changed."""
        return replace(self, **changes)


@dataclass(frozen=True)
class Work:
    """What is to be put in order.

    Parameters
    ----------
    batches : tuple of Batch
        In the order of the job file: by program, then by part.
    precedences : tuple of Precedence
        Without circles.
    standards : Standards
        What changes cost.
    notes : tuple of str
        What a second look is worth.
    said : tuple of str
        The order the job file says; empty where it says none.
    """

    batches: tuple[Batch, ...]
    precedences: tuple[Precedence, ...] = ()
    standards: Standards = field(default_factory=Standards)
    notes: tuple[str, ...] = ()
    said: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        names = [b.name for b in self.batches]
        faults = []
        for b in self.batches:
            if len(set(b.cutters)) > self.standards.places:
                message = (
                    f"'{b.name}' needs {len(set(b.cutters))} cutters and the rack has {self.standards.places} places"
                )
                faults.append(Fault(message, "divide the program, or give the rack more places"))
        for p in self.precedences:
            for name in {p.before, p.after} - set(names):
                faults.append(Fault(f"there is no load '{name}'", did_you_mean(name, names)))
        if len(set(names)) < len(names):
            faults.append(Fault("two loads have the same name", "give each its own"))
        if self.standards.places < len(set(self.standards.standing)):
            message = f"{len(set(self.standards.standing))} cutters cannot stand in {self.standards.places} places"
            faults.append(Fault(message, "check which stand in the rack"))
        raise_all(faults)
        if circle := _circle(self.precedences):
            message = "loads wait for each other: " + ", which is after ".join(f"'{n}'" for n in circle)
            raise InputError(Fault(message, "take one 'after' out"))

    def batch(self, name: str) -> Batch:
        """The batch of that name."""
        return next(b for b in self.batches if b.name == name)


def work(
    job: Job,
    shop: Shop | None = None,
    *,
    standards: Standards | None = None,
    estimate: Estimate | None = None,
) -> Work:
    """The batches of a job and what must come before what.

    Parameters
    ----------
    job : Job
        From ``open_job``.
    shop : Shop, optional
        Whose minutes count; None takes the one the job was read for.
    standards : Standards, optional
        Instead of the shop's.
    estimate : Estimate, optional
        Of the same job: its machine times join each batch's own minutes, so that a day can be drawn.

    Raises
    ------
    InputError
        When programs wait for each other in a circle, or a program needs more cutters than the rack has places.
    """
    shop = job.shop if shop is None else shop
    standards = Standards.of(shop, job.machine) if standards is None else standards
    machine = {t.program.id: t for t in estimate.programs} if estimate is not None else {}
    each = sum(shop.rates.minutes.get(key, seconds) for key, seconds in _EACH_LOAD.items())
    parts, programs = [p.id for p in job.parts], [p.id for p in job.programs]
    batches, done = [], {}
    for load in sorted(job.loads, key=lambda x: (programs.index(x.program), parts.index(x.part))):
        count = load.count * job.quantity
        name = f"{load.program}/{load.part}"
        done[name] = [o for _, o in job.operations(load.program, load.part)]
        time = machine.get(load.program)
        extra = [c for c in time.cutters if c not in _cutters(done[name])] if time and len(job.loads) else []
        batches.append(
            Batch(
                name,
                load.program,
                load.part,
                (station := next(p.station for p in job.programs if p.id == load.program)),
                count,
                (*(extra if any(isinstance(o, Carve) for o in done[name]) else ()), *_cutters(done[name])),
                _held(job, load, station),
                count * (each + (time.best if time else 0.0)),
            )
        )
    notes: list[str] = []
    return Work(tuple(batches), tuple(_precedences(job, batches, done, notes)), standards, tuple(notes), job.order)


def _cutters(operations: Iterable[Operation]) -> tuple[str, ...]:
    """Ids in order of use: a relief is roughed before, and cleaned up after its finishing cutter."""
    used: list[str] = []
    for o in operations:
        rough, clean = (o.rough_cutter, o.clean_cutter) if isinstance(o, Carve) else (None, None)
        used += [c for c in (rough, o.cutter, clean) if c and c != "none"]
    return tuple(dict.fromkeys(used))


def _held(job: Job, load: Load, station: StationName) -> tuple[float, ...]:
    """Sizes along the two level axes: heights are found for each part."""
    there = job.machine.stations.get(station)
    axes = there.part_axes if there else PART_AXES[station]
    return tuple(round(float(getattr(job.part(load.part), axis)), 3) for axis in axes[:2])


# --- what comes before what -------------------------------------------------------------------------------------------

_JOINTS = ("tenon", "mortise", "groove", "rebate", "sink", "bore")


def _curved(o: Operation) -> bool:
    return isinstance(o, (CutOut, Groove)) and o.rise > 0


#: First, then, why. Within one part; common practice, no source.
_RULES: tuple[tuple[Callable[[Operation], bool], Callable[[Operation], bool], str], ...] = (
    (lambda o: o.kind == "face", lambda o: o.kind != "face", "the reference face comes before what is set out from it"),
    (
        lambda o: o.kind in _JOINTS and not _curved(o),
        _curved,
        "joints before curves: a straight edge is what stops and clamps hold",
    ),
    (
        lambda o: o.kind == "carve",
        lambda o: o.kind == "raise",
        "the relief is carved while the border still lies flat",
    ),
    (
        lambda o: o.kind != "cut out",
        lambda o: o.kind == "cut out",
        "the cut-out comes last: it takes away what the part is held and found by",
    ),
    (
        lambda o: isinstance(o, CutOut) and o.side == "inside",
        lambda o: isinstance(o, CutOut) and o.side == "outside",
        "openings before the outline: the whole blank holds better",
    ),
)


def _reason(first: Sequence[Operation], then: Sequence[Operation]) -> str | None:
    """Why the first goes before the second; None where no rule says so."""
    for earlier, later, why in _RULES:
        if any(earlier(o) for o in first) and any(later(o) for o in then):
            return why
    return None


def _precedences(
    job: Job, batches: Sequence[Batch], done: Mapping[str, Sequence[Operation]], notes: list[str]
) -> Iterator[Precedence]:
    """What the user says, then the rules as far as they do not speak against it or against each other."""
    waits = {p.id: p.after for p in job.programs}
    kept = [
        Precedence(a.name, b.name, f"'{b.program}' is said to come after '{a.program}'")
        for b in batches
        for a in batches
        if a.program in waits[b.program]
    ]
    yield from kept
    for i, a in enumerate(batches):
        for b in batches[i + 1 :]:
            if a.part != b.part:
                continue
            ahead, back = _reason(done[a.name], done[b.name]), _reason(done[b.name], done[a.name])
            if ahead and back:
                asked = Precedence(a.name, b.name, "each holds what should come first: they stay as in the job file")
                notes.append(
                    f"part '{a.part}': programs '{a.program}' and '{b.program}' each hold something that should come "
                    f"before the other ({ahead}; {back}); their order is the job file's: dividing one would mend it"
                )
            elif ahead:
                asked = Precedence(a.name, b.name, ahead)
            elif back:
                asked = Precedence(b.name, a.name, back)
            else:
                continue
            if (asked.before, asked.after) in {(p.before, p.after) for p in kept}:
                continue
            if _circle([*kept, asked]):
                notes.append(f"{asked}: left out, because the job says otherwise")
                continue
            kept.append(asked)
            yield asked


def _circle(precedences: Iterable[Precedence]) -> list[str]:
    waits: dict[str, set[str]] = {}
    for p in precedences:
        waits.setdefault(p.after, set()).add(p.before)
    try:
        graphlib.TopologicalSorter(waits).prepare()
    except graphlib.CycleError as e:
        return list(reversed(e.args[1]))
    return []
