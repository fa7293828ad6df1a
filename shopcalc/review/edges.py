"""Which cutters are due: what each edge has cut against what the shop says it lasts, or what earlier ones lasted."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from statistics import median
from typing import Literal

from shopcalc.cutters import Cutter
from shopcalc.shoplog import ShopLog
from shopcalc.shoplog.views import cutter_life

#: Share of its life from which an edge is said to be due soon (common practice, no source).
SOON = 0.8


@dataclass(frozen=True)
class EdgeUse:
    """The present edge of a cutter.

    Parameters
    ----------
    cutter : str
        Id.
    edge : int
        How often it was ground again [-].
    minutes, distance : float or None
        Cut with it [min], [mm]; None where nothing is logged.
    life_minutes, life_distance : float or None
        What it lasts [min], [mm]; None where that is not known.
    known_from : str
        Where that comes from, for people.
    """

    cutter: str
    edge: int
    minutes: float | None
    distance: float | None
    life_minutes: float | None
    life_distance: float | None
    known_from: str

    @property
    def share(self) -> float | None:
        """Of its life, by distance or by minutes, whichever is more [ratio]; None where no life is known."""
        pairs = ((self.minutes, self.life_minutes), (self.distance, self.life_distance))
        shares = [used / life for used, life in pairs if used is not None and life]
        return max(shares, default=None)

    @property
    def state(self) -> Literal["due", "soon", "good", "not known"]:
        """In a word."""
        if self.share is None:
            return "not known"
        return "due" if self.share >= 1 else "soon" if self.share >= SOON else "good"


def edge_uses(log: ShopLog, cutters: Mapping[str, Cutter]) -> tuple[EdgeUse, ...]:
    """What each cutter in use has cut since it was last ground.

    Parameters
    ----------
    log : ShopLog
        Open.
    cutters : mapping
        The shop's; one may say how long its edge lasts (``edge_life``).

    Returns
    -------
    tuple of EdgeUse
        Those nearest to their end first, those without a known life last. A life is the shop's own figure, else the
        median of that cutter's earlier edges; it is never taken from another cutter.
    """
    out = []
    for cutter, rows in cutter_life(log).groupby("cutter", sort=False):
        columns = (rows.sort_values("edge")[c].tolist() for c in ("edge", "minutes", "distance", "retired"))
        edges = [(int(n), _number(m), _number(d), isinstance(why, str)) for n, m, d, why in zip(*columns, strict=True)]
        edge, minutes, distance, retired = edges[-1]
        if not retired:
            life = _life(str(cutter), edges[:-1], cutters)
            out.append(EdgeUse(str(cutter), edge, minutes, distance, *life))
    return tuple(sorted(out, key=lambda e: (-(e.share or 0.0), e.share is None, e.cutter)))


Edges = list[tuple[int, float | None, float | None, bool]]


def _life(cutter: str, earlier: Edges, cutters: Mapping[str, Cutter]) -> tuple[float | None, float | None, str]:
    said = cutters[cutter].edge_life if cutter in cutters else None
    if said is not None:
        return said / 60, None, "the shop's table"
    minutes = [m for _, m, _, _ in earlier if m]
    distances = [d for _, _, d, _ in earlier if d]
    if not minutes and not distances:
        return None, None, "no edge of it was ground again yet"
    n = max(len(minutes), len(distances))
    words = "its one earlier edge" if n == 1 else f"median of its {n} earlier edges"
    return median(minutes) if minutes else None, median(distances) if distances else None, words


def _number(value: float) -> float | None:
    return None if value != value else float(value)
