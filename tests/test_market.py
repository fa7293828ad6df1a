"""Market price by quotes won and lost: against scipy's optimiser and Student's t with one degree, in simulated shops.

Priors: A. Gelman et al., A weakly informative default prior distribution for logistic and other regression models,
Annals of Applied Statistics 2 (2008) 1360-1383.
"""

import datetime
import json
import re
from decimal import Decimal

import numpy as np
import pytest
from inner_numbers import leaks, of_page, of_pdf, of_workbook, spellings
from scipy import integrate, optimize, stats
from scipy.special import expit

from shopcalc.cli import main
from shopcalc.deciding import as_json, as_text, decide, tables
from shopcalc.deciding.market import LEAST, Outcome, demand, market, outcomes, weighted_quantiles
from shopcalc.documents.page import as_page
from shopcalc.documents.pdf import as_pdf
from shopcalc.documents.workbook import as_workbook
from shopcalc.jobs import estimate, open_job
from shopcalc.logged import job_with_log
from shopcalc.quote import price
from shopcalc.sheets import customer_quote, read_terms
from shopcalc.shop import Shop, copy_starter
from shopcalc.shoplog import QuoteOutcome, ShopLog, TimeEntry


@pytest.fixture(scope="module")
def priced():
    shop = Shop.open()
    return price(estimate(open_job(shop.folder / "jobs" / "garden-gates.toml", shop), shop), shop)


def drawn(n, seed, level=0.3, slope=-8.0, middle=0.2, width=0.12):
    """Quotes of a shop whose odds fall with ln(price / floor)."""
    rng = np.random.default_rng(seed)
    x = rng.normal(middle, width, n)
    won = rng.random(n) < expit(level + slope * (x - middle))
    return [Outcome(str(i), float(np.exp(v)), bool(w)) for i, (v, w) in enumerate(zip(x, won, strict=True))]


def standardised(found):
    x = np.log([o.ratio for o in found])
    return (x - x.mean()) / (2 * x.std()), np.array([o.won for o in found])


def log_posterior(level, slope, z, won):
    out = stats.t.logpdf(level, 1, scale=10) + stats.t.logpdf(slope, 1, scale=2.5)
    for place, taken in zip(z, won, strict=True):
        out = out + stats.bernoulli.logpmf(int(taken), expit(level + slope * place))
    return out


@pytest.mark.parametrize("n", [8, 30])
def test_the_grid_is_the_posterior(n):
    """Means and the likeliest pair by quadrature and Nelder-Mead on scipy's own densities."""
    found = drawn(n, 4)
    z, won = standardised(found)
    d = demand(found)
    level, slope = np.linspace(-15, 15, 601)[:, None], np.linspace(-40, 0, 801)
    density = np.exp(log_posterior(level, slope, z, won) - log_posterior(0.0, -1.0, z, won))

    def over(weight):
        return integrate.simpson(integrate.simpson(weight * density, x=slope), x=level[:, 0])

    whole = over(1.0)
    assert d.level @ d.weight == pytest.approx(over(level) / whole, abs=0.02)
    for ratio in (1.05, 1.25, 1.5):
        at = (np.log(ratio) - d.middle) / d.scale
        assert d.chance(ratio)[1] == pytest.approx(over(expit(level + slope * at)) / whole, abs=0.003)
    best = optimize.minimize(
        lambda p: -log_posterior(p[0], p[1], z, won), (0.0, -1.0), method="Nelder-Mead", options={"xatol": 1e-6}
    ).x
    prior = stats.t.pdf(d.level, 1, scale=10) * stats.t.pdf(d.slope, 1, scale=2.5)
    likely = np.argmax(d.weight * prior)
    assert (d.level[likely], d.slope[likely]) == pytest.approx(tuple(best), abs=0.12)


def test_dearer_never_sells_better():
    upside_down = [Outcome(str(i), r, r > 1.2) for i, r in enumerate((1.0, 1.1, 1.15, 1.25, 1.3, 1.4))]
    chances = demand(upside_down).chances(np.linspace(0.9, 1.6, 15))
    assert (np.diff(chances, axis=1) <= 0).all()


def test_quotes_won_below_and_lost_above_do_not_run_away():
    """Complete separation has no greatest likelihood; the priors keep the odds finite."""
    parted = [Outcome(str(i), r, r < 1.2) for i, r in enumerate((1.0, 1.05, 1.1, 1.3, 1.35, 1.4))]
    low, mean, high = demand(parted).chance(1.2)
    assert low < 0.5 < high
    assert 0.3 < mean < 0.7


def test_many_quotes_find_the_shop_again():
    hits = 0
    for seed in range(30):
        d = demand(drawn(40, seed))
        low, _, high = d.chance(float(np.exp(0.25)))
        hits += low < expit(0.3 - 8 * 0.05) < high
    assert hits / 30 >= 0.58  # 80 % by design; three standard errors are 22 points
    d = demand(drawn(2000, 1))
    for x in (0.1, 0.2, 0.35):
        assert d.chance(float(np.exp(x)))[1] == pytest.approx(expit(0.3 - 8 * (x - 0.2)), abs=0.03)


def test_the_best_price_is_what_the_true_odds_say(priced):
    m = market(priced, drawn(1500, 2))
    floor = float(priced.floor)
    cost = floor - float(next(line.amount for line in priced.lines if line.name == "risk"))
    prices = np.linspace(*map(float, m.tried), 4001)
    gains = expit(0.3 - 8 * (np.log(prices / floor) - 0.2)) * (prices - cost)
    assert float(m.best) == pytest.approx(prices[gains.argmax()], rel=0.03)
    assert float(m.earns_best) == pytest.approx(gains.max(), rel=0.05)
    assert m.low <= m.best <= m.high
    assert m.earns_best >= m.earns_asked


def test_few_quotes_leave_a_wide_band(priced):
    widths, odds = {}, {}
    for n in (8, 200):
        found = [market(priced, drawn(n, seed)) for seed in range(5)]
        widths[n] = sum(m.high - m.low for m in found if m is not None) / len(found)
        odds[n] = sum(m.chance_asked[2] - m.chance_asked[0] for m in found if m is not None) / len(found)
        assert all(any("outcomes are few" in t for t in m.doubts) == (n == 8) for m in found)
    assert float(widths[8]) > 1.5 * float(widths[200])  # it ends where nothing was tried
    assert odds[8] > 3 * odds[200]  # 5 by the root of their number


@pytest.mark.parametrize("found", [drawn(LEAST - 1, 1), [Outcome(str(i), 1.2, True) for i in range(9)], []])
def test_too_few_say_nothing(priced, found):
    assert market(priced, found) is None


def test_alike_prices_are_answered(priced):
    m = market(priced, [Outcome(str(i), 1.25, i % 2 == 0) for i in range(6)])
    assert m.best == m.tried[0] == m.tried[1]
    assert any("end of what was tried" in t for t in m.doubts)


def test_weighted_quantiles_are_the_plain_ones_of_repeated_values():
    values, times = np.array([3.0, 1.0, 2.0]), np.array([1, 2, 3])
    again = np.sort(np.repeat(values, times))
    for share in (0.1, 0.4, 0.6, 0.9):
        (got,) = weighted_quantiles(values, times / 6, (share,))
        assert got == np.quantile(again, share, method="inverted_cdf")


# --- in the shop -----------------------------------------------------------------------------------------------------


def kept(asked, floor=1000.0):
    return json.dumps({"price": {"asked": asked, "floor": floor}})


def test_the_last_word_on_each_job_counts(tmp_path):
    with ShopLog.of(copy_starter(tmp_path / "shop")) as log:
        for q in (
            QuoteOutcome("a", "open", quote=kept(1300)),
            QuoteOutcome("a", "won", quote=kept(1500)),  # priced anew since; the customer was asked 1300
            QuoteOutcome("b", "lost", quote=kept(1400), paid=Decimal(900)),  # paid to another shop
            QuoteOutcome("c", "won", quote=kept(1400), paid=Decimal(1200)),
            QuoteOutcome("d", "lost", quote=kept(1400)),
            QuoteOutcome("d", "open", quote=kept(1100)),  # asked again, not decided
            QuoteOutcome("e", "won"),
            QuoteOutcome("f", "lost", quote=kept(1250)),
        ):
            log.add(q, operator="Ann")
        log.undo(operator="Ann")
        assert outcomes(log) == (Outcome("a", 1.3, True), Outcome("b", 1.4, False), Outcome("c", 1.2, True))


def test_the_card_shows_it_and_nothing_without_outcomes(tmp_path, capsys):
    folder = copy_starter(tmp_path / "shop")
    shop = Shop.open(folder)
    own = price(estimate(open_job(folder / "jobs" / "garden-gates.toml", shop), shop), shop)
    assert decide(own).market is None
    assert as_json(decide(own))["market"] is None
    with ShopLog.of(folder) as log:
        for o in drawn(9, 3):
            outcome = "won" if o.won else "lost"
            log.add(QuoteOutcome(f"job {o.job}", outcome, quote=kept(1000 * o.ratio)), operator="Ann")
    card = decide(own)
    assert card.market is not None
    text = as_text(tables(card))
    for words in ("What the market bears", "greatest expected earnings", "few", f"{card.market.best:,.0f}"):
        assert words in text
    job = str(folder / "jobs" / "garden-gates.toml")
    assert main(["quote", job, "--shop", str(folder), "--show", "decision", "--json"]) == 0
    shown = json.loads(capsys.readouterr().out)["shown"]["decision"]["market"]
    assert shown["best"] == float(card.market.best)
    assert shown["won"] + shown["lost"] == 9


def test_the_customer_reads_nothing_of_it(tmp_path):
    """Neither what the market bears nor what the log taught stands in the customer's quote, in any form."""
    folder = copy_starter(tmp_path / "shop")
    with ShopLog.of(folder) as log:
        for o in drawn(9, 3):
            outcome = "won" if o.won else "lost"
            log.add(QuoteOutcome(f"job {o.job}", outcome, quote=kept(1000 * o.ratio)), operator="Ann")
        log.add(TimeEntry("linen-press", phase="assembly", seconds=61_234.0, done=True), operator="Ann")
    shop = Shop.open(folder)
    own = price(estimate(job_with_log(open_job(folder / "jobs" / "garden-gates.toml", shop))))
    assert any(w.startswith("standard times corrected") for w in own.warnings)
    m = decide(own).market
    inner = [m.best, m.low, m.high, *m.tried, m.earns_best, m.earns_asked]
    inner += [Decimal(100 * c) for c in (*m.chance_best, *m.chance_asked)]
    public = (own.asked, own.asked / own.estimate.job.quantity)
    made = customer_quote(own, read_terms(folder), datetime.date(2026, 3, 2))
    for found in (of_page(as_page(made))[0], of_pdf(as_pdf(made)[0]), of_workbook(as_workbook(made))):
        text = " ".join(found)
        assert "won" not in text.split()
        assert "corrected" not in text
        assert leaks(found, own, public) == []
        tokens = set(re.findall(r"\d+(?:[.,]\d+)*", text)) - {s for p in public for s in spellings(p)}
        assert not [v for v in inner if {f"{v:,.2f}", f"{v:.2f}", f"{v:,.0f}", f"{v:.1f}"} & tokens and v > 100]
