"""What the shop owns to hold work with, read from TOML, and where it is put: forces and keep-outs."""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any, Literal

from shopcalc.cutting.engagement import refuse
from shopcalc.errors import Fault, raise_all
from shopcalc.holding.keep_outs import KeepOut, box, cylinder
from shopcalc.reading import FieldReader, load_toml
from shopcalc.units import read_money

FixtureKind = Literal["clamp", "stop", "bolt", "vacuum", "plate"]
_KINDS: tuple[FixtureKind, ...] = ("clamp", "stop", "bolt", "vacuum", "plate")
_SIZES = {
    "force": "force", "bears": "force", "length": "length", "width": "length", "height": "length",
    "diameter": "length", "area": "area", "pressure": "pressure",
}  # fmt: skip
_TAKES = ("smallest", "largest", "thinnest", "thickest")
_OWNING = ("owned", "price", "to_make", "to_set", "lasts", "stations")
_STATIONS = ("flat", "edge", "end")


@dataclass(frozen=True)
class Fixture:
    """One kind of thing that holds.

    Parameters
    ----------
    id, title : str
        Its name in the table, and what people call it.
    kind : {"clamp", "stop", "bolt", "vacuum", "plate"}
        What it does.
    force : float
        Pressing the wood down; of vacuum, area times pressure [N].
    bears : float
        Push from the side that it takes [N].
    length, width, height, diameter : float
        Of its body; a diameter makes it round [mm].
    source : str
        Where the figures come from.
    owned : int or None
        How many the shop has; None where the table does not say [-].
    price : Decimal
        Of one more [currency].
    to_make, to_set : float
        By hand before first use, and each time a load is clamped [s].
    lasts : int or None
        Loads until it is worn out; None where it is not known [-].
    stations : tuple of str
        Where it can be used.
    smallest, largest : float
        Shorter side of a part lying down that it takes at least, longer side at most [mm].
    thinnest, thickest : float
        Height of the part as it lies [mm].
    """

    id: str
    title: str
    kind: FixtureKind
    force: float = 0.0
    bears: float = 0.0
    length: float = 0.0
    width: float = 0.0
    height: float = 0.0
    diameter: float = 0.0
    source: str = ""
    owned: int | None = None
    price: Decimal = Decimal(0)
    to_make: float = 0.0
    to_set: float = 0.0
    lasts: int | None = None
    stations: tuple[str, ...] = ("flat",)
    smallest: float = 0.0
    largest: float = math.inf
    thinnest: float = 0.0
    thickest: float = math.inf


@dataclass(frozen=True)
class Placed:
    """A fixture where it stands.

    Parameters
    ----------
    fixture : Fixture
        Which.
    x, y : float
        Its middle, where it presses too unless ``presses`` says another place [mm].
    turn : float
        Of its length against x [rad].
    on : float
        Height it stands on, in the program's coordinates [mm].
    presses : (2,) float or None
        Where its pad presses the wood [mm].
    stops : (2,) float or None
        Direction of motion that a stop blocks, as (1, 0) for one at the part's far x end [-].
    name : str
        To tell it from others of its kind.
    """

    fixture: Fixture
    x: float
    y: float
    turn: float = 0.0
    on: float = 0.0
    presses: tuple[float, float] | None = None
    stops: tuple[float, float] | None = None
    name: str = ""

    @property
    def pad(self) -> tuple[float, float]:
        """Where it presses [mm]."""
        return self.presses or (self.x, self.y)

    def keep_out(self) -> KeepOut:
        """Its body as a keep-out."""
        f, name = self.fixture, self.name or self.fixture.id
        if f.height <= 0 or (f.diameter <= 0 and min(f.length, f.width) <= 0):
            refuse(f"fixture '{f.id}' has no body", "enter height, and length and width or a diameter")
        if f.diameter > 0:
            return cylinder(name, self.x, self.y, f.diameter, bottom=self.on, top=self.on + f.height)
        return box(name, self.x, self.y, f.length, f.width, bottom=self.on, top=self.on + f.height, turn=self.turn)


def read_fixtures(path: Path | str, currency: str = "USD") -> dict[str, Fixture]:
    """Read a shop's fixtures.

    Parameters
    ----------
    path : Path or str
        A TOML file with one table for each thing, as ``data/fixtures.toml``.
    currency : str
        That prices are in.

    Returns
    -------
    dict
        Id to Fixture.

    Raises
    ------
    InputError
        With every fault: file, field, value and remedy.
    """
    out, faults = {}, list[Fault]()
    for key, data in load_toml(path).items():
        r = FieldReader(str(path), f"{key}.")
        if not isinstance(data, dict):
            faults.append(Fault(f"{data!r} is not a table", f"write a section [{key}]", file=str(path), field=key))
            continue
        out[key] = _fixture(r, key, data, currency)
        faults += r.faults
    raise_all(faults)
    return out


def _fixture(r: FieldReader, key: str, data: dict[str, Any], currency: str) -> Fixture:
    r.known(data, ("title", "kind", "source", *_SIZES, *_TAKES, *_OWNING))
    kind = r.choice(data, "kind", "", _KINDS, "clamp")
    if "kind" not in data:
        r.fault("kind", "what it does is not said", f"write one of: {', '.join(_KINDS)}")
    size: dict[str, Any] = {name: r.quantity(data, name, "", quantity, 0.0) for name, quantity in _SIZES.items()}
    area, pressure = size.pop("area"), size.pop("pressure")
    if kind == "vacuum":
        if not (area and pressure) or size["force"]:
            r.fault("area", "vacuum holds by area and pressure", "write both, and no force")
        if pressure > 0.1013:  # MPa: the standard atmosphere
            r.fault("pressure", f"{pressure:g} MPa is more than the air's own", "read the gauge again")
        size["force"] = area * pressure
    elif area or pressure:
        r.fault("area", f"a {kind} has no area or pressure", 'leave them out, or write kind = "vacuum"')
    if kind in ("clamp", "bolt") and not size["force"]:
        r.fault("force", f"a {kind} needs the force it presses with", 'pull it with a spring scale; write "900 N"')
    if kind == "stop" and not size["bears"]:
        r.fault("bears", "a stop needs the push it takes", 'write it, e.g. "2000 N"')
    return Fixture(
        key, r.text(data, "title") or key, kind, source=r.text(data, "source"), **size, **_takes(r, data),
        **_owning(r, data, currency),
    )  # fmt: skip


def _takes(r: FieldReader, data: dict[str, Any]) -> dict[str, Any]:
    """Parts that it takes; nothing said takes every part that lies flat."""
    sizes = {k: r.quantity(data, k, "", "length", 0.0) for k in _TAKES if k in data}
    for low, high in (("smallest", "largest"), ("thinnest", "thickest")):
        if sizes.get(low, 0.0) > sizes.get(high, math.inf):
            r.fault(low, f"{low} is above {high}, so no part fits", "write the lesser one first")
    stations = data.get("stations", ["flat"])
    if not isinstance(stations, list) or not stations or any(s not in _STATIONS for s in stations):
        r.fault("stations", f"{stations!r} are not stations", 'write some of them: ["flat", "edge", "end"]')
        stations = ["flat"]
    return {**sizes, "stations": tuple(stations)}


def _owning(r: FieldReader, data: dict[str, Any], currency: str) -> dict[str, Any]:
    """How many there are, and what one more costs."""
    owned = data.get("owned")
    if owned is not None and (isinstance(owned, bool) or not isinstance(owned, int) or not 0 <= owned <= 10_000):
        r.fault("owned", f"{owned!r} is not how many there are", "write a whole number, 0 where you have none")
        owned = None
    price = Decimal(0)
    if "price" in data:
        price = r.attempt("price", price, lambda: read_money(data["price"], currency))
    return {
        "owned": owned, "price": price, "lasts": r.count(data, "lasts", "", 1) if "lasts" in data else None,
        **{k: r.quantity(data, k, "", "time", 0.0, zero=True) for k in ("to_make", "to_set")},
    }  # fmt: skip
