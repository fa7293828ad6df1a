"""What strays together and what strays alone, against closed forms and quadrature; how far sampling itself strays.

Sums of log-normals: their covariance is an identity (definition of the log-normal); P80 and P90 of two lines with a
shared factor come from Gauss-Hermite quadrature (numpy, scipy), which knows nothing of the sampling.
"""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq
from scipy.special import ndtr

from shopcalc.risk import Spread, percentiles, sample, sampling_error, spread_of_mean

SIGMAS = (0.35, 0.3, 0.2, 0.3, 0.15, 0.25, 0.25, 0.25, 0.2)  # the demo's phases
MEANS = (500.0, 600.0, 700.0, 900.0, 300.0, 1000.0, 800.0, 100.0, 150.0)


def variance(means, sigmas, shared):
    """Of the sum: mean_i mean_j (exp(shared^2 + [i = j] sigma_i^2) - 1) over all pairs."""
    m = np.outer(means, means)
    return float((m * (np.exp(shared**2 + np.diag(np.square(sigmas))) - 1)).sum())


@pytest.mark.parametrize("shared", [0.0, 0.12, 0.3])
def test_the_variance_of_a_sum_is_the_closed_form(shared):
    drawn = sample([spread_of_mean(m, s) for m, s in zip(MEANS, SIGMAS, strict=True)], shared=shared, draws=400_000)
    assert drawn.sum(axis=1).mean() == pytest.approx(sum(MEANS), rel=1e-3)
    assert drawn.sum(axis=1).var() == pytest.approx(variance(MEANS, SIGMAS, shared), rel=0.02)


def test_independent_sampling_hides_risk():
    """Nine phases alone stray by a ninth or so; the shop's own factor of 12 % takes P80 and P90 further up."""
    spreads = [spread_of_mean(m, s) for m, s in zip(MEANS, SIGMAS, strict=True)]
    alone, together = (sample(spreads, shared=s, draws=200_000).sum(axis=1) for s in (0.0, 0.12))
    for level in (0.8, 0.9):
        a, b = (percentiles(x, (level,))[0] for x in (alone, together))
        error = math.hypot(*(sampling_error(x, (level,))[0] for x in (alone, together)))
        ratio = (b - sum(MEANS)) / (a - sum(MEANS))
        normal = math.sqrt(variance(MEANS, SIGMAS, 0.12) / variance(MEANS, SIGMAS, 0.0))
        assert b - a > 20 * error
        assert ratio == pytest.approx(normal, rel=0.1)  # nine lines are nearly normal


@settings(max_examples=8, deadline=None)
@given(st.floats(0.05, 0.5), st.floats(0.05, 0.5), st.floats(0.0, 0.4), st.floats(0.2, 5))
def test_percentiles_of_two_lines_agree_with_quadrature(first, second, shared, ratio):
    a, b = Spread(1.0, first), Spread(ratio, second)
    x, w = np.polynomial.hermite_e.hermegauss(60)
    w = np.outer(w, w) / (2 * math.pi)
    factor, one = np.exp(shared * x - shared**2 / 2)[:, None], (a.median * np.exp(first * x))[None, :]

    def below(total):
        rest = total / factor - one
        z = np.log(np.maximum(rest, 1e-300) / b.median) / second
        return float((w * np.where(rest > 0, ndtr(z), 0.0)).sum())

    drawn = sample([a, b], shared=shared, draws=100_000, seed=5).sum(axis=1)
    for level, value, error in zip((0.5, 0.8, 0.9), percentiles(drawn), sampling_error(drawn), strict=True):
        exact = brentq(lambda v, p=level: below(v) - p, 1e-3, 1e3)
        assert abs(value - exact) < 5 * error + 2e-3 * exact  # quadrature over a cut-off is good to 0.2 %


def test_what_strays_by_the_shared_factor_alone_is_log_normal():
    spread = Spread(sum(MEANS) * math.exp(-(0.3**2) / 2), 0.3)
    drawn = sample([Spread(m, 0.0) for m in MEANS], shared=0.3, draws=100_000).sum(axis=1)
    for level, value in zip((0.8, 0.9), percentiles(drawn, (0.8, 0.9)), strict=True):
        assert value == pytest.approx(spread.percentile(level), rel=5e-3)


def test_the_error_said_is_the_scatter_over_seeds():
    """Two hundred quotes with other seeds: their P80 and P90 scatter by what one of them says, within a fifth."""
    spreads = [spread_of_mean(m, s) for m, s in zip(MEANS, SIGMAS, strict=True)]
    runs = [sample(spreads, shared=0.12, draws=5000, seed=n).sum(axis=1) for n in range(200)]
    scatter = np.std([percentiles(r, (0.8, 0.9)) for r in runs], axis=0)
    said = np.mean([sampling_error(r, (0.8, 0.9)) for r in runs], axis=0)
    print("standard error of P80 and P90 of 20,000 draws:", said / 2 / sum(MEANS))
    assert np.all(scatter < 1.2 * said)
    assert np.all(scatter > 0.6 * said)  # draws in opposite pairs do a little better than single ones
