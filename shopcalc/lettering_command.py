"""The command ``letters``: what a V cutter makes of words or of a drawing of lines, how long it takes, what to heed.

Only the parser is made at start; everything else is imported when the command runs.
"""

from __future__ import annotations

import argparse
import json
import textwrap
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from shopcalc.errors import Fault, InputError

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from shopcalc.cutters import Cutter
    from shopcalc.machines import Machine
    from shopcalc.materials import Material
    from shopcalc.motion.results import MotionTime
    from shopcalc.paths.tracing import Cutting
    from shopcalc.quote.carving import CarvingPrice
    from shopcalc.relief.inscription import Inscription
    from shopcalc.relief.vee import Carved
    from shopcalc.shop import Shop
    from shopcalc.units import System

Write = Callable[[Path, dict[str, str]], None]
Show = Callable[[Any], None]

_WIDTH = 108
_SEEN = 1e-4  # share of an area that is worth a figure
_LONG = 300.0  # s: clearing by a V alone that takes longer is compared with a square end
_FLAT = ("square end", "surfacing", "compression")
_HANDLING = (
    "Hold the work so that it cannot lift or creep, clamps outside everything the cutter passes; a V's tip is thin: "
    "let nothing touch it, change it with the machine locked out, and let the first line run with a hand at the stop."
)


def add_flags(parser: argparse.ArgumentParser) -> None:
    """Give the command its flags.

    Parameters
    ----------
    parser : ArgumentParser
        Of the command; it has ``--shop``, ``--system`` and ``--json`` already.
    """
    parser.add_argument("text", metavar="TEXT", nargs="?", help="what is written, in quotation marks")
    for flag, meta, text in (
        ("--height", "H", 'of a capital, e.g. "1 1/8 in"; left out beside --length: the greatest that fits'),
        ("--font", "FILE", "a TrueType or OpenType font instead of the package's own"),
        ("--svg", "FILE", "an SVG or DXF drawing in place of a text: closed shapes are areas, open ones lines"),
        ("--length", "L", "along x: of the drawing, or of the board a text shall fit on; default: as drawn"),
        ("--line-width", "W", "of the drawing's open lines, at the surface"),
        ("--cutter", "ID", "a V of the shop's rack"),
        ("--depth-stop", "D", "nothing is cut deeper; with --raised the depth of the ground"),
        ("--ground-cutter", "ID", "that clears the ground; without it the V clears what lies below the depth stop"),
        ("--chamfer", "C", 'on the edges of raised letters; "0 mm" leaves them sharp'),
        ("--margin", "M", "ground around raised letters"),
        ("--feed", "F", "of the V, instead of the usual one"),
        ("--material", "ID", "default: the first of the shop's price list"),
        ("--machine", "NAME|FILE.toml", "default: the first of the shop"),
        ("--out", "DIR", "also write program, picture, figures and this text there"),
    ):
        parser.add_argument(flag, metavar=meta, help=text)
    parser.add_argument("--raised", action="store_true", help="the letters stand, the ground around them is cleared")


@dataclass(frozen=True, eq=False)
class _Done:
    """What was asked for, and what comes of it."""

    shop: Shop
    system: System
    machine: Machine
    material: Material
    cutter: Cutter
    what: Inscription
    carved: Carved
    time: MotionTime
    ground: BaseGeometry
    raised: bool
    height: float | None
    seconds: tuple[float, ...] = ()
    given_feed: float | None = None
    around: float | None = None
    chamfer: float | None = None
    fitted: float | None = None

    @property
    def extent(self) -> tuple[float, float]:
        """Length and width of all that is cut, the ground around raised letters too [mm]."""
        wide, high = self.what.size
        return wide + 2 * (self.around or 0.0), high + 2 * (self.around or 0.0)

    @property
    def too_large(self) -> list[str]:
        """Why no time counted for it can be run."""
        from shopcalc.relief.words import beyond_travel

        return beyond_travel(self.machine, *self.extent, self.system)

    @property
    def priced(self) -> CarvingPrice | None:
        """By the rule of a relief; None for what the machine cannot reach."""
        from shopcalc.quote.carving import carving_price

        return None if self.too_large else carving_price(self.time.total_s, 0.0, self.shop.rates, kind="incise")


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
    done = _done(chosen)
    data = _document(done)
    text = [*_text(done, data), "", *_cautions(done)]
    if chosen.out is not None:
        files = {
            "letters.txt": "\n".join(text) + "\n",
            "letters.json": json.dumps(data, indent=2) + "\n",
            **({} if done.too_large else {"letters.nc": _program(done)}),
            "letters.svg": _picture(done),
        }
        write(Path(chosen.out), files)
    if chosen.json:
        show(data)
    else:
        print("\n".join(text))
        if chosen.out is not None:
            print(f"written to {chosen.out}: {', '.join(files)}")
            if "letters.nc" in files:
                print("the program is in millimetres and says so (G21)")
    return 0


# --- reading what is asked --------------------------------------------------------------------------------------------


def _done(chosen: argparse.Namespace) -> _Done:
    from shopcalc.motion import machine_time
    from shopcalc.relief.inscription import (
        CHAMFER,
        carve_inscription,
        fitting_height,
        ground_around,
        ground_margin,
        inscription,
    )
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
        return None if key is None else given(flag, lambda: shop.cutter(key))

    machine = given("--machine", lambda: shop.machine(chosen.machine or next(iter(shop.machines))))
    material = given("--material", lambda: shop.material(chosen.material or next(iter(shop.rates.materials))))
    lengths = ("--height", "--length", "--line-width", "--depth-stop", "--margin")
    sizes = {flag: value(flag, above=0.0) for flag in lengths}
    chamfer = value("--chamfer", minimum=0.0)
    feed = value("--feed", "feed", above=0.0)
    vee, ground = cutter("--cutter"), cutter("--ground-cutter")
    faults += _misused(chosen)
    if faults:
        raise InputError(faults)
    cutting, clearing = _cuttings(shop, machine, material, vee, ground, feed)
    system: System = chosen.system or "inch"
    around = ground_margin(clearing, sizes["--margin"]) if chosen.raised and clearing else None
    height, room = sizes["--height"], sizes["--length"]
    if chosen.text is not None and room is not None:
        fits = fitting_height(chosen.text, room - 2 * (around or 0.0), chosen.font, system)
        if height is not None and height > fits + 1e-9:
            raise InputError(_does_not_fit(height, fits, room, system))
        height = fits if height is None else height
    what = inscription(
        text=chosen.text, height=height, font=chosen.font, drawing=chosen.svg,
        length=room if chosen.text is None else None,
    )  # fmt: skip
    x0, y0, x1, y1 = what.bounds
    what = what.centred((x1 - x0) / 2, (y1 - y0) / 2)
    carved = carve_inscription(
        what, cutting, clearing=clearing, stop_depth=sizes["--depth-stop"], raised=chosen.raised,
        chamfer=CHAMFER if chamfer is None else chamfer, margin=sizes["--margin"], line_width=sizes["--line-width"],
        system=system,
    )  # fmt: skip
    timed = machine_time(carved.moves, machine)
    ground = ground_around(what, clearing, sizes["--margin"]) if chosen.raised and clearing else carved.capped
    seconds = tuple(machine_time(m, machine).total_s for _, m in carved.operations)
    return _Done(
        shop, system, machine, material, vee, what, carved, timed, ground, chosen.raised, height, seconds, feed, around,
        (CHAMFER if chamfer is None else chamfer) if chosen.raised else None,
        room if sizes["--height"] is None and chosen.text is not None else None,
    )  # fmt: skip


def _does_not_fit(height: float, fits: float, room: float, system: System) -> Fault:
    from shopcalc.units import write

    high, wide, most = (write(v, "length", system) for v in (height, room, fits))
    return Fault(
        f"capitals {high} high make it longer than {wide}", f"a height of {most} fits", field="--height"
    )  # fmt: skip


def _misused(chosen: argparse.Namespace) -> Iterator[Fault]:
    """Flags that are missing, or say nothing beside the others."""
    if (chosen.text is None) == (chosen.svg is None):
        both = "neither a text nor a drawing is given" if chosen.svg is None else "both a text and a drawing are given"
        yield Fault(both, 'say e.g. shopcalc letters "REEDS" --height "1 in", or --svg FILE')
    if chosen.text is not None and chosen.height is None and chosen.length is None:
        remedy = 'say e.g. --height "1 in", or --length "10 in" for the greatest that fits on a board'
        yield Fault("a text needs the height of its capitals", remedy, field="--height")
    if chosen.cutter is None:
        yield Fault("no cutter is named", "say --cutter ID, a V of the rack", field="--cutter")
    if chosen.raised and (chosen.depth_stop is None or chosen.ground_cutter is None):
        yield Fault("raised letters need a ground", "say --depth-stop D and --ground-cutter ID", field="--raised")
    for flag, goes_with, is_alone in (
        ("--height", "a text", chosen.text is None), ("--font", "a text", chosen.text is None),
        ("--line-width", "--svg", chosen.svg is None),
        ("--chamfer", "--raised", not chosen.raised), ("--margin", "--raised", not chosen.raised),
        ("--ground-cutter", "--depth-stop", chosen.depth_stop is None and not chosen.raised),
    ):  # fmt: skip
        if is_alone and getattr(chosen, flag[2:].replace("-", "_")) is not None:
            yield Fault(f"it says nothing without {goes_with}", f"add {goes_with}, or leave it out", field=flag)


def _cuttings(
    shop: Shop, machine: Machine, material: Material, vee: Cutter, ground: Cutter | None, feed: float | None
) -> tuple[Cutting, Cutting | None]:
    """How both cutters are run, as in a job."""
    from shopcalc.jobs.planning import setting
    from shopcalc.jobs.records import Incise, Part

    part = Part.model_construct(id="letters", material=material.id, length=1.0, width=1.0, thickness=1.0)

    def run_as(cutter: Cutter, feed: float | None) -> Cutting:
        said = Incise.model_construct(kind="incise", cutter=cutter.id, program="letters", feed=feed)
        return setting(said, part, "flat", machine, shop)

    return run_as(vee, feed), None if ground is None else run_as(ground, None)


# --- figures ----------------------------------------------------------------------------------------------------------


def _document(d: _Done) -> dict[str, Any]:
    import shapely

    from shopcalc.relief.inscription import smallest_inside_corner
    from shopcalc.relief.vee import TOLD_ERROR, height_error

    carved = d.carved
    areas = [o.shape for o in d.what.areas]
    sunk = shapely.union_all(areas) if areas and not d.raised else None
    error = TOLD_ERROR[d.system]
    corner = None if sunk is None else smallest_inside_corner(sunk)
    return {
        "minutes": d.time.total_s / 60,
        "time_valid": not d.too_large,
        "price": _price_document(d),
        "attended_share": d.shop.rates.attended["incise"],
        "change_minutes": (d.time.total_s - sum(d.seconds)) / 60,
        "chamfer_mm": d.chamfer,
        "ground_margin_mm": d.around,
        "extent_mm": list(d.extent),
        "capital_height_mm": d.height,
        "quicker_ground": _quicker_ground(d),
        "cutters": [c.cutter.id for c, _ in carved.operations],
        "size_mm": list(d.what.size),
        "greatest_depth_mm": carved.greatest_depth,
        "stopped_by": carved.capped_by or None,
        "flat_ground_mm2": carved.capped_area,
        "left_uncut_mm2": carved.left_area,
        "smallest_inside_corner_mm": corner,
        "reached_by": None if sunk is None or corner is None else [
            c.id for c in _rack(d, ("V",)) if c.tip_diameter / 2 <= corner
        ],
        "rack": [] if sunk is None else [_reach(c, sunk) for c in _rack(d, ("V",))],
        "ground": _ground_figures(d),
        "lines": carved.chains,
        "line_length_mm": sum(m.cutting_length for c, m in carved.operations if c.cutter is d.cutter),
        "path_length_mm": carved.moves.cutting_length,
        "height_error_mm": error,
        "width_error_mm": height_error(d.cutter, error),
        "machine": d.machine.name,
        "material": d.material.id,
        "steps": [
            {
                "cutter": c.cutter.id, "rpm": c.rpm, "feed_mm_min": c.feed, "depth_per_pass_mm": c.depth_per_pass,
                "cutting_length_mm": m.cutting_length, "minutes": seconds / 60, **_limit(d, c),
            }
            for (c, m), seconds in zip(carved.operations, d.seconds, strict=True)
        ],
        "notes": [*d.too_large, *d.what.notes, *carved.notes],
    }  # fmt: skip


def _price_document(d: _Done) -> dict[str, Any] | None:
    p = d.priced
    if p is None:
        return None
    left_out = ["drawing", "programming", "set-up", "cleaning up by hand", "sanding"]
    return {**p.as_json(), "covers": ["machine time", "attended share"], "left_out": left_out}


def _limit(d: _Done, cutting: Cutting) -> dict[str, Any]:
    """Where a feed comes from, and what the limits would allow at this speed and cut."""
    from shopcalc.cutting.usual import held_by
    from shopcalc.relief.scheme import step
    from shopcalc.relief.vee import Vee

    c, deep = cutting.cutter, min(cutting.depth_per_pass, d.carved.greatest_depth)
    is_vee = c.shape == "V"
    across = 2 * Vee(c).radius(deep) if is_vee else (cutting.stepover or 1.0) * c.true_diameter
    found = step("finish", c, d.material, d.machine, stepover=max(across, 0.1), wood=deep, rpm=cutting.rpm)
    given = d.given_feed is not None and c is d.cutter
    return {
        "feed_source": "given" if given else f"common practice, no source{held_by(c, d.material)}",
        "greatest_feed_mm_min": found.greatest_feed,
        "greatest_feed_binds": found.binds,
    }


def _quicker_ground(d: _Done) -> dict[str, Any] | None:
    """What a square end would make of a ground the V clears alone; None where that is quick, or nothing is quicker."""
    from shopcalc.motion import machine_time
    from shopcalc.relief.inscription import carve_inscription

    if d.raised or not d.carved.capped_area or d.time.total_s < _LONG or len(d.carved.operations) > 1 or d.too_large:
        return None
    vee, best = d.carved.operations[0][0], None
    for c in [c for c in _rack(d, ("square end",)) if c.centre_cutting][:3]:
        clearing = _cuttings(d.shop, d.machine, d.material, d.cutter, c, None)[1]
        try:
            other = carve_inscription(
                d.what, vee, clearing=clearing, stop_depth=d.carved.greatest_depth, system=d.system
            )
        except InputError:
            continue
        seconds = machine_time(other.moves, d.machine).total_s
        if seconds < (d.time.total_s if best is None else best[1]):
            best = (c.id, seconds)
    return None if best is None else {"cutter": best[0], "minutes": best[1] / 60}


def _rack(d: _Done, shapes: tuple[str, ...]) -> list[Cutter]:
    """Cutters of some shapes, the finest first."""
    found = [c for c in d.shop.cutters.values() if c.shape in shapes]
    return sorted(found, key=lambda c: (c.tip_diameter if shapes == ("V",) else c.true_diameter, c.id))


def _reach(cutter: Cutter, sunk: BaseGeometry) -> dict[str, Any]:
    """What a V of the rack would do to sunk letters."""
    from shopcalc.relief.inscription import share_left
    from shopcalc.relief.vee import Vee

    most, _ = Vee(cutter).deepest(cutter, None)
    return {
        "cutter": cutter.id,
        "corner_radius_mm": cutter.tip_diameter / 2,
        "left_uncut_share": share_left(sunk, cutter.tip_diameter / 2),
        "deepest_mm": most,
    }


def _ground_figures(d: _Done) -> dict[str, Any] | None:
    """What flat cutters of the rack reach of the ground around raised letters, or below a depth stop."""
    from shopcalc.relief.inscription import share_left, smallest_inside_corner

    ground = d.ground
    if ground.is_empty:
        return None
    corner = smallest_inside_corner(ground)
    flat = _rack(d, _FLAT)
    return {
        "smallest_inside_corner_mm": corner,
        "reached_by": [c.id for c in flat if c.true_diameter / 2 <= corner],
        "rack": [
            {"cutter": c.id, "corner_radius_mm": c.true_diameter / 2,
             "left_uncut_share": share_left(ground, c.true_diameter / 2)}
            for c in flat[:4]
        ],
    }  # fmt: skip


# --- words ------------------------------------------------------------------------------------------------------------


def _fact(name: str, text: str) -> list[str]:
    return textwrap.wrap(text, _WIDTH, initial_indent=f"  {name:<16}", subsequent_indent=" " * 20)


def _text(d: _Done, data: dict[str, Any]) -> Iterator[str]:
    from shopcalc.relief.inscription import misfits
    from shopcalc.relief.vee import area_words, small
    from shopcalc.relief.words import path_words
    from shopcalc.units import write, write_time

    def size(value: float) -> str:
        return write(value, "length", d.system)

    wide, high = d.what.size
    manner = "raised" if d.raised else "sunk" if d.what.areas else "lines"
    capitals = f", capitals {size(d.height)} high" if d.height is not None else ""
    yield (
        f"{d.what.name}: {manner}{capitals}, {small(wide, d.system)} x {small(high, d.system)}, "
        f"in {d.material.title} on {d.machine.name}"
    )
    for words in d.too_large:
        yield from textwrap.wrap(words, _WIDTH, initial_indent="  ", subsequent_indent="    ")
    for note in d.what.notes:
        yield from textwrap.wrap(note, _WIDTH, initial_indent="  note: ", subsequent_indent="    ")
    if d.fitted is not None and d.height is not None:
        yield from _fact("height", f"{size(d.height)} is the greatest that fits on {size(d.fitted)}")
    yield from _fact("machine time", f"{write_time(d.time.total_s)}, cutter changes and ways included")
    last = len(d.carved.operations) - 1
    for number, (c, m) in enumerate(d.carved.operations):
        role = "ground" if c.cutter is not d.cutter else "edges" if d.raised else "letters"
        if d.what.lines and number == last:
            role = "lines"
        yield from _fact(
            role,
            f"{c.cutter.id}, {write(c.rpm, 'spindle_speed', d.system)}, feed {write(c.feed, 'feed', d.system)}, "
            f"{_levels(c, d.carved.greatest_depth)}, {path_words(m.cutting_length, d.system)} cut, "
            f"{write_time(d.seconds[number])}",
        )
        figures = data["steps"][number]
        most = write(figures["greatest_feed_mm_min"], "feed", d.system)
        allow = "would allow" if figures["greatest_feed_mm_min"] >= c.feed else "allow no more than"
        yield from _fact(
            "", f"feed: {figures['feed_source']}; the limits {allow} {most} ({figures['greatest_feed_binds']})"
        )
    yield from _fact("changes", f"{write_time(60 * data['change_minutes'])} for cutters, spindle starts and ways")
    if d.raised:
        wide, high = d.extent
        edge = f"chamfer {small(d.chamfer, d.system)} wide" if d.chamfer else "no chamfer"
        yield from _fact(
            "raised",
            f"{edge} on the letters' edges; the ground reaches {size(d.around or 0.0)} beyond them: "
            f"{small(wide, d.system)} x {small(high, d.system)} in all",
        )
    stopped = f"; stopped by {d.carved.capped_by}" if d.carved.capped_by else ""
    if d.carved.capped_area:
        stopped += f", {area_words(d.carved.capped_area, d.system)} get a flat ground"
    yield from _fact("greatest depth", f"{size(d.carved.greatest_depth)}{stopped}")
    quicker = data["quicker_ground"]
    if quicker is not None:
        yield from _fact(
            "ground",
            f'the V clears it alone; --depth-stop "{size(d.carved.greatest_depth)}" --ground-cutter '
            f"{quicker['cutter']} would make it {write_time(60 * quicker['minutes'])} in all (computed)",
        )
    yield from _corner_lines(d, data)
    yield from _fact(
        "lines", f"{d.carved.chains} followed without a lift, {path_words(data['line_length_mm'], d.system)}"
    )
    yield from _fact(
        "surface first",
        f"{small(data['height_error_mm'], d.system)} too deep makes every line "
        f"{small(data['width_error_mm'], d.system)} wider, as much too high narrower: find the height "
        "where the letters stand",
    )
    yield from _price_lines(d)
    doubts = misfits(d.what, d.carved, d.cutter, d.system, d.height)
    for note in doubts:
        yield from textwrap.wrap(note, _WIDTH, initial_indent="  look at: ", subsequent_indent="    ")
    for note in d.carved.notes:
        if note not in doubts and not note.startswith("find the surface first"):
            yield from textwrap.wrap(note, _WIDTH, initial_indent="  note: ", subsequent_indent="    ")


def _price_lines(d: _Done) -> Iterator[str]:
    from shopcalc.quote.carving import not_in_it

    p = d.priced
    if p is None:
        yield from _fact("price", "none: the machine cannot cut it in one piece")
        return
    yield from _fact("price", f"cost {p.cost:,} {p.currency}, floor {p.floor:,}, asked {p.asked:,}")
    for words in (p.how, p.asked_how, not_in_it(d.shop.rates, "incise")):
        yield from _fact("", words)


def _levels(cutting: Cutting, depth: float) -> str:
    count = len(cutting.levels(depth))
    return f"{count} level{'s' if count > 1 else ''}"


def _corner_lines(d: _Done, data: dict[str, Any]) -> Iterator[str]:
    from shopcalc.relief.vee import small

    for figures, what, place in ((data, "inside corner", "letters"), (data["ground"], "of the ground", "ground")):
        if figures is None or figures["smallest_inside_corner_mm"] is None:
            continue
        corner = figures["smallest_inside_corner_mm"]
        words = "the sharpest is a point" if corner == 0 else f"the sharpest has a radius of {small(corner, d.system)}"
        left = [
            f"{r['cutter']} (radius {small(r['corner_radius_mm'], d.system)}) {_left_words(r, figures['reached_by'])}"
            for r in figures["rack"][:3]
        ]
        yield from _fact(what, f"{words}. Of the area of the {place}, {', '.join(left)}")


def _left_words(reach: dict[str, Any], reached_by: list[str]) -> str:
    """What one cutter leaves, in one sense of leaving: nothing at all, next to nothing in corners, or a share."""
    if reach["cutter"] in reached_by:
        return "leaves nothing"
    share = reach["left_uncut_share"]
    return f"leaves {_share(share)} in corners and narrow places" if share >= _SEEN else "leaves less than 0.01 %"


def _share(value: float) -> str:
    return f"{100 * value:.0f} %" if value >= 0.1 else f"{100 * value:.1g} %"


def _cautions(d: _Done) -> Iterator[str]:
    from shopcalc.quote import CAUTION
    from shopcalc.sources import cautions

    words = [CAUTION, _HANDLING]
    for c in dict.fromkeys(c.cutter for c, _ in d.carved.operations):
        most = min((v for v in (c.marked_rpm, c.maker_rpm) if v is not None), default=None)
        words.append(
            f"{c.id} carries no greatest speed: find it out before use."
            if most is None
            else f"{c.id} is marked or made for {most:.0f} rev/min at most."
        )
    words += [
        f"Dust of {d.material.title}: {c.item} {c.value} ({c.basis})."
        for c in cautions("wood dust", d.material.id)
        if c.applies_to
    ]
    yield from textwrap.wrap("Caution. " + " ".join(words), _WIDTH)


# --- files ------------------------------------------------------------------------------------------------------------


def _program(d: _Done) -> str:
    from shopcalc.gcode.writer import write_program

    wide, high = d.what.size
    return write_program(
        d.carved.moves, title=f"letters {d.what.name}: {', '.join(c.cutter.id for c, _ in d.carved.operations)}",
        notes=[
            f"{d.material.title}; lower left corner of the lettering at X0 Y0, the surface at Z0",
            f"{wide:.1f} x {high:.1f} mm, {d.carved.greatest_depth:.2f} mm deep",
            "check the greatest speed marked on each cutter before use; find the surface first",
        ],
        dwell_unit=d.machine.controller.dwell_unit,
    )  # fmt: skip


def _picture(d: _Done) -> str:
    from shopcalc.relief.lettering_picture import lettering_picture
    from shopcalc.units import write_time

    return lettering_picture(d.what, d.carved, f"{d.what.name}, {write_time(d.time.total_s)}", d.system)
