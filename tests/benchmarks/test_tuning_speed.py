"""Speed of limits and tuning. Run by hand: python -m pytest -n 0 -m benchmark -s"""

import time

import numpy as np
import pytest

from shopcalc.cutting import limits
from shopcalc.cutting.tuning import Costs, ask, tune
from shopcalc.shop import Shop

pytestmark = pytest.mark.benchmark
SHOP = Shop.open()
TENON = {"station": "end", "grain": "end", "cut_depth": 63.5, "cut_width": 14.3}


def best_of(call, times=7):
    """Least seconds of several runs."""
    found = []
    for _ in range(times):
        start = time.perf_counter()
        call()
        found.append(time.perf_counter() - start)
    return min(found)


@pytest.mark.parametrize("cutter", ["SQ12L", "BALL6", "V60"])
def test_forty_thousand_settings_for_all_bounds(cutter):
    c = SHOP.cutter(cutter)
    cut = ask(c, SHOP.material("white-oak"), SHOP.machine("router"), station="flat", grain="30 deg", cut_depth=6.0,
              cut_width=4.0)  # fmt: skip
    rpm, feed = np.meshgrid(np.linspace(6000, 20000, 200), np.linspace(500, 10000, 200))

    def all_bounds():
        loads = limits.Loads(cut, limits.Pass(1, 1, 6.0, 4.0, "climb"))
        return [b.used for b in limits.bounds(loads, rpm, feed)]

    seconds = best_of(all_bounds)
    one_by_one = best_of(
        lambda: [limits.check(limits.Loads(cut, limits.Pass(1, 1, 6.0, 4.0, "climb")), 18000.0, 5000.0)], 3
    )
    count = len(all_bounds())
    print(
        f"\n{cutter}: {rpm.size} settings x {count} bounds in {1000 * seconds:.0f} ms; "
        f"one by one {one_by_one * rpm.size / seconds:.0f} times as long"
    )
    assert seconds < 0.15


@pytest.mark.parametrize(
    ("name", "cutter", "asked", "costs"),
    [
        ("tenon, quickest", "SQ12L", TENON, None),
        ("tenon, cheapest", "SQ12L", TENON, Costs.of(SHOP.rates)),
        ("groove, cheapest", "SQ6", {"station": "flat", "grain": "along", "cut_depth": 9.0, "cut_width": 9.5,
                                     "in_solid": True}, Costs.of(SHOP.rates)),
        ("tenon with a skim", "SQ12L", {**TENON, "skim": 0.5}, Costs.of(SHOP.rates)),
        ("ball too narrow for a clean chip", "BALL6", {"station": "flat", "grain": "across", "cut_depth": 1.0,
                                                       "cut_width": 0.6}, None),
    ],
)  # fmt: skip
def test_one_tuning(name, cutter, asked, costs):
    c, wood, machine = SHOP.cutter(cutter), SHOP.material("white-oak"), SHOP.machine("router")
    seconds = best_of(lambda: tune(c, wood, machine, costs=costs, **asked), 5)
    s = tune(c, wood, machine, costs=costs, **asked)
    print(f"\n{name}: {1000 * seconds:.0f} ms, engine asked {s.timed_points} times, out by {s.interpolation_error:.2%}")
    assert seconds < (0.15 if "ball" not in name and "skim" not in name else 1.0)
