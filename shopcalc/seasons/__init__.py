"""Seasons: moisture of wood from its air, how it moves, and what that asks of panels, tenons and wide boards."""

from shopcalc.seasons.boards import board_gaps, cup, cup_depth, ring_difference
from shopcalc.seasons.climate import Climate, Place, published_climate, read_climate, read_moisture
from shopcalc.seasons.movement import Band, Movement, Strip, across, movement_of, relative_change, strip_step
from shopcalc.seasons.panels import (
    PanelYear,
    Year,
    clearance_at,
    clearance_to_leave,
    panel_year,
    swing,
    width_to_cut,
)
from shopcalc.seasons.sorption import (
    equilibrium_moisture,
    equilibrium_moisture_fahrenheit,
    equilibrium_moisture_second_fit,
    humidity_for,
)
from shopcalc.seasons.tenons import TenonYear, tenon_year

__all__ = [
    "Band",
    "Climate",
    "Movement",
    "PanelYear",
    "Place",
    "Strip",
    "TenonYear",
    "Year",
    "across",
    "board_gaps",
    "clearance_at",
    "clearance_to_leave",
    "cup",
    "cup_depth",
    "equilibrium_moisture",
    "equilibrium_moisture_fahrenheit",
    "equilibrium_moisture_second_fit",
    "humidity_for",
    "movement_of",
    "panel_year",
    "published_climate",
    "read_climate",
    "read_moisture",
    "relative_change",
    "ring_difference",
    "strip_step",
    "swing",
    "tenon_year",
    "width_to_cut",
]
