"""The price of a carving as a line of its own: what it costs the shop, the floor with its risk, and what to ask."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Literal

from shopcalc.quote.costs import cents, machine_hour_rate
from shopcalc.risk import percentiles, sample, spread_of_mean
from shopcalc.shop import Rates


@dataclass(frozen=True)
class CarvingPrice:
    """Of one carving.

    Parameters
    ----------
    cost : Decimal
        Expected: machine, the share of it somebody stands by, sanding [currency].
    floor : Decimal
        What it costs in at most so many cases out of a hundred [currency].
    asked : Decimal
        With the shop's margin [currency].
    currency : str
        Code.
    how : str
        The multiplication, spelled out.
    asked_how : str
        How floor and asked came from the cost.
    """

    cost: Decimal
    floor: Decimal
    asked: Decimal
    currency: str
    how: str
    asked_how: str = ""

    def as_json(self) -> dict[str, Any]:
        """Plain data."""
        amounts = {k: float(getattr(self, k)) for k in ("cost", "floor", "asked")}
        return {"currency": self.currency, **amounts}


def carving_price(
    machine_seconds: float,
    sanding_hours: float,
    rates: Rates,
    *,
    sigma: float | None = None,
    level: float = 0.8,
    seed: int = 1,
    kind: Literal["carve", "incise"] = "carve",
) -> CarvingPrice:
    """Price one carving at the shop's rates.

    Parameters
    ----------
    machine_seconds : float
        Expected machine time [s].
    sanding_hours : float
        Of people [h].
    rates : Rates
        The shop's own.
    sigma : float or None
        How far the machine time may stray, as sigma of its logarithm; None takes the shop's for machining [-].
    level : float
        Share of such carvings the floor shall cover [ratio].
    seed : int
        Of the sampling [-].
    kind : {"carve", "incise"}
        Operation whose attended share counts: a relief, or letters and lines.

    Returns
    -------
    CarvingPrice
        Drawing, programming and set-up are not in it: they are lines of the job.

    Example
    -------
    >>> from shopcalc.shop import Shop
    >>> p = carving_price(7200, 0.5, Shop.open().rates)
    >>> p.cost < p.floor < p.asked
    True
    """
    rate, attended = machine_hour_rate(rates.machine).total, rates.attended[kind]
    hours = machine_seconds / 3600
    machine = cents(cents(hours) * rate)
    people = cents(cents(hours * attended) * rates.people["machining"])
    sanding = cents(cents(sanding_hours) * rates.people["finishing"])
    strays = rates.spread["machining"] if sigma is None else max(sigma, rates.spread["machining"])
    spreads = [spread_of_mean(float(machine + people), strays)]
    if sanding:
        spreads.append(spread_of_mean(float(sanding), rates.spread["finishing"]))
    reach = sample(spreads, shared=rates.shared_spread, seed=seed).sum(axis=1)
    cost = machine + people + sanding
    floor = max(cost, cents(percentiles(reach, (level,))[0]))
    asked = cents(float(floor) / (1 - rates.margin))
    how = (
        f"{cents(hours)} machine h × {rate:.2f} + {cents(hours * attended)} h attended ({100 * attended:.0f} %) × "
        f"{rates.people['machining']:.2f}"
    )
    if sanding:
        how += f" + {cents(sanding_hours)} h sanding × {rates.people['finishing']:.2f}"
    asked_how = (
        f"floor: cost {cost:,} + risk {floor - cost:,} ({100 * level:.0f} of 100 like it, alone, cost no more); asked: "
        f"floor / (1 - margin of {100 * rates.margin:.0f} %). In a job the risk is shared over all its lines, so its "
        "floor and asked differ from these"
    )
    return CarvingPrice(cost, floor, asked, rates.currency, how, asked_how)


def pricing(rates: Rates) -> Callable[[float, float], float]:
    """The asked price as a function of machine seconds and sanding hours, e.g. for ``relief.choices.choices``.

    Parameters
    ----------
    rates : Rates
        The shop's own.

    Returns
    -------
    callable
        Of machine time [s] and sanding [h]; the price in the shop's currency.
    """
    return lambda seconds, hours: float(carving_price(seconds, hours, rates).asked)


def not_in_it(rates: Rates, kind: Literal["carve", "incise"] = "carve") -> str:
    """What a carving's own price leaves out, for people.

    Parameters
    ----------
    rates : Rates
        The shop's own.
    kind : {"carve", "incise"}
        A relief, or letters and lines, whose artwork a job does not count.

    Returns
    -------
    str
        With the hours of drawing that a job adds to the carving's line.
    """
    if kind == "incise":
        return "machine and attended share; not in it: drawing, programming, set-up, cleaning up by hand, sanding"
    hours = rates.minutes["carving_design_per_job"] / 3600
    return (
        "machine, attended share and sanding; not in it: drawing the artwork, programming, set-up. A job's line for "
        f"the carving adds the drawing: {cents(hours)} h × {rates.people['design']:.2f} = "
        f"{cents(cents(hours) * rates.people['design'])} {rates.currency} at cost"
    )
