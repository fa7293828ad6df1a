"""The lesson's face without a browser: it shows what the exercises say, and counts as the rules do."""

import pytest

from shopcalc import lessons
from shopcalc.controls import chip_control, grain_control, lesson
from shopcalc.cutting.chipload import feed_per_tooth, mean_chip


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
