"""From what a frame's table says to all its sizes: what it leaves out is what shops usually take."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace
from typing import NamedTuple

from shopcalc.cutters import Cutter
from shopcalc.frames.members import Arch, Sizes
from shopcalc.frames.records import Corners, Frame, Style
from shopcalc.shop import Shop
from shopcalc.units import System

_INCH = 25.4
_MORTISE_SHARE = 0.45  # of the thickness at most; a third to nearly a half: common practice, no source
_GROOVE_SHARE = 0.36  # of the thickness at most: about a third, common practice, no source
_DEPTH_SHARE = 0.45  # of the stile's width that a mortise goes in: common practice, no source
FITS = 0.02  # mm a cutter may be wider than what it cuts in one line, as paths take it


class Usual(NamedTuple):
    """What a shop takes where nothing is said, by the units it reads; common practice, no source.

    Parameters
    ----------
    step : float
        What sizes are rounded to [mm].
    groove_depth, end_gap, clearance, edge_clearance, panel_fit : float
        [mm].
    clearance_along, clearance_across : float
        [mm].
    reveal, border : float
        How far the panel's flat stands out of the groove; width of a raised border [mm].
    """

    step: float
    groove_depth: float
    end_gap: float
    clearance: float
    edge_clearance: float
    panel_fit: float
    clearance_along: float
    clearance_across: float
    reveal: float
    border: float


USUAL: dict[System, Usual] = {
    "inch": Usual(*(_INCH * v for v in (1 / 16, 3 / 8, 1 / 16, 0.005, 1 / 16, 0.010, 1 / 8, 1 / 4, 1 / 16, 1.5))),
    "metric": Usual(1.0, 10.0, 2.0, 0.12, 1.5, 0.25, 3.0, 6.0, 1.5, 38.0),
}


def down(value: float, step: float) -> float:
    """The next step at or below a value [mm].

    Parameters
    ----------
    value, step : float
        [mm].
    """
    return math.floor(value / step + 1e-6) * step if math.isfinite(value) else value


def up(value: float, step: float) -> float:
    """The next step at or above a value [mm].

    Parameters
    ----------
    value, step : float
        [mm].
    """
    return math.ceil(value / step - 1e-6) * step


def flat_cutters(shop: Shop) -> list[Cutter]:
    """Square ends of the rack that may go straight down, the most trusted first.

    Parameters
    ----------
    shop : Shop
        Whose rack.
    """
    fit = [
        c for c in shop.cutters.values() if c.shape == "square end" and c.centre_cutting and c.cut_direction != "down"
    ]
    return sorted(fit, key=lambda c: (-c.diameter, c.marked_rpm is None and c.maker_rpm is None, c.stick_out, c.id))


def widest(cutters: Iterable[Cutter], width: float, reach: float) -> str:
    """Id of the first cutter that goes into a width and reaches a depth; empty where there is none.

    Parameters
    ----------
    cutters : iterable of Cutter
        The preferred ones first.
    width, reach : float
        [mm].
    """
    return next((c.id for c in cutters if c.true_diameter <= width + FITS and c.cutting_length >= reach - 1e-6), "")


def _width_of_a_cutter(cutters: list[Cutter], most: float) -> float:
    return next((c.diameter for c in cutters if c.diameter <= most + 1e-6), most)


def sizes_of(frame: Frame, shop: Shop, system: System = "inch") -> Sizes:
    """All sizes of a frame, possible or not.

    Parameters
    ----------
    frame : Frame
        As the table says it.
    shop : Shop
        For its rack of cutters.
    system : {"inch", "metric"}
        Whose usual sizes are taken.

    Notes
    -----
    A panel raised on one face is as thick as brings its field level with the frame's face, on both as thick as the
    frame. Usual sizes: common practice, no source.
    """
    u, flat = USUAL[system], flat_cutters(shop)
    stile = frame.stile or min(max(up(frame.height / 12, 4 * u.step), 50.0), 100.0)
    rails = [r.width or stile for r in (frame.bottom_rail, *frame.middle_rails, frame.top_rail)]
    styles = _styles(frame)
    depth = frame.groove_depth or u.groove_depth
    groove = frame.groove or _width_of_a_cutter(flat, _GROOVE_SHARE * frame.thickness)
    as_wide = any(s in ("haunched", "stepped") for s in styles)
    mortise = frame.mortise or (groove if as_wide else _width_of_a_cutter(flat, _MORTISE_SHARE * frame.thickness))
    cutter = frame.mortise_cutter or widest(flat, mortise, min(depth + 6.0, frame.mortise_depth or depth))
    reach = shop.cutters[cutter].cutting_length if cutter in shop.cutters else math.inf
    into = frame.mortise_depth or min(max(down(_DEPTH_SHARE * stile, u.step), depth + 6.0), down(reach, u.step))
    tongue = groove - (u.panel_fit if frame.panel_fit is None else frame.panel_fit)
    rim = frame.rim or depth + u.reveal
    clearance = u.clearance if frame.clearance is None else frame.clearance
    end_gap = u.end_gap if frame.end_gap is None else frame.end_gap
    held = max(depth - 2.5, 0.0)  # so much a panel may leave its groove, and yet be held
    sizes = Sizes(
        stile=stile,
        muntin=frame.muntin or stile,
        rails=tuple(rails),
        rail_feet=tuple(_feet(frame, rails)),
        styles=tuple(styles),
        corners=tuple(_corners(frame)),
        muntins=frame.muntins * (len(rails) - 1) if len(frame.muntins) == 1 else frame.muntins,
        groove=groove,
        groove_depth=depth,
        mortise=mortise,
        mortise_depth=into,
        haunch=frame.haunch or 0.0,
        gap=frame.gap or 0.0,
        clearance=clearance,
        edge_clearance=u.edge_clearance if frame.edge_clearance is None else frame.edge_clearance,
        end_gap=end_gap,
        panel_thickness=frame.panel_thickness or _panel_thickness(frame, groove, tongue),
        tongue=tongue,
        border=frame.border or (_border(frame, stile, rails, rim, u) if frame.panel == "raised" else rim),
        rim=rim,
        clearance_along=min(u.clearance_along, held) if frame.clearance_along is None else frame.clearance_along,
        clearance_across=min(u.clearance_across, held) if frame.clearance_across is None else frame.clearance_across,
        cutters=(),
    )
    return replace(sizes, cutters=_cutters(frame, sizes, shop))


def _border(frame: Frame, stile: float, rails: list[float], rim: float, u: Usual) -> float:
    """The usual border, or less in small panels: no more than a third of the smallest opening."""
    muntin = frame.muntin or stile
    wide = min((frame.width - 2 * stile - n * muntin) / (n + 1) for n in frame.muntins or (0,))
    feet = _feet(frame, rails)
    high = min(b - a - r for a, b, r in zip(feet, feet[1:], rails, strict=False))
    return max(min(u.border, down(min(wide, high) / 3, u.step)), rim + 2 * u.step)


def _panel_thickness(frame: Frame, groove: float, tongue: float) -> float:
    if frame.panel == "flat":
        return tongue
    return frame.thickness if frame.raised_faces == 2 else (frame.thickness + groove) / 2


def _feet(frame: Frame, rails: list[float]) -> list[float]:
    """Lower edges of the rails; those between top and bottom where they are said, or evenly spread."""
    lower, top = frame.foot, frame.height - rails[-1]
    between = frame.middle_rails
    room = (top - lower - rails[0] - sum(rails[1:-1])) / (len(between) + 1)
    feet = [lower]
    for i, rail in enumerate(between, 1):
        spread = feet[-1] + rails[i - 1] + room
        feet.append(spread if rail.from_foot is None else rail.from_foot - rails[i] / 2)
    return [*feet, top]


def _styles(frame: Frame) -> list[Style]:
    """Joints as they can be cut: a haunch needs the stile's end; where grooves pass a rail, steps fill them."""
    out: list[Style] = []
    rails = (frame.bottom_rail, *frame.middle_rails, frame.top_rail)
    for i, rail in enumerate(rails):
        style = rail.joint or frame.joint
        if i == 0 and frame.foot > 0 and style in ("haunched", "stepped"):
            style = "plain"
        elif 0 < i < len(rails) - 1 and style == "haunched":
            style = "stepped"
        elif i == len(rails) - 1 and frame.arch and style == "stepped":
            style = "haunched"  # a step below would be the tip of the arch
        out.append(style)
    return out


def _corners(frame: Frame) -> list[Corners]:
    rails = (frame.bottom_rail, *frame.middle_rails, frame.top_rail)
    return [r.corners or frame.corners for r in rails]


def _cutters(frame: Frame, s: Sizes, shop: Shop) -> tuple[str, ...]:
    """For groove, mortise, tenon, raise and outline."""
    flat = flat_cutters(shop)
    between = min((g for g in s.gaps() if g > 0), default=math.inf)
    stepped = frame.panel == "flat"
    round_nosed = sorted(
        (c for c in shop.cutters.values() if c.shape in ("ball", "core-box")), key=lambda c: (-c.diameter, c.id)
    )
    noses = [c for c in round_nosed if c.diameter <= 16.0] or round_nosed
    through = [c for c in shop.cutters.values() if c.shape == "compression"]
    thick = max(frame.thickness if frame.arch else 0.0, s.panel_thickness) + 0.2
    return (
        frame.groove_cutter or widest(flat, s.groove, s.groove_depth),
        frame.mortise_cutter or widest(flat, s.mortise, s.mortise_depth),
        frame.tenon_cutter or widest(flat, between, s.mortise_depth - s.end_gap),
        frame.raise_cutter or widest([] if stepped else noses, math.inf, s.raise_depth(frame))
        or widest(flat, math.inf, s.raise_depth(frame)),
        frame.outline_cutter or widest([*through, *flat], math.inf, thick),
    )  # fmt: skip


# --- where the tongues of a rail lie ----------------------------------------------------------------------------------


class Ends(NamedTuple):
    """A rail's end across its width, from its reference edge, as its mortises are.

    Parameters
    ----------
    tongues : tuple of (float, float)
        From where to where each mortise goes [mm].
    stub : (2,) float or None
        From where to where the stub goes [mm].
    """

    tongues: tuple[tuple[float, float], ...]
    stub: tuple[float, float] | None


def arch_of(frame: Frame, s: Sizes) -> Arch | None:
    """The top rail's lower edge.

    Parameters
    ----------
    frame : Frame
        As the table says it.
    s : Sizes
        Its sizes.
    """
    if not frame.arch:
        return None
    return Arch.over(s.stile, frame.width - s.stile, s.rail_feet[-1], frame.arch)


def ends_of(frame: Frame, s: Sizes, i: int, system: System = "inch") -> Ends:
    """The end of rail ``i``, counted from the foot.

    Parameters
    ----------
    frame : Frame
        As the table says it.
    s : Sizes
        Its sizes.
    i : int
        Which rail [-].
    system : {"inch", "metric"}
        For rounding the shoulder under an arch.

    Notes
    -----
    Geometry. The shoulder towards a panel is as deep as the panel's groove. Under an arch that groove, measured
    square to it, leaves the rail deeper, and the flat cutter digs deeper still by its radius times the slope.
    """
    wide, style, shoulder = s.rails[i], s.styles[i], s.groove_depth
    arch = arch_of(frame, s)
    if arch is not None and i == len(s.rails) - 1:
        deeper = arch.grown(shoulder)
        dug = s.groove / 2 * math.tan(deeper.slope(s.stile))
        shoulder = up(deeper.height(s.stile) - s.rail_feet[-1] + dug, USUAL[system].step / 2)
    if style in ("plain", "paired"):
        a, b = shoulder, wide - shoulder
        if style == "plain":
            return Ends(((a, b),), None)
        gap = s.gap or (b - a) / 3
        middle = (a + b) / 2
        return Ends(((a, middle - gap / 2), (middle + gap / 2, b)), None)
    step = s.haunch or max(shoulder, down(wide / 4, USUAL[system].step))
    if style == "haunched":
        return Ends(((step, wide - shoulder),), (0.0, wide - shoulder))
    return Ends(((max(step, shoulder), wide - max(step, shoulder)),), (0.0, wide))
