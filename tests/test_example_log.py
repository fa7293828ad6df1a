"""The example log is what its maker writes, is taken whole, and comes out of looking back as it was invented."""

import runpy

import pytest

from shopcalc.review import review
from shopcalc.shop import Shop, copy_starter, demo_folder
from shopcalc.shoplog import ShopLog, TimeEntry, read_moment
from shopcalc.shoplog.exchange import plan_import, take

#: Jobs without a relief, whose planning takes seconds.
QUICK = ("pantry-door", "garden-gates", "shutters")


@pytest.fixture(scope="module")
def back(tmp_path_factory):
    shop = Shop.open(copy_starter(tmp_path_factory.mktemp("shop") / "own"))
    with ShopLog.of(shop.folder, clock=lambda: read_moment("2026-11-06 17:00+00:00")) as log:
        plan = plan_import(log, shop.folder / "example_log.csv", operator="Ann")
        assert not plan.faults
        assert take(log, plan) == len(plan.rows) > 300
        assert {e.note for e in log.entries()} == {"invented"}
        assert all(isinstance(e.record, TimeEntry) for e in log.entries())
        yield review(shop, log, QUICK)


def test_it_is_what_its_maker_writes():
    maker = runpy.run_path(str(demo_folder() / "make_example_log.py"))
    written = (demo_folder() / "example_log.csv").read_text(encoding="utf-8").splitlines()
    assert {line.split(",")[3] for line in written[1:]} == {key for key, _, _ in maker["JOBS"]}
    mine = [line for line in written if line.split(",")[3] in ("job", *QUICK)]
    assert mine == maker["text"](QUICK).splitlines()


def test_what_was_invented_is_found(back):
    verdicts = {t.name: t for t in back.trends}
    assert verdicts["setup"].verdict == "too few days"
    assert verdicts["setup"].ratios == tuple(sorted(verdicts["setup"].ratios, reverse=True))
    assert verdicts["machining"].verdict == "no trend seen"
    for c in back.compared:
        if c.what == "program" and c.programmed is None and c.logged is not None:
            assert c.error("planned") == pytest.approx(1 / 1.18 - 1, abs=0.03), c.name  # the whole second of the watch
    gates = {c.name: c for c in back.compared if c.job == "garden-gates" and c.what == "program"}
    assert all((c.count, c.finished) == (c.of, True) for c in gates.values())
    assert not back.faults


def test_nobody_keeps_a_log_in_the_demo_shop():
    assert not list(demo_folder().glob("log.sqlite*"))
