"""A tuned cut in words: the setting, the grain it meets, the error it leaves, every limit with its bar, cautions."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from shopcalc.cutters import Cutter
from shopcalc.cutting.grain import lie_at_wall, mean_flute_modes
from shopcalc.cutting.limits import Limit, habit
from shopcalc.cutting.tuning import Costs, Setting, ask
from shopcalc.machines import Machine
from shopcalc.materials import Material
from shopcalc.sources import cautions
from shopcalc.units import System, write, write_time

#: House quantity of each unit limits are given in, and house units per one of it.
_UNITS = {
    "rev/min": ("spindle_speed", 1.0), "mm/min": ("feed", 1.0), "mm": ("length", 1.0), "m/s": ("speed", 1000.0),
    "mm/tooth": ("feed_per_tooth", 1.0), "W": ("power", 1.0), "N mm": ("torque", 1.0), "N": ("force", 1.0),
    "MPa": ("pressure", 1.0),
}  # fmt: skip
_BAR = 20
_RESIN = "Boards also hold resin, and their fine dust harms lungs: extract it, and see the maker's safety sheet."

#: What to do when something sounds wrong, and what comes before every figure; common practice, no source.
CAUTIONS = (
    "An unexpected sound: first stop the feed, then stop the spindle, then look. Lock the machine out before reaching "
    "in.",
    "Never above the speed marked on the cutter, at no more projection than its maker states; EN 847-1 asks no mark of "
    "cutters under 16 mm, so their maker's sheet counts.",
    "Guard the cutter, stand clear of its plane, check the clamps, extract the dust, protect eyes, ears and lungs.",
    "A place to begin a test cut on scrap, not a promise: the makers' instructions, local codes and licensed practice "
    "come first.",
)


def amount(value: float | None, unit: str, system: System) -> str:
    """A limit's value or bound for people.

    Parameters
    ----------
    value : float or None
        [unit].
    unit : str
        As in ``Limit``.
    system : {"metric", "inch"}
        What the reader thinks in.

    Returns
    -------
    str
    """
    if value is None:
        return "unknown"
    quantity, factor = _UNITS.get(unit, ("", 1.0))
    if quantity == "length":
        return small_length(value, system) if value < 1 else write(value, "length", system)
    return write(value * factor, quantity, system) if quantity else f"{value:g} {unit}"


def small_length(value: float, system: System) -> str:
    """A chip or an error to a thousandth of a millimetre or a ten-thousandth of an inch.

    Parameters
    ----------
    value : float
        [mm].
    system : {"metric", "inch"}
        What the reader thinks in.

    Returns
    -------
    str
    """
    return f"{value / 25.4:.4f} in" if system == "inch" else f"{value:.3f} mm"


def percent(share: float | None) -> str:
    """A used share for people; "?" where it is not known.

    Parameters
    ----------
    share : float or None
        [-].

    Returns
    -------
    str
    """
    if share is None:
        return "?"
    return f"{100 * share:.0f} %" if share < 10 else "> 999 %"


def limit_rows(limits: tuple[Limit, ...], system: System) -> list[tuple[str, str, str, str, str]]:
    """Every limit as texts: used share, name, value against bound, hard or quality, source.

    Parameters
    ----------
    limits : tuple of Limit
        In the order they are wanted.
    system : {"metric", "inch"}
        What the reader thinks in.

    Returns
    -------
    list of (5,) str
    """
    return [
        (
            percent(x.used),
            x.name,
            _against(x, system),
            "hard" if x.hard else "quality",
            x.source,
        )
        for x in limits
    ]


def _against(x: Limit, system: System) -> str:
    if x.unit == "plunges":
        return "it may ramp, never go straight down"
    way = "at least" if x.least else "at most"
    return f"{amount(x.value, x.unit, system)}, {way} {amount(x.bound, x.unit, system)}"


def wall_error_words(bottom: float, top: float, system: System) -> str:
    """The error at bottom and top of a level in words that say which way.

    Parameters
    ----------
    bottom, top : float
        Positive leaves wood on [mm].
    system : {"metric", "inch"}
        What the reader thinks in.

    Returns
    -------
    str
    """
    return f"{left_words(bottom, system)} at the bottom of a level, {left_words(top, system)} at its top"


def left_words(error: float, system: System) -> str:
    """An error of the wall in words that say which way.

    Parameters
    ----------
    error : float
        Positive leaves wood on [mm].
    system : {"metric", "inch"}
        What the reader thinks in.

    Returns
    -------
    str
    """
    return f"{small_length(abs(error), system)} {'left on' if error >= 0 else 'too much off'}"


def grain_words(cutter: Cutter, cut_grain: tuple[float, float, float], setting: Setting) -> list[str]:
    """In which mode the wood is removed, and how the flute meets the finished wall.

    Parameters
    ----------
    cutter : Cutter
        Helix and diameter count.
    cut_grain : (3,) float
        From ``grain.grain_vector`` [-].
    setting : Setting
        Width of cut and direction count.

    Returns
    -------
    list of str
    """
    width = min(setting.width_per_pass_mm, cutter.true_diameter)
    lean = cutter.helix if cutter.cut_direction == "down" else -cutter.helix
    shares = mean_flute_modes(cut_grain, width, cutter.true_diameter, setting.direction, lean)
    names = ("planing (90-0)", "peeling (0-90)", "across the fibre ends (90-90)")
    parts = [f"{100 * s:.0f} % {n}" for s, n in sorted(zip(shares, names, strict=True), reverse=True) if s >= 0.005]
    lie = lie_at_wall(cut_grain, setting.direction)
    wall = {
        "with": "with the grain at the finished wall",
        "against": "against the grain at the finished wall: turn the part over, or keep a skim for a light last lap",
        "neither": "neither with nor against the grain at the finished wall",
    }[lie]
    return [f"flutes cut {', '.join(parts)}", wall]


def tuned_text(
    cutter: Cutter,
    material: Material,
    setting: Setting,
    asked: Mapping[str, Any],
    costs: Costs | None,
    system: System,
) -> str:
    """The whole answer of a tuning as text.

    Parameters
    ----------
    cutter : Cutter
        As tuned.
    material : Material
        What is cut.
    setting : Setting
        The answer.
    asked : mapping
        What ``tune`` was asked: station, grain, sizes.
    costs : Costs or None
        As in ``tune``.
    system : {"metric", "inch"}
        What the reader thinks in.

    Returns
    -------
    str
    """
    s = setting
    length = asked.get("length", 1000.0)
    passes = f"{s.passes}" + (f" ({s.levels} levels of {s.side_steps} side by side)" if s.passes > 1 else "")
    low, likely, high = (write_time(60 * s.minutes[k]) for k in ("low", "likely", "high"))
    plunge = write(s.plunge_feed_mm_min, "feed", system)
    if not cutter.centre_cutting:
        plunge = f"none: it may not go straight down; ramps sink at {plunge} at most"
    facts = [
        ("spindle speed", write(s.rpm, "spindle_speed", system)),
        ("feed", write(s.feed_mm_min, "feed", system)),
        ("plunge feed", plunge),
        ("direction", s.direction),
        ("passes", passes),
        ("depth a pass", amount(s.depth_per_pass_mm, "mm", system)),
        ("width a pass", amount(s.width_per_pass_mm, "mm", system)),
        ("feed per tooth", write(s.feed_per_tooth_mm, "feed_per_tooth", system)),
        ("mean, greatest chip", f"{amount(s.mean_chip_mm, 'mm', system)}, {amount(s.greatest_chip_mm, 'mm', system)}"),
        (f"time, {_pass_length(length, system)}", likely if low == high else f"{likely} ({low} to {high} by force)"),
        ("wall, likely force", wall_error_words(*s.push_off_mm["likely"], system)),
        ("wall, high force", wall_error_words(*s.push_off_mm["high"], system)),
    ]
    if s.cost is not None and costs is not None:
        words = f"{s.cost:.2f} {costs.currency}: {costs.per_hour:.2f} an hour"
        if costs.value:
            words += f", {100 * s.scrap_chance:.1f} % chance to spoil {costs.value:.0f} {costs.currency} of work"
        facts.append(("expected cost", words))
    if material.group == "sheet":
        facts.append(("grain", "none in the board's core; its faces tear where flutes lift them"))
    else:
        grain = ask_grain(cutter, material, asked)
        facts += list(zip(("grain", "at the wall"), grain_words(cutter, grain, s), strict=True))
    free = 100 * habit("reserve")
    out = [f"{cutter.title or cutter.id} in {material.title}", *(f"  {n:<20} {t}" for n, t in facts)]
    out += [
        "",
        f"Limits, tightest first; hard ones keep {free:.0f} % free where they are not mere sizes",
        *_limit_lines(s.limits, system),
    ]
    remedies = list(dict.fromkeys(x.remedy for name in s.binds.split("; ") for x in s.limits if x.name == name))
    out += ["", f"It is held back by: {s.binds}. To relax that: {'; or '.join(remedies)}."]
    if s.unknown:
        names = ", ".join(x.name for x in s.unknown)
        out.insert(1, f"  NOT KNOWN, find out before running: {names} (see below what to enter)")
    if s.forbidden:
        why = "; ".join(f"{x.name}: {x.remedy}" for x in s.forbidden)
        out.insert(1, f"  DO NOT RUN, the figures below are not for use: {why}")
    out += ["", *CAUTIONS]
    dust = [c for c in cautions("wood dust", material.id) if c.applies_to and c.item == "carcinogen class"]
    for c in dust:
        more = f" {_RESIN}" if material.group == "sheet" else ""
        out.append(f"Dust of {material.title}: carcinogen class {c.value}, {c.basis}.{more}")
    return "\n".join(line.rstrip() for line in out) + "\n"


def _pass_length(length: float, system: System) -> str:
    return f"{length / 25.4:.4g} in" if system == "inch" else f"{length:.4g} mm"


def ask_grain(cutter: Cutter, material: Material, asked: Mapping[str, Any]) -> tuple[float, float, float]:
    """Where the fibres point in the cut that was asked for.

    Parameters
    ----------
    cutter, material
        Any; a cut has them.
    asked : mapping
        station and grain, as given to ``tune``.

    Returns
    -------
    (3,) float
        Unit vector [-].
    """
    station, grain = asked["station"], asked["grain"]
    cut = ask(cutter, material, Machine(), station=station, grain=grain, cut_depth=1.0, cut_width=1.0)
    return cut.grain


def _limit_lines(limits: tuple[Limit, ...], system: System) -> list[str]:
    rows = limit_rows(limits, system)
    wide = [max(len(r[k]) for r in rows) for k in range(4)]
    out = []
    for x, (used, name, words, kind, source) in zip(limits, rows, strict=True):
        share = 0.0 if x.used is None or math.isnan(x.used) else min(x.used, 1.0)
        bar = "█" * round(_BAR * share)
        out.append(
            f"  {used:>{wide[0]}} {bar:<{_BAR}} {name:<{wide[1]}}  {words:<{wide[2]}}  {kind:<{wide[3]}}  {source}"
        )
    return out
