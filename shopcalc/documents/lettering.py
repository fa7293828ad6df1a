"""Letters for a PDF: fonts that are embedded in it, lines broken to a width, writing from right to left turned round.

DejaVu Sans has Latin, Greek, Cyrillic, Hebrew and Arabic letters, fractions and signs; its files come with matplotlib,
which is not imported. What it lacks becomes a question mark and is told.
"""

from __future__ import annotations

import importlib.util
import unicodedata
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from shopcalc.documents.text import clean
from shopcalc.errors import Fault, InputError

if TYPE_CHECKING:
    from fpdf import FPDF

POINT = 25.4 / 72  # mm
_FAMILY = "sans"
_FILES = {"": "DejaVuSans.ttf", "B": "DejaVuSans-Bold.ttf"}
_RIGHT_TO_LEFT = ("R", "AL", "AN")
_JOINED = ("ARABIC",)


def font_folder() -> Path:
    """Where the font files are.

    Raises
    ------
    InputError
        When they are not installed.
    """
    found = importlib.util.find_spec("matplotlib")
    folder = Path(str(found.origin)).parent / "mpl-data" / "fonts" / "ttf" if found else None
    if folder is None or not (folder / _FILES[""]).exists():
        raise InputError(Fault("the fonts for PDF are not installed", "pip install matplotlib, whose files they are"))
    return folder


class Lettering:
    """The fonts of one PDF, and what was written in it that they cannot show.

    Parameters
    ----------
    pdf : FPDF
        Gets the fonts.
    """

    def __init__(self, pdf: FPDF) -> None:
        self.pdf = pdf
        for style, name in _FILES.items():
            pdf.add_font(_FAMILY, style, font_folder() / name)
        self.missing: dict[str, int] = {}
        self.unjoined = False

    def use(self, size: float, bold: bool) -> None:
        """Write in this size [pt] from now on; said anew on each page.

        Parameters
        ----------
        size : float
            [pt]
        bold : bool
            Whether bold.
        """
        self.pdf.set_font(_FAMILY, "B" if bold else "", size + 0.001)
        self.pdf.set_font(_FAMILY, "B" if bold else "", size)

    def width(self, text: str, size: float, bold: bool) -> float:
        """How wide a text is printed [mm].

        Parameters
        ----------
        text : str
            Of one line.
        size : float
            [pt]
        bold : bool
            Whether bold.
        """
        wide = _widths(bold)
        return sum(wide.get(ord(c), wide[ord("?")]) for c in text) * size * POINT

    def lines(self, text: str, room: float, size: float, bold: bool = False) -> list[str]:
        """The text broken to a width, between words where it can be.

        Parameters
        ----------
        text : str
            Any.
        room : float
            [mm]
        size : float
            [pt]
        bold : bool
            Whether bold.
        """
        out, line = [], ""
        for word in self._shown(clean(text), bold).split(" "):
            for piece in self._pieces(word, room, size, bold):
                longer = f"{line} {piece}" if line else piece
                if line and self.width(longer, size, bold) > room:
                    out.append(line)
                    longer = piece
                line = longer
        return [*out, line]

    def _pieces(self, word: str, room: float, size: float, bold: bool) -> Iterator[str]:
        """A word, broken anywhere when it is wider than the room."""
        if self.width(word, size, bold) <= room:
            yield word
            return
        piece, used = "", 0.0
        for c in word:
            wide = self.width(c, size, bold)
            if piece and used + wide > room:
                yield piece
                piece, used = "", 0.0
            piece, used = piece + c, used + wide
        yield piece

    def _shown(self, text: str, bold: bool) -> str:
        """The text with a question mark for each letter the fonts lack."""
        wide = _widths(bold)
        out = []
        for c in text:
            if ord(c) in wide:
                out.append(c)
                self.unjoined |= unicodedata.name(c, "").startswith(_JOINED)
            elif unicodedata.category(c) != "Mn" and c not in "\u200d\ufe0f":  # marks that join others to one sign
                self.missing[c] = self.missing.get(c, 0) + 1
                out.append("?")
        return "".join(out)

    def put(self, x: float, y: float, line: str, size: float, *, bold: bool = False, anchor: str = "start") -> None:
        """Write one line.

        Parameters
        ----------
        x, y : float
            Foot of the letters [mm].
        line : str
            As ``lines`` gives it.
        size : float
            [pt]
        bold : bool
            Whether bold.
        anchor : {"start", "middle", "end"}
            Which of its places stands at x.
        """
        shown = visual(line.replace("\u00a0", " "))
        x -= {"start": 0.0, "middle": 0.5, "end": 1.0}[anchor] * self.width(shown, size, bold)
        self.use(size, bold)
        self.pdf.text(x, y, shown)

    def notes(self) -> list[str]:
        """What could not be shown as it is meant, in words for people."""
        out = []
        if self.missing:
            which = ", ".join(f"{c} (U+{ord(c):04X})" for c in list(self.missing)[:8])
            more = f" and {len(self.missing) - 8} more" if len(self.missing) > 8 else ""
            out.append(f"the PDF's font has no {which}{more}: a question mark stands there; the page shows them")
        if self.unjoined:
            out.append("Arabic letters stand unjoined in the PDF; print the page instead")
        return out


def visual(line: str) -> str:
    r"""A line as it is drawn from left to right.

    Parameters
    ----------
    line : str
        As it is read.

    References
    ----------
    Unicode Standard Annex 9, the bidirectional algorithm.

    Example
    -------
    >>> visual("gate 12 \u05d0\u05d1")
    'gate 12 \u05d1\u05d0'
    """
    if not any(unicodedata.bidirectional(c) in _RIGHT_TO_LEFT for c in line):
        return line
    from fpdf.bidi import BidiParagraph

    return str(BidiParagraph(line).get_reordered_string())


@lru_cache(maxsize=2)
def _widths(bold: bool) -> dict[int, float]:
    """Width of each letter the font has, in units of its size."""
    from fontTools.ttLib import TTFont

    with TTFont(font_folder() / _FILES["B" if bold else ""], lazy=True) as font:
        unit, wide = font["head"].unitsPerEm, font["hmtx"].metrics
        return {code: wide[name][0] / unit for code, name in font.getBestCmap().items()}
