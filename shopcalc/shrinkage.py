"""Few observations pulled to what was assumed: a normal quantity of which neither mean nor variance is known."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

#: Finished jobs the standard times count as: of how far hours stray, a third is the shop's own way, two thirds the
#: job's (assumed). After two jobs the log counts as much as the table.
TABLE_JOBS = 2.0
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
