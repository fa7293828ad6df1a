"""How wood moves with its moisture: by change coefficients, beyond them by shrinkage, by the way its rings run.

A *ring angle* is that between the growth rings and the face of a board, seen at its end: 0 is flat-sawn (the width runs
along the rings), a right angle is quarter-sawn (the width runs across them).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from shopcalc.errors import Fault, InputError, did_you_mean
from shopcalc.materials import Material, change_coefficient
from shopcalc.moves import Floats
from shopcalc.sources import KINDS, Value

#: Moistures for which the change coefficients hold [% moisture].
COEFFICIENTS_HOLD = (6.0, 14.0)
#: Above this wood does not move: its cell walls are full (the handbook's round figure) [% moisture].
FIBRE_SATURATION = 30.0
#: Ring angle of each way of sawing, from and to [rad]; the range of rift is common practice, no source.
RINGS: dict[str, tuple[float, float]] = {
    "flat-sawn": (0.0, 0.0),
    "rift-sawn": (math.pi / 6, math.pi / 3),
    "quarter-sawn": (math.pi / 2, math.pi / 2),
    "unknown": (0.0, math.pi / 2),
}
_SURENESS = ("measured", "published", "maker", "second-hand", "derived", "practice", "memory", "invented")
_IMPORTED = ("WH-190", "Table 4-4")


class Strip(NamedTuple):
    """One strip of a glued-up panel.

    Width [mm], and how its rings run: a word of ``RINGS``, or the ring angle itself [rad].
    """

    width: float
    rings: str | float = "unknown"


Rings = str | float | Sequence[Strip]


class Band(NamedTuple):
    """Least, likely and greatest size of one thing; all of one sign."""

    least: float
    likely: float
    most: float


def ring_angles(rings: str | float) -> tuple[float, float]:
    """Ring angle from and to, from a word or the angle itself.

    Parameters
    ----------
    rings : str or float
        Of ``RINGS``, or an angle [rad].

    Returns
    -------
    (float, float)
        [rad].

    Raises
    ------
    InputError
        When the word is not known, or the angle beyond a right angle.

    Example
    -------
    >>> ring_angles("flat-sawn")
    (0.0, 0.0)
    """
    if isinstance(rings, str):
        if rings not in RINGS:
            raise InputError(Fault(f"rings '{rings}' are not known", did_you_mean(rings, RINGS)))
        return RINGS[rings]
    if not 0 <= rings <= math.pi / 2:
        raise InputError(Fault(f"a ring angle of {rings} rad", "give 0 (flat-sawn) to pi/2 (quarter-sawn)"))
    return float(rings), float(rings)


@dataclass(frozen=True)
class Movement:
    """What is known of how a wood moves.

    Parameters
    ----------
    title : str
        What people call the wood.
    change_radial, change_tangential : float
        Change of size per percent of moisture, for 6 to 14 % [1/% moisture].
    shrink_radial, shrink_tangential : float or None
        From green to ovendry, for moistures beyond [ratio]; None is unknown.
    kind : str
        The least sure of the kinds of the values, as in ``sources.KINDS``.
    note : str
        What else to know of them.
    """

    title: str
    change_radial: float
    change_tangential: float
    shrink_radial: float | None = None
    shrink_tangential: float | None = None
    kind: str = ""
    note: str = ""

    def strain(self, moisture_from: float | Floats, moisture_to: float | Floats, angle: float | Floats) -> Floats:
        """Change of size over the size at the first moisture, positive is growth.

        Parameters
        ----------
        moisture_from, moisture_to : float or (n,) float
            0 to 30 [% moisture].
        angle : float or (n,) float
            Ring angle [rad].

        Returns
        -------
        float or (n,) float
            [ratio]. Between the pure directions the strain turns like any strain in a plane: the tangential one by
            the squared cosine and the radial one by the squared sine of the ring angle (geometry).

        Raises
        ------
        InputError
            As ``relative_change``.
        """
        ways = ((self.change_tangential, self.shrink_tangential), (self.change_radial, self.shrink_radial))
        tangential, radial = (relative_change(moisture_from, moisture_to, c, s) for c, s in ways)
        share = np.cos(np.asarray(angle, dtype=float)) ** 2
        out: Floats = tangential * share + radial * (1.0 - share)
        return out


def relative_change(
    moisture_from: float | Floats, moisture_to: float | Floats, coefficient: float, shrinkage: float | None = None
) -> Floats:
    """Change of size over the size at the first moisture, across the grain.

    Parameters
    ----------
    moisture_from, moisture_to : float or (n,) float
        0 to 30 [% moisture].
    coefficient : float
        Change per percent of moisture, which holds for 6 to 14 % [1/% moisture].
    shrinkage : float, optional
        From green to ovendry, for what lies outside [ratio].

    Returns
    -------
    float or (n,) float
        [ratio]: by the coefficient between 6 and 14 %, by the shrinkage below and above, in stages, so that it has no
        step at either end.

    Raises
    ------
    InputError
        When a moisture is below 0, above 30 %, or outside 6 to 14 % without a shrinkage.

    References
    ----------
    Forest Products Laboratory, Wood Handbook, FPL-GTR-190 (2010), Eq. 13-2 and 13-3; the form of the second is derived
    from shrinkage in a straight line below 30 % (FPL-GTR-282, Eq. 4-9).

    Example
    -------
    >>> round(232 * float(relative_change(8, 11, 0.00245)), 1)
    1.7
    """
    first, last = np.asarray(moisture_from, dtype=float), np.asarray(moisture_to, dtype=float)
    ends = np.concatenate([np.ravel(first), np.ravel(last)])
    if not np.all((ends >= 0) & (ends <= FIBRE_SATURATION)):
        message = f"moistures {moisture_from} and {moisture_to} % do not both lie within 0 to {FIBRE_SATURATION:g} %"
        raise InputError(Fault(message, "let the wood dry first, or read the meter again"))
    low, high = COEFFICIENTS_HOLD
    if shrinkage is None and not np.all((ends >= low) & (ends <= high)):
        message = f"moistures {moisture_from} and {moisture_to} % do not both lie within {low:g} to {high:g} %"
        raise InputError(Fault(message, "the coefficient holds only there, and this wood's whole shrinkage is unknown"))
    a, b = np.clip(first, low, high), np.clip(last, low, high)
    inside = 1.0 + coefficient * (b - a)
    if shrinkage is None:
        return np.asarray(inside - 1.0)
    out: Floats = (1.0 + _beyond(first, a, shrinkage)) * inside * (1.0 + _beyond(b, last, shrinkage)) - 1.0
    return out


def _beyond(first: Floats, last: Floats, shrinkage: float) -> Floats:
    """Eq. 13-3: straight shrinkage from 30 % down, over the size at the first moisture."""
    out: Floats = (last - first) / (FIBRE_SATURATION / shrinkage - FIBRE_SATURATION + first)
    return out


def movement_of(material: Material) -> Movement:
    """How a material moves, or a refusal where nothing is known.

    Parameters
    ----------
    material : Material
        With its values.

    Returns
    -------
    Movement
        Coefficients as tabulated; where only the shrinkage of a single species is known, computed from it and marked.

    Raises
    ------
    InputError
        When neither is known, for sheets, and for woods whose group's coefficients do not follow from shrinkage.

    References
    ----------
    ``materials.change_coefficient``: it fails for the oaks and true hickories.
    """
    unknown = f"it is not known how {material.title} moves with its moisture"
    if material.group == "sheet":
        raise InputError(Fault(unknown, "ask the maker of the sheet; solid wood's figures do not hold for it"))
    numbers, used, notes = {}, list[Value](), list[str]()
    for way in ("radial", "tangential"):
        change, shrinkage = (material.values.get(f"{what}_{way}") for what in ("change", "shrink"))
        if change is None and shrinkage is None:
            raise InputError(Fault(unknown, "enter its change coefficients in the shop's material_values.csv"))
        if change is None and _of_group(material):
            remedy = "enter the coefficients of its group: they do not follow from shrinkage"
            raise InputError(Fault(unknown, remedy))
        numbers[f"change_{way}"] = change.value if change else float(change_coefficient(shrinkage.value))  # type: ignore[union-attr]
        numbers[f"shrink_{way}"] = shrinkage.value if shrinkage else None  # type: ignore[assignment]
        used += [v for v in (change, shrinkage) if v is not None]
        if change is None and shrinkage is not None:
            used.append(Value(0.0, "", "", "", "derived"))
            notes.append("computed from its shrinkage")
            if shrinkage.kind == "memory" or (shrinkage.source, shrinkage.place[:9]) == _IMPORTED:
                notes.append("woods from overseas often differ from that")
        notes += [v.note for v in (change, shrinkage) if v is not None and v.note]
    kind = max((v.kind for v in used), key=_SURENESS.index)
    return Movement(material.title, **numbers, kind=kind, note="; ".join(dict.fromkeys(notes)))


def _of_group(material: Material) -> bool:
    """Oaks and true hickories, whose commercial groups have coefficients of their own."""
    names = f"{material.id} {material.title} {material.full_name}".lower().replace(",", " ").replace("-", " ").split()
    return "oak" in names or ("hickory" in names and "pecan" not in names)


def across(movement: Movement, moisture_from: float, moisture_to: float, rings: Rings = "unknown") -> Band:
    """Change across the width of a board or a glued-up panel, over its width at the first moisture.

    Parameters
    ----------
    movement : Movement
        Of its wood.
    moisture_from, moisture_to : float
        0 to 30 [% moisture].
    rings : str, float or sequence of Strip
        A word of ``RINGS``, a ring angle [rad], or the strips it is glued up from, each with its own.

    Returns
    -------
    Band
        [ratio]; growth is positive. ``most`` is the one that moves farthest; strips add by their widths.

    Raises
    ------
    InputError
        As ``relative_change`` and ``ring_angles``.

    Example
    -------
    >>> maple = Movement("hard maple", 0.00165, 0.00353)
    >>> round(12 * across(maple, 8, 11, "flat-sawn").most, 3)
    0.127
    """
    strips = [Strip(1.0, rings)] if isinstance(rings, (str, float, int)) else list(rings)
    if not strips or not all(math.isfinite(s.width) and s.width > 0 for s in strips):
        raise InputError(Fault("a strip of the panel has no width", "give every strip's width, above zero"))
    angles = np.array([ring_angles(s.rings) for s in strips])
    flat, steep = angles.T
    weights = np.array([s.width for s in strips])
    means = [
        float(np.average(movement.strain(moisture_from, moisture_to, a), weights=weights))
        for a in (steep, (flat + steep) / 2, flat)
    ]
    return Band(*means)


def strip_step(thickness: float, movement: Movement, moisture_from: float, moisture_to: float) -> float:
    """Step that comes up at the glue line between a flat-sawn and a quarter-sawn strip planed level.

    Parameters
    ----------
    thickness : float
        Of the panel [mm].
    movement : Movement
        Of its wood.
    moisture_from, moisture_to : float
        When it was planed, and now [% moisture].

    Returns
    -------
    float
        Both faces together [mm]: the one thickens across its rings, the other along them (geometry).
    """
    flat, quarter = movement.strain(moisture_from, moisture_to, np.array([0.0, math.pi / 2]))
    return thickness * abs(float(flat - quarter))


def standing(kind: str) -> str:
    """How sure a figure is, in words.

    Parameters
    ----------
    kind : str
        Of ``sources.KINDS``.
    """
    return KINDS.get(kind, kind)
