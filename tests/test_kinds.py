"""Kinds of relief: alike from one seed, as deep and as fine as asked; hours hold against whole paths."""

import math
import statistics

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopcalc.errors import InputError
from shopcalc.relief.carving import carve
from shopcalc.relief.detail import smallest_detail
from shopcalc.relief.kind_drawings import KINDS, draw
from shopcalc.relief.kinds import ONE_TO_ANOTHER, correction, finisher, hours_before_artwork
from shopcalc.relief.scheme import scheme_for
from shopcalc.shop import Shop

SIZE = {"length": 120.0, "width": 80.0, "depth": 6.0, "smallest_detail": 2.0}


@pytest.fixture(scope="module")
def shop():
    return Shop.open()


def told(shop, kind="portrait", **changes):
    sizes = {**SIZE, **{k: v for k, v in changes.items() if k in SIZE}}
    rest = {k: v for k, v in changes.items() if k not in SIZE}
    return hours_before_artwork(
        kind, *sizes.values(), shop.machine("router"), shop.material("white-oak"), shop.cutters.values(), **rest
    )


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_fills_its_depth_and_is_drawn_alike_from_one_seed(kind):
    one, again, other = (draw(kind, **SIZE, seed=seed) for seed in (1, 1, 2))
    assert (one.z == again.z).all()
    assert (one.z != other.z).any()
    assert one.z.max() == 0.0
    assert one.z.min() == pytest.approx(-6.0)
    assert one.length == pytest.approx(120)
    assert one.width == pytest.approx(80, abs=one.pixel)
    assert np.isfinite(one.z).all()


@pytest.mark.parametrize("kind", ["leaves and scrolls", "portrait", "deep figure"])
def test_a_finer_wish_makes_a_finer_relief(kind):
    """Measured by the ball that reaches it, on one grid."""
    coarse, fine = (
        smallest_detail(draw(kind, length=120, width=80, depth=6, smallest_detail=d, pixel=0.25)).valley_radius
        for d in (8.0, 1.5)
    )
    assert fine <= coarse


def test_kinds_differ_as_their_names_say():
    """A figure stands out steeply, soft modelling does not; letters lie on much level ground."""
    maps = {kind: draw(kind, **SIZE) for kind in KINDS}

    def steep(kind):
        m = maps[kind]
        return float((np.hypot(*np.gradient(m.z, m.pixel)) > 1.0).mean())

    assert steep("soft modelling") < 0.02
    assert min(steep("deep figure"), steep("leaves and scrolls")) > 2 * steep("soft modelling")
    ground = {kind: float((m.z < -0.85 * 6).mean()) for kind, m in maps.items()}
    assert ground["letters on a ground"] > 0.3 > ground["soft modelling"]


def test_nonsense_is_refused_with_a_remedy():
    with pytest.raises(InputError, match=r"no kind of relief 'portrit'.*portrait"):
        draw("portrit", **SIZE)
    with pytest.raises(InputError, match="a quarter of the shorter side"):
        draw("portrait", length=40, width=30, depth=3, smallest_detail=10)
    with pytest.raises(InputError, match="squares"):
        draw("portrait", length=4000, width=3000, depth=3, smallest_detail=2, pixel=0.01)


@pytest.mark.parametrize("kind", KINDS)
def test_hours_from_some_lines_hold_against_the_whole_path(kind, shop):
    """Direct computing of the same relief: within 6 %, as ``hours_before_artwork`` states."""
    band = told(shop, kind, seeds=(5,))
    relief = draw(kind, **SIZE, seed=5)
    cutter = finisher(shop.cutters.values(), 6.0, 2.0)
    oak, router = shop.material("white-oak"), shop.machine("router")
    scheme = scheme_for(relief, cutter, oak, router, shop.cutters.values())
    assert band.scheme == scheme.name
    assert band.each[0] == pytest.approx(carve(relief, scheme, router).seconds, rel=0.06)


def test_other_seeds_of_a_kind_fall_into_its_band(shop):
    band = told(shop)
    others = told(shop, seeds=range(10, 16)).each
    assert all(band.low < t < band.high for t in others)
    assert band.low < band.likely < band.high
    assert band.likely == pytest.approx(math.exp(statistics.fmean(map(math.log, band.each))))


def test_twice_the_area_takes_about_twice_the_hours(shop):
    one, two = told(shop, "soft modelling"), told(shop, "soft modelling", length=240.0)
    assert 1.5 < two.likely / one.likely < 2.5


@settings(max_examples=60, deadline=None)
@given(
    ratios=st.lists(st.floats(0.6, 1.8), min_size=1, max_size=30),
    told_hours=st.floats(0.5, 50),
)
def test_a_factor_lies_between_one_and_what_was_logged_and_the_band_only_narrows(ratios, told_hours):
    found = correction([(told_hours, told_hours * r) for r in ratios])
    mean = math.exp(statistics.fmean(map(math.log, ratios)))
    assert min(1.0, mean) - 1e-9 <= found.factor <= max(1.0, mean) + 1e-9
    assert found.count == len(ratios)
    if statistics.pstdev(map(math.log, ratios)) < ONE_TO_ANOTHER / 2:
        assert found.sigma < correction([]).sigma


def test_many_alike_logs_are_believed(shop):
    found = correction([(8.0, 10.0)] * 40)
    assert found.factor == pytest.approx(1.25, rel=0.01)
    before, after = told(shop), told(shop, corrected=found)
    assert after.likely == pytest.approx(found.factor * before.likely)
    assert after.high / after.low < before.high / before.low
    with pytest.raises(InputError, match="logged hours"):
        correction([(8.0, 0.0)])
