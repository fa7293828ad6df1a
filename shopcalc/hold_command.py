"""The command ``hold``: where a stopped program begins again; bolts for both faces, their template and their plate.

Only the parser is made at start; everything else is imported when an action needs it.
"""

from __future__ import annotations

import argparse
import datetime
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from shopcalc.errors import Fault, InputError, did_you_mean, raise_all

if TYPE_CHECKING:
    from shopcalc.documents.blocks import PaperSize
    from shopcalc.fixture_choice import Choice
    from shopcalc.shop import Shop
    from shopcalc.units import System

Write = Callable[[Path, Mapping[str, str | bytes]], None]
Answer = tuple[list[str], dict[str, Any]]  # lines for people, and the document


# --- the parser ------------------------------------------------------------------------------------------------------


def add_actions(parser: argparse.ArgumentParser) -> None:
    """Give the command its actions and their flags.

    Parameters
    ----------
    parser : ArgumentParser
        Of the command; it has ``--shop``, ``--system`` and ``--json`` already, which are understood behind an action
        too.
    """
    make = type(parser)
    common = make(add_help=False)
    common.add_argument("--shop", metavar="DIR", default=argparse.SUPPRESS, help="the shop's folder")
    common.add_argument("--system", choices=("inch", "metric"), default=argparse.SUPPRESS, help="units for people")
    common.add_argument(
        "--json", action="store_true", default=argparse.SUPPRESS, help="one JSON document, nothing else"
    )
    actions = parser.add_subparsers(dest="action", metavar="ACTION", required=True, parser_class=make)
    for name, (text, flags, _) in ACTIONS.items():
        flags(actions.add_parser(name, help=text, description=text, parents=[common], allow_abbrev=False))


def run(chosen: argparse.Namespace, write: Write, show: Callable[[Any], None]) -> int:
    """Do what the action asks for.

    Parameters
    ----------
    chosen : Namespace
        From the parser.
    write : callable
        Of a folder and contents by name: writes all of them or none.
    show : callable
        Of a JSON document: prints it.

    Returns
    -------
    int
        0.

    Raises
    ------
    InputError
        With everything that is wrong; then nothing was written.
    """
    from shopcalc.shop import Shop

    lines, document = ACTIONS[chosen.action][2](chosen, Shop.open(chosen.shop), write)
    if chosen.json:
        show(document)
    else:
        print("\n".join(lines))
    return 0


def _lengths(chosen: argparse.Namespace, **least: float) -> dict[str, float]:
    """Lengths given as text by flag; every fault at once. What may be 0 has the least 0."""
    from shopcalc.units import read

    out, faults = {}, list[Fault]()
    for name, low in least.items():
        try:
            bound = {"minimum": 0.0} if low == 0 else {"above": 0.0}
            out[name] = read(getattr(chosen, name), "length", **bound)
        except InputError as e:
            faults += [replace(f, field="--" + name.replace("_", "-")) for f in e.faults]
    raise_all(faults)
    return out


# --- resume ----------------------------------------------------------------------------------------------------------


def _resume_flags(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("program", metavar="PROGRAM")
    parser.add_argument("--after", metavar="LINE", required=True, help="last line that was surely done, from 1")
    parser.add_argument("--machine", metavar="NAME|FILE.toml", help="default: the first machine of the shop")


def _resume(chosen: argparse.Namespace, shop: Shop, _: Write) -> Answer:
    from shopcalc.holding.resuming import resume_program

    system: System = chosen.system or "metric"
    if not (chosen.after.isascii() and chosen.after.isdigit()):
        raise InputError(Fault(f"'{chosen.after}' is not a line", "count lines of the file from 1", field="--after"))
    if chosen.machine is None and not shop.machines:
        raise InputError(Fault("the shop has no machine", "name one with --machine FILE.toml"))
    machine = next(iter(shop.machines.values())) if chosen.machine is None else shop.machine(chosen.machine)
    found = resume_program(chosen.program, machine, int(chosen.after))
    modes = found.modes
    steps = found.says(system)
    lines = [f"{chosen.program} after line {found.done}: begin again at line {found.line}", ""]
    lines += [f"{i}. {step}" for i, step in enumerate(steps, 1)]
    document = {
        "program": chosen.program, "machine": machine.name, "done_line": found.done, "begin_line": found.line,
        "cutter": found.cutter, "label": found.label, "rpm": found.rpm or None, "feed_mm_min": found.feed,
        "safe_height_mm": found.safe_height, "above_mm": list(found.above), "entry_mm": list(found.entry),
        "repeated_mm": found.repeated, "left_s": found.seconds_left, "cutter_changed_before": found.changed,
        "modes": list(modes.codes) if modes else [], "motion": modes.motion if modes and modes.motion >= 0 else None,
        "steps": list(steps),
    }  # fmt: skip
    return lines, document


# --- bolts -----------------------------------------------------------------------------------------------------------


def _bolt_flags(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("job", metavar="JOB.toml")
    parser.add_argument("--program", metavar="ID", required=True, help="of the first face")
    parser.add_argument("--turned", metavar="ID", help="of the other face; default: the same program")
    parser.add_argument("--part", metavar="ID", required=True, help="that both cut")
    for flag, meta, default, text in (
        ("--waste", "W", "50 mm", "wood of the blank round the part, on every side"),
        ("--margin", "M", "3 mm", "every move keeps from every bolt"),
        ("--hole", "D", "9 mm", "drilled in the blank"),
        ("--insert", "D", "11 mm", "hole in the plate, for the bolt's insert or thread"),
        ("--plate-depth", "D", "15 mm", "of the holes in the plate; less than it is thick"),
    ):
        parser.add_argument(flag, metavar=meta, default=default, help=f"{text}; default {default}")
    parser.add_argument("--bolt", metavar="ID", help="of fixtures.toml; default: its first bolt")
    parser.add_argument("--stop", metavar="ID", help="round pin of fixtures.toml; default: its first round stop")
    parser.add_argument("--about", choices=("x", "y"), default="x", help="axis the blank is turned about; default x")
    parser.add_argument("--pairs", metavar="N", type=_pairs, default=2, help="of bolts; default 2")
    parser.add_argument(
        "--filled", action="store_true", help="painted work: also through the part, holes to be filled afterwards"
    )
    parser.add_argument("--template", metavar="FILE.pdf", help="write the drill template, to print at full size")
    parser.add_argument("--paper", choices=("letter", "a4"), help="default: letter for inches, a4 for millimetres")
    parser.add_argument("--plate", metavar="FILE.nc", help="write the program that drills the fixture plate")
    parser.add_argument("--cutter", metavar="ID", help="that drills the plate; default: the largest that fits")
    parser.add_argument("--plate-material", metavar="ID", default="mdf", help="of the plate; default mdf")


def _pairs(text: str) -> int:
    if not (text.isascii() and text.isdigit() and 0 < int(text) <= 20):
        raise argparse.ArgumentTypeError(f"'{text}' is not a number from 1 to 20")
    return int(text)


def _bolts(chosen: argparse.Namespace, shop: Shop, write_files: Write) -> Answer:
    import numpy as np

    from shopcalc.holding.bolts import bolt_pattern, drill_template
    from shopcalc.holding.collisions import bodies_of
    from shopcalc.jobs.reading import open_job
    from shopcalc.load_holding import holder_of, moves_of, own_fixtures
    from shopcalc.machines import PART_AXES

    given = _lengths(chosen, waste=0.0, margin=0.0, hole=1.0, insert=1.0, plate_depth=1.0)
    job = open_job(chosen.job, shop)
    system: System = chosen.system or job.system
    fixtures = own_fixtures(job)
    bolt = _fixture(fixtures, chosen.bolt, "bolt", "--bolt")
    asked = (chosen.program, "--program"), (chosen.turned or chosen.program, "--turned")
    programs = [_program(job, name, chosen.part, flag) for name, flag in asked]
    part = job.part(chosen.part)
    x, y, z = (float(getattr(part, a)) for a in PART_AXES["flat"])
    waste = given["waste"]
    work = []
    for program in programs:
        moves = moves_of(job, program, part.id)
        if not moves.cutting.any():
            raise InputError(Fault(f"no path of '{program.id}' is known yet", "write its program first", chosen.job))
        shift = np.array([waste, waste, 0.0])
        moves = replace(moves, points=moves.points + shift, arc_centre=moves.arc_centre.reshape(-1, 3) + shift)
        bodies = bodies_of(moves, job.shop.cutters, holder_of(job.machine))
        if set(moves.cutter[moves.cutting].tolist()) - set(bodies):
            raise InputError(Fault(f"'{program.id}' calls a cutter that is not in the rack", "enter it in cutters.csv"))
        work.append((moves, bodies))
    found = bolt_pattern(
        work[0], work[1], x + 2 * waste, y + 2 * waste, z, bolt, about=chosen.about, pairs=chosen.pairs,
        margin=given["margin"], part=(waste, waste, x + waste, y + waste), filled=chosen.filled,
        system=system, grid=max(10.0, math.sqrt((x + 2 * waste) * (y + 2 * waste) / 7000)),  # half the blank is tried
    )  # fmt: skip
    lines, files = list(found.says(system)), dict[str, str | bytes]()
    document: dict[str, Any] = {
        "job": job.name, "part": part.id, "programs": [p.id for p in programs], "about": chosen.about,
        "blank_mm": [found.length, found.width, z], "margin_mm": found.margin, "bolt": bolt.id,
        "places_mm": found.places.tolist(), "through_part": found.through, "pairs_free": found.free,
    }  # fmt: skip
    if chosen.plate is not None:
        plate = _plate(chosen, job, found, fixtures, given, work, z, system)
        files[chosen.plate] = plate.text
        lines += plate.says(system)
        document["plate"] = {
            "pins_mm": plate.pins.tolist(), "low_mm": list(plate.low), "high_mm": list(plate.high),
            "time_s": plate.seconds,
        }  # fmt: skip
    if chosen.template is not None:
        from shopcalc.documents import Document
        from shopcalc.documents.pdf import as_pdf

        paper: PaperSize = chosen.paper or ("letter" if system == "inch" else "a4")
        blocks = drill_template(found, given["hole"], system)
        files[chosen.template] = as_pdf(Document("Drill template", job.name, datetime.date.today(), blocks), paper)[0]
    _write(files, write_files)
    document["written"] = list(files)
    return [*lines, *(f"written: {name}" for name in files)], document


def _fixture(fixtures: Mapping[str, Any], wanted: str | None, kind: str, flag: str) -> Any:
    own = {k: f for k, f in fixtures.items() if f.kind == kind and f.diameter > 0}
    if wanted is None and own:
        return next(iter(own.values()))
    if wanted not in own:
        message = (
            f"there is no round {kind} '{wanted}' in fixtures.toml" if wanted else f"fixtures.toml has no round {kind}"
        )
        raise InputError(Fault(message, did_you_mean(wanted or "", own) if own else f"enter a {kind} with a diameter",
                               field=flag))  # fmt: skip
    return own[wanted]


def _program(job: Any, name: str, part: str, flag: str) -> Any:
    found = {p.id: p for p in job.programs}
    if name not in found:
        raise InputError(Fault(f"program '{name}' is not in the job", did_you_mean(name, found), field=flag))
    loaded = [x.part for x in job.loads if x.program == name]
    if part not in loaded:
        raise InputError(Fault(f"part '{part}' is not loaded for '{name}'", did_you_mean(part, loaded), field="--part"))
    if found[name].station != "flat":
        raise InputError(Fault(f"'{name}' runs at station {found[name].station}", "bolts hold flat work", field=flag))
    return found[name]


def _plate(
    chosen: argparse.Namespace, job: Any, found: Any, fixtures: Mapping[str, Any], given: Mapping[str, float],
    work: Any, thickness: float, system: System,
) -> Any:  # fmt: skip
    """The plate's program, with cutters of the rack."""
    from shopcalc.holding.plate import plate_program

    pin = _fixture(fixtures, chosen.stop, "stop", "--stop")
    material = job.shop.material(chosen.plate_material)
    depth = given["plate_depth"]
    settings = [_boring(job, chosen.cutter, material, wide, depth) for wide in (given["insert"], pin.diameter)]
    return plate_program(
        found, pin, settings, job.machine, insert=given["insert"], depth=depth, work=work, thickness=thickness,
        system=system,
    )  # fmt: skip


def _boring(job: Any, wanted: str | None, material: Any, diameter: float, depth: float) -> Any:
    """A cutter that makes this hole: the one named, else a drill of its size, else the largest flat one that fits."""
    from shopcalc.cutting.cut import habit
    from shopcalc.cutting.usual import usual_feed, usual_rpm
    from shopcalc.paths import Cutting

    if wanted is not None:
        cutter = job.shop.cutter(wanted)
    else:
        fits = [
            c for c in job.shop.cutters.values() if c.cutting_length >= depth and c.centre_cutting
            and (abs(c.true_diameter - diameter) < 0.02 if c.shape == "drill" else
                 c.shape == "square end" and c.true_diameter <= diameter)
        ]  # fmt: skip
        if not fits:
            message = f"no cutter of the rack makes a hole of {diameter:g} mm, {depth:g} mm deep"
            raise InputError(Fault(message, "take another size, or name a cutter with --cutter"))
        cutter = max(fits, key=lambda c: (c.shape == "drill", bool(c.number), c.true_diameter))
    rpm = usual_rpm(cutter, job.machine)
    axes = job.machine.axes
    feed = math.floor(min(usual_feed(cutter, material, rpm), axes[0].feed, axes[1].feed) / 10) * 10.0
    plunge = min(habit("plunge_share") * feed, axes[2].feed)
    return Cutting(cutter, feed, plunge, rpm, depth_per_pass=cutter.true_diameter / 2)


def _write(files: Mapping[str, str | bytes], write_files: Write) -> None:
    """Each into its own folder; files of one folder together or none."""
    folders: dict[Path, dict[str, str | bytes]] = {}
    for name, content in files.items():
        folders.setdefault(Path(name).parent, {})[Path(name).name] = content
    for folder, inside in folders.items():
        write_files(folder, inside)


# --- check and fixtures: what holds the loads of a job ----------------------------------------------------------------


def _check_flags(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("job", metavar="JOB.toml")
    parser.add_argument("--program", metavar="ID", help="only its loads")
    parser.add_argument("--part", metavar="ID", help="only its loads")
    parser.add_argument("--margin", metavar="M", default="3 mm", help="every move keeps from every fixture")


def _check(chosen: argparse.Namespace, shop: Shop, _: Write) -> Answer:
    from shopcalc.jobs.reading import open_job
    from shopcalc.load_holding import check_load, holder_of, placed_in

    margin = _lengths(chosen, margin=0.0)["margin"]
    job = open_job(chosen.job, shop)
    system: System = chosen.system or job.system
    lines, loads = [], []
    for flag, known in (("program", [x.program for x in job.loads]), ("part", [x.part for x in job.loads])):
        name = getattr(chosen, flag)
        if name is not None and name not in known:
            raise InputError(Fault(f"no load of the job has {flag} '{name}'", did_you_mean(name, known),
                                   field=f"--{flag}"))  # fmt: skip
    for load in job.loads:
        if chosen.program not in (None, load.program) or chosen.part not in (None, load.part):
            continue
        placed = placed_in(job, load.program, load.part)
        found = check_load(job, load.program, load.part, placed, margin=margin, cell=2.0)
        pressed = any(p.fixture.force > 0 for p in placed)
        count = f"{len(placed)} fixture{'s' * (len(placed) > 1)} placed"
        by = count if pressed else "the station's own clamps" + f" and {count}" * bool(placed)
        said = [w for w in found.says(system) if w]
        lines += [f"{load.program}/{load.part}, by {by}: {'holds' if found.good else 'LOOK AT IT'}"]
        lines += [f"  {w}" for w in said]
        loads.append({
            "program": load.program, "part": load.part, "fixtures": [p.name for p in placed], "good": found.good,
            "says": said, "used": {x.name: x.used for x in found.firm if x.used is None or math.isfinite(x.used)},
            "meets": sorted({c.keep_out for c in found.clear.collisions}),
        })  # fmt: skip
    if not loads:
        raise InputError(Fault(f"part '{chosen.part}' is not loaded for '{chosen.program}'", "name a load of the job",
                               field="--part"))  # fmt: skip
    holder = holder_of(job.machine).note
    return [*lines, "", f"holder above the cutters: {holder}", _AIR], {
        "job": job.name, "margin_mm": margin, "holder": holder, "loads": loads, "caution": _AIR,
    }  # fmt: skip


_AIR = (
    "Forces and sizes are as the shop's tables say; friction is common practice. Pull each clamp with a spring scale, "
    "run the first part in the air with a hand at the stop."
)


def _fixtures_flags(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("job", metavar="JOB.toml")
    parser.add_argument("--program", metavar="ID", required=True, help="of the load")
    parser.add_argument("--part", metavar="ID", required=True, help="of the load")
    parser.add_argument("--margin", metavar="M", default="3 mm", help="every move keeps from every fixture")
    parser.add_argument("--waste", metavar="W", default="0 mm", help="wood of the blank round the part, for bolts")
    parser.add_argument(
        "--clamps", metavar="ID", help="of a fixture: its places as [[clamps]] for the job file, no more"
    )


def _fixtures(chosen: argparse.Namespace, shop: Shop, _: Write) -> Answer:
    from shopcalc.fixture_choice import choices, pay_backs
    from shopcalc.jobs.reading import open_job

    given = _lengths(chosen, margin=0.0, waste=0.0)
    job = open_job(chosen.job, shop)
    system: System = chosen.system or job.system
    found = choices(job, chosen.program, chosen.part, **given)
    if chosen.clamps is not None:
        return _entries(chosen, found, system)
    lines, paid = [f"{n}. {c.says(system)}" for n, c in enumerate(found, 1)], []
    for c, p in pay_backs(job, chosen.program, chosen.part, found):
        cost = f"{c.missing} more {c.fixture.id}: {p.cost:.2f} {shop.rates.currency}"
        after = f"paid back after {p.jobs:.1f} jobs like this" if math.isfinite(p.jobs) else "never paid back by this"
        lines.append(f"{cost}, {p.saved:.2f} {shop.rates.currency} saved a job: {after}")
        paid.append({"fixture": c.fixture.id, "count": c.missing, "cost": str(p.cost), "saved_a_job": str(p.saved),
                     "jobs": p.jobs if math.isfinite(p.jobs) else None})  # fmt: skip
    document = {
        "job": job.name, "program": chosen.program, "part": chosen.part,
        "margin_mm": given["margin"], "waste_mm": given["waste"], "pays_back": paid, "caution": _AIR,
        "choices": [
            {"fixture": c.fixture.id, "refused": c.refused, "to_set_s": c.to_set, "missing": c.missing,
             "used": c.used if math.isfinite(c.used) else None, "placed": [
                 {"fixture": q.fixture.id, "name": q.name, "x_mm": q.x, "y_mm": q.y, "turn_rad": q.turn,
                  "presses_mm": list(q.pad)} for q in c.placed]} for c in found],
    }  # fmt: skip
    return [*lines, "", _AIR], document


def _entries(chosen: argparse.Namespace, found: Sequence[Choice], system: System) -> Answer:
    """One choice as a job file has it."""
    from shopcalc.fixture_choice import job_entries

    named = {c.fixture.id: c for c in found}
    if chosen.clamps not in named:
        raise InputError(Fault(f"no fixture '{chosen.clamps}' presses the part", did_you_mean(chosen.clamps, named),
                               field="--clamps"))  # fmt: skip
    choice = named[chosen.clamps]
    if choice.refused:
        raise InputError(Fault(f"{choice.fixture.title} does not hold this load", choice.refused, field="--clamps"))

    entries = job_entries(choice.placed, chosen.program, chosen.part, system)
    lines = [line for e in entries for line in ("[[clamps]]", *(f'{k} = "{v}"' for k, v in e.items()), "")]
    return lines, {"clamps": entries, "caution": _AIR}


#: Action to what help says of it, its flags, and what does it: an action more is a row more.
Flags = Callable[[argparse.ArgumentParser], None]
ACTIONS: dict[str, tuple[str, Flags, Callable[[argparse.Namespace, Shop, Write], Answer]]] = {
    "resume": ("where a program that was stopped begins again", _resume_flags, _resume),
    "check": ("whether every load of a job holds and clears what holds it", _check_flags, _check),
    "fixtures": (
        "which of the shop's fixtures hold one load, where, and what a new one would save",
        _fixtures_flags,
        _fixtures,
    ),
    "bolts": ("bolts in the waste that serve both faces, their template and plate", _bolt_flags, _bolts),
}
