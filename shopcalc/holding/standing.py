"""Where fixtures stand to the wood: in it, against it, off it, or in the waste round it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from shopcalc.holding.fixtures import Placed
from shopcalc.units import System, write

_TOUCH, _INTO = 1.5, 0.5  # mm; a stop further off stops nothing at once, one further in stands in the wood


@dataclass(frozen=True)
class Remark:
    """How a fixture stands to the wood.

    Parameters
    ----------
    text : str
        With a pair of braces for each length.
    lengths : tuple of float
        [mm].
    bad : bool
        Whether the load must not be run so.
    """

    text: str
    lengths: tuple[float, ...] = ()
    bad: bool = True

    def says(self, system: System) -> str:
        """In one sentence.

        Parameters
        ----------
        system : {"metric", "inch"}
            What the reader thinks in.
        """
        return self.text.format(*(write(v, "length", system) for v in self.lengths))


def waste_under(placed: Sequence[Placed], x: float, y: float) -> float:
    """Wood that the blank must have round the part, so that every bolt's head lies on it; 0 where none stands out [mm].

    Parameters
    ----------
    placed : sequence of Placed
        As in ``check_load``.
    x, y : float
        Of the part [mm].
    """
    bolts = [(p, max(-p.pad[0], p.pad[0] - x, -p.pad[1], p.pad[1] - y)) for p in placed if p.fixture.kind == "bolt"]
    return max((out + p.fixture.diameter / 2 for p, out in bolts if out > 0), default=0.0)


def _gap(p: Placed, x: float, y: float) -> float | None:
    """Way between a stop and the side it keeps, below zero inside the part; None where it says no side, inf beside."""
    if p.stops is None or sum(abs(v) > 1e-9 for v in p.stops) != 1:
        return None
    outline, axis = p.keep_out().outline(), 0 if p.stops[0] else 1
    low, high = outline.min(axis=0), outline.max(axis=0)
    size = (x, y)
    if high[1 - axis] <= 0 or low[1 - axis] >= size[1 - axis]:
        return math.inf
    return float(-high[axis] if p.stops[axis] < 0 else low[axis] - size[axis])


def bears(p: Placed, x: float, y: float) -> bool:
    """Whether a stop touches the side it is said to stop; true of all else.

    Parameters
    ----------
    p : Placed
        Which.
    x, y : float
        Of the part, its corner at 0 [mm].
    """
    gap = None if p.fixture.kind != "stop" or p.fixture.height <= 0 else _gap(p, x, y)
    return gap is None or -_INTO <= gap <= _TOUCH


def remarks(placed: Sequence[Placed], x: float, y: float) -> Iterator[Remark]:
    """How each fixture stands to the wood.

    Parameters
    ----------
    placed : sequence of Placed
        In the program's coordinates, the part's corner at x = y = 0 and its top at z = 0.
    x, y : float
        Of the part [mm].
    """
    waste = waste_under(placed, x, y)
    for p in placed:
        f = p.fixture
        name = (p.name or f.id).replace("{", "{{").replace("}", "}}")
        if f.height > 0 and _in_wood(p, x, y):
            yield Remark(f"{name} stands in the wood: move it to the part's side")
        elif not bears(p, x, y):
            gap = _gap(p, x, y) or 0.0
            if math.isinf(gap) or gap < 0:
                yield Remark(f"{name} does not stand at the side it is to stop: it is left out of what holds")
            else:
                yield Remark(f"{name} is {{}} off the part, so it stops nothing: move it against the part", (gap,))
        elif f.kind == "stop" and p.stops is None:
            yield Remark(
                f"{name} stops nothing as entered: write stops, the way it keeps the part from moving", (), False
            )
        if f.kind == "bolt" and 0 < p.pad[0] < x and 0 < p.pad[1] < y:
            yield Remark(f"{name} goes through the part: a hole to be filled, for painted work only", (), False)
    if waste:
        yield Remark("the blank must reach {} beyond the part all round, under the bolts' heads", (waste,), False)


def _in_wood(p: Placed, x: float, y: float) -> bool:
    """Whether its body and the part are at one place: stops always, clamps where they are no higher than the part."""
    body = p.keep_out()
    if p.fixture.kind not in ("stop", "clamp") or (p.fixture.kind == "clamp" and body.top > 0):
        return False
    from shapely import Polygon
    from shapely import box as rectangle

    into: float = Polygon(body.outline()).intersection(rectangle(_INTO, _INTO, x - _INTO, y - _INTO)).area
    return into > 0
