"""Minutes of every load: its steps of programming and set-up, machine minutes, and the share somebody stands by."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from shopcalc.jobs.counting import load_groups
from shopcalc.jobs.hours import Estimate
from shopcalc.shop import Shop
from shopcalc.sources import table_for_people
from shopcalc.standard_times import PHASE_DRIVERS, average_share

if TYPE_CHECKING:
    import pandas as pd

_PHASES = ("programming", "setup")


def load_minutes(estimate: Estimate, shop: Shop | None = None) -> pd.DataFrame:
    """Every load of a job with its minutes, in the order of the job's programs.

    Parameters
    ----------
    estimate : Estimate
        Of the job.
    shop : Shop, optional
        Whose standard minutes count; None takes the one the job was read for.

    Returns
    -------
    pandas.DataFrame
        Columns program, part, load (its number among those of the part in the program) and of; one for each step that
        occurs, named as its driver; programming and setup, which sum up their steps; machine, the best time known;
        attended, its share somebody stands by [min]. What a program needs once stands at its first load. Hours a job
        says outright for a whole phase are not spread over loads.
    """
    job = estimate.job
    rates = (job.shop if shop is None else shop).rates
    times = {t.program.id: t for t in estimate.programs}
    groups = list(load_groups(job))
    asked = {d for g in groups for d, n in g.counts.items() if n}
    steps = {p: [d for d in PHASE_DRIVERS[p] if d in asked] for p in _PHASES}
    each = {
        d: rates.minutes[d] / 60 * average_share(rates.learning[d], job.quantity) for p in _PHASES for d in steps[p]
    }
    of, number = Counter[tuple[str, str]](), Counter[tuple[str, str]]()
    for g in groups:
        of[g.program, g.part] += g.times
    rows: list[dict[str, Any]] = []
    for g in groups:
        known = {d: each[d] * g.counts.get(d, 0.0) for d in each}
        sums = {p: sum(known[d] for d in steps[p]) for p in _PHASES}
        t = times[g.program]
        run = {"machine": t.best / 60, "attended": t.best * t.attended / 60}
        for _ in range(g.times):
            number[g.program, g.part] += 1
            at = {"program": g.program, "part": g.part, "load": number[g.program, g.part], "of": of[g.program, g.part]}
            rows.append(at | known | sums | run)
    return table_for_people(rows, _units(rows))


def _units(rows: Sequence[Mapping[str, Any]]) -> dict[str, str]:
    minutes = [k for k in (rows[0] if rows else {}) if k not in ("program", "part", "load", "of")]
    return {"load": "-", "of": "-"} | dict.fromkeys(minutes, "min")
