"""A frame moved by hand, what cannot be made, undo, the form by keyboard; then reload."""

import os
from pathlib import Path

import pytest

pytestmark = pytest.mark.browser

SEEN = """() => ({
  answers: [...document.querySelectorAll('.shop-big')].map(x => x.innerText),
  drawing: document.querySelector('img.shop-drawing')?.src?.length ?? 0,
  alt: document.querySelector('img.shop-drawing')?.alt ?? '',
  shown: document.querySelector('img.shop-drawing')?.naturalWidth ?? 0,
  alerts: [...document.querySelectorAll('[role=alert]')].map(x => x.innerText).filter(x => x.startsWith('✗')),
  states: [...document.querySelectorAll('[role=status]')].map(x => x.innerText),
})"""


def settle(page, until):
    from conftest import IDLE

    for _ in range(150):
        page.wait_for_timeout(100)
        page.wait_for_function(IDLE, timeout=120_000)
        seen = page.evaluate(SEEN)
        if until(seen):
            page.wait_for_timeout(200)
            return page.evaluate(SEEN)
    pytest.fail(f"the page did not follow: {page.evaluate(SEEN)}")
    return None


def to_cell(page, number):
    page.evaluate(f"() => window.jupyterapp.shell.currentWidget?.content?.scrollToItem?.({number}, 'start')")
    page.wait_for_timeout(600)


def picture(page, name):
    """Kept for people to look at, where a folder is named."""
    if folder := os.environ.get("SHOPCALC_SCREENSHOTS"):
        page.screenshot(path=str(Path(folder) / f"{name}.png"))


def test_moving_refusing_undoing_filling_in_and_reloading(run_all, page):
    from conftest import IDLE

    run_all("04-frame-to-hours.ipynb")
    page.wait_for_function(IDLE, timeout=240_000)
    to_cell(page, 3)
    first = settle(page, lambda s: s["answers"] and s["shown"] > 0)
    assert "24 in by 76 in" in first["alt"]
    picture(page, "frame")

    width = page.get_by_label("width, in", exact=True).first
    width.fill("28")
    width.press("Enter")
    wide = settle(page, lambda s: "28 in by 76 in" in s["alt"])
    assert wide["answers"][0] != first["answers"][0]

    handle = page.locator(".noUi-handle").first
    handle.scroll_into_view_if_needed()
    box = handle.bounding_box()
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.down()
    page.mouse.move(box["x"] + 40, box["y"] + box["height"] / 2, steps=6)
    page.mouse.up()
    settle(page, lambda s: s["alt"] != wide["alt"])
    undo = page.get_by_role("button", name="undo", exact=True).first
    undo.click()
    settle(page, lambda s: s["alt"] == wide["alt"])

    width.fill("12")
    width.press("Enter")
    refused = settle(page, lambda s: s["alerts"])
    assert "increase width by" in refused["alerts"][0]
    assert refused["alt"] == wide["alt"], "the last frame that can be made stays"
    picture(page, "refused")
    for _ in range(2):
        undo.click()
        page.wait_for_timeout(300)
    settle(page, lambda s: s["alt"] == first["alt"] and not s["alerts"])

    for number, name in ((9, "order"), (11, "days"), (14, "fits"), (16, "panel"), (18, "quantities")):
        to_cell(page, number)
        picture(page, name)

    to_cell(page, 20)
    page.get_by_role("radio", name="frames").or_(page.get_by_role("button", name="frames", exact=True)).first.click()
    field = page.get_by_label("width *", exact=True).first
    field.wait_for()
    picture(page, "form")
    field.fill("27")
    field.press("Tab")
    assert page.evaluate("() => document.activeElement.getAttribute('aria-label') ?? document.activeElement.id")
    told = settle(page, lambda s: any("has no unit" in a for a in s["alerts"]))
    picture(page, "form-refused")
    assert len([a for a in told["alerts"] if "has no unit" in a]) == 1
    field.fill("27 in")
    field.press("Tab")
    settle(page, lambda s: not s["alerts"] and any("not written yet" in x for x in s["states"]))
    page.get_by_role("button", name="write the file", exact=True).click()
    settle(page, lambda s: any("as written" in x for x in s["states"]))
    page.evaluate("() => window.jupyterapp.commands.execute('docmanager:save')")
    page.wait_for_timeout(500)
    page.reload()
    page.wait_for_function(IDLE, timeout=120_000)
    to_cell(page, 20)
    page.wait_for_timeout(2000)
    picture(page, "reloaded")
    again = page.get_by_label("width *", exact=True).first
    again.wait_for(timeout=60_000)
    assert again.input_value() == "27 in"
    assert page.outside == []
