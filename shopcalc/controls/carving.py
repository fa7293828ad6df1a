"""Control of notebook 05: an artwork, its cutters and steps, its hours, what is left of its detail, and its price."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import ipywidgets as widgets
import numpy as np
import plotly.graph_objects as go

from shopcalc.controls import carving_pictures as pictures
from shopcalc.controls.parts import (
    FEED,
    FINE,
    GREY,
    HUE,
    LENGTH,
    LONG,
    LiveFigure,
    MeasuredControl,
    NumberControl,
    big,
    choice,
    figure,
    heading,
    note,
    table,
)
from shopcalc.errors import Fault, InputError
from shopcalc.moves import Kind, from_lists
from shopcalc.quote import CAUTION
from shopcalc.quote.carving import CarvingPrice, carving_price, not_in_it
from shopcalc.relief.artwork import Artwork, read_artwork
from shopcalc.relief.carving import CarvingResult, carve
from shopcalc.relief.choices import Choice
from shopcalc.relief.detail import SmallestDetail, smallest_detail
from shopcalc.relief.finishing import cusps, stepover_for
from shopcalc.relief.heights import HeightMap
from shopcalc.relief.layouts import extent
from shopcalc.relief.maps import reach_of
from shopcalc.relief.reach import centre_surface, profile
from shopcalc.relief.scheme import USUAL_CUSP, scheme_for
from shopcalc.relief.words import lengths_for
from shopcalc.units import System, write, write_time

if TYPE_CHECKING:
    from shopcalc.cutters import Cutter
    from shopcalc.shop import Shop

#: Files that are offered from the folder of reliefs; what a file really is, its first bytes say.
ARTWORK_ENDINGS = frozenset({".png", ".tif", ".tiff", ".jpg", ".jpeg", ".stl", ".ply"})
ROUND = ("ball", "tapered ball", "core-box")
SYSTEMS = [("inch", "inch"), ("metric: mm", "metric")]
WIDTH = 314.0  # of one of three pictures side by side [px]
_MOST_KEPT = 40  # answers, so that going back is instant
_PLACES = 5
_CLOSE = 6.0  # times nearer when a place is gone to
INK = "#222222"
_EMPTY = from_lists([(0, 0, 0), (0, 0, 0)], [Kind.RAPID])
ROW = widgets.Layout(display="flex", flex_flow="row wrap", align_items="flex-start")
_COLUMN = widgets.Layout(width="31em")


@dataclass(frozen=True, eq=False)
class _Looked:
    """An artwork at a size, and what cutters reach of it."""

    art: Artwork
    detail: SmallestDetail
    lit: pictures.Pixels
    reach: dict[str, HeightMap]
    tips: dict[str, HeightMap]


class CarvingControl:
    """Choose artwork, cutters and steps; see what is carved of it, in which time and for which price.

    Parameters
    ----------
    shop : Shop
        Whose rack, machines, woods and rates are offered.
    files : list of Path
        Artwork to choose from; the first one is shown.
    system : {"metric", "inch"}
        Units shown at first.
    length, depth : float
        Of the carving, to begin with [mm].
    pixel : float or None
        Side of the map's squares, to begin with [mm]; None for the file's own.
    cutter, machine, material : str or None
        To begin with; None for the widest round tip that leaves little, the first machine and the first wood priced.
    """

    def __init__(
        self, shop: Shop, files: list[Path], system: System = "metric", *, length: float = 304.8, depth: float = 9.5,
        pixel: float | None = 0.5, cutter: str | None = None, machine: str | None = None, material: str | None = None,
    ) -> None:  # fmt: skip
        self.shop = shop
        self.result: CarvingResult | None = None
        self.priced: CarvingPrice | None = None
        self.places: list[tuple[float, float]] = []
        self.window: pictures.Window = (0.0, 0.0, 1.0, 1.0)
        self.tried: dict[tuple[Any, ...], tuple[CarvingResult, CarvingPrice]] = {}
        self._looked: dict[tuple[Any, ...], _Looked] = {}
        self._undo: list[dict[str, Any]] = []
        self._calls: list[Callable[[], None]] = []
        self._quiet = True
        self._held = "cusp"
        self._build_artwork(files, system, length, depth, pixel)
        self._build_cutting(system, cutter, machine, material)
        self._build_looking(system)
        self._build_figures()
        self._state = self._states()
        self._quiet = False
        self.update()

    # --- controls -----------------------------------------------------------------------------------------------------

    def _build_artwork(
        self, files: list[Path], system: System, length: float, depth: float, pixel: float | None
    ) -> None:  # fmt: skip
        call = self.update
        self.units = choice("units", SYSTEMS, system, self._change_units, "31em")
        offered = [(f.name, str(f)) for f in files]
        self.artwork = choice("artwork", offered, offered[0][1] if offered else None, self._new_artwork, "31em")
        self.file = widgets.Text(
            description="or any file", placeholder="folder/name.png", continuous_update=False,
            style={"description_width": "9em"}, layout=_COLUMN,
        )  # fmt: skip
        self.file.observe(lambda _: self._take_file(), names="value")
        self.length = MeasuredControl("length, along x", length, 20.0, 1500.0, LONG, system)
        self.depth = MeasuredControl("depth of the deepest place", depth, 0.5, 60.0, LENGTH, system)
        sizes = [("1 mm: a quick look", 1.0), ("0.5 mm", 0.5), ("0.25 mm", 0.25), ("as fine as the file", None)]
        if pixel not in [p for _, p in sizes]:
            sizes.insert(0, (f"{pixel:g} mm", pixel))
        self.squares = choice("squares of", sizes, pixel, self._new_artwork, "31em")
        self.inverted, self.smooth, self.sunk = (
            widgets.Checkbox(value=False, description=words, indent=False, layout=widgets.Layout(width="auto"))
            for words in ("black is high", "smooth out grey steps", "wood stays round it")
        )
        for box, action in ((self.inverted, self._new_artwork), (self.smooth, self._new_artwork), (self.sunk, call)):
            box.observe(lambda _, do=action: do(), names="value")
        for control in (self.length, self.depth):
            control.observe(self._new_artwork)

    def _build_cutting(
        self, system: System, cutter: str | None, machine: str | None, material: str | None
    ) -> None:  # fmt: skip
        shop, call = self.shop, self.update
        machines = [(m.title or k, k) for k, m in shop.machines.items()]
        self.machine = choice("machine", machines, machine or machines[0][1], self._new_cutting, "31em")
        woods = sorted(((m.title, k) for k, m in shop.materials.items()), key=lambda w: w[0].lower())
        wood = material or next(iter(shop.rates.materials))
        self.material = choice("wood", woods, shop.material(wood).id, self._new_cutting, "31em")
        finishers = [c for c in shop.cutters.values() if c.shape in ROUND]
        named = [(f"{c.id}: {c.title}", c.id) for c in sorted(finishers, key=lambda c: -profile(c).ball)]
        if not named:
            raise _fault("the rack has no ball, tapered ball or core-box, which finish reliefs", "add one")
        first = shop.cutter(cutter).id if cutter else min(finishers, key=lambda c: abs(profile(c).ball - 1.6)).id
        self.cutter = choice("finished with", named, first, self._new_cutting, "31em")
        roughers = [(f"{c.id}: {c.title}", c.id) for c in shop.cutters.values() if c.shape in ("square end", *ROUND)]
        self.roughing = choice(
            "roughed with", [("suggested, if needed", "suggested"), ("nothing", "none"), *roughers], "suggested", call,
            "31em",
        )  # fmt: skip
        self.cleaning = choice("cleaned up with", [("nothing", "none"), *named], "none", call, "31em")
        ways = [
            ("along x", "x"), ("along y", "y"), ("first along x, then y", "both"), ("slanting, 45°", 45.0),
            ("slanting, 135°", 135.0),
        ]  # fmt: skip
        self.direction = choice("lines", ways, "x", self._new_cutting, "31em")
        self.cusp = MeasuredControl("cusp on 95 % of the area", USUAL_CUSP, 0.002, 0.3, FINE, system)
        self.stepover = MeasuredControl("stepover", 0.4, 0.02, 5.0, FINE, system)
        self.usual_feed = widgets.Checkbox(
            value=True, description="the usual feed of this cutter in this wood", indent=False,
            layout=widgets.Layout(width="auto"),
        )  # fmt: skip
        self.usual_feed.observe(lambda _: self._toggle_feed(), names="value")
        self.feed = MeasuredControl("feed", 3000.0, 100.0, 15_000.0, FEED, system)
        self.feed.enable(False)
        self.cusp.observe(lambda: self._hold("cusp"))
        self.stepover.observe(lambda: self._hold("stepover"))
        self.feed.observe(call)
        self.undo_button = widgets.Button(description="undo", disabled=True, layout=widgets.Layout(width="7em"))
        self.undo_button.on_click(lambda _: self.undo())

    def _build_looking(self, system: System) -> None:
        self.look_at = choice("look at", [("the whole", 0)], 0, self._look, "24em")
        self.back = widgets.Button(description="back to the whole", layout=widgets.Layout(width="12em"))
        self.back.on_click(lambda _: self._look_at_the_whole())
        self.magnify = NumberControl("times nearer", 1, 1, 20, 1)
        self.magnify.observe(self._look_nearer)
        self.along = choice("cut along", [("x", "x"), ("y", "y")], "x", self._turn_section, "14em")
        self.at = MeasuredControl("at a distance from the edge", 0.0, 0.0, 1000.0, LENGTH, system)
        self.at.observe(self._draw_section)

    def _measured(self) -> tuple[MeasuredControl, ...]:
        return self.length, self.depth, self.cusp, self.stepover, self.feed, self.at

    @property
    def system(self) -> System:
        """Units shown."""
        shown: System = self.units.value
        return shown

    # --- pictures -----------------------------------------------------------------------------------------------------

    def _build_figures(self) -> None:
        self.wanted_figure = pictures.picture("The artwork", WIDTH)
        self.reached_figure = pictures.picture("What the cutters leave", WIDTH)
        self.left_figure = pictures.picture("Detail left", WIDTH, scale=True)
        for shown in self._three:
            shown.layout.on_change(self._zoomed, "xaxis.range", "yaxis.range")
        lines = [
            ("wanted", {"color": INK, "width": 2}), ("reached", {"color": HUE, "width": 2, "dash": "dash"}),
        ]  # fmt: skip
        self.section_figure = figure(
            [
                *(go.Scatter(x=[], y=[], mode="lines", name=n, line=s) for n, s in lines),
                go.Scatter(x=[], y=[], mode="markers", name="tightest place", hoverinfo="skip",
                           marker={"symbol": "circle-open", "size": 14, "color": INK, "line": {"width": 2}}),
            ],
            title={"text": "Cut through the carving"}, height=320, width=2 * WIDTH,
            margin={"t": 75, "b": 45, "l": 10, "r": 60}, modebar={"orientation": "v"},
            legend={"orientation": "h", "y": 1.0, "yanchor": "bottom", "x": 1, "xanchor": "right"},
            xaxis={"title": {"text": ""}, "showgrid": False}, yaxis={"title": {"text": ""}},
        )  # fmt: skip
        self.close_figure = figure(
            [
                go.Scatter(x=[], y=[], mode="lines", name="cutter", line={"color": GREY, "width": 1.5},
                           fill="toself", fillcolor="rgba(120,120,120,0.22)", hoverinfo="skip"),
                go.Scatter(x=[], y=[], mode="lines", name="ball", hoverinfo="skip",
                           line={"color": GREY, "width": 1.5, "dash": "dot"}),
                *(go.Scatter(x=[], y=[], mode="lines", name=n, line=s) for n, s in lines),
                go.Scatter(x=[], y=[], mode="markers", name="tightest place", hoverinfo="skip",
                           marker={"symbol": "circle-open", "size": 14, "color": INK, "line": {"width": 2}}),
            ],
            title={"text": "The tightest place, true to scale"}, height=340, width=WIDTH, showlegend=False,
            margin={"t": 62, "l": 10, "r": 50, "b": 40}, modebar={"orientation": "v"},
            xaxis={"title": {"text": ""}, "constrain": "domain"},
            yaxis={"title": {"text": ""}, "scaleanchor": "x", "constrain": "domain"},
        )  # fmt: skip
        self.answer, self.figures_table, self.remarks, self.progress, self.faults, self.art_note = (
            widgets.HTML() for _ in range(6)
        )  # fmt: skip
        self.faults.layout.width = "auto"

        def column(*parts: Any) -> widgets.VBox:
            return widgets.VBox(list(parts), layout=widgets.Layout(margin="0 1.5em 0 0"))

        self.view = widgets.VBox(
            [
                widgets.HTML(heading("The artwork")),
                widgets.Box(
                    [
                        column(self.units, self.artwork, self.file),
                        column(self.squares, self.inverted, self.smooth, self.sunk),
                    ],
                    layout=ROW,
                ),
                self.length.view, self.depth.view, self.art_note,
                widgets.HTML(heading("How it is carved")),
                widgets.Box(
                    [column(self.machine, self.material, self.direction),
                     column(self.cutter, self.roughing, self.cleaning)],
                    layout=ROW,
                ),
                self.cusp.view, self.stepover.view, self.feed.view,
                widgets.HBox([self.usual_feed, self.undo_button]),
                self.progress, self.faults, self.answer, self.remarks,
                widgets.HTML(heading("What comes of it")),
                widgets.Box([self.look_at, self.back], layout=ROW), self.magnify.view,
                widgets.Box(list(self._three), layout=ROW),
                self.figures_table,
                widgets.HTML(heading("A cut through it")),
                widgets.Box([self.along, self.at.view], layout=ROW),
                widgets.Box([self.section_figure, self.close_figure], layout=ROW), widgets.HTML(note(CAUTION)),
            ]
        )  # fmt: skip

    @property
    def _three(self) -> tuple[LiveFigure, LiveFigure, LiveFigure]:
        return self.wanted_figure, self.reached_figure, self.left_figure

    # --- what was moved -----------------------------------------------------------------------------------------------

    def _settings(self) -> dict[str, Any]:
        """Everything an answer depends on, by name."""
        return {
            name: getattr(self, name)
            for name in (
                "artwork", "squares", "inverted", "smooth", "sunk", "length", "depth", "machine", "material", "cutter",
                "roughing", "cleaning", "direction", "cusp", "stepover", "usual_feed", "feed",
            )
        }  # fmt: skip

    def _states(self) -> dict[str, Any]:
        return {**{name: control.value for name, control in self._settings().items()}, "_held": self._held}

    def set(self, **values: Any) -> None:
        """Move several controls at once, then compute once.

        Parameters
        ----------
        **values : object
            By the control's name, in the house's units: ``set(cutter="TB3", stepover=0.4)``. A stepover or a cusp
            that is given holds; the other follows.

        Raises
        ------
        ValueError
            When there is no such control.
        """
        known = self._settings()
        if unknown := sorted(set(values) - set(known)):
            raise ValueError(f"no control is named {', '.join(unknown)}: there are {', '.join(known)}")
        with self._silently():
            for name, value in values.items():
                known[name].value = value
            if "cusp" in values or "stepover" in values:
                self._held = "stepover" if "stepover" in values else "cusp"
            if "feed" in values:
                self.usual_feed.value = False
            self.feed.enable(not self.usual_feed.value)
        self.update()

    @contextmanager
    def _silently(self) -> Iterator[None]:
        quiet, self._quiet = self._quiet, True
        try:
            yield
        finally:
            self._quiet = quiet

    def undo(self) -> None:
        """Bring back the settings before the last change; what was computed for them is still known."""
        if not self._undo:
            return
        before = self._undo.pop()
        with self._silently():
            self._held = before.pop("_held")
            for name, control in self._settings().items():
                control.value = before[name]
            self.feed.enable(not self.usual_feed.value)
        self._state = self._states()
        self.update()

    def _remember(self) -> None:
        now = self._states()
        if now != self._state:
            self._undo.append(self._state)
            del self._undo[:-50]
            self._state = now
        self.undo_button.disabled = not self._undo

    def _hold(self, which: str) -> None:
        if not self._quiet:
            self._held = which
            self.update()

    def _toggle_feed(self) -> None:
        self.feed.enable(not self.usual_feed.value)
        self.update()

    def _new_cutting(self) -> None:
        self.update()

    def _new_artwork(self) -> None:
        self.update()

    def _take_file(self) -> None:
        path = self.file.value.strip()
        if not path or self._quiet:
            return
        if path not in [v for _, v in self.artwork.options]:
            self.artwork.options = [*self.artwork.options, (Path(path).name, path)]
        self.artwork.value = path

    def _change_units(self) -> None:
        with self._silently():
            for control in self._measured():
                control.system = self.system
        if self.result is not None:
            self._show()

    # --- computing ----------------------------------------------------------------------------------------------------

    def _art_key(self) -> tuple[Any, ...]:
        path = Path(self.artwork.value or "")
        stamp = path.stat().st_mtime_ns if path.is_file() else 0
        return (
            str(path), stamp, self.length.value, self.depth.value, self.squares.value, self.inverted.value,
            self.smooth.value,
        )  # fmt: skip

    def _key(self) -> tuple[Any, ...]:
        feed = None if self.usual_feed.value else round(self.feed.value, 3)
        others = (self.sunk, self.machine, self.material, self.cutter, self.roughing, self.cleaning, self.direction)
        return (*self._art_key(), *(c.value for c in others), round(self.stepover.value, 6), feed)

    @property
    def _outside(self) -> Any:
        return "stock" if self.sunk.value else "nothing"

    def _say(self, words: str) -> None:
        self.progress.value = note(words) if words else ""

    def update(self) -> None:
        """Compute what the controls ask for, or show it again when it is known."""
        if self._quiet:
            return
        begin = time.monotonic()
        self.faults.value = ""
        try:
            looked = self._look_into()
            self._link_steps(looked)
            self._remember()
            key = self._key()
            known = key in self.tried
            if not known:
                result = self._carve(looked)
                self.tried[key] = (_light(result), self._price(result))
                for old in list(self.tried)[:-_MOST_KEPT]:
                    del self.tried[old]
            self.result, self.priced = self.tried[key]
            if self.usual_feed.value:
                with self._silently():
                    self.feed.value = self.result.scheme.finishing.feed
                self._state = self._states()
        except InputError as fault:
            self._remember()
            self._say("")
            stays = "" if self.result is None else note("What stands below is of the settings before.")
            self.faults.value = "".join(note(f"not carved: {f}") for f in fault.faults) + stays
            return
        took = time.monotonic() - begin
        self._say("known already" if known else f"every line computed in {took:.1f} s")
        self._find_places()
        self._fit_section(looked)
        self._show()
        for call in self._calls:
            call()

    def when_carved(self, call: Callable[[], None]) -> None:
        """Call ``call()`` whenever another answer is shown.

        Parameters
        ----------
        call : callable
            Without arguments.
        """
        self._calls.append(call)

    def _look_into(self) -> _Looked:
        """Read the artwork; kept for each size of it."""
        key = self._art_key()
        if key not in self._looked:
            if self.artwork.value is None:
                raise _fault("there is no artwork in the folder of reliefs", "name a file")
            self._say(f"reading {Path(self.artwork.value).name} …")
            art = read_artwork(
                self.artwork.value, length=self.length.value, depth=self.depth.value, pixel=self.squares.value,
                invert=self.inverted.value, smooth=True if self.smooth.value else None,
            )  # fmt: skip
            if art.map.depth < 1e-6:
                raise _fault(f"{Path(self.artwork.value).name} is level", "there is nothing to carve: take another")
            self._looked[key] = _Looked(art, smallest_detail(art.map), pictures.in_wood(art.map), {}, {})
            for old in list(self._looked)[:-6]:
                del self._looked[old]
        return self._looked[key]

    def _reach(self, looked: _Looked, cutter: Cutter) -> HeightMap:
        key = f"{cutter.id} {self._outside}"
        if key not in looked.reach:
            self._say(f"looking how far {cutter.id} gets down …")
            own: dict[str, HeightMap] = {}
            looked.reach[key] = reach_of(looked.art.map, cutter, self._outside, own)
        return looked.reach[key]

    def _link_steps(self, looked: _Looked) -> None:
        """Stepover from cusp or cusp from stepover, whichever was moved last."""
        cutter = self.shop.cutter(self.cutter.value)
        after = self._reach(looked, cutter)
        with self._silently():
            if self._held == "cusp":
                across = stepover_for(after, cutter, self.cusp.value, self.direction.value)
                self.stepover.value = max(0.001, math.floor(across * 1000) / 1000)
            else:
                ridges = cusps(after, cutter, self.stepover.value, self.direction.value)
                self.cusp.value = round(ridges.most, 6)

    def _carve(self, looked: _Looked) -> CarvingResult:
        shop, surface = self.shop, looked.art.map
        machine, material = shop.machine(self.machine.value), shop.material(self.material.value)
        cutter = shop.cutter(self.cutter.value)
        cleaning = shop.cutter(self.cleaning.value) if self.cleaning.value != "none" else None
        roughing = self.roughing.value
        scheme = scheme_for(
            surface, cutter, material, machine, shop.cutters.values(), stepover=self.stepover.value,
            roughing=roughing if roughing in ("suggested", "none") else shop.cutter(roughing), cleaning=cleaning,
            direction=self.direction.value, outside=self._outside,
            feed=None if self.usual_feed.value else self.feed.value, learned=shop.learned,
        )  # fmt: skip
        reach = {c.id: self._reach(looked, c) for c in (cutter, cleaning) if c is not None}
        self._say(f"running every line of {scheme.name} over the artwork …")
        return carve(
            surface, scheme, machine, sanding_per_area=shop.rates.minutes["sanding_per_area"], cache=reach
        )  # fmt: skip

    def _price(self, result: CarvingResult) -> CarvingPrice:
        return carving_price(result.seconds, result.sanding_hours, self.shop.rates)

    def take(self, offered: Choice) -> None:
        """Set the controls to one of the ways worth offering; what was computed for it counts.

        Parameters
        ----------
        offered : Choice
            From ``choices`` of this artwork.
        """
        scheme = offered.result.scheme
        steps = {s.role: s.cutter.id for s in scheme.steps}
        with self._silently():
            self.cutter.value, self.roughing.value = scheme.finishing.cutter.id, steps.get("rough", "none")
            self.cleaning.value, self.direction.value = steps.get("clean up", "none"), scheme.direction
            self.stepover.value, self._held = scheme.finishing.stepover, "stepover"
            self.usual_feed.value = True
            self.feed.enable(False)
        self.tried[self._key()] = (_light(offered.result), self._price(offered.result))
        self.update()

    @property
    def surface(self) -> HeightMap:
        """The artwork as heights, as it is shown now."""
        return self._look_into().art.map

    # --- showing ------------------------------------------------------------------------------------------------------

    def _show(self) -> None:
        self._say_answer()
        self._draw_pictures()
        self._draw_section()

    def _fine(self, value: float, digits: int = 3) -> str:
        return f"{value / 25.4:.{digits + 1}f} in" if self.system == "inch" else f"{value:.{digits}f} mm"

    def _say_answer(self) -> None:
        r, p, looked = self.result, self.priced, self._look_into()
        assert r is not None
        assert p is not None
        size = " x ".join(write(s, "length", self.system) for s in (looked.art.map.length, looked.art.map.width))
        told = (
            f"{write_time(r.seconds)} of machine, {r.sanding_hours:.1f} h of sanding: ask {p.asked:,.0f} {p.currency} "
            f"(floor {p.floor:,.0f})"
        )
        self.answer.value = big(lengths_for("; ".join(r.cannot), self.system) or told)
        notes = "; ".join(looked.art.notes)
        square = self._fine(looked.art.map.pixel)
        self.art_note.value = note(
            f"{Path(self.artwork.value).name}, {looked.art.kind}: {size}, squares of {square}"
            + (f"; {notes}" if notes else "")
            + (f"; {looked.art.terraces}" if looked.art.terraces is not None else "")
        )
        self.figures_table.value = (
            '<div style="display:flex;flex-wrap:wrap;gap:0 2.5em;align-items:flex-start">'
            + "".join(f"<div>{t}</div>" for t in (self._steps_table(r), self._facts_table(r, p, looked)))
            + "</div>"
        )
        self.remarks.value = "".join(note(n) for n in self._notes(r))

    def _notes(self, r: CarvingResult) -> list[str]:
        """What to look at: the operator's notes, where feeds come from and how far the limits would let them go."""
        feeds = []
        for s in r.scheme.steps:
            most = write(s.greatest_feed, "feed", self.system)
            feeds.append(f"{s.cutter.id}: {s.feed_source}; the limits allow {most} ({s.binds})")
        return [*(lengths_for(n, self.system) for n in r.notes), "Feeds: " + ". ".join(feeds) + "."]

    def _steps_table(self, r: CarvingResult) -> str:
        far, per = ("ft", 304.8) if self.system == "inch" else ("m", 1000.0)
        feed, by = ("in/min", 25.4) if self.system == "inch" else ("mm/min", 1.0)
        rows = [
            [
                f"{s.step.role}: {s.step.cutter.id}", f"{s.seconds / 60:.2f}", f"{s.cutting_length / per:.1f}",
                f"{s.lines} levels" if s.step.role == "rough" else f"{s.lines}", self._fine(s.step.stepover),
                f"{s.step.rpm:.0f}", f"{s.step.feed / by:.0f}", f"{s.mean_feed / by:.0f}",
            ]
            for s in r.steps
        ]  # fmt: skip
        rows.append(["changes and ways", f"{r.change_seconds / 60:.2f}", *[""] * 6])
        head = [
            "step", "min", f"path, {far}", "lines", "stepover", "rev/min", f"feed, {feed}", f"reached, {feed}",
        ]  # fmt: skip
        last = ["together", f"{r.minutes:.2f}", f"{r.path_length / per:.1f}", *[""] * 5]
        return table("Minutes by step", head, rows, last)

    def _facts_table(self, r: CarvingResult, p: CarvingPrice, looked: _Looked) -> str:
        d, left = looked.detail, r.left
        finest = self._fine(d.width, 2)
        if d.valley_limit == "finer than the pixels":
            finest = f"sharper than {self._fine(d.finest_told)} of radius, the finest these squares tell"
        volume = f"{left.volume / 25.4**3:.3f} in³" if self.system == "inch" else f"{left.volume / 1000:.2f} cm³"
        rows = [
            ["cusps between the lines", f"{self._fine(r.cusps.mean, 4)} on average"],
            ["", f"{self._fine(r.cusps.greatest, 4)} at most"],
            ["detail left", f"on {100 * left.area_share:.1f} % of the area"],
            ["", f"{self._fine(left.greatest)} at most, {self._fine(left.mean, 4)} on average"],
            ["", f"{volume} of wood"],
            ["smallest detail of the artwork", finest],
            ["steepest wall", f"{math.degrees(d.steepest_wall):.0f}°"],
            ["sanding", f"{r.sanding_hours:.2f} h"],
        ]  # fmt: skip
        if r.cannot:  # no price for what cannot be done
            return table("Detail", ["", ""], rows, words=(1,))
        rows += [["cost", f"{p.cost:,.2f} {p.currency}"], ["floor", f"{p.floor:,.2f} {p.currency}"]]
        return table("Detail and price", ["", ""], rows, ["asked", f"{p.asked:,.2f} {p.currency}"], words=(1,)) + note(
            f"{p.how}; {not_in_it(self.shop.rates)}."
        )

    def _find_places(self) -> None:
        """Where most is left, far enough apart to be places of their own."""
        assert self.result is not None
        left = self.result.left.depth
        z = left.z.copy()
        apart = max(left.length, left.width) / 10
        rows, columns = left.y, left.x
        self.places = []
        while len(self.places) < _PLACES and z.max() > self.result.left.tolerance:
            i, j = np.unravel_index(int(z.argmax()), z.shape)
            x, y = float(columns[j]), float(rows[i])
            self.places.append((x, y))
            z[np.hypot(columns[None] - x, rows[:, None] - y) < apart] = 0.0
        depth = [float(left.z[np.abs(rows - y).argmin(), np.abs(columns - x).argmin()]) for x, y in self.places]
        words = [f"{n}: {self._fine(d)} left" for n, d in enumerate(depth, start=1)]
        chosen = self.look_at.value or 0
        with self._silently():
            self.look_at.options = [("the whole", 0), *((w, n) for n, w in enumerate(words, start=1))]
            self.look_at.value = min(chosen, len(self.places))
        whole = extent(left)
        if not self._inside(whole):
            self.window = whole

    def _inside(self, whole: pictures.Window) -> bool:
        """Whether the window shows a part of this artwork and no more."""
        x0, y0, x1, y1 = self.window
        same = abs((y1 - y0) / (x1 - x0) / ((whole[3] - whole[1]) / (whole[2] - whole[0])) - 1) < 1e-3
        return (
            same and x0 >= whole[0] - 1e-6 and y0 >= whole[1] - 1e-6 and x1 <= whole[2] + 1e-6 and y1 <= whole[3] + 1e-6
        )

    def _look_at_the_whole(self) -> None:
        with self._silently():
            self.look_at.value = 0
            self.magnify.value = 1
        self._go(None, 1.0)

    def _look(self) -> None:
        if self._quiet or self.result is None:
            return
        number = self.look_at.value
        if not number:
            self._look_at_the_whole()
            return
        with self._silently():
            self.magnify.value = max(self.magnify.value, _CLOSE)
            self._cut_through(self.places[number - 1])
        self._go(self.places[number - 1], self.magnify.value)
        self._draw_section()

    def _look_nearer(self) -> None:
        if not self._quiet and self.result is not None:
            x0, y0, x1, y1 = self.window
            self._go(((x0 + x1) / 2, (y0 + y1) / 2), self.magnify.value)

    def _go(self, place: tuple[float, float] | None, times: float) -> None:
        """Show the whole, or its part round a place, in its own proportions and never beyond its edges."""
        whole = extent(self.surface)
        length, width = whole[2] - whole[0], whole[3] - whole[1]
        x, y = place or ((whole[0] + whole[2]) / 2, (whole[1] + whole[3]) / 2)
        a, b = length / times / 2, width / times / 2
        x = min(max(x, whole[0] + a), whole[2] - a)
        y = min(max(y, whole[1] + b), whole[3] - b)
        self.window = (x - a, y - b, x + a, y + b)
        self._draw_pictures()

    def _zoomed(self, _: Any, x: Sequence[float], y: Sequence[float]) -> None:
        """A frame was drawn by hand in one picture: all three go there."""
        if self._quiet or self.result is None:
            return
        per = 25.4 if self.system == "inch" else 1.0
        whole = extent(self.surface)
        wide, tall = abs(x[1] - x[0]) * per, abs(y[1] - y[0]) * per
        times = min((whole[2] - whole[0]) / max(wide, 1e-6), (whole[3] - whole[1]) / max(tall, 1e-6))
        with self._silently():
            self.magnify.value = float(min(max(1.0, round(times, 2)), 20.0))
        self._go(((x[0] + x[1]) / 2 * per, (y[0] + y[1]) / 2 * per), min(max(times, 1.0), 20.0))

    def _draw_pictures(self) -> None:
        r, looked = self.result, self._look_into()
        if r is None:
            return
        surface = looked.art.map
        shown = pictures.Shown(surface, self.window, self._section_ends(surface), self.places, self.system)
        f = r.scheme.finishing
        left = r.left
        unit = "inches" if self.system == "inch" else "mm"
        carved = pictures.in_wood(surface.with_(surface.z + left.depth.z))
        with self._silently():
            pictures.show(self.wanted_figure, looked.lit, shown, subtitle=f"{Path(self.artwork.value).name}")
            drawn = pictures.show_lines(self.reached_figure, shown, f.stepover, r.scheme.direction)
            pictures.show(
                self.reached_figure,
                carved,
                shown,
                subtitle=f"{r.scheme.name}; arrows: {drawn} of {r.lines}",
            )
            pictures.show(
                self.left_figure, pictures.detail(surface, left.depth, self.system), shown,
                subtitle=f"{100 * left.area_share:.1f} % of the area, {self._fine(left.greatest)} at most; in {unit}",
                numbers=True,
            )  # fmt: skip

    # --- the cut ------------------------------------------------------------------------------------------------------

    def _fit_section(self, looked: _Looked) -> None:
        """Keep the line on the artwork; through the place where most is left when it has not been moved."""
        surface = looked.art.map
        most = surface.width if self.along.value == "x" else surface.length
        with self._silently():
            if self.at.value <= 0 and self.places:
                self._cut_through(self.places[0])
            self.at.limit(0.0, most)

    def _cut_through(self, place: tuple[float, float]) -> None:
        surface = self.surface
        self.at.value = round(
            place[1] - surface.origin[1] if self.along.value == "x" else place[0] - surface.origin[0], 3
        )

    def _turn_section(self) -> None:
        if self._quiet or self.result is None:
            return
        surface = self.surface
        number = self.look_at.value or (1 if self.places else 0)
        with self._silently():
            self.at.limit(0.0, surface.width if self.along.value == "x" else surface.length)
            if number:
                self._cut_through(self.places[number - 1])
        self._draw_section()

    def _section_ends(self, surface: HeightMap) -> Any:
        x0, y0, x1, y1 = extent(surface)
        at = self.at.value
        return np.array([(x0, y0 + at), (x1, y0 + at)] if self.along.value == "x" else [(x0 + at, y0), (x0 + at, y1)])

    def _draw_section(self) -> None:
        if self._quiet or self.result is None:
            return
        looked, r = self._look_into(), self.result
        surface = looked.art.map
        finest = min(
            (s.step.cutter for s in r.steps if s.step.role != "rough" and s.moves is not None),
            key=lambda c: profile(c).ball, default=r.scheme.finishing.cutter,
        )  # fmt: skip
        tips = looked.tips.get(key := f"{finest.id} {self._outside}")
        if tips is None:
            tips = centre_surface(
                surface, finest, outside=self._outside, beyond=0.0 if self.sunk.value else profile(finest).radius
            )
            looked.tips[key] = tips
        origin = surface.origin[1] if self.along.value == "x" else surface.origin[0]
        after = self._reach(looked, finest)
        cut = pictures.section(surface, after, tips, finest, self.along.value, origin + self.at.value)
        per, unit = (25.4, "in") if self.system == "inch" else (1.0, "mm")
        at, here = cut.distance / per, cut.place
        inner_x, inner_y = 2 * WIDTH - 90, 320 - 120
        span = max(float(np.ptp(cut.wanted)), 0.15 * surface.depth) * 1.25
        times = max(1, math.floor(inner_y / span / (inner_x / float(np.ptp(cut.distance)))))
        times = times if times < 10 else 5 * (times // 5)
        middle = (float(cut.wanted.min()) + float(cut.reached.max())) / 2
        half = inner_y / (inner_x / float(np.ptp(cut.distance))) / times / 2
        with self.section_figure.change() as f:
            f.data[0].x, f.data[0].y = at, cut.wanted / per
            f.data[1].x, f.data[1].y = at, cut.reached / per
            f.data[2].x, f.data[2].y = [at[here]], [cut.reached[here] / per]
            scale = "true to scale" if times == 1 else f"heights drawn {times} times as large"
            f.layout.title.text = f"Cut along {self.along.value}, {scale}"
            f.layout.xaxis.title.text, f.layout.yaxis.title.text = f"{self.along.value}, {unit}", f"z, {unit}"
            f.layout.xaxis.range = [float(cut.distance[0]) / per, float(cut.distance[-1]) / per]
            f.layout.yaxis.range = [(middle - half) / per, (middle + half) / per]
        self._draw_close(cut, finest, per, unit)
        shown = self._section_ends(surface) / per
        for picture in self._three:
            with picture.change() as f:
                f.data[2].x, f.data[2].y = shown[:, 0], shown[:, 1]

    def _draw_close(self, cut: pictures.Section, cutter: Cutter, per: float, unit: str) -> None:
        under = profile(cutter)
        here = cut.place
        tall = max(4 * under.ball, 1.3 * (float(cut.reached.max()) - cut.tip[2]), 2.0)
        s, z = pictures.outline(cutter, cut.tip[1], tall)
        half = max(2.6 * under.ball, 1.2 * abs(cut.distance[here] - cut.tip[0]))
        x, y = float(cut.distance[here]), float(cut.reached[here])
        ring = math.sqrt(max(under.ball**2 - cut.tip[1] ** 2, 0.0))
        turn = np.linspace(0, 2 * math.pi, 121)
        aside = f"axis {self._fine(abs(cut.tip[1]), 2)} beside the cut; " if abs(cut.tip[1]) > 1e-6 else ""
        with self.close_figure.change() as f:
            f.data[0].x, f.data[0].y = (cut.tip[0] + s) / per, (cut.tip[2] + z) / per
            f.data[1].x = (cut.tip[0] + ring * np.cos(turn)) / per
            f.data[1].y = (cut.tip[2] + under.ball + ring * np.sin(turn)) / per
            f.data[2].x, f.data[2].y = cut.distance / per, cut.wanted / per
            f.data[3].x, f.data[3].y = cut.distance / per, cut.reached / per
            f.data[4].x, f.data[4].y = [x / per], [y / per]
            f.layout.title = {
                "text": f"The tightest place, with {cutter.id}, true to scale", "font": {"size": 14},
                "subtitle": {"text": f"{aside}{self._fine(cut.left)} left here",
                             "font": {"size": 11, "color": "#444444"}},
            }  # fmt: skip
            f.layout.xaxis.range = [(x - half) / per, (x + half) / per]
            f.layout.yaxis.range = [(cut.tip[2] - 0.9 * half) / per, (cut.tip[2] + 0.9 * half) / per]
            f.layout.xaxis.title.text, f.layout.yaxis.title.text = f"{self.along.value}, {unit}", f"z, {unit}"


def _light(result: CarvingResult) -> CarvingResult:
    """The same without its paths, which fill the memory; what was empty stays so."""
    steps = tuple(s if s.moves is None else replace(s, moves=_EMPTY) for s in result.steps)
    return replace(result, steps=steps, moves=_EMPTY)


def _fault(message: str, remedy: str) -> InputError:
    return InputError(Fault(message, remedy))


# --- for the notebook -------------------------------------------------------------------------------------------------


def artworks(shop: Shop) -> list[Path]:
    """Files of artwork in a shop's folder of reliefs.

    Parameters
    ----------
    shop : Shop
        The shop.

    Returns
    -------
    list of Path
        By name.
    """
    folder = shop.folder / "reliefs"
    if not folder.is_dir():
        return []
    return sorted(p for p in folder.iterdir() if p.suffix.lower() in ARTWORK_ENDINGS)


def carving_hours(
    shop: Shop, system: System = "metric", file: Path | str | None = None, **begin: Any
) -> CarvingControl:
    """The control over a carving, to be shown by ``.view``.

    Parameters
    ----------
    shop : Shop
        The shop.
    system : {"metric", "inch"}
        Units shown at first.
    file : Path or str, optional
        Artwork to begin with; the first of the shop's if not given.
    **begin : object
        See ``CarvingControl``: length, depth, pixel, cutter, machine, material.
    """
    files = artworks(shop)
    if file is not None:
        files = [Path(file), *(f for f in files if f != Path(file))]
    return CarvingControl(shop, files, system, **begin)
