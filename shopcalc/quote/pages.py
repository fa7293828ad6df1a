"""A price for people: plain text, a printable page, a table of hours."""

from __future__ import annotations

import csv
import datetime
import io
import textwrap

from shopcalc.documents.blocks import Block, Caution, Document, Paragraph, Table
from shopcalc.documents.plain import as_lines
from shopcalc.documents.text import clean
from shopcalc.quote.costs import cents
from shopcalc.quote.pricing import Price
from shopcalc.sources import cautions
from shopcalc.units import write, write_time

_WIDTH = 118
#: Shown with every quote.
CAUTION = (
    "Feeds and times are estimates. Never run a cutter above the greatest speed marked on it. Wear eye and hearing "
    "protection, guard the cutter, extract the dust. The makers' instructions, local codes and licensed practice come "
    "before any figure here."
)


def _parts_sheet(price: Price) -> Table:
    rows = []
    for p in price.estimate.job.parts:
        size = " × ".join(write(v, "length", price.system) for v in (p.length, p.width, p.thickness))
        rows.append((p.title or p.id, str(p.quantity * price.estimate.job.quantity), p.material, size))
    return Table("Parts, finished sizes", ("part", "pieces", "material", "size"), tuple(rows), frozenset({1}))


def _hours_sheet(price: Price) -> Table:
    e = price.estimate
    rows = [
        (phase, *(_hours(v) for v in (h.planned, h.programmed, h.logged, h.best, h.quoted)), h.working)
        for phase, h in e.hours.items()
    ]
    quoted = sum(h.quoted for h in e.hours.values())
    rows += [(), ("together", "", "", "", _hours(e.own_hours), _hours(quoted), "")]
    head = ("phase", "planned", "programmed", "logged", "best", "quoted", "counted as")
    return Table("Hours of our own people", head, tuple(rows), frozenset({1, 2, 3, 4, 5}))


def _hours(hours: float | None) -> str:
    return "–" if hours is None else f"{hours:.2f}"


def _minutes(seconds: float | None) -> str:
    return "–" if seconds is None else f"{seconds / 60:.2f}"


def _programs_sheet(price: Price) -> Table:
    programs = price.estimate.programs
    rows = [
        (
            p.program.title or p.program.id,
            p.program.station,
            str(p.loads),
            *(_minutes(v) for v in (p.planned, p.programmed, p.logged)),
            _minutes(p.best * p.loads),
            f"{100 * p.attended:.0f} %",
            ", ".join(p.cutters) + (" (no artwork yet)" if p.by_area else ""),
        )
        for p in programs
    ]
    total = price.estimate.machine_seconds
    rows += [(), ("together", "", str(sum(p.loads for p in programs)), "", "", "", _minutes(total), "", "")]
    head = ("program", "station", "loads", "planned", "programmed", "logged", "all loads", "attended", "cutters")
    parts = [(k, sum(getattr(p, k) * p.loads for p in programs)) for k in ("cutting", "moving", "changing", "standing")]
    where = ", ".join(f"{name} {100 * s / total:.0f} %" for name, s in parts) if total else "nothing to run"
    below = f"Machine time {write_time(total)}: {where}. Machine minutes are not people's minutes."
    return Table("Programs, minutes", head, tuple(rows), frozenset({2, 3, 4, 5, 6, 7}), (below,))


def _price_sheet(price: Price) -> Table:
    rows: list[tuple[str, ...]] = [(line.name, f"{line.amount:,.2f}", line.how) for line in price.lines[:-1]]
    margin = price.lines[-1]
    rows += [
        (),
        ("floor price", f"{price.floor:,.2f}", "all of the above, no margin"),
        (margin.name, f"{margin.amount:,.2f}", margin.how),
        ("asked price", f"{price.asked:,.2f}", _each_words(price)),
    ]
    earned = price.earned_per_hour
    spread = (
        f"What such jobs cost: half of them up to {price.p50:,.0f}, four of five up to {price.p80:,.0f}, nine of ten "
        f"up to {price.p90:,.0f} {price.currency}."
    )
    means = sum(line.amount for line in price.lines[:-2])
    if price.p50 < means:
        spread += f" The lines are means: the few jobs that go badly lift them to {means:,.0f}, above the middle."
    below = [spread]
    if earned is not None:
        left = f"{price.asked:,.2f} - {price.bought_in:,.2f} bought in - {price.machine_cost:,.2f} machine"
        each = f"At the asked price each of our {price.estimate.own_hours:.1f} hours earns {earned:,.2f}"
        below.append(f"{each} {price.currency}: ({left}) / hours.")
    if price.carving_floor is not None:
        cost = next(line.amount for line in price.lines if line.name == "carving")
        risk, added = price.carving_floor - cost, (price.carving_asked or price.carving_floor) - price.carving_floor
        below.append(
            f"The carving by itself: floor {price.carving_floor:,}, asked {price.carving_asked:,} {price.currency}: "
            f"cost {cost:,} + risk {risk:,} (the whole job's, shared in proportion to cost, so another than that of "
            f"the carving priced alone) + margin {added:,} (likewise)."
        )
    below.append(f"A machine hour costs {price.machine_rate.total} {price.currency}: {price.machine_rate.working}.")
    head = ("line", price.currency, "working")
    return Table("Price", head, tuple(rows), frozenset({1}), tuple(below))


def _each_words(price: Price) -> str:
    n = price.estimate.job.quantity
    return f"{cents(float(price.asked) / n):,} each" if n > 1 else ""


def caution(price: Price) -> str:
    """The usual cautions, and what is known of the dust of the woods in the job.

    Parameters
    ----------
    price : Price
        Of the job.
    """
    return " ".join(t for t in (CAUTION, dust_words(price)) if t)


def dust_words(price: Price) -> str:
    """What is known of the dust of the woods in the job; empty where nothing is.

    Parameters
    ----------
    price : Price
        Of the job.
    """
    return " ".join(
        f"Dust of {p.material}: {c.item} {c.value} ({c.basis})."
        for p in price.estimate.purchases
        for c in cautions("wood dust", p.material)
        if c.applies_to
    )


def sheets(price: Price) -> tuple[Table, ...]:
    """What people read, as tables of text: parts, hours, programs, price.

    Parameters
    ----------
    price : Price
        In its own system of units.
    """
    return _parts_sheet(price), _hours_sheet(price), _programs_sheet(price), _price_sheet(price)


def _heading(price: Price) -> tuple[str, str]:
    job = price.estimate.job
    pieces = "1 piece" if job.quantity == 1 else f"{job.quantity} pieces"
    return clean(job.name), f"{pieces}, {job.machine.called}, {len(job.programs)} programs, {job.load_count} loads"


def as_text(price: Price) -> str:
    """The quote for people, as plain text.

    Parameters
    ----------
    price : Price
        In its own system of units.
    """
    name, about = _heading(price)
    out = [name, about]
    if price.estimate.job.note:
        out += textwrap.wrap(clean(price.estimate.job.note), _WIDTH)
    for sheet in sheets(price):
        out += ["", *as_lines(sheet)]
    if price.warnings:
        out += ["", "Look at this"]
        for w in price.warnings:
            out += textwrap.wrap(clean(w), _WIDTH, initial_indent="  * ", subsequent_indent="    ")
    out += ["", *textwrap.wrap("Caution. " + caution(price), _WIDTH)]
    return "\n".join(line.rstrip() for line in out) + "\n"


def as_html(price: Price) -> str:
    """The quote for people, as one printable page that needs no network.

    Parameters
    ----------
    price : Price
        In its own system of units.
    """
    from shopcalc.documents.page import as_page

    name, about = _heading(price)
    blocks: list[Block] = [Paragraph(price.estimate.job.note)] if price.estimate.job.note else []
    blocks += sheets(price)
    if price.warnings:
        blocks.append(Caution("Look at this", price.warnings))
    blocks.append(Caution("Caution.", (caution(price),)))
    return as_page(Document(name, name, datetime.date.today(), tuple(blocks), f"{about}. For the shop only."), size=9.0)


def hours_csv(price: Price) -> str:
    """The hours as a table for a spreadsheet, units in the second row.

    Parameters
    ----------
    price : Price
        Of the job.
    """
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(["phase", "planned", "programmed", "logged", "best", "quoted"])
    rows.writerow(["-", "h", "h", "h", "h", "h"])
    for phase, h in price.estimate.hours.items():
        values = (h.planned, h.programmed, h.logged, h.best, h.quoted)
        rows.writerow([phase, *("" if v is None else f"{v:.3f}" for v in values)])
    return out.getvalue()
