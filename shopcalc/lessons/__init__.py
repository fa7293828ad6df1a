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
from shopcalc.lessons.scoring import Attempt, Outcome, Score, passed, record_page, sign_off

__all__ = [
    "KINDS",
    "LESSONS",
    "Attempt",
    "Exercise",
    "Mistake",
    "Outcome",
    "Score",
    "Verdict",
    "bending",
    "feeds",
    "grain_and_climb",
    "kinds",
    "make",
    "minutes",
    "passed",
    "placing",
    "programs",
    "record_page",
    "safe_work",
    "set_up_sheet",
    "sign_off",
    "surfaces",
]
