"""The shop: its machines, cutters, materials, rates and what its test cuts taught, read from one folder."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from pathlib import Path
from typing import Any, TypeVar

from shopcalc.crew import ALONE, People, Workday, read_people, read_workday
from shopcalc.cutters import DIAMETER_RANGE, Cutter, read_cutters
from shopcalc.errors import Fault, InputError, did_you_mean, raise_all
from shopcalc.learned import Learned, read_learned
from shopcalc.machines import Machine, read_machine, read_machines
from shopcalc.machines_learned import FILE as MACHINES_LEARNED
from shopcalc.machines_learned import MachineVersion, applied, latest, read_versions
from shopcalc.materials import GROUPS, Material, choose, read_materials
from shopcalc.reading import FieldReader, load_toml
from shopcalc.sources import KINDS
from shopcalc.standard_times import DRIVERS as DRIVERS
from shopcalc.standard_times import PHASES as PHASES
from shopcalc.standard_times import standard_times
from shopcalc.stock.rack import Rack, read_rack
from shopcalc.stock.rules import StockRules, read_rules
from shopcalc.units import read, read_money

#: Kinds of operation, as jobs name them.
OPERATIONS: tuple[str, ...] = (
    "face", "sink", "groove", "rebate", "cut out", "bore", "tenon", "mortise", "raise", "incise", "carve",
)  # fmt: skip


@dataclass(frozen=True)
class MachineCost:
    """What owning and running the machine costs; no operator's pay is in it.

    Parameters
    ----------
    purchase, salvage : Decimal
        Price paid, and what it will fetch at the end of its life [currency].
    life : float
        [year].
    interest : float
        What the money would earn or costs [ratio per year].
    hours_per_year : float
        Hours it really runs [h/year].
    power : float
        Mean electric power while running, dust collector included [W].
    energy : Decimal
        [currency/kWh].
    upkeep : Decimal
        Maintenance, repair and worn cutters per running hour [currency/h].
    space : Decimal
        Floor, heat and insurance of the machine's corner per running hour [currency/h].
    """

    purchase: Decimal
    salvage: Decimal
    life: float
    interest: float
    hours_per_year: float
    power: float
    energy: Decimal
    upkeep: Decimal
    space: Decimal


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
        Phase to what an hour of a person must bring in [currency/h].
    margin : float
        Wanted share of the price, (price - cost) / price [ratio].
    finish, glue, sheet : Decimal
        Material of a whole finish [currency/m2], glue [currency per joint], and sheets whose price is not listed
        [currency/m2].
    waste : mapping
        Material group to wood bought beyond the net, as a share of the net [ratio].
    materials : mapping
        Material id to (price, "board_foot" or "m**2").
    minutes : mapping
        Driver of ``DRIVERS`` to the shop's standard time [s]; per area means per square metre. What the shop does not
        say is the package's (``standard_times``).
    attended : mapping
        Kind of ``OPERATIONS`` to the share of its machine time a person stands by [ratio].
    carving : (3,) float
        Machine time of relief before any artwork exists: low, likely, high [s/m2].
    spread : mapping
        Phase to the standard deviation of the logarithm of hours really used over hours planned [-].
    shared_spread : float
        The same for the factor all phases of one job share: a bad week is bad for all of them [-].
    source, kind : str
        Where the figures come from and how sure they are.
    learning : mapping
        Driver to the share its time for a finished piece falls to at each doubling of like pieces [ratio].
    coats : int
        Of finish [-].
    drying : float
        Of each coat and of glue in a frame: time passed, not worked [s].
    crew : tuple of People
        Who works in the shop.
    workday : Workday
        When.
    stock : StockRules
        How it buys and cuts wood.
    """

    currency: str
    machine: MachineCost
    people: Mapping[str, Decimal]
    margin: float
    finish: Decimal
    glue: Decimal
    sheet: Decimal
    waste: Mapping[str, float]
    materials: Mapping[str, tuple[Decimal, str]]
    minutes: Mapping[str, float]
    attended: Mapping[str, float]
    carving: tuple[float, float, float]
    spread: Mapping[str, float]
    shared_spread: float
    source: str = ""
    kind: str = ""
    learning: Mapping[str, float] = field(default_factory=lambda: {d: t.learning for d, t in standard_times().items()})
    coats: int = 3
    drying: float = 43200.0
    crew: tuple[People, ...] = ALONE
    workday: Workday = field(default_factory=Workday)
    stock: StockRules = field(default_factory=StockRules)

    def with_(self, **changes: Any) -> Rates:
        """The same rates with some fields changed."""
        return replace(self, **changes)


# --- rates.toml ------------------------------------------------------------------------------------------------------

_MACHINE = ("purchase", "salvage", "life", "interest", "hours_per_year", "power", "energy", "upkeep", "space")
_SECTIONS = (
    "currency", "source", "kind", "machine", "people", "price", "waste", "materials", "minutes", "attended",
    "carving", "spread", "learning", "finish", "workday", "stock",
)  # fmt: skip
_SECONDS_PER_YEAR = 31_557_600.0  # 365.25 days, as the registry of units has it


class _RatesReader(FieldReader):
    """Reads sections whose values all must be there: a rate that is missing would be free work."""

    currency = "USD"

    def section(self, data: Mapping[str, Any], name: str, keys: Iterable[str]) -> Mapping[str, Any]:
        """The section, with a fault for each key unknown or missing."""
        allowed, table = tuple(keys), self.table(data, name)
        self.known(table, allowed, f"{name}.")
        if name not in data:
            self.fault(name, "the section is missing", f"add [{name}] with {', '.join(allowed[:4])} ...")
            return {}
        for key in allowed:
            if key not in table:
                self.fault(f"{name}.{key}", "the value is missing", "add it; the starter shop shows one")
        return table

    def share(self, table: Mapping[str, Any], where: str, maximum: float = 1.0) -> float:
        """A ratio from 0 to a maximum."""
        value: float = self._at(table, where, 0.0, lambda v: read(v, "ratio", minimum=0.0, maximum=maximum))
        return value

    def positive(self, table: Mapping[str, Any], where: str, quantity: str) -> float:
        """A value above 0."""
        value: float = self._at(table, where, 1.0, lambda v: read(v, quantity, above=0.0))
        return value

    def seconds(self, table: Mapping[str, Any], where: str) -> float:
        """A time, 0 too."""
        value: float = self._at(table, where, 0.0, lambda v: read(v, "time", minimum=0.0))
        return value

    def learned(self, table: Mapping[str, Any], where: str, default: float) -> float:
        """A share from above a half to 1; below a half more pieces would take less time in all."""
        value: float = self._at(table, where, default, lambda v: read(v, "ratio", above=0.5, maximum=1.0))
        return value

    def money(self, table: Mapping[str, Any], where: str, per: str | None = None) -> Decimal:
        """An amount, or a price per unit; not negative."""
        value: Decimal = self._at(table, where, Decimal(0), lambda v: read_money(v, self.currency, per=per))
        return value

    def _at(self, table: Mapping[str, Any], where: str, default: Any, action: Callable[[Any], Any]) -> Any:
        key = where.rsplit(".", 1)[-1]
        return self.attempt(where, default, lambda: action(table[key])) if key in table else default


def read_rates(path: Path | str, materials: Mapping[str, Material]) -> Rates:
    """Read the shop's rates from a TOML file; every section about money must be whole.

    Parameters
    ----------
    path : Path or str
        The file.
    materials : mapping
        Those that may have a price.

    Returns
    -------
    Rates
        In one currency.

    Raises
    ------
    InputError
        With every fault: file, dotted field, value and remedy.
    """
    data = load_toml(path)
    r = _RatesReader(str(path))
    r.known(data, _SECTIONS)
    currency = r.text(data, "currency")
    if len(currency) == 3 and currency.isalpha():
        r.currency = currency.upper()
    else:
        r.fault("currency", f"{currency!r} is not a currency", 'write its three letters, e.g. currency = "USD"')
    price = r.section(data, "price", ("margin", "finish", "glue", "sheet"))
    spread = r.section(data, "spread", (*PHASES, "shared"))
    who = r.table(data, "people")
    plain = {k: v for k, v in who.items() if not isinstance(v, dict) or k in PHASES}
    people = r.section({"people": plain} if "people" in data else {}, "people", PHASES)
    waste = r.section(data, "waste", GROUPS)
    minutes, learning, finish = (r.table(data, k) for k in ("minutes", "learning", "finish"))
    r.known(minutes, DRIVERS, "minutes.")
    r.known(learning, (d for d, t in standard_times().items() if t.by_piece), "learning.")
    r.known(finish, ("coats", "drying"), "finish.")
    attended = r.section(data, "attended", OPERATIONS)
    usual = standard_times()
    rates = Rates(
        currency=r.currency,
        machine=_machine_cost(r, data),
        people={k: r.money(people, f"people.{k}", "h") for k in PHASES},
        margin=r.share(price, "price.margin", 0.9),
        finish=r.money(price, "price.finish", "m**2"),
        glue=r.money(price, "price.glue", "piece"),
        sheet=r.money(price, "price.sheet", "m**2"),
        waste={k: r.share(waste, f"waste.{k}", 3.0) for k in GROUPS},
        materials=_prices(r, r.table(data, "materials"), materials),
        minutes={k: r.seconds(minutes, f"minutes.{k}") if k in minutes else t.seconds for k, t in usual.items()},
        attended={k: r.share(attended, f"attended.{k}") for k in OPERATIONS},
        carving=_carving(r, data),
        spread={k: r.share(spread, f"spread.{k}", 2.0) for k in PHASES},
        shared_spread=r.share(spread, "spread.shared", 2.0),
        source=r.text(data, "source"),
        kind=r.choice(data, "kind", "", tuple(KINDS), ""),
        learning={k: r.learned(learning, f"learning.{k}", t.learning) for k, t in usual.items()},
        coats=r.count(finish, "coats", "finish.", 3),
        drying=r.quantity(finish, "drying", "finish.", "time", 43200.0, zero=True),
        crew=read_people(r, {k: v for k, v in who.items() if k not in PHASES}),
        workday=read_workday(r, r.table(data, "workday")),
        stock=read_rules(r, data, r.currency),
    )
    raise_all(r.faults)
    return rates


def _machine_cost(r: _RatesReader, data: Mapping[str, Any]) -> MachineCost:
    before = len(r.faults)
    table = r.section(data, "machine", _MACHINE)
    cost = MachineCost(
        purchase=r.money(table, "machine.purchase"),
        salvage=r.money(table, "machine.salvage"),
        life=r.positive(table, "machine.life", "time") / _SECONDS_PER_YEAR,
        interest=r.share(table, "machine.interest"),
        hours_per_year=r.positive(table, "machine.hours_per_year", "time") / 3600.0,
        power=r.positive(table, "machine.power", "power"),
        energy=r.money(table, "machine.energy", "kWh"),
        upkeep=r.money(table, "machine.upkeep", "h"),
        space=r.money(table, "machine.space", "h"),
    )
    if len(r.faults) == before:
        if cost.salvage > cost.purchase:
            message = f"{cost.salvage} is more than the purchase, {cost.purchase} {r.currency}"
            r.fault("machine.salvage", message, "check both amounts")
        if cost.hours_per_year > 8766:
            r.fault("machine.hours_per_year", "a year has fewer hours", "write the hours it really runs in a year")
    return cost


def _prices(
    r: _RatesReader, table: Mapping[str, Any], materials: Mapping[str, Material]
) -> dict[str, tuple[Decimal, str]]:
    """Sheets are priced per square metre, everything else per board foot."""
    out = {}
    for key in table:
        try:
            group = choose(materials, key).group
        except InputError as e:
            r.faults += [replace(f, file=r.file, field=f"materials.{key}") for f in e.faults]
            continue
        per = "m**2" if group == "sheet" else "board_foot"
        out[key] = (r.money(table, f"materials.{key}", per), per)
    return out


def _carving(r: _RatesReader, data: Mapping[str, Any]) -> tuple[float, float, float]:
    """Low, likely and high machine time of relief; low and high are given as shares of the likely."""
    before = len(r.faults)
    table = r.section(data, "carving", ("likely_per_area", "low_share", "high_share"))
    likely = r.positive(table, "carving.likely_per_area", "time")
    low, high = r.share(table, "carving.low_share"), r.share(table, "carving.high_share", 20.0)
    if len(r.faults) == before and (low == 0 or high < 1):
        r.fault("carving.high_share", "low, likely and high do not ascend", "write e.g. 50 % for low, 200 % for high")
    return likely * low, likely, likely * high


# --- the folder ------------------------------------------------------------------------------------------------------


def demo_folder() -> Path:
    """Folder of the demo shop: beside the package in a checkout, inside it in an installed wheel."""
    package = Path(__file__).parent
    beside = package.parent / "data"
    return beside if (beside / "machines.toml").exists() else package / "demo"


@dataclass(frozen=True)
class Shop:
    """One shop's own world, on top of the published tables.

    Parameters
    ----------
    folder : Path
        Where it was read from.
    rates : Rates
        Hours and money.
    machines, cutters, materials : mapping
        By name or id.
    learned : Learned
        What the shop's own test cuts taught.
    rack : Rack
        Boards, sheets and pieces of its stock.toml.
    """

    folder: Path
    rates: Rates
    machines: Mapping[str, Machine] = field(default_factory=dict)
    cutters: Mapping[str, Cutter] = field(default_factory=dict)
    materials: Mapping[str, Material] = field(default_factory=dict)
    learned: Learned = field(default_factory=Learned)
    rack: Rack = field(default_factory=Rack)

    @classmethod
    def open(cls, path: Path | str | None = None) -> Shop:
        """Read a shop's folder: machines.toml, cutters.csv, rates.toml; if any materials, what it learned, stock.toml.

        Parameters
        ----------
        path : Path or str, optional
            The folder; the demo shop if none is given.

        Returns
        -------
        Shop
            With the shop's materials laid over the published ones and their prices filled in, and diameters its test
            cuts measured at the present regrind in place of those of cutters.csv; machines as last calibrated.

        Raises
        ------
        InputError
            With every fault of every file in it.

        Example
        -------
        >>> Shop.open().material("white-oak").title
        'white oak'
        """
        folder = demo_folder() if path is None else Path(path)
        if not folder.is_dir():
            message = "this is not a folder" if folder.exists() else "there is no such folder"
            remedy = f"name a shop's folder, or make one with: shopcalc new {folder}"
            raise InputError(Fault(message, remedy, file=str(folder)))
        faults: list[Fault] = []
        for name in ("machines.toml", "cutters.csv", "rates.toml"):
            if not (folder / name).exists():
                remedy = "copy it from a starter shop; shopcalc new FOLDER makes one"
                faults.append(Fault("the file is missing in this shop", remedy, file=str(folder / name)))
        raise_all(faults)
        published = read_materials()
        materials = _keep(faults, lambda: read_materials(folder, published), published)
        recorded = _keep(faults, lambda: read_machines(folder / "machines.toml"), dict[str, Machine]())
        versions = _keep(faults, lambda: read_versions(folder / MACHINES_LEARNED), tuple[MachineVersion, ...]())
        machines = {name: _as_calibrated(m, versions) for name, m in recorded.items()}
        cutters = _keep(faults, lambda: read_cutters(folder / "cutters.csv"), dict[str, Cutter]())
        rates = _keep(faults, lambda: read_rates(folder / "rates.toml", materials), None)
        ground = {c.id: c.regrinds for c in cutters.values()}
        learned = _keep(faults, lambda: read_learned(folder / "learned.csv", ground), Learned())
        listed, money = folder / "stock.toml", "USD" if rates is None else rates.currency
        rack = _keep(faults, lambda: read_rack(listed, materials, money), Rack()) if listed.exists() else Rack()
        measured = {k: _as_measured(c, learned, folder, faults) for k, c in cutters.items()}
        raise_all(faults)
        assert rates is not None  # a missing one is a fault
        for key, (price, unit) in rates.materials.items():
            materials[key] = replace(choose(materials, key), price=price, price_unit=unit)
        return cls(folder, rates, machines, measured, materials, learned, rack)

    def machine(self, name: str | Path) -> Machine:
        """A machine of the shop by its name, or one read from a TOML file.

        Parameters
        ----------
        name : str or Path
            Name, or path of a .toml file.

        Raises
        ------
        InputError
            When there is none, with the nearest name.
        """
        if str(name) in self.machines:
            return self.machines[str(name)]
        if isinstance(name, Path) or name.lower().endswith(".toml"):
            return read_machine(name)
        remedy = f"{did_you_mean(name, self.machines)} Or name a .toml file"
        raise InputError(Fault(f"there is no machine '{name}'", remedy))

    def cutter(self, key: str) -> Cutter:
        """The cutter of that id, its diameter as last measured.

        Parameters
        ----------
        key : str
            Its id in cutters.csv.

        Raises
        ------
        InputError
            When there is none, with the nearest id.
        """
        if key not in self.cutters:
            raise InputError(Fault(f"there is no cutter '{key}'", did_you_mean(key, self.cutters)))
        return self.cutters[key]

    def material(self, key: str) -> Material:
        """The material of that id; "laminated-ID" of any solid species too.

        Parameters
        ----------
        key : str
            Its id.

        Raises
        ------
        InputError
            When there is none, with the nearest id.
        """
        return choose(self.materials, key)


def _as_calibrated(machine: Machine, versions: Sequence[MachineVersion]) -> Machine:
    """The machine as its newest calibration has it."""
    version = latest(versions, machine.name)
    return machine if version is None else applied(machine, version)


def _as_measured(cutter: Cutter, learned: Learned, folder: Path, faults: list[Fault]) -> Cutter:
    """The cutter with the diameter the shop's newest fit test found, unless it was ground again since."""
    row = learned.latest("true_diameter", cutter=cutter.id, regrinds=cutter.regrinds)
    if row is None:
        return cutter
    if not DIAMETER_RANGE[0] * cutter.diameter <= row.value <= DIAMETER_RANGE[1] * cutter.diameter:
        message = f"true_diameter of {cutter.id}, {row.written}, is far from its 'diameter' of {cutter.diameter:g} mm"
        remedy = f"measure again; take the row of {row.date} back, or enter the cutter as another one"
        faults.append(Fault(message, remedy, file=str(folder / "learned.csv"), field="value"))
        return cutter
    source = "; ".join(t for t in (cutter.source, f"diameter: {row.source}") if t)
    return replace(cutter, measured_diameter=row.value, source=source)


_T = TypeVar("_T")


def _keep(faults: list[Fault], action: Callable[[], _T], default: _T) -> _T:
    """What ``action`` gives; or, when it refuses, the default, and its faults are kept for later."""
    try:
        return action()
    except InputError as e:
        faults += e.faults
        return default


#: What a folder of the demo may hold that a new shop must not begin with: scripts, a log, what was learned.
_OF_ITS_OWN = ("*.py", "__pycache__", ".*", "log.sqlite*", "learned.csv", "machines-learned.csv")


def copy_starter(folder: Path | str) -> Path:
    """Copy the demo shop as a start for one's own: all of it or nothing.

    Parameters
    ----------
    folder : Path or str
        A new folder, or an empty one.

    Returns
    -------
    Path
        The folder, filled.

    Raises
    ------
    InputError
        When it holds something already, or cannot be written.
    """
    target = Path(folder)
    try:
        if target.exists() and (not target.is_dir() or any(target.iterdir())):
            message = "it exists already and is not empty" if target.is_dir() else "there is a file of this name"
            raise InputError(Fault(message, "name a new folder", file=str(target)))
        target.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=target.parent, prefix=".new-shop-") as scratch:
            draft = Path(scratch) / "shop"
            shutil.copytree(demo_folder(), draft, ignore=shutil.ignore_patterns(*_OF_ITS_OWN))
            if target.exists():
                target.rmdir()  # refuses if somebody filled it meanwhile
            draft.rename(target)
    except OSError as e:
        reason = (e.strerror or str(e)).lower()
        raise InputError(Fault(f"it cannot be written ({reason})", "choose another place", file=str(target))) from None
    return target
