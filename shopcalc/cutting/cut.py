"""A cut as asked for: cutter, wood, machine, grain, clamps, springs, forces; how it may be divided into passes."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from shopcalc.cutters import Cutter
from shopcalc.cutting.deflection import Give, work_stiffness
from shopcalc.cutting.engagement import refuse, require_positive, spindle_speed
from shopcalc.cutting.force import BANDS, Band, Coefficients, coefficients
from shopcalc.cutting.grain import Direction, Station, Vector
from shopcalc.errors import did_you_mean
from shopcalc.machines import STATIONS, Machine
from shopcalc.materials import Material
from shopcalc.sources import Value, practice

SMALL = 16.0  # mm; EN 847-1 does not cover smaller cutting circles
SLENDER = 6.0  # mm; the window's thick end is meant for cutters from here on and shrinks with thinner ones


@dataclass(frozen=True)
class Hold:
    """How a part is held at its station.

    Parameters
    ----------
    clamp_force : float or None
        All clamps together [N]; None where it is not known.
    friction : float
        Under the clamps [-].
    above : float
        From the clamp to the middle of the cut [mm].
    base : float or None
        Width of what the part stands on, across the push [mm].
    source : str
        Where the force comes from.
    """

    clamp_force: float | None = None
    friction: float = 0.3
    above: float = 0.0
    base: float | None = None
    source: str = "not known"


@dataclass(frozen=True)
class Cut:
    """One cut as asked for, with all that its bounds depend on; made by ``ask``.

    Parameters
    ----------
    cutter, material, machine : Cutter, Material, Machine
        What cuts, what is cut, and where.
    station : {"flat", "edge", "end"}
        How the part is held.
    grain : (3,) float
        From ``grain.grain_vector`` [-].
    depth, width : float
        In total, the width without the skim [mm].
    skim : float
        Kept on the wall for one last lap at full depth [mm].
    length : float
        Of one pass [mm].
    in_solid : bool
        Whether the first pass has wood on both sides.
    greatest_push_off : float
        Error allowed on the finished wall [mm].
    hold : Hold
        Clamps.
    give : mapping
        Band to the springs in series with the cutter: the low band is the stiff one.
    coefficients : mapping
        Band to what the wood asks of the edge.
    depth_share : Value
        Greatest level over the diameter that practice allows for this lie of the grain.
    wear : float
        Of the edge, 0 sharp to 1 dull [-].
    learned : mapping
        What the shop's own test cuts bound: "greatest_feed_per_tooth" [mm/tooth], "greatest_depth" [mm].
    """

    cutter: Cutter
    material: Material
    machine: Machine
    station: Station
    grain: Vector
    depth: float
    width: float
    skim: float
    length: float
    in_solid: bool
    greatest_push_off: float
    hold: Hold
    give: Mapping[Band, Give]
    coefficients: Mapping[Band, Coefficients]
    depth_share: Value
    wear: float = 0.0
    learned: Mapping[str, Value] = field(default_factory=dict)

    @property
    def tip(self) -> float:
        """Diameter that has to bear the chip: a tapered ball breaks at its tip [mm]."""
        return self.cutter.tip_diameter if self.cutter.shape == "tapered ball" else self.cutter.true_diameter

    @property
    def chip_thin(self) -> float:
        """Thin end of the window of the mean chip; a dull edge rubs sooner [mm]."""
        return self.material.chip_thin * (1 + habit("wear_chip") * self.wear)

    @property
    def chip_thick(self) -> float:
        """Thick end of the window of the mean chip, less for slender cutters [mm]."""
        return max(self.chip_thin, self.material.chip_thick * min(1.0, self.tip / SLENDER))

    @property
    def greatest_feed_per_tooth(self) -> float:
        """Share of the diameter that practice allows, or less where the shop's own ladder tore [mm/tooth]."""
        own = self.learned.get("greatest_feed_per_tooth")
        share = habit("feed_per_tooth_share") * self.tip
        return share if own is None else min(share, own.value)

    @property
    def deepest(self) -> float:
        """Deepest level practice allows for grain and stick-out, or less where the shop's own ladder says so [mm]."""
        slender = self.cutter.stick_out / self.cutter.true_diameter / habit("stick_out_share")
        usual = float(self.depth_share.value) * self.cutter.true_diameter / max(1.0, slender)
        own = self.learned.get("greatest_depth")
        return usual if own is None else min(usual, own.value)

    @property
    def stiffness_known(self) -> bool:
        """Whether the machine says how stiff it is at this station."""
        held = self.machine.stations.get(self.station)
        return held is not None and held.stiffness is not None


def habit(name: str) -> float:
    """A figure of common practice as a number in house units.

    Parameters
    ----------
    name : str
        As in ``sources.practice``.

    Returns
    -------
    float
        House unit.
    """
    return float(practice()[name].value)


def cited(value: Value) -> str:
    """Where a figure comes from, in the words of the trade.

    Parameters
    ----------
    value : Value
        Any.

    Returns
    -------
    str
    """
    return "common practice, no source" if value.kind == "practice" else value.cited


def ask(
    cutter: Cutter,
    material: Material,
    machine: Machine,
    *,
    station: Station,
    grain: Vector,
    depth: float,
    width: float,
    length: float = 1000.0,
    skim: float = 0.0,
    in_solid: bool = False,
    greatest_push_off: float | None = None,
    wear: float = 0.0,
    moisture: float | None = None,
    part: tuple[float, float] | None = None,
    hold: Hold | None = None,
    force: Mapping[Band, Coefficients] | None = None,
    learned: Mapping[str, Value] | None = None,
) -> Cut:
    """Put together one cut and refuse what makes no sense.

    Parameters
    ----------
    cutter : Cutter
        Any but a drill.
    material : Material
        What is cut.
    machine : Machine
        Spindle, axes, and what its stations hold.
    station : {"flat", "edge", "end"}
        How the part is held.
    grain : (3,) float
        From ``grain.grain_vector`` [-].
    depth, width : float
        In total [mm].
    length : float
        Of one pass [mm].
    skim : float
        Kept of the width for one last lap [mm].
    in_solid : bool
        Whether the first pass has wood on both sides.
    greatest_push_off : float or None
        Error allowed on the wall [mm]; None for practice.
    wear : float
        Of the edge, 0 sharp to 1 dull [-].
    moisture : float or None
        Of the wood [ratio].
    part : (2,) float or None
        Width and thickness of the section that stands out of the clamp [mm].
    hold : Hold or None
        None for what the machine's station says.
    force : mapping or None
        Band to coefficients; None for the shipped ones.
    learned : mapping or None
        See ``Cut``.

    Returns
    -------
    Cut

    Raises
    ------
    InputError
        With what is wrong and what to do.
    """
    require_positive(cut_depth=depth, cut_width=width, length=length)
    if station not in STATIONS:
        refuse(f"station '{station}' is not known", did_you_mean(str(station), STATIONS))
    if machine.stations and station not in machine.stations:
        refuse(f"machine '{machine.name}' has no station '{station}'", did_you_mean(station, machine.stations))
    if cutter.shape == "drill":
        refuse(f"{cutter.id} is a drill and cuts only straight down", "choose a cutter that cuts sideways")
    if not 0 < cutter.stick_out < cutter.overall_length - 1e-6:
        message = (
            f"{cutter.id} would stick out {cutter.stick_out:g} mm of its {cutter.overall_length:g} mm: nothing is held"
        )
        refuse(message, "push it further into the collet")
    if not (math.isfinite(skim) and skim >= 0):
        refuse(f"a skim of {skim:g} mm cannot be used", "give a skim of zero or more")
    if skim >= width:
        refuse(f"a skim of {skim:g} mm leaves nothing of the {width:g} mm cut", "keep a thinner skim")
    allowed = habit("push_off") if greatest_push_off is None else greatest_push_off
    require_positive(greatest_push_off=allowed)
    held = machine.stations.get(station)
    above = (held.stands_above if held is not None else 0.0) if hold is None else hold.above
    work = work_stiffness(above, *part) if part is not None else math.inf
    give: dict[Band, Give] = {}
    for band, opposite in zip(BANDS, reversed(BANDS), strict=True):  # the high error comes of the soft machine
        known = held.stiffness if held is not None else None
        frame = habit(f"machine_stiffness.{opposite}") if known is None else known
        give[band] = Give(habit(f"holder_stiffness.{opposite}"), frame, work)
    return Cut(
        cutter,
        material,
        machine,
        station,
        grain,
        depth,
        width - skim,
        skim,
        length,
        in_solid,
        allowed,
        hold or station_hold(machine, station),
        give,
        force or coefficients(material, rake=cutter.rake, moisture=moisture, wear=wear),
        depth_share(station, grain),
        wear,
        learned or {},
    )


def station_hold(machine: Machine, station: Station) -> Hold:
    """Clamps of a machine's station.

    Parameters
    ----------
    machine : Machine
        Its record says what is known.
    station : {"flat", "edge", "end"}
        Which.

    Returns
    -------
    Hold
    """
    held = machine.stations.get(station)
    if held is None:
        return Hold()
    friction = habit("friction") if held.friction is None else held.friction
    source = machine.source or f"machine '{machine.name}'"
    return Hold(held.clamp_force, friction, held.stands_above, held.base, source)


def depth_share(station: Station, grain: Vector) -> Value:
    """Greatest level over the diameter in practice, blended by the squared cosine between along and across.

    Parameters
    ----------
    station : {"flat", "edge", "end"}
        How the part is held.
    grain : (3,) float
        From ``grain.grain_vector`` [-].

    Returns
    -------
    Value
        [ratio]; common practice, no source.
    """
    along, across, end = (practice()[f"depth_share.{k}"] for k in ("along", "across", "end"))
    level = math.hypot(grain[0], grain[1])
    if station == "end" or level < 1e-9:
        return end
    c2 = (grain[0] / level) ** 2
    nearer = along if c2 > 0.5 else across
    blend = c2 * along.value + (1 - c2) * across.value
    return Value(blend, nearer.unit, nearer.source, nearer.place, nearer.kind, nearer.note)


def cutter_rpm(cutter: Cutter) -> tuple[float, str, str]:
    """Greatest speed a cutter may turn.

    Parameters
    ----------
    cutter : Cutter
        Its mark and the maker's figure count.

    Returns
    -------
    rpm, source, remedy : float, str, str
        [rev/min]; for a cutter of which nothing is known, what practice would show at most, which is no permission.
    """
    below = "" if cutter.true_diameter >= SMALL else f"; EN 847-1 covers no cutting circle under {SMALL:g} mm"
    known = [
        (rpm, source)
        for rpm, source in ((cutter.marked_rpm, "marked on the cutter"), (cutter.maker_rpm, "maker's data sheet"))
        if rpm is not None
    ]
    if known:
        rpm, source = min(known)
        return rpm, source + below, "turn slower; the mark holds at the projection the maker states"
    rim = float(spindle_speed(cutter.true_diameter, rim_habit(cutter).value / 1000))
    source = f"neither marked nor in a maker's sheet; shown at what practice allows at most{below}"
    remedy = "find its greatest speed first and enter it as marked_rpm or maker_rpm"
    return min(habit("unmarked_rpm"), rim), source, remedy


def rim_habit(cutter: Cutter) -> Value:
    """Rim speed practice allows for the cutter's body.

    Parameters
    ----------
    cutter : Cutter
        Its body counts.

    Returns
    -------
    Value
        [mm/s].
    """
    return practice()["rim_speed_carbide" if cutter.body == "carbide" else "rim_speed_steel"]


@dataclass(frozen=True)
class Pass:
    """One way of dividing a cut into passes.

    Parameters
    ----------
    levels, side_steps : int
        [-].
    level, width : float
        Of the heaviest pass [mm].
    direction : {"climb", "conventional"}
        Of the pass that leaves the wall.
    last_width : float or None
        Of the pass that leaves the wall when it is narrower than the heaviest [mm].
    """

    levels: int
    side_steps: int
    level: float
    width: float
    direction: Direction
    last_width: float | None = None

    @property
    def passes(self) -> int:
        """Levels times side steps."""
        return self.levels * self.side_steps
