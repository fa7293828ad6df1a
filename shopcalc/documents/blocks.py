"""What a document is made of, whoever prints it: headings, paragraphs, tables, drawings, places to write, cautions."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from decimal import Decimal
from enum import Enum
from typing import Literal

from shopcalc.documents.drawing import Drawing
from shopcalc.documents.text import clean

PaperSize = Literal["letter", "a4"]
#: Width and height of each paper [mm] (ANSI Y14.1 size A; ISO 216).
PAPERS: dict[PaperSize, tuple[float, float]] = {"letter": (215.9, 279.4), "a4": (210.0, 297.0)}
#: Free border at the top, right, bottom and left of each page [mm].
MARGINS: tuple[float, float, float, float] = (14.0, 15.0, 18.0, 15.0)
#: Least size of print that is read at arm's length [pt] (common practice, no source).
SIZE = 11.0


class Gap(Enum):
    """A cell that is left for a pen."""

    TICK = "tick"
    WRITE = "write"


@dataclass(frozen=True)
class Figure:
    """A cell with a number that a workbook can reckon with.

    Parameters
    ----------
    text : str
        As people read it, with its unit.
    value : float or Decimal
        The same in ``unit``.
    unit : str
        Written behind the value in a workbook; empty for a count.
    digits : int or None
        Decimals there; None as many as it has.
    """

    text: str
    value: float | Decimal
    unit: str = ""
    digits: int | None = None


Cell = str | Figure | Gap


@dataclass(frozen=True)
class Heading:
    """A line over what follows; it never stands alone at the foot of a page.

    Parameters
    ----------
    text : str
        Of the line.
    """

    text: str


@dataclass(frozen=True)
class Paragraph:
    """Running text.

    Parameters
    ----------
    text : str
        Of one paragraph.
    large : bool
        Whether it is what the page is for: printed large.
    """

    text: str
    large: bool = False


@dataclass(frozen=True)
class Table:
    """A table.

    Parameters
    ----------
    title : str
        Above it, and the name of its sheet in a workbook.
    head : tuple of str
        Of the columns; empty for a list of facts, whose first column are their names.
    rows : tuple of tuple of Cell
        One for each line; an empty row is a rule.
    numbers : frozenset of int
        Columns that are aligned to the right.
    below : tuple of str
        Sentences under it.
    where : {"both", "print", "workbook"}
        A table too wide for paper may have a wider twin for the workbook.
    """

    title: str
    head: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    numbers: frozenset[int] = frozenset()
    below: tuple[str, ...] = ()
    where: Literal["both", "print", "workbook"] = "both"

    @property
    def columns(self) -> int:
        """How many there are."""
        return max((len(self.head), *(len(row) for row in self.rows)))


@dataclass(frozen=True)
class Boxes:
    """Lines to write on.

    Parameters
    ----------
    labels : tuple of str
        What is written on each.
    columns : int
        Beside each other.
    height : float
        Of each [mm].
    """

    labels: tuple[str, ...]
    columns: int = 3
    height: float = 12.0


@dataclass(frozen=True)
class Checklist:
    """Things to tick off.

    Parameters
    ----------
    title : str
        Above them.
    items : tuple of str
        In order.
    """

    title: str
    items: tuple[str, ...]


@dataclass(frozen=True)
class Caution:
    """What can hurt somebody, in a box that is not torn apart by the end of a page.

    Parameters
    ----------
    title : str
        First words.
    items : tuple of str
        Sentences.
    grave : bool
        Whether work must not go on: drawn with a heavy frame.
    """

    title: str
    items: tuple[str, ...]
    grave: bool = False


@dataclass(frozen=True)
class Break:
    """A new page."""


Block = Heading | Paragraph | Table | Drawing | Boxes | Checklist | Caution | Break


@dataclass(frozen=True)
class Document:
    """A paper.

    Parameters
    ----------
    title : str
        Of the paper.
    name : str
        Of the job, at the foot of each page.
    date : date
        Of the paper, at the foot of each page.
    blocks : tuple of Block
        From top to bottom.
    about : str
        Under the title.
    """

    title: str
    name: str
    date: datetime.date
    blocks: tuple[Block, ...]
    about: str = ""

    @property
    def printed(self) -> tuple[Block, ...]:
        """What stands on paper; a table without rows is none."""
        return tuple(b for b in self.blocks if not isinstance(b, Table) or (b.where != "workbook" and b.rows))

    @property
    def tables(self) -> tuple[Table, ...]:
        """What stands in a workbook."""
        return tuple(b for b in self.blocks if isinstance(b, Table) and b.where != "print" and b.rows)

    @property
    def headline(self) -> str:
        """Name of the file's contents, for who keeps many open."""
        return self.title if self.title == self.name else f"{self.title}: {self.name}"

    @property
    def foot(self) -> str:
        """What stands at the foot of each page, cut where it is too long for one line; no name can turn the date."""
        name = clean(self.name)
        return f"{self.date.isoformat()}, {name if len(name) <= 50 else name[:49] + '…'}"


def cell_text(cell: Cell) -> str:
    """What a cell says; nothing where a pen shall.

    Parameters
    ----------
    cell : Cell
        Of a table.
    """
    return "" if isinstance(cell, Gap) else clean(cell if isinstance(cell, str) else cell.text)
