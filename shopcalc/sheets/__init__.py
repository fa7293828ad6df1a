"""The papers of a job: quote, buying list, cut list, set-up sheets, traveller, fit table; as page, PDF, workbook."""

from shopcalc.sheets.buying import buying_list
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
    "buying_list",
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
