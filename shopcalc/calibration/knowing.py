"""What logged programs can tell of a machine's factors, what they cannot, and which program to time next."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from shopcalc.calibration.factors import Factor
from shopcalc.calibration.fitting import Fit
from shopcalc.calibration.sampling import DEGREES
from shopcalc.moves import Floats

_KNOWN, _SILENT = 0.4, 0.9  # sigma left over sigma beforehand
_TIED = 0.8  # correlation of errors from which two factors are not told apart
_ALIKE = 0.995  # cosine of slopes from which no number of such programs would tell them apart


@dataclass(frozen=True)
class Combination:
    """A product of powers of factors.

    Parameters
    ----------
    powers : mapping
        Factor's key to its power, those that hardly count left out; in units of each one's sigma beforehand.
    strength : float
        Singular value of the slopes: how many times sharper the programs know it than the record did [-].
    """

    powers: Mapping[str, float]
    strength: float


@dataclass(frozen=True)
class Knowledge:
    """What these programs can separate.

    Parameters
    ----------
    left : mapping
        Factor's key to its sigma after over its sigma beforehand [ratio].
    tied : tuple of (str, str)
        Two factors that cannot be told apart by these programs: only what they do together is known.
    combinations : tuple of Combination
        Best known first.
    """

    left: Mapping[str, float]
    tied: tuple[tuple[str, str], ...]
    combinations: tuple[Combination, ...]

    @property
    def known(self) -> tuple[str, ...]:
        """Keys of factors these programs separate: at least half of what was open is gone."""
        loose = {k for pair in self.tied for k in pair}
        return tuple(k for k, v in self.left.items() if v < _KNOWN and k not in loose)

    @property
    def silent(self) -> tuple[str, ...]:
        """Keys of factors these programs say next to nothing of."""
        loose = {k for pair in self.tied for k in pair}
        return tuple(k for k, v in self.left.items() if v > _SILENT and k not in loose)

    @property
    def separated(self) -> int:
        """How many combinations are known at least twice as sharply as before [-]."""
        return sum(c.strength**2 > 3.0 for c in self.combinations)


def knowledge(factors: Sequence[Factor], found: Fit, sigmas: Sequence[float] | None = None) -> Knowledge:
    """Say what a fit's programs can separate.

    Parameters
    ----------
    factors : sequence of Factor
        Of the fit.
    found : Fit
        The fit.
    sigmas : sequence of float, optional
        Standard deviation left of each factor's logarithm, where more than the fit's settings come into question [-].

    Notes
    -----
    Singular values of the slopes, each row over its program's sigma, each column times its factor's: a combination of
    strength d is left with 1/(1 + d^2) of its variance (definition). Two factors are tied where every program answers
    to both in the same proportion; or where their errors go together, at least one is left open, and what they do
    together is known far better.
    """
    prior = np.array([f.sigma for f in factors])
    weight = found.weights * (DEGREES + 1) / (DEGREES + 3) / found.sigma**2
    scaled = np.sqrt(weight)[:, None] * found.slopes * prior
    _, strength, rows = np.linalg.svd(scaled, full_matrices=True)
    strength = np.concatenate([strength, np.zeros(len(factors) - len(strength))])
    combinations = tuple(
        Combination({f.key: float(p) for f, p in zip(factors, row, strict=True) if abs(p) > 0.25}, float(d))
        for d, row in zip(strength, rows, strict=True)
    )
    own = found.covariance / np.outer(prior, prior)
    size = np.sqrt((scaled**2).sum(axis=0))
    tied = []
    for i, j in itertools.combinations(range(len(factors)), 2):
        sharp, open_ = np.linalg.eigvalsh(own[np.ix_([i, j], [i, j])])
        together = own[i, j] / np.sqrt(own[i, i] * own[j, j])
        alike = abs(scaled[:, i] @ scaled[:, j]) > _ALIKE * size[i] * size[j] and min(size[i], size[j]) > 0.3
        if alike or (abs(together) > _TIED and open_ > 0.25 and sharp < 0.25 * open_):
            tied.append((factors[i].key, factors[j].key))
    after = np.sqrt(np.diag(found.covariance)) if sigmas is None else np.asarray(sigmas)
    left = {f.key: float(after[k] / f.sigma) for k, f in enumerate(factors)}
    return Knowledge(left, tuple(tied), combinations)


@dataclass(frozen=True)
class NextProgram:
    """A program that could be timed next.

    Parameters
    ----------
    program : str
        Its name.
    seconds : float
        What one run should take [s].
    before, after : float
        How far the other programs' times are off for want of knowing the factors, as sigma of their logarithm (root
        of the mean square), now and when this one has been timed once [-].
    """

    program: str
    seconds: float
    before: float
    after: float


def next_programs(
    names: Sequence[str], slopes: Floats, seconds: Floats, watch: Floats, found: Fit
) -> tuple[NextProgram, ...]:  # fmt: skip
    """Programs by what timing each once would teach of the others, most first.

    Parameters
    ----------
    names : sequence of str
        Of the archive.
    slopes : (m, k) float
        From ``Clock.slopes``.
    seconds : (m,) float
        Their times now [s].
    watch : (m,) float
        Standard deviation a watch would bring to their logarithm [-].
    found : Fit
        What is known now.

    Notes
    -----
    One more row of the Gauss-Newton information: C' = C - C g g'C / (v + g'C g) (Sherman and Morrison's formula).
    """
    c = found.covariance
    noise = (found.scale2 + watch**2) * (DEGREES + 3) / (DEGREES + 1)
    now = np.einsum("ik,kl,il->i", slopes, c, slopes)
    cross = slopes @ c @ slopes.T
    after = now[None, :] - cross**2 / (noise + now)[:, None]
    out = []
    for i, name in enumerate(names):
        others = np.arange(len(names)) != i
        if others.any():
            was, will = (float(np.sqrt(np.maximum(v[others], 0.0).mean())) for v in (now, after[i]))
            out.append(NextProgram(name, float(seconds[i]), was, will))
    return tuple(sorted(out, key=lambda p: p.after / max(p.before, 1e-12)))
