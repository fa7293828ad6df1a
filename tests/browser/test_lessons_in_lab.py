"""Each lesson as a learner meets it: by keyboard alone, kept in a shop's log, nothing asked of any other computer."""

import re
from pathlib import Path

import pytest
from conftest import IDLE

from shopcalc import lessons
from shopcalc.cli import main
from shopcalc.shoplog import ShopLog

pytestmark = pytest.mark.browser
FOLDER = Path(__file__).parents[2] / "notebooks" / "lessons"
#: Notebooks that ask exercises; others in the folder list lessons or show what was learned.
LESSONS = {
    path.stem: key[1] for path in sorted(FOLDER.glob("*.ipynb"))
    if (key := re.search(r'lesson\(\\"([a-z-]+)\\"', path.read_text(encoding="utf-8")))
}  # fmt: skip
QUESTION = "[aria-label=question]"
PICTURE = ".jp-OutputArea-output:has(.js-plotly-plot)"
#: What the keyboard must reach among the controls of the whole page.
REACHED = "input:not([type=hidden]):not([disabled]):not([type=file]), select:not([disabled]), button:not([disabled])"
PAINTED = "() => document.querySelectorAll('.js-plotly-plot .main-svg').length > 0"


def wrong(exercise):
    """An answer of the right form that is not the right one."""
    right = exercise.answer
    if exercise.form == "number":
        number, unit = right.split(" ", 1)
        return f"{3 * float(number):g} {unit}"
    if exercise.form == "order":
        return right[::-1]
    return next(a for a in ("abcd" if exercise.form == "choice" else "1234") if a != right)


def bring(page, selector):
    """Scroll until it is on the page: far cells are taken off it while they are out of sight."""
    for place in (None, *range(0, 12_000, 900)):
        if place is not None:
            page.evaluate("y => { document.querySelector('.jp-WindowedPanel-outer').scrollTop = y; }", place)
            page.wait_for_timeout(250)
        found = page.locator(selector).first
        if found.count():
            found.scroll_into_view_if_needed()
            return found
    raise AssertionError(f"{selector} is nowhere on the page")


def squeezed(text):
    return " ".join(text.split())


@pytest.fixture
def shop(tmp_path, capsys):
    assert main(["new", str(tmp_path / "shop")]) == 0
    capsys.readouterr()
    return tmp_path / "shop"


def test_every_lesson_has_its_notebook_here():
    assert len(set(LESSONS.values())) == len(LESSONS)
    assert set(LESSONS.values()) <= set(lessons.LESSONS)
    assert {"chip-and-heat", "speed-and-feed", "grain"} <= set(LESSONS.values())


@pytest.mark.parametrize("book", LESSONS)
def test_a_lesson_is_played_asked_answered_and_kept(run_all, page, tmp_path, shop, book):
    key = LESSONS[book]
    page.outside.clear()
    open_and_look(run_all, page, tmp_path, book)
    play(page)
    reach_by_tab(page)
    answer(page, key, shop)
    bring(page, QUESTION)
    page.screenshot(path=str(tmp_path / f"{book}-answered.png"))
    assert page.locator(".jp-OutputArea-output[data-mime-type='application/vnd.jupyter.error']").count() == 0
    assert page.outside == []


def open_and_look(run_all, page, tmp_path, book):
    from conftest import IDLE

    run_all(f"lessons/{book}.ipynb")
    page.locator(QUESTION).wait_for(timeout=90_000)
    page.wait_for_function(IDLE, timeout=90_000)
    page.wait_for_function(PAINTED, timeout=60_000)
    assert page.locator(".jp-CodeCell .jp-InputArea-editor:visible").count() == 0, "code shows before it is asked for"
    bring(page, PICTURE)
    page.wait_for_timeout(500)
    page.screenshot(path=str(tmp_path / f"{book}.png"))


def reach_by_tab(page):
    """The tab key alone comes to each control that a pointer could use, those of the picture and of the exercise."""
    areas = page.locator(".jp-OutputArea-output .jupyter-widgets.widget-vbox")
    areas.first.locator(REACHED).first.focus()
    missed = areas.evaluate_all(
        "(all, what) => all.flatMap(a => [...a.querySelectorAll(what)])"
        ".filter(e => e.offsetParent && e.tabIndex < 0 && !e.closest('.plot-container')).map(e => e.outerHTML)",
        REACHED,
    )
    assert missed == []
    seen = set()
    for _ in range(12):
        seen.add(page.evaluate("document.activeElement.outerHTML.slice(0, 300) + document.activeElement.id"))
        page.keyboard.press("Tab")
    assert len(seen) >= 6, "the focus does not move on"


def shown(area):
    """Words and pictures of it."""
    return squeezed(area.inner_text()), area.locator("svg, img").evaluate_all("all => all.map(e => e.outerHTML).join()")


def play(page):
    """Change the first number or choice of the picture by keys; the answer below it or the table is made anew."""
    area = bring(page, PICTURE)
    before = shown(area)
    numbers, lists = (area.locator(f"{what}:enabled").all()[:6] for what in ("input[type=number]", "select"))
    for box in numbers + lists:
        if not box.is_visible():
            continue
        box.focus()
        if box.evaluate("e => e.tagName") == "SELECT":  # not by keys: the page around takes letters for its own
            box.select_option(index=1)
        else:
            for _ in range(3):
                page.keyboard.press("ArrowDown")
        page.keyboard.press("Tab")
        page.wait_for_timeout(700)
        if shown(bring(page, PICTURE)) != before:
            return
    raise AssertionError("the picture follows none of its controls")


def answer(page, key, shop):
    """Name and shop, a wrong answer, a hint, the right answer: each by keyboard, and then in the log on the disk."""
    from conftest import IDLE

    exercise = lessons.make(lessons.kinds(key)[0], 1, "inch")
    assert squeezed(bring(page, QUESTION).inner_text()) == squeezed(exercise.text)

    def write(placeholder, text):
        page.wait_for_function(IDLE, timeout=30_000)  # what the kernel still has to say must not come between keys
        box = page.locator(f"input[placeholder^='{placeholder}']:visible")
        box.focus()
        page.keyboard.press("Control+a")
        page.keyboard.type(text)
        assert box.input_value() == text
        page.keyboard.press("Tab")

    write("none: nothing is kept", str(shop))
    write("your name", "Ada Example")
    page.get_by_text("is kept in the shop's log").wait_for(timeout=20_000)
    write("a number with its unit", wrong(exercise))
    page.keyboard.press("Space")  # the button that checks
    page.get_by_text("✗ NOT YET").wait_for(timeout=20_000)
    page.keyboard.press("Tab")  # to the button of hints
    page.keyboard.press("Space")
    page.get_by_text("Hint 1:").wait_for(timeout=20_000)
    write("a number with its unit", exercise.answer)
    page.keyboard.press("Space")
    page.get_by_text("✓ RIGHT").wait_for(timeout=20_000)
    page.get_by_text("Worked:").wait_for(timeout=20_000)
    page.wait_for_timeout(300)
    with ShopLog.of(shop) as log:
        kept = lessons.score_of(log, "Ada Example", key)
    assert [(a.kind, a.seed, a.first_try) for a in kept.attempts] == [(exercise.kind, 1, False)]


def test_keys_on_a_list_choose_from_it_and_cut_no_cell(run_all):
    """The lab's own one-key commands would cut the cell at an x, and go to another at an arrow."""
    page = run_all("lessons/13-what-if.ipynb")
    chosen = bring(page, f"{PICTURE} select:enabled")
    page.wait_for_function(IDLE, timeout=90_000)
    cells = "() => window.jupyterapp.shell.currentWidget.content.widgets.length"
    before, value = page.evaluate(cells), chosen.evaluate("e => e.selectedIndex")
    chosen.focus()
    page.keyboard.press("x")
    page.keyboard.press("d")
    page.keyboard.press("d")
    assert page.evaluate(cells) == before
    page.keyboard.press("ArrowDown")
    page.wait_for_timeout(300)
    page.keyboard.press("ArrowDown")
    page.wait_for_timeout(300)
    assert chosen.evaluate("e => e.selectedIndex") != value
    assert page.evaluate("() => document.activeElement.tagName") == "SELECT"
