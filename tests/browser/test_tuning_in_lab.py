"""The tuning and the tenon notebook as people use them: move, press, switch units, reload; asking no other computer."""

import pytest

pytestmark = pytest.mark.browser

#: All that the pictures hold, rounded: what each trace of each chart draws, in the page itself.
DRAWN = """() => [...document.querySelectorAll('.js-plotly-plot')].map(g => (g.data || []).map(t =>
  [t.type, t.text, ...['x', 'y', 'z'].map(k => Array.from(t[k] ?? []).slice(0, 400).map(v =>
    v === null || typeof v === 'string' ? v : v.length === undefined ? Number(Number(v).toPrecision(6))
      : Array.from(v).reduce((a, b) => a + Number(b), 0)))]))"""
TITLES = """() => [...document.querySelectorAll('.js-plotly-plot')].flatMap(g =>
  [g.layout?.xaxis?.title?.text, g.layout?.yaxis?.title?.text, g.layout?.yaxis2?.title?.text])"""
BOXES = "() => [...document.querySelectorAll('.widget-text .widget-label')].map(l => l.innerText)"


def drawn(page):
    return page.evaluate(DRAWN)


def answer(page):
    return " / ".join(page.locator(".shop-big").all_inner_texts())


def settle(page, before=None, what="a change"):
    """Wait until the pictures differ from before and then stand still; returns what they show."""
    from conftest import IDLE

    now = drawn(page)
    for _ in range(100):
        page.wait_for_timeout(100)
        page.wait_for_function(IDLE, timeout=60_000)
        last, now = now, drawn(page)
        if now == last and now != before:
            return now
    pytest.fail(f"the pictures did not follow {what}")
    return None


def in_sight(page):
    """Bring the controls into sight: the lab draws only what is there, and opens a long notebook where it was left."""
    for _ in range(90):
        page.evaluate("() => window.jupyterapp.shell.currentWidget?.content?.scrollToItem?.(3, 'start')")
        if page.locator(".shop-big").first.is_visible():
            return
        page.wait_for_timeout(1000)
    pytest.fail("no answer came into sight")


def opened(run_all, page, name, figures):
    from conftest import IDLE

    run_all(name)
    in_sight(page)
    charts = "() => [...document.querySelectorAll('.js-plotly-plot')].filter(g => g.data?.length).length"
    page.wait_for_function(f"() => ({charts})() === {figures}", timeout=60_000)
    page.wait_for_function(IDLE, timeout=90_000)
    return settle(page)


def reload(page):
    from conftest import IDLE

    page.evaluate("() => window.jupyterapp.commands.execute('docmanager:save')")
    page.wait_for_timeout(500)
    page.reload()
    page.wait_for_function(IDLE, timeout=90_000)
    in_sight(page)
    page.wait_for_function("() => document.querySelectorAll('.js-plotly-plot .main-svg').length > 3", timeout=60_000)
    return settle(page)


def typed(page, label, value):
    box = page.get_by_label(label, exact=True)
    box.fill(str(value))
    box.press("Tab")


def changed(before, after):
    """Numbers of the pictures that changed."""
    return {n for n, (a, b) in enumerate(zip(before, after, strict=True)) if a != b}


REGION, BARS, FORCE = range(3)


def test_tuning_follows_every_control_in_both_systems_and_survives_a_reload(run_all, page, tmp_path):
    start = now = opened(run_all, page, "01-cutter-tuning.ipynb", 3)
    all_three = {REGION, BARS, FORCE}
    for label, value, pictures in (
        ("depth of the whole cut, mm", 14, all_three), ("width of the whole cut, mm", 9, all_three),
        ("length of a pass, mm", 10, {BARS}), ("stick-out, mm", 60, {BARS}),
        ("wear of the edge, % of its life", 60, {BARS, FORCE}), ("error allowed on the wall, mm", 0.05, {BARS}),
        ("spindle speed, rev/min", 14000, {REGION, BARS}), ("feed per tooth, mm", 0.22, all_three),
        ("levels", 3, all_three), ("side steps", 2, all_three),
    ):  # fmt: skip
        typed(page, label, value)
        before, now = now, settle(page, now, label)
        assert changed(before, now) >= pictures, label
    typed(page, "width of the whole cut, mm", 14)
    now = settle(page, now, "a cut wider than the cutter")
    page.get_by_label("wood on both sides, as in a groove").check()
    before, now = now, settle(page, now, "a groove")
    assert changed(before, now) >= {BARS}
    page.get_by_label("wood on both sides, as in a groove").uncheck()
    now = settle(page, now, "no groove")
    typed(page, "width of the whole cut, mm", 9)
    now = settle(page, now, "the width as before")
    page.get_by_label("feed to grain", exact=True).select_option(label="degrees")
    now = settle(page, now, "grain in degrees")
    typed(page, "grain, degrees from the feed", 75)
    before, now = now, settle(page, now, "the grain's angle")
    assert changed(before, now) >= {BARS, FORCE}
    for label, value in (
        ("direction", "climb"), ("cutter", "SQ10: 3/8 in square end, up"),
        ("wood", "cherry"), ("station", "end"), ("machine", "older router, cutters changed by hand"),
    ):  # fmt: skip
        page.get_by_label(label, exact=True).select_option(label=value)
        if label == "machine":  # it has no such station: said, and nothing stale is left standing
            page.wait_for_function(
                "() => document.querySelector('.shop-big').innerText.startsWith('This cannot be cut')"
            )
            assert "no station 'end'" in answer(page)
            page.get_by_label("station", exact=True).select_option(label="flat")
        now = settle(page, now, value)
    handle = page.locator(".widget-slider .noUi-handle").nth(7)  # spindle speed by hand
    handle.scroll_into_view_if_needed()
    box = handle.bounding_box()
    page.mouse.move(box["x"] + 8, box["y"] + 8)
    page.mouse.down()
    page.mouse.move(box["x"] + 40, box["y"] + 8, steps=6)
    page.mouse.up()
    mine = now = settle(page, now)
    told = answer(page)
    page.get_by_role("button", name="quickest that keeps every bound").click()
    now = settle(page, now)
    assert "Keeps every bound" in answer(page)
    page.get_by_role("button", name="undo").click()
    now = settle(page, now)
    assert answer(page) == told
    assert now[BARS] == mine[BARS]
    page.get_by_role("button", name="cheapest").click()
    now = settle(page, now)
    assert "Keeps every bound" in answer(page)
    assert now != start

    metric, titles = now, page.evaluate(TITLES)
    page.screenshot(path=str(tmp_path / "tuning-metric.png"))
    page.get_by_label("units", exact=True).select_option(label="inch: in, lbf")
    now = settle(page, now)
    assert "in/min" in str(page.evaluate(TITLES))
    assert "lbf" in str(page.evaluate(TITLES))
    assert not [t for t in page.evaluate(BOXES) if "mm" in t]
    assert now[BARS] == metric[BARS]
    page.get_by_role("button", name="what would pay").click()
    page.get_by_text("One thing changed at a time").wait_for(timeout=60_000)
    for label, value in (("such cuts in the job", 40), ("hours of the whole job", 3)):
        pays = page.locator(".shop-table", has_text="One thing changed at a time")
        said = pays.inner_text()
        typed(page, label, value)
        page.wait_for_function(
            """was => [...document.querySelectorAll('.shop-table')].some(
              t => t.innerText.includes('One thing changed') && t.innerText !== was)""", arg=said,
        )  # fmt: skip
    page.screenshot(path=str(tmp_path / "tuning-inch.png"))
    inch, told = settle(page), answer(page)
    assert reload(page) == inch
    assert answer(page) == told
    page.get_by_label("units", exact=True).select_option(label="metric: mm, N")
    assert settle(page, inch) == metric
    assert page.evaluate(TITLES) == titles
    assert page.outside == []


END, SIDE, PATH = range(3)


def test_tenons_follow_every_control_in_both_systems_and_survive_a_reload(run_all, page, tmp_path):
    now = opened(run_all, page, "02-end-grain-tenons.ipynb", 3)
    everything = {END, SIDE, PATH}
    for label, value, pictures in (
        ("rail width, mm", 95, {END, PATH}), ("rail thickness, mm", 24, everything),
        ("tenon width, mm", 64, {END, PATH}),
        ("mortise thickness, mm", 10, everything), ("tenon length, mm", 34, {SIDE}),
        ("from reference edge, mm", 14, {END, PATH}), ("from reference face, mm", 7.5, everything),
        ("clearance of both cheeks, mm", 0.2, everything), ("skim kept for a last lap, mm", 0.4, {SIDE, PATH}),
    ):  # fmt: skip
        typed(page, label, value)
        before, now = now, settle(page, now, label)
        assert changed(before, now) >= pictures, label
    for label, value, pictures in (
        ("style", "haunched", {END, PATH}), ("style", "stepped", {END, PATH}), ("style", "paired", {END, PATH}),
        ("style", "plain", {END, PATH}), ("way", "in rounds", {PATH}), ("judge error at", "high force", {SIDE}),
        ("wood", "cherry", {SIDE}), ("cutter", "SQ12: 1/2 in square end, up", {PATH}),
    ):  # fmt: skip
        page.get_by_label(label, exact=True).select_option(label=value)
        before, now = now, settle(page, now, value)
        assert changed(before, now) >= pictures, (label, value)
        also = {"haunched": ("length of haunch or step, mm", 15), "paired": ("gap between the pair, mm", 25)}
        if value in also:
            typed(page, *also[value])
            now = settle(page, now, also[value][0])
    for change in (
        lambda: typed(page, "squaring by hand, min", 9),
        lambda: page.get_by_label("corners", exact=True).select_option(label="relieved mortise corners"),
        lambda: page.get_by_label("corners", exact=True).select_option(label="squared mortise"),
    ):
        said = page.locator(".shop-table").first.inner_text()
        change()
        page.wait_for_function(
            "was => document.querySelector('.shop-table').innerText !== was", arg=said, timeout=20_000
        )
    told = answer(page)
    machine = page.get_by_label("machine", exact=True)
    machine.select_option(label="older router, cutters changed by hand")  # it has no end station
    page.wait_for_function("was => document.querySelector('.shop-big').innerText !== was", arg=told.split(" / ")[0])
    assert "no station 'end'" in answer(page)
    machine.select_option(index=0)
    page.wait_for_function("was => document.querySelector('.shop-big').innerText === was", arg=told.split(" / ")[0])
    now = settle(page, None)
    page.get_by_label("tenon's corners rounded").check()
    before, now = now, settle(page, now)
    assert changed(before, now) >= {END, PATH}
    page.get_by_label("tenon's corners rounded").uncheck()
    now = settle(page, now)
    page.get_by_role("button", name="compare every cutter").click()
    page.get_by_text("Every way that may be run").wait_for(timeout=90_000)
    page.screenshot(path=str(tmp_path / "tenon-metric.png"))
    metric = settle(page)
    page.get_by_label("units", exact=True).select_option(label="inch: in, lbf")
    inch, told = settle(page, metric), answer(page)
    assert " in " in told
    assert " mm" not in told
    assert "in" in str(page.evaluate(TITLES))
    assert reload(page) == inch
    assert answer(page) == told
    page.get_by_label("units", exact=True).select_option(label="metric: mm, N")
    assert settle(page, inch) == metric
    assert page.outside == []
