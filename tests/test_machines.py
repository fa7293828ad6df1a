"""Machines from TOML: what is read, and every way a file can be wrong."""

import contextlib
import math
import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopcalc.errors import InputError
from shopcalc.machines import PART_AXES, Machine, Spindle, frame, read_machine, read_machines
from shopcalc.shop import demo_folder

GOOD = """
title = "test"
[axes.x]
rapid = "20 m/min"
feed = "12 m/min"
acceleration = "800 mm/s^2"
travel = "98 in"
[controller]
corner_tolerance = "0.03 mm"
blocks_per_second = 500
look_ahead = 100
[times]
cutter_change = "12 s"
[spindle]
rpm = ["6000 rpm", "18000 rpm", "24000 rpm"]
power = ["1.5 kW", "4.5 kW", "4.5 kW"]
[stations.end]
height = "2400 mm"
"""


@pytest.fixture
def written(tmp_path):
    """Writes a machine file; bytes go in as they are."""

    def write(text):
        path = tmp_path / "machine.toml"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return path

    return write


def faults_of(path, reader=read_machine):
    with pytest.raises(InputError) as caught:
        reader(path)
    for f in caught.value.faults:
        assert f.file == str(path)
        assert f.message
        assert f.remedy
        assert "\n" not in str(f)
    return caught.value.faults


def test_values_are_read_in_house_units(written):
    m = read_machine(written(GOOD))
    x = m.axes[0]
    assert (x.rapid, x.feed, x.acceleration) == (20000, 12000, 800)
    assert x.travel == pytest.approx(98 * 25.4)
    assert (m.controller.corner, m.controller.corner_tolerance) == ("tolerance", 0.03)
    assert (m.controller.blocks_per_second, m.controller.look_ahead) == (500, 100)
    assert m.times.cutter_change == 12
    assert m.name == "machine"
    assert m.stations["end"].height == 2400
    assert m.stations["end"].part_axes == PART_AXES["end"]


def test_what_is_absent_has_no_limit(written):
    m = read_machine(written("[axes.y]\nrapid = '9 m/min'\n"))
    assert m.axes[0].rapid == m.axes[1].acceleration == m.axes[2].travel == math.inf
    assert m.controller.corner == "none"
    assert m.controller.jerk == math.inf
    assert m.times.cutter_change == 0
    assert m.spindle is None
    assert not m.stations


@pytest.mark.parametrize("written_as", ["500", '"500 1/s"', '"30000 1/min"'])
def test_block_rate_as_count_or_with_unit(written, written_as):
    assert read_machine(written(f"[controller]\nblocks_per_second = {written_as}")).controller.blocks_per_second == 500


def test_speed_jump_for_all_axes_or_each(written):
    one = read_machine(written('[controller]\ncorner_speed_jump = "8 mm/s"')).controller
    each = read_machine(written('[controller]\ncorner_speed_jump = { x = "8 mm/s", z = "3 mm/s" }')).controller
    assert one.corner == each.corner == "speed_jump"
    assert one.corner_speed_jump == (8, 8, 8)
    assert each.corner_speed_jump == (8, math.inf, 3)


def test_exact_stop_needs_no_value(written):
    assert read_machine(written('[controller]\ncorner = "stop"')).controller.corner == "stop"


def test_how_a_part_lies_may_be_said(written):
    text = '[stations.end]\npart_axes = ["thickness", "width", "length"]'
    assert read_machine(written(text)).stations["end"].part_axes == ("thickness", "width", "length")


MATRIX = {
    "misspelt section": (GOOD.replace("[controller]", "[controler]"), "controler", "controller"),
    "misspelt key": (GOOD.replace("rapid =", "rapids ="), "axes.x.rapids", "'rapid'"),
    "no unit": (GOOD.replace('"20 m/min"', "20"), "axes.x.rapid", "m/min"),
    "no unit in text": (GOOD.replace('"20 m/min"', '"20"'), "axes.x.rapid", "m/min"),
    "wrong unit": (GOOD.replace('"20 m/min"', '"20 kg"'), "axes.x.rapid", "m/min"),
    "unknown unit": (GOOD.replace('"20 m/min"', '"20 furlongs/moon"'), "axes.x.rapid", "m/min"),
    "not a number": (GOOD.replace('"20 m/min"', '"fast"'), "axes.x.rapid", "m/min"),
    "empty text": (GOOD.replace('"20 m/min"', '""'), "axes.x.rapid", "m/min"),
    "nan": (GOOD.replace('"20 m/min"', "nan"), "axes.x.rapid", "unit"),
    "infinite": (GOOD.replace('"20 m/min"', "inf"), "axes.x.rapid", "unit"),
    "negative": (GOOD.replace('"20 m/min"', '"-20 m/min"'), "axes.x.rapid", "sign"),
    "zero": (GOOD.replace('"800 mm/s^2"', '"0 mm/s^2"'), "axes.x.acceleration", "sign"),
    "huge": (GOOD.replace('"20 m/min"', '"2e9 m/min"'), "axes.x.rapid", "check"),
    "true for a number": (GOOD.replace("look_ahead = 100", "look_ahead = true"), "controller.look_ahead", "count"),
    "count with a fraction": (GOOD.replace("look_ahead = 100", "look_ahead = 1.5"), "controller.look_ahead", "count"),
    "count of zero": (GOOD.replace("= 500", "= 0"), "controller.blocks_per_second", "1/s"),
    "list for a section": (GOOD.replace("[times]\ncutter_change", "times = []\n#"), "controller.times", "use one of"),
    "text for a section": ('axes = "fast"', "axes", "section"),
    "unknown choice": (GOOD + '\n[stations.edges]\nheight = "9 mm"', "stations.edges", "edge"),
    "unknown dwell unit": (
        GOOD.replace("[times]", 'dwell_unit = "min"\n[times]'), "controller.dwell_unit", "use one of",
    ),
    "two corner rules": (
        GOOD.replace("[times]", 'corner_speed_jump = "8 mm/s"\n[times]'), "controller.corner_tolerance", "keep the one",
    ),
    "rule against its word": (
        GOOD.replace("[times]", 'corner = "stop"\n[times]'), "controller.corner_tolerance", "keep",
    ),
    "rule without its value": ('[controller]\ncorner = "tolerance"', "controller.corner", "corner_tolerance"),
    "powers fewer than speeds": (GOOD.replace(', "4.5 kW"]', "]"), "spindle.power", "each speed"),
    "speeds that fall": (GOOD.replace('"18000 rpm", "24000 rpm"', '"24000 rpm", "18000 rpm"'), "spindle.rpm", "sort"),
    "one speed of a list wrong": (GOOD.replace('"18000 rpm"', '"18000 m"'), "spindle.rpm[1]", "rpm"),
    "spindle without power": (GOOD.replace("power =", "#"), "spindle.power", "power"),
    "a part lying twice": (
        GOOD + 'part_axes = ["length", "length", "width"]', "stations.end.part_axes", "once",
    ),
    "unknown kind": ('kind = "guess"\n' + GOOD, "kind", "use one of"),
    "feed share beyond reason": ('feed_share = "900 %"\n' + GOOD, "feed_share", "check"),
}  # fmt: skip


@pytest.mark.parametrize("case", MATRIX)
def test_a_fault_says_field_and_remedy(case, written):
    text, field, remedy = MATRIX[case]
    found = faults_of(written(text))
    assert [f.field for f in found] == [field]
    assert remedy in found[0].remedy


FILES = {
    "empty": (b"", "empty"),
    "blank": (b" \n\n", "empty"),
    "only comments": (b"# nothing\n", "comments"),
    "binary": (bytes(range(256)), "binary"),
    "another encoding": ("title = 'Fräse'".encode("latin-1"), "UTF-8"),
    "sixteen bits": ("title = 'x'".encode("utf-16"), "UTF-16"),
}


@pytest.mark.parametrize("case", FILES)
def test_files_that_are_not_readable_text(case, written):
    data, words = FILES[case]
    (fault,) = faults_of(written(data))
    assert words in fault.message


def test_a_byte_order_mark_does_no_harm(written):
    assert read_machine(written(b"\xef\xbb\xbf" + GOOD.encode())).axes[0].rapid == 20000


def test_truncated_file_says_line_and_column(written):
    (fault,) = faults_of(written(GOOD[: GOOD.index("m/min")]))
    assert (fault.line, fault.column) == (4, 13)
    assert "TOML" in fault.message


def test_the_same_key_twice_says_where(written):
    (fault,) = faults_of(written('[axes.x]\nrapid = "1 m/min"\nrapid = "2 m/min"'))
    assert fault.line == 3


def test_missing_folder_and_unreadable(tmp_path):
    assert "no such file" in faults_of(tmp_path / "no.toml")[0].message
    assert "folder" in faults_of(tmp_path)[0].message
    loop = tmp_path / "loop.toml"
    loop.symlink_to(loop)
    assert "cannot be read" in faults_of(loop)[0].message


def test_all_faults_come_together(written):
    text = '[axes.x]\nrapid = 20\nacceleration = "-1 mm/s^2"\n[controller]\nlook_ahead = 0\njerk = "5 mm"\n[time]\n'
    assert {f.field for f in faults_of(written(text))} == {
        "axes.x.rapid", "axes.x.acceleration", "controller.look_ahead", "controller.jerk", "time",
    }  # fmt: skip


def test_a_file_of_several_machines_is_told_from_one(written):
    several = written('[router.axes.x]\nrapid = "9 m/min"\n[saw.axes.x]\nrapid = "1 m/min"')
    assert "several machines" in faults_of(several)[0].message
    assert list(read_machines(several)) == ["router", "saw"]
    one = written(GOOD)
    assert "[router.axes.x]" in faults_of(one, read_machines)[0].remedy


def test_faults_of_several_machines_name_the_machine(written):
    path = written('[a.axes.x]\nrapid = 1\n[b.times]\nspindle_start = "-1 s"')
    assert [f.field for f in faults_of(path, read_machines)] == ["a.axes.x.rapid", "b.times.spindle_start"]


def test_spindle_power_is_linear_and_nothing_outside():
    s = Spindle((6000.0, 18000.0), (1000.0, 4000.0))
    assert (s.min_rpm, s.max_rpm) == (6000, 18000)
    np.testing.assert_allclose(s.power_at(np.array([5999, 6000, 12000, 18000, 18001])), [0, 1000, 2500, 4000, 0])


def test_demo_machines_are_whole_and_say_they_are_invented():
    machines = read_machines(demo_folder() / "machines.toml")
    assert set(machines["router"].stations) == {"flat", "edge", "end"}
    for m in machines.values():
        assert m.kind == "invented"
        assert all(math.isfinite(v) for a in m.axes for v in (a.rapid, a.feed, a.acceleration, a.travel))
        assert m.spindle is not None
    table = frame(machines)
    assert table.loc["router", "rapid_x_mm_min"] == 20000
    assert table.attrs["units"]["rapid_x_mm_min"] == "mm/min"


def test_with_changes_one_field_only():
    m = Machine(name="a")
    assert m.with_(feed_share=0.8).feed_share == 0.8
    assert m.with_(feed_share=0.8).name == "a"
    assert m.feed_share == 1.0


@given(st.text(max_size=200))
def test_no_text_is_answered_with_anything_but_a_machine_or_a_refusal(text):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "m.toml"
        path.write_bytes(text.encode("utf-8", "surrogatepass"))
        with contextlib.suppress(InputError):
            assert isinstance(read_machine(path), Machine)


def test_a_file_with_one_machine_in_its_own_table_is_taken(tmp_path):
    """A shop may copy its part of machines.toml as it stands."""
    path = tmp_path / "mine.toml"
    path.write_text('[mine.axes.x]\nrapid = "9 m/min"\n', encoding="utf-8")
    machine = read_machine(path)
    assert machine.name == "mine"
    assert machine.axes[0].rapid == 9000
    path.write_text('[mine.axes.x]\nrapid = "9"\n', encoding="utf-8")
    with pytest.raises(InputError, match=r"mine\.axes\.x\.rapid"):
        read_machine(path)
