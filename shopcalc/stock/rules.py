"""How the shop buys and cuts wood: saw kerfs, trims, usual boards and sheets, spares, glue and finish per area."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any, Literal

from shopcalc.errors import InputError
from shopcalc.reading import FieldReader
from shopcalc.units import read, read_count, read_money

_IN = 25.4


@dataclass(frozen=True)
class StockRules:
    """The shop's rules for wood; what it does not say is common practice, no source.

    Parameters
    ----------
    layout : bool
        Whether wood is priced by laying parts out on boards and sheets; else by the shop's waste.
    tally : bool
        Whether laid-out boards are priced by the grading rules' tally; else by exact board feet.
    kerf : float
        Of the saw, between neighbouring pieces of a board [mm].
    end_trim, edge_trim : float
        Cut off each end and each edge of a board before anything else [mm].
    board_width, board_length : (2,) float
        Least and greatest of the boards the yard delivers [mm].
    sheet_length, sheet_width : float
        Of the sheets the shop buys [mm]; the grain runs along the length.
    sheet_trim, sheet_kerf : float
        Kept off each edge of a sheet; between neighbouring pieces [mm].
    sheet_cuts : {"saw", "router"}
        Whether sheets are cut from edge to edge, or nested.
    sheets_by_part : bool
        Whether a sheet is charged up to its last cut across; else whole.
    turnable : tuple of str
        Sheets without grain: their pieces may be turned.
    strip_width : float
        Widest strip of a blank that is glued up [mm].
    edge_loss : float
        Taken off each edge of a strip when it is jointed [mm].
    layer_extra : float
        Planed off each layer of a laminated blank [mm].
    spare_per : int
        One spare piece for so many alike; 0 for none [-].
    test_length : float
        Of a piece for test cuts, of the same section as its part [mm].
    resaw : bool
        Whether thin pieces are resawn out of thicker boards where that takes less wood.
    resaw_kerf, resaw_width : float
        Loss of each resawing cut with its planing; widest piece the saw takes [mm].
    keep_length, keep_width : float
        A leftover at least so large is kept [mm].
    moisture : float
        Of the wood in the shop [ratio].
    glue_per_area : float
        Spread on a joint [kg/m2].
    finish_per_area : float
        Of one coat [mm3/m2].
    glue_price, finish_price : Decimal or None
        [currency/kg], [currency/L]; None leaves glue priced by joints and finish by area.
    """

    layout: bool = False
    tally: bool = False
    kerf: float = 0.125 * _IN
    end_trim: float = 1.0 * _IN
    edge_trim: float = 0.125 * _IN
    board_width: tuple[float, float] = (5 * _IN, 9 * _IN)
    board_length: tuple[float, float] = (72 * _IN, 144 * _IN)
    sheet_length: float = 96 * _IN
    sheet_width: float = 48 * _IN
    sheet_trim: float = 0.5 * _IN
    sheet_kerf: float = 0.375 * _IN
    sheet_cuts: Literal["saw", "router"] = "router"
    sheets_by_part: bool = False
    turnable: tuple[str, ...] = ("mdf", "particleboard")
    strip_width: float = 5 * _IN
    edge_loss: float = 0.0625 * _IN
    layer_extra: float = 0.0625 * _IN
    spare_per: int = 0
    test_length: float = 12 * _IN
    resaw: bool = False
    resaw_kerf: float = 0.1875 * _IN
    resaw_width: float = 8 * _IN
    keep_length: float = 12 * _IN
    keep_width: float = 2 * _IN
    moisture: float = 0.08
    glue_per_area: float = 0.2
    finish_per_area: float = 1.0e5
    glue_price: Decimal | None = None
    finish_price: Decimal | None = None


_LENGTHS = (
    "kerf", "end_trim", "edge_trim", "sheet_trim", "sheet_kerf", "edge_loss", "layer_extra", "resaw_kerf",
)  # fmt: skip
_SIZES = ("sheet_length", "sheet_width", "strip_width", "resaw_width", "keep_length", "keep_width", "test_length")
_FLAGS = ("layout", "tally", "sheets_by_part", "resaw")
_RANGES = ("board_width", "board_length")
_KEYS = (
    *_FLAGS, *_LENGTHS, *_SIZES, *_RANGES, "sheet_cuts", "turnable", "spare_per", "moisture", "glue_per_area",
    "finish_per_area", "glue_price", "finish_price",
)  # fmt: skip


def read_rules(r: FieldReader, data: Mapping[str, Any], currency: str) -> StockRules:
    """The section [stock] of a shop's rates; what is absent keeps its usual value.

    Parameters
    ----------
    r : FieldReader
        Collects the faults.
    data : mapping
        The whole file.
    currency : str
        Code that prices must carry.

    Returns
    -------
    StockRules
        Lengths [mm].
    """
    table, usual = r.table(data, "stock"), StockRules()
    r.known(table, _KEYS, "stock.")
    out: dict[str, Any] = {}
    for key in _LENGTHS:
        out[key] = r.quantity(table, key, "stock.", "length", getattr(usual, key), zero=True)
    for key in _SIZES:
        out[key] = r.quantity(table, key, "stock.", "length", getattr(usual, key))
    for key in _FLAGS:
        out[key] = _flag(r, table, key, getattr(usual, key))
    for key in _RANGES:
        out[key] = _range(r, table, key, getattr(usual, key))
    out["sheet_cuts"] = r.choice(table, "sheet_cuts", "stock.", ("saw", "router"), usual.sheet_cuts)
    out["turnable"] = _names(r, table, usual.turnable)
    out["spare_per"] = _attempt(r, table, "spare_per", 0, lambda v: read_count(v, minimum=0, maximum=1000))
    out["moisture"] = _attempt(r, table, "moisture", usual.moisture, lambda v: read(v, "ratio", minimum=0, maximum=0.3))
    out["glue_per_area"] = r.quantity(table, "glue_per_area", "stock.", "mass", usual.glue_per_area, maximum=2.0)
    out["finish_per_area"] = r.quantity(
        table, "finish_per_area", "stock.", "volume", usual.finish_per_area, maximum=2e6
    )
    out["glue_price"] = _attempt(r, table, "glue_price", None, lambda v: read_money(v, currency, per="kg"))
    out["finish_price"] = _attempt(r, table, "finish_price", None, lambda v: read_money(v, currency, per="L"))
    rules = replace(usual, **out)
    for name, size, trim in (
        ("board_width", rules.board_width[0], rules.edge_trim), ("board_length", rules.board_length[0], rules.end_trim),
        ("sheet_width", min(rules.sheet_width, rules.sheet_length), rules.sheet_trim),
    ):  # fmt: skip
        if size <= 2 * trim:
            r.fault(f"stock.{name}", "nothing is left after the trim on both sides", "lower the trim or check the size")
    return rules


def _attempt(r: FieldReader, table: Mapping[str, Any], key: str, default: Any, action: Any) -> Any:
    return r.attempt(f"stock.{key}", default, lambda: action(table[key])) if key in table else default


def _flag(r: FieldReader, table: Mapping[str, Any], key: str, default: bool) -> bool:
    value = table.get(key, default)
    if not isinstance(value, bool):
        r.fault(f"stock.{key}", f"{value!r} is not yes or no", "write true or false, without quotation marks")
        return default
    return value


def _range(r: FieldReader, table: Mapping[str, Any], key: str, default: tuple[float, float]) -> tuple[float, float]:
    value = table.get(key, default)
    if key not in table:
        return default
    if not isinstance(value, list) or len(value) != 2:
        r.fault(f"stock.{key}", f"{value!r} is not a pair", f'write least and greatest, e.g. {key} = ["5 in", "9 in"]')
        return default
    try:
        low, high = (read(v, "length", above=0.0) for v in value)
    except InputError as e:
        r.faults += [replace(f, file=r.file, field=f"stock.{key}") for f in e.faults]
        return default
    if low > high:
        r.fault(f"stock.{key}", f"{value[0]} is more than {value[1]}", "write the least first")
        return default
    return low, high


def _names(r: FieldReader, table: Mapping[str, Any], default: tuple[str, ...]) -> tuple[str, ...]:
    value = table.get("turnable", list(default))
    if not isinstance(value, list) or not all(isinstance(v, str) for v in value):
        r.fault("stock.turnable", f"{value!r} is not a list of materials", 'write e.g. turnable = ["mdf"]')
        return default
    return tuple(value)
