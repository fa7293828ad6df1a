"""Give: how far cutter, holder, machine and work yield to a force, and how hard the cutter is bent.

The cutter is a stepped cantilever held at the collet; holder, machine and work are springs in series with it. Newtons
in, millimetres out: where the force comes from is no matter here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from shopcalc.cutters import Cutter
from shopcalc.cutting.engagement import Numbers, Result, effective_diameter, refuse, require_positive
from shopcalc.moves import Floats
from shopcalc.sources import practice

_CELLS = 48  # of each part of the beam; its error is below 1e-3 of the give (tests)


def cantilever(force: Numbers, length: Numbers, modulus: Numbers, diameter: Numbers) -> Result:
    """Deflection at the free end of a round bar clamped at the other.

    Parameters
    ----------
    force : float or (n,) float
        At the free end [N].
    length : float or (n,) float
        [mm].
    modulus : float or (n,) float
        Young's modulus [MPa].
    diameter : float or (n,) float
        [mm].

    Returns
    -------
    float or (n,) float
        [mm]. Beam theory: F L^3 / (3 E I), I = pi d^4 / 64.

    Example
    -------
    >>> round(cantilever(50, 30, 600e3, 6), 5)
    np.float64(0.01179)
    """
    require_positive(length=length, modulus=modulus, diameter=diameter)
    inertia = np.pi * np.asarray(diameter, dtype=float) ** 4 / 64
    return (np.asarray(force, dtype=float) * np.asarray(length) ** 3 / (3 * np.asarray(modulus) * inertia))[()]


def modulus(cutter: Cutter) -> float:
    """Young's modulus of the cutter's body: brazed and indexable cutters are steel whatever their edge.

    Parameters
    ----------
    cutter : Cutter
        Its body counts.

    Returns
    -------
    float
        [MPa]; both from memory.
    """
    return float(practice()[f"modulus.{cutter.body}"].value)


def body_diameter(cutter: Cutter, height: Numbers) -> Floats:
    """Diameter of the solid bar that bends like the cutter at a height above its tip.

    Parameters
    ----------
    cutter : Cutter
        Any shape.
    height : float or (n,) float
        Above the tip, up to the stick-out [mm].

    Returns
    -------
    (n,) float
        Four fifths of the cutting diameter along the flutes, the shank above them [mm]. Kops and Vo, CIRP Annals
        (1990), abstract: cutters of two and four flutes bend like bars of about 80 % of their diameter. Not less than
        a fifth of the whole diameter, so that pointed tips stay finite.
    """
    h = np.atleast_1d(np.asarray(height, dtype=float))
    share = float(practice()["flute_share"].value)
    inside = np.clip(h, 1e-6, cutter.cutting_length)
    flutes = np.maximum(share * np.asarray(effective_diameter(cutter, inside)), 0.2 * cutter.true_diameter)
    out: Floats = np.where(h <= cutter.cutting_length, flutes, cutter.shank)
    return out


def _beam(cutter: Cutter) -> tuple[Floats, Floats, Floats]:
    """Cells of the cantilever from the collet on: distance of the middle, length, bending stiffness EI."""
    plain = cutter.stick_out - cutter.cutting_length
    if plain < -1e-9:
        refuse(f"{cutter.id} sticks out {cutter.stick_out:g} mm, less than its flutes", "flutes are never clamped")
    ends = np.linspace(max(plain, 0.0), cutter.stick_out, _CELLS + 1)
    if plain > 1e-9:
        ends = np.concatenate([np.linspace(0.0, plain, _CELLS + 1)[:-1], ends])
    middle, length = (ends[1:] + ends[:-1]) / 2, np.diff(ends)
    stiffness = modulus(cutter) * np.pi * body_diameter(cutter, cutter.stick_out - middle) ** 4 / 64
    return middle, length, stiffness


def cutter_give(cutter: Cutter, loaded: Numbers, seen: Numbers) -> Floats:
    """How far the cutter's body moves sideways at one height for each newton at another.

    Parameters
    ----------
    cutter : Cutter
        Clamped at its stick-out; its own modulus, flutes at their effective diameter.
    loaded : float or (m,) float
        Heights above the tip where a newton acts [mm].
    seen : float or (k,) float
        Heights above the tip where the movement is wanted [mm].

    Returns
    -------
    (k, m) float
        [mm/N]; symmetric in its two heights (Maxwell). Beam theory: the integral of (x - u)(y - u) / EI over the bar
        from the collet to the nearer of the two places.

    Raises
    ------
    InputError
        When a height is not between the tip and the collet.
    """
    a, b = (np.atleast_1d(np.asarray(v, dtype=float)) for v in (loaded, seen))
    if not (np.all(a >= 0) and np.all(b >= 0) and max(a.max(), b.max()) <= cutter.stick_out + 1e-9):
        refuse(f"a height is not on the {cutter.stick_out:g} mm that {cutter.id} sticks out", "measure from the tip")
    middle, length, stiffness = _beam(cutter)
    arm_a = np.maximum(cutter.stick_out - a[:, None] - middle, 0.0)
    arm_b = np.maximum(cutter.stick_out - b[:, None] - middle, 0.0)
    out: Floats = np.einsum("kc,mc,c->km", arm_b, arm_a, length / stiffness)
    return out


@dataclass(frozen=True)
class Give:
    """Springs in series with the cutter.

    Parameters
    ----------
    holder : float
        Collet and spindle nose [N/mm].
    machine : float
        Frame and drives at this station [N/mm].
    work : float
        The part above its clamp [N/mm]; inf when it lies on the table.
    """

    holder: float
    machine: float
    work: float = math.inf

    def __post_init__(self) -> None:
        require_positive(holder_stiffness=self.holder, machine_stiffness=self.machine)
        if not self.work > 0:
            refuse(f"the work's stiffness of {self.work} N/mm is not above zero", "give a positive stiffness")

    @property
    def quick(self) -> float:
        """What follows every flute: the holder [mm/N]."""
        return 1 / self.holder

    @property
    def slow(self) -> float:
        """What is too heavy to follow single flutes and yields to the mean force: machine and work [mm/N]."""
        return 1 / self.machine + 1 / self.work


def work_stiffness(above: float, width: float, thickness: float) -> float:
    """Stiffness of a part that stands above its clamp, pushed across its thickness, its fibres upright.

    Parameters
    ----------
    above : float
        Height of the force above the clamp; 0 for a part that lies on the table [mm].
    width, thickness : float
        Of its section; it bends across the thickness [mm].

    Returns
    -------
    float
        [N/mm]; inf for no height. Beam theory with shear (Timoshenko): h^3 / (3 E I) + 1.2 h / (G A); the two moduli
        are those of a middling hardwood, from memory.

    Example
    -------
    >>> 10_000 < work_stiffness(75, 254, 44.45) < 100_000
    True
    """
    require_positive(width=width, thickness=thickness)
    if not (math.isfinite(above) and above >= 0):
        refuse(f"a height of {above:g} mm above the clamp cannot be used", "give zero or a positive length")
    if above == 0:
        return math.inf
    bending = above**3 / (3 * practice()["modulus.wood"].value * width * thickness**3 / 12)
    shear = 1.2 * above / (practice()["shear_modulus.wood"].value * width * thickness)
    return float(1 / (bending + shear))


def bending_stress(cutter: Cutter, force: Numbers, height: Numbers) -> Result:
    """Greatest bending stress in the cutter: at the collet, or at the upper end of its flutes.

    Parameters
    ----------
    cutter : Cutter
        Flutes at their effective diameter.
    force : float or (n,) float
        Sideways [N].
    height : float or (n,) float
        Above the tip, where the force acts [mm].

    Returns
    -------
    float or (n,) float
        [MPa]. Beam theory: 32 M / (pi d^3); no notch is counted, the strength it is held against is low for that.
        Along flutes of changing width every section is looked at.
    """
    straight = cutter.shape not in ("ball", "tapered ball", "core-box", "V")
    shares = np.array([1.0]) if straight else np.linspace(0.14, 1.0, 150) ** 2  # closer at the tip
    sections = np.append(shares * cutter.cutting_length, cutter.stick_out)
    diameters = body_diameter(cutter, sections)
    diameters[-1] = cutter.shank if cutter.stick_out > cutter.cutting_length + 1e-9 else diameters[-2]
    arms = np.maximum(sections - np.asarray(height, dtype=float)[..., None], 0.0)
    worst = np.max(32 * arms / (np.pi * diameters**3), axis=-1)
    return (np.abs(np.asarray(force, dtype=float)) * worst)[()]


def strength(cutter: Cutter) -> float:
    """Bending stress the body may see turn after turn.

    Parameters
    ----------
    cutter : Cutter
        Its body counts.

    Returns
    -------
    float
        [MPa]; from memory and low, since flutes are notches and brazed seams are weak.
    """
    return float(practice()[f"strength.{cutter.body}"].value)
