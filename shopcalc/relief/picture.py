"""A picture of a carving: the artwork, what the cutters leave of it, and where detail is missing, side by side."""

from __future__ import annotations

import base64
import html
import io

import numpy as np
from numpy.typing import NDArray

from shopcalc.moves import Floats
from shopcalc.relief.carving import CarvingResult
from shopcalc.relief.heights import HeightMap
from shopcalc.relief.maps import coarser
from shopcalc.relief.words import percent_words
from shopcalc.units import System, write, write_time

_SIDE = 420  # of one picture, in the drawing's units
_SQUARES = 400_000
_HUE = np.array([178.0, 58.0, 12.0])  # one dark orange, told from grey by anybody
_INK = "#1d1d1b"
_LIGHT = np.array([-0.53, 0.53, 0.66])  # from the upper left
_NEAR_SHADE = 2.5  # mm: places lower than what lies so near around them are darker, as in a room


def shaded(surface: HeightMap) -> Floats:
    """A surface in light from the upper left.

    Parameters
    ----------
    surface : HeightMap
        Which.

    Returns
    -------
    (rows, columns) float
        Brightness from 0 to 1; the first row is the highest y. Geometry: the cosine of normal and light, and a little
        less of it in hollows; nothing is exaggerated [-].
    """
    from scipy.ndimage import gaussian_filter

    z, pixel = surface.z, surface.pixel
    rise = [np.gradient(z, pixel, axis=a) if z.shape[a] > 1 else np.zeros(z.shape) for a in (1, 0)]
    light = (_LIGHT[2] - _LIGHT[0] * rise[0] - _LIGHT[1] * rise[1]) / np.sqrt(1 + rise[0] ** 2 + rise[1] ** 2)
    light /= np.linalg.norm(_LIGHT)
    hollow = np.clip((gaussian_filter(z, _NEAR_SHADE / pixel) - z) / (_NEAR_SHADE * 0.8), -0.25, 1.0)
    high = (z - z.min()) / (float(np.ptp(z)) or 1.0)
    return np.asarray(np.clip(0.05 + 0.78 * np.clip(light, 0.0, 1.0) + 0.16 * high - 0.3 * hollow, 0.0, 1.0)[::-1])


def _grey(surface: HeightMap) -> NDArray[np.uint8]:
    return np.asarray(255 * shaded(surface), dtype=np.uint8)


def carving_picture(surface: HeightMap, result: CarvingResult, system: System = "metric") -> str:
    """Artwork, reached surface and detail left as one SVG that needs no network.

    Parameters
    ----------
    surface : HeightMap
        The artwork.
    result : CarvingResult
        What comes of it.
    system : {"metric", "inch"}
        What the reader thinks in.

    Returns
    -------
    str
        SVG; the figures beside the pictures as text.
    """
    small = coarser(surface, _SQUARES)
    depth = coarser(result.left.depth, _SQUARES)
    carved = small.with_(small.z + depth.z)
    most = max(result.left.greatest, 1e-9)
    share = np.clip(depth.z[::-1] / most, 0.0, 1.0) ** 0.5  # a little already shows
    base = 0.25 * _grey(small)[:, :, None] + 0.75 * 255
    tinted = np.asarray(base * (1 - share[:, :, None]) + _HUE * share[:, :, None], dtype=np.uint8)
    high = _SIDE * surface.width / surface.length
    left = result.left
    below = (
        f"not reached: {percent_words(left.area_share)} of the area, up to {_small(left.greatest, system)}, "
        f"{_small(left.mean, system)} on average. Cusps {_small(result.cusps.mean, system)} on average, "
        f"{_small(result.cusps.greatest, system)} at most. {result.scheme.name}, {write_time(result.seconds)}."
    )
    titles = ("artwork", "what the cutters leave, without cusps", "detail left: the darker, the more")
    size = f"{write(surface.length, 'length', system)} x {write(surface.width, 'length', system)}"
    gap, top = 16, 34
    whole, tall = 3 * _SIDE + 4 * gap, high + top + 74
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {whole} {tall:.1f}" width="{whole}" height="{tall:.1f}" '
        f'font-family="sans-serif" font-size="14" fill="{_INK}" role="img" aria-label="{html.escape(below)}">',
        f'<rect width="{whole}" height="{tall:.1f}" fill="#ffffff"/>',
    ]
    for k, (title, pixels) in enumerate(zip(titles, (_grey(small), _grey(carved), tinted), strict=True)):
        x = gap + k * (_SIDE + gap)
        out.append(f'<text x="{x}" y="22">{html.escape(title)}</text>')
        out.append(
            f'<image x="{x}" y="{top}" width="{_SIDE}" height="{high:.1f}" preserveAspectRatio="none" '
            f'href="data:image/png;base64,{_png(pixels)}"/>'
        )
        out.append(f'<rect x="{x}" y="{top}" width="{_SIDE}" height="{high:.1f}" fill="none" stroke="{_INK}"/>')
    out += _scale(gap + 2 * (_SIDE + gap), high + top + 8, left.greatest, system)
    out.append(f'<text x="{gap}" y="{high + top + 56:.1f}">{html.escape(size + ": " + below)}</text>')
    return "\n".join([*out, "</svg>"]) + "\n"


def _scale(x: float, y: float, most: float, system: System) -> list[str]:
    """Colours of the detail left: a bar from nothing to the greatest depth, with figures under it."""
    share = np.linspace(0.0, 1.0, _SIDE) ** 0.5
    ground = 0.75 * 255 + 0.25 * 190
    bar = ground * (1 - share[:, None]) + _HUE * share[:, None]
    pixels = np.asarray(np.broadcast_to(bar, (10, *bar.shape)), dtype=np.uint8)
    out = [
        f'<image x="{x}" y="{y:.1f}" width="{_SIDE}" height="10" preserveAspectRatio="none" '
        f'href="data:image/png;base64,{_png(pixels)}"/>'
    ]
    for at, anchor in ((0.0, "start"), (0.5, "middle"), (1.0, "end")):
        words = "0" if at == 0 else _small(at * most, system)
        out.append(
            f'<text x="{x + at * _SIDE:.1f}" y="{y + 25:.1f}" text-anchor="{anchor}" font-size="12">{words}</text>'
        )
    return out


def _small(value: float, system: System) -> str:
    return f"{value / 25.4:.4f} in" if system == "inch" else f"{value:.3f} mm"


def _png(pixels: NDArray[np.uint8] | Floats) -> str:
    from PIL import Image

    file = io.BytesIO()
    Image.fromarray(np.asarray(pixels, dtype=np.uint8)).save(file, format="PNG")
    return base64.b64encode(file.getvalue()).decode("ascii")
