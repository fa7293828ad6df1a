"""How fast program text is read, by the shape of its lines; ratios in one run (python -m pytest -n 0 -m benchmark -s).

The plain sum of a file's bytes is what no reader can beat; a regular expression per line is what one would write first;
``pandas.read_csv`` of the same numbers is a fast reader of a text that needs no care. All times are processor seconds,
so that they do not depend on what else the computer does.
"""

import io
import os
import re
import subprocess
import sys
import time

import numpy as np
import pandas as pd
import pytest

pytestmark = pytest.mark.benchmark
CHILD = """
import re, sys, time
from pathlib import Path
from shopcalc.gcode import read_program, read_text, stream_program

def peak():  # of this process alone [MB]
    return int(re.search(r"VmHWM:\\s*(\\d+)", Path("/proc/self/status").read_text())[1]) / 1000

begin = time.process_time()
read_text("G21 G1 X1 F60\\nX2")
ready, alone = time.process_time() - begin, peak()
how, path = sys.argv[1:]
begin = time.process_time()
if how == "whole":
    blocks = read_program(path).blocks
else:
    stream = stream_program(path)
    sum(len(piece) for piece in stream)
    blocks = stream.blocks
print(blocks, time.process_time() - begin, peak(), alone, ready)
"""
WORD = re.compile(r"([A-Z])(-?[0-9.]+)")
SHAPES = [
    ("short blocks", 1_000_000, "F3000", 0.15),
    ("numbered, no blanks", 1_000_000, "F3000", 0.3),
    ("arcs by centre", 300_000, "F3000", 0.3),
    ("arcs by radius", 300_000, "F3000", 0.3),
    ("no feed", 1_000_000, "", 0.3),
    ("a comment in every line", 1_000_000, "F3000", 0.3),
    ("blanks within words", 1_000_000, "F3000", 0.3),
    ("blanks within numbers", 50_000, "F3000", 60.0),  # each line needs care
    ("a setting in every tenth line", 300_000, "F3000", 12.0),
]


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
    if shape == "blanks within words":
        return [f"X {a:.4f} Y {b:.4f}" for a, b, _ in rows]
    if shape == "blanks within numbers":
        return [f"X{a:.4f} 5 Y{b:.4f} 5" for a, b, _ in rows]
    if shape == "a setting in every tenth line":
        return [f"X{a:.4f} Y{b:.4f}" + " M8" * (i % 10 == 0) for i, (a, b, _) in enumerate(rows)]
    return [f"G1 X{a:.4f} Y{b:.4f} (at {c:.2f})" for a, b, c in rows]


def regex_reader(path) -> int:
    at: dict[str, float] = {}
    with path.open() as f:
        return sum(len(at) for line in f if not at.update({k: float(v) for k, v in WORD.findall(line)}))


def child(how, path, **environment):
    """Blocks, seconds, peak [MB], what the compiled reader alone takes [MB], and how long it takes to be ready [s]."""
    out = subprocess.run(
        [sys.executable, "-c", CHILD, how, str(path)], capture_output=True, text=True, check=True,
        env={**os.environ, **environment},
    )  # fmt: skip
    return list(map(float, out.stdout.split()))


def seconds_of(task):
    begin = time.process_time()
    task()
    return time.process_time() - begin


def write(path, shape, blocks, feed):
    first = "G1 X50 Y0" if "arcs" in shape else "G1 X0 Y0"
    path.write_text("\n".join([f"G21 G90 {feed}", first, *lines_of(shape, blocks)]) + "\n")
    return path


@pytest.mark.parametrize(("shape", "blocks", "feed", "seconds"), SHAPES)
def test_reading(shape, blocks, feed, seconds, tmp_path):
    """``seconds`` is for a million blocks."""
    path = write(tmp_path / "program.nc", shape, blocks, feed)
    whole, streamed = (min((child(how, path) for _ in range(3)), key=lambda c: c[1]) for how in ("whole", "stream"))
    raw = path.read_bytes()
    table = re.sub(rb"[^\d.,\n-]", b"", re.sub(rb"(?<=\d) *(?=[A-Z])", b",", raw.split(b"\n", 2)[2]))
    others = {
        "the sum of the bytes": lambda: int(np.frombuffer(raw, dtype=np.uint8).sum(dtype=np.uint64)),
        "pandas.read_csv": lambda: pd.read_csv(io.BytesIO(table), header=None),
        "a regex per line": lambda: regex_reader(path),
    }
    million = (blocks + 2) / 1e6
    print(
        f"\n{shape}: {blocks} blocks, {len(raw) / 1e6:.1f} MB; a million takes {streamed[1] / million:.3f} s as a "
        f"stream, {whole[1] / million:.3f} s whole; "
        + ", ".join(f"{name} {seconds_of(task) / million:.3f} s" for name, task in others.items())
        + f"; peak {streamed[2]:.0f} MB as a stream, {whole[2]:.0f} MB whole, {streamed[3]:.0f} MB with nothing read"
    )
    assert whole[0] == streamed[0] == blocks + 2
    assert streamed[1] / million < seconds


def test_memory_and_starting(tmp_path):
    """Ten times the file, the same memory; how long the compiler takes the first time, and from its cache."""
    path = write(tmp_path / "program.nc", "short blocks", 1_000_000, "F3000")
    longer = tmp_path / "longer.nc"
    body = path.read_bytes()
    with longer.open("wb") as file:
        for _ in range(10):
            file.write(body)
    cold = child("stream", path, NUMBA_CACHE_DIR=str(tmp_path / "cache"))
    warm = child("stream", path, NUMBA_CACHE_DIR=str(tmp_path / "cache"))
    ten = child("stream", longer, NUMBA_CACHE_DIR=str(tmp_path / "cache"))
    print(
        f"\nready in {cold[4]:.2f} s when it compiles (peak {cold[3]:.0f} MB), in {warm[4]:.2f} s from the cache; "
        f"{len(body) / 1e6:.0f} MB: peak {warm[2]:.0f} MB; {len(body) / 1e5:.0f} MB: peak {ten[2]:.0f} MB in "
        f"{ten[1]:.2f} s; {warm[3]:.0f} MB with nothing read"
    )
    assert ten[2] < warm[2] + 10
    assert ten[2] < warm[3] + 25  # a piece of text and two of moves
