"""The buying list: wood, hardware, glue and finish of a job, with boxes to tick; for the shop, never the customer."""

from __future__ import annotations

import datetime

from shopcalc.documents import Boxes, Cell, Document, Figure, Gap, Table
from shopcalc.jobs.wood import take_off_job
from shopcalc.quote.pricing import Price
from shopcalc.stock.buying import Bought
from shopcalc.stock.takeoff import FLUID_OUNCE, OUNCE, SQUARE_FOOT
from shopcalc.units import System, write

_CUBIC_METRE = 2.359737e-3  # of a board foot: 144 cubic inches (NIST Handbook 44, appendix C)


def buying_list(price: Price, date: datetime.date) -> Document:
    """What to buy for a job, as it is priced.

    Parameters
    ----------
    price : Price
        Of the job, in the system it is written in.
    date : date
        Of the paper.
    """
    job, system = price.estimate.job, price.system
    taken = take_off_job(job)
    wood = tuple(_wood(b, system) for b in taken.bought)
    hardware = tuple(
        (Gap.TICK, h.name, Figure(str(n := h.quantity * job.quantity), n), Gap.WRITE) for h in job.hardware
    )
    used = [("glue", taken.glue, _mass), (f"finish, {taken.coats} coats", taken.finish, _volume)]
    stuff = tuple((Gap.TICK, what, show(value, system), Gap.WRITE) for what, value, show in used if value > 0)
    head = ("", "what", "how much", "bought where")
    blocks = (
        Table("Wood", ("", "wood", "thickness", "to buy", "counted by"), wood, frozenset({2, 3}), taken.cautions),
        Table("Hardware", head, hardware, frozenset({2})),
        Table("Glue and finish", head, stuff, frozenset({2}), ("By area, without what stays in pot and brush.",)),
        Boxes(("ordered by", "date", "all here, date"), 3),
    )
    pieces = "1 piece" if job.quantity == 1 else f"{job.quantity} pieces"
    return Document("Buying list", job.name, date, blocks, f"{pieces}. Waste is in the amounts. For the shop only.")


def _wood(b: Bought, system: System) -> tuple[Cell, ...]:
    if b.layout is None:
        how = f"net and {100 * b.percent:.0f} % waste"
    else:
        how = f"laid out on {len(b.layout.filled)} {b.kind}, {b.origin}"
    return Gap.TICK, b.title, write(b.thickness, "length", system), _amount(b, system), how


def _amount(b: Bought, system: System) -> Figure:
    if b.unit == "piece":
        return Figure(f"{b.bought:.0f} pieces", round(b.bought))
    if b.unit == "m**2":
        unit, value = ("ft²", b.bought / SQUARE_FOOT) if system == "inch" else ("m²", b.bought)
        return Figure(f"{value:.2f} {unit}", round(value, 2), unit, 2)
    if system == "inch":
        return Figure(f"{b.bought:.1f} bd ft", round(b.bought, 1), "bd ft", 1)
    value = b.bought * _CUBIC_METRE
    return Figure(f"{value:.3f} m³ ({b.bought:.1f} bd ft)", round(value, 3), "m³", 3)


def _mass(value: float, system: System) -> Figure:
    unit, shown = ("oz", value / OUNCE) if system == "inch" else ("g", 1000 * value)
    return Figure(f"{shown:.0f} {unit}", round(shown), unit, 0)


def _volume(value: float, system: System) -> Figure:
    unit, shown, digits = ("fl oz", value / FLUID_OUNCE, 0) if system == "inch" else ("L", value, 2)
    return Figure(f"{shown:.{digits}f} {unit}", round(shown, digits), unit, digits)
