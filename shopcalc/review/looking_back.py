"""All that looking back tells, as one record, as tables for people, and as plain data."""

from __future__ import annotations

import datetime
import json
from collections.abc import Sequence
from dataclasses import dataclass, fields
from decimal import Decimal
from typing import Any

from shopcalc.documents import Cell, Figure, Table
from shopcalc.errors import Fault
from shopcalc.review.earning import Earned, KindEarned, by_kind, earnings
from shopcalc.review.edges import EdgeUse, edge_uses
from shopcalc.review.learning import LEAST_DAYS, Trend, trends
from shopcalc.review.plans import Plan, by_name, read_plans
from shopcalc.review.taken import Compared, compared
from shopcalc.shop import Shop
from shopcalc.shoplog import Moment, ShopLog
from shopcalc.today import Miss, misses_of_the_last_day
from shopcalc.units import System, write, write_time


@dataclass(frozen=True)
class Review:
    """What looking back tells.

    Parameters
    ----------
    compared : tuple of Compared
        Planned, programmed and logged.
    trends : tuple of Trend
        Whether the shop is learning.
    earned : tuple of Earned
        By job.
    kinds : tuple of KindEarned
        By kind of work, the best first.
    edges : tuple of EdgeUse
        Of cutters, those due first.
    day : date or None
        The last day before this one that has times.
    misses : tuple of Miss
        Of that day, the largest ratio first.
    currency : str
        Of the shop.
    faults : tuple of Fault
        Jobs of the log that could not be planned.
    """

    compared: tuple[Compared, ...]
    trends: tuple[Trend, ...]
    earned: tuple[Earned, ...]
    kinds: tuple[KindEarned, ...]
    edges: tuple[EdgeUse, ...]
    day: datetime.date | None
    misses: tuple[Miss, ...]
    currency: str
    faults: tuple[Fault, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """The same as plain data, for ``json.dumps``: times in s, as shares what is one."""
        return {
            "compared": [_plain(c) | {f"{w}_error": c.error(w) for w in ("planned", "programmed")}
                         for c in self.compared],
            "trends": [_plain(t) | {"verdict": t.verdict} for t in self.trends],
            "earned": [_plain(e) | {"left": _money(e.left), "per_hour": _money(e.per_hour)} for e in self.earned],
            "kinds": [_plain(k) | {"per_hour": _money(k.per_hour)} for k in self.kinds],
            "cutters": [_plain(e) | {"share": e.share, "state": e.state} for e in self.edges],
            "last_day": None if self.day is None else self.day.isoformat(),
            "misses": [_plain(m) | {"ratio": m.ratio} for m in self.misses],
            "currency": self.currency,
        }  # fmt: skip


def _plain(record: Any) -> dict[str, Any]:
    made = {f.name: getattr(record, f.name) for f in fields(record)}
    out: dict[str, Any] = json.loads(json.dumps(made, default=_money))
    return out


def _money(value: Decimal | None) -> float | None:
    return None if value is None else float(value)


def review(shop: Shop, log: ShopLog, jobs: Sequence[str] = (), now: Moment | None = None) -> Review:
    """Look back on a shop's jobs.

    Parameters
    ----------
    shop : Shop
        Whose.
    log : ShopLog
        Open.
    jobs : sequence of str
        The only ones wanted; none takes all that are logged. Cutters are always all of the shop's.
    now : Moment, optional
        For the last day; None asks the log's clock.

    Returns
    -------
    Review
        Jobs without a file that can be planned stand in its ``faults``.
    """
    plans, faults = read_plans(shop, log, jobs)
    return of_plans(plans, shop, log, now, faults)


def of_plans(
    plans: Sequence[Plan], shop: Shop, log: ShopLog, now: Moment | None = None, faults: Sequence[Fault] = ()
) -> Review:  # fmt: skip
    """The same of jobs that are planned already.

    Parameters
    ----------
    plans : sequence of Plan
        From ``read_plans``.
    shop : Shop
        Whose.
    log : ShopLog
        Open.
    now : Moment, optional
        For the last day; None asks the log's clock.
    faults : sequence of Fault
        From ``read_plans``.
    """
    earned = earnings(plans, log)
    estimates = {name: (p.key, p.estimate) for name, p in by_name(plans).items()}
    day, misses = misses_of_the_last_day(estimates, log, log.clock() if now is None else now)
    return Review(
        compared(plans, log), trends(plans, log), earned, by_kind(earned), edge_uses(log, shop.cutters), day, misses,
        shop.rates.currency, tuple(faults),
    )  # fmt: skip


# --- for people ------------------------------------------------------------------------------------------------------


def tables(found: Review, system: System = "inch") -> tuple[Table, ...]:
    """What was found, as tables for people; those without rows say why.

    Parameters
    ----------
    found : Review
        From ``review``.
    system : {"inch", "metric"}
        Of lengths.

    Returns
    -------
    tuple of Table
        Programs, phases, learning, earnings, kinds of work, cutters, the last day.
    """
    return (
        _compared(found, "program"), _compared(found, "phase"), _learning(found), _earnings(found), _kinds(found),
        _cutters(found, system), _last_day(found),
    )  # fmt: skip


def _time(seconds: float | None) -> Cell:
    return "–" if seconds is None else Figure(write_time(seconds), seconds / 60, "min", 2)


def _share(value: float | None, signed: bool = True) -> Cell:
    if value is None:
        return "–"
    return Figure(f"{100 * value:+.0f} %" if signed else f"{100 * value:.0f} %", 100 * value, "%", 1)


def _compared(found: Review, what: str) -> Table:
    rows = []
    for c in found.compared:
        if c.what != what:
            continue
        loads = f"{c.count} of {c.of}" if c.of else "done" if c.finished else "so far" if c.logged else "–"
        rows.append((c.name, c.job, _time(c.planned), _time(c.programmed), _time(c.logged), loads,
                     _share(c.error("planned")), _share(c.error("programmed"))))  # fmt: skip
    title = "One load of each program" if what == "program" else "Phases (machining: the machine, all loads logged)"
    head = (what, "job", "planned", "programmed", "logged", "loads" if what == "program" else "logged of", "plan off",
            "program off")  # fmt: skip
    below = (
        "Off: + too long, - too short, as a share of what was logged. A phase counts once somebody said it is done.",
    )
    return Table(title, head, tuple(rows), frozenset(range(2, 8)), below if what == "phase" else ())


def _learning(found: Review) -> Table:
    rows: list[tuple[Cell, ...]] = []
    for t in found.trends:
        if t.change is None and t.what == "program":
            continue
        if t.change is None:
            few = f"too few ({len(t.days)} of {LEAST_DAYS})"
            rows.append((t.name, str(len(t.days)), f"{t.ratios[-1]:.2f}" if t.ratios else "–", "–", "–", few))
            continue
        rows.append((t.name, str(len(t.days)), f"{t.level:.2f}", _share(t.change),
                     f"{_far(t.low)} to {_far(t.high)}", t.verdict))  # fmt: skip
    head = ("phase or program", "days", "ratio now", "since the first", "95 % sure", "so")
    short = sum(t.change is None and t.what == "program" for t in found.trends)
    below: tuple[str, ...] = (
        "Ratio: logged over planned (over programmed, where there is a text), each day counting once.",
    )
    below += (f"Programs logged on fewer than {LEAST_DAYS} days, of which nothing is said: {short}.",) if short else ()
    return Table("Is the shop learning?", head, tuple(rows), frozenset(range(1, 5)), below if rows else ())


def _far(value: float | None) -> str:
    return "more than +999 %" if (value or 0.0) > 9.99 else f"{100 * (value or 0.0):+.0f} %"


def _earnings(found: Review) -> Table:
    rows = []
    for e in found.earned:
        open_ = f"{e.open_hours:.1f} h as planned: {', '.join(e.missing)}" if e.missing else "all by the clock"
        why = e.unpaid or ("nothing is logged yet" if e.per_hour is None else open_)
        rows.append((e.job, _amount(e.paid), _amount(e.bought_in), _amount(e.machine_cost), f"{e.hours:.1f} h",
                     _amount(e.per_hour), why))  # fmt: skip
    head = ("job", "paid", "bought", "machine", "people", "an hour earned", "how sure")
    below = (f"In {found.currency}. Earned: paid less bought less machine, over people's hours.",) if rows else ()
    return Table("What an hour earned", head, tuple(rows), frozenset(range(1, 6)), below)


def _amount(value: Decimal | None) -> Cell:
    return "–" if value is None else Figure(f"{value:,.2f}", value, "", 2)


def _kinds(found: Review) -> Table:
    rows = tuple(
        (k.kind, str(len(k.jobs)), f"{k.hours:.1f} h", _amount(k.per_hour), "one job only" if len(k.jobs) == 1 else "")
        for k in found.kinds
    )
    return Table("Which work pays", ("kind of work", "jobs", "hours", "an hour earned", ""), rows, frozenset({1, 2, 3}))


def _cutters(found: Review, system: System) -> Table:
    rows = []
    for e in found.edges:
        cut = "–" if e.distance is None else write(e.distance, "distance", system)
        minutes = "–" if e.minutes is None else f"{e.minutes:.0f} min"
        life = "–" if e.life_minutes is None else f"{e.life_minutes:.0f} min"
        life = life if e.life_distance is None else f"{life}, {write(e.life_distance, 'distance', system)}"
        rows.append((e.cutter, minutes, cut, life, _share(e.share, signed=False), e.state, e.known_from))
    head = ("cutter", "minutes", "distance", "lasts", "used", "so", "known from")
    return Table("Cutters since they were ground", head, tuple(rows), frozenset(range(1, 5)))


def _last_day(found: Review) -> Table:
    rows = tuple(
        (m.what, m.job, str(m.count), _time(m.logged), _time(m.planned), f"{m.ratio:.2f}") for m in found.misses
    )  # fmt: skip
    title = f"The last day, {found.day}" if found.day else "The last day"
    head = ("program or phase", "job", "loads", "logged", "planned", "ratio")
    return Table(title, head, rows, frozenset({2, 3, 4, 5}))
