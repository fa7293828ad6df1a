"""Subprograms, loops and branches: each program against its moves written out by a loop of Python."""

import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopcalc.errors import InputError
from shopcalc.gcode import flow, read_text
from shopcalc.machines import Controller, Machine
from shopcalc.moves import Kind


def ends(text, machine=None):
    return read_text(text, machine=machine).moves.points[1:].round(6).tolist()


def xs(text):
    moves = read_text("G21 G90 F600 G1\n" + text).moves
    return moves.points[1:][moves.kind <= Kind.ARC, 0].round(6).tolist()


def refused(text):
    with pytest.raises(InputError) as e:
        read_text("G21 G90 F600 G1\n" + text, "p.nc")
    fault = e.value.faults[0]
    assert fault.remedy
    return fault.line - 1, fault.column, fault.message


# --- O words ----------------------------------------------------------------------------------------------------------


def test_while_repeat_and_do():
    assert xs("#1=1\no1 while [#1 LE 3]\nX#1\n#1=[#1+1]\no1 endwhile\nX9") == [1, 2, 3, 9]
    assert xs("#1=0\nO2 REPEAT [3]\n#1=[#1+1]\nX#1\nO2 ENDREPEAT\nX9") == [1, 2, 3, 9]
    assert xs("#1=0\no3 do\n#1=[#1+2]\nX#1\no3 while [#1 LT 6]\nX9") == [2, 4, 6, 9]
    assert xs("o1 while [0]\nX1\no1 endwhile\nX9") == xs("o1 repeat [0]\nX1\no1 endrepeat\nX9") == [9]


def test_break_and_continue():
    body = "#1=[#1+1]\no9 if [#1 EQ 2]\no1 {}\no9 endif\nX#1\n"
    loops = ["o1 while [#1 LT 4]\n" + body + "o1 endwhile", "o1 repeat [4]\n" + body + "o1 endrepeat",
             "o1 do\n" + body + "o1 while [#1 LT 4]"]  # fmt: skip
    for loop in loops:
        assert xs("#1=0\n" + loop.format("break") + "\nX9") == [1, 9], loop
        assert xs("#1=0\n" + loop.format("continue") + "\nX9") == [1, 3, 4, 9], loop


@pytest.mark.parametrize(("value", "expected"), [(1, 1), (2, 2), (3, 3), (9, 4)])
def test_branches(value, expected):
    text = (
        f"#1={value}\no1 if [#1 EQ 1]\nX1\no1 elseif [#1 EQ 2]\nX2\no1 elseif [#1 EQ 3]\nX3\no1 else\nX4\no1 endif\nX9"
    )
    assert xs(text) == [expected, 9]


def test_calls_have_their_own_values_and_give_one_back():
    text = (
        "#1=5\no<slot> sub\nX#1\n#1=99\n#<_deep>=7\no<slot> endsub [#2*2]\n"
        "o<slot> call [1] [4]\nX#1\nX#<_value>\nX#<_deep>\n"
    )
    assert xs(text) == [1, 5, 8, 7]


def test_a_subprogram_may_stand_behind_the_end_and_calls_may_nest():
    text = "o1 call [3]\nX9\nM2\no1 sub\nX#1\no2 if [#1 GT 1]\no1 call [#1-1]\no2 endif\nX[#1+10]\no1 endsub\n"
    assert xs(text) == [3, 2, 1, 11, 12, 13, 9]
    assert xs("o1 call\nX9\nM2\no1 sub\nX1\no1 return\nX2\no1 endsub") == [1, 9]


def test_the_number_of_a_call_may_be_computed_and_names_ignore_case_and_blanks():
    assert xs("#5=101\no#5 call\no[#5+1] call\nM2\nO0101 sub\nX1\nO101 endsub\no102 sub\nX2\no102 endsub") == [1, 2]
    assert xs("o<A b> call\nM2\nO < aB > sub\nX1\no<ab> endsub") == [1]


# --- bare words -------------------------------------------------------------------------------------------------------


def test_subprograms_by_number_with_repeats_in_both_ways_of_writing():
    sub = "\nM30\nO0012\nG91 X1\nG90\nM99\n"
    assert xs("M98 P12 L3\nX9" + sub) == xs("M98 P30012\nX9" + sub) == [1, 2, 3, 9]
    assert xs("X5 M98 P12\nX9" + sub.replace("O0012", ":12")) == [5, 6, 9]
    assert xs("M98 P12 L0\nX9" + sub) == [9]
    assert xs("M98 P12\nX9\nM30\nO12 G91 X1\nG90\nM99") == [1, 9]


def test_a_subprogram_may_stand_behind_the_last_percent_sign():
    assert ends("%\nG21 G90 F600 G1\nM98 P5\nX9\nM30\n%\nO5\nX1\nM99\n%\n")[:2] == [[1, 0, 0], [9, 0, 0]]


def test_macro_calls_set_numbered_values_by_letters_and_leave_out_what_is_not_given():
    text = "G65 P7 X4 A2 Z-1\nX9\nM30\nO7\nX#24 Y#25 Z#26\nX#1\nM99"
    assert ends("G21 G90 F600 G1 Y3\n" + text)[1:4] == [[4, 3, -1], [2, 3, -1], [9, 3, -1]]


def test_if_goto_and_while_do():
    assert xs("#1=0\nN10 #1=#1+1\nX#1\nIF [#1 LT 3] GOTO 10\nX9") == [1, 2, 3, 9]
    assert xs("GOTO 20\nX1\nN0020 X9") == [9]
    assert xs("#1=3\nWHILE [#1 GT 0] DO2\nX#1\n#1=#1-1\nEND2\nX9") == [3, 2, 1, 9]
    assert xs("#1=0\nDO1\n#1=#1+1\nIF [#1 EQ 3] GOTO 5\nX#1\nEND1\nN5 X9") == [1, 2, 9]
    assert xs("IF [1 EQ 1] THEN #1=4\nIF [1 EQ 2] THEN #1=5\nX#1") == [4]
    assert xs("IF [1 GT 0] X3\nIF [1 LT 0] X4\nX9") == [3, 9]


def test_m99_with_a_block_number_and_m97():
    assert xs("M98 P5\nX1\nN30 X2\nM30\nO5\nX7\nM99 P30") == [7, 2]
    assert xs("M97 P50\nX1\nM30\nN50 X7\nM99") == [7, 1]


def test_m99_outside_a_subprogram_is_counted_once_and_said():
    p = read_text("G21 G0 X1\nM99\nX2")
    assert len(p.moves) == 1
    assert any("counted once" in n.message for n in p.warnings)


# --- bounds and faults ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        ("o1 while [1]\nX1", 1, "end of o1 is not in this file"), ("o1 endwhile", 1, "no beginning"),
        ("o1 call", 1, "not in this file"), ("M98 P9", 1, "not in this file"), ("GOTO 7", 1, "N7 is not in this file"),
        ("M98", 1, "does not name a subprogram"), ("END1", 1, "no DO1"), ("o1 if [0]\nX1", 1, "not in this file"),
        ("o1 else", 1, "no IF"), ("WHILE [1]", 1, "without its DO"), ("IF [1 EQ 1]", 1, "nothing to do"),
        ("o1 repeat [1.5]\no1 endrepeat", 1, "no number of rounds"), ("o1 sub\no1 endsub\no1 endsub", 3, "not called"),
        ("o1 if 1\no1 endif", 1, "condition in brackets"), ("M98 P5\nM30\nO5\nX1", 4, "does not go back"),
        ("o1 call\nM2\no1 sub\no1 call\no1 endsub", 4, "20 calls within each other"),
        ("X1 o1 call", 1, "middle of a block"), ("o1 call [1] X5\nM2\no1 sub\no1 endsub", 1, "value is missing"),
        ("o1 sub X5\no1 endsub", 1, "behind what ends its line"),
    ],
)  # fmt: skip
def test_faults_are_placed(text, line, said):
    at, _, message = refused(text)
    assert re.search(said, message, re.IGNORECASE), message
    assert at == line


@pytest.mark.parametrize(
    "text", ["o1 while [1]\n#1=1\no1 endwhile", "N1 GOTO 1", "DO1\nEND1", "#1=0\no1 do\n#1=[#1+1]\no1 while [#1 GT 0]"]
)
def test_a_loop_in_which_nothing_moves_is_refused(text, monkeypatch):
    monkeypatch.setattr(flow, "_MOST_IDLE", 2000)
    assert "loop without an end" in refused(text)[2]


def test_a_loop_that_moves_without_end_is_refused(monkeypatch):
    monkeypatch.setattr(flow, "_MOST_LINES", 3000)
    assert "more than 3000 lines" in refused("o1 while [1]\nG91 X1 (a move)\nX[-1]\no1 endwhile")[2]


def test_marked_blocks_are_left_out_where_the_switch_is_on():
    text = "G21 G0 X1\n/X2\nX3"
    assert len(ends(text)) == 3
    assert len(ends(text, Machine(controller=Controller(skips_marked_blocks=True)))) == 2


@st.composite
def programs(draw, depth=0, path="p"):
    """A nest of loops and branches as text, and the same as a list of steps that Python walks through."""
    out, steps = [], []
    for place in range(draw(st.integers(1, 3))):
        kind = draw(st.sampled_from(["move", "move", "repeat", "if", "call"] if depth < 3 else ["move"]))
        if kind == "move":
            by = draw(st.integers(-5, 5))
            out.append(f"G91 X{by}")
            steps.append(("move", by))
            continue
        inner, inside = draw(programs(depth=depth + 1, path=f"{path}{place}"))
        count = draw(st.integers(0, 3))
        steps.append((kind, count, inside))
        label = f"<{path}{place}>"
        if kind == "repeat":
            out += [f"o{label} repeat [{count}]", *inner, f"o{label} endrepeat"]
        elif kind == "if":
            out += [f"o{label} if [{count} GT 1]", *inner, f"o{label} endif"]
        else:
            out += [f"o{label} sub", *inner, f"o{label} endsub", *[f"o{label} call"] * count]
    return out, steps


def walk(steps):
    for step in steps:
        if step[0] == "move":
            yield step[1]
        else:
            times = {"repeat": step[1], "if": int(step[1] > 1), "call": step[1]}[step[0]]
            for _ in range(times):
                yield from walk(step[2])


@given(programs())
def test_nested_flow_is_what_python_walks_through(program):
    text, steps = program
    moved = [by for by in walk(steps) if by]
    got = read_text("\n".join(["G21 G0", *text, "G0 Y1"])).moves.points[:, 0]
    assert np.allclose(np.diff(got)[:-1], moved)
