"""Test cuts at the command line: what is written can be run and read, what is kept counts, what is wrong is refused."""

import csv
import datetime
import json
import shlex
import shutil

import pytest

from shopcalc.cli import main
from shopcalc.cutting.force import Load, coefficients
from shopcalc.cutting.grain import grain_vector
from shopcalc.gcode import read_program
from shopcalc.moves import Kind, Stop
from shopcalc.shop import Shop, copy_starter, demo_folder

PLACE = ["--cutter", "SQ12", "--material", "white-oak", "--machine", "router"]
SCRAPS = {"flat": "12 in x 6 in x 1 1/2 in", "end": "400 mm x 160 mm x 40 mm"}
SIZES = {"flat": (304.8, 152.4, 38.1), "end": (400.0, 160.0, 40.0)}
READINGS = ["--slot", "12.60 mm", "--climb", "10.14 mm", "--conventional", "10.02 mm"]
TUNE = [
    "tune", *PLACE, "--station", "flat", "--grain", "along", "--cut-depth", "1/2 in", "--cut-width", "12.7 mm",
    "--in-solid", "--json",
]  # fmt: skip


@pytest.fixture
def run(capsys):
    """Run a command in this process: status, standard output, standard error; never a traceback."""

    def runner(*arguments):
        status = main([str(a) for a in arguments])
        out, err = capsys.readouterr()
        assert "Traceback" not in out + err
        assert "fault of shopcalc itself" not in err
        return status, out, err

    return runner


@pytest.fixture
def done(run):
    """A command that must succeed, its output as text or as a document."""

    def runner(*arguments):
        status, out, err = run(*arguments)
        assert (status, err) == (0, "")
        return json.loads(out) if "--json" in arguments else out

    return runner


@pytest.fixture
def refused(run):
    """A command that must be refused, one line each with what and a remedy; what it said."""

    def runner(*arguments):
        status, out, err = run(*arguments)
        assert status == 2
        assert not out
        for line in err.splitlines():
            assert line.startswith("shopcalc: ")
            assert ": " in line.removeprefix("shopcalc: ")
        return err

    return runner


@pytest.fixture(scope="module")
def starter(tmp_path_factory):
    return copy_starter(tmp_path_factory.mktemp("starter") / "shop")


@pytest.fixture
def shop(starter, tmp_path):
    """A shop of one's own that may learn."""
    return shutil.copytree(starter, tmp_path / "shop")


def made(action, station="flat", **options):
    """Arguments of a test, behind ``testcut`` or ``testcut read``."""
    given = {"station": station, "scrap": SCRAPS[station], "depth": "1/4 in", **options}
    return [action, *PLACE, *(w for k, v in given.items() for w in (f"--{k}", str(v)))]


def files_in(folder):
    return {p.name: p.read_bytes() for p in folder.iterdir()}


# --- writing ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("action", ["fit", "ladder"])
@pytest.mark.parametrize("station", ["flat", "end"])
@pytest.mark.parametrize("width", [None, "5 mm"])
def test_the_program_written_is_timed_and_stays_in_the_scrap(action, station, width, done, tmp_path):
    more = {} if width is None else {"width": width}
    data = done("testcut", *made(action, station, out=tmp_path, **more), "--json")
    program = data["written"][0]
    entry = done("time", program, "--machine", "router", "--json")["programs"][0]
    assert [w["word"] for w in entry["warnings"] if "for a person" not in w["message"]] == []
    assert entry["time_s"] == pytest.approx(data["time_s"], rel=0.01)
    moves = read_program(program, Shop.open().machine("router")).moves
    radius, (length, wide, thick) = 12.66 / 2, SIZES[station]
    along, across = (0, 1) if station == "flat" else (1, 0)
    size = {0: length if station == "flat" else wide, 1: wide if station == "flat" else thick}
    cutting = moves.points[1:][moves.cutting]
    assert cutting[:, across].min() - radius > 0
    assert cutting[:, across].max() + radius < size[across]
    assert cutting[:, along].min() - radius > -2 * radius - 3  # the run-in beside the wood
    assert cutting[:, along].max() + radius < size[along] + 2 * radius + 3
    assert moves.points[:, 2].min() >= -6.351
    assert moves.points[:, 2].min() <= -6.33 or data["setting"]["levels"] > 1


def test_what_was_written_is_said_with_what_to_do_next(done, tmp_path):
    text = done("testcut", *made("fit", out=tmp_path))
    assert len(text.splitlines()) == 5
    assert set(files_in(tmp_path)) == {f"three-cut-fit-SQ12{e}" for e in (".nc", "-sheet.html", ".json")}
    for name in ("three-cut-fit-SQ12.nc", "three-cut-fit-SQ12-sheet.html"):
        assert str(tmp_path / name) in text
    assert "cautions" in text
    command = text.splitlines()[-1].removeprefix("Then: shopcalc ").replace("READING", "10 mm")
    again = shlex.split(command.split(" --slot")[0])
    assert "diameter" in done(*again, *READINGS)


def test_a_ladder_goes_up_to_the_tuned_setting_and_stops_after_each_rung(done, tmp_path):
    data = done("testcut", *made("ladder", out=tmp_path, steps=4), "--json")
    rungs = data["rungs"]
    assert len(rungs) == 4
    assert data["left_out"] == 0
    feeds = [r["feed"] for r in rungs]
    assert feeds == sorted(feeds)
    assert feeds[-1] == pytest.approx(data["setting"]["feed_mm_min"], abs=1)
    assert 0.35 < feeds[0] / feeds[-1] < 0.75
    moves = read_program(data["written"][0], Shop.open().machine("router")).moves
    assert ((moves.kind == Kind.STOP) & (moves.value == Stop.PROGRAM_STOP)).sum() == 4
    for r in rungs:
        assert r["hard_share"] <= 1


def test_a_ladder_never_passes_a_hard_bound_however_hard_it_is_asked_for(done, tmp_path):
    """The router feeds 12 m/min at most: rungs beyond are left out and said so."""
    data = done("testcut", *made("ladder", out=tmp_path, steps=6, feed="20 m/min"), "--json")
    assert data["left_out"] > 0
    assert max(r["feed"] for r in data["rungs"]) <= 12000
    text = done("testcut", *made("ladder", out=tmp_path, steps=6, feed="20 m/min"))
    assert "left out" in text


def test_given_speed_and_feed_replace_the_tuned_ones(done, tmp_path):
    data = done("testcut", *made("fit", out=tmp_path, rpm="14000 rpm", feed="4 m/min"), "--json")
    assert data["setting"]["rpm"] == 14000
    assert data["setting"]["feed_mm_min"] == 4000
    moves = read_program(data["written"][0], Shop.open().machine("router")).moves
    assert moves.feed[moves.cutting].max() == pytest.approx(4000)


def test_the_sheet_speaks_the_system_that_was_asked_for(done, tmp_path):
    done("testcut", *made("fit", out=tmp_path, system="metric"))
    sheet = (tmp_path / "three-cut-fit-SQ12-sheet.html").read_text(encoding="utf-8")
    assert "12.66 mm" in sheet
    done("testcut", "--system", "inch", *made("fit", out=tmp_path))
    assert "0.4985 in" in (tmp_path / "three-cut-fit-SQ12-sheet.html").read_text(encoding="utf-8")


def test_own_files_are_overwritten_but_no_others(done, refused, tmp_path):
    done("testcut", *made("fit", out=tmp_path))
    first = files_in(tmp_path)
    done("testcut", *made("fit", out=tmp_path))
    assert files_in(tmp_path) == first
    program = tmp_path / "three-cut-fit-SQ12.nc"
    program.write_bytes(program.read_bytes() + b"(changed by hand)\n")
    before = files_in(tmp_path)
    said = refused("testcut", *made("fit", out=tmp_path))
    assert str(program) in said
    assert "--out" in said
    assert files_in(tmp_path) == before


@pytest.mark.parametrize("name", ["three-cut-fit-SQ12.nc", "three-cut-fit-SQ12-sheet.html", "three-cut-fit-SQ12.json"])
def test_somebody_elses_file_stays(name, refused, tmp_path):
    (tmp_path / name).write_text("mine", encoding="utf-8")
    assert name in refused("testcut", *made("fit", out=tmp_path))
    assert files_in(tmp_path) == {name: b"mine"}


# --- reading and keeping ---------------------------------------------------------------------------------------------


def test_a_fit_is_kept_used_and_taken_back(done, refused, shop, tmp_path):
    tune = ["tune", *PLACE, "--station", "flat", "--grain", "along", "--cut-depth", "1/4 in", "--cut-width", "12.63 mm",
            "--in-solid", "--json"]  # fmt: skip
    out = tmp_path / "out"
    done("testcut", *made("fit", out=out, shop=shop))
    assert Shop.open(shop).cutter("SQ12").true_diameter == 12.66
    assert "wider than the slot" in refused(*tune, "--shop", shop)
    data = done("testcut", "read", *made("fit", out=out, shop=shop), *READINGS, "--keep", "--json")
    assert data["true_diameter"] == pytest.approx(12.60)
    assert len(data["kept"]) == 3
    assert Shop.open(shop).cutter("SQ12").true_diameter == pytest.approx(12.60)
    assert done(*tune, "--shop", shop)["runnable"]  # the cutter fits now
    rows = done("testcut", "learned", "--shop", shop, "--json")
    assert [r["counts"] for r in rows] == ["yes"] * 3
    assert rows[0]["date"] == datetime.date.today().isoformat()
    gone = done("testcut", "forget", "--shop", shop, "--json")
    assert {r["name"] for r in gone} == {"true_diameter", "push_off_climb", "push_off_conventional"}
    assert Shop.open(shop).cutter("SQ12").true_diameter == 12.66
    assert "wider than the slot" in refused(*tune, "--shop", shop)
    assert done("testcut", "learned", "--shop", shop, "--json") == []


def test_readings_are_judged_by_geometry(done, tmp_path):
    """Tongue N + A - D + 2 e with the programmed diameter A and the true one D, so e = (tongue - N - A + D) / 2."""
    data = done("testcut", "read", *made("fit", system="metric"), *READINGS, "--json")
    assert data["push_off_climb"] == pytest.approx((10.14 - 10 - 12.66 + 12.60) / 2, abs=1e-9)
    assert data["push_off_conventional"] == pytest.approx((10.02 - 10 - 12.66 + 12.60) / 2, abs=1e-9)
    assert "take 0.07 mm more off each cheek" in data["corrections"]["climbing"]
    assert "leave it" in data["corrections"]["conventional"]
    text = done("testcut", "read", *made("fit", system="metric"), *READINGS)
    assert "12.60 mm" in text
    assert "0.02 mm dug into each wall" in text
    assert "the sheet says 12.66 mm" in text


def test_a_reading_belongs_to_the_test_that_was_cut_whatever_was_learned_since(done, refused, shop, tmp_path):
    """Kept once, the diameter is another one: the record still knows what the program took."""
    out = tmp_path / "out"
    done("testcut", *made("fit", out=out, shop=shop))
    read = ["testcut", "read", *made("fit", out=out, shop=shop), *READINGS]
    first = done(*read, "--keep", "--json")
    again = done(*read, "--json")
    assert first["kept"]
    for name in ("true_diameter", "push_off_climb", "push_off_conventional", "assumed_diameter"):
        assert again[name] == pytest.approx(first[name], abs=1e-12)
    assert "kept already" in refused(*read, "--keep")


def test_a_ladder_is_read_from_its_record(done, shop, tmp_path):
    out = tmp_path / "out"
    for station, width in (("flat", {}), ("end", {"width": "5 mm"})):
        rungs = done("testcut", *made("ladder", station, out=out, shop=shop, **width), "--json")["rungs"]
        done("testcut", "read", *made("fit", station, shop=shop), *READINGS, "--keep")  # the shop changes meanwhile
        read = ["testcut", "read", *made("ladder", station, out=out, shop=shop, **width)]
        data = done(*read, "--results", "ok, ok,torn", "--keep", "--json")
        assert {k: v for k, v in data["last_good"].items() if k != "lane"} == rungs[1]
        assert data["first_bad"]["feed"] == rungs[2]["feed"]
        assert data["why"] == "torn"
        kept = {r["name"]: r["value"] for r in data["kept"]}
        assert kept["greatest_feed_per_tooth"] == pytest.approx(rungs[1]["feed_per_tooth"])
        for _ in range(2):
            done("testcut", "forget", "--shop", shop)
    text = done("testcut", "read", *made("ladder", out=tmp_path / "none" / "..", shop=shop)[:-4], "--results", "burnt")
    assert "burning" in text


def test_nothing_is_kept_of_a_ladder_without_a_good_rung(done, shop):
    text = done("testcut", "read", *made("ladder", shop=shop), "--results", "burnt", "--keep")
    assert "no rung was good" in text
    assert not (shop / "learned.csv").exists()


def test_the_demo_shop_learns_nothing_unless_it_is_named(refused, done, shop):
    before = set(demo_folder().iterdir())
    for read in (
        [*made("fit"), *READINGS],
        [*made("ladder"), "--results", "ok"],
        ["power", *PLACE, "--station", "flat", "--csv", "none.csv"],
        ["push-off", *PLACE, "--station", "flat", "--csv", "none.csv"],
    ):
        said = refused("testcut", "read", *read, "--keep")
        assert "shopcalc new" in said
        assert "--keep" in said
    assert "shopcalc new" in refused("testcut", "forget")
    assert set(demo_folder().iterdir()) == before


def test_a_regrind_makes_a_row_history(done, refused, shop, tmp_path):
    out = tmp_path / "out"
    done("testcut", *made("fit", out=out, shop=shop))
    done("testcut", "read", *made("fit", out=out, shop=shop), *READINGS, "--keep", "--date", "2024-03-02")
    table = shop / "cutters.csv"
    table.write_text(table.read_text(encoding="utf-8").replace("12.66 mm,1,3", "12.66 mm,2,3"), encoding="utf-8")
    rows = done("testcut", "learned", "--shop", shop, "--json")
    assert [r["counts"] for r in rows] == ["no: SQ12 is at regrind 2 now"] * 3
    assert "2024-03-02" in done("testcut", "learned", "--shop", shop)
    assert "regrind" in refused("testcut", "read", *made("fit", out=out, shop=shop), *READINGS)


def test_only_the_newest_row_counts(done, shop):
    for day, slot in (("2024-03-02", "12.60 mm"), ("2024-03-01", "12.62 mm")):
        readings = ["--slot", slot, *READINGS[2:]]
        done("testcut", "read", *made("fit", shop=shop), *readings, "--keep", "--date", day)
    rows = done("testcut", "learned", "--shop", shop, "--json")
    assert [r["counts"] for r in rows] == ["yes"] * 3 + ["no: a newer one counts"] * 3
    assert Shop.open(shop).cutter("SQ12").true_diameter == pytest.approx(12.60)


# --- force -----------------------------------------------------------------------------------------------------------


def power_table(path, factor, *, idle=250.0):
    """Readings of a spindle in wood that asks for ``factor`` times the likely force; written in inches and hp."""
    here = Shop.open()
    cutter, wood = here.cutter("SQ12"), coefficients(here.material("white-oak"))["likely"]
    with path.open("w", encoding="utf-8", newline="") as f:
        out = csv.writer(f)
        out.writerow(["rpm", "feed", "width", "depth", "direction", "spindle_power", "idle_power"])
        for feed in (3000.0, 6000.0, 11000.0):
            load = Load(cutter, wood, grain_vector("flat"), 6.35, 8.0, "climb")
            edge, chip = load.mean_torque
            watt = idle + factor * (edge + chip * feed / (18000 * 2)) * 2 * 3.141592653589793 * 18000 / 60000
            words = ["18000 rpm", f"{feed / 25.4} in/min", "1/4 in", "8 mm", "climb", f"{watt / 1000} kW", f"{idle} W"]
            out.writerow(words)
    return path


def test_learned_power_is_found_again_and_tuned_with(done, shop, tmp_path):
    """The wood is made 1.4 times as hard as the tables say; tuning then has that force, and names the shop and day."""
    table = power_table(tmp_path / "power.csv", 1.4)
    before = done(*TUNE, "--shop", shop)
    read = ["testcut", "read", "power", *PLACE, "--station", "flat", "--csv", table, "--shop", shop]
    assert "Nothing is kept" in done(*read)
    data = done(*read, "--keep", "--date", "2024-03-02", "--json")
    assert data["force_factor"] == pytest.approx(1.4, rel=1e-6)
    assert data["chip_factor"] == pytest.approx(1.4, rel=1e-6)
    assert data["residual"] == pytest.approx(0, abs=1e-6)
    assert data["kept"][0]["name"] == "force_factor"
    assert data["words"]
    after = done(*TUNE, "--shop", shop)

    def limit(setting, name):
        return next(x for x in setting["limits"] if x["name"] == name)

    for name in ("stalls", "breaks", "slips", "bends"):
        assert "this shop, 2024-03-02" in limit(after, name)["source"]
        assert "this shop" not in limit(before, name)["source"]
    same = ("rpm", "feed_mm_min", "levels", "side_steps", "direction")
    assert [before[k] for k in same] == [after[k] for k in same]  # chip and speed bind here, not force
    assert limit(after, "stalls")["value"] == pytest.approx(1.4 * limit(before, "stalls")["value"], rel=1e-6)
    relaxed = done(*TUNE, "--shop", shop, "--relax", "--wear", "50 %")
    assert not any(r["change"] == "a sharp edge" for r in relaxed["relaxations"])
    other = [w.replace("white-oak", "eastern-white-pine") for w in TUNE]
    assert all("this shop" not in x["source"] for x in done(*other, "--shop", shop)["limits"])
    done("testcut", "forget", "--shop", shop)
    assert done(*TUNE, "--shop", shop) == before


def test_test_cuts_keep_to_the_learned_force_too(done, shop, tmp_path):
    """On the weak spindle a harder wood takes more of the hard bound, and ends the ladder sooner."""
    setting = {"depth": "12 mm", "feed": "4.9 m/min", "rpm": "9000 rpm", "steps": 7}
    asked = {"shop": shop, "machine": "small-router", **setting}
    before = done("testcut", *made("ladder", out=tmp_path / "a", **asked), "--json")
    table = power_table(tmp_path / "power.csv", 1.9)
    place = [*PLACE, "--machine", "small-router", "--station", "flat"]
    done("testcut", "read", "power", *place, "--csv", table, "--shop", shop, "--keep")
    after = done("testcut", *made("ladder", out=tmp_path / "b", **asked), "--json")
    assert len(after["rungs"]) < len(before["rungs"])
    assert after["left_out"] > before["left_out"]


def test_push_off_raises_forces_and_never_lowers_them(done, shop, tmp_path):
    table = tmp_path / "push-off.csv"
    long = ["--cutter", "SQ12L", "--shop", shop]

    def read(first, second):
        table.write_text(
            "rpm,feed,width,depth,direction,push_off\n"
            f"16000 rpm,4 m/min,10 mm,50 mm,climb,{first!r} mm\n16000 rpm,8 m/min,10 mm,50 mm,climb,{second!r} mm\n",
            encoding="utf-8",
        )
        place = [*PLACE, *long, "--station", "flat"]
        return done("testcut", "read", "push-off", *place, "--csv", table, "--keep", "--json")["force_factor"]

    unit = read(0.3, 0.3)
    done("testcut", "forget", "--shop", shop)
    for wanted, counts, used in ((0.6, "no: below 1 it may be the machine's stiffness", False), (1.6, "yes", True)):
        assert read(0.3 * wanted / unit, 0.3 * wanted / unit) == pytest.approx(wanted, rel=1e-6)
        assert done("testcut", "learned", "--shop", shop, "--json")[-1]["counts"] == counts
        assert any("this shop" in x["source"] for x in done(*TUNE, *long)["limits"]) == used
        done("testcut", "forget", "--shop", shop)


def test_power_comes_before_push_off(done, shop, tmp_path):
    power = power_table(tmp_path / "power.csv", 1.2)
    other = tmp_path / "push-off.csv"
    row = "18000 rpm,4 m/min,6 mm,12 mm,climb,0.04 mm\n"
    other.write_text("rpm,feed,width,depth,direction,push_off\n" + row, encoding="utf-8")
    for kind, table in (("power", power), ("push-off", other)):
        done("testcut", "read", kind, *PLACE, "--station", "flat", "--csv", table, "--shop", shop, "--keep")
    counts = [r["counts"] for r in done("testcut", "learned", "--shop", shop, "--json")]
    assert counts == ["yes", "no: power comes first"]


def test_a_push_off_that_says_nothing_is_not_kept(done, shop, tmp_path):
    table = tmp_path / "push-off.csv"
    row = "18000 rpm,4 m/min,3 mm,6 mm,climb,0.01 mm,2 mm\n"
    table.write_text("rpm,feed,width,depth,direction,push_off,height\n" + row, encoding="utf-8")
    text = done("testcut", "read", "push-off", *PLACE, "--station", "flat", "--csv", table, "--shop", shop, "--keep")
    assert "nothing was learned" in text
    assert "Nothing is kept" in text
    assert not (shop / "learned.csv").exists()


# --- correct ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (["--measured", "0.630in", "--wanted", "0.615in"],
         "measured 0.630 in, wanted 0.615 in: too thick; take 0.0075 in more off each cheek\n"),
        (["--measured", "9.40 mm", "--wanted", "9.52 mm", "--what", "mortise width"],
         "measured 9.40 mm, wanted 9.52 mm: too narrow; take 0.06 mm more off each wall\n"),
        (["--measured", "9.40 mm", "--wanted", "9.52 mm", "--what", "mortise width", "--sides", "1"],
         "measured 9.40 mm, wanted 9.52 mm: too narrow; take 0.12 mm more off one wall\n"),
        (["--measured", "9.50 mm", "--wanted", "9.52 mm"],
         "measured 9.50 mm, wanted 9.52 mm: within 0.05 mm; leave it\n"),
    ],
)  # fmt: skip
def test_a_correction_is_said_in_words_that_cannot_be_mistaken(given, words, done):
    assert done("testcut", "correct", *given) == words


def test_a_correction_as_a_document(done):
    data = done("testcut", "correct", "--measured", "0.630 in", "--wanted", "0.615 in", "--json")
    assert data["per_side_mm"] == pytest.approx(0.0075 * 25.4)
    assert data["mendable"]


# --- refusals --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([], ["ACTION"]),
        (["fti"], ["fti"]),
        (["read"], ["power"]),
        (["fit"], ["--cutter", "--help"]),
        (made("fit", out="x", depht="1 in"), ["--depht", "--depth"]),
        (made("fit", out="x", scrap="12 in x 6 in"), ["--scrap", "2 sizes"]),
        (made("fit", out="x", scrap="12 x 6 x 1 in"), ["--scrap"]),
        (made("fit", out="x", scrap="0 in x 6 in x 1 in"), ["--scrap"]),
        (made("fit", out="x", depth="6"), ["--depth"]),
        (made("fit", out="x", depth="2 in"), ["depth"]),
        (made("fit", out="x", scrap="12 in x 3 in x 1 1/2 in"), ["wide"]),
        (made("fit", out="x", scrap="1 in x 6 in x 1 1/2 in"), ["too short"]),
        (made("fit", out="x", cutter="SQ21"), ["SQ12"]),
        (made("fit", out="x", cutter="BALL12"), ["flat floor"]),
        (made("fit", out="x", cutter="DR8"), ["drill"]),
        (made("fit", out="x", cutter="OLD12"), ["marked_rpm"]),
        (made("fit", out="x", material="white-oka"), ["white-oak"]),
        (made("fit", out="x", machine="rooter"), ["router"]),
        (made("fit", "end", out="x", machine="small-router"), ["end"]),
        ([*made("fit", out="x"), "--station", "edge"], ["edge"]),
        (made("fit", out="x", rpm="25000 rpm"), ["over-speeds the cutter", "24000"]),
        (made("fit", out="x", feed="20 m/min"), ["outruns the machine"]),
        (made("fit", out="x", feed="-1"), ["--feed"]),
        (made("ladder", out="x", steps="1"), ["--steps", "2 to 50"]),
        (made("ladder", out="x", steps="many"), ["--steps"]),
        (made("ladder", out="x", steps="12"), ["at most"]),
        (made("ladder", out="x", rpm="30000 rpm"), ["over-speeds the cutter"]),
        (made("ladder", out="x", cutter="OLD12"), ["marked_rpm"]),
        (["read", *made("fit"), *READINGS, "--date", "yesterday"], ["--date", "2026-03-02"]),
        (["read", *made("fit"), *READINGS, "--date", "2999-01-01"], ["still to come"]),
        (["read", *made("fit"), "--slot", "12.6 mm", "--climb", "10 mm"], ["--conventional"]),
        (["read", *made("fit"), *READINGS[:-1], "10"], ["--conventional"]),
        (["read", *made("fit"), *READINGS[:-1], "10 in"], ["--conventional", "20 % off"]),
        (["read", *made("fit", out="nowhere"), *READINGS], ["no record of this test"]),
        (["read", *made("ladder"), "--results", "fine"], ["--results", "ok"]),
        (["read", *made("ladder"), "--results", "torn,ok"], ["--results"]),
        (["read", *made("ladder"), "--results", ",".join(["ok"] * 9)], ["--results", "9 results"]),
        (["read", "power", *PLACE, "--station", "flat", "--csv", "none.csv"], ["none.csv", "no such file"]),
        (["read", "power", *PLACE, "--station", "flat", "--csv", "none.csv", "--grain", "sideways"], ["--grain"]),
        (["read", "power", *PLACE, "--station", "flat", "--csv", "none.csv", "--wear", "2"], ["--wear"]),
        (["correct", "--measured", "0.63", "--wanted", "0.615 in"], ["--measured"]),
        (["correct", "--measured", "0.63 in", "--wanted", "0.615 mm"], ["caliper"]),
        (["correct", "--measured", "0.63 in", "--wanted", "0.615 in", "--what", "tenon thikness"], ["tenon thickness"]),
        (["correct", "--measured", "0.63 in", "--wanted", "0.615 in", "--sides", "3"], ["--sides"]),
        (["forget", "--shop", "no-such-shop"], ["no-such-shop"]),
        (["learned", "--shop", "no-such-shop"], ["no-such-shop"]),
        (["learned", "extra"], ["one word too many"]),
    ],
    ids=lambda v: " ".join(v)[-70:] if v else "nothing",
)  # fmt: skip
def test_what_is_wrong_is_refused_with_a_remedy(arguments, words, refused, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    said = refused("testcut", *arguments)
    for word in words:
        assert word in said
    assert not list(tmp_path.iterdir())


def test_forget_with_nothing_learned_is_refused(refused, shop):
    assert "nothing to take back" in refused("testcut", "forget", "--shop", shop)


def test_a_true_diameter_no_cutter_has_is_not_kept(refused, shop):
    """It would make the shop unreadable: one of 14 mm in a row of a 12.7 mm cutter."""
    readings = ["--slot", "14 mm", "--climb", "9 mm", "--conventional", "9 mm"]
    said = refused("testcut", "read", *made("fit", shop=shop), *readings, "--keep")
    assert "too far from" in said
    assert not (shop / "learned.csv").exists()
    assert Shop.open(shop)


def test_options_of_another_test_are_refused_by_name(done, refused, tmp_path):
    done("testcut", *made("fit", out=tmp_path, width="4 mm"))
    said = refused("testcut", "read", *made("fit", out=tmp_path, depth="1/2 in"), *READINGS)
    assert "--depth" in said
    assert "--width" in said
    assert len(said.splitlines()) == 2


@pytest.mark.parametrize("damage", ["{", "[]", '{"written_by": "shopcalc testcut"}', "cutting", "side_width", "empty"])
def test_a_damaged_record_is_refused(damage, done, refused, tmp_path):
    done("testcut", *made("fit", out=tmp_path))
    path = tmp_path / "three-cut-fit-SQ12.json"
    if damage in ("cutting", "side_width"):
        data = json.loads(path.read_text(encoding="utf-8"))
        data[damage] = {"feed": "fast"} if damage == "cutting" else None
        damage = json.dumps(data)
    path.write_text("" if damage == "empty" else damage, encoding="utf-8")
    refused("testcut", "read", *made("fit", out=tmp_path), *READINGS)


@pytest.mark.parametrize(
    ("cell", "words"),
    [
        (("feed", "4"), ["row 2", "feed"]),
        (("feed", ""), ["row 2", "feed"]),
        (("direction", "both"), ["row 2", "direction"]),
        (("spindle_power", "100 W"), ["row 2", "'spindle_power'", "idling"]),
        (("idle_power", "-1 W"), ["row 2", "'idle_power'"]),
        (("depth", "90 mm"), ["row 2"]),
    ],
    ids=str,
)
def test_a_bad_reading_is_refused_with_its_row(cell, words, refused, tmp_path):
    path = power_table(tmp_path / "power.csv", 1.0)
    rows = list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))
    rows[0][cell[0]] = cell[1]
    with path.open("w", encoding="utf-8", newline="") as f:
        out = csv.DictWriter(f, rows[0])
        out.writeheader()
        out.writerows(rows)
    said = refused("testcut", "read", "power", *PLACE, "--station", "flat", "--csv", path)
    for word in [str(path), *words]:
        assert word in said


def test_a_size_that_just_fits_is_no_bound_passed(done):
    """CB19 is held on exactly as much shank as practice asks for; a last digit of rounding forbids nothing."""
    asked = ["--cutter", "CB19", "--cut-depth", "1/8 in", "--cut-width", "1/8 in"]
    data = done(*(w for w in TUNE if w != "--in-solid"), *asked)
    assert next(x for x in data["limits"] if x["name"] == "slips out of the collet")["used"] == pytest.approx(1)
    assert data["runnable"]
