"""Forces follow the feeds and speeds a program says: its text read anew, and a load checked with it driven harder."""

import re
import shutil
from dataclasses import replace

import numpy as np
import pytest

from shopcalc.gcode import read_program, read_text
from shopcalc.holding.program_forces import driven_of, worst_cuts
from shopcalc.jobs import open_job
from shopcalc.load_holding import check_load
from shopcalc.shop import Shop, demo_folder

PANELS = demo_folder() / "programs" / "panels.nc"


def test_the_worst_cut_of_a_demo_program_is_that_of_its_text():
    """A plain reading of the words F and S of every line that goes sideways below the top."""
    at, feed, rpm, mode, worst = {"X": 0.0, "Y": 0.0, "Z": 0.0}, 0.0, 0.0, 0, (0.0, 0)
    for number, line in enumerate(PANELS.read_text().splitlines(), 1):
        words = re.findall(r"([A-Z])(-?[\d.]+)", re.sub(r"\(.*?\)", "", line))
        mode = next((int(float(v)) for k, v in words if k == "G" and float(v) in (0, 1, 2, 3)), mode)
        before = dict(at)
        at |= {k: float(v) for k, v in words if k in at}
        feed = next((float(v) for k, v in words if k == "F"), feed)
        rpm = next((float(v) for k, v in words if k == "S"), rpm)
        moved = (at["X"], at["Y"]) != (before["X"], before["Y"])
        if moved and mode and min(at["Z"], before["Z"]) < 0 and feed / rpm > worst[0]:
            worst = feed / rpm, number
    (found,) = worst_cuts(read_program(PANELS).moves).values()
    assert (found.per_turn, found.line) == (pytest.approx(worst[0]), worst[1])
    assert driven_of({found.cutter: found}, "ball12", None) is found
    assert driven_of({found.cutter: found}, "SQ12", found.cutter) is None


def test_what_does_not_push_sideways_in_wood_does_not_count():
    text = "G21 G90 T1 M6\nS10000 M3\nG0 X0 Y0 Z5\nG1 X10 F9000\nG1 Z-3 F5000\nG1 X50 F1000\n"
    text += "G2 X60 Y10 I0 J10 F1200\nM5\nT2 M6\nG1 X0 F800\nM30"
    found = worst_cuts(read_text(text).moves)
    assert {k: (v.feed, v.line) for k, v in found.items()} == {1: (1200.0, 7)}
    assert worst_cuts(read_text(text).moves, top=10.0)[1].feed == 9000.0


@pytest.mark.parametrize("seed", range(3))
def test_it_is_the_worst_of_all_cuts_taken_one_by_one(seed):
    rng = np.random.default_rng(seed)
    moves = read_program(PANELS).moves
    n = len(moves)
    moves = replace(
        moves, feed=rng.uniform(100, 9000, n), rpm=rng.choice([0.0, 9000.0, 18000.0], n), cutter=rng.integers(1, 4, n),
        labels={},
    )  # fmt: skip
    want = {}
    for i in range(n):
        a, b = moves.points[i], moves.points[i + 1]
        if moves.cutting[i] and moves.rpm[i] and min(a[2], b[2]) < 0 and np.hypot(*(b - a)[:2]) > 1e-6:
            k = int(moves.cutter[i])
            want[k] = max(want.get(k, 0.0), float(moves.feed[i] / moves.rpm[i]))
    assert {k: d.per_turn for k, d in worst_cuts(moves).items()} == pytest.approx(want)


def test_a_load_holds_less_well_when_its_program_is_driven_harder(tmp_path):
    """The same job with every feed of one program doubled, and with its spindle at half speed."""
    shop = tmp_path / "shop"
    shutil.copytree(demo_folder(), shop)
    file = shop / "programs" / "panels.nc"
    text = file.read_text()

    def used():
        job = open_job(shop / "jobs" / "reed-bed-chest.toml", Shop.open(shop))
        return {x.name: x.used for x in check_load(job, "panels", "panel", []).firm}

    def times(word, by):
        return re.sub(rf"(?m)(?<![(\w]){word}(\d+(?:\.\d+)?)", lambda m: f"{word}{float(m[1]) * by:g}", text)

    as_it_is = used()
    file.write_text(times("F", 2.0))
    quick = used()
    file.write_text(times("S", 0.5))
    slow = used()
    assert quick["slips"] > 1.1 * as_it_is["slips"]
    assert slow["slips"] == pytest.approx(quick["slips"], rel=1e-3)
