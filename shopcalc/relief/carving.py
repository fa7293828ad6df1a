"""A relief carved by a scheme: its paths, minutes, cusps, and the sanding that is left."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np

from shopcalc.machines import Machine
from shopcalc.motion import machine_time
from shopcalc.moves import Floats, Moves
from shopcalc.paths.tracing import program
from shopcalc.relief.detail import TOLERANCE as REACHED
from shopcalc.relief.detail import DetailLeft
from shopcalc.relief.finishing import Cusps, cusps, finish
from shopcalc.relief.heights import HeightMap
from shopcalc.relief.hindrances import obstacles
from shopcalc.relief.maps import LOOK, coarser, reach_of, refined
from shopcalc.relief.reach import Progress, ShankRoom, profile, reached, shank_room
from shopcalc.relief.roughing import rough
from shopcalc.relief.scheme import Scheme, Step, after_roughing, line_count
from shopcalc.relief.standing_wood import stairs
from shopcalc.relief.wood_met import WoodMet, wood_met
from shopcalc.sources import practice

_MET_SQUARES = 600_000  # of the map on which the wood met is swept
_SCALLOP = 1 / 3  # mean height of a round ridge over its greatest (geometry: a parabola's)


@dataclass(frozen=True, eq=False)
class StepResult:
    """What one step does.

    Parameters
    ----------
    step : Step
        Which.
    moves : Moves or None
        None where nothing was left to clean.
    seconds : float
        Without cutter changes and the ways to and from the work [s].
    cutting_length : float
        At feed [mm].
    lines : int
        Lines side by side; levels of roughing [-].
    mean_feed : float
        Really reached while cutting [mm/min]; 0 without moves.
    """

    step: Step
    moves: Moves | None
    seconds: float
    cutting_length: float
    lines: int
    mean_feed: float


@dataclass(frozen=True, eq=False)
class CarvingResult:
    """What a scheme costs and leaves.

    Parameters
    ----------
    scheme : Scheme
        Which.
    steps : tuple of StepResult
        In their order.
    moves : Moves
        The whole program.
    seconds : float
        Of it [s].
    change_seconds : float
        Cutter changes, spindle starts and ways between the steps [s].
    left : DetailLeft
        By all finishing cutters together, cusps not counted.
    cusps : Cusps
        Of the finishing lines, on what their cutter reaches.
    roughing_left : float or None
        Wood that stands over the finished surface after roughing at most [mm]; None without roughing.
    sanding_hours : float
        Of people [h].
    room : ShankRoom
        Of the finishing cutter.
    notes : tuple of str
        What the operator should know.
    cannot : tuple of str
        Why a cutter cannot do its part, see ``obstacles``; minutes and wood are worth nothing then.
    met : WoodMet or None
        What the finishing cutter takes at once along its lines.
    """

    scheme: Scheme
    steps: tuple[StepResult, ...]
    moves: Moves
    seconds: float
    change_seconds: float
    left: DetailLeft
    cusps: Cusps
    roughing_left: float | None
    sanding_hours: float
    room: ShankRoom
    notes: tuple[str, ...] = field(default=())
    cannot: tuple[str, ...] = field(default=())
    met: WoodMet | None = None

    @property
    def minutes(self) -> float:
        """Machine time [min]."""
        return self.seconds / 60

    @property
    def path_length(self) -> float:
        """At feed, of all steps [mm]."""
        return sum(s.cutting_length for s in self.steps)

    @property
    def lines(self) -> int:
        """Of the step that finishes [-]."""
        return next(s.lines for s in self.steps if s.step.role == "finish")

    @property
    def wood_left(self) -> float:
        """Mean height of wood over the artwork: detail left, and a third of the cusps (their mean height) [mm]."""
        return self.left.mean + _SCALLOP * self.cusps.mean

    def as_json(self) -> dict[str, Any]:
        """Plain data with units in the keys."""
        f = self.scheme.finishing
        return {
            "minutes": self.minutes,
            "path_length_mm": self.path_length,
            "lines": self.lines,
            "stepover_mm": f.stepover,
            "cusp_mm": self.cusps.greatest,
            "cusp_mean_mm": self.cusps.mean,
            "detail_left": self.left.as_json(),
            "wood_left_mm": self.wood_left,
            "roughing_left_mm": self.roughing_left,
            "wood_met_mm": None if self.met is None else self.met.greatest,
            "wood_met_too_deep_share": None if self.met is None else self.met.share_above(f.depth_per_pass),
            "sanding_hours": self.sanding_hours,
            "cutter": f.cutter.id,
            "change_minutes": self.change_seconds / 60,
            "steps": [
                {
                    "role": s.step.role,
                    "cutter": s.step.cutter.id,
                    "stepover_mm": s.step.stepover,
                    "rpm": s.step.rpm,
                    "feed_mm_min": s.step.feed,
                    "feed_source": s.step.feed_source,
                    "greatest_feed_mm_min": s.step.greatest_feed,
                    "greatest_feed_binds": s.step.binds,
                    "mean_feed_mm_min": s.mean_feed,
                    "depth_per_pass_mm": s.step.depth_per_pass,
                    "minutes": s.seconds / 60,
                    "path_length_mm": s.cutting_length,
                    "lines": s.lines,
                }
                for s in self.steps
            ],
            "notes": list(self.notes),
        }


def carve(
    surface: HeightMap,
    scheme: Scheme,
    machine: Machine,
    *,
    sanding_per_area: float | None = None,
    cache: dict[str, HeightMap] | None = None,
    progress: Progress | None = None,
) -> CarvingResult:
    """Carve a relief by a scheme, on paper.

    Parameters
    ----------
    surface : HeightMap
        What shall be carved.
    scheme : Scheme
        How.
    machine : Machine
        Where.
    sanding_per_area : float or None
        The shop's standard for level faces [s/m2]; None takes common practice.
    cache : dict or None
        Cutter id to what it reaches of this surface; filled on the way, so that schemes share the work.
    progress : callable or None
        Called with the share done, after each step.

    Returns
    -------
    CarvingResult
        Every second from the path itself, by the same engine that times programs.

    Raises
    ------
    InputError
        When a step cannot be done.

    Example
    -------
    >>> from shopcalc.relief.heights import sampled
    >>> from shopcalc.shop import Shop
    >>> shop, bowl = Shop.open(), sampled(lambda x, y: -3 + 3 * ((x / 20 - 1) ** 2), 40.0, 20.0, pixel=0.25)
    >>> router, oak = shop.machine("router"), shop.material("white-oak")
    >>> from shopcalc.relief.scheme import Scheme, step
    >>> one = step("finish", shop.cutter("BALL6"), oak, router, stepover=0.5, wood=3.0)
    >>> result = carve(bowl, Scheme((one,)), router)
    >>> result.lines, result.left.greatest < 0.01
    (41, True)
    """
    cache = {} if cache is None else cache
    finishing = scheme.finishing
    done: list[StepResult] = []
    notes: list[str] = []
    roughing_left: float | None = None
    met: WoodMet | None = None
    roughed: Step | None = None
    for s in scheme.steps:
        moves, lines = None, 0
        if s.role == "rough":
            way: Literal["x", "y"] = "y" if scheme.direction == "y" else "x"
            moves = rough(
                surface, s.cutting, width_per_pass=s.stepover, skim=s.skim, direction=way, outside=scheme.outside
            )
            stands, lines = after_roughing(surface, s, scheme.outside)
            over = stands.z - surface.z
            roughing_left, roughed = float(over.max()), s
        elif s.role == "finish":
            fine = refined(surface, s.cutter, scheme.tolerance)
            moves = finish(
                fine, s.cutting, stepover=s.stepover,
                direction=scheme.direction, tolerance=scheme.tolerance, standing=roughing_left, outside=scheme.outside,
            )  # fmt: skip
            lines = line_count(surface, s.stepover, scheme.direction)
            steps_left = stairs(fine, s.cutter)
            if steps_left > scheme.tolerance:
                notes.append(
                    f"{s.cutter.id} is flat: on slopes it leaves steps of up to {steps_left:.2g} mm beside its cusps, "
                    "which a ball does not"
                )
            met = _met(surface, s, roughed, scheme)
            if met.greatest > s.depth_per_pass + 1e-6:
                share = 100 * met.share_above(s.depth_per_pass)
                notes.append(
                    f"{s.cutter.id} meets up to {met.greatest:.1f} mm of wood at once, more than the "
                    f"{s.depth_per_pass:.1f} mm it bears, on {'less than 0.1' if share < 0.1 else f'{share:.1f}'} % of "
                    f"its way: {'rough first' if roughed is None else 'rough closer with a smaller cutter'}, or slow "
                    "down there"
                )
        else:
            left = reach_of(surface, finishing.cutter, scheme.outside, cache).z - surface.z
            lower = reach_of(surface, s.cutter, scheme.outside, cache).z - surface.z
            moves = clean(surface, s, left, lower, scheme)
            lines = line_count(surface, s.stepover, scheme.direction)
            if moves is None:
                notes.append(f"{s.cutter.id} has nothing to clean up that it could reach")
        done.append(_timed(s, moves, lines, machine))
        if progress is not None:
            progress(len(done) / (len(scheme.steps) + 1))
        notes += s.doubts
    whole = program([(d.step.cutting, d.moves) for d in done if d.moves is not None])
    seconds = machine_time(whole, machine).total_s
    lowest = None
    for s in scheme.steps:
        if s.role != "rough":
            one = reach_of(surface, s.cutter, scheme.outside, cache).z
            lowest = one if lowest is None else np.minimum(lowest, one)
    assert lowest is not None
    after = reach_of(surface, finishing.cutter, scheme.outside, cache)
    ridges = cusps(after, finishing.cutter, finishing.stepover, scheme.direction)
    room = shank_room(surface, finishing.cutter)
    cannot = tuple(str(h) for h in obstacles(surface, scheme))
    return CarvingResult(
        scheme, tuple(done), whole, seconds, max(0.0, seconds - sum(d.seconds for d in done)),
        DetailLeft(surface.with_(np.maximum(lowest - surface.z, 0.0)), REACHED), ridges, roughing_left,
        carved_sanding(surface, scheme, sanding_per_area), room,
        tuple(dict.fromkeys([*cannot, *notes, *(() if cannot else room.notes)])), cannot, met,
    )  # fmt: skip


def _met(surface: HeightMap, finishing: Step, roughing: Step | None, scheme: Scheme) -> WoodMet:
    """What the finishing cutter takes at once, of what roughing left or of the whole blank."""
    level = coarser(surface, _MET_SQUARES)
    stands = (
        level.with_(np.zeros(level.z.shape)) if roughing is None else after_roughing(level, roughing, scheme.outside)[0]
    )
    return wood_met(level, stands, finishing.cutter, finishing.stepover, scheme.direction, scheme.outside)


def carved_sanding(surface: HeightMap, scheme: Scheme, per_area: float | None = None) -> float:
    """Hours of sanding after a scheme: one rule for a program that is drawn in full and for an outlook.

    Parameters
    ----------
    surface : HeightMap
        What shall be carved.
    scheme : Scheme
        How.
    per_area : float or None
        The shop's standard for level faces [s/m2].

    Returns
    -------
    float
        ``sanding_hours`` with the mean cusp of the finishing lines on a map of some 60 000 squares [h].
    """
    small, f = coarser(surface, LOOK), scheme.finishing
    ridges = cusps(reached(small, f.cutter, outside=scheme.outside), f.cutter, f.stepover, scheme.direction)
    return sanding_hours(surface, ridges.mean, per_area)


def clean(
    surface: HeightMap, cleaning: Step, left: Floats, lower: Floats, scheme: Scheme, *, apart: float = 1.0
) -> Moves | None:
    """Lines of a smaller cutter where a larger one left too much and the smaller one gets deeper.

    Parameters
    ----------
    surface : HeightMap
        What shall be carved.
    cleaning : Step
        Of the smaller cutter.
    left, lower : (rows, columns) float
        What the larger and the smaller cutter leave over the surface [mm].
    scheme : Scheme
        Direction, tolerance and edge.
    apart : float
        Times the step: only every so many lines, for an estimate [-].

    Returns
    -------
    Moves or None
        None where there is nothing to clean. As ``finishing.clean_up``, with what is reached taken from where it is
        known already and the lines on a refined map.
    """
    from scipy.ndimage import distance_transform_edt

    region = (left > cleaning.left_over) & (left - lower > cleaning.left_over / 2)
    if not region.any():
        return None
    under = profile(cleaning.cutter)
    grown = distance_transform_edt(~region) * surface.pixel <= under.flat + under.ball + cleaning.stepover / 2
    fine = refined(surface, cleaning.cutter, scheme.tolerance)
    split = round(surface.pixel / fine.pixel)
    return finish(
        fine, cleaning.cutting, stepover=cleaning.stepover * apart, direction=scheme.direction, outside=scheme.outside,
        tolerance=scheme.tolerance, area=np.kron(grown, np.ones((split, split), dtype=bool)),
        standing=float(left[region].max()),
    )  # fmt: skip


def _timed(s: Step, moves: Moves | None, lines: int, machine: Machine) -> StepResult:
    if moves is None:
        return StepResult(s, None, 0.0, 0.0, 0, 0.0)
    t = machine_time(moves, machine)
    cutting = t.cutting_time_s
    return StepResult(
        s, moves, t.total_s, moves.cutting_length, lines, 60 * moves.cutting_length / cutting if cutting > 0 else 0.0
    )


def sanding_hours(surface: HeightMap, mean_cusp: float, per_area: float | None = None) -> float:
    """Hours of sanding a carved surface asks for.

    Parameters
    ----------
    surface : HeightMap
        Its true area counts, slopes and all.
    mean_cusp : float
        Mean height of the ridges [mm].
    per_area : float or None
        The shop's standard for level faces [s/m2]; None takes common practice.

    Returns
    -------
    float
        [h]: area x standard x 6 x (1 + cusp / 0.05 mm). The two numbers are rows of the table of practice, with no
        source: replace them by your own log.

    Example
    -------
    >>> from shopcalc.relief.heights import sampled
    >>> level = sampled(lambda x, y: 0 * x - 2, 1000.0, 1000.0, pixel=10.0)
    >>> round(sanding_hours(level, 0.05, 35 * 60), 3)  # a square metre: 35 min x 6 x 2
    7.0
    """
    habits = practice()
    standard = habits["level_sanding"].value if per_area is None else per_area
    rises = [np.gradient(surface.z, surface.pixel, axis=a) for a, n in enumerate(surface.z.shape) if n > 1]
    stretch = float(np.mean(np.sqrt(1 + sum((np.square(r) for r in rises), np.zeros(surface.z.shape)))))
    area = stretch * surface.length * surface.width * 1e-6
    return area * standard / 3600 * habits["relief_sanding"].value * (1 + mean_cusp / habits["cusp_sanding"].value)
