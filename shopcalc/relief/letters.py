"""Letters as outlines, in a serif font that ships with the package or in one of the shop's own."""

from __future__ import annotations

import importlib.util
import itertools
import math
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, Literal, NoReturn

import numpy as np
from shapely import affinity
from shapely.geometry import Polygon

from shopcalc.errors import Fault, InputError, raise_all
from shopcalc.relief.curves import Affine, Bezier, Segment, Stroke, areas
from shopcalc.relief.images import refusing
from shopcalc.relief.outlines import Outline

Alignment = Literal["left", "centre", "right"]
_OWN = "Caladea-Regular.ttf"
_MOST_LETTERS = 2000


@dataclass(frozen=True)
class FontNotes:
    """What a font is and what it allows, in its own words.

    Parameters
    ----------
    name : str
        Family and style.
    copyright, licence : str
        As the font file states them.
    file : str
        Where it is.
    """

    name: str
    copyright: str
    licence: str
    file: str

    def __str__(self) -> str:
        return f"{self.name}; {self.copyright}; {self.licence}"


def font_notes(font: Path | str | None = None) -> FontNotes:
    """Name and licence of a font.

    Parameters
    ----------
    font : Path, str or None
        A TrueType or OpenType file; None for the one that ships with the package.

    Raises
    ------
    InputError
        When it is no font.

    Example
    -------
    >>> print(font_notes())
    Caladea Regular; Copyright (c) 2012 Huerta Tipografia; Licensed under the Apache License, Version 2.0
    """
    path = _font_file(font)
    with refusing(path, "a font", "give a TrueType or OpenType file (.ttf, .otf)"):
        names = _open(str(path), path.stat().st_mtime_ns)["name"]

        def word(number: int) -> str:
            return " ".join((names.getDebugName(number) or "").split())

        return FontNotes(f"{word(1)} {word(2)}".strip(), word(0), word(13) or "no licence stated", str(path))


def letter_outlines(
    text: str,
    height: float,
    font: Path | str | None = None,
    *,
    align: Alignment = "left",
    line_spacing: float | None = None,
    tolerance: float = 0.005,
) -> list[Outline]:
    """Outlines of a text: each letter's areas in turn, named by the letter.

    Parameters
    ----------
    text : str
        One line or several.
    height : float
        Height of a capital H [mm].
    font : Path, str or None
        A TrueType or OpenType file; None for the one that ships with the package (``font_notes``).
    align : "left", "centre" or "right"
        How lines stand to each other; x is 0 at their common edge or middle.
    line_spacing : float or None
        From base line to base line [mm]; None takes what the font asks. The first base line is y = 0.
    tolerance : float
        How near chords stay to curves [mm].

    Raises
    ------
    InputError
        When the text is empty, the font lacks letters (each is named), or the sizes are not above 0.

    Notes
    -----
    Geometry of the font file; letters are kerned by its table of pairs.

    Example
    -------
    >>> [(o.name, len(o.shape.interiors)) for o in letter_outlines("OBi", 20.0)]
    [('O', 1), ('B', 2), ('i', 0), ('i', 0)]
    """
    for name, value in (("height", height), ("tolerance", tolerance), ("line spacing", line_spacing)):
        if value is not None and not (math.isfinite(value) and value > 0):
            _refuse(f"a {name} of {value} mm", "give a size above 0")
    if align not in ("left", "centre", "right"):
        _refuse(f"alignment '{align}'", "use left, centre or right")
    if not text.strip():
        _refuse("there is no text", "write something")
    if len(text) > _MOST_LETTERS:
        _refuse(f"{len(text)} letters are more than {_MOST_LETTERS}", "carve a shorter text")
    path = _font_file(font)
    with refusing(path, "a font", "give a TrueType or OpenType file (.ttf, .otf)"):
        return _laid_out(path, text, height, align, line_spacing, tolerance)


def _refuse(message: str, remedy: str) -> NoReturn:
    raise InputError(Fault(message, remedy))


def _font_file(font: Path | str | None) -> Path:
    if font is not None:
        return Path(font)
    found = importlib.util.find_spec("font_caladea")
    for folder in (found.submodule_search_locations if found else None) or ():
        path = Path(folder) / "files" / _OWN
        if path.exists():
            return path
    return _refuse("the font that should ship with the package is missing", "install the package font-caladea anew")


@lru_cache(maxsize=4)
def _open(path: str, _changed: int) -> Any:
    from fontTools.ttLib import TTFont

    return TTFont(path, lazy=True)


def _laid_out(
    path: Path, text: str, height: float, align: Alignment, line_spacing: float | None, tolerance: float
) -> list[Outline]:
    font = _open(str(path), path.stat().st_mtime_ns)
    glyph_set, names = font.getGlyphSet(), font.getBestCmap()
    lines = [line.rstrip().replace("\t", "    ") for line in text.splitlines()]
    missing = dict.fromkeys(c for line in lines for c in line if ord(c) not in names)
    raise_all(
        Fault(
            f"the font has no letter '{c}' (U+{ord(c):04X})",
            "write it another way or give another font",
            file=str(path),
        )
        for c in missing
    )
    scale = height / _capital(font, glyph_set, names)
    ascent = font["hhea"].ascent - font["hhea"].descent + font["hhea"].lineGap
    spacing = ascent * scale if line_spacing is None else line_spacing
    pairs = _Pairs(font)
    drawn: dict[str, list[Polygon]] = {}
    out = []
    for row, line in enumerate(lines):
        glyphs = [names[ord(c)] for c in line]
        kerns = [pairs(a, b) for a, b in itertools.pairwise(glyphs)]
        places = np.concatenate(
            [[0], np.cumsum([glyph_set[g].width + k for g, k in zip(glyphs, [*kerns, 0], strict=False)])]
        )
        start = {"left": 0.0, "centre": -places[-1] / 2, "right": -places[-1]}[align]
        for letter, glyph, x in zip(line, glyphs, places[:-1], strict=True):
            if glyph not in drawn:
                drawn[glyph] = _glyph(glyph_set, glyph, scale, tolerance)
            for polygon in drawn[glyph]:
                moved = affinity.translate(polygon, (start + x) * scale, -row * spacing)
                out.append(Outline(moved, letter))
    return out


def _capital(font: Any, glyph_set: Any, names: dict[int, str]) -> float:
    """Height of the capital H in the font's units, measured on its outline."""
    from fontTools.pens.boundsPen import BoundsPen

    if ord("H") in names:
        pen = BoundsPen(glyph_set)
        glyph_set[names[ord("H")]].draw(pen)
        if pen.bounds:
            return float(pen.bounds[3])
    return float(getattr(font["OS/2"], "sCapHeight", 0) or 0.7 * font["head"].unitsPerEm)


def _glyph(glyph_set: Any, glyph: str, scale: float, tolerance: float) -> list[Polygon]:
    """Areas of one letter: all its lines, wound about once or more."""
    from fontTools.pens.basePen import decomposeQuadraticSegment, decomposeSuperBezierSegment
    from fontTools.pens.recordingPen import DecomposingRecordingPen

    pen = DecomposingRecordingPen(glyph_set)
    glyph_set[glyph].draw(pen)
    by = Affine.of(scale, 0, 0, scale, 0, 0)
    rings, now = [], np.zeros(2)
    segments: list[Segment] = []

    def through(*points: Any) -> None:
        nonlocal now
        whole = np.array([now, *points], dtype=float)
        segments.append(Bezier(whole))
        now = whole[-1]

    for command, points in pen.value:
        if command == "moveTo":
            segments, now = [], np.array(points[0], dtype=float)
        elif command == "lineTo":
            through(points[0])
        elif command == "qCurveTo":
            if points[-1] is None:  # a ring of control points alone: begin in the middle between two
                ring = [np.array(p, dtype=float) for p in points[:-1]]
                now = (ring[-1] + ring[0]) / 2
                points = (*points[:-1], tuple(now))
            for control, end in decomposeQuadraticSegment(points):
                through(control, end)
        elif command == "curveTo":
            for part in decomposeSuperBezierSegment(points):
                through(*part)
        elif command in ("closePath", "endPath") and segments:
            rings.append(Stroke(tuple(segments), True).moved(by).flat(tolerance))
            segments = []
    return areas(rings, "nonzero")


class _Pairs:
    """Kerning of a font's pairs, from its table of positions or the older one [font units]."""

    def __init__(self, font: Any) -> None:
        self._old = dict(font["kern"].kernTables[0].kernTable) if "kern" in font and "GPOS" not in font else {}
        self._tables = []
        if "GPOS" not in font:
            return
        table = font["GPOS"].table
        wanted = {
            i for f in table.FeatureList.FeatureRecord if f.FeatureTag == "kern" for i in f.Feature.LookupListIndex
        }
        for index in sorted(wanted):
            lookup = table.LookupList.Lookup[index]
            found = [s.ExtSubTable if lookup.LookupType == 9 else s for s in lookup.SubTable]
            self._tables.append([s for s in found if getattr(s, "LookupType", 2) == 2])

    def __call__(self, first: str, second: str) -> float:
        total = float(self._old.get((first, second), 0))
        for lookup in self._tables:
            for table in lookup:
                value = self._in(table, first, second)
                if value is not None:  # the first table that knows the pair counts
                    total += value
                    break
        return total

    @staticmethod
    def _in(table: Any, first: str, second: str) -> float | None:
        if first not in table.Coverage.glyphs:
            return None
        if table.Format == 1:
            row = table.PairSet[table.Coverage.glyphs.index(first)].PairValueRecord
            record = next((r for r in row if r.SecondGlyph == second), None)
            if record is None:
                return None
        else:
            one, two = table.ClassDef1.classDefs.get(first, 0), table.ClassDef2.classDefs.get(second, 0)
            record = table.Class1Record[one].Class2Record[two]
        return float(getattr(record.Value1, "XAdvance", 0) or 0) if record.Value1 else 0.0
