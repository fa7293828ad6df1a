"""Draw the demo's reliefs as height maps: a heron that stands among reeds. Run it from anywhere.

    python data/make_demo_reliefs.py

The drawing is our own, invented for the demo, and the file says so. A test makes it anew and compares.
"""

from __future__ import annotations

import sys
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, PngImagePlugin

Floats = NDArray[np.float64]

DATA = Path(__file__).resolve().parent
COLUMNS, ROWS = 640, 440
LEVELS = 1 << 14  # finer than any router moves; the two lowest bits stay 0, which keeps the file small
NOTE = (
    "Invented demo artwork of shopcalc, drawn by data/make_demo_reliefs.py: a heron among reeds. "
    "Height map, white is high; no real carving, no measured surface."
)
X, Y = np.meshgrid(np.arange(COLUMNS) + 0.5, ROWS - np.arange(ROWS) - 0.5)  # y up, as on the panel


def smooth(t: Floats | float) -> Floats:
    """0 below 0, 1 above 1, an S between."""
    t = np.clip(t, 0.0, 1.0)
    return np.asarray(t * t * t * (t * (6 * t - 15) + 10))


def curve(points: list[tuple[float, ...]], count: int) -> Floats:
    """A smooth run through points of any number of coordinates (each coordinate a centripetal-like cubic)."""
    given = np.array(points, dtype=float)
    step = np.sqrt(np.hypot(*np.diff(given[:, :2], axis=0).T))
    at = np.concatenate([[0.0], np.cumsum(step)])
    slope = np.empty_like(given)
    chord = np.diff(given, axis=0) / step[:, None]
    slope[1:-1] = (chord[:-1] * step[1:, None] + chord[1:] * step[:-1, None]) / (step[:-1] + step[1:])[:, None]
    slope[0], slope[-1] = chord[0], chord[-1]
    t = np.linspace(0, at[-1], count)
    k = np.clip(np.searchsorted(at, t, side="right") - 1, 0, len(step) - 1)
    h = step[k][:, None]
    s = ((t - at[k]) / step[k])[:, None]
    return np.asarray(
        given[k] * (1 + 2 * s) * (1 - s) ** 2
        + slope[k] * h * s * (1 - s) ** 2
        + given[k + 1] * s * s * (3 - 2 * s)
        + slope[k + 1] * h * s * s * (s - 1)
    )


def rounded(into: Floats, points: list[tuple[float, ...]], count: int = 160) -> None:
    """Raise to a round rod of changing radius and height: points of x, y, radius, foot, crown."""
    for x, y, radius, foot, crown in curve(points, count):
        radius = max(radius, 0.6)
        low, high = max(0, int(ROWS - y - radius) - 1), min(ROWS, int(ROWS - y + radius) + 2)
        left, right = max(0, int(x - radius) - 1), min(COLUMNS, int(x + radius) + 2)
        if low >= high or left >= right:
            continue
        part = (slice(low, high), slice(left, right))
        inside = 1 - ((X[part] - x) ** 2 + (Y[part] - y) ** 2) / radius**2
        height = np.where(inside > 0, foot + (crown - foot) * np.sqrt(np.maximum(inside, 0)), -1.0)
        np.maximum(into[part], height, out=into[part])


def feather(
    into: Floats, start: tuple[float, float], end: tuple[float, float], wide: float, lift: float, sag: float
) -> None:
    """Lay one feather over what is there: a vane that rises towards its tip, with a quill and fine barbs."""
    (x0, y0), (x1, y1) = start, end
    long = float(np.hypot(x1 - x0, y1 - y0))
    ux, uy = (x1 - x0) / long, (y1 - y0) / long
    along = ((X - x0) * ux + (Y - y0) * uy) / long
    across = (-(X - x0) * uy + (Y - y0) * ux) - sag * 4 * along * (1 - along)
    on = (along > 0) & (along < 1)
    half = np.where(on, wide * np.sqrt(np.maximum(0, 1 - np.clip(along, 0, 1) ** 5)) * smooth(0.35 + 3 * along), 0)
    inside = np.clip(1 - (across / np.maximum(half, 1e-9)) ** 2, 0, 1)
    cover = smooth(inside * half / 3.0)
    barbs = 0.003 * np.sin(0.85 * (along * long - np.abs(across) * 1.1))
    vane = lift * (0.25 + 0.75 * along) * (0.55 + 0.45 * inside) + barbs * inside
    quill = 0.026 * np.exp(-((across / 1.3) ** 2)) * (1 - along)
    into[:] = into * (1 - cover) + (vane + quill) * cover


def ground() -> tuple[Floats, Floats]:
    """The stock's top, an oval dished into it, and how far a place lies inside the oval."""
    r = np.hypot((X - 320) / 308, (Y - 220) / 209)
    inside = smooth((1 - r) / 0.16)
    bowl = 0.17 + 0.10 * r**2
    rim = 0.03 * np.exp(-(((r - 1.0) / 0.012) ** 2))  # a fine quirk round the oval
    return 1 - (1 - bowl) * inside - rim * 2.0, inside


def water(h: Floats, inside: Floats) -> None:
    """Lines of still water, and rings where the legs stand."""
    below = smooth((98 - Y) / 26) * inside
    lines = np.sin((Y + 3.0 * np.sin(X / 37.0) + 2.0 * np.sin(X / 17.0 + 1.0)) * 2 * np.pi / 15.0)
    h += 0.030 * below * lines
    for x, y in ((286.0, 62.0), (330.0, 58.0)):
        r = np.hypot((X - x) / 2.9, Y - y)
        h += 0.045 * np.cos(r * 2 * np.pi / 8.5) * smooth(1 - r / 27) * smooth(r / 3)


def reeds(h: Floats, inside: Floats, plants: list[tuple[float, float, float, float, float]], deep: float) -> None:
    """Blades and bulrush heads: foot x, foot y, tip x, tip y, size (0: a blade alone)."""
    layer = np.full_like(h, -1.0)
    for x0, y0, x1, y1, size in plants:
        mx, my = x0 + 0.22 * (x1 - x0), y0 + 0.6 * (y1 - y0)
        if size > 0:
            rounded(
                layer,
                [
                    (x0, y0, 3.4, deep - 0.1, deep + 0.12),
                    (mx, my, 3.0, deep - 0.1, deep + 0.13),
                    (x1, y1, 2.4, deep - 0.1, deep + 0.12),
                ],
                400,
            )
            dx, dy = x1 - mx, y1 - my
            n = np.hypot(dx, dy)
            ux, uy = dx / n, dy / n
            tip = (x1 + ux * 52 * size, y1 + uy * 52 * size)
            r = 8.5 * size
            rounded(
                layer,
                [
                    (x1, y1, 2.0, deep - 0.1, deep + 0.15),
                    (x1 + ux * 5, y1 + uy * 5, r, deep - 0.1, deep + 0.30),
                    (x1 + ux * 36 * size, y1 + uy * 36 * size, r, deep - 0.1, deep + 0.31),
                    (x1 + ux * 41 * size, y1 + uy * 41 * size, 2.2, deep - 0.1, deep + 0.16),
                    (*tip, 1.2, deep - 0.1, deep + 0.05),
                ],
                200,
            )
        else:
            rounded(
                layer,
                [
                    (x0, y0, 5.5, deep - 0.1, deep + 0.13),
                    (mx, my, 6.5, deep - 0.1, deep + 0.17),
                    (x1, y1, 0.8, deep - 0.1, deep + 0.05),
                ],
                400,
            )
    np.maximum(h, np.where(layer > 0, h + (layer - h) * smooth(inside * 1.6 - 0.3), 0), out=h)


def heron() -> Floats:
    """The bird alone; -1 where it is not."""
    b = np.full((ROWS, COLUMNS), -1.0)
    # legs: far, near; thigh, the joint that bends backwards, shank, toes under water
    for dx, dy, low in ((44.0, -3.0, -0.05), (0.0, 0.0, 0.0)):
        rounded(
            b,
            [
                (289 + dx * 0.5, 170, 17, 0.2, 0.62 + low),
                (291 + dx * 0.75, 148, 9, 0.2, 0.56 + low),
                (293 + dx * 0.9, 132, 5.2, 0.2, 0.52 + low),
            ],
        )
        rounded(
            b,
            [
                (293 + dx * 0.9, 134, 4.8, 0.2, 0.52 + low),
                (294 + dx, 118, 4.2, 0.2, 0.50 + low),
                (295 + dx, 110, 6.0, 0.2, 0.53 + low),
                (293 + dx, 102, 4.2, 0.2, 0.50 + low),
                (286 + dx, 62 + dy, 3.9, 0.2, 0.46 + low),
            ],
            240,
        )
        for ex, ey in ((26, -7), (12, -12), (-16, -6)):
            rounded(
                b,
                [(286 + dx, 62 + dy, 3.2, 0.15, 0.42 + low), (286 + dx + ex, 62 + dy + ey, 1.4, 0.12, 0.26 + low)],
                60,
            )
    # tail and body
    rounded(
        b,
        [
            (176, 143, 5, 0.25, 0.42),
            (205, 160, 15, 0.25, 0.56),
            (250, 190, 37, 0.25, 0.74),
            (300, 215, 47, 0.25, 0.83),
            (338, 236, 37, 0.25, 0.80),
            (354, 250, 26, 0.25, 0.74),
        ],
        300,
    )
    # the folded wing stands out of the body
    rounded(b, [(322, 229, 16, 0.3, 0.80), (296, 212, 31, 0.3, 0.87), (250, 181, 32, 0.3, 0.83),
                (205, 152, 18, 0.3, 0.68), (172, 130, 3, 0.25, 0.50)], 300)  # fmt: skip
    # neck: an S from the breast forward, back, and over
    neck = [
        (340, 240, 33, 0.25, 0.78),
        (371, 256, 23, 0.25, 0.76),
        (388, 280, 16, 0.25, 0.76),
        (378, 306, 13, 0.25, 0.78),
        (355, 325, 12.5, 0.25, 0.80),
        (345, 349, 12, 0.25, 0.82),
        (360, 374, 12.5, 0.25, 0.85),
        (384, 384, 14, 0.25, 0.88),
    ]
    rounded(b, [p[:5] for p in neck], 400)
    # head, beak
    rounded(b, [(376, 383, 13.5, 0.25, 0.88), (393, 384, 15.5, 0.25, 0.93), (411, 381, 10, 0.25, 0.88)], 120)
    rounded(b, [(404, 380, 9.2, 0.25, 0.86), (440, 373, 6.2, 0.25, 0.78), (486, 363, 1.2, 0.25, 0.58)], 240)
    return b


def on_wing(along: float, aside: float) -> tuple[float, float]:
    """A place on the folded wing, from the shoulder (0) to the tip (1), and aside of that line."""
    (x0, y0), (x1, y1) = (316.0, 228.0), (172.0, 130.0)
    long = float(np.hypot(x1 - x0, y1 - y0))
    ux, uy = (x1 - x0) / long, (y1 - y0) / long
    return x0 + along * (x1 - x0) - aside * uy, y0 + along * (y1 - y0) + aside * ux


def finish(h: Floats, b: Floats) -> Floats:
    """The bird over the ground, with feathers, eye and bill."""
    out = np.maximum(h, b)
    on = smooth((b - 0.30) / 0.12)
    wing = np.zeros_like(h)
    # rows from the tip to the shoulder, each over the one before: where it starts and ends along the wing, how many
    # feathers side by side, how far apart, half their width
    for first, last, number, apart, wide, taper in (
        (0.42, 1.14, 6, 10.5, 8.4, 0.36), (0.26, 0.76, 5, 13.5, 10.0, 0.78), (0.12, 0.54, 5, 13.5, 9.8, 0.95),
        (0.00, 0.36, 4, 13.5, 9.4, 1.0), (-0.11, 0.19, 3, 13.0, 8.6, 1.0),
    ):  # fmt: skip
        for k in range(number):
            aside = (k - (number - 1) / 2) * apart
            start, end = on_wing(first, aside * 0.9), on_wing(last - 0.002 * abs(aside), aside * taper)
            feather(wing, start, end, wide, 0.11, 2.0)
    out = out + wing * np.where(b > 0, on, 0)
    tail = np.full_like(h, -1.0)
    for k in range(4):
        rounded(
            tail,
            [
                (214 + 4 * k, 166 - 3 * k, 7, 0.3, 0.52 + 0.02 * k),
                (170 + 7 * k, 134 - 4 * k, 6, 0.25, 0.44),
                (150 + 9 * k, 118 - 4 * k, 1.5, 0.2, 0.34),
            ],
            120,
        )
    out = np.maximum(out, tail)
    plumes = np.full_like(h, -1.0)
    for k in range(5):  # loose plumes at the breast
        rounded(
            plumes,
            [
                (350 + 5 * k, 246 + 3 * k, 5.0, 0.3, 0.80),
                (356 + 5 * k, 218 + 2 * k, 4.0, 0.25, 0.70),
                (350 + 5 * k, 188 + 5 * k, 0.8, 0.2, 0.36),
            ],
            120,
        )
    for k in range(2):  # the crest
        rounded(
            plumes,
            [
                (390, 392 - k * 3, 5.5, 0.5, 0.94),
                (362, 396 - k * 5, 4.2, 0.3, 0.84),
                (330 - k * 4, 386 - k * 9, 2.6, 0.25, 0.60),
                (308 - k * 2, 372 - k * 11, 0.8, 0.2, 0.36),
            ],
            200,
        )
    out = np.maximum(out, plumes)
    # eye: a bead in a shallow ring; the bill's slit; the streak from the eye
    r = np.hypot(X - 398, Y - 386)
    out -= 0.07 * np.exp(-(((r - 5.2) / 1.5) ** 2))
    out += 0.06 * smooth((4.0 - r) / 3.0)
    slit = Y - (379.5 - (X - 404) * 0.196)
    out -= 0.06 * np.exp(-((slit / 1.2) ** 2)) * smooth((X - 403) / 6) * smooth((484 - X) / 20)
    return out


def heights() -> Floats:
    """Heights from 0 to 1, row 0 at the top."""
    h, inside = ground()
    water(h, inside)
    back = [(96, 96, 84, 236, 0.0), (112, 84, 128, 250, 0.95), (132, 80, 176, 300, 0.0), (148, 84, 150, 308, 1.05),
            (166, 78, 122, 322, 0.0), (186, 84, 198, 262, 0.85), (206, 80, 238, 250, 0.0),
            (430, 78, 402, 262, 0.0), (452, 82, 462, 268, 0.95), (470, 78, 520, 300, 0.0), (498, 82, 516, 296, 1.0),
            (514, 80, 478, 312, 0.0), (530, 86, 540, 250, 0.9), (548, 96, 574, 236, 0.0)]  # fmt: skip
    reeds(h, inside, back, 0.30)
    out = finish(h, heron())
    front = [(84, 88, 54, 180, 0.0), (120, 62, 92, 196, 0.0), (156, 56, 172, 170, 0.0), (222, 48, 196, 132, 0.0),
             (246, 44, 262, 120, 0.0), (400, 44, 384, 128, 0.0), (424, 46, 446, 150, 0.0), (486, 54, 462, 176, 0.0),
             (516, 60, 548, 190, 0.0), (556, 86, 586, 176, 0.0)]  # fmt: skip
    reeds(out, inside, front, 0.36)
    out = np.clip(out, 0, 1)
    for _ in range(2):  # soften: no edge sharper than a small tapered cutter leaves
        p = np.pad(out, 1, mode="edge")
        out = (4 * p[1:-1, 1:-1] + 2 * (p[:-2, 1:-1] + p[2:, 1:-1] + p[1:-1, :-2] + p[1:-1, 2:])
               + p[:-2, :-2] + p[:-2, 2:] + p[2:, :-2] + p[2:, 2:]) / 16  # fmt: skip
    return np.asarray((out - out.min()) / (out.max() - out.min()))


@cache
def grey() -> NDArray[np.uint16]:
    """The height map as 16-bit grey."""
    levels = np.rint(heights() * (LEVELS - 1)).astype(np.uint32)
    return np.asarray(levels * 65535 // (LEVELS - 1) // 4 * 4 + (levels == LEVELS - 1) * 3, dtype=np.uint16)


def write(path: Path) -> None:
    """Write the PNG, with its note."""
    said = PngImagePlugin.PngInfo()
    said.add_text("Title", "Heron among reeds")
    said.add_text("Description", NOTE)
    path.parent.mkdir(exist_ok=True)
    Image.fromarray(grey()).save(path, format="PNG", pnginfo=said, optimize=True)


def main() -> int:
    """Write every file."""
    path = DATA / "reliefs" / "heron.png"
    write(path)
    print(f"{path.relative_to(DATA)}: {COLUMNS} x {ROWS}, {path.stat().st_size / 1000:.0f} kB")
    return 0


if __name__ == "__main__":
    sys.exit(main())
