"""Batches: what is paid once and what for each piece, against sums done apart."""

import math
from dataclasses import replace

import pytest
from test_hours_drivers import SHOP, door

from shopcalc.jobs import estimate
from shopcalc.jobs.records import PhaseEntry
from shopcalc.quote import price
from shopcalc.quote.batches import by_quantity
from shopcalc.shop import PHASES
from shopcalc.standard_times import DRIVERS

NOT_LEARNING = replace(SHOP, rates=SHOP.rates.with_(learning=dict.fromkeys(DRIVERS, 1.0)))
QUANTITIES = (1, 2, 4, 8)


def test_without_learning_hours_lie_on_a_straight_line():
    """Once per job or program, and once per piece: nothing bends (coats and the rack's cutters are per job)."""
    hours = by_quantity(door(), QUANTITIES, shop=NOT_LEARNING, draws=400)["hours"]
    slope = hours[2] - hours[1]
    assert [hours[n] for n in QUANTITIES] == pytest.approx([hours[1] + (n - 1) * slope for n in QUANTITIES])
    assert 0 < slope < hours[1]


def test_learning_bends_the_line_by_wrights_curve():
    """Every hour that comes with pieces, by its driver's own share; from phases alone it can be done by hand."""
    learning = dict.fromkeys(DRIVERS, 0.9)
    shop = replace(SHOP, rates=SHOP.rates.with_(learning=learning))
    plain, learned = (by_quantity(door(), QUANTITIES, shop=s, draws=400)["hours"] for s in (NOT_LEARNING, shop))
    for n in QUANTITIES:
        run = estimate(door(n), SHOP).hours["machining"].best  # the machine learns nothing
        assert learned[n] - run == pytest.approx((plain[n] - run) * n ** math.log2(0.9))


def test_a_piece_takes_and_costs_less_the_more_are_made():
    table = by_quantity(door(), QUANTITIES, draws=2000)
    for column in ("hours_each", "floor_each", "asked_each"):
        assert table[column].is_monotonic_decreasing
        assert table[column.removesuffix("_each")].is_monotonic_increasing
    assert table["machine_hours_each"].to_list() == pytest.approx([table["machine_hours"][1]] * 4)
    assert table.attrs["units"]["asked_each"] == "USD"


def test_a_row_is_the_quote_of_that_many():
    p = price(estimate(door(3), SHOP), SHOP)
    row = by_quantity(door(), [3]).loc[3]
    assert (row["floor"], row["asked"]) == (float(p.floor), float(p.asked))
    assert row["hours"] == pytest.approx(p.estimate.own_hours)


def test_hours_logged_and_prices_agreed_for_one_quantity_say_nothing_of_others():
    job = replace(door(12), phases={"stock": PhaseEntry(logged="90 h")}, asked_price=price(estimate(door())).asked)
    assert by_quantity(job, [1, 12], draws=400).equals(by_quantity(door(), [1, 12], draws=400))


def test_a_job_of_nothing_is_refused():
    with pytest.raises(ValueError, match="1 or more"):
        by_quantity(door(), [2, 0], draws=400)


def test_every_phase_is_in_the_hours():
    e = estimate(door(2), SHOP)
    assert by_quantity(door(), [2], draws=400)["hours"][2] == pytest.approx(sum(e.hours[p].best for p in PHASES))
