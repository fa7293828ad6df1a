"""Artwork in: an image or a mesh becomes heights, and what someone should know of it is said in plain words.

White is high: the brightest place of an image lies at the stock's top, the darkest at the full depth. A mesh is seen
from above, so only its upper skin counts.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal, NoReturn

import numpy as np
from numpy.typing import NDArray

from shopcalc.errors import Fault, InputError
from shopcalc.moves import Floats
from shopcalc.relief.heights import HeightMap
from shopcalc.relief.images import Picture, read_picture
from shopcalc.relief.meshes import Axis, read_mesh, seen_from_above
from shopcalc.relief.terraces import Terraces, smoothed, stairs_in

#: A map of more squares than this is refused: paths over it would take more memory than a shop's computer has.
MOST_SQUARES = 36_000_000
_AGREE = 0.01  # length and width given together may differ from the artwork's own proportions by this share
_STRIP = 4_000_000  # pixels worked on at once


@dataclass(frozen=True, eq=False)
class Artwork:
    """Artwork as heights.

    Parameters
    ----------
    map : HeightMap
        The heights.
    kind : str
        What the file is, for people: "16-bit grey PNG", "binary STL, 12 triangles".
    notes : tuple of str
        What someone should know before carving it.
    terraces : Terraces or None
        Steps left in the heights, as found.
    file_pixel : float or None
        Size of the file's own pixels at this size [mm]; None for meshes.
    """

    map: HeightMap
    kind: str
    notes: tuple[str, ...] = ()
    terraces: Terraces | None = None
    file_pixel: float | None = None


def read_artwork(
    path: Path | str,
    *,
    length: float | None = None,
    width: float | None = None,
    depth: float | None,
    pixel: float | None = None,
    invert: bool = False,
    smooth: bool | None = None,
    transparent: Literal["lowest", "top"] | None = None,
    up: Axis = "z",
    progress: Callable[[float], None] | None = None,
) -> Artwork:
    """Read an image (PNG, TIFF, JPEG) or a mesh (STL, PLY) as heights.

    What the file is, its first bytes say, not its name.

    Parameters
    ----------
    path : Path or str
        The file.
    length, width : float or None
        Extents along x and y [mm]. One follows from the other; both must agree with the artwork within 1 %. A mesh
        without either keeps the size it was modelled in, its unit taken as mm.
    depth : float or None
        From the highest place, at the stock's top, to the lowest [mm]; None keeps a mesh's own proportions.
    pixel : float or None
        Side of the map's squares [mm], fitted so that it divides the length; None keeps an image's own pixels and
        gives a mesh about 1000 along its longer side.
    invert : bool
        True makes black high.
    smooth : bool or None
        True removes terraces (``terraces.smoothed``); None only tells of them; False leaves them without a word.
    transparent : "lowest", "top" or None
        Where transparent parts, and holes in a mesh's outline, come to lie: on the lowest place or at the stock's
        top. None takes the lowest and says so.
    up : "x", "y" or "z"
        A mesh's axis that points away from the stock.
    progress : callable or None
        Called with the share done while a large mesh is read.

    Raises
    ------
    InputError
        When the file cannot be read exactly, is not grey, is too large, or the sizes do not fit together.

    Notes
    -----
    Geometry: thinning takes exact area means, refining is linear between the middles of pixels.

    Example
    -------
    >>> read_artwork("data/reliefs/heron.png", length=300.0, depth=9.5).map.width  # doctest: +SKIP
    200.0
    """
    for name, value in (("length", length), ("width", width), ("depth", depth), ("pixel", pixel)):
        if value is not None and not (math.isfinite(value) and value > 0):
            _refuse(path, f"{name} {value} mm", "give a size above 0")
    kind = file_kind(path)
    if kind in ("PNG", "TIFF", "JPEG"):
        if depth is None:
            _refuse(path, "an image has no depth of its own", "say how deep black is to be carved")
        if up != "z":
            _refuse(path, "an image has no axis to turn up", "leave 'up' out; turn the image in a drawing program")
        picture = read_picture(path, kind)
        return _from_picture(path, picture, length, width, depth, pixel, invert, smooth, transparent)
    return _from_mesh(path, kind, length, width, depth, pixel, invert, transparent, up, progress)


def _refuse(path: Path | str, message: str, remedy: str) -> NoReturn:
    raise InputError(Fault(message, remedy, file=str(path)))


_MAGIC = (
    (b"\x89PNG\r\n\x1a\n", "PNG"), (b"II*\x00", "TIFF"), (b"MM\x00*", "TIFF"), (b"II+\x00", "TIFF"),
    (b"MM\x00+", "TIFF"), (b"\xff\xd8\xff", "JPEG"), (b"ply\n", "PLY"), (b"ply\r", "PLY"),
)  # fmt: skip
_OTHER = (
    (b"GIF8", "a GIF image", "export it as 16-bit grey PNG"),
    (b"BM", "a BMP image", "export it as 16-bit grey PNG"),
    (b"RIFF", "a WebP image or a sound", "export it as 16-bit grey PNG"),
    (b"\x00\x00\x00\x0cjP", "a JPEG 2000 image", "export it as 16-bit grey PNG"),
    (b"%PDF", "a PDF document", "export heights as 16-bit grey PNG, outlines as SVG"),
    (b"PK\x03\x04", "a packed file", "unpack it; a mesh is wanted as STL or PLY, an image as PNG"),
    (b"\x1f\x8b", "a packed file", "unpack it first"),
    (b"glTF", "a glTF mesh", "export it as binary STL or PLY"),
    (b"AC10", "a DWG drawing", "heights are wanted: an image or a mesh; outlines are read from DXF or SVG"),
)


def file_kind(path: Path | str) -> str:
    """What a file of artwork is, by its first bytes: PNG, TIFF, JPEG, PLY, "ASCII STL" or "binary STL".

    Parameters
    ----------
    path : Path or str
        The file.

    Raises
    ------
    InputError
        When it is missing, empty or something else; what it is and what to do is said where it is known.
    """
    try:
        size = Path(path).stat().st_size
        with Path(path).open("rb") as file:
            head = file.read(2048)
    except FileNotFoundError:
        _refuse(path, "there is no such file", "check the name and the folder")
    except IsADirectoryError:
        _refuse(path, "this is a folder, not a file", "name an image or a mesh in it")
    except (OSError, ValueError) as error:
        reason = (getattr(error, "strerror", None) or str(error) or "unreadable").lower()
        _refuse(path, f"it cannot be read ({reason})", "check the file, its folder and the permissions")
    if not head:
        _refuse(path, "the file is empty", "export the artwork once more")
    for magic, kind in _MAGIC:
        if head.startswith(magic):
            return kind
    if size >= 84 and size == 84 + 50 * int.from_bytes(head[80:84], "little"):
        return "binary STL"
    text = head.lstrip().lower()
    if text.startswith(b"solid") and (b"facet" in text or b"endsolid" in text):
        return "ASCII STL"
    if b"<svg" in text or (text.startswith(b"0") and b"section" in text[:40]):
        _refuse(path, "this is a drawing of outlines, not of heights", "carve it along its lines (read_outlines)")
    for magic, what, remedy in _OTHER:
        if head.startswith(magic):
            _refuse(path, f"this is {what}", remedy)
    if Path(path).suffix.lower() == ".stl":
        wanted = 84 + 50 * int.from_bytes(head[80:84], "little") if size >= 84 else None
        said = f": {wanted} bytes by its own count, {size} found" if wanted and wanted < 1 << 40 else ""
        _refuse(path, f"this STL is cut off or damaged{said}", "copy or export it once more")
    if text.startswith((b"v ", b"#", b"mtllib", b"o ")) and b"\nv " in head:
        _refuse(path, "this seems an OBJ mesh", "export it as binary STL or PLY")
    return _refuse(
        path, "its first bytes are those of no image or mesh known here", "give a PNG, TIFF, JPEG, STL or PLY file"
    )


# --- sizes ----------------------------------------------------------------------------------------------------------


def _sizes(
    path: Path | str, length: float | None, width: float | None, own: tuple[float, float], what: str
) -> tuple[float, float, tuple[str, ...]]:
    """Length and width from what was given and the artwork's own proportions."""
    ratio = own[1] / own[0]
    if length is None and width is None:
        _refuse(path, "neither length nor width was given", f"give one of them; {what}")
    if length is None:
        assert width is not None
        return width / ratio, width, ()
    if width is None:
        return length, length * ratio, ()
    off = width / (length * ratio) - 1
    if abs(off) > _AGREE:
        _refuse(
            path,
            f"length {length:g} mm and width {width:g} mm do not fit the artwork, which is 1 : {ratio:.4g}",
            f"give the length alone (the width will be {length * ratio:.4g} mm) or the width alone "
            f"(the length will be {width / ratio:.4g} mm), or crop the artwork",
        )
    note = (f"stretched by {off:+.1%} in width to the size given",) if abs(off) > 1e-4 else ()
    return length, width, note


def _grid(path: Path | str, length: float, width: float, pixel: float) -> tuple[int, int, float]:
    """Rows, columns and pixel of a map; the pixel divides the length."""
    if pixel > min(length, width) * 1.0001:
        _refuse(path, f"a pixel of {pixel:.4g} mm is larger than {length:.4g} x {width:.4g} mm", "give a smaller pixel")
    if length / pixel * (width / pixel) > MOST_SQUARES:
        least = math.sqrt(length * width / MOST_SQUARES)
        digits = 10.0 ** (math.floor(math.log10(least)) - 1)
        _refuse(
            path,
            f"{length / pixel:.0f} x {width / pixel:.0f} squares of {pixel:.3g} mm are too many for one map",
            f"take squares of at least {math.ceil(least / digits) * digits:.2g} mm: an image of fewer pixels, or a "
            "greater length",
        )
    columns = max(1, round(length / pixel))
    side = length / columns
    return max(1, round(width / side)), columns, side


# --- images ---------------------------------------------------------------------------------------------------------


def _from_picture(
    path: Path | str,
    picture: Picture,
    length: float | None,
    width: float | None,
    depth: float,
    pixel: float | None,
    invert: bool,
    smooth: bool | None,
    transparent: Literal["lowest", "top"] | None,
) -> Artwork:
    rows, columns = picture.grey.shape
    notes = list(picture.notes)
    claim = "" if picture.size is None else f" (its own mark says {picture.size[0]:.4g} x {picture.size[1]:.4g} mm)"
    length, width, stretched = _sizes(
        path, length, width, (columns, rows * picture.aspect), f"the image has {columns} x {rows} pixels{claim}"
    )
    if abs(picture.aspect - 1) > 1e-3:
        notes.append(f"pixels are {picture.aspect:.4g} times as high as wide, by the file's own mark: made square")
    notes += stretched
    levels = _Levels.of(path, picture, depth, invert, transparent)
    notes += levels.notes
    own = length / columns
    grid = _grid(path, length, width, own if pixel is None else pixel)
    if pixel is not None:
        notes += _fineness(own, grid[2])
    z = _resampled(levels, grid[0], grid[1])[::-1]
    heights = HeightMap(np.ascontiguousarray(z), grid[2], name=Path(path).stem)
    stairs = levels.stairs(own) if smooth is not False else None
    if stairs is not None and stairs.tread < 2 * heights.pixel:
        stairs = None  # thinned so far that each square spans several treads
    if stairs is not None and smooth:
        heights = smoothed(heights, stairs)
        notes.append(f"{stairs} over {depth:g} mm: smoothed, no place moved by more than {stairs.step / 2:.2g} mm")
        stairs = None
    elif stairs is not None:
        notes.append(
            f"terraces: {stairs} over {depth:g} mm; they show in the wood when they are higher than the cusps: "
            "smooth them or export the artwork in 16 bits"
        )
    if not invert and _seems_inverted(heights.z):
        notes.append(
            "the border is higher than the middle, and the middle is lowest: "
            "is the figure meant to stand out? then black is high here: invert it"
        )
    return Artwork(heights, picture.kind, tuple(notes), stairs, own)


def _fineness(own: float, pixel: float) -> list[str]:
    if pixel > own * 1.001:
        return [f"thinned from pixels of {own:.3g} mm to {pixel:.3g} mm by area means"]
    if pixel < own * 0.999:
        return [f"refined from pixels of {own:.3g} mm to {pixel:.3g} mm, linear between them: no detail is added"]
    return []


@dataclass(frozen=True, eq=False)
class _Levels:
    """How the values of a picture become heights."""

    picture: Picture
    low: float
    high: float
    depth: float
    invert: bool
    ground: float  # share of the height where transparent parts lie
    notes: tuple[str, ...]

    @classmethod
    def of(
        cls,
        path: Path | str,
        picture: Picture,
        depth: float,
        invert: bool,
        transparent: Literal["lowest", "top"] | None,
    ) -> _Levels:
        grey, seen = picture.grey, picture.seen
        notes: list[str] = []
        if grey.dtype.kind == "f":
            holes = ~np.isfinite(grey)
            if holes.any():
                seen = (~holes).astype(np.float32) if seen is None else seen * ~holes
                grey = np.where(holes, 0, grey)
                picture = Picture(grey, seen, picture.white, picture.kind, picture.aspect, picture.size, picture.notes)
                notes.append(f"{holes.mean():.2%} of the values are no numbers and count as transparent")
        there = grey if seen is None else grey[seen > 0]
        if there.size == 0:
            _refuse(path, "the image is empty: all of it is transparent", "export it with its contents")
        low, high = float(there.min()), float(there.max())
        if seen is not None:
            where = transparent or "lowest"
            told = "" if transparent else " (it can stay at the stock's top: fill that place in the image)"
            place = "on the lowest place" if where == "lowest" else "at the stock's top"
            notes.append(f"{(seen < 0.5).mean():.1%} of the image is transparent and lies {place}{told}")
        if low == high:
            notes.append("the artwork is flat: every place has the same brightness, nothing is carved")
        elif picture.white is not None and (low > 0 or high < picture.white):
            notes.append(
                f"brightness runs from {low:g} to {high:g} of 0 to {picture.white}: "
                f"stretched so that {depth:g} mm lie between the darkest and the brightest place"
            )
        elif picture.white is None:
            notes.append(f"values run from {low:.6g} to {high:.6g}: {depth:g} mm lie between them")
        return cls(picture, low, high, depth, invert, 0.0 if transparent != "top" else 1.0, tuple(notes))

    def rows(self, first: int, last: int) -> Floats:
        """Heights of some of the picture's rows [mm]."""
        grey = self.picture.grey[first:last].astype(np.float64)
        share = np.ones_like(grey) if self.high == self.low else (grey - self.low) / (self.high - self.low)
        if self.high > self.low and self.invert:
            share = 1 - share
        if self.picture.seen is not None and self.high > self.low:
            opacity = self.picture.seen[first:last].astype(np.float64)
            share = np.clip(share, 0, 1) * opacity + self.ground * (1 - opacity)
        return np.asarray((share - 1) * self.depth)

    def stairs(self, pixel: float) -> Terraces | None:
        """Terraces of the file's own levels."""
        if self.high == self.low:
            return None
        found = stairs_in(self.picture.grey)
        if found is None:
            return None
        levels, step, tread = found
        return Terraces(levels, step / (self.high - self.low) * self.depth, tread * pixel)


def _resampled(levels: _Levels, rows: int, columns: int) -> Floats:
    """Heights on another number of rows and columns, a strip at a time: a large picture is never unpacked whole."""
    before_rows, before_columns = levels.picture.grey.shape
    if (rows, columns) == (before_rows, before_columns):
        return levels.rows(0, before_rows)
    out = np.empty((rows, columns))
    ratio = before_rows / rows
    strip = max(1, int(_STRIP / before_columns / max(1.0, ratio)))
    for first in range(0, rows, strip):
        last = min(rows, first + strip)
        low = max(0, math.floor(first * ratio) - 1)
        high = min(before_rows, math.ceil(last * ratio) + 1)
        wide = _along(levels.rows(low, high), columns, 0.0, before_columns / columns)
        out[first:last] = _along(wide.T, last - first, first * ratio - low, ratio).T
    return out


def _along(values: Floats, count: int, start: float, ratio: float) -> Floats:
    """Area means (ratio above 1) or values between the middles (below), along the last axis."""
    n = values.shape[1]
    if ratio >= 1:
        edges = np.clip(start + np.arange(count + 1) * ratio, 0, n)
        whole = np.minimum(edges.astype(np.int64), n - 1)
        sums = np.concatenate([np.zeros((values.shape[0], 1)), np.cumsum(values, axis=1)], axis=1)
        at = sums[:, whole] + (edges - whole) * values[:, whole]
        return np.asarray(np.diff(at, axis=1) / np.diff(edges))
    middle = np.clip(start + (np.arange(count) + 0.5) * ratio - 0.5, 0, n - 1)
    before = np.minimum(middle.astype(np.int64), max(0, n - 2))
    after = np.minimum(before + 1, n - 1)
    part = middle - before
    return np.asarray(values[:, before] * (1 - part) + values[:, after] * part)


def _seems_inverted(z: Floats) -> bool:
    """Whether the middle sinks below a ground that is level with the border: a figure that stands out does not.

    A ground sunk into the stock lies below the border, too, but then most of the inside is far below it.
    """
    rows, columns = z.shape
    span = float(np.ptp(z))
    if min(rows, columns) < 20 or span == 0:
        return False
    y = np.abs((np.arange(rows) + 0.5) / rows * 2 - 1)[:, None]
    x = np.abs((np.arange(columns) + 0.5) / columns * 2 - 1)[None, :]
    out = np.maximum(x, y)
    border, ring, middle = z[out > 0.94], z[(out > 0.6) & (out <= 0.94)], z[out <= 0.6]
    sinks = border.mean() > ring.mean() - 0.02 * span and ring.mean() > middle.mean() + 0.02 * span
    level = z[out <= 0.94] > border.mean() - 0.25 * span
    return bool(sinks and level.mean() > 0.4)


# --- meshes ---------------------------------------------------------------------------------------------------------


def _from_mesh(
    path: Path | str,
    kind: str,
    length: float | None,
    width: float | None,
    depth: float | None,
    pixel: float | None,
    invert: bool,
    transparent: Literal["lowest", "top"] | None,
    up: Axis,
    progress: Callable[[float], None] | None,
) -> Artwork:
    mesh = read_mesh(path, kind, up=up)
    notes = list(mesh.notes)
    (x0, y0, _), (x1, y1, _) = mesh.lowest, mesh.highest
    own = (x1 - x0, y1 - y0)
    if length is None and width is None:
        length, width = own
        notes.append(
            f"{kind.split()[-1]} files name no unit: taken as mm, {length:.4g} x {width:.4g} mm; "
            "give the length if it was modelled in another unit"
        )
    else:
        length, width, stretched = _sizes(path, length, width, own, f"the mesh measures {own[0]:.4g} x {own[1]:.4g}")
        notes += stretched
    rows, columns, side = _grid(path, length, width, max(length, width) / 1000 if pixel is None else pixel)
    scale = (length / own[0], width / own[1])
    z = seen_from_above(mesh, rows, columns, side, scale, progress)
    there = np.isfinite(z)
    if not there.any():
        _refuse(path, "seen from above the mesh has no surface", "turn it (up='y' or up='x') or export it once more")
    low, high = float(z[there].min()), float(z[there].max())
    if high - low <= 1e-6 * max(own[0], own[1], abs(low), abs(high)):  # rounding is no relief
        low = high
        z[there] = high
    bare = float(1 - there.mean())
    z[~there] = high if transparent == "top" else low
    if bare > 0:
        place = "at the stock's top" if transparent == "top" else "on the lowest place seen"
        notes.append(f"{bare:.1%} of the map is not covered by the mesh and lies {place}")
    holes = _holes(there)
    if holes:
        notes.append(f"the mesh has {holes} hole(s) seen from above: close them, or they are carved as pits")
    if high == low:
        notes.append("seen from above the mesh is flat: nothing is carved")
    if depth is not None:
        tall = depth / (high - low) if high > low else 1.0
    else:
        tall = scale[0]
        notes.append(f"{(high - low) * tall:.4g} mm deep, as modelled")
    z = (low - z) * tall if invert else (z - high) * tall
    return Artwork(HeightMap(z, side, name=Path(path).stem), mesh.kind, tuple(notes))


def _holes(there: NDArray[Any]) -> int:
    """Uncovered places enclosed by covered ones."""
    if there.all():
        return 0
    from scipy import ndimage

    return int(ndimage.label(ndimage.binary_fill_holes(there) & ~there)[1])
