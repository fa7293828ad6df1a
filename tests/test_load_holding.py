"""A load of the demo's job under fixtures: found as by the parts it is made of, and mended by what it says."""

from pathlib import Path

import pytest

from shopcalc.errors import InputError
from shopcalc.gcode import read_program
from shopcalc.holding import Placed, bodies_of, check_clear, read_fixtures
from shopcalc.jobs import open_job
from shopcalc.load_holding import check_load

DATA = Path(__file__).parents[1] / "data"
OWN = read_fixtures(DATA / "fixtures.toml")


@pytest.fixture(scope="module")
def job():
    return open_job(DATA / "jobs" / "reed-bed-chest.toml")


def clamps(x):
    """Two straps at the ends of a panel, and a pin against each side."""
    part_x, part_y = 387.0, 292.0
    straps = [Placed(OWN["strap"], a, part_y / 2, on=-20.0, presses=(b, part_y / 2), name=f"strap {k}")
              for k, (a, b) in enumerate(((-x, 8.0), (part_x + x, part_x - 8.0)), 1)]  # fmt: skip
    pins = [Placed(OWN["pin"], a, b, on=-20.0, stops=s) for a, b, s in ((200, -20, (0, -1)), (200, 320, (0, 1)))]
    return [*straps, *pins]


def test_a_strap_in_the_way_is_found_and_its_remedy_clears_the_load(job):
    near = check_load(job, "panels", "panel", clamps(60.0))
    assert not near.good
    names = {c.keep_out for c in near.clear.collisions}
    assert {"strap 1", "strap 2"} <= names
    way = near.clear.shift("strap 1")
    far = check_load(job, "panels", "panel", clamps(60.0 + way[0] + 10))
    assert "strap 1" not in {c.keep_out for c in far.clear.collisions}
    moves = read_program(DATA / "programs" / "panels.nc", job.machine).moves
    same = check_clear(moves, bodies_of(moves, job.shop.cutters), near.clear.keep_outs, margin=3.0)
    assert same.says() == near.clear.says()


def test_it_says_whether_it_holds_and_by_which_cut(job):
    found = check_load(job, "panels", "panel", clamps(150.0))
    assert {x.name for x in found.firm} == {"lifts", "slips", "tips", "springs"}
    assert found.walls.rubs == ()
    words = " ".join(found.says("inch"))
    assert "used, by" in words
    weak = [p for p in clamps(150.0) if p.name != "strap 1"][:1]
    alone = check_load(job, "panels", "panel", weak)
    slips = [next(x.used for x in f.firm if x.name == "slips") for f in (found, alone)]
    assert slips[1] > 2 * slips[0]  # half the force, and the pins stop no more


def test_without_fixtures_the_station_holds(job):
    """As the limits of a cut have it: 3500 N in the demo's edge station."""
    found = check_load(job, "stile-grooves", "stile", [])
    assert {x.name for x in found.firm} == {"lifts", "slips"}
    assert next(x.bound for x in found.firm if x.name == "lifts") == 3500


def test_a_pad_beside_the_part_is_refused(job):
    with pytest.raises(InputError, match=r"'strap 1' presses at x 8, y 146 mm, beside the part"):
        check_load(job, "rail-grooves", "long-rail", clamps(60.0))


def test_every_load_of_the_demo_can_be_asked(job):
    for load in job.loads:
        found = check_load(job, load.program, load.part, [])
        assert found.walls.rubs == (), (load, found.says())
        assert found.firm or found.unknown or load.program == "cleat-holes", load


def test_what_is_not_in_the_job_is_refused(job):
    with pytest.raises(InputError, match="did you mean 'panels'"):
        check_load(job, "panel", "panel", [])
    with pytest.raises(InputError, match="not loaded"):
        check_load(job, "panels", "lid", [])
