"""What the shop owns to hold work with, read from TOML, and where it is put: forces and keep-outs."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from shopcalc.cutting.engagement import refuse
from shopcalc.errors import Fault, raise_all
from shopcalc.holding.keep_outs import KeepOut, box, cylinder
from shopcalc.reading import FieldReader, load_toml

FixtureKind = Literal["clamp", "stop", "bolt", "vacuum", "plate"]
_KINDS: tuple[FixtureKind, ...] = ("clamp", "stop", "bolt", "vacuum", "plate")
_SIZES = {
    "force": "force", "bears": "force", "length": "length", "width": "length", "height": "length",
    "diameter": "length", "area": "area", "pressure": "pressure",
}  # fmt: skip


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


def read_fixtures(path: Path | str) -> dict[str, Fixture]:
    """Read a shop's fixtures.

    Parameters
    ----------
    path : Path or str
        A TOML file with one table for each thing, as ``data/fixtures.toml``.

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
        out[key] = _fixture(r, key, data)
        faults += r.faults
    raise_all(faults)
    return out


def _fixture(r: FieldReader, key: str, data: dict[str, Any]) -> Fixture:
    r.known(data, ("title", "kind", "source", *_SIZES))
    kind = r.choice(data, "kind", "", _KINDS, "clamp")
    if "kind" not in data:
        r.fault("kind", "what it does is not said", f"write one of: {', '.join(_KINDS)}")
    size = {name: r.quantity(data, name, "", quantity, 0.0) for name, quantity in _SIZES.items()}
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
    return Fixture(key, r.text(data, "title") or key, kind, source=r.text(data, "source"), **size)
