"""Machine time: Moves and a Machine in, seconds out. The one engine behind planned and programmed times.

The plan is the classic one of a control that looks ahead: every move has a greatest speed and an acceleration along
its path, every junction between moves a greatest speed, and the squared junction speeds are the largest that satisfy

    v[i]^2 <= cap[i]^2,   v[i+1]^2 <= v[i]^2 + 2 a L,   v[i]^2 <= v[i+1]^2 + 2 a L.

Each move is then a trapezoid (or triangle) of speed over time. ``machine_time`` takes a whole run of moves,
``Timing`` takes it piece by piece.
"""

from shopcalc.motion.corners import corner_speed_squared
from shopcalc.motion.planning import machine_time
from shopcalc.motion.results import CAUSES, HELD_BACK, DepthBand, MotionTime, Place, Totals
from shopcalc.motion.streaming import Timing

__all__ = [
    "CAUSES",
    "HELD_BACK",
    "DepthBand",
    "MotionTime",
    "Place",
    "Timing",
    "Totals",
    "corner_speed_squared",
    "machine_time",
]
