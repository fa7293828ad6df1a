"""Is the shop learning? Logged over planned, from day to day, with a line that a few odd days do not turn."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Literal

from shopcalc.review.plans import Plan, by_name
from shopcalc.shoplog import ShopLog
from shopcalc.shoplog.views import COUNTS, IS_RUN, LOCAL_DAY

#: Days below which no line is drawn. Of four days in random order one in twelve rises or falls throughout (2 / 4!), so
#: four can never say anything with a certainty of 95 %; of five, one in sixty does.
LEAST_DAYS = 5
_MOST_DAYS = 200  # points of one line; more are put together, neighbours first
_SURE = 0.95
Verdict = Literal["quicker", "slower", "no trend seen", "too few days"]


@dataclass(frozen=True)
class Trend:
    """How a ratio changed over the days.

    Parameters
    ----------
    what : {"program", "phase"}
        Of which it is.
    name : str
        Of the program with its job, or of the phase.
    days : tuple of float
        Since 1970, growing [day].
    ratios : tuple of float
        Logged over planned (programmed, where there is a text) [ratio].
    change, low, high : float or None
        Of the ratio from the first day to the last, and its 95 % interval; None with too few days [ratio].
    level : float or None
        Of the line on the last day [ratio].
    """

    what: Literal["program", "phase"]
    name: str
    days: tuple[float, ...]
    ratios: tuple[float, ...]
    change: float | None
    low: float | None
    high: float | None
    level: float | None

    @property
    def verdict(self) -> Verdict:
        """In words: quicker or slower only where the whole interval is."""
        if self.low is None or self.high is None:
            return "too few days"
        return "quicker" if self.high < 0 else "slower" if self.low > 0 else "no trend seen"


def trend(what: Literal["program", "phase"], name: str, points: Sequence[tuple[float, float]]) -> Trend:
    """The line through ratios over days.

    Parameters
    ----------
    what : {"program", "phase"}
        Of which it is.
    name : str
        For people.
    points : sequence of (float, float)
        Day [day] and ratio [ratio], in any order.

    Returns
    -------
    Trend
        Median of the slopes of the logarithm between all pairs of days, with its 95 % interval.

    References
    ----------
    P. K. Sen, Estimates of the regression coefficient based on Kendall's tau, J. Am. Stat. Assoc. 63 (1968) 1379-1389.

    Example
    -------
    >>> found = trend("phase", "setup", [(7.0 * k, 0.98**k) for k in range(6)])
    >>> round(found.change, 3), found.verdict
    (-0.096, 'quicker')
    """
    days, ratios = _thinned(points)
    if len(set(days)) < LEAST_DAYS:
        return Trend(what, name, days, ratios, None, None, None, None)
    from scipy.stats import theilslopes

    line = theilslopes([math.log(r) for r in ratios], days, _SURE)
    change, low, high = (
        math.expm1(float(s) * (days[-1] - days[0])) for s in (line.slope, line.low_slope, line.high_slope)
    )
    level = math.exp(float(line.intercept) + float(line.slope) * days[-1])
    return Trend(what, name, days, ratios, change, low, high, level)


def _thinned(points: Sequence[tuple[float, float]]) -> tuple[tuple[float, ...], tuple[float, ...]]:
    import numpy as np

    if not points:
        return (), ()
    day, ratio = np.array(sorted(points), float).T
    groups = [np.arange(len(day))] if len(day) <= 1 else np.array_split(np.arange(len(day)), min(len(day), _MOST_DAYS))
    return tuple(float(np.median(day[g])) for g in groups), tuple(float(np.median(ratio[g])) for g in groups)


def trends(plans: Sequence[Plan], log: ShopLog) -> tuple[Trend, ...]:
    """Of every phase that was finished, of machining, and of every program that ran.

    Parameters
    ----------
    plans : sequence of Plan
        From ``read_plans``.
    log : ShopLog
        Open.

    Returns
    -------
    tuple of Trend
        Phases first. A phase has one ratio for each job, on the day it was finished; programs have one for each day,
        all loads finished on it together; machining has all programs of a day, each against its own usual ratio.
    """
    named = by_name(plans)
    phases = defaultdict[str, list[tuple[float, float]]](list)
    for phase, day, ratio in _phase_points(named, log):
        phases[phase].append((day, ratio))
    programs, machining = _program_points(named, log)
    out = [trend("phase", name, points) for name, points in phases.items()]
    out += [trend("phase", "machining", machining)] if machining else []
    out += [trend("program", f"{program} ({job})", points) for (job, program), points in programs.items()]
    return tuple(out)


def _phase_points(named: Mapping[str, Plan], log: ShopLog) -> Iterator[tuple[str, float, float]]:
    rows = log.rows(
        f"SELECT t.job, t.phase, sum(t.seconds), max(t.done), max({LOCAL_DAY}) FROM times t JOIN entries e ON "
        f"e.id = t.entry WHERE t.phase NOT IN ('', 'machining') AND t.seconds IS NOT NULL AND {COUNTS} "
        "GROUP BY t.job, t.phase"
    )
    whole: dict[tuple[str, str], list[float]] = {}
    for job, phase, seconds, done, day in rows:
        if job in named:
            kept = whole.setdefault((named[job].key, phase), [0.0, 0.0, day])
            kept[:] = kept[0] + seconds, max(kept[1], done), max(kept[2], day)
    plans = {p.key: p for p in named.values()}
    order = list(next(iter(plans.values())).estimate.hours) if plans else []
    for (job, phase), (seconds, done, day) in sorted(whole.items(), key=lambda x: order.index(x[0][1])):
        hours = plans[job].estimate.hours[phase].planned
        if done and hours and seconds > 0:
            yield phase, day, seconds / (3600 * hours)


Points = list[tuple[float, float]]


def _program_points(named: Mapping[str, Plan], log: ShopLog) -> tuple[Mapping[tuple[str, str], Points], Points]:
    """By job and program, and all of them together: a load in pieces belongs to the day of its last."""
    rows = log.rows(
        f"SELECT t.job, t.program, sum(t.seconds - t.standing), CASE WHEN t.load IS NULL THEN sum(t.loads) ELSE 1 END, "
        f"max({LOCAL_DAY}) AS day FROM times t JOIN entries e ON e.id = t.entry WHERE {IS_RUN} AND "
        f"t.seconds IS NOT NULL AND {COUNTS} "
        f"GROUP BY t.job, t.program, t.part, t.load, CASE WHEN t.load IS NULL THEN {LOCAL_DAY} END"
    )
    said = {
        (p.key, t.program.id): t.planned if t.programmed is None else t.programmed
        for p in named.values()
        for t in p.estimate.programs
    }
    each: dict[tuple[str, str], dict[float, list[float]]] = defaultdict(lambda: defaultdict(lambda: [0.0, 0.0]))
    for job, program, seconds, count, day in rows:
        key = (named[job].key if job in named else job, program)
        if said.get(key, 0.0) > 0:
            kept = each[key][day]
            kept[:] = kept[0] + seconds, kept[1] + count * said[key]
    of = {key: [(d, s / p) for d, (s, p) in days.items() if s > 0] for key, days in each.items()}
    of = {key: points for key, points in of.items() if points}
    return of, _together(of, each)


def _together(
    of: Mapping[tuple[str, str], Points], each: Mapping[tuple[str, str], Mapping[float, list[float]]]
) -> Points:
    """All programs of a day, each against its own usual ratio: that other programs run is no change of any of them."""
    usual = {key: median(r for _, r in points) for key, points in of.items()}
    whole = median(r for points in of.values() for _, r in points) if of else 1.0
    every: dict[float, list[float]] = defaultdict(lambda: [0.0, 0.0])
    for key, points in of.items():
        for day, _ in points if len(points) > 1 or len(of) == 1 else ():
            seconds, planned = each[key][day]
            kept = every[day]
            kept[:] = kept[0] + seconds, kept[1] + planned * usual[key]
    return [(d, whole * s / p) for d, (s, p) in every.items()]
