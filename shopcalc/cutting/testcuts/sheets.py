"""Printed pages of the test cuts: set-up, sketch, boxes to write in, cautions."""

from __future__ import annotations

import html
import math
from collections.abc import Mapping, Sequence

from shopcalc.cutters import Cutter
from shopcalc.cutting.fit import write_fit
from shopcalc.cutting.limits import cutter_rpm
from shopcalc.cutting.testcuts.ground import Ground, Scrap
from shopcalc.paths import Cutting
from shopcalc.units import System, write

_STYLE = """
@page { size: letter; margin: 9mm 12mm; }
body { font: 9pt/1.26 "DejaVu Sans", "Liberation Sans", Arial, sans-serif; color: #1d1d1b; }
body { max-width: 190mm; margin: 0 auto; }
h1 { font-size: 16pt; margin: 0; } h2 { font-size: 11pt; margin: 2.4mm 0 .8mm; }
p { margin: .6mm 0 1.2mm; } ol { margin: 1mm 0 0; padding-left: 5.5mm; } li { margin: 0 0 .4mm; }
.about { color: #45423b; margin: 0 0 1.5mm; } svg { display: block; margin: 1.5mm auto 0; width: 92%; }
table { border-collapse: collapse; width: 100%; } th { text-align: left; font-weight: 600; font-size: 8.4pt; }
.facts td { padding: .3mm 2mm .3mm 0; vertical-align: top; }
.facts td:nth-child(odd) { color: #5a564d; width: 20mm; }
.form th, .form td { border: .5pt solid #1d1d1b; padding: .5mm 1.4mm; height: 4.8mm; }
.form th { background: #eeebe3; vertical-align: bottom; } .box { min-width: 17mm; } .no { font-weight: 700; }
.form .tick { text-align: center; font-size: 11pt; line-height: 1; padding: .2mm; }
.signed { margin-top: 3mm; display: flex; gap: 4mm; }
.signed span { flex: 1; border-bottom: .5pt solid #1d1d1b; padding-bottom: 5mm; font-size: 8.2pt; color: #45423b; }
.caution { border: 1.2pt solid #1d1d1b; padding: 1.2mm 3mm; margin-top: 3mm; break-inside: avoid; font-size: 8.4pt; }
.caution ul { margin: .6mm 0 0; padding-left: 4.5mm; } .caution li { margin-bottom: .3mm; }
"""


def notes(cutting: Cutting, ground: Ground) -> list[str]:
    """Comments for the head of a program.

    Parameters
    ----------
    cutting : Cutting
        Its cutter counts.
    ground : Ground
        Face that is cut.
    """
    zero = "length, width and top" if ground.station == "flat" else "width, thickness and top end"
    return [
        f"cutter {cutting.cutter.id}, cutting diameter taken as {cutting.cutter.true_diameter:.4g} mm",
        f"zero at the scrap's corner: X and Y at its edges, Z at its top ({zero})",
        "keep clamps out of the way of the cuts and of their ends",
        "before starting: spindle raised to the top; the control must wait until it is at speed",
    ]


def facts(
    cutting: Cutting, ground: Ground, scrap: Scrap, depth: float, system: System, *, one_speed: bool
) -> list[tuple[str, str]]:
    """What the operator checks before clamping.

    Parameters
    ----------
    cutting : Cutting
        Of the test.
    ground : Ground
        Face that is cut.
    scrap : Scrap
        [mm].
    depth : float
        Greatest [mm].
    system : {"metric", "inch"}
        What the reader thinks in.
    one_speed : bool
        Whether the spindle turns at that of ``cutting`` throughout.
    """
    lie = "flat, grain with the cuts" if ground.station == "flat" else "stood on end, grain upright"
    size = " × ".join(_rough(v, system) for v in scrap)
    out = [
        ("cutter", f"{cutting.cutter.id}, diameter taken as {write_fit(cutting.cutter.true_diameter, system)}"),
        ("stick-out", write(cutting.cutter.stick_out, "length", system)),
        ("scrap", size),
        ("lies", lie),
        ("depth", write_fit(depth, system) + ("" if one_speed else " at most")),
    ]
    return [*out, ("spindle", write(cutting.rpm, "spindle_speed", system))] if one_speed else out


def _rough(value: float, system: System) -> str:
    """A size of the scrap: as a fraction where it is one, else no finer than anybody saws it."""
    text = write(value, "length", system)
    return text if system == "metric" or "." not in text else f"{value / 25.4:.2f} in"


def _steps(cutting: Cutting, ground: Ground, stops: bool, system: System) -> list[str]:
    """Setting up, in order."""
    backed = "; clamp back-up blocks against both faces" if ground.station == "end" else ""
    way = "X along the cuts, Y across them" if ground.station == "flat" else "X across the cuts, Y along them"
    whole = 5.0 if system == "metric" else 6.35
    clear = write(whole * math.ceil((2 * cutting.radius + cutting.lead + 10) / whole), "length", system)
    clear = clear.replace(" ", "\u00a0")
    higher = "50 mm" if system == "metric" else "2 in"
    last = "At each stop" if stops else "When it has ended"
    then = "Only then brush off, look and measure." if stops else "Leave the scrap clamped, and measure."
    return [
        "Take sound scrap of the wood the job is made of, its faces square. Hold it firmly, no clamp above its top "
        f"or within {clear} of the ends of the cuts{backed}.",
        "Fit the cutter clean and tight, stick-out as above, and measure its length as always.",
        f"Zero at the corner marked 0: X and Y on the edges, Z on the top; {way}. The program is in millimetres.",
        "Before each start raise the spindle to the top: the program's first move goes to just above the scrap. The "
        "control must wait until the spindle is at speed.",
        f"Run it once in the air with Z zero set {higher} higher, watch that it stays over the wood, and set it back.",
        "Then run it at 100 % feed, or the cut is not the one that is tested.",
        f"{last} wait until the spindle stands. {then}",
    ]


def _cautions(cutting: Cutting, system: System) -> list[str]:
    greatest, source, _ = cutter_rpm(cutting.cutter)
    speed, most = (write(v, "spindle_speed", system) for v in (cutting.rpm, greatest))
    name = html.escape(cutting.cutter.id)
    return [
        "The makers' instructions for machine and cutter, local codes and licensed practice come before this sheet.",
        f"Never above the speed marked on the cutter. {name}: {most} ({html.escape(source)}). "
        f"This test: {speed} at most.",
        "Guard closed, dust extraction on, every clamp tried by hand. Eye and ear protection, dust mask; no gloves, no "
        "loose sleeves.",
        "Stand clear, out of the line in which a piece could fly, with a hand at the stop.",
        "<b>Unexpected sound, smell or shaking: first stop the feed, then the spindle, then look.</b>",
        "Nobody reaches in before the spindle stands and the machine cannot start by itself.",
    ]


def _fact_table(told: Sequence[tuple[str, str]]) -> str:
    half = math.ceil(len(told) / 2)
    rows = [[told[i], *told[i + half : i + half + 1]] for i in range(half)]
    cells = ("".join(f"<td>{html.escape(k)}</td><td>{html.escape(v)}</td>" for k, v in row) for row in rows)
    return "<table class=facts>" + "".join(f"<tr>{c}</tr>" for c in cells) + "</table>"


def _signed(cutter: Cutter) -> str:
    words = ("date", "by", "machine", "wood, moisture", f"regrinds (known: {cutter.regrinds})")
    return "<div class=signed>" + "".join(f"<span>{html.escape(w)}</span>" for w in words) + "</div>"


def page(
    title: str,
    cutting: Cutting,
    ground: Ground,
    told: Sequence[tuple[str, str]],
    picture: str,
    form: str,
    *,
    stops: bool,
    system: System,
) -> str:
    """One printable page that needs no network.

    Parameters
    ----------
    title : str
        Of the test.
    cutting : Cutting
        With the fastest speed that is run.
    ground : Ground
        Face that is cut.
    told : sequence of (str, str)
        Facts, as ``facts`` gives them.
    picture, form : str
        SVG and HTML.
    stops : bool
        Whether the program stops on its way.
    system : {"metric", "inch"}
        What the reader thinks in.
    """
    cutter = cutting.cutter
    name, about = html.escape(cutter.id), html.escape(f"{cutter.id}: {cutter.title}" if cutter.title else cutter.id)
    steps = "".join(f"<li>{s}</li>" for s in _steps(cutting, ground, stops, system))
    cautions = "".join(f"<li>{t}</li>" for t in _cautions(cutting, system))
    body = [
        f"<h1>{html.escape(title)}</h1>",
        f"<p class=about>{about}</p>",
        _fact_table(told),
        picture,
        f"<h2>Setting up</h2><ol>{steps}</ol>",
        form,
        _signed(cutter),
        f"<div class=caution><b>Cautions</b><ul>{cautions}</ul></div>",
    ]
    return (
        f'<!doctype html>\n<html lang="en">\n<head><meta charset="utf-8"><title>{html.escape(title)}: {name}</title>'
        f"<style>{_STYLE}</style></head>\n<body>\n" + "\n".join(body) + "\n</body>\n</html>\n"
    )


# --- the sketch ------------------------------------------------------------------------------------------------------

_PLAN, _SECTION, _TOP = 62.0, 50.0, 22.0  # heights of the two views and of the line above each, in the sketch's units
_WOOD, _CUT, _INK, _AXIS, _FAINT = "#e9dcc3", "#ffffff", "#1d1d1b", "#b3261e", "#5a564d"


class _Sketch:
    """Lanes from above and in section, 640 units wide; a standing rail is turned so that x runs to the right."""

    def __init__(self, ground: Ground) -> None:
        self.flat, self.across = ground.station == "flat", ground.across
        self.scale = 590.0 / ground.across
        self.parts: list[str] = []
        self.plan, self.section = _TOP, 2 * _TOP + _PLAN

    def at(self, v: float) -> float:
        return 25 + self.scale * (v if self.flat else self.across - v)

    def span(self, v0: float, v1: float) -> tuple[float, float]:
        x0, x1 = sorted((self.at(v0), self.at(v1)))
        return x0, x1

    def line(self, path: str, colour: str = _INK, width: float = 1.2) -> None:
        self.parts.append(f'<path d="{path}" fill="none" stroke="{colour}" stroke-width="{width}"/>')

    def box(self, v0: float, v1: float, y: float, height: float, fill: str) -> None:
        x0, x1 = self.span(v0, v1)
        size = f'x="{x0:.1f}" y="{y:.1f}" width="{x1 - x0:.1f}" height="{height:.1f}"'
        self.parts.append(f'<rect {size} fill="{fill}" stroke="{_INK}"/>')

    def text(
        self, x: float, y: float, words: str, colour: str = _INK, anchor: str = "middle", bold: bool = False
    ) -> None:
        weight = ' font-weight="700"' if bold else ""
        place = f'x="{x:.1f}" y="{y:.1f}" font-size="9.5" text-anchor="{anchor}" fill="{colour}"{weight}'
        self.parts.append(f"<text {place}>{html.escape(words)}</text>")

    def wood(self, gone: Sequence[tuple[float, float]], depths: Sequence[float]) -> None:
        """What stays and what is cut away; the deepest cut is drawn two thirds down."""
        self.box(0, self.across, self.plan, _PLAN, _WOOD)
        self.box(0, self.across, self.section, _SECTION, _WOOD)
        for (v0, v1), depth in zip(gone, depths, strict=True):
            x0, x1 = self.span(v0, v1)
            for y, height in ((self.plan, _PLAN), (self.section, _SECTION * 0.66 * depth / max(depths))):
                self.box(v0, v1, y, height, _CUT)
                self.line(f"M{x0 + 0.5:.1f} {y:.1f} H{x1 - 0.5:.1f}", _CUT, 2.4)  # cuts are open at the top
            self.line(f"M{x0 + 0.5:.1f} {self.plan + _PLAN:.1f} H{x1 - 0.5:.1f}", _CUT, 2.4)
        self.text(615, self.plan - 7, "from above, the length of the cuts not to scale", _FAINT, "end")
        self.text(615, self.section - 7, "in section", _FAINT, "end")

    def arrow(self, v: float, forward: bool) -> None:
        """Feed along a lane, seen from above; u runs down the page on a board and up on a rail's end."""
        tip = 5 if forward == self.flat else -5
        y0, y1 = self.plan + 7, self.plan + _PLAN - 7
        y0, y1 = (y0, y1) if tip > 0 else (y1, y0)
        self.line(f"M{self.at(v):.1f} {y0:.1f} V{y1:.1f} m-3.2 {-tip} l3.2 {tip} l3.2 {-tip}")

    def caliper(self, v0: float, v1: float, number: str) -> None:
        """A numbered size below the section."""
        y, (x0, x1) = self.section + _SECTION + 11, self.span(v0, v1)
        for x in (x0, x1):
            self.line(f"M{x:.1f} {self.section + 5:.1f} V{y + 4:.1f}", _INK, 0.6)
        self.line(f"M{x0:.1f} {y:.1f} H{x1:.1f}", _INK, 1.8)
        x = (x0 + x1) / 2
        self.parts.append(f'<circle cx="{x:.1f}" cy="{y + 12:.1f}" r="7.5" fill="{_INK}"/>')
        self.text(x, y + 15.4, number, "#ffffff", bold=True)

    def corner(self) -> None:
        """The zero, and which way the axes run."""
        x, y = (25.0, self.plan) if self.flat else (25.0, self.plan + _PLAN)
        down = 1 if self.flat else -1
        self.line(f"M{x:.1f} {y:.1f} h26 m-4 -3 l4 3 l-4 3", _AXIS, 1.6)
        self.line(f"M{x:.1f} {y:.1f} v{26 * down} m-3 {-4 * down} l3 {4 * down} l3 {-4 * down}", _AXIS, 1.6)
        self.parts.append(f'<circle cx="{x}" cy="{y:.1f}" r="4" fill="#ffffff" stroke="{_INK}" stroke-width="1.6"/>')
        right, other = ("Y", "X") if self.flat else ("X", "Y")
        self.text(x - 11, y + 3.5, "0", bold=True)
        self.text(x + 28, y + (-6 if self.flat else 13), right, _AXIS, bold=True)
        self.text(x - 11, y + 26 * down + 3.5, other, _AXIS, bold=True)


def sketch(
    ground: Ground,
    gone: Sequence[tuple[float, float]],
    depths: Sequence[float],
    arrows: Sequence[tuple[float, bool]],
    numbered: Mapping[str, tuple[float, float]],
    named: Mapping[str, tuple[float, float]],
) -> str:
    """Lanes from above and in section, as SVG.

    Parameters
    ----------
    ground : Ground
        Face that is cut.
    gone : (n, 2) float
        Where each cut begins and ends in v [mm].
    depths : (n,) float
        Of each cut [mm].
    arrows : sequence of (float, bool)
        Where the cutter's centre goes in v, and whether towards +u [mm].
    numbered : mapping
        Number of each place to measure to where it begins and ends in v [mm].
    named : mapping
        Words to where they stand in v [mm].
    """
    s = _Sketch(ground)
    s.wood(gone, depths)
    for v, forward in arrows:
        s.arrow(v, forward)
    for number, lane in numbered.items():
        s.caliper(*lane, number)
    for words, lane in named.items():
        s.text(sum(s.span(*lane)) / 2, s.section - 7, words)
    s.corner()
    tall, inner = s.section + _SECTION + 32, "\n".join(s.parts)
    font = 'font-family="DejaVu Sans, Liberation Sans, Arial, sans-serif"'
    label = "the cuts from above and in section, with the numbered places to measure"
    return f'<svg viewBox="0 0 640 {tall:.0f}" role="img" aria-label="{label}" {font}>\n{inner}\n</svg>'
