"""Grooves and frames of grooves cut with a V."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from typing import TypeAlias

import numpy as np
import shapely
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from shopcalc.cutting.engagement import refuse, require_at_most, require_positive
from shopcalc.paths.runs import Leg, Point, Run, polyline
from shopcalc.paths.tracing import Cutting, Tracer
from shopcalc.relief.line_following import HOP
from shopcalc.relief.outlines import Outline
from shopcalc.relief.vee import BY_HAND, EMPTY, Carved, Vee, small, v_notes
from shopcalc.units import System

#: What grooves follow.
GrooveLine: TypeAlias = Outline | Run | LineString | Sequence[Sequence[float]]

_SHARP = math.radians(20)  # a groove that bends less has no corner
_HAIRPIN = math.radians(150)  # a groove that bends more has no mitre worth the name


def v_grooves(
    lines: Sequence[GrooveLine],
    cutting: Cutting,
    *,
    width: float | None = None,
    depth: float | None = None,
    stopped: bool = True,
    ramp_out: float = 0.0,
    sharp_corners: bool = True,
    system: System = "metric",
) -> Carved:
    """Cut V grooves of one width along lines, curves and frames.

    Parameters
    ----------
    lines : sequence of Outline, Run, shapely LineString or (n, 2) float
        Middle lines of the grooves; a closed one is a frame [mm].
    cutting : Cutting
        A V.
    width, depth : float, optional
        At the surface, or of the tip; give one [mm].
    stopped : bool
        Whether open grooves end where their lines do; otherwise the cutter runs out beyond both ends, beside the board.
    ramp_out : float
        Length over which stopped ends rise to the surface; 0 leaves half a cone at the end [mm].
    sharp_corners : bool
        Whether the tip rises into the outer corner of every bend, so that the mitre is cut to its point.
    system : {"metric", "inch"}
        What the reader of its notes thinks in.

    Returns
    -------
    Carved

    Raises
    ------
    InputError
        When neither or both of width and depth are given, the cutter is too small, or a line too short for its ends.

    Notes
    -----
    Geometry. A plunged end reaches half the width beyond the line's end; a ramped one tapers to the tip's flat there.

    Example
    -------
    >>> from shopcalc.cutters import Cutter
    >>> v = Cutter("V90", "", "V", 25.4, 12.7, 2, 12.7, 60, 40, included_angle=math.pi / 2)
    >>> frame = [(0, 0), (200, 0), (200, 120), (0, 120), (0, 0)]
    >>> v_grooves([frame], Cutting(v, 2000, 800, 16000, depth_per_pass=4), width=6).greatest_depth
    3.0
    """
    v = Vee(cutting.cutter)
    if (width is None) == (depth is None):
        refuse("a groove is given by its width or its depth, not by both or neither", "give one of them")
    if not lines:
        refuse("no line is given", "give at least one")
    most, why = v.deepest(cutting.cutter, None)
    if width is not None:
        require_positive(width=width)
        depth = round(float(v.depth(width / 2)), 12)
        if depth <= 0:
            refuse(
                f"a groove of {small(width, system)} is no wider than the tip's flat of {small(2 * v.flat, system)}",
                "use a finer tip or a wider groove",
            )
    assert depth is not None  # one of them is given
    require_positive(depth=depth)
    require_at_most("depth of the groove", depth, f"what {why} allows", most, "use a larger V or a smaller groove")
    half = v.radius(depth)
    if ramp_out < 0 or (ramp_out and not stopped):
        refuse(f"ramp_out is {ramp_out:g} mm", "give 0 or more, and only for stopped grooves")
    runs = [_run(line) for line in lines]
    levels = cutting.levels(depth)
    t: Tracer | None = None
    corners = 0
    for run in runs:
        if not run.closed and ramp_out and run.length < 2 * ramp_out:
            refuse(f"a groove of {small(run.length, system)} is shorter than its two ramps", "shorten ramp_out")
        t, found = _groove(t, cutting, v, run, levels, stopped, ramp_out, sharp_corners)
        corners += found
    assert t is not None  # there is at least one line
    wanted, reached = _groove_areas(runs, half, v.flat, sharp_corners)
    notes = v_notes(cutting.cutter, v.flat, system)
    open_lines = [r for r in runs if not r.closed]
    if open_lines and stopped:
        notes.append(
            f"stopped ends rise to the surface over {small(ramp_out, system)} and taper to the tip" if ramp_out else
            f"stopped ends are half cones that reach {small(half, system)} beyond the line's end"
        )  # fmt: skip
    elif open_lines:
        beyond = cutting.radius + cutting.lead
        notes.append(
            f"the cutter runs {small(beyond, system)} beyond both ends: clamps stay clear of them, and the edge where "
            "it leaves is backed up against breaking out (common practice, no source)"
        )
    crossings = _crossings(runs)
    if crossings:
        notes.append(f"{crossings} crossing(s): cut the grooves across the grain first, so that short grain at the "
                     "crossing breaks out into wood that goes (common practice, no source)")  # fmt: skip
    left = wanted.difference(reached)
    if not sharp_corners:
        left = left.buffer(-1e-6).buffer(1e-6)
    return Carved(
        ((cutting, t.moves()),), depth, len(runs), EMPTY, "", left, half if corners and not sharp_corners else v.flat,
        (*notes, BY_HAND),
    )  # fmt: skip


def _run(line: GrooveLine) -> Run:
    if isinstance(line, Run):
        return line
    shape = line.shape if isinstance(line, Outline) else line
    if isinstance(shape, Polygon):
        shape = LineString(shape.exterior.coords)
    return polyline(list(shape.coords) if isinstance(shape, LineString) else shape)


def _groove(
    t: Tracer | None, cutting: Cutting, v: Vee, run: Run, levels: Sequence[float], stopped: bool, ramp_out: float,
    sharp_corners: bool,
) -> tuple[Tracer, int]:  # fmt: skip
    """One groove by levels, to and fro; corners are cut to their points on the last one."""
    if not stopped and not run.closed:
        run = _extended(run, cutting.radius + cutting.lead)
    t = t or Tracer(cutting, run.start)
    t.over(run.start)
    t.rapid_to(min(HOP, cutting.safe_height))
    bends = {_key(at): (outward, v.slope / math.cos(turn / 2)) for at, outward, turn in _bends(run)}
    top = 0.0
    for level in levels:
        corners = bends if sharp_corners and level == levels[-1] else {}
        if run.closed or (stopped and not ramp_out):
            run = t.enter(run, -top, -level)
            _along(t, run, -level, corners)
        elif stopped:
            rise = ramp_out * level / levels[-1]
            t.sink_in_air(0.0)
            first, rest = run.split(rise)
            middle, last = rest.split(rest.length - rise)
            for part, z in ((first, -level), (middle, -level), (last, 0.0)):
                _along(t, part, z, corners)
        else:
            t.sink_in_air(-level)
            _along(t, run, -level, corners)
        top = level
        if not run.closed:
            run = run.reversed()
    return t, len(bends)


def _key(at: Sequence[float]) -> Point:
    return round(at[0], 6), round(at[1], 6)


def _along(t: Tracer, run: Run, z: float, corners: dict[Point, tuple[Point, float]]) -> None:
    """Follow a run, its height changing evenly, and rise into the outer corner of every bend and back."""
    begin, done, total = t.at[2], 0.0, run.length
    for leg, length in zip(run.legs, run.lengths(), strict=True):
        done += length
        t.follow(Run(t.here, (leg,)), z if leg is run.legs[-1] else begin + (z - begin) * done / total)
        if _key(leg.end) in corners and t.at[2] < 0:
            (x, y), ahead = corners[_key(leg.end)]
            low = t.at[2]
            t.to((leg.end[0] - low * ahead * x, leg.end[1] - low * ahead * y), 0.0)
            t.to(leg.end, low)


def _headings(run: Run) -> list[tuple[Point, Point, Point]]:
    """Of each leg: its end, and the directions in which it begins and ends."""
    out, at = [], run.start
    for leg in run.legs:
        if leg.centre is None:
            size = math.dist(at, leg.end)
            u = ((leg.end[0] - at[0]) / size, (leg.end[1] - at[1]) / size)
            out.append((leg.end, u, u))
        else:
            sense = math.copysign(1.0, leg.sweep)
            ways = []
            for p in (at, leg.end):
                x, y = p[0] - leg.centre[0], p[1] - leg.centre[1]
                size = math.hypot(x, y)
                ways.append((-sense * y / size, sense * x / size))
            out.append((leg.end, ways[0], ways[1]))
        at = leg.end
    return out


def _bends(run: Run) -> list[tuple[Point, Point, float]]:
    """Corners of a run that are mitred: place, direction to the outside, and turn."""
    ways = _headings(run)
    pairs = list(itertools.pairwise(ways)) + ([(ways[-1], ways[0])] if run.closed else [])
    out = []
    for (at, _, a), (_, b, _) in pairs:
        turn = abs(math.atan2(a[0] * b[1] - a[1] * b[0], a[0] * b[0] + a[1] * b[1]))
        if _SHARP < turn < _HAIRPIN:
            x, y = a[0] - b[0], a[1] - b[1]
            size = math.hypot(x, y)
            out.append((at, (x / size, y / size), turn))
    return out


def _extended(run: Run, by: float) -> Run:
    ways = _headings(run)
    _, first, _ = ways[0]
    end, _, last = ways[-1]
    start = (run.start[0] - by * first[0], run.start[1] - by * first[1])
    beyond = (end[0] + by * last[0], end[1] + by * last[1])
    return Run(start, (Leg(run.start), *run.legs, Leg(beyond)))


def _chords(run: Run) -> LineString:
    points, at = [run.start], run.start
    for leg in run.legs:
        if leg.centre is not None:
            n = max(1, math.ceil(abs(leg.sweep) / math.radians(2)))
            r, begin = math.dist(at, leg.centre), math.atan2(at[1] - leg.centre[1], at[0] - leg.centre[0])
            turns = begin + leg.sweep * np.arange(1, n) / n
            points += [(leg.centre[0] + r * math.cos(a), leg.centre[1] + r * math.sin(a)) for a in turns]
        points.append(leg.end)
        at = leg.end
    return LineString(points)


def _groove_areas(runs: list[Run], half: float, flat: float, sharp: bool) -> tuple[BaseGeometry, BaseGeometry]:
    """What the grooves should take from the surface with mitred corners, and what they do take."""
    swept = [_chords(r).buffer(half, quad_segs=64) for r in runs]
    points: list[BaseGeometry] = []
    cut: list[BaseGeometry] = []
    for run in runs:
        for at, outward, turn in _bends(run):
            disc = shapely.Point(at).buffer(half, quad_segs=64)
            far = half / math.cos(turn / 2)
            across = (-outward[1] * math.sin(turn / 2), outward[0] * math.sin(turn / 2))
            along = (outward[0] * math.cos(turn / 2), outward[1] * math.cos(turn / 2))
            touches = [(at[0] + half * (along[0] + s * across[0]), at[1] + half * (along[1] + s * across[1]))
                       for s in (-1, 1)]  # fmt: skip
            mitre = Polygon([at, touches[0], (at[0] + far * outward[0], at[1] + far * outward[1]), touches[1]])
            points.append(mitre)
            if sharp:
                way = (half - flat) / math.cos(turn / 2)
                tip = shapely.Point(at[0] + way * outward[0], at[1] + way * outward[1])
                end = tip.buffer(flat, quad_segs=64) if flat else tip
                cut.append(shapely.union_all([disc, end]).convex_hull)
    return shapely.union_all([*swept, *points]), shapely.union_all([*swept, *cut])


def _crossings(runs: list[Run]) -> int:
    """Places where two grooves cross."""
    lines = [_chords(r) for r in runs]
    found = 0
    for i, j in itertools.combinations(range(len(lines)), 2):
        if lines[i].crosses(lines[j]):
            found += len(shapely.get_parts(lines[i].intersection(lines[j])))
    return found
