"""T. Kramer, F. Proctor, E. Messina, The NIST RS274NGC Interpreter, Version 3, NISTIR 6556 (2000).

What is not reproduced, and why: the text of sample program C.1 is not at hand, so its lengths of rapids and straight
cuts (WE48) cannot be read from it here. Its five arcs (WE50) are given by radius and sweep: a program of our own cuts
them beside straight lines of the published length in all, so that the arcs' length and the feed time over both (WE49)
are checked, and the lengths of the lines are not.
"""

import math

import numpy as np
import pytest

from shopcalc.errors import InputError
from shopcalc.gcode import read_text
from shopcalc.machines import Machine
from shopcalc.motion import machine_time
from shopcalc.moves import Kind

ROWS = ["WE49", "WE50", "WE51", "WE52", "WE53", "WE54", "WE55", "WE56"]


def path(text, start=(1, 2, 3)):
    m = read_text(f"G21 F100\n{text}", start=start).moves
    return [(Kind(int(k)).name, *(round(float(v), 9) for v in p)) for k, p in zip(m.kind, m.points[1:], strict=True)]


def test_section_3_5_3_2_centre_format():
    """WE51: from (7, 7), G17 G2 X10 Y16 I3 J4: centre (10, 11), radius 5; the sweep follows from them."""
    m = read_text("G21 F100\nG17 G2 X10 Y16 I3 J4", start=(7, 7, 0)).moves
    assert m.arc_centre[0].tolist() == [10, 11, 0]
    assert m.arc_radius[0] == pytest.approx(5)
    assert abs(math.degrees(m.arc_sweep[0])) == pytest.approx(143.1301, abs=5e-5)


def test_section_3_5_16_2_example_1():
    """WE52: four moves, in the order the standard gives them."""
    assert path("G90 G81 G98 X4 Y5 Z1.5 R2.8") == [
        ("RAPID", 4, 5, 3), ("RAPID", 4, 5, 2.8), ("LINE", 4, 5, 1.5), ("RAPID", 4, 5, 3),
    ]  # fmt: skip


def test_section_3_5_16_2_example_2():
    """WE53: incremental with L3."""
    expected = [("RAPID", 1, 2, 4.8)]
    for x, y in ((5, 7), (9, 12), (13, 17)):
        expected += [("RAPID", x, y, 4.8), ("LINE", x, y, 4.2), ("RAPID", x, y, 4.8)]
    assert path("G91 G81 G98 X4 Y5 Z-0.6 R1.8 L3") == expected


def test_appendix_c_3_pecks():
    """WE54: R0.2 Z-1.1 Q0.21 takes seven pecks."""
    m = read_text("G20 F10\nG83 X1 Y1 R0.2 Z-1.1 Q0.21", start=(0, 0, 25.4)).moves
    assert int((m.kind == Kind.LINE).sum()) == 7
    assert m.points[:, 2].min() == pytest.approx(-1.1 * 25.4)


def test_section_3_5_19_inverse_time():
    """WE56: G93 F2 takes half a minute whatever the length."""
    m = read_text("G21 G93\nG1 X77 Y-13 F2").moves
    assert 60 * m.lengths[0] / m.feed[0] == pytest.approx(30)


@pytest.mark.parametrize(("radius", "sweep"), [(2.5, 270), (2.5, 360), (4, 77.3644), (2.5, 180)])
def test_appendix_c_1_arcs(radius, sweep):
    """WE50: radius and sweep of each arc, cut by our own program from its end points (sweep to 1e-4 degrees)."""
    end = radius * np.cos(math.radians(sweep)), radius * np.sin(math.radians(sweep))
    text = f"G21 F20\nG3 X{end[0]:.7f} Y{end[1]:.7f} I{-radius} J0"
    m = read_text(text, start=(radius, 0, 0)).moves
    assert m.arc_radius[0] == pytest.approx(radius)
    assert math.degrees(m.arc_sweep[0]) == pytest.approx(sweep, abs=1e-4)


def test_appendix_c_1_arc_lengths_add_up():
    """WE48, the arcs' share of it: 56.4519 mm."""
    turns = [(2.5, 270), (2.5, 360), (2.5, 360), (4, 77.3644), (2.5, 180)]
    text = ["G21 F20 G91"]
    for radius, sweep in turns:
        a = math.radians(sweep)
        text.append(f"G3 X{radius * math.cos(a) - radius:.7f} Y{radius * math.sin(a):.7f} I{-radius} J0")
    assert read_text("\n".join(text)).moves.cutting_length == pytest.approx(56.4519, abs=1e-4)


def test_appendix_c_1_arcs_take_their_share_of_the_feed_time():
    """WE48 and WE49: 126.9785 mm of lines (30 mm of them plunges) and the five arcs at F20 take 550.29 s.

    A machine without limits of acceleration and speed; the lines are ours, of the published length together.
    """
    text = "G21 F20 G91\nG1 Z-30\nX96.9785\nG3 X-2.5 Y-2.5 I-2.5\nG3 I-2.5\nG3 I2.5\nG2 X5 I2.5\n"
    a = math.radians(77.3644)
    text += f"G3 X{4 * math.cos(a) - 4:.8f} Y{4 * math.sin(a):.8f} I-4"
    time = machine_time(read_text(text).moves, Machine())
    assert time.moves.cutting_length == pytest.approx(183.4305, abs=1e-4)
    assert time.total_s == pytest.approx(550.29, abs=0.01)


@pytest.mark.parametrize(
    ("written", "value"),
    [
        ("[1+2*3-4/5]", 6.2), ("[15 MOD 4]", 3), ("FIX[-2.8]", -3), ("FUP[-2.8]", -2), ("ATAN[1.7321]/[1]", 60),
        ("[2.0/3*1.5-5.5/11.0]", 0.5),
    ],
)  # fmt: skip
def test_section_3_3_2_expressions(written, value):
    """WE55: the standard's own examples, as the coordinate of a rapid; 1.7321 is 60 degrees to four digits only."""
    assert read_text(f"G21 G0 X{written} Y1").moves.points[-1, 0] == pytest.approx(value, abs=1e-3)


def test_section_3_3_parameters_get_their_values_after_the_whole_line_is_read():
    """``#3=6 G1 X#3`` uses the old #3."""
    assert path("#3=15\n#3=6 G0 X#3 Y0\nX#3", start=(0, 0, 0)) == [("RAPID", 15, 0, 0), ("RAPID", 6, 0, 0)]


def test_section_3_3_blanks_do_not_change_a_line():
    """The standard's own example: blanks and tabs may stand anywhere, also in a number."""
    assert path("g0x +0. 12 34y 7") == path("g0 x+0.1234 y7") == [("RAPID", 0.1234, 7, 3)]


def test_table_8_order_of_execution():
    """Feed, speed, cutter, spindle, dwell, plane, distance mode, motion, stop, whatever the order of the words."""
    words = ["M0", "X5", "G1", "G91", "G18", "G9", "M3", "M6", "T2", "S900", "F600", "G94"]
    for turn in range(len(words)):
        m = read_text("G21\n" + " ".join(words[turn:] + words[:turn]), start=(1, 2, 3)).moves
        assert [Kind(int(k)).name for k in m.kind] == ["CHANGE", "STOP", "LINE", "STOP"]
        assert m.points[-1].tolist() == [6, 2, 3]
        assert (m.feed[2], m.rpm[2], m.cutter[2]) == (600, 900, 2)


def test_section_3_5_radius_format_refuses_a_full_circle():
    with pytest.raises(InputError, match="full circle"):
        read_text("G21 F100\nG2 X0 Y0 R5")


def test_section_3_4_two_words_of_one_group():
    with pytest.raises(InputError, match="same group"):
        read_text("G21\nG17 G18 X1")
