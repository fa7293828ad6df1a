"""All papers of a job as files: what they are called, what is in them, and which of them a person has changed."""

from __future__ import annotations

import datetime
import hashlib
import json
import re
import unicodedata
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from shopcalc.documents import Document, Drawing
from shopcalc.documents.blocks import PaperSize
from shopcalc.documents.page import as_page
from shopcalc.documents.pdf import as_pdf
from shopcalc.documents.workbook import as_workbook
from shopcalc.errors import Fault, raise_all
from shopcalc.fit_table import FitRow
from shopcalc.quote.pricing import Price
from shopcalc.sheets.buying import buying_list
from shopcalc.sheets.customer import customer_quote
from shopcalc.sheets.fits import fit_paper
from shopcalc.sheets.parts_list import cut_list
from shopcalc.sheets.set_ups import set_up_sheets
from shopcalc.sheets.terms import Terms
from shopcalc.sheets.traveller import traveller

KINDS: tuple[str, ...] = ("customer-quote", "buying", "cut-list", "set-ups", "traveller", "fits")
_WRITTEN_BY = "shopcalc sheets"
_ASIDE = "move or rename it, or name another folder with --out"
_LONGEST = 60  # letters of a file's name taken from the job's


def papers(
    price: Price,
    terms: Terms,
    date: datetime.date,
    *,
    kinds: Iterable[str] = KINDS,
    order: Sequence[str] = (),
    options: Sequence[tuple[str, Price]] = (),
    drawing: Drawing | None = None,
    fits: Sequence[FitRow] = (),
    seasons: Sequence[str] = (),
) -> dict[str, Document]:
    """The papers of a job by their kind.

    Parameters
    ----------
    price : Price
        Of the job, in the system it is written in.
    terms : Terms
        Of the shop.
    date : date
        Of the papers.
    kinds : iterable of str
        Which of ``KINDS``.
    order : sequence of str
        Loads as "program/part" in the order they are run; empty takes the job's own.
    options : sequence of (str, Price)
        Other ways to make it, for the customer's quote.
    drawing : Drawing or None
        Of the piece, for the customer's quote.
    fits : sequence of FitRow
        Of the fit table; without any there is no such paper.
    seasons : sequence of str
        What the seasons will do to the job, for the fit table.
    """
    makers: dict[str, Callable[[], Document | None]] = {
        "customer-quote": lambda: customer_quote(price, terms, date, options=options, drawing=drawing),
        "buying": lambda: buying_list(price, date),
        "cut-list": lambda: cut_list(price, date),
        "set-ups": lambda: set_up_sheets(price, date, order) if price.estimate.job.loads else None,
        "traveller": lambda: traveller(price, date, order),
        "fits": lambda: fit_paper(price.estimate.job.name, date, fits, price.system, seasons) if fits else None,
    }
    made = {kind: makers[kind]() for kind in kinds}
    return {kind: d for kind, d in made.items() if d is not None}


def stem(name: str) -> str:
    """Begin of the files' names, from a job's: small letters of the alphabet, figures and hyphens, never empty.

    Parameters
    ----------
    name : str
        Of a job, whatever it holds.

    Example
    -------
    >>> stem("../Réed-bed / chest?")
    'reed-bed-chest'
    """
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:_LONGEST].strip("-") or "job"


def rendered(documents: Mapping[str, Document], paper: PaperSize = "letter") -> tuple[dict[str, bytes], list[str]]:
    """Every paper as page, PDF and workbook, by file name; and what could not be shown as it is meant.

    Parameters
    ----------
    documents : mapping
        Kind to paper.
    paper : {"letter", "a4"}
        They are printed on.
    """
    files: dict[str, bytes] = {}
    notes: list[str] = []
    for kind, document in documents.items():
        name = f"{stem(document.name)}-{kind}"
        pdf, said = as_pdf(document, paper)
        files |= {f"{name}.html": as_page(document, paper).encode(), f"{name}.pdf": pdf}
        if document.tables:
            files[f"{name}.xlsx"] = as_workbook(document, paper)
        notes += [f"{name}.pdf: {n}" for n in said]
    return files, notes


def record_name(name: str) -> str:
    """File in which a run keeps what it wrote.

    Parameters
    ----------
    name : str
        Of the job.
    """
    return f"{stem(name)}-papers.json"


def record(folder: Path, job: str, files: Mapping[str, bytes]) -> bytes:
    """What was written, so that a later run knows what a person changed since; earlier papers stay in it.

    Parameters
    ----------
    folder : Path
        Where they are written.
    job : str
        Name of the job.
    files : mapping
        Name to contents.
    """
    known = _known(folder / record_name(job)) | {name: _hash(data) for name, data in files.items()}
    return (json.dumps({"written_by": _WRITTEN_BY, "files": known}, indent=1) + "\n").encode()


def refuse_changed(folder: Path, job: str, names: Iterable[str]) -> None:
    """Refuse to overwrite what was not written here, or what a person changed since.

    Parameters
    ----------
    folder : Path
        Where they are to be written.
    job : str
        Name of the job.
    names : iterable of str
        Of the files.

    Raises
    ------
    InputError
        With every such file.
    """
    kept, faults = folder / record_name(job), list[Fault]()
    known = _known(kept)
    if kept.exists() and not known:
        faults.append(Fault("this file is in the way: it is no record of papers", _ASIDE, file=str(kept)))
    for name in names:
        path = folder / name
        if path.is_file() and known.get(name) != _hash(path.read_bytes()):
            words = "this file was not written by shopcalc sheets, or was changed since, and is not overwritten"
            faults.append(Fault(words, _ASIDE, file=str(path)))
    raise_all(faults)


def _known(path: Path) -> dict[str, str]:
    """Files an earlier run wrote, with their hashes; none where its record is missing or not ours."""
    try:
        data: Any = json.loads(path.read_bytes())
    except (OSError, ValueError, RecursionError):
        return {}
    if not isinstance(data, dict) or data.get("written_by") != _WRITTEN_BY or not isinstance(data.get("files"), dict):
        return {}
    return {str(k): str(v) for k, v in data["files"].items()}


def _hash(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()
