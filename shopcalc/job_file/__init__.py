"""Job files changed in place: comments, order and blank lines stay, nothing is written that its reader refuses."""

from shopcalc.job_file.editing import add_table, read_place, remove, set_value, write_place, write_value
from shopcalc.job_file.keeping import OpenJobFile
from shopcalc.job_file.starting import new_job

__all__ = [
    "OpenJobFile",
    "add_table",
    "new_job",
    "read_place",
    "remove",
    "set_value",
    "write_place",
    "write_value",
]
