"""Paths before a program exists: from dimensions to Moves, one function per operation of the trade."""

from __future__ import annotations

from shopcalc.paths.clearing import face, sink
from shopcalc.paths.contours import cut_out, groove_along, incise, raise_panel
from shopcalc.paths.hollows import hollow_groove
from shopcalc.paths.joinery import Tenon, bore, groove, mortise, rebate, tenon
from shopcalc.paths.runs import Run, arc, polyline
from shopcalc.paths.tracing import Cutting, Tracer, program, turned

__all__ = [
    "Cutting",
    "Run",
    "Tenon",
    "Tracer",
    "arc",
    "bore",
    "cut_out",
    "face",
    "groove",
    "groove_along",
    "hollow_groove",
    "incise",
    "mortise",
    "polyline",
    "program",
    "raise_panel",
    "rebate",
    "sink",
    "tenon",
    "turned",
]
