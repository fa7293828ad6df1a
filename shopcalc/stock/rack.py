"""What the shop has or buys by the piece: boards, sheets, handrails and mouldings, from its stock.toml."""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import partial
from pathlib import Path
from typing import Any

from shopcalc.errors import Fault, InputError, did_you_mean, raise_all
from shopcalc.reading import FieldReader, load_toml
from shopcalc.stock.layout import Item
from shopcalc.stock.rules import StockRules
from shopcalc.stock.tallying import board_feet
from shopcalc.units import read, read_money

_FOOT, _EIGHTH = 304.8, 25.4 / 8
_ALIKE = 1.0  # mm by which thicknesses may differ and still be the same


@dataclass(frozen=True)
class RackItem:
    """Boards, sheets or dimensioned pieces of one size.

    Parameters
    ----------
    id, title : str
        What people call it.
    kind : {"boards", "sheets", "pieces"}
        Which list it stands in.
    material : str
        Id.
    length, width, thickness : float
        [mm]
    count : int or None
        Of them; None for as many as are wanted [-].
    defects : tuple of (from, to)
        Along the board from its beginning; cut out over the whole width [mm].
    price : Decimal or None
        Of one [currency]; None goes by the material's price.
    """

    id: str
    title: str
    kind: str
    material: str
    length: float
    width: float
    thickness: float
    count: int | None = 1
    defects: tuple[tuple[float, float], ...] = ()
    price: Decimal | None = None

    def item(self, rules: StockRules, most: int) -> Item:
        """As pieces are laid out on it.

        Parameters
        ----------
        rules : StockRules
            Whose trims count.
        most : int
            Taken at most where there are as many as are wanted [-].
        """
        ends, edges = {
            "boards": (rules.end_trim, rules.edge_trim),
            "sheets": (rules.sheet_trim, rules.sheet_trim),
            "pieces": (0.0, 0.0),
        }[self.kind]
        cost = self.length * self.width * 1e-6
        if self.kind == "boards":
            cost = board_feet(self.length, self.width, self.thickness)
        if self.kind == "pieces" and self.price is not None:
            cost = float(self.price)
        clear = tuple(
            (a, edges, b - a, self.width - 2 * edges)
            for a, b in _sound(self.length, ends, self.defects)
            if b > a and self.width > 2 * edges
        )
        return Item(self.id, self.length, self.width, clear, most if self.count is None else self.count, cost)


def _sound(length: float, trim: float, defects: tuple[tuple[float, float], ...]) -> Iterator[tuple[float, float]]:
    """Stretches without a defect."""
    at = trim
    for start, end in sorted(defects):
        if start > at:
            yield at, min(start, length - trim)
        at = max(at, end)
    if at < length - trim:
        yield at, length - trim


@dataclass(frozen=True)
class Rack:
    """The shop's stock list.

    Parameters
    ----------
    items : tuple of RackItem
        In the file's order.
    source : str
        Where it comes from.
    """

    items: tuple[RackItem, ...] = ()
    source: str = ""

    def of(self, kind: str, material: str, thickness: float) -> tuple[RackItem, ...]:
        """Boards or sheets of a material and a thickness, within 1 mm.

        Parameters
        ----------
        kind : {"boards", "sheets"}
            Which list.
        material : str
            Id.
        thickness : float
            [mm]
        """
        return tuple(
            i
            for i in self.items
            if i.kind == kind and i.material == material and abs(i.thickness - thickness) <= _ALIKE
        )

    def piece(self, key: str) -> RackItem:
        """What is bought by the piece under that id.

        Parameters
        ----------
        key : str
            Its id.

        Raises
        ------
        InputError
            When there is none, with the nearest id.
        """
        found = {i.id: i for i in self.items if i.kind == "pieces"}
        if key not in found:
            raise InputError(Fault(f"there is no piece '{key}' in stock.toml", did_you_mean(key, found)))
        return found[key]


_KEYS = {
    "boards": ("id", "material", "length", "width", "thickness", "count", "defects", "note"),
    "sheets": ("id", "material", "length", "width", "thickness", "count", "price", "note"),
    "pieces": ("id", "title", "material", "length", "width", "thickness", "price", "note"),
}


def read_rack(path: Path | str, materials: Mapping[str, Any], currency: str = "USD") -> Rack:
    """Read a stock list.

    Parameters
    ----------
    path : Path or str
        TOML file with [[boards]], [[sheets]] and [[pieces]].
    materials : mapping
        Known ids.
    currency : str
        Code that prices must carry.

    Raises
    ------
    InputError
        With every fault: file, field, what is wrong and what to write.
    """
    data = load_toml(path)
    r = FieldReader(str(path))
    r.known(data, ("source", "kind", *_KEYS))
    items: list[RackItem] = []
    for kind in _KEYS:
        tables = data.get(kind, [])
        if not isinstance(tables, list) or not all(isinstance(t, dict) for t in tables):
            r.fault(kind, f"{tables!r} is not a list of tables", f"write [[{kind}]] for each")
            continue
        items += [_item(r, kind, k, t, materials, currency) for k, t in enumerate(tables)]
    seen: set[str] = set()
    for item in items:
        if item.id in seen:
            r.fault(f"{item.kind}.id", f"'{item.id}' stands twice", "give each its own id")
        seen.add(item.id)
    sheets = [i for i in items if i.kind == "sheets"]
    for item in sheets:  # else the cheaper of two layouts could not be told
        if item.price is None and any(i.price is not None and i.material == item.material for i in sheets):
            r.fault(
                "sheets", f"'{item.id}' has no price, others of its material do", "give all of them a price, or none"
            )
    raise_all(r.faults)
    return Rack(tuple(items), r.text(data, "source"))


def _item(
    r: FieldReader, kind: str, k: int, t: Mapping[str, Any], materials: Mapping[str, Any], currency: str
) -> RackItem:
    where = f"{kind}[{k}]."
    r.known(t, _KEYS[kind], where)
    needed = ("material", "length", "width", "thickness") + (("id", "price") if kind == "pieces" else ())
    for key in needed:
        if key not in t:
            r.fault(where + key, "the value is missing", "add it; the demo's stock.toml shows one")
    material = r.text(t, "material", where)
    if material and material not in materials:
        r.fault(where + "material", f"there is no material '{material}'", did_you_mean(material, materials))
    size = {key: r.quantity(t, key, where, "length", 1.0) for key in ("length", "width", "thickness")}
    price = None
    if "price" in t:
        price = r.attempt(where + "price", None, lambda: read_money(t["price"], currency))
    name = r.text(t, "id", where) or f"{kind[:-1]} {k + 1}"
    count: int | None = r.count(t, "count", where, 1)
    if kind == "pieces" or (kind == "sheets" and "count" not in t):
        count = None
    defects = tuple(_defects(r, where, t.get("defects", []), size["length"]))
    return RackItem(
        name, r.text(t, "title", where) or name, kind, material, **size, count=count, defects=defects, price=price
    )


def _defects(r: FieldReader, where: str, given: Any, length: float) -> Iterator[tuple[float, float]]:
    remedy = 'write from and to along the board, e.g. defects = [["20 in", "26 in"]]'
    if not isinstance(given, list):
        r.fault(where + "defects", f"{given!r} is not a list", remedy)
        return
    for k, pair in enumerate(given):
        place = f"{where}defects[{k}]"
        if not isinstance(pair, list) or len(pair) != 2:
            r.fault(place, f"{pair!r} is not a pair", remedy)
            continue
        both = [r.attempt(place, None, partial(read, v, "length", minimum=0.0)) for v in pair]
        if None in both:
            continue
        if not both[0] < both[1] <= length + 1e-6:
            r.fault(place, "it does not lie on the board from its beginning to its end", remedy)
            continue
        yield both[0], both[1]


def yard_boards(
    material: str, thickness: float, area: float, rules: StockRules, *, reach: float = 0.0, seed: int = 1
) -> tuple[RackItem, ...]:
    """A pile as a yard delivers it: widths at random, lengths in whole feet; more than is needed, to choose from.

    Parameters
    ----------
    material : str
        Id.
    thickness : float
        [mm]
    area : float
        Of the pieces to cut [mm2].
    rules : StockRules
        Least and greatest width and length.
    reach : float
        Longest piece to cut: boards shorter than the longest are drawn too, but some reach it [mm].
    seed : int
        The same gives the same pile [-].

    References
    ----------
    Common practice, no source: random widths and lengths; a person chooses from the pile.
    """
    rng = random.Random(f"{seed} {material} {thickness:.1f}")
    (narrow, wide), (short, long) = rules.board_width, rules.board_length
    out: list[RackItem] = []
    room = 0.0
    while (room < 2.5 * area or len(out) < 6) and len(out) < 400:
        width = round(rng.uniform(narrow, wide) / _EIGHTH) * _EIGHTH
        feet = int(rng.uniform(short, long + _FOOT) / _FOOT + 1e-9)
        length = min(max(feet * _FOOT, short), long)
        out.append(RackItem(f"{material} {len(out) + 1}", "", "boards", material, length, width, thickness))
        room += length * width
    if reach and not any(b.length - 2 * rules.end_trim >= reach for b in out):
        out.append(RackItem(f"{material} {len(out) + 1}", "", "boards", material, long, wide, thickness))
    return tuple(out)
