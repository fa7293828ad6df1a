"""Sources and tables: the bibliography, and readers that find every fault of a table or a TOML file at once."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Value:
    """One value of a table with where it comes from.

    Parameters
    ----------
    value : float
        In the house unit.
    unit : str
        House unit, as people read it.
    source, place : str
        Key of the bibliography, and table, equation or page there.
    kind : str
        One of ``KINDS``.
    note : str
        What a reader should know besides.
    """

    value: float
    unit: str
    source: str
    place: str
    kind: str
    note: str = ""
