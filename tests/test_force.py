"""Forces against vectors written anew, adaptive quadrature, thin discs turned one by one, and hand cases of the signs.

The oracle: a flute at rotation angle a stands at the outward radius r and moves along m (clockwise from above). Where
it is in the wood it takes a chip of feed per tooth times how far m carries it to the right; the force on the cutter is
-F_t m - F_n r. Mode shares come from the three directions of the cut: along it, along the edge, square to both.
"""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from shopcalc.cutters import Cutter
from shopcalc.cutting.force import BANDS, Coefficients, Load, coefficients, plunge
from shopcalc.cutting.grain import grain_vector
from shopcalc.errors import InputError
from shopcalc.materials import read_materials

WOOD = read_materials()
MAPLE = WOOD["hard-maple"]
SOME = Coefficients(
    np.array([0.8, 0.5, 1.6]), np.array([12.0, 7.2, 24.0]), np.array([0.9, 0.4, 1.5]), np.array([1.1, 1.5, 2.0])
)
UP = np.array([0.0, 0.0, 1.0])

directions = st.sampled_from(["climb", "conventional"])
grains = st.builds(grain_vector, st.sampled_from(["flat", "edge", "end"]), st.floats(-3, 3), st.floats(-0.6, 0.6))


def square_end(diameter=12.0, helix=0.0, flutes=2, way="up", length=60.0):
    return Cutter("SQ", "", "square end", diameter, diameter, flutes, length, 120, 80, helix=helix, cut_direction=way)


BALL = Cutter("BALL", "", "ball", 6, 6, 2, 20, 60, 30, helix=0.5)
VEE = Cutter("VEE", "", "V", 12, 6, 2, 10, 60, 30, included_angle=1.2, tip_diameter=0.2)


def terms(c, grain, a, lean=0.0, slope=math.pi / 2):
    """Edge and chip part of (F_t, F_n) for each mm of height; (..., 2) each."""
    a, slope = np.broadcast_arrays(np.asarray(a, dtype=float), slope)
    r = np.stack([np.sin(a), np.cos(a), 0 * a], -1)
    m = np.stack([np.cos(a), -np.sin(a), 0 * a], -1)
    rising = np.cos(slope)[..., None] * r + np.sin(slope)[..., None] * UP
    along = math.cos(lean) * m - math.sin(lean) * rising
    edge = math.cos(lean) * rising + math.sin(lean) * m
    square = np.sin(slope)[..., None] * r - np.cos(slope)[..., None] * UP
    share = np.stack([along @ grain, edge @ grain, square @ grain], -1) ** 2
    length = 1 / (math.cos(lean) * np.sin(slope))
    ahead = m @ np.array([0.0, -1.0, 0.0])  # the motion's part to the right is the sine of the angle
    edge_part = np.stack([share @ c.edge * length, share @ c.normal_edge * length], -1)
    return edge_part, np.stack([share @ c.chip * ahead, share @ c.normal_chip * ahead], -1), r, m


def on_cutter(c, grain, a, f, lean=0.0, slope=math.pi / 2):
    """Feed and side force, and tangential force, for each mm of height; (..., 3)."""
    edge_part, chip_part, r, m = terms(c, grain, a, lean, slope)
    both = edge_part + f * chip_part
    force = -both[..., :1] * m - both[..., 1:] * np.sin(slope)[..., None] * r
    return np.concatenate([force[..., :2], both[..., :1]], -1)


def lean_of(cutter):
    """Rising up-cut flutes trail."""
    return cutter.helix if cutter.cut_direction == "down" else -cutter.helix


def shape(cutter, z):
    """Radius and slope at heights, from the shape's own geometry."""
    if cutter.shape == "ball":
        rest = np.maximum(cutter.diameter / 2 - z, 0)
        return np.sqrt((cutter.diameter / 2) ** 2 - rest**2), np.arccos(rest / (cutter.diameter / 2))
    if cutter.shape == "V":
        half = cutter.included_angle / 2
        return cutter.tip_diameter / 2 + z * math.tan(half), np.full_like(z, math.pi / 2 - half)
    return np.full_like(z, cutter.diameter / 2), np.full_like(z, math.pi / 2)


def within(a, radius, width, direction):
    """Whether a place on the rim is in the wood: ahead of the axis and on the wall's side of what was there before."""
    y, ahead = radius * np.cos(a), np.sin(a) >= -1e-12
    wide = np.minimum(width, 2 * radius)
    return ahead & (y >= radius - wide - 1e-9 if direction == "conventional" else y <= wide - radius + 1e-9)


def by_discs(cutter, c, grain, width, level, direction, f, positions, discs=3000):
    """(positions, 4): feed, side, torque of all flutes on thin discs, with the tip of the first flute at each angle."""
    z = (np.arange(discs) + 0.5) * level / discs
    radius, slope = shape(cutter, z)
    lag = z * math.tan(cutter.helix) / radius * (-1 if cutter.cut_direction == "down" else 1)
    out = []
    for p in positions:
        total = np.zeros(3)
        for k in range(cutter.flutes):
            a = p + 2 * math.pi * k / cutter.flutes - lag
            force = on_cutter(c, grain, a, f, lean_of(cutter), slope) * (level / discs)
            force[:, 2] *= radius
            total += force[within(a, radius, width, direction)].sum(axis=0)
        out.append(total)
    return np.array(out)


# --- means


@settings(max_examples=30)
@given(
    st.floats(0.02, 1), st.floats(3, 30), st.floats(0, 0.8), st.integers(1, 4), grains, directions,
    st.floats(0.02, 0.8), st.sampled_from(["up", "down"]),
)  # fmt: skip
def test_means_against_quadrature(share, diameter, helix, flutes, grain, direction, f, way):
    cutter = square_end(diameter, helix, flutes, way)
    width, level = share * diameter, 7.0
    arc = 2 * math.asin(math.sqrt(share))  # half-angle form, not the one in the code
    ends = (0, arc) if direction == "conventional" else (math.pi - arc, math.pi)
    scale = level * flutes / (2 * math.pi)

    def mean(i):
        return scale * quad(lambda a: on_cutter(SOME, grain, a, f, lean_of(cutter))[i], *ends, epsabs=1e-9)[0]

    got = Load(cutter, SOME, grain, width, level, direction).at(f)
    size = abs(mean(2))
    assert got.torque == pytest.approx(mean(2) * diameter / 2, rel=1e-6)
    assert got.feed == pytest.approx(mean(0), rel=1e-6, abs=1e-6 * size)
    assert got.side == pytest.approx(mean(1), rel=1e-6, abs=1e-6 * size)


@settings(max_examples=30)
@given(st.floats(0.02, 1), st.floats(0, 0.8), grains, directions, st.floats(0.02, 0.8))
def test_torque_is_the_energy_of_the_wood_removed(share, helix, grain, direction, f):
    """Mean torque x 2 pi over the volume of a turn is the specific energy: edge terms over the path, chip by area."""
    cutter = square_end(helix=helix)
    width, level = share * 12, 9.0
    load = Load(cutter, SOME, grain, width, level, direction)
    arc = 2 * math.asin(math.sqrt(share))
    ends = (0, arc) if direction == "conventional" else (math.pi - arc, math.pi)
    volume = cutter.flutes * f * width * level

    def work(a):  # of one mm of height over one mm of path, times the radius
        edge_part, chip_part, _, _ = terms(SOME, grain, a, -helix)
        return 6.0 * float(edge_part[0] + f * chip_part[0])

    wanted = cutter.flutes * level * quad(work, *ends, epsabs=1e-10)[0] / volume
    assert load.at(f).torque * 2 * math.pi / volume == pytest.approx(wanted, rel=1e-6)


def test_one_coefficient_for_all_modes_is_the_specific_energy_itself():
    """24 N/mm2 whatever grain, width and direction."""
    flat = Coefficients(np.zeros(3), np.full(3, 24.0), np.zeros(3), np.zeros(3))
    for grain, width, direction in [((1, 0, 0), 12, "climb"), ((0, 0, 1), 2, "conventional"), ((0, 1, 0), 7, "climb")]:
        torque = Load(square_end(), flat, grain, width, 8, direction).at(0.2).torque
        assert torque * 2 * math.pi / (2 * 0.2 * width * 8) == pytest.approx(24)


@pytest.mark.parametrize("direction", ["climb", "conventional"])
@pytest.mark.parametrize(
    ("cutter", "level", "width"),
    [(BALL, 0.1, 0.4), (BALL, 0.5, 0.5), (BALL, 2.0, 0.5), (BALL, 2.0, 4.0), (BALL, 6.0, 2.0), (VEE, 3.0, 0.5),
     (VEE, 3.0, 3.0), (VEE, 0.6, 0.3)],
)  # fmt: skip
def test_balls_and_vs_against_many_thin_discs(cutter, level, width, direction):
    """Ten slices against 8000 discs, by quadrature over each disc's own arc: within 3 % of the tangential force."""
    grain, f, discs = grain_vector("flat", 0.4, 0.1), 0.1, 8000
    z = (np.arange(discs) + 0.5) * level / discs
    radius, slope = shape(cutter, z)
    arc = 2 * np.arcsin(np.sqrt(np.minimum(1, width / (2 * radius))))
    nodes, weights = np.polynomial.legendre.leggauss(20)
    a = arc[:, None] * (nodes + 1) / 2 + (0 if direction == "conventional" else (math.pi - arc)[:, None])
    w = weights * arc[:, None] / 2 * cutter.flutes / (2 * math.pi) * level / discs
    force = on_cutter(SOME, grain, a, f, lean_of(cutter), np.broadcast_to(slope[:, None], a.shape))
    feed, side = (np.sum(w * force[..., i]) for i in (0, 1))
    torque, size = np.sum(w * force[..., 2] * radius[:, None]), np.sum(w * force[..., 2])
    got = Load(cutter, SOME, grain, width, level, direction).at(f)
    assert got.torque == pytest.approx(torque, rel=0.03)
    assert got.feed == pytest.approx(feed, abs=0.03 * size)
    assert got.side == pytest.approx(side, abs=0.03 * size)


# --- within a turn


@settings(max_examples=25)
@given(
    st.floats(0.1, 1), st.sampled_from([4.0, 6.0, 12.0]), st.floats(0.1, 0.8), st.integers(1, 3), grains, directions,
    st.floats(2, 40), st.sampled_from(["up", "down"]),
)  # fmt: skip
def test_a_turn_against_discs_turned_one_by_one(share, diameter, helix, flutes, grain, direction, level, way):
    """Also where flutes lag by several turns."""
    cutter = square_end(diameter, helix, flutes, way)
    load = Load(cutter, SOME, grain, share * diameter, level, direction)
    angle, feed, side, torque = load.turn(0.2)
    lead = level * math.tan(helix) / (diameter / 2) if way == "down" else 0.0  # its upper ends lead, the tip follows
    some = slice(0, None, 16)
    wanted = by_discs(cutter, SOME, grain, share * diameter, level, direction, 0.2, angle[some] - lead)
    size = max(1.0, np.abs(wanted[:, :2]).max())
    assert feed[some] == pytest.approx(wanted[:, 0], abs=0.01 * size)
    assert side[some] == pytest.approx(wanted[:, 1], abs=0.01 * size)
    assert torque[some] == pytest.approx(wanted[:, 2], abs=0.01 * size * diameter)


@settings(max_examples=40)
@given(
    st.floats(0.05, 1), st.floats(0, 0.8), st.integers(1, 4), grains, directions, st.floats(1, 50), st.floats(0.02, 0.5)
)
def test_a_turn_averages_to_the_mean_and_stays_below_the_greatest(share, helix, flutes, grain, direction, level, f):
    cutter = square_end(helix=helix, flutes=flutes)
    load = Load(cutter, SOME, grain, share * 12, level, direction)
    _, feed, side, torque = load.turn(f)
    at = load.at(f)
    size = float(np.hypot(feed, side).max())
    # straight flutes jump in and out of the wood between two of the 96 places
    slack = 0.01 if level * math.tan(helix) / 6 > 2 * math.pi / 96 else 2 * flutes / 96
    assert torque.mean() == pytest.approx(at.torque, abs=slack * size * 6)
    assert feed.mean() == pytest.approx(at.feed, abs=slack * size)
    assert side.mean() == pytest.approx(at.side, abs=slack * size)
    assert at.greatest >= math.hypot(at.feed, at.side) - 1e-9
    assert at.greatest_torque >= at.torque - 1e-9
    assert at.greatest >= 0.98 * size
    assert at.greatest_torque >= 0.98 * torque.max()


@pytest.mark.parametrize("direction", ["climb", "conventional"])
@pytest.mark.parametrize(
    ("helix", "flutes", "width", "level"), [(0.5, 2, 2.0, 10.0), (0.02, 2, 6.0, 10.0), (0.0, 3, 9.0, 10.0)]
)
def test_the_greatest_force_is_that_of_the_worst_moment(helix, flutes, width, level, direction):
    """Against discs at 720 moments of a turn; just before a flute leaves counts too, where it is greatest."""
    cutter, grain, f = square_end(12, helix, flutes), grain_vector("flat", 0.3), 0.2
    at = Load(cutter, SOME, grain, width, level, direction).at(f)
    moments = np.arange(720) * 2 * math.pi / 720
    seen = by_discs(cutter, SOME, grain, width, level, direction, f, moments, discs=300)
    assert at.greatest == pytest.approx(np.hypot(seen[:, 0], seen[:, 1]).max(), rel=0.01)
    assert at.greatest_torque == pytest.approx(seen[:, 2].max(), rel=0.01)


@pytest.mark.parametrize("direction", ["climb", "conventional"])
@pytest.mark.parametrize(("way", "flutes"), [("up", 2), ("down", 2), ("up", 3), ("down", 1)])
@pytest.mark.parametrize(
    ("helix", "width", "level"), [(0.5, 2.0, 18.0), (0.5, 9.0, 18.0), (0.0, 2.0, 18.0), (0.8, 12.0, 36.0)]
)
def test_force_as_a_flute_passes_the_wall_against_discs(helix, width, level, way, flutes, direction):
    """Side force along the cutter in 400 pieces of height against 2400 discs; also in the usual 24."""
    cutter, f, grain, discs = square_end(12, helix, flutes, way), 0.2, grain_vector("flat", 0.3), 2400
    load = Load(cutter, SOME, grain, width, level, direction)
    z = (np.arange(discs) + 0.5) * level / discs
    for height in (0.0, 0.37 * level, level):
        wanted = np.zeros(discs)
        for k in range(flutes):
            turned = (z - height) * math.tan(helix) / 6.0 * (-1 if way == "down" else 1)
            a = (0.0 if direction == "conventional" else math.pi) + 2 * math.pi * k / flutes - turned
            side = on_cutter(SOME, grain, a, f, lean_of(cutter))[:, 1] * within(a, 6.0, width, direction)
            wanted += side * level / discs
        for cells, ends in ((400, 2), (24, 2)):
            heights, edge, chip = load.at_wall(height, cells)
            got, want = edge + f * chip, wanted.reshape(cells, -1).sum(axis=1)
            assert heights == pytest.approx((np.arange(cells) + 0.5) * level / cells)
            size = np.abs(want).max() + 1e-9
            off = np.abs(got - want) > 0.02 * size
            arcs = 1 + math.ceil(level * math.tan(helix) / 6 / math.pi)
            assert np.sum(off) <= ends * arcs  # only pieces in which an arc begins or ends, which count whole or not
            assert got.sum() == pytest.approx(want.sum(), abs=ends * arcs * size * 0.51)


# --- signs, by hand


def test_a_tooth_ahead_is_pushed_back_and_to_the_left():
    """Pointing ahead it moves to the right: the wood holds it back (to the left) and pushes it inwards (backwards)."""
    flat = Coefficients(np.full(3, 1.0), np.zeros(3), np.full(3, 0.5), np.zeros(3))
    force = on_cutter(flat, np.array([1.0, 0, 0]), math.pi / 2, 0.1)
    assert force == pytest.approx([-0.5, 1.0, 1.0])
    load = Load(square_end(), flat, (1, 0, 0), 12, 1, "climb")
    assert load.line(math.pi / 2)[0][0] == pytest.approx(1)
    assert load.at(0.1).side > 0 > load.at(0.1).feed


def ratio(r, tangential=20.0):
    """Chip terms alone: normal over tangential force r in every mode."""
    return Coefficients(np.zeros(3), np.full(3, tangential), np.zeros(3), np.full(3, r * tangential))


@pytest.mark.parametrize("width", [0.5, 3, 6, 9, 12])
@pytest.mark.parametrize("r", [0.0, 0.5, 2.0])
def test_climbing_pushes_off_the_wall(width, r):
    """Wall on the right, positive is left; from half the diameter on only while the normal ratio stays small."""
    side = Load(square_end(), ratio(r), (1, 0, 0), width, 5, "climb").at(0.1).side
    assert side > 0


def test_conventional_cuts_pull_into_the_wall_until_the_normal_force_wins():
    """Wall on the left. Side per mm over an arc p: K [p/2 - sin(2p)/4] - r K sin^2(p)/2, by hand; narrow cuts turn
    sign at r = 2 (p/2 - sin(2p)/4) / sin^2(p)."""
    for width in (0.3, 1.2, 3.0):
        p = math.acos(1 - 2 * width / 12)
        turns = 2 * (p / 2 - math.sin(2 * p) / 4) / math.sin(p) ** 2
        sides = [
            float(Load(square_end(), ratio(q * turns), (1, 0, 0), width, 5, "conventional").at(0.1).side)
            for q in (0.3, 1.0, 3.0)
        ]
        assert sides[0] > 0 > sides[2]
        assert sides[1] == pytest.approx(0, abs=1e-9 * sides[0] + 1e-12)
        wanted = 20 * 0.1 * 5 * 2 / (2 * math.pi) * (1 - 0.3) * (p / 2 - math.sin(2 * p) / 4)
        assert sides[0] == pytest.approx(wanted)


def test_in_a_slot_both_directions_are_one():
    here, there = (Load(square_end(helix=0.5), SOME, (1, 0, 0), 12, 6, d) for d in ("climb", "conventional"))
    assert here.at(0.1).side == pytest.approx(there.at(0.1).side)
    assert here.at(0.1).feed == pytest.approx(there.at(0.1).feed)


def test_lift_follows_the_hand_of_the_helix():
    """Tangential force times the tangent of the helix: up-cut lifts, down-cut presses, a compression cutter both."""
    up, down = (Load(square_end(helix=0.5, way=w), SOME, (1, 0, 0), 3, 6, "climb").at(0.1) for w in ("up", "down"))
    assert up.lift == pytest.approx(up.torque / 6 * math.tan(0.5))
    assert down.lift == pytest.approx(-down.torque / 6 * math.tan(0.5))
    half = replace(square_end(helix=0.5), shape="compression", cut_direction="compression", up_shear_length=3.0)
    assert Load(half, SOME, (1, 0, 0), 3, 6, "climb").at(0.1).lift == pytest.approx(0, abs=1e-9)
    assert Load(half, SOME, (1, 0, 0), 3, 4, "climb").at(0.1).lift > 0
    assert Load(square_end(), SOME, (1, 0, 0), 3, 6, "climb").at(0.1).lift == 0


# --- growth


@settings(max_examples=40)
@given(grains, directions, st.floats(0.1, 0.85), st.floats(1, 20), st.floats(0.03, 0.4), st.sampled_from(BANDS))
def test_torque_rises_with_feed_width_level_and_wear(grain, direction, share, level, f, band):
    cutter = square_end(helix=0.5)

    def torque(width=share * 12, level=level, f=f, wear=0.0):
        c = coefficients(MAPLE, wear=wear)[band]
        return float(Load(cutter, c, grain, width, level, direction).at(f).torque)

    plain = torque()
    assert torque(f=1.1 * f) > plain
    assert torque(width=1.1 * share * 12) > plain
    assert torque(level=1.1 * level) > plain
    assert torque(wear=0.3) > plain


@pytest.mark.parametrize("shape_of", [square_end(), BALL, VEE])
def test_bands_are_in_order_and_many_feeds_are_one_call(shape_of):
    f = np.linspace(0.02, 0.3, 7)
    loads = {b: Load(shape_of, coefficients(MAPLE)[b], (1, 0, 0), 1, 2, "climb") for b in BANDS}
    low, middle, high = (np.asarray(loads[b].at(f).torque) for b in BANDS)
    assert np.all((low < middle) & (middle < high))
    one = [loads["likely"].at(float(x)) for x in f]
    for name in ("torque", "feed", "side", "greatest", "greatest_torque", "lift"):
        assert np.asarray(getattr(loads["likely"].at(f), name)) == pytest.approx([getattr(o, name) for o in one])


def test_scaled_multiplies_each_term():
    load = Load(square_end(), SOME.scaled(chip=2, edge=3, source="a test"), (1, 0, 0), 3, 5, "climb")
    plain = Load(square_end(), SOME, (1, 0, 0), 3, 5, "climb")
    assert load.mean_torque == pytest.approx((3 * plain.mean_torque[0], 2 * plain.mean_torque[1]))
    assert SOME.scaled(source="a test").source == "a test"


# --- plunging


def test_plunging_on_end_is_all_90_90_and_asks_more_than_into_a_face():
    c = coefficients(MAPLE)["likely"]
    h, radius = 0.05, 6.0
    on_end, into_face = (plunge(square_end(), c, g, h) for g in (grain_vector("end"), grain_vector("flat")))
    assert on_end.torque == pytest.approx(2 * (c.edge[2] + c.chip[2] * h) * radius**2 / 2)
    assert on_end.thrust == pytest.approx(2 * (c.normal_edge[2] + abs(c.normal_chip[2]) * h) * radius)
    assert on_end.torque > 1.5 * into_face.torque
    assert on_end.thrust > into_face.thrust


def test_plunging_into_a_face_is_half_planing_and_half_peeling():
    """End teeth swing between 90-0 and 0-90; over a turn half of each, by hand."""
    c = coefficients(MAPLE)["likely"]
    got = plunge(square_end(), c, grain_vector("flat", 0.7), 0.05)
    assert got.torque == pytest.approx(36 * (c.edge[:2].mean() + c.chip[:2].mean() * 0.05))


def test_thrust_and_torque_rise_with_the_advance():
    got = plunge(square_end(), coefficients(MAPLE)["likely"], (0, 0, 1), np.linspace(0.01, 0.3, 9))
    assert np.all(np.diff(got.torque) > 0)
    assert np.all(np.diff(got.thrust) > 0)


# --- refusals


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: Load(square_end(), SOME, (1, 0, 0), 13, 5, "climb"), "width of cut 13 mm"),
        (lambda: Load(square_end(length=20), SOME, (1, 0, 0), 3, 21, "climb"), "cutting length"),
        (lambda: Load(square_end(), SOME, (1, 0, 0), 0, 5, "climb"), "above zero"),
        (lambda: Load(square_end(), SOME, (1, 0, 0), 3, math.nan, "climb"), "above zero"),
        (lambda: Load(VEE, SOME, (1, 0, 0), 3, 1, "climb"), "go deeper"),
        (lambda: Load(replace(square_end(), shape="drill"), SOME, (1, 0, 0), 3, 5, "climb"), "drill"),
        (lambda: Load(square_end(), SOME, (1, 0, 0), 3, 5, "climb").at(0.0), "feed per tooth"),
        (lambda: Load(square_end(), SOME, (1, 0, 0), 3, 5, "climb").turn(-0.1), "feed per tooth"),
        (lambda: plunge(replace(square_end(), centre_cutting=False), SOME, (0, 0, 1), 0.1), "ramp in"),
        (lambda: plunge(square_end(), SOME, (0, 0, 1), 0.0), "advance"),
        (lambda: coefficients(MAPLE, rake=math.radians(80)), "rake"),
        (lambda: coefficients(MAPLE, moisture=-0.1), "moisture"),
        (lambda: coefficients(MAPLE, wear=1.5), "wear"),
    ],
)
def test_bad_input_is_refused_with_a_remedy(call, words):
    with pytest.raises(InputError, match=words) as caught:
        call()
    assert all(f.remedy for f in caught.value.faults)
