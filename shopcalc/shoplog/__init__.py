"""The shop's log: what really happened, in one file that is only added to."""

from shopcalc.shoplog.clock import Moment, now, read_moment, write_moment
from shopcalc.shoplog.records import (
    CutterEvent,
    LessonAnswer,
    LessonSignOff,
    Observation,
    Operator,
    QuoteOutcome,
    TimeEntry,
    job_key,
)
from shopcalc.shoplog.store import Entry, ShopLog, Written

__all__ = [
    "CutterEvent",
    "Entry",
    "LessonAnswer",
    "LessonSignOff",
    "Moment",
    "Observation",
    "Operator",
    "QuoteOutcome",
    "ShopLog",
    "TimeEntry",
    "Written",
    "job_key",
    "now",
    "read_moment",
    "write_moment",
]
