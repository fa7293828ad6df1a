"""Tenons on end and lying flat: path against a hand count, minutes, what wins and why."""

import math

import pytest

from shopcalc.cutting import tenons
from shopcalc.cutting.tuning import Costs
from shopcalc.errors import InputError
from shopcalc.paths.joinery import Tenon
from shopcalc.shop import Shop

SHOP = Shop.open()
OAK, ROUTER = SHOP.material("laminated-white-oak"), SHOP.machine("router")
INCH = 25.4
#: 10 in wide, 5/8 in thick and 2 1/2 in long, on a rail 11 in wide and 1 3/4 in thick, in the middle of its section.
SHAPE = Tenon(10 * INCH, 0.625 * INCH, 2.5 * INCH, from_edge=0.5 * INCH, from_face=(1.75 - 0.625) / 2 * INCH)
RAIL = (11 * INCH, 1.75 * INCH)
#: Three horsepower, as one would say of a small router's spindle.
SMALL = ROUTER.with_(spindle=type(ROUTER.spindle)((6000, 12000, 18000, 24000), (559.0, 1118.0, 3 * 745.7, 3 * 745.7)))
LOAD = tenons.minutes_per_load(SHOP.rates.minutes)
HALF = SHOP.cutter("SQ12L")


@pytest.fixture(scope="module")
def lines():
    return tenons.on_end(HALF, OAK, SMALL, *RAIL, SHAPE, minutes_per_load=LOAD, costs=Costs.of(SHOP.rates))


@pytest.fixture(scope="module")
def rounds():
    return tenons.on_end(HALF, OAK, SMALL, *RAIL, SHAPE, laps=True, minutes_per_load=LOAD, costs=Costs.of(SHOP.rates))


def test_the_path_is_as_long_as_counted_by_hand(lines):
    """Half-inch cutter, so 8.35 mm run-in and run-out at each line's ends beyond the wood (radius and 2 mm).

    Edges are half an inch and cheeks 9/16 in of wood, two steps each where the step is at most a quarter inch and a
    thirty-second: 14.29 / 2 = 7.14 mm. Each level: 2 edges x 2 lines x (44.45 + 2 x 8.35) + 2 cheeks x 2 lines x
    (254 + 2 x 8.35) = 244.6 + 1082.8 = 1327.4 mm. Before each of the 8 lines down from 10 mm above to the level.
    The cutter sticks out 6.5 diameters, so a level is 12.7 x 6 / 6.5 = 11.7 mm at most, and there are six.
    """
    s = lines.setting
    assert (s.levels, s.side_steps) == (6, 2)
    level = 4 * (44.45 + 2 * 8.35) + 4 * (254 + 2 * 8.35)
    down = 8 * sum(10 + 63.5 / 6 * n for n in range(1, 7))
    assert lines.path_length == pytest.approx(6 * level + down, rel=0.02)


def test_rounds_are_as_long_as_counted_by_hand(rounds):
    """Each round: along the front from beside the rail, up, back, and down past the front again.

    The outer round runs 7.14 mm outside the inner; to the path of the cutter's middle its radius of 6.35 mm is added.
    """
    total = 0.0
    for away in (7.144, 0.0):
        reach = 6.35 + away
        front = (279.4 + 8.35) - (12.7 - reach)  # from beside the rail to the left corner
        side = 15.875 + 2 * reach
        back = 254 + 2 * reach
        out = 15.875 + reach + 14.2875 + 8.35
        total += front + side + back + out
    down = 2 * sum(10 + 63.5 / 6 * n for n in range(1, 7))
    assert rounds.path_length == pytest.approx(6 * total + down, rel=0.02)


def test_minutes_on_end_at_low_likely_and_high_force(lines, rounds):
    """One shop's observation, no source: such a tenon takes under two minutes on end. Rounds meet it, lines do not."""
    for plan in (lines, rounds):
        m = plan.minutes
        assert m["low"] <= m["likely"] * 1.001 <= m["high"] * 1.002
        assert tenons.timed(plan, SMALL) == pytest.approx(m["likely"], rel=0.02)
    assert rounds.minutes["high"] < 2.0
    assert rounds.minutes["likely"] < lines.minutes["likely"] < 3.6


def test_on_end_wins_because_the_rail_is_clamped_once(rounds):
    """With any cutter of the rack lying flat, turning and the second zero cost more than the machine saves."""
    found = tenons.ways(SHOP.cutters, OAK, SMALL, *RAIL, SHAPE, laps=True, minutes_per_load=LOAD,
                        costs=Costs.of(SHOP.rates))  # fmt: skip
    flat = [p for p in found if p.station == "flat"]
    assert found[0].station == "end"
    assert found[0].cutter.id == "SQ12L", "the only one with flutes as long as the tenon"
    assert len(flat) >= 5
    best = flat[0]
    assert best.loads == 2
    assert best.handling == pytest.approx(2 * found[0].handling)
    assert best.total["likely"] > found[0].total["likely"] + 0.8 * LOAD
    assert math.isnan(best.thickness_error["high"][0]), "a floor is not pushed off sideways"
    assert [p.total["likely"] for p in found] == sorted(p.total["likely"] for p in found)
    for p in flat:
        assert tenons.timed(p, SMALL) == pytest.approx(p.minutes["likely"], rel=0.02)


def test_the_error_of_the_tenon_is_twice_that_of_a_cheek(lines):
    for band, error in lines.setting.push_off_mm.items():
        assert lines.thickness_error[band] == pytest.approx([2 * e for e in error])


def test_a_skim_adds_a_lap_and_time():
    plain, skim = (tenons.on_end(HALF, OAK, SMALL, *RAIL, SHAPE, laps=True, skim=s) for s in (0.0, 0.5))
    assert skim.path_length > plain.path_length + 2 * (254 + 15)
    assert skim.minutes["likely"] > plain.minutes["likely"]


@pytest.mark.parametrize(
    ("shape", "style"),
    [
        (Tenon(180, 16, 60, 80, 14, stub_length=12, stub_left=80), "haunched"),
        (Tenon(180, 16, 60, 50, 14, stub_length=12, stub_left=50, stub_right=49), "stepped"),
        (Tenon(240, 16, 60, 20, 14, gap=60), "paired"),
    ],
)
def test_other_tenons_are_tuned_on_end_and_refused_lying_flat(shape, style):
    assert shape.style == style
    plan = tenons.on_end(HALF, OAK, SMALL, *RAIL, shape)
    assert plan.setting.runnable
    assert tenons.timed(plan, SMALL) == pytest.approx(plan.minutes["likely"], rel=0.02)
    with pytest.raises(InputError, match=style):
        tenons.lying_flat(HALF, OAK, SMALL, *RAIL, shape)


def test_a_cutter_too_short_for_the_tenon_is_refused_with_a_remedy():
    with pytest.raises(InputError, match=r"longer than the 38\.1 mm flutes of SQ12") as caught:
        tenons.on_end(SHOP.cutter("SQ12"), OAK, SMALL, *RAIL, SHAPE)
    assert "lying flat" in caught.value.faults[0].remedy
    with pytest.raises(InputError, match="nothing is to be cut"):
        tenons.lying_flat(HALF, OAK, SMALL, *RAIL, Tenon(RAIL[0], RAIL[1], 60, 0, 0))
