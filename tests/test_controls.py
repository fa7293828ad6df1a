"""Controls without a browser: what they show is what the public functions say."""

import math

import pytest

from shopcalc.controls import ComparisonControl, SavingsControl, program_time, quote_job, straight_move_seconds
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


def test_one_sentence_says_what_the_losses_cost(shop, timing):
    causes = {}
    for t in timing.timed:
        for name, seconds in t.time.causes().items():
            causes[name] = causes.get(name, 0) + seconds / 60
    assert f"{timing.total_minutes:.2f} min; corners cost {causes['corners']:.2f}" in timing.sentence.value


def test_a_program_without_feed_is_drawn_and_its_line_is_said(shop, tmp_path):
    (tmp_path / "nofeed.nc").write_text("G21\nG0 X5\nG1 X50 Y20\n")
    control = program_time(shop, folder=tmp_path)
    assert "nofeed.nc: time unknown, no feed is known from line 3 on (G1 X50 Y20)" in control.sentence.value
    drawn = {t.name: t for t in control.plan_figure.data}
    assert drawn["no feed is known"].x == (5, 50)
    assert SavingsControl(control).findings is None


@pytest.mark.parametrize("by", ["cause", "cutter", "depth"])
def test_the_minutes_add_up_however_they_are_sorted(timing, by):
    timing.sorted_by.value = by
    assert sum(timing.causes_figure.data[0].x) == pytest.approx(timing.total_minutes)
    assert f"{timing.total_minutes:.2f}" in timing.sums.value


@pytest.mark.parametrize("system", ["metric", "inch"])
def test_choosing_a_place_moves_all_three_pictures_there_and_back(shop, system):
    timing = program_time(shop, "router", system=system)
    timing.shown.value = "lid-outline.nc"
    figures = (timing.plan_figure, timing.depth_figure, timing.speed_figure)
    per, far = (1, 1000) if system == "metric" else (25.4, 304.8)
    whole = [(f.layout.xaxis.range, [t.x for t in f.data]) for f in figures]
    for number, place in enumerate(timing.places, start=1):
        timing.look_at.value = number
        centre = (place.at[0] / per, sum(place.distance) / 2 / far, sum(place.distance) / 2 / far)
        for f, c in zip(figures, centre, strict=True):
            low, high = f.layout.xaxis.range
            assert low < c < high
            assert (low + high) / 2 == pytest.approx(c, abs=(high - low) * 0.01)
        assert any(str(number) in a.text for a in timing.plan_figure.layout.annotations)
        assert str(number) in timing.plan_figure.layout.title.text.split(", place ")[1]
    timing.side.value = "front"
    assert timing.depth_figure.layout.title.text.startswith("From the front")
    timing.side.value = "depth"
    timing.back.click()
    assert [(f.layout.xaxis.range, [t.x for t in f.data]) for f in figures] == whole
    assert timing.look_at.value == 0


def test_the_table_of_places_tells_the_text_of_their_first_line(shop, timing):
    timing.shown.value = "panels.nc"
    lines = (shop.folder / "programs" / "panels.nc").read_text().splitlines()
    for place in timing.places:
        assert lines[place.lines[0] - 1].strip() in timing.places_table.value


def test_what_a_reloaded_page_is_given_is_the_place_looked_at(timing):
    timing.look_at.value = 1
    assert timing.plan_figure._widget_layout["xaxis"]["range"] == list(timing.plan_figure.layout.xaxis.range)


def test_savings_are_those_of_the_public_function_and_follow_the_limits(shop, timing):
    from shopcalc.gains import examine

    control = SavingsControl(timing)
    control.program.value = "heron-edge.nc"
    best = examine(timing.programs["heron-edge.nc"].moves, timing.present_machine()).savings[0]
    assert best.name in control.answer.value
    assert max(v for bar in control.figure.data for v in bar.x) == pytest.approx(best.seconds_saved)
    before = control.findings.seconds
    timing.acceleration.value = timing.acceleration.value / 2
    assert control.findings.seconds > before


def test_two_versions_show_their_minutes_and_one_version_against_itself_nothing(timing):
    control = ComparisonControl(timing)
    a, b = (t.time.total_s for t in timing.timed[:2])
    assert [sum(bar.x) for bar in control.figure.data] == pytest.approx([a / 60, b / 60])
    control.after.value = control.before.value
    assert "nothing changed" in control.answer.value


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
