"""What the words of a program do: the modal state, block by block, and runs of plain lines at once."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np

from shopcalc.gcode.blocks import Block, sort_words
from shopcalc.gcode.cycles import CYCLES
from shopcalc.gcode.drilling import Driller
from shopcalc.gcode.modal import Drilling, Modal
from shopcalc.gcode.moving import AXES, CENTRE, Mover
from shopcalc.gcode.reports import Note, Reports, Word
from shopcalc.gcode.source import Place, Source
from shopcalc.gcode.words import BadTextError, blank_comments, split_words
from shopcalc.machines import Controller
from shopcalc.moves import Kind, Stop

if TYPE_CHECKING:
    from shopcalc.machines import Machine

_EXTRA = "ABUVW"
_INCH = 25.4
_SKIP = re.compile(r"(\s*(?:[Nn][ \t]*[\d.]+)?[ \t]*)/(\d?)(?![\d.])")
_NUMBERED = re.compile(r"\s*(?:[Oo:])[ \t]*\d+\s*$")


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
        self.mover = Mover(self.state, self.controller, self.reports)
        self._driller = Driller(self.mover)
        self.blocks, self.ended = 0, False
        self.labels: dict[int, str] = {}
        self._percents = 0
        self.source: Source | None = None  # the program's text; a place in it is an offset and the number of a line
        self.here: Place = (0, 1)  # the line being read
        self.after: Place = (0, 1)  # the one behind it
        self.jump: Place | None = None  # where to go on instead

    def notes(self) -> tuple[Note, ...]:
        """What was reported so far."""
        return self.reports.notes()

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
        self.mover.exact_here = False
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
        f = self.mover.block_feed = block.take("F")
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
            self.mover.stand(Kind.CHANGE, float(s.cutter))
        turn = block.code("M spindle")
        if turn in (3, 4):
            before, s.spindle = s.spindle, int(turn)
            if before != s.spindle:
                self.mover.stand(Kind.STOP, Stop.SPINDLE_START)
            if s.speed == 0:
                self.reports.note(block.modal["M spindle"], "the spindle starts without a speed")
        elif turn == 5:
            s.spindle = 0
            self.mover.stand(Kind.STOP, Stop.SPINDLE_STOP)
        if any(f"M {what}" in block.modal for what in ("mist", "flood", "coolant off")):
            self.mover.stand(Kind.STOP, Stop.OTHER)
        for word in block.unknown:
            self.reports.note(word, f"'{word.text}' is not understood: taken as a stop that takes no time")
            self.mover.stand(Kind.STOP, Stop.OTHER)
        if block.unknown:
            block.drop("PQ")

    def _plane_to_distance(self, block: Block) -> None:
        s, m = self.state, block.modal
        if block.code("not modal") == 4:
            time = block.take("PXU")
            if time is None:
                self.reports.refuse(m["not modal"], "a dwell without its time", "add P with the time")
            self.mover.stand(Kind.DWELL, self.mover.seconds(time))
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
            self.mover.exact_here = True
        elif code == 10:
            self.reports.note(word, "an offset is set in the program (G10): not known, taken as 0")
            block.given.clear()
        elif code == 92:
            if not block.has(AXES):
                self.reports.refuse(word, "G92 without a position", "add the axis whose zero moves")
            for k, letter in enumerate(AXES):
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
            if block.has(AXES):
                self.mover.need_units(block.first(AXES))
                self.mover.to(Kind.RAPID, self.mover.target(block), block.first(AXES))
            block.drop(AXES)
        elif code == 53:
            if block.has(AXES):
                self.reports.note(word, "a move in machine coordinates (G53): its length is not known and not timed")
            block.drop(AXES)

    # --- motion --------------------------------------------------------------------------------------------------

    def _motion(self, block: Block) -> None:
        s, word = self.state, block.modal.get("motion")
        if "end of cycle" in block.modal:
            s.motion = 80
        if word is not None:
            if word.value in CYCLES and s.motion not in CYCLES:
                s.drilling = Drilling(old_z=float(s.at[2]))
            s.motion, s.motion_said = int(word.value), True
        axes = block.first(AXES)
        if s.motion in CYCLES:
            if axes is not None or (word is not None and block.has("LR")):
                self._driller.drill(block, word or axes)
            return
        arc = s.motion in (2, 3)
        place = axes or (block.first(CENTRE + "R") if arc else None)
        if place is None:
            return
        if s.motion == 80:
            self.reports.refuse(place, "a position without a motion: G80 ended it", "write G0 or G1 before it")
        if not s.motion_said:
            s.motion_said = True
            self.reports.note(place, "no motion is said (G0 or G1): taken as G1, a line at feed")
        self.mover.need_units(place)
        target = self.mover.target(block)
        if arc:
            self.mover.arc(block, target, place)
        else:
            self.mover.to(Kind.RAPID if s.motion == 0 else Kind.LINE, target, place)
        block.drop(AXES)

    # --- what is left of a block ---------------------------------------------------------------------------------

    def _leftovers(self, block: Block) -> None:
        """Words that nobody used: offsets' numbers mean no motion; the others are reported."""
        block.drop("HD")
        for letter, word in block.given.items():
            if letter in _EXTRA:
                self.reports.note(word, f"the {letter} axis is not known: its travel is not timed")
            elif letter in (",R", ",C", "C") or (letter == "R" and self.state.motion <= 1):
                self.reports.note(word, f"'{letter}' (a rounded or bevelled corner, or an axis) is left out")
            elif letter in CENTRE and self.state.motion in (2, 3):
                self.reports.note(word, f"'{letter}' has no meaning in this arc's plane")
            else:
                self.reports.note(word, f"'{letter}' has no meaning in its block")

    def _stops(self, block: Block) -> None:
        code = block.code("M stop")
        if code in (0, 1):
            self.mover.stand(Kind.STOP, Stop.PROGRAM_STOP if code == 0 else Stop.OPTIONAL_STOP)
        elif code is not None:
            self.mover.stand(Kind.STOP, Stop.END)
            self.ended = True

    # --- many plain lines at once --------------------------------------------------------------------------------

    @property
    def takes_plain_lines(self) -> bool:
        """Whether plain lines may be executed at once."""
        s = self.state
        modes = s.motion_said and s.units_said and s.feed_mode == 94 and not s.arc_absolute
        return 0 <= s.motion <= 3 and modes
