"""Tenons compared: on end in one clamping, or lying flat with any cutter of the rack and turned over in between."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any

from shopcalc.cutters import Cutter
from shopcalc.cutting.engagement import refuse
from shopcalc.cutting.tuning import Costs, Setting, StationName, tune
from shopcalc.errors import InputError
from shopcalc.machines import Machine
from shopcalc.materials import Material
from shopcalc.motion import machine_time
from shopcalc.moves import Moves
from shopcalc.paths.joinery import Tenon, rebate, tenon
from shopcalc.paths.tracing import Cutting, in_turn

_FLAT = ("square end", "surfacing", "compression")


@dataclass(frozen=True)
class TenonPlan:
    """One way of cutting a tenon.

    Parameters
    ----------
    station : {"flat", "end"}
        How the rail is held.
    cutter : Cutter
        Which.
    setting : Setting
        Tuned for the cheeks; its minutes are those of the machine for the low, likely and high force.
    moves : Moves
        The whole path at that setting; lying flat both faces one after the other.
    loads : int
        Clampings of the rail [-].
    handling : float
        Clamping, turning and finding zero for all of them [min].
    """

    station: StationName
    cutter: Cutter
    setting: Setting
    moves: Moves
    loads: int
    handling: float

    @property
    def path_length(self) -> float:
        """Of all cutting moves, down into the cut and through the air beside it too [mm]."""
        return float(self.moves.cutting_length)

    @property
    def minutes(self) -> dict[str, float]:
        """Machine minutes at low, likely and high force [min]."""
        return self.setting.minutes

    @property
    def total(self) -> dict[str, float]:
        """Machine and handling together at low, likely and high force [min]."""
        return {k: v + self.handling for k, v in self.setting.minutes.items()}

    @property
    def thickness_error(self) -> dict[str, tuple[float, float]]:
        """How much too thick (positive) the tenon comes out: (bottom, top) of a level on end, both cheeks [mm].

        Lying flat the cheeks are floors: their depth is as true as the two zeros and the stock, and no force bends it
        sideways; nan stands for that.
        """
        if self.station == "flat":
            return dict.fromkeys(("low", "likely", "high"), (math.nan, math.nan))
        return {k: (2 * v[0], 2 * v[1]) for k, v in self.setting.push_off_mm.items()}


def on_end(
    cutter: Cutter,
    material: Material,
    machine: Machine,
    rail_width: float,
    rail_thickness: float,
    shape: Tenon,
    *,
    skim: float = 0.0,
    scoring: float = 0.0,
    laps: bool = False,
    minutes_per_load: float = 0.0,
    costs: Costs | None = None,
    **more: Any,
) -> TenonPlan:
    """Tune and draw a tenon on a rail that stands on end.

    Parameters
    ----------
    cutter : Cutter
        A flat cutter with flutes as long as the tenon.
    material : Material
        Of the rail.
    machine : Machine
        With an end station, or with none named.
    rail_width, rail_thickness : float
        Of its section [mm].
    shape : Tenon
        As wanted, clearance already taken off.
    skim : float
        Kept for one last lap [mm].
    scoring : float
        First light cut along the shoulder [mm].
    laps : bool
        Whether to go round the tenon instead of line by line.
    minutes_per_load : float
        Clamping and finding zero [min].
    costs : Costs or None
        As in ``tune``.
    **more
        Further arguments of ``tune``: wear, moisture, greatest_push_off, direction, goal, force.

    Returns
    -------
    TenonPlan

    Raises
    ------
    InputError
        As ``tune`` and ``paths.tenon``.
    """
    cutter_needs(cutter, shape.length)
    room = max(shape.from_face, rail_thickness - shape.from_face - shape.thickness)

    def path(c: Cutting) -> Moves:
        return tenon(c, rail_width, rail_thickness, shape, skim=skim, scoring=scoring, laps=laps)

    setting = tune(
        cutter, material, machine, station="end", grain="end", cut_depth=shape.length, cut_width=room, skim=skim,
        length=shape.width, part=(rail_width, rail_thickness), costs=costs, path=path, **more,
    )  # fmt: skip
    return TenonPlan("end", cutter, setting, path(as_cutting(cutter, setting)), 1, minutes_per_load)


def lying_flat(
    cutter: Cutter,
    material: Material,
    machine: Machine,
    rail_width: float,
    rail_thickness: float,
    shape: Tenon,
    *,
    minutes_per_load: float = 0.0,
    costs: Costs | None = None,
    **more: Any,
) -> TenonPlan:
    """Tune and draw the same tenon as rebates across the rail's end, one face after the other.

    Parameters
    ----------
    cutter : Cutter
        A flat cutter.
    material : Material
        Of the rail.
    machine : Machine
        With a flat station, or with none named.
    rail_width, rail_thickness : float
        Of its section [mm].
    shape : Tenon
        A plain one.
    minutes_per_load : float
        Clamping and finding zero, which both come twice [min].
    costs : Costs or None
        As in ``tune``.
    **more
        Further arguments of ``tune``.

    Returns
    -------
    TenonPlan

    Raises
    ------
    InputError
        As ``tune`` and ``paths.rebate``; for stepped, haunched and rounded tenons.
    """
    if shape.style != "plain" or shape.rounded:
        refuse(
            f"a {shape.style if shape.style != 'plain' else 'rounded'} tenon is not drawn lying flat", "cut it on end"
        )
    far = rail_thickness - shape.from_face - shape.thickness
    faces = [d for d in (shape.from_face, far) if d > 1e-9]
    edges = [w for w in (shape.from_edge, rail_width - shape.from_edge - shape.width) if w > 1e-9]
    if not faces and not edges:
        refuse("nothing is to be cut: the tenon is as large as the rail", "check its sizes")

    def path(c: Cutting) -> Moves:
        parts = [rebate(c, rail_width, width=shape.length, depth=d) for d in faces]
        # the edges of the tongue stand alone when both cheeks are cut: as deep as the tongue is thick
        parts += [rebate(c, shape.length, width=w, depth=shape.thickness) for w in edges]
        return in_turn(c, parts)

    setting = tune(
        cutter, material, machine, station="flat", grain="across", cut_depth=max(faces, default=shape.thickness),
        cut_width=shape.length, length=min(rail_width, shape.length), costs=costs, path=path, **more,
    )  # fmt: skip
    return TenonPlan("flat", cutter, setting, path(as_cutting(cutter, setting)), 2, 2 * minutes_per_load)


def cutter_needs(cutter: Cutter, length: float) -> None:
    """Refuse a cutter whose flutes are shorter than the tenon.

    Parameters
    ----------
    cutter : Cutter
        On trial.
    length : float
        Of the tenon [mm].

    Raises
    ------
    InputError
        With what is missing.
    """
    if length > cutter.cutting_length + 1e-6:
        message = f"a tenon of {length:g} mm is longer than the {cutter.cutting_length:g} mm flutes of {cutter.id}"
        refuse(message, "use a longer cutter, or cut the cheeks lying flat")


def as_cutting(cutter: Cutter, setting: Setting, machine: Machine | None = None) -> Cutting:
    """The setting as paths want it.

    Parameters
    ----------
    cutter : Cutter
        As tuned.
    setting : Setting
        From ``tune``.
    machine : Machine or None
        When given, its greatest vertical feed is kept.

    Returns
    -------
    paths.Cutting
    """
    vertical = None if machine is None else min(2 * setting.plunge_feed_mm_min, machine.axes[2].feed)
    return Cutting(
        cutter,
        setting.feed_mm_min,
        min(setting.plunge_feed_mm_min, setting.feed_mm_min),
        setting.rpm,
        setting.depth_per_pass_mm * (1 + 1e-9),
        stepover=min(1.0, setting.width_per_pass_mm / cutter.true_diameter * (1 + 1e-9)),
        direction=setting.direction,
        vertical_feed=vertical,
    )


def ways(
    rack: Mapping[str, Cutter] | Iterable[Cutter],
    material: Material,
    machine: Machine,
    rail_width: float,
    rail_thickness: float,
    shape: Tenon,
    *,
    laps: bool = False,
    minutes_per_load: float = 0.0,
    costs: Costs | None = None,
    **more: Any,
) -> list[TenonPlan]:
    """Every way of cutting a tenon with a rack of cutters, the quickest with its handling first.

    Parameters
    ----------
    rack : mapping or iterable of Cutter
        The shop's.
    material : Material
        Of the rail.
    machine : Machine
        Where.
    rail_width, rail_thickness : float
        Of its section [mm].
    shape : Tenon
        As wanted.
    laps : bool
        Whether to go round the tenon on end instead of line by line.
    minutes_per_load : float
        Clamping and finding zero [min].
    costs : Costs or None
        As in ``tune``.
    **more
        Further arguments of ``tune``.

    Returns
    -------
    list of TenonPlan
        Only what may be run; cutters that cannot are left out.
    """
    cutters = rack.values() if isinstance(rack, Mapping) else rack
    out = []
    for cutter in cutters:
        if cutter.shape not in _FLAT:
            continue
        for way in (partial(on_end, laps=laps), lying_flat):
            try:
                plan = way(
                    cutter, material, machine, rail_width, rail_thickness, shape, minutes_per_load=minutes_per_load,
                    costs=costs, **more,
                )  # fmt: skip
            except InputError:
                continue  # too short, or not drawn that way
            if plan.setting.runnable:
                out.append(plan)
    return sorted(out, key=lambda p: p.total["likely"])


def timed(plan: TenonPlan, machine: Machine) -> float:
    """Machine time of a plan's path by the motion engine, as a check of its setting's minutes.

    Parameters
    ----------
    plan : TenonPlan
        Any.
    machine : Machine
        Where.

    Returns
    -------
    float
        [min].
    """
    return machine_time(plan.moves, machine).total_s / 60


def minutes_per_load(minutes: Mapping[str, float]) -> float:
    """Clamping, unclamping and finding zero once, from the shop's standard times.

    Parameters
    ----------
    minutes : mapping
        ``Rates.minutes``: driver to standard time [s].

    Returns
    -------
    float
        [min].
    """
    return (minutes["load_per_load"] + minutes["zero_per_load"]) / 60
