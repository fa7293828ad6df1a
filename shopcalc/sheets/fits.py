"""The fit table as a paper: what each joint is made to, with room for what was measured."""

from __future__ import annotations

import datetime
from collections.abc import Sequence

from shopcalc.documents import Block, Boxes, Caution, Cell, Document, Gap, Paragraph, Table

_HOW = (
    "Clearance is mortise minus tenon in total; positive is loose. Measure the first of each at three places with "
    "the same caliper, write it down, correct before the rest is cut."
)


def fit_paper(name: str, date: datetime.date, head: Sequence[str], rows: Sequence[Sequence[Cell]]) -> Document:
    """A table of fits.

    Parameters
    ----------
    name : str
        Of the job.
    date : date
        Of the paper.
    head : sequence of str
        Of the columns.
    rows : sequence of sequence of Cell
        One for each joint, as long as the head; a column to write in is added.
    """
    filled = tuple((*row, Gap.WRITE) for row in rows)
    numbers = frozenset(range(1, len(head)))
    blocks: tuple[Block, ...] = (
        Paragraph(_HOW),
        Table("Fits", (*head, "measured"), filled, numbers),
        Boxes(("measured by", "date", "caliper checked with"), 3),
        Caution("Caution.", ("Measure only when the spindle stands and the machine cannot start by itself.",)),
    )
    return Document("Fit table", name, date, blocks)
