"""Strokes in an order and a direction that break nothing out: across the grain first, along it last."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from shopcalc.cutting.breakout.lies import BLOCK, BUNDLE, CORNER, Exit, GrainMap, grain_map, splits_along
from shopcalc.cutting.breakout.outlines import Chip, Side, legs_of, signed_area, tangent_at, turn_between
from shopcalc.cutting.engagement import refuse, require_positive
from shopcalc.cutting.grain import Direction, Station
from shopcalc.paths.runs import Point, Run


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
    at, leg = legs_of(m.edges[i].piece)[0]
    x, y = tangent_at(at, leg)
    outer = None
    if wide and not m.edges[i].piece.closed:
        if before is None:
            face: Point = (-x, -y)
        else:
            bx, by = tangent_at(*legs_of(m.edges[before].piece)[-1], 1.0)
            face = (by, -bx)
        if (before is None or before in free) and splits_along(m.grain_angle, face, m.station):
            text = f"cut edge {i + 1} conventionally or in narrower passes; else {BLOCK}"
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
    if not is_endless(piece):
        return piece.end if first.direction == "climb" else piece.start
    return piece.split(quiet_share(m, piece))[0].end


def is_endless(piece: Run) -> bool:
    """Closed without an outside corner: it has to be begun somewhere.

    Parameters
    ----------
    piece : Run
        Of an outline [mm].
    """
    legs = legs_of(piece)
    return piece.closed and turn_between(legs[-1], legs[0]) <= CORNER


def quiet_share(m: GrainMap, piece: Run) -> float:
    """Where along a closed piece an entry shows least: the middle of the longest stretch not against the grain.

    Parameters
    ----------
    m : GrainMap
        Of the whole outline.
    piece : Run
        Closed [mm].
    """
    quiet = max(m.stretches, key=lambda s: (s.lie != "against", round(s.length, 6), -s.start_distance))
    middle = (quiet.start_distance + quiet.end_distance) / 2
    return middle if signed_area(piece) * signed_area(m.outline) > 0 else piece.length - middle
