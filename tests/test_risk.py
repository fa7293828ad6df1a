"""Spreads and sampling: seeds, shared factors, percentiles."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopcalc.risk import Spread, percentiles, sample, spread_of_mean, spread_of_three, three_point

SIGMAS = st.floats(0, 1.5)
MEDIANS = st.floats(0.01, 1e6)


@given(MEDIANS, SIGMAS)
def test_percentiles_ascend_and_the_median_is_one_of_them(median, sigma):
    s = Spread(median, sigma)
    assert s.percentile(0.5) == pytest.approx(median)
    assert s.percentile(0.1) <= s.percentile(0.5) <= s.percentile(0.8) <= s.percentile(0.9)
    assert s.mean >= median * (1 - 1e-12)


@given(MEDIANS, SIGMAS)
def test_a_spread_keeps_the_mean_it_was_given(mean, sigma):
    assert spread_of_mean(mean, sigma).mean == pytest.approx(mean)


@given(st.floats(0.01, 100), st.floats(0, 100), st.floats(0, 100))
def test_three_points_keep_their_mean_and_deviation(low, more, most):
    mean, deviation = three_point(low, low + more, low + more + most)
    s = spread_of_three(low, low + more, low + more + most)
    assert s.mean == pytest.approx(mean)
    variance = (math.exp(s.sigma**2) - 1) * s.mean**2
    assert variance == pytest.approx(deviation**2, rel=1e-6, abs=1e-9)


def test_samples_agree_with_the_closed_form():
    s = Spread(10, 0.3)
    drawn = sample([s], draws=200_000, seed=4)[:, 0]
    assert drawn.mean() == pytest.approx(s.mean, rel=2e-3)
    for level, value in zip((0.5, 0.8, 0.9), percentiles(drawn), strict=True):
        assert value == pytest.approx(s.percentile(level), rel=5e-3)


def test_the_same_seed_gives_the_same_draws_and_another_does_not():
    spreads = [Spread(10, 0.3), Spread(4, 0.2)]
    assert np.array_equal(sample(spreads, seed=7), sample(spreads, seed=7))
    assert not np.array_equal(sample(spreads, seed=7), sample(spreads, seed=8))


def test_a_shared_factor_widens_the_sum_and_keeps_its_mean():
    """Nine equal lines: alone they cancel, together they do not."""
    spreads = [spread_of_mean(10, 0.25)] * 9
    alone = sample(spreads, draws=100_000).sum(axis=1)
    together = sample(spreads, shared=0.25, draws=100_000).sum(axis=1)
    assert alone.mean() == pytest.approx(90, rel=2e-3)
    assert together.mean() == pytest.approx(90, rel=2e-3)
    assert together.std() > 2.5 * alone.std()
    correlation = np.corrcoef(np.log(sample(spreads, shared=0.25, draws=100_000)[:, :2]).T)[0, 1]
    assert correlation == pytest.approx(0.5, abs=0.02)  # equal variances, own and shared: half (geometry)


def test_an_odd_number_of_draws_is_given_in_full():
    assert sample([Spread(1, 0.1)], draws=7).shape == (7, 1)


def test_no_spread_is_no_spread():
    assert np.all(sample([Spread(3, 0.0)], draws=10) == 3)


@pytest.mark.parametrize(("median", "sigma"), [(-1, 0.1), (math.nan, 0.1), (1, -0.1), (1, math.inf)])
def test_impossible_spreads_are_refused(median, sigma):
    with pytest.raises(ValueError, match="cannot be"):
        Spread(median, sigma)


def test_points_out_of_order_are_refused():
    with pytest.raises(ValueError, match="do not ascend"):
        three_point(5, 4, 8)
    with pytest.raises(ValueError, match="above 0"):
        spread_of_three(0, 0, 0)
