"""Bending of a cutter as a bar clamped in its collet: beam theory (F L^3 / 3 E I), worked from its definition.

L. Kops and D. T. Vo, CIRP Annals (1990), abstract: cutters of two and four flutes bend like plain bars of about 80 % of
their diameter.
"""

import pytest

from shopcalc.cutters import Cutter
from shopcalc.cutting.deflection import body_diameter, cantilever, cutter_give, modulus

ROWS = ["WE28", "WE29"]
PLAIN = Cutter("P", "", "square end", 6, 6, 2, 1e-6, 60, 30)  # all shank
FLUTED = Cutter("F", "", "square end", 6, 6, 2, 30, 60, 30)  # all flutes


def test_we28_solid_and_fluted_bar():
    """50 N, 30 mm, 600 GPa, 6 mm: 0.011789 mm solid, 0.028782 mm at 80 %."""
    assert modulus(PLAIN) == 600e3
    assert cantilever(50, 30, 600e3, 6) == pytest.approx(0.011789, abs=1e-6)
    assert cantilever(50, 30, 600e3, 0.8 * 6) == pytest.approx(0.028782, abs=1e-6)
    # the summed beam, within the error it states for its cells
    assert 50 * cutter_give(PLAIN, 0, 0)[0, 0] == pytest.approx(0.011789, rel=1e-3)
    assert 50 * cutter_give(FLUTED, 0, 0)[0, 0] == pytest.approx(0.028782, rel=1e-3)


def test_we29_what_the_flutes_cost():
    """0.8 to the minus fourth: 2.441406."""
    assert body_diameter(FLUTED, 15)[0] == pytest.approx(0.8 * 6)
    ratio = cutter_give(FLUTED, 0, 0)[0, 0] / cutter_give(PLAIN, 0, 0)[0, 0]
    assert cantilever(1, 30, 600e3, 4.8) / cantilever(1, 30, 600e3, 6) == pytest.approx(2.441406, abs=1e-6)
    assert ratio == pytest.approx(2.441406, rel=1e-3)
