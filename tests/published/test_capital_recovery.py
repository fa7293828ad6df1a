"""What a machine costs a year, against a textbook.

Source: L. Blank, A. Tarquin, Engineering Economy, capital recovery: P 50,000, S 5,000, 5 years, 10 %. The average
investment is the machine-rate method of the FAO and USDA manuals, formula from memory.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopcalc.quote import annual_cost, average_investment, capital_recovery_factor, sinking_fund_factor

ROWS = ["WE35", "WE36"]
P, S, YEARS, INTEREST = 50_000, 5_000, 5, 0.10


def test_factors_as_printed():
    """WE35: five decimals, so half of the last one."""
    assert capital_recovery_factor(INTEREST, YEARS) == pytest.approx(0.26380, abs=5e-6)
    assert sinking_fund_factor(INTEREST, YEARS) == pytest.approx(0.16380, abs=5e-6)


def test_annual_cost_both_ways():
    """WE35: 12,371 a year, by recovery of the difference and by recovery less a sinking fund; to the unit."""
    by_sinking_fund = P * capital_recovery_factor(INTEREST, YEARS) - S * sinking_fund_factor(INTEREST, YEARS)
    assert annual_cost(P, S, INTEREST, YEARS) == pytest.approx(12_371, abs=0.5)
    assert by_sinking_fund == pytest.approx(12_371, abs=0.5)


def test_average_investment():
    """WE36: exactly 32,000."""
    assert average_investment(P, S, YEARS) == 32_000


@given(st.floats(100, 1e6), st.floats(0, 1), st.floats(1e-6, 0.5), st.integers(1, 40))
def test_the_yearly_cost_pays_everything_back(purchase, share, interest, years):
    """Independent oracle: carry the debt year by year; what is left at the end is the salvage."""
    debt = purchase
    for _ in range(years):
        debt = debt * (1 + interest) - annual_cost(purchase, share * purchase, interest, years)
    assert debt == pytest.approx(share * purchase, abs=1e-6 * purchase * (1 + interest) ** years)


def test_without_interest_it_is_the_straight_line():
    assert annual_cost(P, S, 0.0, YEARS) == pytest.approx((P - S) / YEARS)
    assert annual_cost(P, S, 1e-12, YEARS) == pytest.approx((P - S) / YEARS, rel=1e-6)


@pytest.mark.parametrize(("interest", "years"), [(-0.1, 5), (0.1, 0), (0.1, -1), (float("nan"), 5)])
def test_impossible_terms_are_refused(interest, years):
    with pytest.raises(ValueError, match="more than 0 years"):
        capital_recovery_factor(interest, years)
