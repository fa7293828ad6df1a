"""What logged times leave open: draws from the posterior of a machine's factors, and 95 % of them.

Times bend in the factors (what two standing times share is a sum, not a product), few programs say little of what the
engine misses, and machines of several kinds may explain the same times. An interval from a covariance at the most
likely factors is too narrow for each of these; draws are not.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from shopcalc.calibration.factors import Factor
from shopcalc.moves import Floats

#: Degrees of freedom of Student's law: what strays far counts little. Four is common practice, no source.
DEGREES = 4.0
#: What the engine misses of a program's time once its factors are right, and sigma of its logarithm; common practice.
MISSES, MISSES_SIGMA = 0.01, 0.8
_MOST = 4 * MISSES_SIGMA
_WALKERS, _WARM, _STEPS, _EACH = 200, 200, 600, 3
_GO = 1.7  # of a difference of two: about what keeps a quarter of the steps
_REACH = math.sqrt(2.0)  # of a stretch: steps between 1/2 and 2


@dataclass(frozen=True, eq=False)
class Nearby:
    """Times of programs near some factors: standing exactly, the rest log-linear.

    Parameters
    ----------
    at : (k,) float
        Logarithm of each factor there [-].
    logs : (n,) float
        Logarithm of each program's time there.
    slopes : (n, k) float
        Of them.
    standing : (n, k) float
        Seconds that each factor of 1 makes each program stand [s].
    """

    at: Floats
    logs: Floats
    slopes: Floats
    standing: Floats

    def __call__(self, f: Floats) -> Floats:
        """(m, n): logarithms of the programs' times.

        Parameters
        ----------
        f : (m, k) float
            Logarithms of the factors [-].
        """
        whole = np.exp(self.logs)
        moving = np.maximum(whole - self.standing @ np.exp(self.at), 1e-12 * whole)
        slopes = np.where(self.standing.any(axis=0), 0.0, self.slopes * (whole / moving)[:, None])
        out: Floats = np.log(moving * np.exp((f - self.at) @ slopes.T) + np.exp(f) @ self.standing.T)
        return out


def draws(
    factors: Sequence[Factor], near: Nearby, y: Floats, watch: Floats, covariance: Floats, scale: float
) -> Floats:  # fmt: skip
    """Draw factors as likely as prior and times make them: (draws, k) logarithms, always the same ones.

    Parameters
    ----------
    factors : sequence of Factor
        Those that change.
    near : Nearby
        The programs' times.
    y, watch : (n,) float
        Logarithm of each logged time and the standard deviation that watch and rounding bring to it [-].
    covariance : (k, k) float
        About how far to begin from the most likely ones.
    scale : float
        About what the engine misses [-].

    References
    ----------
    Goodman and Weare, "Ensemble samplers with affine invariance", Communications in Applied Mathematics and
    Computational Science 5(1), 2010. Every other step goes along a difference: ter Braak, "A Markov chain Monte Carlo
    version of the genetic algorithm differential evolution", Statistics and Computing 16, 2006.
    """
    rng = np.random.default_rng(0)
    low, high = (np.log([getattr(c, side) for c in factors]) for side in ("low", "high"))
    k, half, middle = len(factors), _WALKERS // 2, math.log(MISSES)
    likely = _likely(np.array([c.sigma for c in factors]), low, high, near, y, watch)
    begin = near.at + rng.standard_normal((_WALKERS, k)) @ np.linalg.cholesky(covariance).T
    misses = np.clip(math.log(scale) + 0.3 * rng.standard_normal(_WALKERS), middle - _MOST, middle + _MOST)
    at = np.column_stack([np.clip(begin, low + 1e-6, high - 1e-6), misses])
    worth, kept = likely(at), []
    for step in range(_WARM + _STEPS):
        for side in (0, 1):  # each half by where the other one stands
            mine, others = slice(side * half, (side + 1) * half), slice((1 - side) * half, (2 - side) * half)
            one, two = (at[others][rng.integers(0, half, half)] for _ in range(2))
            extra = np.zeros(half)
            if step % 2:  # along the difference of two others
                trial = at[mine] + _GO / math.sqrt(2 * (k + 1)) * (one - two)
            else:  # towards another, or away from it
                stretch = (1 / _REACH + (_REACH - 1 / _REACH) * rng.random(half)) ** 2
                trial, extra = one + stretch[:, None] * (at[mine] - one), k * np.log(stretch)
            value = likely(trial)
            taken = np.log(rng.random(half)) < extra + value - worth[mine]
            at[mine] = np.where(taken[:, None], trial, at[mine])
            worth[mine] = np.where(taken, value, worth[mine])
        if step >= _WARM and step % _EACH == 0:
            kept.append(at[:, :k].copy())
    return np.concatenate(kept)


def _likely(
    prior: Floats, low: Floats, high: Floats, near: Nearby, y: Floats, watch: Floats
) -> Callable[[Floats], Floats]:  # fmt: skip
    """Logarithm of the posterior of rows (factors, s), without constants."""

    def likely(v: Floats) -> Floats:
        f, misses = v[:, :-1], v[:, -1] - math.log(MISSES)
        variance = np.exp(2 * v[:, -1])[:, None] + watch**2
        off = y - near(f)
        out = -0.5 * ((DEGREES + 1) * np.log1p(off**2 / variance / DEGREES) + np.log(variance)).sum(axis=1)
        out -= 0.5 * ((f / prior) ** 2).sum(axis=1) + 0.5 * (misses / MISSES_SIGMA) ** 2
        outside = ((f < low) | (f > high)).any(axis=1) | (np.abs(misses) > _MOST)
        return np.where(outside, -math.inf, out)

    return likely


def within(parts: Sequence[tuple[Floats, float]], share: float = 0.95) -> tuple[float, float]:
    """Ends of what holds the given share of some draws, as much outside on either side.

    Parameters
    ----------
    parts : sequence of ((m,) float, float)
        Draws under each kind of machine, and how likely that kind is, in any unit.
    share : float
        Between the ends [ratio].
    """
    values = np.concatenate([v for v, _ in parts])
    weight = np.concatenate([np.full(len(v), w / len(v)) for v, w in parts])
    order = np.argsort(values)
    below = np.cumsum(weight[order])
    at = np.interp([(1 - share) / 2, (1 + share) / 2], (below - weight[order] / 2) / below[-1], values[order])
    return float(at[0]), float(at[1])
