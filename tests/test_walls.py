"""Shank, nut and holder beside standing wood: hand cases, and a sweep over single points of the walls."""

import numpy as np
import pytest

from shopcalc.cutters import Cutter
from shopcalc.errors import InputError
from shopcalc.holding.tool_body import Holder, Piece, tool_body
from shopcalc.holding.walls import Stock, check_walls
from shopcalc.moves import Kind, from_lists

HOLDER = Holder((Piece("nut", 20.0, 40.0), Piece("spindle nose", 60.0, 90.0)))
CELL = 0.5


def cutter(diameter=12.0, shank=12.0, flutes=30.0, out=45.0):
    return Cutter("C", "", "square end", diameter, shank, 2, flutes, out + 40, out)


def slot(*depths, long=60.0):
    at = [(-30, 0, 5)]
    for depth in depths:
        at += [(-30, 0, -depth), (long, 0, -depth), (long, 0, 5), (-30, 0, 5)]
    return from_lists(at, [Kind.LINE, Kind.LINE, Kind.RAPID, Kind.RAPID] * len(depths), feed=3000)


BLOCK = Stock((-80, 120), (-50, 50), 0.0, -80.0)


@pytest.mark.parametrize(
    ("tool", "depths", "parts"),
    [
        (cutter(), [29], set()),
        (cutter(flutes=20), [12, 25], {"shank"}),  # as thick as the flutes: it rubs
        (cutter(shank=8, flutes=20), [12, 25], set()),  # a neck clears
        (cutter(shank=8, flutes=20), [25], {"shank"}),  # but not wood in front that the flutes do not reach
        (cutter(diameter=6, shank=12, flutes=20), [19], set()),
        (cutter(diameter=6, shank=12, flutes=20), [12, 21], {"shank"}),
        (cutter(shank=8, flutes=58, out=60), [30, 65], {"nut"}),
    ],
)
def test_what_rubs_in_a_slot(tool, depths, parts):
    depth = depths[-1]
    found = check_walls(slot(*depths), tool_body(tool, HOLDER), BLOCK, cell=CELL)
    assert {r.part for r in found.rubs} == parts
    for r in found.rubs:
        low = {"shank": tool.cutting_length, "nut": tool.stick_out}[r.part]
        assert r.depth == pytest.approx(depth - low)
        assert r.remedy


def test_wood_cleared_before_is_no_wall_and_wood_cleared_after_is():
    """A wide recess around the slot, before it and after it."""
    tool = tool_body(cutter(flutes=20), HOLDER)
    rows = [p for k, y in enumerate(np.arange(-10, 10.1, 5)) for p in ((-36, 66)[:: 1 - 2 * (k % 2)], y)]
    points = [(-36, -10, 30)]
    for k in range(0, len(rows), 2):
        points += [(rows[k][0], rows[k + 1], -10), (rows[k][1], rows[k + 1], -10)]
    points.append((points[-1][0], points[-1][1], 30))
    deep = [(-30, 0, 30), (-30, 0, -25), (60, 0, -25), (60, 0, 30)]

    def run(a, b):
        at = [*a, *b]
        return check_walls(from_lists(at, [Kind.LINE] * (len(at) - 1), feed=3000), tool, BLOCK, cell=CELL).rubs

    assert run(points, deep) == ()
    assert [r.part for r in run(deep, points)] == ["shank"]


def test_heights_left_are_those_of_every_sample():
    """Each column against the lowest of many samples of the same moves, round and tapered cutters included."""
    rng = np.random.default_rng(3)
    ball = Cutter("B", "", "ball", 12.0, 12.0, 2, 30.0, 80.0, 40.0)
    vee = Cutter("V", "", "V", 16.0, 8.0, 2, 14.0, 80.0, 40.0, included_angle=np.pi / 2)
    for c in (cutter(), ball, vee):
        at = rng.uniform(-20, 20, (8, 3)) * (1, 1, 0.25) - (0, 0, 8)
        arc = {3: ((*((at[3] + at[4]) / 2)[:2], at[3, 2]), np.pi, 0)}
        path = from_lists(at, [1, 1, 1, 2, 1, 1, 1], feed=1, arcs=arc)
        left = check_walls(path, tool_body(c, None), Stock((-30, 30), (-30, 30), 0.0, -40.0), cell=1.0).heights
        x, y = np.meshgrid(np.arange(60) - 29.5, np.arange(60) - 29.5)
        want = np.zeros_like(x)
        r = c.diameter / 2
        for i in range(7):
            t = np.linspace(0, 1, 1200)[:, None]
            p = at[i] + t * (at[i + 1] - at[i])
            if i == 3:
                m, d = (at[3] + at[4]) / 2, at[3, :2] - (at[3, :2] + at[4, :2]) / 2
                p[:, 0] = m[0] + d[0] * np.cos(np.pi * t[:, 0]) - d[1] * np.sin(np.pi * t[:, 0])
                p[:, 1] = m[1] + d[0] * np.sin(np.pi * t[:, 0]) + d[1] * np.cos(np.pi * t[:, 0])
            for q in p:
                d = np.hypot(x - q[0], y - q[1])
                up = {"square end": 0 * d, "ball": r - np.sqrt(np.maximum(r * r - d * d, 0)), "V": d}[c.shape]
                want = np.where(d <= r, np.minimum(want, q[2] + up), want)
        off = np.abs(left - want)
        assert np.quantile(off, 0.97) < 0.25
        assert off.mean() < 0.08


def test_planted_shanks_rub_and_clean_ones_do_not():
    """Slots beside walls in random places, each answer by hand: how deep, and how much thinner than the flutes."""
    rng = np.random.default_rng(8)
    counted = {True: 0, False: 0}
    for _ in range(400):
        flutes, depth = rng.uniform(8, 25), rng.uniform(5, 35)
        diameter, shank = rng.uniform(6, 16), rng.uniform(4, 18)
        if abs(depth - flutes) < 0.2 or -1.0 < shank - diameter < -0.01:
            continue
        tool = cutter(diameter, shank, flutes, 60.0)
        turn, off = rng.uniform(0, np.pi), rng.uniform(-5, 5, 2)
        d = np.array([np.cos(turn), np.sin(turn)]) * 25
        levels = np.linspace(0, depth, int(depth / (0.9 * flutes)) + 2)
        at = [(*(off + s * d * (-1) ** k), -z) for k, z in enumerate(levels) for s in (1, -1)]
        path = from_lists(at[1:], [1] * (len(at) - 2), feed=1)
        rubs = check_walls(path, tool_body(tool, HOLDER), BLOCK, cell=CELL).rubs
        wanted = depth > flutes and shank >= diameter - 0.01
        counted[wanted] += 1
        assert [r.part for r in rubs] == (["shank"] if wanted else [])
    assert sum(counted.values()) >= 300
    assert min(counted.values()) > 60


def test_a_rapid_through_wood_is_told_and_one_over_it_is_not():
    low = from_lists([(-60, 0, 5), (-60, 0, -3), (60, 0, -3)], [Kind.LINE, Kind.RAPID], feed=1)
    (rub,) = check_walls(low, tool_body(cutter(), HOLDER), BLOCK).rubs
    assert (rub.part, rub.move, rub.depth) == ("flutes", 1, 3.0)
    back = from_lists([*low.points, (-60, 0, -3)], [Kind.LINE, Kind.LINE, Kind.RAPID], feed=1)
    assert check_walls(back, tool_body(cutter(), HOLDER), BLOCK).rubs == ()


def test_what_makes_no_sense_is_refused():
    with pytest.raises(InputError, match="no size"):
        Stock((0, 0), (0, 1))
    with pytest.raises(InputError, match="million columns"):
        check_walls(slot(5), tool_body(cutter()), Stock((0, 3000), (0, 3000)), cell=0.1)
