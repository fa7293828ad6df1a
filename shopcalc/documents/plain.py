"""Tables as text for a terminal."""

from __future__ import annotations

import textwrap

from shopcalc.documents.blocks import Table, cell_text

_WIDTH = 118
_LEAST = 20  # width of the last column, which is wrapped
_SPARED = 26  # a column is not wrapped below this


def as_lines(table: Table, width: int = _WIDTH) -> list[str]:
    """A table line by line; its last column is wrapped, and others where they leave it no room.

    Parameters
    ----------
    table : Table
        Title, head, rows and sentences below.
    width : int
        Of the terminal [characters].

    Returns
    -------
    list of str
        Without line ends; blanks may stand at the right.
    """
    rows = [tuple(cell_text(c) for c in row) for row in table.rows]
    widths = _widths([table.head, *(r for r in rows if r)], width)
    rule = "  " + "─" * (sum(widths) + 2 * (len(widths) - 1))

    def lines(row: tuple[str, ...]) -> list[str]:
        wrapped = [textwrap.wrap(c, w) or [""] for c, w in zip(row, widths, strict=True)]
        out = []
        for i in range(max(map(len, wrapped))):
            cells = [c[i] if i < len(c) else "" for c in wrapped]
            placed = (
                c.rjust(w) if k in table.numbers else c.ljust(w)
                for k, (c, w) in enumerate(zip(cells, widths, strict=True))
            )
            out.append("  " + "  ".join(placed))
        return out

    out = [table.title, *(lines(table.head) if table.head else ()), rule]
    for row in rows:
        out += lines(row) if row else [rule]
    for sentence in table.below:
        out += textwrap.wrap(sentence, width, initial_indent="  ", subsequent_indent="  ")
    return out


def _widths(rows: list[tuple[str, ...]], width: int) -> list[int]:
    columns = max(map(len, rows))
    widths = [max((len(r[k]) for r in rows if k < len(r)), default=1) or 1 for k in range(columns)]
    room = width - 2 * columns
    last = min(widths[-1], _LEAST)
    while sum(widths[:-1]) + last > room and max(widths[:-1], default=0) > _SPARED:
        widths[widths.index(max(widths[:-1]))] -= 1
    widths[-1] = max(min(widths[-1], room - sum(widths[:-1])), last)
    return widths
