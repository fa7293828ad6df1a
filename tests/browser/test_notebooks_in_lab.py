"""The notebooks as people use them: run, drag, look, reload; with nothing asked of any other computer."""

import re

import pytest

pytestmark = pytest.mark.browser

CHARTS = "() => [...document.querySelectorAll('.js-plotly-plot')].filter(g => g.data && g.data.length).length"
BARS = """() => { const g = [...document.querySelectorAll('.js-plotly-plot')].find(g => g.data?.[0]?.type === 'bar');
  return g ? [...g.data[0].x].map(Number) : []; }"""
#: The cells that move the sliders are through: a later one shows another program.
SLIDERS_LEFT_ALONE = """() => [...document.querySelectorAll('.js-plotly-plot')].some(
    g => (g.layout?.title?.text ?? '').startsWith('Plan: lid-lettering'))"""
PRICES = """() => { const g = [...document.querySelectorAll('.js-plotly-plot')].find(
    g => g.data?.[1]?.name === 'floor and asked price');
  return g ? [...g.data[1].x].map(Number) : []; }"""


def drag(page, number, by):
    """Drag the handle of the n-th slider sideways."""
    handle = page.locator(".widget-slider .noUi-handle").nth(number)
    handle.scroll_into_view_if_needed()
    box = None
    while box != (box := handle.bounding_box()):  # charts above that come late push it down
        page.wait_for_timeout(1000)
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + by, y, steps=8)
    page.mouse.up()


def answer(page):
    return page.locator(".shop-big").first.inner_text()


def wait_for_change(page, before):
    now = "(document.querySelector('.shop-big')?.innerText || before)"
    page.wait_for_function(f"before => {now} !== before", arg=before)


def reload(page, idle):
    page.evaluate("() => window.jupyterapp.commands.execute('docmanager:save')")
    page.wait_for_timeout(500)
    page.reload()
    page.wait_for_function(idle, timeout=90_000)
    page.locator(".shop-big").first.wait_for(timeout=60_000)


def test_program_time_follows_its_sliders_and_survives_a_reload(run_all, page, tmp_path):
    from conftest import IDLE

    run_all("03-program-time.ipynb")
    page.locator(".shop-big").first.wait_for(timeout=90_000)
    page.wait_for_function(f"() => ({CHARTS})() >= 4", timeout=60_000)
    page.wait_for_function(SLIDERS_LEFT_ALONE, timeout=60_000)
    page.wait_for_function(IDLE, timeout=90_000)
    before, bars = answer(page), page.evaluate(BARS)
    drag(page, 3, -60)  # feed as run, slower
    wait_for_change(page, before)
    slower = answer(page)
    share = float(page.get_by_label("feed as run, % of program").input_value())
    assert share < 100
    page.wait_for_function(f"before => Math.abs(({BARS})()[0] - before) > 0.01", arg=bars[0])
    moved = page.evaluate(BARS)
    assert sum(moved) > sum(bars)
    page.screenshot(path=str(tmp_path / "program-time.png"), full_page=True)
    reload(page, IDLE)
    page.wait_for_function(f"() => ({CHARTS})() >= 4", timeout=60_000)
    assert answer(page) == slower
    assert page.evaluate(BARS) == pytest.approx(moved)
    assert page.outside == []


def test_the_quote_follows_its_sliders_and_survives_a_reload(run_all, page, tmp_path):
    from conftest import IDLE

    run_all("06-quote-a-job.ipynb")
    page.locator(".shop-big").first.wait_for(timeout=90_000)
    page.wait_for_function(f"() => ({CHARTS})() === 3", timeout=60_000)
    page.wait_for_function(IDLE, timeout=90_000)
    before, prices = answer(page), page.evaluate(PRICES)
    drag(page, 3, 60)  # margin, wider
    wait_for_change(page, before)
    page.wait_for_function(f"before => ({PRICES})()[1] > before + 1", arg=prices[1])
    now = page.evaluate(PRICES)
    asked = float(re.search(r"asked ([\d,]+)", answer(page))[1].replace(",", ""))
    assert now[0] == pytest.approx(prices[0])
    assert now[1] == pytest.approx(asked, abs=1)
    page.screenshot(path=str(tmp_path / "quote.png"), full_page=True)
    turns = page.locator(".js-plotly-plot:visible").filter(has_text="all hours together")
    turns.scroll_into_view_if_needed()
    page.screenshot(path=str(tmp_path / "decision.png"), full_page=True)
    page.locator("caption:visible", has_text="Where the next hour is").scroll_into_view_if_needed()
    page.screenshot(path=str(tmp_path / "next.png"), full_page=True)
    told = answer(page)
    reload(page, IDLE)
    page.wait_for_function(f"() => ({CHARTS})() === 3", timeout=60_000)
    assert answer(page) == told
    assert page.evaluate(PRICES) == pytest.approx(now)
    assert page.outside == []
