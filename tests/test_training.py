"""The trainer's view says what the log holds: counted here by hand, and by plain SQL."""

import contextlib
import datetime
import json
import sqlite3
from collections import Counter
from functools import partial

import pytest

from shopcalc import lessons
from shopcalc.cli import main
from shopcalc.documents.page import as_page
from shopcalc.errors import InputError
from shopcalc.lessons import Attempt
from shopcalc.shop import copy_starter
from shopcalc.shoplog import LessonSignOff, Operator, ShopLog, read_moment
from shopcalc.training import NEEDED, training

DAY = datetime.date(2026, 3, 2)
at = partial(read_moment, "2026-03-02 09:00+00:00")
later = partial(read_moment, "2027-02-20 09:00+00:00")
MACHINES = {"router": "Big router", "small": "Small router"}


@pytest.fixture
def log(tmp_path):
    with ShopLog.of(tmp_path, clock=at) as opened:
        yield opened


def learn(log, person, lesson, seeds=(1, 2)):
    for kind in lessons.kinds(lesson):
        for seed in seeds:
            lessons.keep_answer(log, person, Attempt(kind, seed, True))


def test_alone_on_one_machine_once_every_lesson_with_safety_is_signed_there(log):
    for n, key in enumerate(NEEDED):
        learn(log, "Ann", key)
        lessons.keep_sign_off(log, lessons.score_of(log, "Ann", key), "Ann", "router", DAY, "Ben")
        (first, second) = training(log, MACHINES).rights
        assert first.alone == (n == len(NEEDED) - 1)
        assert not second.alone
        assert second.missing == NEEDED
    assert first.until == DAY + datetime.timedelta(days=365)
    assert training(log, MACHINES, first.until).rights[0].alone
    lapsed = training(log, MACHINES, first.until + datetime.timedelta(days=1))
    assert lapsed.rights[0].missing == NEEDED
    assert "lapsed" in lapsed.steps["Ann"][0]
    assert "take it again" in lapsed.steps["Ann"][0], "its answers have lapsed with it"
    soon = training(log, MACHINES, first.until - datetime.timedelta(days=5))
    assert soon.rights[0].alone
    assert "lapses after" in soon.steps["Ann"][0]


def test_answers_older_than_a_sign_off_would_hold_do_not_count(log):
    learn(log, "Ann", "safety")
    assert lessons.passed(lessons.score_of(log, "Ann", "safety", DAY)).passed
    assert lessons.score_of(log, "Ann", "safety", DAY + datetime.timedelta(days=366)).attempts == ()


def test_where_people_go_wrong_is_what_a_plain_count_of_the_file_says(log):
    given = (("Ann", 1, False, "not halved"), ("Ann", 1, True, ""), ("Ben", 1, False, "not halved"),
             ("Ben", 2, False, "doubled"), ("Ann", 2, True, ""))  # fmt: skip
    for person, seed, right, mistake in given:
        lessons.keep_answer(log, person, Attempt("each-cheek", seed, right), [mistake] if mistake else [])
    lessons.keep_answer(log, "Ann", Attempt("clearance", 1, True))
    (trouble,) = training(log, MACHINES).troubles
    with contextlib.closing(sqlite3.connect(log.path)) as raw:
        rows = raw.execute("SELECT mistakes FROM answers WHERE correct = 0").fetchall()
    assert dict(trouble.mistakes) == Counter(m for (m,) in rows) == {"not halved": 2, "doubled": 1}
    assert (trouble.kind, trouble.tried, trouble.wrong, trouble.people) == ("each-cheek", 4, 3, ("Ann", "Ben"))


def test_who_is_wrong_three_times_in_a_row_is_not_left_alone_with_it(log):
    for seed in (1, 2, 3):
        lessons.keep_answer(log, "Ann", Attempt("fire", seed, False))
    assert training(log, MACHINES).steps["Ann"][0].startswith("go through 'fire' together")
    lessons.keep_answer(log, "Ann", Attempt("fire", 4, True))
    assert "together" not in " ".join(training(log, MACHINES).steps["Ann"])


def test_next_is_the_signature_then_what_is_begun_then_safety_first(log):
    learn(log, "Ann", "fit")
    learn(log, "Ann", "surface", seeds=(1,))
    steps = training(log, MACHINES).steps["Ann"]
    assert steps[0] == "have 'Fit and seasons' signed at the machine"
    assert steps[1].startswith("go on with 'Stepover")
    assert steps[2] == f"begin '{lessons.LESSONS[NEEDED[0]]}'"


def test_who_is_gone_is_left_out_and_old_sign_offs_name_no_machine(log):
    log.add(LessonSignOff("fit", "Cem", 1.0, "2026-03-01", "Ben"), operator="Ben")
    assert [r.machine for r in training(log, MACHINES).rights] == ["router", "small", ""]
    log.add(Operator("Cem", False), operator="Ben")
    assert training(log, MACHINES).as_lines() == ["nobody has answered an exercise or signed a lesson yet"]
    log.add(Operator("Cem"), operator="Ben")
    assert list(training(log, MACHINES).steps) == ["Cem"]


def test_nobody_is_signed_off_for_a_day_that_has_not_come(log):
    learn(log, "Ann", "fit")
    score = lessons.score_of(log, "Ann", "fit")
    with pytest.raises(InputError, match="has not come yet"):
        lessons.keep_sign_off(log, score, "Ann", "router", DAY + datetime.timedelta(days=2), "Ben")
    assert not list(log.entries("e.kind = 'sign-off'"))


def test_the_page_says_what_it_is_not_and_holds_no_code(log):
    lessons.keep_answer(log, "<b>Ann</b>", Attempt("fire", 1, False))
    page = as_page(training(log, MACHINES).as_document())
    assert "no licence" in page
    assert "only watched" in page
    assert "<b>Ann" not in page


def test_the_command_prints_the_table_the_document_and_the_page(tmp_path, capsys):
    shop = copy_starter(tmp_path / "shop")
    with ShopLog.of(shop) as log:
        learn(log, "Ann", "fit")
        lessons.keep_answer(log, "Ben", Attempt("fire", 1, False), ["turned round"])
    assert main(["log", "training", "--shop", str(shop)]) == 0
    said = capsys.readouterr().out
    for words in ("Who may run what", "only watched", "turned round (1)", "have 'Fit and seasons' signed"):
        assert words in said, words
    assert main(["log", "training", "--shop", str(shop), "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["needed"] == list(NEEDED)
    assert data["troubles"][0]["mistakes"] == [{"name": "turned round", "count": 1}]
    page = tmp_path / "training.html"
    assert main(["log", "training", "--shop", str(shop), "--page", str(page)]) == 0
    assert "no licence" in page.read_text()
    assert main(["log", "training", "--shop", str(shop), "--page", str(page)]) == 2, "it is not written over"
    capsys.readouterr()
    assert main(["log", "training", "--shop", str(shop), "--page", "training.pdf"]) == 2
    assert ".html" in capsys.readouterr().err
