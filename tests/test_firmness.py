"""Fixtures, holding against hand cases and a rigid body's statics, and programs taken up again."""

import math
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import linprog

from shopcalc.cutting.cut import ask
from shopcalc.cutting.grain import grain_vector
from shopcalc.cutting.limits import Loads, Pass, check
from shopcalc.errors import InputError
from shopcalc.gcode import read_text
from shopcalc.holding.firmness import GRAVITY, Held, check_holding, forces_of
from shopcalc.holding.fixtures import Fixture, Placed, read_fixtures
from shopcalc.holding.resuming import resume_after
from shopcalc.motion import machine_time
from shopcalc.shop import Shop

DATA = Path(__file__).parents[1] / "data"
CLAMP = Fixture("toggle", "", "clamp", force=800.0, length=100.0, width=40.0, height=60.0)
PIN = Fixture("pin", "", "stop", bears=2000.0, diameter=10.0, height=14.0)


def held(*placed, mass=0.0, size=(600.0, 300.0, 40.0), friction=0.3):
    return Held(*size, mass, tuple(placed), friction)


def of(found, name):
    return next(x for x in found if x.name == name)


def test_the_demos_fixtures_are_read_and_stand_where_they_are_put():
    own = read_fixtures(DATA / "fixtures.toml")
    assert own["pod"].force == pytest.approx(720.0)  # 0.06 MPa on 12000 mm2
    assert all("invented" in f.source for f in own.values())
    body = Placed(own["toggle"], 100, -30, turn=math.pi / 2, on=-20).keep_out()
    assert (body.top, body.bottom) == (45.0, -20.0)
    assert np.ptp(body.outline(), axis=0) == pytest.approx((40, 110))
    with pytest.raises(InputError, match="no body"):
        Placed(Fixture("x", "", "plate"), 0, 0).keep_out()


def test_faults_of_fixtures_are_told_together(tmp_path):
    file = tmp_path / "fixtures.toml"
    file.write_text('[a]\nkind = "clam"\nforce = "9"\n[b]\nkind = "vacuum"\narea = "100 mm^2"\npressure = "0.2 MPa"\n'
                    '[c]\nkind = "stop"\nhigh = "3 mm"\n')  # fmt: skip
    with pytest.raises(InputError) as caught:
        read_fixtures(file)
    text = str(caught.value)
    for word in ("'a.kind'", "'clamp'", "'a.force'", "'b.pressure'", "'c.high'", "'height'", "'c.bears'"):
        assert word in text


def test_slip_by_hand():
    """Two clamps of 800 N at the cut's own distance: 0.3 x 1600 holds; in the middle nothing turns."""
    found = check_holding(held(Placed(CLAMP, 100, 150), Placed(CLAMP, 500, 150)), 240.0, 0.0, [(300, 150)])
    assert of(found, "slips").used == pytest.approx(240 / 480)
    lifted = check_holding(held(Placed(CLAMP, 100, 150), Placed(CLAMP, 500, 150)), 240.0, 400.0, [(300, 150)])
    assert of(lifted, "slips").used == pytest.approx(240 / (0.3 * 1200))
    assert of(lifted, "lifts").used == pytest.approx(400 / 1600)


def test_a_push_beside_two_clamps_turns_the_part():
    """Force and turning as on two bolts: each bears P/2 and, across, P arm / distance; pads 100 by 40 bear as areas."""
    found = check_holding(held(Placed(CLAMP, 100, 150), Placed(CLAMP, 500, 150)), 100.0, 0.0, [(580, 150)])
    r2 = 200**2 + (100**2 + 40**2) / 12
    per_clamp = 100 / 2 + 100 * 280 * math.sqrt(r2) / (2 * r2)
    assert of(found, "slips").used == pytest.approx(per_clamp / (0.3 * 800))


def test_a_part_on_its_table_alone_tips_where_nothing_holds_that_edge():
    found = check_holding(held(mass=0.0), 100.0, 0.0, [(300, 150)])
    assert of(found, "tips").used == math.inf
    with pytest.raises(InputError, match="beside the part"):
        held(Placed(CLAMP, -30, 150))
    body_beside = Placed(CLAMP, -30, 150, presses=(10, 150))
    assert of(check_holding(held(body_beside), 10.0, 0.0, [(300, 150)]), "tips").used > 0


def test_stops_all_round_leave_friction_nothing():
    around = [((1, 0), 600, 150), ((-1, 0), 0, 150), ((0, 1), 300, 300), ((0, -1), 300, 0)]
    stops = [Placed(PIN, x, y, stops=way) for way, x, y in around]
    clamps = (Placed(CLAMP, 100, 150), Placed(CLAMP, 500, 150))
    assert of(check_holding(held(*clamps, *stops), 1500.0, 0.0, [(300, 150)]), "slips").value == pytest.approx(0)
    open_side = check_holding(held(*clamps, *stops[1:]), 1500.0, 0.0, [(300, 150)])
    assert of(open_side, "slips").used == pytest.approx(1500 / 480)
    weak = check_holding(held(*clamps, *stops), 2500.0, 0.0, [(300, 150)])
    assert of(weak, "slips").value == pytest.approx(500)


def test_tipping_by_hand():
    """A stile stood on its edge, 40 wide, 120 high, one clamp of 800 N in the middle: 20 mm of arm against 120."""
    found = check_holding(held(Placed(CLAMP, 300, 20), size=(600, 40, 120)), 100.0, 0.0, [(300, 20)])
    assert of(found, "tips").used == pytest.approx(100 * 120 / (800 * 20))
    weighs = check_holding(held(Placed(CLAMP, 300, 20), size=(600, 40, 120), mass=2), 100.0, 0.0, [(300, 20)])
    assert of(weighs, "tips").bound == pytest.approx((800 + 2 * GRAVITY) * 20)


def test_tipping_is_where_a_rigid_body_finds_no_support():
    """Corner reactions, pressing only, that balance weight, clamps, lift and push in each direction: found or not."""
    rng = np.random.default_rng(6)
    seen = {True: 0, False: 0}
    for _ in range(150):
        size = (*rng.uniform(100, 600, 2), rng.uniform(20, 150))
        clamps = [Placed(CLAMP, rng.uniform(0, size[0]), rng.uniform(0, size[1])) for _ in range(rng.integers(1, 4))]
        part = held(*clamps, mass=5.0, size=size)
        push, lift = rng.uniform(50, 1500), rng.uniform(0, 300)
        x, y = rng.uniform(0, size[0]), rng.uniform(0, size[1])
        used = of(check_holding(part, push, lift, [(x, y)]), "tips").used
        corners = np.array([(a, b) for a in (0, size[0]) for b in (0, size[1])])
        down = np.array([part.weight, *(800.0 for _ in clamps)])
        at = np.array([(size[0] / 2, size[1] / 2), *(c.pad for c in clamps)])
        stands = True
        for way in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            total = down.sum() - lift
            moment = down @ at - lift * np.array([x, y]) + push * size[2] * np.array(way)
            done = linprog(np.zeros(4), A_eq=[np.ones(4), *corners.T], b_eq=[total, *moment], method="highs")
            stands = stands and done.status == 0
        if abs(used - 1) > 1e-3:
            assert stands == (used < 1), used
            seen[stands] += 1
    assert min(seen.values()) > 20


def test_springing_between_clamps_is_a_beam_on_two_supports():
    """F L^3 / (48 E I), 400 mm between pads, 40 thick: by hand."""
    found = check_holding(held(Placed(CLAMP, 100, 150), Placed(CLAMP, 500, 150)), 10.0, 200.0, [(300, 150)],
                          modulus=11000.0)  # fmt: skip
    assert of(found, "springs").value == pytest.approx(200 * 400**3 / (48 * 11000 * 300 * 40**3 / 12))
    third = held(Placed(CLAMP, 100, 150), Placed(CLAMP, 500, 150), Placed(CLAMP, 300, 20))
    closer = check_holding(third, 10.0, 200.0, [(300, 150)], modulus=11000.0)
    assert of(found, "springs").value == pytest.approx(8 * of(closer, "springs").value)


def test_the_same_clamps_serve_tuning():
    """The hold made of fixtures gives the station's own lift and slip, and forces come from the same loads."""
    shop = Shop.open(DATA)
    part = held(Placed(CLAMP, 100, 150), Placed(CLAMP, 500, 150), friction=None)
    cut = ask(shop.cutter("SQ12"), shop.material("white-oak"), shop.machine("router"), station="flat",
              grain=grain_vector("flat", 0.0), depth=6.0, width=12.0, hold=part.hold())  # fmt: skip
    loads = Loads(cut, Pass(1, 1, 6.0, 12.0, "conventional"))
    limits = {x.name: x for x in check(loads, 16000, 4000)}
    push, lift = forces_of(loads, 16000, 4000)
    assert limits["slips"].value == pytest.approx(push)
    assert limits["lifts"].value == pytest.approx(lift)
    assert limits["lifts"].bound == pytest.approx(1600)
    mine = check_holding(part, push, lift, [(300, 150)])
    assert of(mine, "slips").bound == pytest.approx(limits["slips"].bound)


PROGRAM = """G21 G90 G17
T3 M6
S16000 M3
G0 X0 Y0 Z20
G1 Z-3 F1000
G1 X100 F3000
G0 Z20
G0 X0 Y50
G1 Z-3 F1000
G1 X100 F3000
G0 Z20
T4 M6
S12000 M3
G0 X0 Y80
G1 Z-2 F900
G1 X50 F2000
G1 X100
G0 Z20
M30
"""


def test_a_clamp_lower_than_the_part_keeps_it_down_by_rubbing_alone():
    """By hand: 400 N at the edge, friction 0.3: 120 N against 60 N of lift; the same clamp over the part 400 N."""
    cam = Fixture("cam", "", "clamp", force=400.0, length=60.0, width=60.0, height=14.0)
    at = {"x": -30.0, "y": 150.0, "presses": (0.0, 150.0)}
    for on, down in ((-40.0, 120.0), (-5.0, 400.0)):
        found = check_holding(held(Placed(cam, on=on, **at)), 10.0, 60.0, [(300, 150)])
        assert of(found, "lifts").bound == pytest.approx(down)
        assert of(found, "lifts").used == pytest.approx(60 / down)


def test_a_program_is_taken_up_from_the_last_safe_height():
    machine = Shop.open(DATA).machine("router")
    moves = read_text(PROGRAM, "grooves.nc", machine).moves
    inside = resume_after(moves, machine, 16)  # half way along the last groove
    assert (inside.line, inside.cutter, inside.rpm, inside.changed) == (15, 4, 12000, True)
    assert inside.above == (0, 80)
    assert inside.safe_height == 20
    assert inside.repeated == pytest.approx(22 + 50)
    begin = int(np.flatnonzero(moves.line == 15)[0])
    assert inside.seconds_left == machine_time(moves.part(begin, len(moves)), machine).total_s
    between = resume_after(moves, machine, 8)
    assert (between.line, between.cutter, between.changed, between.repeated) == (9, 3, False, 0.0)
    start = resume_after(moves, machine, 0)
    assert start.line <= 5
    words = " ".join(inside.says())
    for word in ("Inspect cutter T4", "measure its length again", "12000 rev/min before anything touches", "line 15"):
        assert word in words
    for line in (17, 19, 99, -1):
        with pytest.raises(InputError, match="nothing is cut after"):
            resume_after(moves, machine, line)


def test_less_is_left_the_later_it_stopped():
    machine = Shop.open(DATA).machine("router")
    moves = read_text(PROGRAM, "grooves.nc", machine).moves
    left = [resume_after(moves, machine, k).seconds_left for k in range(16)]
    assert left == sorted(left, reverse=True)
    assert left[0] <= machine_time(moves, machine).total_s


def test_loops_are_no_place_to_begin():
    machine = Shop.open(DATA).machine("router")
    text = "G21 G90\nT1 M6\nS9000 M3\nG0 X0 Y0 Z5\nO10 repeat [3]\nG1 Z-1 F500\nG1 X9\nG0 Z5\nO10 endrepeat\nM30\n"
    with pytest.raises(InputError, match="more than once"):
        resume_after(read_text(text, "grooves.nc", machine).moves, machine, 6)
