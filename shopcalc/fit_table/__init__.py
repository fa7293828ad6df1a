"""The bench's fit table of a job: what to measure, with what, within which sizes, and what the seasons will do."""

from shopcalc.fit_table.bench import season_warnings
from shopcalc.fit_table.record import FitRow, fit_frame
from shopcalc.fit_table.rows import fit_rows

__all__ = ["FitRow", "fit_frame", "fit_rows", "season_warnings"]
