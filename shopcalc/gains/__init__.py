"""Where the minutes are: what could be saved in a program, each change really made and timed again."""

from __future__ import annotations

from shopcalc.gains.findings import Findings, Saving, Tried, examine
from shopcalc.gains.fitting import Fitted, fit
from shopcalc.gains.heights import lower_clearance, rapid_in_air
from shopcalc.gains.levels import drop_levels
from shopcalc.gains.ordering import reorder

__all__ = [
    "Findings",
    "Fitted",
    "Saving",
    "Tried",
    "drop_levels",
    "examine",
    "fit",
    "lower_clearance",
    "rapid_in_air",
    "reorder",
]
