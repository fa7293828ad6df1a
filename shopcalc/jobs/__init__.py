"""Jobs: what is made, from which parts, by which programs and loads, and how many hours that takes."""

from shopcalc.jobs.hours import Estimate, PhaseHours, ProgramTime, estimate
from shopcalc.jobs.reading import Job, open_job
from shopcalc.jobs.wood import Purchase, take_off_job

__all__ = ["Estimate", "Job", "PhaseHours", "ProgramTime", "Purchase", "estimate", "open_job", "take_off_job"]
