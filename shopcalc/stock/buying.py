"""One material in one thickness: its pieces laid out on what there is, or counted by the shop's waste."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from shopcalc.materials import Material
from shopcalc.stock.blanks import Blank, blank
from shopcalc.stock.cutting_order import cutting_order
from shopcalc.stock.layout import Item, Layout, Piece
from shopcalc.stock.packing import lay_out
from shopcalc.stock.rack import Rack, RackItem, yard_boards
from shopcalc.stock.rules import StockRules
from shopcalc.stock.tallying import board_feet, tally

_SOLID = ("hardwood", "softwood")


@dataclass(frozen=True)
class Bought:
    """Boards, sheets or single pieces of one material and thickness, with what is cut from them.

    Parameters
    ----------
    material, title : str
        Id, and what people call it.
    kind : {"boards", "sheets", "pieces", "by waste"}
        How it is bought; "by waste" was not laid out: the shop's percentage stands for the layout.
    thickness : float
        As bought [mm].
    net : float
        Rough blanks, spares and test pieces [board_foot, m2 or piece].
    bought : float
        What is paid for [board_foot, m2 or piece].
    unit : {"board_foot", "m**2", "piece"}
        Of both.
    exact, tallied : float or None
        Boards by their volume, and by the grading rules' tally [board_foot].
    percent : float
        The shop's waste for this group [ratio].
    price : Decimal or None
        Of all, where it is bought by the piece; else the material's price counts [currency].
    layout : Layout or None
        Where it was laid out.
    origin : str
        The shop's stock list, or the yard.
    kept : float
        Leftovers large enough to keep; they are paid for all the same [board_foot or m2].
    """

    material: str
    title: str
    kind: str
    thickness: float
    net: float
    bought: float
    unit: str
    exact: float | None = None
    tallied: float | None = None
    percent: float = 0.0
    price: Decimal | None = None
    layout: Layout | None = None
    origin: str = ""
    kept: float = 0.0

    @property
    def yield_(self) -> float:
        """Net / bought [ratio]."""
        return self.net / self.bought if self.bought else float("nan")

    @property
    def waste(self) -> float:
        """Bought / net - 1 [ratio]."""
        return self.bought / self.net - 1 if self.net else float("nan")


@dataclass(frozen=True)
class Buying:
    """One material in one thickness.

    Parameters
    ----------
    material : Material
        Which.
    blanks : list of Blank
        All bought in the same thickness.
    rules, rack : StockRules, Rack
        The shop's.
    percent : float
        Its waste for this group [ratio].
    tries, seed : int
        Of the layout [-].
    """

    material: Material
    blanks: list[Blank]
    rules: StockRules
    rack: Rack
    percent: float
    tries: int
    seed: int

    @property
    def solid(self) -> bool:
        """Whether it is sawn wood."""
        return self.material.group in _SOLID

    @property
    def sold(self) -> float:
        """Thickness it is bought in [mm]."""
        return self.blanks[0].sold

    def amount(self, area: float) -> float:
        """Board feet of an area of boards, square metres of sheets."""
        return area * 1e-6 if self.material.group == "sheet" else board_feet(area, 1.0, self.sold)

    def by_waste(self, area: float) -> Bought:
        """An area of faces with the shop's waste."""
        unit, net = "m**2" if self.material.group == "sheet" else "board_foot", self.amount(area)
        return Bought(
            self.material.id, self.material.title, "by waste", self.sold, net, net * (1 + self.percent), unit,
            percent=self.percent, origin="the shop's waste",
        )  # fmt: skip

    def by_piece(self, item: RackItem, cautions: list[str]) -> list[Bought]:
        """Whole lengths of what is sold by the piece; adds to the cautions what is too long for it."""
        pieces = [p for b in self.blanks for p in b.pieces()]
        pieces = [replace(p, width=item.width) for p in pieces]  # sold in its own section
        found = lay_out(pieces, [item.item(self.rules, len(pieces))], self.rules.kerf, tries=self.tries, seed=self.seed)
        out = []
        if found.filled:
            n = len(found.filled)
            net = sum(pieces[p.piece].length for f in found.filled for p in f.laid) / item.length
            cost = None if item.price is None else item.price * n
            out.append(
                Bought(item.material, item.title, "pieces", item.thickness, net, n, "piece", price=cost, layout=found,
                       origin="by the piece")
            )  # fmt: skip
        if found.missing:
            cautions.append(f"{len(found.missing)} pieces are longer than '{item.id}' is sold: not in the price")
        return out

    def laid_out(self) -> tuple[Buying, list[Bought], list[str]]:
        """Itself, what is bought (the stock list first, then the yard, then by the waste) and what to say of it."""
        pieces = tuple(p for b in self.blanks for p in b.pieces())
        net = sum(b.net_area for b in self.blanks)
        share = net / sum(p.area for p in pieces)  # of pieces to blanks: jointing is a loss
        kind = "boards" if self.solid else "sheets"
        have = [i.item(self.rules, len(pieces)) for i in self.rack.of(kind, self.material.id, self.sold)]
        out, left, notes = list[Bought](), pieces, list[str]()
        for origin, items in (("stock list", have), ("from the yard", None)):
            if not left:
                break
            offered = self._yard(left) if items is None else items
            if not offered:
                continue
            saw = self.solid or self.rules.sheet_cuts == "saw"
            found = lay_out(
                left, offered, self.rules.kerf if self.solid else self.rules.sheet_kerf, edge_to_edge=saw,
                turnable=self.material.id in self.rules.turnable, tries=self.tries, seed=self.seed,
            )  # fmt: skip
            if found.filled:
                out.append(self._bought(kind, found, share, origin))
            left = tuple(left[k] for k in found.missing)
        if left:
            names = ", ".join(dict.fromkeys(p.part for p in left))
            notes.append(
                f"{len(left)} pieces of {self.material.title} fit on nothing that is bought ({names}): they stand with "
                "the shop's waste; glue them up (glued = true, strips, layers), or list the stock they come from"
            )
            out.append(self.by_waste(sum(p.area for p in left) * share))
        return self, out, notes

    def _yard(self, pieces: Sequence[Piece]) -> list[Item]:
        if not self.solid:
            r = self.rules
            sheet = RackItem("sheet", "", "sheets", self.material.id, r.sheet_length, r.sheet_width, self.sold, None)
            return [sheet.item(r, len(pieces))]
        area, reach = sum(p.area for p in pieces), max(p.length for p in pieces)
        pile = yard_boards(self.material.id, self.sold, area, self.rules, reach=reach, seed=self.seed)
        return [b.item(self.rules, 1) for b in pile]

    def _bought(self, kind: str, found: Layout, share: float, origin: str) -> Bought:
        net = self.amount(found.net_area * share)
        exact = self.amount(found.bought_area)
        paid, tallied, price = exact, None, None
        if self.solid:
            tallied = tally([(f.item.length, f.item.width) for f in found.filled], self.sold)
            paid = tallied if self.rules.tally else exact
        elif self.rules.sheets_by_part:
            cut = [min(f.used_length + found.kerf, f.item.length) * f.item.width for f in found.filled]
            paid = self.amount(sum(cut))
        listed = {i.id: i.price for i in self.rack.items if i.price is not None and i.kind == kind}
        if origin == "stock list" and found.filled and all(f.item.id in listed for f in found.filled):
            price = sum((listed[f.item.id] for f in found.filled), Decimal(0)) * Decimal(repr(paid / exact))
        return Bought(
            self.material.id, self.material.title, kind, self.sold, net, paid, "board_foot" if self.solid else "m**2",
            exact if self.solid else None, tallied, self.percent, price, found, origin, self.amount(self._kept(found)),
        )  # fmt: skip

    def _kept(self, found: Layout) -> float:
        left = [r for f in found.filled for r in cutting_order(f, found.pieces, found.kerf).leftovers]
        return sum(r[2] * r[3] for r in left if r[2] >= self.rules.keep_length and r[3] >= self.rules.keep_width)


def dearness(found: tuple[Buying, list[Bought], list[str]]) -> tuple[int, float]:
    """How two ways of buying compare: what found no place first, then what is bought.

    Parameters
    ----------
    found : (Buying, list of Bought, list of str)
        From ``Buying.laid_out``.
    """
    return len(found[2]), sum(b.bought if b.exact is None else b.exact for b in found[1])


def other_strips(shop: Buying) -> Iterator[Buying]:
    """The blanks as they are, and those whose number of strips is free with one and two more strips each.

    Parameters
    ----------
    shop : Buying
        One material in one thickness.
    """
    yield shop
    free = [b.strips > 1 and b.wanted.strips is None for b in shop.blanks]
    for more in (1, 2) if any(free) else ():
        changed = [
            replace(blank(replace(b.wanted, strips=b.strips + more), shop.rules), wanted=b.wanted) if f else b
            for b, f in zip(shop.blanks, free, strict=True)
        ]
        if all(b.sold == shop.sold for b in changed):  # resawing may ask for another thickness
            yield replace(shop, blanks=changed)
