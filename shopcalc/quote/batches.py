"""What a piece takes and costs when more of them are made in one job."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import TYPE_CHECKING

from shopcalc.jobs.hours import estimate
from shopcalc.jobs.reading import Job
from shopcalc.quote.pricing import price
from shopcalc.shop import Shop
from shopcalc.sources import table_for_people

if TYPE_CHECKING:
    import pandas as pd


def by_quantity(
    job: Job, quantities: Iterable[int], *, shop: Shop | None = None, seed: int = 1, draws: int = 20_000
) -> pd.DataFrame:
    """Hours and price of a piece against how many are made.

    Parameters
    ----------
    job : Job
        Its own quantity and asked price do not count here, nor do hours logged for whole phases.
    quantities : iterable of int
        Finished pieces, 1 or more each [-].
    shop : Shop, optional
        Whose rates count; None takes the one the job was read for.
    seed, draws : int
        Of the sampling [-].

    Returns
    -------
    pandas.DataFrame
        By quantity: hours of people and of the machine, floor and asked price of all, and each of them per piece.
        Programs, drawings and set-up of the station are paid once; hand work is learned by the shop's shares.

    Raises
    ------
    ValueError
        When a quantity is below 1.
    """
    shop = job.shop if shop is None else shop
    planned = {k: p.model_copy(update={"logged": None}) for k, p in job.phases.items()}
    rows = []
    for n in dict.fromkeys(quantities):
        if n < 1:
            raise ValueError(f"a job of {n} pieces cannot be: give 1 or more")
        e = estimate(replace(job, quantity=n, asked_price=None, phases=planned), shop)
        p = price(e, shop, seed=seed, draws=draws)
        whole = {
            "hours": e.own_hours, "machine_hours": e.machine_seconds / 3600, "floor": float(p.floor),
            "asked": float(p.asked),
        }  # fmt: skip
        rows.append({"quantity": n, **whole, **{f"{k}_each": v / n for k, v in whole.items()}})
    money = shop.rates.currency
    units = {"hours": "h", "machine_hours": "h", "floor": money, "asked": money}
    return table_for_people(rows, units | {f"{k}_each": u for k, u in units.items()}, "quantity")
