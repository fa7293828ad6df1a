"""Geometry of arcs, for one or for many at once (geometry)."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from shopcalc.moves import PLANE_AXES, Floats

_SAME_POINT = 1e-9  # mm
_SAME_ANGLE = 1e-12  # rad


def sweep_about(start: Floats, end: Floats, centre: Floats, plane: int, clockwise: NDArray[np.bool_]) -> Floats:
    """Signed sweep from start to end about a centre; a whole turn where both lie in one direction from it.

    Parameters
    ----------
    start, end, centre : (m, 3) float
        Points [mm].
    plane : int
        0 = XY, 1 = ZX, 2 = YZ.
    clockwise : (m,) bool
        As seen from the plane's positive normal.

    Returns
    -------
    (m,) float
        Positive counter-clockwise, never 0 [rad].

    Example
    -------
    >>> at, centre = np.array([[10.0, 0, 0]]), np.zeros((1, 3))
    >>> sweep_about(at, np.array([[0, 10.0, 0]]), centre, 0, np.array([False])).round(4).tolist()
    [1.5708]
    """
    p, q, _ = PLANE_AXES[plane]
    begin = np.arctan2(start[:, q] - centre[:, q], start[:, p] - centre[:, p])
    finish = np.arctan2(end[:, q] - centre[:, q], end[:, p] - centre[:, p])
    ahead = np.mod(np.where(clockwise, begin - finish, finish - begin), 2.0 * np.pi)
    whole = (np.abs(end[:, p] - start[:, p]) < _SAME_POINT) & (np.abs(end[:, q] - start[:, q]) < _SAME_POINT)
    ahead[whole | (ahead < _SAME_ANGLE)] = 2.0 * np.pi
    out: Floats = np.where(clockwise, -ahead, ahead)
    return out


def centre_from_radius(
    start: Floats, end: Floats, radius: Floats, plane: int, clockwise: NDArray[np.bool_]
) -> tuple[Floats, Floats]:
    """Centres of arcs given by their radius; a negative radius means the long way round.

    Parameters
    ----------
    start, end : (m, 3) float
        Points; the centre gets its axial coordinate from the start [mm].
    radius : (m,) float
        [mm].
    plane : int
        0 = XY, 1 = ZX, 2 = YZ.
    clockwise : (m,) bool
        As seen from the plane's positive normal.

    Returns
    -------
    centre : (m, 3) float
        Midway between the points where the radius is too small for them [mm].
    chord : (m,) float
        Distance of the points in the plane [mm].
    """
    p, q, _ = PLANE_AXES[plane]
    across, up = end[:, p] - start[:, p], end[:, q] - start[:, q]
    chord = np.hypot(across, up)
    half = chord / 2.0
    rise = np.sqrt(np.maximum((np.abs(radius) - half) * (np.abs(radius) + half), 0.0))
    left = np.where(clockwise == (radius > 0), -1.0, 1.0)  # on which side of the way the centre lies
    share = left * rise / np.where(chord > 0, chord, 1.0)
    centre = start.copy()
    centre[:, p] += across / 2.0 - share * up
    centre[:, q] += up / 2.0 + share * across
    return centre, chord
