"""The path of a plan: each stroke with its leads, clear of the part; and the path once around to hold it against."""

from __future__ import annotations

import math

import shapely

from shopcalc.cutting.breakout.lies import GrainMap
from shopcalc.cutting.breakout.outlines import (
    Side,
    chords,
    extended,
    legs_of,
    past_end,
    tangent_at,
    turn_between,
    way_beside,
)
from shopcalc.cutting.breakout.planning import EdgePlan, is_endless, quiet_share
from shopcalc.cutting.engagement import refuse
from shopcalc.cutting.grain import Direction
from shopcalc.machines import Machine
from shopcalc.motion import machine_time
from shopcalc.moves import Moves
from shopcalc.paths.runs import SAME, Leg, Run, turned_point
from shopcalc.paths.tracing import Cutting, Tracer

_GOUGE = 0.005  # mm; how near rounding and chords may bring the cutter to the part


def rewrite(plan: EdgePlan, cutting: Cutting, depth: float, *, scoring: float = 0.0) -> Moves:
    """Cut the edges in the planned order and directions.

    Parameters
    ----------
    plan : EdgePlan
        From ``plan_edges``.
    cutting : Cutting
        Its own direction is left aside: each stroke has one.
    depth : float
        From the surface [mm]; levels as the cutting has them.
    scoring : float
        Width of the light lap on the edges the plan names; none for 0 [mm].

    Returns
    -------
    Moves
        Each edge is a stroke of its own, begun and ended past its outside corners; at inside corners it stops where
        both walls are touched, so that they keep the cutter's radius. It comes down in air beside a blank whose waste
        goes in one pass, and by the cutting's entry in the wood otherwise. All levels of an edge before the next edge.

    Raises
    ------
    InputError
        When the cutter does not fit an inside corner or arc, is not straight, or too short.

    Notes
    -----
    A part that is cut through needs holding of its own: this leaves no bridges. Geometry.
    """
    _check_cutting(cutting, depth, scoring)
    t: Tracer | None = None
    for stroke in plan.strokes:
        piece = plan.map.edges[stroke.edge].piece
        lighter = stroke.edge in plan.scoring and scoring > 0
        for away in (scoring, 0.0) if lighter else (0.0,):
            t = _cut_edge(t, plan, cutting, piece, stroke.direction, away, depth)
    assert t is not None  # a plan has at least one stroke
    return t.moves()


def once_around(plan: EdgePlan, cutting: Cutting, depth: float) -> Moves:
    """The plain contour for comparison: once round level by level, rolling about the corners.

    Parameters
    ----------
    plan : EdgePlan
        Its outline, side and waste are used, its order is not.
    cutting : Cutting
        Direction included.
    depth : float
        From the surface [mm].

    Returns
    -------
    Moves
        Begun in the middle of the longest leg; an open run from end to end.

    Raises
    ------
    InputError
        As ``rewrite``.
    """
    _check_cutting(cutting, depth, 0.0)
    way = _whole(plan.map)
    direction: Direction = "climb" if cutting.climbs else "conventional"
    if way.closed:
        lengths = way.lengths()
        longest = max(range(len(lengths)), key=lengths.__getitem__)
        way = way.begun_at(sum(lengths[:longest]) + lengths[longest] / 2)
    return _cut_edge(None, plan, cutting, way, direction, 0.0, depth, around=True).moves()


def compare(plan: EdgePlan, cutting: Cutting, depth: float, machine: Machine, *, scoring: float = 0.0) -> tuple[
    float, float
]:  # fmt: skip
    """What the planned order costs in time.

    Parameters
    ----------
    plan : EdgePlan
        From ``plan_edges``.
    cutting : Cutting
        For both.
    depth : float
        From the surface [mm].
    machine : Machine
        Whose limits hold.
    scoring : float
        As ``rewrite`` [mm].

    Returns
    -------
    before, after : float
        Once round, and edge by edge [s].
    """
    plain, planned = once_around(plan, cutting, depth), rewrite(plan, cutting, depth, scoring=scoring)
    return machine_time(plain, machine).total_s, machine_time(planned, machine).total_s


def _check_cutting(cutting: Cutting, depth: float, scoring: float) -> None:
    cutting.require_flat("an edge square to the face")
    cutting.levels(depth)
    if not (math.isfinite(scoring) and scoring >= 0):
        refuse(f"scoring is {scoring:g} mm", "give zero or the width of the light lap")


def _whole(m: GrainMap) -> Run:
    """The outline in the flutes' way."""
    first = m.edges[0].piece
    if len(m.edges) == 1:
        return first
    return Run(first.start, tuple(leg for e in m.edges for leg in e.piece.legs))


def _cut_edge(
    t: Tracer | None, plan: EdgePlan, cutting: Cutting, piece: Run, direction: Direction, away: float, depth: float,
    *, around: bool = False,
) -> Tracer:  # fmt: skip
    """All levels of one stroke."""
    m, r = plan.map, cutting.radius + away
    closed = piece.closed and (around or is_endless(piece))
    if closed and not around:
        piece = piece.begun_at(quiet_share(m, piece))
    beside = way_beside(piece, r, closed)
    own = shapely.LineString(chords(m.outline))
    area = shapely.Polygon(chords(m.outline)) if m.outline.closed else None
    gap = _clear_of(shapely.LineString(chords(beside)), own, area, m.side)
    if gap < r - _GOUGE:
        refuse(
            f"{cutting.cutter.id} would cut into the part by {r - gap:.3g} mm elsewhere along the outline",
            "use a smaller cutter",
        )
    leads: tuple[Run, Run] | None = None
    if closed:
        if math.isfinite(plan.waste) and plan.waste <= 2 * cutting.radius:
            leads = _quarter_leads(beside, plan.waste, cutting.lead, own, area, m.side, r, direction)
        path = beside if direction == "conventional" else beside.reversed()
    else:
        head = _lead_in(m, piece, r, cutting, plan.waste, at_end=False)
        tail = _lead_in(m, piece, r, cutting, plan.waste, at_end=True)
        lengths = [_shortened(beside, s, e, own, area, m.side, r) for s, e in ((0, head), (1, tail))]
        path = extended(beside, *lengths)
        if direction == "climb":
            path = path.reversed()
        wanted, got = (tail, lengths[1]) if direction == "climb" else (head, lengths[0])
        # beyond its own corner, and clear of what stands round the rest of the part
        reach = cutting.radius + plan.waste - _GOUGE
        in_air = got >= wanted and (
            not m.outline.closed
            or (plan.waste <= 2 * cutting.radius and _clear_of(shapely.Point(path.start), own, area, m.side) >= reach)
        )
    begin = leads[0].start if leads else path.start
    if t is None:
        t = Tracer(cutting, begin)
    top = 0.0
    run = path
    for level in cutting.levels(depth):
        if closed and not leads:
            if math.dist(t.here, run.start) > SAME or top == 0.0:
                t.over(run.start)
            run = t.enter(run, top, -level)
            t.follow(run)
        elif leads:
            t.over(begin)
            t.sink_in_air(-level)
            for piece_of_it in (leads[0], path, leads[1]):
                t.follow(piece_of_it)
        else:
            t.over(begin)
            if in_air:
                t.sink_in_air(-level)
                t.follow(path)
            else:
                t.follow(t.enter(path, top, -level))
        top = -level
    return t


def _clear_of(
    line: shapely.LineString | shapely.Point, outline: shapely.LineString, area: shapely.Polygon | None, side: Side
) -> float:
    """How near a path comes to the part; 0 within it."""
    if area is not None:
        inside = line.intersects(area) if side == "outside" else not line.within(area)
        if inside:
            return 0.0
    return float(line.distance(outline))


def _lead_in(m: GrainMap, piece: Run, r: float, cutting: Cutting, waste: float, *, at_end: bool) -> float:
    """How far past a corner a stroke begins or ends: past the neighbour's waste too, where it is cut in one pass."""
    lead = cutting.lead
    if not m.outline.closed:
        return r + lead
    at = piece.end if at_end else piece.start
    edges = [e.piece for e in m.edges]
    other = next(e for e in edges if math.dist(e.start if at_end else e.end, at) < SAME)
    own_leg, their_leg = (legs_of(piece)[-1], legs_of(other)[0]) if at_end else (legs_of(piece)[0], legs_of(other)[-1])
    turn = turn_between(own_leg, their_leg) if at_end else turn_between(their_leg, own_leg)
    behind = waste if waste <= 2 * cutting.radius else 0.0
    return max(r, (r * (1 - math.cos(turn)) + behind) / math.sin(turn)) + lead


def _shortened(
    beside: Run, which: int, wanted: float, outline: shapely.LineString, area: shapely.Polygon | None, side: Side,
    r: float,
) -> float:  # fmt: skip
    """As much of the way past a corner as leaves the rest of the part alone."""
    low, high = 0.0, wanted
    at, (x, y) = past_end(beside, which)

    def free(length: float) -> bool:
        far = (at[0] + x * length, at[1] + y * length)
        line = shapely.LineString([at, far]) if length > SAME else shapely.Point(at)
        return _clear_of(line, outline, area, side) >= r - _GOUGE

    if free(high):
        return high
    for _ in range(30):
        middle = (low + high) / 2
        low, high = (middle, high) if free(middle) else (low, middle)
    return low


def _quarter_leads(
    path: Run, waste: float, lead: float, outline: shapely.LineString, area: shapely.Polygon | None, side: Side,
    r: float, direction: Direction,
) -> tuple[Run, Run] | None:  # fmt: skip
    """Quarter circles from beside the blank onto a closed path and off again; None where there is no room."""
    x, y = tangent_at(*legs_of(path)[0])
    if direction == "climb":
        x, y = -x, -y
    nx, ny = (y, -x) if direction == "conventional" else (-y, x)  # away from the wood
    radius = waste + lead
    at = path.start
    centre = (at[0] + nx * radius, at[1] + ny * radius)
    sweep = -math.pi / 2 if direction == "conventional" else math.pi / 2
    start, end = turned_point(at, centre, -sweep), turned_point(at, centre, sweep)
    leads = Run(start, (Leg(at, centre, sweep),)), Run(at, (Leg(end, centre, sweep),))
    clear = all(_clear_of(shapely.LineString(chords(x)), outline, area, side) >= r - _GOUGE for x in leads)
    in_air = _clear_of(shapely.Point(start), outline, area, side) >= r + waste - _GOUGE
    return leads if clear and in_air else None
