"""Reliefs of a few kinds, drawn from a seed by our own code: something to compute hours from before any artwork exists.

None of them is meant to be carved. Each has what makes its kind quick or slow under a cutter: how much of the surface
is level ground, how steep it is, how often a line goes up and down, and how narrow its grooves are. Sizes in mm;
``smallest_detail`` is the width of the narrowest grooves.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from shopcalc.cutters import Cutter
from shopcalc.cutting.engagement import refuse, require_positive
from shopcalc.learned import Learned
from shopcalc.machines import Machine
from shopcalc.materials import Material
from shopcalc.relief.carving import sanding_hours
from shopcalc.relief.finishing import cusps, stepover_for
from shopcalc.relief.heights import HeightMap
from shopcalc.relief.kind_drawings import PER_DETAIL, draw
from shopcalc.relief.maps import coarser
from shopcalc.relief.outlooks import sampled_seconds
from shopcalc.relief.reach import profile, reached
from shopcalc.relief.scheme import USUAL_CUSP, Scheme, rough_seconds, scheme_for

#: Doubt about an artwork that is not drawn yet, as sigma of the logarithm (reasoning: ours is not theirs).
OTHER_ARTWORK = 0.30
#: Of one carving against another of the same kind, feeds and cutters as planned (reasoning).
ONE_TO_ANOTHER = 0.15
_BAND = 1.2816  # sigmas to the tenth and the ninetieth of a hundred
_SQUARES = 600_000  # of a map that is drawn for hours


@dataclass(frozen=True)
class Correction:
    """What logged carvings teach about those to come.

    Parameters
    ----------
    factor : float
        True over told hours [-].
    sigma : float
        Of the logarithm of the next one's factor [-].
    count : int
        Carvings it rests on [-].
    """

    factor: float = 1.0
    sigma: float = math.hypot(OTHER_ARTWORK, ONE_TO_ANOTHER)
    count: int = 0


def correction(logged: Iterable[tuple[float, float]]) -> Correction:
    """What pairs of hours told before the artwork and hours logged say about the next carving.

    Parameters
    ----------
    logged : iterable of (float, float)
        (told, by the clock) of each carving, both in one unit [h].

    Returns
    -------
    Correction
        The factor moves from 1 to the geometric mean of the ratios as they get more, and the band narrows.

    Raises
    ------
    InputError
        When a time is not above 0.

    Notes
    -----
    A normal prior and normal ratios on the logarithm (A. Gelman et al., "Bayesian Data Analysis", section 2.5, from
    memory): prior 0 with ``OTHER_ARTWORK``; ratios stray by ``ONE_TO_ANOTHER``, or more where they visibly do.

    Example
    -------
    >>> one, many = correction([(10, 12)]), correction([(10, 12)] * 20)
    >>> round(one.factor, 2), round(many.factor, 2), many.sigma < one.sigma < correction([]).sigma
    (1.16, 1.2, True)
    """
    ratios = []
    for told, clock in logged:
        require_positive(told_hours=told, logged_hours=clock)
        ratios.append(math.log(clock / told))
    n = len(ratios)
    if n == 0:
        return Correction()
    noise = max(ONE_TO_ANOTHER, float(np.std(ratios, ddof=1)) if n > 1 else 0.0)
    weight = 1 / OTHER_ARTWORK**2 + n / noise**2
    return Correction(math.exp(sum(ratios) / noise**2 / weight), math.sqrt(1 / weight + noise**2), n)


@dataclass(frozen=True)
class Before:
    """Machine hours of a relief of which no artwork exists yet.

    Parameters
    ----------
    low, likely, high : float
        Machine time: nine of ten such carvings take more than low, half more than likely, one of ten more than high
        [s].
    kind : str
        Of relief.
    scheme : str
        Cutters, in order.
    stepover, cusp : float
        Of finishing [mm].
    each : tuple of float
        Of each relief that was drawn [s].
    sanding_hours : float
        Of people, the mean of the reliefs that were drawn [h].
    mean_cusp : float
        Likewise [mm].
    steep : float
        Slope across the lines that a twentieth of the area exceeds [rad].
    level_stepover : float
        What leaves the cusp on level ground [mm].
    level_seconds : float
        About the likely machine time at that step [s].
    """

    low: float
    likely: float
    high: float
    kind: str
    scheme: str
    stepover: float
    cusp: float
    each: tuple[float, ...]
    sanding_hours: float = 0.0
    mean_cusp: float = 0.0
    steep: float = 0.0
    level_stepover: float = 0.0
    level_seconds: float = 0.0

    def as_json(self) -> dict[str, Any]:
        """Plain data with units in the keys."""
        return {
            "kind": self.kind,
            "scheme": self.scheme,
            "stepover_mm": self.stepover,
            "cusp_mm": self.cusp,
            "mean_cusp_mm": self.mean_cusp,
            "sanding_hours": self.sanding_hours,
            "steep_rad": self.steep,
            "level_stepover_mm": self.level_stepover,
            "level_minutes": self.level_seconds / 60,
            "minutes": {"low": self.low / 60, "likely": self.likely / 60, "high": self.high / 60},
        }


def finisher(rack: Iterable[Cutter], depth: float, smallest_detail: float) -> Cutter:
    """The widest ball or tapered ball of a rack that goes into grooves of a width.

    Parameters
    ----------
    rack : iterable of Cutter
        To choose from.
    depth : float
        Of the relief; flutes must be as long [mm].
    smallest_detail : float
        Width of the narrowest grooves [mm].

    Returns
    -------
    Cutter
        Its tip no wider than the grooves; the finest where none is.

    Raises
    ------
    InputError
        When no ball of the rack is long enough.
    """
    able = [c for c in rack if c.shape in ("ball", "tapered ball", "core-box") and c.cutting_length >= depth]
    if not able:
        refuse(f"no ball of the rack reaches {depth:g} mm down", "name a finishing cutter, or add one to the rack")
    by_tip = sorted(able, key=lambda c: (profile(c).ball, c.id))
    fitting = [c for c in by_tip if 2 * profile(c).ball <= smallest_detail * 1.001]
    return fitting[-1] if fitting else by_tip[0]


def hours_before_artwork(
    kind: str,
    length: float,
    width: float,
    depth: float,
    smallest_detail: float,
    machine: Machine,
    material: Material,
    rack: Iterable[Cutter],
    *,
    cutter: Cutter | None = None,
    stepover: float | None = None,
    cusp: float | None = None,
    roughing: Cutter | Literal["suggested", "none"] = "suggested",
    seeds: Sequence[int] = (1, 2, 3),
    learned: Learned | None = None,
    corrected: Correction | None = None,
    sanding_per_area: float | None = None,
    progress: Callable[[float], None] | None = None,
) -> Before:
    """Machine time of a relief before there is any artwork: reliefs of its kind, drawn and computed by the same engine.

    Parameters
    ----------
    kind : str
        Of ``KINDS``.
    length, width, depth, smallest_detail : float
        See ``draw`` [mm].
    machine, material : Machine, Material
        Where and what.
    rack : iterable of Cutter
        To choose from.
    cutter : Cutter or None
        That finishes; None takes ``finisher``.
    stepover, cusp : float or None
        See ``scheme.scheme_for`` [mm].
    roughing : Cutter, "suggested" or "none"
        See ``scheme.scheme_for``.
    seeds : sequence of int
        One relief is drawn for each [-].
    learned : Learned or None
        The shop's own test cuts.
    corrected : Correction or None
        From ``correction``; None knows of no logged carving.
    sanding_per_area : float or None
        The shop's standard for level faces [s/m2]; None takes common practice.
    progress : callable or None
        Called with the share done.

    Returns
    -------
    Before
        Machine time and sanding. Drawing, programming, set-up are lines of their own in the job. Some fifty
        finishing lines of each relief are drawn and timed for all of them (``scheme.sampled_seconds``); a test holds
        that to the whole path within 6 %.

    Raises
    ------
    InputError
        When the kind or a size makes no sense, or a cutter cannot do its part.
    """
    cutters = list(rack)
    chosen = cutter or finisher(cutters, depth, smallest_detail)
    told = corrected or Correction()
    if not seeds:
        refuse("no relief is to be drawn", "give at least one seed")
    seconds, sanding, finishing, ridges, slopes = list[float](), list[float](), 0.0, list[float](), list[float]()
    scheme = None
    for number, seed in enumerate(seeds):
        pixel = max(smallest_detail / PER_DETAIL, math.sqrt(length * width / _SQUARES))
        drawn = draw(
            kind, length=length, width=width, depth=depth, smallest_detail=smallest_detail, seed=seed, pixel=pixel
        )
        if scheme is None:
            scheme = scheme_for(
                drawn, chosen, material, machine, cutters, stepover=stepover, cusp=cusp, roughing=roughing,
                learned=learned,
            )  # fmt: skip
        total = sampled_seconds(drawn, scheme.finishing, machine)
        finishing += total / len(seeds)
        hours, ridge, slope = _surface_work(drawn, scheme, sanding_per_area)
        sanding, ridges, slopes = [*sanding, hours], [*ridges, ridge], [*slopes, slope]
        for s in scheme.steps:
            if s.role == "rough":
                total += rough_seconds(coarser(drawn, 60_000), s, machine)
        total += len(scheme.steps) * (machine.times.cutter_change + machine.times.spindle_start)
        seconds.append(total)
        if progress is not None:
            progress((number + 1) / len(seeds))
    assert scheme is not None
    likely = math.exp(sum(math.log(t) for t in seconds) / len(seconds)) * told.factor
    strays = float(np.std(np.log(seconds), ddof=1)) if len(seconds) > 1 else 0.0
    wide = math.exp(_BAND * math.hypot(told.sigma, strays))
    wanted = USUAL_CUSP if cusp is None else cusp
    level = _level_step(chosen, wanted)
    across = scheme.finishing.stepover
    at_level = (likely / told.factor - finishing * (1 - min(1.0, across / level))) * told.factor
    return Before(
        likely / wide, likely, likely * wide, kind, scheme.name, across, wanted, tuple(seconds),
        float(np.mean(sanding)), float(np.mean(ridges)), float(np.mean(slopes)), level, at_level,
    )  # fmt: skip


def _surface_work(drawn: HeightMap, scheme: Scheme, per_area: float | None) -> tuple[float, float, float]:
    """Hours of sanding, mean cusp [mm], and the slope across the lines that a twentieth of the area exceeds [rad]."""
    small, f = coarser(drawn, 60_000), scheme.finishing
    after = reached(small, f.cutter, outside=scheme.outside)
    ridge = cusps(after, f.cutter, f.stepover, scheme.direction).mean
    rise = np.abs(np.gradient(after.z, after.pixel, axis=0))
    return sanding_hours(drawn, ridge, per_area), ridge, float(np.arctan(np.quantile(rise, 0.95)))


def _level_step(cutter: Cutter, cusp: float) -> float:
    """Sideways step that leaves a cusp on level ground [mm]."""
    level = HeightMap(np.zeros((2, 2)), 1.0)
    return stepover_for(level, cutter, cusp)
