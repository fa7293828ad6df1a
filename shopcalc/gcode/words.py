"""One line of a program to words, with care: comments, blanks, and the place of everything that is no word."""

from __future__ import annotations

import re
from typing import NamedTuple

from shopcalc.gcode.expressions import is_function, parameter_key, read_value
from shopcalc.gcode.parameters import Parameters
from shopcalc.gcode.reports import BadTextError as BadTextError
from shopcalc.gcode.reports import Word

_WORD = re.compile(r"([A-Za-z]|,[ \t]*[CRcr])[ \t]*([+-]?[ \t]*(?:\d[\d \t]*\.?[\d \t]*|\.[ \t]*\d[\d \t]*))")
_BLANK_WITHIN = re.compile(r"[\d.][ \t]+[\d.]")
_FLOW = re.compile(
    r"(IF|THEN|ELSE(IF)?|ENDIF|WHILE|ENDWHILE|DO|END|GOTO|SUB|ENDSUB|CALL|RETURN|REPEAT|ENDREPEAT|BREAK|CONTINUE)"
    r"(?![A-Za-z])",
    re.IGNORECASE,
)
_COMPUTED = re.compile(r"[#\[\]=]|[A-Za-z][ \t]*[+-]?[ \t]*[A-Za-z]{2}")  # a line that may hold values to compute
_LARGEST = 1e12  # beyond it no number means anything, and counts no longer fit


_ALONE = "write it on a line of its own"


class Bare(NamedTuple):
    """A line without its comments.

    Parameters
    ----------
    text : str
        The line, comments blanked so that columns stay.
    comment : str
        What stands in the comments.
    odd : str
        What is odd about them; empty when nothing is.
    """

    text: str
    comment: str
    odd: str


def blank_comments(line: str) -> Bare:
    """Blank the comments of a line: ``( )``, nested or never closed, and ``;`` or ``//`` to its end.

    Parameters
    ----------
    line : str
        One line of a program.

    Raises
    ------
    BadTextError
        When a comment within a comment is not closed and words follow: controls disagree on whether they count.

    Example
    -------
    >>> blank_comments("G1 (to the edge) X5 ; done").text
    'G1               X5 '
    """
    if "(" not in line and ";" not in line and "//" not in line:
        return Bare(line, "", "")
    out: list[str] = []
    inside: list[str] = []
    depth, opened, closed, nested = 0, 0, -1, False
    for at, character in enumerate(line):
        if depth == 0 and (character == ";" or line.startswith("//", at)):
            inside.append(" " + line[at:].lstrip(";/ "))
            break
        if character == "(":
            if depth == 0:
                opened, closed = at, -1
            nested = nested or depth > 0
            depth += 1
        out.append(" " if depth else character)
        if depth:
            inside.append(character)
        if character == ")" and depth:
            depth -= 1
            closed = at if closed < 0 else closed
    comment = " ".join("".join(inside).replace("(", " ").replace(")", " ").split())
    if depth:
        if closed >= 0 and _WORD.search(line, closed + 1):
            raise BadTextError(
                opened + 1, "a comment holds another, is not closed, and words follow", "close the comment with ')'"
            )
        return Bare("".join(out), comment, "a comment is never closed: the rest of its line is left out")
    return Bare("".join(out), comment, "a comment within a comment: all of it is left out" if nested else "")


class Line(NamedTuple):
    """What one line of a program says.

    Parameters
    ----------
    words : list of Word
        In the order of the line.
    settings : list
        Parameters with the values they get, once the whole line is read.
    spaced : Word or None
        The first word with blanks inside its number.
    """

    words: list[Word]
    settings: list[tuple[int | str, float | None]]
    spaced: Word | None


def split_words(line: str, parameters: Parameters) -> Line:
    """The words of a line whose comments are blanked, and the parameters it sets.

    Parameters
    ----------
    line : str
        Without comments.
    parameters : Parameters
        What values are computed from; changed by nobody here, because settings count after the whole line.

    Raises
    ------
    BadTextError
        At the first place that is not a word.

    References
    ----------
    NISTIR 6556 (Kramer, Proctor, Messina, 2000), section 3.3: blanks and tabs may stand anywhere, also in a number;
    parameters get their values after the whole line is read.
    """
    words: list[Word] = []
    settings: list[tuple[int | str, float | None]] = []
    spaced: Word | None = None
    computed = _COMPUTED.search(line) is not None
    at, end = 0, len(line)
    while at < end:
        character = line[at]
        if character in " \t\r":
            at += 1
            continue
        if character == "#":
            key, at = parameter_key(line, at, parameters)
            value, at = _setting(line, at, parameters)
            settings.append((key, value))
            continue
        match = _WORD.match(line, at)
        if match is None:
            if not computed or (found := _computed_word(line, at, parameters)) is None:
                raise _bad(line, at)
            word, at = found
            if word is not None:
                words.append(word)
            continue
        if character in "oO" and _FLOW.match(line, match.end()):
            raise BadTextError(at + 1, "a subprogram, loop or branch in the middle of a block", _ALONE)
        text = match[0].strip()
        value = float(match[2].replace(" ", "").replace("\t", ""))
        if not abs(value) < _LARGEST:
            raise BadTextError(at + 1, f"'{text[:20]}' is too large a number", "check the number")
        letter = match[1].upper()
        word = Word(letter if len(letter) == 1 else "," + letter[-1], value, at + 1, text)
        if spaced is None and _BLANK_WITHIN.search(match[2]):
            spaced = word
        words.append(word)
        at = match.end()
    return Line(words, settings, spaced)


def _setting(line: str, at: int, parameters: Parameters) -> tuple[float | None, int]:
    """The value behind a parameter's ``=``."""
    while line[at : at + 1] in (" ", "\t"):
        at += 1
    if line[at : at + 1] != "=":
        remedy = "write #1=2 to set it, or a letter before it to use it"
        raise BadTextError(at + 1, "a parameter that is neither set nor used", remedy)
    found = read_value(line, at + 1, parameters, chained=True)
    return found.number, found.end


def _computed_word(line: str, at: int, parameters: Parameters) -> tuple[Word | None, int] | None:
    """A letter whose number is computed; no word where its parameter has no value and may be left out."""
    letter, begin = line[at], at + 1
    if letter == "," and line[at + 1 : at + 2].upper() in ("C", "R"):
        letter, begin = "," + line[at + 1], at + 2
    elif not (letter.isascii() and letter.isalpha()):
        return None
    if _FLOW.match(line, at):
        return None
    following = line[begin:].lstrip(" \t+-")[:1]
    if following not in ("#", "[") and not is_function(line, begin):
        return None
    number, end = read_value(line, begin, parameters)
    if number is None and parameters.leaves_out:
        return None, end
    return Word(letter.upper(), number or 0.0, at + 1, line[at:end].strip()), end


def _bad(line: str, at: int) -> BadTextError:
    character, place = line[at], at + 1
    rest = line[at:].strip()
    in_number = at > 0 and line[at - 1] in "0123456789."
    if character in ".," and in_number and line[at + 1 : at + 2].isdigit():
        begin = re.search(r"[A-Za-z]?[+-]?[\d.]*$", line[:at])
        written = f"{begin[0] if begin else ''}{re.match(r'[,.0-9]*', line[at:])[0]}"  # type: ignore[index]
        what = "a comma" if character == "," else "two points"
        return BadTextError(place, f"{what} in the number of '{written}'", "write it with one point, such as X1.5")
    if character in "oO" and in_number:
        return BadTextError(place, f"the letter '{character}' in a number", "write a zero if it is meant")
    if character.isdigit():
        message = f"'{rest[:12]}': a number without a letter before it"
        return BadTextError(place, message, "write its letter, or put a remark into parentheses")
    if re.match(r"[A-Za-z]{3}", rest):
        remedy = "put a remark into parentheses; complete a word with its number"
        return BadTextError(place, f"'{rest[:20]}' is no word of a program", remedy)
    if _FLOW.match(line, at):
        return BadTextError(place, "a subprogram, loop or branch in the middle of a block", _ALONE)
    if character.isascii() and character.isalpha():
        message = f"'{rest[:12]}': no number follows '{character}'"
        return BadTextError(place, message, "complete the word or take it out")
    if character in "[]=":
        return BadTextError(place, f"'{character}' belongs to no word and no parameter", "check the brackets")
    if character in "{}":
        return BadTextError(
            place, f"'{character}' does not belong in a program", "take the blocks out of what they are wrapped in"
        )
    if character == "\ufffd":
        return BadTextError(place, "a byte that is no text", "check that this is a program, and save it as plain text")
    shown = f"'{character}'" if character.isprintable() else f"character {ord(character)}"
    return BadTextError(place, f"{shown} does not belong in a program", "take it out, or put it into a comment")
