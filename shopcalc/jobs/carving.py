"""A relief in a job: planned from its artwork, from reliefs of its kind before there is any, or by area alone."""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from shopcalc.errors import Fault, InputError
from shopcalc.jobs.reading import Job
from shopcalc.jobs.records import Carve, Part
from shopcalc.relief.artwork import read_artwork
from shopcalc.relief.kinds import finisher, hours_before_artwork
from shopcalc.relief.outlooks import Outlook, outlook
from shopcalc.relief.reach import profile
from shopcalc.relief.scheme import USUAL_CUSP, scheme_for
from shopcalc.relief.words import lengths_for
from shopcalc.shop import Shop
from shopcalc.sources import practice
from shopcalc.units import write

#: True area of a relief over its plan, where no artwork is known: the most of the kinds drawn at a usual depth.
_STRETCH = 1.45
_REMEMBERED = 32  # plans: a relief takes seconds; hours, papers, variants and notebooks all ask for it again
_plans: OrderedDict[str, CarvingPlan] = OrderedDict()


@dataclass(frozen=True)
class CarvingPlan:
    """What one carve operation takes.

    Parameters
    ----------
    band : (3,) float
        Without artwork: low, likely, high; else 0 [s].
    carved : (2,) float
        With artwork: cutting, and cutter changes; else 0 [s].
    sanding : float
        Beyond that of level faces [h].
    level_sanding : float
        Of the same faces as if they were level, which the job counts with all others [h].
    cutters : tuple of str
        Ids, in order.
    notes : tuple of str
        What the operator should know.
    """

    band: tuple[float, float, float] = (0.0, 0.0, 0.0)
    carved: tuple[float, float] = (0.0, 0.0)
    sanding: float = 0.0
    level_sanding: float = 0.0
    cutters: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def plan_carving(operation: Carve, part: Part, job: Job, shop: Shop) -> CarvingPlan:
    """Plan a relief by the best that is known of it.

    Parameters
    ----------
    operation : Carve
        Its own hours come first, then its artwork, then its kind, then its area.
    part : Part
        For its material, and whether it is sanded.
    job : Job
        For its machine.
    shop : Shop
        For cutters, rates and the folder of the artwork.

    Returns
    -------
    CarvingPlan
        For all reliefs of the operation (``count``). The artwork's minutes come from the engine that times programs
        (``relief.outlooks.outlook``).

    Raises
    ------
    InputError
        When the artwork cannot be read, does not have these proportions, or a cutter cannot do its part.
    """
    key = _key(operation, part, job, shop)
    if key not in _plans:
        _plans[key] = _planned(operation, part, job, shop)
        while len(_plans) > _REMEMBERED:
            _plans.popitem(last=False)
    _plans.move_to_end(key)
    return _plans[key]


def _key(operation: Carve, part: Part, job: Job, shop: Shop) -> str:
    """Everything a plan depends on, the artwork by its file's time and size."""
    art = None
    if operation.artwork is not None:
        path = shop.folder / operation.artwork
        try:
            stamp = path.stat()
        except OSError as e:
            reason = (e.strerror or str(e)).lower()
            raise InputError(
                Fault(f"the artwork cannot be read ({reason})", "check the name", file=str(path))
            ) from None
        art = (str(path), stamp.st_mtime_ns, stamp.st_size)
    rates = (shop.rates.carving, shop.rates.minutes["sanding_per_area"])
    wood = (shop.material(part.material), part.finished)
    return repr(
        (art, operation.model_dump(), wood, job.machine, job.system, shop.learned, sorted(shop.cutters.items()), rates)
    )


def _planned(operation: Carve, part: Part, job: Job, shop: Shop) -> CarvingPlan:
    low, likely, high = shop.rates.carving
    n = operation.count
    if operation.hours is not None:  # the shop's own judgement, with the same doubt about it
        middle = operation.hours
        band = (middle * low / likely, middle, middle * high / likely) if likely else (middle, middle, middle)
        return _sanded(operation, part, job, shop, band)
    if operation.artwork is not None:
        return _from_artwork(operation, part, job, shop)
    if operation.before is not None:
        cutter = shop.cutter(operation.cutter)
        fine = operation.smallest_detail or max(2 * profile(cutter).ball, 0.5)
        standard = shop.rates.minutes["sanding_per_area"]
        told = hours_before_artwork(
            operation.before, operation.length, operation.width, operation.depth, fine, job.machine,
            shop.material(part.material), shop.cutters.values(), cutter=cutter, stepover=operation.stepover,
            cusp=operation.cusp, roughing=_roughing(operation, shop), learned=shop.learned,
            sanding_per_area=standard,
        )  # fmt: skip
        notes: tuple[str, ...] = ()
        if finisher(shop.cutters.values(), operation.depth, fine) is not cutter and 2 * profile(cutter).ball > fine:
            notes = (
                f"the tip of {cutter.id} is wider than the smallest detail of {write(fine, 'length', job.system)}",
            )
        beyond, level = _split(told.sanding_hours, operation.length * operation.width * 1e-6, n, part, standard)
        return CarvingPlan(
            (n * told.low, n * told.likely, n * told.high), sanding=beyond, level_sanding=level,
            cutters=tuple(told.scheme.split(" + ")), notes=notes,
        )  # fmt: skip
    area = n * operation.length * operation.width * 1e-6
    return _sanded(operation, part, job, shop, (low * area, likely * area, high * area))


def _sanded(operation: Carve, part: Part, job: Job, shop: Shop, band: tuple[float, float, float]) -> CarvingPlan:
    """A plan by area or by hours that were said, with the usual sanding: no cheaper because less is known."""
    if not part.finished:
        return CarvingPlan(band)
    habits, standard = practice(), shop.rates.minutes["sanding_per_area"]
    area = operation.length * operation.width * 1e-6
    cusp = USUAL_CUSP if operation.cusp is None else operation.cusp
    ball = profile(shop.cutter(operation.cutter)).ball
    if operation.stepover is not None and ball:
        cusp = operation.stepover**2 / (8 * ball)
    rough_for = habits["relief_sanding"].value * (1 + cusp / habits["cusp_sanding"].value)
    beyond, level = _split(_STRETCH * area * standard / 3600 * rough_for, area, operation.count, part, standard)
    note = (
        f"no artwork is known, so its sanding of {60 * (beyond + level):.0f} min is taken by area, as that of a "
        "restless relief (common practice, no source)"
    )
    return CarvingPlan(band, sanding=beyond, level_sanding=level, notes=(note,))


def _roughing(operation: Carve, shop: Shop) -> Any:
    """A cutter, "none", or "suggested"."""
    name = operation.rough_cutter
    return "suggested" if name is None else "none" if name == "none" else shop.cutter(name)


def _from_artwork(operation: Carve, part: Part, job: Job, shop: Shop) -> CarvingPlan:
    path = shop.folder / str(operation.artwork)
    standard = shop.rates.minutes["sanding_per_area"]
    found, notes, area = _outlook(operation, part, job, shop, path, standard)
    n = operation.count
    beyond, level = _split(found.sanding_hours, area, n, part, standard)
    doubts = [d for s in found.scheme.steps for d in s.doubts]
    return CarvingPlan(
        carved=(n * sum(found.seconds), n * found.change_seconds),
        sanding=beyond,
        level_sanding=level,
        cutters=tuple(s.cutter.id for s in found.scheme.steps),
        notes=tuple(dict.fromkeys(lengths_for(note, job.system) for note in (*found.cannot, *notes, *doubts))),
    )


def _split(hours: float, area: float, count: int, part: Part, standard: float) -> tuple[float, float]:
    """Sanding of ``count`` reliefs beyond that of level faces, and that of level faces [h]."""
    if not part.finished:
        return 0.0, 0.0
    level = min(hours, area * standard / 3600)
    return count * (hours - level), count * level


def _outlook(
    operation: Carve, part: Part, job: Job, shop: Shop, path: Path, standard: float
) -> tuple[Outlook, tuple[str, ...], float]:
    """Times, what to know of the artwork, and the area it takes [m2]."""
    material = shop.material(part.material)
    art = read_artwork(
        path, length=operation.length, width=operation.width, depth=operation.depth, invert=operation.invert,
        smooth=True if operation.smooth else None,
    )  # fmt: skip
    if art.map.depth <= 0:
        raise InputError(Fault("nothing is carved: the artwork is flat", "check the artwork", file=str(path)))
    clean = None if operation.clean_cutter is None else shop.cutter(operation.clean_cutter)
    scheme = scheme_for(
        art.map, shop.cutter(operation.cutter), material, job.machine, shop.cutters.values(),
        stepover=operation.stepover, cusp=operation.cusp, roughing=_roughing(operation, shop), cleaning=clean,
        outside="stock" if operation.sunk else "nothing", feed=operation.feed, rpm=operation.rpm,
        depth_per_pass=operation.depth_per_pass, learned=shop.learned,
    )  # fmt: skip
    answer = outlook(art.map, scheme, job.machine, sanding_per_area=standard)
    return answer, art.notes, art.map.length * art.map.width * 1e-6
