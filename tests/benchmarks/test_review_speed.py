"""Looking back and the page of the day with 200 000 entries: seconds of the processor for each view."""

import random
import sqlite3
import time
import uuid
from contextlib import closing

import pytest

from shopcalc.review import by_kind, compared, earnings, edge_uses, read_plans, trends
from shopcalc.shop import Shop, copy_starter
from shopcalc.shoplog import ShopLog, TimeEntry
from shopcalc.today import misses_of_the_last_day, read_jobs, today

pytestmark = pytest.mark.benchmark

MANY = 200_000
JOBS = ("pantry-door", "garden-gates", "shutters", "reed-bed-chest")
BEGAN = 1_700_000_000_000_000  # µs
A_DAY = 86_400_000_000
TIMES = (
    "entry", "job", "program", "part", "load", "phase", "cutter", "machine", "began", "utc_offset", "seconds", "loads",
    "standing", "done", "boot", "person",
)  # fmt: skip


def fill(path, plans):
    """Two thirds runs of one load each, one third hours by hand, over five hundred days, straight into the file."""
    rng = random.Random(1)
    programs = [
        (p.key, t.program.id, t.best, [x.part for x in p.estimate.job.loads if x.program == t.program.id])
        for p in plans
        for t in p.estimate.programs
    ]
    entries, times = [], []
    for k in range(MANY):
        number, at = k + 1000, BEGAN + k * A_DAY // 400
        entries.append((number, uuid.uuid4().hex, "time", at, 0, "Ann", None, None, "by hand", ""))
        if k % 3:
            job, program, best, parts = rng.choice(programs)
            what = (job, program, rng.choice(parts), rng.choice([None, k % 50 + 1]), "", rng.choice(["SQ12", "SQ10"]))
            times.append((number, *what, "router", at, 0, best * rng.lognormvariate(0, 0.1), 1, 0.0, 0, "", "Ann"))
        else:
            what = (rng.choice(JOBS), "", "", None, rng.choice(["assembly", "setup", "finishing"]), "")
            times.append((number, *what, "", at, 0, 600.0, 1, 0.0, k % 30 == 0, "", "Ben"))
    with closing(sqlite3.connect(path)) as database, database:
        database.executemany(f"INSERT INTO entries VALUES ({', '.join('?' * 10)})", entries)
        marks = ", ".join("?" * len(TIMES))
        database.executemany(f"INSERT INTO times ({', '.join(TIMES)}) VALUES ({marks})", times)


def test_each_view_takes_less_than_a_second(tmp_path):
    shop = Shop.open(copy_starter(tmp_path / "shop"))
    with ShopLog.of(shop.folder) as log:
        log.add(TimeEntry("pantry-door", phase="design", seconds=60.0), operator="Ann")
        plans, _ = read_plans(shop, log, JOBS)
        jobs, _ = read_jobs(shop, log, JOBS)
        fill(log.path, plans)
        estimates = {name: (p.key, p.estimate) for p in plans for name in p.names}
        views = {
            "planned, programmed, logged": lambda: compared(plans, log),
            "learning": lambda: trends(plans, log),
            "earnings and kinds": lambda: by_kind(earnings(plans, log)),
            "cutters due": lambda: edge_uses(log, shop.cutters),
            "the last day": lambda: misses_of_the_last_day(estimates, log, log.clock()),
            "the page of the day": lambda: today(jobs, log),
        }
        for name, view in views.items():
            began = time.process_time()
            view()
            took = time.process_time() - began
            print(f"{name}: {took:.2f} s with {MANY:,} entries")
            assert took < (2.0 if name == "the page of the day" else 1.0)  # the page asks for several of them
