"""Notebook 08 as people use it: readings typed and pasted, every control moved, both systems, a clamp slid."""

import pytest

pytestmark = pytest.mark.browser

BOARD, ORDER, LOAD = 3, 7, 10  # cells of the three controls
#: What the pictures of one cell hold: each trace, its first numbers and texts, and the titles.
DRAWN = """n => [...document.querySelectorAll(`[data-windowed-list-index="${n}"] .js-plotly-plot`)].map(g => [
  g.layout?.title?.text, g.layout?.xaxis?.title?.text, ...(g.layout?.annotations ?? []).map(a => a.text),
  ...(g.data ?? []).map(t => [t.text, ...['x', 'y', 'z'].map(k => Array.from(t[k] ?? []).slice(0, 300).map(v =>
    v === null || typeof v === 'string' ? v : v.length === undefined ? Number(Number(v).toPrecision(6))
      : Array.from(v).reduce((a, b) => a + Number(b), 0)))])])"""


class Cell:
    """One cell with a control: its boxes, its answer, its pictures."""

    def __init__(self, page, number):
        self.page, self.number = page, number
        self.here = page.locator(f'[data-windowed-list-index="{number}"]')
        for _ in range(60):
            page.evaluate(f"() => window.jupyterapp.shell.currentWidget.content.scrollToItem({number}, 'start')")
            if self.here.locator(".shop-big").first.is_visible():
                break
            page.wait_for_timeout(500)
        page.wait_for_function(f"n => ({DRAWN})(n).length > 0", arg=number, timeout=60_000)

    def answer(self):
        return self.here.locator(".shop-big").first.inner_text()

    def said(self):
        return "\n".join([self.answer(), *self.here.locator(".shop-note, .shop-table").all_inner_texts()])

    def shows(self):
        return self.page.evaluate(DRAWN, self.number), self.said()

    def settle(self, before, what):
        """Wait until answer or pictures differ and stand still; returns both."""
        from conftest import IDLE

        now = self.shows()
        for _ in range(120):
            self.page.wait_for_timeout(120)
            self.page.wait_for_function(IDLE, timeout=60_000)
            last, now = now, self.shows()
            if now == last and now != before:
                return now
        pytest.fail(f"nothing followed {what}")
        return None

    def typed(self, label, value):
        before = self.shows()
        box = self.here.get_by_label(label, exact=True)
        box.fill(str(value))
        box.press("Tab")
        return self.settle(before, f"{label} = {value}")

    def chosen(self, label, **option):
        before = self.shows()
        self.here.get_by_label(label, exact=True).select_option(**option)
        return self.settle(before, f"{label}: {option}")

    def pressed(self, name):
        before = self.shows()
        self.here.get_by_role("button", name=name, exact=True).click()
        return self.settle(before, name)


@pytest.fixture
def book(run_all, page):
    """The notebook, run to its end."""
    from conftest import IDLE

    run_all("08-holding-and-faces.ipynb")
    page.wait_for_timeout(3000)
    page.wait_for_function(IDLE, timeout=180_000)
    return page


def test_readings_say_whether_it_cleans_up(book, tmp_path):
    board = Cell(book, BOARD)
    board.settle(None, "opening")
    assert board.answer().startswith("✓ cleans up at 27 mm")
    board.typed("finished thickness wanted, mm", 30)
    assert "✗ does not clean up at 30 mm" in board.answer()
    assert "Where it misses" in board.said()
    board.typed("finished thickness wanted, mm", 27)
    for label, value in (
        ("board is long, with the grain, mm", 1000), ("board is wide, mm", 400),
        ("outer points from its edges, mm", 30), ("least taken everywhere, mm", 0.5),
        ("depth of one pass, at most, mm", 1), ("tram: readings differ by, mm", 0.5), ("on a circle swung of, mm", 200),
    ):  # fmt: skip
        board.typed(label, value)
    for label, option in (("cutter", "SQ12"), ("strokes run", "across"), ("numbers show", "rough")):
        names = board.here.get_by_label(label, exact=True).locator("option").all_inner_texts()
        board.chosen(label, index=next(k for k, n in enumerate(names) if option in n))
    board.typed("A a1", "abc")
    assert "1 thing to mend" in board.answer()
    assert "box A a1: 'abc'" in board.said()
    board.pressed("undo")
    assert board.answer().startswith("✓")
    board.typed("A a1", "1 3/16 in")
    assert "✓" in board.answer()
    whole = board.answer()
    board.chosen("units", index=1)
    assert " in" in board.answer()
    assert board.here.get_by_label("A b1", exact=True).input_value() == "1.2283"
    board.chosen("units", index=0)
    assert board.answer() == whole
    board.here.get_by_label("a table", exact=True).fill("30\t31\t30\n31\t32\t31")
    board.pressed("fill heights with it")
    assert board.here.get_by_label("A c2", exact=True).input_value() == "31"
    assert not board.here.get_by_label("A d1", exact=True).is_visible()
    board.pressed("undo")
    board.pressed("empty all boxes")
    assert "to mend" in board.answer()
    board.pressed("the example again")
    board.here.get_by_label("keep as thick as it can be").check()
    board.settle(None, "keep as thick")
    assert "27.8" not in whole or board.answer().startswith("✓")
    first = board.here.get_by_label("A a1", exact=True)  # by keyboard alone
    first.focus()
    book.keyboard.press("Control+a")
    book.keyboard.type("30,5")
    book.keyboard.press("Tab")
    assert book.evaluate("() => document.activeElement.closest('.widget-text').innerText.trim()") == "A b1"
    board.settle(None, "typing a comma")
    assert "to mend" not in board.answer()
    assert book.outside == []
    look(book, BOARD, tmp_path, "board")


def test_orders_of_cuts_follow(book, tmp_path):
    order = Cell(book, ORDER)
    for label, value in (
        ("wide, or its widest strip, mm", 250), ("rough thickness, faces clean, mm", 30),
        ("finished thickness, mm", 20),
        ("kept for each last cut, mm", 2), ("panel is long, mm", 1200), ("moisture, mean, %", 11),
        ("face A wetter than B by, %", 2), ("core wetter than the faces by, %", 2), ("moisture it comes to, %", 7),
        ("cuts when the faces take turns", 6),
    ):  # fmt: skip
        order.typed(label, value)
    for label in ("sawn", "machine", "wood"):
        order.chosen(label, index=1)
    order.chosen("units", index=1)
    assert " in" in order.answer()
    order.typed("finished thickness, in", 3)
    assert "nothing is to be taken" in order.answer()
    order.typed("finished thickness, in", 0.75)
    look(book, ORDER, tmp_path, "order")
    assert book.outside == []


def test_a_clamp_in_the_way_is_told_and_shifted(book, tmp_path):
    load = Cell(book, LOAD)
    assert load.answer().startswith("✓ every move is clear")
    load.typed("its middle along x, mm", 420)
    assert "✗ 1 of 4 stand in the way" in load.answer()
    look(book, LOAD, tmp_path, "load")
    load.pressed("move it as the remedy says")
    assert "in the way" not in load.answer()
    load.typed("its middle along x, mm", -100)
    assert "beside the part" in load.said()
    load.pressed("all back to where they stood")
    load.typed("to be kept free all round, mm", 10)
    load.here.get_by_label("move", exact=True).select_option(index=2)  # what is drawn stays until it is moved
    middle = load.here.get_by_label("its middle along x, mm", exact=True)
    book.wait_for_function("b => b.value === '546.1'", arg=middle.element_handle(), timeout=20_000)
    load.typed("its middle along y, mm", 260)
    assert "front stop" in load.answer()
    load.chosen("units", index=1)
    assert load.here.get_by_label("its middle along y, in", exact=True).is_visible()
    assert book.outside == []


def without_files(page):
    """The list of files beside the notebook is closed, as on a tablet."""
    if page.evaluate("() => !window.jupyterapp.shell.leftCollapsed"):
        page.evaluate("() => window.jupyterapp.commands.execute('application:toggle-left-area')")


def look(page, number, folder, name):
    """Pictures of a cell at a laptop's and a tablet's width; nothing may stick out to the side."""
    without_files(page)
    for kind, wide in (("laptop", 1280), ("tablet", 820)):
        page.set_viewport_size({"width": wide, "height": 1800})
        page.evaluate(f"() => window.jupyterapp.shell.currentWidget.content.scrollToItem({number}, 'start')")
        page.wait_for_timeout(800)
        page.locator(f'[data-windowed-list-index="{number}"]').screenshot(path=str(folder / f"{name}-{kind}.png"))
    page.set_viewport_size({"width": 1280, "height": 1800})
