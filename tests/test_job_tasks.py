"""A job's hours as tasks: nothing lost, stock before machining before assembly before coats, hands free at carving."""

import datetime
from dataclasses import replace

import pytest
from test_hours_drivers import SHOP, door

from shopcalc.crew import People, Workday
from shopcalc.jobs import estimate, open_job
from shopcalc.jobs.records import PhaseEntry
from shopcalc.jobs.tasks import job_tasks, schedule_job
from shopcalc.loading import plan_loads, work
from shopcalc.shop import PHASES

MONDAY = datetime.date(2026, 12, 7)


@pytest.fixture(scope="module")
def chest():
    return estimate(open_job(SHOP.folder / "jobs" / "reed-bed-chest.toml", SHOP), SHOP)


@pytest.fixture(scope="module")
def gates():
    return estimate(open_job(SHOP.folder / "jobs" / "garden-gates.toml", SHOP), SHOP)


def crew(*people, **rates):
    return replace(SHOP, rates=SHOP.rates.with_(crew=people or SHOP.rates.crew, **rates))


def behind(tasks, name):
    """Every task that comes before it, however far."""
    known = {t.name: t for t in tasks}
    found, left = set(), list(known[name].after)
    while left:
        at = left.pop()
        if at not in found:
            found.add(at)
            left += known[at].after
    return found


@pytest.mark.parametrize("which", ["chest", "gates", "door"])
def test_tasks_hold_the_hours_of_their_phases(which, request):
    e = estimate(door(), SHOP) if which == "door" else request.getfixturevalue(which)
    tasks = job_tasks(e)
    for phase in PHASES:
        mine = [t for t in tasks if t.phase == phase]
        if phase not in ("setup", "machining"):
            assert sum(t.hours for t in mine) == pytest.approx(e.hours[phase].best)
    runs = [t for t in tasks if t.machine]
    at_machine = e.hours["setup"].best + e.machine_seconds / 3600
    assert sum(t.hours for t in runs) == pytest.approx(at_machine)
    assert e.hours["setup"].best + e.hours["machining"].best - 1e-9 <= sum(t.bound for t in runs) <= at_machine + 1e-9
    assert len({t.name for t in tasks}) == len(tasks)


def test_what_comes_before_what(chest):
    tasks = job_tasks(chest)
    last = behind(tasks, "delivery")
    assert {t.name for t in tasks} == last | {"delivery"}
    coats = {"coat 1", "coat 2", "coat 3"}
    assert behind(tasks, "coat 3") & coats == {"coat 1", "coat 2"}
    assert {t.name for t in tasks if t.machine} <= behind(tasks, "assembly 1")
    assert {"stock heron-panel", "program heron"} <= behind(tasks, "run heron")
    assert "run stile-grooves" in behind(tasks, "run stile-mortises")  # the same part, in the job's order
    drying = SHOP.rates.drying / 3600
    dries = {t.name: t.waits for t in tasks}
    assert dries["coat 1"] == dries["assembly 4"] == dries["stock lid"] == drying
    assert dries["sanding"] == dries["stock stile"] == dries["run heron"] == 0


def test_a_program_that_must_wait_for_another_waits():
    job = door()
    programs = [p.model_copy(update={"after": ("panels",)}) if p.id == "lock" else p for p in job.programs]
    late = replace(job, programs=(programs[0], *programs[2:], programs[1]))
    assert "run panels" in behind(job_tasks(estimate(late, SHOP)), "run lock")
    assert "run panels" not in behind(job_tasks(estimate(job, SHOP)), "run lock")


def test_work_is_done_beside_a_carving(chest):
    """The heron runs by itself for an hour and more; one person does other work meanwhile."""
    tasks = {t.name: t for t in job_tasks(chest)}
    heron = next(t for t in chest.programs if t.carving)
    free = tasks["run heron"].hours - tasks["run heron"].bound
    assert free == pytest.approx(heron.best / 3600 * (1 - heron.attended))
    found = schedule_job(chest)
    assert 0.5 * free < found.beside_machine <= free + 1e-9


def test_one_person_ends_the_chest_at_the_bound(chest):
    """Twelve days for 73 hours: the coats dry overnight, and nothing is left to do meanwhile."""
    found = schedule_job(chest, start=MONDAY)
    assert found.exact
    assert found.finish == pytest.approx(found.shortest)
    assert found.finish > chest.own_hours
    table = found.table().set_index("task")
    assert table.loc["coat 2", "from_date"] > table.loc["coat 1", "to_date"]
    assert found.last_date == table["to_date"].max()
    assert (table["who"] == "owner").all()


def test_more_people_end_earlier_until_the_order_binds(gates):
    ends = [schedule_job(gates, crew(People("maker", n))).finish for n in (1, 2, 4)]
    assert ends[0] > 1.4 * ends[1]
    assert ends[1] >= ends[2]
    many = schedule_job(gates, crew(People("maker", 4)))
    assert many.finish >= many.shortest
    assert many.finish < 1.25 * many.shortest


def test_only_who_may_do_it_does_it(gates):
    owner = People("owner")
    helper = People("apprentice", 1, frozenset({"stock", "assembly", "finishing"}))
    found = schedule_job(gates, crew(owner, helper))
    did = {who: set(rows["phase"]) for who, rows in found.table().groupby("who")}
    assert did["apprentice"] <= {"stock", "assembly", "finishing"}
    assert did["apprentice"]
    assert "machining" in did["owner"]


def test_only_who_may_carve_runs_the_carving(chest):
    owner = People("owner")
    runner = People("runner", 1, frozenset(PHASES))
    found = schedule_job(chest, crew(owner, runner))
    did = {who: {s.task.name for s in found.slots if s.person == who} for who in found.people}
    assert "run heron" in did["owner"]
    assert any(name.startswith("run ") for name in did["runner"])


def test_longer_days_and_quicker_drying_end_no_later(chest):
    usual = schedule_job(chest, start=MONDAY).last_date
    long = schedule_job(chest, crew(workday=Workday(hours=10 * 3600)), start=MONDAY).last_date
    quick = schedule_job(chest, crew(drying=3600.0), start=MONDAY).last_date
    assert long < usual
    assert quick < usual
    closed = frozenset(MONDAY + datetime.timedelta(d) for d in range(3))
    assert schedule_job(chest, crew(workday=Workday(closed=closed)), start=MONDAY).last_date > usual


def test_phases_without_hours_leave_no_gap():
    """Whatever a job says takes no time, the rest still comes in order."""
    none = {p: PhaseEntry(hours="0 h") for p in ("design", "stock", "assembly", "finishing", "hardware")}
    tasks = job_tasks(estimate(replace(door(), phases=none), SHOP))
    assert {t.phase for t in tasks} == {"programming", "machining", "delivery"}
    assert {t.name for t in tasks} == behind(tasks, "delivery") | {"delivery"}
    bare = {p: PhaseEntry(hours="0 h") for p in PHASES if p != "machining"}
    machine = job_tasks(estimate(replace(door(), phases=bare), SHOP))
    assert {t.phase for t in machine} == {"machining"}


def test_a_batch_is_gathered_into_a_dozen_tasks_a_phase():
    tasks = job_tasks(estimate(door(60), SHOP))
    assert max(sum(t.phase == p for t in tasks) for p in ("assembly", "hardware")) == 12


@pytest.mark.parametrize("which", ["chest", "linen-press"])
def test_the_days_run_the_loads_in_the_order_of_the_papers(which, chest):
    """Load after load as the order of loads says it, nothing lost by it, and a bound that is kept."""
    e = chest if which == "chest" else estimate(open_job(SHOP.folder / "jobs" / "linen-press.toml", SHOP), SHOP)
    order = plan_loads(work(e.job, e.job.shop, estimate=e)).order
    plan = schedule_job(e, SHOP, order=order)
    runs = [s.task for s in plan.slots if s.task.machine]
    parts = {
        program: [x.part for x in e.job.loads if x.program == program] for program in {n.split("/")[0] for n in order}
    }
    run = [name.removeprefix("run ").split(" ")[0] for name in (t.name for t in runs)]
    full = [n if "/" in n else f"{n}/{parts[n][0]}" for n in run]
    assert tuple(dict.fromkeys(full)) == order
    free = job_tasks(e, SHOP)
    assert sum(t.hours for t in runs) == pytest.approx(sum(t.hours for t in free if t.machine))
    assert sum(t.bound for t in runs) == pytest.approx(sum(t.bound for t in free if t.machine))
    assert plan.shortest >= schedule_job(e, SHOP).shortest - 1e-9  # an order said can only make it longer
    assert plan.finish >= plan.shortest - 1e-9
