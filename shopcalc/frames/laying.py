"""Lay a frame out: every member's outline in elevation, every joint, every opening with its panel."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from shopcalc.frames.members import Arch, Joint, Layout, Member, Opening, Sizes
from shopcalc.frames.records import Frame
from shopcalc.frames.sizing import arch_of, ends_of
from shopcalc.moves import Floats
from shopcalc.paths.joinery import Tenon
from shopcalc.units import System


def lay_out(frame: Frame, s: Sizes, system: System = "inch") -> Layout:
    """Lay out a frame whose sizes were checked.

    Parameters
    ----------
    frame : Frame
        As the table says it.
    s : Sizes
        Said or usual.
    system : {"inch", "metric"}
        For rounding.

    Returns
    -------
    Layout
        Geometry. x = 0 is the left edge, y = 0 the feet of the stiles.
    """
    arch = arch_of(frame, s)
    openings = tuple(_openings(frame, s, arch))
    joints = tuple(_joint(frame, s, i, system) for i in range(len(s.rails)))
    members = [*_stiles(frame, s), *_rails(frame, s, joints, arch)]
    members += [*_muntins(frame, s, openings), *(panel_member(frame, s, o) for o in openings)]
    return Layout(frame, s, tuple(_with_parts(frame, members)), joints, openings, arch, stile_groove(frame, s, joints))


def _ring(x0: float, y0: float, x1: float, y1: float) -> Floats:
    out: Floats = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
    out.setflags(write=False)
    return out


def _closed_by(x0: float, y0: float, x1: float, arch: Arch) -> Floats:
    """A field with level foot and upright sides under an arch."""
    out: Floats = np.vstack([[(x0, y0), (x1, y0)], arch.points(x1, x0)])
    out.setflags(write=False)
    return out


def _rail_name(i: int, number: int) -> str:
    if i == 0:
        return "bottom rail"
    if i == number - 1:
        return "top rail"
    return "middle rail" if number == 3 else f"middle rail {i}"


def _joint(frame: Frame, s: Sizes, i: int, system: System) -> Joint:
    """Both ends of one rail: the tenon is the mortise less the clearance, and shorter than it is deep."""
    ends = ends_of(frame, s, i, system)
    first, last = ends.tongues[0][0], ends.tongues[-1][1]
    edge, half = first + s.edge_clearance / 2, s.edge_clearance / 2
    width = last - first - s.edge_clearance
    stub = ends.stub
    tenon = Tenon(
        width,
        s.mortise - s.clearance,
        s.mortise_depth - s.end_gap,
        from_edge=edge,
        from_face=(frame.thickness - s.mortise + s.clearance) / 2,
        stub_length=max(s.groove_depth - s.end_gap, 0.0) if stub else 0.0,
        stub_left=edge - stub[0] if stub else 0.0,
        stub_right=max(stub[1] - last + (half if stub[1] > last + 1e-9 else 0.0), 0.0) if stub else 0.0,
        rounded=s.corners[i] == "rounded",
        gap=ends.tongues[1][0] - ends.tongues[0][1] + s.edge_clearance if len(ends.tongues) > 1 else 0.0,
    )
    top = i == len(s.rails) - 1
    foot, wide = s.rail_feet[i], s.rails[i]
    mortises = sorted((foot + wide - b, foot + wide - a) if top else (foot + a, foot + b) for a, b in ends.tongues)
    name = _rail_name(i, len(s.rails))
    return Joint(name, s.styles[i], s.corners[i], tenon, tuple(mortises), s.mortise, s.mortise_depth)


def _openings(frame: Frame, s: Sizes, arch: Arch | None) -> Iterator[Opening]:
    for row, number in enumerate(s.muntins):
        y = s.rail_feet[row] + s.rails[row], s.rail_feet[row + 1]
        wide = (frame.width - 2 * s.stile - number * s.muntin) / (number + 1)
        for column in range(number + 1):
            left = s.stile + column * (wide + s.muntin)
            name = "panel" if sum(s.muntins) + len(s.muntins) == 1 else f"panel {row + 1}.{column + 1}"
            under = arch if row == len(s.muntins) - 1 else None
            yield Opening((left, left + wide), y, under, name, row, column)


def _stiles(frame: Frame, s: Sizes) -> Iterator[Member]:
    for name, left in (("left stile", 0.0), ("right stile", frame.width - s.stile)):
        ring = _ring(left, 0.0, left + s.stile, frame.height)
        yield Member(name, "", "stile", ring, (), frame.height, s.stile, frame.thickness, 1)


def _rails(frame: Frame, s: Sizes, joints: tuple[Joint, ...], arch: Arch | None) -> Iterator[Member]:
    left, right = s.stile, frame.width - s.stile
    for i, joint in enumerate(joints):
        low, high, top = s.rail_feet[i], s.rail_feet[i] + s.rails[i], i == len(joints) - 1
        outline = _ring(left, low, right, high)
        if top and arch is not None:
            outline = np.vstack([arch.points(left, right), [(right, high), (left, high)]])
            outline.setflags(write=False)
        bands = [(high - b, high - a, p, q) if top else (low + a, low + b, p, q) for a, b, p, q in _bands(joint.tenon)]
        tongues = [_ring(left - q, a, left - p, b) for a, b, p, q in bands]
        tongues += [_ring(right + p, a, right + q, b) for a, b, p, q in bands]
        long = right - left + 2 * joint.tenon.length
        grooves = 1 if i in (0, len(joints) - 1) else 2
        yield Member(joint.rail, "", "rail", outline, tuple(tongues), long, s.rails[i], frame.thickness, grooves)


def _bands(t: Tenon) -> list[tuple[float, float, float, float]]:
    """Rectangles of a tenon seen on its cheek: from and to across the rail, from and to beyond the shoulder."""
    a, b = t.from_edge, t.from_edge + t.width
    stub = t.stub_length if t.stub_left or t.stub_right else 0.0
    out = [(a - t.stub_left, b + t.stub_right, 0.0, stub)] if stub else []
    if t.gap:
        middle = (a + b) / 2
        pair = ((a, middle - t.gap / 2), (middle + t.gap / 2, b))
        return out + [(p, q, stub, t.length) for p, q in pair]
    return [*out, (a, b, stub, t.length)]


def _muntins(frame: Frame, s: Sizes, openings: tuple[Opening, ...]) -> Iterator[Member]:
    stub = s.groove_depth - s.end_gap
    for o in openings:
        if o.column == s.muntins[o.row]:
            continue
        x0, x1, (y0, y1) = o.x[1], o.x[1] + s.muntin, o.y
        tongues = _ring(x0, y0 - stub, x1, y0), _ring(x0, y1, x1, y1 + stub)
        name = f"muntin {o.row + 1}.{o.column + 1}"
        yield Member(
            name, "", "muntin", _ring(x0, y0, x1, y1), tongues, y1 - y0 + 2 * stub, s.muntin, frame.thickness, 2
        )


def panel_member(frame: Frame, s: Sizes, o: Opening) -> Member:
    """The panel of an opening: in all grooves, less the room it is given.

    Parameters
    ----------
    frame : Frame
        As the table says it.
    s : Sizes
        Its sizes.
    o : Opening
        Which.
    """
    across, along = s.groove_depth - s.clearance_across / 2, s.groove_depth - s.clearance_along / 2
    x0, x1, y0, y1 = o.x[0] - across, o.x[1] + across, o.y[0] - along, o.y[1] + along
    ring = _ring(x0, y0, x1, y1)
    if o.arch is not None:
        arch = o.arch.grown(along)
        ring, y1 = _closed_by(x0, y0, x1, arch), arch.y + arch.radius
    return Member(o.panel, "", "panel", ring, (), y1 - y0, x1 - x0, s.panel_thickness)


def stile_groove(frame: Frame, s: Sizes, joints: tuple[Joint, ...]) -> tuple[float, float]:
    """From where to where a stile is grooved: through the end for a haunch or step, else into the mortises.

    Parameters
    ----------
    frame : Frame
        As the table says it.
    s : Sizes
        Its sizes.
    joints : tuple of Joint
        Of the rails, from the foot upwards.

    Notes
    -----
    It goes half its depth into the mortise, and at least so far that its round end lies there. Where the mortises
    hide it, it lies in the middle of the stile: one length, and no end to mix up.
    """
    into = max(s.groove_depth / 2, s.groove / 2 + 0.5)
    (_, inner), (upper, _) = joints[0].mortises[-1], joints[-1].mortises[0]
    low = 0.0 if joints[0].tenon.stub_length else inner - into
    high = frame.height if joints[-1].tenon.stub_length else upper + into
    if low > 0 and high < frame.height:
        half = max(frame.height / 2 - low, high - frame.height / 2)
        a, b = frame.height / 2 - half, frame.height / 2 + half
        if a >= joints[0].mortises[-1][0] - 1e-9 and b <= joints[-1].mortises[0][1] + 1e-9:
            return a, b
    return low, high


def _with_parts(frame: Frame, members: list[Member]) -> Iterator[Member]:
    """Members that are alike are one part; it is called after what its members are."""
    alike: dict[tuple[object, ...], list[Member]] = {}
    for m in members:
        key = m.role, round(m.length, 6), round(m.width, 6), m.grooves, len(m.outline), _ends(m)
        alike.setdefault(key, []).append(m)
    names: dict[int, str] = {}
    taken: set[str] = set()
    for group in alike.values():
        base = _part_name([m.name for m in group], group[0].role, len(group[0].outline) > 4)
        name, n = base, 1
        while name in taken:
            n += 1
            name = f"{base}-{n}"
        taken.add(name)
        names |= {id(m): name for m in group}
    for m in members:
        part = f"{frame.id}-{names[id(m)]}"
        yield Member(m.name, part, m.role, m.outline, m.tongues, m.length, m.width, m.thickness, m.grooves)


def _ends(m: Member) -> tuple[float, ...]:
    """Tenons as they lie from the member's edges; a top rail's are counted from above."""
    if m.role != "rail":
        return ()
    low, high = float(m.outline[:, 1].min()), float(m.outline[:, 1].max())
    if m.name == "top rail":
        return tuple(round(v, 6) for t in m.tongues for v in (high - t[:, 1].max(), high - t[:, 1].min()))
    return tuple(round(float(v), 6) for t in m.tongues for v in (t[:, 1].min() - low, t[:, 1].max() - low))


def _part_name(names: list[str], role: str, arched: bool) -> str:
    if role != "rail":
        return f"arched-{role}" if arched else role
    kinds = {n.split(" rail")[0] for n in names}
    return f"{kinds.pop()}-rail" if len(kinds) == 1 else "rail"
