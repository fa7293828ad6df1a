"""Break-out: where round a part the flutes cut against the grain, where they leave through a face and split it off.

The spindle turns clockwise seen from above. Where a flute touches the wall that stays, its motion then depends on one
thing only: on which side the wood lies. With the wood that stays on the left of one's way, the flutes move along with
it: counter-clockwise round a part, clockwise round an opening. That is called the flutes' way here. The feed has no say
in it: climbing goes against the flutes' way and conventional cutting along it, but reversing the feed changes neither
the lie of the grain at a wall nor the corner through which the flutes come out. What does: to turn the part over and
cut it from its other face, or to turn the spindle the other way with a cutter of that hand.

The rule of break-out, from geometry: a flute moving along ``motion`` leaves the wood through a face with outward normal
``face`` where ``face . motion > 0``; what lies there has nothing behind it. It splits along the fibres, and the split
stays in the face where they run nearly along it: ``|grain . face|`` small. Where they stand on the face they are only
cut off. So a cut across the grain breaks the far edge off, a cut along it that leaves through end grain does not, and
on end, where the fibres run with the spindle, every way out is a bad one.

How feed comes into it: climbing, that face is passed at the beginning of the stroke and only a chip that thins is
pushed out of it; conventionally, at the end, through the last web of wood, which is torn off with the fibres behind it.
And the order: a face that has not been cut yet has its waste behind it, which takes the split and is cut off later.
Hence across the grain first and along it last (common practice, no source; here it follows from the rule).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from shopcalc.cutting.engagement import refuse, require_positive
from shopcalc.cutting.grain import MODES, Direction, Lie, Station, flute_modes, grain_vector, lie_at_wall
from shopcalc.machines import Machine
from shopcalc.motion import machine_time
from shopcalc.moves import Kind, Moves
from shopcalc.paths.joinery import Tenon, tenon
from shopcalc.paths.runs import SAME, Leg, Point, Run, turned_point
from shopcalc.paths.tracing import Cutting, Tracer

Side: TypeAlias = Literal["outside", "inside"]
Risk: TypeAlias = Literal["low", "some", "high"]
Chip: TypeAlias = Literal["thin", "web", "side"]

#: Common practice, no source: a joint that turns less is a bend and no corner; fibres within the second angle of a face
#: split along it; a split takes about a millimetre with it; against the grain it tears most between these slopes.
CORNER = math.radians(10)
NEARLY_ALONG = math.radians(30)
BUNDLE = 1.0
TEARING = (math.radians(3), math.radians(60))
_GOUGE = 0.005  # mm; how near rounding and chords may bring the cutter to the part
_ANGLE = 1e-9  # rad; a shorter piece of an arc is rounding

_TURN_OVER = (
    "reversing the feed changes nothing: cut it from the part's other face, or turn the spindle the other way with a "
    "cutter of that hand; else a sharp cutter and a light last lap"
)
_BLOCK = "clamp a back-up block against it, or keep 1 mm for a light climbing lap"


@dataclass(frozen=True)
class Stretch:
    """Part of an outline along which the grain lies one way.

    Parameters
    ----------
    start_distance, end_distance : float
        Along the outline as given [mm].
    piece : Run
        The stretch itself: one line, or an arc.
    lie : {"with", "against", "neither"}
        Of the grain at the wall.
    modes : (3,) float
        Mean share of each mode at the wall, in the order of ``grain.MODES`` [-].
    grain_to_edge : (2,) float
        Acute angle between the fibres and the edge, at its start and its end; monotonous in between [rad].
    risk : {"low", "some", "high"}
        Of tearing the wall: "high" against the grain where fibres meet the edge at the slopes that tear (common
        practice, no source), "some" at other slopes, "low" otherwise.
    """

    start_distance: float
    end_distance: float
    piece: Run
    lie: Lie
    modes: tuple[float, float, float]
    grain_to_edge: tuple[float, float]
    risk: Risk

    @property
    def start(self) -> Point:
        """Where it starts [mm]."""
        return self.piece.start

    @property
    def end(self) -> Point:
        """Where it ends [mm]."""
        return self.piece.end

    @property
    def length(self) -> float:
        """Along the outline [mm]."""
        return self.end_distance - self.start_distance

    @property
    def remedy(self) -> str:
        """What helps, if anything is needed."""
        return _TURN_OVER if self.lie == "against" else ""


@dataclass(frozen=True)
class Edge:
    """What one stroke cuts: from one outside corner to the next, with the bends and inside corners between.

    Parameters
    ----------
    piece : Run
        In the flutes' way, the wood that stays on its left.
    steepness : float
        Angle between fibres and edge, averaged over its length: 0 along the grain [rad].
    """

    piece: Run
    steepness: float


@dataclass(frozen=True)
class Exit:
    """A place where flutes leave the wood through a face.

    Parameters
    ----------
    point : (2,) float
        [mm].
    distance : float
        Along the outline as given [mm].
    edge : int
        Index of the edge along which the flutes come.
    through : int or None
        Index of the edge through whose face they leave; None for the board's own face at the end of an open run.
    face : (2,) float
        Outward normal of that face [-].
    motion : (2,) float
        Of the flutes there [-].
    unsupported : float
        How far fibres run within a millimetre of that face, at most its length; inf where nothing ends them [mm].
    risk : {"low", "high"}
        "high" where the fibres run nearly along the face.
    remedy : str
        What helps.
    """

    point: Point
    distance: float
    edge: int
    through: int | None
    face: Point
    motion: Point
    unsupported: float
    risk: Literal["low", "high"]
    remedy: str

    @property
    def through_words(self) -> str:
        """The face in words, edges counted from one."""
        return "the board's end" if self.through is None else f"edge {self.through + 1}"


@dataclass(frozen=True)
class GrainMap:
    """How the grain lies round an outline, and where the flutes come out.

    Parameters
    ----------
    outline : Run
        As given.
    grain_angle : float
        Of the fibres against x [rad]; without meaning on end.
    station : {"flat", "edge", "end"}
        How the part is held.
    side : {"outside", "inside"}
        Where the cutter runs.
    stretches : tuple of Stretch
        In the outline's order, end to end.
    edges : tuple of Edge
        In the flutes' way.
    exits : tuple of Exit
        By distance; every face is taken for free, which only the order of cutting decides (``plan_edges``).
    """

    outline: Run
    grain_angle: float
    station: Station
    side: Side
    stretches: tuple[Stretch, ...]
    edges: tuple[Edge, ...]
    exits: tuple[Exit, ...]

    def length_of(self, lie: Lie) -> float:
        """How much of the outline lies one way [mm]; turning the part over exchanges "with" and "against".

        Parameters
        ----------
        lie : {"with", "against", "neither"}
            Which.
        """
        return math.fsum(s.length for s in self.stretches if s.lie == lie)


def grain_map(outline: Run, grain_angle: float, *, station: Station = "flat", side: Side = "outside") -> GrainMap:
    """How the grain lies round an outline, and where the flutes come out through a face.

    Parameters
    ----------
    outline : Run
        Closed or open, lines and arcs, walked in either sense. Along an open run the wood that stays lies on its
        left, as inside a counter-clockwise outline.
    grain_angle : float
        Direction of the fibres against x [rad]. On end they run with the spindle and it is without meaning.
    station : {"flat", "edge", "end"}
        On the table and on edge the fibres lie in the plane of the outline, on end across it.
    side : {"outside", "inside"}
        "outside" for a part, "inside" for an opening; on an open run the wood then stays on its right.

    Returns
    -------
    GrainMap
        Geometry; see the top of this module for the rule.

    Raises
    ------
    InputError
        When the run is empty, crosses itself, or an angle is not finite.

    Example
    -------
    A board 200 mm by 80 mm, its grain along the length: the ends are the cuts across the grain, and the flutes leave
    each of them through a long edge.

    >>> from shopcalc.paths import polyline
    >>> board = grain_map(polyline([(0, 0), (200, 0), (200, 80), (0, 80), (0, 0)]), 0.0)
    >>> [s.lie for s in board.stretches]
    ['neither', 'neither', 'neither', 'neither']
    >>> [(e.point, e.unsupported) for e in board.exits if e.risk == "high"]
    [((0.0, 0.0), 200.0), ((200.0, 80.0), 200.0)]
    """
    if not math.isfinite(grain_angle):
        refuse(f"the grain's angle is {grain_angle} rad", "give a finite angle")
    if side not in ("outside", "inside"):
        refuse(f"side '{side}' is not known", "use one of: outside, inside")
    grain_vector(station)  # refuses an unknown station
    _check(outline)
    # the part lies left of a counter-clockwise outline and round an opening left of a clockwise one
    ahead = (not outline.closed or _signed_area(outline) > 0) == (side == "outside")
    way = outline if ahead else outline.reversed()
    edges, starts = _edges(way, grain_angle)
    exits = [
        _exit(edges, i, grain_angle, station, way, starts, ahead) for i in range(len(edges)) if _has_exit(edges, i)
    ]
    return GrainMap(
        outline, grain_angle, station, side,
        tuple(_stretches(outline, grain_angle, station, ahead)),
        edges,
        tuple(sorted(exits, key=lambda e: e.distance)),
    )  # fmt: skip


# --- geometry of runs -------------------------------------------------------------------------------------------------


def _check(outline: Run) -> None:
    values = [*outline.start, *(v for leg in outline.legs for v in (*leg.end, *(leg.centre or ()), leg.sweep))]
    if not outline.legs or outline.length < SAME or not all(math.isfinite(v) for v in values):
        refuse("the outline has no length or a point that is not finite", "give a run of lines and arcs")
    for a, leg in _legs(outline):
        if leg.centre is not None and abs(math.dist(a, leg.centre) - math.dist(leg.end, leg.centre)) > 1e-4:
            refuse(f"the arc ending at ({leg.end[0]:g}, {leg.end[1]:g}) has two radii", "give it the right centre")
    drawn = shapely.LineString(chords(outline))
    if not drawn.is_simple:
        refuse("the outline crosses or touches itself", "give each part its own outline")


def _legs(run: Run) -> list[tuple[Point, Leg]]:
    """Legs with their starts; doubled points dropped."""
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
    for at, leg in _legs(run):
        if leg.centre is not None:
            radius = math.dist(at, leg.centre)
            step = 2 * math.acos(max(0.5, 1 - sagitta / radius))
            n = math.ceil(abs(leg.sweep) / step)
            out += [turned_point(at, leg.centre, leg.sweep * k / n) for k in range(1, n)]
        out.append(leg.end)
    return out


def _tangent(at: Point, leg: Leg, share: float = 0.0) -> Point:
    """Direction of a leg at a share of its length."""
    if leg.centre is None:
        length = math.dist(at, leg.end)
        return (leg.end[0] - at[0]) / length, (leg.end[1] - at[1]) / length
    x, y = turned_point(at, leg.centre, leg.sweep * share)
    sense = math.copysign(1 / math.dist(at, leg.centre), leg.sweep)
    return -(y - leg.centre[1]) * sense, (x - leg.centre[0]) * sense


def _turn(before: tuple[Point, Leg], after: tuple[Point, Leg]) -> float:
    """How far the way turns at a joint, positive to the left, where the wood is: an outside corner."""
    a, b = _tangent(*before, 1.0), _tangent(*after)
    return math.atan2(a[0] * b[1] - a[1] * b[0], a[0] * b[0] + a[1] * b[1])


def _signed_area(run: Run) -> float:
    """Positive counter-clockwise; segments of arcs included."""
    x, y = np.array([run.start, *(leg.end for leg in run.legs)]).T
    x, y = x - x[0], y - y[0]
    total = float(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1])) / 2
    for at, leg in _legs(run):
        if leg.centre is not None:
            total += math.dist(at, leg.centre) ** 2 / 2 * (leg.sweep - math.sin(leg.sweep))
    return total


# --- stretches --------------------------------------------------------------------------------------------------------


def _stretches(outline: Run, grain: float, station: Station, ahead: bool) -> list[Stretch]:
    pieces: list[tuple[Point, Leg]] = []
    for at, leg in _legs(outline):
        if leg.centre is None or station == "end":
            pieces.append((at, leg))
            continue
        # the lie changes where the fibres run along the arc or square to it
        x, y = _tangent(at, leg)
        quarter = math.pi / 2
        first = (grain - math.atan2(y, x)) / quarter
        turn = leg.sweep / quarter
        low, high = min(0.0, turn), max(0.0, turn)
        cuts = [(first + k) / turn for k in range(math.ceil(low - first), math.floor(high - first) + 1)]
        tiny = _ANGLE / abs(leg.sweep)
        shares = [0.0, *sorted(c for c in cuts if tiny < c < 1 - tiny), 1.0]
        points = [at, *(turned_point(at, leg.centre, leg.sweep * s) for s in shares[1:-1]), leg.end]
        pieces += [
            (points[i], Leg(points[i + 1], leg.centre, leg.sweep * (shares[i + 1] - shares[i])))
            for i in range(len(points) - 1)
        ]
    out: list[Stretch] = []
    lengths = [Run(at, (leg,)).length for at, leg in pieces]
    marks = [0.0, *itertools.accumulate(lengths)]
    marks[-1] = outline.length
    for (at, leg), a, b in zip(pieces, marks, marks[1:], strict=False):
        new = _stretch(at, leg, a, b, grain, station, ahead)
        last = out[-1] if out else None
        if last and _one_arc(last, new):  # circles come in pieces of half a turn
            new = _joined(last, new)
            out.pop()
        out.append(new)
    return out


def _one_arc(a: Stretch, b: Stretch) -> bool:
    c, d = a.piece.legs[-1], b.piece.legs[0]
    if c.centre is None or d.centre is None or a.lie != b.lie or c.sweep * d.sweep < 0:
        return False
    return math.dist(c.centre, d.centre) < 1e-6


def _joined(a: Stretch, b: Stretch) -> Stretch:
    weights = a.length / (a.length + b.length), b.length / (a.length + b.length)
    modes = tuple(weights[0] * x + weights[1] * y for x, y in zip(a.modes, b.modes, strict=True))
    angles = (a.grain_to_edge[0], b.grain_to_edge[1])
    return replace(
        a, end_distance=b.end_distance, piece=Run(a.start, a.piece.legs + b.piece.legs), grain_to_edge=angles,
        modes=(modes[0], modes[1], modes[2]), risk=_risk(a.lie, angles),
    )  # fmt: skip


def _stretch(at: Point, leg: Leg, a: float, b: float, grain: float, station: Station, ahead: bool) -> Stretch:
    def at_wall(share: float) -> tuple[float, float, float]:
        """The grain seen from a climbing cutter, which feeds against the flutes' way."""
        x, y = _tangent(at, leg, share)
        feed = math.atan2(-y, -x) if ahead else math.atan2(y, x)
        return grain_vector(station, grain - feed if station != "end" else 0.0)

    lie = lie_at_wall(at_wall(0.5), "climb")
    nodes, weights = np.polynomial.legendre.leggauss(12 if leg.centre else 1)
    modes = sum(w / 2 * flute_modes(at_wall((s + 1) / 2), math.pi) for s, w in zip(nodes, weights, strict=True))
    if station == "end":
        angles = (math.pi / 2, math.pi / 2)
    else:
        angles = (_acute(_tangent(at, leg), grain), _acute(_tangent(at, leg, 1.0), grain))
    shares = np.asarray(modes)
    return Stretch(
        a, b, Run(at, (leg,)), lie, (float(shares[0]), float(shares[1]), float(shares[2])), angles, _risk(lie, angles)
    )


def _acute(direction: Point, grain: float) -> float:
    c, s = math.cos(grain), math.sin(grain)
    return math.atan2(abs(direction[0] * s - direction[1] * c), abs(direction[0] * c + direction[1] * s))


def _risk(lie: Lie, angles: tuple[float, float]) -> Risk:
    if lie != "against":
        return "low"
    return "high" if min(angles) < TEARING[1] and max(angles) > TEARING[0] else "some"


# --- edges and exits --------------------------------------------------------------------------------------------------


def _edges(way: Run, grain: float) -> tuple[tuple[Edge, ...], list[float]]:
    """Edges in the flutes' way, and how far along it each ends."""
    legs = _legs(way)
    along = list(itertools.accumulate(Run(at, (leg,)).length for at, leg in legs))
    n = len(legs)
    corners = [i for i in range(n - 1) if _turn(legs[i], legs[i + 1]) > CORNER]
    if not way.closed or _turn(legs[-1], legs[0]) > CORNER:
        corners.append(n - 1)
    if not corners:
        return (Edge(way, _steepness(legs, grain)),), [along[-1]]
    first = 0 if not way.closed else (corners[-1] + 1) % n
    order = [(first + k) % n for k in range(n)]
    out, ends, piece = [], [], []
    for i in order:
        piece.append(legs[i])
        if i in corners:
            out.append(Edge(Run(piece[0][0], tuple(leg for _, leg in piece)), _steepness(piece, grain)))
            ends.append(along[i])
            piece = []
    return tuple(out), ends


def _steepness(legs: Sequence[tuple[Point, Leg]], grain: float) -> float:
    """Angle between fibres and edge averaged over the length."""
    total = weight = 0.0
    for at, leg in legs:
        length = Run(at, (leg,)).length
        n = 1 if leg.centre is None else 24
        total += length / n * sum(_acute(_tangent(at, leg, (k + 0.5) / n), grain) for k in range(n))
        weight += length
    return total / weight


def _has_exit(edges: Sequence[Edge], i: int) -> bool:
    """Whether flutes come out at an edge's end: always, unless it is a closed one without an outside corner."""
    piece = edges[i].piece
    if not piece.closed:
        return True
    legs = _legs(piece)
    return _turn(legs[-1], legs[0]) > CORNER


def _exit(
    edges: Sequence[Edge], i: int, grain: float, station: Station, way: Run, ends: Sequence[float], ahead: bool
) -> Exit:
    piece = edges[i].piece
    motion = _tangent(*_legs(piece)[-1], 1.0)
    point, distance = piece.end, ends[i]
    if way.closed:
        through: int | None = (i + 1) % len(edges)
        at, leg = _legs(edges[(i + 1) % len(edges)].piece)[0]
        x, y = _tangent(at, leg)
        normal = (y, -x)
        distance %= way.length
    else:
        through, normal = None, motion  # the board ends square to the run
        at, leg = point, Leg((point[0] - normal[1], point[1] + normal[0]))
    along = splits_along(grain, normal, station)
    unsupported = math.inf if station == "end" else _unsupported(at, leg, grain, endless=through is None)
    if not along:
        remedy = ""
    elif through is None:
        remedy = f"clamp a back-up block against the board's end, {_BLOCK.split(', ', 1)[1]}"
    else:
        remedy = (
            f"cut edge {i + 1} before edge {through + 1}, while waste still stands behind the corner; else {_BLOCK}"
        )
    given = distance if ahead else way.length - distance
    if way.closed and not SAME < given < way.length - SAME:
        given = 0.0  # a loop's end is its start, whatever rounding says
    return Exit(point, given, i, through, normal, motion, unsupported, "high" if along else "low", remedy)


def splits_along(grain_angle: float, face: Point, station: Station = "flat") -> bool:
    """Whether fibres that nothing backs up split along a face instead of being cut off.

    Parameters
    ----------
    grain_angle : float
        Of the fibres against x [rad].
    face : (2,) float
        Normal of the face [-].
    station : {"flat", "edge", "end"}
        On end the fibres run along every upright face.

    Returns
    -------
    bool
        Whether they lie within ``NEARLY_ALONG`` of it. Geometry; the angle is common practice, no source.

    Example
    -------
    >>> splits_along(0.0, (0.0, 1.0)), splits_along(0.0, (1.0, 0.0)), splits_along(0.0, (1.0, 0.0), "end")
    (True, False, True)
    """
    product = 0.0 if station == "end" else math.cos(grain_angle) * face[0] + math.sin(grain_angle) * face[1]
    return abs(product) < math.sin(NEARLY_ALONG)


def _unsupported(at: Point, leg: Leg, grain: float, *, endless: bool) -> float:
    """How far a fibre at the start of a face runs within a bundle's thickness of it, into the part."""
    x, y = _tangent(at, leg)
    ux, uy = math.cos(grain), math.sin(grain)
    if ux * x + uy * y < 0:
        ux, uy = -ux, -uy
    outwards = ux * y - uy * x  # the fibre against the face's normal
    longest = math.inf if endless else Run(at, (leg,)).length
    if leg.centre is None:
        return longest if abs(outwards) < 1e-9 else min(longest, BUNDLE / abs(outwards))
    radius = math.dist(at, leg.centre)
    inner = radius - math.copysign(BUNDLE, leg.sweep)
    px, py = (at[0] - y * BUNDLE, at[1] + x * BUNDLE) if outwards > 0 else at
    px, py = px - leg.centre[0], py - leg.centre[1]
    reaches = []
    for r in (radius, inner):
        middle, rest = px * ux + py * uy, px * px + py * py - r * r
        root = middle * middle - rest
        if r > 0 and root >= 0:
            reaches += [s for s in (-middle - math.sqrt(root), -middle + math.sqrt(root)) if s > 1e-6]
    return min([longest, *reaches])


# --- the plan ---------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Stroke:
    """One edge in the order of cutting.

    Parameters
    ----------
    edge : int
        Index into the map's edges.
    direction : {"climb", "conventional"}
        Of the feed: against the flutes' way, or along it.
    exits : tuple of Exit
        Bad ones that are left: the face is free by then, and the fibres run along it.
    chip : {"thin", "web"} or None
        What is pushed out there: a chip that thins at the beginning of the stroke, or the last web at its end; None
        where nothing is.
    """

    edge: int
    direction: Direction
    exits: tuple[Exit, ...] = ()
    chip: Chip | None = None


@dataclass(frozen=True)
class EdgePlan:
    """Order and direction of the edges.

    Parameters
    ----------
    map : GrainMap
        What it was made for.
    waste : float
        Width of the wood outside the outline; inf for a part in the middle of a board [mm].
    strokes : tuple of Stroke
        In order.
    start : (2,) float
        Where on the outline the first stroke begins [mm].
    blocks : tuple of Exit
        Where a back-up block belongs: at the point, against the face.
    scoring : tuple of int
        Edges where a light lap is worthwhile: 1 mm is left and taken off by itself, so that only a thin chip reaches
        the free face.
    """

    map: GrainMap
    waste: float
    strokes: tuple[Stroke, ...]
    start: Point
    blocks: tuple[Exit, ...]
    scoring: tuple[int, ...]

    @property
    def order(self) -> tuple[int, ...]:
        """Edges in order."""
        return tuple(s.edge for s in self.strokes)


def plan_edges(
    outline: Run,
    grain_angle: float,
    *,
    station: Station = "flat",
    side: Side = "outside",
    waste: float = math.inf,
    finished: Sequence[int] = (),
    diameter: float | None = None,
    direction: Direction | Literal["best"] = "best",
) -> EdgePlan:
    """Where to start, in which order and direction the edges are cut, and what the order cannot mend.

    Parameters
    ----------
    outline : Run
        See ``grain_map``.
    grain_angle : float
        Of the fibres against x [rad].
    station : {"flat", "edge", "end"}
        See ``grain_map``.
    side : {"outside", "inside"}
        See ``grain_map``.
    waste : float
        Width of the wood outside the outline [mm]. Less than a millimetre backs nothing up, and every face is free.
    finished : sequence of int
        Edges (of ``grain_map``) that are at size already; they are not cut, and free from the beginning.
    diameter : float or None
        Of the cutter [mm]. With more wood in its way than its radius, the outer half pushes the other way, out of
        the stroke's far end; None takes the cut for narrower.
    direction : {"best", "climb", "conventional"}
        "best" climbs, except where climbing tears a web off through a free face and conventional cutting does not.

    Returns
    -------
    EdgePlan
        Of two neighbours with a bad way out between them, the one whose flutes come out is cut first, while the other's
        waste backs it up; otherwise the steepest across the grain first and along it last.

    Raises
    ------
    InputError
        As ``grain_map``; for an edge that does not exist, or nothing to cut.

    Notes
    -----
    Reversing a stroke does not move the place where the flutes come out at the wall; see the top of the module. Going
    once round conventionally cuts every edge before the one it comes out through, too: where a conventional wall is
    good enough, that does the same as the order planned here without lifting.

    Example
    -------
    >>> from shopcalc.paths import polyline
    >>> plan = plan_edges(polyline([(0, 0), (200, 0), (200, 80), (0, 80), (0, 0)]), 0.0)
    >>> [(s.edge + 1, s.direction) for s in plan.strokes], plan.blocks
    ([(2, 'climb'), (4, 'climb'), (1, 'climb'), (3, 'climb')], ())
    """
    m = grain_map(outline, grain_angle, station=station, side=side)
    if math.isnan(waste) or waste <= 0:
        refuse(f"the waste is {waste:g} mm wide", "give what stands outside the outline, inf in a whole board")
    if diameter is not None:
        require_positive(diameter=diameter)
    if direction not in ("best", "climb", "conventional"):
        refuse(f"direction '{direction}' is not known", "use one of: best, climb, conventional")
    missing = [i for i in finished if i not in range(len(m.edges))]
    if missing:
        refuse(f"there is no edge {missing[0]}", f"the outline's edges are 0 to {len(m.edges) - 1}")
    wanted = [i for i in range(len(m.edges)) if i not in set(finished)]
    if not wanted:
        refuse("every edge is finished", "leave out those that are still to be cut")
    leaves = {e.edge: e for e in m.exits}
    free = set(range(len(m.edges))) if waste < BUNDLE else set(finished)
    wide = diameter is not None and waste > diameter / 2
    strokes = []
    for i in _order(m, wanted, leaves):
        strokes.append(_stroke(m, i, leaves, free, wide, direction))
        free.add(i)
    left = [e for s in strokes for e in s.exits]
    return EdgePlan(
        m, waste, tuple(strokes), _start(m, strokes[0]), tuple(left), tuple(s.edge for s in strokes if s.exits)
    )


def _order(m: GrainMap, wanted: list[int], leaves: dict[int, Exit]) -> list[int]:
    before = {i: set[int]() for i in wanted}  # what must have been cut already
    for e in leaves.values():
        if e.risk == "high" and e.through in before and e.edge in before and e.through != e.edge:
            before[e.through].add(e.edge)
    out: list[int] = []
    while len(out) < len(wanted):
        rest = [i for i in wanted if i not in out]
        ready = [i for i in rest if not before[i] - set(out)] or rest  # all wait for each other only right round
        out.append(max(ready, key=lambda i: (round(m.edges[i].steepness, 9), -i)))
    return out


def _stroke(
    m: GrainMap, i: int, leaves: dict[int, Exit], free: set[int], wide: bool, wanted: Direction | Literal["best"]
) -> Stroke:
    own = leaves.get(i)

    def bad(e: Exit | None, free_now: set[int]) -> bool:
        return e is not None and e.risk == "high" and (e.through is None or e.through in free_now)

    # an edge that ends at its own beginning finds it free when cut that way round, not climbing
    web = bad(own, free | {i})
    thin = bad(own, free)
    behind = next((e for e in leaves.values() if e.through == i), None)
    before = behind.edge if behind else None
    at, leg = _legs(m.edges[i].piece)[0]
    x, y = _tangent(at, leg)
    outer = None
    if wide and not m.edges[i].piece.closed:
        if before is None:
            face: Point = (-x, -y)
        else:
            bx, by = _tangent(*_legs(m.edges[before].piece)[-1], 1.0)
            face = (by, -bx)
        if (before is None or before in free) and splits_along(m.grain_angle, face, m.station):
            text = f"cut edge {i + 1} conventionally or in narrower passes; else {_BLOCK}"
            reach = math.inf if before is None or m.station == "end" else BUNDLE
            distance = m.outline.nearest(at)
            outer = Exit(at, distance, i, before, face, (-x, -y), reach, "high", text)
    chosen: Direction = "climb" if wanted == "best" else wanted
    if wanted == "best" and outer and not web:
        chosen = "conventional"
    if chosen == "climb":
        exits = ([own] if own and thin else []) + ([outer] if outer else [])
        return Stroke(i, chosen, tuple(exits), "web" if outer else "thin" if exits else None)
    return Stroke(i, chosen, (own,) if own and web else (), "web" if web else None)


def _start(m: GrainMap, first: Stroke) -> Point:
    piece = m.edges[first.edge].piece
    if not _endless(piece):
        return piece.end if first.direction == "climb" else piece.start
    return piece.split(_quiet(m, piece))[0].end


def _endless(piece: Run) -> bool:
    """Closed without an outside corner: it has to be begun somewhere."""
    legs = _legs(piece)
    return piece.closed and _turn(legs[-1], legs[0]) <= CORNER


def _quiet(m: GrainMap, piece: Run) -> float:
    """Where along a closed piece an entry shows least: the middle of the longest stretch not against the grain."""
    quiet = max(m.stretches, key=lambda s: (s.lie != "against", round(s.length, 6), -s.start_distance))
    middle = (quiet.start_distance + quiet.end_distance) / 2
    return middle if _signed_area(piece) * _signed_area(m.outline) > 0 else piece.length - middle


# --- the path ---------------------------------------------------------------------------------------------------------


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
    closed = piece.closed and (around or _endless(piece))
    if closed and not around:
        piece = piece.begun_at(_quiet(m, piece))
    beside = _beside(piece, r, closed)
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
        path = _extended(beside, *lengths)
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
    own_leg, their_leg = (_legs(piece)[-1], _legs(other)[0]) if at_end else (_legs(piece)[0], _legs(other)[-1])
    turn = _turn(own_leg, their_leg) if at_end else _turn(their_leg, own_leg)
    behind = waste if waste <= 2 * cutting.radius else 0.0
    return max(r, (r * (1 - math.cos(turn)) + behind) / math.sin(turn)) + lead


def _shortened(
    beside: Run, which: int, wanted: float, outline: shapely.LineString, area: shapely.Polygon | None, side: Side,
    r: float,
) -> float:  # fmt: skip
    """As much of the way past a corner as leaves the rest of the part alone."""
    low, high = 0.0, wanted
    at, (x, y) = _past(beside, which)

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


def _past(run: Run, which: int) -> tuple[Point, Point]:
    """End (1) or start (0) of a run and the direction out of it."""
    legs = _legs(run)
    if which:
        return run.end, _tangent(*legs[-1], 1.0)
    x, y = _tangent(*legs[0])
    return run.start, (-x, -y)


def _extended(run: Run, before: float, after: float) -> Run:
    (a, (ax, ay)), (b, (bx, by)) = _past(run, 0), _past(run, 1)
    legs = list(run.legs)
    start = run.start
    if before > SAME:
        start = (a[0] + ax * before, a[1] + ay * before)
        legs.insert(0, Leg(a))
    if after > SAME:
        legs.append(Leg((b[0] + bx * after, b[1] + by * after)))
    return Run(start, tuple(legs))


def _quarter_leads(
    path: Run, waste: float, lead: float, outline: shapely.LineString, area: shapely.Polygon | None, side: Side,
    r: float, direction: Direction,
) -> tuple[Run, Run] | None:  # fmt: skip
    """Quarter circles from beside the blank onto a closed path and off again; None where there is no room."""
    x, y = _tangent(*_legs(path)[0])
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


def _beside(way: Run, away: float, closed: bool) -> Run:
    """A run at a distance on the right of another: rolling about outside corners, stopping in inside ones."""
    pieces: list[tuple[Point, Leg]] = []
    for at, leg in _legs(way):
        (ax, ay), (bx, by) = _tangent(at, leg), _tangent(at, leg, 1.0)
        a = (at[0] + ay * away, at[1] - ax * away)
        b = (leg.end[0] + by * away, leg.end[1] - bx * away)
        if leg.centre is not None and leg.sweep < 0 and math.dist(at, leg.centre) <= away + SAME:
            radius = math.dist(at, leg.centre)
            refuse(
                f"the inside radius of {radius:g} mm at ({at[0]:g}, {at[1]:g}) is too small for {away:g} mm",
                "use a smaller cutter",
            )
        pieces.append((a, Leg(b, leg.centre, leg.sweep)))
    legs = _legs(way)
    joints = [(k, (k + 1) % len(legs)) for k in range(len(legs) if closed else len(legs) - 1)]
    rolls: dict[int, Leg] = {}
    for k, after in joints:
        if math.dist(pieces[k][1].end, pieces[after][0]) < SAME:
            pieces[after] = (pieces[k][1].end, pieces[after][1])
            continue
        turn = _turn(legs[k], legs[after])
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
        (x, y), length = _tangent(at, leg), math.dist(at, leg.end)
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
        (ux, uy), (vx, vy) = _tangent(*a), _tangent(*b)
        cross = ux * vy - uy * vx
        if abs(cross) < 1e-12:
            return []
        s = ((b[0][0] - a[0][0]) * vy - (b[0][1] - a[0][1]) * vx) / cross
        return [(a[0][0] + ux * s, a[0][1] + uy * s)]
    if a[1].centre is None or b[1].centre is None:
        line, circle = (a, b) if a[1].centre is None else (b, a)
        assert circle[1].centre is not None  # one of the two is an arc
        (ux, uy), centre, r = _tangent(*line), circle[1].centre, math.dist(circle[0], circle[1].centre)
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


# --- tenons on end ----------------------------------------------------------------------------------------------------

FACES: dict[str, Point] = {
    "reference edge": (-1.0, 0.0),
    "far edge": (1.0, 0.0),
    "reference face": (0.0, -1.0),
    "far face": (0.0, 1.0),
}
_SLIVER = 0.02  # mm; narrower contact with a face is rounding


@dataclass(frozen=True)
class RailExit:
    """Where a line leaves a rail on end through one of its faces.

    Parameters
    ----------
    face : str
        One of ``FACES``: reference edge (x = 0), far edge, reference face (y = 0), far face.
    low, high : float
        From where to where along that face [mm].
    z : float
        Height of the floor [mm].
    start, end : (2,) float
        Of the line [mm].
    chip : {"thin", "web", "side"}
        A chip that thins where the line begins, the last web where it ends, or a chip pushed out sideways all along.
    unsupported : float
        How far the fibres run on below the floor: the rail's length [mm].
    """

    face: str
    low: float
    high: float
    z: float
    start: Point
    end: Point
    chip: Chip
    unsupported: float

    @property
    def risk(self) -> Risk:
        """Always high: on end the fibres run along every face."""
        return "high"


@dataclass(frozen=True)
class TenonExits:
    """How a tenon's lines leave the rail, and what is to be done.

    Parameters
    ----------
    exits, scored_exits : tuple of RailExit
        Line by line, without and with the scoring cut.
    blocks : dict of str to list of (2,) float
        Where back-up blocks go: along which face, from where to where [mm].
    scoring_length : float
        What the scoring cut adds to the path at feed [mm].
    scoring_seconds : float
        And to the machine's time; nan where no machine was given [s].
    """

    exits: tuple[RailExit, ...]
    scored_exits: tuple[RailExit, ...]
    blocks: dict[str, list[tuple[float, float]]]
    scoring_length: float
    scoring_seconds: float


def for_tenon(
    rail_width: float,
    rail_thickness: float,
    shape: Tenon,
    cutting: Cutting,
    *,
    scoring: float = 1.0,
    skim: float = 0.0,
    laps: bool = False,
    rail_length: float = math.inf,
    machine: Machine | None = None,
) -> TenonExits:
    """Where the lines of a tenon on end leave the rail, where back-up blocks go, and what a scoring cut costs.

    Parameters
    ----------
    rail_width, rail_thickness : float
        Of the rail's section [mm].
    shape : Tenon
        See ``paths.tenon``.
    cutting : Cutting
        A flat cutter.
    scoring : float
        Width of the scoring cut that is compared [mm].
    skim : float
        See ``paths.tenon`` [mm].
    laps : bool
        See ``paths.tenon``; laps have no scoring cut.
    rail_length : float
        How far the fibres run below the shoulder, at most [mm].
    machine : Machine or None
        Whose time the scoring cut takes.

    Returns
    -------
    TenonExits
        Read from the very moves ``paths.tenon`` makes. Only the rail's own faces count: a wall that was cut before
        has the shoulder's wood below it all round, so its fibres end there. That is why narrow edges come before
        cheeks.

    Raises
    ------
    InputError
        As ``paths.tenon``.

    Notes
    -----
    Geometry. A flute that passes the rail at a distance q left of the line, of a cutter with radius r, moves by q/r
    along the feed and by the root of 1 - (q/r)^2 to its right; it leaves through a face where that motion points out
    of it. The nearer to the line's left the wood lies, the more of it is pushed out of the far end.
    """
    plain = tenon(cutting, rail_width, rail_thickness, shape, skim=skim, laps=laps)
    rail = (rail_width, rail_thickness)
    exits = _rail_exits(plain, cutting.radius, rail, rail_length)
    scored = plain if laps or scoring == 0 else tenon(
        cutting, rail_width, rail_thickness, shape, skim=skim, scoring=scoring
    )  # fmt: skip
    seconds = math.nan
    if machine is not None:
        seconds = machine_time(scored, machine).total_s - machine_time(plain, machine).total_s
    blocks: dict[str, list[tuple[float, float]]] = {}
    for face in FACES:
        spans = sorted((e.low, e.high) for e in exits if e.face == face)
        merged: list[tuple[float, float]] = []
        for low, high in spans:
            if merged and low <= merged[-1][1] + 1e-6:
                merged[-1] = merged[-1][0], max(high, merged[-1][1])
            else:
                merged.append((low, high))
        if merged:
            blocks[face] = merged
    return TenonExits(
        exits, _rail_exits(scored, cutting.radius, rail, rail_length), blocks,
        scored.cutting_length - plain.cutting_length, seconds,
    )  # fmt: skip


def _rail_exits(moves: Moves, radius: float, rail: Point, rail_length: float) -> tuple[RailExit, ...]:
    """Exits of every line, level by level; those that repeat at the next level are kept at the deepest."""
    arcs = {int(i): k for k, i in enumerate(moves.arc_index)}
    rest: dict[float, BaseGeometry] = {}
    found: dict[tuple[object, ...], RailExit] = {}
    for i in np.flatnonzero(moves.cutting):
        a, b = moves.points[i], moves.points[i + 1]
        z = round(float(b[2]), 6)
        if z >= 0 or abs(a[2] - b[2]) > 1e-9:
            continue
        left = rest.setdefault(z, shapely.box(0, 0, *rail))
        start, end = (float(a[0]), float(a[1])), (float(b[0]), float(b[1]))
        leg = Leg(end)
        if moves.kind[i] == Kind.ARC:
            centre = moves.arc_centre[arcs[int(i)]]
            leg = Leg(end, (float(centre[0]), float(centre[1])), float(moves.arc_sweep[arcs[int(i)]]))
        points = chords(Run(start, (leg,)), 0.01)
        for p, q in itertools.pairwise(points):
            swept = shapely.LineString([p, q]).buffer(radius, quad_segs=64)
            for e in _line_exits(p, q, left.intersection(swept), radius, rail, z, rail_length):
                found[(e.face, round(e.low, 3), round(e.high, 3), e.chip)] = e
            left = left.difference(swept)
        rest[z] = left
    return tuple(found.values())


def _line_exits(
    start: Point, end: Point, removed: BaseGeometry, radius: float, rail: Point, z: float, rail_length: float
) -> list[RailExit]:
    fx, fy = _tangent(start, Leg(end))
    out = []
    corners = [(0.0, 0.0), (rail[0], 0.0), rail, (0.0, rail[1])]
    sides = {"reference face": (0, 1), "far edge": (1, 2), "far face": (3, 2), "reference edge": (0, 3)}
    for face, (i, j) in sides.items():
        contact = removed.intersection(shapely.LineString([corners[i], corners[j]]))
        axis = 0 if face.endswith("face") else 1
        nx, ny = FACES[face]
        ahead, right = nx * fx + ny * fy, nx * fy - ny * fx
        middle = math.atan2(right, ahead) if abs(right) > 1e-9 else 0.0 if ahead > 0 else math.pi
        middle += 2 * math.pi if middle < -math.pi / 2 else 0.0
        least = radius * math.cos(min(math.pi, middle + math.pi / 2))
        most = radius * math.cos(max(0.0, middle - math.pi / 2))
        if right < -1e-9 and abs(ahead) < 1e-9:
            continue  # on the left the flutes come in
        for part in shapely.get_parts(contact):
            if part.length < _SLIVER:
                continue
            span = []
            offsets = [(p[1] - start[1]) * fx - (p[0] - start[0]) * fy for p in part.coords]
            places = [p[axis] for p in part.coords]
            (q0, q1), (s0, s1) = (offsets[0], offsets[-1]), (places[0], places[-1])
            if abs(q1 - q0) < 1e-9:
                span = [s0, s1] if least - 1e-9 <= q0 <= most + 1e-9 else []
            else:
                shares = sorted(((least - q0) / (q1 - q0), (most - q0) / (q1 - q0)))
                u, v = max(0.0, shares[0]), min(1.0, shares[1])
                span = [s0 + (s1 - s0) * u, s0 + (s1 - s0) * v] if v > u else []
            if span and abs(span[1] - span[0]) > _SLIVER:
                chip: Chip = "side" if abs(ahead) < 1e-9 else "web" if ahead > 0 else "thin"
                out.append(RailExit(face, min(span), max(span), z, start, end, chip, rail_length))
    return out


__all__ = [
    "MODES", "Edge", "EdgePlan", "Exit", "GrainMap", "RailExit", "Stretch", "Stroke", "TenonExits", "chords", "compare",
    "for_tenon", "grain_map", "once_around", "plan_edges", "rewrite", "splits_along",
]  # fmt: skip
