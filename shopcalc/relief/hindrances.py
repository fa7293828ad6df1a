"""Where the wood hinders a scheme: what its cutters and their holders run into."""

from __future__ import annotations

from dataclasses import dataclass

from shopcalc.cutters import Cutter
from shopcalc.relief.heights import HeightMap
from shopcalc.relief.maps import LOOK, Role, coarser
from shopcalc.relief.reach import Obstacle, shank_room
from shopcalc.relief.scheme import Scheme
from shopcalc.relief.standing_wood import tips_for_roughing


@dataclass(frozen=True)
class Hindrance:
    """A cutter of a scheme that cannot do its part, and why.

    Parameters
    ----------
    role : {"rough", "finish", "clean up"}
        Its part.
    cutter : Cutter
        Which.
    obstacle : Obstacle
        What stands in its way.
    """

    role: Role
    cutter: Cutter
    obstacle: Obstacle

    def __str__(self) -> str:
        return f"cannot be cut with {self.cutter.id}: {self.obstacle}"


def obstacles(surface: HeightMap, scheme: Scheme) -> tuple[Hindrance, ...]:
    """Why a scheme cannot be run at all: flutes, shank or collet that come in the way.

    Parameters
    ----------
    surface : HeightMap
        What shall be carved.
    scheme : Scheme
        How.

    Returns
    -------
    tuple of Hindrance
        Empty when every cutter reaches the bottom of its part. Geometry (``reach.shank_room``) on a map of some
        60 000 squares; flutes may be shorter than the relief is deep once another cutter took the wood above.
    """
    small, out, cleared = coarser(surface, LOOK), list[Hindrance](), False
    for s in scheme.steps:
        tips = small.with_(tips_for_roughing(small, s.cutter, s.skim, scheme.outside)) if s.role == "rough" else None
        room = shank_room(small, s.cutter, tips)
        out += [Hindrance(s.role, s.cutter, o) for o in room.obstacles(cleared=cleared or s.role == "rough")]
        cleared = True
    return tuple(out)
