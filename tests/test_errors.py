"""What a fault says."""

from shopcalc.errors import Fault, InputError, did_you_mean


def test_a_fault_is_one_line_with_place_and_remedy():
    fault = Fault("'12' has no unit", 'write "12 mm"', file="cutters.csv", row=4, field="diameter")
    assert str(fault) == "cutters.csv, row 4, 'diameter': '12' has no unit: write \"12 mm\""
    assert "\n" not in str(Fault("two\nlines", "a\nb"))


def test_the_marker_stands_under_the_column_even_behind_tabs():
    fault = Fault("bad", "mend", file="a.nc", line=2, column=5, text="\tG1 X$")
    assert fault.marked().splitlines()[2] == "    \t   ^"


def test_all_faults_come_together():
    error = InputError([Fault("one"), Fault("two")])
    assert str(error).splitlines() == ["one", "two"]


def test_the_nearest_word_or_the_whole_choice():
    assert did_you_mean("wite-oak", ["white-oak", "red-oak"]) == "did you mean 'white-oak'?"
    assert did_you_mean("zzz", ["b", "a"]) == "use one of: a, b"
    assert did_you_mean("zzz", []) == "none is defined yet"
