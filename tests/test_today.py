"""The page of the day against a small log by hand: every figure below is counted from its entries."""

import math
from dataclasses import replace

import pytest

from shopcalc.errors import InputError
from shopcalc.shop import Shop, copy_starter
from shopcalc.shoplog import ShopLog, TimeEntry, read_moment
from shopcalc.shoplog.timers import start, stop
from shopcalc.today import beside, plan_job, read_jobs, today

JOB = "pantry-door"
NOW = read_moment("2026-12-01 09:00+00:00")


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    return Shop.open(copy_starter(tmp_path_factory.mktemp("shop") / "own"))


@pytest.fixture(scope="module")
def door(shop):
    return plan_job(shop, str(shop.folder / "jobs" / f"{JOB}.toml"))


@pytest.fixture
def log(tmp_path):
    with ShopLog.of(tmp_path, clock=lambda: NOW) as opened:
        yield opened


def at(text):
    return read_moment(f"{text}+00:00").utc


def batches(door):
    return [s.batch for s in door.plan.steps]


def add(log, seconds, program, part="", load=None, began="2026-12-01 08:00", **more):
    entry = TimeEntry(JOB, program, part, load, began=at(began), utc_offset=0, seconds=seconds, **more)
    return log.add(entry, operator="Ann")


def test_loads_follow_the_plan_and_a_time_strikes_one_off(door, log):
    order = [(b.program, b.part, i + 1) for b in batches(door) for i in range(b.loads)]
    page = today([door], log)
    assert [(x.program, x.part, x.load) for x in page.loads] == order
    assert len(page.next) == door.estimate.job.load_count
    first = page.next[0]
    add(log, 90.0, first.program, first.part, 2)
    page = today([door], log)
    assert [(x.program, x.part, x.load) for x in page.done] == [(first.program, first.part, 2)]
    log.undo(operator="Ann")
    assert today([door], log).done == ()


def test_a_job_is_planned_by_what_finished_jobs_taught_but_not_by_itself(shop, log):
    path = str(shop.folder / "jobs" / f"{JOB}.toml")

    def assembly(*known):
        return plan_job(shop, path, *known).estimate.hours["assembly"].best

    standard = assembly()
    log.add(TimeEntry(JOB, phase="assembly", seconds=9 * 3600 * standard, done=True), operator="Ann")
    assert assembly(log) == standard
    slow = plan_job(shop, str(shop.folder / "jobs" / "reed-bed-chest.toml")).estimate.hours["assembly"].best
    log.add(TimeEntry("reed-bed-chest", phase="assembly", seconds=2 * 3600 * slow, done=True), operator="Ann")
    assert standard < assembly(log) < 2 * standard
    (chosen, *_), faults = read_jobs(shop, log, [JOB])
    assert not faults
    assert chosen.estimate.hours["assembly"].best == assembly(log)


def test_times_without_number_or_part_take_the_first_left(door, log):
    b = batches(door)[0]
    assert b.loads == 2
    add(log, 90.0, b.program, b.part, 1)
    add(log, 90.0, b.program)  # neither part nor number
    assert [x.load for x in today([door], log).done] == [1, 2]
    c = next(c for c in batches(door)[1:] if c.loads >= 2)
    add(log, 200.0, c.program, c.part, loads=2)
    assert [(x.program, x.load) for x in today([door], log).done[2:]] == [(c.program, 1), (c.program, 2)]


def test_a_running_load_is_neither_next_nor_done_and_survives_a_restart(door, log):
    load = today([door], log).next[0]
    start(log, load.entry, operator="Ann")
    with ShopLog.of(log.path.parent, clock=lambda: NOW) as again:  # nothing but the file is left
        page = today([door], again)
        assert [t.record.subject for t in page.timers] == [load.entry.subject]
        assert page.loads[0].state == "running"
        assert page.operator == "Ann"
        stop(again, operator="Ann", entry=page.timers[0].id)
        page = today([door], again)
    assert (page.timers, page.loads[0].state) == ((), "done")


def test_minutes_add_up(door, log):
    page = today([door], log)
    run = sum(x.machine for x in page.loads)
    assert math.isclose(run, door.estimate.machine_seconds)
    hand = sum(s.before + s.batch.seconds for s in door.plan.steps)
    assert math.isclose(sum(x.bound + x.alone for x in page.loads), run + hand)
    b = batches(door)[0]
    add(log, 100.0, b.program, b.part, 1, standing=20.0)
    assert {x.machine for x in today([door], log).loads if x.program == b.program} == {80.0}


def test_cutters_of_the_next_batches_in_order_of_use(door, log):
    page, planned = today([door], log), batches(door)
    assert [(b[0].program, len(b)) for b in page.batches] == [(b.program, b.loads) for b in planned]
    used = [c for b in planned for c in b.cutters]
    assert page.cutters(1) == planned[0].cutters
    assert page.cutters(len(planned)) == tuple(sorted(set(used), key=used.index))
    for i in range(planned[0].loads):
        add(log, 60.0, planned[0].program, planned[0].part, i + 1)
    assert today([door], log).cutters(1) == planned[1].cutters


def test_misses_of_the_last_day_with_times_largest_ratio_first(door, log):
    a, b, c = [t.program.id for t in door.estimate.programs][:3]
    planned = {t.program.id: t.planned for t in door.estimate.programs}
    part = {x.program: x.part for x in batches(door)}
    add(log, 1.5 * planned[a], a, part[a], 1, began="2026-11-30 10:00")
    add(log, planned[b], b, part[b], 1, began="2026-11-27 16:00")  # the first piece, days before
    add(log, planned[b], b, part[b], 1, began="2026-11-30 11:00")
    add(log, 9 * planned[c], c, part[c], 1, began="2026-11-27 10:00")  # not of that day
    add(log, 9 * planned[c], c, part[c], 1, began="2026-12-01 08:00")  # its last piece is today's
    page = today([door], log)
    assert str(page.day) == "2026-11-30"
    assert [(m.what, round(m.ratio, 6)) for m in page.misses] == [(b, 2.0), (a, 1.5)]


def test_a_phase_is_a_miss_only_once_it_is_finished(door, log):
    hours = door.estimate.hours["assembly"].planned
    work = TimeEntry(JOB, phase="assembly", began=at("2026-11-30 10:00"), utc_offset=0, seconds=1800 * hours)
    log.add(work, operator="Ann")
    assert today([door], log).misses == ()
    log.add(replace(work, seconds=5400 * hours, done=True), operator="Ann")
    (miss,) = today([door], log).misses
    assert (miss.what, round(miss.ratio, 6)) == ("assembly", 2.0)


def test_what_to_measure_is_the_dearest_number_without_a_time(door, log):
    rates, hours = door.estimate.job.shop.rates, door.estimate.hours
    wanted = {p: hours[p].best * rates.spread[p] for p in hours if p != "machining"}
    wanted |= {t.program.id: t.best * t.loads / 3600 * rates.spread["machining"] for t in door.estimate.programs}
    best = max(wanted, key=wanted.get)
    found = today([door], log).measure
    assert found[0].what == best
    assert math.isclose(found[0].cost, wanted[best])
    assert list(found) == sorted(found, key=lambda m: -m.cost)
    log.add(TimeEntry(JOB, phase=best, seconds=3600.0, done=True), operator="Ann")
    assert best not in [m.what for m in today([door], log).measure]
    timed = batches(door)[0].program
    add(log, 60.0, timed)
    assert timed not in [m.what for m in today([door], log).measure]


def test_hand_work_beside_the_machine_is_what_the_schedule_says(shop):
    chest = plan_job(shop, str(shop.folder / "jobs" / "reed-bed-chest.toml"))
    every = beside(chest, 0.0)
    assert math.isclose(sum(h.seconds for h in every) / 3600, chest.days.beside_machine)
    assert beside(chest) == tuple(h for h in every if h.seconds >= 60)
    assert {h.program for h in every} == {"heron"}  # the carving is what runs by itself


def test_jobs_begun_or_asked_for_and_faults_beside_them(shop, log):
    assert read_jobs(shop, log) == ((), ())
    add(log, 60.0, "any")
    log.add(TimeEntry("gone", seconds=60.0), operator="Ann")
    jobs, faults = read_jobs(shop, log, ["Window shutters"])  # by its name; the other by its file
    assert [j.key for j in jobs] == ["shutters", JOB]
    assert [f.message for f in faults] == ["job 'gone' has no file in the shop's jobs folder"]


def test_the_buttons_write_into_the_log_and_refuse_what_cannot_be(tmp_path):
    from shopcalc.controls import today_page

    own = Shop.open(copy_starter(tmp_path / "own"))
    with pytest.raises(InputError, match="nobody is named"):
        today_page(own, [], [JOB])
    control = today_page(own, ["Ann", "Ben"], [JOB], clock=lambda: NOW)
    control.undo()
    assert "no entry to undo" in control.said
    one, two = (b[0] for b in control.page.batches[:2])
    control.choose("Ben")
    control.start(one.entry)
    control.start(two.entry)
    assert control.said.startswith("✗ Not done: Ben's timer runs on")
    control.start(TimeEntry(JOB, phase="assembly"))  # by hand beside the machine
    machine, hand = control.page.timers
    control.stop(hand.id, done=True)
    control.stop(machine.id)
    control.stop(machine.id)
    assert f"entry {machine.id} is not a running timer" in control.said
    assert control.page.done[0].entry == one.entry
    control.undo()
    assert [e.id for e in control.page.timers] == [machine.id]  # stopped too early: it runs on
    again = today_page(own, ["Ann"], clock=lambda: NOW)  # another day, another start of the computer
    assert again.operator == "Ben"
    assert again.page == control.page


def test_the_demo_shop_keeps_no_log():
    from shopcalc.controls import today_page

    with pytest.raises(InputError, match="demo"):
        today_page(Shop.open(), ["Ann"])
