"""A block of wood as a height map that moves are cut into: the oracle for paths, written from the moves alone."""

from __future__ import annotations

import math

import numpy as np

from shopcalc.cutters import Cutter
from shopcalc.moves import Kind, Moves

PACE = 0.4  # mm between positions that are looked at along a move


def edge(cutter: Cutter, radius: np.ndarray) -> np.ndarray:
    """Height of the cutter's edge above its tip; only the shapes these tests use."""
    if cutter.shape in ("ball", "core-box"):
        r = cutter.diameter / 2
        return r - np.sqrt(np.maximum(r * r - radius**2, 0))
    if cutter.shape == "V":
        return np.maximum(radius - cutter.tip_diameter / 2, 0) / math.tan(cutter.included_angle / 2)
    return np.zeros_like(radius)


def positions(moves: Moves, i: int, pace: float = PACE) -> np.ndarray:
    """Points along move i, arcs and helices from their centre and sweep."""
    a, b = moves.points[i], moves.points[i + 1]
    arcs = {int(k): n for n, k in enumerate(moves.arc_index)}
    if i not in arcs:
        n = max(1, math.ceil(np.linalg.norm(b - a) / pace))
        return a + (b - a) * np.linspace(0, 1, n + 1)[:, None]
    k = arcs[i]
    centre, sweep = moves.arc_centre[k], float(moves.arc_sweep[k])
    start = a - centre
    radius = math.hypot(start[0], start[1])
    n = max(2, math.ceil(radius * abs(sweep) / pace))
    angle = math.atan2(start[1], start[0]) + sweep * np.linspace(0, 1, n + 1)
    z = np.linspace(a[2], b[2], n + 1)
    out = np.stack([centre[0] + radius * np.cos(angle), centre[1] + radius * np.sin(angle), z], axis=1)
    assert np.linalg.norm(out[-1] - b) < 1e-6, "an arc does not end where the next move starts"
    return out


class Workpiece:
    """Heights over a rectangle; the surface is 0, beside the wood there is nothing."""

    def __init__(self, x: tuple[float, float], y: tuple[float, float], resolution: float, wood=None) -> None:
        self.x = np.arange(x[0], x[1] + 1e-9, resolution)
        self.y = np.arange(y[0], y[1] + 1e-9, resolution)
        self.X, self.Y = np.meshgrid(self.x, self.y, indexing="ij")
        self.height = np.zeros_like(self.X)
        if wood is not None:
            self.height[~wood(self.X, self.Y)] = -np.inf
        self.resolution = resolution
        self.rapid_in_wood = 0.0  # mm, deepest a rapid went below the wood
        self.plunged_in_wood = 0.0  # mm, deepest a straight move down went into wood
        self.engaged = 0.0  # mm, most wood that any move at feed took off at once along the axis

    def cut(self, moves: Moves, cutter: Cutter) -> Workpiece:
        """Cut the moves in order, and note where a rapid touches wood."""
        r = cutter.true_diameter / 2
        reach = int(r / self.resolution) + 2
        for i in np.flatnonzero(moves.kind <= Kind.ARC):
            rapid = moves.kind[i] == Kind.RAPID
            a, b = moves.points[i], moves.points[i + 1]
            if min(a[2], b[2]) >= 1e-9:
                continue
            straight_down = math.dist(a[:2], b[:2]) < 1e-9 and b[2] < a[2] and int(i) not in moves.arc_index
            for p in [b] if straight_down else positions(moves, int(i)):
                cx = round((p[0] - self.x[0]) / self.resolution)
                cy = round((p[1] - self.y[0]) / self.resolution)
                sx = slice(max(0, cx - reach), max(0, cx + reach + 1))
                sy = slice(max(0, cy - reach), max(0, cy + reach + 1))
                rho = np.hypot(self.X[sx, sy] - p[0], self.Y[sx, sy] - p[1])
                if not rho.size:
                    continue
                floor = np.where(rho <= r + 1e-9, p[2] + edge(cutter, rho), np.inf)
                over = float(np.max(self.height[sx, sy] - floor, initial=0.0))
                if rapid:
                    self.rapid_in_wood = max(self.rapid_in_wood, over)
                else:  # at the very rim, scallops between the positions that are looked at would count as wood
                    within = np.where(rho <= r - 0.02, self.height[sx, sy] - floor, 0.0)
                    self.engaged = max(self.engaged, float(within.max()))
                if straight_down and not rapid:
                    self.plunged_in_wood = max(self.plunged_in_wood, over)
                self.height[sx, sy] = np.minimum(self.height[sx, sy], floor)
        return self


def swept(moves: Moves, radius: float, z: float):
    """Area the cutter passes over at feed with its tip at a height, as a shapely geometry."""
    import shapely

    level = [
        positions(moves, int(i), 0.1)[:, :2]
        for i in np.flatnonzero(moves.cutting)
        if abs(moves.points[i, 2] - z) < 1e-9 and abs(moves.points[i + 1, 2] - z) < 1e-9
    ]
    return shapely.union_all([shapely.LineString(line).buffer(radius, quad_segs=64) for line in level])
