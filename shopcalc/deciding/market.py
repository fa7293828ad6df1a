"""What price the market bears, by the shop's own quotes won and lost."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from shopcalc.moves import Floats
from shopcalc.quote import Price
from shopcalc.quote.costs import cents
from shopcalc.shop import Shop
from shopcalc.shoplog import ShopLog
from shopcalc.shoplog.store import FILE, IN_FORCE

#: Outcomes below which nothing is said, and below which it is said that they are few (common practice, no source).
LEAST, FEW = 5, 20
_LEVEL, _SLOPE = 10.0, 2.5  # scales of the Cauchy priors
_LIKE = 0.05  # of ln(price / floor): quotes this much alike are not spread out further
_BAND = 0.8
_GRID = 120
_PRICES = 121


@dataclass(frozen=True)
class Outcome:
    """A quote that was won or lost.

    Parameters
    ----------
    job : str
        Its key.
    ratio : float
        Price over floor price [ratio].
    won : bool
        Whether the customer took it.
    """

    job: str
    ratio: float
    won: bool


def outcomes(log: ShopLog) -> tuple[Outcome, ...]:
    """Quotes that were won or lost, the last word on each job.

    Parameters
    ----------
    log : ShopLog
        Open.

    Returns
    -------
    tuple of Outcome
        The price is what the customer was last asked before it was decided, or paid where it was won for another one;
        a price paid elsewhere tells nothing of ours.
    """
    rows = log.rows(
        "SELECT q.job, q.outcome, q.quote, q.paid FROM quotes q JOIN entries e ON e.id = q.entry "
        f"WHERE {IN_FORCE} ORDER BY q.entry"
    )
    last = dict[str, Outcome | None]()
    asked = dict[str, str]()
    for job, outcome, quote, paid in rows:
        if outcome == "open":
            asked[job], last[job] = quote, None
            continue
        prices = _prices(asked.get(job) or quote)
        if prices is None:
            continue
        price = float(Decimal(paid)) if paid and outcome == "won" else prices[0]
        last[job] = Outcome(job, price / prices[1], outcome == "won") if price > 0 else None
    return tuple(o for o in last.values() if o is not None)


def _prices(quote: str) -> tuple[float, float] | None:
    """Asked and floor price of a kept quote."""
    try:
        found = json.loads(quote)["price"]
        asked, floor = float(found["asked"]), float(found["floor"])
    except (ValueError, KeyError, TypeError):
        return None
    return (asked, floor) if asked > 0 and floor > 0 else None


@dataclass(frozen=True)
class Demand:
    """What is believed of the odds of winning at each price.

    Parameters
    ----------
    level, slope : (k,) float
        Log-odds at the middle of the quotes, and their change over two deviations of the quotes' logarithms [-].
    weight : (k,) float
        Of each pair; they add up to 1 [-].
    middle, scale : float
        What logarithms of ratios are taken from, and divided by [-].
    """

    level: Floats
    slope: Floats
    weight: Floats
    middle: float
    scale: float

    def chances(self, ratio: Floats | float) -> Floats:
        """Chance of winning by each pair.

        Parameters
        ----------
        ratio : (m,) float
            Price over floor price [ratio].

        Returns
        -------
        (k, m) float
            [ratio]
        """
        z = (np.log(np.atleast_1d(np.asarray(ratio, dtype=float))) - self.middle) / self.scale
        return _odds(self.level[:, None] + self.slope[:, None] * z)

    def chance(self, ratio: float) -> tuple[float, float, float]:
        """Chance of winning: low, mean and high, between the outer ones with a chance of 80 %.

        Parameters
        ----------
        ratio : float
            Price over floor price [ratio].
        """
        found = self.chances(ratio)[:, 0]
        low, high = weighted_quantiles(found, self.weight, ((1 - _BAND) / 2, (1 + _BAND) / 2))
        return low, float(found @ self.weight), high


def demand(found: Sequence[Outcome]) -> Demand:
    """The odds of winning by quotes won and lost.

    Parameters
    ----------
    found : sequence of Outcome
        One or more.

    Returns
    -------
    Demand
        Posterior on a grid that is laid evenly by the prior, then once more where the weight is.

    Notes
    -----
    Log-odds fall linearly with ln(price / floor), measured from its mean in units of two standard deviations; Cauchy
    priors, scale 10 on the level and 2.5 on the slope, which may not be positive: dearer does not sell better.

    References
    ----------
    A. Gelman, A. Jakulin, M. G. Pittau, Y.-S. Su, A weakly informative default prior distribution for logistic and
    other regression models, Annals of Applied Statistics 2 (2008) 1360-1383.
    """
    x = np.log([o.ratio for o in found])
    won = np.array([o.won for o in found])
    middle, scale = float(x.mean()), 2 * max(float(x.std()), _LIKE)
    z = (x - middle) / scale
    ends = ((0.0, 1.0), (0.0, 1.0))
    for _ in range(2):
        level, slope, weight = _on_grid(z, won, ends)
        heavy = weight > 1e-7 * weight.max()
        ends = tuple(_around(heavy.any(axis=1 - k), ends[k]) for k in (0, 1))  # type: ignore[assignment]
    kept = heavy.nonzero()
    return Demand(level[kept[0]], slope[kept[1]], weight[kept] / weight[kept].sum(), middle, scale)


def _on_grid(z: Floats, won: Floats, ends: tuple[tuple[float, float], ...]) -> tuple[Floats, Floats, Floats]:
    """Level, slope, and the likelihood of each pair; cells hold equal shares of the prior."""
    u, v = (low + (high - low) * (np.arange(_GRID) + 0.5) / _GRID for low, high in ends)
    level, slope = _LEVEL * np.tan(math.pi * (u - 0.5)), -_SLOPE * np.tan(math.pi / 2 * v)
    signs = np.where(won, 1.0, -1.0)
    log = np.zeros((_GRID, _GRID))
    for place, sign in zip(z, signs, strict=True):
        log -= np.logaddexp(0.0, -sign * (level[:, None] + slope[None, :] * place))
    out: Floats = np.exp(log - log.max())
    return level, slope, out


def _around(heavy: Floats, ends: tuple[float, float]) -> tuple[float, float]:
    """The part of an axis that has weight, a cell more at both ends."""
    at, cell = np.flatnonzero(heavy), (ends[1] - ends[0]) / _GRID
    low, high = ends[0] + (at[0] - 1) * cell, ends[0] + (at[-1] + 2) * cell
    return max(low, 0.0), min(high, 1.0)


def _odds(log_odds: Floats) -> Floats:
    out: Floats = 0.5 * (1.0 + np.tanh(0.5 * log_odds))
    return out


def weighted_quantiles(values: Floats, weight: Floats, shares: Sequence[float]) -> tuple[float, ...]:
    """Values that the given shares of the weight stay below.

    Parameters
    ----------
    values, weight : (k,) float
        [any unit], [-]
    shares : sequence of float
        [ratio]
    """
    order = np.argsort(values)
    reached = np.cumsum(weight[order]) / weight.sum()
    return tuple(float(values[order[min(int(np.searchsorted(reached, s)), len(order) - 1)]]) for s in shares)


@dataclass(frozen=True)
class Market:
    """What quotes won and lost say of a job's price.

    Parameters
    ----------
    won, lost : int
        Quotes [-].
    tried : (2,) Decimal
        Lowest and highest price that was ever tried, for this job's floor price [currency].
    best : Decimal
        Price of the greatest expected earnings among what was tried [currency].
    low, high : Decimal
        Between which that price lies with a chance of 80 % [currency].
    chance_best, chance_asked : (3,) float
        Of winning at the best and at the asked price: low, mean, high [ratio].
    earns_best, earns_asked : Decimal
        Expected earnings of making the offer: the chance times price less mean cost [currency].
    """

    won: int
    lost: int
    tried: tuple[Decimal, Decimal]
    best: Decimal
    low: Decimal
    high: Decimal
    chance_best: tuple[float, float, float]
    chance_asked: tuple[float, float, float]
    earns_best: Decimal
    earns_asked: Decimal

    @property
    def doubts(self) -> tuple[str, ...]:
        """What to know before relying on it."""
        n, out = self.won + self.lost, list[str]()
        if n < FEW:
            out.append(f"{n} outcomes are few: the band is what they leave open")
        if self.best in self.tried:
            out.append("the best of it lies at the end of what was tried: beyond it nothing is known")
        return tuple(out)


def market(priced: Price, found: Sequence[Outcome]) -> Market | None:
    """What quotes won and lost say of a job's price.

    Parameters
    ----------
    priced : Price
        From ``quote.price``.
    found : sequence of Outcome
        From ``outcomes``.

    Returns
    -------
    Market or None
        None below ``LEAST`` outcomes, where none was won or none lost, or without a floor price.

    Notes
    -----
    Expected earnings = chance of winning x (price - mean cost) (definition); an offer that is lost costs nothing here.
    Jobs are taken as alike but for size; no price outside of what was tried is looked at.
    """
    won = sum(o.won for o in found)
    if len(found) < LEAST or won in (0, len(found)) or not priced.floor > 0:
        return None
    floor = float(priced.floor)
    cost = 1 - sum(float(line.amount) for line in priced.lines if line.name == "risk") / floor
    believed = demand(found)
    ends = min(o.ratio for o in found), max(o.ratio for o in found)
    ratios = np.linspace(*ends, _PRICES)
    gains = believed.chances(ratios) * (ratios - cost)
    best = float(ratios[int(np.argmax(believed.weight @ gains))])
    share = (1 - _BAND) / 2
    low, high = weighted_quantiles(ratios[np.argmax(gains, axis=1)], believed.weight, (share, 1 - share))
    asked = float(priced.asked) / floor
    at_best, at_asked = believed.chance(best), believed.chance(asked)
    return Market(
        won=won,
        lost=len(found) - won,
        tried=(cents(floor * ends[0]), cents(floor * ends[1])),
        best=cents(floor * best),
        low=cents(floor * low),
        high=cents(floor * high),
        chance_best=at_best,
        chance_asked=at_asked,
        earns_best=cents(floor * at_best[1] * (best - cost)),
        earns_asked=cents(floor * at_asked[1] * (asked - cost)),
    )


def market_of(priced: Price, shop: Shop) -> Market | None:
    """What the shop's own log says of a job's price; None where it keeps none or has too few outcomes.

    Parameters
    ----------
    priced : Price
        From ``quote.price``.
    shop : Shop
        Whose log.
    """
    if not (shop.folder / FILE).exists():
        return None
    with ShopLog.of(shop.folder, writable=False) as log:
        return market(priced, outcomes(log))
