"""Factors of a machine that its programs' times can tell: what each changes, and what is thought of it beforehand."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from shopcalc.machines import Machine
from shopcalc.machines_learned import value_of, with_value
from shopcalc.moves import Floats


@dataclass(frozen=True)
class Factor:
    """A factor on figures of a machine's record, log-normal about 1 before anything is logged.

    Parameters
    ----------
    key, title : str
        Short name, and what people call it.
    fields : tuple of str
        Figures it multiplies, as ``machines_learned.FIELDS`` names them.
    sigma : float
        Standard deviation of its logarithm beforehand [-].
    reason : str
        Why that much: common practice, no source.
    low, high : float
        Beyond these it is not believed [-].
    """

    key: str
    title: str
    fields: tuple[str, ...]
    sigma: float
    reason: str
    low: float
    high: float


_XYZ = "xyz"
#: Every factor there is. Widths are common practice, no source: they say how far records are off before one has timed.
FACTORS: tuple[Factor, ...] = (
    Factor(
        "acceleration", "acceleration of all axes", tuple(f"axes.{k}.acceleration" for k in _XYZ), 0.5,
        "makers print what the drives can, controls are set lower, seldom higher", 0.05, 8.0,
    ),
    Factor(
        "z_acceleration", "acceleration of z beside the others", ("axes.z.acceleration",), 0.2,
        "one record gives all axes; a heavy head is set down further", 0.1, 4.0,
    ),
    Factor(
        "rapid", "rapids", tuple(f"axes.{k}.rapid" for k in _XYZ), 0.25,
        "printed speeds are kept, or turned down by a switch at the control", 0.1, 4.0,
    ),
    Factor(
        "corner_tolerance", "corner tolerance", ("controller.corner_tolerance",), 1.2,
        "seldom in a manual, and set anew by whoever sets the control up", 0.01, 100.0,
    ),
    Factor(
        "corner_speed_jump", "speed jump at corners", tuple(f"controller.corner_speed_jump.{k}" for k in _XYZ), 0.6,
        "seldom in a manual, and set anew by whoever sets the control up", 0.02, 50.0,
    ),
    Factor(
        "block_rate", "block rate", ("controller.blocks_per_second",), 0.6,
        "counted by makers under their own conditions", 0.02, 50.0,
    ),
    Factor("jerk", "jerk", ("controller.jerk",), 0.8, "seldom in a manual", 0.02, 50.0),
    Factor(
        "cutter_change", "cutter change", ("times.cutter_change",), 0.5,
        "makers count from chip to chip, shops with the way there and the hood", 0.05, 20.0,
    ),
    Factor(
        "spindle_start", "spindle start", ("times.spindle_start",), 0.7,
        "goes with the speed wanted, is set by hand, and what a control waits at its stops counts in it", 0.05, 20.0,
    ),
    Factor(
        "feed_share", "share of the feed really reached", ("feed_share",), 0.1,
        "the knob at the control is seldom left far from 100 % for good", 0.3, 2.0,
    ),
)  # fmt: skip
KEYS: tuple[str, ...] = tuple(f.key for f in FACTORS)


def factors_of(machine: Machine, keys: Sequence[str] | None = None) -> tuple[Factor, ...]:
    """Those factors that can mean something for this machine.

    Parameters
    ----------
    machine : Machine
        A figure that has no limit, or is 0, cannot be multiplied; only the corner rule in use counts.
    keys : sequence of str, optional
        Of ``KEYS``: only these; the others stay as recorded.
    """
    rule = {"tolerance": "corner_tolerance", "speed_jump": "corner_speed_jump"}.get(machine.controller.corner)
    out = []
    for f in FACTORS:
        values = [float(value_of(machine, name)) for name in f.fields]
        other = f.key.startswith("corner_") and f.key != rule
        asked = keys is None or f.key in keys
        if asked and not other and any(math.isfinite(v) and v > 0 for v in values):
            out.append(f)
    return tuple(out)


def with_factors(machine: Machine, factors: Sequence[Factor], logs: Sequence[float] | Floats) -> Machine:
    """The machine with its figures multiplied.

    Parameters
    ----------
    machine : Machine
        The record.
    factors : sequence of Factor
        Which.
    logs : sequence of float
        Natural logarithm of each [-].
    """
    out = machine
    for f, log in zip(factors, logs, strict=True):
        if log == 0.0:
            continue
        for name in f.fields:
            out = with_value(out, name, float(value_of(out, name)) * math.exp(log))
    return out
