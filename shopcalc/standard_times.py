"""Standard times: minutes of each step of work, what they are counted by, and the phase they belong to.

The table's figures are starting values of the trade; the shop's log corrects them in its own rates.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from shopcalc.reading import Column, TableReader
from shopcalc.sources import KINDS, TABLES, table_for_people

if TYPE_CHECKING:
    import pandas as pd

PHASES: tuple[str, ...] = (
    "design", "programming", "stock", "setup", "machining", "assembly", "finishing", "hardware", "delivery",
)  # fmt: skip


@dataclass(frozen=True)
class StandardTime:
    """One step of work.

    Parameters
    ----------
    driver : str
        Step and what it is counted by: "load_per_load".
    seconds : float
        For one of them, areas for one square metre [s].
    per : str
        What is counted, for people.
    phase : str
        Of ``PHASES``.
    learning : float
        Share to which the time of a finished piece falls at each doubling of like pieces in one job [ratio].
    kind : str
        How sure it is, of ``sources.KINDS``.
    note : str
        What it holds, and why so much.
    """

    driver: str
    seconds: float
    per: str
    phase: str
    learning: float
    kind: str
    note: str

    @property
    def by_piece(self) -> bool:
        """Whether more finished pieces bring more of it, so that it can be learned."""
        once = ("job", "part", "program", "cutter", "change", "coat")
        return self.phase not in ("design", "programming") and self.driver.rsplit("_per_", 1)[1] not in once


@lru_cache(maxsize=1)
def standard_times() -> Mapping[str, StandardTime]:
    """The package's standard times by driver, in the order of the work.

    Returns
    -------
    mapping
        Driver to StandardTime; a shop's own minutes come before them.

    Example
    -------
    >>> t = standard_times()["load_per_load"]
    >>> t.phase, t.seconds / 60
    ('setup', 4.0)
    """
    columns = (
        Column("driver", required=True),
        Column("minutes", required=True),
        Column("per", required=True),
        Column("phase", required=True, choices=PHASES),
        Column("learning"),
        Column("kind", required=True, choices=tuple(KINDS)),
        Column("note", required=True),
    )
    table = TableReader(TABLES / "standard_times.csv", columns, "driver")
    table.finish()  # plain numbers: the registry of units is slow to come and not needed for the package's own table
    return {
        r["driver"]: StandardTime(
            r["driver"], 60 * float(r["minutes"]), r["per"], r["phase"], float(r["learning"] or 1), r["kind"], r["note"]
        )
        for r in table.rows
    }


def standard_times_table() -> pd.DataFrame:
    """The standard times as a table, minutes by driver, each with what it holds and how sure it is.

    Returns
    -------
    pandas.DataFrame
        Indexed by driver.
    """
    rows = [
        {
            "driver": t.driver, "minutes": t.seconds / 60, "per": t.per, "phase": t.phase, "learning": t.learning,
            "kind": KINDS[t.kind], "note": t.note,
        }
        for t in standard_times().values()
    ]  # fmt: skip
    return table_for_people(rows, {"minutes": "min", "learning": "ratio"}, "driver")


def average_share(learning: float, pieces: float) -> float:
    """Mean time of a piece over that of the first, when so many like ones are made one after the other.

    Parameters
    ----------
    learning : float
        Share to which the mean falls at each doubling; 1 learns nothing [ratio].
    pieces : float
        1 or more [-].

    Returns
    -------
    float
        n^(log2 learning) [ratio].

    References
    ----------
    T. P. Wright, Factors affecting the cost of airplanes, 1936 (the curve of cumulative means; from memory).

    Example
    -------
    >>> round(average_share(0.9, 4), 4)
    0.81
    """
    if not (0.0 < learning <= 1.0 and pieces >= 1.0):
        raise ValueError(f"learning {learning:g} over {pieces:g} pieces: give a share up to 1, and 1 piece or more")
    return float(pieces ** math.log2(learning))


#: What the shop's standard times are counted by.
DRIVERS: tuple[str, ...] = tuple(standard_times())
#: The phase each driver counts for; machining is the attended share of machine time instead.
PHASE_DRIVERS: dict[str, tuple[str, ...]] = {
    phase: tuple(d for d, t in standard_times().items() if t.phase == phase) for phase in PHASES
}
