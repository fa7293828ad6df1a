"""Joint fit: clearances both ways, corners against areas swept by the moves, readings that become words and back."""

import math
import re

import pytest
import shapely
from hypothesis import assume, given
from hypothesis import strategies as st
from workpiece import swept

from shopcalc.cutters import Cutter
from shopcalc.cutting.fit import (
    CORNER_KINDS,
    Clearances,
    MortiseSize,
    TenonSize,
    centring,
    corner_left,
    corner_minutes,
    corner_relief,
    correction,
    fit_notes,
    mortise_size,
    relieved_mortise,
    tenon_size,
    write_fit,
)
from shopcalc.errors import InputError
from shopcalc.motion import machine_time
from shopcalc.paths import Cutting, Tenon, program
from shopcalc.paths import mortise as round_mortise
from shopcalc.shop import Shop
from shopcalc.units import read

INCH = 25.4
ROUTER = Shop.open().machine("router")
SQ10 = Cutter("SQ10", "", "square end", 10.0, 10.0, 2, 40.0, 90.0, 50.0)
CUTTING = Cutting(SQ10, 3000, 900, 16000, depth_per_pass=6, safe_height=12)
SIZES = st.floats(2.0, 200.0)


def text_of(message):
    return pytest.raises(InputError, match=message)


# --- writing ---


@given(st.floats(-50, 50))
def test_a_caliper_reading_is_written_to_half_a_thou_or_a_hundredth(value):
    assert re.fullmatch(r"-?\d+\.\d{3,4} in", write_fit(value, "inch"))
    assert re.fullmatch(r"-?\d+\.\d\d mm", write_fit(value))
    assert read(write_fit(value, "inch"), "length") == pytest.approx(value, abs=0.00025 * INCH + 1e-9)
    assert read(write_fit(value), "length") == pytest.approx(value, abs=0.005 + 1e-9)


def test_there_is_no_minus_nothing():
    assert write_fit(-0.001) == "0.00 mm"
    assert write_fit(-0.001, "inch") == "0.000 in"


# --- clearances ---


@given(SIZES, SIZES, SIZES, st.floats(-0.5, 1.5), st.floats(-0.5, 1.5), st.floats(-0.5, 1.5))
def test_mortise_less_tenon_is_the_clearance_and_the_way_back_is_exact(thickness, width, depth, cheeks, edges, end):
    clearances = Clearances(cheeks, edges, end)
    tenon = tenon_size(thickness, width, depth, clearances)
    back = mortise_size(*tenon, clearances)
    assert tuple(back) == pytest.approx((thickness, width, depth), rel=1e-12)
    assert [m - t for m, t in zip((thickness, width, depth), tenon, strict=True)] == pytest.approx(
        [cheeks, edges, end], abs=1e-12
    )


def test_a_clearance_that_leaves_nothing_is_refused():
    with text_of("tenon thickness of -1 mm: lessen"):
        tenon_size(5, 50, 30, Clearances(6, 1, 2))
    with text_of("mortise depth"):
        mortise_size(5, 50, 3, Clearances(0, 1, -4))
    with text_of("clearance at the edges is nan"):
        Clearances(0, math.nan, 0)
    with text_of("mortise width"):
        tenon_size(5, 0, 30, Clearances(0, 0, 0))


# --- what the trade says ---


def notes(tenon=(9.5, 50, 38), clearances=(0.2, 1.0, 2.0), piece=30.0, **more):
    return fit_notes(TenonSize(*tenon), Clearances(*clearances), piece, **more)


def test_a_joint_of_good_proportions_keeps_every_rule_and_names_each_source():
    found = notes(stile_width=46.0)
    assert all(n.fine for n in found)
    assert [n.source.split(",")[0] for n in found] == [
        "Ross", "common practice", "common practice", "a woodworking magazine", "an old text on joinery",
    ]  # fmt: skip
    assert str(found[0]).endswith("(Ross, Elementary Course in Woodwork, public domain).")


def test_published_proportions_in_the_units_they_were_printed_in():
    """3/4 in stock takes a 1/4 in tenon (magazine, second-hand); 1/16 to 1/8 in below it; 7/8 of the stile."""
    quarter = TenonSize(INCH / 4, 2 * INCH, 1.5 * INCH)
    for deeper, fine in ((1 / 16, True), (1 / 8, True), (1 / 20, False), (1 / 7, False)):
        found = fit_notes(quarter, Clearances(0.2, 1, deeper * INCH), 0.75 * INCH, system="inch")
        assert found[0].fine, "exactly a third is no more than a third"
        assert found[3].fine == fine
    assert not fit_notes(TenonSize(5 / 16 * INCH, 50, 38), Clearances(0.2, 1, 2), 0.75 * INCH)[0].fine
    for depth, fine in ((1.75, True), (1.76, False)):
        size = TenonSize(INCH / 4, 2 * INCH, depth * INCH - 2)
        assert fit_notes(size, Clearances(0.2, 1, 2), 0.75 * INCH, stile_width=2 * INCH)[4].fine == fine


@pytest.mark.parametrize(
    ("change", "which", "word"),
    [
        ({"tenon": (10.5, 50, 38)}, 0, "more than a third of the 30.00 mm piece (10.00 mm)"),
        ({"clearances": (-0.1, 1, 2)}, 1, "splits the stile"),
        ({"clearances": (0.05, 1, 2)}, 1, "wiped off"),
        ({"clearances": (0.4, 1, 2)}, 1, "too loose for glue"),
        ({"clearances": (0.2, -0.3, 2)}, 2, "wedge the stile"),
        ({"clearances": (0.2, 1, 0.5)}, 3, "hold the shoulder open"),
        ({"clearances": (0.2, 1, -0.5)}, 3, "0.50 mm short of the tenon"),
        ({"clearances": (0.2, 1, 6)}, 3, "weakens the stile"),
        ({"stile_width": 45.0}, 4, "more than 7/8 of the 45.00 mm stile (39.38 mm)"),
    ],
)
def test_a_joint_that_breaks_a_rule_is_told_which(change, which, word):
    found = notes(**change)
    assert [i for i, n in enumerate(found) if not n.fine] == [which]
    assert word in found[which].words


@given(st.floats(1, 40), st.floats(-1, 2), st.floats(-1, 8), st.floats(20, 200))
def test_notes_say_nothing_twice_and_use_no_word_of_two_meanings(thickness, cheeks, end, stile):
    for system in ("metric", "inch"):
        found = notes((thickness, 50, 38), (cheeks, 1, end), 41.0, stile_width=stile, system=system)
        assert len({n.words for n in found}) == len(found) == 5
        assert not any("allowance" in str(n) for n in found)
        assert not any((" mm" if system == "inch" else " in ") in n.words.replace(" in total", "") for n in found)


def test_a_tenon_thicker_than_its_piece_is_refused():
    with text_of("piece's thickness"):
        notes(piece=9.0)


# --- corners ---


@given(st.floats(3, 30))
def test_what_a_round_corner_leaves(diameter):
    """Oracle: a square corner less the circle, as shapely areas."""
    r = diameter / 2
    circle = shapely.Point(r, r).buffer(r, quad_segs=512)
    left = shapely.box(0, 0, r, r).difference(circle)
    found = corner_left(diameter)
    assert found.area == pytest.approx(left.area, rel=1e-3)
    assert found.reach == pytest.approx(shapely.Point(0, 0).distance(circle), rel=1e-4)
    x0, y0, x1, y1 = left.bounds
    assert (x1 - x0, y1 - y0) == pytest.approx((found.along_wall, found.along_wall), rel=1e-6)


@pytest.mark.parametrize("style", ["past the end", "diagonal"])
@given(diameter=st.floats(3, 30))
def test_a_relief_just_clears_the_corner_and_eats_as_far_as_it_says(style, diameter):
    """Oracle: the circle at its end position, as a shapely area about a corner at (0, 0) with wood at x < 0, y < 0."""
    relief = corner_relief(diameter, style)
    circle = shapely.Point(relief.centre).buffer(diameter / 2, quad_segs=2048)
    assert circle.exterior.distance(shapely.Point(0, 0)) == pytest.approx(0, abs=1e-5 * diameter)
    x0, y0, _, _ = circle.bounds
    assert relief.past_end == pytest.approx(-x0, rel=1e-5)
    assert relief.past_cheek == pytest.approx(-y0, abs=1e-5)
    end = circle.intersection(shapely.LineString([(0, 0), (0, 99)])).length
    cheek = circle.intersection(shapely.LineString([(0, 0), (99, 0)])).length
    assert (end, cheek) == pytest.approx((relief.along_end, relief.along_cheek), abs=3e-2 * diameter)
    ordinary = (diameter / 2, diameter / 2)
    assert relief.overcut == pytest.approx(math.dist(relief.centre, ordinary))


@pytest.mark.parametrize("style", ["past the end", "diagonal"])
@pytest.mark.parametrize("width", [10.0, 13.0, 24.0])
@pytest.mark.parametrize("angle", [0.0, 0.6])
def test_a_relieved_mortise_takes_a_square_tenon(style, width, angle):
    """Oracle: the area the cutter passes over at the floor, from the moves alone."""
    length, depth = 50.0, 15.0
    where = {"length": length, "width": width, "depth": depth, "angle": angle}
    moves = relieved_mortise(CUTTING, (80.0, 40.0), style=style, **where)
    gone = swept(moves, CUTTING.radius, -depth)
    square = shapely.affinity.translate(shapely.box(-length / 2, -width / 2, length / 2, width / 2), 80, 40)
    square = shapely.affinity.rotate(square, angle, origin=(80, 40), use_radians=True)
    assert square.buffer(-0.01).difference(gone).area < 1e-6
    relief = corner_relief(SQ10.diameter, style)
    flat = shapely.affinity.rotate(gone, -angle, origin=(80, 40), use_radians=True)
    x0, y0, x1, y1 = flat.bounds
    assert (80 - length / 2 - x0, x1 - 80 - length / 2) == pytest.approx((relief.past_end,) * 2, abs=0.01)
    assert (40 - width / 2 - y0, y1 - 40 - width / 2) == pytest.approx((relief.past_cheek,) * 2, abs=0.01)
    if style == "past the end":
        spared = flat.intersection(shapely.box(80 - length / 2, 0, 80 + length / 2, 99))
        assert spared.bounds[3] <= 40 + width / 2 + 1e-6, "the cheeks stay whole"
    plain = swept(round_mortise(CUTTING, (80.0, 40.0), **where), CUTTING.radius, -depth)
    stays = square.difference(plain)
    assert stays.area == pytest.approx(4 * corner_left(width).area, rel=0.01), "without relief the corners stay"


def test_hand_minutes_are_the_shops_and_machine_minutes_the_engines():
    hand = corner_minutes("squared mortise", hand_minutes=6.5)
    assert (hand.machine, hand.hand) == (0.0, 6.5)
    size = MortiseSize(10.0, 50.0, 15.0)
    by_machine = corner_minutes("relieved mortise corners", cutting=CUTTING, machine=ROUTER, mortise=size)
    longer = round_mortise(CUTTING, (0, 0), length=60.0, width=10.0, depth=15.0)
    plain = round_mortise(CUTTING, (0, 0), length=50.0, width=10.0, depth=15.0)
    seconds = [machine_time(program([(CUTTING, m)]), ROUTER).total_s for m in (plain, longer)]
    assert by_machine.machine * 60 == pytest.approx(seconds[1] - seconds[0])
    plunged = Cutting(SQ10, 3000, 900, 16000, depth_per_pass=6, entry="plunge")
    assert corner_minutes("relieved mortise corners", cutting=plunged, machine=ROUTER, mortise=size).machine > 0
    diagonal = corner_minutes(
        "relieved mortise corners", cutting=CUTTING, machine=ROUTER, mortise=size, style="diagonal", system="inch"
    )
    assert diagonal.machine > 0
    assert "0.0575 in past the end of the mortise and 0.0575 in into the cheek wall" in diagonal.words
    rounded = corner_minutes(
        "rounded tenon", cutting=CUTTING, machine=ROUTER, tenon=Tenon(50, 10, 30, 15, 7), rail=(80, 25)
    )
    assert rounded.machine > 0
    assert rounded.hand == 0
    assert "radius of 5.00 mm" in rounded.words


@pytest.mark.parametrize("kind", CORNER_KINDS)
def test_minutes_without_what_they_need_are_refused(kind):
    with text_of("minutes"):
        corner_minutes(kind)
    if kind != "squared mortise":
        with text_of("need the"):
            corner_minutes(kind, cutting=CUTTING, machine=ROUTER)
    with text_of("did you mean 'squared mortise'"):
        corner_minutes("square mortise")
    with text_of("zero or more"):
        corner_minutes("squared mortise", hand_minutes=-1)
    with text_of("did you mean 'diagonal'"):
        corner_relief(8, "diagonl")


# --- readings ---

OUTER = ("tenon thickness", "tenon width", "tenon length")
INNER = ("mortise width", "mortise length", "mortise depth", "slot width")
ONE_SIDED = ("tenon length", "mortise depth")
NAMES = st.sampled_from(OUTER + INNER)


def test_the_words_of_a_cheek_that_is_too_thick():
    found = correction(0.630 * INCH, 0.615 * INCH, "tenon thickness", 2, "inch")
    assert found.words == "measured 0.630 in, wanted 0.615 in: too thick; take 0.0075 in more off each cheek"
    assert found.per_side_mm == pytest.approx(0.0075 * INCH)
    one = correction(0.630 * INCH, 0.615 * INCH, sides=1, system="inch")
    assert one.words.endswith("too thick; take 0.015 in more off one cheek")


def test_wood_cannot_be_put_back():
    found = correction(15.40, 15.62)
    assert found.words == (
        "measured 15.40 mm, wanted 15.62 mm: too thin by 0.22 mm: wood cannot be put back; cut the next one with "
        "0.11 mm less off each cheek, this one needs veneer glued on, or is scrap"
    )
    assert not found.mendable
    assert found.per_side_mm == pytest.approx(-0.11)
    wide = correction(9.80, 9.52, "mortise width")
    assert "too wide by 0.28 mm: wood cannot be put back" in wide.words
    assert "less off each wall" in wide.words


def test_within_tolerance_it_is_left():
    assert correction(9.56, 9.52).words == "measured 9.56 mm, wanted 9.52 mm: within 0.05 mm; leave it"
    assert correction(9.56, 9.52).per_side_mm == 0
    assert "leave it" not in correction(9.56, 9.52, tolerance=0.01).words


@given(NAMES, st.floats(4, 100), st.floats(-0.4, 0.5), st.sampled_from([1, 2]))
def test_the_correction_gives_the_wanted_size(what, wanted, off, sides):
    """Exactly: an outer size shrinks by what is taken off its sides, an inner one grows."""
    measured = wanted * (1 + off)
    sides = 1 if what in ONE_SIDED else sides
    found = correction(measured, wanted, what, sides)
    if found.per_side_mm == 0:
        assert abs(measured - wanted) <= 0.05
        return
    grows = 1 if what in INNER else -1
    assert measured + grows * sides * found.per_side_mm == pytest.approx(wanted, rel=1e-12)
    assert found.mendable == (found.per_side_mm > 0)
    assert ("wood cannot be put back" in found.words) != found.mendable


@given(NAMES, st.floats(4, 100), st.floats(-0.4, 0.5), st.sampled_from(["metric", "inch"]))
def test_reading_the_words_back_gives_the_numbers(what, wanted, off, system):
    measured = wanted * (1 + off)
    found = correction(measured, wanted, what, system=system)
    assume(found.per_side_mm)
    half = 0.005 if system == "metric" else 0.00025 * INCH
    number = r"(\d+\.\d+ (?:mm|in))"
    told = re.match(rf"measured {number}, wanted {number}: ", found.words)
    assert read(told[1], "length") == pytest.approx(measured, abs=half + 1e-9)
    assert read(told[2], "length") == pytest.approx(wanted, abs=half + 1e-9)
    more = re.search(rf"take {number} more off", found.words)
    less = re.search(rf"with {number} less off", found.words)
    assert bool(more) != bool(less)
    said = read(more[1], "length") if more else -read(less[1], "length")
    assert said == pytest.approx(found.per_side_mm, abs=half + 1e-9)
    over = re.search(r": (too \w+)", found.words)[1]
    bigger = {"too thick", "too wide", "too long", "too deep"}
    assert (over in bigger) == (measured > wanted)


@given(NAMES, st.floats(4, 100), st.floats(-0.4, 0.5))
def test_both_systems_say_the_same_thing(what, wanted, off):
    measured = wanted * (1 + off)
    metric, inch = (correction(measured, wanted, what, system=s) for s in ("metric", "inch"))
    assert metric.per_side_mm == inch.per_side_mm
    strip = re.compile(r"\d+\.\d+ (mm|in)")
    assert strip.sub("#", metric.words) == strip.sub("#", inch.words)
    for a, b in zip(strip.finditer(metric.words), strip.finditer(inch.words), strict=True):
        assert read(a[0], "length") == pytest.approx(read(b[0], "length"), abs=0.005 + 0.00025 * INCH + 1e-9)


def test_a_slip_of_the_caliper_is_refused():
    for measured in (0.63, 63.0):
        with text_of("read the caliper again, and its unit"):
            correction(measured, 16.0)
    with text_of("did you mean 'tenon width'"):
        correction(16, 16, "tenon widht")
    with text_of("at most 1"):
        correction(30, 31, "tenon length", 2)
    for bad in (0, -3, math.nan):
        with text_of("above zero"):
            correction(bad, 16)
    with text_of("zero or more"):
        correction(16, 16, tolerance=-1)


@given(st.floats(0, 30), st.floats(0, 30), st.floats(-5, 5), st.sampled_from(["metric", "inch"]))
def test_centring_moves_by_half_the_difference_towards_the_face_it_names(reference, back, wanted, system):
    found = centring(reference, back, wanted=wanted, system=system)
    if found.move == 0:
        assert found.words.endswith("leave it")
        return
    moved = (reference - found.move) - (back + found.move)
    assert moved == pytest.approx(wanted, abs=1e-9)
    assert ("towards the reference face" in found.words) == (found.move > 0)
    assert ("away from the reference face" in found.words) == (found.move < 0)


def test_centring_refuses_what_is_no_shoulder():
    with text_of("shoulder at the back face"):
        centring(5, -1)
    with text_of("wanted difference"):
        centring(5, 4, wanted=math.nan)
