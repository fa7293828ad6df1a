"""The order of a job's loads on its papers."""

from __future__ import annotations

from collections.abc import Sequence

from shopcalc.errors import Fault, InputError, did_you_mean
from shopcalc.jobs.reading import Job
from shopcalc.jobs.records import Load


def batches(job: Job, order: Sequence[str] = ()) -> tuple[Load, ...]:
    """The loads of a job in the order they are run.

    Parameters
    ----------
    job : Job
        The job.
    order : sequence of str
        Loads as "program/part", each once; empty takes the order the job says, else that of its programs.

    Raises
    ------
    InputError
        When a name is none of the job's loads, or one is left out.
    """
    loads = {f"{load.program}/{load.part}": load for load in job.loads}
    chosen = list(order) or list(job.order)
    if not chosen:
        rank = {p.id: k for k, p in enumerate(job.programs)}
        return tuple(sorted(job.loads, key=lambda load: rank[load.program]))
    faults = [Fault(f"there is no load '{n}'", did_you_mean(n, loads), field="order") for n in chosen if n not in loads]
    faults += [
        Fault(f"load '{n}' is left out", "name every load once", field="order") for n in loads if n not in chosen
    ]
    if faults:
        raise InputError(faults)
    return tuple(loads[n] for n in dict.fromkeys(chosen))
