"""How fast moves are timed, as a whole and as a stream, and what it takes (python -m pytest -n 0 -m benchmark -s).

The lengths of the same moves by numpy, one pass of differences and square roots, are the measure beside it.
"""

import os
import subprocess
import sys
import time

import numpy as np
import pytest
from motion_cases import polyline, random_walk

from shopcalc.machines import Axis, Controller, Machine
from shopcalc.motion import machine_time

pytestmark = pytest.mark.benchmark
RULES = {
    "look-ahead and block rate": {"look_ahead": 100, "blocks_per_second": 500.0},
    "with jerk": {"look_ahead": 100, "blocks_per_second": 500.0, "jerk": 20_000.0},
    "with bends": {"look_ahead": 100, "blocks_per_second": 500.0, "chord_curvature": "share"},
}
STREAM = """
import re, sys, time
from pathlib import Path
import numpy as np
from shopcalc.machines import Axis, Controller, Machine
from shopcalc.motion import Timing
from shopcalc.moves import Kind, from_lists, Moves
rule = Controller(corner="tolerance", corner_tolerance=0.03, **{rule})
axes = (Axis(20000, 12000, 800), Axis(20000, 12000, 800), Axis(10000, 5000, 500))
timing, size, spent = Timing(Machine(axes=axes, controller=rule), bands=1.0), 65536, 0.0
one = from_lists([(0, 0, 0), (1, 0, 0)], [Kind.LINE], feed=3000)
for begin in range(0, {moves}, size):
    n = min(size, {moves} - begin)
    t = np.arange(begin, begin + n + 1, dtype=float)
    points = np.stack([50 * np.cos(t / 900) + t * 1e-4, 50 * np.sin(t / 900), np.sin(t / 7)], axis=1)
    piece = Moves(points, np.full(n, 1, np.uint8), np.full(n, 3000.0), np.zeros(n), one.arc_index[:0],
                  one.arc_centre[:0], one.arc_sweep[:0], one.arc_plane[:0], np.zeros(n), np.zeros(n, np.int32),
                  np.zeros(n, bool), np.arange(begin, begin + n, dtype=np.int32))
    t0 = time.perf_counter()
    timing.add(piece)
    if begin:  # the first piece compiles, or reads what is compiled
        spent += time.perf_counter() - t0
t0 = time.perf_counter()
totals = timing.finish()
spent += time.perf_counter() - t0
peak = int(re.search(r"VmHWM:\\s*(\\d+)", Path("/proc/self/status").read_text())[1]) / 1000
print(spent, peak, totals.moves, totals.total_s)
"""


def router(**rule):
    axes = (Axis(20000, 12000, 800), Axis(20000, 12000, 800), Axis(10000, 5000, 500))
    return Machine(axes=axes, controller=Controller(corner="tolerance", corner_tolerance=0.03, **rule))


def relief(moves):
    t = np.arange(moves + 1.0)
    points = np.stack([50 * np.cos(t / 900) + t * 1e-4, 50 * np.sin(t / 900), np.sin(t / 7)], axis=1)
    return polyline(points, feed=3000.0)


@pytest.mark.parametrize("name", RULES)
def test_a_million_short_blocks(name):
    """The bound leaves room for a busy computer: 0.07 s without and 0.09 s with jerk where nothing else runs."""
    moves, m, took = relief(1_000_000), router(**RULES[name]), []
    for _ in range(6):
        t0 = time.perf_counter()
        total = machine_time(moves, m).total_s
        took.append(time.perf_counter() - t0)
    t0 = time.perf_counter()
    np.sqrt((np.diff(moves.points, axis=0) ** 2).sum(axis=1))
    lengths = time.perf_counter() - t0
    best = min(took[1:])
    print(f"\n{name}: {best:.3f} s per million moves ({total:.0f} s of work), {best / lengths:.1f} x numpy lengths")
    assert min(took[1:]) < 0.5


@pytest.mark.parametrize("moves", [10, 50, 500])
def test_small_runs(moves):
    """Tuning times thousands of them."""
    run = random_walk(np.random.default_rng(1), moves)
    for name, rule in RULES.items():
        m = router(**rule)
        machine_time(run, m)
        t0 = time.perf_counter()
        for _ in range(500):
            machine_time(run, m)
        each = (time.perf_counter() - t0) / 500
        print(f"\n{moves} moves, {name}: {each * 1e6:.0f} microseconds")
        assert each < 1e-3


@pytest.mark.parametrize("name", RULES)
def test_a_stream_of_any_length_in_the_same_memory(name):
    """10 million moves made on the fly take no more memory than one million."""
    peaks = []
    for moves in (1_000_000, 10_000_000):
        code = STREAM.format(rule=RULES[name], moves=moves)
        out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
        spent, peak, count, total = map(float, out.split())
        peaks.append(peak)
        print(f"\n{name}: {count:.0f} moves in {spent:.2f} s, peak {peak:.0f} MB ({total:.0f} s of work)")
        assert count == moves
        assert spent < 0.8 * moves / 1e6
    assert peaks[1] < 1.05 * peaks[0]
    assert peaks[1] < 220  # about 165 MB of it are the compiler, even for one trivial loop


def test_the_first_call(tmp_path):
    """Compiling once, then reading the compiled loops from disk in every new start."""
    code = (
        "import time; t0 = time.perf_counter()\n"
        "from shopcalc.machines import Machine\nfrom shopcalc.motion import machine_time\n"
        "from shopcalc.moves import Kind, from_lists\n"
        "moves = from_lists([(0, 0, 0), (1, 0, 0)], [Kind.LINE], feed=600)\n"
        "machine_time(moves, Machine()).causes(); print(time.perf_counter() - t0)"
    )
    took = []
    for _ in range(3):
        environment = os.environ | {"NUMBA_CACHE_DIR": str(tmp_path)}
        run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, env=environment)
        took.append(float(run.stdout))
    print(f"\nfirst call ever {took[0]:.1f} s, in a new start {min(took[1:]):.2f} s, imports included")
    assert min(took[1:]) < 3.0
