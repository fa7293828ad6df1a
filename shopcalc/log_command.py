"""The command ``log``: timers, times, cutters, observations and quotes into the shop's log, and out of it.

Only the parser is made at start; everything else is imported when an action needs it.
"""

from __future__ import annotations

import argparse
import getpass
import json
import uuid
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import fields, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from shopcalc.errors import Fault, InputError, did_you_mean

if TYPE_CHECKING:
    from shopcalc.shop import Shop
    from shopcalc.shoplog import Entry, ShopLog, TimeEntry, Written
    from shopcalc.units import System

Write = Callable[[Path, Mapping[str, str | bytes]], None]
Show = Callable[[Any], None]

_PHASES = ("design", "programming", "stock", "setup", "machining", "assembly", "finishing", "hardware", "delivery")
_SEEN = ("sound", "burn", "tear-out", "size", "other")
_SUBJECT = ("job", "program", "part", "phase", "cutter", "machine")


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
    common.add_argument("--shop", metavar="DIR", default=argparse.SUPPRESS, help="whose log; the demo shop keeps none")
    common.add_argument("--system", choices=("inch", "metric"), default=argparse.SUPPRESS, help="units for people")
    common.add_argument(
        "--json", action="store_true", default=argparse.SUPPRESS, help="one JSON document, nothing else"
    )
    actions = parser.add_subparsers(dest="action", metavar="ACTION", required=True, parser_class=make)

    def add(name: str, text: str, *, who: bool = True) -> argparse.ArgumentParser:
        made: argparse.ArgumentParser = actions.add_parser(
            name, help=text, description=text, parents=[common], allow_abbrev=False
        )
        if who:
            made.add_argument("--operator", metavar="NAME", help="who; default: the name on this computer")
            made.add_argument("--note", metavar="TEXT", default="", help="for people")
        return made

    start = add("start", "start a timer; with nothing said, on what this operator did last")
    _subject_flags(start)
    way = start.add_mutually_exclusive_group()
    way.add_argument("--end-running", action="store_true", help="end this operator's running timer now")
    way.add_argument("--beside", action="store_true", help="let it run too; both are marked as overlapping")
    stop = add("stop", "stop this operator's timer")
    stop.add_argument("--entry", metavar="N", type=_number, help="number of another timer")
    stop.add_argument("--minutes", metavar="TIME", help="how long it took, where the timer is not to be believed")
    _end_flags(stop)
    given = add("add", "enter a time by hand")
    _subject_flags(given)
    given.add_argument("--minutes", metavar="TIME", required=True, help='e.g. "3.4 min"')
    given.add_argument("--began", metavar="WHEN", help='e.g. "2026-11-30 14:05"')
    given.add_argument("--loads", metavar="N", type=_number, help="alike ones that took it together")
    _end_flags(given)
    correct = add("correct", "put another entry in a time's place; what is not said stays")
    correct.add_argument("entry", metavar="N", type=_number)
    _subject_flags(correct)
    correct.add_argument("--minutes", metavar="TIME", help='e.g. "3.4 min"')
    correct.add_argument("--began", metavar="WHEN", help='e.g. "2026-11-30 14:05"')
    correct.add_argument("--loads", metavar="N", type=_number, help="alike ones that took it together")
    _end_flags(correct)
    undo = add("undo", "take this operator's last entry back")
    undo.add_argument("--entry", metavar="N", type=_number, help="number of another entry")
    listed = add("list", "entries that count, the last below", who=False)
    listed.add_argument("--open", action="store_true", help="only timers that run")
    listed.add_argument("--job", metavar="J", help="only of this job")
    listed.add_argument("--last", metavar="N", type=_number, default=20, help="how many; default 20")
    listed.add_argument("--all", action="store_true", help="also what was undone or replaced")
    listed.add_argument("--by", choices=("program", "phase", "operator", "cutter", "quote"), help="a table instead")
    _more_actions(add)


def _more_actions(add: Callable[..., argparse.ArgumentParser]) -> None:
    cutter = add("cutter", "what befell a cutter: cut, measured, reground, retired")
    cutter.add_argument("cutter", metavar="ID")
    cutter.add_argument("--distance", metavar="D", help='cut since the last entry, e.g. "800 m"')
    cutter.add_argument("--minutes", metavar="TIME", help='cut since the last entry, e.g. "95 min"')
    cutter.add_argument("--diameter", metavar="D", help="measured")
    cutter.add_argument("--regrind", action="store_true", help="it was ground again")
    cutter.add_argument("--retire", metavar="REASON", help="it is used no more")
    seen = add("seen", "what was seen or heard: burn, tear-out, a sound, a size that is off")
    seen.add_argument("what", choices=_SEEN, metavar=f"{{{','.join(_SEEN)}}}")
    seen.add_argument("--size-off", metavar="S", help='too large is positive, e.g. "0.2 mm"')
    for flag in ("--job", "--program", "--part", "--cutter", "--machine"):
        seen.add_argument(flag, metavar="ID")
    sound = add("hear", "what a WAV recording of a run tells; with --job it is logged too")
    sound.add_argument("file", metavar="FILE.wav")
    sound.add_argument("--flutes", metavar="N", type=_number, required=True, help="of the cutter")
    sound.add_argument("--rpm", metavar="SPEED", required=True, help='as programmed, e.g. "18000 rpm"')
    for flag in ("--job", "--program", "--part", "--cutter", "--machine"):
        sound.add_argument(flag, metavar="ID")
    quote = add("quote", "keep a quote as it stands, and what became of it")
    quote.add_argument("job", metavar="JOB.toml")
    end = quote.add_mutually_exclusive_group(required=True)
    for outcome in ("open", "won", "lost"):
        end.add_argument(f"--{outcome}", dest="outcome", action="store_const", const=outcome, help=f"it is {outcome}")
    quote.add_argument("--reason", metavar="TEXT", default="", help="why")
    quote.add_argument("--paid", metavar="MONEY", help="what it was sold for, here or elsewhere")
    who = add("operator", "say who logs here")
    who.add_argument("name", metavar="NAME")
    who.add_argument("--gone", action="store_true", help="no longer")
    add("times", "what finished jobs say of the standard times: the factors quotes take", who=False)
    back = add("review", "plans against the log, learning, earnings, cutters due, the last day", who=False)
    back.add_argument("--job", metavar="J", help="only this job")
    back.add_argument("--excel", metavar="FILE.xlsx", help="write the tables as a workbook too")
    export = add("export", "write the times as .csv, or all of it as .xlsx", who=False)
    export.add_argument("file", metavar="FILE.csv|.xlsx")
    taken = add("import", "take times from a .csv")
    taken.add_argument("file", metavar="FILE.csv")
    taken.add_argument("--dry-run", action="store_true", help="only say what would be taken and what refused")
    taken.add_argument("--good-rows", action="store_true", help="take the good rows although others are refused")
    backup = add("backup", "copy the log, even while it is in use", who=False)
    backup.add_argument("file", metavar="FILE")
    restore = add("restore", "put a backup in the log's place; what stood there is kept beside it", who=False)
    restore.add_argument("file", metavar="FILE")
    add("check", "look whether the log is whole", who=False)
    view = add("training", "who may run what, where people go wrong, what each should do next", who=False)
    view.add_argument("--page", metavar="FILE.html", help="write it as a page to print")


def _subject_flags(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--job", metavar="J", help="name of a job, or its file")
    parser.add_argument("--program", metavar="P")
    parser.add_argument("--part", metavar="X")
    parser.add_argument("--load", metavar="N", type=_number, help="number of the load: times of one number are one")
    parser.add_argument("--phase", metavar="PH", choices=_PHASES, help=f"one of: {', '.join(_PHASES)}")
    parser.add_argument("--cutter", metavar="ID")
    parser.add_argument("--machine", metavar="M")


def _end_flags(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--minutes-standing", metavar="TIME", help="of it, while the machine stood and waited")
    parser.add_argument("--done", action="store_true", help="the phase is finished with it: its sum is the whole")


def _number(text: str) -> int:
    if not (text.isascii() and text.isdigit() and 0 < int(text) < 10**12):
        raise argparse.ArgumentTypeError(f"'{text}' is not a number from 1")
    return int(text)


# --- running ---------------------------------------------------------------------------------------------------------


def run(chosen: argparse.Namespace, write: Write, show: Show) -> int:
    """Do one action.

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
        0, or 1 where a check found the log damaged.

    Raises
    ------
    InputError
        With everything that is wrong; what was confirmed before is kept.
    """
    from shopcalc.shop import Shop
    from shopcalc.shoplog import ShopLog
    from shopcalc.shoplog.saving import restore

    if chosen.shop is None:
        raise InputError(
            Fault("the demo shop keeps no log", "make your own with: shopcalc new my-shop, then --shop my-shop")
        )
    shop = Shop.open(chosen.shop)
    if chosen.action == "restore":
        done = restore(shop.folder, chosen.file)
        show({"done": done}) if chosen.json else print("\n".join(done))
        return 0
    if chosen.action in ("check", "backup"):
        ShopLog.of(shop.folder, writable=False).close()  # there is something to look at
    with ShopLog.of(shop.folder, writable=chosen.action not in _ONLY_READ) as log:
        lines, data, notes = _ACTIONS[chosen.action](log, shop, chosen, write)
        if chosen.json:
            show({**data, "notes": [*log.told, *notes]})
        else:
            for line in (*(f"look: {t}" for t in log.told), *lines, *(f"look: {t}" for t in notes)):
                print(line)
    return 1 if chosen.action == "check" and data["troubles"] else 0


_ONLY_READ = ("list", "export", "times", "review", "training")
Answer = tuple[list[str], dict[str, Any], list[str]]


def _operator(log: ShopLog, chosen: argparse.Namespace) -> str:
    """Who it is: said, or the one who logs here, or who is at the computer."""
    if chosen.operator:
        return str(chosen.operator)
    known = {e.record.name: e.record.active for e in log.entries("e.kind = 'operator'")}  # type: ignore[union-attr]
    active = [name for name, still in known.items() if still]
    if len(active) == 1:
        return str(active[0])
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):
        raise InputError(Fault("this computer does not say who you are", "give --operator NAME")) from None


def _time(text: str | None, field: str) -> float | None:
    return None if text is None else _read(text, "time", field)


def _read(text: str, quantity: str, field: str, **bounds: float) -> float:
    from shopcalc.units import read

    try:
        return read(text, quantity, **({"minimum": 0.0} | bounds))
    except InputError as e:
        raise InputError([replace(f, field=f"--{field}") for f in e.faults]) from None


def _entry(chosen: argparse.Namespace, base: TimeEntry | None = None) -> TimeEntry:
    from shopcalc.shoplog import TimeEntry, read_moment

    changes = {n: getattr(chosen, n) for n in (*_SUBJECT, "load") if getattr(chosen, n) is not None}
    if getattr(chosen, "began", None):
        moment = read_moment(chosen.began)
        changes |= {"began": moment.utc, "utc_offset": moment.offset, "running": None, "boot": ""}
    if (seconds := _time(getattr(chosen, "minutes", None), "minutes")) is not None:
        changes["seconds"] = seconds
    if (stood := _time(getattr(chosen, "minutes_standing", None), "minutes-standing")) is not None:
        changes["standing"] = stood
    if getattr(chosen, "loads", None):
        changes["loads"] = chosen.loads
    if getattr(chosen, "done", False):
        changes["done"] = True
    return replace(base or TimeEntry(), **changes)


def _unknown(record: TimeEntry, shop: Shop) -> Iterator[str]:
    """Names the shop does not know: kept as they were said, since the moment will not come back, and pointed out."""
    from shopcalc.reading import load_toml
    from shopcalc.shoplog import job_key

    if record.machine and record.machine not in shop.machines:
        yield f"this shop has no machine '{record.machine}': {did_you_mean(record.machine, shop.machines)}"
    if record.cutter and record.cutter not in shop.cutters:
        yield f"this shop has no cutter '{record.cutter}': {did_you_mean(record.cutter, shop.cutters)}"
    files = {job_key(p.name): p for p in sorted((shop.folder / "jobs").glob("*.toml"))}
    if not record.job or not files:
        return
    if record.job not in files:
        names = {}
        for path in files.values():
            try:
                names[job_key(str(load_toml(path).get("job", {}).get("name", "")))] = path
            except (InputError, AttributeError):
                continue
        if record.job not in names:
            yield f"no job file of this shop is called '{record.job}': {did_you_mean(record.job, files)}"
            return
        files = names
    try:
        data = load_toml(files[record.job])
        if data.get("frames"):
            return  # they bring programs of their own
        for kind in ("program", "part"):
            ids = [str(x["id"]) for x in data.get(f"{kind}s", [])]
            said = getattr(record, kind)
            if said and ids and said not in ids:
                yield f"job '{record.job}' has no {kind} '{said}': {did_you_mean(said, ids)}"
    except (InputError, KeyError, TypeError, AttributeError):
        return  # the job's own commands say what is wrong with it


def _data(e: Entry) -> dict[str, Any]:
    """One entry as plain data."""
    from shopcalc.shoplog import write_moment

    out: dict[str, Any] = {
        "entry": e.id, "kind": e.kind, "recorded": write_moment(e.recorded, e.recorded_offset), "operator": e.operator,
        "origin": e.origin, "note": e.note, "replaces": e.replaces, "undoes": e.undoes, "uid": e.uid,
    }  # fmt: skip
    units = {"seconds": "time_s", "standing": "standing_s", "distance": "distance_mm", "diameter": "diameter_mm",
             "size_off": "size_off_mm"}  # fmt: skip
    for f in () if e.record is None else fields(e.record):
        value = getattr(e.record, f.name)
        if f.name == "began":
            value = None if value is None else write_moment(value, getattr(e.record, "utc_offset", 0) or 0)
        if f.name not in ("utc_offset", "running", "boot", "quote"):
            out[units.get(f.name, f.name)] = str(value) if f.name == "paid" and value is not None else value
    return out


def _written(log: ShopLog, made: Written, verb: str, shop: Shop) -> Answer:
    from shopcalc.shoplog import TimeEntry

    entry = log.entry(made.entry)
    notes = list(made.notes)
    if isinstance(entry.record, TimeEntry):
        notes += _unknown(entry.record, shop)
    return [f"entry {entry.id}, {entry.whose}: {verb}{entry.says}"], {"entry": _data(entry)}, notes


# --- times -----------------------------------------------------------------------------------------------------------


def _start(log: ShopLog, shop: Shop, chosen: argparse.Namespace, write: Write) -> Answer:
    from shopcalc.shoplog import TimeEntry
    from shopcalc.shoplog.timers import start

    who = _operator(log, chosen)
    again = None
    if not any(getattr(chosen, n) for n in (*_SUBJECT, "load")):
        last = list(log.entries("e.id IN (SELECT entry FROM times WHERE person = ?)", (who,), last=1))
        if not last or not isinstance(last[0].record, TimeEntry):
            raise InputError(Fault("it is not said on what", "give e.g. --job JOB --program PROGRAM"))
        old = last[0].record
        following = None if old.load is None else old.load + 1
        again = TimeEntry(**{n: getattr(old, n) for n in _SUBJECT}, load=following)
    way: Literal["ask", "end", "beside"] = "end" if chosen.end_running else "beside" if chosen.beside else "ask"
    made, ended = start(log, _entry(chosen, again), operator=who, note=chosen.note, running=way)
    lines, data, notes = _written(log, made, "started ", shop)
    return (
        [*(f"entry {e.id}, {e.whose}: stopped {e.says}" for e in ended), *lines],
        data | {"ended": [_data(e) for e in ended]},
        notes,
    )


def _stop(log: ShopLog, shop: Shop, chosen: argparse.Namespace, write: Write) -> Answer:
    from shopcalc.shoplog.timers import stop

    stopped, made = stop(
        log,
        operator=_operator(log, chosen),
        entry=chosen.entry,
        seconds=_time(chosen.minutes, "minutes"),
        standing=_time(chosen.minutes_standing, "minutes-standing") or 0.0,
        done=chosen.done,
        note=chosen.note,
    )
    return [f"entry {stopped.id}, {stopped.whose}: {stopped.says}"], {"entry": _data(stopped)}, list(made.notes)


def _add(log: ShopLog, shop: Shop, chosen: argparse.Namespace, write: Write) -> Answer:
    from shopcalc.shoplog.timers import overlaps

    made = log.add(_entry(chosen), operator=_operator(log, chosen), note=chosen.note)
    lines, data, notes = _written(log, made, "", shop)
    return lines, data, [*notes, *overlaps(log, made.entry)]


def _correct(log: ShopLog, shop: Shop, chosen: argparse.Namespace, write: Write) -> Answer:
    from shopcalc.shoplog import TimeEntry
    from shopcalc.shoplog.timers import overlaps

    old = log.entry(chosen.entry)
    if not isinstance(old.record, TimeEntry):
        raise InputError(Fault(f"entry {old.id} is no time ({old.says})", "undo it, and give it again"))
    new = _entry(chosen, old.record)
    note = chosen.note or old.note
    if new == old.record and note == old.note:
        raise InputError(Fault("nothing is said that differs", 'give e.g. --minutes "3.4 min"'))
    made = log.add(new, operator=_operator(log, chosen), note=note, replaces=old.id)
    lines, data, notes = _written(log, made, "", shop)
    return [f"{lines[0]} (was entry {old.id}: {old.says})"], data, [*notes, *overlaps(log, made.entry)]


def _undo(log: ShopLog, shop: Shop, chosen: argparse.Namespace, write: Write) -> Answer:
    target, made = log.undo(operator=_operator(log, chosen), entry=chosen.entry)
    lines = [f"undone: entry {target.id} of {target.whose}, {target.says}"]
    if target.replaces is not None:
        lines.append(f"counts again: entry {target.replaces}, {log.entry(target.replaces).says}")
    return lines, {"undone": _data(target)}, list(made.notes)


def _list(log: ShopLog, shop: Shop, chosen: argparse.Namespace, write: Write) -> Answer:
    from shopcalc.shoplog import job_key
    from shopcalc.shoplog.clock import shown_moment

    if chosen.by is not None:
        return _table(log, chosen)
    where, values = "1" if chosen.all else "e.kind <> 'answer'", list[Any]()  # lessons have their own table
    if chosen.open:
        where = "e.id IN (SELECT entry FROM times WHERE seconds IS NULL)"
    if chosen.job is not None:
        tables = ("times", "observations", "quotes")
        of_job = " OR ".join(f"e.id IN (SELECT entry FROM {t} WHERE job = ?)" for t in tables)
        where, values = f"{where} AND ({of_job})", [job_key(chosen.job)] * len(tables)
    found = list(log.entries(where, values, all_=chosen.all, last=chosen.last))
    lines = [
        f"{e.id:>6}  {shown_moment(e.recorded, e.recorded_offset)[:16]}  {e.whose}: {e.says}"
        + (f"  [{e.note}]" if e.note else "")
        for e in found
    ]
    return lines or ["nothing is logged of it"], {"entries": [_data(e) for e in found]}, []


def _table(log: ShopLog, chosen: argparse.Namespace) -> Answer:
    from shopcalc.documents import Table
    from shopcalc.documents.plain import as_lines
    from shopcalc.shoplog import views

    if chosen.by == "cutter":
        frame = views.cutter_life(log)
    elif chosen.by == "quote":
        frame = views.quotes(log)
        if chosen.job is not None:
            from shopcalc.shoplog import job_key

            frame = frame[frame["job"] == job_key(chosen.job)]
    else:
        made = {"program": views.by_program, "phase": views.by_phase, "operator": views.by_operator}[chosen.by]
        frame = made(log, chosen.job)
    units = frame.attrs.get("units", {})
    numbers = frozenset(k for k, c in enumerate(frame.columns) if frame[c].dtype.kind in "fi")
    rows = tuple(tuple(_cell(v, chosen.system) for v in row) for row in frame.itertuples(index=False))
    head = tuple(f"{c} [{units[c]}]" if c in units else str(c) for c in frame.columns)
    data = {"by": chosen.by, "units": units, "rows": json.loads(frame.to_json(orient="records", date_format="iso"))}
    if not rows:
        return ["nothing is logged of it"], data, []
    return [line.rstrip() for line in as_lines(Table(f"By {chosen.by}", head, rows, numbers))], data, []


def _times_learned(log: ShopLog, shop: Shop, chosen: argparse.Namespace, write: Write) -> Answer:
    from shopcalc.documents.plain import as_lines
    from shopcalc.people_learned import learn_times
    from shopcalc.people_pages import as_json, left_out, tables

    found = learn_times(shop, log)
    lines = [line.rstrip() for t in tables(found) for line in (*as_lines(t), "")]
    if not found.phases:
        lines = ["no phase of a job is finished yet: log the last time of one with --done"]
    return lines, as_json(found), list(left_out(found))


def _review(log: ShopLog, shop: Shop, chosen: argparse.Namespace, write: Write) -> Answer:
    import datetime

    from shopcalc.documents import Document
    from shopcalc.documents.plain import as_lines
    from shopcalc.review import review
    from shopcalc.review.looking_back import tables

    path = None if chosen.excel is None else Path(chosen.excel)
    if path is not None and path.suffix.lower() != ".xlsx":
        raise InputError(Fault(f"'{path.name}' says no kind of file", "let its name end in .xlsx"))
    if path is not None and path.exists():
        raise InputError(Fault("there is such a file already", "name a new one", file=str(path)))
    found = review(shop, log, () if chosen.job is None else (chosen.job,))
    made = tables(found, chosen.system or "inch")
    lines = [line.rstrip() for t in made if t.rows for line in (*as_lines(t), "")]
    if path is not None:
        from shopcalc.documents.workbook import as_workbook

        write(path.parent, {path.name: as_workbook(Document("Review", "log", datetime.date.today(), made))})
        lines.append(f"{path}: written")
    notes = [f"{f.message}: {f.remedy}" for f in found.faults]
    return lines or ["nothing is logged of it"], found.as_json(), notes


def _cell(value: Any, system: System | None) -> str:
    if isinstance(value, float):
        return "–" if value != value else f"{value:,.2f}"
    if hasattr(value, "strftime"):
        return f"{value:%Y-%m-%d %H:%M}"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "–" if value is None or value != value else str(value)


# --- cutters, observations, quotes, people ---------------------------------------------------------------------------


def _cutter(log: ShopLog, shop: Shop, chosen: argparse.Namespace, write: Write) -> Answer:
    from shopcalc.shoplog import CutterEvent

    name = shop.cutter(chosen.cutter).id
    distance = None if chosen.distance is None else _read(chosen.distance, "distance", "distance")
    diameter = None if chosen.diameter is None else _read(chosen.diameter, "length", "diameter", above=0.0)
    seconds = _time(chosen.minutes, "minutes")
    events = []
    if distance is not None or seconds is not None:
        events.append(CutterEvent(name, "cut", distance, seconds))
    if chosen.regrind:  # what was cut belongs to the old edge, what is measured to the new one
        events.append(CutterEvent(name, "reground", diameter=diameter))
    elif diameter is not None:
        events.append(CutterEvent(name, "measured", diameter=diameter))
    if chosen.retire is not None:
        events.append(CutterEvent(name, "retired", reason=chosen.retire))
    if not events:
        remedy = "give --distance, --minutes, --diameter, --regrind or --retire REASON"
        raise InputError(Fault(f"nothing is said of cutter {name}", remedy))
    notes = []
    if chosen.regrind or diameter is not None:
        notes.append("this is the log; cutters.csv and testcut read fit are what cuts are planned with")
    return _several(log, events, chosen, shop, notes)


def _several(
    log: ShopLog, records: Sequence[Any], chosen: argparse.Namespace, shop: Shop, notes: Sequence[str] = ()
) -> Answer:
    """All of them or none."""
    from shopcalc.shoplog.records import tidied

    who, kept = _operator(log, chosen), [tidied(r) for r in records]

    uids = [uuid.uuid4().hex for _ in kept]

    def action() -> list[Written]:
        return [log.insert(r, operator=who, note=chosen.note, uid=u) for r, u in zip(kept, uids, strict=True)]

    made = log.transaction(action, "an entry", kept[0].subject, uids[0])
    entries = [log.entry(w.entry) for w in made]
    lines = [f"entry {e.id}, {e.operator}: {e.says}" for e in entries]
    return lines, {"entries": [_data(e) for e in entries]}, [*dict.fromkeys(n for w in made for n in w.notes), *notes]


def _seen(log: ShopLog, shop: Shop, chosen: argparse.Namespace, write: Write) -> Answer:
    from shopcalc.shoplog import Observation

    off = None if chosen.size_off is None else _read(chosen.size_off, "length", "size-off", minimum=-1000.0)
    where = {n: getattr(chosen, n) or "" for n in ("job", "program", "part", "cutter", "machine")}
    return _several(log, [Observation(chosen.what, **where, size_off=off)], chosen, shop)


def _hear(log: ShopLog, shop: Shop, chosen: argparse.Namespace, write: Write) -> Answer:
    from shopcalc.listening import hear, to_entries

    heard = hear(chosen.file, chosen.flutes, _read(chosen.rpm, "spindle_speed", "rpm"))
    job, program, part, cutter, machine = (getattr(chosen, n) or "" for n in _SUBJECT if n != "phase")
    entries = to_entries(heard, job, program, part=part, cutter=cutter, machine=machine) if job else ()
    lines, data, notes = _several(log, entries, chosen, shop) if entries else ([], {}, [])
    return [*heard.as_text(chosen.system or "metric").splitlines(), *lines], {**data, "heard": heard.as_json()}, notes


def _quote(log: ShopLog, shop: Shop, chosen: argparse.Namespace, write: Write) -> Answer:
    from shopcalc.deciding import differences
    from shopcalc.jobs import estimate, open_job
    from shopcalc.logged import with_log
    from shopcalc.quote import price
    from shopcalc.shoplog import QuoteOutcome, job_key
    from shopcalc.units import read_money

    paid = None if chosen.paid is None else read_money(chosen.paid, shop.rates.currency)
    job = open_job(chosen.job, shop)
    now = price(estimate(with_log(job, log))).as_json()
    key = job_key(job.name)
    earlier = log.rows(
        "SELECT q.quote FROM quotes q WHERE q.job = ? AND q.quote <> '' ORDER BY q.entry DESC LIMIT 1", (key,)
    )
    currency = str(now["currency"])
    record = QuoteOutcome(key, chosen.outcome, chosen.reason, json.dumps(now), paid, currency)
    lines, data, notes = _several(log, [record], chosen, shop)
    lines.append(f"asked {now['price']['asked']:,.2f} {currency}, floor {now['price']['floor']:,.2f} {currency}")
    if earlier:
        changed = differences(json.loads(earlier[0][0]), now)
        lines += [f"since the quote before: {d.what} {d.change:+,.2f} {d.unit}".rstrip() for d in changed[:12]]
        lines += [] if changed else ["nothing changed since the quote before"]
        data["changed"] = [{"what": d.what, "before": d.before, "after": d.after, "unit": d.unit} for d in changed]
    return lines, data, notes


def _who(log: ShopLog, shop: Shop, chosen: argparse.Namespace, write: Write) -> Answer:
    from shopcalc.shoplog import Operator

    chosen.operator = chosen.operator or chosen.name
    return _several(log, [Operator(chosen.name, not chosen.gone)], chosen, shop)


# --- the file --------------------------------------------------------------------------------------------------------


def _export(log: ShopLog, shop: Shop, chosen: argparse.Namespace, write: Write) -> Answer:
    from shopcalc.shoplog.exchange import as_csv, as_workbook

    path = Path(chosen.file)
    writers: dict[str, Callable[[ShopLog], str | bytes]] = {".csv": as_csv, ".xlsx": as_workbook}
    made = writers.get(path.suffix.lower())
    if made is None:
        raise InputError(Fault(f"'{path.name}' says no kind of file", "let its name end in .csv or .xlsx"))
    if path.exists():
        raise InputError(Fault("there is such a file already", "name a new one", file=str(path)))
    write(path.parent, {path.name: made(log)})
    return [f"{path}: written"], {"written": str(path)}, []


def _import(log: ShopLog, shop: Shop, chosen: argparse.Namespace, write: Write) -> Answer:
    from shopcalc.shoplog.exchange import plan_import, take

    plan = plan_import(log, chosen.file, operator=_operator(log, chosen))
    counts = {v: plan.count(v) for v in ("taken", "known", "refused")}
    lines = []
    if chosen.dry_run:
        for r in plan.rows:
            lines += [str(f) for f in r.faults] or [f"row {r.number}: {r.verdict}: {r.says}"]
        what = "the new ones would be taken" if counts["taken"] else "nothing would be taken"
        if counts["refused"]:
            what = "only the good rows" if chosen.good_rows else "nothing would be taken, because rows are refused"
    else:
        counts["taken"] = take(log, plan, good_rows=chosen.good_rows)
        lines = [str(f) for f in plan.faults]
        what = "done"
    told = f"{counts['taken']} new, {counts['known']} known already, {counts['refused']} refused: {what}"
    data = {
        **counts,
        "dry_run": chosen.dry_run,
        "rows": [
            {"row": r.number, "verdict": r.verdict, "says": r.says, "faults": [str(f) for f in r.faults]}
            for r in plan.rows
        ],
    }
    return [*lines, told], data, []


def _backup(log: ShopLog, shop: Shop, chosen: argparse.Namespace, write: Write) -> Answer:
    from shopcalc.shoplog.saving import backup

    count = backup(log, chosen.file)
    return [f"{chosen.file}: {count} entries, whole"], {"written": chosen.file, "entries": count}, []


def _check(log: ShopLog, shop: Shop, chosen: argparse.Namespace, write: Write) -> Answer:
    from shopcalc.shoplog.saving import check

    found = check(log)
    state = "whole" if not found.troubles else "NOT whole: restore a backup with shopcalc log restore FILE"
    line = f"{log.path}: {found.entries} entries, {found.running} timers run; {state}"
    data = {"entries": found.entries, "running": found.running, "troubles": list(found.troubles)}
    return [line, *found.troubles[:20]], data, []


def _training(log: ShopLog, shop: Shop, chosen: argparse.Namespace, write: Write) -> Answer:
    from shopcalc.documents.page import as_page
    from shopcalc.training import training

    view = training(log, {name: m.title or name for name, m in shop.machines.items()})
    lines, data = view.as_lines(), view.as_json()
    if chosen.page is not None:
        path = Path(chosen.page)
        if path.suffix.lower() != ".html":
            raise InputError(Fault(f"'{path.name}' says no kind of file", "let its name end in .html"))
        if path.exists():
            raise InputError(Fault("there is such a file already", "name a new one", file=str(path)))
        write(path.parent, {path.name: as_page(view.as_document())})
        lines, data = [f"{path}: written, open it and print it"], data | {"written": str(path)}
    return lines, data, []


_ACTIONS: dict[str, Callable[[ShopLog, Shop, argparse.Namespace, Write], Answer]] = {
    "start": _start, "stop": _stop, "add": _add, "correct": _correct, "undo": _undo, "list": _list, "cutter": _cutter,
    "seen": _seen, "quote": _quote, "operator": _who, "export": _export, "import": _import, "backup": _backup,
    "check": _check, "hear": _hear, "times": _times_learned, "review": _review,
    "training": _training,
}  # fmt: skip
