"""The papers of a job: customer's quote, cut list, set-up sheets, traveller, fit table; as page, PDF and workbook."""

from shopcalc.sheets.customer import customer_quote
from shopcalc.sheets.fits import fit_paper
from shopcalc.sheets.parts_list import cut_list
from shopcalc.sheets.set_ups import CutterRun, cutter_runs, set_up_sheets
from shopcalc.sheets.terms import Terms, read_terms
from shopcalc.sheets.traveller import traveller
from shopcalc.sheets.writing import KINDS, papers, rendered, stem

__all__ = [
    "KINDS",
    "CutterRun",
    "Terms",
    "customer_quote",
    "cut_list",
    "cutter_runs",
    "fit_paper",
    "papers",
    "read_terms",
    "rendered",
    "set_up_sheets",
    "stem",
    "traveller",
]
