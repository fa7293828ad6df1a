"""Cut diagrams as SVG: boards or sheets with their pieces, kerfs, defects and leftovers, in black and white."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from shopcalc.stock.cutting_order import Order, cutting_order
from shopcalc.stock.layout import Filled, Piece
from shopcalc.units import System, write

_PAGE = 1000.0  # user units the longest board is drawn in
_TALL = 480.0  # and the widest sheet
_LEAST = 7.5  # letters smaller than this are left out
_STYLE = """
text { font-family: Georgia, "Times New Roman", serif; fill: #000; }
.stock { fill: #c4c4c4; stroke: #000; stroke-width: 1; }
.piece { fill: #fff; stroke: #000; stroke-width: .8; }
.left { fill: url(#hatch); stroke: #000; stroke-width: .5; stroke-dasharray: 4 3; }
.defect { fill: #000; fill-opacity: .55; }
"""
_HATCH = (
    '<pattern id="hatch" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<rect width="7" height="7" fill="#fff"/><line x1="0" y1="0" x2="0" y2="7" stroke="#777" stroke-width="1"/>'
    "</pattern>"
)


def cut_diagram(
    title: str,
    filled: Sequence[Filled],
    pieces: Sequence[Piece],
    kerf: float,
    *,
    system: System = "inch",
    keep: tuple[float, float] = (0.0, 0.0),
    titles: Sequence[str] | None = None,
) -> str:
    """Draw boards or sheets as they are cut.

    Parameters
    ----------
    title : str
        Above all.
    filled : sequence of Filled
        Boards or sheets with their pieces.
    pieces : sequence of Piece
        Their labels and sizes; each is numbered from 1.
    kerf : float
        [mm]
    system : {"inch", "metric"}
        Sizes are written in.
    keep : (length, width)
        Leftovers at least so large are hatched [mm].
    titles : sequence of str, optional
        Of each board; None takes its id and size.

    Returns
    -------
    str
        A whole SVG document: white pieces, grey saw cuts and waste, hatched leftovers, dark defects.
    """
    longest = max((f.item.length for f in filled), default=1.0)
    scale = min(_PAGE / longest, _TALL / max((f.item.width for f in filled), default=1.0))
    top, body = 34.0, [f'<text x="0" y="16" font-size="16" font-weight="bold">{_safe(title)}</text>']
    for k, f in enumerate(filled):
        name = titles[k] if titles else _size_words(f.item.id, f.item.length, f.item.width, system)
        body.append(f'<text x="0" y="{top + 12:.1f}" font-size="12">{k + 1}. {_safe(name)}</text>')
        top += 18
        order = cutting_order(f, pieces, kerf)
        body += _board(f, order, pieces, scale, top, system, keep)
        top += f.item.width * scale + 14
    key = (
        "white: pieces, by number; grey: kerf, trim and waste; hatched: leftovers to keep; dark: defects; "
        "fibres run left to right"
    )
    body.append(f'<text x="0" y="{top + 12:.1f}" font-size="11">{key}</text>')
    high = top + 24
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="-6 -4 {_PAGE + 12:.0f} {high:.0f}" '
        f'width="{_PAGE + 12:.0f}" height="{high:.0f}" role="img"><title>{_safe(title)}</title>'
        f"<style>{_STYLE}</style><defs>{_HATCH}</defs>"
        f'<rect x="-6" y="-4" width="{_PAGE + 12:.0f}" height="{high:.0f}" fill="#fff"/>\n'
        + "\n".join(body)
        + "\n</svg>\n"
    )


def _safe(text: str) -> str:
    """Somebody's text as plain letters: no markup, no control characters."""
    return escape("".join(c if c.isprintable() else " " for c in text))


def _size_words(name: str, length: float, width: float, system: System) -> str:
    return f"{name}: {write(length, 'length', system)} x {write(width, 'length', system)}"


def _rect(kind: str, x: float, y: float, length: float, width: float) -> str:
    return f'<rect class="{kind}" x="{x:.2f}" y="{y:.2f}" width="{length:.2f}" height="{width:.2f}"/>'


def _board(
    f: Filled,
    order: Order,
    pieces: Sequence[Piece],
    scale: float,
    top: float,
    system: System,
    keep: tuple[float, float],
) -> list[str]:
    item = f.item

    def placed(kind: str, x: float, y: float, length: float, width: float) -> str:
        return _rect(kind, x * scale, top + (item.width - y - width) * scale, length * scale, width * scale)

    out = [placed("stock", 0, 0, item.length, item.width)]
    ends = [c[0] for c in item.clear], [c[0] + c[2] for c in item.clear]
    out += [placed("defect", b, 0, a - b, item.width) for a, b in zip(ends[0][1:], ends[1][:-1], strict=True)]
    out += [placed("left", *r) for r in order.leftovers if r[2] >= max(keep[0], 1) and r[3] >= max(keep[1], 1)]
    for p in f.laid:
        out.append(placed("piece", p.x, p.y, p.length, p.width))
        x, y = (p.x + p.length / 2) * scale, top + (item.width - p.y - p.width / 2) * scale
        out += _label(p.piece + 1, pieces[p.piece], x, y, p.length * scale, p.width * scale, system)
    return out


def _label(number: int, piece: Piece, x: float, y: float, room: float, high: float, system: System) -> list[str]:
    """Number, name and size as far as they fit; a turned text where only that fits."""
    size = f"{write(piece.length, 'length', system)} x {write(piece.width, 'length', system)}"
    name = piece.label or piece.part
    turn, across = "", high
    if high > 1.6 * room:
        turn, room, across = f' transform="rotate(-90 {x:.1f} {y:.1f})"', high, room
    for lines in ((f"{number} {name}", size), (f"{number} {name}  {size}",), (f"{number} {name}",), (f"{number}",)):
        letters = max(len(t) for t in lines)
        font = min(12.0, room / (0.56 * letters), across / (1.25 * len(lines)))
        if font >= _LEAST:
            first = y + font * (0.35 - 0.6 * (len(lines) - 1))
            return [
                f'<text x="{x:.1f}" y="{first + 1.2 * k * font:.1f}" font-size="{font:.1f}" '
                f'text-anchor="middle"{turn}>{_safe(t)}</text>'
                for k, t in enumerate(lines)
            ]
    return []
