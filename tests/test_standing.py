"""How fixtures stand to the wood: pins in it or off it are told and never counted; bolts in waste make a round trip."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
import shapely

from shopcalc.cli import main
from shopcalc.errors import InputError
from shopcalc.fixture_choice import choices
from shopcalc.holding.fixtures import Placed, read_fixtures
from shopcalc.holding.standing import bears, remarks, waste_under
from shopcalc.jobs import open_job
from shopcalc.jobs.reading import check_job
from shopcalc.load_holding import check_load, placed_in
from shopcalc.reading import load_toml
from shopcalc.shop import Shop

DATA = Path(__file__).parents[1] / "data"
CHEST = DATA / "jobs" / "reed-bed-chest.toml"
OWN = read_fixtures(DATA / "fixtures.toml")
X, Y = 387.35, 292.1
WAYS = {"-x": (-1.0, 0.0), "+x": (1.0, 0.0), "-y": (0.0, -1.0), "+y": (0.0, 1.0)}


def bad(*placed):
    return [r.says("metric") for r in remarks(placed, X, Y) if r.bad]


def at_side(way, off, fixture=OWN["pin"], along=0.5):
    r, (a, b) = fixture.diameter / 2, WAYS[way]
    x = along * X if a == 0 else -r - off if a < 0 else X + r + off
    y = along * Y if b == 0 else -r - off if b < 0 else Y + r + off
    return Placed(fixture, x, y, on=-16.0, stops=WAYS[way], name="pin 1")


@pytest.mark.parametrize("way", WAYS)
def test_a_stop_must_touch_the_side_it_stops(way):
    assert bad(at_side(way, 0.0)) == []
    assert bad(at_side(way, 1.0)) == []
    assert bad(at_side(way, 12.0)) == ["pin 1 is 12 mm off the part, so it stops nothing: move it against the part"]
    assert "stands in the wood" in bad(at_side(way, -30.0))[0]
    other = {"-x": "+x", "+x": "-x", "-y": "+y", "+y": "-y"}[way]
    wrong = Placed(OWN["pin"], at_side(way, 0.0).x, at_side(way, 0.0).y, on=-16.0, stops=WAYS[other], name="pin 1")
    assert "does not stand at the side" in bad(wrong)[0]
    assert not bears(wrong, X, Y)
    past = at_side(way, 0.0, along=1.4)
    assert "does not stand at the side" in bad(past)[0]


def test_whether_it_stands_in_the_wood_agrees_with_shapely_at_any_turn():
    rng = np.random.default_rng(7)
    wood, seen = shapely.box(0, 0, X, Y), set()
    for _ in range(300):
        u, v, turn = rng.uniform(-60, X + 60), rng.uniform(-60, Y + 60), rng.uniform(0, math.pi)
        p = Placed(OWN["cam"], u, v, turn, -16.0, (X / 2, Y / 2), name="cam 1")
        body = shapely.affinity.rotate(shapely.box(u - 30, v - 30, u + 30, v + 30), math.degrees(turn), (u, v))
        if body.intersects(wood.buffer(-1.0, join_style="mitre")):
            assert len(bad(p)) == 1
            seen.add(True)
        elif not body.intersects(wood):
            assert bad(p) == []
            seen.add(False)
    assert seen == {True, False}


def test_clamps_that_reach_over_the_part_and_bolts_through_it_are_no_wrong_places():
    over = Placed(OWN["toggle"], 30.0, 100.0, on=-16.0, name="toggle 1")
    assert bad(over) == []
    through = list(remarks([Placed(OWN["m8"], 100.0, 100.0, name="m8 1")], X, Y))
    assert [r.bad for r in through] == [False]
    assert "hole to be filled" in through[0].says("inch")
    assert waste_under([Placed(OWN["m8"], 100.0, 100.0)], X, Y) == 0
    assert waste_under([Placed(OWN["m8"], 100.0, -25.0), Placed(OWN["m8"], X + 40, 50.0)], X, Y) == 48


def panel(clamps, file="chest.toml"):
    data = load_toml(CHEST)
    data["clamps"] = [{"program": "panels", "part": "panel", **c} for c in clamps]
    return check_job(data, file, Shop.open())


def entry(p):
    out = {"fixture": p.fixture.id, "x": f"{p.x:.4f} mm", "y": f"{p.y:.4f} mm", "turn": f"{p.turn:.9f} rad"}
    if p.fixture.force > 0 and p.pad != (p.x, p.y):
        out |= {"presses_x": f"{p.pad[0]:.4f} mm", "presses_y": f"{p.pad[1]:.4f} mm"}
    return out | ({"stops": next(k for k, v in WAYS.items() if v == p.stops)} if p.stops else {})


def test_what_is_proposed_can_be_written_into_the_job_and_holds_there():
    """Bolts in the waste too: as firm in the job as where they were proposed."""
    chest = open_job(CHEST)
    good = [c for c in choices(chest, "panels", "panel", waste=50.0) if not c.refused]
    assert {"m8", "pod"} <= {c.fixture.id for c in good}
    for c in good:
        job = panel([entry(p) for p in c.placed])
        held = check_load(job, "panels", "panel", placed_in(job, "panels", "panel"))
        assert held.good, held.says()
        slips = next(x.used for x in held.firm if x.name == "slips")
        assert slips == pytest.approx(next(x.used for x in c.firm if x.name == "slips"), rel=0.15)
        assert any("must reach" in w for w in held.says()) == (c.fixture.id == "m8")


@pytest.mark.parametrize("system", ["inch", "metric"])
@pytest.mark.parametrize(("program", "part", "kind"), [("panels", "panel", "m8"), ("lid-faces", "lid", "cam")])
def test_the_tables_printed_for_the_job_file_hold_as_they_stand(system, program, part, kind, capsys, tmp_path):
    arguments = ["hold", "fixtures", str(CHEST), "--program", program, "--part", part, "--waste", "50 mm"]
    assert main([*arguments, "--clamps", kind, "--system", system]) == 0
    text = capsys.readouterr().out
    file = tmp_path / "clamps.toml"
    file.write_text(text)
    data = load_toml(CHEST)
    data["clamps"] = load_toml(file)["clamps"]
    job = check_job(data, "chest.toml", Shop.open())
    placed = placed_in(job, program, part)
    assert kind in {p.fixture.id for p in placed}
    held = check_load(job, program, part, placed, cell=2.0)
    assert held.good, held.says()
    assert main([*arguments, "--clamps", "toggl"]) == 2
    assert "did you mean 'toggle'" in capsys.readouterr().err
    if part == "panel":
        assert main([*arguments, "--clamps", "toggle"]) == 2
        assert "in the way of a move" in capsys.readouterr().err


def test_a_pin_under_the_part_is_no_hold():
    pods = [{"fixture": "pod", "x": x, "y": "146 mm"} for x in ("75 mm", "310 mm")]
    pin = {"fixture": "pin", "x": "5 in", "y": "3 in", "stops": "-x"}
    loads = []
    for job in (panel(pods), panel([*pods, pin])):
        loads.append(check_load(job, "panels", "panel", placed_in(job, "panels", "panel")))
    assert "pin 3 stands in the wood: move it to the part's side" in loads[1].says()
    assert not loads[1].good
    same = [next(x.used for x in held.firm if x.name == "slips") for held in loads]
    assert same[0] == same[1]  # as if it were not there


def test_a_pad_beside_the_part_names_its_field_in_the_job_s_units():
    job = panel([{"fixture": "pin", "x": "-0.2 in", "y": "3 in", "stops": "-x"},
                 {"fixture": "toggle", "x": "-8 in", "y": "3 in"},
                 {"fixture": "pod", "x": "50 in", "y": "3 in"}])  # fmt: skip
    with pytest.raises(InputError) as e:
        placed_in(job, "panels", "panel")
    assert [(f.file, f.field) for f in e.value.faults] == [("chest.toml", "clamps[1]"), ("chest.toml", "clamps[2]")]
    assert "presses at x -8 in, y 3 in, beside the part of 15 1/4 in by 11 1/2 in" in e.value.faults[0].message


def test_a_part_cut_free_of_the_waste_that_is_bolted_is_warned_of():
    data = load_toml(CHEST)
    data["clamps"] = [{"program": "bottom", "part": "bottom", "fixture": "m8", "x": "-20 mm", "y": y}
                      for y in ("50 mm", "300 mm")]  # fmt: skip
    job = check_job(data, "chest.toml", Shop.open())
    held = check_load(job, "bottom", "bottom", placed_in(job, "bottom", "bottom"), cell=2.0)
    assert not held.good
    assert any("comes free of the waste" in w for w in held.says())


def test_check_tells_of_stops_beside_the_station_s_own_clamps(capsys):
    assert main(["hold", "check", str(CHEST), "--json", "--part", "lid", "--program", "lid-faces"]) == 0
    assert all(load["good"] for load in json.loads(capsys.readouterr().out)["loads"])
