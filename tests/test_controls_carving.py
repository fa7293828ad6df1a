"""Controls of carving without a browser: what they show is what the public functions say, and pictures are true."""

import base64
import io
import math

import numpy as np
import pytest
from PIL import Image

from shopcalc.controls import BeforeArtworkControl, CarvingChoicesControl, before_artwork, carving_hours
from shopcalc.controls import carving_pictures as pictures
from shopcalc.cutters import Cutter
from shopcalc.quote.carving import carving_price
from shopcalc.relief.artwork import read_artwork
from shopcalc.relief.carving import carve
from shopcalc.relief.finishing import cusps
from shopcalc.relief.heights import sampled
from shopcalc.relief.kinds import hours_before_artwork
from shopcalc.relief.layouts import extent, lay_out
from shopcalc.relief.reach import centre_surface, reached
from shopcalc.shop import Shop

BALL = Cutter("B6", "", "ball", 6, 6, 2, 20, 60, 30)


@pytest.fixture(scope="module")
def shop():
    return Shop.open()


@pytest.fixture(scope="module")
def control(shop):
    return carving_hours(shop, "metric", length=90.0, depth=5.0, pixel=0.5, cutter="TB3")


@pytest.fixture
def carving(control):
    control.units.value = "metric"
    control.set(
        artwork=str(control.shop.folder / "reliefs" / "heron.png"), length=90.0, depth=5.0, cutter="TB3", cusp=0.05,
        roughing="suggested", cleaning="none", direction="x", usual_feed=True, sunk=False, inverted=False,
    )  # fmt: skip
    control.back.click()
    return control


def opened(address):
    return np.asarray(Image.open(io.BytesIO(base64.b64decode(address.split(",")[1]))).convert("L"), dtype=float)


def image_of(figure):
    return opened(figure.layout.images[0].source)


# --- the answer -------------------------------------------------------------------------------------------------------


def test_minutes_and_price_are_those_of_the_public_functions(shop, carving):
    art = read_artwork(shop.folder / "reliefs" / "heron.png", length=90.0, depth=5.0, pixel=0.5)
    again = carve(
        art.map, carving.result.scheme, shop.machine("router"), sanding_per_area=shop.rates.minutes["sanding_per_area"]
    )
    assert carving.result.seconds == pytest.approx(again.seconds)
    assert carving.result.left.volume == pytest.approx(again.left.volume)
    priced = carving_price(again.seconds, again.sanding_hours, shop.rates)
    assert carving.priced.asked == priced.asked
    for figure in (f"{again.minutes:.2f}", f"{priced.asked:,.2f}", f"{priced.floor:,.2f}", f"{again.cusps.mean:.4f}"):
        assert figure in carving.figures_table.value


def test_the_step_follows_the_cusp_and_the_cusp_the_step(carving):
    after = reached(carving.surface, carving.shop.cutter("TB3"))
    carving.cusp.slider.value = 0.02
    assert cusps(after, carving.shop.cutter("TB3"), carving.stepover.value, "x").most == pytest.approx(0.02, rel=0.02)
    narrow, quick = carving.stepover.value, carving.result.lines
    carving.stepover.value = 2 * narrow
    assert carving.cusp.value == pytest.approx(0.08, rel=0.1)  # twice the step, four times the ridge
    assert carving.result.lines == pytest.approx(quick / 2, abs=1)


def test_another_cutter_keeps_the_cusp_that_was_asked_for(carving):
    before = carving.stepover.value
    carving.cutter.value = "BALL6"
    assert carving.cusp.value == pytest.approx(0.05)
    assert carving.stepover.value > before


def test_undo_goes_back_at_once_and_as_far_as_one_likes(carving):
    first = carving.result
    carving.set(cutter="BALL6")
    second = carving.result
    carving.set(direction="y")
    carving.undo()
    assert carving.result is second
    carving.undo_button.click()
    assert carving.result is first
    assert carving.cutter.value == "TB3"
    assert "known already" in carving.progress.value


def test_a_feed_of_ones_own_counts_and_the_usual_one_comes_back(carving):
    usual, minutes = carving.feed.value, carving.result.minutes
    assert carving.feed.slider.disabled
    carving.set(feed=usual / 3)
    assert carving.result.minutes > minutes
    assert not carving.feed.slider.disabled
    carving.usual_feed.value = True
    assert carving.feed.value == usual
    assert carving.result.minutes == minutes


def test_roughing_and_cleaning_up_can_be_chosen(carving):
    carving.set(depth=9.0, cutter="BALL6", roughing="SQ6", cleaning="TB1")
    assert [s.step.role for s in carving.result.steps] == ["rough", "finish", "clean up"]
    before = carving.result.left.volume
    carving.set(cleaning="none", roughing="none")
    assert [s.step.role for s in carving.result.steps] == ["finish"]
    assert carving.result.left.volume > before


def test_a_name_that_is_no_control_is_refused(carving):
    with pytest.raises(ValueError, match="no control is named cuter"):
        carving.set(cuter="TB3")


# --- artwork ----------------------------------------------------------------------------------------------------------


def test_a_file_that_is_no_artwork_is_said_and_the_last_answer_stays(carving, tmp_path):
    (tmp_path / "notes.png").write_text("no image")
    before = carving.result
    carving.file.value = str(tmp_path / "notes.png")
    assert "notes.png" in carving.faults.value
    assert carving.result is before
    carving.undo()
    assert carving.faults.value == ""


def test_any_file_is_taken_and_black_can_be_high(carving, tmp_path):
    ramp = np.tile(np.linspace(0, 65535, 60), (40, 1)).astype(np.uint16)
    Image.fromarray(ramp).save(tmp_path / "ramp.png")
    carving.file.value = str(tmp_path / "ramp.png")
    assert carving.faults.value == ""
    assert carving.artwork.label == "ramp.png"
    assert carving.surface.z[0, -1] == pytest.approx(0.0, abs=1e-6)
    carving.inverted.value = True
    assert carving.surface.z[0, 0] == pytest.approx(0.0, abs=1e-6)
    assert carving.places == [] or carving.result.left.greatest > 0.02


def test_a_shop_without_artwork_is_no_crash(shop, tmp_path):
    from dataclasses import replace

    control = carving_hours(replace(shop, folder=tmp_path))
    assert "name a file" in control.faults.value
    assert control.result is None
    control.units.value = "inch"
    control.look_at.value = 0
    control.along.value = "y"


# --- pictures ---------------------------------------------------------------------------------------------------------


def test_light_comes_from_the_upper_left():
    def bright(x, y):
        return pictures.in_wood(sampled(lambda u, v: x * u + y * v, 20.0, 20.0, pixel=0.5)).mean()

    level = bright(0.0, 0.0)
    assert bright(0.5, 0.0) > level > bright(-0.5, 0.0)  # rises to the right: faces left
    assert bright(0.0, -0.5) > level > bright(0.0, 0.5)  # falls to the top: faces up
    assert bright(0.4, -0.4) > bright(0.5, 0.0)


def test_the_first_row_of_an_image_is_the_highest_y():
    up = sampled(lambda x, y: np.where(y > 15, 0.0, -1.0) + 0 * x, 20.0, 20.0, pixel=0.5)
    image = pictures.in_wood(up).mean(axis=(1, 2))
    assert image[2] > image[-3]


def test_colours_begin_where_their_depth_does():
    flat = sampled(lambda x, y: 0 * x - 3, 30.0, 10.0, pixel=0.5)
    left = flat.with_(np.tile(np.linspace(0, 1.2, flat.z.shape[1]), (flat.z.shape[0], 1)))
    for system, per in (("metric", 1.0), ("inch", 25.4)):
        image = pictures.detail(flat, left, system)[0].astype(int)
        coloured = image[:, 2] - image[:, 0] > 30
        assert coloured.tolist() == (left.z[0] / per >= pictures.STEPS[system][0]).tolist()
        dark = image.sum(axis=1)[coloured]
        assert (np.diff(dark) <= 0).all()
        assert len(set(dark.tolist())) == 6


def test_a_window_shows_its_own_part_of_the_picture():
    x = np.linspace(0, 255, 200)
    ramp = np.repeat(np.tile(x, (100, 1))[:, :, None], 3, axis=2).astype(np.uint8)
    part = opened(pictures.address(ramp, (0, 0, 200, 100), (100, 25, 150, 50), 100))
    assert part.shape == (100, 200)
    assert part[:, 0].mean() == pytest.approx(255 * 100 / 200, abs=3)
    assert part[:, -1].mean() == pytest.approx(255 * 150 / 200, abs=3)


def test_a_frame_drawn_in_one_picture_moves_all_three(carving):
    carving.reached_figure.plotly_relayout({"xaxis.range": [30, 50], "yaxis.range": [20, 30]})
    windows = {(tuple(f.layout.xaxis.range), tuple(f.layout.yaxis.range)) for f in carving._three}
    assert len(windows) == 1
    (x, y), whole = windows.pop(), extent(carving.surface)
    assert x[0] <= 30 < 50 <= x[1]
    assert (y[1] - y[0]) / (x[1] - x[0]) == pytest.approx(whole[3] / whole[2])
    assert carving.magnify.value > 1
    sources = [f.layout.images[0].source for f in carving._three]
    carving.back.click()
    assert carving.wanted_figure.layout.xaxis.range == pytest.approx((0.0, 90.0))
    assert all(f.layout.images[0].source != s for f, s in zip(carving._three, sources, strict=True))


def test_going_to_a_place_shows_it_and_cuts_through_it(carving):
    carving.look_at.value = 1
    x, y = carving.places[0]
    assert carving.window[0] < x < carving.window[2]
    assert carving.at.value == pytest.approx(y, abs=0.01)
    left = carving.result.left
    row, column = np.abs(left.depth.y - y).argmin(), np.abs(left.depth.x - x).argmin()
    assert left.depth.z[row, column] == left.greatest
    assert f"{left.greatest:.3f} mm left here" in carving.close_figure.layout.title.subtitle.text


def test_lines_drawn_lie_where_lines_are_run(carving):
    r = carving.result
    shown = pictures.Shown(carving.surface, (10.0, 10.0, 16.0, 14.0), np.zeros((2, 2)), (), "metric")
    step = r.scheme.finishing.stepover
    assert pictures.show_lines(carving.reached_figure, shown, step, "x") == "every line"
    drawn = sorted({v for v in carving.reached_figure.data[0].y if v is not None})
    true = lay_out(extent(carving.surface), (1.0, 0.0), step).offset
    inside = sorted(v for v in true if 10.12 <= v <= 13.88)
    assert drawn == pytest.approx(inside)
    angles = [a % 360 for a in carving.reached_figure.data[1].marker.angle]
    assert angles[:2] in ([90, 270], [270, 90])  # to and fro


def test_what_a_reloaded_page_is_given_is_what_is_shown(carving):
    carving.set(cutter="BALL6")
    for figure in carving._three:
        assert figure._widget_layout["images"][0]["source"] == figure.layout.images[0].source
    assert ">BALL6;" in carving.reached_figure._widget_layout["title"]["text"]


def test_inches_show_the_same_carving(carving):
    minutes, x = carving.result.minutes, carving.wanted_figure.layout.xaxis.range[1]
    carving.units.value = "inch"
    assert carving.result.minutes == minutes
    assert carving.wanted_figure.layout.xaxis.range[1] == pytest.approx(x / 25.4)
    assert carving.length.box.value == pytest.approx(90 / 25.4, abs=1e-4)
    assert "in/min" in carving.figures_table.value
    assert " mm" not in carving.figures_table.value


# --- the cut ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("along", ["x", "y"])
@pytest.mark.parametrize("at", [6.0, 9.3, 14.0])
def test_the_cutter_drawn_touches_what_it_leaves_and_cuts_nothing_wanted(along, at):
    bumpy = sampled(
        lambda x, y: -3 + 1.2 * np.sin(x) * np.cos(0.8 * y) + 0.6 * np.sin(1.7 * x + y), 30.0, 20.0, pixel=0.25
    )
    tips, after = centre_surface(bumpy, BALL, beyond=3.0), reached(bumpy, BALL)
    cut = pictures.section(bumpy, after, tips, BALL, along, at)
    assert cut.left == pytest.approx((cut.reached - cut.wanted).max())
    s, z = pictures.outline(BALL, cut.tip[1], 3.0)
    under = np.interp(cut.distance - cut.tip[0], s[1:-1], z[1:-1], left=np.inf, right=np.inf) + cut.tip[2]
    assert under[cut.place] == pytest.approx(cut.reached[cut.place], abs=0.01)
    assert (under - cut.wanted).min() > -0.02


def test_beside_its_axis_a_ball_is_cut_in_a_smaller_circle():
    s, z = pictures.outline(BALL, 1.8, 3.0)
    assert s.max() == pytest.approx(math.sqrt(3.0**2 - 1.8**2))
    assert z.min() == pytest.approx(3.0 - 2.4, abs=1e-6)


def test_where_the_cutter_fits_the_narrowest_hollow_is_shown():
    trough = sampled(lambda x, y: -np.sqrt(np.maximum(100.0 - (x - 12.0) ** 2, 0.0)) + 6 + 0 * y, 24.0, 10.0, pixel=0.5)
    gentle = trough.with_(np.minimum(trough.z, 0.0))
    cut = pictures.section(gentle, gentle, centre_surface(gentle, BALL), BALL, "x", 5.0)
    assert cut.left == 0
    assert np.isfinite(cut.tip).all()


def test_turning_and_moving_the_cut_follows(carving):
    carving.along.value = "y"
    assert carving.section_figure.layout.title.text.startswith("Cut along y")
    carving.at.value = 30.0
    row = np.abs(carving.surface.x - 30.0).argmin()
    assert carving.section_figure.data[0].y == pytest.approx(carving.surface.z[:, row])
    assert list(carving.wanted_figure.data[2].x) == [30.0, 30.0]
    carving.along.value = "x"


# --- ways worth offering ----------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def offers(control):
    control.units.value = "metric"
    control.set(artwork=str(control.shop.folder / "reliefs" / "heron.png"), length=90.0, depth=5.0, inverted=False)
    found = CarvingChoicesControl(control, ("BALL6", "TB3", "SQ6"), (0.03, 0.1))
    found.ask()
    return found


def test_none_of_the_ways_is_both_cheaper_and_finer(offers):
    line = offers.figure.data[1]
    assert len(line.x) >= 2
    assert (np.diff(line.x) > 0).all()
    assert (np.diff(line.y) < 0).all()


def test_taking_one_sets_the_controls_and_shows_its_minutes(offers, control):
    for number, offered in enumerate(offers.offered):
        offers.buttons[number].click()
        assert control.result.seconds == offered.result.seconds
        assert control.cutter.value == offered.result.scheme.finishing.cutter.id
        assert control.stepover.value == pytest.approx(offered.result.scheme.finishing.stepover)
        assert offers.figure.data[2].x[0] == pytest.approx(offered.price)
        assert "known already" in control.progress.value
    control.undo()
    assert control.result.seconds == offers.offered[-2].result.seconds


def test_cards_carry_picture_minutes_and_price(offers, control):
    for card, offered in zip(offers.cards, offers.offered, strict=False):
        price = carving_price(offered.result.seconds, offered.result.sanding_hours, control.shop.rates)
        assert f"{price.asked:,.0f} {price.currency}" in card.value
        assert card.value.count("data:image/jpeg;base64,") == 2


def test_another_artwork_makes_the_offers_stale(offers, control):
    control.set(depth=6.0)
    assert "ask again" in offers.said.value
    assert offers.three.layout.display == "none"
    control.undo()
    assert offers.three.layout.display == "flex"
    assert offers.said.value == ""


def test_a_rack_that_cannot_finish_is_said(control):
    found = CarvingChoicesControl(control, ("SQ6",), (0.1,))
    found.ask()
    assert "no cutter of the rack can finish" in found.said.value
    assert found.offered == ()


def test_what_cannot_be_cut_gets_no_price(control):
    """A ball of 1/4 in, its flutes 1 in, in a relief of 30 mm with steep flanks."""
    control.set(depth=30.0, roughing="none", cutter="BALL6")
    assert "cannot be cut with BALL6" in control.answer.value
    assert "asked" not in control.figures_table.value
    control.undo()
    assert "ask " in control.answer.value


# --- before any artwork -----------------------------------------------------------------------------------------------


def test_the_band_before_any_artwork_is_that_of_the_public_function(shop):
    small = {"length": 80.0, "width": 60.0, "depth": 5.0, "smallest_detail": 4.0}
    control = before_artwork(shop, "metric", **small)
    told = hours_before_artwork(
        "soft modelling", *small.values(), shop.machine("router"), shop.material("white-oak"), shop.cutters.values(),
        sanding_per_area=shop.rates.minutes["sanding_per_area"],
    )  # fmt: skip
    assert control.told == told
    assert list(control.band_figure.data[1].x) == pytest.approx([s / 3600 for s in (told.low, told.likely, told.high)])
    assert "data:image/jpeg;base64," in control.image.value
    assert f"{told.sanding_hours:.1f} h of sanding counted" in control.answer.value
    assert "drawing the artwork" in control.table.value
    control.units.value = "inch"
    assert control.told == told
    control.detail.value = 40.0
    assert "not computed" in control.progress.value


def test_finer_grooves_take_longer(shop):
    control = BeforeArtworkControl(shop, length=80.0, width=60.0, depth=5.0, smallest_detail=6.0)
    wide = control.told.likely
    control.detail.value = 1.5
    assert control.told.likely > wide
