"""Relaxing: what it would pay to change what a cut is bound by, each change tuned anew."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from shopcalc.cutters import Cutter
from shopcalc.cutting.tuning import Costs, Setting, tune
from shopcalc.errors import InputError
from shopcalc.machines import Machine
from shopcalc.materials import Material
from shopcalc.units import System, write, write_time

_WORTH = 0.005  # share of a job's hours below which a saving is left alone


@dataclass(frozen=True)
class Relaxation:
    """One change and what it pays.

    Parameters
    ----------
    change : str
        In shop words.
    setting : Setting
        The best with it.
    saved_minutes : float
        For this cut, negative where it costs time [min].
    saved_cost : float or None
        For this cut [currency]; None without costs.
    """

    change: str
    setting: Setting
    saved_minutes: float
    saved_cost: float | None


def relaxations(
    cutter: Cutter,
    material: Material,
    machine: Machine,
    *,
    rack: Mapping[str, Cutter] | None = None,
    costs: Costs | None = None,
    system: System = "metric",
    **asked: Any,
) -> list[Relaxation]:
    """Tune the same cut with one thing changed at a time.

    Parameters
    ----------
    cutter : Cutter
        The one at hand.
    material : Material
        What is cut.
    machine : Machine
        Where.
    rack : mapping or None
        Id to Cutter: the shop's others, of which the next thinner and thicker ones of the same shape are tried.
    costs : Costs or None
        As in ``tune``.
    system : {"metric", "inch"}
        For the words.
    **asked
        As in ``tune``; station and grain among them.

    Returns
    -------
    list of Relaxation
        Best first. A change that cannot be, or may not be run, is left out.
    """
    now = tune(cutter, material, machine, costs=costs, **asked)
    out = []
    for change, other, given in _changes(cutter, rack or {}, machine, asked, system):
        try:
            setting = tune(other, material, machine, costs=costs, **given)
        except InputError:
            continue  # the cutter does not fit the slot, or the machine has no such station
        if not setting.runnable and now.runnable:
            continue
        saved = now.minutes["likely"] - setting.minutes["likely"]
        money = None if now.cost is None or setting.cost is None else now.cost - setting.cost
        out.append(Relaxation(change, setting, saved, money))
    return sorted(out, key=lambda r: -(r.saved_minutes if r.saved_cost is None else r.saved_cost))


def _changes(
    cutter: Cutter, rack: Mapping[str, Cutter], machine: Machine, asked: Mapping[str, Any], system: System
) -> Iterator[tuple[str, Cutter, dict[str, Any]]]:
    given = dict(asked)
    step = 3.175 if system == "inch" else 5.0
    room = (cutter.stick_out - max(cutter.cutting_length, given["cut_depth"] + 3.0)) // step * step
    if room > 0:
        shorter = replace(cutter, stick_out=cutter.stick_out - room)
        yield f"{write(room, 'length', system)} deeper in the collet", shorter, given
    body = "steel" if cutter.body == "carbide" else "carbide"
    yield f"a {body} body", replace(cutter, body=body), given  # type: ignore[arg-type]
    if cutter.flutes > 1:
        yield "one flute fewer", replace(cutter, flutes=cutter.flutes - 1), given
    yield "one flute more", replace(cutter, flutes=cutter.flutes + 1), given
    alike = sorted(
        (c for c in rack.values() if c.shape == cutter.shape and c.id != cutter.id), key=lambda c: c.true_diameter
    )
    for c in alike:
        if given["cut_depth"] <= c.cutting_length:
            yield f"cutter {c.id}", c, given
    if not given.get("skim") and not given.get("in_solid"):
        skim = min(0.5, 0.2 * given["cut_width"])
        yield f"a skim of {write(skim, 'length', system, fraction=False)}", cutter, {**given, "skim": skim}
    if given.get("wear"):
        yield "a sharp edge", cutter, {**given, "wear": 0.0}
    # other lies only where the same cut can be made so: a groove runs where it runs, and on end it is another joint
    if given["station"] != "end" and given["grain"] != "end" and not given.get("in_solid"):
        for grain in ("along", "across"):
            if grain != given["grain"]:
                yield f"feeding {grain} the grain", cutter, {**given, "grain": grain}
    for station in machine.stations:
        if "end" not in (station, given["station"]) and station != given["station"]:
            yield f"the {station} station", cutter, {**given, "station": station}


def in_the_whole(saved_minutes: float, job_hours: float) -> str:
    """A saving set against the whole job, in plain words.

    Parameters
    ----------
    saved_minutes : float
        [min]; negative where time is lost.
    job_hours : float
        All hours of the job [h].

    Returns
    -------
    str

    Example
    -------
    >>> in_the_whole(40 / 60, 20)
    'saves 40 s of 20 h: leave it'
    """
    if saved_minutes <= 0:
        return "saves nothing: leave it"
    share = saved_minutes / 60 / job_hours
    verdict = "leave it" if share < _WORTH else f"{100 * share:.1f} % of the job: worth a try"
    return f"saves {write_time(60 * saved_minutes)} of {job_hours:g} h: {verdict}"
