"""What the words of a program do: the modal state, block by block, and runs of plain lines at once."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from shopcalc.gcode.arcs import centre_from_radius, sweep_about
from shopcalc.gcode.blocks import Block, sort_words
from shopcalc.gcode.collecting import Collector
from shopcalc.gcode.cycles import CYCLES, PECKING, hole, pecks
from shopcalc.gcode.modal import Drilling, Modal
from shopcalc.gcode.reports import Note, Reports, Word
from shopcalc.gcode.runs import FARTHEST, execute, takes_plain_lines
from shopcalc.gcode.words import BadTextError, blank_comments, split_words
from shopcalc.machines import Controller
from shopcalc.moves import PLANE_AXES, Floats, Kind, Moves, Stop

if TYPE_CHECKING:
    from shopcalc.machines import Machine

_AXES, _CENTRE, _EXTRA_AXES = "XYZ", "IJK", "ABUVW"
_INCH = 25.4
_LONG_DWELL = 60.0  # s; more than a minute is a hint that the dwell's unit is the wrong one
_MOST_REPEATS = 10_000
_MOST_FROM_CYCLES = 2_000_000  # moves in a whole program: a slip in L or Q must not fill the memory
_SKIP = re.compile(r"(\s*(?:[Nn][ \t]*[\d.]+)?[ \t]*)/(\d?)(?![\d.])")
_NUMBERED = re.compile(r"\s*(?:[Oo:])[ \t]*\d+\s*$")
_NO_FEED = "no feed is known here: the time of the program is unknown"


class Interpreter:
    """A control that executes a program line by line and keeps the moves.

    Parameters
    ----------
    name : str
        What faults call the program.
    machine : Machine or None
        Whose dialect is read.
    start : (3,) float
        Position of the tip [mm].
    """

    def __init__(self, name: str, machine: Machine | None, start: Iterable[float]) -> None:
        self.reports = Reports(name)
        self.controller = machine.controller if machine is not None else Controller()
        at = np.asarray(list(start), dtype=float)
        if at.shape != (3,) or not np.isfinite(at).all():
            raise ValueError(f"start {at.tolist()} is not a position: give x, y and z in mm")
        self.state = Modal(
            at=at,
            scale=_INCH if self.controller.units == "in" else 1.0,
            units_said=self.controller.units is not None,
        )
        self.out = Collector(at)
        self.blocks, self.ended = 0, False
        self.labels: dict[int, str] = {}
        self._percents, self._from_cycles = 0, 0
        self._block_feed: Word | None = None
        self._exact_here, self._feedless = False, False

    def notes(self) -> tuple[Note, ...]:
        """What was reported so far."""
        return self.reports.notes()

    def moves(self) -> Moves:
        """All moves so far; the interpreter is done with afterwards."""
        return self.out.moves(self.labels)

    # --- one line ------------------------------------------------------------------------------------------------

    def line(self, text: str, number: int) -> None:
        """Read and execute one line of the program."""
        self.reports.at(text, number)
        try:
            bare = blank_comments(text)
            if bare.odd:
                self.reports.note(Word("(", 0.0, text.index("(") + 1, "("), bare.odd)
            content = bare.text
            if not content.strip() or self._wraps(content):
                return
            if (skip := _SKIP.match(content)) is not None:
                word = Word("/", 0.0, skip.end(1) + 1, "/")
                self.reports.note(word, "a block that may be skipped ('/') is executed, as with the switch off")
                content = f"{skip[1]}{' ' * (skip.end() - skip.end(1))}{content[skip.end() :]}"
            words, spaced = split_words(content)
        except BadTextError as e:
            self.reports.refuse(Word("", 0.0, e.column, ""), e.message, e.remedy)
        if not words:
            return
        if spaced is not None:
            self.reports.note(spaced, "blanks within a number are left out, as the standard has it")
        self.blocks += 1
        if (named := next((w for w in words if w.letter == "O"), None)) is not None:
            remedy = "write the moves out; a program's own number may stand alone in its first block"
            self.reports.refuse(named, f"'{named.text}': subprograms are not read yet", remedy)
        self._execute(sort_words(words, bare.comment, self.reports))

    def _wraps(self, content: str) -> bool:
        """Whether a line is no block but begins, ends or numbers the program."""
        stripped = content.strip()
        if stripped.startswith("%"):
            self._percents += 1
            self.ended = self._percents > 1 or self.blocks > 0
            if stripped != "%":
                column = content.index("%") + 2
                self.reports.note(Word("%", 0.0, column, stripped[:20]), "text beside '%' is left out")
            return True
        if self.blocks == 0 and _NUMBERED.match(content):
            return True
        if stripped.startswith(":"):
            column = content.index(":") + 1
            remedy = "write the moves out; a program's own number may stand alone in its first block"
            raise BadTextError(column, f"'{stripped[:20]}': subprograms are not read yet", remedy)
        return False

    def _execute(self, block: Block) -> None:
        """In the order of NISTIR 6556, table 8, whatever the order of the words.

        Units come first, so that a feed beside G20 or G21 counts in the unit it stands with, as every shop means it.
        """
        self._exact_here = False
        self._units(block)
        self._feed_and_speed(block)
        self._cutter_and_spindle(block)
        self._plane_to_distance(block)
        self._not_modal(block)
        self._motion(block)
        self._leftovers(block)
        self._stops(block)

    # --- settings ------------------------------------------------------------------------------------------------

    def _units(self, block: Block) -> None:
        s, word = self.state, block.modal.get("units")
        if word is None:
            return
        scale = _INCH if word.value in (20, 70) else 1.0
        if scale != s.scale and not math.isnan(s.feed) and "F" not in block.given:
            self.reports.note(word, "the unit changes while a feed is in force: the feed stays the same speed")
        s.scale, s.units_said = scale, True
        if word.value in (70, 71):
            self.reports.note(
                word, f"'{word.text}' is taken for G{word.value - 50:g}; some controls count its feed differently"
            )

    def _feed_and_speed(self, block: Block) -> None:
        s, mode = self.state, block.modal.get("feed mode")
        if mode is not None and int(mode.value) != s.feed_mode:
            s.feed_mode, s.feed = int(mode.value), math.nan
            if s.feed_mode == 95:
                self.reports.note(mode, "feed per revolution (G95) is turned into feed at the speed in force")
        self._block_feed = f = block.take("F")
        if f is not None:
            if f.value < 0:
                self.reports.refuse(f, f"the feed '{f.text}' is negative", "write a feed above zero")
            if f.value == 0:
                self.reports.note(f, "a feed of 0 says nothing: the time is unknown until there is one")
            if s.feed_mode != 93:
                s.feed = f.value * s.scale if f.value > 0 else math.nan
        if (speed := block.take("S")) is not None:
            if speed.value < 0:
                self.reports.refuse(speed, f"the speed '{speed.text}' is negative", "write a speed above zero")
            s.speed = speed.value

    def _cutter_and_spindle(self, block: Block) -> None:
        s = self.state
        if (cutter := block.take("T")) is not None:
            s.next_cutter = int(cutter.value)
        if (change := block.modal.get("M change")) is not None:
            if s.next_cutter == 0:
                self.reports.note(change, "a cutter change without a cutter number")
            s.cutter, s.spindle = s.next_cutter, 0
            if block.comment:
                self.labels[s.cutter] = block.comment
            self._stand(Kind.CHANGE, float(s.cutter))
        turn = block.code("M spindle")
        if turn in (3, 4):
            before, s.spindle = s.spindle, int(turn)
            if before != s.spindle:
                self._stand(Kind.STOP, Stop.SPINDLE_START)
            if s.speed == 0:
                self.reports.note(block.modal["M spindle"], "the spindle starts without a speed")
        elif turn == 5:
            s.spindle = 0
            self._stand(Kind.STOP, Stop.SPINDLE_STOP)
        if any(f"M {what}" in block.modal for what in ("mist", "flood", "coolant off")):
            self._stand(Kind.STOP, Stop.OTHER)
        for word in block.unknown:
            self.reports.note(word, f"'{word.text}' is not understood: taken as a stop that takes no time")
            self._stand(Kind.STOP, Stop.OTHER)
        if block.unknown:
            block.drop("PQ")

    def _seconds(self, word: Word) -> float:
        """A dwell: on a control that counts milliseconds a decimal point still means seconds."""
        if word.value < 0:
            self.reports.refuse(word, f"the dwell '{word.text}' is negative", "write a time of 0 or more")
        milliseconds = self.controller.dwell_unit == "ms" and "." not in word.text
        seconds = word.value / 1000.0 if milliseconds else word.value
        if seconds > _LONG_DWELL:
            self.reports.note(word, "a dwell of more than a minute: check the machine's dwell unit (s or ms)")
        return seconds

    def _plane_to_distance(self, block: Block) -> None:
        s, m = self.state, block.modal
        if block.code("not modal") == 4:
            time = block.take("PXU")
            if time is None:
                self.reports.refuse(m["not modal"], "a dwell without its time", "add P with the time")
            self._stand(Kind.DWELL, self._seconds(time))
        if (plane := block.code("plane")) is not None:
            s.plane = int(plane) - 17
        if (radius := m.get("cutter radius")) is not None and radius.value != 40:
            self.reports.note(radius, f"cutter radius compensation ({radius.text}): the path is timed as written")
        if (length := m.get("length offset")) is not None and length.value != 49:
            self.reports.note(length, "a cutter length offset: its size is not known and not timed")
        if (system := m.get("coordinate system")) is not None and system.value != 54:
            self.reports.note(system, "another coordinate system: its offset is not known and taken as 0")
        if (path := m.get("path control")) is not None:
            s.exact = path.value != 64
            if (tolerance := block.take("P")) is not None:
                self.reports.note(tolerance, "a path tolerance in the program: the machine's own is used")
            block.drop("Q")
        if (distance := block.code("distance")) is not None:
            s.absolute = distance == 90
        if (arc := block.code("arc distance")) is not None:
            s.arc_absolute = arc == 90.1
        if (level := block.code("return level")) is not None:
            s.return_to_old = level == 98

    def _not_modal(self, block: Block) -> None:
        s, code = self.state, block.code("not modal")
        if code is None:
            return
        word = block.modal["not modal"]
        if code == 9:
            self._exact_here = True
        elif code == 10:
            self.reports.note(word, "an offset is set in the program (G10): not known, taken as 0")
            block.given.clear()
        elif code == 92:
            if not block.has(_AXES):
                self.reports.refuse(word, "G92 without a position", "add the axis whose zero moves")
            for k, letter in enumerate(_AXES):
                if (to := block.take(letter)) is not None:
                    s.offset[k] = s.at[k] - to.value * s.scale
            s.saved_offset = s.offset.copy()
        elif code in (92.1, 92.2):
            s.offset = np.zeros(3)
            if code == 92.1:
                s.saved_offset = np.zeros(3)
        elif code == 92.3:
            s.offset = s.saved_offset.copy()
        elif code in (28, 30):
            self.reports.note(
                word, f"'{word.text}' goes to a place the program does not tell: only the way to its intermediate "
                "point is timed",
            )  # fmt: skip
            if block.has(_AXES):
                self._need_units(block.first(_AXES))
                self._to(Kind.RAPID, self._target(block), block.first(_AXES))
            block.drop(_AXES)
        elif code == 53:
            if block.has(_AXES):
                self.reports.note(word, "a move in machine coordinates (G53): its length is not known and not timed")
            block.drop(_AXES)

    # --- motion --------------------------------------------------------------------------------------------------

    def _motion(self, block: Block) -> None:
        s, word = self.state, block.modal.get("motion")
        if "end of cycle" in block.modal:
            s.motion = 80
        if word is not None:
            if word.value in CYCLES and s.motion not in CYCLES:
                s.drilling = Drilling(old_z=float(s.at[2]))
            s.motion, s.motion_said = int(word.value), True
        axes = block.first(_AXES)
        if s.motion in CYCLES:
            if axes is not None or (word is not None and block.has("LR")):
                self._cycle(block, word or axes)
            return
        arc = s.motion in (2, 3)
        place = axes or (block.first(_CENTRE + "R") if arc else None)
        if place is None:
            return
        if s.motion == 80:
            self.reports.refuse(place, "a position without a motion: G80 ended it", "write G0 or G1 before it")
        if not s.motion_said:
            s.motion_said = True
            self.reports.note(place, "no motion is said (G0 or G1): taken as G1, a line at feed")
        self._need_units(place)
        target = self._target(block)
        if arc:
            self._arc(block, target, place)
        else:
            self._to(Kind.RAPID if s.motion == 0 else Kind.LINE, target, place)
        block.drop(_AXES)

    def _need_units(self, word: Word | None) -> None:
        if not self.state.units_said:
            self.state.units_said = True
            self.reports.note(word, "no unit is said (G20 or G21): taken as millimetres")

    def _target(self, block: Block, letters: str = _AXES) -> Floats:
        s = self.state
        target = s.at.copy()
        for k, letter in enumerate(letters):
            if letter in block.given:
                value = block.given[letter].value * s.scale
                target[k] = value + (s.offset[k] if s.absolute else s.at[k])
                if not abs(target[k]) < FARTHEST:
                    self.reports.refuse(
                        block.given[letter], "the position is beyond any machine", "check the number and its point"
                    )
        return target

    def _feed_of(self, length: float, word: Word | None) -> float:
        """Feed of a cutting move in mm/min; nan where none is known."""
        s = self.state
        if s.feed_mode == 93:
            if self._block_feed is None:
                self.reports.refuse(word, "inverse time feed (G93) needs an F in every cutting block",
                                    "add F (1 / minutes)")  # fmt: skip
            return length * self._block_feed.value or math.nan
        if math.isnan(s.feed):
            self.reports.note(word, _NO_FEED)
            self._feedless = True
        elif s.feed_mode == 95:
            if s.rpm == 0:
                self.reports.note(word, "feed per revolution with a standing spindle: the time is unknown")
            return s.feed * s.rpm or math.nan
        return s.feed

    def _to(self, kind: Kind, target: Floats, word: Word | None) -> None:
        s = self.state
        length = float(np.linalg.norm(target - s.at))
        if length == 0.0:
            return
        feed = math.nan if kind == Kind.RAPID else self._feed_of(length, word)
        self._move(kind, target, feed)

    def _move(self, kind: Kind, target: Floats, feed: float) -> None:
        s = self.state
        exact = s.exact or self._exact_here
        self.out.one(kind, target, feed, 0.0, self.reports.number, s.rpm, s.cutter, exact)
        s.at = target

    def _stand(self, kind: Kind, value: float) -> None:
        s = self.state
        self.out.one(kind, s.at, math.nan, value, self.reports.number, s.rpm, s.cutter, False)

    def _arc(self, block: Block, target: Floats, place: Word) -> None:
        s = self.state
        p, q, axial = PLANE_AXES[s.plane]
        clockwise = np.array([s.motion == 2])
        radius = block.take("R")
        offsets = [block.take(_CENTRE[k]) for k in (p, q)]
        given = offsets[0] or offsets[1]
        if radius is not None and given is not None:
            self.reports.refuse(given, "an arc with its radius and its centre", "keep R, or keep its centre")
        if (turns := block.take("P")) is not None:
            self.reports.refuse(turns, "an arc of several turns (P) is not read yet", "write the turns out")
        if radius is not None:
            centre = self._radius_centre(radius, target, clockwise)
        elif given is not None:
            centre = self._offset_centre(offsets, given)
        else:
            need = " and ".join(sorted(_CENTRE[k] for k in (p, q)))
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
                    given, "under G90.1 an arc needs both coordinates of its centre", f"add {_CENTRE[k]}"
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

    # --- drilling ------------------------------------------------------------------------------------------------

    def _cycle(self, block: Block, place: Word | None) -> None:
        """A drilling cycle, expanded into its moves.

        R is sticky, and Z, Q and P too: as levels and depths, so that a hole stays as deep under G91 as under G90.
        """
        s, d, code = self.state, self.state.drilling, self.state.motion
        if s.plane != 0:
            self.reports.refuse(place, "a drilling cycle outside the XY plane is not read yet", "use G17")
        if s.feed_mode == 93:
            self.reports.refuse(place, "a drilling cycle under inverse time feed", "use G94")
        self._need_units(place)
        lift = float(s.at[2])
        r_word, z_word, q_word, p_word = (block.take(letter) for letter in "RZQP")
        if r_word is not None:
            d.r = r_word.value * s.scale + (s.offset[2] if s.absolute else lift)
        if d.r is None:
            self.reports.refuse(place, "a drilling cycle without R (its retract level)", "add R")
        if z_word is not None:
            d.z = z_word.value * s.scale + (s.offset[2] if s.absolute else d.r)
        if d.z is None:
            self.reports.refuse(place, "a drilling cycle without Z (its depth)", "add Z")
        if q_word is not None:
            d.peck = q_word.value * s.scale
        if p_word is not None:
            d.dwell = self._seconds(p_word)
        if code in (82, 86, 89) and d.dwell == 0.0:
            self.reports.note(place, f"G{code} without P: no dwell at the bottom")
        for level, word in ((d.r, r_word), (d.z, z_word)):
            if not abs(level) < FARTHEST:
                self.reports.refuse(word or place, "the level is beyond any machine", "check the number and its point")
        if d.r < d.z:
            self.reports.refuse(
                place, f"the retract level R ({d.r:g} mm) lies below the depth ({d.z:g} mm)", "check R and Z"
            )
        if code in PECKING and d.peck <= 0.0:
            self.reports.refuse(q_word or place, "a pecking cycle without Q (depth of a peck)", "add Q above zero")
        repeats = self._repeats(block, place)
        old = d.old_z if s.absolute else lift
        clear = max(old, d.r) if s.return_to_old else d.r
        self._count_cycle(block, repeats, pecks(d.r, d.z, d.peck if code in PECKING else 0.0), place)
        if repeats and lift < d.r:
            self._to(Kind.RAPID, np.array([s.at[0], s.at[1], d.r]), place)
        for _ in range(repeats):
            self._to(Kind.RAPID, self._target(block, "XY"), place)
            self._hole(hole(code, d.r, d.z, clear, d.peck, d.dwell), place)
        block.drop(_AXES)

    def _repeats(self, block: Block, place: Word | None) -> int:
        word = block.take("LK")
        if word is None:
            return 1
        if word.value == 0:
            self.reports.note(word, f"a cycle with {word.letter}0 is not executed")
            return 0
        if word.value != int(word.value) or not 0 < word.value <= _MOST_REPEATS:
            self.reports.refuse(word, f"'{word.text}' repeats", f"write a whole number from 1 to {_MOST_REPEATS}")
        return int(word.value)

    def _count_cycle(self, block: Block, repeats: int, count: int, place: Word | None) -> None:
        self._from_cycles += repeats * (4 + 3 * count)
        if self._from_cycles > _MOST_FROM_CYCLES:
            self.reports.refuse(
                place, f"the drilling cycles come to more than {_MOST_FROM_CYCLES} moves", "check L and Q"
            )

    def _hole(self, steps: Iterable[tuple[Kind, float]], place: Word | None) -> None:
        s, turning = self.state, self.state.spindle
        for kind, value in steps:
            if kind == Kind.DWELL:
                self._stand(kind, value)
            elif kind == Kind.STOP:
                if turning:
                    s.spindle = turning if value == Stop.SPINDLE_START else 0
                    self._stand(kind, value)
            else:
                self._to(kind, np.array([s.at[0], s.at[1], value]), place)

    # --- what is left of a block ---------------------------------------------------------------------------------

    def _leftovers(self, block: Block) -> None:
        """Words that nobody used: offsets' numbers mean no motion; the others are reported."""
        block.drop("HD")
        for letter, word in block.given.items():
            if letter in _EXTRA_AXES:
                self.reports.note(word, f"the {letter} axis is not known: its travel is not timed")
            elif letter in (",R", ",C", "C") or (letter == "R" and self.state.motion <= 1):
                self.reports.note(word, f"'{letter}' (a rounded or bevelled corner, or an axis) is left out")
            elif letter in _CENTRE and self.state.motion in (2, 3):
                self.reports.note(word, f"'{letter}' has no meaning in this arc's plane")
            else:
                self.reports.note(word, f"'{letter}' has no meaning in its block")

    def _stops(self, block: Block) -> None:
        code = block.code("M stop")
        if code in (0, 1):
            self._stand(Kind.STOP, Stop.PROGRAM_STOP if code == 0 else Stop.OPTIONAL_STOP)
        elif code is not None:
            self._stand(Kind.STOP, Stop.END)
            self.ended = True

    # --- many plain lines at once --------------------------------------------------------------------------------

    @property
    def takes_plain_lines(self) -> bool:
        """Whether plain lines may be executed at once."""
        return takes_plain_lines(self.state)

    def plain_run(self, values: Floats, first: int) -> int:
        """Execute a run of plain lines; returns how many were taken before one that needs care.

        Parameters
        ----------
        values : (m, 10) float
            As ``PlainLines.values``.
        first : int
            Number of the first line.
        """
        run = execute(self.state, values, self.controller.arc_tolerance, feedless=self._feedless)
        if run is None:
            return 0
        self.blocks += run.blocks
        if run.feedless:
            self.reports.note(None, _NO_FEED, run.feedless)
        s = self.state
        self.out.many(
            run.kind, run.ends, run.feed, (first + run.rows).astype(np.int32), s.rpm, s.cutter, s.exact, run.centres,
            run.sweeps, s.plane,
        )  # fmt: skip
        return run.taken
