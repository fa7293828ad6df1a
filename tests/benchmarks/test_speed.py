"""Speed and memory on a million short blocks; ratios in one run. Run by hand: python -m pytest -n 0 -m benchmark -s"""

import re
import subprocess
import sys
import time

import numpy as np
import pytest

pytestmark = pytest.mark.benchmark
BLOCKS = 1_000_000
CHILD = """
import re, sys, time
from pathlib import Path
from shopcalc.gcode import read_program
from shopcalc.machines import Axis, Controller, Machine
from shopcalc.motion import machine_time
t0 = time.perf_counter(); program = read_program(sys.argv[1]); t1 = time.perf_counter()
rule = Controller(corner="tolerance", corner_tolerance=0.03, look_ahead=100, blocks_per_second=500)
total = machine_time(program.moves, Machine(axes=(Axis(20000, 12000, 800),) * 3, controller=rule)).total_s
t2 = time.perf_counter()
peak = int(re.search(r"VmHWM:\\s*(\\d+)", Path("/proc/self/status").read_text())[1]) / 1000
print(len(program.moves), t1 - t0, t2 - t1, peak, total)
"""


@pytest.fixture(scope="module")
def big_program(tmp_path_factory):
    path = tmp_path_factory.mktemp("big") / "relief.nc"
    t = np.arange(BLOCKS) * 0.01
    x, y, z = 50 * np.cos(t / 20) + t * 0.01, 50 * np.sin(t / 20), np.sin(t)
    with path.open("w") as f:
        f.write("G21 G90\nG1 F3000\n")
        f.writelines(f"X{a:.4f} Y{b:.4f} Z{c:.4f}\n" for a, b, c in zip(x, y, z, strict=True))
    return path


def regex_reader(path):
    """What a plain reader does: a regular expression per line, modal values by hand."""
    word = re.compile(r"([A-Z])(-?[0-9.]+)")
    at, out = {}, []
    with path.open() as f:
        for line in f:
            at.update({k: float(v) for k, v in word.findall(line)})
            out.append((at.get("X"), at.get("Y"), at.get("Z")))
    return out


def test_a_million_blocks_read_and_timed(big_program):
    done = subprocess.run([sys.executable, "-c", CHILD, str(big_program)], capture_output=True, text=True, check=True)
    count, reading, timing, memory, total = map(float, done.stdout.split())
    raw = big_program.read_bytes()
    t0 = time.perf_counter()
    int(np.frombuffer(raw, dtype=np.uint8).sum())
    t1 = time.perf_counter()
    regex_reader(big_program)
    t2 = time.perf_counter()
    print(
        f"\n{count:.0f} moves, {len(raw) / 1e6:.1f} MB: read {reading:.2f} s ({len(raw) / 1e6 / reading:.0f} MB/s), "
        f"timed {timing:.2f} s, peak {memory:.0f} MB; machine time {total / 60:.1f} min\n"
        f"regex reader {t2 - t1:.2f} s = {(t2 - t1) / reading:.1f} x ours; byte sum {t1 - t0:.3f} s"
    )
    assert reading + timing < 3.0
    assert memory < 500
