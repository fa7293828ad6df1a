"""The piece of scrap test cuts are made in, and what every test program must keep to.

Cuts are drawn in lanes: u runs along the cuts, v from lane to lane. Laid flat, u is x (with the grain) and v is y; on
the end of a standing rail u is y (its thickness) and v runs against x (its width), which keeps right and left.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple, get_args

import numpy as np

from shopcalc.cutters import Cutter
from shopcalc.cutting.engagement import refuse, require_at_most, require_positive
from shopcalc.cutting.limits import cutter_rpm
from shopcalc.gcode import read_text
from shopcalc.moves import Kind, Moves, Stop
from shopcalc.paths import Cutting, Tracer, turned

TestStation = Literal["flat", "end"]

MARGIN = 6.0  # mm of wood outside the outermost lane
WEB = 8.0  # mm of wood between lanes that have nothing to do with each other
_FLOOR = 3.0  # mm of wood that stays below the cuts of a board
_HELD = 50.0  # mm of a standing rail that stay below the cuts for the clamp
_SHORTEST_RUN = {"flat": 40.0, "end": 12.0}  # mm; what a caliper's jaws and a steady cut need
SAME = 1e-6
_ROUNDED = 1e-3  # mm by which text may differ from what was drawn


class Scrap(NamedTuple):
    """Length (with the grain), width and thickness of a piece of scrap [mm]."""

    length: float
    width: float
    thickness: float


@dataclass(frozen=True)
class Ground:
    """The face of the scrap that is cut.

    Parameters
    ----------
    station : {"flat", "end"}
        Board laid flat, or rail stood on end.
    along, across : float
        Of the face, with the cuts and from lane to lane [mm].
    below : float
        Greatest depth [mm].
    """

    station: TestStation
    along: float
    across: float
    below: float

    def placed(self, moves: Moves) -> Moves:
        """Moves drawn in u and v, in machine axes.

        Parameters
        ----------
        moves : Moves
            In u, v, z.
        """
        return moves if self.station == "flat" else turned(moves, math.pi / 2).shifted((self.across, 0.0, 0.0))

    @property
    def lane_axis(self) -> int:
        """Machine axis from lane to lane."""
        return 1 if self.station == "flat" else 0


def face_of(station: str, scrap: Sequence[float], depth: float) -> Ground:
    """The face that is cut, once it is known to be long enough and the scrap thick enough.

    Parameters
    ----------
    station : {"flat", "end"}
        How it is held.
    scrap : (3,) float
        Length, width and thickness [mm].
    depth : float
        Of the deepest cut [mm].

    Raises
    ------
    InputError
        When the station has no room for test cuts, or the scrap is too thin or too short.
    """
    if station not in get_args(TestStation):
        refuse(f"station '{station}' has no room for test cuts", "lay a board flat, or stand a rail on end")
    if len(scrap) != 3:
        refuse(f"the scrap has {len(scrap)} sizes", "give length, width and thickness")
    s = Scrap(*scrap)
    require_positive(scrap_length=s.length, scrap_width=s.width, scrap_thickness=s.thickness, depth=depth)
    if station == "flat":
        ground = Ground("flat", s.length, s.width, s.thickness - _FLOOR)
        kept = f"the scrap's thickness less a floor of {_FLOOR:g} mm"
    else:
        ground = Ground("end", s.thickness, s.width, s.length - _HELD)
        kept = f"the rail's length less {_HELD:g} mm for the clamp"
    require_at_most("depth", depth, kept, ground.below, "cut less deep or take a larger scrap")
    least = _SHORTEST_RUN[station]
    if ground.along < least:
        name = "length" if station == "flat" else "thickness"
        refuse(f"the scrap's {name} of {ground.along:g} mm is too short a cut", f"take one of {least:g} mm or more")
    return ground


def require_room(ground: Ground, needed: float, otherwise: str) -> None:
    """Refuse a scrap that is too narrow for the lanes.

    Parameters
    ----------
    ground : Ground
        Face that is cut.
    needed : float
        From edge to edge [mm].
    otherwise : str
        What to do besides taking a wider one.

    Raises
    ------
    InputError
        With the width that is needed.
    """
    if needed > ground.across + SAME:
        message = f"the scrap is {ground.across:g} mm wide, but the cuts need {needed:.1f} mm"
        refuse(message, f"take one of at least {math.ceil(needed)} mm, or {otherwise}")


def require_speed(cutter: Cutter, rpm: float) -> None:
    """Refuse to turn a cutter faster than is known to be safe.

    Parameters
    ----------
    cutter : Cutter
        Its mark and the maker's figure count.
    rpm : float
        [rev/min].

    Raises
    ------
    InputError
        When its greatest speed is passed, or not known.
    """
    greatest, source, remedy = cutter_rpm(cutter)
    if cutter.marked_rpm is None and cutter.maker_rpm is None:
        refuse(f"the greatest speed of {cutter.id} is not known", remedy)
    if rpm > greatest:
        refuse(f"{rpm:g} rev/min is above the {greatest:g} rev/min of {cutter.id} ({source})", remedy)


def stroke(tracer: Tracer, ground: Ground, v: float, depth: float, forward: bool) -> None:
    """Draw one line from beside the wood to beside the wood.

    Parameters
    ----------
    tracer : Tracer
        Draws it.
    ground : Ground
        Face that is cut.
    v : float
        Of the cutter's centre [mm].
    depth : float
        [mm].
    forward : bool
        Whether it goes towards +u.
    """
    lead = tracer.cutting.radius + tracer.cutting.lead
    a, b = (-lead, v), (ground.along + lead, v)
    tracer.strokes([(a, b) if forward else (b, a)], -depth)


def checked(text: str, ground: Ground, cutting: Cutting, depth: float, stops: int) -> str:
    """The text, once our own reader has found it inside the scrap and standing where it should.

    Parameters
    ----------
    text : str
        A program of test cuts.
    ground : Ground
        Face that is cut.
    cutting : Cutting
        Cutter, lead and safe height.
    depth : float
        Of the deepest cut [mm].
    stops : int
        How many program stops there must be, each with the spindle off [-].

    Raises
    ------
    InputError
        When it is otherwise: then it must not be run.
    """
    m = read_text(text, "test cut").moves
    high, low = np.maximum(m.points[:-1], m.points[1:]), np.minimum(m.points[:-1], m.points[1:])
    v0, v1 = low[:, ground.lane_axis], high[:, ground.lane_axis]
    u0, u1 = low[:, 1 - ground.lane_axis], high[:, 1 - ground.lane_axis]
    inside, lead = cutting.radius + MARGIN - _ROUNDED, cutting.radius + cutting.lead + _ROUNDED
    in_wood = low[:, 2] < -SAME
    sideways = np.abs(np.diff(m.points[:, :2], axis=0)).max(axis=1) > SAME
    wrong = {
        "leaves the scrap sideways": in_wood & ((v0 < inside) | (v1 > ground.across - inside)),
        "runs too far past the scrap": in_wood & ((u0 < -lead) | (u1 > ground.along + lead)),
        "cuts too deep": low[:, 2] < -depth - _ROUNDED,
        "crosses the scrap too low": (m.kind == Kind.RAPID) & sideways & (low[:, 2] < cutting.safe_height - _ROUNDED),
    }
    found = [words for words, where in wrong.items() if where.any()]
    stood = np.flatnonzero((m.kind == Kind.STOP) & (m.value == Stop.PROGRAM_STOP))
    if len(stood) != stops or not all(i and m.value[i - 1] == Stop.SPINDLE_STOP for i in stood):
        found.append("does not stop where it should")
    if found:
        refuse(f"the program as written {', '.join(found)}", "do not run it; tell who looks after this software")
    return text
