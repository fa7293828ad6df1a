"""A document as one HTML page that needs no network: for the screen, and to print on Letter or A4."""

from __future__ import annotations

import html
from collections.abc import Iterable

from shopcalc.documents.blocks import (
    MARGINS,
    SIZE,
    Block,
    Boxes,
    Break,
    Caution,
    Cell,
    Checklist,
    Document,
    Gap,
    Heading,
    PaperSize,
    Paragraph,
    Table,
    cell_text,
)
from shopcalc.documents.drawing import Drawing, as_svg
from shopcalc.documents.text import clean

_LONG = 24  # letters of a word that may be broken anywhere, so that it does not push a table off the paper
_STYLE = """
body { font: %(size)gpt/1.3 "DejaVu Sans", "Liberation Sans", Arial, sans-serif; color: #000; background: #fff; }
body { max-width: 185mm; margin: 8mm auto; padding: 0 4mm; }
h1 { font-size: 18pt; line-height: 1.2; margin: 0; } h2 { font-size: 13pt; margin: 4mm 0 1mm; }
h1, h2 { break-after: avoid; } p { margin: 1mm 0 1.6mm; } .large { font-size: 16pt; font-weight: 700; }
h1, h2, p, td, th, li, .field, .caution { unicode-bidi: plaintext; }
h1, h2, p, li, .field, .caution, .long { overflow-wrap: anywhere; }
table { border-collapse: collapse; width: 100%%; margin: 0 0 1.5mm; }
thead { display: table-header-group; } tr, li, svg { break-inside: avoid; }
th { text-align: left; vertical-align: bottom; border-bottom: 1.5pt solid #000; padding: .6mm 1.6mm; }
td { border-bottom: .5pt solid #777; padding: .4mm 1.6mm; vertical-align: top; }
.facts td:first-child { font-weight: 700; width: 1%%; white-space: nowrap; }
td.n { white-space: nowrap; } .n { text-align: right; font-variant-numeric: tabular-nums; }
tr.rule td { border-top: 1.5pt solid #000; }
.tick span { display: inline-block; width: 4.2mm; height: 4.2mm; border: 1pt solid #000; vertical-align: -.6mm; }
td.write { border: .8pt solid #000; min-width: 22mm; width: 22mm; height: 7mm; }
svg { display: block; margin: 2mm auto; max-width: 100%%; height: auto; }
ul.list { list-style: none; margin: 0 0 1.5mm; padding: 0; } ul.list li { padding-left: 7mm; text-indent: -7mm; }
ul.list span { display: inline-block; width: 4mm; height: 4mm; border: 1pt solid #000; margin-right: 2.6mm; }
ul.list span { vertical-align: -.5mm; text-indent: 0; }
.boxes { display: grid; gap: 2.5mm; margin: 2mm 0; }
.field { border: .8pt solid #000; padding: .5mm 1.2mm; break-inside: avoid; }
.caution { border: 1.2pt solid #000; padding: 1.2mm 3mm; margin: 2.5mm 0; break-inside: avoid; }
.caution ul { margin: .5mm 0 0; padding-left: 5mm; } .grave { border-width: 3.5pt; font-weight: 700; }
.break { break-before: page; height: 0; }
@page { size: %(paper)s; margin: %(margins)s;
  @bottom-left { content: %(foot)s; font: 9pt "DejaVu Sans", Arial, sans-serif; }
  @bottom-right { content: "page " counter(page) " of " counter(pages); font: 9pt "DejaVu Sans", Arial, sans-serif; } }
@media print { body { margin: 0; padding: 0; max-width: none; } }
"""


def as_page(document: Document, paper: PaperSize = "letter", size: float = SIZE) -> str:
    """The document as HTML.

    Parameters
    ----------
    document : Document
        Any.
    paper : {"letter", "a4"}
        It is printed on.
    size : float
        Of the letters; smaller ones only for what is read at a desk [pt].
    """
    style = _STYLE % {
        "size": size,
        "paper": "letter" if paper == "letter" else "A4",
        "margins": " ".join(f"{m:g}mm" for m in MARGINS),
        "foot": _css_text(document.foot),
    }
    title = _text(document.headline)
    body = [f"<h1>{_text(document.title)}</h1>"]
    body += [f"<p>{_text(document.about)}</p>"] if document.about else []
    body += [_block(b) for b in document.printed]
    return (
        f'<!doctype html>\n<html lang="en">\n<head><meta charset="utf-8"><title>{title}</title>'
        f"<style>{style}</style></head>\n<body>\n" + "\n".join(body) + "\n</body>\n</html>\n"
    )


def _text(text: str) -> str:
    return html.escape(clean(text))


def _css_text(text: str) -> str:
    """A string of a style sheet inside a page: everything but plain letters and figures by its number."""
    plain = (c if c.isascii() and (c.isalnum() or c in " ,.-") else f"\\{ord(c):06x}" for c in text)
    return '"' + "".join(plain) + '"'


def _block(b: Block) -> str:
    if isinstance(b, Heading):
        return f"<h2>{_text(b.text)}</h2>"
    if isinstance(b, Paragraph):
        return f"<p{' class=large' if b.large else ''}>{_text(b.text)}</p>"
    if isinstance(b, Table):
        return _table(b)
    if isinstance(b, Drawing):
        return as_svg(b) + (f"<p>{_text(b.below)}</p>" if b.below else "")
    if isinstance(b, Boxes):
        height = f'style="min-height:{b.height:g}mm"'
        fields = "".join(f"<div class=field {height}>{_text(label)}</div>" for label in b.labels)
        return f'<div class=boxes style="grid-template-columns:repeat({b.columns}, 1fr)">{fields}</div>'
    if isinstance(b, Checklist):
        return f"<h2>{_text(b.title)}</h2><ul class=list>{_items(b.items, '<span></span>')}</ul>"
    if isinstance(b, Caution):
        if len(b.items) == 1:
            return f"<div class='{_look(b)}'><b>{_text(b.title)}</b> {_text(b.items[0])}</div>"
        return f"<div class='{_look(b)}'><b>{_text(b.title)}</b><ul>{_items(b.items)}</ul></div>"
    assert isinstance(b, Break)
    return "<div class=break></div>"


def _look(b: Caution) -> str:
    return "caution grave" if b.grave else "caution"


def _items(items: Iterable[str], before: str = "") -> str:
    return "".join(f"<li>{before}{_text(t)}</li>" for t in items)


def _table(t: Table) -> str:
    out = [f"<h2>{_text(t.title)}</h2>" if t.title else "", "<table>" if t.head else "<table class=facts>"]
    if t.head:
        out.append("<thead><tr>" + "".join(_cell("th", h, k in t.numbers) for k, h in enumerate(t.head)))
        out.append("</tr></thead>")
    out.append("<tbody>")
    ruled = False
    for row in t.rows:
        if row:
            cells = "".join(_cell("td", c, k in t.numbers) for k, c in enumerate(row))
            out.append(f"<tr{' class=rule' if ruled else ''}>{cells}</tr>")
        ruled = not row
    out.append("</tbody></table>")
    out += [f"<p>{_text(s)}</p>" for s in t.below]
    return "\n".join(line for line in out if line)


def _cell(tag: str, cell: Cell, number: bool) -> str:
    if isinstance(cell, Gap):
        return f"<{tag} class={cell.value}>{'<span></span>' if cell is Gap.TICK else ''}</{tag}>"
    text = cell_text(cell)
    long = any(len(word) > _LONG for word in text.split(" "))
    names = " ".join(name for name, on in (("n", number), ("long", long)) if on)
    look = f' class="{names}"' if names else ""
    return f"<{tag}{look}>{html.escape(text)}</{tag}>"
