"""Factors of a machine fitted to logged times: the most likely ones, how sure they are, what is left.

Per program, with y the logarithm of its logged time and T(f) what the engine says under the factors' logarithms f,

    y = log T(f) + e,   e ~ Student(4 degrees, scale^2 = s^2 + watch^2),   f ~ normal(0, sigma^2 of each factor),

s, what the engine misses though its factors are right, is itself not known: log-normal about ``MISSES``, and everything
is averaged over it, so that few programs give wide intervals.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from shopcalc.calibration.factors import Factor, with_factors
from shopcalc.machines import Machine
from shopcalc.motion import machine_time
from shopcalc.moves import Floats, Moves

#: Degrees of freedom of Student's law: what strays far counts little. Four is common practice, no source.
DEGREES = 4.0
#: What the engine misses of a program's time once its factors are right, and sigma of its logarithm; common practice.
MISSES, MISSES_SIGMA = 0.01, 0.6
#: Standard deviation over scale of Student's law with four degrees: sqrt(4 / (4 - 2)) (definition).
WIDER = math.sqrt(DEGREES / (DEGREES - 2.0))
_GRID = np.exp(np.linspace(math.log(0.0015), math.log(0.12), 25))
_STEP = 2e-3  # of a logarithm, for slopes
_STILL = 1e-4
_ROUNDS, _STEPS = 6, 40


class Clock:
    """Times of programs on candidate machines; their geometry is held once.

    Parameters
    ----------
    machine : Machine
        The record.
    factors : sequence of Factor
        Those that change.
    moves : sequence of Moves
        One for each program.
    """

    def __init__(self, machine: Machine, factors: Sequence[Factor], moves: Sequence[Moves]) -> None:
        self.machine, self.factors, self._moves = machine, tuple(factors), tuple(moves)
        self._known: dict[bytes, Floats] = {}

    def logs(self, f: Floats) -> Floats:
        """Logarithm of each program's time.

        Parameters
        ----------
        f : (k,) float
            Logarithm of each factor [-].
        """
        key = np.asarray(f, dtype=float).tobytes()
        if key not in self._known:
            machine = with_factors(self.machine, self.factors, f)
            self._known[key] = np.log([machine_time(m, machine).total_s for m in self._moves])
        return self._known[key]

    def slopes(self, f: Floats) -> Floats:
        """(programs, factors): change of each logarithm with each, by central differences.

        Parameters
        ----------
        f : (k,) float
            Where.
        """
        out = np.empty((len(self._moves), len(f)))
        for k in range(len(f)):
            step = np.zeros(len(f))
            step[k] = _STEP
            out[:, k] = (self.logs(f + step) - self.logs(f - step)) / (2 * _STEP)
        return out


@dataclass(frozen=True, eq=False)
class Fit:
    """What a fit found.

    Parameters
    ----------
    logs : (k,) float
        Most likely logarithm of each factor [-].
    covariance : (k, k) float
        Of them [-].
    interval : (k, 2) float
        95 % of each [-].
    scale : float
        Most likely s [-].
    scale2 : float
        Mean of s^2 [-].
    slopes : (n, k) float
        Of the programs' logarithms.
    off : (n,) float
        Logarithm of logged over fitted time [-].
    weights : (n,) float
        What each program counts, 1 where it lies within what is usual [-].
    sigma : (n,) float
        Scale of each program's law [-].
    evidence : float
        Logarithm of how well model and programs agree, everything unknown averaged out [-].
    """

    logs: Floats
    covariance: Floats
    interval: Floats
    scale: float
    scale2: float
    slopes: Floats
    off: Floats
    weights: Floats
    sigma: Floats
    evidence: float

    @property
    def spread(self) -> float:
        """Standard deviation of what the engine misses of a program's logarithm [-]."""
        return WIDER * math.sqrt(self.scale2)

    def sigma_of(self, slopes: Floats) -> Floats:
        """Standard deviation of the logarithm of other programs' times, what the engine misses included.

        Parameters
        ----------
        slopes : (m, k) float
            From ``Clock.slopes``.
        """
        known: Floats = np.einsum("ik,kl,il->i", slopes, self.covariance, slopes)
        out: Floats = np.sqrt(known + self.spread**2)
        return out


def fit(clock: Clock, y: Floats, watch: Floats, near: Fit | None = None) -> Fit:
    """Fit a machine's factors to logged times.

    Parameters
    ----------
    clock : Clock
        Of the programs.
    y : (n,) float
        Logarithm of each logged time [-].
    watch : (n,) float
        Standard deviation that watch and rounding bring to it [-].
    near : Fit, optional
        Of a machine much like this one: where to begin.

    Notes
    -----
    Gauss-Newton steps with Student's weights, halved until the objective falls, within the factors' bounds; s by the
    marginal likelihood of the model made linear there. The covariance is the expected information's inverse, priors
    included.

    References
    ----------
    Lange, Little and Taylor, "Robust statistical modeling using the t distribution", Journal of the American
    Statistical Association 84(408), 1989.
    """
    scale, f = (float(_GRID[-1]), np.zeros(len(clock.factors))) if near is None else (near.scale, near.logs)
    prior = np.array([c.sigma for c in clock.factors])
    for last in range(_ROUNDS, 0, -1):
        f = most_likely(clock, y, watch, scale, f)
        slopes, off = clock.slopes(f), y - clock.logs(f)
        modes, spreads, heights = _over_scales(f, slopes, off, watch, prior)
        best = float(_GRID[int(np.argmax(heights))])
        if best == scale or last == 1:
            break
        scale = best
    shares = np.exp(heights - heights.max())
    evidence = float(heights.max() + math.log(shares.sum() * math.log(_GRID[1] / _GRID[0])))
    shares = shares / shares.sum()
    middle = shares @ modes
    away = modes - middle
    covariance = np.einsum("g,gkl->kl", shares, spreads) + np.einsum("g,gk,gl->kl", shares, away, away)
    variance = scale**2 + watch**2
    return Fit(
        f, covariance, _intervals(modes, spreads, shares, f - middle), scale, float(shares @ _GRID**2), slopes, off,
        np.minimum(1.0, _weights(off**2 / variance)), np.sqrt(variance), evidence,
    )  # fmt: skip


def _weights(z2: Floats) -> Floats:
    out: Floats = (DEGREES + 1) / (DEGREES + z2)
    return out


def _misfit(f: Floats, off: Floats, variance: Floats, prior: Floats) -> float:
    """What is made least: minus the logarithm of the posterior at fixed s, without constants."""
    tail = 0.5 * (DEGREES + 1) * np.log1p(off**2 / variance / DEGREES).sum()
    return float(tail + 0.5 * ((f / prior) ** 2).sum())


def most_likely(clock: Clock, y: Floats, watch: Floats, scale: float, start: Floats) -> Floats:
    """Most likely logarithms of the factors at one s.

    Parameters
    ----------
    clock, y, watch
        As for ``fit``.
    scale : float
        What the engine misses [-].
    start : (k,) float
        Where to begin [-].
    """
    prior = np.array([c.sigma for c in clock.factors])
    low, high = (np.log([getattr(c, side) for c in clock.factors]) for side in ("low", "high"))
    variance, f = scale**2 + watch**2, np.clip(start, low, high)
    off = y - clock.logs(f)
    value = _misfit(f, off, variance, prior)
    for _ in range(_STEPS):
        slopes = clock.slopes(f)
        weight = _weights(off**2 / variance) / variance
        pull = slopes.T @ (weight * off) - f / prior**2
        free = ~(((f <= low) & (pull < 0)) | ((f >= high) & (pull > 0)))
        curve = (slopes.T * weight) @ slopes + np.diag(1 / prior**2)
        step = np.zeros(len(f))
        step[free] = np.linalg.solve(curve[np.ix_(free, free)], pull[free])
        share, moved = 1.0, False
        while share > 1e-4:
            trial = np.clip(f + share * step, low, high)
            left = y - clock.logs(trial)
            worth = _misfit(trial, left, variance, prior)
            if worth < value:
                moved = bool(value - worth > _STILL * _STILL) and bool(np.abs(trial - f).max() > _STILL)
                f, off, value = trial, left, worth
                break
            share /= 2
        if not moved:
            break
    return f


def _over_scales(
    f: Floats, slopes: Floats, off: Floats, watch: Floats, prior: Floats
) -> tuple[Floats, Floats, Floats]:  # fmt: skip
    """For each s of the grid: most likely factors, their covariance, logarithm of the marginal; model made linear."""
    modes, spreads, heights = [], [], []
    at = f
    for s in _GRID[::-1]:
        variance = s**2 + watch**2
        for _ in range(30):
            left = off - slopes @ (at - f)
            weight = _weights(left**2 / variance) / variance
            curve = (slopes.T * weight) @ slopes + np.diag(1 / prior**2)
            before, at = at, at + np.linalg.solve(curve, slopes.T @ (weight * left) - at / prior**2)
            if np.abs(at - before).max() < 1e-6:
                break
        left = off - slopes @ (at - f)
        share = np.minimum(1.0, _weights(left**2 / variance)) * (DEGREES + 1) / (DEGREES + 3)
        information = (slopes.T * (share / variance)) @ slopes + np.diag(1 / prior**2)
        spreads.append(np.linalg.inv(information))
        heights.append(
            -_misfit(at, left, variance, prior) - 0.5 * np.log(variance).sum()
            - 0.5 * np.linalg.slogdet(information)[1] - np.log(prior).sum()
            - 0.5 * (math.log(s / MISSES) / MISSES_SIGMA) ** 2
        )  # fmt: skip
        modes.append(at)
    return np.array(modes[::-1]), np.array(spreads[::-1]), np.array(heights[::-1])


def _intervals(modes: Floats, spreads: Floats, shares: Floats, shift: Floats) -> Floats:
    """(k, 2): 95 % of each factor's logarithm, over all s."""
    from scipy.optimize import brentq
    from scipy.special import ndtr

    out = np.empty((modes.shape[1], 2))
    for k in range(modes.shape[1]):
        at, wide = modes[:, k] + shift[k], np.sqrt(spreads[:, k, k])
        ends = float((at - 8 * wide).min()), float((at + 8 * wide).max())
        for side, share in enumerate((0.025, 0.975)):

            def above(x: float, at: Floats = at, wide: Floats = wide, share: float = share) -> float:
                return float(shares @ ndtr((x - at) / wide)) - share

            out[k, side] = brentq(above, *ends, xtol=1e-9)
    return out
