"""Take this job? What the price turns on, three ways to make it, make against buy, where the next hour is."""

from shopcalc.deciding.card import Alone, Card, Turn, decide, turns_on
from shopcalc.deciding.choosing import Offer, Way, make_or_buy, ways
from shopcalc.deciding.next_hour import Saving, next_hours
from shopcalc.deciding.pages import as_json, as_text, tables
from shopcalc.deciding.versions import Difference, differences

__all__ = [
    "Alone",
    "Card",
    "Difference",
    "Offer",
    "Saving",
    "Turn",
    "Way",
    "as_json",
    "as_text",
    "decide",
    "differences",
    "make_or_buy",
    "next_hours",
    "tables",
    "turns_on",
    "ways",
]
