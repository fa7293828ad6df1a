"""The index of the lessons leads to every one of them, in their order, and marks those that are needed."""

import re
from pathlib import Path

import nbformat

from shopcalc import lessons
from shopcalc.training import NEEDED

FOLDER = Path(__file__).parents[1] / "notebooks" / "lessons"
ROW = re.compile(r"^\| \[(\d+) [^\]]+\]\(([^)]+)\)(, needed)? \| [^|]+\? \| (\d+) min \|$", re.MULTILINE)


def asked_in(name):
    """The lesson whose exercises a notebook asks."""
    book = nbformat.read(FOLDER / name, as_version=4)
    return re.search(r'lesson\("([a-z-]+)"', "\n".join(c.source for c in book.cells if c.cell_type == "code"))[1]


def test_the_index_leads_to_every_lesson_in_order_and_marks_the_needed_ones():
    rows = ROW.findall(nbformat.read(FOLDER / "00-index.ipynb", as_version=4).cells[0].source)
    assert [int(number) for number, *_ in rows] == list(range(1, len(lessons.LESSONS) + 1))
    assert [asked_in(name) for _, name, *_ in rows] == list(lessons.LESSONS)
    assert {asked_in(name) for _, name, needed, _ in rows if needed} == set(NEEDED)
    assert all(10 <= int(minutes) <= 20 for *_, minutes in rows)
    assert {name for _, name, *_ in rows} == {p.name for p in FOLDER.glob("*.ipynb")} - {"00-index.ipynb"}


def test_each_lesson_leads_on():
    for path in FOLDER.glob("*.ipynb"):
        for target in re.findall(r"\]\(([\w-]+\.ipynb)\)", nbformat.read(path, as_version=4).cells[-1].source):
            assert (FOLDER / target).exists(), f"{path.name} leads to {target}"


def test_each_lesson_says_the_minutes_that_the_index_says():
    minutes = {"five": 5, "ten": 10, "fifteen": 15}
    for _, name, _, told in ROW.findall(nbformat.read(FOLDER / "00-index.ipynb", as_version=4).cells[0].source):
        start = " ".join(nbformat.read(FOLDER / name, as_version=4).cells[0].source.lower().split())
        picture, exercises = re.search(
            r"(\w+) minutes for the (?:picture|drill), (\w+) for the exercises", start
        ).groups()
        assert minutes[picture] + minutes[exercises] == int(told), name
