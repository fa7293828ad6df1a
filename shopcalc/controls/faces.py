"""Will it clean up: a form of heights measured on a board, and planes, passes, minutes and lines to sand beneath it."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import ipywidgets as widgets

from shopcalc.controls.face_pictures import faces_figure, section_figure, show_faces, show_section
from shopcalc.controls.heights_grid import HeightsGrid, box_name
from shopcalc.controls.parts import LENGTH, LONG, MeasuredControl, big, choice, heading, table
from shopcalc.controls.parts import note as small
from shopcalc.cutting.fit import write_fit
from shopcalc.errors import InputError
from shopcalc.holding import CleanUp, Surfacing, both_faces, clean_up, faces, grid, tramming_error
from shopcalc.holding.surfacing import Pattern, usual_cutting
from shopcalc.paths import Cutting
from shopcalc.units import System, write, write_time

if TYPE_CHECKING:
    from shopcalc.shop import Shop

#: What a board is surfaced with, and the level one pass takes at most at first (common practice, no source) [mm].
_FLAT = ("surfacing", "square end")
_LEVEL = 2.0
_PATTERNS: tuple[tuple[str, Pattern], ...] = (
    ("along the grain", "along"), ("across it", "across"), ("across, then along", "both"), ("in rings", "rings"),
)  # fmt: skip
#: Before board or cutter move (common practice; what the makers and local codes say comes first).
CAUTIONS = (
    "Shim the board so that it rests without rocking; what is pressed flat springs back when it is let go.",
    "Clamps stand outside the path and below the cutter's body; hold the board so that it cannot lift, slip or tip.",
    "Look for nails, stones and loose knots first. Never above the speed marked on the cutter; guards, eye and hearing "
    "protection, dust extraction; lock the machine out before you reach in. The makers' instructions come first.",
)
# An invented board: white oak, glued up, cupped and wound; not measured.
_ABOVE = ((30.1, 31.2, 31.7, 31.6, 30.9), (31.4, 32.6, 33.2, 33.3, 32.8), (31.5, 32.9, 33.8, 34.0, 33.7))
_BELOW = ((0.0, 0.9, 1.3, 1.1, 0.4), (1.2, 2.2, 2.8, 2.9, 2.3), (1.3, 2.6, 3.4, 3.6, 3.3))


class FacesControl:
    """Type what was measured on a board; see whether it cleans up, where it misses, and what surfacing it takes.

    Parameters
    ----------
    shop : Shop
        Whose cutters, woods and machines count.
    system : {"metric", "inch"}
        Units at first.
    cutter, material, machine : str or None
        To begin with; None for the widest surfacing cutter and the first of the shop's.
    """

    def __init__(
        self, shop: Shop, system: System = "metric", *, cutter: str | None = None, material: str | None = None,
        machine: str | None = None,
    ) -> None:  # fmt: skip
        self.shop = shop
        self.found: CleanUp | None = None
        self.faults: tuple[str, ...] = ()
        self.passes: tuple[Surfacing, ...] = ()
        self._quiet = True
        self._build_controls(system, cutter, material, machine)
        self._build_view()
        self._quiet = False
        self.update()

    def _build_controls(self, system: System, cutter: str | None, material: str | None, machine: str | None) -> None:
        shop, call = self.shop, self.update
        rack = {k: c for k, c in shop.cutters.items() if c.shape in _FLAT}
        widest = max(rack, key=lambda k: (rack[k].shape == "surfacing", rack[k].diameter))
        woods = sorted(((m.title, k) for k, m in shop.materials.items()), key=lambda w: w[0].lower())
        machines = [(m.title or k, k) for k, m in shop.machines.items()]
        self.units = choice("units", [("metric: mm", "metric"), ("inch", "inch")], system, self._change_units)
        self.cutter = choice("cutter", [(f"{k}: {c.title}", k) for k, c in rack.items()], cutter or widest, call)
        self.material = choice("wood", woods, shop.material(material).id if material else woods[0][1], call)
        self.machine = choice("machine", machines, machine or machines[0][1], call)
        self.pattern = choice("strokes run", _PATTERNS, "along", call)
        self.greatest = widgets.Checkbox(value=False, description="keep as thick as it can be", indent=False)
        self.greatest.observe(lambda _: call(), names="value")

        def length(name: str, value: float, low: float, high: float, fine: bool = True) -> MeasuredControl:
            control = MeasuredControl(name, value, low, high, LENGTH if fine else LONG, system)
            control.observe(call)
            return control

        self.length = length("board is long, with the grain", 900.0, 100.0, 2500.0, fine=False)
        self.width = length("board is wide", 460.0, 50.0, 1250.0, fine=False)
        self.inset = length("outer points from its edges", 20.0, 0.0, 100.0)
        self.wanted = length("finished thickness wanted", 27.0, 3.0, 80.0)
        self.skin = length("least taken everywhere", 0.3, 0.0, 3.0)
        self.level = length("depth of one pass, at most", _LEVEL, 0.2, 10.0)
        self.dial = length("tram: readings differ by", 0.05, 0.0, 1.0)
        self.circle = length("on a circle swung of", 250.0, 50.0, 500.0)
        self.heights = HeightsGrid(_ABOVE, _BELOW, "below", system, self.update)
        self.show = choice(
            "numbers show", [(s, s) for s in ("wood taken", "rough heights", "heights after")], "wood taken", self._draw
        )
        self.row = widgets.IntSlider(
            value=2, min=1, max=3, description="section at row", continuous_update=False,
            style={"description_width": "9em"}, layout=widgets.Layout(width="30em"),
        )  # fmt: skip
        self.row.observe(lambda _: self._draw(), names="value")

    def _lengths(self) -> tuple[MeasuredControl, ...]:
        return (self.length, self.width, self.inset, self.wanted, self.skin, self.level, self.dial, self.circle)

    def _build_view(self) -> None:
        self.faces_figure, self.section_figure = faces_figure(), section_figure()
        self.answer, self.remarks, self.passes_table, self.cautions = (widgets.HTML() for _ in range(4))
        self.cautions.value = "".join(small(t) for t in CAUTIONS)
        row = widgets.Layout(flex_flow="row wrap")
        self.view = widgets.VBox([
            self.units, widgets.HTML(heading("The board")), self.length.view, self.width.view, self.inset.view,
            self.heights.view, widgets.HTML(heading("What is wanted of it")), self.wanted.view, self.greatest,
            self.skin.view, widgets.HTML(heading("How it is surfaced")),
            widgets.HBox([self.cutter, self.material, self.machine, self.pattern], layout=row), self.level.view,
            self.dial.view, self.circle.view, self.answer, self.remarks, self.passes_table,
            self.show, self.faces_figure, self.row, self.section_figure, self.cautions,
        ])  # fmt: skip

    @property
    def system(self) -> System:
        """Units shown."""
        shown: System = self.units.value
        return shown

    def _change_units(self) -> None:
        for control in self._lengths():
            control.system = self.system
        self.heights.system = self.system
        self.update()

    # --- what comes of it ---------------------------------------------------------------------------------------------

    def cutting(self) -> Cutting:
        """How the cutter is run: as usual, with the depth of a pass that was chosen where the cutter bears it."""
        usual = usual_cutting(
            self.shop.cutter(self.cutter.value), self.shop.material(self.material.value),
            self.shop.machine(self.machine.value),
        )  # fmt: skip
        return replace(usual, depth_per_pass=min(self.level.value, usual.depth_per_pass))

    def update(self) -> None:
        """Read the boxes and show what comes of them."""
        if self._quiet:
            return
        self.wanted.enable(not self.greatest.value)
        self._quiet = True
        self.row.max = self.heights.across.value
        self._quiet = False
        self.found, self.passes, self.faults = None, (), ()
        try:
            self._compute()
        except InputError as e:
            self.found, self.passes = None, ()
            self.faults = tuple(f"{f.message}: {f.remedy}" for f in e.faults)
        self._tell()
        self._draw()

    def _compute(self) -> None:
        first, second, faults = self.heights.readings()
        if faults:
            self.faults = tuple(faults)
            return
        h = self.heights
        at = grid(self.length.value, self.width.value, h.along.value, h.across.value, self.inset.value)
        x, y = zip(*at, strict=True)
        board = faces(x, y, above=first, **{h.way.value: second})
        wanted = None if self.greatest.value else self.wanted.value
        found = clean_up(board, wanted, skin=self.skin.value)
        self.passes = both_faces(
            found, self.cutting(), self.length.value, self.width.value, self.shop.machine(self.machine.value),
            pattern=self.pattern.value, tramming=tramming_error(self.dial.value, self.circle.value),
        )  # fmt: skip
        self.found = found

    def _tell(self) -> None:
        if self.found is None:
            count = len(self.faults)
            self.answer.value = big(f"✗ {count} thing{'s' * (count > 1)} to mend before there is an answer")
            self.remarks.value = "".join(small(f) for f in self.faults[:12])
            self.remarks.value += small(f"and {count - 12} more") if count > 12 else ""
            self.passes_table.value = ""
            return
        says = self.found.says(self.system)
        self.answer.value = big(("✓ " if self.found.cleans_up else "✗ ") + says[0])
        remedies = () if self.found.cleans_up else self._remedies(self.found)
        told = [t for t in says[1:] if not t.startswith("face ")]  # the table below names the boxes
        self.remarks.value = "".join(small(t) for t in (*remedies, *told, self._bound()))
        self.passes_table.value = self._table() + self._misses(self.found)

    def _remedies(self, found: CleanUp) -> tuple[str, ...]:
        step = 0.1 if self.system == "metric" else 0.254
        most = write(math.floor(found.greatest / step) * step, "length", self.system, fraction=False)
        return (
            f"What to do: settle for {most} or less, start from thicker stock, or rip and cut it into smaller parts, "
            "surface them apart and glue them after; a patch where it only shows on the back.",
        )

    def _bound(self) -> str:
        c = self.cutting()
        feed, level = write(c.feed, "feed", self.system), write(c.depth_per_pass, "length", self.system, fraction=False)
        held = " (the cutter bears no more)" if c.depth_per_pass < self.level.value - 1e-9 else ""
        return (
            f"Run at {c.rpm:,.0f} rev/min and {feed}, {level} a pass{held}: usual values, common practice, no source. "
            "Minutes begin at the highest point of each face; clamping and turning come on top."
        )

    def _table(self) -> str:
        s, found = self.system, self.found
        assert found is not None
        rows = [
            [f"face {name}", write_fit(p.depth, s), str(p.levels), str(p.lines),
             write_time(p.seconds), _fine(p.ridge, s)]
            for name, p in zip("AB", self.passes, strict=True)
        ]  # fmt: skip
        last = ["both", "", str(sum(p.levels for p in self.passes)), "",
                write_time(sum(p.seconds for p in self.passes)), ""]  # fmt: skip
        head = ["", "deepest cut", "passes", "strokes of a pass", "at the machine", "lines left to sand, high"]
        return table("Surfacing both faces", head, rows, last)

    def _misses(self, found: CleanUp) -> str:
        if found.cleans_up:
            return ""
        along, rows = self.heights.along.value, []
        for k in found.missed:
            on = [side for side, d in (("A", found.depth_a), ("B", found.depth_b)) if d[k] < found.skin - 1e-6]
            at = box_name(0, k // along, k % along)[2:]
            rows.append([at, " and ".join(on), write_fit(float(found.short[k]), self.system)])
        return table("Where it misses", ["place", "face", "wood wanting"], rows, words=(1,))

    def _draw(self) -> None:
        if self._quiet:
            return
        show_faces(self.faces_figure, self.found, self.show.value, self.system)
        show_section(self.section_figure, self.found, self.row.value - 1, self.system)


def _fine(value: float, system: System) -> str:
    return f"{value:.3f} mm" if system == "metric" else f"{value / 25.4:.4f} in"


def faces_control(
    shop: Shop, system: System = "metric", *, cutter: str | None = None, material: str | None = None,
    machine: str | None = None,
) -> FacesControl:  # fmt: skip
    """The form for a board's heights, to be shown by ``.view``.

    Parameters
    ----------
    shop : Shop
        Whose cutters, woods and machines count.
    system : {"metric", "inch"}
        Units at first.
    cutter, material, machine : str or None
        To begin with.
    """
    return FacesControl(shop, system, cutter=cutter, material=material, machine=machine)
