"""Lengths in notes for people: notes are made in millimetres, readers who think in inches get both."""

from __future__ import annotations

import re

from shopcalc.units import System

_NUMBER = r"\d[\d,]*(?:\.\d+)?(?:e-?\d+)?"
_LENGTH = re.compile(rf"({_NUMBER})(?: x ({_NUMBER}))? mm(?![\w/²³])")


def lengths_for(text: str, system: System) -> str:
    """A note with every length in inches too, for those who read inches.

    Parameters
    ----------
    text : str
        With lengths like "2.5 mm" or "300 x 200 mm".
    system : {"metric", "inch"}
        What the reader thinks in.

    Returns
    -------
    str
        As it was for metric readers. Definition: an inch is 25.4 mm.

    Example
    -------
    >>> lengths_for("reaches 12.7 mm of 25.4 mm", "inch")
    'reaches 12.7 mm (0.5 in) of 25.4 mm (1 in)'
    >>> lengths_for("300 x 200 mm", "inch"), lengths_for("300 x 200 mm", "metric")
    ('300 x 200 mm (11.81 x 7.874 in)', '300 x 200 mm')
    """
    if system == "metric":
        return text

    def both(found: re.Match[str]) -> str:
        values = [float(g.replace(",", "")) / 25.4 for g in found.groups() if g is not None]
        return f"{found[0]} ({' x '.join(f'{v:.4g}' if v >= 0.1 else f'{v:.2g}' for v in values)} in)"

    return _LENGTH.sub(both, text)
