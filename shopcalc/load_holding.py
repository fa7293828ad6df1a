"""One load of a job under the fixtures placed: clamps in the way, wood in the way, and whether it holds."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from shopcalc.cutting.cut import ask, habit
from shopcalc.cutting.engagement import refuse
from shopcalc.cutting.grain import grain_vector
from shopcalc.cutting.limits import Limit, Loads, Pass, check
from shopcalc.errors import Fault, InputError, did_you_mean, raise_all
from shopcalc.gcode import read_program
from shopcalc.holding.collisions import Clear, bodies_of, check_clear
from shopcalc.holding.firmness import Held, check_holding, forces_of
from shopcalc.holding.fixtures import Fixture, Placed, read_fixtures
from shopcalc.holding.program_forces import driven_of, worst_cuts
from shopcalc.holding.standing import Remark, bears, remarks, waste_under
from shopcalc.holding.tool_body import INVENTED_HOLDER, Holder, Piece, ToolBody
from shopcalc.holding.walls import Cleared, Stock, check_walls
from shopcalc.jobs.planning import plan_load, setting
from shopcalc.jobs.reading import Job
from shopcalc.jobs.records import Clamp, Operation, Part, Program
from shopcalc.machines import PART_AXES, Machine
from shopcalc.moves import Moves
from shopcalc.paths import Cutting
from shopcalc.units import System, write

OF_MACHINE = Holder((), "of the job's machine")  # as a default: looked up where the job is known
_BESIDE = ("tenon", "rebate", "raise", "face")  # cut from the side, not in solid wood
_CELLS = 2e6  # columns of wood at most, so that the answer comes at once
_NEAR = 0.85  # share of a bound above which it is told: what the reserve of hard bounds keeps free


@dataclass(frozen=True, eq=False)
class LoadHolding:
    """What holds one load, and what stands in its way.

    Parameters
    ----------
    clear : Clear
        Against the fixtures.
    walls : Cleared
        Against its own wood.
    firm : tuple of Limit
        Lifts, slips, tips and springs, tightest first; empty where nothing cuts sideways.
    cut : str
        Operation and cutter that push hardest.
    unknown : str
        Why nothing could be checked; empty where it could.
    stands : tuple of Remark
        Fixtures that stand in the wood, stops that touch nothing, bolts in waste.
    """

    clear: Clear
    walls: Cleared
    firm: tuple[Limit, ...]
    cut: str
    unknown: str = ""
    stands: tuple[Remark, ...] = ()

    @property
    def good(self) -> bool:
        """Whether nothing meets, nothing rubs, and every bound keeps its reserve."""
        near = any(x.used is None or x.used > _NEAR for x in self.firm)
        placed = any(r.bad for r in self.stands)
        return self.clear.clear and not (self.walls.rubs or near or placed or self.unknown)

    def says(self, system: System = "metric") -> tuple[str, ...]:
        """In sentences, what can hurt first.

        Parameters
        ----------
        system : {"metric", "inch"}
            What the reader thinks in.
        """
        out = [self.unknown] * bool(self.unknown)
        out += [*(r.says(system) for r in self.stands), *self.clear.says(system)]
        for r in self.walls.rubs:
            place = f"line {r.line}" if r.line else f"move {r.move + 1}"
            by = write(r.depth, "length", system)
            out.append(f"{place}: {r.part} of {r.body.id} rubs on wood that stands {by} too high: {r.remedy}")
        if not self.firm and not self.unknown:
            out.append(
                "nothing cuts sideways; a drill lifts the wood where it comes through (not computed): press beside it"
            )
        for x in self.firm:
            if x.used is None:
                out.append(f"{x.name}: not known ({x.source})")
                continue
            share = f"{100 * x.used:.0f} %" if math.isfinite(x.used) else "more than all"
            kept = "" if x.used <= _NEAR else f": {x.remedy}"
            out.append(f"{x.name}: {share} used, by {self.cut}{kept}")
        return tuple(out)


def check_load(
    job: Job, program: str, part: str, placed: Sequence[Placed], *, margin: float = 3.0,
    holder: Holder | None = OF_MACHINE, cell: float = 1.0,
) -> LoadHolding:  # fmt: skip
    """Check one load of a job under the fixtures placed.

    Parameters
    ----------
    job : Job
        From ``open_job``.
    program, part : str
        Their ids.
    placed : sequence of Placed
        In the program's coordinates: corner of the part at x = y = 0, its top at z = 0. Where none of them presses
        the part, its station's own clamps hold it, as ``cutting.limits`` judges them.
    margin : float
        To be kept from every fixture [mm].
    holder : Holder or None
        Above every stick-out; as it stands, the one of the job's machine, and None leaves it out.
    cell : float
        Width of the columns the wood is taken in; wider for large parts [mm].

    Returns
    -------
    LoadHolding
        From the program's text where it has one, else as planned. Forces at the high band, at the feed
        and speed the text says, else as planned; the depth of a level is the planned one.

    Raises
    ------
    InputError
        When program or part is not in the job, the part is not in the program, or a pad stands beside the part.
    """
    work = work_of(job, program, part, holder)
    x, y, z = work.size
    waste = waste_under(placed, x, y)
    stands = tuple(remarks(placed, x, y))
    if waste and any(o.kind == "cut out" for _, o in job.operations(program, part)):
        stands += (Remark("the part comes free of the waste that is bolted: leave bridges, or hold the part too"),)
    clear = check_clear(
        work.moves, work.bodies, [p.keep_out() for p in placed if p.fixture.height > 0], margin=margin
    )  # fmt: skip
    cell = max(cell, math.sqrt(x * y / _CELLS))
    walls = check_walls(work.moves, work.bodies, Stock((-waste, x + waste), (-waste, y + waste), 0.0, -z), cell=cell)
    if not work.moves.cutting.any():
        return LoadHolding(clear, walls, (), "", "no path of this load is known yet: nothing was checked", stands)
    if work.hardest is None:
        return LoadHolding(clear, walls, (), "", stands=stands)
    loads, c, cut = work.hardest
    if not any(p.fixture.force > 0 for p in placed):
        firm = tuple(limit for limit in check(loads, c.rpm, c.feed) if limit.name in ("lifts", "slips", "tips"))
    else:
        firm = firmness(work, [p if bears(p, x, y) else replace(p, stops=None) for p in placed], waste)
    return LoadHolding(clear, walls, firm, cut, stands=stands)


def firmness(work: Work, placed: Sequence[Placed], waste: float = 0.0) -> tuple[Limit, ...]:
    """Lifts, slips, tips and springs of a load under what holds it, tightest first; none where nothing pushes sideways.

    Parameters
    ----------
    work : Work
        From ``work_of``.
    placed : sequence of Placed
        As in ``check_load``.
    waste : float
        Wood of the blank round the part, where bolts press [mm].

    Raises
    ------
    InputError
        When a pad stands beside the blank.
    """
    if work.hardest is None:
        return ()
    x, y, z = work.size
    moved = tuple(
        replace(p, x=p.x + waste, y=p.y + waste, presses=(p.pad[0] + waste, p.pad[1] + waste)) if waste else p
        for p in placed
    )
    held = Held(x + 2 * waste, y + 2 * waste, z, work.mass, moved)
    loads, c, _ = work.hardest
    return check_holding(held, *forces_of(loads, c.rpm, c.feed), [(a + waste, b + waste) for a, b in work.corners])


@dataclass(frozen=True, eq=False)
class Work:
    """One load before it is clamped: moves, bodies that turn, the wood and the hardest cut.

    Parameters
    ----------
    moves : Moves
        In the program's coordinates.
    bodies : mapping
        Cutter number to body.
    size : (3,) float
        Of the part along x, y and z as it lies [mm].
    mass : float
        [kg].
    station : str
        Where it is held.
    hardest : (Loads, Cutting, str) or None
        The operation that pushes hardest.
    """

    moves: Moves
    bodies: Mapping[int, ToolBody]
    size: tuple[float, float, float]
    mass: float
    station: str
    hardest: tuple[Loads, Cutting, str] | None

    @property
    def corners(self) -> list[tuple[float, float]]:
        """Corners of what is cut, within the part [mm]."""
        return _corners(self.moves, *self.size[:2])


def work_of(job: Job, program: str, part: str, holder: Holder | None = OF_MACHINE) -> Work:
    """One load before it is clamped.

    Parameters
    ----------
    job : Job
        From ``open_job``.
    program, part : str
        Their ids.
    holder : Holder or None
        Above every stick-out; as it stands, the one of the job's machine, and None leaves it out.

    Raises
    ------
    InputError
        When program or part is not in the job, or the part is not in the program.
    """
    chosen = next((p for p in job.programs if p.id == program), None)
    if chosen is None:
        refuse(f"program '{program}' is not in the job", did_you_mean(program, [p.id for p in job.programs]))
    assert chosen is not None
    if part not in {x.part for x in job.loads if x.program == program}:
        refuse(f"part '{part}' is not loaded for '{program}'",
               did_you_mean(part, [x.part for x in job.loads if x.program == program]))  # fmt: skip
    record = job.part(part)
    moves = moves_of(job, chosen, part)
    station = job.machine.stations.get(chosen.station)
    x, y, z = (float(getattr(record, a)) for a in (station.part_axes if station else PART_AXES[chosen.station]))
    density = job.shop.material(record.material).density or 0.0
    bodies = bodies_of(moves, job.shop.cutters, holder_of(job.machine) if holder is OF_MACHINE else holder)
    hardest = _hardest(job, chosen, record, moves)
    return Work(moves, bodies, (x, y, z), density * x * y * z * 1e-9, chosen.station, hardest)


def holder_of(machine: Machine) -> Holder:
    """What stands above the stick-out: as measured, under an invented spindle nose, or all of it invented.

    Parameters
    ----------
    machine : Machine
        Whose file may say ``[..holder]`` with diameter and length.
    """
    if machine.holder is None:
        return INVENTED_HOLDER
    diameter, length = machine.holder
    own = Piece("holder", length, diameter)
    return Holder((own, *INVENTED_HOLDER.pieces[-1:]), "holder as the machine's file says, spindle nose invented")


def own_fixtures(job: Job) -> dict[str, Fixture]:
    """The shop's fixtures; none where its folder has no ``fixtures.toml``.

    Parameters
    ----------
    job : Job
        Whose shop counts.
    """
    path = job.shop.folder / "fixtures.toml"
    return read_fixtures(path, job.shop.rates.currency) if path.is_file() else {}


_WAYS = {"+x": (1.0, 0.0), "-x": (-1.0, 0.0), "+y": (0.0, 1.0), "-y": (0.0, -1.0)}


def placed_in(job: Job, program: str, part: str) -> tuple[Placed, ...]:
    """The fixtures that the job file places for a load; empty where it places none.

    Parameters
    ----------
    job : Job
        From ``open_job``.
    program, part : str
        Their ids.

    Returns
    -------
    tuple of Placed
        On the table the part lies on; bolts on the part's top, vacuum pods under it.
    """
    mine = [c for c in job.clamps if (c.program, c.part) == (program, part)]
    if not mine:
        return ()
    own = own_fixtures(job)
    chosen = next(p for p in job.programs if p.id == program)
    station = job.machine.stations.get(chosen.station)
    axes = station.part_axes if station else PART_AXES[chosen.station]
    thick = float(getattr(job.part(part), axes[2]))
    out, faults = [], list[Fault]()
    x, y = (float(getattr(job.part(part), a)) for a in axes[:2])
    for n, c in enumerate(mine, 1):
        pad = None if c.presses_x is None or c.presses_y is None else (c.presses_x, c.presses_y)
        out.append(Placed(own[c.fixture], c.x, c.y, c.turn, stands_on(own[c.fixture], thick), pad,
                          _WAYS[c.stops] if c.stops else None, c.name or f"{c.fixture} {n}"))  # fmt: skip
        faults += _beside(job, c, out[-1], x, y)
    raise_all(faults)
    return tuple(out)


def _beside(job: Job, clamp: Clamp, p: Placed, x: float, y: float) -> Iterator[Fault]:
    """A fault where what presses the part does not press on it; bolts may press on the waste round it."""
    if p.fixture.force <= 0 or p.fixture.kind == "bolt" or (0 <= p.pad[0] <= x and 0 <= p.pad[1] <= y):
        return
    at, size = ([write(v, "length", job.system) for v in pair] for pair in (p.pad, (x, y)))
    yield Fault(
        f"'{p.name}' presses at x {at[0]}, y {at[1]}, beside the part of {size[0]} by {size[1]} in program "
        f"'{clamp.program}'", "write presses_x and presses_y on the part; its body may stand beside it",
        file=job.file, field=f"clamps[{job.clamps.index(clamp)}]",
    )  # fmt: skip


def stands_on(fixture: Fixture, thick: float) -> float:
    """Height a fixture stands on, the part's top at 0 [mm].

    Parameters
    ----------
    fixture : Fixture
        A bolt's head lies on the part's top, a vacuum pod ends under it, all else stands on the table.
    thick : float
        Height of the part as it lies [mm].
    """
    return {"bolt": 0.0, "vacuum": -thick - fixture.height}.get(fixture.kind, -thick)


def moves_of(job: Job, program: Program, part: str) -> Moves:
    """Moves of one load: from the program's text where it has one, else as planned.

    Parameters
    ----------
    job : Job
        From ``open_job``.
    program : Program
        Of the job.
    part : str
        Id of a part it is loaded with.
    """
    if program.file is not None:
        return read_program(job.shop.folder / program.file, job.machine).moves
    return plan_load(job, program, part, job.shop).moves


def _corners(moves: Moves, x: float, y: float) -> list[tuple[float, float]]:
    """Corners of what is cut, within the part."""
    cuts = np.flatnonzero(moves.cutting)
    ends = np.concatenate([moves.points[cuts], moves.points[cuts + 1]])[:, :2]
    low, high = np.clip(ends.min(axis=0), 0, (x, y)), np.clip(ends.max(axis=0), 0, (x, y))
    return [(float(a), float(b)) for a in (low[0], high[0]) for b in (low[1], high[1])]


def _hardest(job: Job, program: Program, part: Part, moves: Moves) -> tuple[Loads, Cutting, str] | None:
    """The operation that pushes hardest, as the program drives it; None where none cuts sideways."""
    most, found = 0.0, None
    worst = worst_cuts(moves)
    for _, o in job.operations(program.id, part.id):
        c = setting(o, part, program.station, job.machine, job.shop)
        driven = driven_of(worst, c.cutter.id, c.cutter.number) if program.file is not None else None
        if driven is not None:
            c = replace(c, feed=driven.feed, rpm=driven.rpm)
        loads = _loads(job, program, part, o, c)
        if loads is not None and (push := forces_of(loads, c.rpm, c.feed)[0]) > most:
            where = f", line {driven.line}" if driven is not None else ""
            most, found = push, (loads, c, f"{o.kind} with {o.cutter}{where}")
    return found


def _loads(job: Job, program: Program, part: Part, o: Operation, c: Cutting) -> Loads | None:
    """Forces of one operation; None where its cutter does not cut sideways or its forces are not known."""
    if c.cutter.shape == "drill":
        return None
    along = part.grain == "length" and o.kind in ("groove", "rebate", "mortise", "face")
    width = (habit("stepover_share") if o.kind in _BESIDE else 1.0) * c.cutter.true_diameter
    level = min(c.depth_per_pass, c.cutter.cutting_length)
    try:
        cut = ask(
            c.cutter, job.shop.material(part.material), job.machine, station=program.station,
            grain=grain_vector(program.station, 0.0 if along else math.pi / 2), depth=level, width=width,
        )  # fmt: skip
    except InputError:
        return None
    return Loads(cut, Pass(1, 1, level, width, "conventional"))
