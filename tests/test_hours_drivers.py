"""Drivers: each counted from the job by hand, each moving its own phase alone; by phase and by load the same sum."""

import math
import tomllib
from dataclasses import replace
from functools import lru_cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopcalc.jobs import estimate, open_job
from shopcalc.jobs.by_load import load_minutes
from shopcalc.jobs.counting import blanks, drivers, frames, routed_area, squared_mortises, strips
from shopcalc.jobs.reading import check_job
from shopcalc.jobs.wood import wanted
from shopcalc.shop import Shop
from shopcalc.standard_times import (
    DRIVERS,
    PHASE_DRIVERS,
    PHASES,
    average_share,
    standard_times,
    standard_times_table,
)
from shopcalc.stock.blanks import blank

SHOP = Shop.open()
#: An oak door: two stiles, three rails, two raised panels of three strips each, a face planed, a lock's recess.
DOOR = """
[job]
name = "door"
machine = "router"
quantity = {quantity}
[[parts]]
id = "stile"
quantity = 2
material = "white-oak"
length = "80 in"
width = "4 1/2 in"
thickness = "1 3/8 in"
operations = [
  {{ kind = "mortise", program = "mortises", cutter = "SQ12L", from_end = ["6 in", "40 in", "76 in"], length = "3 in",
     width = "1/2 in", depth = "2 in" }},
  {{ kind = "sink", program = "lock", cutter = "SQ3", length = "6 in", width = "1 in", depth = "1/8 in" }},
  {{ kind = "bore", program = "lock", cutter = "SQ6", diameter = "1/4 in", depth = "1 in", count = 2 }},
]
[[parts]]
id = "rail"
quantity = 3
material = "white-oak"
length = "25 in"
width = "4 in"
thickness = "1 3/8 in"
operations = [
  {{ kind = "tenon", program = "tenons", cutter = "SQ12L", length = "1 7/8 in", width = "2.99 in",
     thickness = "0.495 in", rounded = {rounded} }},
]
[[parts]]
id = "panel"
quantity = 2
material = "white-oak"
length = "30 in"
width = "12 in"
thickness = "3/4 in"
glued = true
operations = [
  {{ kind = "raise", program = "panels", cutter = "SQ6", width = "2 in", depth = "1/4 in" }},
  {{ kind = "face", program = "panels", cutter = "SQ12", length = "10 in", width = "5 in", depth = "1/32 in" }},
]
[[programs]]
id = "mortises"
station = "edge"
[[programs]]
id = "lock"
[[programs]]
id = "tenons"
station = "end"
[[programs]]
id = "panels"
[[loads]]
program = "tenons"
part = "rail"
count = 6
[[hardware]]
name = "hinge"
quantity = 3
price = "20 USD"
""".replace(",\n     ", ", ")  # a table in one line stays in one


def door(quantity=1, rounded="false"):
    return check_job(tomllib.loads(DOOR.format(quantity=quantity, rounded=rounded)), "door.toml", SHOP)


# --- counted by hand -------------------------------------------------------------------------------------------------

BY_HAND = {
    "drawing_per_part": 3, "programming_per_program": 4, "programming_per_mortise": 1, "programming_per_sink": 1,
    "programming_per_bore": 1, "programming_per_tenon": 1, "programming_per_raise": 1, "programming_per_face": 1,
    "programming_per_groove": 0, "carving_design_per_job": 0,
    "select_per_board": 2 + 3 + 2 * 3,  # 12 1/4 in rough in the shop's strips
    "joint_per_board": 11, "mark_per_piece": 7, "glue_up_per_strip": 6, "glue_up_per_blank": 2,
    "stops_per_program": 4,
    # SQ12L has its place and is measured once for both programs; SQ3 has none; SQ6 once, SQ12 once
    "find_per_cutter": 4, "measure_length_per_cutter": 4,
    "change_by_hand_per_change": 2,  # SQ3 beside another cutter, so at each of the two loads
    "load_per_load": 2 + 2 + 6 + 2, "zero_per_load": 12, "clean_per_load": 12, "turn_per_turn": 3,
    "square_per_corner": 24, "dry_fit_per_joint": 6, "clamp_per_frame": 1, "level_per_joint": 6,
    "prefinish_per_panel": 2, "assembly_per_piece": 1, "prepare_per_coat": 3, "bore_per_fitting": 3,
    "pack_per_piece": 1, "install_per_piece": 1, "delivery_per_job": 1,
}  # fmt: skip


def test_the_drivers_of_a_door_are_those_counted_by_hand():
    counts = drivers(door())
    assert {d: counts[d] for d in BY_HAND} == BY_HAND
    inch2 = 25.4**2 * 1e-6
    border = 30 * 12 - 26 * 8
    assert counts["cutter_lines_per_area"] == pytest.approx(inch2 * 2 * (6 * 1 + border + 10 * 5))
    assert counts["coat_per_area"] == pytest.approx(3 * counts["sanding_per_area"])
    assert counts["rub_down_per_area"] == pytest.approx(2 * counts["sanding_per_area"])


def test_round_tenons_leave_no_corner_to_square_and_others_do():
    assert squared_mortises(door()) == 6
    assert squared_mortises(door(rounded="true")) == 0


def test_a_mortise_of_another_size_than_the_tenon_is_not_squared():
    data = tomllib.loads(DOOR.format(quantity=1, rounded="false"))
    data["parts"][0]["operations"][0]["length"] = "3 1/4 in"
    assert squared_mortises(check_job(data, "door.toml", SHOP)) == 0


def test_frames_are_half_the_stiles():
    chest = open_job(SHOP.folder / "jobs" / "reed-bed-chest.toml", SHOP)
    gates = open_job(SHOP.folder / "jobs" / "garden-gates.toml", SHOP)
    assert (frames(chest), frames(gates), frames(door()), frames(replace(door(), joints=0))) == (4, 1, 1, 0)


@pytest.mark.parametrize(
    "change", [{}, {"strips": 4}, {"layers": 2}, {"glued": False}, {"spares": 1}, {"grain": "width"}]
)
@pytest.mark.parametrize("quantity", [1, 12])
def test_boards_and_blanks_are_those_of_the_take_off(change, quantity):
    """What is worked and what is bought are the same pieces of wood."""
    job = door(quantity)
    panel = job.part("panel").model_copy(update=change)
    job = replace(job, parts=(*job.parts[:2], panel))
    found = {b.wanted.part: b for b in (blank(w, SHOP.rates.stock) for w in wanted(job, SHOP))}
    for p in job.parts:
        assert strips(p, SHOP) == found[p.id].strips * found[p.id].layers
        assert blanks(p, job, SHOP) == found[p.id].count
    assert drivers(job)["rip_per_board"] == sum(b.count * b.strips * b.layers for b in found.values())


def test_what_gets_no_finish_shows_no_lines():
    job = door()
    bare = replace(job, parts=tuple(p.model_copy(update={"finished": False}) for p in job.parts))
    assert routed_area(bare) == 0 < routed_area(job)
    assert drivers(bare)["prepare_per_coat"] == 0


# --- each driver moves its own phase, and nothing else ---------------------------------------------------------------


@lru_cache(maxsize=1)
def as_it_is():
    """Phases of the door: hours."""
    return phases(door())


def phases(job, shop=SHOP):
    return {phase: h.best for phase, h in estimate(job, shop).hours.items()}


@pytest.mark.parametrize("driver", DRIVERS)
def test_a_standard_time_moves_exactly_its_phase(driver):
    job, before = door(), as_it_is()
    minutes = {**SHOP.rates.minutes, driver: SHOP.rates.minutes[driver] + 3600}
    after = phases(job, replace(SHOP, rates=SHOP.rates.with_(minutes=minutes)))
    for phase in PHASES:
        count = drivers(job)[driver] if driver in PHASE_DRIVERS[phase] else 0
        assert after[phase] - before[phase] == pytest.approx(count, abs=1e-9)


def less(job, what):
    """The door with one thing changed."""
    if what == "hinges":
        return replace(job, hardware=())
    if what == "joints":
        return replace(job, joints=0)
    if what == "finish":
        return replace(job, parts=tuple(p.model_copy(update={"finished": False}) for p in job.parts))
    if what == "glued":
        return replace(job, parts=tuple(p.model_copy(update={"glued": False}) for p in job.parts))
    if what == "turns":
        loads = [x.model_copy(update={"count": 3}) if x.part == "rail" else x for x in job.loads]
        return replace(job, loads=tuple(loads))
    kept = [o for o in job.parts[0].operations if o.kind != "bore"]
    return replace(job, parts=(job.parts[0].model_copy(update={"operations": tuple(kept)}), *job.parts[1:]))


@pytest.mark.parametrize(
    ("what", "moved"),
    [
        ("hinges", {"hardware"}),
        ("joints", {"assembly"}),
        ("finish", {"finishing", "assembly"}),  # panels without a finish are not finished ahead
        ("glued", {"stock"}),
        ("turns", {"setup", "machining", "assembly"}),  # fewer tenons fill fewer mortises
        ("bore", {"programming", "setup", "machining"}),
    ],
)
def test_a_change_of_the_job_moves_its_phases_and_no_others(what, moved):
    before, after = as_it_is(), phases(less(door(), what))
    assert {p for p in PHASES if abs(after[p] - before[p]) > 1e-9} == moved
    assert sum(after.values()) < sum(before.values())


@pytest.mark.parametrize("driver", [d for d in DRIVERS if d != "change_by_hand_per_change"])
def test_what_comes_with_pieces_doubles_with_them_and_all_else_stays(driver):
    one, two = (drivers(door(n))[driver] for n in (1, 2))
    assert two == pytest.approx((1 + standard_times()[driver].by_piece) * one)


# --- by load ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("quantity", [1, 2, 5])
def test_sums_by_load_are_sums_by_phase(quantity):
    e = estimate(door(quantity), SHOP)
    table = load_minutes(e)
    assert len(table) == e.job.load_count
    for phase in ("programming", "setup"):
        assert table[phase].sum() / 60 == pytest.approx(e.hours[phase].planned)
        steps = [d for d in PHASE_DRIVERS[phase] if d in table]
        assert table[steps].sum(axis=1).to_list() == pytest.approx(table[phase].to_list())
    assert table["machine"].sum() * 60 == pytest.approx(e.machine_seconds)
    assert table["attended"].sum() / 60 == pytest.approx(e.hours["machining"].best)
    assert (table["attended"] <= table["machine"] + 1e-12).all()
    assert table.attrs["units"]["machine"] == "min"


@pytest.mark.parametrize("name", ["reed-bed-chest", "garden-gates"])
def test_sums_by_load_of_the_demos_are_sums_by_phase(name):
    e = estimate(open_job(SHOP.folder / "jobs" / f"{name}.toml", SHOP), SHOP)
    table = load_minutes(e)
    assert table["setup"].sum() / 60 == pytest.approx(e.hours["setup"].planned)
    assert table["programming"].sum() / 60 == pytest.approx(e.hours["programming"].planned)
    first = table.drop_duplicates("program")
    assert (first["stops_per_program"] > 0).all()
    assert table["stops_per_program"].sum() == pytest.approx(first["stops_per_program"].sum())
    for _, rows in table.groupby(["program", "part"]):
        assert rows["load"].to_list() == list(range(1, rows["of"].iloc[0] + 1))


# --- the table and what is learned -----------------------------------------------------------------------------------


def test_every_standard_time_says_why_and_none_claims_a_source():
    assert set(PHASE_DRIVERS) == set(PHASES)
    assert PHASE_DRIVERS["machining"] == ()
    for t in standard_times().values():
        assert t.kind in ("practice", "memory", "invented")
        assert t.note
        assert t.seconds > 0
        assert 0.85 <= t.learning <= 1
    assert all(t.learning == 1 or t.by_piece for t in standard_times().values())
    table = standard_times_table()
    assert list(table.index) == list(DRIVERS)
    assert table.loc["load_per_load", "kind"] == "common practice, no source"


@given(st.floats(0.51, 1.0), st.integers(0, 10))
def test_each_doubling_brings_the_mean_to_the_share(learning, doublings):
    """Wright's curve in closed form: n = 2^k pieces take the share to the k-th power each."""
    assert average_share(learning, 2**doublings) == pytest.approx(learning**doublings)


@given(st.floats(0.51, 1.0), st.integers(1, 5000))
def test_a_learned_piece_takes_less_and_all_of_them_more(learning, n):
    assert average_share(learning, n + 1) <= average_share(learning, n)
    assert (n + 1) * average_share(learning, n + 1) > n * average_share(learning, n)


@pytest.mark.parametrize(("learning", "pieces"), [(0, 2), (1.1, 2), (0.9, 0.5), (math.nan, 2)])
def test_impossible_learning_is_refused(learning, pieces):
    with pytest.raises(ValueError, match="give a share"):
        average_share(learning, pieces)


@settings(max_examples=6, deadline=None)
@given(st.integers(1, 40))
def test_hours_of_a_batch_follow_the_closed_form(quantity):
    """Assembly: every step learns to 90 %; programming is paid once; machine time learns nothing."""
    one, many = estimate(door(), SHOP), estimate(door(quantity), SHOP)
    share = quantity ** math.log2(0.9)
    assert many.hours["assembly"].best == pytest.approx(quantity * share * one.hours["assembly"].best)
    assert many.hours["programming"].best == one.hours["programming"].best
    assert many.machine_seconds == pytest.approx(quantity * one.machine_seconds)


def test_every_cutter_a_carving_names_is_found_and_measured():
    chest = open_job(SHOP.folder / "jobs" / "reed-bed-chest.toml", SHOP)
    heron = next(p for p in chest.programs if p.id == "heron")
    parts = [p for p in chest.parts if any(o.program == "heron" for o in p.operations)]
    (part,) = parts

    def found(**changes):
        own = [o.model_copy(update=changes) for o in part.operations if o.program == "heron"]
        alone = replace(
            chest, programs=(heron,), parts=(part.model_copy(update={"operations": tuple(own)}),),
            loads=tuple(x for x in chest.loads if x.program == "heron"),
        )  # fmt: skip
        return drivers(alone)["find_per_cutter"], drivers(alone)["change_by_hand_per_change"]

    assert found(rough_cutter="none", clean_cutter=None) == (1, 0)
    assert found(rough_cutter="SQ6", clean_cutter=None) == (2, 0)
    assert found(rough_cutter="SQ6", clean_cutter="TB1") == (3, 1)  # TB1 has no place in the rack
