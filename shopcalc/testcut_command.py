"""The command ``testcut``: test cuts in scrap, what their readings say, and what the shop has learned of them.

A test's record lies beside its program, so that a reading always belongs to the test that was cut, whatever the shop
has learned since. Only the parser is made at start; everything else is imported when an action needs it.
"""

from __future__ import annotations

import argparse
import datetime
import hashlib
import json
import math
import re
import shlex
import textwrap
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from shopcalc.errors import Fault, InputError, raise_all

if TYPE_CHECKING:
    from shopcalc.cutters import Cutter
    from shopcalc.cutting.cut import Cut
    from shopcalc.cutting.force import Band, Coefficients
    from shopcalc.cutting.grain import Direction
    from shopcalc.cutting.measured import Measured
    from shopcalc.cutting.testcuts import FitTest, Ladder
    from shopcalc.cutting.testcuts.ground import TestStation
    from shopcalc.cutting.tuning import Setting
    from shopcalc.learned import Learned, LearnedRow
    from shopcalc.machines import Machine
    from shopcalc.materials import Material
    from shopcalc.paths import Cutting
    from shopcalc.reading import Row
    from shopcalc.shop import Shop
    from shopcalc.units import System

Write = Callable[[Path, dict[str, str]], None]
Show = Callable[[Any], None]

_MARK = "shopcalc testcut"
_NAMES = {"fit": "three-cut-fit", "ladder": "ladder"}
_SIDE_SHARE = 0.25  # of the diameter; a usual side cut of a joint (common practice, no source)
_GENTLE = (0.4, 0.7)  # share of the hardest feed per tooth a ladder begins at (reasoning: thinner chips burn)
_OPTIONS = ("cutter", "material", "machine", "station", "scrap", "depth", "width", "rpm", "feed", "steps")


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

    def add(to: Any, name: str, text: str) -> argparse.ArgumentParser:
        made: argparse.ArgumentParser = to.add_parser(
            name, help=text, description=text, parents=[common], allow_abbrev=False
        )
        return made

    actions = parser.add_subparsers(dest="action", metavar="ACTION", required=True, parser_class=make)
    fit = add(actions, "fit", "write a test of true diameter and push-off: one slot, two tongues")
    _test_flags(fit, out=True)
    ladder = add(actions, "ladder", "write settings from gentle to hard, each in its lane, with a stop after each")
    _test_flags(ladder, out=True)
    _steps_flag(ladder)
    read = add(actions, "read", "turn readings into what the shop learns")
    kinds = read.add_subparsers(dest="reading", metavar="fit|ladder|power|push-off", required=True, parser_class=make)
    read_fit = add(kinds, "fit", "true diameter, push-off and the next correction from three sizes")
    _test_flags(read_fit, out=False)
    for flag, text in (
        ("--slot", "width of the slot"),
        ("--climb", "thickness of the tongue cut by climbing"),
        ("--conventional", "thickness of the other tongue"),
    ):
        read_fit.add_argument(flag, metavar="READING", required=True, help=text)
    read_ladder = add(kinds, "ladder", "how hard a cutter may run, from what was seen at each rung")
    _test_flags(read_ladder, out=False)
    _steps_flag(read_ladder)
    read_ladder.add_argument("--results", metavar="ok,ok,torn", required=True, help="of every rung that was cut")
    power = add(kinds, "power", "the wood's force from spindle power")
    push_off = add(kinds, "push-off", "the force at a wall from what it was pushed off")
    for p, columns in (
        (power, "rpm, feed, width, depth, direction, spindle_power, idle_power"),
        (push_off, "rpm, feed, width, depth, direction, push_off and, if known, height above the floor"),
    ):
        _place_flags(p, ("flat", "edge", "end"))
        p.add_argument("--csv", metavar="FILE", required=True, help=f"with units; columns {columns}")
        p.add_argument("--grain", metavar="along|across|end|DEG", help="feed against the grain; default along, or end")
        p.add_argument("--moisture", metavar="M", help='of the wood, e.g. "8 %%"')
        p.add_argument("--wear", metavar="SHARE", help='of the edge, "0 %%" sharp to "100 %%" dull')
    for p in (read_fit, read_ladder, power, push_off):
        p.add_argument("--date", metavar="YYYY-MM-DD", help="of the readings; default today")
        p.add_argument("--keep", action="store_true", help="add it to the shop's learned.csv; needs --shop")
    correct = add(actions, "correct", "what a size that is off asks for, in words")
    correct.add_argument("--measured", metavar="SIZE", required=True, help='e.g. "0.630 in"')
    correct.add_argument("--wanted", metavar="SIZE", required=True, help='e.g. "0.615 in"')
    correct.add_argument("--what", metavar="NAME", default="tenon thickness", help="default: tenon thickness")
    correct.add_argument("--sides", metavar="1|2", help="sides it is taken off; default both of what has two")
    correct.add_argument("--tolerance", metavar="T", help="left as it is; default 0.05 mm")
    add(actions, "learned", "list what the shop has learned")
    add(actions, "forget", "take the last test back; needs --shop")


def _place_flags(parser: argparse.ArgumentParser, stations: Sequence[str]) -> None:
    for flag, meta, text in (
        ("--cutter", "ID", "from the shop's rack"),
        ("--material", "ID", "e.g. white-oak"),
        ("--machine", "NAME|FILE.toml", "of the shop"),
    ):
        parser.add_argument(flag, metavar=meta, required=True, help=text)
    parser.add_argument("--station", choices=stations, required=True, help="how the wood is held")


def _test_flags(parser: argparse.ArgumentParser, *, out: bool) -> None:
    _place_flags(parser, ("flat", "end"))
    parser.add_argument("--scrap", metavar='"L x W x T"', required=True, help='e.g. "300 mm x 120 mm x 40 mm"')
    parser.add_argument("--depth", metavar="D", required=True, help="of the cuts")
    parser.add_argument(
        "--width", metavar="W", help="of a side cut; default: fit a quarter of the cutter, ladder slots"
    )
    parser.add_argument("--rpm", metavar="N", help='instead of the tuned speed, e.g. "16000 rpm"')
    parser.add_argument("--feed", metavar="F", help="instead of the tuned feed; of a ladder the hardest one")
    text = "folder for program, sheet and record" if out else "where the test was written: its record then counts"
    parser.add_argument("--out", metavar="DIR", required=out, help=text)


def _steps_flag(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--steps", metavar="N", default="5", help="rungs; default 5")


# --- running ---------------------------------------------------------------------------------------------------------


def run(chosen: argparse.Namespace, write: Write, show: Show) -> int:
    """Do what an action asks for.

    Parameters
    ----------
    chosen : Namespace
        From the parser.
    write : callable
        Of a folder and texts by name: writes all of them or none.
    show : callable
        Of a JSON document: prints it.

    Returns
    -------
    int
        0.

    Raises
    ------
    InputError
        With everything that is wrong.
    """
    action = chosen.action if chosen.action != "read" else f"read {chosen.reading}"
    if action in ("fit", "ladder"):
        lines = _write_test(chosen, write)
    else:
        actions = {
            "read fit": _read_fit, "read ladder": _read_ladder, "read power": _read_power,
            "read push-off": _read_push_off, "correct": _correct, "learned": _learned, "forget": _forget,
        }  # fmt: skip
        lines = actions[action](chosen)
    if chosen.json:
        show(lines.data)
    else:
        print("\n".join(lines.text))
    return 0


@dataclass(frozen=True)
class _Answer:
    """The same as lines for people and as a document."""

    text: list[str]
    data: Any


class _Flags:
    """Reads the values of flags and collects what is wrong with them."""

    def __init__(self, chosen: argparse.Namespace) -> None:
        self.chosen = chosen
        self.faults: list[Fault] = []

    def given(self, flag: str, action: Callable[[], Any]) -> Any:
        """What ``action`` gives, or None with its faults kept under the flag's name."""
        try:
            return action()
        except InputError as e:
            self.faults += [f if f.file else replace(f, field=flag) for f in e.faults]
            return None

    def read(self, flag: str, quantity: str, otherwise: Any = None, **bounds: float) -> Any:
        """The flag's value in the house unit."""
        from shopcalc.units import read

        text = getattr(self.chosen, flag[2:].replace("-", "_"))
        return otherwise if text is None else self.given(flag, lambda: read(text, quantity, **bounds))

    def count(self, flag: str, least: int, most: int) -> Any:
        """The flag's value as a whole number."""

        def whole() -> int:
            text = getattr(self.chosen, flag[2:]).strip()
            if not text.isdecimal() or not least <= int(text) <= most:
                raise InputError(Fault(f"'{text}' is not a number that fits", f"give one from {least} to {most}"))
            return int(text)

        return self.given(flag, whole)


def _system(chosen: argparse.Namespace) -> System:
    system: System = chosen.system or "inch"
    return system


# --- what a test is made for -----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Asked:
    """Everything a test is made from."""

    shop: Shop
    cutter: Cutter
    material: Material
    machine: Machine
    station: TestStation
    scrap: tuple[float, float, float]
    depth: float
    width: float | None
    rpm: float | None
    feed: float | None
    steps: int | None

    @property
    def along(self) -> float:
        """Length of each cut [mm]."""
        return self.scrap[0] if self.station == "flat" else self.scrap[2]

    @property
    def options(self) -> dict[str, Any]:
        """As the record keeps them."""
        names = {"cutter": self.cutter.id, "material": self.material.id, "machine": self.machine.name}
        return {k: names.get(k, getattr(self, k)) for k in _OPTIONS} | {"scrap": list(self.scrap)}

    def cut(self, depth: float, width: float, *, in_solid: bool) -> Cut:
        """One cut of the test, as tuning looks at it."""
        from shopcalc.cutting.tuning import ask

        force = learned_force(self.shop, self.cutter, self.material, self.machine, self.station)
        grain = "along" if self.station == "flat" else "end"
        return ask(
            self.cutter, self.material, self.machine, station=self.station, grain=grain, cut_depth=depth,
            cut_width=width, length=self.along, in_solid=in_solid, force=force,
        )  # fmt: skip


def _asked(chosen: argparse.Namespace, flags: _Flags, shop: Shop) -> _Asked:
    # a test runs at the programmed feed, as its sheet says
    machine = flags.given("--machine", lambda: replace(shop.machine(chosen.machine), feed_share=1.0))
    asked = _Asked(
        shop,
        flags.given("--cutter", lambda: shop.cutter(chosen.cutter)),
        flags.given("--material", lambda: shop.material(chosen.material)),
        machine,
        chosen.station,
        flags.given("--scrap", lambda: _scrap(chosen.scrap)),
        flags.read("--depth", "length", above=0.0),
        flags.read("--width", "length", above=0.0),
        flags.read("--rpm", "spindle_speed", above=0.0),
        flags.read("--feed", "feed", above=0.0),
        flags.count("--steps", 2, 50) if hasattr(chosen, "steps") else None,
    )
    raise_all(flags.faults)
    return asked


def _scrap(text: str) -> tuple[float, ...]:
    from shopcalc.units import read

    sizes = re.split(r"\s*[xX×]\s*", text.strip())
    if len(sizes) != 3:
        remedy = 'give length x width x thickness, each with its unit, e.g. "12 in x 5 in x 1 1/2 in"'
        raise InputError(Fault(f"'{text}' has {len(sizes)} sizes, not three", remedy))
    return tuple(read(s, "length", above=0.0) for s in sizes)


def _tuned(
    asked: _Asked, width: float, *, in_solid: bool, quickest: bool = False, replaced: bool = True
) -> tuple[Setting, Callable[[float, float], Setting]]:
    """The setting of one cut, and what gives the same passes another speed and feed."""
    from shopcalc.cutting.limits import Pass
    from shopcalc.cutting.tuning import Costs, Search

    search = Search(
        asked.cut(asked.depth, width, in_solid=in_solid),
        costs=Costs.of(asked.shop.rates),
        goal="quickest" if quickest else "cheapest",
    )
    s = search.setting()
    shape = Pass(s.levels, s.side_steps, s.depth_per_pass_mm, s.width_per_pass_mm, s.direction)

    def at(rpm: float, feed: float) -> Setting:
        return search.at(shape, rpm, feed)

    if replaced and (asked.rpm is not None or asked.feed is not None):
        s = at(asked.rpm or s.rpm, asked.feed or s.feed_mm_min)
    return s, at


def _require_allowed(setting: Setting, what: str, system: System) -> None:
    """Refuse what passes a hard bound, by its name."""
    from shopcalc.cutting.report import amount

    faults = []
    for x in setting.forbidden:
        told = f"{amount(x.value, x.unit, system)}, at {'least' if x.least else 'most'}"
        faults.append(Fault(f"{what} {x.name} ({told} {amount(x.bound, x.unit, system)}; {x.source})", x.remedy))
    raise_all(faults)


def _require_pass_allowed(
    asked: _Asked, what: str, c: Cutting, width: float, direction: Direction, system: System, *, in_solid: bool
) -> None:
    from shopcalc.cutting.limits import Pass
    from shopcalc.cutting.tuning import Search

    level = min(c.depth_per_pass, asked.depth)
    cut = asked.cut(level, width, in_solid=in_solid)
    setting = Search(cut, direction=direction).at(Pass(1, 1, level, width, direction), c.rpm, c.feed)
    _require_allowed(setting, what, system)


def _new_fit(asked: _Asked, system: System) -> tuple[FitTest, Setting]:
    from shopcalc.cutting.tenons import as_cutting
    from shopcalc.cutting.testcuts import fit_test
    from shopcalc.cutting.testcuts.ground import face_of

    face_of(asked.station, asked.scrap, asked.depth)  # what is wrong with the scrap is said before anything is tuned
    d = asked.cutter.true_diameter
    setting, _ = _tuned(asked, _SIDE_SHARE * d if asked.width is None else asked.width, in_solid=False)
    _require_allowed(setting, "this side cut", system)
    cutting, side = as_cutting(asked.cutter, setting, asked.machine), setting.width_per_pass_mm
    test = fit_test(asked.cutter, cutting, asked.station, asked.scrap, asked.depth, side_width=side)
    other: Direction = "climb" if setting.direction == "conventional" else "conventional"
    _require_pass_allowed(asked, f"the same side cut, {other},", test.cutting, side, other, system, in_solid=False)
    _require_pass_allowed(asked, "the light slot", test.light, d, "climb", system, in_solid=True)
    return test, setting


def _new_ladder(asked: _Asked, system: System) -> tuple[Ladder, Setting]:
    from shopcalc.cutting.tenons import as_cutting
    from shopcalc.cutting.testcuts import hard_share, ladder
    from shopcalc.cutting.testcuts.ground import face_of

    face_of(asked.station, asked.scrap, asked.depth)
    assert asked.steps is not None
    d = asked.cutter.true_diameter
    slots = asked.width is None
    setting, at = _tuned(asked, d if slots else asked.width or d, in_solid=slots, quickest=True)
    share = setting.mean_chip_mm / setting.feed_per_tooth_mm
    thin = asked.material.chip_thin / (share * setting.feed_per_tooth_mm)
    gentle_feed = setting.feed_mm_min * min(max(thin, _GENTLE[0]), _GENTLE[1])
    gentle = at(setting.rpm, gentle_feed)
    _require_allowed(gentle, "already the gentlest rung", system)
    width = None if slots else setting.width_per_pass_mm
    opening = setting
    if not slots:
        opening, _ = _tuned(asked, d, in_solid=True, replaced=False)
        _require_allowed(opening, "the slot beside a side cut", system)
    cutting = replace(as_cutting(asked.cutter, opening, asked.machine), direction=setting.direction)
    force = learned_force(asked.shop, asked.cutter, asked.material, asked.machine, asked.station)
    made = ladder(
        asked.cutter, cutting, (setting.rpm, gentle_feed, setting.depth_per_pass_mm),
        (setting.rpm, setting.feed_mm_min, setting.depth_per_pass_mm), steps=asked.steps, station=asked.station,
        scrap=asked.scrap, width=width,
        hard_bound_share=hard_share(
            asked.cutter, asked.material, asked.machine, station=asked.station, width=width,
            direction=setting.direction, force=force,
        ),
    )  # fmt: skip
    return made, setting


# --- writing a test --------------------------------------------------------------------------------------------------


def _file_name(what: str, cutter: str) -> str:
    return f"{_NAMES[what]}-{re.sub(r'[^A-Za-z0-9.-]+', '-', cutter)}"


def _write_test(chosen: argparse.Namespace, write: Write) -> _Answer:
    from shopcalc.gcode import read_text
    from shopcalc.motion import machine_time
    from shopcalc.shop import Shop
    from shopcalc.units import write_time

    system = _system(chosen)
    asked = _asked(chosen, _Flags(chosen), Shop.open(chosen.shop))
    folder, name = Path(chosen.out), _file_name(chosen.action, asked.cutter.id)
    test: FitTest | Ladder
    test, setting = _new_fit(asked, system) if chosen.action == "fit" else _new_ladder(asked, system)
    unit = asked.machine.controller.dwell_unit
    program = test.program(dwell_unit="ms" if unit == "ms" else "s")
    texts = {f"{name}.nc": program, f"{name}-sheet.html": test.sheet_html(system)}
    record = _record(chosen.action, asked, test, texts)
    _refuse_foreign(folder, f"{name}.json", texts)
    write(folder, {**texts, f"{name}.json": json.dumps(record, indent=1) + "\n"})
    seconds = machine_time(read_text(program, f"{name}.nc", asked.machine).moves, asked.machine).total_s
    files = [str(folder / n) for n in (*texts, f"{name}.json")]
    data: dict[str, Any] = {"written": files, "time_s": seconds, "options": asked.options, "setting": setting.as_json()}
    if chosen.action == "fit":
        data |= {"assumed_diameter_mm": asked.cutter.true_diameter, "nominal_mm": record["nominal_mm"]}
        head = [f"{files[0]}: {_setting_words(setting, system)}; runs {write_time(seconds)}"]
        look = "Measure slot and both tongues half way down, at three places each, and take the means."
        ask = "--slot READING --climb READING --conventional READING"
    else:
        data |= {"rungs": record["rungs"], "left_out": record["left_out"]}
        head = [*_ladder_lines(test, system), f"{files[0]}: runs {write_time(seconds)}, without the stops"]  # type: ignore[arg-type]
        look = "At each stop wait for the spindle, look, write it down; the first bad rung ends the test."
        ask = "--results ok,ok,..."
    again = f"shopcalc testcut read {chosen.action} {_same_options(chosen)} {ask}"
    keep = "" if chosen.shop is None else " --keep"
    return _Answer(
        [
            *head,
            f"{files[1]}: print it (one page), and read its cautions first",
            "Clamp the scrap as drawn there, zero at its corner, run once in the air, then in the wood at 100 % feed.",
            look,
            f"Then: {again}{keep}",
        ],
        data,
    )


def _setting_words(s: Setting, system: System) -> str:
    from shopcalc.cutting.fit import write_fit
    from shopcalc.units import write

    return (
        f"side cuts {write_fit(s.width_per_pass_mm, system)} wide, levels {write_fit(s.depth_per_pass_mm, system)} "
        f"deep, {write(s.rpm, 'spindle_speed', system)}, {write(s.feed_mm_min, 'feed', system)}"
    )


def _ladder_lines(made: Ladder, system: System) -> Iterator[str]:
    from shopcalc.cutting.fit import write_fit

    yield "full-width slots" if made.slots else f"side cuts {write_fit(made.width, system)} wide, each beside a slot"
    yield from _aligned(made.table(system))
    if made.left_out:
        yield f"  {made.left_out} harder left out: beyond a hard bound, or one that is not known"


def _aligned(rows: Sequence[Sequence[str]]) -> Iterator[str]:
    wide = [max(len(r[k]) for r in rows) for k in range(len(rows[0]))]
    for row in rows:
        yield "  " + "  ".join(t.ljust(w) for t, w in zip(row, wide, strict=True)).rstrip()


def _same_options(chosen: argparse.Namespace) -> str:
    words = []
    for name in (*_OPTIONS, "out", "shop", "system"):
        value = getattr(chosen, name, None)
        if value is not None and not (name == "steps" and value == "5"):
            words += [f"--{name}", shlex.quote(value)]
    return " ".join(words)


def _record(what: str, asked: _Asked, test: FitTest | Ladder, texts: Mapping[str, str]) -> dict[str, Any]:
    """What a reading needs of the test; lengths in mm, feeds in mm/min."""
    from shopcalc.cutting.testcuts import FitTest

    cutting = {k: v for k, v in vars(test.cutting).items() if k != "cutter"}
    out: dict[str, Any] = {
        "written_by": _MARK,
        "what": what,
        "options": asked.options,
        "assumed_diameter": asked.cutter.true_diameter,
        "regrinds": asked.cutter.regrinds,
        "cutting": cutting,
    }
    if isinstance(test, FitTest):
        out |= {"side_width": test.side_width, "nominal_mm": test.wanted._asdict()}
    else:
        rungs = [{k: v for k, v in asdict(r).items() if k != "lane"} for r in test.rungs]
        out |= {"rungs": rungs, "left_out": test.left_out, "width": test.width}
    return out | {"files": {name: _hash(text.encode()) for name, text in texts.items()}}


def _hash(text: bytes) -> str:
    return hashlib.sha256(text).hexdigest()


def _refuse_foreign(folder: Path, record: str, names: Iterable[str]) -> None:
    """Refuse to overwrite what this command did not write, or what was changed since."""
    remedy = "move or rename it, or name another folder with --out"
    known: Mapping[str, Any] = {}
    faults = []
    if (folder / record).exists():
        try:
            known = _load(folder / record)["files"]
        except InputError:
            faults.append(
                Fault("this file is in the way: it is no record of a test", remedy, file=str(folder / record))
            )
    for name in names:
        path = folder / name
        if path.is_file() and known.get(name) != _hash(path.read_bytes()):
            words = "this file was not written by shopcalc testcut, or was changed since, and is not overwritten"
            faults.append(Fault(words, remedy, file=str(path)))
    raise_all(faults)


def _load(path: Path) -> dict[str, Any]:
    from shopcalc.reading import read_file

    text = read_file(path, "the record of a test")
    try:
        data = json.loads(text)
    except (ValueError, RecursionError):
        data = None
    parts = {"what": str, "options": dict, "files": dict, "cutting": dict, "regrinds": int, "assumed_diameter": float}
    if (
        not isinstance(data, dict)
        or data.get("written_by") != _MARK
        or not all(isinstance(data.get(k), (t, int) if t is float else t) for k, t in parts.items())
    ):
        raise InputError(Fault("this is no record of a test", "write the test again with its action", file=str(path)))
    return data


# --- reading a test --------------------------------------------------------------------------------------------------


def _recorded(chosen: argparse.Namespace, asked: _Asked, what: str, system: System) -> dict[str, Any]:
    """The record of the very test that was cut, once the options are found to be its own."""
    path = Path(chosen.out) / f"{_file_name(what, asked.cutter.id)}.json"
    if not path.exists():
        remedy = "name the folder the test was written to with --out, or leave --out away to make the test anew"
        raise InputError(Fault("there is no record of this test", remedy, file=str(path)))
    data = _load(path)
    faults = []
    for name, now in asked.options.items():
        then = data["options"].get(name)
        if not _same(now, then):
            message = f"the test was written with {_option(name, then, system)}, not {_option(name, now, system)}"
            faults.append(Fault(message, "give the options it was written with", file=str(path), field=f"--{name}"))
    if data["what"] != what:
        faults.append(Fault(f"this is the record of a {data['what']}", "name another folder", file=str(path)))
    if data["regrinds"] != asked.cutter.regrinds:
        message = f"{asked.cutter.id} was at regrind {data['regrinds']}, it is at {asked.cutter.regrinds} now"
        faults.append(Fault(message, "a regrind changes the edge: write and cut the test again", file=str(path)))
    raise_all(faults)
    return data


def _same(a: Any, b: Any) -> bool:
    if isinstance(a, (list, tuple)) and isinstance(b, (list, tuple)):
        return len(a) == len(b) and all(_same(x, y) for x, y in zip(a, b, strict=True))
    if isinstance(a, float) and isinstance(b, (int, float)):
        return math.isclose(a, b, rel_tol=1e-9)
    return bool(a == b)


def _option(name: str, value: Any, system: System) -> str:
    from shopcalc.units import write

    quantity = {"rpm": "spindle_speed", "feed": "feed", "depth": "length", "width": "length"}.get(name)
    if name == "scrap" and isinstance(value, list):
        return " x ".join(write(v, "length", system) for v in value)
    if value is None:
        return f"no --{name}"
    return write(value, quantity, system) if quantity and isinstance(value, (int, float)) else str(value)


def _as_it_was(asked: _Asked, data: Mapping[str, Any]) -> tuple[_Asked, Cutting]:
    """Cutter and cutting the program took, whatever the shop has learned since."""
    from shopcalc.paths import Cutting

    cutter = replace(asked.cutter, measured_diameter=float(data["assumed_diameter"]))
    return replace(asked, cutter=cutter), Cutting(cutter, **data["cutting"])


def _from_record(chosen: argparse.Namespace, action: Callable[[], Any]) -> Any:
    """What the record gives; one that was tampered with becomes a fault."""
    try:
        return action()
    except (TypeError, KeyError, ValueError, AttributeError) as e:
        if isinstance(e, InputError):
            raise
        fault = Fault(f"the record of this test is damaged ({e})", "write the test again", file=chosen.out)
        raise InputError(fault) from None


def _read_fit(chosen: argparse.Namespace) -> _Answer:
    from shopcalc.cutting.fit import correction, write_fit
    from shopcalc.cutting.testcuts import fit_test

    system, flags, shop, date = _begin_reading(chosen)
    slot, climb, conventional = (flags.read(f"--{n}", "length", above=0.0) for n in ("slot", "climb", "conventional"))
    asked = _asked(chosen, flags, shop)
    if chosen.out is None:
        test, _ = _new_fit(asked, system)
    else:
        data = _recorded(chosen, asked, "fit", system)

        def again() -> FitTest:
            was, cutting = _as_it_was(asked, data)
            return fit_test(
                was.cutter, cutting, was.station, was.scrap, was.depth, side_width=float(data["side_width"])
            )

        test = _from_record(chosen, again)
    try:
        reading = test.read(slot, climb, conventional, system=system)
    except InputError as e:
        names = {"slot": "--slot", "climb_tongue": "--climb", "conventional_tongue": "--conventional"}
        raise InputError([replace(f, field=names.get(f.field or "")) for f in e.faults]) from None
    taken = test.cutting.cutter.true_diameter
    words = {
        "climbing": correction(climb, test.wanted.climb_tongue, system=system).words,
        "conventional": correction(conventional, test.wanted.conventional_tongue, system=system).words,
    }
    rows = reading.rows(
        date, asked.cutter, machine=asked.machine.name, station=asked.station, material=asked.material.id
    )

    def wall(e: float) -> str:
        return f"{write_fit(abs(e), system)} {'left on each wall' if e >= 0 else 'dug into each wall'}"

    low, high = (write_fit(v, system) for v in reading.diameter_range)
    text = [
        f"true diameter           {write_fit(reading.true_diameter, system)}, between {low} and {high}; "
        f"the program took {write_fit(taken, system)}",
        f"push-off, climbing      {wall(reading.push_off_climb)}",
        f"push-off, conventional  {wall(reading.push_off_conventional)}",
        "Next correction, of a tongue programmed as these were:",
        *(f"  {way}: {w}" for way, w in words.items()),
        "Once the true diameter is kept it is programmed with, and only the push-off is left to correct.",
        *_unrecorded(chosen, f"check that the sheet says {write_fit(taken, system)}"),
    ]
    kept = _keep(chosen, shop, rows)
    data_out = {k: v for k, v in vars(reading).items() if k != "words"}
    return _Answer(
        [*text, *_kept_lines(chosen, kept)],
        {**data_out, "assumed_diameter": taken, "words": reading.words, "corrections": words, "kept": _documents(kept)},
    )


def _read_ladder(chosen: argparse.Namespace) -> _Answer:
    from shopcalc.cutting.testcuts import ladder

    system, flags, shop, date = _begin_reading(chosen)
    asked = _asked(chosen, flags, shop)
    if chosen.out is None:
        made, _ = _new_ladder(asked, system)
    else:
        data = _recorded(chosen, asked, "ladder", system)

        def again() -> Ladder:
            was, cutting = _as_it_was(asked, data)
            assert was.steps is not None
            setting, at = data["rungs"], [(r["rpm"], r["feed"], r["depth"]) for r in data["rungs"]]
            shares = {key: r["hard_share"] for key, r in zip(at, setting, strict=True)}
            made = ladder(
                was.cutter, cutting, at[0], at[-1], steps=len(at), station=was.station, scrap=was.scrap,
                width=float(data["width"]), hard_bound_share=lambda *key: min(shares.values()),
            )  # fmt: skip
            rungs = tuple(replace(r, **kept) for r, kept in zip(made.rungs, setting, strict=True))
            return replace(made, rungs=rungs, left_out=data["left_out"])

        made = _from_record(chosen, again)
    results = [w.strip() for w in chosen.results.split(",")]
    try:
        result = made.read(results, system)
    except InputError as e:
        raise InputError([replace(f, field="--results") for f in e.faults]) from None
    rows = result.rows(
        date, asked.cutter, machine=asked.machine.name, station=asked.station, material=asked.material.id
    )
    text = [*_ladder_lines(made, system), result.words, *_unrecorded(chosen, "compare these rungs with the sheet")]
    kept: tuple[LearnedRow, ...] = ()
    if rows:
        kept = _keep(chosen, shop, rows)
        text += _kept_lines(chosen, kept)
    elif chosen.keep:
        text.append("Nothing is kept: no rung was good.")
    data_out = {
        "last_good": None if result.last_good is None else asdict(result.last_good),
        "first_bad": None if result.first_bad is None else asdict(result.first_bad),
        "why": result.why,
        "words": result.words,
        "kept": _documents(kept),
    }
    return _Answer(text, data_out)


def _begin_reading(chosen: argparse.Namespace) -> tuple[System, _Flags, Shop, str]:
    """What every reading begins with: a shop that may keep it, and a date."""
    from shopcalc.shop import Shop

    flags = _Flags(chosen)
    if chosen.keep and chosen.shop is None:
        flags.faults.append(_not_the_demo("--keep"))
    date = flags.given("--date", lambda: _date(chosen.date))
    return _system(chosen), flags, Shop.open(chosen.shop), date


def _not_the_demo(field: str | None = None) -> Fault:
    remedy = "make your own with: shopcalc new my-shop; then say --shop my-shop"
    return Fault("the demo shop that comes with shopcalc learns nothing", remedy, field=field)


def _date(text: str | None) -> str:
    today = datetime.date.today()
    if text is None:
        return today.isoformat()
    try:
        given = datetime.date.fromisoformat(text)
    except ValueError:
        given = None
    if given is None or len(text) != 10:
        raise InputError(Fault(f"'{text}' is not a date", "write year-month-day, e.g. 2026-03-02"))
    if given > today:
        raise InputError(Fault(f"{text} is still to come", "give the day of the readings"))
    return text


def _unrecorded(chosen: argparse.Namespace, check: str) -> list[str]:
    if chosen.out is not None:
        return []
    return [f"Made anew from the shop's present figures: {check}, or name the test's folder with --out."]


# --- keeping ---------------------------------------------------------------------------------------------------------


def _table_of(shop: Shop | Path) -> Path:
    return (shop if isinstance(shop, Path) else shop.folder) / "learned.csv"


def _keep(chosen: argparse.Namespace, shop: Shop, rows: Sequence[LearnedRow]) -> tuple[LearnedRow, ...]:
    """Add rows to the shop's table where that was asked for."""
    from shopcalc.cutters import DIAMETER_RANGE
    from shopcalc.learned import append

    if not chosen.keep:
        return ()
    where = str(_table_of(shop))
    for row in rows:
        if any(replace(old, note="", value=0.0) == replace(row, note="", value=0.0) and math.isclose(
            old.value, row.value, rel_tol=1e-9
        ) for old in shop.learned.rows):  # fmt: skip
            words = f"{row.name} of {row.date} is kept already"
            raise InputError(Fault(words, "leave --keep away; shopcalc testcut forget takes the last test back", where))
        if row.name == "true_diameter":
            nominal = shop.cutter(row.cutter).diameter
            low, high = (f * nominal for f in DIAMETER_RANGE)
            if not low <= row.value <= high:
                words = f"a true diameter of {row.written} is too far from the {nominal:g} mm of {row.cutter}"
                raise InputError(Fault(words, "read the slot again, or check which cutter was in the spindle", where))
    append(where, rows)
    return tuple(rows)


def _kept_lines(chosen: argparse.Namespace, kept: Sequence[LearnedRow]) -> list[str]:
    if kept:
        count = f"{len(kept)} values" if len(kept) > 1 else "1 value"
        return [f"Kept: {count} in {_table_of(Path(chosen.shop))}; shopcalc testcut forget --shop ... takes them back."]
    return ["Nothing is kept yet: add --keep, with --shop." if chosen.shop is None else "Nothing is kept: add --keep."]


def _document(row: LearnedRow) -> dict[str, Any]:
    return vars(row).copy()


def _documents(rows: Iterable[LearnedRow]) -> list[dict[str, Any]]:
    return [_document(r) for r in rows]


# --- force -----------------------------------------------------------------------------------------------------------


def learned_force(
    shop: Shop,
    cutter: Cutter,
    material: Material,
    machine: Machine,
    station: str,
    *,
    moisture: float | None = None,
    wear: float = 0.0,
) -> dict[Band, Coefficients] | None:
    """Coefficients of a wood with what this shop's own readings say of this edge in it.

    Parameters
    ----------
    shop : Shop
        With what it learned.
    cutter : Cutter
        At its present regrind.
    material : Material
        What is cut.
    machine : Machine
        Where.
    station : {"flat", "edge", "end"}
        How the part is held.
    moisture : float or None
        As in ``force.coefficients`` [ratio].
    wear : float
        As there [-].

    Returns
    -------
    dict or None
        Band to Coefficients; None where nothing was learned that counts. Readings of power come before those of
        push-off, and the latter raise forces but never lower them: a small push-off may just as well speak for a
        stiffer machine, which holds no part and stalls no later.
    """
    from shopcalc.cutting.force import coefficients
    from shopcalc.cutting.measured import apply, known

    row = _force_row(shop.learned, cutter.id, cutter.regrinds, machine.name, station, material.id)
    if row is None:
        return None
    return apply(coefficients(material, rake=cutter.rake, moisture=moisture, wear=wear), known(row.known))


def _force_row(
    learned: Learned, cutter: str, regrinds: int | None, machine: str, station: str, material: str
) -> LearnedRow | None:
    for what in ("power", "push-off"):
        some = replace(learned, rows=tuple(r for r in learned.rows if r.what == what))
        place = {"machine": machine, "station": station, "material": material}
        row = some.latest("force_factor", cutter=cutter, regrinds=regrinds, **place)
        if row is not None and (what == "power" or row.value > 1):
            return row
    return None


def _read_power(chosen: argparse.Namespace) -> _Answer:
    from shopcalc.cutting.measured import PowerReading, fit_power
    from shopcalc.reading import Column

    columns = (Column("spindle_power", "power", required=True), Column("idle_power", "power", required=True))
    cut, date, rows, options, shop = _begin_force(chosen, columns)
    readings = [
        PowerReading(*_of_cut(r, cut), r["direction"], cut.grain, r["spindle_power"], r["idle_power"]) for r in rows
    ]
    found = _fitted(chosen, rows, lambda: fit_power(cut.cutter, cut.material, readings, date=date, **options))
    return _force_answer(chosen, shop, cut, found)


def _read_push_off(chosen: argparse.Namespace) -> _Answer:
    from shopcalc.cutting.measured import PushOffReading, fit_push_off
    from shopcalc.reading import Column

    columns = (Column("push_off", "length", required=True), Column("height", "length", minimum=0.0))
    cut, date, rows, options, shop = _begin_force(chosen, columns)
    readings = [
        PushOffReading(*_of_cut(r, cut)[1:], r["direction"], cut.grain, r["push_off"], r["height"]) for r in rows
    ]
    give = cut.give["likely"]
    found = _fitted(chosen, rows, lambda: fit_push_off(cut.cutter, cut.material, give, readings, date=date, **options))
    return _force_answer(chosen, shop, cut, found)


def _begin_force(
    chosen: argparse.Namespace, columns: Sequence[Any]
) -> tuple[Cut, str, list[Row], dict[str, Any], Shop]:
    from shopcalc.cutting.tuning import ask
    from shopcalc.reading import Column, TableReader

    _, flags, shop, date = _begin_reading(chosen)
    cutter = flags.given("--cutter", lambda: shop.cutter(chosen.cutter))
    material = flags.given("--material", lambda: shop.material(chosen.material))
    machine = flags.given("--machine", lambda: shop.machine(chosen.machine))
    options = {
        "moisture": flags.read("--moisture", "ratio", minimum=0.0),
        "wear": flags.read("--wear", "ratio", 0.0, minimum=0.0, maximum=1.0),
    }
    raise_all(flags.faults)
    grain = chosen.grain or ("end" if chosen.station == "end" else "along")
    cut = flags.given("--grain", lambda: ask(
        cutter, material, machine, station=chosen.station, grain=grain, cut_depth=1.0, cut_width=1.0
    ))  # fmt: skip
    raise_all(flags.faults)
    table = TableReader(
        chosen.csv,
        [
            Column("rpm", "spindle_speed", required=True, above=0.0),
            Column("feed", "feed", required=True, above=0.0),
            Column("width", "length", required=True, above=0.0),
            Column("depth", "length", required=True, above=0.0),
            Column("direction", required=True, choices=("climb", "conventional")),
            *columns,
        ],
    )
    table.finish()
    return cut, date, table.rows, options, shop


def _of_cut(row: Row, cut: Cut) -> tuple[float, float, float, float]:
    """Speed, feed per tooth, width and level of a row."""
    return row["rpm"], row["feed"] / (row["rpm"] * cut.cutter.flutes), row["width"], row["depth"]


def _fitted(chosen: argparse.Namespace, rows: Sequence[Row], action: Callable[[], Measured]) -> Measured:
    """The fit; faults of a reading get its row and column in the file."""
    columns = {"feed_per_tooth": "feed", "level": "depth"}
    try:
        return action()
    except InputError as e:
        faults = []
        for f in e.faults:
            place = re.fullmatch(r"readings\[(\d+)\](?:\.(\w+))?", f.field or "")
            row = rows[int(place[1]) - 1].number if place else None
            name = columns.get(place[2], place[2]) if place and place[2] else None
            faults.append(replace(f, file=chosen.csv, row=row, field=name))
        raise InputError(faults) from None


def _force_answer(chosen: argparse.Namespace, shop: Shop, cut: Cut, found: Measured) -> _Answer:
    place = {"machine": cut.machine.name, "station": cut.station, "material": cut.material.id}
    modes = ", ".join(found.modes)
    rows = found.rows(cut.cutter, **place, note=f"cut in {modes}, of the tables' likely force" if modes else "")
    kept: tuple[LearnedRow, ...] = ()
    text = [f"{cut.cutter.id} in {cut.material.title}, {found.n} reading{'s' if found.n != 1 else ''} of {found.what}"]
    if found.learned:
        text += [
            f"  chip terms   {found.chip_factor:.2f} times the tables' likely ones",
            f"  edge terms   {found.edge_factor:.2f} times",
            f"  all forces   {found.force_factor:.2f} times; this is what is kept and tuned with",
            f"  left over    {100 * found.residual:.0f} % of a reading",
        ]
    text += textwrap.wrap(found.words, 110, initial_indent="  ", subsequent_indent="  ")
    if found.learned:
        kept = _keep(chosen, shop, rows)
        if found.what == "push-off" and found.force_factor < 1:
            text.append("Tuning will not lower its forces by it: it may just as well speak for a stiffer machine.")
        text += _kept_lines(chosen, kept)
    elif chosen.keep:
        text.append("Nothing is kept.")
    data = {**vars(found), "band_factors": dict(found.band_factors), "modes": list(found.modes)}
    return _Answer(text, {**data, "kept": _documents(kept)})


# --- correct, learned, forget ----------------------------------------------------------------------------------------


def _correct(chosen: argparse.Namespace) -> _Answer:
    from shopcalc.cutting.fit import correction

    flags = _Flags(chosen)
    measured, wanted = (flags.read(f, "length", above=0.0) for f in ("--measured", "--wanted"))
    tolerance = flags.read("--tolerance", "length", 0.05, minimum=0.0)
    sides = None if chosen.sides is None else flags.count("--sides", 1, 2)
    raise_all(flags.faults)
    metric = all("mm" in t or "cm" in t for t in (chosen.measured, chosen.wanted))
    system: System = chosen.system or ("metric" if metric else "inch")
    found = correction(measured, wanted, chosen.what, sides, system, tolerance=tolerance)
    return _Answer([found.words], vars(found).copy())


def _learned(chosen: argparse.Namespace) -> _Answer:
    from shopcalc.shop import Shop

    shop, system = Shop.open(chosen.shop), _system(chosen)
    data = [{**_document(r), "counts": _standing(shop.learned, r)} for r in shop.learned.rows]
    if not data:
        return _Answer(["Nothing is learned yet: shopcalc testcut fit writes a first test."], data)
    head = ("date", "cutter", "name", "value", "where", "source", "counts")
    rows = [
        (
            r.date,
            f"{r.cutter}, regrind {r.regrinds}" if r.cutter else "every one",
            r.name.replace("_", " "),
            _value(r, system),
            ", ".join(t for t in (r.machine, r.station, r.material) if t) or "everywhere",
            f"{r.what}; {r.source}",
            _standing(shop.learned, r),
        )
        for r in shop.learned.rows
    ]
    return _Answer(list(_aligned([head, *rows])), data)


def _value(row: LearnedRow, system: System) -> str:
    from shopcalc.cutting.fit import write_fit
    from shopcalc.units import write

    if row.unit_quantity == "ratio":
        return f"{100 * row.value:.0f} %"
    return (
        write_fit(row.value, system) if row.unit_quantity == "length" else write(row.value, row.unit_quantity, system)
    )


def _standing(learned: Learned, row: LearnedRow) -> str:
    """Whether a row still counts, and if not why."""
    if row.cutter and row.cutter not in learned.regrinds:
        return f"no: {row.cutter} is not in cutters.csv"
    now = learned.regrinds.get(row.cutter)
    if row.cutter and row.regrinds != now:
        return f"no: {row.cutter} is at regrind {now} now"
    place = (row.machine, row.station, row.material)
    if row.name == "force_factor":
        newest = _force_row(learned, row.cutter, now, *place)
        if newest is None:
            return "no: below 1 it may be the machine's stiffness"
    else:
        # the diameter is the cutter's own, wherever it was measured
        asked = ("", "", "") if row.name == "true_diameter" else place
        newest = learned.latest(
            row.name, cutter=row.cutter, regrinds=now, machine=asked[0], station=asked[1], material=asked[2]
        )
    if newest is row:
        return "yes"
    return "no: a newer one counts" if newest is None or newest.what == row.what else f"no: {newest.what} comes first"


def _forget(chosen: argparse.Namespace) -> _Answer:
    from shopcalc.learned import forget_last

    if chosen.shop is None:
        raise InputError(_not_the_demo())
    folder = Path(chosen.shop)
    if not folder.is_dir():
        raise InputError(Fault("there is no such folder", "name your shop's folder with --shop", file=chosen.shop))
    gone = forget_last(_table_of(folder))
    system = _system(chosen)
    first = gone[0]
    place = ", ".join(t for t in (first.cutter, first.machine, first.station, first.material) if t)
    text = [f"Taken back, the {first.what} of {first.date} ({place}):"]
    text += [f"  {r.name.replace('_', ' ')} {_value(r, system)}" for r in gone]
    text.append(f"The rows are remarks now; the table as it was lies in {_table_of(folder)}.bak")
    return _Answer(text, _documents(gone))
