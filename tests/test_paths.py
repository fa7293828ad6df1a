"""Paths cut into a height map: what is left must be what was wanted, and rapids must stay out of the wood."""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapely import Point, Polygon, box
from workpiece import Workpiece

from shopcalc.cutters import Cutter
from shopcalc.errors import InputError
from shopcalc.gcode import read_text, write_program
from shopcalc.moves import Kind, Moves, Stop
from shopcalc.paths import (
    Cutting,
    Tenon,
    arc,
    bore,
    cut_out,
    face,
    groove,
    groove_along,
    incise,
    mortise,
    program,
    raise_panel,
    rebate,
    sink,
    tenon,
    turned,
)
from shopcalc.paths.contours import border_height
from shopcalc.paths.runs import polyline, ring_run, stadium

SQ6 = Cutter("SQ6", "", "square end", 6, 6, 2, 22, 60, 32, number=1)
SQ12 = Cutter("SQ12", "", "square end", 12, 12, 2, 60, 100, 70, number=3)
WINGS = replace(SQ12, id="SQ12D", centre_cutting=False, number=4)
SURF = Cutter("SURF50", "", "surfacing", 50, 12, 3, 12, 60, 40, centre_cutting=False, number=10)
BALL = Cutter("BALL12", "", "ball", 12, 12, 2, 30, 80, 50)
V60 = Cutter("V60", "", "V", 12, 6, 2, 10, 60, 30, included_angle=math.radians(60), number=8)
DRILL = Cutter("DR8", "", "drill", 8, 8, 2, 35, 70, 45, number=12)


def setting(cutter: Cutter, depth_per_pass: float = 4, **more: object) -> Cutting:
    return Cutting(cutter, 4000, 1200, 16000, depth_per_pass=depth_per_pass, **more)


def check(moves: Moves, cutting: Cutting, wood: Polygon, wanted: Polygon, depth: float, resolution: float = 0.4):
    """Cut and compare: ``wanted`` is at depth, the rest of the wood untouched, within a hair of the boundary."""
    x0, y0, x1, y1 = wood.bounds
    piece = Workpiece((x0, x1), (y0, y1), resolution).cut(moves, cutting.cutter)
    inside = shapely.contains_xy(wanted.buffer(-0.03).intersection(wood), piece.X, piece.Y)
    outside = ~shapely.contains_xy(wanted.buffer(0.03), piece.X, piece.Y)
    assert inside.any()
    missed = inside & (piece.height > -depth + 1e-6)
    assert not missed.any(), f"{missed.sum()} points not reached, first at {piece.X[missed][0]}, {piece.Y[missed][0]}"
    np.testing.assert_allclose(piece.height[inside], -depth, atol=1e-9)
    hurt = outside & (piece.height < -1e-9)
    assert not hurt.any(), f"{hurt.sum()} points overcut, first at {piece.X[hurt][0]}, {piece.Y[hurt][0]}"
    assert piece.rapid_in_wood <= 1e-9
    if not cutting.cutter.centre_cutting:
        assert piece.plunged_in_wood <= 1e-9
    bounds(moves, cutting, wood)
    return piece


def bounds(moves: Moves, cutting: Cutting, wood: Polygon) -> None:
    """Nothing further out than radius and lead; starts and ends at the safe height; no gap, no feed missing."""
    x0, y0, x1, y1 = wood.bounds
    (xl, xh), (yl, yh), (_, zh) = moves.extents()
    out = cutting.radius + cutting.lead + 1e-6
    assert xl >= x0 - out
    assert xh <= x1 + out
    assert yl >= y0 - out
    assert yh <= y1 + out
    assert zh == cutting.safe_height == moves.points[0, 2] == moves.points[-1, 2]
    assert np.isfinite(moves.feed[moves.cutting]).all()
    assert (moves.lengths > 0).all()
    down = (np.diff(moves.points[:, 2]) < 0) & moves.cutting
    sine = -np.diff(moves.points[:, 2])[down] / moves.lengths[down]
    in_air = moves.feed[down] == cutting.feed_in_air
    assert ((moves.feed[down] * sine <= cutting.plunge_feed + 1e-6) | (in_air & (sine > 0.999))).all()
    assert (moves.feed[down] * sine <= cutting.feed_in_air + 1e-6).all()


def fillet(area: Polygon, radius: float) -> Polygon:
    """What a round cutter can reach of an area: an opening, written with shapely at fine chords."""
    return area.buffer(-radius, quad_segs=64).buffer(radius, quad_segs=64)


# --- clearing ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("direction", ["climb", "conventional", "both"])
@pytest.mark.parametrize("pattern", ["along", "across", "both", "rings"])
@pytest.mark.parametrize("size", [(160, 90), (90, 160), (70, 20)])
def test_facing_takes_the_whole_board_down(direction, pattern, size):
    cutting = setting(SURF, 1.5, direction=direction, stepover=0.6)
    board = box(0, 0, *size)
    check(face(cutting, *size, depth=2.5, pattern=pattern), cutting, board, board.buffer(1), 2.5, 1.0)


def test_facing_never_engages_wider_than_a_step():
    """Distance between lines, and how far the first line reaches onto the board."""
    cutting = setting(SURF, stepover=0.3)
    moves = face(cutting, 200, 90, depth=1, pattern="along")
    lines = np.unique(np.round(moves.points[1:-1, 1], 9))[::-1]
    assert 90 - (lines[0] - 25) <= 15 + 1e-9
    assert (-np.diff(lines) <= 15 + 1e-9).all()


DUMB_BELL = shapely.union_all([box(0, 0, 40, 40), box(39, 15, 80, 24), box(79, 0, 120, 40)])
L_SHAPE = Polygon([(5, 5), (95, 5), (95, 40), (45, 40), (45, 75), (5, 75)])


@pytest.mark.parametrize("direction", ["climb", "conventional"])
@pytest.mark.parametrize("stepover", [0.2, 0.45, 0.9])
@pytest.mark.parametrize("cutter", [SQ6, SQ12, WINGS], ids=lambda c: c.id)
def test_sinking_an_angled_recess(direction, stepover, cutter):
    cutting = setting(cutter, direction=direction, stepover=stepover)
    moves = sink(cutting, L_SHAPE, depth=7)
    check(moves, cutting, box(0, 0, 100, 80), fillet(L_SHAPE, cutter.diameter / 2), 7)


def test_sinking_around_islands_with_a_last_lap():
    island = Point(28, 24).buffer(8, quad_segs=64)
    wanted = fillet(L_SHAPE.difference(island), 3)
    cutting = setting(SQ6)
    moves = sink(cutting, L_SHAPE, depth=5, islands=[island], skim=0.3)
    check(moves, cutting, box(0, 0, 100, 80), wanted, 5)
    rough = sink(cutting, L_SHAPE, depth=5, islands=[island])
    assert moves.cutting_length > rough.cutting_length


def test_a_rectangle_gives_straight_lines_and_a_round_recess_true_arcs():
    straight = sink(setting(SQ12, entry="plunge"), [(0, 0), (80, 0), (80, 50), (0, 50)], depth=4)
    assert not len(straight.arc_index)
    assert set(np.unique(np.round(straight.points[1:-1, 0], 6))) >= {6.0, 74.0}
    around = sink(setting(SQ12), box(0, 0, 80, 80), depth=4, islands=[box(35, 35, 45, 45)])
    corner = np.round(around.arc_radius, 6)
    assert (corner == 6.0).sum() >= 4
    assert len(sink(setting(SQ12), Point(40, 40).buffer(30, quad_segs=64), depth=4).arc_index) > 4


def test_a_hexagon_stays_a_hexagon():
    six = [(30 * math.cos(a), 30 * math.sin(a)) for a in np.linspace(0, 2 * math.pi, 7)]
    assert all(leg.centre is None for leg in ring_run(six).legs)


def test_climbing_keeps_the_wall_on_the_right():
    """Signed area of the last closed lap: counter-clockwise inside a recess, clockwise around a part."""

    def turning(moves: Moves) -> float:
        flat = np.flatnonzero((moves.points[:-1, 2] == moves.points[:, 2].min()) & (np.diff(moves.points[:, 2]) == 0))
        p, q = moves.points[flat, :2], moves.points[flat + 1, :2]
        return float(np.sum(p[:, 0] * q[:, 1] - q[:, 0] * p[:, 1]))

    square = [(10, 10), (60, 10), (60, 60), (10, 60)]
    assert turning(sink(setting(SQ12), square, depth=2)) > 0
    assert turning(sink(setting(SQ12, direction="conventional"), square, depth=2)) < 0
    assert turning(cut_out(setting(SQ12), square, thickness=3, bridges=0)) < 0
    assert turning(cut_out(setting(SQ12), square, thickness=3, bridges=0, side="inside")) > 0


# --- joinery ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("width", [6.0, 8.0, 15.0])
@pytest.mark.parametrize("direction", ["climb", "conventional", "both"])
@pytest.mark.parametrize("ends", [(True, True), (True, False), (False, True), (False, False)])
def test_grooves_open_and_stopped(width, direction, ends):
    cutting = setting(SQ6, direction=direction)
    a, b = (0 if ends[0] else 12), (100 if ends[1] else 80)
    moves = groove(cutting, (a, 20), (b, 20), depth=9, width=width, open_start=ends[0], open_end=ends[1])
    area = box(a - (30 if ends[0] else 0), 20 - width / 2, b + (30 if ends[1] else 0), 20 + width / 2)
    check(moves, cutting, box(0, 0, 100, 40), fillet(area, 2.999), 9)


def test_a_groove_at_an_angle_is_the_same_groove_turned():
    cutting = setting(SQ6)
    level = groove(cutting, (20, 30), (80, 30), depth=5, width=10)
    tilted = groove(cutting, (20, 30), (20 + 60 * math.cos(0.5), 30 + 60 * math.sin(0.5)), depth=5, width=10)
    back = turned(tilted, -0.5, (20, 30))
    np.testing.assert_allclose(back.points, level.points, atol=1e-9)
    np.testing.assert_allclose(back.lengths, level.lengths, atol=1e-9)


def test_a_groove_along_an_arch_is_square_to_it():
    cutting = setting(SQ6)
    arch = arc((60, -40), 90, math.radians(125), math.radians(-70))
    ring = Point(60, -40).buffer(94, quad_segs=400).difference(Point(60, -40).buffer(86, quad_segs=400))
    moves = groove_along(cutting, arch, depth=8, width=8)
    piece = Workpiece((0, 120), (0, 60), 0.4).cut(moves, SQ6)
    cut = piece.height < -1e-9
    assert shapely.contains_xy(ring.buffer(0.03), piece.X[cut], piece.Y[cut]).all()
    between = np.abs(np.arctan2(piece.X - 60, piece.Y + 40)) < math.radians(34)
    inside = shapely.contains_xy(ring.buffer(-0.03), piece.X, piece.Y) & between
    np.testing.assert_allclose(piece.height[inside], -8, atol=1e-9)
    one_pass = groove_along(cutting, arch, depth=8)
    np.testing.assert_allclose(one_pass.arc_radius, 90)


@pytest.mark.parametrize("direction", ["climb", "conventional"])
@pytest.mark.parametrize("stops", [(None, None), (20, None), (None, 90), (20, 90)])
@pytest.mark.parametrize("width", [5, 20])
def test_rebates(direction, stops, width):
    cutting = setting(WINGS, direction=direction)
    moves = rebate(cutting, 120, width=width, depth=9, start=stops[0], end=stops[1])
    lo, hi = (-50 if stops[0] is None else stops[0]), (170 if stops[1] is None else stops[1])
    check(moves, cutting, box(0, 0, 120, 40), fillet(box(lo, -50, hi, width), 5.999), 9)


@pytest.mark.parametrize("diameter", [6, 9, 20, 35])
def test_bored_holes_are_round_and_to_depth(diameter):
    cutting = setting(SQ6)
    moves = bore(cutting, [(25, 25), (75, 30)], diameter=diameter, depth=18)
    holes = shapely.union_all([Point(x, y).buffer(diameter / 2, quad_segs=128) for x, y in ((25, 25), (75, 30))])
    check(moves, cutting, box(0, 0, 100, 60), holes, 18)
    if diameter > 6:
        assert len(moves.arc_index)


def test_pecks_are_no_deeper_than_a_level_and_withdraw():
    moves = bore(setting(DRILL, 10), [(10, 10)], diameter=8, depth=28)
    z = moves.points[:, 2]
    assert sorted(v for v in z if v < 0 and v in (-28 / 3, -56 / 3, -28)) == [-28, -56 / 3, -28 / 3]
    assert (z == 2).sum() == 4


@pytest.mark.parametrize("direction", ["climb", "conventional"])
@pytest.mark.parametrize("entry", ["ramp", "plunge"])
@pytest.mark.parametrize(("width", "angle"), [(6, 0.0), (6, 0.6), (9.5, 0.0), (9.5, 1.1), (22, 0.3)])
def test_mortises(direction, entry, width, angle):
    cutting = setting(SQ6, direction=direction, entry=entry)
    moves = mortise(cutting, (50, 40), length=45, width=width, depth=20, angle=angle)
    half = (45 - width) / 2 * np.array([math.cos(angle), math.sin(angle)])
    middle = shapely.LineString([np.array([50, 40]) - half, np.array([50, 40]) + half])
    check(moves, cutting, box(0, 0, 100, 80), middle.buffer(width / 2, quad_segs=128), 20)


RAIL = (90.0, 28.0)
TENONS = {
    "plain": Tenon(60, 9.5, 32, 15, 6),
    "full width": Tenon(90, 9.5, 32, 0, 9),
    "bare face": Tenon(60, 12, 32, 15, 0),
    "haunched": Tenon(50, 9.5, 32, 25, 9, stub_length=10, stub_left=25),
    "stepped": Tenon(50, 9.5, 32, 20, 9, stub_length=10, stub_left=20, stub_right=20),
    "rounded": Tenon(60, 9.5, 32, 15, 6, rounded=True),
    "paired": Tenon(70, 9.5, 32, 10, 6, gap=24),
    "paired on a stub": Tenon(70, 9.5, 32, 10, 6, stub_length=10, gap=24),
}


@pytest.mark.parametrize("direction", ["climb", "conventional"])
@pytest.mark.parametrize(
    "extra",
    [{}, {"skim": 0.4}, {"scoring": 1.0}, {"skim": 0.3, "scoring": 0.5}, {"laps": True}, {"laps": True, "skim": 0.4}],
    ids=str,
)
@pytest.mark.parametrize("name", TENONS)
def test_tenons_on_end(direction, extra, name):
    """The rail's section less the tenon is at the shoulder, or at the step; the tenon is never touched."""
    cutting, s = setting(replace(WINGS, cutting_length=60), 12, direction=direction), TENONS[name]
    moves = tenon(cutting, *RAIL, s, **extra)
    piece = Workpiece((0, RAIL[0]), (0, RAIL[1]), 0.4).cut(moves, WINGS)

    def kept(left: float, right: float) -> np.ndarray:
        x0, x1 = s.from_edge - left, s.from_edge + s.width + right
        shape = box(x0, s.from_face, x1, s.from_face + s.thickness)
        if not s.rounded:
            return shape
        r = s.thickness / 2
        spine = shapely.LineString([(x0 + r, s.from_face + r), (x1 - r, s.from_face + r)])
        return spine.buffer(r, quad_segs=64)

    tongue, stub = kept(0, 0), kept(s.stub_left, s.stub_right)
    if s.gap:
        middle = s.from_edge + s.width / 2
        tongue = tongue.difference(box(middle - s.gap / 2, -1, middle + s.gap / 2, RAIL[1] + 1))
        stub = stub if s.stub_length else tongue
    step = s.length - (s.stub_length if s.style != "plain" else 0)
    shoulder = ~shapely.contains_xy(stub.buffer(0.03), piece.X, piece.Y)
    ledge = shapely.contains_xy(stub.buffer(-0.03), piece.X, piece.Y)
    ledge &= ~shapely.contains_xy(tongue.buffer(0.03), piece.X, piece.Y)
    tip = shapely.contains_xy(tongue.buffer(-0.03), piece.X, piece.Y)
    np.testing.assert_allclose(piece.height[shoulder], -s.length, atol=1e-9)
    np.testing.assert_allclose(piece.height[ledge], -step, atol=1e-9)
    assert (piece.height[tip] == 0).all()
    assert piece.rapid_in_wood == piece.plunged_in_wood == 0
    if "skim" not in extra:  # its last lap takes a thin skin at full depth
        assert piece.engaged <= 12 + 1e-9
    bounds(moves, cutting, box(0, 0, *RAIL))


def test_narrow_edges_are_cut_before_cheeks_and_scoring_before_both():
    """The first long cuts of a level run along y (edges), the later ones along x (cheeks)."""
    moves = tenon(setting(SQ12, 40), *RAIL, TENONS["plain"])
    level = np.flatnonzero(moves.cutting & (np.abs(np.diff(moves.points[:, 2])) < 1e-9))
    step = np.abs(np.diff(moves.points, axis=0))[level]
    along_y = step[:, 1] > step[:, 0]
    assert along_y.any()
    assert not along_y.all()
    assert not along_y[int(np.argmin(along_y)) :].any()


# --- contours ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("direction", ["climb", "conventional"])
@pytest.mark.parametrize("side", ["outside", "inside"])
@pytest.mark.parametrize("bridges", [0, 3, 4])
def test_cutting_out_leaves_the_part_and_its_bridges(direction, side, bridges):
    part = fillet(Polygon([(20, 20), (100, 20), (100, 60), (70, 80), (20, 80)]), 8)
    cutting = setting(SQ6, 5, direction=direction)
    moves = cut_out(cutting, part, thickness=12, side=side, bridges=bridges, bridge_length=8, bridge_height=3)
    piece = Workpiece((0, 120), (0, 100), 0.25).cut(moves, SQ6)
    kerf = part.buffer(6, quad_segs=64).difference(part) if side == "outside" else part.difference(part.buffer(-6))
    inside = shapely.contains_xy(kerf.buffer(-0.05), piece.X, piece.Y)
    outside = ~shapely.contains_xy(kerf.buffer(0.05), piece.X, piece.Y)
    assert (piece.height[outside] == 0).all()
    assert piece.rapid_in_wood <= 1e-9
    assert (piece.height[inside] <= -9 + 1e-9).all()
    assert piece.engaged <= 12.2 / 3 + 1e-9
    middle = part.buffer(3, quad_segs=64) if side == "outside" else part.buffer(-3, quad_segs=64)
    s = np.arange(0, middle.exterior.length, 0.05)
    p = shapely.get_coordinates(shapely.line_interpolate_point(middle.exterior, s))
    cell = np.round(p / 0.25).astype(int)
    standing = piece.height[cell[:, 0], cell[:, 1]] > -12
    assert piece.height.min() == -12.2
    # wood stands where the cutter was lifted less what its round nose takes at both ends: the bridge's length
    assert standing.sum() * 0.05 == pytest.approx(bridges * 8, abs=bridges * 0.4)
    changes = int((standing != np.roll(standing, 1)).sum())
    assert changes == 2 * bridges


@pytest.mark.parametrize("direction", ["climb", "conventional"])
@pytest.mark.parametrize("profile", ["bevel", "cove"])
@pytest.mark.parametrize("cutter", [SQ12, BALL], ids=lambda c: c.shape)
def test_raising_never_cuts_below_the_border_and_leaves_small_steps(direction, profile, cutter):
    cutting = setting(cutter, 4, direction=direction, stepover=0.15)
    moves = raise_panel(cutting, 150, 110, border=32, depth=6, rim=9, field_step=1.0, profile=profile)
    piece = Workpiece((0, 150), (0, 110), 0.5).cut(moves, cutter)
    nearest = np.minimum(np.minimum(piece.X, 150 - piece.X), np.minimum(piece.Y, 110 - piece.Y))
    wanted = border_height(nearest, 32, 6, 9, 1.0, profile)
    left = piece.height - wanted
    assert left[np.abs(nearest - 32) > 0.01].min() > -2e-3
    on_border = nearest < 32 - 0.5 - (cutter.diameter / 2 if cutter is BALL else 0)
    steepest = 5 / 23 if profile == "bevel" else math.tan(2 * math.atan(5 / 23))
    assert left[on_border].max() < steepest * 0.15 * 12 + 0.01
    assert (piece.height[nearest > 32.01] == 0).all()
    assert piece.rapid_in_wood <= 1e-9
    bounds(moves, cutting, box(0, 0, 150, 110))
    if cutter is SQ12:
        np.testing.assert_allclose(piece.height[nearest < 8.9], -6)


@pytest.mark.parametrize("profile", ["bevel", "cove"])
@pytest.mark.parametrize("cusp", [0.1, 0.03])
@pytest.mark.parametrize("cutter", [BALL, replace(BALL, id="CB19", shape="core-box", diameter=19)], ids=lambda c: c.id)
def test_ridges_on_the_border_are_no_higher_than_the_cusp(cutter, cusp, profile):
    """Rim, bevel and the foot of the field on a fine line across one side; only the hollow corners keep a round."""
    rim, border, depth = 10.0, 45.0, 9.0
    cutting = setting(cutter, 4)
    moves = raise_panel(cutting, 170, 130, border=border, depth=depth, rim=rim, profile=profile, cusp=cusp)
    piece = Workpiece((85, 85.1), (0, 65), 0.05).cut(moves, cutter)
    nearest, height = piece.Y[0], piece.height[0]
    left = height - border_height(nearest, border, depth, rim, 0.0, profile)
    slope = math.atan(depth / (border - rim)) * (1 if profile == "bevel" else 2)
    hollow = cutter.diameter / 2 * math.tan(slope / 2) if profile == "bevel" else 0.0
    clear = np.abs(nearest - border) > 0.06
    assert left[clear].min() > -2e-3
    on_rim = nearest < rim - hollow - 0.05
    assert left[on_rim].max() <= cusp + 4e-3  # the map is cut at places 0.4 mm apart along each line
    on_slope = (nearest > rim + hollow + 0.05) & clear
    assert left[on_slope].max() <= cusp / math.cos(slope) + 5e-3
    coarse = raise_panel(cutting, 170, 130, border=border, depth=depth, rim=rim, profile=profile, cusp=2.5)
    assert coarse.cutting_length < moves.cutting_length
    assert piece.engaged <= 4 + 1e-9


def test_a_cutter_with_a_flat_end_pays_no_heed_to_the_cusp():
    ways = [raise_panel(setting(SQ12), 150, 110, border=32, depth=6, cusp=c) for c in (0.01, 1.0)]
    assert ways[0].cutting_length == ways[1].cutting_length


def test_raising_cuts_across_the_grain_first():
    moves = raise_panel(setting(SQ12, 10), 150, 110, border=32, depth=7)
    step = np.abs(np.diff(moves.points, axis=0))[moves.cutting]
    long = step.max(axis=1) > 100
    across = step[long, 1] > step[long, 0]
    assert across.any()
    assert not across[int(np.argmin(across)) :].any()


def test_incised_lines_are_as_wide_as_the_v_at_their_depth():
    moves = incise(setting(V60, 2), [[(10, 10), (50, 10)], polyline([(10, 20), (30, 40)])], depth=4)
    piece = Workpiece((0, 60), (0, 50), 0.1).cut(moves, V60)
    section = piece.height[int(30 / 0.1), : int(15 / 0.1)] < 0
    assert section.sum() * 0.1 == pytest.approx(2 * 4 * math.tan(math.radians(30)), abs=0.15)
    assert piece.height.min() == -4
    assert piece.rapid_in_wood == 0


# --- speeds and heights -----------------------------------------------------------------------------------------------


def test_a_drop_beside_the_wood_keeps_to_the_vertical_feed():
    """Twice the plunge where nothing is said, never above the feed."""
    fast = Cutting(SQ12, 10932, 2000, 18000, depth_per_pass=5)
    for cutting, most in (
        (fast, 4000),
        (replace(fast, vertical_feed=2500), 2500),
        (replace(fast, vertical_feed=20000), 10932),
        (replace(fast, plunge_feed=8000), 10932),
    ):
        for moves in (
            groove(cutting, (0, 20), (90, 20), depth=9, open_start=True),
            sink(cutting, box(0, 0, 60, 50), depth=9, skim=0.3),
            mortise(cutting, (0, 0), length=40, width=20, depth=9),
            tenon(cutting, *RAIL, TENONS["rounded"], skim=0.3),
            cut_out(cutting, box(0, 0, 90, 60), thickness=12),
        ):
            rise = np.diff(moves.points, axis=0)
            straight = moves.cutting & (np.hypot(rise[:, 0], rise[:, 1]) < 1e-9)
            assert straight.any()
            assert moves.feed[straight].max() <= most
            assert moves.feed[moves.cutting].max() == 10932
            bore_at = np.abs(rise[:, 2]) * moves.feed / moves.lengths
            assert bore_at[moves.cutting].max() <= max(most, cutting.plunge_feed) + 1e-6


# --- programs ---------------------------------------------------------------------------------------------------------


def test_a_program_changes_only_where_the_cutter_does():
    a, b = setting(SQ6), setting(SQ12)
    faster = replace(a, rpm=20000.0)
    parts = [
        (a, mortise(a, (40, 20), length=30, width=6, depth=10)),
        (a, groove(a, (0, 50), (100, 50), depth=5, open_start=True, open_end=True)),
        (faster, bore(faster, [(10, 10)], diameter=8, depth=5)),
        (b, cut_out(b, box(10, 10, 90, 60), thickness=12)),
    ]
    whole = program(parts)
    kinds, values = whole.kind, whole.value
    assert list(values[kinds == Kind.CHANGE]) == [1, 3]
    assert list(values[kinds == Kind.STOP]) == [
        Stop.SPINDLE_START, Stop.SPINDLE_START, Stop.SPINDLE_STOP, Stop.SPINDLE_START, Stop.SPINDLE_STOP, Stop.END,
    ]  # fmt: skip
    assert tuple(whole.points[0]) == (0, 0, 0)
    assert whole.kind[0] == Kind.RAPID
    assert whole.points[1, 2] == a.safe_height - 1
    assert whole.labels == {1: "SQ6", 3: "SQ12"}
    assert (whole.rpm[whole.cutting] > 0).all()
    assert set(whole.cutter[whole.cutting]) == {1, 3}
    assert set(whole.rpm[whole.cutting]) == {16000, 20000}
    assert whole.cutting_length == pytest.approx(sum(m.cutting_length for _, m in parts))
    assert (whole.points[1:-2, 2].max()) == a.safe_height
    piece = Workpiece((0, 100), (0, 70), 1.0)
    for cutter, number in ((SQ6, 1), (SQ12, 3)):
        chosen = whole.cutter == number
        kept = replace(whole, kind=np.where(chosen, whole.kind, Kind.DWELL).astype(np.uint8))
        piece.cut(kept, cutter)
    assert piece.rapid_in_wood <= 1e-9


def test_a_program_goes_sideways_only_after_z_has_been_lifted_alone():
    """At the start, after every cutter change and between operations; no rapid goes sideways below the safe height."""
    a, b = setting(SQ6, safe_height=8), setting(SQ12, safe_height=25)
    whole = program([(c, bore(c, [(40, 20)], diameter=14, depth=5)) for c in (a, b, a)], return_to=(300, 0))
    rise = np.diff(whole.points, axis=0)
    aside = np.hypot(rise[:, 0], rise[:, 1]) > 0
    assert not aside[0]
    assert rise[0, 2] == 24
    by_rapid = aside & (whole.kind == Kind.RAPID)
    for change in np.flatnonzero(whole.kind == Kind.CHANGE):
        first = change + int(np.argmax((rise[change:] != 0).any(axis=1)))
        assert not aside[first]
        assert rise[first, 2] > 0
    assert (whole.points[:-1, 2][by_rapid] >= 8).all()
    assert (whole.points[1:, 2][by_rapid] >= 8).all()


def test_cutters_outside_the_rack_get_numbers_of_their_own():
    other = replace(SQ6, id="SQ6B", number=None)
    parts = [
        (c := setting(k), bore(c, [(10, 10)], diameter=12, depth=5))
        for k in (other, replace(SQ12, id="SQ12B", number=None), SQ6)
    ]
    with pytest.raises(InputError, match="at least one"):
        program([])
    with pytest.raises(InputError, match="both claim place 1"):
        program([*parts, (setting(replace(other, number=1)), parts[0][1])])
    assert list(program(parts).labels.items()) == [(1, "SQ6"), (101, "SQ6B"), (102, "SQ12B")]


# --- refusals ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: groove(setting(SQ6), (0, 0), (90, 0), depth=5, width=5), "5 mm wide, narrower than the cutter"),
        (lambda: groove(setting(SQ6), (0, 0), (90, 0), depth=23), "depth 23 mm is above the cutting length of SQ6"),
        (lambda: groove(setting(SQ6), (0, 0), (4, 0), depth=5), "4 mm long, shorter than the cutter"),
        (lambda: groove(setting(BALL), (0, 0), (90, 0), depth=5, width=15), "needs a flat floor"),
        (lambda: groove_along(setting(SQ6), [(0, 0), (9, 0)], depth=5, width=4), "narrower than the cutter"),
        (lambda: groove_along(setting(SQ6), [(0, 0), (0, 0)], depth=5), "at least two different points"),
        (lambda: mortise(setting(SQ12), (0, 0), length=40, width=9, depth=9), "9 mm wide, narrower"),
        (lambda: mortise(setting(SQ6), (0, 0), length=8, width=9, depth=9), "8 mm long but 9 mm wide"),
        (lambda: mortise(setting(SQ6), (0, 0), length=40, width=9, depth=30), "depth of the mortise 30 mm is above"),
        (lambda: mortise(setting(WINGS), (0, 0), length=12, width=12, depth=9), "may not plunge"),
        (lambda: mortise(setting(WINGS), (0, 0), length=15, width=14, depth=9), "no room to ramp"),
        (lambda: tenon(setting(SQ12), *RAIL, Tenon(60, 30, 20, 15, 0)), "tenon thickness 30 mm is above the rail's"),
        (lambda: tenon(setting(SQ12), *RAIL, Tenon(60, 9, 20, 35, 9)), "far edge at 95 mm is above"),
        (lambda: tenon(setting(SQ12), *RAIL, Tenon(60, 9, 70, 15, 9)), "length of the tenon 70 mm is above"),
        (lambda: tenon(setting(SQ12), *RAIL, Tenon(90, 28, 20, 0, 0)), "nothing is to be cut"),
        (lambda: tenon(setting(SQ12), *RAIL, Tenon(60, 9, 20, 15, 9, 5, 16)), "stub_left 16 mm is above the room"),
        (lambda: rebate(setting(SQ12), 100, width=9, depth=5, start=120), "lies off the part"),
        (lambda: rebate(setting(SQ12), 100, width=9, depth=5, start=50, end=60), "shorter than the cutter"),
        (lambda: bore(setting(SQ12), [(0, 0)], diameter=8, depth=5), "smaller than SQ12"),
        (lambda: bore(setting(DRILL), [(0, 0)], diameter=12, depth=5), "drill DR8 cannot widen"),
        (lambda: bore(setting(DRILL), [], diameter=8, depth=5), "no hole is given"),
        (lambda: sink(setting(SQ12), [(0, 0), (50, 0), (50, 10), (0, 10)], depth=5), "recess is narrower than"),
        (lambda: sink(setting(SQ12), [(0, 0), (50, 50), (50, 0), (0, 50)], depth=5), "not one area"),
        (lambda: sink(setting(SQ12), [(0, 0), (50, 50)], depth=5), "fewer than three corners"),
        (
            lambda: sink(setting(SQ12), shapely.union_all([box(0, 0, 40, 40), box(39, 15, 80, 24)]), depth=5),
            "a part of the recess is narrower",
        ),
        (
            lambda: sink(setting(SQ12), DUMB_BELL, depth=5),
            "a part of the recess is narrower",
        ),
        (lambda: face(setting(SURF), 100, 0, depth=1), "width is 0"),
        (lambda: face(setting(BALL), 100, 90, depth=1), "needs a flat floor"),
        (lambda: cut_out(setting(SQ6), box(0, 0, 40, 40), thickness=25), "thickness to cut through 25.2 mm"),
        (lambda: cut_out(setting(SQ6), box(0, 0, 4, 40), thickness=9, side="inside"), "narrower than the cutter"),
        (lambda: cut_out(setting(SQ6), box(0, 0, 10, 10), thickness=9, bridges=6), "leave no cut between them"),
        (lambda: cut_out(setting(SQ6), box(0, 0, 40, 40), thickness=3), "as high as the board"),
        (lambda: raise_panel(setting(BALL), 100, 60, border=31, depth=5), "border 31 mm is above half the panel"),
        (lambda: raise_panel(setting(BALL), 100, 90, border=9, depth=10, profile="cove"), "rise of the cove"),
        (lambda: raise_panel(setting(BALL), 100, 90, border=19, depth=5, cusp=0), "cusp is 0"),
        (lambda: incise(setting(V60), [], depth=1), "no line"),
        (lambda: incise(setting(V60), [[(0, 0), (9, 9)]], depth=11), "above the cutting length"),
        (lambda: setting(SQ6, feed=1), "unexpected keyword|multiple values"),
        (lambda: setting(SQ6, stepover=1.2), "stepover 1.2"),
        (lambda: setting(SQ6, stepover=0), "stepover is 0"),
        (lambda: setting(SQ6, vertical_feed=0.0), "vertical.feed is 0"),
        (lambda: setting(WINGS, entry="plunge"), "may not plunge"),
        (lambda: setting(SQ6, direction="up"), "direction 'up' is not known"),
    ],
)  # fmt: skip
def test_impossible_geometry_names_the_dimension_to_change(call, words):
    with pytest.raises((InputError, TypeError), match=words) as caught:
        call()
    if isinstance(caught.value, InputError):
        assert caught.value.faults[0].remedy


def test_runs_can_be_turned_round_split_and_begun_elsewhere():
    run = stadium((0, 0), 40, 12, 0.3, clockwise=False)
    wanted = 2 * 28 + 12 * math.pi
    assert run.closed
    assert run.length == pytest.approx(wanted)
    assert run.reversed().length == pytest.approx(wanted)
    for distance in (0.0, 5.0, 30.0, 60.0, wanted):
        before, after = run.split(distance)
        assert before.length + after.length == pytest.approx(wanted)
        assert math.dist(before.end, after.start) < 1e-9
        assert run.begun_at(distance).length == pytest.approx(wanted)


def test_program_text_gives_the_same_moves_back():
    """Arcs, helices and all, to the digits the text carries."""
    a, b = setting(SQ6), setting(SQ12, 12)
    whole = program(
        [
            (a, mortise(a, (40, 20), length=30, width=9.5, depth=10)),
            (a, bore(a, [(10, 10)], diameter=20, depth=5)),
            (a, sink(a, L_SHAPE, depth=5)),
            (b, tenon(b, *RAIL, TENONS["rounded"], skim=0.3)),
            (b, cut_out(b, L_SHAPE, thickness=18)),
        ]
    )
    back = read_text(write_program(whole, title="test piece"))
    assert not back.warnings
    assert len(back.moves) == len(whole)
    np.testing.assert_array_equal(back.moves.kind, whole.kind)
    np.testing.assert_allclose(back.moves.points, whole.points, atol=1e-4)
    np.testing.assert_allclose(back.moves.lengths, whole.lengths, atol=1e-3)
