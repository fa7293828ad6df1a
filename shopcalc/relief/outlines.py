"""Outlines: drawings (SVG, DXF) as polygons with holes and open lines, for letters, grooves and borders."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import NoReturn, overload

import numpy as np
import shapely
from shapely.geometry import LineString, Polygon
from shapely.validation import explain_validity

from shopcalc.errors import Fault, InputError, raise_all
from shopcalc.moves import Floats
from shopcalc.relief.curves import Affine, EllipseArc, Shape, areas
from shopcalc.relief.dxf import read_dxf
from shopcalc.relief.images import refusing
from shopcalc.relief.svg import read_svg

_AGREE = 0.01
_JOIN = 0.02  # mm: ends nearer than this are one
_SPECK = 0.05  # mm: nothing smaller can be cut


@dataclass(frozen=True, eq=False)
class Outline:
    """One closed area or one open line.

    Parameters
    ----------
    shape : Polygon or LineString
        In millimetres, y up.
    name : str
        What the drawing calls it: an id, a layer, a letter.
    filled : bool
        Whether the drawing fills it; False for closed lines whose inside is taken as the area, and for open lines.
    """

    shape: Polygon | LineString
    name: str = ""
    filled: bool = True

    @property
    def closed(self) -> bool:
        """Whether it bounds an area."""
        return isinstance(self.shape, Polygon)

    @property
    def area(self) -> float:
        """Area without holes [mm2]; 0 for an open line."""
        return float(self.shape.area)

    @property
    def length(self) -> float:
        """Length of all its lines, holes included [mm]."""
        return float(self.shape.length)


@dataclass(frozen=True, eq=False)
class Drawing(Sequence[Outline]):
    """Outlines of a file, with what someone should know of them; a sequence of its outlines.

    Parameters
    ----------
    outlines : tuple of Outline
        In the drawing's order, the lower left corner of all at 0, 0.
    kind : str
        "SVG" or "DXF".
    notes : tuple of str
        In plain words.
    tolerance : float
        Chords stay this near to the curves they stand for [mm].
    """

    outlines: tuple[Outline, ...]
    kind: str
    notes: tuple[str, ...] = ()
    tolerance: float = 0.005

    def __len__(self) -> int:
        return len(self.outlines)

    def __iter__(self) -> Iterator[Outline]:
        return iter(self.outlines)

    @overload
    def __getitem__(self, index: int) -> Outline: ...
    @overload
    def __getitem__(self, index: slice) -> tuple[Outline, ...]: ...
    def __getitem__(self, index: int | slice) -> Outline | tuple[Outline, ...]:
        return self.outlines[index]

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """Lowest x, lowest y, highest x, highest y [mm]."""
        box = shapely.total_bounds([o.shape for o in self.outlines])
        return float(box[0]), float(box[1]), float(box[2]), float(box[3])


def read_outlines(
    path: Path | str,
    *,
    length: float | None = None,
    width: float | None = None,
    closed: bool = False,
    tolerance: float = 0.005,
) -> Drawing:
    """Read a drawing as outlines in millimetres, its lower left corner moved to 0, 0.

    Filled shapes of an SVG become areas by their fill rule. Closed lines without fill, and all of a DXF, become areas
    that alternate where they lie within each other, as the rings of an O do. Lines whose ends meet within 0.02 mm are
    joined.

    Parameters
    ----------
    path : Path or str
        An SVG or DXF file; its contents say which.
    length, width : float or None
        Extent of all outlines along x and y [mm]; both must agree with the drawing within 1 %. None keeps its size.
    closed : bool
        True refuses open lines, and says where their gaps are.
    tolerance : float
        How near chords stay to curves [mm].

    Raises
    ------
    InputError
        When the file cannot be read, is empty, holds only text that is no outline, or closed lines cross themselves;
        all faults together.

    Notes
    -----
    Geometry.
    """
    for name, value in (("length", length), ("width", width), ("tolerance", tolerance)):
        if value is not None and not (math.isfinite(value) and value > 0):
            _refuse(path, f"{name} {value} mm", "give a size above 0")
    kind = _kind(path)
    shapes, texts, notes = read_svg(path) if kind == "SVG" else read_dxf(path)
    told = ", ".join(f"'{t[:40]}'" for t in texts[:5]) + (" ..." if len(texts) > 5 else "")
    if not shapes:
        if texts:
            _refuse(
                path,
                f"it holds only text, which is no outline: {told}",
                "turn text into paths in the drawing program, or carve it as letters (letter_outlines)",
            )
        _refuse(path, "the drawing is empty: no lines that are read", "; ".join(notes) or "draw something in it")
    if texts:
        notes.append(f"text is not read: {told}; turn it into paths in the drawing program")
    with refusing(path, f"outlines ({kind})", "simplify the drawing and export it once more"):
        shapes, scaling = _placed(path, shapes, length, width)
        outlines, more = _outlines(path, shapes, tolerance, closed)
    return Drawing(tuple(outlines), kind, tuple((*notes, *scaling, *more)), tolerance)


def _refuse(path: Path | str, message: str, remedy: str) -> NoReturn:
    raise InputError(Fault(message, remedy, file=str(path)))


def _kind(path: Path | str) -> str:
    try:
        with Path(path).open("rb") as file:
            head = file.read(4096)
    except FileNotFoundError:
        _refuse(path, "there is no such file", "check the name and the folder")
    except IsADirectoryError:
        _refuse(path, "this is a folder, not a file", "name a drawing in it")
    except (OSError, ValueError) as error:
        reason = (getattr(error, "strerror", None) or str(error) or "unreadable").lower()
        _refuse(path, f"it cannot be read ({reason})", "check the file, its folder and the permissions")
    if not head.strip():
        _refuse(path, "the file is empty", "export the drawing once more")
    text = head.lstrip(b"\xef\xbb\xbf").lstrip()
    if text.startswith(b"<"):
        return "SVG"
    first = text.split(None, 2)[:2]
    if b" Binary DXF\r\n\x1a" in head[:30] or first in ([b"0", b"SECTION"], [b"999", *first[1:]]):
        return "DXF"
    if head.startswith((b"\x89PNG", b"II*", b"MM\x00", b"\xff\xd8", b"ply", b"solid")):
        _refuse(
            path,
            "this is an image or a mesh, not a drawing of lines",
            "read it as heights (shopcalc relief, carve in a job)",
        )
    if head.startswith((b"%PDF", b"%!PS", b"AC10", b"\x1f\x8b", b"PK")):
        _refuse(path, "this is a PDF, PostScript, DWG or packed file", "export the drawing as plain SVG or DXF")
    return _refuse(path, "this is neither SVG nor DXF", "export the drawing as plain SVG or DXF")


def _placed(
    path: Path | str, shapes: list[Shape], length: float | None, width: float | None
) -> tuple[list[Shape], list[str]]:
    """Shapes at their final size, lower left corner at 0, 0; curves are still curves."""
    rough = np.concatenate([s.flat(math.inf) for shape in shapes for s in shape.strokes])
    if not np.isfinite(rough).all() or float(np.abs(rough).max()) > 1e9:
        _refuse(path, "coordinates beyond 1e9 mm are no sizes of a drawing", "export it once more")
    size = float(np.ptp(rough, axis=0).max())
    if size == 0:
        _refuse(path, "all of the drawing lies in one point", "export it once more")
    segments = [s for shape in shapes for stroke in shape.strokes for s in stroke.segments]
    fine = np.concatenate([s.extremes() if isinstance(s, EllipseArc) else s.flat(1e-7 * size) for s in segments])
    low, extent = fine.min(axis=0), np.ptp(fine, axis=0)
    scale = np.ones(2)
    notes: list[str] = []
    if length is not None or width is not None:
        asked = (length, width)
        if any(a is not None and extent[i] == 0 for i, a in enumerate(asked)):
            _refuse(path, "the drawing has no extent in the direction whose size was given", "give the other one")
        scales = [None if a is None else a / extent[i] for i, a in enumerate(asked)]
        given = [s for s in scales if s is not None]
        scale = np.array([s if s is not None else given[0] for s in scales])
        if abs(scale[1] / scale[0] - 1) > _AGREE:
            _refuse(
                path,
                f"length {length:g} mm and width {width:g} mm do not fit the drawing, which measures "
                f"{extent[0]:.4g} x {extent[1]:.4g} mm",
                f"give the length alone (the width will be {extent[1] * scale[0]:.4g} mm) or the width alone",
            )
        notes.append(f"scaled from {extent[0]:.4g} x {extent[1]:.4g} mm")
    else:
        notes.append(f"{extent[0]:.4g} x {extent[1]:.4g} mm, as drawn")
    by = Affine(np.diag(scale), -low * scale)
    return [replace(s, strokes=tuple(k.moved(by) for k in s.strokes)) for s in shapes], notes


def _outlines(path: Path | str, shapes: list[Shape], tolerance: float, closed: bool) -> tuple[list[Outline], list[str]]:
    notes: list[str] = []
    faults: list[Fault] = []
    out: list[Outline] = []
    loose: list[tuple[str, Floats]] = []
    shut: list[str] = []
    for shape in shapes:
        lines = [(s.flat(tolerance), s.closed) for s in shape.strokes]
        lines = [(p, c) for p, c in lines if len(p) >= 2]
        if shape.rule is None:
            loose += [(shape.name, p) for p, _ in lines]
            continue
        rings = []
        for points, is_closed in lines:
            gap = float(np.hypot(*(points[-1] - points[0])))
            if not is_closed and gap > _JOIN:
                shut.append(f"{shape.name} (gap of {gap:.3g} mm at {points[0][0]:.4g}, {points[0][1]:.4g})")
            rings.append(points if gap == 0 else np.concatenate([points, points[:1]]))
        out += [Outline(p, shape.name, True) for p in areas(rings, shape.rule)]
    if shut:
        words = f"{len(shut)} filled shape(s) are open: {'; '.join(shut[:5])}"
        if closed:
            faults.append(Fault(words, "close them in the drawing program", file=str(path)))
        else:
            notes.append(f"{words}: closed by straight lines, as they are drawn on screens")
    rings_named, open_named = _joined(loose)
    for name, ring in rings_named:
        polygon = Polygon(ring)
        if not polygon.is_valid and polygon.area > 0:
            where = explain_validity(polygon)
            remedy = "separate it into closed lines that do not cross, or fill it and choose a fill rule"
            faults.append(Fault(f"{name} crosses itself ({where.lower()})", remedy, file=str(path)))
    if not faults and rings_named:
        out += _alternating(rings_named)
        if len(rings_named) > 1:
            notes.append(
                f"{len(rings_named)} closed lines without fill: inside and outside alternate where one lies in another"
            )
    for name, line in open_named:
        out.append(Outline(LineString(line), name, False))
    if open_named and closed:
        for name, line in open_named[:20]:
            (x0, y0), (x1, y1) = line[0], line[-1]
            ends = f"from {x0:.4g}, {y0:.4g} to {x1:.4g}, {y1:.4g} mm"
            faults.append(Fault(f"{name} is open, {ends}", "close it in the drawing program", file=str(path)))
    raise_all(faults)
    kept = [o for o in out if max(np.ptp(np.reshape(o.shape.bounds, (2, 2)), axis=0)) >= _SPECK]
    if len(kept) < len(out):
        places = [o.shape.centroid for o in out if o not in kept][:3]
        where = "; ".join(f"{p.x:.4g}, {p.y:.4g}" for p in places)
        notes.append(f"{len(out) - len(kept)} speck(s) under {_SPECK:g} mm left out (at {where})")
    if not kept:
        _refuse(path, "nothing in the drawing is larger than a speck", "give the length it is to have")
    return kept, notes


def _joined(lines: list[tuple[str, Floats]]) -> tuple[list[tuple[str, Floats]], list[tuple[str, Floats]]]:
    """Closed and open lines after ends that meet are joined; where three or more meet, none are."""
    from scipy.spatial import cKDTree

    if not lines:
        return [], []
    alone = [(n, p) for n, p in lines if _shuts(p)]
    loose = [(n, p.copy()) for n, p in lines if not _shuts(p)]
    rings = [(n, _shut(p)) for n, p in alone]
    if not loose:
        return rings, []
    ends = np.array([p[i] for _, p in loose for i in (0, -1)])
    names = list(range(len(ends)))  # each end's place: the lowest number among those it meets
    for i, j in sorted(cKDTree(ends).query_pairs(_JOIN)):
        names[j] = names[i] = min(names[i], names[j])
    places = [names[n] if names[n] == n else names[names[n]] for n in names]
    for k, (_, points) in enumerate(loose):
        points[0], points[-1] = ends[places[2 * k]], ends[places[2 * k + 1]]
    meeting: dict[int, list[int]] = {}
    for end, place in enumerate(places):
        meeting.setdefault(place, []).append(end)
    after = {a: b for pair in meeting.values() if len(pair) == 2 for a, b in (pair, pair[::-1])}
    used: set[int] = set()
    open_lines: list[tuple[str, Floats]] = []
    starts = [e for e in range(len(ends)) if e not in after] + list(range(len(ends)))
    for start in starts:
        if start // 2 in used:
            continue
        chain: list[Floats] = []
        end = start
        while end // 2 not in used:
            used.add(end // 2)
            points = loose[end // 2][1]
            chain.append(points if end % 2 == 0 else points[::-1])
            ahead = after.get(end ^ 1)
            if ahead is None:
                break
            end = ahead
        whole = np.concatenate([c[0 if i == 0 else 1 :] for i, c in enumerate(chain)])
        name = loose[start // 2][0]
        if len(whole) >= 4 and np.array_equal(whole[0], whole[-1]):
            rings.append((name, whole))
        else:
            open_lines.append((name, whole))
    return rings, open_lines


def _shuts(points: Floats) -> bool:
    return len(points) >= 4 and float(np.hypot(*(points[-1] - points[0]))) <= _JOIN


def _shut(points: Floats) -> Floats:
    return np.concatenate([points[:-1], points[:1]]) if len(points) > 4 else np.concatenate([points, points[:1]])


def _alternating(rings: list[tuple[str, Floats]]) -> list[Outline]:
    """Areas of closed lines without fill, each named by the line that bounds it outside."""
    found = areas([r for _, r in rings], "evenodd")
    tree = shapely.STRtree([LineString(r) for _, r in rings])
    out = []
    for polygon in found:
        at = shapely.Point(polygon.exterior.coords[0])
        out.append(Outline(polygon, rings[int(tree.nearest(at))][0], False))
    return out
