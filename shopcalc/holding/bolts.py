"""Bolts that serve both faces: mirrored about the turning axis, clear of every move; and their drill template."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from shopcalc.cutting.engagement import refuse, require_at_most, require_positive
from shopcalc.documents import Block, Break, Drawing, Paragraph, Stroke, Words
from shopcalc.documents.drawing import box
from shopcalc.holding.collisions import met
from shopcalc.holding.fixtures import Fixture
from shopcalc.holding.keep_outs import KeepOut, cylinder
from shopcalc.holding.tool_body import ToolBody
from shopcalc.moves import Floats, Moves
from shopcalc.units import System, write

Bodies = ToolBody | Mapping[int, ToolBody]
_TILE = (150.0, 190.0)  # mm of the blank on one page
_LAP = 10.0  # mm that neighbouring pages show both
_CHECK = 100.0  # mm, to be measured on the print
_MOST_PLACES = 4000


@dataclass(frozen=True, eq=False)
class BoltPattern:
    """Bolts through the waste of a blank that is turned over.

    Parameters
    ----------
    places : (2 n, 2) float
        Pairs, each the mirror image of the other about the turning axis [mm].
    length, width : float
        Of the blank, its corner at x = y = 0 [mm].
    about : {"x", "y"}
        Axis through the middle it is turned about.
    bolt : Fixture
        Which.
    margin : float
        Every move of both programs keeps from each of them, all round [mm].
    free : int
        Pairs of places that would do [-].
    part : (4,) float or None
        Lowest x and y, highest x and y of the part within the blank [mm]; None where nothing was said of it.
    """

    places: Floats
    length: float
    width: float
    about: Literal["x", "y"]
    bolt: Fixture
    margin: float
    free: int
    part: tuple[float, float, float, float] | None = None

    @property
    def through(self) -> int:
        """Bolts that go through the part itself: holes to be filled [-]."""
        return int(np.count_nonzero(~_in_waste(self.places, self.part, self.bolt.diameter)))

    def says(self, system: System = "metric") -> tuple[str, ...]:
        """In sentences.

        Parameters
        ----------
        system : {"metric", "inch"}
            What the reader thinks in.
        """
        at = "; ".join(", ".join(write(round(v, 1), "length", system) for v in p) for p in self.places.tolist())
        margin = write(self.margin, "length", system)
        filled = (
            f"{self.through} of them go through the part: painted work only; plug or fill the holes level, sand, and "
            "seal before paint",
        )  # fmt: skip
        return (
            f"{len(self.places)} bolts at x, y: {at}",
            *filled[: bool(self.through)],
            f"every move of both programs keeps {margin} from them; turn the blank about {self.about}, the same holes "
            "serve again",
            "keep the last bolt of a cut-out part until bridges or other clamps hold it",
        )


def bolt_pattern(
    first: tuple[Moves, Bodies], second: tuple[Moves, Bodies], length: float, width: float, thickness: float,
    bolt: Fixture, *, about: Literal["x", "y"] = "x", pairs: int = 2, edge: float = 15.0, margin: float = 3.0,
    grid: float = 10.0, part: tuple[float, float, float, float] | None = None, filled: bool = False,
    system: System = "metric",
) -> BoltPattern:  # fmt: skip
    """Find bolts that hold both faces of a blank and that no move meets.

    Parameters
    ----------
    first, second : (Moves, ToolBody or mapping)
        Both programs with their bodies, each as the blank then lies: corner at x = y = 0, top at z = 0.
    length, width, thickness : float
        Of the blank [mm].
    bolt : Fixture
        Its diameter and the height of its head over the wood; below it the whole of its diameter counts.
    about : {"x", "y"}
        Axis it is turned about.
    pairs : int
        Pairs of bolts.
    edge : float
        Least way from a bolt's middle to the blank's edge [mm].
    margin : float
        To be kept from every move [mm].
    grid : float
        Between the places tried [mm].
    part : (4,) float, optional
        Lowest x and y, highest x and y of the part within the blank: bolts stand wholly in the waste round it [mm].
    filled : bool
        Where that waste has too few places, take holes through the part as well.
    system : {"metric", "inch"}
        What the reader of faults thinks in.

    Returns
    -------
    BoltPattern
        Of all places whose mirror images are clear in both programs too, those furthest apart: the first pair furthest
        from the middle, each further one furthest from those before.

    Raises
    ------
    InputError
        When too few places are clear, or too many would be tried.
    """
    require_positive(length=length, width=width, thickness=thickness, edge=edge, grid=grid)
    if about not in ("x", "y"):
        refuse(f"a blank is not turned about '{about}'", "use x or y")
    if bolt.diameter <= 0:
        refuse(f"fixture '{bolt.id}' is not round", "take a bolt with a diameter")
    axis = 1 if about == "x" else 0
    size = np.array([length, width])
    ticks = [np.arange(edge, (s if k != axis else s / 2) - (edge if k != axis else 0) + 1e-9, grid)
             for k, s in enumerate(size)]  # fmt: skip
    require_at_most("places", float(len(ticks[0]) * len(ticks[1])), "what is tried", _MOST_PLACES, "widen grid", "")
    places = np.array(list(itertools.product(*ticks)), dtype=float).reshape(-1, 2)
    places = places[size[axis] / 2 - places[:, axis] >= bolt.diameter / 2 + 1e-9]  # the two must not be one
    both = np.concatenate([places, _mirrored(places, size, axis)])
    clear = np.ones(len(both), dtype=bool)
    for moves, bodies in (first, second):
        clear &= ~met(moves, bodies, [_as_keep_out(k, p, bolt, thickness) for k, p in enumerate(both)], margin=margin)
    free = places[clear[: len(places)] & clear[len(places) :]]
    waste = _in_waste(free, part, bolt.diameter) & _in_waste(_mirrored(free, size, axis), part, bolt.diameter)
    if not filled or waste.sum() >= pairs:
        free = free[waste]
    if len(free) < pairs:
        where = "" if part is None or filled else " in the waste"
        inside = "" if part is None or filled else ", or, on painted work, holes through the part to be filled"
        count = {0: "no pair of places", 1: "only one pair of places"}.get(
            len(free), f"only {len(free)} pairs of places"
        )
        refuse(
            f"{count} for bolts{where} {'are' if len(free) > 1 else 'is'} clear of both programs by "
            f"{write(margin, 'length', system)}; {pairs} asked",
            f"leave more waste round the part, take bolts with lower heads, or a smaller margin{inside}",
        )
    chosen = _spread(free, size, axis, pairs)
    out = np.concatenate([chosen, _mirrored(chosen, size, axis)])
    return BoltPattern(out, length, width, about, bolt, margin, len(free), part)


def _in_waste(places: Floats, part: tuple[float, float, float, float] | None, diameter: float) -> NDArray[np.bool_]:
    """Which bolts touch nothing of the part."""
    if part is None:
        return np.ones(len(places), dtype=bool)
    low, high = np.array(part[:2]), np.array(part[2:])
    away = np.maximum(np.maximum(low - places, places - high), 0.0)
    out: NDArray[np.bool_] = np.hypot(away[:, 0], away[:, 1]) >= diameter / 2
    return out


def _mirrored(places: Floats, size: Floats, axis: int) -> Floats:
    out = places.copy()
    out[:, axis] = size[axis] - out[:, axis]
    return out


def _as_keep_out(number: int, place: Floats, bolt: Fixture, thickness: float) -> KeepOut:
    return cylinder(str(number), float(place[0]), float(place[1]), bolt.diameter, bottom=-thickness, top=bolt.height)


def _spread(free: Floats, size: Floats, axis: int, pairs: int) -> Floats:
    """Pairs far from the middle, from each other and from their own images."""
    first = int(np.argmax(np.hypot(*(free - size / 2).T)))
    chosen = [first]
    while len(chosen) < pairs:
        taken = np.concatenate([free[chosen], _mirrored(free[chosen], size, axis)])
        away = np.hypot(*(free[:, None, :] - taken[None]).transpose(2, 0, 1)).min(axis=1)
        apart = np.minimum(away, size[axis] - 2 * free[:, axis])
        chosen.append(int(np.argmax(apart + 1e-3 * away)))
    return free[chosen]


def drill_template(pattern: BoltPattern, drill: float, system: System = "metric") -> tuple[Block, ...]:
    """A template to print at full size and tape together: holes, edges of the blank, and a mark to check the print.

    Parameters
    ----------
    pattern : BoltPattern
        From ``bolt_pattern``.
    drill : float
        Diameter of the holes [mm].
    system : {"metric", "inch"}
        What the reader thinks in.

    Returns
    -------
    tuple of Block
        For a ``documents.Document``: a page for each 150 by 190 mm of the blank, rows from the far edge down. Pages
        lap by 10 mm; y runs up the page.

    Raises
    ------
    InputError
        When the drill has no size.
    """
    require_positive(drill=drill)
    columns, rows = (
        max(1, math.ceil((v - _LAP) / t - 1e-9)) for v, t in zip((pattern.length, pattern.width), _TILE, strict=True)
    )
    size = write(_CHECK, "length", "metric")
    if system == "inch":
        size += f" ({write(_CHECK, 'length', system)})"
    blocks: list[Block] = [
        Paragraph(
            f"Print at 100 %, never fitted to the page. Measure both marks on every page: each must be {size} long, or "
            "the template is wrong. Cut at the dashed lines, tape edge to edge, lay thick lines on the blank's edges. "
            f"Holes {write(drill, 'length', system)}; the turning axis is dashed."
        )
    ]
    for row, column in itertools.product(reversed(range(rows)), range(columns)):
        name = f"{chr(ord('A') + row % 26)}{column + 1}"
        label = f"template page {name} of {columns * rows}"
        shapes = tuple(_tile(pattern, column * _TILE[0], row * _TILE[1], drill, name, size))
        if len(blocks) > 1:
            blocks.append(Break())
        blocks.append(Drawing(label, _TILE[0] + 2 * _LAP, _TILE[1] + 2 * _LAP, shapes))
    return tuple(blocks)


def _tile(pattern: BoltPattern, x0: float, y0: float, drill: float, name: str, size: str) -> Iterator[Stroke | Words]:
    """One page: the blank from x0, y0, with a lap all round."""
    from shapely import LineString
    from shapely import box as area

    wide, tall = _TILE
    seen = area(x0 - _LAP, y0 - _LAP, x0 + wide + _LAP, y0 + tall + _LAP)

    def at(x: float, y: float) -> tuple[float, float]:
        return x - x0 + _LAP, tall + _LAP - (y - y0)

    yield box(_LAP, _LAP, wide, tall, width=0.2, dashed=True)
    long, across = pattern.length, pattern.width
    edges = [((0.0, 0.0), (long, 0.0)), ((long, 0.0), (long, across)), ((long, across), (0.0, across)),
             ((0.0, across), (0.0, 0.0))]  # fmt: skip
    half = (across if pattern.about == "x" else long) / 2
    axis = ((0.0, half), (long, half)) if pattern.about == "x" else ((half, 0.0), (half, across))
    for line, width in (*((e, 0.7) for e in edges), (axis, 0.3)):
        part = LineString(line).intersection(seen)
        if part.geom_type == "LineString" and not part.is_empty:
            yield Stroke(tuple(at(*p) for p in part.coords), width, dashed=width < 0.5)
    ring = [2 * math.pi * k / 36 for k in range(36)]
    for number, (x, y) in enumerate(pattern.places.tolist(), 1):
        if not (abs(x - x0 - wide / 2) <= wide / 2 + _LAP and abs(y - y0 - tall / 2) <= tall / 2 + _LAP):
            continue
        yield Stroke(
            tuple(at(x + drill / 2 * math.cos(a), y + drill / 2 * math.sin(a)) for a in ring), 0.3, closed=True
        )
        for dx, dy in ((8.0, 0.0), (0.0, 8.0)):
            yield Stroke((at(x - dx, y - dy), at(x + dx, y + dy)), 0.2)
        yield Words((at(x, y)[0] + drill / 2 + 2, at(x, y)[1] - 2), str(number))
    foot = _LAP + tall - 22.0
    left = _LAP + (wide - _CHECK) / 2
    yield Stroke(((left, foot), (left + _CHECK, foot)), 0.4)
    for x in (left, left + _CHECK):
        yield Stroke(((x, foot - 2), (x, foot + 2)), 0.2)
    yield Words((left + _CHECK / 2, foot + 6), f"page {name}: both marks are {size} long", "middle")
    side, head = _LAP + wide - 12.0, _LAP + 30.0
    yield Stroke(((side, head), (side, head + _CHECK)), 0.4)
    for y in (head, head + _CHECK):
        yield Stroke(((side - 2, y), (side + 2, y)), 0.2)
