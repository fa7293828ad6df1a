"""Times of an archive and of one program of ten million blocks; ratios in one run
(python -m pytest -n 0 -m benchmark -s).

The same file is also read by a regular expression per line, by a fast reader of plain columns of numbers, and summed up
byte by byte, which no reader can beat.
"""

import math
import os
import re
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

pytestmark = pytest.mark.benchmark
ROOT = Path(__file__).parents[2]
BLOCKS = 10_000_000
REGEX_BLOCKS = 1_000_000  # a tenth of them, for patience; its seconds count ten times
CHILD = """
import json, re, sys, time
from pathlib import Path
from shopcalc.machines import Axis, Controller, Machine
from shopcalc.program_times import time_program
rule = Controller(corner="tolerance", corner_tolerance=0.03, look_ahead=100, blocks_per_second=500)
machine = Machine(axes=(Axis(20000, 12000, 800),) * 3, controller=rule)
def peak(): return int(re.search(r"VmHWM:\\s*(\\d+)", Path("/proc/self/status").read_text())[1]) / 1000
time_program(sys.argv[1], machine)  # loads what is compiled
before, t0 = peak(), time.perf_counter()
timed = time_program(sys.argv[2], machine)
print(timed.blocks, time.perf_counter() - t0, before, peak(), timed.time_s)
"""
WORD = re.compile(r"([A-Z])(-?[0-9.]+)")


def small_program(number: int, lines: int) -> str:
    out = ["%", f"(part {number})", "G21 G90 G17", f"T{number % 5 + 1} M6", "S18000 M3", "G0 X0 Y0 Z10", "G1 Z-3 F2400"]
    for k in range(lines):
        a = k / 20
        arc = f"G2 X{10 + k * 0.1:.3f} Y{5 + number * 0.001:.3f} R200\nG1"
        out.append(f"X{50 + 40 * math.cos(a) + number * 0.01:.3f} Y{50 + 40 * math.sin(a):.3f}" if k % 10 else arc)
    return "\n".join([*out, "G0 Z10", "M5", "M30", "%"]) + "\n"


def seconds_of(*arguments, cache):
    """Seconds on the clock, and of the processor's work, which other programs disturb less."""
    begin, used = time.perf_counter(), sum(os.times()[2:4])
    subprocess.run(
        [sys.executable, "-m", "shopcalc", "time", *map(str, arguments)], cwd=ROOT, stdout=subprocess.DEVNULL,
        env={**os.environ, "XDG_CACHE_HOME": str(cache)}, check=True,
    )  # fmt: skip
    return time.perf_counter() - begin, sum(os.times()[2:4]) - used


def test_five_hundred_programs(tmp_path):
    """End to end on the command line, Python's own start included."""
    folder, size = tmp_path / "archive", 0
    for k in range(500):
        place = folder / str(k % 10) / f"p{k:03}.nc"
        place.parent.mkdir(parents=True, exist_ok=True)
        size += place.write_text(small_program(k, 200 + k % 300))
    seconds_of(folder / "0", "--no-cache", cache=tmp_path)  # compiled loops are on the disk from here on
    cold, cold_work = min(seconds_of(folder, "--no-cache", cache=tmp_path) for _ in range(2))
    filling, filling_work = seconds_of(folder, cache=tmp_path / "cache")
    warm, warm_work = min(seconds_of(folder, cache=tmp_path / "cache") for _ in range(5))
    two, _ = min(seconds_of(folder, "--no-cache", "--workers", "2", cache=tmp_path) for _ in range(2))
    print(
        f"\n500 programs, {size / 1e6:.1f} MB: {cold:.2f} s anew ({size / 1e6 / cold:.1f} MB/s), "
        f"{filling:.2f} s filling the cache, {warm:.2f} s from it ({warm_work:.2f} s of work); "
        f"with two workers {two:.2f} s"
    )
    assert warm_work < 1.0
    assert filling_work < 1.5 * cold_work + 1.0


def test_workers_gain_on_large_programs(tmp_path):
    for k in range(4):
        (tmp_path / f"{k}.nc").write_text(f"G21 G90 F3000\nG1 X{k}\n" + "X1.25 Y2.5\nX3.75 Y1.5\n" * 3_000_000)
    alone, _ = seconds_of(tmp_path, "--no-cache", "--workers", "1", cache=tmp_path)
    chosen, _ = seconds_of(tmp_path, "--no-cache", cache=tmp_path)
    print(f"\nfour programs of six million blocks: {alone:.1f} s alone, {chosen:.1f} s as it chooses")
    assert chosen < 1.3 * alone


@pytest.fixture(scope="module")
def ten_million(tmp_path_factory):
    path = tmp_path_factory.mktemp("big") / "relief.nc"
    with path.open("w") as f:
        f.write("G21 G90\nG1 F3000\n")
        for begin in range(0, BLOCKS, 500_000):
            t = np.arange(begin, begin + 500_000) * 0.01
            rows = zip((50 * np.cos(t / 20) + t * 0.01).tolist(), (50 * np.sin(t / 20)).tolist(), np.sin(t).tolist(),
                       strict=True)  # fmt: skip
            f.writelines(f"X{a:.4f} Y{b:.4f} Z{c:.4f}\n" for a, b, c in rows)
    return path


def test_ten_million_blocks(ten_million, tmp_path):
    import pandas as pd

    small = tmp_path / "small.nc"
    small.write_text(small_program(1, 300))
    done = subprocess.run(
        [sys.executable, "-c", CHILD, str(small), str(ten_million)],
        capture_output=True,
        text=True,
        check=True,
        cwd=ROOT,
    )
    blocks, took, before, peak, machine_time = map(float, done.stdout.split())
    size = ten_million.stat().st_size / 1e6
    t0 = time.perf_counter()
    total = 0
    with ten_million.open("rb") as f:
        while piece := f.read(1 << 21):
            total += int(np.frombuffer(piece, dtype=np.uint8).sum(dtype=np.uint64))
    summed = time.perf_counter() - t0
    at: dict[str, float] = {}
    t0 = time.perf_counter()
    with ten_million.open() as f:
        for _, line in zip(range(REGEX_BLOCKS), f, strict=False):
            at.update({k: float(v) for k, v in WORD.findall(line)})
    regex = (time.perf_counter() - t0) * BLOCKS / REGEX_BLOCKS
    numbers = tmp_path / "numbers.csv"
    with ten_million.open() as f, numbers.open("w") as out:
        f.readline()
        f.readline()
        out.writelines(line[1:].replace(" Y", ",").replace(" Z", ",") for line in f)
    t0 = time.perf_counter()
    rows = len(pd.read_csv(numbers, header=None))
    csv = time.perf_counter() - t0
    print(
        f"\n{blocks:.0f} blocks, {size:.0f} MB, {machine_time / 3600:.1f} h of machine time: read and timed in "
        f"{took:.2f} s ({size / took:.0f} MB/s, {1e6 * took / blocks:.3f} s per million), "
        f"peak {peak:.0f} MB, of which {before:.0f} MB before it began\n"
        f"a regular expression per line {regex:.1f} s = {regex / took:.1f} x as long; "
        f"pandas.read_csv of the same numbers {csv:.2f} s = 1/{took / csv:.1f}; "
        f"sum of the bytes {summed:.2f} s = 1/{took / summed:.0f}"
    )
    assert total > 0
    assert blocks == rows + 2 == BLOCKS + 2
    assert took < regex / 4
    assert peak < before + 60
