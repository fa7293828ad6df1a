"""What a job's standard times are multiplied by: every driver counted from parts, operations, programs and loads."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from shopcalc.jobs.reading import Job
from shopcalc.jobs.records import Face, Mortise, Operation, Part, Raise, Sink, Tenon
from shopcalc.shop import Shop
from shopcalc.standard_times import DRIVERS
from shopcalc.stock.blanks import strip_limit

_FIT = 1.5  # mm a mortise may be larger than its tenon, and a fifth of it smaller, and still be its own
_SQUARE_MM = 1e-6


@dataclass(frozen=True)
class LoadGroup:
    """Loads of one part in one program that have the same steps.

    Parameters
    ----------
    program, part : str
        Ids.
    times : int
        How many in the whole job [-].
    counts : mapping
        Driver of programming or set-up to its count for one of them [-].
    """

    program: str
    part: str
    times: int
    counts: Mapping[str, float]


def drivers(job: Job, shop: Shop | None = None) -> dict[str, float]:
    """What the standard minutes are multiplied by.

    Parameters
    ----------
    job : Job
        The job.
    shop : Shop, optional
        For coats and materials; None takes the one the job was read for.

    Returns
    -------
    dict
        Every driver of ``shop.DRIVERS`` to its count for the whole job [-]; areas [m2].
    """
    shop = job.shop if shop is None else shop
    area, n = finish_area(job), job.quantity
    out = dict.fromkeys(DRIVERS, 0.0)
    for group in load_groups(job):
        for driver, count in group.counts.items():
            out[driver] += count * group.times
    joints, coats = float(n * job.joints), shop.rates.coats if area else 0
    fittings = float(n * sum(h.quantity for h in job.hardware if h.fitted))
    once = ("measuring_per_job", "drawing_per_job", "delivery_per_job")
    return out | _stock(job, shop) | dict.fromkeys(once, 1.0) | {
        "drawing_per_part": float(len(job.parts)),
        "carving_design_per_job": float(any(True for _ in job.done("carve"))),
        "square_per_corner": float(4 * squared_mortises(job)),
        "dry_fit_per_joint": joints,
        "assembly_per_joint": joints,
        "clamp_per_frame": float(n * frames(job)),
        "level_per_joint": joints,
        "prefinish_per_panel": float(n * _panels(job)),
        "assembly_per_piece": float(n),
        "sanding_per_area": area,
        "cutter_lines_per_area": routed_area(job),
        "prepare_per_coat": float(coats),
        "coat_per_area": area * coats,
        "rub_down_per_area": area * max(0, coats - 1),
        "bore_per_fitting": fittings,
        "fit_per_fitting": fittings,
        "pack_per_piece": float(n),
        "install_per_piece": float(n),
    }  # fmt: skip


def finish_area(job: Job) -> float:
    """All faces and edges of the parts that get a finish, for the whole job [m2].

    Parameters
    ----------
    job : Job
        The job.
    """
    square_mm = sum(
        p.quantity * 2 * (p.length * p.width + p.length * p.thickness + p.width * p.thickness)
        for p in job.parts
        if p.finished
    )
    return job.quantity * square_mm * _SQUARE_MM


# --- by load ---------------------------------------------------------------------------------------------------------


def load_groups(job: Job) -> Iterator[LoadGroup]:
    """Every load of the whole job with its own steps of programming and set-up, like ones together.

    Parameters
    ----------
    job : Job
        The job.

    Yields
    ------
    LoadGroup
        In the order of the job's programs. The first load of a program bears what is done once for the program; a
        piece that is clamped more than once in a program is turned for each further clamping. A cutter with its place
        in the rack is looked at and measured once a job, another one in every program.
    """
    racked: set[str] = set()
    for program in job.programs:
        cutters = dict.fromkeys(
            key for load in job.loads if load.program == program.id
            for _, o in job.operations(program.id, load.part) for key in _cutters(o)
        )  # fmt: skip
        by_hand = [key for key in cutters if not job.shop.cutter(key).number]
        looked_at = len(by_hand) + len(set(cutters) - set(by_hand) - racked)
        racked |= set(cutters) - set(by_hand)
        once = _once(job, program.id) | {"find_per_cutter": looked_at, "measure_length_per_cutter": looked_at}
        each = {"load_per_load": 1.0, "zero_per_load": 1.0, "clean_per_load": 1.0}
        changes = each if len(cutters) > 1 else once
        changes["change_by_hand_per_change"] = float(len(by_hand))
        for load in job.loads:
            if load.program != program.id:
                continue
            plain = min(load.count, job.part(load.part).quantity)
            turned = job.quantity * (load.count - plain)
            if once:
                yield LoadGroup(program.id, load.part, 1, each | once)
            if job.quantity * plain > bool(once):
                yield LoadGroup(program.id, load.part, job.quantity * plain - bool(once), each)
            if turned:
                yield LoadGroup(program.id, load.part, turned, each | {"turn_per_turn": 1.0})
            once = {}


def _cutters(o: Operation) -> Iterator[str]:
    """Cutters an operation names."""
    named = (getattr(o, field, None) for field in ("cutter", "rough_cutter", "clean_cutter", "ground_cutter"))
    yield from (key for key in named if key and key != "none")


def _once(job: Job, program: str) -> dict[str, float]:
    """What is done once for a program: the programming of its operations, and the set-up of its station."""
    kinds = Counter(o.kind for p in job.parts for o in p.operations if o.program == program)
    once = (
        "programming_per_program", "proving_per_program", "stops_per_program", "dry_run_per_program",
        "first_part_check_per_program",
    )  # fmt: skip
    return dict.fromkeys(once, 1.0) | {f"programming_per_{k.replace(' ', '_')}": float(n) for k, n in kinds.items()}


# --- by hand ---------------------------------------------------------------------------------------------------------


def strips(part: Part, shop: Shop) -> int:
    """Boards a piece is made of: 1, or the strips and layers of a blank that is glued up, as the take-off has them [-].

    Parameters
    ----------
    part : Part
        As described.
    shop : Shop
        For the widest strip it uses.
    """
    if part.strips is not None:
        return part.strips * part.layers
    if not part.glued or shop.material(part.material).group == "sheet":
        return part.layers
    rules = shop.rates.stock
    across = part.width + part.extra_width if part.grain == "length" else part.length + part.extra_length
    return part.layers * max(1, math.ceil(across / (strip_limit(rules) - 2 * rules.edge_loss) - 1e-9))


def blanks(part: Part, job: Job, shop: Shop) -> int:
    """Pieces of a part to make in the whole job, spares with them [-].

    Parameters
    ----------
    part : Part
        As described.
    job : Job
        For its quantity.
    shop : Shop
        For its rule on spares.
    """
    count, per = part.quantity * job.quantity, shop.rates.stock.spare_per
    spares = part.spares * job.quantity if part.spares is not None else count // per if per else 0
    return count + spares


def _stock(job: Job, shop: Shop) -> dict[str, float]:
    many = {p.id: float(blanks(p, job, shop)) for p in job.parts}
    boards = {p.id: many[p.id] * strips(p, shop) for p in job.parts}
    sawn = sum(boards[p.id] for p in job.parts if shop.material(p.material).group in ("hardwood", "softwood"))
    glued = [p.id for p in job.parts if p.glued or strips(p, shop) > 1]
    each = dict.fromkeys(("select_per_board", "cross_cut_per_board", "rip_per_board"), sum(boards.values()))
    return each | {
        "joint_per_board": sawn,
        "plane_per_board": sawn,
        "mark_per_piece": sum(many.values()),
        "glue_up_per_strip": sum(boards[key] for key in glued),
        "glue_up_per_blank": sum(many[key] for key in glued),
    }


def _loaded(job: Job) -> Iterator[tuple[int, Part, Operation]]:
    """Every operation with the part it is done to and its loads in one finished piece."""
    for load in job.loads:
        for _, o in job.operations(load.program, load.part):
            yield load.count, job.part(load.part), o


def frames(job: Job) -> int:
    """Frames in one finished piece: half its stiles, which are the pieces that have mortises and no tenons [-].

    Parameters
    ----------
    job : Job
        One that has joints but no such pieces is one frame.
    """
    if not job.joints:
        return 0
    done = [(part.id, o.kind) for _, part, o in _loaded(job)]
    stiles = sum(p.quantity for p in job.parts if (p.id, "mortise") in done and (p.id, "tenon") not in done)
    return math.ceil(stiles / 2) or 1


def _panels(job: Job) -> int:
    raised = {part.id for _, part, o in _loaded(job) if isinstance(o, Raise)}
    return sum(p.quantity for p in job.parts if p.id in raised and p.finished)


def squared_mortises(job: Job) -> int:
    """Mortises of the whole job whose round ends are squared by hand, because the tenon they fit stays square [-].

    Parameters
    ----------
    job : Job
        A mortise that says nothing goes with the tenons of its size, 1.5 mm of clearance at most.
    """
    mortises, square = Counter[tuple[float, float]](), Counter[tuple[float, float]]()
    found = 0
    for loads, _, o in _loaded(job):
        if isinstance(o, Mortise) and o.corners == "squared":
            found += loads * o.count
        elif isinstance(o, Mortise) and o.corners == "round":
            mortises[o.length, o.width] += loads * o.count
        elif isinstance(o, Tenon) and not o.rounded:
            square[o.width, o.thickness] += loads
    for (length, width), room in mortises.items():
        for size in sorted(square):
            if all(-_FIT / 5 <= a - b <= _FIT for a, b in zip((length, width), size, strict=True)):
                taken = min(room, square[size])
                found, room = found + taken, room - taken
                square[size] -= taken
    return job.quantity * found


def routed_area(job: Job) -> float:
    """Faces that show the lines of a cutter and get a finish, for the whole job; reliefs are not among them [m2].

    Parameters
    ----------
    job : Job
        Planed faces, bottoms of pockets, borders of raised panels.
    """
    total = 0.0
    for loads, part, o in _loaded(job):
        if not part.finished:
            continue
        if isinstance(o, Face):
            total += loads * o.count * (o.length or part.length) * (o.width or part.width)
        elif isinstance(o, Sink):
            total += loads * o.count * o.length * o.width
        elif isinstance(o, Raise):
            border = 2 * o.width * (part.length + part.width - 2 * o.width)
            total += loads * max(border, 0.0)
    return job.quantity * total * _SQUARE_MM
