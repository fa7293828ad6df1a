"""Speed and memory of reach and detail (python -m pytest -n 0 -m benchmark -s); beside full morphology."""

import math
import re
import subprocess
import sys
import time

import numpy as np
import pytest
from scipy import ndimage

from shopcalc.relief.heights import HeightMap
from shopcalc.relief.reach import Profile, between_pixels, centre_surface

pytestmark = pytest.mark.benchmark
PIXEL = 0.1
#: 60 pixels across.
SHAPES = {
    "ball": Profile(3.0, ball=3.0, half_angle=0.0),
    "tapered ball": Profile(3.0, ball=1.5, half_angle=math.radians(6)),
    "V, 60 degrees": Profile(3.0, flat=0.1, half_angle=math.radians(30)),
    "V, 90 degrees": Profile(3.0, half_angle=math.radians(45)),
    "square end": Profile(3.0, flat=3.0),
}
CHILD = """
import math, re, sys, time
from pathlib import Path
import numpy as np
from scipy import ndimage
from shopcalc.relief.detail import detail_left, smallest_detail
from shopcalc.relief.heights import HeightMap
from shopcalc.relief.reach import Profile, centre_surface

def peak():  # of this process alone [MB]
    return int(re.search(r"VmHWM:\\s*(\\d+)", Path("/proc/self/status").read_text())[1]) / 1000

cutter = Profile(3.175, ball=1.5875, half_angle=math.radians(5.4))
z = ndimage.gaussian_filter(np.random.default_rng(5).normal(size=(2000, 2000)), 8)
surface = HeightMap((z - z.max()) / np.ptp(z) * 10.0, 0.1)
detail_left(HeightMap(z[:40, :40].copy(), 0.1), cutter)
begin, alone = time.perf_counter(), peak()
tips = centre_surface(surface, cutter)
middle = time.perf_counter()
left = detail_left(surface, cutter).as_json()
end, most = time.perf_counter(), peak()
small = smallest_detail(surface)
print(middle - begin, end - middle, most, alone, time.perf_counter() - end, left["area_share"])
"""


def rough(size):
    """Slopes of 2 in the median, 10 mm deep."""
    z = ndimage.gaussian_filter(np.random.default_rng(1).normal(size=(size, size)), 5)
    return HeightMap((z - z.max()) / np.ptp(z) * 10.0, PIXEL)


def least(call, times):
    found = []
    for _ in range(times):
        begin = time.perf_counter()
        out = call()
        found.append(time.perf_counter() - begin)
    return min(found), out


@pytest.mark.parametrize("name", SHAPES)
def test_against_full_grey_dilation(name):
    surface, cutter = rough(512), SHAPES[name]
    y, x = np.mgrid[-30:31, -30:31]
    height = cutter.height(PIXEL * np.sqrt(x**2 + y**2))
    foot = np.isfinite(height)
    structure = -np.where(foot, height, 0.0)
    centre_surface(HeightMap(surface.z[:40, :40].copy(), PIXEL), cutter)  # compiling is not meant
    plain, expected = least(
        lambda: ndimage.grey_dilation(surface.z, footprint=foot, structure=structure, mode="constant", cval=-1e6), 2
    )
    ours, found = least(lambda: centre_surface(surface, cutter).z, 7)
    difference = float(np.abs(found - expected).max())
    print(
        f"\n{name}: {1000 * ours:.0f} ms, full dilation {1000 * plain:.0f} ms: {plain / ours:.0f} times; "
        f"largest difference {difference:g} mm; the grid itself at 45 degrees up to "
        f"{1000 * between_pixels(cutter, PIXEL, 1.0):.1f} um"
    )
    assert difference == 0.0
    assert plain / ours > 10


def test_four_million_pixels_with_a_tapered_ball():
    run = subprocess.run([sys.executable, "-c", CHILD], capture_output=True, text=True, check=True)
    tips, left, most, alone, small, share = (float(v) for v in re.findall(r"[-\d.e]+", run.stdout))
    print(
        f"\n2000 x 2000: centre surface {tips:.2f} s, detail left {left:.2f} s ({100 * share:.1f} % of the area), "
        f"peak {most:.0f} MB of which {alone:.0f} MB before; smallest detail {small:.1f} s"
    )
    assert tips + left < 4.0
    assert most < 1000
