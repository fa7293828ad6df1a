"""Tuning against a plain search over everything, with limits, forces, give and cost written again from definitions.

Nothing of the package is used here but its records and the function on trial: forces are summed over thin discs and
single angles, the beam is integrated numerically, time is length over feed (the machine of these cases knows no
acceleration), chances come from scipy. Figures of practice are read from the table they are published in.
"""

import csv
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import norm

from shopcalc.cutters import Cutter
from shopcalc.cutting.tuning import Costs, tune
from shopcalc.machines import Axis, Machine, Spindle, Station
from shopcalc.materials import Material

TABLES = Path(__file__).parents[1] / "shopcalc" / "tables"
with (TABLES / "practice.csv").open(encoding="utf-8") as f:
    HABIT = {r["name"]: float(r["value"]) / (100 if r["unit"] == "%" else 1) for r in csv.DictReader(f)}
with (TABLES / "cutting_forces.csv").open(encoding="utf-8") as f:
    ROWS = {r["name"]: {b: float(r[b]) for b in ("low", "likely", "high")} for r in csv.DictReader(f)}
CASES = 500
FREE = 1 - HABIT["reserve"]


def wood_terms(material, band):
    """Edge, chip, normal edge and normal chip of the three modes at the reference rake and moisture, sharp."""
    dense = material.specific_gravity_12 / 0.65
    out = []
    for mode in ("90-0", "0-90", "90-90"):
        chip = ROWS[f"solid.{mode}.chip"][band] * dense
        edge = ROWS[f"solid.{mode}.edge"][band] * dense
        normal = ROWS[f"solid.{mode}.normal_chip"][band]
        normal_chip = normal if mode == "0-90" else (normal + 0.02 * (25 - 20)) * chip
        peeled = dense if mode == "0-90" else 1.0  # there the normal force knows no density
        out.append((edge, chip, ROWS[f"solid.{mode}.normal_edge"][band] * edge / peeled, normal_chip))
    return np.array(out).T


def disc(terms, grain, helix, angle, feed_per_tooth):
    """Force on the cutter (x, y) and tangential force, per mm of height, of a flute at an angle; straight sides."""
    radius = np.stack([np.sin(angle), np.cos(angle), 0 * angle], -1)
    motion = np.stack([np.cos(angle), -np.sin(angle), 0 * angle], -1)
    g = np.array(grain)
    shares = np.stack([
        (math.cos(helix) * (motion @ g) - math.sin(helix) * g[2]) ** 2,
        (math.cos(helix) * g[2] + math.sin(helix) * (motion @ g)) ** 2,
        (radius @ g) ** 2,
    ], -1)  # fmt: skip
    edge, chip, normal_edge, normal_chip = (shares @ t for t in terms)
    h = feed_per_tooth * np.sin(angle)
    t, n = edge / math.cos(helix) + chip * h, normal_edge / math.cos(helix) + normal_chip * h
    return -t * motion[..., 0] - n * radius[..., 0], -t * motion[..., 1] - n * radius[..., 1], t


class Forces:
    """Of one width, level and direction in one band, at two feeds per tooth: everything is linear between them."""

    def __init__(self, cutter, terms, grain, width, level, direction):
        self.c, self.terms, self.grain, self.level = cutter, terms, grain, level
        self.r, self.z = cutter.true_diameter / 2, cutter.flutes
        engaged = math.acos(max(-1.0, 1 - width / self.r))
        self.arc = (0.0, engaged) if direction == "conventional" else (math.pi - engaged, math.pi)
        self.climb = direction == "climb"
        n = 400
        mid = self.arc[0] + (np.arange(n) + 0.5) / n * engaged
        step = engaged / n
        turn = self.z / (2 * math.pi) * level * step
        self.mean = []
        for f in (0.0, 1.0):
            _, y, t = disc(terms, grain, cutter.helix, mid, f)
            self.mean.append((t.sum() * turn * self.r, y.sum() * turn, t.sum() * turn))

    def torque_side_tangential(self, f):
        low, high = self.mean
        return [a + (b - a) * f for a, b in zip(low, high, strict=True)]

    def greatest(self, f):
        """Largest resultant over a turn, of thin discs at single angles; (n,) feeds."""
        n = 72
        z = (np.arange(n) + 0.5) / n * self.level
        lag = z * math.tan(self.c.helix) / self.r * (-1 if self.c.cut_direction == "down" else 1)
        positions = np.arange(60)[:, None, None] / 60 * 2 * math.pi / self.z  # the turn repeats from flute to flute
        flutes = 2 * math.pi * np.arange(self.z)[:, None] / self.z
        a = np.mod(positions - lag + flutes, 2 * math.pi)
        inside = (a >= self.arc[0] - 1e-9) & (a <= self.arc[1] + 1e-9)
        a = np.where(inside, a, 0.0)
        sums = [
            [
                np.where(inside, v, 0.0).sum(axis=(1, 2)) * self.level / n
                for v in disc(self.terms, self.grain, self.c.helix, a, f)[:2]
            ]
            for f in (0.0, 1.0)
        ]
        x, y = (sums[0][i] + (sums[1][i] - sums[0][i]) * np.asarray(f)[:, None] for i in (0, 1))
        return np.hypot(x, y).max(axis=1)

    def error(self, f, height, holder, frame):
        """Off the wall at a height: the quick part when the flute passes it, the slow part by the mean."""
        n = 60
        z = (np.arange(n) + 0.5) / n * self.level
        sign = -1 if self.c.cut_direction == "down" else 1
        wall = math.pi if self.climb else 0.0
        force = np.zeros((2, n))
        for k in range(self.z):
            a = wall - sign * (z - height) * math.tan(self.c.helix) / self.r + 2 * math.pi * k / self.z
            a = np.mod(a + 1e-9, 2 * math.pi) - 1e-9
            inside = (a >= self.arc[0] - 1e-9) & (a <= self.arc[1] + 1e-9)
            for i, g in enumerate((0.0, 1.0)):
                force[i] += np.where(inside, disc(self.terms, self.grain, self.c.helix, a, g)[1], 0) * self.level / n
        arm = beam(self.c, z, height) + 1 / holder
        quick = (arm * force).sum(axis=1)
        side = self.torque_side_tangential(f)[1]
        off = 1 if self.climb else -1
        cutter = quick[0] + (quick[1] - quick[0]) * f
        return off * np.maximum(np.abs(cutter), np.abs(cutter + side / frame))  # no luck that cancels is counted on


def beam(c, loaded, seen):
    """mm per N by integrating both moments over EI, on a fine grid."""
    u = (np.arange(800) + 0.5) / 800 * c.stick_out
    above = c.stick_out - u
    d = np.where(above <= c.cutting_length, 0.8 * c.true_diameter, c.shank)
    e = HABIT[f"modulus.{c.body}"]
    moment = np.maximum(c.stick_out - seen - u, 0) / (e * math.pi * d**4 / 64)
    return np.array([(moment * np.maximum(c.stick_out - z - u, 0)).sum() * c.stick_out / 800 for z in loaded])


def stress_per_newton(c, height):
    """At the collet in the shank, and at the upper end of the flutes."""
    shank = 32 * (c.stick_out - height) / (math.pi * c.shank**3)
    flutes = 32 * max(c.cutting_length - height, 0) / (math.pi * (0.8 * c.true_diameter) ** 3)
    return max(shank if c.stick_out > c.cutting_length else 0.0, flutes)


def random_case(rng):
    diameter = float(rng.choice([3.175, 6.35, 9.525, 12.7, 20.0]))
    flutes = diameter * rng.uniform(2.2, 4)
    out = flutes + rng.uniform(2, 25)
    direction, helix = ("straight", 0.0) if rng.random() < 0.4 else (str(rng.choice(["up", "down"])), math.radians(30))
    cutter = Cutter(
        "C", "", "square end", diameter, max(6.35, min(diameter, 12.7)), int(rng.integers(1, 4)), flutes, out + 45, out,
        helix=helix, body=str(rng.choice(["carbide", "steel"])), cut_direction=direction,
        maker_rpm=float(rng.choice([14000, 18000, 24000])),
    )  # fmt: skip
    material = Material(
        "w", "", "hardwood", 700, float(rng.uniform(0.35, 0.9)), 5000, None, None, None, None,
        chip_thin=float(rng.uniform(0.03, 0.06)), chip_thick=float(rng.uniform(0.15, 0.35)),
    )  # fmt: skip
    axis = Axis(feed=float(rng.choice([4000, 9000, 15000])))
    watts = float(rng.choice([400, 1200, 4000]))
    station = str(rng.choice(["flat", "end"]))
    held = Station(
        station, stiffness=float(rng.choice([400, 2000, 8000])), clamp_force=float(rng.choice([400, 3000])),
        friction=0.3,
    )  # fmt: skip
    machine = Machine(
        "m", axes=(axis, axis, Axis()), spindle=Spindle((6000, 18000, 24000), (watts * 0.4, watts, watts)),
        stations={station: held},
    )  # fmt: skip
    degrees = float(rng.choice([0, 30, 90, -45]))
    depth, width = float(rng.uniform(0.3, 1.0) * flutes), float(rng.uniform(0.05, 2.2) * diameter)
    costs = [None, Costs(60.0), Costs(75.0, value=150.0), Costs(75.0, value=150.0, regrind=20.0)][rng.integers(4)]
    return (
        cutter,
        material,
        machine,
        station,
        degrees,
        depth,
        width,
        float(rng.uniform(60, 900)),
        costs,
        float(rng.choice([0.02, 0.1])),
    )


class Reference:
    """Cost of settings of one case with every limit written again; inf where one is passed."""

    def __init__(self, case):
        (self.c, self.m, self.machine, self.station, degrees, self.depth, self.width, self.length, self.costs,
         self.allowed) = case  # fmt: skip
        a = math.radians(degrees)
        self.grain = (0.0, 0.0, 1.0) if self.station == "end" else (math.cos(a), math.sin(a), 0.0)
        along, across, end = (HABIT[f"depth_share.{k}"] for k in ("along", "across", "end"))
        share = end if self.station == "end" else along * math.cos(a) ** 2 + across * math.sin(a) ** 2
        self.deepest = share * self.c.diameter / max(1.0, self.c.stick_out / self.c.diameter / HABIT["stick_out_share"])
        self.most_rpm = min(FREE * self.c.maker_rpm, 24000,
                            HABIT[f"rim_speed_{self.c.body}"] / (math.pi * self.c.diameter / 1000) * 60)  # fmt: skip
        self.thick = max(self.m.chip_thin, self.m.chip_thick * min(1, self.c.diameter / 6))
        self.tooth = HABIT["feed_per_tooth_share"] * self.c.diameter
        self.cap = FREE * self.machine.axes[0].feed

    def shapes(self):
        fewest = math.ceil(self.depth / min(self.deepest, self.c.cutting_length) - 1e-9)
        first = math.ceil(self.width / self.c.diameter - 1e-9)
        for levels in range(fewest, fewest + 13):
            for steps in range(first, first + 4):
                yield from ((levels, steps, d) for d in ("climb", "conventional"))

    def mean_share(self, width):
        engaged = math.acos(1 - 2 * width / self.c.diameter)
        return (1 - math.cos(engaged)) / engaged

    def seconds(self, levels, steps, feed):
        way = self.length + 2 * (self.c.diameter / 2 + 2)
        down = sum((10 + self.depth * (n + 1) / levels) * steps for n in range(levels)) / 0.7
        return 60 * (levels * steps * way + down) / feed

    def worth(self, shape, rpm, feed, slack=0.0):
        """Cost, or seconds without costs, of (n,) settings; inf where a limit is passed by more than the slack."""
        levels, steps, direction = shape
        c, level, width = self.c, self.depth / levels, self.width / steps
        width = min(width, c.diameter)
        f = feed / (rpm * c.flutes)
        share = self.mean_share(width)
        ok, self.used = np.ones(len(rpm), dtype=bool), []

        def keep(used, most=1.0):
            nonlocal ok
            ok &= used <= most * (1 + slack) + 1e-9
            self.used.append(float(np.min(used / most)))

        keep(np.full(len(rpm), level / self.deepest))
        keep(self.m.chip_thin / (f * share))
        keep(f * share / self.thick)
        keep(f / self.tooth)
        keep(feed / rpm / HABIT["mark_spacing"])
        keep(feed / self.machine.axes[0].feed, FREE)
        if width >= 0.999 * c.diameter:
            way = c.cut_direction if c.cut_direction in ("down", "straight") else "up"
            keep(np.full(len(rpm), self.depth / (HABIT[f"slot_share.{way}"] * c.diameter)))
        forces = {b: Forces(c, wood_terms(self.m, b), self.grain, width, level, direction) for b in ("likely", "high")}
        torque, _, tangential = forces["high"].torque_side_tangential(f)
        power = torque / 1000 * 2 * math.pi * rpm / 60
        keep(power / np.interp(rpm, self.machine.spindle.rpm, self.machine.spindle.power), FREE)
        if not ok.any():
            return np.full(len(rpm), np.inf)
        nodes = np.linspace(0.005, 1.02, 16) * self.tooth
        great = np.interp(f, nodes, forces["high"].greatest(nodes))
        keep(great * stress_per_newton(c, level / 2) / HABIT[f"strength.{c.body}"], FREE)
        held = self.machine.stations[self.station]
        lift = np.maximum(tangential * math.tan(c.helix) * (1 if c.cut_direction == "up" else -1), 0)
        if c.cut_direction == "straight":
            lift = 0 * lift
        keep(lift / held.clamp_force, FREE)
        keep(great / np.maximum(0.3 * (held.clamp_force - lift), 1e-9), FREE)
        errors = {}
        for band, holder in (("likely", "likely"), ("high", "low")):
            sides = [forces[band]]
            if width >= 0.999 * c.diameter:
                other = "conventional" if direction == "climb" else "climb"
                sides.append(Forces(c, wood_terms(self.m, band), self.grain, width, level, other))
            stiff = HABIT[f"holder_stiffness.{holder}"]
            all_ = [s.error(f, h, stiff, held.stiffness) for s in sides for h in (0.0, level)]
            errors[band] = np.max(np.abs(all_), axis=0) / self.allowed
        keep(errors["likely"])
        seconds = self.seconds(levels, steps, feed)
        if self.costs is None:
            return np.where(ok, seconds, np.inf)
        cost = seconds / 3600 * self.costs.per_hour
        if self.costs.value:
            logs = [math.log(ROWS[f"solid.{m}.{t}"]["high"] / ROWS[f"solid.{m}.{t}"]["likely"])
                    for m in ("90-90", "90-0", "0-90") for t in ("edge", "chip")]  # fmt: skip
            spread = float(np.mean(logs)) / norm.ppf(0.9)
            median = np.maximum(errors["likely"], errors["high"] / math.exp(norm.ppf(0.9) * spread))
            sound = norm.cdf(-np.log(np.maximum(median, 1e-12)) / spread)
            sound *= norm.cdf(-np.log(f * share / self.thick) / HABIT["chip_spread"])
            sound *= norm.cdf(-np.log(self.m.chip_thin / (f * share)) / HABIT["chip_spread"])
            cost += HABIT["scrap_share"] * (1 - sound) * self.costs.value
        if self.costs.regrind:
            arc = math.acos(1 - 2 * width / c.diameter) * c.diameter / 2
            cost += levels * steps * self.length / feed * rpm * arc / (HABIT["edge_life"] * 1000) * self.costs.regrind
        return np.where(ok, cost, np.inf)

    def best(self, at_most):
        """Least cost over everything, leaving out what even at the greatest feed would cost more than ``at_most``."""
        speeds = np.unique(np.append(np.arange(6000, self.most_rpm, 300), math.floor(self.most_rpm / 100) * 100))
        least = math.inf
        for shape in self.shapes():
            levels, steps, _ = shape
            share = self.mean_share(min(self.width / steps, self.c.diameter))
            most = min(self.thick / share, self.tooth)
            fastest = min(self.cap, speeds[-1] * self.c.flutes * most)
            bound = self.seconds(levels, steps, fastest)
            if (bound if self.costs is None else bound / 3600 * self.costs.per_hour) > min(at_most, least):
                continue
            per_tooth = np.append(np.geomspace(min(self.m.chip_thin / share, most), most, 60), most)
            rpm, f = (v.ravel() for v in np.meshgrid(speeds, per_tooth))
            feed = np.floor(np.minimum(rpm * self.c.flutes * f, self.cap) / 10 + 1e-9) * 10
            least = min(least, float(self.worth(shape, rpm, np.maximum(feed, 10.0)).min()))
        return least


@pytest.mark.parametrize("block", range(10))
def test_no_setting_of_a_plain_search_beats_tuning_by_more_than_a_percent(block):
    """500 random cases: no bound broken where any setting keeps them all, and cost within 1 % of the best found."""
    rng = np.random.default_rng(1000 + block)
    possible = 0
    for _ in range(CASES // 10):
        case = random_case(rng)
        cutter, material, machine, station, degrees, depth, width, length, costs, allowed = case
        s = tune(
            cutter, material, machine, station=station, grain=math.radians(degrees), cut_depth=depth, cut_width=width,
            length=length, greatest_push_off=allowed, costs=costs,
        )  # fmt: skip
        reference = Reference(case)
        shape = (s.levels, s.side_steps, s.direction)
        own = reference.worth(shape, np.array([s.rpm]), np.array([s.feed_mm_min]), slack=0.02)[0]
        broken = [round(u, 3) for u in reference.used]
        best = reference.best(own if math.isfinite(own) else math.inf)
        if math.isinf(best):
            continue
        possible += 1
        assert math.isfinite(own), f"a bound is broken: {broken}, {case}, {s}"
        assert own <= best * 1.01 + 1e-9, f"{own} against {best}: {case}, {s}"
    assert possible > 15, "too few cases have any setting that keeps every bound"


def better(machine, station):
    """The same machine with every rating raised."""
    axis = Axis(feed=1.3 * machine.axes[0].feed)
    spindle = Spindle(machine.spindle.rpm, tuple(1.3 * p for p in machine.spindle.power))
    held = machine.stations[station]
    firmer = replace(held, stiffness=1.5 * held.stiffness, clamp_force=1.5 * held.clamp_force)
    return machine.with_(axes=(axis, axis, Axis()), spindle=spindle, stations={station: firmer})


def test_a_machine_better_in_every_rating_never_takes_longer_or_costs_more():
    rng = np.random.default_rng(5)
    for _ in range(60):
        cutter, material, machine, station, degrees, depth, width, length, costs, allowed = random_case(rng)
        asked = {
            "station": station, "grain": math.radians(degrees), "cut_depth": depth, "cut_width": width,
            "length": length, "greatest_push_off": allowed,
        }  # fmt: skip
        old, new = (tune(cutter, material, m, **asked) for m in (machine, better(machine, station)))
        if all((x.used or 0) <= 1 for x in old.limits):
            assert new.minutes["likely"] <= old.minutes["likely"] * 1.005
        costs = costs or Costs(60.0, value=100.0)
        old, new = (tune(cutter, material, m, costs=costs, **asked) for m in (machine, better(machine, station)))
        if all((x.used or 0) <= 1 for x in old.limits):
            assert new.cost <= old.cost * 1.01
