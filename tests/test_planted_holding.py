"""Four kinds of accident planted in random places, each beside its twin that is clear, both known by construction.

The room of every case is drawn first and the load built around it: no sweep says which is which. What is planted must
be found at the part and the thing meant; the clean twin, the same but for the room, must be told clear.
"""

import math

import numpy as np
import pytest

from shopcalc.cutters import Cutter
from shopcalc.holding import Holder, Piece, Stock, box, check_clear, check_walls, cylinder, tool_body
from shopcalc.moves import Kind, from_lists

HOLDER = Holder((Piece("nut", 20.0, 40.0), Piece("spindle nose", 60.0, 90.0)))
EACH = 75  # of each kind, planted and clean: 300 and 300


def cutter(rng, **given):
    size = {"diameter": rng.uniform(6, 16), "shank": 6.0, "flutes": rng.uniform(20, 30), "out": 50.0} | given
    return Cutter(
        "C", "", "square end", size["diameter"], size["shank"], 2, size["flutes"], size["out"] + 40, size["out"]
    )


def line_past(rng, room, height):
    """A line at a random angle, and the place that lies `room` beside it somewhere along it."""
    turn, at = rng.uniform(0, 2 * math.pi), rng.uniform(-50, 50, 2)
    way, side = np.array([math.cos(turn), math.sin(turn)]), np.array([-math.sin(turn), math.cos(turn)])
    a, b = at - way * rng.uniform(30, 90), at + way * rng.uniform(30, 90)
    kind = Kind.RAPID if rng.random() < 0.3 else Kind.LINE
    moves = from_lists([(*a, height), (*b, height)], [kind], feed=3000, rpm=16000)
    return moves, at + side * room, turn


def clamp_in_the_path(rng, off):
    """A box turned with the line: its long side lies `off` from the flutes."""
    c = cutter(rng)
    half = rng.uniform(5, 25)
    moves, at, turn = line_past(rng, c.diameter / 2 + half + off, rng.uniform(-8, 2))
    clamp = box("clamp", *at, rng.uniform(10, 60), 2 * half, bottom=-20, top=10, turn=turn)
    return {(x.part, x.keep_out) for x in check_clear(moves, tool_body(c, None), [clamp]).collisions}, (
        "flutes",
        "clamp",
    )


def holder_against_a_clamp(rng, off):
    """The flutes pass well beside it; the nut's lower face comes `-off` below its top."""
    c = cutter(rng)
    depth = rng.uniform(2, 15)
    moves, at, turn = line_past(rng, 20.0 + 10.0 - rng.uniform(1, 9), -depth)
    clamp = box("clamp", *at, 30, 20, bottom=-20, top=c.stick_out - depth - off, turn=turn)
    return {(x.part, x.keep_out) for x in check_clear(moves, tool_body(c, HOLDER), [clamp]).collisions}, (
        "nut",
        "clamp",
    )


def bolt_under_a_groove(rng, off):
    """Sunk below the surface: only how deep the groove is decides."""
    c = cutter(rng)
    moves, at, _ = line_past(rng, rng.uniform(0, 3), -rng.uniform(3, 12))
    top = float(moves.points[0, 2]) - off
    bolt = cylinder("bolt", *at, rng.uniform(8, 16), bottom=-40, top=top)
    return {(x.part, x.keep_out) for x in check_clear(moves, tool_body(c, None), [bolt]).collisions}, ("flutes", "bolt")


def shank_along_a_wall(rng, off):
    """Levels of a slot deeper than the flutes; the shank stands out of the flutes by -off all round, or keeps off."""
    diameter, flutes = rng.uniform(8, 14), rng.uniform(8, 15)
    c = cutter(rng, diameter=diameter, shank=diameter - 2 * (off + 0.36) if off > 0 else diameter - 2 * off,
               flutes=flutes)  # fmt: skip
    turn, at = rng.uniform(0, math.pi), rng.uniform(-5, 5, 2)
    way = np.array([math.cos(turn), math.sin(turn)]) * 25
    depth = flutes + rng.uniform(1, 8)
    levels = np.linspace(0, depth, 4)[1:]
    points = [(*(at + s * way * (-1) ** k), -z) for k, z in enumerate(levels) for s in (1, -1)]
    moves = from_lists(points, [Kind.LINE] * (len(points) - 1), feed=3000)
    block = Stock((-60, 60), (-60, 60), 0.0, -60.0)
    return {(x.part, "wood") for x in check_walls(moves, tool_body(c, HOLDER), block, cell=0.5).rubs}, ("shank", "wood")


@pytest.mark.parametrize(
    "kind",
    [clamp_in_the_path, holder_against_a_clamp, bolt_under_a_groove, shank_along_a_wall],
    ids=lambda f: f.__name__,
)
def test_what_is_planted_is_found_and_its_clean_twin_is_not(kind):
    found = invented = 0
    for seed in range(EACH):
        rooms = np.random.default_rng([7, seed]).uniform(0.05, 2.0, 2)
        told, meant = kind(np.random.default_rng([1, seed]), -float(rooms[0]))
        found += meant in told
        told, _ = kind(np.random.default_rng([1, seed]), float(rooms[1]))
        invented += bool(told)
    print(f"{kind.__name__}: {found} of {EACH} found, {invented} of {EACH} invented")
    assert (found, invented) == (EACH, 0)
