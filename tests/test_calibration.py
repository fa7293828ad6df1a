"""Logged against programmed. Every logged time here is simulated: no machine was timed for these tests."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from refusals import faults_of
from scipy import stats
from scipy.optimize import least_squares

from shopcalc.calibration import LoggedTime, Run, calibrate, factors_of, gathered, read_times, with_factors
from shopcalc.calibration.fitting import Clock
from shopcalc.calibration.logged import AGAIN
from shopcalc.calibration.sampling import DEGREES, MISSES, within
from shopcalc.calibration.settings import BUILDS_UP
from shopcalc.errors import InputError
from shopcalc.gcode import read_program, read_text
from shopcalc.machines import Axis, Controller, Machine, Times
from shopcalc.motion import machine_time
from shopcalc.moves import Kind, from_lists
from shopcalc.shop import Shop, demo_folder

ROUTER = Shop.open().machine("router")
BLIND = from_lists([(0, 0, 0), (10, 0, 0)], [Kind.LINE])  # cuts without a feed
PROGRAMS = {p.stem: read_program(p).moves for p in sorted((demo_folder() / "programs").glob("*.nc"))}
#: How far hidden machines are off the record, as sigma of each factor's logarithm; invented.
OFF = {
    "acceleration": 0.5, "z_acceleration": 0.2, "rapid": 0.25, "corner_tolerance": 1.2, "block_rate": 0.6,
    "cutter_change": 0.5, "spindle_start": 0.5, "feed_share": 0.1,
}  # fmt: skip
EIGHT = ("panels", "lid-faces", "lid-lettering", "curved-rail", "rail-ends", "muntin-ends", "bottom", "gate-rail-ends")


def really(moves, machine, pause=0.0):
    """Seconds on a hidden machine, which pauses at every stop."""
    return machine_time(moves, machine).total_s + pause * int((moves.kind >= Kind.DWELL).sum())


def simulated(machine, names, rng, programs=PROGRAMS, pause=0.0, most=1, again=0.0):
    """Times by a watch: started and stopped by hand, rounded to a second, one to ``most`` runs of each program.

    Runs of one program differ by ``again`` (sigma of the logarithm).
    """
    out = []
    for name in names:
        true = really(programs[name], machine, pause)
        for _ in range(int(rng.integers(1, most + 1))):
            seconds = true * math.exp(again * rng.normal()) + rng.normal(0, 0.7) + rng.normal(0, 0.7)
            out.append(LoggedTime(name, float(max(1, round(seconds)))))
    return out


def hidden(rng):
    """A machine of another kind than what is fitted: drawn about the record, with jerk, and a pause at every stop."""
    factors = factors_of(ROUTER)
    logs = np.array([rng.normal(0, OFF[f.key]) for f in factors])
    machine = with_factors(ROUTER, factors, logs)
    return machine.with_(controller=replace(machine.controller, jerk=rng.uniform(4000, 12000))), rng.uniform(0, 0.6)


# --- closed forms: one factor is free --------------------------------------------------------------------------------


@pytest.mark.parametrize("true", [0.7, 1.0, 1.3])
def test_rapids_of_long_lines_tell_the_rapid_speed(true):
    machine = Machine(axes=(Axis(rapid=20000, feed=12000),) * 3)
    moves = from_lists([(0, 0, 0), *[(2400.0 * (k % 2), 0, 0) for k in range(1, 101)]], [Kind.RAPID] * 100)
    seconds = 100 * 2400 / (20000 * true / 60)  # 2.4 m at once, no acceleration to speak of
    found = calibrate([Run("long", moves, (LoggedTime("long", seconds, step=0.01),))], machine, keys=["rapid"])
    assert found.machine.axes[0].rapid == pytest.approx(20000 * true, rel=4e-3)  # the record still pulls a little
    assert found.factor("rapid").low < true < found.factor("rapid").high


@pytest.mark.parametrize("true", [90.0, 500.0, 1200.0])
def test_many_short_blocks_tell_the_block_rate(true):
    machine = Machine(axes=(Axis(feed=60000),) * 3, controller=Controller(blocks_per_second=500.0))
    points = np.column_stack([np.arange(50_001) * 1e-3, np.zeros((50_001, 2))])
    moves = from_lists(points, [Kind.LINE] * 50_000, feed=60000.0)
    run = Run("short", moves, (LoggedTime("short", 50_000 / true),))
    found = calibrate([run], machine, keys=["block_rate"], settings=False)
    assert found.machine.controller.blocks_per_second == pytest.approx(true, rel=4e-3)


def test_changes_tell_the_change_time():
    machine = Machine(times=Times(cutter_change=12.0))
    moves = from_lists([(0, 0, 0)] * 21, [Kind.CHANGE] * 20)
    found = calibrate([Run("rack", moves, (LoggedTime("rack", 20 * 19.0),))], machine)
    assert found.machine.times.cutter_change == pytest.approx(19.0, rel=4e-3)
    assert [one.factor.key for one in found.learned] == ["cutter_change", "feed_share"]  # the rest has no limit here
    assert found.factor("feed_share").value == pytest.approx(1, abs=1e-9)  # nothing is cut


def test_a_time_as_programmed_changes_nothing():
    runs = gathered([LoggedTime(n, machine_time(PROGRAMS[n], ROUTER).total_s) for n in EIGHT], PROGRAMS)
    found = calibrate(runs, ROUTER)
    assert np.abs(found.fit.logs).max() < 1e-6
    assert not found.outliers
    assert not found.strays
    assert found.spread < 0.015


# --- the solver against another one ----------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(3))
def test_the_fit_is_that_of_least_squares_on_residuals_written_separately(seed):
    rng = np.random.default_rng(seed)
    machine, pause = hidden(rng)
    entries = simulated(machine, EIGHT, rng, pause=pause)
    found = calibrate(gathered(entries, PROGRAMS), ROUTER, settings=False)
    a, j, t = ROUTER.axes, ROUTER.controller, ROUTER.times

    def candidate(f):
        acc, z, rapid, corner, blocks, change, start, feed = np.exp(f)
        axes = [
            replace(x, acceleration=x.acceleration * acc * (z if k == 2 else 1), rapid=x.rapid * rapid)
            for k, x in enumerate(a)
        ]
        controller = replace(
            j, corner_tolerance=j.corner_tolerance * corner, blocks_per_second=j.blocks_per_second * blocks
        )
        times = replace(t, cutter_change=t.cutter_change * change, spindle_start=t.spindle_start * start)
        return ROUTER.with_(axes=tuple(axes), controller=controller, times=times, feed_share=feed)

    def residuals(f):
        m = candidate(f)
        out = []
        for e in entries:
            sigma2 = found.fit.scale**2 + (1.0 / e.seconds) ** 2 * (1 + 1 / 12) + 0.005**2
            z = (math.log(e.seconds) - math.log(machine_time(PROGRAMS[e.program], m).total_s)) / math.sqrt(sigma2)
            out.append(math.copysign(math.sqrt((DEGREES + 1) * math.log1p(z * z / DEGREES)), z))
        return np.array(out + [x / s for x, s in zip(f, sigma, strict=True)])

    sigma = [o.factor.sigma for o in found.learned]
    bounds = [[math.log(o.factor.low) for o in found.learned], [math.log(o.factor.high) for o in found.learned]]
    starts = [np.zeros(8), *(s * np.array(sigma) * (np.arange(8) == 3) for s in (-1.5, 1.5))]  # corners have two hills
    ways = [least_squares(residuals, s, bounds=bounds, xtol=1e-10, ftol=1e-12, diff_step=1e-4) for s in starts]
    other = min(ways, key=lambda w: w.cost)
    assert (found.fit.logs - other.x) / sigma == pytest.approx(np.zeros(8), abs=0.01)
    assert (residuals(found.fit.logs) ** 2).sum() <= (other.fun**2).sum() + 1e-3


@given(st.lists(st.floats(-0.7, 0.7), min_size=8, max_size=8))
@settings(max_examples=15, deadline=None)
def test_times_of_candidates_are_the_engines_and_slopes_their_differences(f):
    names, factors = ("curved-rail", "gate-rail-ends", "rack"), factors_of(ROUTER)
    moves = [(PROGRAMS | exercises())[n] for n in names]
    clock, f = Clock(ROUTER, factors, moves), np.array(f)
    plain = [math.log(machine_time(m, with_factors(ROUTER, factors, f)).total_s) for m in moves]
    assert clock.logs(f) == pytest.approx(plain, abs=1e-12)
    for k in (6, 5):  # spindle start, cutter change: closed forms in the clock
        ends = [
            machine_time(moves[2], with_factors(ROUTER, factors, f + d * np.eye(8)[k])).total_s for d in (-1e-4, 1e-4)
        ]
        slope = (math.log(ends[1]) - math.log(ends[0])) / 2e-4
        assert clock.slopes(f)[2, k] == pytest.approx(slope, abs=1e-6)


# --- intervals against quadrature -------------------------------------------------------------------------------------


def posterior(seconds, logged, priors, points):
    """(.., s) to one marginal per factor: prior and Student's law on a grid, s summed out. Written from its formula."""
    grids = [np.linspace(-3.5 * p, 3.5 * p, points) for p in priors]
    mesh = np.meshgrid(*grids, indexing="ij")
    weight = np.zeros(mesh[0].shape)
    watch = math.hypot(math.sqrt(1 + 1 / 12) / logged, 0.005)
    off = math.log(logged) - np.log(seconds(*mesh))
    prior = np.exp(-0.5 * sum((m / p) ** 2 for m, p in zip(mesh, priors, strict=True)))
    for s in np.exp(np.linspace(math.log(0.01) - 3.2, math.log(0.01) + 3.2, 81)):  # log-normal about 1 %
        scale = math.hypot(s, watch)
        law = stats.t.pdf(off / scale, 4) / scale
        weight += law * prior * math.exp(-0.5 * (math.log(s / 0.01) / 0.8) ** 2)
    return grids, weight


def ends_of(grid, weight):
    below = (np.cumsum(weight) - weight / 2) / weight.sum()
    return np.interp([0.025, 0.975], below, grid)


def test_the_interval_of_one_free_factor_is_that_of_quadrature():
    moves = from_lists([(0, 0, 0)] * 21, [Kind.CHANGE] * 20)
    machine = Machine(times=Times(cutter_change=12.0))
    found = calibrate([Run("rack", moves, (LoggedTime("rack", 300.0),))], machine, keys=["cutter_change"])
    (grid,), weight = posterior(lambda f: 240 * np.exp(f), 300.0, [0.5], 4001)
    one, (low, high) = found.factor("cutter_change"), ends_of(grid, weight)
    assert [math.log(one.low), math.log(one.high)] == pytest.approx([low, high], abs=0.05 * (high - low))


def test_two_times_of_which_only_the_sum_is_known_have_the_bent_intervals_of_quadrature():
    moves = read_text("G21 G90 G0 Z5\n" + "T1 M6\nM3 S18000\nM5\n" * 6 + "M2\n").moves
    machine = Machine(axes=(Axis(6000, 6000, 500),) * 3, times=Times(6.0, 6.0))
    rest = machine_time(moves, machine).total_s - 6 * 12
    keys = ["cutter_change", "spindle_start"]
    logged = round(rest + 6 * 13.0)
    found = calibrate([Run("visits", moves, (LoggedTime("visits", float(logged)),))], machine, keys=keys)
    grids, weight = posterior(lambda a, b: rest + 36 * np.exp(a) + 36 * np.exp(b), logged, [0.5, 0.7], 601)
    for k, key in enumerate(keys):
        one, (low, high) = found.factor(key), ends_of(grids[k], weight.sum(axis=1 - k))
        assert [math.log(one.low), math.log(one.high)] == pytest.approx([low, high], abs=0.08 * (high - low))
    assert found.knowledge.tied == (("cutter_change", "spindle_start"),)
    sums = 6 * (np.exp(found.fit.draws) * 6).sum(axis=1)
    assert sums.std() < 0.05 * sums.mean()  # what they do together is known


@given(st.floats(-2, 2), st.floats(0.2, 3), st.floats(0.05, 0.95))
@settings(max_examples=20, deadline=None)
def test_two_kinds_of_machine_count_by_their_odds(middle, wide, share):
    at = (np.arange(4000) + 0.5) / 4000
    one, two = stats.norm.ppf(at), stats.norm.ppf(at, middle, wide)
    low, high = within([(one, share), (two, 1 - share)])

    def below(x):
        return share * stats.norm.cdf(x) + (1 - share) * stats.norm.cdf(x, middle, wide)

    assert below(low) == pytest.approx(0.025, abs=1e-3)
    assert below(high) == pytest.approx(0.975, abs=1e-3)


def test_where_jerk_and_low_acceleration_look_alike_the_interval_holds_both():
    gradual = ROUTER.with_(controller=replace(ROUTER.controller, jerk=6000.0))
    runs = gathered(simulated(gradual, EIGHT[:4], np.random.default_rng(3)), PROGRAMS)
    found, alone = calibrate(runs, ROUTER), calibrate(runs, ROUTER, settings=False)
    assert found.jerk < 3  # not clear: it is not taken
    one, other = found.factor("acceleration"), alone.factor("acceleration")
    assert other.high < 1 < one.high  # the record's acceleration is the hidden machine's own
    assert one.low < found.machine.axes[0].acceleration / 800 < one.high
    kept = {f.name: (f.low, f.high) for f in found.fields()}
    assert kept["axes.x.acceleration"] == pytest.approx((800 * one.low, 800 * one.high))


# --- what is said of it ----------------------------------------------------------------------------------------------


def test_a_planted_outlier_is_named_and_hardly_moves_the_answer():
    rng = np.random.default_rng(5)
    machine, _ = hidden(rng)
    entries = simulated(machine, (*EIGHT, "heron-edge", "top-rail-ends"), rng)
    bad = [replace(e, seconds=round(1.4 * e.seconds)) if e.program == "rail-ends" else e for e in entries]
    without = calibrate(gathered([e for e in entries if e.program != "rail-ends"], PROGRAMS), ROUTER, settings=False)
    found = calibrate(gathered(bad, PROGRAMS), ROUTER, settings=False)
    assert found.outliers == ("rail-ends",)
    assert next(p for p in found.programs if p.program == "rail-ends").weight < 0.1
    wide = np.array([o.high / o.low for o in without.learned])
    moved = np.abs(found.fit.logs - without.fit.logs) / (np.log(wide) / 3.92)
    assert moved.max() < 0.5  # standard deviations of each factor
    rest = [p.error_after for p in found.programs if p.program != "rail-ends"]
    assert np.abs(rest).max() < 0.04


def test_one_wrong_entry_among_several_of_a_program_is_named_alone():
    runs = [LoggedTime("panels", s, row=k) for k, s in enumerate((580.0, 582.0, 790.0, 579.0), start=2)]
    found = calibrate(gathered(runs, PROGRAMS), ROUTER, settings=False)
    assert [e.row for e in found.strays] == [4]
    assert found.programs[0].logged == pytest.approx(581, abs=3)
    assert not found.outliers


def test_what_each_program_has_once_cannot_be_told_apart_until_one_has_it_more_often():
    rng = np.random.default_rng(1)
    more = {**PROGRAMS, "rack": read_text("G21 G90 G0 Z5\n" + "T1 M6\nT2 M6\n" * 4 + "M3 S18000\nM5\nM2\n").moves}
    machine = ROUTER.with_(times=Times(20.0, 9.0))
    once = calibrate(gathered(simulated(machine, EIGHT, rng, more), more), ROUTER, settings=False)
    both = calibrate(gathered(simulated(machine, [*EIGHT, "rack"], rng, more), more), ROUTER, settings=False)
    assert ("cutter_change", "spindle_start") in once.knowledge.tied
    assert once.factor("spindle_start").high / once.factor("spindle_start").low > 4
    assert ("cutter_change", "spindle_start") not in both.knowledge.tied
    assert both.machine.times.cutter_change == pytest.approx(20, abs=1)
    assert both.machine.times.spindle_start == pytest.approx(9, abs=2.5)


def test_programs_without_something_say_nothing_of_it():
    names = ("end-rail-grooves", "rail-grooves", "muntin-grooves")
    entries = [LoggedTime(n, machine_time(PROGRAMS[n], ROUTER).total_s) for n in names]
    found = calibrate(gathered(entries, PROGRAMS), ROUTER, settings=False)
    assert {"block_rate", "corner_tolerance"} <= set(found.knowledge.silent)
    assert found.knowledge.separated < 4
    assert found.knowledge.left["block_rate"] == pytest.approx(1, abs=0.01)
    for one in found.learned:  # what is called silent hardly changes the times though it is far off
        if one.factor.key in found.knowledge.silent:
            other = with_factors(found.machine, [one.factor], [one.factor.sigma])
            share = [
                machine_time(PROGRAMS[n], other).total_s / machine_time(PROGRAMS[n], found.machine).total_s
                for n in names
            ]
            assert np.abs(np.array(share) - 1).max() < 0.02


def test_the_program_to_time_next_teaches_what_was_promised():
    rng = np.random.default_rng(2)
    machine = with_factors(ROUTER, factors_of(ROUTER), np.log([0.6, 1.0, 0.8, 0.5, 0.8, 1.5, 1.2, 0.95]))
    entries = simulated(machine, ("bottom", "lid-outline", "panels"), rng)
    now = calibrate(gathered(entries, PROGRAMS), ROUTER, archive=PROGRAMS, settings=False)
    sigmas = {}
    for p in (now.next[0], now.next[-1]):
        others = [m for n, m in PROGRAMS.items() if n != p.program]
        clock = Clock(ROUTER, [o.factor for o in now.learned], others)
        extra = LoggedTime(p.program, machine_time(PROGRAMS[p.program], now.machine).total_s)
        then = calibrate(gathered([*entries, extra], PROGRAMS), ROUTER, settings=False)
        slopes = clock.slopes(then.fit.logs)
        sigmas[p] = float(np.sqrt(np.einsum("ik,kl,il->i", slopes, then.fit.covariance, slopes)).mean())
    best, worst = sigmas
    assert sigmas[best] < sigmas[worst]
    assert best.after < 0.95 * best.before
    assert best.after == pytest.approx(sigmas[best], rel=0.3)


def fine_circle(radius, feed, turns):
    """Circles of chords 0.3 mm long, as a carving's lines have them."""
    n = int(2 * math.pi * radius / 0.3)
    angle = np.arange(turns * n + 1) * 2 * math.pi / n
    points = np.column_stack([radius * np.cos(angle), radius * np.sin(angle), np.zeros_like(angle)])
    return from_lists(points, [Kind.LINE] * (turns * n), feed=feed)


def test_carvings_tell_whether_the_control_follows_fine_chords():
    programs = {**PROGRAMS, **{f"round-{r}": fine_circle(r, 6000.0, 45) for r in (2, 4)}}
    truth = ROUTER.with_(controller=replace(ROUTER.controller, chord_curvature="speed", blocks_per_second=2000.0))
    record = ROUTER.with_(controller=replace(ROUTER.controller, blocks_per_second=2000.0))
    names = [*EIGHT[:4], "round-2", "round-4"]
    found = calibrate(gathered(simulated(truth, names, np.random.default_rng(0), programs), programs), record)
    assert set(found.bends) == {"off", "speed", "share"}
    assert found.machine.controller.chord_curvature in ("speed", "share")
    assert found.bends["off"] < -3
    assert "controller.chord_curvature" in {f.name for f in found.fields()}
    plain = calibrate(gathered(simulated(record, names, np.random.default_rng(0), programs), programs), record)
    assert plain.machine.controller.chord_curvature == "off"


def test_gradual_acceleration_is_taken_where_the_times_ask_for_it_and_only_there():
    gradual = ROUTER.with_(controller=replace(ROUTER.controller, jerk=4000.0))
    names = (*EIGHT, "heron-edge", "top-rail-ends", "end-panels")
    runs = gathered(simulated(gradual, names, np.random.default_rng(4)), PROGRAMS)
    found, without = calibrate(runs, ROUTER), calibrate(runs, ROUTER, settings=False)
    assert found.jerk > 3
    jerk, assumed = found.factor("jerk"), found.start.controller.jerk
    assert jerk.low * assumed < 4000 < jerk.high * assumed
    assert {f.name: f.record for f in found.fields()}["controller.jerk"] == math.inf
    assert (
        np.abs([p.error_after for p in found.programs]).max() < np.abs([p.error_after for p in without.programs]).max()
    )
    plain = calibrate(gathered(simulated(ROUTER, names, np.random.default_rng(4)), PROGRAMS), ROUTER)
    assert plain.jerk < 3
    assert math.isinf(plain.machine.controller.jerk)


# --- a hidden machine of another kind --------------------------------------------------------------------------------


def exercises():
    """Programs that each ask for one thing: with them and the demo's, every factor can be told from every other."""
    zig = [(20.0 * k, 20.0 * (k % 2), 0) for k in range(81)]
    flat = [(15.0 * k, 3.0 * (k % 2), 0) for k in range(121)]
    fine = [(0.05 * k, 0, 0) for k in range(8001)]
    deep = [(0, 0, -12.0 * (k % 2)) for k in range(121)]
    short = [(8.0 * (k % 2), 0, 0) for k in range(161)]
    wide = [(600.0 * (k % 2), 300.0 * (k % 3), 0) for k in range(81)]
    lines = [(900.0 * (k % 2), 5.0 * k, 0) for k in range(31)]
    out = {
        "zigzag": from_lists(zig, [Kind.LINE] * 80, feed=8000.0),
        "slow zigzag": from_lists(zig, [Kind.LINE] * 80, feed=2500.0),
        "flat zigzag": from_lists(flat, [Kind.LINE] * 120, feed=10000.0),
        "fine": from_lists(fine, [Kind.LINE] * 8000, feed=12000.0),
        "deep": from_lists(deep, [Kind.RAPID] * 120),
        "deep cuts": from_lists(deep, [Kind.LINE] * 120, feed=3000.0),
        "short": from_lists(short, [Kind.RAPID] * 160),
        "wide": from_lists(wide, [Kind.RAPID] * 80),
        "lines": from_lists(lines, [Kind.LINE] * 30, feed=5000.0),
    }
    texts = {"rack": "T1 M6\nT2 M6\n" * 6, "starts": "M3 S18000\nM5\n" * 8}
    return out | {n: read_text(f"G21 G90 G0 Z5\n{text}M2\n").moves for n, text in texts.items()}


def pseudo_true(machine, pause, own):
    """What is "true" for a fitted factor: where the fitted kind comes nearest to the hidden machine.

    Least squares of the logarithms over every program there is, each timed once and without noise, no prior; what the
    hidden machine itself has only says where to begin. By scipy, not by the fit that is judged.
    """
    pool = list((PROGRAMS | exercises()).values())
    kind = ROUTER.with_(controller=replace(ROUTER.controller, jerk=500 / BUILDS_UP))
    clock = Clock(kind, factors_of(kind), pool)
    logs = np.log([really(m, machine, pause) for m in pool])
    begin = [math.log(own[f.key]) for f in clock.factors]
    found = least_squares(
        lambda f: clock.logs(f) - logs, begin, jac=clock.slopes, x_scale=[f.sigma for f in clock.factors]
    )
    return {f.key: float(v) for f, v in zip(clock.factors, found.x, strict=True)}, found.fun


def figures(machine, pause):
    """Factors that a hidden machine itself has, the pauses counted where they stand."""
    axes, times = machine.axes, machine.times
    return {
        "acceleration": axes[0].acceleration / 800,
        "z_acceleration": axes[2].acceleration / 500 / (axes[0].acceleration / 800),
        "rapid": axes[0].rapid / 20000,
        "corner_tolerance": machine.controller.corner_tolerance / 0.03,
        "block_rate": machine.controller.blocks_per_second / 500,
        "jerk": machine.controller.jerk / (500 / BUILDS_UP),
        "cutter_change": (times.cutter_change + pause) / 12,
        "spindle_start": (times.spindle_start + 2 * pause) / 4,  # each start has its stop
        "feed_share": machine.feed_share,
    }


def trial(seed, whole=False, again=AGAIN, misses=0.0):
    """One hidden machine, eight programs logged: errors and cover of the others; of each factor cover and width.

    Runs of a program differ by ``again``, and each program takes longer or shorter by ``misses`` for no reason that
    the engine knows (sigmas of the logarithm).
    """
    rng = np.random.default_rng(seed)
    machine, pause = hidden(rng)
    names = [str(n) for n in rng.permutation(list(PROGRAMS))]
    entries = simulated(machine, names[:8], rng, pause=pause, most=3, again=again)
    if misses:
        off = {n: math.exp(misses * rng.normal()) for n in names}
        entries = [replace(e, seconds=float(round(e.seconds * off[e.program]))) for e in entries]
    found = calibrate(gathered(entries, PROGRAMS), ROUTER)
    unseen = [PROGRAMS[n] for n in names[8:]]
    logged = np.array([really(PROGRAMS[n], machine, pause) * (off[n] if misses else 1.0) for n in names[8:]])
    before, after = (np.array([machine_time(m, k).total_s for m in unseen]) for k in (ROUTER, found.machine))
    inside = np.abs(np.log(after / logged)) < 1.96 * found.sigma_of(unseen)
    factors = {}
    if whole:
        own = figures(machine, pause)
        truth, missed = pseudo_true(machine, pause, own)
        assert np.abs(missed).max() < 0.2
        for key, true in truth.items():
            low, high = found.settled.open([key])
            factors[key] = (low <= true <= high, low <= math.log(own[key]) <= high, high - low)
    return np.abs(before / logged - 1), np.abs(after / logged - 1), inside, factors, found


def test_programs_never_logged_are_timed_within_three_per_cent_on_a_machine_of_another_kind():
    out = [trial(seed) for seed in range(200, 208)]
    before, after, inside = (np.concatenate([o[k] for o in out]) for k in range(3))
    assert before.mean() > 0.08
    assert after.mean() < 0.03
    assert inside.mean() > 0.85


def test_the_true_figures_of_a_machine_of_another_kind_are_its_own_where_it_has_them():
    machine, pause = hidden(np.random.default_rng(300))
    own = figures(machine, pause)
    truth, _ = pseudo_true(machine, pause, own)
    for key in ("acceleration", "rapid", "corner_tolerance", "block_rate", "jerk", "feed_share"):
        assert truth[key] == pytest.approx(math.log(own[key]), abs=0.1)
    machine, _ = hidden(np.random.default_rng(301))
    own = figures(machine, 0.0)  # without pauses it is of the fitted kind: exactly
    truth, missed = pseudo_true(machine, 0.0, dict.fromkeys(own, 1.0))
    assert [truth[k] for k in own] == pytest.approx([math.log(v) for v in own.values()], abs=1e-3)
    assert np.abs(missed).max() < 1e-4


@pytest.mark.benchmark
@pytest.mark.parametrize(("again", "misses"), [(AGAIN, 0.0), (0.0, 0.0), (AGAIN, MISSES)])
def test_intervals_cover_what_they_should(again, misses):
    out = [trial(seed, whole=True, again=again, misses=misses) for seed in range(100)]
    before, after, inside = (np.concatenate([o[k] for o in out]) for k in range(3))
    print(f"\nruns of one program differ by {again:.1%}, programs by {misses:.1%}; unseen programs: before "
          f"{before.mean():.1%}, after {after.mean():.2%} mean, {np.median(after):.2%} median")  # fmt: skip
    print(f"their 95 % intervals cover {inside.mean():.1%}; worst seed {max(o[1].mean() for o in out):.1%}")
    print(f"jerk, not in the record, is taken in {sum(o[4].jerk > 3 for o in out)} of 100")
    hits = {}
    for key in out[0][3]:
        hits[key], own = (sum(bool(o[3][key][k]) for o in out) for k in (0, 1))
        width = math.exp(float(np.median([o[3][key][2] for o in out])))
        known = [o[3][key][0] for o in out if key not in o[4].knowledge.silent]
        print(f"{key}: covers {hits[key]} of 100 (the machine's own {own}), median width a factor of {width:.2f}, "
              f"where the programs say something of it {sum(known)} of {len(known)}")  # fmt: skip
    assert before.mean() > 0.08
    assert after.mean() < 0.03
    assert 0.88 <= inside.mean() <= 0.99
    # the feed's interval is too wide: it held in all of 100 with and without misses, and README says so
    assert all(88 <= h <= (100 if key == "feed_share" else 99) for key, h in hits.items()), hits


@pytest.mark.benchmark
def test_intervals_are_as_wide_as_they_say_on_a_machine_of_the_same_kind():
    factors, hits = factors_of(ROUTER), np.zeros(8)
    for seed in range(100):
        rng = np.random.default_rng(1000 + seed)
        logs = np.array([rng.normal(0, f.sigma) for f in factors])
        machine = with_factors(ROUTER, factors, logs)
        names = [str(n) for n in rng.permutation(list(PROGRAMS))[:8]]
        entries = simulated(machine, names, rng, most=3, again=AGAIN)
        found = calibrate(gathered(entries, PROGRAMS), ROUTER, settings=False)
        hits += [o.low <= math.exp(f) <= o.high for o, f in zip(found.learned, logs, strict=True)]
    print("\nsame kind:", {f.key: int(h) for f, h in zip(factors, hits, strict=True)})
    assert (hits >= 88).all()


# --- input -----------------------------------------------------------------------------------------------------------


def test_times_are_read_with_what_they_were_rounded_to(tmp_path):
    table = tmp_path / "times.csv"
    table.write_text("program,time,note\npanels,754 s,\npanels,12.5 min,by eye\nbottom,2 min 14 s,\nlid,1 h 2 min,\n")
    got = [(e.program, e.seconds, round(e.step, 6), e.note) for e in read_times(table)]
    assert got == [
        ("panels", 754.0, 1.0, ""), ("panels", 750.0, 6.0, "by eye"), ("bottom", 134.0, 1.0, ""),
        ("lid", 3720.0, 60.0, ""),
    ]  # fmt: skip


@given(seconds=st.integers(1, 20_000))
@settings(max_examples=30, deadline=None)
def test_minutes_and_seconds_are_the_same_time_as_seconds(seconds, tmp_path_factory):
    table = tmp_path_factory.mktemp("t") / "times.csv"
    table.write_text(f"program,time\na,{seconds} s\na,{seconds // 60} min {seconds % 60} s\n")
    one, two = read_times(table)
    assert one.seconds == two.seconds == seconds


def test_every_fault_of_a_table_of_times_is_placed(tmp_path):
    table = tmp_path / "times.csv"
    table.write_text("program,time\npanels,754\n,3 s\nbottom,0 s\nlid,3 parsec\nrail,5 min later\n")
    faults = faults_of(lambda: read_times(table))
    assert [(f.row, f.field) for f in faults] == [
        (2, "time"), (3, "program"), (4, "time"), (5, "time"), (6, "time"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("action", "word"),
    [
        (lambda: calibrate([Run("blind", BLIND, (LoggedTime("blind", 5.0),))], ROUTER), "'blind' is unknown"),
        (lambda: calibrate([], ROUTER), "no time is logged"),
        (lambda: gathered([], PROGRAMS), "no time is logged"),
        (lambda: gathered([LoggedTime("none", 5.0), LoggedTime("panels", -1.0)], PROGRAMS), "'none' is not there"),
        (lambda: calibrate(gathered([LoggedTime("panels", 5.0)], PROGRAMS), Machine(), keys=["jerk"]), "nothing of"),
    ],
)
def test_what_cannot_be_calibrated_is_refused(action, word):
    with pytest.raises(InputError) as caught:
        action()
    assert word in str(caught.value)
    assert all(f.remedy for f in caught.value.faults)
