"""Three-point estimates and the log-normal.

Sources: the PERT estimate, worked example 5/8/14 as printed in an open-source diagram manual, formula as in several
lecture notes; the log-normal's mean and percentiles are identities (definition), figures derived.
"""

import pytest

from shopcalc.risk import Spread, three_point

ROWS = ["WE37", "WE38"]


def test_three_points_5_8_14():
    """WE37: mean 8.5, sigma 1.5, variance 2.25; printed exactly."""
    mean, deviation = three_point(5, 8, 14)
    assert (mean, deviation, deviation**2) == (8.5, 1.5, 2.25)


def test_log_normal_of_median_10_and_sigma_0_3():
    """WE38: mean 10.4603, P80 12.8722, P90 14.6883; half of the last printed digit."""
    s = Spread(10, 0.3)
    assert s.mean == pytest.approx(10.4603, abs=5e-5)
    assert s.percentile(0.8) == pytest.approx(12.8722, abs=5e-5)
    assert s.percentile(0.9) == pytest.approx(14.6883, abs=5e-5)
