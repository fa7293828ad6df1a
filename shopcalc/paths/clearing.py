"""Clearing areas: facing a board, and sinking a recess of any outline."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Literal

import shapely
from shapely import LineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import nearest_points

from shopcalc.cutting.engagement import pass_count, refuse, require_positive
from shopcalc.moves import Moves
from shopcalc.paths.runs import Point, Run, ring_run, rounded_rectangle
from shopcalc.paths.tracing import Cutting, Tracer

_CHORD = 0.002  # mm; sagitta of the chords shapely puts for arcs, before they become arcs again
_LEFT = 1e-4  # share of the area that may stay between the rings before they are put closer


def face(
    cutting: Cutting,
    length: float,
    width: float,
    *,
    depth: float,
    pattern: Literal["along", "across", "both", "rings"] = "both",
) -> Moves:
    """Face a board: take its whole surface down.

    Parameters
    ----------
    cutting : Cutting
        A flat cutter; it starts and ends each line beside the board.
    length, width : float
        Of the board along x (with the grain) and y [mm].
    depth : float
        To take off [mm].
    pattern : {"along", "across", "both", "rings"}
        Lines along the grain or across it; "both" goes across first and along on the last level; rings run around
        the board from the outside inwards.

    Returns
    -------
    Moves
        The board's corner is at (0, 0).

    Raises
    ------
    InputError
        When the cutter leaves no flat floor, or the depth is beyond its cutting length.

    Notes
    -----
    Geometry. No line is engaged wider than one step, the first included.
    """
    cutting.require_flat("facing")
    require_positive(length=length, width=width)
    if pattern not in ("along", "across", "both", "rings"):
        refuse(f"pattern '{pattern}' is not known", "use one of: along, across, both, rings")
    levels = cutting.levels(depth)
    lead = cutting.radius + cutting.lead
    t: Tracer | None = None
    for i, level in enumerate(levels):
        if pattern == "rings":
            rings = _facing_rings(cutting, length, width)
            start = (-lead if cutting.climbs else length + lead, rings[0].start[1])
            t = t or Tracer(cutting, start)
            t.over(start)
            t.sink_in_air(-level)
            for ring in rings:
                t.to(ring.start)
                t.follow(ring)
            continue
        along = pattern == "along" or (pattern == "both" and i == len(levels) - 1)
        lines = _facing_lines(cutting, length, width, along)
        t = t or Tracer(cutting, lines[0][0])
        t.strokes(lines, -level)
    assert t is not None  # there is at least one level
    return t.moves()


def _facing_lines(cutting: Cutting, length: float, width: float, along: bool) -> list[tuple[Point, Point]]:
    """One-way lines with the uncut wood on the climbing (right) or conventional (left) side."""
    far, lead = (width, cutting.radius + cutting.lead) if along else (length, cutting.radius + cutting.lead)
    n = pass_count(far, cutting.step)
    step = far / n
    run = length if along else width
    out: list[tuple[Point, Point]] = []
    for k in range(1, n + 1):
        c = far + cutting.radius - k * step  # from the far side to the near one
        if along:
            out.append(((-lead, c), (run + lead, c)))  # moving +x: what is left lies at -y, on the right
        else:
            out.append(((c, run + lead), (c, -lead)))  # moving -y: what is left lies at -x, on the right
    return out if cutting.climbs else [(b, a) for a, b in out]


def _facing_rings(cutting: Cutting, length: float, width: float) -> list[Run]:
    """Rectangles from the outside inwards; each begins at a corner that lies towards the start beside the board."""
    r, step = cutting.radius, min(cutting.step, cutting.radius)
    out: list[Run] = []
    inset = max(step - r, -0.7 * r)  # further out, the first ring would pass the board's corners by
    while True:
        x, y = (inset, length - inset), (inset, width - inset)
        ring = rounded_rectangle(x, y, 0.0, clockwise=cutting.climbs)
        corner = (x[0], y[1]) if cutting.climbs else (x[1], y[1])
        out.append(ring.begun_at(ring.nearest(corner)))
        if min(x[1] - x[0], y[1] - y[0]) / 2 <= r:
            return out
        inset += step


def sink(
    cutting: Cutting,
    outline: Polygon | Sequence[Sequence[float]],
    *,
    depth: float,
    islands: Iterable[Polygon | Sequence[Sequence[float]]] = (),
    skim: float = 0.0,
) -> Moves:
    """Sink a recess: everything inside an outline, except islands, down to a depth.

    Parameters
    ----------
    cutting : Cutting
        A flat cutter.
    outline : shapely Polygon or (n, 2) float
        Of the recess; its holes are islands too [mm].
    depth : float
        [mm].
    islands : sequence of Polygon or (n, 2) float
        Wood that stays inside [mm].
    skim : float
        Wood kept at the walls for one last lap at full depth [mm].

    Returns
    -------
    Moves
        Each level from the innermost ring outwards, walls last. Inner corners keep the cutter's radius. Curves given
        as chords are followed within 1 % of it. A step wider
        than what leaves nothing standing between two rings is narrowed.

    Raises
    ------
    InputError
        When the outline is no area, or the recess or a part of it is narrower than the cutter.
    """
    cutting.require_flat("sinking")
    wanted = as_area(outline, "outline")
    for island in islands:
        wanted = wanted.difference(as_area(island, "island"))
    return clear(cutting, wanted, depth=depth, skim=skim, what="recess")


def as_area(outline: BaseGeometry | Sequence[Sequence[float]], name: str) -> BaseGeometry:
    """An outline as one area.

    Parameters
    ----------
    outline : shapely geometry or (n, 2) float
        [mm].
    name : str
        For messages.

    Raises
    ------
    InputError
        When it crosses itself or has no area.
    """
    if isinstance(outline, BaseGeometry):
        polygon: BaseGeometry = outline
    else:
        points = [tuple(p) for p in outline]
        if len(points) < 3:
            refuse(f"the {name} has fewer than three corners", "give at least three")
        polygon = Polygon(points)
    if not polygon.is_valid:
        refuse(f"the {name} is not one area: {shapely.is_valid_reason(polygon)}", "draw it without crossing itself")
    if polygon.is_empty or polygon.area <= 0:
        refuse(f"the {name} has no area", "check its corners")
    return polygon


def _quarter_chords(radius: float) -> int:
    """Chords per quarter turn that keep a sagitta, and turn little enough to be known as an arc again."""
    half = math.acos(max(0.0, 1 - _CHORD / max(radius, 0.05)))
    return max(8, math.ceil(math.pi / 4 / max(half, 1e-3)))


def offset(area: BaseGeometry, by: float) -> BaseGeometry:
    """An area grown, or shrunk where ``by`` is negative; corners that open become chords of arcs.

    Parameters
    ----------
    area : shapely geometry
        [mm].
    by : float
        [mm].
    """
    return area.buffer(by, quad_segs=_quarter_chords(abs(by)), join_style="round")


def polygons(area: BaseGeometry) -> list[Polygon]:
    """The polygons an area consists of.

    Parameters
    ----------
    area : shapely geometry
        Lines and points in it are dropped.
    """
    parts = area.geoms if isinstance(area, MultiPolygon) or hasattr(area, "geoms") else [area]
    return [p for p in parts if isinstance(p, Polygon) and p.area > 1e-9]


def clear(cutting: Cutting, wanted: BaseGeometry, *, depth: float, skim: float = 0.0, what: str = "recess") -> Moves:
    """Clear an area by rings, level by level; what ``sink``, wide grooves and the like are made of.

    Parameters
    ----------
    cutting : Cutting
        A flat cutter.
    wanted : shapely geometry
        Area to be cleared [mm].
    depth, skim : float
        As in ``sink`` [mm].
    what : str
        For messages.

    Raises
    ------
    InputError
        As ``sink``.
    """
    levels, r = cutting.levels(depth), cutting.radius
    if skim < 0:
        refuse(f"skim {skim:g} mm is below zero", "give the wood kept per side")
    walls = offset(wanted, -r)
    _refuse_unreached(cutting, wanted, walls, what)
    reach = offset(wanted, -(r + skim)) if skim else walls
    if not polygons(reach):
        refuse(f"no room is left inside the {what} with a skim of {skim:g} mm", "lessen the skim")
    t: Tracer | None = None
    for region in polygons(reach):
        rings = _rings(cutting, region)
        top = 0.0
        for level in levels:
            t = t or Tracer(cutting, rings[0].start)
            _one_level(t, rings, region, top, -level)
            top = -level
    assert t is not None  # an empty region was refused above
    if skim:
        for region in polygons(walls):
            for lap in _ring_runs(cutting, region):
                _last_lap(t, lap, reach, -depth)
    return t.moves()


def _refuse_unreached(cutting: Cutting, wanted: BaseGeometry, walls: BaseGeometry, what: str) -> None:
    """Corners keep a radius, but a neck or an arm of the area must not be missed in silence."""
    r = cutting.radius
    name = f"the {what}" if what else "it"
    remedy = f"use a cutter of less than {2 * r:.4g} mm, or widen it"
    if not polygons(walls):
        refuse(f"{name} is narrower than the cutter, {2 * r:.4g} mm", remedy)
    split = len(polygons(walls)) != len(polygons(wanted))
    reached = offset(walls, r)
    for piece in polygons(wanted.difference(reached)):
        if piece.hausdorff_distance(reached.boundary.intersection(piece.buffer(1e-3))) > 2 * r:
            split = True
    if split:
        refuse(f"a part of {name} is narrower than the cutter, {2 * r:.4g} mm", remedy)


def _ring_runs(cutting: Cutting, region: Polygon) -> list[Run]:
    """Boundary of a region as runs: outside one way, around islands the other, the kept wood on the right to climb."""
    region = shapely.geometry.polygon.orient(region, 1.0 if cutting.climbs else -1.0)
    return [ring_run(ring.coords) for ring in (*region.interiors, region.exterior)]


def _rings(cutting: Cutting, region: Polygon) -> list[Run]:
    """Rings from the innermost to the wall, close enough that nothing stands between them."""
    r = cutting.radius
    step = min(cutting.step, r)
    target = offset(region, r)
    while True:
        layers: list[list[Run]] = []
        swept: list[BaseGeometry] = []
        inset = 0.0
        while parts := polygons(offset(region, -inset) if inset else region):
            layers.append([run for p in parts for run in _ring_runs(cutting, p)])
            swept += [ring.buffer(r, quad_segs=32) for p in parts for ring in (p.exterior, *p.interiors)]
            inset += step
        left = target.difference(shapely.union_all(swept))
        if left.area <= _LEFT * target.area or step < r / 20:
            return [run for layer in reversed(layers) for run in layer]
        step *= 0.85


def _one_level(t: Tracer, rings: list[Run], region: Polygon, top: float, z: float) -> None:
    """All rings of one level; straight from ring to ring where the way lies inside the region."""
    free = region.buffer(1e-6)
    for i, original in enumerate(rings):
        ring = original.begun_at(original.nearest(t.here)) if i else original
        way = LineString([t.here, ring.start])
        if i and way.length < 3 * t.cutting.cutter.true_diameter and free.covers(way):
            t.to(ring.start)
        else:
            t.over(ring.start)
            ring = t.enter(ring, top, z)
        t.follow(ring)


def _last_lap(t: Tracer, lap: Run, cleared: BaseGeometry, z: float) -> None:
    """Once around at full depth, from the cleared side to the middle of the longest leg and back."""
    lengths = lap.lengths()
    longest = max(range(len(lengths)), key=lengths.__getitem__)
    lap = lap.begun_at(sum(lengths[:longest]) + lengths[longest] / 2)
    beside = nearest_points(cleared, shapely.Point(lap.start))[0]
    t.over((beside.x, beside.y))
    t.sink_in_air(z)
    t.to(lap.start)
    t.follow(lap)
    t.to((beside.x, beside.y))
