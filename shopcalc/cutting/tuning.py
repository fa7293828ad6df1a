"""Tuning: spindle speed, feed and passes for one cut, with every limit that was looked at and how much of it is used.

Sizes, speeds and powers are those of cutter and machine; what the wood bears is common practice and says so. Cutting
forces, bending, holding and lift are not looked at here: a setting from this module is where a test cut begins, on
scrap, below the speed marked on the cutter and within what the makers of cutter and machine allow.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from shopcalc.cutters import Cutter
from shopcalc.cutting import chipload
from shopcalc.cutting.engagement import (
    cutting_speed,
    edge_share,
    effective_diameter,
    mean_edge_share,
    pass_count,
    refuse,
    require_positive,
    spindle_speed,
)
from shopcalc.errors import did_you_mean
from shopcalc.machines import STATIONS, Machine
from shopcalc.materials import Material
from shopcalc.motion import machine_time
from shopcalc.paths.tracing import Cutting, Tracer
from shopcalc.sources import Value, practice
from shopcalc.units import read

StationName = Literal["flat", "edge", "end"]
_RPM_STEP, _FEED_STEP = 100.0, 10.0  # what operators dial
_MORE_LEVELS = 12  # levels beyond the fewest that are tried before the chip is made thinner
_SMALL = 16.0  # mm; EN 847-1 does not cover smaller cutting circles
_SLENDER = 6.0  # mm; the window's thick end is meant for cutters from here on and shrinks with thinner ones


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
class Setting:
    """How to run one cut.

    Parameters
    ----------
    rpm, feed_mm_min, plunge_feed_mm_min : float
        To be dialled or programmed [rev/min], [mm/min].
    feed_per_tooth_mm, mean_chip_mm, greatest_chip_mm : float
        At the feed as run [mm].
    passes : int
        Over the whole length: levels times side steps, and the skim where there is one [-].
    levels, side_steps : int
        [-].
    depth_per_pass_mm, width_per_pass_mm : float
        [mm].
    minutes : dict
        "low", "likely" and "high" for the whole cut: lines to and fro; one way with rapid returns; one way with the
        feed turned down to the thinnest clean chip [min].
    binds : str
        Name of the tightest limit.
    limits : tuple of Limit
        Tightest first; unknown ones last.
    """

    rpm: float
    feed_mm_min: float
    plunge_feed_mm_min: float
    feed_per_tooth_mm: float
    mean_chip_mm: float
    greatest_chip_mm: float
    passes: int
    levels: int
    side_steps: int
    depth_per_pass_mm: float
    width_per_pass_mm: float
    minutes: dict[str, float]
    binds: str
    limits: tuple[Limit, ...]

    @property
    def forbidden(self) -> tuple[Limit, ...]:
        """Hard limits that are passed, and the cutter's own greatest speed while it is unknown."""
        return tuple(
            x
            for x in self.limits
            if x.hard and ((x.used or 0.0) > 1 or (x.bound is None and x.name == "over-speeds the cutter"))
        )

    @property
    def runnable(self) -> bool:
        """Whether nothing forbids it."""
        return not self.forbidden

    def as_json(self) -> dict[str, Any]:
        """Every field as plain numbers, texts, lists and dicts; units stand in the keys."""
        out: dict[str, Any] = {k: v for k, v in vars(self).items() if k != "limits"}
        return {
            **out,
            "runnable": self.runnable,
            "limits": [{k: v for k, v in vars(x).items() if k != "least"} for x in self.limits],
        }


@dataclass(frozen=True)
class _Cut:
    """What is asked for, and the bounds that do not depend on the setting."""

    cutter: Cutter
    material: Material
    machine: Machine
    depth: float
    width: float
    skim: float
    length: float
    deepest: float  # per level, practice
    depth_habit: Value
    lowest_rpm: float
    greatest_rpm: float
    greatest_feed: float  # as run, with the reserve
    chip_thick: float  # mm, of the material, less for slender cutters
    greatest_feed_per_tooth: float


@dataclass(frozen=True)
class _Trial:
    """One combination that is looked at."""

    levels: int
    side_steps: int
    width: float
    rpm: float
    feed: float  # as run
    mean_share: float
    greatest_share: float
    area: float  # of the chip's cross-section seen along the feed, mm2

    @property
    def passes(self) -> int:
        return self.levels * self.side_steps


def _practice(name: str) -> float:
    return float(practice()[name].value)


def grain_angle(grain: str | float) -> float:
    """Angle between feed and grain: 0 along, a right angle across; nan for end grain.

    Parameters
    ----------
    grain : str or float
        "along", "across", "end", an angle with its unit ("30 deg"), bare degrees as text ("30"), or an angle [rad].

    Returns
    -------
    float
        Folded into 0 to a right angle, nan for "end" [rad].

    Raises
    ------
    InputError
        When it is none of these.

    Example
    -------
    >>> round(math.degrees(grain_angle("150 deg")), 6), math.isnan(grain_angle("end"))
    (30.0, True)
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
    angle = abs(angle) % math.pi
    return min(angle, math.pi - angle)


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
) -> Setting:
    """Find speed, feed and passes for a cut in total ``cut_depth`` deep and ``cut_width`` wide.

    Parameters
    ----------
    cutter : Cutter
        Any but a drill.
    material : Material
        Gives the window of the mean chip.
    machine : Machine
        Spindle, greatest feeds, and the motion the minutes are timed with.
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
        Of the cut, for the minutes [mm].

    Returns
    -------
    Setting
        Deterministic; physical limits that are passed stand in it and are no exception.

    Raises
    ------
    InputError
        When a size is not above zero, the station or the grain is unknown, or the cutter is a drill.

    Notes
    -----
    The mean chip is put in the (geometric) middle of the material's window. Of all numbers of levels the quickest is
    taken whose speed, feed and power, at the high specific energy and with the stated reserve, stay within the hard
    bounds; where none does, the chip is made thinner. Several side steps are taken to begin beside the wood.
    Specific energy from memory and of low confidence; depth, chips and rim speeds common practice, no source.
    """
    cut = _ask(cutter, material, machine, station, grain, cut_depth, cut_width, clearance, skim, length)
    trial = _choose(cut)
    minutes = _minutes(cut, trial)
    limits = tuple(sorted(_limits(cut, trial), key=lambda x: -math.inf if x.used is None else x.used, reverse=True))
    fpt = trial.feed / (trial.rpm * cutter.flutes)
    return Setting(
        rpm=trial.rpm,
        feed_mm_min=_down(trial.feed / machine.feed_share, _FEED_STEP),
        plunge_feed_mm_min=_down(_practice("plunge_share") * trial.feed, _FEED_STEP),
        feed_per_tooth_mm=fpt,
        mean_chip_mm=fpt * trial.mean_share,
        greatest_chip_mm=fpt * trial.greatest_share,
        passes=trial.passes + (1 if skim else 0),
        levels=trial.levels,
        side_steps=trial.side_steps,
        depth_per_pass_mm=cut.depth / trial.levels,
        width_per_pass_mm=trial.width,
        minutes=minutes,
        binds=limits[0].name,
        limits=limits,
    )


def _down(value: float, step: float) -> float:
    """Rounded down to a step, never to zero."""
    return max(step, math.floor(value / step + 1e-9) * step) if value >= step else value


def _ask(
    cutter: Cutter, material: Material, machine: Machine, station: str, grain: str | float, depth: float, width: float,
    clearance: float, skim: float, length: float,
) -> _Cut:  # fmt: skip
    require_positive(cut_depth=depth, cut_width=width, length=length)
    if station not in STATIONS:
        refuse(f"station '{station}' is not known", did_you_mean(str(station), STATIONS))
    if machine.stations and station not in machine.stations:
        refuse(f"machine '{machine.name}' has no station '{station}'", did_you_mean(station, machine.stations))
    if cutter.shape == "drill":
        refuse(f"{cutter.id} is a drill and cuts only straight down", "choose a cutter that cuts sideways")
    if not (math.isfinite(skim) and skim >= 0) or not math.isfinite(clearance):
        refuse(f"skim {skim:g} mm or clearance {clearance:g} mm cannot be used", "give a skim of zero or more")
    wide = width + clearance / 2 - skim
    if abs(clearance) > width:
        refuse(f"a clearance of {clearance:g} mm is more than the cut of {width:g} mm", "give mortise minus tenon")
    if wide <= 0:
        refuse(f"clearance {clearance:g} mm and skim {skim:g} mm leave nothing of the {width:g} mm cut", "change them")
    angle = math.nan if station == "end" else grain_angle(grain)
    grain_angle(grain)  # a misspelt grain is refused in every station
    share, habit = _depth_share(angle)
    low, high = _rpm_bounds(cutter, machine)
    free = 1 - _practice("reserve")
    feed = free * min(machine.axes[0].feed, machine.axes[1].feed)
    deepest = chipload.greatest_level(cutter, share)
    return _Cut(
        cutter,
        material,
        machine,
        depth,
        wide,
        skim,
        length,
        deepest,
        habit,
        low,
        high,
        feed,
        max(material.chip_thin, material.chip_thick * min(1.0, _tip(cutter) / _SLENDER)),
        _practice("feed_per_tooth_share") * _tip(cutter),
    )


def _tip(cutter: Cutter) -> float:
    """The diameter that has to bear the chip: a tapered ball breaks at its tip [mm]."""
    return cutter.tip_diameter if cutter.shape == "tapered ball" else cutter.true_diameter


def _depth_share(angle: float) -> tuple[float, Value]:
    """Greatest depth of a level over the diameter, blended by the squared cosine between along and across."""
    along, across, end = (practice()[f"depth_share.{k}"] for k in ("along", "across", "end"))
    if math.isnan(angle):
        return float(end.value), end
    c2 = math.cos(angle) ** 2
    return c2 * float(along.value) + (1 - c2) * float(across.value), along if c2 > 0.5 else across


def _cutter_rpm(cutter: Cutter) -> tuple[float, str, str]:
    """Greatest speed the cutter may turn, where that comes from, and the remedy."""
    below = "" if cutter.true_diameter >= _SMALL else f"; EN 847-1 covers no cutting circle under {_SMALL:g} mm"
    known = [
        (rpm, source)
        for rpm, source in ((cutter.marked_rpm, "marked on the cutter"), (cutter.maker_rpm, "maker's data sheet"))
        if rpm is not None
    ]
    if known:
        rpm, source = min(known)
        return rpm, source + below, "turn slower; the mark holds at the projection the maker states"
    habits = (practice()["unmarked_rpm"], _rim_habit(cutter))
    rim = float(spindle_speed(cutter.true_diameter, habits[1].value / 1000))
    source = f"neither marked nor in a maker's sheet; shown at what practice allows at most{below}"
    remedy = "find its greatest speed first and enter it as marked_rpm or maker_rpm"
    return min(float(habits[0].value), rim), source, remedy


def _rim_habit(cutter: Cutter) -> Value:
    return practice()["rim_speed_carbide" if cutter.body == "carbide" else "rim_speed_steel"]


def _rpm_bounds(cutter: Cutter, machine: Machine) -> tuple[float, float]:
    """Slowest and fastest speed that are looked at; the cutter's own bound keeps its reserve."""
    high = _cutter_rpm(cutter)[0] * (1 - _practice("reserve"))
    high = min(high, float(spindle_speed(cutter.true_diameter, _rim_habit(cutter).value / 1000)))
    low = high
    if machine.spindle is not None:
        high = min(high, machine.spindle.max_rpm)
        low = min(high, machine.spindle.min_rpm)
    else:
        low = high / 3
    high = _down(high, _RPM_STEP)
    return min(high, math.ceil(low / _RPM_STEP) * _RPM_STEP), high


# --- the search -------------------------------------------------------------------------------------------------------


def _shapes(cut: _Cut) -> Iterator[tuple[int, int, float, float, float, float]]:
    """Levels, side steps, width, mean and greatest share of the chip, and chip area, from the fewest levels on."""
    c = cut.cutter
    fewest = pass_count(cut.depth, cut.deepest)
    for levels in range(fewest, fewest + _MORE_LEVELS + 1):
        level = min(cut.depth / levels, c.cutting_length)
        across = float(effective_diameter(c, level))
        width = min(cut.width, across)  # of the first pass: in the solid it is a slot, whatever follows beside it
        beside = cut.width - width
        steps = 1 + (
            pass_count(beside, min(across, _practice("stepover_share") * c.true_diameter)) if beside > 0 else 0
        )
        mean = float(chipload.mean_share(width, across) * mean_edge_share(c, level))
        most = float(chipload.greatest_share(width, across) * edge_share(c, level))
        z = (np.arange(64) + 0.5) / 64 * level
        area = float(np.minimum(effective_diameter(c, z), width).mean() * level)
        yield levels, steps, width, mean, most, area


def _choose(cut: _Cut) -> _Trial:
    """The quickest setting within the hard bounds with the chip mid-window; else with the thickest chip that is."""
    thin, thick = cut.material.chip_thin, cut.chip_thick
    middle = math.sqrt(thin * thick)
    shapes = list(_shapes(cut))
    speeds = np.unique(np.append(np.arange(cut.lowest_rpm, cut.greatest_rpm, _RPM_STEP), cut.greatest_rpm))[::-1]
    for chip in np.geomspace(middle, thin, 9):
        found = [t for shape in shapes if (t := _fastest(cut, shape, float(chip), speeds)) is not None]
        if found:
            return min(found, key=lambda t: (_quick_seconds(cut, t), t.levels))
    # a cut too narrow for a clean chip, as in finishing a relief: the most a tooth may take
    found = [t for x in shapes if (t := _fastest(cut, x, cut.greatest_feed_per_tooth * x[3], speeds)) is not None]
    if found:
        return min(found, key=lambda t: (_quick_seconds(cut, t), t.levels))
    # nothing fits even with the thinnest clean chip: the gentlest that never passes the cutter's own speed
    levels, steps, width, mean, most, area = shapes[-1]
    rpm = float(speeds[-1])
    fpt = min(thin / mean, cut.greatest_feed_per_tooth)
    feed = _down(min(rpm * cut.cutter.flutes * fpt, cut.greatest_feed), _FEED_STEP)
    return _Trial(levels, steps, width, rpm, feed, mean, most, area)


def _fastest(
    cut: _Cut, shape: tuple[int, int, float, float, float, float], chip: float, speeds: np.ndarray[Any, Any]
) -> _Trial | None:
    """The highest speed at which one shape of cut stays within feed and power with that mean chip."""
    levels, steps, width, mean, most, area = shape
    feeds = speeds * cut.cutter.flutes * chip / mean
    fits = (feeds <= cut.greatest_feed) & (chip / mean <= cut.greatest_feed_per_tooth * (1 + 1e-9))
    if cut.machine.spindle is not None:
        need = _practice("specific_energy.high") * area * feeds / 60 / 1000
        fits &= need <= (1 - _practice("reserve")) * cut.machine.spindle.power_at(speeds)
    at = np.flatnonzero(fits)
    if not len(at):
        return None
    best = at[0]
    return _Trial(levels, steps, width, float(speeds[best]), _down(float(feeds[best]), _FEED_STEP), mean, most, area)


def _quick_seconds(cut: _Cut, t: _Trial) -> float:
    """Rough time to rank by: cutting, and a return at the rapid speed with two seconds for rising and sinking."""
    rapid = min(cut.machine.axes[0].rapid, cut.machine.axes[1].rapid)
    return t.passes * (60 * cut.length / t.feed + 60 * cut.length / rapid + 2.0)


# --- time -------------------------------------------------------------------------------------------------------------


def _minutes(cut: _Cut, t: _Trial) -> dict[str, float]:
    """Timed with the motion engine; see ``Setting``."""
    slow = t.feed
    chip = t.feed / (t.rpm * cut.cutter.flutes) * t.mean_share
    if chip > cut.material.chip_thin:
        slow = t.feed * cut.material.chip_thin / chip
    return {
        "low": _timed(cut, t, t.feed, "both"),
        "likely": _timed(cut, t, t.feed, "climb"),
        "high": _timed(cut, t, slow, "climb"),
    }


def _timed(cut: _Cut, t: _Trial, feed: float, direction: Literal["climb", "both"]) -> float:
    machine = cut.machine.with_(feed_share=1.0)  # the feed given is the feed as run
    plunge = max(_FEED_STEP, _practice("plunge_share") * feed)
    cutting = Cutting(cut.cutter, feed, plunge, t.rpm, cut.depth / t.levels, direction=direction)
    lead = cutting.radius + cutting.lead
    lines = [(k * t.width, cut.depth * (n + 1) / t.levels) for n in range(t.levels) for k in range(t.side_steps)]
    if cut.skim:
        lines.append((cut.width, cut.depth))
    tracer = Tracer(cutting, (-lead, 0.0))
    for i, (y, depth) in enumerate(lines):
        ends = ((-lead, y), (cut.length + lead, y))
        if direction == "both" and i:
            begin, end = (ends[1], ends[0]) if i % 2 else ends
            tracer.to(begin)
        else:
            begin, end = ends
            tracer.over(begin)
        tracer.sink_in_air(-depth)
        tracer.to(end)
    seconds = machine_time(tracer.moves(), machine).total_s
    return seconds / 60


# --- limits -----------------------------------------------------------------------------------------------------------


def _limits(cut: _Cut, t: _Trial) -> list[Limit]:
    return [*_speed_limits(cut, t), *_chip_limits(cut, t), *_depth_limits(cut, t), *_machine_limits(cut, t)]


def _limit(
    name: str, value: float, bound: float, unit: str, hard: bool, source: str, remedy: str, *, least: bool = False
) -> Limit:
    """A limit with its used share; ``least`` where the bound is one that must be reached."""
    if not (math.isfinite(bound) and bound > 0):
        return Limit(name, value, None, None, unit, hard, source, remedy, least)
    return Limit(name, value, bound, bound / value if least else value / bound, unit, hard, source, remedy, least)


def _speed_limits(cut: _Cut, t: _Trial) -> Iterator[Limit]:
    c = cut.cutter
    rpm, source, remedy = _cutter_rpm(c)
    bound = math.inf if c.marked_rpm is None and c.maker_rpm is None else rpm  # unknown is no permission
    yield _limit("over-speeds the cutter", t.rpm, bound, "rev/min", True, source, remedy)
    rim = _rim_habit(c)
    speed = float(cutting_speed(c.true_diameter, t.rpm))
    remedy = "turn slower, or take a smaller cutter"
    yield _limit("over-speeds the rim", speed, rim.value / 1000, "m/s", False, _cited(rim), remedy)


def _cited(value: Value) -> str:
    return "common practice, no source" if value.kind == "practice" else value.cited


def _chip_source(material: Material, name: str) -> str:
    value = material.values.get(name)
    return _cited(value) if value is not None else "common practice, no source"


def _chip_limits(cut: _Cut, t: _Trial) -> Iterator[Limit]:
    m, fpt = cut.material, t.feed / (t.rpm * cut.cutter.flutes)
    mean = fpt * t.mean_share
    thin, thick = _chip_source(m, "chip_thin"), _chip_source(m, "chip_thick")
    feed_more = "feed faster, turn slower, or take fewer flutes"
    yield _limit("burns", mean, m.chip_thin, "mm", False, f"mean chip: {thin}", feed_more, least=True)
    remedy = "feed slower, turn faster, or take more flutes"
    slender = f", less below {_SLENDER:g} mm" if cut.chip_thick < m.chip_thick else ""
    name = "breaks" if slender else "tears"
    yield _limit(name, mean, cut.chip_thick, "mm", False, f"mean chip: {thick}{slender}", remedy)
    habit = _cited(practice()["feed_per_tooth_share"])
    remedy = "feed slower, or turn faster: the tooth must bear more than its chip says where the cut thickens"
    yield _limit("snatches", fpt, cut.greatest_feed_per_tooth, "mm/tooth", False, f"share of the tip: {habit}", remedy)
    if cut.skim:
        across = float(effective_diameter(cut.cutter, min(cut.depth, cut.cutter.cutting_length)))
        skim = fpt * float(chipload.greatest_share(min(cut.skim, across), across))
        remedy = "keep a thicker skim, or feed faster for it"
        yield _limit("rubs on the skim", skim, m.chip_thin, "mm", False, f"greatest chip: {thin}", remedy, least=True)


def _depth_limits(cut: _Cut, t: _Trial) -> Iterator[Limit]:
    c, level = cut.cutter, cut.depth / t.levels
    remedy = "take more levels, or a thicker cutter"
    source = f"share of the diameter, less the further it sticks out: {_cited(cut.depth_habit)}"
    yield _limit("bends or breaks", level, cut.deepest, "mm", False, source, remedy)
    source = f"cutting length of {c.id}"
    yield _limit("rubs with the shank", cut.depth, c.cutting_length, "mm", True, source, "use a longer cutter")
    if c.up_shear_length > 0:
        source, remedy = f"up-cut length of {c.id}", "take fewer and deeper levels, or another cutter"
        yield _limit("tears the top face", level, c.up_shear_length, "mm", False, source, remedy, least=True)
    if not c.centre_cutting:
        remedy = "go in from beside the wood or along a ramp, never straight down"
        yield Limit("burns when plunged", 0.0, 0.0, 0.0, "plunges", True, f"{c.id} does not cut at its centre", remedy)


def _machine_limits(cut: _Cut, t: _Trial) -> Iterator[Limit]:
    machine = cut.machine
    source = machine.source or f"machine '{machine.name}'"
    feed = min(machine.axes[0].feed, machine.axes[1].feed)
    yield _limit("outruns the machine", t.feed, feed, "mm/min", True, source, "feed slower, with a slower spindle")
    spindle = machine.spindle
    if spindle is None:
        remedy = "enter the spindle's speeds and powers in the machine's file"
        yield Limit("stalls", None, None, None, "W", False, "no spindle is known", remedy)
        return
    yield _limit("outruns the spindle", t.rpm, spindle.max_rpm, "rev/min", True, source, "turn slower")
    remedy = "use a smaller cutter or another machine: the spindle cannot turn that slowly"
    yield _limit("too slow for the spindle", t.rpm, spindle.min_rpm, "rev/min", True, source, remedy, least=True)
    energy = practice()["specific_energy.high"]
    rate = t.area * t.feed / 60
    power = float(chipload.cutting_power(float(energy.value), rate))
    low, likely = (power * _practice(f"specific_energy.{k}") / float(energy.value) for k in ("low", "likely"))
    words = f"{source}; need {low:.0f} to {power:.0f} W, likely {likely:.0f}: specific energy from memory, uncertain"
    remedy = "take more levels or narrower steps, or feed slower with a slower spindle"
    yield _limit("stalls", power, float(spindle.power_at(t.rpm)), "W", True, words, remedy)
    torque = float(chipload.torque(power, t.rpm))
    most = float(chipload.torque(max(float(spindle.power_at(t.rpm)), 1e-9), t.rpm))
    yield _limit("stalls by torque", torque, most, "N mm", True, words, remedy)
