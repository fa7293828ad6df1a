"""The first lesson as a learner meets it: by keyboard alone, with nothing asked of any other computer."""

import pytest

from shopcalc import lessons

pytestmark = pytest.mark.browser


def test_the_first_exercise_is_answered_by_keyboard(run_all, page, tmp_path):
    from conftest import IDLE

    page.outside.clear()
    run_all("lessons/01-chip-and-heat.ipynb")
    box = page.locator("input[placeholder^='a number with its unit']")
    box.wait_for(timeout=90_000)
    page.wait_for_function(IDLE, timeout=90_000)
    exercise = lessons.make("feed-per-tooth", 1, "inch")
    assert page.locator("[aria-label=question]").inner_text() == exercise.text
    box.scroll_into_view_if_needed()
    box.focus()
    page.keyboard.type("0.01")
    page.keyboard.press("Tab")  # to the button that checks
    page.keyboard.press("Space")
    page.get_by_text("✗ NOT YET").wait_for(timeout=20_000)
    page.keyboard.press("Shift+Tab")
    page.keyboard.press("Control+a")
    page.keyboard.type(exercise.answer)
    page.keyboard.press("Tab")
    page.keyboard.press("Space")
    page.get_by_text("✓ RIGHT").wait_for(timeout=20_000)
    page.get_by_text("Worked:").wait_for(timeout=20_000)
    page.screenshot(path=str(tmp_path / "answered.png"))
    page.locator(".shop-big").first.scroll_into_view_if_needed()
    page.screenshot(path=str(tmp_path / "chip.png"))
    assert page.outside == []


@pytest.mark.parametrize("book", ["02-speed-and-feed", "03-grain"])
def test_each_lesson_shows_its_picture_and_asks(run_all, page, tmp_path, book):
    from conftest import IDLE

    page.outside.clear()
    run_all(f"lessons/{book}.ipynb")
    page.locator("[aria-label=question]").wait_for(timeout=90_000)
    page.wait_for_function(IDLE, timeout=90_000)
    page.locator(".shop-big").first.scroll_into_view_if_needed()
    page.locator(".js-plotly-plot").first.wait_for(timeout=60_000)
    page.screenshot(path=str(tmp_path / f"{book}.png"))
    assert page.locator(".jp-OutputArea-output[data-mime-type='application/vnd.jupyter.error']").count() == 0
    assert page.outside == []
