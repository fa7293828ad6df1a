"""The shop: its machines, cutters, materials and rates, read from one folder."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path

from shopcalc.cutters import Cutter
from shopcalc.machines import Machine
from shopcalc.materials import Material

PHASES: tuple[str, ...] = (
    "design", "programming", "stock", "setup", "machining", "assembly", "finishing", "hardware", "delivery",
)  # fmt: skip

#: The shop's standard times: driver -> (phase, what it is counted by).
DRIVERS: dict[str, tuple[str, str]] = {
    "measuring_per_job": ("design", "visit and measuring, once per job"),
    "drawing_per_job": ("design", "drawing the piece, once per job"),
    "drawing_per_part": ("design", "drawing, for each different part"),
    "programming_per_program": ("programming", "writing a program"),
    "proving_per_program": ("programming", "dry run and first cut of a program"),
    "stock_per_board": ("stock", "choosing, cutting over length and flattening, for each board"),
    "stock_per_part": ("stock", "planing and cutting to size, for each part"),
    "stock_per_glue_joint": ("stock", "edge-gluing, for each glue joint of a wide blank"),
    "stock_per_sheet": ("stock", "cutting down, for each sheet"),
    "setup_per_station": ("setup", "fitting a station before its first load"),
    "setup_per_load": ("setup", "clamping, finding zero, unclamping and cleaning, for each load"),
    "setup_per_cutter": ("setup", "fitting and measuring, for each cutter"),
    "setup_per_test_cut": ("setup", "test cut and correction, for each fit"),
    "assembly_per_joint": ("assembly", "fitting and gluing, for each joint"),
    "assembly_per_glue_up": ("assembly", "clamping, squaring and cleaning, for each glue-up"),
    "assembly_per_squared_mortise": ("assembly", "squaring the round ends by hand, for each mortise"),
    "sanding_per_m2": ("finishing", "sanding, for each square metre"),
    "finishing_per_m2": ("finishing", "one coat, for each square metre"),
    "hardware_per_piece": ("hardware", "fitting, for each piece of hardware"),
    "delivery_per_job": ("delivery", "packing and loading, once per job"),
}

#: Operation kinds whose machine minutes need a person for a share of the time.
OPERATION_KINDS: tuple[str, ...] = (
    "face", "sink", "groove", "rebate", "cut_out", "bore", "tenon", "mortise", "raise", "incise", "carve",
)  # fmt: skip


@dataclass(frozen=True)
class MachineCost:
    """What the machine costs the shop; no operator's pay is in it.

    Parameters
    ----------
    purchase, salvage : Decimal
        Price paid, and what it will fetch at the end of its life [currency].
    life_years : float
        [year].
    interest : float
        What the money would earn or costs [ratio per year].
    hours_per_year : float
        Hours it really runs [h/year].
    power_w : float
        Mean electric power while running, dust collector included [W].
    energy_per_kwh : Decimal
        [currency/kWh].
    upkeep_per_hour : Decimal
        Maintenance and repair per running hour [currency/h].
    cutters_per_hour : Decimal
        Cutters worn per running hour [currency/h].
    """

    purchase: Decimal
    salvage: Decimal
    life_years: float
    interest: float
    hours_per_year: float
    power_w: float
    energy_per_kwh: Decimal
    upkeep_per_hour: Decimal
    cutters_per_hour: Decimal = Decimal(0)


@dataclass(frozen=True)
class Rates:
    """The shop's own figures for hours and price.

    Parameters
    ----------
    currency : str
        Three letters; all money is in it.
    machine : MachineCost
        The router.
    people : mapping
        Phase to what an hour of a person is charged at [currency/h].
    own_hour_cost : Decimal
        What an hour of its own people costs the shop, pay and charges [currency/h].
    overhead_per_hour : Decimal
        Rent, insurance, office, for each hour of a person [currency/h].
    margin : float
        Wanted share of the price, (price - cost) / price [ratio].
    reserve : float
        Held for what is forgotten, as a share of cost [ratio].
    waste : mapping
        Material group to wood bought beyond the net, as a share of the net [ratio].
    material_prices : mapping
        Material id to (price, "board_foot" or "m**2").
    supplies : mapping
        Consumables: "finish_per_m2", "glue_per_m2", "abrasives_per_m2" [currency/m2 of one coat, joint area, area].
    minutes : mapping
        Driver of ``DRIVERS`` to the shop's standard time [s].
    attended : mapping
        Operation kind to the share of its machine time a person stands by [ratio].
    spread : mapping
        Phase to the standard deviation of the logarithm of hours really used over hours planned [-].
    shop_spread : float
        The same for the factor all phases of one job share: a bad week is bad for all of them [-].
    source, kind : str
        Where the figures come from and how sure they are.
    """

    currency: str
    machine: MachineCost
    people: Mapping[str, Decimal]
    own_hour_cost: Decimal
    overhead_per_hour: Decimal
    margin: float
    reserve: float
    waste: Mapping[str, float]
    material_prices: Mapping[str, tuple[Decimal, str]]
    supplies: Mapping[str, Decimal]
    minutes: Mapping[str, float]
    attended: Mapping[str, float]
    spread: Mapping[str, float]
    shop_spread: float = 0.0
    source: str = ""
    kind: str = ""


@dataclass(frozen=True)
class Shop:
    """One shop's own world, on top of the published tables.

    Parameters
    ----------
    folder : Path
        Where it was read from.
    machines, cutters, materials : mapping
        By name or id.
    rates : Rates
        Hours and money.
    """

    folder: Path
    rates: Rates
    machines: Mapping[str, Machine] = field(default_factory=dict)
    cutters: Mapping[str, Cutter] = field(default_factory=dict)
    materials: Mapping[str, Material] = field(default_factory=dict)
