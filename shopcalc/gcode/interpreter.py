"""What the words of a program do: the modal state, block by block, and runs of plain lines at once."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np

from shopcalc.gcode.blocks import Block, sort_words
from shopcalc.gcode.claims import Claim, read_claims
from shopcalc.gcode.cycles import CYCLES
from shopcalc.gcode.drilling import Driller
from shopcalc.gcode.flow import Flow
from shopcalc.gcode.modal import Drilling, Modal
from shopcalc.gcode.moving import AXES, CENTRE, Mover
from shopcalc.gcode.parameters import Parameters
from shopcalc.gcode.reports import BadTextError, Note, Reports, Word
from shopcalc.gcode.source import Place, Source
from shopcalc.gcode.words import blank_comments, split_words
from shopcalc.gcode.zeros import SYSTEMS, Zeros
from shopcalc.machines import Controller
from shopcalc.moves import PLANE_AXES, Kind, Stop

if TYPE_CHECKING:
    from shopcalc.machines import Machine

_EXTRA = "ABCUVW"
_INCH = 25.4
_SKIP = re.compile(r"(\s*(?:[Nn][ \t]*[\d.]+)?[ \t]*)/(\d?)(?![\d.])")
_COMPENSATED = "cutter radius compensation: the path is timed as written, not moved aside by the cutter's radius"


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
        self._start = at
        self.state = Modal(
            at=at,
            scale=_INCH if self.controller.units == "in" else 1.0,
            units_said=self.controller.units is not None,
            arc_absolute=self.controller.arc_centre == "absolute",
        )
        self.machine = machine
        self.zeros = Zeros(self.state, machine, self.reports)
        self.parameters = Parameters(self.zeros.parameter, self._missing)
        self.flow = Flow(self, self.parameters)
        self.mover = Mover(self.state, self.controller, self.reports)
        self._driller = Driller(self.mover)
        self.blocks, self.ended = 0, False
        self.labels: dict[int, str] = {}
        self.further = "".join(a.upper() for a in machine.more_axes) if machine is not None else ""
        self._percents = 0
        self._comment = ""  # of the present line
        self.claims: list[Claim] = []  # what its head says about the program
        self._tenths = False  # whether F counts tenths of an inch
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
        self.flow.count()
        try:
            bare = blank_comments(text)
            if bare.odd:
                self.reports.note(Word("(", 0.0, text.index("(") + 1, "("), bare.odd)
            content, self._comment = bare.text, bare.comment
            if bare.comment and not self.moved:
                self.claims.extend(read_claims(bare.comment, number))
            if not content.strip() or self._wraps(content):
                return
            if (skip := _SKIP.match(content)) is not None:
                word = Word("/", 0.0, skip.end(1) + 1, "/")
                if self.controller.skips_marked_blocks:
                    self.reports.note(word, "a block that may be skipped ('/') is left out, as with the switch on")
                    return
                self.reports.note(word, "a block that may be skipped ('/') is executed, as with the switch off")
                content = f"{skip[1]}{' ' * (skip.end() - skip.end(1))}{content[skip.end() :]}"
            if self.flow.takes(content):
                self.blocks += 1
                return
            self.block(content)
        except BadTextError as e:
            self.reports.refuse(Word("", 0.0, e.column, ""), e.message, e.remedy)

    def block(self, content: str) -> None:
        """Execute a line without comments that begins, ends and calls nothing."""
        words, settings, spaced = split_words(content, self.parameters)
        if spaced is not None:
            self.reports.note(spaced, "blanks within a number are left out, as the standard has it")
        if words:
            self.blocks += 1
            self._execute(sort_words(words, self._comment, self.reports))
        elif settings:
            self.blocks += 1
        for key, value in settings:
            self.parameters.set(key, value)

    @property
    def moved(self) -> bool:
        """Whether the cutter has left its start."""
        return self.state.at is not self._start

    def _missing(self, name: str, column: int) -> None:
        taken = "its word is left out" if self.parameters.leaves_out else "taken as 0"
        message = f"{name} has no value in this program: {taken}"
        self.reports.note(Word("#", 0.0, column, name), message)

    def finish(self, last: int) -> None:
        """Look back when the text is at its end, its last line: what was called or begun must have ended."""
        self.reports.at("", last)
        if (message := self.flow.unfinished) is not None and not self.ended:
            self.reports.refuse(None, message, "add what ends it, such as M99, or check where it is called")

    def _wraps(self, content: str) -> bool:
        """Whether a line is no block but begins, ends or numbers a program."""
        stripped = content.strip()
        if stripped.startswith("%"):
            self._percents += 1
            self.ended = self._percents > 1 or self.blocks > 0
            if stripped != "%":
                column = content.index("%") + 2
                self.reports.note(Word("%", 0.0, column, stripped[:20]), "text beside '%' is left out")
            return True
        if self.flow.is_number_alone(content):
            if self.blocks and not self.flow.called_here:
                column = len(content) - len(content.lstrip()) + 1
                self.reports.note(Word("O", 0.0, column, stripped[:20]), "another program begins before this one ended")
            return True
        if stripped.startswith(":"):
            raise BadTextError(
                content.index(":") + 1, f"'{stripped[:20]}' is no program's number", "write ':' and digits"
            )
        return False

    def _execute(self, block: Block) -> None:
        """In the order of NISTIR 6556, table 8, whatever the order of the words.

        Units come first, so that a feed beside G20 or G21 counts in the unit it stands with, as every shop means it.
        """
        self.mover.exact_here = False
        if block.code("not modal") == 65:
            self._call_macro(block, block.modal["not modal"])
            return
        self._units(block)
        self._feed_and_speed(block)
        self._cutter_and_spindle(block)
        self._plane_to_distance(block)
        self._not_modal(block)
        self._motion(block)
        self._stops(block)
        self._leftovers(block)

    # --- settings ------------------------------------------------------------------------------------------------

    def _units(self, block: Block) -> None:
        s, word = self.state, block.modal.get("units")
        if word is None:
            return
        scale = _INCH if word.value in (20, 70) else 1.0
        self._tenths = word.value == 70 and self.controller.tenths_of_inch
        if scale != s.scale and not math.isnan(s.feed) and "F" not in block.given:
            self.reports.note(word, "the unit changes while a feed is in force: the feed stays the same speed")
        s.scale, s.units_said, self.mover.units_named = scale, True, True
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
            if self._tenths and s.feed_mode == 94:
                s.feed /= 10.0
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
            before, s.spindle = (s.spindle, s.started_at), int(turn)
            s.started_at = s.speed
            if before != (s.spindle, s.speed):
                self.mover.stand(Kind.STOP, Stop.SPINDLE_START)
            if s.speed == 0:
                self.reports.note(block.modal["M spindle"], "the spindle starts without a speed")
        elif turn == 5:
            s.spindle = 0
            self.mover.stand(Kind.STOP, Stop.SPINDLE_STOP)
        if any(f"M {what}" in block.modal for what in ("mist", "flood", "coolant off")):
            self.mover.stand(Kind.STOP, Stop.OTHER)
        lock = block.modal.get("M overrides")
        if lock is not None and lock.value == 49 and self.machine is not None and self.machine.feed_share != 1.0:
            self.reports.note(lock, "M49 locks the operator's feed setting: feed as run is still applied to it")
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
        if (radius := m.get("cutter radius")) is not None:
            s.compensated = radius.value != 40
            if s.compensated:
                self.reports.note(radius, _COMPENSATED, times=0)
                block.drop("D")
        if (length := m.get("length offset")) is not None and length.value != 49:
            self.reports.note(length, "a cutter length offset: its size is not known and not timed")
        if (system := m.get("coordinate system")) is not None:
            code = round(system.value, 4)
            if code == 54.1:
                number = block.take("P")
                self.reports.note(number or system, "a further work zero (G54.1): not known, taken as that of G54")
            self.zeros.use(system, 54 if code == 54.1 else code)
        if (path := m.get("path control")) is not None:
            s.exact = path.value != 64
            if (tolerance := block.take("P")) is not None:
                self.reports.note(tolerance, "a path tolerance in the program: the machine's own is used")
            block.drop("Q")
        if (distance := block.code("distance")) is not None:
            block.was_absolute, s.absolute = s.absolute, distance == 90
        if (arc := block.code("arc distance")) is not None:
            s.arc_absolute = arc == 90.1
        if (level := block.code("return level")) is not None:
            s.return_to_old = level == 98

    def _not_modal(self, block: Block) -> None:
        code = block.code("not modal")
        if code is None:
            return
        word = block.modal["not modal"]
        if code == 9:
            self.mover.exact_here = True
        elif code == 10:
            self._set_offset(block, word)
        elif code == 92:
            to = self._given_axes(block)
            if not to:
                self.reports.refuse(word, "G92 without a position", "add the axis whose zero moves")
            self.zeros.move(to)
        elif code == 52:
            self.zeros.move_locally(self._given_axes(block))
        elif code in (92.1, 92.2):
            self.zeros.forget(saved=code == 92.1)
        elif code == 92.3:
            self.zeros.restore()
        elif code in (28, 30):
            self._go_home(block, word, code)
        elif code in (28.1, 30.1):
            self.zeros.set_home(code)
        elif code == 53:
            self._in_machine_coordinates(block, word)

    def _given_axes(self, block: Block) -> dict[int, float]:
        """The axis words of a block, taken out of it, in mm."""
        scale = self.state.scale
        taken = ((k, block.take(letter)) for k, letter in enumerate(AXES))
        return {k: w.value * scale for k, w in taken if w is not None}

    def _set_offset(self, block: Block, word: Word) -> None:
        how, number, turned = block.take("L"), block.take("P"), block.take("R")
        if how is None or number is None:
            self.reports.refuse(word, "G10 without L and P", "add L2 and P with the number of the work zero")
        if how.value not in (2, 20):
            self.reports.note(how, f"a table of the control is set in the program (G10 L{how.value:g}): not timed")
            block.given.clear()
            return
        if not 0 <= number.value <= len(SYSTEMS) or number.value != int(number.value):
            self.reports.refuse(number, f"'{number.text}' is no work zero", f"write a number from 1 to {len(SYSTEMS)}")
        if turned is not None and turned.value != 0:
            self.reports.refuse(turned, "a turned work zero (G10 with R) is not understood", "write the moves out")
        self.zeros.set(word, how.value, number.value, self._given_axes(block))

    def _go_home(self, block: Block, word: Word, code: float) -> None:
        named = block.first(AXES)
        chosen = [k for k, letter in enumerate(AXES) if letter in block.given] or [0, 1, 2]
        if named is not None:
            self.mover.need_units(named)
            self.mover.to(Kind.RAPID, self.mover.target(block), named)
        block.drop(AXES)
        home = self.zeros.home(code)
        if home is None:
            place = "home" if code == 28 else "second_home"
            self.reports.note(
                word, f"'{word.text}' goes to a place that is not known: only the way to its intermediate point is "
                f"timed; name '{place}' and 'g54' under 'places' of the machine",
            )  # fmt: skip
            return
        target = self.state.at.copy()
        target[chosen] = home[chosen]
        self.mover.to(Kind.RAPID, target, word)

    def _in_machine_coordinates(self, block: Block, word: Word) -> None:
        first = block.first(AXES)
        if first is None:
            return
        motion = block.modal.get("motion")
        kind = motion.value if motion is not None else self.state.motion
        if kind not in (0, 1):
            self.reports.refuse(word, "G53 goes with G0 or G1 only", "write G0 or G1 beside it")
        if motion is not None:
            self.state.motion, self.state.motion_said = int(kind), True
        self.mover.need_units(first)
        here = self.zeros.of_machine([0.0, 0.0, 0.0])
        to = self._given_axes(block)
        if here is None:
            self.reports.note(
                word, "a move in machine coordinates (G53): its length is not known and not timed; name 'g54' under "
                "'places' of the machine",
            )  # fmt: skip
            return
        target = self.state.at.copy()
        for k, value in to.items():
            target[k] = here[k] + value
        self.mover.to(Kind.RAPID if kind == 0 else Kind.LINE, target, first)

    def _call_macro(self, block: Block, word: Word) -> None:
        number, times = block.take("P"), block.take("L")
        arguments = list(block.given.values())
        block.given.clear()
        self.flow.call(word, number, 1 if times is None else int(times.value), arguments)

    # --- motion --------------------------------------------------------------------------------------------------

    def _motion(self, block: Block) -> None:
        s, word = self.state, block.modal.get("motion")
        if "end of cycle" in block.modal:
            s.motion = 80
        if word is not None:
            if word.value in CYCLES and s.motion not in CYCLES:
                s.drilling = Drilling(old_z=float(s.at[PLANE_AXES[s.plane][2]]))
            s.motion, s.motion_said = int(word.value), True
        axes = block.first(AXES + self.further)
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
            message = (
                "no motion is said (G0 or G1): taken as G1, a line at feed; write G0 before it if it only approaches"
            )
            self.reports.note(place, message)
        self.mover.need_units(place)
        target = self.mover.target(block)
        if self.further:
            self.mover.further_targets(block, self.further)
        if s.compensated and s.motion != 0:
            self.reports.note(place, _COMPENSATED)
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
                self.reports.note(word, f"the {letter} axis is not one of the machine's: its travel is not timed")
            elif letter in (",R", ",C") or (letter == "R" and self.state.motion <= 1):
                self.reports.note(word, f"'{letter}' (a rounded or bevelled corner, or an axis) is left out")
            elif letter in CENTRE and self.state.motion in (2, 3):
                self.reports.note(word, f"'{letter}' has no meaning in this arc's plane")
            else:
                self.reports.note(word, f"'{letter}' has no meaning in its block")

    def _stops(self, block: Block) -> None:
        self._subprograms(block)
        code = block.code("M stop")
        if code in (0, 60):
            word = block.modal["M stop"]
            self.reports.note(word, "the program stops here for a person: the wait is not timed", understood=True)
        if code in (0, 1, 60):
            self.mover.stand(Kind.STOP, Stop.OPTIONAL_STOP if code == 1 else Stop.PROGRAM_STOP)
        elif code is not None:
            self.mover.stand(Kind.STOP, Stop.END)
            self.ended = True

    def _subprograms(self, block: Block) -> None:
        word = block.modal.get("M subprogram")
        if word is None:
            return
        if word.value == 99:
            self.flow.back(word, block.take("P"))
            return
        number, times = block.take("P"), block.take("LK")
        self.flow.call(word, number, 1 if times is None else int(times.value), None)

    # --- many plain lines at once --------------------------------------------------------------------------------

    @property
    def takes_plain_lines(self) -> bool:
        """Whether plain lines may be executed at once."""
        s = self.state
        modes = s.motion_said and s.units_said and s.feed_mode == 94 and not s.arc_absolute
        modes = modes and not self._tenths and not s.compensated
        return 0 <= s.motion <= 3 and modes
