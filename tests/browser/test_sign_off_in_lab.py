"""A lesson is finished, signed and printed by keyboard in a real browser; the trainer's view then shows it."""

import pytest

from shopcalc import lessons
from shopcalc.cli import main
from shopcalc.shoplog import ShopLog

pytestmark = pytest.mark.browser
ERROR = ".jp-OutputArea-output[data-mime-type='application/vnd.jupyter.error']"


@pytest.fixture
def shop(tmp_path, capsys):
    """A new shop in which Ada lacks one right answer in one lesson, and Ben went wrong."""
    assert main(["new", str(tmp_path / "shop")]) == 0
    capsys.readouterr()
    with ShopLog.of(tmp_path / "shop") as log:
        for n, kind in enumerate(lessons.kinds("stations")):
            for seed in (1, 2) if n else (1,):
                lessons.keep_answer(log, "Ada Example", lessons.Attempt(kind, seed, True))
        lessons.keep_answer(log, "Ben Example", lessons.Attempt("fire", 1, False), ["turned round"])
    return tmp_path / "shop"


def write(page, placeholder, text):
    box = page.locator(f"input[placeholder^='{placeholder}']:visible").first
    box.focus()
    page.keyboard.press("Control+a")
    page.keyboard.type(text)
    page.keyboard.press("Tab")


def press(page, name):
    button = page.get_by_role("button", name=name, exact=True).first
    button.focus()
    page.keyboard.press("Space")


def ready(page, run_all, book):
    from conftest import IDLE

    run_all(f"lessons/{book}.ipynb")
    page.locator("input[placeholder^='none: nothing is kept']").first.wait_for(timeout=90_000)
    page.wait_for_function(IDLE, timeout=90_000)


def test_a_lesson_is_signed_printed_and_seen_by_the_trainer(run_all, page, tmp_path, shop):
    page.outside.clear()
    ready(page, run_all, "10-zero-clamping-stations")
    write(page, "none: nothing is kept", str(shop))
    write(page, "your name", "Ada Example")
    page.get_by_text("No sign-off yet").wait_for(timeout=20_000)
    press(page, "sign off")
    page.get_by_text("✗ NOT SIGNED").wait_for(timeout=20_000)
    page.get_by_text("try 1 more").first.wait_for(timeout=20_000)
    exercise = lessons.make("which-station", 2, "inch")
    assert page.locator("[aria-label=question]").inner_text().split() == exercise.text.split(), (
        "it is asked what is due"
    )
    write(page, "a number with its unit", exercise.answer)
    page.keyboard.press("Space")
    page.get_by_text("✓ RIGHT").wait_for(timeout=20_000)
    page.get_by_text("Passed: have it signed").wait_for(timeout=20_000)
    write(page, "who watched", "Cem Example")
    press(page, "sign off")
    page.get_by_text("✓ SIGNED").wait_for(timeout=20_000)
    page.get_by_text("it holds until").wait_for(timeout=20_000)
    press(page, "print the record")
    link = page.locator("a.shop-print")
    link.wait_for(timeout=20_000)
    page.get_by_text("✓ SIGNED").scroll_into_view_if_needed()
    page.screenshot(path=str(tmp_path / "signed.png"))
    with page.expect_download() as download:
        link.focus()
        page.keyboard.press("Enter")
    paper = tmp_path / "record.html"
    download.value.save_as(str(paper))
    for words in ("no licence", "Ada Example", "Cem Example", "Zero, clamping"):
        assert words in paper.read_text(encoding="utf-8"), words
    with ShopLog.of(shop) as log:
        ((person, machine, lesson),) = lessons.signed(log)
    assert (person, lesson) == ("Ada Example", "stations")

    ready(page, run_all, "00-index")
    write(page, "none: nothing is kept", str(shop))
    page.get_by_text("Ben Example").first.wait_for(timeout=20_000)
    view = page.locator(".jp-OutputArea-output:has(input[placeholder^='none: nothing is kept'])").first
    said = view.inner_text()
    for words in ("only watched", "Cem Example", "turned round (1)", "✓✓ signed", "go on with 'Dust"):
        assert words in said, words
    assert machine in ("router", "small-router")
    view.scroll_into_view_if_needed()
    page.screenshot(path=str(tmp_path / "trainer.png"))
    assert page.locator(ERROR).count() == 0
    assert page.outside == []
