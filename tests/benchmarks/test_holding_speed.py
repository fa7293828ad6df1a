"""A million moves against ten keep-outs, and through a block of wood (python -m pytest -n 0 -m benchmark -s)."""

import time
from dataclasses import replace

import numpy as np
import pytest

from shopcalc.cutters import Cutter
from shopcalc.holding import Stock, box, check_clear, check_walls, cylinder, tool_body
from shopcalc.moves import Kind, from_lists

pytestmark = pytest.mark.benchmark
MOVES = 1_000_000


def raster(step, between):
    """A million short lines to and fro, heights at random."""
    t = np.arange(MOVES + 1)
    x, row = (t % 1000) * step, t // 1000
    x = np.where(row % 2 == 0, x, 999 * step - x)
    z = -5 * np.random.default_rng(1).random(MOVES + 1)
    return from_lists(np.stack([x, row * between, z], axis=1), np.ones(MOVES, int), feed=3000.0)


def test_a_million_moves_against_ten_keep_outs_take_under_five_seconds():
    body = tool_body(Cutter("SQ12", "", "square end", 12.0, 12.0, 2, 30.0, 80.0, 40.0))
    keeps = [box(f"clamp {i}", -25, 30 + i * 50, 50, 30, bottom=-20, top=20 + i) for i in range(9)]
    keeps.append(cylinder("bolt", 820, 100, 12, bottom=-20, top=5))
    moves = raster(0.8, 0.5)
    check_clear(moves.part(0, 10), body, keeps)  # compiles
    start = time.perf_counter()
    found = check_clear(moves, body, keeps)
    seconds = time.perf_counter() - start
    start = time.perf_counter()
    found.says()
    print(f"\n{seconds:.2f} s, {sum(len(c.moves) for c in found.collisions)} moves meet something; "
          f"remedies {time.perf_counter() - start:.2f} s")  # fmt: skip
    assert len({c.keep_out for c in found.collisions}) == 9
    assert seconds < 5


def test_half_a_million_arcs_between_as_many_lines_take_under_five_seconds():
    n, rng = MOVES // 2, np.random.default_rng(2)
    centre = np.stack([rng.uniform(0, 800, n), rng.uniform(0, 400, n), np.full(n, -2.0)], axis=1)
    off = np.stack([rng.uniform(1, 20, n), np.zeros(n), np.zeros(n)], axis=1)
    points = np.zeros((2 * n + 1, 3))
    points[0 : 2 * n : 2], points[1 : 2 * n : 2], points[-1] = centre + off, centre - off, centre[0] + off[0]
    moves = replace(
        from_lists(points, [Kind.ARC, Kind.LINE] * n, feed=3000.0), arc_index=np.arange(0, 2 * n, 2), arc_centre=centre,
        arc_sweep=np.full(n, np.pi), arc_plane=np.zeros(n, np.uint8),
    )  # fmt: skip
    body = tool_body(Cutter("SQ12", "", "square end", 12.0, 12.0, 2, 30.0, 80.0, 40.0))
    keeps = [box(f"clamp {i}", -60, 50 * i, 50, 30, bottom=-20, top=20) for i in range(5)]
    keeps += [box(f"strap {i}", 80 * i, 450, 50, 30, bottom=-20, top=20) for i in range(5)]
    check_clear(moves.part(0, 10), body, keeps)
    start = time.perf_counter()
    found = check_clear(moves, body, keeps)
    print(f"\n{time.perf_counter() - start:.2f} s")
    assert time.perf_counter() - start < 5
    assert found.clear


MILLING = {
    "ball of 6 mm": Cutter("B6", "", "ball", 6.0, 6.0, 2, 20.0, 80.0, 40.0),
    "square end of 6 mm": Cutter("SQ6", "", "square end", 6.0, 6.0, 2, 20.0, 80.0, 40.0),
    "V of 16 mm": Cutter("V90", "", "V", 16.0, 8.0, 2, 9.0, 80.0, 40.0, included_angle=np.pi / 2),
    "shank that rubs everywhere": Cutter("SHORT", "", "ball", 6.0, 12.0, 2, 4.0, 80.0, 12.0),
}


@pytest.mark.parametrize("name", MILLING)
def test_a_million_moves_through_wood_take_under_five_seconds(name):
    body = tool_body(MILLING[name])
    moves, block = raster(0.3, 0.2), Stock((0, 300), (0, 200), 0, -20)
    check_walls(moves.part(0, 10), body, block)
    start, own = time.perf_counter(), time.process_time()
    found = check_walls(moves, body, block)
    seconds, own = time.perf_counter() - start, time.process_time() - own
    print(f"\n{name}: {seconds:.2f} s, {own:.2f} s of one core, {5 / own:.1f} times as quick as asked; "
          f"{found.heights.size} columns")  # fmt: skip
    assert own < 5  # other work on the same machine does not count
    assert bool(found.rubs) == ("rubs" in name)


def test_half_a_million_arcs_through_wood_take_under_five_seconds():
    flat = raster(0.3, 0.2).points * (1, 1, 0) - (0, 0, 2)
    centre = ((flat[:-1] + flat[1:]) / 2)[::2]
    n = len(centre)
    moves = replace(
        from_lists(flat, [Kind.ARC, Kind.LINE] * n, feed=3000.0), arc_index=np.arange(0, 2 * n, 2), arc_centre=centre,
        arc_sweep=np.full(n, np.pi), arc_plane=np.zeros(n, np.uint8),
    )  # fmt: skip
    body, block = tool_body(MILLING["ball of 6 mm"]), Stock((0, 300), (0, 200), 0, -20)
    check_walls(moves.part(0, 10), body, block)
    start, own = time.perf_counter(), time.process_time()
    check_walls(moves, body, block)
    seconds, own = time.perf_counter() - start, time.process_time() - own
    print(f"\n{seconds:.2f} s, {own:.2f} s of one core, {5 / own:.1f} times as quick as asked")
    assert own < 5
