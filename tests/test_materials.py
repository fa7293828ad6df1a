"""Materials: published values, what is computed from them, and what a shop lays over them."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopcalc.errors import InputError
from shopcalc.materials import (
    change_coefficient,
    choose,
    density_at,
    dimensional_change,
    frame,
    laminated,
    read_materials,
    values_frame,
)

MATERIALS = read_materials()


def own(tmp_path, names="", values=""):
    """A shop's folder with its own materials."""
    if names:
        (tmp_path / "materials.csv").write_text("id,title,full_name,group,values_of,note\n" + names, encoding="utf-8")
    if values:
        header = "material,field,value,unit,source,place,kind,note\n"
        (tmp_path / "material_values.csv").write_text(header + values, encoding="utf-8")
    return read_materials(tmp_path, MATERIALS)


def test_white_oak_as_the_handbook_has_it():
    oak = MATERIALS["white-oak"]
    assert oak.specific_gravity_12 == 0.68
    assert oak.density == pytest.approx(761.6)
    assert oak.side_hardness == 6000
    assert (oak.shrink_radial, oak.shrink_tangential) == pytest.approx((0.056, 0.105))
    assert (oak.change_radial, oak.change_tangential) == pytest.approx((0.0018, 0.00365))
    assert oak.values["change_tangential"].kind == "published"
    assert oak.values["density"].kind == "derived"
    assert oak.values["chip_thin"].kind == "practice"


def test_every_material_has_a_density_and_a_chip_window():
    for m in MATERIALS.values():
        assert m.density is not None, m.id
        assert 250 < m.density < 1000, m.id
        assert m.chip_thin < m.chip_thick
        assert m.price is None


def test_every_number_shown_can_name_its_source():
    fields = ("density", "specific_gravity_12", "side_hardness", "shrink_radial", "shrink_tangential",
              "change_radial", "change_tangential", "chip_thin", "chip_thick")  # fmt: skip
    for m in MATERIALS.values():
        for name in fields:
            number = getattr(m, name)
            assert (number is None) == (name not in m.values), (m.id, name)
            if number is not None:
                assert m.values[name].value == number
                assert m.values[name].cited


def test_unknown_is_none():
    assert MATERIALS["mdf"].change_tangential is None
    assert MATERIALS["redwood"].shrink_radial is None


def test_what_rests_on_memory_is_memory():
    sapele = MATERIALS["sapele"]
    assert sapele.values["specific_gravity_green"].kind == "memory"
    assert sapele.values["specific_gravity_12"].kind == sapele.values["density"].kind == "memory"


def test_tangential_exceeds_radial_in_every_wood():
    for m in MATERIALS.values():
        if m.shrink_radial is not None and m.shrink_tangential is not None:
            assert m.shrink_radial < m.shrink_tangential, m.id
        if m.change_radial is not None and m.change_tangential is not None:
            assert m.change_radial < m.change_tangential, m.id


def test_laminated_takes_its_species_and_its_own_window():
    oak, blank = MATERIALS["white-oak"], MATERIALS["laminated-white-oak"]
    assert (blank.density, blank.change_tangential) == (oak.density, oak.change_tangential)
    assert blank.group == "laminated"
    made = choose(MATERIALS, "laminated-cherry")
    assert (made.id, made.group, made.density) == ("laminated-cherry", "laminated", MATERIALS["cherry"].density)
    assert laminated(oak).density == oak.density


@pytest.mark.parametrize(("key", "remedy"), [
    ("wite-oak", "did you mean 'white-oak'?"),
    ("laminated-mdf", "did you mean"),
    ("laminated-wite-oak", "did you mean 'laminated-white-oak'?"),
    ("granite", "use one of"),
])  # fmt: skip
def test_no_such_material(key, remedy):
    with pytest.raises(InputError) as caught:
        choose(MATERIALS, key)
    assert remedy in caught.value.faults[0].remedy


def test_a_shop_overrides_one_value_and_keeps_the_rest(tmp_path):
    shop = own(tmp_path, values="white-oak,specific_gravity_12,0.71,-,weighed offcuts,,measured,\n")
    oak = shop["white-oak"]
    assert oak.values["specific_gravity_12"].kind == "measured"
    assert oak.density == pytest.approx(1000 * 0.71 * 1.12), "the density follows"
    assert oak.change_tangential == MATERIALS["white-oak"].change_tangential
    assert MATERIALS["white-oak"].specific_gravity_12 == 0.68, "the published table stays as it is"


def test_a_shop_adds_a_material(tmp_path):
    shop = own(tmp_path, "reed-board,reed board,,sheet,,\n", "reed-board,density,310,kg/m^3,data sheet,,maker,\n")
    assert shop["reed-board"].density == 310
    assert shop["reed-board"].chip_thin == MATERIALS["mdf"].chip_thin


def test_a_shop_changes_the_group_and_with_it_the_window(tmp_path):
    shop = own(tmp_path, "basswood,basswood,,softwood,,\n")
    assert shop["basswood"].chip_thick == MATERIALS["douglas-fir"].chip_thick
    assert shop["basswood"].density == MATERIALS["basswood"].density


def test_without_own_tables_the_published_ones_stand(tmp_path):
    assert own(tmp_path) == MATERIALS


@pytest.mark.parametrize(("names", "values", "column"), [
    ("x-wood,x,,softwod,,\n", "", "group"),
    ("x-wood,x,,,,\n", "", "group"),
    ("x-wood,x,,laminated,wite-oak,\n", "", "values_of"),
    ("x-wood,x,,sheet,,\nx-wood,y,,sheet,,\n", "", "id"),
    ("", "wite-oak,density,700,kg/m^3,,,memory,\n", "material"),
    ("", "white-oak,chip_thin,0.05,in/tooth,,,practice,\n", "value"),
])  # fmt: skip
def test_wrong_own_materials_are_refused(tmp_path, names, values, column):
    with pytest.raises(InputError) as caught:
        own(tmp_path, names, values)
    (fault,) = caught.value.faults
    assert fault.field == column
    assert fault.remedy


def test_tables_for_people():
    out = frame(MATERIALS)
    assert out.attrs["units"]["density_kg_m3"] == "kg/m3"
    assert out.loc["white-oak", "density_kg_m3"] == pytest.approx(761.6)
    detail = values_frame(MATERIALS["white-oak"])
    assert detail.loc["shrink_radial", "source"] == "WH-190"
    assert detail.loc["chip_thin", "kind"] == "practice"


sizes = st.floats(1, 2000)
coefficients = st.floats(0.0005, 0.005)
moistures = st.floats(6, 14)


@given(sizes, coefficients, moistures, moistures)
def test_movement_is_odd_in_time_and_scales_with_size(size, coefficient, first, last):
    there = float(dimensional_change(size, coefficient, first, last))
    assert there == pytest.approx(-float(dimensional_change(size, coefficient, last, first)), abs=1e-12)
    assert 2 * there == pytest.approx(float(dimensional_change(2 * size, coefficient, first, last)), rel=1e-12)
    assert there * (last - first) >= 0


@given(sizes, st.floats(0.02, 0.13), moistures, moistures)
def test_coefficient_agrees_with_shrinkage_as_a_straight_line(size, shrinkage, first, last):
    """Independent of the closed form: the board shrinks in a straight line from 30 % moisture to ovendry, and the
    coefficient is based on its size at 10 %; so from 10 % the two agree exactly, and within 1 % elsewhere."""

    def at(moisture):
        return 1 - shrinkage * (1 - moisture / 30)

    exact = size * (at(last) / at(first) - 1)
    ours = float(dimensional_change(size, change_coefficient(shrinkage), first, last))
    assert ours == pytest.approx(exact, rel=0.02, abs=1e-12)
    from_ten = size * (at(last) / at(10) - 1)
    assert float(dimensional_change(size, change_coefficient(shrinkage), 10, last)) == pytest.approx(from_ten, abs=1e-9)


@pytest.mark.parametrize(("first", "last"), [(5, 8), (8, 20), (float("nan"), 8)])
def test_movement_is_refused_where_the_coefficient_does_not_hold(first, last):
    with pytest.raises(InputError, match="6 to 14"):
        dimensional_change(300, 0.002, first, last)


def test_arrays_in_arrays_out():
    assert density_at(np.array([0.4, 0.6]), np.array([1.0, 0.12])).tolist() == pytest.approx([800, 672])
    assert change_coefficient(np.array([0.05, 0.1])).shape == (2,)
