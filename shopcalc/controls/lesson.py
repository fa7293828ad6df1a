"""A lesson's exercises, one after the other: question, answer, hints, worked solution, score, sign-off."""

from __future__ import annotations

import html
from collections.abc import Callable, Sequence
from pathlib import Path

import ipywidgets as widgets

from shopcalc import lessons
from shopcalc.controls.parts import big, heading, note, table
from shopcalc.controls.sign_off import SignOffForm, button
from shopcalc.errors import InputError
from shopcalc.shop import Shop
from shopcalc.shoplog import Moment, now
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
    shop : Shop, Path, str or None
        In whose log first answers and sign-offs are kept; None until its folder is written on the face.
    person : str
        Who learns.
    clock : callable
        Gives the present moment.
    """

    def __init__(
        self, lesson: str, system: System = "inch", seed: int = 1, shop: Shop | Path | str | None = None,
        person: str = "", clock: Callable[[], Moment] = now,
    ) -> None:  # fmt: skip
        self.lesson, self._kinds = lesson, lessons.kinds(lesson)
        self.score = lessons.Score(lesson)
        self._number = 0
        self._seen = dict.fromkeys(self._kinds, seed - 1)  # last seed asked of each kind
        self._unkept: list[tuple[lessons.Attempt, Sequence[str]]] = []
        wide = widgets.Layout(width="34em")
        named = {"description_width": "9em"}
        self.system = widgets.ToggleButtons(
            options=["inch", "metric"], value=system, description="units", style=named,
            tooltips=["lengths in inches", "lengths in millimetres"],
        )  # fmt: skip
        self.answer = widgets.Text(description="your answer", style=named, layout=wide, continuous_update=False,
                                   placeholder="a number with its unit, letters, or a line")  # fmt: skip
        self.check_button = button("check", self.check, "judge the answer (tab, then space)")
        self.hint_button = button("hint", self.hint, "the next hint; hints count")
        self.solution_button = button("worked solution", self.show_solution, "closes this exercise")
        self.next_button = button("next exercise", self.next, "a new one")
        self.question, self.said, self.hints, self.solution, self.marks = (widgets.HTML() for _ in range(5))
        self.system.observe(lambda _: self._ask(), names="value")
        buttons = widgets.HBox(
            [self.check_button, self.hint_button, self.solution_button, self.next_button],
            layout=widgets.Layout(flex_flow="row wrap"),
        )
        self.form = SignOffForm(lesson, lambda: self.score, self._identified, shop, person, clock)
        self.view = widgets.VBox(
            [widgets.HTML(heading(f"Lesson: {lessons.LESSONS[lesson]}")), self.form.who, self.system, self.question,
             self.answer, buttons, self.said, self.hints, self.solution, self.marks, self.form.view]
        )  # fmt: skip
        self._show()
        self._identified()

    @property
    def exercise(self) -> lessons.Exercise:
        """The one that is asked now."""
        system: System = "metric" if self.system.value == "metric" else "inch"
        return lessons.make(self._kind, self._seen[self._kind], system)

    @property
    def _kind(self) -> str:
        return self._kinds[self._number % len(self._kinds)]

    def _show(self) -> None:
        """Ask another exercise: one this person has not had."""
        had = (a.seed for a in self.score.attempts if a.kind == self._kind)
        self._seen[self._kind] = max((self._seen[self._kind], *had)) + 1
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
            self._count(verdict.right, verdict.mistakes)
        if verdict.right:
            self._tell_solution()

    def _count(self, right: bool, mistakes: Sequence[str] = ()) -> None:
        e = self.exercise
        self._judged = True
        attempt = lessons.Attempt(e.kind, e.seed, right, self._hints_shown)
        self.score = self.score.with_(attempt)
        self._unkept.append((attempt, mistakes))
        self._keep()
        self._mark()

    def _keep(self) -> None:
        """Write what was answered into the log, once it is known whose it is and where."""
        if not self.form.ready or not self._unkept:
            return
        try:
            with self.form.log() as log:
                while self._unkept:
                    lessons.keep_answer(log, self.form.person.value, *self._unkept[0])
                    del self._unkept[0]
        except InputError as e:
            self.said.value += note(f"Not kept: {e}")

    def _identified(self) -> None:
        """Take up where this person stands; what was answered before a name was given becomes theirs."""
        if not self.form.ready:
            self.score = lessons.Score(self.lesson, tuple(a for a, _ in self._unkept))
        else:
            self._keep()
            try:
                with self.form.log() as log:
                    self.score = lessons.score_of(log, self.form.person.value, self.lesson)
            except InputError as e:
                self.said.value = note(str(e))
            if not self._judged and self.score.attempts:
                due = lessons.due(self.score)
                self._number = self._kinds.index(due[0]) if due else self._number
                self._seen[self._kind] -= 1  # it was not answered
                self._show()
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
            self._count(False, ("solution taken",))
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
            "Passed: have it signed below, by somebody who watched you at the machine."
            if out.passed
            else "Still to do: " + "; ".join(out.missing)
        )
        self.marks.value = table("Score", ["exercise", "tried", "right at once", "hints"], rows, last) + note(told)


def lesson(
    key: str, system: System = "inch", seed: int = 1, shop: Shop | Path | str | None = None, person: str = ""
) -> LessonControl:
    """The control over one lesson, to be shown by ``.view``.

    Parameters
    ----------
    key : str
        Of ``lessons.LESSONS``.
    system : {"metric", "inch"}
        Units at first.
    seed : int
        Of the first exercises.
    shop : Shop, Path, str or None
        In whose log answers and sign-offs are kept; None takes a folder "my-shop" here or above, if there is one.
    person : str
        Who learns.
    """
    return LessonControl(key, system, seed, shop, person)
