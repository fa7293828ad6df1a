"""One card for one question: what the job must bring, what it earns, what only we can do, what its cost turns on."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from decimal import Decimal

from shopcalc.deciding.market import Market, market_of
from shopcalc.jobs import Estimate
from shopcalc.quote import Price, price
from shopcalc.quote.costs import cents
from shopcalc.risk import Spread, spread_of_mean
from shopcalc.shop import Rates, Shop

_SHARE = 0.1  # of all jobs that lie below the low end, and above the high one

#: What of the rates may stray without a spread of its own, and by how much: common practice, no source.
_STRAYS = (
    ("wood prices", 0.85, 1.15),
    ("wood wasted", 0.7, 1.3),
    ("hours the machine runs in a year", 1.3, 0.7),
)


@dataclass(frozen=True)
class Turn:
    """What the cost does when one thing strays and all else stays.

    Parameters
    ----------
    what : str
        For people.
    low, high : Decimal
        Floor price at the favourable and at the unfavourable end [currency].
    why : str
        How far it was made to stray, and on what ground.
    """

    what: str
    low: Decimal
    high: Decimal
    why: str

    @property
    def swing(self) -> Decimal:
        """From one end to the other [currency]."""
        return abs(self.high - self.low)


@dataclass(frozen=True)
class Alone:
    """Hours that one person alone can do.

    Parameters
    ----------
    hours : float
        [h]
    share : float
        Of all hours of the shop's own people [ratio].
    who : tuple of (str, float)
        Each such person and their hours [h].
    """

    hours: float
    share: float
    who: tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class Card:
    """Everything that helps to say yes or no; it does not say it.

    Parameters
    ----------
    price : Price
        Of the job as it stands.
    alone : Alone
        Hours nobody else in the shop can do.
    turns : tuple of Turn
        The widest swing first.
    wanted_per_hour : Decimal
        What the shop's own rates ask for an hour, averaged over this job's hours [currency/h].
    machine_share : float
        Machine hours over those the machine runs in a year [ratio].
    market : Market or None
        What quotes won and lost say of the price; None where the shop's log has too few.
    """

    price: Price
    alone: Alone
    turns: tuple[Turn, ...]
    wanted_per_hour: Decimal
    machine_share: float
    market: Market | None = None

    @property
    def loss_share(self) -> float:
        """Odds that such a job costs more than is asked, read off its percentiles [ratio]; 0.5, 0.2 or 0.1 at best."""
        p = self.price
        for share, cost in ((0.1, p.p90), (0.2, p.p80), (0.5, p.p50)):
            if p.asked >= cost:
                return share
        return 1.0


def decide(priced: Price, shop: Shop | None = None) -> Card:
    """The card of a priced job.

    Parameters
    ----------
    priced : Price
        From ``quote.price``.
    shop : Shop, optional
        Whose rates and people count; None takes the one the job was read for.
    """
    e = priced.estimate
    shop = e.job.shop if shop is None else shop
    hours = sum(h.best for h in e.hours.values())
    due = sum(h.best * float(shop.rates.people[phase]) for phase, h in e.hours.items())
    return Card(
        priced,
        _alone(e, shop.rates),
        turns_on(priced, shop),
        cents(due / hours) if hours else Decimal("0.00"),
        e.machine_seconds / 3600 / shop.rates.machine.hours_per_year,
        market_of(priced, shop),
    )


def _alone(e: Estimate, rates: Rates) -> Alone:
    """A phase is one person's when a single person in the crew may do it."""
    hours: dict[str, float] = {}
    for phase, h in e.hours.items():
        able = [p for p in rates.crew if phase in p.may]
        if len(able) == 1 and able[0].count == 1 and h.best:
            hours[able[0].name] = hours.get(able[0].name, 0.0) + h.best
    together = sum(hours.values())
    return Alone(together, together / e.own_hours if e.own_hours else 0.0, tuple(sorted(hours.items())))


def turns_on(priced: Price, shop: Shop | None = None) -> tuple[Turn, ...]:
    """What the floor price does when one thing strays at a time, the widest swing first.

    Parameters
    ----------
    priced : Price
        From ``quote.price``.
    shop : Shop, optional
        Whose rates count; None takes the one the job was read for.

    Notes
    -----
    Hours of a phase are set to what one job in ten stays below and one in ten exceeds, by the shop's spread of that
    phase; all hours together by the spread they share. Each is priced again as a whole.
    """
    e = priced.estimate
    shop = e.job.shop if shop is None else shop

    def floor(changed: Estimate, rates: Rates | None = None) -> Decimal:
        other = shop if rates is None else replace(shop, rates=rates)
        return price(changed, other, system=priced.system).floor

    turns = [*_of_hours(e, shop.rates, floor), *_of_rates(e, shop.rates, floor)]
    return tuple(sorted((t for t in turns if t.swing), key=lambda t: -t.swing))


def _ends(sigma: float) -> tuple[float, float]:
    spread: Spread = spread_of_mean(1.0, sigma)
    return spread.percentile(_SHARE), spread.percentile(1 - _SHARE)


def _of_hours(e: Estimate, rates: Rates, floor: Callable[[Estimate], Decimal]) -> Iterator[Turn]:
    for phase, h in e.hours.items():
        if not h.quoted:
            continue
        few, many = _ends(rates.spread[phase])
        name = "machining, people and machine" if phase == "machining" else phase
        why = f"{h.best * few:.1f} to {h.best * many:.1f} h: one job in ten lies below, one above"
        yield Turn(name, floor(_scaled(e, few, phase)), floor(_scaled(e, many, phase)), why)
    few, many = _ends(rates.shared_spread)
    why = f"{100 * (few - 1):+.0f} to {100 * (many - 1):+.0f} %: what all phases of one job share"
    yield Turn("all hours together", floor(_scaled(e, few)), floor(_scaled(e, many)), why)


def _scaled(e: Estimate, by: float, only: str | None = None) -> Estimate:
    """The same job with the hours of a phase, or of all, so many times as long; machining takes the machine along."""
    hours = {
        phase: replace(h, best=h.best * by, quoted=h.quoted * by) if only in (None, phase) else h
        for phase, h in e.hours.items()
    }
    programs, drivers = e.programs, dict(e.drivers)
    if only in (None, "machining"):
        programs = tuple(replace(p, logged=p.best * by) for p in programs)
    if only in (None, "finishing"):
        programs = tuple(replace(p, sanding=p.sanding * by, level_sanding=p.level_sanding * by) for p in programs)
    if only in (None, "design"):  # what of it belongs to the carving
        drivers["carving_design_per_job"] *= by
    return replace(e, hours=hours, programs=programs, drivers=drivers)


def _of_rates(e: Estimate, rates: Rates, floor: Callable[[Estimate, Rates], Decimal]) -> Iterator[Turn]:
    for what, low, high in _STRAYS:
        ends = [
            floor(_with_wasted(e, by) if what == "wood wasted" else e, _strayed(rates, what, by)) for by in (low, high)
        ]
        why = f"{100 * (low - 1):+.0f} to {100 * (high - 1):+.0f} %: assumed"
        yield Turn(what, ends[0], ends[1], why)


def _strayed(rates: Rates, what: str, by: float) -> Rates:
    if what == "wood prices":
        dearer = {key: (cents(float(each) * by), unit) for key, (each, unit) in rates.materials.items()}
        return rates.with_(materials=dearer, sheet=cents(float(rates.sheet) * by))
    if what == "hours the machine runs in a year":
        return rates.with_(machine=replace(rates.machine, hours_per_year=rates.machine.hours_per_year * by))
    return rates


def _with_wasted(e: Estimate, by: float) -> Estimate:
    """What is bought beyond the net, so many times as much."""
    return replace(e, purchases=tuple(replace(p, gross=p.net + (p.gross - p.net) * by) for p in e.purchases))
