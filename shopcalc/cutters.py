"""Cutters: what a router cutter is, read from the shop's table with its geometry checked."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Shape = Literal["square end", "ball", "tapered ball", "core-box", "V", "surfacing", "compression", "drill"]
Body = Literal["carbide", "steel"]
Edge = Literal["carbide", "steel", "diamond"]
CutDirection = Literal["up", "down", "straight", "compression"]


@dataclass(frozen=True)
class Cutter:
    """One cutter of the rack.

    Parameters
    ----------
    id, title : str
        Key in the table, and what people call it.
    shape : str
        One of ``SHAPES``.
    diameter : float
        Largest cutting diameter [mm].
    shank : float
        Diameter held in the collet [mm].
    flutes : int
        Cutting edges that share the feed [-].
    cutting_length, overall_length : float
        Length of the flutes, and of the whole cutter [mm].
    stick_out : float
        From the collet's face to the tip [mm].
    helix : float
        Helix angle of the flutes, 0 for straight ones [rad].
    tip_diameter : float
        V and tapered ball only: the flat of the V, or twice the ball's radius [mm]; 0 on the others.
    included_angle : float
        V and tapered ball only: the whole angle at the tip, twice the half angle [rad]; 0 on the others.
    body, edge : str
        What the body and the cutting edge are made of.
    cut_direction : {"up", "down", "straight", "compression"}
        Where the helix moves the chip.
    up_shear_length : float
        Compression only: length of the up-cut flutes at the tip [mm]; 0 on the others.
    centre_cutting : bool
        Whether it may go straight down into the wood.
    marked_rpm : float or None
        Greatest speed marked on the cutter [rev/min]; None when there is no mark.
    maker_rpm : float or None
        Greatest speed of the maker's data sheet, entered by the shop [rev/min].
    measured_diameter : float or None
        What a test cut measured [mm]; None when never measured since the last regrind.
    regrinds : int
        How often it was ground again [-].
    number : int or None
        Place in the rack, which is the number programs call.
    source, kind, note : str
        Where the figures come from, how sure they are, and what else the operator should know.
    """

    id: str
    title: str
    shape: Shape
    diameter: float
    shank: float
    flutes: int
    cutting_length: float
    overall_length: float
    stick_out: float
    helix: float = 0.0
    tip_diameter: float = 0.0
    included_angle: float = 0.0
    body: Body = "carbide"
    edge: Edge = "carbide"
    cut_direction: CutDirection = "up"
    up_shear_length: float = 0.0
    centre_cutting: bool = True
    marked_rpm: float | None = None
    maker_rpm: float | None = None
    measured_diameter: float | None = None
    regrinds: int = 0
    number: int | None = None
    source: str = ""
    kind: str = ""
    note: str = ""

    @property
    def true_diameter(self) -> float:
        """The measured diameter where there is one, else the nominal [mm]."""
        return self.diameter if self.measured_diameter is None else self.measured_diameter
