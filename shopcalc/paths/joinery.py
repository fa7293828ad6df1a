"""Joinery: grooves, rebates, holes, mortises, and tenons cut on the end of a standing rail."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from shapely import Polygon

from shopcalc.cutting.engagement import pass_count, refuse, require_at_most, require_positive
from shopcalc.moves import Moves
from shopcalc.paths.clearing import clear
from shopcalc.paths.runs import Leg, Point, Run, polyline, rounded_rectangle, stadium, turned_point
from shopcalc.paths.tracing import Cutting, Tracer, turned

_FITS = 0.02  # mm; a slot this near to the cutter's diameter is cut in one line


def groove(
    cutting: Cutting,
    start: Point,
    end: Point,
    *,
    depth: float,
    width: float | None = None,
    open_start: bool = False,
    open_end: bool = False,
) -> Moves:
    """Cut a straight groove.

    Parameters
    ----------
    cutting : Cutting
        Flat where a width is given; any shape cuts its own groove without one.
    start, end : (2,) float
        Where the groove begins and ends on its middle line, round ends included; an open end lies on the edge [mm].
    depth : float
        [mm].
    width : float, optional
        One pass of the cutter where none is given [mm].
    open_start, open_end : bool
        Whether it runs out through the edge there.

    Returns
    -------
    Moves
        A groove open somewhere is entered from beside the wood.

    Raises
    ------
    InputError
        When the groove is narrower or shorter than the cutter, or deeper than its cutting length.

    Example
    -------
    >>> from shopcalc.cutters import Cutter
    >>> sq = Cutter("SQ6", "", "square end", 6, 6, 2, 20, 60, 30)
    >>> m = groove(Cutting(sq, 3000, 900, 18000, depth_per_pass=3), (0, 20), (300, 20), depth=9,
    ...            open_start=True, open_end=True)
    >>> float(m.points[:, 2].min()), float(m.extents()[0, 1])
    (-9.0, 305.0)
    """
    d, lead = cutting.cutter.true_diameter, cutting.radius + cutting.lead
    length = math.dist(start, end)
    require_positive(length_of_the_groove=length)
    wide = d if width is None else width
    if width is not None:
        cutting.require_flat("a groove of given width")
        _wide_enough("groove", wide, d)
    if length < d - _FITS and not (open_start and open_end):
        refuse(f"the groove is {length:g} mm long, shorter than the cutter is wide ({d:g} mm)", "use a smaller cutter")
    angle = math.atan2(end[1] - start[1], end[0] - start[0])
    a, b = (-lead if open_start else cutting.radius), (length + lead if open_end else length - cutting.radius)
    if wide <= d + _FITS:
        local = _single_line(cutting, a, b, depth, open_start, open_end)
    elif open_start and open_end:
        local = _side_by_side(cutting, a, b, wide, depth)
    else:
        x0, x1 = a - cutting.radius, b + cutting.radius
        area = Polygon([(x0, -wide / 2), (x1, -wide / 2), (x1, wide / 2), (x0, wide / 2)])
        local = clear(cutting, area, depth=depth, what="groove")
    return turned(local, angle).shifted((start[0], start[1], 0.0))


def _wide_enough(what: str, width: float, diameter: float) -> None:
    require_positive(**{f"width_of_the_{what}": width})
    if width < diameter - _FITS:
        message = f"the {what} is {width:g} mm wide, narrower than the cutter ({diameter:g} mm)"
        refuse(message, f"use a cutter of {width:g} mm or less, or widen the {what}")


def _single_line(cutting: Cutting, a: float, b: float, depth: float, open_a: bool, open_b: bool) -> Moves:
    """One line along x, level by level."""
    levels = cutting.levels(depth)
    if not open_a and open_b:
        a, b, open_a = b, a, True
    if open_a:
        t, top = Tracer(cutting, (a, 0.0)), 0.0
        for i, level in enumerate(levels):
            if open_b and cutting.direction == "both" and i % 2:
                t.sink_in_air(-level)
                t.to((a, 0.0))
                continue
            if t.here != (a, 0.0):
                t.over((a, 0.0))
            t.sink_in_air(-level)
            t.to((b, 0.0))
        return t.moves()
    t, top = Tracer(cutting, (a, 0.0)), 0.0
    if b - a < 1e-6:
        _drill(t, cutting, [(a, 0.0)], depth)
        return t.moves()
    run = polyline([(a, 0.0), (b, 0.0)])
    for level in levels:
        run = t.enter(run, top, -level)
        t.follow(run)
        run, top = run.reversed(), -level
    return t.moves()


def _side_by_side(cutting: Cutting, a: float, b: float, width: float, depth: float) -> Moves:
    """Lines along x from one wall to the other; after the first one the uncut wood lies on one side only."""
    half, levels = width / 2 - cutting.radius, cutting.levels(depth)
    n = pass_count(2 * half, cutting.step)
    lines = [((b, -half + 2 * half * k / n), (a, -half + 2 * half * k / n)) for k in range(n + 1)]
    lines = lines if cutting.climbs else [(q, p) for p, q in lines]
    t = Tracer(cutting, lines[0][0])
    for level in levels:
        t.strokes(lines, -level)
    return t.moves()


def rebate(
    cutting: Cutting,
    length: float,
    *,
    width: float,
    depth: float,
    start: float | None = None,
    end: float | None = None,
) -> Moves:
    """Cut a rebate along the edge y = 0 of a part; across the end of a rail lying flat it is a tenon's cheek.

    Parameters
    ----------
    cutting : Cutting
        A flat cutter.
    length : float
        Of the part along x [mm].
    width, depth : float
        From the edge into the part, and down [mm].
    start, end : float, optional
        Where a stopped rebate begins and ends along x; the inner corners keep the cutter's radius [mm].

    Returns
    -------
    Moves
        Lines from the edge inwards, one way, entered from beside the wood.

    Raises
    ------
    InputError
        When a stop lies off the part or leaves no room for the cutter, or the depth is beyond the cutting length.
    """
    cutting.require_flat("a rebate")
    require_positive(length=length, width_of_the_rebate=width)
    r, lead = cutting.radius, cutting.radius + cutting.lead
    for name, at in (("start", start), ("end", end)):
        if at is not None and not 0 <= at <= length:
            refuse(f"the rebate's {name}, {at:g} mm, lies off the part", f"give it between 0 and {length:g} mm")
    x0, x1 = -lead if start is None else start + r, length + lead if end is None else end - r
    if x1 < x0:
        refuse(f"the rebate is shorter than the cutter, {2 * r:g} mm", "use a smaller cutter or a longer rebate")
    n = pass_count(width, cutting.step)
    depths_in = [-r + width * k / n for k in range(1, n + 1)]
    begin, stop = (x1, x0) if cutting.climbs else (x0, x1)  # moving -x the part at +y lies on the right
    levels = cutting.levels(depth)
    if start is None and end is None:
        t = Tracer(cutting, (begin, depths_in[0]))
        for level in levels:
            t.strokes([((begin, y), (stop, y)) for y in depths_in], -level)
        return t.moves()
    t = Tracer(cutting, (begin, -lead))
    for level in levels:
        for y in depths_in:
            t.over((begin, -lead))
            t.sink_in_air(-level)
            for point in ((begin, y), (stop, y), (stop, -lead)):
                t.to(point)
    return t.moves()


def bore(cutting: Cutting, centres: Sequence[Point], *, diameter: float, depth: float) -> Moves:
    """Bore holes: pecked where the cutter fills them, else by helix and rings.

    Parameters
    ----------
    cutting : Cutting
        A drill for its own diameter; a flat cutter for larger holes.
    centres : sequence of (2,) float
        [mm].
    diameter, depth : float
        [mm].

    Returns
    -------
    Moves
        In the order given. Pecks are as deep as a level and withdraw to 2 mm above the surface.

    Raises
    ------
    InputError
        When a hole is smaller than the cutter, a drill is asked for a larger hole, or it is too deep.

    Example
    -------
    >>> from shopcalc.cutters import Cutter
    >>> dr = Cutter("DR8", "", "drill", 8, 8, 2, 35, 70, 45)
    >>> m = bore(Cutting(dr, 1000, 1000, 4000, depth_per_pass=10), [(50, 20), (250, 20)], diameter=8, depth=30)
    >>> int((m.points[:, 2] == -30).sum())
    2
    """
    c = cutting.cutter
    if not centres:
        refuse("no hole is given", "give the centre of each hole")
    require_positive(diameter=diameter)
    levels = cutting.levels(depth, "depth of the hole")
    if diameter < c.true_diameter - _FITS:
        refuse(f"the hole of {diameter:g} mm is smaller than {c.id}, {c.true_diameter:g} mm", "use a smaller cutter")
    t = Tracer(cutting, centres[0])
    if diameter <= c.true_diameter + _FITS:
        _drill(t, cutting, centres, depth)
        return t.moves()
    if c.shape == "drill":
        refuse(f"drill {c.id} cannot widen a hole to {diameter:g} mm", "use a square end, or a drill of that diameter")
    cutting.require_flat("a wide hole")
    for centre in centres:
        _round_ended(t, cutting, centre, diameter, diameter, 0.0, levels)
    return t.moves()


def _drill(t: Tracer, cutting: Cutting, centres: Sequence[Point], depth: float) -> None:
    """Straight down in pecks."""
    for centre in centres:
        t.over(centre)
        t.rapid_to(2.0)
        for i, level in enumerate(levels := cutting.levels(depth)):
            t.plunge(-level)
            t.rapid_to(2.0)
            if i + 1 < len(levels):
                t.rapid_to(-level + 0.5)


def mortise(
    cutting: Cutting,
    centre: Point,
    *,
    length: float,
    width: float,
    depth: float,
    angle: float = 0.0,
    relieved: bool = False,
) -> Moves:
    """Cut a mortise with round ends.

    Parameters
    ----------
    cutting : Cutting
        A flat cutter.
    centre : (2,) float
        [mm].
    length, width, depth : float
        Over the round ends, across, and down [mm].
    angle : float
        Of the length against x [rad].
    relieved : bool
        Whether each corner is bored out so far that a square tenon goes in.

    Returns
    -------
    Moves
        As wide as the cutter: to and fro, ramping down; wider: rings from the middle outwards, ramping along the first.

    Raises
    ------
    InputError
        When it is narrower than the cutter, shorter than wide, or deeper than the cutting length.

    Example
    -------
    >>> from shopcalc.cutters import Cutter
    >>> sq = Cutter("SQ10", "", "square end", 9.5, 9.5, 2, 32, 76, 45)
    >>> m = mortise(Cutting(sq, 4000, 1200, 18000, depth_per_pass=4), (40, 12), length=60, width=9.5, depth=28)
    >>> [round(float(v), 6) for v in m.extents()[0]]
    [14.75, 65.25]
    """
    cutting.require_flat("a mortise")
    _wide_enough("mortise", width, cutting.cutter.true_diameter)
    if length < width - 1e-9:
        refuse(f"the mortise is {length:g} mm long but {width:g} mm wide", "turn it, or exchange length and width")
    levels = cutting.levels(depth, "depth of the mortise")
    half = (length - width) / 2
    begin = turned_point((centre[0] - half, centre[1]), centre, angle)
    t = Tracer(cutting, begin)
    _round_ended(t, cutting, centre, length, width, angle, levels)
    if relieved:
        if not cutting.cutter.centre_cutting:
            refuse(f"{cutting.cutter.id} may not go straight down into the corners", "choose one that may")
        x, y = (v / 2 - cutting.radius * math.sqrt(0.5) for v in (length, width))
        corners = [(centre[0] + i * x, centre[1] + j * y) for i, j in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
        _drill(t, cutting, [turned_point(p, centre, angle) for p in corners], depth)
    return t.moves()


def _round_ended(
    t: Tracer, cutting: Cutting, centre: Point, length: float, width: float, angle: float, levels: Sequence[float]
) -> None:
    """A slot with round ends, or a round hole; rings from the inside out, walls last."""
    outer = width / 2 - cutting.radius
    if outer <= _FITS / 2:
        half = (length - width) / 2
        ends = [turned_point((centre[0] + x, centre[1]), centre, angle) for x in (-half, half)]
        if half < 1e-6:
            _drill(t, cutting, [centre], levels[-1])
            return
        runs = [polyline(ends)]
    else:
        n = pass_count(outer, min(cutting.step, cutting.radius))
        clockwise = not cutting.climbs  # the kept wood lies outside: to the right of a counter-clockwise lap
        runs = [
            stadium(centre, length - width + 2 * r, 2 * r, angle, clockwise=clockwise)
            for r in (outer * (k + 1) / n for k in range(n))
        ]
    top = 0.0
    for level in levels:
        if t.here != runs[0].start or top == 0.0:
            t.over(runs[0].start)
        for i, original in enumerate(runs):
            run = t.enter(original, top, -level) if i == 0 else original
            if i:
                t.to(run.start)
            t.follow(run)
        if len(runs) == 1:
            runs = [runs[0].reversed()] if not runs[0].closed else [run]
        top = -level


@dataclass(frozen=True)
class Tenon:
    """A tenon as it stands on the end of a rail; x across the rail's width, y across its thickness.

    Parameters
    ----------
    width, thickness : float
        Of the tongue [mm].
    length : float
        From shoulder to end, the tongue and the stub together [mm].
    from_edge, from_face : float
        From the reference edge (x = 0) and the reference face (y = 0) to the tongue [mm].
    stub_length : float
        Length at the shoulder over which the tenon is wider: a haunch or a step as deep as the panel's groove [mm].
    stub_left, stub_right : float
        How far the stub stands out beyond the tongue towards x = 0 and away from it: one of them for a haunched
        tenon, both for a stepped one [mm].
    rounded : bool
        Whether the tongue's corners are rounded to half its thickness, for a mortise with round ends.
    gap : float
        Paired tenons: width of the gap in the middle of the tongue, which goes down to the shoulder, or to the stub
        that stays as a haunch between them [mm].

    Example
    -------
    >>> Tenon(50, 9.5, 30, from_edge=20, from_face=6, stub_length=10, stub_left=20).style
    'haunched'
    """

    width: float
    thickness: float
    length: float
    from_edge: float
    from_face: float
    stub_length: float = 0.0
    stub_left: float = 0.0
    stub_right: float = 0.0
    rounded: bool = False
    gap: float = 0.0

    @property
    def style(self) -> Literal["plain", "haunched", "stepped", "paired"]:
        """What a joiner calls it."""
        if self.gap > 0:
            return "paired"
        if self.stub_length <= 0 or (self.stub_left <= 0 and self.stub_right <= 0):
            return "plain"
        return "stepped" if self.stub_left > 0 and self.stub_right > 0 else "haunched"


def tenon(
    cutting: Cutting,
    rail_width: float,
    rail_thickness: float,
    shape: Tenon,
    *,
    skim: float = 0.0,
    scoring: float = 0.0,
    laps: bool = False,
) -> Moves:
    """Cut a tenon on the end of a rail that stands on end, the spindle along the grain.

    Parameters
    ----------
    cutting : Cutting
        A flat cutter; it starts and ends each line beside the wood.
    rail_width, rail_thickness : float
        Of the rail's section [mm].
    shape : Tenon
        The tenon as wanted, clearance already taken off.
    skim : float
        Wood kept per side for one last climbing lap at full depth; it must be thick enough to make a chip [mm].
    scoring : float
        Width of a first light cut along each side of the shoulder, so that what splits out ends there [mm]. About 1 mm
        where the shoulder shows; none unless asked for, because it lengthens the cut by a quarter or so.
    laps : bool
        Whether to go round the tenon from outside inwards instead of line by line: quicker, because it rises less
        often, but edges and cheeks are cut in one go. Without scoring.

    Returns
    -------
    Moves
        z = 0 is the rail's end and the shoulder the floor: narrow edges first, then cheeks, then the lap. The gap
        between paired tenons comes after them.

    Raises
    ------
    InputError
        When the tenon does not lie within the rail, is longer than the flutes, or nothing is to be cut.

    Notes
    -----
    Geometry; the order is common practice, no source. Every line leaves the rail at full feed, across the grain's
    ends: clamp a back-up block behind each face where it comes out, or score, or the far face splits out (common
    practice, no source).
    """
    cutting.require_flat("a tenon's shoulder")
    _check_tenon(rail_width, rail_thickness, shape, skim, scoring)
    c = cutting.cutter
    if laps and scoring:
        refuse("laps go without a scoring cut", "cut line by line, or leave the scoring out")
    if 0 < shape.gap < c.true_diameter:
        refuse(f"the gap of {shape.gap:g} mm is narrower than {c.id}", "use a smaller cutter or a wider gap")
    cutting.levels(shape.length, "length of the tenon")
    zones = _zones(shape)
    t: Tracer | None = None
    top = 0.0
    for bottom, x, y in zones:
        rounded = shape.rounded and top == 0  # a haunch or step stays square: it fills the groove
        tongues = _tongues(shape, x) if rounded else [x]
        strips = [] if laps else _tenon_strips(cutting, rail_width, rail_thickness, x, y, skim, scoring)
        rounds = _tenon_rounds(cutting, rail_width, rail_thickness, x, y, skim) if laps else []
        between = _gap_lines(cutting, shape, rail_thickness) if top == 0 and shape.stub_length < shape.length else []
        for level in cutting.levels(bottom - top):
            for lines in strips:
                t = t or Tracer(cutting, lines[0][0])
                t.strokes(lines, -(top + level))
            for away in rounds:
                t = t or Tracer(cutting, (x[0], y[0] - cutting.radius))
                _tenon_round(t, cutting, (rail_width, rail_thickness), x, y, away, -(top + level))
            for lines in between:
                t = t or Tracer(cutting, lines[0][0])
                t.strokes(lines, -(top + level))
            for tongue in tongues if rounded else []:  # the corners are thick: level by level too
                t = t or Tracer(cutting, (x[0], y[0] - cutting.radius))
                _tenon_lap(t, cutting, tongue, y, _rounding(tongue, y), skim, -(top + level))
        for tongue in tongues if skim else []:
            t = t or Tracer(cutting, (x[0], y[0] - cutting.radius))
            _tenon_lap(t, cutting, tongue, y, _rounding(tongue, y) if rounded else 0.0, 0.0, -bottom)
        top = bottom
    if t is None:
        refuse("nothing is to be cut: the tenon is as large as the rail", f"check its sizes against {c.id}'s rail")
    assert t is not None  # refused above
    return t.moves()


def _tongues(s: Tenon, x: Point) -> list[Point]:
    """What a kept width consists of: one tongue, or two with a gap between them."""
    if s.gap <= 0 or s.stub_length >= s.length:
        return [x]
    middle = s.from_edge + s.width / 2
    return [(x[0], middle - s.gap / 2), (middle + s.gap / 2, x[1])]


def _rounding(x: Point, y: Point) -> float:
    return min(y[1] - y[0], x[1] - x[0]) / 2


def _check_tenon(rail_width: float, rail_thickness: float, s: Tenon, skim: float, scoring: float) -> None:
    require_positive(
        rail_width=rail_width, rail_thickness=rail_thickness, tenon_width=s.width, tenon_thickness=s.thickness,
        tenon_length=s.length,
    )  # fmt: skip
    for name, value in (
        ("from_edge", s.from_edge), ("from_face", s.from_face), ("stub_length", s.stub_length),
        ("stub_left", s.stub_left), ("stub_right", s.stub_right), ("skim", skim), ("scoring", scoring),
        ("gap", s.gap),
    ):  # fmt: skip
        if not (math.isfinite(value) and value >= 0):
            refuse(f"the tenon's {name} is {value:g} mm", "give zero or a positive length")
    require_at_most("tenon thickness", s.thickness, "the rail's thickness", rail_thickness, "make the tenon thinner")
    require_at_most("tenon width", s.width, "the rail's width", rail_width, "make the tenon narrower")
    far = s.from_face + s.thickness
    require_at_most("the tenon's far cheek at", far, "the rail's thickness", rail_thickness, "lessen from_face")
    far = s.from_edge + s.width
    require_at_most("the tenon's far edge at", far, "the rail's width", rail_width, "lessen from_edge")
    require_at_most("stub_left", s.stub_left, "the room beside the tongue", s.from_edge, "lessen stub_left")
    require_at_most("stub_right", s.stub_right, "the room beside the tongue", rail_width - far, "lessen stub_right")
    require_at_most("the gap", s.gap, "the tenon's width", s.width, "lessen the gap")
    require_at_most("stub_length", s.stub_length, "the tenon's length", s.length, "lessen stub_length")


def _zones(s: Tenon) -> list[tuple[float, Point, Point]]:
    """Depth of the floor and kept rectangle of each zone, from the end of the rail to the shoulder."""
    x, y = (s.from_edge, s.from_edge + s.width), (s.from_face, s.from_face + s.thickness)
    stubbed = s.stub_length > 0 and (s.stub_left > 0 or s.stub_right > 0 or s.gap > 0)
    if not stubbed or s.stub_length >= s.length:
        if stubbed:
            x = (x[0] - s.stub_left, x[1] + s.stub_right)
        return [(s.length, x, y)]
    return [(s.length - s.stub_length, x, y), (s.length, (x[0] - s.stub_left, x[1] + s.stub_right), y)]


def _side_steps(cutting: Cutting, room: float, scoring: float) -> list[float]:
    """How far the cut has come in from the rail's face after each line; the scoring cut is not among them."""
    if room <= 1e-9:
        return []
    first = min(scoring, room)
    if room - first <= 1e-9:
        return []
    n = pass_count(room - first, cutting.step)
    return [first + (room - first) * (k + 1) / n for k in range(n)]


def _tenon_strips(
    cutting: Cutting, width: float, thickness: float, x: Point, y: Point, skim: float, scoring: float
) -> list[list[tuple[Point, Point]]]:
    """Lines of one level in order: scoring cuts, narrow edges, cheeks; the uncut wood on the climbing side."""
    r, lead = cutting.radius, cutting.radius + cutting.lead
    rooms = [x[0] - skim, width - x[1] - skim, y[0] - skim, thickness - y[1] - skim]  # left, right, front, back
    rooms = [max(0.0, v) for v in rooms]

    def line(side: int, inwards: float, low: float, high: float) -> tuple[Point, Point]:
        """Along one side of the rail; climbing, the tenon lies on the right."""
        if side == 0:
            a, b = (inwards - r, low), (inwards - r, high)
        elif side == 1:
            a, b = (width - inwards + r, high), (width - inwards + r, low)
        elif side == 2:
            a, b = (high, inwards - r), (low, inwards - r)
        else:
            a, b = (low, thickness - inwards + r), (high, thickness - inwards + r)
        return (a, b) if cutting.climbs else (b, a)

    def whole(side: int) -> tuple[float, float]:
        return (-lead, (thickness if side < 2 else width) + lead)

    out = [[line(s, min(scoring, rooms[s]), *whole(s))] for s in (2, 3, 0, 1) if scoring > 0 and rooms[s] > 1e-9]
    for side in (0, 1):
        out += [[line(side, i, *whole(side))] for i in _side_steps(cutting, rooms[side], scoring)]
    # the edges are clear now, so a cheek's line need only pass what is left between them
    between = (max(x[0] - skim, 0.0) - lead, min(x[1] + skim, width) + lead)
    for side in (2, 3):
        out += [[line(side, i, *between)] for i in _side_steps(cutting, rooms[side], scoring)]
    return out


def _tenon_round(t: Tracer, cutting: Cutting, rail: Point, x: Point, y: Point, away: float, z: float) -> None:
    """Once round the tenon in four lines, begun beside the rail along the front and left past the front again."""
    r, lead = cutting.radius + away, cutting.radius + cutting.lead
    x = max(x[0] - r, -lead), min(x[1] + r, rail[0] + lead)
    y = max(y[0] - r, -lead), min(y[1] + r, rail[1] + lead)
    near, far = (x[1], x[0]) if cutting.climbs else (x[0], x[1])
    begin = rail[0] + lead if cutting.climbs else -lead
    t.over((begin, y[0]))
    t.sink_in_air(z)
    for point in ((far, y[0]), (far, y[1]), (near, y[1]), (near, -lead)):
        t.to(point)


def _tenon_rounds(cutting: Cutting, width: float, thickness: float, x: Point, y: Point, skim: float) -> list[float]:
    """How far from the tenon each round goes, from outside inwards."""
    room = max(x[0], width - x[1], y[0], thickness - y[1]) - skim
    if room <= 1e-9:
        return []
    # at the rail's corner a round reaches only its radius: a step of 1.7 radii is the widest that leaves no horn
    n = pass_count(room, min(cutting.step, 1.7 * cutting.radius))
    return [skim + room * (n - k) / n for k in range(1, n + 1)]


def _gap_lines(cutting: Cutting, s: Tenon, thickness: float) -> list[list[tuple[Point, Point]]]:
    """Lines through the tongue that part it into a pair, from the middle of the gap outwards."""
    if s.gap <= 0:
        return []
    middle, reach = s.from_edge + s.width / 2, s.gap / 2 - cutting.radius
    lead = cutting.radius + cutting.lead
    low, high = s.from_face - lead, min(s.from_face + s.thickness, thickness) + lead
    n = pass_count(2 * reach, cutting.step) if reach > 1e-9 else 0
    places = [middle + reach * (2 * k / n - 1) for k in range(n + 1)] if n else [middle]
    return [[((p, low), (p, high))] for p in sorted(places, key=lambda v: abs(v - middle))]


def _tenon_lap(t: Tracer, cutting: Cutting, x: Point, y: Point, corner: float, skim: float, z: float) -> None:
    """Once around the tenon, a skim away from it, entered and left by a quarter circle on the cleared side."""
    r, lead = cutting.radius + skim, cutting.lead
    lap: Run = rounded_rectangle(
        (x[0] - r, x[1] + r), (y[0] - r, y[1] + r), r + corner, clockwise=cutting.climbs
    )  # begins in the middle of the front cheek
    side = 1.0 if cutting.climbs else -1.0  # clockwise, the front is passed towards -x
    mx, my = lap.start
    outside = (mx + side * lead, my - lead)
    t.over(outside)
    t.sink_in_air(z)
    centre, quarter = (mx, my - lead), side * math.pi / 2
    t.follow(Run(outside, (Leg(lap.start, centre, quarter),)))
    t.follow(lap)
    t.follow(Run(lap.start, (Leg((mx - side * lead, my - lead), centre, quarter),)))
