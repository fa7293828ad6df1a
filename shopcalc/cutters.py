"""Cutters: what a router cutter is, read from the shop's table with its geometry checked."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, get_args

from shopcalc.reading import Column, Row, TableReader
from shopcalc.sources import STANDING, check_standing, table_for_people

if TYPE_CHECKING:
    import pandas as pd

Shape = Literal["square end", "ball", "tapered ball", "core-box", "V", "surfacing", "compression", "drill"]
Body = Literal["carbide", "steel"]
Edge = Literal["carbide", "steel", "diamond"]
CutDirection = Literal["up", "down", "straight", "compression"]

SHAPES: tuple[str, ...] = get_args(Shape)
_DIRECTIONS: tuple[str, ...] = get_args(CutDirection)


@dataclass(frozen=True)
class Cutter:
    """One cutter of the rack.

    Parameters
    ----------
    id, title : str
        Key in the table, and what people call it.
    shape : str
        One of ``SHAPES``.
    diameter : float
        Largest cutting diameter [mm].
    shank : float
        Diameter held in the collet [mm].
    flutes : int
        Cutting edges that share the feed [-].
    cutting_length, overall_length : float
        Length of the flutes, and of the whole cutter [mm].
    stick_out : float
        From the collet's face to the tip [mm].
    helix : float
        Helix angle of the flutes, 0 for straight ones [rad].
    tip_diameter : float
        V and tapered ball only: the flat of the V, or twice the ball's radius [mm]; 0 on the others.
    included_angle : float
        V and tapered ball only: the whole angle at the tip, twice the half angle [rad]; 0 on the others.
    body, edge : str
        What the body and the cutting edge are made of.
    cut_direction : {"up", "down", "straight", "compression"}
        Where the helix moves the chip.
    up_shear_length : float
        Compression only: length of the up-cut flutes at the tip [mm]; 0 on the others.
    centre_cutting : bool
        Whether it may go straight down into the wood.
    marked_rpm : float or None
        Greatest speed marked on the cutter [rev/min]; None when there is no mark.
    maker_rpm : float or None
        Greatest speed of the maker's data sheet, entered by the shop [rev/min].
    measured_diameter : float or None
        What a test cut measured [mm]; None when never measured since the last regrind.
    rake : float or None
        Of the flutes [rad]; None when the maker does not say.
    regrinds : int
        How often it was ground again [-].
    edge_life : float or None
        Cutting after which this shop has it ground or changed [s]; None when the shop does not say.
    number : int or None
        Place in the rack, which is the number programs call.
    source, kind, note : str
        Where the figures come from, how sure they are, and what else the operator should know.
    """

    id: str
    title: str
    shape: Shape
    diameter: float
    shank: float
    flutes: int
    cutting_length: float
    overall_length: float
    stick_out: float
    helix: float = 0.0
    tip_diameter: float = 0.0
    included_angle: float = 0.0
    body: Body = "carbide"
    edge: Edge = "carbide"
    cut_direction: CutDirection = "up"
    up_shear_length: float = 0.0
    centre_cutting: bool = True
    marked_rpm: float | None = None
    maker_rpm: float | None = None
    measured_diameter: float | None = None
    rake: float | None = None
    regrinds: int = 0
    edge_life: float | None = None
    number: int | None = None
    source: str = ""
    kind: str = ""
    note: str = ""

    @property
    def true_diameter(self) -> float:
        """The measured diameter where there is one, else the nominal [mm]."""
        return self.diameter if self.measured_diameter is None else self.measured_diameter


#: Shares of the nominal diameter between which a measured one is believed (reasoning: several regrinds).
DIAMETER_RANGE: tuple[float, float] = (0.8, 1.05)

_COLUMNS: tuple[Column, ...] = (
    Column("id", required=True),
    Column("title", required=True),
    Column("shape", required=True, choices=SHAPES),
    Column("diameter", "length", required=True, above=0.0, maximum=300.0),
    Column("shank", "length", required=True, above=0.0, maximum=100.0),
    Column("flutes", "count", required=True, minimum=1, maximum=12),
    Column("cutting_length", "length", required=True, above=0.0, maximum=500.0),
    Column("overall_length", "length", required=True, above=0.0, maximum=500.0),
    Column("stick_out", "length", required=True, above=0.0, maximum=500.0),
    Column("helix", "angle", minimum=0.0, maximum=math.radians(75)),
    Column("tip_diameter", "length", minimum=0.0),
    Column("included_angle", "angle", above=0.0),
    Column("body", required=True, choices=get_args(Body)),
    Column("edge", required=True, choices=get_args(Edge)),
    Column("cut_direction", required=True, choices=_DIRECTIONS),
    Column("up_shear_length", "length", above=0.0),
    Column("centre_cutting", "yes", required=True),
    Column("marked_rpm", "spindle_speed", above=0.0),
    Column("maker_rpm", "spindle_speed", above=0.0),
    Column("measured_diameter", "length", above=0.0),
    Column("rake", "angle", minimum=math.radians(-30), maximum=math.radians(60)),
    Column("regrinds", "count", minimum=0, maximum=50),
    Column("edge_life", "time", above=0.0),
    Column("number", "count", minimum=1, maximum=999),
    *(c for c in STANDING if c.name != "place"),
)
_POINTED = ("V", "tapered ball")


def read_cutters(path: Path | str) -> dict[str, Cutter]:
    """Read a rack of cutters from a CSV table whose columns are the fields of ``Cutter``.

    Every length, angle and speed carries its unit ("3/8 in", "30 deg", "18000 rpm"), or a second row whose first cell
    is "unit" names the unit of each column. Blank means unknown (or none, where a shape has no such thing).

    Parameters
    ----------
    path : Path or str
        The file.

    Returns
    -------
    dict
        Id to Cutter, in the order of the table.

    Raises
    ------
    InputError
        With every fault: file, row, column, value and remedy.
    """
    table = TableReader(path, _COLUMNS, "id")
    places: dict[int, int] = {}
    for row in table.rows:
        check_standing(table, row, published=False)
        _check_lengths(table, row)
        _check_tip(table, row)
        _check_direction(table, row)
        _check_diameters(table, row)
        number = row["number"]
        if number is not None:
            if number in places:
                remedy = "give each place of the rack to one cutter; blank when it is not in the rack"
                table.fault(row.number, "number", f"place {number} is taken by row {places[number]}", remedy)
            places.setdefault(number, row.number)
    table.finish()
    return {row["id"]: _cutter(row) for row in table.rows}


def _cutter(row: Row) -> Cutter:
    """Blank cells take the record's defaults."""
    given: dict[str, Any] = {f.name: row[f.name] for f in fields(Cutter) if row[f.name] is not None}
    return Cutter(**given)


def _check_lengths(table: TableReader, row: Row) -> None:
    pairs = [
        ("cutting_length", "overall_length", "the flutes are part of the cutter: check both"),
        ("stick_out", "overall_length", "part of the cutter is held in the collet: check both"),
        ("up_shear_length", "cutting_length", "the up-cut flutes are part of the flutes: check both"),
    ]
    if row["shape"] not in ("drill", None):
        pairs.append(("cutting_length", "stick_out", "flutes must not be clamped in the collet: check both"))
    for small, large, remedy in pairs:
        if not table.sound(row, small, large) or row[small] is None or row[large] is None:
            continue
        if row[small] > row[large]:
            message = f"{row[small]:g} mm is more than '{large}' of {row[large]:g} mm"
            table.fault(row.number, small, message, remedy)


def _check_tip(table: TableReader, row: Row) -> None:
    """V and tapered ball need an angle (and a tip), no other shape may have them."""
    shape, tip, angle = row["shape"], row["tip_diameter"], row["included_angle"]
    if shape is None:
        return
    if shape not in _POINTED:
        for name in ("tip_diameter", "included_angle"):
            if row[name]:
                remedy = "leave it blank, or check the shape"
                table.fault(row.number, name, f"a {shape} cutter has no {name.replace('_', ' ')}", remedy)
        return
    if not table.sound(row, "tip_diameter", "included_angle", "diameter"):
        return
    if angle is None:
        table.fault(row.number, "included_angle", f"a {shape} cutter needs it", 'write the whole angle, e.g. "60 deg"')
    elif angle >= (math.radians(170) if shape == "V" else math.radians(60)):
        most = 170 if shape == "V" else 60
        message = f"{math.degrees(angle):g} deg is too wide for a {shape} cutter"
        table.fault(row.number, "included_angle", message, f"write the whole angle, less than {most} deg")
    if tip is None:
        what = "the width of its flat, or 0 mm" if shape == "V" else "twice the radius of its ball"
        table.fault(row.number, "tip_diameter", f"a {shape} cutter needs it", f"write {what}")
    elif tip == 0 and shape == "tapered ball":
        table.fault(row.number, "tip_diameter", "0 mm leaves no ball", "write twice the radius of its ball")
    elif row["diameter"] is not None and tip >= row["diameter"]:
        message = f"{tip:g} mm is not less than 'diameter' of {row['diameter']:g} mm"
        table.fault(row.number, "tip_diameter", message, "the tip is the narrow end: check both")
    elif table.sound(row, "included_angle") and angle is not None and row["cutting_length"] is not None:
        _check_taper(table, row)


def _check_taper(table: TableReader, row: Row) -> None:
    """At the end of its flutes the taper must be about as wide as the largest cutting diameter says."""
    half = row["included_angle"] / 2
    if row["shape"] == "V":
        wide = row["tip_diameter"] + 2 * row["cutting_length"] * math.tan(half)
    else:
        radius = row["tip_diameter"] / 2
        rise = row["cutting_length"] - radius * (1 - math.sin(half))
        wide = 2 * (radius * math.cos(half) + rise * math.tan(half))
    if wide < 0.8 * row["diameter"]:
        message = f"with this angle and length of flutes the cutter is only {wide:.4g} mm wide"
        remedy = f"check 'diameter' ({row['diameter']:g} mm), 'included_angle' and 'cutting_length'"
        table.fault(row.number, "included_angle", message, remedy)


def _check_direction(table: TableReader, row: Row) -> None:
    shape, direction, up = row["shape"], row["cut_direction"], row["up_shear_length"]
    if shape is None or direction is None or not table.sound(row, "up_shear_length", "helix"):
        return
    if (shape == "compression") != (direction == "compression"):
        remedy = "write compression in both, or in neither"
        table.fault(row.number, "cut_direction", f"'{direction}' does not go with the shape {shape}", remedy)
    elif shape == "compression" and up is None:
        remedy = 'write the length of the up-cut flutes at the tip, e.g. "5 mm"'
        table.fault(row.number, "up_shear_length", "a compression cutter needs it", remedy)
    if shape != "compression" and up is not None:
        table.fault(row.number, "up_shear_length", f"a {shape} cutter has none", "leave it blank, or check the shape")
    if direction == "straight" and row["helix"]:
        table.fault(row.number, "helix", "a straight flute has no helix", "write 0 deg, or up or down")
    if direction in ("up", "down", "compression") and not row["helix"]:
        remedy = 'write its helix, e.g. "30 deg", or straight'
        table.fault(row.number, "helix", f"a flute that moves chips {direction} has a helix", remedy)


def _check_diameters(table: TableReader, row: Row) -> None:
    measured, nominal = row["measured_diameter"], row["diameter"]
    if measured is None or nominal is None or not table.sound(row, "measured_diameter", "diameter"):
        return
    if not DIAMETER_RANGE[0] * nominal <= measured <= DIAMETER_RANGE[1] * nominal:
        message = f"{measured:g} mm is far from 'diameter' of {nominal:g} mm"
        remedy = "measure again; after heavy regrinding enter it as another cutter"
        table.fault(row.number, "measured_diameter", message, remedy)


def frame(cutters: Mapping[str, Cutter]) -> pd.DataFrame:
    """Cutters as a table for people, one a row.

    Parameters
    ----------
    cutters : mapping
        By id.

    Returns
    -------
    pandas.DataFrame
        Units stand in the column names and in ``attrs["units"]``; unknown values are missing.
    """
    shown = {"length": ("mm", 1.0), "angle": ("deg", 180 / math.pi), "spindle_speed": ("rev/min", 1.0),
             "time": ("min", 1 / 60)}  # fmt: skip
    units: dict[str, str] = {}
    rows: list[dict[str, Any]] = [{} for _ in cutters]
    for column in _COLUMNS:
        unit, factor = shown.get(column.holds, ("", 1.0))
        name = f"{column.name}_{unit.replace('/', '_')}" if unit else column.name
        if unit:
            units[name] = unit
        for row, cutter in zip(rows, cutters.values(), strict=True):
            value = getattr(cutter, column.name, None)
            row[name] = value * factor if unit and value is not None else value
    return table_for_people(rows, units, "id")
