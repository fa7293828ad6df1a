"""Write the example log: the demo shop's first months, invented.

    python data/make_example_log.py

Nothing in it was measured: a made-up machine slower than its record, made-up people who get quicker at clamping, and
hours drawn at random. A test makes it anew and compares.
"""

from __future__ import annotations

import csv
import io
import sys
from collections.abc import Collection, Iterator
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from shopcalc.calibration import factors_of, with_factors
from shopcalc.gcode import read_program
from shopcalc.jobs import Estimate, estimate, open_job
from shopcalc.motion import machine_time
from shopcalc.shop import Shop

DATA = Path(__file__).resolve().parent
NOTE = "invented"
COLUMNS = ("began", "time", "operator", "job", "program", "part", "load", "loads", "phase", "machine", "standing",
           "done", "note")  # fmt: skip
#: Jobs in the order they were made, the day they were begun, and how far each was carried.
JOBS = (
    ("pantry-door", 0, 1.0), ("garden-gates", 9, 1.0), ("shutters", 37, 1.0), ("linen-press", 84, 1.0),
    ("reed-bed-chest", 112, 0.6),
)  # fmt: skip
#: Phases that the job still on the bench has behind it.
BEGUN = ("design", "programming", "stock", "setup")
#: What a program without a text took of its plan on the made-up machine.
SLOWER = 1.18
#: What a day's work of each phase took of its plan, and how much of that was left after each further job.
PEOPLE = {
    "design": (1.1, 1.0), "programming": (1.35, 0.93), "stock": (1.0, 1.0), "setup": (1.5, 0.82),
    "assembly": (1.2, 1.0), "finishing": (1.25, 0.98), "hardware": (0.9, 1.0), "delivery": (1.05, 1.0),
}  # fmt: skip
#: The made-up machine against its record: factors of calibration in their order.
TRUTH = (0.6, 1.0, 0.8, 0.5, 0.9, 1.5, 1.2, 0.94)
Row = dict[str, str]


def rows(wanted: Collection[str]) -> Iterator[Row]:
    """Rows of the table, job by job."""
    shop = Shop.open(DATA)
    machine = shop.machine("router")
    truth = with_factors(machine, factors_of(machine), np.log(TRUTH))
    for number, (key, day, share) in enumerate(JOBS):
        if key not in wanted:
            continue
        rng = np.random.default_rng([5, number])
        found = estimate(open_job(DATA / "jobs" / f"{key}.toml", shop))
        start = datetime(2026, 7, 6, 8, 0) + timedelta(days=day)
        yield from _phases(key, number, found, start, share, rng)
        times = {t.program.id: SLOWER * t.planned for t in found.programs}
        for t in found.programs:
            if t.program.file is not None and (DATA / t.program.file).exists():
                times[t.program.id] = machine_time(read_program(DATA / t.program.file).moves, truth).total_s
        yield from _loads(key, found, times, start + timedelta(days=4), share, rng)


def _row(began: datetime, seconds: float, operator: str, job: str, **more: str) -> Row:
    time = f"{max(seconds, 1.0):.0f} s"
    return {
        "began": f"{began:%Y-%m-%d %H:%M}+00:00",
        "time": time,
        "operator": operator,
        "job": job,
        "note": NOTE,
        **more,
    }


def _phases(
    key: str, number: int, found: Estimate, start: datetime, share: float, rng: np.random.Generator
) -> Iterator[Row]:  # fmt: skip
    days = 0.0
    for phase, hours in found.hours.items():
        if phase not in PEOPLE or not hours.planned:
            continue
        level, kept = PEOPLE[phase]
        seconds = 3600 * hours.planned * level * kept**number * rng.lognormal(0.0, 0.08)
        if share < 1 and phase not in BEGUN:
            return
        pieces = int(np.ceil(seconds / (5 * 3600)))
        for k in range(pieces):
            began = start + timedelta(days=int(days) + k, hours=4 * (phase in ("assembly", "finishing")))
            done = "yes" if k == pieces - 1 else "no"
            operator = "Ben" if phase in ("finishing", "hardware") else "Ann"
            yield _row(began, seconds / pieces, operator, key, phase=phase, done=done)
        days += max(pieces / 2, 1.0)


def _loads(
    key: str, found: Estimate, times: dict[str, float], start: datetime, share: float, rng: np.random.Generator
) -> Iterator[Row]:  # fmt: skip
    loads = list(found.job.loads)
    for k, load in enumerate(loads[: max(1, int(share * len(loads)))]):
        seconds = times[load.program]
        count = load.count * found.job.quantity
        groups = np.array_split(np.arange(count), min(count, 6))
        for g, group in enumerate(groups):
            began = start + timedelta(days=k // 4 + 2 * g, hours=k % 4, minutes=5 * g)
            stood = 60.0 * rng.integers(1, 6) if rng.random() < 0.15 else 0.0
            took = len(group) * seconds * rng.lognormal(0.0, 0.004) + stood
            yield _row(began, took, "Ann", key, program=load.program, part=load.part, loads=str(len(group)),
                       machine="router", standing=f"{stood:.0f} s")  # fmt: skip


def text(wanted: Collection[str] = tuple(key for key, _, _ in JOBS)) -> str:
    """The table of some jobs, by default of all."""
    kept = io.StringIO(newline="")
    writer = csv.DictWriter(kept, COLUMNS, lineterminator="\n", restval="")
    writer.writeheader()
    writer.writerows(
        sorted(rows(wanted), key=lambda r: (r["began"], r["job"], r.get("program", ""), r.get("part", "")))
    )
    return kept.getvalue()


def main() -> int:
    """Write the file."""
    (DATA / "example_log.csv").write_text(text(), encoding="utf-8", newline="\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
