"""What a shop could offer for one relief: cutters, steps, one cutter or two, and what each way costs and leaves.

**The measure of fineness**, said plainly: *wood left* is the mean height of wood that stands over the artwork when the
machine is done. Two things add up to it: detail the cutters cannot reach, and the cusps between the lines, whose mean
height is a third of their greatest. A way is kept when no other is both quicker and leaves less wood.

**Two rounds.** What cutters reach is first looked at on a coarser map, and of their lines only every few are drawn and
timed; what is kept is then computed fully. ``Choices.greatest_error`` says by how much the first round was off.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from shopcalc.cutters import Cutter
from shopcalc.cutting.engagement import refuse
from shopcalc.errors import InputError
from shopcalc.learned import Learned
from shopcalc.machines import Machine
from shopcalc.materials import Material
from shopcalc.motion import machine_time
from shopcalc.moves import Floats
from shopcalc.relief.finishing import LineDirection, cusps, stepover_for
from shopcalc.relief.heights import HeightMap
from shopcalc.relief.reach import Outside, profile, shank_room
from shopcalc.relief.roughing import rough
from shopcalc.relief.scheme import (
    SKIM,
    CarvingResult,
    Scheme,
    Step,
    after_roughing,
    carve,
    clean,
    coarser,
    needs_roughing,
    reach_of,
    sampled_seconds,
    step,
)

#: Cusps that are tried, on all but 5 % of the area [mm].
CUSPS: tuple[float, ...] = (0.005, 0.01, 0.02, 0.04, 0.08)
_SQUARES = 60_000  # of the coarser map
_MIDDLE_CUSP = 0.02  # mm at which cleaning up is timed once; its time goes with one over the sideways step
_APART = 3.0  # steps between the lines that are drawn of cleaning up in the first round
_FINISHES = ("ball", "tapered ball", "core-box")
_ROUGHS = ("square end", "ball")
_CLEAN_SHARE = 0.4  # of the area: where more is to clean up, the smaller cutter goes over everything at once
_LEFT_OVER = 0.1  # mm the first of two cutters may leave
_ENOUGH = 1.02  # a way must be so much quicker, or leave so much less, to be worth a line


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
    """

    result: CarvingResult
    wanted_cusp: float
    first_minutes: float
    first_wood_left: float

    @property
    def minutes(self) -> float:
        """Machine time [min]."""
        return self.result.minutes

    @property
    def wood_left(self) -> float:
        """Mean height over the artwork [mm]."""
        return self.result.wood_left


@dataclass(frozen=True, eq=False)
class Choices:
    """All ways worth offering, the quickest first.

    Parameters
    ----------
    kept : tuple of Choice
        None is both quicker and finer than another.
    looked_at : int
        Ways of the first round [-].
    left_out : tuple of str
        Cutters that were not looked at, and why.
    """

    kept: tuple[Choice, ...]
    looked_at: int
    left_out: tuple[str, ...] = ()

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
    most: int = 6,
    progress: Callable[[float], None] | None = None,
) -> Choices:
    """The ways to carve a relief of which none is both quicker and finer than another.

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
        See ``scheme.carve`` [s/m2].
    most : int
        Ways to keep at most, spread evenly over the time [-].
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
    first = _FirstRound(surface, machine, material, direction, outside, learned)
    trials: list[_Trial] = []
    for number, cutter in enumerate(finishers):
        trials += first.of(cutter, [c for c in finishers if _tip(c) < 0.75 * _tip(cutter)], roughers, cusps_wanted)
        tell(0.5 * (number + 1) / len(finishers))
    if not trials:
        refuse("no way was found to carve this relief", "; ".join(left_out) or "give other cutters or other cusps")
    kept = _spread(_undominated(trials), most)
    cache: dict[str, HeightMap] = {}
    found: list[Choice] = []
    for number, trial in enumerate(kept):
        result = carve(surface, trial.scheme, machine, sanding_per_area=sanding_per_area, cache=cache)
        found.append(Choice(result, trial.cusp, trial.minutes, trial.wood))
        tell(0.5 + 0.5 * (number + 1) / len(kept))
    out = [c for c in found if not any(_beats((o.minutes, o.wood_left), (c.minutes, c.wood_left)) for o in found)]
    return Choices(tuple(sorted(out, key=lambda c: c.minutes)), len(trials), tuple(left_out))


def three(found: Choices) -> tuple[Choice, ...]:
    """A quick, a middle and a fine one for the customer.

    Parameters
    ----------
    found : Choices
        All ways.

    Returns
    -------
    tuple of Choice
        The quickest, the one nearest to the geometric mean of both times, the finest; fewer where there are fewer.
    """
    quick, fine = found.kept[0], found.kept[-1]
    middle = math.sqrt(quick.minutes * fine.minutes)
    between = found.kept[1:-1]
    best = min(between, key=lambda c: abs(math.log(c.minutes / middle)), default=None)
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


def _beats(a: tuple[float, float], b: tuple[float, float]) -> bool:
    """Whether the first is no slower and no coarser than the second, and clearly better in one."""
    return a[0] <= b[0] and a[1] <= b[1] and (a[0] * _ENOUGH < b[0] or a[1] * _ENOUGH < b[1])


def _undominated(trials: list[_Trial]) -> list[_Trial]:
    kept: list[_Trial] = []
    for t in sorted(trials, key=lambda t: (t.minutes, t.wood)):
        if not kept or t.wood * _ENOUGH < kept[-1].wood:
            kept.append(t)
    return kept


def _spread(kept: list[_Trial], most: int) -> list[_Trial]:
    """At most so many, the first and the last among them, spread evenly over the logarithm of the time."""
    if len(kept) <= most:
        return kept
    at = np.log([t.minutes for t in kept])
    wanted = np.linspace(at[0], at[-1], most)
    return [kept[i] for i in sorted({int(np.abs(at - w).argmin()) for w in wanted})]


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
    ) -> None:
        self.surface, self.machine, self.material = surface, machine, material
        self.direction, self.outside, self.learned = direction, outside, learned
        self.level = coarser(surface, _SQUARES)
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
                ridge = cusps(after, cutter, across, self.direction).mean / 3
            except InputError:
                continue
            steps = (*before, finishing)
            base = seconds / 60 + rough_minutes + change
            out.append(_Trial(self._scheme(steps), cusp, base, float(left.mean()) + ridge))
            for cleaner, minutes_by_step, lower in cleaning:
                wood = float(np.minimum(left, lower).mean()) + ridge
                near = stepover_for(self.reached(level, cleaner.cutter), cleaner.cutter, cusp, self.direction)
                more = minutes_by_step / near + self.change
                second = self._cleaning(cleaner.cutter, near, left)
                out.append(_Trial(self._scheme((*steps, second)), cusp, base + more, wood))
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
