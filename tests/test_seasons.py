"""Seasons: movement, panels, tenons, cup and the shop's climate, against geometry worked another way."""

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from shopcalc.errors import InputError
from shopcalc.materials import change_coefficient, read_materials
from shopcalc.seasons import (
    Movement,
    Strip,
    Year,
    across,
    board_gaps,
    clearance_at,
    clearance_to_leave,
    cup,
    cup_depth,
    movement_of,
    panel_year,
    published_climate,
    read_climate,
    read_moisture,
    relative_change,
    ring_difference,
    strip_step,
    swing,
    tenon_year,
    width_to_cut,
)
from shopcalc.seasons.movement import RINGS
from shopcalc.seasons.panels import depth_needed
from shopcalc.seasons.tenons import EDGE_MOST

MATERIALS = read_materials()
OAK, MAPLE = movement_of(MATERIALS["white-oak"]), movement_of(MATERIALS["hard-maple"])
DEMO = Path(__file__).parents[1] / "data"

moistures = st.floats(0.5, 28)
shrinkages = st.floats(0.02, 0.12)
widths = st.floats(50, 900)
years = st.tuples(st.floats(3, 20), st.floats(3, 20), st.floats(3, 20)).map(
    lambda m: Year(m[0], min(m[1:]), max(m[1:]))
)
movements = st.tuples(shrinkages, st.floats(0.3, 0.95)).map(
    lambda s: Movement("wood", *(float(change_coefficient(x)) for x in (s[0] * s[1], s[0])), s[0] * s[1], s[0])
)


def straight(shrinkage, first, last):
    """Shrinkage in a straight line from 30 % moisture to ovendry: the handbook's assumption, nothing else."""
    size = [1 - shrinkage * (1 - m / 30) for m in (first, last)]
    return size[1] / size[0] - 1


# --- movement --------------------------------------------------------------------------------------------------------


def test_twelve_inches_of_flat_sawn_hard_maple_and_three_points():
    """Worked by hand from Table 13-5: 12 in x .00353 x 3 = 0.127 in, the eighth of an inch per foot of the trade."""
    assert 12 * across(MAPLE, 8, 11, "flat-sawn").most == pytest.approx(0.127, abs=5e-4)


@given(shrinkages, moistures, moistures)
def test_movement_follows_straight_shrinkage_over_the_whole_range(shrinkage, first, last):
    """The coefficient is referred to the size at 10 %, so the two differ by what a board shrinks up to there."""
    ours = float(relative_change(first, last, float(change_coefficient(shrinkage)), shrinkage))
    assert ours == pytest.approx(straight(shrinkage, first, last), rel=0.03, abs=1e-9)


@given(shrinkages, st.floats(0.5, 6), st.floats(0.5, 6))
def test_below_the_coefficients_shrinkage_alone_counts(shrinkage, first, last):
    assert float(relative_change(first, last, 0.9, shrinkage)) == pytest.approx(straight(shrinkage, first, last))


@given(st.floats(14, 30), st.floats(14, 30), shrinkages)
def test_above_the_coefficients_too(first, last, shrinkage):
    assert float(relative_change(first, last, 0.9, shrinkage)) == pytest.approx(straight(shrinkage, first, last))


@given(st.floats(0.5, 13), st.floats(14, 30), shrinkages, st.floats(0.001, 0.004))
def test_movement_adds_up_small_steps(low, high, shrinkage, coefficient):
    """Independent: integrate the slope of the size, which is the coefficient inside and the shrinkage's outside; from
    its nature Eq. 13-2 leaves the growth within 6 to 14 % itself out of account (at most 2 x 8 points)."""

    def slope(m, size):
        inside = 6 <= m <= 14
        return size * coefficient if inside else size / (30 / shrinkage - 30 + m)

    done = solve_ivp(slope, (low, high), [1.0], max_step=0.05, rtol=1e-8)
    ours = float(relative_change(low, high, coefficient, shrinkage))
    assert ours == pytest.approx(done.y[0, -1] - 1, abs=(8 * coefficient) ** 2)


@given(movements, moistures, moistures, st.floats(0, math.pi / 2))
def test_ring_angle_lies_between_the_pure_cases(movement, first, last, angle):
    low, high = sorted(across(movement, first, last, w).most for w in ("flat-sawn", "quarter-sawn"))
    assert low - 1e-12 <= across(movement, first, last, angle).likely <= high + 1e-12


@given(movements, st.floats(0, math.pi / 2), st.floats(6, 14), st.floats(6, 14))
def test_ring_angle_turns_the_strain_as_a_drawn_square_does(movement, angle, first, last):
    """Independent: a line across the board is a vector; its radial and tangential parts grow apart, and the change of
    its length is measured, not computed."""
    t, r = (float(movement.strain(first, last, a)) for a in (0.0, math.pi / 2))
    grown = math.hypot(math.cos(angle) * (1 + t), math.sin(angle) * (1 + r)) - 1
    assert float(movement.strain(first, last, angle)) == pytest.approx(grown, abs=(t - r) ** 2 + 1e-12)


def test_words_for_rings():
    flat, rift, quarter, unknown = (across(OAK, 8, 11, w) for w in RINGS)
    assert flat.least == flat.most == pytest.approx(3 * 0.00365)
    assert quarter.least == quarter.most == pytest.approx(3 * 0.0018)
    assert quarter.most < rift.least < rift.likely < rift.most < flat.least
    assert (unknown.least, unknown.most) == (quarter.least, flat.most)


def test_strips_add_by_their_widths():
    strips = [Strip(60, "flat-sawn"), Strip(40, "quarter-sawn"), Strip(100, "unknown")]
    band = across(OAK, 8, 11, strips)
    one = 60 * 3 * 0.00365 + 40 * 3 * 0.0018
    assert 200 * band.most == pytest.approx(one + 100 * 3 * 0.00365)
    assert 200 * band.least == pytest.approx(one + 100 * 3 * 0.0018)


@given(
    movements,
    moistures,
    moistures,
    st.lists(st.tuples(st.floats(20, 200), st.sampled_from(list(RINGS))), min_size=1, max_size=6),
)
def test_a_glued_up_panel_lies_between_its_strips(movement, first, last, strips):
    alone = [across(movement, first, last, rings) for _, rings in strips]
    whole = across(movement, first, last, [Strip(*s) for s in strips])
    assert min(b.most for b in alone) - 1e-12 <= whole.most <= max(b.most for b in alone) + 1e-12
    assert abs(whole.least) <= abs(whole.likely) + 1e-12 <= abs(whole.most) + 2e-12


def test_step_between_strips_is_what_each_thickens():
    flat, quarter = (20 * (across(OAK, 8, 11, w).most) for w in ("quarter-sawn", "flat-sawn"))
    assert strip_step(20, OAK, 8, 11) == pytest.approx(quarter - flat)


# --- what is known of a wood ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("key", ["ponderosa-pine", "redwood", "mdf", "birch-plywood"])
def test_a_wood_nobody_measured_is_refused(key):
    with pytest.raises(InputError, match="not known how"):
        movement_of(MATERIALS[key])


def test_shrinkage_alone_is_computed_from_and_says_so():
    sapele, khaya = movement_of(MATERIALS["sapele"]), movement_of(MATERIALS["african-mahogany"])
    assert sapele.kind == "memory"
    assert khaya.kind == "derived"
    assert "computed from its shrinkage" in khaya.note
    assert "overseas" in khaya.note
    assert khaya.change_tangential == pytest.approx(float(change_coefficient(0.045)))


@pytest.mark.parametrize(("title", "refused"), [
    ("Oak, chestnut", True), ("Hickory, true, pignut", True), ("Hickory, pecan", False), ("Elm, American", False),
])  # fmt: skip
def test_coefficients_of_groups_are_never_computed(tmp_path, title, refused):
    """Oaks and true hickories: the handbook's coefficients do not follow from shrinkage."""
    head = "id,title,full_name,group,values_of,note\n"
    (tmp_path / "materials.csv").write_text(f'{head}own-wood,own wood,"{title}",hardwood,,\n', encoding="utf-8")
    values = "material,field,value,unit,source,place,kind,note\nown-wood,density,700,kg/m^3,x,,maker,\n"
    values += "".join(f"own-wood,shrink_{w},{s},%,x,,maker,\n" for w, s in (("radial", 5), ("tangential", 9)))
    (tmp_path / "material_values.csv").write_text(values, encoding="utf-8")
    wood = read_materials(tmp_path, MATERIALS)["own-wood"]
    if refused:
        with pytest.raises(InputError, match="not known how") as caught:
            movement_of(wood)
        assert "group" in caught.value.faults[0].remedy
    else:
        assert movement_of(wood).kind == "derived"


def test_every_other_solid_wood_moves_more_along_its_rings():
    known = [m for m in MATERIALS.values() if m.group != "sheet" and m.id not in ("ponderosa-pine", "redwood")]
    assert len(known) > 30
    for m in known:
        movement = movement_of(m)
        assert 0 < movement.change_radial < movement.change_tangential < 0.006, m.id
        assert movement.kind in ("published", "second-hand", "derived", "memory"), m.id


@pytest.mark.parametrize(("first", "last", "shrinkage", "words"), [
    (8, 31, 0.1, "0 to 30"), (-1, 8, 0.1, "0 to 30"), (8, 16, None, "6 to 14"), (float("nan"), 8, 0.1, "0 to 30"),
])  # fmt: skip
def test_moistures_beyond_what_is_known_are_refused(first, last, shrinkage, words):
    with pytest.raises(InputError, match=words):
        relative_change(first, last, 0.003, shrinkage)


@pytest.mark.parametrize("rings", ["flat", -0.1, 2.0, [], [Strip(0, "flat-sawn")]])
def test_rings_that_cannot_be_are_refused(rings):
    with pytest.raises(InputError):
        across(OAK, 8, 11, rings)


# --- a panel in its groove --------------------------------------------------------------------------------------------


def sizes(width, movement, year, angle):
    """Widths of a panel of one ring angle at every moisture of the year, by straight shrinkage along both ways."""
    share = math.cos(angle) ** 2
    return [
        width * (1 + share * straight(movement.shrink_tangential, year.now, m)
                 + (1 - share) * straight(movement.shrink_radial, year.now, m))
        for m in np.linspace(year.driest, year.wettest, 9)
    ]  # fmt: skip


@given(widths, movements, years, st.floats(8, 25), st.floats(0, 1), st.floats(0, math.pi / 2))
def test_a_panel_cut_to_the_widths_offered_never_jams_and_stays_in_its_groove(
    between, movement, year, depth, share, angle
):
    """Whatever its rings and whenever in the year; the panel is measured by another law (a straight line)."""
    low, high = width_to_cut(between, depth, movement, year)
    if low > high:
        return
    width = low + share * (high - low)
    for w in [width, *sizes(width, movement, year, angle)]:
        clearance = between - w
        slack = 0.0015 * width  # of the two laws
        assert clearance > 0.5 - slack
        assert depth - clearance / 2 > 3.0 - slack


@given(widths, movements, years, st.floats(8, 25))
def test_a_panel_just_beyond_the_widths_offered_does_one_or_the_other(between, movement, year, depth):
    """The bounds are tight: a flat-sawn panel a little wider has too little clearance, a little narrower too little
    tongue."""
    low, high = width_to_cut(between, depth, movement, year)
    for width, over in ((high + 0.01, True), (low - 0.01, False)):
        if width <= 0:
            continue
        p = panel_year(width, depth, between - width, movement, year, "flat-sawn")
        assert (p.at_wettest < 0.5) if over else (p.held_in_middle < 3.0)


@given(widths, st.floats(1.01, 2), movements, years)
def test_clearance_grows_with_width_and_with_the_swing(width, more, movement, year):
    wide, narrow = (panel_year(w, 12, 3, movement, year) for w in (width * more, width))
    assert wide.swell >= narrow.swell
    assert wide.shrink >= narrow.shrink
    further = Year(year.now, year.driest - 1, year.wettest + 1)
    more_swing = panel_year(width, 12, 3, movement, further)
    assert more_swing.at_wettest <= narrow.at_wettest
    assert more_swing.at_driest >= narrow.at_driest


@given(st.floats(0, 10), st.floats(0, 10))
def test_depth_needed_is_where_the_two_clearances_meet(swell, shrink):
    def room(depth):
        low, high = clearance_to_leave(depth, swell, shrink)
        return high - low

    assert depth_needed(swell, shrink) == pytest.approx(brentq(room, 0, 100), abs=1e-9)


def test_a_shop_drier_or_wetter_than_all_the_year():
    """Wood only grows, or only shrinks, after it leaves."""
    assert swing(OAK, Year(5, 7, 11)).shrink == 0
    assert swing(OAK, Year(13, 7, 11)).swell == 0
    assert swing(OAK, Year(5, 7, 11)).swell == pytest.approx(across(OAK, 5, 11).most)


def test_what_is_said_of_a_panel():
    year = Year(8, 6, 11)
    fine = panel_year(300, 12, 4, OAK, year)
    assert fine.words() == ()
    tight = panel_year(300, 10, 2, OAK, year)
    assert tight.jams
    assert "pushes the frame apart" in tight.words()[0]
    assert "leave 3.79 mm to 11.81 mm" in tight.words()[0]
    loose = panel_year(300, 10, 19, OAK, year)
    assert loose.falls_out
    assert "leaves its groove" in loose.words()[0]
    slides = panel_year(300, 10, 9, OAK, year)
    assert "pin it in the middle" in slides.words("inch")[0]
    shallow = panel_year(600, 6, 4, OAK, year)
    assert any("no width suits" in w for w in shallow.words())
    assert slides.shows == pytest.approx(300 * 2 * 0.00365 / 2)


@pytest.mark.parametrize("bad", [{"width": 0}, {"depth": -1}, {"width": float("nan")}])
def test_a_panel_without_size_is_refused(bad):
    with pytest.raises(InputError):
        panel_year(**{"width": 300, "depth": 10, "clearance": 4, "movement": OAK, "year": Year(8, 6, 11), **bad})


def test_a_year_the_wrong_way_round_is_refused():
    with pytest.raises(InputError, match="wetter than the wettest"):
        swing(OAK, Year(8, 11, 6))


@given(widths, st.floats(0, 20), movements, years, st.sampled_from(list(RINGS)))
def test_clearance_at_a_moisture_is_room_less_the_panel(width, clearance, movement, year, rings):
    """Its ends are those of the year's record, and it falls as the wood gets wetter."""
    at = [clearance_at(width, clearance, movement, year.now, m, rings) for m in (year.driest, year.wettest)]
    p = panel_year(width, 10, clearance, movement, year, rings)
    if year.driest <= year.now <= year.wettest:
        assert (at[0].most, at[1].most) == pytest.approx((p.at_driest, p.at_wettest))
    assert at[1].likely <= at[0].likely + 1e-9
    assert clearance_at(width, clearance, movement, year.now, year.now, rings) == pytest.approx((clearance,) * 3)


def test_boards_side_by_side_share_the_room():
    today, dry, wet = board_gaps(700, 110, 6, OAK, Year(8, 6, 11))
    for gap, m in ((today, 8), (dry, 6), (wet, 11)):
        width = 110 * (1 + across(OAK, 8, m).most)
        assert 6 * width + 7 * gap == pytest.approx(700)
    assert wet < today < dry


# --- tenons ----------------------------------------------------------------------------------------------------------


@given(st.floats(20, 300), st.floats(0, 3), movements, years)
def test_a_tenon_of_the_widest_just_fills_its_mortise_at_the_wettest(width, clearance, movement, year):
    t = tenon_year(width, clearance, movement, year)
    assert t.wedges == (width > t.widest + 1e-6) or abs(width - t.widest) < 1e-6
    if 0 < t.widest < math.inf:
        again = tenon_year(t.widest, clearance, movement, year)
        assert again.swell == pytest.approx(clearance)
    assert bool(t.words()) == t.wedges


def test_a_wide_tenon_is_split_and_a_narrow_one_eased():
    year = Year(8, 6, 11)
    wide, narrow = tenon_year(200, 0.5, OAK, year), tenon_year(60, 0.2, OAK, year)
    assert wide.swell > EDGE_MOST > narrow.swell
    assert "split it in two" in wide.words()
    assert "peg" in wide.words()
    assert "take 0.46 mm more off its edges" in narrow.words()
    assert not tenon_year(60, 1.0, OAK, year).words()


# --- cup -------------------------------------------------------------------------------------------------------------


@given(st.floats(50, 400), st.floats(150, 600), movements, st.floats(6, 14), st.floats(6, 14))
def test_cup_against_the_shape_wood_takes_without_stress(width, radius, movement, first, last):
    """Independent and exact: around the pith every angle grows by the ratio of both strains, so rings stay rings. The
    pith side of the board, a straight line before, is mapped point by point, and its hollow measured."""
    if width > radius:
        return
    t, r = (float(movement.strain(first, last, a)) for a in (0.0, math.pi / 2))
    x = np.linspace(-width / 2, width / 2, 201)
    rho, angle = np.hypot(x, radius) * (1 + r), np.arctan2(x, radius) * (1 + t) / (1 + r)
    y = rho * np.cos(angle)
    exact = abs(y[100] - y[0])
    ours = cup_depth(width, 20, ring_difference(20, radius, movement, first, last))
    assert ours == pytest.approx(exact, rel=0.12, abs=1e-3)


@given(st.floats(50, 400), st.floats(10, 40), st.floats(1e-5, 0.01))
def test_cup_against_an_arc(width, thickness, difference):
    """A strip one of whose faces is longer bends to an arc: its sagitta without approximation."""
    radius = thickness / difference
    exact = radius * (1 - math.cos(width / 2 / radius))
    assert cup_depth(width, thickness, difference) == pytest.approx(exact, rel=0.01)


def test_cup_is_a_band_and_grows_with_the_square_of_the_width():
    year = Year(8, 6, 11)
    small, large = cup(100, 20, OAK, year), cup(300, 20, OAK, year)
    assert small.least < small.likely < small.most
    assert [b / a for a, b in zip(small, large, strict=True)] == pytest.approx([9, 9, 9])
    assert cup(100, 20, OAK, year, (120, 120)).most == pytest.approx(100**2 * 3 * (0.00365 - 0.0018) / (4 * 120))


# --- climate ---------------------------------------------------------------------------------------------------------


def test_the_demo_says_it_is_invented_and_its_places_are_in_order():
    climate = read_climate(DEMO)
    assert climate.kind == "invented"
    assert "invented" in climate.source
    house, outdoors = climate.place(), climate.place(job="data/jobs/garden-gates.toml")
    assert (house.id, outdoors.id) == ("house", "outdoors")
    assert 5 < house.driest < climate.now < house.wettest < outdoors.wettest < 20
    assert len(house.months) == 12
    assert (min(house.months), max(house.months)) == (house.driest, house.wettest)
    assert climate.year(house) == Year(8, house.driest, house.wettest)
    assert climate.year(house, 9.5).now == 9.5


def test_without_a_file_the_published_averages_stand(tmp_path):
    climate = read_climate(tmp_path)
    assert climate == published_climate()
    assert {p.id: (p.driest + p.wettest) / 2 for p in climate.places.values()} == {
        "most-of-us": 8, "dry-southwest": 6, "damp-south": 11
    }  # fmt: skip
    assert climate.kind == "second-hand"
    assert all(p.wettest - p.driest == 7 for p in climate.places.values())


GOOD = """usual = "home"
[shop]
moisture = "8.5 %"
[places.home]
driest = { moisture = "6 %" }
wettest = { temperature = "70 degF", humidity = "65 %" }
"""


def written(tmp_path, text):
    (tmp_path / "climate.toml").write_text(text, encoding="utf-8")
    return read_climate(tmp_path)


def test_meter_and_air_may_both_be_given(tmp_path):
    climate = written(tmp_path, GOOD)
    assert climate.now == 8.5
    assert climate.place().driest == 6
    assert climate.place().wettest == pytest.approx(12.0, abs=0.1)
    monthly = (
        GOOD.split("[places")[0] + "[places.home]\nmoisture = [" + ", ".join(f'"{m} %"' for m in range(5, 17)) + "]"
    )
    assert written(tmp_path, monthly).place().months == tuple(range(5, 17))


@pytest.mark.parametrize(("old", "new", "field", "words"), [
    ('"8.5 %"', "8.5", "shop.moisture", "no unit"),
    ('"8.5 %"', '"41 %"', "shop.moisture", "above"),
    ("[shop]\nmoisture", "[shop]\nmositure", "shop.mositure", "not known"),
    ('usual = "home"', 'usual = "hom"', "usual", "no place"),
    ('"70 degF"', '"70"', "places.home.wettest.temperature", "not a temperature"),
    ('"70 degF"', '"900 degC"', "places.home.wettest.temperature", "no temperature of a place"),
    ('"65 %"', '"165 %"', "places.home.wettest.humidity", "above"),
    ('{ moisture = "6 %" }', '{ moisture = "16 %" }', "places.home", "wetter than the wettest"),
    ('{ moisture = "6 %" }', '{ temperature = "5 degC" }', "places.home.driest.humidity", "missing"),
    ('{ moisture = "6 %" }', '"6 %"', "places.home.driest", "not a table"),
    ('driest = { moisture = "6 %" }', "", "places.home.driest", "missing"),
    ("[places.home]", '[places.home]\nmoisture = ["6 %"]', "places.home", "neither or both"),
    ("[places.home]", "[stands]\ngate = 'away'\n[places.home]", "stands.gate", "no place"),
])  # fmt: skip
def test_faults_of_the_file_have_their_place(tmp_path, old, new, field, words):
    assert old in GOOD
    with pytest.raises(InputError) as caught:
        written(tmp_path, GOOD.replace(old, new))
    match = [f for f in caught.value.faults if f.field == field]
    assert match, caught.value.faults
    assert words in match[0].message
    assert match[0].remedy
    assert match[0].file.endswith("climate.toml")


def test_faults_come_all_at_once(tmp_path):
    text = GOOD.replace('"8.5 %"', "8").replace('"70 degF"', '"70"').replace('"home"', '"hme"')
    with pytest.raises(InputError) as caught:
        written(tmp_path, text)
    assert len(caught.value.faults) == 3


def test_a_months_list_must_hold_a_year(tmp_path):
    text = GOOD.split("[places")[0] + '[places.home]\ntemperature = ["20 degC"]\nhumidity = "50 %"\n'
    with pytest.raises(InputError) as caught:
        written(tmp_path, text)
    assert {f.field for f in caught.value.faults} == {"places.home.temperature", "places.home.humidity"}


@pytest.mark.parametrize(("text", "value"), [("8 %", 8.0), ("0 %", 0.0), ("30 %", 30.0)])
def test_meter_reading(text, value):
    assert read_moisture(text) == value
