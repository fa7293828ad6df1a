"""How a cutter meets the wood: speeds, arc of engagement, shape at a depth, cusps, levels. All geometry.

Numbers in, numbers out: a float gives a float, an array gives an array, and arguments broadcast.
"""

from __future__ import annotations

import math
from typing import Any, TypeAlias

import numpy as np

from shopcalc.cutters import Cutter
from shopcalc.errors import Fault, InputError
from shopcalc.moves import Floats

Numbers: TypeAlias = float | Floats
#: np.float64 where every argument is a number, else an array of the common shape.
Result: TypeAlias = Any

_ROUNDED = frozenset({"ball", "core-box", "tapered ball"})
_SLACK = 1e-9  # mm; a width that is the diameter but for rounding is the diameter


def refuse(message: str, remedy: str) -> None:
    """Raise one InputError.

    Parameters
    ----------
    message, remedy : str
        What is wrong, and what to do.

    Raises
    ------
    InputError
        Always.
    """
    raise InputError(Fault(message, remedy))


def require_positive(**values: Numbers) -> None:
    """Refuse values that are not finite and above zero, naming the first offender by its keyword.

    Parameters
    ----------
    **values : float or (n,) float
        Quantities by name; underscores become spaces in the message.

    Raises
    ------
    InputError
        When any value is zero, negative, infinite or not a number.

    Example
    -------
    >>> require_positive(diameter=12.0, rpm=18000)
    """
    for name, value in values.items():
        array = np.asarray(value, dtype=float)
        wrong = ~(np.isfinite(array) & (array > 0))
        if wrong.any():
            given = float(array[wrong].flat[0])
            refuse(f"{name.replace('_', ' ')} is {given:g}, but must be above zero", "give a positive value")


def require_at_most(name: str, value: Numbers, bound_name: str, bound: Numbers, remedy: str, unit: str = "mm") -> None:
    """Refuse a value beyond its bound, with both in the message.

    Parameters
    ----------
    name : str
        What is given.
    value : float or (n,) float
        It.
    bound_name : str
        What bounds it.
    bound : float or (n,) float
        In the same unit.
    remedy : str
        What to change.
    unit : str
        For the message.

    Raises
    ------
    InputError
        When any value is above its bound by more than rounding.
    """
    given, most = np.broadcast_arrays(np.asarray(value, dtype=float), np.asarray(bound, dtype=float))
    wrong = ~(given <= most + _SLACK)
    if wrong.any():
        a, b = float(given[wrong].flat[0]), float(most[wrong].flat[0])
        refuse(f"{name} {a:.6g} {unit} is above {bound_name}, {b:.6g} {unit}", remedy)


def cutting_speed(diameter: Numbers, rpm: Numbers) -> Result:
    """Speed of the edge through the wood.

    Parameters
    ----------
    diameter : float or (n,) float
        At which the edge is looked at; the effective one for balls and Vs [mm].
    rpm : float or (n,) float
        Spindle speed [rev/min].

    Returns
    -------
    float or (n,) float
        [m/s].

    Notes
    -----
    Definition: v = pi D n.

    Example
    -------
    >>> round(cutting_speed(12, 18000), 4)
    np.float64(11.3097)
    """
    require_positive(diameter=diameter, rpm=rpm)
    return (np.pi * np.asarray(diameter, dtype=float) * np.asarray(rpm) / 60_000)[()]


def spindle_speed(diameter: Numbers, cutting_speed: Numbers) -> Result:
    """Spindle speed that gives a cutting speed; the inverse of ``cutting_speed``.

    Parameters
    ----------
    diameter : float or (n,) float
        [mm].
    cutting_speed : float or (n,) float
        [m/s].

    Returns
    -------
    float or (n,) float
        [rev/min]. Definition.

    Example
    -------
    >>> round(spindle_speed(12, 11.309734), 1)
    np.float64(18000.0)
    """
    require_positive(diameter=diameter, cutting_speed=cutting_speed)
    return (60_000 * np.asarray(cutting_speed, dtype=float) / (np.pi * np.asarray(diameter)))[()]


def engagement_angle(width: Numbers, diameter: Numbers) -> Result:
    """Arc over which each flute is in the wood.

    Parameters
    ----------
    width : float or (n,) float
        Width of cut across the feed [mm].
    diameter : float or (n,) float
        [mm].

    Returns
    -------
    float or (n,) float
        From where the chip is zero to the far end of the arc; pi for a slot [rad].

    Raises
    ------
    InputError
        When the width is above the diameter: a cutter cuts no wider than it is.

    Notes
    -----
    Geometry: cos(angle) = 1 - 2 width / diameter.

    Example
    -------
    >>> round(np.degrees(engagement_angle(1.2, 12)), 2)
    np.float64(36.87)
    """
    require_positive(width_of_cut=width, diameter=diameter)
    require_at_most("width of cut", width, "the cutter's diameter", diameter, "take several passes or a wider cutter")
    share = np.asarray(width, dtype=float) / np.asarray(diameter)
    return np.arccos(np.clip(1 - 2 * share, -1, 1))[()]


def approach_length(width: Numbers, diameter: Numbers) -> Result:
    """Travel from first touch to full engagement when the cutter enters over an edge square to the feed.

    Parameters
    ----------
    width, diameter : float or (n,) float
        Width of cut and diameter [mm].

    Returns
    -------
    float or (n,) float
        [mm]. Geometry: sqrt(w (D - w)) up to half the diameter, from there on the radius.

    Example
    -------
    >>> round(approach_length(0.3 * 25.4, 3.5 * 25.4) / 25.4, 4)
    np.float64(0.9798)
    """
    require_positive(width_of_cut=width, diameter=diameter)
    require_at_most("width of cut", width, "the cutter's diameter", diameter, "take several passes or a wider cutter")
    d = np.asarray(diameter, dtype=float)
    w = np.minimum(np.asarray(width, dtype=float), d / 2)
    return np.sqrt(w * (d - w))[()]


def _half_angle(cutter: Cutter) -> float:
    return cutter.included_angle / 2 if cutter.shape in ("V", "tapered ball") else 0.0


def _ball_radius(cutter: Cutter) -> float:
    """Radius of the round end [mm]."""
    return cutter.tip_diameter / 2 if cutter.shape == "tapered ball" else cutter.true_diameter / 2


def _depth(cutter: Cutter, depth: Numbers) -> Floats:
    """Depth as an array, refused where it is negative or beyond the flutes."""
    out = np.asarray(depth, dtype=float)
    if not (np.isfinite(out) & (out >= 0)).all():
        refuse(f"depth {float(out.flat[0]):g} mm is not zero or more", "give depths as positive values")
    remedy = f"cut less deep, or choose a cutter with longer flutes than {cutter.id}"
    require_at_most("depth", out, "the cutting length", cutter.cutting_length, remedy)
    return out


def effective_diameter(cutter: Cutter, depth: Numbers) -> Result:
    """Diameter at which a cutter's edge leaves the wood's surface when its tip is at a depth.

    Parameters
    ----------
    cutter : Cutter
        Any shape.
    depth : float or (n,) float
        Of the tip below the surface [mm].

    Returns
    -------
    float or (n,) float
        Never above the cutter's diameter [mm].

    Raises
    ------
    InputError
        When the depth is negative or beyond the cutting length.

    Notes
    -----
    Geometry. *V*: flat + 2 d tan(a/2). *Ball, core-box*: 2 sqrt(d (D - d)) up to half the diameter. *Tapered ball* of
    half angle a and tip radius r: the ball up to the height r (1 - sin a), where its radius is r cos a, then the taper.
    *All others*: the diameter. A drill's point is not taken off.

    Example
    -------
    >>> v = Cutter("V90", "", "V", 25.4, 12.7, 2, 12.7, 60, 40, tip_diameter=0, included_angle=np.pi / 2)
    >>> round(effective_diameter(v, 3), 6)
    np.float64(6.0)
    """
    d = _depth(cutter, depth)
    most = cutter.true_diameter
    if cutter.shape == "V":
        return np.minimum(cutter.tip_diameter + 2 * d * math.tan(_half_angle(cutter)), most)[()]
    if cutter.shape not in _ROUNDED:
        return np.full_like(d, most)[()]
    r, a = _ball_radius(cutter), _half_angle(cutter)
    height = r * (1 - math.sin(a))
    low = np.minimum(d, height)
    out = 2 * np.sqrt(low * (2 * r - low)) + 2 * np.maximum(d - height, 0) * math.tan(a)
    return np.minimum(out, most)[()]


def groove_width(cutter: Cutter, depth: Numbers) -> Result:
    """Width at the surface of the groove one pass leaves.

    Parameters
    ----------
    cutter : Cutter
        Any shape.
    depth : float or (n,) float
        [mm].

    Returns
    -------
    float or (n,) float
        [mm]. Geometry: the effective diameter at that depth.

    Example
    -------
    >>> ball = Cutter("B6", "", "ball", 6, 6, 2, 20, 60, 30)
    >>> round(groove_width(ball, 0.5), 5)
    np.float64(3.31662)
    """
    return effective_diameter(cutter, depth)


def edge_height(cutter: Cutter, radius: Numbers) -> Result:
    """Height of the cutting edge above the tip at a distance from the axis; inf outside the cutter.

    Parameters
    ----------
    cutter : Cutter
        Any shape; a drill's point is not taken off.
    radius : float or (n,) float
        Distance from the axis [mm].

    Returns
    -------
    float or (n,) float
        The lowest height at which the cutter is that wide [mm]. Geometry; the inverse of ``effective_diameter``.

    Example
    -------
    >>> ball = Cutter("B6", "", "ball", 6, 6, 2, 20, 60, 30)
    >>> edge_height(ball, np.array([0.0, 3.0, 3.1]))
    array([ 0.,  3., inf])
    """
    rho = np.abs(np.asarray(radius, dtype=float))
    a = _half_angle(cutter)
    if cutter.shape == "V":
        out = np.maximum(rho - cutter.tip_diameter / 2, 0) / math.tan(a)
    elif cutter.shape in _ROUNDED:
        r = _ball_radius(cutter)
        ball = np.minimum(rho, r * math.cos(a))
        out = r - np.sqrt(np.maximum(r * r - ball * ball, 0))
        if a > 0:
            out = out + (rho - ball) / math.tan(a)
    else:
        out = np.zeros_like(rho)
    return np.where(rho <= cutter.true_diameter / 2 + _SLACK, out, np.inf)[()]


def edge_share(cutter: Cutter, depth: Numbers) -> Result:
    """Thinning by the edge's slope, at its thickest: chip square to the edge over chip measured sideways.

    Parameters
    ----------
    cutter : Cutter
        Any shape.
    depth : float or (n,) float
        [mm].

    Returns
    -------
    float or (n,) float
        Sine of the angle between edge and the plane of rotation at the top of the cut: 1 on a cylinder, cos(a/2) on a
        V, (effective diameter / D) on a ball [-]. Geometry.

    Example
    -------
    >>> v = Cutter("V60", "", "V", 12.7, 6, 2, 10, 60, 30, included_angle=np.radians(60))
    >>> round(edge_share(v, 3), 4)
    np.float64(0.866)
    """
    d, a = _depth(cutter, depth), _half_angle(cutter)
    if cutter.shape in _ROUNDED:
        r = _ball_radius(cutter)
        low = np.minimum(d, r * (1 - math.sin(a)))
        return (np.sqrt(low * (2 * r - low)) / r)[()]
    return np.full_like(d, math.cos(a))[()]


def mean_edge_share(cutter: Cutter, depth: Numbers) -> Result:
    """Thinning by the edge's slope, averaged along the edge that cuts.

    Parameters
    ----------
    cutter : Cutter
        Any shape; the flat of a V's tip is left out, as are the end teeth of square cutters.
    depth : float or (n,) float
        Above zero [mm].

    Returns
    -------
    float or (n,) float
        Depth over length of edge [-]. Geometry: chip area is feed x depth, so this times the sideways chip is the
        chip area over the length of edge that cuts it.

    Example
    -------
    >>> ball = Cutter("B6", "", "ball", 6, 6, 2, 20, 60, 30)
    >>> round(mean_edge_share(ball, 3), 5)  # a quarter circle: 2 / pi
    np.float64(0.63662)
    """
    require_positive(depth=depth)
    d, a = _depth(cutter, depth), _half_angle(cutter)
    if cutter.shape in _ROUNDED:
        r = _ball_radius(cutter)
        height = r * (1 - math.sin(a))
        low = np.minimum(d, height)
        edge = r * np.arccos(np.clip(1 - low / r, -1, 1)) + np.maximum(d - height, 0) / math.cos(a)
        return (d / edge)[()]
    return np.full_like(d, math.cos(a))[()]


def _slope_fits(cutter: Cutter, slope: Numbers) -> Floats:
    theta = np.asarray(slope, dtype=float)
    steepest = math.pi / 2 - _half_angle(cutter)
    if not ((theta >= 0) & (theta < steepest)).all():
        refuse(
            f"slope {math.degrees(float(np.max(theta))):.4g} deg is not between 0 and the {math.degrees(steepest):.4g} "
            f"deg of the flank of {cutter.id}",
            "give the slope along the sideways step, and turn the part where it is steeper than the cutter's flank",
        )
    return theta


def cusp(cutter: Cutter, stepover: Numbers, slope: Numbers = 0.0) -> Result:
    """Height of the ridge left between two neighbouring lines, square to the surface.

    Parameters
    ----------
    cutter : Cutter
        Any shape but a drill.
    stepover : float or (n,) float
        Sideways step, measured level [mm].
    slope : float or (n,) float
        Slope of the surface along the sideways step only; a slope along the feed changes nothing [rad].

    Returns
    -------
    float or (n,) float
        [mm].

    Raises
    ------
    InputError
        When the lines are so far apart that the round of the tip no longer meets, or the slope is beyond the flank.

    Notes
    -----
    Geometry. *Rounded tips*, with s' = s / cos(slope): r - sqrt(r^2 - s'^2/4). *Flat tips* (a square end leaves
    nothing on a level floor and s sin(slope) on a slope) and *V tips* of half angle a and flat f, t = tan(slope):
    the neighbouring flanks meet at the greater of s t tan a and (s t tan a + s - f)/2 beyond the point of contact.

    Example
    -------
    >>> ball = Cutter("B6", "", "ball", 6, 6, 2, 20, 60, 30)
    >>> round(cusp(ball, 0.5), 7), round(cusp(ball, 0.5, np.radians(45)), 7)
    (np.float64(0.0104348), np.float64(0.0209062))
    """
    require_positive(stepover=stepover)
    theta = _slope_fits(cutter, slope)
    s = np.asarray(stepover, dtype=float)
    if cutter.shape in _ROUNDED:
        r = _ball_radius(cutter)
        far = s / np.cos(theta)
        most = 2 * r * np.sin(math.pi / 2 - _half_angle(cutter) - theta)
        remedy = "step less, or take a cutter with a rounder tip"
        require_at_most("stepover along the surface", far, "the chord of the cutter's round", most, remedy)
        return (r - np.sqrt(np.maximum(r * r - far * far / 4, 0)))[()]
    require_at_most("stepover", s, "the cutter's diameter", cutter.true_diameter, "step less")
    rise, spread = _flat_tip_cusp(cutter, theta)
    return np.maximum(rise * s, np.where(spread > 0, spread * (s - cutter.tip_diameter) + rise * s / 2, 0.0))[()]


def _flat_tip_cusp(cutter: Cutter, theta: Floats) -> tuple[Floats, Floats]:
    """Cusp of a flat or V tip per mm of step: where a flank meets the next flat, and what the flanks add."""
    flank, t = math.tan(_half_angle(cutter)), np.tan(theta)
    rise = np.cos(theta) * t * (1 - t * flank)
    if cutter.shape != "V":
        return rise, np.zeros_like(rise)
    return rise, np.cos(theta) * (1 / flank - t) / 2


def stepover_for_cusp(cutter: Cutter, cusp: Numbers, slope: Numbers = 0.0) -> Result:
    """Level sideways step that leaves a cusp; the exact inverse of ``cusp``.

    Parameters
    ----------
    cutter : Cutter
        Any shape but a drill.
    cusp : float or (n,) float
        Wanted height of the ridge [mm].
    slope : float or (n,) float
        Along the sideways step [rad].

    Returns
    -------
    float or (n,) float
        [mm]; the diameter at most, for a flat tip on a level floor. Geometry: rounded tips
        2 sqrt(h (2 r - h)) cos(slope).

    Raises
    ------
    InputError
        When no step of the round tip leaves so high a cusp, or the slope is beyond the flank.

    Example
    -------
    >>> ball = Cutter("B6", "", "ball", 6, 6, 2, 20, 60, 30)
    >>> round(stepover_for_cusp(ball, 0.005), 6)
    np.float64(0.346266)
    """
    require_positive(cusp=cusp)
    theta = _slope_fits(cutter, slope)
    h = np.asarray(cusp, dtype=float)
    if cutter.shape in _ROUNDED:
        r = _ball_radius(cutter)
        most = r * (1 - np.cos(math.pi / 2 - _half_angle(cutter) - theta))
        require_at_most("cusp", h, "what the round of the tip can leave there", most, "ask for a lower cusp")
        return (2 * np.sqrt(h * (2 * r - h)) * np.cos(theta))[()]
    rise, spread = _flat_tip_cusp(cutter, theta)
    with np.errstate(divide="ignore"):
        by_rise = np.where(rise > 0, h / np.where(rise > 0, rise, 1), np.inf)
        per_step = spread + rise / 2
        by_flank = np.where(spread > 0, (h + spread * cutter.tip_diameter) / np.where(spread > 0, per_step, 1), np.inf)
    return np.minimum(np.minimum(by_rise, by_flank), cutter.true_diameter)[()]


def pass_count(total: float, most: float) -> int:
    """How many equal passes keep each at or below a bound.

    Parameters
    ----------
    total, most : float
        Depth or width to remove, and the most per pass [mm].

    Returns
    -------
    int
        At least 1. Definition: the ratio rounded up, rounding noise forgiven.

    Example
    -------
    >>> pass_count(19.0, 9.5), pass_count(19.1, 9.5)
    (2, 3)
    """
    require_positive(total=total, most_per_pass=most)
    return max(1, math.ceil(total / most - 1e-9))


def pass_depths(
    total: float, most: float, *, first: float | None = None, last: float | None = None
) -> tuple[float, ...]:
    """Depths of the single levels: a given first one, equal ones between, a light last one.

    Parameters
    ----------
    total : float
        [mm].
    most : float
        The most per level [mm].
    first, last : float, optional
        Depth of the first and the last level where they differ; the last is dropped when it is not less than what
        remains [mm].

    Returns
    -------
    tuple of float
        From the top down; they sum to ``total`` [mm].

    Raises
    ------
    InputError
        When a value is not above zero, or the first or last level is above ``most``.

    Example
    -------
    >>> pass_depths(19, 6, last=1)
    (6.0, 6.0, 6.0, 1.0)
    """
    require_positive(total=total, most_per_pass=most)
    for name, value in (("first level", first), ("last level", last)):
        if value is not None:
            require_positive(**{name.replace(" ", "_"): value})
            require_at_most(name, value, "the most per level", most, "make it lighter")
    begin = [] if first is None else [min(first, total)]
    rest = total - sum(begin)
    end = [] if last is None or last >= rest - _SLACK else [last]
    rest -= sum(end)
    if rest > _SLACK:
        n = pass_count(rest, most)
        middle = [rest / n] * n
    else:
        middle = []
    out = [float(d) for d in begin + middle + end]
    out[-1] = total - math.fsum(out[:-1])
    return tuple(out)


def pass_levels(depths: tuple[float, ...]) -> tuple[float, ...]:
    """Depth below the surface after each level.

    Parameters
    ----------
    depths : tuple of float
        As ``pass_depths`` gives them [mm].

    Returns
    -------
    tuple of float
        Ascending; the last one is the whole depth [mm]. Definition.

    Example
    -------
    >>> pass_levels((6.0, 6.0, 6.0, 1.0))
    (6.0, 12.0, 18.0, 19.0)
    """
    return tuple(math.fsum(depths[: i + 1]) for i in range(len(depths)))
