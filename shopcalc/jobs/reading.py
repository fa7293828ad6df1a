"""Read a job file against a shop: every fault at once, each with its place and what to do."""

from __future__ import annotations

import graphlib
import re
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, Field, ValidationError

from shopcalc.errors import Fault, InputError, did_you_mean, raise_all
from shopcalc.fields import Record, System
from shopcalc.frames import Expansion, Frame, Rail, expand
from shopcalc.jobs.records import (
    EXAMPLES,
    OPERATION_RECORDS,
    Clamp,
    Hardware,
    Heading,
    JobFile,
    Load,
    Operation,
    Part,
    PhaseEntry,
    Program,
    StockEntry,
)
from shopcalc.machines import PART_AXES, Machine, Station, StationName
from shopcalc.materials import Material
from shopcalc.relief.kind_drawings import KINDS
from shopcalc.shop import PHASES, Shop
from shopcalc.sources import load_toml
from shopcalc.units import write


@dataclass(frozen=True)
class Job:
    """A job, read and checked against the shop it is for.

    Parameters
    ----------
    name : str
        What people call it.
    machine : Machine
        It runs on.
    quantity : int
        Finished pieces [-].
    system : {"inch", "metric"}
        What the shop reads.
    parts, programs, loads, hardware : tuple
        For one finished piece; every pair of program and part that belong together has a load.
    phases : mapping
        Phase to what is said of it.
    asked_price : Decimal or None
        For the whole job [currency].
    joints : int
        To fit in one finished piece [-].
    order : tuple of str
        Every load as "program/part" in the order said in the file; empty where it says none.
    stock : StockEntry
        How wood is priced, where it differs from the shop's way.
    clamps : tuple of Clamp
        What the shop's fixtures hold each load with, where the file says it.
    shop : Shop
        It was read for.
    note, file : str
        For people; where it was read.
    warnings : tuple of str
        What looks odd but may be meant.
    expansion : Expansion or None
        Of the file's frames: how they are laid out, and which parts and programs they brought.
    """

    name: str
    machine: Machine
    quantity: int
    system: System
    parts: tuple[Part, ...]
    programs: tuple[Program, ...]
    loads: tuple[Load, ...]
    hardware: tuple[Hardware, ...]
    phases: Mapping[str, PhaseEntry]
    asked_price: Decimal | None
    shop: Shop = field(repr=False, compare=False)
    joints: int = 0
    order: tuple[str, ...] = ()
    stock: StockEntry = field(default_factory=StockEntry)
    clamps: tuple[Clamp, ...] = ()
    note: str = ""
    file: str = ""
    warnings: tuple[str, ...] = ()
    expansion: Expansion | None = field(default=None, repr=False, compare=False)

    def part(self, key: str) -> Part:
        """The part of that id."""
        return next(p for p in self.parts if p.id == key)

    def place(self, part: Part, operation: Operation) -> str:
        """Path of an operation in the job file: "parts[2].operations[0]".

        Parameters
        ----------
        part : Part
            Where it is described.
        operation : Operation
            Which.
        """
        if self.expansion is not None and part.id in self.expansion.owners:
            return f"frames[{self.expansion.owners[part.id]}]"
        i = next(k for k, p in enumerate(self.parts) if p.id == part.id)
        j = next(k for k, o in enumerate(part.operations) if o is operation)
        return f"parts[{i}].operations[{j}]"

    def operations(self, program: str, part: str) -> tuple[tuple[Part, Operation], ...]:
        """What one load does, with the part each operation is described at.

        Parameters
        ----------
        program, part : str
            Ids. A part that says nothing of this program has done to it what the one that does says: a lower rail
            runs the program of the upper rail's ends.
        """
        own = [(p, o) for p in self.parts for o in p.operations if o.program == program]
        return tuple(x for x in own if x[0].id == part) or tuple(own)

    @property
    def load_count(self) -> int:
        """Loads of the whole job [-]."""
        return self.quantity * sum(load.count for load in self.loads)

    @property
    def piece_count(self) -> int:
        """Pieces of wood of the whole job [-]."""
        return self.quantity * sum(p.quantity for p in self.parts)

    def done(self, kind: str) -> Iterator[tuple[int, Operation]]:
        """Every operation of a kind, with how often it is done in one finished piece.

        Parameters
        ----------
        kind : str
            Of ``OPERATION_RECORDS``.
        """
        for load in self.loads:
            for _, operation in self.operations(load.program, load.part):
                if operation.kind == kind:
                    yield load.count * operation.count, operation


def open_job(path: Path | str, shop: Shop | None = None, *, files_exist: bool = True) -> Job:
    """Read a job file.

    Parameters
    ----------
    path : Path or str
        TOML file.
    shop : Shop, optional
        Whose machines, cutters, materials and prices it names; None takes the demo shop.
    files_exist : bool
        Whether the program files it names must be there already.

    Raises
    ------
    InputError
        With every fault: file, path of the field ("parts[2].operations[0].depth"), what is wrong, what to write.

    Example
    -------
    >>> from shopcalc.shop import demo_folder
    >>> open_job(demo_folder() / "jobs" / "garden-gates.toml").quantity
    12
    """
    data = load_toml(path)
    return check_job(data, str(path), Shop.open() if shop is None else shop, files_exist=files_exist)


def check_job(data: Mapping[str, Any], file: str, shop: Shop, *, files_exist: bool = True) -> Job:
    """Check the tables of a job file.

    Parameters
    ----------
    data : mapping
        As TOML gives them.
    file : str
        What faults call it.
    shop : Shop
        As in ``open_job``.
    files_exist : bool
        As in ``open_job``.

    Raises
    ------
    InputError
        As ``open_job``.
    """
    written, faults = data, list[Fault]()
    data, expansion, framed = _with_frames(data, file, shop)
    record: JobFile | None = None
    try:
        record = JobFile.model_validate(
            {k: _entries(v) if k == "phases" else v for k, v in data.items()}, context={"currency": shop.rates.currency}
        )
    except ValidationError as e:
        faults += [_fault(dict(error), data, file) for error in e.errors(include_url=False) if not _idle(dict(error))]
    machine, found = _machine(data, file, shop)
    faults += found
    faults += list(_references(data, file, shop))
    if files_exist:
        faults += list(_missing_files(data, file, shop))
    if framed:  # what only the frames could bring is not missing
        faults = [f for f in faults if not _of_frames(f)]
    faults = [_of_its_frame(replace(f, message=_cut(_named(f, data))), data, written, expansion) for f in faults]
    raise_all(sorted(_unique([*framed, *faults]), key=lambda f: _order(f, written)))
    if record is None or machine is None:  # a fault says so above
        raise AssertionError("a refused job file left no fault")
    job = replace(_resolve(record, machine, file, shop), expansion=expansion)
    return replace(job, warnings=(*job.warnings, *_like_frames(job)))


# --- frames become parts, programs and loads --------------------------------------------------------------------------


class _Frames(Record):
    """The frames of a job file by themselves."""

    frames: Annotated[tuple[Frame, ...], Field(min_length=1)]


def _with_frames(
    data: Mapping[str, Any], file: str, shop: Shop
) -> tuple[Mapping[str, Any], Expansion | None, list[Fault]]:
    """The tables with every frame written out behind them; where a frame has faults, the tables without frames."""
    if "frames" not in data:
        return data, None, []
    rest = {k: v for k, v in data.items() if k != "frames"}
    try:
        frames = _Frames.model_validate({"frames": data["frames"]}).frames
    except ValidationError as e:
        told = [dict(error) for error in e.errors(include_url=False)]
        return rest, None, [_fault(error, data, file) for error in told if not _idle(error)]
    system: System = "metric" if _at(("job", "system"), data) == "metric" else "inch"
    machine = shop.machines.get(str(_at(("job", "machine"), data)))
    taken = [str(p.get("id")) for _, p in _tables(data, "programs")]
    try:
        found = expand(frames, shop, machine, system, file=file, taken=taken)
    except InputError as e:
        return rest, None, list(e.faults)
    for name, more in (("parts", found.parts), ("programs", found.programs), ("loads", found.loads)):
        if isinstance(own := rest.get(name, []), list):
            rest[name] = [*own, *more]
    return rest, found, []


def _of_frames(fault: Fault) -> bool:
    """Whether a fault may come of frames that were not written out."""
    field = fault.field or ""
    return field == "parts" or field.startswith(("loads[", "programs[")) or field.endswith((".program", "job.order"))


def _of_its_frame(fault: Fault, data: Mapping[str, Any], written: Mapping[str, Any], found: Expansion | None) -> Fault:
    """A fault of a table that was written out of a frame stands at the frame."""
    place = re.match(r"^(parts|programs|loads)\[(\d+)\]", fault.field or "")
    if found is None or not place or int(place[2]) < len(written.get(place[1], [])):
        return fault
    table = _at((place[1], int(place[2])), data)
    owner = found.owners.get(str(table.get("id", table.get("part"))), 0)
    return replace(fault, field=f"frames[{owner}]")


_OF_TABLE = re.compile(r"^(parts|programs)\[(\d+)\]")


def _named(fault: Fault, data: Mapping[str, Any]) -> str:
    """The message with the part or program it is about: people do not count tables."""
    found = _OF_TABLE.match(fault.field or "")
    key = _at((found[1], int(found[2]), "id"), data) if found else None
    if not found or not isinstance(key, str) or not key.strip() or f"'{key}'" in fault.message:
        return fault.message
    return f"{found[1][:-1]} '{key}': {fault.message}"


def _idle(error: Mapping[str, Any]) -> bool:
    """Whether a list is called too short only because all its entries have faults, which stand for themselves."""
    return error["type"] == "too_short" and bool(error.get("input"))


def _entries(phases: Any) -> Any:
    """A bare duration stands for the hours of the phase."""
    if not isinstance(phases, dict):
        return phases
    return {k: v if isinstance(v, dict) else {"hours": v} for k, v in phases.items()}


def _unique(faults: list[Fault]) -> list[Fault]:
    return list(dict.fromkeys(faults))


def _order(fault: Fault, data: Mapping[str, Any]) -> tuple[int, str]:
    top = (fault.field or "").split(".")[0].split("[")[0]
    keys = list(data)
    return (keys.index(top) if top in keys else -1), fault.field or ""


# --- what pydantic found, in our words -------------------------------------------------------------------------------


def _fault(error: Mapping[str, Any], data: Mapping[str, Any], file: str) -> Fault:
    place = _without_tag(error["loc"])
    key = str(place[-1]) if place else ""
    kind, value = error["type"], error.get("input")
    context: Mapping[str, Any] = error.get("ctx") or {}
    if kind == "fault":
        message, remedy = str(context["message"]), str(context["remedy"])
    elif kind == "missing":
        message, remedy = f"'{key}' is missing", f"add {EXAMPLES.get(key, key + ' = ...')}"
    elif kind == "extra_forbidden":
        message, remedy = f"'{key}' is not known here", did_you_mean(key, _fields_at(place[:-1], data))
    elif kind == "union_tag_not_found":
        place = (*place, "kind")
        message, remedy = "'kind' is missing", "use one of: " + ", ".join(sorted(OPERATION_RECORDS))
    elif kind == "union_tag_invalid":
        place, given = (*place, "kind"), value.get("kind") if isinstance(value, dict) else value
        message, remedy = f"there is no operation {given!r}", did_you_mean(str(given), OPERATION_RECORDS)
    elif kind == "literal_error":
        choices = [w.strip("' ") for w in str(context["expected"]).replace(" or ", ",").split(",")]
        message, remedy = f"{value!r} is not known", did_you_mean(str(value), choices)
    elif kind in ("string_type", "string_too_short", "string_pattern_mismatch"):
        message = "the text is empty" if kind != "string_type" else f"{value!r} is not a text"
        remedy = f"write it in quotation marks, e.g. {EXAMPLES.get(key, key + ' = ...')}"
    elif kind == "bool_type":
        message, remedy = f"{value!r} is not yes or no", "write true or false, without quotation marks"
    elif key in ("after", "order"):
        message, remedy = f"{_short(value)} is not a list of names", f'write {key} = ["...", "..."]'
    elif kind in ("tuple_type", "list_type"):
        message, remedy = f"{_short(value)} is not a list of tables", f"write [[{_dotted(place, bare=True)}]] for each"
    elif kind == "too_short":
        message, remedy = "there is none", f"add at least one {EXAMPLES.get(key, f'[[{key}]]')}"
    elif kind in ("model_type", "model_attributes_type", "dict_type"):
        message, remedy = f"{_short(value)} is not a table", f"write a section [{_dotted(place, bare=True)}]"
    else:
        message, remedy = f"{_short(value)} cannot be used ({str(error['msg']).lower()})", "check the value"
    return Fault(message, remedy, file=file, field=_dotted(place))


def _short(value: Any) -> str:
    shown = repr(value)
    return shown if len(shown) <= 40 else shown[:37] + "..."


def _cut(message: str) -> str:
    """A message that quotes a whole page of somebody's text still is one line: its begin and its end say enough."""
    return message if len(message) <= 300 else f"{message[:180]} ... {message[-100:]}"


def _without_tag(loc: tuple[Any, ...]) -> tuple[Any, ...]:
    """Drop the kind that pydantic puts after the index of an operation."""
    out: list[Any] = []
    for i, step in enumerate(loc):
        if i >= 2 and loc[i - 2] == "operations" and isinstance(loc[i - 1], int) and step in OPERATION_RECORDS:
            continue
        out.append(step)
    return tuple(out)


def _dotted(place: tuple[Any, ...], bare: bool = False) -> str:
    """("parts", 2, "length") to "parts[2].length"; bare leaves the numbers out."""
    out = ""
    for step in place:
        if isinstance(step, int):
            out += "" if bare else f"[{step}]"
        else:
            out += f".{step}" if out else str(step)
    return out


def _at(place: tuple[Any, ...], data: Any) -> Any:
    for step in place:
        try:
            data = data[step]
        except (KeyError, IndexError, TypeError):
            return None
    return data


def _fields_at(place: tuple[Any, ...], data: Mapping[str, Any]) -> list[str]:
    names = [s for s in place if not isinstance(s, int)]
    if not names:
        return [*JobFile.model_fields, "frames"]
    if names[0] == "frames":
        return list((Rail if len(names) > 1 else Frame).model_fields)
    if names[-1:] == ["operations"]:
        kind = _at((*place, "kind"), data)
        return list(OPERATION_RECORDS[str(kind)].model_fields) if str(kind) in OPERATION_RECORDS else []
    records: dict[str, type[BaseModel]] = {
        "": JobFile, "job": Heading, "parts": Part, "programs": Program, "loads": Load, "hardware": Hardware,
        "phases": PhaseEntry, "stock": StockEntry, "clamps": Clamp,
    }  # fmt: skip
    return list(records[names[0] if names else ""].model_fields)


# --- what the file names must exist ----------------------------------------------------------------------------------


def _machine(data: Mapping[str, Any], file: str, shop: Shop) -> tuple[Machine | None, list[Fault]]:
    name = _at(("job", "machine"), data)
    if not isinstance(name, str) or not name.strip():
        return None, []
    try:
        return shop.machine(name), []
    except InputError as e:
        if name in shop.machines or name.endswith(".toml"):
            return None, list(e.faults)
        return None, [Fault(f.message, f.remedy, file=file, field="job.machine") for f in e.faults]


def _tables(data: Any, *path: str) -> Iterator[tuple[int, Mapping[str, Any]]]:
    found = _at(path, data)
    for i, entry in enumerate(found if isinstance(found, list) else []):
        if isinstance(entry, dict):
            yield i, entry


def _references(data: Mapping[str, Any], file: str, shop: Shop) -> Iterator[Fault]:
    """Faults of names, on the raw tables, so that they are found beside those of values."""

    def unknown(place: str, what: str, key: Any, known: Any) -> Iterator[Fault]:
        if isinstance(key, str) and key.strip() and key not in known:
            remedy = did_you_mean(key, known)
            if what == "program":
                remedy += f'; or add it: a table [[programs]] with id = "{key}", and station = "flat" (or another)'
            yield Fault(f"there is no {what} '{key}'", remedy, file=file, field=place)

    ids = {}
    for table in ("parts", "programs"):
        ids[table] = [e["id"] for _, e in _tables(data, table) if isinstance(e.get("id"), str)]
        seen: set[str] = set()
        for i, entry in _tables(data, table):
            key = entry.get("id")
            if isinstance(key, str) and key in seen:
                yield Fault(f"'{key}' stands twice", "give each its own id", file=file, field=f"{table}[{i}].id")
            elif isinstance(key, str):
                seen.add(key)
    machine = shop.machines.get(str(_at(("job", "machine"), data)))
    for i, program in _tables(data, "programs"):
        station = program.get("station", "flat")
        if machine and machine.stations and station in ("flat", "edge", "end") and station not in machine.stations:
            remedy = did_you_mean(station, machine.stations)
            message = f"machine '{machine.name}' has no {station} station"
            yield Fault(message, remedy, file=file, field=f"programs[{i}].station")
    for i, part in _tables(data, "parts"):
        if not _is_material(part.get("material"), shop):
            yield from unknown(f"parts[{i}].material", "material", part.get("material"), shop.materials)
        for j, operation in _tables(part, "operations"):
            place = f"parts[{i}].operations[{j}]"
            yield from unknown(f"{place}.cutter", "cutter", operation.get("cutter"), shop.cutters)
            yield from unknown(f"{place}.program", "program", operation.get("program"), ids["programs"])
            if operation.get("kind") == "carve":
                yield from _carving_references(operation, place, file, shop, unknown)
    yield from _clamp_references(data, file, shop, unknown)
    yield from _unpriced(data, file, shop)
    yield from _load_faults(data, file, ids, unknown)
    yield from _after_faults(data, file, ids["programs"], unknown)
    phases = data.get("phases")
    for key in phases if isinstance(phases, dict) else ():
        yield from unknown(f"phases.{key}", "phase", key, PHASES)


def _clamp_references(data: Mapping[str, Any], file: str, shop: Shop, unknown: Any) -> Iterator[Fault]:
    """Fixtures by their names in the shop's table; a table with faults of its own is told once."""
    named = [(i, c["fixture"]) for i, c in _tables(data, "clamps") if isinstance(c.get("fixture"), str)]
    if not named:
        return
    from shopcalc.holding.fixtures import read_fixtures

    try:
        own = read_fixtures(shop.folder / "fixtures.toml", shop.rates.currency)
    except InputError as e:
        yield from e.faults
        return
    for i, key in named:
        yield from unknown(f"clamps[{i}].fixture", "fixture", key, own)


def _carving_references(
    operation: Mapping[str, Any], place: str, file: str, shop: Shop, unknown: Any
) -> Iterator[Fault]:
    if operation.get("rough_cutter") != "none":
        yield from unknown(f"{place}.rough_cutter", "cutter", operation.get("rough_cutter"), shop.cutters)
    yield from unknown(f"{place}.clean_cutter", "cutter", operation.get("clean_cutter"), shop.cutters)
    yield from unknown(f"{place}.before", "kind of relief", operation.get("before"), KINDS)
    name = operation.get("artwork")
    if isinstance(name, str) and name.strip() and not _is_file(shop.folder / name):
        message, remedy = f"there is no artwork {name!r} in {shop.folder}", 'check the name, or say before = "..."'
        yield Fault(message, remedy, file=file, field=f"{place}.artwork")


def _load_faults(data: Mapping[str, Any], file: str, ids: Mapping[str, list[str]], unknown: Any) -> Iterator[Fault]:
    describing: dict[str, set[str]] = {}
    for _, described in _tables(data, "parts"):
        for _, operation in _tables(described, "operations"):
            describing.setdefault(str(operation.get("program")), set()).add(str(described.get("id")))
    seen: dict[tuple[str, str], int] = {}
    for i, load in _tables(data, "loads"):
        program, part = load.get("program"), load.get("part")
        yield from unknown(f"loads[{i}].program", "program", program, ids["programs"])
        yield from unknown(f"loads[{i}].part", "part", part, ids["parts"])
        if not isinstance(program, str) or not isinstance(part, str):
            continue
        if (program, part) in seen:
            message = f"part '{part}' in program '{program}' stands already in loads[{seen[program, part]}]"
            yield Fault(message, "keep one and add up the counts", file=file, field=f"loads[{i}]")
        seen.setdefault((program, part), i)
        if program in ids["programs"] and part in ids["parts"] and part not in describing.get(program, set()):
            if not describing.get(program):
                message = f"no part has an operation in program '{program}', so there is nothing to load it for"
                yield Fault(message, "add one under [[parts.operations]]", file=file, field=f"loads[{i}].program")
            elif len(describing[program]) > 1:
                parts = ", ".join(sorted(describing[program]))
                message = f"part '{part}' has no operation in '{program}', and several parts have ({parts})"
                yield Fault(message, f"describe the operation at '{part}' too", file=file, field=f"loads[{i}].part")
    for i, described in _tables(data, "programs"):
        key = described.get("id")
        if isinstance(key, str) and key.strip() and not describing.get(key):
            message = f"no part has an operation in program '{key}'"
            remedy = "add one under [[parts.operations]], or take the program out"
            yield Fault(message, remedy, file=file, field=f"programs[{i}].id")


def _missing_files(data: Mapping[str, Any], file: str, shop: Shop) -> Iterator[Fault]:
    for i, program in _tables(data, "programs"):
        name = program.get("file")
        if isinstance(name, str) and name.strip() and not _is_file(shop.folder / name):
            message = f"there is no program file {name!r} in {shop.folder}"
            remedy = "check the name, or leave 'file' out until it is written"
            yield Fault(message, remedy, file=file, field=f"programs[{i}].file")


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except (OSError, ValueError):  # too long a name, or signs no name may have
        return False


def _is_material(key: Any, shop: Shop) -> bool:
    try:
        return isinstance(key, str) and bool(shop.material(key))
    except InputError:
        return False


def _unpriced(data: Mapping[str, Any], file: str, shop: Shop) -> Iterator[Fault]:
    """Materials without a price, each once, at the first part of it."""
    users: dict[str, list[int]] = {}
    for i, part in _tables(data, "parts"):
        key = part.get("material")
        if isinstance(key, str) and _is_material(key, shop) and key not in shop.rates.materials:
            users.setdefault(key, []).append(i)
    for key, parts in users.items():
        if shop.material(key).group == "sheet":  # the shop's general price of sheets stands in
            continue
        example = f'{key} = "9.50 {shop.rates.currency}/board_foot"'
        others = f", needed by {len(parts)} parts" if len(parts) > 1 else ""
        remedy = f"add {example} under [materials] in {shop.folder / 'rates.toml'}"
        yield Fault(
            f"the shop has no price for '{key}'{others}", remedy, file=file, field=f"parts[{parts[0]}].material"
        )


# --- filling up ------------------------------------------------------------------------------------------------------


def _resolve(record: JobFile, machine: Machine, file: str, shop: Shop) -> Job:
    loads = list(record.loads)
    known = {(load.program, load.part) for load in loads}
    for part in record.parts:
        for program in dict.fromkeys(o.program for o in part.operations):
            if (program, part.id) not in known:
                loads.append(Load(program=program, part=part.id, count=part.quantity))
    heading = record.job
    names = [f"{load.program}/{load.part}" for load in loads]
    raise_all([*_order_faults(heading.order, names, file), *_clamp_faults(record.clamps, names, file)])
    job = Job(
        name=heading.name,
        machine=machine,
        quantity=heading.quantity,
        system=heading.system,
        parts=record.parts,
        programs=record.programs,
        loads=tuple(loads),
        hardware=record.hardware,
        phases=record.phases,
        asked_price=heading.asked_price,
        order=heading.order,
        stock=record.stock,
        clamps=record.clamps,
        shop=shop,
        note=heading.note,
        file=file,
    )
    tenons = sum(n for n, _ in job.done("tenon"))
    joints = tenons if heading.joints is None else heading.joints
    return replace(job, joints=joints, warnings=tuple(_oddities(job, shop)))


def _clamp_faults(clamps: tuple[Clamp, ...], loads: list[str], file: str) -> Iterator[Fault]:
    """A clamp stands at a load of the job, and its pad has both coordinates or none."""
    for i, c in enumerate(clamps):
        if (name := f"{c.program}/{c.part}") not in loads:
            message, remedy = f"there is no load '{name}' (program/part)", did_you_mean(name, loads)
            yield Fault(message, remedy, file=file, field=f"clamps[{i}]")
        if (c.presses_x is None) != (c.presses_y is None):
            message = "where it presses has one coordinate only"
            yield Fault(message, "write presses_x and presses_y, or neither", file=file, field=f"clamps[{i}]")


def _order_faults(order: tuple[str, ...], loads: list[str], file: str) -> Iterator[Fault]:
    """An order that is said names every load once and nothing else."""
    for name, times in Counter(order).items():
        if name not in loads:
            message, remedy = f"there is no load '{name}' (program/part)", did_you_mean(name, loads)
            yield Fault(message, remedy, file=file, field="job.order")
        elif times > 1:
            message = f"load '{name}' stands {times} times; its clampings are run one after another"
            yield Fault(message, "keep one", file=file, field="job.order")
    for name in loads if order else ():
        if name not in order:
            remedy = "add it, or leave 'order' out to have one found"
            yield Fault(f"load '{name}' is missing in the order", remedy, file=file, field="job.order")


def _after_faults(data: Mapping[str, Any], file: str, ids: list[str], unknown: Any) -> Iterator[Fault]:
    """Programs that wait for one that does not exist, or for each other."""
    waits: dict[str, list[str]] = {}
    for i, program in _tables(data, "programs"):
        before = program.get("after", [])
        names = [n for n in before if isinstance(n, str)] if isinstance(before, list) else []
        for name in names:
            yield from unknown(f"programs[{i}].after", "program", name, ids)
        waits.setdefault(str(program.get("id")), []).extend(n for n in names if n in ids)
    try:
        graphlib.TopologicalSorter(waits).prepare()
    except graphlib.CycleError as e:
        circle = list(reversed(e.args[1]))
        message = "programs wait for each other: " + ", which is after ".join(f"'{n}'" for n in circle)
        at = next(i for i, program in _tables(data, "programs") if program.get("id") == circle[0])
        yield Fault(message, "take one 'after' out", file=file, field=f"programs[{at}].after")


def _oddities(job: Job, shop: Shop) -> Iterator[str]:
    """What a second look is worth; nothing of it stops a quote."""
    where = {p.id: p.station for p in job.programs}
    for load in job.loads:
        part, name = job.part(load.part), where[load.program]
        yield from _too_large(job, part, job.machine.stations.get(name, Station(name, part_axes=PART_AXES[name])))
        yield from _other_size(job, load, part, name)
    for part in job.parts:
        material: Material = shop.material(part.material)
        if material.group in ("hardwood", "softwood") and part.width > 280 and not part.glued:
            yield f"part '{part.id}' is wider than most boards: say glued = true if the blank is glued up"
    for part_id, n in Counter(load.part for load in job.loads).items():
        if n and job.part(part_id).quantity > sum(x.count for x in job.loads if x.part == part_id):
            yield f"part '{part_id}': fewer loads than pieces; right only where one load does several pieces"


def _like_frames(job: Job) -> Iterator[str]:
    """A job of nothing but one frame, several times in its one piece."""
    made = job.expansion
    if made is None or len(made.layouts) > 1 or any(p.id not in made.owners for p in job.parts):
        return
    if (n := made.layouts[0].frame.quantity) > 1:
        yield (
            f"{n} like frames in one piece: if each is a piece of its own, say quantity = {n * job.quantity} under "
            "[job], and none for the frame"
        )


def _too_large(job: Job, part: Part, station: Station) -> Iterator[str]:
    """Sizes of a part that its station or the axes do not take: no time counted for it can be run."""
    x, y, _ = job.machine.axes
    room = (station.length, station.width, station.height)
    travel = (x.travel, y.travel, float("inf"))  # z travels only as deep as it cuts
    for axis, name, takes, runs in zip("xyz", station.part_axes, room, travel, strict=True):
        size, least = getattr(part, name), min(takes, runs)
        if size > least + 1e-6:
            what = f"the {station.name} station takes" if takes <= runs else f"axis {axis} travels"
            yield (
                f"TIME NOT VALID: part '{part.id}' does not fit the {station.name} station of machine "
                f"'{job.machine.name}': its {name} is {write(size, 'length', job.system)}, {what} "
                f"{write(least, 'length', job.system)} along {axis}"
            )


def _other_size(job: Job, load: Load, part: Part, station: StationName) -> Iterator[str]:
    """A part that runs a program described for another one of another size or wood."""
    sizes = ("width", "thickness") if station == "end" else ("length", "width", "thickness")
    for other in dict.fromkeys(p.id for p, _ in job.operations(load.program, load.part)):
        described = job.part(other)
        differs = [
            f"{name} {write(getattr(part, name), 'length', job.system)} instead of "
            f"{write(getattr(described, name), 'length', job.system)}"
            for name in sizes
            if abs(getattr(part, name) - getattr(described, name)) > 1e-6
        ]
        if part.material != described.material:
            differs.append(f"{part.material} instead of {described.material}")
        if differs:
            yield (
                f"part '{part.id}' runs program '{load.program}' as it is described for part '{other}', but differs: "
                f"{', '.join(differs)}; describe an operation at '{part.id}', with a program of its own"
            )
