"""Middle lines of an area: where a disc inside touches its edge twice, with the disc's radius as third coordinate."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from shopcalc.cutting.engagement import refuse, require_positive
from shopcalc.moves import Floats
from shopcalc.paths.clearing import as_area, polygons

Ints = NDArray[np.int64]

_SPACINGS_PER_WIDTH = 5.0  # samples of the edge over the mean width of the area
_MOST_SAMPLES = 200_000  # of one polygon
_NECK = 1.5  # where a disc's radius is below so many spacings the edge is sampled anew, finer
_GOLDEN = (math.sqrt(5) - 1) / 2
_ON = math.radians(100)  # chains that meet bending less than this become one


@dataclass(frozen=True, eq=False)
class MedialAxis:
    """The middle lines of an area.

    Parameters
    ----------
    chains : tuple of (n, 3) float
        x, y and distance to the edge along each chain; a single row where a disc fills the area [mm].
    tolerance : float
        How near everything is to the exact lines [mm].
    """

    chains: tuple[Floats, ...]
    tolerance: float

    @property
    def greatest(self) -> float:
        """Radius of the largest disc inside the area [mm]."""
        return max(float(c[:, 2].max()) for c in self.chains)

    @property
    def length(self) -> float:
        """Of all chains in the plane [mm]."""
        return math.fsum(float(np.hypot(*np.diff(c[:, :2], axis=0).T).sum()) for c in self.chains)


def medial_axis(area: BaseGeometry, *, tolerance: float = 0.02, sharp: float = math.radians(10)) -> MedialAxis:
    """Middle lines of an area with holes, with the distance to its edge.

    Parameters
    ----------
    area : shapely geometry
        Polygons in which curves may be chords [mm].
    tolerance : float
        A branch is left out where the disc at its root lies nearer than this to the whole edge it would serve, so that
        the chords of a curve get no branches; chains are straight within an eighth of it [mm].
    sharp : float
        Branches run into every convex corner that turns more than this [rad].

    Returns
    -------
    MedialAxis
        Distances are exact for the given polygons; positions within ``tolerance``. A branch ends in its corner at
        distance 0, and at a round end in the middle of the round.

    Raises
    ------
    InputError
        When the area crosses itself, is empty, or has an edge too long for the tolerance.

    Notes
    -----
    Geometry. The edge is sampled; of the Voronoi diagram of the samples those lines are kept that part samples which
    are no neighbours along a smooth edge. Each place is then moved to where its two stretches of edge are equally far.

    Example
    -------
    >>> axis = medial_axis(shapely.box(0, 0, 40, 10))
    >>> len(axis.chains), axis.greatest, round(axis.length - 4 * 5 * 2**0.5, 3)
    (3, 5.0, 30.0)
    """
    require_positive(tolerance=tolerance, sharp=sharp)
    as_area(area, "area")
    chains: list[Floats] = []
    for polygon in polygons(area):
        chains += _Polygon(polygon, tolerance, sharp).chains()
    return MedialAxis(tuple(chains), tolerance)


class _Edge(NamedTuple):
    """Samples of a polygon's rings, the area on the left."""

    at: Floats  # (n, 2)
    before: Ints
    after: Ints
    ring: Ints
    along: Floats  # arc length from the ring's first sample
    around: Floats  # the ring's whole length
    turn: Floats  # to the left at a corner, 0 between corners


class _Ridges(NamedTuple):
    """Places between two samples: (m, 2) samples, (m, 2) ends in the diagram, (m, 2) where, (m,) distance."""

    sites: Ints
    ends: Ints
    at: Floats
    distance: Floats

    def chosen(self, which: NDArray[np.bool_]) -> _Ridges:
        return _Ridges(self.sites[which], self.ends[which], self.at[which], self.distance[which])


class _Polygon:
    """One polygon on the way to its chains; coordinates from its middle."""

    def __init__(self, polygon: Polygon, tolerance: float, sharp: float) -> None:
        self.tolerance, self.sharp = tolerance, sharp
        box = polygon.bounds
        self.origin = np.array([(box[0] + box[2]) / 2, (box[1] + box[3]) / 2])
        centred = (np.asarray(r.coords)[:, :2] - self.origin for r in (polygon.exterior, *polygon.interiors))
        outside, *holes = centred
        self.polygon = _oriented(Polygon(outside, holes))
        shapely.prepare(self.polygon)
        lines = [np.asarray(r.coords) for r in (self.polygon.exterior, *self.polygon.interiors)]
        sides = np.concatenate([np.stack([p[:-1], p[1:]], axis=1) for p in lines])
        self.sides = shapely.STRtree(np.asarray(shapely.linestrings(sides)))
        plain = _oriented(self.polygon.simplify(tolerance / 16))
        self.rings = [np.asarray(r.coords)[:-1] for r in (plain.exterior, *plain.interiors)]

    def distance(self, at: Floats) -> Floats:
        """Exact distance to the edge."""
        if not len(at):
            return np.zeros(0)
        (which, _), found = self.sides.query_nearest(shapely.points(at), return_distance=True, all_matches=False)
        out = np.empty(len(at))
        out[which] = found
        return out

    def chains(self) -> list[Floats]:
        """Chains of this polygon in the drawing's coordinates."""
        spacing = max(2 * self.polygon.area / self.polygon.length / _SPACINGS_PER_WIDTH, self.tolerance)
        finest = np.zeros((0, 3))
        for _ in range(6):
            edge = self._sampled(spacing, finest)
            ridges, nodes, deepest = self._kept(edge)
            more = self._necks(edge, ridges)
            if not len(more):
                break
            finest = np.concatenate([finest, more])
        if not len(ridges.distance):  # a disc fills it
            found = [np.append(deepest, self.distance(deepest[None, :]))[None, :]]
        else:
            found = [c for c in (self._drawn(c, edge, ridges, nodes) for c in _linked(ridges)) if c is not None]
            found = _joined(found)
            found = [_simplified(self._refined(c), self.tolerance / 8) for c in found]
            found = [c for c in found if len(c) > 1] or found[:1]
        return [np.column_stack([c[:, :2] + self.origin, c[:, 2]]) for c in found]

    def _sampled(self, spacing: float, finest: Floats) -> _Edge:
        """Corners and evenly between them; finer near the places in ``finest`` (x, y, spacing)."""
        from scipy.spatial import cKDTree

        tree = cKDTree(finest[:, :2]) if len(finest) else None
        rings, turns = [], []
        for corners in self.rings:
            step = np.roll(corners, -1, axis=0) - corners
            long = np.hypot(step[:, 0], step[:, 1])
            heading = np.arctan2(step[:, 1], step[:, 0])
            turn = (heading - np.roll(heading, 1) + np.pi) % (2 * np.pi) - np.pi
            count = np.maximum(1, np.ceil(long / spacing)).astype(np.int64)
            at, bend = _divided(corners, step, count, turn)
            if tree is not None:
                near, which = tree.query((at + np.roll(at, -1, axis=0)) / 2)
                step = np.roll(at, -1, axis=0) - at
                size = np.hypot(step[:, 0], step[:, 1])
                wanted = finest[which, 2]
                local = near <= np.maximum(size, 6 * wanted)
                count = np.where(local, np.maximum(1, np.ceil(size / wanted)), 1).astype(np.int64)
                at, bend = _divided(at, step, count, bend)
            rings.append(at)
            turns.append(bend)
        if sum(len(r) for r in rings) > _MOST_SAMPLES:
            refuse("the outline is too long for such narrow parts", "divide it, or allow a greater tolerance")
        sizes = [len(r) for r in rings]
        starts = np.concatenate([[0], np.cumsum(sizes)])
        before = np.concatenate([s + np.roll(np.arange(n), 1) for s, n in zip(starts, sizes, strict=False)])
        after = np.concatenate([s + np.roll(np.arange(n), -1) for s, n in zip(starts, sizes, strict=False)])
        steps = [np.hypot(*(np.roll(r, -1, axis=0) - r).T) for r in rings]
        along = np.concatenate([np.concatenate([[0.0], np.cumsum(s)[:-1]]) for s in steps])
        around = np.repeat([s.sum() for s in steps], sizes)
        ring = np.repeat(np.arange(len(rings)), sizes)
        return _Edge(np.concatenate(rings), before, after, ring, along, around, np.concatenate(turns))

    def _kept(self, edge: _Edge) -> tuple[_Ridges, Floats, Floats]:
        """Ridges that are middle lines, the diagram's nodes, and the node deepest inside."""
        from scipy.spatial import Voronoi

        diagram = Voronoi(edge.at)
        nodes = np.asarray(diagram.vertices)
        sites, ends = np.asarray(diagram.ridge_points, dtype=np.int64), np.asarray(diagram.ridge_vertices)
        finite = (ends >= 0).all(axis=1)
        apart = (edge.after[sites[:, 0]] != sites[:, 1]) & (edge.before[sites[:, 0]] != sites[:, 1])
        within = nodes[shapely.contains_xy(self.polygon, nodes)]
        deepest = within[int(np.argmax(self.distance(within)))] if len(within) else np.zeros(2)
        sites, ends = sites[finite & apart], ends[finite & apart].astype(np.int64)
        middle = nodes[ends].mean(axis=1)
        inside = shapely.contains_xy(self.polygon, middle)
        sites, ends = sites[inside], ends[inside]
        at, distance = _level(edge, sites, middle[inside])
        ridges = _Ridges(sites, ends, at, distance)
        ridges = ridges.chosen(self._serves(edge, ridges))
        return _gathered(ridges, nodes, self.tolerance), nodes, deepest

    def _serves(self, edge: _Edge, ridges: _Ridges) -> NDArray[np.bool_]:
        """Whether the edge between a ridge's two samples lies further than the tolerance from its disc."""
        first, count, length = _sections(edge, ridges.sites)
        out = (count < 0) | (length > 2 * np.pi * (ridges.distance + self.tolerance))
        doubtful = np.flatnonzero(~out)
        if not len(doubtful):
            return out
        owner, place = _spread(edge, first[doubtful], count[doubtful])
        far = np.hypot(*(edge.at[place] - ridges.at[doubtful[owner]]).T)
        greatest = np.zeros(len(doubtful))
        np.maximum.at(greatest, owner, far)
        out[doubtful] = greatest - ridges.distance[doubtful] > self.tolerance
        return out

    def _necks(self, edge: _Edge, ridges: _Ridges) -> Floats:
        """Where the edge must be sampled finer: (x, y, spacing) of samples, away from sharp corners."""
        step = np.hypot(*(edge.at[edge.after] - edge.at).T)
        size = np.maximum(step, step[edge.before])[ridges.sites].max(axis=1)
        _, count, length = _sections(edge, ridges.sites)
        wanted = np.maximum(ridges.distance / (1.2 * _NECK), self.tolerance / 2)
        narrow = (ridges.distance < _NECK * size) & (size > 1.05 * wanted) & ((count < 0) | (length > 8 * size))
        sites = ridges.sites[narrow]
        both = [np.column_stack([edge.at[sites[:, k]], wanted[narrow]]) for k in (0, 1)]
        return np.concatenate(both)

    def _drawn(self, link: _Link, edge: _Edge, ridges: _Ridges, nodes: Floats) -> Floats | None:
        """A chain's places with exact distances, run out into the corners at its free ends."""
        at = ridges.at[link.ridges]
        begin, end = (self._end(link, k, edge, ridges, nodes) for k in (0, -1))
        at = np.concatenate([*([begin] if begin is not None else []), at, *([end] if end is not None else [])])
        if link.closed:
            at = np.concatenate([at, at[:1]])
        apart = np.concatenate([[True], np.hypot(*np.diff(at, axis=0).T) > 1e-7])
        at = at[apart]
        if begin is None and end is None and not link.closed:
            length = np.hypot(*np.diff(at, axis=0).T).sum()
            if length < self.tolerance and len(at) > 1:
                at = at[:1]
        return np.column_stack([at, self.distance(at)])

    def _end(self, link: _Link, k: int, edge: _Edge, ridges: _Ridges, nodes: Floats) -> Floats | None:
        """(k, 2) places beyond a chain's last ridge: the junction, or the last node and a sharp corner behind it."""
        if link.closed:
            return None
        meeting = link.meeting[k]
        if len(meeting) > 1:
            sites = np.unique(ridges.sites[meeting])
            return _equally_far(edge, sites, nodes[link.ends[k]])[None, :]
        sites = ridges.sites[meeting]
        last, _ = _level(edge, sites, nodes[[link.ends[k]]])
        first, count, _ = _sections(edge, sites)
        if count[0] < 0:
            return None
        _, place = _spread(edge, first, count)
        corners = place[edge.turn[place] > self.sharp]
        if len(corners):
            far = np.hypot(*(edge.at[corners] - ridges.at[meeting[0]]).T)
            corner = edge.at[corners[[int(np.argmax(far))]]]
            last = np.concatenate([last, corner])
        last = last[[*shapely.contains_xy(self.polygon, last[:1]), *[True] * (len(last) - 1)]]
        return last if k else last[::-1]

    def _refined(self, chain: Floats) -> Floats:
        """Places put between others until the distance to the edge is linear between them within an eighth."""
        if len(chain) < 2:
            return chain
        fresh = np.ones(len(chain) - 1, dtype=bool)
        for _ in range(7):
            middle = (chain[:-1] + chain[1:])[fresh] / 2
            step = (chain[1:] - chain[:-1])[fresh, :2]
            away = np.abs(self.distance(middle[:, :2]) - middle[:, 2]) > self.tolerance / 8
            where = np.flatnonzero(fresh)[away]
            if not len(where):
                break
            better = self._to_the_ridge(middle[away, :2], step[away])
            chain = np.insert(chain, where + 1, better, axis=0)
            fresh = np.zeros(len(chain) - 1, dtype=bool)
            new = where + np.arange(len(where))
            fresh[new] = fresh[new + 1] = True
        return chain

    def _to_the_ridge(self, at: Floats, step: Floats) -> Floats:
        """The ridge of the distance square to a chain, near a place: (m, 3); nearby first, as there may be others."""
        size = np.hypot(step[:, 0], step[:, 1])
        across = np.column_stack([-step[:, 1], step[:, 0]]) / size[:, None]
        shift, open_ = np.zeros(len(at)), np.arange(len(at))
        for share in (64, 16, 4):
            reach = size[open_] / share
            found = self._highest(at[open_], across[open_], reach)
            within = np.abs(found) < 0.9 * reach
            shift[open_[within]] = found[within]
            open_ = open_[~within]
            if not len(open_):
                break
        at = at + across * shift[:, None]
        return np.column_stack([at, self.distance(at)])

    def _highest(self, at: Floats, across: Floats, reach: Floats) -> Floats:
        """How far along a direction the distance is greatest within a reach, by golden sections."""

        def far(by: Floats) -> Floats:
            return self.distance(at + across * by[:, None])

        low, high = -reach, reach
        one, two = high - _GOLDEN * (high - low), low + _GOLDEN * (high - low)
        at_one, at_two = far(one), far(two)
        for _ in range(13):
            less = at_one < at_two
            low, high = np.where(less, one, low), np.where(less, high, two)
            fresh = np.where(less, low + _GOLDEN * (high - low), high - _GOLDEN * (high - low))
            value = far(fresh)
            one, two = np.where(less, two, fresh), np.where(less, fresh, one)
            at_one, at_two = np.where(less, at_two, value), np.where(less, value, at_one)
        return (low + high) / 2


def _oriented(polygon: BaseGeometry) -> Polygon:
    """The area on the left of every ring."""
    out = shapely.orient_polygons(polygon)
    assert isinstance(out, Polygon)
    return out


def _divided(corners: Floats, step: Floats, count: Ints, turn: Floats) -> tuple[Floats, Floats]:
    """Each side in ``count`` parts; turns stay at the corners."""
    which = np.repeat(np.arange(len(corners)), count)
    part = np.arange(len(which)) - np.repeat(np.cumsum(count) - count, count)
    at = corners[which] + step[which] * (part / count[which])[:, None]
    return at, np.where(part == 0, turn[which], 0.0)


def _gathered(ridges: _Ridges, nodes: Floats, within: float) -> _Ridges:
    """Junctions that are joined by less than a length made one, so that four bisectors that meet do meet."""
    while True:
        size = np.hypot(*(nodes[ridges.ends[:, 0]] - nodes[ridges.ends[:, 1]]).T)
        links = [c for c in _linked(ridges) if not c.closed and min(len(m) for m in c.meeting) > 2]
        short = next((c for c in links if size[c.ridges].sum() < within), None)
        if short is None:
            return ridges
        kept = np.ones(len(size), dtype=bool)
        kept[short.ridges] = False
        ends = np.where(ridges.ends == short.ends[1], short.ends[0], ridges.ends)
        ridges = ridges._replace(ends=ends).chosen(kept)


def _sections(edge: _Edge, sites: Ints) -> tuple[Ints, Ints, Floats]:
    """The shorter stretch of edge between two samples: first sample, count (-1 on two rings) and length."""
    i, j = sites[:, 0], sites[:, 1]
    i, j = np.where(i < j, i, j), np.where(i < j, j, i)
    span = edge.along[j] - edge.along[i]
    round_about = edge.around[i] - span
    direct = span <= round_about
    size = np.bincount(edge.ring)[edge.ring[i]]
    count = np.where(direct, j - i + 1, size - (j - i) + 1)
    count = np.where(edge.ring[i] == edge.ring[j], count, -1)
    return np.where(direct, i, j), count, np.where(direct, span, round_about)


def _spread(edge: _Edge, first: Ints, count: Ints) -> tuple[Ints, Ints]:
    """Samples of several stretches, one after the other: number of the stretch, and the sample."""
    owner = np.repeat(np.arange(len(first)), count)
    part = np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count)
    starts = np.concatenate([[0], np.cumsum(np.bincount(edge.ring))])
    ring = edge.ring[first[owner]]
    start, size = starts[ring], starts[ring + 1] - starts[ring]
    return owner, start + (first[owner] - start + part) % size


def _foot(edge: _Edge, site: Ints, at: Floats) -> Floats:
    """Nearest place to ``at`` on the two stretches that meet in a sample."""
    out, best = edge.at[site], np.full(len(site), np.inf)
    for other in (edge.before[site], edge.after[site]):
        a, u = edge.at[site], edge.at[other] - edge.at[site]
        share = np.clip(((at - a) * u).sum(axis=1) / np.maximum((u * u).sum(axis=1), 1e-30), 0, 1)
        foot = a + u * share[:, None]
        far = np.hypot(*(at - foot).T)
        nearer = far < best
        out, best = np.where(nearer[:, None], foot, out), np.where(nearer, far, best)
    return out


def _level(edge: _Edge, sites: Ints, start: Floats) -> tuple[Floats, Floats]:
    """Places moved until both stretches of edge are equally far, by Newton's method; and that distance."""
    at = start.copy()
    room = np.hypot(*(edge.at[sites[:, 0]] - start).T) / 2
    for _ in range(5):
        one, two = (at - _foot(edge, sites[:, k], at) for k in (0, 1))
        a, b = (np.maximum(np.hypot(v[:, 0], v[:, 1]), 1e-12) for v in (one, two))
        slope = one / a[:, None] - two / b[:, None]
        steep = np.maximum((slope * slope).sum(axis=1), 1e-6)
        step = -slope * ((a - b) / steep)[:, None]
        size = np.hypot(step[:, 0], step[:, 1])
        at = at + step * np.minimum(1, room / np.maximum(size, 1e-12))[:, None]
    lost = np.hypot(*(at - start).T) > room
    at[lost] = start[lost]
    far = [np.hypot(*(at - _foot(edge, sites[:, k], at)).T) for k in (0, 1)]
    return at, np.minimum(far[0], far[1])


def _equally_far(edge: _Edge, sites: Ints, start: Floats) -> Floats:
    """Where three or more stretches of edge are equally far, by least squares from a place nearby."""
    at = start.copy()
    spread = float(np.hypot(*(edge.at[sites] - start).T).max())
    for _ in range(8):
        away = at - _foot(edge, sites, np.broadcast_to(at, (len(sites), 2)))
        far = np.maximum(np.hypot(away[:, 0], away[:, 1]), 1e-12)
        rows = np.column_stack([away / far[:, None], -np.ones(len(sites))])
        step = np.linalg.lstsq(rows, far.mean() - far, rcond=1e-6)[0][:2]
        size = float(np.hypot(*step))
        if size < 1e-12:
            break
        at = at + step * min(1.0, spread / 4 / size)
    return at if float(np.hypot(*(at - start))) < spread / 2 else start


@dataclass(frozen=True, eq=False)
class _Link:
    """Ridges from one junction or end to the next, in order."""

    ridges: list[int]
    ends: tuple[int, int]  # nodes
    meeting: tuple[list[int], list[int]]  # all ridges at either node
    closed: bool


def _linked(ridges: _Ridges) -> list[_Link]:
    """Ridges that follow each other, parted where three or more meet."""
    at_node: dict[int, list[int]] = {}
    pairs: list[list[int]] = ridges.ends.tolist()
    for number, (a, b) in enumerate(pairs):
        at_node.setdefault(a, []).append(number)
        at_node.setdefault(b, []).append(number)
    used = [False] * len(pairs)
    out: list[_Link] = []

    def walk(ridge: int, node: int) -> tuple[list[int], int]:
        chain = [ridge]
        used[ridge] = True
        while True:
            a, b = pairs[chain[-1]]
            node = b if a == node else a
            ahead = [r for r in at_node[node] if not used[r]]
            if len(at_node[node]) != 2 or not ahead:
                return chain, node
            chain.append(ahead[0])
            used[ahead[0]] = True

    for node, meeting in at_node.items():
        if len(meeting) == 2:
            continue
        for ridge in meeting:
            if not used[ridge]:
                chain, end = walk(ridge, node)
                out.append(_Link(chain, (node, end), (meeting, at_node[end]), False))
    for ridge in range(len(pairs)):
        if not used[ridge]:
            node = pairs[ridge][0]
            chain, end = walk(ridge, node)
            out.append(_Link(chain, (node, end), (at_node[node], at_node[end]), True))
    return out


def _joined(chains: Sequence[Floats]) -> list[Floats]:
    """Chains that meet in one place made into long ones, the straightest on first."""
    parts: dict[int, Floats] = dict(enumerate(chains))
    ends = [(n, k) for n, c in parts.items() for k in (0, -1) if len(c) > 1 and not _same(c[0], c[-1])]
    meeting: dict[tuple[float, float], list[tuple[int, int]]] = {}
    for n, k in ends:
        x, y = parts[n][k][:2]
        meeting.setdefault((round(float(x), 6), round(float(y), 6)), []).append((n, k))
    pairs = []
    for place in meeting.values():
        for i, (n, k) in enumerate(place):
            for m, j in place[i + 1 :]:
                if n != m:
                    turn = _bend(_leaving(parts[n], k), _leaving(parts[m], j))
                    if turn < _ON:
                        pairs.append((turn, (n, k), (m, j)))
    partner: dict[tuple[int, int], tuple[int, int]] = {}
    for _, one, two in sorted(pairs):
        if one not in partner and two not in partner:
            partner[one], partner[two] = two, one
    used: set[int] = set()
    out: list[Floats] = []
    for n in sorted(parts, key=lambda n: ((n, 0) in partner) + ((n, -1) in partner)):
        if n in used:
            continue
        end = (n, 0) if (n, 0) not in partner else (n, -1)
        pieces: list[Floats] = []
        while end[0] not in used:
            used.add(end[0])
            piece = parts[end[0]] if end[1] == 0 else parts[end[0]][::-1]
            pieces.append(piece if not pieces else piece[1:])
            far = (end[0], -1 if end[1] == 0 else 0)
            if far not in partner:
                break
            end = partner[far]
        out.append(np.concatenate(pieces))
    return out


def _same(a: Floats, b: Floats) -> bool:
    return bool(np.abs(a[:2] - b[:2]).max() < 1e-6)


def _leaving(chain: Floats, k: int) -> Floats:
    """Direction in which a chain leaves its end, over a share of the disc there."""
    line = (chain if k == 0 else chain[::-1])[:, :2]
    reach = np.hypot(*(line - line[0]).T)
    far = np.flatnonzero(reach > 0.3 * abs(float(chain[k, 2])))
    return np.asarray(line[far[0] if len(far) else -1] - line[0])


def _bend(one: Floats, two: Floats) -> float:
    """Turn from coming in against ``one`` to going out along ``two``."""
    cross, dot = one[0] * two[1] - one[1] * two[0], float(one @ two)
    return math.pi - abs(math.atan2(cross, dot))


def _simplified(chain: Floats, tolerance: float) -> Floats:
    """Fewer places, everything left out within the tolerance in all three coordinates (Douglas and Peucker)."""
    keep = np.zeros(len(chain), dtype=bool)
    keep[[0, -1]] = True
    stack = [(0, len(chain) - 1)]
    while stack:
        a, b = stack.pop()
        if b - a < 2:
            continue
        u, v = chain[b] - chain[a], chain[a + 1 : b] - chain[a]
        size = float(u @ u)
        share = np.clip(v @ u / size, 0, 1) if size > 1e-18 else np.zeros(len(v))
        far = ((v - share[:, None] * u) ** 2).sum(axis=1)
        worst = int(np.argmax(far))
        if far[worst] > tolerance * tolerance:
            middle = a + 1 + worst
            keep[middle] = True
            stack += [(a, middle), (middle, b)]
    return chain[keep]
