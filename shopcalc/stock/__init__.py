"""Take-off: board feet, exact and by the grading rules' tally, nominal thickness, and what to buy."""

from shopcalc.stock.tallying import BOARD_FOOT, board_feet, nominal_thickness, surface_measure, tally

__all__ = ["BOARD_FOOT", "board_feet", "nominal_thickness", "surface_measure", "tally"]
