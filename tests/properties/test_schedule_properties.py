"""Schedules of random jobs: order kept, nobody, no machine twice at once, never below the bound, small ones exact."""

import datetime
import itertools
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopcalc.crew import ALONE, People, Workday
from shopcalc.jobs.placing import schedule
from shopcalc.jobs.workdays import Days, Task

PHASE = st.sampled_from(["stock", "machining", "assembly", "finishing"])
HOURS = st.sampled_from([0.0, 0.5, 1.0, 2.0, 3.0, 7.5, 11.0])
CREWS = st.sampled_from(
    [
        ALONE,
        (People("owner", 2),),
        (People("owner"), People("joiner", 2, frozenset({"stock", "assembly"}))),
        (People("runner", 1, frozenset({"setup", "machining", "stock"})),
         People("finisher", 1, frozenset({"assembly", "finishing", "stock"}))),
    ]
)  # fmt: skip
WEEK = Workday(closed=frozenset({datetime.date(2026, 12, 24), datetime.date(2026, 12, 25)}))


@st.composite
def jobs(draw, most=14, hours=HOURS, phase=PHASE, waits=(0.0, 0.0, 12.0, 30.0)):
    out = []
    for i in range(draw(st.integers(1, most))):
        kind, long = draw(phase), draw(hours)
        attended = draw(st.one_of(st.none(), st.just(0.0), st.just(long / 4))) if kind == "machining" else None
        before = draw(st.sets(st.integers(0, i - 1), max_size=3)) if i else set()
        out.append(
            Task(f"t{i}", kind, long, attended, kind == "machining", tuple(f"t{k}" for k in sorted(before)),
                 draw(st.sampled_from(waits)))
        )  # fmt: skip
    return out


def clock(days, t, *, end=False):
    """Hours since midnight of day 0 by the calendar, on its own ground: day by day."""
    day = 0
    while t > days.hours or (not end and t >= days.hours):
        t -= days.hours
        day += 1
    return 24 * days.date(day).toordinal() + t


@settings(max_examples=120, deadline=None)
@given(jobs(), CREWS, st.one_of(st.none(), st.dates(datetime.date(2026, 12, 1), datetime.date(2026, 12, 28))))
def test_a_schedule_keeps_order_people_machine_and_drying(tasks, crew, start):
    found = schedule(tasks, crew, WEEK, start=start, tries=4)
    at = {s.task.name: s for s in found.slots}
    assert set(at) == {t.name for t in tasks}
    may = {name: kind.may for kind in crew for name in found.people if name.split(" ")[0] == kind.name}
    for s in found.slots:
        assert s.end - s.start == pytest.approx(s.task.hours)
        assert (s.person != "") == (s.task.bound > 0)
        if s.person:
            assert s.task.needs <= may[s.person]
        for before in (at[name] for name in s.task.after):
            assert s.start >= before.end - 1e-6
            if before.task.waits and s.task.hours:
                ended, begun = clock(found.days, before.end, end=True), clock(found.days, s.start + 1e-7)
                assert begun >= ended + before.task.waits - 1e-5
    machine = [(s.start, s.end) for s in found.slots if s.task.machine]
    by_person = [[(s.start, s.free_from) for s in found.slots if s.person == name] for name in found.people]
    for spans in (machine, *by_person):
        for (a, b), (c, d) in itertools.combinations([x for x in spans if x[1] > x[0]], 2):
            assert b <= c + 1e-6 or d <= a + 1e-6
    assert found.finish >= found.shortest - 1e-6
    assert all(idle >= -1e-6 for idle in found.idle.values())
    assert found.beside_machine <= sum(s.task.bound for s in found.slots) + 1e-6


@settings(max_examples=60, deadline=None)
@given(jobs(), CREWS)
def test_days_hold_what_the_schedule_holds(tasks, crew):
    found = schedule(tasks, crew, WEEK, start=datetime.date(2026, 12, 21), tries=0)
    rows = found.by_day()
    hours = sum(s.task.bound for s in found.slots) + found.machine_hours
    assert (rows["hours"].sum() if len(rows) else 0.0) == pytest.approx(hours)
    if len(rows):
        assert (rows.groupby(["day", "who"])["hours"].sum() <= 8 + 1e-6).all()
        assert all(WEEK.works(d) for d in rows["date"])
        assert rows["day"].max() <= found.working_days


# --- brute force: time in steps, every choice ------------------------------------------------------------------------


def shortest_by_steps(tasks, people):
    """Earliest end of whole-hour tasks without drying: all states hour by hour, breadth first; nothing of ours used."""
    index = {t.name: i for i, t in enumerate(tasks)}
    long, bound = [round(t.hours) for t in tasks], [round(t.bound) for t in tasks]
    states = {tuple(-1 for _ in tasks)}  # hours done of each; -1 not begun
    hour = 0
    while True:
        if any(all(d >= h for d, h in zip(s, long, strict=True)) for s in states):
            return hour
        after = set()
        for s in states:
            open_now = [
                i for i, d in enumerate(s) if d < 0 and all(s[index[a]] >= long[index[a]] for a in tasks[i].after)
            ]
            for r in range(len(open_now) + 1):
                for begun in itertools.combinations(open_now, r):
                    now = [0 if i in begun else d for i, d in enumerate(s)]
                    runs = [i for i, d in enumerate(now) if 0 <= d < long[i]]
                    if sum(now[i] < bound[i] for i in runs) > people or sum(tasks[i].machine for i in runs) > 1:
                        continue
                    after.add(tuple(d + 1 if 0 <= d < long[i] else d for i, d in enumerate(now)))
        states, hour = after, hour + 1


@st.composite
def small(draw):
    """Up to five tasks of one to four whole hours."""
    out = []
    for i in range(draw(st.integers(1, 5))):
        kind, long = draw(st.sampled_from(["machining", "assembly"])), draw(st.integers(1, 4))
        attended = draw(st.sampled_from([None, 0.0, 1.0])) if kind == "machining" else None
        before = draw(st.sets(st.integers(0, i - 1), max_size=2)) if i else set()
        out.append(Task(f"t{i}", kind, long, attended, kind == "machining", tuple(f"t{k}" for k in sorted(before))))
    return out


@settings(max_examples=80, deadline=None)
@given(small(), st.integers(1, 2))
def test_small_jobs_end_as_early_as_brute_force(tasks, people):
    found = schedule(tasks, (People("owner", people),))
    assert found.exact
    assert found.finish == pytest.approx(shortest_by_steps(tasks, people))


@settings(max_examples=40, deadline=None)
@given(jobs(most=9), st.integers(1, 3))
def test_more_tries_end_no_later_and_a_bound_reached_is_exact(tasks, people):
    crew = (People("owner", people),)
    few, many = (schedule(tasks, crew, WEEK, tries=n) for n in (0, 12))
    assert many.finish <= few.finish + 1e-6
    assert many.shortest == few.shortest
    if many.finish <= many.shortest + 1e-9:
        assert many.exact


# --- by hand ---------------------------------------------------------------------------------------------------------


def test_one_person_joins_a_frame_while_a_carving_runs():
    """Set up 1 h, 6 h by itself; 5 h of other work fit beside it; alone the sum would be 12 h."""
    tasks = [Task("carve", "machining", 7, 1, True), Task("frame", "assembly", 5)]
    found = schedule(tasks)
    assert (found.finish, found.shortest, found.exact) == (7, 7, True)
    assert found.beside_machine == 5
    assert found.idle == {"owner": 1}
    assert found.machine_idle == 0


def test_a_coat_dries_overnight_and_over_a_weekend():
    """Friday's 8 h; the coat ends at 16:00 and dries 12 h: the next begins on Monday morning."""
    tasks = [Task("coat 1", "finishing", 8, waits=12), Task("coat 2", "finishing", 2, after=("coat 1",))]
    friday = datetime.date(2026, 12, 4)
    found = schedule(tasks, start=friday)
    assert found.working_days == 2
    assert found.last_date == datetime.date(2026, 12, 7)
    assert found.table()["from_clock"].to_list() == ["08:00", "08:00"]
    dried = schedule([Task("coat 1", "finishing", 8, waits=40), tasks[1]])
    assert dried.slots[1].start == 16  # a night and a day: ready at 8:00 of the day after next
    assert schedule([Task("coat 1", "finishing", 8, waits=40), tasks[1]], start=friday).slots[1].start == 8


def test_drying_by_the_day_against_the_closed_form():
    """Every day worked, 8 h from 8:00: what ends and waits is ready by the clock, or the next morning."""
    days = Days(Workday())
    for ended, waits, ready in [
        (3, 2, 5),
        (3, 5, 8),
        (3, 6, 8),
        (3, 21, 8),
        (3, 22, 9),
        (8, 16, 8),
        (8, 17, 9),
        (8, 0, 8),
        (11, 24, 19),
    ]:
        assert days.dried(ended, waits) == pytest.approx(ready), (ended, waits)


@pytest.mark.parametrize("start", [datetime.date(2026, 12, 24), datetime.date(2026, 12, 26)])
def test_closed_days_are_skipped(start):
    found = schedule([Task("stock", "stock", 9)], workday=WEEK, start=start)
    assert found.table()["from_date"].to_list() == [datetime.date(2026, 12, 28)]
    assert found.last_date == datetime.date(2026, 12, 29)


@pytest.mark.parametrize(
    ("tasks", "says"),
    [
        ([Task("a", "stock", 1), Task("a", "stock", 2)], "same name"),
        ([Task("a", "stock", 1, after=("b",))], "no task is called b"),
        ([Task("a", "stock", 1, after=("b",)), Task("b", "stock", 1, after=("a",))], "wait for each other: a, b"),
        ([Task("a", "delivery", 1)], "nobody may do a"),
    ],
)
def test_what_cannot_be_placed_is_refused(tasks, says):
    with pytest.raises(ValueError, match=says):
        schedule(tasks, (People("joiner", 1, frozenset({"stock", "assembly"})),))


def test_nothing_to_do_takes_no_day():
    found = schedule([])
    assert (found.finish, found.working_days, found.shortest) == (0, 0, 0)
    assert math.isfinite(found.machine_idle)
