"""Runs: lines and arcs in the plane, end to end, to be followed by a cutter at any height."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from shopcalc.cutting.engagement import refuse, require_positive

Point = tuple[float, float]
SAME = 1e-7  # mm; closer points are one point


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
            if left >= length - SAME:
                before.append(leg)
                at, left = leg.end, left - length
                continue
            if left <= SAME:
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
        if not corners or math.dist(q, corners[-1]) > SAME:
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
        if math.dist(at, begin) > SAME:
            legs.append(Leg(begin))
            at = begin
        if r > SAME:
            legs.append(Leg(end, (cx, cy), math.pi / 2))
            at = end
    if math.dist(at, mid) > SAME:
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
    legs = [] if half < SAME else [Leg(at(half, -r))]
    legs.append(Leg(at(half, r), right, math.pi))
    if half >= SAME:
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
    p = p[np.concatenate([[True], np.hypot(*np.diff(p, axis=0).T) > SAME])]
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
        if math.dist(p[0], p[-1]) > SAME:
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
