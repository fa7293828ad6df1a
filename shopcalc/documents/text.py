"""Text of anybody made harmless: nothing in it that cannot be seen but changes what is."""

from __future__ import annotations

import unicodedata

_HIDDEN = ("Cc", "Cs", "Co", "Cn")  # controls, halves of characters, private and unassigned ones
_TURNING = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200e\u200f\u061c")


def clean(text: str) -> str:
    r"""One line without anything that cannot be seen but changes what is: controls, marks that turn writing.

    Parameters
    ----------
    text : str
        Of anybody.

    Example
    -------
    >>> clean("oak\x00 gate\n\u202efor two")
    'oak gate for two'
    """
    blank = "".join(" " if c in "\n\r\t\u2028\u2029" else c for c in text)
    kept = (c for c in blank if c not in _TURNING and unicodedata.category(c) not in _HIDDEN)
    return " ".join("".join(kept).split(" ")).strip()
