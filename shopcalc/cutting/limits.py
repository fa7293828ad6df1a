"""Limits: all that bounds a cut, each with its value, bound, used share, source and remedy, named by consequence.

Hard bounds (speed, stress, holding, stall, reach) are held against the high force and keep a reserve; bounds of quality
are held against the likely force. Physical limits that are passed are results, not errors. What is common practice or
memory says so; the mark on the cutter and the makers' instructions come before every figure here.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from shopcalc.cutting import chipload
from shopcalc.cutting.cut import (
    Cut,
    Hold,
    Pass,
    ask,
    cited,
    cutter_rpm,
    depth_share,
    habit,
    rim_habit,
    station_hold,
)
from shopcalc.cutting.deflection import bending_stress, strength
from shopcalc.cutting.engagement import (
    cutting_speed,
    edge_share,
    effective_diameter,
    mean_edge_share,
)
from shopcalc.cutting.force import BANDS, Band, Load, plunge
from shopcalc.cutting.grain import Direction
from shopcalc.cutting.push_off import parts
from shopcalc.materials import Material
from shopcalc.moves import Floats
from shopcalc.sources import practice

NUT_FREE = 3.0  # mm between collet nut and wood; common practice, no source
__all__ = [
    "NUT_FREE",
    "Bound", "Cut", "Hold", "Limit", "Loads", "Pass", "ask", "bounds", "check", "cited", "cutter_rpm", "depth_share",
    "greatest_level", "habit", "plunge_feed", "rim_habit", "station_hold", "wall_bounds",
]  # fmt: skip
_CURVE = 33  # feeds per tooth at which the greatest force within a turn is taken; between them it is a straight line


@dataclass(frozen=True)
class Limit:
    """One bound of a setting and how much of it is used.

    Parameters
    ----------
    name : str
        By consequence, in shop words.
    value, bound : float or None
        In ``unit``; None where it is not known.
    used : float or None
        Share of the bound that is used, above 1 where it is passed; None where it is not known [-].
    unit : str
        Of value and bound.
    hard : bool
        Whether passing it can hurt people, break the cutter or stop the spindle; else it is a matter of quality.
    source : str
        Where the bound comes from.
    remedy : str
        What moves the cut away from it.
    least : bool
        Whether the bound is one to be reached rather than one to stay below.
    """

    name: str
    value: float | None
    bound: float | None
    used: float | None
    unit: str
    hard: bool
    source: str
    remedy: str
    least: bool = False


@dataclass(frozen=True)
class Bound:
    """One limit over many settings at once; arrays broadcast against each other.

    Parameters
    ----------
    name : str
        By consequence.
    value : (...) float
        [unit].
    bound : (...) float or float
        [unit]; nan where it is not known.
    unit : str
        Of both.
    hard : bool
        See ``Limit``.
    source, remedy : str
        See ``Limit``.
    least : bool
        Whether the bound is to be reached.
    reserve : bool
        Whether a hard bound keeps the stated reserve; sizes that merely fit keep none.
    """

    name: str
    value: Floats
    bound: Floats
    unit: str
    hard: bool
    source: str
    remedy: str
    least: bool = False
    reserve: bool = False

    @cached_property
    def used(self) -> Floats:
        """Share of the bound that is used [-]; nan where it is not known."""
        with np.errstate(divide="ignore", invalid="ignore"):
            share = self.bound / self.value if self.least else self.value / self.bound
        out: Floats = np.asarray(share)
        return out

    @cached_property
    def kept(self) -> Any:
        """Where the bound is kept, with its reserve; what is not known keeps nothing back here."""
        most = 1 - habit("reserve") if self.reserve else 1.0
        return ~(self.used > most + 1e-9)


class Loads:
    """The forces of one pass in all bands, with what the bounds need of them; made once, used for many settings.

    Parameters
    ----------
    cut : Cut
        What is cut.
    shape : Pass
        How it is divided.
    like : Loads or None
        Of another division of the same cut, whose last lap is the same.
    """

    def __init__(self, cut: Cut, shape: Pass, like: Loads | None = None) -> None:
        self.cut, self.shape = cut, shape
        c = cut.cutter
        self.across = float(effective_diameter(c, min(shape.level, c.cutting_length)))
        self.width = min(shape.width, self.across)
        level = min(shape.level, c.cutting_length)
        self.mean_share = float(chipload.mean_share(self.width, self.across) * mean_edge_share(c, level))
        self.greatest_share = float(chipload.greatest_share(self.width, self.across) * edge_share(c, level))
        self.loads: dict[Band, Load] = {
            band: Load(c, cut.coefficients[band], cut.grain, self.width, level, shape.direction) for band in BANDS
        }
        self.last = min(shape.last_width or shape.width, self.width)
        laps = {} if like is None else {k: v for k, v in like._walls.items() if k[0]}
        self._walls: dict[tuple[str, Band], tuple[Floats, Floats]] = laps

    def _errors(self, band: Band, lap: bool) -> tuple[Floats, Floats]:
        """Push-off at the bottom and the top of a level: a constant, and what grows with the feed per tooth."""
        key = (self.shape.direction if lap else "", band)
        if key not in self._walls:
            if lap:
                depth = min(self.cut.depth, self.cut.cutter.cutting_length)
                across = float(effective_diameter(self.cut.cutter, depth))
                self._walls[key] = self._wall(min(self.cut.skim, across), depth, band)
            else:
                self._walls[key] = self._wall(self.last, self.loads[band].level, band)
        return self._walls[key]

    def _wall(self, width: float, level: float, band: Band) -> tuple[Floats, Floats]:
        cut, load = self.cut, self.loads[band]
        if width != self.width or level != load.level:
            load = Load(cut.cutter, cut.coefficients[band], cut.grain, width, level, self.shape.direction)
        sides = [load]
        if width >= 0.999 * float(effective_diameter(cut.cutter, level)):  # a slot leaves two walls
            other: Direction = "conventional" if self.shape.direction == "climb" else "climb"
            sides.append(Load(cut.cutter, cut.coefficients[band], cut.grain, width, level, other))
        ends = np.array([0.0, level])
        found = [parts(x, cut.give[band], np.array([1e-9, 1.0]), ends) for x in sides]
        two = np.stack([np.concatenate([quick, quick + slow], axis=-1) for quick, slow in found], axis=-2)
        return two[0], two[1] - two[0]

    @cached_property
    def curve(self) -> tuple[Floats, Floats, Floats]:
        """Feeds per tooth, and the greatest force and torque within a turn there, at the high force."""
        feeds = np.linspace(1e-3, 1.05 * self.cut.greatest_feed_per_tooth, _CURVE)
        at = self.loads["high"].at(feeds)
        return feeds, np.asarray(at.greatest), np.asarray(at.greatest_torque)

    def greatest(self, feed_per_tooth: Floats) -> Floats:
        """Greatest force within a turn at the high force; beyond the curve it goes on straight."""
        feeds, force, _ = self.curve
        slope = (force[-1] - force[-2]) / (feeds[-1] - feeds[-2])
        out: Floats = np.interp(feed_per_tooth, feeds, force) + slope * np.maximum(feed_per_tooth - feeds[-1], 0.0)
        return out

    def error(self, feed_per_tooth: Floats, band: Band = "likely", *, lap: bool = False) -> Floats:
        """Push-off at bottom and top of a level, of a slot's other wall too: positive leaves wood on [mm].

        Parameters
        ----------
        feed_per_tooth : (...) float
            [mm/tooth].
        band : {"low", "likely", "high"}
            Of the force.
        lap : bool
            Of the last lap that takes the skim.

        Returns
        -------
        (..., 2 or 4) float
        """
        constant, grows = self._errors(band, lap)
        both = constant + np.asarray(feed_per_tooth)[..., None, None] * grows
        out: Floats = both[..., 2:].reshape(*both.shape[:-2], -1)
        return out

    def worst(self, feed_per_tooth: Floats, band: Band = "likely", *, lap: bool = False) -> Floats:
        """Largest error to reckon with: where the machine's give happens to cancel the cutter's it counts for nothing.

        Parameters
        ----------
        feed_per_tooth : (...) float
            [mm/tooth].
        band : {"low", "likely", "high"}
            Of the force.
        lap : bool
            Of the last lap that takes the skim.

        Returns
        -------
        (...) float
            [mm].
        """
        constant, grows = self._errors(band, lap)
        out: Floats = np.max(np.abs(constant + np.asarray(feed_per_tooth)[..., None, None] * grows), axis=(-1, -2))
        return out


def bounds(loads: Loads, rpm: Floats | float, feed: Floats | float, *, quality: Band | None = "likely") -> list[Bound]:
    """Every bound of one shape of cut over many settings.

    Parameters
    ----------
    loads : Loads
        Of the cut and its division into passes.
    rpm : float or (...) float
        [rev/min].
    feed : float or (...) float
        As run [mm/min]; broadcasts against ``rpm``.
    quality : {"low", "likely", "high"} or None
        Force at which push-off is judged, None to leave it out; hard bounds always stand against the high one.

    Returns
    -------
    list of Bound
        In no order.
    """
    rpm, feed = np.asarray(rpm, dtype=float), np.asarray(feed, dtype=float)
    per_tooth = feed / (rpm * loads.cut.cutter.flutes)
    return [
        *_speed_bounds(loads.cut, rpm),
        *_chip_bounds(loads, rpm, feed, per_tooth),
        *_size_bounds(loads),
        *_machine_bounds(loads, rpm, feed, per_tooth),
        *_force_bounds(loads, per_tooth),
        *(wall_bounds(loads, per_tooth, quality) if quality is not None else ()),
        *_plunge_bounds(loads.cut),
    ]


def check(loads: Loads, rpm: float, feed: float) -> tuple[Limit, ...]:
    """All limits of one setting, tightest first; those with an unknown bound last.

    Parameters
    ----------
    loads : Loads
        Of the cut and its division into passes.
    rpm, feed : float
        [rev/min], as run [mm/min].

    Returns
    -------
    tuple of Limit
    """
    out = []
    for b in bounds(loads, rpm, feed):
        value, bound, used = float(b.value), float(b.bound), float(b.used)
        known = math.isfinite(used)
        out.append(
            Limit(
                b.name, value if math.isfinite(value) else None, bound if known and math.isfinite(bound) else None,
                used if known else None, b.unit, b.hard, b.source, b.remedy, b.least,
            )
        )  # fmt: skip
    return tuple(sorted(out, key=lambda x: (x.used is None, -(x.used or 0.0))))


def _bound(
    name: str, value: Any, bound: Any, unit: str, hard: bool, source: str, remedy: str, *, least: bool = False,
    reserve: bool = False,
) -> Bound:  # fmt: skip
    return Bound(name, np.asarray(value, dtype=float), np.asarray(bound, dtype=float), unit, hard, source, remedy,
                 least, reserve)  # fmt: skip


def _speed_bounds(cut: Cut, rpm: Floats) -> Iterator[Bound]:
    c = cut.cutter
    most, source, remedy = cutter_rpm(c)
    known = c.marked_rpm is not None or c.maker_rpm is not None  # unknown is no permission
    yield _bound("over-speeds the cutter", rpm, most if known else math.nan, "rev/min", True, source, remedy,
                 reserve=True)  # fmt: skip
    rim = rim_habit(c)
    speed = cutting_speed(c.true_diameter, rpm)
    remedy = "turn slower, or take a smaller cutter"
    yield _bound("over-speeds the rim", speed, rim.value / 1000, "m/s", False, cited(rim), remedy)
    spindle = cut.machine.spindle
    if spindle is not None:
        source = cut.machine.source or f"machine '{cut.machine.name}'"
        yield _bound("outruns the spindle", rpm, spindle.max_rpm, "rev/min", True, source, "turn slower")
        remedy = "use a smaller cutter or another machine: the spindle cannot turn that slowly"
        yield _bound("too slow for the spindle", rpm, spindle.min_rpm, "rev/min", True, source, remedy, least=True)


def _chip_source(material: Material, name: str) -> str:
    value = material.values.get(name)
    return cited(value) if value is not None else "common practice, no source"


def _chip_bounds(loads: Loads, rpm: Floats, feed: Floats, per_tooth: Floats) -> Iterator[Bound]:
    cut, m = loads.cut, loads.cut.material
    mean = per_tooth * loads.mean_share
    thin, thick = _chip_source(m, "chip_thin"), _chip_source(m, "chip_thick")
    remedy = "feed faster, turn slower, or take fewer flutes"
    dull = ", more for a dull edge" if cut.wear else ""
    yield _bound("burns", mean, cut.chip_thin, "mm", False, f"mean chip: {thin}{dull}", remedy, least=True)
    slender = ", less for slender cutters" if cut.chip_thick < m.chip_thick else ""
    remedy = "feed slower, turn faster, or take more flutes"
    yield _bound("tears", mean, cut.chip_thick, "mm", False, f"mean chip: {thick}{slender}", remedy)
    own = cut.learned.get("greatest_feed_per_tooth")
    share = f"share of the tip: {cited(practice()['feed_per_tooth_share'])}"
    source = own.source if own is not None and own.value <= cut.greatest_feed_per_tooth else share
    remedy = "feed slower, or turn faster: the tooth must bear more than its chip says where the cut thickens"
    yield _bound("snatches", per_tooth, cut.greatest_feed_per_tooth, "mm/tooth", False, source, remedy)
    a = min(cut.machine.axes[0].acceleration, cut.machine.axes[1].acceleration)
    reached = np.minimum(feed, 60 * math.sqrt(a * cut.length)) if math.isfinite(a) else feed
    remedy = "turn slower: on moves this short the feed is never reached"
    source = f"mean chip at the feed reached on one pass: {thin}"
    slow = reached / (rpm * cut.cutter.flutes) * loads.mean_share
    yield _bound("rubs where it is slow", slow, cut.chip_thin, "mm", False, source, remedy, least=True)
    mark = practice()["mark_spacing"]
    source = f"ripple of one flute that stands proud: {cited(mark)}"
    yield _bound("leaves ripples", feed / rpm, mark.value, "mm", False, source, "feed slower, or turn faster")
    if cut.skim:
        across = float(effective_diameter(cut.cutter, min(cut.depth, cut.cutter.cutting_length)))
        skim = per_tooth * float(chipload.greatest_share(min(cut.skim, across), across))
        remedy = "keep a thicker skim, or feed faster for it"
        yield _bound("rubs on the skim", skim, cut.chip_thin, "mm", False, f"greatest chip: {thin}", remedy, least=True)


def _size_bounds(loads: Loads) -> Iterator[Bound]:
    cut, c, level = loads.cut, loads.cut.cutter, loads.shape.level
    remedy = "take more levels, or a thicker cutter"
    own = cut.learned.get("greatest_depth")
    usual = f"share of the diameter for this grain, less the further it sticks out: {cited(cut.depth_share)}"
    source = own.source if own is not None and own.value <= cut.deepest else usual
    yield _bound("sings", level, cut.deepest, "mm", False, source, remedy)
    source = f"cutting length of {c.id}"
    yield _bound("rubs with the shank", cut.depth, c.cutting_length, "mm", True, source, "use a longer cutter")
    grip, share = c.overall_length - c.stick_out, practice()["grip_share"]
    source = f"length held, as a share of the shank: {cited(share)}"
    remedy = "push the cutter further into the collet, never resting on the bottom"
    yield _bound("slips out of the collet", grip, share.value * c.shank, "mm", True, source, remedy, least=True)
    source = f"stick-out of {c.id}, less 3 mm kept free: common practice, no source"
    remedy = "use a longer cutter, or let it stick out further where its grip allows"
    yield _bound(
        "drives the nut into the wood", cut.depth, max(c.stick_out - NUT_FREE, 1e-6), "mm", True, source, remedy
    )
    if c.up_shear_length > 0:
        source_, remedy = f"up-cut length of {c.id}", "take fewer and deeper levels, or another cutter"
        yield _bound("tears the top face", level, c.up_shear_length, "mm", False, source_, remedy, least=True)
    if cut.in_solid or loads.width >= 0.999 * loads.across:
        way = c.cut_direction if c.cut_direction in ("down", "straight") else "up"
        share = practice()[f"slot_share.{way}"]
        remedy = "clear the groove with an up-cut, wider than the cutter, or blow the chips out between levels"
        wide = max(cut.width, loads.across) if cut.in_solid else loads.across
        yield _bound("packs with chips", cut.depth, share.value * wide, "mm", False,
                     f"depth of the slot over its width: {cited(share)}", remedy)  # fmt: skip


def _machine_bounds(loads: Loads, rpm: Floats, feed: Floats, per_tooth: Floats) -> Iterator[Bound]:
    machine = loads.cut.machine
    source = machine.source or f"machine '{machine.name}'"
    most = min(machine.axes[0].feed, machine.axes[1].feed)
    remedy = "feed slower, with a slower spindle"
    yield _bound("outruns the machine", feed, most if math.isfinite(most) else math.nan, "mm/min", True, source,
                 remedy, reserve=True)  # fmt: skip
    if machine.spindle is None:
        remedy = "enter the spindle's speeds and powers in the machine's file"
        yield _bound("stalls", math.nan, math.nan, "W", False, "no spindle is known", remedy)
        return
    constant, grows = loads.loads["high"].mean_torque
    torque = constant + grows * per_tooth
    power = 2 * math.pi * rpm / 60 * torque / 1000
    available = machine.spindle.power_at(rpm)
    words = f"{source}; high force, which is {_standing(loads)}"
    remedy = "take more levels or narrower steps, or feed slower with a slower spindle"
    yield _bound("stalls", power, np.maximum(available, 1e-9), "W", True, words, remedy, reserve=True)
    # within a turn the spindle's mass carries it over the peaks: what counts is the mean
    bound = np.maximum(available, 1e-9) * 1000 * 60 / (2 * math.pi * rpm)
    yield _bound("stalls by torque", torque, bound, "N mm", True, words, remedy, reserve=True)


def _standing(loads: Loads) -> str:
    return loads.cut.coefficients["high"].source or "from memory"


def _force_bounds(loads: Loads, per_tooth: Floats) -> Iterator[Bound]:
    cut, c = loads.cut, loads.cut.cutter
    greatest = loads.greatest(per_tooth)
    stress = greatest * float(bending_stress(c, 1.0, min(loads.loads["high"].level, c.stick_out) / 2))
    remedy = "take more levels or narrower steps, a shorter stick-out, or a thicker cutter"
    source = f"strength of {c.body} from memory; greatest force within a turn, {_standing(loads)}"
    yield _bound("breaks", stress, strength(c), "MPa", True, source, remedy, reserve=True)
    yield from _holding(cut, loads, per_tooth, greatest)


def wall_bounds(loads: Loads, per_tooth: Floats, quality: Band = "likely") -> Iterator[Bound]:
    """The bounds that push-off sets on the finished wall.

    Parameters
    ----------
    loads : Loads
        Of the cut and its division into passes.
    per_tooth : (...) float
        Feed per tooth [mm/tooth].
    quality : {"low", "likely", "high"}
        Force at which it is judged.

    Yields
    ------
    Bound
    """
    cut, words = loads.cut, _standing(loads)
    frame = "" if cut.stiffness_known else "; stiffness of the station not known: from memory"
    source = f"error on the wall without run-out; {words}{frame}"
    remedy = "take more levels, keep a skim, shorten the stick-out, or take a thicker cutter"
    error = loads.worst(per_tooth, quality, lap=bool(cut.skim))
    yield _bound("bends", error, cut.greatest_push_off, "mm", False, source, remedy)
    if cut.skim:
        into = np.max(-loads.error(per_tooth, quality), axis=-1)
        remedy = "keep a thicker skim, or climb"
        yield _bound("bites through the skim", np.maximum(into, 0.0), cut.skim, "mm", False, words, remedy)


def _holding(cut: Cut, loads: Loads, per_tooth: Floats, greatest: Floats) -> Iterator[Bound]:
    hold, words = cut.hold, _standing(loads)
    constant, grows = loads.loads["high"].mean_lift
    lift = np.maximum(constant + grows * per_tooth, 0.0)
    force = math.nan if hold.clamp_force is None else hold.clamp_force
    unknown = "" if hold.clamp_force is not None else "; enter clamp_force of the station"
    source = f"clamps: {hold.source}{unknown}; {words}"
    remedy = "clamp harder or at more places, cut gentler, or take a straight or down-cut"
    yield _bound("lifts", lift, force, "N", True, source, remedy, reserve=True)
    bound = np.maximum(hold.friction * (force - lift), 1e-9)
    source = (
        f"friction {hold.friction:g} under the clamps ({hold.source}{unknown}); greatest force within a turn, {words}"
    )
    remedy = "put a stop against the push, clamp harder, or cut gentler"
    yield _bound("slips", greatest, bound, "N", True, source, remedy, reserve=True)
    if hold.above > 0:
        base = math.nan if hold.base is None else hold.base
        more = "" if hold.base is not None else "; enter base of the station"
        source = f"clamps and base: {hold.source}{unknown}{more}; {words}"
        remedy = "lower the part in its clamp, widen its base, or cut gentler"
        yield _bound("tips", greatest * hold.above, np.maximum((force - lift) * base / 2, 1e-9), "N mm", True, source,
                     remedy, reserve=True)  # fmt: skip


def _plunge_bounds(cut: Cut) -> Iterator[Bound]:
    c = cut.cutter
    if not c.centre_cutting:
        remedy = "go in from beside the wood or along a ramp, never straight down"
        yield _bound("burns when plunged", 0.0, 1.0, "plunges", True, f"{c.id} does not cut at its centre", remedy)


def plunge_feed(cut: Cut, rpm: float, feed: float) -> float:
    """Feed straight down: a share of the feed, less where the spindle or the z axis could not.

    Parameters
    ----------
    cut : Cut
        Cutter, wood and machine count.
    rpm, feed : float
        [rev/min], as run [mm/min].

    Returns
    -------
    float
        [mm/min]; for a cutter that does not cut at its centre what a ramp may sink at. At the high force the end teeth
        take what the spindle gives less the reserve at most; never below a twentieth of the usual share.
    """
    usual = min(habit("plunge_share") * feed, cut.machine.axes[2].feed)
    c, spindle = cut.cutter, cut.machine.spindle
    if spindle is None or not c.centre_cutting:
        return usual
    available = (1 - habit("reserve")) * float(spindle.power_at(rpm)) * 1000 * 60 / (2 * math.pi * rpm)
    two = plunge(c, cut.coefficients["high"], cut.grain, np.array([1e-9, 1.0])).torque
    bearable = (available - float(two[0])) / max(float(two[1] - two[0]), 1e-9) * rpm * c.flutes
    return max(min(usual, bearable), usual / 20)


def greatest_level(cut: Cut, *, chip: float | None = None) -> float:
    """Deepest level this cutter bears in this cut with a chip in the middle of its window.

    Parameters
    ----------
    cut : Cut
        Its depth does not count.
    chip : float or None
        Mean chip [mm]; None for the middle of the window.

    Returns
    -------
    float
        [mm]: what practice allows for the grain, less where the cutter would bend or break; at least a twentieth of
        its diameter.
    """
    c = cut.cutter
    middle = math.sqrt(cut.chip_thin * cut.chip_thick) if chip is None else chip

    def fits(level: float) -> bool:
        loads = Loads(cut, Pass(1, 1, level, min(cut.width, float(effective_diameter(c, level))), "climb"))
        per_tooth = np.asarray(min(middle / loads.mean_share, cut.greatest_feed_per_tooth))
        found = [*_force_bounds(loads, per_tooth), *wall_bounds(loads, per_tooth)]
        return all(bool(b.kept) for b in found if b.name in ("bends", "breaks"))

    return _greatest(fits, c.true_diameter / 20, min(cut.deepest, c.cutting_length))


def _greatest(fits: Callable[[float], bool], low: float, high: float) -> float:
    """Largest value that fits between two, by halving: what fits is a stretch from the low end."""
    if fits(high):
        return high
    for _ in range(7):
        middle = (low + high) / 2
        low, high = (middle, high) if fits(middle) else (low, middle)
    return low
