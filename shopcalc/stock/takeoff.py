"""The take-off of a job: blanks, boards and sheets bought, their layouts, glue, finish and weight, in one record."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from shopcalc.materials import Material, choose
from shopcalc.sources import table_for_people
from shopcalc.stock.blanks import Blank, Wanted, blank
from shopcalc.stock.cutting_order import cutting_order
from shopcalc.stock.drawing import cut_diagram
from shopcalc.stock.packing import Filled, Item, Layout, lay_out
from shopcalc.stock.rack import Rack, RackItem, yard_boards
from shopcalc.stock.rules import StockRules
from shopcalc.stock.tallying import board_feet, tally
from shopcalc.stock.weights import Load, lifting_caution, weight
from shopcalc.units import System, write

if TYPE_CHECKING:
    import pandas as pd

_SOLID = ("hardwood", "softwood")
_LITRE = 1e6  # mm3


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
class TakeOff:
    """What a job's parts take to buy, cut, glue, finish and lift.

    Parameters
    ----------
    blanks : tuple of Blank
        Of every part, in the job's order.
    bought : tuple of Bought
        Wood.
    rules : StockRules
        It follows.
    glue_area, finish_area : float
        Joints, strips and layers; faces of one coat [m2].
    coats : int
        Of finish [-].
    loads : tuple of Load
        What is lifted.
    cautions : tuple of str
        What to know before relying on it.
    """

    blanks: tuple[Blank, ...]
    bought: tuple[Bought, ...]
    rules: StockRules
    glue_area: float
    finish_area: float
    coats: int
    loads: tuple[Load, ...]
    cautions: tuple[str, ...]

    @property
    def glue(self) -> float:
        """Glue to spread [kg]."""
        return self.glue_area * self.rules.glue_per_area

    @property
    def finish(self) -> float:
        """Finish of all coats [L]."""
        return self.finish_area * self.coats * self.rules.finish_per_area / _LITRE

    @property
    def weight(self) -> float | None:
        """Of one finished piece, as the last load says [kg]."""
        return next((x.each for x in self.loads if x.kind == "piece"), None)

    def parts_frame(self) -> pd.DataFrame:
        """One row a part: finished and rough size, strips, layers, spares, thickness bought."""
        rows = [
            {
                "part": b.wanted.part, "title": b.wanted.title, "material": b.wanted.material, "count": b.wanted.count,
                "spares": b.spares, "why_spares": b.why_spares, "test_pieces": b.wanted.test_pieces, "length": b.length,
                "width": b.width, "thickness": b.thickness, "strips": b.strips, "strip_width": b.strip_width,
                "layers": b.layers, "layer_thickness": b.layer_thickness, "sold": b.sold, "per_board": b.per_board,
                "board_feet": b.net_board_feet, "area": b.net_area * 1e-6,
            }
            for b in self.blanks
        ]  # fmt: skip
        lengths = ("length", "width", "thickness", "strip_width", "layer_thickness", "sold")
        counts = ("count", "spares", "test_pieces", "strips", "layers", "per_board")
        units = {**dict.fromkeys(lengths, "mm"), **dict.fromkeys(counts, "-"), "board_feet": "board_foot", "area": "m2"}
        return table_for_people(rows, units, "part")

    def bought_frame(self) -> pd.DataFrame:
        """One row a material, thickness and origin: net, bought, yield, waste, and the bound of the layout."""
        rows = [
            {
                "material": b.material, "kind": b.kind, "thickness": b.thickness, "net": b.net, "bought": b.bought,
                "unit": b.unit, "exact": b.exact, "tally": b.tallied, "yield": b.yield_, "waste": b.waste,
                "shop_waste": b.percent, "least": None if b.layout is None else b.layout.bound,
                "laid_out": None if b.layout is None else b.layout.cost, "origin": b.origin,
            }
            for b in self.bought
        ]  # fmt: skip
        ratios = dict.fromkeys(("yield", "waste", "shop_waste"), "-")
        units = {"thickness": "mm", "exact": "board_foot", "tally": "board_foot", **ratios}
        return table_for_people(rows, units)

    def _filled(self, kind: str) -> Iterator[tuple[Bought, Layout, int, Filled]]:
        for b in self.bought:
            if b.kind == kind and b.layout is not None:
                yield from ((b, b.layout, k + 1, f) for k, f in enumerate(b.layout.filled))

    def boards_frame(self, kind: str = "boards") -> pd.DataFrame:
        """One row for each piece on each board, in the order of the boards.

        Parameters
        ----------
        kind : {"boards", "sheets", "pieces"}
            Which.
        """
        rows = [
            {
                "material": b.material, "number": k, "board": f.item.id, "board_length": f.item.length,
                "board_width": f.item.width, "thickness": b.thickness, "piece": p.piece + 1,
                "part": layout.pieces[p.piece].part, "label": layout.pieces[p.piece].label, "x": p.x, "y": p.y,
                "length": p.length, "width": p.width, "turned": p.turned,
            }
            for b, layout, k, f in self._filled(kind)
            for p in f.laid
        ]  # fmt: skip
        lengths = ("board_length", "board_width", "thickness", "x", "y", "length", "width")
        return table_for_people(rows, {**dict.fromkeys(lengths, "mm"), "number": "-", "piece": "-"})

    def sheets_frame(self) -> pd.DataFrame:
        """One row for each piece on each sheet."""
        return self.boards_frame("sheets")

    def cuts_frame(self) -> pd.DataFrame:
        """Cuts in their order, board by board; those nested on the router have none."""
        rows = [
            {
                "material": b.material, "board": f.item.id, "number": k, "cut": n + 1, "kind": c.kind, "at": c.at,
                "length": c.length, "width": c.width, "gives": c.gives,
            }
            for kind in ("boards", "sheets", "pieces")
            for b, layout, k, f in self._filled(kind)
            for n, c in enumerate(cutting_order(f, layout.pieces, layout.kerf).cuts)
        ]  # fmt: skip
        return table_for_people(rows, {"at": "mm", "length": "mm", "width": "mm", "number": "-", "cut": "-"})

    def weight_frame(self) -> pd.DataFrame:
        """What is lifted, heaviest kind last."""
        rows = [
            {"what": x.what, "kind": x.kind, "count": x.count, "each": x.each, "alone": x.alone} for x in self.loads
        ]
        return table_for_people(rows, {"count": "-", "each": "kg"})

    def diagrams(self, system: System = "inch") -> dict[str, str]:
        """Cut diagrams as SVG, by a name that can be a file's.

        Parameters
        ----------
        system : {"inch", "metric"}
            Sizes are written in.
        """
        out: dict[str, str] = {}
        for b in self.bought:
            if b.layout is not None and b.layout.filled:
                name = f"{b.material}-{b.kind}-{b.thickness:.0f}mm"
                name = name if name not in out else f"{name}-{len(out) + 1}"
                thick = write(b.thickness, "length", system)
                title = (
                    f"{b.title}, {thick}: {len(b.layout.filled)} {b.kind} ({b.origin}), yield {100 * b.yield_:.0f} %"
                )
                keep = self.rules.keep_length, self.rules.keep_width
                out[name] = cut_diagram(
                    title, b.layout.filled, b.layout.pieces, b.layout.kerf, system=system, keep=keep
                )
        return out

    def sentences(self, system: System = "inch") -> list[str]:
        """What people read of it: wood with yield and bound, glue, finish, weight.

        Parameters
        ----------
        system : {"inch", "metric"}
            For people.
        """
        out = [_wood_words(b, self.rules, system) for b in self.bought]
        glued, area = (write(v * 1e6, "area", system) for v in (self.glue_area, self.finish_area))
        out.append(f"Glue: {glued} of joints, {write(self.glue, 'mass', system)}.")
        out.append(f"Finish: {area} in {self.coats} coats, {self.finish:.2f} L.")
        if self.weight is not None:
            out.append(f"One finished piece weighs about {write(self.weight, 'mass', system)}, cuts not taken off.")
        return out + list(self.cautions)


def _wood_words(b: Bought, rules: StockRules, system: System) -> str:
    thick = write(b.thickness, "length", system)
    unit = {"board_foot": "bd ft", "m**2": "m²", "piece": "pieces"}[b.unit]
    out = f"{b.title}, {thick}: {b.net:.2f} {unit} net, {b.bought:.2f} {unit} bought"
    if b.layout is None:
        return f"{out}, by the shop's waste of {100 * b.percent:.0f} %."
    out += f" ({len(b.layout.filled)} {b.kind}, {b.origin}): yield {100 * b.yield_:.0f} %, waste {100 * b.waste:.0f} %"
    out += f" where the shop reckons with {100 * b.percent:.0f} %" if b.unit != "piece" else ""
    if b.kept:
        out += f"; {b.kept:.2f} {unit} of it are leftovers to keep"
    if b.layout.cost > 0:
        out += f"; no layout on these can take less than {100 * b.layout.bound / b.layout.cost:.0f} % of it"
    if b.exact is not None and b.tallied is not None:
        used = "tally" if rules.tally else "exact"
        out += f"; exact {b.exact:.2f}, tally {b.tallied:g} bd ft, priced by the {used}"
    return out + "."


def take_off(
    wanted: Sequence[Wanted],
    materials: Mapping[str, Material],
    rules: StockRules,
    rack: Rack | None = None,
    *,
    waste: Mapping[str, float] | None = None,
    layout: bool = True,
    quantity: int = 1,
    joint_area: float = 0.0,
    finish_area: float = 0.0,
    coats: int = 3,
    hardware_weight: float = 0.0,
    system: System = "inch",
    tries: int = 240,
    seed: int = 1,
) -> TakeOff:
    """From parts to what is bought, cut, glued, finished and lifted.

    Parameters
    ----------
    wanted : sequence of Wanted
        Parts of the whole job.
    materials : mapping
        By id.
    rules : StockRules
        The shop's.
    rack : Rack, optional
        Its stock list.
    waste : mapping, optional
        Group to bought / net - 1, for what is not laid out [ratio].
    layout : bool
        Whether pieces are laid out on boards and sheets.
    quantity : int
        Finished pieces [-].
    joint_area, finish_area : float
        Glued joints beside strips and layers, and faces that get a finish, of the whole job [m2].
    coats : int
        Of finish [-].
    hardware_weight : float
        On one finished piece [kg].
    system : {"inch", "metric"}
        Of the cautions.
    tries, seed : int
        As in ``packing.lay_out`` [-].

    Returns
    -------
    TakeOff
        Sawn wood comes from the stock list first, then from a pile as a yard delivers it.

    Raises
    ------
    InputError
        When a part names a piece that the stock list does not hold.
    """
    rack, waste = rack or Rack(), waste or {}
    every = [blank(w, rules) for w in wanted]
    groups: dict[tuple[str, float, str], list[int]] = {}
    for k, b in enumerate(every):
        groups.setdefault((b.wanted.material, round(b.sold, 2), b.wanted.stock), []).append(k)
    bought: list[Bought] = []
    cautions: list[str] = []
    for (key, _, stock), places in groups.items():
        material, mine = choose(materials, key), [every[k] for k in places]
        shop = _Buying(material, mine, rules, rack, waste.get(material.group, 0.0), tries, seed)
        if stock:
            bought += shop.by_piece(rack.piece(stock), cautions)
        elif layout and material.group != "laminated":
            shop, found, notes = min((s.laid_out() for s in _other_strips(shop)), key=_dearness)
            bought, cautions = bought + found, cautions + notes
            for k, b in zip(places, shop.blanks, strict=True):
                every[k] = b
        else:
            bought.append(shop.by_waste(sum(b.net_area for b in mine)))
    blanks = tuple(every)
    glue_area = joint_area + sum(b.glue_area for b in blanks) * 1e-6
    loads = tuple(_loads(blanks, bought, materials, rules, quantity, hardware_weight))
    unknown = sorted({b.wanted.material for b in blanks if choose(materials, b.wanted.material).density is None})
    if unknown:
        cautions.append(f"no weight: the density of {', '.join(unknown)} is not known")
    heavy = lifting_caution(loads, system)
    cautions += [heavy] if heavy else []
    return TakeOff(blanks, tuple(bought), rules, glue_area, finish_area, coats, loads, tuple(cautions))


def _dearness(found: tuple[_Buying, list[Bought], list[str]]) -> tuple[int, float]:
    """What found no place first, then what is bought."""
    return len(found[2]), sum(b.bought if b.exact is None else b.exact for b in found[1])


def _other_strips(shop: _Buying) -> Iterator[_Buying]:
    """The blanks as they are, and those whose number of strips is free with one and two more strips each."""
    yield shop
    free = [b.strips > 1 and b.wanted.strips is None for b in shop.blanks]
    for more in (1, 2) if any(free) else ():
        changed = [
            replace(blank(replace(b.wanted, strips=b.strips + more), shop.rules), wanted=b.wanted) if f else b
            for b, f in zip(shop.blanks, free, strict=True)
        ]
        if all(b.sold == shop.sold for b in changed):  # resawing may ask for another thickness
            yield replace(shop, blanks=changed)


@dataclass(frozen=True)
class _Buying:
    """One material in one thickness."""

    material: Material
    blanks: list[Blank]
    rules: StockRules
    rack: Rack
    percent: float
    tries: int
    seed: int

    @property
    def solid(self) -> bool:
        return self.material.group in _SOLID

    @property
    def sold(self) -> float:
        return self.blanks[0].sold

    def amount(self, area: float) -> float:
        """Board feet of an area of boards, square metres of sheets."""
        return area * 1e-6 if self.material.group == "sheet" else board_feet(area, 1.0, self.sold)

    def by_waste(self, area: float) -> Bought:
        unit, net = "m**2" if self.material.group == "sheet" else "board_foot", self.amount(area)
        return Bought(
            self.material.id, self.material.title, "by waste", self.sold, net, net * (1 + self.percent), unit,
            percent=self.percent, origin="the shop's waste",
        )  # fmt: skip

    def by_piece(self, item: RackItem, cautions: list[str]) -> list[Bought]:
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

    def laid_out(self) -> tuple[_Buying, list[Bought], list[str]]:
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

    def _yard(self, pieces: Sequence[Any]) -> list[Item]:
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


def _loads(
    blanks: Sequence[Blank],
    bought: Sequence[Bought],
    materials: Mapping[str, Material],
    rules: StockRules,
    quantity: int,
    hardware: float,
) -> Iterator[Load]:
    """Parts, blanks, boards and sheets, and the finished piece."""
    whole: float | None = hardware
    for b in blanks:
        w, material = b.wanted, choose(materials, b.wanted.material)
        each = weight(material, w.length, w.width, w.thickness, rules.moisture)
        whole = None if whole is None or each is None else whole + each * w.count / quantity
        yield Load(f"part '{w.part}'", "part", w.count, each)
        rough = weight(material, b.length, b.width, b.thickness, rules.moisture)
        yield Load(f"blank of '{w.part}'", "blank", b.count, rough)
    for p in bought:
        if p.layout is None or p.unit == "piece":
            continue
        material = choose(materials, p.material)
        for item in dict.fromkeys(f.item for f in p.layout.filled):
            count = sum(f.item == item for f in p.layout.filled)
            each = weight(material, item.length, item.width, p.thickness, rules.moisture)
            name = item.id if p.material in item.id else f"{item.id} of {p.title}"
            yield Load(name, "stock", count, each)
    yield Load("one finished piece", "piece", quantity, whole)
