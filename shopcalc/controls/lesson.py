"""A lesson's exercises, one after the other: question, answer, hints, worked solution, score."""

from __future__ import annotations

import html
from typing import Any

import ipywidgets as widgets

from shopcalc import lessons
from shopcalc.controls.parts import big, heading, note, table
from shopcalc.units import System

_QUESTION = (
    '<div style="font-size:16px;max-width:44em;line-height:1.5;white-space:pre-wrap;margin:6px 0" role="group" '
    'aria-label="question">{}</div>'
)


class LessonControl:
    """One lesson's exercises.

    Parameters
    ----------
    lesson : str
        Key of ``lessons.LESSONS``.
    system : {"metric", "inch"}
        Units of what is given; answers are taken in either.
    seed : int
        Of the first exercise of each kind; later ones count on from it.
    """

    def __init__(self, lesson: str, system: System = "inch", seed: int = 1) -> None:
        self.lesson, self._kinds = lesson, lessons.kinds(lesson)
        self.score = lessons.Score(lesson)
        self._first, self._number = seed, 0
        wide = widgets.Layout(width="34em")
        named = {"description_width": "9em"}
        self.system = widgets.ToggleButtons(
            options=["inch", "metric"], value=system, description="units", style=named,
            tooltips=["lengths in inches", "lengths in millimetres"],
        )  # fmt: skip
        self.answer = widgets.Text(description="your answer", style=named, layout=wide, continuous_update=False,
                                   placeholder="a number with its unit, letters, or a line")  # fmt: skip
        self.check_button = self._button("check", self.check, "judge the answer (tab, then space)")
        self.hint_button = self._button("hint", self.hint, "the next hint; hints count")
        self.solution_button = self._button("worked solution", self.show_solution, "closes this exercise")
        self.next_button = self._button("next exercise", self.next, "a new one")
        self.question, self.said, self.hints, self.solution, self.marks = (widgets.HTML() for _ in range(5))
        self.system.observe(lambda _: self._ask(), names="value")
        buttons = widgets.HBox(
            [self.check_button, self.hint_button, self.solution_button, self.next_button],
            layout=widgets.Layout(flex_flow="row wrap"),
        )
        self.view = widgets.VBox(
            [widgets.HTML(heading(f"Lesson: {lessons.LESSONS[lesson]}")), self.system, self.question, self.answer,
             buttons, self.said, self.hints, self.solution, self.marks]
        )  # fmt: skip
        self._show()

    @staticmethod
    def _button(name: str, call: Any, tip: str) -> widgets.Button:
        button = widgets.Button(description=name, tooltip=tip, layout=widgets.Layout(width="11em"))
        button.on_click(lambda _: call())
        return button

    @property
    def exercise(self) -> lessons.Exercise:
        """The one that is asked now."""
        kind = self._kinds[self._number % len(self._kinds)]
        system: System = "metric" if self.system.value == "metric" else "inch"
        return lessons.make(kind, self._first + self._number // len(self._kinds), system)

    def _show(self) -> None:
        """Ask another exercise."""
        self._hints_shown, self._judged = 0, False
        self._ask()

    def _ask(self) -> None:
        """Ask in the present units; hints that were taken stay counted."""
        mono = "font-family:monospace;" if "\n    " in self.exercise.text or self.exercise.form == "line" else ""
        text = _QUESTION.format(html.escape(self.exercise.text))
        self.question.value = text.replace("font-size:16px;", f"font-size:16px;{mono}")
        self.answer.value = ""
        self.said.value = self.hints.value = self.solution.value = ""
        self.hint_button.disabled = self.check_button.disabled = False
        self._mark()

    def check(self) -> None:
        """Judge what stands in the box; the first answer with content is what counts."""
        verdict = self.exercise.check(self.answer.value)
        self.said.value = big(
            ("✓ RIGHT. " if verdict.right else "✗ NOT YET. ") + verdict.message.removeprefix("Right.")
        )
        empty = verdict.mistakes == ("form",)
        if not self._judged and not empty:
            self._count(verdict.right)
        if verdict.right:
            self._tell_solution()

    def _count(self, right: bool) -> None:
        e = self.exercise
        self._judged = True
        self.score = self.score.with_(lessons.Attempt(e.kind, e.seed, right, self._hints_shown))
        self._mark()

    def hint(self) -> None:
        """Show one hint more."""
        e = self.exercise
        self._hints_shown = min(self._hints_shown + 1, len(e.hints))
        self.hints.value = "".join(note(f"Hint {n}: {h}") for n, h in enumerate(e.hints[: self._hints_shown], 1))
        self.hint_button.disabled = self._hints_shown == len(e.hints)

    def show_solution(self) -> None:
        """Show the worked solution; an exercise without an answer counts as not right."""
        if not self._judged:
            self._count(False)
        self._tell_solution()

    def _tell_solution(self) -> None:
        e = self.exercise
        self.solution.value = note(f"Worked: {e.solution}") + note(f"Rests on: {e.source}.")
        self.check_button.disabled = self.hint_button.disabled = True

    def next(self) -> None:
        """Ask the next one; passing over an exercise without an answer does not count."""
        self._number += 1
        self._show()

    def _mark(self) -> None:
        s, out = self.score, lessons.passed(self.score)
        rows = []
        for kind in self._kinds:
            mine = [a for a in s.attempts if a.kind == kind]
            right = sum(a.first_try and not a.hints for a in mine)
            rows.append([kind.replace("-", " "), str(len(mine)), str(right), str(sum(a.hints for a in mine))])
        last = ["together", str(len(s.attempts)), str(s.right_at_first_try), str(s.hints_used)]
        told = (
            "Passed: print the record and have it signed." if out.passed else "Still to do: " + "; ".join(out.missing)
        )
        self.marks.value = table("Score", ["exercise", "tried", "right at once", "hints"], rows, last) + note(told)


def lesson(key: str, system: System = "inch", seed: int = 1) -> LessonControl:
    """The control over one lesson, to be shown by ``.view``.

    Parameters
    ----------
    key : str
        Of ``lessons.LESSONS``.
    system : {"metric", "inch"}
        Units at first.
    seed : int
        Of the first exercises.
    """
    return LessonControl(key, system, seed)
