"""Wood in the way: what stands beside the cut when shank, nut or holder come by, from a height map of the stock.

The stock is a grid of columns; moves are run in their order, each part above the flutes (at rapids the flutes too) is
held against the columns that still stand where it comes before the flutes, or where they do not reach their top; then
the flutes take what they take.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from shopcalc.compiling import compiled
from shopcalc.cutting.engagement import refuse, require_positive
from shopcalc.holding.collisions import ERROR
from shopcalc.holding.tool_body import ToolBody
from shopcalc.moves import PLANE_AXES, Floats, Kind, Moves

_MOST_CELLS = 40_000_000


@dataclass(frozen=True)
class Stock:
    """A block of wood as it lies in the program's coordinates.

    Parameters
    ----------
    x, y : (2,) float
        Lowest and highest [mm].
    top, bottom : float
        Heights [mm].
    """

    x: tuple[float, float]
    y: tuple[float, float]
    top: float = 0.0
    bottom: float = -20.0

    def __post_init__(self) -> None:
        if not (self.x[0] < self.x[1] and self.y[0] < self.y[1] and self.bottom < self.top):
            refuse("the stock has no size", "give each lowest value below its highest")


@dataclass(frozen=True, eq=False)
class Rub:
    """A part above the flutes, or the flutes at a rapid, that meets standing wood.

    Parameters
    ----------
    part : str
        Shank, nut, ...
    body : ToolBody
        Whose.
    move : int
        The first that does so.
    line : int
        Of the program; 0 where it has none.
    moves : int
        How many do so.
    depth : float
        How far the wood stands over the part's lower end, at most [mm].
    at : (2,) float
        A column of that wood [mm].
    """

    part: str
    body: ToolBody
    move: int
    line: int
    moves: int
    depth: float
    at: tuple[float, float]

    @property
    def remedy(self) -> str:
        """What mends it."""
        if self.part == "flutes":
            return "the rapid runs through wood: raise its height, or feed there"
        if self.part == "shank":
            return "take more levels, use longer flutes or a thinner shank, or clear the wood beside it first"
        return f"let it stick out {self.depth:.1f} mm more, or clear the wood beside it first"


@dataclass(frozen=True, eq=False)
class Cleared:
    """What moves leave of a block, and what rubbed on the way.

    Parameters
    ----------
    rubs : tuple of Rub
        One for each part of each cutter, deepest first.
    heights : (n, m) float
        Of the columns that are left, along y and x [mm].
    cell : float
        Width of a column; nearer than 0.71 of it counts as rubbing [mm].
    """

    rubs: tuple[Rub, ...]
    heights: Floats
    cell: float


@compiled
def _covers(a, b, x, y, radius):  # type: ignore[no-untyped-def]
    """Shares of a straight move between which a disc covers a place; the first above the last where it never does."""
    dx, dy = b[0] - a[0], b[1] - a[1]
    px, py = x - a[0], y - a[1]
    long2 = dx * dx + dy * dy
    if long2 == 0.0:
        return (0.0, 1.0) if px * px + py * py <= radius * radius else (1.0, 0.0)
    near = (px * dx + py * dy) / long2
    room = radius * radius - (px - near * dx) ** 2 - (py - near * dy) ** 2
    if room < 0.0:
        return 1.0, 0.0
    half = math.sqrt(room / long2)
    return max(0.0, near - half), min(1.0, near + half)


@compiled
def _cut(a, b, x, y, radius, under, step):  # type: ignore[no-untyped-def]
    """Lowest underside over a column along a straight move; very high where the cutter never covers it.

    under holds the heights of the underside at distances 0, step, 2 step ... up to the radius.
    """
    t0, t1 = _covers(a, b, x, y, radius)
    if t0 > t1:
        return 1e30
    rise = b[2] - a[2]
    if len(under) == 1:
        return a[2] + (t1 if rise < 0.0 else t0) * rise
    dx, dy = b[0] - a[0], b[1] - a[1]
    long2 = dx * dx + dy * dy
    near = 0.0 if long2 == 0.0 else ((x - a[0]) * dx + (y - a[1]) * dy) / long2
    low, tries = 1e30, (1 if rise == 0.0 else 9)
    for k in range(tries):
        t = min(t1, max(t0, near)) if tries == 1 else t0 + (t1 - t0) * k / (tries - 1)
        far = math.sqrt((x - a[0] - t * dx) ** 2 + (y - a[1] - t * dy) ** 2)
        low = min(low, a[2] + t * rise + under[min(len(under) - 1, int(far / step + 0.999))])
    return low


@compiled
def _met(a, b, x, y, height, low, wide, cuts, radius, flutes):  # type: ignore[no-untyped-def]
    """How far a column stands over a part's lower end before the flutes have taken it; 0 where it does not."""
    t0, t1 = _covers(a, b, x, y, wide)
    rise = b[2] - a[2]
    if cuts and t0 <= t1:
        first, last = _covers(a, b, x, y, radius)
        if first <= last and height <= a[2] + first * rise + flutes + 1e-6:  # else the flutes do not reach its top
            t1 = min(t1, first)
            if t0 >= first:
                return 0.0
    if t0 > t1:
        return 0.0
    return max(0.0, height - (a[2] + (t1 if rise < 0.0 else t0) * rise + low))


@compiled
def _run(  # type: ignore[no-untyped-def]
    ends, move, body, feeds, first, sections, flutes, under, under_first, under_step, radii, grid, x0, y0, cell, found
):
    """Every straight piece in turn: hold the upper parts against the columns, then cut.

    found[section] holds count of moves, first move, depth, column x and y, and the last move counted.
    """
    reach, top, reached = 0.7072 * cell, grid.max(), radii * radii * (1.0 + 1e-12)
    ny, nx = grid.shape
    for i in range(len(move)):
        a, b, which = ends[i, 0], ends[i, 1], body[i]
        if which < 0:
            continue
        for j in range(first[which], first[which + 1]):
            above = j >= first[which] + flutes[which]
            if feeds[i] and not above:
                continue
            low = min(a[2], b[2]) + sections[j, 0]
            wide = max(sections[j, 2], sections[j, 3]) + reach
            if not above:  # a rapid through wood
                wide = min(sections[j, 2], sections[j, 3]) - reach
            if low >= top or wide <= 0.0:  # nothing of the stock stands that high
                continue
            c0 = max(0, int((min(a[0], b[0]) - wide - x0) / cell))
            c1 = min(nx - 1, int((max(a[0], b[0]) + wide - x0) / cell))
            r0 = max(0, int((min(a[1], b[1]) - wide - y0) / cell))
            r1 = min(ny - 1, int((max(a[1], b[1]) + wide - y0) / cell))
            hit = False
            for r in range(r0, r1 + 1):
                y = y0 + (r + 0.5) * cell
                for c in range(c0, c1 + 1):
                    if grid[r, c] <= low + 1e-6 or (hit and grid[r, c] - low <= found[j, 2]):
                        continue  # what is met cannot be deeper than this
                    x = x0 + (c + 0.5) * cell
                    deep = _met(
                        a, b, x, y, grid[r, c], sections[j, 0], wide, feeds[i], radii[which],
                        sections[first[which] + flutes[which] - 1, 1],
                    )  # fmt: skip
                    if deep > 1e-6:
                        hit = True
                        if deep > found[j, 2]:
                            found[j, 2], found[j, 3], found[j, 4] = deep, x, y
            if hit and (found[j, 0] == 0.0 or found[j, 5] != move[i]):
                if found[j, 0] == 0.0:
                    found[j, 1] = move[i]
                found[j, 0] += 1.0
                found[j, 5] = move[i]
        if not feeds[i] or min(a[2], b[2]) >= top:
            continue
        own, lowest = under[under_first[which] : under_first[which + 1]], min(a[2], b[2])
        radius = radii[which]
        if len(own) > 1:  # further out the underside lies above all wood
            radius = min(radius, np.searchsorted(own, top - lowest) * under_step[which])
        c0 = max(0, int((min(a[0], b[0]) - radius - x0) / cell))
        c1 = min(nx - 1, int((max(a[0], b[0]) + radius - x0) / cell))
        r0 = max(0, int((min(a[1], b[1]) - radius - y0) / cell))
        r1 = min(ny - 1, int((max(a[1], b[1]) + radius - y0) / cell))
        dx, dy = b[0] - a[0], b[1] - a[1]
        share = 1.0 / (dx * dx + dy * dy) if dx != 0.0 or dy != 0.0 else 0.0
        fine = 1.0 / under_step[which]
        for r in range(r0, r1 + 1):
            y = y0 + (r + 0.5) * cell
            for c in range(c0, c1 + 1):
                if grid[r, c] > lowest:
                    px, py = x0 + (c + 0.5) * cell - a[0], y - a[1]
                    t = min(1.0, max(0.0, (px * dx + py * dy) * share))  # nearest place of the way
                    away = (px - t * dx) ** 2 + (py - t * dy) ** 2
                    if away > reached[which]:
                        continue
                    if len(own) > 1 and grid[r, c] <= lowest + own[int(math.sqrt(away) * fine)]:
                        continue  # the underside rises from the axis outwards: nowhere on the way is it lower
                    low = _cut(a, b, x0 + (c + 0.5) * cell, y, radii[which], own, under_step[which])
                    if low < grid[r, c]:
                        grid[r, c] = low


def check_walls(moves: Moves, bodies: ToolBody | Mapping[int, ToolBody], stock: Stock, *, cell: float = 0.5) -> Cleared:
    """Run moves through a block and tell which part above the flutes meets wood that still stands.

    Parameters
    ----------
    moves : Moves
        Of one load, in their order.
    bodies : ToolBody or mapping
        The one body, or by cutter number; moves of unknown cutters are passed over.
    stock : Stock
        As it lies before the first of them.
    cell : float
        Width of the columns [mm].

    Returns
    -------
    Cleared
        On the safe side: a part that passes wood nearer than 0.71 of a column is told as rubbing, as a shank does that
        is as thick as its flutes.

    Raises
    ------
    InputError
        When columns are too many or have no size.

    Example
    -------
    >>> from shopcalc.cutters import Cutter
    >>> from shopcalc.holding.tool_body import tool_body
    >>> from shopcalc.moves import from_lists
    >>> short = Cutter("S", "", "square end", 12.0, 12.0, 2, 15.0, 70.0, 40.0)
    >>> slot = from_lists([(0, 0, -20), (100, 0, -20)], [Kind.LINE], feed=3000)
    >>> block = Stock((-20, 120), (-30, 30), 0.0, -40.0)
    >>> [(r.part, r.depth) for r in check_walls(slot, tool_body(short, None), block).rubs]
    [('shank', 5.0)]
    """
    require_positive(cell=cell)
    nx, ny = (max(1, math.ceil((v[1] - v[0]) / cell - 1e-9)) for v in (stock.x, stock.y))
    if nx * ny > _MOST_CELLS:
        refuse(f"{nx * ny / 1e6:.0f} million columns of {cell:g} mm", "take wider ones, or a smaller block")
    grid = np.full((ny, nx), float(stock.top))
    known = {int(n): bodies for n in np.unique(moves.cutter)} if isinstance(bodies, ToolBody) else dict(bodies)
    order = list(known.values())
    if not order or not len(moves):
        return Cleared((), grid, cell)
    ends, move = _pieces(moves)
    number = np.full(int(max(moves.cutter.max(), max(known))) + 1, -1, dtype=np.int64)
    number[list(known)] = np.arange(len(known))
    first = np.cumsum([0, *(len(b.sections) for b in order)])
    flutes = np.array([sum(s.part == "flutes" for s in b.sections) for b in order])
    sections = np.concatenate([b.array for b in order])
    unders = [_underside(b, cell) for b in order]
    radii = np.array([max(max(s.radius_low, s.radius_high) for s in b.sections if s.part == "flutes") for b in order])
    found = np.zeros((len(sections), 6))
    kind = moves.kind[move]
    _run(
        ends, move, number[moves.cutter[move]], (kind == Kind.LINE) | (kind == Kind.ARC), first, sections, flutes,
        np.concatenate([u[0] for u in unders]), np.cumsum([0, *(len(u[0]) for u in unders)]),
        np.array([u[1] for u in unders]), radii, grid, stock.x[0], stock.y[0], cell, found,
    )  # fmt: skip
    owner = [b for b in order for _ in b.sections]
    named = [s for b in order for s in b.sections]
    rubs = [
        Rub(named[j].part, owner[j], int(f[1]), int(moves.line[int(f[1])]), int(f[0]), float(f[2]),
            (float(f[3]), float(f[4])))
        for j, f in enumerate(found) if f[0] > 0
    ]  # fmt: skip
    return Cleared(tuple(sorted(rubs, key=lambda r: -r.depth)), grid, cell)


def _underside(body: ToolBody, cell: float) -> tuple[Floats, float]:
    """Heights of the flutes' underside at even distances from the axis, taken a little low; one 0 for a flat one."""
    flutes = [s for s in body.sections if s.part == "flutes"]
    if all(s.radius_low == s.radius_high for s in flutes):
        return np.zeros(1), 1.0
    radius = [flutes[0].radius_low, *(s.radius_high for s in flutes)]
    height = [flutes[0].low, *(s.high for s in flutes)]
    step = min(cell / 4, max(radius) / 64)
    rise = [k == 0 or radius[k] > radius[k - 1] for k in range(len(radius))]
    at = np.arange(math.ceil(max(radius) / step) + 2) * step
    kept = [(r, h) for r, h, ok in zip(radius, height, rise, strict=True) if ok]
    return np.interp(at, [r for r, _ in kept], [h for _, h in kept]), step


def _pieces(moves: Moves) -> tuple[Floats, np.ndarray[tuple[int], np.dtype[np.int64]]]:
    """(n, 2, 3) ends of straight pieces and the move of each; arcs in chords."""
    travels = moves.kind <= Kind.ARC
    straight = np.flatnonzero(travels & (moves.kind != Kind.ARC))
    ends = [np.stack([moves.points[straight], moves.points[straight + 1]], axis=1)]
    which = [straight]
    for plane, (p, q, _) in enumerate(PLANE_AXES):
        mine = moves.arc_plane == plane
        i, centre, sweep = moves.arc_index[mine], moves.arc_centre.reshape(-1, 3)[mine], moves.arc_sweep[mine]
        a, b = moves.points[i], moves.points[i + 1]
        du, dv = a[:, p] - centre[:, p], a[:, q] - centre[:, q]
        radius = np.hypot(du, dv)
        step = 2 * np.arccos(np.maximum(0.0, 1 - ERROR / np.maximum(radius, ERROR)))
        count = np.maximum(1, np.ceil(np.abs(sweep) / np.maximum(step, 1e-6))).astype(np.int64)
        arc = np.repeat(np.arange(len(i)), count)
        nth = np.arange(len(arc)) - np.repeat(np.cumsum(count) - count, count)
        begin = np.arctan2(dv, du)
        chords = np.empty((len(arc), 2, 3))
        for end in (0, 1):
            t = (nth + end) / count[arc]
            at = a[arc] + t[:, None] * (b - a)[arc]
            angle = begin[arc] + t * sweep[arc]
            at[:, p] = centre[arc, p] + radius[arc] * np.cos(angle)
            at[:, q] = centre[arc, q] + radius[arc] * np.sin(angle)
            chords[:, end] = at
        chords[nth + 1 == count[arc], 1] = b
        ends.append(chords)
        which.append(i[arc])
    move = np.concatenate(which)
    order = np.argsort(move, kind="stable")
    return np.ascontiguousarray(np.concatenate(ends)[order]), move[order]
