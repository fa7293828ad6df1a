"""The command ``calibrate``: what logged times say of a machine, kept in the shop's folder where that is wished."""

from __future__ import annotations

import argparse
import datetime
import math
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from shopcalc.errors import Fault, InputError, did_you_mean, raise_all

if TYPE_CHECKING:
    from shopcalc.calibration import Calibration, Learned, LoggedTime, Run
    from shopcalc.machines import Machine
    from shopcalc.moves import Moves
    from shopcalc.units import System

Show = Callable[[Any], None]
_SHOWN_NEXT = 3
_BOTH = 4.6  # logarithm of the odds, a hundred to one, from which one kind alone is left


def add_flags(parser: argparse.ArgumentParser) -> None:
    """Give the command its flags.

    Parameters
    ----------
    parser : ArgumentParser
        Of the command; it has ``--shop``, ``--system`` and ``--json`` already.
    """
    parser.add_argument("--machine", metavar="NAME", required=True, help="of the shop")
    parser.add_argument("--times", metavar="FILE.csv", help="columns program, time, note; default: the shop's log")
    parser.add_argument("--keep", action="store_true", help="let the shop use what was found from now on")
    parser.add_argument("--forget", action="store_true", help="take the newest calibration back; the one before counts")
    parser.add_argument("--date", metavar="YYYY-MM-DD", help="of what is kept; default today")


def run(chosen: argparse.Namespace, show: Show) -> int:
    """Calibrate, or forget.

    Parameters
    ----------
    chosen : Namespace
        From the parser.
    show : callable
        Of a JSON document: prints it.

    Returns
    -------
    int
        0.

    Raises
    ------
    InputError
        With everything that is wrong; then nothing was kept.
    """
    from shopcalc.calibration import calibrate
    from shopcalc.machines import read_machines
    from shopcalc.machines_learned import FILE, forget, keep
    from shopcalc.shop import Shop

    shop = Shop.open(chosen.shop)
    records = read_machines(shop.folder / "machines.toml")
    if chosen.machine not in records:
        message, remedy = f"there is no machine '{chosen.machine}'", did_you_mean(chosen.machine, records)
        raise InputError(Fault(message, remedy, field="--machine"))
    record, kept = records[chosen.machine], shop.folder / FILE
    if chosen.forget:
        if chosen.keep or chosen.times:
            raise InputError(Fault("--forget stands alone", "leave --keep and --times away", field="--forget"))
        gone = forget(kept, record.name)
        now = Shop.open(chosen.shop).machine(record.name)
        if chosen.json:
            show({"machine": record.name, "forgotten": gone.date, "calibrated": now.calibrated or None})
        else:
            print(f"forgotten: the calibration of {gone.date} ({gone.source}); its rows stay in {kept} as remarks")
            print(f"from now on: {now.called}" + ("" if now.calibrated else ", as machines.toml says"))
        return 0
    date = _date(chosen.date)
    notes: list[str] = []
    runs, archive, source = _runs(chosen, shop.folder, record, len(records), notes)
    found = calibrate(runs, record, archive=archive)
    version = keep(kept, record.name, found.fields(), date=date, source=source) if chosen.keep else None
    if chosen.json:
        show(_document(found, source, notes) | {"kept": None if version is None else version.date})
        return 0
    print("\n".join(_text(found, source, chosen.system or "metric")))
    for note in notes:
        print(f"look: {note}")
    if version is None:
        print("nothing is kept: --keep lets quotes and times use it")
    else:
        print(f"kept in {kept}: used from now on; shopcalc calibrate --machine {record.name} --forget takes it back")
    return 0


def _date(text: str | None) -> str:
    try:
        return (datetime.date.today() if text is None else datetime.date.fromisoformat(text)).isoformat()
    except ValueError:
        raise InputError(Fault(f"'{text}' is not a date", "write it as 2026-04-30", field="--date")) from None


# --- what was logged -------------------------------------------------------------------------------------------------


def _runs(
    chosen: argparse.Namespace, folder: Path, record: Machine, machines: int, notes: list[str]
) -> tuple[Sequence[Run], Mapping[str, Moves], str]:
    """Programs with their times, the archive, and where the times come from."""
    from shopcalc.calibration import gathered, read_times
    from shopcalc.gcode import read_program
    from shopcalc.program_times import programs_in

    entries: Sequence[LoggedTime]
    entries = read_times(chosen.times) if chosen.times else _from_log(folder, record.name, machines, notes)
    places = [folder / "programs"] if (folder / "programs").is_dir() else []
    if chosen.times:
        places.insert(0, Path(chosen.times).parent)
    files = {Path(f).stem: f for f in reversed(programs_in([places[-1]])[0])} if places else {}
    faults, wanted = [], dict[str, str]()
    for e in entries:
        if e.program in wanted:
            continue
        own = next((p / e.program for p in places if (p / e.program).is_file()), None)
        path = str(own) if own else files.get(e.program)
        if path is not None:
            wanted[e.program] = path
        elif chosen.times:
            message = f"there is no program '{e.program}'"
            faults.append(Fault(message, did_you_mean(e.program, files), chosen.times, row=e.row, field="program"))
        else:
            notes.append(f"program '{e.program}' is logged, but there is no file of it in {folder / 'programs'}")
    raise_all(faults)
    entries = [e for e in entries if e.program in wanted]
    paths = {**{k: v for k, v in files.items() if v not in wanted.values()}, **wanted}
    moves: dict[str, Moves] = {}
    for name, path in paths.items():
        try:
            moves[name] = read_program(path, record).moves
        except InputError as e:
            if name in wanted:
                faults += e.faults
    raise_all(faults)
    runs = gathered(entries, moves)
    where = Path(chosen.times).name if chosen.times else "the shop's log"
    return runs, moves, f"{len(entries)} runs of {len(runs)} programs, {where}"


def _from_log(folder: Path, machine: str, machines: int, notes: list[str]) -> Sequence[LoggedTime]:
    """One entry for each logged load of a program on this machine, without the time the machine stood."""
    from shopcalc.calibration import LoggedTime
    from shopcalc.shoplog import ShopLog
    from shopcalc.shoplog.views import times

    try:
        with ShopLog.of(folder, writable=False) as log:
            frame = times(log)
    except InputError as e:
        if any("nothing is logged" in f.message for f in e.faults):
            raise InputError(Fault("nothing is logged yet", "log times, or give them with --times FILE.csv")) from None
        raise
    frame = frame[(frame["program"] != "") & frame["phase"].isin(["", "machining"])]
    nameless = frame["machine"] == ""
    if machines > 1 and nameless.any():
        notes.append(f"{int(nameless.sum())} logged times name no machine and are left out")
        frame = frame[~nameless]
    frame = frame[frame["machine"].isin(["", machine])].copy()
    frame["net"] = frame["seconds"] - frame["standing"]
    frame["load"] = frame["load"].astype(float).fillna(-frame["entry"])  # what has no number is a load of its own
    out = []
    for (_, program, _, _), rows in frame.groupby(["job", "program", "part", "load"], sort=False):
        note = "; ".join(dict.fromkeys(n for n in rows["note"] if n))
        seconds = float(rows["net"].sum()) / float(rows["loads"].max())
        if seconds > 0:
            out.append(LoggedTime(str(program), seconds, note))
    return out


# --- what is said ----------------------------------------------------------------------------------------------------


def _figure(found: Calibration, one: Learned, machine: Machine, system: System) -> str:
    """A factor's first figure, with its unit."""
    from shopcalc.machines_learned import FIELDS, value_of
    from shopcalc.units import write

    name = next(n for n in one.factor.fields if math.isfinite(float(value_of(found.start, n))))
    value, quantity = float(value_of(machine, name)), FIELDS[name][1]
    if math.isinf(value):
        return "none"
    if quantity == "length":
        return f"{value:.2g} mm" if system == "metric" else f"{value / 25.4:.2g} in"
    return write(60 * value, "feed", system) if quantity == "speed" else write(value, quantity, system)


def _ends(found: Calibration, one: Learned) -> tuple[Machine, Machine]:
    """Machines that stand at the ends of a factor's interval."""
    from shopcalc.calibration import with_factors

    low, high = (with_factors(found.start, (one.factor,), (math.log(v),)) for v in (one.low, one.high))
    return low, high


def _standing(found: Calibration, one: Learned) -> str:
    key = one.factor.key
    if one.at_bound:
        return "at the edge of what is believed: look for another cause"
    if key in found.knowledge.silent:
        return "these programs say next to nothing of it"
    if any(key in pair for pair in found.knowledge.tied):
        return "not told apart, see below"
    return "known" if key in found.knowledge.known else "partly known"


def _text(found: Calibration, source: str, system: System) -> list[str]:
    titles = {one.factor.key: one.factor.title for one in found.learned}
    out = [f"machine '{found.record.name}' against {source}", ""]
    out.append(f"{'':38}{'record':>14}{'now':>14}{'of it':>8}{'95 %':>15}")
    for one in found.learned:
        between = f"{100 * one.low:.0f} to {100 * one.high:.0f} %"
        was, now = (_figure(found, one, m, system) for m in (found.record, found.machine))
        share = f"{100 * one.value:.0f} %"
        if was == "none":  # there is no record to be a share of
            share, ends = "", (_figure(found, one, m, system) for m in _ends(found, one))
            between = " to ".join(e.split()[0] for e in ends)
        out.append(f"{one.factor.title:38}{was:>14}{now:>14}{share:>8}{between:>15}  {_standing(found, one)}")
    out.append("")
    k = found.knowledge
    out.append(f"these programs separate {k.separated} of {len(k.combinations)} combinations of factors")
    for a, b in k.tied:
        out.append(f"{titles[a]} and {titles[b]} cannot be told apart by these programs: only what they do together")
    if found.jerk is not None:
        taken = "is taken, its factor is beside 0.05 s of building up" if "jerk" in titles else "is not taken"
        taken += "; intervals hold both kinds, each by its odds" if abs(found.jerk) < _BOTH else ""
        out.append(f"gradual acceleration (jerk) {taken}: logarithm of its odds against none {found.jerk:+.1f}")
    if found.bends:
        words = ", ".join(f"{w} {v:.1f}" for w, v in found.bends.items())
        taken = found.machine.controller.chord_curvature
        out.append(f'chord_curvature: "{taken}" is taken (logarithm of the odds against the best: {words})')
    out += ["", *_programs(found), ""]
    for p in found.next[:_SHOWN_NEXT]:
        from shopcalc.units import write_time

        out.append(
            f"time next: {p.program} ({write_time(p.seconds)}): what is open in the others' times falls from "
            f"{100 * p.before:.2f} % to {100 * p.after:.2f} %"
        )
    out.append(
        f"what is left strays by {100 * found.spread:.1f} % (sigma of the logarithm); kept, it stands in quotes for "
        "the machining of programs that exist"
    )
    return out


def _programs(found: Calibration) -> list[str]:
    from shopcalc.units import write_time

    out = [f"{'':30}{'logged':>14}{'before':>9}{'after':>9}{'left out':>10}"]
    for p in found.programs:
        shares = (p.error_before, p.error_after, p.left_out)
        before, after, left_out = (f"{100 * v:+.1f} %" for v in shares)
        name = f"{p.program} ({p.runs} times)" if p.runs > 1 else p.program
        line = f"{name:30}{write_time(p.logged):>14}{before:>9}{after:>9}{left_out:>10}"
        if p.program in found.outliers:
            line += f"  lies far from the others, counts {100 * p.weight:.0f} %: check it"
        out.append(line + (f"  ({'; '.join(dict.fromkeys(p.notes))})" if p.notes else ""))
    for e in found.strays:
        row = "" if e.row is None else f", row {e.row}"
        out.append(f"one time of {e.program}, {write_time(e.seconds)}{row}, is far from its others and counts little")
    return out


def _document(found: Calibration, source: str, notes: Sequence[str]) -> dict[str, Any]:
    k = found.knowledge
    return {
        "machine": found.record.name,
        "source": source,
        "factors": [
            {
                "key": o.factor.key, "title": o.factor.title, "fields": list(o.factor.fields), "value": o.value,
                "low": o.low, "high": o.high, "sigma_before": o.factor.sigma, "left": o.left, "at_bound": o.at_bound,
                "reason": o.factor.reason,
            }
            for o in found.learned
        ],
        "known": list(k.known),
        "not_known": list(k.silent),
        "not_told_apart": [list(pair) for pair in k.tied],
        "combinations": [{"powers": dict(c.powers), "strength": c.strength} for c in k.combinations],
        "jerk_log_odds": found.jerk,
        "chord_curvature": {"taken": found.machine.controller.chord_curvature, "log_odds": dict(found.bends)},
        "programs": [
            {
                "program": p.program, "runs": p.runs, "logged_s": p.logged, "before_s": p.before, "after_s": p.after,
                "error_before": p.error_before, "error_after": p.error_after, "error_left_out": p.left_out,
                "weight": p.weight, "outlier": p.program in found.outliers, "notes": list(p.notes),
            }
            for p in found.programs
        ],
        "stray_times": [{"program": e.program, "time_s": e.seconds, "row": e.row} for e in found.strays],
        "next": [
            {"program": p.program, "time_s": p.seconds, "sigma_before": p.before, "sigma_after": p.after}
            for p in found.next
        ],
        "spread": found.spread,
        "notes": list(notes),
    }  # fmt: skip
