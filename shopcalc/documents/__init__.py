"""Papers for people: one model of a document, written as a page to print, as PDF and as a workbook of its tables."""

from shopcalc.documents.blocks import (
    Block,
    Boxes,
    Break,
    Caution,
    Cell,
    Checklist,
    Document,
    Figure,
    Gap,
    Heading,
    Paragraph,
    Table,
)
from shopcalc.documents.drawing import Drawing, Stroke, Words
from shopcalc.documents.text import clean

__all__ = [
    "Block",
    "Boxes",
    "Break",
    "Caution",
    "Cell",
    "Checklist",
    "Document",
    "Drawing",
    "Figure",
    "Gap",
    "Heading",
    "Paragraph",
    "Stroke",
    "Table",
    "Words",
    "clean",
]
