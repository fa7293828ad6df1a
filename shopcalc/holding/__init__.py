"""Holding: whether stock cleans up, what each face makes of the other, and what stands in the cutter's way."""

from shopcalc.holding.bolts import BoltPattern, bolt_pattern, drill_template
from shopcalc.holding.cleaning_up import CleanUp, clean_up, grid, least_plane, planned_thickness, rough_board
from shopcalc.holding.collisions import Clear, Collision, bodies_of, check_clear
from shopcalc.holding.drawing import faces_drawing, holding_drawing
from shopcalc.holding.firmness import Held, check_holding, forces_of
from shopcalc.holding.fixtures import Fixture, Placed, read_fixtures
from shopcalc.holding.keep_outs import KeepOut, box, cylinder
from shopcalc.holding.measured_faces import Faces, faces, read_faces
from shopcalc.holding.plate import FixturePlate, plate_program
from shopcalc.holding.program_forces import Driven, worst_cuts
from shopcalc.holding.resuming import Resume, resume_after
from shopcalc.holding.surfacing import Surfacing, both_faces, surfacing, tramming_error, tramming_ridge
from shopcalc.holding.tool_body import Holder, Piece, ToolBody, tool_body
from shopcalc.holding.two_faces import Schedule, Wet, cup_after, schedules
from shopcalc.holding.walls import Cleared, Rub, Stock, check_walls

__all__ = [
    "BoltPattern",
    "CleanUp",
    "Clear",
    "Cleared",
    "Collision",
    "Driven",
    "Faces",
    "Fixture",
    "FixturePlate",
    "Held",
    "Holder",
    "KeepOut",
    "Piece",
    "Placed",
    "Resume",
    "Rub",
    "Schedule",
    "Stock",
    "Surfacing",
    "ToolBody",
    "Wet",
    "bodies_of",
    "bolt_pattern",
    "both_faces",
    "box",
    "check_clear",
    "check_holding",
    "check_walls",
    "clean_up",
    "cup_after",
    "cylinder",
    "drill_template",
    "faces",
    "faces_drawing",
    "forces_of",
    "grid",
    "holding_drawing",
    "least_plane",
    "planned_thickness",
    "plate_program",
    "read_faces",
    "read_fixtures",
    "resume_after",
    "rough_board",
    "schedules",
    "surfacing",
    "tool_body",
    "tramming_error",
    "tramming_ridge",
    "worst_cuts",
]
