"""Ways to make a piece side by side, and making a part against buying it: the whole job priced again for each."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal

from shopcalc.deciding.variants import bought, estimate_like, turned_over, with_operations
from shopcalc.errors import Fault, InputError, did_you_mean
from shopcalc.jobs import Job
from shopcalc.quote import Price, price
from shopcalc.quote.costs import cents
from shopcalc.shop import Shop


@dataclass(frozen=True)
class Way:
    """One way to make the piece.

    Parameters
    ----------
    name : str
        For the customer.
    price : Price
        Of the whole job made this way.
    note : str
        What to check before offering it.
    differs : str
        For the customer: how it differs from the piece as described; empty where it does not.
    """

    name: str
    price: Price
    note: str = ""
    differs: str = ""


def ways(priced: Price, shop: Shop | None = None) -> tuple[Way, ...]:
    """A carved job without its carving, as it stands, and carved on both faces; nothing where none is carved.

    Parameters
    ----------
    priced : Price
        Of the job as it stands.
    shop : Shop, optional
        Whose rates count; None takes the one the job was read for.
    """
    e = priced.estimate
    carving = tuple(p.program.id for p in e.programs if p.carving)
    if not carving:
        return ()
    plain = with_operations(e.job, lambda _, o: None if o.kind == "carve" else o)
    both = turned_over(e.job, carving)
    check = "the panel must be thick enough for two reliefs, and the second face needs a bed that bears the first"
    return (
        Way("plain", _priced(plain, priced, shop), differs="as described above, but without the carving"),
        Way("carved, one face", priced),
        Way("carved, both faces", _priced(both, priced, shop), check, "as described above, but carved on both faces"),
    )


def _priced(job: Job, like: Price, shop: Shop | None) -> Price:
    """A price asked for the job as it stands says nothing of another way to make it."""
    free = replace(job, asked_price=None)
    return price(estimate_like(free, like.estimate), shop, system=like.system)


@dataclass(frozen=True)
class Offer:
    """A part bought instead of made.

    Parameters
    ----------
    part : str
        Id.
    each : Decimal
        Asked by the seller for one piece [currency].
    pieces : int
        In the whole job [-].
    make : Decimal
        What making all of them adds to the floor price [currency].
    pay : Decimal
        Part of that for our own people [currency].
    hours, machine_minutes : float
        Of our own, freed by buying [h], [min].
    bought : Price
        Of the job with them bought.
    """

    part: str
    each: Decimal
    pieces: int
    make: Decimal
    pay: Decimal
    hours: float
    machine_minutes: float
    bought: Price

    @property
    def buy(self) -> Decimal:
        """What all of them cost to buy [currency]."""
        return self.each * self.pieces

    @property
    def saved(self) -> Decimal:
        """By buying: above 0 where that is cheaper [currency]."""
        return self.make - self.buy

    @property
    def made_earns(self) -> float | None:
        """What an hour of ours brings when we make them: what buying would cost, less all but our pay [currency/h].

        None where making takes no hours. To be held against what an hour brings elsewhere.
        """
        return float(self.buy - (self.make - self.pay)) / self.hours if self.hours > 0 else None


def make_or_buy(priced: Price, part: str, each: Decimal, shop: Shop | None = None) -> Offer:
    """Hold a seller's price for a part against making it.

    Parameters
    ----------
    priced : Price
        Of the job with the part made.
    part : str
        Its id, or that of a frame: all its parts are then bought as one.
    each : Decimal
        For one piece, delivered [currency].
    shop : Shop, optional
        Whose rates count; None takes the one the job was read for.

    Raises
    ------
    InputError
        When there is no such part or frame, or nothing else is left to make.

    Notes
    -----
    The whole job is priced with the part and without it: programs, loads, wood, bench time of its own and its share
    of the risk go; what is still done at the bench to bring it into the piece stays.
    """
    e = priced.estimate
    count, parts = _meant(e.job, part)
    pieces, without = count * e.job.quantity, e.job
    for gone in parts:
        without = bought(without, gone, each if gone == parts[0] else Decimal(0))
    if len(parts) > 1:
        first = without.hardware[len(e.job.hardware)].model_copy(update={"name": f"{part}, bought", "quantity": count})
        without = replace(without, hardware=(*e.job.hardware, first))
    with_it = _priced(without, priced, shop)
    people = (shop or e.job.shop).rates.people
    freed = {phase: h.quoted - with_it.estimate.hours[phase].quoted for phase, h in e.hours.items()}
    return Offer(
        part,
        each,
        pieces,
        priced.floor - (with_it.floor - each * pieces),
        cents(sum(hours * float(people[phase]) for phase, hours in freed.items())),
        e.own_hours - with_it.estimate.own_hours,
        (e.machine_seconds - with_it.estimate.machine_seconds) / 60,
        with_it,
    )


def _meant(job: Job, name: str) -> tuple[int, tuple[str, ...]]:
    """How many are in one piece of the job, and the parts they are made of: one part, or all of a frame."""
    known = {p.id: p for p in job.parts}
    if name in known:
        return known[name].quantity, (name,)
    frames = {} if job.expansion is None else {x.frame.id: (k, x.frame) for k, x in enumerate(job.expansion.layouts)}
    if name not in frames or job.expansion is None:
        raise InputError(Fault(f"there is no part or frame '{name}'", did_you_mean(name, [*known, *frames])))
    number, frame = frames[name]
    parts = tuple(p for p in known if job.expansion.owners.get(p) == number)
    if len(parts) == len(known):
        raise InputError(Fault(f"'{name}' is all there is to make", "hold its price against the quote's floor price"))
    return frame.quantity, parts
