"""Runs as the flutes meet them: their legs, chords, turns, areas, and the ways beside them."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Literal, TypeAlias

import numpy as np
import shapely

from shopcalc.cutting.engagement import refuse
from shopcalc.paths.runs import SAME, Leg, Point, Run, turned_point

Side: TypeAlias = Literal["outside", "inside"]
Risk: TypeAlias = Literal["low", "some", "high"]
Chip: TypeAlias = Literal["thin", "web", "side"]


def check_outline(outline: Run) -> None:
    """Refuse an outline that has no length, two radii in an arc, or crosses itself.

    Parameters
    ----------
    outline : Run
        As given [mm].
    """
    values = [*outline.start, *(v for leg in outline.legs for v in (*leg.end, *(leg.centre or ()), leg.sweep))]
    if not outline.legs or outline.length < SAME or not all(math.isfinite(v) for v in values):
        refuse("the outline has no length or a point that is not finite", "give a run of lines and arcs")
    for a, leg in legs_of(outline):
        if leg.centre is not None and abs(math.dist(a, leg.centre) - math.dist(leg.end, leg.centre)) > 1e-4:
            refuse(f"the arc ending at ({leg.end[0]:g}, {leg.end[1]:g}) has two radii", "give it the right centre")
    drawn = shapely.LineString(chords(outline))
    if not drawn.is_simple:
        refuse("the outline crosses or touches itself", "give each part its own outline")


def legs_of(run: Run) -> list[tuple[Point, Leg]]:
    """Legs with their starts; doubled points dropped.

    Parameters
    ----------
    run : Run
        [mm].
    """
    starts = [run.start, *(leg.end for leg in run.legs)]
    pairs = zip(starts, run.legs, run.lengths(), strict=False)
    return [(at, leg) for at, leg, length in pairs if length > SAME]


def chords(run: Run, sagitta: float = 0.002) -> list[Point]:
    """A run as points, arcs by chords.

    Parameters
    ----------
    run : Run
        Lines and arcs.
    sagitta : float
        How far a chord may lie from its arc [mm].

    Returns
    -------
    list of (2,) float
        [mm].
    """
    out = [run.start]
    for at, leg in legs_of(run):
        if leg.centre is not None:
            radius = math.dist(at, leg.centre)
            step = 2 * math.acos(max(0.5, 1 - sagitta / radius))
            n = math.ceil(abs(leg.sweep) / step)
            out += [turned_point(at, leg.centre, leg.sweep * k / n) for k in range(1, n)]
        out.append(leg.end)
    return out


def tangent_at(at: Point, leg: Leg, share: float = 0.0) -> Point:
    """Direction of a leg at a share of its length.

    Parameters
    ----------
    at : (2,) float
        Start of the leg [mm].
    leg : Leg
        A line or an arc.
    share : float
        Of its length [ratio].
    """
    if leg.centre is None:
        length = math.dist(at, leg.end)
        return (leg.end[0] - at[0]) / length, (leg.end[1] - at[1]) / length
    x, y = turned_point(at, leg.centre, leg.sweep * share)
    sense = math.copysign(1 / math.dist(at, leg.centre), leg.sweep)
    return -(y - leg.centre[1]) * sense, (x - leg.centre[0]) * sense


def turn_between(before: tuple[Point, Leg], after: tuple[Point, Leg]) -> float:
    """How far the way turns at a joint [rad], positive to the left, where the wood is: an outside corner.

    Parameters
    ----------
    before, after : (Point, Leg)
        Legs with their starts.
    """
    a, b = tangent_at(*before, 1.0), tangent_at(*after)
    return math.atan2(a[0] * b[1] - a[1] * b[0], a[0] * b[0] + a[1] * b[1])


def signed_area(run: Run) -> float:
    """Area within a run [mm2], positive counter-clockwise; segments of arcs included.

    Parameters
    ----------
    run : Run
        Closed [mm].
    """
    x, y = np.array([run.start, *(leg.end for leg in run.legs)]).T
    x, y = x - x[0], y - y[0]
    total = float(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1])) / 2
    for at, leg in legs_of(run):
        if leg.centre is not None:
            total += math.dist(at, leg.centre) ** 2 / 2 * (leg.sweep - math.sin(leg.sweep))
    return total


def past_end(run: Run, which: int) -> tuple[Point, Point]:
    """End (1) or start (0) of a run and the direction out of it.

    Parameters
    ----------
    run : Run
        [mm].
    which : int
        1 for the end, 0 for the start.
    """
    legs = legs_of(run)
    if which:
        return run.end, tangent_at(*legs[-1], 1.0)
    x, y = tangent_at(*legs[0])
    return run.start, (-x, -y)


def extended(run: Run, before: float, after: float) -> Run:
    """A run made longer straight ahead at its start and its end.

    Parameters
    ----------
    run : Run
        [mm].
    before, after : float
        So much longer [mm].
    """
    (a, (ax, ay)), (b, (bx, by)) = past_end(run, 0), past_end(run, 1)
    legs = list(run.legs)
    start = run.start
    if before > SAME:
        start = (a[0] + ax * before, a[1] + ay * before)
        legs.insert(0, Leg(a))
    if after > SAME:
        legs.append(Leg((b[0] + bx * after, b[1] + by * after)))
    return Run(start, tuple(legs))


def way_beside(way: Run, away: float, closed: bool) -> Run:
    """A run at a distance on the right of another: rolling about outside corners, stopping in inside ones.

    Parameters
    ----------
    way : Run
        [mm].
    away : float
        How far [mm].
    closed : bool
        Whether it comes back to its start.
    """
    pieces: list[tuple[Point, Leg]] = []
    for at, leg in legs_of(way):
        (ax, ay), (bx, by) = tangent_at(at, leg), tangent_at(at, leg, 1.0)
        a = (at[0] + ay * away, at[1] - ax * away)
        b = (leg.end[0] + by * away, leg.end[1] - bx * away)
        if leg.centre is not None and leg.sweep < 0 and math.dist(at, leg.centre) <= away + SAME:
            radius = math.dist(at, leg.centre)
            refuse(
                f"the inside radius of {radius:g} mm at ({at[0]:g}, {at[1]:g}) is too small for {away:g} mm",
                "use a smaller cutter",
            )
        pieces.append((a, Leg(b, leg.centre, leg.sweep)))
    legs = legs_of(way)
    joints = [(k, (k + 1) % len(legs)) for k in range(len(legs) if closed else len(legs) - 1)]
    rolls: dict[int, Leg] = {}
    for k, after in joints:
        if math.dist(pieces[k][1].end, pieces[after][0]) < SAME:
            pieces[after] = (pieces[k][1].end, pieces[after][1])
            continue
        turn = turn_between(legs[k], legs[after])
        if turn > 0:
            rolls[k] = Leg(pieces[after][0], legs[k][1].end, turn)
            continue
        meeting = _meeting(pieces[k], pieces[after], legs[k][1].end)
        if meeting is None:
            x, y = legs[k][1].end
            refuse(
                f"the inside corner at ({x:g}, {y:g}) is too narrow for a radius of {away:g} mm", "use a smaller cutter"
            )
            raise AssertionError  # refused above
        pieces[k] = pieces[k][0], _cut_short(pieces[k], meeting, keep="start")
        pieces[after] = meeting, _cut_short(pieces[after], meeting, keep="end")
    out: list[Leg] = []
    for k, (_, leg) in enumerate(pieces):
        out.append(leg)
        if k in rolls:
            out.append(rolls[k])
    return Run(pieces[0][0], tuple(out))


def _cut_short(piece: tuple[Point, Leg], meeting: Point, *, keep: Literal["start", "end"]) -> Leg:
    _, leg = piece
    if leg.centre is None:
        return Leg(meeting) if keep == "start" else leg
    done = leg.sweep * _share(piece, meeting)
    return Leg(meeting, leg.centre, done) if keep == "start" else replace(leg, sweep=leg.sweep - done)


def _share(piece: tuple[Point, Leg], point: Point) -> float:
    """Share of a piece's length at which a point on it lies; outside 0 to 1 where it lies beyond."""
    at, leg = piece
    if leg.centre is None:
        (x, y), length = tangent_at(at, leg), math.dist(at, leg.end)
        return ((point[0] - at[0]) * x + (point[1] - at[1]) * y) / length
    (ux, uy), (vx, vy) = ((p[0] - leg.centre[0], p[1] - leg.centre[1]) for p in (at, point))
    turn = math.atan2(ux * vy - uy * vx, ux * vx + uy * vy)
    if turn * leg.sweep < 0 and abs(turn) > 1e-9:
        turn += math.copysign(2 * math.pi, leg.sweep)
    return turn / leg.sweep


def _meeting(before: tuple[Point, Leg], after: tuple[Point, Leg], corner: Point) -> Point | None:
    """Where two pieces cross nearest to their corner; None when they do not."""
    found = [p for p in _crossings(before, after) if all(-1e-9 <= _share(q, p) <= 1 + 1e-9 for q in (before, after))]
    return min(found, key=lambda p: math.dist(p, corner)) if found else None


def _crossings(a: tuple[Point, Leg], b: tuple[Point, Leg]) -> list[Point]:
    """Where the whole lines or circles of two pieces cross."""
    if a[1].centre is None and b[1].centre is None:
        (ux, uy), (vx, vy) = tangent_at(*a), tangent_at(*b)
        cross = ux * vy - uy * vx
        if abs(cross) < 1e-12:
            return []
        s = ((b[0][0] - a[0][0]) * vy - (b[0][1] - a[0][1]) * vx) / cross
        return [(a[0][0] + ux * s, a[0][1] + uy * s)]
    if a[1].centre is None or b[1].centre is None:
        line, circle = (a, b) if a[1].centre is None else (b, a)
        assert circle[1].centre is not None  # one of the two is an arc
        (ux, uy), centre, r = tangent_at(*line), circle[1].centre, math.dist(circle[0], circle[1].centre)
        px, py = line[0][0] - centre[0], line[0][1] - centre[1]
        middle = px * ux + py * uy
        root = middle**2 - (px * px + py * py - r * r)
        if root < 0:
            return []
        return [
            (line[0][0] + ux * s, line[0][1] + uy * s) for s in (-middle - math.sqrt(root), -middle + math.sqrt(root))
        ]
    c, d = a[1].centre, b[1].centre
    r, q, gap = math.dist(a[0], c), math.dist(b[0], d), math.dist(c, d)
    if gap < SAME or gap > r + q or gap < abs(r - q):
        return []
    along = (gap**2 + r**2 - q**2) / (2 * gap)
    up = math.sqrt(max(0.0, r**2 - along**2))
    ux, uy = (d[0] - c[0]) / gap, (d[1] - c[1]) / gap
    return [(c[0] + ux * along - uy * s, c[1] + uy * along + ux * s) for s in (up, -up)]
