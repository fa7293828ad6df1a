"""The quick reader is the careful one; writing and reading back is the identity; no text breaks the reader."""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from motion_cases import machine

from shopcalc.errors import InputError
from shopcalc.gcode import collecting, read_program, read_text, stream_program, write_program
from shopcalc.gcode import program as program_module
from shopcalc.gcode.interpreter import Interpreter
from shopcalc.gcode.quick import QuickReader
from shopcalc.machines import Axis
from shopcalc.motion import machine_time
from shopcalc.moves import PLANE_AXES, Kind, Moves, Stop, from_lists, join

ROTARY = replace(machine(), more_axes={"a": Axis(rapid=9000, feed=9000, acceleration=900)})
FIELDS = ("kind", "feed", "value", "rpm", "cutter", "exact_stop", "line", "arc_index", "arc_plane")


def same(a: Moves, b: Moves, tolerance: float, skip: tuple[str, ...] = ()) -> None:
    assert len(a) == len(b)
    for name in FIELDS:
        if name not in skip:
            assert np.allclose(getattr(a, name), getattr(b, name), rtol=0, atol=tolerance, equal_nan=True), name
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
            remarks = [
                "X1 (a)(b 2)Y2",
                "(3) X2",
                "X3;(4)",
                "X4 (5;6)",
                "(7 (8)) X8",
                ";9",
                "(1)",
                "Y(2)5",
                "X-(3)1",
                "//4",
            ]
            words = ["G91", "G90", "G20", "G21", "", "G4 P0.5", "M8", "G61", "G64", "n99"]
            out.append(str(rng.choice(words + remarks)))
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
    alike(quick.moves, careful.moves)
    assert quick.blocks == careful.blocks
    assert [n.message for n in quick.warnings] == [n.message for n in careful.warnings]


def wild_program(rng: np.random.Generator, lines: int) -> str:
    """Plain words in any mixture, right or wrong: radius arcs, all planes, no feed, words without a meaning."""
    out = [str(rng.choice(["G21 G1 F500", "G20 G90 G1", "G1", "G21 G0", "G21 G91 G1 F9"]))]
    tidy = rng.random() < 0.7  # most programs go on for a while before something is wrong
    for _ in range(lines):
        x, y, z, i, j, k = np.round(rng.uniform(-9, 9, 6), int(rng.integers(0, 4)))
        radius = float(rng.choice([-1, 1])) * round(float(rng.uniform(30 if tidy else 1, 90)), 2)
        shapes = [
            f"X{x} Y{y}", f"Z{z}", f"G1X{x}", f"G0 Z{z}", f"N7 X{x} Y{y} Z{z}", f"G2 X{x} Y{y} Z{z} R{radius}",
            f"g3 i{i}",
            f"G3 J{j} Z{z}", f"F{abs(x) + 1}", "", f"G{rng.integers(0, 4)}", f"X{x} I{i}", f"G1 X{x} R{radius}",
            f"G2 I{i} J{j} K{k}" if rng.random() < 0.5 else f"G2 K{k}", f"G2 X{x} Y{y} I{i} J{j}",
            f"G{rng.integers(17, 20)}",
        ]  # fmt: skip
        out.append(str(rng.choice(shapes[:11] if tidy and rng.random() < 0.98 else shapes)))
        if out[-1][:2] in ("G2", "G3", "g3"):
            out.append("G1")
    return "\n".join(out)


def outcome(text: str) -> tuple[object, ...]:
    try:
        p = read_text(text)
    except InputError as e:
        return ("refused", e.faults[0].line, e.faults[0].column, str(e))
    return ("read", p.blocks, *((n.line, n.column, n.word, n.message) for n in p.warnings))


@pytest.mark.parametrize("seed", range(150))
def test_quick_and_careful_reader_agree_on_wrong_programs_too(seed, monkeypatch):
    """The same moves, the same reports in the same places, the same refusal: not a column may differ."""
    rng = np.random.default_rng(seed)
    text = wild_program(rng, int(rng.integers(5, 200)))
    monkeypatch.setattr(program_module, "_PIECE", int(rng.integers(10, 2000)))
    quick, moves = outcome(text), read_text(text).moves if outcome(text)[0] == "read" else None
    monkeypatch.setattr(Interpreter, "takes_plain_lines", property(lambda _: False))
    assert quick == outcome(text)
    if moves is not None:
        alike(moves, read_text(text).moves)


def test_most_wild_programs_are_read_and_some_are_refused():
    """Else the property above would compare nothing."""
    got = [outcome(wild_program(np.random.default_rng(s), 60))[0] for s in range(150)]
    assert got.count("read") > 20
    assert got.count("refused") > 20


def any_number(rng: np.random.Generator, value: float, wild: float) -> str:
    """One number in one of the ways in which it may stand behind its letter."""
    places = int(rng.integers(0, 7 if rng.random() < 0.9 else 16))
    text = _number(rng, round(value, places)) if places < 6 else f"{value:.{places}f}"
    text = f"{text[:1]}0{text[1:]}" if rng.random() < 0.05 and text[0] in "+-" else text
    if rng.random() < wild / 8:
        at = int(rng.integers(len(text)))
        text = text[:at] + str(rng.choice([" ", ".", "-", "(a)", "\t", "e2"])) + text[at:]
    return str(rng.choice(["", " ", "\t", "  "], p=[0.85, 0.1, 0.03, 0.02])) + text


CALM_REMARKS = [
    "(a)",
    "(a)(b)",
    "( ; )",
    "; a ( b",
    "(\u00e4)",
    "; \u00e4",
    "(/)",
    "()",
    ";",
    "(G2 X5)",
    "//3",
    "(a (b) c)",
]
REMARKS = [*CALM_REMARKS, "(a (b) c)", "(a ;", "(1(2)", ")", "(M6 T2"]
CALM = [
    "G90", "G91", "G20", "G21", "G61", "G64", "F700", "G1", "N7", "#1=[#1+2]", "G1 X[#1*3]", "M98 P7 L3", "M8", "G0",
    "M3 S9000", "M5", "T2 M6 (a cutter)", "G4 P0.5", "G92 X1 Z0", "G92.1", "/X3", "G1 F9", "G0 F12", "N8 N9", "n 5",
    "A30", "G1 X1 A-5", "A0",
]  # fmt: skip
SETTINGS = [
    *CALM, "G17", "G18", "G19", "G90.1", "G91.1", "G94", "G93", "G95", "G80", "G54", "G55", "G1 X[#1*3] Y#1",
    "G81 R5 Z-1 X3 F90", "G98", "G83 R2 Z-3 Q1 X1 L2", "M98 P7", "F0", "F", "G0.5", "G4", "X1 X2", "M0", "G53 G0 Z0",
    "F 80.5", "G41 D1", "G40", "\u00e4", "X\u00e4", "%", "M30", "X1e3", "X9999999", "X99999999", "I5", "R4",
    "G2", "G3", "G01.0", "g00", "G2 X999999 R999999", "G3 I2 J2 K1",
    "G3 I2 J1 K0", "G2 K1 J2 I0", "N9000000000000 X1", "F9000000000000", "G3 I2 J1 K1.5", "N8000000000000.5",
]  # fmt: skip


def any_program(rng: np.random.Generator, lines: int) -> bytes:
    """Everything at once: plain lines in any dress, all that needs care, all that is refused, cut off anywhere."""
    wild = float(rng.choice([0.0, 0.02, 0.2]))
    out = [str(rng.choice(["G21 G1 F500", "G20 G90 G1", "G21 G0", "G1 X1", "#1=4", "G21 G91 G1 F9"]))]
    plane, ij = ("XY", "IJ") if rng.random() < 0.8 else ("ZX", "KI")
    out.append("G17" if plane == "XY" else "G18")
    for _ in range(lines):
        pick = rng.random()
        if pick < 0.65:
            letters = [str(a) for a in rng.permutation(list("XYZ")) if rng.random() < 0.5]
            words = [a + any_number(rng, float(rng.uniform(-20, 20)), wild) for a in letters]
            if rng.random() < 0.3:
                words.insert(
                    int(rng.integers(len(words) + 1)), str(rng.choice(["G0", "G1", "G01", "g1", "G 1", "G1."]))
                )
            if rng.random() < 0.1:
                words.append("F" + any_number(rng, float(rng.uniform(10, 9000)), wild))
            if rng.random() < 0.2:
                words.insert(0, f"N{rng.integers(1, 9999)}")
        elif pick < 0.8:
            i, j, end = *rng.uniform(-9, 9, 2), float(rng.uniform(-3, 3))
            turn = str(rng.choice(["G2", "G3", "g03"]))
            if rng.random() < 0.5:  # whole turns, as helices or not, with one offset or both
                words = [
                    turn,
                    *(a + any_number(rng, v, wild) for a, v in zip(ij, (i, j), strict=True) if rng.random() > wild),
                ]
                words += [f"{'Z' if plane == 'XY' else 'Y'}{end:.3f}"] if rng.random() < 0.4 else []
            else:
                words = [turn, f"{plane[0]}{i:.3f}", f"{plane[1]}{j:.3f}", f"R{rng.choice([-1, 1]) * 60 + end:.3f}"]
            words = [w for w in words if rng.random() > wild / 4]
            out.append(str(rng.choice(["", " "])).join(words))
            words = ["G1"]
        else:
            words = [str(rng.choice(SETTINGS if rng.random() < wild else CALM))]
        if rng.random() < 0.15:
            remark = str(rng.choice(REMARKS if rng.random() < wild else CALM_REMARKS))
            words.insert(len(words) if ";" in remark or "//" in remark else int(rng.integers(len(words) + 1)), remark)
        out.append(str(rng.choice(["", " ", "\t"], p=[0.3, 0.65, 0.05])).join(words))
    out += ["M30", "O7", "G1 X1", "Y[#1]", "G91 Z.5", "G90 X2", "M99"]
    end = [b"\n", b"\r\n", b"\r", b"\n\n"]
    common = end[int(rng.integers(3))]
    raw = b"".join(
        line.encode("utf-8" if rng.random() < 0.5 else "latin-1") + (common if rng.random() < 0.95 else end[k])
        for line, k in zip(out, rng.integers(4, size=len(out)), strict=True)
    )
    if rng.random() < wild:
        raw = raw[: int(rng.integers(len(raw)))]
    elif rng.random() < wild:  # a line cut in two
        at = int(rng.integers(len(raw)))
        raw = raw[:at] + common + raw[at:]
    return raw + (b"\x1a" if rng.random() < 0.1 else b"")


def alike(a: Moves, b: Moves) -> None:
    """To the last bit, but for the angles and centres of arcs, which two ways of computing them give."""
    for name in (*FIELDS, "points"):
        assert np.array_equal(getattr(a, name), getattr(b, name), equal_nan=getattr(a, name).dtype.kind == "f"), name
    for name in ("arc_centre", "arc_sweep"):
        assert np.allclose(getattr(a, name), getattr(b, name), rtol=1e-12, atol=1e-9), name
    assert a.labels == b.labels
    assert a.extra.keys() == b.extra.keys()
    assert all(np.array_equal(a.extra[k], b.extra[k]) for k in a.extra)


def notes(warnings) -> list[tuple[object, ...]]:
    return [(n.line, n.column, n.word, n.message) for n in warnings]


def piecewise(path) -> tuple[tuple[object, ...], Moves]:
    """What a stream says in all, and its moves; of a refused program those before the fault."""
    stream, pieces, fault = stream_program(path, ROTARY), [], ""
    try:
        pieces.extend(stream)
    except InputError as e:
        fault = str(e)
        out = stream._reader.mover.out
        pieces += [*out.take(), out.rest()]
    assert max(len(p) for p in pieces) <= collecting.PIECE
    for before, after in itertools.pairwise(pieces):
        assert np.array_equal(before.points[-1], after.points[0])
    whole = join([replace(p, labels={}) for p in pieces])
    return (fault, stream.blocks, stream.noted, stream.labels, notes(stream.warnings)), whole


@pytest.mark.parametrize("seed", range(300))
def test_pieces_whole_and_careful_reading_agree(seed, monkeypatch, tmp_path):
    """However text and moves are cut into pieces, and whoever reads a line: the same moves, reports, refusals."""
    rng = np.random.default_rng(5000 + seed)
    path = tmp_path / "any.nc"
    path.write_bytes(any_program(rng, int(rng.integers(3, 250))))
    said, moves = piecewise(path)
    for size in (int(rng.integers(1, 60)), int(rng.integers(60, 5000))):
        monkeypatch.setattr(program_module, "_PIECE", size)
        monkeypatch.setattr(program_module, "_AFTER_JUMP", int(rng.integers(1, 200)))
        monkeypatch.setattr(collecting, "PIECE", int(rng.integers(1, 100)))
        again, others = piecewise(path)
        assert again == said
        alike(others, moves)
        if said[0]:
            with pytest.raises(InputError) as e:
                read_program(path, ROTARY)
            assert str(e.value) == said[0]
        else:
            p = read_program(path, ROTARY)
            assert ("", p.blocks, p.moves.labels, notes(p.warnings)) == (*said[:2], *said[3:])
            alike(replace(p.moves, labels={}), moves)
    monkeypatch.setattr(Interpreter, "takes_plain_lines", property(lambda _: False))
    careful, slow = piecewise(path)
    assert careful == said
    alike(moves, slow)


def test_the_mixture_is_one(tmp_path, monkeypatch):
    """Else the property above would compare nothing: most lines are read quickly, arcs and refusals are among them."""
    got, quick, arcs, turned = [], 0, 0, 0
    run = QuickReader.run

    def counting(self, text, at, end, number):
        nonlocal quick
        after, line = run(self, text, at, end, number)
        quick += line - number
        return after, line

    monkeypatch.setattr(QuickReader, "run", counting)
    path = tmp_path / "any.nc"
    blocks = 0
    for seed in range(60):
        path.write_bytes(any_program(np.random.default_rng(5000 + seed), 100))
        said, moves = piecewise(path)
        got.append(bool(said[0]))
        arcs, blocks = arcs + len(moves.arc_index), blocks + said[1]
        turned += bool(moves.extra)
    assert 5 < sum(got) < 45
    assert arcs > 200
    assert turned > 10
    assert quick > blocks / 2


@given(
    st.integers(0, 10**16), st.integers(0, 16), st.sampled_from(["", "-", "+", "- ", " ", "\t+"]),
    st.sampled_from(["", "0", "000"]), st.sampled_from(["", " ", "(a)", ";b", "\r"]),
)  # fmt: skip
def test_numbers_of_any_length_are_read_as_float_would(digits, decimals, front, zeros, behind):
    """Both readers, whatever the number of digits."""
    text = f"{digits:0{decimals}d}"
    text = text[: len(text) - decimals] + "." + text[len(text) - decimals :]
    value = float(f"{front.strip()}{text}")
    if abs(value) < 1e7:
        m = read_text(f"G21 G0 Z1\nX{front}{zeros}{text}{behind}\nZ2").moves
        assert m.points[-1, 0] == value


@given(st.decimals(min_value=-9999, max_value=9999, places=6), st.sampled_from(["", "+", "0", "00"]))
def test_numbers_are_read_as_exactly_as_one_by_one(number, front):
    """The quick reader's digits give the float nearest to the text, as Python's own reader does."""
    text = f"{abs(number):f}"
    text = f"-{text}" if number < 0 else f"{front}{text}"
    m = read_text("G21 G0 Z1\n" + "X0\n" * 6 + f"X{text}\nZ2").moves
    assert m.points[-1, 0] == float(text)


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


def in_shop(rng: np.random.Generator, moves: Moves) -> Moves:
    """The same moves with speeds, cutters, stops and feeds as a shop would have them, starting anywhere."""
    rpm, cutter = np.zeros(len(moves)), np.zeros(len(moves), dtype=np.int32)
    value, feed = moves.value.copy(), moves.feed.copy()
    speed, turning, number = 0.0, False, 0
    for i, kind in enumerate(moves.kind):
        if kind == Kind.CHANGE:
            number, turning = int(value[i]), False
        elif kind == Kind.STOP:
            turning = not turning
            value[i] = Stop.SPINDLE_START if turning else Stop.SPINDLE_STOP
        if turning and (speed == 0 or rng.random() < 0.05):
            speed = round(float(rng.uniform(5000, 24000)))
        rpm[i], cutter[i] = speed if turning else 0.0, number
    feed[rng.random(len(moves)) < 0.05] = math.nan
    exact = (np.cumsum(rng.random(len(moves)) < 0.1) % 2 == 1) & (moves.kind <= Kind.ARC)
    numbers = set(cutter.tolist()) - {0}
    labels = {n: f"cutter {n} [{n} mm]" for n in numbers}
    made = replace(moves, value=value, feed=feed, rpm=rpm, cutter=cutter, exact_stop=exact, labels=labels)
    return made.shifted(np.round(rng.uniform(-500, 500, 3), 6))


@pytest.mark.parametrize("seed", range(60))
def test_cutters_speeds_stops_and_labels_come_back_from_the_text(seed):
    rng = np.random.default_rng(seed)
    written = in_shop(rng, random_moves(rng, int(rng.integers(1, 120))))
    program = read_text(write_program(written, title="test"), start=written.points[0])
    same(written, program.moves, 3e-6, skip=("line",))
    assert program.moves.labels == written.labels
    odd = ("no feed is known", "feed of 0", "starts without a speed")
    assert [n.message for n in program.warnings if not any(o in n.message for o in odd)] == []


@given(
    st.integers(0, 2), st.floats(0.5, 60), st.floats(0, 6.28), st.floats(0.01, 40), st.booleans(), st.floats(-30, 30),
)  # fmt: skip
def test_a_helix_of_any_sweep_comes_back_turn_by_turn(plane, radius, begin, sweep, clockwise, rise):
    """Same ends, same length, same sweep in total, whatever the plane and however many turns."""
    p, q, axial = PLANE_AXES[plane]
    centre, end = np.zeros(3), np.zeros(3)
    sweep = -sweep if clockwise else sweep
    centre[[p, q]] = -radius * math.cos(begin), -radius * math.sin(begin)
    end[[p, q]] = centre[[p, q]] + radius * np.array([math.cos(begin + sweep), math.sin(begin + sweep)])
    end[axial] = rise
    written = from_lists([(0, 0, 0), end], [Kind.ARC], feed=900, arcs={0: (centre, sweep, plane)})
    back = read_text(write_program(written, title="test")).moves
    assert np.allclose(back.points[-1], end, atol=1e-6)
    assert back.arc_sweep.sum() == pytest.approx(sweep, abs=1e-5)
    assert back.cutting_length == pytest.approx(written.cutting_length, rel=1e-5, abs=1e-5)
    assert np.allclose(back.extents(), written.extents(), atol=1e-5)


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
