"""A frame's parts against the cutters of the rack and the stations of the machine."""

from __future__ import annotations

import math
from collections.abc import Iterator

from shopcalc.cutters import Cutter
from shopcalc.errors import did_you_mean
from shopcalc.frames.members import Sizes
from shopcalc.frames.records import Frame
from shopcalc.frames.refusing import Refusal, Words, either
from shopcalc.frames.sizing import FITS, arch_of
from shopcalc.machines import Machine
from shopcalc.shop import Shop

_NOSE = 30.0  # mm from the cutter's axis to the edge of the spindle's nose; common practice, no source


def unreachable(frame: Frame, s: Sizes, shop: Shop, w: Words) -> Iterator[Refusal]:
    """Every cutter that is missing, of a wrong shape, too wide or too short.

    Parameters
    ----------
    frame : Frame
        As the table says it.
    s : Sizes
        Said or usual.
    shop : Shop
        Whose rack.
    w : Words
        Of the shop.
    """
    for check in (_groove_cutter, _mortise_cutter, _tenon_cutter, _raise_cutter, _outline_cutter):
        yield from check(frame, s, shop, w)


def _cutter(key: str, name: str, shop: Shop, what: str, remedy: str) -> Iterator[Refusal | Cutter]:
    if not name:
        yield Refusal(key, f"no cutter of the rack cuts {what}", remedy)
    elif name not in shop.cutters:
        yield Refusal(key, f"there is no cutter '{name}'", did_you_mean(name, shop.cutters))
    else:
        yield shop.cutters[name]


def _in_wood(
    key: str, name: str, shop: Shop, w: Words, what: str, width: tuple[str, float], depth: tuple[str, float]
) -> Iterator[Refusal]:
    """A flat cutter that goes into a width and reaches a depth."""
    reach = max((c.cutting_length for c in shop.cutters.values() if _fits(c, width[1])), default=0.0)
    remedy = (
        w.less(depth[0], depth[1], reach) if 0 < reach < depth[1] else f"widen {width[0]}, or add a cutter to the rack"
    )
    field = depth[0] if not name and 0 < reach < depth[1] else key
    for c in _cutter(field, name, shop, f"{what} {w(width[1])} wide and {w(depth[1])} deep", remedy):
        if isinstance(c, Refusal):
            yield c
            continue
        if c.shape != "square end":
            yield Refusal(key, f"{what} has a flat floor, but {c.id} is a {c.shape} cutter", "choose a square end")
        if c.true_diameter > width[1] + FITS:
            message = f"{what} is {w(width[1])} wide, narrower than cutter {c.id}, {w(c.true_diameter)}"
            yield Refusal(
                width[0], message, either(w.more(width[0], width[1], c.true_diameter), "choose a smaller cutter")
            )
        if depth[1] > min(c.cutting_length, c.stick_out) + 1e-6:
            most = min(c.cutting_length, c.stick_out)
            message = f"{what} is {w(depth[1])} deep, but cutter {c.id} reaches {w(most)}"
            yield Refusal(depth[0], message, either(w.less(depth[0], depth[1], most), "choose a longer cutter"))


def _fits(c: Cutter, width: float) -> bool:
    return c.shape == "square end" and c.centre_cutting and c.true_diameter <= width + FITS


def _groove_cutter(frame: Frame, s: Sizes, shop: Shop, w: Words) -> Iterator[Refusal]:
    depth, name = ("groove_depth", s.groove_depth), s.cutters[0]
    yield from _in_wood("groove_cutter", name, shop, w, "the groove", ("groove", s.groove), depth)
    arch = arch_of(frame, s)
    if arch is not None and name in shop.cutters:
        most = shop.cutters[name].stick_out
        needs = s.groove_depth + _NOSE * math.tan(arch.slope(s.stile))
        if needs > most + 0.5:
            message = f"in the hollow of the arch cutter {name} must stick out {w(needs)}, but has {w(most)}"
            flattest = math.atan(max(most - s.groove_depth, 0.0) / _NOSE)
            flatter = (frame.width / 2 - s.stile) * math.tan(flattest / 2)
            yield Refusal(
                "arch", message, either(w.less("arch", frame.arch, flatter), "let the cutter stick out further")
            )


def _mortise_cutter(frame: Frame, s: Sizes, shop: Shop, w: Words) -> Iterator[Refusal]:
    depth, name = ("mortise_depth", s.mortise_depth), s.cutters[1]
    yield from _in_wood("mortise_cutter", name, shop, w, "the mortise", ("mortise", s.mortise), depth)
    cutter = shop.cutters.get(name)
    if cutter and not cutter.centre_cutting and "relieved" in s.corners:
        yield Refusal("mortise_cutter", f"{name} may not go straight down into the corners", "choose one that may")


def _tenon_cutter(frame: Frame, s: Sizes, shop: Shop, w: Words) -> Iterator[Refusal]:
    long, gaps = s.mortise_depth - s.end_gap, [g + s.edge_clearance for g in s.gaps() if g > 0]
    between = min(gaps, default=math.inf)
    reach = max((c.cutting_length for c in shop.cutters.values() if _fits(c, between)), default=0.0)
    what = f"tenons {w(long)} long" + (f" with a gap of {w(between)}" if gaps else "")
    short = not s.cutters[2] and 0 < reach < long
    remedy = w.less("mortise_depth", s.mortise_depth, reach + s.end_gap) if short else "widen the gap"
    for c in _cutter("mortise_depth" if short else "tenon_cutter", s.cutters[2], shop, what, remedy):
        if isinstance(c, Refusal):
            yield c
            continue
        if c.shape != "square end":
            yield Refusal(
                "tenon_cutter", f"a shoulder is flat, but {c.id} is a {c.shape} cutter", "choose a square end"
            )
        if long > min(c.cutting_length, c.stick_out) + 1e-6:
            most = min(c.cutting_length, c.stick_out)
            message = f"the tenon is {w(long)} long, but cutter {c.id} reaches {w(most)}"
            shorter = w.less("mortise_depth", s.mortise_depth, most + s.end_gap)
            yield Refusal("mortise_depth", message, either(shorter, "choose a longer cutter"))
        if between < c.true_diameter - FITS:
            message = f"the gap between the pair, {w(between)}, is narrower than cutter {c.id}, {w(c.true_diameter)}"
            wider = w.more("gap", between - s.edge_clearance, c.true_diameter - s.edge_clearance)
            yield Refusal("gap", message, either(wider, "choose a smaller cutter"))


def _raise_cutter(frame: Frame, s: Sizes, shop: Shop, w: Words) -> Iterator[Refusal]:
    deep = s.raise_depth(frame)
    if not deep:
        return
    for c in _cutter("raise_cutter", s.cutters[3], shop, f"a border {w(deep)} deep", "make the panel thinner"):
        if isinstance(c, Refusal):
            yield c
        elif c.shape == "drill":
            yield Refusal("raise_cutter", "a drill cannot raise a panel", "choose a ball or a square end")
        elif frame.panel == "flat" and c.shape not in ("square end", "surfacing"):
            yield Refusal(
                "raise_cutter", f"a flat border wants a flat cutter, but {c.id} is a {c.shape}", "choose a square end"
            )
        elif deep > c.cutting_length + 1e-6:
            message = f"the border is {w(deep)} deep, but cutter {c.id} reaches {w(c.cutting_length)}"
            most = s.tongue + c.cutting_length * frame.raised_faces
            thinner = w.less("panel_thickness", s.panel_thickness, most)
            yield Refusal("panel_thickness", message, either(thinner, "choose a longer cutter"))


def _outline_cutter(frame: Frame, s: Sizes, shop: Shop, w: Words) -> Iterator[Refusal]:
    if not frame.arch:
        return
    thick = max(frame.thickness, s.panel_thickness) + 0.2
    for c in _cutter("outline_cutter", s.cutters[4], shop, f"through {w(thick)}", "add a longer cutter to the rack"):
        if isinstance(c, Refusal):
            yield c
        elif c.shape not in ("square end", "compression"):
            yield Refusal(
                "outline_cutter", f"an arch is cut square, but {c.id} is a {c.shape} cutter", "choose a square end"
            )
        elif thick > c.cutting_length + 1e-6:
            message = f"cutting through takes {w(thick)}, but cutter {c.id} reaches {w(c.cutting_length)}"
            yield Refusal("outline_cutter", message, "choose a longer cutter")


# --- stations ---------------------------------------------------------------------------------------------------------


def rail_key(i: int, last: int) -> str:
    """What the table calls rail ``i``.

    Parameters
    ----------
    i, last : int
        From the foot upwards, and the number of the top one [-].
    """
    return "bottom_rail" if i == 0 else "top_rail" if i == last else f"middle_rails[{i - 1}].width"


def too_large(frame: Frame, s: Sizes, machine: Machine, w: Words) -> Iterator[Refusal]:
    """Parts that their station or the travel of the axes does not take; the first that is too large in each way.

    Parameters
    ----------
    frame : Frame
        As the table says it.
    s : Sizes
        Said or usual.
    machine : Machine
        With the stations.
    w : Words
        Of the shop.
    """
    rail = frame.width - 2 * s.stile + 2 * (s.mortise_depth - s.end_gap)
    widest = rail_key(s.rails.index(max(s.rails)), len(s.rails) - 1)
    stub = 2 * (s.groove_depth - s.end_gap)
    wide = max((frame.width - 2 * s.stile - n * s.muntin) / (n + 1) for n in s.muntins)
    asked = [
        ("edge", "height", "a stile", frame.height, s.stile, "stile"),
        ("edge", "width", "a rail", rail, max(s.rails), widest),
        ("end", "width", "a rail", rail, max(s.rails), widest),
    ]
    rows = [b - a - r for a, b, r in zip(s.rail_feet, s.rail_feet[1:], s.rails, strict=False)]
    upright = [high for high, n in zip(rows, s.muntins, strict=True) if n]
    if upright:
        asked += [(st, "height", "a muntin", max(upright) + stub, s.muntin, "muntin") for st in ("edge", "end")]
    if s.raise_depth(frame) or frame.arch:
        room = 2 * s.groove_depth
        high = max(rows) + frame.arch + room - s.clearance_along
        asked.append(("flat", "height", "a panel", high, wide + room - s.clearance_across, "width"))
    seen: set[tuple[str, str]] = set()
    for name, key, what, long, across, cross in asked:
        for refusal in _station(frame, s, machine, w, name, (key, what, long, across, cross)):
            if (refusal.field, name) not in seen:
                seen.add((refusal.field, name))
                yield refusal


def _station(
    frame: Frame, s: Sizes, machine: Machine, w: Words, name: str, part: tuple[str, str, float, float, str]
) -> Iterator[Refusal]:
    key, what, long, across, cross = part
    station = machine.stations.get(name)
    if station is None:
        if machine.stations:
            remedy = did_you_mean(name, machine.stations)
            yield Refusal("id", f"machine '{machine.name}' has no {name} station for {what}", remedy)
        return
    x, y, _ = machine.axes
    room = min(station.length, x.travel), min(station.width, y.travel), station.height
    lies = {
        "flat": (long, across, 0.0),
        "edge": (long, frame.thickness, across),
        "end": (across, frame.thickness, long),
    }
    keys = {"flat": (key, cross, ""), "edge": (key, "thickness", cross), "end": (cross, "thickness", key)}
    for size, most, field in zip(lies[name], room, keys[name], strict=True):
        if size > most + 1e-6:
            now = {
                "height": frame.height, "width": frame.width, "thickness": frame.thickness, "stile": s.stile,
                "muntin": s.muntin,
            }.get(field, max(s.rails))  # fmt: skip
            where = f"the {name} station of machine '{machine.name}'"
            over = f"{what} of {w(size)} does not fit {where}, which takes {w(most)}"
            yield Refusal(field, over, w.less(field, now, now - (size - most)))
