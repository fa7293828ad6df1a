"""Surfacing stock too wide for a planer: passes, minutes, and the lines the cutter leaves to sand."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from shopcalc.cutters import Cutter
from shopcalc.cutting.cut import ask, habit
from shopcalc.cutting.engagement import refuse, require_positive
from shopcalc.cutting.grain import grain_vector
from shopcalc.cutting.limits import greatest_level
from shopcalc.cutting.usual import FEED_STEP, down, usual_feed, usual_rpm
from shopcalc.holding.cleaning_up import CleanUp
from shopcalc.machines import Machine
from shopcalc.materials import Material
from shopcalc.motion import machine_time
from shopcalc.paths import Cutting, face

Pattern = Literal["along", "across", "both", "rings"]


@dataclass(frozen=True)
class Surfacing:
    """One face surfaced.

    Parameters
    ----------
    depth : float
        Taken in total, down to the plane from the highest point [mm].
    levels : int
        Passes one below the other [-].
    lines : int
        Strokes of the last level, side by side [-].
    seconds : float
        Machine time [s].
    ridge : float
        Height of the lines left to sand, from tramming alone [mm].
    """

    depth: float
    levels: int
    lines: int
    seconds: float
    ridge: float


def usual_cutting(cutter: Cutter, material: Material, machine: Machine) -> Cutting:
    """How a cutter surfaces wood along its grain where nobody said: as jobs plan their faces.

    Parameters
    ----------
    cutter : Cutter
        A flat one.
    material : Material
        The wood.
    machine : Machine
        That runs it.

    Returns
    -------
    Cutting
        The usual speed and feed, the deepest level that ``limits.greatest_level`` lets be; common practice, no source.
    """
    share, rpm = habit("stepover_share"), usual_rpm(cutter, machine)
    feed = down(min(usual_feed(cutter, material, rpm), *(a.feed for a in machine.axes[:2])), FEED_STEP)
    plunge = down(min(habit("plunge_share") * feed, machine.axes[2].feed), FEED_STEP)
    cut = ask(
        cutter, material, machine, station="flat", grain=grain_vector("flat", 0.0), depth=cutter.cutting_length,
        width=share * cutter.true_diameter,
    )  # fmt: skip
    return Cutting(
        cutter, feed, plunge, rpm, min(greatest_level(cut), cutter.cutting_length), stepover=share,
        vertical_feed=min(2 * plunge, machine.axes[2].feed),
    )  # fmt: skip


def surfacing(
    cutting: Cutting, length: float, width: float, depth: float, machine: Machine, *,
    pattern: Pattern = "along", tramming: float = 0.0,
) -> Surfacing:  # fmt: skip
    """Passes and minutes to surface one face.

    Parameters
    ----------
    cutting : Cutting
        The surfacing cutter: its width, stepover, feed and depth of a pass.
    length, width : float
        Of the board, with and across the grain [mm].
    depth : float
        From the highest point to the finished plane [mm].
    machine : Machine
        That runs it.
    pattern : {"along", "across", "both", "rings"}
        Of ``paths.face``.
    tramming : float
        Error of the spindle's uprightness across the lines, height over width [-]; see ``tramming_error``.

    Returns
    -------
    Surfacing

    Raises
    ------
    InputError
        As ``paths.face``.
    """
    seconds = machine_time(face(cutting, length, width, depth=depth, pattern=pattern), machine).total_s
    across = length if pattern == "across" else width
    lines = math.ceil(across / cutting.step - 1e-9)
    ridge = tramming_ridge(across / lines, cutting.cutter.true_diameter, across=tramming)
    return Surfacing(depth, len(cutting.levels(depth)), lines, seconds, ridge)


def both_faces(
    found: CleanUp, cutting: Cutting, length: float, width: float, machine: Machine, *,
    pattern: Pattern = "along", tramming: float = 0.0,
) -> tuple[Surfacing, Surfacing]:  # fmt: skip
    """Passes and minutes for both planes of a board that cleans up.

    Parameters
    ----------
    found : CleanUp
        From ``clean_up``.
    cutting, length, width, machine, pattern, tramming
        As in ``surfacing``.

    Returns
    -------
    (Surfacing, Surfacing)
        Face A and face B, each from its highest point down.
    """
    depths = (float(found.depth_a.max()), float(found.depth_b.max()))
    a, b = (
        surfacing(cutting, length, width, max(d, 0.01), machine, pattern=pattern, tramming=tramming) for d in depths
    )
    return a, b


def tramming_error(difference: float, circle: float) -> float:
    """Error of the spindle's uprightness from a dial swung round on the table.

    Parameters
    ----------
    difference : float
        Of the readings on both sides [mm].
    circle : float
        Diameter that the dial swings [mm].

    Returns
    -------
    float
        Height over width [-].

    Example
    -------
    >>> tramming_error(0.1, 250)
    0.0004
    """
    require_positive(circle=circle)
    return abs(difference) / circle


def tramming_ridge(stepover: float, diameter: float, *, across: float = 0.0, along: float = 0.0) -> float:
    """Height of the lines that a spindle out of tram leaves with a flat cutter.

    Parameters
    ----------
    stepover, diameter : float
        Between lines, and of the cutter [mm].
    across, along : float
        Error across the lines and along the feed, height over width [-].

    Returns
    -------
    float
        [mm]: across the lines a step of stepover times the error; along the feed the hollow of the cutter's tilted
        circle within one step (geometry; both together are at most their sum).

    Example
    -------
    >>> round(tramming_ridge(20, 50, across=0.0004), 4), round(tramming_ridge(20, 50, along=0.0004), 5)
    (0.008, 0.00083)
    """
    require_positive(stepover=stepover, diameter=diameter)
    if stepover > diameter:
        refuse(f"stepover {stepover:g} mm leaves wood between lines of {diameter:g} mm", "step over less")
    r = diameter / 2
    return stepover * abs(across) + abs(along) * (r - math.sqrt(r * r - stepover * stepover / 4))
