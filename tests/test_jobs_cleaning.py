"""Planned parts that would not clean up: against planes sought by another program, and remedies that really mend."""

import re
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import linprog

from shopcalc.jobs import estimate, open_job
from shopcalc.jobs.cleaning import (
    BOW,
    CUP,
    SKIN,
    TWIST,
    _surely,
    cleaning_up,
    cleaning_warnings,
    expected_thickness,
    rough_thickness,
)
from shopcalc.quote import price
from shopcalc.shop import Shop, demo_folder
from shopcalc.stock.blanks import Wanted, blank

JOBS = demo_folder() / "jobs"
RULES = Shop.open().rates.stock


def board(length, width, thickness, extra=3.175, **more):
    return blank(Wanted("p", "p", 1, "white-oak", "hardwood", length, width, thickness, extra_thickness=extra, **more),
                 RULES)  # fmt: skip


def narrowest_band(z, u, v):
    """Least height of a slab between parallel planes that holds a surface, as its own linear program."""
    one = np.ones_like(u)
    rows = np.stack([u, v, one], 1)
    up, down = np.hstack([-rows, -one[:, None] * 0]), np.hstack([rows, -one[:, None]])
    done = linprog([0, 0, 0, 1], A_ub=np.vstack([up, down]), b_ub=np.concatenate([-z, z]), bounds=[(None, None)] * 4)
    return done.fun


@pytest.mark.parametrize(("length", "width"), [(600, 90), (1500, 110), (1900, 400)])
def test_what_is_left_is_the_board_less_the_slab_that_holds_its_bend_and_the_skins(length, width):
    """The planes of slab and surface touch from below and above: upright thickness less height of the slab."""
    b = board(length, width, 22.225, glued=width > 280)
    u, v = (a.ravel() for a in np.meshgrid(np.linspace(0, 1, 9), np.linspace(0, 1, 9)))
    for k in range(3):
        cup, bow, twist = CUP[k] * b.strip_width, BOW[k] * b.length, TWIST[k] * b.length
        z = cup * 4 * v * (1 - v) + bow * 4 * u * (1 - u) + twist * u * v
        left = 25.4 - narrowest_band(z, u, v) - 2 * SKIN
        assert expected_thickness(b, 25.4)[2 - k] == pytest.approx(left, abs=1e-4)


def test_a_short_narrow_board_by_hand():
    """Cup and bow of parabolas that add, twist at most half of its rise: 25.4 - 0.8 - 0.2 - 0.3 - 0.18."""
    b = board(300, 50, 22.225, extra=3.175)
    b = replace(b, length=300.0, strip_width=50.0)
    assert _surely(b, 25.4) == pytest.approx(23.92)
    assert _surely(b, 25.4) <= expected_thickness(b, 25.4).likely <= 25.4 - 0.8 - 0.3


def test_no_board_that_surely_cleans_up_would_be_warned_of():
    rng = np.random.default_rng(7)
    for length, width in rng.uniform((150, 40), (2400, 270), (25, 2)):
        b = board(float(length), float(width), 22.225)
        assert _surely(b, 25.4) <= expected_thickness(b, 25.4).likely + 1e-6


def test_resawn_layers_count_what_the_saw_leaves():
    rules = replace(RULES, resaw=True, resaw_kerf=6.0, resaw_width=200.0)
    b = blank(Wanted("p", "p", 1, "white-oak", "hardwood", 300, 60, 6.0, extra_thickness=2.0), rules)
    assert b.per_board > 1
    assert rough_thickness(b, rules) == pytest.approx((b.sold - (b.per_board - 1) * 6.0) / b.per_board)


def test_long_thin_stiles_are_told_with_a_remedy_that_mends():
    job = open_job(JOBS / "linen-press.toml")
    told = cleaning_warnings(job)
    assert [re.match(r"part '(.*?)'", t)[1] for t in told[:-1]] == ["side-stile"]
    assert "buy 1 1/4 in stock" in told[0]
    assert "common practice" in told[-1]
    stile = next(c for c in cleaning_up(job) if c.short)
    assert stile.expected.likely < stile.wanted <= expected_thickness(stile.blank, 1.25 * 25.4).likely
    parts = tuple(p.model_copy(update={"extra_thickness": 8.0}) if p.id == "side-stile" else p for p in job.parts)
    assert cleaning_warnings(replace(job, parts=parts)) == ()


def test_narrower_strips_are_a_remedy_only_where_they_mend():
    job = open_job(JOBS / "linen-press.toml")
    top = next(p for p in job.parts if p.id == "top")
    thin = top.model_copy(update={"thickness": 22.9, "extra_thickness": 2.4, "strips": 2, "length": 700.0})
    told = cleaning_warnings(replace(job, parts=(thin,)))[0]
    strips = int(re.search(r"glue it of (\d) strips", told)[1])
    for n in (strips - 1, strips):
        more = thin.model_copy(update={"strips": n})
        assert bool(cleaning_warnings(replace(job, parts=(more,)))) == (n < strips)


def test_the_quote_says_so_and_the_chest_needs_none():
    assert any("hardly clean up" in w for w in price(estimate(open_job(JOBS / "pantry-door.toml")), draws=100).warnings)
    assert cleaning_warnings(open_job(JOBS / "reed-bed-chest.toml")) == ()
