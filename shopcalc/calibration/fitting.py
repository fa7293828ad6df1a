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
from functools import cached_property

import numpy as np

from shopcalc.calibration.factors import Factor, with_factors
from shopcalc.calibration.sampling import DEGREES, MISSES, MISSES_SIGMA, Nearby, draws, within
from shopcalc.machines import Machine
from shopcalc.motion import machine_time
from shopcalc.moves import Floats, Kind, Moves, Stop

#: Standard deviation over scale of Student's law with four degrees: sqrt(4 / (4 - 2)) (definition).
WIDER = math.sqrt(DEGREES / (DEGREES - 2.0))
_GRID = np.exp(np.linspace(math.log(0.0015), math.log(0.12), 25))
_STEP = 2e-3  # of a logarithm, for slopes
_STILL, _NEARLY = 1e-5, 1e-2  # how much better the objective could still become, at the end and on the way
_ROUNDS, _STEPS = 7, 60


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

    Attributes
    ----------
    standing : (n, k) float
        Seconds that each factor of 1 makes each program stand: changes and spindle starts cost no run of the engine
        [s].
    """

    def __init__(self, machine: Machine, factors: Sequence[Factor], moves: Sequence[Moves]) -> None:
        self.machine, self.factors, self._moves = machine, tuple(factors), tuple(moves)
        self._known: dict[bytes, Floats] = {}
        self.standing = np.zeros((len(self._moves), len(self.factors)))
        for k, factor in enumerate(self.factors):
            if factor.key == "cutter_change":
                counts = [int((m.kind == Kind.CHANGE).sum()) for m in self._moves]
                self.standing[:, k] = np.array(counts) * machine.times.cutter_change
            elif factor.key == "spindle_start":
                counts = [int(((m.kind == Kind.STOP) & (m.value == Stop.SPINDLE_START)).sum()) for m in self._moves]
                self.standing[:, k] = np.array(counts) * machine.times.spindle_start
        self._stands = np.array([f.key in ("cutter_change", "spindle_start") for f in self.factors])

    def logs(self, f: Floats) -> Floats:
        """Logarithm of each program's time.

        Parameters
        ----------
        f : (k,) float
            Logarithm of each factor [-].
        """
        moving = np.where(self._stands, 0.0, f)
        key = moving.tobytes()
        if key not in self._known:
            machine = with_factors(self.machine, self.factors, moving)
            self._known[key] = np.array([machine_time(m, machine).total_s for m in self._moves])
        out: Floats = np.log(self._known[key] + self.standing @ np.expm1(f))
        return out

    def slopes(self, f: Floats) -> Floats:
        """(programs, factors): change of each logarithm with each, by central differences where it has no closed form.

        Parameters
        ----------
        f : (k,) float
            Where.
        """
        out = np.empty((len(self._moves), len(f)))
        whole = np.exp(self.logs(f))
        for k in range(len(f)):
            if self._stands[k]:
                out[:, k] = self.standing[:, k] * math.exp(f[k]) / whole
                continue
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
    clock : Clock
        Of the programs.
    y, watch : (n,) float
        What was fitted to.
    """

    logs: Floats
    covariance: Floats
    scale: float
    scale2: float
    slopes: Floats
    off: Floats
    weights: Floats
    sigma: Floats
    evidence: float
    clock: Clock
    y: Floats
    watch: Floats

    @cached_property
    def draws(self) -> Floats:
        """(draws, k): logarithms of the factors as likely as prior and times make them."""
        near = Nearby(self.logs, self.y - self.off, self.slopes, self.clock.standing)
        return draws(self.clock.factors, near, self.y, self.watch, self.covariance, self.scale)

    @cached_property
    def interval(self) -> Floats:
        """(k, 2): 95 % of each factor's logarithm [-]."""
        return np.array([within([(column, 1.0)]) for column in self.draws.T])

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
    included; intervals come from draws (``sampling``). Slopes are corrected from step to step (Broyden's update) and
    made anew before a fit counts as found: a run of the engine is what costs time.

    References
    ----------
    Lange, Little and Taylor, "Robust statistical modeling using the t distribution", Journal of the American
    Statistical Association 84(408), 1989. Broyden, "A class of methods for solving nonlinear simultaneous equations",
    Mathematics of Computation 19(92), 1965.
    """
    scale, f = (float(_GRID[-1]), np.zeros(len(clock.factors))) if near is None else (near.scale, near.logs)
    prior = np.array([c.sigma for c in clock.factors])
    slopes, still = clock.slopes(f) if near is None else near.slopes, _NEARLY
    for last in range(_ROUNDS, 0, -1):
        f, slopes = most_likely(clock, y, watch, scale, f, slopes, still)
        off = y - clock.logs(f)
        modes, spreads, heights = _over_scales(f, slopes, off, watch, prior)
        best = float(_GRID[int(np.argmax(heights))])
        if last == 1 or (best == scale and still == _STILL):
            break
        still = _STILL if best == scale or last == 2 else _NEARLY
        scale = best
    shares = np.exp(heights - heights.max())
    evidence = float(heights.max() + math.log(shares.sum() * math.log(_GRID[1] / _GRID[0])))
    shares = shares / shares.sum()
    middle = shares @ modes
    away = modes - middle
    covariance = np.einsum("g,gkl->kl", shares, spreads) + np.einsum("g,gk,gl->kl", shares, away, away)
    variance = scale**2 + watch**2
    return Fit(
        f, covariance, scale, float(shares @ _GRID**2), slopes, off,
        np.minimum(1.0, _weights(off**2 / variance)), np.sqrt(variance), evidence, clock, y, watch,
    )  # fmt: skip


def _weights(z2: Floats) -> Floats:
    out: Floats = (DEGREES + 1) / (DEGREES + z2)
    return out


def _misfit(f: Floats, off: Floats, variance: Floats, prior: Floats) -> float:
    """What is made least: minus the logarithm of the posterior at fixed s, without constants."""
    tail = 0.5 * (DEGREES + 1) * np.log1p(off**2 / variance / DEGREES).sum()
    return float(tail + 0.5 * ((f / prior) ** 2).sum())


def most_likely(
    clock: Clock, y: Floats, watch: Floats, scale: float, start: Floats, slopes: Floats, still: float = _STILL
) -> tuple[Floats, Floats]:  # fmt: skip
    """Most likely logarithms of the factors at one s, and the programs' slopes there.

    Parameters
    ----------
    clock, y, watch
        As for ``fit``.
    scale : float
        What the engine misses [-].
    start : (k,) float
        Where to begin [-].
    slopes : (n, k) float
        There, or near it.
    still : float
        Enough: how much better the objective might still become [-]; only the least there is asks for slopes made anew.
    """
    prior = np.array([c.sigma for c in clock.factors])
    low, high = (np.log([getattr(c, side) for c in clock.factors]) for side in ("low", "high"))
    variance, f = scale**2 + watch**2, np.clip(start, low, high)
    logs, fresh = clock.logs(f), False
    value = _misfit(f, y - logs, variance, prior)
    for _ in range(_STEPS):
        step, promise = _step(f, y - logs, slopes, variance, prior, low, high)
        share, taken = 1.0, False
        while promise > still and share > (1e-3 if fresh else 0.2):
            trial = np.clip(f + share * step, low, high)
            there = clock.logs(trial)
            worth = _misfit(trial, y - there, variance, prior)
            if worth < value - 0.1 * still:
                taken = True
                break
            share /= 2
        if taken:
            way = trial - f
            slopes = slopes + np.outer(there - logs - slopes @ way, way) / (way @ way)
            f, logs, value, fresh = trial, there, worth, False
        elif fresh or (promise <= still and still > _STILL):
            break
        else:
            slopes, fresh = clock.slopes(f), True
    return f, slopes


def _step(
    f: Floats, off: Floats, slopes: Floats, variance: Floats, prior: Floats, low: Floats, high: Floats
) -> tuple[Floats, float]:  # fmt: skip
    """Gauss-Newton step of the factors that are free to move, and by how much it should better the objective."""
    weight = _weights(off**2 / variance) / variance
    pull = slopes.T @ (weight * off) - f / prior**2
    free = ~(((f <= low) & (pull < 0)) | ((f >= high) & (pull > 0)))
    curve = (slopes.T * weight) @ slopes + np.diag(1 / prior**2)
    step = np.zeros(len(f))
    step[free] = np.linalg.solve(curve[np.ix_(free, free)], pull[free])
    return step, 0.5 * float(step @ pull)


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
