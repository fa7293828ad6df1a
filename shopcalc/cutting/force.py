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
    effective_diameter,
    mean_edge_share,
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
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(24)
_TURN = 96  # rotation angles of one turn that are looked at
_ARC = 65  # places of an arc between which its running integral is a straight line


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
            if wood == "solid" and mode == "0-90":  # neither term knows density or moisture
                normal_edge[j] = row[name + "normal_edge"][i] * row[name + "edge"][i] * dull
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
        self._height, self._thick, self._radius, self._width, self._slope = _slices(cutter, self.width, level)

    def line(self, angle: Numbers, slope: Numbers = math.pi / 2) -> tuple[Floats, Floats]:
        """Tangential and normal force of a flute for each millimetre of its height.

        Parameters
        ----------
        angle : float or (...) float
            Rotation angle [rad].
        slope : float or (...) float
            Of the edge against the plane of rotation [rad].

        Returns
        -------
        tangential, normal : (2, ...) float
            The part that is always there [N/mm], and what grows with each mm of feed per tooth [N/mm2].
        """
        c, a = self.coefficients, np.asarray(angle, dtype=float)
        # rising, up-cut flutes trail and down-cut ones lead; a compression cutter counts as up-cut throughout
        lean = self.cutter.helix if self.cutter.cut_direction == "down" else -self.cutter.helix
        modes = g.flute_modes(self.grain, a, lean, slope)
        longer, chip = 1 / (math.cos(self.cutter.helix) * np.sin(slope)), np.sin(a)
        tangential = np.stack([modes @ c.edge * longer, modes @ c.chip * chip])
        return tangential, np.stack([modes @ c.normal_edge * longer, modes @ c.normal_chip * chip])

    def _arcs(self) -> tuple[Floats, Floats]:
        """Angles at which each slice enters and leaves the wood."""
        return g.arc(self._width, 2 * self._radius, self.direction)

    @cached_property
    def _means(self) -> Floats:
        """(2, 4): constant and growing part of torque, feed, side and tangential force, averaged over a turn."""
        entry, leave = self._arcs()
        half = ((leave - entry) / 2)[:, None]
        a = ((entry + leave) / 2)[:, None] + half * _NODES
        w = _WEIGHTS * half * self.cutter.flutes / (2 * math.pi) * self._thick[:, None]
        t, n = self.line(a, self._slope[:, None])
        x, y = _on_cutter(t, n, a, self._slope[:, None])
        sums = [np.sum(w * v, axis=(-1, -2)) for v in (t * self._radius[:, None], x, y, t)]
        return np.stack(sums, axis=-1)

    @property
    def mean_torque(self) -> tuple[float, float]:
        """Mean torque: a constant [N mm], and what grows with each mm of feed per tooth [N]."""
        return float(self._means[0, 0]), float(self._means[1, 0])

    @property
    def mean_side(self) -> tuple[float, float]:
        """Mean force to the left: a constant [N], and what grows with each mm of feed per tooth [N/mm]."""
        return float(self._means[0, 2]), float(self._means[1, 2])

    @property
    def mean_lift(self) -> tuple[float, float]:
        """Mean lift: a constant [N], and what grows with each mm of feed per tooth [N/mm]."""
        factor = math.tan(self.cutter.helix) * self._lifting()
        return float(self._means[0, 3] * factor), float(self._means[1, 3] * factor)

    @cached_property
    def _turn(self) -> Floats:
        """(2, 3, angles): constant and growing part of x, y and torque of all flutes as the cutter turns."""
        return self._standing_at(np.arange(_TURN) * 2 * math.pi / _TURN)

    @cached_property
    def _pitch(self) -> Floats:
        """The same over the way from flute to flute, and where flutes enter and leave, which is where peaks lie."""
        pitch = 2 * math.pi / self.cutter.flutes
        low, high = self._lags
        ends = np.concatenate([end + lag for end in self._arcs() for lag in (low, high)])
        return self._standing_at(np.concatenate([np.arange(_TURN) * pitch / _TURN, np.mod(ends, pitch)]))

    def _standing_at(self, positions: Floats) -> Floats:
        """Constant and growing part of x, y and torque with the flutes' leading ends at rotation angles.

        The lag along the helix is kept: for each slice the running integral over the arc is taken between the angles
        of its ends.
        """
        entry, leave = (v[:, None] for v in self._arcs())
        fine = entry + (leave - entry) * np.linspace(0, 1, _ARC)
        t, n = self.line(fine, self._slope[:, None])
        x, y = _on_cutter(t, n, fine, self._slope[:, None])
        values = np.stack([x, y, t * self._radius[:, None]], axis=1)  # (2, 3, slices, arc)
        steps = (values[..., 1:] + values[..., :-1]) / 2 * np.diff(fine)
        sums = np.concatenate([np.zeros((*steps.shape[:-1], 1)), np.cumsum(steps, axis=-1)], axis=-1)
        low, high = self._lags
        out = np.zeros((2, 3, len(positions)))
        turns = 2 * math.pi * np.arange(1 + math.ceil(high.max() / (2 * math.pi)))
        for k in range(self.cutter.flutes):
            lead = np.mod(positions + 2 * math.pi * k / self.cutter.flutes, 2 * math.pi)
            for turn in turns:  # what lags far behind meets the wood whole turns later
                a, b = lead + turn - high[:, None], lead + turn - low[:, None]
                if np.all(high - low > 1e-6):
                    inside = _between(sums, b, entry, leave) - _between(sums, a, entry, leave)
                    out += np.sum(inside * (self._thick / (high - low))[:, None], axis=-2)
                else:
                    there = (b >= entry - 1e-12) & (b <= leave + 1e-12)
                    out += np.sum(
                        np.where(there, _between(values, b, entry, leave), 0.0) * self._thick[:, None], axis=-2
                    )
        return out

    @cached_property
    def _lags(self) -> tuple[Floats, Floats]:
        """Least and greatest lag of each slice behind the end of the flutes that leads [rad]."""
        ends = np.stack([self._lag(self._height + s * self._thick / 2, self._radius) for s in (-1, 1)])
        low, high = ends.min(axis=0), ends.max(axis=0)
        return low - low.min(), high - low.min()

    def _lag(self, height: Floats, radius: Floats) -> Floats:
        """How far a flute lags behind its tip [rad]; a compression cutter turns round where its up-cut ends."""
        c = self.cutter
        turn = math.tan(c.helix) / radius
        if c.cut_direction == "down":
            return -height * turn
        if c.cut_direction == "compression":
            return (np.minimum(height, 2 * c.up_shear_length - height)) * turn
        return height * turn

    def at(self, feed_per_tooth: Numbers) -> Forces:
        """Forces at a feed per tooth, or at many.

        Parameters
        ----------
        feed_per_tooth : float or (n,) float
            [mm/tooth].

        Returns
        -------
        Forces
            Means are exact for straight sides and within 3 % for round tips and Vs; the greatest values are taken at 96
            places from flute to flute and where flutes enter and leave.
        """
        require_positive(feed_per_tooth=feed_per_tooth)
        f = np.asarray(feed_per_tooth, dtype=float)
        torque, feed, side, tangential = np.moveaxis(self._means[0] + f[..., None] * self._means[1], -1, 0)
        turn = self._pitch[0] + f[..., None, None] * self._pitch[1]
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
        at = np.minimum(np.searchsorted(self._height + self._thick / 2, z), len(self._height) - 1)
        radius, slope = self._radius[at], self._slope[at]
        entry, leave = (v[at][:, None] for v in self._arcs())
        wall = math.pi if self.direction == "climb" else 0.0
        here = self._radius[min(int(np.searchsorted(self._height + self._thick / 2, height)), len(self._height) - 1)]
        behind = self._lag(z, radius) - self._lag(np.asarray(height), here)
        flutes = 2 * math.pi * np.arange(self.cutter.flutes) / self.cutter.flutes
        angle = np.mod(wall - behind[:, None] + flutes + 1e-9, 2 * math.pi) - 1e-9
        t, n = self.line(angle, slope[:, None])
        _, y = _on_cutter(t, n, angle, slope[:, None])
        inside = (angle >= entry - 1e-9) & (angle <= leave + 1e-9)
        edge, chip = np.sum(np.where(inside, y, 0.0), axis=-1) * thick
        return z, edge, chip


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


def _between(table: Floats, angle: Floats, entry: Floats, leave: Floats) -> Floats:
    """Values of evenly spaced tables (..., slices, arc) at angles (slices, n), held constant beyond their ends."""
    last = table.shape[-1] - 1
    place = np.clip((angle - entry) / (leave - entry) * last, 0, last)
    i = np.minimum(place.astype(int), last - 1)
    rows = np.arange(len(i))[:, None]
    low, high = table[..., rows, i], table[..., rows, i + 1]
    out: Floats = low + (high - low) * (place - i)
    return out


def _on_cutter(tangential: Floats, normal: Floats, angle: Floats, slope: Floats) -> tuple[Floats, Floats]:
    """Force on the cutter along the feed and to its left: it is held back along the motion and pushed inwards."""
    inward = normal * np.sin(slope)
    return (
        -tangential * np.cos(angle) - inward * np.sin(angle),
        tangential * np.sin(angle) - inward * np.cos(angle),
    )


def _slices(cutter: Cutter, width: float, level: float) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """Middle height, thickness, radius, width of cut and slope; one slice of a straight-sided cutter, else ten."""
    if cutter.shape in ("square end", "surfacing", "compression"):
        ends, radius = np.array([0.0, level]), np.array([cutter.true_diameter / 2])
        if cutter.cut_direction == "compression" and 0 < cutter.up_shear_length < level:
            ends = np.array([0.0, cutter.up_shear_length, level])
            radius = np.repeat(radius, 2)
        height, slope = (ends[1:] + ends[:-1]) / 2, np.full(len(radius), math.pi / 2)
        return height, np.diff(ends), radius, np.full(len(radius), width), slope
    share = np.linspace(0, 1, 11)
    ends = level * (share if cutter.shape == "V" else share**2)  # a round tip has most of its edge low down
    height, thick = (ends[1:] + ends[:-1]) / 2, np.diff(ends)
    radius = np.asarray(effective_diameter(cutter, height)) / 2
    edge = np.append(0.0, ends[1:] / mean_edge_share(cutter, ends[1:]))
    return height, thick, radius, np.minimum(width, 2 * radius), np.arcsin(np.minimum(1.0, thick / np.diff(edge)))
