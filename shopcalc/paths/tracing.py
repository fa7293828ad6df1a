"""What every path is drawn with: the cut's settings, runs of lines and arcs, the tracer that follows them, programs.

Coordinates: x and y along the part, z = 0 on the surface that is cut, negative into the wood. Points are those of the
centre of the cutter's tip. An operation starts and ends at the safe height.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from shopcalc.cutters import Cutter
from shopcalc.cutting.engagement import pass_depths, pass_levels, refuse, require_at_most, require_positive
from shopcalc.moves import Kind, Moves, Stop, from_lists, join

Point = tuple[float, float]
Direction = Literal["climb", "conventional", "both"]
Entry = Literal["ramp", "plunge"]
_SAME = 1e-7  # mm; closer points are one point
_FLAT = frozenset({"square end", "surfacing", "compression"})
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

    def __post_init__(self) -> None:
        require_positive(
            feed=self.feed, plunge_feed=self.plunge_feed, rpm=self.rpm, depth_per_pass=self.depth_per_pass,
            stepover=self.stepover, safe_height=self.safe_height, ramp=self.ramp, lead=self.lead,
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


@dataclass(frozen=True)
class Leg:
    """One line or arc of a run.

    Parameters
    ----------
    end : (2,) float
        Where it ends [mm].
    centre : (2,) float or None
        Of an arc [mm]; None for a line.
    sweep : float
        Of an arc, positive counter-clockwise [rad].
    """

    end: Point
    centre: Point | None = None
    sweep: float = 0.0


@dataclass(frozen=True)
class Run:
    """Lines and arcs in the plane, end to end.

    Parameters
    ----------
    start : (2,) float
        [mm].
    legs : tuple of Leg
        In order.

    Example
    -------
    >>> polyline([(0, 0), (3, 4)]).length
    5.0
    """

    start: Point
    legs: tuple[Leg, ...]

    @property
    def end(self) -> Point:
        """Where it ends [mm]."""
        return self.legs[-1].end if self.legs else self.start

    @property
    def closed(self) -> bool:
        """Whether it ends where it starts."""
        return bool(self.legs) and math.dist(self.start, self.end) < 1e-6

    @property
    def length(self) -> float:
        """Along lines and arcs [mm]."""
        return math.fsum(self.lengths())

    def lengths(self) -> list[float]:
        """Of each leg [mm]."""
        out, at = [], self.start
        for leg in self.legs:
            out.append(math.dist(at, leg.end) if leg.centre is None else math.dist(at, leg.centre) * abs(leg.sweep))
            at = leg.end
        return out

    def reversed(self) -> Run:
        """The same run the other way."""
        corners = [self.start, *(leg.end for leg in self.legs)]
        legs = [replace(leg, end=corners[i], sweep=-leg.sweep) for i, leg in enumerate(self.legs)]
        return Run(self.end, tuple(reversed(legs)))

    def split(self, distance: float) -> tuple[Run, Run]:
        """What lies before and after a distance from the start.

        Parameters
        ----------
        distance : float
            Along the run; clipped to its length [mm].
        """
        before: list[Leg] = []
        at, left = self.start, distance
        for i, (leg, length) in enumerate(zip(self.legs, self.lengths(), strict=True)):
            if left >= length - _SAME:
                before.append(leg)
                at, left = leg.end, left - length
                continue
            if left <= _SAME:
                return Run(self.start, tuple(before)), Run(at, self.legs[i:])
            first, second = _cut_leg(at, leg, left / length)
            return Run(self.start, (*before, first)), Run(first.end, (second, *self.legs[i + 1 :]))
        return self, Run(self.end, ())

    def begun_at(self, distance: float) -> Run:
        """A closed run begun somewhere else.

        Parameters
        ----------
        distance : float
            From the present start [mm].
        """
        before, after = self.split(distance % self.length)
        return Run(after.start, after.legs + before.legs) if after.legs else self

    def nearest(self, point: Point) -> float:
        """Distance along the run to its corner nearest to a point [mm].

        Parameters
        ----------
        point : (2,) float
            [mm].
        """
        corners = [self.start, *(leg.end for leg in self.legs)]
        along = np.concatenate([[0.0], np.cumsum(self.lengths())])
        return float(along[int(np.argmin([math.dist(c, point) for c in corners]))])


def _cut_leg(at: Point, leg: Leg, share: float) -> tuple[Leg, Leg]:
    """Divide a leg in two."""
    if leg.centre is None:
        mid = (at[0] + share * (leg.end[0] - at[0]), at[1] + share * (leg.end[1] - at[1]))
        return Leg(mid), leg
    sweep = leg.sweep * share
    mid = turned_point(at, leg.centre, sweep)
    return Leg(mid, leg.centre, sweep), replace(leg, sweep=leg.sweep - sweep)


def turned_point(point: Point, centre: Point, angle: float) -> Point:
    """A point turned about another.

    Parameters
    ----------
    point, centre : (2,) float
        [mm].
    angle : float
        Positive counter-clockwise [rad].
    """
    c, s = math.cos(angle), math.sin(angle)
    x, y = point[0] - centre[0], point[1] - centre[1]
    return centre[0] + c * x - s * y, centre[1] + s * x + c * y


def polyline(points: Iterable[Sequence[float]]) -> Run:
    """A run of straight lines; doubled points are dropped.

    Parameters
    ----------
    points : (n, 2) float
        At least two different ones [mm].

    Raises
    ------
    InputError
        When fewer than two differ, or one is not finite.
    """
    corners: list[Point] = []
    for p in points:
        if len(p) != 2 or not all(math.isfinite(v) for v in p):
            refuse(f"point {tuple(p)} is not a pair of finite numbers", "give x and y of each point")
        q = (float(p[0]), float(p[1]))
        if not corners or math.dist(q, corners[-1]) > _SAME:
            corners.append(q)
    if len(corners) < 2:
        refuse("a line needs at least two different points", "give its start and its end")
    return Run(corners[0], tuple(Leg(p) for p in corners[1:]))


def arc(centre: Point, radius: float, start: float, sweep: float) -> Run:
    """A circular arc, in pieces of at most half a turn.

    Parameters
    ----------
    centre : (2,) float
        [mm].
    radius : float
        [mm].
    start, sweep : float
        Direction of the start from the centre, and how far it turns, positive counter-clockwise [rad].
    """
    require_positive(radius=radius)
    begin = (centre[0] + radius * math.cos(start), centre[1] + radius * math.sin(start))
    n = max(1, math.ceil(abs(sweep) / math.pi - 1e-9))
    legs = [Leg(turned_point(begin, centre, sweep * (i + 1) / n), centre, sweep / n) for i in range(n)]
    if abs(abs(sweep) - 2 * math.pi) < 1e-12:
        legs[-1] = replace(legs[-1], end=begin)
    return Run(begin, tuple(legs))


def rounded_rectangle(x: Point, y: Point, radius: float, *, clockwise: bool) -> Run:
    """A closed rectangle with round corners, begun in the middle of its lower side (or at the end of it, for none).

    Parameters
    ----------
    x, y : (2,) float
        Lowest and highest coordinate [mm].
    radius : float
        Of the corners, 0 for sharp ones [mm].
    clockwise : bool
        Sense of travel seen from above.
    """
    (x0, x1), (y0, y1), r = x, y, radius
    mid = ((x0 + x1) / 2, y0)
    legs: list[Leg] = []
    corners = [((x1 - r, y0 + r), -1), ((x1 - r, y1 - r), 0), ((x0 + r, y1 - r), 1), ((x0 + r, y0 + r), 2)]
    at = mid
    for (cx, cy), quarter in corners:
        a = quarter * math.pi / 2
        begin = (cx + r * round(math.cos(a)), cy + r * round(math.sin(a)))
        end = (cx + r * round(math.cos(a + math.pi / 2)), cy + r * round(math.sin(a + math.pi / 2)))
        if math.dist(at, begin) > _SAME:
            legs.append(Leg(begin))
            at = begin
        if r > _SAME:
            legs.append(Leg(end, (cx, cy), math.pi / 2))
            at = end
    if math.dist(at, mid) > _SAME:
        legs.append(Leg(mid))
    else:
        legs[-1] = replace(legs[-1], end=mid)
    run = Run(mid, tuple(legs))
    return run.reversed() if clockwise else run


def stadium(centre: Point, length: float, width: float, angle: float, *, clockwise: bool) -> Run:
    """A closed slot shape: two lines and two half circles; a circle when length and width are alike.

    Parameters
    ----------
    centre : (2,) float
        [mm].
    length, width : float
        Over all, width not above length [mm].
    angle : float
        Of the length against x [rad].
    clockwise : bool
        Sense of travel seen from above.
    """
    r, half = width / 2, max(0.0, (length - width) / 2)

    def at(x: float, y: float) -> Point:
        return turned_point((centre[0] + x, centre[1] + y), centre, angle)

    right, left = at(half, 0), at(-half, 0)
    start = at(-half, -r)
    legs = [] if half < _SAME else [Leg(at(half, -r))]
    legs.append(Leg(at(half, r), right, math.pi))
    if half >= _SAME:
        legs.append(Leg(at(-half, r)))
    legs.append(Leg(start, left, math.pi))
    run = Run(start, tuple(legs))
    return run.reversed() if clockwise else run


def ring_run(points: Iterable[Sequence[float]], *, tolerance: float = 0.05) -> Run:
    """A closed run through a polygon's corners, with arcs where the corners lie on one.

    Parameters
    ----------
    points : (n, 2) float
        Corners of a ring, first and last alike [mm].
    tolerance : float
        Corners become an arc only when no chord lies further than this inside it [mm].

    Notes
    -----
    At least three chords on one circle, each turning less than 20 degrees, are one arc: offsets of straight-sided
    figures get true arcs about their corners, a hexagon stays a hexagon.
    """
    p = np.asarray([(q[0], q[1]) for q in points], dtype=float)
    p = p[np.concatenate([[True], np.hypot(*np.diff(p, axis=0).T) > _SAME])]
    turns = _begin_outside_an_arc(p)
    n = len(turns) - 1
    legs: list[Leg] = []
    i = 0
    while i < n:
        found = _arc_from(turns, i, tolerance)
        if found is None:
            legs.append(Leg((turns[i + 1][0], turns[i + 1][1])))
            i += 1
            continue
        j, centre, sweep = found
        pieces = arc(
            centre, math.dist(centre, turns[i]), math.atan2(turns[i][1] - centre[1], turns[i][0] - centre[0]), sweep
        ).legs
        legs += [*pieces[:-1], replace(pieces[-1], end=(turns[j][0], turns[j][1]))]
        i = j
    return Run((turns[0][0], turns[0][1]), tuple(legs))


def _begin_outside_an_arc(p: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> list[tuple[float, float]]:
    """The ring begun at its longest side, so that an arc is not cut in two by the ring's first corner."""
    longest = int(np.argmax(np.hypot(*np.diff(p, axis=0).T)))
    ring = np.concatenate([p[longest + 1 : -1], p[: longest + 2]]) if longest + 1 < len(p) - 1 else p
    if not np.array_equal(ring[0], ring[-1]):
        ring = np.concatenate([ring, ring[:1]])
    return [(float(a), float(b)) for a, b in ring]


def _arc_from(p: list[Point], i: int, tolerance: float) -> tuple[int, Point, float] | None:
    """The longest arc that begins at corner i: index of its end, centre and sweep; None when there is none."""
    found, j = None, i + 3
    while j < len(p) and (fitted := _fit(p[i : j + 1], tolerance)):
        found = (j, *fitted)
        j += 1
    return found


def _fit(p: list[Point], tolerance: float) -> tuple[Point, float] | None:
    """Centre and sweep of the arc through points, its ends exactly on it; None when they are not one arc."""
    (ax, ay), (bx, by), (cx, cy) = p[0], p[len(p) // 2], p[-1]
    d = 2 * ((bx - ax) * (cy - ay) - (by - ay) * (cx - ax))
    if abs(d) < 1e-12:
        if math.dist(p[0], p[-1]) > _SAME:
            return None
        cx, cy = p[len(p) // 4]  # a whole circle: three points a quarter apart
        d = 2 * ((bx - ax) * (cy - ay) - (by - ay) * (cx - ax))
        if abs(d) < 1e-12:
            return None
    b2, c2 = (bx - ax) ** 2 + (by - ay) ** 2, (cx - ax) ** 2 + (cy - ay) ** 2
    x, y = ax + ((cy - ay) * b2 - (by - ay) * c2) / d, ay + ((bx - ax) * c2 - (cx - ax) * b2) / d
    spokes = np.asarray(p) - (x, y)
    chords = np.hypot(*np.diff(p, axis=0).T)
    radii = np.hypot(spokes[:, 0], spokes[:, 1])
    u, v = spokes[:-1], spokes[1:]
    turns = np.arctan2(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0], (u * v).sum(axis=1))
    r, turn = float(radii[0]), float(np.abs(turns).max())
    small = turn < math.radians(20) and r * (1 - math.cos(turn / 2)) <= tolerance
    alike = float(chords.max()) < 5 * float(chords.min())  # offsets of chords alternate; a tangent is far longer
    round_ = float(np.abs(radii - r).max()) < 2e-5
    one_way = bool((turns > 0).all() or (turns < 0).all())
    return ((x, y), float(turns.sum())) if small and alike and round_ and one_way else None


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
        if math.dist(self.at, to) < _SAME:
            return False
        self.points.append(to)
        self.kinds.append(kind)
        self.feeds.append(feed)
        return True

    def over(self, point: Point) -> None:
        """Rise to the safe height and go over a point by rapids."""
        if math.dist(self.here, point) < _SAME and self.at[2] >= self.cutting.safe_height:
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
        """Straight down where no wood is: beside the part or in a space cut before."""
        self._add(Kind.LINE, (*self.here, z), self.cutting.feed)

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
        self._add(Kind.LINE, (*self.here, top), c.feed)
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
        From (0, 0, 0) up to the safe height; a cutter change and spindle start before the first operation and
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
    ['RAPID', 'CHANGE', 'STOP', 'RAPID', 'LINE', 'LINE', 'RAPID', 'RAPID', 'STOP', 'STOP']
    """
    if not operations:
        refuse("a program needs at least one operation", "add one")
    numbers = _numbers([c.cutter for c, _ in operations])
    safe = max(c.safe_height for c, _ in operations)
    labels = {n: i for i, n in numbers.items()}
    at = (0.0, 0.0, 0.0)
    parts: list[Moves] = []
    current: tuple[str, float] = ("", 0.0)

    def travel(to: tuple[float, float, float]) -> None:
        nonlocal at
        stops = [at, (at[0], at[1], safe), (to[0], to[1], safe), to]
        path = [p for i, p in enumerate(stops) if i == 0 or math.dist(p, stops[i - 1]) > _SAME]
        stand(path, [Kind.RAPID] * (len(path) - 1), [0.0] * (len(path) - 1))
        at = to

    def stand(path: list[tuple[float, float, float]], kinds: list[Kind], values: list[float]) -> None:
        number = numbers.get(current[0], 0)
        parts.append(from_lists(path, kinds, value=values, rpm=current[1], cutter=number))

    for cutting, moves in operations:
        wanted = (cutting.cutter.id, cutting.rpm)
        if wanted[0] != current[0]:
            travel((at[0], at[1], safe))
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
