"""Tasks placed on working days: list scheduling of one machine and several people, with a bound none can beat."""

from __future__ import annotations

import datetime
import itertools
import random
from collections.abc import Iterator, Mapping, Sequence

from shopcalc.crew import ALONE, People, Workday
from shopcalc.jobs.workdays import Days, Schedule, Slot, Task

_EXACT = 7  # tasks up to which every order is tried
_TINY = 1e-9  # h


def schedule(
    tasks: Sequence[Task],
    crew: Sequence[People] = ALONE,
    workday: Workday | None = None,
    *,
    start: datetime.date | None = None,
    tries: int = 40,
    seed: int = 1,
) -> Schedule:
    """Place tasks as early as their order, the people and the one machine allow.

    Parameters
    ----------
    tasks : sequence of Task
        Every name once.
    crew : sequence of People
        Who may do what.
    workday : Workday, optional
        Hours and closed days; None takes eight hours, Monday to Friday.
    start : date, optional
        First day, or the next one the shop works; None leaves dates and weekends out.
    tries : int
        Orders of placing tried beyond the first, which takes what most work comes after [-].
    seed : int
        The same seed gives the same schedule [-].

    Returns
    -------
    Schedule
        The earliest end found, with a bound no schedule can beat. Up to seven tasks every order is tried.

    Raises
    ------
    ValueError
        When a name stands twice or nowhere, tasks wait for each other, or nobody may do one.

    References
    ----------
    Serial list scheduling with limited resources (R. Kolisch, 1996; from memory).
    """
    days = Days(workday or Workday(), start)
    people = _persons(crew)
    graph = _Graph(tasks, people, days)
    shortest, binds = graph.bound()
    best: list[Slot] | None = None
    few = len(tasks) <= _EXACT
    for order in graph.every_order() if few else graph.orders(tries, random.Random(seed)):
        placed = graph.place(order)
        if best is None or _finish(placed) < _finish(best) - _TINY:
            best = placed
        if _finish(best) <= shortest + _TINY:
            break
    slots = tuple(sorted(best or [], key=lambda s: (s.start, s.end, s.task.name)))
    alike = all(may == people[0][1] for _, may in people)
    exact = (few and alike) or _finish(slots) <= shortest + _TINY
    return Schedule(slots, tuple(name for name, _ in people), days, shortest, binds, exact)


def _finish(slots: Sequence[Slot]) -> float:
    return max((s.end for s in slots), default=0.0)


def _persons(crew: Sequence[People]) -> list[tuple[str, frozenset[str]]]:
    """Single people by name; who may do least comes first, so that others stay free."""
    out = [
        (kind.name if kind.count == 1 else f"{kind.name} {i + 1}", kind.may) for kind in crew for i in range(kind.count)
    ]
    return sorted(out, key=lambda p: len(p[1]))


class _Graph:
    """Tasks with what comes before and after them."""

    def __init__(self, tasks: Sequence[Task], people: list[tuple[str, frozenset[str]]], days: Days) -> None:
        self.tasks = {t.name: t for t in tasks}
        self.people, self.days = people, days
        if len(self.tasks) < len(tasks):
            raise ValueError("two tasks have the same name: give each its own")
        unknown = sorted({a for t in tasks for a in t.after} - set(self.tasks))
        if unknown:
            raise ValueError(f"no task is called {', '.join(unknown)}: check what others come after")
        undone = sorted(t.name for t in tasks if t.bound > 0 and not self._able(t))
        if undone:
            raise ValueError(f"nobody may do {', '.join(undone)}: widen what somebody may do")
        self.following: dict[str, list[str]] = {name: [] for name in self.tasks}
        for t in tasks:
            for a in t.after:
                self.following[a].append(t.name)
        self.sorted = self._sorted()
        self.tail = {name: 0.0 for name in self.tasks}  # from its end to the end of all, nights left out
        for name in reversed(self.sorted):
            behind = (self.tasks[n].hours + self.tail[n] for n in self.following[name])
            self.tail[name] = max(behind, default=0.0)

    def _able(self, task: Task) -> frozenset[str]:
        return frozenset(name for name, may in self.people if task.needs <= may)

    def _sorted(self) -> list[str]:
        """Names, what comes before first."""
        left = {name: len(t.after) for name, t in self.tasks.items()}
        out = [name for name, n in left.items() if n == 0]
        for name in out:
            for n in self.following[name]:
                left[n] -= 1
                if left[n] == 0:
                    out.append(n)
        if len(out) < len(left):
            waiting = ", ".join(sorted(set(left) - set(out)))
            raise ValueError(f"tasks wait for each other: {waiting}; take one 'after' out")
        return out

    def bound(self) -> tuple[float, str]:
        """No schedule ends earlier: by order and drying alone; by the work of those who may do it; by the machine's."""
        head: dict[str, float] = {}
        for name in self.sorted:
            t = self.tasks[name]
            ends = (self.days.dried(head[a] + self.tasks[a].hours, self.tasks[a].waits) for a in t.after)
            head[name] = max(ends, default=0.0)
        found = [(max((head[n] + t.hours for n, t in self.tasks.items()), default=0.0), "order and drying")]
        for able in {self._able(t) for t in self.tasks.values() if t.bound > 0}:
            mine = {n: t.bound for n, t in self.tasks.items() if t.bound > 0 and self._able(t) <= able}
            found += [(end, "people") for end in self._after_work(mine, len(able), head)]
        runs = {n: t.hours for n, t in self.tasks.items() if t.machine}
        found += [(end, "machine") for end in self._after_work(runs, 1, head)]
        return max(found, key=lambda f: f[0])

    def _after_work(self, work: Mapping[str, float], many: int, head: Mapping[str, float]) -> Iterator[float]:
        """Ends no schedule beats: so many do this work, or the part of it with long work after it; then comes that."""
        for least in sorted({self.tail[n] for n in work}):
            late = [n for n in work if self.tail[n] >= least]
            done = min(head[n] for n in late) + sum(work[n] for n in late) / many
            last = [n for n in late if not set(self.following[n]) & set(late)]
            yield min(self._end_after(n, done + self.tasks[n].hours - work[n]) for n in last)

    def _end_after(self, name: str, end: float) -> float:
        """End of all that comes after a task which ends then, as if nothing else were to do."""
        ends = {name: end}
        for n in self.sorted[self.sorted.index(name) + 1 :]:
            t = self.tasks[n]
            ready = [self.days.dried(ends[a], self.tasks[a].waits) for a in t.after if a in ends]
            if ready:
                ends[n] = max(ready) + t.hours
        return max(ends.values())

    def every_order(self) -> Iterator[list[str]]:
        """All orders that go with what comes after what."""
        for order in itertools.permutations(self.sorted):
            at = {name: i for i, name in enumerate(order)}
            if all(at[a] < at[t.name] for t in self.tasks.values() for a in t.after):
                yield list(order)

    def orders(self, tries: int, chance: random.Random) -> Iterator[list[str]]:
        """The order of what most work comes after, and others drawn near it."""
        weight = {name: t.hours + t.waits / 3 + self.tail[name] for name, t in self.tasks.items()}
        for i in range(tries + 1):
            blur = {n: w * (chance.uniform(0.6, 1.4) if i else 1.0) for n, w in weight.items()}
            left, ready, out = {n: len(t.after) for n, t in self.tasks.items()}, list[str](), list[str]()
            ready += [n for n, k in left.items() if k == 0]
            while ready:
                name = max(ready, key=lambda n: blur[n])
                ready.remove(name)
                out.append(name)
                for n in self.following[name]:
                    left[n] -= 1
                    if left[n] == 0:
                        ready.append(n)
            yield out

    def place(self, order: Sequence[str]) -> list[Slot]:
        """Each task in turn as early as it can be."""
        busy: dict[str, list[tuple[float, float]]] = {name: [] for name, _ in self.people}
        machine: list[tuple[float, float]] = []
        placed: dict[str, Slot] = {}
        for name in order:
            t = self.tasks[name]
            ready = max((self.days.dried(placed[a].end, self.tasks[a].waits) for a in t.after), default=0.0)
            who = [n for n, may in self.people if t.needs <= may] if t.bound > 0 else []
            ends = {e for n in who for _, e in busy[n]} | ({e for _, e in machine} if t.machine else set())
            for at in sorted({ready, *(e for e in ends if e > ready)}):
                if t.machine and not _free(machine, at, at + t.hours):
                    continue
                person = next((n for n in who if _free(busy[n], at, at + t.bound)), "")
                if person or not who:
                    break
            placed[name] = Slot(t, person, at, at + t.hours)
            if person:
                busy[person].append((at, at + t.bound))
            if t.machine:
                machine.append((at, at + t.hours))
        return list(placed.values())


def _free(taken: Sequence[tuple[float, float]], begin: float, end: float) -> bool:
    return all(b <= begin + _TINY or a >= end - _TINY for a, b in taken)
