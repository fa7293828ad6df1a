"""Speed of a calibration. Run by hand: python -m pytest -n 0 -m benchmark -s"""

import math
import time

import numpy as np
import pytest
from scipy.optimize import least_squares

from shopcalc.calibration import LoggedTime, calibrate, factors_of, gathered, with_factors
from shopcalc.calibration.sampling import DEGREES
from shopcalc.gcode import read_program
from shopcalc.motion import machine_time
from shopcalc.moves import Kind, from_lists
from shopcalc.shop import Shop, demo_folder

pytestmark = pytest.mark.benchmark
ROUTER = Shop.open().machine("router")
NAMES = ("panels", "lid-faces", "lid-lettering", "curved-rail", "rail-ends", "muntin-ends", "bottom", "gate-rail-ends")
COUNT = 300_000


def carving():
    """A walk of fine lines, as a relief has them: worse than one, for no two corners are alike."""
    points = np.cumsum(np.random.default_rng(0).normal(0, 0.3, (COUNT + 1, 3)), axis=0)
    return from_lists(points, [Kind.LINE] * COUNT, feed=4000.0)


def test_a_long_carving_is_calibrated_in_seconds_and_as_by_least_squares():
    programs = {n: read_program(demo_folder() / "programs" / f"{n}.nc").moves for n in NAMES} | {"carving": carving()}
    factors = factors_of(ROUTER)
    truth = with_factors(ROUTER, factors, np.log([0.7, 0.9, 0.8, 0.6, 0.7, 1.4, 1.2, 0.97]))
    runs = gathered(
        [LoggedTime(n, float(round(machine_time(m, truth).total_s))) for n, m in programs.items()], programs
    )
    ones = []
    for _ in range(5):
        begin = time.perf_counter()
        machine_time(programs["carving"], ROUTER)
        ones.append(time.perf_counter() - begin)
    begin = time.perf_counter()
    found = calibrate(runs, ROUTER)  # under four settings
    seconds = time.perf_counter() - begin
    fit, sigma = found.fit, np.array([f.sigma for f in factors])
    scale = np.hypot(fit.scale, fit.watch)

    def residuals(f):
        logs = np.log([machine_time(m, with_factors(ROUTER, factors, f)).total_s for m in programs.values()])
        off = (fit.y - logs) / scale
        return np.append(np.sign(off) * np.sqrt((DEGREES + 1) * np.log1p(off**2 / DEGREES)), f / sigma)

    begin = time.perf_counter()
    other = least_squares(residuals, np.zeros(len(factors)), xtol=1e-10, ftol=1e-10, diff_step=1e-4)
    apart = np.abs(fit.logs - other.x) / np.sqrt(np.diag(fit.covariance))
    print(
        f"\na carving of {COUNT} moves and eight programs: {seconds:.1f} s, {seconds / min(ones):.0f} runs of the "
        f"engine; least squares for one setting alone {time.perf_counter() - begin:.1f} s; apart by at most "
        f"{apart.max():.4f} standard deviations"
    )
    assert seconds / min(ones) < 1500  # 7000 before slopes were corrected from step to step
    assert apart.max() < 0.03
    assert math.isinf(found.machine.controller.jerk)
    assert found.machine.controller.chord_curvature == "off"
