"""The fit table as a paper: what is measured with what, from and to which size, with room for what it was."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence

from shopcalc.documents import Block, Boxes, Caution, Cell, Document, Figure, Gap, Paragraph, Table
from shopcalc.fit_table import FitRow
from shopcalc.units import System

_HOW = (
    "Clearance is mortise minus tenon in total; positive is loose. Measure the first of each at three places with the "
    "same tool, write it down, and correct before the rest is cut."
)


def fit_paper(
    name: str, date: datetime.date, rows: Sequence[FitRow], system: System, seasons: Sequence[str] = ()
) -> Document:
    """A table of fits.

    Parameters
    ----------
    name : str
        Of the job.
    date : date
        Of the paper.
    rows : sequence of FitRow
        From ``fit_table.fit_rows``.
    system : {"inch", "metric"}
        Of the sizes that are written.
    seasons : sequence of str
        What the seasons will do, from ``fit_table.season_warnings``.
    """
    blocks: list[Block] = [
        Caution("Caution.", ("Measure only when the spindle stands and the machine cannot start by itself.",)),
        Paragraph(_HOW),
        Table("Fits", _HEAD, tuple(_rows(rows, system)), frozenset({0, 3, 4, 5})),
        Table("When it is outside", (), tuple(_remedies(rows))),
    ]
    if seasons:
        blocks.append(Table("Seasons", (), tuple((f"{k}.", words) for k, words in enumerate(seasons, 1))))
    blocks.append(Boxes(("measured by", "date", "tools checked with"), 3))
    return Document("Fit table", name, date, tuple(blocks))


_HEAD = ("no.", "part", "size: tool", "as drawn", "from", "to", "is")


def _rows(rows: Sequence[FitRow], system: System) -> Iterator[tuple[Cell, ...]]:
    for number, row in enumerate(rows, 1):
        sizes = (row.shown(v, system) for v in (row.nominal, row.low, row.high))
        yield (Figure(str(number), number), row.part, f"{row.what}: {row.measure_with}", *sizes, Gap.WRITE)


def _remedies(rows: Sequence[FitRow]) -> Iterator[tuple[Cell, ...]]:
    for number, row in enumerate(rows, 1):
        words = ". ".join(t[0].upper() + t[1:] for t in (row.outside, row.note) if t)
        yield (f"{number}.", f"{words}.")
