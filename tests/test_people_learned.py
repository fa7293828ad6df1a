"""Times of people learned from finished jobs: against numerical integration, in simulated shops, and in quotes.

Method: A. Gelman et al., Bayesian Data Analysis, 3rd ed., 2013, sections 2.6, 3.3 and 5.4.
"""

import json
import math
import shutil
from dataclasses import replace

import numpy as np
import pytest
from scipy import integrate, stats
from small_job import JOB

from shopcalc import people_learned
from shopcalc.cli import main
from shopcalc.controls import quote_job
from shopcalc.controls.outcome import Outcome
from shopcalc.deciding import decide
from shopcalc.jobs import estimate, open_job
from shopcalc.jobs.counting import drivers
from shopcalc.logged import job_with_log, with_learned
from shopcalc.people_learned import DriverTimes, Finished, LearnedTimes, corrected, learn_phase, learn_times
from shopcalc.people_pages import left_out
from shopcalc.quote import price
from shopcalc.shop import Shop, copy_starter
from shopcalc.shoplog import ShopLog, TimeEntry
from shopcalc.shrinkage import TABLE_JOBS, Belief, prior, told_apart
from shopcalc.standard_times import PHASE_DRIVERS, average_share

NAMES = ("garden-gates", "linen-press", "pantry-door", "shutters")


@pytest.mark.parametrize("values", [(0.3,), (0.5, 0.1), (-0.2, 0.4, 0.25)])
def test_the_belief_is_what_integration_over_mean_and_variance_gives(values):
    """Prior and likelihood from scipy's distributions, summed over a grid by Simpson's rule."""
    start = Belief(-0.04, 2.0, 4.0, 0.22)
    after = start.after(values)
    mean, log_variance = np.linspace(-6, 6, 1601)[:, None], np.linspace(math.log(1e-4), math.log(60), 701)
    v = np.exp(log_variance)
    shape = start.freedom / 2
    density = stats.invgamma.logpdf(v, shape, scale=shape * start.scale**2) + log_variance
    density = density + stats.norm.logpdf(mean, start.mean, np.sqrt(v / start.count))
    density = np.exp(density + sum(stats.norm.logpdf(y, mean, np.sqrt(v)) for y in values))

    def over(weight):
        return integrate.simpson(integrate.simpson(weight * density, x=log_variance), x=mean[:, 0])

    whole = over(1.0)
    assert over(mean) / whole == pytest.approx(after.mean, abs=1e-4)
    expected = after.freedom * after.scale**2 / (after.freedom - 2)  # mean of a scaled inverse chi-square
    assert over(v) / whole == pytest.approx(expected, rel=3e-3)
    low, high = after.mean_within(0.95)
    assert over(mean < low) / whole == pytest.approx(0.025, abs=2e-3)
    assert over(mean < high) / whole == pytest.approx(0.975, abs=2e-3)
    low, high = after.next_within(0.8)
    assert over(stats.norm.sf((high - mean) / np.sqrt(v))) / whole == pytest.approx(0.1, abs=2e-4)


def test_one_after_the_other_is_all_at_once():
    values, start = [0.3, -0.1, 0.7, 0.2], prior(0.3)
    step = start
    for v in values:
        step = step.after([v])
    once = start.after(values)
    assert (step.mean, step.count, step.freedom) == pytest.approx((once.mean, once.count, once.freedom))
    assert step.scale == pytest.approx(once.scale)


@pytest.mark.parametrize("sigma", [0.12, 0.28, 0.6])
def test_before_any_job_the_rates_hold(sigma):
    start = prior(sigma)
    assert start.sigma == pytest.approx(sigma)
    assert math.exp(start.mean + start.sigma**2 / 2) == pytest.approx(1.0)  # the standard time is the mean
    assert start.after([]) is start


@pytest.mark.parametrize("n", [1, 3, 9, 200])
def test_the_pull_is_its_closed_form(n):
    """w = n / (n + k), k = s^2 / tau^2: the mean of one normal seen n times, pulled to a normal prior (section 2.5)."""
    jobs = [Finished(f"j{i}", "assembly", 3600.0, 3600.0 * 1.5) for i in range(n)]
    found = learn_phase(jobs, 0.25, 0.12)
    between, within = 0.3**2 / TABLE_JOBS, 0.3**2
    precision = n / within + 1 / between
    assert found.own == pytest.approx(n / within / precision)
    usual = math.exp(-(0.25**2 + 0.12**2) / 2)
    assert found.factor == pytest.approx((1.5 / usual) ** found.own)
    assert found.low < found.factor < found.high
    assert not found.odd


def test_many_equal_jobs_say_it_all():
    jobs = [Finished(f"j{i}", "assembly", 3600.0, 3600.0 * r) for i, r in enumerate((1.45, 1.55) * 500)]
    found = learn_phase(jobs, 0.25, 0.0)
    assert found.mean == pytest.approx(1.5, abs=0.005)  # mean of logged over planned
    assert found.spread == pytest.approx(np.std(np.log([1.45, 1.55])), abs=0.01)


def test_the_mean_of_drawn_hours_is_the_mean_that_is_quoted():
    """The log-normal that risk draws from has the quoted mean, and one job in ten lies beyond Student's ends."""
    jobs = [Finished(str(i), "assembly", 1.0, r) for i, r in enumerate((1.2, 1.5, 1.1, 1.9))]
    found = learn_phase(jobs, 0.25, 0.12)
    total = math.hypot(found.spread, 0.12)
    assert total == pytest.approx(found.sigma)
    belief = prior(math.hypot(0.25, 0.12)).after([math.log(j.ratio) for j in jobs])
    drawn = stats.lognorm(total, scale=math.exp(belief.mean))
    assert drawn.mean() == pytest.approx(found.mean)
    scale = belief.scale * math.sqrt(1 + 1 / belief.count)
    assert np.log(drawn.ppf(0.9)) == pytest.approx(stats.t(belief.freedom, belief.mean, scale).ppf(0.9), abs=1e-9)


def test_an_odd_job_is_shown_and_kept():
    jobs = [Finished(str(i), "assembly", 100.0, 100.0 * r) for i, r in enumerate((1.1, 1.2, 1.3, 1.2, 12.0))]
    found = learn_phase(jobs, 0.25, 0.12)
    assert found.odd == (jobs[4],)
    assert len(found.jobs) == 5
    assert found.without_odd == pytest.approx(learn_phase(jobs[:4], 0.25, 0.12).factor)
    assert found.factor > found.without_odd
    assert learn_phase(jobs[4:], 0.25, 0.12).odd == (jobs[4],)  # alone against the standard times


def covered(jobs, seeds, shop_of):
    """How often a shop's true factor lies in its interval of 95 %, and its next job in the band of 80 %."""
    inside = nexts = 0
    for seed in range(seeds):
        rng = np.random.default_rng(seed)
        usual, deviation = shop_of(rng)
        y = rng.normal(usual, deviation, jobs + 1)
        after = prior(0.28).after(y[:-1])
        low, high = after.mean_within(0.95)
        inside += low < usual < high
        low, high = after.next_within(0.8)
        nexts += low < y[-1] < high
    return inside / seeds, nexts / seeds


def drawn_shop(rng):
    start = prior(0.28)
    variance = start.freedom * start.scale**2 / rng.chisquare(start.freedom)
    return rng.normal(start.mean, math.sqrt(variance / start.count)), math.sqrt(variance)


@pytest.mark.parametrize("jobs", [1, 4, 12])
def test_intervals_hold_in_shops_as_assumed(jobs):
    """400 shops: three standard errors of the share are 3.3 and 6 points."""
    inside, nexts = covered(jobs, 400, drawn_shop)
    assert inside == pytest.approx(0.95, abs=0.034)
    assert nexts == pytest.approx(0.8, abs=0.06)


@pytest.mark.parametrize(("usual", "deviation"), [(0.0, 0.2), (math.log(1.25), 0.25), (math.log(0.8), 0.15)])
def test_intervals_hold_in_shops_of_another_kind(usual, deviation):
    """One fixed way of working, six jobs, 200 seeds: not fewer than nine in ten."""
    inside, nexts = covered(6, 200, lambda rng: (usual, deviation))
    assert inside >= 0.9
    assert 0.72 <= nexts <= 0.95


def test_steps_are_told_apart_as_conditioning_a_normal_says():
    """Oracle: all that is unknown as one normal with its covariance, given the observations (section 14.8)."""
    rng = np.random.default_rng(5)
    shares = rng.dirichlet([1.0, 2.0, 0.7], 7)
    values = rng.normal(0.1, 0.3, 7)
    usual = shares.mean(axis=0)
    apart, take_off = shares - usual, np.eye(3) - usual
    prior_cov = np.eye(3) / TABLE_JOBS  # in units of the variance of one observation
    seen = apart @ prior_cov @ apart.T + np.eye(7)
    gain = prior_cov @ apart.T @ np.linalg.inv(seen)
    left = prior_cov - gain @ apart @ prior_cov
    beyond, told = told_apart(shares, values)
    assert beyond == pytest.approx(take_off @ gain @ (values - values.mean()))
    variances = [np.diag(take_off @ c @ take_off.T) for c in (left, prior_cov)]
    assert told == pytest.approx(1 - variances[0] / variances[1])
    assert beyond @ usual == pytest.approx(0.0, abs=1e-12)  # the usual mix is the phase's


def test_equal_mixes_tell_nothing_apart():
    beyond, told = told_apart(np.tile([0.3, 0.7], (50, 1)), np.linspace(-1, 1, 50))
    assert beyond == pytest.approx([0.0, 0.0], abs=1e-12)
    assert told == pytest.approx([0.0, 0.0], abs=1e-12)


@pytest.mark.parametrize(("jobs", "tells"), [(3, False), (60, True)])
def test_a_shop_slow_in_one_step_is_found_out_by_many_jobs(jobs, tells):
    rng = np.random.default_rng(7)
    done = []
    for k in range(jobs):
        a = rng.uniform(0.1, 0.9)
        logged = 3600 * (a * 1.5 + (1 - a) * 0.9) * math.exp(rng.normal(0, 0.1))
        done.append(Finished(str(k), "setup", 3600.0, logged, {"load_per_load": a, "zero_per_load": 1 - a}))
    found = learn_phase(done, 0.3, 0.12)
    assert bool(found.drivers) == tells
    if tells:
        factors = {d.driver: found.factor * d.beyond for d in found.drivers}
        ratio = factors["load_per_load"] / factors["zero_per_load"]
        assert ratio == pytest.approx(1.5 / 0.9, rel=0.15)
        assert ratio > 1.2  # still pulled a little to "both alike"


# --- in the shop -----------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def starter(tmp_path_factory):
    folder = copy_starter(tmp_path_factory.mktemp("shops") / "starter")
    (folder / "jobs" / "rails.toml").write_text(JOB, encoding="utf-8")
    return folder


@pytest.fixture
def folder(starter, tmp_path):
    shutil.copytree(starter, tmp_path / "shop")
    return tmp_path / "shop"


def standard(shop, name, phase):
    """Seconds of a phase by the table, counted here once more."""
    job = open_job(shop.folder / "jobs" / f"{name}.toml", shop)
    counts, r = drivers(job, shop), shop.rates
    return sum(counts[d] * r.minutes[d] * average_share(r.learning[d], job.quantity) for d in PHASE_DRIVERS[phase])


def log_finished(folder, ratio=1.4, names=NAMES, phase="assembly"):
    shop = Shop.open(folder)
    with ShopLog.of(folder) as log:
        for name in names:
            half = ratio * standard(shop, name, phase) / 2
            log.add(TimeEntry(name, phase=phase, seconds=half), operator="Ann")
            log.add(TimeEntry(name, phase=phase, seconds=half, done=True), operator="Bob")


def test_a_quote_takes_what_finished_jobs_taught(folder):
    shop = Shop.open(folder)
    rails = open_job(folder / "jobs" / "rails.toml", shop)
    assert job_with_log(rails) is rails
    before = estimate(rails)
    log_finished(folder)
    job = job_with_log(rails)
    after = estimate(job)
    ratio = after.hours["assembly"].best / before.hours["assembly"].best
    with ShopLog.of(folder, writable=False) as log:
        found = learn_times(shop, log).phases["assembly"]
    assert ratio == pytest.approx(found.mean, rel=1e-3)
    assert [j.ratio for j in found.jobs] == pytest.approx([1.4] * 4)
    assert 1.2 < ratio < 1.4
    assert job.shop.rates.spread["assembly"] == found.spread
    assert after.hours["stock"] == before.hours["stock"]
    note = next(w for w in after.warnings if w.startswith("standard times corrected"))
    assert f"assembly × {found.mean:.2f} (n = 4, w = 0.80" in note
    plain = job_with_log(rails, learned=False)
    assert estimate(plain).hours == before.hours
    assert plain.shop.rates == shop.rates


def test_the_learned_spread_is_what_risk_draws(folder):
    log_finished(folder, names=NAMES[:1], ratio=3.0)
    job = job_with_log(open_job(folder / "jobs" / "rails.toml", Shop.open(folder)))
    e, rates = estimate(job), job.shop.rates
    usual = Shop.open(folder).rates.spread["assembly"]
    assert rates.spread["assembly"] > usual
    same = replace(job.shop, rates=rates.with_(spread={**rates.spread, "assembly": usual}))
    wide, narrow = price(e), price(e, same)
    assert wide.p90 > narrow.p90
    assert [line for line in wide.lines if line.name == "assembly"] == [
        line for line in narrow.lines if line.name == "assembly"
    ]


def test_a_job_does_not_teach_its_own_plan(folder):
    log_finished(folder)
    gates = open_job(folder / "jobs" / "garden-gates.toml", Shop.open(folder))
    with ShopLog.of(folder, writable=False) as log:
        note = with_learned(gates, log).warnings[-1]
    assert "(n = 3," in note


def test_undoing_an_entry_undoes_what_was_learned_of_it(folder):
    log_finished(folder)
    shop = Shop.open(folder)
    with ShopLog.of(folder) as log:
        before = learn_times(shop, log)
        more = 12 * standard(shop, "rails", "assembly")
        log.add(TimeEntry("rails", phase="assembly", seconds=more, done=True), operator="Ann")
        changed = learn_times(shop, log)
        assert [j.job for j in changed.phases["assembly"].odd] == ["rails"]
        log.undo(operator="Ann")
        assert learn_times(shop, log) == before


def test_only_what_is_finished_and_planned_by_standard_times_counts(folder):
    said = JOB + '\n[phases]\nstock = "3 h"\n'
    (folder / "jobs" / "said.toml").write_text(said.replace("Two rails", "Said rails"), encoding="utf-8")
    (folder / "jobs" / "broken.toml").write_text("[job]\nname = 3\n", encoding="utf-8")
    with ShopLog.of(folder) as log:
        for t in (
            TimeEntry("garden-gates", phase="stock", seconds=900.0),  # not finished
            TimeEntry("said", phase="stock", seconds=900.0, done=True),
            TimeEntry("broken", phase="stock", seconds=900.0, done=True),
            TimeEntry("gone", phase="stock", seconds=900.0, done=True),
            TimeEntry("rails", phase="finishing", seconds=900.0, done=True),  # it carves
            TimeEntry("rails", "gains", phase="machining", seconds=900.0, done=True),
            TimeEntry("two-rails-and-a-carved-panel", phase="setup", seconds=900.0, done=True),  # by its name
            TimeEntry("rails", phase="setup", seconds=900.0),
        ):
            log.add(t, operator="Ann")
        found = learn_times(Shop.open(folder), log)
    assert list(found.phases) == ["setup"]
    (only,) = found.phases["setup"].jobs
    assert (only.job, only.logged) == ("rails", 1800.0)
    told = "\n".join(found.left_out)
    for words in ("said, stock: its job file says", "broken, stock: its job file is refused", "gone, stock: this shop",
                  "rails, finishing: it sands a carving"):  # fmt: skip
        assert words in told
    many = LearnedTimes({}, tuple(f"job {i}, stock: it is odd" for i in range(9)))
    assert left_out(many) == (
        f"not compared, because it is odd: {', '.join(f'job {i} stock' for i in range(6))} and 3 more",
    )


@pytest.mark.parametrize(
    ("ratio", "counts"), [(1 / 60, False), (1 / 19, True), (1.4, True), (19.0, True), (60.0, False)]
)
def test_a_time_in_the_wrong_unit_teaches_nothing_and_is_told(folder, ratio, counts):
    """Hours for minutes are sixty times too many: quotes go on by what the other jobs say."""
    log_finished(folder, names=[n for n in NAMES if n != "rails"])
    shop = Shop.open(folder)
    with ShopLog.of(folder, writable=False) as log:
        before = learn_times(shop, log)
    log_finished(folder, ratio=ratio, names=["rails"])
    with ShopLog.of(folder, writable=False) as log:
        after = learn_times(shop, log)
    assert (after.phases != before.phases) == counts
    told = [n for n in after.notes if n.startswith("not counted: rails, assembly: ")]
    assert bool(told) != counts
    assert all("were planned: hours for minutes" in n for n in told)


def test_changed_standard_times_are_not_corrected_twice(folder):
    log_finished(folder)
    shop = Shop.open(folder)
    doubled = {d: 2 * s for d, s in shop.rates.minutes.items()}
    with ShopLog.of(folder, writable=False) as log:
        one = learn_times(shop, log).phases["assembly"]
        two = learn_times(replace(shop, rates=shop.rates.with_(minutes=doubled)), log).phases["assembly"]
    assert [j.ratio for j in two.jobs] == pytest.approx([j.ratio / 2 for j in one.jobs])


def test_nothing_learned_changes_nothing(folder):
    shop = Shop.open(folder)
    with ShopLog.of(folder) as log:
        assert corrected(shop.rates, learn_times(shop, log)) is shop.rates


def test_the_commands_say_it(folder, capsys):
    assert main(["log", "times", "--shop", str(folder)]) == 2  # there is no log yet
    capsys.readouterr()
    log_finished(folder)
    assert main(["log", "times", "--shop", str(folder)]) == 0
    text = capsys.readouterr().out
    for words in ("assembly", "× 1.4", "20 %", "garden-gates", "The standard times count as 1 finished job"):
        assert words in text
    assert main(["log", "times", "--shop", str(folder), "--json"]) == 0
    (phase,) = json.loads(capsys.readouterr().out)["phases"]
    assert (phase["phase"], phase["jobs"]) == ("assembly", 4)
    assert phase["own_share"] == pytest.approx(4 / (4 + TABLE_JOBS))
    job = str(folder / "jobs" / "rails.toml")
    quoted = []
    for flag in ((), ("--standard-times",)):
        assert main(["quote", job, "--shop", str(folder), "--json", *flag]) == 0
        quoted.append(json.loads(capsys.readouterr().out))
    hours = [q["hours"]["assembly"]["planned"] for q in quoted]
    assert hours[0] / hours[1] == pytest.approx(phase["mean_factor"], rel=1e-3)


def test_the_sheets_read_the_log_too(folder):
    """Notebook 06: the quantity that was made has the clock's hours, another one the corrected standard times."""
    shop = Shop.open(folder)
    job = open_job(folder / "jobs" / "rails.toml", shop)
    plain = estimate(job).hours
    log_finished(folder)
    with ShopLog.of(folder) as log:
        log.add(TimeEntry("rails", phase="stock", seconds=7200.0, done=True), operator="Ann")
    sheet = quote_job(shop, job)
    hours = sheet.estimate.hours
    assert (hours["stock"].logged, hours["stock"].best) == (2.0, 2.0)
    taught = job_with_log(job).shop.rates
    assert sheet.shop.rates == taught
    assert hours["assembly"].best > 1.2 * plain["assembly"].best
    assert sheet.price.as_json() == price(estimate(job_with_log(job))).as_json()
    assert decide(sheet.price).turns
    sheet.quantity.value = 3
    assert sheet.estimate.hours["stock"].logged is None
    assert sheet.estimate.hours["stock"].best > 2 * plain["stock"].best


def test_a_frame_that_is_dragged_reads_the_log_once(folder, monkeypatch):
    log_finished(folder, names=NAMES[:1])
    job = open_job(folder / "jobs" / "pantry-door.toml", Shop.open(folder))
    shown, reads = Outcome(), []
    read = people_learned.learn_times
    monkeypatch.setattr("shopcalc.logged.learn_times", lambda *a, **k: reads.append(1) or read(*a, **k))
    shown.show(job)
    shown.show(job)
    assert len(reads) == 1
    assert shown.estimate.hours == estimate(job_with_log(job)).hours
    assert "standard times corrected" in shown.remarks.value


def test_each_step_takes_its_own_factor(folder):
    shop = Shop.open(folder)
    job = Finished("a", "setup", 3600.0, 4000.0)
    setup = replace(learn_phase([job], 0.3, 0.12), drivers=(DriverTimes("load_per_load", 0.6, 1.3),))
    rates = corrected(shop.rates, LearnedTimes({"setup": setup}))
    for d in PHASE_DRIVERS["setup"]:
        wanted = setup.mean * (1.3 if d == "load_per_load" else 1.0)
        assert rates.minutes[d] == pytest.approx(wanted * shop.rates.minutes[d], rel=1e-3)
    assert all(rates.minutes[d] == shop.rates.minutes[d] for d in PHASE_DRIVERS["assembly"])
