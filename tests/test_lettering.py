"""Lettering from a job or the command line: closed forms of the V, a sweep of stopped letters, misfits, files, words.

Geometry throughout: a V whose tip has a flat f reaches a width w at the depth (w - f) / (2 tan(angle / 2)); a disc of
radius r leaves r (1 / sin(c / 2) - 1) in a corner of angle c. The sweep in ``v_block`` knows only moves and cutter.
"""

import json
import math
import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace

import numpy as np
import pytest
import shapely
from scipy import ndimage
from v_block import Block
from workpiece import swept

from shopcalc.cli import main
from shopcalc.errors import InputError
from shopcalc.gcode import read_program
from shopcalc.jobs import estimate, open_job
from shopcalc.jobs.lettering import plan_incise
from shopcalc.jobs.planning import plan_load, setting
from shopcalc.jobs.records import Incise, Part
from shopcalc.motion import machine_time
from shopcalc.moves import Kind
from shopcalc.quote.costs import machine_hour_rate
from shopcalc.relief.inscription import inscription, smallest_inside_corner, widest_tip
from shopcalc.relief.lettering_picture import cut_surface
from shopcalc.shop import Shop

PART = Part(
    id="lid", quantity=1, material="white-oak", length="400 mm", width="120 mm", thickness="20 mm"
)  # fmt: skip
SQUARES = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="200mm" height="40mm" viewBox="0 0 200 40">'
    '<rect x="0" y="0" width="60" height="6"/><path d="M80 3 H140" fill="none" stroke="black"/>'
    '<path d="M80 20 C100 0 120 40 140 20" fill="none" stroke="black"/></svg>'
)


@pytest.fixture(scope="module")
def shop():
    return Shop.open()


@pytest.fixture(scope="module")
def drawings(tmp_path_factory):
    folder = tmp_path_factory.mktemp("drawings")
    (folder / "lines.svg").write_text(SQUARES, encoding="utf-8")
    return folder


@pytest.fixture
def run(capsys):
    def runner(*arguments):
        status = main(["letters", *(str(a) for a in arguments)])
        out, err = capsys.readouterr()
        assert "Traceback" not in out + err
        return status, out, err

    return runner


def plan(shop, folder=None, room=(400.0, 120.0, 20.0), system="metric", **fields):
    said = Incise.model_validate({"kind": "incise", "program": "p", "cutter": "V60", **fields})
    machine = shop.machine("router")
    cutting = setting(said, PART, "flat", machine, shop)
    ground = None
    if said.ground_cutter:
        ground = setting(said.model_copy(update={"cutter": said.ground_cutter}), PART, "flat", machine, shop)
    return plan_incise(said, room, cutting, ground, folder=folder or shop.folder, system=system)


def lowest(found):
    return min(float(m.points[:, 2].min()) for _, m in found.operations)


# ------------------------------------------------------------------ depth from width


def test_the_depth_follows_from_the_width_and_the_tips_flat(shop, drawings):
    """A bar of 6 mm with the rack's V60, whose tip is 0.2 mm flat; lines of 2 mm with the V90's 0.3 mm."""
    bar = plan(shop, drawings, drawing="lines.svg", width="2 mm")
    assert -lowest(bar) == pytest.approx((6 - 0.2) / (2 * math.tan(math.radians(30))), abs=1e-6)
    line = plan(shop, line="200 mm", width="2 mm", cutter="V90")
    assert -lowest(line) == pytest.approx((2 - 0.3) / 2, abs=1e-9)
    assert -lowest(plan(shop, drawings, drawing="lines.svg", width="2 mm", stop_depth="3 mm")) == pytest.approx(3.0)


def test_a_line_along_the_part_stops_or_runs_out(shop):
    x = [plan(shop, line=f"{n} mm", width="2 mm").operations[0][1] for n in (200, 400)]
    low = [m.points[m.points[:, 2] < 0] for m in x]
    assert (low[0][:, 0].min(), low[0][:, 0].max()) == pytest.approx((100, 300))
    assert low[1][:, 0].min() < -3 < 403 < low[1][:, 0].max()
    assert np.ptp(low[0][:, 1]) == 0
    three = plan(shop, line="200 mm", width="2 mm", count=3).operations[0][1]
    assert sorted(set(three.points[three.points[:, 2] < 0][:, 1].round(6))) == [20, 60, 100]


def test_letters_stand_in_the_middle_and_several_side_by_side(shop):
    two = plan(shop, text="Ho", height="20 mm", count=2).operations[0][1]
    x = two.points[two.points[:, 2] < -0.5][:, 0]
    assert x[x < 200].mean() == pytest.approx(100, abs=4)
    assert x[x > 200].mean() == pytest.approx(300, abs=4)


# ------------------------------------------------------------------ stopped and raised letters, swept


def test_stopped_letters_cut_into_a_block_have_flanks_and_a_level_ground(shop):
    found = plan(shop, text="Rd", height="50 mm", stop_depth="2 mm", ground_cutter="SQ3")
    assert [c.cutter.id for c, _ in found.operations] == ["SQ3", "V60"]
    (square, clearing), (vee, moves) = found.operations
    what = inscription(text="Rd", height=50.0).centred(200, 60)
    area = shapely.union_all([o.shape for o in what.outlines])
    block = Block.around(area, 0.15)
    cleared = swept(clearing, square.radius, -2.0)
    block.z[shapely.contains_xy(cleared, block.X, block.Y)] = -2.0
    block.cut(moves, vee.cutter, vee.plunge_feed)
    inside, slope = block.inside_by(area), math.tan(math.radians(30))
    deepest = np.minimum(np.maximum(inside, 0) / slope, 2.0)
    assert (-block.z - deepest).max() < 0.02 / slope, "gouged"
    assert (np.minimum((inside - 0.1) / slope, 2.0) + block.z).max() < 0.03 / slope + 0.1, "left standing"
    assert block.rapid_in_wood < 1e-9
    assert block.z.min() == pytest.approx(-2.0)


def test_raised_letters_stand_at_the_surface_on_their_ground(shop):
    found = plan(shop, text="H", height="50 mm", raised=True, stop_depth="3 mm", ground_cutter="SQ3", chamfer="1 mm")
    what = inscription(text="H", height=50.0).centred(200, 60)
    area = shapely.union_all([o.shape for o in what.outlines])
    x0, y0, x1, y1 = area.bounds

    class Cut:
        operations = found.operations

    surface = cut_surface(Cut, (x0 - 2, y0 - 2, x1 + 2, y1 + 2), 0.2)
    X, Y = np.meshgrid(surface.x, surface.y)
    into = shapely.distance(shapely.points(X, Y), area.boundary)
    inside = shapely.contains_xy(area, X, Y)
    assert (surface.z[inside & (into > 1.3)] == 0).all()
    assert surface.z[~inside & (into > 0.3)].min() == pytest.approx(-3.0)
    assert (surface.z[~inside & (into > 0.3)] <= -3.0 + 1e-9).mean() > 0.95  # but for corners the square end rounds
    edge = inside & (into > 0.2) & (into < 0.8)
    flank = -(1.0 - into[edge]) / math.tan(math.radians(30))
    assert np.median(np.abs(surface.z[edge] - flank)) < 0.1


# ------------------------------------------------------------------ corners


def test_sharp_corners_take_a_radius_by_their_angle():
    """t / (1 / sin(c / 2) - 1) at 90 and 60 degrees; half its width bounds a bar with round ends."""
    square = shapely.box(0, 0, 30, 20)
    assert smallest_inside_corner(square, within=0.1) == pytest.approx(0.1 / (math.sqrt(2) - 1), rel=0.03)
    triangle = shapely.Polygon([(0, 0), (30, 0), (15, 15 * math.sqrt(3))])
    assert smallest_inside_corner(triangle, within=0.1) == pytest.approx(0.1, rel=0.03)
    bar = shapely.LineString([(0, 0), (50, 0)]).buffer(4, quad_segs=64)
    assert smallest_inside_corner(bar) == pytest.approx(4, rel=0.02)
    assert smallest_inside_corner(square.buffer(2.5, quad_segs=64), within=0.002) == pytest.approx(2.5, rel=0.03)


@pytest.mark.parametrize("letter", ["R", "e"])
def test_the_corner_agrees_with_discs_on_a_raster(letter):
    """Opened by distance transforms (scipy): all is reached with the radius found, not with half as much again."""
    area = shapely.union_all([o.shape for o in inscription(text=letter, height=60.0).outlines])
    radius, pixel = smallest_inside_corner(area, within=0.5), 0.05
    block = Block.around(area, pixel)
    inside = shapely.contains_xy(area, block.X, block.Y)
    room = ndimage.distance_transform_edt(inside) * pixel

    def left(r):
        reached = ndimage.distance_transform_edt(room < r) * pixel
        return float(reached[inside].max()) - r

    assert left(radius * 0.95) < 0.5 + 2 * pixel
    assert left(radius * 1.5) > 0.5 + 2 * pixel


def test_the_widest_tip_is_the_width_of_the_strokes():
    cross = [shapely.box(0, 9, 60, 11), shapely.box(29, -20, 31, 40)]
    outlines = inscription(text="l", height=20.0).outlines
    whole = replace(outlines[0], shape=shapely.union_all(cross))
    assert widest_tip([whole]) == pytest.approx(2.0, rel=0.02)


# ------------------------------------------------------------------ misfits say what to change


@pytest.mark.parametrize("system", ["metric", "inch"])
@pytest.mark.parametrize("room", [(100.0, 120.0, 20.0), (400.0, 15.0, 20.0)])
def test_too_large_letters_are_told_a_height_that_fits(shop, room, system):
    fields = {"text": "Reed bed", "cutter": "V90"}
    with pytest.raises(InputError) as caught:
        plan(shop, room=room, system=system, height="40 mm", **fields)
    fault = caught.value.faults[0]
    assert "does not fit" in fault.message
    fits = re.search(r"a height of (.*?) fits", fault.remedy)[1]
    assert plan(shop, room=room, system=system, height=fits, **fields).operations
    more = {"metric": 1.1, "inch": 25.4 / 16 + 0.05}[system]
    unit = float(fits.split()[0]) if system == "metric" else None
    if unit is not None:
        with pytest.raises(InputError):
            plan(shop, room=room, system=system, height=f"{unit + more} mm", **fields)


def test_letters_deeper_than_the_part_are_told(shop):
    with pytest.raises(InputError, match=r"deep in a part of 3 mm.*stop_depth below 3 mm"):
        plan(shop, room=(400.0, 120.0, 3.0), text="Reed", height="50 mm")
    assert plan(shop, room=(400.0, 120.0, 3.0), text="Reed", height="50 mm", stop_depth="2 mm").operations


def test_a_tip_too_wide_is_told_with_a_height_that_it_reaches(shop):
    blunt = replace(shop.cutters["V60"], tip_diameter=1.0)
    other = replace(shop, cutters={**shop.cutters, "V60": blunt})
    told = [n for n in plan(other, text="Reed", height="10 mm").notes if "is too wide" in n]
    high = re.search(r"letters ([\d.]+ mm) high", told[0])[1]
    again = plan(other, text="Reed", height=high)
    assert not [n for n in again.notes if "is too wide" in n]
    assert [n for n in plan(other, text="Reed", height="9 mm").notes if "is too wide" in n]


def test_lines_below_the_stop_depth_are_told_a_width(shop):
    with pytest.raises(InputError) as caught:
        plan(shop, line="100 mm", width="6 mm", stop_depth="2 mm")
    width = re.search(r"make them ([\d.]+ mm) wide", caught.value.faults[0].remedy)[1]
    assert -lowest(plan(shop, line="100 mm", width=width, stop_depth="2 mm")) == pytest.approx(2.0, abs=0.01)


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({}, "nothing is given to incise"),
        ({"text": "A", "line": "9 mm", "height": "9 mm", "width": "1 mm"}, "text and line is given"),
        ({"text": "A"}, "height of a capital is missing"),
        ({"line": "90 mm"}, "width of the line is missing"),
        ({"text": "A", "height": "9 mm", "raised": True}, "need a ground"),
        ({"text": "A", "height": "9 mm", "width": "2 mm"}, "width: says nothing"),
        ({"drawing": "a.svg", "height": "2 mm"}, "height: says nothing"),
        ({"text": "A", "height": "9 mm", "depth": "2 mm"}, "depth"),
    ],
)
def test_what_does_not_hang_together_is_refused(fields, says):
    with pytest.raises(ValueError, match=says):
        Incise.model_validate({"kind": "incise", "program": "p", "cutter": "V60", **fields})


def test_open_lines_without_a_width_and_missing_drawings_are_told(shop, drawings):
    with pytest.raises(InputError, match=r"2 open line\(s\)"):
        plan(shop, drawings, drawing="lines.svg")
    with pytest.raises(InputError, match=r"nowhere.svg: there is no such file"):
        plan(shop, drawings, drawing="nowhere.svg")


# ------------------------------------------------------------------ in a job


def test_a_job_plans_two_cutters_and_their_changes(shop):
    job = open_job(shop.folder / "jobs" / "reed-bed-chest.toml", shop)
    lid = next(p for p in job.parts if p.id == "lid")
    program = next(p for p in job.programs if p.id == "lid-lettering")
    plain = plan_load(job, program, "lid", shop)
    assert plain.moves.points[:, 2].min() < -3  # strokes of 5 mm
    said = next(o for o in lid.operations if o.kind == "incise")
    deeper = said.model_copy(update={"stop_depth": 2.0, "ground_cutter": "SQ3", "height": 120.0, "text": "Reeds"})
    changed = tuple(deeper if o is said else o for o in lid.operations)
    parts = tuple(p.model_copy(update={"operations": changed}) if p is lid else p for p in job.parts)
    both = plan_load(replace(job, parts=parts), program, "lid", shop)
    assert both.cutters == ("SQ3",)
    assert (both.moves.kind == Kind.CHANGE).sum() == 2
    assert both.moves.points[:, 2].min() == pytest.approx(-2.0)
    assert any("flat ground" in w for w in both.warnings)
    assert both.seconds_by_kind["incise"] < machine_time(both.moves, job.machine).total_s


def test_an_unknown_depth_names_what_is_meant(shop, tmp_path):
    text = (shop.folder / "jobs" / "reed-bed-chest.toml").read_text(encoding="utf-8")
    path = tmp_path / "job.toml"
    path.write_text(text.replace('height = "1 1/8 in"', 'height = "1 1/8 in"\ndepth = "1/8 in"'), encoding="utf-8")
    with pytest.raises(InputError, match=r"'depth' is not known"):
        estimate(open_job(path, shop), shop)


# ------------------------------------------------------------------ the command


KEYS = {
    "minutes", "cutters", "greatest_depth_mm", "smallest_inside_corner_mm", "reached_by", "lines", "line_length_mm",
    "height_error_mm", "width_error_mm", "rack", "ground", "steps", "notes",
}  # fmt: skip


@pytest.mark.parametrize(
    "arguments",
    [
        ("Reed", "--height", "20 mm", "--cutter", "V60"),
        ("O", "--height", "30 mm", "--cutter", "V90", "--raised", "--depth-stop", "3 mm", "--ground-cutter", "SQ3"),
        ("Re", "--height", "60 mm", "--cutter", "V60", "--depth-stop", "2 mm", "--ground-cutter", "SQ3"),
        ("--svg", "lines.svg", "--line-width", "2 mm", "--cutter", "V60", "--length", "100 mm"),
    ],
    ids=["sunk", "raised", "stopped", "drawing"],
)
def test_the_program_it_writes_takes_the_time_it_says(run, drawings, tmp_path, shop, arguments):
    arguments = [drawings / a if a == "lines.svg" else a for a in arguments]
    status, out, err = run(*arguments, "--out", tmp_path / "out", "--json")
    data = json.loads(out)
    assert (status, err) == (0, "")
    assert set(data) >= KEYS
    again = read_program(tmp_path / "out" / "letters.nc").moves
    assert machine_time(again, shop.machine("router")).total_s / 60 == pytest.approx(data["minutes"], rel=5e-3)
    assert -again.points[:, 2].min() == pytest.approx(data["greatest_depth_mm"], abs=1e-3)
    picture = ElementTree.fromstring((tmp_path / "out" / "letters.svg").read_text(encoding="utf-8"))
    assert len(picture.findall("{http://www.w3.org/2000/svg}image")) == 1
    assert json.loads((tmp_path / "out" / "letters.json").read_text(encoding="utf-8")) == data


def test_people_read_it_in_their_units_with_cautions(run):
    asked = ("Reed", "--height", "20 mm", "--cutter", "V60")
    _, metric, _ = run(*asked, "--system", "metric")
    _, inch, _ = run(*asked)
    for word in (
        "machine time", "greatest depth", "inside corner", "surface first", "0.5 mm too deep", "0.577 mm wider",
        "24000 rev/min at most", "Caution.", "Dust of white oak",
    ):  # fmt: skip
        assert word in " ".join(metric.split()), word
    assert "0.02 in too deep makes every line 0.0231 in wider" in " ".join(inch.split())
    assert not re.search(r"\d mm", inch)


def test_a_finer_tip_reaches_finer_corners(run):
    _, out, _ = run("Reed", "--height", "20 mm", "--cutter", "V60", "--json")
    rack = {r["cutter"]: r for r in json.loads(out)["rack"]}
    assert rack["V60"]["corner_radius_mm"] == pytest.approx(0.1)
    assert 0 < rack["V60"]["left_uncut_share"] < rack["V90"]["left_uncut_share"] < 0.01


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((), ["neither a text nor a drawing", "no cutter is named"]),
        (("A", "--cutter", "V60"), ["height of its capitals"]),
        (("A", "--height", "1", "--cutter", "V61"), ["--height", "V60"]),
        (("A", "--height", "9 mm", "--cutter", "SQ6"), ["square end"]),
        (("A", "--height", "9 mm", "--cutter", "V60", "--raised"), ["--depth-stop D and --ground-cutter ID"]),
        (("A", "--height", "9 mm", "--cutter", "V60", "--margin", "2 mm"), ["without --raised"]),
        (("A", "--height", "9 mm", "--cutter", "V60", "--heigth", "2 mm"), ["--height"]),
        (("\u6c34", "--height", "9 mm", "--cutter", "V60"), ["no letter"]),
    ],
)
def test_faults_say_what_and_what_to_do(run, arguments, words):
    status, out, err = run(*arguments)
    assert (status, out) == (2, "")
    for word in words:
        assert word in err


# ------------------------------------------------------------------ price, machine, room


def test_letters_have_a_price_by_the_rule_of_a_relief(run, shop):
    asked = ("Reed", "--height", "20 mm", "--cutter", "V60")
    data = json.loads(run(*asked, "--json")[1])
    rates, hours = shop.rates, data["minutes"] / 60
    own = float(machine_hour_rate(rates.machine).total) + rates.attended["incise"] * float(rates.people["machining"])
    assert data["price"]["cost"] == pytest.approx(hours * own, abs=0.5)  # hours are rounded to hundredths first
    assert data["price"]["cost"] < data["price"]["floor"] < data["price"]["asked"]
    assert data["price"]["asked"] == pytest.approx(data["price"]["floor"] / (1 - rates.margin), abs=0.01)
    assert sum(s["minutes"] for s in data["steps"]) + data["change_minutes"] == pytest.approx(data["minutes"])
    assert all(s["greatest_feed_mm_min"] > 0 and s["greatest_feed_binds"] for s in data["steps"])
    text = " ".join(run(*asked)[1].split())
    for words in (
        "attended (30 %)",
        "floor: cost",
        "asked: floor / (1 - margin",
        "common practice, no source",
        "feed:",
    ):
        assert words in text, words


def test_raised_letters_tell_chamfer_and_ground(run):
    arguments = ("O", "--height", "30 mm", "--cutter", "V90", "--raised", "--depth-stop", "3 mm")
    _, out, _ = run(*arguments, "--ground-cutter", "SQ3", "--margin", "7 mm", "--chamfer", "0.8 mm", "--json")
    data = json.loads(out)
    assert (data["chamfer_mm"], data["ground_margin_mm"]) == (0.8, 7.0)
    assert data["extent_mm"] == pytest.approx([s + 14 for s in data["size_mm"]])
    text = " ".join(run(*arguments, "--ground-cutter", "SQ3", "--system", "metric")[1].split())
    assert "chamfer 0.5 mm wide" in text
    assert "beyond them" in text


def test_what_is_longer_than_the_machine_has_no_price_and_no_program(run, drawings, tmp_path):
    arguments = ("--svg", drawings / "lines.svg", "--line-width", "2 mm", "--cutter", "V60", "--length", "3 m")
    status, out, _ = run(*arguments, "--out", tmp_path / "long")
    lines = out.splitlines()
    assert status == 0
    assert lines[1].startswith("  TIME NOT VALID: ")
    assert "cost" not in out
    assert not (tmp_path / "long" / "letters.nc").exists()
    data = json.loads((tmp_path / "long" / "letters.json").read_text(encoding="utf-8"))
    assert (data["price"], data["time_valid"]) == (None, False)


@pytest.mark.parametrize("system", ["inch", "metric"])
def test_a_length_asks_for_the_greatest_height_that_fits(run, system):
    arguments = ("Reeds", "--cutter", "V60", "--system", system, "--json")
    data = json.loads(run(*arguments, "--length", "300 mm")[1])
    step = 1.0 if system == "metric" else 25.4 / 16
    assert data["size_mm"][0] <= 300 < data["size_mm"][0] * (1 + step / data["capital_height_mm"])
    status, out, err = run(*arguments, "--length", "300 mm", "--height", "200 mm")
    assert (status, out) == (2, "")
    assert "fits" in err


def test_a_ground_the_v_clears_slowly_names_a_square_end_that_is_quicker(run, shop):
    arguments = ["OO", "--height", "90 mm", "--cutter", "V60", "--depth-stop", "1.5 mm", "--json"]
    alone = json.loads(run(*arguments)[1])
    other = alone["quicker_ground"]
    assert other["minutes"] < alone["minutes"]
    again = json.loads(run(*arguments, "--ground-cutter", other["cutter"])[1])
    assert again["minutes"] == pytest.approx(other["minutes"], rel=1e-6)
    assert again["quicker_ground"] is None


def test_what_a_cutter_leaves_is_said_in_one_sense(run):
    _, out, _ = run("Reed", "--height", "20 mm", "--cutter", "V60")
    assert "nothing in the rack" not in out
