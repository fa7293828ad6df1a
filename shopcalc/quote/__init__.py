"""Quotes: what a machine hour costs, the price with its working, and pages for people."""

from shopcalc.quote.costs import (
    MachineRate,
    annual_cost,
    average_investment,
    capital_recovery_factor,
    machine_hour_rate,
    sinking_fund_factor,
)
from shopcalc.quote.pages import CAUTION, as_html, as_text, hours_csv, sheets
from shopcalc.quote.pricing import Line, Price, price

__all__ = [
    "CAUTION",
    "Line",
    "MachineRate",
    "Price",
    "annual_cost",
    "as_html",
    "as_text",
    "average_investment",
    "capital_recovery_factor",
    "hours_csv",
    "machine_hour_rate",
    "price",
    "sheets",
    "sinking_fund_factor",
]
