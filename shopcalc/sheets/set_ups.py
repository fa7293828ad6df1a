"""Set-up sheets: for each load what is clamped where, its zero, the cutters and how they run, what to watch."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from shopcalc.cutters import Cutter
from shopcalc.cutting.cut import Pass, ask
from shopcalc.cutting.grain import grain_vector
from shopcalc.cutting.limits import Limit, Loads, check
from shopcalc.cutting.usual import usual_rpm
from shopcalc.documents import Block, Boxes, Break, Caution, Cell, Checklist, Document, Figure, Table
from shopcalc.errors import InputError
from shopcalc.gcode import read_program
from shopcalc.holding.drawing import holding_drawing, letters_of
from shopcalc.holding.fixtures import Placed
from shopcalc.holding.walls import Stock
from shopcalc.jobs.hours import ProgramTime
from shopcalc.jobs.planning import plan_load, setting
from shopcalc.jobs.reading import Job
from shopcalc.jobs.records import CutOut, Load, Operation, Part, Program, Tenon
from shopcalc.load_holding import LoadHolding, check_load, placed_in
from shopcalc.moves import Moves
from shopcalc.paths import Cutting
from shopcalc.quote.pricing import Price
from shopcalc.sheets.clamping import lie, sketch
from shopcalc.sheets.order import batches
from shopcalc.sources import cautions, practice
from shopcalc.units import System, write, write_time

_NEAR = 0.9  # share of a bound that is used from which it is worth a line
_BESIDE = ("tenon", "rebate", "raise", "face")  # begin beside the wood
_LIES = {
    "flat": "flat on the table, the marked face down unless the program works on it",
    "edge": "on its long edge, the marked face against the fence, the edge to be cut up",
    "end": "on end, the grain upright, the marked face against the fixed jaw, the end to be cut up",
}
_TURNS = {
    "flat": "turn it over about its length: the end stays at the stop, the other face comes up",
    "edge": "turn it about the axis through its faces: the marked face stays to the fence, the other edge comes up",
    "end": "turn it end for end about the axis through its faces: the marked face stays to the fixed jaw, the other "
    "end comes up",
}
_MIRRORED = "Turned about any other axis a joint that is not in the middle comes out mirrored."
_GRAIN = {
    "flat": "Across the grain the flutes leave through the long edge: waste or a back-up strip behind it; along the "
    "grain last. Keep clamps below the path.",
    "edge": "Where flutes leave at the ends or through a face, a block of waste behind it keeps the fibres. Chips "
    "pack in deep grooves: extract, and look between levels.",
    "end": "End grain splits down past the shoulder where flutes leave: back-up block tight behind the exit, narrow "
    "edges before cheeks, a light last lap. The long stick-out pushes off: measure the first tenon.",
}


@dataclass(frozen=True)
class CutterRun:
    """How one operation of a load runs its cutter.

    Parameters
    ----------
    cutter : Cutter or None
        None where a program calls one that is not in the rack.
    name, work : str
        Of the cutter, and what it does.
    rpm, feed : float or None
        [rev/min], [mm/min]; None where nothing says.
    depth : float or None
        In total [mm].
    passes : int or None
        Levels [-].
    binding : tuple of Limit
        What of it is near its bound, tightest first.
    """

    cutter: Cutter | None
    name: str
    work: str
    rpm: float | None
    feed: float | None
    depth: float | None = None
    passes: int | None = None
    binding: tuple[Limit, ...] = ()

    @property
    def forbidden(self) -> str:
        """Why it must not run; empty where nothing forbids it."""
        if self.cutter is None:
            return f"{self.name}: the program calls a cutter that is not in the shop's rack. Find out which it is."
        known = [v for v in (self.cutter.marked_rpm, self.cutter.maker_rpm) if v is not None]
        if not known:
            return (
                f"{self.name} carries no known greatest speed. Find its mark or its maker's figure and enter it first."
            )
        if self.rpm is None:
            return f"{self.name}: nothing says at what speed it turns; at most {min(known):.0f} rev/min."
        if self.rpm > min(known) * (1 + 1e-9):
            return f"{self.name} would turn at {self.rpm:.0f} rev/min; it is marked or made for {min(known):.0f}."
        return ""


def set_up_sheets(price: Price, date: datetime.date, order: Sequence[str] = ()) -> Document:
    """One set-up sheet for each part in each program, in the order they are run.

    Parameters
    ----------
    price : Price
        Of the job, in the system it is written in.
    date : date
        Of the paper.
    order : sequence of str
        Loads as "program/part"; empty takes the job's own.
    """
    job, blocks = replace(price.estimate.job, system=price.system), list[Block]()
    times = {t.program.id: t for t in price.estimate.programs}
    for number, load in enumerate(batches(job, order), 1):
        blocks += [Break()] if blocks else []
        blocks += _sheet(number, load, times[load.program], job)
    return Document("Set-up sheets", job.name, date, tuple(blocks), about=f"machine: {job.machine.title}")


def _sheet(number: int, load: Load, time: ProgramTime, job: Job) -> Iterator[Block]:
    system = job.system
    part, program = job.part(load.part), time.program
    plan = plan_load(job, program, load.part, job.shop)
    runs = cutter_runs(job, program, load.part, plan.cutters)
    forbidden = tuple(dict.fromkeys(r.forbidden for r in runs if r.forbidden))
    title = f"{number}. {program.title or program.id}: {part.title or part.id}"
    yield Table(title, (), tuple(_facts(load, part, time, job, system)), where="print")
    if forbidden:
        yield Caution("DO NOT RUN.", forbidden, grave=True)
    widest = max((r.cutter.true_diameter / 2 for r in runs if r.cutter), default=3.0)
    placed = placed_in(job, load.program, load.part)
    yield sketch(part, program.station, job.machine, plan.moves, widest, system, placed=bool(placed))
    yield _cutter_table(runs, program, system)
    yield Caution("Cautions", _cautions(part))
    yield Break()
    yield Checklist("Before the start", tuple(_checks(load, part, program, runs)))
    held = check_load(job, load.program, load.part, placed, cell=2.0)
    if placed:
        x, y, z = lie(part, program.station, job.machine)
        pads = [p.pad for p in placed if p.fixture.force > 0]
        yield holding_drawing(held.clear, Stock((0.0, x), (0.0, y), 0.0, -z), system, pads)
        yield _fixture_table(placed, system)
    told = (*_watch(program, part, runs, plan.warnings, job, load, system), *_holding(held, bool(placed), system))
    watch = tuple(dict.fromkeys(told))
    yield Table("Watch", (), tuple((f"{k}.", w) for k, w in enumerate(watch, 1)), where="print")
    yield Boxes(("minutes, first load", "minutes, mean of all", "by, date"), 3, 14.0)
    yield Boxes(("observations", "sizes measured"), 2, 36.0)


def _holding(held: LoadHolding, placed: bool, system: System) -> Iterator[str]:
    """Whether what clamps it holds it, and whether anything meets or rubs: one line while all is well."""
    said, by = [w for w in held.says(system) if w], "the fixtures placed" if placed else "the station's own clamps"
    if held.good:
        yield f"holding, by {by}: {'; '.join(w.rstrip('.') for w in said)}"
    else:
        yield from (f"holding, by {by}: {w}" for w in said)


def _fixture_table(placed: Sequence[Placed], system: System) -> Table:
    """Where each fixture stands, from the zero."""
    letters = letters_of([p.name or p.fixture.id for p in placed if p.fixture.height > 0])
    rows = list[tuple[Cell, ...]]()
    for p in placed:
        at = (write(v, "length", system) for v in (p.x, p.y, p.on + p.fixture.height))
        pads = ", ".join(write(v, "length", system) for v in p.pad) if p.fixture.force > 0 else "–"
        letter = letters.get(p.name or p.fixture.id, "–")
        rows.append((letter, p.name, p.fixture.title, *at, f"{math.degrees(p.turn):.0f}°", pads))
    notes = (
        "Letters as in the drawing. X and Y of middles, Z of tops, from the zero of the sketch; sizes and forces as "
        "the shop's fixtures.toml says.",
    )  # fmt: skip
    return Table("Fixtures", ("", "name", "what", "X", "Y", "top Z", "turned", "presses at"), tuple(rows),
                 frozenset((3, 4, 5, 6)), notes)  # fmt: skip


def _facts(load: Load, part: Part, time: ProgramTime, job: Job, system: System) -> Iterator[tuple[Cell, ...]]:
    program = time.program
    station = job.machine.stations.get(program.station)
    size = " × ".join(write(v, "length", system) for v in (part.length, part.width, part.thickness))
    yield "program", f"{program.file or 'not written yet: figures below are planned from dimensions'}"
    yield "part", f"{part.title or part.id}, {job.shop.material(part.material).title}, {size}"
    yield "station", f"{program.station}: {_LIES[program.station]}"
    zero = station.note if station and station.note else "the machine's file does not say; write it here: ____________"
    yield "zero", zero
    each = f"{write_time(time.best)} a load expected ({_known(time)})"
    yield "loads", f"{load.count * job.quantity} in all; {each}"
    turns = load.count // max(part.quantity, 1)
    if turns > 1:
        yield "turning", f"each part is loaded {turns} times: {_TURNS[program.station]}. {_MIRRORED}"


def _known(time: ProgramTime) -> str:
    return (
        "logged" if time.logged is not None else "from the program's text" if time.programmed is not None else "planned"
    )


def cutter_runs(job: Job, program: Program, part: str, chosen: Sequence[str] = ()) -> tuple[CutterRun, ...]:
    """How every cutter of a load runs: as its program says where there is one, else as planned.

    Parameters
    ----------
    job : Job
        Whose shop and machine count.
    program : Program
        Which.
    part : str
        Id of the part that is loaded.
    chosen : sequence of str
        Ids of further cutters that the plan of a relief chose.
    """
    planned = [_planned(job, program, p, o) for p, o in job.operations(program.id, part)]
    for key in [c for c in chosen if c not in {r.name for r in planned}]:
        c = job.shop.cutter(key)
        planned.insert(0, CutterRun(c, key, "carve, too", usual_rpm(c, job.machine), None))
    if program.file is None:
        return tuple(planned)
    said = _programmed(read_program(job.shop.folder / program.file, job.machine).moves, job)
    out = []
    for run in planned:
        rpm, feed, _ = said.get(run.name, (None, None, 0.0))
        out.append(CutterRun(run.cutter, run.name, run.work, rpm or run.rpm, feed or run.feed, run.depth, run.passes,
                             run.binding))  # fmt: skip
    known = {r.name for r in planned}
    for name, (rpm, feed, depth) in said.items():
        if name not in known:
            out.append(CutterRun(job.shop.cutters.get(name), name, "as programmed", rpm, feed, depth))
    return tuple(out)


def _planned(job: Job, program: Program, part: Part, o: Operation) -> CutterRun:
    cutter, work = job.shop.cutter(o.cutter), o.kind + (f" × {o.count}" if o.count > 1 else "")
    if o.kind == "carve":
        return CutterRun(cutter, cutter.id, work, o.rpm or usual_rpm(cutter, job.machine), o.feed, _depth(o, part))
    c = setting(o, part, program.station, job.machine, job.shop)
    depth = _depth(o, part)
    levels = max(1, math.ceil(depth / c.depth_per_pass - 1e-9)) if cutter.shape != "drill" else None
    return CutterRun(cutter, cutter.id, work, c.rpm, c.feed, depth, levels, _binding(job, program, part, o, c, depth))


def _depth(o: Operation, part: Part) -> float:
    if isinstance(o, Tenon):
        return o.length
    if isinstance(o, CutOut):
        return o.depth or part.thickness
    return float(getattr(o, "depth", 0.0))


def _binding(job: Job, program: Program, part: Part, o: Operation, c: Cutting, depth: float) -> tuple[Limit, ...]:
    """Known limits of the planned setting that are nearly used up."""
    if c.cutter.shape == "drill" or depth <= 0:
        return ()
    along = part.grain == "length" and o.kind in ("groove", "rebate", "mortise", "face")
    width = (practice()["stepover_share"].value if o.kind in _BESIDE else 1.0) * c.cutter.true_diameter
    level = min(c.depth_per_pass, depth)
    try:
        cut = ask(
            c.cutter, job.shop.material(part.material), job.machine, station=program.station,
            grain=grain_vector(program.station, 0.0 if along else math.pi / 2), depth=level, width=width,
        )  # fmt: skip
        found = check(Loads(cut, Pass(1, 1, level, width, "conventional")), c.rpm, c.feed)
    except InputError:
        return ()
    return tuple(x for x in found if x.used is not None and x.used >= _NEAR)[:3]


def _programmed(moves: Moves, job: Job) -> dict[str, tuple[float | None, float | None, float]]:
    """Fastest spindle, fastest feed and depth of every cutter a program's text cuts with, by the cutter's id."""
    rack = {c.number: c.id for c in job.shop.cutters.values() if c.number}
    by_case = {key.casefold(): key for key in job.shop.cutters}
    out: dict[str, tuple[float | None, float | None, float]] = {}
    cutting = moves.cutting
    for number in sorted({int(n) for n in moves.cutter[cutting]}):
        label = moves.labels.get(number, "").strip()
        name = by_case.get(label.casefold()) or rack.get(number) or f"T{number}"
        mine = cutting & (moves.cutter == number)
        rpm, feed = float(moves.rpm[mine].max()), moves.feed[mine]
        ends = np.concatenate([moves.points[:-1][mine, 2], moves.points[1:][mine, 2]])
        out[name] = (rpm or None, float(np.nanmax(feed)) if np.isfinite(feed).any() else None, float(-ends.min()))
    return out


def _cutter_table(runs: Sequence[CutterRun], program: Program, system: System) -> Table:
    def shown(value: float | None, quantity: str) -> Cell:
        return "–" if value is None else write(value, quantity, system)

    rows = list[tuple[Cell, ...]]()
    for r in runs:
        place = f"{r.name} (T{r.cutter.number})" if r.cutter and r.cutter.number else f"{r.name} (by hand)"
        stick_out = shown(r.cutter.stick_out if r.cutter else None, "length")
        passes: Cell = Figure(str(r.passes), r.passes) if r.passes else "–"
        run = (shown(r.rpm, "spindle_speed"), shown(r.feed, "feed"), shown(r.depth, "length"))
        rows.append((place, r.work, stick_out, *run, passes))
    head = ("cutter", "for", "stick-out", "spindle", "feed", "depth", "passes")
    text = "as the program's text says; depth and passes planned" if program.file else "planned from dimensions"
    return Table("Cutters", head, tuple(rows), frozenset(range(2, 7)), (f"Spindle and greatest feed {text}.",))


def _checks(load: Load, part: Part, program: Program, runs: Sequence[CutterRun]) -> Iterator[str]:
    yield "Cutters clean, sound and tight, stick-out as above, each measured; speed on the mark read."
    yield "Marked face and end of the part where the sketch has them; clamped so that it cannot lift, slip or tip."
    yield "Zero called up and looked at; height found on this part. First run in the air, hand at the stop."
    if program.station != "flat":
        yield "Where a cutter serves as an end stop: spindle locked off so that nobody can start it, its edges covered."


def _watch(
    program: Program,
    part: Part,
    runs: Sequence[CutterRun],
    warnings: Sequence[str],
    job: Job,
    load: Load,
    system: System,
) -> Iterator[str]:
    notes = [program.note, part.note, *(o.note for _, o in job.operations(program.id, load.part))]
    yield from (n[0].upper() + n[1:] + "." for n in dict.fromkeys(n.strip().rstrip(".") for n in notes) if n)
    yield from (w for w in warnings)
    yield _GRAIN[program.station]
    for r in runs:
        for x in r.binding:
            share = x.used or 0.0
            stands = "past its bound" if share > 1.005 else "at its bound"
            yield f"{r.name}, {r.work}, as planned {stands}: {x.name} ({100 * share:.0f} % used): {x.remedy}."
        if r.cutter and not r.cutter.centre_cutting:
            yield f"{r.name} does not cut at its centre: it may not go straight down into wood."


def _cautions(part: Part) -> tuple[str, ...]:
    dust = [f"Dust of {part.material}: {c.item} {c.value} ({c.basis})." for c in cautions("wood dust", part.material)
            if c.applies_to]  # fmt: skip
    return (
        "The makers' instructions, local codes and licensed practice come before this sheet. Never above the speed "
        "marked on a cutter. Guard closed, extraction on; eye and ear protection, no gloves, no loose sleeves.",
        "Sound, smell or shaking that is not expected: stop the feed, then the spindle, then look. Nobody reaches in "
        "before the spindle stands and the machine cannot start by itself.",
        *dust,
    )
