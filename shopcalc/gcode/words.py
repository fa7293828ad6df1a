"""One line of a program to words, with care: comments, blanks, and the place of everything that is no word."""

from __future__ import annotations

import re
from typing import NamedTuple

from shopcalc.gcode.reports import Word

_WORD = re.compile(r"([A-Za-z]|,[ \t]*[CRcr])[ \t]*([+-]?[ \t]*(?:\d[\d \t]*\.?[\d \t]*|\.[ \t]*\d[\d \t]*))")
_BLANK_WITHIN = re.compile(r"[\d.][ \t]+[\d.]")
_FLOW = re.compile(
    r"(IF|THEN|ELSE(IF)?|ENDIF|WHILE|ENDWHILE|DO|END|GOTO|SUB|ENDSUB|CALL|RETURN|REPEAT|ENDREPEAT|BREAK|CONTINUE)"
    r"(?![A-Za-z])",
    re.IGNORECASE,
)
_LATER = {
    "#": "parameters are not read yet",
    "[": "expressions are not read yet",
    "]": "expressions are not read yet",
    "=": "expressions are not read yet",
}
_LARGEST = 1e12  # beyond it no number means anything, and counts no longer fit


class BadTextError(Exception):
    """A place in a line that is not a word."""

    def __init__(self, column: int, message: str, remedy: str) -> None:
        super().__init__(message)
        self.column, self.message, self.remedy = column, message, remedy


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


def split_words(line: str) -> tuple[list[Word], Word | None]:
    """The words of a line whose comments are blanked, and the first one with blanks inside its number.

    Parameters
    ----------
    line : str
        Without comments.

    Raises
    ------
    BadTextError
        At the first place that is not a word.

    References
    ----------
    NISTIR 6556 (Kramer, Proctor, Messina, 2000), section 3.3: blanks and tabs may stand anywhere, also in a number.
    """
    words: list[Word] = []
    spaced: Word | None = None
    at, end = 0, len(line)
    while at < end:
        character = line[at]
        if character in " \t\r":
            at += 1
            continue
        match = _WORD.match(line, at)
        if match is None:
            raise _bad(line, at)
        if character in "oO" and _FLOW.match(line, match.end()):
            raise BadTextError(at + 1, "loops, branches and subprograms are not read yet", "write the moves out")
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
    return words, spaced


def _bad(line: str, at: int) -> BadTextError:
    character, place = line[at], at + 1
    rest = line[at:].strip()
    if _FLOW.match(line, at):
        return BadTextError(place, "loops, branches and subprograms are not read yet", "write the moves out")
    if character.isascii() and character.isalpha():
        following = line[at + 1 :].lstrip(" \t+-")[:1]
        if character in "oO" and (following == "<" or following.isalpha()):
            return BadTextError(place, "subprograms and loops are not read yet", "write the moves out")
        if following in _LATER:
            return BadTextError(place, _LATER[following], "write the number out")
        message = f"'{rest[:12]}': no number follows '{character}'"
        return BadTextError(place, message, "complete the word or take it out")
    if character in _LATER:
        return BadTextError(place, _LATER[character], "write the numbers out")
    if character == "\ufffd":
        return BadTextError(place, "a byte that is no text", "check that this is a program, and save it as plain text")
    shown = f"'{character}'" if character.isprintable() else f"character {ord(character)}"
    return BadTextError(place, f"{shown} does not belong in a program", "take it out, or put it into a comment")
