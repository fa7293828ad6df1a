"""A stopped program begun again: what is entered and what follows must make the same moves as the program itself."""

from dataclasses import replace

import numpy as np
import pytest

from shopcalc.errors import InputError
from shopcalc.gcode import read_text
from shopcalc.holding.resuming import modes_before, resume_program
from shopcalc.shop import Shop, demo_folder

INCH = """G20 G90 G17
G55
T4 M6 (SQ12)
G43 H4
S12000 M3
G0 X0 Y0 Z1
G1 Z0.5 F100
Y1
Z-0.1
X5
G0 Z0.5
G1
X6 Y0
Z-0.2
X9
G2 X10 Y1 I0 J1 F60
G0 Z1
M30
"""
MILLIMETRES = """G21 G90 G17 G54
T3 M6 (SQ6)
S18000 M4
G0 X0 Y0 Z20
G1 F1500
Z5
X30
Z-3
X60
Z5
X90
Z-4
X120
G0 Z20
M30
"""
RELATIVE = """G21 G91
G0 Z20
T1 M6
S9000 M3
G0 X10 Y10
G1 Z-25 F500
X50
G0 Z25
X10
G1 Z-25
X-20
G2 X10 Y10 I0 J10
G0 Z25
M30
"""


@pytest.fixture(scope="module")
def machine():
    """With both zeros known, so that moves are not in the coordinates of the second one."""
    plain = Shop.open(None).machine("router")
    return replace(plain, work_zeros={54: (100.0, 50.0, -140.0), 55: (400.0, 300.0, -120.0)})


@pytest.mark.parametrize(("text", "scale"), [(INCH, 25.4), (MILLIMETRES, 1.0), (RELATIVE, 1.0)])
def test_what_is_entered_and_the_rest_of_the_text_make_the_same_moves(text, scale, machine, tmp_path):
    """Codes, place and motion typed in as the steps say, then the program from that line: the same cuts."""
    file = tmp_path / "grooves.nc"
    file.write_text(text)
    lines = text.splitlines()
    whole = read_text(text, "grooves.nc", machine).moves
    last_cut = int(whole.line[whole.cutting].max())
    for done in range(last_cut):
        found = resume_program(file, machine, done)
        x, y = found.above
        typed = [" ".join(found.modes.codes).replace("G91", "G90"),
                 f"T{found.cutter} M6", f"S{found.rpm:g} M{found.modes.spindle or 3}",
                 f"G0 Z{found.safe_height / scale:.9f}", f"X{x / scale:.9f} Y{y / scale:.9f}",
                 " ".join({"G91"} & {*found.modes.codes}), f"G{max(found.modes.motion, 0)}"]  # fmt: skip
        rest = read_text("\n".join([*typed, *lines[found.line - 1 :]]), "rest", machine).moves
        count = int((whole.line >= found.line)[whole.cutting].sum())
        cuts, again = (m.points[1:][m.cutting][-count:] for m in (whole, rest))
        np.testing.assert_allclose(again, cuts, atol=1e-6)
        np.testing.assert_allclose(rest.feed[rest.cutting][-count:], whole.feed[whole.cutting][-count:])
        assert rest.cutting.sum() == count


def test_what_cannot_be_entered_is_said(machine):
    plain = modes_before(MILLIMETRES.encode(), 8, machine)
    assert (plain.codes, plain.motion, plain.spindle) == (("G21", "G17", "G90", "G94", "G54", "F1500"), 1, 4)
    told = modes_before(b"G21\nG92 X10\nG41 D1\nG0 Z9\nG81 X1 Y1 Z-3 R2 F300\nX2\n", 6, machine)
    assert told.motion == 81
    assert told.compensated
    assert told.moved
    assert modes_before(b"G21\nG43 H3\nG0 X1\nG49\nG0 X2\n", 5, machine).codes[-1] == "G54"
    assert modes_before(b"G21\nG43 H3\n(G49)\nG0 X1\n", 4, machine).codes[-1] == "G43 H3"
    resumed = resume_program(demo_folder() / "programs" / "panels.nc", machine, 120)
    words = " ".join(resumed.says())
    assert "undone it: G21 G17 G90 G94 G54 F5480." in words
    assert "Enter G0 last" in words
    assert words.index("Raise to") < words.index("Enter G0 last") < words.index("Begin at")
    relative = replace(resumed, modes=replace(resumed.modes, codes=("G21", "G91"))).says()
    assert "G91" not in " ".join(relative[:4])  # the way there is told from zero
    assert any("Enter G91 G0 last" in w for w in relative)
    assert "drilling cycle" not in words
    for added, word in (({"motion": 81}, "drilling cycle (G81)"), ({"compensated": True}, "G41"),
                        ({"moved": True}, "moved its zero")):  # fmt: skip
        assert word in " ".join(replace(resumed, modes=replace(resumed.modes, **added)).says())


def test_the_last_line_to_begin_after_is_named_truly(machine, tmp_path):
    file = tmp_path / "grooves.nc"
    file.write_text(MILLIMETRES)
    with pytest.raises(InputError, match="give a line from 0 to 12"):
        resume_program(file, machine, 13)
    assert resume_program(file, machine, 12).line > 0


def test_within_a_subprogram_it_is_refused(machine, tmp_path):
    """Its lines run once and in order here, but what is in force there comes from the line that called it."""
    file = tmp_path / "called.nc"
    file.write_text("G21 G90\nT1 M6\nS9000 M3\nG0 X0 Y0 Z9\nM98 P100\nM30\n"
                    "O100\nG0 X5\nG1 Z-1 F500\nX9\nG0 Z9\nM99\n")  # fmt: skip
    with pytest.raises(InputError, match=r"more than once|cannot be told"):
        resume_program(file, machine, 9)
