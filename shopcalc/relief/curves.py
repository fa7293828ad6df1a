"""Curves of a drawing, exact under every affine map and flattened only at their final size; the areas they bound."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
from numpy.typing import ArrayLike
from shapely.geometry import Polygon

from shopcalc.moves import Floats

Rule = Literal["nonzero", "evenodd"]


@dataclass(frozen=True, eq=False)
class Affine:
    """A map of the plane: p becomes ``matrix`` p + ``shift``.

    Parameters
    ----------
    matrix : (2, 2) float
        Turning, scaling and shearing.
    shift : (2,) float
        Moving.
    """

    matrix: Floats
    shift: Floats

    @classmethod
    def of(cls, a: float, b: float, c: float, d: float, e: float, f: float) -> Affine:
        """From the six numbers in the order of the SVG recommendation."""
        return cls(np.array([[a, c], [b, d]], dtype=float), np.array([e, f], dtype=float))

    def after(self, first: Affine) -> Affine:
        """The map that does ``first``, then this one."""
        return Affine(self.matrix @ first.matrix, self.matrix @ first.shift + self.shift)

    def __call__(self, points: ArrayLike) -> Floats:  # noqa: D102
        return np.asarray(np.asarray(points, dtype=float) @ self.matrix.T + self.shift)


UNMOVED = Affine.of(1, 0, 0, 1, 0, 0)


@dataclass(frozen=True, eq=False)
class Bezier:
    """A line (two points), or a quadratic (three) or cubic (four) curve.

    Parameters
    ----------
    points : (k, 2) float
        Start, control points, end.
    """

    points: Floats

    def moved(self, by: Affine) -> Bezier:
        """The curve after a map."""
        return Bezier(by(self.points))

    def flat(self, tolerance: float) -> Floats:
        """(n, 2) float: points on the curve; chords within the tolerance by the second differences (geometry)."""
        order = len(self.points) - 1
        if order == 1:
            return self.points
        bend = float(np.linalg.norm(np.diff(self.points, n=2, axis=0), axis=1).max())
        pieces = max(1, math.ceil(math.sqrt(order * (order - 1) * bend / (8 * tolerance))))
        t = np.linspace(0, 1, pieces + 1)[:, None]
        out = np.zeros((pieces + 1, 2))
        for k, point in enumerate(self.points):
            out += math.comb(order, k) * t**k * (1 - t) ** (order - k) * point
        out[0], out[-1] = self.points[0], self.points[-1]
        return out


@dataclass(frozen=True, eq=False)
class EllipseArc:
    """Centre + u cos t + v sin t, for t from start to end.

    Parameters
    ----------
    centre, u, v : (2,) float
        Centre and two conjugate half axes.
    start, end : float
        Parameter at both ends [rad].
    """

    centre: Floats
    u: Floats
    v: Floats
    start: float
    end: float

    def moved(self, by: Affine) -> EllipseArc:
        """The arc after a map."""
        return EllipseArc(by(self.centre), by.matrix @ self.u, by.matrix @ self.v, self.start, self.end)

    def flat(self, tolerance: float) -> Floats:
        """(n, 2) float: points on the arc whose chords stay within the tolerance; geometry (sagitta)."""
        radius = float(np.linalg.norm(np.array([self.u, self.v]), ord=2))  # the longer half axis
        step = 2 * math.acos(max(0.0, 1 - min(1.0, tolerance / max(radius, 1e-300))))
        sweep = abs(self.end - self.start)
        pieces = 4 * max(1, math.ceil(sweep / 4 / max(min(step, math.pi / 4), 1e-6)))  # quarters of a full turn stay
        t = np.linspace(self.start, self.end, pieces + 1)[:, None]
        return np.asarray(self.centre + self.u * np.cos(t) + self.v * np.sin(t))

    def extremes(self) -> Floats:
        """(n, 2) float: both ends, and where x or y is greatest or least."""
        at = [self.start, self.end]
        for axis in (0, 1):
            top = math.atan2(self.v[axis], self.u[axis])
            low, high = sorted((self.start, self.end))
            first, last = math.ceil((low - top) / math.pi), math.floor((high - top) / math.pi)
            at += [top + k * math.pi for k in range(first, last + 1)]
        t = np.array(at)[:, None]
        return np.asarray(self.centre + self.u * np.cos(t) + self.v * np.sin(t))


Segment = Bezier | EllipseArc


@dataclass(frozen=True, eq=False)
class Stroke:
    """Segments one after the other.

    Parameters
    ----------
    segments : tuple of Segment
        Each starts where the one before ends.
    closed : bool
        Whether it returns to its start.
    """

    segments: tuple[Segment, ...]
    closed: bool

    def moved(self, by: Affine) -> Stroke:
        """The stroke after a map."""
        return Stroke(tuple(s.moved(by) for s in self.segments), self.closed)

    def flat(self, tolerance: float) -> Floats:
        """(n, 2) float: points along it; the first once more at the end where it is closed."""
        parts = [s.flat(tolerance)[0 if i == 0 else 1 :] for i, s in enumerate(self.segments)]
        points = np.concatenate(parts)
        if self.closed and not np.array_equal(points[0], points[-1]):
            near = float(np.abs(points[0] - points[-1]).max()) < 1e-9 * (1 + float(np.abs(points).max()))
            points = np.concatenate([points[:-1] if near and len(points) > 2 else points, points[:1]])
        keep = np.concatenate(([True], (np.diff(points, axis=0) != 0).any(axis=1)))
        return np.asarray(points[keep])


@dataclass(frozen=True, eq=False)
class Shape:
    """One element of a drawing.

    Parameters
    ----------
    name : str
        What the drawing calls it.
    strokes : tuple of Stroke
        Its lines.
    rule : "nonzero", "evenodd" or None
        How it is filled; None for lines alone.
    """

    name: str
    strokes: tuple[Stroke, ...]
    rule: Rule | None


def areas(rings: Sequence[Floats], rule: Rule) -> list[Polygon]:
    """Polygons with holes that closed lines bound, however they cross each other and themselves.

    Parameters
    ----------
    rings : sequence of (n, 2) float
        Closed lines, first and last point alike [mm].
    rule : "nonzero" or "evenodd"
        Which places belong: those wound about, or those wound about an odd number of times.

    Notes
    -----
    Source: W3C, Scalable Vector Graphics (SVG) 2, property fill-rule (from memory of its text); definition.

    Example
    -------
    >>> outer = np.array([[0, 0], [4, 0], [4, 4], [0, 4], [0, 0]], float)
    >>> inner = outer / 2 + 1
    >>> [p.area for p in areas([outer, inner], "evenodd")], [p.area for p in areas([outer, inner], "nonzero")]
    ([12.0], [16.0])
    """
    rings = [r for r in rings if len(r) >= 4]
    if not rings:
        return []
    if len(rings) == 1:
        alone = Polygon(rings[0])
        if alone.is_valid:
            return [alone] if alone.area > 0 else []
    lines = shapely.union_all([shapely.LineString(r) for r in rings])
    faces = [f for f in shapely.get_parts(shapely.polygonize(shapely.get_parts(lines))) if f.area > 0]
    if not faces:
        return []
    inside = shapely.get_coordinates([f.representative_point() for f in faces])
    turns = np.zeros(len(inside), dtype=np.int64)
    for ring in rings:
        turns += _winding(ring, inside)
    kept = [f for f, n in zip(faces, turns, strict=True) if (n % 2 if rule == "evenodd" else n)]
    merged = shapely.union_all(kept)
    return [p for p in shapely.get_parts(merged) if isinstance(p, Polygon) and p.area > 0]


def _winding(ring: Floats, points: Floats) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """How often a closed line winds about each point (crossings of the ray to +x, signed)."""
    out = np.zeros(len(points), dtype=np.int64)
    ax, ay, bx, by = ring[:-1, 0], ring[:-1, 1], ring[1:, 0], ring[1:, 1]
    for first in range(0, len(points), max(1, 2_000_000 // len(ring))):
        part = slice(first, first + max(1, 2_000_000 // len(ring)))
        x, y = points[part, :1], points[part, 1:]
        left = (bx - ax) * (y - ay) - (x - ax) * (by - ay)
        rising = (ay <= y) & (by > y) & (left > 0)
        falling = (ay > y) & (by <= y) & (left < 0)
        out[part] = rising.sum(axis=1) - falling.sum(axis=1)
    return out
