"""Settings of a control that are no factors, compared by how well each explains the logged times."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal, get_args

import numpy as np

from shopcalc.calibration.factors import factors_of
from shopcalc.calibration.fitting import Clock, Fit, fit
from shopcalc.moves import Floats, Moves

Bends = Literal["off", "speed", "share"]
BENDS: tuple[Bends, ...] = get_args(Bends)
#: Logarithm of the odds from which another setting than the record's is taken: twenty to one is called strong by Kass
#: and Raftery, "Bayes factors", Journal of the American Statistical Association 90(430), 1995.
CLEARLY = 3.0
#: Time in which acceleration builds up where a record says nothing of jerk [s]; common practice, no source.
BUILDS_UP = 0.05
_SEEN = 1e-3  # change of a logarithm that a watch could see


@dataclass(frozen=True, eq=False)
class Settled:
    """The settings taken, and the fit under them.

    Parameters
    ----------
    clock : Clock
        Its machine is the record under these settings.
    fit : Fit
        Of its factors.
    bends : mapping
        Setting of ``chord_curvature`` to the logarithm of its odds against the best; empty where it makes no
        difference.
    jerk : float or None
        Logarithm of the odds of gradual acceleration against none; None where it was not asked.
    """

    clock: Clock
    fit: Fit
    bends: Mapping[str, float] = field(default_factory=dict)
    jerk: float | None = None


def settled(clock: Clock, y: Floats, watch: Floats, keys: Sequence[str] | None, moves: Sequence[Moves]) -> Settled:
    """Fit under the record's settings and others; another is taken only where it is clearly better.

    Parameters
    ----------
    clock : Clock
        Of the record.
    y, watch : (n,) float
        As for ``fit``.
    keys : sequence of str, optional
        Factors that may change.
    moves : sequence of Moves
        Of the programs.
    """
    best, odds = fit(clock, y, watch), None
    record = clock.machine
    weakest = min(a.acceleration for a in record.axes)
    if (keys is None or "jerk" in keys) and math.isinf(record.controller.jerk) and math.isfinite(weakest):
        gradual = record.with_(controller=replace(record.controller, jerk=weakest / BUILDS_UP))
        other = Clock(gradual, factors_of(gradual, keys), moves)
        found = fit(other, y, watch)
        odds = found.evidence - best.evidence
        if odds > CLEARLY:
            clock, best = other, found
    own = record.controller.chord_curvature
    clocks, fits = {own: clock}, {own: best}
    zero = np.zeros(len(clock.factors))
    for word in BENDS:
        if word != own:
            changed = clock.machine.with_(controller=replace(clock.machine.controller, chord_curvature=word))
            other = Clock(changed, clock.factors, moves)
            if np.abs(other.logs(zero) - clock.logs(zero)).max() > _SEEN:
                clocks[word], fits[word] = other, fit(other, y, watch, near=best)
    top = max(fits, key=lambda w: fits[w].evidence)
    word = top if fits[top].evidence - best.evidence > CLEARLY else own
    bends: dict[str, float] = {w: f.evidence - fits[top].evidence for w, f in fits.items()} if len(fits) > 1 else {}
    return Settled(clocks[word], fits[word], bends, odds)
