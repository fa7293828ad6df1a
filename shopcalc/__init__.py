"""shopcalc: feeds, speeds, cycle time and price for a small custom woodworking shop.

The public names are looked up when first used, so that importing the package costs nothing.
"""

from importlib import import_module
from typing import Any

_HOMES = {
    "InputError": "errors",
    "Moves": "moves",
    "Shop": "shop",
    "estimate": "jobs.hours",
    "machine_time": "motion",
    "open_job": "jobs",
    "price": "quote",
    "read_program": "gcode",
    "tune": "cutting.tuning",
    "write_program": "gcode",
}
__all__ = [
    "InputError",
    "Moves",
    "Shop",
    "estimate",
    "machine_time",
    "open_job",
    "price",
    "read_program",
    "tune",
    "write_program",
]


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(import_module(f"shopcalc.{_HOMES[name]}"), name)
    raise AttributeError(f"shopcalc has no {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
