"""Rules of thumb, each named as such: remembered figures of low confidence that the likely coefficients agree with.

E. Kivimaa (1950) and P. Koch (1964) as remembered, neither of them read. That cutting across the fibre ends asks more
than cutting along the fibres is read: R. Curti and others, BioResources 13(3):5491 (2018), abstract. A failure here
says that a habit of the trade and the tables part, not that either is right.
"""

import numpy as np
import pytest

from shopcalc.cutting.force import BANDS, coefficients
from shopcalc.cutting.grain import MODES, grain_vector, mean_flute_modes
from shopcalc.materials import read_materials

ROWS = ["CF17", "CF18", "CF19"]
WOOD = read_materials()
SOLID = [m for m in WOOD.values() if m.group in ("hardwood", "softwood")]
HARD = ["hard-maple", "red-oak", "black-walnut", "cherry", "yellow-birch", "beech"]
CHIPS = np.linspace(0.1, 0.3, 5)  # mm


def specific(c, chip):
    """(3,) force along the motion over the chip's area [N/mm2]."""
    return c.chip + c.edge / chip


@pytest.mark.parametrize("band", BANDS)
@pytest.mark.parametrize("material", SOLID, ids=lambda m: m.id)
def test_rule_end_grain_then_planing_then_peeling(material, band):
    """90-90 above 90-0 (read), 90-0 above 0-90 (remembered, low confidence)."""
    c = coefficients(material)[band]
    for chip in CHIPS:
        by = dict(zip(MODES, specific(c, chip), strict=True))
        assert by["90-90"] > by["90-0"] > by["0-90"]


@pytest.mark.parametrize("degrees", [20, 25, 30])
@pytest.mark.parametrize("wood", HARD)
def test_rule_of_the_ratios(wood, degrees):
    """Thin chips, dry, sharp, rake 20 to 30: planing 0.4 to 0.6 and peeling 0.2 to 0.4 of cutting across the fibre
    ends (remembered, low confidence)."""
    c = coefficients(WOOD[wood], rake=np.radians(degrees))["likely"]
    for chip in CHIPS:
        by = dict(zip(MODES, specific(c, chip), strict=True))
        assert 0.4 <= by["90-0"] / by["90-90"] <= 0.6
        assert 0.2 <= by["0-90"] / by["90-90"] <= 0.4


@pytest.mark.parametrize("wood", HARD)
@pytest.mark.parametrize("share", [0.1, 0.5, 1.0])
@pytest.mark.parametrize("angle", [0, 45, 90])
def test_rule_of_the_magnitude_flat_on_the_table(wood, share, angle):
    """Dry hardwood, chips of 0.1 to 0.3 mm: 10 to 60 N/mm2 (remembered, low confidence), in the blend of modes that
    milling along, aslant and across the grain really is."""
    c = coefficients(WOOD[wood])["likely"]
    modes = mean_flute_modes(grain_vector("flat", np.radians(angle)), share * 12, 12, "conventional")
    for chip in CHIPS:
        assert 10 <= modes @ specific(c, chip) <= 60


def test_rule_of_the_magnitude_on_end():
    """The same from the end-grain station, where flutes peel: inside it for thin chips; for thick ones the remembered
    ratios and the remembered magnitude contradict each other a little: the likely force lies up to a third below."""
    at = mean_flute_modes(grain_vector("end"), 3, 12, "conventional")
    for wood in HARD:
        c = coefficients(WOOD[wood])["likely"]
        assert 6.7 <= at @ specific(c, 0.3) <= at @ specific(c, 0.1) <= 60
