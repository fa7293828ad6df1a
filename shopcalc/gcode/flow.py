"""Subprograms, loops and branches: where the control goes on reading.

Two ways of writing are read: numbered or named ``O`` words with what they begin or end (``O1 SUB``, ``O<slot> CALL``,
``O2 WHILE [..]``), and bare words (``M98 P1``, ``G65 P1 A2``, ``IF [..] GOTO 10``, ``WHILE [..] DO1``). Neither is
part of NISTIR 6556: common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import NamedTuple, Protocol

from shopcalc.gcode.expressions import read_value
from shopcalc.gcode.modal import Modal
from shopcalc.gcode.parameters import Parameters
from shopcalc.gcode.reports import BadTextError, Reports, Word
from shopcalc.gcode.source import Place, Source

_MOST_CALLS = 20  # within each other
_MOST_LINES = 1_000_000  # executed after the first jump
_MOST_IDLE = 100_000  # of them in a row without a move
_MOST_ROUNDS = 1_000_000  # of one repeat
_MOST_KEPT = 10_000  # places that were looked for

_O_BEGIN = re.compile(r"(\s*(?:[Nn][ \t]*[\d.]+[ \t]*)?)[Oo][ \t]*(?=[\d<#\[])")
_O_NUMBER = re.compile(r"\d+(?:\.\d+)?")
_O_NAME = re.compile(r"<([^<>]*)>")
_O_DOES = re.compile(
    r"[ \t]*(SUB|ENDSUB|CALL|RETURN|WHILE|ENDWHILE|DO|IF|ELSEIF|ELSE|ENDIF|REPEAT|ENDREPEAT|BREAK|CONTINUE)"
    r"(?![A-Za-z])",
    re.IGNORECASE,
)
_BARE = re.compile(r"\s*(?:[Nn][ \t]*[\d.]+[ \t]*)?(IF|WHILE|GOTO|DO|END)(?=[ \t\[\d#])", re.IGNORECASE)
_THEN = re.compile(r"[ \t]*(GOTO|THEN)(?![A-Za-z])", re.IGNORECASE)
_DO = re.compile(r"[ \t]*DO[ \t]*(\d+)", re.IGNORECASE)
_NUMBER_ALONE = re.compile(r"\s*(?:[Oo:])[ \t]*\d+\s*$")
#: Numbers of the parameters that the letters of a macro call set (common practice, no source).
_ARGUMENTS = dict(zip("ABCIJKDEFHMQRSTUVWXYZ", (1, 2, 3, 4, 5, 6, 7, 8, 9, 11, 13, *range(17, 27)), strict=True))

_IN_FRONT = rb"[ \t]*(?:/\d?[ \t]*)?(?:[Nn][ \t]*[\d.]+[ \t]*)?"


class _Key(NamedTuple):
    """Number or name of an O word, and how it is found in the text."""

    shown: str
    pattern: bytes


class Reader(Protocol):
    """What executes the blocks: where it is in the text, and where it shall go on."""

    source: Source | None
    here: Place
    after: Place
    jump: Place | None
    ended: bool
    state: Modal
    reports: Reports

    def block(self, content: str) -> None:
        """Execute a block."""


@dataclass
class _Frame:
    """One call: the program itself, or a subprogram.

    Parameters
    ----------
    begin : Place
        Where it begins; None for the text as a whole.
    back : Place
        Where its caller goes on.
    left : int
        How often it is still to be executed after this time.
    own : bool
        Whether it has its own local parameters.
    loops : mapping
        What each open loop needs to go round: its kind, where it begins, rounds left.
    branches : mapping
        Whether a branch was taken, for each open IF.
    """

    begin: Place | None
    back: Place = (0, 0)
    left: int = 0
    own: bool = False
    loops: dict[str, tuple[str, Place, int]] = field(default_factory=dict)
    branches: dict[str, bool] = field(default_factory=dict)


class Flow:
    """Decides where a program goes on.

    Parameters
    ----------
    reader : Reader
        Whose ``jump`` is set.
    parameters : Parameters
        For conditions and arguments.
    """

    def __init__(self, reader: Reader, parameters: Parameters) -> None:
        self.reader, self.parameters = reader, parameters
        self.frames = [_Frame(None)]
        self.jumped = False
        self._lines, self._idle, self._at = 0, 0, reader.state.at
        self._found: dict[tuple[bytes, Place | None], Place | None] = {}

    # --- bounds ----------------------------------------------------------------------------------------------------

    def count(self) -> None:
        """Count a line; refuse a program that goes round without end."""
        if not self.jumped:
            return
        self._lines += 1
        self._idle = 0 if self._at is not self.reader.state.at else self._idle + 1
        self._at = self.reader.state.at
        if self._idle > _MOST_IDLE:
            message = f"more than {_MOST_IDLE} lines in a row that move nothing: a loop without an end"
            self.reader.reports.refuse(None, message, "check the condition that ends it")
        if self._lines > _MOST_LINES:
            message = f"more than {_MOST_LINES} lines are executed in loops and subprograms"
            self.reader.reports.refuse(None, message, "check the conditions that end them")

    def _go(self, place: Place) -> None:
        self.reader.jump = place
        self.jumped = True

    # --- finding -----------------------------------------------------------------------------------------------------

    @property
    def _source(self) -> Source:
        source = self.reader.source
        if source is None:
            raise BadTextError(1, "there is no text to jump in", "read the program from a file or a text")
        return source

    def _find(self, pattern: bytes, begin: Place | None) -> Place | None:
        """The first line from a place on that says something, behind its block number."""
        return self._search(_IN_FRONT + pattern, begin)

    def _search(self, pattern: bytes, begin: Place | None) -> Place | None:
        key = (pattern, begin)
        if key not in self._found:
            if len(self._found) > _MOST_KEPT:
                self._found.clear()
            self._found[key] = self._source.find(rb"(?i:" + pattern + rb")", begin)
        return self._found[key]

    def _behind(self, place: Place) -> Place:
        lines = self._source.lines(*place)
        next(lines)
        following = next(lines, None)
        return (self._source.end, place[1] + 1) if following is None else (following[0], following[1])

    def _must(self, pattern: bytes, begin: Place | None, column: int, what: str) -> Place:
        found = self._find(pattern, begin)
        if found is None:
            raise BadTextError(column, f"{what} is not in this file", "add it to the file, or check its number")
        return found

    # --- lines -------------------------------------------------------------------------------------------------------

    def takes(self, line: str) -> bool:
        """Execute a line if it begins, ends or calls something; False when it is an ordinary block."""
        if (match := _O_BEGIN.match(line)) is not None:
            return self._o_line(line, match.start(0) + len(match[1]), match.end())
        match = _BARE.match(line)
        if match is None:
            return False
        what, at = match[1].upper(), match.start(1)
        getattr(self, f"_bare_{what.lower()}")(line, at, match.end())
        return True

    def _condition(self, line: str, at: int) -> tuple[bool, int]:
        while line[at : at + 1] in (" ", "\t"):
            at += 1
        if line[at : at + 1] != "[":
            raise BadTextError(at + 1, "a condition in brackets is missing", "write e.g. [#1 LT 5]")
        found = read_value(line, at, self.parameters)
        return bool(found.number), found.end

    def _whole(self, line: str, at: int, what: str) -> tuple[int, int]:
        found = read_value(line, at, self.parameters)
        number = found.number or 0.0
        if abs(number - round(number)) > 1e-4 or not 0 <= number < 1e9:
            raise BadTextError(at + 1, f"{number:g} is no {what}", "write a whole number")
        return round(number), found.end

    @staticmethod
    def _nothing_more(line: str, at: int) -> None:
        rest = line[at:].strip()
        if rest:
            column = line.index(rest, at) + 1
            raise BadTextError(
                column, f"'{rest[:20]}' stands behind what ends its line", "write it on a line of its own"
            )

    # --- O words -----------------------------------------------------------------------------------------------------

    def _o_line(self, line: str, at: int, end: int) -> bool:
        if (named := _O_NAME.match(line, end)) is not None:
            name = "".join(named[1].lower().split())
            letters = rb"[ \t]*".join(re.escape(c).encode() for c in name)
            key, end = _Key(f"O<{name}>", rb"O[ \t]*<[ \t]*" + letters + rb"[ \t]*>"), named.end()
        elif (numbered := _O_NUMBER.match(line, end)) is not None:
            if _O_DOES.match(line, numbered.end()) is None:
                return False  # a program's own number
            key, end = self._numbered(int(float(numbered[0]))), numbered.end()
        else:
            number, end = self._whole(line, end, "number of a subprogram")
            key = self._numbered(number)
        match = _O_DOES.match(line, end)
        if match is None:
            raise BadTextError(at + 1, f"'{line[at:end].strip()}' does nothing", "say what it begins, ends or calls")
        getattr(self, f"_o_{match[1].lower()}")(key, line, at + 1, match.end())
        return True

    @staticmethod
    def _numbered(number: int) -> _Key:
        return _Key(f"O{number}", rb"O[ \t]*0*%d(?![\d.])" % number)

    def _o_sub(self, key: _Key, line: str, column: int, end: int) -> None:
        self._nothing_more(line, end)
        closing = self._must(key.pattern + rb"[ \t]*ENDSUB", self.reader.after, column, f"the end of {key.shown}")
        self._go(self._behind(closing))

    def _o_call(self, key: _Key, line: str, column: int, end: int) -> None:
        given: dict[int | str, float] = {}
        while line[end:].strip():
            found = read_value(line, end, self.parameters)
            given[len(given) + 1] = found.number or 0.0
            end = found.end
            if len(given) > Parameters.LOCALS:
                raise BadTextError(end, f"more than {Parameters.LOCALS} values for one call", "give fewer")
        target = self._must(key.pattern + rb"[ \t]*SUB(?![A-Z])", None, column, f"subprogram {key.shown}")
        for number in range(1, 31):
            given.setdefault(number, 0.0)
        begin = self._behind(target)
        self._enter(_Frame(begin, self.reader.after, own=True), begin, column)
        self.parameters.enter(given)

    def _enter(self, frame: _Frame, begin: Place, column: int) -> None:
        if len(self.frames) > _MOST_CALLS:
            message = f"more than {_MOST_CALLS} calls within each other"
            raise BadTextError(column, message, "check that no subprogram calls itself without end")
        self.frames.append(frame)
        self._go(begin)

    def _leave(self) -> None:
        frame = self.frames.pop()
        if frame.own:
            self.parameters.leave()
        self._go(frame.back)

    def _o_endsub(self, key: _Key, line: str, column: int, end: int) -> None:
        value = read_value(line, end, self.parameters).number if line[end:].strip() else None
        if len(self.frames) == 1:
            raise BadTextError(column, f"{key.shown} ends here, but it was not called", "check where it begins")
        self._leave()
        if value is not None:
            self.parameters.set("_value", value)

    _o_return = _o_endsub

    def _o_if(self, key: _Key, line: str, column: int, end: int) -> None:
        true, end = self._condition(line, end)
        self._nothing_more(line, end)
        self.frames[-1].branches[key.shown] = true
        if not true:
            self._next_branch(key, column)

    def _next_branch(self, key: _Key, column: int, what: bytes = rb"(?:ELSEIF|ELSE|ENDIF)") -> None:
        pattern = key.pattern + rb"[ \t]*" + what + rb"(?![A-Z])"
        self._go(self._must(pattern, self.reader.after, column, f"the end of {key.shown}"))

    def _branch_of(self, key: _Key, column: int) -> bool:
        taken = self.frames[-1].branches.get(key.shown)
        if taken is None:
            raise BadTextError(column, f"{key.shown} has no IF before it", "check its number")
        return taken

    def _o_elseif(self, key: _Key, line: str, column: int, end: int) -> None:
        if self._branch_of(key, column):
            self._next_branch(key, column, b"ENDIF")
        else:
            self._o_if(key, line, column, end)

    def _o_else(self, key: _Key, line: str, column: int, end: int) -> None:
        self._nothing_more(line, end)
        if self._branch_of(key, column):
            self._next_branch(key, column, b"ENDIF")
        self.frames[-1].branches[key.shown] = True

    def _o_endif(self, key: _Key, line: str, column: int, end: int) -> None:
        self._nothing_more(line, end)
        self._branch_of(key, column)
        del self.frames[-1].branches[key.shown]

    def _o_while(self, key: _Key, line: str, column: int, end: int) -> None:
        true, end = self._condition(line, end)
        self._nothing_more(line, end)
        loops = self.frames[-1].loops
        kind, begin, _ = loops.get(key.shown, ("", (0, 0), 0))
        if kind == "do":
            if true:
                self._go(begin)
            else:
                del loops[key.shown]
            return
        ending = self._end_of(key, "while", column)
        if true:
            loops[key.shown] = ("while", self.reader.here, 0)
        else:
            loops.pop(key.shown, None)
            self._go(self._behind(ending))

    def _o_endwhile(self, key: _Key, line: str, column: int, end: int) -> None:
        self._nothing_more(line, end)
        kind, begin, _ = self._loop_of(key, column)
        if kind != "while":
            raise BadTextError(column, f"{key.shown} is no WHILE", "check its number")
        self._go(begin)

    def _loop_of(self, key: _Key, column: int) -> tuple[str, Place, int]:
        loop = self.frames[-1].loops.get(key.shown)
        if loop is None:
            raise BadTextError(column, f"{key.shown} has no beginning before it", "check its number")
        return loop

    def _o_do(self, key: _Key, line: str, column: int, end: int) -> None:
        self._nothing_more(line, end)
        self._end_of(key, "do", column)
        self.frames[-1].loops[key.shown] = ("do", self.reader.after, 0)

    def _o_repeat(self, key: _Key, line: str, column: int, end: int) -> None:
        rounds, end = self._whole(line, end, "number of rounds")
        self._nothing_more(line, end)
        if rounds > _MOST_ROUNDS:
            raise BadTextError(column, f"{rounds} rounds", f"write a number up to {_MOST_ROUNDS}")
        ending = self._end_of(key, "repeat", column)
        if rounds:
            self.frames[-1].loops[key.shown] = ("repeat", self.reader.after, rounds)
        else:
            self._go(self._behind(ending))

    def _o_endrepeat(self, key: _Key, line: str, column: int, end: int) -> None:
        self._nothing_more(line, end)
        kind, begin, left = self._loop_of(key, column)
        if kind != "repeat":
            raise BadTextError(column, f"{key.shown} is no REPEAT", "check its number")
        if left > 1:
            self.frames[-1].loops[key.shown] = (kind, begin, left - 1)
            self._go(begin)
        else:
            del self.frames[-1].loops[key.shown]

    def _end_of(self, key: _Key, kind: str, column: int) -> Place:
        end = {"while": rb"ENDWHILE", "do": rb"WHILE(?![A-Z])", "repeat": rb"ENDREPEAT"}[kind]
        return self._must(key.pattern + rb"[ \t]*" + end, self.reader.after, column, f"the end of {key.shown}")

    def _o_break(self, key: _Key, line: str, column: int, end: int) -> None:
        self._nothing_more(line, end)
        kind, _, _ = self._loop_of(key, column)
        self._go(self._behind(self._end_of(key, kind, column)))
        self._forget_inner(key)
        del self.frames[-1].loops[key.shown]

    def _forget_inner(self, key: _Key) -> None:
        """Loops begun within one that is left or goes round are left, too."""
        loops = self.frames[-1].loops
        names = list(loops)
        for name in names[names.index(key.shown) + 1 :]:
            del loops[name]

    def _o_continue(self, key: _Key, line: str, column: int, end: int) -> None:
        self._nothing_more(line, end)
        kind, begin, _ = self._loop_of(key, column)
        self._forget_inner(key)
        self._go(begin if kind == "while" else self._end_of(key, kind, column))

    # --- bare words --------------------------------------------------------------------------------------------------

    def _bare_if(self, line: str, at: int, end: int) -> None:
        true, end = self._condition(line, end)
        match = _THEN.match(line, end)
        if match is not None and match[1].upper() == "GOTO":
            number, end = self._whole(line, match.end(), "block number")
            self._nothing_more(line, end)
            if true:
                self._goto(number, at + 1)
            return
        rest = match.end() if match is not None else end
        if not line[rest:].strip():
            remedy = "write IF [..] GOTO with a block number, or IF [..] THEN with what to do, in one line"
            raise BadTextError(at + 1, "an IF that says nothing to do", remedy)
        if true:
            self.reader.block(" " * rest + line[rest:])

    def _bare_goto(self, line: str, at: int, end: int) -> None:
        number, end = self._whole(line, end, "block number")
        self._nothing_more(line, end)
        self._goto(number, at + 1)

    def _goto(self, number: int, column: int) -> None:
        target = self._block_number(number, self.reader.after) or self._block_number(number, self.frames[-1].begin)
        if target is None:
            raise BadTextError(column, f"block N{number} is not in this file", "check the number")
        self._go(target)

    def _block_number(self, number: int, begin: Place | None) -> Place | None:
        return self._search(rb"[ \t]*(?:/\d?[ \t]*)?N[ \t]*0*%d(?![\d.])" % number, begin)

    def _bare_while(self, line: str, at: int, end: int) -> None:
        true, end = self._condition(line, end)
        match = _DO.match(line, end)
        if match is None:
            raise BadTextError(at + 1, "a WHILE without its DO", "write WHILE [..] DO1, and END1 where it ends")
        self._nothing_more(line, match.end())
        name = f"DO{int(match[1])}"
        ending = self._do_end(int(match[1]), at + 1)
        if true:
            self.frames[-1].loops[name] = ("while", self.reader.here, 0)
            return
        self.frames[-1].loops.pop(name, None)
        self._go(self._behind(ending))

    def _do_end(self, number: int, column: int) -> Place:
        return self._must(rb"END[ \t]*0*%d(?!\d)" % number, self.reader.after, column, f"END{number}")

    def _bare_do(self, line: str, at: int, end: int) -> None:
        number, end = self._whole(line, end, "number of a loop")
        self._nothing_more(line, end)
        self._do_end(number, at + 1)
        self.frames[-1].loops[f"DO{number}"] = ("while", self.reader.here, 0)

    def _bare_end(self, line: str, at: int, end: int) -> None:
        number, end = self._whole(line, end, "number of a loop")
        self._nothing_more(line, end)
        loop = self.frames[-1].loops.get(f"DO{number}")
        if loop is None:
            raise BadTextError(at + 1, f"END{number} has no DO{number} before it", "check its number")
        self._go(loop[1])

    # --- M98, M99, G65 -----------------------------------------------------------------------------------------------

    def is_number_alone(self, line: str) -> bool:
        """Whether a line holds nothing but a program's or subprogram's own number."""
        return _NUMBER_ALONE.match(line) is not None

    @property
    def called_here(self) -> bool:
        """Whether the line being read is where the present call began."""
        return self.frames[-1].begin == self.reader.here

    @property
    def unfinished(self) -> str | None:
        """What is still open, in words."""
        if len(self.frames) > 1:
            return "a subprogram is at the end of the text and does not go back"
        return None

    def call(self, word: Word, program: Word | None, times: int, arguments: Iterable[Word] | None) -> None:
        """Execute M97 or M98 (no arguments) or G65 at the end of its block."""
        refuse = self.reader.reports.refuse
        if program is None or not 0 <= program.value < 1e9 or program.value != int(program.value):
            refuse(program or word, f"'{word.text}' does not name a subprogram", "add P with its number")
        number = int(program.value)
        if number > 9999 and arguments is None and times == 1:  # repeats in front of a number of four digits
            found = self._find(rb"(?:O|:)[ \t]*0*%d(?!\d)" % number, None)
            if found is None:
                number, times = number % 10_000, number // 10_000
        if word.value == 97:  # a block of this program
            target = self._block_number(number, self.frames[-1].begin)
        else:
            target = self._find(rb"(?:O|:)[ \t]*0*%d(?![\d.])(?![ \t]*[A-Z]{2})" % number, None)
        if target is None:
            remedy = "put the subprogram into the same file, behind the end of the program"
            refuse(program, f"subprogram {number} is not in this file", remedy)
        if not 0 <= times <= _MOST_ROUNDS:
            refuse(word, f"{times} times", f"write a number up to {_MOST_ROUNDS}")
        if times == 0:
            return
        try:
            self._enter(_Frame(target, self.reader.after, times - 1, arguments is not None), target, word.column)
        except BadTextError as e:
            refuse(word, e.message, e.remedy)
        if arguments is not None:
            given = {_ARGUMENTS[w.letter]: w.value for w in arguments if w.letter in _ARGUMENTS}
            self.parameters.enter({**given}, leaves_out=True)

    def back(self, word: Word, block: Word | None) -> None:
        """Execute M99: go round again, or back to the caller."""
        frame = self.frames[-1]
        if len(self.frames) == 1:
            message = "M99 outside a subprogram begins the program again without end: it is counted once"
            self.reader.reports.note(word, message)
            self.reader.ended = True
            return
        frame.loops.clear()
        frame.branches.clear()
        if frame.left > 0 and block is None and frame.begin is not None:
            frame.left -= 1
            self._go(frame.begin)
            return
        self._leave()
        if block is not None:
            target = self._block_number(int(block.value), self.frames[-1].begin)
            if target is None:
                self.reader.reports.refuse(block, f"block N{block.value:g} is not in this file", "check the number")
            self._go(target)
