"""Machines and runs of moves that several motion tests share."""

import math

import numpy as np

from shopcalc.machines import Axis, Controller, Machine, Times
from shopcalc.moves import Kind, Moves, from_lists


def machine(
    speed: float | tuple[float, float, float] = 100.0,
    acceleration: float | tuple[float, float, float] = 500.0,
    **controller: object,
) -> Machine:
    """A machine with these axis limits [mm/s, mm/s2] and this controller."""
    v = (speed,) * 3 if isinstance(speed, (int, float)) else speed
    a = (acceleration,) * 3 if isinstance(acceleration, (int, float)) else acceleration
    axes = tuple(Axis(rapid=60 * s, feed=60 * s, acceleration=t) for s, t in zip(v, a, strict=True))
    return Machine(name="test", axes=axes, controller=Controller(**controller), times=Times(30.0, 4.0))  # type: ignore[arg-type]


def polyline(points: object, feed: float = 60_000.0, kind: Kind = Kind.LINE) -> Moves:
    """Lines through points [mm] at a feed [mm/min] far above the axis limits unless given."""
    at = np.asarray(points, dtype=float)
    return from_lists(at, [kind] * (len(at) - 1), feed=feed)


def random_walk(rng: np.random.Generator, moves: int, longest: float = 20.0) -> Moves:
    """A polyline of random steps with lengths spread over three decades, feeds mixed, a rapid now and then."""
    steps = rng.normal(size=(moves, 3))
    steps *= (longest * 10 ** -rng.uniform(0, 3, moves) / np.linalg.norm(steps, axis=1))[:, None]
    points = np.concatenate([[[0.0, 0.0, 0.0]], np.cumsum(steps, axis=0)])
    kinds = np.where(rng.random(moves) < 0.15, Kind.RAPID, Kind.LINE)
    return from_lists(points, kinds, feed=rng.uniform(500, 9000, moves))


def slow_time(moves: Moves, m: Machine) -> float:
    """Plain loops over lines and rapids: the definitions of the plan, one move at a time, no running sums [s]."""
    n = len(moves)
    c = m.controller
    acc = [a.acceleration for a in m.axes]
    u, length, top, a = [], [], [], []
    for i in range(n):
        d = [moves.points[i + 1][k] - moves.points[i][k] for k in range(3)]
        size = math.sqrt(sum(x * x for x in d))
        unit = [x / size for x in d]
        rapid = moves.kind[i] == Kind.RAPID
        limits = [
            (ax.rapid if rapid else ax.feed) / 60 / abs(x) for ax, x in zip(m.axes, unit, strict=True) if x
        ] + ([] if rapid else [moves.feed[i] / 60])  # fmt: skip
        u.append(unit)
        length.append(size)
        top.append(min(limits))
        a.append(min(q / abs(x) for q, x in zip(acc, unit, strict=True) if x))
    cap = [0.0] * (n + 1)
    for i in range(1, n):
        turn = [p - q for p, q in zip(u[i], u[i - 1], strict=True)]
        size = math.sqrt(sum(x * x for x in turn))
        v = min(top[i - 1], top[i])
        if c.corner == "stop":
            v = 0.0
        elif size > 0 and c.corner == "speed_jump":
            v = min(v, *(j / abs(x) for j, x in zip(c.corner_speed_jump, turn, strict=True) if x))
        elif size > 0 and c.corner == "tolerance":
            included = math.pi - 2 * math.asin(min(1.0, size / 2))
            half = math.sin(included / 2)
            across = min(q * size / abs(x) for q, x in zip(acc, turn, strict=True) if x)
            v = min(v, math.sqrt(across * c.corner_tolerance * half / (1 - half)))
        if c.look_ahead:
            known = range(i, min(n, i + c.look_ahead - 1))
            v = min(v, math.sqrt(sum(2 * a[k] * length[k] for k in known)))
        cap[i] = v
    for i in range(n):
        cap[i + 1] = min(cap[i + 1], math.sqrt(cap[i] ** 2 + 2 * a[i] * length[i]))
    for i in reversed(range(n)):
        cap[i] = min(cap[i], math.sqrt(cap[i + 1] ** 2 + 2 * a[i] * length[i]))
    total = 0.0
    for i in range(n):
        v0, v1 = cap[i], cap[i + 1]
        peak = min(top[i], math.sqrt((v0 * v0 + v1 * v1) / 2 + a[i] * length[i]))
        ramps = (2 * peak * peak - v0 * v0 - v1 * v1) / (2 * a[i])
        t = (2 * peak - v0 - v1) / a[i] + max(0.0, length[i] - ramps) / peak
        total += max(t, 1 / c.blocks_per_second)
    return total
