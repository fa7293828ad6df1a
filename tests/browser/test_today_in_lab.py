"""The page of the day on a tablet: START, reload, STOP, with nothing typed and nothing asked of any other computer."""

import pytest

pytestmark = pytest.mark.browser

SMALL = """() => [...document.querySelectorAll('.shop-today button')].map(b => b.getBoundingClientRect())
  .filter(r => r.height < 44 || r.width < 44 || r.right > innerWidth).length"""

WIDE = """() => { const edge = document.querySelector('.shop-today').getBoundingClientRect().right + 1;
  return [...document.querySelectorAll('.shop-today table, .shop-today p')].filter(
    e => e.getBoundingClientRect().right > edge).map(e => e.innerText); }"""

#: Words of a table's head that do not stand on one line.
BROKEN = """() => [...document.querySelectorAll('.shop-today th')].flatMap(th => {
  const text = th.firstChild, said = text.data;
  return [...said.matchAll(/[^\\s,]+/g)].filter(w => {
    const range = document.createRange(); range.setStart(text, w.index); range.setEnd(text, w.index + w[0].length);
    return new Set([...range.getClientRects()].map(r => Math.round(r.top))).size > 1; }).map(w => w[0]); })"""


def reload(page):
    from conftest import IDLE

    page.evaluate("() => window.jupyterapp.commands.execute('docmanager:save')")
    page.wait_for_timeout(1500)
    page.goto(page.url.replace("?reset", ""))
    page.wait_for_function(IDLE, timeout=90_000)


def test_start_reload_and_stop(run_all, page, tmp_path):
    from conftest import IDLE

    page.outside.clear()
    usual = page.viewport_size
    page.set_viewport_size({"width": 820, "height": 1180})
    try:
        run_all("00-today.ipynb")
        first = page.locator("button.shop-start")
        first.wait_for(timeout=45_000)
        page.wait_for_function(IDLE, timeout=120_000)
        assert page.evaluate("() => document.querySelectorAll('.shop-today button').length") > 5
        assert page.evaluate(SMALL) == 0
        assert page.evaluate(WIDE) == []
        for width in (768, 820, 1024):  # the list of files stays open
            page.set_viewport_size({"width": width, "height": 1180})
            page.wait_for_timeout(500)
            assert page.evaluate(BROKEN) == [], width
            assert page.evaluate(WIDE) == [], width
            table = page.locator(".shop-today .shop-table", has_text="loads left")
            table.scroll_into_view_if_needed()
            page.screenshot(path=str(tmp_path / f"today-{width}.png"))
        page.set_viewport_size({"width": 820, "height": 1180})
        page.locator(".shop-today").evaluate("e => e.scrollIntoView()")
        page.screenshot(path=str(tmp_path / "today.png"))
        load = first.inner_text().removeprefix("▶ START").split(" of ")[0].strip()
        first.focus()
        page.keyboard.press("Space")  # by keyboard
        running = page.get_by_role("button", name=f"■ STOP {load}")
        running.wait_for(timeout=20_000)
        first.scroll_into_view_if_needed()
        page.screenshot(path=str(tmp_path / "running.png"))
        assert load not in first.inner_text()
        reload(page)
        running.wait_for(timeout=60_000)
        running.click()
        page.get_by_text("■ Stopped:").wait_for(timeout=20_000)
        assert page.locator(".shop-today s", has_text=load).count() == 1
        page.get_by_role("button", name="show millimetres").click()
        page.locator(".shop-today .shop-table", has_text="mm").first.wait_for(timeout=20_000)
        page.screenshot(path=str(tmp_path / "stopped.png"))
        page.locator(".shop-today h3").last.scroll_into_view_if_needed()
        page.screenshot(path=str(tmp_path / "below.png"))
        assert page.locator("[data-mime-type='application/vnd.jupyter.error']").count() == 0
        assert page.outside == []
    finally:
        page.screenshot(path=str(tmp_path / "last.png"))
        page.set_viewport_size(usual)
