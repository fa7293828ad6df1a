"""A way to carve a relief: cutters in their order, how each is run, and what comes of it in minutes and in wood."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Any, Literal, TypeAlias

import numpy as np

from shopcalc.cutters import Cutter
from shopcalc.cutting import limits
from shopcalc.cutting.engagement import refuse, require_positive
from shopcalc.cutting.grain import grain_vector
from shopcalc.cutting.usual import FEED_STEP, down, held_by, usual_feed, usual_rpm
from shopcalc.learned import Learned
from shopcalc.machines import Machine
from shopcalc.materials import Material
from shopcalc.motion import machine_time
from shopcalc.moves import Floats, Moves
from shopcalc.paths.tracing import Cutting, program
from shopcalc.relief.detail import TOLERANCE as REACHED
from shopcalc.relief.detail import DetailLeft
from shopcalc.relief.finishing import TOLERANCE, Cusps, LineDirection, cusps, finish, stepover_for
from shopcalc.relief.heights import HeightMap
from shopcalc.relief.lines import direction_of, extent, lay_out
from shopcalc.relief.reach import Obstacle, Outside, Progress, ShankRoom, profile, reached, shank_room, swept
from shopcalc.relief.roughing import room_for_a_line, rough, roughing_levels, stairs, tips_for_roughing
from shopcalc.relief.wood_met import WoodMet, wood_met
from shopcalc.sources import practice

Role: TypeAlias = Literal["rough", "finish", "clean up"]

#: Cusp where nobody says one [mm]; common practice, no source: it sands away quickly.
USUAL_CUSP = 0.02
_LOOK = 60_000  # squares of the map a scheme is made from
SKIM = 0.8  # mm left by roughing; common practice, no source
_ROUGH_SHARE = 0.45  # of the diameter, sideways; as other clearing passes
_SHARES = np.linspace(1.0, 0.02, 50)  # of the greatest feed without force, that are tried
_MOSTLY = 0.98  # of the area counts for what a cutter meets at once; the rest are slits it enters slowly
_SUGGESTED = 0.95  # of the area on which a suggested roughing cutter must have cleared enough
_SMOOTHER = 6.0  # of the tolerance: what the tip may sink between two samples
_MOST_SQUARES = 12_000_000  # of a refined map
_MET_SQUARES = 600_000  # of the map on which the wood met is swept
_SCALLOP = 1 / 3  # mean height of a round ridge over its greatest (geometry: a parabola's)


@dataclass(frozen=True)
class Step:
    """One cutter's part of a carving.

    Parameters
    ----------
    role : {"rough", "finish", "clean up"}
        Level by level, lines over everything, or lines only where the cutter before left too much.
    cutter : Cutter
        Which.
    stepover : float
        Sideways step [mm].
    feed, plunge_feed : float
        Along the path, and straight down [mm/min].
    rpm : float
        [rev/min].
    depth_per_pass : float
        Deepest cut at once [mm].
    skim : float
        Roughing: wood kept over the surface [mm].
    left_over : float
        Cleaning up: depth that may stay [mm].
    feed_source : str
        Where the feed comes from, for people.
    doubts : tuple of str
        Bounds that are passed all the same.
    greatest_feed : float
        What the limits of cutter, wood and machine allow at this speed and cut [mm/min].
    binds : str
        The limit that stops there.
    """

    role: Role
    cutter: Cutter
    stepover: float
    feed: float
    plunge_feed: float
    rpm: float
    depth_per_pass: float
    skim: float = 0.0
    left_over: float = 0.0
    feed_source: str = ""
    doubts: tuple[str, ...] = ()
    greatest_feed: float = 0.0
    binds: str = ""

    @property
    def cutting(self) -> Cutting:
        """As paths want it: to and fro, because a light cut shows no grain."""
        return Cutting(
            self.cutter,
            feed=self.feed,
            plunge_feed=self.plunge_feed,
            rpm=self.rpm,
            depth_per_pass=self.depth_per_pass,
            stepover=min(1.0, self.stepover / self.cutter.true_diameter),
            direction="both",
        )


@dataclass(frozen=True)
class Scheme:
    """Steps in their order.

    Parameters
    ----------
    steps : tuple of Step
        Roughing first where there is any, then one that finishes, then one that cleans up where there is any.
    direction : {"x", "y", "both"} or float
        Of the finishing lines, see ``finishing.finish``.
    tolerance : float
        Height by which straight pieces may miss the surface [mm].
    outside : {"nothing", "stock"}
        What stands beyond the map's edge.

    Raises
    ------
    InputError
        When not exactly one step finishes, or the order is another.
    """

    steps: tuple[Step, ...]
    direction: LineDirection = "x"
    tolerance: float = TOLERANCE
    outside: Outside = "nothing"

    def __post_init__(self) -> None:
        roles = [s.role for s in self.steps]
        order = {"rough": 0, "finish": 1, "clean up": 2}
        if roles.count("finish") != 1 or [order[r] for r in roles] != sorted(order[r] for r in roles):
            refuse(f"no scheme runs {', '.join(roles) or 'nothing'}", "rough, then finish once, then clean up")

    @property
    def finishing(self) -> Step:
        """The step that goes over everything."""
        return next(s for s in self.steps if s.role == "finish")

    @property
    def name(self) -> str:
        """For people: "SQ12 + TB3"."""
        return " + ".join(s.cutter.id for s in self.steps)


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


# --- how a step is run ------------------------------------------------------------------------------------------------


def step(
    role: Role,
    cutter: Cutter,
    material: Material,
    machine: Machine,
    *,
    stepover: float | None = None,
    wood: float = SKIM,
    skim: float = SKIM,
    left_over: float = 0.1,
    feed: float | None = None,
    rpm: float | None = None,
    learned: Learned | None = None,
) -> Step:
    """How a cutter is run in one step of a carving.

    Parameters
    ----------
    role : {"rough", "finish", "clean up"}
        What it does.
    cutter, material, machine : Cutter, Material, Machine
        What cuts what, and where.
    stepover : float or None
        Sideways step [mm]; roughing takes 45 % of the diameter without it, the others need it.
    wood : float
        Depth of wood a finishing line takes at most [mm].
    skim : float
        Kept by roughing [mm].
    left_over : float
        Left by cleaning up [mm].
    feed, rpm : float or None
        Instead of the usual ones [mm/min], [rev/min].
    learned : Learned or None
        The shop's own test cuts, which bound feed per tooth and depth.

    Returns
    -------
    Step
        The usual feed and speed (``cutting.usual``), less where the tip, the machine's axes, the shop's own test cuts
        or a hard bound of ``cutting.limits`` ask for less.

    Raises
    ------
    InputError
        When the cutter carves nothing or a size makes no sense.

    Example
    -------
    >>> from shopcalc.shop import Shop
    >>> shop = Shop.open()
    >>> s = step("finish", shop.cutter("TB3"), shop.material("white-oak"), shop.machine("router"), stepover=0.4)
    >>> s.rpm, s.feed
    (18000.0, 2740.0)
    """
    if cutter.shape == "drill":
        refuse(f"'{cutter.id}' is a drill, which carves nothing", "choose a ball, tapered ball, V or square end")
    if role == "rough" and cutter.shape in ("V", "tapered ball"):
        refuse(f"'{cutter.id}' is too pointed to clear levels", "choose a square end or a ball")
    across = _ROUGH_SHARE * cutter.true_diameter if stepover is None and role == "rough" else stepover
    if across is None:
        refuse(f"{role} needs a sideways step", "give a stepover or a cusp")
    assert across is not None
    require_positive(stepover=across)
    known = {}
    if learned is not None:
        for name in ("greatest_feed_per_tooth", "greatest_depth"):
            found = learned.value(name, cutter=cutter.id, machine=machine.name, station="flat", material=material.id)
            if found is not None:
                known[name] = found
    cut = limits.ask(
        cutter, material, machine, station="flat", grain=grain_vector("flat", 0.0),
        depth=min(max(wood, 0.1), cutter.cutting_length), width=min(across, cutter.true_diameter), learned=known,
    )  # fmt: skip
    level = limits.greatest_level(cut)
    turns = rpm or usual_rpm(cutter, machine)
    source, doubts = "given", list[str]()
    most = (1 - practice()["reserve"].value) * cut.greatest_feed_per_tooth * turns * cutter.flutes
    caps = {"feed per tooth, less a reserve": most, "the machine's axes": min(a.feed for a in machine.axes[:2])}
    meets = level if role == "rough" else min(wood, level)
    stops, cap = min(caps.items(), key=lambda c: c[1])
    greatest, held, bound = _within_bounds(cut, turns, cap, meets)
    if feed is None:
        own_feed = known.get("greatest_feed_per_tooth")
        source = "common practice, no source" if own_feed is None else f"{own_feed.source} and common practice"
        usual = usual_feed(cutter, material, turns)
        source += held_by(cutter, material) if usual < greatest else ""
        feed = down(min(usual, greatest), FEED_STEP)
        doubts += [f"{cutter.id}: {name}" for name in held]
    plunge = down(min(practice()["plunge_share"].value * feed, machine.axes[2].feed), FEED_STEP)
    return Step(
        role, cutter, across, feed, plunge, turns, min(level, cutter.cutting_length),
        skim if role == "rough" else 0.0, left_over if role == "clean up" else 0.0, source, tuple(doubts),
        down(greatest, FEED_STEP), bound or stops,
    )  # fmt: skip


def _within_bounds(cut: limits.Cut, rpm: float, feed: float, level: float) -> tuple[float, list[str], str]:
    """The greatest feed up to one that keeps all hard bounds, those that none keeps, and the one that stops it."""
    c = cut.cutter
    shape = limits.Pass(1, 1, max(min(level, c.cutting_length), 0.05), cut.width, "climb")
    feeds = feed * _SHARES
    found = limits.bounds(limits.Loads(cut, shape), rpm, feeds, quality=None)
    least = ("too slow for the spindle",)  # a speed, which is chosen before
    kept, held, stops = np.ones(len(feeds), dtype=bool), list[str](), {}
    for b in found:
        if not b.hard or b.least or b.name in least:
            continue
        ok = np.broadcast_to(np.asarray(b.kept), feeds.shape)
        if ok.any():
            kept &= ok
            stops[b.name] = int(np.argmax(ok))
        else:
            held.append(b.name)
    good = np.flatnonzero(kept)
    if not len(good):
        return float(feeds[-1]), held, max(stops, key=lambda n: stops[n], default="")
    name = max(stops, key=lambda n: stops[n], default="")
    return float(feeds[good[0]]), held, name if good[0] > 0 and stops[name] else ""


def needs_roughing(surface: HeightMap, finishing: Step) -> bool:
    """Whether a relief is deeper than the finishing cutter bears in one go.

    Parameters
    ----------
    surface : HeightMap
        What shall be carved.
    finishing : Step
        Of the cutter that goes over everything.

    Returns
    -------
    bool
        Whether more than 2 % of the area lie deeper than its ``depth_per_pass``.
    """
    return float(np.quantile(-surface.z, _MOSTLY)) > finishing.depth_per_pass + 1e-6


def scheme_for(
    surface: HeightMap,
    cutter: Cutter,
    material: Material,
    machine: Machine,
    rack: Iterable[Cutter],
    *,
    stepover: float | None = None,
    cusp: float | None = None,
    roughing: Cutter | Literal["suggested", "none"] = "suggested",
    cleaning: Cutter | None = None,
    direction: LineDirection = "x",
    outside: Outside = "nothing",
    feed: float | None = None,
    rpm: float | None = None,
    depth_per_pass: float | None = None,
    learned: Learned | None = None,
) -> Scheme:
    """A whole scheme from the cutter that shall finish.

    Parameters
    ----------
    surface : HeightMap
        What shall be carved.
    cutter : Cutter
        Goes over everything.
    material, machine : Material, Machine
        What and where.
    rack : iterable of Cutter
        To choose a roughing cutter from.
    stepover, cusp : float or None
        Sideways step, or the cusp from which it follows on all but 5 % of the area [mm]; neither takes ``USUAL_CUSP``.
    roughing : Cutter, "suggested" or "none"
        "suggested" roughs only where the relief is deeper than the finishing cutter bears, with the widest square end
        that leaves it no more than that on all but 5 % of the area, else the one that leaves least; none that is
        more slender than the finishing cutter where there are others.
    cleaning : Cutter or None
        A smaller one that goes where the first left more than 0.1 mm; its step leaves the same cusp.
    direction : {"x", "y", "both"} or float
        Of the finishing lines.
    outside : {"nothing", "stock"}
        What stands beyond the map's edge.
    feed, rpm : float or None
        Of finishing, instead of the usual ones [mm/min], [rev/min].
    depth_per_pass : float or None
        Of roughing at most [mm].
    learned : Learned or None
        The shop's own test cuts.

    Returns
    -------
    Scheme

    Raises
    ------
    InputError
        When both stepover and cusp are given, or a cutter cannot do its part.

    Example
    -------
    >>> from shopcalc.relief.heights import sampled
    >>> from shopcalc.shop import Shop
    >>> shop, bowl = Shop.open(), sampled(lambda x, y: -9 + 9 * ((x / 20 - 1) ** 2), 40.0, 20.0, pixel=0.25)
    >>> oak, router = shop.material("white-oak"), shop.machine("router")
    >>> scheme_for(bowl, shop.cutter("TB3"), oak, router, shop.cutters.values(), stepover=0.5).name
    'SQ6 + TB3'
    """
    if stepover is not None and cusp is not None:
        refuse("both a stepover and a cusp are given", "give one of them")
    if cleaning is not None and _width(cleaning) >= _width(cutter):
        refuse(f"the tip of '{cleaning.id}' is no finer than that of '{cutter.id}'", "clean up with a finer one")
    wanted = USUAL_CUSP if cusp is None else cusp
    small = coarser(surface, _LOOK)

    def across(c: Cutter) -> float:
        return stepover_for(reached(small, c, outside=outside), c, wanted, direction)

    def of(wood: float) -> Step:
        return step("finish", cutter, material, machine, stepover=apart, wood=wood, feed=feed, rpm=rpm, learned=learned)

    apart = across(cutter) if stepover is None else stepover
    steps: list[Step] = []
    finishing = of(surface.depth)
    if isinstance(roughing, Cutter):
        steps.append(step("rough", roughing, material, machine, learned=learned))
    elif roughing == "suggested" and needs_roughing(surface, finishing):
        found = _rougher(small, finishing, material, machine, rack, outside, learned)
        steps += [found] if found else []
    if steps:
        finishing = of(SKIM)
        if depth_per_pass is not None:
            steps = [replace(s, depth_per_pass=min(depth_per_pass, s.cutter.cutting_length)) for s in steps]
    steps.append(finishing)
    if cleaning is not None:
        near = across(cleaning) if stepover is None else stepover * profile(cleaning).ball / max(_ball(cutter), 1e-9)
        left = reached(small, cutter, outside=outside).z - small.z
        steps.append(
            step(
                "clean up", cleaning, material, machine, stepover=near, wood=float(np.quantile(left, _MOSTLY)),
                learned=learned,
            )
        )  # fmt: skip
    return Scheme(tuple(steps), direction, outside=outside)


def _width(cutter: Cutter) -> float:
    """Of the tip, as far as it goes into corners [mm]."""
    under = profile(cutter)
    return under.flat + under.ball


def _ball(cutter: Cutter) -> float:
    return profile(cutter).ball or cutter.true_diameter / 2


def _rougher(
    small: HeightMap, finishing: Step, material: Material, machine: Machine, rack: Iterable[Cutter], outside: Outside,
    learned: Learned | None,
) -> Step | None:  # fmt: skip
    """The widest square end that leaves the finishing cutter no more than it bears, else the one that leaves least."""
    able = [c for c in rack if c.shape == "square end" and c.centre_cutting and c.cutting_length >= small.depth]
    stout = [c for c in able if c.true_diameter >= finishing.cutter.true_diameter - 1e-6]  # slender ones take hours
    found: list[tuple[float, Step]] = []
    for c in sorted(stout or able, key=lambda c: (-round(c.true_diameter), c.stick_out, c.id)):
        one = step("rough", c, material, machine, learned=learned)
        if small.depth <= one.skim:
            return None
        after = after_roughing(small, one, outside)[0].z
        if (after < -1e-9).mean() < 1 - _MOSTLY:
            continue  # it clears next to nothing
        tips = small.with_(tips_for_roughing(small, c, one.skim, outside))
        first = roughing_levels(tips, one.depth_per_pass, one.stepover, skim=one.skim)[0]
        if room_for_a_line(tips, one.stepover) > -first + 1e-9:
            continue  # no line finds room
        stands = float(np.quantile(after - small.z, _SUGGESTED))
        if stands <= finishing.depth_per_pass:
            return one
        found.append((stands, one))
    return min(found, key=lambda f: f[0])[1] if found else None


# --- carving ----------------------------------------------------------------------------------------------------------


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


@dataclass(frozen=True)
class Hindrance:
    """A cutter of a scheme that cannot do its part, and why.

    Parameters
    ----------
    role : {"rough", "finish", "clean up"}
        Its part.
    cutter : Cutter
        Which.
    obstacle : Obstacle
        What stands in its way.
    """

    role: Role
    cutter: Cutter
    obstacle: Obstacle

    def __str__(self) -> str:
        return f"cannot be cut with {self.cutter.id}: {self.obstacle}"


def obstacles(surface: HeightMap, scheme: Scheme) -> tuple[Hindrance, ...]:
    """Why a scheme cannot be run at all: flutes, shank or collet that come in the way.

    Parameters
    ----------
    surface : HeightMap
        What shall be carved.
    scheme : Scheme
        How.

    Returns
    -------
    tuple of Hindrance
        Empty when every cutter reaches the bottom of its part. Geometry (``reach.shank_room``) on a map of some
        60 000 squares; flutes may be shorter than the relief is deep once another cutter took the wood above.
    """
    small, out, cleared = coarser(surface, _LOOK), list[Hindrance](), False
    for s in scheme.steps:
        tips = small.with_(tips_for_roughing(small, s.cutter, s.skim, scheme.outside)) if s.role == "rough" else None
        room = shank_room(small, s.cutter, tips)
        out += [Hindrance(s.role, s.cutter, o) for o in room.obstacles(cleared=cleared or s.role == "rough")]
        cleared = True
    return tuple(out)


def able(surface: HeightMap, rack: Iterable[Cutter], *, like: Cutter) -> tuple[Cutter, ...]:
    """Cutters of a rack that could finish a relief: flutes as long as it is deep, shank and collet clear.

    Parameters
    ----------
    surface : HeightMap
        What shall be carved.
    rack : iterable of Cutter
        To choose from.
    like : Cutter
        The one that cannot; those whose tip is nearest to its come first.

    Returns
    -------
    tuple of Cutter
        Balls, tapered balls and core-boxes, beside shapes of the same kind; only those that may go straight down.
    """
    small = coarser(surface, _LOOK)
    shapes = {"ball", "tapered ball", "core-box", like.shape}
    found = [
        c for c in rack if c.shape in shapes and c.centre_cutting and not shank_room(small, c).obstacles(cleared=False)
    ]
    return tuple(sorted(found, key=lambda c: (abs(math.log(max(_width(c), 0.01) / max(_width(like), 0.01))), c.id)))


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
    small, f = coarser(surface, _LOOK), scheme.finishing
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


def rough_seconds(surface: HeightMap, roughing: Step, machine: Machine, outside: Outside = "nothing") -> float:
    """Seconds of roughing alone.

    Parameters
    ----------
    surface : HeightMap
        What shall be carved; a coarse map will do.
    roughing : Step
        Cutter, levels and skim.
    machine : Machine
        Where.
    outside : {"nothing", "stock"}
        What stands beyond the map's edge.

    Returns
    -------
    float
        [s].
    """
    moves = rough(surface, roughing.cutting, width_per_pass=roughing.stepover, skim=roughing.skim, outside=outside)
    return machine_time(moves, machine).total_s


def sampled_seconds(
    surface: HeightMap, finishing: Step, machine: Machine, *, direction: LineDirection = "x",
    outside: Outside = "nothing", count: int = 48,
) -> float:  # fmt: skip
    """Seconds of all finishing lines, from a few of them drawn and timed.

    Parameters
    ----------
    surface : HeightMap
        What shall be carved.
    finishing : Step
        Cutter, feed and sideways step.
    machine : Machine
        Where.
    direction : {"x", "y", "both"} or float
        Of the lines.
    outside : {"nothing", "stock"}
        What stands beyond the map's edge.
    count : int
        Lines to draw, about [-].

    Returns
    -------
    float
        [s]. The ways between lines count once, not once for each line left out.
    """
    fine = refined(surface, finishing.cutter)
    lines = line_count(fine, finishing.stepover, direction)
    far = finishing.stepover * max(1.0, lines / count)
    moves = finish(fine, finishing.cutting, stepover=far, direction=direction, outside=outside)
    share = lines / line_count(fine, far, direction)
    across = fine.width if direction == "x" else fine.length
    return machine_time(moves, machine).total_s * share - (share - 1) * across / finishing.feed * 60


@dataclass(frozen=True)
class Outlook:
    """What a scheme takes, from a few of its lines: for hours before a program is written.

    Parameters
    ----------
    scheme : Scheme
        Which.
    seconds : tuple of float
        Of each step [s].
    change_seconds : float
        Cutter changes and spindle starts, the first among them [s].
    mean_cusp : float
        [mm]
    sanding_hours : float
        See ``carved_sanding`` [h].
    cannot : tuple of str
        Why a cutter cannot do its part, see ``obstacles``.
    """

    scheme: Scheme
    seconds: tuple[float, ...]
    change_seconds: float
    mean_cusp: float
    sanding_hours: float
    cannot: tuple[str, ...] = ()


def outlook(surface: HeightMap, scheme: Scheme, machine: Machine, *, sanding_per_area: float | None = None) -> Outlook:
    """The times of a scheme without its whole path: a fraction of ``carve``'s work.

    Parameters
    ----------
    surface : HeightMap
        What shall be carved.
    scheme : Scheme
        How.
    machine : Machine
        Where.
    sanding_per_area : float or None
        The shop's standard for level faces [s/m2].

    Returns
    -------
    Outlook
        Finishing and cleaning up from some lines, roughing on a coarse map; a test holds it to ``carve`` within 6 %.
    """
    small = coarser(surface, _LOOK)
    finishing, seconds = scheme.finishing, list[float]()
    after = reached(small, finishing.cutter, outside=scheme.outside)
    for s in scheme.steps:
        if s.role == "rough":
            seconds.append(rough_seconds(small, s, machine, scheme.outside))
        elif s.role == "finish":
            seconds.append(sampled_seconds(surface, s, machine, direction=scheme.direction, outside=scheme.outside))
        else:
            cache: dict[str, HeightMap] = {}
            left = reach_of(surface, finishing.cutter, scheme.outside, cache).z - surface.z
            moves = clean(surface, s, left, reach_of(surface, s.cutter, scheme.outside, cache).z - surface.z, scheme)
            seconds.append(0.0 if moves is None else machine_time(moves, machine).total_s)
    change = len(scheme.steps) * (machine.times.cutter_change + machine.times.spindle_start)
    ridges = cusps(after, finishing.cutter, finishing.stepover, scheme.direction).mean
    sanding, cannot = carved_sanding(surface, scheme, sanding_per_area), obstacles(surface, scheme)
    return Outlook(scheme, tuple(seconds), change, ridges, sanding, tuple(str(h) for h in cannot))


def reach_of(surface: HeightMap, cutter: Cutter, outside: Outside, cache: dict[str, HeightMap]) -> HeightMap:
    """What a cutter reaches, computed once.

    Parameters
    ----------
    surface : HeightMap
        What shall be carved; always the same for one cache.
    cutter : Cutter
        Which.
    outside : {"nothing", "stock"}
        What stands beyond the edge.
    cache : dict
        Cutter id to the answer.

    Returns
    -------
    HeightMap
        See ``reach.reached``.
    """
    if cutter.id not in cache:
        cache[cutter.id] = reached(surface, cutter, outside=outside)
    return cache[cutter.id]


def line_count(surface: HeightMap, stepover: float, direction: LineDirection) -> int:
    """Finishing lines over a map.

    Parameters
    ----------
    surface : HeightMap
        Which.
    stepover : float
        At most [mm].
    direction : {"x", "y", "both"} or float
        Of the lines.

    Returns
    -------
    int
    """
    ways = ("x", "y") if direction == "both" else (direction,)
    return sum(len(np.unique(lay_out(extent(surface), direction_of(w), stepover).line)) for w in ways)


def after_roughing(surface: HeightMap, roughing: Step, outside: Outside = "nothing") -> tuple[HeightMap, int]:
    """The terraces roughing leaves, and its number of levels.

    Parameters
    ----------
    surface : HeightMap
        What shall be carved.
    roughing : Step
        Cutter, levels and skim.
    outside : {"nothing", "stock"}
        What stands beyond the map's edge.

    Returns
    -------
    HeightMap
        Never below the surface [mm]. Geometry: each tip on the lowest level it may reach, lines as close as pixels.
    int
        Levels.
    """
    least = tips_for_roughing(surface, roughing.cutter, roughing.skim, outside)
    depths = roughing_levels(surface.with_(least), roughing.depth_per_pass, roughing.stepover, skim=roughing.skim)
    tips = np.zeros(least.shape)
    for depth in depths:
        tips[least <= -depth + 1e-9] = -depth
    left = swept(surface.with_(tips), roughing.cutter)
    return left.with_(np.clip(left.z, surface.z, 0.0)), len(depths)


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


def refined(surface: HeightMap, cutter: Cutter, tolerance: float = TOLERANCE) -> HeightMap:
    """A map fine enough that a round tip runs smoothly over it instead of from sample to sample.

    Parameters
    ----------
    surface : HeightMap
        What shall be carved.
    cutter : Cutter
        Its tip counts.
    tolerance : float
        Of the path [mm].

    Returns
    -------
    HeightMap
        Its squares split evenly by an odd number, so that every sample stays; linear between them, so that nothing is
        added. A tip of radius r sinks h^2 / 8 r between two samples, a V of flat radius f and half angle a
        (h/2 - f) / tan a (geometry); that shall be a sixth of the tolerance, as far as memory lets it.

    Example
    -------
    >>> from shopcalc.relief.heights import sampled
    >>> ball = Cutter("B6", "", "ball", 6, 6, 2, 20, 60, 30)
    >>> refined(sampled(lambda x, y: -x / 10, 20.0, 10.0, pixel=0.5), ball).pixel
    0.16666666666666666
    """
    tip, sinks = profile(cutter), tolerance / _SMOOTHER
    if tip.ball:
        wanted = math.sqrt(8 * tip.ball * sinks)
    elif tip.half_angle < math.pi / 2:
        wanted = 2 * (tip.flat + sinks * math.tan(tip.half_angle))
    else:
        return surface
    split = 1
    while surface.pixel / split > wanted * 1.01 and surface.z.size * (split + 2) ** 2 <= _MOST_SQUARES:
        split += 2
    if split == 1:
        return surface
    z = surface.z
    for axis in (0, 1):
        at = (np.arange(z.shape[axis] * split) + 0.5) / split - 0.5
        low = np.clip(np.floor(at).astype(np.int64), 0, max(z.shape[axis] - 2, 0))
        high = np.minimum(low + 1, z.shape[axis] - 1)
        share = np.clip(at - low, 0.0, 1.0)
        share = share[:, None] if axis == 0 else share
        z = np.take(z, low, axis=axis) * (1 - share) + np.take(z, high, axis=axis) * share
    return HeightMap(z, surface.pixel / split, surface.origin, surface.name)


def coarser(surface: HeightMap, squares: int) -> HeightMap:
    """A map of at most so many squares, means over whole blocks.

    Parameters
    ----------
    surface : HeightMap
        Which.
    squares : int
        At most.

    Returns
    -------
    HeightMap
        The same one when it is small enough; a last row or column that fills no block is left out.
    """
    block = max(1, math.ceil(math.sqrt(surface.z.size / squares)))
    rows, columns = surface.z.shape[0] // block, surface.z.shape[1] // block
    if block == 1 or min(rows, columns) < 2:
        return surface
    z = surface.z[: rows * block, : columns * block].reshape(rows, block, columns, block).mean(axis=(1, 3))
    return HeightMap(z, surface.pixel * block, surface.origin, surface.name)
