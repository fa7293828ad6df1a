"""What a program's head says about it, against its moves."""

import numpy as np
import pytest

from shopcalc.gcode import read_text
from shopcalc.gcode.claims import differences, read_claims


@pytest.mark.parametrize(
    ("comment", "seconds"),
    [
        ("Time: 1:02:03", 3723), ("run time 12:30", 750), ("machining time = 5 min 30 s", 330), ("TIME 1h 4m", 3840),
        ("estimated cycle time: 90 sec", 90), ("duration 0.5 hours", 1800), ("time 2.5min", 150),
    ],
)  # fmt: skip
def test_times(comment, seconds):
    assert [(c.what, c.value) for c in read_claims(comment, 1)] == [("time", seconds)]


@pytest.mark.parametrize(
    "comment", ["last time we broke one", "TIME SAVER 3000", "X at the left", "max depth", "part 3"]
)
def test_what_claims_nothing(comment):
    assert not list(read_claims(comment, 1))


def test_extents_in_several_ways_of_writing():
    said = {c.what: (c.value, c.unit) for c in read_claims('X MIN 0 XMAX=120.5 mm, min y: -3 max_z 5"', 2)}
    assert said == {"x min": (0, ""), "x max": (120.5, "mm"), "y min": (-3, ""), "z max": (5, "in")}


def test_the_moves_are_trusted_and_the_difference_is_told():
    p = read_text("(X MAX 10, Y max 2)\n(time 2 min)\nG20 F10 G1 X10\nY5\n(X max 99)")
    found = list(differences(p.claims, p.scale, p.moves.extents(), 300.0))
    assert [(n.line, n.word) for n in found] == [(1, "Y max 2"), (2, "time 2 min")]
    assert "reach 5.000" in found[0].message
    assert not list(differences(p.claims, p.scale, np.array([[0, 254], [0, 50.8], [0, 0]]), 110.0))


def test_share_of_the_blocks_that_was_fully_understood():
    assert read_text("G21 F60\nG1 X1\nX2\nX3").understood == 1.0
    assert read_text("G21 F60\nG1 X1\nX2 A5\nX3 A6 B1").understood == 0.5
    assert read_text("G21\nG1 X1\nX2\nX3").understood == 0.25  # no feed in three of four blocks
