"""Schemes and choices: every figure against the path itself, and nothing kept that another way beats."""

import math
from dataclasses import replace

import numpy as np
import pytest

from shopcalc.cutting import limits
from shopcalc.cutting.grain import grain_vector
from shopcalc.errors import InputError
from shopcalc.gcode import read_program
from shopcalc.gcode.writer import write_program
from shopcalc.motion import machine_time
from shopcalc.moves import Kind
from shopcalc.quote.carving import carving_price, pricing
from shopcalc.relief.carving import carve, sanding_hours
from shopcalc.relief.choices import choices, three
from shopcalc.relief.detail import detail_left
from shopcalc.relief.heights import HeightMap, sampled
from shopcalc.relief.hindrances import obstacles
from shopcalc.relief.kind_drawings import draw
from shopcalc.relief.maps import coarser, refined
from shopcalc.relief.outlooks import outlook, sampled_seconds
from shopcalc.relief.reach import profile
from shopcalc.relief.scheme import Scheme, able, after_roughing, scheme_for, step
from shopcalc.shop import Shop


@pytest.fixture(scope="module")
def shop():
    return Shop.open()


@pytest.fixture(scope="module")
def router(shop):
    return shop.machine("router")


@pytest.fixture(scope="module")
def oak(shop):
    return shop.material("white-oak")


@pytest.fixture(scope="module")
def leaf():
    return draw("leaves and scrolls", length=80, width=50, depth=8, smallest_detail=3, seed=4)


@pytest.fixture(scope="module")
def found(leaf, shop, router, oak):
    rack = [shop.cutter(c) for c in ("TB3", "BALL6", "BALL12", "SQ6", "V60")]
    shares = []
    out = choices(
        leaf, rack, router, oak, cusps_wanted=(0.01, 0.04), pricing=pricing(shop.rates),
        sanding_per_area=shop.rates.minutes["sanding_per_area"], progress=shares.append,
    )  # fmt: skip
    assert shares == sorted(shares)
    assert shares[-1] == pytest.approx(1.0)
    return out


# --- a scheme ---------------------------------------------------------------------------------------------------------


def test_the_time_of_a_carving_is_that_of_its_program_text(leaf, shop, router, oak, tmp_path):
    """Written, read back and timed by the other road."""
    scheme = scheme_for(leaf, shop.cutter("BALL6"), oak, router, shop.cutters.values(), stepover=1.0)
    result = carve(leaf, scheme, router)
    path = tmp_path / "carving.nc"
    path.write_text(write_program(result.moves, title="leaf"), encoding="utf-8")
    assert machine_time(read_program(path, router).moves, router).total_s == pytest.approx(result.seconds, rel=1e-3)
    assert result.seconds == pytest.approx(sum(s.seconds for s in result.steps) + result.change_seconds)
    assert result.path_length == pytest.approx(result.moves.cutting_length, rel=1e-3)
    assert result.lines == 51  # 50 mm in steps of at most 1 mm


def test_no_tip_goes_below_where_the_surface_lets_it(leaf, shop, router, oak):
    """The whole cutter at points of its path, against every height of the artwork."""
    rack = shop.cutters.values()
    scheme = scheme_for(leaf, shop.cutter("BALL6"), oak, router, rack, stepover=1.0, cleaning=shop.cutter("TB3"))
    result = carve(leaf, scheme, router)
    assert [s.step.role for s in result.steps] == ["rough", "finish", "clean up"]
    for s in result.steps:
        at = s.moves.points[1:][s.moves.kind == Kind.LINE]
        for x, y, z in at[np.random.default_rng(3).choice(len(at), min(len(at), 150), replace=False)]:
            away = np.hypot(leaf.x[None, :] - x, leaf.y[:, None] - y)
            assert (z + profile(s.step.cutter).height(away) >= leaf.z - 0.011).all()


def test_detail_left_and_cusps_are_those_of_the_cutters(leaf, shop, router, oak):
    rack = shop.cutters.values()
    ball, fine = shop.cutter("BALL12"), shop.cutter("TB3")
    one = carve(leaf, scheme_for(leaf, ball, oak, router, rack, cusp=0.04), router)
    two = carve(leaf, scheme_for(leaf, ball, oak, router, rack, cusp=0.04, cleaning=fine), router)
    assert one.left.volume == pytest.approx(detail_left(leaf, ball).volume)
    assert two.left.volume == pytest.approx(detail_left(leaf, [ball, fine]).volume)
    assert two.wood_left < one.wood_left
    assert two.seconds > one.seconds
    assert one.cusps.most <= 0.04 * 1.1
    assert one.wood_left == pytest.approx(one.left.mean + one.cusps.mean / 3)


def test_closer_lines_take_longer_and_leave_less(leaf, shop, router, oak):
    rack = shop.cutters.values()
    close, far = (
        carve(leaf, scheme_for(leaf, shop.cutter("BALL6"), oak, router, rack, stepover=s), router) for s in (0.5, 1.5)
    )
    assert close.seconds > far.seconds
    assert close.cusps.mean < far.cusps.mean
    assert close.sanding_hours < far.sanding_hours


def test_a_shallow_relief_needs_no_roughing_and_a_deep_one_gets_it(shop, router, oak):
    rack = shop.cutters.values()
    for deep, roles in ((1.0, ["finish"]), (14.0, ["rough", "finish"])):
        hill = sampled(lambda x, y, d=deep: -d + d * np.exp(-((x - 40) ** 2 + (y - 30) ** 2) / 300), 80, 60, pixel=0.5)
        made = scheme_for(hill, shop.cutter("TB3"), oak, router, rack, stepover=0.5)
        assert [s.role for s in made.steps] == roles
    none = scheme_for(hill, shop.cutter("TB3"), oak, router, rack, stepover=0.5, roughing="none")
    assert any("rough first" in n for n in carve(hill, none, router).notes)


def test_roughing_leaves_its_skim_and_less_than_a_level_more(shop, router, oak):
    """On level ground nothing but the skim stays; on the top of the hill nothing is taken that finishing needs."""
    table = sampled(lambda x, y: np.where(np.abs(x - 40) < 15, 0.0, -10.0), 80, 60, pixel=0.5)
    s = step("rough", shop.cutter("SQ6"), oak, router)
    stands, levels = after_roughing(table, s)
    over = stands.z - table.z
    assert levels == math.ceil((10 - s.skim) / s.depth_per_pass - 1e-9)
    assert (over >= 0).all()
    assert over[60, 10] == pytest.approx(s.skim)
    assert over[60, 80] == 0.0


def test_feeds_keep_the_bounds_of_cutter_and_machine(shop, router, oak):
    for c in shop.cutters.values():
        if c.shape == "drill":
            continue
        s = step("finish", c, oak, router, stepover=0.3)
        most = min((v for v in (c.marked_rpm, c.maker_rpm) if v is not None), default=18000.0)
        assert s.rpm <= most
        assert 0 < s.feed <= min(router.axes[0].feed, router.axes[1].feed)
        tip = c.tip_diameter if c.shape == "tapered ball" else c.true_diameter
        assert s.feed / s.rpm / c.flutes <= 0.04 * tip
    slow = replace(router, axes=tuple(replace(a, feed=600.0) for a in router.axes))
    assert step("finish", shop.cutter("BALL6"), oak, slow, stepover=0.3).feed <= 600


def test_nonsense_is_refused_with_a_remedy(leaf, shop, router, oak):
    with pytest.raises(InputError, match="give one of them"):
        scheme_for(leaf, shop.cutter("TB3"), oak, router, (), stepover=1, cusp=1)
    with pytest.raises(InputError, match="a drill"):
        step("finish", shop.cutter("DR8"), oak, router, stepover=1)
    with pytest.raises(InputError, match="sideways step"):
        step("finish", shop.cutter("TB3"), oak, router)
    with pytest.raises(InputError, match="finish once"):
        Scheme((step("rough", shop.cutter("SQ6"), oak, router),))
    with pytest.raises(InputError, match="no cutter of the rack"):
        choices(leaf, [shop.cutter("SQ6")], router, oak)


# --- maps and estimates -----------------------------------------------------------------------------------------------


def test_a_refined_map_keeps_every_sample_and_adds_nothing(leaf, shop):
    fine = refined(leaf, shop.cutter("TB1"))
    split = round(leaf.pixel / fine.pixel)
    assert split % 2 == 1
    assert split > 1
    assert (fine.z[split // 2 :: split, split // 2 :: split] == leaf.z).all()
    assert leaf.z.min() == fine.z.min()
    assert fine.z.max() == leaf.z.max()
    assert (fine.length, fine.width) == pytest.approx((leaf.length, leaf.width))


def test_time_converges_with_the_map_it_is_computed_from(shop, router, oak):
    """A ball on a sphere: from coarse samples and from fine ones within 3 %, because the path is smooth either way."""

    def bowl(pixel):
        return sampled(
            lambda x, y: np.sqrt(np.maximum(0, 60.0**2 - (x - 40) ** 2 - (y - 30) ** 2)) - 60, 80, 60, pixel=pixel
        )

    s = step("finish", shop.cutter("TB3"), oak, router, stepover=2.0, wood=10.0)
    coarse, fine = (sampled_seconds(bowl(p), s, router) for p in (0.5, 0.1))
    assert coarse == pytest.approx(fine, rel=0.03)


@pytest.mark.parametrize("stepover", [0.3, 0.7])
def test_some_lines_tell_the_time_of_all(leaf, shop, router, oak, stepover):
    scheme = scheme_for(leaf, shop.cutter("BALL6"), oak, router, shop.cutters.values(), stepover=stepover)
    whole, some = carve(leaf, scheme, router), outlook(leaf, scheme, router)
    assert some.seconds[-1] == pytest.approx(whole.steps[-1].seconds, rel=0.06)
    assert sum(some.seconds) + some.change_seconds == pytest.approx(whole.seconds, rel=0.06)
    assert some.sanding_hours == whole.sanding_hours  # one rule


def test_a_coarser_map_keeps_the_mean_and_the_size():
    m = HeightMap(-np.random.default_rng(1).random((300, 400)), 0.25)
    small = coarser(m, 8_000)
    assert small.z.size <= 8_000
    assert small.z.mean() == pytest.approx(m.z.mean())
    assert (small.length, small.width) == pytest.approx((m.length, m.width))


def test_sanding_grows_with_true_area_and_cusps():
    level = sampled(lambda x, y: 0 * x - 1, 100, 100, pixel=1.0)
    steep = sampled(lambda x, y: x - 100, 100, 100, pixel=1.0)
    assert sanding_hours(steep, 0.0, 2100) == pytest.approx(math.sqrt(2) * sanding_hours(level, 0.0, 2100))
    assert sanding_hours(level, 0.05, 2100) == pytest.approx(2 * sanding_hours(level, 0.0, 2100))


# --- choices ----------------------------------------------------------------------------------------------------------


def test_nothing_kept_is_both_dearer_and_coarser_than_another(found, shop):
    assert len(found.kept) >= 3
    for a in found.kept:
        for b in found.kept:
            assert a is b or a.price < b.price or a.wood_left < b.wood_left
        asked = carving_price(a.result.seconds, a.result.sanding_hours, shop.rates).asked
        assert a.price == float(asked)  # machine, attended share and sanding, as everywhere else
    prices = [c.price for c in found.kept]
    assert prices == sorted(prices)


def test_every_way_is_kept_or_dropped_with_a_reason(found):
    assert found.looked_at == len(found.kept) + len(found.dropped)
    assert all(d.reason for d in found.dropped)
    prices = [d.price for d in found.dropped]
    assert prices == sorted(prices)


def test_dear_sanding_moves_the_front_to_lower_cusps(leaf, shop, router, oak):
    """With sanding for nothing coarse lines are cheapest, with dear sanding fine ones; coarse ones are then beaten."""
    rack = [shop.cutter(c) for c in ("BALL6", "SQ6")]
    free, dear = (
        choices(leaf, rack, router, oak, cusps_wanted=(0.02, 0.3), pricing=lambda s, h, w=w: s / 3600 + w * h, most=2)
        for w in (0.0, 100.0)
    )
    assert free.kept[0].wanted_cusp == 0.3
    assert dear.kept[0].wanted_cusp == 0.02
    (beaten,) = [d for d in dear.dropped if d.wanted_cusp == 0.3]
    assert beaten.reason == f"dearer and coarser than {dear.kept[0].title}"
    assert beaten.price > dear.kept[0].price
    assert beaten.wood_left > dear.kept[0].wood_left
    assert beaten.as_json()["reason"] == beaten.reason


def test_the_greatest_feeds_take_less_time_by_the_same_path_and_keep_every_limit(found, router):
    faster = [c for c in found.kept if c.faster is not None]
    assert faster
    for c in faster:
        assert c.faster.seconds < c.result.seconds
        assert c.faster.price <= c.price
        for s, (cutter, feed, binds) in zip(c.result.scheme.steps, c.faster.feeds, strict=True):
            assert (cutter, binds) == (s.cutter.id, s.binds)
            assert s.feed <= feed <= min(a.feed for a in router.axes[:2])


def test_a_feed_beyond_its_bound_breaks_a_limit_that_is_named(shop, router, oak):
    """The limits themselves, asked just below and just above the bound."""
    for key in ("BALL12", "CB19"):
        s = step("finish", shop.cutter(key), oak, router, stepover=0.4, wood=2.0)
        cut = limits.ask(
            s.cutter, oak, router, station="flat", grain=grain_vector("flat", 0.0), depth=2.0, width=0.4, learned={}
        )
        loads = limits.Loads(cut, limits.Pass(1, 1, 2.0, 0.4, "climb"))
        kept = {
            b.name: np.asarray(b.kept)
            for b in limits.bounds(loads, s.rpm, np.array([s.greatest_feed, 1.05 * s.greatest_feed]), quality=None)
            if b.name == s.binds
        }
        assert kept[s.binds].tolist() == [True, False]


# --- what cannot be cut -----------------------------------------------------------------------------------------------


def pit(depth):
    """A pit with walls so steep that a thick shank meets their edge."""
    return sampled(lambda x, y: np.where(np.hypot(x - 30, y - 20) < 8, -depth, 0.0), 60, 40, pixel=0.5)


def test_a_shank_thicker_than_its_cutter_reaches_its_flutes_and_no_more(shop, router, oak):
    """SQ3: flutes 1/2 in, 1/8 in wide, on a shank of 1/4 in: beside a wall it comes 12.7 mm down."""
    deep, s = pit(16.0), step("finish", shop.cutter("SQ3"), oak, router, stepover=1.0, wood=1.0)
    rough_first = Scheme((step("rough", shop.cutter("SQ6"), oak, router), s))
    (found,) = obstacles(deep, rough_first)
    assert (found.cutter.id, found.obstacle.part) == ("SQ3", "shank")
    assert found.obstacle.reaches == pytest.approx(12.7)
    assert found.obstacle.of == pytest.approx(16.0)
    assert {h.obstacle.part for h in obstacles(deep, Scheme((s,)))} == {"flutes", "shank"}
    assert obstacles(pit(12.0), rough_first) == ()
    can = able(deep, shop.cutters.values(), like=s.cutter)
    assert "SQ6" in [c.id for c in can]
    assert all(c.cutting_length >= 16.0 and c.stick_out >= 16.0 for c in can)


def test_a_collet_over_the_stock_is_an_obstacle(shop, router, oak):
    deep = pit(40.0)
    s = step("finish", shop.cutter("SQ12"), oak, router, stepover=1.0, wood=1.0)
    found = obstacles(deep, Scheme((replace(s, cutter=replace(s.cutter, stick_out=35.0)),)))
    collet = next(h for h in found if h.obstacle.part == "collet")
    assert (collet.obstacle.reaches, collet.obstacle.of) == (35.0, 40.0)


def test_three_are_a_quick_a_middle_and_a_fine_one(found):
    quick, middle, fine = three(found)
    assert quick is found.kept[0]
    assert fine is found.kept[-1]
    assert quick.price < middle.price < fine.price
    assert quick.wood_left > middle.wood_left > fine.wood_left
