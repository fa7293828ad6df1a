"""Board feet and surface measure.

Sources: NHLA rules for the measurement and inspection of hardwood lumber, as given by the American Hardwood Export
Council (WE32) and as quoted by a lumber importer (WE33); the board foot is 144 cubic inches (definition, WE34).
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopcalc.stock import BOARD_FOOT, board_feet, nominal_thickness, surface_measure, tally
from shopcalc.units import read

ROWS = ["WE32", "WE33", "WE34"]


def test_tally_of_a_two_inch_board():
    """WE32: 2 x 6-1/4 in x 8 ft: 4-1/6 tallies 4, times 2 is 8; unrounded 8.33."""
    length, width, thickness = (read(t, "length") for t in ("8 ft", "6 1/4 in", "2 in"))
    assert surface_measure(length, width) == 4
    assert tally([(length, width)], thickness) == 8
    assert board_feet(length, width, thickness) == pytest.approx(8.33, abs=0.005)


@pytest.mark.parametrize(("width", "feet", "measure"), [("6 1/2 in", 8, 4), ("8 in", 12, 8), ("10 in", 13, 11)])
def test_surface_measure(width, feet, measure):
    """WE33: whole numbers, printed exactly."""
    assert surface_measure(read(f"{feet} ft", "length"), read(width, "length")) == measure


def test_the_unit():
    """WE34: 0.002359737 m3; 423.776 to the cubic metre; half of the last printed digit."""
    cubic_metres = BOARD_FOOT * 1e-9
    assert cubic_metres == pytest.approx(0.002359737, abs=5e-10)
    assert 1 / cubic_metres == pytest.approx(423.776, abs=5e-4)
    assert read("1 board_foot", "volume") == pytest.approx(BOARD_FOOT)  # pint's own definition


def test_a_length_drops_to_the_foot_below():
    """The rules' example: 5-1/4 x 8-1/2 counts as 8 ft long."""
    assert surface_measure(read("8.5 ft", "length"), read("5 1/4 in", "length")) == 3


def test_halves_go_down_and_up_in_turns():
    half = (read("8 ft", "length"), read("5 1/4 in", "length"))  # 3-1/2
    assert tally([half], 25.4) == 3
    assert tally([half] * 2, 25.4) == 7
    assert tally([half] * 10, 25.4) == 35


@given(st.lists(st.tuples(st.floats(305, 5000), st.floats(60, 400)), min_size=1, max_size=20))
def test_a_tally_strays_by_half_a_foot_a_board_at_most(boards):
    """Against whole-foot lengths, since the rules give the rest away."""
    exact = sum(board_feet(l // 304.8 * 304.8, w, 25.4) for l, w in boards)  # noqa: E741
    assert abs(tally(boards, 25.4) - exact) <= 0.5 * len(boards) + 1e-6


@pytest.mark.parametrize(
    ("rough", "sold"), [("3/4 in", 1), ("1 in", 1), ("1 1/16 in", 1.25), ("1 3/4 in", 2), ("3 1/2 in", 4), ("5 in", 5)]
)
def test_stock_is_sold_in_quarters(rough, sold):
    """Common practice, no source."""
    assert nominal_thickness(read(rough, "length")) == pytest.approx(sold * 25.4)
