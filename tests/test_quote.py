"""Prices: lines that add up, one line of risk, floor, asked price, earnings; pages for people."""

import csv
import io
import re
from dataclasses import replace
from decimal import Decimal
from html.parser import HTMLParser

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopcalc.jobs import estimate, open_job
from shopcalc.quote import as_html, as_text, hours_csv, machine_hour_rate, price
from shopcalc.risk import sample, spread_of_mean
from shopcalc.shop import PHASES, Shop
from shopcalc.standard_times import PHASE_DRIVERS


@pytest.fixture(scope="module")
def shop():
    return Shop.open()


@pytest.fixture(scope="module", params=["reed-bed-chest", "garden-gates"])
def priced(request, shop):
    job = open_job(shop.folder / "jobs" / f"{request.param}.toml", shop)
    return price(estimate(job, shop), shop)


@pytest.fixture(scope="module")
def chest(shop):
    return estimate(open_job(shop.folder / "jobs" / "reed-bed-chest.toml", shop), shop)


def worth(how: str) -> Decimal:
    """Multiply out what a line says, as a reader would: the sum of its products of two numbers."""
    pairs = re.findall(r"([\d,]+(?:\.\d+)?)[^×+;=\d]*× ([\d,]+\.\d+)", how)
    assert pairs, how
    return sum((Decimal(a.replace(",", "")) * Decimal(b.replace(",", "")) for a, b in pairs), Decimal(0))


def test_a_job_knows_the_shop_it_was_read_for(chest, shop):
    alone = price(estimate(open_job(shop.folder / "jobs" / "reed-bed-chest.toml")))
    assert alone.as_json() == price(chest, shop).as_json()


def test_lines_add_up_to_floor_and_asked_price(priced):
    amounts = {line.name: line.amount for line in priced.lines}
    assert sum(amounts.values()) == priced.asked
    assert priced.asked - amounts["margin"] == priced.floor
    assert all(a >= 0 for n, a in amounts.items() if n != "margin")


def test_every_multiplication_comes_out_as_written(priced):
    """Each cost line can be recalculated from its own text to the cent (two for a sum of rounded products)."""
    for line in priced.lines[:-2]:
        assert abs(worth(line.how) - line.amount) <= Decimal("0.02"), line


def test_margin_and_markup_are_two_figures(priced):
    gain = float(priced.asked - priced.floor)
    assert priced.margin == pytest.approx(gain / float(priced.asked))
    assert priced.markup == pytest.approx(gain / float(priced.floor))
    assert priced.markup > priced.margin > 0
    assert "(margin)" in priced.lines[-1].how
    assert "(markup)" in priced.lines[-1].how


def test_without_an_asked_price_the_margin_is_the_shops(chest, shop):
    assert price(chest, shop).margin == pytest.approx(shop.rates.margin, abs=1e-5)


def test_an_asked_price_below_the_floor_is_said(chest, shop):
    low = replace(chest, job=replace(chest.job, asked_price=Decimal("1000.00")))
    p = price(low, shop)
    assert p.asked == Decimal("1000.00")
    assert p.lines[-1].amount < 0
    assert any("below the floor price" in w for w in p.warnings)


def test_the_band_ascends_and_holds_the_mean(priced):
    means = sum((line.amount for line in priced.lines[:-2]), Decimal(0))
    assert priced.p50 < priced.p80 < priced.p90
    assert priced.p50 < means < priced.p80  # right-skewed: the mean is above the median


def test_the_floor_covers_four_jobs_of_five(priced):
    assert priced.floor == priced.p80


def test_a_shared_factor_costs_more_than_luck_alone(chest, shop):
    """Without what all phases share, a job looks safer than it is."""
    alone = price(chest, replace(shop, rates=shop.rates.with_(shared_spread=0.0)))
    together = price(chest, replace(shop, rates=shop.rates.with_(shared_spread=0.25)))
    assert together.floor > alone.floor
    risk = {line.name: line.amount for line in together.lines}["risk"]
    assert risk > 2 * {line.name: line.amount for line in alone.lines}["risk"]


def test_the_band_agrees_with_sampling_done_by_hand(shop):
    """The gates have no carving, so their cost can be sampled from the printed lines alone."""
    p = price(estimate(open_job(shop.folder / "jobs" / "garden-gates.toml", shop), shop), shop)
    amounts = {line.name: float(line.amount) for line in p.lines[:-2]}
    strays = {n: shop.rates.spread["machining" if n == "machine time" else n] for n in amounts if n in PHASES}
    strays["machine time"] = shop.rates.spread["machining"]
    drawn = sample([spread_of_mean(amounts[n], s) for n, s in strays.items()], shared=shop.rates.shared_spread,
                   draws=100_000, seed=9).sum(axis=1)  # fmt: skip
    drawn += sum(a for n, a in amounts.items() if n not in strays)
    for level, value in ((0.5, p.p50), (0.8, p.p80), (0.9, p.p90)):
        assert float(value) == pytest.approx(np.quantile(drawn, level), rel=0.01)


def test_the_same_seed_gives_the_same_price(chest, shop):
    assert price(chest, shop, seed=3).as_json() == price(chest, shop, seed=3).as_json()
    assert price(chest, shop, seed=3).p80 != price(chest, shop, seed=4).p80


def test_earnings_are_what_is_left_for_our_own_hours(priced):
    left = priced.asked - priced.bought_in - priced.machine_cost
    assert float(priced.earned_per_hour) == pytest.approx(float(left) / priced.estimate.own_hours, abs=0.006)


def test_carving_is_a_line_of_its_own_and_nothing_is_counted_twice(chest, shop):
    """All people's money, whatever the line, is hours quoted times rate."""
    p = price(chest, shop)
    amounts = {line.name: line.amount for line in p.lines}
    carving_machine = float(p.machine_cost - amounts["machine time"])
    people = sum(float(amounts.get(phase, 0)) for phase in PHASES) + float(amounts["carving"]) - carving_machine
    by_hours = sum(h.quoted * float(shop.rates.people[phase]) for phase, h in chest.hours.items())
    assert people == pytest.approx(by_hours, abs=0.01 * 62 * 6)  # hours are rounded to hundredths in each line
    assert "attended" in next(line.how for line in p.lines if line.name == "carving")
    assert "counted under carving" in next(line.how for line in p.lines if line.name == "design")


def test_a_phase_that_is_not_quoted_costs_nothing_but_still_takes_hours(chest, shop):
    p = price(chest, shop)
    assert "delivery" not in {line.name for line in p.lines}
    assert chest.hours["delivery"].best > 0
    assert any("delivery" in w for w in p.warnings)


def without_artwork(job, **changes):
    """The same job before its heron was drawn."""

    def changed(o):
        known = {"artwork": None, "rough_cutter": None, "stepover": None}
        return o.model_copy(update={**known, **changes}) if o.kind == "carve" else o

    parts = [p.model_copy(update={"operations": tuple(changed(o) for o in p.operations)}) for p in job.parts]
    return replace(job, parts=tuple(parts))


def test_carving_by_area_has_a_wider_band_than_anything_else(chest, shop):
    chest = estimate(without_artwork(chest.job), shop)
    band = next(t.band for t in chest.programs if t.carving)
    assert band[0] < band[1] < band[2]
    assert any("by area" in w for w in price(chest, shop).warnings)
    narrow = shop.rates.with_(carving=tuple(shop.rates.carving[1] for _ in range(3)))
    tight = replace(shop, rates=narrow)
    p = price(estimate(chest.job, tight), tight)
    assert p.p90 - p.p50 <= price(chest, shop).p90 - price(chest, shop).p50 + Decimal("2.00")


def test_less_known_of_a_carving_takes_no_sanding_away(chest, shop):
    """By area it is sanded as much as a restless relief; the band stands in minutes and in price."""
    free = replace(chest.job, phases={k: v for k, v in chest.job.phases.items() if k != "finishing"})
    drawn, bare = estimate(free, shop), estimate(without_artwork(free), shop)
    assert bare.carving_sanding_in_full >= drawn.carving_sanding_in_full > 0
    said = price(bare, shop)
    assert any("sanding" in w and "by area" in w for w in said.warnings)
    words = next(w for w in said.warnings if "wide band" in w)
    low, high = (
        Decimal(t.replace(",", "")) for t in re.search(r"asked price ([\d,.]+) to ([\d,.]+) USD", words).groups()
    )
    assert low < said.carving_asked < high
    assert "the mean of the band" in words
    carved = next(t for t in bare.programs if t.carving)
    hour = float(said.machine_rate.total) + carved.attended * float(shop.rates.people["machining"])
    line = next(x.amount for x in said.lines if x.name == "carving")
    dearer = (carved.band[2] - carved.best) * carved.loads / 3600 * hour
    assert float(high) == pytest.approx((float(line) + dearer) * float(said.carving_asked / line), abs=0.02)


def test_hours_of_finishing_said_outright_are_taken_to_hold_the_sanding(chest, shop):
    line = next(x for x in price(chest, shop).lines if x.name == "carving")
    assert "sanding is taken to be in the finishing hours" in line.how
    free = replace(chest.job, phases={k: v for k, v in chest.job.phases.items() if k != "finishing"})
    line = next(x for x in price(estimate(free, shop), shop).lines if x.name == "carving")
    assert "taken to be in" not in line.how


def test_the_carvings_floor_and_asked_price_are_worked_out_in_words(priced):
    if priced.carving_floor is None:
        return
    words = " ".join(as_text(priced).split())
    line = next(x.amount for x in priced.lines if x.name == "carving")
    assert f"cost {line:,} + risk {priced.carving_floor - line:,}" in words
    assert f"+ margin {priced.carving_asked - priced.carving_floor:,}" in words


def test_artwork_takes_the_band_and_its_warning_away(chest, shop):
    drawn = next(t for t in chest.programs if t.carving)
    assert drawn.band is None
    assert not drawn.by_area
    assert drawn.cutters == ("SQ6", "TB3")
    assert not any("any artwork" in w for w in price(chest, shop).warnings)


def test_a_kind_before_its_artwork_has_a_band_and_says_so(chest, shop):
    told = estimate(without_artwork(chest.job, before="deep figure", smallest_detail=3.0), shop)
    carved = next(t for t in told.programs if t.carving)
    assert carved.by_area
    assert carved.band[0] < carved.band[1] < carved.band[2]
    assert any("before any artwork" in w for w in price(told, shop).warnings)


def test_the_carvings_own_floor_and_asked_price_take_their_share(priced):
    line = next((x for x in priced.lines if x.name == "carving"), None)
    if line is None:
        assert priced.carving_floor is priced.carving_asked is None
        return
    means = sum(x.amount for x in priced.lines if x.name not in ("risk", "margin"))
    assert line.amount <= priced.carving_floor <= priced.carving_asked
    assert float(priced.carving_floor / line.amount) == pytest.approx(float(priced.floor / means), rel=1e-4)
    assert f"{priced.carving_asked:,}" in as_text(priced)


def test_sanding_of_carved_surfaces_stands_in_the_carving_line(chest, shop):
    """Where the job does not say its finishing hours outright."""
    free = replace(chest.job, phases={k: v for k, v in chest.job.phases.items() if k != "finishing"})
    told = estimate(free, shop)
    assert told.carving_sanding > 0
    assert told.hours["finishing"].best == pytest.approx(
        told.carving_sanding + sum(told.drivers[d] * shop.rates.minutes[d] for d in PHASE_DRIVERS["finishing"]) / 3600
    )
    lines = {x.name: x for x in price(told, shop).lines}
    assert "sanding" in lines["carving"].how
    assert "counted under carving" in lines["finishing"].how


# --- the machine's hour ----------------------------------------------------------------------------------------------


def test_the_machine_hour_falls_with_the_hours_it_runs_and_has_no_pay_in_it(shop):
    cost = shop.rates.machine
    rate = machine_hour_rate(cost)
    busier = machine_hour_rate(replace(cost, hours_per_year=2 * cost.hours_per_year))
    assert float(busier.fixed) == pytest.approx(float(rate.fixed) / 2, abs=0.006)
    assert (busier.energy, busier.upkeep, busier.space) == (rate.energy, rate.upkeep, rate.space)
    assert rate.energy == Decimal("0.80")  # 5 kW x 0.16 (definition)
    assert rate.total == rate.fixed + rate.energy + rate.upkeep + rate.space


@settings(max_examples=25, deadline=None)
@given(st.floats(0.5, 2.0), st.floats(0.0, 0.5))
def test_price_grows_with_rates_and_margin(factor, margin):
    shop = Shop.open()
    job = open_job(shop.folder / "jobs" / "reed-bed-chest.toml", shop)
    e = _cached_estimate(job, shop)
    people = {k: v * Decimal(repr(factor)) for k, v in shop.rates.people.items()}
    changed = replace(shop, rates=shop.rates.with_(people=people, margin=margin))
    base = price(e, replace(shop, rates=shop.rates.with_(margin=margin)))
    moved = price(e, changed)
    assert (moved.floor > base.floor) == (factor > 1) or factor == 1
    assert float(moved.asked) == pytest.approx(float(moved.floor) / (1 - margin), abs=0.011)


_ESTIMATES: dict = {}


def _cached_estimate(job, shop):
    if job.name not in _ESTIMATES:
        _ESTIMATES[job.name] = estimate(job, shop)
    return _ESTIMATES[job.name]


# --- for people and for programs -------------------------------------------------------------------------------------


def test_json_has_exactly_what_is_promised(priced):
    d = priced.as_json()
    assert list(d) == [
        "job", "currency", "quantity", "programs", "loads", "hours", "hours_total", "machine_minutes", "lines",
        "price", "earned_per_hour", "warnings",
    ]  # fmt: skip
    assert tuple(d["hours"]) == PHASES
    assert all(list(h) == ["planned", "programmed", "logged", "best", "quoted"] for h in d["hours"].values())
    assert all(list(line) == ["name", "amount"] for line in d["lines"])
    assert list(d["price"]) == ["floor", "asked", "p50", "p80", "p90"]
    assert sum(h["best"] for h in d["hours"].values()) == pytest.approx(d["hours_total"], abs=1e-3)
    assert sum(line["amount"] for line in d["lines"]) == pytest.approx(d["price"]["asked"], abs=0.005)


def test_text_names_every_phase_program_line_and_the_caution(priced):
    text = as_text(priced)
    for word in (*PHASES, "floor price", "asked price", "earns", "marked on it", priced.estimate.job.name):
        assert word in text
    for t in priced.estimate.programs:
        assert (t.program.title or t.program.id) in text
    for line in priced.lines:
        assert f"{line.amount:,.2f}" in text
    assert max(map(len, text.splitlines())) <= 125


def test_columns_of_numbers_are_aligned(priced):
    lines = as_text(priced).splitlines()
    start = lines.index("Hours of our own people")
    head = lines[start + 1]
    edge = head.index("planned") + len("planned")
    for line in lines[start + 3 : start + 3 + len(PHASES)]:
        if line.strip() and line.strip().split()[0] in PHASES:
            assert line[edge - 1].isdigit()
            assert line[edge] == " "


def test_inch_and_metric_show_the_same_money(chest, shop):
    inch, metric = (price(chest, shop, system=s) for s in ("inch", "metric"))
    assert inch.as_json() == metric.as_json()
    assert "1/2 in" in as_text(inch)
    assert "ft²" in as_text(inch)
    assert "63.5 mm" in as_text(metric)
    assert "ft²" not in as_text(metric)


def test_metric_wood_stands_in_cubic_metres_beside_the_board_feet_it_is_priced_in(chest, shop):
    """A board foot is 144 cubic inches (definition)."""
    lines = {line.name: line.how for line in price(chest, shop, system="metric").lines}
    (volume, feet), (gross_volume, gross) = re.findall(r"([\d.]+) m³ = ([\d.]+) bd ft", lines["white oak"])
    assert float(volume) == pytest.approx(float(feet) * 144 * 0.0254**3, abs=6e-4)
    assert float(gross_volume) == pytest.approx(float(gross) * 144 * 0.0254**3, abs=6e-4)
    assert not any("m³" in line.how for line in price(chest, shop, system="inch").lines)


def test_the_middle_below_the_sum_of_the_lines_is_explained(priced):
    assert "lines are means" in " ".join(as_text(priced).split())


class _Page(HTMLParser):
    def __init__(self):
        super().__init__()
        self.open, self.links, self.cells = [], [], 0

    def handle_starttag(self, tag, attrs):
        if tag not in ("meta", "br"):
            self.open.append(tag)
        self.links += [v for k, v in attrs if k in ("src", "href")]
        self.cells += tag == "td"

    def handle_endtag(self, tag):
        assert self.open.pop() == tag


def test_the_page_is_whole_and_asks_nothing_of_a_network(priced):
    page = as_html(priced)
    parsed = _Page()
    parsed.feed(page)
    assert not parsed.open
    assert not parsed.links
    assert "http" not in page
    assert "@import" not in page
    assert parsed.cells > 50


def test_names_cannot_break_the_page(chest, shop):
    wild = replace(chest, job=replace(chest.job, name="<script>alert(1)</script> & co"))
    page = as_html(price(wild, shop))
    assert "<script" not in page
    assert "&lt;script&gt;" in page


def test_hours_come_as_a_table_with_units(priced):
    rows = list(csv.reader(io.StringIO(hours_csv(priced))))
    assert rows[0] == ["phase", "planned", "programmed", "logged", "best", "quoted"]
    assert rows[1] == ["-", "h", "h", "h", "h", "h"]
    assert [r[0] for r in rows[2:]] == list(PHASES)
    for phase, *cells in rows[2:]:
        assert float(cells[3]) == pytest.approx(priced.estimate.hours[phase].best, abs=5e-4)


def test_no_control_reaches_the_terminal(chest):
    """ESC begins a terminal's commands (ECMA-48, 5.2)."""
    job = replace(chest.job, name="che\x1b[2Jst", note="a\x1b]0;note\x07")
    assert not set(as_text(price(replace(chest, job=job)))) & {"\x1b", "\x07"}
