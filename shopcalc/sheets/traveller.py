"""The job traveller: one paper that goes with the job through the shop."""

from __future__ import annotations

import datetime
from collections.abc import Sequence

from shopcalc.documents import Block, Boxes, Cell, Document, Figure, Gap, Table
from shopcalc.quote.pricing import Price
from shopcalc.sheets.order import batches


def traveller(price: Price, date: datetime.date, order: Sequence[str] = ()) -> Document:
    """Order of loads, cutters to fetch, phases with room for the hours they took, signatures.

    Parameters
    ----------
    price : Price
        Of the job.
    date : date
        Of the paper.
    order : sequence of str
        Loads as "program/part"; empty takes the job's own.
    """
    e = price.estimate
    job = e.job
    pieces = "1 piece" if job.quantity == 1 else f"{job.quantity} pieces"
    signed = ("released by, date", "checked by, date", "handed over by, date")
    asked = [f"{phase}, {h.best:.1f} h" for phase, h in e.hours.items() if h.best > 0]
    blocks: tuple[Block, ...] = (
        _loads(price, order),
        _cutters(price),
        _phases(price),
        Boxes((*asked, *signed), 4, 11.0),
    )
    about = f"{pieces}, {job.load_count} loads. Each has its own set-up sheet with its cautions: read it first."
    return Document("Job traveller", job.name, date, blocks, about)


def _loads(price: Price, order: Sequence[str]) -> Table:
    job = price.estimate.job
    programs = {p.id: p for p in job.programs}
    rows: list[tuple[Cell, ...]] = []
    for number, load in enumerate(batches(job, order), 1):
        program, part = programs[load.program], job.part(load.part)
        loads = load.count * job.quantity
        rows.append(
            (Gap.TICK, Figure(str(number), number), program.title or program.id, part.title or part.id, program.station,
             Figure(str(loads), loads))
        )  # fmt: skip
    return Table(
        "Loads, in this order", ("", "no.", "program", "part", "station", "loads"), tuple(rows), frozenset({1, 5})
    )


def _cutters(price: Price) -> Table:
    job = price.estimate.job
    needed = list(dict.fromkeys(c for t in price.estimate.programs for c in t.cutters))
    in_rack = sorted((c for c in map(job.shop.cutter, needed) if c.number), key=lambda c: c.number or 0)
    by_hand = [c for c in map(job.shop.cutter, needed) if not c.number]
    rows: list[tuple[Cell, ...]] = []
    if in_rack:
        rows.append(("in rack", ", ".join(f"T{c.number} {c.id}" for c in in_rack)))
    if by_hand:
        rows.append(("to fetch", ", ".join(f"{c.id} ({c.title})" for c in by_hand)))
    unknown = [c.id for c in (*in_rack, *by_hand) if c.marked_rpm is None and c.maker_rpm is None]
    if unknown:
        rows.append(("DO NOT RUN", f"{', '.join(unknown)}: no greatest speed is known; find it out first"))
    return Table("", (), tuple(rows))


def _phases(price: Price) -> Table:
    rows: list[tuple[Cell, ...]] = [
        (phase, Figure(f"{h.best:.1f}", round(h.best, 2), "", 1), Gap.WRITE, Gap.WRITE)
        for phase, h in price.estimate.hours.items()
        if h.best > 0
    ]
    return Table("Hours", ("phase", "expected", "really", "by, date"), tuple(rows), frozenset({1}), where="workbook")
