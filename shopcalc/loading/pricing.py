"""What an order of batches costs, and which cutters stand in the rack when."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from shopcalc.documents.blocks import Table
from shopcalc.documents.plain import as_lines
from shopcalc.errors import Fault, did_you_mean, raise_all
from shopcalc.loading.batches import Batch, Precedence, Standards, Work
from shopcalc.sources import table_for_people

if TYPE_CHECKING:
    import pandas as pd

#: Kinds of time that depend on the order, as people read them.
KINDS: dict[str, str] = {
    "change_station": "to another station",
    "change_fixture": "stops and clamps",
    "change_program": "next program",
    "change_part": "next stack of parts",
    "cutter_change": "cutter changes between loads",
    "load_into_rack": "cutters into the rack",
}


def change(a: Batch | None, b: Batch, s: Standards) -> dict[str, float]:
    """What it takes from the end of one batch to the first cut of the next, the rack apart.

    Parameters
    ----------
    a : Batch or None
        The one before; None begins the job with an empty spindle.
    b : Batch
        The next.
    s : Standards
        What changes cost.

    Returns
    -------
    dict
        Kind of ``KINDS`` to its time, only those that are met [s].
    """
    other_place = a is None or a.station != b.station
    met = {
        "change_station": other_place,
        "change_fixture": other_place or a is None or a.program != b.program or a.held != b.held,
        "change_program": a is None or a.program != b.program,
        "change_part": a is None or a.part != b.part,
        "cutter_change": bool(b.cutters) and (a is None or a.cutters[-1:] != b.cutters[:1]),
    }
    return {kind: float(getattr(s, kind)) for kind, yes in met.items() if yes and getattr(s, kind)}


@dataclass(frozen=True)
class Standing:
    """The rack while one batch runs.

    Parameters
    ----------
    cutters : tuple of str
        What stands in it, by name.
    put_in, taken_out : tuple of str
        What was changed before.
    """

    cutters: tuple[str, ...]
    put_in: tuple[str, ...]
    taken_out: tuple[str, ...]


def rack(order: Sequence[Batch], places: int, standing: Iterable[str] = ()) -> tuple[Standing, ...]:
    """Which cutters stand in the rack while each batch runs, with the fewest put in for this order.

    Parameters
    ----------
    order : sequence of Batch
        As they are run; none needs more cutters than there are places.
    places : int
        Of the rack [-].
    standing : iterable of str
        In it at the start.

    Returns
    -------
    tuple of Standing
        One for each batch.

    Notes
    -----
    A cutter goes in when it is needed; to make room the one goes out whose next use is farthest away. For a fixed
    order no other rule puts in fewer (L. A. Belady 1966 for pages of a store; C. S. Tang and E. V. Denardo 1988 for
    tools of a machine; both from memory: the tests compare with every possible choice).
    """
    uses: dict[str, list[int]] = {}
    for i, b in enumerate(order):
        for c in b.cutters:
            uses.setdefault(c, []).append(i)

    def next_use(cutter: str, now: int) -> tuple[float, str]:
        return next((float(i) for i in uses.get(cutter, ()) if i > now), float("inf")), cutter

    there, out = set(standing), []
    for i, b in enumerate(order):
        needed = set(b.cutters)
        put_in = [c for c in dict.fromkeys(b.cutters) if c not in there]
        surplus = len(there) + len(put_in) - places
        idle = sorted(there - needed, key=lambda c: next_use(c, i), reverse=True)
        gone = idle[: max(surplus, 0)]
        there = (there - set(gone)) | needed
        out.append(Standing(tuple(sorted(there)), tuple(put_in), tuple(gone)))
    return tuple(out)


@dataclass(frozen=True)
class Step:
    """One batch in its place.

    Parameters
    ----------
    batch : Batch
        Which.
    seconds : mapping
        Kind of ``KINDS`` to what comes before it begins [s].
    rack : Standing
        While it runs.
    why : str
        Why here, for people.
    """

    batch: Batch
    seconds: Mapping[str, float]
    rack: Standing
    why: str

    @property
    def before(self) -> float:
        """All that comes before it begins [s]."""
        return sum(self.seconds.values())


@dataclass(frozen=True)
class LoadPlan:
    """Batches in an order, priced.

    Parameters
    ----------
    work : Work
        What was put in order.
    steps : tuple of Step
        In order.
    lower_bound : float
        No order that keeps every precedence takes less [s]; proven by the solver.
    proven : bool
        Whether the order found was proven to be the best one.
    file_seconds : float
        What the order of the job file takes [s].
    file_broken : tuple of Precedence
        What the order of the job file breaks.
    broken : tuple of Precedence
        What this order breaks; only a person's own order can.
    by : {"found", "said"}
        Whether the order was searched or said by a person.
    """

    work: Work
    steps: tuple[Step, ...]
    lower_bound: float
    proven: bool
    file_seconds: float
    file_broken: tuple[Precedence, ...] = ()
    broken: tuple[Precedence, ...] = ()
    by: str = "found"

    @property
    def order(self) -> tuple[str, ...]:
        """Names of the batches."""
        return tuple(s.batch.name for s in self.steps)

    @property
    def seconds(self) -> float:
        """All that depends on the order [s]."""
        return sum(s.before for s in self.steps)

    @property
    def by_kind(self) -> dict[str, float]:
        """Kind of ``KINDS`` to its time in the whole job [s]."""
        return {kind: sum(s.seconds.get(kind, 0.0) for s in self.steps) for kind in KINDS}

    @property
    def gap(self) -> float | None:
        """How much of its time an order still unknown might save at most [ratio]; None where this one breaks rules."""
        if self.broken:
            return None
        return max(self.seconds - self.lower_bound, 0.0) / self.seconds if self.seconds else 0.0

    def frame(self) -> pd.DataFrame:
        """Step by step, as a table."""
        rows, begins = [], 0.0
        for i, s in enumerate(self.steps, 1):
            begins += s.before
            rows.append(
                {
                    "step": i, "load": s.batch.name, "station": s.batch.station, "clampings": s.batch.loads,
                    "cutters": ", ".join(s.batch.cutters), "into_rack": ", ".join(s.rack.put_in),
                    "out_of_rack": ", ".join(s.rack.taken_out), "change_min": s.before / 60, "why": s.why,
                }
            )  # fmt: skip
        return table_for_people(rows, {"step": "-", "clampings": "-", "change_min": "min"}, "step")

    def table(self) -> Table:
        """Step by step, for a terminal, a page or a workbook."""
        rows = [
            (
                str(i), s.batch.name, str(s.batch.station), str(s.batch.loads), ", ".join(s.batch.cutters),
                ", ".join(s.rack.put_in), f"{s.before / 60:.1f}", s.why,
            )
            for i, s in enumerate(self.steps, 1)
        ]  # fmt: skip
        head = ("step", "load", "station", "clampings", "cutters", "into the rack", "min", "why here")
        return Table("Order of the loads", head, tuple(rows), frozenset({0, 3, 6}), tuple(self.summary()))

    def as_text(self) -> str:
        """Step by step, for a terminal."""
        return "\n".join(line.rstrip() for line in as_lines(self.table())) + "\n"

    def summary(self) -> list[str]:
        """What it comes to, in lines for people."""
        kinds = ", ".join(f"{KINDS[k]} {v / 60:.1f}" for k, v in self.by_kind.items() if v)
        out = [f"between the loads {self.seconds / 60:.1f} min: {kinds}"]
        least = f"no order takes less than {self.lower_bound / 60:.1f} min"
        if self.broken:
            out += [f"breaks: {p}" for p in self.broken]
            out.append(f"{least} without breaking one")
        elif self.seconds <= self.lower_bound + 1e-6:
            out.append("no order takes less: proven")
        else:
            out.append(f"{least}: proven; whether one takes less than this is not known")
        also = f", and breaks: {'; '.join(str(p) for p in self.file_broken)}" if self.file_broken else ""
        out.append(f"the order of the job file takes {self.file_seconds / 60:.1f} min{also}")
        return [*out, *self.work.notes]

    def to_dict(self) -> dict[str, Any]:
        """The plan as JSON takes it; times in seconds."""
        return {
            "by": self.by,
            "order": list(self.order),
            "change_time_s": self.seconds,
            "change_time_by_kind_s": self.by_kind,
            "lower_bound_s": self.lower_bound,
            "gap": self.gap,
            "proven": self.proven,
            "file_order_change_time_s": self.file_seconds,
            "file_order_breaks": [str(p) for p in self.file_broken],
            "breaks": [str(p) for p in self.broken],
            "steps": [
                {
                    "load": s.batch.name, "program": s.batch.program, "part": s.batch.part, "station": s.batch.station,
                    "clampings": s.batch.loads, "cutters": list(s.batch.cutters), "rack": list(s.rack.cutters),
                    "into_rack": list(s.rack.put_in), "out_of_rack": list(s.rack.taken_out),
                    "change_time_s": s.before, "change_time_by_kind_s": dict(s.seconds),
                    "own_time_s": s.batch.seconds, "why": s.why,
                }
                for s in self.steps
            ],
            "notes": list(self.work.notes),
        }  # fmt: skip


def broken(work: Work, order: Sequence[str]) -> tuple[Precedence, ...]:
    """What an order of names breaks.

    Parameters
    ----------
    work : Work
        With its precedences.
    order : sequence of str
        Every batch once.
    """
    place = {name: i for i, name in enumerate(order)}
    return tuple(p for p in work.precedences if place[p.before] > place[p.after])


def priced(work: Work, order: Sequence[str]) -> tuple[Step, ...]:
    """The steps of an order of names, whatever it breaks.

    Parameters
    ----------
    work : Work
        With its standards.
    order : sequence of str
        Every batch once.
    """
    s, batches = work.standards, [work.batch(name) for name in order]
    racks = rack(batches, s.places, s.standing)
    waits: dict[str, list[Precedence]] = {}
    for p in work.precedences:
        waits.setdefault(p.after, []).append(p)
    steps, place = [], {name: i for i, name in enumerate(order)}
    for a, b, r in zip([None, *batches], batches, racks, strict=False):
        seconds = change(a, b, s)
        if r.put_in and s.load_into_rack:
            seconds["load_into_rack"] = len(r.put_in) * s.load_into_rack
        late = [p for p in waits.get(b.name, ()) if place[p.before] < place[b.name]]
        steps.append(Step(b, seconds, r, _why(a, b, late, place)))
    return tuple(steps)


def _why(a: Batch | None, b: Batch, waits: list[Precedence], place: Mapping[str, int]) -> str:
    """What it shares with the one before, and the latest it had to wait for."""
    words = []
    if a is not None:
        same = [
            (a.program == b.program, "program"),
            (a.station == b.station and a.program != b.program, "station"),
            (a.part == b.part, "part"),
            (a.station == b.station and a.held == b.held, "sizes held"),
            (
                bool(b.cutters) and a.cutters[-1:] == b.cutters[:1],
                f"{b.cutters[0]} in the spindle" if b.cutters else "",
            ),
        ]
        shared = [name for yes, name in same if yes]
        words.append(f"same {', '.join(shared)}" if shared else "")
    if waits:
        last = max(waits, key=lambda p: place[p.before])
        words.append(f"after {last.before} ({last.reason})")
    return "; ".join(w for w in words if w) or ("begins" if a is None else "everything changes")


def with_order(plan: LoadPlan, order: Sequence[str]) -> LoadPlan:
    """The same work in a person's own order, priced; what it breaks is named, not refused.

    Parameters
    ----------
    plan : LoadPlan
        Whose work and lower bound stay.
    order : sequence of str
        "program/part" of every batch, once.

    Raises
    ------
    InputError
        When a name is unknown, missing or twice there; all of them at once.
    """
    names = [b.name for b in plan.work.batches]
    faults = [Fault(f"there is no load '{n}'", did_you_mean(n, names)) for n in dict.fromkeys(order) if n not in names]
    faults += [
        Fault(f"load '{n}' stands {k} times in the order", "keep one") for n, k in Counter(order).items() if k > 1
    ]
    faults += [Fault(f"load '{n}' is missing in the order", "add it") for n in names if n not in order]
    raise_all(faults)
    broke, steps = broken(plan.work, order), priced(plan.work, order)
    best = not broke and sum(s.before for s in steps) <= plan.lower_bound + 1e-6
    return LoadPlan(
        plan.work, steps, plan.lower_bound, best, plan.file_seconds, plan.file_broken, broke, by="said"
    )  # fmt: skip
