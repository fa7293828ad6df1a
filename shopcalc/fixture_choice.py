"""Which of the shop's fixtures to hold a load with, and after how many jobs a new one has paid for itself."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from shopcalc.cutting.engagement import require_positive
from shopcalc.cutting.limits import Limit
from shopcalc.holding.collisions import check_clear
from shopcalc.holding.fixtures import Fixture, Placed
from shopcalc.jobs.reading import Job
from shopcalc.load_holding import Work, firmness, own_fixtures, stands_on, work_of
from shopcalc.units import System, write, write_time

_NEAR = 0.85  # share of a bound up to which a load is held well: what the reserve of hard bounds keeps free
_MOST = 8  # of one kind on one load
_LAPS = (30.0, 15.0)  # mm; how far a clamp reaches over the part, tried in this order
_STEPS = (9, 5)  # places tried along a longer and a shorter edge


@dataclass(frozen=True, eq=False)
class Choice:
    """One kind of fixture for one load.

    Parameters
    ----------
    fixture : Fixture
        Which.
    placed : tuple of Placed
        Where each stands, stops included; empty where none would do.
    firm : tuple of Limit
        Lifts, slips, tips and springs with these, tightest first.
    to_set : float
        By hand for each load [s].
    missing : int
        More of them than the shop owns [-].
    refused : str
        Why it does not hold this load; empty where it does.
    """

    fixture: Fixture
    placed: tuple[Placed, ...]
    firm: tuple[Limit, ...]
    to_set: float
    missing: int = 0
    refused: str = ""

    @property
    def used(self) -> float:
        """Greatest share of a bound that is used [-]."""
        return max((x.used if x.used is not None else math.inf for x in self.firm), default=0.0)

    @property
    def count(self) -> int:
        """How many press the part [-]."""
        return sum(p.fixture.id == self.fixture.id for p in self.placed)

    def says(self, system: System = "metric") -> str:
        """In one sentence.

        Parameters
        ----------
        system : {"metric", "inch"}
            What the reader thinks in.
        """
        if self.refused:
            return f"{self.fixture.title}: no, {self.refused}"
        stops = len(self.placed) - self.count
        beside = f" and {stops} stops" if stops else ""
        lacks = f"; {self.missing} more than the shop owns" if self.missing else ""
        used = f"{100 * self.used:.0f} % of the tightest bound used" if self.firm else "nothing pushes sideways"
        places = "; ".join(
            f"{p.name} at x {write(p.x, 'length', system)}, y {write(p.y, 'length', system)}" for p in self.placed
        )
        return f"{self.fixture.title}: {self.count}{beside}, {write_time(self.to_set)} a load, {used}{lacks}: {places}"


@dataclass(frozen=True)
class PayBack:
    """What a fixture to be bought or made saves.

    Parameters
    ----------
    cost : Decimal
        Price and hours to make, of all that are missing [currency].
    saved : Decimal
        In one job, wear of the fixture taken off [currency].
    jobs : float
        Until it is paid back; infinite where nothing is saved [-].
    """

    cost: Decimal
    saved: Decimal
    jobs: float


def pays_back(fixture: Fixture, count: int, saved: float, loads: int, rate: Decimal) -> PayBack:
    """Jobs until fixtures to be bought or made are paid back.

    Parameters
    ----------
    fixture : Fixture
        Which.
    count : int
        How many more are needed [-].
    saved : float
        Time by hand saved at each load, against the best way with what is there [s].
    loads : int
        Of one job [-].
    rate : Decimal
        What an hour of the person must bring in [currency/h].

    Returns
    -------
    PayBack
        Cost over what one job saves (definition). Of a fixture that wears, each load uses up its share of the cost.

    Example
    -------
    >>> jig = Fixture("jig", "jig", "clamp", force=900.0, price=Decimal(40), to_make=3600.0)
    >>> pays_back(jig, 2, saved=60.0, loads=50, rate=Decimal(60)).jobs
    4.0
    """
    require_positive(count=count, loads=loads)
    cost = count * (fixture.price + rate * Decimal(str(fixture.to_make)) / 3600)
    wear = cost / fixture.lasts * loads if fixture.lasts else Decimal(0)
    gain = rate * Decimal(str(saved)) / 3600 * loads - wear
    return PayBack(cost, gain, float(cost / gain) if gain > 0 else math.inf)


def pay_backs(job: Job, program: str, part: str, found: Sequence[Choice]) -> tuple[tuple[Choice, PayBack], ...]:
    """For each choice that lacks fixtures, whether getting them pays against the best way with what is there.

    Parameters
    ----------
    job : Job
        From ``open_job``; its shop's rate for setting up counts.
    program, part : str
        Ids of the load.
    found : sequence of Choice
        From ``choices``.

    Returns
    -------
    tuple of (Choice, PayBack)
        Soonest paid back first; empty where the shop has nothing to compare with.
    """
    good = [c for c in found if not c.refused]
    own = [c.to_set for c in good if not c.missing]
    if not own:
        return ()
    loads = job.quantity * sum(x.count for x in job.loads if (x.program, x.part) == (program, part))
    rate = job.shop.rates.people["setup"]
    out = [(c, pays_back(c.fixture, c.missing, min(own) - c.to_set, loads, rate)) for c in good if c.missing]
    return tuple(sorted(out, key=lambda x: x[1].jobs))


def job_entries(placed: Sequence[Placed], program: str, part: str, system: System = "metric") -> list[dict[str, str]]:
    """Fixtures as the ``[[clamps]]`` tables of a job file have them.

    Parameters
    ----------
    placed : sequence of Placed
        Of one load.
    program, part : str
        Its ids.
    system : {"metric", "inch"}
        Of the lengths, to four places.
    """

    def length(v: float) -> str:  # downwards: a pad at the part's far edge stays on it
        unit, name = (25.4, "in") if system == "inch" else (1.0, "mm")
        return f"{math.floor(v / unit * 1e4 + 1e-6) / 1e4:.4f}".rstrip("0").rstrip(".") + f" {name}"

    out = []
    for p in placed:
        entry = {"program": program, "part": part, "fixture": p.fixture.id, "name": p.name,
                 "x": length(p.x), "y": length(p.y)}  # fmt: skip
        if abs(p.turn) > 1e-9:
            entry["turn"] = f"{math.degrees(p.turn):g} deg"
        if p.fixture.force > 0 and p.pad != (p.x, p.y):
            entry |= {"presses_x": length(p.pad[0]), "presses_y": length(p.pad[1])}
        if p.stops is not None:
            k = 0 if p.stops[0] else 1
            entry["stops"] = f"{'+' if p.stops[k] > 0 else '-'}{'xy'[k]}"
        out.append(entry)
    return out


def choices(job: Job, program: str, part: str, *, margin: float = 3.0, waste: float = 0.0) -> tuple[Choice, ...]:
    """Ways to hold one load with what the shop's ``fixtures.toml`` names.

    Parameters
    ----------
    job : Job
        From ``open_job``.
    program, part : str
        Ids of the load.
    margin : float
        That every move keeps from every fixture [mm].
    waste : float
        Wood of the blank round the part, where bolts may go [mm].

    Returns
    -------
    tuple of Choice
        One for each thing that presses: first those the shop has enough of, least minutes first; then those it lacks;
        then those that do not do, with the reason. The least number is the least of the sets tried, which are spread
        as far apart as places are free; a cleverer set may need one less.

    Raises
    ------
    InputError
        When program or part is not in the job, or its fixtures have faults.
    """
    work, own = work_of(job, program, part), own_fixtures(job)
    stops = _stops(work, own, margin)
    out = [_choice(work, f, stops, margin, waste) for f in own.values() if f.force > 0]
    return tuple(sorted(out, key=lambda c: (bool(c.refused), c.missing > 0, c.to_set, c.used)))


def _choice(work: Work, fixture: Fixture, stops: Sequence[Placed], margin: float, waste: float) -> Choice:
    refused = _not_taken(work, fixture, waste)
    free = [] if refused else _free(work, _places(work, fixture, waste), margin)
    if not refused and not free:
        refused = "every place for it is in the way of a move"
    if refused:
        return Choice(fixture, (), (), 0.0, 0, refused)
    best, last = None, None
    for beside in (tuple(stops), ()) if stops else ((),):
        for count in range(1, min(_MOST, len(free)) + 1):
            room = [p for p in free if not any(_meet(p, q) for q in beside)]
            sets = _spread(room, count)
            tried = [_judged(work, (*_numbered(s, fixture), *beside), fixture, waste) for s in sets]
            if not tried:
                break
            last = min((*tried, *([last] if last else [])), key=lambda c: c.used)
            found = min(tried, key=lambda c: c.used)
            if found.used <= _NEAR:
                better = best is None or (found.missing > 0, found.to_set) < (best.missing > 0, best.to_set)
                best = found if better else best
                break
    if best is not None:
        return best
    worst = last.firm[0] if last and last.firm else None
    told = (
        f"{worst.name} at {100 * (worst.used or 0):.0f} % with {last.count}: {worst.remedy}" if worst and last else ""
    )
    return Choice(fixture, (), last.firm if last else (), 0.0, 0, told or "no set of them stands on the part")


def _numbered(places: Sequence[Placed], fixture: Fixture) -> tuple[Placed, ...]:
    return tuple(replace(p, name=f"{fixture.id} {k}") for k, p in enumerate(places, 1))


def _judged(work: Work, placed: tuple[Placed, ...], fixture: Fixture, waste: float) -> Choice:
    """How firmly these hold; the blank is the part with its waste where bolts go through that."""
    to_set = sum(p.fixture.to_set for p in placed)
    count = sum(p.fixture.id == fixture.id for p in placed)
    missing = 0 if fixture.owned is None else max(0, count - fixture.owned)
    return Choice(fixture, placed, firmness(work, placed, waste if fixture.kind == "bolt" else 0.0), to_set, missing)


def _not_taken(work: Work, fixture: Fixture, waste: float) -> str:
    """Why a fixture does not take this part at all."""
    x, y, z = work.size
    if not work.moves.cutting.any():
        return "no path of this load is known yet"
    if set(work.moves.cutter[work.moves.cutting].tolist()) - set(work.bodies):
        return "a cutter of this load is not in the rack, so nobody knows where it comes"
    if work.station not in fixture.stations:
        return f"it is not for station {work.station}"
    if min(x, y) < fixture.smallest or max(x, y) > fixture.largest:
        return "the part is too small for it" if min(x, y) < fixture.smallest else "the part is too large for it"
    if not fixture.thinnest <= z <= fixture.thickest:
        return "the part is too thin for it" if z < fixture.thinnest else "the part is too thick for it"
    if fixture.kind == "bolt" and waste < 1.5 * fixture.diameter:
        return "it goes through waste round the part, and there is too little"
    return ""


def _free(work: Work, places: Sequence[Placed], margin: float) -> list[Placed]:
    """Those that every move keeps clear of; none where a cutter is not known."""
    named = [replace(p, name=str(k)) for k, p in enumerate(places)]
    found = check_clear(work.moves, work.bodies, [p.keep_out() for p in named], margin=margin)
    met = {c.keep_out for c in found.collisions}
    return [] if found.unchecked else [p for p in named if p.name not in met]


def _places(work: Work, fixture: Fixture, waste: float) -> list[Placed]:
    """Where one of a kind could stand, whether or not a move comes there."""
    x, y, z = work.size
    on = stands_on(fixture, z)
    if fixture.kind == "vacuum":
        a, b = fixture.length / 2, fixture.width / 2
        return [Placed(fixture, u, v, on=on) for u in _along(x, a, 5) for v in _along(y, b, 5)]
    if fixture.kind == "bolt":
        w = waste / 2
        ends = [(u, v) for u in _along(x, 0.0, _STEPS[0]) for v in (-w, y + w)]
        sides = [(u, v) for u in (-w, x + w) for v in (-w, *_along(y, 0.0, _STEPS[1]), y + w)]
        return [Placed(fixture, u, v, on=on) for u, v in (*ends, *sides)]
    laps = _LAPS if fixture.height > z else (0.0,)  # a low one stands beside the part and presses its edge
    return [p for lap in laps for p in _along_edges(work, fixture, lap)]


def _along_edges(work: Work, fixture: Fixture, lap: float) -> Iterator[Placed]:
    x, y, z = work.size
    out, inside = fixture.length / 2 - lap, lap / 2
    on, half = stands_on(fixture, z), fixture.width / 2
    if fixture.diameter > 0:
        out, half = fixture.diameter / 2 - lap, fixture.diameter / 2
    many = _STEPS if x >= y else _STEPS[::-1]
    for u in _along(x, half, many[0]):
        yield Placed(fixture, u, -out, math.pi / 2, on, (u, inside))
        yield Placed(fixture, u, y + out, math.pi / 2, on, (u, y - inside))
    for v in _along(y, half, many[1]):
        yield Placed(fixture, -out, v, 0.0, on, (inside, v))
        yield Placed(fixture, x + out, v, 0.0, on, (x - inside, v))


def _along(length: float, half: float, most: int) -> list[float]:
    """Places evenly from one end to the other, each with its half length within; the middle where it is longer."""
    if length <= 2 * half:
        return [length / 2] if most else []
    step = (length - 2 * half) / (most - 1)
    return [half + k * step for k in range(most)]


def _stops(work: Work, own: dict[str, Fixture], margin: float) -> tuple[Placed, ...]:
    """A stop against each side, of the strongest the shop has enough of; none where fewer than three stay clear."""
    x, y, z = work.size
    fits = [f for f in own.values() if f.kind == "stop" and f.height > 0 and work.station in f.stations
            and (f.owned is None or f.owned >= 3)]  # fmt: skip
    if not fits or not work.moves.cutting.any():
        return ()
    stop = max(fits, key=lambda f: f.bears)
    out = max(stop.diameter, stop.width) / 2
    sides = (
        ((u, -out), (0.0, -1.0)) for u in _along(x, x / 4, 3)
    ), (((u, y + out), (0.0, 1.0)) for u in _along(x, x / 4, 3)), (
        ((-out, v), (-1.0, 0.0)) for v in _along(y, y / 4, 3)
    ), (((x + out, v), (1.0, 0.0)) for v in _along(y, y / 4, 3))  # fmt: skip
    found = list[Placed]()
    for side in sides:
        tried = [Placed(stop, *at, on=-z, stops=way) for at, way in side]
        if free := _free(work, tried, margin):
            found.append(replace(free[len(free) // 2], name=f"{stop.id} {len(found) + 1}"))
    most = len(found) if stop.owned is None else min(len(found), stop.owned)
    return tuple(found[:most]) if most >= 3 else ()


def _spread(free: Sequence[Placed], count: int) -> Iterator[tuple[Placed, ...]]:
    """Sets of so many that do not stand in each other, from every first place on always the furthest pad."""
    seen = set[frozenset[str]]()
    for first in free:
        chosen = [first]
        while len(chosen) < count:
            left = [p for p in free if not any(_meet(p, q) for q in chosen)]
            if not left:
                break
            chosen.append(max(left, key=lambda p: min(math.dist(p.pad, q.pad) for q in chosen)))
        key = frozenset(p.name for p in chosen)
        if len(chosen) == count and key not in seen:
            seen.add(key)
            yield tuple(chosen)


def _meet(one: Placed, other: Placed) -> bool:
    """Whether the upright boxes round two bodies overlap from above; all stand along x or y."""
    (a, b), (c, d) = _half(one), _half(other)
    return abs(one.x - other.x) < a + c and abs(one.y - other.y) < b + d


def _half(p: Placed) -> tuple[float, float]:
    f = p.fixture
    if f.diameter > 0:
        return f.diameter / 2, f.diameter / 2
    return (f.width / 2, f.length / 2) if abs(math.sin(p.turn)) > 0.5 else (f.length / 2, f.width / 2)
