"""The rack of cutters: what is read, and geometry that cannot be."""

import csv
import io
import math

import pytest

from shopcalc.cutters import SHAPES, Cutter, frame, read_cutters
from shopcalc.errors import InputError
from shopcalc.shop import demo_folder

GOOD = {
    "id": "SQ12", "title": "1/2 in square end", "shape": "square end", "diameter": "1/2 in", "shank": "1/2 in",
    "flutes": "2", "cutting_length": "1 1/2 in", "overall_length": "3 1/2 in", "stick_out": "2 in", "helix": "30 deg",
    "tip_diameter": "", "included_angle": "", "body": "carbide", "edge": "carbide", "cut_direction": "up",
    "up_shear_length": "", "centre_cutting": "yes", "marked_rpm": "", "maker_rpm": "24000 rpm",
    "measured_diameter": "", "regrinds": "0", "number": "3", "source": "test", "kind": "invented", "note": "",
}  # fmt: skip
V = {**GOOD, "id": "V60", "shape": "V", "cutting_length": "11 mm", "helix": "", "cut_direction": "straight",
     "tip_diameter": "0.2 mm", "included_angle": "60 deg", "number": "4"}  # fmt: skip
TAPERED = {**GOOD, "id": "TB", "shape": "tapered ball", "diameter": "6 mm", "tip_diameter": "3 mm",
           "included_angle": "10 deg", "number": "5"}  # fmt: skip
COMPRESSION = {**GOOD, "id": "C", "shape": "compression", "cut_direction": "compression", "up_shear_length": "5 mm",
               "number": "6"}  # fmt: skip


@pytest.fixture
def read(tmp_path):
    """Writes rows as a table and reads them."""

    def action(*rows):
        text = io.StringIO()
        writer = csv.DictWriter(text, list(GOOD))
        writer.writeheader()
        writer.writerows(rows)
        path = tmp_path / "cutters.csv"
        path.write_text(text.getvalue(), encoding="utf-8")
        return read_cutters(path)

    return action


def faults_of(read, *rows):
    with pytest.raises(InputError) as caught:
        read(*rows)
    assert all(f.file and f.remedy and f.row for f in caught.value.faults)
    return caught.value.faults


def test_values_come_in_house_units(read):
    c = read(GOOD)["SQ12"]
    assert (c.diameter, c.shank, c.stick_out, c.flutes, c.number) == (12.7, 12.7, 50.8, 2, 3)
    assert c.helix == pytest.approx(math.radians(30))
    assert c.maker_rpm == 24000
    assert c.marked_rpm is None
    assert c.measured_diameter is None
    assert c.true_diameter == 12.7


def test_each_shape_is_read(read):
    racks = read(GOOD, V, TAPERED, COMPRESSION)
    assert racks["V60"].included_angle == pytest.approx(math.radians(60))
    assert racks["TB"].tip_diameter == 3
    assert racks["C"].up_shear_length == 5


def test_a_measured_diameter_is_the_true_one(read):
    assert read({**GOOD, "measured_diameter": "12.66 mm", "regrinds": "1"})["SQ12"].true_diameter == 12.66


MATRIX = {
    "no unit": ({**GOOD, "diameter": "12.7"}, "diameter", "12.7 mm"),
    "wrong unit": ({**GOOD, "diameter": "12.7 rpm"}, "diameter", "mm"),
    "missing": ({**GOOD, "diameter": ""}, "diameter", "mm"),
    "negative": ({**GOOD, "diameter": "-12.7 mm"}, "diameter", "sign"),
    "zero": ({**GOOD, "flutes": "0"}, "flutes", "count"),
    "huge": ({**GOOD, "diameter": "12.7 m"}, "diameter", "check"),
    "not a number": ({**GOOD, "stick_out": "long"}, "stick_out", "mm"),
    "misspelt shape": ({**GOOD, "shape": "squareend"}, "shape", "'square end'"),
    "misspelt body": ({**GOOD, "body": "carbid"}, "body", "'carbide'"),
    "two edges in one": ({**GOOD, "edge": "carbide/steel"}, "edge", "did you mean"),
    "unmarked written as zero": ({**GOOD, "marked_rpm": "0 rpm"}, "marked_rpm", "sign"),
    "no kind": ({**GOOD, "kind": ""}, "kind", "invented"),
    "flutes longer than the cutter": ({**GOOD, "cutting_length": "4 in"}, "cutting_length", "check both"),
    "stick-out longer than the cutter": ({**GOOD, "stick_out": "4 in"}, "stick_out", "collet"),
    "flutes in the collet": ({**GOOD, "stick_out": "1 in"}, "cutting_length", "collet"),
    "tip on a square end": ({**GOOD, "tip_diameter": "1 mm"}, "tip_diameter", "shape"),
    "angle on a square end": ({**GOOD, "included_angle": "60 deg"}, "included_angle", "shape"),
    "V without angle": ({**V, "included_angle": ""}, "included_angle", "60 deg"),
    "V without tip": ({**V, "tip_diameter": ""}, "tip_diameter", "0 mm"),
    "V wider than half a turn": ({**V, "included_angle": "180 deg"}, "included_angle", "170"),
    "half angle given for the whole": ({**V, "included_angle": "30 deg"}, "included_angle", "diameter"),
    "tip as wide as the cutter": ({**V, "tip_diameter": "1/2 in"}, "tip_diameter", "check both"),
    "tapered ball without ball": ({**TAPERED, "tip_diameter": "0 mm"}, "tip_diameter", "radius"),
    "tapered ball without angle": ({**TAPERED, "included_angle": ""}, "included_angle", "deg"),
    "taper of a V": ({**TAPERED, "included_angle": "90 deg"}, "included_angle", "60 deg"),
    "compression without up-cut length": ({**COMPRESSION, "up_shear_length": ""}, "up_shear_length", "5 mm"),
    "up-cut longer than the flutes": ({**COMPRESSION, "up_shear_length": "50 mm"}, "up_shear_length", "check both"),
    "compression that only lifts": ({**COMPRESSION, "cut_direction": "up"}, "cut_direction", "both"),
    "up-cut length on another": ({**GOOD, "up_shear_length": "5 mm"}, "up_shear_length", "blank"),
    "straight with helix": ({**GOOD, "cut_direction": "straight"}, "helix", "0 deg"),
    "up without helix": ({**GOOD, "helix": ""}, "helix", "30 deg"),
    "measured far off": ({**GOOD, "measured_diameter": "9.5 mm"}, "measured_diameter", "measure again"),
}  # fmt: skip


@pytest.mark.parametrize("case", MATRIX)
def test_a_fault_says_row_column_and_remedy(case, read):
    row, column, remedy = MATRIX[case]
    (fault,) = faults_of(read, row)
    assert (fault.row, fault.field) == (2, column)
    assert remedy in fault.remedy


def test_two_cutters_of_one_id_or_one_place(read):
    assert [(f.row, f.field) for f in faults_of(read, GOOD, {**GOOD, "number": "7"})] == [(3, "id")]
    assert [(f.row, f.field) for f in faults_of(read, GOOD, {**GOOD, "id": "B"})] == [(3, "number")]


def test_faults_of_all_rows_come_together(read):
    found = faults_of(read, {**GOOD, "diameter": "12.7"}, {**V, "included_angle": "", "flutes": "two"})
    assert [(f.row, f.field) for f in found] == [(2, "diameter"), (3, "flutes"), (3, "included_angle")]


def test_a_wrong_cell_is_not_blamed_twice(read):
    """The geometry is judged only where the cells it needs could be read."""
    assert len(faults_of(read, {**V, "tip_diameter": "wide", "included_angle": "wide"})) == 2


def test_the_demo_rack_has_every_shape_and_says_it_is_invented():
    rack = read_cutters(demo_folder() / "cutters.csv")
    assert {c.shape for c in rack.values()} == set(SHAPES)
    assert {c.kind for c in rack.values()} == {"invented"}
    assert any(c.marked_rpm is None and c.maker_rpm is None for c in rack.values()), "one without any mark"
    assert any(c.regrinds and c.measured_diameter for c in rack.values()), "one reground and measured"
    assert sorted(c.number for c in rack.values() if c.number) == list(range(1, 13))


def test_a_table_for_people_names_its_units():
    rack = read_cutters(demo_folder() / "cutters.csv")
    out = frame(rack)
    assert out.loc["V60", "included_angle_deg"] == pytest.approx(60)
    assert out.attrs["units"]["diameter_mm"] == "mm"
    assert len(out) == len(rack)


def test_a_cutter_can_be_made_in_one_line():
    assert Cutter("B6", "", "ball", 6, 6, 2, 20, 60, 30).tip_diameter == 0
