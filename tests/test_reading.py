"""Readers of tables and TOML files: what they accept, and every way a file can be wrong."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from refusals import faults_of

from shopcalc.errors import InputError
from shopcalc.reading import Column, TableReader, load_toml, read_file
from shopcalc.sources import STANDING

COLUMNS = (
    Column("id", required=True),
    Column("length", "length", required=True, above=0.0, maximum=1000.0),
    Column("count", "count", minimum=1, maximum=9),
    Column("shape", choices=("round", "square")),
    Column("hollow", "yes"),
    *STANDING,
)
HEADER = "id,length,count,shape,hollow"


@pytest.fixture
def table(tmp_path):
    """Writes a table and reads it to the end."""

    def read(text, columns=COLUMNS, key="id"):
        path = tmp_path / "table.csv"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        reader = TableReader(path, columns, key)
        reader.finish()
        return reader.rows

    return read


def test_cells_come_in_house_units(table):
    (row,) = table(f"{HEADER}\na,1 1/4 in,3,round,yes\n")
    assert (row["id"], row["length"], row["count"], row["shape"], row["hollow"]) == ("a", 31.75, 3, "round", True)
    assert row.number == 2


def test_blank_is_unknown_and_never_zero(table):
    (row,) = table(f"{HEADER}\na,5 mm,,,\n")
    assert row["count"] is row["shape"] is row["hollow"] is row["source"] is None


def test_a_row_of_units_speaks_for_bare_numbers_and_a_cell_for_itself(table):
    first, second = table(f"{HEADER}\nunit,in,-,-,-\na,2,,,\nb,2 mm,,,\n")
    assert (first["length"], second["length"]) == (50.8, 2.0)
    assert (first.number, second.number) == (3, 4)


def test_remarks_blank_lines_and_quoted_line_breaks_keep_spreadsheet_rows(table):
    rows = table(f'{HEADER},note\n# remark,,,,\n\na,5 mm,,,,"two\nlines"\nb,6 mm,,,,\n')
    assert [r.number for r in rows] == [4, 5]
    assert rows[0]["note"] == "two\nlines"


def test_byte_order_mark_and_other_line_ends_do_no_harm(table):
    (row,) = table(b"\xef\xbb\xbf" + f"{HEADER}\r\na,5 mm,,,\r\n".encode())
    assert row["length"] == 5


CELLS = {
    "no unit": ("a,5,,,", 2, "length", "5 mm"),
    "wrong unit": ("a,5 kg,,,", 2, "length", "mm"),
    "unknown unit": ("a,5 cubits,,,", 2, "length", "mm"),
    "not a number": ("a,long,,,", 2, "length", "mm"),
    "negative": ("a,-5 mm,,,", 2, "length", "sign"),
    "zero": ("a,0 mm,,,", 2, "length", "sign"),
    "huge": ("a,2 m,,,", 2, "length", "check"),
    "beyond all reason": ("a,1e300 mm,,,", 2, "length", "check"),
    "missing": ("a,,,,", 2, "length", "mm"),
    "missing id": (",5 mm,,,", 2, "id", "text"),
    "a spreadsheet's date": ("a,4-Jan,,,", 2, "length", "mm"),
    "fraction over nothing": ("a,1/0 in,,,", 2, "length", "mm"),
    "count with unit": ("a,5 mm,3 mm,,", 2, "count", "without a unit"),
    "count with fraction": ("a,5 mm,1.5,,", 2, "count", "without a unit"),
    "count too large": ("a,5 mm,10,,", 2, "count", "check"),
    "misspelt choice": ("a,5 mm,,rond,", 2, "shape", "did you mean 'round'?"),
    "neither yes nor no": ("a,5 mm,,,maybe", 2, "hollow", "yes or no"),
    "same id again": ("a,5 mm,,,\na,6 mm,,,", 3, "id", "keep one"),
    "too few cells": ("a,5 mm", 2, None, "commas"),
    "too many cells": ("a,5 mm,,,,,9", 2, None, "quotation"),
    "wrong unit in the row of units": ("unit,kg,-,-,-\na,5 mm,,,", 2, "length", "mm"),
    "unit of a count": ("unit,mm,mm,-,-\na,5 mm,,,", 2, "count", "count"),
}


@pytest.mark.parametrize("case", CELLS)
def test_a_wrong_cell_says_row_column_and_remedy(case, table):
    rows, number, column, remedy = CELLS[case]
    (fault,) = faults_of(table, f"{HEADER}\n{rows}\n")
    assert (fault.row, fault.field) == (number, column)
    assert remedy in fault.remedy


TABLES = {
    "empty": (b"", "empty"),
    "blank": (b"\n \n", "empty"),
    "header only": (HEADER.encode(), "no rows"),
    "binary": (b"\x89PNG\r\n\x1a\n\x00\x00", "binary"),
    "another encoding": ("id,length\nFräse,5 mm".encode("latin-1"), "UTF-8"),
    "sixteen bits": ("id,length\na,5 mm".encode("utf-16"), "UTF-16"),
    "semicolons": (b"id;length;count\na;5 mm;3", "semicolons"),
    "tabs": (b"id\tlength\na\t5 mm", "tabs"),
    "unknown column": (b"id,lenght,length\na,5 mm,5 mm", "'lenght' is not known"),
    "blank column": (b"id,length,\na,5 mm,", "(blank)"),
    "column twice": (b"id,length,length\na,5 mm,5 mm", "twice"),
    "missing column": (b"id\na", "'length' is missing"),
    "cut within a quotation": (b'id,length\na,5 mm\nb,"5 m', "not CSV"),
}


@pytest.mark.parametrize("case", TABLES)
def test_a_table_that_is_wrong_as_a_whole(case, table):
    data, words = TABLES[case]
    found = faults_of(table, data)
    assert any(words in f.message for f in found)


def test_a_misspelt_column_is_mended(table):
    found = faults_of(table, "id,lenght\na,5 mm")
    assert any(f.remedy == "did you mean 'length'?" for f in found)


def test_all_faults_of_a_table_come_together_in_order(table):
    found = faults_of(table, f"{HEADER}\na,5,99,rond,maybe\nb,5 mm\nc,0 mm,,,\n")
    assert [f.row for f in found] == [2, 2, 2, 2, 3, 4]


def test_missing_folder_and_unreadable(tmp_path):
    assert "no such file" in faults_of(read_file, tmp_path / "no.csv")[0].message
    assert "folder" in faults_of(read_file, tmp_path)[0].message
    loop = tmp_path / "loop"
    loop.symlink_to(loop)
    assert "cannot be read" in faults_of(read_file, loop)[0].message
    (tmp_path / "file").write_text("x")
    assert "cannot be read" in faults_of(read_file, tmp_path / "file" / "below")[0].message
    assert "cannot be read" in faults_of(read_file, "nul\0name")[0].message


@given(st.text(max_size=300))
def test_no_text_breaks_the_reader(tmp_path_factory, text):
    path = tmp_path_factory.mktemp("t") / "t.csv"
    path.write_bytes(text.encode("utf-8", "surrogatepass"))
    with pytest.raises(InputError):
        TableReader(path, COLUMNS, "id").finish()


def test_a_broken_toml_file_shows_its_line(tmp_path):
    path = tmp_path / "x.toml"
    path.write_text('a = 1\nb = = 2\nc = "three"\n')
    (fault,) = faults_of(load_toml, path)
    assert (fault.line, fault.column, fault.text) == (2, 5, "b = = 2")
    assert fault.marked().splitlines()[-1].index("^") == 4 + 4
