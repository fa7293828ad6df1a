"""The take-off of a job: blanks, boards and sheets bought, their layouts, glue, finish and weight, in one record."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from shopcalc.materials import Material, choose
from shopcalc.sources import table_for_people
from shopcalc.stock.blanks import Blank, Wanted, blank
from shopcalc.stock.buying import Bought, Buying, dearness, other_strips
from shopcalc.stock.cutting_order import cutting_order
from shopcalc.stock.drawing import cut_diagram
from shopcalc.stock.layout import Filled, Layout
from shopcalc.stock.rack import Rack
from shopcalc.stock.rules import StockRules
from shopcalc.stock.weights import Load, lifting_caution, weight
from shopcalc.units import System, write

if TYPE_CHECKING:
    import pandas as pd

_LITRE = 1e6  # mm3
SQUARE_FOOT, OUNCE, FLUID_OUNCE = 0.3048**2, 28.349523e-3, 29.573530e-3  # m2, kg, L (NIST Handbook 44, appendix C)


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
        inch = system == "inch"
        glued, area = (
            f"{v / SQUARE_FOOT:.1f} ft²" if inch else f"{v:.2f} m²" for v in (self.glue_area, self.finish_area)
        )
        glue = f"{self.glue / OUNCE:.1f} oz" if inch else f"{1000 * self.glue:.0f} g"
        finish = f"{self.finish / FLUID_OUNCE:.0f} fl oz" if inch else f"{self.finish:.2f} L"
        out.append(f"Glue: {glued} of joints, {glue}.")
        out.append(f"Finish: {area} in {self.coats} coats, {finish}.")
        told = any("one finished piece weighs" in c.lower() for c in self.cautions)
        if self.weight is not None and not told:
            out.append(f"One finished piece weighs about {write(self.weight, 'mass', system)}, cuts not taken off.")
        return out + list(self.cautions)


def _wood_words(b: Bought, rules: StockRules, system: System) -> str:
    thick = write(b.thickness, "length", system)
    unit = {"board_foot": "bd ft", "m**2": "m²", "piece": "pieces"}[b.unit]
    in_feet = unit == "m²" and system == "inch"
    unit, each = ("ft²", 1 / SQUARE_FOOT) if in_feet else (unit, 1.0)
    out = f"{b.title}, {thick}: {b.net * each:.2f} {unit} net, {b.bought * each:.2f} {unit} bought"
    if b.layout is None:
        return f"{out}, by the shop's waste of {100 * b.percent:.0f} %."
    out += f" ({len(b.layout.filled)} {b.kind}, {b.origin}): yield {100 * b.yield_:.0f} %, waste {100 * b.waste:.0f} %"
    out += f" where the shop reckons with {100 * b.percent:.0f} %" if b.unit != "piece" else ""
    if b.kept:
        out += f"; {b.kept * each:.2f} {unit} of it are leftovers to keep"
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
        shop = Buying(material, mine, rules, rack, waste.get(material.group, 0.0), tries, seed)
        if stock:
            bought += shop.by_piece(rack.piece(stock), cautions)
        elif layout and material.group != "laminated":
            shop, found, notes = min((s.laid_out() for s in other_strips(shop)), key=dearness)
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
