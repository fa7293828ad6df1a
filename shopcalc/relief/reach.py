"""Where a cutter of a given shape can go over a carved surface, and what surface it leaves: geometry on a grid.

The lowest a tip may stand over a point is the greatest of *surface - underside* over the cutter's disc (a grey dilation
by the mirrored profile); what it leaves at a point is the least of *tip + underside* over all tips in reach (a grey
erosion). Together they are a closing: concave places narrower than the cutter are filled, everything else stays
(J. Serra, "Image Analysis and Mathematical Morphology", 1982, chapter XII, from memory).

**Between the pixels.** Heights are samples at the pixels' middles, tips stand over pixels' middles, and the cutter is
looked at over pixels' middles only: the results are exact for these samples. A real cutter may rest on the surface
between two samples; then the true tip is higher by at most ``between_pixels``: for a ball of radius r on a slope s and
pixels of side h about h^2 (1 + s^2)^1.5 / 4 r, for a flat end at most sqrt(2) h s, for a V on less than its own slope
nothing. A convex ridge of radius R adds h^2 / 4 R. Beside a wall the wall itself is known to half a pixel only, and the
tip's sideways place with it. What is left (``reached``) is wrong by about as much, to either side, for tips stand on
pixels too; and a valley the cutter fills wants its tip on one line: up to half a pixel times the slope of its sides is
left too much when that line lies between two pixels. On planes nothing is left, whatever the pixel.

**Speed.** Offsets are taken four at a time (left, right, up, down share one height of the underside), in order of
rising height, and a row or the rest of a row is skipped once even its highest sample could raise nothing. Every value
comes from the same subtraction a plain loop would do, so the results are the same to the last bit.
"""

from __future__ import annotations

import math
import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from shopcalc.compiling import compiled
from shopcalc.cutters import Cutter
from shopcalc.cutting.engagement import refuse, require_positive
from shopcalc.moves import Floats
from shopcalc.relief.heights import HeightMap

#: What lies beyond the map's edge: nothing (the cutter may hang over it), or wood as high as the stock's top.
Outside: TypeAlias = Literal["nothing", "stock"]
#: Called with the share of the work done, 0 to 1.
Progress: TypeAlias = Callable[[float], None]

#: What a shank may touch by before a carving counts as one that cannot be cut [mm] (reasoning: pixels know no better).
TOUCH = 0.05
_SEGMENT = 32  # columns whose highest sample is known beforehand
_STRETCH = 64  # columns worked on together; fits the fastest memory with its neighbourhood
_STRIP = 256  # columns of a level underside worked on together
_BAND_WORK = 2e8  # offsets times pixels between two reports of progress
_FLAT_FROM = 4  # pixels of level underside from which running maxima pay
_INSIDE = 1e-9  # of the radius: an offset on the rim but for rounding is on the rim


@dataclass(frozen=True)
class Obstacle:
    """What keeps a cutter from the bottom of a carving.

    Parameters
    ----------
    part : {"flutes", "shank", "collet"}
        Of the cutter, that is too short or too thick.
    reaches, of : float
        How deep the tip comes, and how deep it must [mm].
    share : float
        Of the area concerned [-].
    """

    part: Literal["flutes", "shank", "collet"]
    reaches: float
    of: float
    share: float

    def __str__(self) -> str:
        why = {
            "flutes": "its flutes are no longer, and nothing cleared the wood above",
            "shank": "there its shank meets finished wood",
            "collet": "there the collet meets the stock's top",
        }[self.part]
        return f"reaches {self.reaches:.1f} mm of {self.of:.1f} mm: {why}"


@dataclass(frozen=True)
class Profile:
    """The underside of a cutter that turns: flat, then a ball, then a straight flank up to the rim.

    Parameters
    ----------
    radius : float
        Of the rim; beyond it there is no cutter [mm].
    flat : float
        Radius of the level tip [mm].
    ball : float
        Radius of the ball, 0 for none [mm].
    half_angle : float
        Of the flank against the axis [rad]; pi / 2 for none.

    Notes
    -----
    Geometry. The ball ends where the flank is tangent to it, at the distance r cos a and the height r (1 - sin a).

    Example
    -------
    >>> Profile(3.0, ball=3.0, half_angle=0.0).height(np.array([0.0, 1.8, 3.0, 3.1]))
    array([0. , 0.6, 3. , inf])
    """

    radius: float
    flat: float = 0.0
    ball: float = 0.0
    half_angle: float = math.pi / 2

    def __post_init__(self) -> None:
        require_positive(cutter_radius=self.radius)
        if not (0 <= self.flat <= self.radius and self.ball >= 0 and 0 <= self.half_angle <= math.pi / 2):
            refuse(f"no cutter has the underside {self}", "check radius, flat, ball and angle")

    def height(self, distance: Floats | float) -> Floats:
        """Height of the underside over the tip at distances from the axis [mm]; infinite beyond the rim."""
        d = np.asarray(distance, dtype=np.float64)
        past = self.flat + self.ball * math.cos(self.half_angle)
        round_part = np.clip(d - self.flat, 0.0, past - self.flat)
        height = self.ball - np.sqrt(np.maximum(self.ball**2 - round_part**2, 0.0))
        if self.half_angle < math.pi / 2:
            slope = 1 / math.tan(self.half_angle) if self.half_angle > 0 else 0.0
            height = height + slope * np.maximum(d - past, 0.0)
        return np.where(d <= self.radius * (1 + _INSIDE), height, np.inf)


Shaped: TypeAlias = Cutter | Profile


def profile(cutter: Shaped) -> Profile:
    """The underside of a cutter of the rack.

    Parameters
    ----------
    cutter : Cutter or Profile
        Any shape but a drill; a measured diameter counts before the nominal one. A profile is given back as it is.

    Returns
    -------
    Profile
        Square end, surfacing and compression are flat; ball and core-box a half ball; the V is its flat and its flank;
        the tapered ball its tip ball and the flank tangent to it, up to the cutting diameter.

    Raises
    ------
    InputError
        For a drill, which makes holes only.

    Notes
    -----
    Geometry. Above the rim the flutes go straight up: there is nothing more to hit (``shank_room`` looks further up).

    Example
    -------
    >>> v = Cutter("V90", "", "V", 25.4, 12.7, 2, 12.7, 60, 40, tip_diameter=0.4, included_angle=np.pi / 2)
    >>> profile(v).height(np.array([0.1, 0.2, 5.2])).round(6)
    array([0., 0., 5.])
    """
    if isinstance(cutter, Profile):
        return cutter
    radius = cutter.true_diameter / 2
    if cutter.shape == "drill":
        refuse(f"'{cutter.id}' is a drill, which carves nothing", "choose a ball, tapered ball, V or square end")
    if cutter.shape in ("ball", "core-box"):
        return Profile(radius, ball=radius, half_angle=0.0)
    if cutter.shape == "tapered ball":
        return Profile(radius, ball=cutter.tip_diameter / 2, half_angle=cutter.included_angle / 2)
    if cutter.shape == "V":
        return Profile(radius, flat=cutter.tip_diameter / 2, half_angle=cutter.included_angle / 2)
    return Profile(radius, flat=radius)


def centre_surface(
    surface: HeightMap,
    cutter: Shaped,
    *,
    outside: Outside = "nothing",
    beyond: float = 0.0,
    progress: Progress | None = None,
) -> HeightMap:
    """The lowest height of the tip over each pixel at which the cutter nowhere goes below the surface.

    Parameters
    ----------
    surface : HeightMap
        What shall be carved.
    cutter : Cutter or Profile
        See ``profile``.
    outside : {"nothing", "stock"}
        What stands beyond the map's edge: nothing, or wood up to the stock's top, 0 (a carving sunk into a panel: the
        cutter keeps away from the edge by its shape).
    beyond : float
        How far the tip may pass the edge on every side: the result is larger than the map by so many whole pixels; at
        most the cutter's radius makes sense [mm]. Out there it never goes below the map's lowest height, so that it
        does not dig into what lies beside the work.
    progress : callable, optional
        Called with the share done.

    Returns
    -------
    HeightMap
        Heights of the tip [mm].

    Notes
    -----
    Geometry; exact for the samples, see the module's text for what lies between them.

    Example
    -------
    >>> from shopcalc.relief.heights import sampled
    >>> step = sampled(lambda x, y: np.where(x < 10, 0.0, -5.0), 20.0, 8.0, pixel=0.1)
    >>> tips = centre_surface(step, Profile(3.0, ball=3.0, half_angle=0.0))
    >>> tips.z[40, [99, 117, 140]].round(3).tolist()
    [0.0, -0.6, -5.0]
    """
    underside = profile(cutter)
    pixels = _whole(beyond, surface.pixel)
    heights = _underside(underside, surface.pixel)
    z = _framed(surface.z, heights.shape[0] - 1 + pixels, -np.inf if outside == "nothing" else 0.0)
    tips = _highest(z, heights, progress)
    if pixels and outside == "nothing":
        np.maximum(tips, surface.z.min(), out=tips)
    origin = (surface.origin[0] - pixels * surface.pixel, surface.origin[1] - pixels * surface.pixel)
    return HeightMap(tips, surface.pixel, origin, surface.name)


def swept(tips: HeightMap, cutter: Shaped, *, progress: Progress | None = None) -> HeightMap:
    """The surface a cutter leaves when its tip visits every pixel of a map of tips.

    Parameters
    ----------
    tips : HeightMap
        Heights of the tip, from ``centre_surface`` or of levels above it [mm].
    cutter : Cutter or Profile
        See ``profile``.
    progress : callable, optional
        Called with the share done.

    Returns
    -------
    HeightMap
        On the same grid [mm]; geometry.

    Example
    -------
    >>> from shopcalc.relief.heights import sampled
    >>> level = sampled(lambda x, y: -2.0 + 0 * x, 10.0, 10.0, pixel=0.5)
    >>> float(swept(level, Profile(2.0, flat=2.0)).z.max())
    -2.0
    """
    heights = _underside(profile(cutter), tips.pixel)
    return tips.with_(-_highest(_framed(-tips.z, heights.shape[0] - 1, -np.inf), heights, progress))


def reached(
    surface: HeightMap, cutter: Shaped, *, outside: Outside = "nothing", progress: Progress | None = None
) -> HeightMap:
    """The surface a cutter leaves at best, its tip everywhere as low as the surface lets it.

    Parameters
    ----------
    surface : HeightMap
        What shall be carved.
    cutter : Cutter or Profile
        See ``profile``.
    outside : {"nothing", "stock"}
        What stands beyond the edge. With nothing there, the cutter may pass the edge by its whole radius, as paths do
        that run over a free edge; a tip kept over the map leaves more where the surface falls outwards:
        ``swept(centre_surface(...), cutter)``.
    progress : callable, optional
        Called with the share done.

    Returns
    -------
    HeightMap
        Never below the surface [mm]; the same as the surface where the cutter fits.

    Notes
    -----
    Geometry. Lines apart by a stepover leave cusps on top of this.

    Example
    -------
    >>> from shopcalc.relief.heights import sampled
    >>> groove = sampled(lambda x, y: np.abs(x - 10.05) - 10.05, 20.0, 8.0, pixel=0.1)
    >>> left = reached(groove, Profile(3.0, ball=3.0, half_angle=0.0)).z - groove.z
    >>> float(left.max().round(3)), round(3 * (math.sqrt(2) - 1), 3)
    (1.242, 1.243)
    """
    heights = _underside(profile(cutter), surface.pixel)
    reach = heights.shape[0] - 1
    tell = progress or (lambda share: None)
    z = _framed(surface.z, 2 * reach, -np.inf if outside == "nothing" else 0.0)
    tips = _highest(z, heights, lambda share: tell(share / 2))
    del z
    absent = np.isneginf(tips)
    np.negative(tips, out=tips)
    tips[absent] = -np.inf  # a tip that touches nothing leaves nothing
    lowest = _highest(tips, heights, lambda share: tell(0.5 + share / 2))
    return surface.with_(np.maximum(np.negative(lowest, out=lowest), surface.z, out=lowest))


def between_pixels(cutter: Shaped, pixel: float, slope: float) -> float:
    """How much higher a tip on an even slope may truly stand than its pixels say: the price of the grid.

    Parameters
    ----------
    cutter : Cutter or Profile
        See ``profile``.
    pixel : float
        Side of a pixel [mm].
    slope : float
        Rise over run of the surface [-], not negative.

    Returns
    -------
    float
        A bound [mm]: the true tip lies between 0 and so much above ``centre_surface``. A ridge of radius R adds
        pixel^2 / 4 R.

    Notes
    -----
    Geometry. The cutter touches where its own slope is the surface's. The nearest sample is half a pixel's diagonal
    away at most, and what the underside departs from the slope within that circle is lost; near the rim the circle is
    pushed inwards until it lies under the cutter. The underside is convex, so the worst place is on the circle.

    Example
    -------
    >>> ball = Profile(3.0, ball=3.0, half_angle=0.0)
    >>> round(between_pixels(ball, 0.1, 1.0), 5), round(0.1**2 * 2**1.5 / (4 * 3.0), 5)
    (0.00244, 0.00236)
    """
    require_positive(pixel=pixel)
    under = profile(cutter)
    steepest = math.inf if under.half_angle == 0 else 1 / math.tan(under.half_angle)
    if slope <= 0:
        return 0.0
    if under.half_angle == math.pi / 2 or slope >= steepest:
        touch = under.radius
    else:
        touch = under.flat + under.ball * slope / math.hypot(1.0, slope)
    at = float(under.height(touch))
    around = np.linspace(0.0, 2 * math.pi, 361)
    worst = [slope * touch - at]  # the axis itself is always a sample
    for middle in (touch, touch - pixel / math.sqrt(2)):
        x, y = middle + pixel / math.sqrt(2) * np.cos(around), pixel / math.sqrt(2) * np.sin(around)
        worst.append(float((under.height(np.hypot(x, y) * (1 - _INSIDE)) - at - slope * (x - touch)).max()))
    return max(0.0, min(worst))


@dataclass(frozen=True)
class ShankRoom:
    """What the cutter's upper parts meet when it carves a surface.

    Parameters
    ----------
    deepest : float
        Of the tip below the stock's top [mm].
    cutting_length, stick_out : float
        Of the cutter [mm].
    deeper_share : float
        Share of the area where the tip is deeper than the flutes are long [-].
    shank_share : float
        Share of the area where the shank would touch the finished surface [-].
    shank_overlap : float
        How far the surface stands into the shank at worst; negative is room to spare [mm].
    overlap_depth : float
        Of the tip where that is [mm].
    """

    deepest: float
    cutting_length: float
    stick_out: float
    deeper_share: float
    shank_share: float
    shank_overlap: float
    overlap_depth: float = 0.0

    def obstacles(self, *, cleared: bool) -> tuple[Obstacle, ...]:
        """Why a cutter cannot do it at all; empty when it can.

        Parameters
        ----------
        cleared : bool
            Whether another cutter took the wood above the surface before: else flutes must be as long as it is deep.

        Returns
        -------
        tuple of Obstacle
            A shank that touches by less than ``TOUCH`` is told in ``notes`` alone.
        """
        out = []
        if not cleared and self.deepest > self.cutting_length + TOUCH:
            out.append(Obstacle("flutes", self.cutting_length, self.deepest, self.deeper_share))
        if self.shank_overlap > TOUCH:
            deep = self.overlap_depth
            out.append(Obstacle("shank", max(0.0, deep - self.shank_overlap), deep, self.shank_share))
        if self.deepest > self.stick_out + TOUCH:
            out.append(Obstacle("collet", self.stick_out, self.deepest, self.deeper_share))
        return tuple(out)

    @property
    def notes(self) -> tuple[str, ...]:
        """What to tell the operator; empty when all is well."""
        out = []
        if self.deepest > self.cutting_length:
            out.append(
                f"{self.deepest - self.cutting_length:.1f} mm deeper than the flutes of {self.cutting_length:.1f} mm, "
                f"on {100 * self.deeper_share:.1f} % of the area: clear the wood above first, or take a longer cutter"
            )
        if self.shank_overlap > 0:
            out.append(
                f"the shank would touch finished wood by {self.shank_overlap:.1f} mm, on "
                f"{100 * self.shank_share:.1f} % of the area: take longer flutes or a thinner shank"
            )
        if self.deepest > self.stick_out:
            out.append(
                f"the collet would touch the stock's top: the tip goes {self.deepest:.1f} mm down, and the cutter "
                f"stands out {self.stick_out:.1f} mm"
            )
        return tuple(out)


def shank_room(surface: HeightMap, cutter: Cutter, tips: HeightMap | None = None) -> ShankRoom:
    """Whether flutes and stick-out are long enough, and whether the shank clears the finished surface.

    Parameters
    ----------
    surface : HeightMap
        What shall be carved.
    cutter : Cutter
        With its cutting length, shank and stick-out.
    tips : HeightMap, optional
        Its centre surface, when at hand.

    Returns
    -------
    ShankRoom
        Margins, not errors. Geometry: the shank is a cylinder that begins where the flutes end.

    Example
    -------
    >>> from shopcalc.relief.heights import sampled
    >>> pit = sampled(lambda x, y: np.where(abs(x - 15) < 5, -12.0, 0.0), 30.0, 10.0, pixel=0.5)
    >>> thin = Cutter("T", "", "ball", 3.0, 6.0, 2, 10.0, 50.0, 25.0)
    >>> len(shank_room(pit, thin).notes), round(shank_room(pit, thin).shank_overlap, 6)
    (2, 2.0)
    """
    if tips is None:
        tips = centre_surface(surface, cutter)
    tip_depth = -tips.z
    shank = Profile(cutter.shank / 2, flat=cutter.shank / 2)
    overlap = centre_surface(surface, shank).z - tips.z - cutter.cutting_length
    worst = np.unravel_index(int(overlap.argmax()), overlap.shape)
    return ShankRoom(
        deepest=float(max(0.0, tip_depth.max())),
        cutting_length=cutter.cutting_length,
        stick_out=cutter.stick_out,
        deeper_share=float((tip_depth > cutter.cutting_length).mean()),
        shank_share=float((overlap > 0).mean()),
        shank_overlap=float(overlap[worst]),
        overlap_depth=float(tip_depth[worst]),
    )


def _whole(length: float, pixel: float) -> int:
    """Pixels that cover a length."""
    if not (math.isfinite(length) and length >= 0):
        refuse(f"{length} mm beyond the edge", "give 0 or more")
    return math.ceil(length / pixel - _INSIDE)


def _underside(under: Profile, pixel: float) -> Floats:
    """(n, n) heights of one quarter of the underside at whole offsets, infinite beyond the rim; symmetric."""
    reach = int(under.radius / pixel * (1 + _INSIDE))
    steps = np.arange(reach + 1, dtype=np.float64)
    distance = np.sqrt(steps[:, None] ** 2 + steps**2) * pixel
    return under.height(distance)


def _framed(z: Floats, margin: int, value: float) -> Floats:
    """Heights with a margin of one value on every side."""
    rows, columns = z.shape
    out = np.full((rows + 2 * margin, columns + 2 * margin), value)
    out[margin : margin + rows, margin : margin + columns] = z
    return out


def _highest(z: Floats, heights: Floats, progress: Progress | None) -> Floats:
    """Greatest z - underside over all offsets; smaller than z by the underside's reach on every side."""
    reach = heights.shape[0] - 1
    rows, columns = z.shape[0] - 2 * reach, z.shape[1] - 2 * reach
    if reach == 0:
        return z.copy()
    widths = np.isfinite(heights).sum(axis=1) - 1
    level = (heights == 0).sum(axis=1) - 1  # -1 where the row has no level part
    if level[0] < _FLAT_FROM:
        level[:] = -1
    peaks = np.maximum.reduceat(z, np.arange(0, z.shape[1], _SEGMENT), axis=1)
    out = np.full((rows, columns), -np.inf)
    stretch = min(columns, max(_STRETCH, reach))
    threads = min(cores(), 8)
    work = 4.0 * rows * columns * float((widths - level + 3).sum())
    bands = max(threads, min(math.ceil(rows / max(16, 4 * level[0])), math.ceil(work / _BAND_WORK)))
    edges = np.linspace(0, rows, bands + 1).astype(np.int64)

    def one(band: int) -> None:
        begin, end = edges[band], edges[band + 1]
        if level[0] >= 0:
            _raise_level(z, level[level >= 0], reach, out, begin, end)
        if (widths > level).any():
            _raise_rows(z, peaks, heights, widths, level, out, begin, end, stretch)

    with ThreadPoolExecutor(threads) as pool:
        for done, _ in enumerate(pool.map(one, range(bands)), start=1):
            if progress is not None:
                progress(done / bands)
    return out


def cores() -> int:
    """Cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


@compiled
def _raise_level(z: Floats, level: NDArray[np.int64], reach: int, out: Floats, begin: int, end: int) -> None:
    """Take the level part of the underside into rows begin to end: greatest of 2 level + 1 samples of each row.

    Maxima over 1, 2, 4, ... neighbours are made once for a row of samples; any run is two of them that overlap.
    """
    columns = out.shape[1]
    radius = level.shape[0] - 1
    strip = min(columns, max(_STRIP, radius))
    powers = 1
    while 1 << powers <= 2 * level[0] + 1:
        powers += 1
    runs = np.empty((powers, strip + 2 * level[0]))
    start = 0
    while start < columns:
        start = min(start, columns - strip)
        margin = reach - level[0]
        for row in range(begin + reach - radius, end + reach + radius):
            n = strip + 2 * level[0]
            runs[0, :n] = z[row, start + margin : start + margin + n]
            for power in range(1, powers):
                long = 1 << (power - 1)
                n -= long
                here, shifted, longer = runs[power - 1, :n], runs[power - 1, long : long + n], runs[power, :n]
                for i in range(n):
                    longer[i] = here[i] if here[i] > shifted[i] else shifted[i]
            for up in range(-radius, radius + 1):
                at = row - reach + up
                if at < begin or at >= end:
                    continue
                half = level[abs(up)]
                power = 0
                while 1 << (power + 1) <= 2 * half + 1:
                    power += 1
                first = level[0] - half
                second = first + 2 * half + 1 - (1 << power)
                here, shifted = runs[power, first : first + strip], runs[power, second : second + strip]
                target = out[at, start : start + strip]
                for i in range(strip):
                    a = here[i] if here[i] > shifted[i] else shifted[i]
                    target[i] = a if a > target[i] else target[i]
        start += strip


@compiled
def _raise_rows(
    z: Floats,
    peaks: Floats,
    heights: Floats,
    widths: NDArray[np.int64],
    level: NDArray[np.int64],
    out: Floats,
    begin: int,
    end: int,
    stretch: int,
) -> None:
    """Take the rest into rows begin to end. Slices start the inner loops at 0: so they run several lanes wide."""
    columns = out.shape[1]
    reach = heights.shape[0] - 1
    pair = np.empty(stretch + 2 * reach)  # the higher of the rows above and below
    best = np.empty(stretch)
    for row in range(begin, end):
        start = 0
        while start < columns:
            start = min(start, columns - stretch)
            target = out[row, start : start + stretch]
            least = target[0]
            for i in range(stretch):
                best[i] = target[i]
                least = best[i] if best[i] < least else least
            for up in range(reach + 1):
                width, side = widths[up], level[up] + 1
                if side > width:
                    continue
                first, last = start + reach - width, start + reach + stretch + width
                above, below = row + reach + up, row + reach - up
                most = -np.inf
                for s in range(first // _SEGMENT, (last - 1) // _SEGMENT + 1):
                    most = max(most, max(peaks[above, s], peaks[below, s]))
                if most - heights[up, side] <= least:
                    continue
                one, two = z[above, first:last], z[below, first:last]
                for i in range(last - first):
                    pair[i] = one[i] if one[i] > two[i] else two[i]
                if side == 0:
                    h0, middle = heights[up, 0], pair[width : width + stretch]
                    for i in range(stretch):
                        a = middle[i] - h0
                        best[i] = a if a > best[i] else best[i]
                    side = 1
                while side <= width:
                    h0 = heights[up, side]
                    if most - h0 <= least:
                        break
                    if side + 3 <= width:
                        h1, h2, h3 = heights[up, side + 1], heights[up, side + 2], heights[up, side + 3]
                        right = pair[width + side : width + side + 3 + stretch]
                        left = pair[width - side - 3 : width - side + stretch]
                        for i in range(stretch):
                            a = (right[i] if right[i] > left[i + 3] else left[i + 3]) - h0
                            b = (right[i + 1] if right[i + 1] > left[i + 2] else left[i + 2]) - h1
                            c = (right[i + 2] if right[i + 2] > left[i + 1] else left[i + 1]) - h2
                            d = (right[i + 3] if right[i + 3] > left[i] else left[i]) - h3
                            a = a if a > b else b
                            c = c if c > d else d
                            a = a if a > c else c
                            best[i] = a if a > best[i] else best[i]
                        side += 4
                    else:
                        right = pair[width + side : width + side + stretch]
                        left = pair[width - side : width - side + stretch]
                        for i in range(stretch):
                            a = (right[i] if right[i] > left[i] else left[i]) - h0
                            best[i] = a if a > best[i] else best[i]
                        side += 1
                least = best[0]
                for i in range(stretch):
                    least = best[i] if best[i] < least else least
            for i in range(stretch):
                target[i] = best[i]
            start += stretch
