"""Roughing: never below the skim, what is left, order, entries; cutting round a raised shape. Geometry throughout."""

import math

import numpy as np
import pytest
import shapely
from test_finishing import BALL6, FLAT4, ROUTER, V60, brute_force, on_feed, run, walls, wavy

from shopcalc.cutters import Cutter
from shopcalc.errors import InputError
from shopcalc.gcode import read_text, write_program
from shopcalc.motion import machine_time
from shopcalc.moves import Kind, from_lists
from shopcalc.paths.tracing import program
from shopcalc.relief.finishing import finish
from shopcalc.relief.ground import cut_round
from shopcalc.relief.heights import HeightMap, sampled
from shopcalc.relief.reach import centre_surface, profile, reached
from shopcalc.relief.rings import region, rings_within
from shopcalc.relief.roughing import rough, roughing_levels
from shopcalc.relief.standing_wood import after_roughing, cut_heights, dished, stairs, tips_for_roughing

FLAT8 = Cutter("SQ8", "", "square end", 8, 8, 2, 25, 60, 40)


@pytest.mark.parametrize("cutter", [FLAT4, BALL6, V60], ids=lambda c: c.id)
@pytest.mark.parametrize("shape", [wavy, walls])
@pytest.mark.parametrize("pattern", ["lines", "rings"])
@pytest.mark.parametrize("direction", ["climb", "conventional", "both"])
def test_never_below_the_skim(cutter, shape, pattern, direction):
    """Every point of the path against every pixel."""
    surface, skim = shape(), 0.4
    m = rough(surface, run(cutter, direction=direction, stepover=0.4), depth_per_pass=1.0, skim=skim, pattern=pattern)
    swept = brute_force(surface, cutter, m, 0.05)
    assert (np.minimum(swept, 0.0) - surface.z).min() >= skim - 1e-9
    assert m.points[:, 2].min() >= centre_surface(surface, cutter).z.min() + skim - 1e-9


@pytest.mark.parametrize("pattern", ["lines", "rings"])
@pytest.mark.parametrize("axis", ["x", "y"])
def test_within_reach_of_the_levels_all_is_cut(pattern, axis):
    """What stands is no more than what full visits of all free pixels of each level leave, but for a pixel or two."""
    surface, skim = wavy(0.2), 0.3
    m = rough(surface, run(FLAT4, stepover=0.4), depth_per_pass=1.0, skim=skim, pattern=pattern, direction=axis)
    left = after_roughing(surface, FLAT4, m)
    least = tips_for_roughing(surface, FLAT4, skim)
    best = np.zeros(surface.z.shape)
    for level in left.levels:
        free = np.argwhere(least <= level + 1e-9)
        y, x = np.indices(surface.z.shape)
        for i, j in free:
            best = np.where(np.hypot(y - i, x - j) * 0.2 <= 2.0 - 0.5, np.minimum(best, level), best)
    assert (left.heights.z <= best + 1e-5).mean() > 0.995
    assert (left.heights.z - surface.z).min() >= skim - 1e-9


def test_levels_are_equal_and_reach_the_deepest_place():
    hollow = dished(60.0, 40.0, 6.0, pixel=0.5)
    m = rough(hollow, run(FLAT8), depth_per_pass=2.0, skim=0.5)
    left = after_roughing(hollow, FLAT8, m)
    least = tips_for_roughing(hollow, FLAT8, 0.5)
    bottom = left.levels[-1]
    assert least.min() <= bottom <= least.min() + 0.5
    free = least <= bottom + 1e-6
    assert free.any(axis=1).sum() * 0.5 >= 8 * 0.45  # a step across, so that a line meets it
    assert ((least <= bottom - 0.05).any(axis=1).sum() - 1) * 0.5 < 8 * 0.45
    assert len(left.levels) == math.ceil(-bottom / 2.0)
    assert np.diff(left.levels) == pytest.approx(bottom / len(left.levels), abs=1e-5)
    assert left.terrace == pytest.approx(-bottom / len(left.levels), abs=1e-5)
    assert f"{left.terrace:.2f} mm" in left.notes[0]
    assert f"{left.greatest:.2f} mm" in left.notes[-1]
    assert left.greatest <= 0.5 + left.terrace + 8 * 0.6 * 0.7 + 0.2  # skim, a terrace and the slope under a flat end


def funnel(wide=16.0, deep=6.0, pixel=0.2):
    """A cone upside down in a level board: its lowest place is one pixel."""
    return sampled(
        lambda x, y: np.minimum(0.0, -deep + deep * 2 / wide * np.hypot(x - 15, y - 15)), 30.0, 30.0, pixel=pixel
    )


@pytest.mark.parametrize("depth_per_pass", [1.5, 3.0, 10.0])
@pytest.mark.parametrize("wide", [12.0, 16.0, 24.0])
def test_a_small_deep_place_is_roughed_as_far_as_lines_have_room(wide, depth_per_pass):
    """What stands where the tip may go is at most what two skims and one level leave; nothing is cut below the skim."""
    surface, skim = funnel(wide), 0.5
    m = rough(surface, run(FLAT4), depth_per_pass=depth_per_pass, skim=skim)
    left = after_roughing(surface, FLAT4, m)
    cut = left.heights.z < 0
    assert cut.any()
    assert (left.heights.z - surface.z)[cut].min() >= skim - 1e-9
    lowest = tips_for_roughing(surface, FLAT4, skim).min()
    assert lowest - 1e-6 <= left.levels[-1] <= lowest + skim + 1e-6
    least = tips_for_roughing(surface, FLAT4, skim)
    fully = roughing_levels(surface.with_(least), depth_per_pass, 0.45 * 4, skim=skim)
    assert left.levels == pytest.approx([-d for d in fully], abs=1e-6)


def test_levels_that_no_line_finds_room_for_are_left_out_with_a_reason():
    with pytest.raises(InputError, match=r"too narrow for SQ4|thicker than the carving"):
        rough(funnel(4.6, 6.0, 0.1), run(FLAT4), depth_per_pass=10.0, skim=0.1)


def test_a_level_ground_is_still_reached():
    """Where the lowest place is wide the last level is the lowest tip itself."""
    m = rough(walls(), run(FLAT4), depth_per_pass=1.0, skim=0.3)
    assert m.points[:, 2].min() == pytest.approx(tips_for_roughing(walls(), FLAT4, 0.3).min())


@pytest.mark.parametrize("pattern", ["lines", "rings"])
@pytest.mark.parametrize("top", [0.0, 1.5])
def test_ways_between_cuts_stay_just_above_the_stock(pattern, top):
    cutting = run(FLAT4, direction="climb")
    m = rough(wavy(), cutting, depth_per_pass=1.0, skim=0.3, pattern=pattern, stock_top=top)
    begin, end = m.points[:-1], m.points[1:]
    sideways = (m.kind == Kind.RAPID) & (np.hypot(*(end - begin)[:, :2].T) > 1e-6)
    assert sideways.any()
    assert (np.minimum(begin, end)[sideways, 2] == top + 2.0).all()
    assert m.points[0, 2] == m.points[-1, 2] == cutting.safe_height
    x = end[sideways, 0]
    assert (x >= -4).all()
    assert (x <= wavy().length + 4).all()


def test_a_safe_height_below_the_stock_is_refused():
    with pytest.raises(InputError, match="not above the stock's top"):
        rough(wavy(), run(FLAT4), depth_per_pass=1.0, stock_top=12.0)


def test_what_is_left_is_what_brute_force_finds():
    surface = wavy()
    for cutter in (FLAT4, BALL6):
        m = rough(surface, run(cutter, stepover=0.4), depth_per_pass=1.0, skim=0.3)
        fast = cut_heights(surface, cutter, m, 0.0).z
        slow = np.minimum(brute_force(surface, cutter, m, 0.02), 0.0)
        assert (fast <= slow + 1e-9).all()
        near = np.abs(fast - slow) < 0.01
        assert near.mean() > 0.99
        left = after_roughing(surface, cutter, m, finishing=BALL6)
        assert left.greatest == pytest.approx((fast - reached(surface, BALL6).z).max())
        assert left.volume == pytest.approx((fast - reached(surface, BALL6).z).sum() * 0.16)


def test_sloped_moves_are_followed():
    """A ramp of 45 degrees under a square end: the groove's floor is that of the tip's rear, a radius back."""
    board = sampled(lambda x, y: 0 * x, 40.0, 10.0, pixel=0.1)
    ramp = from_lists([(5, 5, 0), (15, 5, -10), (30, 5, -10)], [Kind.LINE, Kind.LINE], feed=3000)
    z = cut_heights(board, FLAT4, ramp, 0.0).z[50]
    x = board.x
    on = (x > 8) & (x < 12)
    assert np.abs(z[on] - -(x[on] - 5 + 2)).max() < 0.15
    assert z[(x > 13) & (x < 31)].max() == -10.0
    assert z[x < 2.9].min() == 0.0
    with pytest.raises(InputError, match="arcs"):
        cut_heights(board, FLAT4, from_lists([(0, 0, 0), (2, 0, 0)], [Kind.ARC], arcs={0: ((1, 0, 0), math.pi, 0)}), 0)


def test_rings_keep_the_wood_on_the_right_when_they_climb():
    pit = sampled(
        lambda x, y: np.where((np.abs(x - 20) < 15) & (np.abs(y - 15) < 10), -3.0, 0.0), 40.0, 30.0, pixel=0.25
    )
    for direction, sign in (("climb", 1), ("conventional", -1)):
        m = rough(pit, run(FLAT8, direction=direction, stepover=0.4), depth_per_pass=3.0, skim=0.2, pattern="rings")
        begin, end = on_feed(m)
        level = (np.abs(begin[:, 2] - end[:, 2]) < 1e-9) & (end[:, 2] < -2)
        p, q = begin[level, :2] - [20, 15], end[level, :2] - [20, 15]
        turn = p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]
        assert np.sign(turn.sum()) == sign  # inside a pit counter-clockwise climbs
        away = np.abs(p).max(axis=1)
        assert away[0] < away[-1]  # from the inside outwards
    island = sampled(
        lambda x, y: np.where((np.abs(x - 20) < 6) & (np.abs(y - 15) < 5), 0.0, -3.0), 40.0, 30.0, pixel=0.25
    )
    m = rough(island, run(FLAT8, stepover=0.4), depth_per_pass=3.0, skim=0.2, pattern="rings")
    begin, end = on_feed(m)
    p, q = begin[:, :2] - [20, 15], end[:, :2] - [20, 15]
    near = (np.abs(p[:, 0]) < 6 + 4 + 0.2 + 1) & (np.abs(p[:, 1]) < 5 + 4 + 0.2 + 1) & (end[:, 2] < -2)
    assert (p[near, 0] * q[near, 1] - p[near, 1] * q[near, 0]).sum() < 0  # round an island clockwise


def test_to_and_fro_lifts_less_than_one_way():
    hollow = dished(60.0, 40.0, 6.0, pixel=0.5)
    lifts = {}
    for direction in ("climb", "both"):
        m = rough(hollow, run(FLAT8, direction=direction), depth_per_pass=2.0, skim=0.5, lap=False)
        lifts[direction] = int((m.kind == Kind.RAPID).sum())
    assert lifts["both"] < lifts["climb"] / 3
    levels = 3
    assert lifts["both"] <= 2 * levels


def test_entries_ramp_or_plunge():
    hollow = dished(60.0, 40.0, 6.0, pixel=0.5)
    for entry in ("ramp", "plunge"):
        cutting = run(FLAT8, entry=entry, direction="both")
        m = rough(hollow, cutting, depth_per_pass=2.0, skim=0.5)
        begin, end = on_feed(m)
        d = end - begin
        in_wood = (d[:, 2] < -1e-9) & (end[:, 2] < -1e-9)
        sideways = np.hypot(d[:, 0], d[:, 1])
        feed = m.feed[m.kind == Kind.LINE]
        share = -d[:, 2] / np.linalg.norm(d, axis=1)
        if entry == "ramp":
            ramps = in_wood & (sideways > 1e-9)
            assert ramps.sum() >= 3
            assert (-d[ramps, 2] <= math.tan(cutting.ramp) * sideways[ramps] * (1 + 1e-6)).all()
        assert (share * feed <= max(cutting.plunge_feed, cutting.feed_in_air) * (1 + 1e-9)).all()


def test_higher_stock_is_cleared_first():
    hollow = dished(40.0, 30.0, 3.0, pixel=0.5)
    m = rough(hollow, run(FLAT8), depth_per_pass=2.0, skim=0.5, stock_top=2.0)
    left = after_roughing(hollow, FLAT8, m, stock_top=2.0)
    least = hollow.with_(tips_for_roughing(hollow, FLAT8, 0.5))
    levels = roughing_levels(least, 2.0, 0.45 * 8, skim=0.5, stock_top=2.0)
    assert left.levels == pytest.approx([2.0 - d for d in levels], abs=1e-5)
    assert left.heights.z.max() <= 2.0
    assert m.extents()[2, 1] == 10.0


def test_read_back_from_a_program_it_takes_the_same_time():
    surface, cutting = wavy(), run(FLAT4, direction="both")
    for pattern in ("lines", "rings"):
        whole = program([(cutting, rough(surface, cutting, depth_per_pass=1.0, skim=0.3, pattern=pattern))])
        again = read_text(write_program(whole, title="roughing")).moves
        assert machine_time(again, ROUTER).total_s == pytest.approx(machine_time(whole, ROUTER).total_s, rel=5e-3)


def test_the_free_region_is_made_of_free_squares():
    """Area and holes against counting; squares that touch at a corner stay apart."""
    rng = np.random.default_rng(3)
    for _ in range(40):
        free = rng.random((9, 12)) < rng.choice([0.7, 0.85, 0.95])
        level = HeightMap(np.zeros(free.shape), 0.5)
        cells = free[:-1, :-1] & free[1:, :-1] & free[:-1, 1:] & free[1:, 1:]
        area = region(level, free)
        assert area.area == pytest.approx(cells.sum() * 0.25)
        for i, j in np.argwhere(cells):
            assert area.contains(shapely.Point((j + 1) * 0.5, (i + 1) * 0.5))


def test_rings_cover_their_area():
    end = run(FLAT8)
    area = shapely.Point(0, 0).buffer(30).difference(shapely.box(-5, -8, 12, 9))
    for width in (2.0, 4.0, 7.0):
        ways = rings_within(area, end, width, keep_off=0.05)
        swept = shapely.union_all([shapely.LineString(w).buffer(4.0) for w in ways])
        assert area.difference(swept).area < 1e-3 * area.area
        assert all(area.buffer(1e-6).covers(shapely.LineString(w)) for w in ways)


@pytest.mark.parametrize("slope", [90.0, 60.0, 45.0])
def test_ground_round_a_shape(slope):
    shape = shapely.Point(20, 15).buffer(8, quad_segs=32).union(shapely.box(5, 12, 20, 18)).convex_hull
    m = cut_round(shape, run(FLAT8, stepover=0.4), depth=5.0, edge_slope=math.radians(slope), edge_step=0.25)
    board = sampled(lambda x, y: 0 * x, 60.0, 50.0, pixel=0.25)
    board = HeightMap(board.z, board.pixel, (-10.0, -10.0))
    z = cut_heights(board, FLAT8, m, 0.0).z
    x, y = np.meshgrid(board.x, board.y)
    away = shapely.distance(shapely.points(x, y), shape)
    edge = -away * math.tan(math.radians(slope)) if slope < 90 else np.where(away > 0, -np.inf, 0.0)
    true = np.maximum(edge, -5.0)
    assert (z - true).min() >= -1e-3 - 0.01 * math.tan(math.radians(min(slope, 60)))  # chords of the offset curve
    near = (away > 0.3) & (away < 12)
    assert (z - true)[near].max() <= (0.3 if slope < 90 else 1e-9) + 0.1
    assert m.points[:, 2].min() == -5.0


def test_a_v_cuts_its_own_slope_at_once():
    """A V of 60 degrees leaves an edge of 60 degrees against level; its lap at full depth does it."""
    sharp = Cutter("V", "", "V", 12, 6, 2, 12, 60, 40, included_angle=math.radians(60))
    m = cut_round(shapely.box(0, 0, 30, 20), run(sharp), depth=4.0, edge_slope=math.radians(60), depth_per_pass=4.0)
    begin, _ = on_feed(m)
    deep = begin[np.abs(begin[:, 2] + 4) < 1e-9]
    away = shapely.distance(shapely.points(deep[:, :2]), shapely.box(0, 0, 30, 20))
    assert away.min() == pytest.approx(4 / math.tan(math.radians(60)), abs=1e-3)


def test_ground_round_a_map():
    dome = sampled(lambda x, y: np.maximum(-6.0, -1 - 0.05 * ((x - 25) ** 2 + (y - 20) ** 2)), 50.0, 40.0, pixel=0.25)
    m = cut_round(dome, run(FLAT8, stepover=0.4), depth=6.0)
    z = cut_heights(dome, FLAT8, m, 0.0).z
    raised = dome.z > -6.0 + 1e-6
    assert z[raised].min() == 0.0
    x, y = np.meshgrid(dome.x, dome.y)
    clear = np.hypot(x - 25, y - 20) > 10 + 0.6
    assert (z[clear] == -6.0).mean() > 0.999
    with pytest.raises(InputError, match="raised"):
        cut_round(dome, run(FLAT8), depth=0.5)


@pytest.mark.parametrize("direction", ["x", 30, 45])
@pytest.mark.parametrize(("slope", "pixel"), [(0.15, 0.2), (0.5, 0.2), (0.5, 0.1)])
def test_steps_of_a_flat_end_on_a_slope_are_bounded(slope, pixel, direction):
    """Finished and swept: what stands over what the cutter reaches is within the bound, and not far below it askew."""
    plane = sampled(lambda x, y: slope * (0.8 * x + 0.6 * y) - 12, 20.0, 20.0, pixel=pixel)
    moves = finish(plane, run(FLAT4), stepover=0.5, direction=direction, tolerance=0.01)
    inner = (slice(30, -30),) * 2
    over = (cut_heights(plane, FLAT4, moves, 5.0).z - reached(plane, FLAT4).z)[inner]
    bound = stairs(plane, FLAT4)
    assert bound == pytest.approx(2 * pixel * slope * 1.4)
    assert over.max() <= bound * 1.02
    assert direction == "x" or over.max() > bound / 2
    assert stairs(plane, BALL6) == 0


def test_dished_ground():
    ground = dished(60.0, 40.0, 6.0, pixel=0.25)
    assert ground.z.min() == pytest.approx(-6.0, abs=0.01)
    assert np.abs(np.concatenate([ground.z[0], ground.z[:, -1]])).max() < 0.2
    assert ground.z == pytest.approx(ground.z[::-1, ::-1])
    assert ground.z.mean() == pytest.approx(-6.0 * (2 / 3) ** 2, rel=1e-3)


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ({"depth_per_pass": 0.0}, "depth per pass"),
        ({"width_per_pass": 9.0}, "width per pass"),
        ({"pattern": "spiral"}, "pattern 'spiral'"),
        ({"direction": "z"}, "direction 'z'"),
        ({"skim": -0.1}, "skim"),
        ({"skim": 9.0}, "thicker"),
        ({"stock_top": -1.0}, "above the stock"),
    ],
)
def test_bad_settings_are_named(settings, words):
    with pytest.raises(InputError, match=words):
        rough(dished(40.0, 30.0, 3.0, pixel=0.5), run(FLAT8), **settings)


def test_too_deep_for_the_flutes():
    with pytest.raises(InputError, match="cutting length"):
        rough(dished(200.0, 150.0, 40.0, pixel=1.0), run(FLAT8))
    with pytest.raises(InputError, match="fits nowhere"):
        cut_round(shapely.box(0, 0, 30, 20), run(FLAT8), depth=5, ground=shapely.box(-3, -3, 33, 23))
    assert profile(FLAT8).radius == 4.0
