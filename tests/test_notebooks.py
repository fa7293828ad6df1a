"""Notebooks are thin and really compared: nbval skips a cell without a stored output, so none may lack it."""

import ast
from pathlib import Path

import nbformat
import pytest

BOOKS = sorted(p for p in (Path(__file__).parents[1] / "notebooks").rglob("*.ipynb") if "checkpoints" not in str(p))
CHECKED = "nbval-check-output"


@pytest.fixture(params=BOOKS, ids=lambda p: p.stem)
def book(request):
    return nbformat.read(request.param, as_version=4)


def code_cells(book):
    return [c for c in book.cells if c.cell_type == "code"]


def test_there_are_notebooks():
    assert {"03-program-time", "06-quote-a-job"} <= {p.stem for p in BOOKS}


def test_some_cell_is_compared_and_all_marked_ones_can_be(book):
    checked = [c for c in code_cells(book) if CHECKED in c.metadata.get("tags", [])]
    assert checked
    for cell in checked:
        assert cell.execution_count, f"{cell.id}: not run, so nbval would not compare it"
        assert cell.outputs, f"{cell.id}: nothing stored to compare"
        assert all(o.output_type == "stream" and o.name == "stdout" for o in cell.outputs), f"{cell.id}: print text"


def test_nothing_else_is_stored(book):
    assert "widgets" not in book.metadata
    for cell in code_cells(book):
        if CHECKED not in cell.metadata.get("tags", []):
            assert not cell.outputs, f"{cell.id}: stored output that nobody compares"


def test_the_notebook_thinks_and_the_package_calculates(book):
    code = [c.source for c in code_cells(book)]
    assert sum(len(c.splitlines()) for c in code) <= 65
    for source in code:
        tree = ast.parse(source)
        assert not any(isinstance(n, (ast.FunctionDef, ast.ClassDef, ast.Lambda)) for n in ast.walk(tree))


def test_the_last_code_cell_sets_our_figure_against_another_and_can_fail(book):
    assert "assert" in code_cells(book)[-1].source


@pytest.mark.parametrize("path", [p for p in BOOKS if p.parent.name == "lessons"], ids=lambda p: p.stem)
def test_a_lesson_shows_no_code_before_it_is_asked_for(path):
    """Folded cells show their first line: words."""
    for cell in code_cells(nbformat.read(path, 4)):
        assert cell.metadata.get("jupyter") == {"source_hidden": True}
        assert cell.source.startswith("# ")


def test_prose_leads(book):
    assert book.cells[0].cell_type == "markdown"
    assert book.cells[0].source.startswith("# ")
