"""Every part of a frame, its operations cut into height maps, against what the frame's layout says must go and stay."""

import math
from functools import cache

import numpy as np
import pytest
import shapely
from shapely import LineString, Point, Polygon, box
from workpiece import Workpiece

from shopcalc.cutters import Cutter
from shopcalc.frames.expansion import crown_of
from shopcalc.jobs.planning import operation_moves, setting
from shopcalc.jobs.reading import check_job
from shopcalc.paths import Cutting, hollow_groove, mortise, raise_panel, tenon
from shopcalc.paths import Tenon as TenonShape
from shopcalc.paths.contours import border_height
from shopcalc.shop import Shop

SHOP = Shop.open()
BASE = {"id": "f", "material": "white-oak", "width": "300 mm", "height": "330 mm", "thickness": "20 mm",
        "stile": "55 mm", "border": "28 mm", "mortise": "6.35 mm", "groove": "6.35 mm"}  # fmt: skip
FRAMES = {
    "plain, foot, muntin": {"foot": "20 mm", "muntins": 1, "muntin": "40 mm", "border": "24 mm"},
    "haunched, arched": {"joint": "haunched", "arch": "18 mm", "top_rail": "70 mm", "width": "280 mm"},
    "stepped, middle rail, flat": {"joint": "stepped", "middle_rails": 1, "panel": "flat", "panel_thickness": "10 mm",
                                   "corners": "squared", "height": "360 mm"},
    "paired, wide mortise, relieved": {"joint": "paired", "corners": "relieved", "bottom_rail": "90 mm",
                                       "top_rail": "90 mm", "mortise": "9.525 mm", "mortise_cutter": "SQ6",
                                       "mortise_depth": "24 mm"},
    "paired, rounded, cove on both faces": {"joint": "paired", "bottom_rail": "90 mm", "top_rail": "90 mm",
                                            "raised_faces": 2, "profile": "cove"},
    "arch, plain, both faces": {"arch": "25 mm", "top_rail": "80 mm", "raised_faces": 2, "mortise": "8 mm",
                                "width": "270 mm"},
}  # fmt: skip
RESOLUTION = 0.7


@cache
def made(name):
    table = BASE | FRAMES[name]
    return check_job({"job": {"name": "f", "machine": "router", "system": "metric"}, "frames": [table]}, "f", SHOP)


def cut(job, part, station, piece, kinds=None):
    """All operations of a part in the programs of one station, one after the other."""
    stations = {p.id: p.station for p in job.programs}
    done = [o for o in part.operations if stations[o.program] == station and (kinds is None or o.kind in kinds)]
    assert done
    for o in done:
        c = setting(o, part, station, job.machine, SHOP)
        piece.cut(operation_moves(o, part, station, c), c.cutter)
        assert piece.rapid_in_wood <= 1e-9, o
    return done


def same(piece, wanted, edges, hair=0.06):
    """Heights as wanted, within a hair of the edges of areas either of both sides."""
    clear = ~shapely.contains_xy(edges.boundary.buffer(hair), piece.X, piece.Y)
    off = clear & (np.abs(piece.height - wanted) > 1e-6)
    first = [(piece.X[off][0], piece.Y[off][0], piece.height[off][0], wanted[off][0])] if off.any() else []
    assert not off.any(), f"{off.sum()} points differ, first x, y, found, wanted: {first}"


def sized(job, role):
    laid = job.expansion.layouts[0]
    members = {m.part: m for m in laid.members if m.role == role}
    return laid, [(m, job.part(p)) for p, m in members.items()]


@pytest.mark.parametrize("name", FRAMES)
def test_a_stile_is_grooved_and_mortised(name):
    job = made(name)
    laid, [(m, part)] = sized(job, "stile")
    s, mid = laid.sizes, part.thickness / 2
    piece = Workpiece((0, m.length), (0, part.thickness), RESOLUTION)
    cut(job, part, "edge", piece)
    low, high = laid.stile_groove
    r = s.groove / 2
    a, b = (low + r if low > 0 else -50), (high - r if high < m.length else m.length + 50)
    areas = [(LineString([(a, mid), (b, mid)]).buffer(r, quad_segs=64), s.groove_depth)]
    corner = SHOP.cutter(s.cutters[1]).true_diameter / 2
    for j in laid.joints:
        for a, b in j.mortises:
            w = j.mortise_width / 2
            slot = LineString([(a + w, mid), (b - w, mid)]).buffer(w, quad_segs=64)
            if j.corners == "relieved":  # a square tenon goes in: its corners are free
                at = corner * math.sqrt(0.5)
                holes = [
                    Point(x, y).buffer(corner, quad_segs=64)
                    for x in (a + at, b - at)
                    for y in (mid - w + at, mid + w - at)
                ]
                slot = shapely.union_all([slot, *holes])
                assert box(a, mid - w, b, mid + w).difference(slot.buffer(2e-3)).area < 1e-2
            areas.append((slot, j.mortise_depth))
    wanted = np.zeros_like(piece.height)
    for area, depth in areas:
        wanted = np.where(shapely.contains_xy(area, piece.X, piece.Y), np.minimum(wanted, -depth), wanted)
    edges = shapely.union_all([a.boundary for a, _ in areas]).buffer(1e-9)
    same(piece, wanted, edges)


@pytest.mark.parametrize("name", FRAMES)
def test_a_rail_s_end_is_its_tenon(name):
    job = made(name)
    for role in ("rail", "muntin"):
        laid, rails = sized(job, role)
        for m, part in rails:
            piece = Workpiece((0, part.width), (0, part.thickness), 0.5)
            cut(job, part, "end", piece)
            check_end(laid, m, part, piece)


def check_end(laid, m, part, piece):
    """Heights of every point of the end from the outlines of the tongues in elevation."""
    joint = next((j for j in laid.joints if j.rail == m.name), None)
    s = laid.sizes
    thick, rounded = (joint.tenon.thickness, joint.tenon.rounded) if joint else (s.groove - s.clearance, False)
    axis = 1 if m.role == "rail" else 0
    rings = [t for t in m.tongues if (t[:, 1 - axis].min() < m.outline[:, 1 - axis].min() - 1e-9)]
    shoulder, tip = m.outline[:, 1 - axis].min(), min(t[:, 1 - axis].min() for t in rings)
    edge = m.outline[:, 1].max() if m.name == "top rail" else m.outline[:, axis].min()
    y = (part.thickness - thick) / 2, (part.thickness + thick) / 2
    wanted = np.full_like(piece.height, -(shoulder - tip))
    marks = []
    for t in sorted(rings, key=lambda t: -t[:, 1 - axis].min()):  # the stub first, its tongues after it
        u = sorted(abs(v - edge) for v in (t[:, axis].min(), t[:, axis].max()))
        area = box(u[0], y[0], u[1], y[1])
        if rounded and t[:, 1 - axis].min() == tip:
            r, middle = thick / 2, part.thickness / 2
            area = LineString([(u[0] + r, middle), (u[1] - r, middle)]).buffer(r, quad_segs=64)
        marks.append(area.boundary)
        height = tip - t[:, 1 - axis].min()
        wanted = np.where(shapely.contains_xy(area, piece.X, piece.Y), height, wanted)
    same(piece, wanted, shapely.union_all(marks).buffer(1e-9))


@pytest.mark.parametrize("name", FRAMES)
def test_straight_rails_and_muntins_are_grooved_through(name):
    job = made(name)
    for role in ("rail", "muntin"):
        laid, rails = sized(job, role)
        for m, part in rails:
            if len(m.outline) > 4:
                continue
            piece = Workpiece((0, 60), (0, part.thickness), RESOLUTION)
            cut(job, part, "edge", piece)
            r, mid = laid.sizes.groove / 2, part.thickness / 2
            strip = box(-9, mid - r, 99, mid + r)
            wanted = np.where(np.abs(piece.Y - mid) < r, -laid.sizes.groove_depth, 0.0)
            same(piece, wanted, strip)


ARCHED = ["haunched, arched", "arch, plain, both faces"]


@pytest.mark.parametrize("name", ARCHED)
def test_an_arched_rail_is_hollowed_and_grooved_square_to_its_arch(name):
    job = made(name)
    laid, rails = sized(job, "rail")
    part = next(p for m, p in rails if len(m.outline) > 4)
    s, arch = laid.sizes, laid.arch
    spring, length = laid.openings[-1].y[1], part.length
    x0 = (length - (laid.frame.width - 2 * s.stile)) / 2 - s.stile  # from the frame's x to the part's
    hollow = Point(arch.x + x0, arch.y - spring).buffer(arch.radius, quad_segs=3000)
    piece = Workpiece((0.5, length - 0.5), (0.5, part.width - 0.5), 1.0)
    cut(job, part, "flat", piece)
    inside = shapely.contains_xy(hollow.buffer(0.05), piece.X, piece.Y)
    assert (piece.height[~inside] == 0).all()
    kerf = shapely.contains_xy(hollow.buffer(-0.1).difference(hollow.buffer(-9)), piece.X, piece.Y)
    through = piece.height[kerf] <= -part.thickness
    assert through.mean() > 0.6
    assert (piece.height[kerf] <= -(part.thickness - 3.2)).all()
    # on edge: the arch and the tenons' shoulders are cut before
    edge = Workpiece((0, length), (0, part.thickness), 0.5)
    at = edge.X - x0
    under = np.abs(at - arch.x) < laid.frame.width / 2 - s.stile
    with np.errstate(invalid="ignore"):
        before = np.where(under, -(arch.y + np.sqrt(arch.radius**2 - (at - arch.x) ** 2) - spring), -200.0)
    joint = laid.joints[-1]
    tongue = -(part.width - joint.tenon.from_edge - joint.tenon.width)
    within = np.abs(edge.Y - part.thickness / 2) < joint.tenon.thickness / 2
    before = np.where(~under & within, tongue, before)
    edge.height[:] = before
    cut(job, part, "edge", edge)
    grooved = np.abs(edge.Y - part.thickness / 2) < s.groove / 2 - 0.03
    beside = np.abs(edge.Y - part.thickness / 2) > s.groove / 2 + 0.03
    np.testing.assert_array_equal(edge.height[beside], before[beside])
    np.testing.assert_array_equal(edge.height[~under], before[~under])  # no tongue is touched
    point_y = spring - edge.height  # of the floor, in the frame
    deep = np.hypot(at - arch.x, point_y - arch.y) - arch.radius
    floor = deep[grooved & under]
    steepest = math.tan(arch.grown(s.groove_depth).slope(s.stile))
    assert floor.min() > s.groove_depth - 0.02
    assert floor.max() < s.groove_depth + s.groove / 2 * steepest + 0.02


@pytest.mark.parametrize("name", FRAMES)
def test_a_panel_is_raised_along_its_own_edges(name):
    job = made(name)
    laid, panels = sized(job, "panel")
    for m, part in panels:
        o = next((o for o in part.operations if o.kind == "raise"), None)
        if o is None:
            continue
        piece = Workpiece((0, part.length), (0, part.width), 1.1)
        away = np.minimum.reduce([piece.X, piece.Y, part.width - piece.Y])
        if len(m.outline) > 4:
            crown, half = crown_of(m), part.width / 2
            radius = (half**2 + crown**2) / (2 * crown)
            away = np.minimum(away, radius - np.hypot(piece.X - part.length + radius, piece.Y - half))
        else:
            away = np.minimum(away, part.length - piece.X)
        cut(job, part, "flat", piece, {"raise"})
        wanted = border_height(away.ravel(), o.width, o.depth, o.rim, o.step, o.profile).reshape(away.shape)
        wood = away > 0
        over = (piece.height - wanted)[wood]
        assert over.min() > -1e-3
        flank = np.abs(away - o.width) > 1.0 if o.step else np.full(away.shape, True)
        assert (piece.height - wanted)[wood & flank].max() < 0.2
        s, faces = laid.sizes, laid.frame.raised_faces
        assert part.thickness - faces * o.depth == pytest.approx(s.tongue)
        assert (piece.height[wood & (away < s.groove_depth)] <= -o.depth + 0.11).all()


def test_an_arched_panel_is_cut_out_to_its_outline():
    job = made(ARCHED[0])
    _, [(m, part)] = sized(job, "panel")
    piece = Workpiece((-12, part.length + 12), (-12, part.width + 12), 0.8)
    cut(job, part, "flat", piece, {"cut out"})
    x0, y0 = m.outline[0]
    shape = Polygon([(y - y0, x - x0) for x, y in m.outline])
    kept = shapely.contains_xy(shape.buffer(-0.05), piece.X, piece.Y)
    assert (piece.height[kept] == 0).all()
    kerf = shapely.contains_xy(shape.buffer(9).difference(shape.buffer(0.1)), piece.X, piece.Y)
    assert (piece.height[kerf] < -part.thickness + 3.2).mean() > 0.99


# --- the paths by themselves -----------------------------------------------------------------------------------------

SQ6 = Cutter("SQ6", "", "square end", 6, 6, 2, 22, 60, 32)
BALL = Cutter("BALL12", "", "ball", 12, 12, 2, 30, 80, 50)


@pytest.mark.parametrize(("span", "rise", "width"), [(300, 40, 6), (300, 120, 9), (120, 8, 6)])
def test_a_groove_in_a_hollow_is_as_deep_square_to_the_arch(span, rise, width):
    c = Cutting(SQ6, 4000, 1200, 16000, depth_per_pass=4)
    piece = Workpiece((0, span), (0, 20), 0.5)
    radius = (span**2 / 4 + rise**2) / (2 * rise)
    top = radius - rise - np.sqrt(radius**2 - (piece.X - span / 2) ** 2)
    piece.height[:] = top
    piece.cut(hollow_groove(c, span, rise, depth=9, middle=10, width=width), SQ6)
    cutting = np.abs(piece.Y - 10) < width / 2 - 0.03
    deep = np.hypot(piece.X - span / 2, piece.height - (radius - rise)) - radius
    slope = span / 2 / math.sqrt((radius + 9) ** 2 - span**2 / 4)
    assert deep[cutting].min() > 9 - 0.02
    assert deep[cutting].max() < 9 + 3 * slope + 0.02
    assert (piece.height == top)[np.abs(piece.Y - 10) > width / 2 + 0.03].all()


@pytest.mark.parametrize(("crown", "direction"), [(10, "climb"), (57, "conventional")])
def test_raising_along_an_arch(crown, direction):
    c = Cutting(BALL, 4000, 1200, 16000, depth_per_pass=5, stepover=0.2, direction=direction)
    moves = raise_panel(c, 260, 200, border=40, depth=6, rim=10, crown=crown)
    piece = Workpiece((0, 260), (0, 200), 2.3).cut(moves, BALL)
    radius = (100**2 + crown**2) / (2 * crown)
    arc = radius - np.hypot(piece.X - 260 + radius, piece.Y - 100)
    arc = np.where(260 - radius < piece.X, arc, np.inf)
    away = np.minimum.reduce([arc, piece.X, piece.Y, 200 - piece.Y])
    wood = away > 0
    wanted = border_height(away.ravel(), 40, 6, 10, 0, "bevel").reshape(away.shape)
    off = (piece.height - wanted)[wood]
    assert off.min() > -1e-6
    assert off.max() < 0.12
    assert piece.rapid_in_wood <= 1e-9


@pytest.mark.parametrize("rounded", [True, False])
def test_a_pair_of_tenons(rounded):
    shape = TenonShape(66, 9, 20, from_edge=12, from_face=6, rounded=rounded, gap=16)
    c = Cutting(SQ6, 4000, 1200, 16000, depth_per_pass=5)
    piece = Workpiece((0, 90), (0, 21), 0.4).cut(tenon(c, 90, 21, shape), SQ6)
    kept = shapely.union_all([box(12, 6, 37, 15), box(53, 6, 78, 15)])
    if rounded:
        lines = [LineString([(a + 4.5, 10.5), (a + 20.5, 10.5)]) for a in (12, 53)]
        kept = shapely.union_all([line.buffer(4.5, quad_segs=64) for line in lines])
    wanted = np.where(shapely.contains_xy(kept, piece.X, piece.Y), 0.0, -20.0)
    same(piece, wanted, kept)
    assert piece.rapid_in_wood <= 1e-9


def test_a_relieved_mortise_takes_a_square_tenon():
    c = Cutting(SQ6, 4000, 1200, 16000, depth_per_pass=5)
    piece = Workpiece((0, 60), (0, 24), 0.25).cut(
        mortise(c, (30, 12), length=40, width=9, depth=15, relieved=True), SQ6
    )
    square = shapely.contains_xy(box(10.05, 7.55, 49.95, 16.45), piece.X, piece.Y)
    assert (piece.height[square] == -15).all()
    least = shapely.contains_xy(box(9, 6.5, 51, 17.5), piece.X, piece.Y)
    assert (piece.height[~least] == 0).all()
