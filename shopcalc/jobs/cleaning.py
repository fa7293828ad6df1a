"""Said before any wood is bought: which planned parts would not clean up to their thickness from the stock chosen."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache
from typing import NamedTuple

from shopcalc.holding.cleaning_up import planned_thickness
from shopcalc.jobs.reading import Job
from shopcalc.jobs.wood import wanted
from shopcalc.seasons import Band
from shopcalc.shop import Shop
from shopcalc.stock.blanks import Blank, blank
from shopcalc.stock.rules import StockRules
from shopcalc.stock.tallying import nominal_thickness
from shopcalc.units import System, write

#: Hollow across a sawn board as a share of its width, hollow along it and rise of one corner as shares of its length:
#: flat, usual and bent boards of a yard, dried and acclimatised (common practice, no source).
CUP, BOW, TWIST = Band(0.001, 0.004, 0.012), Band(0.0003, 0.001, 0.003), Band(0.0003, 0.0012, 0.004)
#: Wood to be taken from each face everywhere so that no saw mark stays (common practice, no source) [mm].
SKIN = 0.4
_QUARTER = 25.4 / 4
_MOST_STRIPS = 4  # more than now, that are tried
_STEPS = 3  # thicknesses above the one chosen that are tried


class Cleaning(NamedTuple):
    """A part's blank with the thickness it is bought in, what is wanted of it, and what is to be expected [mm]."""

    blank: Blank
    rough: float
    wanted: float
    expected: Band

    @property
    def short(self) -> bool:
        """Whether usual boards do not clean up."""
        return self.expected.likely < self.wanted - 1e-6


def rough_thickness(b: Blank, rules: StockRules) -> float:
    """Thickness each layer has before it is planed.

    Parameters
    ----------
    b : Blank
        From ``stock.blanks.blank``.
    rules : StockRules
        The shop's, for the saw that resaws.

    Returns
    -------
    float
        As sold, or what resawing leaves of it [mm].
    """
    return (b.sold - (b.per_board - 1) * rules.resaw_kerf) / b.per_board


def expected_thickness(b: Blank, rough: float) -> Band:
    """What is left of a blank once both its faces are flat.

    Parameters
    ----------
    b : Blank
        Its length, its strips' width, its layers.
    rough : float
        Before planing [mm].

    Returns
    -------
    Band
        From boards as bent as boards come to as flat as they come [mm]. Strips cup on their own width; bow and twist
        run over the blank's whole length.
    """
    return _expected(b.length, b.width, b.strip_width, rough)


@lru_cache(maxsize=256)  # a job is priced again and again while its figures are played with
def _expected(length: float, width: float, strip: float, rough: float) -> Band:
    cup, bow, twist = (
        Band(*(s * size for s in shares)) for shares, size in ((CUP, strip), (BOW, length), (TWIST, length))
    )
    return planned_thickness(length, width, rough, cup=cup, bow=bow, twist=twist, skin=SKIN)


def cleaning_up(job: Job, shop: Shop | None = None) -> tuple[Cleaning, ...]:
    """Every part of solid boards with the thickness to expect of its blank.

    Parameters
    ----------
    job : Job
        Read and checked.
    shop : Shop, optional
        Whose rules count; None takes the one the job was read for.

    Returns
    -------
    tuple of Cleaning
        Sheets, laminated stock and what is bought by the piece come flat and are left out; so is what surely cleans
        up, for which no planes are sought.
    """
    shop = job.shop if shop is None else shop
    rules, out = shop.rates.stock, []
    for w in wanted(job, shop):
        if w.group not in ("hardwood", "softwood") or w.stock or w.extra_thickness <= 0:
            continue
        b = blank(w, rules)
        need, rough = w.thickness / w.layers, rough_thickness(b, rules)
        if _surely(b, rough) < need:
            out.append(Cleaning(b, rough, need, expected_thickness(b, rough)))
    return tuple(out)


def _surely(b: Blank, rough: float) -> float:
    """What a usual board leaves even where all its bends add up (geometry) [mm]."""
    return rough - 2 * SKIN - CUP.likely * b.strip_width - (BOW.likely + TWIST.likely / 2) * b.length


def cleaning_warnings(job: Job, shop: Shop | None = None) -> tuple[str, ...]:
    """What of a job would hardly clean up, with the remedy.

    Parameters
    ----------
    job : Job
        Read and checked.
    shop : Shop, optional
        As in ``cleaning_up``.

    Returns
    -------
    tuple of str
        One for each part whose usual board would not clean up to its thickness; empty when all do.
    """
    shop = job.shop if shop is None else shop
    rules, system = shop.rates.stock, job.system
    out = [f"part '{c.blank.wanted.part}': {_words(c, rules, system)}" for c in cleaning_up(job, shop) if c.short]
    if out:
        out.append(
            "clean-up is judged by the usual cup, bow and twist of dried boards (common practice, no source): measure "
            "yours before they are glued, and never feed or clamp flat a board that rocks without shims"
        )
    return tuple(out)


def _words(c: Cleaning, rules: StockRules, system: System) -> str:
    b = c.blank
    rough, need, likely, least = (_told(v, system) for v in (c.rough, c.wanted, c.expected.likely, c.expected.least))
    each = " each layer" if b.layers > 1 else ""
    step = 0.5 if system == "metric" else 25.4 / 32
    most = _told(math.floor(c.expected.likely / step) * step, system)
    remedies = [r for r in (_thicker(c, rules, system), _narrower(c, system), f"finish it at {most}") if r]
    return (
        f"{rough} rough stock, {_told(b.length, system)} long, usually comes flat at {likely} (bent boards {least}), "
        f"where{each} {need} is wanted: it would hardly clean up; {', or '.join(remedies)}, or pick the flattest boards"
    )


def _thicker(c: Cleaning, rules: StockRules, system: System) -> str:
    """The next thickness it is sold in that cleans up."""
    sold = c.blank.sold
    for _ in range(_STEPS):
        sold = nominal_thickness(sold + _QUARTER / 2)
        thicker = replace(c.blank, sold=sold, per_board=1)
        if expected_thickness(thicker, rough_thickness(thicker, rules)).likely >= c.wanted:
            return f"buy {_told(sold, system)} stock"
    return ""


def _narrower(c: Cleaning, system: System) -> str:
    """Fewest more strips that let it clean up; only where it is glued up already."""
    b = c.blank
    if b.strips < 2:
        return ""
    for strips in range(b.strips + 1, b.strips + _MOST_STRIPS + 1):
        narrow = replace(b, strips=strips, strip_width=b.strip_width * b.strips / strips)
        if expected_thickness(narrow, c.rough).likely >= c.wanted:
            return f"glue it of {strips} strips up to {_told(narrow.strip_width, system)} wide"
    return ""


def _told(value: float, system: System) -> str:
    step = 0.1 if system == "metric" else 25.4 / 64
    return write(round(value / step) * step, "length", system)
