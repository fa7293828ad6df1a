"""The lesson's face without a browser: it shows what the exercises say, and counts as the rules do."""

import base64
import re

import numpy as np
import pytest

from shopcalc import lessons
from shopcalc.controls import chip_control, grain_control, lesson, training_control
from shopcalc.controls.lesson import LessonControl
from shopcalc.cutting.chipload import feed_per_tooth, mean_chip
from shopcalc.shop import copy_starter
from shopcalc.shoplog import ShopLog


@pytest.fixture
def control():
    return lesson("chip-and-heat", "inch", seed=4)


def test_a_right_answer_is_said_in_words_and_counted(control):
    control.answer.value = control.exercise.answer
    control.check_button.click()
    assert "RIGHT" in control.said.value
    assert "NOT" not in control.said.value
    assert control.score.right_at_first_try == 1
    assert "Worked:" in control.solution.value


def test_only_the_first_answer_counts_and_an_empty_box_is_none(control):
    control.check_button.click()
    assert control.score.attempts == ()
    control.answer.value = "1 mm/tooth"
    control.check_button.click()
    assert "NOT YET" in control.said.value
    control.answer.value = control.exercise.answer
    control.check_button.click()
    assert "RIGHT" in control.said.value
    assert [a.first_try for a in control.score.attempts] == [False]


def test_hints_come_one_by_one_and_count_even_when_the_units_change(control):
    control.hint_button.click()
    assert control.hints.value.count("Hint") == 1
    control.hint_button.click()
    assert control.hints.value.count("Hint") == 2
    before = control.exercise.text
    control.system.value = "metric"
    assert control.exercise.text != before
    control.answer.value = control.exercise.answer
    control.check_button.click()
    assert control.score.hints_used == 2
    assert control.score.right_at_first_try == 0


def test_a_solution_that_was_shown_closes_the_exercise(control):
    control.solution_button.click()
    assert control.exercise.answer in control.solution.value
    assert control.check_button.disabled
    assert [a.first_try for a in control.score.attempts] == [False]
    control.next_button.click()
    assert not control.check_button.disabled
    assert control.solution.value == ""


@pytest.mark.parametrize("key", lessons.LESSONS)
def test_each_lesson_can_be_passed_by_its_face(key):
    control = lesson(key)
    for _ in range(2 * len(lessons.kinds(key))):
        control.answer.value = control.exercise.answer
        control.check_button.click()
        control.next_button.click()
    assert lessons.passed(control.score).passed
    assert "Passed" in control.marks.value


def test_what_is_asked_cannot_bring_code_onto_the_page(control):
    control.answer.value = "<script>alert(1)</script>"
    control.check_button.click()
    assert "<script>" not in control.said.value


@pytest.mark.parametrize("system", ["inch", "metric"])
def test_the_picture_of_the_chip_is_the_formula(system):
    chip = chip_control(system)
    chip.feed.value, chip.rpm.value, chip.flutes.value, chip.width.value = 3000, 12000, 2, 2.0
    per = float(feed_per_tooth(3000, 12000, 2))
    assert chip.mean == pytest.approx(float(mean_chip(per, 2.0, 12.7)))
    assert "in the window" in chip.verdict
    chip.feed.value = 600
    assert "RUBS" in chip.verdict
    per_unit = 25.4 if system == "inch" else 1.0
    assert chip.figure.data[1].y[0] * per_unit == pytest.approx(chip.mean)


def test_the_picture_of_the_grain_is_the_model_and_geometry():
    grain = grain_control()
    grain.lie.value = "stood on end"
    grain.helix.value = 30
    assert grain.shares["flutes"] == pytest.approx([0.25, 0.75, 0.0])
    assert grain.shares["tip"] == pytest.approx([0.0, 0.0, 1.0])
    assert list(grain.figure.data[0].x) == pytest.approx([25, 75, 0])
    grain.lie.value, grain.helix.value, grain.angle.value = "flat on the table", 0, 20
    assert "against the grain" in grain.verdict
    grain.angle.value = -20
    assert "with the grain" in grain.verdict
    assert grain.shares["tip"] == pytest.approx([0.5, 0.5, 0.0])


# --- what is kept ----------------------------------------------------------------------------------------------------


@pytest.fixture
def shop(tmp_path):
    return copy_starter(tmp_path / "shop")


def answer(control, rounds=2):
    for _ in range(rounds * len(lessons.kinds(control.lesson))):
        control.answer.value = control.exercise.answer
        control.check_button.click()
        control.next_button.click()


def test_the_demo_shop_keeps_nothing_and_says_what_to_do(control):
    assert "shopcalc new my-shop" in control.form.kept.value
    control.form.folder.value = "no-such-folder-anywhere"
    assert "there is no shop" in control.form.kept.value
    answer(control)
    control.form.sign_button.click()
    assert "NOT SIGNED" in control.form.said.value
    assert "shopcalc new" in control.form.said.value


def test_answers_before_and_after_the_name_are_kept_once_with_their_mistakes(control, shop):
    while control.exercise.kind != "thin-or-thick":
        control.next_button.click()
    control.answer.value = str(control.exercise.mistakes[0].answer)
    control.check_button.click()
    control.form.folder.value = str(shop)
    assert "write your name" in control.form.kept.value
    assert not (shop / "log.sqlite").exists()
    control.form.person.value = "Ann"
    control.next_button.click()
    control.answer.value = control.exercise.answer
    control.check_button.click()
    with ShopLog.of(shop) as log:
        kept = [e.record for e in log.entries()]
    assert (kept[0].exercise, kept[0].correct) == ("thin-or-thick", False)
    assert kept[0].mistakes
    assert [a.correct for a in kept] == [False, True]
    assert {a.person for a in kept} == {"Ann"}
    assert len(control.score.attempts) == 2


def test_another_person_starts_afresh_and_the_first_finds_their_score_again(shop):
    control = LessonControl("fit", shop=shop, person="Ann")
    answer(control, 1)
    control.form.person.value = "Ben"
    assert control.score.attempts == ()
    control.form.person.value = "Ann"
    assert len(control.score.attempts) == len(lessons.kinds("fit"))
    again = LessonControl("fit", shop=shop, person="Ann")
    assert again.score == control.score
    had = {(a.kind, a.seed) for a in again.score.attempts}
    assert (again.exercise.kind, again.exercise.seed) not in had, "an exercise is asked once"


def test_the_sign_off_is_written_by_person_and_machine_and_printed(shop):
    control = LessonControl("fit", shop=shop, person="Ann")
    control.form.signed_by.value = "Ben"
    control.form.sign_button.click()
    assert "not passed" in control.form.said.value
    answer(control)
    control.form.signed_by.value = "ann"
    control.form.sign_button.click()
    assert "their own" in control.form.said.value
    control.form.signed_by.value = "Ben"
    control.form.sign_button.click()
    assert "✓ SIGNED" in control.form.said.value
    assert "it holds until" in control.form.kept.value
    with ShopLog.of(shop) as log:
        (signed,) = (e for e in log.entries("e.kind = 'sign-off'"))
    assert (signed.operator, signed.record.person, signed.record.machine, signed.record.score) == (
        "Ben", "Ann", control.form.machine.value, 1.0,
    )  # fmt: skip
    control.form.machine.value = control.form.machine.options[1][1]
    assert "No sign-off yet" in control.form.kept.value
    control.form.machine.value = control.form.machine.options[0][1]
    control.form.print_button.click()
    page = base64.b64decode(re.search(r"base64,([^\"]+)", control.form.page.value)[1]).decode()
    machine = f"Machine: {control.form.machine.label}"
    for words in ("no licence", "Ann", "Ben, 20", "Fit and seasons", "it again", machine):
        assert words in page, words


def test_names_bring_no_code_onto_page_or_paper(shop):
    control = LessonControl("fit", shop=shop, person="<script>x</script>")
    control.form.print_button.click()
    page = base64.b64decode(re.search(r"base64,([^\"]+)", control.form.page.value)[1]).decode()
    assert "<script>" not in control.form.kept.value + control.form.page.value + page


def test_the_trainers_view_shows_what_was_just_signed(shop):
    view = training_control(shop)
    assert "Nothing is logged" in view.said.value
    control = LessonControl("fit", shop=shop, person="Ann")
    answer(control)
    view.again_button.click()
    assert "✓ passed" in view.tables.value
    control.form.signed_by.value = "Ben"
    control.form.sign_button.click()
    view.again_button.click()
    assert "✓✓ signed" in view.tables.value
    view.print_button.click()
    assert "data:text/html" in view.page.value
    view.folder.value = ""
    assert view.tables.value == ""
    assert "shopcalc new" in view.said.value or "my-shop" in view.folder.value


def test_who_comes_back_is_asked_first_what_is_still_due(shop):
    with ShopLog.of(shop) as log:
        for kind in lessons.kinds("fit"):
            for seed in (1, 2):
                lessons.keep_answer(log, "Ann", lessons.Attempt(kind, seed, kind != "clearance"))
    control = LessonControl("fit", shop=shop, person="Ann")
    assert lessons.due(control.score) == ("clearance",)
    assert (control.exercise.kind, control.exercise.seed) == ("clearance", 3)


def test_a_log_that_cannot_be_read_is_said_and_the_lesson_goes_on(shop):
    (shop / "log.sqlite").write_text("no log at all, but long enough to be looked at" * 40)
    before = (shop / "log.sqlite").read_bytes()
    control = LessonControl("fit", shop=shop, person="Ann")
    assert "✗ It cannot be" in control.form.kept.value
    control.answer.value = control.exercise.answer
    control.check_button.click()
    assert "RIGHT" in control.said.value
    assert "Not kept" in control.said.value
    control.form.sign_button.click()
    assert "NOT SIGNED" in control.form.said.value
    assert training_control(shop).said.value
    assert (shop / "log.sqlite").read_bytes() == before


@pytest.mark.parametrize("way", ["climb", "conventional"])
@pytest.mark.parametrize("angle", [-65, -20, 35, 80])
def test_fibres_are_drawn_as_the_verdict_on_the_wall_says(way, angle):
    """Against the grain: a fibre followed the way the flute's arrow points runs into the wood that stays."""
    grain = grain_control()
    grain.lie.value, grain.way.value, grain.angle.value = "flat on the table", way, angle
    stays, _, fibres, _ = grain.plan.data
    arrow = grain.plan.layout.annotations[1]
    dx, dy = (np.diff(v)[0] * np.sign(np.diff(fibres.x)[0]) * np.sign(arrow.x - arrow.ax) for v in (fibres.x, fibres.y))
    assert abs(np.degrees(np.arctan(dy / dx)) - angle) < 1e-6
    into = dy * np.mean(stays.y) > 0
    assert ("against the grain" in grain.verdict) == into
    assert ("with the grain" in grain.verdict) != into


def test_fibres_that_stand_upright_are_dots_in_the_wood():
    grain = grain_control()
    grain.lie.value = "stood on end"
    fibres = grain.plan.data[2]
    assert fibres.mode == "markers"
    assert np.hypot(fibres.x, fibres.y).min() > 0.98, "no fibre stands where the cutter is"
