"""What every path is drawn with: the cut's settings, the tracer that follows runs, and programs.

Coordinates: x and y along the part, z = 0 on the surface that is cut, negative into the wood. Points are those of the
centre of the cutter's tip. An operation starts and ends at the safe height.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from shopcalc.cutters import Cutter
from shopcalc.cutting.engagement import pass_depths, pass_levels, refuse, require_at_most, require_positive
from shopcalc.moves import Kind, Moves, Stop, from_lists, join
from shopcalc.paths.runs import SAME, Leg, Point, Run
from shopcalc.paths.runs import arc as arc

Direction = Literal["climb", "conventional", "both"]
Entry = Literal["ramp", "plunge"]
_FLAT = frozenset({"square end", "surfacing", "compression"})
_CHANGE_BELOW = 1.0  # mm; so far below the safe height a cutter is changed, that z must move first afterwards
_BY_HAND = 100  # numbers of cutters that have no place in the rack begin above this one


@dataclass(frozen=True)
class Cutting:
    """A cutter and how it is run.

    Parameters
    ----------
    cutter : Cutter
        Its true diameter is used: the measured one where there is one.
    feed, plunge_feed : float
        Along the path, and straight down [mm/min].
    rpm : float
        Spindle speed [rev/min].
    depth_per_pass : float
        Greatest depth of one level, and of one peck [mm].
    stepover : float
        Greatest sideways step as share of the diameter, above 0 and at most 1 [-].
    safe_height : float
        Above the surface; nothing that holds the part may reach it [mm].
    direction : {"climb", "conventional", "both"}
        Side of the uncut wood for a spindle that turns clockwise seen from above: right, left, or in turns where
        lines run to and fro.
    entry : {"ramp", "plunge"}
        How it goes down where it cannot start beside the wood.
    ramp : float
        Steepest slope of a ramp or helix [rad].
    lead : float
        Run-in and run-out beside the wood, besides the cutter's radius [mm].
    vertical_feed : float, optional
        Greatest feed straight down where no wood is; twice ``plunge_feed`` where none is given (common practice, no
        source) [mm/min].

    Raises
    ------
    InputError
        When a setting is not above zero or out of its range.

    Example
    -------
    >>> sq = Cutter("SQ12", "", "square end", 12, 12, 2, 40, 90, 50)
    >>> Cutting(sq, 5000, 1500, 16000, depth_per_pass=6).step
    5.4
    """

    cutter: Cutter
    feed: float
    plunge_feed: float
    rpm: float
    depth_per_pass: float
    stepover: float = 0.45
    safe_height: float = 10.0
    direction: Direction = "climb"
    entry: Entry = "ramp"
    ramp: float = math.radians(3)
    lead: float = 2.0
    vertical_feed: float | None = None

    def __post_init__(self) -> None:
        require_positive(
            feed=self.feed, plunge_feed=self.plunge_feed, rpm=self.rpm, depth_per_pass=self.depth_per_pass,
            stepover=self.stepover, safe_height=self.safe_height, ramp=self.ramp, lead=self.lead,
            vertical_feed=self.feed_in_air,
        )  # fmt: skip
        require_at_most("stepover", self.stepover, "the whole diameter", 1.0, "give it as share of the diameter", "")
        require_at_most("ramp", self.ramp, "a right angle", math.pi / 2, "give the slope of the ramp", "rad")
        for name, given, allowed in (
            ("direction", self.direction, ("climb", "conventional", "both")),
            ("entry", self.entry, ("ramp", "plunge")),
        ):
            if given not in allowed:
                refuse(f"{name} '{given}' is not known", f"use one of: {', '.join(allowed)}")
        if self.entry == "plunge" and not self.cutter.centre_cutting:
            refuse(f"cutter {self.cutter.id} may not plunge: it does not cut at its centre", 'use entry "ramp"')

    @property
    def radius(self) -> float:
        """Half the true diameter [mm]."""
        return self.cutter.true_diameter / 2

    @property
    def step(self) -> float:
        """Greatest sideways step [mm]."""
        return self.stepover * self.cutter.true_diameter

    @property
    def feed_in_air(self) -> float:
        """Feed straight down where no wood is [mm/min]."""
        given = self.vertical_feed
        return min(self.feed, 2 * self.plunge_feed if given is None else given)

    @property
    def climbs(self) -> bool:
        """Whether the uncut wood lies to the right; "both" starts that way."""
        return self.direction != "conventional"

    def levels(self, depth: float, name: str = "depth") -> tuple[float, ...]:
        """Depths below the surface after each level [mm].

        Parameters
        ----------
        depth : float
            Whole depth [mm].
        name : str
            Of that depth in messages.

        Raises
        ------
        InputError
            When it is beyond the cutting length.
        """
        c = self.cutter
        require_positive(**{name.replace(" ", "_"): depth})
        require_at_most(name, depth, f"the cutting length of {c.id}", c.cutting_length, "use a longer cutter")
        return pass_levels(pass_depths(depth, self.depth_per_pass))

    def require_flat(self, what: str) -> None:
        """Refuse a cutter that leaves no flat floor.

        Parameters
        ----------
        what : str
            Operation, for the message.

        Raises
        ------
        InputError
            For balls, Vs, core-boxes and drills.
        """
        if self.cutter.shape not in _FLAT:
            shape = self.cutter.shape
            refuse(f"{what} needs a flat floor, but {self.cutter.id} is a {shape} cutter", "choose a square end")


class Tracer:
    """Draws one operation.

    Parameters
    ----------
    cutting : Cutting
        Feeds, heights and cutter.
    start : (2,) float
        Above which the operation begins, at the safe height [mm].
    """

    def __init__(self, cutting: Cutting, start: Point) -> None:
        self.cutting = cutting
        self.points: list[tuple[float, float, float]] = [(start[0], start[1], cutting.safe_height)]
        self.kinds: list[int] = []
        self.feeds: list[float] = []
        self.arcs: dict[int, tuple[tuple[float, float, float], float, int]] = {}

    @property
    def at(self) -> tuple[float, float, float]:
        """Where the tip is [mm]."""
        return self.points[-1]

    @property
    def here(self) -> Point:
        """Where the tip is in the plane [mm]."""
        return self.points[-1][:2]

    def _add(self, kind: Kind, to: tuple[float, float, float], feed: float = math.nan) -> bool:
        if math.dist(self.at, to) < SAME:
            return False
        self.points.append(to)
        self.kinds.append(kind)
        self.feeds.append(feed)
        return True

    def over(self, point: Point) -> None:
        """Rise to the safe height and go over a point by rapids."""
        if math.dist(self.here, point) < SAME and self.at[2] >= self.cutting.safe_height:
            return
        self.rise()
        self._add(Kind.RAPID, (*point, self.cutting.safe_height))

    def rise(self) -> None:
        """Straight up to the safe height by rapid."""
        self._add(Kind.RAPID, (*self.here, self.cutting.safe_height))

    def rapid_to(self, z: float) -> None:
        """Straight up or down by rapid, in free air only."""
        self._add(Kind.RAPID, (*self.here, z))

    def sink_in_air(self, z: float) -> None:
        """Straight down where no wood is, beside the part or in a space cut before, at what z can follow."""
        self._add(Kind.LINE, (*self.here, z), self.cutting.feed_in_air)

    def plunge(self, z: float) -> None:
        """Straight down into the wood."""
        c = self.cutting
        if not c.cutter.centre_cutting:
            refuse(f"cutter {c.cutter.id} may not plunge: it does not cut at its centre", "choose one that does")
        self._add(Kind.LINE, (*self.here, z), c.plunge_feed)

    def to(self, point: Point, z: float | None = None) -> None:
        """Straight at feed, level unless a height is given."""
        self.follow(Run(self.here, (Leg(point),)), z)

    def follow(self, run: Run, z: float | None = None) -> None:
        """Follow a run from where the tip is, changing height evenly along it; slower where it goes down steeply."""
        lengths = run.lengths()
        total, done = sum(lengths), 0.0
        begin = self.at[2]
        end = begin if z is None else z
        feed = self.cutting.feed
        if end < begin and total > 0:
            sine = (begin - end) / math.hypot(begin - end, total)
            feed = min(feed, self.cutting.plunge_feed / sine)
        for leg, length in zip(run.legs, lengths, strict=True):
            done += length
            height = end if leg is run.legs[-1] else begin + (end - begin) * done / total
            if leg.centre is None:
                self._add(Kind.LINE, (*leg.end, height), feed)
                continue
            centre = (*leg.centre, self.at[2])
            self.points.append((*leg.end, height))
            self.kinds.append(Kind.ARC)
            self.feeds.append(feed)
            self.arcs[len(self.kinds) - 1] = (centre, leg.sweep, 0)

    def enter(self, run: Run, top: float, z: float) -> Run:
        """Go down to a level at the start of a run; the tip stands over or in the start of it.

        Parameters
        ----------
        run : Run
            What will be followed at that level.
        top : float
            Height of the wood there now [mm].
        z : float
            Height to reach [mm].

        Returns
        -------
        Run
            What remains to be followed: the run itself, begun where the ramp ended.
        """
        c = self.cutting
        if self.at[2] > top + 1:
            self.sink_in_air(top + 1)
        if c.entry == "plunge" or (c.cutter.centre_cutting and run.length < c.cutter.true_diameter):
            self.plunge(z)
            return run
        self.sink_in_air(top)
        reach = (top - z) / math.tan(c.ramp)
        needed = math.pi * c.radius if run.closed else c.radius
        if not c.cutter.centre_cutting and run.length < needed:
            message = f"there is no room to ramp {c.cutter.id} down, which does not cut at its centre"
            refuse(message, "choose a cutter that may plunge, or a smaller one")
        if run.closed:
            return self._helix(run, reach, z)
        half = min(run.length, reach / 2)
        zigzags = max(1, math.ceil(reach / (2 * half) - 1e-9))
        there = run.split(half)[0]
        for i in range(zigzags):
            self.follow(there, top + (z - top) * (i + 0.5) / zigzags)
            self.follow(there.reversed(), top + (z - top) * (i + 1) / zigzags)
        return run

    def _helix(self, run: Run, reach: float, z: float) -> Run:
        """Down along a closed run; what is left of it begins where the ramp ended."""
        turns = math.ceil(reach / run.length - 1e-9)
        if turns <= 1:
            self.follow(run.split(reach)[0], z)
            return run.begun_at(reach)
        top = self.at[2]
        for i in range(turns):
            self.follow(run, top + (z - top) * (i + 1) / turns)
        return run

    def strokes(self, lines: Sequence[tuple[Point, Point]], z: float) -> None:
        """Parallel lines that begin and end beside the wood; to and fro only when the direction is "both"."""
        for i, (begin, end) in enumerate(lines):
            a, b = (end, begin) if self.cutting.direction == "both" and i % 2 else (begin, end)
            if self.cutting.direction == "both" and i:
                self.to(a)
            else:
                self.over(a)
                self.sink_in_air(z)
            self.to(b)

    def moves(self) -> Moves:
        """Rise, and hand over everything drawn."""
        self.rise()
        c = self.cutting.cutter
        return from_lists(
            self.points, self.kinds, feed=self.feeds, arcs=self.arcs, rpm=self.cutting.rpm, cutter=c.number or 0,
            labels={c.number: c.id} if c.number else {},
        )  # fmt: skip


def turned(moves: Moves, angle: float, about: Point = (0.0, 0.0)) -> Moves:
    """Moves turned about a vertical axis.

    Parameters
    ----------
    moves : Moves
        Arcs in the XY plane only.
    angle : float
        Positive counter-clockwise [rad].
    about : (2,) float
        Where the axis stands [mm].

    Raises
    ------
    ValueError
        When there is an arc in another plane.
    """
    if (moves.arc_plane != 0).any():
        raise ValueError("only arcs in the XY plane can be turned about z")
    c, s = math.cos(angle), math.sin(angle)
    matrix = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]])
    pivot = np.array([*about, 0.0])
    return replace(
        moves,
        points=(moves.points - pivot) @ matrix.T + pivot,
        arc_centre=(moves.arc_centre - pivot) @ matrix.T + pivot,
    )


def in_turn(cutting: Cutting, parts: Sequence[Moves]) -> Moves:
    """Operations of one cutter one after the other, joined by rapids at the safe height.

    Parameters
    ----------
    cutting : Cutting
        Its speed and place in the rack.
    parts : sequence of Moves
        Each begins and ends at the safe height.

    Returns
    -------
    Moves
    """
    out: list[Moves] = []
    for moves in parts:
        if out:
            way = [out[-1].points[-1], moves.points[0]]
            if math.dist(*way) > 1e-7:
                out.append(from_lists(way, [Kind.RAPID], rpm=cutting.rpm, cutter=cutting.cutter.number or 0))
        out.append(moves)
    return join(out)


def program(operations: Sequence[tuple[Cutting, Moves]], *, return_to: Point = (0.0, 0.0)) -> Moves:
    """Join operations to one program.

    Parameters
    ----------
    operations : sequence of (Cutting, Moves)
        In the order they are cut; each made with that Cutting.
    return_to : (2,) float
        Where the spindle waits at the end [mm].

    Returns
    -------
    Moves
        From (0, 0, 0) straight up. A cutter is changed 1 mm below the safe height, where the operation before ended,
        because nothing is known of the height it is left at: afterwards z goes up alone before anything moves
        sideways. A cutter change and spindle start before the first operation and
        wherever the cutter differs from the one before, a spindle start alone where only its speed does; at the end
        spindle stop and end of program. Cutters without a place in the rack get numbers above 100.

    Raises
    ------
    InputError
        When there is no operation, or two cutters claim one place in the rack.

    Example
    -------
    >>> sq = Cutter("SQ12", "", "square end", 12, 12, 2, 40, 90, 50, number=3)
    >>> setting = Cutting(sq, 5000, 1500, 16000, depth_per_pass=6)
    >>> t = Tracer(setting, (10, 0))
    >>> t.plunge(-3); t.to((60, 0))
    >>> whole = program([(setting, t.moves())])
    >>> [Kind(k).name for k in whole.kind]
    ['RAPID', 'CHANGE', 'RAPID', 'STOP', 'RAPID', 'LINE', 'LINE', 'RAPID', 'RAPID', 'STOP', 'STOP']
    """
    if not operations:
        refuse("a program needs at least one operation", "add one")
    numbers = _numbers([c.cutter for c, _ in operations])
    safe = max(c.safe_height for c, _ in operations)
    change_height = safe - min(_CHANGE_BELOW, safe / 2)
    labels = {n: i for i, n in numbers.items()}
    at = (0.0, 0.0, 0.0)
    parts: list[Moves] = []
    current: tuple[str, float] = ("", 0.0)

    def travel(to: tuple[float, float, float]) -> None:
        nonlocal at
        stops = [at, (at[0], at[1], safe), (to[0], to[1], safe), to]
        path = [p for i, p in enumerate(stops) if i == 0 or math.dist(p, stops[i - 1]) > SAME]
        stand(path, [Kind.RAPID] * (len(path) - 1), [0.0] * (len(path) - 1))
        at = to

    def stand(path: list[tuple[float, float, float]], kinds: list[Kind], values: list[float]) -> None:
        number = numbers.get(current[0], 0)
        parts.append(from_lists(path, kinds, value=values, rpm=current[1], cutter=number))

    for cutting, moves in operations:
        wanted = (cutting.cutter.id, cutting.rpm)
        if wanted[0] != current[0]:
            stand([at, (at[0], at[1], change_height)], [Kind.RAPID], [0.0])
            at = (at[0], at[1], change_height)
            if current[0]:
                stand([at, at], [Kind.STOP], [float(Stop.SPINDLE_STOP)])
            current = (wanted[0], 0.0)
            stand([at, at], [Kind.CHANGE], [float(numbers[wanted[0]])])
        if wanted != current:
            travel((at[0], at[1], safe))
            current = wanted
            stand([at, at], [Kind.STOP], [float(Stop.SPINDLE_START)])
        first, last = moves.points[0], moves.points[-1]
        travel((float(first[0]), float(first[1]), float(first[2])))
        n = len(moves)
        number = np.full(n, numbers[wanted[0]], dtype=np.int32)
        parts.append(replace(moves, cutter=number, rpm=np.full(n, cutting.rpm), labels={}))
        at = (float(last[0]), float(last[1]), float(last[2]))
    travel((return_to[0], return_to[1], safe))
    current = (current[0], 0.0)
    stand([at, at, at], [Kind.STOP, Kind.STOP], [float(Stop.SPINDLE_STOP), float(Stop.END)])
    return replace(join(parts), labels=labels)


def _numbers(cutters: Sequence[Cutter]) -> dict[str, int]:
    """Number of each cutter by id: its place in the rack, else one above all places."""
    out: dict[str, int] = {}
    for c in cutters:
        if c.number:
            for other, number in out.items():
                if number == c.number and other != c.id:
                    refuse(f"cutters {other} and {c.id} both claim place {number}", "give one of them another place")
            out[c.id] = c.number
    free = max([_BY_HAND, *out.values()]) + 1
    for c in cutters:
        if c.id not in out:
            out[c.id], free = free, free + 1
    return out
