"""Program text: what is read, what is refused and where, what is reported."""

import math
from dataclasses import replace

import numpy as np
import pytest

from shopcalc.errors import InputError
from shopcalc.gcode import read_program, read_text
from shopcalc.machines import Controller, Machine
from shopcalc.moves import Kind, Stop

MS = Machine(controller=Controller(dwell_unit="ms", units="mm"))


def moves(text, machine=None, **k):
    return read_text(text, machine=machine, **k).moves


def ends(text, **k):
    return moves(text, **k).points[1:].tolist()


def test_a_plain_program():
    m = moves("%\nN10 G21 G90 G17\nN20 T3 M6\nS18000 M3\nG0 X10 Y20 Z5\nG1 Z-2 F600\nX30 F3000\nM5\nM30\n%\n")
    assert m.kind.tolist() == [Kind.CHANGE, Kind.STOP, Kind.RAPID, Kind.LINE, Kind.LINE, Kind.STOP, Kind.STOP]
    assert m.points[-1].tolist() == [30, 20, -2]
    assert m.feed[3:5].tolist() == [600, 3000]
    assert m.rpm[2:5].tolist() == [18000] * 3
    assert set(m.cutter.tolist()) == {3}
    assert m.line[2:5].tolist() == [5, 6, 7]
    assert m.value[[0, 1, 5, 6]].tolist() == [3, Stop.SPINDLE_START, Stop.SPINDLE_STOP, Stop.END]


def test_inch_and_millimetre_forms_are_one_program():
    inch = moves("G20 G1 X1 Y2 F100\nG2 X2 Y3 I1\nG1 Z-.5")
    metric = moves("G21 G1 X25.4 Y50.8 F2540\nG2 X50.8 Y76.2 I25.4\nG1 Z-12.7")
    assert np.allclose(inch.points, metric.points)
    assert np.allclose(inch.feed, metric.feed)
    assert np.allclose(inch.arc_centre, metric.arc_centre)


def test_units_may_change_midway():
    assert ends("G21 G1 X10 F100\nG20 X1\nG21 X5") == [[10, 0, 0], [25.4, 0, 0], [5, 0, 0]]


def test_incremental_positions_add_up():
    assert ends("G21 G91 G1 X1 F60\nX1 Y2\nG90 X0") == [[1, 0, 0], [2, 2, 0], [0, 2, 0]]


@pytest.mark.parametrize(
    ("text", "centre", "sweep"),
    [
        ("G17 G3 X0 Y10 I-10 J0", (0, 0, 0), math.pi / 2),
        ("G17 G2 X0 Y10 I-10 J0", (0, 0, 0), -1.5 * math.pi),
        ("G17 G3 X0 Y10 R10", (0, 0, 0), math.pi / 2),
        ("G17 G2 X0 Y10 R-10", (0, 0, 0), -1.5 * math.pi),
        ("G17 G2 X0 Y10 R10", (10, 10, 0), -math.pi / 2),
        ("G17 G3 I-10", (0, 0, 0), 2 * math.pi),
        ("G17 G2 J5", (10, 5, 0), -2 * math.pi),
        ("G90.1 G3 X0 Y10 I0 J0", (0, 0, 0), math.pi / 2),
        ("G18 G2 X0 Z10 I-10", (0, 0, 0), -math.pi / 2),
        ("G18 G3 X0 Z10 I-10", (0, 0, 0), 1.5 * math.pi),
        ("G19 G3 Y10 Z10 K10", (10, 0, 10), math.pi / 2),
    ],
)
def test_arcs(text, centre, sweep):
    """From (10, 0, 0); counter-clockwise seen from the positive side of the plane's normal is positive."""
    m = moves(f"G21 F600\n{text}", start=(10, 0, 0))
    assert m.arc_centre[0].tolist() == pytest.approx(list(centre), abs=1e-9)
    assert m.arc_sweep[0] == pytest.approx(sweep)


def test_a_helix_is_measured_along_itself():
    m = moves("G21 F600 G17\nG3 X10 Y0 Z-5 I-10", start=(10, 0, 0))
    assert m.lengths[0] == pytest.approx(math.hypot(20 * math.pi, 5))


def test_order_of_words_in_a_block_does_not_matter():
    assert moves("G21 F600\nZ0.3 G00").kind.tolist() == [Kind.RAPID]
    late = moves("G21\nM06 T3 G43 H03 M03 S5000 X5 G0")
    early = moves("G21\nG0 G43 H03 S5000 T3 M6 M3 X5")
    assert late.kind.tolist() == early.kind.tolist() == [Kind.CHANGE, Kind.STOP, Kind.RAPID]
    assert late.rpm[-1] == early.rpm[-1] == 5000


def test_grammar_of_real_programs():
    """No blanks, lower case, tabs, leading plus, bare points, doubled words, text in comments."""
    m = moves("g21 f600\ng0x0y0z5\n\tG01X+10.Y.5(move X99 M6)Z-1.\nG02 G02X16.0Y.5I3.J0 ; T9 M6\nn04 g1x20\n//G0 X1\n")
    assert m.points[-1].tolist() == [20, 0.5, -1]
    assert m.kind.tolist() == [Kind.RAPID, Kind.LINE, Kind.ARC, Kind.LINE]
    assert set(m.cutter.tolist()) == {0}


def test_a_bare_position_after_an_arc_without_centre_is_refused():
    with pytest.raises(InputError, match="an arc without its centre"):
        moves("G21 F600\nG2 X10 I5\nX20")


@pytest.mark.parametrize(
    ("word", "machine", "seconds"),
    [("P4000", MS, 4.0), ("P3.", MS, 3.0), ("P0.6", None, 0.6), ("P2", None, 2.0), ("X1.5", None, 1.5)],
)
def test_dwell_unit_is_the_machines(word, machine, seconds):
    m = moves(f"G21 G4 {word}", machine=machine)
    assert m.value[m.kind == Kind.DWELL].tolist() == [seconds]


def test_dwell_and_move_in_one_block():
    assert moves("G21\nG04 P2 G0 X5").kind.tolist() == [Kind.DWELL, Kind.RAPID]


def test_inverse_time_feed_becomes_feed():
    m = moves("G21 G93\nG1 X30 F2")
    assert m.feed[0] == pytest.approx(60)


def test_exact_stop_is_kept_until_it_ends():
    assert moves("G21 F100 G61\nG1 X1\nG64 X2").exact_stop.tolist() == [True, False]


def test_no_feed_leaves_the_time_unknown_and_says_where():
    p = read_text("G21\nG0 Z5\nG1 Z-1\nX5\nF600 X9\n")
    assert np.isnan(p.moves.feed).tolist() == [True, True, True, False]
    assert [(n.line, n.message) for n in p.warnings] == [
        (3, "no feed is known here: the time of the program is unknown (2 times)")
    ]


def test_a_feed_on_a_rapid_counts_for_the_next_cut():
    assert moves("G21\nG0 X5 F700\nG1 X9").feed[1] == 700


def test_nothing_after_the_end_is_executed():
    assert len(moves("G21 G0 X1\nM30\nG0 X500\n")) == 2
    assert len(moves("%\nG21 G0 X1\n%\nG0 X500\n")) == 1


def test_reports_are_counted():
    p = read_text("G21 F600\nG41 D1 G1 X5\nG1 X6\nG40 X6.5\nG41 X7\nM99.5\nG1 X8 A90\n")
    said = {n.word: (n.line, n.message) for n in p.warnings}
    assert said["G41"][0] == 2
    assert "timed as written" in said["G41"][1]
    assert said["G41"][1].endswith("(4 times)")
    assert said["A90"][0] == 7
    assert "not timed" in said["A90"][1]
    assert said["M99.5"][0] == 6


def test_no_unit_is_taken_as_the_machines_or_said():
    assert read_text("G1 X1 F60").warnings[0].message == "no unit is said (G20 or G21): taken as millimetres"
    inch = Machine(controller=Controller(units="in"))
    p = read_text("G1 X1 F10", machine=inch)
    assert p.moves.points[1, 0] == 25.4
    assert p.moves.feed[0] == 254
    assert "taken as inches, as the machine's record has it" in p.warnings[0].message
    assert p.understood == 1.0
    assert not read_text("G20 G1 X1 F10", machine=inch).warnings


def test_offsets_by_g92_move_the_zero():
    assert ends("G21 F60 G1 X10\nG92 X0\nX5\nG92.1 X5") == [[10, 0, 0], [15, 0, 0], [5, 0, 0]]


@pytest.mark.parametrize("home", ["G28 Z5", "G91 G28 Z5", "G53 G0 Z0", "G30 X1 Z2"])
def test_moves_to_unknown_places_are_reported(home):
    p = read_text(f"G21 G0 X1\n{home}\n")
    assert any("not" in n.message and n.line == 2 for n in p.warnings)


def test_the_spindle_stops_at_a_cutter_change():
    m = moves("G21 S9000 M3\nT2 M6\nM3\n")
    assert m.value.tolist() == [Stop.SPINDLE_START, 2, Stop.SPINDLE_START]


REFUSED = [
    ("G21\nG1 X\n", 2, 4, "no number follows 'X'"),
    ("G21\nG1 X1-\n", 2, 6, "does not belong"),
    ("G21\nG1 X1 Y$\n", 2, 7, "no number follows 'Y'"),
    ("G21\nG5 X1\n", 2, 1, "not understood"),
    ("G21\nG68 R30\n", 2, 1, "not understood"),
    ("G21\nG0 G1 X1\n", 2, 4, "same group"),
    ("G21\nG0 X1 X2\n", 2, 7, "stands twice"),
    ("G21 F60\nG2 X10 Y0\n", 2, 4, "without its centre"),
    ("G21 F60\nG2 X10 Y0 I3\n", 2, 4, "does not close"),
    ("G21 F60\nG2 X10 R3\n", 2, 8, "too small"),
    ("G21 F60\nG2 X0 Y0 R3\n", 2, 10, "full circle"),
    ("G21\n#1 5\n", 2, 4, "neither set nor used"),
    ("G21\nG1 X[1+2\n", 2, 9, "not closed"),
    ("G21\nO100 sub\n", 2, 1, "end of O100 is not in this file"),
    ("G21\nM98 P100\n", 2, 5, "subprogram 100 is not in this file"),
    ("G21 F60\nG2 X5 I2.5 P1.5\n", 2, 12, "turns of an arc"),
    ("G21\nG4\n", 2, 1, "without its time"),
    ("G21\nG4 P-1\n", 2, 4, "negative"),
    ("G21 F-100\n", 1, 5, "negative"),
    ("G21 F60\nG81 X1 Z-5\n", 2, 1, "without R"),
    ("G21 F60\nG81 X1 R2\n", 2, 1, "without Z"),
    ("G21 F60\nG81 X1 R-9 Z-5\n", 2, 1, "below the depth"),
    ("G21 F60\nG83 X1 R2 Z-5\n", 2, 1, "without Q"),
    ("G21 F60\nG81 X1 R2 Z-5 L1.5\n", 2, 15, "repeats"),
    ("G21 F60\nG80 X1\n", 2, 5, "without a motion"),
    ("G21\nG0 X1e9\n", 2, 6, "not understood"),
    ("G21\nG0 X99999999999\n", 2, 4, "beyond any machine"),
    ("G21 G93\nG1 X5\n", 2, 4, "needs an F"),
    ("G21\nT1.5 M6\n", 2, 1, "not a cutter number"),
    ("G21\nG0 X1 é\n", 2, 7, "does not belong"),
]


@pytest.mark.parametrize(("text", "line", "column", "said"), REFUSED)
def test_where_motion_would_be_wrong_the_place_is_named(text, line, column, said):
    with pytest.raises(InputError, match=said) as e:
        read_text(text, "door.nc")
    fault = e.value.faults[0]
    assert (fault.file, fault.line, fault.column) == ("door.nc", line, column)
    assert fault.remedy
    assert fault.marked().splitlines()[1].strip() == text.splitlines()[line - 1].strip()


FILES = {
    "empty": b"", "blank": b" \n\n", "binary": bytes(range(256)) * 20, "only comments": b"(nothing)\n; here\n",
    "zero bytes": b"G21\0\0G0 X1\n",
}  # fmt: skip


@pytest.mark.parametrize("what", FILES)
def test_files_that_are_no_programs(what, tmp_path):
    path = tmp_path / "x.nc"
    path.write_bytes(FILES[what])
    with pytest.raises(InputError, match=r"x\.nc"):
        read_program(path)


def test_missing_file_and_folder(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        read_program(tmp_path / "gone.nc")
    with pytest.raises(InputError, match="folder"):
        read_program(tmp_path)


def test_line_ends_marks_and_accents(tmp_path):
    path = tmp_path / "x.nc"
    path.write_bytes("\ufeffG21 F60\r\n(Türblatt)\nG1 X1\r\nX2".encode())
    assert len(read_program(path).moves) == 2
    path.write_bytes("G21 F60\r\n(Türblatt)\r\nG1 X1\r\nX2".encode("latin-1"))
    assert len(read_program(path).moves) == 2


def test_a_truncated_program_says_where_it_breaks_off():
    with pytest.raises(InputError, match="line 3, column 7"):
        read_text("G21 F60\nG1 X1 Y1\nG1 X2 Y\n")


def test_the_arc_tolerance_is_a_setting():
    text = "G21 F60\nG2 X10.3 Y0 I5\n"
    with pytest.raises(InputError, match="does not close"):
        read_text(text)
    wide = Machine(controller=replace(Controller(), arc_tolerance=0.5))
    assert len(read_text(text, machine=wide).moves) == 1
