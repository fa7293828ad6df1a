"""Take this job: figures of the card against another way to reckon them, variants against job files written so."""

import math
import re
from dataclasses import replace
from decimal import Decimal

import pytest
from small_job import JOB

from shopcalc.crew import People
from shopcalc.deciding import as_json, as_text, decide, differences, make_or_buy, next_hours, tables, turns_on, ways
from shopcalc.deciding.variants import as_one, estimate_like, in_one_clamping, turned_over, with_operations
from shopcalc.errors import InputError
from shopcalc.jobs import estimate, open_job
from shopcalc.jobs.records import PhaseEntry
from shopcalc.quote import price
from shopcalc.shop import PHASES, Shop

CARVING = re.search(r"\[\[parts\.operations\]\]\nkind = \"carve\".*?(?=\[\[parts\.operations\]\])", JOB, re.S).group()
ITS_PROGRAM = '[[programs]]\nid = "bird"\nstation = "flat"\n'
PANEL = re.search(r"\[\[parts\]\]\nid = \"panel\".*?(?=\[\[programs\]\])", JOB, re.S).group()


@pytest.fixture(scope="module")
def shop():
    return Shop.open()


@pytest.fixture(scope="module")
def read(shop, tmp_path_factory):
    folder = tmp_path_factory.mktemp("jobs")

    def made(text):
        path = folder / f"{abs(hash(text))}.toml"
        path.write_text(text, encoding="utf-8")
        return price(estimate(open_job(path, shop), shop), shop)

    return made


@pytest.fixture(scope="module")
def priced(read):
    return read(JOB)


def test_hours_that_stray_are_those_of_a_job_that_says_them(priced, shop):
    """A phase at its bad end costs what the same job costs whose file says those hours outright."""
    turn = next(t for t in turns_on(priced) if t.what == "assembly")
    sigma = shop.rates.spread["assembly"]
    many = math.exp(1.2815515655446004 * sigma - sigma**2 / 2)
    job = priced.estimate.job
    said = {
        **job.phases,
        "assembly": PhaseEntry.model_construct(hours=3600 * many * priced.estimate.hours["assembly"].best),
    }
    assert abs(price(estimate(replace(job, phases=said), shop), shop).floor - turn.high) <= Decimal("0.02")
    assert turn.low < priced.floor < turn.high


def test_dearer_wood_costs_what_wood_costs(priced, shop):
    """Wood has no spread: its swing is 30 % of its lines, whatever the risk."""
    woods = {shop.material(p.material).title for p in priced.estimate.purchases}
    wood = sum(line.amount for line in priced.lines if line.name in woods)
    assert wood > 10
    turn = next(t for t in turns_on(priced) if t.what == "wood prices")
    assert float(turn.swing) == pytest.approx(0.3 * float(wood), abs=0.35)


def test_the_widest_swing_stands_first_and_each_holds_the_floor(priced):
    turns = turns_on(priced)
    assert [t.swing for t in turns] == sorted((t.swing for t in turns), reverse=True)
    assert all(t.low <= priced.floor <= t.high for t in turns)
    assert {"all hours together", "design", "machining, people and machine"} <= {t.what for t in turns}


def test_who_alone_can_do_what(priced, shop):
    assert decide(priced).alone.share == pytest.approx(1.0)
    able = (
        People("owner", 1, frozenset(PHASES)),
        People("joiner", 2, frozenset({"stock", "assembly", "finishing", "hardware", "delivery"})),
    )
    card = decide(priced, replace(shop, rates=shop.rates.with_(crew=able)))
    hours = priced.estimate.hours
    own = sum(hours[p].best for p in ("design", "programming", "setup", "machining"))
    assert card.alone.who == (("owner", pytest.approx(own)),)
    assert card.alone.share == pytest.approx(own / priced.estimate.own_hours)


def test_odds_follow_the_percentiles(priced):
    card = decide(priced)
    for asked, share in ((priced.p90, 0.1), (priced.p80, 0.2), (priced.p50, 0.5), (priced.p50 - 1, 1.0)):
        assert replace(card, price=replace(priced, asked=asked)).loss_share == share


def test_without_its_carving_a_job_costs_what_one_written_so_costs(priced, read):
    plain, now, both = ways(priced)
    written = read(JOB.replace(CARVING, "").replace(ITS_PROGRAM, ""))
    assert plain.price.floor == written.floor
    assert plain.price.as_json()["hours"] == written.as_json()["hours"]
    twice = read(JOB + '\n[[loads]]\nprogram = "bird"\npart = "panel"\ncount = 2\n')
    assert both.price.floor == twice.floor > now.price.floor == priced.floor
    assert ways(written) == ()


def test_an_asked_price_is_asked_for_the_job_as_it_stands_only(priced, shop):
    job = replace(priced.estimate.job, asked_price=Decimal("9999.00"))
    asked = price(replace(priced.estimate, job=job), shop)
    plain, now, _ = ways(asked)
    assert now.price.asked == Decimal("9999.00")
    assert plain.price.asked == ways(priced)[0].price.asked


def test_a_bought_part_is_a_job_file_that_buys_it(priced, read):
    offer = make_or_buy(priced, "panel", Decimal("120.00"))
    item = '\n[[hardware]]\nname = "panel, bought"\nquantity = 1\nprice = "120 USD"\nfitted = false\n'
    text = JOB.replace(PANEL, "").replace(ITS_PROGRAM, "")
    written = read(text.replace('[[programs]]\nid = "edge"\nstation = "flat"\n', "") + item)
    assert offer.bought.floor == written.floor
    assert offer.make == priced.floor - (written.floor - 120)
    assert offer.hours == pytest.approx(priced.estimate.own_hours - written.estimate.own_hours)


def test_at_the_price_of_making_nothing_is_saved(priced):
    first = make_or_buy(priced, "short", Decimal("10.00"))
    even = make_or_buy(priced, "short", first.make / 2)
    assert even.saved == 0
    assert even.pieces == 2
    assert even.made_earns == pytest.approx(float(even.pay) / even.hours)  # then an hour earns what the rates ask
    with pytest.raises(InputError, match="short"):
        make_or_buy(priced, "shrot", Decimal("10.00"))


def test_a_part_that_lends_its_program_is_bought_and_the_other_still_runs_it(read):
    text = JOB.replace('program = "short-groove"', 'program = "long-groove"').replace(
        '[[programs]]\nid = "short-groove"\nstation = "edge"\n', ""
    )
    short = text.index("[[parts.operations]]", text.index('id = "short"'))
    text = text[:short] + text[text.index("[[parts]]", short) :]  # now only "long" describes the groove
    text += '\n[[loads]]\nprogram = "long-groove"\npart = "short"\ncount = 2\n'
    found = make_or_buy(read(text), "long", Decimal("5.00"))
    assert [t.program.id for t in found.bought.estimate.programs] == ["long-groove", "bird", "edge"]
    assert found.bought.estimate.programs[0].loads == 2


def test_times_taken_over_are_those_of_a_whole_estimate(priced):
    e = priced.estimate
    variants = [
        with_operations(e.job, lambda _, o: None if o.kind == "carve" else o),
        with_operations(e.job, lambda _, o: o.model_copy(update={"cutter": "SQ10"}) if o.kind == "sink" else o),
        turned_over(e.job, {"bird"}),
        replace(e.job, quantity=3),
        in_one_clamping(e.job, "gains", e)[0],
        as_one(e.job, "long-groove", "short-groove", e),
    ]
    for job in variants:
        quick, whole = estimate_like(job, e), estimate(job)
        assert [replace(t, sanding=round(t.sanding, 9)) for t in quick.programs] == [
            replace(t, sanding=round(t.sanding, 9)) for t in whole.programs
        ]
        assert quick.hours == whole.hours


def test_one_clamping_saves_its_loads_and_its_program(priced, shop):
    """By hand: the gains are cut while the long rail lies there for its groove."""
    found = next(s for s in next_hours(priced) if "clamping" in s.change and "gains" in s.change)
    before, e = priced.estimate.drivers, priced.estimate
    after = estimate_like(in_one_clamping(e.job, "gains", e)[0], e).drivers
    assert before["load_per_load"] - after["load_per_load"] == 2
    assert before["zero_per_load"] - after["zero_per_load"] == 2
    saved = sum((before[k] - after[k]) * shop.rates.minutes[k] for k in before) / 3600
    assert found.hours == pytest.approx(saved, abs=0.01)  # the attended share of what is cut together is a mean
    assert found.machine_minutes == pytest.approx(0.0, abs=1e-9)


def test_programs_that_differ_only_in_length_are_one(priced):
    found = [s for s in next_hours(priced) if s.change.startswith("one program")]
    assert len(found) == 1
    assert "long-groove" in found[0].change
    assert "short-groove" in found[0].change
    assert found[0].machine_minutes == pytest.approx(0.0, abs=1e-9)


def test_parts_in_other_clampings_are_not_taken_together(priced):
    e = priced.estimate
    assert in_one_clamping(e.job, "long-groove", e) is not None
    assert in_one_clamping(e.job, "short-groove", e) is None  # alone at its part
    lying = tuple(p.model_copy(update={"station": "flat"}) if p.id == "gains" else p for p in e.job.programs)
    assert in_one_clamping(replace(e.job, programs=lying), "gains", e) is None
    twice = tuple(x.model_copy(update={"count": 4}) if x.program == "gains" else x for x in e.job.loads)
    assert in_one_clamping(replace(e.job, loads=twice), "gains", e) is None


def test_a_fixture_pays_back_after_its_outlay(priced):
    found = [s for s in next_hours(priced, fixture=(2.0, 30.0, 0.5)) if "fixture" in s.change]
    assert found
    for s in found:
        assert s.pays_back_after == pytest.approx(float(s.outlay) / float(s.money))
        assert s.outlay == Decimal(140)  # 2 h at 55, and 30 for material


def test_savings_are_ranked_and_none_makes_it_worse(priced):
    free = [s for s in next_hours(priced) if not s.outlay]
    assert free
    assert [s.money for s in free] == sorted((s.money for s in free), reverse=True)
    assert all(s.money > 0 and s.machine_minutes >= -1e-9 for s in free)


def test_versions(priced, read):
    old, new = priced.as_json(), read(JOB.replace("quantity = 2", "quantity = 3", 1)).as_json()
    assert differences(old, old) == ()
    found = {d.what: d for d in differences(old, new)}
    assert found["hours: stock"].change == pytest.approx(new["hours"]["stock"]["best"] - old["hours"]["stock"]["best"])
    assert found["loads"].change == 2
    assert "quantity" not in found
    lines = sum(d.change for d in found.values() if d.what.startswith("line: "))
    assert lines == pytest.approx(found["asked price"].change, abs=1e-6)  # what changed adds up
    with pytest.raises(ValueError, match="EUR"):
        differences(old, {**new, "currency": "EUR"})


def test_pages_and_data_say_the_same(priced):
    card, options, savings = decide(priced), ways(priced), next_hours(priced)
    offers = [make_or_buy(priced, "panel", Decimal("120.00"))]
    text, data = as_text(tables(card, options, savings, offers)), as_json(card, options, savings, offers)
    assert f"{priced.floor:,.0f}" in text
    assert data["floor"] == float(priced.floor)
    for s in data["next_hours"]:
        assert s["change"][:40] in " ".join(text.split())
    assert [w["name"] for w in data["ways"]] == ["plain", "carved, one face", "carved, both faces"]
    assert max(map(len, text.splitlines())) <= 120


def test_a_whole_frame_is_held_against_a_sellers_price():
    """All its parts go, and their programs and wood with them; what it costs to buy is the seller's price by count."""
    shop = Shop.open()
    job = open_job(shop.folder / "jobs" / "linen-press.toml", shop)
    priced = price(estimate(job, shop), shop)
    offer = make_or_buy(priced, "door", Decimal(95), shop)
    left = offer.bought.estimate.job
    assert offer.pieces == 2
    assert offer.buy == 190
    assert not [p.id for p in left.parts if p.id.startswith("door-")]
    assert {p.id for p in job.parts} - {p.id for p in left.parts} == {
        p.id for p in job.parts if p.id.startswith("door-")
    }
    assert not [p.id for p in left.programs if p.id.startswith("door-")]
    assert [(h.name, h.quantity, h.price) for h in left.hardware[len(job.hardware) :]] == [("door, bought", 2, 95)]
    single = make_or_buy(priced, "door-stile", Decimal(95), shop)
    assert offer.make > single.make > 0
    with pytest.raises(InputError, match="there is no part or frame 'dor'"):
        make_or_buy(priced, "dor", Decimal(95), shop)
