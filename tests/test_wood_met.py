"""Wood met along finishing lines: closed forms, and a sweep in plain numpy beside the compiled one."""

import numpy as np
import pytest

from shopcalc.relief.carving import carve
from shopcalc.relief.heights import HeightMap, sampled
from shopcalc.relief.reach import Profile, centre_surface
from shopcalc.relief.scheme import after_roughing, scheme_for
from shopcalc.relief.wood_met import wood_met
from shopcalc.shop import Shop

BALL = Profile(3.0, ball=3.0, half_angle=0.0)


def flat(z, length=30.0, width=16.0):
    return sampled(lambda x, y: z + 0 * x, length, width, pixel=0.5)


def test_an_even_skim_over_a_level_floor_is_met_as_thick_as_it_is():
    met = wood_met(flat(-6.0), flat(-4.8), Profile(3.0, flat=3.0), 1.0)
    assert met.greatest == pytest.approx(1.2)
    assert met.share_above(1.19) > 0.8  # the lines at the far edge find it taken
    assert met.share_above(1.21) == 0.0


def test_wood_in_a_slit_no_tip_enters_stands_but_is_not_met():
    """The slit is 1 mm wide, the ball 6: wood stands 8 mm over the artwork, and the tip passes above it."""
    slit = sampled(lambda x, y: np.where(np.abs(y - 8.25) < 0.6, -8.0, 0.0), 30.0, 16.0, pixel=0.5)
    stands = slit.with_(np.zeros(slit.z.shape))
    assert (stands.z - slit.z).max() == 8.0
    assert wood_met(slit, stands, BALL, 0.5).greatest < 0.2


def test_wood_in_a_slit_a_tip_enters_is_met_in_full():
    """Round at the bottom and as wide as the ball, filled to the top: the line along its middle takes all of it."""
    channel = sampled(lambda x, y: np.where(np.abs(y - 8.25) < 5.0, -8.0, 0.0), 30.0, 16.0, pixel=0.5)
    met = wood_met(channel, channel.with_(np.zeros(channel.z.shape)), BALL, 3.0)
    assert met.greatest == pytest.approx(8.0)


@pytest.mark.parametrize("direction", ["x", "y"])
def test_it_agrees_with_a_sweep_in_numpy(direction):
    random = np.random.default_rng(4)
    z = -4 + 3 * np.cumsum(random.normal(0, 0.1, (26, 34)), axis=1)
    surface = HeightMap(np.minimum(z, 0.0), 0.5)
    stands = surface.with_(np.minimum(surface.z + random.uniform(0, 3, z.shape), 0.0))
    found = wood_met(surface, stands, BALL, 1.0, direction).thickness

    tips = centre_surface(surface, BALL).z
    wood = stands.z.copy()
    if direction == "y":
        tips, wood = tips.T, wood.T.copy()
    y, x = np.mgrid[: tips.shape[0], : tips.shape[1]]
    expected = np.full(tips.shape, np.nan)
    for line, row in enumerate(range(0, tips.shape[0], 2)):
        for column in range(tips.shape[1])[:: 1 if line % 2 == 0 else -1]:
            away = 0.5 * np.hypot(y - row, x - column)
            inside = away <= 3.0 + 1e-9
            under = np.where(inside, tips[row, column] + 3.0 - np.sqrt(np.maximum(9 - away**2, 0)), np.inf)
            thick = float(np.maximum(wood - under, 0).max())
            expected[row, column] = thick if thick > 0.02 else 0.0
            wood = np.minimum(wood, under)
    np.testing.assert_allclose(found, expected.T if direction == "y" else expected, atol=1e-9)


def test_what_is_met_is_never_more_than_what_stands_and_a_carving_warns_of_it():
    """Half a ball of 20 mm on a ground, as a mesh would give it: roughing leaves its foot to the finishing cutter."""
    shop = Shop.open()
    ball = sampled(lambda x, y: np.sqrt(np.maximum(400 - (x - 20) ** 2 - (y - 20) ** 2, 0)) - 20, 40.0, 40.0, pixel=0.4)
    router, oak = shop.machine("router"), shop.material("white-oak")
    scheme = scheme_for(ball, shop.cutter("BALL6"), oak, router, shop.cutters.values(), stepover=0.8)
    result = carve(ball, scheme, router)
    bears = scheme.finishing.depth_per_pass
    stands = after_roughing(ball, scheme.steps[0])[0].z - ball.z
    assert result.met.greatest <= stands.max() + 1e-9
    assert (result.met.greatest > bears) == any("wood at once, more than" in n for n in result.notes)
    assert result.met.greatest > bears  # so the case is one that warns
