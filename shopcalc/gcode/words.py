"""Text to words: a careful reader of one line, and a quick one of many plain lines at once."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from shopcalc.moves import Floats


class Word(NamedTuple):
    """A letter with its number and the column where it stands, counted from 1."""

    letter: str
    value: float
    column: int
    text: str


class BadTextError(Exception):
    """A place in a line that is not a word."""

    def __init__(self, column: int, message: str, remedy: str) -> None:
        super().__init__(message)
        self.column, self.message, self.remedy = column, message, remedy


_WORD = re.compile(r"([A-Za-z])[ \t]*([+-]?[ \t]*(?:\d[\d \t]*\.?[\d \t]*|\.[ \t]*\d[\d \t]*))")
_LATER = {
    "#": "parameters are not read yet",
    "[": "expressions are not read yet",
    "=": "expressions are not read yet",
}


def blank_comments(line: str) -> tuple[str, str | None]:
    """A line with its comments blanked out, and what was odd about them.

    Parameters
    ----------
    line : str
        One line of a program. ``( )`` may be nested or never closed; ``;`` and a leading ``//`` go to the end.
    """
    if "(" not in line and ";" not in line and "//" not in line and ")" not in line:
        return line, None
    if line.lstrip().startswith("//"):
        return "", None
    out, depth = [], 0
    for character in line:
        if depth == 0 and character == ";":
            break
        if character == "(":
            depth += 1
        out.append(" " if depth else character)
        if character == ")" and depth:
            depth -= 1
    return "".join(out), "a comment is never closed" if depth else None


def split_words(line: str) -> list[Word]:
    """The words of a line whose comments are blanked.

    Parameters
    ----------
    line : str
        Without comments.

    Raises
    ------
    BadTextError
        At the first place that is not a word.
    """
    words, at, end = [], 0, len(line)
    while at < end:
        character = line[at]
        if character in " \t\r\n":
            at += 1
            continue
        match = _WORD.match(line, at)
        if match is None or character in "oO":
            raise _bad(line, at)
        digits = re.sub(r"[ \t]", "", match[2])
        text = line[at : match.end()].strip()
        words.append(Word(match[1].upper(), float(digits), at + 1, text))
        at = match.end()
    return words


def _bad(line: str, at: int) -> BadTextError:
    character = line[at]
    rest = line[at:].strip()
    if character.isalpha() and character.isascii():
        following = line[at + 1 :].lstrip()[:1]
        if character in "oO":
            return BadTextError(at + 1, "subprograms and loops are not read yet", "write the moves out")
        if following in _LATER:
            return BadTextError(at + 1, _LATER[following], "write the number out")
        return BadTextError(
            at + 1, f"'{rest[:12]}': no number follows '{character}'", "complete the word or take it out"
        )
    if character in _LATER:
        return BadTextError(at + 1, _LATER[character], "write the numbers out")
    shown = character if character.isprintable() else f"character {ord(character)}"
    return BadTextError(at + 1, f"'{shown}' does not belong in a program", "take it out, or put it into a comment")


#: Letters that a plain line may hold, in the order of the columns of ``PlainLines.values``.
PLAIN = "XYZIJKFGN"
_CODE = np.full(256, -1, dtype=np.int8)
for _i, _letter in enumerate(PLAIN):
    _CODE[ord(_letter)] = _CODE[ord(_letter.lower())] = _i
_CLASS = np.zeros(256, dtype=np.uint8)  # 0 other, 1 digit, 2 dot, 3 sign, 4 letter, 5 blank, 6 end of line
for _text, _number in (("0123456789", 1), (".", 2), ("+-", 3), (" \t\r", 5), ("\n", 6)):
    for _character in _text:
        _CLASS[ord(_character)] = _number
for _character in "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz":
    _CLASS[ord(_character)] = 4
_POWER = 10.0 ** np.arange(23)
_MOST_DIGITS = 15  # so many are exact in a float, and so is their quotient by a power of ten


@dataclass(frozen=True)
class PlainLines:
    """Many lines at once.

    Parameters
    ----------
    plain : (m,) bool
        Which lines hold only words of ``PLAIN``, each at most once and well formed, with G0 to G3 at most.
    values : (m, 9) float
        Value of each word of the plain lines; nan where it is absent.
    starts, ends : (m,) int
        Where each line's text begins and ends in the piece.
    """

    plain: NDArray[np.bool_]
    values: Floats
    starts: NDArray[np.int64]
    ends: NDArray[np.int64]


def plain_lines(piece: NDArray[np.uint8]) -> PlainLines:
    """Read the plain lines of a piece of a program; leave the others to the careful reader.

    Parameters
    ----------
    piece : (b,) uint8
        Whole lines, the last one closed by a line feed.

    Notes
    -----
    A number's digits are gathered as one integer below 10^15 and divided by a power of ten: both are exact, so the
    quotient is the float nearest to the text, as ``float`` would give.
    """
    kind = _CLASS[piece]
    newline = np.flatnonzero(kind == 6)
    count = len(newline)
    starts = np.concatenate([[0], newline[:-1] + 1]) if count else np.zeros(0, dtype=np.int64)
    letters = np.flatnonzero(kind == 4)
    line_of = np.searchsorted(newline, letters)
    plain = np.ones(count, dtype=bool)

    def exclude(places: NDArray[np.int64]) -> None:
        plain[np.searchsorted(newline, places)] = False

    exclude(np.flatnonzero(kind == 0))
    before, after = kind[:-1], kind[1:]
    number_like = (after >= 1) & (after <= 3)
    exclude(np.flatnonzero(((before == 5) | (before == 6)) & number_like) + 1)  # a number with no letter before it
    exclude(np.flatnonzero((after == 3) & (before != 4)) + 1)
    for place in np.flatnonzero((before == 6) & number_like) + 1:  # else its digits would go to the line before
        previous = int(np.searchsorted(letters, place)) - 1
        if previous >= 0:
            plain[line_of[previous]] = False
    if len(kind) and kind[0] in (1, 2, 3):
        plain[0] = False
    values = np.full((count, len(PLAIN)), np.nan)
    if len(letters):
        _numbers(piece, kind, letters, line_of, plain, values)
    return PlainLines(plain, values, starts, newline)


def _numbers(
    piece: NDArray[np.uint8], kind: NDArray[np.uint8], letters: NDArray[np.int64], line_of: NDArray[np.int64],
    plain: NDArray[np.bool_], values: Floats,
) -> None:  # fmt: skip
    """Fill ``values``; clear ``plain`` where a word is not well formed or not plain."""
    words = len(letters)
    digit_at = np.flatnonzero(kind == 1)
    first = np.searchsorted(digit_at, letters)  # index of each word's first digit
    total = np.diff(np.append(first, len(digit_at)))
    dot_at = np.flatnonzero(kind == 2)
    dot_of = np.searchsorted(letters, dot_at) - 1
    dots = np.bincount(np.maximum(dot_of, 0), minlength=words)[:words]
    decimals = np.zeros(words, dtype=np.int64)
    end_of_digits = np.append(first[1:], len(digit_at))
    single = dot_of >= 0
    decimals[dot_of[single]] = end_of_digits[dot_of[single]] - np.searchsorted(digit_at, dot_at[single])
    code = _CODE[piece[letters]]
    bad = (code < 0) | (total == 0) | (total > _MOST_DIGITS) | (dots > 1)
    rank = np.repeat(end_of_digits, total) - np.arange(first[0] if words else 0, len(digit_at)) - 1
    digits = piece[digit_at[first[0] :]].astype(np.float64) - 48.0 if words else np.zeros(0)
    scaled = digits * _POWER[np.minimum(rank, 22)]
    some = total > 0
    number = np.zeros(words)
    if some.any():
        number[some] = np.add.reduceat(scaled, (first - first[0])[some])
    number /= _POWER[np.minimum(decimals, 22)]
    following = piece[np.minimum(letters + 1, len(piece) - 1)]
    number[following == ord("-")] *= -1.0
    bad |= (code == PLAIN.index("G")) & ~np.isin(number, (0.0, 1.0, 2.0, 3.0))
    bad |= (code == PLAIN.index("F")) & (number <= 0.0)
    # a letter given twice: nibbles of counts per line, so at most fifteen words
    per_line = np.bincount(line_of, minlength=len(plain))
    many = per_line > 15
    good = code >= 0
    nibble = 16.0 ** np.maximum(code, 0)
    tally = np.bincount(line_of[good], weights=nibble[good], minlength=len(plain)).astype(np.int64)
    plain &= ~many & ((tally & 0xEEEEEEEEE) == 0)
    plain[line_of[bad]] = False
    keep = plain[line_of] & good
    values[line_of[keep], code[keep]] = number[keep]
