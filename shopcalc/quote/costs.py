"""What a machine hour costs: capital recovery over the hours it really runs, energy, upkeep, space."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

import numpy as np

from shopcalc.shop import MachineCost

_CENT = Decimal("0.01")


def cents(value: float | Decimal) -> Decimal:
    """An amount rounded to hundredths, halves up.

    Parameters
    ----------
    value : float or Decimal
        [currency]

    Example
    -------
    >>> cents(2.675)
    Decimal('2.68')
    """
    return Decimal(repr(value) if isinstance(value, float) else value).quantize(_CENT, ROUND_HALF_UP)


def capital_recovery_factor(interest: float, years: float) -> float:
    """Yearly share of a purchase that pays it back with interest.

    Parameters
    ----------
    interest : float
        Per year, 0 or more [ratio].
    years : float
        Above 0 [year].

    Returns
    -------
    float
        i (1 + i)^n / ((1 + i)^n - 1); 1 / n without interest [1/year].

    References
    ----------
    L. Blank, A. Tarquin, Engineering Economy (capital recovery).

    Example
    -------
    >>> round(capital_recovery_factor(0.10, 5), 5)
    0.2638
    """
    if not (years > 0 and interest >= 0):
        raise ValueError(f"{years:g} years at {interest:g}: give more than 0 years and interest of 0 or more")
    return sinking_fund_factor(interest, years) + interest


def sinking_fund_factor(interest: float, years: float) -> float:
    """Yearly saving that grows to one unit of money.

    Parameters
    ----------
    interest : float
        Per year [ratio].
    years : float
        [year]

    Returns
    -------
    float
        i / ((1 + i)^n - 1); 1 / n without interest [1/year].

    References
    ----------
    L. Blank, A. Tarquin, Engineering Economy (sinking fund).

    Example
    -------
    >>> round(sinking_fund_factor(0.10, 5), 5)
    0.1638
    """
    growth = float(np.expm1(years * np.log1p(interest)))
    return interest / growth if growth > 0 else 1.0 / years


def annual_cost(purchase: float, salvage: float, interest: float, years: float) -> float:
    """What owning something costs a year, interest included.

    Parameters
    ----------
    purchase, salvage : float
        Paid now, and got back at the end [currency].
    interest : float
        Per year [ratio].
    years : float
        [year]

    Returns
    -------
    float
        (purchase - salvage) recovery factor + salvage interest [currency/year].

    References
    ----------
    L. Blank, A. Tarquin, Engineering Economy (capital recovery).

    Example
    -------
    >>> round(annual_cost(50_000, 5_000, 0.10, 5))
    12371
    """
    return (purchase - salvage) * capital_recovery_factor(interest, years) + salvage * interest


def average_investment(purchase: float, salvage: float, years: float) -> float:
    """Money bound on average over the life of a machine written off in equal yearly steps.

    Parameters
    ----------
    purchase, salvage : float
        [currency]
    years : float
        [year]

    Returns
    -------
    float
        (P - S)(N + 1) / (2 N) + S [currency].

    References
    ----------
    Machine-rate method of the FAO and USDA manuals (formula from memory).

    Example
    -------
    >>> average_investment(50_000, 5_000, 5)
    32000.0
    """
    return (purchase - salvage) * (years + 1) / (2 * years) + salvage


@dataclass(frozen=True)
class MachineRate:
    """What an hour of the machine costs; nobody's pay is in it.

    Parameters
    ----------
    fixed, energy, upkeep, space : Decimal
        [currency/h]
    working : str
        How it was reckoned.
    """

    fixed: Decimal
    energy: Decimal
    upkeep: Decimal
    space: Decimal
    working: str

    @property
    def total(self) -> Decimal:
        """Sum [currency/h]."""
        return self.fixed + self.energy + self.upkeep + self.space


def machine_hour_rate(cost: MachineCost) -> MachineRate:
    """Cost of a machine hour: capital recovery over the hours it cuts in a year, energy, upkeep, space.

    Parameters
    ----------
    cost : MachineCost
        From the shop's rates.

    Returns
    -------
    MachineRate
        Rounded to hundredths [currency/h].
    """
    yearly = annual_cost(float(cost.purchase), float(cost.salvage), cost.interest, cost.life)
    fixed = cents(yearly / cost.hours_per_year)
    energy = cents(float(cost.energy) * cost.power / 1000)
    upkeep, space = cents(cost.upkeep), cents(cost.space)
    working = (
        f"{yearly:,.0f} a year / {cost.hours_per_year:g} h = {fixed} capital + {energy} energy + {upkeep} upkeep "
        f"+ {space} space; nobody's pay is in it"
    )
    return MachineRate(fixed, energy, upkeep, space, working)
