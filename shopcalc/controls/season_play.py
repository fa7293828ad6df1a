"""A panel in its groove through the year, to play with: wood, width, sawing, clearance and place."""

from __future__ import annotations

import ipywidgets as widgets

from shopcalc.controls.parts import LENGTH, LONG, MeasuredControl, NumberControl, big, choice
from shopcalc.controls.season_picture import clearances_through, season_view
from shopcalc.materials import read_materials
from shopcalc.seasons import movement_of, published_climate
from shopcalc.units import System, write

_WOODS = ("white-oak", "red-oak", "hard-maple", "cherry", "black-walnut", "yellow-poplar")


class SeasonControl:
    """Choose wood and width; see whether the panel jams, fits or falls out.

    Parameters
    ----------
    system : {"metric", "inch"}
        Units at first.
    """

    def __init__(self, system: System = "inch") -> None:
        woods = read_materials()
        self._climate = published_climate()
        self.units = widgets.ToggleButtons(options=["inch", "metric"], value=system, description="units")
        self.wood = choice("wood", [(woods[k].title, k) for k in _WOODS], "white-oak", self.update)
        sawn = [("not known", "unknown"), ("flat-sawn", "flat-sawn"), ("quarter-sawn", "quarter-sawn")]
        self.sawn = choice("sawn", sawn, "unknown", self.update)
        places = [(p.title, k) for k, p in self._climate.places.items()]
        self.place = choice("it will stand", places, places[0][1], self.update)
        self.width = MeasuredControl("panel is wide, across its grain", 304.8, 100, 600, LONG, system)
        self.clearance = MeasuredControl("clearance today, in all", 6.35, 0.5, 20, LENGTH, system)
        self.depth = MeasuredControl("groove is deep", 9.525, 4, 20, LENGTH, system)
        self.now = NumberControl("moisture today, %", 8, 4, 14, 0.5)
        self._measured = (self.width, self.clearance, self.depth)
        for n in (*self._measured, self.now):
            n.observe(self.update)
        self.units.observe(lambda _: self._change_units(), names="value")
        self.answer, self.picture = widgets.HTML(), widgets.VBox()
        self.view = widgets.VBox([self.units, self.wood, self.sawn, self.place, *(n.view for n in self._measured),
                                  self.now.view, self.answer, self.picture])  # fmt: skip
        self.update()

    @property
    def system(self) -> System:
        """Units that are shown."""
        return "metric" if self.units.value == "metric" else "inch"

    def _change_units(self) -> None:
        for n in self._measured:
            n.system = self.system
        self.update()

    def update(self) -> None:
        """Follow the panel through the year."""
        movement = movement_of(read_materials()[self.wood.value])
        place = self._climate.place(self.place.value)
        given = (self.width.value, self.depth.value, self.clearance.value, movement, place, self.now.value)
        self.through = clearances_through(*given, self.sawn.value)
        ends = sorted((float(v) for b in self.through.bands for v in b), key=float)
        says = [
            f"{write(v, 'length', self.system, fraction=False)} {self.through.says(v)}" for v in (ends[0], ends[-1])
        ]
        self.verdict = f"least clearance {says[0]}; most {says[1]}"
        good = all(self.through.says(v) in ("fits", "can slide out of one groove: pin it") for v in (ends[0], ends[-1]))
        self.answer.value = big(("✓ " if good else "✗ ") + self.verdict)
        self.picture.children = (season_view(*given, self.sawn.value, self.system),)


def season_control(system: System = "inch") -> SeasonControl:
    """The control over a panel through the year, to be shown by ``.view``.

    Parameters
    ----------
    system : {"metric", "inch"}
        Units at first.
    """
    return SeasonControl(system)
