"""Lines in space followed by a cutter that is deep where they are: stretches, entries, and short ways between them."""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely import LineString
from shapely.geometry.base import BaseGeometry

from shopcalc.moves import Floats, Kind
from shopcalc.paths.runs import SAME, Point
from shopcalc.paths.tracing import Tracer

HOP = 1.0  # mm above the surface, for ways that stay within one letter
_MEETS = 0.02  # mm; a chain begins in another one when it is so near to it


def at_height(line: Floats, z: float) -> Floats:
    """A line of the plane at one height.

    Parameters
    ----------
    line : (n, 2) float
        [mm].
    z : float
        [mm].
    """
    return np.column_stack([line, np.full(len(line), z)])


def clipped(stretch: Floats, level: float) -> Floats:
    """Places (x, y, z) of a stretch, no deeper than a level.

    Parameters
    ----------
    stretch : (n, 3) float
        x, y and depth [mm].
    level : float
        Greatest depth [mm].
    """
    at = _with_crossings(stretch, level)
    return np.column_stack([at[:, :2], -np.minimum(at[:, 2], level)])


def _with_crossings(chain: Floats, depth: float) -> Floats:
    """The chain with places put in where it crosses a depth."""
    if not math.isfinite(depth) or len(chain) < 2:
        return chain
    a, b = chain[:-1, 2] - depth, chain[1:, 2] - depth
    where = np.flatnonzero(a * b < 0)
    share = (a[where] / (a[where] - b[where]))[:, None]
    fresh = chain[where] + share * (chain[where + 1] - chain[where])
    fresh[:, 2] = depth
    return np.insert(chain, where + 1, fresh, axis=0)


def stretches(chain: Floats, low: float, high: float) -> list[Floats]:
    """Parts of a chain between two depths; a closed chain that lies there as a whole stays closed.

    Parameters
    ----------
    chain : (n, 3) float
        x, y and depth; a single place is a plunge [mm].
    low, high : float
        Depths [mm].
    """
    if len(chain) == 1:
        return [chain] if low < chain[0, 2] <= high + 1e-9 else []
    at = _with_crossings(_with_crossings(chain, low), high)
    middle = (at[:-1, 2] + at[1:, 2]) / 2
    inside = (middle > low) & (middle < high + 1e-9)
    if inside.all():
        return [at]
    edges = np.flatnonzero(np.diff(np.concatenate([[False], inside, [False]]).astype(int)))
    out = [at[a : b + 1] for a, b in edges.reshape(-1, 2)]
    if len(out) > 1 and inside[0] and inside[-1] and math.dist(at[0, :2], at[-1, :2]) < SAME:
        out = [np.concatenate([out[-1], out[0][1:]]), *out[1:-1]]
    return out


class Pen:
    """Cuts pieces (x, y, z) of one letter at one level: short ways low, others at the safe height.

    Parameters
    ----------
    t : Tracer
        Draws.
    area : shapely geometry
        The letter; ways inside its convex hull stay low [mm].
    floor : float
        Height of the wood before this level [mm].
    """

    def __init__(self, t: Tracer, area: BaseGeometry, floor: float) -> None:
        self.t, self.floor = t, floor
        self.hull = area.convex_hull.buffer(1e-6)
        shapely.prepare(self.hull)
        self.done = np.zeros((0, 2, 3))  # stretches that are cut
        self.chains = 0

    def all(self, pieces: list[Floats]) -> None:
        """Every piece, the nearest next, none begun in full wood while another can be."""
        waiting = list(pieces)
        penalty = 3 * self.t.cutting.cutter.true_diameter
        while waiting:
            ends = [(n, k) for n, p in enumerate(waiting) for k in ((0,) if _closed(p) else (0, -1))]
            at = np.array([waiting[n][k] for n, k in ends])
            cost = np.hypot(*(at[:, :2] - self.t.here).T) + penalty * (self._wood(at) > _MEETS)
            n, k = ends[int(np.argmin(cost))]
            piece = waiting.pop(n)
            if _closed(piece):
                start = int(np.argmin(np.hypot(*(piece[:, :2] - self.t.here).T)))
                piece = np.concatenate([piece[start:], piece[1 : start + 1]])
            self._cut(piece if k == 0 else piece[::-1])

    def line(self, piece: Floats, free: BaseGeometry) -> None:
        """One line of a ground, reached without a lift where the way lies in the ground."""
        begin = piece[0]
        way = LineString([self.t.here, begin[:2]])
        near = 0 < way.length < self.t.cutting.cutter.true_diameter
        if near and abs(self.t.at[2] - begin[2]) < SAME and free.covers(way):
            draw(self.t, piece)
            return
        self._cut(piece)

    def _wood(self, at: Floats) -> Floats:
        """How deep the wood is over places still, as far as known."""
        wood: Floats = np.maximum(self.floor - at[:, 2], 0.0)
        if not len(self.done):
            return wood
        a, u = self.done[:, 0], self.done[:, 1] - self.done[:, 0]
        share = ((at[:, None] - a) * u).sum(axis=2) / np.maximum((u * u).sum(axis=1), 1e-12)
        near = a + np.clip(share, 0, 1)[:, :, None] * u
        gap = near - at[:, None]
        met = (np.hypot(gap[:, :, 0], gap[:, :, 1]) < _MEETS) & (gap[:, :, 2] < 2 * _MEETS)
        return np.where(met.any(axis=1), 0.0, wood)

    def _cut(self, piece: Floats) -> None:
        t = self.t
        begin = (float(piece[0, 0]), float(piece[0, 1]))
        wood = float(self._wood(piece[:1])[0])
        if math.dist(t.here, begin) > SAME or t.at[2] > piece[0, 2] + SAME or wood > _MEETS:
            self._over(begin)
            piece = self._enter(piece, wood)
            self.chains += 1
        draw(t, piece)
        if len(piece) > 1:
            self.done = np.concatenate([self.done, np.stack([piece[:-1], piece[1:]], axis=1)])

    def _over(self, begin: Point) -> None:
        """Above a place: low where the way stays over the letter."""
        t = self.t
        if math.dist(t.here, begin) < SAME and t.at[2] <= 0:
            return  # goes down from where it stands
        low = min(HOP, t.cutting.safe_height)
        if t.at[2] <= low and self.hull.covers(LineString([t.here, begin])):
            t.rapid_to(low)
            t.points.append((*begin, low))
            t.kinds.append(Kind.RAPID)
            t.feeds.append(math.nan)
        else:
            t.over(begin)
            t.rapid_to(low)

    def _enter(self, piece: Floats, wood: float) -> Floats:
        """Down to a piece's start; what is left of the piece, a closed one begun where the slope ended."""
        t, c = self.t, self.t.cutting
        z = float(piece[0, 2])
        if wood <= _MEETS:
            if t.at[2] > z:
                t.sink_in_air(z)
            return piece
        top = min(t.at[2], z + wood)
        if t.at[2] > top:
            t.sink_in_air(top)
        step = np.hypot(*np.diff(piece[:, :2], axis=0).T)
        length = float(step.sum())
        if c.entry == "plunge" or length < c.cutter.true_diameter:
            t.plunge(z)
            return piece
        if _closed(piece):
            laps = math.ceil(wood / math.tan(c.ramp) / length) + 1
            round_ = np.concatenate([piece[:1], *([piece[1:]] * laps)])
            down = top - math.tan(c.ramp) * np.concatenate([[0.0], np.cumsum(np.tile(step, laps))])
            reached = int(np.flatnonzero(down <= round_[:, 2] + SAME)[0])
            slope = np.column_stack([round_[:, :2], np.maximum(down, round_[:, 2])])
            draw(t, slope[: reached + 1])
            start = reached % (len(piece) - 1)
            return np.concatenate([piece[start:], piece[1 : start + 1]])
        reach = min(length, wood / math.tan(c.ramp) / 2)
        turns = math.ceil(wood / math.tan(c.ramp) / (2 * reach) - 1e-9)
        out = _first(piece, reach)
        there = np.concatenate([out, out[-2::-1]])
        zigzag = np.concatenate([there[:1], *([there[1:]] * turns)])
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(zigzag[:, :2], axis=0).T))])
        down = top - wood * along / along[-1]
        draw(t, np.column_stack([zigzag[:, :2], np.maximum(down, zigzag[:, 2])]))
        return piece


def _first(piece: Floats, length: float) -> Floats:
    """The beginning of a piece."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(piece[:, :2], axis=0).T))])
    n = int(np.searchsorted(along, length - 1e-9))
    if n >= len(piece) or n == 0:
        return piece
    share = (length - along[n - 1]) / (along[n] - along[n - 1])
    return np.concatenate([piece[:n], piece[n - 1 : n] + share * (piece[n : n + 1] - piece[n - 1 : n])])


def _closed(piece: Floats) -> bool:
    return len(piece) > 2 and bool(np.abs(piece[0] - piece[-1]).max() < SAME)


def draw(t: Tracer, piece: Floats) -> None:
    """Straight moves through places, slower where they go down steeply.

    Parameters
    ----------
    t : Tracer
        Draws.
    piece : (n, 3) float
        x, y, z [mm].
    """
    at = np.concatenate([[t.at], piece])
    long = np.linalg.norm(np.diff(at, axis=0), axis=1)
    at = at[np.concatenate([[True], long > SAME])]
    step = np.diff(at, axis=0)
    if not len(step):
        return
    sine = np.maximum(-step[:, 2] / np.linalg.norm(step, axis=1), 1e-12)
    feed = np.minimum(t.cutting.feed, t.cutting.plunge_feed / sine)
    t.points += [(x, y, z) for x, y, z in at[1:].tolist()]
    t.kinds += [Kind.LINE] * len(step)
    t.feeds += feed.tolist()
