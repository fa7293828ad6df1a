"""The quick reader is the careful one; writing and reading back is the identity; no text breaks the reader."""

import math

import numpy as np
import pytest
from motion_cases import machine

from shopcalc.errors import InputError
from shopcalc.gcode import program as program_module
from shopcalc.gcode import read_text, write_program
from shopcalc.gcode.interpreter import Interpreter
from shopcalc.motion import machine_time
from shopcalc.moves import PLANE_AXES, Kind, Moves, Stop, from_lists

FIELDS = ("kind", "feed", "value", "rpm", "cutter", "exact_stop", "line", "arc_index", "arc_plane")


def same(a: Moves, b: Moves, tolerance: float, skip: tuple[str, ...] = ()) -> None:
    assert len(a) == len(b)
    for name in FIELDS:
        if name not in skip:
            assert np.allclose(getattr(a, name), getattr(b, name), atol=tolerance, equal_nan=True), name
    for name in ("points", "arc_centre", "arc_sweep"):
        assert np.allclose(getattr(a, name), getattr(b, name), atol=tolerance), name


def random_program(rng: np.random.Generator, lines: int) -> str:
    """Modal words come and go, numbers are written in many ways, comments and odd lines break the runs."""
    out = ["G21 G90 G94 F1200", "G1 X0 Y0 Z0"]
    for _ in range(lines):
        pick = rng.random()
        x, y, z = rng.uniform(-99, 99, 3)
        if pick < 0.6:
            words = [f"{a}{_number(rng, v)}" for a, v in zip("XYZ", (x, y, z), strict=True) if rng.random() < 0.7]
            out.append(rng.choice(["", " "]).join(["G1"] * (rng.random() < 0.2) + words) or "N5")
            if rng.random() < 0.1:
                out.append(f"F{rng.uniform(100, 9000):.1f}")
            if out[-2].startswith("X") and out[-1][0] == "F":
                out.append("G1")
        elif pick < 0.7:
            out.append(f"G0 X{x:.3f} Z{abs(z):.2f}")
        elif pick < 0.85:
            i, j = rng.uniform(-20, 20, 2)
            out.append(f"G{rng.integers(2, 4)} I{i:.4f} J{j:.4f}" + (f" Z{z:.3f}" if rng.random() < 0.3 else ""))
            out.append("G1")
        elif pick < 0.9:
            out.append(f"(at {x:.1f}) G1 X{x:.3f}")
        elif pick < 0.94:
            out.append(rng.choice(["G91", "G90", "G20", "G21", "", "G4 P0.5", "M8", "G61", "G64", "n99"]))
        else:
            out.append(f"N{rng.integers(1, 999)} G1 Y{y:.5f} ; end")
    return "\n".join(out)


def _number(rng: np.random.Generator, value: float) -> str:
    text = f"{value:.{rng.integers(0, 6)}f}"
    style = rng.random()
    if style < 0.1 and not text.startswith("-"):
        return "+" + text
    if style < 0.2 and "." not in text:
        return text + "."
    return text.replace("-0.", "-.") if style < 0.3 else text


@pytest.mark.parametrize("seed", range(60))
def test_quick_and_careful_reader_agree(seed, monkeypatch):
    rng = np.random.default_rng(seed)
    text = random_program(rng, int(rng.integers(5, 400)))
    monkeypatch.setattr(program_module, "_PIECE", int(rng.integers(10, 3000)))
    quick = read_text(text)
    monkeypatch.setattr(Interpreter, "takes_plain_lines", property(lambda _: False))
    careful = read_text(text)
    same(quick.moves, careful.moves, 1e-9)
    assert quick.blocks == careful.blocks
    assert [n.message for n in quick.warnings] == [n.message for n in careful.warnings]


def random_moves(rng: np.random.Generator, count: int) -> Moves:
    """Rapids, lines, arcs and helices in all planes, whole circles, dwells, changes and stops, from the origin."""
    points, kinds, values, arcs = [np.zeros(3)], [], [], {}
    for i in range(count):
        kind = Kind(int(rng.choice([0, 1, 1, 1, 2, 2, 3, 4, 5])))
        at, value = points[-1], 0.0
        end = at
        if kind <= Kind.LINE:
            end = at + np.round(rng.uniform(-50, 50, 3), 6)
        elif kind == Kind.ARC:
            plane = int(rng.integers(3))
            p, q, axial = PLANE_AXES[plane]
            radius, begin = rng.uniform(0.5, 40), rng.uniform(0, 2 * math.pi)
            sweep = rng.choice([-1, 1]) * (2 * math.pi if rng.random() < 0.3 else rng.uniform(0.05, 6.2))
            centre = at.copy()
            centre[[p, q]] -= radius * np.array([math.cos(begin), math.sin(begin)])
            if abs(sweep) < 6.28:
                end = at.copy()
                end[[p, q]] = centre[[p, q]] + radius * np.array([math.cos(begin + sweep), math.sin(begin + sweep)])
            if rng.random() < 0.5:
                end = end.copy()
                end[axial] += rng.uniform(-5, 5)
            arcs[i] = (centre, sweep, plane)
        elif kind == Kind.DWELL:
            value = round(float(rng.uniform(0, 9)), 3)
        elif kind == Kind.CHANGE:
            value = float(rng.integers(1, 12))
        else:
            value = float(rng.choice([Stop.PROGRAM_STOP, Stop.OPTIONAL_STOP, Stop.OTHER]))
        points.append(end)
        kinds.append(kind)
        values.append(value)
    feeds = np.round(rng.uniform(100, 9000, count), 3)
    return from_lists(points, kinds, feed=feeds, value=values, arcs=arcs)


@pytest.mark.parametrize("seed", range(60))
def test_writing_and_reading_back_is_the_identity(seed):
    """Positions are written to 1e-6 mm; the time is the same to as much."""
    rng = np.random.default_rng(seed)
    written = random_moves(rng, int(rng.integers(1, 120)))
    back = read_text(write_program(written, title="test")).moves
    same(written, back, 3e-6, skip=("line", "cutter"))
    m = machine(corner="tolerance", corner_tolerance=0.02)
    assert machine_time(back, m).total_s == pytest.approx(machine_time(written, m).total_s, rel=1e-4)


@pytest.mark.parametrize("seed", range(20))
def test_inch_and_millimetre_forms_take_the_same_time(seed):
    rng = np.random.default_rng(seed)
    steps = np.round(rng.uniform(-3, 3, (60, 3)), 4)
    metric = ["G21 F2540"] + [f"G1 X{x * 25.4:.7f} Y{y * 25.4:.7f} Z{z * 25.4:.7f}" for x, y, z in steps]
    inch = ["G20 F100"] + [f"G1 X{x:.7f} Y{y:.7f} Z{z:.7f}" for x, y, z in steps]
    m = machine(corner="tolerance", corner_tolerance=0.02)
    a, b = (machine_time(read_text("\n".join(t)).moves, m).total_s for t in (metric, inch))
    assert a == pytest.approx(b, rel=1e-9)


@pytest.mark.parametrize("seed", range(20))
def test_no_damage_to_a_program_breaks_the_reader(seed):
    """100 damaged programs each: read or refused with a place, and every time is a number or unknown."""
    rng = np.random.default_rng(1000 + seed)
    letters = np.frombuffer(b"GMXYZIJKRFSTPQLNOABCDH0123456789.-+ ()%;/#[]=\n\r\t\x00\xff", dtype=np.uint8)
    refusals = []
    for _ in range(100):
        raw = bytearray(random_program(rng, 30).encode())
        for _ in range(int(rng.integers(1, 12))):
            place = int(rng.integers(len(raw)))
            how = rng.random()
            if how < 0.4:
                raw[place] = int(rng.choice(letters))
            elif how < 0.7:
                raw.insert(place, int(rng.choice(letters)))
            elif how < 0.9:
                del raw[place : place + int(rng.integers(1, 9))]
            else:
                del raw[place:]
            if not raw:
                raw = bytearray(b"G1")
        try:
            moves = read_text(raw.decode("utf-8", "surrogateescape")).moves
        except InputError as e:
            refusals += [f.remedy for f in e.faults]
            continue
        assert np.isfinite(moves.points).all()
        time = machine_time(moves, machine(corner="tolerance", corner_tolerance=0.02))
        known = ~np.isnan(time.seconds)
        assert (time.seconds[known] >= 0).all()
        assert np.isnan(moves.feed[~known]).all()
    assert refusals
    assert all(refusals)
