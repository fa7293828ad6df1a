"""The order of least cost, by a solver of constraints that also proves how good it is."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from shopcalc.jobs.reading import Job
from shopcalc.loading.batches import Work, work
from shopcalc.loading.improving import improved
from shopcalc.loading.pricing import LoadPlan, broken, change, priced, rack, with_order

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

_FEW = 10  # batches that need no order to begin with
_STEADY = 0.35  # the solver's own count of work for a second: seldom ended by the clock, so that it ends alike
_TICKS = 1000  # of the solver in a second: it counts in whole numbers
#: Called with seconds passed, the best order's time and the proven bound so far [s].
Progress = Callable[[float, float, float], None]


@dataclass(frozen=True)
class _Costs:
    """Whole numbers for the solver: row and column 0 stand for begin and end."""

    between: list[list[int]]
    put_in: int
    must: list[set[int]]  # all that come before each, with what those wait for


def plan_loads(
    given: Work | Job,
    *,
    time_limit: float = 4.0,
    seed: int = 0,
    progress: Progress | None = None,
) -> LoadPlan:
    """Find the order of loads with the least time between them.

    Parameters
    ----------
    given : Work or Job
        What is put in order; a job takes the shop's own standards.
    time_limit : float
        After this the best order so far is returned with the bound proven so far [s].
    seed : int
        Of the search; the same seed gives the same answer unless the time limit ends the search [-].
    progress : callable, optional
        Called with seconds passed, best time and bound [s] at each better order.

    Returns
    -------
    LoadPlan
        With steps, minutes by kind, bound, and what the job file's own order takes. Where the job says an order, that
        one, held against the bound.

    Notes
    -----
    One circuit through all batches and a begin; each arc costs ``pricing.change``; places on the circuit keep the
    precedences; where the rack is too small for all cutters, one decision for each cutter and batch says whether it
    stands there, and an arc to where it does from where it does not costs putting it in. Solved by CP-SAT of
    OR-Tools, whose bound is a proof. The minutes compare orders; a quote's hours count set-up by program.
    A station is taken to be set anew whenever it is come back to.
    """
    w = work(given) if isinstance(given, Job) else given
    names = [b.name for b in w.batches]
    file_seconds = sum(s.before for s in priced(w, names))
    if len(w.batches) < 2:
        order, bound, proven = list(range(len(names))), file_seconds, True
    else:
        order, bound, proven = _search(w, time_limit, seed, progress)
    steps = priced(w, [names[i] for i in order])
    seconds = sum(s.before for s in steps)
    plan = LoadPlan(w, steps, seconds if proven else min(bound, seconds), proven, file_seconds, broken(w, names))
    return with_order(plan, w.said) if w.said else plan


def _costs(w: Work) -> _Costs:
    s, n = w.standards, len(w.batches)
    between = [[0] * (n + 1) for _ in range(n + 1)]
    for i, a in enumerate([None, *w.batches]):
        for j, b in enumerate(w.batches, 1):
            between[i][j] = round(_TICKS * sum(change(a, b, s).values()))
    place = {b.name: i for i, b in enumerate(w.batches, 1)}
    must: list[set[int]] = [set() for _ in range(n + 1)]
    for p in w.precedences:
        must[place[p.after]].add(place[p.before])
    grows = True
    while grows:  # what those before wait for, too
        grows = False
        for i in range(1, n + 1):
            more = set().union(*(must[j] for j in must[i])) - must[i]
            grows |= bool(more)
            must[i] |= more
    return _Costs(between, round(_TICKS * s.load_into_rack), must)


def _arcs(costs: _Costs) -> Iterator[tuple[int, int]]:
    """Successors that no precedence forbids."""
    n, must = len(costs.must) - 1, costs.must
    waited = set().union(*must)
    for i in range(n + 1):
        for j in range(n + 1):
            if i == j or (j and i in must[j] and any(i in must[k] for k in must[j])):
                continue  # something must lie between
            if (i and j and j in must[i]) or (i == 0 and must[j]) or (j == 0 and i in waited):
                continue
            yield i, j


def _search(w: Work, time_limit: float, seed: int, progress: Progress | None) -> tuple[list[int], float, bool]:
    from ortools.sat.python import cp_model

    costs, n, began = _costs(w), len(w.batches), time.perf_counter()
    model = cp_model.CpModel()
    arc = {(i, j): model.new_bool_var("") for i, j in _arcs(costs)}
    model.add_circuit([(i, j, lit) for (i, j), lit in arc.items()])
    after = [sum(i in m for m in costs.must) for i in range(n + 1)]
    place = [model.new_int_var(len(costs.must[i]), max(n - 1 - after[i], 0), "") for i in range(n + 1)]
    for (i, j), lit in arc.items():
        if i and j:
            model.add(place[j] == place[i] + 1).only_enforce_if(lit)
    for j in range(1, n + 1):
        for i in costs.must[j]:
            model.add(place[i] < place[j])
    start = _start(w, costs, seed)
    put, fixed = _rack_model(model, w, arc, start)
    weights = [*(costs.between[i][j] for i, j in arc), *(costs.put_in for _ in put)]
    total = cp_model.LinearExpr.weighted_sum([*arc.values(), *put], weights)
    model.minimize(total + costs.put_in * fixed)
    follows = set(zip([0, *start], [*start, 0], strict=True))
    for (i, j), lit in arc.items():
        model.add_hint(lit, (i, j) in follows)
    for at, i in enumerate(start):
        model.add_hint(place[i], at)
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = max(time_limit - (time.perf_counter() - began), 0.1)
    solver.parameters.linearization_level = 2  # its cuts are what proves: nine loads in hundredths of a second
    solver.parameters.max_deterministic_time = _STEADY * time_limit
    solver.parameters.random_seed = seed
    solver.parameters.num_workers = 1  # several race each other and do not end alike
    status = solver.solve(model, _reporter(progress))
    bound = max((solver.best_objective_bound - n) / _TICKS, _floor(w, costs))
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return [i - 1 for i in start], bound, False
    succ = {i: j for (i, j), lit in arc.items() if solver.boolean_value(lit)}
    order, at = [], succ[0]
    while at:
        order.append(at - 1)
        at = succ[at]
    return order, bound, status == cp_model.OPTIMAL


def _rack_model(
    model: cp_model.CpModel, w: Work, arc: dict[tuple[int, int], cp_model.IntVar], start: Sequence[int]
) -> tuple[list[cp_model.IntVar], int]:
    """What counts the cutters put into the rack, and how many go in however it is done where all have a place."""
    cutters = sorted({c for b in w.batches for c in b.cutters})
    first = set(w.standards.standing)
    fresh = [c for c in cutters if c not in first]
    if len(first | set(cutters)) <= w.standards.places:
        return [], len(fresh)
    n = len(w.batches)
    cutters = sorted({*cutters, *first})
    there = {(i, c): model.new_bool_var("") for i in range(1, n + 1) for c in cutters}
    put = {(i, c): model.new_bool_var("") for i in range(1, n + 1) for c in cutters}
    for i, b in enumerate(w.batches, 1):
        model.add(sum(there[i, c] for c in cutters) <= w.standards.places)
        for c in b.cutters:
            model.add(there[i, c] == 1)
    for (i, j), lit in arc.items():
        for c in cutters if j else ():
            if i:
                model.add_bool_or([~lit, ~there[j, c], there[i, c], put[j, c]])
            elif c not in first:
                model.add_bool_or([~lit, ~there[j, c], put[j, c]])
    for c in fresh:
        model.add(sum(put[i, c] for i in range(1, n + 1)) >= 1)
    racks = rack([w.batches[i - 1] for i in start], w.standards.places, first)
    for i, r in zip(start, racks, strict=True):
        for c in cutters:
            model.add_hint(there[i, c], c in r.cutters)
            model.add_hint(put[i, c], c in r.put_in)
    return list(put.values()), 0


def _floor(w: Work, costs: _Costs) -> float:
    """What every order takes: the cheapest way into each batch, and each cutter put in once [s]."""
    ways: dict[int, int] = {}
    for i, j in _arcs(costs):
        if j:
            ways[j] = min(ways.get(j, costs.between[i][j]), costs.between[i][j])
    fresh = {c for b in w.batches for c in b.cutters} - set(w.standards.standing)
    return (sum(ways.values()) + costs.put_in * len(fresh) - len(ways)) / _TICKS


def _start(w: Work, costs: _Costs, seed: int) -> list[int]:
    """What the solver begins with; few batches it proves at once."""
    start = _cheapest_next(w, costs)
    if len(start) <= _FEW:
        return start
    names = sorted({*w.standards.standing, *(c for b in w.batches for c in b.cutters)})
    number = {c: i for i, c in enumerate(names)}
    needs = [frozenset[int](), *(frozenset(number[c] for c in b.cutters) for b in w.batches)]
    standing = frozenset(number[c] for c in w.standards.standing)
    scarce = None if len(names) <= w.standards.places else needs
    return improved(start, costs.between, costs.must, scarce, w.standards.places, standing, costs.put_in, seed)


def _cheapest_next(w: Work, costs: _Costs) -> list[int]:
    """An order to begin with: always the cheapest that may come next; of equals the first in the job file."""
    left, order, at = list(range(1, len(w.batches) + 1)), list[int](), 0
    there: set[str] = set(w.standards.standing)

    def price(j: int) -> int:
        return costs.between[at][j] + costs.put_in * len(set(w.batches[j - 1].cutters) - there)

    while left:
        at = min((j for j in left if not costs.must[j] & set(left)), key=price)
        left.remove(at)
        order.append(at)
        there = set(rack([w.batches[i - 1] for i in order], w.standards.places, w.standards.standing)[-1].cutters)
    return order


def _reporter(progress: Progress | None) -> cp_model.CpSolverSolutionCallback | None:
    if progress is None:
        return None
    tell = progress
    from ortools.sat.python import cp_model

    class Reporter(cp_model.CpSolverSolutionCallback):
        def on_solution_callback(self) -> None:
            tell(self.wall_time, self.objective_value / _TICKS, self.best_objective_bound / _TICKS)

    return Reporter()
