"""Which fixtures hold a load: clearance by brute force and shapely, forces by hand, pay-back by its closed form."""

import json
import math
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
import shapely

from shopcalc.cli import main
from shopcalc.errors import InputError
from shopcalc.fixture_choice import choices, pay_backs, pays_back
from shopcalc.holding.fixtures import Fixture, read_fixtures
from shopcalc.jobs import open_job
from shopcalc.jobs.reading import check_job
from shopcalc.load_holding import check_load, placed_in, work_of
from shopcalc.machines import read_machine
from shopcalc.reading import load_toml
from shopcalc.shop import Shop

DATA = Path(__file__).parents[1] / "data"
CHEST = DATA / "jobs" / "reed-bed-chest.toml"
LOADS = (("panels", "panel", 50.0), ("lid-lettering", "lid", 0.0), ("lid-faces", "lid", 0.0))


@pytest.fixture(scope="module")
def job():
    return open_job(CHEST)


@pytest.fixture(scope="module")
def found(job):
    return {(program, part): choices(job, program, part, waste=waste) for program, part, waste in LOADS}


def footprint(p):
    """From above, drawn by shapely alone."""
    f = p.fixture
    if f.diameter > 0:
        return shapely.Point(p.x, p.y).buffer(f.diameter / 2, quad_segs=64)
    flat = shapely.box(p.x - f.length / 2, p.y - f.width / 2, p.x + f.length / 2, p.y + f.width / 2)
    return shapely.affinity.rotate(flat, math.degrees(p.turn), origin=(p.x, p.y))


def nearest(work, p):
    """Least way between a fixture and any section of any body at places along straight moves [mm]; flat sections."""
    area, top, bottom = footprint(p), p.on + p.fixture.height, p.on
    least = math.inf
    ends = np.stack([work.moves.points[:-1], work.moves.points[1:]], axis=1)
    for number, body in work.bodies.items():
        mine = ends[work.moves.cutter == number]
        if not len(mine):
            continue
        at = np.concatenate([mine[:, 0] + t * (mine[:, 1] - mine[:, 0]) for t in np.linspace(0, 1, 9)])
        away = shapely.distance(area, shapely.points(at[:, :2]))
        for s in body.sections:
            up = np.maximum(0, np.maximum(at[:, 2] + s.low - top, bottom - at[:, 2] - s.high))
            side = np.maximum(0, away - min(s.radius_low, s.radius_high))
            least = min(least, float(np.where(up > 0, np.maximum(up, side), side).min()))
    return least


def test_what_is_chosen_clears_by_brute_force_and_what_is_placed_in_the_path_does_not(job, found):
    for (program, part), ways in found.items():
        work = work_of(job, program, part)
        for c in ways:
            for p in c.placed:
                assert nearest(work, p) >= 3.0 - 0.05, (program, part, p)
        good = next(c for c in ways if not c.refused)
        middle = replace(good.placed[0], x=work.size[0] / 2, y=work.size[1] / 2, on=0.0)
        path = replace(middle, x=float(work.moves.points[:-1][work.moves.cutting][0][0]),
                       y=float(work.moves.points[:-1][work.moves.cutting][0][1]))  # fmt: skip
        assert nearest(work, path) < 3.0


def test_what_is_chosen_stands_apart_presses_the_wood_and_holds(job, found):
    for (program, part), ways in found.items():
        assert any(not c.refused for c in ways)
        x, y, _ = work_of(job, program, part).size
        for c in ways:
            assert bool(c.refused) != bool(c.placed)
            feet = [footprint(p) for p in c.placed]
            assert all(a.intersection(b).area < 1e-6 for k, a in enumerate(feet) for b in feet[:k]), c.says()
            for p in c.placed:
                u, v = p.pad
                if p.fixture.force > 0 and p.fixture.kind != "bolt":
                    assert 0 <= u <= x
                    assert 0 <= v <= y
            if c.placed and c.fixture.kind != "bolt":
                checked = check_load(job, program, part, c.placed)
                assert checked.clear.clear
                assert max(limit.used for limit in checked.firm) == pytest.approx(c.used)
            assert c.refused or c.used <= 0.85


def test_owned_and_quicker_comes_first_and_every_refusal_says_why(found):
    for ways in found.values():
        order = [(bool(c.refused), c.missing > 0, c.to_set) for c in ways]
        assert order == sorted(order)
        assert all(len(c.refused) > 10 for c in ways if not c.placed)
        for c in ways:
            assert c.to_set == pytest.approx(sum(p.fixture.to_set for p in c.placed))
            assert c.missing == max(0, c.count - c.fixture.owned) if c.placed else c.missing == 0


@pytest.mark.parametrize("seed", range(20))
def test_pay_back_is_where_what_is_saved_meets_what_it_cost(seed):
    """Closed form: n jobs save n (rate t L - L cost / life); it is paid back when that reaches the cost."""
    random = np.random.default_rng(seed)
    price, hours, rate = (round(float(v), 2) for v in random.uniform((5, 0.1, 20), (200, 4, 90)))
    count, loads, life = (int(v) for v in random.integers((1, 1, 2000), (5, 60, 9000)))
    saved = float(random.uniform(10, 120))
    f = Fixture("jig", "jig", "clamp", force=1.0, price=Decimal(str(price)), to_make=3600 * hours, lasts=life)
    got = pays_back(f, count, saved, loads, Decimal(str(rate)))
    cost = count * (price + hours * rate)
    gain = loads * (rate * saved / 3600 - cost / life)
    assert float(got.cost) == pytest.approx(cost)
    assert got.jobs == pytest.approx(cost / gain) if gain > 0 else math.isinf(got.jobs)


def test_pods_pay_back_against_bolts_by_hand(job, found):
    """Two pods at 165 USD and 1.5 h of 55 USD/h; 70 s of bolts against 16 s, five panels, 6000 loads of life."""
    ways = found["panels", "panel"]
    (choice, paid), = pay_backs(job, "panels", "panel", ways)  # fmt: skip
    assert choice.fixture.id == "pod"
    assert paid.cost == Decimal("495.00")
    gain = 5 * (55 * (70 - 16) / 3600 - 495 / 6000)
    assert paid.jobs == pytest.approx(495 / gain, rel=1e-9)


def test_fixtures_placed_in_the_job_clear_and_hold(job):
    for program in ("lid-lettering", "lid-faces"):
        placed = placed_in(job, program, "lid")
        assert placed
        assert check_load(job, program, "lid", placed).good
    assert placed_in(job, "panels", "panel") == ()


def changed(**words):
    data = load_toml(CHEST)
    data["clamps"] = [{**data["clamps"][0], **words}]
    return data


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ({"fixture": "togle"}, "did you mean 'toggle'"),
        ({"program": "lid-leters"}, "did you mean 'lid-lettering"),
        ({"wide": "3 in"}, "'wide' is not known here"),
        ({"x": 12}, r"clamps\[0\].x"),
        ({"stops": "up"}, "'up' is not known"),
        ({"part": "stile"}, "there is no load 'lid-lettering/stile'"),
    ],
)
def test_a_clamp_that_cannot_be_is_refused_with_what_to_write(words, told):
    with pytest.raises(InputError, match=told):
        check_job(changed(**words), "chest.toml", Shop.open())


def test_owning_is_read_or_left_out(tmp_path):
    own = read_fixtures(DATA / "fixtures.toml")
    assert own["pod"].owned == 0
    assert own["pod"].price == 165
    assert own["pod"].to_make == 5400
    assert own["strap"].thickest == 36
    assert own["strap"].lasts is None
    file = tmp_path / "fixtures.toml"
    file.write_text('[dog]\nkind = "stop"\nbears = "900 N"\n')
    assert read_fixtures(file)["dog"].owned is None
    file.write_text('[dog]\nkind = "stop"\nbears = "900 N"\nowned = -1\nprice = "9"\nstations = ["roof"]\n'
                    'thinnest = "9 mm"\nthickest = "8 mm"\nlast = 3\n')  # fmt: skip
    with pytest.raises(InputError) as e:
        read_fixtures(file)
    assert {f.field for f in e.value.faults} == {f"dog.{k}" for k in ("owned", "price", "stations", "thinnest", "last")}


def test_a_holder_of_the_machines_own_counts_in_place_of_the_invented_one(job):
    machine = replace(job.machine, holder=(80.0, 60.0))
    bodies = work_of(replace(job, machine=machine), "panels", "panel").bodies
    for number, body in bodies.items():
        held = [s for s in body.sections if s.part == "holder"]
        assert [(s.radius_low, s.high - s.low) for s in held] == [(40.0, 60.0)]
        assert "nut" not in body.parts
        assert "nut" in work_of(job, "panels", "panel").bodies[number].parts


def test_a_holder_in_a_machine_file_needs_both_sizes(tmp_path):
    file = tmp_path / "mine.toml"
    axes = "".join(f'[axes.{a}]\nrapid = "9 m/min"\nfeed = "5 m/min"\nacceleration = "500 mm/s2"\n' for a in "xyz")
    file.write_text(axes + '[holder]\ndiameter = "2 in"\nlength = "3 in"\n')
    assert read_machine(file).holder == pytest.approx((50.8, 76.2))
    file.write_text(axes + '[holder]\ndiameter = "2 in"\n')
    with pytest.raises(InputError, match="holder's length is missing"):
        read_machine(file)


def test_both_actions_by_command(capsys):
    where = [str(CHEST), "--program", "lid-lettering", "--part", "lid"]
    assert main(["hold", "check", *where, "--json"]) == 0
    (load,) = json.loads(capsys.readouterr().out)["loads"]
    assert load["good"]
    assert load["fixtures"] == ["toggle 1", "toggle 2"]
    assert main(["hold", "fixtures", *where, "--system", "metric"]) == 0
    told = capsys.readouterr().out
    assert "1. toggle clamp on a plate: 2, 20 s a load" in told
    assert " mm" in told
    assert main(["hold", "fixtures", str(CHEST), "--program", "lid-leters", "--part", "lid"]) == 2
    assert "did you mean 'lid-lettering'" in capsys.readouterr().err
