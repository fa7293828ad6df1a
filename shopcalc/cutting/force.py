"""Force: what the wood asks of the edge in each grain mode, summed over the arc, the height and the turn.

Tangential and normal force each have an edge term, for every length of edge however thin the chip, and a chip term
that grows with the chip's area. No table of absolute values for solid wood could be read: every coefficient is a low,
likely and high figure with its standing, and so is every force. Conventions of angles and sides: ``cutting.grain``.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from typing import Literal, get_args

import numpy as np

from shopcalc.cutters import Cutter
from shopcalc.cutting import grain as g
from shopcalc.cutting.engagement import (
    Numbers,
    Result,
    edge_share,
    effective_diameter,
    refuse,
    require_at_most,
    require_positive,
)
from shopcalc.materials import Material
from shopcalc.moves import Floats
from shopcalc.reading import Column, TableReader
from shopcalc.sources import STANDING, TABLES, check_standing, practice
from shopcalc.units import read

Band = Literal["low", "likely", "high"]
BANDS: tuple[Band, ...] = get_args(Band)
_REFERENCE_GRAVITY = {"solid": 0.65, "sheet": 0.70}
_NEUTRAL_RAKE = math.radians(25)  # where the normal chip term of solid wood changes sign (Woodson 1979: 20 to 30)
_NODES = 24
_TURN = 96  # rotation angles of one turn that are looked at


@dataclass(frozen=True)
class Coefficients:
    """What one wood asks of one edge; each array in the order of ``grain.MODES``.

    Parameters
    ----------
    edge, chip : (3,) float
        Tangential terms [N/mm], [N/mm2].
    normal_edge, normal_chip : (3,) float
        Normal terms; positive pushes the edge off the wood that stays [N/mm], [N/mm2].
    source : str
        Where they come from.
    """

    edge: Floats
    chip: Floats
    normal_edge: Floats
    normal_chip: Floats
    source: str = ""

    def scaled(self, chip: float = 1.0, edge: float = 1.0, source: str = "") -> Coefficients:
        """The same with all chip terms and all edge terms multiplied.

        Parameters
        ----------
        chip, edge : float
            Factors [-].
        source : str
            Where the factors come from; blank keeps the source.

        Returns
        -------
        Coefficients
        """
        return Coefficients(
            self.edge * edge, self.chip * chip, self.normal_edge * edge, self.normal_chip * chip, source or self.source
        )


@cache
def _table() -> Mapping[str, tuple[float, ...]]:
    """Low, likely and high of each row of the shipped table by its name: wood, mode, term."""
    columns = (
        Column("name", required=True),
        *(Column(b, required=True) for b in BANDS),
        Column("unit", required=True),
        *STANDING,
    )
    table = TableReader(TABLES / "cutting_forces.csv", columns, "name")
    for row in table.rows:
        check_standing(table, row, published=True)
    table.finish()
    return {row["name"]: tuple(_house(row[b], row["unit"]) for b in BANDS) for row in table.rows}


def _house(text: str, unit: str) -> float:
    number = float(text)
    factor = {"ratio": 1.0, "N/mm": 1.0}.get(unit)
    return number * (read(f"1 {unit}", "pressure") if factor is None else factor)


def coefficients(
    material: Material,
    *,
    rake: float | None = None,
    moisture: float | None = None,
    wear: float = 0.0,
) -> dict[Band, Coefficients]:
    """Low, likely and high coefficients of a wood.

    Parameters
    ----------
    material : Material
        Its group and specific gravity count; one whose gravity is not known is taken at the reference.
    rake : float or None
        Rake of the flutes [rad]; None for common practice.
    moisture : float or None
        Of the wood, mass of water over ovendry mass [ratio]; None for furniture stock.
    wear : float
        0 for a sharp edge, 1 for one that has to be reground [-].

    Returns
    -------
    dict
        Band to Coefficients.

    Raises
    ------
    InputError
        When rake, moisture or wear cannot be.

    Notes
    -----
    Trends as read: force rises with chip and specific gravity and falls with rake and moisture; in 90-0 and 90-90 the
    normal force changes sign between rakes of 20 and 30 degrees; in 0-90 it depends on the chip alone (Woodson,
    Research Paper SO-146, USDA Forest Service 1979, abstract). Density alone predicts cutting power poorly (Chuchala,
    BioResources 9(3), 2014, abstract), which the bands have to cover. How steep the trends are: from memory. The
    factors multiply, as in the correction-factor form restated by Porankiewicz et al. (BioResources 2011).
    """
    rake = float(practice()["rake"].value) if rake is None else rake
    dry = float(practice()["moisture"].value)
    moisture = dry if moisture is None else moisture
    for name, value, most in (("rake", rake, math.radians(75)), ("moisture", moisture, 3.0), ("wear", wear, 1.0)):
        if not (math.isfinite(value) and (0 if name != "rake" else -0.6) <= value <= most):
            refuse(f"{name} {value:g} cannot be", "give a rake below 75 deg, a moisture from 0, a wear from 0 to 1")
    wood = "sheet" if material.group == "sheet" else "solid"
    gravity = material.specific_gravity_12 or (material.density / 1000 / 1.12 if material.density else None)
    dense = (gravity or _REFERENCE_GRAVITY[wood]) / _REFERENCE_GRAVITY[wood]
    neutral_to_reference = float(practice()["rake"].value)
    by_rake = max(0.4, 1 - 0.012 * math.degrees(rake - neutral_to_reference))
    by_water = 1.0 if wood == "sheet" else 1 - 0.015 * 100 * (min(moisture, 0.30) - dry)
    dull = 1 + float(practice()["wear_edge"].value) * wear
    out: dict[Band, Coefficients] = {}
    for i, band in enumerate(BANDS):
        edge, chip, normal_edge, normal_chip = np.empty(3), np.empty(3), np.empty(3), np.empty(3)
        for j, mode in enumerate(g.MODES):
            row, name = _table(), f"{wood}.{'any' if wood == 'sheet' else mode}."
            chip[j] = row[name + "chip"][i] * dense * by_rake * by_water
            edge[j] = row[name + "edge"][i] * dense * by_water * dull
            normal_edge[j] = row[name + "normal_edge"][i] * edge[j]
            ratio = row[name + "normal_chip"][i]
            if wood == "solid" and mode == "0-90":
                normal_chip[j] = ratio
            else:
                tilt = 0.02 * math.degrees(_NEUTRAL_RAKE - rake) if wood == "solid" else 0.0
                normal_chip[j] = (ratio + tilt) * chip[j]
        out[band] = Coefficients(edge, chip, normal_edge, normal_chip, "from memory, low confidence")
    return out


@dataclass(frozen=True)
class Forces:
    """Forces on the cutter at one or many feeds per tooth; x along the feed, y to its left.

    Parameters
    ----------
    torque : float or (n,) float
        Mean over a turn [N mm].
    feed, side : float or (n,) float
        Mean over a turn, along the feed (negative holds the cutter back) and to its left [N].
    greatest : float or (n,) float
        Greatest resultant in the plane within a turn [N].
    greatest_torque : float or (n,) float
        Within a turn [N mm].
    lift : float or (n,) float
        Mean along the spindle: positive lifts the work and pulls the cutter out of its collet, negative presses the
        work down [N]. The force of an inclined edge square to it; friction along the edge is left out.
    """

    torque: Result
    feed: Result
    side: Result
    greatest: Result
    greatest_torque: Result
    lift: Result


@dataclass(frozen=True)
class Slice:
    """One slice of the cutter's height: its middle above the tip, thickness, radius, width of cut and slope."""

    height: float
    thick: float
    radius: float
    width: float
    slope: float


class Load:
    """All forces of one shape of cut; linear in the feed per tooth, so that thousands of settings cost one product.

    Parameters
    ----------
    cutter : Cutter
        Any but a drill.
    coefficients : Coefficients
        Of the wood.
    grain : (3,) float
        From ``grain.grain_vector`` [-].
    width, level : float
        Width and depth of cut [mm].
    direction : {"climb", "conventional"}
        See ``grain``; in a full slot both are the same.

    Raises
    ------
    InputError
        When width or level is not above zero, the width exceeds the cutter's at that level, or the level its flutes.

    Notes
    -----
    The arc is integrated by Gauss-Legendre with 24 nodes, exact to rounding for these smooth terms. End teeth are left
    out of a sideways cut: they meet wood only over about a feed per tooth at their corners.
    """

    def __init__(
        self,
        cutter: Cutter,
        coefficients: Coefficients,
        grain: g.Vector,
        width: float,
        level: float,
        direction: g.Direction,
    ) -> None:
        require_positive(width_of_cut=width, depth=level)
        if cutter.shape == "drill":
            refuse(f"{cutter.id} is a drill and cuts only straight down", "choose a cutter that cuts sideways")
        across = float(effective_diameter(cutter, level))
        remedy = "take a narrower cut, or go deeper where the cutter is wider"
        require_at_most("width of cut", width, f"the width of {cutter.id} at that depth", across, remedy)
        self.cutter, self.coefficients, self.grain = cutter, coefficients, grain
        self.width, self.level, self.direction = min(width, across), level, direction
        self.slices = tuple(_slices(cutter, self.width, level))

    def line(self, angle: Numbers, chip: Numbers, slope: float = math.pi / 2) -> tuple[Result, Result]:
        """Tangential and normal force of a flute for each millimetre of its height.

        Parameters
        ----------
        angle : float or (n,) float
            Rotation angle [rad].
        chip : float or (n,) float
            Thickness there, along the radius [mm].
        slope : float
            Of the edge against the plane of rotation [rad].

        Returns
        -------
        tangential, normal : float or (n,) float
            [N/mm].
        """
        c = self.coefficients
        modes = g.flute_modes(self.grain, angle, self.cutter.helix, slope)
        h, longer = np.asarray(chip, dtype=float), 1 / (math.cos(self.cutter.helix) * math.sin(slope))
        return (
            modes @ c.edge * longer + modes @ c.chip * h,
            modes @ c.normal_edge * longer + modes @ c.normal_chip * h,
        )

    @cached_property
    def _means(self) -> Floats:
        """(2, 4): edge and chip part of torque, feed, side and mean tangential force over a turn."""
        nodes, weights = np.polynomial.legendre.leggauss(_NODES)
        out = np.zeros((2, 4))
        for s in self.slices:
            entry, leave = (float(v) for v in g.arc(s.width, 2 * s.radius, self.direction))
            a = (entry + leave) / 2 + (leave - entry) / 2 * nodes
            w = weights * (leave - entry) / 2 * self.cutter.flutes / (2 * math.pi) * s.thick
            for part, chip in ((0, np.zeros_like(a)), (1, np.sin(a))):
                t, n = self.line(a, chip, s.slope)
                if part:
                    t0, n0 = self.line(a, np.zeros_like(a), s.slope)
                    t, n = t - t0, n - n0
                x, y = _on_cutter(t, n, a, s.slope)
                out[part] += [w @ t * s.radius, w @ x, w @ y, w @ t]
        return out

    @cached_property
    def _turn(self) -> Floats:
        """(2, 3, angles): edge and chip part of x, y and torque of all flutes as the cutter turns.

        The flutes' lag along the helix is kept: for each slice the running integral over the arc is taken between the
        angles of its lower and upper end.
        """
        out = np.zeros((2, 3, _TURN))
        positions = np.arange(_TURN) * 2 * math.pi / _TURN
        for s, low, high in self._lags():
            entry, leave = (float(v) for v in g.arc(s.width, 2 * s.radius, self.direction))
            fine = np.linspace(entry, leave, 97)
            tables = self._running(fine, s)
            for k in range(self.cutter.flutes):
                # a flute's upper end lags on an up-cut: it stands at a smaller angle than its lower end
                lead = np.mod(positions + 2 * math.pi * k / self.cutter.flutes, 2 * math.pi)
                for turn in (0.0, 2 * math.pi):  # the arc may be met by the part that lags behind the whole turn
                    a, b = lead + turn - high, lead + turn - low
                    span = max(high - low, 1e-9)
                    for part in (0, 1):
                        for row in (0, 1, 2):
                            table = tables[part][row]
                            if high - low > 1e-6:
                                inner = np.interp(b, fine, table[1]) - np.interp(a, fine, table[1])
                                out[part, row] += inner / span * s.thick
                            else:
                                inside = (b >= entry - 1e-12) & (b <= leave + 1e-12)
                                out[part, row] += np.where(inside, np.interp(b, fine, table[0]), 0.0) * s.thick
        return out

    def _lags(self) -> list[tuple[Slice, float, float]]:
        """Each slice with the lag of its lower and upper end behind the tip, never negative."""
        turn = math.tan(self.cutter.helix)
        out = []
        for s in self.slices:
            low, high = s.height - s.thick / 2, s.height + s.thick / 2
            lags = sorted((self._lag(low, s.radius, turn), self._lag(high, s.radius, turn)))
            out.append((s, lags[0], lags[1]))
        least = min(lag for _, lag, _ in out)
        return [(s, a - least, b - least) for s, a, b in out]

    def _lag(self, height: float, radius: float, turn: float) -> float:
        """How far a flute at a height lags behind its tip [rad]; a compression cutter turns round half way."""
        c = self.cutter
        if c.cut_direction == "down":
            return -height * turn / radius
        if c.cut_direction == "compression" and height > c.up_shear_length:
            return (2 * c.up_shear_length - height) * turn / radius
        return height * turn / radius

    def _running(self, fine: Floats, s: Slice) -> list[list[tuple[Floats, Floats]]]:
        """For edge and chip part, for x, y and torque: value along the arc, and its running integral."""
        t0, n0 = self.line(fine, np.zeros_like(fine), s.slope)
        t1, n1 = self.line(fine, np.sin(fine), s.slope)
        out = []
        for t, n in ((t0, n0), (t1 - t0, n1 - n0)):
            x, y = _on_cutter(t, n, fine, s.slope)
            rows = []
            for value in (x, y, t * s.radius):
                steps = (value[1:] + value[:-1]) / 2 * np.diff(fine)
                rows.append((value, np.concatenate([[0.0], np.cumsum(steps)])))
            out.append(rows)
        return out

    def at(self, feed_per_tooth: Numbers) -> Forces:
        """Forces at a feed per tooth, or at many.

        Parameters
        ----------
        feed_per_tooth : float or (n,) float
            [mm/tooth].

        Returns
        -------
        Forces
            Means are exact; the greatest values are taken at 96 angles of a turn.
        """
        require_positive(feed_per_tooth=feed_per_tooth)
        f = np.asarray(feed_per_tooth, dtype=float)
        torque, feed, side, tangential = np.moveaxis(self._means[0] + f[..., None] * self._means[1], -1, 0)
        turn = self._turn[0] + f[..., None, None] * self._turn[1]
        greatest = np.sqrt(np.max(turn[..., 0, :] ** 2 + turn[..., 1, :] ** 2, axis=-1))
        lift = tangential * math.tan(self.cutter.helix) * self._lifting()
        most = np.max(turn[..., 2, :], axis=-1)
        return Forces(torque[()], feed[()], side[()], greatest[()], most[()], lift[()])

    def _lifting(self) -> float:
        """Share of the engaged height that lifts less the share that presses."""
        c = self.cutter
        if c.cut_direction == "compression":
            return (2 * min(c.up_shear_length, self.level) - self.level) / self.level
        return {"up": 1.0, "down": -1.0}.get(c.cut_direction, 0.0)

    def turn(self, feed_per_tooth: float) -> tuple[Floats, Floats, Floats, Floats]:
        """Forces over one turn of the cutter.

        Parameters
        ----------
        feed_per_tooth : float
            [mm/tooth].

        Returns
        -------
        angle, feed, side, torque : (96,) float
            Rotation angle of the first flute's tip [rad], forces [N] and torque [N mm].
        """
        require_positive(feed_per_tooth=feed_per_tooth)
        x, y, torque = self._turn[0] + feed_per_tooth * self._turn[1]
        return np.arange(_TURN) * 2 * math.pi / _TURN, x, y, torque

    def at_wall(self, height: float, cells: int = 24) -> tuple[Floats, Floats, Floats]:
        """Sideways force along the cutter at the moment a flute passes the wall at one height.

        Parameters
        ----------
        height : float
            Above the tip [mm].
        cells : int
            How many pieces the level is cut into [-].

        Returns
        -------
        heights, edge, chip : (cells,) float
            Middle of each piece [mm]; force to the left [N], and for each mm of feed per tooth [N/mm].
        """
        ends = np.linspace(0, self.level, cells + 1)
        z, thick = (ends[1:] + ends[:-1]) / 2, self.level / cells
        wall = math.pi if self.direction == "climb" else 0.0
        edge, chip = np.zeros(cells), np.zeros(cells)
        turn = math.tan(self.cutter.helix)
        for i, h in enumerate(z):
            s = self._slice_at(float(h))
            entry, leave = (float(v) for v in g.arc(s.width, 2 * s.radius, self.direction))
            at = wall + self._lag(height, s.radius, turn) - self._lag(float(h), s.radius, turn)
            for k in range(self.cutter.flutes):
                a = (at + 2 * math.pi * k / self.cutter.flutes + 1e-9) % (2 * math.pi) - 1e-9
                if entry - 1e-9 <= a <= leave + 1e-9:
                    t0, n0 = self.line(a, 0.0, s.slope)
                    t1, n1 = self.line(a, math.sin(a), s.slope)
                    edge[i] += _on_cutter(t0, n0, a, s.slope)[1] * thick
                    chip[i] += _on_cutter(t1 - t0, n1 - n0, a, s.slope)[1] * thick
        return z, edge, chip

    def _slice_at(self, height: float) -> Slice:
        for s in self.slices:
            if height <= s.height + s.thick / 2:
                return s
        return self.slices[-1]


@dataclass(frozen=True)
class Plunge:
    """A plunge straight down, or the sinking part of a ramp.

    Parameters
    ----------
    torque : float or (n,) float
        [N mm].
    thrust : float or (n,) float
        Pressing on the work [N].
    """

    torque: Result
    thrust: Result


def plunge(cutter: Cutter, coefficients: Coefficients, grain: g.Vector, advance_per_tooth: Numbers) -> Plunge:
    """Torque and thrust of end teeth that go straight down.

    Parameters
    ----------
    cutter : Cutter
        Its end teeth reach from the rim to the centre.
    coefficients : Coefficients
        Of the wood.
    grain : (3,) float
        From ``grain.grain_vector`` [-].
    advance_per_tooth : float or (n,) float
        Plunge feed over speed and flutes [mm].

    Returns
    -------
    Plunge
        Averaged over a turn; the advance is the thickness of the chip and the radius its width.

    Raises
    ------
    InputError
        When the cutter does not cut at its centre, or the advance is not above zero.

    Example
    -------
    >>> sq = Cutter("SQ", "", "square end", 12, 12, 2, 40, 90, 50)
    >>> ones = Coefficients(np.ones(3), np.ones(3), np.zeros(3), np.ones(3))
    >>> round(float(plunge(sq, ones, (0, 0, 1), 1.0).thrust), 6)
    12.0
    """
    require_positive(advance_per_tooth=advance_per_tooth)
    if not cutter.centre_cutting:
        refuse(f"{cutter.id} does not cut at its centre and may not go straight down", "ramp in, or enter beside")
    h = np.asarray(advance_per_tooth, dtype=float)
    angles = (np.arange(64) + 0.5) * 2 * math.pi / 64
    modes = g.end_modes(grain, angles).mean(axis=0)
    radius, c = cutter.true_diameter / 2, coefficients
    tangential = modes @ c.edge + modes @ c.chip * h
    normal = modes @ c.normal_edge + np.abs(modes @ c.normal_chip) * h
    torque = cutter.flutes * tangential * radius**2 / 2
    return Plunge(torque[()], (cutter.flutes * normal * radius)[()])


def _on_cutter(tangential: Result, normal: Result, angle: Result, slope: float) -> tuple[Result, Result]:
    """Force on the cutter along the feed and to its left: it is held back along the motion and pushed inwards."""
    inward = normal * math.sin(slope)
    return (
        -tangential * np.cos(angle) - inward * np.sin(angle),
        tangential * np.sin(angle) - inward * np.cos(angle),
    )


def _slices(cutter: Cutter, width: float, level: float) -> list[Slice]:
    """One slice of a straight-sided cutter, a dozen of any other."""
    straight = cutter.shape in ("square end", "surfacing", "compression")
    n = 1 if straight else 12
    out = []
    for i in range(n):
        height, thick = (i + 0.5) * level / n, level / n
        if straight:
            out.append(Slice(height, thick, cutter.true_diameter / 2, width, math.pi / 2))
            continue
        radius = float(effective_diameter(cutter, height)) / 2
        slope = math.asin(min(1.0, float(edge_share(cutter, height))))
        out.append(Slice(height, thick, radius, min(width, 2 * radius), max(slope, 0.15)))
    return out
