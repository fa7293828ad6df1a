"""Plain lines read and executed straight from their bytes, compiled; the first line that needs care ends a run.

A plain line holds words X Y Z I J K R F G N, each at most once, with G0 to G3 at most, and comments that are neither
nested nor open. It means the same here as to the interpreter, to the last bit of its positions; whatever may be refused
or reported is left to the interpreter.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from shopcalc.compiling import compiled
from shopcalc.gcode.interpreter import Interpreter
from shopcalc.gcode.modal import FARTHEST
from shopcalc.gcode.moving import NO_FEED
from shopcalc.gcode.source import LONGEST_LINE
from shopcalc.moves import PLANE_AXES

# what a byte is: 0 to 9 one of the letters XYZIJKRFGN, or one of these
_OTHER, _BLANK, _OPEN, _TAIL, _LINE_FEED, _RETURN = 16, 17, 18, 19, 20, 21
_WHAT = np.full(256, _OTHER, dtype=np.int64)
for _i, _letter in enumerate("XYZIJKRFGN"):
    _WHAT[ord(_letter)] = _WHAT[ord(_letter.lower())] = _i
for _character, _what in zip(" \t(;\n\r", (_BLANK, _BLANK, _OPEN, _TAIL, _LINE_FEED, _RETURN), strict=True):
    _WHAT[ord(_character)] = _what
_R, _F, _G = 6, 7, 8
_AXES, _OFFSETS, _RADIUS = 0b111, 0b111000, 1 << _R  # as bits of the words a line holds
_MOST_DIGITS = 15  # so many are exact in a float, and so is their quotient by a power of ten
_POWER = 10.0 ** np.arange(_MOST_DIGITS + 1)
_LARGEST = 1e12  # numbers the interpreter refuses
_PLANES = np.array(PLANE_AXES, dtype=np.int64)
_SAME_POINT, _SAME_ANGLE = 1e-9, 1e-12  # mm and rad, as in arcs
_DOUBT = 1e-9  # mm; so close to a limit the interpreter decides


@compiled
def _run(text, place, state, points, kind, feeds, line, arc_centre, arc_sweep):  # type: ignore[no-untyped-def]
    """Read and execute lines until one needs care, the text ends or there is room for no more moves.

    ``place`` holds where the next line begins and where the text ends; the number of that line; motion, plane, whether
    positions are absolute, and whether cuts without feed may pass; moves and arcs written; lines with words, and cuts
    without feed, of this run. ``state`` holds x, y, z; the offset of each; millimetres per unit; feed; arc tolerance.
    """
    at, end, number, motion, plane = place[0], place[1], place[2], place[3], place[4]
    absolute, feedless, moves, arcs = place[5] != 0, place[6] != 0, place[7], place[8]
    scale, feed, tolerance = state[6], state[7], state[8]
    p, q, axial = _PLANES[plane, 0], _PLANES[plane, 1], _PLANES[plane, 2]
    blocks, unknown = 0, 0
    word, goal, middle = np.empty(10), np.empty(3), np.empty(3)
    while at < end and moves < len(kind):
        i, given, plain = at, 0, True
        while True:  # one line: its words
            what = _WHAT[text[i]]
            if what < 10:
                if given & (1 << what):
                    plain = False
                    break
                given |= 1 << what
                i += 1
                while text[i] == 32 or text[i] == 9:
                    i += 1
                negative = text[i] == 45
                if negative or text[i] == 43:
                    i += 1
                    while text[i] == 32 or text[i] == 9:
                        i += 1
                whole, digits, decimals, pointed = 0, 0, 0, False
                while digits <= _MOST_DIGITS:
                    digit = int(np.int64(text[i])) - 48
                    if 0 <= digit <= 9:
                        whole = 10 * whole + digit
                        digits += 1
                        if pointed:
                            decimals += 1
                    elif digit == -2 and not pointed:
                        pointed = True
                    else:
                        break
                    i += 1
                if digits == 0 or digits > _MOST_DIGITS:
                    plain = False
                    break
                value = whole / _POWER[decimals]
                if value >= _LARGEST:
                    plain = False
                    break
                word[what] = -value if negative else value
            elif what == _BLANK:
                i += 1
            elif what == _LINE_FEED:
                i += 1
                break
            elif what == _RETURN:
                i += 1
                if i < end and text[i] == 10:
                    i += 1
                break
            elif what == _OPEN:
                i += 1
                while text[i] != 41 and text[i] != 40 and text[i] != 10 and text[i] != 13 and text[i] != 0:
                    i += 1
                if text[i] != 41:
                    plain = False
                    break
                i += 1
            elif what == _TAIL:
                while text[i] != 10 and text[i] != 13 and text[i] != 0:
                    i += 1
            else:
                plain = False
                break
        if not plain or i - at >= LONGEST_LINE:
            break
        if given == 0:
            at, number = i, number + 1
            continue
        mode, speed = motion, feed
        if given & (1 << _G):
            if not (word[_G] == 0.0 or word[_G] == 1.0 or word[_G] == 2.0 or word[_G] == 3.0):
                break
            mode = int(word[_G])
        if given & (1 << _F):
            if not word[_F] > 0.0:
                break
            speed = word[_F] * scale
        moved = False
        for k in range(3):
            goal[k] = state[k]
            if given & (1 << k):
                goal[k] = word[k] * scale + (state[3 + k] if absolute else state[k])
                if not abs(goal[k]) < FARTHEST:
                    plain = False
                moved = moved or goal[k] != state[k]
        if mode <= 1:
            plain = plain and not given & (_OFFSETS | _RADIUS)
        elif given & (_AXES | _OFFSETS | _RADIUS):
            centred = given & (0b1000 << p | 0b1000 << q) != 0
            if not plain or given & (0b1000 << axial) or centred == (given & _RADIUS != 0):
                break
            for k in range(3):
                middle[k] = state[k]
                if centred and given & (0b1000 << k):
                    middle[k] = word[3 + k] * scale + state[k]
            if not centred:
                radius = word[_R] * scale
                across, up = goal[p] - state[p], goal[q] - state[q]
                chord = math.hypot(across, up)
                half = chord / 2.0
                if not abs(radius) < FARTHEST or chord == 0.0 or abs(radius) < half - tolerance + _DOUBT:
                    break
                rise = math.sqrt(max((abs(radius) - half) * (abs(radius) + half), 0.0))
                share = (-rise if (mode == 2) == (radius > 0.0) else rise) / chord
                middle[p] += across / 2.0 - share * up
                middle[q] += up / 2.0 + share * across
            elif not (abs(middle[p]) < FARTHEST and abs(middle[q]) < FARTHEST):
                break
            first = math.hypot(state[p] - middle[p], state[q] - middle[q])
            last = math.hypot(goal[p] - middle[p], goal[q] - middle[q])
            if first == 0.0 or not abs(first - last) <= tolerance - _DOUBT:
                break
            begin = math.atan2(state[q] - middle[q], state[p] - middle[p])
            finish = math.atan2(goal[q] - middle[q], goal[p] - middle[p])
            ahead = (begin - finish if mode == 2 else finish - begin) % (2.0 * math.pi)
            whole_turn = abs(goal[p] - state[p]) < _SAME_POINT and abs(goal[q] - state[q]) < _SAME_POINT
            if whole_turn or ahead < _SAME_ANGLE:
                ahead = 2.0 * math.pi
            moved = True
        if not plain:
            break
        if moved:
            if mode > 0 and math.isnan(speed):
                if not feedless:
                    break
                unknown += 1
            kind[moves], feeds[moves], line[moves] = min(mode, 2), speed if mode > 0 else math.nan, number
            if mode >= 2:
                arc_centre[arcs, 0], arc_centre[arcs, 1], arc_centre[arcs, 2] = middle[0], middle[1], middle[2]
                arc_sweep[arcs] = -ahead if mode == 2 else ahead
                arcs += 1
            moves += 1
            for k in range(3):
                points[moves, k] = state[k] = goal[k]
        motion, feed, at, number, blocks = mode, speed, i, number + 1, blocks + 1
    place[0], place[2], place[3], place[7], place[8], place[9], place[10] = (
        at, number, motion, moves, arcs, blocks, unknown,
    )  # fmt: skip
    state[7] = feed


class QuickReader:
    """Executes runs of plain lines in an interpreter's stead.

    Parameters
    ----------
    reader : Interpreter
        Its state and its moves are brought up to date.
    """

    def __init__(self, reader: Interpreter) -> None:
        self.reader = reader
        self._place = np.zeros(11, dtype=np.int64)
        self._state = np.zeros(9)

    def run(self, text: NDArray[np.uint8], at: int, end: int, number: int) -> tuple[int, int]:
        """Execute plain lines up to one that needs care, the end of the text, or the end of a piece of moves.

        Parameters
        ----------
        text : (b,) uint8
            Holds a piece of whole lines.
        at : int
            Where the next line begins in it.
        end : int
            Where the last line ends in it.
        number : int
            Of the next line.

        Returns
        -------
        at, number : int
            Those of the first line that was not executed.
        """
        reader, place, state = self.reader, self._place, self._state
        s, out = reader.state, reader.mover.out
        place[:9] = (
            at, end, number, s.motion, s.plane, s.absolute, reader.mover.feedless, out.count, out.arcs,
        )  # fmt: skip
        state[:3], state[3:6] = s.at, s.offset
        state[6:] = s.scale, s.feed, reader.controller.arc_tolerance
        _run(text, place, state, out.points, out.kind, out.feed, out.line, out.arc_centre, out.arc_sweep)
        after = int(place[0])
        if after == at:
            return at, number
        s.motion, s.feed, s.at = int(place[3]), float(state[7]), state[:3].copy()
        out.took(int(place[7]) - out.count, int(place[8]) - out.arcs, s.rpm, s.cutter, s.exact, s.plane)
        reader.blocks += int(place[9])
        if place[10]:
            reader.reports.note(None, NO_FEED, int(place[10]))
        return after, int(place[2])
