"""A picture of letters and lines as their own moves leave them, with their outlines and what stays uncut."""

from __future__ import annotations

import html
import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from shopcalc.cutters import Cutter
from shopcalc.moves import Floats, Kind, Moves, from_lists
from shopcalc.relief.heights import HeightMap
from shopcalc.relief.inscription import Inscription
from shopcalc.relief.picture import _png, shaded
from shopcalc.relief.vee import Carved, Vee, area_words, small
from shopcalc.units import System, write

_WIDE = 1200  # of the picture, in the drawing's units
_PIXELS = 500_000
_INK, _LEFT = "#1d1d1b", "#b23a0c"
_CHORD = math.radians(6)


def cut_surface(carved: Carved, box: tuple[float, float, float, float], pixel: float) -> HeightMap:
    """Heights of a level board after everything was cut, from the moves themselves.

    Parameters
    ----------
    carved : Carved
        What is cut.
    box : (4,) float
        Lowest x and y, highest x and y [mm].
    pixel : float
        [mm].

    Returns
    -------
    HeightMap

    Notes
    -----
    Geometry: the least of tip + underside over all moves; see ``roughing.cut_heights``.

    Example
    -------
    >>> from shopcalc.cutters import Cutter
    >>> from shopcalc.paths.tracing import Cutting
    >>> from shopcalc.relief.carving_lines import incise_letters
    >>> v = Cutter("V90", "", "V", 25.4, 12.7, 2, 12.7, 60, 40, included_angle=math.pi / 2)
    >>> bar = incise_letters([shapely.box(0, 0, 20, 6)], Cutting(v, 2000, 800, 16000, depth_per_pass=4))
    >>> round(float(cut_surface(bar, (0.0, 0.0, 20.0, 6.0), 0.1).z.min()), 1)
    -3.0
    """
    from shopcalc.relief.standing_wood import cut_heights

    rows, columns = (max(1, math.ceil((b - a) / pixel)) for a, b in ((box[1], box[3]), (box[0], box[2])))
    z = np.zeros((rows, columns))
    board = HeightMap(z, pixel, (box[0], box[1]))
    for cutting, moves in carved.operations:
        z = np.minimum(z, cut_heights(board, _as_deep(cutting.cutter, moves, pixel), _chorded(moves), 0.0).z)
    return board.with_(z)


def _as_deep(cutter: Cutter, moves: Moves, pixel: float) -> Cutter:
    """A V no wider than it ever is at the surface: places further out need no look."""
    if cutter.shape != "V":
        return cutter
    reach = 2 * (Vee(cutter).radius(max(0.0, -float(moves.points[:, 2].min()))) + pixel)
    return replace(cutter, diameter=min(cutter.true_diameter, reach), measured_diameter=None)


def _chorded(moves: Moves) -> Moves:
    """The same with chords in place of arcs."""
    if not (moves.kind == Kind.ARC).any():
        return moves
    points: list[tuple[float, float, float]] = [tuple(moves.points[0].tolist())]
    kinds: list[Kind] = []
    for i, kind in enumerate(moves.kind.tolist()):
        end = moves.points[i + 1]
        if kind == Kind.ARC:
            j = int(np.flatnonzero(moves.arc_index == i)[0])
            points += _chords(moves.points[i], end, moves.arc_centre[j], float(moves.arc_sweep[j]))
        else:
            points.append(tuple(end.tolist()))
        kinds += [Kind.LINE if kind == Kind.ARC else Kind(kind)] * (len(points) - 1 - len(kinds))
    return from_lists(points, kinds, feed=1.0)


def _chords(begin: Floats, end: Floats, centre: Floats, sweep: float) -> list[tuple[float, float, float]]:
    n = max(1, math.ceil(abs(sweep) / _CHORD))
    share = np.arange(1, n + 1) / n
    radius = math.dist(begin[:2], centre[:2])
    angle = math.atan2(begin[1] - centre[1], begin[0] - centre[0]) + sweep * share
    x, y = centre[0] + radius * np.cos(angle), centre[1] + radius * np.sin(angle)
    z = begin[2] + (end[2] - begin[2]) * share
    return [(a, b, c) for a, b, c in np.column_stack([x, y, z]).tolist()]


def lettering_picture(what: Inscription, carved: Carved, title: str, system: System = "metric") -> str:
    """What the moves leave, in light from the upper left, with outlines and uncut places.

    Parameters
    ----------
    what : Inscription
        The outlines.
    carved : Carved
        What was cut.
    title : str
        Above the picture.
    system : {"metric", "inch"}
        What the reader thinks in.

    Returns
    -------
    str
        SVG that needs no network.
    """
    x0, y0, x1, y1 = what.bounds
    for cutting, moves in carved.operations:
        low = moves.points[moves.points[:, 2] < 0][:, :2]
        if len(low):
            reach = cutting.radius if cutting.cutter.shape != "V" else 0.0
            x0, y0 = min(x0, low[:, 0].min() - reach), min(y0, low[:, 1].min() - reach)
            x1, y1 = max(x1, low[:, 0].max() + reach), max(y1, low[:, 1].max() + reach)
    edge = 0.02 * (x1 - x0) + 1.0
    box = (x0 - edge, y0 - edge, x1 + edge, y1 + edge)
    pixel = max(math.sqrt((box[2] - box[0]) * (box[3] - box[1]) / _PIXELS), 0.02)
    surface = cut_surface(carved, box, pixel)
    scale = _WIDE / surface.length
    high, top = surface.width * scale, 34
    left = shapely.union_all([carved.left, carved.unchamfered])
    below = f"greatest depth {small(carved.greatest_depth, system)}"
    if left.area > 0:
        below += f"; {area_words(left.area, system)} stay uncut or without chamfer (orange)"
    tall = top + high + 66

    def path(shape: BaseGeometry) -> str:
        return " ".join(_path(shape, box, scale, top))

    return "\n".join([
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDE} {tall:.1f}" width="{_WIDE}" '
        f'height="{tall:.1f}" font-family="sans-serif" font-size="16" fill="{_INK}" role="img" '
        f'aria-label="{html.escape(title + ": " + below)}">',
        f'<rect width="{_WIDE}" height="{tall:.1f}" fill="#ffffff"/>',
        f'<text x="4" y="22">{html.escape(title)}</text>',
        f'<image x="0" y="{top}" width="{_WIDE}" height="{high:.1f}" preserveAspectRatio="none" '
        f'href="data:image/png;base64,{_png(255 * shaded(surface))}"/>',
        *(f'<path d="{path(o.shape)}" fill="none" stroke="{_INK}" stroke-width="0.7"/>' for o in what.outlines),
        f'<path d="{path(left)}" fill="{_LEFT}" fill-rule="evenodd"/>',
        *_ruler(scale, top + high + 8, system),
        f'<text x="4" y="{top + high + 52:.1f}">{html.escape(f"{_box_words(what, system)}; {below}")}</text>',
        "</svg>",
    ]) + "\n"  # fmt: skip


def _ruler(scale: float, y: float, system: System) -> list[str]:
    """A bar of a round length, about a quarter of the picture, with its length beside it."""
    unit = 25.4 if system == "inch" else 10.0
    rounds = [unit * k for k in (0.125, 0.25, 0.5, 1, 2, 5, 10, 20, 50)]
    long = max((v for v in rounds if v * scale <= _WIDE / 3), default=rounds[0])
    x0, x1 = 4.0, 4.0 + long * scale
    return [
        f'<path d="M{x0},{y:.1f} v10 M{x0},{y + 5:.1f} H{x1:.1f} M{x1:.1f},{y:.1f} v10" stroke="{_INK}" fill="none"/>',
        f'<text x="{x1 + 8:.1f}" y="{y + 11:.1f}">{write(long, "length", system)}</text>',
    ]


def _box_words(what: Inscription, system: System) -> str:
    wide, high = what.size
    return f"{small(wide, system)} x {small(high, system)}"


def _path(shape: BaseGeometry, box: tuple[float, float, float, float], scale: float, top: float) -> Iterator[str]:
    """Lines of a shape as SVG, y downwards."""
    for part in shapely.get_parts(shape):
        lines = [part.exterior, *part.interiors] if part.geom_type == "Polygon" else [part]
        for line in lines:
            if line.is_empty or line.geom_type == "Point":
                continue
            at = np.asarray(line.coords)[:, :2]
            words = [f"{(x - box[0]) * scale:.2f},{top + (box[3] - y) * scale:.2f}" for x, y in at.tolist()]
            yield "M" + " L".join(words) + ("Z" if part.geom_type == "Polygon" else "")
