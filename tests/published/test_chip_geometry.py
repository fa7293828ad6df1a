"""Chip geometry of milling: definitions and identities every machining text gives (arc from cos = 1 - 2 w/D, chip over
the arc, scallop of a ball, width of a V), with figures worked independently of the code.

Texts: M. P. Groover, Fundamentals of Modern Manufacturing, chapters on machining and on milling; lecture notes on
milling and removal rate. Where a figure is derived from the identity rather than printed, the test says so.
"""

import math

import numpy as np
import pytest

from shopcalc.cutters import Cutter
from shopcalc.cutting import chipload, engagement

ROWS = ["WE19", "WE20", "WE21", "WE22", "WE23", "WE24", "WE25", "WE26", "WE30", "WE31"]
BALL6 = Cutter("B6", "", "ball", 6, 6, 2, 20, 60, 30)


def test_we19_side_cut_of_a_tenth_of_the_diameter():
    """D 12, 0.2 mm per tooth, 1.2 mm wide (derived)."""
    assert np.degrees(engagement.engagement_angle(1.2, 12)) == pytest.approx(36.870, abs=5e-4)
    assert chipload.greatest_chip(0.2, 1.2, 12) == pytest.approx(0.1200, abs=5e-5)
    assert chipload.mean_chip(0.2, 1.2, 12) == pytest.approx(0.06216, abs=5e-6)
    assert chipload.thinning_factor(1.2, 12) == pytest.approx(1.6667, abs=5e-5)
    rule_of_thumb = 0.06325
    assert chipload.mean_chip(0.2, 1.2, 12) / rule_of_thumb == pytest.approx(1 / 1.0175, abs=1e-3)


@pytest.mark.parametrize(
    ("share", "mean"), [(0.05, 0.04434), (0.10, 0.06216), (0.25, 0.09549), (0.50, 0.12732), (1.0, 0.12732)]
)
def test_exact_mean_chip_over_widths(share, mean):
    """0.2 mm per tooth; the exact form, not f sqrt(w/D) (derived)."""
    assert chipload.mean_chip(0.2, share * 12, 12) == pytest.approx(mean, abs=5.1e-6)


@pytest.mark.parametrize("width", [6, 12])
def test_we20_half_and_full_immersion_have_the_same_mean(width):
    """2 / pi (derived)."""
    assert chipload.mean_share(width, 12) == pytest.approx(0.63662, abs=5e-6)


def test_we21_ball_at_half_a_millimetre():
    assert engagement.effective_diameter(BALL6, 0.5) == pytest.approx(3.31662, abs=5e-6)


def test_we22_scallop():
    assert engagement.cusp(BALL6, 0.5) == pytest.approx(0.0104348, abs=5e-8)


def test_we23_scallop_inverse():
    assert engagement.stepover_for_cusp(BALL6, 0.005) == pytest.approx(0.346266, abs=5e-7)


@pytest.mark.parametrize("diameter", [1, 3, 6, 12.7, 25])
def test_we24_scallop_at_a_tenth_of_any_diameter(diameter):
    """The list gives .00250629 within 1e-8; (1 - sqrt(.99))/2 is .002506281, so its last digit is one too high."""
    ball = Cutter("B", "", "ball", diameter, 6, 2, 20, 60, 30)
    assert engagement.cusp(ball, 0.1 * diameter) / diameter == pytest.approx(0.00250629, abs=1e-8)


def test_we25_scallop_on_a_slope():
    assert engagement.cusp(BALL6, 0.5, math.radians(45)) == pytest.approx(0.0209062, abs=5e-8)


@pytest.mark.parametrize(("degrees", "width"), [(60, 3.4641), (90, 6.0), (120, 10.3923)])
def test_we26_width_of_a_v_groove(degrees, width):
    v = Cutter("V", "", "V", 25.4, 12, 2, 12, 60, 30, included_angle=math.radians(degrees))
    assert engagement.groove_width(v, 3) == pytest.approx(width, abs=5e-5)


def test_we30_surface_speed():
    assert engagement.cutting_speed(12, 18000) == pytest.approx(11.3097, abs=5e-5)


def test_we31_feed():
    assert chipload.feed(18000, 2, 0.1) == 3600
