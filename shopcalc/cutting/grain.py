"""Grain: which of the three classic ways of cutting an edge works in, at every angle of a turn and for every lie.

Seen from above the spindle turns clockwise. Feed runs along +x, y points to its left, z up the spindle. The rotation
angle is 0 where a flute points left and moves with the feed, a right angle where it points ahead and takes the
thickest chip, pi where it points right and moves against the feed: the chip is feed per tooth times its sine. Wood
that stays on the left is cut conventionally (arc 0 to the angle of engagement), wood on the right by climbing (pi less
that angle to pi).
"""

from __future__ import annotations

import math
from typing import Literal, TypeAlias

import numpy as np

from shopcalc.cutting.engagement import Numbers, engagement_angle, refuse
from shopcalc.machines import StationName
from shopcalc.moves import Floats

Direction = Literal["climb", "conventional"]
Station: TypeAlias = StationName
Lie: TypeAlias = Literal["with", "against", "neither"]
Vector: TypeAlias = tuple[float, float, float]

#: First angle between edge and grain, second between motion and grain (McKenzie's notation): planing along the grain,
#: peeling across it, cutting across the fibre ends.
MODES: tuple[str, str, str] = ("90-0", "0-90", "90-90")
_SQUARE = 1e-9  # a sine below this is rounding


def grain_vector(station: Station, angle: float = 0.0, dip: float = 0.0) -> Vector:
    """Where the fibres point, with the feed along x.

    Parameters
    ----------
    station : {"flat", "edge", "end"}
        On end the spindle runs with the grain; on the table and on edge the grain lies level.
    angle : float
        From the feed to the grain, counter-clockwise seen from above [rad]; on end it turns what ``dip`` leaves level.
    dip : float
        How far the fibres run out of that lie: out of level flat and on edge, off the spindle on end [rad].

    Returns
    -------
    (3,) float
        Unit vector [-]. Geometry.

    Example
    -------
    >>> grain_vector("flat"), grain_vector("end")
    ((1.0, 0.0, 0.0), (0.0, 0.0, 1.0))
    """
    if station not in ("flat", "edge", "end"):
        refuse(f"station '{station}' is not known", "give flat, edge or end")
    if not (math.isfinite(angle) and math.isfinite(dip)):
        refuse(f"grain at {angle} rad with a dip of {dip} rad is not finite", "give finite angles")
    level, up = (math.sin(dip), math.cos(dip)) if station == "end" else (math.cos(dip), math.sin(dip))
    return (math.cos(angle) * level, math.sin(angle) * level, up)


def shares(grain: Vector, motion: Floats, edge: Floats) -> Floats:
    """Share of each mode for an edge, from the three right-angled directions it defines.

    Parameters
    ----------
    grain : (3,) float
        Unit vector along the fibres [-].
    motion, edge : (..., 3) float
        Where the edge moves and along which line it lies; of the motion only what is square to the edge cuts [-].

    Returns
    -------
    (..., 3) float
        In the order of ``MODES``, adding up to one [-]. Geometry: the squared cosines of the grain with the cutting
        motion, the edge and the normal of the cut surface. That they blend the three modes' forces is an assumption.

    Example
    -------
    >>> shares((0, 0, 1), np.array([1.0, 0, 0]), np.array([0, 0, 1.0])).tolist()
    [0.0, 1.0, 0.0]
    """
    g = np.asarray(grain, dtype=float)
    along = np.sum(motion * edge, axis=-1, keepdims=True)
    square = motion - along * edge
    square = square / np.linalg.norm(square, axis=-1, keepdims=True)
    normal = np.cross(square, edge)
    return np.stack([(square @ g) ** 2, (edge @ g) ** 2, (normal @ g) ** 2], axis=-1)


def _directions(angle: Numbers) -> tuple[Floats, Floats]:
    """Outward radius and motion of a flute at its rotation angle."""
    a = np.asarray(angle, dtype=float)
    zero = np.zeros_like(a)
    return np.stack([np.sin(a), np.cos(a), zero], axis=-1), np.stack([np.cos(a), -np.sin(a), zero], axis=-1)


def flute_modes(grain: Vector, angle: Numbers, helix: float = 0.0, slope: Numbers = math.pi / 2) -> Floats:
    """Mode shares of a flute at its rotation angle.

    Parameters
    ----------
    grain : (3,) float
        From ``grain_vector`` [-].
    angle : float or (n,) float
        Rotation angle [rad].
    helix : float
        Negative where the edge trails as it rises (up-cut), positive where it leads (down-cut); level grain and
        straight sides give the same either way [rad].
    slope : float or (n,) float
        Of the edge against the plane of rotation: a right angle for straight sides, less on balls, V and tapers [rad].

    Returns
    -------
    (3,) or (n, 3) float
        In the order of ``MODES`` [-].

    Example
    -------
    On end a straight flute peels at every angle; a helix of 30 degrees moves a quarter of that to 90-0.

    >>> np.round(flute_modes((0, 0, 1), 0.7, math.radians(30)), 4).tolist()
    [0.25, 0.75, 0.0]
    """
    radius, motion = _directions(angle)
    tilt = np.asarray(slope, dtype=float)[..., None]
    edge = np.cos(tilt) * radius + np.sin(tilt) * np.array([0.0, 0.0, 1.0])
    return shares(grain, motion, math.cos(helix) * edge + math.sin(helix) * motion)


def end_modes(grain: Vector, angle: Numbers) -> Floats:
    """Mode shares of the end teeth at their rotation angle; the floor they leave is level.

    Parameters
    ----------
    grain : (3,) float
        From ``grain_vector`` [-].
    angle : float or (n,) float
        Rotation angle [rad].

    Returns
    -------
    (3,) or (n, 3) float
        In the order of ``MODES`` [-]. On end all of it is 90-90; flat and on edge none ever is. Plunges and ramps
        cut with these teeth.

    Example
    -------
    >>> np.round(end_modes((0, 0, 1), 0.7), 6).tolist()
    [0.0, 0.0, 1.0]
    """
    radius, motion = _directions(angle)
    return shares(grain, motion, radius)


def arc(width: Numbers, diameter: Numbers, direction: Direction) -> tuple[Floats, Floats]:
    """Rotation angles at which a flute enters and leaves the wood.

    Parameters
    ----------
    width, diameter : float or (n,) float
        Width of cut and diameter [mm].
    direction : {"climb", "conventional"}
        Wood that stays on the right, or on the left, of the feed.

    Returns
    -------
    entry, leave : float or (n,) float
        [rad]. Geometry.

    Example
    -------
    >>> [round(float(a), 4) for a in arc(6, 12, "climb")]
    [1.5708, 3.1416]
    """
    engaged = np.asarray(engagement_angle(width, diameter), dtype=float)
    if direction == "conventional":
        return np.zeros_like(engaged), engaged
    if direction != "climb":
        refuse(f"direction '{direction}' is not known", "give climb or conventional")
    return math.pi - engaged, np.full_like(engaged, math.pi)


def mean_flute_modes(
    grain: Vector, width: Numbers, diameter: Numbers, direction: Direction, helix: float = 0.0
) -> Floats:
    """Mode shares over the arc of engagement, weighed by the chip: in which mode the wood is really removed.

    Parameters
    ----------
    grain : (3,) float
        From ``grain_vector`` [-].
    width, diameter : float or (n,) float
        Width of cut and diameter [mm].
    direction : {"climb", "conventional"}
        See ``arc``.
    helix : float
        [rad].

    Returns
    -------
    (3,) or (n, 3) float
        In the order of ``MODES`` [-]. Geometry, to rounding (Gauss-Legendre with 24 nodes).

    Example
    -------
    A slot along the grain is cut for two thirds across the fibre ends:

    >>> np.round(mean_flute_modes((1, 0, 0), 12, 12, "climb"), 4).tolist()
    [0.3333, 0.0, 0.6667]
    """
    entry, leave = arc(width, diameter, direction)
    nodes, weights = np.polynomial.legendre.leggauss(24)
    angle = (entry + leave)[..., None] / 2 + (leave - entry)[..., None] / 2 * nodes
    chip = weights * np.sin(angle)
    modes = flute_modes(grain, angle, helix)
    out: Floats = np.sum(chip[..., None] * modes, axis=-2) / np.sum(chip, axis=-1)[..., None]
    return out


def lie_at_wall(grain: Vector, direction: Direction) -> Lie:
    """Whether the flute cuts with or against the grain where it touches the wall that stays.

    Parameters
    ----------
    grain : (3,) float
        From ``grain_vector`` [-].
    direction : {"climb", "conventional"}
        See ``arc``.

    Returns
    -------
    {"with", "against", "neither"}
        With the grain the fibres rise out of the wall ahead of the edge and are cut off clean; against it they dive
        into the wall and split ahead of the edge. "neither" where they run along the wall or square to it. Geometry.

    Example
    -------
    >>> rising = grain_vector("flat", math.radians(20))
    >>> lie_at_wall(rising, "climb"), lie_at_wall(rising, "conventional")
    ('against', 'against')
    """
    angle = 0.0 if direction == "conventional" else math.pi
    radius, motion = _directions(angle)
    g = np.asarray(grain, dtype=float)
    product = float(motion @ g) * float(-radius @ g)
    if abs(product) < _SQUARE:
        return "neither"
    return "with" if product > 0 else "against"
