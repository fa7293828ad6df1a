"""Units at the door: what people write is read or refused with the fix; what they read is in their system."""

import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopcalc.errors import InputError
from shopcalc.units import QUANTITIES, read, read_count, read_money, write, write_time


@pytest.mark.parametrize(
    ("text", "quantity", "house"),
    [
        ("1 1/4 in", "length", 31.75),
        ('3/8"', "length", 9.525),
        ("1-1/2 in", "length", 38.1),
        ("6' 3 1/2\"", "length", 1917.7),
        ("6 ft", "length", 1828.8),
        (".5 in", "length", 12.7),
        ("9.5mm", "length", 9.5),
        ("-3 mm", "length", -3),
        ("18000 rpm", "spindle_speed", 18000),
        ("300 1/s", "rate", 300),
        ("0.012 in/tooth", "feed_per_tooth", 0.3048),
        ("15 m/min", "feed", 15000),
        ("240 in/min", "feed", 6096),
        ("500 mm/s^2", "acceleration", 500),
        ("0.5 m/s2", "acceleration", 500),
        ("35 %", "ratio", 0.35),
        ("90 deg", "angle", math.pi / 2),
        ("5 m²", "area", 5e6),
        ("3 hp", "power", 3 * 745.6998715822702),
        ("1 board_foot", "volume", 2359737.216),
        ("12 min", "time", 720),
        ("1360 lbf", "force", 1360 * 4.4482216152605),
    ],
)
def test_what_people_write(text, quantity, house):
    assert read(text, quantity) == pytest.approx(house, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "said", "fix"),
    [
        ("12", "no unit", '"12 mm" or "12 in"'),
        (12, "no unit", '"12 mm" or "12 in"'),
        (12.5, "no unit", '"12.5 mm"'),
        ("", "empty", "9.5 mm"),
        (None, "not a length", "9.5 mm"),
        (True, "not a length", "9.5 mm"),
        (["1 mm"], "not a length", "9.5 mm"),
        ("12 kg", "not a length", "measures something else"),
        ("12 mn", "not known", "mm"),
        ("twelve mm", "not a number", "9.5 mm"),
        ("3 1/0 in", "not a number", "9.5 mm"),
        ("nan mm", "not a number", "9.5 mm"),
        ("inf mm", "not a number", "9.5 mm"),
        ("1e99 mm", "too large", "check the number"),
        ("1 000 mm", "not a number", "9.5 mm"),
        ("21,5 mm", "comma in its number", "write a point"),
        ("2½ in", "fraction in one character", '"2 1/2 in"'),
        ("12 mm mm", "not a length", "something else"),
        ("3 __import__('os')", "not known", "length"),
        ("0 mm", "must be more than 0", "check the number"),
    ],
)
def test_what_is_refused_names_the_fix(text, said, fix):
    with pytest.raises(InputError) as e:
        read(text, "length", above=0.0)
    fault = e.value.faults[0]
    assert said in fault.message
    assert fix in f"{fault.remedy} {fault.message}"


@pytest.mark.parametrize("quantity", QUANTITIES)
def test_the_examples_shown_can_be_read(quantity):
    for example in QUANTITIES[quantity].examples.split(" or "):
        assert read(example.strip('"'), quantity) > 0


@given(st.floats(-1e4, 1e4, allow_nan=False), st.sampled_from(["metric", "inch"]))
def test_lengths_survive_writing_and_reading(value, system):
    """To what is shown: 0.005 mm, a ten-thousandth of an inch, or the 0.02 mm within which a fraction is written."""
    tolerance = 0.005001 if system == "metric" else 0.021
    assert read(write(value, "length", system), "length") == pytest.approx(value, abs=tolerance)


@given(st.integers(0, 3900), st.sampled_from([1, 2, 4, 8, 16, 32, 64]))
def test_inch_fractions_are_exact(numerator, denominator):
    value = numerator / denominator
    assert read(write(value * 25.4, "length", "inch"), "length") == pytest.approx(value * 25.4, abs=1e-9)


@pytest.mark.parametrize(
    ("value", "quantity", "system", "text"),
    [
        (31.75, "length", "inch", "1 1/4 in"),
        (15.621, "length", "inch", "0.615 in"),
        (31.75, "length", "metric", "31.75 mm"),
        (3600, "feed", "inch", "142 in/min"),
        (0.1, "feed_per_tooth", "inch", "0.0039 in/tooth"),
        (0.35, "ratio", "metric", "35 %"),
        (math.nan, "time", "metric", "unknown"),
        (math.inf, "feed", "metric", "no limit"),
        (18000, "spindle_speed", "inch", "18000 rev/min"),
    ],
)
def test_what_people_read(value, quantity, system, text):
    assert write(value, quantity, system) == text


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(8.42, "8.4 s"), (59.99, "1 min 00 s"), (270, "4 min 30 s"), (3599.7, "1 h 00 min"), (7500, "2 h 05 min"),
     (None, "unknown")],
)  # fmt: skip
def test_times(seconds, text):
    assert write_time(seconds) == text


@pytest.mark.parametrize(
    ("text", "per", "amount"),
    [
        ("95 USD/h", "h", "95"),
        ("1.50 USD/min", "h", "90"),
        ("8.5 USD/bf", "board_foot", "8.5"),
        ("14 usd/m^2", "m**2", "14"),
        ("3 USD/piece", "piece", "3"),
        ("120.50 USD", None, "120.50"),
    ],
)
def test_money(text, per, amount):
    assert read_money(text, "USD", per=per) == Decimal(amount)


@pytest.mark.parametrize(
    ("text", "per", "said"),
    [
        ("95", "h", "not an amount of money"),
        (95, "h", "not an amount of money"),
        ("95 EUR/h", "h", "counts in USD"),
        ("95 USD", "h", "does not say per what"),
        ("95 USD/kg", "h", "cannot be turned into"),
        ("95 USD/h", None, "price per h"),
        ("-5 USD", None, "below the least"),
        ("99999999999 USD", None, "too large"),
    ],
)
def test_money_refused(text, per, said):
    with pytest.raises(InputError, match=said):
        read_money(text, "USD", per=per)


@pytest.mark.parametrize("text", ["1.5", "-1", "x", "", "2 mm", True, None, "1000000000"])
def test_counts_refused(text):
    with pytest.raises(InputError):
        read_count(text)


def test_counts_need_no_unit():
    assert read_count("12") == read_count(12) == 12


BAD_TEXTS = [
    "",
    " ",
    "abc",
    "mm",
    "1..2 mm",
    "1,5 mm",
    "--3 mm",
    "1/0 in",
    "1e400 mm",
    "5 parsnip",
    None,
    True,
    [],
    7,
    7.5,
]


@pytest.mark.parametrize("text", BAD_TEXTS, ids=repr)
@pytest.mark.parametrize("quantity", QUANTITIES)
def test_every_quantity_refuses_every_kind_of_slip_with_a_remedy(quantity, text):
    with pytest.raises(InputError) as e:
        read(text, quantity)
    fault = e.value.faults[0]
    assert fault.message
    assert fault.remedy


@pytest.mark.parametrize("quantity", QUANTITIES)
def test_a_value_of_another_quantity_is_refused_by_name(quantity):
    """Each quantity's first example is no value of any other, but where the dimension is the same."""
    alike = [{"speed", "feed"}, {"length", "distance"}]
    for other, q in QUANTITIES.items():
        if other == quantity or any({other, quantity} <= pair for pair in alike):
            continue
        with pytest.raises(InputError) as e:
            read(q.examples.split(" or ")[0].strip('"'), quantity)
        assert e.value.faults[0].remedy


@pytest.mark.parametrize(
    ("bound", "text", "said"),
    [
        ({"above": 0.0}, "0 mm", "more than 0 mm"),
        ({"minimum": 2.0}, "1.99 mm", "below the least allowed, 2 mm"),
        ({"maximum": 25.4}, "1 1/64 in", "above the most allowed, 25.4 mm"),
    ],
)
def test_bounds_are_named_in_house_units(bound, text, said):
    with pytest.raises(InputError, match=said):
        read(text, "length", **bound)


@pytest.mark.parametrize(("bound", "text"), [({"minimum": 2.0}, "2 mm"), ({"maximum": 25.4}, "1 in")])
def test_bounds_themselves_are_allowed(bound, text):
    assert read(text, "length", **bound) == next(iter(bound.values()))


def test_a_bare_share_is_shown_in_percent():
    """0.18 without its unit most likely means 18 %, never 0.18 %."""
    with pytest.raises(InputError, match='"18 %"'):
        read(0.18, "ratio")
