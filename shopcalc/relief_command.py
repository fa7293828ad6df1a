"""The command ``relief``: what a cutter reaches of an artwork and leaves, how long it takes, what to ask for it.

Only the parser is made at start; everything else is imported when the command runs.
"""

from __future__ import annotations

import argparse
import math
import sys
import textwrap
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from shopcalc.errors import Fault, InputError, did_you_mean

if TYPE_CHECKING:
    from shopcalc.cutters import Cutter
    from shopcalc.machines import Machine
    from shopcalc.materials import Material
    from shopcalc.quote.carving import CarvingPrice
    from shopcalc.relief.artwork import Artwork
    from shopcalc.relief.carving import CarvingResult, StepResult
    from shopcalc.relief.choices import Choice, Choices
    from shopcalc.relief.detail import SmallestDetail
    from shopcalc.relief.hindrances import Hindrance
    from shopcalc.relief.kinds import Before
    from shopcalc.relief.scheme import Scheme, Step
    from shopcalc.shop import Shop
    from shopcalc.units import System

Write = Callable[[Path, dict[str, str]], None]
Show = Callable[[Any], None]

_SOON, _TICK = 1.0, 1.0  # s after which progress is worth a line, and from one to the next
_PLAIN_SOON, _PLAIN_MOST = 5.0, 6  # s, and lines, where standard error is no terminal
_CREASED = 0.0005  # share of the area from which creases are told
_CLOSER = 1.3  # times: a step that steep walls make so much closer is explained
_DEEP = 1 / 3  # of the relief: a depth left that is said before a way is offered
_DROPPED_SHOWN = 5  # ways that were dropped
_WIDTH = 108
_HANDLING = (
    "Wood that moves under a carving spoils it and can be thrown: hold it by more than its own weight, keep clamps and "
    "screws below and outside everything the cutter passes, and let the first lines run with a hand at the stop."
)


# --- the parser -------------------------------------------------------------------------------------------------------


def add_flags(parser: argparse.ArgumentParser) -> None:
    """Give the command its flags.

    Parameters
    ----------
    parser : ArgumentParser
        Of the command; it has ``--shop``, ``--system`` and ``--json`` already.
    """
    parser.add_argument("artwork", metavar="IMAGE|MESH", nargs="?", help="PNG, TIFF, JPEG, STL or PLY; white is high")
    for flag, meta, text in (
        ("--length", "L", 'along x, e.g. "12 in"; it or the width follows from the other'),
        ("--width", "W", "along y"),
        ("--depth", "D", "from the highest to the lowest place; a mesh has its own"),
        ("--cutter", "ID", "that finishes, from the shop's rack"),
        ("--stepover", "S", "sideways step of the finishing lines"),
        ("--cusp", "C", "ridge between the lines instead, on all but 5 %% of the area; default 0.02 mm"),
        ("--rough-cutter", "ID|none", "default: one is suggested where the relief is too deep for one go"),
        ("--clean-cutter", "ID", "a smaller one for what the first leaves"),
        ("--feed", "F", "of finishing, instead of the usual one"),
        ("--angle", "DEG", "of the lines against x; default 0"),
        ("--material", "ID", "default: the first of the shop's price list"),
        ("--machine", "NAME|FILE.toml", "default: the first of the shop"),
        ("--before", "KIND", "no artwork yet: hours from reliefs of a kind (--before list names them)"),
        ("--smallest-detail", "S", "with --before: width of the narrowest grooves"),
        ("--out", "DIR", "also write program, picture, figures and this text there"),
    ):
        parser.add_argument(flag, metavar=meta, help=text)
    parser.add_argument("--invert", action="store_true", help="black is high")
    parser.add_argument("--smooth", action="store_true", help="take terraces of coarse grey steps out")
    parser.add_argument("--sunk", action="store_true", help="wood stands round the relief up to the stock's top")
    parser.add_argument("--choices", action="store_true", help="also the ways worth offering, quick to fine")


# --- running it -------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Asked:
    """What was asked for, read and checked."""

    shop: Shop
    system: System
    machine: Machine
    material: Material
    length: float | None
    width: float | None
    depth: float | None
    cutter: Cutter | None
    stepover: float | None
    cusp: float | None
    roughing: Any
    cleaning: Cutter | None
    feed: float | None
    direction: Any
    outside: Any


def run(chosen: argparse.Namespace, write: Write, show: Show) -> int:
    """Do what the command asks for.

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
    if chosen.before == "list":
        return _list_kinds(chosen, show)
    asked = _asked(chosen)
    line = _ProgressLine()
    try:
        if chosen.before is not None:
            text, data, files = _before(chosen, asked, line)
        else:
            text, data, files = _with_artwork(chosen, asked, line)
    finally:
        line.clear()
    if chosen.out is not None:
        import json

        files = {"carving.txt": "\n".join(text) + "\n", "carving.json": json.dumps(data, indent=2) + "\n", **files}
        write(Path(chosen.out), files)
    if chosen.json:
        show(data)
    else:
        print("\n".join(text))
        if chosen.out is not None:
            print(f"written to {chosen.out}: {', '.join(files)}")
            if "carving.nc" in files:
                print("the program is in millimetres and says so (G21)")
    return 0


def _list_kinds(chosen: argparse.Namespace, show: Show) -> int:
    from shopcalc.relief.kind_drawings import KINDS

    if chosen.json:
        show([{"kind": k.name, "description": k.description} for k in KINDS.values()])
    else:
        wide = max(map(len, KINDS))
        print("\n".join(f"{k.name:<{wide}}  {k.description}" for k in KINDS.values()))
    return 0


def _asked(chosen: argparse.Namespace) -> _Asked:
    from shopcalc.relief.kind_drawings import KINDS
    from shopcalc.shop import Shop
    from shopcalc.units import read

    shop = Shop.open(chosen.shop)
    faults: list[Fault] = []

    def given(flag: str, action: Callable[[], Any]) -> Any:
        try:
            return action()
        except InputError as e:
            faults.extend(f if f.file else replace(f, field=flag) for f in e.faults)
            return None

    def value(flag: str, quantity: str = "length", **bounds: float) -> Any:
        text = getattr(chosen, flag[2:].replace("-", "_"))
        return None if text is None else given(flag, lambda: read(text, quantity, **bounds))

    def cutter(flag: str) -> Any:
        key = getattr(chosen, flag[2:].replace("-", "_"))
        found = None if key is None else given(flag, lambda: shop.cutter(key))
        if found is not None and found.shape == "drill":
            fault(
                f"'{found.id}' is a drill, which carves nothing", "choose a ball, tapered ball, V or square end", flag
            )
        return found

    def fault(message: str, remedy: str, flag: str | None = None) -> None:
        faults.append(Fault(message, remedy, field=flag))

    machine = given("--machine", lambda: shop.machine(chosen.machine or next(iter(shop.machines))))
    material = given("--material", lambda: shop.material(chosen.material or next(iter(shop.rates.materials))))
    roughing: Any = "suggested"
    if chosen.rough_cutter is not None:
        roughing = "none" if chosen.rough_cutter == "none" else cutter("--rough-cutter")
    angle = value("--angle", "angle")
    degrees = 0.0 if angle is None else math.degrees(angle)
    direction: Any = {0.0: "x", 90.0: "y"}.get(round(degrees, 6), degrees)
    asked = _Asked(
        shop, chosen.system or "inch", machine, material, value("--length", above=0.0), value("--width", above=0.0),
        value("--depth", above=0.0), cutter("--cutter"), value("--stepover", above=0.0), value("--cusp", above=0.0),
        roughing, cutter("--clean-cutter"), value("--feed", "feed", above=0.0), direction,
        "stock" if chosen.sunk else "nothing",
    )  # fmt: skip
    value("--smallest-detail", above=0.0)
    if chosen.artwork is None and chosen.before is None:
        fault("no artwork is given", "name an image or a mesh, or say --before KIND")
    if chosen.artwork is not None and chosen.before is not None:
        fault("both an artwork and --before are given", "leave one of them out")
    if chosen.before is not None:
        if chosen.before not in KINDS:
            fault(f"there is no kind '{chosen.before}'", did_you_mean(chosen.before, KINDS), "--before")
        for flag in ("--length", "--width", "--depth", "--smallest-detail"):
            if getattr(chosen, flag[2:].replace("-", "_")) is None:
                fault("--before needs it", f'say e.g. {flag} "{_EXAMPLES[flag]}"', flag)
        for flag, is_given in (
            ("--choices", chosen.choices), ("--clean-cutter", chosen.clean_cutter), ("--feed", chosen.feed),
            ("--angle", chosen.angle), ("--invert", chosen.invert), ("--smooth", chosen.smooth),
            ("--sunk", chosen.sunk),
        ):  # fmt: skip
            if is_given:
                fault("it says nothing without an artwork", "leave it out", flag)
    else:
        if chosen.smallest_detail is not None:
            fault("it says nothing beside an artwork", "leave it out: it is measured", "--smallest-detail")
        if chosen.cutter is None and not chosen.choices:
            fault("no cutter is named", "say --cutter ID, or --choices to see what the rack can do", "--cutter")
    if chosen.stepover is not None and chosen.cusp is not None:
        fault("both a stepover and a cusp are given", "give one of them", "--cusp")
    if faults:
        raise InputError(faults)
    return asked


_EXAMPLES = {"--length": "12 in", "--width": "8 in", "--depth": "3/8 in", "--smallest-detail": "2 mm"}


# --- with an artwork --------------------------------------------------------------------------------------------------


def _with_artwork(
    chosen: argparse.Namespace, a: _Asked, line: _ProgressLine
) -> tuple[list[str], dict[str, Any], dict[str, str]]:
    from shopcalc.relief.artwork import read_artwork
    from shopcalc.relief.detail import smallest_detail
    from shopcalc.relief.hindrances import obstacles
    from shopcalc.relief.scheme import scheme_for
    from shopcalc.relief.words import beyond_travel, lengths_for

    line.begin("reading the artwork")
    art = read_artwork(
        chosen.artwork, length=a.length, width=a.width, depth=a.depth, invert=chosen.invert,
        smooth=True if chosen.smooth else None,
    )  # fmt: skip
    _require_relief(chosen.artwork, art)
    line.begin("its smallest detail")
    detail = smallest_detail(art.map)
    too_large = beyond_travel(a.machine, art.map.length, art.map.width, a.system)
    found = _found(chosen, a, art, line) if chosen.choices and not too_large else None
    head, data = list(_head(chosen, a, art, detail)), _about(chosen, a, art, detail)
    if too_large:
        return _beyond(a, too_large, head, data)
    result, title = None, None
    if a.cutter is not None:
        line.begin("cutters and lines")
        scheme = scheme_for(
            art.map, a.cutter, a.material, a.machine, a.shop.cutters.values(), stepover=a.stepover, cusp=a.cusp,
            roughing=a.roughing, cleaning=a.cleaning, direction=a.direction, outside=a.outside, feed=a.feed,
            learned=a.shop.learned,
        )  # fmt: skip
        hindered = obstacles(art.map, scheme)
        if hindered:
            return _cannot(a, art, hindered, head, data, found)
        result = _carved(a, art, scheme, line)
        title = f"{scheme.name}, as asked, in full" if found is not None else None
    else:
        assert found is not None
        shown = _middle(found)
        result = shown.result
        name = _offered(found)[id(shown)]
        title, data["shown"] = lengths_for(f"The {name} one in full: {shown.title}", a.system), name
    return _told(chosen, a, art, result, head, title, data, found)


def _found(chosen: argparse.Namespace, a: _Asked, art: Artwork, line: _ProgressLine) -> Choices:
    from shopcalc.quote.carving import pricing
    from shopcalc.relief.choices import CUSPS, choices

    line.begin("trying cutters and cusps")
    return choices(
        art.map, list(a.shop.cutters.values()), a.machine, a.material, direction=a.direction, outside=a.outside,
        learned=a.shop.learned, sanding_per_area=a.shop.rates.minutes["sanding_per_area"],
        pricing=pricing(a.shop.rates), progress=line.show, cusps_wanted=CUSPS if a.cusp is None else (a.cusp,),
    )  # fmt: skip


def _carved(a: _Asked, art: Artwork, scheme: Scheme, line: _ProgressLine) -> CarvingResult:
    from shopcalc.relief.carving import carve

    line.begin(f"every line of {scheme.name}")
    return carve(
        art.map, scheme, a.machine, sanding_per_area=a.shop.rates.minutes["sanding_per_area"], progress=line.show
    )


def _middle(found: Choices) -> Choice:
    from shopcalc.relief.choices import three

    offered = three(found)
    return offered[len(offered) // 2]


def _told(
    chosen: argparse.Namespace, a: _Asked, art: Artwork, result: CarvingResult, head: list[str], title: str | None,
    data: dict[str, Any], found: Choices | None,
) -> tuple[list[str], dict[str, Any], dict[str, str]]:  # fmt: skip
    """Text, figures and files of a carving that can be cut."""
    from shopcalc.quote.carving import carving_price
    from shopcalc.relief.picture import carving_picture

    priced = carving_price(result.seconds, result.sanding_hours, a.shop.rates)
    text = [*head]
    if found is not None:
        text += ["", *_choice_lines(a, found)]
    if title is not None:
        text += ["", title]
    text += [*_text(a, result, priced), "", *_cautions(a, result)]
    about = {**result.as_json(), **data, "scheme": result.scheme.name, "can_be_cut": True, "cannot": []}
    about |= {"price": {**priced.as_json(), **_not_in_it(a)}, **_choices_document(a, found)}
    files: dict[str, str] = {}
    if chosen.out is not None:
        files = {"carving.nc": _program(a, art, result), "carving.svg": carving_picture(art.map, result, a.system)}
    return text, about, files


def _not_in_it(a: _Asked) -> dict[str, Any]:
    rates = a.shop.rates
    hours = rates.minutes["carving_design_per_job"] / 3600
    return {
        "covers": ["machine time", "attended share", "sanding"],
        "left_out": ["drawing the artwork", "programming", "set-up"],
        "drawing_hours_a_job_adds": hours,
    }


def _program(a: _Asked, art: Artwork, result: CarvingResult) -> str:
    from shopcalc.gcode.writer import write_program

    cutters = ", ".join(f"{s.step.role} {s.step.cutter.id}" for s in result.steps if s.moves is not None)
    return write_program(
        result.moves, title=f"carving {art.map.name}: {cutters}",
        notes=[
            f"{a.material.title}; lower left corner at X0 Y0, the stock's top at Z0",
            f"{art.map.length:.1f} x {art.map.width:.1f} mm, {art.map.depth:.2f} mm deep",
        ],
        dwell_unit=a.machine.controller.dwell_unit,
    )  # fmt: skip


_NOTHING = ("minutes", "path_length_mm", "lines", "stepover_mm", "cusp_mm", "detail_left", "price")


def _beyond(
    a: _Asked, reasons: Sequence[str], head: list[str], data: dict[str, Any]
) -> tuple[list[str], dict[str, Any], dict[str, str]]:
    """Text and figures of a carving that is larger than the machine: no minutes and no price."""
    text = [head[0]]
    for words in reasons:
        text += textwrap.wrap(words, _WIDTH, initial_indent="  ", subsequent_indent="    ")
    text += [
        "  no hours, no price and no program for it: carve it in pieces, or say a smaller --length or --machine NAME",
        *head[1:], "", *_cautions(a, None),
    ]  # fmt: skip
    about = {
        **dict.fromkeys(_NOTHING), **data, "cutter": None if a.cutter is None else a.cutter.id, "can_be_cut": False,
        "time_valid": False, "cannot": list(reasons), **_choices_document(a, None),
    }  # fmt: skip
    return text, about, {}


def _cannot(
    a: _Asked, art: Artwork, hindered: Sequence[Hindrance], head: list[str], data: dict[str, Any],
    found: Choices | None,
) -> tuple[list[str], dict[str, Any], dict[str, str]]:  # fmt: skip
    """Text and figures of a carving its cutters cannot do: no minutes, no price, but which of the rack can."""
    from shopcalc.relief.scheme import able
    from shopcalc.relief.words import lengths_for

    first = hindered[0].cutter
    could = [c.id for c in able(art.map, a.shop.cutters.values(), like=first)]
    if hindered[0].role == "rough":
        could = [k for k in could if a.shop.cutter(k).shape in ("square end", "ball")]
    others = f"of the rack can: {', '.join(could)}" if could else "no cutter of the rack can"
    if any(h.role == "rough" for h in hindered):
        others += "; for roughing say --rough-cutter none, or another"
    lines = [lengths_for(str(h), a.system) for h in hindered]
    text = [head[0]]
    for words in (*lines, f"no hours, no price and no program for it; {others}"):
        text += textwrap.wrap(words, _WIDTH, initial_indent="  ", subsequent_indent="    ")
    text += head[1:]
    if found is not None:
        text += ["", *_choice_lines(a, found)]
    text += ["", *_cautions(a, None)]
    about = {
        **dict.fromkeys(_NOTHING), **data, "cutter": None if a.cutter is None else a.cutter.id, "can_be_cut": False,
        "cannot": [
            {
                "cutter": h.cutter.id, "role": h.role, "part": h.obstacle.part, "reaches_mm": h.obstacle.reaches,
                "of_mm": h.obstacle.of, "area_share": h.obstacle.share, "message": str(h),
            }
            for h in hindered
        ],
        "could": could, **_choices_document(a, found),
    }  # fmt: skip
    return text, about, {}


def _require_relief(path: str, art: Artwork) -> None:
    if art.map.depth <= 0:
        raise InputError(Fault("nothing is carved: the artwork is flat", "check the artwork", file=str(path)))


def _about(chosen: argparse.Namespace, a: _Asked, art: Artwork, detail: SmallestDetail) -> dict[str, Any]:
    """Figures of the artwork."""
    return {
        "smallest_detail_mm": detail.width,
        "smallest_detail_limit": detail.valley_limit,
        "sharpest_told_mm": detail.finest_told,
        "creased_share": detail.creased_share,
        "length_mm": art.map.length,
        "width_mm": art.map.width,
        "depth_mm": art.map.depth,
        "pixel_mm": art.map.pixel,
        "artwork": str(chosen.artwork),
        "artwork_kind": art.kind,
        "artwork_notes": list(art.notes),
        "machine": a.machine.name,
        "material": a.material.id,
    }


def _choices_document(a: _Asked, found: Choices | None) -> dict[str, Any]:
    if found is None:
        return {"schemes": []}
    return {
        "schemes": [_choice_document(a, c, found) for c in found.kept],
        "dropped": [d.as_json() for d in found.dropped],
        "cutters_left_out": list(found.left_out),
    }


def _choice_document(a: _Asked, c: Choice, found: Choices) -> dict[str, Any]:
    from shopcalc.quote.carving import carving_price

    r, f = c.result, c.faster
    return {
        "scheme": r.scheme.name,
        "offered": _offered(found).get(id(c)),
        "minutes": r.minutes,
        "stepover_mm": r.scheme.finishing.stepover,
        "cusp_wanted_mm": c.wanted_cusp,
        "cusp_mm": r.cusps.greatest,
        "cusp_mean_mm": r.cusps.mean,
        "detail_left": r.left.as_json(),
        "wood_left_mm": r.wood_left,
        "sanding_hours": r.sanding_hours,
        "cutters": [s.cutter.id for s in r.scheme.steps],
        "feeds_mm_min": [s.feed for s in r.scheme.steps],
        "price": carving_price(r.seconds, r.sanding_hours, a.shop.rates).as_json(),
        "at_greatest_feeds": None
        if f is None
        else {
            "minutes": f.seconds / 60,
            "asked": f.price,
            "feeds": [{"cutter": k, "feed_mm_min": v, "binds": why} for k, v, why in f.feeds],
        },
        "first_round_minutes": c.first_minutes,
    }


def _offered(found: Choices) -> dict[int, str]:
    from shopcalc.relief.choices import three

    names = {1: ("the one way",), 2: ("quick", "fine"), 3: ("quick", "middle", "fine")}
    picked = three(found)
    return {id(c): name for c, name in zip(picked, names[len(picked)], strict=True)}


# --- words ------------------------------------------------------------------------------------------------------------


def _size(value: float, system: System) -> str:
    from shopcalc.units import write

    return write(value, "length", system)


def _fine(value: float, system: System) -> str:
    """A small height: thousandths of an inch, or hundredths of a millimetre where there are any."""
    shown, unit, digits = (value / 25.4, "in", 4) if system == "inch" else (value, "mm", 3)
    if 0 < shown < 0.5 * 10**-digits:
        return f"less than {10**-digits:.{digits}f} {unit}"
    return f"{shown:.{digits}f} {unit}" if shown else f"0 {unit}"


def _head(chosen: argparse.Namespace, a: _Asked, art: Artwork, detail: SmallestDetail) -> Iterator[str]:
    from shopcalc.relief.words import lengths_for

    m = art.map
    yield (
        f"{Path(chosen.artwork).name}: {art.kind}, carved {_size(m.length, a.system)} x {_size(m.width, a.system)}, "
        f"{_size(m.depth, a.system)} deep, in {a.material.title} on {a.machine.name}"
    )
    for note in art.notes:
        words = lengths_for(note, a.system)
        yield from textwrap.wrap(words, _WIDTH, initial_indent="  note: ", subsequent_indent="    ")
    yield from _fact("smallest detail", _detail_words(detail, a.system))


def _text(a: _Asked, r: CarvingResult, priced: CarvingPrice) -> Iterator[str]:
    from shopcalc.relief.words import hand_time, lengths_for, path_words, percent_words
    from shopcalc.units import write_time

    for s in r.steps:
        yield from _step_lines(s, a.system)
    yield from _fact("changes", f"{write_time(r.change_seconds)} for cutters, spindle starts and ways")
    yield from _fact("machine time", f"{write_time(r.seconds)} over {path_words(r.path_length, a.system)} of path")
    left = r.left
    yield from _fact(
        "not reached",
        f"more than {_fine(left.tolerance, a.system)} on {percent_words(left.area_share)} of the area, "
        f"{_fine(left.greatest, a.system)} at most, {_fine(left.mean, a.system)} on average"
        if left.area_share > 0
        else f"nothing: all of it within {_fine(left.tolerance, a.system)}",
    )
    yield from _fact(
        "cusps",
        f"{_fine(r.cusps.mean, a.system)} on average, below {_fine(r.cusps.most, a.system)} on 95 % of the area, "
        f"{_fine(r.cusps.greatest, a.system)} at most",
    )
    if r.roughing_left is not None:
        yield from _fact(
            "after roughing",
            f"{_size(r.roughing_left, a.system)} stand at most, in corners and slits beside the lines"
            + _met_words(r, a),
        )
    yield from _fact("sanding", f"{hand_time(r.sanding_hours)} by hand (common practice, no source; log yours)")
    for note in r.notes:
        words = lengths_for(note, a.system)
        yield from textwrap.wrap(words, _WIDTH, initial_indent="  look at: ", subsequent_indent="    ")
    yield from _price_lines(a, priced)


def _met_words(r: CarvingResult, a: _Asked) -> str:
    """What the finishing cutter meets along its lines, which is less than what stands."""
    if r.met is None:
        return ""
    f = r.scheme.finishing
    return (
        f"; line by line {f.cutter.id} takes {_size(r.met.greatest, a.system)} at once at most and bears "
        f"{_size(f.depth_per_pass, a.system)}"
    )


def _step_lines(s: StepResult, system: System) -> Iterator[str]:
    from shopcalc.units import write, write_time

    if s.moves is None:
        yield from _fact(s.step.role, f"{s.step.cutter.id}: nothing to do")
        return
    levels = f"{s.lines} level{'s' if s.lines != 1 else ''}"
    what = levels if s.step.role == "rough" else f"lines {_fine(s.step.stepover, system)} apart"
    feed, mean = write(s.step.feed, "feed", system), write(s.mean_feed, "feed", system)
    yield from _fact(
        s.step.role,
        f"{s.step.cutter.id}, {what}, {write(s.step.rpm, 'spindle_speed', system)}, feed {feed} "
        f"({mean} really reached), {write_time(s.seconds)}",
    )
    yield from _fact("", f"feed: {s.step.feed_source}; {_most_words(s.step, system)}")


def _most_words(s: Step, system: System) -> str:
    """How the feed stands to the limits."""
    from shopcalc.units import write

    most = write(s.greatest_feed, "feed", system)
    if s.feed > s.greatest_feed * 1.001:
        return f"the limits allow {most} only ({s.binds})"
    if s.feed > s.greatest_feed * 0.999:
        return f"it is the greatest the limits allow ({s.binds})"
    return f"the limits would allow {most} ({s.binds})"


def _detail_words(detail: SmallestDetail, system: System) -> str:
    sharp = f"sharper than {_fine(detail.finest_told, system)} of radius, the finest this map tells"
    words = {
        "found": f"valleys take a ball of {_fine(2 * detail.valley_radius, system)} diameter",
        "finer than the pixels": f"creases or valleys {sharp}",
        "wider than the map": "no valley a ball would not fill",
    }[detail.valley_limit]
    if detail.valley_limit != "finer than the pixels" and detail.creased_share > _CREASED:
        words += f" but for creases {sharp}, on {100 * detail.creased_share:.2f} % of the area"
    if detail.narrowest_gap is not None:
        words += f"; narrowest gap {_fine(detail.narrowest_gap, system)} wide, {_fine(detail.gap_depth, system)} deep"
    return words + f"; walls up to {math.degrees(detail.steepest_wall):.0f}°"


def _fact(name: str, text: str) -> list[str]:
    return textwrap.wrap(text, _WIDTH, initial_indent=f"  {name:<16}", subsequent_indent=" " * 20)


def _price_lines(a: _Asked, p: CarvingPrice) -> Iterator[str]:
    from shopcalc.quote.carving import not_in_it

    yield from _fact("price", f"cost {p.cost:,} {p.currency}, floor {p.floor:,}, asked {p.asked:,}; its own line")
    yield from _fact("", p.how)
    yield from _fact("", p.asked_how)
    yield from _fact("", not_in_it(a.shop.rates))


def _choice_lines(a: _Asked, found: Choices) -> Iterator[str]:
    from shopcalc.relief.words import hand_time, lengths_for, percent_words
    from shopcalc.units import write_time

    yield f"Ways worth offering, of {found.looked_at} looked at: none is both cheaper and leaves less wood"
    head = (
        "", "cutters", "machine time", "cusp", "step", "not reached", "at most", "wood left", "sanding", "asked",
        "greatest feeds",
    )  # fmt: skip
    rows: list[Sequence[str]] = [head]
    names = _offered(found)
    for c in found.kept:
        r, f = c.result, c.faster
        rows.append(
            (
                names.get(id(c), ""), r.scheme.name, write_time(r.seconds),
                _fine(c.wanted_cusp, a.system), _fine(r.scheme.finishing.stepover, a.system),
                percent_words(r.left.area_share), _fine(r.left.greatest, a.system), _fine(r.wood_left, a.system),
                hand_time(r.sanding_hours),
                f"{c.price:,.2f}", "the same" if f is None else f"{write_time(f.seconds)}, {f.price:,.2f}",
            )
        )  # fmt: skip
    wide = [max(len(row[k]) for row in rows) for k in range(len(head))]
    for row in rows:
        yield "  " + "  ".join(t.ljust(w) for t, w in zip(row, wide, strict=True)).rstrip()
    for words in _choice_notes(a, found):
        yield from textwrap.wrap(lengths_for(words, a.system), _WIDTH, initial_indent="  ", subsequent_indent="    ")


def _deep_left(a: _Asked, found: Choices) -> Iterator[str]:
    """Ways that leave more than a third of the relief's depth somewhere, said before they are offered."""
    names = _offered(found)
    for c in found.kept:
        r = c.result
        if r.left.greatest <= _DEEP * c.relief:
            continue
        called = f"{names[id(c)]}, " if id(c) in names else ""
        yield (
            f"LOOK: {called}{c.title}, leaves up to {_size(r.left.greatest, a.system)} of the "
            f"{_size(c.relief, a.system)} uncut where its tip does not fit: detail is lost there; show the customer "
            "the picture first."
        )


def _choice_notes(a: _Asked, found: Choices) -> Iterator[str]:
    from shopcalc.relief.words import hand_time
    from shopcalc.units import write, write_time

    yield from _deep_left(a, found)
    yield (
        f"Asked, in {a.shop.rates.currency}, takes machine, attended share and sanding. Quick is the cheapest, fine "
        "leaves the least. Wood left: mean height over the artwork when the machine is done: detail not reached, a "
        "third of the cusps."
    )
    feeds: dict[str, str] = {}
    for c in found.kept:
        feeds |= {
            k: f"{k} {write(v, 'feed', a.system)} ({why})" for k, v, why in (() if c.faster is None else c.faster.feeds)
        }
    if feeds:
        yield (
            "Feeds are the usual ones (common practice). The greatest the limits allow, time and asked price in the "
            f"last column: {'; '.join(feeds.values())}. Try them on scrap first: the model sees no vibration."
        )
    yield (
        f"The first look was off by up to {100 * found.greatest_error:.0f} % of the minutes; the ways above are "
        "computed fully."
    )
    for reason in found.left_out:
        yield f"left out: {reason}"
    near = [d for d in found.dropped if "coarser" in d.reason or d.computed_fully]
    for d in near[:_DROPPED_SHOWN]:
        yield (
            f"dropped: {d.cutters} at a cusp of {d.wanted_cusp:g} mm ({write_time(60 * d.minutes)}, sanding "
            f"{hand_time(d.sanding_hours)}, asked {d.price:,.2f}): {d.reason}"
        )
    if len(found.dropped) > len(near[:_DROPPED_SHOWN]):
        yield f"{len(found.dropped)} ways were dropped in all; --json names each with its reason."


def _cautions(a: _Asked, r: CarvingResult | None) -> Iterator[str]:
    from shopcalc.quote import CAUTION
    from shopcalc.sources import cautions

    words = [CAUTION, _HANDLING]
    if r is not None:
        for c in dict.fromkeys(s.step.cutter for s in r.steps):
            most = min((v for v in (c.marked_rpm, c.maker_rpm) if v is not None), default=None)
            words.append(
                f"{c.id} carries no greatest speed: find it out before use."
                if most is None
                else f"{c.id} is marked or made for {most:.0f} rev/min at most."
            )
    words += [
        f"Dust of {a.material.title}: {c.item} {c.value} ({c.basis})."
        for c in cautions("wood dust", a.material.id)
        if c.applies_to
    ]
    yield from textwrap.wrap("Caution. " + " ".join(words), _WIDTH)


# --- before any artwork -----------------------------------------------------------------------------------------------


def _before(
    chosen: argparse.Namespace, a: _Asked, line: _ProgressLine
) -> tuple[list[str], dict[str, Any], dict[str, str]]:
    from shopcalc.quote.carving import carving_price
    from shopcalc.relief.kind_drawings import KINDS
    from shopcalc.relief.kinds import ONE_TO_ANOTHER, OTHER_ARTWORK, hours_before_artwork
    from shopcalc.relief.words import beyond_travel, hand_time
    from shopcalc.risk import spread_of_three, three_point
    from shopcalc.units import read, write_time

    assert a.length is not None
    assert a.width is not None
    assert a.depth is not None
    smallest = read(chosen.smallest_detail, "length")
    too_large = beyond_travel(a.machine, a.length, a.width, a.system)
    if too_large:
        head = [f"{chosen.before}: {KINDS[chosen.before].description}"]
        size = {"smallest_detail_mm": smallest, "length_mm": a.length, "width_mm": a.width, "depth_mm": a.depth}
        return _beyond(a, too_large, head, size)
    line.begin("drawing and computing reliefs of this kind")
    told: Before = hours_before_artwork(
        chosen.before, a.length, a.width, a.depth, smallest, a.machine, a.material, list(a.shop.cutters.values()),
        cutter=a.cutter, stepover=a.stepover, cusp=a.cusp, roughing=a.roughing, learned=a.shop.learned,
        sanding_per_area=a.shop.rates.minutes["sanding_per_area"], progress=line.show,
    )  # fmt: skip
    band = (told.low, told.likely, told.high)
    mean = three_point(*band)[0]
    priced = carving_price(mean, told.sanding_hours, a.shop.rates, sigma=spread_of_three(*band).sigma)
    low, likely, high = (write_time(t) for t in band)
    ends = [carving_price(t, told.sanding_hours, a.shop.rates) for t in (told.low, told.high)]
    text = [
        f"{chosen.before}: {KINDS[chosen.before].description}",
        f"  {_size(a.length, a.system)} x {_size(a.width, a.system)}, {_size(a.depth, a.system)} deep, narrowest "
        f"grooves {_size(smallest, a.system)}, in {a.material.title} on {a.machine.name}",
        *_fact("cutters", f"{told.scheme}, finishing lines {_fine(told.stepover, a.system)} apart"),
        *_fact("cusps", _cusp_words(told, a)),
        *_fact("machine time", f"{likely}; {low} to {high} in eight of ten cases"),
        *_fact(
            "how",
            f"{len(told.each)} reliefs of this kind were drawn and computed ({_each_words(told.each)}); the band "
            f"allows for yours being another artwork ({100 * OTHER_ARTWORK:.0f} %) and for one carving going otherwise "
            f"than the next ({100 * ONE_TO_ANOTHER:.0f} %), both reasoning, and for how the drawn ones differ",
        ),
        *_fact(
            "sanding", f"{hand_time(told.sanding_hours)} by hand on reliefs like these (common practice, no source)"
        ),
        *_price_lines(a, priced),
        *_fact(
            "",
            f"over the band: cost {ends[0].cost:,} to {ends[1].cost:,}, asked {ends[0].asked:,} to {ends[1].asked:,} "
            f"{priced.currency}; priced is the mean of the band, {write_time(mean)}, not the likely time: few go well, "
            "some go badly",
        ),
        "",
        *_cautions(a, None),
    ]
    data: dict[str, Any] = {
        "minutes": told.likely / 60,
        "minutes_low": told.low / 60,
        "minutes_high": told.high / 60,
        "path_length_mm": None,
        "lines": None,
        "stepover_mm": told.stepover,
        "cusp_mm": told.cusp,
        "detail_left": None,
        "smallest_detail_mm": smallest,
        "cutter": told.scheme.split(" + ")[-1],
        "sanding_hours": told.sanding_hours,
        "before": told.as_json(),
        "length_mm": a.length,
        "width_mm": a.width,
        "depth_mm": a.depth,
        "machine": a.machine.name,
        "material": a.material.id,
        "minutes_priced": mean / 60,
        "price": {**priced.as_json(), **_not_in_it(a), "low": ends[0].as_json(), "high": ends[1].as_json()},
        "schemes": [],
    }
    return text, data, {}


def _each_words(seconds: Sequence[float]) -> str:
    """Times of the reliefs that were drawn; once where they are the same to people."""
    from shopcalc.units import write_time

    words = list(dict.fromkeys(write_time(t) for t in seconds))
    return f"each {words[0]}: size, step and feed set it, hardly the motif" if len(words) == 1 else ", ".join(words)


def _cusp_words(told: Before, a: _Asked) -> str:
    """The cusp behind the step, and why the lines are so close."""
    from shopcalc.units import write_time

    given = a.stepover is not None
    words = (
        f"{_fine(told.mean_cusp, a.system)} on average at the step that was given"
        if given
        else f"{_fine(told.cusp, a.system)} at most on all but 5 % of the area"
        + (" as asked" if a.cusp is not None else " (assumed: --cusp or --stepover say otherwise)")
        + f", {_fine(told.mean_cusp, a.system)} on average"
    )
    if not given and told.level_stepover > _CLOSER * told.stepover:
        words += (
            f". Walls of {math.degrees(told.steep):.0f}° on a twentieth of the area set the step: on level ground "
            f"lines {_fine(told.level_stepover, a.system)} apart leave as much, and would take about "
            f"{write_time(told.level_seconds)} in all, with higher ridges on the walls"
        )
    return words


class _ProgressLine:
    """How far a long run is, on standard error: one line that is written over on a terminal, else a few plain ones.

    A thread of its own keeps the seconds running, because some steps take long and cannot say how far they are.
    """

    def __init__(self) -> None:
        self._begin = time.monotonic()
        self._words, self._shown, self._lines, self._told = "", 0, 0, 0.0
        self._watched = sys.stderr.isatty()
        self._over, self._one = threading.Event(), threading.Lock()
        self._ticking = threading.Thread(target=self._tick, daemon=True)
        self._ticking.start()

    def begin(self, doing: str) -> None:
        """Say what comes next."""
        self._doing = self._words = doing
        self._write()

    def show(self, share: float) -> None:
        """Say how much of it is done."""
        self._words = f"{self._doing}, {100 * share:.0f} %"
        self._write()

    def _tick(self) -> None:
        while not self._over.wait(_TICK):
            self._write()

    def _write(self) -> None:
        with self._one:
            after = time.monotonic() - self._begin
            words = f"{self._words}; {after:.0f} s so far"
            if self._watched and after > _SOON:
                print(f"\r{words:<{self._shown}}", end="", file=sys.stderr, flush=True)
                self._shown = max(self._shown, len(words))
            elif not self._watched and after > max(_PLAIN_SOON, 2 * self._told) and self._lines < _PLAIN_MOST:
                print(f"shopcalc relief: {words}", file=sys.stderr, flush=True)
                self._lines, self._told = self._lines + 1, after

    def clear(self) -> None:
        """Leave the line as if nothing had been written."""
        self._over.set()
        self._ticking.join()
        if self._shown:
            print(f"\r{'':<{self._shown}}\r", end="", file=sys.stderr, flush=True)
