"""Times of people learned from finished jobs, for people: as tables and as plain data."""

from __future__ import annotations

from typing import Any

from shopcalc.documents import Table
from shopcalc.people_learned import LearnedTimes
from shopcalc.shrinkage import TABLE_JOBS
from shopcalc.units import write_time

_NAMED = 6  # phases of jobs named for one reason


def tables(learned: LearnedTimes) -> tuple[Table, ...]:
    """What was learned by phase, and the jobs it was learned from.

    Parameters
    ----------
    learned : LearnedTimes
        From ``learn_times``.
    """
    found = learned.phases.values()
    rows = tuple(
        (
            p.phase, str(len(p.jobs)), f"× {p.said:.2f}", f"{100 * (1 - p.own):.0f} %", f"× {p.factor:.2f}",
            f"{p.low:.2f} to {p.high:.2f}", f"× {p.mean:.2f}", f"{100 * p.usual:.0f} %", f"{100 * p.spread:.0f} %",
        )
        for p in found
    )  # fmt: skip
    head = ("phase", "jobs", "log alone", "pulled to default", "a usual job", "95 % sure", "quotes take",
            "default spread", "spread")  # fmt: skip
    below = (
        f"The standard times count as {TABLE_JOBS:g} finished job: after n the log counts n / (n + {TABLE_JOBS:g}).",
        "Jobs are planned anew by their files and the standard times as both are now.",
        "A usual job is the middle one: as many take longer as take less. Quotes add means, which lie above it by more "
        "the more a phase strays; a standard time is such a mean.",
    )
    jobs = tuple(
        (
            j.phase, j.job, write_time(j.planned), write_time(j.logged), f"× {j.ratio:.2f}",
            f"ODD: without such, a usual job is × {p.without_odd:.2f}; kept, correct it if it is a slip"
            if j in p.odd else "",
        )
        for p in found for j in p.jobs
    )  # fmt: skip
    steps = tuple(
        (
            p.phase, d.driver.replace("_", " "), f"{100 * d.told:.0f} %", f"× {d.beyond:.2f}",
            f"× {p.factor * d.beyond:.2f}",
        )
        for p in found for d in p.drivers
    )  # fmt: skip
    apart = Table(
        "Steps that jobs tell apart, because they mix them differently",
        ("phase", "step", "told by the jobs", "beside its phase", "a usual job"), steps, frozenset({2, 3, 4}),
    )  # fmt: skip
    return (
        Table("Times of people, by finished jobs", head, rows, frozenset(range(1, 9)), below),
        *((apart,) if steps else ()),
        Table("The jobs", ("phase", "job", "standard", "logged", "ratio", ""), jobs, frozenset({2, 3, 4})),
    )


def left_out(learned: LearnedTimes) -> tuple[str, ...]:
    """What could not be compared, a sentence for each reason.

    Parameters
    ----------
    learned : LearnedTimes
        From ``learn_times``.
    """
    by_reason: dict[str, list[str]] = {}
    for told in learned.left_out:
        what, reason = told.split(": ", 1)
        by_reason.setdefault(reason, []).append(what.replace(", ", " "))
    return tuple(
        f"not compared, because {reason}: {', '.join(names[:_NAMED])}"
        + (f" and {len(names) - _NAMED} more" if len(names) > _NAMED else "")
        for reason, names in by_reason.items()
    )


def as_json(learned: LearnedTimes) -> dict[str, Any]:
    """The same as plain data, for ``json.dumps``.

    Parameters
    ----------
    learned : LearnedTimes
        From ``learn_times``.
    """
    return {
        "standard_times_count_as_jobs": TABLE_JOBS,
        "phases": [
            {
                "phase": p.phase, "jobs": len(p.jobs), "log_alone": p.said, "own_share": p.own, "factor": p.factor,
                "low": p.low, "high": p.high, "mean_factor": p.mean, "spread_default": p.usual, "spread": p.spread,
                "without_odd": p.without_odd,
                "steps": [{"driver": d.driver, "told": d.told, "beyond_phase": d.beyond} for d in p.drivers],
                "finished": [
                    {"job": j.job, "planned_s": j.planned, "logged_s": j.logged, "odd": j in p.odd} for j in p.jobs
                ],
            }
            for p in learned.phases.values()
        ],
        "left_out": list(learned.left_out),
    }  # fmt: skip
