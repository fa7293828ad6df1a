"""Few observations pulled to what was assumed: a normal quantity of which neither mean nor variance is known."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from shopcalc.moves import Floats

#: Finished jobs the standard times count as: of how far hours stray from them, half is the shop's own way and half the
#: job's (assumed). After one job the log counts as much as the table.
TABLE_JOBS = 1.0
#: Jobs the shop's own figure of the spread counts as (assumed).
SPREAD_JOBS = 4.0
_END = 0.9  # where the log-normal that risk draws from meets Student's t: one job in ten lies above, one below


@dataclass(frozen=True)
class Belief:
    """What is known of a normal quantity of which neither mean nor variance is known.

    Parameters
    ----------
    mean : float
        Likeliest mean [-].
    count : float
        Observations the mean rests on, those the prior counts as among them [-].
    freedom : float
        The same for the variance [-].
    scale : float
        Its square is the likely variance [-].
    """

    mean: float
    count: float
    freedom: float
    scale: float

    def after(self, values: Sequence[float]) -> Belief:
        """What is known after some observations.

        Parameters
        ----------
        values : sequence of float
            Observed [-].

        References
        ----------
        A. Gelman et al., Bayesian Data Analysis, 3rd ed., 2013, section 3.3 (normal data, conjugate prior:
        N-Inv-chi^2).

        Example
        -------
        >>> b = Belief(0.0, 2.0, 4.0, 0.2).after([0.3, 0.3])
        >>> round(b.mean, 4), b.count, b.freedom
        (0.15, 4.0, 6.0)
        """
        n = len(values)
        if not n:
            return self
        average = math.fsum(values) / n
        squares = math.fsum((v - average) ** 2 for v in values)
        count, freedom = self.count + n, self.freedom + n
        between = self.count * n / count * (average - self.mean) ** 2
        scale = math.sqrt((self.freedom * self.scale**2 + squares + between) / freedom)
        return Belief((self.count * self.mean + n * average) / count, count, freedom, scale)

    def mean_within(self, share: float) -> tuple[float, float]:
        """Ends between which the mean lies with that chance: Student's t about the likeliest.

        Parameters
        ----------
        share : float
            [ratio]
        """
        half = _t(self.freedom, (1 + share) / 2) * self.scale / math.sqrt(self.count)
        return self.mean - half, self.mean + half

    def next_within(self, share: float) -> tuple[float, float]:
        """Ends between which the next observation lies with that chance.

        Parameters
        ----------
        share : float
            [ratio]
        """
        half = _t(self.freedom, (1 + share) / 2) * self.scale * math.sqrt(1 + 1 / self.count)
        return self.mean - half, self.mean + half

    @property
    def sigma(self) -> float:
        """Deviation of the normal that has the next observation's ends of one in ten [-]."""
        low, high = self.next_within(2 * _END - 1)
        return (high - low) / 2 / NormalDist().inv_cdf(_END)


def prior(sigma: float) -> Belief:
    """What is known before anything is logged: the standard times hold as means, and stray as the rates say.

    Parameters
    ----------
    sigma : float
        Deviation of the logarithm of hours really used over hours planned [-].

    Returns
    -------
    Belief
        Of that logarithm; its ``sigma`` is the given one.

    Notes
    -----
    A log-normal whose mean is 1 has a mean logarithm of -sigma^2 / 2 (definition).
    """
    scale = sigma * NormalDist().inv_cdf(_END) / _t(SPREAD_JOBS, _END) / math.sqrt(1 + 1 / TABLE_JOBS)
    return Belief(-(sigma**2) / 2, TABLE_JOBS, SPREAD_JOBS, scale)


def _t(freedom: float, share: float) -> float:
    from scipy.special import stdtrit

    return float(stdtrit(freedom, share))


def told_apart(shares: Floats, values: Floats, count: float = TABLE_JOBS) -> tuple[Floats, Floats]:
    """What each ingredient adds to a value beyond the usual mix, where mixes differ enough to tell.

    Parameters
    ----------
    shares : (n, k) float
        Of each ingredient in each observation; rows add up to 1 [ratio].
    values : (n,) float
        Observed [-].
    count : float
        Observations that the assumption "all alike" counts as [-].

    Returns
    -------
    beyond : (k,) float
        Likeliest difference to the usual mix, the mean of the shares; it comes to 0 over that mix [-].
    told : (k,) float
        Share of what was not known of it that the observations took away, 1 - variance after / before [ratio].

    Notes
    -----
    Linear regression with a normal prior: least squares with ``count`` on the diagonal. The mean of the values is left
    to the level of all.

    References
    ----------
    A. Gelman et al., Bayesian Data Analysis, 3rd ed., 2013, section 14.8 (prior information as further data).

    Example
    -------
    >>> beyond, told = told_apart(np.array([[1.0, 0.0], [0.0, 1.0]]), np.array([0.3, -0.3]))
    >>> np.round(beyond, 2).tolist(), np.round(told, 2).tolist()
    ([0.15, -0.15], [0.5, 0.5])
    """
    usual = shares.mean(axis=0)
    apart = shares - usual
    kinds = np.eye(len(usual))
    after = np.linalg.inv(apart.T @ apart + count * kinds)
    from_usual = kinds - usual  # of each row, the usual mix is taken off
    before = np.einsum("ij,ij->i", from_usual, from_usual) / count
    left = np.einsum("ij,jk,ik->i", from_usual, after, from_usual)
    beyond: Floats = from_usual @ after @ apart.T @ (values - values.mean())
    told: Floats = 1 - left / np.where(before > 0, before, 1.0)
    return beyond, np.where(before > 0, told, 0.0)
