"""How fast program text is read, by the shape of its lines; ratios in one run (python -m pytest -m benchmark -s).

The plain sum of a file's bytes is what no reader can beat; a regular expression per line is what one would write first.
"""

import re
import subprocess
import sys
import time

import numpy as np
import pytest

pytestmark = pytest.mark.benchmark
CHILD = """
import re, sys, time
from pathlib import Path
from shopcalc.gcode import read_program
t = time.perf_counter()
program = read_program(sys.argv[1])
took = time.perf_counter() - t
peak = re.search(r"VmHWM:\\s*(\\d+)", Path("/proc/self/status").read_text())  # of this process alone
print(program.blocks, took, int(peak[1]) / 1000)
"""
WORD = re.compile(r"([A-Z])(-?[0-9.]+)")


def lines_of(shape: str, count: int) -> list[str]:
    t = np.arange(1, count + 1)
    x, y, z = (50 * np.cos(t / 900) + t * 1e-4).tolist(), (50 * np.sin(t / 900)).tolist(), np.sin(t / 7).tolist()
    rows = zip(x, y, z, strict=True)
    if shape == "short blocks":
        return [f"X{a:.4f} Y{b:.4f} Z{c:.4f}" for a, b, c in rows]
    if shape == "numbered, no blanks":
        return [f"N{i}G1X{a:.3f}Y{b:.3f}Z{c:.3f}F3000" for i, (a, b, c) in enumerate(rows)]
    if shape == "arcs by centre":  # half circles about the middle of each step
        step = np.diff(np.array([[50.0, 0.0], *zip(x, y, strict=True)]).round(4), axis=0) / 2
        return [
            f"G3 X{a:.4f} Y{b:.4f} I{i:.5f} J{j:.5f}" for (a, b, _), (i, j) in zip(rows, step.tolist(), strict=True)
        ]
    if shape == "arcs by radius":
        return [f"G3 X{a:.4f} Y{b:.4f} R{60 + c:.3f}" for a, b, c in rows]
    if shape == "no feed":
        return [f"X{a:.4f} Y{b:.4f}" for a, b, _ in rows]
    if shape == "blanks within words":  # each line needs care
        return [f"X {a:.4f} Y {b:.4f}" for a, b, _ in rows]
    return [f"G1 X{a:.4f} Y{b:.4f} (at {c:.2f})" for a, b, c in rows]


def regex_reader(path) -> int:
    at: dict[str, float] = {}
    with path.open() as f:
        return sum(len(at) for line in f if not at.update({k: float(v) for k, v in WORD.findall(line)}))


@pytest.mark.parametrize(
    ("shape", "blocks", "feed", "seconds"),
    [
        ("short blocks", 1_000_000, "F3000", 2.0),
        ("numbered, no blanks", 1_000_000, "F3000", 3.0),
        ("arcs by centre", 300_000, "F3000", 3.0),
        ("arcs by radius", 300_000, "F3000", 3.0),
        ("no feed", 1_000_000, "", 3.0),
        ("a comment in every line", 1_000_000, "F3000", 3.0),
        ("blanks within words", 100_000, "F3000", 10.0),
    ],
)
def test_reading(shape, blocks, feed, seconds, tmp_path):
    path = tmp_path / "program.nc"
    first = "G1 X50 Y0" if "arcs" in shape else "G1 X0 Y0"
    path.write_text("\n".join([f"G21 G90 {feed}", first, *lines_of(shape, blocks)]) + "\n")
    took, peak = [], 0.0
    for _ in range(3):
        out = subprocess.run([sys.executable, "-c", CHILD, str(path)], capture_output=True, text=True, check=True)
        count, each, peak = map(float, out.stdout.split())
        took.append(each)
    raw = path.read_bytes()
    t0 = time.perf_counter()
    int(np.frombuffer(raw, dtype=np.uint8).sum(dtype=np.uint64))
    t1 = time.perf_counter()
    regex_reader(path)
    t2 = time.perf_counter()
    best, size = min(took), len(raw) / 1e6
    print(
        f"\n{shape}: {count:.0f} blocks, {size:.1f} MB in {best:.2f} s ({size / best:.0f} MB/s), peak {peak:.0f} MB; "
        f"a regex per line takes {(t2 - t1) / best:.1f} x as long, the sum of the bytes 1/{best / (t1 - t0):.0f}"
    )
    assert count == blocks + 2
    assert best < seconds
    assert peak < 500
