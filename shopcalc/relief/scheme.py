"""A way to carve a relief: cutters in their order and how each is run."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal

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
from shopcalc.paths.tracing import Cutting
from shopcalc.relief.finishing import TOLERANCE, LineDirection, stepover_for
from shopcalc.relief.heights import HeightMap
from shopcalc.relief.layouts import direction_of, extent, lay_out
from shopcalc.relief.maps import LOOK, Role, coarser
from shopcalc.relief.reach import Outside, profile, reached, shank_room, swept
from shopcalc.relief.roughing import room_for_a_line, rough, roughing_levels
from shopcalc.relief.standing_wood import tips_for_roughing
from shopcalc.sources import practice

#: Cusp where nobody says one [mm]; common practice, no source: it sands away quickly.
USUAL_CUSP = 0.02
SKIM = 0.8  # mm left by roughing; common practice, no source
_ROUGH_SHARE = 0.45  # of the diameter, sideways; as other clearing passes
_SHARES = np.linspace(1.0, 0.02, 50)  # of the greatest feed without force, that are tried
_MOSTLY = 0.98  # of the area counts for what a cutter meets at once; the rest are slits it enters slowly
_SUGGESTED = 0.95  # of the area on which a suggested roughing cutter must have cleared enough


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
    small = coarser(surface, LOOK)

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
    small = coarser(surface, LOOK)
    shapes = {"ball", "tapered ball", "core-box", like.shape}
    found = [
        c for c in rack if c.shape in shapes and c.centre_cutting and not shank_room(small, c).obstacles(cleared=False)
    ]
    return tuple(sorted(found, key=lambda c: (abs(math.log(max(_width(c), 0.01) / max(_width(like), 0.01))), c.id)))


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
