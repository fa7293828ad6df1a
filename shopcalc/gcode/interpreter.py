"""What the words of a program do: the modal state, block by block, and runs of plain lines at once."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING, NoReturn

import numpy as np
from numpy.typing import NDArray

from shopcalc.errors import Fault, InputError
from shopcalc.gcode.collecting import Collector
from shopcalc.gcode.words import PLAIN, BadTextError, Word, blank_comments, split_words
from shopcalc.moves import PLANE_AXES, Floats, Kind, Moves, Stop

if TYPE_CHECKING:
    from shopcalc.machines import Machine

_GROUPS: dict[str, tuple[float, ...]] = {
    "motion": (0, 1, 2, 3, 73, 80, 81, 82, 83, 85, 86, 89),
    "plane": (17, 18, 19),
    "distance": (90, 91),
    "arc distance": (90.1, 91.1),
    "feed mode": (93, 94, 95),
    "units": (20, 21, 70, 71),
    "cutter radius": (40, 41, 42),
    "length offset": (43, 43.1, 44, 49),
    "return level": (98, 99),
    "coordinate system": (54, 55, 56, 57, 58, 59, 59.1, 59.2, 59.3),
    "path control": (61, 61.1, 64),
}
_GROUP_OF = {code: group for group, codes in _GROUPS.items() for code in codes}
_ONCE = (4, 9, 10, 28, 30, 53, 92, 92.1, 92.2, 92.3)
_HARMLESS = {8: "length offset off", 15: "polar off", 50: "scaling off", 67: "macro off", 69: "rotation off"}
_CYCLES = (73, 81, 82, 83, 85, 86, 89)
_KNOWN_M = (0, 1, 2, 30, 3, 4, 5, 6, 7, 8, 9, 48, 49)
_OFFSETS = "IJK"
_CLEAR = 0.254  # mm above the last depth to which a peck returns (NISTIR 6556's program text, from memory)
_MOST_REPEATS = 10_000


class Interpreter:
    """Modal state of a control and the moves made so far.

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
        from shopcalc.machines import Controller

        self.name = name
        self.controller = machine.controller if machine is not None else Controller()
        self.at = np.asarray(list(start), dtype=float)
        self.out = Collector(self.at)
        self.blocks, self.ended, self.percents = 0, False, 0
        self._notes: dict[str, list[object]] = {}
        self.motion: float = 1  # what a program begins with (NISTIR 6556, 3.5: G1 after power-up and M2)
        self.plane, self.absolute, self.arc_absolute = 0, True, False
        self.feed_mode: float = 94
        self.scale = 25.4 if self.controller.units == "in" else 1.0
        self.units_said = self.controller.units is not None
        self.feed_scale = self.scale
        self.feed, self.speed, self.cutter, self.next_cutter = math.nan, 0.0, 0, 0
        self.turning, self.exact, self.return_old = False, False, True
        self.offset = np.zeros(3)
        self.cycle: dict[str, float] = {}
        self.cycle_old_z = 0.0
        self.text, self.number = "", 0

    # --- reports -------------------------------------------------------------------------------------------------

    def refuse(self, word: Word | None, message: str, remedy: str) -> NoReturn:
        """Raise a placed fault for a word of the present line."""
        column = word.column if word is not None else 1
        raise InputError(Fault(message, remedy, self.name, self.number, column, text=self.text))

    def note(self, word: Word | None, message: str) -> None:
        """Report something once and count it from then on."""
        known = self._notes.get(message)
        if known is None:
            column, text = (word.column, word.text) if word is not None else (1, "")
            self._notes[message] = [self.number, column, text, 1]
        else:
            known[3] = int(str(known[3])) + 1

    def notes(self) -> list[tuple[int, int, str, str]]:
        """Line, column, word and message of each kind of report, in the order of their lines."""
        out = []
        for message, (line, column, word, count) in self._notes.items():
            times = int(str(count))
            said = message if times == 1 else f"{message} ({times} times)"
            out.append((int(str(line)), int(str(column)), str(word), said))
        return sorted(out)

    def moves(self) -> Moves:
        """All moves so far."""
        return self.out.moves()

    # --- one line ------------------------------------------------------------------------------------------------

    def line(self, text: str, number: int) -> None:
        """Read and execute one line of the program."""
        self.text, self.number = text, number
        bare, odd = blank_comments(text)
        if odd:
            self.note(None, odd)
        bare = bare.rstrip()
        if not bare.strip():
            return
        stripped = bare.lstrip()
        if stripped.startswith("%"):
            self.percents += 1
            self.ended = self.percents > 1 or self.blocks > 0
            return
        if stripped.startswith("/"):
            self.note(None, "a block that may be skipped ('/') is executed, as with the switch off")
            bare = bare.replace("/", " ", 1)
        try:
            words = split_words(bare)
        except BadTextError as e:
            self.refuse(Word("", 0, e.column, ""), e.message, e.remedy)
        if words:
            self.blocks += 1
            self._block(words)

    def _block(self, words: list[Word]) -> None:
        codes: dict[str, Word] = {}
        once: dict[float, Word] = {}
        actions: list[Word] = []
        given: dict[str, Word] = {}
        for w in words:
            if w.letter == "G":
                self._sort_g(w, codes, once)
            elif w.letter == "M":
                actions.append(w)
            elif w.letter in given and w.letter != "N":
                self.refuse(w, f"'{w.letter}' stands twice in one block", "keep one of them")
            else:
                given[w.letter] = w
        self._other_letters(given)
        self._execute(codes, once, actions, given)

    def _sort_g(self, w: Word, codes: dict[str, Word], once: dict[float, Word]) -> None:
        code = round(w.value, 4)
        group = _GROUP_OF.get(code)
        if group is not None:
            before = codes.get(group)
            if before is not None and round(before.value, 4) != code:
                self.refuse(w, f"G{_short(code)} and {before.text} of the same group ({group}) stand in one block",
                            "put them into blocks of their own")  # fmt: skip
            if before is not None:
                self.note(w, f"{w.text} stands twice in one block")
            codes[group] = w
        elif code in _ONCE:
            once[code] = w
        elif code in _HARMLESS:
            self.note(w, f"{w.text} ({_HARMLESS[int(code)]}) changes nothing here")
        else:
            self.refuse(w, f"{w.text} is not understood, and it may move the machine",
                        "write the moves out with G0 to G3, or take the word out if it does nothing")  # fmt: skip

    def _other_letters(self, given: dict[str, Word]) -> None:
        for letter in "ABCUVW":
            if letter in given:
                self.note(given[letter], f"the {letter} axis is not known: its travel is not timed")
        for letter in "EO":
            if letter in given:
                self.refuse(given[letter], f"'{given[letter].text}' is not read yet", "write the moves out")
        if "T" in given and (given["T"].value != int(given["T"].value) or given["T"].value < 0):
            self.refuse(given["T"], f"'{given['T'].text}' is not a cutter number", "write a whole number")

    def _execute(
        self, codes: dict[str, Word], once: dict[float, Word], actions: list[Word], given: dict[str, Word]
    ) -> None:
        """The order of NISTIR 6556, table 8, whatever the order of the words."""
        self._units(codes.get("units"))
        if (mode := codes.get("feed mode")) is not None:
            self.feed_mode = mode.value
            if mode.value == 95:
                self.note(mode, "feed per revolution (G95) is turned into feed at the speed in force")
        self._feed_and_speed(given)
        m_codes = {int(w.value) for w in actions}
        self._cutter_and_spindle(actions, m_codes)
        if 4 in once:
            self._dwell(once[4], given)
        if (plane := codes.get("plane")) is not None:
            self.plane = int(plane.value) - 17
        self._offsets(codes)
        if (path := codes.get("path control")) is not None:
            self.exact = path.value != 64
        if (distance := codes.get("distance")) is not None:
            self.absolute = distance.value == 90
        if (arc := codes.get("arc distance")) is not None:
            self.arc_absolute = arc.value == 90.1
        if (level := codes.get("return level")) is not None:
            self.return_old = level.value == 98
        self._once(once, given)
        self._motion(codes.get("motion"), once, given)
        self._stops(actions, m_codes)

    def _units(self, word: Word | None) -> None:
        if word is None:
            return
        self.scale = 25.4 if word.value in (20, 70) else 1.0
        self.feed_scale = self.scale
        self.units_said = True
        if word.value in (70, 71):
            self.note(
                word, f"{word.text} is taken for G{int(word.value) - 50}; some controls count its feed differently"
            )

    def _feed_and_speed(self, given: dict[str, Word]) -> None:
        if "F" in given:
            f = given["F"]
            if f.value < 0:
                self.refuse(f, f"the feed '{f.text}' is negative", "write a feed above zero")
            if f.value == 0:
                self.note(f, "a feed of 0 says nothing: the time is unknown until there is one")
            self.feed = f.value if f.value > 0 else math.nan
        if "S" in given:
            if given["S"].value < 0:
                self.refuse(given["S"], f"the speed '{given['S'].text}' is negative", "write a speed above zero")
            self.speed = given["S"].value
        if "T" in given:
            self.next_cutter = int(given["T"].value)

    def _cutter_and_spindle(self, actions: list[Word], codes: set[int]) -> None:
        for w in actions:
            if w.value not in _KNOWN_M:
                if w.value in (98, 99):
                    self.refuse(w, f"{w.text}: subprograms are not read yet", "write the moves out")
                self.note(w, f"{w.text} is not understood: taken as a stop that takes no time")
                self._stand(Kind.STOP, Stop.OTHER)
        if 6 in codes:
            if self.next_cutter == 0:
                self.note(next(w for w in actions if w.value == 6), "a cutter change without a cutter number")
            self.cutter, self.turning = self.next_cutter, False
            self._stand(Kind.CHANGE, float(self.cutter))
        if codes & {3, 4}:
            if not self.turning:
                self.turning = True
                self._stand(Kind.STOP, Stop.SPINDLE_START)
            if self.speed == 0:
                self.note(next(w for w in actions if w.value in (3, 4)), "the spindle starts without a speed")
        elif 5 in codes and self.turning:
            self.turning = False
            self._stand(Kind.STOP, Stop.SPINDLE_STOP)
        if codes & {7, 8, 9}:
            self._stand(Kind.STOP, Stop.OTHER)

    def _dwell(self, word: Word, given: dict[str, Word]) -> None:
        found = next((given[letter] for letter in "PXU" if letter in given), None)
        if found is None:
            self.refuse(word, "a dwell without its time", "add P with the time")
        if found.value < 0:
            self.refuse(found, f"the dwell '{found.text}' is negative", "write a time of 0 or more")
        seconds = found.value
        if self.controller.dwell_unit == "ms" and found.letter == "P" and "." not in found.text:
            seconds /= 1000.0
        if seconds > 600:
            self.note(found, "a dwell of more than 10 minutes: check the dwell unit of the machine (s or ms)")
        self._stand(Kind.DWELL, seconds)
        given.pop(found.letter)

    def _offsets(self, codes: dict[str, Word]) -> None:
        if (radius := codes.get("cutter radius")) is not None and radius.value != 40:
            self.note(radius, f"cutter radius compensation ({radius.text}): the path is timed as written")
        if (length := codes.get("length offset")) is not None and length.value != 49:
            self.note(length, "a cutter length offset: its size is not known and not timed")
        if (system := codes.get("coordinate system")) is not None and system.value != 54:
            self.note(system, "another coordinate system: its offset is not known and taken as 0")

    def _once(self, once: dict[float, Word], given: dict[str, Word]) -> None:
        axes = [given[a] for a in "XYZ" if a in given]
        if 10 in once:
            self.note(once[10], "an offset is set in the program (G10): not known, taken as 0")
            for letter in "XYZ":
                given.pop(letter, None)
        if 92 in once:
            for k, letter in enumerate("XYZ"):
                if letter in given:
                    self.offset[k] = self.at[k] - given.pop(letter).value * self.scale
        if {92.1, 92.2} & once.keys():
            self.offset[:] = 0.0
        for code in (28.0, 30.0):
            if code in once:
                self.note(once[code], f"{once[code].text} goes to a place the program does not tell: "
                          "only the way to its intermediate point is timed")  # fmt: skip
                if axes:
                    self._to(Kind.RAPID, self._target(given))
                for letter in "XYZ":
                    given.pop(letter, None)

    # --- motion --------------------------------------------------------------------------------------------------

    def _motion(self, word: Word | None, once: dict[float, Word], given: dict[str, Word]) -> None:
        before = self.motion
        if word is not None:
            self.motion = word.value
            if word.value in _CYCLES and before not in _CYCLES:
                self.cycle, self.cycle_old_z = {}, float(self.at[2])
        axes = [given[a] for a in "XYZ" if a in given]
        offsets = [given[a] for a in _OFFSETS if a in given]
        if 53 in once:
            if axes:
                self.note(once[53], "a move in machine coordinates (G53): its length is not known and not timed")
            return
        if self.motion in _CYCLES and (axes or (word is not None and ("L" in given or "R" in given))):
            self._cycle(word, given)
            return
        arc = self.motion in (2, 3)
        if not axes and not (arc and (offsets or "R" in given)):
            stray = next((given[a] for a in (*_OFFSETS, "R", "Q") if a in given), None)
            if stray is not None:
                self.note(stray, f"'{stray.letter}' has no meaning in its block")
            return
        if self.motion == 80:
            self.refuse(axes[0], "a position without a motion: the cycle was ended by G80", "write G0 or G1 before it")
        self._need_units(axes[0] if axes else offsets[0] if offsets else given["R"])
        target = self._target(given)
        if arc:
            self._arc(given, target)
        else:
            if offsets:
                self.note(offsets[0], f"'{offsets[0].letter}' has no meaning on a straight move")
            if "R" in given or "C" in given:
                corner = given.get("R") or given["C"]
                self.note(corner, f"'{corner.letter}' on a straight move (a rounded corner?) is left out")
            kind = Kind.RAPID if self.motion == 0 else Kind.LINE
            self._to(kind, target, axes[0] if axes else None)

    def _need_units(self, word: Word) -> None:
        if not self.units_said:
            self.units_said = True
            self.note(word, "no unit is said (G20 or G21): taken as millimetres")

    def _target(self, given: dict[str, Word]) -> Floats:
        target = self.at.copy()
        for k, letter in enumerate("XYZ"):
            if letter in given:
                value = given[letter].value * self.scale
                target[k] = value + (self.offset[k] if self.absolute else self.at[k])
        if not np.all(np.abs(target) < 1e7):
            word = next(given[a] for a in "XYZ" if a in given)
            self.refuse(word, "the position is beyond any machine", "check the number and its decimal point")
        return target

    def _feed_of(self, length: float, word: Word | None) -> float:
        """Feed of a move in mm/min; nan where none is known."""
        if self.feed_mode == 93:
            if word is None or "F" not in self.text.upper():
                self.refuse(word, "inverse time feed (G93) needs an F in every cutting block", "add F (1 / minutes)")
            return length * self.feed
        if math.isnan(self.feed):
            self.note(word, "no feed is known here: the time of the program is unknown")
        if self.feed_mode == 95:
            return self.feed * self.feed_scale * self.speed if self.speed else math.nan
        return self.feed * self.feed_scale

    def _to(self, kind: Kind, target: Floats, word: Word | None = None) -> None:
        length = float(np.linalg.norm(target - self.at))
        if length == 0.0:
            return
        feed = math.nan if kind == Kind.RAPID else self._feed_of(length, word)
        self.out.one(kind, target, feed, 0.0, self.number, self._rpm(), self.cutter, self.exact)
        self.at = target

    def _stand(self, kind: Kind, value: float) -> None:
        self.out.one(kind, self.at, math.nan, value, self.number, self._rpm(), self.cutter, False)

    def _rpm(self) -> float:
        return self.speed if self.turning else 0.0

    def _arc(self, given: dict[str, Word], target: Floats) -> None:
        p, q, axial = PLANE_AXES[self.plane]
        start = self.at
        place = next(given[a] for a in ("X", "Y", "Z", "I", "J", "K", "R") if a in given)
        centre = start.copy()
        if "R" in given:
            self._radius_centre(given["R"], start, target, centre)
        else:
            used = [_OFFSETS[k] for k in (p, q) if _OFFSETS[k] in given]
            if not used:
                need = f"{_OFFSETS[min(p, q)]} and {_OFFSETS[max(p, q)]}"
                self.refuse(place, "an arc without its centre", f"add {need}, or R")
            for k in (p, q):
                if _OFFSETS[k] in given:
                    value = given[_OFFSETS[k]].value * self.scale
                    centre[k] = value + (self.offset[k] if self.arc_absolute else start[k])
            if _OFFSETS[axial] in given:
                self.note(given[_OFFSETS[axial]], f"'{_OFFSETS[axial]}' has no meaning in this arc's plane")
        first = math.hypot(start[p] - centre[p], start[q] - centre[q])
        last = math.hypot(target[p] - centre[p], target[q] - centre[q])
        if first == 0.0:
            self.refuse(place, "an arc of radius 0", "check the centre")
        if abs(first - last) > self.controller.arc_tolerance:
            self.refuse(
                place,
                f"the arc does not close: its radius is {first:.4f} mm at the start and {last:.4f} mm at the end",
                f"check the centre, or raise arc_tolerance (now {self.controller.arc_tolerance:g} mm) of the machine",
            )
        sweep = float(_sweep(start, target, centre, p, q, self.motion == 2))
        length = math.hypot(first * sweep, target[axial] - start[axial])
        feed = self._feed_of(length, place)
        self.out.arc(centre, sweep, self.plane)
        self.out.one(Kind.ARC, target, feed, 0.0, self.number, self._rpm(), self.cutter, self.exact)
        self.at = target

    def _radius_centre(self, word: Word, start: Floats, target: Floats, centre: Floats) -> None:
        """Centre of an arc given by its radius; a negative one means the long way round."""
        p, q, _ = PLANE_AXES[self.plane]
        radius = word.value * self.scale
        dx, dy = target[p] - start[p], target[q] - start[q]
        chord = math.hypot(dx, dy)
        if chord == 0.0:
            self.refuse(word, "a full circle cannot be given by its radius", "give its centre with I and J")
        half = chord / 2.0
        if abs(radius) < half - self.controller.arc_tolerance:
            self.refuse(
                word, f"the radius {abs(radius):g} mm is too small: the end points are {chord:g} mm apart",
                "check the radius and the end point",
            )  # fmt: skip
        rise = math.sqrt(max(0.0, radius * radius - half * half))
        side = 1.0 if (self.motion == 3) == (radius > 0) else -1.0
        centre[p] = start[p] + dx / 2.0 - side * rise * dy / chord
        centre[q] = start[q] + dy / 2.0 + side * rise * dx / chord

    def _cycle(self, word: Word | None, given: dict[str, Word]) -> None:
        """A drilling cycle (NISTIR 6556, 3.5.16), expanded into its moves."""
        place = word or next(iter(given.values()))
        if self.plane != 0:
            self.refuse(place, "a drilling cycle outside the XY plane is not read yet", "use G17")
        if self.feed_mode == 93:
            self.refuse(place, "a drilling cycle under inverse time feed", "use G94")
        self._need_units(place)
        for letter in "RZQP":
            if letter in given:
                self.cycle[letter] = given[letter].value
        for letter, what in (("R", "its retract level"), ("Z", "its depth")):
            if letter not in self.cycle:
                self.refuse(place, f"a drilling cycle without {letter} ({what})", f"add {letter}")
        repeats = given["L"].value if "L" in given else given["K"].value if "K" in given else 1
        if repeats == 0:
            self.note(place, "a cycle with L0 is not executed")
            return
        if repeats != int(repeats) or not 0 < repeats <= _MOST_REPEATS:
            self.refuse(
                given.get("L", place), f"'{repeats:g}' repeats", f"write a whole number from 1 to {_MOST_REPEATS}"
            )
        base = float(self.at[2])
        if self.absolute:
            r, z = self.cycle["R"] * self.scale + self.offset[2], self.cycle["Z"] * self.scale + self.offset[2]
        else:
            r = self.cycle["R"] * self.scale + base
            z = r + self.cycle["Z"] * self.scale
        if r < z:
            self.refuse(place, f"the retract level R ({r:g} mm) lies below the depth ({z:g} mm)", "check R and Z")
        old = self.cycle_old_z if self.absolute else base
        clear = max(old, r) if self.return_old else r
        if self.at[2] < r:
            self._to(Kind.RAPID, np.array([self.at[0], self.at[1], r]))
        for _ in range(int(repeats)):
            target = self.at.copy()
            for k, letter in enumerate("XY"):
                if letter in given:
                    value = given[letter].value * self.scale
                    target[k] = value + (self.offset[k] if self.absolute else self.at[k])
            self._to(Kind.RAPID, target)
            self._drill(place, r, z, clear)

    def _z(self, kind: Kind, height: float, place: Word) -> None:
        self._to(kind, np.array([self.at[0], self.at[1], height]), place)

    def _drill(self, place: Word, r: float, z: float, clear: float) -> None:
        code = self.motion
        self._z(Kind.RAPID, r, place)
        if code in (73, 83):
            step = self.cycle.get("Q", 0.0) * self.scale
            if step <= 0:
                self.refuse(place, "a pecking cycle without Q (depth of a peck)", "add Q above zero")
            if (r - z) / step > _MOST_REPEATS:
                self.refuse(place, "more than ten thousand pecks", "check Q")
            depth = r
            while depth > z + 1e-9:
                depth = max(z, depth - step)
                self._z(Kind.LINE, depth, place)
                if depth > z + 1e-9:
                    self._z(Kind.RAPID, clear if code == 83 else depth + _CLEAR, place)
                    if code == 83:
                        self._z(Kind.RAPID, depth + _CLEAR, place)
        else:
            self._z(Kind.LINE, z, place)
        if code in (82, 86, 89) and self.cycle.get("P", 0.0) > 0:
            wait = self.cycle["P"]
            self._stand(Kind.DWELL, wait / 1000.0 if self.controller.dwell_unit == "ms" else wait)
        if code == 86:
            self._stand(Kind.STOP, Stop.SPINDLE_STOP)
        self._z(Kind.LINE if code in (85, 89) else Kind.RAPID, clear, place)
        if code == 86:
            self._stand(Kind.STOP, Stop.SPINDLE_START)

    def _stops(self, actions: list[Word], codes: set[int]) -> None:
        for code, reason in ((0, Stop.PROGRAM_STOP), (1, Stop.OPTIONAL_STOP)):
            if code in codes:
                self._stand(Kind.STOP, reason)
        if codes & {2, 30}:
            self._stand(Kind.STOP, Stop.END)
            self.ended = True

    # --- many plain lines at once --------------------------------------------------------------------------------

    @property
    def takes_plain_lines(self) -> bool:
        """Whether the state lets plain lines be read at once."""
        return self.motion in (0, 1, 2, 3) and self.feed_mode == 94 and self.units_said and not self.arc_absolute

    def plain_run(self, values: Floats, first: int) -> int:
        """Execute a run of plain lines; returns how many were taken before one that needs care.

        Parameters
        ----------
        values : (m, 9) float
            As ``PlainLines.values``.
        first : int
            Number of the first line.
        """
        n = len(values)
        g, f = values[:, PLAIN.index("G")], values[:, PLAIN.index("F")]
        mode = _carry(g, float(self.motion))
        feed = _carry(f, self.feed)
        has = ~np.isnan(values[:, :6])
        moving = has[:, :3].any(axis=1)
        arcs = mode >= 2
        offsets = has[:, 3:6].any(axis=1)
        p, q, axial = PLANE_AXES[self.plane]
        centred = has[:, 3 + p] | has[:, 3 + q]
        careful = (offsets & ~(arcs & centred)) | (arcs & moving & ~centred) | (arcs & has[:, 3 + axial])
        careful |= (mode > 0) & moving & np.isnan(feed)
        target = np.empty((n + 1, 3))
        target[0] = self.at
        for k in range(3):
            column = values[:, k] * self.scale
            if self.absolute:
                target[1:, k] = _carry(column + self.offset[k], self.at[k])
            else:
                target[1:, k] = self.at[k] + np.cumsum(np.nan_to_num(column))
        careful |= ~(np.abs(target[1:]) < 1e7).all(axis=1)
        goes = moving | (arcs & offsets)
        turning = np.flatnonzero(arcs & goes)
        centre = target[turning]
        for k in (p, q):
            centre[:, k] += np.nan_to_num(values[turning, 3 + k] * self.scale)
        start, end = target[turning], target[turning + 1]
        radius = np.hypot(start[:, p] - centre[:, p], start[:, q] - centre[:, q])
        other = np.hypot(end[:, p] - centre[:, p], end[:, q] - centre[:, q])
        careful[turning[(radius == 0.0) | ~(np.abs(radius - other) <= self.controller.arc_tolerance)]] = True
        taken = int(np.argmax(careful)) if careful.any() else n
        if taken == 0:
            return 0
        words = ~np.isnan(values[:taken]).all(axis=1)
        self.blocks += int(words.sum())
        kept = goes[:taken] & (arcs[:taken] | (target[1 : taken + 1] != target[:taken]).any(axis=1))
        index = np.flatnonzero(kept)
        kind = np.where(mode[index] == 0, Kind.RAPID, np.where(mode[index] == 1, Kind.LINE, Kind.ARC))
        in_arcs = turning < taken
        chosen = turning[in_arcs]
        sweep = _sweep(start[in_arcs].T, end[in_arcs].T, centre[in_arcs].T, p, q, mode[chosen] == 2)
        self.out.many(
            kind.astype(np.uint8), target[1:][index],
            np.where(kind == Kind.RAPID, np.nan, feed[index] * self.feed_scale), (first + index).astype(np.int32),
            self._rpm(), self.cutter, self.exact, centre[in_arcs], np.asarray(sweep), self.plane,
        )  # fmt: skip
        self.motion, self.feed, self.at = float(mode[taken - 1]), float(feed[taken - 1]), target[taken].copy()
        return taken


def _carry(column: Floats, before: float) -> Floats:
    """Each value, or the last one given before it."""
    known = ~np.isnan(column)
    last = np.maximum.accumulate(np.where(known, np.arange(len(column)), -1))
    out: Floats = np.where(last >= 0, column[np.maximum(last, 0)], before)
    return out


def _sweep(start: Floats, end: Floats, centre: Floats, p: int, q: int, clockwise: bool | NDArray[np.bool_]) -> Floats:
    """Signed sweep from start to end about a centre [rad]; a whole turn where both are one point."""
    begin = np.arctan2(start[q] - centre[q], start[p] - centre[p])
    finish = np.arctan2(end[q] - centre[q], end[p] - centre[p])
    whole = (np.abs(end[p] - start[p]) < 1e-9) & (np.abs(end[q] - start[q]) < 1e-9)
    ahead = np.where(whole, 2.0 * np.pi, np.mod(finish - begin, 2.0 * np.pi))
    ahead = np.where(ahead == 0.0, 2.0 * np.pi, ahead)
    back = np.where(whole, 2.0 * np.pi, np.mod(begin - finish, 2.0 * np.pi))
    back = np.where(back == 0.0, 2.0 * np.pi, back)
    out: Floats = np.where(clockwise, -back, ahead)
    return out


def _short(code: float) -> str:
    return f"{code:g}"
