"""Programs broken in every way that files get broken: each is read or refused with its place, quickly.

A share runs with the other tests; ``python -m pytest -n 0 -m benchmark -s tests/properties/test_gcode_fuzz.py`` runs
100 000 and says what came of them.
"""

import re
import time
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from shopcalc.errors import InputError
from shopcalc.gcode import flow, read_text
from shopcalc.machines import Axis, Controller, Machine
from shopcalc.motion import machine_time
from shopcalc.moves import Kind

PROGRAMS = Path(__file__).parents[2] / "data" / "programs"
#: What real files hold beside plain lines, ours in wording: every construct the reader knows, and some it does not.
SEEDS = [
    "%\nO0007 (PANEL)\nG20 G17 G40 G49 G80 G90\nT3 M6 (SQ12)\nG54 G0 X1. Y-.5 S18000 M3\nG43 H3 Z.5\nG1 Z-.25 F40.\n"
    "X3.5 F120.\nG3 X4. Y0. I0. J.5\nG2 X3. Y1. R1.\nG0 Z.5\nM9\nM5\nG28 G91 Z0\nM30\n%\n",
    "G21\nG98 G81 X5 Y5 Z-4 R2 F300\nX10\nG91 X5 L4\nG90 G83 X40 Z-9 R2 Q3\nG80\nG4 P0.5\nM0\nG73 X1 Z-3 R1 Q1\nM2\n",
    "#1=3\n#<w>=[#1*2-1]\nG21 F600\no1 while [#1 GT 0]\nG1 X[#<w>*#1] Y#1\n#1=[#1-1]\no1 endwhile\no<s> call [4] [5]\n"
    "M2\no<s> sub\no2 if [#1 EQ 4]\nG1 X#2\no2 else\nG1 X0\no2 endif\no<s> endsub\n",
    "G21 G0 X0\nM98 P12 L3\nIF [#5 EQ 0] GOTO 40\nX9\nN40 WHILE [#6 LT 3] DO1\n#6=#6+1\nX#6\nEND1\nG65 P13 A1 X2.5\n"
    "M30\nO12\nG91 X1\nG90\nM99\nO13\nX#24\nM99\n",
    "G21 G93\nG1 X10 F2\nG2 X20 I5 F3\nG94 F500\nG18 G3 X30 Z0 I5 K0\nG19 G2 Y5 Z5 J2.5 K2.5\n"
    "G17 G3 I4 J0 Z-6 P3\nG1 G61 X1\nG64\n",
    "G21 F900 (ROUGH (first) pass)\nG1 X1 ; to the edge\n/N20 X2\nN30.5 X3 // more\n"
    "X 4 . 5\nG41 D1 X5\nG40 X6\nA90 X7\n",
]
CHARACTERS = "GMXYZIJKRFSTNPQLHDOABCUVW#[]()<>=+-.*/;:%, \t0123456789\r\n\x00\x1aé"
TOKENS = [
    "G0", "G1", "G2", "G3", "G17", "G18", "G19", "G20", "G21", "G28", "G53", "G54", "G55", "G81", "G83", "G80", "G90",
    "G91", "G90.1", "G92.1", "G93", "G94", "G95", "M98", "M99", "M30", "M6", "T4", "X", "X-", "F0", "F1e9", "R-3",
    "I0", "J0", "#1=", "#1", "[", "]", "[1/0]", "SQRT[-1]", "GOTO", "L-1", "99999999999", "%", "(", ")", "END1", "N",
    "/", "P4", "P12", "Q0", "K9", "G5", "G68", ",R5", "G65", "M97", "G10", "L2", "P1", "\n", "G83 Q1", "G92 X0",
    "M98 P12", "o1 endwhile", "o2 call", "WHILE [1] DO1", "G4 P-1", "GOTO 1",
]  # fmt: skip
NUMBERS = ["0", "-1", "1e5", ".", "123456789.123456", "#9", "[2]"]
MACHINE = Machine(
    axes=(Axis(20_000, 9_000, 700), Axis(20_000, 9_000, 700), Axis(9_000, 4_000, 400)),
    controller=Controller(
        corner="tolerance", corner_tolerance=0.03, look_ahead=20, blocks_per_second=400, jerk=9000,
        chord_curvature="share",
    ),
    more_axes={"a": Axis(3600, 3600, 300)},
    work_zeros={54: (10.0, 20.0, -30.0), 55: (90.0, 20.0, -30.0)},
    home=(0.0, 0.0, 0.0),
)  # fmt: skip


def mutated(rng: np.random.Generator, texts: list[str]) -> str:
    text = texts[rng.integers(len(texts))]
    lines = text.splitlines(keepends=True)
    if len(lines) > 60:  # a stretch of a long program, with its head
        at = int(rng.integers(0, len(lines) - 40))
        text = "".join(lines[:8] + lines[at : at + 40])
    for _ in range(int(rng.integers(1, 6))):  # so many slips
        pick, at = rng.integers(8), int(rng.integers(0, len(text) + 1))
        other = int(rng.integers(0, len(text) + 1))
        low, high = min(at, other), min(max(at, other), min(at, other) + 40)
        if pick == 0:
            text = text[:at] + CHARACTERS[rng.integers(len(CHARACTERS))] + text[at:]
        elif pick == 1:
            text = text[:low] + text[high:]
        elif pick == 2:
            text = text[:low] + text[low:high] * 2 + text[high:]
        elif pick in (3, 4):
            text = text[:at] + " " + TOKENS[rng.integers(len(TOKENS))] + " " + text[at:]
        elif pick == 5:
            text = text[:at] + CHARACTERS[rng.integers(len(CHARACTERS))] + text[at + 1 :]
        elif pick == 6:
            numbers = list(re.finditer(r"-?\d+\.?\d*", text))
            if numbers:
                m = numbers[rng.integers(len(numbers))]
                text = text[: m.start()] + NUMBERS[rng.integers(len(NUMBERS))] + text[m.end() :]
        else:
            rows = text.split("\n")
            i, j = rng.integers(len(rows), size=2)
            rows[i], rows[j] = rows[j], rows[i]
            text = "\n".join(rows)
    return text


def outcome(text: str) -> str:
    """What came of a text; fails when it is neither a sound program nor a placed refusal."""
    began = time.perf_counter()
    try:
        program = read_text(text, "p.nc", MACHINE)
    except InputError as e:
        for fault in e.faults:
            assert fault.file == "p.nc"
            assert fault.message
            assert fault.remedy
            assert fault.line is not None
            assert fault.column is not None
            assert 1 <= fault.line <= len(re.split("\r\n|\r|\n", text)) + 1
        result = "refused"
    else:
        m = program.moves
        assert np.isfinite(m.points).all()
        assert np.isfinite(m.arc_sweep).all()
        assert np.isfinite(m.arc_centre).all()
        assert not np.isinf(m.feed).any()
        assert (m.line >= 1).all()
        assert all(n.line >= 1 and n.column >= 1 and n.message for n in program.warnings)
        t = machine_time(m, MACHINE)
        known = ~(m.cutting & np.isnan(m.feed))
        assert np.isfinite(t.seconds[known]).all()
        assert (t.seconds[known] >= 0).all()
        assert np.isnan(t.seconds[~known]).all() or not (m.lengths[~known] > 0).any()
        result = "read, time unknown" if np.isnan(t.total_s) else "read"
        if not (m.kind <= Kind.ARC).any():
            result = "read, nothing moves"
    assert time.perf_counter() - began < 20, "it takes too long"
    return result


def texts() -> list[str]:
    return SEEDS * 3 + [p.read_text() for p in sorted(PROGRAMS.glob("*.nc"))]


def run(count: int, seed: int, monkeypatch) -> Counter:
    monkeypatch.setattr(flow, "_MOST_LINES", 20_000)  # the bounds are tested where they are; here they only cost time
    monkeypatch.setattr(flow, "_MOST_IDLE", 2_000)
    monkeypatch.setattr(flow, "_MOST_ROUNDS", 5_000)
    rng, seeds = np.random.default_rng(seed), texts()
    came: Counter = Counter()
    for number in range(count):
        text = mutated(rng, seeds)
        try:
            came[outcome(text)] += 1
        except Exception as e:
            raise AssertionError(f"seed {seed}, text {number}: {type(e).__name__}: {e}\n{text!r}") from e
    return came


def test_broken_programs_are_read_or_refused_with_their_place(monkeypatch):
    came = run(1200, 1, monkeypatch)
    assert came["read"] > 100
    assert came["refused"] > 100


@pytest.mark.benchmark
@pytest.mark.parametrize("seed", range(2, 12))
def test_a_hundred_thousand_broken_programs(seed, monkeypatch):
    began = time.perf_counter()
    came = run(10_000, seed, monkeypatch)
    print(f"\nseed {seed}: {dict(came)} in {time.perf_counter() - began:.0f} s")


@pytest.mark.parametrize("text", SEEDS)
def test_the_seeds_themselves_are_read(text):
    assert outcome(text).startswith("read")
