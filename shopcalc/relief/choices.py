"""What a shop could offer for one relief: cutters, steps, one cutter or two, and what each way costs and leaves.

**The measure of fineness**, said plainly: *wood left* is the mean height of wood that stands over the artwork when the
machine is done. Two things add up to it: detail the cutters cannot reach, and the cusps between the lines, whose mean
height is a third of their greatest. **The measure of effort** is money: machine, the share of it somebody stands by,
and the sanding that the cusps ask for; a quick way that sands for hours is no cheap one. A way is kept when no other is
both cheaper and leaves less wood; what was dropped is named with the way that beats it.

**Feeds.** Ways are compared at the usual feeds (common practice), because a greater one leaves the same wood in the
model and would always win. What the greatest feed the limits allow would make of each kept way stands beside it.

**Two rounds.** What cutters reach is first looked at on a coarser map, and of their lines only every few are drawn and
timed; what is kept is then computed fully. ``Choices.greatest_error`` says by how much the first round was off.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, TypeAlias

import numpy as np

from shopcalc.cutters import Cutter
from shopcalc.cutting.engagement import refuse
from shopcalc.errors import InputError
from shopcalc.learned import Learned
from shopcalc.machines import Machine
from shopcalc.materials import Material
from shopcalc.motion import machine_time
from shopcalc.moves import Floats
from shopcalc.relief.carving import CarvingResult, carve, clean, sanding_hours
from shopcalc.relief.finishing import LineDirection, cusps, stepover_for
from shopcalc.relief.heights import HeightMap
from shopcalc.relief.maps import coarser, reach_of
from shopcalc.relief.outlooks import sampled_seconds
from shopcalc.relief.reach import Outside, profile, shank_room
from shopcalc.relief.roughing import rough
from shopcalc.relief.scheme import SKIM, Scheme, Step, after_roughing, needs_roughing, step

#: Price of machine seconds and sanding hours, in any one currency.
Pricing: TypeAlias = Callable[[float, float], float]

#: Cusps that are tried, on all but 5 % of the area [mm].
CUSPS: tuple[float, ...] = (0.005, 0.01, 0.02, 0.04, 0.08)
_SQUARES = 60_000  # of the coarser map
_MIDDLE_CUSP = 0.02  # mm at which cleaning up is timed once; its time goes with one over the sideways step
_APART = 3.0  # steps between the lines that are drawn of cleaning up in the first round
_SANDING_WEIGHS = 2.0  # machine hours to one of sanding, where nobody says what they cost
_FINISHES = ("ball", "tapered ball", "core-box")
_ROUGHS = ("square end", "ball")
_CLEAN_SHARE = 0.4  # of the area: where more is to clean up, the smaller cutter goes over everything at once
_LEFT_OVER = 0.1  # mm the first of two cutters may leave
_ENOUGH = 1.02  # a way must be so much cheaper, or leave so much less, to be worth a line


@dataclass(frozen=True)
class Faster:
    """A way run at the greatest feeds the limits allow.

    Parameters
    ----------
    seconds : float
        Of the same paths, timed anew [s].
    price : float
        As that of the choice [currency].
    feeds : tuple of (str, float, str)
        Cutter, its feed [mm/min], and the limit that stops there.
    """

    seconds: float
    price: float
    feeds: tuple[tuple[str, float, str], ...]


@dataclass(frozen=True, eq=False)
class Choice:
    """One way that is worth offering.

    Parameters
    ----------
    result : CarvingResult
        Computed fully.
    wanted_cusp : float
        On all but 5 % of the area [mm].
    first_minutes, first_wood_left : float
        What the first round on the coarser map said [min], [mm].
    price : float
        Machine, attended share and sanding [currency].
    faster : Faster or None
        At the greatest feeds; None where the usual ones are the greatest.
    relief : float
        Depth of the artwork [mm].
    """

    result: CarvingResult
    wanted_cusp: float
    first_minutes: float
    first_wood_left: float
    price: float
    faster: Faster | None = None
    relief: float = math.inf

    @property
    def minutes(self) -> float:
        """Machine time [min]."""
        return self.result.minutes

    @property
    def wood_left(self) -> float:
        """Mean height over the artwork [mm]."""
        return self.result.wood_left

    @property
    def title(self) -> str:
        """Cutters and the cusp that was asked for."""
        return _title(self.result.scheme, self.wanted_cusp)


@dataclass(frozen=True)
class Dropped:
    """One way that is not worth offering.

    Parameters
    ----------
    cutters : str
        In their order.
    stepover, wanted_cusp : float
        Of the finishing lines [mm].
    minutes, sanding_hours, price, wood_left : float
        Machine time [min], sanding [h], both together [currency], mean height over the artwork [mm].
    reason : str
        "dearer and coarser than ...", and the like.
    computed_fully : bool
        Else the figures are the first round's.
    """

    cutters: str
    stepover: float
    wanted_cusp: float
    minutes: float
    sanding_hours: float
    price: float
    wood_left: float
    reason: str
    computed_fully: bool = False

    def as_json(self) -> dict[str, Any]:
        """Plain data with units in the keys."""
        return {
            "scheme": self.cutters,
            "stepover_mm": self.stepover,
            "cusp_wanted_mm": self.wanted_cusp,
            "minutes": self.minutes,
            "sanding_hours": self.sanding_hours,
            "price": self.price,
            "wood_left_mm": self.wood_left,
            "reason": self.reason,
            "computed_fully": self.computed_fully,
        }


@dataclass(frozen=True, eq=False)
class Choices:
    """All ways worth offering, the cheapest first.

    Parameters
    ----------
    kept : tuple of Choice
        None is both cheaper and finer than another.
    looked_at : int
        Ways of the first round [-].
    left_out : tuple of str
        Cutters that were not looked at, and why.
    dropped : tuple of Dropped
        All other ways, the cheapest first, each with its reason.
    """

    kept: tuple[Choice, ...]
    looked_at: int
    left_out: tuple[str, ...] = ()
    dropped: tuple[Dropped, ...] = field(default=())

    @property
    def greatest_error(self) -> float:
        """By how much the minutes of the first round were off at most, as a share [-]."""
        return max(abs(c.first_minutes / c.minutes - 1) for c in self.kept)


@dataclass(frozen=True, eq=False)
class _Trial:
    scheme: Scheme
    cusp: float
    minutes: float
    wood: float
    sanding: float
    price: float = 0.0

    @property
    def title(self) -> str:
        return _title(self.scheme, self.cusp)

    def dropped(self, reason: str) -> Dropped:
        return Dropped(
            self.scheme.name, self.scheme.finishing.stepover, self.cusp, self.minutes, self.sanding, self.price,
            self.wood, reason,
        )  # fmt: skip


def _title(scheme: Scheme, cusp: float) -> str:
    return f"{scheme.name} at a cusp of {cusp:g} mm"


def choices(
    surface: HeightMap,
    cutters: Iterable[Cutter],
    machine: Machine,
    material: Material,
    *,
    cusps_wanted: Sequence[float] = CUSPS,
    direction: LineDirection = "x",
    outside: Outside = "nothing",
    learned: Learned | None = None,
    sanding_per_area: float | None = None,
    pricing: Pricing | None = None,
    most: int = 6,
    progress: Callable[[float], None] | None = None,
) -> Choices:
    """The ways to carve a relief of which none is both cheaper and finer than another.

    Parameters
    ----------
    surface : HeightMap
        What shall be carved.
    cutters : iterable of Cutter
        The rack; balls, tapered balls and core-boxes finish, square ends and balls rough.
    machine, material : Machine, Material
        Where and what.
    cusps_wanted : sequence of float
        Heights of cusps to try [mm].
    direction : {"x", "y", "both"} or float
        Of the finishing lines.
    outside : {"nothing", "stock"}
        What stands beyond the map's edge.
    learned : Learned or None
        The shop's own test cuts.
    sanding_per_area : float or None
        See ``carving.carve`` [s/m2].
    pricing : callable or None
        Of machine seconds and sanding hours, e.g. ``quote.carving.pricing``; None counts an hour of sanding as two of
        the machine (reasoning: a person costs more than a router).
    most : int
        Ways to keep at most: the bends of the front of price and wood [-].
    progress : callable or None
        Called with the share done.

    Returns
    -------
    Choices
        The kept ones computed fully.

    Raises
    ------
    InputError
        When no cutter of the rack can finish it.
    """
    tell = progress or (lambda share: None)
    finishers, roughers, left_out = _able(surface, list(cutters))
    if not finishers:
        refuse("no cutter of the rack can finish this relief", "; ".join(left_out) or "add a ball or a tapered ball")
    ask = pricing or (lambda seconds, hours: seconds / 3600 + _SANDING_WEIGHS * hours)
    first = _FirstRound(surface, machine, material, direction, outside, learned, sanding_per_area)
    trials: list[_Trial] = []
    for number, cutter in enumerate(finishers):
        trials += first.of(cutter, [c for c in finishers if _tip(c) < 0.75 * _tip(cutter)], roughers, cusps_wanted)
        tell(0.5 * (number + 1) / len(finishers))
    if not trials:
        refuse("no way was found to carve this relief", "; ".join(left_out) or "give other cutters or other cusps")
    trials = [replace(t, price=ask(60 * t.minutes, t.sanding)) for t in trials]
    front, dropped = _undominated(trials)
    kept = _spread(front, most)
    dropped += [t.dropped("left out for a short table: it lies between two that are offered") for t in front
                if not any(t is k for k in kept)]  # fmt: skip
    cache: dict[str, HeightMap] = {}
    found: list[Choice] = []
    for number, trial in enumerate(kept):
        result = carve(surface, trial.scheme, machine, sanding_per_area=sanding_per_area, cache=cache)
        price = ask(result.seconds, result.sanding_hours)
        found.append(
            Choice(result, trial.cusp, trial.minutes, trial.wood, price, _faster(result, machine, ask), surface.depth)
        )
        tell(0.5 + 0.5 * (number + 1) / len(kept))
    out, late = _best(found)
    dropped = sorted([_beside_the_table(d, out) for d in (*dropped, *late)], key=lambda d: d.price)
    return Choices(tuple(out), len(trials), tuple(left_out), tuple(dropped))


def _best(found: list[Choice]) -> tuple[list[Choice], list[Dropped]]:
    """Ways computed fully that no other beats, the cheapest first, and the others."""
    out, dropped = list[Choice](), list[Dropped]()
    for c in sorted(found, key=lambda c: (c.price, c.wood_left)):
        if not out or c.wood_left < out[-1].wood_left:
            out.append(c)
            continue
        r = c.result
        dropped.append(
            Dropped(
                r.scheme.name, r.scheme.finishing.stepover, c.wanted_cusp, c.minutes, r.sanding_hours, c.price,
                c.wood_left, _reason((c.price, c.wood_left), (out[-1].price, out[-1].wood_left), out[-1].title), True,
            )
        )  # fmt: skip
    return out, dropped


def _beside_the_table(d: Dropped, kept: Sequence[Choice]) -> Dropped:
    """The same with a reason that names a way people can see: one of the table that is no dearer and no coarser."""
    if any(d.reason.endswith(c.title) for c in kept):
        return d
    better = [c for c in kept if c.price <= d.price * _ENOUGH and c.wood_left <= d.wood_left * _ENOUGH]
    if better:
        c = min(better, key=lambda c: c.wood_left)
        return replace(d, reason=_reason((d.price, d.wood_left), (c.price, c.wood_left), c.title))
    near = min(kept, key=lambda c: abs(math.log(c.price / d.price)))
    return replace(d, reason=f"left out for a short table: {near.title} is nearest to it in price")


def _reason(own: tuple[float, float], other: tuple[float, float], title: str) -> str:
    """Why a way is dropped for another that is no dearer."""
    dearer, coarser_ = own[0] > other[0] * _ENOUGH, own[1] > other[1] * _ENOUGH
    if own[1] < other[1]:
        return f"dearer and hardly finer than {title}" if dearer else f"next to the same as {title}"
    words = {
        (True, True): "dearer and coarser than", (True, False): "dearer and no finer than",
        (False, True): "no cheaper and coarser than", (False, False): "next to the same as",
    }  # fmt: skip
    return f"{words[dearer, coarser_]} {title}"


def _faster(result: CarvingResult, machine: Machine, ask: Pricing) -> Faster | None:
    """The same paths at the greatest feeds the limits allow; ways straight down keep theirs."""
    seconds, feeds = result.seconds, list[tuple[str, float, str]]()
    for s in result.steps:
        most = s.step.greatest_feed
        feeds.append((s.step.cutter.id, max(most, s.step.feed), s.step.binds))
        if s.moves is None or most <= s.step.feed:
            continue
        along = s.moves.feed > s.step.plunge_feed + 1e-6
        moves = replace(s.moves, feed=np.where(along, s.moves.feed * most / s.step.feed, s.moves.feed))
        seconds += machine_time(moves, machine).total_s - s.seconds
    if seconds >= result.seconds:
        return None
    return Faster(seconds, ask(seconds, result.sanding_hours), tuple(feeds))


def three(found: Choices) -> tuple[Choice, ...]:
    """A quick, a middle and a fine one for the customer.

    Parameters
    ----------
    found : Choices
        All ways.

    Returns
    -------
    tuple of Choice
        The cheapest, the one nearest to the geometric mean of both prices, the finest; fewer where there are fewer.
    """
    quick, fine = found.kept[0], found.kept[-1]
    middle = math.sqrt(quick.price * fine.price)
    between = found.kept[1:-1]
    best = min(between, key=lambda c: abs(math.log(c.price / middle)), default=None)
    picked = [quick, best, fine] if len(found.kept) > 1 else [quick]
    return tuple(c for c in picked if c is not None)


def _tip(cutter: Cutter) -> float:
    """Radius of the round that finishes [mm]."""
    return profile(cutter).ball


def _able(surface: HeightMap, rack: list[Cutter]) -> tuple[list[Cutter], list[Cutter], list[str]]:
    """Cutters that could finish, those that could rough, and why the others could not."""
    finishers, roughers, left_out = list[Cutter](), list[Cutter](), list[str]()
    rough_map = coarser(surface, _SQUARES)
    for c in rack:
        if c.shape in _ROUGHS and surface.depth <= c.cutting_length and c.centre_cutting:
            roughers.append(c)
        if c.shape not in _FINISHES:
            continue
        notes = shank_room(rough_map, c).notes
        if notes:
            left_out.append(f"{c.id}: {notes[0]}")
        elif any(_same_tip(c, o) for o in finishers):
            left_out.append(f"{c.id}: its tip is that of another one")
        else:
            finishers.append(c)
    return sorted(finishers, key=_tip, reverse=True), sorted(roughers, key=lambda c: c.true_diameter), left_out


def _same_tip(a: Cutter, b: Cutter) -> bool:
    return profile(a) == profile(b)


def _undominated(trials: list[_Trial]) -> tuple[list[_Trial], list[Dropped]]:
    """Ways none of which is both dearer and coarser than another, the cheapest first; the others with reasons."""
    kept, dropped = list[_Trial](), list[Dropped]()
    for t in sorted(trials, key=lambda t: (t.price, t.wood)):
        if not kept or t.wood * _ENOUGH < kept[-1].wood:
            kept.append(t)
        else:
            dropped.append(t.dropped(_reason((t.price, t.wood), (kept[-1].price, kept[-1].wood), kept[-1].title)))
    return kept, dropped


def _spread(kept: list[_Trial], most: int) -> list[_Trial]:
    """At most so many, the first and the last among them, then always the one that gains most.

    What a set gains is the area of price and wood, on logarithms, for which it holds a way that is no dearer and no
    coarser: bends of the front come first, ways that cost much for little last.
    """
    if len(kept) <= most:
        return kept
    price, wood = np.log([t.price for t in kept]), np.log([max(t.wood, 1e-9) for t in kept])

    def gain(chosen: list[int]) -> float:
        at = sorted(chosen)
        return float(np.sum(np.diff(price[at]) * (wood[0] - wood[at[:-1]])))

    taken = [0, len(kept) - 1]
    while len(taken) < most:
        taken.append(max((i for i in range(len(kept)) if i not in taken), key=lambda i: gain([*taken, i])))
    return [kept[i] for i in sorted(taken[:most])]


class _FirstRound:
    """Ways looked at on a coarser map; reach and roughing are computed once for each cutter."""

    def __init__(
        self,
        surface: HeightMap,
        machine: Machine,
        material: Material,
        direction: LineDirection,
        outside: Outside,
        learned: Learned | None,
        sanding_per_area: float | None,
    ) -> None:
        self.surface, self.machine, self.material = surface, machine, material
        self.direction, self.outside, self.learned = direction, outside, learned
        self.level = coarser(surface, _SQUARES)
        self.sanding = [sanding_hours(surface, cusp, sanding_per_area) for cusp in (0.0, 1.0)]  # straight between
        self.reach: dict[str, HeightMap] = {}
        self.change = (machine.times.cutter_change + machine.times.spindle_start) / 60
        self.roughing: dict[str, tuple[Step, float, float]] = {}

    def reached(self, level: HeightMap, cutter: Cutter) -> HeightMap:
        return reach_of(level, cutter, self.outside, self.reach)

    def of(
        self, cutter: Cutter, smaller: Sequence[Cutter], roughers: Sequence[Cutter], wanted: Sequence[float]
    ) -> list[_Trial]:
        """Ways in which one cutter goes over everything."""
        level = self.level
        try:
            probe = step("finish", cutter, self.material, self.machine, stepover=_tip(cutter) / 5, learned=self.learned)
        except InputError:
            return []
        before, rough_minutes = self._roughed(level, probe, roughers)
        after = self.reached(level, cutter)
        left = np.maximum(after.z - level.z, 0.0)
        change = self.change if before else 0.0
        out: list[_Trial] = []
        cleaning = [c for c in (self._cleaned(cutter, s, left) for s in smaller) if c is not None]
        for cusp in wanted:
            try:
                across = stepover_for(after, cutter, cusp, self.direction)
                finishing = step(
                    "finish", cutter, self.material, self.machine, stepover=across,
                    wood=SKIM if before else level.depth, learned=self.learned,
                )  # fmt: skip
                seconds = sampled_seconds(
                    self.surface, finishing, self.machine, direction=self.direction, outside=self.outside
                )
                mean_cusp = cusps(after, cutter, across, self.direction).mean
            except InputError:
                continue
            steps, ridge = (*before, finishing), mean_cusp / 3
            sanding = self.sanding[0] + (self.sanding[1] - self.sanding[0]) * mean_cusp
            base = seconds / 60 + rough_minutes + change
            out.append(_Trial(self._scheme(steps), cusp, base, float(left.mean()) + ridge, sanding))
            for cleaner, minutes_by_step, lower in cleaning:
                wood = float(np.minimum(left, lower).mean()) + ridge
                near = stepover_for(self.reached(level, cleaner.cutter), cleaner.cutter, cusp, self.direction)
                more = minutes_by_step / near + self.change
                second = self._cleaning(cleaner.cutter, near, left)
                out.append(_Trial(self._scheme((*steps, second)), cusp, base + more, wood, sanding))
        return out

    def _scheme(self, steps: tuple[Step, ...]) -> Scheme:
        return Scheme(steps, self.direction, outside=self.outside)

    def _roughed(self, level: HeightMap, finishing: Step, roughers: Sequence[Cutter]) -> tuple[tuple[Step, ...], float]:
        """Roughing before a finishing cutter where it needs any: by the cutter that takes the least time."""
        if not needs_roughing(level, finishing) or not roughers:
            return (), 0.0
        best: tuple[Step, float] | None = None
        for c in roughers:
            if c.id not in self.roughing:
                coarse = coarser(self.surface, _SQUARES)
                try:
                    s = step("rough", c, self.material, self.machine, learned=self.learned)
                    moves = rough(coarse, s.cutting, width_per_pass=s.stepover, skim=s.skim, outside=self.outside)
                except InputError:
                    continue
                stands = after_roughing(coarse, s, self.outside)[0].z - coarse.z
                minutes = machine_time(moves, self.machine).total_s / 60
                self.roughing[c.id] = (s, minutes, float(np.quantile(stands, 0.98)))
            s, minutes, stands_most = self.roughing[c.id]
            if stands_most <= finishing.depth_per_pass and (best is None or minutes < best[1]):
                best = (s, minutes)
        if best is None and self.roughing:  # none leaves little enough: the one that leaves least
            s, minutes, _ = min(self.roughing.values(), key=lambda r: r[2])
            best = (s, minutes)
        return ((best[0],), best[1]) if best else ((), 0.0)

    def _cleaned(self, first: Cutter, cutter: Cutter, left: Floats) -> tuple[Step, float, Floats] | None:
        """A smaller cutter after a larger one: its step, minutes times mm of sideways step, what it leaves."""
        after = self.reached(self.level, cutter)
        lower = np.maximum(after.z - self.level.z, 0.0)
        share = float(((left > _LEFT_OVER) & (left - lower > _LEFT_OVER / 2)).mean())
        if not 0 < share < _CLEAN_SHARE:
            return None
        try:
            s = self._cleaning(cutter, stepover_for(after, cutter, _MIDDLE_CUSP, self.direction), left)
            moves = clean(self.level, s, left, lower, self._scheme((replace(s, role="finish"),)), apart=_APART)
        except InputError:
            return None
        if moves is None:
            return None
        return s, machine_time(moves, self.machine).total_s / 60 * _APART * s.stepover, lower

    def _cleaning(self, cutter: Cutter, across: float, left: Floats) -> Step:
        return step(
            "clean up", cutter, self.material, self.machine, stepover=across, left_over=_LEFT_OVER,
            wood=float(np.quantile(left, 0.98)), learned=self.learned,
        )  # fmt: skip
