"""A machine and logged runs in, the calibrated machine out, with everything a person should see before keeping it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from shopcalc.calibration.factors import Factor, factors_of, with_factors
from shopcalc.calibration.fitting import Clock, Fit, fit
from shopcalc.calibration.knowing import Knowledge, NextProgram, knowledge, next_programs
from shopcalc.calibration.logged import LoggedTime, Run
from shopcalc.calibration.settings import Settled, settled
from shopcalc.errors import Fault, InputError
from shopcalc.machines import Machine
from shopcalc.machines_learned import LearnedField, value_of
from shopcalc.moves import Floats, Moves

_STRAYS = 3.0  # sigmas from which one entry among several of a program is named
_LITTLE = 0.5  # weight below which a program is named: about 2.4 scales off


@dataclass(frozen=True)
class ProgramError:
    """One program, logged against the engine.

    Parameters
    ----------
    program : str
        Its name.
    runs : int
        How often it was logged [-].
    logged, before, after : float
        Time of one run: logged, by the record, by the calibrated machine [s].
    left_out : float
        Share the calibrated machine would be off had this program not been logged (made linear) [ratio].
    weight : float
        What it counted, 1 where it lies within what is usual [-].
    notes : tuple of str
        Of its entries.
    """

    program: str
    runs: int
    logged: float
    before: float
    after: float
    left_out: float
    weight: float
    notes: tuple[str, ...] = ()

    @property
    def error_before(self) -> float:
        """Record over logged, less one [ratio]."""
        return self.before / self.logged - 1.0

    @property
    def error_after(self) -> float:
        """Calibrated over logged, less one [ratio]."""
        return self.after / self.logged - 1.0


@dataclass(frozen=True)
class Learned:
    """One factor, after.

    Parameters
    ----------
    factor : Factor
        Which, and what was thought beforehand.
    value, low, high : float
        Most likely, and 95 % of it [-].
    left : float
        Its sigma after over its sigma beforehand [ratio].
    at_bound : bool
        Whether it stands where it is no longer believed: look for another cause.
    """

    factor: Factor
    value: float
    low: float
    high: float
    left: float
    at_bound: bool


@dataclass(frozen=True, eq=False)
class Calibration:
    """What logged times say of a machine.

    Parameters
    ----------
    record, start, machine : Machine
        As it was; the same under the settings taken, which the factors multiply; calibrated.
    learned : tuple of Learned
        Its factors.
    programs : tuple of ProgramError
        In the order they were logged.
    strays : tuple of LoggedTime
        Entries that lie far from the others of their program: they count little.
    outliers : tuple of str
        Programs that lie far from what fits the others: they count little.
    knowledge : Knowledge
        What these programs can separate.
    next : tuple of NextProgram
        What to time next, most telling first; empty without an archive.
    bends : mapping
        Setting of ``chord_curvature`` to how much better than the best it explains the times, as logarithm (0 is the
        best); empty where it makes no difference.
    jerk : float or None
        Logarithm of the odds of gradual acceleration, where the record has no jerk, against none.
    spread : float
        What the engine misses of a program's time, as sigma of the logarithm [-]: the machining spread of a quote
        whose programs exist.
    fit : Fit
        The figures behind.
    settled : Settled
        The settings taken and the others, by their odds.
    """

    record: Machine
    start: Machine
    machine: Machine
    learned: tuple[Learned, ...]
    programs: tuple[ProgramError, ...]
    strays: tuple[LoggedTime, ...]
    outliers: tuple[str, ...]
    knowledge: Knowledge
    next: tuple[NextProgram, ...]
    bends: Mapping[str, float]
    jerk: float | None
    spread: float
    fit: Fit
    settled: Settled

    def factor(self, key: str) -> Learned:
        """One factor by its key.

        Parameters
        ----------
        key : str
            One of ``factors.KEYS``.
        """
        return next(f for f in self.learned if f.factor.key == key)

    def sigma_of(self, moves: Sequence[Moves]) -> Floats:
        """Standard deviation of the logarithm of other programs' times [-].

        Parameters
        ----------
        moves : sequence of Moves
            Of each program.
        """
        clock = Clock(self.start, [f.factor for f in self.learned], moves)
        return self.fit.sigma_of(clock.slopes(self.fit.logs))

    def fields(self) -> tuple[LearnedField, ...]:
        """What is worth keeping: every figure that could change, with its interval, and the spread."""
        out: list[LearnedField] = []
        bends = self.machine.controller.chord_curvature
        if bends != self.record.controller.chord_curvature:
            was = self.record.controller.chord_curvature
            out.append(LearnedField("controller.chord_curvature", bends, was))
        for name in dict.fromkeys(n for one in self.learned for n in one.factor.fields):
            value, record, start = (float(value_of(m, name)) for m in (self.machine, self.record, self.start))
            if math.isfinite(start) and start > 0:
                keys = [one.factor.key for one in self.learned if name in one.factor.fields]
                low, high = self.settled.open(keys)
                out.append(LearnedField(name, value, record, start * math.exp(low), start * math.exp(high)))
        return (*out, LearnedField("spread", self.spread))


def calibrate(
    runs: Sequence[Run],
    machine: Machine,
    *,
    archive: Mapping[str, Moves] | None = None,
    keys: Sequence[str] | None = None,
    settings: bool = True,
) -> Calibration:
    """Learn a machine's factors from logged times of programs.

    Parameters
    ----------
    runs : sequence of Run
        Programs with their logged times.
    machine : Machine
        The record.
    archive : mapping, optional
        Programs by name, of which the next one to time is named.
    keys : sequence of str, optional
        Factors that may change; by default all that mean something here.
    settings : bool
        Whether other settings of ``chord_curvature``, and gradual acceleration where the record has no jerk, are
        compared too; another than the record's is taken only where it explains the times clearly better.

    Raises
    ------
    InputError
        When a program's time is unknown, nothing is logged or nothing may change.

    Notes
    -----
    No machine is quite of the kind that is fitted. What a factor's interval is to hold is defined without regard to
    the logged programs: the factors under which this kind of machine, gradual acceleration included, comes nearest to
    the real one over very many programs timed without noise, by least squares of the logarithms. Where the real
    machine has the figure itself, that is its own, with what a control waits at a stop counted in changes and starts.

    Example
    -------
    >>> from shopcalc.machines import Axis, Times
    >>> from shopcalc.moves import Kind, from_lists
    >>> machine = Machine(axes=(Axis(6000, 6000, 500),) * 3, times=Times(cutter_change=12.0))
    >>> changes = from_lists([(0, 0, 0)] * 11, [Kind.CHANGE] * 10)
    >>> logged = Run("rack", changes, (LoggedTime("rack", 180.0),) * 3)
    >>> round(calibrate([logged], machine, keys=["cutter_change"]).machine.times.cutter_change, 1)
    18.0
    """
    factors = factors_of(machine, keys)
    if not runs or not factors:
        message, remedy = (
            ("no time is logged", "log the machine time of a program first") if not runs
            else ("nothing of this machine can be learned", "give its limits in machines.toml, if only roughly")
        )  # fmt: skip
        raise InputError(Fault(message, remedy))
    moves = [r.moves for r in runs]
    middles = [r.middle for r in runs]
    y, watch = np.array([m[0] for m in middles]), np.array([m[1] for m in middles])
    clock = Clock(machine, factors, moves)
    before = clock.logs(np.zeros(len(factors)))
    faults = [
        Fault(f"the time of program '{r.program}' is unknown", "it cuts without a feed: shopcalc time says where")
        for r, t in zip(runs, before, strict=True) if not math.isfinite(t)
    ]  # fmt: skip
    if faults:
        raise InputError(faults)
    chosen = settled(clock, y, watch, keys, moves) if settings else Settled(clock, fit(clock, y, watch))
    clock, found, factors = chosen.clock, chosen.fit, chosen.clock.factors
    done = with_factors(clock.machine, factors, found.logs)
    known = knowledge(factors, found, [chosen.sigma(f.key) for f in factors])
    return Calibration(
        machine, clock.machine, done, _learned(chosen, known), _errors(runs, before, found, y, watch),
        tuple(
            e for r, m in zip(runs, middles, strict=True)
            for e, z in zip(r.logged, m[2], strict=True) if abs(z) > _STRAYS
        ),
        tuple(r.program for r, w in zip(runs, found.weights, strict=True) if w < _LITTLE),
        known, _next(clock, found, archive or {}, {r.program for r in runs}), chosen.bends, chosen.jerk, found.spread,
        found, chosen,
    )  # fmt: skip


def _learned(chosen: Settled, known: Knowledge) -> tuple[Learned, ...]:
    out = []
    for k, f in enumerate(chosen.clock.factors):
        value, low, high = (math.exp(v) for v in (chosen.fit.logs[k], *chosen.open([f.key])))
        at_bound = value <= f.low * 1.001 or value >= f.high * 0.999
        out.append(Learned(f, value, low, high, known.left[f.key], at_bound))
    return tuple(out)


def _errors(
    runs: Sequence[Run], before: Floats, found: Fit, y: Floats, watch: Floats
) -> tuple[ProgramError, ...]:  # fmt: skip
    """Logged against record and calibrated, and what each would be off were it left out (made linear)."""
    part = np.einsum("ik,kl,il->i", found.slopes, found.covariance, found.slopes)
    pull = np.minimum(0.95, found.weights * part / (found.weights * part + found.sigma**2 + 1e-300))
    left_out = np.exp(-found.off / (1 - pull)) - 1
    return tuple(
        ProgramError(
            r.program, len(r.logged), math.exp(y[i]), math.exp(before[i]), math.exp(y[i] - found.off[i]),
            float(left_out[i]), float(found.weights[i]), tuple(e.note for e in r.logged if e.note),
        )
        for i, r in enumerate(runs)
    )  # fmt: skip


def _next(clock: Clock, found: Fit, archive: Mapping[str, Moves], logged: set[str]) -> tuple[NextProgram, ...]:
    names = list(archive)
    if not names:
        return ()
    others = Clock(clock.machine, clock.factors, list(archive.values()))
    logs = others.logs(found.logs)
    ok = np.flatnonzero(np.isfinite(logs))
    seconds = np.exp(logs[ok])
    watch = np.array([LoggedTime("", float(t)).sigma for t in seconds])
    ranked = next_programs([names[i] for i in ok], others.slopes(found.logs)[ok], seconds, watch, found)
    return tuple(p for p in ranked if p.program not in logged or len(ranked) <= len(logged))
