"""Values with their sources: published, customary, and the shop's own."""

import pytest
from refusals import faults_of

from shopcalc.sources import KINDS, Value, bibliography, cautions, practice, read_values, table_for_people

VALUES = "wood,field,value,unit,source,place,kind,note\n"
FIELDS = {"density": "density", "shrink": "ratio"}


def values(tmp_path, rows, published=True):
    path = tmp_path / "values.csv"
    path.write_text(VALUES + rows, encoding="utf-8")
    return read_values(path, FIELDS, "wood", ["oak", "ash"], published=published)


def test_a_value_brings_its_source(tmp_path):
    read = values(tmp_path, "oak,density,42,lb/ft^3,WH-190,Table 1,published,x\noak,shrink,5.6,%,,,memory,\n")
    v = read["oak"]["density"]
    assert v.value == pytest.approx(42 * 16.018463, rel=1e-6)
    assert (v.unit, v.source, v.place, v.kind, v.note) == ("kg/m3", "WH-190", "Table 1", "published", "x")
    assert "Wood Handbook" in v.cited
    assert read["oak"]["shrink"].value == pytest.approx(0.056)


def test_a_blank_value_is_left_out(tmp_path):
    assert values(tmp_path, "oak,density,,kg/m^3,WH-190,,published,\nash,density,600,kg/m^3,,,practice,\n").keys() == {
        "ash"
    }


WRONG_VALUES = {
    "unknown wood": ("okra,density,600,kg/m^3,,,memory,", "wood", "use one of"),
    "misspelt wood": ("oka,density,600,kg/m^3,,,memory,", "wood", "'oak'"),
    "misspelt field": ("oak,densty,600,kg/m^3,,,memory,", "field", "'density'"),
    "unit of something else": ("oak,density,600,mm,,,memory,", "value", "kg/m^3"),
    "no unit": ("oak,density,600,,,,memory,", "unit", "text"),
    "not a number": ("oak,density,heavy,kg/m^3,,,memory,", "value", "kg/m^3"),
    "negative": ("oak,density,-600,kg/m^3,,,memory,", "value", "sign"),
    "zero": ("oak,density,0,kg/m^3,,,memory,", "value", "sign"),
    "twice": ("oak,density,600,kg/m^3,,,memory,\noak,density,610,kg/m^3,,,memory,", "field", "keep one"),
    "no kind": ("oak,density,600,kg/m^3,WH-190,,,", "kind", "published"),
    "misspelt kind": ("oak,density,600,kg/m^3,WH-190,,publishd,", "kind", "'published'"),
    "published without source": ("oak,density,600,kg/m^3,,,published,", "source", "another kind"),
    "source not in the bibliography": ("oak,density,600,kg/m^3,WH-191,,published,", "source", "did you mean"),
}


@pytest.mark.parametrize("case", WRONG_VALUES)
def test_a_wrong_value_says_where(case, tmp_path):
    rows, column, remedy = WRONG_VALUES[case]
    (fault,) = faults_of(values, tmp_path, rows + "\n")
    assert fault.field == column
    assert fault.row == rows.count("\n") + 2
    assert remedy in fault.remedy


def test_a_shop_names_sources_in_its_own_words(tmp_path):
    read = values(tmp_path, "oak,density,700,kg/m^3,weighed in May,,measured,\n", published=False)
    assert read["oak"]["density"].cited == "weighed in May; measured in this shop"


def test_citation_without_a_source_still_says_how_sure():
    assert Value(1.0, "mm", "", "", "practice").cited == KINDS["practice"] == "common practice, no source"


def test_bibliography_is_read_once_and_whole():
    assert bibliography() is bibliography()
    assert str(bibliography()["WH-190"]).startswith("Forest Products Laboratory, Wood Handbook")


def test_practice_is_in_house_units():
    assert practice()["reserve"].value == pytest.approx(0.15)
    assert practice()["rim_speed_steel"].value == pytest.approx(50_000)


def test_cautions_by_material_hold_what_holds_for_all():
    oak, pine = cautions("wood dust", "white-oak"), cautions("wood dust", "western-redcedar")
    shared = {c.id for c in cautions("wood dust") if not c.applies_to}
    assert shared < {c.id for c in oak}
    assert {c.id for c in pine} - shared == {"SL05", "SL06c"}


def test_a_table_for_people_has_units_in_attrs():
    out = table_for_people([{"id": "a", "length_mm": 1.0}], {"length_mm": "mm"}, "id")
    assert out.attrs["units"] == {"length_mm": "mm"}
    assert list(out.index) == ["a"]
