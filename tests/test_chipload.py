"""Chips, feeds and power against numerical integration and round trips."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopcalc.cutters import Cutter
from shopcalc.cutting import chipload as c
from shopcalc.cutting.engagement import cutting_speed as speed_of
from shopcalc.cutting.engagement import effective_diameter, engagement_angle, spindle_speed
from shopcalc.errors import InputError

positive = st.floats(0.01, 1000)
share = st.floats(0.001, 1.0)


@given(share, st.floats(1, 60), st.floats(0.01, 1))
def test_chips_are_the_integral_and_the_maximum_over_the_arc(x, diameter, f):
    """Midpoint rule over the arc; the arc itself from the chord's geometry."""
    width = x * diameter
    arc = 2 * math.asin(math.sqrt(x))  # half-angle form, not the one in the code
    angles = (np.arange(20000) + 0.5) / 20000 * arc
    thickness = c.chip_at(f, angles)
    assert engagement_angle(width, diameter) == pytest.approx(arc, rel=1e-6)
    assert c.mean_chip(f, width, diameter) == pytest.approx(thickness.mean(), rel=1e-6)
    assert c.greatest_chip(f, width, diameter) == pytest.approx(thickness.max(), rel=1e-4)


@given(share, st.floats(1, 60), st.floats(0.01, 1))
def test_mean_chip_conserves_volume(x, diameter, f):
    """Mean chip x length of arc is the area one tooth removes: feed per tooth x width."""
    width = x * diameter
    arc_length = engagement_angle(width, diameter) * diameter / 2
    assert c.mean_chip(f, width, diameter) * arc_length == pytest.approx(f * width, rel=1e-6)


@given(share, positive, positive)
def test_chip_inverses_return(x, diameter, thickness):
    width = x * diameter
    f = c.feed_per_tooth_for_mean_chip(thickness, width, diameter)
    assert c.mean_chip(f, width, diameter) == pytest.approx(thickness)
    f = c.feed_per_tooth_for_greatest_chip(thickness, width, diameter)
    assert c.greatest_chip(f, width, diameter) == pytest.approx(thickness)
    assert c.thinning_factor(width, diameter) >= 1


@given(positive, st.integers(1, 8), positive)
def test_feed_inverses_return(rpm, flutes, f):
    feed = c.feed(rpm, flutes, f)
    assert c.feed_per_tooth(feed, rpm, flutes) == pytest.approx(f)
    assert c.rpm_for_feed(feed, flutes, f) == pytest.approx(rpm)
    assert spindle_speed(12, speed_of(12, rpm)) == pytest.approx(rpm)


@pytest.mark.parametrize(
    "cutter",
    [
        Cutter("B", "", "ball", 6, 6, 2, 20, 60, 30),
        Cutter("V", "", "V", 25, 12, 2, 12, 60, 30, included_angle=math.pi / 2),
        Cutter("T", "", "tapered ball", 6, 6, 2, 20, 60, 30, tip_diameter=2, included_angle=0.3),
        Cutter("S", "", "square end", 12, 12, 2, 20, 60, 30),
    ],
    ids=lambda k: k.shape,
)
@pytest.mark.parametrize("depth", [0.2, 1.5, 2.9])
def test_chip_of_any_shape_is_thinned_by_arc_and_edge(cutter, depth):
    wide = effective_diameter(cutter, depth)
    slot = c.chip(cutter, 0.2, wide, depth)
    side = c.chip(cutter, 0.2, wide / 10, depth)
    assert slot.mean_chip < slot.greatest_chip <= 0.2
    assert side.mean_chip < slot.mean_chip
    assert slot.mean_chip == pytest.approx(slot.mean_share * 0.2)
    assert slot.greatest_chip == pytest.approx(slot.greatest_share * 0.2)
    if cutter.shape == "V":
        assert slot.greatest_chip == pytest.approx(0.2 * math.cos(math.pi / 4))
    if cutter.shape == "square end":
        assert slot.greatest_chip == 0.2


def test_power_torque_and_force_agree_through_the_rims_speed():
    power = c.cutting_power(30, c.removal_rate(6, 9, 4000))
    force = c.mean_tangential_force(c.torque(power, 15000), 12)
    assert force * speed_of(12, 15000) == pytest.approx(power)


def test_marks():
    assert c.mark_spacing(6000, 12000, 2) * 2 == c.mark_spacing(6000, 12000)
    assert c.mark_height(0.3, 12) == pytest.approx(0.3**2 / 48, rel=1e-3)


@pytest.mark.parametrize(
    "call",
    [
        lambda: c.feed(0, 2, 0.1),
        lambda: c.feed_per_tooth(100, 18000, 0),
        lambda: c.mean_chip(0.1, 13, 12),
        lambda: c.mark_height(13, 12),
        lambda: c.removal_rate(-1, 1, 1),
        lambda: c.chip(Cutter("B", "", "ball", 6, 6, 2, 20, 60, 30), 0.1, 5, 0.1),
    ],
)
def test_impossible_input_is_refused(call):
    with pytest.raises(InputError):
        call()
