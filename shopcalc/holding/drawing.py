"""Holding on paper: paths, clamps and what they meet from above and from the side; heights of a board's faces."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence

import numpy as np

from shopcalc.documents.drawing import Drawing, Stroke, Words, box
from shopcalc.holding.cleaning_up import CleanUp
from shopcalc.holding.collisions import Clear, Collision
from shopcalc.holding.tool_body import Section, ToolBody
from shopcalc.holding.walls import Stock
from shopcalc.moves import Floats, Kind, Moves
from shopcalc.units import System, write

_WIDE, _HIGH = 150.0, 95.0  # mm on paper: the longest and the highest a view is drawn
_LEFT, _TOP, _GAP = 8.0, 8.0, 16.0
_MOST_LINES = 1500  # strokes of a path that are drawn; longer ones are thinned
_INSIDE = 3.8  # mm on paper: least side of a body that takes its letter
_MARK = 4.0  # mm on paper: radius of a number's ring
Point = tuple[float, float]


class _Scale:
    """Lengths to paper, one axis to the right and one up, alike in both."""

    def __init__(self, left: float, top: float, low: Point, high: Point, per: float) -> None:
        self.left, self.top, self.low, self.high, self.per = left, top, low, high, per

    def at(self, a: float, b: float) -> Point:
        return self.left + (a - self.low[0]) * self.per, self.top + (self.high[1] - b) * self.per

    def line(self, points: Floats | Sequence[Point]) -> tuple[Point, ...]:
        return tuple(self.at(float(p[0]), float(p[1])) for p in points)


def letters_of(names: Sequence[str]) -> dict[str, str]:
    """The letter that stands at each fixture in a drawing, and in a table beside it.

    Parameters
    ----------
    names : sequence of str
        Of the keep-outs, in their order.

    Returns
    -------
    dict
        Name to A, B and so on; after Z to A2.
    """
    return {n: chr(ord("A") + k % 26) + (str(k // 26 + 1) if k > 25 else "") for k, n in enumerate(names)}


def holding_drawing(
    found: Clear, stock: Stock | None = None, system: System = "metric", pads: Sequence[Point] = ()
) -> Drawing:  # fmt: skip
    """Plan and side view of a load: wood, path, keep-outs, and where which part meets which of them.

    Parameters
    ----------
    found : Clear
        From ``check_clear``.
    stock : Stock, optional
        The wood.
    system : {"metric", "inch"}
        What the reader thinks in.
    pads : sequence of (x, y)
        Where fixtures press the wood [mm].

    Returns
    -------
    Drawing
        Lengths alike in both views. Keep-outs carry letters, those that are met are black, others grey; numbered places
        are the worst of each collision; the body of the first stands in the side view. The zero is a ring.
    """
    low, high = _extents(found, stock)
    per = min(_WIDE / (high[0] - low[0]), _HIGH / (high[1] - low[1]))
    plan = _Scale(_LEFT, _TOP, (low[0], low[1]), (high[0], high[1]), per)
    below = _TOP + per * (high[1] - low[1]) + _GAP
    side = _Scale(_LEFT, below, (low[0], low[2]), (high[0], high[2]), per)
    shapes: list[Stroke | Words] = [
        Words((_LEFT, _TOP - 2.5), "from above", bold=True), Words((_LEFT, below - 2.5), "from the front", bold=True)
    ]  # fmt: skip
    if stock:
        shapes += _rectangle(plan, (stock.x[0], stock.y[0]), (stock.x[1], stock.y[1]))
        shapes += _rectangle(side, (stock.x[0], stock.bottom), (stock.x[1], stock.top))
    met = {c.keep_out for c in found.collisions}
    for k in found.keep_outs:
        fill, outline = (0.25 if k.name in met else 0.7), k.outline()
        shapes.append(Stroke(plan.line(outline), 0.4, closed=True, fill=fill))
        x0, x1 = float(outline[:, 0].min()), float(outline[:, 0].max())
        corners = ((x0, k.bottom), (x1, k.bottom), (x1, k.top), (x0, k.top))
        shapes.append(Stroke(side.line(corners), 0.4, closed=True, fill=fill))
    for view, axes in ((plan, (0, 1)), (side, (0, 2))):
        shapes += _path(view, found.moves, axes)
    bottom = below + per * (high[2] - low[2])
    shapes += [*_lettered(plan, found, stock), *_lettered_below(side, found, bottom + 4.0)]
    shapes += [*_zero(plan), *_zero(side), *(s for p in pads for s in _cross(plan, p))]
    if found.collisions:
        shapes += _body(side, found.collisions[0])
    for number, c in enumerate(found.collisions[:9], 1):
        shapes += [*_number(plan, c.at[:2], number), *_number(side, (c.at[0], c.at[2]), number)]
    height = bottom + 3.0 + 5.0 * bool(found.keep_outs)
    unit, name = (1.0, "mm") if system == "metric" else (25.4, "in")
    wide = per * (high[0] - low[0])
    whole = max((v for v in (1, 2, 5, 10, 20, 50, 100, 200, 500) if v * unit * per < 0.6 * wide), default=1)
    length = whole * unit
    foot = Stroke(((_LEFT, height + 4), (_LEFT + length * per, height + 4)), 0.6)
    shapes += [foot, Words((_LEFT + length * per + 2, height + 5.4), f"{whole} {name}")]
    crosses = "; crosses: where fixtures press" if len(pads) else ""
    told = " ".join(f"{n}: {s}." for n, s in enumerate(found.says(system)[:4], 1)) or "Every move is clear."
    margin = f", {write(found.margin, 'length', system)} kept free" if found.margin else ""
    return Drawing(
        f"paths and keep-outs from above and from the front{margin}", _LEFT + wide + 24.0,
        height + 9.0, tuple(shapes), f"{told} Lines: at feed; dashed: rapids; ring: zero{crosses}.",
    )  # fmt: skip


def _lettered(v: _Scale, found: Clear, stock: Stock | None) -> Iterator[Stroke | Words]:
    """A letter on each keep-out from above; beside it, away from the wood's middle, where it is too small."""
    middle = (sum(stock.x) / 2, sum(stock.y) / 2) if stock else (0.0, 0.0)
    letters = letters_of([k.name for k in found.keep_outs])
    met = {c.keep_out for c in found.collisions}
    for k in found.keep_outs:
        low, high = k.outline().min(axis=0), k.outline().max(axis=0)
        x, y = v.at(*((low + high) / 2).tolist())
        wide, tall = ((high - low) * v.per).tolist()
        if min(wide, tall) < _INSIDE or k.name in met:
            away = (low + high) / 2 - middle
            reach = np.array(v.high) - np.array(v.low)
            if abs(away[0]) * reach[1] > abs(away[1]) * reach[0]:
                x += math.copysign(wide / 2 + 3.0, away[0])
            else:
                y -= math.copysign(tall / 2 + 3.0, away[1])
            yield box(x - 1.8, y - 1.9, 3.6, 3.8, width=0.0, fill=1.0)
        yield Words((x, y + 1.4), letters[k.name], "middle", bold=True)


def _lettered_below(v: _Scale, found: Clear, foot: float) -> Iterator[Words]:
    """Letters below the side view; fixtures one behind the other share a place."""
    letters = letters_of([k.name for k in found.keep_outs])
    places = list[tuple[float, list[str]]]()
    for x, name in sorted((v.at(float(k.outline()[:, 0].mean()), 0.0)[0], k.name) for k in found.keep_outs):
        if places and x - places[-1][0] < 5.0 * len(places[-1][1]):
            places[-1][1].append(letters[name])
        else:
            places.append((x, [letters[name]]))
    for x, several in places:
        yield Words((x, foot), ", ".join(sorted(several)), "middle", bold=True)


def _zero(v: _Scale) -> Iterator[Stroke]:
    x, y = v.at(0.0, 0.0)
    ring = np.linspace(0, 2 * math.pi, 24)[:-1]
    yield Stroke(tuple((x + 1.4 * math.cos(a), y + 1.4 * math.sin(a)) for a in ring), 0.5, closed=True, fill=1.0)


def _cross(v: _Scale, at: Point) -> Iterator[Stroke]:
    x, y = v.at(float(at[0]), float(at[1]))
    for s in (1.0, -1.0):
        yield Stroke(((x - 1.2, y - 1.2 * s), (x + 1.2, y + 1.2 * s)), 0.5)


def _extents(found: Clear, stock: Stock | None) -> tuple[Floats, Floats]:
    """Lowest and highest x, y and z of all that is drawn, with a rim."""
    ends = [found.moves.extents().T] if len(found.moves) else []
    for k in found.keep_outs:
        outline = k.outline()
        ends.append(np.array([[*outline.min(axis=0), k.bottom], [*outline.max(axis=0), k.top]]))
    if stock:
        ends.append(np.array([[stock.x[0], stock.y[0], stock.bottom], [stock.x[1], stock.y[1], stock.top]]))
    if found.collisions:
        c = found.collisions[0]
        wide, tall = _drawn_size(c)
        x, y, z = c.at
        ends.append(np.array([[x - wide, y, z], [x + wide, y, z + tall]]))
    every = np.concatenate(ends) if ends else np.array([[0.0, 0.0, 0.0], [1.0, 1.0, 1.0]])
    rim = 0.02 * float(np.ptp(every[:, 0])) + 2.0
    return every.min(axis=0) - rim, every.max(axis=0) + rim


def _drawn_size(c: Collision) -> tuple[float, float]:
    """Widest radius and height of the parts that are drawn: up to the one that meets something."""
    drawn = _drawn(c.body, c.part)
    return max(s.radius_high for s in drawn), max(s.high for s in drawn)


def _drawn(body: ToolBody, part: str) -> list[Section]:
    last = max(
        k for k, s in enumerate(body.sections) if s.part in (part, "nut" if part in ("flutes", "shank") else part)
    )
    return list(body.sections[: last + 1])


def _rectangle(v: _Scale, low: Point, high: Point) -> Iterator[Stroke]:
    (x0, y0), (x1, y1) = v.at(low[0], high[1]), v.at(high[0], low[1])
    yield box(x0, y0, x1 - x0, y1 - y0, fill=0.93)


def _path(v: _Scale, moves: Moves, axes: tuple[int, int]) -> Iterator[Stroke]:
    """The path as polylines of one kind each; arcs as their chords."""
    from shopcalc.holding.walls import _pieces

    ends, which = _pieces(moves)
    flat = ends[:, :, list(axes)]
    every = max(1, math.ceil(len(flat) / (20 * _MOST_LINES)))
    rapid = moves.kind[which] == Kind.RAPID
    start = 0
    cuts = [*(np.flatnonzero(np.diff(rapid)) + 1).tolist(), len(flat)] if len(flat) else []
    for end in cuts:
        points = np.concatenate([flat[start:end:every, 0], flat[end - 1 : end, 1]])
        yield Stroke(v.line(points), 0.25, dashed=bool(rapid[start]))
        start = end


def _body(v: _Scale, c: Collision) -> Iterator[Stroke]:
    for s in _drawn(c.body, c.part):
        _, low, high, r0, r1 = s
        x, _, z = c.at
        corners = ((x - r0, z + low), (x + r0, z + low), (x + r1, z + high), (x - r1, z + high))
        yield Stroke(v.line(corners), 0.5 if s[0] == c.part else 0.3, closed=True)


def _number(v: _Scale, at: Point, number: int) -> Iterator[Stroke | Words]:
    x, y = v.at(float(at[0]), float(at[1]))
    ring = np.linspace(0, 2 * math.pi, 24)[:-1]
    yield Stroke(tuple((x + _MARK * math.cos(a), y + _MARK * math.sin(a)) for a in ring), 0.5, closed=True, fill=1.0)
    yield Words((x, y + 1.4), str(number), "middle", bold=True)


def faces_drawing(found: CleanUp, system: System = "metric") -> Drawing:
    """A board's faces before and after: a section through the highest spread, and the depths at the points.

    Parameters
    ----------
    found : CleanUp
        From ``clean_up``.
    system : {"metric", "inch"}
        What the reader thinks in.

    Returns
    -------
    Drawing
        From above the depth taken from each face at each point, missed ones in a black box; beside it the section
        along the row of points with the greatest spread, heights drawn larger than lengths.
    """
    b = found.faces
    low, high = (np.array([f(b.x), f(b.y)]) for f in (np.min, np.max))
    span = np.maximum(high - low, 1.0)
    wide, tall = 150.0, min(100.0, max(40.0, 150.0 * span[1] / span[0]))
    shapes: list[Stroke | Words] = [
        Words((_LEFT, _TOP - 2.5), "taken from face A (upper) and B (lower number)", bold=True)
    ]
    shapes.append(box(_LEFT, _TOP, wide + 16, tall + 14, width=0.4, fill=0.97))
    missed = set(found.missed)
    for k in range(len(b.x)):
        x = _LEFT + 8 + wide * float((b.x[k] - low[0]) / span[0])
        y = _TOP + 7 + tall * float((high[1] - b.y[k]) / span[1])
        if k in missed:
            shapes.append(box(x - 7.5, y - 5.0, 15.0, 10.5, width=0.9, fill=1.0))
        numbers = (found.depth_a[k], found.depth_b[k])
        for depth, foot in zip(numbers, (y - 0.6, y + 4.2), strict=True):
            shapes.append(Words((x, foot), _short(float(depth), system), "middle", bold=k in missed))
    top = _TOP + tall + 14 + _GAP
    shapes += _section(found, top, wide, system)
    shown = "in millimetres" if system == "metric" else "in inches"
    told = "; ".join(found.says(system)[:3])
    return Drawing(
        "heights of both faces, and what the planes take", _LEFT + wide + 34, top + 46,
        tuple(shapes), f"{told}. Numbers {shown}; boxed ones are missed.",
    )  # fmt: skip


def _short(depth: float, system: System) -> str:
    depth = 0.0 if abs(depth) < 0.01 else depth
    return f"{depth:.1f}" if system == "metric" else f"{depth / 25.4:.3f}".replace("0.", ".", 1)


def _section(found: CleanUp, top: float, wide: float, system: System) -> Iterator[Stroke | Words]:
    """Both faces and both planes along the row whose faces bend most."""
    b = found.faces
    rows = [np.flatnonzero(np.isclose(b.y, y, atol=1e-6)) for y in np.unique(b.y)]
    columns = [np.flatnonzero(np.isclose(b.x, x, atol=1e-6)) for x in np.unique(b.x)]
    lines = [(r, b.x) for r in rows if len(r) > 2] + [(c, b.y) for c in columns if len(c) > 2]
    if not lines:
        order = np.argsort(b.x)
        lines = [(order, b.x)]
    chosen, along = max(lines, key=lambda v: float(np.ptp(found.depth_a[v[0]])) + float(np.ptp(found.depth_b[v[0]])))
    chosen = chosen[np.argsort(along[chosen])]
    a0, a1 = float(along[chosen].min()), float(along[chosen].max())
    plane = b.upper[chosen] - found.depth_a[chosen]
    pairs = ((b.upper[chosen], plane), (b.lower[chosen], plane - found.thickness))
    highs = [max(float(v.max()) for v in pair) for pair in pairs]
    spread = max(h - min(float(v.min()) for v in pair) for h, pair in zip(highs, pairs, strict=True))
    per, other = 15.0 / max(spread, 0.2), ("y" if along is b.x else "x")

    def at(values: Floats, strip: int) -> tuple[Point, ...]:
        return tuple(
            (
                _LEFT + 8 + wide * (float(u) - a0) / max(a1 - a0, 1e-9),
                top + 21 * strip + (highs[strip] - float(v)) * per,
            )
            for u, v in zip(along[chosen], values, strict=True)
        )

    where = write(round(float((b.y if other == "y" else b.x)[chosen[0]]), 1), "length", system)
    scale = per * max(a1 - a0, 1e-9) / wide
    title = f"section at {other} {where}, heights {scale:.0f} times larger, the middle of the wood left out"
    yield Words((_LEFT, top - 2.5), title, bold=True)
    rough = (*at(pairs[0][0], 0), *reversed(at(pairs[1][0], 1)))
    yield Stroke(rough, 0.0, closed=True, fill=0.88)
    feet = []
    for strip, (face, flat) in enumerate(pairs):
        yield Stroke(at(face, strip), 0.4)
        yield Stroke(at(flat, strip), 0.8, dashed=True)
        feet += [at(face, strip)[-1][1], at(flat, strip)[-1][1]]
    feet[2:] = feet[:1:-1]  # plane B lies over face B
    right = _LEFT + wide + 10
    for k, (one, two) in enumerate(itertools.pairwise(feet)):  # names that would stand in each other move apart
        feet[k + 1] = max(two, one + 4.6)
    for name, foot in zip(("face A", "plane A", "plane B", "face B"), feet, strict=True):
        yield Words((right, foot + 1.4), name)
