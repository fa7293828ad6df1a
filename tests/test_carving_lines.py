"""Letters and grooves: a V swept along the moves against closed forms and against the wanted solid.

Closed forms are elementary geometry: roofs of equal slope over a plan (hip roof, cone, pyramid, ring). The sweep in
``v_block`` knows only moves and the cutter. Published figure: width of a V at a depth, 2 d tan(a / 2).
"""

import math
import time

import numpy as np
import pytest
import shapely
from shapely import affinity
from v_block import Block
from workpiece import swept

from shopcalc.cutters import Cutter
from shopcalc.errors import InputError
from shopcalc.gcode import read_text, write_program
from shopcalc.machines import Axis, Controller, Machine
from shopcalc.motion import machine_time
from shopcalc.moves import Kind
from shopcalc.paths import Cutting, arc
from shopcalc.relief.carving_lines import Carved, groove_depth, height_error, incise_letters, raise_letters, v_grooves
from shopcalc.relief.letters import letter_outlines
from shopcalc.relief.outlines import Outline

TOLERANCE = 0.02
TEXT = "The quick brown fox jumps over the lazy dog SPHINX of quartz, judge my vow: OK & so on."


def v(angle=60, diameter=25.4, tip=0.0, length=22.0, **more):
    return Cutter(
        f"V{angle}", "", "V", diameter, 6.35, 2, length, 57, 40, tip_diameter=tip,
        included_angle=math.radians(angle), number=8, **more,
    )  # fmt: skip


def setting(cutter=None, depth_per_pass=30.0, **more):
    return Cutting(cutter or v(), 2400, 900, 18000, depth_per_pass=depth_per_pass, **more)


SQUARE = Cutter("SQ3", "", "square end", 3.0, 6.0, 2, 12, 50, 25, number=2)


def carve(carved, area, pixel=0.1, which=-1):
    cutting, moves = carved.operations[which]
    return Block.around(area, pixel).cut(moves, cutting.cutter, cutting.plunge_feed)


def letters(text, height):
    return [o.shape for o in letter_outlines(text, height)]


# ------------------------------------------------------------------ the V's geometry


@pytest.mark.parametrize(("angle", "width"), [(60, 3.4641), (90, 6.0), (120, 10.3923)])
def test_a_v_at_three_millimetres_cuts_these_widths(angle, width):
    """Worked example WE26 of our reference values: 2 d tan(a / 2)."""
    cutter = v(angle)
    assert groove_depth(cutter, width) == pytest.approx(3, abs=1e-4)
    line = shapely.LineString([(0, 0), (30, 0)])
    block = Block((14, -8, 16, 8), 0.01).cut(v_grooves([line], setting(cutter), depth=3).operations[0][1], cutter)
    across = block.y[block.z[:, 100] < 0]
    assert np.ptp(across) == pytest.approx(width, abs=0.021)  # two pixels


@pytest.mark.parametrize("angle", [30, 60, 90, 120])
def test_a_wrong_height_costs_width(angle):
    """The same program cut 0.5 mm too deep, measured on the wood."""
    cutter = v(angle)
    moves = v_grooves([[(0, 0), (30, 0)]], setting(cutter), depth=2).operations[0][1]
    widths = []
    for error in (0.0, 0.5):
        block = Block((14, -8, 16, 8), 0.01).cut(moves.shifted((0, 0, -error)), cutter)
        widths.append(np.ptp(block.y[block.z[:, 100] < 0]))
    assert widths[1] - widths[0] == pytest.approx(height_error(cutter, 0.5), abs=0.021)


def test_every_carving_says_what_a_wrong_height_costs():
    bar = shapely.box(0, 0, 20, 3)
    for one in (
        incise_letters([bar], setting(v(90))),
        v_grooves([[(0, 0), (9, 0)]], setting(v(90)), width=2),
        raise_letters([bar], setting(SQUARE, 3), depth=3, margin=5, chamfer=0.5, chamfering=setting(v(90))),
    ):
        assert any("0.5 mm too deep makes every line 1 mm wider" in note for note in one.notes)
        assert any("no source" in note for note in one.notes)


# ------------------------------------------------------------------ sunk areas in closed form


@pytest.mark.parametrize("angle", [60, 90])
@pytest.mark.parametrize("depth_per_pass", [30.0, 1.3])
def test_a_rectangle_is_a_hip_roof_upside_down(angle, depth_per_pass):
    carved = incise_letters([shapely.box(0, 0, 30, 8)], setting(v(angle), depth_per_pass))
    h = 4 / math.tan(math.radians(angle / 2))
    assert carved.greatest_depth == pytest.approx(h)
    assert carve(carved, shapely.box(0, 0, 30, 8), 0.05).volume == pytest.approx(8 * h * (3 * 30 - 8) / 6, rel=1e-3)


@pytest.mark.parametrize("entry", ["plunge", "ramp"])
def test_a_disc_is_a_cone(entry):
    disc = shapely.Point(0, 0).buffer(5, quad_segs=64)
    carved = incise_letters([disc], setting(entry=entry))
    h = 5 / math.tan(math.radians(30))
    assert carve(carved, disc, 0.05).volume == pytest.approx(math.pi * 25 * h / 3, rel=2e-3)


@pytest.mark.parametrize("entry", ["plunge", "ramp"])
@pytest.mark.parametrize("depth_per_pass", [30.0, 2.0])
def test_a_ring_is_a_triangle_turned_about_its_middle(entry, depth_per_pass):
    ring = shapely.Point(0, 0).buffer(16, quad_segs=64).difference(shapely.Point(0, 0).buffer(10, quad_segs=64))
    carved = incise_letters([ring], setting(entry=entry, depth_per_pass=depth_per_pass))
    h = 3 / math.tan(math.radians(30))
    assert carved.chains == 1
    block = carve(carved, ring, 0.05)
    assert block.volume == pytest.approx(2 * math.pi * 13 * 3 * h, rel=3e-3)
    assert block.fast_in_wood < 0.05
    assert block.rapid_in_wood < 1e-9


def test_a_wedge_is_a_pyramid_and_sharp_at_its_points():
    wedge = shapely.Polygon([(0, 0), (40, -5), (40, 5)])
    carved = incise_letters([wedge], setting())
    radius = 2 * wedge.area / wedge.length
    block = carve(carved, wedge, 0.05)
    assert block.volume == pytest.approx(wedge.area * radius / math.tan(math.radians(30)) / 3, rel=1e-3)
    assert carved.left.is_empty
    assert carved.corner_radius == 0
    points = carved.operations[0][1].points
    for corner in wedge.exterior.coords:
        assert np.abs(points - (*corner, 0.0)).max(axis=1).min() < 1e-9


# ------------------------------------------------------------------ letters against the wanted solid


CASES = [
    ("RgS&", 12.0, 60, 0.0, 30.0, None), ("RgS&", 12.0, 60, 0.2, 1.0, None), ("AWe8", 24.0, 90, 0.1, 30.0, None),
    ("AWe8", 24.0, 60, 0.3, 2.0, 1.6),
]  # fmt: skip


@pytest.mark.parametrize(("text", "height", "angle", "tip", "depth_per_pass", "depth"), CASES)
@pytest.mark.parametrize("entry", ["ramp", "plunge"])
def test_letters_are_cut_to_their_outlines_and_not_beyond(text, height, angle, tip, depth_per_pass, depth, entry):
    """Nowhere deeper than a flank from the edge allows, everywhere as deep, but for the tip's flat and the cap."""
    areas = letters(text, height)
    whole = shapely.union_all(areas)
    cutter = v(angle, tip=tip)
    carved = incise_letters(areas, setting(cutter, depth_per_pass, entry=entry), depth=depth, cusp=0.05)
    block = carve(carved, whole, 0.1)
    slope = math.tan(math.radians(angle / 2))
    inside = block.inside_by(whole)
    cap = math.inf if depth is None else depth
    deepest = np.minimum(np.maximum(inside, 0) / slope, cap)
    assert (-block.z - deepest).max() < TOLERANCE / slope, "gouged"
    wanted = np.minimum((inside - tip / 2) / slope, cap)
    ridges = 0.05 if depth else 0.0
    assert (wanted + block.z).max() < 1.5 * TOLERANCE / slope + ridges, "left standing"
    kept = shapely.contains_xy(carved.left.buffer(0.05), block.X, block.Y)
    assert (block.z[(inside > 0.03) & ~kept] < 0).all()
    assert block.rapid_in_wood < 1e-9
    assert block.fast_in_wood < 0.05


@pytest.mark.parametrize(("text", "height", "angle", "tip", "depth_per_pass", "depth"), CASES)
def test_it_goes_down_no_faster_than_it_may(text, height, angle, tip, depth_per_pass, depth):
    carved = incise_letters(letters(text, height), setting(v(angle, tip=tip), depth_per_pass), depth=depth)
    moves = carved.operations[0][1]
    step = np.diff(moves.points, axis=0)
    down = (step[:, 2] < 0) & moves.cutting & (moves.points[1:, 2] < 0)
    along = np.linalg.norm(step, axis=1)
    slanted = down & (np.hypot(step[:, 0], step[:, 1]) > 1e-9)
    assert slanted.any()
    assert (moves.feed[slanted] * -step[slanted, 2] / along[slanted] < 900 * (1 + 1e-9)).all()
    level = moves.cutting & ~(step[:, 2] < 0)
    assert (moves.feed[level] == 2400).all()


def test_no_level_takes_more_than_the_depth_per_pass():
    area = letters("R", 30.0)[0]
    carved = incise_letters([area], setting(depth_per_pass=1.5))
    moves = carved.operations[0][1]
    levels = math.ceil(carved.greatest_depth / 1.5)
    block, deepest = Block.around(area, 0.15), 0.0
    for i in range(len(moves)):
        before = block.z.copy()
        if moves.cutting[i] and moves.points[i : i + 2, 2].min() < 0:
            block.cut(moves.part(i, i + 1), v())
            deepest = max(deepest, float((before - block.z).max()))
    assert levels > 2
    assert deepest < carved.greatest_depth / levels + 0.1


def test_most_ways_between_strokes_stay_low_and_short():
    moves = incise_letters(letters("Reed", 20.0), setting()).operations[0][1]
    step = np.diff(moves.points, axis=0)
    sideways = (moves.kind == Kind.RAPID) & (np.hypot(step[:, 0], step[:, 1]) > 1e-6)
    low = sideways & (moves.points[1:, 2] < 2)
    assert low.sum() > sideways.sum() / 2
    assert np.hypot(step[low, 0], step[low, 1]).max() < 30
    assert (moves.points[1:, 2][sideways] >= 1).all()


@pytest.mark.parametrize("height", [10.0, 60.0])
def test_the_count_of_chains_stays_bounded(height):
    """A letter with serifs has about as many ends as corners, and two meet in a chain: fewer than its sharp corners."""
    areas = letters("HAMBURGefonstiv", height)
    carved = incise_letters(areas, setting())
    assert carved.chains < 10 * len(areas)
    assert len(carved.moves) < 400 * len(areas)


def test_letters_are_cut_in_the_order_given():
    areas = letters("abc", 20.0)[::-1]
    moves = incise_letters(areas, setting()).operations[0][1]
    cut = moves.points[1:][moves.cutting & (moves.points[1:, 2] < -0.1)]
    owner = np.argmin([shapely.distance(shapely.points(cut[:, :2]), a) for a in areas], axis=0)
    assert (np.diff(owner) >= 0).all()
    assert set(owner) == {0, 1, 2}


def test_areas_that_overlap_are_cut_as_one():
    cross = [shapely.box(0, 4, 20, 8), shapely.box(8, -4, 12, 16), shapely.box(40, 0, 50, 4)]
    carved = incise_letters(cross, setting())
    whole = shapely.union_all(cross)
    block = carve(carved, whole, 0.1)
    slope = math.tan(math.radians(30))
    assert np.abs(-block.z - np.maximum(block.inside_by(whole), 0) / slope).max() < 1.5 * TOLERANCE / slope


# ------------------------------------------------------------------ tip, depth and diameter


def test_the_tips_flat_rounds_the_corners():
    carved = incise_letters([shapely.box(0, 0, 20, 6)], setting(v(tip=0.8)))
    assert carved.corner_radius == 0.4
    assert carved.left_area == pytest.approx(4 * 0.16 * (1 - math.pi / 4), rel=0.03)
    block = carve(carved, shapely.box(0, 0, 20, 6), 0.05)
    left = (block.z == 0) & (block.inside_by(shapely.box(0, 0, 20, 6)) > 0)
    assert left.sum() * 0.05**2 == pytest.approx(carved.left_area, rel=0.5, abs=0.05)


def test_strokes_narrower_than_the_tip_stay():
    hair = shapely.union_all([shapely.box(0, 0, 5, 5), shapely.box(5, 2.35, 20, 2.65)])
    carved = incise_letters([hair], setting(v(tip=0.5)))
    assert carved.left.intersection(shapely.box(6, 0, 20, 5)).area == pytest.approx(14 * 0.3, rel=1e-3)
    assert any("narrower than the tip" in note for note in carved.notes)
    assert carved.operations[0][1].points[:, 0].max() < 6


@pytest.mark.parametrize("tip", [0.0, 0.4])
def test_a_wide_area_gets_a_flat_ground_at_the_depth(tip):
    square = shapely.box(0, 0, 20, 16)
    carved = incise_letters([square], setting(v(90, tip=tip), 1.2), depth=2.0, cusp=0.08)
    assert (carved.greatest_depth, carved.capped_by) == (2.0, "depth")
    reach = 2.0 + tip / 2
    assert carved.capped_area == pytest.approx((20 - 2 * reach) * (16 - 2 * reach), rel=1e-6)
    block = carve(carved, square, 0.05)
    ground = block.inside_by(square) > reach + 0.05
    assert block.z[ground].min() == pytest.approx(-2.0)
    assert block.z[ground].max() <= -2.0 + 0.08 + 1e-9
    assert block.z[ground].max() > -2.0 + 0.02  # ridges there are


def test_the_cutters_diameter_caps_it_too():
    square = shapely.box(0, 0, 20, 16)
    carved = incise_letters([square], setting(v(90, diameter=6)))
    assert carved.capped_by == "the cutter's diameter"
    assert carved.greatest_depth == pytest.approx(3.0)
    assert carve(carved, square, 0.1).inside_by(square).max() > 3
    assert carved.capped_area == pytest.approx(14 * 10, rel=1e-6)
    short = incise_letters([square], setting(v(90, length=2.5)))
    assert (short.greatest_depth, short.capped_by) == (2.5, "the cutting length")


def test_another_cutter_clears_the_ground_and_the_v_the_rest():
    area = letters("B", 60.0)[0]
    cutter = v(60, tip=0.2)
    carved = incise_letters([area], setting(cutter), depth=2.0, cusp=0.05, clearing=setting(SQUARE, 3))
    assert [c.cutter.id for c, _ in carved.operations] == ["SQ3", "V60"]
    slope = math.tan(math.radians(30))
    floor = area.buffer(-2.0 * slope, quad_segs=32)
    cleared = swept(carved.operations[0][1], 1.5, -2.0)
    assert cleared.difference(floor.buffer(0.01)).area < 1e-6, "the square cutter touches a flank"
    block = Block.around(area, 0.1)
    block.z[shapely.contains_xy(cleared, block.X, block.Y)] = -2.0
    block.cut(carved.operations[1][1], cutter, 900)
    ground = block.inside_by(area) > 2.0 * slope + 0.05
    assert block.z[ground].max() < -2.0 + 0.06
    assert block.z.min() == pytest.approx(-2.0)
    without = incise_letters([area], setting(cutter), depth=2.0, cusp=0.05)
    assert carved.operations[1][1].cutting_length < without.operations[0][1].cutting_length / 2


@pytest.mark.parametrize("excess", [0.0, 1e-9, 1e-6, 1e-3, 0.05])
def test_an_area_that_is_a_trifle_too_wide_is_not_left(excess):
    """The flat ground is then too narrow for anything but the middle line itself."""
    bar = shapely.box(0, 0, 30, 6 + 2 * excess)
    carved = incise_letters([bar], setting(v(90)), depth=3.0)
    block = carve(carved, bar, 0.1)
    wanted = np.minimum(np.maximum(block.inside_by(bar), 0), 3.0)
    assert np.abs(-block.z - wanted).max() < 1.5 * TOLERANCE + 0.1 * (excess > 0.01)


# ------------------------------------------------------------------ raised letters


def test_letters_stand_and_the_ground_is_cleared():
    areas = letters("Be", 30.0)
    stands = shapely.union_all(areas)
    carved = raise_letters(areas, setting(SQUARE, 3), depth=4.0, margin=8.0)
    ground = shapely.box(*stands.bounds).buffer(8, join_style="mitre").difference(stands)
    cleared = swept(carved.operations[0][1], 1.5, -4.0)
    assert cleared.intersection(stands).area < 0.01 * stands.length
    assert cleared.difference(ground.buffer(0.01)).area < 1e-6
    missing = ground.difference(cleared)
    assert missing.symmetric_difference(carved.left).area < 0.01 * ground.length + 0.05
    assert carved.corner_radius == 1.5
    assert carved.left_area > 0


def test_gaps_narrower_than_the_cutter_are_told_and_pictured():
    pair = [shapely.box(0, 0, 10, 20), shapely.box(12, 0, 22, 20)]
    carved = raise_letters(pair, setting(SQUARE, 3), depth=4.0, margin=8.0)
    assert carved.left.buffer(1e-6).covers(shapely.box(10.01, 2, 11.99, 18))
    assert any("1 gap(s) are narrower than SQ3 (3 mm)" in note for note in carved.notes)
    closed = [shapely.box(0, 0, 20, 20).difference(shapely.box(9, 9, 11, 11))]
    carved = raise_letters(closed, setting(SQUARE, 3), depth=4.0, margin=8.0)
    assert any("1 enclosed ground(s)" in note for note in carved.notes)
    assert carved.left.contains(shapely.Point(10, 10))


@pytest.mark.parametrize("tip", [0.0, 0.2])
@pytest.mark.parametrize("angle", [60, 90])
def test_chamfers_are_as_wide_as_asked_and_the_tops_untouched(angle, tip):
    area = letters("H", 30.0)[0]
    cutter = v(angle, tip=tip)
    carved = raise_letters(
        [area], setting(SQUARE, 3), depth=4.0, margin=10.0, chamfer=0.8, chamfering=setting(cutter, 1.0)
    )
    slope = math.tan(math.radians(angle / 2))
    block = carve(carved, area, 0.05, -1)
    inside = block.inside_by(area)
    within = inside > 0
    assert (-block.z[within] - np.maximum(0.8 - inside[within], 0) / slope).max() < 0.01, "cut into the letter"
    reached = within & ~shapely.contains_xy(carved.unchamfered.buffer(0.06), block.X, block.Y) & (inside > 0.05)
    short = (np.maximum(0.8 - inside, 0) / slope + block.z)[reached & (inside < 0.7)]
    assert np.quantile(short, 0.97) < 0.03  # but for places in inner corners, where the cone is the nearer wall
    assert (block.z[reached & (inside < 0.7)] < 0).mean() > 0.999
    assert carved.greatest_depth == 4.0
    assert block.z.min() > -4.0


def test_a_chamfer_finds_its_gaps():
    pair = [shapely.box(0, 0, 10, 20), shapely.box(10.1, 0, 20, 20)]
    carved = raise_letters(pair, setting(SQUARE, 3), depth=4.0, margin=8.0, chamfer=0.6, chamfering=setting(v(60)))
    assert carved.unchamfered.intersection(shapely.box(9, 2, 11.1, 18)).area == pytest.approx(2 * 0.6 * 16, rel=0.01)
    assert any("chamfers stay uncut" in note for note in carved.notes)


def test_a_core_box_keeps_its_distance_at_the_surface():
    core = Cutter("CB6", "", "core-box", 6.0, 6.0, 2, 10, 50, 25, number=3)
    carved = raise_letters([shapely.box(0, 0, 20, 20)], setting(core, 4), depth=2.0, margin=12.0)
    assert any("hollow at the foot" in note for note in carved.notes)
    level = swept(carved.operations[0][1], math.sqrt(2 * 3 * 2 - 4), -2.0)
    assert level.intersection(shapely.box(0, 0, 20, 20)).area < 0.05
    assert level.distance(shapely.box(0, 0, 20, 20)) < 0.01


# ------------------------------------------------------------------ grooves


def test_a_stopped_groove_ends_in_half_a_cone():
    cutter = v(90)
    for entry in ("plunge", "ramp"):
        carved = v_grooves([[(0, 0), (40, 0)]], setting(cutter, 1.5, entry=entry), width=6)
        block = Block((-6, -6, 46, 6), 0.05).cut(carved.operations[0][1], cutter, 900)
        prism, cone = 40 * 3 * 3, math.pi * 9 * 3 / 3
        assert block.volume == pytest.approx(prism + cone, rel=2e-3)
        assert np.ptp(block.X[block.z < 0]) == pytest.approx(46, abs=0.11)
        assert block.fast_in_wood < 1e-6


def test_a_ramped_groove_tapers_to_nothing_at_its_ends():
    cutter = v(90)
    carved = v_grooves([[(0, 0), (40, 0)]], setting(cutter, 1.1), width=6, ramp_out=10)
    block = Block((-6, -6, 46, 6), 0.05).cut(carved.operations[0][1], cutter)
    assert np.ptp(block.X[block.z < -0.01]) == pytest.approx(40, abs=0.4)
    for x, depth in ((5, 1.5), (10, 3), (20, 3), (32.5, 2.25)):
        assert -block.at(x, 0) == pytest.approx(depth, abs=0.03)


def test_a_groove_that_is_not_stopped_runs_out_on_both_sides():
    carved = v_grooves([[(0, 0), (40, 30)]], setting(), width=3, stopped=False)
    moves = carved.operations[0][1]
    deep = moves.points[moves.points[:, 2] < 0]
    assert math.dist(deep[0][:2], (0, 0)) == pytest.approx(12.7 + 2)
    assert np.ptp(deep[:, 0]) == pytest.approx(40 + 2 * 0.8 * 14.7)
    assert any("clamps stay clear" in note for note in carved.notes)


FRAME = [(0.0, 0.0), (60.0, 0.0), (60.0, 40.0), (0.0, 40.0), (0.0, 0.0)]


@pytest.mark.parametrize("begin", [0, 2])
@pytest.mark.parametrize("tip", [0.0, 0.4])
def test_a_frame_has_mitres_cut_to_the_point(begin, tip):
    cutter = v(90, tip=tip)
    ring = FRAME[begin:-1] + FRAME[: begin + 1]
    carved = v_grooves([ring], setting(cutter, 1.4), width=6)
    block = Block((-5, -5, 65, 45), 0.1).cut(carved.operations[0][1], cutter, 900)
    outside = shapely.box(-3, -3, 63, 43)
    wanted = outside.difference(shapely.box(3, 3, 57, 37))
    inside = block.inside_by(wanted)
    assert (block.z[inside < -0.03] == 0).all()
    assert (block.z[(inside > 0.03) & (block.inside_by(outside) > tip / 2)] < 0).all()
    assert carved.left_area == pytest.approx(4 * (tip / 2) ** 2 * (1 - math.pi / 4), rel=0.05, abs=1e-6)
    round_ = v_grooves([ring], setting(cutter), width=6, sharp_corners=False)
    assert round_.left_area == pytest.approx(4 * 9 * (1 - math.pi / 4), rel=0.01)
    assert round_.corner_radius == pytest.approx(3.0)
    assert block.fast_in_wood < 1e-6


def test_a_frame_of_grooves_is_a_sunk_ring_but_for_its_corners():
    """Two ways to one solid; where the mitres meet the inner corner, the sunk ring is wider and so goes deeper."""
    cutter = v(90)
    wanted = shapely.box(-3, -3, 63, 43).difference(shapely.box(3, 3, 57, 37))
    blocks = [
        Block((-5, -5, 65, 45), 0.1).cut(c.operations[0][1], cutter)
        for c in (v_grooves([FRAME], setting(cutter), width=6), incise_letters([wanted], setting(cutter)))
    ]
    deeper = blocks[0].z - blocks[1].z
    x, y = blocks[0].X, blocks[0].Y
    corner = np.maximum(np.abs(x - 30) - 24, 0) * np.maximum(np.abs(y - 20) - 14, 0) > 0
    assert np.abs(deeper[~corner]).max() < TOLERANCE
    assert deeper.min() > -TOLERANCE
    assert deeper.max() > 0.5


def test_curved_grooves_keep_their_arcs():
    arch = arc((0, 0), 50, 0.3, 1.8)
    moves = v_grooves([arch], setting(), width=3).operations[0][1]
    assert (moves.kind == Kind.ARC).any()
    below = moves.points[moves.points[:, 2] < 0]
    assert np.hypot(below[:, 0], below[:, 1]) == pytest.approx(50)


def test_crossing_grooves_are_counted():
    cross = [[(0, 0), (20, 20)], [(0, 20), (20, 0)], [(0, 30), (20, 30)]]
    notes = v_grooves(cross, setting(), width=2).notes
    assert any(note.startswith("1 crossing(s)") for note in notes)
    assert not any("crossing(s)" in note for note in v_grooves(cross[1:], setting(), width=2).notes)


def test_lines_of_a_drawing_are_followed():
    line = Outline(shapely.LineString([(0, 0), (10, 0), (10, 10)]), "border")
    area = Outline(shapely.box(0, 0, 10, 10), "frame")
    assert v_grooves([line, area], setting(), width=2).chains == 2


# ------------------------------------------------------------------ programs, times, refusals


MACHINE = Machine(
    axes=(Axis(20000, 12000, 800),) * 3,
    controller=Controller(corner="tolerance", corner_tolerance=0.03, look_ahead=100, blocks_per_second=500),
)


def both_kinds(text="Reed", height=40.0):
    areas = letters(text, height)
    yield incise_letters(areas, setting(depth_per_pass=2), depth=1.0, clearing=setting(SQUARE, 3))
    yield raise_letters(areas, setting(SQUARE, 3), depth=3, margin=8, chamfer=0.5, chamfering=setting())
    yield v_grooves([FRAME, arc((0, 0), 50, 0.3, 1.8)], setting(), width=4)


def test_written_as_text_and_read_again_it_takes_the_same_time():
    for carved in both_kinds():
        moves = carved.moves
        again = read_text(write_program(moves, title="letters")).moves
        assert machine_time(again, MACHINE).total_s == pytest.approx(machine_time(moves, MACHINE).total_s, rel=5e-3)
        assert again.cutting_length == pytest.approx(moves.cutting_length, rel=1e-3)


def test_a_program_changes_cutters_once_each():
    for carved, changes in zip(both_kinds(), (2, 2, 1), strict=True):
        assert (carved.moves.kind == Kind.CHANGE).sum() == changes
        assert isinstance(carved, Carved)


def test_a_clearing_cutter_that_fits_nowhere_is_told():
    carved = incise_letters([shapely.box(0, 0, 20, 4)], setting(), depth=1.0, clearing=setting(SQUARE, 3))
    assert len(carved.operations) == 1
    assert any("SQ3 fits nowhere" in note for note in carved.notes)


def test_moved_and_turned_letters_take_the_same_cuts():
    area = letters("g", 25.0)[0]
    here = incise_letters([area], setting()).operations[0][1].cutting_length
    there = incise_letters([affinity.translate(area, 1234, -777)], setting()).operations[0][1].cutting_length
    turned = incise_letters([affinity.rotate(area, 31)], setting()).operations[0][1].cutting_length
    assert there == pytest.approx(here, rel=0.01)
    assert turned == pytest.approx(here, rel=0.03)


BOX = shapely.box(0, 0, 20, 20)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: incise_letters([BOX], setting(SQUARE)), "SQ3 is a square end cutter"),
        (lambda: incise_letters([], setting()), "no outline"),
        (
            lambda: incise_letters([Outline(shapely.LineString([(0, 0), (1, 1)]), "leaf")], setting()),
            "'leaf' is an op",
        ),
        (
            lambda: incise_letters([shapely.Polygon([(0, 0), (9, 9), (9, 0), (0, 9)])], setting()),
            "outline 1 is not",
        ),
        (lambda: incise_letters([BOX], setting(), depth=0.0), "depth is 0"),
        (lambda: incise_letters([shapely.box(0, 0, 9, 0.4)], setting(v(tip=0.5))), "nothing is wider than the tip"),
        (lambda: incise_letters([BOX], setting(), depth=2, clearing=setting(v())), "needs a flat floor"),
        (lambda: raise_letters([BOX], setting(SQUARE, 3), depth=3), "by a margin or by an area"),
        (lambda: raise_letters([BOX], setting(SQUARE, 3), depth=3, area=BOX.buffer(-1)), "reach beyond the area"),
        (lambda: raise_letters([BOX], setting(SQUARE, 3), depth=3, margin=1), "fits nowhere"),
        (lambda: raise_letters([BOX], setting(v()), depth=3, margin=9), "clear the ground with"),
        (lambda: raise_letters([BOX], setting(SQUARE, 3), depth=3, margin=9, chamfer=1), "a chamfer needs a V"),
        (
            lambda: raise_letters([BOX], setting(SQUARE, 3), depth=1, margin=9, chamfer=1, chamfering=setting()),
            "chamfer 1 mm is above what depth allows, 0.57",
        ),
        (lambda: v_grooves([FRAME], setting()), "by its width or its depth"),
        (lambda: v_grooves([], setting(), width=3), "no line is given"),
        (lambda: v_grooves([FRAME], setting(), width=30), "above what the cutter's diameter allows"),
        (lambda: v_grooves([FRAME], setting(v(tip=0.5)), width=0.5), "no wider than the tip"),
        (lambda: v_grooves([[(0, 0), (9, 0)]], setting(), width=3, ramp_out=5), "shorter than its two ramps"),
        (lambda: v_grooves([FRAME], setting(), width=3, ramp_out=5, stopped=False), "ramp_out"),
    ],
)
def test_what_cannot_be_cut_is_refused_with_a_reason(make, words):
    with pytest.raises(InputError, match=words.replace("(", r"\(")):
        make()


@pytest.mark.benchmark
def test_sixty_letters_in_less_than_five_seconds():
    """Letters of 40 mm; seconds of one processor. Times of the carving with and without the rule for chords."""
    outlines = letter_outlines(TEXT[:72], 40.0)
    assert len([o for o in outlines if o.name != " "]) >= 60
    cutting = setting(v(60, diameter=12.7, tip=0.2, length=11), 3.0)
    begin, work = time.perf_counter(), time.process_time()
    carved = incise_letters(outlines, cutting)
    seconds, work = time.perf_counter() - begin, time.process_time() - work
    moves = carved.moves
    print(f"\n{len(outlines)} outlines of 40 mm: {seconds:.2f} s, {work:.2f} s of work, {carved.chains} chains, "
          f"{len(moves)} moves, {moves.cutting_length:.0f} mm cut, {moves.rapid_length:.0f} mm of rapids")  # fmt: skip
    for rule in ("off", "share"):
        controller = Controller(
            corner="tolerance", corner_tolerance=0.03, look_ahead=100, blocks_per_second=500, chord_curvature=rule
        )
        took = machine_time(moves, Machine(axes=MACHINE.axes, controller=controller))
        print(f"chord curvature {rule}: {took.total_s / 60:.2f} min")
    assert work < 5.0
