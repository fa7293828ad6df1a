"""The quote a customer gets: what is made, what is in the price and what not, and the price. Nothing of what it costs.

Every figure is picked one by one: nothing of hours, rates, costs, floor, margin, risk or the machine comes near it.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from decimal import ROUND_HALF_UP, Decimal

from shopcalc.documents import Block, Boxes, Caution, Cell, Document, Drawing, Figure, Heading, Paragraph, Table
from shopcalc.jobs.reading import Job
from shopcalc.quote.pricing import Price
from shopcalc.sheets.front import counted, outer_size
from shopcalc.sheets.terms import Terms

#: Said once in every quote.
CODES = (
    "Where a piece is an entrance door, holds glass, closes an opening on a way of escape, or has to meet a fire or "
    "energy code, the local code says what it and its hardware must be: safety glass, clear width and handle, rating, "
    "seal and insulation, access for everybody. Please have this settled by the authority or a licensed professional "
    "before ordering. This quote does not say that a piece meets a code unless that is written above in so many words."
)


def customer_quote(
    price: Price,
    terms: Terms,
    date: datetime.date,
    *,
    options: Sequence[tuple[str, Price]] = (),
    drawing: Drawing | None = None,
) -> Document:
    """The paper for the customer.

    Parameters
    ----------
    price : Price
        Of the job; only what is asked is shown.
    terms : Terms
        Of the shop.
    date : date
        Of the paper.
    options : sequence of (str, Price)
        Other ways to make it, by their names, side by side with this one.
    drawing : Drawing or None
        Of the piece.
    """
    job = price.estimate.job
    blocks: list[Block] = [Paragraph(terms.about)] if terms.about else []
    blocks += [Heading(job.name), Paragraph(job.note)] if job.note else [Heading(job.name)]
    blocks += [drawing] if drawing else []
    shown = [("as described", price), *options] if options else [(job.name, price)]
    blocks.append(_side_by_side(shown) if options else _price_table(price))
    if not options and price.asked:
        blocks.append(Paragraph(f"Price: {_money(price.asked, price)}{_each_words(price)}", large=True))
    included = [*_made_of(job, price), *terms.included]
    excluded = [*_left_out(price), *terms.excluded]
    blocks.append(_listed("Included as described" if options else "Included", included))
    if excluded:
        blocks.append(_listed("Not included", excluded))
    if terms.days:
        until = date + datetime.timedelta(days=terms.days)
        blocks.append(Paragraph(f"This offer holds until {until.isoformat()}."))
    if terms.terms:
        blocks.append(_listed("Terms", list(terms.terms)))
    blocks.append(Caution("Codes.", (CODES,)))
    blocks.append(Boxes(("ordered by, date", "option" if options else "remarks", "for the shop, date"), 3, 16.0))
    return Document("Quote", job.name, date, tuple(blocks), about=terms.name)


def _listed(title: str, sentences: list[str]) -> Table:
    return Table(title, (), tuple((f"{k}.", text) for k, text in enumerate(sentences, 1)), frozenset())


def _money(amount: Decimal, price: Price) -> str:
    return f"{amount:,.2f} {price.currency}"


def _each(price: Price) -> Decimal:
    return (price.asked / price.estimate.job.quantity).quantize(Decimal("0.01"), ROUND_HALF_UP)


def _each_words(price: Price) -> str:
    n = price.estimate.job.quantity
    if n == 1:
        return ""
    words = f" for {n} pieces, {_money(_each(price), price)} each"
    return words if _each(price) * n == price.asked else words + " (rounded)"


def _amount(amount: Decimal, price: Price) -> Figure:
    return Figure(_money(amount, price), amount, price.currency, 2)


def _price_table(price: Price) -> Table:
    job = price.estimate.job
    count = Figure(str(job.quantity), job.quantity)
    if job.quantity == 1:
        only: tuple[Cell, ...] = (job.name, count, _amount(price.asked, price))
        return Table("Price", ("piece", "pieces", "price"), (only,), frozenset({1, 2}), where="workbook")
    row: tuple[Cell, ...] = (job.name, count, _amount(_each(price), price), _amount(price.asked, price))
    return Table("Price", ("piece", "pieces", "each", "together"), (row,), frozenset({1, 2, 3}))


def _side_by_side(shown: Sequence[tuple[str, Price]]) -> Table:
    prices = [p for _, p in shown]
    rows: list[tuple[Cell, ...]] = [
        ("what", _described(prices[0]), *(p.estimate.job.note or p.estimate.job.name for p in prices[1:])),
        ("wood", *(", ".join(_woods(p.estimate.job)) for p in prices)),
        ("pieces", *(Figure(str(p.estimate.job.quantity), p.estimate.job.quantity) for p in prices)),
    ]
    if any(p.estimate.job.quantity > 1 for p in prices):
        rows.append(("each", *(_amount(_each(p), p) for p in prices)))
    rows += [(), ("price together", *(_amount(p.asked, p) for p in prices))]
    return Table("Options side by side", ("", *(name for name, _ in shown)), tuple(rows))


def _described(price: Price) -> str:
    job = price.estimate.job
    return "as described above" if job.note else job.name


def _woods(job: Job) -> list[str]:
    return list(dict.fromkeys(job.shop.material(p.material).title for p in job.parts))


def _made_of(job: Job, price: Price) -> list[str]:
    frames = () if job.expansion is None else job.expansion.layouts
    out = [f"{counted(x, job.quantity)}, {outer_size(x, price.system)}" for x in frames]
    out += [f"made of {', '.join(_woods(job))}"]
    bought = [f"{h.quantity * job.quantity} × {h.name}{', fitted' if h.fitted else ''}" for h in job.hardware]
    out += [f"hardware: {'; '.join(bought)}"] if bought else []
    out += ["sanding and finish"] if _quoted(price, "finishing") and price.estimate.finish_area > 0 else []
    return out + (["delivery"] if _quoted(price, "delivery") else [])


def _left_out(price: Price) -> list[str]:
    names = {"finishing": "sanding and finish", "hardware": "fitting of hardware", "delivery": "delivery"}
    return [words for phase, words in names.items() if not _quoted(price, phase)]


def _quoted(price: Price, phase: str) -> bool:
    return price.estimate.hours[phase].quoted > 0
