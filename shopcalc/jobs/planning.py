"""From an operation's dimensions to Moves, before any program exists."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from shopcalc.cutting import limits
from shopcalc.cutting.engagement import refuse
from shopcalc.cutting.grain import grain_vector
from shopcalc.cutting.usual import FEED_STEP, down, usual_feed, usual_rpm
from shopcalc.errors import Fault, InputError
from shopcalc.jobs.carving import plan_carving
from shopcalc.jobs.lettering import LetteringPlan, plan_incise
from shopcalc.jobs.reading import Job
from shopcalc.jobs.records import (
    Bore,
    Carve,
    CutOut,
    Face,
    Groove,
    Incise,
    Mortise,
    Operation,
    Part,
    Program,
    Raise,
    Rebate,
    Sink,
    Tenon,
)
from shopcalc.machines import Machine, StationName
from shopcalc.motion import machine_time
from shopcalc.moves import Moves, from_lists
from shopcalc.paths.clearing import face, sink
from shopcalc.paths.contours import cut_out, groove_along, raise_panel
from shopcalc.paths.hollows import hollow_groove
from shopcalc.paths.joinery import Tenon as TenonShape
from shopcalc.paths.joinery import bore, groove, mortise, rebate, tenon
from shopcalc.paths.tracing import Cutting, arc, in_turn
from shopcalc.paths.tracing import program as joined
from shopcalc.shop import Shop
from shopcalc.sources import practice
from shopcalc.units import System, write

_FLAT = ("square end", "surfacing", "compression")
_SAME = 1e-6  # mm
_CHORDS = 96  # of an arch; cutting out takes them for the arc they stand for
_FINE_STEP = 0.15  # of the diameter for a round nose, whose ridges then are below 0.6 % of it (geometry)


@dataclass(frozen=True, eq=False)
class Plan:
    """What one load of a program does, from dimensions.

    Parameters
    ----------
    moves : Moves
        Everything that has a path; empty where there is none.
    by_area : (3,) float
        Relief without artwork: low, likely, high [s].
    seconds_by_kind : mapping
        Kind of operation to its machine time [s].
    warnings : tuple of str
        What the operator should know.
    carved : (2,) float
        Relief with artwork: cutting, and cutter changes [s].
    sanding : float
        Hours of people that carved surfaces ask for beyond level ones [h].
    level_sanding : float
        Of the same surfaces as if they were level, which the job counts with all other faces [h].
    cutters : tuple of str
        Ids of further cutters that were chosen here.
    """

    moves: Moves
    by_area: tuple[float, float, float]
    seconds_by_kind: Mapping[str, float]
    warnings: tuple[str, ...]
    carved: tuple[float, float] = (0.0, 0.0)
    sanding: float = 0.0
    level_sanding: float = 0.0
    cutters: tuple[str, ...] = ()


def plan_load(job: Job, program: Program, part: str, shop: Shop) -> Plan:
    """Plan one load of a program.

    Parameters
    ----------
    job : Job
        Whose machine runs it.
    program : Program
        Which.
    part : str
        Id of the part that is loaded.
    shop : Shop
        For cutters and materials.

    Raises
    ------
    InputError
        With every operation that cannot be done as described, and where it stands in the job file.
    """
    faults, warnings, done = list[Fault](), list[str](), list[tuple[Cutting, Moves]]()
    by_area, seconds = [0.0, 0.0, 0.0], dict[str, float]()
    carved, sanding, cutters = [0.0, 0.0], [0.0, 0.0], list[str]()
    for described, operation in job.operations(program.id, part):
        place = job.place(described, operation)
        misfits = list(_misfits(operation, described, program.station, job.system))
        if misfits:
            where = f"part '{described.id}', {operation.kind}: "
            faults += [Fault(where + m, _MISFIT, file=job.file, field=place) for m in misfits]
            continue
        try:
            if isinstance(operation, Carve):
                ahead = plan_carving(operation, described, job, shop)
                by_area = [a + b for a, b in zip(by_area, ahead.band, strict=True)]
                carved = [a + b for a, b in zip(carved, ahead.carved, strict=True)]
                sanding = [a + b for a, b in zip(sanding, (ahead.sanding, ahead.level_sanding), strict=True)]
                cutters += ahead.cutters
                warnings += [f"part '{described.id}', carve: {note}" for note in ahead.notes]
                low, likely, high = ahead.band
                mean = (low + 4 * likely + high) / 6 + sum(ahead.carved)
                seconds["carve"] = seconds.get("carve", 0.0) + mean
                continue
            cutting = setting(operation, described, program.station, job.machine, shop)
            if isinstance(operation, Incise):
                lettered = _incise(operation, described, program.station, cutting, job, shop)
                warnings += _speed_doubts(operation, described, cutting)
                warnings += _own_doubts(operation, described, program.station, cutting, job, shop)
                warnings += [f"part '{described.id}', incise: {note}" for note in lettered.notes]
                done += lettered.operations
                cutters += [c.cutter.id for c, _ in lettered.operations if c.cutter.id != operation.cutter]
                took = sum(machine_time(moves, job.machine).total_s for _, moves in lettered.operations)
                seconds["incise"] = seconds.get("incise", 0.0) + took
                continue
            moves = operation_moves(operation, described, program.station, cutting)
        except InputError as e:
            faults += [
                replace(f, message=f"part '{described.id}', {operation.kind}: {f.message}", file=job.file, field=place)
                for f in e.faults
            ]
            continue
        warnings += _speed_doubts(operation, described, cutting)
        warnings += _own_doubts(operation, described, program.station, cutting, job, shop)
        done.append((cutting, moves))
        seconds[operation.kind] = seconds.get(operation.kind, 0.0) + machine_time(moves, job.machine).total_s
    if faults:
        raise InputError(faults)
    moves = joined(done) if done else from_lists([(0, 0, 0)], [])
    warnings += _travel_doubts(moves, job, program, part)
    return Plan(
        moves, (by_area[0], by_area[1], by_area[2]), seconds, tuple(warnings), (carved[0], carved[1]), sanding[0],
        sanding[1], tuple(dict.fromkeys(cutters)),
    )  # fmt: skip


_MISFIT = "check the operation, the part's size and the program's station"


def _misfits(o: Operation, part: Part, station: StationName, system: System) -> Iterator[str]:
    """What of an operation is larger than the part as it lies in its station."""
    length, width = _surface(part, station)
    height = {"flat": part.thickness, "edge": part.width, "end": part.length}[station]
    if o.kind == "cut out":
        length, width = part.length, part.width
    if isinstance(o, (Sink, Mortise)) and o.from_end:
        yield from _misplaced(o.from_end, o.length, length, system)
    number = o.count if o.kind in ("sink", "mortise", "carve") else 1
    asked = [
        ("length", _size(o, "length") * number, length),
        ("width", _size(o, "width") * (o.count if o.kind == "groove" else 1), width),
        ("depth", _size(o, "depth"), height),
        ("rise", _size(o, "rise"), height if station == "edge" else width),
        ("crown", _size(o, "crown"), width / 2),
        ("span", _size(o, "span"), _size(o, "length") or length),
        ("diameter", _size(o, "diameter"), width),
    ]
    if o.kind == "bore":
        asked.append(("row of holes", (o.count - 1) * _size(o, "spacing") + _size(o, "diameter"), length))
    if isinstance(o, Groove) and o.start is not None:
        asked.append(("end", o.start + (o.length or 0.0), length))
    if o.kind in ("tenon", "raise"):  # their paths know better which way they lie
        asked = [a for a in asked if a[0] == "depth"]
    for name, given, room in asked:
        if given > room + 1e-6:
            there = write(room, "length", system)
            many = f" of all {o.count}" if o.count > 1 and name in ("length", "width") else ""
            yield f"its {name}{many}, {write(given, 'length', system)}, is more than the {there} the part has there"


def _misplaced(places: tuple[float, ...], long: float, room: float, system: System) -> Iterator[str]:
    """Which of several like recesses run off the part or into each other."""
    for place in places:
        if place < long / 2 - 1e-6 or place > room - long / 2 + 1e-6:
            yield f"the one {write(place, 'length', system)} from the end runs off the part"
    for a, b in itertools.pairwise(sorted(places)):
        if b - a < long - 1e-6:
            first, second = write(a, "length", system), write(b, "length", system)
            yield f"those {first} and {second} from the end run into each other"


def _size(o: Operation, name: str) -> float:
    return float(getattr(o, name, None) or 0.0)


# --- how a cutter is run until tuning says better ---------------------------------------------------------------------


def setting(operation: Operation, part: Part, station: StationName, machine: Machine, shop: Shop) -> Cutting:
    """How a cutter is run where the job does not say: the trade's starting values, within cutter and machine.

    Parameters
    ----------
    operation : Operation
        Its own rpm, feed and depth per pass come first.
    part : Part
        For its material.
    station : str
        End grain takes less depth.
    machine : Machine
        Spindle and axis limits.
    shop : Shop
        For the cutter and the material.

    Notes
    -----
    Spindle: the usual speed, a reserve below the mark or the maker's figure, within the spindle's range. Feed per
    tooth: the middle of the material's chip window in a slot, at most 1.2 % of the diameter. Depth: see
    ``limits.greatest_level``.
    What is suggested is rounded down to 10 mm/min and 100 rev/min; a round nose raises a panel in fine steps.
    Common practice, no source; ``cutting.tuning`` does better.
    """
    cutter, material = shop.cutter(operation.cutter), shop.material(part.material)
    habits = practice()
    rpm = operation.rpm or usual_rpm(cutter, machine)
    suggested = min(usual_feed(cutter, material, rpm), machine.axes[0].feed, machine.axes[1].feed)
    feed = operation.feed or down(suggested, FEED_STEP)
    depth = operation.depth_per_pass or _greatest_level(operation, part, station, machine, shop)
    fine = operation.kind == "raise" and cutter.shape not in _FLAT
    plunge = down(min(habits["plunge_share"].value * feed, machine.axes[2].feed), FEED_STEP)
    return Cutting(
        cutter,
        feed=feed,
        plunge_feed=plunge,
        vertical_feed=min(2 * plunge, machine.axes[2].feed),
        rpm=rpm,
        depth_per_pass=min(depth, cutter.cutting_length),
        stepover=_FINE_STEP if fine else habits["stepover_share"].value,
    )


#: Operations that begin beside the wood; all others also cut into the solid.
_BESIDE = ("tenon", "rebate", "raise", "face")


def _greatest_level(operation: Operation, part: Part, station: StationName, machine: Machine, shop: Shop) -> float:
    """Deepest level the cutter bears by ``limits.greatest_level``, so that jobs and tuning follow one rule."""
    cutter = shop.cutter(operation.cutter)
    if cutter.shape == "drill":
        return cutter.cutting_length
    grain = grain_vector(station, 0.0 if _runs_along(operation, part) else math.pi / 2)
    share = practice()["stepover_share"].value if operation.kind in _BESIDE else 1.0
    cut = limits.ask(
        cutter,
        shop.material(part.material),
        machine,
        station=station,
        grain=grain,
        depth=cutter.cutting_length,
        width=share * cutter.true_diameter,
    )
    return limits.greatest_level(cut)


def _runs_along(operation: Operation, part: Part) -> bool:
    """Whether the long cuts of an operation run with the grain; a part's grooves run along its length."""
    return part.grain == "length" and operation.kind in ("groove", "rebate", "bore", "mortise", "face")


def _speed_doubts(operation: Operation, part: Part, cutting: Cutting) -> list[str]:
    cutter = cutting.cutter
    most = min((rpm for rpm in (cutter.marked_rpm, cutter.maker_rpm) if rpm is not None), default=None)
    where = f"part '{part.id}', {operation.kind}: cutter {cutter.id}"
    if most is not None and cutting.rpm > most * (1 + 1e-9):
        return [f"{where} would run at {cutting.rpm:.0f} rev/min, above the {most:.0f} it is marked or made for"]
    if most is None:
        return [f"{where} carries no greatest speed: find it out before use"]
    return []


def _own_doubts(
    operation: Operation, part: Part, station: StationName, cutting: Cutting, job: Job, shop: Shop
) -> Iterator[str]:
    """Where the job's own speed, feed or depth is more than practice, cutter or machine bear."""
    cutter, machine, habits = cutting.cutter, job.machine, practice()
    where = f"part '{part.id}', {operation.kind}: "

    def shown(value: float, quantity: str) -> str:
        return write(value, quantity, job.system)

    spindle = machine.spindle
    if operation.rpm and spindle and not spindle.min_rpm <= operation.rpm <= spindle.max_rpm:
        turns = f"{spindle.min_rpm:.0f} to {spindle.max_rpm:.0f} rev/min"
        yield f"{where}its {operation.rpm:.0f} rev/min is not a speed of machine '{machine.name}', which has {turns}"
    most = min(machine.axes[0].feed, machine.axes[1].feed)
    if operation.feed and operation.feed > most * (1 + 1e-9):
        asked, has = shown(operation.feed, "feed"), shown(most, "feed")
        yield f"{where}its feed, {asked}, is more than the {has} of machine '{machine.name}'"
    tooth = cutting.feed / (cutting.rpm * cutter.flutes)
    bears = habits["feed_per_tooth_share"].value * cutter.true_diameter
    if (operation.feed or operation.rpm) and tooth > bears * (1 + 1e-9):
        asked, bearable = shown(tooth, "feed_per_tooth"), shown(bears, "feed_per_tooth")
        yield f"{where}{asked} is more than the {bearable} cutter {cutter.id} bears by common practice: it may break"
    deep = operation.depth_per_pass
    if deep is None:
        return
    level = _greatest_level(operation, part, station, machine, shop)
    if deep > level * (1 + 1e-9):
        usual = f"{shown(level, 'length')}, {100 * level / cutter.true_diameter:.0f} % of the diameter"
        yield f"{where}its depth per pass, {shown(deep, 'length')}, is more than practice bears there ({usual})"
    if deep > cutter.cutting_length * (1 + 1e-9):
        reach = f"{shown(cutter.cutting_length, 'length')}, which is taken instead"
        yield f"{where}its depth per pass, {shown(deep, 'length')}, is over the cutting length of {cutter.id}, {reach}"


def _travel_doubts(moves: Moves, job: Job, program: Program, part: str) -> Iterator[str]:
    """Axes that the planned path would run out of."""
    for name, (low, high), axis in zip("xyz", moves.extents().tolist(), job.machine.axes, strict=True):
        if high - low > axis.travel + 1e-6:
            span, travel = (write(v, "length", job.system) for v in (high - low, axis.travel))
            yield (
                f"TIME NOT VALID: part '{part}' in program '{program.id}' needs {span} along {name}, but machine "
                f"'{job.machine.name}' travels {travel}"
            )


# --- one function for every kind of operation -------------------------------------------------------------------------


def operation_moves(operation: Operation, part: Part, station: StationName, cutting: Cutting) -> Moves:
    """The path of one operation, in the part as it lies in its station.

    Parameters
    ----------
    operation : Operation
        Any kind but carving and incising.
    part : Part
        Whose sizes an operation takes where it says none.
    station : str
        Which of the part's faces looks up.
    cutting : Cutting
        How the cutter is run.

    Raises
    ------
    InputError
        When it cannot be done as described.
    """
    return _MAKERS[type(operation)](operation, part, station, cutting)


def _surface(part: Part, station: StationName) -> tuple[float, float]:
    """Length and width of the face that looks up [mm]."""
    return {
        "flat": (part.length, part.width),
        "edge": (part.length, part.thickness),
        "end": (part.width, part.thickness),
    }[station]


def _spread(count: int, length: float) -> list[float]:
    """Places of equal distance along a length."""
    return [length * (i + 0.5) / count for i in range(count)]


def _places(o: Sink | Mortise, length: float) -> list[float]:
    return _spread(o.count, length) if o.from_end is None else list(o.from_end)


def _each(places: list[float], cutting: Cutting, make: Callable[[float], Moves]) -> Moves:
    """The same operation at several places, joined by rapids at the safe height."""
    return in_turn(cutting, [make(place) for place in places])


def _face(o: Face, part: Part, station: StationName, c: Cutting) -> Moves:
    length, width = _surface(part, station)
    return _each([0.0] * o.count, c, lambda _: face(c, o.length or length, o.width or width, depth=o.depth))


def _rectangle(x: float, y: float, length: float, width: float) -> list[tuple[float, float]]:
    return [(x, y), (x + length, y), (x + length, y + width), (x, y + width)]


def _sink(o: Sink, part: Part, station: StationName, c: Cutting) -> Moves:
    length, width = _surface(part, station)
    return _each(
        _places(o, length),
        c,
        lambda x: sink(c, _rectangle(x - o.length / 2, (width - o.width) / 2, o.length, o.width), depth=o.depth),
    )


def _groove(o: Groove, part: Part, station: StationName, c: Cutting) -> Moves:
    length, width = _surface(part, station)
    run, through = o.length or length, o.length is None
    start, wide = (length - run) / 2 if o.start is None else o.start, o.width if c.cutter.shape in _FLAT else None
    if o.rise and station == "edge":

        def hollowed(y: float) -> Moves:
            return hollow_groove(c, run, o.rise, depth=o.depth, start=start, middle=y, width=wide)

        return _each(_spread(o.count, width), c, hollowed)
    if o.rise:
        (cx, cy), radius, first, sweep = _arch(run, o.rise)

        def arched(y: float) -> Moves:
            line = arc((cx + start, cy + y - o.rise / 2), radius, first, sweep)
            return groove_along(c, line, depth=o.depth, width=wide)

        return _each(_spread(o.count, width), c, arched)

    def straight(y: float) -> Moves:
        ends = (start, y), (start + run, y)
        begun, ended = through or start <= _SAME, through or start + run >= length - _SAME
        return groove(c, *ends, depth=o.depth, width=wide, open_start=begun, open_end=ended)

    return _each(_spread(o.count, width), c, straight)


def _rebate(o: Rebate, part: Part, station: StationName, c: Cutting) -> Moves:
    length, _ = _surface(part, station)
    begin = None if o.length is None else (length - o.length) / 2
    end = None if begin is None else length - begin
    return _each([0.0] * o.count, c, lambda _: rebate(c, length, width=o.width, depth=o.depth, start=begin, end=end))


def _bore(o: Bore, part: Part, station: StationName, c: Cutting) -> Moves:
    length, width = _surface(part, station)
    first = (length - (o.count - 1) * o.spacing) / 2
    centres = [(first + i * o.spacing, width / 2) for i in range(o.count)]
    return bore(c, centres, diameter=o.diameter, depth=o.depth)


def _tenon(o: Tenon, part: Part, station: StationName, c: Cutting) -> Moves:
    if station != "end":
        refuse("a tenon is cut with the rail on end", 'use a program whose station is "end", or rebates lying flat')
    if o.haunch and not o.stub:
        refuse("a haunch needs its length", 'add e.g. stub = "3/8 in"')
    inside = max(part.width - o.width, 0.0)
    edge = o.from_edge if o.from_edge is not None else inside if o.haunch else inside / 2
    shape = TenonShape(
        o.width,
        o.thickness,
        o.length,
        from_edge=edge,
        from_face=max(part.thickness - o.thickness, 0.0) / 2,
        stub_length=o.stub,
        stub_left=(o.haunch or edge) if o.stub else 0.0,
        stub_right=inside - edge if o.stub and not o.haunch else 0.0,
        rounded=o.rounded,
        gap=o.gap,
    )
    return _each([0.0] * o.count, c, lambda _: tenon(c, part.width, part.thickness, shape))


def _mortise(o: Mortise, part: Part, station: StationName, c: Cutting) -> Moves:
    length, width = _surface(part, station)
    return _each(
        _places(o, length),
        c,
        lambda x: mortise(
            c, (x, width / 2), length=o.length, width=o.width, depth=o.depth, relieved=o.corners == "relieved"
        ),
    )


def _arch(length: float, rise: float) -> tuple[tuple[float, float], float, float, float]:
    """Centre, radius, first angle and sweep of an arch from (0, 0) to (length, 0), drawn from left to right."""
    radius = (length**2 / 4 + rise**2) / (2 * rise)
    centre = (length / 2, rise - radius)
    half = math.atan2(length / 2, radius - rise)
    return centre, radius, math.pi / 2 + half, -2 * half


def _cut_out(o: CutOut, part: Part, station: StationName, c: Cutting) -> Moves:
    across, along = part.width, part.length
    length, width = o.length or along, o.width or across
    outline = _rectangle(0, 0, length, width)
    if o.crown:
        (cy, cx), radius, first, sweep = _arch(width, o.crown)
        turns = [first + sweep * i / _CHORDS for i in range(_CHORDS + 1)]
        end = [(length - o.crown + cx + radius * math.sin(a), cy + radius * math.cos(a)) for a in turns]
        outline = [outline[0], *end, outline[3]]
    if o.rise:
        span = o.span or length
        start = (length - span) / 2
        (cx, cy), radius, first, sweep = _arch(span, o.rise)
        arch = [first + sweep * i / _CHORDS for i in range(1, _CHORDS)]
        lower = [(start + cx + radius * math.cos(a), cy + radius * math.sin(a)) for a in arch]
        feet = [(start, 0.0), *lower, (start + span, 0.0)] if start > 0 else lower
        outline = [(0.0, 0.0), *feet, *outline[1:]]
    thickness = o.depth or part.thickness
    return _each([0.0] * o.count, c, lambda _: cut_out(c, outline, thickness=thickness, side=o.side, bridges=o.bridges))


def _raise(o: Raise, part: Part, station: StationName, c: Cutting) -> Moves:
    return _each(
        [0.0] * o.count,
        c,
        lambda _: raise_panel(
            c,
            part.length,
            part.width,
            border=o.width,
            depth=o.depth,
            rim=o.rim,
            field_step=o.step,
            profile=o.profile,
            crown=o.crown,
        ),
    )


def _incise(o: Incise, part: Part, station: StationName, c: Cutting, job: Job, shop: Shop) -> LetteringPlan:
    height = {"flat": part.thickness, "edge": part.width, "end": part.length}[station]
    clearing = None
    if o.ground_cutter is not None:
        fresh = {"cutter": o.ground_cutter, "rpm": None, "feed": None, "depth_per_pass": None}
        clearing = setting(o.model_copy(update=fresh), part, station, job.machine, shop)
    room = (*_surface(part, station), height)
    return plan_incise(o, room, c, clearing, folder=shop.folder, system=job.system)


_MAKERS: dict[type[Operation], Callable[[Any, Part, StationName, Cutting], Moves]] = {
    Face: _face, Sink: _sink, Groove: _groove, Rebate: _rebate, CutOut: _cut_out, Bore: _bore, Tenon: _tenon,
    Mortise: _mortise, Raise: _raise,
}  # fmt: skip
