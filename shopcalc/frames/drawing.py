"""The working drawing of a frame: front, sections through stile and rail with the panel, and its joints enlarged."""

from __future__ import annotations

import itertools

import numpy as np

from shopcalc.frames.drafting import Point, Sheet, View
from shopcalc.frames.members import Joint, Layout, Member
from shopcalc.paths.contours import border_height
from shopcalc.units import System, write

_MARGIN = 12.0  # mm of paper
_HEAD = 24.0  # mm of paper above the front
_FRONT = 0.55  # share of the page's height for the front
_SCALES = (
    1.0,
    1 / 1.5,
    0.5,
    0.4,
    1 / 3,
    0.25,
    0.2,
    1 / 6,
    1 / 7,
    0.125,
    0.1,
    1 / 12,
    1 / 15,
    0.05,
    1 / 25,
    1 / 30,
    0.02,
)


def svg(laid: Layout, system: System = "inch") -> str:
    """A page that prints at its own size: Letter in inches and fractions, A4 in millimetres.

    Parameters
    ----------
    laid : Layout
        Of the frame.
    system : {"inch", "metric"}
        Of dimensions and page.

    Returns
    -------
    str
        SVG text, black and white, with a title and a description for those who do not see it.
    """
    frame = laid.frame
    sheet = Sheet(system, _title(laid), describe(laid, system))
    sheet.text((_MARGIN, 14.5), _title(laid), height=4.0)
    sheet.text((_MARGIN, 20.0), _particulars(laid, system))
    low = sheet.height * _FRONT
    _front(sheet, laid, low)
    middle = sheet.width * 0.45
    _sections(sheet, laid, low + 14, middle - _MARGIN - 4)
    _joint(sheet, laid, _joint_to_show(laid), (middle + 2, low + 14), sheet.width - middle - _MARGIN - 2)
    unit = "inches" if system == "inch" else "millimetres"
    foot = f"Dimensions in {unit}. Tenons and panels as cut, clearances taken off. The front looks up in the sections."
    sheet.text((_MARGIN, sheet.height - 7.0), foot)
    if frame.note:
        sheet.text((_MARGIN, sheet.height - 11.5), frame.note)
    return sheet.svg()


def _title(laid: Layout) -> str:
    return laid.frame.title or laid.frame.id


def _particulars(laid: Layout, system: System) -> str:
    f, s = laid.frame, laid.sizes
    wood = f.material if f.panel_material in (None, f.material) else f"{f.material}, panels {f.panel_material}"
    clear = ", ".join(
        f"{what} {write(v, 'length', system)}"
        for what, v in (("joints", s.clearance), ("panels along", s.clearance_along), ("across", s.clearance_across))
    )
    return f"{f.quantity} × {wood}; clearance: {clear}"


def describe(laid: Layout, system: System = "inch") -> str:
    """The drawing in a sentence.

    Parameters
    ----------
    laid : Layout
        Of the frame.
    system : {"inch", "metric"}
        Of dimensions.
    """
    f, s = laid.frame, laid.sizes
    size = " by ".join(write(v, "length", system) for v in (f.width, f.height, f.thickness))
    muntins = sum(s.muntins)
    parts = f"{len(s.rails)} rails" + (f", {muntins} muntin{'s' if muntins > 1 else ''}" if muntins else "")
    panels = f"{len(laid.openings)} {f.panel} panel{'s' if len(laid.openings) > 1 else ''}"
    arch = f" under an arch rising {write(f.arch, 'length', system)}" if f.arch else ""
    styles = " and ".join(dict.fromkeys(s.styles))
    return (
        f"Frame {size} of two stiles, {parts} and {panels}{arch}, joined with {styles} tenons; front, sections, joint."
    )


# --- front -----------------------------------------------------------------------------------------------------------


def _front(sheet: Sheet, laid: Layout, low: float) -> None:
    f, s = laid.frame, laid.sizes
    room = sheet.width - 2 * _MARGIN - 40.0, low - _HEAD - 20.0
    scale = _scale(min(room[0] / f.width, room[1] / f.height))
    view = View(sheet, _MARGIN + 26 + (room[0] - scale * f.width) / 2, low - 20.0, scale)
    for m in laid.members:
        if m.role == "panel":
            view.ring(m.outline, "hidden")
            if s.raise_depth(f):
                view.ring(_inset(m, s.border), "light")
    sheet.text((_MARGIN, low - 4.0), f"Front, scale {_ratio(scale)}", height=3.0)
    for m in laid.members:
        if m.role == "panel":
            _panel_size(view, m)
        else:
            view.ring(m.outline)
            for tongue in m.tongues:
                view.ring(tongue, "hidden")
    right, top = f.width, f.height
    row = max(laid.openings, key=lambda o: s.muntins[o.row]).row
    fields = [o for o in laid.openings if o.row == row]
    deep = view.across([0.0, *(x for o in fields for x in o.x), right], 0.0, 7.0)
    view.across([0.0, right], 0.0, max(15.5, deep + 5.0))
    edges = [v for foot, w in zip(s.rail_feet, s.rails, strict=True) for v in (foot, foot + w)]
    view.upright(sorted({round(v, 6) for v in (0.0, *edges, top)}), 0.0, -7.0)
    view.upright([0.0, top], 0.0, -20.0)
    if laid.arch is not None:
        spring = laid.openings[-1].y[1]
        view.upright([spring, laid.arch.y + laid.arch.radius], right, 7.0)
        crown = view.at(laid.arch.x, laid.arch.y + laid.arch.radius)
        radius = f"arch R {sheet.size(laid.arch.radius)}"
        sheet.leader(crown, (view.at(right, 0)[0] + 7, crown[1] - 12), radius)
    shown = max((o for o in laid.openings), key=lambda o: o.width * o.height)
    _marks(sheet, view, laid, (shown.y[0] + shown.y[1]) / 2, shown.x[0] + 0.3 * (shown.x[1] - shown.x[0]))


def _panel_size(view: View, m: Member) -> None:
    """Its length along the grain, upright, over its width, in the middle of it."""
    sheet = view.sheet
    x, y = view.at(float(m.outline[0, 0] + m.outline[1, 0]) / 2, float(m.outline[0, 1]) + 0.62 * m.length)
    shown = f"{sheet.size(m.length)} × {sheet.size(m.width)}"
    level = sheet.wide(shown) < view.scale * m.width - 6
    sheet.text((x, y) if level else (x + 0.9, y), shown, "middle", turn=0.0 if level else -90.0)


def _scale(most: float) -> float:
    """The largest usual scale that fits."""
    return next((v for v in _SCALES if v <= most), most)


def _inset(m: Member, by: float) -> list[Point]:
    """A panel's field: its outline a border further in."""
    (x0, y0), (x1, _) = m.outline[0], m.outline[1]
    if len(m.outline) == 4:
        y1 = float(m.outline[2, 1])
        return [(x0 + by, y0 + by), (x1 - by, y0 + by), (x1 - by, y1 - by), (x0 + by, y1 - by)]
    top, corner, half = y0 + m.length, float(m.outline[2, 1]), m.width / 2
    crown = top - corner
    radius = (half * half + crown * crown) / (2 * crown)
    centre, r = ((x0 + x1) / 2, top - radius), radius - by
    turn = float(np.arcsin(min(1.0, (half - by) / r)))
    arc = [(centre[0] + r * np.sin(a), centre[1] + r * np.cos(a)) for a in np.linspace(turn, -turn, 49)]
    return [(x0 + by, y0 + by), (x1 - by, y0 + by), *arc]


def _marks(sheet: Sheet, view: View, laid: Layout, y: float, x: float) -> None:
    """Where the sections are taken."""
    s = laid.sizes
    (a, level), (b, _) = view.at(0, y), view.at(s.stile * 1.4, y)
    sheet.line((a - 3, level), (b, level), "mark")
    sheet.text((a - 3.4, level - 1), "A", "end", height=3.2)
    sheet.text((b + 1, level + 1.1), "A", height=3.2)
    foot = s.rail_feet[0]
    (column, c), (_, d) = view.at(x, foot), view.at(x, foot + s.rails[0] * 1.4)
    sheet.line((column, c + 2), (column, d), "mark")
    sheet.text((column + 1, c - 0.5), "B", height=3.2)
    sheet.text((column, d - 1), "B", "middle", height=3.2)


# --- sections --------------------------------------------------------------------------------------------------------


def _sections(sheet: Sheet, laid: Layout, top: float, wide: float) -> None:
    s, f = laid.sizes, laid.frame
    far = max(s.stile, s.rails[0]) + max(s.border, s.rim) + 18.0
    scale = _scale(min((wide - 22.0) / far, 24.0 / max(f.thickness, s.panel_thickness)))
    stile = f"A–A  stile and panel, scale {_ratio(scale)}"
    rail = f"B–B  bottom rail and panel, scale {_ratio(scale)}"
    for i, (name, member, room) in enumerate(
        ((stile, s.stile, s.clearance_across), (rail, s.rails[0], s.clearance_along))
    ):
        at = top + i * (sheet.height - top - 16.0) / 2
        sheet.text((_MARGIN, at), name, height=3.0)
        _section(sheet, laid, (_MARGIN + 12.0, at + 13.0 + scale * f.thickness), scale, member, room, far)


def _ratio(scale: float) -> str:
    return f"{scale:.2g} : 1" if scale >= 1 else f"1 : {1 / scale:.2g}"


def _section(sheet: Sheet, laid: Layout, place: Point, scale: float, member: float, room: float, far: float) -> None:
    """A member with its groove, and the panel's edge in it."""
    s, f = laid.sizes, laid.frame
    view = View(sheet, *place, scale)
    thick, low, high = f.thickness, (f.thickness - s.groove) / 2, (f.thickness + s.groove) / 2
    floor = member - s.groove_depth
    view.ring(
        [(0, 0), (member, 0), (member, low), (floor, low), (floor, high), (member, high), (member, thick), (0, thick)],
        fill="url(#cut)",
    )
    edge = floor + room / 2
    front, back = panel_profile(laid, far - edge)
    view.ring([(edge + a, b) for a, b in [*front, *reversed(back)]], fill="url(#panel-cut)")
    x, (y0, y1) = far, (back[-1][1], front[-1][1])
    sheet.line(view.at(x, y0 - 2), view.at(x, y1 + 2), "mark")
    view.upright([0.0, thick], 0.0, -5.0)
    view.across([0.0, member], 0.0, 6.0)
    view.across([edge, edge + (s.border if s.raise_depth(f) else s.groove_depth)], 0.0, 12.0)
    view.upright([y0, y1], far, 5.0)
    groove = f"groove {sheet.size(s.groove)} × {sheet.size(s.groove_depth)} deep"
    tip = view.at(floor, high)
    sheet.leader(tip, (view.left + sheet.wide(groove), view.at(0, thick)[1] - 8.0), groove, "end")
    tongue = view.at(edge + min(s.rim, s.groove_depth) * 0.9, front[0][1])
    sheet.leader(tongue, (view.at(member, 0)[0] + 2, view.at(0, thick)[1] - 3), f"tongue {sheet.size(s.tongue)}")


def panel_profile(laid: Layout, to: float) -> tuple[list[Point], list[Point]]:
    """Front and back of a panel's edge: distance from the edge, and height above the back of the frame.

    Parameters
    ----------
    laid : Layout
        Of the frame.
    to : float
        How far from the edge [mm].

    Returns
    -------
    list of (2,) float
        The front [mm].
    list of (2,) float
        The back [mm].
    """
    s, f = laid.sizes, laid.frame
    deep = s.raise_depth(f)
    both = f.raised_faces == 2 and deep > 0
    base = f.thickness / 2 - (s.panel_thickness / 2 if both else s.tongue / 2)
    away = np.unique(np.concatenate([np.linspace(0, to, 200), [s.rim, s.border - 1e-6, s.border]]))
    if not deep:
        cut = np.zeros_like(away)
    elif f.panel == "flat":
        cut = border_height(away, s.border, deep, 0.0, deep, "bevel")
    else:
        cut = border_height(away, s.border, deep, s.rim, 0.0, f.profile)
    front = [(float(a), float(base + s.panel_thickness + c)) for a, c in zip(away, cut, strict=True)]
    back = [(float(a), float(base - c if both else base)) for a, c in zip(away, cut, strict=True)]
    return front, back


# --- the joint -------------------------------------------------------------------------------------------------------


def _joint_to_show(laid: Layout) -> Joint:
    """The one with most to it, of the upper rails first."""
    rank = {"plain": 0, "haunched": 2, "stepped": 1, "paired": 3}
    return max(reversed(laid.joints), key=lambda j: rank[j.style])


def _joint(sheet: Sheet, laid: Layout, joint: Joint, place: Point, wide: float) -> None:
    """The rail drawn out of its stile, and the tenon from its end."""
    f, s, t = laid.frame, laid.sizes, joint.tenon
    m = laid.member(joint.rail)
    foot = s.rail_feet[laid.joints.index(joint)]
    rail, apart, shown = m.width, t.length + 12.0, 22.0
    over = min(28.0, rail / 2)
    low, high = max(foot - over, 0.0), min(foot + rail + over, f.height)
    span = s.stile + apart + shown
    tall = sheet.height - place[1] - 16.0
    near = _scale(min((wide - 24.0) / rail, 15.0 / f.thickness))
    scale = _scale(min((wide - 26.0) / span, (tall - 48.0 - near * f.thickness) / (high - low)))
    sheet.text(place, f"Joint of the {joint.rail}, {joint.style}, scale {_ratio(scale)}", height=3.0)
    view = View(sheet, place[0] + 12.0, place[1] + 5.0 + scale * high, scale)
    left = s.stile
    view.line((0, low), (0, high))
    view.line((left, low), (left, high))
    for y, end in ((low, 0.0), (high, f.height)):
        view.line((0, y), (left, y), "seen" if abs(y - end) < 1e-6 else "mark")
    grooved = max(laid.stile_groove[0], low), min(laid.stile_groove[1], high)
    for deep, (u, v) in [*((joint.mortise_depth, span) for span in joint.mortises), (s.groove_depth, grooved)]:
        view.ring([(left - deep, u), (left, u), (left, v), (left - deep, v)], "dotted")
    at = left + apart
    view.line((at, foot), (at, foot + rail))
    below = [(at, foot), (at + shown, foot)]
    if laid.arch is not None and joint.rail == "top rail":
        below = [(x + apart, y) for x, y in laid.arch.points(s.stile, s.stile + shown, 12).tolist()]
    for a, b in itertools.pairwise(below):
        view.line(a, b)
    view.line((at, foot + rail), (at + shown, foot + rail))
    view.line(below[-1], (at + shown, foot + rail), "mark")
    tongues = [r for r in m.tongues if r[:, 0].max() < f.width / 2]
    for ring in tongues:
        view.ring([(x + apart, y) for x, y in ring])
    _joint_sizes(view, laid, joint, (low, high), at, shown, foot)
    _from_its_end(sheet, laid, joint, (place[0] + 4.0, view.at(0, low)[1] + 29.0), near)


def _joint_sizes(
    view: View, laid: Layout, joint: Joint, ends: tuple[float, float], at: float, shown: float, foot: float
) -> None:
    s, f, t = laid.sizes, laid.frame, joint.tenon
    low, high = ends
    stops = [v for span in joint.mortises for v in span]
    known = [v for v in (0.0, f.height) if low - 1e-6 <= v <= high + 1e-6]
    view.upright(sorted({round(v, 6) for v in (*stops, *known)}), 0.0, -5.0)
    view.across([s.stile - joint.mortise_depth, s.stile], low, 6.0)
    begin = [at - t.length, at - t.stub_length, at] if t.stub_length else [at - t.length, at]
    view.across(begin, min(low, foot), 6.0)
    wide = s.rails[laid.joints.index(joint)]
    top = joint.rail == "top rail"
    marks = [0.0, t.from_edge, t.from_edge + t.width, wide]
    if t.gap:
        middle = t.from_edge + t.width / 2
        marks[2:2] = [middle - t.gap / 2, middle + t.gap / 2]
    view.upright(sorted({round(foot + (wide - u if top else u), 6) for u in marks}), at + shown, 6.0)


def _from_its_end(sheet: Sheet, laid: Layout, joint: Joint, place: Point, scale: float) -> None:
    """The rail's end as it stands in its station: reference edge left, reference face below."""
    f, t = laid.frame, joint.tenon
    wide = laid.sizes.rails[laid.joints.index(joint)]
    view = View(sheet, place[0], place[1] + scale * f.thickness, scale)
    view.ring([(0, 0), (wide, 0), (wide, f.thickness), (0, f.thickness)])
    y0, y1 = t.from_face, t.from_face + t.thickness
    a, b = t.from_edge, t.from_edge + t.width
    if t.stub_length:
        view.ring([(a - t.stub_left, y0), (b + t.stub_right, y0), (b + t.stub_right, y1), (a - t.stub_left, y1)])
    pairs = [(a, b)]
    if t.gap:
        pairs = [(a, (a + b - t.gap) / 2), ((a + b + t.gap) / 2, b)]
    for p, q in pairs:
        view.ring(_rounded(p, q, y0, y1) if t.rounded else [(p, y0), (q, y0), (q, y1), (p, y1)], fill="url(#cut)")
    view.upright([0.0, y0, y1, f.thickness], wide, 6.0)
    words = {"rounded": "tenon rounded", "squared": "mortise squared by hand", "relieved": "mortise's corners relieved"}
    x, y = view.at(0, f.thickness)
    name = f"Its end, reference edge left, scale {_ratio(scale)}"
    sheet.text((x - 2.0, y - 6.0), name, height=3.0)
    sheet.text((x - 2.0, y - 2.0), words[joint.corners])
    view.across([0.0, wide], 0.0, 6.0)


def _rounded(x0: float, x1: float, y0: float, y1: float) -> list[Point]:
    r, middle = min(y1 - y0, x1 - x0) / 2, (y0 + y1) / 2
    right = [(x1 - r + r * np.cos(a), middle + r * np.sin(a)) for a in np.linspace(-np.pi / 2, np.pi / 2, 17)]
    return [*right, *((x0 + x1 - x, y0 + y1 - y) for x, y in right)]
