"""Settings of a control that are no factors, compared by how well each explains the logged times.

What the times leave open of a factor is averaged over the settings, each by its odds: where the times cannot tell
gradual acceleration from low acceleration, the interval holds both.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal, get_args

import numpy as np

from shopcalc.calibration.factors import factors_of
from shopcalc.calibration.fitting import Clock, Fit, fit
from shopcalc.calibration.sampling import within
from shopcalc.moves import Floats, Moves

Bends = Literal["off", "speed", "share"]
BENDS: tuple[Bends, ...] = get_args(Bends)
#: Logarithm of the odds from which another setting than the record's is taken: twenty to one is called strong by Kass
#: and Raftery, "Bayes factors", Journal of the American Statistical Association 90(430), 1995.
CLEARLY = 3.0
#: Time in which acceleration builds up where a record says nothing of jerk [s]; common practice, no source.
BUILDS_UP = 0.05
_HARDLY = 0.01  # share of the odds below which a kind of machine is left out
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
    others : tuple of Fit
        Under the settings that were not taken.
    """

    clock: Clock
    fit: Fit
    bends: Mapping[str, float] = field(default_factory=dict)
    jerk: float | None = None
    others: tuple[Fit, ...] = ()

    def open(self, keys: Sequence[str]) -> tuple[float, float]:
        """95 % of the logarithm of a product of factors, each kind of machine counting by its odds [-].

        Parameters
        ----------
        keys : sequence of str
            Of the factors.

        References
        ----------
        Hoeting, Madigan, Raftery and Volinsky, "Bayesian model averaging: a tutorial", Statistical Science 14(4), 1999.
        """
        return within([(f.draws[:, at].sum(axis=1), share) for f, share, at in self._having(keys)])

    def sigma(self, key: str) -> float:
        """Standard deviation of a factor's logarithm, each kind of machine counting by its odds [-].

        Parameters
        ----------
        key : str
            Of the factor.
        """
        having = self._having([key])
        own = sum(share * float(f.covariance[at[0], at[0]]) for f, share, at in having)
        if len(having) == 1:
            return math.sqrt(own)
        middles = np.array([f.draws[:, at[0]].mean() for f, _, at in having])
        shares = np.array([share for _, share, _ in having])
        return math.sqrt(own + float(shares @ (middles - shares @ middles) ** 2))

    def _having(self, keys: Sequence[str]) -> list[tuple[Fit, float, list[int]]]:
        """Fits that know all these factors, how likely each is, and where the factors stand in it."""
        fits = [(f, {c.key: k for k, c in enumerate(f.clock.factors)}) for f in (self.fit, *self.others)]
        alike = Counter("jerk" in places for _, places in fits)  # with and without jerk are as likely beforehand
        out = [
            (f, math.exp(f.evidence - self.fit.evidence) / alike["jerk" in places], [places[key] for key in keys])
            for f, places in fits
            if all(key in places for key in keys)
        ]
        whole = sum(share for _, share, _ in out)
        return [(f, share / whole, at) for f, share, at in out if share > _HARDLY * whole]


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
    tried = [best]
    record = clock.machine
    weakest = min(a.acceleration for a in record.axes)
    if (keys is None or "jerk" in keys) and math.isinf(record.controller.jerk) and math.isfinite(weakest):
        gradual = record.with_(controller=replace(record.controller, jerk=weakest / BUILDS_UP))
        other = Clock(gradual, factors_of(gradual, keys), moves)
        found = fit(other, y, watch)
        tried.append(found)
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
    tried += [f for w, f in fits.items() if w != own]
    return Settled(clocks[word], fits[word], bends, odds, tuple(f for f in tried if f is not fits[word]))
