"""Work zeros, shifts, home, machine coordinates and further axes."""

import numpy as np
import pytest

from shopcalc.errors import InputError
from shopcalc.gcode import read_text
from shopcalc.machines import Axis, Controller, Machine
from shopcalc.moves import Kind

KNOWN = Machine(
    controller=Controller(units="mm"), home=(0.0, 0.0, 0.0), second_home=(500.0, 0.0, -10.0),
    work_zeros={54: (100.0, 50.0, -80.0), 55: (400.0, 50.0, -80.0)},
)  # fmt: skip
TURNING = Machine(controller=Controller(units="mm"), more_axes={"a": Axis(3600, 3600, 300), "u": Axis(1000, 1000, 100)})


def ends(text, machine=None):
    return read_text(text, machine=machine).moves.points[1:].round(6).tolist()


def said(text, machine=None):
    return [n.word for n in read_text(text, machine=machine).warnings]


def test_a_second_work_zero_is_where_the_machine_says_in_the_frame_of_the_first():
    text = "G21 G0 G54 X1 Y2 Z3\nG55 X1\nG54 X1"
    assert ends(text, KNOWN) == [[1, 2, 3], [301, 2, 3], [1, 2, 3]]
    assert not said(text, KNOWN)
    assert ends(text) == [[1, 2, 3]]
    assert said(text) == ["G55"]


def test_g92_shifts_each_work_zero_and_is_forgotten_saved_and_restored():
    text = "G21 G0 X10\nG92 X0\nX1\nG55 X1\nG92.2\nX1\nG92.3\nX1\nG92.1\nG92.3\nG54 X1"
    assert [p[0] for p in ends(text, KNOWN)] == [10, 11, 311, 301, 311, 1]


def test_home_by_way_of_an_intermediate_point():
    assert ends("G21 G0 X20 Y20 Z-5\nG91 G28 Z15", KNOWN)[1:] == [[20, 20, 10], [20, 20, 80]]
    assert ends("G21 G0 X20 Y20 Z-5\nG28", KNOWN)[1:] == [[-100, -50, 80]]
    assert ends("G21 G0 X20\nG30 Y5", KNOWN)[1:] == [[20, 5, 0], [20, -50, 0]]
    assert ends("G21 G0 X20\nG28.1\nX90\nG28 X50", KNOWN)[2:] == [[50, 0, 0], [20, 0, 0]]
    assert said("G21 G0 X20\nG28 X30") == ["G28"]


def test_machine_coordinates():
    assert ends("G21 G0 X20\nG53 G0 Z0\nG53 X100 Y50", KNOWN)[1:] == [[20, 0, 80], [0, 0, 80]]
    m = read_text("G21 F60 G0 X20\nG1 G53 Z0", machine=KNOWN).moves
    assert m.kind[1] == Kind.LINE
    assert said("G21 G0 X20\nG53 G0 Z0") == ["G53"]
    with pytest.raises(InputError, match="G0 or G1 only"):
        read_text("G21 F60 G2 X20 I10\nG53 G2 X0 I5", machine=KNOWN)


def test_zeros_set_by_the_program():
    assert ends("G21 G0 X10\nG10 L20 P1 X0\nX1") == [[10, 0, 0], [11, 0, 0]]
    assert ends("G21 G0 X10\nG10 L2 P1 X101 Y50 Z-80\nX10", KNOWN) == [[10, 0, 0], [11, 0, 0]]
    assert ends("G21 G0 X10\nG10 L2 P2 X200\nG55 X1", KNOWN)[1] == [101, 0, 0]
    assert ends("G20 G0 X1\nG10 L20 P0 X0\nX1")[1] == [50.8, 0, 0]
    assert said("G21 G0 X1\nG10 L1 P3 Z5 R2") == ["L1"]
    for wrong in ("G10 L2 P99 X1", "G10 X1", "G10 L2 P1 X1 R30"):
        with pytest.raises(InputError):
            read_text(f"G21\n{wrong}", machine=KNOWN)


def test_programs_may_ask_where_things_are():
    text = "G21 G0 X7 Y2\n#1=#5420\n#2=#5221\n#3=#5220\nG55\n#4=#5220\nX#1 Y#2 Z[#3*10+#4]"
    assert ends(text, KNOWN)[-1] == [307, 100, 12]
    assert read_text("G20 G0 X1\nX[#5420+1]").moves.points[-1, 0] == pytest.approx(50.8)


def test_further_axes_travel_with_the_block_where_the_machine_has_them():
    m = read_text("G21 F60 G1 X5 A90\nA180\nU3 X6\nX7\nG91 A-30", machine=TURNING).moves
    assert m.points[1:, 0].tolist() == [5, 5, 6, 7, 7]
    assert m.extra["A"].tolist() == [0, 90, 180, 180, 180, 150]
    assert m.extra["U"].tolist() == [0, 0, 0, 3, 3, 3]
    assert not said("G21 F60 G1 X5 A90\nA180", TURNING)
    assert said("G21 F60 G1 X5 B90", TURNING) == ["B90"]


def test_inverse_time_counts_for_a_turn_alone():
    m = read_text("G21 G93 G1 A90 F2", machine=TURNING).moves
    assert m.feed[0] == 180  # 90 degrees in half a minute


def test_centres_are_absolute_where_the_machine_says_so():
    machine = Machine(controller=Controller(units="mm", arc_centre="absolute"))
    a = read_text("G0 X10\nF60 G2 X30 I20 J0", machine=machine).moves
    b = read_text("G21 G0 X10\nF60 G2 X30 I10 J0").moves
    assert np.allclose(a.arc_centre, b.arc_centre)
    assert np.allclose(read_text("G0 X10\nG91.1 F60 G2 X30 I10 J0", machine=machine).moves.arc_centre, b.arc_centre)


def test_arcs_of_several_turns():
    m = read_text("G21 F60 G2 X0 Y0 I5 Z-3 P3").moves
    assert np.degrees(m.arc_sweep[0]) == pytest.approx(-1080)
    assert m.cutting_length == pytest.approx(np.hypot(3 * 2 * np.pi * 5, 3))
    m = read_text("G21 F60 G3 X10 Y0 I5 P2").moves
    assert np.degrees(m.arc_sweep[0]) == pytest.approx(180 + 360)


def test_holes_across_other_planes():
    m = read_text("G21 F60 G18 G0 Y9\nG98 G81 X5 Z2 Y-4 R1").moves
    assert m.points[1:].tolist() == [[0, 9, 0], [5, 9, 2], [5, 1, 2], [5, -4, 2], [5, 9, 2]]


def test_how_a_control_pecks_is_its_dialect():
    text = "G21 F60 G0 Z10\nG98 G83 X0 Y0 Z-4 R2 Q3"
    tops = lambda c: read_text(text, machine=Machine(controller=c)).moves.points[4:6, 2].tolist()  # noqa: E731
    assert tops(Controller(units="mm")) == [10, pytest.approx(-1 + 0.254)]
    assert tops(Controller(units="mm", peck_return="retract", peck_restart=1.0)) == [2, 0]
    text = text.replace("G83", "G73")
    assert tops(Controller(units="mm", chip_break=0.5))[0] == -0.5


def test_r_under_incremental_positions_counts_from_the_present_or_the_first_height():
    text = "G21 F60 G0 Z10\nG99 G81 X0 Z-4 R5\nG91 X5 R-3 Z-2"
    holes = lambda how: read_text(text, machine=Machine(controller=Controller(units="mm", incremental_r=how))).moves  # noqa: E731
    assert holes("present").points[-1, 2] == 2  # 5 - 3
    assert holes("old").points[-1, 2] == 7  # 10 - 3


def test_tenths_of_an_inch_after_g70():
    assert read_text("G70 F100 G1 X1").moves.feed[0] == 2540
    machine = Machine(controller=Controller(tenths_of_inch=True))
    assert read_text("G70 F100 G1 X1\nX2\nF200\nX3\nX4\nG20 F10 X5", machine=machine).moves.feed.tolist() == [
        254, 254, 508, 508, 254,
    ]  # fmt: skip


def test_tapping_and_boring_by_hand():
    m = read_text("G21 F60 S500 M3 G0 Z5\nG84 X1 Z-4 R2").moves
    assert [Kind(k).name for k in m.kind[2:].tolist()] == [
        "RAPID",
        "RAPID",
        "LINE",
        "STOP",
        "STOP",
        "LINE",
        "STOP",
        "STOP",
    ]
    m = read_text("G21 F60 S500 M3 G0 Z5\nG88 X1 Z-4 R2 P.5").moves
    assert [Kind(k).name for k in m.kind[4:].tolist()] == ["LINE", "DWELL", "STOP", "STOP", "RAPID", "STOP"]
