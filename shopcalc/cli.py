"""The command line: each command shows the result of one public function.

Nothing heavy is imported before a command needs it, so that help and errors come at once.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import math
import os
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

from shopcalc.errors import Fault, InputError, did_you_mean

if TYPE_CHECKING:
    from shopcalc.cutting.relaxing import Relaxation
    from shopcalc.cutting.tuning import Setting
    from shopcalc.machines import Machine
    from shopcalc.program_times import ProgramCache, Progress
    from shopcalc.shop import Shop
    from shopcalc.units import System

_PLACES = ("command", "artwork", "text", "job", "programs", "action", "reading")  # given by their place, not by a flag
COMMANDS = ("quote", "time", "tune", "relief", "letters", "testcut", "sheets", "hold", "log", "calibrate", "new", "lab")
_SOON = 1.0  # s after which progress is worth a line
_SHOWN_EACH = 0.1  # s
_MANY_BYTES = 20_000_000  # from which progress is told in megabytes too


class _Parser(argparse.ArgumentParser):
    """Says what is wrong in one line, as everything else here does."""

    def error(self, message: str) -> NoReturn:
        """Refuse the command line."""
        command = self.prog.removeprefix("shopcalc").strip()
        where = f"{command}: " if command else ""
        raise InputError(Fault(f"{where}{message}", f"{self.prog} --help shows what is possible"))


def parser() -> argparse.ArgumentParser:
    """The whole command line."""
    from shopcalc.calibrate_command import add_flags as add_calibrate
    from shopcalc.hold_command import add_actions as add_hold_actions
    from shopcalc.lettering_command import add_flags as add_letters
    from shopcalc.log_command import add_actions as add_log_actions
    from shopcalc.quote_command import add_flags as add_quote
    from shopcalc.relief_command import add_flags
    from shopcalc.sheets_command import add_flags as add_sheets
    from shopcalc.testcut_command import add_actions

    common = _Parser(add_help=False)
    common.add_argument("--shop", metavar="DIR", help="the shop's folder (default: the demo shop)")
    common.add_argument("--system", choices=("inch", "metric"), help="units for people")
    as_json = _Parser(add_help=False)
    as_json.add_argument("--json", action="store_true", help="one JSON document on standard output, nothing else")
    top = _Parser(
        prog="shopcalc",
        description="Feeds, speeds, cycle time and price for a small custom woodworking shop.",
        epilog="Figures are advice: a cutter's marked greatest speed, makers' instructions and local codes come first.",
        allow_abbrev=False,
    )
    commands = top.add_subparsers(dest="command", metavar="COMMAND", parser_class=_Parser)

    def add(name: str, text: str, *, machine_readable: bool = True) -> argparse.ArgumentParser:
        parents = [common, as_json] if machine_readable else [common]
        return commands.add_parser(name, help=text, description=text, parents=parents, allow_abbrev=False)

    add_quote(add("quote", "hours and price of a job"))
    timing = add("time", "machine time of programs, from their text")
    timing.add_argument("programs", metavar="PROGRAM|FOLDER", nargs="+")
    timing.add_argument("--machine", metavar="NAME|FILE.toml", help="default: the first machine of the shop")
    timing.add_argument("--by", choices=("cutter", "depth", "cause", "kind"), help="also a table of the time by this")
    timing.add_argument("--slowest", metavar="N", type=_count, default=0, help="also the places that lose most time")
    timing.add_argument("--workers", metavar="N", type=_count, help="processes; default: what pays")
    timing.add_argument("--savings", action="store_true", help="also what could be saved in it, each change timed anew")
    timing.add_argument("--stock-top", metavar="Z", help='height of the wood\'s top in the program, e.g. "0 mm"')
    timing.add_argument("--against", metavar="PROGRAM", help="also what changed since this earlier version of it")
    timing.add_argument("--no-cache", action="store_true", help="time again what was timed before")
    tune = add("tune", "speed, feed and passes for one cut")
    for flag, meta, text in (
        ("--cutter", "ID", "from the shop's rack"),
        ("--material", "ID", "e.g. white-oak"),
        ("--machine", "NAME|FILE.toml", "of the shop"),
    ):
        tune.add_argument(flag, metavar=meta, required=True, help=text)
    tune.add_argument("--station", choices=("flat", "edge", "end"), required=True, help="how the part is held")
    tune.add_argument("--grain", metavar="along|across|end|DEG", required=True, help="feed against the grain")
    tune.add_argument("--cut-depth", metavar="D", required=True, help='in total, e.g. "1 1/4 in"')
    tune.add_argument("--cut-width", metavar="W", required=True, help='in total, e.g. "3/8 in"')
    tune.add_argument("--clearance", metavar="C", help="mortise minus tenon in total")
    tune.add_argument("--skim", metavar="S", help="wood kept per side for a last cut")
    for flag, meta, text in (
        ("--length", "L", "of one pass, for the minutes; default 1 m or 39.4 in"),
        ("--push-off", "E", "error allowed on the finished wall; default 0.1 mm"),
        ("--stick-out", "L", "of the cutter, instead of the rack's"),
        ("--wear", "SHARE", 'of the edge, "0 %%" sharp to "100 %%" dull'),
        ("--moisture", "M", 'of the wood, e.g. "8 %%"'),
        ("--value", "MONEY", "already in the part; default three hours of work"),
        ("--regrind", "MONEY", "of the cutter; default none, because upkeep counts it"),
        ("--now", "TIME", "what this cut takes today"),
        ("--job-hours", "TIME", "of the whole job, to set a saving against"),
    ):
        tune.add_argument(flag, metavar=meta, help=text)
    tune.add_argument("--in-solid", action="store_true", help="wood on both sides of the first pass, as in a groove")
    tune.add_argument("--direction", choices=("climb", "conventional"), help="default: whichever is better")
    tune.add_argument("--goal", choices=("cheapest", "quickest"), default="cheapest", help="default: cheapest")
    tune.add_argument("--relax", action="store_true", help="also say what other cutters, lies and stations would pay")
    add_flags(add("relief", "what a cutter makes of an artwork: detail, minutes, price"))
    add_letters(add("letters", "what a V cutter makes of words or of a drawing: minutes, depth, corners"))
    add_calibrate(add("calibrate", "a machine's figures from logged times of its programs"))
    add_sheets(add("sheets", "papers of a job: customer's quote, cut list, set-up sheets, traveller, fits"))
    add_actions(add("testcut", "test cuts in scrap, what their readings say, and what the shop has learned"))
    add_hold_actions(add("hold", "what holds each load and what stands in the way; fixtures, bolts, a stopped program"))
    add_log_actions(add("log", "what really happened: times, cutters, observations, quotes"))
    new = add("new", "copy the demo shop as a start for your own", machine_readable=False)
    new.add_argument("folder", metavar="FOLDER")
    lab = add("lab", "open the notebooks in JupyterLab, on this machine only", machine_readable=False)
    lab.add_argument("--folder", metavar="DIR", help="where the notebooks are, or shall be copied to")
    lab.add_argument("--no-browser", action="store_true", help="print the address instead of opening it")
    return top


def _count(text: str) -> int:
    if not (text.isascii() and text.isdigit() and 0 < int(text) < 10_000):
        raise argparse.ArgumentTypeError(f"'{text}' is not a number from 1 to 9999")
    return int(text)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command.

    Parameters
    ----------
    arguments : sequence of str, optional
        Of the command line; None takes the process's.

    Returns
    -------
    int
        0, or 2 when something was refused; then standard error has one line for each fault.
    """
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")  # a terminal that knows no "×" still gets its quote
    try:
        return _run(arguments)
    except InputError as e:
        return _refused(e.faults)
    except KeyboardInterrupt:
        return 130
    except BrokenPipeError:
        _drop_output()
        return 141
    except OSError as e:
        reason = (e.strerror or str(e)).lower()
        return _refused([Fault(f"the system says: {reason}", "check space and permissions", file=_shown(e.filename))])
    except RecursionError:
        return _refused([Fault("something given is nested too deeply", "simplify it")])
    except Exception as e:  # a fault of ours must not look like one of the user's, nor spill a traceback
        return _refused([_our_fault(e)])


def _run(arguments: Sequence[str] | None) -> int:
    given = list(sys.argv[1:] if arguments is None else arguments)
    if given and not given[0].startswith("-") and given[0] not in COMMANDS:
        raise InputError(Fault(f"there is no command '{given[0]}'", did_you_mean(given[0], COMMANDS)))
    chosen, unknown = parser().parse_known_args(given)
    if unknown and chosen.command is not None:
        raise InputError([_unknown(word, chosen) for word in unknown])
    if chosen.command is None:
        raise InputError(Fault("no command is given", f"use one of: {', '.join(COMMANDS)}; shopcalc --help says more"))
    actions = {
        "quote": _quote,
        "time": _time,
        "tune": _tune,
        "relief": _relief,
        "letters": _letters,
        "testcut": _testcut,
        "sheets": _sheets,
        "hold": _hold,
        "calibrate": _calibrate,
        "log": _log,
        "new": _new,
        "lab": _lab,
    }
    status = actions[chosen.command](chosen)
    sys.stdout.flush()
    return status


def _unknown(word: str, chosen: argparse.Namespace) -> Fault:
    flags = ["--" + name.replace("_", "-") for name in vars(chosen) if name not in _PLACES]
    if word.startswith("-"):
        return Fault(f"{chosen.command}: there is no flag '{word}'", did_you_mean(word.split("=")[0], flags))
    return Fault(f"{chosen.command}: '{word}' is one word too many", "put a value with blanks in quotation marks")


def _refused(faults: Iterable[Fault]) -> int:
    with contextlib.suppress(BrokenPipeError):
        for fault in faults:
            print(f"shopcalc: {fault}", file=sys.stderr)
    return 2


def _our_fault(error: Exception, file: str | None = None) -> Fault:
    return Fault(f"this is a fault of shopcalc itself ({type(error).__name__}: {error})", "please report it", file)


def _drop_output() -> None:
    """Whoever read our output is gone; keep the interpreter from complaining at exit."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _shown(name: object) -> str | None:
    return None if name is None else os.fsdecode(name) if isinstance(name, (str, bytes)) else str(name)


def _print_json(document: Any) -> None:
    print(json.dumps(document, indent=2, allow_nan=False))


def _shop(chosen: argparse.Namespace) -> Shop:
    from shopcalc.shop import Shop

    return Shop.open(chosen.shop)


def _write_all(folder: Path, files: Mapping[str, str | bytes]) -> None:
    """Write all files or none: first beside their places under other names, then into them."""
    drafts: list[tuple[str, Path]] = []
    made = not folder.exists()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name in files:
            if (folder / name).is_dir():
                raise InputError(Fault("a folder stands where a file is to be written", "move it", str(folder / name)))
        for name, text in files.items():
            with tempfile.NamedTemporaryFile("wb", dir=folder, delete=False) as draft:
                drafts.append((draft.name, folder / name))
                draft.write(text.encode() if isinstance(text, str) else text)
        for draft_name, place in drafts:
            os.replace(draft_name, place)
            place.chmod(0o666 & ~_umask())
    except (OSError, InputError) as e:
        for draft_name, _ in drafts:
            with contextlib.suppress(OSError):
                os.unlink(draft_name)
        if made:
            with contextlib.suppress(OSError):
                folder.rmdir()
        if isinstance(e, InputError):
            raise
        reason = "it is not a folder" if isinstance(e, FileExistsError) else (e.strerror or str(e)).lower()
        raise InputError(Fault(f"nothing was written ({reason})", "name another folder", str(folder))) from None


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


# --- quote -----------------------------------------------------------------------------------------------------------


def _quote(chosen: argparse.Namespace) -> int:
    from shopcalc import quote_command
    from shopcalc.program_times.folders import PROGRAM_ENDINGS

    if Path(chosen.job).suffix.lower() in PROGRAM_ENDINGS:
        remedy = f"say: shopcalc time {chosen.job}"
        raise InputError(Fault("this is a program, not a job", remedy, file=chosen.job))
    return quote_command.run(chosen, _shop(chosen), _write_all, _print_json)


# --- time ------------------------------------------------------------------------------------------------------------


def _time(chosen: argparse.Namespace) -> int:
    from shopcalc.program_times import ProgramCache, ProgramTime, Refused, programs_in, time_programs

    whole = _whole_program(chosen)
    cache = None if chosen.no_cache else ProgramCache()
    line = _ProgressLine()
    others: dict[str, int] = {}
    try:
        machine = _machine_for(chosen, cache)
        files, faults = programs_in(chosen.programs, others)
        told = line.show if sys.stderr.isatty() else None
        timed = time_programs(files, machine, cache=cache, workers=chosen.workers, progress=told)
    finally:
        line.clear()
        if cache is not None:
            cache.close()
    answers = [*(Refused(f.file or "", (f,)) for f in faults), *timed]
    if chosen.json:
        times = [a.time_s if isinstance(a, ProgramTime) else math.nan for a in answers]
        total = sum(times)
        entries = [a.as_json() for a in answers]
        if whole is not None and isinstance(answers[0], ProgramTime):
            entries[0] |= whole(machine)[1]
        document: dict[str, Any] = {
            "machine": machine.name,
            "programs": entries,
            "time_s": total if math.isfinite(total) else None,
        }
        if others:
            document["not_looked_at"] = others
        _print_json(document)
    else:
        from shopcalc.program_times.report import times_text

        words = times_text(
            machine, answers, chosen.system or "metric", slowest=chosen.slowest, by=chosen.by, others=others
        )  # fmt: skip
        print(words, end="")
        if whole is not None and isinstance(answers[0], ProgramTime):
            print("\n".join(whole(machine)[0]))
    sys.stdout.flush()
    if cache is not None and cache.complaint is not None:
        print(f"shopcalc: {cache.complaint}", file=sys.stderr)
    found = [f for a in answers if isinstance(a, Refused) for f in a.faults]
    if not chosen.json and sys.stdout.isatty() and sys.stderr.isatty():
        found = _not_seen_yet(found)
    return _refused(found) if found else 0


def _not_seen_yet(faults: Sequence[Fault]) -> list[Fault]:
    """On one terminal: how many were shown with their place marked, and those that were not."""
    shown = [f for f in faults if f.text is not None and f.column is not None]
    if not shown:
        return list(faults)
    programs = len({f.file for f in shown})
    counted = "1 program is refused" if programs == 1 else f"{programs} programs are refused"
    return [*(f for f in faults if f not in shown), Fault(f"{counted}, as marked above")]


def _whole_program(chosen: argparse.Namespace) -> Callable[[Machine], tuple[list[str], dict[str, Any]]] | None:
    """What is to be found out about one program as a whole: lines for people, and what JSON says; None when nothing."""
    if not (chosen.savings or chosen.against):
        if chosen.stock_top:
            raise InputError(Fault("--stock-top says nothing without --savings", "add --savings"))
        return None
    if len(chosen.programs) != 1 or Path(chosen.programs[0]).is_dir():
        raise InputError(Fault("--savings and --against go with one program", "name one program file"))
    system: System = chosen.system or "metric"
    top = None
    if chosen.stock_top:
        from shopcalc.units import read

        try:
            top = read(chosen.stock_top, "length")
        except InputError as e:
            raise InputError([replace(f, field="--stock-top") for f in e.faults]) from None

    def find(machine: Machine) -> tuple[list[str], dict[str, Any]]:
        from shopcalc.gcode import read_program

        moves = read_program(chosen.programs[0], machine).moves
        lines: list[str] = []
        found: dict[str, Any] = {}
        if chosen.savings:
            from shopcalc.gains import examine

            line = _ProgressLine()
            told = (lambda what: line.say(f"trying: {what}")) if sys.stderr.isatty() else None
            try:
                findings = examine(moves, machine, stock_top=top, system=system, progress=told)
            except InputError as e:
                named = [replace(f, field="--stock-top") if f.field == "stock_top" else f for f in e.faults]
                raise InputError(named) from None
            finally:
                line.clear()
            lines += ["", "what could be saved in it, each change made and timed anew:"]
            lines += [f"  {text.replace('stock_top', '--stock-top')}" for text in findings.sentences()]
            found["savings"] = [
                {
                    "name": s.name, "change": s.change, "time_s": round(s.seconds_after, 6),
                    "saved_s": round(s.seconds_saved, 6), "same_cut": s.same_cut, "check": s.check,
                }
                for s in findings.savings
            ]  # fmt: skip
        if chosen.against:
            from shopcalc.comparing import compare

            changed = compare(read_program(chosen.against, machine).moves, moves, machine)
            lines += ["", f"since {chosen.against}:", *(f"  {text}" for text in changed.sentences(system))]
            was, now = (None if math.isnan(v) else round(v, 6) for v in changed.seconds)
            found["against"] = {
                "file": chosen.against, "time_s": was, "time_now_s": now, "moves_kept": changed.kept,
                "moves_removed": changed.removed, "moves_added": changed.added,
                "changes": changed.sentences(system)[1:],
            }  # fmt: skip
        return lines, found

    return find


def _machine_for(chosen: argparse.Namespace, cache: ProgramCache | None) -> Machine:
    """The machine that is meant; one that was read before without loading what reads units."""
    from shopcalc.program_times.cache import file_digest
    from shopcalc.shop import demo_folder

    name = chosen.machine
    own = name is not None and name.lower().endswith(".toml")
    file = Path(name) if own else (demo_folder() if chosen.shop is None else Path(chosen.shop)) / "machines.toml"
    content = file_digest(str(file)) if cache is not None else None
    learned = None if own else file_digest(str(file.with_name("machines-learned.csv")))
    called = f"file {name}" if own else f"shop {name or ''} {learned.hex() if learned else ''}"
    known = cache.machine(content, called) if cache is not None and content is not None else None
    if known is not None:
        return known
    machine = _machine_of(_shop(chosen), name)
    if cache is not None and content is not None and file_digest(str(file)) == content:
        cache.put_machine(content, called, machine)
    return machine


def _machine_of(shop: Shop, name: str | None) -> Machine:
    if name is not None:
        return shop.machine(name)
    if not shop.machines:
        raise InputError(Fault("the shop has no machine", "name one with --machine FILE.toml"))
    return next(iter(shop.machines.values()))


class _ProgressLine:
    """One line on standard error that says how far a long run is."""

    def __init__(self) -> None:
        self._begin = self._last = time.monotonic()
        self._width = 0

    def show(self, p: Progress) -> None:
        now = time.monotonic()
        if now - self._begin < _SOON or now - self._last < _SHOWN_EACH:
            return
        parts = [f"{p.done} of {p.programs} programs"] if p.programs > 1 else []
        if p.bytes > _MANY_BYTES or not parts:
            parts.append(f"{p.bytes_done / 1e6:.0f} of {p.bytes / 1e6:.0f} MB")
        self.say(", ".join(parts))
        self._last = now

    def say(self, text: str) -> None:
        """Show a text in place of the last."""
        print(f"\r{text:<{self._width}}", end="", file=sys.stderr, flush=True)
        self._width = len(text)

    def clear(self) -> None:
        if self._width:
            with contextlib.suppress(OSError):
                print(f"\r{'':<{self._width}}\r", end="", file=sys.stderr, flush=True)


# --- tune ------------------------------------------------------------------------------------------------------------


def _tune(chosen: argparse.Namespace) -> int:
    from shopcalc.cutting.relaxing import relaxations
    from shopcalc.cutting.tuning import Costs, grain_angle, tune
    from shopcalc.testcut_command import learned_force
    from shopcalc.units import read, read_money

    shop = _shop(chosen)
    faults: list[Fault] = []

    def given(flag: str, action: Callable[[], Any]) -> Any:
        try:
            return action()
        except InputError as e:
            faults.extend(f if f.file else replace(f, field=flag) for f in e.faults)
            return None

    def optional(flag: str, quantity: str, otherwise: Any = None, **bounds: float) -> Any:
        text = getattr(chosen, flag[2:].replace("-", "_"))
        return otherwise if text is None else given(flag, lambda: read(text, quantity, **bounds))

    def money(flag: str) -> float | None:
        text = getattr(chosen, flag[2:])
        found = None if text is None else given(flag, lambda: read_money(text, shop.rates.currency))
        return None if found is None else float(found)

    system: System = chosen.system or "inch"
    cutter = given("--cutter", lambda: shop.cutter(chosen.cutter))
    material = given("--material", lambda: shop.material(chosen.material))
    machine = given("--machine", lambda: shop.machine(chosen.machine))
    given("--grain", lambda: grain_angle(chosen.grain))
    asked = {
        "station": chosen.station,
        "grain": chosen.grain,
        "cut_depth": given("--cut-depth", lambda: read(chosen.cut_depth, "length", above=0.0)),
        "cut_width": given("--cut-width", lambda: read(chosen.cut_width, "length", above=0.0)),
        "clearance": optional("--clearance", "length", 0.0),
        "skim": optional("--skim", "length", 0.0, minimum=0.0),
        "length": optional("--length", "length", 1000.0, above=0.0),
        "greatest_push_off": optional("--push-off", "length", above=0.0),
        "wear": optional("--wear", "ratio", 0.0, minimum=0.0, maximum=1.0),
        "moisture": optional("--moisture", "ratio", minimum=0.0),
        "in_solid": chosen.in_solid,
        "direction": chosen.direction,
        "goal": chosen.goal,
    }
    out = optional("--stick-out", "length", above=0.0)
    value, regrind = money("--value"), money("--regrind")
    now, hours = optional("--now", "time", above=0.0), optional("--job-hours", "time", above=0.0)
    if hours is not None and now is None:
        faults.append(Fault("--job-hours says nothing alone", "give what this cut takes today with --now"))
    if faults:
        raise InputError(faults)
    if out is not None:
        cutter = replace(cutter, stick_out=out)
    costs = Costs.of(shop.rates, value=value, regrind=regrind or 0.0)
    wood = {k: asked[k] for k in ("moisture", "wear")}
    asked["force"] = learned_force(shop, cutter, material, machine, chosen.station, **wood)
    own = {"cutter": cutter.id, "machine": machine.name, "station": chosen.station, "material": material.id}
    names = ("greatest_feed_per_tooth", "greatest_depth", "push_off_climb", "push_off_conventional")
    known = {name: found for name in names if (found := shop.learned.value(name, **own)) is not None}
    asked["learned"] = known
    setting = tune(cutter, material, machine, costs=costs, **asked)
    changes = []
    if chosen.relax:
        if asked["force"] is not None:
            asked["wear"] = 0.0  # it is in the force already: a sharp edge cannot be told apart there
        changes = relaxations(cutter, material, machine, rack=shop.cutters, costs=costs, system=system, **asked)
    if chosen.json:
        data = setting.as_json()
        data["minutes_saved"] = None if now is None else now / 60 - setting.minutes["likely"]
        if chosen.relax:
            data["relaxations"] = [
                {
                    "change": r.change,
                    "saved_minutes": r.saved_minutes,
                    "saved_cost": r.saved_cost,
                    "binds": r.setting.binds,
                }
                for r in changes
            ]
        _print_json(_finite(data))
        return 0
    from shopcalc.cutting.report import left_words, tuned_text

    print(tuned_text(cutter, material, setting, asked, costs, system), end="")
    for name, way in (("push_off_climb", "climbing"), ("push_off_conventional", "conventionally")):
        if name in known:
            left = left_words(known[name].value, system)
            print(f"{known[name].source}: a test cut {way} had {left} each wall; it counts before the figure above.")
    for line in _paying(setting, changes, now, hours, costs.currency):
        print(line)
    return 0


def _paying(
    setting: Setting, found: list[Relaxation], now: float | None, hours: float | None, currency: str
) -> Iterator[str]:
    """What the setting saves against today's time, and what each change would pay."""
    from shopcalc.cutting.relaxing import in_the_whole
    from shopcalc.units import write_time

    if now is not None:
        saved = now / 60 - setting.minutes["likely"]
        yield ""
        if hours is not None:
            yield f"Against today's {write_time(now)} each such cut {in_the_whole(saved, hours / 3600)}."
        else:
            words = f"saves {write_time(60 * saved)}" if saved > 0 else "saves nothing"
            yield f"Against today's {write_time(now)} it {words}."
    if found:
        width = max(len(r.change) for r in found)
        yield ""
        yield "One thing changed at a time"
        for r in found:
            cost = 0.0 if r.saved_cost is None else r.saved_cost
            if abs(r.saved_minutes) < 1 / 600 and abs(cost) < 0.005:
                yield f"  {r.change:<{width}}  changes nothing"
                continue
            time = f"{'saves' if r.saved_minutes >= 0 else 'costs'} {write_time(60 * abs(r.saved_minutes))}"
            money = "" if r.saved_cost is None else f", {'saves' if cost >= 0 else 'costs'} {abs(cost):.2f} {currency}"
            yield f"  {r.change:<{width}}  {time}{money}; then held back by: {r.setting.binds}"


def _finite(value: Any) -> Any:
    """The same with null where a number is not finite: JSON knows no infinity."""
    if isinstance(value, dict):
        return {k: _finite(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [_finite(v) for v in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value


# --- relief ----------------------------------------------------------------------------------------------------------


def _relief(chosen: argparse.Namespace) -> int:
    from shopcalc.relief_command import run

    return run(chosen, _write_all, lambda document: _print_json(_finite(document)))


# --- letters ---------------------------------------------------------------------------------------------------------


def _letters(chosen: argparse.Namespace) -> int:
    from shopcalc.lettering_command import run

    return run(chosen, _write_all, lambda document: _print_json(_finite(document)))


# --- calibrate -------------------------------------------------------------------------------------------------------


def _calibrate(chosen: argparse.Namespace) -> int:
    from shopcalc.calibrate_command import run

    return run(chosen, _print_json)


# --- sheets ----------------------------------------------------------------------------------------------------------


def _sheets(chosen: argparse.Namespace) -> int:
    from shopcalc.sheets_command import run

    return run(chosen, _write_all, _print_json)


# --- hold ------------------------------------------------------------------------------------------------------------


def _hold(chosen: argparse.Namespace) -> int:
    from shopcalc.hold_command import run

    return run(chosen, _write_all, lambda document: _print_json(_finite(document)))


# --- log -------------------------------------------------------------------------------------------------------------


def _log(chosen: argparse.Namespace) -> int:
    from shopcalc.log_command import run

    return run(chosen, _write_all, lambda document: _print_json(_finite(document)))


# --- testcut ---------------------------------------------------------------------------------------------------------


def _testcut(chosen: argparse.Namespace) -> int:
    from shopcalc.testcut_command import run

    return run(chosen, _write_all, lambda document: _print_json(_finite(document)))


# --- new, lab --------------------------------------------------------------------------------------------------------


def _new(chosen: argparse.Namespace) -> int:
    from shopcalc.shop import copy_starter

    folder = copy_starter(chosen.folder)
    print(f"{folder}: a copy of the demo shop. Its figures are invented: replace them by your own, file by file.")
    print(f"then: shopcalc quote {folder / 'jobs' / 'reed-bed-chest.toml'} --shop {folder}")
    return 0


def _lab(chosen: argparse.Namespace) -> int:
    import importlib.util
    import subprocess

    if importlib.util.find_spec("jupyterlab") is None:
        raise InputError(Fault("JupyterLab is not installed", "python -m pip install jupyterlab"))
    folder = _notebooks(chosen.folder)
    with tempfile.TemporaryDirectory(prefix="shopcalc-lab-") as settings:
        return subprocess.run(
            lab_command(folder, Path(settings), browser=not chosen.no_browser), check=False
        ).returncode


def lab_command(folder: Path, settings: Path, *, browser: bool = True) -> list[str]:
    """The command that opens the notebooks: this machine only, no news, no look for updates.

    Parameters
    ----------
    folder : Path
        With the notebooks.
    settings : Path
        An empty folder for the settings of this run.
    browser : bool
        Whether a browser is opened.
    """
    quiet = {"@jupyterlab/apputils-extension:notification": {"fetchNews": "false", "checkForUpdates": False}}
    (settings / "overrides.json").write_text(json.dumps(quiet), encoding="utf-8")
    command = [
        sys.executable, "-m", "jupyterlab", "--ServerApp.ip=127.0.0.1", f"--ServerApp.root_dir={folder}",
        f"--LabApp.app_settings_dir={settings}", "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate",
        "--LabApp.extension_manager=readonly",  # its list of extensions would be asked for on the network
    ]  # fmt: skip
    return command if browser else [*command, "--no-browser"]


def _notebooks(wanted: str | None) -> Path:
    """The checkout's notebooks; an installed package's are copied, because its own folder is not for writing."""
    import shutil

    package = Path(__file__).resolve().parent
    beside, inside = package.parent / "notebooks", package / "demo_notebooks"
    if wanted is None and beside.is_dir():
        return beside
    source = beside if beside.is_dir() else inside
    folder = Path(wanted or "shopcalc-notebooks").resolve()
    if folder.is_dir() and any(folder.glob("*.ipynb")):
        return folder
    if folder.exists() and not folder.is_dir():
        raise InputError(Fault("this is a file, not a folder", "name another one", file=str(folder)))
    if not source.is_dir():
        raise InputError(Fault("the notebooks did not come with this installation", "install the package again"))
    shutil.copytree(source, folder, dirs_exist_ok=True, ignore=shutil.ignore_patterns(".*"))
    return folder
