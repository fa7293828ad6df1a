"""``hold``: bolts, template, plate and interrupted programs as a user asks for them, each answer judged anew."""

import contextlib
import io
import json
import re
import shutil
import subprocess

import numpy as np
import pytest
from shapely import LineString, Point

from shopcalc.cli import main
from shopcalc.gcode import read_program, read_text
from shopcalc.shop import demo_folder

JOB = str(demo_folder() / "jobs" / "reed-bed-chest.toml")
PANEL = ["hold", "bolts", JOB, "--program", "panels", "--part", "panel", "--json"]


def asked(capsys, *arguments):
    assert main(list(arguments)) == 0
    return json.loads(capsys.readouterr().out)


def refused(capsys, *arguments):
    assert main(list(arguments)) == 2
    return capsys.readouterr().err


@pytest.fixture(scope="module")
def panel(tmp_path_factory):
    """The demo's raised panel, both faces by one program, with template and plate."""
    folder = tmp_path_factory.mktemp("bolts")
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        assert main([*PANEL, "--plate", str(folder / "plate.nc"), "--template", str(folder / "t.pdf")]) == 0
    return json.loads(out.getvalue()), folder


def test_no_move_of_either_face_comes_near_a_bolt_or_a_pin_of_the_demo_panel(panel):
    """Distances from every straight move by shapely, the panel's ball taken as a full cylinder."""
    told, _ = panel
    moves = read_program(demo_folder() / "programs" / "panels.nc").moves
    long, wide, thick = told["blank_mm"]
    assert (long, wide) == pytest.approx((15.25 * 25.4 + 100, 11.5 * 25.4 + 100))
    assert not moves.arc_index.size
    tops = {"bolt": 8.0, "pin": 14.0 - thick}
    places = {"bolt": (told["places_mm"], 8.0), "pin": (told["plate"]["pins_mm"], 5.0)}
    for what, (centres, radius) in places.items():
        low = [LineString([a[:2] + 50, b[:2] + 50]) for a, b in zip(moves.points[:-1], moves.points[1:], strict=True)
               if min(a[2], b[2]) < tops[what] + 3 and np.hypot(*(b - a)[:2]) > 0]  # fmt: skip
        assert low
        for at in centres:
            assert min(line.distance(Point(at)) for line in low) >= radius + 6.35 + 3 - 0.01
    image = sorted((round(x, 6), round(wide - y, 6)) for x, y in told["places_mm"])
    assert image == sorted((round(x, 6), round(y, 6)) for x, y in told["places_mm"])
    assert told["through_part"] == 0


def holes(text):
    """Cylinders a plain reader of the text finds: middle and radius of cutter and circles, floor of each."""
    x = y = z = 0.0
    mode, found = "G0", {}
    for line in text.splitlines():
        if line.startswith("("):
            continue
        words = dict(re.findall(r"([A-Z])(-?[\d.]+)", line.split("(")[0]))
        mode = next((f"G{int(v)}" for k, v in re.findall(r"(G)(\d+)", line) if int(v) <= 3), mode)
        nx, ny, nz = (float(words.get(k, v)) for k, v in zip("XYZ", (x, y, z), strict=True))
        if mode in ("G2", "G3") and "J" in words:
            i, j = float(words.get("I", 0)), float(words["J"])
            key = (round(x + i, 3), round(y + j, 3))
            found[key] = (max(found.get(key, (0, 0))[0], np.hypot(i, j)), min(found.get(key, (0, 0))[1], nz))
        if mode == "G0" and (nx, ny) != (x, y):
            assert min(z, nz) > 0, line  # never sideways through the plate
        x, y, z = nx, ny, nz
    return found


def test_the_plate_s_program_drills_every_hole_where_it_belongs(panel):
    """The text read by twenty lines of another reader: middles, diameters, depths; and it rises before all else."""
    told, folder = panel
    text = (folder / "plate.nc").read_text()
    read = read_text(text)
    assert read.warnings == ()
    assert read.understood == 1.0
    found = holes(text)
    cutter = {c.id: c for c in _shop().cutters.values()}[re.search(r"M6 \((\w+)\)", text).group(1)]
    want = {tuple(np.round(p, 3)): 11.0 for p in told["places_mm"]}
    want |= {tuple(np.round(p, 3)): 10.0 for p in told["plate"]["pins_mm"]}
    assert set(found) == set(want)
    for at, (radius, floor) in found.items():
        assert 2 * radius + cutter.true_diameter == pytest.approx(want[at], abs=2e-3)
        assert floor == -15.0
    body = [line for line in text.splitlines() if not line.startswith("(")]
    first = next(line for line in body if re.search(r"[XYZ]", line))
    assert re.fullmatch(r"G0 Z\d+(\.\d+)?", first)
    assert "clamps lower than the safe height" in text
    assert 0 < told["plate"]["time_s"] < 600
    corner = told["plate"]["low_mm"]
    assert all(p[k] - 5 >= corner[k] for p in told["plate"]["pins_mm"] for k in (0, 1))


def _shop():
    from shopcalc.shop import Shop

    return Shop.open(None)


def test_pins_touch_the_blank_s_two_edges_and_no_more(panel):
    told, _ = panel
    (x1, y1), (x2, y2), (x3, y3) = told["plate"]["pins_mm"]
    assert (y1, y2, x3) == (-5, -5, -5)
    assert x2 - x1 > told["blank_mm"][0] / 2
    assert 0 < y3 < told["blank_mm"][1]


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_the_mark_on_the_printed_template_measures_100_mm(capsys, tmp_path, paper):
    """Pages as pictures at a known resolution: black rows and columns as long as the marks, in points."""
    if shutil.which("pdftoppm") is None:
        pytest.skip("pdftoppm is not installed")
    from PIL import Image

    file = tmp_path / "t.pdf"
    asked(capsys, *PANEL, "--template", str(file), "--paper", paper)
    subprocess.run(["pdftoppm", "-r", "254", "-gray", "-l", "2", str(file), str(tmp_path / "p")], check=True)
    pages = sorted(tmp_path.glob("p-*.pgm"))
    assert len(pages) == 2
    size = {"letter": (2159, 2794), "a4": (2100, 2970)}[paper]
    for page in pages:
        dark = np.asarray(Image.open(page)) < 128
        assert np.abs(np.array(dark.shape[::-1]) - size).max() <= 1
        for lines in (dark, dark.T):
            rows = [row.astype(np.uint8).tobytes() for row in lines]
            runs = [hit.end() - hit.start() for row in rows for hit in re.finditer(b"\x01+", row)]
            assert any(abs(r - 1000) <= 4 for r in runs)  # 254 points an inch are 10 a millimetre


def test_a_blank_as_large_as_a_door_finds_its_bolts_too(capsys):
    told = asked(capsys, *PANEL, "--waste", "900 mm")
    assert told["blank_mm"][0] > 2000
    assert len(told["places_mm"]) == 4


def test_without_waste_it_says_so_and_painted_work_takes_filled_holes(capsys):
    narrow = [*PANEL, "--waste", "20 mm"]
    said = refused(capsys, *narrow)
    assert "no pair of places for bolts in the waste is clear of both programs by 0.1181 in" in said
    assert "holes through the part to be filled" in said
    told = asked(capsys, *narrow, "--filled")
    assert told["through_part"] == 4
    assert main([*narrow[:-3], "--filled", "--waste", "20 mm"]) == 0
    assert "plug or fill the holes" in capsys.readouterr().out


def test_every_fault_of_sizes_comes_at_once_and_names_are_helped(capsys, tmp_path):
    said = refused(capsys, *PANEL, "--waste", "wide", "--hole", "0 mm", "--plate", str(tmp_path / "p.nc"))
    assert "--waste" in said
    assert "--hole" in said
    assert not list(tmp_path.iterdir())
    assert "panels" in refused(capsys, "hold", "bolts", JOB, "--program", "panel", "--part", "panel")
    assert "flat work" in refused(capsys, "hold", "bolts", JOB, "--program", "rail-ends", "--part", "long-rail")
    assert "m8" in refused(capsys, *PANEL, "--bolt", "m9")


def test_a_stopped_program_begins_again_where_it_last_rose(capsys):
    file = demo_folder() / "programs" / "panels.nc"
    lines = file.read_text().splitlines()
    told = asked(capsys, "hold", "resume", str(file), "--after", "120", "--json")
    assert told["begin_line"] <= 121
    assert told["left_s"] > 60
    assert told["label"] == "BALL12"
    assert re.search(r"[Zz]", " ".join(lines[told["begin_line"] - 1 : 121]))
    assert any("lock it out" in s for s in told["steps"])
    all_of_it = asked(capsys, "hold", "resume", str(file), "--after", "0", "--json")
    assert all_of_it["left_s"] > told["left_s"]
    assert "not a line" in refused(capsys, "hold", "resume", str(file), "--after", "x")
    assert "nothing is cut" in refused(capsys, "hold", "resume", str(file), "--after", "99999")
