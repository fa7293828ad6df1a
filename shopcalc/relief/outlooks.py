"""Minutes of a scheme looked ahead from a sample of its lines, before any path is made."""

from __future__ import annotations

from dataclasses import dataclass

from shopcalc.machines import Machine
from shopcalc.motion import machine_time
from shopcalc.relief.carving import carved_sanding, clean
from shopcalc.relief.finishing import LineDirection, cusps, finish
from shopcalc.relief.heights import HeightMap
from shopcalc.relief.hindrances import obstacles
from shopcalc.relief.maps import LOOK, coarser, reach_of, refined
from shopcalc.relief.reach import Outside, reached
from shopcalc.relief.scheme import Scheme, Step, line_count, rough_seconds


def sampled_seconds(
    surface: HeightMap, finishing: Step, machine: Machine, *, direction: LineDirection = "x",
    outside: Outside = "nothing", count: int = 48,
) -> float:  # fmt: skip
    """Seconds of all finishing lines, from a few of them drawn and timed.

    Parameters
    ----------
    surface : HeightMap
        What shall be carved.
    finishing : Step
        Cutter, feed and sideways step.
    machine : Machine
        Where.
    direction : {"x", "y", "both"} or float
        Of the lines.
    outside : {"nothing", "stock"}
        What stands beyond the map's edge.
    count : int
        Lines to draw, about [-].

    Returns
    -------
    float
        [s]. The ways between lines count once, not once for each line left out.
    """
    fine = refined(surface, finishing.cutter)
    lines = line_count(fine, finishing.stepover, direction)
    far = finishing.stepover * max(1.0, lines / count)
    moves = finish(fine, finishing.cutting, stepover=far, direction=direction, outside=outside)
    share = lines / line_count(fine, far, direction)
    across = fine.width if direction == "x" else fine.length
    return machine_time(moves, machine).total_s * share - (share - 1) * across / finishing.feed * 60


@dataclass(frozen=True)
class Outlook:
    """What a scheme takes, from a few of its lines: for hours before a program is written.

    Parameters
    ----------
    scheme : Scheme
        Which.
    seconds : tuple of float
        Of each step [s].
    change_seconds : float
        Cutter changes and spindle starts, the first among them [s].
    mean_cusp : float
        [mm]
    sanding_hours : float
        See ``carved_sanding`` [h].
    cannot : tuple of str
        Why a cutter cannot do its part, see ``obstacles``.
    """

    scheme: Scheme
    seconds: tuple[float, ...]
    change_seconds: float
    mean_cusp: float
    sanding_hours: float
    cannot: tuple[str, ...] = ()


def outlook(surface: HeightMap, scheme: Scheme, machine: Machine, *, sanding_per_area: float | None = None) -> Outlook:
    """The times of a scheme without its whole path: a fraction of ``carve``'s work.

    Parameters
    ----------
    surface : HeightMap
        What shall be carved.
    scheme : Scheme
        How.
    machine : Machine
        Where.
    sanding_per_area : float or None
        The shop's standard for level faces [s/m2].

    Returns
    -------
    Outlook
        Finishing and cleaning up from some lines, roughing on a coarse map; a test holds it to ``carve`` within 6 %.
    """
    small = coarser(surface, LOOK)
    finishing, seconds = scheme.finishing, list[float]()
    after = reached(small, finishing.cutter, outside=scheme.outside)
    for s in scheme.steps:
        if s.role == "rough":
            seconds.append(rough_seconds(small, s, machine, scheme.outside))
        elif s.role == "finish":
            seconds.append(sampled_seconds(surface, s, machine, direction=scheme.direction, outside=scheme.outside))
        else:
            cache: dict[str, HeightMap] = {}
            left = reach_of(surface, finishing.cutter, scheme.outside, cache).z - surface.z
            moves = clean(surface, s, left, reach_of(surface, s.cutter, scheme.outside, cache).z - surface.z, scheme)
            seconds.append(0.0 if moves is None else machine_time(moves, machine).total_s)
    change = len(scheme.steps) * (machine.times.cutter_change + machine.times.spindle_start)
    ridges = cusps(after, finishing.cutter, finishing.stepover, scheme.direction).mean
    sanding, cannot = carved_sanding(surface, scheme, sanding_per_area), obstacles(surface, scheme)
    return Outlook(scheme, tuple(seconds), change, ridges, sanding, tuple(str(h) for h in cannot))
