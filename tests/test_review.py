"""Looking back on a small log by hand: every figure below is counted from its entries, without the code's own sums."""

import math
from decimal import Decimal
from itertools import combinations
from statistics import median

import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_job import JOB

from shopcalc.quote import machine_hour_rate, price
from shopcalc.review import LEAST_DAYS, by_kind, compared, earnings, edge_uses, read_plans, review, trend, trends
from shopcalc.review.looking_back import tables
from shopcalc.shop import Shop, copy_starter
from shopcalc.shoplog import CutterEvent, QuoteOutcome, ShopLog, TimeEntry, read_moment

NOW = read_moment("2026-12-01 09:00+00:00")
DOOR, GATES = "pantry-door", "garden-gates"


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    folder = copy_starter(tmp_path_factory.mktemp("shop") / "own")
    (folder / "jobs" / "rails.toml").write_text(JOB, encoding="utf-8")
    return Shop.open(folder)


@pytest.fixture(scope="module")
def plans(shop):
    with ShopLog.of(shop.folder, clock=lambda: NOW) as log:
        log.add(TimeEntry(DOOR, phase="design", seconds=1.0), operator="Ann")
        log.undo(operator="Ann")
        return {p.key: p for p in read_plans(shop, log, [DOOR, GATES])[0]}


@pytest.fixture
def log(tmp_path):
    with ShopLog.of(tmp_path, clock=lambda: NOW) as opened:
        yield opened


def add(log, job, seconds, program="", part="", load=None, day="2026-11-30", **more):
    began = read_moment(f"{day} 10:00+00:00").utc
    entry = TimeEntry(job, program, part, load, began=began, utc_offset=0, seconds=seconds, **more)
    return log.add(entry, operator="Ann")


def first_program(plan):
    t = plan.estimate.programs[0]
    return t, next(x.part for x in plan.estimate.job.loads if x.program == t.program.id)


def of(found, what, name):
    return next(c for c in found if (c.what, c.name) == (what, name))


def test_three_times_side_by_side(log, plans):
    door = plans[DOOR]
    t, part = first_program(door)
    for load, seconds in ((1, 60.0), (1, 30.0), (2, 100.0)):  # the first load in two pieces
        add(log, DOOR, seconds, t.program.id, part, load)
    add(log, DOOR, 3600.0, phase="assembly")
    found = compared([door], log)
    program = of(found, "program", t.program.id)
    assert (program.planned, program.programmed) == (t.planned, t.programmed)
    assert (program.logged, program.count, program.of) == (95.0, 2, t.loads)  # median of 90 and 100
    assert math.isclose(program.error("planned"), t.planned / 95.0 - 1)
    machining = of(found, "phase", "machining")
    assert (machining.planned, machining.logged, machining.count) == (2 * t.planned, 190.0, 2)
    assembly = of(found, "phase", "assembly")
    assert (assembly.logged, assembly.finished, assembly.error("planned")) == (3600.0, False, None)
    add(log, "Pantry door", 7200.0, phase="assembly", done=True)  # by its name
    assembly = of(compared([door], log), "phase", "assembly")
    planned = 3600 * door.estimate.hours["assembly"].planned
    assert (assembly.logged, assembly.planned) == (10800.0, planned)
    assert math.isclose(assembly.error("planned"), planned / 10800 - 1)


points = st.lists(
    st.tuples(st.integers(0, 400), st.floats(0.2, 5.0)), min_size=LEAST_DAYS, max_size=30, unique_by=lambda p: p[0]
)


@given(points=points)
def test_the_line_is_the_median_of_all_slopes_whatever_the_order(points):
    slopes = [(math.log(b[1]) - math.log(a[1])) / (b[0] - a[0]) for a, b in combinations(points, 2)]
    days = [p[0] for p in points]
    found = trend("phase", "setup", points)
    assert math.isclose(math.log1p(found.change), median(slopes) * (max(days) - min(days)), abs_tol=1e-9)
    assert found.low <= found.change <= found.high
    assert found == trend("phase", "setup", points[::-1])
    again = trend("phase", "setup", [(d + 1000, 3 * r) for d, r in points])
    assert math.isclose(again.change, found.change, abs_tol=1e-9)


def test_one_odd_day_does_not_turn_the_line():
    days = [(7.0 * k, 0.97**k) for k in range(9)]
    calm = trend("phase", "setup", days)
    odd = trend("phase", "setup", [*days[:4], (28.0, 9.0), *days[5:]])
    assert calm.verdict == odd.verdict == "quicker"
    assert abs(odd.change - calm.change) < 0.06
    slower = trend("phase", "setup", [(d, 1 / r) for d, r in days])
    assert slower.verdict == "slower"


def test_no_trend_is_seldom_taken_for_one():
    """Days in random order: at most about one in twenty may be called quicker or slower."""
    import numpy as np

    rng = np.random.default_rng(8)
    for count in (LEAST_DAYS, 8, 15, 40):
        called = sum(
            trend("phase", "x", list(zip(range(count), np.exp(rng.normal(0, 0.2, count)), strict=True))).verdict
            != "no trend seen"
            for _ in range(400)
        )
        assert called / 400 < 0.08


def test_below_five_days_nothing_is_said():
    few = trend("phase", "setup", [(float(k), 0.5**k) for k in range(LEAST_DAYS - 1)])
    assert (few.verdict, few.change, few.level) == ("too few days", None, None)
    same = trend("phase", "setup", [(3.0, 1.0 + k) for k in range(9)])
    assert same.verdict == "too few days"


def test_points_of_learning(log, plans):
    gates = plans[GATES]
    t, part = first_program(gates)
    said = t.planned if t.programmed is None else t.programmed
    for k in range(6):
        add(log, GATES, 4 * said * 0.9**k, t.program.id, part, loads=4, day=f"2026-11-0{k + 1}")
    add(log, GATES, 0.5 * said, t.program.id, part, 40, day="2026-11-01")
    add(log, GATES, 0.5 * said, t.program.id, part, 40, day="2026-11-06")  # its last piece: counts on the 6th
    add(log, GATES, 5000.0, phase="setup", day="2026-11-02")
    add(log, GATES, 5000.0, phase="setup", day="2026-11-09", done=True)
    found = {x.name: x for x in trends([gates], log)}
    own = found[f"{t.program.id} ({GATES})"]
    wanted = [*(0.9**k for k in range(5)), (4 * 0.9**5 + 1) / 5]
    assert all(math.isclose(a, b) for a, b in zip(own.ratios, wanted, strict=True))
    assert own.verdict == "quicker"
    assert all(math.isclose(a, b) for a, b in zip(found["machining"].ratios, own.ratios, strict=True))
    setup = found["setup"]
    assert math.isclose(setup.ratios[0], 10_000 / (3600 * gates.estimate.hours["setup"].planned))
    assert setup.days == (read_moment("2026-11-09 00:00+00:00").utc // 86_400_000_000,)


def test_other_programs_are_no_change_of_machining(log, plans):
    gates = plans[GATES]
    programs = gates.estimate.programs
    for k in range(8):  # two that take their time, then two others that take more
        for t in programs[:2] if k < 4 else programs[2:4]:
            said = t.planned if t.programmed is None else t.programmed
            add(log, GATES, said * (1.1 if k < 4 else 1.4), t.program.id, loads=1, day=f"2026-11-0{k + 1}")
    machining = next(x for x in trends([gates], log) if x.name == "machining")
    assert machining.verdict == "no trend seen"
    assert math.isclose(machining.change, 0.0, abs_tol=1e-9)
    assert all(math.isclose(r, 1.25) for r in machining.ratios)  # the median of 1.1 and 1.4


def test_what_an_hour_earned_by_hand(log, plans, shop):
    door = plans[DOOR]
    hours = {phase: 2.0 for phase in door.estimate.hours if phase != "machining"}
    for phase, h in hours.items():
        add(log, DOOR, 3600 * h, phase=phase, done=True)
    machine = attended = 0.0
    for t in door.estimate.programs:
        add(log, DOOR, 100.0 * t.loads + 30, t.program.id, loads=t.loads, standing=30.0)
        machine += 100.0 * t.loads / 3600
        attended += 100.0 * t.loads / 3600 * t.attended
    (nothing,) = earnings([door], log)
    assert (nothing.per_hour, nothing.unpaid) == (None, "no quote of it is logged")
    log.add(QuoteOutcome(DOOR, "open", paid=Decimal(9)), operator="Ann")
    assert earnings([door], log)[0].unpaid == "its quote is open"
    log.add(QuoteOutcome(DOOR, "won"), operator="Ann")
    assert "not said what was paid" in earnings([door], log)[0].unpaid
    log.add(QuoteOutcome(DOOR, "won", paid=Decimal("4000.00"), currency="USD"), operator="Ann")
    (e,) = earnings([door], log)
    assert e.missing == ()
    assert math.isclose(e.hours, sum(hours.values()) + attended)
    assert math.isclose(e.machine_hours, machine)
    bought = price(door.estimate).bought_in
    left = 4000 - float(bought) - machine * float(machine_hour_rate(shop.rates.machine).total)
    assert math.isclose(float(e.per_hour), left / e.hours, abs_tol=0.02)
    log.add(QuoteOutcome(DOOR, "won", paid=Decimal(4000), currency="EUR"), operator="Ann")
    assert earnings([door], log)[0].unpaid == "paid in EUR, and the shop counts in USD"


def test_what_is_not_logged_counts_as_planned_and_is_named(log, plans):
    door = plans[DOOR]
    add(log, DOOR, 3600.0, phase="assembly", done=True)
    add(log, DOOR, 600.0, phase="setup")
    log.add(QuoteOutcome(DOOR, "won", paid=Decimal(4000), currency="USD"), operator="Ann")
    (e,) = earnings([door], log)
    planned = {p: h.planned for p, h in door.estimate.hours.items()}
    assert set(e.missing) == {p for p, h in planned.items() if h > 0} - {"assembly"}
    assert math.isclose(e.hours, 1 + 600 / 3600)
    assert math.isclose(e.all_hours, sum(planned.values()) - planned["assembly"] + 1)
    assert math.isclose(e.open_machine_hours, sum(t.planned * t.loads for t in door.estimate.programs) / 3600)


def test_which_work_pays_adds_money_and_hours_not_rates(log, plans):
    for key, paid in ((DOOR, 3000), (GATES, 20_000)):
        add(log, key, 36_000.0, phase="assembly")
        log.add(QuoteOutcome(key, "won", paid=Decimal(paid), currency="USD"), operator="Ann")
    each = {e.job: e for e in earnings(plans.values(), log)}
    kinds = {k.kind: k for k in by_kind(tuple(each.values()))}
    assert kinds["batch"].per_hour == each[GATES].per_hour
    assert kinds["single piece"].jobs == (DOOR,)
    both = kinds["frames"]
    assert math.isclose(
        float(both.per_hour), sum(float(e.left) for e in each.values()) / sum(e.all_hours for e in each.values()),
        abs_tol=0.01,
    )  # fmt: skip


def test_cutters_due_by_the_shops_figure_or_by_its_own_earlier_edges(log, shop):
    from dataclasses import replace

    for event in (
        CutterEvent("SQ10", "cut", seconds=6000.0), CutterEvent("SQ10", "reground"),
        CutterEvent("SQ10", "cut", seconds=12_000.0, distance=5e5), CutterEvent("SQ10", "reground"),
        CutterEvent("SQ10", "cut", seconds=7650.0), CutterEvent("SQ12", "cut", seconds=60.0),
        CutterEvent("TB3", "cut", seconds=600.0), CutterEvent("SQ6", "cut", seconds=9.0),
        CutterEvent("SQ6", "retired", reason="chipped"),
    ):  # fmt: skip
        log.add(event, operator="Ann")
    uses = {e.cutter: e for e in edge_uses(log, shop.cutters)}
    assert set(uses) == {"SQ10", "SQ12", "TB3"}  # a retired one is due for nothing
    own = uses["SQ10"]
    assert (own.edge, own.minutes, own.life_minutes, own.life_distance) == (2, 127.5, 150.0, 5e5)
    assert (own.share, own.state, own.known_from) == (0.85, "soon", "median of its 2 earlier edges")
    assert (uses["SQ12"].share, uses["SQ12"].state) == (None, "not known")  # never taken from another cutter
    told = {**shop.cutters, "TB3": replace(shop.cutters["TB3"], edge_life=500.0)}
    first = edge_uses(log, told)[0]
    assert (first.cutter, first.state, first.known_from) == ("TB3", "due", "the shop's table")


def test_all_of_it_in_tables_and_as_data(log, plans, shop):
    import json

    t, part = first_program(plans[DOOR])
    add(log, DOOR, 200.0, t.program.id, part, 1)
    add(log, "no-such-job", 60.0, phase="setup")
    found = review(shop, log)
    assert [f.message for f in found.faults] == ["job 'no-such-job' has no file in the shop's jobs folder"]
    assert str(found.day) == "2026-11-30"
    assert [(m.what, m.logged) for m in found.misses] == [(t.program.id, 200.0)]
    data = json.loads(json.dumps(found.as_json(), allow_nan=False))
    assert data["misses"][0]["ratio"] == pytest.approx(200 / (t.programmed or t.planned))
    shown = tables(found)
    assert all(len(row) == len(table.head) for table in shown for row in table.rows)


def test_the_last_day_is_the_one_on_the_wall_where_it_was_logged(log, plans):
    """By hand: three times around midnight in zones far apart, and one that says no beginning."""
    from shopcalc.today import misses_of_the_last_day

    door = plans[DOOR]
    t, part = first_program(door)
    planned = {name: (door.key, door.estimate) for name in door.names}
    for began, load in (("2026-11-29 23:30-10:00", 1), ("2026-11-30 00:30+14:00", 2), ("2026-11-30 23:30+00:00", 3)):
        moment = read_moment(began)
        entry = TimeEntry(
            DOOR, t.program.id, part, load, began=moment.utc, utc_offset=moment.offset, seconds=50.0 * load
        )
        log.add(entry, operator="Ann")
    day, (miss,) = misses_of_the_last_day(planned, log, NOW)
    assert (str(day), miss.count, miss.logged) == ("2026-11-30", 2, 125.0)  # the first one is of the day before
    log.add(TimeEntry(DOOR, t.program.id, part, 4, seconds=70.0), operator="Ann")  # recorded today: does not count
    assert misses_of_the_last_day(planned, log, NOW)[1] == (miss,)
    day, (later,) = misses_of_the_last_day(planned, log, read_moment("2026-12-02 09:00+00:00"))
    assert (str(day), later.count, later.logged) == ("2026-12-01", 1, 70.0)
    assert misses_of_the_last_day(planned, log, read_moment("2026-11-29 09:00+00:00")) == (None, ())
    assert misses_of_the_last_day({}, log, NOW) == (None, ())
