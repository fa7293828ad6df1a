"""Values that programs compute: against Python's own arithmetic, and refused where they cannot be computed."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopcalc.errors import InputError
from shopcalc.gcode import read_text
from shopcalc.gcode.expressions import read_value
from shopcalc.gcode.parameters import Parameters


def value(text, **parameters):
    p = Parameters()
    for key, v in parameters.items():
        p.set(int(key[1:]) if key[1:].isdigit() else key, v)
    return read_value(text, 0, p, chained=True).number


NUMBERS = st.floats(-99, 99).map(lambda v: round(v, 3))


@st.composite
def expressions(draw, depth=3):
    """An expression as a program writes it, and as Python does: every operation in its own brackets in Python's."""
    if depth == 0 or draw(st.booleans()):
        number = draw(NUMBERS)
        return f"{number:.3f}", f"({number:.3f})"
    kind = draw(st.sampled_from(["binary", "function", "sign"]))
    a, pa = draw(expressions(depth=depth - 1))
    if kind == "sign":
        return f"-[{a}]", f"(-({pa}))"
    if kind == "function":
        name, python = draw(st.sampled_from([("ABS", "abs"), ("FIX", "math.floor"), ("FUP", "math.ceil")]))
        return f"{name}[{a}]", f"float({python}({pa}))"
    b, pb = draw(expressions(depth=depth - 1))
    operator = draw(st.sampled_from(["+", "-", "*"]))
    space = draw(st.sampled_from(["", " "]))
    return f"[{a}{space}{operator}{space}{b}]", f"({pa} {operator} {pb})"


@given(expressions())
def test_brackets_functions_and_signs_are_what_python_says(pair):
    written, python = pair
    expected = eval(
        python, {"math": math, "abs": abs, "float": float}
    )  # the oracle is the interpreter of this language
    assert value(written) == pytest.approx(expected, abs=1e-9)


@given(st.lists(st.tuples(st.sampled_from(["+", "-", "*", "/"]), st.floats(1, 9).map(lambda v: round(v, 2)))), NUMBERS)
def test_products_come_before_sums_and_all_from_left_to_right(rest, first):
    written = f"[{first:.3f}" + "".join(f" {o} {v:.2f}" for o, v in rest) + "]"
    assert value(written) == pytest.approx(eval(written[1:-1]), rel=1e-12, abs=1e-9)


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        ("2**3**2", 64), ("[2*3**2]", 18), ("[-7 MOD 4]", 1), ("[7 MOD -4]", 3), ("ROUND[2.5]", 3), ("ROUND[-2.5]", -3),
        ("SIN[30]", 0.5), ("cos[60]", 0.5), ("TAN[45]", 1), ("ASIN[0.5]", 30), ("ACOS[0.5]", 60), ("SQRT[9]", 3),
        ("EXP[1]", math.e), ("LN[1]", 0), ("ATAN[-1]/[-1]", -135), ("ATAN[ 1 ] / [ 1 ]", 45), ("- [ 3 ]", -3),
        ("[1 EQ 1]", 1), ("[1 NE 1]", 0), ("[2 GT 1 AND 3 LT 2]", 0), ("[2 GT 1 OR 3 LT 2]", 1), ("[1 XOR 1]", 0),
        ("[1 + 2 GE 3]", 1), ("[1 AND 0 + 5]", 5), ("[0 LE -1]", 0), ("1 + 2 * 3", 7),
    ],
)  # fmt: skip
def test_operations_one_by_one(written, expected):
    assert value(written) == pytest.approx(expected)


def test_parameters_by_number_by_name_and_by_each_other():
    assert value("#1", p1=5) == 5
    assert value("#[1+1]", p2=7) == 7
    assert value("##1", p1=2, p2=9) == 9
    assert value("-#1", p1=5) == -5
    assert value("#<Depth of cut>", depthofcut=3) == 3
    assert value("[#1 EQ #0]") == value("[#1 EQ 0]") == value("[#0 EQ #0]") == value("[5 NE #0]") == 1
    assert value("[#1 EQ #0]", p1=0) == 0
    assert value("EXISTS[#<a>]") == 0
    assert value("EXISTS[#<a>]", a=1) == 1
    assert value("#7") is None


@pytest.mark.parametrize(
    ("line", "column", "said"),
    [
        ("G0 X[1/0]", 7, "division by zero"), ("G0 X[1 MOD 0]", 8, "division by zero"),
        ("G0 XSQRT[-1]", 5, "cannot be computed"), ("G0 XLN[0]", 5, "cannot be computed"),
        ("G0 XASIN[2]", 5, "cannot be computed"), ("G0 X[-2**0.5]", 8, "cannot be computed"),
        ("G0 X[9**99]", 7, "too large"), ("G0 XEXP[9999]", 5, "cannot be computed"), ("G0 X[1 2]", 8, "operator"),
        ("G0 X[]", 6, "value is missing"), ("G0 X[1+]", 8, "value is missing"), ("G0 X#", 6, "value is missing"),
        ("G0 X#1.5", 5, "no parameter"), ("G0 X#-1", 5, "no parameter"), ("G0 X#999999", 5, "no parameter"),
        ("G0 XATAN[1]", 5, "two values"), ("G0 XABS 5", 9, "brackets"), ("#1=", 4, "value is missing"),
        ("G0 X[" + "[" * 60 + "1" + "]" * 61, 55, "within each other"), ("G0 X1 ] Y2", 7, "brackets"),
        ("#1=5 = 6", 6, "brackets"), ("G0 X[BOGUS[1]]", 6, "no function"),
    ],
)  # fmt: skip
def test_what_cannot_be_computed_is_named_where_it_stands(line, column, said):
    with pytest.raises(InputError, match=said) as e:
        read_text(f"G21\n{line}", "p.nc")
    assert (e.value.faults[0].line, e.value.faults[0].column) == (2, column)
    assert e.value.faults[0].remedy


def test_any_word_may_be_computed_and_a_line_may_set_several_parameters():
    p = read_text("G21\n#1=2 #2=[1+3] #<f>=600\nG1 X#1 Y#2 F#<f>\nG[#1+1] X[#1+#2] I2 P1\nM[1+1]")
    assert p.moves.points[1:3].tolist() == [[2, 4, 0], [6, 4, 0]]
    assert p.moves.feed[0] == 600
    assert not p.warnings


def test_an_unset_parameter_is_0_by_the_standard_and_said():
    p = read_text("G21 F60\nG1 X#5 Y[#5+2]")
    assert p.moves.points[-1].tolist() == [0, 2, 0]
    assert [(n.line, n.column, n.word) for n in p.warnings] == [(2, 5, "#5")]
    assert p.warnings[0].message.endswith("taken as 0 (2 times)")
