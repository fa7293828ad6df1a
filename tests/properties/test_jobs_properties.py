"""Whatever stands in a job file, it is read or refused in words; more work never takes less time."""

import copy
import datetime
import math
import tomllib
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from shopcalc.errors import InputError
from shopcalc.jobs import estimate, open_job
from shopcalc.jobs.planning import operation_moves, setting
from shopcalc.jobs.reading import check_job
from shopcalc.jobs.records import OPERATION_RECORDS
from shopcalc.motion import machine_time
from shopcalc.quote import price
from shopcalc.shop import Shop

CHEST = Path(__file__).parents[2] / "data" / "jobs" / "reed-bed-chest.toml"
DATA = tomllib.loads(CHEST.read_text(encoding="utf-8"))
SHOP = Shop.open()
ODD = [
    "", " ", "x", "1 in", "-1 in", "0 mm", "nan mm", "1e400 in", "12", "3 USD", "router", "white-oak", 0, 1, -1, 10**30,
    1.5, math.nan, math.inf, True, False, [], {}, [[]], [{}], {"kind": "groove"}, [1, "a"], datetime.date(2026, 1, 1),
    "\0", "ÿ", "a" * 10_000,
]  # fmt: skip


def places(data, path=()):
    """Every path of a nested structure."""
    yield path
    items = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for key, value in items:
        yield from places(value, (*path, key))


PLACES = [p for p in places(DATA) if p]


def changed(path, action, value):
    data = copy.deepcopy(DATA)
    at = data
    for step in path[:-1]:
        at = at[step]
    if action == "drop":
        del at[path[-1]]
    elif action == "rename" and isinstance(at, dict):
        at[f"{path[-1]}x"] = at.pop(path[-1])
    elif action == "double" and isinstance(at, list):
        at.insert(path[-1], copy.deepcopy(at[path[-1]]))
    else:
        at[path[-1]] = value
    return data


@settings(max_examples=400, deadline=None)
@given(st.sampled_from(PLACES), st.sampled_from(["drop", "rename", "double", "set"]), st.sampled_from(ODD))
def test_a_changed_job_is_read_or_refused_in_words(path, action, value):
    refusal = None
    try:
        assert check_job(changed(path, action, value), "job.toml", SHOP).parts
    except InputError as e:
        refusal = e
    for fault in refusal.faults if refusal else ():
        assert fault.file
        assert "\n" not in str(fault)
        assert len(fault.message) < 400


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(at=st.integers(0, 9000), cut=st.integers(0, 40), new=st.binary(max_size=12))
def test_a_spoilt_file_is_read_or_refused_in_words(at, cut, new, tmp_path):
    raw = CHEST.read_bytes()
    file = tmp_path / "job.toml"
    file.write_bytes(raw[:at] + new + raw[at + cut :])
    refusal = None
    try:
        open_job(file, SHOP)
    except InputError as e:
        refusal = e
    assert refusal is None or all(f.file for f in refusal.faults)


# --- more is never less ----------------------------------------------------------------------------------------------

RAIL = open_job(CHEST, SHOP).part("long-rail")
ROUTER = SHOP.machine("router")


def seconds(kind, **fields):
    operation = OPERATION_RECORDS[kind].model_validate({"kind": kind, "program": "p", **fields})
    cutting = setting(operation, RAIL, "edge", ROUTER, SHOP)
    return machine_time(operation_moves(operation, RAIL, "edge", cutting), ROUTER).total_s


@settings(max_examples=40, deadline=None)
@given(st.floats(3, 20), st.floats(0.5, 4), st.floats(100, 500), st.floats(1, 400))
def test_a_longer_or_deeper_groove_takes_longer(depth, deeper, length, longer):
    base = {"cutter": "SQ6", "width": "8 mm"}
    plain = seconds("groove", **base, depth=f"{depth} mm", length=f"{length} mm")
    assert seconds("groove", **base, depth=f"{depth} mm", length=f"{length + longer} mm") > plain
    assert seconds("groove", **base, depth=f"{depth + deeper} mm", length=f"{length} mm") > plain - 1e-9


@settings(max_examples=30, deadline=None)
@given(st.integers(1, 8))
def test_each_further_mortise_adds_the_same(count):
    base = {"cutter": "SQ6", "length": "40 mm", "width": "8 mm", "depth": "15 mm"}
    one, two, many = (seconds("mortise", **base, count=n) for n in (1, 2, count + 2))
    assert many > two > one
    assert many <= one + (count + 1) * (two - one) * 1.05  # nearer neighbours are reached no later


def test_a_slower_feed_takes_longer_in_proportion_to_its_cutting():
    base = {"cutter": "SQ6", "width": "8 mm", "depth": "9 mm"}
    fast, slow = (seconds("groove", **base, feed=f"{f} mm/min") for f in (2000, 1000))
    assert 1.5 < slow / fast < 2.0


@settings(max_examples=20, deadline=None)
@given(st.integers(1, 60))
def test_a_piece_costs_less_the_more_are_made(quantity):
    job = open_job(CHEST, SHOP)
    one, more = (price(estimate(replace(job, quantity=n), SHOP), SHOP, draws=400) for n in (quantity, quantity + 1))
    assert more.floor > one.floor
    assert more.floor / (quantity + 1) <= one.floor / quantity + Decimal("0.05")


@pytest.mark.parametrize("kind", sorted(OPERATION_RECORDS))
def test_every_kind_refuses_what_it_does_not_know(kind):
    with pytest.raises(ValueError, match="not permitted"):
        OPERATION_RECORDS[kind].model_validate({"kind": kind, "program": "p", "cutter": "SQ6", "colour": 1})
