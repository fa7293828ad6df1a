"""How a cutter is run where nobody said and nothing was tuned: starting values, rounded as people write them."""

from __future__ import annotations

import math

from shopcalc.cutters import Cutter
from shopcalc.cutting.chipload import feed, feed_per_tooth_for_mean_chip
from shopcalc.cutting.engagement import spindle_speed
from shopcalc.machines import Machine
from shopcalc.materials import Material
from shopcalc.sources import practice

#: What people write in a program [mm/min], [rev/min].
FEED_STEP, RPM_STEP = 10.0, 100.0
_USUAL_RPM = 18_000.0  # common practice, no source: faster only where the job says so
_TOOTH_SHARE = 0.012  # feed per tooth over diameter; common practice, no source: what a small cutter stands in wood


def down(value: float, step: float) -> float:
    """The next lower multiple; a value below one step stays.

    Parameters
    ----------
    value, step : float
        In the same unit.

    Returns
    -------
    float
        Definition.
    """
    return math.floor(value / step + 1e-9) * step if value >= step else value


def usual_rpm(cutter: Cutter, machine: Machine) -> float:
    """The usual speed, a reserve below what the cutter is marked or made for, within the spindle's range.

    Parameters
    ----------
    cutter : Cutter
        With its mark or its maker's figure; without either its rim speed counts.
    machine : Machine
        With its spindle.

    Returns
    -------
    float
        [rev/min]; common practice, no source.
    """
    habits = practice()
    known = [rpm for rpm in (cutter.marked_rpm, cutter.maker_rpm) if rpm is not None]
    if known:
        most = (1 - habits["reserve"].value) * min(known)
    else:
        rim = habits["rim_speed_carbide" if cutter.body == "carbide" else "rim_speed_steel"].value
        most = min(habits["unmarked_rpm"].value, float(spindle_speed(cutter.true_diameter, rim / 1000)))
    rpm = down(min(_USUAL_RPM, most), RPM_STEP)
    if machine.spindle is None:
        return rpm
    return max(min(rpm, machine.spindle.max_rpm), machine.spindle.min_rpm)


def usual_feed(cutter: Cutter, material: Material, rpm: float) -> float:
    """The feed for a chip in the middle of the material's window in a slot, at most 1.2 % of the diameter a tooth.

    Parameters
    ----------
    cutter : Cutter
        Any.
    material : Material
        With its chip window.
    rpm : float
        [rev/min].

    Returns
    -------
    float
        [mm/min], not yet rounded; common practice, no source.
    """
    wanted, most = _wanted(cutter, material), _TOOTH_SHARE * cutter.true_diameter
    return float(feed(rpm, cutter.flutes, min(wanted, most)))


def held_by(cutter: Cutter, material: Material) -> str:
    """Which part of the usual feed's rule binds, for people.

    Parameters
    ----------
    cutter : Cutter
        Any.
    material : Material
        With its chip window.

    Returns
    -------
    str
        To follow the feed's source; says when the diameter binds, so that the wood changes nothing.
    """
    by_diameter = _TOOTH_SHARE * cutter.true_diameter <= _wanted(cutter, material)
    group = {"sheet": "sheet goods", "laminated": "laminated wood"}.get(material.group, f"any {material.group}")
    which = "cutter's diameter, not by the wood" if by_diameter else f"chip window of {group}, not by the diameter"
    return f", held by the {which}"


def _wanted(cutter: Cutter, material: Material) -> float:
    """Feed per tooth for a chip in the middle of the window in a slot [mm]."""
    chip = (material.chip_thin + material.chip_thick) / 2
    return float(feed_per_tooth_for_mean_chip(chip, cutter.true_diameter, cutter.true_diameter))
