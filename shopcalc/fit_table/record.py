"""One thing to measure at the bench, and many of them as a table for people."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from shopcalc.cutting.fit import write_fit
from shopcalc.sources import table_for_people
from shopcalc.units import System, write

if TYPE_CHECKING:
    import pandas as pd

Tool = Literal["caliper", "depth rod of the caliper", "rule", "straightedge and feeler", "moisture meter"]


@dataclass(frozen=True)
class FitRow:
    """One thing to measure.

    Parameters
    ----------
    part : str
        Ids of the parts, or a material.
    what : str
        Name of the size; those of joints are the ones ``cutting.fit.correction`` knows.
    measure_with : str
        Tool.
    nominal, low, high : float or None
        As drawn, and accepted from and to [mm]; of moisture [% moisture]. None is unknown.
    outside : str
        What to do beyond them.
    note : str
        What else to know.
    quantity : {"length", "moisture"}
        What is measured.
    """

    part: str
    what: str
    measure_with: Tool
    nominal: float | None
    low: float | None
    high: float | None
    outside: str
    note: str = ""
    quantity: Literal["length", "moisture"] = "length"

    def shown(self, value: float | None, system: System = "metric") -> str:
        """One of its sizes for people.

        Parameters
        ----------
        value : float or None
            As the row keeps it.
        system : {"metric", "inch"}
            What the reader thinks in.
        """
        if value is None:
            return "unknown"
        if self.quantity == "moisture":
            return f"{value:.1f} %"
        if self.measure_with == "rule":
            step = 25.4 / 64 if system == "inch" else 0.5
            return write(round(value / step) * step, "length", system)
        return write_fit(value, system)


def fit_frame(rows: Iterable[FitRow], system: System = "metric") -> pd.DataFrame:
    """Rows of a fit table as a table for people.

    Parameters
    ----------
    rows : iterable of FitRow
        From ``fit_rows``.
    system : {"metric", "inch"}
        What the reader thinks in.

    Returns
    -------
    pandas.DataFrame
        Sizes written with their units.
    """
    out = [
        {
            "part": r.part,
            "what": r.what,
            "measure with": r.measure_with,
            "nominal": r.shown(r.nominal, system),
            "low": r.shown(r.low, system),
            "high": r.shown(r.high, system),
            "outside": r.outside,
            "note": r.note,
        }
        for r in rows
    ]
    return table_for_people(out, {})
