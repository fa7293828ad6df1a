"""DXF drawings as shapes in millimetres: lines, arcs, circles, ellipses, polylines with bulges, splines, blocks."""

from __future__ import annotations

import logging
import math
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np

from shopcalc.errors import Fault, InputError
from shopcalc.moves import Floats
from shopcalc.relief.curves import Affine, Bezier, EllipseArc, Segment, Shape, Stroke
from shopcalc.relief.images import refusing

_READ = {"LINE", "ARC", "CIRCLE", "ELLIPSE", "LWPOLYLINE", "POLYLINE", "SPLINE"}
_MOST_ENTITIES = 200_000


def read_dxf(path: Path | str, flat: float = 1e-5) -> tuple[list[Shape], list[str], list[str]]:
    """Shapes of a DXF drawing's model space in millimetres, its texts, and notes; one shape an entity.

    Parameters
    ----------
    path : Path or str
        The file.
    flat : float
        Splines are split into chords within this share of the drawing's size.

    Raises
    ------
    InputError
        When it is no whole DXF file, or too large.

    Notes
    -----
    Geometry; units by the header's variable $INSUNITS, mm where it names none.
    """
    with refusing(path, "a DXF drawing", "the file is damaged or cut off: save it once more as DXF (R2000 or later)"):
        from ezdxf import bbox, disassemble, units
        from ezdxf.enums import InsertUnits
        from ezdxf.filemanagement import readfile

        notes: list[str] = []
        with _heard(notes):
            document = readfile(path)
        code = int(document.header.get("$INSUNITS", 0))
        if code == 0:
            factor = 1.0
            notes.append("the drawing names no unit: taken as mm; give the length if it was drawn in another unit")
        else:
            factor = float(units.conversion_factor(InsertUnits(code), InsertUnits.Millimeters))
        hidden = {layer.dxf.name.lower() for layer in document.layers if layer.is_off() or layer.is_frozen()}
        everything: list[Any] = list(disassemble.recursive_decompose(document.modelspace()))
        if len(everything) > _MOST_ENTITIES:
            raise InputError(Fault(f"{len(everything)} entities are too many", "simplify the drawing", file=str(path)))
        box = bbox.extents([e for e in everything if e.dxftype() in _READ], fast=True)
        size = max(box.size.x, box.size.y) if box.has_data else 1.0
        shapes: list[Shape] = []
        texts: list[str] = []
        left: Counter[str] = Counter()
        for entity in everything:
            kind, layer = entity.dxftype(), str(entity.dxf.get("layer", "0"))
            if layer.lower() in hidden:
                left[f"entities on hidden layer '{layer}' left out"] += 1
            elif kind in ("TEXT", "MTEXT", "ATTRIB"):
                texts.append(" ".join(str(entity.plain_text() if kind == "MTEXT" else entity.dxf.text).split()))
            elif kind not in _READ:
                left[f"{kind} is not read"] += 1
            else:
                shapes.extend(_shape(entity, layer, factor, size * flat))
        notes += [f"{count} x {what}" for what, count in left.items()]
        return shapes, texts, notes


class _Listener(logging.Handler):
    def __init__(self, notes: list[str]) -> None:
        super().__init__(logging.WARNING)
        self.notes = notes

    def emit(self, record: logging.LogRecord) -> None:
        """Keep each message once."""
        said = f"the file is odd: {' '.join(record.getMessage().split())[:120]}"
        if said not in self.notes and len(self.notes) < 10:
            self.notes.append(said)


@contextmanager
def _heard(notes: list[str]) -> Iterator[None]:
    """What the library only logs, above all what it leaves out, becomes notes."""
    logger, listener = logging.getLogger("ezdxf"), _Listener(notes)
    before, logger.propagate = logger.propagate, False
    logger.addHandler(listener)
    try:
        yield
    finally:
        logger.removeHandler(listener)
        logger.propagate = before


def _shape(entity: Any, layer: str, factor: float, flat: float) -> list[Shape]:
    kind = entity.dxftype()
    scale = Affine.of(factor, 0, 0, factor, 0, 0)
    if kind in ("LWPOLYLINE", "POLYLINE"):
        if kind == "POLYLINE" and not (entity.is_2d_polyline or entity.is_3d_polyline):
            return []
        closed = bool(entity.closed if kind == "LWPOLYLINE" else entity.is_closed)
        segments = [s for part in entity.virtual_entities() for s in _segments(part, flat)]
        segments = _in_order(segments)
    else:
        segments = _segments(entity, flat)
        closed = kind == "CIRCLE"
    if not segments:
        return []
    stroke = Stroke(tuple(segments), closed).moved(scale)
    return [Shape(f"{kind.lower()} on layer '{layer}'", (stroke,), None)]


def _segments(entity: Any, flat: float) -> list[Segment]:
    kind = entity.dxftype()
    if kind == "LINE":
        ends = _flat_points(entity.dxf.start, entity.dxf.end)
        return [Bezier(ends)] if (ends[0] != ends[1]).any() else []
    if kind == "SPLINE":
        points = _flat_points(*entity.construction_tool().flattening(flat, segments=8))
        return [Bezier(points[i : i + 2]) for i in range(len(points) - 1) if (points[i] != points[i + 1]).any()]
    from ezdxf.math import ConstructionEllipse

    if kind == "ELLIPSE":
        curve = entity.construction_tool()
    else:
        start, end = (0.0, 360.0) if kind == "CIRCLE" else (entity.dxf.start_angle, entity.dxf.end_angle)
        ocs = entity.ocs()
        centre = ocs.to_wcs(entity.dxf.center)
        u = ocs.to_wcs((1, 0, 0)) * entity.dxf.radius
        v = ocs.to_wcs((0, 1, 0)) * entity.dxf.radius
        first, last = math.radians(start), math.radians(end)
        if kind == "CIRCLE":
            last = first + 2 * math.pi
        return [_arc(centre, u, v, first, last)] if entity.dxf.radius > 0 else []
    assert isinstance(curve, ConstructionEllipse)
    return [_arc(curve.center, curve.major_axis, curve.minor_axis, curve.start_param, curve.end_param)]


def _flat_points(*points: Any) -> Floats:
    """Points without their height."""
    return np.array([[float(p.x), float(p.y)] for p in points], dtype=np.float64)


def _arc(centre: Any, u: Any, v: Any, first: float, last: float) -> EllipseArc:
    while last <= first + 1e-12:
        last += 2 * math.pi
    plain = _flat_points(centre, u, v)
    return EllipseArc(plain[0], plain[1], plain[2], first, last)


def _ends(segment: Segment) -> tuple[Any, Any]:
    points = segment.flat(math.inf) if isinstance(segment, EllipseArc) else segment.points
    return points[0], points[-1]


def _in_order(segments: list[Segment]) -> list[Segment]:
    """Arcs of a polyline always run counter-clockwise: turn those about that run against their neighbours."""
    out: list[Segment] = []
    for i, segment in enumerate(segments):
        if isinstance(segment, EllipseArc):
            start, end = _ends(segment)
            if out:
                last = _ends(out[-1])[1]
                backwards = np.hypot(*(end - last)) < np.hypot(*(start - last))
            elif i + 1 < len(segments):
                ahead = np.array(_ends(segments[i + 1]))
                backwards = np.hypot(*(start - ahead).T).min() < np.hypot(*(end - ahead).T).min()
                if len(segments) == 2 and isinstance(segments[1], EllipseArc):
                    backwards = False
            else:
                backwards = False
            if backwards:
                segment = EllipseArc(segment.centre, segment.u, segment.v, segment.end, segment.start)
        out.append(segment)
    return out
