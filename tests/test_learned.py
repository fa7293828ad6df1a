"""What test cuts taught: written whole or not at all, read with every fault placed, and history after a regrind."""

import math
import os
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from refusals import faults_of

from shopcalc.errors import InputError
from shopcalc.learned import NAMES, WHAT, Learned, LearnedRow, append, forget_last, read_learned

ROW = LearnedRow("2026-03-02", "fit test", "SQ12", 1, "router", "flat", "white-oak", "true_diameter", 12.63)
OFF = replace(ROW, name="push_off_climb", value=-0.02)
LATER = replace(ROW, date="2026-05-11", value=12.61, source="")
HEAD = "date,what,cutter,regrinds,machine,station,material,name,value,source,note\n"


@pytest.fixture
def path(tmp_path):
    return tmp_path / "learned.csv"


def left_beside(path):
    return sorted(p.name for p in path.parent.iterdir())


def test_a_shop_without_a_file_has_learned_nothing(path):
    assert read_learned(path) == Learned()
    assert read_learned(path).value("true_diameter", cutter="SQ12") is None


def test_rows_come_back_as_they_were_added(path):
    append(path, [ROW, OFF])
    known = append(path, [LATER])
    assert known.rows == read_learned(path).rows == (ROW, OFF, LATER)
    assert ROW.source == "this shop, 2026-03-02"
    assert left_beside(path) == ["learned.csv"], "no scratch is left"
    assert "12.63 mm" in path.read_text()


TEXTS = st.text(st.characters(codec="utf-8", exclude_categories=("C", "Z")), max_size=12)


@given(
    name=st.sampled_from(sorted(NAMES)),
    what=st.sampled_from(WHAT),
    value=st.floats(1e-4, 9.0),
    regrinds=st.integers(0, 50),
    note=TEXTS,
    material=TEXTS,
    date=st.dates(),
)
def test_every_row_survives_writing_and_reading(tmp_path_factory, name, what, value, regrinds, note, material, date):
    path = tmp_path_factory.mktemp("shop") / "learned.csv"
    row = LearnedRow(date.isoformat(), what, "C1", regrinds, "", "end", material, name, value, note=note)
    (back,) = append(path, [row]).rows
    assert replace(back, value=0) == replace(row, value=0)
    assert math.isclose(back.value, value, rel_tol=1e-11)


def test_the_newest_value_at_the_present_regrind_counts(path):
    append(path, [LATER, replace(ROW, note="warm day")])  # the later date stands first
    shop = read_learned(path, {"SQ12": 1})
    value = shop.value("true_diameter", cutter="SQ12")
    assert (value.value, value.source, value.kind) == (12.61, "this shop, 2026-05-11", "measured")
    append(path, [replace(LATER, value=12.60)])
    assert read_learned(path).value("true_diameter", cutter="SQ12").value == 12.60, "of one day, the one added last"


def test_a_regrind_makes_older_rows_history_and_says_so(path):
    append(path, [ROW])
    shop = read_learned(path, {"SQ12": 2})
    assert shop.value("true_diameter", cutter="SQ12") is None
    why = shop.set_aside("true_diameter", cutter="SQ12")
    assert "12.63 mm of 2026-03-02 was measured at regrind 1, SQ12 is at regrind 2 now" in why
    assert "no longer counts" in why
    append(path, [replace(LATER, regrinds=2)])
    value = read_learned(path, {"SQ12": 2}).value("true_diameter", cutter="SQ12")
    assert value.value == 12.61
    assert "no longer counts" in value.note
    ahead = read_learned(path, {"SQ12": 0}).set_aside("true_diameter", cutter="SQ12")
    assert "check the regrinds" in ahead


def test_place_and_material_are_asked_for_and_blank_holds_for_all(path):
    flat = replace(OFF, station="flat", value=0.03)
    anywhere = replace(OFF, station="", material="", value=0.05, date="2025-01-01")
    append(path, [flat, anywhere])
    shop = read_learned(path)
    ask = {"cutter": "SQ12"}
    assert shop.value("push_off_climb", station="flat", **ask).value == 0.03
    assert shop.value("push_off_climb", station="end", **ask).value == 0.05
    assert shop.value("push_off_climb", material="teak", station="flat", **ask).value == 0.05
    assert shop.value("push_off_climb", machine="other", **ask) is None
    assert shop.value("push_off_climb", cutter="SQ6") is None
    assert not shop.set_aside("push_off_climb", cutter="SQ6")


def test_a_force_factor_may_belong_to_no_cutter(path):
    row = LearnedRow("2026-03-02", "power", "", None, "router", "", "white-oak", "force_factor", 1.15)
    known = append(path, [row])
    assert known.value("force_factor", material="white-oak").value == pytest.approx(1.15)
    assert known.value("force_factor", cutter="SQ12", regrinds=3, material="white-oak").value == pytest.approx(1.15)
    assert "115.0 %" in path.read_text()


def test_an_unknown_name_is_refused_with_the_nearest(path):
    with pytest.raises(InputError, match="did you mean 'true_diameter'"):
        Learned().value("true_diametre", cutter="SQ12")
    with pytest.raises(InputError, match="cannot be learned"):
        append(path, [replace(ROW, name="colour", unit_quantity="")])
    assert not path.exists()


GOOD = "2026-03-02,fit test,SQ12,1,router,flat,white-oak,true_diameter,12.63 mm,this shop,\n"
FAULTS = {
    "no unit": ("12.63 mm", "12.63", "value", "mm"),
    "wrong unit": ("12.63 mm", "12.63 N", "value", "write e.g."),
    "negative": ("12.63 mm", "-12.63 mm", "value", "sign"),
    "zero": ("12.63 mm", "0 mm", "value", "sign"),
    "no date": ("2026-03-02", "March 2nd", "date", "2026-03-02"),
    "date without its dashes": ("2026-03-02", "20260302", "date", "2026-03-02"),
    "no such day": ("2026-03-02", "2026-02-30", "date", "year-month-day"),
    "unknown kind": ("fit test", "fittest", "what", "fit test"),
    "unknown name": ("true_diameter", "diameter", "name", "true_diameter"),
    "unknown station": ("flat", "flatt", "station", "flat"),
    "regrinds missing": ("SQ12,1,", "SQ12,,", "regrinds", "0 for never"),
    "regrinds no count": ("SQ12,1,", "SQ12,one,", "regrinds", "count from 0"),
    "diameter of no cutter": ("SQ12,1,", ",,", "cutter", "id"),
}


@pytest.mark.parametrize("case", FAULTS)
def test_every_fault_names_file_row_and_column(case, path):
    old, new, field, remedy = FAULTS[case]
    assert old in GOOD
    path.write_text(HEAD + GOOD + GOOD.replace(old, new, 1), encoding="utf-8")
    (fault,) = faults_of(read_learned, path)
    assert (fault.file, fault.row, fault.field) == (str(path), 3, field)
    assert remedy in fault.remedy


def test_a_file_at_fault_is_not_added_to(path):
    path.write_text(HEAD + GOOD.replace("12.63 mm", "12.63"), encoding="utf-8")
    before = path.read_bytes()
    faults_of(append, path, [LATER])
    faults_of(forget_last, path)
    assert path.read_bytes() == before
    assert left_beside(path) == ["learned.csv"]


@pytest.mark.parametrize(
    "bad",
    [
        replace(ROW, date="# 2026"),
        replace(ROW, what="guess"),
        replace(ROW, value=math.nan),
        replace(ROW, value=-1.0),
        replace(ROW, regrinds=None),
        replace(ROW, station="roof"),
    ],
)
def test_a_bad_row_leaves_the_file_as_it_was(bad, path):
    append(path, [ROW])
    before = path.read_bytes()
    with pytest.raises(InputError) as caught:
        append(path, [OFF, bad])
    assert all(f.file == str(path) and f.remedy for f in caught.value.faults)
    assert path.read_bytes() == before
    assert left_beside(path) == ["learned.csv"]


def test_a_break_in_writing_leaves_the_old_file_whole(path, monkeypatch):
    append(path, [ROW])
    before = path.read_bytes()

    def broken(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", broken)
    (fault,) = faults_of(append, path, [LATER])
    assert "no space left" in fault.message
    assert path.read_bytes() == before
    assert left_beside(path) == ["learned.csv"]


def test_a_hand_made_table_keeps_its_columns_remarks_and_line_ends(path):
    header = "date,what,name,value,cutter,regrinds,note\r\n"
    path.write_bytes((header + "# by hand\r\n2026-01-05,ladder,greatest_depth,1/4 in,SQ6,0,").encode())
    bare = LearnedRow("2026-03-02", "ladder", "SQ6", 0, "", "", "", "greatest_depth", 7.5)
    with pytest.raises(InputError, match="no column for source"):
        append(path, [bare])
    path.write_bytes(path.read_bytes().replace(b",note\r\n", b",source\r\n"))
    assert [r.value for r in append(path, [bare]).rows] == [6.35, 7.5]
    assert path.read_bytes().count(b"\r\n") == 4
    assert b"# by hand" in path.read_bytes()


def test_taking_back_undoes_one_test_and_keeps_its_trace(path):
    append(path, [ROW, OFF])
    append(path, [replace(ROW, value=12.60), replace(OFF, value=0.01)])  # again on the same day
    before = path.read_bytes()
    gone = forget_last(path)
    assert [(r.name, r.value) for r in gone] == [("true_diameter", 12.60), ("push_off_climb", 0.01)]
    assert read_learned(path).rows == (ROW, OFF)
    assert path.with_name("learned.csv.bak").read_bytes() == before
    assert path.read_text().count("# taken back: 2026-03-02") == 2
    forget_last(path)
    assert read_learned(path).rows == ()
    (fault,) = faults_of(forget_last, path)
    assert "nothing to take back" in fault.message
    assert append(path, [LATER]).rows == (LATER,)


def test_taking_back_where_there_is_no_file_says_so(path):
    faults_of(forget_last, path)
    assert not path.exists()


def test_a_folder_that_is_missing_is_said(tmp_path):
    (fault,) = faults_of(append, tmp_path / "nowhere" / "learned.csv", [ROW])
    assert "cannot be written" in fault.message


def test_nothing_to_add_is_refused(path):
    faults_of(append, path, [])


def test_the_demo_shop_has_learned_nothing_yet():
    assert not (Path(__file__).parents[1] / "data" / "learned.csv").exists()
