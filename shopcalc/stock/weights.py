"""What parts, pieces, boards and sheets weigh, and what one person should not lift alone."""

from __future__ import annotations

from dataclasses import dataclass

from shopcalc.materials import Material

#: Load constant of the revised lifting equation [kg].
LOAD_CONSTANT = 23.0
_MEASURED_AT = 0.12  # moisture that densities are given for


@dataclass(frozen=True)
class Load:
    """Something that is lifted.

    Parameters
    ----------
    what : str
        For people.
    kind : {"part", "blank", "stock", "piece"}
        A finished part, a rough blank, a board or sheet as bought, or the whole finished piece.
    count : int
        Of them [-].
    each : float or None
        [kg]; None where a density is not known.
    """

    what: str
    kind: str
    count: int
    each: float | None

    @property
    def alone(self) -> bool | None:
        """Whether it is within the load constant; None where its weight is not known."""
        return None if self.each is None else self.each <= LOAD_CONSTANT


def density(material: Material, moisture: float = 0.12) -> float | None:
    """Density of a material at the shop's moisture.

    Parameters
    ----------
    material : Material
        Solid or sheet.
    moisture : float
        Mass of water over ovendry mass [ratio].

    Returns
    -------
    float or None
        [kg/m3]; None where it is not known.

    Notes
    -----
    The water is exchanged, the wood's swelling left out: from 12 to 6 % it shrinks by some 2 % of its volume. Sheets
    keep their figure.

    Example
    -------
    >>> from shopcalc.materials import read_materials
    >>> round(density(read_materials()["white-oak"], 0.0))
    680
    """
    if material.density is None or material.group == "sheet":
        return material.density
    return material.density * (1 + moisture) / (1 + _MEASURED_AT)


def weight(material: Material, length: float, width: float, thickness: float, moisture: float = 0.12) -> float | None:
    """Weight of a block.

    Parameters
    ----------
    material : Material
        Of what.
    length, width, thickness : float
        [mm]
    moisture : float
        As in ``density`` [ratio].

    Returns
    -------
    float or None
        [kg]; None where the density is not known.
    """
    rho = density(material, moisture)
    return None if rho is None else rho * length * width * thickness * 1e-9


def lifting_caution(loads: tuple[Load, ...], system: str) -> str:
    """What to say of the heaviest load; empty when one person may lift it.

    Parameters
    ----------
    loads : tuple of Load
        All that are lifted.
    system : {"inch", "metric"}
        For people.

    References
    ----------
    T. Waters, V. Putz-Anderson, A. Garg, Applications Manual for the Revised NIOSH Lifting Equation, DHHS (NIOSH)
    Publication 94-110, 1994: load constant 23 kg (51 lb), under the best conditions of reach, height and pace. From
    memory.
    """
    heavy = [x for x in loads if x.each is not None and x.each > LOAD_CONSTANT]
    if not heavy:
        return ""
    worst = max(heavy, key=lambda x: x.each or 0.0)
    return (
        f"{worst.what} weighs about {_mass(worst.each or 0.0, system)}: above {_mass(LOAD_CONSTANT, system)}, which "
        "the revised NIOSH lifting equation takes as the most for one person under the best conditions (from memory); "
        "a long reach, a twist or a low start lower it. Lift with two, or with a cart or hoist"
        + (f"; so with {len(heavy) - 1} more kinds of load" if len(heavy) > 1 else "")
    )


def _mass(kilograms: float, system: str) -> str:
    pounds = f"{kilograms / 0.45359237:.0f} lb"
    return f"{kilograms:.0f} kg" if system == "metric" else f"{pounds} ({kilograms:.0f} kg)"
