"""Machines: axes, spindle, controller, times and stations, read from TOML with every fault at once."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from shopcalc.errors import Fault, raise_all
from shopcalc.moves import Floats
from shopcalc.reading import FieldReader, load_toml
from shopcalc.sources import KINDS, table_for_people

if TYPE_CHECKING:
    import pandas as pd

StationName = Literal["flat", "edge", "end"]
STATIONS: tuple[StationName, ...] = ("flat", "edge", "end")


@dataclass(frozen=True)
class Axis:
    """Limits of one axis; an absent limit is infinite.

    Parameters
    ----------
    rapid, feed : float
        Greatest speed of rapids and of cutting moves [mm/min].
    acceleration : float
        [mm/s2].
    travel : float
        [mm].
    """

    rapid: float = math.inf
    feed: float = math.inf
    acceleration: float = math.inf
    travel: float = math.inf


@dataclass(frozen=True)
class Controller:
    """How the control plans and what its dialect means.

    Parameters
    ----------
    corner : {"tolerance", "speed_jump", "stop", "none"}
        Rule at corners.
    corner_tolerance : float
        How far the path may cut a corner [mm].
    corner_speed_jump : (3,) float
        Step of each axis speed allowed at a corner [mm/s].
    blocks_per_second : float
        Blocks taken per second [1/s].
    look_ahead : int
        Moves known when one starts; 0 is unlimited.
    jerk : float
        [mm/s3].
    chord_curvature : {"off", "speed", "share"}
        Whether fine chords are taken for the curve they stand for: its acceleration bounds the speed, and under
        "share" is also taken from what is left for speeding up and slowing down.
    stop_between_rapid_and_feed : bool
        Whether the machine stops where rapid and feed meet.
    dwell_unit : {"s", "ms"}
        What a dwell's number means.
    units : {"mm", "in"} or None
        What a program means that says no unit; None takes mm with a warning.
    arc_tolerance : float
        Difference of the radii at the two ends of an arc that is still taken [mm].
    arc_centre : {"incremental", "absolute"}
        What I, J and K mean until the program says G90.1 or G91.1.
    skips_marked_blocks : bool
        Whether blocks that begin with '/' are left out (the switch at the control).
    peck_return : {"clear", "retract"}
        How far G83 rises between pecks: to the level it leaves the hole at, or to the retract level R.
    peck_restart : float
        How far above the last depth feeding begins again in G83 [mm].
    chip_break : float
        How far G73 backs off after each peck [mm].
    incremental_r : {"present", "old"}
        From where R counts under G91: from the height in front of the cycle, or from its first one.
    tenths_of_inch : bool
        Whether F after G70 counts tenths of an inch per minute.
    """

    corner: Literal["tolerance", "speed_jump", "stop", "none"] = "none"
    corner_tolerance: float = math.inf
    corner_speed_jump: tuple[float, float, float] = (math.inf, math.inf, math.inf)
    blocks_per_second: float = math.inf
    look_ahead: int = 0
    jerk: float = math.inf
    chord_curvature: Literal["off", "speed", "share"] = "off"
    stop_between_rapid_and_feed: bool = False
    dwell_unit: Literal["s", "ms"] = "s"
    units: Literal["mm", "in"] | None = None
    arc_tolerance: float = 0.05
    arc_centre: Literal["incremental", "absolute"] = "incremental"
    skips_marked_blocks: bool = False
    peck_return: Literal["clear", "retract"] = "clear"
    peck_restart: float = 0.254
    chip_break: float = 0.254
    incremental_r: Literal["present", "old"] = "present"
    tenths_of_inch: bool = False


@dataclass(frozen=True)
class Times:
    """Fixed times, and the way to the cutters.

    Parameters
    ----------
    cutter_change, spindle_start : float
        [s].
    change_place : (3,) float or None
        Where cutters are changed, in machine coordinates; None where the way there is not counted [mm].
    """

    cutter_change: float = 0.0
    spindle_start: float = 0.0
    change_place: tuple[float, float, float] | None = None


@dataclass(frozen=True)
class Spindle:
    """Power over speed, linear between the points given.

    Parameters
    ----------
    rpm : tuple of float
        Ascending [rev/min].
    power : tuple of float
        What the spindle may give continuously at those speeds [W].
    """

    rpm: tuple[float, ...]
    power: tuple[float, ...]

    @property
    def min_rpm(self) -> float:
        """Slowest speed [rev/min]."""
        return self.rpm[0]

    @property
    def max_rpm(self) -> float:
        """Fastest speed [rev/min]."""
        return self.rpm[-1]

    def power_at(self, rpm: float | Floats) -> Floats:
        """Power at a speed [W]; 0 outside the spindle's range.

        Parameters
        ----------
        rpm : float or (n,) float
            [rev/min].
        """
        out: Floats = np.interp(np.asarray(rpm, dtype=float), self.rpm, self.power, left=0.0, right=0.0)
        return out


@dataclass(frozen=True)
class Station:
    """One way a part is held.

    Parameters
    ----------
    name : {"flat", "edge", "end"}
        Laid flat, stood on its long edge, stood on end.
    length, width, height : float
        Greatest extent of a part there along machine x, y and z [mm].
    part_axes : (3,) str
        Which of the part's length, width and thickness lies along machine x, y and z.
    note : str
        Which zero is fixed and which is found for each part.
    stiffness : float or None
        Of frame and drives at the spindle's nose in this station; None where nobody has pushed and measured [N/mm].
    clamp_force : float or None
        All clamps of this station together [N].
    friction : float or None
        Of wood under a clamp's pad [-].
    stands_above : float
        How far the part stands out of its clamp to where it is cut; 0 when it lies on the table [mm].
    base : float or None
        Width of what the part stands on, across the push [mm].
    """

    name: StationName
    length: float = math.inf
    width: float = math.inf
    height: float = math.inf
    part_axes: tuple[str, str, str] = ("length", "width", "thickness")
    note: str = ""
    stiffness: float | None = None
    clamp_force: float | None = None
    friction: float | None = None
    stands_above: float = 0.0
    base: float | None = None


#: Usual lie of a part in each station (geometry): flat; long edge up; end up, so that the spindle runs with the grain.
PART_AXES: dict[StationName, tuple[str, str, str]] = {
    "flat": ("length", "width", "thickness"),
    "edge": ("length", "thickness", "width"),
    "end": ("width", "thickness", "length"),
}


@dataclass(frozen=True)
class Machine:
    """A machine as the motion engine and the quote see it.

    Parameters
    ----------
    name, title : str
        Short name, and what people call it.
    axes : (3,) Axis
        x, y, z.
    controller, times, spindle, stations
        See their classes; no spindle means its limits are unknown.
    feed_share : float
        Feed as run over feed programmed [-].
    source, kind : str
        Where the figures come from and how sure they are.
    more_axes : mapping
        Further axes by their letter, "a" to "c" and "u" to "w"; rotary ones in deg instead of mm.
    work_zeros : mapping
        Where the zeros of G54 (54), G55 (55) ... G59.3 (59.3) lie, in machine coordinates [mm].
    home, second_home : (3,) float or None
        Where G28 and G30 go, in machine coordinates; None where that is not known [mm].
    rack_places : int or None
        Cutters that stand ready, measured, in a rack or in holders of their own; None where that is not known [-].
    calibrated : str
        Date of the logged times its figures come from; empty where they are the record's.
    spread : float or None
        How far logged times then strayed from the engine's, as sigma of the logarithm [-].
    holder : (float, float) or None
        Diameter and length of what holds the cutter under the spindle's nose; None where not measured [mm].
    """

    name: str = "machine"
    title: str = ""
    axes: tuple[Axis, Axis, Axis] = (Axis(), Axis(), Axis())
    controller: Controller = Controller()
    times: Times = Times()
    spindle: Spindle | None = None
    stations: Mapping[str, Station] = field(default_factory=dict)
    feed_share: float = 1.0
    source: str = ""
    kind: str = ""
    more_axes: Mapping[str, Axis] = field(default_factory=dict)
    work_zeros: Mapping[float, tuple[float, float, float]] = field(default_factory=dict)
    home: tuple[float, float, float] | None = None
    second_home: tuple[float, float, float] | None = None
    rack_places: int | None = None
    calibrated: str = ""
    spread: float | None = None
    holder: tuple[float, float] | None = None

    @property
    def called(self) -> str:
        """What outputs call it: "machine 'router'", or "machine 'router', calibrated 2026-03-02"."""
        return f"machine '{self.name}'" + (f", calibrated {self.calibrated}" if self.calibrated else "")

    def with_(self, **changes: Any) -> Machine:
        """The same machine with some fields changed."""
        return replace(self, **changes)


_TOP = (
    "title", "axes", "controller", "times", "spindle", "stations", "feed_share", "source", "kind", "note", "name",
    "places", "rack", "holder",
)  # fmt: skip
_CONTROLLER = (
    "corner", "corner_tolerance", "corner_speed_jump", "blocks_per_second", "look_ahead", "jerk", "chord_curvature",
    "stop_between_rapid_and_feed", "dwell_unit", "units", "arc_tolerance", "arc_centre", "skips_marked_blocks",
    "peck_return", "peck_restart", "chip_break", "incremental_r", "tenths_of_inch",
)  # fmt: skip
_ROTARY = "abc"
_DEGREES = 180.0 / math.pi
_MORE_AXES = "abcuvw"
#: Places in machine coordinates: by their name in a file, the work zero they are or None.
_PLACES: dict[str, float | None] = {
    "home": None, "second_home": None, "cutter_change": None,
    **{f"g{n:g}": n for n in (54, 55, 56, 57, 58, 59, 59.1, 59.2, 59.3)},
}  # fmt: skip

#: How firmly a station holds, and what each figure measures.
_HELD = {
    "stiffness": "stiffness", "clamp_force": "force", "friction": "ratio", "stands_above": "length", "base": "length",
}  # fmt: skip
_STATION = ("length", "width", "height", "part_axes", "note", *_HELD)


def _machine(name: str, data: Mapping[str, Any], file: str, prefix: str) -> tuple[Machine, list[Fault]]:
    r = FieldReader(file, prefix)
    several = [k for k, v in data.items() if k not in _TOP and isinstance(v, dict) and "axes" in v]
    if several and not prefix:
        r.fault(several[0], "the file holds several machines, one is wanted", "name a file with one machine in it")
        return Machine(), r.faults
    r.known(data, _TOP)
    axes_table = r.table(data, "axes")
    r.known(axes_table, (*"xyz", *_MORE_AXES), "axes.")
    axes = tuple(_axis(r, axes_table, k) for k in "xyz")
    places = {k: p for k in _PLACES if (p := _place(r, r.table(data, "places"), k)) is not None}
    r.known(r.table(data, "places"), tuple(_PLACES), "places.")
    times = r.table(data, "times")
    r.known(times, ("cutter_change", "spindle_start"), "times.")
    machine = Machine(
        name=r.text(data, "name") or name,
        title=r.text(data, "title") or name,
        axes=(axes[0], axes[1], axes[2]),
        controller=_controller(r, r.table(data, "controller")),
        times=Times(
            r.quantity(times, "cutter_change", "times.", "time", 0.0, zero=True),
            r.quantity(times, "spindle_start", "times.", "time", 0.0, zero=True),
            places.get("cutter_change"),
        ),
        spindle=_spindle(r, r.table(data, "spindle")) if "spindle" in data else None,
        stations=_stations(r, r.table(data, "stations")),
        feed_share=r.quantity(data, "feed_share", "", "ratio", 1.0, maximum=3.0),
        source=r.text(data, "source"),
        kind=r.choice(data, "kind", "", tuple(KINDS), ""),
        more_axes={k: _axis(r, axes_table, k) for k in _MORE_AXES if k in axes_table},
        work_zeros={n: places[k] for k, n in _PLACES.items() if n is not None and k in places},
        home=places.get("home"),
        second_home=places.get("second_home"),
        rack_places=_rack(r, r.table(data, "rack")),
        holder=_holder(r, r.table(data, "holder")),
    )
    return machine, r.faults


def _place(r: FieldReader, places: Mapping[str, Any], key: str) -> tuple[float, float, float] | None:
    """A place in machine coordinates; each axis it does not name is 0."""
    if key not in places:
        return None
    data, where = r.table(places, key, "places."), f"places.{key}."
    r.known(data, ("x", "y", "z"), where)
    at = [r.quantity(data, k, where, "length", 0.0, signed=True) for k in "xyz"]
    return at[0], at[1], at[2]


def _holder(r: FieldReader, data: Mapping[str, Any]) -> tuple[float, float] | None:
    """Diameter and length of what holds the cutter, both or neither."""
    r.known(data, ("diameter", "length"), "holder.")
    if not data:
        return None
    for key in ("diameter", "length"):
        if key not in data:
            r.fault(f"holder.{key}", f"the holder's {key} is missing", f'measure it and write {key} = "50 mm"')
    diameter, length = (r.quantity(data, k, "holder.", "length", 1.0) for k in ("diameter", "length"))
    return diameter, length


def _rack(r: FieldReader, data: Mapping[str, Any]) -> int | None:
    r.known(data, ("places",), "rack.")
    return r.count(data, "places", "rack.", 1) if "places" in data else None


def _axis(r: FieldReader, axes: Mapping[str, Any], key: str) -> Axis:
    data, where = r.table(axes, key, "axes."), f"axes.{key}."
    r.known(data, ("rapid", "feed", "acceleration", "travel"), where)
    if key in _ROTARY:  # a turning speed is read in rev/min, an angle in rad; further axes count degrees
        kinds, sizes = (
            ("spindle_speed", "spindle_speed", "turning_acceleration", "angle"),
            (360.0, 360.0, 1.0, _DEGREES),
        )
    else:
        kinds, sizes = ("feed", "feed", "acceleration", "length"), (1.0, 1.0, 1.0, 1.0)
    limits = ("rapid", "feed", "acceleration", "travel")
    return Axis(
        **{
            name: r.quantity(data, name, where, kind, math.inf) * size
            for name, kind, size in zip(limits, kinds, sizes, strict=True)
        }
    )


def _controller(r: FieldReader, data: Mapping[str, Any]) -> Controller:
    where = "controller."
    r.known(data, _CONTROLLER, where)
    rules = [k for k in ("corner_tolerance", "corner_speed_jump") if k in data]
    word = r.choice(data, "corner", where, ("tolerance", "speed_jump", "stop", "none"), None)
    fits = {"tolerance": "corner_tolerance", "speed_jump": "corner_speed_jump"}
    if len(rules) > 1 or (word and rules and fits.get(word) != rules[0]):
        given = ", ".join(rules + ([f'corner = "{word}"'] if word else []))
        r.fault(where + rules[0], f"more than one corner rule is given ({given})", "keep the one your control uses")
    if word in fits and not rules:
        r.fault(where + "corner", f'corner = "{word}" needs its value', f'add e.g. {fits[word]} = "0.02 mm"')
    corner: Any = word or {"corner_tolerance": "tolerance", "corner_speed_jump": "speed_jump"}.get(
        "".join(rules[:1]), "none"
    )
    blocks = data.get("blocks_per_second")
    if isinstance(blocks, int) and not isinstance(blocks, bool) and blocks > 0:
        rate = float(blocks)
    else:
        rate = r.quantity(data, "blocks_per_second", where, "rate", math.inf)
    yes = {}
    for key in ("stop_between_rapid_and_feed", "skips_marked_blocks", "tenths_of_inch"):
        yes[key] = data.get(key, False)
        if not isinstance(yes[key], bool):
            r.fault(where + key, f"{yes[key]!r} is not yes or no", "write true or false")
    return Controller(
        corner=corner,
        corner_tolerance=r.quantity(data, "corner_tolerance", where, "length", math.inf),
        corner_speed_jump=_speed_jump(r, data),
        blocks_per_second=rate,
        look_ahead=r.count(data, "look_ahead", where, 0),
        jerk=r.quantity(data, "jerk", where, "jerk", math.inf),
        chord_curvature=r.choice(data, "chord_curvature", where, ("off", "speed", "share"), "off"),
        stop_between_rapid_and_feed=bool(yes["stop_between_rapid_and_feed"]),
        dwell_unit=r.choice(data, "dwell_unit", where, ("s", "ms"), "s"),
        units=r.choice(data, "units", where, ("mm", "in"), None),
        arc_tolerance=r.quantity(data, "arc_tolerance", where, "length", 0.05),
        arc_centre=r.choice(data, "arc_centre", where, ("incremental", "absolute"), "incremental"),
        skips_marked_blocks=bool(yes["skips_marked_blocks"]),
        peck_return=r.choice(data, "peck_return", where, ("clear", "retract"), "clear"),
        peck_restart=r.quantity(data, "peck_restart", where, "length", 0.254, zero=True),
        chip_break=r.quantity(data, "chip_break", where, "length", 0.254, zero=True),
        incremental_r=r.choice(data, "incremental_r", where, ("present", "old"), "present"),
        tenths_of_inch=bool(yes["tenths_of_inch"]),
    )


def _speed_jump(r: FieldReader, data: Mapping[str, Any]) -> tuple[float, float, float]:
    value, where = data.get("corner_speed_jump"), "controller.corner_speed_jump"
    if isinstance(value, dict):
        r.known(value, ("x", "y", "z"), where + ".")
        jumps = [r.quantity(value, k, where + ".", "speed", math.inf) for k in "xyz"]
    else:
        jumps = [r.quantity(data, "corner_speed_jump", "controller.", "speed", math.inf)] * 3
    return jumps[0], jumps[1], jumps[2]


def _spindle(r: FieldReader, data: Mapping[str, Any]) -> Spindle | None:
    r.known(data, ("rpm", "power"), "spindle.")
    before = len(r.faults)
    rpm = _list(r, data, "rpm", "spindle_speed")
    power = _list(r, data, "power", "power")
    if len(r.faults) > before:
        return None
    if len(rpm) != len(power):
        r.fault(
            "spindle.power", f"{len(power)} values stand against {len(rpm)} of 'rpm'", "give the power at each speed"
        )
    if any(b <= a for a, b in itertools.pairwise(rpm)):
        r.fault("spindle.rpm", "the speeds do not ascend", "sort them from slow to fast, each once")
    return None if len(r.faults) > before else Spindle(rpm, power)


def _list(r: FieldReader, data: Mapping[str, Any], key: str, quantity: str) -> tuple[float, ...]:
    values, where = data.get(key), f"spindle.{key}"
    if not isinstance(values, list) or len(values) < 2:
        r.fault(where, "it is not a list of at least two values", "give two or more speeds and the power at each")
        return ()
    numbered = {f"[{i}]": v for i, v in enumerate(values)}
    return tuple(r.quantity(numbered, i, where, quantity, 0.0) for i in numbered)


def _stations(r: FieldReader, data: Mapping[str, Any]) -> dict[str, Station]:
    r.known(data, STATIONS, "stations.")
    out: dict[str, Station] = {}
    for name in STATIONS:
        if name not in data:
            continue
        given, where = r.table(data, name, "stations."), f"stations.{name}."
        r.known(given, _STATION, where)
        size = [r.quantity(given, k, where, "length", math.inf) for k in ("length", "width", "height")]
        lie = given.get("part_axes", PART_AXES[name])
        if not isinstance(lie, (list, tuple)) or sorted(map(str, lie)) != ["length", "thickness", "width"]:
            remedy = 'write each of "length", "width", "thickness" once, in the order of machine x, y, z'
            r.fault(where + "part_axes", f"{lie!r} does not say how the part lies", remedy)
            lie = PART_AXES[name]
        axes = (str(lie[0]), str(lie[1]), str(lie[2]))
        held = {
            key: r.quantity(given, key, where, quantity, 0.0, zero=key == "stands_above")
            for key, quantity in _HELD.items()
            if key in given
        }
        out[name] = Station(name, size[0], size[1], size[2], axes, r.text(given, "note", where), **held)
    return out


def read_machine(path: Path | str) -> Machine:
    """Read one machine from a TOML file with [axes.x], [controller], [times] ... at its top level or in one table.

    Parameters
    ----------
    path : Path or str
        The file.

    Raises
    ------
    InputError
        With every fault found: file, dotted field, value and remedy.
    """
    data = load_toml(path)
    name, prefix = Path(path).stem, ""
    only = next(iter(data)) if len(data) == 1 else ""
    if only and only not in _TOP and isinstance(data[only], dict) and "axes" in data[only]:
        name, prefix, data = only, f"{only}.", data[only]  # written as in a shop's machines.toml
    machine, faults = _machine(name, data, str(path), prefix)
    raise_all(faults)
    return machine


def read_machines(path: Path | str) -> dict[str, Machine]:
    """Read all machines of a shop from a TOML file with one table per machine: [router.axes.x] ...

    Parameters
    ----------
    path : Path or str
        The file.

    Raises
    ------
    InputError
        With every fault of every machine.
    """
    out: dict[str, Machine] = {}
    faults: list[Fault] = []
    for name, data in load_toml(path).items():
        if not isinstance(data, dict) or name in {"axes", "controller", "times", "spindle", "stations", "holder"}:
            remedy = "give each machine its own table, e.g. [router.axes.x]"
            faults.append(Fault("this is not a machine", remedy, file=str(path), field=name))
            continue
        out[name], found = _machine(name, data, str(path), f"{name}.")
        faults += found
    raise_all(faults)
    return out


def frame(machines: Mapping[str, Machine]) -> pd.DataFrame:
    """Machines as a table for people, one a row; what has no limit is inf.

    Parameters
    ----------
    machines : mapping
        By name.

    Returns
    -------
    pandas.DataFrame
        Units stand in the column names and in ``attrs["units"]``.
    """
    rows, units = [], {"max_rpm_rev_min": "rev/min", "cutter_change_s": "s"}
    for m in machines.values():
        row: dict[str, Any] = {"name": m.name, "title": m.title}
        for letter, axis in zip("xyz", m.axes, strict=True):
            for key, unit in (("rapid", "mm/min"), ("feed", "mm/min"), ("acceleration", "mm/s2"), ("travel", "mm")):
                column = f"{key}_{letter}_{unit.replace('/', '_')}"
                row[column], units[column] = getattr(axis, key), unit
        row["max_rpm_rev_min"] = m.spindle.max_rpm if m.spindle else None
        row |= {"cutter_change_s": m.times.cutter_change, "corner": m.controller.corner, "kind": m.kind}
        rows.append(row)
    return table_for_people(rows, units, "name")
