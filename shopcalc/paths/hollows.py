"""A groove in the hollowed edge of an arched rail that stands on its other edge."""

from __future__ import annotations

import math

import numpy as np

from shopcalc.cutting.engagement import pass_count, refuse, require_at_most, require_positive
from shopcalc.moves import Floats, Moves
from shopcalc.paths.tracing import Cutting, Tracer

_FITS = 0.02  # mm; a groove this near to the cutter's diameter is cut in one line
_SAGITTA = 0.005  # mm between an arc and its chords


def hollow_groove(
    cutting: Cutting,
    span: float,
    rise: float,
    *,
    depth: float,
    start: float = 0.0,
    middle: float = 0.0,
    width: float | None = None,
) -> Moves:
    """Cut a groove in a hollowed edge, as deep everywhere, measured square to the arch.

    Parameters
    ----------
    cutting : Cutting
        A flat cutter.
    span, rise : float
        Of the arch [mm].
    depth : float
        Square to the arch [mm].
    start : float
        Where it springs, along x [mm].
    middle : float
        Of the groove, along y [mm].
    width : float, optional
        One pass of the cutter where none is given [mm].

    Returns
    -------
    Moves
        z = 0 is the edge at the springs. Passes lie on concentric arcs, to and fro, and run out past both springs,
        where the shoulders of the tenons must be clear already.

    Raises
    ------
    InputError
        When the arch is higher than half a circle, or the groove is narrower than the cutter or too deep for it.

    Notes
    -----
    Geometry. The middle of the cutter's end keeps the depth; on a slope its corner goes deeper by the radius times
    the slope.

    Example
    -------
    >>> from shopcalc.cutters import Cutter
    >>> sq = Cutter("SQ6", "", "square end", 6, 6, 2, 20, 60, 30)
    >>> m = hollow_groove(Cutting(sq, 3000, 900, 18000, depth_per_pass=3), 400, 60, depth=9)
    >>> round(float(m.points[:, 2].min()), 6)
    -69.0
    """
    cutting.require_flat("a groove in an arch")
    require_positive(span=span, rise=rise)
    require_at_most("rise", rise, "half the span", span / 2, "make the arch flatter")
    d = cutting.cutter.true_diameter
    wide = d if width is None else width
    if wide < d - _FITS:
        message = f"the groove is {wide:g} mm wide, narrower than the cutter ({d:g} mm)"
        refuse(message, f"use a cutter of {wide:g} mm or less, or widen the groove")
    half = max(wide - d, 0.0) / 2 if wide > d + _FITS else 0.0
    n = pass_count(2 * half, cutting.step) if half else 0
    lines = [middle - half + 2 * half * k / n for k in range(n + 1)] if n else [middle]
    radius = (span * span / 4 + rise * rise) / (2 * rise)
    t: Tracer | None = None
    forward = True
    for level in cutting.levels(depth):
        path = _concentric(radius, level, span, rise, cutting.radius + cutting.lead)
        for y in lines:
            points = path if forward else path[::-1]
            begin = (start + float(points[0, 0]), y)
            t = t or Tracer(cutting, begin)
            t.over(begin)
            t.sink_in_air(float(points[0, 1]))
            for x, z in points[1:].tolist():
                t.to((start + x, y), z)
            forward = not forward
    assert t is not None  # there is at least one level
    return t.moves()


def _concentric(radius: float, level: float, span: float, rise: float, out: float) -> Floats:
    """Chords of the arc ``level`` below the arch, x from its left spring, z from its springs."""
    r, x0 = radius + level, span / 2
    reach = min(x0 + out, r * math.sin(math.radians(80)))
    turn = math.asin(reach / r)
    n = max(2, math.ceil(turn / math.acos(1 - _SAGITTA / r)))
    angle = np.linspace(-turn, turn, n + n % 2 + 1)
    chords: Floats = np.stack([x0 + r * np.sin(angle), (radius - rise) - r * np.cos(angle)], axis=1)
    return chords
