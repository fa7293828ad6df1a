"""Drilling cycles, move by move (NISTIR 6556, section 3.5.16; what goes beyond it says so)."""

import numpy as np
import pytest

from shopcalc.errors import InputError
from shopcalc.gcode import read_text
from shopcalc.gcode.cycles import hole, pecks
from shopcalc.moves import Kind, Stop

R, L, D, S = Kind.RAPID, Kind.LINE, Kind.DWELL, Kind.STOP


def path(text, start=(0, 0, 10), head="G21 F100 G0"):
    m = read_text(f"{head}\n{text}", start=start).moves
    return [(Kind(int(k)), *np.round(p, 6).tolist()) for k, p in zip(m.kind, m.points[1:], strict=True)]


def holes(text, **k):
    """Where each hole ends: (x, y, depth)."""
    moves = path(text, **k)
    return [m[1:] for m, after in zip(moves, [*moves[1:], None], strict=True) if m[0] == L and after and after[0] == R]


def test_return_to_the_old_level_or_to_r():
    assert path("G98 G81 X1 Y0 Z-5 R2\nX2\nG80") == [
        (R, 1, 0, 10), (R, 1, 0, 2), (L, 1, 0, -5), (R, 1, 0, 10), (R, 2, 0, 10), (R, 2, 0, 2), (L, 2, 0, -5),
        (R, 2, 0, 10),
    ]  # fmt: skip
    assert path("G99 G81 X1 Y0 Z-5 R2\nX2")[3:] == [(R, 1, 0, 2), (R, 2, 0, 2), (L, 2, 0, -5), (R, 2, 0, 2)]


def test_g98_goes_back_to_where_the_row_of_cycles_began_even_after_g99():
    assert path("G99 G81 X1 Z-5 R2\nG98 X2")[-1] == (R, 2, 0, 10)


def test_r_above_the_old_level_is_reached_first_and_once():
    assert path("G81 X1 Z-5 R3\nX2", start=(0, 0, 1))[:2] == [(R, 0, 0, 3), (R, 1, 0, 3)]
    assert path("G81 X1 Z-5 R3\nX2", start=(0, 0, 1))[-1] == (R, 2, 0, 3)


def test_a_cycle_without_x_and_y_drills_where_it_stands():
    assert holes("G81 Z-5 R2\nX5\nY5\nG80") == [(0, 0, -5), (5, 0, -5), (5, 5, -5)]


def test_levels_stay_where_they_are_when_repeats_are_incremental():
    """``G91 X.480 L6`` after an absolute cycle: six equal holes, not six ever higher ones (common practice)."""
    got = holes("G81 X0 Y0 Z-.5 R.1\nG91 X.48 L6\nG90 G80", head="G20 F10 G0")
    assert got == [(round(i * 0.48 * 25.4, 6), 0, -12.7) for i in range(7)]


def test_a_unit_change_does_not_move_the_levels():
    assert holes("G81 X1 Z-5 R2\nG20 X1") == [(1, 0, -5), (25.4, 0, -5)]


def test_dwells_at_the_bottom():
    assert [m[0] for m in path("G82 X1 Z-5 R2 P0.5")] == [R, R, L, D, R]
    assert [n.word for n in read_text("G21 F60 G0 Z9\nG82 X1 Z-5 R2").warnings] == ["G82"]


def test_boring_feeds_out_and_g86_stops_the_spindle():
    assert [m[0] for m in path("G85 X1 Z-5 R2")] == [R, R, L, L]
    assert [m[0] for m in path("G89 X1 Z-5 R2 P1")] == [R, R, L, D, L]
    m = read_text("G21 F60 S900 M3\nG0 Z9\nG86 X1 Z-5 R2").moves
    assert m.kind.tolist() == [S, R, R, R, L, S, R, S]
    assert m.value[[5, 7]].tolist() == [Stop.SPINDLE_STOP, Stop.SPINDLE_START]
    assert m.rpm.tolist() == [900] * 5 + [0, 0, 900]


@pytest.mark.parametrize("seed", range(30))
def test_pecks_reach_the_depth_and_each_cuts_at_most_q(seed):
    """Whatever R, Z and Q: metal below the last depth is met at feed, never by a rapid."""
    rng = np.random.default_rng(seed)
    r, depth, peck = rng.uniform(0, 5), rng.uniform(0.5, 30), rng.uniform(0.05, 8)
    code, clear = int(rng.choice([73, 83])), r + rng.choice([0.0, 10.0])
    at, deepest, cuts = clear, r, 0
    for kind, to in hole(code, r, r - depth, clear, peck, 0.0):
        if kind == Kind.LINE:
            assert deepest - to <= peck + 1e-9
            deepest, cuts = min(deepest, to), cuts + 1
        elif to < at:
            assert to >= deepest - 1e-9
        assert to <= clear + 1e-9
        at = to
    assert deepest == r - depth
    assert cuts == pecks(r, r - depth, peck)
    assert at == clear


def test_a_slip_in_repeats_or_pecks_is_refused_before_it_fills_the_memory():
    for line in ("G83 X1 Y1 Z-100 R1 Q.0001 L10000", "G81 X1 Z-5 R1 L99999"):
        with pytest.raises(InputError, match=r"line 2") as e:
            read_text(f"G21 F60 G0 Z5\n{line}")
        assert e.value.faults[0].remedy


@pytest.mark.parametrize("line", ["G81 X1 Z-5 R2 L0\nX2", "G81 X1 Z-5 R2 K0\nX2"])
def test_no_repeats_drill_nothing_but_keep_the_levels(line):
    assert holes(line) == [(2, 0, -5)]
    assert read_text(f"G21 F60 G0\n{line}", start=(0, 0, 9)).warnings[0].word in ("L0", "K0")


def test_cycles_in_a_comment_and_then_spelt_out_count_once():
    assert holes("(G81 X1 Y1 Z-5 R2)\nG0 X1 Y1\nG0 Z2\nG1 Z-5\nG0 Z2") == [(1, 1, -5)]
