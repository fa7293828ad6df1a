"""Times of many programs: known ones from the cache, the others side by side where that pays."""

from __future__ import annotations

import os
import stat
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from shopcalc.errors import Fault, InputError
from shopcalc.machines import Machine
from shopcalc.program_times.cache import ProgramCache, file_digest
from shopcalc.program_times.folders import NO_PROGRAM_ENDINGS
from shopcalc.program_times.results import ProgramTime, Refused
from shopcalc.program_times.timing import time_program

_START = 2.5  # s that worker processes take until they work: Python, compiled loops from the disk
_PER_BYTE = 15e-9  # s of plain lines, until something has been measured here
_BESIDE = 20_000  # bytes that could be read in the time a program takes beside its bytes
_SAVE = 5.0  # s after which what was found out is written, so that an interruption loses no more


class Progress(NamedTuple):
    """How far a run is.

    Parameters
    ----------
    done, programs : int
        Programs done, and all.
    bytes_done, bytes : int
        Bytes read, and of all programs.
    """

    done: int
    programs: int
    bytes_done: int
    bytes: int


@dataclass
class _Program:
    """A program to be timed, and where its answer belongs."""

    path: str
    size: int
    stamp: tuple[int, ...] | None  # of the file when its digest was taken
    key: bytes | None
    places: list[int]


def time_programs(
    paths: Iterable[str | os.PathLike[str]],
    machine: Machine,
    *,
    cache: ProgramCache | None = None,
    workers: int | None = None,
    progress: Callable[[Progress], object] | None = None,
) -> list[ProgramTime | Refused]:
    """Time many programs; what is wrong with one changes nothing for the others.

    Parameters
    ----------
    paths : iterable of path
        Program files.
    machine : Machine
        What runs them, and whose dialect they are written in.
    cache : ProgramCache, optional
        Answers of earlier runs, to be used and added to.
    workers : int, optional
        Processes; 1 is this one alone. By default as many as there are processors, once they gain more time than their
        start takes. Under ``joblib.parallel_config`` its backend is used, such as a Dask cluster that sees these files.
    progress : callable, optional
        Called now and then with how far the run is.

    Returns
    -------
    list of ProgramTime or Refused
        One for each path, in their order.

    Example
    -------
    >>> time_programs(["none.nc"], Machine())[0].faults[0].message
    'there is no such file'
    """
    names = [os.fspath(p) for p in paths]
    out: list[ProgramTime | Refused | None] = [None] * len(names)
    watch = _Watch(len(names), progress)
    left = _unknown(names, machine, cache, out, watch)
    saved = time.monotonic()
    try:
        for number, answer in _answers(left, machine, workers, watch):
            program = left[number]
            for place in program.places:
                out[place] = _called(answer, names[place])
            watch.finished(program.size, len(program.places))
            if cache is not None and program.key is not None and _stamp(program.path) == program.stamp:
                cache.put(program.key, answer)
                if time.monotonic() - saved > _SAVE:
                    cache.save()
                    saved = time.monotonic()
    finally:
        if cache is not None:
            cache.save()
    return [answer for answer in out if answer is not None]


def _unknown(
    names: Sequence[str], machine: Machine, cache: ProgramCache | None, out: list[ProgramTime | Refused | None],
    watch: _Watch,
) -> list[_Program]:  # fmt: skip
    """Fill in what can be said at once; the rest once each, however often it occurs, the largest first."""
    stamps = [_stamp(name) for name in names]
    watch.expect(sum(s[0] for s in stamps if s is not None))
    left: dict[bytes | int, _Program] = {}
    for place, (name, stamp) in enumerate(zip(names, stamps, strict=True)):
        if stamp is not None and name.lower().endswith(NO_PROGRAM_ENDINGS):
            out[place] = Refused(name, (Fault("this is no program", "name a program, or a folder of them", name),))
            watch.finished(stamp[0])
            continue
        content = file_digest(name) if cache is not None and stamp is not None else None
        key = cache.key(content, machine) if cache is not None and content is not None else None
        if key is not None and key in left:
            left[key].places.append(place)
            watch.known(stamp[0] if stamp else 0)
            continue
        known = cache.get(key, name) if cache is not None and key is not None else None
        if known is not None:
            out[place] = known
            watch.finished(stamp[0] if stamp else 0)
        else:
            size = stamp[0] if stamp is not None else 0
            left[place if key is None else key] = _Program(name, size, stamp, key, [place])
    return sorted(left.values(), key=lambda p: -p.size)


def _stamp(path: str) -> tuple[int, ...] | None:
    """Size, time and place of a regular file; None of anything else."""
    try:
        at = os.stat(path)
    except (OSError, ValueError):
        return None
    return (at.st_size, at.st_mtime_ns, at.st_ino, at.st_dev) if stat.S_ISREG(at.st_mode) else None


def _called(answer: ProgramTime | Refused, name: str) -> ProgramTime | Refused:
    """The answer about another file with the same text."""
    if answer.file == name:
        return answer
    if isinstance(answer, ProgramTime):
        return replace(answer, file=name)
    return Refused(name, tuple(replace(f, file=name) for f in answer.faults))


# --- here, or side by side -------------------------------------------------------------------------------------------


def _one(
    number: int, path: str, machine: Machine, progress: Callable[[int, int], object] | None = None
) -> tuple[int, ProgramTime | Refused]:
    """One program's answer, whatever happens."""
    try:
        return number, time_program(path, machine, progress)
    except InputError as e:
        return number, Refused(path, e.faults)
    except Exception as e:  # a fault of ours in one program must not keep the others from being done
        message = f"this is a fault of shopcalc itself ({type(e).__name__}: {e})"
        return number, Refused(path, (Fault(message, "please report it", path),))


def _answers(
    left: Sequence[_Program], machine: Machine, workers: int | None, watch: _Watch
) -> Iterator[tuple[int, ProgramTime | Refused]]:
    """The answer about each program, in any order."""
    numbers = list(range(len(left)))
    elsewhere = [n for n in numbers if left[n].stamp is not None]  # pipes and the like can only be read here
    chosen = _chosen_workers()
    if elsewhere and (chosen or (workers or 1) > 1 < len(elsewhere)):
        here = [n for n in numbers if left[n].stamp is None]
        yield from _side_by_side(left, elsewhere, machine, workers or chosen, watch)
        numbers = here
    alone = workers == 1
    pace, spent, read = _PER_BYTE, 0.0, 0.0
    while numbers:
        if not alone and _pays(pace, [left[n] for n in numbers]):
            beside = [n for n in numbers if left[n].stamp is not None]
            numbers = [n for n in numbers if left[n].stamp is None]
            yield from _side_by_side(left, beside, machine, _processors(), watch)
            continue
        number = numbers.pop(0)
        begin = time.perf_counter()
        yield _one(number, left[number].path, machine, watch.reading)
        if read or len(left) == 1:  # the first one also loads the compiled loops
            spent += time.perf_counter() - begin
        read += left[number].size + _BESIDE if read else 1.0
        if spent > 0.2:
            pace = spent / read


def _pays(pace: float, programs: Sequence[_Program]) -> bool:
    """Whether workers would be done earlier than this process alone, their start included."""
    sizes = [p.size + _BESIDE for p in programs if p.stamp is not None]
    processors = min(_processors(), len(sizes))
    if processors < 2:
        return False
    beside = max(sum(sizes) / processors, sizes[0])  # the largest one bounds what can be gained
    return pace * (sum(sizes) - beside) > _START


def _processors() -> int:
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:  # not on every system
        return os.cpu_count() or 1


def _chosen_workers() -> int | None:
    """How many work side by side by ``joblib.parallel_config``, -1 for all there are; None when it says nothing."""
    if "joblib" not in sys.modules:
        return None
    from joblib.parallel import get_active_backend

    backend, jobs = get_active_backend()
    return jobs or (None if type(backend).__name__ == "LokyBackend" else -1)


def _side_by_side(
    left: Sequence[_Program], numbers: Sequence[int], machine: Machine, workers: int | None, watch: _Watch
) -> Iterator[tuple[int, ProgramTime | Refused]]:
    """Answers from workers, as they come; this process does what a worker that died has left."""
    import joblib

    watch.many()
    waiting = set(numbers)
    tasks = (joblib.delayed(_one)(n, left[n].path, machine) for n in numbers)
    answers = joblib.Parallel(n_jobs=workers, return_as="generator_unordered")(tasks)
    try:
        for number, answer in answers:
            waiting.discard(number)
            yield number, answer
    except Exception:
        if not waiting:
            raise
    finally:
        answers.close()  # ends workers that are still at it
    for number in sorted(waiting):
        yield _one(number, left[number].path, machine, watch.reading)


class _Watch:
    """Counts what is done, and tells whoever wants to know."""

    def __init__(self, programs: int, told: Callable[[Progress], object] | None) -> None:
        self._programs, self._told = programs, told
        self._done, self._bytes_done, self._bytes = 0, 0, 0

    def expect(self, size: int) -> None:
        self._bytes = size

    def finished(self, size: int, programs: int = 1) -> None:
        self._done += programs
        self._bytes_done += size
        self._tell(0)

    def known(self, size: int) -> None:
        """Say that a program is a copy of another one."""
        self._bytes_done += size

    def many(self) -> None:
        self._tell(0)

    def reading(self, read: int, _size: int) -> None:
        self._tell(read)

    def _tell(self, read: int) -> None:
        if self._told is not None:
            self._told(Progress(self._done, self._programs, self._bytes_done + read, self._bytes))
