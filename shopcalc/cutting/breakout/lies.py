"""How the grain lies along an outline, and through which faces the flutes come out."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from shopcalc.cutting.breakout.outlines import Risk, Side, check_outline, legs_of, signed_area, tangent_at, turn_between
from shopcalc.cutting.engagement import refuse
from shopcalc.cutting.grain import Lie, Station, flute_modes, grain_vector, lie_at_wall
from shopcalc.paths.runs import SAME, Leg, Point, Run, turned_point

#: Common practice, no source: a joint that turns less is a bend and no corner; fibres within the second angle of a face
#: split along it; a split takes about a millimetre with it; against the grain it tears most between these slopes.
CORNER = math.radians(10)
NEARLY_ALONG = math.radians(30)
BUNDLE = 1.0
TEARING = (math.radians(3), math.radians(60))
_ANGLE = 1e-9  # rad; a shorter piece of an arc is rounding
_TURN_OVER = (
    "reversing the feed changes nothing: cut it from the part's other face, or turn the spindle the other way with a "
    "cutter of that hand; else a sharp cutter and a light last lap"
)
BLOCK = "clamp a back-up block against it, or keep 1 mm for a light climbing lap"


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
    check_outline(outline)
    # the part lies left of a counter-clockwise outline and round an opening left of a clockwise one
    ahead = (not outline.closed or signed_area(outline) > 0) == (side == "outside")
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


# --- stretches --------------------------------------------------------------------------------------------------------


def _stretches(outline: Run, grain: float, station: Station, ahead: bool) -> list[Stretch]:
    pieces: list[tuple[Point, Leg]] = []
    for at, leg in legs_of(outline):
        if leg.centre is None or station == "end":
            pieces.append((at, leg))
            continue
        # the lie changes where the fibres run along the arc or square to it
        x, y = tangent_at(at, leg)
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
        x, y = tangent_at(at, leg, share)
        feed = math.atan2(-y, -x) if ahead else math.atan2(y, x)
        return grain_vector(station, grain - feed if station != "end" else 0.0)

    lie = lie_at_wall(at_wall(0.5), "climb")
    nodes, weights = np.polynomial.legendre.leggauss(12 if leg.centre else 1)
    modes = sum(w / 2 * flute_modes(at_wall((s + 1) / 2), math.pi) for s, w in zip(nodes, weights, strict=True))
    if station == "end":
        angles = (math.pi / 2, math.pi / 2)
    else:
        angles = (_acute(tangent_at(at, leg), grain), _acute(tangent_at(at, leg, 1.0), grain))
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
    legs = legs_of(way)
    along = list(itertools.accumulate(Run(at, (leg,)).length for at, leg in legs))
    n = len(legs)
    corners = [i for i in range(n - 1) if turn_between(legs[i], legs[i + 1]) > CORNER]
    if not way.closed or turn_between(legs[-1], legs[0]) > CORNER:
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
        total += length / n * sum(_acute(tangent_at(at, leg, (k + 0.5) / n), grain) for k in range(n))
        weight += length
    return total / weight


def _has_exit(edges: Sequence[Edge], i: int) -> bool:
    """Whether flutes come out at an edge's end: always, unless it is a closed one without an outside corner."""
    piece = edges[i].piece
    if not piece.closed:
        return True
    legs = legs_of(piece)
    return turn_between(legs[-1], legs[0]) > CORNER


def _exit(
    edges: Sequence[Edge], i: int, grain: float, station: Station, way: Run, ends: Sequence[float], ahead: bool
) -> Exit:
    piece = edges[i].piece
    motion = tangent_at(*legs_of(piece)[-1], 1.0)
    point, distance = piece.end, ends[i]
    if way.closed:
        through: int | None = (i + 1) % len(edges)
        at, leg = legs_of(edges[(i + 1) % len(edges)].piece)[0]
        x, y = tangent_at(at, leg)
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
        remedy = f"clamp a back-up block against the board's end, {BLOCK.split(', ', 1)[1]}"
    else:
        remedy = f"cut edge {i + 1} before edge {through + 1}, while waste still stands behind the corner; else {BLOCK}"
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
    x, y = tangent_at(at, leg)
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
