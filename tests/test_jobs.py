"""Job files: faults with place and remedy, all at once; hours from drivers; planned, programmed and logged."""

import itertools
import math
import re
import tomllib
from dataclasses import replace

import pytest

from shopcalc.cutting.chipload import mean_chip
from shopcalc.cutting.tuning import tune
from shopcalc.errors import InputError
from shopcalc.gcode import write_program
from shopcalc.jobs import estimate, open_job
from shopcalc.jobs.counting import drivers, finish_area
from shopcalc.jobs.hours import purchases
from shopcalc.jobs.planning import operation_moves, plan_load, setting
from shopcalc.jobs.reading import check_job
from shopcalc.jobs.records import OPERATION_RECORDS
from shopcalc.motion import machine_time
from shopcalc.paths.lettering import letter_lines, lettering_width
from shopcalc.quote import as_text, price
from shopcalc.shop import DRIVERS, OPERATIONS, PHASES, Shop
from shopcalc.sources import practice
from shopcalc.standard_times import PHASE_DRIVERS

JOB = """
[job]
name = "box"
machine = "router"
quantity = 2

[[parts]]
id = "rail"
quantity = 4
material = "white-oak"
length = "20 in"
width = "2 1/2 in"
thickness = "7/8 in"
[[parts.operations]]
kind = "groove"
program = "grooves"
cutter = "SQ6"
width = "1/4 in"
depth = "3/8 in"

[[parts]]
id = "panel"
quantity = 1
material = "birch-plywood"
length = "20 in"
width = "12 in"
thickness = "1/2 in"
finished = false

[[programs]]
id = "grooves"
station = "edge"

[phases]
delivery = { quoted = false }

[[hardware]]
name = "knob"
quantity = 2
price = "4.50 USD"
"""


@pytest.fixture(scope="module")
def shop():
    return Shop.open()


@pytest.fixture
def read(tmp_path, shop):
    """Open a job text; returns the Job."""

    def opener(text, **changes):
        for old, new in changes.get("swap", ()):
            assert old in text, old
            text = text.replace(old, new, 1)
        file = tmp_path / "box.toml"
        file.write_text(text, encoding="utf-8")
        return open_job(file, shop)

    return opener


def faults(read, *swaps):
    with pytest.raises(InputError) as caught:
        read(JOB, swap=swaps)
    return caught.value.faults


# --- one fault at a time: every kind of fault at several places ------------------------------------------------------

MATRIX = {
    "missing heading": (("[job]", "[jobb]"), "job", "add [job]"),
    "missing field": (('width = "2 1/2 in"\n', ""), "parts[0].width", 'add width = "2 1/2 in"'),
    "missing field of an operation": (('depth = "3/8 in"\n', ""), "parts[0].operations[0].depth", "add depth"),
    "missing kind": (('kind = "groove"\n', ""), "parts[0].operations[0].kind", "use one of: bore, carve"),
    "misspelt field": (("thickness =", "thicknes ="), "parts[0].thicknes", "did you mean 'thickness'?"),
    "misspelt field of an operation": (
        ('depth = "3/8 in"', 'depht = "3/8 in"'), "parts[0].operations[0].depht", "did you mean 'depth'?"),
    "misspelt table": (("[[hardware]]", "[[hardwear]]"), "hardwear", "did you mean 'hardware'?"),
    "misspelt operation": (('"groove"', '"grove"'), "parts[0].operations[0].kind", "did you mean 'groove'?"),
    "misspelt phase": (("delivery =", "delivry ="), "phases.delivry", "did you mean 'delivery'?"),
    "misspelt station": (('"edge"', '"egde"'), "programs[0].station", "did you mean 'edge'?"),
    "wrong unit": (('"20 in"', '"20 kg"'), "parts[0].length", "'kg' measures something else"),
    "unknown unit": (('"20 in"', '"20 incj"'), "parts[0].length", "did you mean"),
    "no unit": (('length = "20 in"', 'length = "20"'), "parts[0].length", '"20 in"'),
    "no unit, a bare number": (('length = "20 in"', "length = 20"), "parts[0].length", '"20 in"'),
    "not a number": (('"20 in"', '"long"'), "parts[0].length", "write a length"),
    "nan": (('length = "20 in"', "length = nan"), "parts[0].length", "write it"),
    "infinity": (('length = "20 in"', 'length = "inf in"'), "parts[0].length", "write a length"),
    "negative": (('"20 in"', '"-20 in"'), "parts[0].length", "check the number and its sign"),
    "zero": (('"20 in"', '"0 in"'), "parts[0].length", "check the number and its sign"),
    "huge": (('"20 in"', '"1e30 in"'), "parts[0].length", "the most allowed"),
    "negative count": (("quantity = 4", "quantity = -4"), "parts[0].quantity", "check the count"),
    "zero count": (("quantity = 4", "quantity = 0"), "parts[0].quantity", "check the count"),
    "huge count": (("quantity = 4", "quantity = 99999999"), "parts[0].quantity", "check the count"),
    "half a count": (("quantity = 4", "quantity = 4.5"), "parts[0].quantity", "without a unit"),
    "a truth for a count": (("quantity = 4", "quantity = true"), "parts[0].quantity", "without a unit"),
    "a word for a truth": (("finished = false", 'finished = "no"'), "parts[1].finished", "write true or false"),
    "money without a currency": (('"4.50 USD"', '"4.50"'), "hardware[0].price", '"85 USD"'),
    "money of another country": (('"4.50 USD"', '"4.50 EUR"'), "hardware[0].price", "write USD"),
    "negative money": (('"4.50 USD"', '"-4.50 USD"'), "hardware[0].price", "check the number and its sign"),
    "duplicate part": (('id = "panel"', 'id = "rail"'), "parts[1].id", "give each its own id"),
    "unknown material": (('"white-oak"', '"wite-oak"'), "parts[0].material", "did you mean 'white-oak'?"),
    "material without a price": (('"white-oak"', '"basswood"'), "parts[0].material", "under [materials]"),
    "unknown cutter": (('"SQ6"', '"SQ7"'), "parts[0].operations[0].cutter", "did you mean"),
    "unknown program": (
        ('program = "grooves"', 'program = "groove"'), "parts[0].operations[0].program", "did you mean 'grooves'?"),
    "machine without that station": (
        ('"router"', '"small-router"'), "programs[0].station", "use one of: flat"),
    "unknown machine": (('"router"', '"rooter"'), "job.machine", "did you mean 'router'?"),
    "program that does nothing": (('id = "grooves"', 'id = "spare"'), "programs[0].id", "add one under"),
    "empty text": (('name = "box"', 'name = ""'), "job.name", "write it in quotation marks"),
    "blank text": (('name = "box"', 'name = "  "'), "job.name", "write it in quotation marks"),
    "number for a text": (('name = "box"', "name = 7"), "job.name", "write it in quotation marks"),
    "missing program file": (
        ('station = "edge"', 'station = "edge"\nfile = "programs/none.nc"'), "programs[0].file", "leave 'file' out"),
    "date for a length": (('length = "20 in"', "length = 2026-01-01"), "parts[0].length", "with its unit"),
    "list for a text": (('program = "grooves"', 'program = ["grooves"]'), "parts[0].operations[0].program",
                        "write it in quotation marks"),
    "table for a number": (('length = "20 in"', "length = {in = 20}"), "parts[0].length", "with its unit"),
    "text for a table": (("delivery = { quoted = false }", "delivery = 3"), "phases.delivery.hours", "with its unit"),
}  # fmt: skip


@pytest.mark.parametrize("case", MATRIX)
def test_each_fault_is_placed_and_says_what_to_do(case, read, tmp_path):
    swap, place, remedy = MATRIX[case]
    found = faults(read, swap)
    mine = [f for f in found if f.field == place]
    assert mine, [str(f) for f in found]
    assert remedy in str(mine[0])
    assert mine[0].file == str(tmp_path / "box.toml")
    for f in found:
        assert "\n" not in str(f)
        assert f.remedy or "missing" in f.message


def test_faults_of_values_and_of_names_come_together_in_the_order_of_the_file(read):
    found = faults(
        read, ('"router"', '"rooter"'), ('"20 in"', '"20 kg"'), ('"white-oak"', '"wite-oak"'), ('"SQ6"', '"SQ7"'),
        ('"4.50 USD"', '"4.50"'), ("delivery =", "delivry ="),
    )  # fmt: skip
    places = [f.field for f in found]
    assert {"job.machine", "parts[0].length", "parts[0].material", "parts[0].operations[0].cutter", "phases.delivry",
            "hardware[0].price"} <= set(places)  # fmt: skip
    tops = [re.split(r"[.\[]", p)[0] for p in places]
    order = ["job", "parts", "programs", "loads", "phases", "hardware"]
    assert tops == sorted(tops, key=order.index)


@pytest.mark.parametrize(
    "swap",
    [('"20 in"', '"20 kg"'), ('"SQ6"', '"SQ7"'), ('"white-oak"', '"wite-oak"'), ("quantity = 4", "quantity = 0")],
)
def test_a_fault_names_the_part_it_is_in(swap, read):
    assert str(faults(read, swap)[0]).count("part 'rail'") == 1


def test_a_missing_price_is_asked_for_once(read):
    both = faults(read, ('"white-oak"', '"basswood"'), ('"birch-plywood"', '"basswood"'))
    (said,) = [f for f in both if "no price" in f.message]
    assert "needed by 2 parts" in said.message
    assert said.field == "parts[0].material"


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "empty"),
        (b"# nothing\n", "nothing but comments"),
        (b"\x00\x01\x02", "binary"),
        (b"\xff\xfe[\x00j\x00", "UTF-16"),
        (b"[job]\nname = \"caf\xe9\"\n", "not UTF-8"),
        (b"[job]\nname = \"bo", "line 2"),
        (b"[job]\n[[parts]]\nid = 1\nid = 2\n", "line 4"),
        (b"parts = 3\n", "'job' is missing"),
        (b"[job]\nname='a'\nmachine='router'\nparts=[]\n[[loads]]\n", "parts"),
        (b"[[job]]\nname='a'\n", "is not a table"),
        (b"[job]\nname='a'\nmachine='router'\n[parts]\nid='x'\n", "is not a list of tables"),
        (b"a=" + b"[" * 3000 + b"]" * 3000, ""),
    ],
)  # fmt: skip
def test_files_that_are_no_job_are_refused(content, says, tmp_path, shop):
    file = tmp_path / "bad.toml"
    file.write_bytes(content)
    with pytest.raises((InputError, RecursionError)) as caught:
        open_job(file, shop)
    if says:
        assert says in str(caught.value)


def test_files_that_are_not_there_are_refused(tmp_path, shop):
    with pytest.raises(InputError, match="no such file"):
        open_job(tmp_path / "none.toml", shop)
    with pytest.raises(InputError, match="folder"):
        open_job(tmp_path, shop)


# --- loads -----------------------------------------------------------------------------------------------------------


def test_a_part_is_loaded_once_a_piece_unless_said(read):
    job = read(JOB)
    assert [(x.program, x.part, x.count) for x in job.loads] == [("grooves", "rail", 4)]
    assert job.load_count == 8
    said = read(JOB + '[[loads]]\nprogram = "grooves"\npart = "rail"\ncount = 7\n')
    assert said.load_count == 14


def test_a_part_without_words_of_its_own_has_done_what_the_program_does(read):
    job = read(JOB + '[[loads]]\nprogram = "grooves"\npart = "panel"\ncount = 1\n')
    ((part, operation),) = job.operations("grooves", "panel")
    assert part.id == "rail"
    assert operation.kind == "groove"
    assert job.load_count == 10


@pytest.mark.parametrize(
    ("load", "place", "remedy"),
    [
        ('program = "groves"\npart = "rail"\ncount = 1', "loads[0].program", "did you mean 'grooves'?"),
        ('program = "grooves"\npart = "rial"\ncount = 1', "loads[0].part", "did you mean 'rail'?"),
        ('program = "grooves"\npart = "rail"\ncount = 0', "loads[0].count", "check the count"),
        ('program = "grooves"\npart = "rail"', "loads[0].count", "add count = 4"),
    ],
)
def test_loads_that_name_nothing_are_refused(load, place, remedy, read):
    with pytest.raises(InputError) as caught:
        read(JOB + "[[loads]]\n" + load + "\n")
    assert [remedy in str(f) for f in caught.value.faults if f.field == place] == [True]


def test_the_same_load_twice_is_refused(read):
    load = '[[loads]]\nprogram = "grooves"\npart = "rail"\ncount = 1\n'
    with pytest.raises(InputError, match="stands already in loads"):
        read(JOB + load + load)


def test_a_part_too_large_for_its_station_has_no_valid_time(read):
    assert not read(JOB).warnings
    (said,) = read(JOB, swap=[('"2 1/2 in"', '"9 in"')]).warnings
    assert "TIME NOT VALID" in said
    assert "its width is 9 in, the edge station takes 7.0866 in along z" in said


def test_a_part_longer_than_the_axis_travels_has_no_valid_time(read, shop):
    x, y, z = shop.machine("router").axes
    short = shop.machine("router").with_(axes=(replace(x, travel=400.0), y, replace(z, travel=5.0)))
    own = replace(shop, machines={**shop.machines, "router": short})
    job = check_job(tomllib.loads(JOB), "box.toml", own)
    (said,) = job.warnings
    assert "its length is 20 in, axis x travels 15.748 in" in said
    said = " ".join(estimate(job, own).warnings)
    assert said.count("TIME NOT VALID") == 3  # the part, and its path along x and z
    assert "along z" in said


def test_a_part_of_another_size_in_the_same_program_is_pointed_out(read):
    """The tenon of a rail 2 1/2 in wide leaves wood standing on one of 4 in."""
    wide = """
[[parts]]
id = "wide"
quantity = 1
material = "{}"
length = "{}"
width = "{}"
thickness = "7/8 in"
[[loads]]
program = "grooves"
part = "wide"
count = 1
"""
    (said,) = read(JOB + wide.format("white-oak", "20 in", "4 in")).warnings
    assert "part 'wide'" in said
    assert "part 'rail'" in said
    assert "width 4 in instead of 2 1/2 in" in said
    (said,) = read(JOB + wide.format("hard-maple", "20 in", "2 1/2 in")).warnings
    assert "hard-maple instead of white-oak" in said
    (said,) = read(JOB + wide.format("white-oak", "24 in", "2 1/2 in")).warnings
    assert "length 24 in instead of 20 in" in said
    assert not read(JOB + wide.format("white-oak", "20 in", "2 1/2 in")).warnings
    on_end = JOB.replace('station = "edge"', 'station = "end"') + wide.format("white-oak", "24 in", "2 1/2 in")
    assert not read(on_end).warnings  # a longer rail has the same end


# --- hours -----------------------------------------------------------------------------------------------------------


def test_the_lists_of_phases_drivers_and_operations_are_the_shops():
    assert tuple(PHASE_DRIVERS) == PHASES
    assert sorted(d for ds in PHASE_DRIVERS.values() for d in ds) == sorted(DRIVERS)
    assert set(OPERATION_RECORDS) == set(OPERATIONS)


def test_drivers_are_counted_by_hand(read):
    """Two boxes of four rails and a panel, one program, one part of two finished."""
    counts = drivers(read(JOB))
    assert counts["drawing_per_part"] == 2
    assert counts["select_per_board"] == counts["mark_per_piece"] == 10
    assert counts["joint_per_board"] == 8  # sheets come planed
    assert counts["load_per_load"] == counts["zero_per_load"] == 8
    assert counts["programming_per_program"] == counts["programming_per_groove"] == 1
    assert counts["bore_per_fitting"] == counts["fit_per_fitting"] == 4
    assert counts["assembly_per_joint"] == counts["carving_design_per_job"] == 0
    assert counts["delivery_per_job"] == counts["measuring_per_job"] == 1
    assert counts["assembly_per_piece"] == counts["pack_per_piece"] == 2
    inches = 2 * (20 * 2.5 + 20 * 0.875 + 2.5 * 0.875)
    assert finish_area(read(JOB)) == pytest.approx(8 * inches * 25.4**2 * 1e-6)
    assert set(counts) == set(DRIVERS)


def test_hours_are_drivers_times_standard_minutes(read, shop):
    job = read(JOB)
    e = estimate(job, shop)
    for phase in PHASES:
        if phase != "machining":
            shares = {d: shop.rates.learning[d] for d in PHASE_DRIVERS[phase]}  # two pieces: one doubling
            by_hand = sum(drivers(job)[d] * shop.rates.minutes[d] * share for d, share in shares.items()) / 3600
            assert e.hours[phase].planned == e.hours[phase].best == pytest.approx(by_hand)
    attended = sum(t.best * t.loads * shop.rates.attended["groove"] for t in e.programs) / 3600
    assert e.hours["machining"].best == pytest.approx(attended)
    assert e.hours["delivery"].quoted == 0 < e.hours["delivery"].best


def test_twice_the_pieces_take_the_same_programming_and_twice_the_stock(read, shop):
    one, two = (estimate(replace(read(JOB), quantity=n), shop) for n in (1, 2))
    assert one.hours["programming"].best == two.hours["programming"].best
    assert 2 * one.hours["stock"].best == pytest.approx(two.hours["stock"].best)  # nothing glued, so nothing learned
    assert 2 * one.machine_seconds == pytest.approx(two.machine_seconds)


def test_hours_said_outright_and_logged_come_first(read, shop):
    said = read(JOB, swap=[("delivery = { quoted = false }", 'delivery = "90 min"\ndesign = { logged = "5 h" }')])
    e = estimate(said, shop)
    assert e.hours["delivery"].planned == e.hours["delivery"].best == e.hours["delivery"].quoted == 1.5
    assert e.hours["design"].logged == e.hours["design"].best == 5
    assert e.hours["design"].planned != 5


def test_best_is_logged_then_programmed_then_planned(read, shop, tmp_path):
    planned = estimate(read(JOB), shop).programs[0]
    assert planned.best == planned.planned
    moves = plan_load(read(JOB), read(JOB).programs[0], "rail", shop).moves
    slow = replace(moves, feed=moves.feed / 2)
    folder = tmp_path / "own"
    folder.mkdir()
    (folder / "grooves.nc").write_text(write_program(slow, title="slow"), encoding="utf-8")
    own = replace(shop, folder=folder)
    file = tmp_path / "box.toml"
    with_file = JOB.replace('station = "edge"', 'station = "edge"\nfile = "grooves.nc"')
    file.write_text(with_file, encoding="utf-8")
    programmed = estimate(open_job(file, own), own).programs[0]
    assert programmed.planned == pytest.approx(planned.planned)
    assert programmed.best == programmed.programmed == pytest.approx(machine_time(slow, shop.machine("router")).total_s)
    assert programmed.programmed > programmed.planned
    file.write_text(with_file.replace('station = "edge"', 'station = "edge"\nlogged = "4 min"'), encoding="utf-8")
    logged = estimate(open_job(file, own), own).programs[0]
    assert logged.best == logged.logged == 240
    assert logged.cutting + logged.moving + logged.changing + logged.standing == pytest.approx(240)


def stale(shop, tmp_path, text):
    """Warnings of a job whose program has that text."""
    (tmp_path / "grooves.nc").write_text(text, encoding="utf-8")
    job = JOB.replace('station = "edge"', 'station = "edge"\nfile = "grooves.nc"')
    own = replace(shop, folder=tmp_path)
    return [w for w in estimate(check_job(tomllib.loads(job), "box.toml", own), own).warnings if "disagrees" in w]


def test_a_program_that_goes_with_its_job_raises_no_doubt(read, shop, tmp_path):
    moves = plan_load(read(JOB), read(JOB).programs[0], "rail", shop).moves
    assert not stale(shop, tmp_path, write_program(moves, title="same"))
    elsewhere = moves.shifted((-300, 40, 0))  # another zero is no fault
    assert not stale(shop, tmp_path, write_program(elsewhere, title="moved"))
    proved = replace(moves, feed=0.9 * moves.feed)
    assert not stale(shop, tmp_path, write_program(proved, title="slower"))


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ([('length = "20 in"', 'length = "30 in"')], "it cuts over 30"),
        ([('depth = "3/8 in"', 'depth = "3/16 in"')], "it cuts 3/16 in deep, where the sizes ask for 3/8 in"),
        ([('cutter = "SQ6"', 'cutter = "SQ6"\nfeed = "500 mm/min"')], "is planned"),
        ([('cutter = "SQ6"', 'cutter = "SQ3"')], "it uses cutter SQ3 (T101); it does not use SQ6"),
    ],
)
def test_a_stale_program_is_pointed_out_once_with_what_differs(changes, says, read, shop, tmp_path):
    job = read(JOB, swap=changes)
    moves = plan_load(job, job.programs[0], "rail", shop).moves
    (said,) = stale(shop, tmp_path, write_program(moves, title="stale"))
    assert says in said
    assert "program 'grooves'" in said


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ("T1 M6 (SQ6)", ""),
        ("T1 M6", ""),
        ("T1 M6 (quarter inch)", ""),
        ("T2 M6 (SQ10)", "it uses cutter SQ10 (T2); it does not use SQ6"),
        ("T2 M6", "it uses cutter SQ10 (T2); it does not use SQ6"),
        ("T2 M6 (SQ6)", "it calls T2 SQ6, but SQ10 has that place in the rack"),
        ("T77 M6 (mystery)", "it calls a cutter that no place in the rack has; it does not use SQ6"),
    ],
)
def test_cutters_of_a_text_are_held_against_the_jobs(change, says, read, shop, tmp_path):
    moves = plan_load(read(JOB), read(JOB).programs[0], "rail", shop).moves
    text = write_program(moves, title="rail")
    assert "T1 M6 (SQ6)" in text
    said = stale(shop, tmp_path, text.replace("T1 M6 (SQ6)", change))
    assert [says in w for w in said] == ([True] if says else [])


def test_a_program_without_a_feed_has_no_time_and_says_so(shop, tmp_path):
    (tmp_path / "grooves.nc").write_text("G21 G90\nG1 X10\nG1 X20\nM2\n", encoding="utf-8")
    file = tmp_path / "box.toml"
    file.write_text(JOB.replace('station = "edge"', 'station = "edge"\nfile = "grooves.nc"'), encoding="utf-8")
    own = replace(shop, folder=tmp_path)
    e = estimate(open_job(file, own), own)
    assert e.programs[0].programmed is None
    assert e.programs[0].best == e.programs[0].planned > 0
    assert any("no feed is set" in w for w in e.warnings)


def test_a_refused_program_refuses_the_job_with_its_line(shop, tmp_path):
    (tmp_path / "grooves.nc").write_text("G21 G90\nG2 X10 Y10 I1 J99 F500\nM2\n", encoding="utf-8")
    file = tmp_path / "box.toml"
    file.write_text(JOB.replace('station = "edge"', 'station = "edge"\nfile = "grooves.nc"'), encoding="utf-8")
    own = replace(shop, folder=tmp_path)
    job = open_job(file, own)
    with pytest.raises(InputError) as caught:
        estimate(job, own)
    assert caught.value.faults[0].line == 2
    assert "grooves.nc" in caught.value.faults[0].file


def test_an_operation_that_cannot_be_done_is_placed_in_the_job_file(read, shop):
    job = read(JOB, swap=[('width = "1/4 in"\ndepth', 'width = "1/8 in"\ndepth')])
    with pytest.raises(InputError) as caught:
        estimate(job, shop)
    (fault,) = caught.value.faults
    assert fault.field == "parts[0].operations[0]"
    assert "narrower than the cutter" in str(fault)
    assert "rail" in str(fault)


@pytest.mark.parametrize(
    ("kind", "old", "new", "says"),
    [
        ("groove", 'depth = "6 mm"', 'depth = "23 mm"', "depth, 29/32 in, is more than the 7/8 in"),
        ("groove", 'width = "8 mm"', 'width = "8 mm"\nlength = "2 ft"', "length, 24 in, is more than the 20 in"),
        ("groove", 'width = "8 mm"', 'width = "8 mm"\ncount = 9', "width of all 9"),
        ("sink", 'width = "30 mm"', 'width = "3 in"', "width, 3 in, is more than the 2 1/2 in"),
        ("mortise", 'length = "45 mm"', 'length = "11 in"\ncount = 2', "length of all 2, 22 in"),
        ("bore", "count = 4", 'count = 4\nspacing = "9 in"', "row of holes"),
        ("cut out", 'rise = "20 mm"', 'rise = "3 in"', "rise, 3 in"),
        ("carve", 'depth = "6 mm"', 'depth = "3 in"', "depth, 3 in"),
        ("rebate", 'width = "9 mm"', 'width = "3 in"', "width, 3 in"),
        ("face", 'depth = "1 mm"', 'depth = "1 in"', "depth, 1 in"),
        ("raise", 'depth = "6 mm"', 'depth = "1 in"', "depth, 1 in"),
        ("raise", 'width = "20 mm"', 'width = "3 in"', "half the panel"),
        ("tenon", 'thickness = "9 mm"', 'thickness = "1 in"', "thickness"),
        ("incise", "Reed", "Reeds" + 8 * ", reeds", "and does not fit on 20 in x 2 1/2 in"),
    ],
)
def test_an_operation_larger_than_its_part_is_refused(kind, old, new, says, read, shop):
    assert old in OPERATION_TEXTS[kind]
    job = job_of(kind, read, swap=(old, new))
    with pytest.raises(InputError) as caught:
        estimate(job, shop)
    assert says in str(caught.value)
    assert caught.value.faults[0].field == "parts[0].operations[0]"


def test_a_job_made_by_hand_alone_needs_no_machine_hours(read, shop):
    start = JOB.index("[[parts.operations]]")
    text = JOB[:start] + JOB[JOB.index('[[parts]]\nid = "panel"') :].replace(
        '[[programs]]\nid = "grooves"\nstation = "edge"\n', ""
    )
    e = estimate(read(text), shop)
    assert e.machine_seconds == 0
    assert e.hours["machining"].best == e.hours["setup"].best == e.hours["programming"].best == 0
    p = price(e, shop)
    assert "nothing to run" in as_text(p)
    assert p.floor > 0
    assert "machine time" not in {line.name for line in p.lines}


def test_split_and_attended_share_are_within_bounds(shop):
    for name in ("reed-bed-chest", "garden-gates"):
        for t in estimate(open_job(shop.folder / "jobs" / f"{name}.toml", shop), shop).programs:
            assert t.cutting + t.moving + t.changing + t.standing == pytest.approx(t.best)
            assert 0 <= t.attended <= 1
            assert min(t.cutting, t.moving, t.changing, t.standing) >= 0


def test_wood_is_bought_rough_with_waste_and_sheets_by_area(read, shop):
    """By hand: eight rails of 21 x 2.75 in from four-quarter stock; two panels of plywood."""
    bought = {p.material: p for p in purchases(read(JOB), shop)}
    oak, sheet = bought["white-oak"], bought["birch-plywood"]
    assert oak.net == pytest.approx(8 * 21 * 2.75 * 1.0 / 144)
    assert oak.gross == pytest.approx(oak.net * (1 + shop.rates.waste["hardwood"]))
    assert sheet.net == pytest.approx(2 * 21 * 12.25 * 25.4**2 * 1e-6)
    assert sheet.unit == "m**2"


# --- every kind of operation -----------------------------------------------------------------------------------------

OPERATION_TEXTS = {
    "face": 'cutter = "SURF50"\ndepth = "1 mm"',
    "sink": 'cutter = "SQ6"\nlength = "60 mm"\nwidth = "30 mm"\ndepth = "6 mm"',
    "groove": 'cutter = "SQ6"\nwidth = "8 mm"\ndepth = "6 mm"',
    "rebate": 'cutter = "SQ12"\nwidth = "9 mm"\ndepth = "8 mm"',
    "cut out": 'cutter = "SQ12"\nrise = "20 mm"',
    "bore": 'cutter = "DR8"\ndiameter = "8 mm"\ndepth = "12 mm"\ncount = 4',
    "tenon": 'cutter = "SQ12L"\nlength = "30 mm"\nwidth = "45 mm"\nthickness = "9 mm"\nstub = "9 mm"\nhaunch = "12 mm"',
    "mortise": 'cutter = "SQ6"\nlength = "45 mm"\nwidth = "9 mm"\ndepth = "20 mm"',
    "raise": 'cutter = "BALL12"\nwidth = "20 mm"\ndepth = "6 mm"',
    "incise": 'cutter = "V60"\ntext = "Reed"\nheight = "20 mm"\nstop_depth = "1 mm"',
    "carve": 'cutter = "TB3"\nlength = "100 mm"\nwidth = "50 mm"\ndepth = "6 mm"',
}
LOWEST = {
    "face": 1,
    "sink": 6,
    "groove": 6,
    "rebate": 8,
    "bore": 12,
    "tenon": 30,
    "mortise": 20,
    "raise": 6,
    "incise": 1,
}


def job_of(kind, read, more="", swap=("", "")):
    station = "end" if kind == "tenon" else "flat"
    return read(
        JOB,
        swap=[
            ('kind = "groove"', f'kind = "{kind}"'),
            ('cutter = "SQ6"\nwidth = "1/4 in"\ndepth = "3/8 in"', OPERATION_TEXTS[kind].replace(*swap) + more),
            ('station = "edge"', f'station = "{station}"'),
        ],
    )


def test_there_is_a_text_for_every_kind():
    assert set(OPERATION_TEXTS) == set(OPERATION_RECORDS)


@pytest.mark.parametrize("kind", [k for k in OPERATION_TEXTS if k != "carve"])
def test_every_kind_is_planned_to_its_depth_and_lands_where_it_started(kind, read, shop):
    job = job_of(kind, read)
    plan = plan_load(job, job.programs[0], "rail", shop)
    low = float(plan.moves.points[:, 2].min())
    if kind == "cut out":
        assert low <= -22.225
    else:
        assert low == pytest.approx(-LOWEST[kind], abs=0.35 if kind == "raise" else 1e-6)
    assert plan.moves.cutting_length > 0
    assert plan.seconds_by_kind[kind] > 0
    assert plan.by_area == (0, 0, 0)
    assert math.isfinite(machine_time(plan.moves, job.machine).total_s)
    assert plan.moves.points[-1, 2] > 0


def test_a_relief_is_planned_by_area(read, shop):
    job = job_of("carve", read)
    plan = plan_load(job, job.programs[0], "rail", shop)
    assert plan.by_area == pytest.approx([0.005 * s for s in shop.rates.carving])
    e = estimate(job, shop)
    low, likely, high = plan.by_area
    assert e.programs[0].best == pytest.approx((low + 4 * likely + high) / 6)
    assert e.programs[0].by_area


def test_more_of_the_same_takes_longer(read, shop):
    one = estimate(job_of("mortise", read), shop).programs[0].planned
    three = estimate(job_of("mortise", read, "\ncount = 3"), shop).programs[0].planned
    assert three > 1.5 * one


@pytest.mark.parametrize("kind", [k for k in OPERATION_TEXTS if k != "carve"])
def test_a_cutter_is_run_within_its_mark_the_spindle_and_the_axes(kind, read, shop):
    job = job_of(kind, read)
    ((part, operation),) = job.operations("grooves", "rail")
    cutting = setting(operation, part, job.programs[0].station, job.machine, shop)
    cutter = cutting.cutter
    reserved = (1 - practice()["reserve"].value) * (cutter.marked_rpm or cutter.maker_rpm)
    assert cutting.rpm <= max(reserved, job.machine.spindle.min_rpm) <= (cutter.marked_rpm or cutter.maker_rpm)
    assert job.machine.spindle.min_rpm <= cutting.rpm <= job.machine.spindle.max_rpm
    assert cutting.feed <= min(job.machine.axes[0].feed, job.machine.axes[1].feed)
    assert cutting.plunge_feed <= job.machine.axes[2].feed
    assert cutting.depth_per_pass <= cutter.cutting_length
    per_tooth = cutting.feed / (cutting.rpm * cutter.flutes)
    assert mean_chip(per_tooth, cutter.true_diameter, cutter.true_diameter) <= shop.material("white-oak").chip_thick


def test_a_cutter_without_a_mark_turns_slowly_and_is_asked_about(read, shop):
    job = job_of("rebate", read, swap=("SQ12", "OLD12"))
    plan = plan_load(job, job.programs[0], "rail", shop)
    assert any("carries no greatest speed" in w for w in plan.warnings)
    assert plan.moves.rpm.max() <= practice()["unmarked_rpm"].value


def test_what_the_job_says_of_speed_and_feed_is_used_and_too_fast_is_said(read, shop):
    fast = read(JOB, swap=[('cutter = "SQ6"', 'cutter = "SQ6"\nrpm = "30000 rpm"\nfeed = "1 m/min"')])
    plan = plan_load(fast, fast.programs[0], "rail", shop)
    assert any("above the 24000" in w for w in plan.warnings)
    assert set(plan.moves.rpm[plan.moves.cutting]) == {30_000}
    assert max(plan.moves.feed[plan.moves.cutting]) == 1000


@pytest.mark.parametrize(
    ("own", "says"),
    [
        ('feed = "20 m/min"\nrpm = "20000 rpm"', "of machine 'router'"),
        ('feed = "11 m/min"', "cutter SQ6 bears by common practice"),
        ('rpm = "1000 rpm"', "is not a speed of machine 'router'"),
        ('feed = "4 m/min"\nrpm = "6000 rpm"', "cutter SQ6 bears by common practice"),
        ('depth_per_pass = "7 mm"', "is more than practice bears there (1/4 in, 100 % of the diameter)"),
        ('depth_per_pass = "26 mm"', "is over the cutting length of SQ6"),
    ],
)
def test_what_the_job_says_beyond_practice_or_machine_is_pointed_out(own, says, read, shop):
    job = read(JOB, swap=[('cutter = "SQ6"', f'cutter = "SQ6"\n{own}')])
    warnings = plan_load(job, job.programs[0], "rail", shop).warnings
    assert any(says in w and "part 'rail', groove" in w for w in warnings), warnings


def test_what_the_job_says_within_practice_is_taken_silently(read, shop):
    """4 % of 6.35 mm is 0.254 mm a tooth: 9144 mm/min at 18000 rev/min; 4 / 5.5 of 1/4 in is 4.62 mm deep."""
    own = 'cutter = "SQ6"\nfeed = "9144 mm/min"\nrpm = "18000 rpm"\ndepth_per_pass = "4.6 mm"'
    job = read(JOB, swap=[('cutter = "SQ6"', own)])
    assert not plan_load(job, job.programs[0], "rail", shop).warnings


@pytest.mark.parametrize("kind", [k for k in OPERATION_TEXTS if k != "carve"])
def test_suggested_feeds_and_speeds_are_figures_people_write(kind, read, shop):
    job = job_of(kind, read)
    cutting = setting(job.parts[0].operations[0], job.parts[0], job.programs[0].station, job.machine, shop)
    assert cutting.feed % 10 == cutting.plunge_feed % 10 == cutting.rpm % 100 == 0


@pytest.mark.parametrize("kind", ["mortise", "sink"])
def test_recesses_lie_where_the_job_says(kind, read, shop):
    """Two recesses 60 mm long at most, 100 and 300 mm from the reference end: nothing is cut elsewhere."""
    job = job_of(kind, read, more='\nfrom_end = ["100 mm", "300 mm"]')
    moves = plan_load(job, job.programs[0], "rail", shop).moves
    floor = moves.points[:, 2].min()  # higher levels hold ramps, whose ends lie anywhere along the recess
    deep = moves.points[1:][moves.cutting & (moves.points[1:, 2] < floor + 1e-9)][:, 0]
    assert job.parts[0].operations[0].count == 2
    for middle in (100, 300):
        here = deep[abs(deep - middle) < 30]
        assert (here.min() + here.max()) / 2 == pytest.approx(middle, abs=0.5)  # a lap may begin within a round end
    assert ((abs(deep - 100) < 30) | (abs(deep - 300) < 30)).all()


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ('\nfrom_end = ["10 mm"]', "from the end runs off the part"),
        ('\nfrom_end = ["505 mm"]', "from the end runs off the part"),
        ('\nfrom_end = ["100 mm", "140 mm"]', "run into each other"),
        ('\ncount = 3\nfrom_end = ["100 mm", "200 mm"]', "2 places for a count of 3"),
        ("\nfrom_end = []", ""),
        ("\nfrom_end = [100]", "unit"),
    ],
)
def test_places_that_cannot_be_are_refused(more, says, read, shop):
    with pytest.raises(InputError) as caught:
        estimate(job_of("mortise", read, more=more), shop)
    assert says in str(caught.value)
    assert caught.value.faults[0].field.startswith("parts[0].operations[0]")


def test_an_arch_may_be_shorter_than_its_side(read, shop):
    """20 in long with an arch of 12 in: the straight ends stay straight, the middle is hollowed by the rise."""
    job = job_of("cut out", read, more='\nspan = "12 in"')
    moves = plan_load(job, job.programs[0], "rail", shop).moves
    r = shop.cutter("SQ12").true_diameter / 2
    lower = moves.points[(moves.points[:, 2] < 0) & (moves.points[:, 1] < 30)]
    ends = lower[(lower[:, 0] > 0) & (lower[:, 0] < 4 * 25.4 - r)]
    arch = moves.arc_radius > 100
    assert moves.arc_radius[arch] == pytest.approx(((6 * 25.4) ** 2 + 20**2) / 40 - r, rel=1e-3)  # geometry
    assert (moves.arc_centre[:, 1] + moves.arc_radius)[arch] == pytest.approx(20 - r, abs=0.05)
    assert (ends[:, 1] <= 1e-6 - r).all()
    with pytest.raises(InputError, match="span"):
        estimate(job_of("cut out", read, more='\nspan = "21 in"'), shop)


def test_a_tenon_wants_its_rail_on_end_and_a_haunch_its_length(read, shop):
    job = job_of("tenon", read)
    part = job.parts[0]
    operation = part.operations[0]
    cutting = setting(operation, part, "end", job.machine, shop)
    with pytest.raises(InputError, match="on end"):
        operation_moves(operation, part, "flat", cutting)
    bare = operation.model_copy(update={"stub": 0.0})
    with pytest.raises(InputError, match="needs its length"):
        operation_moves(bare, part, "end", cutting)


def test_a_level_into_end_grain_is_as_deep_as_the_cutter_is_thick(read, shop):
    """Flutes peel there at the least force; lying flat the same cuts run across the grain and practice allows 3/4."""
    job = job_of("tenon", read)
    part = job.parts[0]
    end, flat = (setting(part.operations[0], part, s, job.machine, shop) for s in ("end", "flat"))
    assert end.depth_per_pass == pytest.approx(
        end.cutter.true_diameter / max(1, end.cutter.stick_out / end.cutter.true_diameter / 6)
    )
    assert flat.depth_per_pass == pytest.approx(0.75 * end.depth_per_pass)


def test_a_slender_cutter_is_planned_with_shallower_levels_because_it_bends(read, shop):
    """The same cutter with twice the stick-out, and one too long to bear more than a scrape."""
    job = job_of("groove", read)
    part, program = job.parts[0], job.programs[0]
    depths = []
    for out in (35, 90, 200):
        cutter = replace(shop.cutters["SQ6"], cutting_length=30.0, stick_out=float(out), overall_length=out + 20.0)
        other = replace(shop, cutters={**shop.cutters, "SQ6": cutter})
        depths.append(setting(part.operations[0], part, program.station, job.machine, other).depth_per_pass)
    assert depths == sorted(depths, reverse=True)
    assert depths[2] < 0.5 * depths[0]


def test_a_job_is_planned_no_deeper_than_tuning_says(read, shop):
    """One rule for both: what practice allows for the grain, less where the cutter bends or breaks."""
    job = job_of("tenon", read)
    part = job.parts[0]
    planned = setting(part.operations[0], part, "end", job.machine, shop)
    tuned = tune(planned.cutter, shop.material(part.material), job.machine, station="end", grain="end",
                 cut_depth=30.0, cut_width=9.0)  # fmt: skip
    bound = next(x.bound for x in tuned.limits if x.name == "sings")
    assert planned.depth_per_pass == pytest.approx(bound)


# --- lettering -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("sign", "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789&-.,'")
def test_every_letter_is_drawn_within_its_cell(sign):
    lines = letter_lines(sign, 60)
    assert all(len(line) >= 2 for line in lines)
    points = [p for line in lines for p in line]
    assert all(0 <= x <= 40 and 0 <= y <= 60 for x, y in points)
    assert all(math.dist(a, b) > 0 for line in lines for a, b in itertools.pairwise(line))


def test_letters_are_all_different_and_stand_side_by_side():
    drawn = {s: tuple(map(tuple, letter_lines(s, 6))) for s in "ABCDEFGHIJKLMNOPQRSTUVWXYZ"}
    assert len(set(drawn.values())) == 26
    assert max(x for line in letter_lines("REEDS", 30) for x, _ in line) <= lettering_width("REEDS", 30)


def test_signs_that_cannot_be_cut_are_refused():
    with pytest.raises(InputError, match="not in the alphabet"):
        letter_lines("REED?", 20)
    with pytest.raises(InputError, match="nothing to cut"):
        letter_lines("  ", 20)


def test_hours_said_for_each_piece_grow_with_the_quantity_and_those_for_the_job_do_not():
    shop = Shop.open()
    job = open_job(shop.folder / "jobs" / "reed-bed-chest.toml", shop)
    six = replace(job, quantity=6)
    assert estimate(six, shop).hours["finishing"].best == pytest.approx(6 * estimate(job, shop).hours["finishing"].best)
    gates = open_job(shop.folder / "jobs" / "garden-gates.toml", shop)
    fewer = replace(gates, quantity=3)
    assert estimate(fewer, shop).hours["delivery"].best == estimate(gates, shop).hours["delivery"].best == 9
