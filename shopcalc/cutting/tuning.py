"""Tuning: spindle speed, feed and passes that keep every bound of a cut at least expected cost, or in least time.

Hard bounds are held against the high force and keep a reserve; bounds of quality against the likely one. A setting
from here is where a test cut begins, on scrap, below the speed marked on the cutter and within what the makers of
cutter and machine allow.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from shopcalc.cutters import Cutter
from shopcalc.cutting import limits as lim
from shopcalc.cutting.chipload import mean_share
from shopcalc.cutting.engagement import (
    effective_diameter,
    engagement_angle,
    mean_edge_share,
    pass_count,
    refuse,
    require_positive,
    spindle_speed,
)
from shopcalc.cutting.force import BANDS, Band, Coefficients
from shopcalc.cutting.grain import Direction, Vector, grain_vector
from shopcalc.cutting.limits import Bound, Cut, Hold, Loads, Pass, habit
from shopcalc.cutting.setting import Costs, Setting
from shopcalc.errors import did_you_mean
from shopcalc.machines import Machine, StationName
from shopcalc.materials import Material
from shopcalc.motion import machine_time
from shopcalc.moves import Floats, Moves
from shopcalc.paths.tracing import Cutting, Tracer
from shopcalc.sources import Value
from shopcalc.units import read

__all__ = [
    "Costs", "Goal", "Search", "Setting", "StationName", "ask", "divisions", "grain_angle", "rpm_range",
    "straight_passes", "tune",
]  # fmt: skip
Goal = Literal["cheapest", "quickest"]
Path = Callable[[Cutting], Moves]
_RPM_STEP, _FEED_STEP = 100.0, 10.0  # what operators dial
_MORE_LEVELS, _MORE_STEPS = 12, 3  # passes beyond the fewest that are tried
_SPEEDS, _FEEDS = 31, 51  # of the grid each division into passes is first looked at with
_FINE = 19  # and of the finer one around the best
_NODES = np.array([1.0, 0.62, 0.38, 0.22, 0.12])  # feeds the motion engine times, as shares of the fastest
_AT_BOUND = 0.975  # of what a bound lets one use, from where on it is said to bind
_ONE_IN_TEN = 1.2816  # standard deviations above the median that one in ten exceeds
_LESS_USUAL = 1.002  # conventional has to gain this much: climbing leaves the cleaner edge
_REFINED, _NEAR = 6, 1.08  # how many divisions are looked at again, and how near the best they must come
#: Bounds that no speed, feed or division into passes changes.
FIXED = frozenset(
    {"rubs with the shank", "slips out of the collet", "drives the nut into the wood", "burns when plunged"}
)


def grain_angle(grain: str | float) -> float:
    """Angle between feed and grain: 0 along, a right angle across; nan for end grain.

    Parameters
    ----------
    grain : str or float
        "along", "across", "end", an angle with its unit ("30 deg"), bare degrees as text ("30"), or an angle [rad].

    Returns
    -------
    float
        From the feed to the grain, counter-clockwise seen from above, between minus and plus a right angle; nan for
        "end" [rad].

    Raises
    ------
    InputError
        When it is none of these.

    Example
    -------
    >>> round(math.degrees(grain_angle("150 deg")), 6), math.isnan(grain_angle("end"))
    (-30.0, True)
    """
    words = {"along": 0.0, "across": math.pi / 2, "end": math.nan}
    if isinstance(grain, str):
        word = grain.strip().lower()
        if word in words:
            return words[word]
        if not any(c.isdigit() for c in word):
            refuse(f"grain '{grain}' is not known", f"{did_you_mean(word, words)} or give degrees")
        bare = word.replace(".", "", 1).lstrip("+-").isdigit()
        angle = read(f"{word} deg" if bare else word, "angle")
    else:
        angle = float(grain)
    if not math.isfinite(angle):
        refuse(f"grain angle {grain} is not finite", "give along, across, end or degrees")
    angle = angle % math.pi
    return angle if angle <= math.pi / 2 else angle - math.pi


def tune(
    cutter: Cutter,
    material: Material,
    machine: Machine,
    *,
    station: StationName,
    grain: str | float,
    cut_depth: float,
    cut_width: float,
    clearance: float = 0.0,
    skim: float = 0.0,
    length: float = 1000.0,
    in_solid: bool = False,
    greatest_push_off: float | None = None,
    wear: float = 0.0,
    moisture: float | None = None,
    part: tuple[float, float] | None = None,
    hold: Hold | None = None,
    force: Mapping[Band, Coefficients] | None = None,
    learned: Mapping[str, Value] | None = None,
    direction: Direction | None = None,
    costs: Costs | None = None,
    goal: Goal = "cheapest",
    path: Path | None = None,
) -> Setting:
    """Find speed, feed, passes and direction for a cut in total ``cut_depth`` deep and ``cut_width`` wide.

    Parameters
    ----------
    cutter : Cutter
        Any but a drill.
    material : Material
        Gives the window of the mean chip and the force.
    machine : Machine
        Spindle, greatest feeds, clamps, and the motion the minutes are timed with.
    station : {"flat", "edge", "end"}
        How the part is held; on end the spindle runs with the grain.
    grain : str or float
        See ``grain_angle``.
    cut_depth, cut_width : float
        In total [mm].
    clearance : float
        Of the joint in total; half of it is cut off this side more, negative for a tight fit [mm].
    skim : float
        Wood this cut leaves for one last light pass at full depth, which is counted and timed [mm].
    length : float
        Of the cut, for the minutes; with a ``path`` the length of its shortest pass [mm].
    in_solid : bool
        Whether the first pass has wood on both sides, as in a groove; else the cut begins beside the wood.
    greatest_push_off : float or None
        Error allowed on the finished wall [mm]; None for what practice allows.
    wear : float
        Of the edge, 0 sharp to 1 dull [-].
    moisture : float or None
        Of the wood [ratio]; None for furniture stock.
    part : (2,) float or None
        Width and thickness of a part that stands out of its clamp [mm].
    hold : Hold or None
        Clamps; None for what the machine's station says.
    force : mapping or None
        Band to coefficients the shop measured; None for the shipped ones.
    learned : mapping or None
        What the shop's own ladders bound: "greatest_feed_per_tooth", "greatest_depth".
    direction : {"climb", "conventional"} or None
        Only this one; None for whichever is better.
    costs : Costs or None
        None lets only the minutes count.
    goal : {"cheapest", "quickest"}
        Least expected cost, or the least time that keeps every bound.
    path : callable or None
        Makes the moves from a ``paths.Cutting``; None for straight passes of ``length``.

    Returns
    -------
    Setting
        Deterministic; physical limits that are passed stand in it and are no exception.

    Raises
    ------
    InputError
        When a size is not above zero, station, grain, direction or goal is unknown, the slot is narrower than the
        cutter, or the cutter is a drill.

    Notes
    -----
    Expected cost: minutes x rate, the chance of spoiling the part x its value, and the wear of the edge. Chances take
    the force as spread log-normally with low and high as one in ten; habits and memory are marked in the limits.
    """
    cut = ask(
        cutter, material, machine, station=station, grain=grain, cut_depth=cut_depth, cut_width=cut_width,
        clearance=clearance, skim=skim, length=length, in_solid=in_solid, greatest_push_off=greatest_push_off,
        wear=wear, moisture=moisture, part=part, hold=hold, force=force, learned=learned,
    )  # fmt: skip
    if direction not in (None, "climb", "conventional"):
        refuse(f"direction '{direction}' is not known", "give climb or conventional, or none for the better one")
    if goal not in ("cheapest", "quickest"):
        refuse(f"goal '{goal}' is not known", "give cheapest or quickest")
    return Search(cut, path=path, direction=direction, costs=costs, goal=goal).setting()


def ask(
    cutter: Cutter,
    material: Material,
    machine: Machine,
    *,
    station: StationName,
    grain: str | float,
    cut_depth: float,
    cut_width: float,
    clearance: float = 0.0,
    skim: float = 0.0,
    in_solid: bool = False,
    **more: Any,
) -> Cut:
    """The cut ``tune`` works on, from the words people use; see there for every argument.

    Parameters
    ----------
    cutter, material, machine, station, grain, cut_depth, cut_width, clearance, skim, in_solid, **more
        As in ``tune``.

    Returns
    -------
    Cut

    Raises
    ------
    InputError
        As ``tune``.
    """
    angle = grain_angle(grain)
    lie: StationName = "end" if math.isnan(angle) else station  # end grain on the table meets the edge as on end
    vector: Vector = grain_vector(
        lie if station in ("flat", "edge", "end") else "flat", 0.0 if math.isnan(angle) else angle
    )
    if station == "end" and not math.isnan(angle):
        vector = grain_vector("end")
    require_positive(cut_depth=cut_depth, cut_width=cut_width)
    if not math.isfinite(clearance) or abs(clearance) > cut_width:
        refuse(
            f"a clearance of {clearance:g} mm does not go with a cut of {cut_width:g} mm", "give mortise minus tenon"
        )
    wide = cut_width + clearance / 2
    if in_solid and wide < cutter.true_diameter - 1e-6 and cutter.shape in ("square end", "surfacing", "compression"):
        remedy = "take a smaller cutter, or leave out that the cut is in the solid"
        refuse(f"{cutter.id} of {cutter.true_diameter:g} mm is wider than the slot of {wide:g} mm", remedy)
    return lim.ask(
        cutter, material, machine, station=station, grain=vector, depth=cut_depth, width=wide, skim=skim,
        in_solid=in_solid, **more,
    )  # fmt: skip


def _down(value: float, step: float) -> float:
    """Rounded down to a step, never to zero."""
    return max(step, math.floor(value / step + 1e-9) * step) if value >= step else value


def rpm_range(cut: Cut) -> tuple[float, float]:
    """Slowest and fastest speed that are looked at; the cutter's own bound keeps its reserve.

    Parameters
    ----------
    cut : Cut
        Its cutter and machine count.

    Returns
    -------
    low, high : float
        [rev/min], in steps an operator dials.
    """
    cutter, machine = cut.cutter, cut.machine
    high = lim.cutter_rpm(cutter)[0] * (1 - habit("reserve"))
    high = min(high, float(spindle_speed(cutter.true_diameter, lim.rim_habit(cutter).value / 1000)))
    if machine.spindle is not None:
        high = min(high, machine.spindle.max_rpm)
        low = min(high, machine.spindle.min_rpm)
    else:
        low = high / 3
    high = _down(high, _RPM_STEP)
    return min(high, math.ceil(low / _RPM_STEP) * _RPM_STEP), high


def divisions(cut: Cut, directions: Sequence[Direction] = ("climb", "conventional")) -> Iterator[Pass]:
    """Ways of dividing a cut into levels and side steps, from the fewest on.

    Parameters
    ----------
    cut : Cut
        What is cut.
    directions : sequence of {"climb", "conventional"}
        Which of them.

    Yields
    ------
    Pass
    """
    c = cut.cutter
    fewest = pass_count(cut.depth, min(cut.deepest, c.cutting_length))
    full = float(effective_diameter(c, min(cut.depth, c.cutting_length)))
    for levels in range(fewest, fewest + _MORE_LEVELS + 1):
        level = min(cut.depth / levels, c.cutting_length)
        across = float(effective_diameter(c, level))
        for direction in directions:
            if cut.in_solid:
                width = min(cut.width, across)
                # a pointed or round groove as wide as its depth makes it grows wider level by level
                beside = 0.0 if cut.width <= full + 1e-6 else cut.width - width
                most = min(across, habit("stepover_share") * c.true_diameter)
                steps = 1 + (pass_count(beside, most) if beside > 1e-9 else 0)
                last = beside / (steps - 1) if steps > 1 else None
                yield Pass(levels, steps, level, width, direction, last)
                continue
            first = pass_count(cut.width, across)
            for steps in range(first, first + _MORE_STEPS + 1):
                yield Pass(levels, steps, level, cut.width / steps, direction)


@dataclass(frozen=True)
class _Trial:
    """The best setting of one division into passes."""

    shape: Pass
    rpm: float
    feed: float  # as run
    seconds: float
    worth: float  # what is made least: cost, or seconds

    @property
    def dialled(self) -> tuple[Floats, Floats]:
        """Speed and feed as arrays."""
        return np.asarray(self.rpm), np.asarray(self.feed)


class Search:
    """Looks for the best setting of one cut; what it works out on the way is kept.

    Parameters
    ----------
    cut : Cut
        What is cut.
    path : callable or None
        See ``tune``.
    direction : {"climb", "conventional"} or None
        See ``tune``.
    costs : Costs or None
        See ``tune``.
    goal : {"cheapest", "quickest"}
        See ``tune``.
    """

    def __init__(
        self,
        cut: Cut,
        *,
        path: Path | None = None,
        direction: Direction | None = None,
        costs: Costs | None = None,
        goal: Goal = "cheapest",
    ) -> None:
        self.cut, self.costs = cut, costs
        self.goal: Goal = goal if costs is not None else "quickest"
        self._path = path
        self.low, self.high = rpm_range(cut)
        both: tuple[Direction, ...] = ("climb", "conventional") if direction is None else (direction,)
        self.shapes = list(divisions(cut, both))
        self._loads: dict[Pass, Loads] = {}
        self._moves: dict[tuple[int, int], Moves] = {}
        self._timed: dict[tuple[int, int], dict[float, float]] = {}
        self._grids: dict[Pass, tuple[Floats, Floats, Floats]] = {}
        self._known: dict[tuple[int, int], tuple[float, float]] = {}
        self._overhead = 0.0  # s a pass beyond length over feed, once known
        self.points = 0
        wood = cut.coefficients  # the high force is the one that one in ten exceeds
        terms = [np.log(getattr(wood["high"], k) / getattr(wood["likely"], k)) for k in ("edge", "chip")]
        self._spread = max(float(np.mean(terms)) / _ONE_IN_TEN, 0.02)
        axes = cut.machine.axes
        self.feed_cap = (1 - habit("reserve")) * min(axes[0].feed, axes[1].feed)

    def loads(self, shape: Pass) -> Loads:
        """Forces of one division, made once.

        Parameters
        ----------
        shape : Pass
            Which.

        Returns
        -------
        Loads
        """
        if shape not in self._loads:
            like = next((x for s, x in self._loads.items() if s.direction == shape.direction), None)
            self._loads[shape] = Loads(self.cut, shape, like)
        return self._loads[shape]

    # --- time ---------------------------------------------------------------------------------------------------------

    def fastest(self, shape: Pass) -> float:
        """Greatest feed anything allows: thick end of the window, tooth, machine [mm/min]."""
        per_tooth = self._greatest_per_tooth(shape)
        return max(min(self.feed_cap, self.high * self.cut.cutter.flutes * per_tooth), _FEED_STEP)

    def _greatest_per_tooth(self, shape: Pass) -> float:
        return self._geometry(shape)[0]

    def _geometry(self, shape: Pass) -> tuple[float, float]:
        """Greatest feed per tooth of a division [mm/tooth]; way of an edge through the wood in a turn [mm]."""
        key = (shape.levels, shape.side_steps)
        if key not in self._known:
            c = self.cut.cutter
            level = min(shape.level, c.cutting_length)
            across = float(effective_diameter(c, level))
            width = min(shape.width, across)
            share = float(mean_share(width, across) * mean_edge_share(c, level))
            most = min(self.cut.chip_thick / share, self.cut.greatest_feed_per_tooth)
            self._known[key] = most, float(engagement_angle(width, across)) * across / 2
        return self._known[key]

    def exact_seconds(self, shape: Pass, feed: float) -> float:
        """Time of the whole cut at a feed, by the motion engine [s].

        Parameters
        ----------
        shape : Pass
            Levels and side steps count.
        feed : float
            As run [mm/min].
        """
        key = (shape.levels, shape.side_steps)
        if key not in self._moves:
            self._moves[key] = self._make(shape, self.fastest(shape))
        self.points += 1
        share = feed / self.fastest(shape)  # every feed of the path is a share of the feed asked for
        return machine_time(self._moves[key], self.cut.machine.with_(feed_share=share)).total_s

    def _make(self, shape: Pass, feed: float) -> Moves:
        cut, c = self.cut, self.cut.cutter
        plunge = max(_FEED_STEP, habit("plunge_share") * feed)
        stepover = min(1.0, shape.width / c.true_diameter * (1 + 1e-9))
        cutting = Cutting(
            c, feed, plunge, self.high, shape.level * (1 + 1e-9), stepover=stepover, direction=shape.direction
        )
        if self._path is not None:
            return self._path(cutting)
        return straight_passes(cut, shape, cutting)

    def seconds(self, shape: Pass, feed: Floats) -> Floats:
        """Time at many feeds, interpolated between a few the engine has timed [s].

        Parameters
        ----------
        shape : Pass
            Levels and side steps count.
        feed : (...) float
            As run [mm/min].

        Notes
        -----
        Time x feed is the length plus what starting and stopping add, nearly straight in the feed. For each number of
        side steps the engine times the fewest and the most levels; the work of one pass between them is straight in
        the share of the depth one level takes, because the way down to the passes grows so.
        """
        key = (shape.levels, shape.side_steps)
        if key in self._timed:
            return self._interpolated(key, feed) / feed
        alike = [s for s in self.shapes if s.side_steps == shape.side_steps and s.direction == shape.direction]
        for end in (alike[0], alike[-1]):
            if (end.levels, end.side_steps) not in self._timed:
                self._time(end)
        if key in self._timed:
            return self._interpolated(key, feed) / feed
        ends = [(s.levels, s.side_steps) for s in (alike[0], alike[-1])]
        few, many = (self._interpolated(e, feed) / (e[0] * e[1]) for e in ends)
        share = (1 / shape.levels - 1 / ends[1][0]) / (1 / ends[0][0] - 1 / ends[1][0])
        out: Floats = (many + (few - many) * share) * shape.passes / feed
        return out

    def _time(self, shape: Pass) -> None:
        top = self.fastest(shape)
        timed = {top * float(s): self.exact_seconds(shape, top * float(s)) for s in _NODES}
        extra = timed[top] / shape.passes - 60 * self.cut.length / top
        self._overhead = min(self._overhead, extra) if self._timed else extra
        self._timed[shape.levels, shape.side_steps] = timed

    def _interpolated(self, key: tuple[int, int], feed: Floats) -> Floats:
        """Time x feed between the nodes; straight on beyond them."""
        nodes = np.array(sorted(self._timed[key]))
        work = np.array([self._timed[key][float(f)] * f for f in nodes])
        inner = np.interp(feed, nodes, work)
        slow = work[0] + (work[1] - work[0]) / (nodes[1] - nodes[0]) * (feed - nodes[0])
        out: Floats = np.where(feed < nodes[0], np.maximum(slow, 0.3 * work[0]), inner)
        return out

    # --- search -------------------------------------------------------------------------------------------------------

    def grid(self, shape: Pass) -> tuple[Floats, Floats]:
        """Speeds and feeds one division is first looked at with; each an (n, m) array [rev/min], [mm/min].

        Parameters
        ----------
        shape : Pass
            Which.
        """
        speeds = np.unique(np.round(np.linspace(self.low, self.high, _SPEEDS) / _RPM_STEP) * _RPM_STEP)
        speeds = np.clip(speeds, self.low, self.high)
        most = self._greatest_per_tooth(shape)
        thin = self.cut.chip_thin / max(self.loads(shape).mean_share, 1e-9)
        per_tooth = np.geomspace(min(thin, most) * 0.5, most, _FEEDS)
        per_tooth = np.unique(np.append(per_tooth, min(thin, most)))
        return self._dialled(speeds, per_tooth)

    def _dialled(self, speeds: Floats, per_tooth: Floats) -> tuple[Floats, Floats]:
        rpm, share = np.meshgrid(speeds, per_tooth)
        feed = np.minimum(rpm * self.cut.cutter.flutes * share, self.feed_cap)
        return rpm, np.maximum(np.floor(feed / _FEED_STEP + 1e-9) * _FEED_STEP, _FEED_STEP)

    def penalty(self, shape: Pass, rpm: Floats, feed: Floats, quality: Band | None = "likely") -> Floats:
        """How far bounds are passed that a setting can change; 0 where all are kept [-].

        Parameters
        ----------
        shape : Pass
            Which division.
        rpm, feed : (...) float
            [rev/min], as run [mm/min].
        quality : {"low", "likely", "high"} or None
            Force at which push-off is judged; None leaves it out.
        """
        return self._over(lim.bounds(self.loads(shape), rpm, feed, quality=quality), rpm, feed)

    @staticmethod
    def _over(bounds: Sequence[Bound], rpm: Floats, feed: Floats) -> Floats:
        out = np.zeros(np.broadcast_shapes(np.shape(rpm), np.shape(feed)))
        for b in bounds:
            if b.name in FIXED:
                continue
            most = 1 - habit("reserve") if b.reserve else 1.0
            over = np.maximum(np.nan_to_num(b.used, nan=0.0, posinf=1e6) - most - 1e-9, 0.0)
            out += (1e4 if b.hard else 0.1 if b.least else 1.0) * over
        return out

    def _grid_penalty(
        self, shape: Pass, quality: Band | None, least: float = math.inf
    ) -> tuple[Floats, Floats, Floats]:
        """Grid of a division and its penalty; what does not depend on the force's band is worked out once.

        Where the rest alone passes bounds by more than ``least``, the walls are not looked at.
        """
        if shape not in self._grids:
            rpm, feed = self.grid(shape)
            rest = self._over(lim.bounds(self.loads(shape), rpm, feed, quality=None), rpm, feed)
            self._grids[shape] = rpm, feed, rest
        rpm, feed, rest = self._grids[shape]
        if quality is None or float(rest.min()) > least:
            return rpm, feed, rest
        walls = list(lim.wall_bounds(self.loads(shape), feed / (rpm * self.cut.cutter.flutes), quality))
        return rpm, feed, rest + self._over(walls, rpm, feed)

    def _worth(self, shape: Pass, rpm: Floats, feed: Floats, seconds: Floats) -> Floats:
        usual = 1.0 if shape.direction == "climb" else _LESS_USUAL
        if self.costs is None or self.goal == "quickest":
            return seconds * usual * (1 + 1e-6 * rpm / self.high)  # of two alike the slower spindle
        return self.cost(shape, rpm, feed, seconds) * usual

    def cost(self, shape: Pass, rpm: Floats, feed: Floats, seconds: Floats) -> Floats:
        """Expected cost [currency].

        Parameters
        ----------
        shape : Pass
            Which division.
        rpm, feed : (...) float
            [rev/min], as run [mm/min].
        seconds : (...) float
            Of the whole cut [s].
        """
        assert self.costs is not None
        out = seconds / 3600 * self.costs.per_hour
        if self.costs.value:
            out = out + self.scrap_chance(shape, rpm, feed) * self.costs.value
        if self.costs.regrind:
            out = out + self.wear(shape, rpm, feed) * self.costs.regrind
        return np.asarray(out)

    def scrap_chance(self, shape: Pass, rpm: Floats, feed: Floats) -> Floats:
        """Chance that this cut spoils the part [-].

        Parameters
        ----------
        shape : Pass
            Which division.
        rpm, feed : (...) float
            [rev/min], as run [mm/min].
        """
        loads = self.loads(shape)
        per_tooth = np.asarray(feed) / (np.asarray(rpm) * self.cut.cutter.flutes)
        mean = per_tooth * loads.mean_share
        likely, high = (
            loads.worst(per_tooth, b, lap=bool(self.cut.skim)) / self.cut.greatest_push_off for b in ("likely", "high")
        )
        median = np.maximum(likely, high / math.exp(_ONE_IN_TEN * self._spread))
        fuzzy = habit("chip_spread")
        sound = 1 - _normal(np.log(np.maximum(median, 1e-12)) / self._spread)
        sound = sound * (1 - _normal(np.log(mean / self.cut.chip_thick) / fuzzy))
        sound = sound * (1 - _normal(np.log(self.cut.chip_thin / mean) / fuzzy))
        return np.asarray(habit("scrap_share") * (1 - sound))

    def wear(self, shape: Pass, rpm: Floats, feed: Floats) -> Floats:
        """Share of the edge's life this cut uses [-].

        Parameters
        ----------
        shape : Pass
            Which division.
        rpm, feed : (...) float
            [rev/min], as run [mm/min].
        """
        turns = shape.passes * self.cut.length / np.asarray(feed) * np.asarray(rpm)
        return np.asarray(turns * self._geometry(shape)[1] / habit("edge_life"))

    def best(self, quality: Band | None = "likely") -> _Trial:
        """The best setting when the wood asks for that force.

        Parameters
        ----------
        quality : {"low", "likely", "high"} or None
            Force at which push-off is judged, None to leave it out; hard bounds always stand against the high one.
        """
        ranked = sorted(self.shapes, key=self._least_worth)
        least = self._least_penalty(ranked, quality)
        found: list[_Trial] = []
        for shape in ranked:
            best = found[0].worth if found else math.inf
            if self._least_worth(shape) > best:
                break
            trial = self._pick(shape, *self._grid_penalty(shape, quality, least), least, best)
            if trial is not None:
                found = sorted([*found, trial], key=lambda t: t.worth)[:_REFINED]
        return min((self._refined(t, least, quality) for t in found), key=lambda t: t.worth)

    def _least_penalty(self, ranked: Sequence[Pass], quality: Band | None) -> float:
        """How far bounds have to be passed: 0 as soon as one division keeps them all."""
        least = math.inf
        for shape in ranked:
            least = min(least, float(self._grid_penalty(shape, quality, least)[2].min()))
            if least == 0:
                break
        return least

    def _least_worth(self, shape: Pass) -> float:
        """What a division costs at least: its length at the fastest feed, most of what a pass adds, the least wear."""
        top = self.fastest(shape)
        seconds = shape.passes * (60 * self.cut.length / top + 0.8 * self._overhead)
        if self.costs is None or self.goal == "quickest":
            return seconds
        turns = shape.passes * self.cut.length / (self.cut.cutter.flutes * self._greatest_per_tooth(shape))
        worn = self.costs.regrind * turns * self._geometry(shape)[1] / habit("edge_life")
        return seconds / 3600 * self.costs.per_hour + worn

    def _pick(
        self, shape: Pass, rpm: Floats, feed: Floats, penalty: Floats, least: float, worth: float
    ) -> _Trial | None:
        """The best of a grid among what passes bounds least; None where it cannot come near ``worth``."""
        keep = penalty <= least + min(0.05 * least, 0.003) + 1e-9  # where nothing fits, rounding decides nothing
        if not keep.any():
            return None
        r, f = rpm[keep], feed[keep]
        rough = shape.passes * (60 * self.cut.length / f + 0.8 * self._overhead)
        cheap = rough if self.costs is None or self.goal == "quickest" else rough / 3600 * self.costs.per_hour
        if float(cheap.min()) > worth * _NEAR:
            return None
        if float(self._worth(shape, r, f, rough).min()) > worth * _NEAR:
            return None
        seconds = self.seconds(shape, f)
        worths = self._worth(shape, r, f, seconds)
        i = int(np.argmin(worths))
        if worths[i] > worth * _NEAR:
            return None
        return _Trial(shape, float(r[i]), float(f[i]), float(seconds[i]), float(worths[i]))

    def _refined(self, trial: _Trial, least: float, quality: Band | None) -> _Trial:
        """Looked at again on finer grids around the best."""
        # speeds stay wide while feeds close in: along a bound of power the two trade against each other
        for wide, close in ((2.0, 2.0), (2.0, 0.6), (1.2, 0.2), (0.4, 0.1)):
            step = (self.high - self.low) / (_SPEEDS - 1) * wide
            speeds = np.linspace(trial.rpm - step, trial.rpm + step, _FINE)
            speeds = np.unique(np.clip(np.round(speeds / _RPM_STEP) * _RPM_STEP, self.low, self.high))
            now = trial.feed / (trial.rpm * self.cut.cutter.flutes)
            rpm, feed = self._dialled(speeds, now * np.geomspace(0.85, 1.18, _FINE) ** close)
            finer = self._pick(trial.shape, rpm, feed, self.penalty(trial.shape, rpm, feed, quality), least, math.inf)
            if finer is not None and finer.worth < trial.worth:
                trial = finer
        return trial

    def setting(self) -> Setting:
        """The best setting with its limits, and the minutes at low and high force."""
        free, error = self._checked(None)
        least = float(self.penalty(free.shape, *free.dialled, None))
        found: dict[str, tuple[_Trial, float]] = {}
        for band in BANDS:  # where push-off does not bind, the best without it is the best with it
            binds = float(self.penalty(free.shape, *free.dialled, band)) > least
            found[band] = self._checked(band) if binds else (free, error)
        minutes = {band: trial.seconds / 60 for band, (trial, _) in found.items()}
        return self._as_setting(found["likely"][0], minutes, found["likely"][1])

    def _checked(self, quality: Band | None) -> tuple[_Trial, float]:
        """The best, timed by the engine in the end; where interpolation was out by a percent it is looked for again."""
        error = 0.0
        for _ in range(4):
            trial = self.best(quality)
            exact = self.exact_seconds(trial.shape, trial.feed)
            error = trial.seconds / exact - 1
            if (trial.shape.levels, trial.shape.side_steps) not in self._timed and abs(error) >= 0.01:
                self._time(trial.shape)
            worth = self._worth(trial.shape, *trial.dialled, np.asarray(exact))
            trial = replace(trial, seconds=exact, worth=float(worth))
            if abs(error) < 0.01:
                break
        return trial, error

    def at(self, shape: Pass, rpm: float, feed: float) -> Setting:
        """A setting chosen by hand, with its limits and time.

        Parameters
        ----------
        shape : Pass
            Levels, side steps and direction.
        rpm, feed : float
            [rev/min], as run [mm/min].

        Returns
        -------
        Setting
        """
        require_positive(rpm=rpm, feed=feed)
        seconds = self.exact_seconds(shape, feed)
        trial = _Trial(shape, rpm, feed, seconds, seconds)
        return self._as_setting(trial, dict.fromkeys(BANDS, seconds / 60), 0.0)

    def _as_setting(self, t: _Trial, minutes: dict[str, float], error: float) -> Setting:
        cut, loads = self.cut, self.loads(t.shape)
        found = lim.check(loads, t.rpm, t.feed)
        per_tooth = t.feed / (t.rpm * cut.cutter.flutes)
        rpm, feed = np.asarray(t.rpm), np.asarray(t.feed)
        cost = None
        if self.costs is not None:
            cost = float(self.cost(t.shape, rpm, feed, np.asarray(t.seconds)))
        errors = {b: loads.error(np.asarray(per_tooth), b, lap=bool(cut.skim)) for b in BANDS}
        return Setting(
            rpm=t.rpm,
            feed_mm_min=_down(t.feed / cut.machine.feed_share, _FEED_STEP),
            plunge_feed_mm_min=_down(lim.plunge_feed(cut, t.rpm, t.feed) / cut.machine.feed_share, _FEED_STEP),
            feed_per_tooth_mm=per_tooth,
            mean_chip_mm=per_tooth * loads.mean_share,
            greatest_chip_mm=per_tooth * loads.greatest_share,
            direction=t.shape.direction,
            passes=t.shape.passes + (1 if cut.skim else 0),
            levels=t.shape.levels,
            side_steps=t.shape.side_steps,
            depth_per_pass_mm=cut.depth / t.shape.levels,
            width_per_pass_mm=t.shape.width,
            minutes=minutes,
            push_off_mm={b: (float(e[0]), float(e[1])) for b, e in errors.items()},
            cost=cost,
            scrap_chance=float(self.scrap_chance(t.shape, rpm, feed)),
            binds=_binding(lim.bounds(loads, t.rpm, t.feed)) or found[0].name,
            limits=found,
            timed_points=self.points,
            interpolation_error=error,
        )


def _binding(bounds: Sequence[Bound]) -> str:
    """Names of all bounds that stand at what they may use, those of mere size left out."""
    shares = []
    for b in bounds:
        used = float(b.used)
        if math.isfinite(used) and (b.name not in FIXED or used > 1):
            shares.append((used / (1 - habit("reserve") if b.reserve else 1.0), b.name))
    shares.sort(reverse=True)
    return "; ".join(name for share, name in shares if share >= min(_AT_BOUND, shares[0][0]))


def _normal(x: Floats) -> Floats:
    """Cumulative normal distribution, to 3e-4 (Page, Applied Statistics 26, 1977, as remembered)."""
    out: Floats = 0.5 * (1 + np.tanh(math.sqrt(2 / math.pi) * (x + 0.044715 * x**3)))
    return out


def straight_passes(cut: Cut, shape: Pass, cutting: Cutting) -> Moves:
    """Straight passes of the cut's length: one way with a rapid return, level by level, the skim's lap last.

    Parameters
    ----------
    cut : Cut
        Depth, width and length count.
    shape : Pass
        Levels and side steps.
    cutting : paths.Cutting
        Feeds and heights.

    Returns
    -------
    Moves
        z = 0 is the surface.
    """
    lead = cutting.radius + cutting.lead
    lines = [
        (k * shape.width, cut.depth * (n + 1) / shape.levels)
        for n in range(shape.levels)
        for k in range(shape.side_steps)
    ]
    if cut.skim:
        lines.append((cut.width, cut.depth))
    tracer = Tracer(cutting, (-lead, 0.0))
    for y, depth in lines:
        tracer.over((-lead, y))
        tracer.sink_in_air(-depth)
        tracer.to((cut.length + lead, y))
    return tracer.moves()
