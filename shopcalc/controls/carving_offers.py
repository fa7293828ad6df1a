"""Controls of notebook 05: ways to carve that are worth offering, and hours before there is any artwork."""

from __future__ import annotations

import html
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import ipywidgets as widgets
import numpy as np
import plotly.graph_objects as go

from shopcalc.controls import carving_pictures as pictures
from shopcalc.controls.carving import INK, ROUND, ROW, SYSTEMS, WIDTH, CarvingControl
from shopcalc.controls.parts import GREY, HUE, LENGTH, LONG, PALE, MeasuredControl, big, choice, figure, note, table
from shopcalc.errors import InputError
from shopcalc.quote.carving import CarvingPrice, carving_price, not_in_it, pricing
from shopcalc.relief.choices import Choice, Choices, choices, three
from shopcalc.relief.heights import HeightMap
from shopcalc.relief.kind_drawings import KINDS, draw
from shopcalc.relief.kinds import Before, hours_before_artwork
from shopcalc.relief.layouts import extent
from shopcalc.relief.maps import coarser
from shopcalc.relief.words import lengths_for
from shopcalc.risk import spread_of_three, three_point
from shopcalc.units import System, write_time

if TYPE_CHECKING:
    from shopcalc.shop import Shop

# --- ways worth offering ----------------------------------------------------------------------------------------------


class CarvingChoicesControl:
    """Ask which ways are worth offering; see them, and take one.

    Parameters
    ----------
    carving : CarvingControl
        The artwork and the controls that a chosen way sets.
    cutters : sequence of str, optional
        Of the rack, to be tried at first; what finishes and roughs reliefs if not given.
    cusps : sequence of float
        Heights to be tried [mm].
    most : int
        Ways to be computed fully at most, spread evenly over the time [-].
    """

    def __init__(
        self, carving: CarvingControl, cutters: Sequence[str] | None = None,
        cusps: Sequence[float] = (0.01, 0.02, 0.04, 0.08), most: int = 6,
    ) -> None:  # fmt: skip
        self.carving, self.cusps, self.most = carving, tuple(cusps), most
        self.found: Choices | None = None
        self._art: tuple[Any, ...] = ()
        rack = [c for c in carving.shop.cutters.values() if c.shape in ("square end", *ROUND)]
        self.rack = widgets.SelectMultiple(
            options=[(f"{c.id}: {c.title}", c.id) for c in rack], value=list(cutters or [c.id for c in rack]),
            rows=min(7, max(3, len(rack))), description="cutters tried", style={"description_width": "9em"},
            layout=widgets.Layout(width="34em"),
        )  # fmt: skip
        self.ask_button = widgets.Button(description="what could be offered", layout=widgets.Layout(width="16em"))
        self.ask_button.on_click(lambda _: self.ask())
        self.bar = widgets.FloatProgress(value=0.0, max=1.0, layout=widgets.Layout(width="16em", visibility="hidden"))
        self.said, self.table = widgets.HTML(), widgets.HTML()
        self.cards = [widgets.HTML() for _ in range(3)]
        self.buttons = [
            widgets.Button(description="take this one", layout=widgets.Layout(width="16em")) for _ in range(3)
        ]
        for number, button in enumerate(self.buttons):
            button.on_click(lambda _, n=number: self.take(n))
        self.figure = figure(
            [
                go.Scatter(x=[], y=[], mode="markers", name="tried by hand", hoverinfo="text",
                           marker={"color": GREY, "size": 8, "symbol": "x-thin", "line": {"width": 2, "color": GREY}}),
                go.Scatter(x=[], y=[], mode="lines+markers+text", name="none is both cheaper and finer",
                           line={"color": HUE, "width": 2}, marker={"color": HUE, "size": 10}, hoverinfo="text",
                           textposition="top right", textfont={"size": 12}, cliponaxis=False),
                go.Scatter(x=[], y=[], mode="markers", name="set now", hoverinfo="text",
                           marker={"color": INK, "size": 18, "symbol": "circle-open", "line": {"width": 2}}),
            ],
            title={"text": "Price against the wood left"}, height=400, width=2.4 * WIDTH,
            margin={"t": 80, "b": 50, "l": 10, "r": 90}, modebar={"orientation": "v"},
            legend={"orientation": "h", "y": 1.0, "yanchor": "bottom", "x": 1, "xanchor": "right"},
            xaxis={"title": {"text": f"asked, {carving.shop.rates.currency}, sanding counted"}, "rangemode": "tozero"},
            yaxis={"title": {"text": ""}, "rangemode": "tozero"},
        )  # fmt: skip
        cards = [
            widgets.VBox([card, button], layout=widgets.Layout(width=f"{WIDTH + 6:.0f}px"))
            for card, button in zip(self.cards, self.buttons, strict=True)
        ]
        self.three = widgets.Box(cards, layout=widgets.Layout(**{**_flow(), "display": "none"}))
        self.view = widgets.VBox(
            [
                widgets.Box([self.rack, widgets.VBox([self.ask_button, self.bar])], layout=ROW), self.said,
                self.figure, self.table, self.three,
            ]
        )  # fmt: skip
        carving.when_carved(self._draw)
        self._draw()

    def ask(self) -> None:
        """Look for the ways of which none is both cheaper and finer than another, sanding counted."""
        c = self.carving
        shop = c.shop
        self.bar.value, self.bar.layout.visibility, self.ask_button.disabled = 0.0, "visible", True
        self.said.value = note("trying cutters and cusps …")
        try:
            self.found = choices(
                c.surface, [shop.cutter(k) for k in self.rack.value], shop.machine(c.machine.value),
                shop.material(c.material.value), cusps_wanted=self.cusps, direction=c.direction.value,
                outside=c._outside, learned=shop.learned, sanding_per_area=shop.rates.minutes["sanding_per_area"],
                pricing=pricing(shop.rates), most=self.most, progress=self._tell,
            )  # fmt: skip
            self._art = self._asked_for()
            self.said.value = ""
        except InputError as fault:
            self.found = None
            self.said.value = "".join(note(f"nothing found: {f}") for f in fault.faults)
        finally:
            self.bar.layout.visibility, self.ask_button.disabled = "hidden", False
        self._draw()

    def _tell(self, share: float) -> None:
        self.bar.value = share

    def _asked_for(self) -> tuple[Any, ...]:
        c = self.carving
        return (*c._art_key(), c.sunk.value, c.machine.value, c.material.value)

    @property
    def offered(self) -> tuple[Choice, ...]:
        """Quick, middle and fine; fewer where there are fewer."""
        return () if self.found is None else three(self.found)

    def take(self, number: int) -> None:
        """Set the controls to the quick, the middle or the fine one.

        Parameters
        ----------
        number : int
            0, 1 or 2.
        """
        if number < len(self.offered):
            self.carving.take(self.offered[number])

    def _draw(self) -> None:
        c = self.carving
        per, unit = (25.4, "in") if c.system == "inch" else (1.0, "mm")
        stale = self.found is not None and self._art != self._asked_for()
        kept = () if self.found is None or stale else self.found.kept
        art = c._art_key()
        hand = [tried for k, tried in c.tried.items() if k[: len(art)] == art]
        ways = [(k.result, c._price(k.result)) for k in kept]
        with self.figure.change() as f:
            for trace, many in ((f.data[0], hand), (f.data[1], ways), (f.data[2], [(c.result, c.priced)])):
                some = [(r, p) for r, p in many if r is not None and p is not None]
                trace.x, trace.y = [float(p.asked) for _, p in some], [r.wood_left / per for r, _ in some]
                trace.hovertext = [
                    f"{r.scheme.name}, {c._fine(r.scheme.finishing.stepover)} apart, {write_time(r.seconds)}"
                    for r, _ in some
                ]
            f.data[1].text = [k.result.scheme.name for k in kept]
            f.layout.yaxis.title.text = f"wood left over the artwork, {unit}"
        if self.found is not None:
            self.said.value = note("Artwork, machine or wood have changed since: ask again.") if stale else ""
        if not kept:
            self.table.value, self.three.layout.display = "", "none"
            return
        self._show_table(kept)
        self._show_three()

    def _show_table(self, kept: Sequence[Choice]) -> None:
        c = self.carving
        rows = []
        names = {id(k): n for k, n in zip(self.offered, self._names(), strict=False)}
        for k in kept:
            r, p = k.result, c._price(k.result)
            rows.append(
                [
                    r.scheme.name, names.get(id(k), ""), f"{r.minutes:.1f}", c._fine(r.scheme.finishing.stepover),
                    c._fine(r.cusps.mean), f"{100 * r.left.area_share:.1f} %", c._fine(r.wood_left),
                    f"{r.sanding_hours:.2f}", f"{p.floor:,.0f}", f"{p.asked:,.0f}",
                    "the same" if k.faster is None else f"{k.faster.seconds / 60:.1f}, {k.faster.price:,.0f}",
                ]
            )  # fmt: skip
        head = [
            "cutters", "offered as", "min", "stepover", "mean cusp", "not reached", "wood left", "sanding, h",
            f"floor, {c.shop.rates.currency}", "asked", "at the greatest feeds: min, asked",
        ]  # fmt: skip
        found = self.found
        assert found is not None
        words = (
            f"{found.looked_at} ways were looked at; none of these is both cheaper, sanding counted, and leaves less. "
            "Quick is the cheapest. Wood left is the mean height over the artwork when the machine is done: detail not "
            "reached, and a third of the cusps. Minutes are at the usual feeds; the last column is at the greatest the "
            "limits allow."
        )
        left_out = "".join(note(lengths_for(f"left out: {reason}", c.system)) for reason in found.left_out)
        self.table.value = table("Ways worth offering", head, rows, words=(1,)) + note(words) + left_out

    def _names(self) -> list[str]:
        return {1: ["the only one"], 2: ["quick", "fine"]}.get(len(self.offered), ["quick", "middle", "fine"])

    def _show_three(self) -> None:
        c, offered = self.carving, self.offered
        surface = c.surface
        whole = extent(surface)
        differ = offered[0].result.left.depth.z - offered[-1].result.left.depth.z
        x, y = _fullest(surface.with_(differ), 0.09 * surface.length)
        a, b = surface.length / 9, surface.length / 18
        x, y = min(max(x, whole[0] + a), whole[2] - a), min(max(y, whole[1] + b), whole[3] - b)
        for k, (card, button) in enumerate(zip(self.cards, self.buttons, strict=True)):
            button.layout.display = "" if k < len(offered) else "none"
            if k >= len(offered):
                card.value = ""
                continue
            r = offered[k].result
            p = c._price(r)
            lit = pictures.in_wood(surface.with_(surface.z + r.left.depth.z))
            button.tooltip = button.description = f"take the {self._names()[k]} one"
            card.value = _card(
                self._names()[k].capitalize(),
                [pictures.address(lit, whole, w, WIDTH) for w in (whole, (x - a, y - b, x + a, y + b))],
                f"{p.asked:,.0f} {p.currency}",
                f"{write_time(r.seconds)} of machine, {r.sanding_hours:.1f} h of sanding",
                f"{r.scheme.name}, lines {c._fine(r.scheme.finishing.stepover, 2)} apart; "
                f"{100 * (1 - r.left.area_share):.1f} % of the artwork reached",
            )  # fmt: skip
        self.three.layout.display = "flex"


def _flow() -> dict[str, str]:
    return {"display": "flex", "flex_flow": "row wrap", "align_items": "flex-start"}


def _fullest(left: HeightMap, reach: float) -> tuple[float, float]:
    """Middle of the place round which the most is left."""
    from scipy.ndimage import uniform_filter

    mean = uniform_filter(left.z, max(1, round(reach / left.pixel)), mode="constant")
    i, j = np.unravel_index(int(mean.argmax()), mean.shape)
    return float(left.x[j]), float(left.y[i])


def _card(title: str, images: Sequence[str], asked: str, time_words: str, small: str) -> str:
    """One of three offers."""
    words = [html.escape(w) for w in (title, asked, time_words, small)]
    pictures_html = "".join(
        f'<img alt="{words[0]}: {what}" src="{source}" '
        f'style="width:{WIDTH:.0f}px;display:block;margin-top:4px;border-radius:3px">'
        for source, what in zip(images, ("the whole carving", "a part of it, nearer"), strict=True)
    )
    return (
        f'<div style="width:{WIDTH:.0f}px;line-height:1.35"><div style="display:flex;justify-content:space-between;'
        f'align-items:baseline;font-weight:600;font-size:18px"><span>{words[0]}</span><span>{words[1]}</span></div>'
        f'{pictures_html}<div style="font-size:14px;margin-top:6px">{words[2]}</div>'
        f'<div style="font-size:12px;color:#444">{words[3]}</div></div>'
    )


# --- before any artwork -----------------------------------------------------------------------------------------------


class BeforeArtworkControl:
    """Kind, size and finest detail of a carving nobody has drawn yet; its hours as a band.

    Parameters
    ----------
    shop : Shop
        Whose rack, machines, woods and rates are offered.
    system : {"metric", "inch"}
        Units shown at first.
    length, width, depth, smallest_detail : float
        To begin with [mm].
    """

    def __init__(
        self, shop: Shop, system: System = "metric", *, length: float = 300.0, width: float = 200.0, depth: float = 9.5,
        smallest_detail: float = 3.0,
    ) -> None:  # fmt: skip
        self.shop = shop
        self.told: Before | None = None
        self.priced: CarvingPrice | None = None
        self._known: dict[tuple[Any, ...], tuple[Before, str]] = {}
        self._quiet = False
        self.units = choice("units", SYSTEMS, system, self._change_units, "31em")
        self.kind = choice("kind", [(k, k) for k in KINDS], next(iter(KINDS)), self.update, "31em")
        self.machine = choice(
            "machine", [(m.title or k, k) for k, m in shop.machines.items()], next(iter(shop.machines)), self.update,
            "31em",
        )  # fmt: skip
        woods = sorted(((m.title, k) for k, m in shop.materials.items()), key=lambda w: w[0].lower())
        self.material = choice("wood", woods, shop.material(next(iter(shop.rates.materials))).id, self.update, "31em")
        self.length = MeasuredControl("length", length, 40.0, 1500.0, LONG, system)
        self.width = MeasuredControl("width", width, 40.0, 1000.0, LONG, system)
        self.depth = MeasuredControl("depth", depth, 1.0, 25.0, LENGTH, system)
        self.detail = MeasuredControl("narrowest grooves", smallest_detail, 0.8, 15.0, LENGTH, system)
        for control in self._measured():
            control.observe(self.update)
        self.band_figure = figure(
            [
                go.Scatter(x=[], y=[], mode="lines", line={"color": PALE, "width": 20}, name="eight of ten"),
                go.Scatter(x=[], y=[], mode="markers+text", textposition="top center", name="likely",
                           marker={"color": HUE, "size": 22, "symbol": "line-ns-open", "line": {"width": 3}}),
            ],
            title={"text": "Hours of machine, eight of ten such carvings"}, height=190, width=1.55 * WIDTH,
            showlegend=False, xaxis={"title": {"text": "hours"}, "rangemode": "tozero"},
            yaxis={"visible": False, "range": [-1, 1.8]}, modebar={"orientation": "v"}, margin={"r": 60},
        )  # fmt: skip
        self.answer, self.image, self.table, self.progress = (widgets.HTML() for _ in range(4))
        self.view = widgets.VBox(
            [
                widgets.Box(
                    [widgets.VBox([self.units, self.kind]), widgets.VBox([self.machine, self.material])], layout=ROW
                ),
                *(m.view for m in self._measured()), self.progress, self.answer,
                widgets.Box([self.image, self.band_figure], layout=ROW), self.table,
            ]
        )  # fmt: skip
        self.update()

    def _measured(self) -> tuple[MeasuredControl, ...]:
        return self.length, self.width, self.depth, self.detail

    @property
    def system(self) -> System:
        """Units shown."""
        shown: System = self.units.value
        return shown

    def _change_units(self) -> None:
        self._quiet = True
        for control in self._measured():
            control.system = self.system
        self._quiet = False
        self.update()

    def update(self) -> None:
        """Draw reliefs of the kind, compute their hours, show the band."""
        if self._quiet:
            return
        length, width, depth, finest = (m.value for m in self._measured())
        key = (self.kind.value, self.machine.value, self.material.value, length, width, depth, finest)
        try:
            if key not in self._known:
                self._say("drawing reliefs of this kind …")
                told = hours_before_artwork(
                    self.kind.value, length, width, depth, finest, self.shop.machine(self.machine.value),
                    self.shop.material(self.material.value), self.shop.cutters.values(), learned=self.shop.learned,
                    sanding_per_area=self.shop.rates.minutes["sanding_per_area"],
                    progress=lambda share: self._say(f"computing their lines … {100 * share:.0f} %"),
                )  # fmt: skip
                drawn = draw(
                    self.kind.value, length=length, width=width, depth=depth, smallest_detail=finest,
                    pixel=max(length / 500, finest / 6),
                )  # fmt: skip
                lit = pictures.in_wood(coarser(drawn, 400_000))
                image = pictures.address(lit, extent(drawn), extent(drawn), WIDTH)
                self._known[key] = (told, image)
            self._say("")
        except InputError as fault:
            self._say("")
            self.progress.value = "".join(note(f"not computed: {f}") for f in fault.faults)
            return
        self.told, image = self._known[key]
        self._show(image)

    def _say(self, words: str) -> None:
        self.progress.value = note(words) if words else ""

    def _show(self, image: str) -> None:
        t = self.told
        assert t is not None
        band = (t.low, t.likely, t.high)
        sigma = spread_of_three(*band).sigma
        self.priced = p = carving_price(three_point(*band)[0], t.sanding_hours, self.shop.rates, sigma=sigma)
        low, likely, high = (s / 3600 for s in band)
        self.answer.value = big(
            f"{likely:.1f} h of machine, {low:.1f} to {high:.1f} h in eight of ten cases: ask {p.asked:,.0f} "
            f"{p.currency} (floor {p.floor:,.0f}), {t.sanding_hours:.1f} h of sanding counted"
        )
        with self.band_figure.change() as f:
            f.data[0].x, f.data[0].y = [low, high], [0, 0]
            f.data[1].x, f.data[1].y = [low, likely, high], [0, 0, 0]
            f.data[1].text = [f"{v:.1f}" for v in (low, likely, high)]
            f.layout.xaxis.range = [0, 1.1 * high]
        stepover = f"{t.stepover / 25.4:.4f} in" if self.system == "inch" else f"{t.stepover:.3f} mm"
        cusp = f"{t.cusp / 25.4:.4f} in" if self.system == "inch" else f"{t.cusp:.3f} mm"
        rows = [
            ["cutters", f"{t.scheme}, lines {stepover} apart"],
            ["cusp", f"{cusp} at most on all but 5 % of the area (assumed)"],
            ["price", f"{p.how}; {not_in_it(self.shop.rates)}"],
            ["drawn and computed", ", ".join(write_time(s) for s in t.each)],
            ["how sure", "yours will differ from these, which the band allows for; logged carvings narrow it"],
        ]
        self.table.value = table("How it comes about", ["", ""], rows, words=(1,))
        self.image.value = (
            f'<figure style="margin:0 1.5em 0 0;width:{WIDTH:.0f}px"><img alt="a relief of this kind" src="{image}" '
            f'style="width:{WIDTH:.0f}px;border-radius:3px"><figcaption style="font-size:12px;color:#444">'
            f"{html.escape(self.kind.value)}: {html.escape(KINDS[self.kind.value].description)}. Drawn by our own code "
            "to compute with, not to be carved.</figcaption></figure>"
        )


def before_artwork(shop: Shop, system: System = "metric", **begin: float) -> BeforeArtworkControl:
    """The control over hours before any artwork, to be shown by ``.view``.

    Parameters
    ----------
    shop : Shop
        The shop.
    system : {"metric", "inch"}
        Units shown at first.
    **begin : object
        See ``BeforeArtworkControl``: length, width, depth, smallest_detail.
    """
    return BeforeArtworkControl(shop, system, **begin)
