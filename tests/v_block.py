"""A block of wood swept by a V cutter along straight moves: each place by the lowest flank over each whole move."""

from __future__ import annotations

import math

import numpy as np
import shapely

from shopcalc.moves import Kind


class Block:
    """Heights over a rectangle, 0 before anything is cut."""

    def __init__(self, bounds, pixel):
        x0, y0, x1, y1 = bounds
        self.x, self.y = np.arange(x0, x1 + pixel / 2, pixel), np.arange(y0, y1 + pixel / 2, pixel)
        self.X, self.Y = np.meshgrid(self.x, self.y)
        self.z = np.zeros_like(self.X)
        self.pixel = pixel
        self.fast_in_wood = 0.0  # mm, how deep a move straight down faster than the plunge feed went into wood
        self.rapid_in_wood = 0.0  # mm

    @classmethod
    def around(cls, area, pixel, margin=2.0):
        x0, y0, x1, y1 = area.bounds
        return cls((x0 - margin, y0 - margin, x1 + margin, y1 + margin), pixel)

    def cut(self, moves, cutter, plunge_feed=math.inf):
        slope, flat = math.tan(cutter.included_angle / 2), cutter.tip_diameter / 2
        most = cutter.true_diameter / 2
        for i in np.flatnonzero(moves.kind <= Kind.ARC):
            assert moves.kind[i] != Kind.ARC or not len(moves.arc_index), "straight moves only"
            a, b = moves.points[i], moves.points[i + 1]
            if min(a[2], b[2]) >= 0:
                continue
            reach = min(most, flat - min(a[2], b[2]) * slope) + self.pixel
            columns = slice(*np.searchsorted(self.x, (min(a[0], b[0]) - reach, max(a[0], b[0]) + reach)))
            rows = slice(*np.searchsorted(self.y, (min(a[1], b[1]) - reach, max(a[1], b[1]) + reach)))
            X, Y, z = self.X[rows, columns], self.Y[rows, columns], self.z[rows, columns]
            if not z.size:
                continue
            floor = _lowest(X, Y, a, b, slope, flat, most)
            gone = z - floor
            vertical = math.dist(a[:2], b[:2]) < 1e-9
            if moves.kind[i] == Kind.RAPID:
                self.rapid_in_wood = max(self.rapid_in_wood, float(gone.max()))
            elif vertical and moves.feed[i] > plunge_feed + 1e-9:
                self.fast_in_wood = max(self.fast_in_wood, float(gone.max()))
            self.z[rows, columns] = np.minimum(z, floor)
        return self

    @property
    def volume(self):
        return -float(self.z.sum()) * self.pixel**2

    def inside_by(self, area):
        """Distance to the edge of an area, negative outside."""
        far = shapely.distance(shapely.points(self.X, self.Y), area.boundary)
        return np.where(shapely.contains_xy(area, self.X, self.Y), far, -far)

    def at(self, x, y):
        return float(self.z[np.abs(self.y - y).argmin(), np.abs(self.x - x).argmin()])


def _lowest(x, y, a, b, slope, flat, most):
    """Lowest height of the flank over a straight move: convex along it, so that few places need be looked at."""
    run = math.dist(a[:2], b[:2])
    if run < 1e-12:
        low, rho = min(a[2], b[2]), np.hypot(x - a[0], y - a[1])
        return np.where(rho <= most, low + np.maximum(rho - flat, 0) / slope, np.inf)
    u, k = (b[:2] - a[:2]) / run, (b[2] - a[2]) / run
    foot = (x - a[0]) * u[0] + (y - a[1]) * u[1]
    off = np.abs((y - a[1]) * u[0] - (x - a[0]) * u[1])
    steep = k * slope
    lean = steep / math.sqrt(1 - steep**2) if abs(steep) < 1 else math.copysign(1e9, steep)
    edge, rim = np.sqrt(np.maximum(flat**2 - off**2, 0)), np.sqrt(np.maximum(most**2 - off**2, 0))
    out = np.full_like(x, np.inf)
    for t in (foot - lean * off, foot - edge, foot + edge, foot - rim, foot + rim, 0.0, run):
        t = np.clip(t, 0, run)
        rho = np.hypot(t - foot, off)
        out = np.minimum(out, np.where(rho <= most + 1e-9, a[2] + k * t + np.maximum(rho - flat, 0) / slope, np.inf))
    return out
