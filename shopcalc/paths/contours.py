"""Contours: cutting parts out, grooves along curves, raised panel edges, incised lines."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from typing import Literal

import numpy as np
from shapely import LineString, Polygon
from shapely.geometry.polygon import orient

from shopcalc.cutters import Cutter
from shopcalc.cutting.engagement import (
    edge_height,
    pass_count,
    refuse,
    require_at_most,
    require_positive,
    stepover_for_cusp,
)
from shopcalc.moves import Floats, Moves
from shopcalc.paths.clearing import as_area, clear, offset, polygons
from shopcalc.paths.runs import SAME, Leg, Point, Run, arc, polyline, ring_run
from shopcalc.paths.tracing import Cutting, Tracer

_ROUND_NOSED = frozenset({"ball", "core-box", "tapered ball"})
_STEEP = math.radians(60)  # beyond it a cove's lines would crowd without end, and strips leave an arch's corners
_FITS = 0.02  # mm; a groove this near to the cutter's diameter is cut in one line


def cut_out(
    cutting: Cutting,
    outline: Polygon | Sequence[Sequence[float]],
    *,
    thickness: float,
    side: Literal["outside", "inside"] = "outside",
    bridges: int = 4,
    bridge_length: float = 10.0,
    bridge_height: float = 3.0,
    below: float = 0.2,
) -> Moves:
    """Cut a part, or an opening, out of a board.

    Parameters
    ----------
    cutting : Cutting
        Any straight cutter that reaches through.
    outline : shapely Polygon or (n, 2) float
        What stays, or the opening [mm].
    thickness : float
        Of the board [mm].
    side : {"outside", "inside"}
        Where the waste lies.
    bridges : int
        How many bridges hold the piece until it is cut free by hand [-].
    bridge_length, bridge_height : float
        Of the wood left in each bridge, along the outline and above the board's underside [mm].
    below : float
        How far it cuts into the spoil board [mm].

    Returns
    -------
    Moves
        One lap for each level of at most the depth per pass. Levels below the bridges' top are plunged between the
        bridges, and the cutter is lifted over each; the levels above it are whole laps, entered as the setting says.

    Raises
    ------
    InputError
        When the opening is narrower than the cutter, the bridges leave no cut between them or are higher than the
        board, or the board is thicker than the cutting length.

    Notes
    -----
    The piece needs other holding when there are no bridges. Sizes of bridges: common practice, no source.
    """
    c, r = cutting.cutter, cutting.radius
    if c.shape not in ("square end", "compression"):
        refuse(f"cutting out leaves a square wall, but {c.id} is a {c.shape} cutter", "choose a square end")
    require_positive(thickness=thickness)
    if below < 0:
        refuse(f"below is {below:g} mm", "give zero or how far to cut into the spoil board")
    bottom = thickness + below
    cutting.levels(bottom, "thickness to cut through")
    runs = _around(cutting, outline, side)
    t: Tracer | None = None
    for run in runs:
        gaps = _bridges(run, bridges, bridge_length + 2 * r) if bridges else []
        if gaps:
            require_positive(bridge_length=bridge_length, bridge_height=bridge_height)
            if bridge_height >= thickness:
                refuse(f"bridges of {bridge_height:g} mm are as high as the board", "make them lower")
            if not c.centre_cutting:
                refuse(f"{c.id} may not plunge between bridges", "choose one that may, or hold the part otherwise")
        over = thickness - bridge_height if gaps else bottom  # below the face; what lies deeper is cut between bridges
        t = t or Tracer(cutting, run.start)
        t.over(run.start)
        top = 0.0
        for level in cutting.levels(bottom):
            if level <= over + 1e-9:
                run = t.enter(run, top, -level)
                t.follow(run)
            else:
                _between_bridges(t, gaps, top, -level, -over)
            top = -level
    assert t is not None  # an outline has at least one run
    return t.moves()


def _between_bridges(t: Tracer, gaps: list[tuple[Run, Run]], top: float, z: float, over: float) -> None:
    """One lap at a level that leaves the bridges standing; ``top`` is the floor there now."""
    start = gaps[0][0].start
    if math.dist(t.here, start) > SAME:
        t.over(start)
        t.sink_in_air(top + 1)
    for free, bridge in gaps:
        t.plunge(z)
        t.follow(free)
        t.rapid_to(over)
        t.follow(bridge)


def _around(cutting: Cutting, outline: Polygon | Sequence[Sequence[float]], side: str) -> list[Run]:
    """Runs of the cutter's centre around an outline, climbing or not; openings before the outside."""
    if side not in ("outside", "inside"):
        refuse(f"side '{side}' is not known", "use one of: outside, inside")
    area, r = as_area(outline, "outline"), cutting.radius
    grown = offset(area, r if side == "outside" else -r)
    parts = polygons(grown)
    holes = [sum(len(p.interiors) for p in polygons(a)) for a in (grown, area)]
    if len(parts) != len(polygons(area)) or holes[0] != holes[1]:
        refuse(f"the outline is narrower than the cutter, {2 * r:g} mm", "use a smaller cutter")
    # climbing keeps the wood that stays on the right: clockwise around a part, the other way inside an opening
    clockwise = cutting.climbs == (side == "outside")
    out: list[Run] = []
    for p in parts:
        oriented = orient(p, -1.0 if clockwise else 1.0)
        out += [_from_the_middle(ring_run(ring.coords)) for ring in (*oriented.interiors, oriented.exterior)]
    return out


def _from_the_middle(run: Run) -> Run:
    """Begun in the middle of its longest leg, away from corners."""
    lengths = run.lengths()
    longest = max(range(len(lengths)), key=lengths.__getitem__)
    return run.begun_at(sum(lengths[:longest]) + lengths[longest] / 2)


def _bridges(run: Run, count: int, lifted: float) -> list[tuple[Run, Run]]:
    """The run as pairs of a free stretch and a lifted one, evenly spaced."""
    if count < 0 or count != int(count):
        refuse(f"{count} is not a number of bridges", "give 0 or more")
    pitch = run.length / count
    if lifted >= pitch:
        message = f"{count} bridges leave no cut between them on an outline of {run.length:.4g} mm"
        refuse(message, "use fewer or shorter bridges")
    run = run.begun_at(pitch / 2)  # the start, in the middle of a straight, becomes the middle of a free stretch
    rest, out = run.begun_at(lifted / 2), []
    for _ in range(count):
        free, rest = rest.split(pitch - lifted)
        bridge, rest = rest.split(lifted)
        out.append((free, bridge))
    return out


def groove_along(
    cutting: Cutting, line: Run | Sequence[Sequence[float]], *, depth: float, width: float | None = None
) -> Moves:
    """Cut a groove along a line of straights and arcs, such as the arch of a rail.

    Parameters
    ----------
    cutting : Cutting
        Flat where a width is given.
    line : Run or (n, 2) float
        The groove's middle line, measured square to the arch; the groove ends round about its end points [mm].
    depth : float
        [mm].
    width : float, optional
        One pass of the cutter where none is given [mm].

    Returns
    -------
    Moves
        One pass wide: to and fro by levels; wider: rings.

    Raises
    ------
    InputError
        When it is narrower than the cutter or deeper than its cutting length.
    """
    run = line if isinstance(line, Run) else polyline(line)
    d = cutting.cutter.true_diameter
    if width is None or abs(width - d) <= _FITS:
        levels = cutting.levels(depth)
        t, top = Tracer(cutting, run.start), 0.0
        for level in levels:
            run = t.enter(run, top, -level)
            t.follow(run)
            run, top = (run if run.closed else run.reversed()), -level
        return t.moves()
    require_positive(width_of_the_groove=width)
    cutting.require_flat("a groove of given width")
    if width < d:
        message = f"the groove is {width:g} mm wide, narrower than the cutter ({d:g} mm)"
        refuse(message, f"use a cutter of {width:g} mm or less, or widen the groove")
    return clear(cutting, offset(LineString(_chords(run)), width / 2), depth=depth, what="groove")


def _chords(run: Run, sagitta: float = 0.005) -> list[Point]:
    """The run as points, arcs by chords."""
    out, at = [run.start], run.start
    for leg in run.legs:
        if leg.centre is not None:
            r = math.dist(at, leg.centre)
            n = max(1, math.ceil(abs(leg.sweep) / (2 * math.acos(max(0.0, 1 - sagitta / max(r, 2 * sagitta))))))
            a = math.atan2(at[1] - leg.centre[1], at[0] - leg.centre[0]) + leg.sweep * np.arange(1, n) / n
            out += [(leg.centre[0] + r * math.cos(x), leg.centre[1] + r * math.sin(x)) for x in a]
        out.append(leg.end)
        at = leg.end
    return out


def raise_panel(
    cutting: Cutting,
    length: float,
    width: float,
    *,
    border: float,
    depth: float,
    rim: float = 0.0,
    field_step: float = 0.0,
    profile: Literal["bevel", "cove"] = "bevel",
    cusp: float = 0.1,
    crown: float = 0.0,
) -> Moves:
    """Raise a panel: cut its border down so that the field stands out.

    Parameters
    ----------
    cutting : Cutting
        Any shape but a drill; a flat end leaves steps on a slope as high as its sideways step makes them.
    length, width : float
        Of the panel along x (with the grain) and y [mm].
    border : float
        Width of the raised border on each side, the rim included [mm].
    depth : float
        Below the face at the edge [mm].
    rim : float
        Width of the flat at the edge that goes into the groove [mm].
    field_step : float
        Height of the small step between border and field [mm].
    profile : {"bevel", "cove"}
        Straight, or a hollow that leaves the rim level.
    cusp : float
        Greatest height of the ridges a round-nosed cutter leaves, square to the surface; where a cove is steeper than
        60 degrees they may be higher [mm].
    crown : float
        Height of the arch that rounds the end x = length; 0 for a square panel [mm].

    Returns
    -------
    Moves
        Strips across the grain at both ends first, then along both sides; level by level, each strip no lower than
        the cutter's own shape allows, so nothing below the wanted surface is touched.

    Raises
    ------
    InputError
        When the border is wider than half the panel, the cove is deeper than wide, or the depth beyond the flutes.
    """
    if cutting.cutter.shape == "drill":
        refuse("a drill cannot raise a panel", "choose a square end, ball or core-box cutter")
    require_positive(length=length, width=width, border=border, cusp=cusp)
    _check_border(min(length, width), border, depth, rim, field_step, profile)
    if crown:
        most = width / 2 * math.tan(_STEEP / 2)  # where it meets the sides, 60 degrees steep
        require_at_most("crown", crown, "what strips along it can follow,", most, "make the arch flatter")
        require_at_most("crown and border", crown + border, "the panel's length", length, "make the arch flatter")
    centres, heights = _border_strips(cutting, border, depth, rim, field_step, profile, cusp)
    lead = cutting.radius + cutting.lead
    levels = cutting.levels(depth)
    t: Tracer | None = None
    # across the grain at x = 0 and x = length first, then along y = 0 and y = width
    for far, run, along in ((length, width, False), (width, length, True)):
        for mirrored in (False, True):
            for above, level in zip((0.0, *levels), levels, strict=False):
                for c, h in zip(centres, heights, strict=True):
                    if h >= -above - 1e-9:
                        continue  # reached on the level before
                    if crown and mirrored and not along:
                        line = _crown_strip((length, width), crown, float(c), lead, cutting.climbs)
                        t = t or Tracer(cutting, line.start)
                        t.over(line.start)
                        t.sink_in_air(max(float(h), -level))
                        t.follow(line)
                        continue
                    at = far - float(c) if mirrored else float(c)
                    begin, end = _strip(at, run, lead, along, mirrored, cutting.climbs)
                    t = t or Tracer(cutting, begin)
                    t.strokes([(begin, end)], max(float(h), -level))
    if t is None:
        refuse("the cutter finds nothing to cut without touching the field", "use a smaller cutter or a deeper border")
    assert t is not None  # refused above
    return t.moves()


def _strip(at: float, run: float, lead: float, along: bool, mirrored: bool, climbs: bool) -> tuple[Point, Point]:
    """One strip along a side of the panel; climbing, the field lies on the right of the travel."""
    if along:  # at y = 0 the field is at +y: travel towards -x; at y = width the other way
        low, high = (-lead, at), (run + lead, at)
        pair = (low, high) if mirrored else (high, low)
    else:  # at x = 0 the field is at +x: travel towards +y
        low, high = (at, -lead), (at, run + lead)
        pair = (high, low) if mirrored else (low, high)
    return pair if climbs else (pair[1], pair[0])


def _crown_strip(size: Point, crown: float, at: float, lead: float, climbs: bool) -> Run:
    """One strip along an arched end, concentric with it, left and entered on tangents beside the panel."""
    length, half = size[0], size[1] / 2
    radius = (half * half + crown * crown) / (2 * crown)
    centre, r = (length - radius, half), radius - at
    out = half + lead
    turn = min(math.asin(min(1.0, out / r)), _STEEP) if r > SAME else 0.0
    away = max(out - r * math.sin(turn), 0.0) / math.cos(turn)  # along the tangent
    x, y = centre[0] + r * math.cos(turn), r * math.sin(turn)
    run = arc(centre, r, turn, -2 * turn) if r > SAME else polyline([(x, half + 1e-3), (x, half - 1e-3)])
    if away > SAME:
        tip = x - away * math.sin(turn), y + away * math.cos(turn)
        first, last = Leg(run.start), Leg((tip[0], half - tip[1]))
        run = Run((tip[0], half + tip[1]), (first, *run.legs, last))
    return run if climbs else run.reversed()


def _check_border(narrow: float, border: float, depth: float, rim: float, step: float, profile: str) -> None:
    if profile not in ("bevel", "cove"):
        refuse(f"profile '{profile}' is not known", "use one of: bevel, cove")
    require_positive(depth=depth)
    if rim < 0 or step < 0:
        refuse("rim and field_step must not be negative", "give zero or a length")
    require_at_most("border", border, "half the panel", narrow / 2, "make the border narrower")
    if rim >= border:
        refuse(f"the rim, {rim:g} mm, is as wide as the border, {border:g} mm", "make the rim narrower")
    require_at_most("field_step", step, "the depth", depth, "make the step lower")
    if profile == "cove":
        require_at_most("rise of the cove", depth - step, "its width", border - rim, "make it shallower or wider")


def border_height(
    distance: float | Floats, border: float, depth: float, rim: float, field_step: float, profile: str
) -> Floats:
    """Wanted height of a raised panel at a distance from its nearest edge, the face being 0.

    Parameters
    ----------
    distance : float or (n,) float
        From the nearest edge, negative beside the panel [mm].
    border, depth, rim, field_step : float
        As in ``raise_panel`` [mm].
    profile : {"bevel", "cove"}
        A cove is the circle that leaves the rim level and ends at the field's step.

    Returns
    -------
    (n,) float
        [mm]. Geometry.

    Example
    -------
    >>> border_height(np.array([0.0, 10.0, 25.0, 50.0]), 40, 6, 10, 0, "bevel")
    array([-6., -6., -3.,  0.])
    """
    d = np.asarray(distance, dtype=float)
    along, rise, run = np.clip(d - rim, 0, border - rim), depth - field_step, border - rim
    if profile == "cove" and rise > 0:
        r = (run * run + rise * rise) / (2 * rise)
        up = r - np.sqrt(np.maximum(r * r - along * along, 0))
    else:
        up = along * rise / run
    out: Floats = np.where(d >= border, 0.0, -depth + up)
    return out


def _border_strips(
    cutting: Cutting, border: float, depth: float, rim: float, field_step: float, profile: str, cusp: float
) -> tuple[Floats, Floats]:
    """Distances from the edge of the strips' centres, and the lowest tip there that cuts nothing wanted away."""
    r = cutting.radius
    if cutting.cutter.shape in _ROUND_NOSED:
        centres = _round_nosed_lines(cutting, border, depth - field_step, rim, profile, cusp)
    else:
        n = pass_count(border, cutting.step)
        centres = -r + border * np.arange(1, n + 1) / n
    reach = np.linspace(-r, r, 4001)
    edge = edge_height(cutting.cutter, reach)
    wanted = border_height(centres[:, None] + reach, border + 1e-9, depth, rim, field_step, profile)
    return centres, np.asarray((wanted - edge).max(axis=1))


def _round_nosed_lines(cutting: Cutting, border: float, rise: float, rim: float, profile: str, cusp: float) -> Floats:
    """Distances from the edge of lines whose ridges stay below a cusp, from a full step at the edge up to the field.

    One line lies where the nose touches the rim and the bevel at once; beside it a ridge would stand in the hollow.
    """
    c = cutting.cutter
    slope = math.atan2(rise, border - rim) * (1 if profile == "bevel" else 2)
    first = min(cutting.step - cutting.radius, 0.0)
    hollow = rim - _nose(c) * math.tan(slope / 2) if profile == "bevel" else rim
    stops = [first, hollow, border] if first < hollow else [first, border]
    out = [np.array([first])]
    for i, (a, b) in enumerate(itertools.pairwise(stops)):
        level = len(stops) == 3 and i == 0
        n = pass_count(b - a, min(cutting.step, _cusp_step(c, cusp, 0.0 if level else slope)))
        out.append(a + (b - a) * np.arange(1, n + 1) / n)
    return np.concatenate(out)


def _nose(cutter: Cutter) -> float:
    """Radius of a round nose [mm]."""
    return (cutter.tip_diameter if cutter.shape == "tapered ball" else cutter.true_diameter) / 2


def _cusp_step(cutter: Cutter, cusp: float, slope: float) -> float:
    """Sideways step whose ridges stay below a cusp, on a slope or on the steepest one the nose can follow."""
    flank = math.pi / 2 - (cutter.included_angle / 2 if cutter.shape == "tapered ball" else 0.0)
    nose = _nose(cutter)
    slope = min(slope, _STEEP, 0.9 * flank)
    most = 0.99 * nose * (1 - math.cos(flank - slope))  # the round of the nose leaves none higher
    return float(stepover_for_cusp(cutter, min(cusp, most), slope))


def incise(cutting: Cutting, lines: Sequence[Run | Sequence[Sequence[float]]], *, depth: float) -> Moves:
    """Incise lines with the cutter's own profile, usually a V.

    Parameters
    ----------
    cutting : Cutting
        One that may plunge.
    lines : sequence of Run or (n, 2) float
        Each is followed once per level, to and fro [mm].
    depth : float
        Of the tip [mm].

    Returns
    -------
    Moves
        In the order given.

    Raises
    ------
    InputError
        When there is no line, or the depth is beyond the cutting length.

    Example
    -------
    >>> from shopcalc.cutters import Cutter
    >>> v = Cutter("V60", "", "V", 12, 6, 2, 10, 60, 30, included_angle=math.radians(60))
    >>> m = incise(Cutting(v, 2000, 800, 18000, depth_per_pass=3), [[(0, 0), (20, 0)], [(0, 9), (20, 9)]], depth=2)
    >>> m.cutting_length
    46.0
    """
    if not lines:
        refuse("no line is given", "give at least one")
    levels = cutting.levels(depth)
    t: Tracer | None = None
    for line in lines:
        run = line if isinstance(line, Run) else polyline(line)
        t = t or Tracer(cutting, run.start)
        t.over(run.start)
        t.rapid_to(1.0)
        for level in levels:
            t.plunge(-level)
            t.follow(run)
            run = run if run.closed else run.reversed()
    assert t is not None  # there is at least one line
    return t.moves()
