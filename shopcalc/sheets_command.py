"""The command ``sheets``: the papers of a job, each as a page to print, as PDF and as a workbook of its tables."""

from __future__ import annotations

import argparse
import datetime
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from shopcalc.errors import Fault, InputError

if TYPE_CHECKING:
    from shopcalc.quote import Price
    from shopcalc.shop import Shop

Write = Callable[[Path, Mapping[str, str | bytes]], None]
Show = Callable[[Any], None]

#: What may be asked for alone; the kinds of ``sheets.KINDS``, said here so that help needs none of it.
ONLY = ("customer-quote", "buying", "cut-list", "set-ups", "traveller", "fits")
_SAYS = {
    "customer-quote": "for the customer: nothing of what it costs you is in it",
    "buying": "what to buy; for the shop only",
    "cut-list": "for the saw",
    "set-ups": "for the machine: read the cautions first",
    "traveller": "goes with the job",
    "fits": "for the bench",
}


def add_flags(parser: argparse.ArgumentParser) -> None:
    """Give the command its flags.

    Parameters
    ----------
    parser : ArgumentParser
        Of the command; it has ``--shop``, ``--system`` and ``--json`` already.
    """
    parser.add_argument("job", metavar="JOB.toml")
    parser.add_argument("--out", metavar="DIR", required=True, help="where the papers are written")
    parser.add_argument("--paper", choices=("letter", "a4"), help="default: letter for inches, a4 for millimetres")
    parser.add_argument("--only", choices=ONLY, action="append", metavar="KIND", help=f"one of: {', '.join(ONLY)}")
    parser.add_argument("--beside", metavar="JOB.toml", action="append", default=[], help="an option in the quote")
    parser.add_argument(
        "--ways", action="store_true", help="in the quote: without its carving, as it is, on both faces"
    )
    parser.add_argument("--date", metavar="YYYY-MM-DD", help="of the papers; default today")


def run(chosen: argparse.Namespace, write: Write, show: Show) -> int:
    """Write the papers: all of them or none.

    Parameters
    ----------
    chosen : Namespace
        From the parser.
    write : callable
        Of a folder and contents by name: writes all of them or none.
    show : callable
        Of a JSON document: prints it.

    Returns
    -------
    int
        0.

    Raises
    ------
    InputError
        With everything that is wrong; then nothing was written.
    """
    from shopcalc.documents.text import clean
    from shopcalc.fit_table import fit_rows, season_warnings
    from shopcalc.sheets import Terms, papers, read_terms, rendered
    from shopcalc.sheets.front import front_views
    from shopcalc.sheets.writing import record, record_name, refuse_changed
    from shopcalc.shop import Shop

    date = _date(chosen.date)
    shop = Shop.open(chosen.shop)
    terms = read_terms(shop.folder)
    priced = _priced(chosen.job, shop, chosen)
    options = [(p.estimate.job.name, p) for p in (_priced(path, shop, chosen) for path in chosen.beside)]
    if chosen.ways:
        options += _ways(priced, shop, chosen.job)
    kinds, job, notes = tuple(chosen.only or ONLY), priced.estimate.job, list[str]()
    order = _order(priced, notes) if job.loads and {"set-ups", "traveller"} & set(kinds) else ()
    shown = replace(job, system=priced.system)
    fits, seasons = (fit_rows(shown), season_warnings(shown)) if "fits" in kinds else ((), ())
    layouts = () if job.expansion is None else job.expansion.layouts
    made = papers(
        priced, terms or Terms(), date, kinds=kinds, order=order, options=options, fits=fits, seasons=seasons,
        drawing=front_views(layouts, priced.system, job.quantity),
    )  # fmt: skip
    if not made:
        message = f"there is nothing to write: {', '.join(chosen.only)} is not known for this job"
        raise InputError(Fault(message, "leave --only away", file=chosen.job))
    files, lacking = rendered(made, chosen.paper or ("letter" if priced.system == "inch" else "a4"))
    folder, name = Path(chosen.out), priced.estimate.job.name
    refuse_changed(folder, name, files)
    write(folder, {**files, record_name(name): record(folder, name, files)})
    notes += lacking
    if job.note and "customer-quote" in made:
        notes.append(f"the customer reads the job file's note word for word: {clean(job.note)}")
    if terms is None:
        notes.append("this shop has no papers.toml: the quote bears no name and no terms")
    if chosen.json:
        show({"written": [str(folder / n) for n in files], "papers": list(made), "notes": notes})
        return 0
    for kind in made:
        mine = [n for n in files if n.rsplit(".", 1)[0].endswith(kind)]
        print(f"{', '.join(str(folder / n) for n in mine)}: {_SAYS[kind]}")
    for note in notes:
        print(f"look: {note}")
    return 0


def _ways(priced: Price, shop: Shop, file: str) -> list[tuple[str, Price]]:
    """The other ways to make a carved piece, as options beside it."""
    from shopcalc.deciding import ways

    found = ways(priced, shop)
    if not found:
        raise InputError(Fault("nothing of this job is carved, so there are no ways", "leave --ways away", file=file))
    return [(w.name, _said(w.price, w.differs)) for w in found if w.price is not priced]


def _said(priced: Price, words: str) -> Price:
    """The same price of a piece that these words describe."""
    return replace(priced, estimate=replace(priced.estimate, job=replace(priced.estimate.job, note=words)))


def _order(priced: Price, notes: list[str]) -> tuple[str, ...]:
    """The order of loads: the one the job says, else the one with the least time between them."""
    from shopcalc.loading import plan_loads, work
    from shopcalc.units import write_time

    job = priced.estimate.job
    plan = plan_loads(work(job, job.shop, estimate=priced.estimate))
    if plan.by == "found" and plan.seconds < plan.file_seconds - 1:
        less = write_time(plan.file_seconds - plan.seconds)
        notes.append(f"loads stand in the order that was found: {less} less between them than in the job file's order")
    return plan.order


def _priced(path: str, shop: Shop, chosen: argparse.Namespace) -> Price:
    from shopcalc.jobs import estimate, open_job
    from shopcalc.logged import job_with_log
    from shopcalc.quote import price

    return price(estimate(job_with_log(open_job(path, shop))), system=chosen.system)


def _date(text: str | None) -> datetime.date:
    if text is None:
        return datetime.date.today()
    try:
        return datetime.date.fromisoformat(text)
    except ValueError:
        raise InputError(Fault(f"'{text}' is not a date", "write it as 2026-04-30", field="--date")) from None
