"""Controls without a browser: what they show is what the public functions say."""

import math

import pytest

from shopcalc.controls import program_time, quote_job, straight_move_seconds
from shopcalc.gcode import read_program
from shopcalc.jobs import open_job
from shopcalc.motion import machine_time
from shopcalc.shop import Shop


@pytest.fixture(scope="module")
def shop():
    return Shop.open()


@pytest.fixture
def timing(shop):
    return program_time(shop, "router")


def test_the_minutes_are_those_of_the_programs(shop, timing):
    machine = shop.machine("router")
    files = sorted((shop.folder / "programs").glob("*.nc"))
    total = sum(machine_time(read_program(f, machine).moves, machine).total_s for f in files) / 60
    assert timing.total_minutes == pytest.approx(total)
    assert sum(timing.causes_figure.data[0].x) == pytest.approx(total)


@pytest.mark.parametrize("what", ["rapid", "acceleration", "tolerance", "feed_share"])
def test_tightening_a_slider_never_saves_minutes(timing, what):
    control, before = getattr(timing, what), timing.total_minutes
    control.slider.value = control.slider.value / 2
    assert control.value == pytest.approx(control.slider.value)
    assert timing.total_minutes > before or (
        what == "tolerance" and timing.total_minutes == pytest.approx(before, rel=0.01)
    )
    assert f"{timing.total_minutes:.2f}" in timing.table.value


def test_choosing_fewer_programs_leaves_their_sum(timing):
    timing.chosen.value = timing.chosen.value[:2]
    assert timing.total_minutes == pytest.approx(sum(t.time.total_s for t in timing.timed) / 60)
    assert timing.answer.value.count("2 programs") == 1


def test_what_a_reloaded_page_is_given_is_what_is_shown(timing):
    """The snapshot that the browser gets anew must hold the present curve, not the first one."""
    timing.feed_share.value = 50
    figure = timing.causes_figure
    assert sum(figure._widget_data[0]["x"]) == pytest.approx(timing.total_minutes)


def test_a_program_that_cannot_be_read_or_has_no_feed_is_said(shop, tmp_path):
    (tmp_path / "bad.nc").write_text("G21\nG1 X\n")
    (tmp_path / "nofeed.nc").write_text("G21\nG1 X5\n")
    (tmp_path / "good.nc").write_text("G21 F600\nG1 X5\n")
    control = program_time(shop, folder=tmp_path)
    assert "line 2, column 4" in control.faults.value
    assert "1 unknown" in control.answer.value
    assert "unknown" in control.table.value
    assert math.isnan(control.total_minutes)


def test_no_programs_is_no_crash(shop, tmp_path):
    assert program_time(shop, folder=tmp_path).total_minutes == 0


def test_inch_shows_the_same_minutes(shop, timing):
    inch = program_time(shop, "router", system="inch")
    assert inch.total_minutes == pytest.approx(timing.total_minutes, rel=1e-3)
    assert "in/min" in inch.speed_figure.layout.yaxis.title.text


def test_straight_moves_by_the_same_engine():
    assert straight_move_seconds([100, 20], [100, 100], [500, 500], [math.inf, 5000]) == pytest.approx(
        [1.2, 0.512311], abs=1e-6
    )


@pytest.fixture(scope="module")
def quote(shop):
    return quote_job(shop, open_job(shop.folder / "jobs" / "reed-bed-chest.toml", shop))


def test_margin_moves_the_asked_price_and_not_the_floor(quote):
    floor, asked = quote.price.floor, quote.price.asked
    quote.margin.value = 30
    assert quote.price.floor == floor
    assert quote.price.asked > asked
    assert quote.price.margin == pytest.approx(0.30, abs=1e-3)
    assert f"{quote.price.asked:,.0f}" in quote.answer.value
    assert quote.price_figure.data[1].x[1] == float(quote.price.asked)
    quote.margin.value = 18


def test_fewer_machine_hours_a_year_make_the_hour_dearer(quote):
    before = quote.price.machine_rate.total
    quote.hours_per_year.value = quote.hours_per_year.value / 2
    assert quote.price.machine_rate.total > before


def test_more_pieces_cost_more_together_and_less_each(quote):
    one = quote.price.floor
    quote.quantity.value = 4
    assert one < quote.price.floor < 4 * one
    quote.quantity.value = 1


def test_the_table_adds_up_to_the_asked_price(quote):
    assert sum(line.amount for line in quote.price.lines) == quote.price.asked
    assert f"{quote.price.asked:,.2f}" in quote.price_table.value


def test_causes_stand_in_one_order_whatever_was_dragged(timing):
    from shopcalc.motion import CAUSES

    for share in (60, 100, 150):
        timing.feed_share.value = share
        shown = list(timing.causes_figure.data[0].y)
        assert shown == [c for c in CAUSES if c in shown]
        assert all(v > 0 for v in timing.causes_figure.data[0].x)
