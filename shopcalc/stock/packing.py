"""Pieces laid out on boards and sheets: many quick packings, their best fillings recombined."""

from __future__ import annotations

import math
import random
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from shopcalc.stock.bounds import bound
from shopcalc.stock.layout import Filled, Item, Laid, Layout, Piece

_UNITS = 100  # of the packer, per mm
_POOL, _TRIES_KEPT = 300, 4  # fillings given to the solver; whole tries among them
_MANY = 60.0  # seconds; the solver's stop, never reached by the sizes a shop meets


#: A filling of one item: its type's number, and where each piece type lies (type, x, y, length, width, turned).
_Spot = tuple[int, int, int, int, int, bool]


@dataclass(frozen=True)
class _Pattern:
    item: int
    spots: tuple[_Spot, ...]


def lay_out(
    pieces: Sequence[Piece],
    items: Sequence[Item],
    kerf: float,
    *,
    edge_to_edge: bool = True,
    turnable: bool = False,
    tries: int = 240,
    seed: int = 1,
) -> Layout:
    """Lay pieces out on boards or sheets, at the least cost found.

    Parameters
    ----------
    pieces : sequence of Piece
        To be cut.
    items : sequence of Item
        To cut from.
    kerf : float
        Between neighbouring pieces [mm].
    edge_to_edge : bool
        Whether every cut must go through from edge to edge of what is cut, as a saw's do.
    turnable : bool
        Whether the grain may run across the item.
    tries : int
        Packings tried; more may find less waste [-].
    seed : int
        The same gives the same layout [-].

    Returns
    -------
    Layout
        Every piece once, in place or among the missing.

    Notes
    -----
    Every try packs greedily (rectpack) by another rule and order; all fillings of single items ever seen are kept, and
    an integer programme (HiGHS, through scipy) chooses the cheapest set of them that makes every piece.
    """
    if not pieces:
        return Layout((), (), (), 0.0, kerf)
    sizes = sorted({(p.length, p.width) for p in pieces}, reverse=True)
    number = {size: k for k, size in enumerate(sizes)}
    demand = Counter(number[p.length, p.width] for p in pieces)
    packer = _Packer(sizes, items, kerf, edge_to_edge, turnable)
    pool = _best(_tried(packer, demand, tries, random.Random(seed)), items, sizes)
    chosen = _recombine(pool, items, demand, sizes) if pool else []
    filled, missing = _assign(chosen, items, pieces, number)
    gone = set(missing)
    placed = [p for k, p in enumerate(pieces) if k not in gone]
    return Layout(tuple(pieces), filled, missing, bound(placed, items, kerf, turnable=turnable), kerf)


class _Packer:
    """Greedy packing in whole hundredths of a millimetre, each piece and room larger by a kerf."""

    def __init__(
        self, sizes: Sequence[tuple[float, float]], items: Sequence[Item], kerf: float, edge: bool, turnable: bool
    ) -> None:
        import rectpack  # loads quickly, but a command that prices by percentage needs none of it

        self.kerf = _up(kerf)
        self.sizes = [(_up(a) + self.kerf, _up(b) + self.kerf) for a, b in sizes]
        self.items, self.turnable = items, turnable
        guillotine = ("BssfSas", "BssfMinas", "BlsfLas", "BafMinas", "BssfLas", "BafLas")
        names = [f"Guillotine{n}" for n in guillotine] if edge else ["MaxRectsBssf", "MaxRectsBl", "MaxRectsBaf"]
        self.ways = [getattr(rectpack, n) for n in names]
        self.bins = (rectpack.PackingBin.BFF, rectpack.PackingBin.BBF)
        self.new = rectpack.newPacker

    def rooms(self, item: int) -> Iterator[tuple[int, int, int, int]]:
        for x, y, length, width in self.items[item].clear:
            yield _up(x), _up(y), _down(x + length) - _up(x) + self.kerf, _down(y + width) - _up(y) + self.kerf

    def fits(self, item: int) -> list[bool]:
        rooms = [(length, width) for _, _, length, width in self.rooms(item)]
        return [
            any((a <= r and b <= s) or (self.turnable and b <= r and a <= s) for r, s in rooms) for a, b in self.sizes
        ]

    def pack(self, order: Sequence[int], copies: Sequence[int], way: int, best_bin: int) -> list[_Pattern]:
        """Fillings of items (by their numbers) with piece types in this order."""
        packer = self.new(
            bin_algo=self.bins[best_bin], pack_algo=self.ways[way % len(self.ways)], sort_algo=list,
            rotation=self.turnable,
        )  # fmt: skip
        rooms = [(c, i, *room) for c, i in enumerate(copies) for room in self.rooms(i)]
        for k, (_, _, _, _, length, width) in enumerate(rooms):
            packer.add_bin(length, width, bid=k)
        for t in order:
            packer.add_rect(*self.sizes[t], rid=t)
        packer.pack()
        spots: dict[int, list[_Spot]] = {}
        for room in packer:
            copy, _, x0, y0, _, _ = rooms[room.bid]
            for r in room:
                turned = (r.width, r.height) != self.sizes[r.rid]
                size = (r.width - self.kerf, r.height - self.kerf)
                spots.setdefault(copy, []).append((r.rid, x0 + r.x, y0 + r.y, *size, turned))
        return [_Pattern(copies[c], tuple(s)) for c, s in spots.items()]


def _up(value: float) -> int:
    return math.ceil(value * _UNITS - 1e-6)


def _down(value: float) -> int:
    return math.floor(value * _UNITS + 1e-6)


_ORDERS: tuple[Callable[[tuple[int, int]], Any], ...] = (
    lambda s: s[0] * s[1],
    lambda s: (s[1], s[0]),
    lambda s: (s[0], s[1]),
    lambda s: (max(s), min(s)),
    lambda s: s[0] + s[1],
)


def _best(
    tried: Iterator[list[_Pattern]], items: Sequence[Item], sizes: Sequence[tuple[float, float]]
) -> list[_Pattern]:
    """Of all fillings those of the best tries, and the fullest of the others: as many as the solver takes quickly."""
    pool: dict[tuple[int, tuple[int, ...]], _Pattern] = {}
    area = [a * b for a, b in sizes]
    rated: list[tuple[float, float, list[tuple[int, tuple[int, ...]]]]] = []
    for fillings in tried:
        keys = [(f.item, tuple(sorted(s[0] for s in f.spots))) for f in fillings]
        pool.update((k, f) for k, f in zip(keys, fillings, strict=True) if k not in pool)
        made = sum(area[t] for _, types in keys for t in types)
        rated.append((-round(made), sum(items[i].cost for i, _ in keys), keys))
    rated.sort(key=lambda r: (r[0], r[1]))
    keep = dict.fromkeys(k for _, _, keys in rated[:_TRIES_KEPT] for k in keys)
    fullest = sorted(pool, key=lambda k: sum(area[t] for t in k[1]) / items[k[0]].area, reverse=True)
    keep.update(dict.fromkeys(fullest[: max(_POOL - len(keep), 0)]))
    return [pool[k] for k in keep]


def _tried(packer: _Packer, demand: Counter[int], tries: int, rng: random.Random) -> Iterator[list[_Pattern]]:
    """Fillings: each item by itself, then all together, by all rules first and at random afterwards."""
    items = range(len(packer.items))
    fits = [packer.fits(i) for i in items]
    alone = 2 if len(packer.items) > 12 else len(packer.ways)
    for i in items:
        mine = [t for t, n in demand.items() for _ in range(n) if fits[i][t]]
        for k in range(alone if mine else 0):
            key = _ORDERS[(i + k) % len(_ORDERS)]
            yield packer.pack(sorted(mine, key=lambda t: key(packer.sizes[t]), reverse=True), [i], k, 0)
        for t in {t for t in mine}:
            yield packer.pack([t] * demand[t], [i], 0, 0)
    wanted = sum(packer.sizes[t][0] * packer.sizes[t][1] * n for t, n in demand.items())
    every = [t for t, n in demand.items() for _ in range(n) if any(f[t] for f in fits)]
    for k in range(tries):
        copies = _pile(packer, wanted, len(every), k, rng)
        key = _ORDERS[k % len(_ORDERS)]
        stray = 0.0 if k < 2 * len(_ORDERS) else rng.choice((0.05, 0.2, 0.5))
        rank = {t: rng.uniform(1 - stray, 1 + stray) for t in demand}
        order = sorted(every, key=lambda t: _scaled(key(packer.sizes[t]), rank[t]), reverse=True)
        if stray and k % 3 == 0:
            rng.shuffle(order)
        yield packer.pack(order, copies, k // len(_ORDERS) + k, (k // 2) % 2)


def _scaled(key: Any, factor: float) -> Any:
    return tuple(v * factor for v in key) if isinstance(key, tuple) else key * factor


def _pile(packer: _Packer, wanted: int, most: int, k: int, rng: random.Random) -> list[int]:
    """Items in the order they are reached for, enough of them, no more than there are."""
    order = list(range(len(packer.items)))
    if k % 4 == 0:
        order.sort(key=lambda i: packer.items[i].cost, reverse=True)
    elif k % 4 == 1:
        order.sort(key=lambda i: packer.items[i].cost)
    else:
        rng.shuffle(order)
    pile: list[int] = []
    room = 0.0
    for i in order:
        item = packer.items[i]
        each = sum(length * width for _, _, length, width in packer.rooms(i))
        n = min(item.count, most, 1 + math.ceil(2.0 * max(wanted - room / 1.5, 0) / max(each, 1)))
        pile += [i] * n
        room += n * each
        if room > 3.0 * wanted and k % 2:
            break
    return pile


# --- the best of all fillings ----------------------------------------------------------------------------------------


def _recombine(
    pool: Sequence[_Pattern], items: Sequence[Item], demand: Counter[int], sizes: Sequence[tuple[float, float]]
) -> list[_Pattern]:
    """The cheapest fillings that make every piece; a piece that finds no place costs more than any board."""
    from scipy.optimize import Bounds, LinearConstraint, milp

    types = sorted(demand)
    row = {t: k for k, t in enumerate(types)}
    made = np.zeros((len(types), len(pool)))
    held = np.zeros((len(items), len(pool)))
    for j, pattern in enumerate(pool):
        held[pattern.item, j] = 1
        for spot in pattern.spots:
            made[row[spot[0]], j] += 1
    need = np.array([demand[t] for t in types], float)
    dear = 10 * max((i.cost for i in items), default=1.0)
    lack = np.array([dear * (1 + sizes[t][0] * sizes[t][1] / max(a * b for a, b in sizes)) for t in types])
    tie = np.array([1e-7 * len(p.spots) for p in pool]) * dear  # fewest pieces made twice
    cost = np.concatenate([np.array([items[p.item].cost for p in pool]) + tie, lack])
    top = np.concatenate([np.array([items[p.item].count for p in pool], float), need])
    limits = [
        LinearConstraint(np.hstack([made, np.eye(len(types))]), need, np.inf),
        LinearConstraint(
            np.hstack([held, np.zeros((len(items), len(types)))]), -np.inf, [float(i.count) for i in items]
        ),
    ]
    found = milp(
        cost, integrality=np.ones(cost.size, dtype=np.int64), bounds=Bounds(0, top), constraints=limits,
        options={"mip_rel_gap": 2e-3, "node_limit": 20, "time_limit": _MANY},
    )  # fmt: skip
    if found.x is None:
        raise RuntimeError(f"no layout was found: {found.message}")
    return [pool[j] for j, n in enumerate(np.round(found.x[: len(pool)]).astype(int)) for _ in range(n)]


def _assign(
    chosen: Sequence[_Pattern], items: Sequence[Item], pieces: Sequence[Piece], number: dict[tuple[float, float], int]
) -> tuple[tuple[Filled, ...], tuple[int, ...]]:
    """Each piece to one place of its size; places too many stay leftover, boards left empty are not bought."""
    waiting: dict[int, list[int]] = {}
    for k, p in enumerate(pieces):
        waiting.setdefault(number[p.length, p.width], []).append(k)
    filled = []
    for pattern in sorted(chosen, key=lambda p: (p.item, -len(p.spots))):
        laid = []
        for t, x, y, _, _, turned in sorted(pattern.spots, key=lambda s: (s[1], s[2])):
            if waiting.get(t):
                k = waiting[t].pop(0)
                size = (pieces[k].length, pieces[k].width)
                length, width = size[::-1] if turned else size
                laid.append(Laid(k, x / _UNITS, y / _UNITS, length, width, turned))
        if laid:
            filled.append(Filled(items[pattern.item], tuple(laid)))
    return tuple(filled), tuple(sorted(k for rest in waiting.values() for k in rest))
