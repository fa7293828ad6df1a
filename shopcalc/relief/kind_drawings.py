"""Drawn reliefs of each kind, invented, as maps to take hours from before there is any artwork."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import TypeAlias

import numpy as np
from numpy.random import Generator

from shopcalc.cutting.engagement import refuse, require_positive
from shopcalc.errors import did_you_mean
from shopcalc.moves import Floats
from shopcalc.paths.lettering import letter_lines, lettering_width
from shopcalc.relief.heights import HeightMap

#: Squares of the finest map that is drawn; a larger relief gets larger squares.
MOST_SQUARES = 4_000_000
PER_DETAIL = 6.0  # pixels over the smallest detail
_LETTERS = "AEHIKLMNORSTVX"
Place: TypeAlias = tuple[float, float]


@dataclass(frozen=True, eq=False)
class _Sheet:
    """A drawing in the making: heights of 0 (ground) to about 1 over a grid."""

    x: Floats
    y: Floats
    length: float
    width: float
    detail: float
    random: Generator

    @property
    def size(self) -> float:
        """The shorter side [mm]."""
        return min(self.length, self.width)

    def between(self, low: float, high: float) -> float:
        return float(self.random.uniform(low, high))


_Maker: TypeAlias = Callable[[_Sheet], Floats]


@dataclass(frozen=True)
class Kind:
    """One kind of relief.

    Parameters
    ----------
    name : str
        Key.
    description : str
        What such a carving looks like, for people who choose.
    draw : callable
        Heights from a sheet.
    """

    name: str
    description: str
    draw: _Maker


def draw(
    kind: str,
    *,
    length: float,
    width: float,
    depth: float,
    smallest_detail: float,
    seed: int = 1,
    pixel: float | None = None,
) -> HeightMap:
    """A relief of a kind, drawn from a seed.

    Parameters
    ----------
    kind : str
        Of ``KINDS``.
    length, width : float
        Extents along x and y [mm].
    depth : float
        From the highest to the lowest place [mm].
    smallest_detail : float
        Width of the narrowest grooves [mm].
    seed : int
        The same seed draws the same relief [-].
    pixel : float or None
        Side of a square [mm]; None for a sixth of the smallest detail, more where that would be too many squares.

    Returns
    -------
    HeightMap
        The highest place at the stock's top, the lowest at the depth.

    Raises
    ------
    InputError
        When there is no such kind, or a size makes no sense.

    Example
    -------
    >>> leaf = draw("leaves and scrolls", length=120, width=80, depth=6, smallest_detail=2, seed=3)
    >>> leaf.depth, float(leaf.z.max())
    (6.0, 0.0)
    """
    require_positive(length=length, width=width, depth=depth, smallest_detail=smallest_detail)
    if kind not in KINDS:
        refuse(f"there is no kind of relief '{kind}'", did_you_mean(kind, KINDS))
    if smallest_detail > min(length, width) / 4:
        refuse(
            f"a smallest detail of {smallest_detail:g} mm on {length:g} x {width:g} mm",
            "give a width of at most a quarter of the shorter side",
        )
    least = math.sqrt(length * width / MOST_SQUARES)
    side = max(least, smallest_detail / PER_DETAIL) if pixel is None else pixel
    if side < least:
        refuse(f"squares of {side:g} mm are too many", f"give at least {least:.3g} mm")
    columns = max(2, round(length / side))
    side = length / columns
    rows = max(2, round(width / side))
    x, y = np.meshgrid((np.arange(columns) + 0.5) * side, (np.arange(rows) + 0.5) * side)
    random = np.random.default_rng([seed, list(KINDS).index(kind)])
    height = KINDS[kind].draw(_Sheet(x, y, length, width, smallest_detail, random))
    low, high = float(height.min()), float(height.max())
    z = (height - high) * (depth / (high - low)) if high > low else height - high
    return HeightMap(np.minimum(z, 0.0), side, name=f"{kind}, seed {seed}")


def _rise(t: Floats | float) -> Floats:
    """0 below 0, 1 above 1, an S between."""
    s = np.clip(t, 0.0, 1.0)
    return np.asarray(s * s * (3 - 2 * s))


def _dome(distance: Floats) -> Floats:
    """A round top over distances as shares of its radius: 1 in the middle, 0 from 1 on."""
    return np.asarray(np.sqrt(np.maximum(1 - np.minimum(distance, 1.0) ** 2, 0.0)))


def _ellipse(s: _Sheet, middle: Place, half: Place, turn: float = 0.0) -> Floats:
    """Distance from a middle as share of the half axes."""
    u, v = s.x - middle[0], s.y - middle[1]
    c, n = math.cos(turn), math.sin(turn)
    return np.asarray(np.hypot((c * u + n * v) / half[0], (c * v - n * u) / half[1]))


def _over(into: Floats, height: Floats, soft: float = 0.0) -> None:
    """Lay one shape over another: the higher counts, with a small round in the corner between them where it is soft."""
    if soft > 0:
        mix = np.clip(0.5 + (height - into) / (2 * soft), 0.0, 1.0)
        into[...] = into + (height - into) * mix + soft * mix * (1 - mix)
    else:
        np.maximum(into, height, out=into)


_Window: TypeAlias = tuple[slice, slice]


def _near(s: _Sheet, line: Floats, reach: Floats) -> tuple[_Window, Floats, Floats]:
    """The window round a line of points, the distance to it there [mm] (inf beyond its reach), how far along [mm]."""
    pixel = float(s.x[0, 1] - s.x[0, 0])
    rows, columns = s.x.shape

    def window(low: Floats, high: Floats) -> _Window:
        first, last = np.floor(low / pixel).astype(int) - 1, np.ceil(high / pixel).astype(int) + 2
        first, last = np.maximum(first, 0), np.maximum(last, 0)
        return slice(int(first[1]), min(rows, int(last[1]))), slice(int(first[0]), min(columns, int(last[0])))

    far = float(np.max(reach))
    whole = window(line.min(axis=0) - far, line.max(axis=0) + far)
    shape = s.x[whole].shape
    distance, along, run = np.full(shape, np.inf), np.zeros(shape), 0.0
    for a, b, far in zip(line[:-1], line[1:], np.maximum(reach[:-1], reach[1:]), strict=True):
        part = window(np.minimum(a, b) - far, np.maximum(a, b) + far)
        x, y = s.x[part], s.y[part]
        step = b - a
        square = float(step @ step)
        length = math.sqrt(square)
        if x.size and square > 0:
            t = np.clip(((x - a[0]) * step[0] + (y - a[1]) * step[1]) / square, 0.0, 1.0)
            d = np.hypot(x - a[0] - t * step[0], y - a[1] - t * step[1])
            there = tuple(slice(p.start - w.start, p.stop - w.start) for p, w in zip(part, whole, strict=True))
            before = distance[there]
            nearer = d < before
            along[there] = np.where(nearer, run + t * length, along[there])
            distance[there] = np.where(nearer, d, before)
        run += length
    return whole, distance, along


def _rod(s: _Sheet, into: Floats, line: Floats, radius: Floats, crown: Floats, soft: float = 0.0) -> None:
    """A round rod along a line, its radius [mm] and its height (0 to 1) changing on the way."""
    window, distance, along = _near(s, line, radius)
    run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    r, high = np.interp(along, run, radius), np.interp(along, run, crown)
    _over(into[window], np.where(np.isfinite(distance), high * _dome(distance / r), 0.0), soft)


def _groove(s: _Sheet, into: Floats, line: Floats, width: float, deep: float) -> None:
    """A round-bottomed groove of a width [mm] and a depth (share of the height) along a line, tapering at both ends."""
    window, distance, along = _near(s, line, np.full(len(line), width))
    long = float(np.hypot(*np.diff(line, axis=0).T).sum())
    ends = _rise(np.minimum(along, long - along) / max(0.15 * long, 1e-9))
    into[window] -= deep * ends * (0.5 + 0.5 * np.cos(np.pi * np.minimum(2 * distance / width, 1.0)))


def _bend(start: Place, heading: float, long: float, turn: float, count: int = 24) -> Floats:
    """A line of even bend from a place, turning by so much over its length."""
    angle = heading + turn * (np.arange(count) + 0.5) / count
    step = long / count * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    return np.concatenate([[start], np.array(start) + np.cumsum(step, axis=0)])


def _spiral(middle: Place, outer: float, inner: float, turns: float, begin: float, sense: float) -> Floats:
    """From the outer radius inwards."""
    t = np.linspace(0.0, 1.0, max(12, int(28 * turns)))
    angle = begin + sense * 2 * math.pi * turns * t
    radius = outer + (inner - outer) * t
    return np.stack([middle[0] + radius * np.cos(angle), middle[1] + radius * np.sin(angle)], axis=1)


def _waves(s: _Sheet, longest: float, shortest: float, count: int) -> Floats:
    """A smooth random field: waves of random heading between two lengths [mm]; about -1 to 1."""
    out = np.zeros(s.x.shape)
    for wave in np.geomspace(longest, shortest, count):
        heading, phase = s.between(0, math.pi), s.between(0, 2 * math.pi)
        share = (wave / longest) ** 1.3
        out += share * np.sin(2 * np.pi / wave * (s.x * math.cos(heading) + s.y * math.sin(heading)) + phase)
    return out / max(float(np.abs(out).max()), 1e-9)


# --- the kinds --------------------------------------------------------------------------------------------------------


def _soft(s: _Sheet) -> Floats:
    """Hills and hollows that run into each other; no ground, no edges, detail only where two swellings meet."""
    out = 0.5 + 0.5 * _waves(s, 1.1 * s.size, max(0.25 * s.size, 6 * s.detail), 8)
    for _ in range(7):
        middle = (s.between(0.08, 0.92) * s.length, s.between(0.08, 0.92) * s.width)
        half = (s.between(0.2, 0.4) * s.size, s.between(0.12, 0.22) * s.size)
        share = _ellipse(s, middle, half, s.between(0, math.pi))
        _over(out, s.between(0.6, 1.0) * np.exp(-2.0 * share**2), soft=0.08)
    for _ in range(4):  # soft creases
        place = (s.between(0.1, 0.5) * s.length, s.between(0.2, 0.8) * s.width)
        line = _bend(place, s.between(-0.6, 0.6), s.between(0.3, 0.5) * s.length, s.between(-1.0, 1.0))
        _groove(s, out, line, max(5 * s.detail, 0.08 * s.size), 0.1)
        _groove(s, out, line, 1.5 * s.detail, 0.02)
    return out


def _leaf(s: _Sheet, into: Floats, root: Place, heading: float, long: float, crown: float) -> None:
    """A leaf that bends, with a raised middle, lobes along its edge, a midrib and veins."""
    turn = s.between(-0.8, 0.8)
    spine = _bend(root, heading, long, turn)
    reach = 0.3 * long
    window, distance, along = _near(s, spine, np.full(len(spine), reach))
    t = along / long
    lobes = max(2, min(7, round(long / max(6 * s.detail, 0.12 * long) / 1.5)))
    half = reach * np.sin(np.pi * np.clip(t, 0, 1) ** 0.8) ** 0.8 * (1 - 0.22 * np.abs(np.cos(np.pi * lobes * t)))
    share = np.minimum(distance / np.maximum(half, 1e-6), 2.0)
    blade = crown * (0.55 + 0.45 * np.sin(np.pi * np.clip(t, 0, 1)))
    body = blade * (0.55 + 0.45 * share**2) * (1 - _rise((share - 0.75) / 0.25))  # hollow, its edges turned up
    _over(into[window], np.where(share < 1, body, 0.0))
    for k in range(2, len(spine) - 4, 4):
        ahead = math.atan2(*(spine[k + 1] - spine[k])[::-1])
        for side in (-1, 1):
            vein = _bend(tuple(spine[k]), ahead + side * 0.7, 0.22 * long, -side * 0.4, 8)
            _groove(s, into, vein, s.detail, 0.05)
    _rod(s, into, spine, np.linspace(1.2 * s.detail, 0.5 * s.detail, len(spine)), np.full(len(spine), crown))


def _scrolls(s: _Sheet) -> Floats:
    """Stems rolled up to scrolls, leaves with ribs and veins between them, on a level ground."""
    out = np.zeros(s.x.shape)
    across = max(1, round(s.length / (0.85 * s.size)))
    wide = s.length / across
    for k in range(across):
        middle = ((k + 0.5) * wide, s.width * s.between(0.44, 0.56))
        sense, begin = (1.0 if k % 2 else -1.0), s.between(0, 2 * math.pi)
        outer = 0.34 * s.size
        stem = _spiral(middle, outer, 0.06 * s.size, s.between(1.5, 1.9), begin, sense)
        for place in range(0, len(stem) // 2, max(1, len(stem) // 12)):
            step = stem[place + 1] - stem[place]
            away = math.atan2(step[1], step[0]) - sense * s.between(0.6, 1.1)
            _leaf(s, out, tuple(stem[place]), away, s.between(0.2, 0.32) * s.size, s.between(0.55, 0.85))
        radius = np.linspace(0.05, 0.03, len(stem)) * s.size
        _rod(s, out, stem, radius, np.linspace(0.8, 1.0, len(stem)))
        _groove(s, out, stem, min(s.detail, 0.02 * s.size), 0.12)
        _over(out, _dome(_ellipse(s, tuple(stem[-1]), (0.07 * s.size, 0.07 * s.size))))
    for corner in ((0.07, 0.07), (0.93, 0.07), (0.93, 0.93), (0.07, 0.93)):
        root = (corner[0] * s.length, corner[1] * s.width)
        inwards = math.atan2(s.width / 2 - root[1], s.length / 2 - root[0])
        _leaf(s, out, root, inwards + s.between(-0.5, 0.5), 0.28 * s.size, 0.6)
    return out


def _portrait(s: _Sheet) -> Floats:
    """A head from the front: soft cheeks, brow, nose, eyes and mouth, hair in strands, shoulders, a smooth ground."""
    out = np.zeros(s.x.shape)
    cx, cy, h = s.length * s.between(0.46, 0.54), s.width * 0.54, 0.3 * s.size
    shoulders = _ellipse(s, (cx, cy - 2.3 * h), (1.9 * h, 1.25 * h))
    _over(out, 0.5 * _dome(shoulders), 0.03)
    _rod(
        s, out, np.array([[cx, cy - 0.5 * h], [cx, cy - 1.5 * h]]), np.array([0.42, 0.5]) * h, np.array([0.55, 0.5]),
        0.05,
    )  # fmt: skip
    long, broad = s.between(1.15, 1.3), s.between(0.88, 1.05)
    hair = _ellipse(s, (cx, cy + (1.3 - long) * h), (broad * h, long * h))
    angle = np.arctan2(s.x - cx, s.y - cy)
    curl = 2 * math.pi * hair * h / (2.2 * s.detail)
    curl += s.between(1.0, 3.0) * np.sin(round(s.between(3, 7)) * angle + s.between(0, 6))
    strands = 0.045 * np.cos(curl) * _rise((1 - hair) * 8)
    _over(out, np.where(hair < 1, 0.72 * _dome(hair) ** 0.6 + strands, 0.0))
    face = _ellipse(s, (cx, cy - 0.08 * h), (s.between(0.62, 0.72) * h, s.between(0.88, 1.0) * h))
    _over(out, 0.85 * _dome(face) ** 0.7, 0.02)
    for side in (-1, 1):
        out -= 0.13 * np.exp(-3 * _ellipse(s, (cx + side * 0.28 * h, cy + 0.12 * h), (0.22 * h, 0.15 * h)) ** 2)
        eye = _ellipse(s, (cx + side * 0.28 * h, cy + 0.1 * h), (0.14 * h, 0.085 * h))
        _over(out, np.where(eye < 1, 0.74 + 0.08 * _dome(eye), 0.0))
        lid = _bend((cx + side * 0.28 * h - 0.16 * h, cy + 0.13 * h), 0.5, 0.34 * h, -1.0, 10)
        _groove(s, out, lid, min(s.detail, 0.09 * h), 0.05)
        _groove(s, out, lid - np.array([0.0, 0.12 * h]), min(s.detail, 0.07 * h), 0.03)
        brow = _bend((cx + side * 0.3 * h - 0.2 * h, cy + 0.3 * h), 0.35, 0.42 * h, -0.7, 10)
        _rod(s, out, brow, np.full(11, 0.07 * h), np.full(11, 0.87), 0.02)
        cheek = _ellipse(s, (cx + side * 0.38 * h, cy - 0.28 * h), (0.26 * h, 0.22 * h))
        out += 0.05 * np.exp(-2 * cheek**2)
    nose = np.array([[cx, cy + 0.2 * h], [cx, cy - 0.28 * h]])
    _rod(s, out, nose, np.array([0.08, 0.17]) * h, np.array([0.86, 1.0]), 0.03)
    for up, wide in ((-0.53, 0.04), (-0.63, 0.05)):
        lip = _bend((cx - 0.22 * h, cy + up * h), 0.25, 0.45 * h, -0.5, 10)
        _rod(s, out, lip, np.concatenate([[0.02], np.full(9, wide), [0.02]]) * h, np.full(11, 0.86), 0.02)
    _groove(s, out, _bend((cx - 0.22 * h, cy - 0.58 * h), 0.2, 0.45 * h, -0.4, 10), min(s.detail, 0.07 * h), 0.08)
    for side in (-1, 1):  # folds of cloth
        for k in range(4):
            start = (cx + side * 0.3 * h, cy - (1.3 + 0.12 * k) * h)
            _groove(
                s, out, _bend(start, math.pi / 2 - side * (1.9 + 0.25 * k), 1.2 * h, side * 0.5), 2 * s.detail, 0.07
            )
    return np.asarray(np.maximum(out, 0.0))


def _lettered(s: _Sheet) -> Floats:
    """Raised letters with sloping walls inside a raised border, on a ground with the marks of a tool."""
    rows = max(1, round(s.width / max(0.45 * s.size, 14 * s.detail)))
    tall = 0.56 * s.width / (rows + 0.25)
    out = 0.06 * _waves(s, 8 * s.detail, 4 * s.detail, 5)
    edge = np.minimum(np.minimum(s.x, s.length - s.x), np.minimum(s.y, s.width - s.y))
    rim = 0.06 * s.size
    wall = max(0.5 * s.detail, 0.01 * s.size)
    _over(out, _rise((rim - edge) / wall + 1))
    for row in range(rows):
        count, text = 30, ""
        while count > 1:
            text = "".join(s.random.choice(list(_LETTERS), size=count))
            if lettering_width(text, tall) <= 0.82 * s.length:
                break
            count -= 1
        left = (s.length - lettering_width(text, tall)) / 2
        foot = s.width / 2 + (row - (rows - 1) / 2) * s.width * 0.84 / rows - tall / 2
        stroke = 0.075 * tall
        for line in letter_lines(text, tall):
            places = np.array(line) + np.array([left, foot])
            window, distance, _ = _near(s, places, np.full(len(places), stroke + wall))
            _over(out[window], np.where(np.isfinite(distance), _rise((stroke - distance) / wall + 1), 0.0))
    return np.asarray(out)


def _figure(s: _Sheet) -> Floats:
    """A beast that stands out from its ground over the whole depth: steep flanks, legs apart, a mane or feathers."""
    out = np.zeros(s.x.shape)
    u, cx, cy = s.size, s.length / 2, s.width / 2
    look = 1.0 if s.between(0, 1) < 0.5 else -1.0

    def at(x: float, y: float) -> Place:
        return cx + look * x * u, cy + y * u

    legs = [
        (-0.3, s.between(-0.36, -0.28)),
        (-0.2, s.between(-0.24, -0.12)),
        (0.14, s.between(0.06, 0.18)),
        (0.24, 0.34),
    ]
    for k, (top, foot) in enumerate(legs):
        line = np.array([at(top, -0.05), at((top + foot) / 2 + 0.03, -0.22), at(foot, -0.4), at(foot + 0.06, -0.42)])
        crown = 0.55 if k % 2 else 0.85
        _rod(s, out, line, np.array([0.1, 0.06, 0.04, 0.04]) * u, np.full(4, crown), 0.02)
    _over(out, 1.0 * _steep(_ellipse(s, at(-0.22, 0.03), (0.19 * u, 0.15 * u))), 0.05)
    _over(out, 0.92 * _steep(_ellipse(s, at(0.0, 0.05), (0.3 * u, 0.14 * u))), 0.05)
    _over(out, 1.0 * _steep(_ellipse(s, at(0.2, 0.08), (0.18 * u, 0.17 * u), look * 0.5)), 0.05)
    neck = np.array([at(0.22, 0.12), at(0.32, 0.26), at(0.4, 0.33)])
    _rod(s, out, neck, np.array([0.14, 0.1, 0.08]) * u, np.array([0.95, 0.95, 0.9]), 0.04)
    muzzle = np.array([at(0.38, 0.34), at(0.47, 0.29), at(0.53, 0.24)])
    _rod(s, out, muzzle, np.array([0.085, 0.06, 0.045]) * u, np.array([1.0, 0.95, 0.85]), 0.02)
    for x in (0.33, 0.38):
        ear = np.array([at(x, 0.39), at(x - 0.02, 0.46)])
        _rod(s, out, ear, np.array([0.03, 0.012]) * u, np.array([0.8, 0.65]))
    tail = _bend(at(-0.38, 0.1), math.pi / 2 - look * (math.pi / 2 + 0.6), 0.3 * u, look * s.between(0.9, 1.6))
    _rod(s, out, tail, np.linspace(0.045, 0.02, len(tail)) * u, np.linspace(0.8, 0.6, len(tail)))
    for k in range(int(0.34 * u / (1.8 * s.detail))):  # mane
        t = k * 1.8 * s.detail / (0.34 * u)
        start = at(0.3 - 0.2 * t + 0.05 * (1 - t), 0.36 - 0.2 * t)
        line = _bend(start, math.pi / 2 - look * s.between(2.3, 2.8), s.between(0.1, 0.17) * u, look * 0.6, 8)
        _groove(s, out, line, s.detail, 0.07)
    for k in range(3):  # folds of the flanks
        _groove(s, out, _bend(at(-0.1 + 0.09 * k, 0.15), -1.4, 0.16 * u, look * 0.5, 8), 2 * s.detail, 0.05)
    _groove(s, out, _bend(at(0.45, 0.26), math.pi / 2 - look * 2.2, 0.09 * u, 0.2, 6), s.detail, 0.08)
    out = np.maximum(out, 0.0)
    ground = 0.05 * _waves(s, 0.5 * u, 0.12 * u, 5) + 0.1 * _rise((-(s.y - cy) / u - 0.36) / 0.04)
    _over(out, ground)
    return np.asarray(out)


def _steep(share: Floats) -> Floats:
    """A body with a flat back and steep flanks."""
    return np.asarray(np.maximum(1 - np.minimum(share, 1.0) ** 4, 0.0) ** 0.5)


#: All kinds by name.
KINDS: Mapping[str, Kind] = MappingProxyType(
    {
        k.name: k
        for k in (
            Kind("soft modelling", "hills and hollows that run into each other, a few creases", _soft),
            Kind("leaves and scrolls", "rolled stems, leaves with ribs and veins, on a level ground", _scrolls),
            Kind("portrait", "a head from the front: soft face, hair in strands, shoulders", _portrait),
            Kind("letters on a ground", "raised letters with sloping walls, a border, a tooled ground", _lettered),
            Kind("deep figure", "a beast that stands out over the whole depth, with steep flanks", _figure),
        )
    }
)
