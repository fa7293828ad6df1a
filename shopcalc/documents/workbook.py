"""The tables of a document as a workbook: one sheet each, nothing hidden, no formula, ready to print."""

from __future__ import annotations

import datetime
import io
import re
from typing import Any

from shopcalc.documents.blocks import Cell, Document, Figure, Gap, PaperSize, Table, cell_text
from shopcalc.documents.text import clean

_LETTER, _A4 = 1, 9  # numbers of the papers in the file format
_LONGEST = 60  # letters a column is made wide for
_MOST = 32_000  # letters a cell takes


def as_workbook(document: Document, paper: PaperSize = "letter") -> bytes:
    """Every table of the document as a sheet of an Excel workbook.

    Parameters
    ----------
    document : Document
        With at least one table.
    paper : {"letter", "a4"}
        It is printed on.

    Notes
    -----
    Names are written as text, so that one that begins with an equals sign is no formula and none becomes a link.
    """
    import xlsxwriter

    kept = io.BytesIO()
    plain = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    book = xlsxwriter.Workbook(kept, {"in_memory": True, **plain})
    day = datetime.datetime.combine(document.date, datetime.time(12))
    book.set_properties({"title": clean(document.headline)[:250], "created": day})
    taken: set[str] = set()
    for table in document.tables:
        sheet = book.add_worksheet(_sheet_name(table.title or document.title, taken))
        _fill(book, sheet, table)
        _set_up(sheet, document, paper)
    book.close()
    return kept.getvalue()


def _sheet_name(title: str, taken: set[str]) -> str:
    """At most 31 letters, none of those Excel forbids, each once whatever its capitals."""
    plain = re.sub(r"[\[\]:*?/\\]", " ", clean(title)).strip(" '")[:31].strip(" '") or "table"
    if plain.casefold() == "history":  # Excel keeps this name for itself
        plain = "history of it"
    name, number = plain, 1
    while name.casefold() in taken:
        number += 1
        name = f"{plain[: 28 - len(str(number))]} ({number})"
    taken.add(name.casefold())
    return name


def _fill(book: Any, sheet: Any, table: Table) -> None:
    bold = book.add_format({"bold": True, "bottom": 2, "text_wrap": True, "valign": "bottom", "font_size": 11})
    line = 0
    for k, title in enumerate(table.head):
        sheet.write_string(0, k, clean(title), bold)
    if table.head:
        line = 1
        sheet.repeat_rows(0)
        sheet.freeze_panes(1, 0)
    ruled, widths = False, [len(h) for h in table.head] or [0] * table.columns
    formats: dict[Any, Any] = {}
    for row in table.rows:
        if not row:
            ruled = True
            continue
        for k, cell in enumerate(row):
            look = _look(cell, ruled, k in table.numbers)
            key = tuple(sorted(look.items()))
            formats[key] = formats.get(key) or book.add_format(look)
            _write(sheet, line, k, cell, formats[key])
            widths[k] = max(widths[k], len(cell_text(cell)))
        line, ruled = line + 1, False
    for k, wide in enumerate(widths):
        sheet.set_column(k, k, min(max(wide, 6), _LONGEST) + 2)
    for sentence in table.below:
        line += 1
        sheet.write_string(line, 0, clean(sentence)[:_MOST])


def _look(cell: Cell, ruled: bool, number: bool) -> dict[str, Any]:
    look: dict[str, Any] = {"valign": "top", "text_wrap": True, "font_size": 11}
    if ruled:
        look["top"] = 2
    if number:
        look["align"] = "right"
    if isinstance(cell, Gap):
        look["border"] = 1
    if isinstance(cell, Figure):
        digits = "General" if cell.digits is None else "#,##0" + ("." + "0" * cell.digits if cell.digits else "")
        unit = clean(cell.unit).replace('"', "")[:20]
        look["num_format"] = f'{digits}" {unit}"' if unit else digits
    return look


def _write(sheet: Any, line: int, column: int, cell: Cell, look: Any) -> None:
    if isinstance(cell, Figure):
        sheet.write_number(line, column, float(cell.value), look)
    elif isinstance(cell, Gap):
        sheet.write_blank(line, column, None, look)
    else:
        sheet.write_string(line, column, cell_text(cell)[:_MOST], look)


def _set_up(sheet: Any, document: Document, paper: PaperSize) -> None:
    sheet.set_paper(_LETTER if paper == "letter" else _A4)
    sheet.fit_to_pages(1, 0)
    sheet.set_margins(left=0.6, right=0.6, top=0.6, bottom=0.75)
    foot = document.foot.replace("&", "&&")
    sheet.set_footer(f"&L{foot}&Rpage &P of &N")
