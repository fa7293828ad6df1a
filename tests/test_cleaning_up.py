"""Planes in rough boards against linear programs written apart, brute force and closed forms; cup against the arc."""

import math

import numpy as np
import pytest
from scipy.optimize import linprog

from shopcalc.cutters import Cutter
from shopcalc.errors import InputError
from shopcalc.holding.cleaning_up import clean_up, grid, least_plane, planned_thickness, rough_board
from shopcalc.holding.measured_faces import faces, read_faces
from shopcalc.holding.surfacing import both_faces, surfacing, tramming_error, tramming_ridge
from shopcalc.holding.two_faces import Wet, cup_after, schedules
from shopcalc.machines import Axis, Machine
from shopcalc.motion import machine_time
from shopcalc.paths import Cutting, face
from shopcalc.seasons import Band, Movement
from shopcalc.seasons.boards import ring_difference

NONE = Band(0.0, 0.0, 0.0)
OAK = Movement("white oak", 0.0018, 0.00365)
SURF = Cutting(Cutter("S", "", "surfacing", 50.0, 12.0, 3, 12.0, 70.0, 38.0), 6000, 1000, 14000, depth_per_pass=1.5)
MACHINE = Machine(axes=(Axis(20000, 12000, 800), Axis(20000, 12000, 800), Axis(10000, 5000, 500)))


def random_board(rng, n=25):
    x, y = rng.uniform(0, 900, n), rng.uniform(0, 400, n)
    lower = 2 * rng.random(n) + rng.normal(0, 1e-3) * x + 1e-5 * (y - 200) ** 2
    lower -= lower.min()
    return faces(x, y, above=lower + rng.uniform(24, 26, n), below=lower)


def greatest_by_duals(b):
    """The dual: the least mean gap of upper over lower points whose weighted places agree."""
    n = len(b.x)
    same = [np.r_[np.ones(n), np.zeros(n)], np.r_[np.zeros(n), np.ones(n)]]
    same += [np.r_[v, -v] for v in (b.x, b.y)]
    done = linprog(np.r_[b.upper, -b.lower], A_eq=np.array(same), b_eq=[1, 1, 0, 0], method="highs-ds")
    return done.fun


def test_the_greatest_thickness_is_the_dual_programs():
    rng = np.random.default_rng(1)
    for _ in range(30):
        b = random_board(rng)
        assert clean_up(b).greatest == pytest.approx(greatest_by_duals(b), abs=1e-6)


def test_planes_lie_inside_and_no_random_one_does_better():
    rng = np.random.default_rng(2)
    for _ in range(20):
        b = random_board(rng)
        found = clean_up(b, skin=0.3)
        assert min(found.depth_a.min(), found.depth_b.min()) >= 0.3 - 1e-6
        thinner = clean_up(b, found.greatest - 1.0, skin=0.3)
        assert thinner.cleans_up
        assert np.ptp(thinner.depth_a + thinner.depth_b - b.thickness) < 1e-9  # whatever the plane, in sum the same
        worst = thinner.depth_a.max() + thinner.depth_b.max()
        for _ in range(200):
            q, r = thinner.plane[1:] + rng.normal(0, 1e-3, 2)
            tilt = q * b.x + r * b.y
            high, low = (b.upper - 0.3 - tilt).min(), (b.lower + 0.3 - tilt).max() + thinner.thickness
            if high >= low:  # deepest on A and on B do not depend on the height between the two
                mine = (b.upper - tilt).max() - (b.lower - tilt).min() - thinner.thickness
                assert mine >= worst - 1e-5


def test_what_is_missed_is_the_least_in_sum():
    """Against the same question over a fine grid of planes."""
    rng = np.random.default_rng(3)
    for _ in range(4):
        b = random_board(rng, 12)
        found = clean_up(b, clean_up(b).greatest + 1.0)
        assert not found.cleans_up
        missed = np.maximum(-found.depth_a, 0).sum() + np.maximum(-found.depth_b, 0).sum()
        assert missed >= 1.0 - 1e-6  # two planes one further apart than fits miss at least that together
        for _ in range(3000):
            p, q, r = np.array(found.plane) + rng.normal(0, 1, 3) * (0.5, 1e-3, 2e-3) * rng.choice([0.05, 1.0])
            top = p + q * b.x + r * b.y
            other = np.maximum(top - b.upper, 0).sum() + np.maximum(b.lower - top + found.thickness, 0).sum()
            assert other >= missed - 1e-6


@pytest.mark.parametrize(
    ("bend", "taken"), [({"cup": 2}, 2), ({"bow": 3}, 3), ({"twist": 4}, 2), ({"cup": 2, "bow": 3}, 5)]
)
def test_cup_bow_and_twist_take_what_geometry_says(bend, taken):
    """An arc fills a slab of its own depth; a corner that stands up by w fills w / 2 when shared out evenly."""
    assert clean_up(rough_board(800, 500, 30, **bend)).greatest == pytest.approx(30 - taken, abs=1e-6)


def test_tilting_a_board_changes_nothing_but_its_plane():
    b = rough_board(800, 500, 30, cup=1, twist=3)
    tilt = 0.01 * b.x - 0.02 * b.y + 20
    one, two = clean_up(b, 25), clean_up(faces(b.x, b.y, above=b.upper + tilt, below=b.lower + tilt), 25)
    assert two.plane[1:] == pytest.approx((one.plane[1] + 0.01, one.plane[2] - 0.02), abs=1e-6)
    assert two.depth_a == pytest.approx(one.depth_a, abs=1e-4)
    assert two.greatest == pytest.approx(one.greatest, abs=1e-6)
    level = two.shims - (b.lower + tilt - two.plane[1] * b.x - two.plane[2] * b.y)
    assert np.ptp(level) < 1e-9
    assert two.shims.min() == 0


def test_one_face_alone_takes_least_on_the_mean():
    rng = np.random.default_rng(4)
    for face_name, sign in (("A", 1), ("B", -1)):
        b = random_board(rng)
        p, q, r = least_plane(b, face_name)
        heights = b.upper if face_name == "A" else b.lower
        depth = sign * (heights - (p + q * b.x + r * b.y))
        assert depth.min() == pytest.approx(0, abs=1e-6)
        assert np.sum(depth < 1e-5) >= 3  # rests on three points
        for _ in range(200):
            tilt = (q + rng.normal(0, 1e-3)) * b.x + (r + rng.normal(0, 1e-3)) * b.y
            other = sign * (heights - tilt)
            assert np.mean(other - other.min()) >= depth.mean() - 1e-6


def test_all_ways_of_measuring_give_the_same_faces():
    b = rough_board(900, 400, 28, cup=1.5, twist=2)
    plane = 3 + 0.002 * b.x - 0.004 * b.y + b.upper.max()  # as it might lie on its other face
    some = np.where(np.arange(len(b.x)) % 7 == 0, b.thickness, np.nan)
    for given in (
        {"above": b.upper, "below": b.lower}, {"above": b.upper, "thickness": b.thickness},
        {"below": b.lower, "thickness": b.thickness}, {"above": b.upper, "turned": plane - b.lower, "thickness": some},
    ):  # fmt: skip
        got = faces(b.x, b.y, **given)
        assert got.upper == pytest.approx(b.upper)
        assert got.lower == pytest.approx(b.lower, abs=1e-9)
    assert "taken to lie flat" in faces(b.x, b.y, thickness=b.thickness).notes[0]


def test_a_table_in_inches_reads_as_in_millimetres(tmp_path):
    inch, metric = tmp_path / "inch.csv", tmp_path / "metric.csv"
    inch.write_text("x,y,above,below\nunit,in,in,in\n0 in,0,1.25,0\n30 in,0,1 1/4 in,0.05\n0 in,12,1.3,0\n")
    metric.write_text("x,y,above,below\n0 mm,0 mm,31.75 mm,0 mm\n762 mm,0 mm,31.75 mm,1.27 mm\n"
                      "0 mm,304.8 mm,33.02 mm,0 mm\n")  # fmt: skip
    a, b = read_faces(inch), read_faces(metric)
    assert a.upper == pytest.approx(b.upper)
    assert a.lower == pytest.approx(b.lower)
    assert a.y == pytest.approx(b.y)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("x,y,above,below\n0 mm,0 mm,20,0 mm\n9 mm,0 mm,20 mm,-1 mm\n0 mm,9 mm,,0 mm\n", ("row 2", "row 3", "row 4")),
        ("x,y,above\n0 mm,0 mm,20 mm\n9 mm,0 mm,20 mm\n0 mm,9 mm,20 mm\n", ("do not tell both faces",)),
        ("x,y,above,below\n0 mm,0 mm,2 mm,0 mm\n9 mm,0 mm,2 mm,0 mm\n5 mm,0 mm,2 mm,0 mm\n", ("span a face",)),
        ("x,y,above,below\n0 mm,0 mm,2 mm,3 mm\n9 mm,0 mm,2 mm,0 mm\n5 mm,7 mm,2 mm,0 mm\n", ("no wood is left",)),
        ("x,y,abov\n0 mm,0 mm,20 mm\n", ("did you mean 'above'",)),
    ],
)
def test_faults_of_a_table_are_told_together(tmp_path, text, words):
    file = tmp_path / "board.csv"
    file.write_text(text)
    with pytest.raises(InputError) as caught:
        read_faces(file)
    for word in words:
        assert word in str(caught.value)
    assert "board.csv" in str(caught.value)


def test_what_is_expected_of_rough_stock_is_what_its_bends_take():
    band = planned_thickness(800, 500, 30, cup=Band(0.5, 1, 2), bow=NONE, twist=NONE, skin=0.5)
    assert band == pytest.approx((27, 28, 28.5))
    assert len(grid(800, 500, 5, 3)) == 15


def test_in_words_it_says_where_it_misses():
    b = rough_board(800, 500, 30, cup=3)
    words = clean_up(b, 28.0).says()
    assert "27 mm is the most" in words[0]
    assert clean_up(b, 26.0).says("inch")[0].startswith("cleans up at 1.024 in")


def test_surfacing_minutes_are_those_of_the_path():
    found = clean_up(rough_board(800, 500, 30, cup=3, twist=1), 25.0)
    a, b = both_faces(found, SURF, 800, 500, MACHINE, pattern="along", tramming=tramming_error(0.1, 250))
    for one, depth in ((a, found.depth_a.max()), (b, found.depth_b.max())):
        path = face(SURF, 800, 500, depth=float(depth), pattern="along")
        assert one.seconds == machine_time(path, MACHINE).total_s
        assert one.levels == math.ceil(depth / 1.5)
        assert one.lines == math.ceil(500 / 22.5)
    one = surfacing(SURF, 800, 500, 1.0, MACHINE)
    assert one.lines * 800 / 6000 * 60 < one.seconds < 3 * one.lines * 800 / 6000 * 60


def test_a_cutter_out_of_tram_leaves_what_its_tilted_circle_leaves():
    """Lowest height of a tilted disc's rim over each place across, for lines side by side."""
    d, step, slope = 50.0, 20.0, 0.002
    v = np.linspace(-step / 2, step / 2, 2001)
    rim = np.sqrt((d / 2) ** 2 - v**2)
    along = -slope * rim
    assert tramming_ridge(step, d, along=slope) == pytest.approx(np.ptp(along), rel=1e-6)
    assert tramming_ridge(step, d, across=slope) == pytest.approx(step * slope)


def test_cup_from_a_difference_between_the_faces_is_the_arcs():
    """w^2 C dM / (8 t), for quarter- and flat-sawn wood; and the exact sagitta of a circle of that curvature."""
    for rings, c in (("flat-sawn", 0.00365), ("quarter-sawn", 0.0018)):
        w, t, dm = 300.0, 25.0, 1.0
        got = cup_after(w, t, 0.0, OAK, Wet(9.0, faces=dm), rings)
        assert got.likely == pytest.approx(w**2 * c * dm / (8 * t), rel=1e-3)
        radius = t / (c * dm)
        assert got.likely == pytest.approx(radius - math.sqrt(radius**2 - w**2 / 4), rel=2e-3)


def test_cup_of_a_wet_core_is_the_bend_of_a_layered_beam():
    """Layers that shrink to one moisture each pull by themselves; force and moment of the stack set to zero."""
    w, t, taken, core, mean = 400.0, 30.0, 4.0, 2.0, 9.0
    z = (np.arange(20000) + 0.5) / 20000 * (t - taken) - t / 2
    moisture = mean + core * (1 - (2 * z / t) ** 2)
    free = -0.00365 * (moisture - moisture.mean())
    slope = np.polyfit(z, free, 1)[0]
    got = cup_after(w, t, taken, OAK, Wet(mean, core=core), "flat-sawn")
    assert got.likely == pytest.approx(abs(slope) * w**2 / 8, rel=1e-3)
    assert cup_after(w, t, taken, OAK, Wet(mean, core=core), "flat-sawn", 0.5).likely == pytest.approx(got.likely / 2)


def test_rings_add_their_own_cup_when_the_mean_changes():
    both = cup_after(300, 20, 0.0, OAK, Wet(10.0, faces=0.3, to=7.0), "flat-sawn")
    rings = abs(ring_difference(20, 75.0, OAK, 10.0, 7.0)) * 300**2 / (8 * 20)
    even = 300**2 * 0.00365 * 0.3 / (8 * 20)
    assert both.most == pytest.approx(even + rings, rel=1e-3)
    assert cup_after(300, 20, 0.0, OAK, Wet(10.0, to=7.0), "quarter-sawn").most == 0.0


def test_a_rest_between_leaves_a_panel_flatter_than_none_when_faces_differ():
    """All wet on one side: what is evened out before the last cuts does not bend afterwards."""
    found = {s.name: s for s in schedules(500, 30, 24, OAK, Wet(9.0, faces=1.0), rings="flat-sawn",
                                          seconds=lambda d: 300 + 100 * d)}  # fmt: skip
    one, rest = found["one face, then the other"], found["rough both, rest, finish both"]
    free = 500**2 * 0.00365 / (8 * 30)
    assert one.error.likely == pytest.approx(free, rel=1e-3)  # face A was flat before anything evened out
    assert rest.error.likely == pytest.approx((1 - 0.85) * 0.9 * free, rel=1e-3)
    assert (one.minutes, rest.minutes) == (2 * 600 / 60 + 4, (2 * 500 + 2 * 400) / 60 + 12)
    assert one.thickness == rest.thickness == 24
    for s in found.values():
        assert s.at_tongue.least == pytest.approx(24 - s.uneven.most)
        assert sum(step.depth for step in s.steps) == pytest.approx(6)


def test_dry_wood_needs_no_schedule():
    for s in schedules(500, 30, 24, OAK, Wet(8.0), seconds=lambda d: 60.0):
        assert s.error == NONE
        assert s.fits


@pytest.mark.parametrize(
    ("make", "word"),
    [
        (lambda: clean_up(rough_board(800, 500, 30), 20, skin=-1), "skin"),
        (lambda: clean_up(rough_board(800, 500, 3, cup=4)), "no even thickness"),
        (lambda: cup_after(300, 20, 20, OAK, Wet(8)), "less than its thickness"),
        (lambda: cup_after(300, 20, 2, OAK, Wet(8), evened=2), "share"),
        (lambda: schedules(300, 20, 20, OAK, Wet(8), seconds=lambda d: d), "nothing is to be taken"),
        (lambda: schedules(300, 20, 18, OAK, Wet(8), turns=1, seconds=lambda d: d), "take turns"),
        (lambda: faces([0, 1, 0], [0, 0, 1], above=[1, 1, 1], turned=[1, 1, 1]), "0 thicknesses"),
        (lambda: tramming_ridge(60, 50), "leaves wood"),
        (lambda: grid(10, 10, 1, 3), "no grid"),
    ],
)
def test_what_makes_no_sense_is_refused(make, word):
    with pytest.raises(InputError, match=word):
        make()
