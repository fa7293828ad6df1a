"""Capitals and figures of single strokes on a grid of four by six, for reliefs of letters that are drawn by kind.

Lettering that is cut has outlines: see ``relief.letters`` and ``relief.inscription``.
"""

from __future__ import annotations

from shopcalc.cutting.engagement import refuse, require_positive

# Each stroke is a chain of grid places, x from 0 to 4 and y from 0 to 6; strokes are parted by a blank.
_STROKES: dict[str, str] = {
    "A": "00-26-40 12-32", "B": "00-06-36-45-44-33-03 33-42-41-30-00", "C": "45-36-16-05-01-10-30-41",
    "D": "00-06-26-44-42-20-00", "E": "46-06-00-40 03-33", "F": "46-06-00 03-33",
    "G": "45-36-16-05-01-10-30-41-43-23", "H": "00-06 40-46 03-43", "I": "20-26", "J": "46-41-30-10-01",
    "K": "00-06 46-03-40", "L": "06-00-40", "M": "00-06-22-46-40", "N": "00-06-40-46",
    "O": "16-05-01-10-30-41-45-36-16", "P": "00-06-36-45-44-33-03", "Q": "16-05-01-10-30-41-45-36-16 22-40",
    "R": "00-06-36-45-44-33-03 23-40", "S": "45-36-16-05-04-13-33-42-41-30-10-01", "T": "06-46 26-20",
    "U": "06-01-10-30-41-46", "V": "06-20-46", "W": "06-10-24-30-46", "X": "00-46 06-40", "Y": "06-23-46 23-20",
    "Z": "06-46-00-40", "0": "16-05-01-10-30-41-45-36-16", "1": "05-26-20", "2": "05-16-36-45-44-00-40",
    "3": "05-16-36-45-44-33-13 33-42-41-30-10-01", "4": "30-36-02-42", "5": "46-06-03-33-42-41-30-10-01",
    "6": "36-16-05-01-10-30-41-42-33-03", "7": "06-46-10", "8": "13-04-05-16-36-45-44-33-13-02-01-10-30-41-42-33",
    "9": "10-30-41-45-36-16-05-04-13-43", "-": "13-33", ".": "20-21", ",": "21-10", "'": "26-24", "&":
    "40-04-05-16-26-35-34-02-01-10-20-42", " ": "",
}  # fmt: skip
_ADVANCE, _CAPITAL = 5.5, 6.0


def letter_lines(text: str, height: float) -> list[list[tuple[float, float]]]:
    """Strokes of a line of lettering, in the order they are cut.

    Parameters
    ----------
    text : str
        Small letters are cut as capitals.
    height : float
        Of a capital [mm].

    Returns
    -------
    list of list of (x, y)
        From (0, 0) at the foot of the first letter [mm].

    Raises
    ------
    InputError
        When a sign is not in the alphabet, or nothing is to be cut.

    Notes
    -----
    Geometry: our own drawing, straight strokes only.

    Example
    -------
    >>> letter_lines("L", 30)
    [[(0.0, 30.0), (0.0, 0.0), (20.0, 0.0)]]
    """
    require_positive(height=height)
    scale, out = height / _CAPITAL, list[list[tuple[float, float]]]()
    for i, sign in enumerate(text.upper()):
        if sign not in _STROKES:
            refuse(f"the sign {sign!r} is not in the alphabet", "use A to Z, 0 to 9, blank and - . , ' &")
        for stroke in _STROKES[sign].split():
            out.append([((i * _ADVANCE + int(p[0])) * scale, int(p[1]) * scale) for p in stroke.split("-")])
    if not out:
        refuse("the text holds nothing to cut", "write at least one letter")
    return out


def lettering_width(text: str, height: float) -> float:
    """Width of a line of lettering [mm].

    Parameters
    ----------
    text : str
        As in ``letter_lines``.
    height : float
        Of a capital [mm].
    """
    return ((len(text) - 1) * _ADVANCE + 4) * height / _CAPITAL
