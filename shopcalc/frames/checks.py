"""What of a frame cannot be: each fault names the size to change and by how much."""

from __future__ import annotations

import math
from collections.abc import Iterator

from shopcalc.frames.members import Sizes
from shopcalc.frames.reaching import rail_key, too_large, unreachable
from shopcalc.frames.records import Frame
from shopcalc.frames.refusing import Refusal, Words, either
from shopcalc.frames.sizing import Ends, arch_of, down, ends_of, up
from shopcalc.machines import Machine
from shopcalc.shop import Shop
from shopcalc.units import System

# Common practice, no source: what wood must be left, and what is no joint any more [mm].
_WALL = 4.5  # beside a groove or mortise, and at the end of a mortise
_FLOOR = 6.0  # under a mortise
_BETWEEN = 9.0  # of a stile's wood between two rails' mortises
_OPENING = 25.0  # of an opening, each way
_LONGER = 6.0  # of a tenon beyond the panel's groove
_HELD = 2.0  # of a panel in its groove when it has gone all the way to the other side
_OVER_ARCH = 19.0  # of the rail over the groove at the crown
_STEEPEST = math.radians(45.0)  # of the arch at its springs: steeper ends are short grain
_SHARE_LOOSE = 0.1  # of the mortise's width that a clearance may be


def refusals(
    frame: Frame, s: Sizes, shop: Shop, machine: Machine | None = None, system: System = "inch"
) -> list[Refusal]:
    """Everything that makes a frame impossible.

    Parameters
    ----------
    frame : Frame
        As the table says it.
    s : Sizes
        Said or usual.
    shop : Shop
        For cutters.
    machine : Machine, optional
        Whose stations must take the parts; None asks nothing of it.
    system : {"inch", "metric"}
        What the shop reads.

    Notes
    -----
    Least wood between and under joints, steepest arch: common practice, no source. All else is geometry.
    """
    w = Words(system)
    rows = [*_table(frame, s), *_openings(frame, s, w)]
    if rows:
        return rows  # nothing below makes sense for members that do not fit the frame
    rows += [*_joint(frame, s, w), *_panel(frame, s, w)]
    steep = list(_arch(frame, s, w))
    rows += steep
    if not steep:
        rows += _tongues(frame, s, w)
    rows += unreachable(frame, s, shop, w)
    if machine is not None and not rows:
        rows += too_large(frame, s, machine, w)
    return rows


def _table(frame: Frame, s: Sizes) -> Iterator[Refusal]:
    """What contradicts itself before any size counts."""
    for key, rail in (("top_rail", frame.top_rail), ("bottom_rail", frame.bottom_rail)):
        if rail.from_foot is not None:
            where = "it stands at the top" if key == "top_rail" else "say foot for how far it stands above the feet"
            yield Refusal(
                f"{key}.from_foot", f"the place of the {key.replace('_', ' ')} is known", f"leave it out: {where}"
            )
    said = [r.from_foot is not None for r in frame.middle_rails]
    if any(said) and not all(said):
        remedy = "give it for every rail, or for none: then they are spread evenly"
        yield Refusal(
            f"middle_rails[{said.index(False)}].from_foot", "some rails have a place and some have none", remedy
        )
    rows = len(s.rails) - 1
    if len(s.muntins) != rows:
        counts = "one count" if rows == 1 else f"one count for all rows, or {rows}, from the foot upwards"
        yield Refusal("muntins", f"{len(s.muntins)} counts are given for {rows} rows of panels", f"give {counts}")
    if frame.gap is not None and "paired" not in s.styles:
        yield Refusal("gap", "no tenons are paired", 'say joint = "paired", or leave it out')
    if frame.haunch is not None and not {"haunched", "stepped"} & set(s.styles):
        yield Refusal("haunch", "no tenon has a haunch or a step", 'say joint = "haunched", or leave it out')
    if frame.arch and len(s.muntins) == rows and s.muntins[-1]:
        remedy = "give 0 for the top row, e.g. muntins = [" + ", ".join([*map(str, s.muntins[:-1]), "0"]) + "]"
        yield Refusal("muntins", "a field under an arch takes one panel", remedy)


def _openings(frame: Frame, s: Sizes, w: Words) -> Iterator[Refusal]:
    """Members that leave no field between them."""
    least = up(_OPENING, w.step)
    for row, n in enumerate(s.muntins):
        wide = (frame.width - 2 * s.stile - n * s.muntin) / (n + 1)
        if wide < least - 1e-6:
            short = (least - wide) * (n + 1)
            yield Refusal(
                "width",
                f"the openings of row {row + 1} would be {w(wide)} wide; panels need {w(least)}",
                either(
                    w.more("width", frame.width, frame.width + short),
                    w.less("stile", s.stile, s.stile - short / 2),
                    w.less("muntin", s.muntin, s.muntin - short / n) if n else "",
                ),
            )
            break
    last = len(s.rails) - 1
    for i in range(last):
        high = s.rail_feet[i + 1] - s.rail_feet[i] - s.rails[i]
        if high >= least - 1e-6:
            continue
        what = f"the opening of row {i + 1} would be {w(high)} high; panels need {w(least)}"
        spread = all(r.from_foot is None for r in frame.middle_rails)
        if spread or i + 1 == last:  # the top rail goes up with the frame
            short = (least - high) * (last if spread else 1)
            yield Refusal("height", what, w.more("height", frame.height, frame.height + short))
        else:
            at = s.rail_feet[i] + s.rails[i] + least + s.rails[i + 1] / 2
            yield Refusal(f"middle_rails[{i}].from_foot", what, w.more("it", at - least + high, at))
        return


def _joint(frame: Frame, s: Sizes, w: Words) -> Iterator[Refusal]:
    """Groove, mortise and tenon against the thickness, the stile and each other."""
    thick = frame.thickness
    for key, wide in (("groove", s.groove), ("mortise", s.mortise)):
        if (thick - wide) / 2 < _WALL - 1e-6:
            wall = w(max((thick - wide) / 2, 0.0))
            left = f"a {key} of {w(wide)} leaves {wall} of wood on each side, less than {w(_WALL)}"
            fewer, thicker = w.less(key, wide, thick - 2 * _WALL), w.more("thickness", thick, wide + 2 * _WALL)
            yield Refusal(key, left, either(fewer, thicker))
    as_wide = [st for st in s.styles if st in ("haunched", "stepped")]
    if as_wide and abs(s.mortise - s.groove) > 1e-6:
        message = (
            f"a {as_wide[0]} tenon stands in the groove, which is {w(s.groove)} wide, and is {w(s.mortise)} itself"
        )
        how = "lessen" if s.mortise > s.groove else "increase"
        remedy = f"{how} mortise by {w(abs(s.mortise - s.groove))}, to {w(s.groove)}"
        yield Refusal("mortise", message, remedy)
    elif s.groove > s.mortise + 1e-6:
        message = f"the groove, {w(s.groove)}, is wider than the mortise, {w(s.mortise)}, which must hide its end"
        yield Refusal(
            "groove", message, either(w.less("groove", s.groove, s.mortise), w.more("mortise", s.mortise, s.groove))
        )
    floor = s.stile - s.mortise_depth
    if floor < _FLOOR - 1e-6:
        message = f"a mortise {w(s.mortise_depth)} deep leaves {w(max(floor, 0.0))} of the stile, less than {w(_FLOOR)}"
        deep = w.less("mortise_depth", s.mortise_depth, s.stile - _FLOOR)
        yield Refusal("mortise_depth", message, either(deep, w.more("stile", s.stile, s.mortise_depth + _FLOOR)))
    long = s.mortise_depth - s.end_gap - s.groove_depth
    if long < _LONGER - 1e-6:
        message = f"the tenon reaches {w(max(long, 0.0))} beyond the groove, less than {w(_LONGER)}: it would not hold"
        least = s.end_gap + s.groove_depth + _LONGER
        shallow = w.less("groove_depth", s.groove_depth, s.mortise_depth - s.end_gap - _LONGER)
        yield Refusal("mortise_depth", message, either(w.more("mortise_depth", s.mortise_depth, least), shallow))
    if s.clearance > _SHARE_LOOSE * s.mortise + 1e-6:
        most = down(_SHARE_LOOSE * s.mortise, 0.01)
        message = f"a clearance of {w(s.clearance)} makes a loose joint in a mortise of {w(s.mortise)}"
        yield Refusal("clearance", message, f"lessen clearance by {w(s.clearance - most)}, to {w(most)}")


def _tongues(frame: Frame, s: Sizes, w: Words) -> Iterator[Refusal]:
    """Mortises within their rails, against the stile's end, and those of two rails against each other."""
    last = len(s.rails) - 1
    spans: list[tuple[float, float]] = []
    for i, style in enumerate(s.styles):
        ends = ends_of(frame, s, i, w.system)
        key, wide = rail_key(i, last), s.rails[i]
        yield from _one_end(frame, s, w, key, wide, style, ends)
        outer = ends.tongues[0][0]
        if i in (0, last) and outer + (frame.foot if i == 0 else 0.0) < _WALL - 1e-6:
            message = (
                f"the mortise of the {key.replace('_', ' ')} ends {w(outer)} from the stile's end, less than {w(_WALL)}"
            )
            where = "haunch" if style in ("haunched", "stepped") else "groove_depth"
            yield Refusal(where, message, w.more(where, outer, _WALL))
        a, b = outer, ends.tongues[-1][1]
        foot = s.rail_feet[i]
        spans.append((foot + wide - b, foot + wide - a) if i == last else (foot + a, foot + b))
    for i in range(last):
        apart = spans[i + 1][0] - spans[i][1]
        if apart < _BETWEEN - 1e-6:
            message = (
                f"the mortises of rails {i + 1} and {i + 2} from the foot are {w(apart)} apart, less than {w(_BETWEEN)}"
            )
            yield Refusal("height", message, w.more("height", frame.height, frame.height + (_BETWEEN - apart) * last))


def _one_end(frame: Frame, s: Sizes, w: Words, key: str, wide: float, style: str, ends: Ends) -> Iterator[Refusal]:
    least = max(s.mortise, 12.0)
    short = max(least - (b - a) for a, b in ends.tongues)
    if short > 1e-6:
        message = f"its tenon's tongue would be {w(max(least - short, 0.0))} wide, less than {w(least)}"
        scale = 3.0 if style == "paired" and not s.gap else 2.0
        grown = wide + short * (scale if style != "stepped" or s.haunch else 2.0 + scale)
        narrower = w.less("gap", s.gap, s.gap - 2 * short) if s.gap else ""
        yield Refusal(key, message, either(w.more("its width", wide, grown), narrower))


def _panel(frame: Frame, s: Sizes, w: Words) -> Iterator[Refusal]:
    """Tongue against groove, border against panel, and what holds it when the wood has shrunk."""
    if s.tongue < 2.0 - 1e-6:
        message = f"the panel's tongue would be {w(max(s.tongue, 0.0))} thick in a groove of {w(s.groove)}"
        yield Refusal(
            "panel_fit", message, w.less("panel_fit", s.groove - s.tongue, s.groove - 2.0) or "widen the groove"
        )
        return
    if s.panel_thickness < s.tongue - 1e-6:
        message = f"a panel of {w(s.panel_thickness)} rattles in a groove of {w(s.groove)}"
        narrow = w.less("groove", s.groove, s.panel_thickness + s.groove - s.tongue)
        yield Refusal("panel_thickness", message, either(w.more("it", s.panel_thickness, s.tongue), narrow))
    elif frame.panel == "raised" and s.raise_depth(frame) < 1.0 - 1e-6:
        message = f"a panel of {w(s.panel_thickness)} is too thin to be raised: its tongue is {w(s.tongue)}"
        thicker = w.more("it", s.panel_thickness, s.tongue + frame.raised_faces)
        yield Refusal("panel_thickness", message, either(thicker, 'say panel = "flat"'))
    for key, room in (("clearance_along", s.clearance_along), ("clearance_across", s.clearance_across)):
        if room > s.groove_depth - _HELD + 1e-6:
            message = f"with {w(room)} of room a panel can leave its groove, which is {w(s.groove_depth)} deep"
            deeper = w.more("groove_depth", s.groove_depth, room + _HELD)
            yield Refusal(key, message, either(w.less(key, room, s.groove_depth - _HELD), deeper))
    if s.raise_depth(frame) > 0 and s.rim < s.groove_depth - 1e-6:
        message = (
            f"the flat at the panel's edge, {w(s.rim)}, ends within the groove, {w(s.groove_depth)}: it would wedge"
        )
        yield Refusal("rim", message, w.more("rim", s.rim, s.groove_depth))
    yield from _border(frame, s, w)


def _border(frame: Frame, s: Sizes, w: Words) -> Iterator[Refusal]:
    if not s.raise_depth(frame):
        return
    narrow = min((frame.width - 2 * s.stile - n * s.muntin) / (n + 1) for n in s.muntins) - s.clearance_across
    low = min(b - a - r for a, b, r in zip(s.rail_feet, s.rail_feet[1:], s.rails, strict=False)) - s.clearance_along
    half = min(narrow, low) / 2 + s.groove_depth
    if s.border > half + 1e-6:
        message = f"a border of {w(s.border)} is more than half the smallest panel, {w(half)}"
        yield Refusal("border", message, w.less("border", s.border, half))
    if frame.panel == "raised" and s.rim >= s.border - 1e-6:
        message = f"the flat at the edge, {w(s.rim)}, is as wide as the border, {w(s.border)}"
        yield Refusal("border", message, w.more("border", s.border, s.rim + 3.0))
    if frame.panel == "raised" and frame.profile == "cove" and s.raise_depth(frame) > s.border - s.rim + 1e-6:
        message = f"a cove {w(s.raise_depth(frame))} high does not fit a slope {w(s.border - s.rim)} wide"
        yield Refusal("border", message, w.more("border", s.border, s.rim + s.raise_depth(frame)))


def _arch(frame: Frame, s: Sizes, w: Words) -> Iterator[Refusal]:
    """Wood over the crown, and short grain at the springs."""
    arch = arch_of(frame, s)
    if arch is None:
        return
    top, span = s.rails[-1], frame.width - 2 * s.stile
    over = top - frame.arch - s.groove_depth
    if over < _OVER_ARCH - 1e-6:
        message = f"over the arch and its groove {w(max(over, 0.0))} of the top rail is left, less than {w(_OVER_ARCH)}"
        flatter = w.less("arch", frame.arch, top - s.groove_depth - _OVER_ARCH)
        wider = w.more("top_rail", top, frame.arch + s.groove_depth + _OVER_ARCH)
        yield Refusal("arch", message, either(flatter, wider))
    steepest = span / 2 * math.tan(_STEEPEST / 2)
    if frame.arch > steepest + 1e-6:
        turned = 2 * math.degrees(math.atan(2 * frame.arch / span))
        message = f"the arch meets the stiles {turned:.0f}° steep: short grain there, which breaks out"
        yield Refusal("arch", message, w.less("arch", frame.arch, steepest))
    if s.border and s.raise_depth(frame) and arch.radius < s.border:
        yield Refusal("border", f"the border is wider than the arch is round, {w(arch.radius)}", "make it narrower")
