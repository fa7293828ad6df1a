"""The command ``calibrate`` and what it keeps. The logged times are simulated: no machine was timed for these tests."""

import json
import shutil
from dataclasses import replace

import numpy as np
import pytest
from refusals import faults_of

from shopcalc.calibration import factors_of, with_factors
from shopcalc.cli import main
from shopcalc.gcode import read_program
from shopcalc.jobs import estimate, open_job
from shopcalc.machines_learned import (
    FIELDS,
    LearnedField,
    MachineVersion,
    applied,
    forget,
    keep,
    latest,
    read_versions,
    value_of,
)
from shopcalc.motion import machine_time
from shopcalc.quote.pricing import _machining_sigma
from shopcalc.shop import Shop, copy_starter, demo_folder

ROUTER = Shop.open().machine("router")
TRUTH = with_factors(ROUTER, factors_of(ROUTER), np.log([0.6, 1.0, 0.8, 0.5, 0.9, 1.5, 1.2, 0.94]))
NAMES = ("panels", "lid-faces", "lid-lettering", "curved-rail", "rail-ends", "muntin-ends", "bottom", "gate-rail-ends")
FOUND = (
    LearnedField("axes.x.acceleration", 500.0, 800.0, 450.0, 560.0), LearnedField("feed_share", 0.95, 1.0, 0.9, 1.0),
    LearnedField("controller.jerk", 9000.0, np.inf, 7000.0, 12000.0),
)  # fmt: skip


@pytest.fixture
def shop(tmp_path):
    return copy_starter(tmp_path / "shop")


@pytest.fixture
def times(tmp_path):
    """Eight programs as a watch would show them on a machine that differs from the record."""
    rows = ["program,time,note"]
    for name in NAMES:
        seconds = machine_time(read_program(demo_folder() / "programs" / f"{name}.nc").moves, TRUTH).total_s
        rows.append(f"{name},{int(seconds // 60)} min {round(seconds % 60)} s,simulated")
    path = tmp_path / "times.csv"
    path.write_text("\n".join(rows) + "\n")
    return path


def said(capsys, *words):
    status = main([str(w) for w in words])
    return status, capsys.readouterr()


def test_what_was_found_is_shown_kept_used_said_and_taken_back(shop, times, capsys):
    ask = ("calibrate", "--machine", "router", "--times", times, "--shop", shop)
    panels = shop / "programs" / "panels.nc"
    status, shown = said(capsys, *ask)
    assert status == 0
    assert "nothing is kept" in shown.out
    assert "cutter change and spindle start cannot be told apart" in shown.out
    assert "time next: " in shown.out
    assert not (shop / "machines-learned.csv").exists()
    _, before = said(capsys, "time", panels, "--shop", shop, "--json")
    status, shown = said(capsys, *ask, "--keep", "--date", "2026-03-02")
    assert status == 0
    assert "used from now on" in shown.out
    machine = Shop.open(shop).machine("router")
    assert machine.calibrated == "2026-03-02"
    assert "8 runs of 8 programs, times.csv" in machine.source
    assert machine.axes[0].acceleration == pytest.approx(480, rel=0.15)
    _, after = said(capsys, "time", panels, "--shop", shop, "--json")  # what was remembered before is not used
    true = machine_time(read_program(panels).moves, TRUTH).total_s
    assert json.loads(after.out)["time_s"] == pytest.approx(true, rel=0.01)
    assert json.loads(before.out)["time_s"] < 0.95 * true
    assert "calibrated 2026-03-02" in said(capsys, "time", panels, "--shop", shop)[1].out
    assert "calibrated 2026-03-02" in said(capsys, "quote", shop / "jobs" / "garden-gates.toml", "--shop", shop)[1].out
    status, shown = said(capsys, "calibrate", "--machine", "router", "--forget", "--shop", shop)
    assert status == 0
    assert "as machines.toml says" in shown.out
    assert Shop.open(shop).machine("router") == Shop.open().machine("router")
    assert "# forgotten: 1" in (shop / "machines-learned.csv").read_text()
    assert said(capsys, "time", panels, "--shop", shop, "--json")[1].out == before.out


def test_json_is_one_document_with_everything_that_is_shown(shop, times, capsys):
    status, shown = said(capsys, "calibrate", "--machine", "router", "--times", times, "--shop", shop, "--json")
    got = json.loads(shown.out)
    assert status == 0
    assert {p["program"] for p in got["programs"]} == set(NAMES)
    assert all(abs(p["error_after"]) < 0.02 < abs(p["error_before"]) for p in got["programs"])
    assert ["cutter_change", "spindle_start"] in got["not_told_apart"]
    assert all(f["low"] <= f["value"] <= f["high"] for f in got["factors"])
    assert got["next"][0]["sigma_after"] < got["next"][0]["sigma_before"]
    assert got["kept"] is None
    assert 0 < got["spread"] < 0.03


def test_times_come_from_the_shops_log(shop, times, capsys):
    for line in times.read_text().splitlines()[1:]:
        program, time, _ = line.split(",")
        minutes, _, seconds, _ = time.split()
        status, shown = said(
            capsys, "log", "add", "--job", "reed-bed-chest", "--program", program, "--machine", "router", "--operator",
            "Kim", "--minutes", f"{60 * int(minutes) + int(seconds)} s", "--shop", shop,
        )  # fmt: skip
        assert status == 0, shown.err
    status, shown = said(capsys, "calibrate", "--machine", "router", "--shop", shop, "--json")
    assert status == 0, shown.err
    logged = json.loads(shown.out)
    assert "the shop's log" in logged["source"]
    table = json.loads(
        said(capsys, "calibrate", "--machine", "router", "--times", times, "--shop", shop, "--json")[1].out
    )
    assert [f["value"] for f in logged["factors"]] == pytest.approx([f["value"] for f in table["factors"]], rel=1e-6)


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        (("--machine", "ruter"), "did you mean 'router'?"),
        (("--machine", "router"), "nothing is logged yet"),
        (("--machine", "router", "--forget"), "nothing is kept of machine 'router'"),
        (("--machine", "router", "--forget", "--keep"), "--forget stands alone"),
        (("--machine", "router", "--date", "May"), "write it as"),
        (("--machine", "router", "--times", "none.csv"), "there is no such file"),
    ],
)
def test_what_cannot_be_done_is_refused_in_one_line(shop, words, wanted, capsys):
    status, shown = said(capsys, "calibrate", *words, "--shop", shop)
    assert status == 2
    assert wanted in shown.err
    assert shown.err.count("\n") == 1
    assert not shown.out


def test_programs_that_are_not_there_are_all_named_and_nothing_is_kept(shop, tmp_path, capsys):
    table = tmp_path / "t.csv"
    table.write_text("program,time\npanel,300 s\nlid-face,200 s\npanels,10 min\n")
    status, shown = said(capsys, "calibrate", "--machine", "router", "--times", table, "--keep", "--shop", shop)
    assert status == 2
    assert "row 2" in shown.err
    assert "did you mean 'panels'?" in shown.err
    assert "row 3" in shown.err
    assert not (shop / "machines-learned.csv").exists()


# --- the file --------------------------------------------------------------------------------------------------------


def test_versions_are_only_added_and_the_newest_counts(tmp_path):
    path = tmp_path / "machines-learned.csv"
    keep(path, "router", FOUND, date="2026-03-02", source="a")
    first = path.read_text()
    keep(path, "small-router", FOUND[1:], date="2026-03-03", source="b")
    keep(path, "router", (LearnedField("axes.x.acceleration", 520.0, 800.0),), date="2026-04-01", source="c")
    assert path.read_text().startswith(first)
    versions = read_versions(path)
    assert [(v.number, v.machine) for v in versions] == [(1, "router"), (2, "small-router"), (3, "router")]
    assert applied(ROUTER, latest(versions, "router")).axes[0].acceleration == 520.0
    assert forget(path, "router").number == 3
    assert latest(read_versions(path), "router").fields == FOUND
    assert forget(path, "router").number == 1
    assert latest(read_versions(path), "router") is None
    assert keep(path, "router", FOUND, date="2026-05-01", source="d").number == 4  # no number is given twice
    assert len(path.read_text().splitlines()) == 1 + 3 + 2 + 1 + 3


def test_every_figure_that_can_be_learned_is_written_and_read_back(tmp_path):
    machine = Shop.open().machine("small-router")
    fields = [LearnedField("spread", 0.02)]
    for name in FIELDS:
        recorded = None if name == "spread" else value_of(machine, name)
        if isinstance(recorded, str):
            fields.append(LearnedField(name, "speed", recorded))
        elif recorded is not None and np.isfinite(recorded):
            fields.append(LearnedField(name, 1.25 * recorded, recorded, recorded, 2 * recorded))
    version = keep(tmp_path / "m.csv", machine.name, fields, date="2026-03-02", source="a")
    changed = applied(machine, version)
    for f in fields:
        if f.name != "spread":
            assert value_of(changed, f.name) == (pytest.approx(f.value) if isinstance(f.value, float) else f.value)
    assert version.spread == pytest.approx(0.02)


def test_a_figure_whose_record_was_changed_since_stays_as_the_record_says(tmp_path):
    version = keep(tmp_path / "m.csv", "router", FOUND, date="2026-03-02", source="a")
    x = ROUTER.axes[0]
    newer = ROUTER.with_(axes=(type(x)(x.rapid, x.feed, 900.0, x.travel), *ROUTER.axes[1:]))
    got = applied(newer, version)
    assert got.axes[0].acceleration == 900.0
    assert got.feed_share == 0.95
    assert got.controller.jerk == 9000.0
    own = ROUTER.with_(controller=replace(ROUTER.controller, jerk=5000.0))  # the record says it now
    assert applied(own, version).controller.jerk == 5000.0
    assert "without axes.x.acceleration" in got.source


def test_every_fault_of_the_file_is_placed_and_a_shop_with_one_does_not_open(tmp_path):
    path = tmp_path / "machines-learned.csv"
    head = "version,date,machine,name,value,record,low,high,source\n"
    path.write_text(
        head + "1,2026-03-02,router,axes.x.accelerate,5 mm/s^2,,,,\n1,2026-13-02,router,feed_share,95 %,,,,\n"
        "2,2026-03-02,router,feed_share,95,,,,\n3,2026-03-02,router,controller.chord_curvature,always,,,,\n"
    )
    faults = faults_of(read_versions, path)
    assert {(f.row, f.field) for f in faults} == {(2, "name"), (3, "date"), (4, "value"), (5, "value")}
    before = path.read_text()
    faults_of(lambda: keep(path, "router", FOUND, date="2026-03-02", source="a"))
    assert path.read_text() == before
    shop = tmp_path / "shop"
    shutil.copytree(demo_folder(), shop)
    shutil.copy(path, shop)
    assert len(faults_of(Shop.open, shop)) == 4


def test_nothing_is_left_behind_where_the_file_cannot_be_written(tmp_path):
    (tmp_path / "m.csv").mkdir()
    faults_of(lambda: keep(tmp_path / "m.csv", "router", FOUND, date="2026-03-02", source="a"))
    assert [p.name for p in tmp_path.iterdir()] == ["m.csv"]
    faults_of(lambda: keep(tmp_path / "no" / "m.csv", "router", FOUND, date="2026-03-02", source="a"))


def test_what_is_left_is_the_machining_spread_of_programs_that_exist():
    shop = Shop.open()
    job = estimate(open_job(demo_folder() / "jobs" / "garden-gates.toml", shop), shop)
    version = MachineVersion(1, "2026-03-02", "router", (LearnedField("spread", 0.03),))
    calibrated = applied(ROUTER, version)
    assert calibrated.spread == 0.03
    usual = shop.rates.spread["machining"]

    def sigma(programmed):
        made = [p.planned if k in programmed else None for k, p in enumerate(job.programs)]
        programs = tuple(replace(p, programmed=t) for p, t in zip(job.programs, made, strict=True))
        seconds = [p.best * p.loads for p in programs]
        share = sum(s for s, t in zip(seconds, made, strict=True) if t) / sum(seconds)
        changed = replace(job, programs=programs, job=replace(job.job, machine=calibrated))
        return _machining_sigma(changed, shop), share

    assert _machining_sigma(job, shop) == usual
    assert sigma(())[0] == usual
    assert sigma(range(len(job.programs)))[0] == pytest.approx(0.03)
    got, share = sigma((0, 1))
    assert 0 < share < 1
    assert got == pytest.approx(share * 0.03 + (1 - share) * usual)
