"""What logged times taught of a machine: versions with date and source in the shop's folder, only added to.

``machines-learned.csv`` stands beside machines.toml. The newest version of a machine is laid over its record; a version
that is forgotten becomes remarks and stays readable.
"""

from __future__ import annotations

import csv
import datetime
import io
import math
import os
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from shopcalc.errors import Fault, InputError
from shopcalc.machines import Machine
from shopcalc.reading import Column, TableReader, read_file
from shopcalc.units import read

FILE = "machines-learned.csv"

#: What may be learned of a machine, as machines.toml names it: unit it is kept in, quantity, factor to the house unit.
FIELDS: Mapping[str, tuple[str, str, float]] = {
    **{f"axes.{k}.rapid": ("m/min", "feed", 1000.0) for k in "xyz"},
    **{f"axes.{k}.acceleration": ("mm/s^2", "acceleration", 1.0) for k in "xyz"},
    "controller.corner_tolerance": ("mm", "length", 1.0),
    **{f"controller.corner_speed_jump.{k}": ("mm/s", "speed", 1.0) for k in "xyz"},
    "controller.blocks_per_second": ("1/s", "rate", 1.0),
    "controller.jerk": ("mm/s^3", "jerk", 1.0),
    "controller.chord_curvature": ("", "", 1.0),
    "times.cutter_change": ("s", "time", 1.0),
    "times.spindle_start": ("s", "time", 1.0),
    "feed_share": ("%", "ratio", 0.01),
    "spread": ("%", "ratio", 0.01),
}
_BENDS = ("off", "speed", "share")
_COLUMNS: tuple[Column, ...] = (
    Column("version", "count", required=True, minimum=1),
    Column("date", required=True),
    Column("machine", required=True),
    Column("name", required=True, choices=tuple(FIELDS)),
    Column("value", required=True),
    Column("record"),
    Column("low"),
    Column("high"),
    Column("source"),
)
_SAME = 1e-6  # share by which a written value may differ from the one in the record


@dataclass(frozen=True)
class LearnedField:
    """One figure of a machine.

    Parameters
    ----------
    name : str
        One of ``FIELDS``; "spread" is no figure of the machine but what is left between its times and logged ones,
        as sigma of the logarithm.
    value : float or str
        In the house unit.
    record : float, str or None
        What machines.toml said then, infinite where it set no limit: where it says something else now, the newer word
        of the record counts.
    low, high : float or None
        95 % interval, in the house unit.
    """

    name: str
    value: float | str
    record: float | str | None = None
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True)
class MachineVersion:
    """What one calibration found.

    Parameters
    ----------
    number : int
        From 1 up, over all machines of the shop [-].
    date : str
        As 2026-03-02.
    machine : str
        Its name.
    fields : tuple of LearnedField
        Those that were learned.
    source : str
        From what.
    """

    number: int
    date: str
    machine: str
    fields: tuple[LearnedField, ...]
    source: str = ""

    @property
    def spread(self) -> float | None:
        """Sigma of the logarithm of logged over programmed times; None where it is not known [-]."""
        return next((float(f.value) for f in self.fields if f.name == "spread"), None)


def value_of(machine: Machine, name: str) -> float | str:
    """The present figure of a machine.

    Parameters
    ----------
    machine : Machine
        Whose.
    name : str
        One of ``FIELDS`` but "spread".
    """
    first, _, rest = name.partition(".")
    if first == "axes":
        axis, _, limit = rest.partition(".")
        return float(getattr(machine.axes["xyz".index(axis)], limit))
    if first == "feed_share":
        return machine.feed_share
    if rest.startswith("corner_speed_jump."):
        return machine.controller.corner_speed_jump["xyz".index(rest[-1])]
    value: float | str = getattr(getattr(machine, first), rest)
    return value


def with_value(machine: Machine, name: str, value: float | str) -> Machine:
    """The machine with one figure changed.

    Parameters
    ----------
    machine : Machine
        As it was.
    name : str
        One of ``FIELDS`` but "spread".
    value : float or str
        In the house unit.
    """
    first, _, rest = name.partition(".")
    if first == "axes":
        axis, _, limit = rest.partition(".")
        x, y, z = (
            replace(a, **{limit: float(value)}) if k == axis else a for k, a in zip("xyz", machine.axes, strict=True)
        )
        return machine.with_(axes=(x, y, z))
    if first == "feed_share":
        return machine.with_(feed_share=float(value))
    if rest.startswith("corner_speed_jump."):
        a, b, c = (
            float(value) if k == rest[-1] else j
            for k, j in zip("xyz", machine.controller.corner_speed_jump, strict=True)
        )
        return machine.with_(controller=replace(machine.controller, corner_speed_jump=(a, b, c)))
    changes: dict[str, Any] = {rest: value}
    return machine.with_(**{first: replace(getattr(machine, first), **changes)})


def applied(machine: Machine, version: MachineVersion) -> Machine:
    """The machine as a version has it; figures whose record was changed since stay as the record says.

    Parameters
    ----------
    machine : Machine
        From machines.toml.
    version : MachineVersion
        Of this machine.

    Returns
    -------
    Machine
        Its source says that it is calibrated, and when.
    """
    out, left = machine, []
    for f in version.fields:
        if f.name == "spread":
            continue
        if f.record is not None and not _same(value_of(machine, f.name), f.record):
            left.append(f.name)
            continue
        out = with_value(out, f.name, f.value)
    source = "; ".join(t for t in (machine.source, f"calibrated {version.date} from {version.source}") if t)
    if left:
        source += f", without {', '.join(left)}: changed in the record since"
    return out.with_(calibrated=version.date, spread=version.spread, source=source, kind="measured")


def _same(a: float | str, b: float | str) -> bool:
    if isinstance(a, str) or isinstance(b, str):
        return a == b
    return math.isclose(a, b, rel_tol=_SAME)


def read_versions(path: Path | str) -> tuple[MachineVersion, ...]:
    """All versions that count, oldest first; none where there is no file.

    Parameters
    ----------
    path : Path or str
        The shop's machines-learned.csv.

    Raises
    ------
    InputError
        With every fault found.
    """
    if not Path(path).exists():
        return ()
    text = read_file(path, "a CSV table")
    rows = [r for r in csv.reader(io.StringIO(text, newline="")) if any(c.strip() for c in r)]
    if all(r[0].lstrip().startswith("#") for r in rows[1:]):  # everything was forgotten
        return ()
    table = TableReader(path, _COLUMNS, key="version name")
    found: dict[int, MachineVersion] = {}
    for row in table.rows:
        if not table.sound(row, "version", "name", "date", "machine", "value"):
            continue
        if not _is_date(row["date"]):
            table.fault(row.number, "date", f"'{row['date']}' is not a date", "write it as 2026-03-02")
        cells = {k: _cell(table, row.number, k, row[k], row["name"]) for k in ("value", "record", "low", "high")}
        if cells["value"] is None:
            continue
        one = LearnedField(row["name"], cells["value"], cells["record"], cells["low"], cells["high"])
        old = found.get(row["version"])
        if old is not None and (old.machine, old.date) != (row["machine"], row["date"]):
            message = f"version {row['version']} is of two machines or dates"
            table.fault(row.number, "version", message, "give each calibration its own number")
            continue
        found[row["version"]] = MachineVersion(
            row["version"], row["date"], row["machine"], (*(old.fields if old else ()), one), row["source"] or ""
        )
    table.finish()
    return tuple(found[k] for k in sorted(found))


def _cell(table: TableReader, number: int, column: str, cell: str | None, name: str) -> Any:
    if not cell:
        return None
    quantity = FIELDS[name][1]
    if not quantity:
        if cell in _BENDS:
            return cell
        table.fault(number, column, f"'{cell}' is not known", f"write one of: {', '.join(_BENDS)}")
        return None
    if column == "record" and cell == "none":
        return math.inf
    try:
        return read(cell, quantity, minimum=0.0)
    except InputError as e:
        table.faults += [replace(f, file=table.file, row=number, field=column) for f in e.faults]
        return None


def _is_date(text: str) -> bool:
    try:
        return len(datetime.date.fromisoformat(text).isoformat()) == len(text)
    except ValueError:
        return False


def latest(versions: Sequence[MachineVersion], machine: str) -> MachineVersion | None:
    """The newest version of a machine, or None.

    Parameters
    ----------
    versions : sequence of MachineVersion
        From ``read_versions``.
    machine : str
        Its name.
    """
    return next((v for v in reversed(versions) if v.machine == machine), None)


def _written(name: str, value: float | str | None) -> str:
    if value is None or isinstance(value, str):
        return value or ""
    unit, _, size = FIELDS[name]
    return "none" if math.isinf(value) else f"{float(f'{value / size:.9g}')!r} {unit}"


def keep(
    path: Path | str, machine: str, fields: Sequence[LearnedField], *, date: str, source: str
) -> MachineVersion:  # fmt: skip
    """Add a version: all of it or nothing; what stood there stays as it was.

    Parameters
    ----------
    path : Path or str
        The shop's machines-learned.csv; made when there is none.
    machine : str
        Its name.
    fields : sequence of LearnedField
        At least one.
    date : str
        As 2026-03-02.
    source : str
        From what.

    Raises
    ------
    InputError
        When the file as it stands is at fault, or cannot be written.
    """
    if not fields:
        raise InputError(Fault("there is nothing to keep", "log times of programs that teach something"))
    target = Path(path)
    read_versions(target)  # a file at fault is mended first, not added to
    old = read_file(target, "a CSV table") if target.exists() else ""
    number = 1 + max([0, *_numbers(old)])
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    if not old:
        writer.writerow([c.name for c in _COLUMNS])
    for f in fields:
        values = [_written(f.name, v) for v in (f.value, f.record, f.low, f.high)]
        writer.writerow([number, date, machine, f.name, *values, " ".join(source.split())])
    _write(target, (old if not old or old.endswith("\n") else old + "\n") + out.getvalue())
    version = latest(read_versions(target), machine)
    assert version is not None
    return version


def _numbers(text: str) -> list[int]:
    """Numbers of all versions, forgotten ones too: none is given twice."""
    first = [r[0].removeprefix("# forgotten:").strip() for r in csv.reader(io.StringIO(text, newline="")) if r]
    return [int(cell) for cell in first if cell.isascii() and cell.isdigit()]


def forget(path: Path | str, machine: str) -> MachineVersion:
    """Take a machine's newest version back: its rows become remarks; the one before it counts again.

    Parameters
    ----------
    path : Path or str
        The shop's machines-learned.csv.
    machine : str
        Its name.

    Returns
    -------
    MachineVersion
        What no longer counts.

    Raises
    ------
    InputError
        When nothing of this machine is kept, or the file cannot be written.
    """
    target = Path(path)
    version = latest(read_versions(target), machine)
    if version is None:
        remedy = "it already runs on the figures of machines.toml"
        raise InputError(Fault(f"nothing is kept of machine '{machine}'", remedy, file=str(path)))
    records = list(csv.reader(io.StringIO(read_file(target, "a CSV table"), newline="")))
    for record in records[1:]:
        if record and record[0].strip() == str(version.number):
            record[0] = f"# forgotten: {record[0]}"
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator="\n").writerows(records)
    _write(target, out.getvalue())
    return version


def _write(target: Path, text: str) -> None:
    """Put a text in the file's place in one go, once it has been read back without a fault."""
    scratch = ""
    try:
        handle, scratch = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}-")
        with os.fdopen(handle, "w", encoding="utf-8", newline="") as f:
            f.write(text)
            f.flush()
            os.fsync(f.fileno())
        read_versions(scratch)
        os.chmod(scratch, target.stat().st_mode & 0o777 if target.exists() else 0o644)
        os.replace(scratch, target)
    except InputError as e:
        raise InputError([replace(f, file=str(target)) for f in e.faults]) from None
    except OSError as e:
        reason = (e.strerror or str(e)).lower()
        remedy = "check the folder and its permissions; nothing was changed"
        raise InputError(Fault(f"it cannot be written ({reason})", remedy, file=str(target))) from None
    finally:
        if scratch and os.path.exists(scratch):
            os.unlink(scratch)
