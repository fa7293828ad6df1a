"""Pictures of lessons four to eight against closed forms, brute force and shapely: what is drawn is what happens."""

import math

import numpy as np
import pytest
from shapely import LineString, Point, Polygon
from shapely.affinity import translate

from shopcalc.controls import bending_control, climb_control, minutes_control, shapes_control, surface_control
from shopcalc.controls.played import square_cutter

IN = 25.4


@pytest.fixture(scope="module")
def climb():
    return climb_control("metric")


@pytest.fixture(scope="module")
def tenon():
    return bending_control("metric")


@pytest.mark.parametrize("system", ["inch", "metric"])
@pytest.mark.parametrize("way", ["climb", "conventional"])
def test_the_chip_is_drawn_where_two_circles_a_feed_per_tooth_apart_differ(climb, way, system):
    """Area between the paths of two flutes, by shapely, against the drawn sickle over its magnification."""
    climb.units.value, climb.way.value, climb.width.value = system, way, 4.0
    climb.feed.value, climb.rpm.value = 5600.0, 14000
    per = IN if system == "inch" else 1.0
    f, r = 5600 / 14000 / 2, 6.35
    assert climb.per_tooth == pytest.approx(f)
    now = Point(0, 0).buffer(r, 512)
    wood = Polygon([(-20, -r), (20, -r), (20, 4 - r), (-20, 4 - r)])
    if way == "conventional":
        wood = Polygon([(x, -y) for x, y in wood.exterior.coords])
    taken = now.difference(translate(now, -f)).intersection(wood).area
    sickle = Polygon(zip(np.array(climb.figure.data[3].x) * per, np.array(climb.figure.data[3].y) * per, strict=True))
    times = int(next(a.text for a in climb.figure.layout.annotations if "as thick" in a.text).split()[2])
    # the drawn sickle bends inwards: thickness t covers (r - t / 2) for each radian, a chip r
    assert sickle.area / times == pytest.approx(taken, rel=0.5 * times * f / r + 0.02)
    assert (sickle.centroid.y < 0) == (way == "climb")
    assert sickle.centroid.x > 0, "the chip lies ahead of the cutter"
    climb.units.value = "metric"


def test_in_a_full_slot_the_push_is_the_same_and_the_walls_are_opposite(climb):
    climb.width.value = 12.7
    pushes, offs = [], []
    for climb.way.value in ("climb", "conventional"):
        pushes.append(climb.push)
        offs.append(climb.off["likely"])
    assert pushes[0] == pytest.approx(pushes[1])
    assert offs[0] == pytest.approx(-offs[1], rel=1e-6)


def test_a_climb_cut_stands_off_and_words_arrow_and_wall_agree(climb):
    climb.way.value, climb.width.value = "climb", 6.35
    assert climb.off["likely"] > 0
    assert "AWAY from the wall" in climb.verdict
    assert "stays on the wall" in climb.verdict
    wall, cut = climb.figure.data[0].y[0], climb.figure.data[4].y[0]
    assert wall < cut < 0, "wood is left between the wall and the cutter"
    longer = climb.off["likely"]
    climb.stick_out.value = 75
    assert climb.off["likely"] > longer
    climb.stick_out.value = 50.8


def bent(stick_out, flutes, diameter, force=100.0, modulus=600e3, n=20_000):
    """Tip of a stepped bar by summing curvature: four fifths of the diameter along the flutes (Kops and Vo 1990)."""
    x = (np.arange(n) + 0.5) * stick_out / n
    d = np.where(x < stick_out - flutes, diameter, 0.8 * diameter)
    return float(np.sum(force * (stick_out - x) ** 2 / (modulus * np.pi * d**4 / 64)) * stick_out / n)


@pytest.mark.parametrize(("out", "diameter"), [(31.0, 6.0), (44.45, 7.9375), (80.0, 12.7)])
def test_the_tip_gives_as_a_stepped_bar_does(tenon, out, diameter):
    tenon.stick_out.value, tenon.diameter.value = out, diameter
    cutter = square_cutter(diameter, out)
    modulus = tenon.plain_give and 100 * out**3 / (3 * tenon.plain_give * math.pi * diameter**4 / 64)
    assert 500e3 < modulus < 700e3, "that of carbide"
    assert tenon.tip_give == pytest.approx(bent(out, cutter.cutting_length, diameter, modulus=modulus), rel=2e-3)


def test_twice_as_long_gives_eight_times_and_twice_as_thick_a_sixteenth(tenon):
    tenon.diameter.value = 8.0
    gives = []
    for tenon.stick_out.value in (35.0, 70.0):
        gives.append(tenon.plain_give)
    assert gives[1] / gives[0] == pytest.approx(8)
    tenon.diameter.value = 16.0
    assert tenon.plain_give / gives[1] == pytest.approx(1 / 16)


@pytest.mark.parametrize("system", ["inch", "metric"])
def test_the_tenon_is_drawn_as_thick_as_said_by_its_magnification(system):
    tenon = bending_control(system)
    tenon.level.value = 10.0
    assert tenon.levels == 4, "38.1 mm in levels of 10 mm at most"
    per = IN if system == "inch" else 1.0
    shape = Polygon(zip(np.array(tenon.figure.data[1].x) * per, np.array(tenon.figure.data[1].y) * per, strict=True))
    times = int(next(a.text for a in tenon.figure.layout.annotations if "error" in a.text).split()[2])
    level = 38.1 / 4
    for height in (0.1 * level, 0.5 * level, 2.5 * level):
        across = shape.intersection(LineString([(-50, height), (50, height)])).length
        error = np.interp(height % level, np.linspace(0, level, 13), tenon.off["likely"])
        assert (across - 12.7) / 2 / times == pytest.approx(error, rel=1e-3)
    assert ("too thick" in tenon.verdict) == (tenon.off["likely"].mean() > 0)


@pytest.mark.parametrize("system", ["inch", "metric"])
@pytest.mark.parametrize(("ball", "step", "slope"), [(6.0, 0.5, 0), (3.0, 0.4, 30), (12.0, 2.0, 45)])
def test_the_face_is_what_balls_side_by_side_leave(system, ball, step, slope):
    """Balls by shapely, along the slope; the cusp is the greatest height between them."""
    face = surface_control(system)
    face.diameter.value, face.stepover.value, face.slope.value = ball, step, slope
    far = step / math.cos(math.radians(slope))
    circles = [Point(k * far, ball / 2).buffer(ball / 2, 4096) for k in (0, 1)]
    middle = LineString([(far / 2, -1), (far / 2, ball)])
    cusp = min(middle.intersection(c).bounds[1] for c in circles)
    assert face.cusp == pytest.approx(cusp, rel=1e-3)
    per = IN if system == "inch" else 1.0
    assert max(face.figure.data[0].y) * per == pytest.approx(face.cusp, rel=1e-9)
    lines = np.array(face.figure.data[2].x) * per
    assert np.diff(lines) == pytest.approx(np.full(4, far))


def test_half_the_stepover_takes_twice_the_minutes_and_leaves_a_quarter():
    face = surface_control("metric")
    face.diameter.value, face.stepover.value = 12.0, 0.8
    cusp, seconds = face.cusp, face.seconds
    face.stepover.value = 0.4
    assert face.cusp / cusp == pytest.approx(1 / 4, rel=2e-3)
    assert face.seconds / seconds == pytest.approx(2, rel=0.01)
    face.stepover.value = 30.0
    assert "no wider" in face.verdict


def by_formula(length, feed, a):
    """Rest to rest at even acceleration."""
    v = feed / 60
    return length / v + v / a if length >= v * v / a else 2 * math.sqrt(length / a)


@pytest.mark.parametrize("system", ["inch", "metric"])
@pytest.mark.parametrize(
    ("length", "feed", "a"), [(10.0, 6000.0, 500.0), (200.0, 3000.0, 800.0), (25.4, 9000.0, 300.0)]
)
def test_minutes_are_those_of_even_acceleration(system, length, feed, a):
    moves = minutes_control(system)
    moves.length.value, moves.feed.value, moves.rate.value, moves.count.value = length, feed, a, 30
    assert moves.seconds == pytest.approx(30 * by_formula(length, feed, a), rel=1e-9)
    assert moves.plain == pytest.approx(30 * length / feed * 60)
    reached = min(feed, 60 * math.sqrt(a * length))
    assert moves.reached == pytest.approx(reached, rel=1e-6)
    assert ("NEVER" in moves.verdict) == (reached < 0.999 * feed)
    per = IN if system == "inch" else 1.0
    assert max(moves.figure.data[0].y) * per == pytest.approx(reached, rel=1e-6)
    moves.corner.value = False
    assert moves.seconds == pytest.approx(by_formula(30 * length, feed, a), rel=1e-9)


@pytest.mark.parametrize("system", ["inch", "metric"])
@pytest.mark.parametrize(
    ("shape", "angle", "tip"), [("V", 60, 0.3), ("V", 120, 0.2), ("ball", 60, 9.0), ("tapered ball", 12, 3.0)]
)
def test_grooves_are_the_sections_of_cone_and_sphere(system, shape, angle, tip):
    """Outline by hand: a cone over its flat, a circle, a cone that touches a circle."""
    groove = shapes_control(system)
    groove.shape.value, groove.angle.value, groove.tip.value = shape, angle, tip
    groove.depth.value, groove.zero.value = 3.0, 0.4
    for depth, width in zip((3.0, 3.4), groove.widths, strict=True):
        assert width == pytest.approx(across(shape, math.radians(angle) / 2, tip, depth), rel=1e-9)
    per = IN if system == "inch" else 1.0
    x, y = (np.array(v) * per for v in (groove.figure.data[1].x, groove.figure.data[1].y))
    assert 2 * np.interp(0.0, y[x >= 0], x[x >= 0]) == pytest.approx(groove.widths[0], rel=1e-3)
    assert min(groove.figure.data[2].y) * per == pytest.approx(-3.4)
    assert groove.rim == pytest.approx(math.pi * groove.widths[0] * 16000 / 60)


def across(shape, half, tip, depth):
    r = tip / 2
    if shape == "V":
        return tip + 2 * depth * math.tan(half)
    if shape == "ball":
        return 2 * math.sqrt(r * r - max(r - depth, 0) ** 2)
    touch = r * (1 - math.sin(half))
    return 2 * (r * math.cos(half) + (depth - touch) * math.tan(half))


@pytest.mark.parametrize("make", [climb_control, bending_control, surface_control, minutes_control, shapes_control])
def test_units_change_what_is_written_and_not_what_is_reckoned(make):
    control = make("inch")
    before, words, values = control.verdict, control.table.value, [m.value for m in control._measured]
    assert " in" in before + words
    control.units.value = "metric"
    assert " mm" in control.verdict + control.table.value
    assert [m.value for m in control._measured] == values
    assert "chatter" in control.table.value.lower() or make is minutes_control
    control.units.value = "inch"
    assert (control.verdict, control.table.value) == (before, words)
