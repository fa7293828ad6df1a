"""What a control remembers from block to block."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from shopcalc.moves import Floats

FARTHEST = 1e7  # mm; no machine goes there


@dataclass
class Drilling:
    """Sticky values of a drilling cycle; levels are kept where they are, whatever G90 or G91 says later.

    Parameters
    ----------
    r, z : float or None
        Retract level and depth [mm].
    peck : float
        [mm].
    dwell : float
        [s].
    old_z : float
        Height just before the first of a row of cycles [mm].
    """

    r: float | None = None
    z: float | None = None
    peck: float = 0.0
    dwell: float = 0.0
    old_z: float = 0.0


@dataclass
class Modal:
    """State of a control, as it is when a program begins (NISTIR 6556, section 3.5 and M2: G1, G17, G90, G94).

    Parameters
    ----------
    at : (3,) float
        Position of the cutter's tip [mm].
    offset : (3,) float
        Where the program's zero lies: the work zero in use, moved by G92 [mm].
    extra : mapping
        Position of each further axis that the machine has and the program has named [mm or deg].
    scale : float
        Millimetres per unit of length of the program.
    units_said, motion_said : bool
        Whether the program (or the machine) has named its unit, and a motion.
    motion : int
        G0 to G3, or a cycle; 80 after a cycle was ended.
    plane : int
        0 = XY, 1 = ZX, 2 = YZ.
    absolute, arc_absolute : bool
        G90, G90.1.
    feed_mode : int
        93 inverse time, 94 per minute, 95 per revolution.
    feed : float
        In mm/min, or mm per revolution under G95; nan when unknown.
    speed : float
        Spindle speed named last [rev/min].
    spindle : int
        0 stands, else 3 or 4.
    started_at : float
        Speed at which it was started last: a start at another one takes its time, an S alone none [rev/min].
    cutter, next_cutter : int
        In the spindle, and named by the last T.
    exact : bool
        Whether each move ends in a stop.
    compensated : bool
        Whether the control moves the path sideways by the cutter's radius.
    return_to_old : bool
        G98.
    drilling : Drilling
        See there.
    """

    at: Floats
    offset: Floats = field(default_factory=lambda: np.zeros(3))
    extra: dict[str, float] = field(default_factory=dict)
    scale: float = 1.0
    units_said: bool = False
    motion_said: bool = False
    motion: int = 1
    plane: int = 0
    absolute: bool = True
    arc_absolute: bool = False
    feed_mode: int = 94
    feed: float = math.nan
    speed: float = 0.0
    spindle: int = 0
    started_at: float = 0.0
    cutter: int = 0
    next_cutter: int = 0
    exact: bool = False
    compensated: bool = False
    return_to_old: bool = True
    drilling: Drilling = field(default_factory=Drilling)

    @property
    def rpm(self) -> float:
        """Speed the spindle turns at [rev/min]."""
        return self.speed if self.spindle else 0.0
