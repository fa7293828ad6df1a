"""Problems of machining textbooks: data as printed, answers worked from the definitions.

M. P. Groover, Fundamentals of Modern Manufacturing, problems on slab milling and turning; S. Kalpakjian and
S. R. Schmid, Manufacturing Engineering and Technology, problem on face milling.
"""

import pytest

from shopcalc.cutting import chipload, engagement

ROWS = ["WE13", "WE14", "WE15", "WE27"]
INCH = 25.4
FOOT_PER_MINUTE = 0.3048 / 60  # m/s


def test_we13_groover_slab_milling():
    """12 x 2.5 in, D 3.5 in, 10 teeth, 125 ft/min, .008 in per tooth, depth .300 in."""
    rpm = engagement.spindle_speed(3.5 * INCH, 125 * FOOT_PER_MINUTE)
    feed = chipload.feed(rpm, 10, 0.008 * INCH)
    approach = engagement.approach_length(0.300 * INCH, 3.5 * INCH)
    rate = chipload.removal_rate(2.5 * INCH, 0.300 * INCH, feed)
    assert rpm == pytest.approx(136.42, abs=0.005)
    assert feed / INCH == pytest.approx(10.913, abs=1e-3)
    assert approach / INCH == pytest.approx(0.9798, abs=5e-5)
    assert (12 * INCH + approach) / feed == pytest.approx(1.189, abs=5e-4)
    assert rate * 60 / INCH**3 == pytest.approx(8.185, abs=1e-3)


def test_we14_kalpakjian_face_milling():
    """D 150, 8 teeth, 300 rpm, 3 mm deep, .125 mm per tooth, 5 W s/mm3, three quarters of the diameter engaged."""
    rate = chipload.removal_rate(0.75 * 150, 3, chipload.feed(300, 8, 0.125))
    power = chipload.cutting_power(5 * 1000, rate)  # 1 W s/mm3 = 1000 N/mm2
    assert rate * 60 == pytest.approx(101_250)
    assert power / 1000 == pytest.approx(8.4375)
    assert chipload.torque(power, 300) / 1000 == pytest.approx(268.57, abs=5e-3)


def test_we15_turning_in_five_minutes():
    """L 400, D 150, .30 mm per revolution: one edge that travels 80 mm a minute."""
    rpm = chipload.rpm_for_feed(400 / 5, 1, 0.30)
    assert engagement.cutting_speed(150, rpm) * 60 == pytest.approx(125.66, abs=0.01)


def test_we27_power_torque_and_mean_force():
    """20 N/mm2, 6 x 6 mm, 3000 mm/min, 18000 rpm, D 12."""
    power = chipload.cutting_power(20, chipload.removal_rate(6, 6, 3000))
    torque = chipload.torque(power, 18000)
    assert power == pytest.approx(36, abs=1e-4)
    assert torque / 1000 == pytest.approx(0.019099, abs=5e-7)
    assert chipload.mean_tangential_force(torque, 12) == pytest.approx(3.1831, abs=5e-5)
