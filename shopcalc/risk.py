"""How far a figure may stray: spreads by mean and sigma or by low, likely and high; sampling with a shared factor.

Everything is log-normal, because hours and money stray by a share, never fall below zero and run over further than
they run under. Sums of many lines are sampled rather than added in quadrature, so that what strays together (a slow
week, a green helper, a wet winter) does not cancel out as independent lines would.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from shopcalc.moves import Floats

#: The chances people ask for: half of all such jobs, four of five, nine of ten stay below.
LEVELS: tuple[float, ...] = (0.5, 0.8, 0.9)


@dataclass(frozen=True)
class Spread:
    """A log-normal quantity.

    Parameters
    ----------
    median : float
        As often above as below, 0 or more [any unit].
    sigma : float
        Standard deviation of the natural logarithm [-].

    Example
    -------
    >>> round(Spread(10, 0.3).mean, 4)
    10.4603
    """

    median: float
    sigma: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.median) and self.median >= 0):
            raise ValueError(f"a median of {self.median} cannot be: give a number, 0 or more")
        if not (math.isfinite(self.sigma) and self.sigma >= 0):
            raise ValueError(f"a sigma of {self.sigma} cannot be: give a number, 0 or more")

    @property
    def mean(self) -> float:
        """Mean [unit of the median]; above the median, because the long tail is above."""
        return self.median * math.exp(self.sigma**2 / 2)

    def percentile(self, share: float) -> float:
        """Value that a share of all cases stays below [unit of the median].

        Parameters
        ----------
        share : float
            Between 0 and 1, both excluded [ratio].

        Example
        -------
        >>> round(Spread(10, 0.3).percentile(0.8), 4)
        12.8722
        """
        return self.median * math.exp(self.sigma * NormalDist().inv_cdf(share))


def spread_of_mean(mean: float, sigma: float) -> Spread:
    """Spread with a known mean: what a log of many jobs gives, total divided by number.

    Parameters
    ----------
    mean : float
        [any unit]
    sigma : float
        Standard deviation of the natural logarithm [-].

    Notes
    -----
    median = mean exp(-sigma^2 / 2) (definition of the log-normal).
    """
    return Spread(mean * math.exp(-(sigma**2) / 2), sigma)


def three_point(low: float, likely: float, high: float) -> tuple[float, float]:
    """Mean and standard deviation of a three-point guess.

    Parameters
    ----------
    low, likely, high : float
        In ascending order [any unit].

    Returns
    -------
    mean, deviation : float
        (low + 4 likely + high) / 6 and (high - low) / 6 [unit of the inputs].

    Raises
    ------
    ValueError
        When they do not ascend.

    References
    ----------
    The PERT estimate, in use since 1959 (lecture notes; worked example WE37).

    Example
    -------
    >>> three_point(5, 8, 14)
    (8.5, 1.5)
    """
    if not low <= likely <= high:
        raise ValueError(f"low {low:g}, likely {likely:g}, high {high:g} do not ascend: sort them")
    return (low + 4 * likely + high) / 6, (high - low) / 6


def spread_of_three(low: float, likely: float, high: float) -> Spread:
    """Log-normal spread with the mean and the deviation of a three-point guess.

    Parameters
    ----------
    low, likely, high : float
        In ascending order, ``high`` above 0 [any unit].

    Notes
    -----
    sigma^2 = ln(1 + (deviation / mean)^2) (definition of the log-normal).
    """
    mean, deviation = three_point(low, likely, high)
    if mean <= 0:
        raise ValueError(f"a mean of {mean:g} cannot be log-normal: give values above 0")
    return spread_of_mean(mean, math.sqrt(math.log1p((deviation / mean) ** 2)))


def sample(spreads: Sequence[Spread], *, shared: float = 0.0, draws: int = 20_000, seed: int = 1) -> Floats:
    """Draw all quantities many times over.

    Parameters
    ----------
    spreads : sequence of n Spread
        What strays by itself.
    shared : float
        Sigma of the factor that all of them have in common in one draw; its mean is 1, so means stay [-].
    draws : int
        How many [-].
    seed : int
        The same seed gives the same draws [-].

    Returns
    -------
    (draws, n) float
        [unit of each spread].

    Notes
    -----
    x_i = median_i exp(sigma_i z_i) exp(shared z_0 - shared^2 / 2), z standard normal. Draws are antithetic (each z is
    used with both signs), which steadies the mean and the median of a sum.
    """
    rng = np.random.default_rng(seed)
    half = (draws + 1) // 2
    z = rng.standard_normal((half, len(spreads) + 1))
    z = np.concatenate([z, -z])[:draws]
    median = np.asarray([s.median for s in spreads], dtype=float)
    sigma = np.asarray([s.sigma for s in spreads], dtype=float)
    out: Floats = median * np.exp(sigma * z[:, 1:] + shared * z[:, :1] - shared**2 / 2)
    return out


def percentiles(values: Floats, levels: Sequence[float] = LEVELS) -> tuple[float, ...]:
    """Values that the given shares of a sample stay below.

    Parameters
    ----------
    values : (draws,) float
        [any unit]
    levels : sequence of float
        Shares [ratio].
    """
    return tuple(float(v) for v in np.quantile(values, levels))


def sampling_error(values: Floats, levels: Sequence[float] = LEVELS) -> tuple[float, ...]:
    """How far percentiles of a sample stray by the luck of its draws.

    Parameters
    ----------
    values : (draws,) float
        [any unit]
    levels : sequence of float
        Shares [ratio].

    Returns
    -------
    tuple of float
        Standard error of each percentile, as single draws have it; opposite pairs do a little better [unit of values].

    Notes
    -----
    The number of draws below a percentile is binomial, so its share strays by sqrt(p (1 - p) / n); half the distance
    between the percentiles that far below and above (order statistics; definition).
    """
    p = np.asarray(levels, dtype=float)
    strays = np.sqrt(p * (1 - p) / len(values))
    low, high = np.quantile(values, np.maximum(p - strays, 0.0)), np.quantile(values, np.minimum(p + strays, 1.0))
    return tuple(float(v) for v in (high - low) / 2)
