"""The log's notebook in a real lab, at tablet and laptop size: every picture is drawn, nothing is asked elsewhere."""

import pytest

pytestmark = pytest.mark.browser


#: What is drawn beyond the page; a table may be wider in a box that scrolls.
WIDE = """() => [...document.querySelectorAll('.js-plotly-plot, .widget-html-content > div')].filter(
  e => e.getBoundingClientRect().right > innerWidth).map(e => e.innerText.slice(0, 80))"""


def test_log_correct_calibrate_and_look_back(run_all, page, tmp_path):
    from conftest import IDLE

    page.outside.clear()
    usual = page.viewport_size
    page.set_viewport_size({"width": 1440, "height": 900})
    try:
        run_all("07-log-and-learn.ipynb")
        page.wait_for_function(IDLE, timeout=180_000)
        for text, name in (
            ("Programmed against logged time", "calibration"), ("Phases that are finished", "times"),
            ("Is the shop learning? logged", "learning"), ("What an hour earned: by job", "earnings"),
            ("Cutters since they were ground", "cutters"),
        ):  # fmt: skip
            shown = page.get_by_text(text).first
            shown.wait_for(timeout=60_000)
            for width, height in ((1440, 900), (820, 1180)):
                page.set_viewport_size({"width": width, "height": height})
                if (width < 1000) == page.locator(".jp-FileBrowser").is_visible():
                    page.keyboard.press("Control+b")  # the list of files
                shown.scroll_into_view_if_needed()
                page.wait_for_timeout(700)
                page.screenshot(path=str(tmp_path / f"{name}-{width}.png"))
                assert page.evaluate(WIDE) == [], (name, width)
        assert page.get_by_text("drifted from").count() == 1  # in the cell's own code, not as an error
        assert page.locator("[data-mime-type='application/vnd.jupyter.error']").count() == 0
        assert page.outside == []
    finally:
        page.screenshot(path=str(tmp_path / "last.png"))
        page.set_viewport_size(usual)
