"""The cutter's tip on its way: the straight and round moves that axis words ask for in the present state."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from shopcalc.gcode.arcs import centre_from_radius, sweep_about
from shopcalc.gcode.blocks import Block
from shopcalc.gcode.collecting import Collector
from shopcalc.gcode.modal import FARTHEST, Modal
from shopcalc.gcode.reports import Reports, Word
from shopcalc.machines import Controller
from shopcalc.moves import PLANE_AXES, Floats, Kind

AXES, CENTRE = "XYZ", "IJK"
NO_FEED = "no feed is known here: the time of the program is unknown"
_MOST_TURNS = 1000
_SHORT_DWELL = 0.01  # s; nobody waits so short
_LONG_DWELL = 60.0  # s; more than a minute is a hint that the dwell's unit is the wrong one


class Mover:
    """Makes moves from the words of a block and the modal state, which it brings up to date.

    Parameters
    ----------
    state : Modal
        Changed in place.
    controller : Controller
        Dwell unit and arc tolerance.
    reports : Reports
        Where refusals and notes go.
    """

    def __init__(self, state: Modal, controller: Controller, reports: Reports) -> None:
        self.state, self.controller, self.reports = state, controller, reports
        self.out = Collector(state.at)
        self.block_feed: Word | None = None  # the F of the present block
        self.exact_here = False  # G9 in the present block
        self.units_named = False  # whether the program has said its unit, or it was reported that it did not
        self.feedless = False  # whether a cut without a known feed was reported
        self.further: dict[str, float] = {}  # where further axes go with the next move

    def seconds(self, word: Word) -> float:
        """A dwell: on a control that counts milliseconds a decimal point still means seconds."""
        if word.value < 0:
            self.reports.refuse(word, f"the dwell '{word.text}' is negative", "write a time of 0 or more")
        milliseconds = self.controller.dwell_unit == "ms" and "." not in word.text
        seconds = word.value / 1000.0 if milliseconds else word.value
        if milliseconds and 0.0 < seconds < _SHORT_DWELL:
            self.reports.note(word, f"a dwell of {word.value:g} ms: check the machine's dwell unit (s or ms)")
        if seconds > _LONG_DWELL:
            self.reports.note(word, "a dwell of more than a minute: check the machine's dwell unit (s or ms)")
        return seconds

    def need_units(self, word: Word | None) -> None:
        """Report once that no unit is said."""
        if self.units_named:
            return
        self.units_named = True
        if not self.state.units_said:
            self.state.units_said = True
            self.reports.note(word, "no unit is said (G20 or G21): taken as millimetres")
        else:
            unit = "millimetres" if self.state.scale == 1.0 else "inches"
            message = f"no unit is said (G20 or G21): taken as {unit}, as the machine's record has it"
            self.reports.note(word, message, understood=True)

    def target(self, block: Block, letters: str = AXES) -> Floats:
        """Where a block's axis words lead."""
        s = self.state
        target = s.at.copy()
        for letter in letters:
            if letter in block.given:
                k, value = AXES.index(letter), block.given[letter].value * s.scale
                target[k] = value + (s.offset[k] if block.absolute(letter, s.absolute) else s.at[k])
                if not abs(target[k]) < FARTHEST:
                    self.reports.refuse(
                        block.given[letter], "the position is beyond any machine", "check the number and its point"
                    )
        return target

    def _feed_of(self, length: float, word: Word | None) -> float:
        """Feed of a cutting move in mm/min; nan where none is known."""
        s = self.state
        if s.feed_mode == 93:
            if self.block_feed is None:
                self.reports.refuse(word, "inverse time feed (G93) needs an F in every cutting block",
                                    "add F (1 / minutes)")  # fmt: skip
            return length * self.block_feed.value or math.nan
        if math.isnan(s.feed):
            self.reports.note(word, NO_FEED)
            self.feedless = True
        elif s.feed_mode == 95:
            if s.rpm == 0:
                self.reports.note(word, "feed per revolution with a standing spindle: the time is unknown")
            return s.feed * s.rpm or math.nan
        return s.feed

    def to(self, kind: Kind, target: Floats, word: Word | None) -> None:
        """Go straight to a point, at feed or as a rapid; nothing when it is there already."""
        length = self._travel(float(np.linalg.norm(target - self.state.at)))
        if length == 0.0:
            return
        feed = math.nan if kind == Kind.RAPID else self._feed_of(length, word)
        self._move(kind, target, feed)

    def further_targets(self, block: Block, letters: str) -> None:
        """Take up where the words of further axes lead; they travel with the block's move."""
        s = self.state
        self.further = dict(s.extra)
        for letter in letters:
            if (word := block.take(letter)) is not None:
                value = word.value * (1.0 if letter in "ABC" else s.scale)
                to = value if block.absolute(letter, s.absolute) else self.further.get(letter, 0.0) + value
                if not abs(to) < FARTHEST:
                    self.reports.refuse(word, "the position is beyond any machine", "check the number and its point")
                self.further[letter] = to

    def _travel(self, length: float) -> float:
        """What a feed counts along: the path, or the travel of U V W, or of A B C (NISTIR 6556, section 2.1.2.5)."""
        if length > 0.0 or not self.further:
            return length
        by = {k: v - self.state.extra.get(k, 0.0) for k, v in self.further.items()}
        straight = math.hypot(*(v for k, v in by.items() if k in "UVW"))
        return straight or math.hypot(*(v for k, v in by.items() if k in "ABC"))

    def _move(self, kind: Kind, target: Floats, feed: float) -> None:
        s = self.state
        exact = s.exact or self.exact_here
        if self.further:
            s.extra = self.further
        if s.extra:
            self.out.one(kind, target, feed, 0.0, self.reports.number, s.rpm, s.cutter, exact, s.extra)
        else:
            self.out.one(kind, target, feed, 0.0, self.reports.number, s.rpm, s.cutter, exact)
        s.at = target

    def stand(self, kind: Kind, value: float) -> None:
        """Stand: a dwell, a cutter change or a stop."""
        s = self.state
        self.out.one(kind, s.at, math.nan, value, self.reports.number, s.rpm, s.cutter, False)

    def arc(self, block: Block, target: Floats, place: Word) -> None:
        """Go along an arc given by its centre or its radius."""
        s = self.state
        p, q, axial = PLANE_AXES[s.plane]
        clockwise = np.array([s.motion == 2])
        radius = block.take("R")
        offsets = [block.take(CENTRE[k]) for k in (p, q)]
        given = offsets[0] or offsets[1]
        if radius is not None and given is not None:
            self.reports.refuse(given, "an arc with its radius and its centre", "keep R, or keep its centre")
        turns = block.take("P")
        if turns is not None and (turns.value != int(turns.value) or not 1 <= turns.value <= _MOST_TURNS):
            self.reports.refuse(
                turns, f"'{turns.text}' turns of an arc", f"write a whole number from 1 to {_MOST_TURNS}"
            )
        if radius is not None:
            centre = self._radius_centre(radius, target, clockwise)
        elif given is not None:
            centre = self._offset_centre(offsets, given)
        else:
            need = " and ".join(sorted(CENTRE[k] for k in (p, q)))
            self.reports.refuse(place, "an arc without its centre", f"add {need}, or R")
        first = math.hypot(s.at[p] - centre[p], s.at[q] - centre[q])
        last = math.hypot(target[p] - centre[p], target[q] - centre[q])
        if first == 0.0:
            self.reports.refuse(place, "an arc of radius 0", "check the centre")
        tolerance = self.controller.arc_tolerance
        if not abs(first - last) <= tolerance:
            message = f"the arc does not close: its radius is {first:.4f} mm at the start and {last:.4f} mm at the end"
            remedy = f"check the centre, or raise arc_tolerance (now {tolerance:g} mm) of the machine"
            self.reports.refuse(place, message, remedy)
        sweep = float(sweep_about(s.at[None], target[None], centre[None], s.plane, clockwise)[0])
        if turns is not None:
            sweep += math.copysign((turns.value - 1) * 2.0 * math.pi, sweep)
        feed = self._feed_of(math.hypot(first * sweep, target[axial] - s.at[axial]), place)
        self.out.arc(centre, sweep, s.plane)
        self._move(Kind.ARC, target, feed)

    def _offset_centre(self, offsets: list[Word | None], given: Word) -> Floats:
        s = self.state
        centre = s.at.copy()
        for k, word in zip(PLANE_AXES[s.plane], offsets, strict=False):
            if word is not None:
                centre[k] = word.value * s.scale + (s.offset[k] if s.arc_absolute else s.at[k])
                if not abs(centre[k]) < FARTHEST:
                    self.reports.refuse(word, "the centre is beyond any machine", "check the number and its point")
            elif s.arc_absolute:
                self.reports.refuse(
                    given, "under G90.1 an arc needs both coordinates of its centre", f"add {CENTRE[k]}"
                )
        return centre

    def _radius_centre(self, word: Word, target: Floats, clockwise: NDArray[np.bool_]) -> Floats:
        s = self.state
        radius = word.value * s.scale
        if not abs(radius) < FARTHEST:
            self.reports.refuse(word, "the radius is beyond any machine", "check the number and its point")
        centre, chord = centre_from_radius(s.at[None], target[None], np.array([radius]), s.plane, clockwise)
        if chord[0] == 0.0:
            self.reports.refuse(word, "a full circle cannot be given by its radius", "give its centre instead")
        if abs(radius) < chord[0] / 2.0 - self.controller.arc_tolerance:
            self.reports.refuse(
                word, f"the radius {abs(radius):g} mm is too small: the end points are {chord[0]:g} mm apart",
                "check the radius and the end point",
            )  # fmt: skip
        out: Floats = centre[0]
        return out
