"""Program text (ISO 6983 as NIST RS274/NGC has it) to Moves and back; what is not understood is reported, placed."""

from shopcalc.gcode.program import Program, ProgramStream, read_program, read_text, stream_program
from shopcalc.gcode.reports import Note
from shopcalc.gcode.writer import write_program

__all__ = ["Note", "Program", "ProgramStream", "read_program", "read_text", "stream_program", "write_program"]
