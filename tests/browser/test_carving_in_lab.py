"""Carving hours as people use them: frame a place, go back, take an offer, undo, change units; then reload."""

import pytest

pytestmark = pytest.mark.browser

TITLES = ("The artwork", "What the cutters leave", "Detail left")
#: Title, ranges and image of each picture of the carving, and what the answer says.
SEEN = """() => ({
  answer: document.querySelector('.shop-big')?.innerText ?? '',
  pictures: Object.fromEntries([...document.querySelectorAll('.js-plotly-plot')].filter(
    g => g._fullLayout?.title?.text && g.layout.images?.length).map(g => [g._fullLayout.title.text.split('<')[0], {
      title: g._fullLayout.title.text, x: [...g._fullLayout.xaxis.range].map(Number),
      y: [...g._fullLayout.yaxis.range].map(Number), image: g.layout.images[0].source.length,
      drawn: g.querySelectorAll('image').length, box: (r => [r.x, r.y, r.width, r.height])(
        g.querySelector('.nsewdrag')?.getBoundingClientRect() ?? {})}]))})"""


def settle(page, until):
    """What is shown as soon as it is as asked."""
    from conftest import IDLE

    for _ in range(200):
        page.wait_for_timeout(100)
        page.wait_for_function(IDLE, timeout=120_000)
        seen = page.evaluate(SEEN)
        if all(t in seen["pictures"] for t in TITLES) and until(seen):
            page.wait_for_timeout(300)
            return page.evaluate(SEEN)
    pytest.fail(f"the pictures did not follow: {page.evaluate(SEEN)}")
    return None


def in_sight(page):
    for _ in range(120):
        page.evaluate("() => window.jupyterapp.shell.currentWidget?.content?.scrollToItem?.(3, 'start')")
        if page.locator(".shop-big").first.is_visible():
            return
        page.wait_for_timeout(1000)
    pytest.fail("no answer came into sight")


def to_the_pictures(page):
    page.evaluate(
        "() => [...document.querySelectorAll('.shop-heading')].find(h => h.innerText === 'What comes of it')"
        ".scrollIntoView()"
    )
    page.wait_for_timeout(800)


def one_window(seen):
    return {(tuple(p["x"]), tuple(p["y"])) for p in seen["pictures"].values()}


def test_framing_taking_undoing_and_reloading(run_all, page):
    from conftest import IDLE

    run_all("05-carving-hours.ipynb")
    in_sight(page)
    page.wait_for_function(IDLE, timeout=240_000)
    to_the_pictures(page)
    whole = settle(page, lambda s: "TB3" in s["pictures"][TITLES[1]]["title"])
    assert len(one_window(whole)) == 1
    assert all(p["drawn"] == 1 and p["image"] > 5000 for p in whole["pictures"].values())

    x, y, wide, tall = whole["pictures"][TITLES[0]]["box"]
    page.mouse.move(x + 0.45 * wide, y + 0.05 * tall)
    page.mouse.down()
    page.mouse.move(x + 0.6 * wide, y + 0.2 * tall, steps=6)
    page.mouse.move(x + 0.75 * wide, y + 0.3 * tall, steps=6)
    page.mouse.up()
    close = settle(page, lambda s: s["pictures"][TITLES[2]]["x"] != whole["pictures"][TITLES[2]]["x"])
    assert len(one_window(close)) == 1
    (low, high), (first, last) = close["pictures"][TITLES[0]]["x"], whole["pictures"][TITLES[0]]["x"]
    assert first < low < high < last
    look = page.get_by_label("look at")
    look.focus()
    for key in ("Space", "ArrowDown", "Enter"):
        page.keyboard.press(key)
        page.wait_for_timeout(300)
    place = settle(page, lambda s: one_window(s) != one_window(close))
    assert len(one_window(place)) == 1
    page.get_by_role("button", name="back to the whole").first.click()
    settle(page, lambda s: one_window(s) == one_window(whole))

    page.get_by_role("button", name="take the quick one").click()
    quick = settle(page, lambda s: "BALL6" in s["pictures"][TITLES[1]]["title"])
    assert quick["answer"] != whole["answer"]
    to_the_pictures(page)
    page.get_by_role("button", name="undo", exact=True).first.click()
    again = settle(page, lambda s: "TB3" in s["pictures"][TITLES[1]]["title"])
    assert again["answer"] == whole["answer"]

    page.get_by_label("units").first.select_option(label="metric: mm")
    metric = settle(page, lambda s: s["pictures"][TITLES[0]]["x"][1] > 20)
    assert metric["pictures"][TITLES[0]]["x"][1] == pytest.approx(whole["pictures"][TITLES[0]]["x"][1] * 25.4)
    page.evaluate("() => window.jupyterapp.commands.execute('docmanager:save')")
    page.wait_for_timeout(500)
    page.reload()
    page.wait_for_function(IDLE, timeout=120_000)
    in_sight(page)
    kept = settle(page, lambda s: s["answer"] == metric["answer"])
    for title in TITLES:
        for key in ("title", "x", "y", "image"):
            assert kept["pictures"][title][key] == metric["pictures"][title][key]
    assert page.outside == []
