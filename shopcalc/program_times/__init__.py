"""Times of programs, from one file to a whole archive: streamed, side by side, and remembered while nothing changes."""

from shopcalc.program_times.cache import ProgramCache
from shopcalc.program_times.folders import PROGRAM_ENDINGS, programs_in
from shopcalc.program_times.many import Progress, time_programs
from shopcalc.program_times.results import ProgramTime, Refused
from shopcalc.program_times.timing import time_program

__all__ = [
    "PROGRAM_ENDINGS",
    "ProgramCache",
    "ProgramTime",
    "Progress",
    "Refused",
    "programs_in",
    "time_program",
    "time_programs",
]
