"""A picture of a carving: the artwork, what the cutters leave of it, and where detail is missing, side by side."""

from __future__ import annotations

import base64
import html
import io

import numpy as np
from numpy.typing import NDArray

from shopcalc.moves import Floats
from shopcalc.relief.heights import HeightMap
from shopcalc.relief.scheme import CarvingResult, coarser
from shopcalc.units import System, write

_SIDE = 420  # of one picture, in the drawing's units
_SQUARES = 400_000
_HUE = np.array([178.0, 58.0, 12.0])  # one dark orange, told from grey by anybody
_INK = "#1d1d1b"


def shaded(surface: HeightMap) -> NDArray[np.uint8]:
    """A surface in light from the upper left.

    Parameters
    ----------
    surface : HeightMap
        Which.

    Returns
    -------
    (rows, columns) uint8
        Brightness; the first row is the highest y. Geometry: the cosine of normal and light [-].
    """
    z = surface.z[::-1]
    rows = np.gradient(z, surface.pixel, axis=0) if z.shape[0] > 1 else np.zeros(z.shape)
    columns = np.gradient(z, surface.pixel, axis=1) if z.shape[1] > 1 else np.zeros(z.shape)
    length = np.sqrt(1 + rows**2 + columns**2)
    light = (0.5 * columns + 0.5 * rows + 0.7) / (length * np.sqrt(0.99))
    span = float(np.ptp(z)) or 1.0
    return np.asarray(255 * np.clip(0.85 * np.clip(light, 0, 1) + 0.15 * (z - z.min()) / span, 0, 1), dtype=np.uint8)


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
    base = 0.25 * shaded(small)[:, :, None] + 0.75 * 255
    tinted = np.asarray(base * (1 - share[:, :, None]) + _HUE * share[:, :, None], dtype=np.uint8)
    high = _SIDE * surface.width / surface.length
    left = result.left
    below = (
        f"not reached: {100 * left.area_share:.1f} % of the area, up to {_small(left.greatest, system)}, "
        f"{_small(left.mean, system)} on average. Cusps {_small(result.cusps.mean, system)} on average, "
        f"{_small(result.cusps.greatest, system)} at most. {result.scheme.name}, {result.minutes:.0f} min."
    )
    titles = ("artwork", "what the cutters leave, without cusps", "detail left: the darker, the more")
    size = f"{write(surface.length, 'length', system)} x {write(surface.width, 'length', system)}"
    gap, top = 16, 34
    whole, tall = 3 * _SIDE + 4 * gap, high + top + 46
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {whole} {tall:.1f}" width="{whole}" height="{tall:.1f}" '
        f'font-family="sans-serif" font-size="14" fill="{_INK}" role="img" aria-label="{html.escape(below)}">',
        f'<rect width="{whole}" height="{tall:.1f}" fill="#ffffff"/>',
    ]
    for k, (title, pixels) in enumerate(zip(titles, (shaded(small), shaded(carved), tinted), strict=True)):
        x = gap + k * (_SIDE + gap)
        out.append(f'<text x="{x}" y="22">{html.escape(title)}</text>')
        out.append(
            f'<image x="{x}" y="{top}" width="{_SIDE}" height="{high:.1f}" preserveAspectRatio="none" '
            f'href="data:image/png;base64,{_png(pixels)}"/>'
        )
        out.append(f'<rect x="{x}" y="{top}" width="{_SIDE}" height="{high:.1f}" fill="none" stroke="{_INK}"/>')
    out.append(f'<text x="{gap}" y="{high + top + 22:.1f}">{html.escape(size + ": " + below)}</text>')
    return "\n".join([*out, "</svg>"]) + "\n"


def _small(value: float, system: System) -> str:
    return f"{value / 25.4:.4f} in" if system == "inch" else f"{value:.3f} mm"


def _png(pixels: NDArray[np.uint8] | Floats) -> str:
    from PIL import Image

    file = io.BytesIO()
    Image.fromarray(np.asarray(pixels, dtype=np.uint8)).save(file, format="PNG")
    return base64.b64encode(file.getvalue()).decode("ascii")
