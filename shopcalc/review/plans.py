"""The jobs of a shop as they were planned, without what its log says of them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from shopcalc.errors import Fault, InputError
from shopcalc.jobs import Estimate, Job, estimate, open_job
from shopcalc.people_learned import job_files
from shopcalc.shop import Shop
from shopcalc.shoplog import ShopLog, job_key
from shopcalc.shoplog.store import IN_FORCE


@dataclass(frozen=True)
class Plan:
    """A job as the models see it; made once, because it takes seconds.

    Parameters
    ----------
    key : str
        Of its file.
    estimate : Estimate
        By the shop's standard times as its files say them now.
    kinds : tuple of str
        Of work, from ``kinds_of_work``.
    """

    key: str
    estimate: Estimate
    kinds: tuple[str, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """What the log may call it."""
        return tuple(dict.fromkeys((self.key, job_key(self.estimate.job.name))))


def read_plans(
    shop: Shop, log: ShopLog, wanted: Sequence[str] = ()
) -> tuple[tuple[Plan, ...], tuple[Fault, ...]]:  # fmt: skip
    """Plan the jobs of a shop that its log names.

    Parameters
    ----------
    shop : Shop
        Its folder's ``jobs`` are searched.
    log : ShopLog
        Open.
    wanted : sequence of str
        Names, or names of files, of the only jobs to plan, logged or not; none plans all that have times or quotes.

    Returns
    -------
    plans : tuple of Plan
        As they were begun.
    faults : tuple of Fault
        Of jobs that have no file, or one that is refused: the others are there all the same.
    """
    named = (
        f"SELECT x.job, min(e.id) AS first FROM {{}} x JOIN entries e ON e.id = x.entry WHERE x.job <> '' AND "
        f"{IN_FORCE} GROUP BY x.job"
    )
    question = (
        f"SELECT job FROM ({named.format('times')} UNION ALL {named.format('quotes')}) GROUP BY job ORDER BY min(first)"
    )
    keys = [job_key(w) for w in wanted] or [job for (job,) in log.rows(question)]
    files, plans, faults = job_files(shop), dict[str, Plan](), list[Fault]()
    for key in keys:
        if key not in files:
            known = ", ".join(sorted({job_key(p) for p in files.values()})) or "none"
            faults.append(Fault(f"job '{key}' has no file in the shop's jobs folder", f"there are: {known}"))
        elif files[key] not in plans:
            try:
                job = open_job(files[key], shop)
                plans[files[key]] = Plan(job_key(files[key]), estimate(job), kinds_of_work(job))
            except InputError as e:
                faults += e.faults
    return tuple(plans.values()), tuple(faults)


def kinds_of_work(job: Job) -> tuple[str, ...]:
    """What kinds of work a job is, read from its file: frames, carving, lettering, and batch or single piece.

    Parameters
    ----------
    job : Job
        From ``open_job``.

    Returns
    -------
    tuple of str
        One or more; a job of several kinds counts in each.
    """

    def has(kind: str) -> bool:
        return any(True for _ in job.done(kind))

    found = [
        name
        for name, there in (
            ("frames", job.expansion is not None or has("tenon")),
            ("carving", has("carve")),
            ("lettering", has("incise")),
        )
        if there
    ]  # fmt: skip
    return (*found, "batch" if job.quantity > 1 else "single piece")


def by_name(plans: Iterable[Plan]) -> Mapping[str, Plan]:
    """Plans by every name the log may have for them.

    Parameters
    ----------
    plans : iterable of Plan
        From ``read_plans``.
    """
    return {name: p for p in plans for name in p.names}
