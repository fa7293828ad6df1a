"""Program text (ISO 6983 as NIST RS274/NGC has it) to Moves and back; what is not understood is reported, placed."""

from shopcalc.gcode.program import Program, read_program, read_text
from shopcalc.gcode.reports import Note
from shopcalc.gcode.writer import write_program

__all__ = ["Note", "Program", "read_program", "read_text", "write_program"]
