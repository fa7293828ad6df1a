"""The pictures of machine time as people use them: choose, zoom, go back, by hand and by keyboard; then reload."""

import pytest

pytestmark = pytest.mark.browser

PLAN, DEPTH, SPEED = "Plan", "Depth along the path", "Speed along the path"
#: Title and ranges of each chart with content, and how many points it draws.
SEEN = """() => Object.fromEntries([...document.querySelectorAll('.js-plotly-plot')].filter(g => g.data?.length).map(
  g => [(g.layout.title?.text ?? '').split(':')[0], {
    title: g.layout.title?.text, x: [...g._fullLayout.xaxis.range].map(Number),
    y: [...g._fullLayout.yaxis.range].map(Number), points: g.data.reduce((n, t) => n + (t.x?.length ?? 0), 0),
    labels: (g.layout.annotations ?? []).map(a => a.text),
    bars: [...(g.data[0].y ?? [])].map(String).slice(0, 20)}]))"""


def settle(page, until):
    """What the charts show as soon as it is as asked."""
    from conftest import IDLE

    for _ in range(150):
        page.wait_for_timeout(100)
        page.wait_for_function(IDLE, timeout=60_000)
        seen = page.evaluate(SEEN)
        if PLAN in seen and until(seen):
            page.wait_for_timeout(300)
            return page.evaluate(SEEN)
    pytest.fail(f"the pictures did not follow: {page.evaluate(SEEN)}")
    return None


def in_sight(page):
    for _ in range(90):
        page.evaluate("() => window.jupyterapp.shell.currentWidget?.content?.scrollToItem?.(3, 'start')")
        if page.locator(".shop-big").first.is_visible():
            return
        page.wait_for_timeout(1000)
    pytest.fail("no answer came into sight")


def opened(run_all, page):
    from conftest import IDLE

    run_all("03-program-time.ipynb")
    in_sight(page)
    page.wait_for_function(IDLE, timeout=120_000)
    # the notebook's own cells have moved the controls by now
    return settle(page, lambda s: "lid-lettering.nc" in s[PLAN]["title"])


def test_a_place_is_gone_to_and_left_again_by_hand_and_by_keyboard(run_all, page, tmp_path):
    from conftest import IDLE

    opened(run_all, page)
    page.get_by_label("program shown").select_option("lid-outline.nc")
    whole = settle(page, lambda s: "lid-outline.nc" in s[PLAN]["title"])
    assert sorted(n for text in whole[PLAN]["labels"] for n in text.split(", ")) == list("12345")
    look = page.get_by_label("look at")
    look.select_option(index=1)
    place = settle(page, lambda s: "place 1" in s[PLAN]["title"])
    for name in (PLAN, DEPTH, SPEED):
        (a, b), (low, high) = place[name]["x"], whole[name]["x"]
        assert "place 1" in place[name]["title"]
        assert b - a < (high - low) / 2
        assert place[name]["points"] > 0
    assert place[DEPTH]["x"] == pytest.approx(place[SPEED]["x"])
    page.screenshot(path=str(tmp_path / "place.png"))
    look.focus()
    for key in ("Space", "ArrowDown", "Enter"):  # an arrow alone is the notebook's, and goes to the next cell
        page.keyboard.press(key)
        page.wait_for_timeout(300)
    settle(page, lambda s: "place 2" in s[PLAN]["title"])
    page.keyboard.press("Tab")
    assert page.evaluate("() => document.activeElement.innerText") == "back to the whole"
    page.keyboard.press("Space")
    again = settle(page, lambda s: "place" not in s[PLAN]["title"])
    for name in (PLAN, DEPTH, SPEED):
        assert again[name]["x"] == pytest.approx(whole[name]["x"])
        assert again[name]["points"] == whole[name]["points"]
    page.get_by_label("depth").select_option(index=1)
    front = settle(page, lambda s: "From the front" in s)
    assert front["From the front"]["y"] == pytest.approx(whole[DEPTH]["y"])
    page.get_by_label("depth").select_option(index=0)
    look.select_option(index=3)
    place = settle(page, lambda s: "place 3" in s[PLAN]["title"] and DEPTH in s)
    page.evaluate("() => window.jupyterapp.commands.execute('docmanager:save')")
    page.wait_for_timeout(500)
    page.reload()
    page.wait_for_function(IDLE, timeout=90_000)
    in_sight(page)
    kept = settle(page, lambda s: "place 3" in s[PLAN]["title"] and DEPTH in s and SPEED in s)
    for name in (PLAN, DEPTH, SPEED):
        low, high = place[name]["x"]  # equal scales move the ends of a plan a little when it is drawn anew
        assert kept[name]["x"] == pytest.approx([low, high], abs=(high - low) * (0.1 if name == PLAN else 1e-6))
        assert kept[name]["points"] == place[name]["points"]
    assert page.outside == []


def test_minutes_by_cause_cutter_and_depth(run_all, page):
    opened(run_all, page)
    bars = "Where the minutes went, by "
    for index, (name, row) in enumerate((("cause", "corners"), ("cutter", "BALL12"), ("depth", "rapids and standing"))):
        page.get_by_label("minutes", exact=True).select_option(index=index)
        seen = settle(page, lambda s, n=name: bars + n in s)
        assert row in seen[bars + name]["bars"]
        assert page.get_by_role("cell", name=row, exact=True).first.is_visible()
    assert page.outside == []
