"""Grey images as they stand in their files, exact to the last bit: PNG, TIFF, JPEG.

An image library that opens everything also cuts much of it to 8 bits without a word: colour with 16 bits a channel,
16-bit grey with alpha. Here each form is read whole or refused.
"""

from __future__ import annotations

import math
import struct
import threading
import warnings
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import numpy as np
from numpy.typing import NDArray

from shopcalc.errors import Fault, InputError

if TYPE_CHECKING:
    from PIL import ImageFile

#: An image that takes more memory than this is refused [bytes]: 20 000 x 20 000 in 16-bit grey passes.
MOST_BYTES = 1_000_000_000
_LOCK = threading.Lock()
_AS_GREY = "open it in a drawing program and export it as 16-bit grey PNG"


@dataclass(frozen=True, eq=False)
class Picture:
    """A grey image.

    Parameters
    ----------
    grey : (rows, columns) array
        Brightness as it stands in the file, white high; row 0 is at the top.
    seen : (rows, columns) float or None
        Opacity from 0 to 1; None where all is opaque.
    white : int or None
        Brightest value of the file's form; None for floats.
    kind : str
        What the file is, for people.
    aspect : float
        Height of a pixel over its width, by the file's own resolution.
    size : (2,) float or None
        Length and width by the file's own resolution [mm].
    notes : tuple of str
        What someone should know.
    """

    grey: NDArray[Any]
    seen: NDArray[np.float32] | None
    white: int | None
    kind: str
    aspect: float = 1.0
    size: tuple[float, float] | None = None
    notes: tuple[str, ...] = ()


@contextmanager
def refusing(path: Path | str, what: str, remedy: str) -> Iterator[list[str]]:
    """Turn whatever a reading library throws into one refusal; its warnings are collected as words.

    Parameters
    ----------
    path : Path or str
        The file.
    what : str
        What it was taken for.
    remedy : str
        What to do.

    Raises
    ------
    InputError
        For anything that goes wrong inside.
    """
    said: list[str] = []
    try:
        with warnings.catch_warnings(record=True) as caught:
            warnings.simplefilter("always")
            yield said
            said.extend(dict.fromkeys(" ".join(str(w.message).split()) for w in caught))
    except InputError:
        raise
    except MemoryError:
        raise InputError(Fault(f"too large to be read as {what}", "make it smaller", file=str(path))) from None
    except Exception as error:  # what a library throws at broken files is not to be foreseen
        reason = " ".join((getattr(error, "strerror", None) or str(error) or type(error).__name__).split())[:160]
        fault = Fault(f"it cannot be read as {what} ({reason})", remedy, file=str(path))
        raise InputError(fault) from None


def read_picture(path: Path | str, kind: str) -> Picture:
    """Read a grey image exactly.

    Parameters
    ----------
    path : Path or str
        The file.
    kind : str
        "PNG", "TIFF" or "JPEG", as its first bytes say.

    Raises
    ------
    InputError
        When it is broken, too large, not grey, or of a form that could not be read whole.
    """
    remedy = "the file is damaged or cut off: export it once more (16-bit grey PNG is best)"
    with refusing(path, f"a {kind} image", remedy) as said, _unbounded():
        picture = {"PNG": _read_png, "TIFF": _read_tiff, "JPEG": _read_jpeg}[kind](path)
    heard = tuple(f"the file is odd: {text}" for text in said)
    return Picture(**{**picture.__dict__, "notes": picture.notes + heard})


@contextmanager
def _unbounded() -> Iterator[None]:
    """Lift the library's own bound on pixels, which lies below what is allowed here and differs from form to form."""
    from PIL import Image

    with _LOCK:
        before, Image.MAX_IMAGE_PIXELS = Image.MAX_IMAGE_PIXELS, None
        try:
            yield
        finally:
            Image.MAX_IMAGE_PIXELS = before


def _refuse(path: Path | str, message: str, remedy: str) -> NoReturn:
    raise InputError(Fault(message, remedy, file=str(path)))


def _guard(path: Path | str, columns: int, rows: int, pixel_bytes: float) -> None:
    """Refuse before anything is unpacked: a small file can claim any size."""
    if columns * rows * pixel_bytes > MOST_BYTES:
        side = math.isqrt(int(MOST_BYTES / pixel_bytes))
        _refuse(
            path,
            f"{columns} x {rows} pixels are too many: {columns * rows * pixel_bytes / 1e9:.1f} GB unpacked, "
            f"at most {MOST_BYTES / 1e9:.0f} GB",
            f"save it smaller, at most about {side} x {side} pixels (a carving rarely needs more than 20 a millimetre)",
        )


# --- PNG ------------------------------------------------------------------------------------------------------------

_CHANNELS = {0: 1, 2: 3, 3: 1, 4: 2, 6: 4}


def _checked_header(path: Path | str) -> tuple[int, int, int, int]:
    """Columns, rows, bits and colour type of a PNG whose every chunk agrees with its checksum."""
    remedy = "the file is damaged or cut off: copy or export it once more"
    header, ended, pixels = None, False, False
    with Path(path).open("rb") as file:
        file.seek(8)
        while len(head := file.read(8)) == 8:
            size, name = struct.unpack(">I4s", head)
            body = file.read(size) if size < 1 << 31 else b""
            tail = file.read(4)
            if len(body) != size or len(tail) != 4:
                _refuse(path, "this PNG ends in the middle of its data", remedy)
            if struct.unpack(">I", tail)[0] != zlib.crc32(body, zlib.crc32(name)):
                _refuse(path, f"part '{name.decode('latin-1')}' of this PNG disagrees with its checksum", remedy)
            pixels |= name == b"IDAT"
            if name == b"IHDR" and size == 13:
                header = struct.unpack(">IIBB", body[:10])
            if name == b"IEND":
                ended = True
                break
    if header is None or not pixels or not ended:
        _refuse(path, "this PNG ends in the middle of its data", remedy)
    return header


def _read_png(path: Path | str) -> Picture:
    from PIL import PngImagePlugin

    columns, rows, bits, colour = _checked_header(path)
    channels = _CHANNELS.get(colour, 4)
    _guard(path, columns, rows, channels * max(8, bits) / 8)
    with PngImagePlugin.PngImageFile(path) as image:
        transparent = image.info.get("transparency")
        white = (1 << bits) - 1
        if bits == 16 and colour == 4:
            raw = _decoded(image, "RGBA", "RGBA")  # four bytes a pixel: grey and alpha, high byte first
            planes = np.ascontiguousarray(raw).view(">u2").astype(np.uint16)
        elif bits == 16 and channels > 1:
            planes = _both_bytes(image, lambda: PngImagePlugin.PngImageFile(path))
        elif colour == 3:
            planes, white = np.asarray(image.convert("RGBA")), 255
        else:
            planes = _few_bits(_plain(image), bits)
        seen = None
        if transparent is not None and colour in (0, 2):
            key = np.asarray(transparent)
            seen = (planes != key) if colour == 0 else (planes != key).any(axis=2)
        notes = _pages(image)
        form = {0: "grey", 2: "colour", 3: "palette", 4: "grey with alpha", 6: "colour with alpha"}[colour]
        return _finished(path, image, planes, seen, white, f"{bits}-bit {form} PNG", notes)


def _plain(image: ImageFile.ImageFile) -> NDArray[Any]:
    """Pixels as the library unpacks them; loaded first, since a turned image changes its shape by that."""
    image.load()
    return np.asarray(image)


def _few_bits(planes: NDArray[Any], bits: int) -> NDArray[Any]:
    """Values of less than 8 bits as stored: the library spreads them evenly over 0 to 255."""
    if bits >= 8:
        return planes
    if planes.dtype == bool:
        return planes.astype(np.uint8)
    return (planes.astype(np.uint16) * ((1 << bits) - 1) // 255).astype(np.uint8)


def _decoded(image: ImageFile.ImageFile, mode: str, rawmode: str) -> NDArray[np.uint8]:
    """Pixels of an image unpacked by a rule other than the library's own choice."""
    image._mode = mode
    image.tile = [
        t._replace(args=rawmode if isinstance(t.args, str) else (rawmode, *(t.args or ("",))[1:])) for t in image.tile
    ]
    image.load()
    return np.asarray(image)


def _both_bytes(image: ImageFile.ImageFile, again: Any) -> NDArray[np.uint16]:
    """Channels of 16 bits: the library keeps one byte of each, so it reads twice, once for either byte."""
    first = image.tile[0].args
    rule = first if isinstance(first, str) else (first or ("",))[0]
    native = "L" if np.little_endian else "B"
    order = native if rule.endswith("N") else rule[-1]
    name, other = rule[:-1], "B" if order == "L" else "L"
    high = _decoded(image, image.mode, name + order).astype(np.uint16)
    with again() as second:
        low = _decoded(second, second.mode, name + other)
    high <<= 8
    high |= low
    return high


# --- TIFF -----------------------------------------------------------------------------------------------------------

_BITS, _COMPRESSION, _PHOTOMETRIC, _SAMPLES, _PLANAR, _EXTRA, _FORMAT = 258, 259, 262, 277, 284, 338, 339
_ONE = {  # bits, sample format -> is it read exactly (checked against files written by another library)
    (1, 1), (2, 1), (4, 1), (8, 1), (8, 2), (12, 1), (16, 1), (16, 2), (32, 1), (32, 2), (32, 3),
}  # fmt: skip


def _read_tiff(path: Path | str) -> Picture:
    from PIL import TiffImagePlugin

    try:
        opened = TiffImagePlugin.TiffImageFile(path)
    except SyntaxError as error:
        if "unknown pixel mode" not in str(error):
            raise
        _refuse(path, "a TIFF with these channels and bits could not be read exactly", _AS_GREY)
    with opened as image:
        tags: Any = image.tag_v2
        bits, layout = tags.get(_BITS, (1,)), tags.get(_FORMAT, (1,))
        photometric, samples, extra = tags.get(_PHOTOMETRIC, 1), tags.get(_SAMPLES, 1), tags.get(_EXTRA, ())
        bits, layout = (tuple(np.atleast_1d(v).tolist()) for v in (bits, layout))
        _guard(path, image.width, image.height, samples * max(8, max(bits)) / 8)
        what = f"TIFF with {samples} channel(s) of {max(bits)} bits"
        alone = samples == 1 and photometric in (0, 1, 3) and (bits[0], layout[0]) in _ONE
        several = photometric in (1, 2) and set(layout) == {1} and set(bits) in ({8}, {16}) and 1 not in extra
        if not (alone or (several and samples in (2, 3, 4) and tags.get(_PLANAR, 1) == 1)):
            _refuse(path, f"a {what} of this form could not be read exactly", _AS_GREY)
        white: int | None = (1 << bits[0]) - 1
        image.tile = [_native(t) for t in image.tile]
        image.filename = ""  # else it is mapped from disk with the size it has only after being turned
        if samples > 1 and bits[0] == 16:
            planes: NDArray[Any] = _both_bytes(image, lambda: TiffImagePlugin.TiffImageFile(path))
        elif photometric == 3:
            planes, white = np.asarray(image.convert("RGB")), 255
        else:
            planes = _plain(image)
        if layout[0] == 3:
            white = None
        elif alone and photometric != 3:
            planes, white = _whole_numbers(planes, bits[0], layout[0], photometric)
        turned = tags.get(274, 1) in (5, 6, 7, 8)
        notes = _pages(image)
        float_word = " float" if layout[0] == 3 else ""
        form = "grey" if samples == 1 and photometric != 3 else "palette" if samples == 1 else f"{samples}-channel"
        kind = f"{bits[0]}-bit{float_word} {form} TIFF"
        return _finished(path, image, planes, None, white, kind, notes, turned=turned)


def _native(tile: Any) -> Any:
    """Unpacked by the TIFF library itself, numbers come in this computer's order whatever the file's was."""
    rule = tile.args[0] if isinstance(tile.args, tuple) else None
    swapped = {"I;16BS": "I;16NS", "I;32BS": "I;32NS", "F;32BF": "F;32NF"}
    if tile.codec_name != "libtiff" or rule not in swapped:
        return tile
    return tile._replace(args=(swapped[rule], *tile.args[1:]))


def _whole_numbers(planes: NDArray[Any], bits: int, layout: int, photometric: int) -> tuple[NDArray[Any], int | None]:
    """Undo what the library takes wrongly: signs of 8-bit, unsigned 32-bit, white stored as 0 in 16-bit."""
    if layout == 2:
        signed = planes.view(np.int8) if bits == 8 else planes
        return signed, None
    white = (1 << bits) - 1
    if bits == 32:
        return planes.view(np.uint32), white
    planes = _few_bits(planes, bits)
    if photometric == 0 and bits > 8:
        planes = (white - planes.astype(np.int32)).astype(np.uint16)
    return planes, white


# --- JPEG and what all have -----------------------------------------------------------------------------------------


def _read_jpeg(path: Path | str) -> Picture:
    from PIL import JpegImagePlugin

    with JpegImagePlugin.JpegImageFile(path) as image:
        _guard(path, image.width, image.height, len(image.getbands()))
        if image.mode not in ("L", "RGB"):
            _refuse(path, f"a JPEG in {image.mode} is no grey image", _AS_GREY)
        planes = _plain(image)
        blocks = (
            "a JPEG is stored in lossy blocks of 8 x 8 pixels and in 256 levels: both carve as ripples; "
            "export the artwork as 16-bit PNG if you can"
        )
        return _finished(path, image, planes, None, 255, "JPEG", (blocks, *_pages(image)), slack=6)


def _pages(image: Any) -> tuple[str, ...]:
    count = int(getattr(image, "n_frames", 1))
    return (f"the file holds {count} pictures; the first one is used",) if count > 1 else ()


def _finished(
    path: Path | str,
    image: Any,
    planes: NDArray[Any],
    seen: NDArray[np.bool_] | None,
    white: int | None,
    kind: str,
    notes: tuple[str, ...],
    *,
    slack: int = 0,
    turned: bool = False,
) -> Picture:
    """One grey channel and the opacity out of all channels; turned upright; sizes by the file's resolution."""
    opacity: NDArray[np.float32] | None = None if seen is None else seen.astype(np.float32)
    grey = planes
    if planes.ndim == 3:
        if planes.shape[2] in (2, 4):
            opacity = planes[..., -1].astype(np.float32) / np.float32(white or 1)
        grey = planes[..., 0]
        if planes.shape[2] > 2:
            grey = _one_channel(path, planes, opacity, slack)
    if opacity is not None and bool((opacity == 1).all()):
        opacity = None
    orientation = 1 if kind.endswith("TIFF") else int(image.getexif().get(274, 1))  # a TIFF was turned when unpacked
    if orientation in range(2, 9):
        grey, opacity = (None if a is None else _upright(a, orientation) for a in (grey, opacity))  # type: ignore[assignment]
        turned = orientation >= 5
        notes = (*notes, "turned upright, as the file's orientation mark asks")
    across, up, absolute = _resolution(image, kind)
    if turned:
        across, up = up, across
    size = (grey.shape[1] / across * 25.4, grey.shape[0] / up * 25.4) if absolute else None
    return Picture(grey, opacity, white, kind, across / up, size, notes)


def _one_channel(
    path: Path | str, planes: NDArray[Any], opacity: NDArray[np.float32] | None, slack: int
) -> NDArray[Any]:
    """The common channel of a colour image whose channels agree."""
    colours = planes[..., :3]
    apart = colours.max(axis=2).astype(np.int32) - colours.min(axis=2)
    if opacity is not None:
        apart[opacity == 0] = 0
    if int(apart.max()) > slack:
        row, column = np.unravel_index(int(apart.argmax()), apart.shape)
        values = ", ".join(str(int(v)) for v in colours[row, column])
        share = float((apart > slack).mean())
        _refuse(
            path,
            f"the image is coloured: {share:.1%} of it, as at column {int(column) + 1}, row {int(row) + 1} "
            f"(red, green, blue {values}); heights are greys, and colours say nothing about height",
            "draw a height map (white high, black low); if brightness really is height, turn it to grey first",
        )
    return np.asarray(colours[..., 1])


def _upright(plane: NDArray[Any], orientation: int) -> NDArray[Any]:
    """Rows and columns by the Exif orientation mark (2 to 8)."""
    if orientation >= 5:
        plane = plane.T
    flip_columns, flip_rows = orientation in (2, 3, 6, 7), orientation in (3, 4, 7, 8)
    return np.ascontiguousarray(plane[:: -1 if flip_rows else 1, :: -1 if flip_columns else 1])


def _resolution(image: Any, kind: str) -> tuple[float, float, bool]:
    """Pixels an inch along x and y, and whether an inch is really meant."""
    info = image.info
    for key in ("dpi", "resolution", "aspect", "jfif_density"):
        try:
            across, up = (float(v) for v in info.get(key) or ())
        except (TypeError, ValueError, ZeroDivisionError):
            continue
        if not (0.01 < across < 1e6 and 0.01 < up < 1e6 and 0.02 < across / up < 50):
            continue
        absolute = key == "dpi" and min(across, up) > 5 and (kind != "JPEG" or info.get("jfif_unit") != 0)
        return across, up, absolute
    return 1.0, 1.0, False
