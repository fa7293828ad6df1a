"""Test cuts in scrap: the three-cut fit test, and a ladder of settings from gentle to hard."""

from shopcalc.cutting.testcuts.ground import Ground, Scrap
from shopcalc.cutting.testcuts.rungs import RESULTS, Ladder, LadderResult, Rung, hard_share, ladder
from shopcalc.cutting.testcuts.three_cuts import FitReading, FitTest, FitWanted, fit_test

__all__ = [
    "RESULTS",
    "FitReading",
    "FitTest",
    "FitWanted",
    "Ground",
    "Ladder",
    "LadderResult",
    "Rung",
    "Scrap",
    "fit_test",
    "hard_share",
    "ladder",
]
