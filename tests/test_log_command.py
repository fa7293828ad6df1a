"""The command ``log`` as people use it, and what it logged in the quote of a job."""

import json
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import openpyxl
import pytest
from small_job import JOB

from shopcalc.cli import main
from shopcalc.jobs import estimate, open_job
from shopcalc.logged import job_with_log, logged_times, with_logged
from shopcalc.shop import Shop, copy_starter
from shopcalc.shoplog import ShopLog, TimeEntry

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def starter(tmp_path_factory):
    return copy_starter(tmp_path_factory.mktemp("shops") / "starter")


@pytest.fixture
def shop(starter, tmp_path):
    folder = tmp_path / "shop"
    shutil.copytree(starter, folder)
    (folder / "jobs" / "rails.toml").write_text(JOB, encoding="utf-8")
    return folder


@pytest.fixture
def run(shop, capsys):
    def runner(*arguments, where=shop):
        status = main(["log", *map(str, arguments), *(["--shop", str(where)] if where else [])])
        out, err = capsys.readouterr()
        assert "Traceback" not in out + err
        return status, out, err

    return runner


def done(result):
    status, out, err = result
    assert (status, err) == (0, "")
    return out


def refused(result, *words):
    status, out, err = result
    assert (status, out) == (2, "")
    for line in err.splitlines():
        assert line.startswith("shopcalc: ")
    for word in words:
        assert word in err
    return err


# --- the command -----------------------------------------------------------------------------------------------------


def test_a_day_at_the_machine(run):
    out = done(run("start", "--job", "rails", "--program", "gains", "--part", "long", "--load", 1, "--operator", "Ann"))
    assert out == "entry 1, Ann: started rails, gains, long, load 1: running\n"
    refused(run("start", "--job", "rails", "--operator", "Ann"), "Ann has a timer already", "--end-running")
    assert "running" in done(run("list", "--open"))
    assert "load 1" in done(run("stop", "--operator", "Ann", "--minutes", "3.4 min", "--minutes-standing", "20 s"))
    out = done(run("start", "--operator", "Ann"))  # nothing said: the next load of the same
    assert "gains, long, load 2" in out
    out = done(run("start", "--job", "rails", "--phase", "assembly", "--operator", "Ann", "--end-running"))
    assert out.splitlines()[0].startswith("entry 4, Ann: stopped rails, gains, long, load 2")
    assert "overlapping" in done(run("start", "--job", "rails", "--phase", "setup", "--operator", "Ann", "--beside"))
    refused(run("stop", "--operator", "Ann"), "2 timers", "--entry")
    done(run("stop", "--operator", "Ann", "--entry", 5, "--minutes", "2 h"))
    assert "undone: entry 7 of Ann, rails, assembly: 2 h 00 min\ncounts again: entry 5" in done(
        run("undo", "--operator", "Ann")
    )
    entries = json.loads(done(run("list", "--json", "--all")))["entries"]
    assert [e["kind"] for e in entries] == ["time"] * 7 + ["undo"]
    assert (entries[1]["time_s"], entries[1]["standing_s"], entries[1]["replaces"]) == (204.0, 20.0, 1)
    assert "entry 2, Ann: rails, gains, long, load 1: 5 min 00 s" not in done(run("list"))
    out = done(run("correct", 2, "--minutes", "5 min", "--operator", "Ann"))
    assert "5 min 00 s (was entry 2: rails, gains, long, load 1: 3 min 24 s)" in out
    refused(run("correct", 2, "--minutes", "6 min", "--operator", "Ann"), "replaced since by entry 9")
    refused(run("correct", 9, "--minutes", "5 min", "--operator", "Ann"), "nothing is said that differs")


def test_names_the_shop_does_not_know_are_kept_and_pointed_out(run):
    out = done(run("add", "--job", "rails", "--program", "gians", "--machine", "rooter", "--minutes", "1 min"))
    assert "look: job 'rails' has no program 'gians': did you mean 'gains'?" in out
    assert "look: this shop has no machine 'rooter': did you mean 'router'?" in out
    assert "did you mean 'rails'?" in done(run("add", "--job", "rials", "--minutes", "1 min"))
    out = done(run("add", "--job", "Two rails and a carved panel", "--program", "gains", "--minutes", "1 min"))
    assert "look" not in out  # the job's name is as good as its file's


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["add", "--job", "x", "--minutes", "3.4"], ["'--minutes'", "has no unit", '"3.4 min"']),
        (["add", "--job", "x", "--minutes", "-3 min"], ["below the least"]),
        (["add", "--job", "x", "--minutes", "3 mm"], ["not a time"]),
        (["add", "--minutes", "3 min"], ["says nothing of what was done"]),
        (["add", "--job", "x", "--minutes", "3 min", "--minutes-standing", "4 min"], ["stood for 240 s of 180 s"]),
        (["add", "--job", "x", "--minutes", "3 min", "--began", "yesterday"], ["not a date"]),
        (["start"], ["it is not said on what"]),
        (["stop"], ["no timer running"]),
        (["stop", "--entry", "7"], ["not a running timer"]),
        (["undo", "--operator", "Ann"], ["no entry to undo"]),
        (["cutter", "SQ13"], ["did you mean"]),
        (["cutter", "SQ12"], ["nothing is said of cutter SQ12"]),
        (["cutter", "SQ12", "--diameter", "0 mm"], ["'--diameter'"]),
        (["seen", "smell"], ["smell"]),
        (["quote", "none.toml", "--won"], ["no such file"]),
        (["quote", "jobs/rails.toml"], ["--won"]),
        (["import", "none.csv"], ["no such file"]),
        (["restore", "none.sqlite"], ["no such file"]),
        (["list"], ["nothing is logged yet"]),
        (["check"], ["nothing is logged yet"]),
        (["backup", "copy.sqlite"], ["nothing is logged yet"]),
    ],
    ids=lambda v: " ".join(v),
)  # fmt: skip
def test_what_cannot_be_is_refused_in_one_line(run, shop, arguments, words):
    refused(run(*arguments), *words)
    assert not (shop / "log.sqlite").exists() or "nothing" in run("list")[1]


def test_the_demo_keeps_no_log(run):
    refused(run("start", "--job", "reed-bed-chest", where=None), "shopcalc new my-shop", "--shop my-shop")
    assert not (ROOT / "data" / "log.sqlite").exists()


def test_cutters_observations_and_people(run):
    out = done(
        run("cutter", "SQ12", "--distance", "800 m", "--minutes", "95 min", "--regrind", "--diameter", "12.5 mm")
    )
    assert [line.split(": ")[1] for line in out.splitlines()[:2]] == ["cutter SQ12 cut", "cutter SQ12 reground"]
    done(run("cutter", "SQ12", "--retire", "chipped"))
    rows = json.loads(done(run("list", "--by", "cutter", "--json")))["rows"]
    assert [(r["edge"], r["distance"], r["diameter"], r["retired"]) for r in rows] == [
        (0, 8e5, None, None), (1, None, 12.5, "chipped"),
    ]  # fmt: skip
    done(run("seen", "size", "--size-off", "-0.2 mm", "--job", "rails", "--note", "tenon too thin"))
    done(run("operator", "Zoe"))
    assert ", Zoe: " in done(run("add", "--job", "rails", "--minutes", "1 min"))  # the only one who logs here
    assert "size: rails" in done(run("list", "--job", "rails"))


def test_tables_in_and_out(run, tmp_path):
    table = tmp_path / "times.csv"
    table.write_text("time,job,program,operator\n3.4 min,rails,gains,Ann\n3.4,rails,gains,Ann\n", encoding="utf-8")
    out = done(run("import", table, "--dry-run"))
    assert "row 2: taken: rails, gains: 3 min 24 s" in out
    assert f"{table}, row 3, 'time': '3.4' has no unit" in out
    assert "1 new, 0 known already, 1 refused: nothing would be taken" in out
    refused(run("import", table), "row 3")
    assert "nothing" in done(run("list"))
    assert "1 new, 0 known already, 1 refused: done" in done(run("import", table, "--good-rows"))
    assert "0 new, 1 known already" in done(run("import", table, "--good-rows"))
    done(run("add", "--job", "=1+1", "--program", "=2", "--minutes", "2 min", "--operator", "Ann"))
    for name in ("out.csv", "out.xlsx"):
        done(run("export", tmp_path / name))
        refused(run("export", tmp_path / name), "such a file already")
    refused(run("export", tmp_path / "out.ods"), ".csv or .xlsx")
    assert len((tmp_path / "out.csv").read_text().splitlines()) == 3
    sheet = openpyxl.load_workbook(tmp_path / "out.xlsx")["Times"]
    cells = [[c.value for c in row] for row in sheet.iter_rows()]
    assert cells[0][:4] == ["entry", "began", "minutes", "operator"]
    assert [row[2] for row in cells[1:]] == [pytest.approx(3.4), pytest.approx(2.0)]
    assert all(c.data_type != "f" for row in sheet.iter_rows() for c in row)
    done(run("backup", tmp_path / "copy.sqlite"))
    assert "2 entries, 0 timers run; whole" in done(run("check"))
    done(run("undo", "--operator", "Ann"))
    assert "2 entries are back" in done(run("restore", tmp_path / "copy.sqlite"))
    assert len(json.loads(done(run("list", "--json")))["entries"]) == 2


def test_starting_loads_nothing_heavy(shop):
    code = (
        "import sys\nfrom shopcalc.cli import main\n"
        "main(['log', 'start', '--job', 'rails', '--shop', sys.argv[1]])\n"
        "print([m for m in ('pandas', 'plotly', 'scipy.stats', 'jupyter', 'numba') if m in sys.modules])"
    )
    out = subprocess.run(
        [sys.executable, "-c", code, shop], capture_output=True, text=True, check=True, cwd=ROOT
    ).stdout
    assert out.splitlines()[-1] == "[]"


# --- the quote -------------------------------------------------------------------------------------------------------


def given(folder, *records):
    with ShopLog.of(folder) as log:
        for record in records:
            log.add(record, operator="Ann")


def test_logged_times_are_those_of_one_load(shop):
    given(
        shop,
        TimeEntry("rails", "gains", "long", seconds=100.0),
        TimeEntry("rails", "gains", "long", seconds=110.0, standing=10.0),
        TimeEntry("Two rails and a carved panel", "gains", "long", seconds=900.0),  # interrupted
        TimeEntry("rails", "gains", "long", seconds=200.0, loads=2),
        TimeEntry("rails", "gains", "long", phase="setup", seconds=5000.0),  # a person's, not the machine's
        TimeEntry("rails", "long-groove", "long", load=1, seconds=60.0),
        TimeEntry("rails", "long-groove", "long", load=1, seconds=30.0),
        TimeEntry("rails", phase="assembly", seconds=3600.0),
        TimeEntry("rails", phase="assembly", seconds=1800.0, done=True),
        TimeEntry("other", "gains", "long", seconds=7.0),
    )
    job = open_job(shop / "jobs" / "rails.toml", Shop.open(shop))
    with ShopLog.of(shop, writable=False) as log:
        times = logged_times(log, job)
    assert (times.programs["gains"].seconds, times.programs["gains"].count) == (100.0, 5)
    assert times.programs["gains"].mean == pytest.approx((100 + 100 + 900 + 100 + 100) / 5)
    assert (times.programs["long-groove"].seconds, times.programs["long-groove"].count) == (90.0, 1)
    assert times.phases == {"setup": 5000.0, "assembly": 5400.0}
    assert times.done == {"assembly"}


def test_parts_of_a_program_weigh_as_the_job_loads_them(shop):
    chest = open_job(shop / "jobs" / "reed-bed-chest.toml", Shop.open(shop))
    name = next(p.id for p in chest.programs if len({ld.part for ld in chest.loads if ld.program == p.id}) > 1)
    loads = {ld.part: ld.count for ld in chest.loads if ld.program == name}
    parts = list(loads)[:2]
    given(shop, *(TimeEntry("reed-bed-chest", name, p, seconds=s) for p, s in zip(parts, (60.0, 120.0), strict=True)))
    with ShopLog.of(shop, writable=False) as log:
        found = logged_times(log, chest).programs[name]
    weights = [loads[p] for p in parts]
    assert found.seconds == pytest.approx((60 * weights[0] + 120 * weights[1]) / sum(weights))
    assert set(found.without) == set(loads) - set(parts)


def test_what_was_logged_is_what_the_job_counts_with(shop):
    opened = Shop.open(shop)
    plain = open_job(shop / "jobs" / "rails.toml", opened)
    assert job_with_log(plain) is plain  # no log, nothing changes
    before = estimate(plain)
    given(
        shop,
        TimeEntry("rails", "gains", "long", seconds=777.0),
        TimeEntry("rails", phase="assembly", seconds=7200.0),
        TimeEntry("rails", phase="finishing", seconds=5400.0, done=True),
        TimeEntry("rails", "nothing", seconds=5.0),
    )
    after = estimate(job_with_log(plain))
    times = {t.program.id: t for t in after.programs}
    assert (times["gains"].logged, times["gains"].best) == (777.0, 777.0)
    assert all(t.logged is None for key, t in times.items() if key != "gains")
    assert (after.hours["finishing"].logged, after.hours["finishing"].best) == (1.5, 1.5)
    assert after.hours["assembly"] == before.hours["assembly"]  # not finished: its sum is not the whole
    told = "\n".join(after.warnings)
    assert "assembly: 2 h 00 min logged so far" in told
    assert "'gains': 12 min 57 s by the clock, from 1 load" in told
    assert "programs this job has not: nothing" in told
    gains = next(p for p in plain.programs if p.id == "gains").model_copy(update={"logged": 5.0})
    said = replace(plain, programs=tuple(gains if p.id == "gains" else p for p in plain.programs))
    with ShopLog.of(shop, writable=False) as log:
        kept = with_logged(said, log)
    assert next(p for p in kept.programs if p.id == "gains").logged == 5.0  # what the job's file says stays


def test_a_quote_is_kept_with_its_figures_and_compared(run, shop, capsys):
    job = shop / "jobs" / "rails.toml"
    out = done(run("quote", job, "--open"))
    assert "quote of two-rails-and-a-carved-panel: open" in out
    done(run("add", "--job", "rails", "--phase", "finishing", "--minutes", "20 h", "--done"))
    data = json.loads(done(run("quote", job, "--won", "--reason", "the carving", "--paid", "900 USD", "--json")))
    changed = {d["what"]: d["after"] for d in data["changed"]}
    assert changed["hours: finishing"] == 20.0
    assert "asked price" in changed
    rows = json.loads(done(run("list", "--by", "quote", "--json")))["rows"]
    assert [r["outcome"] for r in rows] == ["open", "won"]
    assert rows[1]["paid"] == 900.0
    assert main(["quote", str(job), "--shop", str(shop), "--json"]) == 0
    quoted = json.loads(capsys.readouterr().out)
    assert quoted["hours"]["finishing"]["logged"] == 20.0
    assert rows[1]["asked"] == quoted["price"]["asked"]
    refused(run("quote", job, "--lost", "--paid", "900 EUR"), "EUR")


def test_review_says_what_was_planned_logged_earned_and_due(run, shop, tmp_path):
    for arguments in (
        ("add", "--job", "rails", "--phase", "assembly", "--minutes", "60 min", "--done"),
        ("cutter", "SQ10", "--minutes", "100 min", "--regrind"), ("cutter", "SQ10", "--minutes", "120 min"),
        ("quote", shop / "jobs" / "rails.toml", "--won", "--paid", "5000 USD"),
    ):  # fmt: skip
        assert run(*arguments)[0] == 0
    text = done(run("review"))
    assert "SQ10" in text
    assert " due " in text
    assert "too few (1 of 5)" in text
    data = json.loads(done(run("review", "--job", "rails", "--json")))
    (earned,) = data["earned"]
    assert earned["paid"] == 5000.0
    assert "machining" in earned["missing"]
    hours = earned["hours"] + earned["open_hours"]
    left = 5000.0 - earned["bought_in"] - earned["machine_cost"]
    assert earned["per_hour"] == pytest.approx(left / hours, abs=0.01)
    assert next(c for c in data["compared"] if c["name"] == "assembly")["logged"] == 3600.0
    done(run("review", "--excel", tmp_path / "back.xlsx"))
    book = openpyxl.load_workbook(tmp_path / "back.xlsx")
    assert any("Cutters" in name for name in book.sheetnames)
    for file, words in (("back.xlsx", "already"), ("back.csv", "no kind of file")):
        status, out, err = run("review", "--excel", tmp_path / file)
        assert (status, out) == (2, "")
        assert words in err
