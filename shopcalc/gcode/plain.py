"""Many plain lines to numbers at once; every line that holds anything else is left to the careful reader."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shopcalc.moves import Floats

#: Letters that a plain line may hold, in the order of the columns of ``PlainLines.values``.
PLAIN = "XYZIJKRFGN"
_CODE = np.full(256, -1, dtype=np.int8)
for _i, _letter in enumerate(PLAIN):
    _CODE[ord(_letter)] = _CODE[ord(_letter.lower())] = _i
_OTHER, _DIGIT, _DOT, _SIGN, _LETTER, _BLANK, _END = range(7)
_CLASS = np.full(256, _OTHER, dtype=np.uint8)
for _text, _class in (("0123456789", _DIGIT), (".", _DOT), ("+-", _SIGN), (" \t\r", _BLANK), ("\n", _END)):
    for _character in _text:
        _CLASS[ord(_character)] = _class
for _character in "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz":
    _CLASS[ord(_character)] = _LETTER
_POWER = 10.0 ** np.arange(23)
_MOST_DIGITS = 15  # so many are exact in a float, and so is their quotient by a power of ten
_MOST_WORDS = 15  # in a line: more would overflow the tally of letters given twice
_NIBBLE = np.append(16.0 ** np.arange(len(PLAIN)), 0.0)  # the last one is for code -1
_TWICE = sum(0xE << 4 * i for i in range(len(PLAIN)))


@dataclass(frozen=True)
class PlainLines:
    """Many lines at once.

    Parameters
    ----------
    plain : (m,) bool
        Which lines hold only words of ``PLAIN``, each at most once and well formed, with G0 to G3 at most, and
        comments.
    values : (m, 10) float
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
    newline = np.flatnonzero(piece == ord("\n"))
    piece = _without_comments(piece, newline)
    kind = _CLASS[piece]
    count = len(newline)
    starts = np.concatenate([[0], newline[:-1] + 1]) if count else np.zeros(0, dtype=np.int64)
    letters = np.flatnonzero(kind == _LETTER)
    per_line = np.diff(np.searchsorted(letters, newline), prepend=0)
    line_of = np.repeat(np.arange(count), per_line)
    plain = np.ones(count, dtype=bool)
    before, after = kind[:-1], kind[1:]
    number_like = (after >= _DIGIT) & (after <= _SIGN)
    odd = kind == _OTHER
    odd[1:] |= (before >= _BLANK) & number_like  # a number with no letter right before it
    odd[1:] |= (after == _SIGN) & (before != _LETTER)
    odd[0] |= kind[0] in (_DIGIT, _DOT, _SIGN)
    strange = np.flatnonzero(odd)
    if len(strange):
        lines = np.searchsorted(newline, strange)
        plain[lines] = False
        # digits that stand before a strange line's first letter would be counted to the last word before that line
        previous = np.searchsorted(letters, starts[np.unique(lines)]) - 1
        plain[line_of[previous[previous >= 0]]] = False
    plain &= per_line <= _MOST_WORDS
    values = np.full((count, len(PLAIN)), np.nan)
    if len(letters):
        _numbers(piece, kind, letters, line_of, plain, values)
    return PlainLines(plain, values, starts, newline)


def _without_comments(piece: NDArray[np.uint8], newline: NDArray[np.int64]) -> NDArray[np.uint8]:
    """The piece with blanks for comments; lines whose comments are nested, open or of both kinds stay as they are."""
    mark = (piece == ord("(")) | (piece == ord(")")) | (piece == ord(";"))
    marks = np.flatnonzero(mark)
    if not len(marks):
        return piece
    line = np.searchsorted(newline, marks)
    first = np.searchsorted(marks, np.append(0, newline[:-1] + 1))  # each line's first mark
    in_line = np.diff(np.append(first, len(marks)))
    order = np.arange(len(marks)) - first[line]
    what = piece[marks]
    in_turn = what == np.where(order % 2 == 0, ord("("), ord(")"))
    pairs = (np.bincount(line[in_turn], minlength=len(newline)) == in_line) & (in_line % 2 == 0)
    tails = np.zeros(len(newline), dtype=bool)
    tails[line] = True
    tails[line[what != ord(";")]] = False
    edges = np.zeros(len(piece) + 1, dtype=np.int8)
    chosen = pairs[line]
    edges[marks[chosen & (what == ord("("))]] = 1
    edges[marks[chosen & (what == ord(")"))] + 1] -= 1
    edges[marks[first[tails]]] = 1
    edges[newline[tails]] = -1
    return np.where(np.cumsum(edges[:-1], dtype=np.int8) > 0, np.uint8(ord(" ")), piece)


def _numbers(
    piece: NDArray[np.uint8], kind: NDArray[np.uint8], letters: NDArray[np.int64], line_of: NDArray[np.int64],
    plain: NDArray[np.bool_], values: Floats,
) -> None:  # fmt: skip
    """Fill ``values``; clear ``plain`` where a word is not well formed or not plain."""
    digit = kind == _DIGIT
    before = np.cumsum(digit, dtype=np.int32)
    first, all_digits = before[letters], int(before[-1])  # index of each word's first digit
    last = np.append(first[1:], np.int32(all_digits))
    total = last - first
    dot_at = np.flatnonzero(kind == _DOT)
    dot_of = np.searchsorted(letters, dot_at) - 1
    dot_at, dot_of = dot_at[dot_of >= 0], dot_of[dot_of >= 0]
    dots = np.bincount(dot_of, minlength=len(letters))
    decimals = np.zeros(len(letters), dtype=np.int32)
    decimals[dot_of] = last[dot_of] - before[dot_at]
    code = _CODE[piece[letters]]
    bad = (code < 0) | (total == 0) | (total > _MOST_DIGITS) | (dots > 1)
    rank = np.repeat(last - np.int32(1), total) - np.arange(first[0], all_digits, dtype=np.int32)
    digits = (piece[digit][first[0] :] - ord("0")).astype(np.float64)
    number = np.zeros(len(letters))
    some = total > 0
    if some.any():
        digits *= _POWER[np.minimum(rank, 22, out=rank)]
        number[some] = np.add.reduceat(digits, (first - first[0])[some])
    number /= _POWER[np.minimum(decimals, 22)]
    number[piece[np.minimum(letters + 1, len(piece) - 1)] == ord("-")] *= -1.0
    bad |= (code == PLAIN.index("G")) & ((number > 3.0) | (number != np.floor(number)) | (number < 0.0))
    bad |= (code == PLAIN.index("F")) & (number <= 0.0)
    plain[line_of[bad]] = False
    # a letter given twice: a nibble of counts for each letter of a line; one that is not plain counts nowhere
    tally = np.bincount(line_of, weights=_NIBBLE[code], minlength=len(plain)).astype(np.int64)
    plain &= (tally & _TWICE) == 0
    keep = plain[line_of]
    if keep.all():
        values[line_of, code] = number
    else:
        values[line_of[keep], code[keep]] = number[keep]
