"""Time-optimal motion along paths under limits per axis, by the library toppra: an oracle that several tests share.

toppra (Pham and Pham, "A new approach to time-optimal path parameterization based on reachability analysis", IEEE
Transactions on Robotics 34(3), 2018) knows a box: every axis by itself within its speed and its acceleration. The feed
is added as a further axis that travels the length walked: its speed is the feed.
"""

import itertools
import math
from functools import cache

import numpy as np
import pytest
from scipy.interpolate import CubicSpline


class ArcLengthPath:
    """A path by length walked: positions from functions of the length and their first two derivatives.

    The fourth coordinate is the length itself, so that a limit of its speed is a feed.
    """

    waypoints = None
    dof = 4

    def __init__(self, length, position, first, second):
        self.length, self._parts = length, (position, first, second)

    @property
    def path_interval(self):
        return np.array([0.0, self.length])

    def __call__(self, s, order=0):
        at = np.atleast_1d(np.asarray(s, dtype=float))
        walked = (at, np.ones_like(at), np.zeros_like(at))[order]
        out = np.column_stack([self._parts[order](at), walked])
        return out[0] if np.ndim(s) == 0 else out

    def eval(self, s):
        return self(s, 0)

    def evald(self, s):
        return self(s, 1)

    def evaldd(self, s):
        return self(s, 2)


def straight(step):
    """A straight line by a step [mm]."""
    step = np.asarray(step, dtype=float)
    length = float(np.linalg.norm(step))
    unit = step / length
    return ArcLengthPath(
        length, lambda s: np.outer(s, unit), lambda s: np.tile(unit, (len(s), 1)), lambda s: np.zeros((len(s), 3))
    )


def helix(radius, begin, sweep, sink=0.0, axes=(0, 1, 2)):
    """An arc about the origin, or a helix that travels ``sink`` along its axis; angles in rad."""
    length = math.hypot(radius * sweep, sink)
    turn = sweep / length

    def place(first, second, third):
        out = np.empty((len(first), 3))
        out[:, axes[0]], out[:, axes[1]], out[:, axes[2]] = first, second, third
        return out

    def angle(s):
        return begin + turn * s

    return ArcLengthPath(
        length,
        lambda s: place(radius * np.cos(angle(s)), radius * np.sin(angle(s)), sink * s / length),
        lambda s: place(
            -radius * turn * np.sin(angle(s)), radius * turn * np.cos(angle(s)), np.full(len(s), sink / length)
        ),
        lambda s: place(
            -radius * turn**2 * np.cos(angle(s)), -radius * turn**2 * np.sin(angle(s)), np.zeros(len(s))
        ),
    )  # fmt: skip


def smooth(dense):
    """The curve through closely spaced points (n, 3), as a spline over its length."""
    walked = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(dense, axis=0), axis=1))])
    for _ in range(2):  # once over the chords, once over the curve's own length
        spline = CubicSpline(walked, dense)
        steps = np.diff(walked)
        nodes, weights = np.polynomial.legendre.leggauss(3)
        at = walked[:-1, None] + steps[:, None] * (nodes + 1) / 2
        speed = np.linalg.norm(spline(at, 1), axis=2)
        walked = np.concatenate([[0.0], np.cumsum((speed * weights).sum(axis=1) * steps / 2)])
    spline = CubicSpline(walked, dense)
    return ArcLengthPath(float(walked[-1]), spline, lambda s: spline(s, 1), lambda s: spline(s, 2))


def tangent(pieces):
    """Paths one after the other, each from where the one before ended."""
    ends = np.concatenate([[0.0], np.cumsum([p.length for p in pieces])])
    offsets = [np.zeros(3)]
    for before, after in itertools.pairwise(pieces):
        offsets.append(offsets[-1] + before(before.length)[:3] - after(0.0)[:3])

    def part(order):
        def evaluate(s):
            which = np.clip(np.searchsorted(ends, s, side="right") - 1, 0, len(pieces) - 1)
            out = np.empty((len(s), 3))
            for k, piece in enumerate(pieces):
                mine = which == k
                if mine.any():
                    out[mine] = piece(s[mine] - ends[k], order)[:, :3] + (offsets[k] if order == 0 else 0.0)
            return out

        return evaluate

    return ArcLengthPath(float(ends[-1]), part(0), part(1), part(2))


@cache
def _library():
    toppra = pytest.importorskip("toppra")
    import toppra.algorithm as algorithm
    import toppra.constraint as constraint

    toppra.setup_logging("ERROR")  # its log is not ours to read
    return algorithm, constraint


def toppra_seconds(path, speed, acceleration, feed=math.inf, grid=401, places=()):
    """Least time from rest to rest [s].

    ``speed`` and ``acceleration`` per axis (3,) [mm/s, mm/s2]; ``feed`` [mm/s] a number or a function of the length
    walked; ``grid`` even steps, made finer towards both ends and both sides of ``places`` [mm], where limits jump.
    Whatever the grid, its error is on the slow side and goes with the step.
    """
    speed, acceleration = np.broadcast_to(speed, 3).astype(float), np.broadcast_to(acceleration, 3).astype(float)
    fastest = float(np.linalg.norm(speed))  # no path speed is greater: the feed then limits nothing
    # along the path no acceleration is greater than that of all axes together, so the fourth limit never binds
    push = np.append(acceleration, 1.01 * np.linalg.norm(acceleration))
    fine = np.geomspace(1e-4, 1, 20) / grid
    centres = np.concatenate([[0.0, 1.0], np.asarray(places, dtype=float) / path.length])
    points = np.concatenate(
        [np.linspace(0, 1, grid + 1), *(np.concatenate([c - fine, [c], c + fine]) for c in centres)]
    )
    points = np.unique(np.round(points[(points >= 0) & (points <= 1)], 9))
    for shift in range(3):  # its linear programs may still fail on a rare grid; not on the one with a point less
        points = np.delete(points, [len(points) // 3] * bool(shift))
        found = _least_time(path, speed, push, lambda s: min(fastest, feed(s) if callable(feed) else feed), points)
        if found is not None:
            return found
    raise ArithmeticError("toppra finds no time")


def _least_time(path, speed, push, feed, points):
    """By toppra, in units in which a step is 0.01 and the strongest axis gives 1: others lose its linear programs."""
    algorithm, constraint = _library()
    unit = 100 * path.length / len(points)
    second = math.sqrt(unit / push.max())
    scaled = ArcLengthPath(
        path.length / unit,
        lambda s: path.eval(s * unit)[:, :3] / unit,
        lambda s: path.evald(s * unit)[:, :3],
        lambda s: path.evaldd(s * unit)[:, :3] * unit,
    )

    def box(s):
        top = np.append(speed, feed(s * unit)) * second / unit
        return np.stack([-top, top], axis=1)

    push = push / push.max()
    limits = [
        constraint.JointVelocityConstraintVarying(box),
        constraint.JointAccelerationConstraint(np.stack([-push, push], axis=1)),
    ]
    plan = algorithm.TOPPRA(
        limits, scaled, gridpoints=points * (path.length / unit), parametrizer="ParametrizeConstAccel"
    )
    answer = plan.compute_trajectory(0, 0)
    return None if answer is None else answer.duration * second
