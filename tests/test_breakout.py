"""Break-out: planted cases all found, none invented, by hand reasoning; geometry as properties; paths cut in wood."""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from motion_cases import machine
from workpiece import Workpiece, positions

from shopcalc.controls.grain_map import draw, exits_table, rows
from shopcalc.cutters import Cutter
from shopcalc.cutting.breakout import (
    FACES,
    NEARLY_ALONG,
    chords,
    compare,
    for_tenon,
    grain_map,
    once_around,
    plan_edges,
    rewrite,
    splits_along,
)
from shopcalc.errors import InputError
from shopcalc.motion import machine_time
from shopcalc.moves import Kind
from shopcalc.paths import Cutting, Run, Tenon, arc, polyline, tenon
from shopcalc.paths.runs import Leg, stadium, turned_point

SQ12 = Cutter("SQ12", "", "square end", 12, 12, 2, 60, 100, 70, number=3)
SQ6 = Cutter("SQ6", "", "square end", 6, 6, 2, 22, 60, 32, number=1)
BALL = Cutter("BALL12", "", "ball", 12, 12, 2, 30, 80, 50)
DEGREE = math.pi / 180


def setting(cutter=SQ12, depth_per_pass=6, **more):
    return Cutting(cutter, 4000, 1200, 16000, depth_per_pass=depth_per_pass, **more)


def ring(*points):
    return polyline([*points, points[0]])


BOARD = ring((0, 0), (200, 0), (200, 80), (0, 80))
#: Upright sides 100 mm, round top of radius 40 on the axis x = 40.
ARCH = Run(
    (0.0, 0.0), (Leg((80.0, 0.0)), Leg((80.0, 100.0)), Leg((0.0, 100.0), (40.0, 100.0), math.pi), Leg((0.0, 0.0)))
)


def found(m):
    """Corner, normal of the face and risk of every exit."""
    return [(tuple(round(v, 6) for v in e.point), tuple(round(v) for v in e.face), e.risk) for e in m.exits]


# --- planted cases ----------------------------------------------------------------------------------------------------


def test_a_board_with_grain_along_its_length():
    """Flutes go counter-clockwise round a part: along the lower edge to the right and out through the right end.

    The fibres stand square on that end: cut off, no split. Up the right end, across the fibres, and out through the
    upper edge at (200, 80): the fibres run along it for all its 200 mm, nothing behind them: it splits. The same again
    on the other two. All edges lie along or square to the fibres: neither with nor against.
    """
    m = grain_map(BOARD, 0.0)
    assert [s.lie for s in m.stretches] == ["neither"] * 4
    assert found(m) == [
        ((0, 0), (0, -1), "high"), ((200, 0), (1, 0), "low"), ((200, 80), (0, 1), "high"), ((0, 80), (-1, 0), "low"),
    ]  # fmt: skip
    assert [e.unsupported for e in m.exits] == pytest.approx([200, 1, 200, 1])
    assert [s.modes for s in m.stretches] == [pytest.approx(v) for v in ((1, 0, 0), (0, 0, 1)) * 2]
    assert [s.grain_to_edge[0] for s in m.stretches] == pytest.approx([0, math.pi / 2] * 2)


def test_a_board_with_grain_at_twenty_degrees():
    """Lower edge, flutes to the right, wood above: fibres rising to the right dive into the wall ahead: against.

    Right end, flutes upwards, wood to the left: ahead (up) the fibres lean to the right, out of the wall: with. The
    opposite edges are the same turned half round. The long edges lie 20 degrees to the fibres: those at a corner stay
    within 1 mm of the edge for 1 / sin 20 = 2.9 mm and split. The ends stand 70 degrees to them: they are cut off.
    """
    m = grain_map(BOARD, 20 * DEGREE)
    assert [s.lie for s in m.stretches] == ["against", "with", "against", "with"]
    assert [s.risk for s in m.stretches] == ["high", "low", "high", "low"]
    assert found(m) == [
        ((0, 0), (0, -1), "high"), ((200, 0), (1, 0), "low"), ((200, 80), (0, 1), "high"), ((0, 80), (-1, 0), "low"),
    ]  # fmt: skip
    assert m.exits[0].unsupported == pytest.approx(2.9238, abs=1e-4)
    assert "other face" in m.stretches[0].remedy
    assert not m.stretches[1].remedy
    assert m.length_of("against") == pytest.approx(400)


def test_forty_five_degrees_splits_nowhere_and_lies_wrong_on_two_sides():
    """Fibres at 45 degrees to every edge are further off than 30 from each face; the lies are those of 20 degrees."""
    m = grain_map(BOARD, 45 * DEGREE)
    assert {e.risk for e in m.exits} == {"low"}
    assert [s.lie for s in m.stretches] == ["against", "with", "against", "with"]


def test_a_circle_has_four_stretches_and_no_way_out():
    """Flutes counter-clockwise, fibres along x.

    First quarter, right to top: at its middle the flutes go up and to the left, and out of the wall is up and to the
    right; a fibre followed ahead leads left, into the wall: against. Second quarter: flutes down and left, out is up
    and left; a fibre followed ahead leads left, out of the wall: with. Then the same turned half round. A smooth edge
    has no corner to come out at.
    """
    m = grain_map(arc((3, 4), 50, 0, 2 * math.pi), 0.0)
    assert [s.lie for s in m.stretches] == ["against", "with", "against", "with"]
    assert [s.end_distance for s in m.stretches] == pytest.approx([math.pi * 25 * k for k in (1, 2, 3, 4)])
    assert m.exits == ()
    for s in m.stretches:  # the mean of squared cosines over a quarter is a half
        assert s.modes == pytest.approx((0.5, 0, 0.5))
        assert sorted(s.grain_to_edge) == pytest.approx([0, math.pi / 2])
    assert len(grain_map(arc((3, 4), 50, 0, 2 * math.pi), 30 * DEGREE).stretches) == 5  # begun inside one of the four


def test_an_arch_with_upright_grain():
    """Fibres along the legs. Bottom: flutes to the right across the fibres, out through the right leg at (80, 0): the
    fibres run along that leg, it splits over its 100 mm. Left leg downwards, out through the bottom, end grain: low.
    The leg runs into the round top without a corner. Top, right half: flutes up and to the left, out of the wall up and
    to the right; the fibre leading ahead (up) leads out: with. Left half: flutes down and left, the fibre leading ahead
    (down) leads in: against.
    """
    m = grain_map(ARCH, math.pi / 2)
    assert [s.lie for s in m.stretches] == ["neither", "neither", "with", "against", "neither"]
    assert found(m) == [((0, 0), (0, -1), "low"), ((80, 0), (1, 0), "high")]
    assert m.exits[1].unsupported == pytest.approx(100)


def test_an_arch_with_the_grain_thirty_five_degrees_off_its_legs():
    """The legs stand 35 degrees to the fibres and the bottom 55: none is within 30, so nothing splits at a corner.

    Fibres at 125 degrees lean to the left. Bottom: flutes right; a fibre followed ahead leads right and down, out of
    the wall: with. Right leg: flutes up, out is right; followed ahead the fibre leads up and left, in: against. Round
    the top the flutes' way turns from 90 to 270 degrees: against like the leg until it runs along the fibres at 125,
    with until it is square to them at 215, against after. Left leg: flutes down, out is left; ahead is down and right,
    in: against.
    """
    m = grain_map(ARCH, 125 * DEGREE)
    assert [s.lie for s in m.stretches] == ["with", "against", "against", "with", "against", "against"]
    assert {e.risk for e in m.exits} == {"low"}
    assert m.stretches[2].length == pytest.approx(40 * 35 * DEGREE)
    assert m.stretches[3].length == pytest.approx(40 * 90 * DEGREE)


def test_an_inside_corner_is_no_way_out():
    """Round an L the flutes leave at its five outside corners; at the inside one they run into wood."""
    shape = ring((0, 0), (90, 0), (90, 30), (40, 30), (40, 70), (0, 70))
    m = grain_map(shape, 0.0)
    assert (40, 30) not in [e.point for e in m.exits]
    assert len(m.exits) == 5
    # faces along the fibres are entered from the right end at (90, 30), from (40, 70) and at (0, 0)
    assert [e.point for e in m.exits if e.risk == "high"] == [(0, 0), (90, 30), (40, 70)]


def test_an_opening_has_no_way_out_but_where_wood_stands_into_it():
    """Corners of a square opening are inside corners of the wood; a nose standing into it has two outside ones.

    Round an opening the flutes go clockwise. The nose stands on the opening's lower side, from x = 40 to 60 up to
    y = 20, fibres upright: clockwise, they pass its right flank upwards, come out over its top (fibres square: low),
    along the top to the left and out through its left flank (fibres along it for 20 mm: high).
    """
    assert grain_map(ring((0, 0), (100, 0), (100, 60), (0, 60)), 0.3, side="inside").exits == ()
    nose = ring((0, 0), (40, 0), (40, 20), (60, 20), (60, 0), (100, 0), (100, 60), (0, 60))
    m = grain_map(nose, math.pi / 2, side="inside")
    assert found(m) == [((40, 20), (-1, 0), "high"), ((60, 20), (0, 1), "low")]
    assert m.exits[0].unsupported == pytest.approx(20)


def test_an_open_run_leaves_by_the_end_the_flutes_run_to():
    """Wood on the left: the flutes go with the run and leave at its end; wood on the right, at its start.

    Across the grain the board's end there splits without end; along it, it does not.
    """
    across = polyline([(0, 0), (0, 80)])
    (one,) = grain_map(across, 0.0).exits
    assert (one.point, one.face, one.risk, one.unsupported, one.through) == ((0, 80), (0, 1), "high", math.inf, None)
    (other,) = grain_map(across, 0.0, side="inside").exits
    assert (other.point, other.face) == ((0, 0), (0, -1))
    assert other.distance == 0
    assert [e.risk for e in grain_map(polyline([(0, 0), (80, 0)]), 0.0).exits] == ["low"]
    assert "back-up block" in one.remedy


def test_on_end_every_way_out_is_bad_and_every_edge_is_peeled():
    """The fibres run with the spindle: along every wall, square to every motion: 0-90, and down every face."""
    m = grain_map(BOARD, 0.7, station="end")
    assert [(s.lie, s.modes) for s in m.stretches] == [("neither", pytest.approx((0, 1, 0)))] * 4
    assert [(e.risk, e.unsupported) for e in m.exits] == [("high", math.inf)] * 4
    assert [s.lie for s in grain_map(arc((0, 0), 9, 0, 2 * math.pi), 0.1, station="end").stretches] == ["neither"]


def test_the_rule_in_numbers():
    """Within 30 degrees of a face fibres split along it."""
    assert splits_along(29.9 * DEGREE, (0, 1))
    assert not splits_along(30.1 * DEGREE, (0, 1))
    assert pytest.approx(30 * DEGREE) == NEARLY_ALONG


@pytest.mark.parametrize("radius", [20.0, 300.0])
def test_fibres_under_a_round_face_are_as_long_as_their_chord(radius):
    """A fibre along the tangent of a round face is 1 mm deep where R (1 - cos a) = 1: after the root of R2 - (R-1)2.

    A half disc standing on its diameter, fibres upright: flutes along the bottom to the right come out at its right
    corner through the round, whose tangent there is upright.
    """
    half = Run((-radius, 0.0), (Leg((radius, 0.0)), Leg((-radius, 0.0), (0.0, 0.0), math.pi)))
    right = [e for e in grain_map(half, math.pi / 2).exits if e.point[0] > 0]
    assert [e.risk for e in right] == ["high"]
    assert right[0].unsupported == pytest.approx(math.sqrt(radius**2 - (radius - 1) ** 2))


@pytest.mark.parametrize("degrees", [62, 75, 89, 91, 105, 118])
@pytest.mark.parametrize("sweep", [math.pi, -1.2, 0.5])
def test_fibres_under_a_round_face_step_by_step(sweep, degrees):
    """Follow the fibre that starts at the corner, or a millimetre under the face there, until it leaves that layer."""
    corner, radius = np.array([0.0, 0.0]), 30.0
    centre = np.array([-math.copysign(radius, sweep), 0.0])  # the face begins upright
    end = turned_point((0.0, 0.0), tuple(centre), sweep)
    low = min(end[1], 0.0) - 100
    back = (-200.0, end[1])
    outline = Run(
        (0.0, 0.0), (Leg(end, tuple(centre), sweep), Leg(back), Leg((-200.0, low)), Leg((-80.0, 0.0)), Leg((0.0, 0.0)))
    )
    (e,) = [e for e in grain_map(outline, degrees * DEGREE).exits if math.dist(e.point, corner) < 1e-9]
    assert e.risk == "high"
    along = np.array([math.cos(degrees * DEGREE), math.sin(degrees * DEGREE)])
    longest = 0.0
    for start in (corner, corner - (1.0, 0.0)):
        steps = np.arange(1e-4, 70, 1e-3)
        away = np.hypot(*(start + steps[:, None] * along - centre).T)
        depth = (radius - away) * math.copysign(1, sweep)
        outside = (depth < -1e-9) | (depth > 1 + 1e-9)
        longest = max(longest, steps[np.argmax(outside)] if outside.any() else 70)
    assert e.unsupported == pytest.approx(min(longest, radius * abs(sweep)), abs=0.02)


def test_refusals_say_what_and_what_to_do():
    bow = ring((0, 0), (10, 10), (10, 0), (0, 10))
    for bad in (
        lambda: grain_map(bow, 0.0),
        lambda: grain_map(Run((0.0, 0.0), ()), 0.0),
        lambda: grain_map(BOARD, math.nan),
        lambda: grain_map(BOARD, 0.0, side="left"),
        lambda: grain_map(BOARD, 0.0, station="lathe"),
        lambda: grain_map(Run((0.0, 0.0), (Leg((5.0, 0.0), (1.0, 0.0), math.pi),)), 0.0),
        lambda: plan_edges(BOARD, 0.0, waste=0),
        lambda: plan_edges(BOARD, 0.0, finished=[4]),
        lambda: plan_edges(BOARD, 0.0, finished=[0, 1, 2, 3]),
        lambda: plan_edges(BOARD, 0.0, direction="up"),
        lambda: rewrite(plan_edges(BOARD, 0.0), setting(BALL), 5),
        lambda: rewrite(plan_edges(BOARD, 0.0), setting(), 70),
        lambda: rewrite(plan_edges(BOARD, 0.0), setting(), 5, scoring=-1),
    ):
        with pytest.raises(InputError) as caught:
            bad()
        assert all(f.remedy for f in caught.value.faults)


# --- properties -------------------------------------------------------------------------------------------------------


@st.composite
def outlines(draw, closed=None):
    """Star-shaped polygons with some corners rounded, or the same opened at its start."""
    n = draw(st.integers(3, 8))
    radii = draw(st.lists(st.floats(20, 100), min_size=n, max_size=n))
    corners = [(r * math.cos(2 * math.pi * k / n), r * math.sin(2 * math.pi * k / n)) for k, r in enumerate(radii)]
    round_ones = draw(st.lists(st.booleans(), min_size=n, max_size=n))
    legs, start = [], None
    for k, corner in enumerate(corners):
        before, after = corners[k - 1], corners[(k + 1) % n]
        a, b = ((np.array(p) - corner) / math.dist(p, corner) for p in (before, after))
        angle = math.acos(float(np.clip(a @ b, -1, 1)))
        reach = 0.3 * min(math.dist(before, corner), math.dist(after, corner))
        if round_ones[k] and 0.2 < angle < math.pi - 0.05:
            on, off = corner + a * reach, corner + b * reach
            bisector = (a + b) / np.linalg.norm(a + b)
            centre = corner + bisector * reach / math.cos(angle / 2)
            sense = -1 if a[0] * b[1] - a[1] * b[0] > 0 else 1
            points = [
                tuple(map(float, on)),
                Leg(tuple(map(float, off)), tuple(map(float, centre)), sense * (math.pi - angle)),
            ]
        else:
            points = [corner]
        if start is None:
            start = points[0]
        else:
            legs.append(Leg(points[0]))
        legs += points[1:]
    if closed is True or (closed is None and draw(st.booleans())):
        legs.append(Leg(start))
    run = Run(start, tuple(legs))
    run = run.reversed() if draw(st.booleans()) else run
    assume(shapely.LineString(chords(run)).is_simple)
    return run


def moved(run, transform, flip=1):
    """A run under an isometry; ``flip`` is -1 for a mirror."""
    legs = tuple(Leg(transform(x.end), x.centre and transform(x.centre), x.sweep * flip) for x in run.legs)
    return Run(transform(run.start), legs)


ANGLES = st.floats(-7, 7)
SIDES = st.sampled_from(["outside", "inside"])


@given(outlines(), ANGLES, SIDES)
def test_stretches_tile_the_outline(run, grain, side):
    m = grain_map(run, grain, side=side)
    assert m.stretches[0].start_distance == 0
    assert m.stretches[-1].end_distance == run.length
    assert m.stretches[0].start == run.start
    assert math.dist(m.stretches[-1].end, run.end) < 1e-9
    for a, b in itertools.pairwise(m.stretches):
        assert a.end_distance == b.start_distance
        assert math.dist(a.end, b.start) < 1e-9
    for s in m.stretches:
        assert s.piece.length == pytest.approx(s.length, abs=1e-7)
        assert sum(s.modes) == pytest.approx(1)


@given(outlines(), ANGLES, SIDES)
def test_lies_are_those_of_the_motion_of_a_clockwise_cutter(run, grain, side):
    """Written again from velocities: a cutter beside the wall, turning clockwise, and a fibre that leads ahead."""
    fibre = np.array([math.cos(grain), math.sin(grain)])
    area = shapely.Polygon(chords(run)) if run.closed else None
    for s in grain_map(run, grain, side=side).stretches:
        a, b = s.piece.split(s.length * 0.5 - 1e-4)[0].end, s.piece.split(s.length * 0.5 + 1e-4)[0].end
        along = (np.array(b) - a) / math.dist(a, b)
        left = np.array([-along[1], along[0]])
        if area is None:
            wood = left if side == "outside" else -left
        else:
            inwards = left if area.contains(shapely.Point(*(np.array(a) + 1e-2 * left))) else -left
            wood = inwards if side == "outside" else -inwards
        velocity = np.cross([0, 0, -1.0], [*wood, 0])[:2]  # the wall lies from the cutter's centre where the wood is
        ahead = fibre if fibre @ velocity > 0 else -fibre
        if abs(fibre @ velocity) > 1e-3 and abs(fibre @ wood) > 1e-3:
            assert s.lie == ("with" if ahead @ wood < 0 else "against")


@given(outlines(), ANGLES, ANGLES, SIDES)
def test_turning_outline_and_grain_together_changes_nothing(run, grain, turn, side):
    a = grain_map(run, grain, side=side)
    b = grain_map(moved(run, lambda p: turned_point(p, (5.0, -3.0), turn)), grain + turn, side=side)
    cut = [min(abs(math.sin(2 * v)) for v in s.grain_to_edge) for s in a.stretches if len(s.piece.legs) == 1]
    assume(min(cut, default=1) > 1e-6 or len(a.stretches) == len(b.stretches))
    assert [s.lie for s in a.stretches] == [s.lie for s in b.stretches]
    np.testing.assert_allclose([s.modes for s in a.stretches], [s.modes for s in b.stretches], atol=1e-6)
    assert [(e.edge, e.through) for e in a.exits] == [(e.edge, e.through) for e in b.exits]
    for e, f in zip(a.exits, b.exits, strict=True):
        assert math.dist(turned_point(e.point, (5.0, -3.0), turn), f.point) < 1e-9
        if abs(abs(math.sin(math.atan2(e.face[1], e.face[0]) - grain)) - math.cos(NEARLY_ALONG)) > 1e-9:
            assert e.risk == f.risk


@given(outlines(), ANGLES, SIDES)
def test_mirroring_outline_and_grain_swaps_with_and_against(run, grain, side):
    """The spindle keeps its sense, so a part turned over is cut with the grain where it was against."""
    # along an open run, what lies on the left comes to the right
    other = {"outside": "inside", "inside": "outside"}[side] if not run.closed else side
    a = grain_map(run, grain, side=side)
    b = grain_map(moved(run, lambda p: (p[0], -p[1]), -1), -grain, side=other)
    swap = {"with": "against", "against": "with", "neither": "neither"}
    assert [swap[s.lie] for s in a.stretches] == [s.lie for s in b.stretches]
    assert a.length_of("with") == pytest.approx(b.length_of("against"))


@given(outlines(), ANGLES, SIDES)
def test_the_sense_in_which_an_outline_is_walked_changes_nothing(run, grain, side):
    other = {"outside": "inside", "inside": "outside"}[side] if not run.closed else side
    a, b = grain_map(run, grain, side=side), grain_map(run.reversed(), grain, side=other)
    assert [s.lie for s in a.stretches] == [s.lie for s in reversed(b.stretches)]
    assert sorted((e.point, e.risk) for e in a.exits) == sorted((e.point, e.risk) for e in b.exits)
    mirrored = {f.point: run.length - f.distance for f in b.exits}
    for e in a.exits:
        off = abs(mirrored[e.point] - e.distance)
        assert min(off, abs(run.length - off) if run.closed else off) < 1e-6


@given(st.floats(0, math.pi), st.integers(-3, 3), st.sampled_from(["outside", "inside"]))
def test_fibres_along_or_square_to_a_straight_edge_are_neither(angle, quarters, side):
    """And of the two faces at each square corner one only splits: two ways out of four."""
    board = moved(BOARD, lambda p: turned_point(p, (0.0, 0.0), angle))
    m = grain_map(board, angle + quarters * math.pi / 2, side=side)
    assert {s.lie for s in m.stretches} == {"neither"}
    assert sum(e.risk == "high" for e in m.exits) == (2 if side == "outside" else 0)


@given(outlines(closed=True), ANGLES)
def test_exits_are_the_outside_corners(run, grain):
    """Counted with shapely: corners of the figure where it bulges by more than ten degrees."""
    polygon = shapely.geometry.polygon.orient(shapely.Polygon(chords(run, 1e-4)))
    p = np.array(polygon.exterior.coords)[:-1]
    p = p[np.hypot(*(p - np.roll(p, 1, axis=0)).T) > 1e-7]
    before, after = p - np.roll(p, 1, axis=0), np.roll(p, -1, axis=0) - p
    turn = np.arctan2(before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0], (before * after).sum(axis=1)) / DEGREE
    assume(not ((turn > 8) & (turn < 12)).any())
    ours = sorted(e.point for e in grain_map(run, grain).exits)
    theirs = sorted(map(tuple, p[turn > 10].tolist()))
    assert len(ours) == len(theirs)
    assert max(map(math.dist, ours, theirs), default=0) < 1e-6


# --- the plan ---------------------------------------------------------------------------------------------------------


def test_across_the_grain_first_along_it_last_and_nothing_is_left():
    """Both ends of a board are cut while the waste beyond the long edges stands; then the long edges."""
    plan = plan_edges(BOARD, 0.0)
    assert [round(plan.map.edges[i].steepness / DEGREE) for i in plan.order] == [90, 90, 0, 0]
    assert {s.direction for s in plan.strokes} == {"climb"}
    assert plan.blocks == ()
    assert plan.scoring == ()
    assert plan.start == plan.map.edges[plan.order[0]].piece.end  # climbing goes against the flutes' way


@settings(max_examples=60)
@given(outlines(closed=True), ANGLES)
def test_a_bad_way_out_is_left_only_where_the_neighbour_was_cut_before(run, grain):
    """In a whole board an order without any exists unless every corner is bad; flat, that cannot be."""
    plan = plan_edges(run, grain)
    assert sorted(plan.order) == list(range(len(plan.map.edges)))
    place = {e: k for k, e in enumerate(plan.order)}
    for e in plan.map.exits:
        if e.risk == "high" and e.through != e.edge:
            assert (place[e.edge] > place[e.through]) == (e in plan.blocks)
    if any(e.risk == "low" for e in plan.map.exits):
        assert plan.blocks == ()


def test_a_finished_long_edge_needs_a_block():
    """Upper edge (index 2) is jointed already: the right end's flutes come out through it: block, light lap."""
    plan = plan_edges(BOARD, 0.0, finished=[2])
    assert plan.order == (1, 3, 0)
    assert [(e.point, e.through) for e in plan.blocks] == [((200, 80), 2)]
    assert plan.scoring == (1,)
    assert plan.strokes[0].chip == "thin"
    assert plan_edges(BOARD, 0.0, finished=[2], direction="conventional").strokes[0].chip == "web"


def test_waste_thinner_than_a_split_backs_nothing_up():
    assert len(plan_edges(BOARD, 0.0, waste=0.5).blocks) == 2
    assert not plan_edges(BOARD, 0.0, waste=1.5).blocks


def test_conventional_only_where_climbing_tears_a_web_off():
    """A cut wider than the radius climbs with its outer half out of the stroke's far end.

    The lower edge (0) is finished: the right end (1), climbing, is cut downwards and ends there: its outer half pushes
    a web through the finished edge. Conventionally the flutes come out at the top, where waste still stands. The left
    end's (3) own way out is through the finished edge, and climbing it ends at the top, in waste: climb.
    """
    narrow = plan_edges(BOARD, 0.0, finished=[0], diameter=12, waste=5)
    assert {s.direction for s in narrow.strokes} == {"climb"}
    wide = plan_edges(BOARD, 0.0, finished=[0], diameter=12, waste=10)
    assert {s.edge: s.direction for s in wide.strokes} == {1: "conventional", 3: "climb", 2: "climb"}
    assert [e.edge for e in wide.blocks] == [3]
    forced = plan_edges(BOARD, 0.0, finished=[0], diameter=12, waste=10, direction="climb")
    assert {s.edge: s.chip for s in forced.strokes}[1] == "web"


def test_on_end_all_corners_wait_for_each_other_and_one_block_is_left():
    """A profile on end: whichever edge comes first, the last one comes out through it."""
    plan = plan_edges(BOARD, 0.0, station="end")
    assert len(plan.blocks) == 1
    assert plan.blocks[0].edge == plan.order[-1]


def test_a_circle_is_begun_where_the_grain_lies_well():
    m = plan_edges(arc((0, 0), 50, 0, 2 * math.pi), 0.0)
    assert len(m.strokes) == 1
    at = m.map.outline.length / 8 * 3  # middle of the second quarter, cut with the grain
    assert m.start == pytest.approx((50 * math.cos(at / 50), 50 * math.sin(at / 50)))


@pytest.mark.parametrize("turn", [1, -1])
def test_the_start_does_not_depend_on_how_the_circle_is_walked(turn):
    """Walked either way from anywhere, it lies 135 or 315 degrees on from the fibres: middle of a quarter cut with."""
    grain = 20 * DEGREE
    plan = plan_edges(arc((0, 0), 50, 0.3, turn * 2 * math.pi), grain)
    at = (math.atan2(plan.start[1], plan.start[0]) - grain) / DEGREE
    assert at % 180 == pytest.approx(135)


def test_a_drop_leaves_through_its_own_beginning_only_when_cut_conventionally():
    """One corner, fibres along the side by which the flutes come out: climbing, that side is cut last and not free."""
    r3 = math.sqrt(3)
    on, off = (45.0, -15 * r3), (45.0, 15 * r3)
    drop = Run((0.0, 0.0), (Leg(on), Leg(off, (60.0, 0.0), 240 * DEGREE), Leg((0.0, 0.0))))
    assert [(e.edge, e.through, e.risk) for e in grain_map(drop, -30 * DEGREE).exits] == [(0, 0, "high")]
    assert plan_edges(drop, -30 * DEGREE).blocks == ()
    (stroke,) = plan_edges(drop, -30 * DEGREE, direction="conventional").strokes
    assert (len(stroke.exits), stroke.chip) == (1, "web")


# --- tenons -----------------------------------------------------------------------------------------------------------

RAIL = (90.0, 22.0)
TONGUE = Tenon(50, 9.5, 32, 20, 6)


def test_a_tenon_climbing_leaves_only_where_the_narrow_edges_begin():
    """Rail 90 x 22, tongue 50 wide from x = 20. Climbing, edges first.

    Left edge: fed towards +y with the tenon on the right; the flutes beside the wall go against the feed and push out
    of the face where the line begins, y = 0, from x = 0 to 20. Right edge: fed towards -y, out of y = 22, from 70 to
    90. Cheeks: their lines begin and end in the room the edges left, and the flutes come in through the face: none.
    """
    t = for_tenon(*RAIL, TONGUE, setting())
    assert t.blocks == {"reference face": [pytest.approx((0, 20))], "far face": [pytest.approx((70, 90))]}
    assert {e.chip for e in t.exits} == {"thin"}
    assert {e.unsupported for e in t.exits} == {math.inf}
    assert {e.z for e in t.exits} == {-32.0}


def test_a_tenon_cut_conventionally_pushes_out_of_every_face():
    """The feeds turned round: webs where the edges' lines end, and chips out sideways along all four faces."""
    t = for_tenon(*RAIL, TONGUE, setting(direction="conventional"))
    sides = {(e.face, round(e.low), round(e.high)) for e in t.exits if e.chip == "side"}
    assert sides == {
        ("reference edge", 0, 22), ("far edge", 0, 22), ("reference face", 20, 70), ("far face", 20, 70),
    }  # fmt: skip
    webs = [(e.face, e.low, e.high) for e in t.exits if e.chip == "web"]
    assert min(v[1] for v in webs if v[0] == "reference face") == pytest.approx(0)
    assert max(v[2] for v in webs if v[0] == "reference face") == pytest.approx(20)


def test_a_scoring_cut_lets_out_a_millimetre_only():
    t = for_tenon(*RAIL, TONGUE, setting(), scoring=1.0, machine=machine())
    assert max(e.high - e.low for e in t.scored_exits) == pytest.approx(1.0)
    assert t.scoring_length > 0
    assert t.scoring_seconds > 0
    fast, slow = (machine_time(tenon(setting(), *RAIL, TONGUE, scoring=s), machine()).total_s for s in (0, 1.0))
    assert t.scoring_seconds == pytest.approx(slow - fast)


@pytest.mark.parametrize("stepover", [0.3, 0.8])
@pytest.mark.parametrize("direction", ["climb", "conventional"])
@pytest.mark.parametrize(
    "shape",
    [TONGUE, Tenon(90, 9.5, 32, 0, 6), Tenon(60, 9.5, 32, 15, 6, rounded=True)],
    ids=["plain", "wide", "rounded"],
)
def test_tenon_exits_against_a_cutter_pushed_through_the_rail_step_by_step(shape, direction, stepover):
    """Cells of the rail's rim, and the velocity of a clockwise cutter where it first touches them."""
    cutting = setting(direction=direction, stepover=stepover, depth_per_pass=32)
    cell = 0.5
    x, y = np.meshgrid(np.arange(cell / 2, RAIL[0], cell), np.arange(cell / 2, RAIL[1], cell), indexing="ij")
    wood = np.ones_like(x, dtype=bool)
    rims = {
        "reference edge": (np.s_[0, :], -1), "far edge": (np.s_[-1, :], 1),
        "reference face": (np.s_[:, 0], -1), "far face": (np.s_[:, -1], 1),
    }  # fmt: skip
    out = {face: np.zeros_like(wood[at]) for face, (at, _) in rims.items()}
    moves = tenon(cutting, *RAIL, shape)
    for i in np.flatnonzero(moves.cutting & (moves.points[1:, 2] < 0) & (np.abs(np.diff(moves.points[:, 2])) < 1e-9)):
        for px, py, _ in positions(moves, int(i), 0.1):
            hit = wood & (np.hypot(x - px, y - py) <= cutting.radius)
            if not hit.any():
                continue
            for face, (at, _) in rims.items():
                velocity = np.stack([y[at] - py, -(x[at] - px)])  # clockwise: (ry, -rx)
                outwards = velocity[0] * FACES[face][0] + velocity[1] * FACES[face][1]
                out[face] |= hit[at] & (outwards > 0.2)
            wood &= ~hit
    found_here = for_tenon(*RAIL, shape, cutting).exits
    for face, seen in out.items():
        places = (np.arange(len(seen)) + 0.5) * cell
        ours = np.zeros_like(seen)
        near = np.zeros_like(seen)
        for e in found_here:
            if e.face == face:
                ours |= (places > e.low) & (places < e.high)
                near |= (np.abs(places - e.low) < 1.0) | (np.abs(places - e.high) < 1.0)
        wrong = (ours != seen) & ~near
        assert not wrong.any(), (face, places[wrong])


# --- the path ---------------------------------------------------------------------------------------------------------

L_SHAPE = ring((0, 0), (90, 0), (90, 30), (40, 30), (40, 70), (0, 70))
U_SHAPE = ring((0, 0), (90, 0), (90, 70), (65, 70), (65, 20), (25, 20), (25, 50), (0, 50))
SHAPES = {
    "board": BOARD,
    "arch": ARCH,
    "l": L_SHAPE,
    "u": U_SHAPE,
    "circle": arc((40, 40), 35, 0.3, 2 * math.pi),
    "slot": stadium((0.0, 0.0), 90, 40, 0.4, clockwise=True),
    # over the left leg there is no room to run out as far as elsewhere
    "narrow u": ring((0, 0), (60, 0), (60, 70), (39, 70), (39, 20), (25, 20), (25, 50), (0, 50)),
    # inside corners between line and arc, and between two arcs of radius 25
    "boss": Run(
        (0.0, 0.0),
        (
            Leg((20.0, 0.0)), Leg((50.0, 0.0), (35.0, 20.0), 2 * math.asin(0.6)),
            Leg((80.0, 0.0), (65.0, 20.0), 2 * math.asin(0.6)), Leg((100.0, 0.0)), Leg((100.0, 60.0)),
            Leg((0.0, 60.0)), Leg((0.0, 0.0)),
        ),
    ),
    "skew": ring((0, 0), (80, 10), (100, 60), (20, 75)),
    "scallop": Run(
        (0.0, 0.0),
        (Leg((30.0, 0.0)), Leg((70.0, 0.0), (50.0, 0.0), -math.pi), Leg((100.0, 0.0)), Leg((100.0, 60.0)),
         Leg((0.0, 60.0)), Leg((0.0, 0.0))),
    ),
}  # fmt: skip


def cut_into(moves, cutting, outline, waste, side="outside", resolution=0.5):
    """Cut a blank with waste round the outline; which points were hurt in the part, and which are left beside it."""
    part = shapely.Polygon(chords(outline))
    blank = part.buffer(waste, join_style="mitre", mitre_limit=20)
    if side == "inside":
        blank, part = part.buffer(8, join_style="mitre"), part.buffer(8, join_style="mitre").difference(part)
    x0, y0, x1, y1 = blank.bounds
    piece = Workpiece((x0, x1), (y0, y1), resolution, lambda x, y: shapely.contains_xy(blank, x, y))
    piece.cut(moves, cutting.cutter)
    r = cutting.radius
    reachable = part.buffer(r, quad_segs=64).buffer(-r, quad_segs=64)  # inside corners keep the cutter's radius
    kept = shapely.contains_xy(part.buffer(-0.03), piece.X, piece.Y)
    gone = shapely.contains_xy(blank, piece.X, piece.Y) & ~shapely.contains_xy(reachable.buffer(0.03), piece.X, piece.Y)
    return piece, kept, gone


@pytest.mark.parametrize("cutter", [SQ12, SQ6], ids=lambda c: c.id)
@pytest.mark.parametrize("direction", ["best", "conventional"])
@pytest.mark.parametrize("name", SHAPES)
def test_the_part_stays_whole_and_everything_outside_goes(name, direction, cutter):
    """A blank with less waste than the cutter's diameter, all cut in air from beside it, to the floor of the cut."""
    cutting = setting(cutter, 4)
    plan = plan_edges(SHAPES[name], 20 * DEGREE, waste=4, direction=direction)
    moves = rewrite(plan, cutting, 9)
    piece, kept, gone = cut_into(moves, cutting, SHAPES[name], 4)
    assert (piece.height[kept] == 0).all()
    assert gone.any()
    np.testing.assert_allclose(piece.height[gone], -9)
    assert piece.rapid_in_wood == 0
    assert piece.plunged_in_wood == 0


@pytest.mark.parametrize("name", SHAPES)
def test_in_a_whole_board_it_ramps_down_and_leaves_the_part_alone(name):
    cutting = setting(SQ6, 4)
    moves = rewrite(plan_edges(SHAPES[name], 20 * DEGREE, diameter=6), cutting, 9)
    piece, kept, _ = cut_into(moves, cutting, SHAPES[name], 20)
    assert (piece.height[kept] == 0).all()
    assert piece.rapid_in_wood == 0
    assert piece.plunged_in_wood == 0
    piece, kept, gone = cut_into(moves, cutting, SHAPES[name], 2)
    np.testing.assert_allclose(piece.height[gone], -9)


@pytest.mark.parametrize("direction", ["best", "conventional"])
@pytest.mark.parametrize("name", ["l", "u", "circle", "slot"])
def test_openings(name, direction):
    """The wood lies outside; the core is left."""
    cutting = setting(SQ6, 4)
    plan = plan_edges(SHAPES[name], 0.3, side="inside", direction=direction)
    for moves in (rewrite(plan, cutting, 9), once_around(plan, cutting, 9)):
        piece, kept, gone = cut_into(moves, cutting, SHAPES[name], 5, side="inside")
        assert (piece.height[kept] == 0).all()
        wall = shapely.Polygon(chords(SHAPES[name])).buffer(-2)
        near = gone & ~shapely.contains_xy(wall, piece.X, piece.Y)
        np.testing.assert_allclose(piece.height[near], -9)
        assert piece.rapid_in_wood == 0


@pytest.mark.parametrize("name", SHAPES)
def test_once_around_too_and_both_are_timed(name):
    cutting = setting(SQ6, 4)
    plan = plan_edges(SHAPES[name], 20 * DEGREE, waste=4)
    piece, kept, _ = cut_into(once_around(plan, cutting, 9), cutting, SHAPES[name], 4)
    assert (piece.height[kept] == 0).all()
    before, after = compare(plan, cutting, 9, machine())
    assert before == machine_time(once_around(plan, cutting, 9), machine()).total_s
    assert min(before, after) > 0
    if len(plan.strokes) > 1:
        assert after > before  # strokes one way only have to be gone back over


def test_a_light_lap_leaves_a_millimetre_first():
    """The stroke at the named edge comes twice, first 1 mm off the wall; the result is the same."""
    cutting = setting()
    plan = plan_edges(BOARD, 0.0, finished=[2], waste=4)
    moves = rewrite(plan, cutting, 5, scoring=1.0)
    assert moves.cutting_length > rewrite(plan, cutting, 5).cutting_length
    level = moves.points[1:][moves.cutting & (np.diff(moves.points[:, 2]) == 0)]
    assert [v for v in dict.fromkeys(np.round(level[:, 0], 6)) if v > 200][:2] == [207, 206]


def test_an_open_run_is_one_stroke_from_air_to_air():
    cutting = setting()
    plan = plan_edges(polyline([(0, 0), (0, 80)]), 0.0)
    moves = rewrite(plan, cutting, 5)
    (x, y, _) = moves.extents()
    assert x == pytest.approx([6, 6])  # the wood lies on the left of the run, the cutter on its right
    assert y == pytest.approx([-8, 88])
    assert moves.points[1, 1] > 80 if moves.kind[0] == Kind.RAPID else moves.points[0, 1] > 80  # climbing: from the end


@pytest.mark.parametrize("direction", ["climb", "conventional"])
def test_a_circle_is_entered_and_left_without_a_kink(direction):
    moves = rewrite(plan_edges(SHAPES["circle"], 0.3, waste=4, direction=direction), setting(), 5)
    arcs = [positions(moves, int(i), 1e-3) for i in np.flatnonzero(moves.kind == Kind.ARC)]
    assert len(arcs) >= 3
    for a, b in itertools.pairwise(arcs):
        before, after = a[-1] - a[-2], b[1] - b[0]
        assert before @ after / np.linalg.norm(before) / np.linalg.norm(after) > 0.9999


#: A hollow that the cutter fits, with a mouth that it does not.
MOUTH = ring(
    (0, 0), (100, 0), (100, 46), (70, 46), (70, 30), (30, 30), (30, 70), (70, 70), (70, 54), (100, 54), (100, 100),
    (0, 100),
)  # fmt: skip


@pytest.mark.parametrize(
    ("outline", "word"),
    [
        (ring((0, 0), (90, 0), (90, 60), (50, 60), (50, 20), (42, 20), (42, 60), (0, 60)), "smaller cutter"),
        (SHAPES["scallop"], "smaller cutter"),
        (MOUTH, "elsewhere along the outline"),
    ],
    ids=["notch", "scallop", "mouth"],
)
def test_a_cutter_too_large_for_an_inside_corner_is_refused(outline, word):
    big = replace(SQ12, id="SQ50", diameter=50.0, measured_diameter=None) if outline is SHAPES["scallop"] else SQ12
    with pytest.raises(InputError, match=word):
        rewrite(plan_edges(outline, 0.0, waste=4), setting(big), 5)


# --- the drawing ------------------------------------------------------------------------------------------------------


def test_the_drawing_shows_the_lies_by_width_and_every_exit_by_its_number():
    plan = plan_edges(BOARD, 20 * DEGREE, finished=[2])
    figure = draw(plan.map, plan)
    lines = {t.name.split(",")[0]: t for t in figure.data if t.mode == "lines"}
    assert lines["against the grain"].line.width > 2 * lines["with the grain"].line.width
    assert lines["against the grain"].x == (0, 200, None, 200, 0, None)
    assert lines["with the grain"].x == (200, 200, None, 0, 0, None)
    assert "400 mm" in next(t.name for t in figure.data if "against" in t.name)
    numbers = {t.name: list(t.text) for t in figure.data if t.mode == "markers+text"}
    assert numbers == {"exit that splits": ["1", "3"], "exit that does not": ["2", "4"]}
    fibres = lines["fibres"]
    slopes = [(fibres.y[i + 1] - fibres.y[i]) / (fibres.x[i + 1] - fibres.x[i]) for i in range(0, len(fibres.x), 3)]
    assert len(slopes) > 20
    assert slopes == pytest.approx([math.tan(20 * DEGREE)] * len(slopes))
    assert len(figure.layout.shapes) == len(plan.blocks) == 1
    labels = [a.text for a in figure.layout.annotations]
    assert {"cut 1: edge 2", "edge 3, at size"} <= set(labels)
    arrow = next(a for a in figure.layout.annotations if a.showarrow and a.x > 200)
    assert arrow.y < arrow.ay  # climbing, the right end is cut downwards


def test_the_table_has_a_row_for_every_number():
    plan = plan_edges(BOARD, 20 * DEGREE, finished=[2])
    texts = rows(plan.map, plan)
    assert [r[0] for r in texts] == ["1", "2", "3", "4"]
    assert "order of cutting" in texts[0][-1]
    assert "back-up block" in texts[2][-1]
    assert rows(plan.map, system="inch")[0][4] == "0.115 in"
    assert exits_table(plan.map, plan).count("<tr>") == 5


@pytest.mark.parametrize("station", ["flat", "end"])
@pytest.mark.parametrize("name", SHAPES)
def test_everything_can_be_drawn(name, station):
    plan = plan_edges(SHAPES[name], 0.5, station=station)
    assert len(draw(plan.map).data) >= 2
    assert len(draw(plan.map, plan).layout.annotations) >= 2 * len(plan.strokes)


def test_openings_and_open_runs_can_be_drawn():
    assert draw(grain_map(BOARD, 0.5, side="inside")).data[0].x
    run = grain_map(polyline([(0, 0), (0, 80)]), 0.5)
    x = [v for v in draw(run).data[0].x if v is not None]
    assert max(x) < 1e-9  # the wood lies on the run's left
