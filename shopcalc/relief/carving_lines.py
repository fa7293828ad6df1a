"""Letters carved with V cutters: sunk ones, and raised ones with chamfered edges (grooves: see ``grooves``)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TypeAlias

import numpy as np
import shapely
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from shopcalc.cutters import Cutter
from shopcalc.cutting.engagement import effective_diameter, refuse, require_at_most, require_positive
from shopcalc.moves import Floats, Moves
from shopcalc.paths.clearing import as_area, clear, offset, polygons
from shopcalc.paths.runs import SAME
from shopcalc.paths.tracing import Cutting, Tracer, in_turn
from shopcalc.relief.grooves import v_grooves as v_grooves
from shopcalc.relief.line_following import Pen, at_height, clipped, stretches
from shopcalc.relief.medial import medial_axis
from shopcalc.relief.outlines import Outline
from shopcalc.relief.vee import BY_HAND, EMPTY, Vee, area_words, small, v_notes
from shopcalc.relief.vee import Carved as Carved
from shopcalc.relief.vee import groove_depth as groove_depth
from shopcalc.relief.vee import height_error as height_error
from shopcalc.units import System

#: What carving takes as letters: outlines as read, or areas.
Letters: TypeAlias = Sequence[Outline | Polygon | shapely.MultiPolygon]

_AWAY = 0.1  # mm between a chamfering cutter's tip and the letter's wall, where there is room
_GROUND = ("square end", "surfacing", "compression", "core-box", "ball")


def incise_letters(
    outlines: Letters,
    cutting: Cutting,
    *,
    depth: float | None = None,
    clearing: Cutting | None = None,
    cusp: float = 0.1,
    tolerance: float = 0.02,
    system: System = "metric",
) -> Carved:
    """Sink letters, or any areas, with a V that goes as deep as they are wide.

    Parameters
    ----------
    outlines : sequence of Outline or shapely Polygon
        What is sunk, in the order it is cut; overlapping areas become one.
    cutting : Cutting
        A V.
    depth : float, optional
        Nothing is cut deeper than this: wide places get a flat ground there [mm].
    clearing : Cutting, optional
        A flat cutter that clears such ground first; the V clears what it does not reach, or all of it by lines along x.
    cusp : float
        Greatest height of the ridges between the V's lines on a flat ground [mm].
    tolerance : float
        Of the lines the V follows; see ``medial_axis`` [mm].
    system : {"metric", "inch"}
        What the reader of its notes thinks in.

    Returns
    -------
    Carved

    Raises
    ------
    InputError
        When the cutter is no V, an outline is open, or nothing is wide enough for the tip.

    Notes
    -----
    Geometry: along the middle lines the tip's depth is (distance to the edge - flat / 2) / tan(angle / 2), so that both
    flanks touch the outline; inside corners are cut sharp because the tip rises into them.

    Example
    -------
    >>> v = Cutter("V60", "", "V", 12.7, 6.35, 2, 11, 57, 32, included_angle=math.radians(60))
    >>> bar = incise_letters([shapely.box(0, 0, 40, 6)], Cutting(v, 2000, 800, 18000, depth_per_pass=6))
    >>> round(bar.greatest_depth, 3), bar.chains, bar.capped_by
    (5.196, 3, '')
    """
    v = Vee(cutting.cutter)
    require_positive(cusp=cusp, tolerance=tolerance, **({} if depth is None else {"depth": depth}))
    most, why = v.deepest(cutting.cutter, depth)
    reach = v.radius(most)
    letters = _areas(outlines)
    cuts: list[_Letter] = []
    for area in letters:
        axis = medial_axis(area, tolerance=tolerance)
        chains = [np.column_stack([c[:, :2], v.depth(c[:, 2])]) for c in axis.chains]
        flat = offset(area, -reach) if axis.greatest > reach + 1e-9 else EMPTY
        # an area a trifle too wide keeps its middle lines: its flat ground may be too narrow to be drawn
        high = most + tolerance / v.slope
        cuts.append(_Letter(area, [s for c in chains for s in stretches(c, 0.0, high)], flat))
    deepest = max((c.greatest(most) for c in cuts), default=0.0)
    if deepest <= 0:
        refuse(
            f"nothing is wider than the tip's flat of {small(2 * v.flat, system)}",
            "use a V with a finer tip or larger letters",
        )
    capped = shapely.union_all([c.flat for c in cuts])
    operations: list[tuple[Cutting, Moves]] = []
    notes = v_notes(cutting.cutter, v.flat, system)
    if clearing is not None and not capped.is_empty:
        clearing.require_flat("clearing the ground of letters")
        done = []
        for cut in cuts:
            if not cut.flat.is_empty:
                moves, cut.cleared = _clear_what_fits(clearing, offset(cut.area, v.flat - reach), most)
                done += [] if moves is None else [moves]
        if done:
            operations.append((clearing, in_turn(clearing, done)))
        else:
            notes.append(f"{clearing.cutter.id} fits nowhere on the flat ground: the V clears it alone")
    levels = cutting.levels(deepest)
    t: Tracer | None = None
    chains_cut = 0
    for cut in cuts:
        lines = _Ground(cut.flat, cut.cleared, v, cusp) if not cut.flat.is_empty else None
        t, count = _carve(t, cutting, cut, lines, levels, most)
        chains_cut += count
    assert t is not None  # something is deeper than nothing
    operations.append((cutting, t.moves()))
    left = [area.difference(offset(offset(area, -v.flat), v.flat)) for area in letters] if v.flat > 0 else []
    if not capped.is_empty:
        notes.append(
            f"{why} stops the V at {small(most, system)}: {area_words(capped.area, system)} get a flat ground"
            + (
                f" with ridges up to {small(cusp, system)}"
                if len(operations) == 1
                else f", cleared with {_name(clearing)}"
            )
        )
    if v.flat > 0 and sum(p.area for p in left) > 0.05 * sum(p.area for p in letters):
        notes.append("strokes or serifs are narrower than the tip and stay uncut: use a finer tip or larger letters")
    return Carved(
        tuple(operations), deepest, chains_cut, capped, why if not capped.is_empty else "",
        shapely.union_all(left) if left else EMPTY, v.flat, (*notes, BY_HAND),
    )  # fmt: skip


def _name(cutting: Cutting | None) -> str:
    return cutting.cutter.id if cutting else ""


def _areas(outlines: Letters) -> list[Polygon]:
    """Polygons of the outlines in their order, those that touch made one."""
    if not outlines:
        refuse("no outline is given", "give at least one closed outline")
    parts: list[Polygon] = []
    for number, one in enumerate(outlines, 1):
        shape = one.shape if isinstance(one, Outline) else one
        name = (f"'{one.name}'" if isinstance(one, Outline) and one.name else "") or f"outline {number}"
        if isinstance(shape, LineString):
            refuse(f"{name} is an open line", "close it, or cut it with v_grooves")
        as_area(shape, name)
        parts += polygons(shape)
    one, two = shapely.STRtree(parts).query(parts, predicate="intersects")
    if not (one != two).any():
        return parts
    whole = polygons(shapely.union_all(parts))
    first = shapely.STRtree(whole).query(parts, predicate="intersects")
    order = {int(w): i for i, w in reversed(list(zip(*first, strict=True)))}
    return [whole[w] for w in sorted(order, key=lambda w: order[w])]


class _Letter:
    """One area with its middle lines (x, y, depth), its flat ground where the V's tip runs, and what was cleared."""

    def __init__(self, area: Polygon, chains: list[Floats], flat: BaseGeometry) -> None:
        self.area, self.chains, self.flat = area, chains, flat
        self.cleared: BaseGeometry = EMPTY

    def greatest(self, most: float) -> float:
        deepest = max((float(c[:, 2].max()) for c in self.chains), default=0.0)
        return most if not self.flat.is_empty else min(most, deepest)


class _Ground:
    """Lines of a V that clear a flat ground, where another cutter did not."""

    def __init__(self, flat: BaseGeometry, cleared: BaseGeometry, v: Vee, cusp: float) -> None:
        self.flat = flat
        self.area = flat
        if not cleared.is_empty:
            missed = flat.buffer(v.flat).difference(shapely.union_all([cleared, flat.boundary.buffer(v.flat + 5e-3)]))
            self.area = flat.intersection(missed.buffer(-5e-3).buffer(v.flat + 0.02))
        self.v, self.cusp = v, cusp

    def rings(self) -> list[Floats]:
        return [np.asarray(r.coords)[:, :2] for p in polygons(self.flat) for r in (p.exterior, *p.interiors)]

    def lines(self, cusp: float) -> list[Floats]:
        """To and fro along x, no ridge between them higher than ``cusp``."""
        step = 2 * (self.v.flat + cusp * self.v.slope)
        out: list[Floats] = []
        for p in polygons(self.area):
            low, y0, high, y1 = p.bounds
            n = max(1, math.ceil((y1 - y0) / step - 1e-9))
            heights = y0 + (y1 - y0) * (np.arange(n) + 0.5) / n
            across = shapely.linestrings([[(low - 1, y), (high + 1, y)] for y in heights])
            for i, found in enumerate(shapely.intersection(p, across)):
                pieces = [np.asarray(g.coords) for g in shapely.get_parts(found) if isinstance(g, LineString)]
                pieces.sort(key=lambda c: float(c[0, 0]), reverse=bool(i % 2))
                out += [c if (c[0, 0] < c[-1, 0]) != bool(i % 2) else c[::-1] for c in pieces if len(c) > 1]
        return out


def _carve(
    t: Tracer | None, cutting: Cutting, cut: _Letter, ground: _Ground | None, levels: Sequence[float], most: float
) -> tuple[Tracer, int]:
    """One letter, level by level: its ground by lines and around, then its middle lines."""
    count, top = 0, 0.0
    for level in levels:
        pieces: list[Floats] = []
        ways: list[Floats] = []
        if ground is not None and top < most - 1e-9:
            to = min(level, most)
            # above the last level ridges are left for the next one
            fine = ground.cusp if to >= most - 1e-9 else max(ground.cusp, (to - top) / 2)
            ways = [at_height(line, -to) for line in ground.lines(fine)]
            pieces += [at_height(ring, -to) for ring in ground.rings()]
        for chain in cut.chains:
            pieces += [clipped(s, level) for s in stretches(chain, top, math.inf)]
        if not pieces and not ways:
            break
        first = (ways or pieces)[0][0]
        t = t or Tracer(cutting, (float(first[0]), float(first[1])))
        pen = Pen(t, cut.area, -top)
        free = cut.flat.buffer(1e-6)
        for way in ways:
            pen.line(way, free)
        pen.all(pieces)
        count = max(count, pen.chains)
        top = level
    if t is None:  # the first letter is too narrow for the tip; the next ones are not
        t = Tracer(cutting, (float(cut.area.bounds[0]), float(cut.area.bounds[1])))
    return t, count


def _clear_what_fits(
    cutting: Cutting, wanted: BaseGeometry, depth: float, radius: float | None = None
) -> tuple[Moves | None, BaseGeometry]:
    """Clear what a cutter reaches of an area; the moves, and the area its edge reaches at the surface."""
    r = cutting.radius
    at_edge = r if radius is None else radius
    reach = polygons(offset(wanted, -at_edge))
    parts = []
    for part in reach:
        if offset(part, -1e-3).is_empty:
            continue
        parts.append((clear(cutting, offset(part, r), depth=depth, what="ground"), offset(part, at_edge)))
    if not parts:
        return None, EMPTY
    return in_turn(cutting, [m for m, _ in parts]), shapely.union_all([a for _, a in parts])


def raise_letters(
    outlines: Letters,
    cutting: Cutting,
    *,
    depth: float,
    margin: float | None = None,
    area: Polygon | Sequence[Sequence[float]] | None = None,
    chamfer: float = 0.0,
    chamfering: Cutting | None = None,
    system: System = "metric",
) -> Carved:
    """Leave letters standing: the ground around them is cleared, and their edges chamfered.

    Parameters
    ----------
    outlines : sequence of Outline or shapely Polygon
        What stands.
    cutting : Cutting
        A square end or core-box cutter for the ground.
    depth : float
        Of the ground below the surface [mm].
    margin : float, optional
        Ground around the box that holds all letters [mm].
    area : shapely Polygon or (n, 2) float, optional
        The ground's own outline, instead of a margin [mm].
    chamfer : float
        Width of the chamfer, seen from above; 0 for none [mm].
    chamfering : Cutting, optional
        A V; needed for a chamfer.
    system : {"metric", "inch"}
        What the reader of its notes thinks in.

    Returns
    -------
    Carved
        ``left`` shows gaps and corners the ground's cutter does not reach.

    Raises
    ------
    InputError
        When neither or both of margin and area are given, letters reach beyond the area, the cutter fits nowhere, or
        the chamfer is deeper than the ground.

    Notes
    -----
    Geometry. The chamfering tip runs beside the letters, 0.1 mm off their walls where the ground is deep enough.

    Example
    -------
    >>> sq = Cutter("SQ3", "", "square end", 3, 6, 2, 12, 50, 25)
    >>> stamp = raise_letters([shapely.box(0, 0, 20, 20)], Cutting(sq, 2000, 800, 18000, 3), depth=3, margin=5)
    >>> stamp.greatest_depth, round(stamp.left_area, 1)
    (3.0, 1.9)
    """
    letters = _areas(outlines)
    stands = shapely.union_all(letters)
    c = cutting.cutter
    if c.shape not in _GROUND:
        refuse(f"{c.id} is a {c.shape} cutter", "clear the ground with a square end or a core-box cutter")
    if (margin is None) == (area is None):
        refuse("the ground is given by a margin or by an area, not by both or neither", "give one of them")
    if margin is not None:
        require_positive(margin=margin)
        whole: BaseGeometry = shapely.box(*stands.bounds).buffer(margin, join_style="mitre")
    else:
        whole = as_area(area, "area of the ground")  # type: ignore[arg-type]
    if not whole.buffer(1e-6).covers(stands):
        refuse("letters reach beyond the area of the ground", "make it larger, or the letters smaller")
    cutting.levels(depth)
    ground = whole.difference(stands)
    radius = float(effective_diameter(c, depth)) / 2
    done, reached = _clear_what_fits(cutting, ground, depth, radius)
    if done is None:
        refuse(f"{c.id} fits nowhere beside the letters", f"use a cutter of less than {small(2 * radius, system)}")
    assert done is not None  # refused above
    left = _without_slivers(ground.difference(reached))
    operations = [(cutting, done)]
    notes, deepest, chains = _ground_notes(c, depth, radius, ground, left, system), float(depth), 0
    unchamfered: BaseGeometry = EMPTY
    if chamfer:
        require_positive(chamfer=chamfer)
        if chamfering is None:
            refuse("a chamfer needs a V cutter", "give it as 'chamfering'")
        assert chamfering is not None
        moves, tip, chains, unchamfered = _chamfer(chamfering, letters, whole, chamfer, depth)
        deepest = max(deepest, tip)
        notes += v_notes(chamfering.cutter, 0.0, system)
        if moves is not None:
            operations.append((chamfering, moves))
        if unchamfered.area > 0.01 * stands.length * chamfer:
            notes.append(
                f"{area_words(unchamfered.area, system)} of the chamfers stay uncut: inner corners, and gaps narrower "
                "than the V"
            )
    return Carved(tuple(operations), deepest, chains, EMPTY, "", left, radius, (*notes, BY_HAND), unchamfered)


def _without_slivers(area: BaseGeometry) -> BaseGeometry:
    """What is wider than two thousandths: chords of parallel curves leave strips that no wood is."""
    return area.buffer(-1e-3).buffer(1e-3, join_style="mitre")


def _ground_notes(
    c: Cutter, depth: float, radius: float, ground: BaseGeometry, left: BaseGeometry, system: System
) -> list[str]:
    notes = [f"inner corners of the ground keep a radius of {small(radius, system)}"]
    gaps = []
    shut = 0
    reached = ground.difference(left)
    for piece in polygons(left):
        beside = reached.boundary.intersection(piece.buffer(1e-3))
        if beside.is_empty:
            shut += 1
        elif piece.segmentize(radius / 2).hausdorff_distance(beside) > radius:  # it looks at corners only
            gaps.append(piece)
    if shut:
        notes.append(f"{shut} enclosed ground(s) are too small for {c.id} and stay: use a finer cutter")
    if gaps:
        at = max(gaps, key=lambda p: float(p.area)).representative_point()
        notes.append(
            f"{len(gaps)} gap(s) are narrower than {c.id} ({small(2 * radius, system)}) and stay uncut, "
            f"the largest at {small(at.x, system)}, {small(at.y, system)}"
        )
    if c.shape in ("core-box", "ball"):
        notes.append(f"{c.id} leaves a hollow at the foot of the letters and ridges on the ground")
        if depth < c.true_diameter / 2:
            notes.append("the ground is shallower than the cutter's radius: the letters' sides slope")
    return notes


def _chamfer(
    cutting: Cutting, letters: list[Polygon], whole: BaseGeometry, chamfer: float, depth: float
) -> tuple[Moves | None, float, int, BaseGeometry]:
    """Moves beside the letters, the tip's depth, the chains, and the chamfers not reached."""
    v = Vee(cutting.cutter)
    most, why = v.deepest(cutting.cutter, depth)
    require_at_most("chamfer", chamfer, f"what {why} allows", most * v.slope, "make it narrower or use a wider V")
    away = v.flat + min(_AWAY, max(0.0, most * v.slope - chamfer))
    tip = float(v.depth(chamfer + away))
    stands = shapely.union_all(letters)
    beside = stands.buffer(away, quad_segs=16)
    inner = whole.buffer(-away - chamfer)
    lines = [r for p in polygons(beside) for r in (p.exterior, *p.interiors)]
    kept = [LineString(r.coords) if inner.covers(r) else r.intersection(inner) for r in lines]
    pieces: list[Floats] = []
    for k in kept:
        joined = shapely.line_merge(k) if isinstance(k, shapely.MultiLineString) else k
        pieces += [np.asarray(g.coords)[:, :2] for g in shapely.get_parts(joined) if g.length > SAME]
    wanted = stands.difference(offset(stands, -chamfer))
    run = shapely.union_all([LineString(p).buffer(chamfer + away + 1e-3, quad_segs=32) for p in pieces] or [EMPTY])
    levels = cutting.levels(tip)
    if not pieces:
        return None, 0.0, 0, wanted
    t = Tracer(cutting, (float(pieces[0][0, 0]), float(pieces[0][0, 1])))
    chains, top = 0, 0.0
    for level in levels:
        pen = Pen(t, EMPTY, -top)
        pen.all([at_height(p, -level) for p in pieces])
        chains, top = pen.chains, level
    return t.moves(), tip, chains, _without_slivers(wanted.difference(run))
