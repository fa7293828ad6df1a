"""Meshes of triangles: read (STL, PLY) and seen from above as heights.

Only the highest surface over each square counts: whether a mesh is closed and which way its triangles face does not
matter to a cutter that comes from above.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal, NoReturn

import numpy as np
from numpy.typing import NDArray

from shopcalc.compiling import compiled
from shopcalc.errors import Fault, InputError
from shopcalc.moves import Floats
from shopcalc.relief.images import refusing

Axis = Literal["x", "y", "z"]
#: Triangles beyond which a mesh is refused.
MOST_TRIANGLES = 30_000_000
_CHUNK = 250_000
_STL = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
_TURNED = {"z": ((0, 1, 2), (1, 1, 1)), "y": ((0, 2, 1), (1, -1, 1)), "x": ((1, 2, 0), (1, 1, 1))}
_TEXT_BYTES = 600_000_000


@dataclass(frozen=True, eq=False)
class Mesh:
    """A mesh whose triangles are read piece by piece.

    Parameters
    ----------
    pieces : callable
        Gives an iterator of (n, 3, 3) float arrays: corners of triangles, as modelled, up along z.
    count : int
        Triangles.
    lowest, highest : (3,) float
        Corners of the box around it, as modelled.
    kind : str
        What the file is, for people.
    notes : tuple of str
        What someone should know.
    """

    pieces: Callable[[], Iterator[NDArray[Any]]]
    count: int
    lowest: tuple[float, float, float]
    highest: tuple[float, float, float]
    kind: str
    notes: tuple[str, ...] = ()


def _refuse(path: Path | str, message: str, remedy: str) -> NoReturn:
    raise InputError(Fault(message, remedy, file=str(path)))


def read_mesh(path: Path | str, kind: str, *, up: Axis = "z") -> Mesh:
    """Open a mesh and look through all of it once.

    Parameters
    ----------
    path : Path or str
        The file.
    kind : str
        "binary STL", "ASCII STL" or "PLY", as its first bytes say.
    up : "x", "y" or "z"
        The modelled axis that points away from the stock; "y" turns the model about x, "x" takes y, z, x.

    Raises
    ------
    InputError
        When it is broken, empty, too large, without extent, or holds coordinates that are no numbers.
    """
    if up not in _TURNED:
        _refuse(path, f"up = {up!r}", "use 'x', 'y' or 'z'")
    with refusing(path, f"a mesh ({kind})", "the file is damaged or cut off: export it once more as binary STL"):
        source, count = {"binary STL": _binary_stl, "ASCII STL": _ascii_stl, "PLY": _ply}[kind](path)
        order, sign = _TURNED[up]

        def pieces() -> Iterator[NDArray[Any]]:
            for first in range(0, count, _CHUNK):
                part = source(first, min(count, first + _CHUNK))
                yield part if up == "z" else part[:, :, order] * np.asarray(sign, dtype=part.dtype)

        low, high = np.full(3, np.inf), np.full(3, -np.inf)
        degenerate = 0
        for part in pieces():
            bad = ~np.isfinite(part).all(axis=(1, 2))
            if bad.any():
                _refuse(
                    path, f"{int(bad.sum())} triangle(s) have corners that are no numbers", "export the mesh once more"
                )
            low, high = np.minimum(low, part.min(axis=(0, 1))), np.maximum(high, part.max(axis=(0, 1)))
            sides = part.astype(np.float64)
            cross = np.cross(sides[:, 1] - sides[:, 0], sides[:, 2] - sides[:, 0])
            degenerate += int((np.abs(cross).max(axis=1) == 0).sum())
    extent = high - low
    if float(np.abs(np.concatenate([low, high])).max()) > 1e9:
        _refuse(path, "coordinates beyond 1e9 are no sizes of a carving", "the file is damaged: export it once more")
    if extent[0] <= 0 or extent[1] <= 0:
        _refuse(
            path,
            f"the mesh measures {extent[0]:.4g} x {extent[1]:.4g} x {extent[2]:.4g}: seen from above it is a line",
            "turn it (up='y' or up='x') or export it once more",
        )
    notes = _doubts(extent, degenerate, up)
    words = f"{kind}, {count:,} triangles".replace(",", " ").replace("  ", ", ")
    box = tuple(float(v) for v in low), tuple(float(v) for v in high)
    return Mesh(pieces, count, box[0], box[1], words, notes)  # type: ignore[arg-type]


def _doubts(extent: Floats, degenerate: int, up: Axis) -> tuple[str, ...]:
    notes = []
    if degenerate:
        notes.append(f"{degenerate} triangle(s) without area are left out; they hide nothing")
    if extent[2] > min(extent[0], extent[1]):
        turned = "give up='y' or up='x' if another axis points up" if up == "z" else "check which axis points up"
        notes.append(
            f"it is {extent[2]:.4g} high and only {extent[0]:.4g} x {extent[1]:.4g} seen from above: {turned}; "
            "only what is seen from above is carved"
        )
    return tuple(notes)


Source = Callable[[int, int], NDArray[Any]]


def _limit(path: Path | str, count: int) -> None:
    if count == 0:
        _refuse(path, "the mesh is empty: it has no triangles", "export it with its contents")
    if count > MOST_TRIANGLES:
        _refuse(path, f"{count} triangles are more than {MOST_TRIANGLES}", "reduce the mesh; a carving needs far fewer")


def _binary_stl(path: Path | str) -> tuple[Source, int]:
    with Path(path).open("rb") as file:
        count = int.from_bytes(file.read(84)[80:84], "little")
    _limit(path, count)
    rows = np.memmap(path, dtype=_STL, mode="r", offset=84, shape=(count,))
    return (lambda first, last: np.asarray(rows["corners"][first:last])), count


def _ascii_stl(path: Path | str) -> tuple[Source, int]:
    if Path(path).stat().st_size > _TEXT_BYTES:
        _refuse(path, "an STL of this size as text takes too long", "export it as binary STL")
    text = Path(path).read_bytes().lower()
    words = text.split()
    facets, ends = words.count(b"facet"), words.count(b"endfacet")
    found = re.findall(rb"vertex\s+(\S+)\s+(\S+)\s+(\S+)", text)
    if facets == 0 and b"endsolid" in words:
        _limit(path, 0)
    if facets != ends or len(found) != 3 * facets or words.count(b"vertex") != len(found) or b"endsolid" not in words:
        _refuse(
            path,
            f"this STL is cut off or damaged: {facets} facets begin, {ends} end, {len(found)} corners stand in them",
            "export it once more",
        )
    numbers: list[list[float]] = []
    for corner in found:
        try:
            numbers.append([float(v) for v in corner])
        except ValueError:
            line = text[: text.find(b" ".join(corner))].count(b"\n") + 1
            shown = b" ".join(corner).decode("ascii", "replace")
            raise InputError(
                Fault(f"'{shown}' are not three numbers", "export it once more", file=str(path), line=line)
            ) from None
    corners = np.asarray(numbers).reshape(-1, 3, 3)
    _limit(path, len(corners))
    return (lambda first, last: corners[first:last]), len(corners)


def _ply(path: Path | str) -> tuple[Source, int]:
    import trimesh

    if Path(path).stat().st_size > _TEXT_BYTES:
        _refuse(path, "a PLY of this size takes too long", "export it as binary STL")
    data = Path(path).read_bytes()
    end = data.find(b"end_header")
    header = data[: max(0, end)].decode("ascii", "replace")
    counts = {name: int(n) for name, n in re.findall(r"^\s*element\s+(\w+)\s+(\d+)\s*$", header, re.M)}
    if end < 0 or "vertex" not in counts:
        _refuse(path, "its header is cut off or names no vertices", "export the mesh once more")
    if max(counts.values()) > len(data):
        _refuse(path, f"it claims {max(counts.values())} elements and is only {len(data)} bytes long", "export it anew")
    if counts.get("face", 0) == 0:
        _refuse(path, "it holds points but no faces", "make a surface of it and export that")
    loaded: Any = trimesh.load(io.BytesIO(data), file_type="ply", process=False, force="mesh")
    vertices, faces = np.asarray(loaded.vertices), np.asarray(loaded.faces)
    if len(vertices) != counts["vertex"] or len(faces) < counts["face"]:
        _refuse(
            path,
            f"{len(vertices)} of {counts['vertex']} vertices and {len(faces)} of {counts['face']} faces were found",
            "the file is cut off: export it once more",
        )
    if len(faces) and not (int(faces.min()) >= 0 and int(faces.max()) < len(vertices)):
        _refuse(path, "a face names a vertex that is not there", "the file is damaged: export it once more")
    _limit(path, len(faces))
    return (lambda first, last: vertices[faces[first:last]]), len(faces)


def seen_from_above(
    mesh: Mesh,
    rows: int,
    columns: int,
    pixel: float,
    scale: tuple[float, float],
    progress: Callable[[float], None] | None = None,
) -> Floats:
    """Highest surface over the middle of each square, as modelled; -inf where there is none.

    Parameters
    ----------
    mesh : Mesh
        The mesh.
    rows, columns : int
        Squares along y and x, from the mesh's lowest corner.
    pixel : float
        Side of a square after scaling [mm].
    scale : (2,) float
        Millimetres per modelled unit along x and y.
    progress : callable or None
        Called with the share done.

    Notes
    -----
    Geometry: each triangle is a plane over the middles it covers, borders included; where several lie over one
    another the highest counts.
    """
    z = np.full((rows, columns), -np.inf)
    done = 0
    for part in mesh.pieces():
        corners = part.astype(np.float64)
        corners[:, :, 0] = (corners[:, :, 0] - mesh.lowest[0]) * (scale[0] / pixel) - 0.5
        corners[:, :, 1] = (corners[:, :, 1] - mesh.lowest[1]) * (scale[1] / pixel) - 0.5
        _raise_to(z, np.ascontiguousarray(corners))
        done += len(part)
        if progress is not None:
            progress(done / mesh.count)
    return z


def _envelope(z: Floats, corners: Floats) -> None:
    """Raise each height to the triangles over its middle; corners in squares, middles at whole numbers."""
    rows, columns = z.shape
    for t in range(corners.shape[0]):
        x0, y0, z0 = corners[t, 0, 0], corners[t, 0, 1], corners[t, 0, 2]
        x1, y1, z1 = corners[t, 1, 0], corners[t, 1, 1], corners[t, 1, 2]
        x2, y2, z2 = corners[t, 2, 0], corners[t, 2, 1], corners[t, 2, 2]
        area = (x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0)
        if area == 0.0:
            continue  # edge on: its upper border belongs to its neighbours, too
        slack = 1e-6  # squares: neighbours share their borders, rounding must not open a gap
        first = max(0, int(np.ceil(min(y0, y1, y2) - slack)))
        last = min(rows - 1, int(np.floor(max(y0, y1, y2) + slack)))
        left = max(0, int(np.ceil(min(x0, x1, x2) - slack)))
        right = min(columns - 1, int(np.floor(max(x0, x1, x2) + slack)))
        s0 = slack * (abs(x2 - x1) + abs(y2 - y1)) / abs(area)
        s1 = slack * (abs(x0 - x2) + abs(y0 - y2)) / abs(area)
        s2 = slack * (abs(x1 - x0) + abs(y1 - y0)) / abs(area)
        top = max(z0, z1, z2)
        for i in range(first, last + 1):
            for j in range(left, right + 1):
                w0 = ((x1 - j) * (y2 - i) - (x2 - j) * (y1 - i)) / area
                w1 = ((x2 - j) * (y0 - i) - (x0 - j) * (y2 - i)) / area
                w2 = 1.0 - w0 - w1
                if w0 >= -s0 and w1 >= -s1 and w2 >= -s2:
                    height = min(w0 * z0 + w1 * z1 + w2 * z2, top)
                    z[i, j] = max(z[i, j], height)


_raise_to = compiled(_envelope)
