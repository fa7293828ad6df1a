"""From hours to a price: lines with their working, one line for risk, floor and asked price, earnings per hour."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

from shopcalc.fit_table import season_warnings
from shopcalc.jobs import Estimate, PhaseHours, Purchase, take_off_job
from shopcalc.jobs.cleaning import cleaning_warnings
from shopcalc.quote.costs import MachineRate, cents, machine_hour_rate
from shopcalc.risk import LEVELS, Spread, percentiles, sample, spread_of_mean, spread_of_three
from shopcalc.shop import Shop
from shopcalc.stock import BOARD_FOOT
from shopcalc.stock.takeoff import SQUARE_FOOT
from shopcalc.units import System, write_time


@dataclass(frozen=True)
class Line:
    """One line of the price.

    Parameters
    ----------
    name : str
        What it is for.
    amount : Decimal
        [currency]
    how : str
        The multiplication, spelled out.
    """

    name: str
    amount: Decimal
    how: str


@dataclass(frozen=True)
class Price:
    """A priced job.

    Parameters
    ----------
    estimate : Estimate
        What was priced.
    currency : str
        Code.
    lines : tuple of Line
        They add up to the asked price: costs, risk, margin.
    floor : Decimal
        Costs and risk, no margin [currency].
    asked : Decimal
        [currency]
    p50, p80, p90 : Decimal
        What such jobs cost in half, four of five, nine of ten cases [currency].
    bought_in : Decimal
        Wood, hardware, finish, glue [currency].
    machine_cost : Decimal
        Machine hours, carving included [currency].
    machine_rate : MachineRate
        Of one hour.
    carving_floor, carving_asked : Decimal or None
        Of the carving alone: its share of risk and margin added in proportion; None without any [currency].
    system : {"inch", "metric"}
        What it is written in for people.
    warnings : tuple of str
        What to know before relying on it.
    """

    estimate: Estimate
    currency: str
    lines: tuple[Line, ...]
    floor: Decimal
    asked: Decimal
    p50: Decimal
    p80: Decimal
    p90: Decimal
    bought_in: Decimal
    machine_cost: Decimal
    machine_rate: MachineRate
    carving_floor: Decimal | None = None
    carving_asked: Decimal | None = None
    system: System = "inch"
    warnings: tuple[str, ...] = ()

    @property
    def margin(self) -> float:
        """(Asked - floor) / asked [ratio]."""
        return float((self.asked - self.floor) / self.asked) if self.asked else float("nan")

    @property
    def markup(self) -> float:
        """(Asked - floor) / floor [ratio]."""
        return float((self.asked - self.floor) / self.floor) if self.floor else float("nan")

    @property
    def earned_per_hour(self) -> Decimal | None:
        """What is left of the asked price for each hour of the shop's own people [currency/h]; None without hours."""
        hours = self.estimate.own_hours
        return cents(float(self.asked - self.bought_in - self.machine_cost) / hours) if hours > 0 else None

    def as_json(self) -> dict[str, Any]:
        """The quote as plain data, for ``json.dumps``."""
        e = self.estimate

        def number(value: float | None) -> float | None:
            return None if value is None else round(value, 4)

        return {
            "job": e.job.name,
            "currency": self.currency,
            "quantity": e.job.quantity,
            "programs": len(e.programs),
            "loads": e.job.load_count,
            "hours": {
                phase: {k: number(getattr(h, k)) for k in ("planned", "programmed", "logged", "best", "quoted")}
                for phase, h in e.hours.items()
            },
            "hours_total": number(e.own_hours),
            "machine_minutes": round(e.machine_seconds / 60, 3),
            "lines": [{"name": line.name, "amount": float(line.amount)} for line in self.lines],
            "price": {k: float(getattr(self, k)) for k in ("floor", "asked", "p50", "p80", "p90")},
            "earned_per_hour": None if self.earned_per_hour is None else float(self.earned_per_hour),
            "warnings": list(self.warnings),
        }


def price(
    estimate: Estimate,
    shop: Shop | None = None,
    *,
    seed: int = 1,
    draws: int = 20_000,
    level: float = 0.8,
    system: System | None = None,
) -> Price:
    """Price a job.

    Parameters
    ----------
    estimate : Estimate
        Its hours and wood.
    shop : Shop, optional
        Whose rates count; None takes the one the job was read for.
    seed, draws : int
        Of the sampling; the same seed gives the same price [-].
    level : float
        Share of such jobs the floor price shall cover [ratio].
    system : {"inch", "metric"}, optional
        For people; None takes the job's.

    Returns
    -------
    Price
        Lines are means, which add; what strays is sampled together, with the factor that all hours of one job share,
        and stands in one line. Wood, hardware and finish are taken as they are listed.
    """
    job = estimate.job
    shop = job.shop if shop is None else shop
    rates = shop.rates
    machine = machine_hour_rate(rates.machine)
    own = [(phase, _people_line(phase, h, shop, estimate)) for phase, h in estimate.hours.items() if h.quoted > 0]
    machining = _machine_line(estimate.machine_seconds - estimate.carving_seconds, machine)
    carving = _carving_line(estimate, shop, machine)
    shown = system or job.system
    bought = [*_wood_lines(estimate, shop, shown), *_hardware_lines(estimate), *_finish_lines(estimate, shop, shown)]
    lines = [line for line in (*(line for _, line in own), machining, carving) if line and line.amount]
    lines += bought
    means = _sum(lines)
    spreads = [spread_of_mean(float(line.amount), rates.spread[phase]) for phase, line in own]
    spreads.append(spread_of_mean(float(machining.amount), _machining_sigma(estimate, shop)))
    if carving is not None:
        spreads += _carving_spreads(estimate, shop, float(carving.amount))
    certain = float(means) - sum(s.mean for s in spreads)
    costs = sample(spreads, shared=rates.shared_spread, draws=draws, seed=seed).sum(axis=1) + certain
    p50, p80, p90, reach = (cents(v) for v in percentiles(costs, (*LEVELS, level)))
    risk = max(reach - means, Decimal("0.00"))
    lines.append(Line("risk", risk, f"{100 * level:.0f} of 100 such jobs cost up to {reach:,}, less {means:,} above"))
    floor = means + risk
    asked = cents(float(floor) / (1 - rates.margin)) if job.asked_price is None else cents(job.asked_price)
    lines.append(Line("margin", asked - floor, _margin_words(floor, asked, job.asked_price is not None)))
    out = Price(
        estimate=estimate,
        currency=rates.currency,
        lines=tuple(lines),
        floor=floor,
        asked=asked,
        p50=p50,
        p80=p80,
        p90=p90,
        bought_in=_sum(bought),
        machine_cost=machining.amount + _times(estimate.carving_seconds / 3600, machine.total),
        machine_rate=machine,
        carving_floor=None if carving is None else cents(carving.amount * floor / means),
        carving_asked=None if carving is None else cents(carving.amount * asked / means),
        system=shown,
    )
    of_wood = (*cleaning_warnings(job, shop), *season_warnings(job))
    return replace(out, warnings=(*estimate.warnings, *of_wood, *_doubts(out)))


def _sum(lines: Sequence[Line]) -> Decimal:
    return sum((line.amount for line in lines), Decimal("0.00"))


def _carving_people(estimate: Estimate, shop: Shop) -> dict[str, float]:
    """Hours of people that belong to the carving line and so leave their phases."""
    if not estimate.carving_seconds:
        return {}
    attended = sum(p.best * p.loads * p.attended for p in estimate.programs if p.carving) / 3600
    design = estimate.drivers["carving_design_per_job"] * shop.rates.minutes["carving_design_per_job"] / 3600
    out = {}
    for phase, hours in (("design", design), ("machining", attended), ("finishing", estimate.carving_sanding_in_full)):
        if not hours:
            continue
        said = estimate.job.phases.get(phase)
        overridden = said is not None and (said.said(1) is not None or said.logged is not None)
        if not overridden and estimate.hours[phase].quoted > 0:
            out[phase] = min(hours, estimate.hours[phase].quoted)
    return out


def _times(amount: float, rate: Decimal) -> Decimal:
    """The product people get who multiply what they read: the amount rounded to hundredths first."""
    return cents(cents(amount) * rate)


def _people_line(phase: str, h: PhaseHours, shop: Shop, estimate: Estimate) -> Line:
    rate, carving = shop.rates.people[phase], _carving_people(estimate, shop).get(phase, 0.0)
    hours = h.quoted - carving
    less = f"; {carving:.2f} h counted under carving" if carving else ""
    return Line(phase, _times(hours, rate), f"{cents(hours)} h × {rate:.2f}{less}")


def _machine_line(seconds: float, rate: MachineRate) -> Line:
    hours = seconds / 3600
    return Line("machine time", _times(hours, rate.total), f"{cents(hours)} machine h × {rate.total:.2f}")


def _carving_line(estimate: Estimate, shop: Shop, rate: MachineRate) -> Line | None:
    if not estimate.carving_seconds:
        return None
    hours = estimate.carving_seconds / 3600
    amount, how = _times(hours, rate.total), [f"{cents(hours)} machine h × {rate.total:.2f}"]
    for phase, own in _carving_people(estimate, shop).items():
        pay = shop.rates.people[phase]
        amount += _times(own, pay)
        name = {"design": "drawing its artwork", "machining": "attended", "finishing": "sanding"}.get(phase, phase)
        how.append(f"{cents(own)} h {name} × {pay:.2f}")
    words = " + ".join(how)
    said = estimate.job.phases.get("finishing")
    if said is not None and (said.said(1) is not None or said.logged is not None):
        words += "; its sanding is taken to be in the finishing hours the job says"
    return Line("carving", amount, words)


def _machining_sigma(estimate: Estimate, shop: Shop) -> float:
    """How far the machine's hours stray: by what calibration left where programs exist, else by the shop's rate.

    All programs are taken to stray together: the mean of both by seconds.
    """
    usual, learned = shop.rates.spread["machining"], estimate.job.machine.spread
    plain = [p for p in estimate.programs if not p.carving]
    known = sum(p.best * p.loads for p in plain if p.programmed is not None or p.logged is not None)
    whole = sum(p.best * p.loads for p in plain)
    if learned is None or not whole > 0:
        return usual
    return usual + (learned - usual) * known / whole


def _carving_spreads(estimate: Estimate, shop: Shop, amount: float) -> list[Spread]:
    """Of the carving line: its design like all design; the rest as wide as the band of its area while that is all."""
    design = _carving_people(estimate, shop).get("design", 0.0) * float(shop.rates.people["design"])
    bands = [(p.band, p.loads) for p in estimate.programs if p.carving and p.by_area and p.band]
    sigma = shop.rates.spread["machining"]
    if bands:
        low, likely, high = (sum(b[k] * n for b, n in bands) for k in range(3))
        sigma = max(sigma, spread_of_three(low, likely, high).sigma)
    return [spread_of_mean(design, shop.rates.spread["design"]), spread_of_mean(amount - design, sigma)]


def _wood_lines(estimate: Estimate, shop: Shop, system: System) -> list[Line]:
    out = []
    for p in estimate.purchases:
        each = shop.rates.materials[p.material][0] if p.material in shop.rates.materials else shop.rates.sheet
        waste, name = f"+ {100 * (p.gross / p.net - 1):.0f} % waste", p.title or shop.material(p.material).title
        if p.unit == "piece":
            amount, how = p.amount or Decimal(0), f"{p.gross:.0f} pieces of fixed length, {cents(p.net)} used up"
        elif p.unit == "board_foot":
            net, gross = (f"{_cubic_metres(v, system)}{cents(v)} bd ft" for v in (p.net, p.gross))
            amount, how = _times(p.gross, each), f"{net} exact {waste} = {gross} × {each:.2f}"
        else:
            how = f"{_area(p.net, system)} {waste} = {_area(p.gross, system)} × {each:.2f}"
            amount = _times(p.gross, each)
        if p.amount is not None and p.unit != "piece":
            amount, how = p.amount, f"{_area(p.net, system)} {waste} = {_area(p.gross, system)}, priced by the sheet"
        out.append(Line(name, cents(amount), how + _layout_words(p)))
    return out


def _layout_words(p: Purchase) -> str:
    """How good the layout is, and which measure of boards counts."""
    if not p.laid_out or p.unit == "piece":
        return ""
    out = f"; laid out, yield {100 * p.net / p.gross:.0f} % (the shop's waste: {100 * p.percent:.0f} %)"
    if p.least is not None:
        out += f", no layout takes less than {100 * p.least:.0f} % of it"
    if p.exact is not None and p.tally is not None:
        by_tally = abs(p.gross - p.tally) < 1e-9 and abs(p.exact - p.tally) > 1e-9
        other = f"exact {cents(p.exact)}" if by_tally else f"tally {p.tally:.0f}"
        out += f"; by {'tally' if by_tally else 'exact volume'}, {other} bd ft"
    return out


def _cubic_metres(board_feet: float, system: System) -> str:
    """Put before the board feet, in which sawn wood is priced."""
    return f"{board_feet * BOARD_FOOT * 1e-9:.3f} m³ = " if system == "metric" else ""


def _area(square_metres: float, system: System) -> str:
    """Priced per square metre in either system, because the rates are."""
    shown = f"{cents(square_metres)} m²"
    return shown if system == "metric" else f"{square_metres / SQUARE_FOOT:.1f} ft² = {shown}"


def _hardware_lines(estimate: Estimate) -> list[Line]:
    job = estimate.job
    return [
        Line(h.name, cents(h.price * h.quantity * job.quantity), f"{h.quantity * job.quantity} × {h.price:.2f}")
        for h in job.hardware
    ]


def _finish_lines(estimate: Estimate, shop: Shop, system: System) -> list[Line]:
    rates, area, joints = shop.rates, estimate.finish_area, int(estimate.drivers["assembly_per_joint"])
    finish = Line("finish", _times(area, rates.finish), f"{_area(area, system)} × {rates.finish:.2f}")
    glue = Line("glue", cents(joints * rates.glue), f"{joints} joints × {rates.glue:.2f}")
    by_weight, by_volume = rates.stock.glue_price, rates.stock.finish_price
    taken = None if by_weight is by_volume is None else take_off_job(estimate.job, shop, layout=False)
    if taken and by_weight is not None:
        words = f"{_area(taken.glue_area, system)} of joints, {cents(taken.glue)} kg × {by_weight:.2f}"
        glue = Line("glue", _times(taken.glue, by_weight), words)
    if taken and by_volume is not None:
        words = f"{_area(area, system)} in {taken.coats} coats, {cents(taken.finish)} L × {by_volume:.2f}"
        finish = Line("finish", _times(taken.finish, by_volume), words)
    return [line for line in (finish, glue) if line.amount]


def _margin_words(floor: Decimal, asked: Decimal, given: bool) -> str:
    why = "the job's asked price" if given else "the shop's margin"
    if not asked or not floor:
        return why
    of_price, on_cost = (asked - floor) / asked, (asked - floor) / floor
    return f"{why}: {100 * of_price:.1f} % of the price (margin), {100 * on_cost:.1f} % on the cost (markup)"


def _doubts(price: Price) -> list[str]:
    out = [note for p in price.estimate.purchases for note in p.notes]
    if price.asked < price.floor:
        out.append(f"the asked price is {price.floor - price.asked:,} {price.currency} below the floor price")
    unpaid = [phase for phase, h in price.estimate.hours.items() if h.best > 0 and h.quoted == 0]
    if unpaid:
        out.append(f"not in the price, though the hours are worked: {', '.join(unpaid)}")
    by_area = [p.program.id for p in price.estimate.programs if p.by_area]
    if by_area:
        out.append(
            f"planned by area or kind alone, before any artwork, with a wide band: {', '.join(by_area)}"
            + _band_words(price)
        )
    return out


def _band_words(price: Price) -> str:
    """Low and high of what is planned by area or kind: minutes, and the carving's asked price at both ends."""
    e, shop = price.estimate, price.estimate.job.shop
    wide = [p for p in e.programs if p.by_area and p.band]
    carving = next((line.amount for line in price.lines if line.name == "carving"), None)
    if not wide or carving is None or price.carving_asked is None or not carving:
        return ""
    ends = []
    for k in (0, 2):
        moved = sum((p.band[k] - p.best) * p.loads * _machine_hour(p.attended, price, shop) for p in wide if p.band)
        ends.append(cents((float(carving) + moved / 3600) * float(price.carving_asked / carving)))
    low, high = (write_time(sum(p.band[k] * p.loads for p in wide if p.band)) for k in (0, 2))
    mean = write_time(sum(p.best * p.loads for p in wide))
    return (
        f"; machine time {low} to {high}, the carving's asked price {ends[0]:,} to {ends[1]:,} {price.currency}; "
        f"priced is the mean of the band, {mean}, not the likely time"
    )


def _machine_hour(attended: float, price: Price, shop: Shop) -> float:
    """What an hour of a program costs: the machine, and the share somebody stands by."""
    return float(price.machine_rate.total) + attended * float(shop.rates.people["machining"])
