"""Machines and runs of moves that several motion tests share."""

import itertools
import math
from dataclasses import replace

import numpy as np

from shopcalc.machines import Axis, Controller, Machine, Times
from shopcalc.moves import PLANE_AXES, Kind, Moves, Stop, from_lists


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


def random_program(rng: np.random.Generator, count: int) -> Moves:
    """Lines short and long, fine chords of arcs, helices, rapids, repeated points and standing moves, feeds mixed."""
    at, kinds, value, feeds, arcs = [np.zeros(3)], [], [], [], {}
    feed, direction = 3000.0, rng.normal(size=3)
    while len(kinds) < count:
        here, what, size = at[-1], rng.random(), 0.0
        feed = rng.uniform(300, 9000) if rng.random() < 0.1 else feed
        direction = direction / np.linalg.norm(direction)
        if what < 0.35:
            direction = direction + rng.normal(size=3) * rng.choice([0.02, 0.1, 1.0])
            step = [direction * 10 ** rng.uniform(-2, 1.5) / np.linalg.norm(direction)]
        elif what < 0.55:  # fine chords of a curve in space, rounded as programs are
            across = np.cross(direction, rng.normal(size=3))
            across /= np.linalg.norm(across)
            radius, chord = 10 ** rng.uniform(-0.3, 1.5), 10 ** rng.uniform(-2, 0)
            angle = np.arange(int(rng.integers(2, 60))) * min(0.4, chord / radius)
            curve = radius * (np.sin(angle)[:, None] * direction + (1 - np.cos(angle))[:, None] * across)
            step = np.diff(np.round(curve, 4), axis=0)
            direction = np.cos(angle[-1]) * direction + np.sin(angle[-1]) * across
        elif what < 0.7:
            plane = int(rng.integers(3))
            p, q, s = PLANE_AXES[plane]
            radius, begin = 10 ** rng.uniform(-0.3, 1.5), rng.uniform(0, 2 * np.pi)
            sweep = rng.uniform(0.1, 8) * rng.choice([-1, 1])
            centre, end = here.copy(), here.copy()
            centre[p], centre[q] = here[p] - radius * np.cos(begin), here[q] - radius * np.sin(begin)
            end[p], end[q] = centre[p] + radius * np.cos(begin + sweep), centre[q] + radius * np.sin(begin + sweep)
            end[s] += rng.choice([0.0, 5 * rng.normal()])
            arcs[len(kinds)] = (centre, sweep, plane)
            step = [end - here]
            kinds.append(Kind.ARC)
        elif what < 0.85:
            step = [rng.normal(size=3) * 10 ** rng.uniform(-1, 2)]
            kinds.append(Kind.RAPID)
        else:
            step = [np.zeros(3)]
            kinds.append(rng.choice([Kind.LINE, Kind.DWELL, Kind.CHANGE, Kind.STOP]))
            size = float(rng.integers(0, 6)) if kinds[-1] >= Kind.DWELL else 0.0
        for s in step:
            at.append(at[-1] + s)
        kinds += [Kind.LINE] * (len(at) - 1 - len(kinds))
        feeds += [feed] * (len(kinds) - len(feeds))
        value += [size] * (len(kinds) - len(value))
    moves = from_lists(at, kinds, feed=feeds, value=value, arcs=arcs)
    n = len(moves)
    unknown = (rng.random(n) < 0.03) & (rng.random() < 0.2)
    return replace(
        moves,
        feed=np.where(unknown, math.nan, moves.feed),
        exact_stop=rng.random(n) < 0.03,
        line=np.arange(1, n + 1, dtype=np.int32),
        cutter=np.cumsum(moves.kind == Kind.CHANGE).astype(np.int32),
    )


def random_machine(rng: np.random.Generator) -> Machine:
    """All corner rules, look-ahead, block rate, jerk and chord curvature, now and then axes without a limit."""
    rules = (
        {},
        {"corner": "stop"},
        {"corner": "tolerance", "corner_tolerance": rng.uniform(0.005, 0.2)},
        {"corner": "speed_jump", "corner_speed_jump": tuple(rng.uniform(2, 30, 3))},
    )
    rule = rules[rng.choice(4, p=(0.2, 0.1, 0.4, 0.3))]
    some = rng.random(5) < (0.4, 0.4, 0.5, 0.3, 0.1)
    rule["chord_curvature"] = str(rng.choice(["off", "speed", "share"]))
    if some[0]:
        rule["look_ahead"] = int(rng.integers(1, 60))
    if some[1]:
        rule["blocks_per_second"] = rng.uniform(20, 500)
    if some[2]:
        rule["jerk"] = 10 ** rng.uniform(2.5, 5.5)
    rule["stop_between_rapid_and_feed"] = bool(some[3])
    acceleration = tuple(10 ** rng.uniform(1.5, 3.5, 3))
    return machine(tuple(rng.uniform(50, 400, 3)), (math.inf, 500.0, math.inf) if some[4] else acceleration, **rule)


def plain_seconds(moves: Moves, m: Machine) -> list[float]:
    """Seconds of each move from the definitions, in the plainest Python; shares no code with the package."""
    c, n = m.controller, len(moves)
    kind, points = [int(k) for k in moves.kind], moves.points.tolist()
    a_max = [a.acceleration for a in m.axes]
    size, first, last, top, acc = [], [], [], [], []
    arc_of = {int(i): j for j, i in enumerate(moves.arc_index)}
    for i in range(n):
        step = [q - p for p, q in zip(points[i], points[i + 1], strict=True)]
        speeds = [(a.rapid if kind[i] == Kind.RAPID else a.feed) / 60 for a in m.axes]
        length = math.hypot(*step)
        u = w = [s / length if length else 0.0 for s in step]
        v = [s / abs(x) for s, x in zip(speeds, u, strict=True) if x]
        a = [s / abs(x) for s, x in zip(a_max, u, strict=True) if x]
        if kind[i] == Kind.ARC:
            p, q, s = PLANE_AXES[int(moves.arc_plane[arc_of[i]])]
            centre, sweep = moves.arc_centre[arc_of[i]], float(moves.arc_sweep[arc_of[i]])
            radius = math.hypot(points[i][p] - centre[p], points[i][q] - centre[q])
            length = math.hypot(radius * sweep, step[s])
            begin = math.atan2(points[i][q] - centre[q], points[i][p] - centre[p])
            share, axial = radius * sweep / length, step[s] / length
            u, w = [0.0] * 3, [0.0] * 3
            u[p], u[q], u[s] = -math.sin(begin) * share, math.cos(begin) * share, axial
            w[p], w[q], w[s] = -math.sin(begin + sweep) * share, math.cos(begin + sweep) * share, axial
            plane = min(a_max[p], a_max[q])
            v = [math.sqrt(plane * radius) / abs(share), min(speeds[p], speeds[q]) / abs(share)]
            a = [plane / abs(share)]
            if axial:
                v, a = [*v, speeds[s] / abs(axial)], [*a, a_max[s] / abs(axial)]
        if kind[i] > Kind.ARC:
            length = 0.0
        elif kind[i] != Kind.RAPID and not math.isnan(moves.feed[i]):
            v = [*v, moves.feed[i] * m.feed_share / 60]
        size.append(length)
        first.append(u)
        last.append(w)
        top.append(min(v, default=math.inf))
        acc.append(min(a, default=math.inf))
    bend = plain_bends(kind, points, size) if c.chord_curvature != "off" else {}
    cap = [0.0] * (n + 1)  # squared speeds
    for i in range(1, n):
        changes = (kind[i] == Kind.RAPID) != (kind[i - 1] == Kind.RAPID) and c.stop_between_rapid_and_feed
        if not size[i] or not size[i - 1] or moves.exact_stop[i - 1] or changes:
            continue
        turn = [p - q for p, q in zip(first[i], last[i - 1], strict=True)]
        d, v2 = math.hypot(*turn), min(top[i - 1], top[i]) ** 2
        if c.corner == "stop":
            v2 = 0.0
        elif d > 1e-12 and c.corner == "speed_jump":
            v2 = min(v2, *(j * j / (x * x) for j, x in zip(c.corner_speed_jump, turn, strict=True) if x))
        elif d > 1e-12 and c.corner == "tolerance":
            h = math.sqrt(max(0.0, 1 - d * d / 4))  # 1 - h = (d/2)^2 / (1 + h)
            across = min(q * d / abs(x) for q, x in zip(a_max, turn, strict=True) if x)
            v2 = min(v2, across * c.corner_tolerance * h * (1 + h) * 4 / d**2 if h > 1e-9 else 0.0)
        if c.chord_curvature == "speed":
            v2 = min([v2, *(q / abs(k) for q, k in zip(a_max, bend.get(i, ()), strict=False) if k)])
        if c.look_ahead:
            v2 = min(v2, sum(2 * acc[k] * size[k] if size[k] else 0.0 for k in range(i, min(n, i + c.look_ahead - 1))))
        cap[i] = v2

    nothing = [0.0] * 3
    shared = c.chord_curvature == "share"

    def ends(i: int) -> list[tuple[float, list[float], list[float]]]:
        """Of each end of move i: its place (0 or 1), the curve's direction there and its bend."""
        u = [(q - p) / size[i] for p, q in zip(points[i], points[i + 1], strict=True)]
        k0, k1 = bend.get(i, nothing), bend.get(i + 1, nothing)
        return [
            (0, [x - size[i] / 2 * k for x, k in zip(u, k0, strict=True)], k0),
            (1, [x + size[i] / 2 * k for x, k in zip(u, k1, strict=True)], k1),
        ]

    def leaves(i: int, v2: float) -> tuple[float, float]:
        """Squared speeds at the end of move i that keep |t a + w k| <= A at both ends, from v2 at its beginning."""
        least, most = -math.inf, math.inf
        for place, along, k in ends(i):
            for j in range(3):
                if a_max[j] < math.inf:  # along (w - v2) / 2 L + (v2 or w) k
                    slope = along[j] / 2 / size[i] + place * k[j]
                    rest = v2 * ((1 - place) * k[j] - along[j] / 2 / size[i])
                    if slope:
                        edges = sorted(((-a_max[j] - rest) / slope, (a_max[j] - rest) / slope))
                        least, most = max(least, edges[0]), min(most, edges[1])
                    elif abs(rest) > a_max[j]:
                        return 1.0, 0.0
        return least, most

    def bends(i: int) -> bool:
        return shared and any(bend.get(i, nothing) + bend.get(i + 1, nothing))

    def may_begin(i: int, v2: float) -> bool:
        least, most = leaves(i, v2)
        return max(least, 0.0) <= min(most, cap[i + 1])

    for i in range(n - 1, -1, -1):  # from which speed the rest can be run
        if size[i] and bends(i):
            low, high = 0.0, min(cap[i], 1e30)
            if may_begin(i, high):
                low = high
            for _ in range(200):  # below one that will do all will do: halved until found
                middle = (low + high) / 2
                low, high = (middle, high) if may_begin(i, middle) else (low, middle)
            cap[i] = min(cap[i], low)
        elif size[i]:
            cap[i] = min(cap[i], cap[i + 1] + 2 * acc[i] * size[i])
    for i in range(n):
        if size[i]:
            most = leaves(i, cap[i])[1] if bends(i) else cap[i] + 2 * acc[i] * size[i]
            cap[i + 1] = max(0.0, min(cap[i + 1], most))
    out, peaks, ramps = [], [], []
    for i in range(n):
        v0, v1, a = math.sqrt(cap[i]), math.sqrt(cap[i + 1]), acc[i]
        peak, up = 0.0, 0.0
        if not size[i]:
            stand = {Kind.DWELL: moves.value[i], Kind.CHANGE: m.times.cutter_change}.get(kind[i], 0.0)
            out.append(
                m.times.spindle_start if kind[i] == Kind.STOP and moves.value[i] == Stop.SPINDLE_START else stand
            )
        else:
            best = [top[i]]
            if bends(i):
                own, small = math.inf, 1e-9 * (cap[i] + cap[i + 1])
                up = 0 if abs(cap[i + 1] - cap[i]) <= small else math.copysign(1, cap[i + 1] - cap[i])
                for j in range(3):
                    k0, k1 = (bend.get(k, nothing)[j] for k in (i, i + 1))
                    step = abs(points[i + 1][j] - points[i][j])
                    if k0 or k1:
                        best.append(math.sqrt(2 * a_max[j] / (abs(k0) + abs(k1))))
                        if step:
                            a = min(a, (a_max[j] - abs(cap[i] * k0 + cap[i + 1] * k1) / 2) * size[i] / step)
                        for place, along, k in ends(i):
                            if along[j]:
                                pull = cap[i + place] * k[j]
                                against = pull * math.copysign(up, up * along[j]) if up else abs(pull)
                                own = min(own, (a_max[j] - against) / abs(along[j]))
                change = abs(cap[i + 1] - cap[i]) / 2 / size[i]
                used_up = change >= own * (1 - 1e-6) - small / size[i] and min(cap[i], cap[i + 1]) > small
                a = change if used_up else max(a, change)
            peak = max(v0, v1, min(*best, math.sqrt((cap[i] + cap[i + 1]) / 2 + a * size[i])))
            rise = fall = 0.0  # lengths; over the mean speed, as dv/a is all rounding where a bend leaves next to no a
            if 0 < a < math.inf:
                rise = min(size[i], (peak * peak - cap[i]) / 2 / a)
                fall = min(size[i] - rise, (peak * peak - cap[i + 1]) / 2 / a)
            up, down = 2 * rise / (peak + v0), 2 * fall / (peak + v1)
            out.append(up + down + (size[i] - rise - fall) / peak)
            least = 1e-9 * (1 + peak)
            up = (up if peak - v0 > least else 0.0) + (down if peak - v1 > least else 0.0)
        peaks.append(peak)
        ramps.append(up)
    if c.jerk < math.inf:
        for i, extra in plain_jerk(size, [math.sqrt(v) for v in cap], peaks, ramps, c.jerk):
            out[i] += extra
    for i in range(n):
        if size[i]:
            out[i] = max(out[i], 1 / c.blocks_per_second)
            if kind[i] != Kind.RAPID and math.isnan(moves.feed[i]):
                out[i] = math.nan
    return out


def plain_bends(kind: list[int], points: list[list[float]], size: list[float]) -> dict[int, list[float]]:
    """Bend at each junction within runs of lines that turn by at most 30 degrees: chords joined to 0.3 mm."""
    n, runs = len(kind), []
    for i in range(n):
        if kind[i] != Kind.LINE or not size[i]:
            continue
        go = [q - p for p, q in zip(points[i], points[i + 1], strict=True)]
        came = [q - p for p, q in zip(points[i - 1], points[i], strict=True)] if i else go
        dot = sum(p * q for p, q in zip(go, came, strict=True))
        if runs and runs[-1][-1] == i - 1 and dot >= math.cos(math.pi / 6) * size[i] * size[i - 1]:
            runs[-1].append(i)
        else:
            runs.append([i])
    bends: dict[int, list[float]] = {}
    for run in runs:
        begin, end = run[0], run[-1] + 1
        met, walked = [begin], {begin: 0.0}
        since = 0.0
        for i in run:
            since += size[i]
            walked[i + 1] = since
            if since >= 0.3 * (1 - 1e-9):
                met.append(i + 1)
                since = 0.0
        if met[-1] != end:
            met.append(end)
        known = {}
        for a, b, d in zip(met, met[1:], met[2:], strict=False):
            l1, l2 = math.dist(points[a], points[b]), math.dist(points[b], points[d])
            into, out = (
                [(q - p) / size if size else 0.0 for p, q in zip(points[i], points[j], strict=True)]
                for i, j, size in ((a, b, l1), (b, d, l2))
            )
            known[b] = [(q - p) / ((l1 + l2) / 2) if l1 and l2 else 0.0 for p, q in zip(into, out, strict=True)]
        for a, b in itertools.pairwise(met):
            for j in range(a + 1, b):
                share = walked[j] / walked[b]
                low, high = known.get(a), known.get(b)
                if low and high:
                    bends[j] = [
                        math.copysign(abs(p) + (abs(q) - abs(p)) * share, p + (q - p) * share)
                        for p, q in zip(low, high, strict=True)
                    ]
                elif low or high:
                    bends[j] = low or high
        bends.update(known)
    return bends


def plain_jerk(size, speed, peak, ramps, jerk):
    """Moves and the seconds each takes longer: humps from one speeding up after a slowing down to the next."""
    n = len(size)
    climbs = [bool(size[i]) and peak[i] - speed[i] > 1e-9 * (1 + peak[i]) for i in range(n)]
    falls = [bool(size[i]) and peak[i] - speed[i + 1] > 1e-9 * (1 + peak[i]) for i in range(n)]
    begins, fell = set(), False
    for i in range(n):
        if size[i] and (i == 0 or not size[i - 1] or (climbs[i] and fell)):
            begins.add(i)
            fell = False
        fell = falls[i] or (fell and not climbs[i])

    def enough(begin: int) -> int:
        """First junction with so much even speed before it that any ramp would fit."""
        walked, i = 0.0, begin
        while i < n and size[i] and not climbs[i] and not falls[i]:
            walked += size[i]
            if walked >= 2 * peak[i] * math.sqrt(peak[i] / jerk):
                return i + 1
            i += 1
        return n + 1

    for i in range(n):
        even = size[i] and not climbs[i] and not falls[i]
        if even and (i == 0 or not size[i - 1] or climbs[i - 1] or falls[i - 1]):
            begin = i
            while enough(cut := enough(begin)) <= n:
                begins.add(cut)
                begin = cut
    order, humps = sorted(begins), []
    for begin, until in itertools.pairwise([*order, n]):
        end = begin
        while end < until and size[end]:
            end += 1
        which = range(begin, end)
        change = sum(peak[i] - speed[i] for i in which if climbs[i])
        change += sum(peak[i] - speed[i + 1] for i in which if falls[i])
        slopes = [i for i in which if climbs[i] or falls[i]]
        core = slopes[-1] + 1 if slopes and falls[slopes[-1]] else end  # what lies behind is even, and slow
        humps.append([begin, core, end, sum(ramps[begin:end]), change])
        while len(humps) > 1:  # two are one where there is no room for a ramp
            (b0, c0, e0, slow0, change0), (b1, c1, e1, slow1, change1) = humps[-2:]
            rises = speed[e0] > speed[b0] and (speed[e0] + speed[b0]) * math.sqrt((speed[e0] - speed[b0]) / jerk) > sum(
                size[b0:c0]
            )
            sinks = speed[b1] > speed[e1] and (speed[e1] + speed[b1]) * math.sqrt((speed[b1] - speed[e1]) / jerk) > sum(
                size[b1:c1]
            )
            if e0 != b1 or max(peak[b0:e0]) == math.inf or max(peak[b1:e1]) == math.inf or not (rises or sinks):
                break
            humps[-2:] = [[b0, c1, e1, slow0 + slow1, change0 + change1]]
    for begin, core, end, slow, change in humps:
        if not slow:
            continue
        run, v0, v1, top, a = sum(size[begin:core]), speed[begin], speed[end], max(peak[begin:end]), change / slow
        sudden = _hump(run, v0, v1, top, lambda dv, a=a: dv / a)
        gradual = _hump(
            run, v0, v1, top,
            lambda dv, a=a: dv / a + a / jerk if dv >= a * a / jerk else 2 * math.sqrt(max(0.0, dv) / jerk),
        )  # fmt: skip
        if min(v0, v1) > 0:
            gradual = min(gradual, run / min(v0, v1))
        for i in range(begin, end):
            yield i, max(0.0, gradual - sudden) * ramps[i] / slow


def _hump(run, v0, v1, top, ramp):
    """Seconds up from v0, along and down to v1; the top is lowered by halving until the ramps fit."""

    def needed(v: float) -> float:
        return (v + v0) / 2 * ramp(v - v0) + (v + v1) / 2 * ramp(v - v1)

    low, high = max(v0, v1), max(top, v0, v1)
    v = high
    if needed(high) > run:
        for _ in range(200):
            v = (low + high) / 2
            low, high = (v, high) if needed(v) <= run else (low, v)
        v = low  # not a rounding above it: the root of that would be seen in the time
    return ramp(v - v0) + ramp(v - v1) + (max(0.0, run - needed(v)) / v if v else 0.0)
