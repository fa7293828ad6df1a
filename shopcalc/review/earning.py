"""What an hour of the shop's own people really earned, job by job and by kind of work."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from shopcalc.quote import machine_hour_rate, price
from shopcalc.quote.costs import cents
from shopcalc.review.plans import Plan
from shopcalc.shoplog import ShopLog
from shopcalc.shoplog.views import COUNTS, IS_RUN


@dataclass(frozen=True)
class Earned:
    """What one job brought.

    Parameters
    ----------
    job : str
        Key.
    kinds : tuple of str
        Of work.
    paid : Decimal or None
        By the log [currency]; None where it holds no payment of a job that was won.
    unpaid : str
        Why there is none, for people; empty where there is one.
    currency : str
        Of the payment.
    bought_in : Decimal
        Wood, hardware, finish, glue, as the quote has them [currency].
    machine_cost : Decimal
        Of the machine hours below, at the shop's rate [currency].
    hours, machine_hours : float
        By the clock: people's, and the machine's without the time it stood [h].
    open_hours, open_machine_hours : float
        As planned, of phases that nobody said are finished and of loads that never ran [h].
    missing : tuple of str
        Those phases; "machining" where loads are missing.
    """

    job: str
    kinds: tuple[str, ...]
    paid: Decimal | None
    unpaid: str
    currency: str
    bought_in: Decimal
    machine_cost: Decimal
    hours: float
    machine_hours: float
    open_hours: float
    open_machine_hours: float
    missing: tuple[str, ...]

    @property
    def left(self) -> Decimal | None:
        """Of the payment, for people's hours [currency]."""
        return None if self.paid is None else self.paid - self.bought_in - self.machine_cost

    @property
    def all_hours(self) -> float:
        """By the clock, and as planned where it does not say [h]."""
        return self.hours + self.open_hours

    @property
    def per_hour(self) -> Decimal | None:
        """What is left for each hour [currency/h]; None without a payment, or with nothing logged."""
        if self.left is None or not self.hours > 0:
            return None
        return cents(float(self.left) / self.all_hours)


@dataclass(frozen=True)
class KindEarned:
    """What a kind of work brought.

    Parameters
    ----------
    kind : str
        Of work.
    jobs : tuple of str
        That count: paid, with hours by the clock.
    left : Decimal
        Of all payments together [currency].
    hours : float
        All of theirs [h].
    """

    kind: str
    jobs: tuple[str, ...]
    left: Decimal
    hours: float

    @property
    def per_hour(self) -> Decimal:
        """Earned for each hour, long jobs counting more [currency/h]."""
        return cents(float(self.left) / self.hours)


def earnings(plans: Sequence[Plan], log: ShopLog) -> tuple[Earned, ...]:
    """What the jobs of a shop brought.

    Parameters
    ----------
    plans : sequence of Plan
        From ``read_plans``.
    log : ShopLog
        Open.

    Returns
    -------
    tuple of Earned
        One for each plan. Of a run, the attended share counts as people's time, as in the quote.
    """
    phases: dict[str, dict[str, list[float]]] = defaultdict(lambda: defaultdict(lambda: [0.0, 0.0]))
    runs: dict[str, dict[str, list[float]]] = defaultdict(lambda: defaultdict(lambda: [0.0, 0.0]))
    for job, phase, seconds, done in log.rows(
        "SELECT t.job, t.phase, sum(t.seconds), max(t.done) FROM times t JOIN entries e ON e.id = t.entry WHERE "
        f"NOT ({IS_RUN}) AND t.phase <> '' AND t.seconds IS NOT NULL AND {COUNTS} "
        "GROUP BY t.job, t.phase"
    ):
        kept = phases[job][phase]
        kept[:] = kept[0] + seconds, max(kept[1], done)
    for job, program, seconds, loads in log.rows(
        "SELECT t.job, t.program, sum(t.seconds - t.standing), sum(CASE WHEN t.load IS NULL THEN t.loads ELSE 0 END) + "
        "count(DISTINCT CASE WHEN t.load IS NOT NULL THEN t.part || char(31) || t.load END) FROM times t JOIN "
        f"entries e ON e.id = t.entry WHERE {IS_RUN} AND t.seconds IS NOT NULL AND {COUNTS} GROUP BY t.job, t.program"
    ):
        kept = runs[job][program]
        kept[:] = kept[0] + seconds, kept[1] + loads
    paid = _payments(log)
    return tuple(_of_job(p, _gathered(p, phases), _gathered(p, runs), paid) for p in plans)


Sums = Mapping[str, Sequence[float]]


def _gathered(plan: Plan, found: Mapping[str, Sums]) -> Sums:
    """Of all names the log has for a job."""
    out: dict[str, tuple[float, float]] = {}
    for name in plan.names:
        for what, (seconds, count) in found.get(name, {}).items():
            before = out.get(what, (0.0, 0.0))
            out[what] = (before[0] + seconds, before[1] + count)
    return out


def _payments(log: ShopLog) -> Mapping[str, tuple[str, Decimal | None, str]]:
    """The last word on each job: how it ended, what was paid, in what."""
    rows = log.rows(
        "SELECT q.job, q.outcome, q.paid, q.currency FROM quotes q JOIN entries e ON e.id = q.entry "
        f"WHERE {COUNTS} ORDER BY e.id"
    )
    return {job: (outcome, None if paid is None else Decimal(paid), currency) for job, outcome, paid, currency in rows}


def _of_job(plan: Plan, phases: Sums, runs: Sums, payments: Mapping[str, tuple[str, Decimal | None, str]]) -> Earned:
    e = plan.estimate
    rates = e.job.shop.rates
    hours = sum(seconds for seconds, _ in phases.values()) / 3600
    missing, open_hours, machine, open_machine = list[str](), 0.0, 0.0, 0.0
    for phase, h in e.hours.items():
        seconds, done = phases.get(phase, (0.0, 0.0))
        left = h.best - seconds / 3600
        if phase != "machining" and h.best > 0 and not done:
            missing.append(phase)
            open_hours += max(left, 0.0)
    for t in e.programs:
        seconds, loads = runs.get(t.program.id, (0.0, 0.0))
        machine += seconds / 3600
        hours += seconds / 3600 * t.attended
        without = max(t.loads - loads, 0.0) * t.best / 3600
        open_machine += without
        open_hours += without * t.attended
    if open_machine > 0:
        missing.append("machining")
    paid, unpaid, currency = _payment(plan, payments, rates.currency)
    return Earned(
        plan.key, plan.kinds, paid, unpaid, currency, price(e, draws=_FEW).bought_in,
        cents((machine + open_machine) * float(machine_hour_rate(rates.machine).total)), hours, machine, open_hours,
        open_machine, tuple(missing),
    )  # fmt: skip


_FEW = 16  # draws: of the price only what is bought counts here, and that is not drawn


def _payment(
    plan: Plan, payments: Mapping[str, tuple[str, Decimal | None, str]], currency: str
) -> tuple[Decimal | None, str, str]:  # fmt: skip
    found = [payments[n] for n in plan.names if n in payments]
    if not found:
        return None, "no quote of it is logged", currency
    outcome, paid, coin = found[-1]
    if outcome != "won":
        return None, f"its quote is {outcome}", currency
    if paid is None:
        return None, "won, but not said what was paid", currency
    if coin and coin != currency:
        return None, f"paid in {coin}, and the shop counts in {currency}", currency
    return paid, "", currency


def by_kind(earned: Sequence[Earned]) -> tuple[KindEarned, ...]:
    """Which kind of work pays.

    Parameters
    ----------
    earned : sequence of Earned
        From ``earnings``.

    Returns
    -------
    tuple of KindEarned
        The best first; jobs without payment or hours are left out, a job of several kinds counts in each.
    """
    groups: dict[str, list[Earned]] = defaultdict(list)
    for e in earned:
        for kind in e.kinds if e.per_hour is not None else ():
            groups[kind].append(e)
    found = [
        KindEarned(
            k, tuple(e.job for e in g), sum((e.left or Decimal(0) for e in g), Decimal(0)), sum(e.all_hours for e in g)
        )
        for k, g in groups.items()
    ]  # fmt: skip
    return tuple(sorted(found, key=lambda k: -k.per_hour))
