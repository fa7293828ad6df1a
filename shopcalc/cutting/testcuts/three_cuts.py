"""The three-cut fit test: a slot, a tongue cut by climbing and one cut conventionally, and what their sizes say."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal, NamedTuple

from shopcalc.cutters import Cutter
from shopcalc.cutting.engagement import refuse, require_at_most, require_positive
from shopcalc.cutting.fit import write_fit
from shopcalc.cutting.testcuts import sheets
from shopcalc.cutting.testcuts.ground import (
    MARGIN,
    WEB,
    Ground,
    Scrap,
    TestStation,
    checked,
    face_of,
    require_room,
    require_speed,
    stroke,
)
from shopcalc.errors import Fault, raise_all
from shopcalc.gcode import write_program
from shopcalc.learned import LearnedRow
from shopcalc.moves import Moves
from shopcalc.paths import Cutting, Tracer, program
from shopcalc.units import System, write

_TONGUE = 10.0  # mm; thinner ones yield to the cutter
_LIGHT = 0.5  # share of feed and of depth at which slots are cut
_SLOT_SHARE = 0.25  # what a light slot may show of the push-off of full side cuts at most (reasoning, no source)
_CALIPER = 0.02  # mm a caliper may be off (common practice, no source)
_OFF = 0.20  # share of the nominal beyond which a reading is a slip
_MOST_PUSHED = 0.10  # of the diameter; a cutter that stands off further than this has slipped or bent


class FitWanted(NamedTuple):
    """Sizes of the three cuts if the cutter had its assumed diameter and did not yield [mm]."""

    slot: float
    climb_tongue: float
    conventional_tongue: float


@dataclass(frozen=True)
class FitReading:
    """What three readings of the caliper say about a cutter.

    Parameters
    ----------
    true_diameter : float
        Cutting diameter [mm].
    push_off_climb, push_off_conventional : float
        Wood left on a wall by a side cut; negative where the cutter digs in [mm].
    diameter_range : (2,) float
        Between which the diameter lies, as far as slot and caliper can tell [mm].
    too_thick_climb, too_thick_conventional : float
        Tongue as read less tongue as programmed, in total; this does not depend on how the slot is judged [mm].
    words : str
        The same in words.
    """

    true_diameter: float
    push_off_climb: float
    push_off_conventional: float
    diameter_range: tuple[float, float]
    too_thick_climb: float
    too_thick_conventional: float
    words: str

    def rows(
        self, date: str, cutter: Cutter, *, machine: str = "", station: str = "", material: str = "", note: str = ""
    ) -> tuple[LearnedRow, ...]:
        """What the shop learned, to be added to its table.

        Parameters
        ----------
        date : str
            As 2026-03-02.
        cutter : Cutter
            At its present regrind.
        machine, station, material, note : str
            Where and in what.
        """
        values = {
            "true_diameter": self.true_diameter,
            "push_off_climb": self.push_off_climb,
            "push_off_conventional": self.push_off_conventional,
        }
        return tuple(
            LearnedRow(date, "fit test", cutter.id, cutter.regrinds, machine, station, material, n, v, note=note)
            for n, v in values.items()
        )


@dataclass(frozen=True, eq=False)
class FitTest:
    """One full-width slot, one tongue cut by climbing on both sides, one conventionally; made by ``fit_test``.

    Parameters
    ----------
    cutting : Cutting
        Of the passes that leave the tongues' walls.
    light : Cutting
        Of every slot.
    ground : Ground
        Face that is cut.
    scrap : Scrap
        [mm].
    depth : float
        Of all cuts [mm].
    side_width : float
        Wood that each wall pass takes [mm].
    wanted : FitWanted
        Nominal sizes [mm].
    walls : tuple of (float, bool)
        Where the cutter's centre passes each wall of the tongues in v, and whether towards +u [mm].
    lanes : mapping
        "slot", "climb tongue", "conventional tongue" to where it begins and ends in v [mm].
    moves : Moves
        The whole program, in machine axes.
    """

    cutting: Cutting
    light: Cutting
    ground: Ground
    scrap: Scrap
    depth: float
    side_width: float
    wanted: FitWanted
    walls: tuple[tuple[float, bool], ...]
    lanes: Mapping[str, tuple[float, float]]
    moves: Moves

    def program(self, title: str = "three-cut fit test", dwell_unit: Literal["s", "ms"] = "s") -> str:
        """The program's text (ISO 6983), read back and found to stay inside the scrap.

        Parameters
        ----------
        title : str
            First comment.
        dwell_unit : {"s", "ms"}
            As in ``gcode.write_program``.

        Raises
        ------
        InputError
            When it would leave the scrap; it must not be run then.
        """
        text = write_program(
            self.moves, title=title, notes=sheets.notes(self.cutting, self.ground), dwell_unit=dwell_unit
        )
        return checked(text, self.ground, self.cutting, self.depth, 0)

    def read(
        self,
        slot: float,
        climb_tongue: float,
        conventional_tongue: float,
        *,
        slot_share: float = 0.0,
        system: System = "metric",
    ) -> FitReading:
        """Turn three readings into the cutter's true diameter and its push-off in each direction.

        Parameters
        ----------
        slot, climb_tongue, conventional_tongue : float
            As the caliper shows them [mm].
        slot_share : float
            How much of the side cuts' push-off the slot shows, at least 0 and less than 1 [-].
        system : {"metric", "inch"}
            For the words.

        Returns
        -------
        FitReading
            With what remains uncertain.

        Raises
        ------
        InputError
            With every reading that cannot be.

        Notes
        -----
        Geometry. With the programmed diameter A, the true one D, the nominal tongue N and e the wood left on a wall,
        each tongue is N + A - D + 2 e: the cutter's centre passes A/2 outside the nominal wall, its edge ends D/2 - e
        nearer. A slot has one wall cut by climbing and one conventionally; it is D - k (e_climb + e_conventional),
        with k the slot's share. With k = 1 the three equations say only that slot and tongue together fill the pitch
        N + A, and D stays open. So the slot is cut lightly, at half feed and half depth, where a cutter pushed
        sideways moves both walls alike; k = 0 is assumed, and the diameter at k = 0.25 is told as the other end of
        what is possible. Whatever k is, a tongue cut like these comes out by the same too_thick.
        """
        if not 0 <= slot_share < 1:
            refuse(f"a slot share of {slot_share:g}", "give it from 0 to less than 1; 1 leaves the diameter open")
        w = self.wanted
        self._refuse_slips(slot, climb_tongue, conventional_tongue, system)
        over = (climb_tongue - w.climb_tongue, conventional_tongue - w.conventional_tongue)

        def diameter(share: float) -> float:
            return (slot + share * (sum(over) / 2 - w.slot)) / (1 - share)

        d = diameter(slot_share)
        pushed = [(o - w.slot + d) / 2 for o in over]
        for name, e in zip(("climbing", "cutting conventionally"), pushed, strict=True):
            if abs(e) > _MOST_PUSHED * w.slot:
                message = f"{name} would leave {write_fit(e, system)} on each wall: these readings do not go together"
                refuse(
                    message, "read all three again; if they hold, the cutter or the scrap has slipped: cut a new one"
                )
        ends = sorted((diameter(min(slot_share, 0.0)), diameter(max(slot_share, _SLOT_SHARE)), d))
        span = (ends[0] - _CALIPER, ends[-1] + _CALIPER)
        words = _reading_words(self.cutting.cutter.id, d, span, pushed, over, system)
        return FitReading(d, pushed[0], pushed[1], span, over[0], over[1], words)

    def _refuse_slips(self, slot: float, climb: float, conventional: float, system: System) -> None:
        faults = []
        for (name, wanted), given in zip(self.wanted._asdict().items(), (slot, climb, conventional), strict=True):
            told = name.replace("_", " ")
            if not (math.isfinite(given) and given > 0):
                faults.append(Fault(f"a {told} of {given:g} mm cannot be", "read the caliper again", field=name))
            elif abs(given - wanted) > _OFF * wanted:
                message = f"{told} {write_fit(given, system)} is more than 20 % off its {write_fit(wanted, system)}"
                remedy = "check the caliper's zero and unit, and that the right place was measured"
                faults.append(Fault(message, remedy, field=name))
        raise_all(faults)

    def sheet_html(self, system: System = "metric") -> str:
        """One printable page: set-up, sketch, places to measure with boxes, cautions.

        Parameters
        ----------
        system : {"metric", "inch"}
            What the reader thinks in.
        """
        c, w, d = self.cutting, self.wanted, self.wanted.slot
        told = [
            *sheets.facts(c, self.ground, self.scrap, self.depth, system, one_speed=True),
            ("side cuts", f"{write(c.feed, 'feed', system)}, {write_fit(self.side_width, system)} wide"),
            ("slots", f"lightly: {write(self.light.feed, 'feed', system)}, levels half as deep"),
        ]
        (a1, b1), (a2, b2), slot = (self.lanes[k] for k in ("climb tongue", "conventional tongue", "slot"))
        gone = [(a1 - d - self.side_width, a1), (b1, a2), (b2, b2 + self.side_width + d), slot]
        picture = sheets.sketch(
            self.ground,
            gone,
            [self.depth] * len(gone),
            self.walls,
            {"1": slot, "2": (a1, b1), "3": (a2, b2)},
            {"climb": (a1, b1), "conventional": (a2, b2), "slot": slot},
        )
        rows = (
            ("1", "slot, with the inner jaws", write_fit(w.slot, system)),
            ("2", "tongue cut by climbing", write_fit(w.climb_tongue, system)),
            ("3", "tongue cut conventionally", write_fit(w.conventional_tongue, system)),
        )
        boxes = "<td class=box></td>" * 4
        cells = "".join(f"<tr><td class=no>{n}</td><td>{t}</td><td>{size}</td>{boxes}</tr>" for n, t, size in rows)
        form = (
            "<h2>Readings</h2><p>Measure at three places along each cut, half way down, jaws square to the walls; "
            "brush dust and fuzz off first. Write down every reading; the mean of each row goes into the workbook.</p>"
            "<table class=form><tr><th></th><th>place</th><th>nominal</th><th>first</th><th>second</th><th>third</th>"
            f"<th>mean</th></tr>{cells}</table>"
        )
        return sheets.page("Three-cut fit test", c, self.ground, told, picture, form, stops=False, system=system)


def fit_test(
    cutter: Cutter,
    cutting: Cutting,
    station: TestStation,
    scrap: Sequence[float],
    depth: float,
    *,
    side_width: float | None = None,
    tongue: float | None = None,
) -> FitTest:
    """Lay out the three-cut fit test of a cutter in a piece of scrap.

    Parameters
    ----------
    cutter : Cutter
        A flat one; its present true diameter is what the program assumes.
    cutting : Cutting
        As the joints will be cut: speed, feed and level of the passes that leave a wall.
    station : {"flat", "end"}
        A board laid flat, cut with the grain, or the end of a standing rail.
    scrap : (3,) float
        Length, width and thickness [mm].
    depth : float
        Of all cuts [mm].
    side_width : float, optional
        Wood that each wall pass takes; a step of ``cutting`` where none is given [mm].
    tongue : float, optional
        Nominal thickness of both tongues; 10 mm, or as much as they are high, where none is given [mm].

    Returns
    -------
    FitTest
        Moves, program, sheet and the reading's meaning.

    Raises
    ------
    InputError
        When the scrap is too small, the cutter leaves no flat floor or its greatest speed is unknown or passed.

    Example
    -------
    >>> sq = Cutter("SQ12", "", "square end", 12, 12, 2, 40, 90, 50, maker_rpm=20000)
    >>> test = fit_test(sq, Cutting(sq, 4000, 1000, 16000, depth_per_pass=6), "flat", (200, 130, 25), 6)
    >>> test.wanted
    FitWanted(slot=12, climb_tongue=10.0, conventional_tongue=10.0)
    >>> reading = test.read(slot=11.94, climb_tongue=10.14, conventional_tongue=10.02)
    >>> round(reading.push_off_climb, 3), round(reading.push_off_conventional, 3)
    (0.04, -0.02)
    """
    c = replace(cutting, cutter=cutter, direction="climb")
    c.require_flat("a fit test")
    require_speed(cutter, c.rpm)
    ground = face_of(station, scrap, depth)
    c.levels(depth)
    d, r = cutter.true_diameter, c.radius
    side = c.step if side_width is None else side_width
    thick = max(_TONGUE, depth) if tongue is None else tongue
    require_positive(side_width=side, tongue=thick)
    require_at_most("side width", side, "the cutter's diameter", d, "take less")
    needed = 2 * MARGIN + WEB + 4 * d + 4 * side + 2 * thick
    require_room(ground, needed, f"a smaller cutter, thinner tongues, or side cuts narrower than {side:.4g} mm")

    spare = (ground.across - needed) / 2
    a1 = spare + MARGIN + d + side
    b1 = a1 + thick
    a2 = b1 + d + 2 * side
    b2 = a2 + thick
    s1 = b2 + side + d + WEB
    light = replace(c, feed=_LIGHT * c.feed, depth_per_pass=_LIGHT * c.depth_per_pass)
    slots = [s1 + r, a1 - side - r, b1 + side + r, b2 + side + r]
    opening = Tracer(light, (-r - light.lead, slots[0]))
    for v in slots:
        for level in light.levels(depth):
            stroke(opening, ground, v, level, forward=True)
    # going towards +u the right hand is at -v: there the wood stands that is cut by climbing
    walls = ((a1 - r, False), (b1 + r, True), (a2 - r, True), (b2 + r, False))
    siding = Tracer(c, (ground.along + r + c.lead, walls[0][0]))
    for v, forward in walls:
        for level in c.levels(depth):
            stroke(siding, ground, v, level, forward)
    moves = program([(light, ground.placed(opening.moves())), (c, ground.placed(siding.moves()))])
    lanes = {"slot": (s1, s1 + d), "climb tongue": (a1, b1), "conventional tongue": (a2, b2)}
    wanted = FitWanted(d, thick, thick)
    return FitTest(c, light, ground, Scrap(*scrap), depth, side, wanted, walls, lanes, moves)


def _reading_words(
    cutter: str, d: float, span: tuple[float, float], pushed: Sequence[float], over: Sequence[float], system: System
) -> str:
    def wall(e: float) -> str:
        if abs(e) < _CALIPER / 2:
            return "leaves the wall where it should be"
        return (
            f"leaves {write_fit(e, system)} on each wall" if e > 0 else f"digs {write_fit(-e, system)} into each wall"
        )

    def thick(o: float) -> str:
        if abs(o) < _CALIPER / 2:
            return "right"
        return f"{write_fit(abs(o), system)} too {'thick' if o > 0 else 'thin'}"

    low, high = (write_fit(v, system) for v in span)
    return (
        f"{cutter} cuts a diameter of {write_fit(d, system)} (between {low} and {high}); climbing {wall(pushed[0])}, "
        f"conventional cutting {wall(pushed[1])}; tongues programmed as here come out {thick(over[0])} by climbing, "
        f"{thick(over[1])} conventionally"
    )
