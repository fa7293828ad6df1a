"""Lessons for the next operator: exercises drawn from a seed, answered by our own models, and their record."""

from shopcalc.lessons import (
    bending,
    feeds,
    grain_and_climb,
    minutes,
    placing,
    programs,
    safe_work,
    set_up_sheet,
    surfaces,
)
from shopcalc.lessons.drawing_lots import KINDS, LESSONS, kinds, make
from shopcalc.lessons.exercise import Exercise
from shopcalc.lessons.judging import Mistake, Verdict
from shopcalc.lessons.keeping import keep_answer, keep_sign_off, score_of, signed
from shopcalc.lessons.scoring import (
    NOT_A_LICENCE,
    RETAKE_RULES,
    Attempt,
    Outcome,
    Score,
    about_safety,
    due,
    holds,
    passed,
    record_page,
    sign_off,
)

__all__ = [
    "KINDS",
    "LESSONS",
    "NOT_A_LICENCE",
    "RETAKE_RULES",
    "Attempt",
    "Exercise",
    "Mistake",
    "Outcome",
    "Score",
    "Verdict",
    "about_safety",
    "bending",
    "due",
    "feeds",
    "grain_and_climb",
    "holds",
    "keep_answer",
    "keep_sign_off",
    "kinds",
    "make",
    "minutes",
    "passed",
    "placing",
    "programs",
    "record_page",
    "safe_work",
    "score_of",
    "set_up_sheet",
    "sign_off",
    "signed",
    "surfaces",
]
