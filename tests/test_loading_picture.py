"""The picture of the order of loads against the plan it shows, and what a hand changes in it."""

import re

import pytest

from shopcalc.controls.loading_picture import LoadingControl, loading_figure, loading_table
from shopcalc.jobs import open_job
from shopcalc.loading import Batch, Standards, Work, plan_loads, work
from shopcalc.shop import demo_folder


@pytest.fixture(scope="module")
def chest():
    """The demo chest with a rack so small that cutters leave it."""
    w = work(open_job(demo_folder() / "jobs" / "reed-bed-chest.toml"))
    return Work(w.batches, w.precedences, w.standards.with_(places=4), w.notes)


@pytest.fixture(scope="module")
def plan(chest):
    return plan_loads(chest)


def spans(trace):
    return [(row, base, base + long) for row, base, long in zip(trace.y, trace.base, trace.x, strict=True)]


def by_name(figure):
    return {trace.name: trace for trace in figure.data}


def test_strips_follow_each_other_without_gap_and_end_with_the_whole_time(plan):
    traces = by_name(loading_figure(plan))
    changes, loads = spans(traces["change before a load"]), spans(traces["loads, with their number"])
    assert len(loads) == len(plan.steps)
    now = 0.0
    for step, (row, begin, end), (same, start, last) in zip(plan.steps, changes, loads, strict=True):
        assert row == same == step.batch.station
        assert (begin, end) == pytest.approx((now, now + step.before / 3600))
        assert (start, last) == pytest.approx((end, end + step.batch.seconds / 3600))
        now = last
    assert now == pytest.approx((plan.seconds + sum(s.batch.seconds for s in plan.steps)) / 3600)


def test_never_more_cutters_drawn_than_the_rack_has_places(plan):
    traces = by_name(loading_figure(plan))
    drawn = spans(traces["in the rack, idle"]) + spans(traces["in use"])
    used = spans(traces["in use"])
    for step, (_, begin, end) in zip(plan.steps, spans(traces["loads, with their number"]), strict=True):
        middle = (begin + end) / 2
        there = [row for row, low, high in drawn if low < middle < high]
        assert len(there) == len(set(there)) <= 4
        assert {row for row, low, high in used if low < middle < high} == set(step.batch.cutters)
    assert len(traces["put into the rack"].x) == sum(len(s.rack.put_in) for s in plan.steps)


def test_moving_a_load_by_hand_prices_it_and_names_what_it_breaks(chest):
    control = LoadingControl(chest)
    found = control.plan
    control.moved.value, control.before.value = "heron-edge/heron-panel", found.order[0]
    control.move.click()
    assert control.plan.order[0] == "heron-edge/heron-panel"
    assert [p.before for p in control.plan.broken] == ["heron/heron-panel"]
    assert "rules broken" in control.answer.value
    assert "breaks: heron/heron-panel before heron-edge/heron-panel" in control.remarks.value
    assert control.figure.data[1].y[0] == "flat"
    control.moved.value, control.before.value = found.order[0], ""
    control.move.click()
    assert control.plan.order[-1] == found.order[0]
    control.back.click()
    assert control.plan is found
    assert "rules broken" not in control.answer.value
    assert f"{found.seconds / 60:.1f} min" in control.answer.value


def test_table_has_every_step_and_lets_no_markup_through():
    bad = "<script>alert(1)</script>"
    batches = tuple(Batch(f"{bad}/{k}", bad, str(k), "flat", 1, (bad,), (1.0,)) for k in range(3))
    text = loading_table(plan_loads(Work(batches, (), Standards())))
    assert "<script" not in text
    assert len(re.findall("<tr", text)) == 1 + 3 + 1


def test_texts_of_the_picture_let_no_markup_through():
    bad = "<b>x</b>"
    batches = tuple(Batch(f"{bad}/{k}", bad, str(k), "flat", 1, (bad,), (1.0,)) for k in range(2))
    figure = loading_figure(plan_loads(Work(batches, (), Standards())))
    told = [t for trace in figure.data for t in trace.customdata]
    assert told
    assert not any("<b>" in t for t in told)
