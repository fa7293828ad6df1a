"""The command ``relief``: its fixed keys, its words in both systems, what it writes, and faults with their remedies."""

import io
import json
import re
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from shopcalc import relief_command
from shopcalc.cli import main
from shopcalc.cutting.usual import held_by, usual_feed
from shopcalc.errors import InputError
from shopcalc.gcode import read_program
from shopcalc.jobs import estimate, open_job
from shopcalc.motion import machine_time
from shopcalc.quote import price
from shopcalc.quote.carving import carving_price
from shopcalc.shop import Shop

KEYS = {
    "minutes", "path_length_mm", "lines", "stepover_mm", "cusp_mm", "detail_left", "smallest_detail_mm", "cutter",
    "schemes",
}  # fmt: skip
BASE = ["--length", "60 mm", "--width", "40 mm", "--depth", "5 mm", "--cutter", "BALL6", "--stepover", "1 mm"]


@pytest.fixture(scope="module")
def shop():
    return Shop.open()


@pytest.fixture(scope="module")
def picture(tmp_path_factory):
    """A hill on a ground, 16 bits: white is high."""
    x, y = np.meshgrid(np.linspace(-3, 3, 240), np.linspace(-2, 2, 160))
    grey = 65535 * np.exp(-(x**2 + y**2)) * (1 + 0.2 * np.sin(6 * x)) / 1.2
    path = tmp_path_factory.mktemp("art") / "hill.png"
    Image.fromarray(np.clip(grey, 0, 65535).astype(np.uint16)).save(path)
    return path


@pytest.fixture
def run(capsys):
    def runner(*arguments):
        status = main(["relief", *(str(a) for a in arguments)])
        out, err = capsys.readouterr()
        assert "Traceback" not in out + err
        return status, out, err

    return runner


def test_json_has_the_promised_keys_and_nothing_else_on_standard_output(run, picture):
    status, out, err = run(picture, *BASE, "--json")
    data = json.loads(out)
    assert (status, err) == (0, "")
    assert set(data) >= KEYS
    assert set(data["detail_left"]) == {"area_share", "greatest_mm", "mean_mm", "volume_mm3"}
    assert data["lines"] == 41
    assert data["stepover_mm"] == 1.0
    assert data["cutter"] == "BALL6"
    assert data["schemes"] == []
    assert data["minutes"] == pytest.approx(sum(s["minutes"] for s in data["steps"]) + data["change_minutes"])
    assert all(s["mean_feed_mm_min"] <= s["feed_mm_min"] * 1.0001 for s in data["steps"])


def test_people_read_minutes_detail_cusps_sanding_price_and_cautions(run, picture):
    _, metric, _ = run(picture, *BASE, "--system", "metric")
    for word in (
        "smallest detail", "machine time", "not reached", "cusps", "sanding", "really reached", "floor", "asked",
        "Caution.", "24000 rev/min at most", "dust", "hold it",
    ):  # fmt: skip
        assert word in metric, word
    assert "1.000 mm apart" in metric
    _, inch, _ = run(picture, *BASE)
    assert "0.0394 in apart" in inch
    assert "mm/min" not in inch


def test_notes_of_the_artwork_are_told(run, tmp_path):
    """Eight bits over 8 mm show as terraces; a dark middle may be upside down."""
    x, y = np.meshgrid(np.linspace(-1, 1, 300), np.linspace(-1, 1, 200))
    path = tmp_path / "bowl.png"
    Image.fromarray((255 * np.clip((x**2 + y**2) / 2, 0, 1)).astype(np.uint8)).save(path)
    _, out, _ = run(path, "--length", "300 mm", "--depth", "8 mm", "--cutter", "BALL12", "--stepover", "4 mm")
    assert "note: " in out
    assert "terraces" in out
    _, out, _ = run(
        path,
        "--length",
        "300 mm",
        "--depth",
        "8 mm",
        "--cutter",
        "BALL12",
        "--stepover",
        "4 mm",
        "--smooth",
        "--invert",
    )
    assert "smoothed" in out


def test_out_writes_program_picture_and_figures_that_agree(run, picture, tmp_path, shop):
    folder = tmp_path / "out"
    status, out, _ = run(picture, *BASE, "--out", folder)
    assert status == 0
    assert {p.name for p in folder.iterdir()} == {"carving.txt", "carving.json", "carving.nc", "carving.svg"}
    data = json.loads((folder / "carving.json").read_text(encoding="utf-8"))
    router = shop.machine("router")
    program = read_program(folder / "carving.nc", router)
    assert machine_time(program.moves, router).total_s / 60 == pytest.approx(data["minutes"], rel=1e-3)
    assert program.moves.points[:, 2].min() == pytest.approx(-5.0, abs=0.05)
    root = ElementTree.parse(folder / "carving.svg").getroot()
    images = [e for e in root.iter() if e.tag.endswith("image")]
    assert len(images) == 4  # with the colours of the detail left
    assert all(e.get("href").startswith("data:image/png;base64,") for e in images)
    assert "detail left" in "".join(root.itertext())
    assert (folder / "carving.txt").read_text(encoding="utf-8").strip() in out


def test_choices_are_a_table_with_three_names(run, picture):
    status, out, _ = run(picture, *BASE[:6], "--choices", "--cusp", "0.03 mm", "--json")
    data = json.loads(out)
    assert status == 0
    assert len(data["schemes"]) >= 2
    asked = [s["price"]["asked"] for s in data["schemes"]]
    assert asked == sorted(asked)  # quick is the cheapest, sanding counted
    wood = [s["wood_left_mm"] for s in data["schemes"]]
    assert wood == sorted(wood, reverse=True)
    assert all(d["reason"] for d in data["dropped"])
    assert data["shown"] in ("the one way", "quick", "middle", "fine")
    offered = [s["offered"] for s in data["schemes"] if s["offered"]]
    assert offered in (["quick", "fine"], ["quick", "middle", "fine"])
    assert all(s["price"]["cost"] <= s["price"]["floor"] < s["price"]["asked"] for s in data["schemes"])


def test_choices_come_first_and_the_full_figures_have_a_heading(run, picture):
    _, out, _ = run(picture, *BASE[:6], "--choices", "--cusp", "0.03 mm")
    assert out.index("Ways worth offering") < out.index("one in full: ") < out.index("machine time    ")
    assert "sanding" in out
    assert "(common practice)" in out


def test_a_cutter_too_short_gets_no_price_and_the_rack_is_asked(run, picture, tmp_path):
    """SQ3: flutes of 1/2 in on a thicker shank, in a hill 30 mm high; 25.4 mm stand out of the collet."""
    arguments = [picture, "--length", "60 mm", "--depth", "30 mm", "--cutter", "SQ3", "--stepover", "1 mm"]
    status, out, _ = run(*arguments, "--json", "--out", tmp_path / "short")
    data = json.loads(out)
    assert status == 0
    assert (data["can_be_cut"], data["price"], data["minutes"]) == (False, None, None)
    assert set(data) >= KEYS
    assert all(0 <= c["reaches_mm"] < c["of_mm"] for c in data["cannot"])
    assert "collet" in [c["part"] for c in data["cannot"]]
    assert "SQ12" in data["could"]
    assert "SQ3" not in data["could"]
    assert {p.name for p in (tmp_path / "short").iterdir()} == {"carving.txt", "carving.json"}  # no program
    _, words, _ = run(*arguments)
    heading, first = words.splitlines()[:2]
    assert heading.startswith("hill.png: ")  # what it is about, then what is wrong
    assert first.startswith("  cannot be cut with SQ3: reaches ")
    assert " mm) of " in words
    assert "SQ12" in words
    assert "asked" not in words
    _, able, _ = run(picture, *BASE, "--json")
    assert json.loads(able)["can_be_cut"] is True


def test_what_the_price_leaves_out_and_where_feeds_come_from_is_said(run, picture, shop):
    _, out, _ = run(picture, *BASE)
    for word in ("not in it: drawing the artwork, programming, set-up", "feed: common practice", "the limits would"):
        assert word in " ".join(out.split()), word
    _, out, _ = run(picture, *BASE, "--json")
    data = json.loads(out)
    assert data["price"]["drawing_hours_a_job_adds"] == shop.rates.minutes["carving_design_per_job"] / 3600
    assert all(s["feed_mm_min"] <= s["greatest_feed_mm_min"] for s in data["steps"])


def test_open_data_as_artwork(run, tmp_path):
    """A mountain ridge as a relief: what any heights give, not only smooth ones of our own.

    matplotlib ships the elevations in its wheel (``jacksboro_fault_dem.npz``, Jacksboro fault, Tennessee); its
    documentation names the US Geological Survey as the source, whose data are in the public domain.
    """
    cbook = pytest.importorskip("matplotlib.cbook")
    with cbook.get_sample_data("jacksboro_fault_dem.npz") as file:
        ground = file["elevation"].astype(float)
    grey = (ground - ground.min()) / np.ptp(ground) * 65535
    Image.fromarray(grey.round().astype(np.uint16)).save(tmp_path / "ridge.png")
    sizes = ["--length", "100 mm", "--depth", "6 mm", "--stepover", "1 mm"]
    told = {c: json.loads(run(tmp_path / "ridge.png", *sizes, "--cutter", c, "--json")[1]) for c in ("BALL6", "TB3")}
    assert told["BALL6"]["width_mm"] == pytest.approx(100 * ground.shape[0] / ground.shape[1], rel=0.01)
    assert told["TB3"]["detail_left"]["mean_mm"] < told["BALL6"]["detail_left"]["mean_mm"]
    assert all(t["minutes"] > 0 and t["price"]["asked"] > t["price"]["cost"] for t in told.values())


class Terminal(io.StringIO):
    def isatty(self):
        return True


def test_progress_goes_to_standard_error_alone(picture, capsys, monkeypatch):
    """From the first second on a terminal, where it is wiped; plain lines only in long runs, and few."""
    monkeypatch.setattr(relief_command, "_SOON", 0.0)
    line = Terminal()
    monkeypatch.setattr("sys.stderr", line)
    assert main(["relief", str(picture), *BASE, "--json"]) == 0
    json.loads(capsys.readouterr().out)
    assert "every line of BALL6" in line.getvalue() or "every line of SQ" in line.getvalue()
    assert re.search(r"\d+ s so far", line.getvalue())
    assert "\n" not in line.getvalue()
    assert line.getvalue().endswith("\r")


def test_plain_progress_is_a_few_lines(picture, capsys, monkeypatch):
    monkeypatch.setattr(relief_command, "_PLAIN_SOON", 0.0)
    assert main(["relief", str(picture), *BASE, "--json"]) == 0
    out, err = capsys.readouterr()
    json.loads(out)
    assert 1 <= len(err.splitlines()) <= 6
    assert all(text.startswith("shopcalc relief: ") for text in err.splitlines())


def test_before_any_artwork_a_band_and_a_price(run):
    sizes = ["--length", "4 in", "--width", "3 in", "--depth", "1/4 in", "--smallest-detail", "3 mm"]
    status, out, _ = run("--before", "deep figure", *sizes, "--json")
    data = json.loads(out)
    assert status == 0
    assert set(data) >= KEYS
    assert data["minutes_low"] < data["minutes"] < data["minutes_high"]
    _, words, _ = run("--before", "deep figure", *sizes)
    assert "eight of ten" in words
    assert data["sanding_hours"] > 0
    assert f"{data['sanding_hours']:.2f} h sanding" in words
    assert "(assumed" in words
    assert "Caution." in words
    _, kinds, _ = run("--before", "list")
    assert "portrait" in kinds


FAULTS = {
    "no artwork": ([*BASE], "name an image or a mesh"),
    "no cutter": (["{art}", *BASE[:6]], "--choices"),
    "unknown cutter": (["{art}", *BASE[:6], "--cutter", "BALL7"], "BALL6"),
    "a bare number": (["{art}", "--length", "60", "--depth", "5 mm", "--cutter", "BALL6"], "--length"),
    "a drill": (["{art}", *BASE[:6], "--cutter", "DR8", "--stepover", "1 mm"], "choose a ball"),
    "a V to rough with": (["{art}", *BASE, "--rough-cutter", "V60"], "a square end or a ball"),
    "cleaning with a wider one": (["{art}", *BASE, "--clean-cutter", "BALL12"], "a finer one"),
    "step and cusp": (["{art}", *BASE, "--cusp", "0.1 mm"], "give one of them"),
    "wrong proportions": (["{art}", "--length", "60 mm", "--width", "60 mm", *BASE[4:]], "do not fit the artwork"),
    "no depth": (["{art}", *BASE[:4], *BASE[6:]], "how deep"),
    "missing file": (["nowhere.png", *BASE], "no such file"),
    "not a picture": (["pyproject.toml", *BASE], "pyproject.toml"),
    "unknown kind": (["--before", "portrat"], "portrait"),
    "before without sizes": (["--before", "portrait"], "--smallest-detail"),
    "two ways": (["{art}", "--before", "portrait", *BASE], "leave one of them out"),
    "a finer wish beside artwork": (["{art}", *BASE, "--smallest-detail", "1 mm"], "it is measured"),
}


@pytest.mark.parametrize("case", FAULTS)
def test_faults_are_placed_and_have_remedies(case, run, picture, monkeypatch):
    monkeypatch.chdir(Path(__file__).parents[1])
    arguments, word = FAULTS[case]
    status, out, err = run(*(str(picture) if a == "{art}" else a for a in arguments))
    assert status == 2
    assert out == ""
    assert word in err
    assert all(line.startswith("shopcalc: ") for line in err.splitlines())


def test_a_flat_artwork_is_refused(run, tmp_path):
    path = tmp_path / "flat.png"
    Image.fromarray(np.full((40, 60), 900, dtype=np.uint16)).save(path)
    status, _, err = run(path, *BASE)
    assert status == 2
    assert "flat" in err


def test_floor_and_asked_follow_from_the_rates(shop):
    """The line's own multiplication, then the shop's margin; doubt about the time lifts the floor."""
    p = carving_price(7200, 0.5, shop.rates)
    products = re.findall(r"([\d.]+) [^×]*× ([\d.]+)", p.how)
    assert float(p.cost) == pytest.approx(sum(float(a) * float(b) for a, b in products), abs=0.02)
    assert float(p.floor / p.asked) == pytest.approx(1 - shop.rates.margin, abs=1e-3)
    assert carving_price(7200, 0.5, shop.rates, sigma=0.6).floor > p.floor


# --- in a job ---------------------------------------------------------------------------------------------------------

JOB = """
[job]
name = "plaque"
machine = "router"
[[parts]]
id = "plaque"
quantity = 2
material = "white-oak"
length = "140 mm"
width = "60 mm"
thickness = "20 mm"
[[parts.operations]]
kind = "carve"
program = "relief"
cutter = "BALL6"
length = "60 mm"
width = "40 mm"
depth = "5 mm"
{more}
[[programs]]
id = "relief"
"""


def opened(tmp_path, shop, more):
    path = tmp_path / "plaque.toml"
    path.write_text(JOB.format(more=more), encoding="utf-8")
    return open_job(path, shop)


def test_a_job_plans_the_minutes_the_command_computes(tmp_path, shop, picture, run):
    job = opened(tmp_path, shop, f'artwork = "{picture}"\nstepover = "1 mm"')
    told = estimate(job, shop)
    _, out, _ = run(picture, *BASE, "--json")
    whole = json.loads(out)
    assert told.programs[0].planned / 60 == pytest.approx(whole["minutes"], rel=0.05)
    assert told.programs[0].loads == 2
    assert told.carving_sanding == pytest.approx(
        2 * (whole["sanding_hours"] - 60 * 40e-6 * shop.rates.minutes["sanding_per_area"] / 3600), rel=0.1
    )
    assert told.carving_sanding_in_full == pytest.approx(2 * whole["sanding_hours"])
    priced = price(told, shop)
    assert priced.carving_floor < priced.carving_asked
    own = next(line for line in priced.lines if line.name == "carving")
    assert f"{2 * whole['sanding_hours']:.2f} h sanding" in own.how
    twice = opened(tmp_path, shop, f'artwork = "{picture}"\nstepover = "1 mm"\ncount = 2')
    assert estimate(twice, shop).programs[0].planned == pytest.approx(2 * told.programs[0].planned)


@pytest.mark.parametrize(
    ("more", "field", "word"),
    [
        ('artwork = "reliefs/hern.png"', "artwork", "no artwork"),
        ('before = "portrai"', "before", "portrait"),
        ('rough_cutter = "SQ66"', "rough_cutter", "SQ6"),
        ('artwork = "reliefs/heron.png"\nbefore = "portrait"', "operations[0]", "both artwork and before"),
        ('stepover = "1 mm"\ncusp = "0.1 mm"', "operations[0]", "both stepover and cusp"),
        ('clean_cutter = "TB3"', "operations[0]", "without artwork"),
        ("sunk = true", "operations[0]", "without artwork"),
    ],
)
def test_faults_of_a_carving_in_a_job_are_placed(tmp_path, shop, more, field, word):
    with pytest.raises(InputError) as caught:
        opened(tmp_path, shop, more)
    faults = caught.value.faults
    assert any(field in (f.field or "") and word in f"{f.message}: {f.remedy}" for f in faults), faults


def test_artwork_of_other_proportions_is_refused_with_its_place(tmp_path, shop):
    job = opened(tmp_path, shop, 'artwork = "reliefs/heron.png"')
    with pytest.raises(InputError, match="do not fit the artwork") as caught:
        estimate(job, shop)
    assert caught.value.faults[0].field == "parts[0].operations[0]"


# ------------------------------------------------------------------ what a reader without the code asks


def test_what_is_larger_than_the_machine_has_no_price_and_no_program(run, picture, tmp_path):
    long = ["--length", "12 ft", "--depth", "5 mm", "--cutter", "BALL6", "--choices"]
    status, out, _ = run(picture, *long, "--out", tmp_path / "long")
    assert status == 0
    assert out.splitlines()[1].startswith("  TIME NOT VALID: ")
    assert "machine time" not in out
    assert {p.name for p in (tmp_path / "long").iterdir()} == {"carving.txt", "carving.json"}
    data = json.loads((tmp_path / "long" / "carving.json").read_text(encoding="utf-8"))
    assert set(data) >= KEYS
    assert (data["minutes"], data["price"], data["time_valid"]) == (None, None, False)
    kind = ["--before", "portrait", "--length", "9 ft", "--width", "8 in", "--depth", "9 mm"]
    _, out, _ = run(*kind, "--smallest-detail", "2 mm")
    assert "TIME NOT VALID" in out
    assert "asked" not in out


def test_the_way_from_cost_to_asked_is_said(run, picture):
    _, out, _ = run(picture, *BASE)
    words = " ".join(out.split())
    assert "floor: cost" in words
    assert "asked: floor / (1 - margin of 18 %)" in words
    assert "In a job the risk is shared over all its lines" in words


def test_a_feed_held_by_the_diameter_says_that_the_wood_changes_nothing(run, picture, shop):
    """The rule is checked from outside: where it says diameter, two woods of other chips get one feed."""
    feeds = {}
    for wood in ("basswood", "hard-maple"):
        data = json.loads(run(picture, *BASE, "--material", wood, "--json")[1])
        feeds[wood] = [(s["feed_mm_min"], s["feed_source"]) for s in data["steps"]]
    for (soft, why), (hard, _) in zip(feeds["basswood"], feeds["hard-maple"], strict=True):
        assert "held by the cutter's diameter, not by the wood" in why
        assert soft == hard
    wide, narrow = (shop.cutter(k) for k in ("V90", "TB3"))
    assert "by the chip window of any hardwood" in held_by(wide, shop.material("hard-maple"))
    assert usual_feed(wide, shop.material("hard-maple"), 9000) != usual_feed(wide, shop.material("mdf"), 9000)
    assert usual_feed(narrow, shop.material("hard-maple"), 9000) == usual_feed(narrow, shop.material("mdf"), 9000)


def test_a_band_before_artwork_has_a_band_of_price_and_says_that_the_mean_is_priced(run):
    kind = ["--before", "soft modelling", "--length", "90 mm", "--width", "60 mm", "--depth", "4 mm"]
    kind += ["--smallest-detail", "4 mm"]
    price = json.loads(run(*kind, "--json")[1])["price"]
    assert price["low"]["asked"] < price["asked"] < price["high"]["asked"]
    words = " ".join(run(*kind)[1].split())
    for text in ("over the band: cost", "priced is the mean of the band", "reliefs of this kind were drawn"):
        assert text in words, text


def test_choices_name_the_depth_left_and_reasons_name_ways_of_the_table(run, picture):
    _, out, _ = run(picture, *BASE[:6], "--choices", "--cusp", "0.03 mm", "--json")
    data = json.loads(out)
    titles = [f"{s['scheme']} at a cusp of {s['cusp_wanted_mm']:g} mm" for s in data["schemes"]]
    for d in data["dropped"]:
        assert any(t in d["reason"] for t in titles), d["reason"]
    _, text, _ = run(picture, *BASE[:6], "--choices", "--cusp", "0.03 mm")
    assert "at most" in next(line for line in text.splitlines() if "not reached" in line)
    deep = [s for s in data["schemes"] if s["detail_left"]["greatest_mm"] > 5.0 / 3]
    assert ("LOOK: " in text) == bool(deep)


def test_no_zero_that_is_none_and_no_word_of_the_language_behind():
    assert [relief_command._fine(v, "inch") for v in (0.0, 0.0005, 1.0)] == ["0 in", "less than 0.0001 in", "0.0394 in"]
    for path in (Path(relief_command.__file__).parent / "relief").glob("*.py"):
        texts = re.findall(r'"[^"]*"', path.read_text(encoding="utf-8"))
        assert not [t for t in texts if "invert=True" in t or "(read_artwork)" in t], path


def test_a_job_whose_program_is_missing_says_how_to_add_it(tmp_path, shop):
    path = tmp_path / "plaque.toml"
    text = JOB.format(more='before = "portrait"')
    path.write_text(text.replace('program = "relief"', 'program = "heron"'), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        open_job(path, shop)
    assert any("no program 'heron'" in f.message and "[[programs]]" in f.remedy for f in caught.value.faults)


def test_the_program_says_its_unit_and_the_picture_its_scale(run, picture, tmp_path):
    _, out, _ = run(picture, *BASE, "--out", tmp_path / "out")
    assert "in millimetres" in out
    assert "G21" in (tmp_path / "out" / "carving.nc").read_text(encoding="utf-8")
    data = json.loads((tmp_path / "out" / "carving.json").read_text(encoding="utf-8"))
    root = ElementTree.parse(tmp_path / "out" / "carving.svg").getroot()
    most = f"{data['detail_left']['greatest_mm'] / 25.4:.4f} in"
    assert most in [e.text for e in root.iter() if e.tag.endswith("text")]  # the end of the bar of colours
