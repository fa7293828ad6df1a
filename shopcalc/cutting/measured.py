"""Measured: force coefficients fitted to a shop's own readings of spindle power, or of push-off on a wall.

A reading scales the likely coefficients of the tables; what it cannot tell apart stays together, and what it never saw
keeps the tables' band. Every result says in words what was learned and what was not.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from shopcalc.cutters import Cutter
from shopcalc.cutting import grain as g
from shopcalc.cutting.deflection import Give
from shopcalc.cutting.engagement import refuse, require_positive
from shopcalc.cutting.force import BANDS, Band, Coefficients, Load, coefficients
from shopcalc.cutting.push_off import push_off
from shopcalc.errors import Fault, InputError, raise_all
from shopcalc.learned import LearnedRow
from shopcalc.materials import Material
from shopcalc.moves import Floats
from shopcalc.sources import Value

_TENTH = 1.2816  # standard deviations from the middle to where a tenth lies beyond (normal distribution)
_APART = 1.5  # chip part over edge part has to vary this much before both can be told apart (reasoning)
_SEEN = 0.1  # share of the torque from which on a grain mode counts as measured (reasoning)
_SLIP = 8.0  # times the tables' likely force, or its part, that no wood explains: a slip of unit or meter (reasoning)
_CALIPER = 0.02  # mm a caliper may be off (common practice, no source)
_PLACES = 9  # heights of a wall between which the thickest place is looked for


@dataclass(frozen=True)
class PowerReading:
    """Spindle power in one steady cut, and beside it in the air.

    Parameters
    ----------
    rpm : float
        Spindle speed [rev/min].
    feed_per_tooth : float
        As run [mm/tooth].
    width, level : float
        Width and depth of the cut [mm].
    direction : {"climb", "conventional"}
        See ``grain``.
    grain : (3,) float
        From ``grain.grain_vector`` [-].
    spindle_power, idle_power : float
        While cutting, and in the air at the same speed [W].
    """

    rpm: float
    feed_per_tooth: float
    width: float
    level: float
    direction: g.Direction
    grain: g.Vector
    spindle_power: float
    idle_power: float


@dataclass(frozen=True)
class PushOffReading:
    """How far a wall stands off from where it should be.

    Parameters
    ----------
    feed_per_tooth, width, level, direction, grain
        As in ``PowerReading``, of the pass that left the wall.
    push_off : float
        Wood left on the wall, negative where the cutter dug in [mm].
    height : float or None
        Above the tip where it was read [mm]; None where a caliper's jaws lay on the thickest place.
    """

    feed_per_tooth: float
    width: float
    level: float
    direction: g.Direction
    grain: g.Vector
    push_off: float
    height: float | None = None


@dataclass(frozen=True)
class Measured:
    """What readings say about the likely coefficients.

    Parameters
    ----------
    chip_factor, edge_factor : float
        Measured over likely, of the chip terms and of the edge terms; the same where only both together could be
        learned, 1 where nothing was [-].
    force_factor : float
        Measured over likely force as a whole, over all readings [-].
    band_factors : mapping
        Band to what multiplies the fitted coefficients of the modes that were measured [-].
    modes : tuple of str
        Grain modes the readings cover, of ``grain.MODES``; the others move along but keep the tables' band.
    residual : float
        Root mean square of what the fit leaves of a reading, as a share of it [-].
    n : int
        Readings [-].
    learned : bool
        Whether anything was.
    source : str
        "this shop, DATE".
    words : str
        The same in words, with what could not be told.
    what : {"power", "push-off"}
        Kind of reading.
    """

    chip_factor: float
    edge_factor: float
    force_factor: float
    band_factors: Mapping[Band, float]
    modes: tuple[str, ...]
    residual: float
    n: int
    learned: bool
    source: str
    words: str
    what: str = "power"

    def rows(
        self, cutter: Cutter, *, machine: str = "", station: str = "", material: str = "", note: str = ""
    ) -> tuple[LearnedRow, ...]:
        """What the shop learned, to be added to its table; nothing where nothing was.

        Parameters
        ----------
        cutter : Cutter
            At its present regrind.
        machine, station, material, note : str
            Where and in what, and what else to know.

        Returns
        -------
        tuple of LearnedRow
        """
        if not self.learned:
            return ()
        date = self.source.rpartition(" ")[2]
        where = (cutter.id, cutter.regrinds, machine, station, material)
        return (LearnedRow(date, self.what, *where, "force_factor", self.force_factor, note=note),)


def known(factor: Value) -> Measured:
    """What a factor kept from an earlier day says: it moves every band and narrows none.

    Parameters
    ----------
    factor : Value
        A "force_factor" of the shop's learned values [-].

    Returns
    -------
    Measured
        Of no readings.

    Example
    -------
    >>> m = known(Value(1.2, "", "this shop, 2026-03-02", "power", "measured", ""))
    >>> m.chip_factor, m.modes
    (1.2, ())
    """
    require_positive(force_factor=factor.value)
    f = float(factor.value)
    words = f"force {f:.2f} times the tables' likely one, as learned before"
    return Measured(f, f, f, dict.fromkeys(BANDS, 1.0), (), 0.0, 0, True, factor.source, words, factor.place or "power")


def fit_power(
    cutter: Cutter,
    material: Material,
    readings: Sequence[PowerReading],
    *,
    date: str,
    moisture: float | None = None,
    wear: float = 0.0,
    efficiency: float = 1.0,
) -> Measured:
    """Fit chip and edge terms to readings of spindle power.

    Parameters
    ----------
    cutter : Cutter
        That cut; its rake counts.
    material : Material
        That was cut.
    readings : sequence of PowerReading
        At least two; the more their feeds per tooth differ, the more they tell.
    date : str
        Of the readings, as 2026-03-02.
    moisture : float or None
        As in ``force.coefficients`` [ratio].
    wear : float
        As there; what the edge is taken for before the fit [-].
    efficiency : float
        Share of the power beyond idle that reaches the cutter [-]. At 1 the drive's losses count as force, which
        errs to the safe side for everything that can break.

    Returns
    -------
    Measured
        Of the likely coefficients.

    Raises
    ------
    InputError
        With every reading that cannot be, or when together they are far from what any wood asks.

    Notes
    -----
    Power beyond idle is mean torque times angular speed (definition), and mean torque is linear in the edge and the
    chip terms: non-negative least squares on power, which is what the meter shows. When the chip's part over the
    edge's part varies by less than half over the readings, they cannot be told apart and one common factor is fitted.
    Mean power knows nothing of the normal force: its ratios and their bands stay the tables'.

    The band is likely x exp(+-1.28 s), between which four fifths of cuts should lie. s is the scatter of the readings
    about the fit, pooled with the tables' own spread as if that were one reading more: few readings that happen to
    agree do not make a narrow band.
    """
    from scipy.optimize import nnls

    if len(readings) < 2:
        given = f"{len(readings)} reading" + ("s" if len(readings) != 1 else "")
        refuse(f"{given} of power cannot tell a factor from a slip", "take two or more, at feeds well apart")
    source = _source(date)
    require_positive(efficiency=efficiency)
    if efficiency > 1:
        refuse(f"an efficiency of {efficiency:g}", "give the share of the power that reaches the cutter, at most 1")
    raise_all(_power_slips(readings))
    bands = coefficients(material, rake=cutter.rake, moisture=moisture, wear=wear)
    parts = _each(cutter, bands, readings)
    turning = np.array([2 * math.pi * r.rpm / 60_000 for r in readings])  # W for each N mm
    edge, chip = (turning * p for p in np.array([p.torque for p in parts]).T)
    cut = np.array([(r.spindle_power - r.idle_power) * efficiency for r in readings])
    table = float((edge + chip) @ cut / ((edge + chip) @ (edge + chip)))
    _refuse_slip(table, "check that power is in watts, that idle is read at the same speed, and the settings as run")
    apart = float(np.max(chip / edge) / np.min(chip / edge))
    edge_factor = chip_factor = table
    both = apart >= _APART
    why = f"the chips of the readings are too much alike (their share varies {apart:.2f} times, {_APART:g} is needed)"
    if both:
        e, c = nnls(np.stack([edge, chip], axis=1), cut)[0]
        both = 0 < e < _SLIP * table and 0 < c < _SLIP * table
        why = "fitted apart, one of the two would vanish: the readings scatter too much"
        edge_factor, chip_factor = (float(e), float(c)) if both else (table, table)
    off = np.log(cut / (edge_factor * edge + chip_factor * chip))
    s = _spread(off, _table_spread(parts), 2 if both else 1)
    modes = _modes(material, parts)
    split = f"chip {chip_factor:.2f} and edge {edge_factor:.2f} times" if both else f"all {table:.2f} times"
    words = [f"{split} the tables' likely values"]
    if not both:
        words.append(f"chip and edge could not be told apart: {why}; cut at feeds further apart")
    elif len(readings) == 2:
        words.append("two readings for two factors leave nothing to check them by: take a third")
    words += _of_modes(modes)
    words.append("normal force is not seen in mean power and keeps the tables' ratios")
    words.append(_against_band(table, parts))
    factors = _band_factors(s)
    residual = float(np.sqrt(np.mean(np.expm1(off) ** 2)))
    return Measured(
        chip_factor, edge_factor, table, factors, modes, residual, len(readings), True, source, _joined(words)
    )


def fit_push_off(
    cutter: Cutter,
    material: Material,
    give: Give,
    readings: Sequence[PushOffReading],
    *,
    date: str,
    moisture: float | None = None,
    wear: float = 0.0,
) -> Measured:
    """Fit one factor on all forces to readings of push-off.

    Parameters
    ----------
    cutter : Cutter
        That cut, at its stick-out.
    material : Material
        That was cut.
    give : Give
        Springs in series with the cutter.
    readings : sequence of PushOffReading
        At least one.
    date : str
        As 2026-03-02.
    moisture, wear
        As in ``fit_power``.

    Returns
    -------
    Measured
        With ``learned`` false where a reading stands on the other side than the likely force says, or all of them are
        within what a caliper can tell.

    Raises
    ------
    InputError
        With every reading that cannot be, or when together they are far from what any wood asks.

    Notes
    -----
    Least squares of reading = factor x ``push_off.push_off``. Push-off is force times give, so the factor also holds
    whatever is wrong with the give: use it for walls cut with this cutter at this stick-out and station rather than
    for power. Band as in ``fit_power``.
    """
    if not readings:
        refuse("there is no reading of push-off", "give at least one")
    source = _source(date)
    raise_all(_push_off_slips(readings))
    bands = coefficients(material, rake=cutter.rake, moisture=moisture, wear=wear)
    parts = _each(cutter, bands, readings)
    seen = np.array([r.push_off for r in readings])
    likely = np.array([_pushed(p.load, give, r) for p, r in zip(parts, readings, strict=True)])

    def nothing(words: str) -> Measured:
        spread = dict.fromkeys(BANDS, 1.0)
        said = f"nothing was learned: {words}"
        return Measured(1.0, 1.0, 1.0, spread, (), math.nan, len(readings), False, source, said, "push-off")

    if np.all(np.abs(seen) <= _CALIPER):
        return nothing(f"every reading is within the {_CALIPER:g} mm a caliper can be off; cut deeper, or read finer")
    astray = np.flatnonzero((seen * likely < 0) & (np.abs(seen) > _CALIPER))
    if len(astray):
        told = ", ".join(f"{i + 1} ({seen[i]:+.3f} mm read, {likely[i]:+.3f} mm likely)" for i in astray)
        return nothing(
            f"the sign of reading {told} disagrees, which no factor mends: the ratio of normal to tangential force "
            "is another than the tables' likely one; check first which wall was measured"
        )
    factor = float(likely @ seen / (likely @ likely))
    _refuse_slip(factor, "check that push-off is in mm and for one wall, the stick-out, and the settings as run")
    off = (seen - factor * likely) / np.maximum(np.abs(factor * likely), _CALIPER)
    s = _spread(off, _table_spread(parts), 1)
    modes = _modes(material, parts)
    words = [f"all forces {factor:.2f} times the tables' likely values, as far as the give is right", *_of_modes(modes)]
    if len({r.direction for r in readings}) == 1:
        other = "conventional" if readings[0].direction == "climb" else "climb"
        words.append(f"read only on walls cut one way; {other} cuts are taken to follow")
    words.append(_against_band(factor, parts))
    residual = float(np.sqrt(np.mean(off**2)))
    return Measured(
        factor, factor, factor, _band_factors(s), modes, residual, len(readings), True, source, _joined(words),
        "push-off",
    )  # fmt: skip


def apply(coefficients: Mapping[Band, Coefficients], measured: Measured) -> dict[Band, Coefficients]:
    """Coefficients with what was measured in the place of what is remembered.

    Parameters
    ----------
    coefficients : mapping
        As ``force.coefficients`` gives them for the same wood, rake, moisture and wear.
    measured : Measured
        From ``fit_power``, ``fit_push_off`` or ``known``.

    Returns
    -------
    dict
        Band to Coefficients with the source of the readings; unchanged where nothing was learned.

    Notes
    -----
    Modes that were measured: likely x factor x band factor. The others: likely x factor x what the tables' band is to
    their likely value. Normal terms keep each band's own ratio to the tangential ones.
    """
    if not measured.learned:
        return dict(coefficients)
    likely = coefficients["likely"]
    covered = np.array([m in measured.modes for m in g.MODES])
    out: dict[Band, Coefficients] = {}
    for band, c in coefficients.items():
        f = measured.band_factors[band]
        edge = measured.edge_factor * np.where(covered, likely.edge * f, c.edge)
        chip = measured.chip_factor * np.where(covered, likely.chip * f, c.chip)
        normal = (c.normal_edge / c.edge * edge, c.normal_chip / c.chip * chip)
        out[band] = Coefficients(edge, chip, *normal, measured.source)
    return out


@dataclass(frozen=True)
class _Part:
    """What the tables say of one reading: edge and chip part of its torque [N mm], the whole by mode and by band."""

    load: Load
    torque: Floats
    modes: Floats
    whole: Mapping[Band, float]


def _each(
    cutter: Cutter, bands: Mapping[Band, Coefficients], readings: Sequence[PowerReading | PushOffReading]
) -> list[_Part]:
    """Each reading's loads; every one that cannot be is told with its place."""
    out, faults = [], []
    for i, r in enumerate(readings):
        try:
            loads = {b: Load(cutter, c, r.grain, r.width, r.level, r.direction) for b, c in bands.items()}
        except InputError as e:
            faults += [replace(f, field=f"readings[{i + 1}]") for f in e.faults]
            continue
        grows = np.array([1.0, r.feed_per_tooth])
        ones = [_only(bands["likely"], j) for j in range(len(g.MODES))]
        alone = [Load(cutter, c, r.grain, r.width, r.level, r.direction).mean_torque for c in ones]
        by_mode = np.array(alone) @ grows
        whole = {b: float(np.array(load.mean_torque) @ grows) for b, load in loads.items()}
        out.append(_Part(loads["likely"], np.array(loads["likely"].mean_torque) * grows, by_mode, whole))
    raise_all(faults)
    return out


def _only(c: Coefficients, mode: int) -> Coefficients:
    """Coefficients that ask for nothing but in one mode."""
    one = np.eye(len(g.MODES))[mode]
    return Coefficients(c.edge * one, c.chip * one, c.normal_edge * one, c.normal_chip * one)


def _pushed(load: Load, give: Give, r: PushOffReading) -> float:
    """Push-off at the height of a reading, or at the thickest place of the wall, where jaws lie."""
    if r.height is not None:
        return float(push_off(load, give, r.feed_per_tooth, r.height)[0])
    return float(np.max(push_off(load, give, r.feed_per_tooth, np.linspace(0, r.level, _PLACES))))


def _modes(material: Material, parts: Sequence[_Part]) -> tuple[str, ...]:
    if material.group == "sheet":  # the same in every direction
        return g.MODES
    share = np.sum([p.modes for p in parts], axis=0) / np.sum([p.modes for p in parts])
    return tuple(m for m, s in zip(g.MODES, share, strict=True) if s >= _SEEN)


def _of_modes(modes: tuple[str, ...]) -> list[str]:
    others = [m for m in g.MODES if m not in modes]
    return [f"{' and '.join(others)} was not cut: it moves along and keeps the tables' band"] if others else []


def _table_spread(parts: Sequence[_Part]) -> float:
    """Standard deviation that the tables' band of torque stands for."""
    return float(np.mean([math.log(p.whole["high"] / p.whole["low"]) / (2 * _TENTH) for p in parts]))


def _spread(off: Floats, table: float, fitted: int) -> float:
    """Scatter about a fit, pooled with the tables' spread as if that were one reading more."""
    return math.sqrt((table**2 + float(off @ off)) / (1 + max(len(off) - fitted, 0)))


def _band_factors(s: float) -> dict[Band, float]:
    return {"low": math.exp(-_TENTH * s), "likely": 1.0, "high": math.exp(_TENTH * s)}


def _against_band(factor: float, parts: Sequence[_Part]) -> str:
    """A word where the factor lies outside the tables' band."""
    low, high = (float(np.mean([p.whole[b] / p.whole["likely"] for p in parts])) for b in ("low", "high"))
    if low <= factor <= high:
        return ""
    return (
        f"that is outside the tables' band of {low:.2f} to {high:.2f}: check settings, meter and the edge's wear "
        "before trusting it"
    )


def _refuse_slip(factor: float, remedy: str) -> None:
    if not 1 / _SLIP < factor < _SLIP:
        refuse(f"the readings say {factor:.3g} times the tables' likely force, which no wood or edge explains", remedy)


def _joined(words: Sequence[str]) -> str:
    return "; ".join(w for w in words if w)


def _source(date: str) -> str:
    try:
        sound = len(date) == 10 and bool(datetime.date.fromisoformat(date))
    except ValueError:
        sound = False
    if not sound:
        refuse(f"'{date}' is not a date", "write year-month-day, e.g. 2026-03-02")
    return f"this shop, {date}"


def _not_positive(i: int, **values: float) -> list[Fault]:
    return [
        Fault(
            f"{name.replace('_', ' ')} of {v:g}, but it must be above zero", "correct it", field=f"readings[{i}].{name}"
        )
        for name, v in values.items()
        if not (math.isfinite(v) and v > 0)
    ]


def _power_slips(readings: Sequence[PowerReading]) -> list[Fault]:
    faults = []
    for i, r in enumerate(readings, start=1):
        faults += _not_positive(i, rpm=r.rpm, feed_per_tooth=r.feed_per_tooth, width=r.width, level=r.level)
        faults += _not_positive(i, spindle_power=r.spindle_power)
        if not (math.isfinite(r.idle_power) and r.idle_power >= 0):
            told = f"idle power of {r.idle_power:g} W, but it cannot be below zero"
            faults.append(Fault(told, "read it in the air at the same speed", field=f"readings[{i}].idle_power"))
        elif r.spindle_power <= r.idle_power:
            told = f"{r.spindle_power:g} W while cutting is not above the {r.idle_power:g} W of idling"
            remedy = "swap them if they stand the wrong way round, else cut deeper: the cut does not show on the meter"
            faults.append(Fault(told, remedy, field=f"readings[{i}].spindle_power"))
    return faults


def _push_off_slips(readings: Sequence[PushOffReading]) -> list[Fault]:
    faults = []
    for i, r in enumerate(readings, start=1):
        faults += _not_positive(i, feed_per_tooth=r.feed_per_tooth, width=r.width, level=r.level)
        if not math.isfinite(r.push_off):
            faults.append(Fault(f"push-off of {r.push_off:g} mm", "read it again", field=f"readings[{i}].push_off"))
        if r.height is not None and not 0 <= r.height <= r.level:
            told = f"a height of {r.height:g} mm is not on the wall of {r.level:g} mm"
            faults.append(Fault(told, "measure up from the floor of the cut", field=f"readings[{i}].height"))
    return faults
