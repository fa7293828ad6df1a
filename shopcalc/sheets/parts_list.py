"""The cut list: every part by material, rough and finished, with what to tick off at the saw."""

from __future__ import annotations

import datetime
from collections.abc import Iterator

from shopcalc.documents import Block, Boxes, Caution, Cell, Document, Figure, Gap, Paragraph, Table
from shopcalc.jobs.reading import Job
from shopcalc.jobs.records import Part
from shopcalc.quote.pages import dust_words
from shopcalc.quote.pricing import Price
from shopcalc.sheets.front import counted
from shopcalc.stock.tallying import BOARD_FOOT, board_feet, nominal_thickness
from shopcalc.units import System, write

_SQUARE_FOOT = 304.8**2  # mm2
_SAWN = ("hardwood", "softwood")


def cut_list(price: Price, date: datetime.date) -> Document:
    """Rough and finished sizes of every part, by material.

    Parameters
    ----------
    price : Price
        Of the job, in the system it is written in.
    date : date
        Of the paper.
    """
    job = price.estimate.job
    pieces = "1 piece" if job.quantity == 1 else f"{job.quantity} pieces"
    if job.expansion is not None:
        pieces += f" ({'; '.join(counted(x, job.quantity) for x in job.expansion.layouts)})"
    written = "inches" if price.system == "inch" else "millimetres"
    blocks: list[Block] = [
        Paragraph(
            f"Rough and finished length L, width W and thickness T in {written}. The length runs with the grain unless "
            "the list says otherwise. Mark the face and the edge that are planed first on every part: machine and "
            "bench work from them."
        )
    ]
    for material in dict.fromkeys(p.material for p in job.parts):
        blocks += _of_material(job, material, price)
    blocks.append(Boxes(("cut by", "date", "moisture measured"), 3))
    blocks.append(Caution("Caution.", (_SAW, dust) if (dust := dust_words(price)) else (_SAW,)))
    return Document("Cut list", job.name, date, tuple(blocks), about=f"{pieces}, {job.piece_count} parts to cut")


_SAW = (
    "Guards, riving knife and push sticks at saw, jointer and planer; nothing shorter than the maker of the machine "
    "allows. Eye and hearing protection; extract the dust. The makers' instructions come before this list."
)


def _of_material(job: Job, material: str, price: Price) -> Iterator[Block]:
    wood, system = job.shop.material(material), price.system
    sheet = wood.group == "sheet"
    parts = [p for p in job.parts if p.material == material]
    rows: list[tuple[Cell, ...]] = []
    numbered: list[tuple[Cell, ...]] = []
    notes = []
    total = 0.0
    for p in parts:
        n = p.quantity * job.quantity
        amount = _amount(p, wood.group) * n
        total += amount
        grain = "along" if p.grain == "length" else "across"
        count, shown = Figure(str(n), n), _amount_cell(amount, sheet, system)
        note = "; ".join(t for t in ("glued up" if p.glued else "", p.note) if t)
        notes += [f"{p.title or p.id}: {note}"] if note else []
        stock = "sheet" if sheet else _sold(p, wood.group, system)
        name = p.title or p.id
        sizes = (*_sizes(_rough(p), system, 0), *_sizes(_finished(p), system, 1))
        across = f"{name} (grain across)" if p.grain != "length" else name
        rows.append((Gap.TICK, across, count, *sizes, stock.replace(" mm", ""), shown))
        exact = (_length(v, system) for v in (*_rough(p), *_finished(p)))
        numbered.append((name, count, *exact, wood.title, grain, stock, shown, note))
    rows += [(), ("", "together", *("",) * 8, _amount_cell(total, sheet, system))]
    unit = _amount_unit(sheet, system)
    bought = next(p for p in price.estimate.purchases if p.material == material)
    waste = 100 * (bought.gross / bought.net - 1) if bought.net else 0.0
    below = f"Net of waste; the shop buys {waste:.0f} % more: {_bought(bought.gross, sheet, system)}."
    head = ("", "part", "no.", "rough L", "W", "T", "fin. L", "W", "T", "from", unit.replace(" ", "\u00a0"))
    yield Table(wood.title, head, tuple(rows), frozenset({2, *range(3, 11)}), (below, *notes), where="print")
    wide: tuple[str, ...] = ("part", "pieces", *(f"{state} {side}" for state in ("rough", "finished") for side in
            ("length", "width", "thickness")), "species", "grain", "from", unit, "notes")  # fmt: skip
    yield Table(wood.title, wide, tuple(numbered), frozenset({1, *range(2, 8), 11}), where="workbook")


def _rough(p: Part) -> tuple[float, float, float]:
    return p.length + p.extra_length, p.width + p.extra_width, p.thickness + p.extra_thickness


def _finished(p: Part) -> tuple[float, float, float]:
    return p.length, p.width, p.thickness


def _sizes(sizes: tuple[float, float, float], system: System, digits: int) -> tuple[str, ...]:
    """Without the unit, which stands above the column, and never broken; millimetres to as many digits as are sawn."""
    if system == "metric":
        return tuple(f"{v:.{digits}f}" for v in sizes)
    return tuple(write(v, "length", system).rsplit(" ", 1)[0].replace(" ", "\u00a0") for v in sizes)


def _length(value: float, system: System) -> Figure:
    unit, size = ("in", value / 25.4) if system == "inch" else ("mm", value)
    return Figure(write(value, "length", system), round(size, 4), unit)


def _amount(p: Part, group: str) -> float:
    """Board feet of one piece at the thickness sold, or its area [mm2]; as the quote counts it."""
    length, width, thickness = _rough(p)
    if group == "sheet":
        return length * width
    return board_feet(length, width, nominal_thickness(thickness) if group in _SAWN else thickness)


def _amount_unit(sheet: bool, system: System) -> str:
    return ("ft²" if system == "inch" else "m²") if sheet else "bd ft"


def _amount_cell(amount: float, sheet: bool, system: System) -> Figure:
    value = amount if not sheet else amount / (_SQUARE_FOOT if system == "inch" else 1e6)
    return Figure(f"{value:.2f}", round(value, 4), "", 2)


def _bought(gross: float, sheet: bool, system: System) -> str:
    if sheet:
        return f"{gross * 1e6 / _SQUARE_FOOT:.1f} ft²" if system == "inch" else f"{gross:.2f} m²"
    metric = f" = {gross * BOARD_FOOT * 1e-9:.3f} m³" if system == "metric" else ""
    return f"{gross:.2f} bd ft{metric}"


def _sold(p: Part, group: str, system: System) -> str:
    """Thickness of the stock it comes from: quarters of an inch where wood is sold so."""
    if group not in _SAWN:
        return "as bought"
    sold = nominal_thickness(_rough(p)[2])
    return f"{round(sold / 6.35)}/4" if system == "inch" else f"{sold:.0f} mm"
