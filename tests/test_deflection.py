"""Give and stress of a cutter against a beam of finite elements, beam theory by hand, and what more length must do."""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopcalc.cutters import Cutter
from shopcalc.cutting import deflection as d
from shopcalc.errors import InputError

STEPPED = Cutter("SQ", "", "square end", 6, 12, 2, 25, 90, 50)
THIN_SHANK = Cutter("BIG", "", "surfacing", 50, 12, 3, 12, 60, 40, body="steel")
BALL = Cutter("BALL", "", "ball", 6, 6, 2, 25, 60, 40)
TAPERED = Cutter(
    "TB", "", "tapered ball", 6, 6, 2, 30, 80, 45, tip_diameter=1.5, included_angle=math.radians(10.8)
)  # fmt: skip
VEE = Cutter("V", "", "V", 12, 6, 2, 10, 60, 30, included_angle=math.radians(60))
ALL_FLUTE = Cutter("F", "", "square end", 6, 6, 2, 30, 60, 30)
CUTTERS = [STEPPED, THIN_SHANK, BALL, TAPERED, VEE, ALL_FLUTE]

cutters = st.builds(
    lambda diameter, shank, flutes, plain, shape, body: Cutter(
        "R", "", shape, diameter, shank, 2, flutes, flutes + plain + 30, flutes + plain, body=body,
        tip_diameter=diameter / 3 if shape == "tapered ball" else 0.0,
        included_angle={"tapered ball": 0.2, "V": 1.0}.get(shape, 0.0),
    ),
    st.floats(1, 25), st.floats(3, 20), st.floats(3, 60), st.floats(0, 60),
    st.sampled_from(["square end", "ball", "tapered ball", "V", "core-box"]), st.sampled_from(["carbide", "steel"]),
)  # fmt: skip


def bar(cutter, height):
    """Diameter at a height above the tip: the shank, or four fifths of the shape's width."""
    if height > cutter.cutting_length:
        return cutter.shank
    half, most = cutter.included_angle / 2, cutter.diameter
    if cutter.shape == "V":
        wide = min(most, 2 * height * math.tan(half))
    elif cutter.shape in ("ball", "tapered ball"):
        r = (cutter.tip_diameter or most) / 2
        meets = r * (1 - math.sin(half))
        low = min(height, meets)
        wide = min(most, 2 * math.sqrt(low * (2 * r - low)) + 2 * max(0, height - meets) * math.tan(half))
    else:
        wide = most
    return max(0.8 * wide, 0.2 * most)


def beam(cutter, elements=400):
    """Inverse stiffness of a clamped beam of cubic finite elements: heights of its nodes, and give between them."""
    young = {"carbide": 600e3, "steel": 205e3}[cutter.body]
    step = cutter.stick_out - cutter.cutting_length
    plain = max(2, round(elements * step / cutter.stick_out)) if step > 0 else 0
    above, flutes = np.linspace(0, step, plain + 1)[:-1], np.linspace(step, cutter.stick_out, elements - plain + 1)
    x = np.concatenate([above, flutes])
    k = np.zeros((2 * len(x), 2 * len(x)))
    for i, (a, b) in enumerate(itertools.pairwise(x)):
        h = b - a
        ei = young * math.pi * bar(cutter, cutter.stick_out - (a + b) / 2) ** 4 / 64
        k[2 * i : 2 * i + 4, 2 * i : 2 * i + 4] += ei / h**3 * np.array([
            [12, 6 * h, -12, 6 * h], [6 * h, 4 * h * h, -6 * h, 2 * h * h],
            [-12, -6 * h, 12, -6 * h], [6 * h, 2 * h * h, -6 * h, 4 * h * h],
        ])  # fmt: skip
    give = np.linalg.inv(k[2:, 2:])[::2, ::2]  # clamped: the first node neither moves nor turns
    return cutter.stick_out - x[1:], give


@pytest.mark.parametrize("cutter", CUTTERS, ids=lambda c: c.id)
def test_give_against_finite_elements(cutter):
    heights, give = beam(cutter)
    some = np.array([30, 100, 180, 250, 320, 360, 399])
    got = d.cutter_give(cutter, heights[some].clip(0), heights[some].clip(0))
    assert got == pytest.approx(give[np.ix_(some, some)], rel=3e-3, abs=1e-3 * give.max())


@pytest.mark.parametrize("cutter", CUTTERS, ids=lambda c: c.id)
def test_body_is_what_the_shape_says(cutter):
    heights = np.linspace(0.01, cutter.stick_out, 57)
    assert d.body_diameter(cutter, heights) == pytest.approx([bar(cutter, h) for h in heights])


def test_stepped_bar_by_hand():
    """25 mm of a bar of 4.8 mm on 25 mm of 12 mm: the upper part bends by F and F x 25, and carries the lower along."""
    e, near, far = 600e3, math.pi * 12**4 / 64, math.pi * 4.8**4 / 64
    moved = 25**3 / (3 * e * near) + 25 * 25**2 / (2 * e * near)
    turned = 25**2 / (2 * e * near) + 25 * 25 / (e * near)
    wanted = moved + turned * 25 + 25**3 / (3 * e * far)
    assert d.cutter_give(STEPPED, 0, 0)[0, 0] == pytest.approx(wanted, rel=1e-3)


@given(cutters, st.floats(0, 1), st.floats(0, 1))
def test_a_force_here_moves_there_as_much_as_there_moves_here(cutter, a, b):
    """Maxwell."""
    here, there = a * cutter.stick_out, b * cutter.stick_out
    one, two = d.cutter_give(cutter, here, there)[0, 0], d.cutter_give(cutter, there, here)[0, 0]
    assert one == pytest.approx(two, rel=1e-12, abs=1e-18)
    assert one >= 0
    own = d.cutter_give(cutter, here, here)[0, 0] * d.cutter_give(cutter, there, there)[0, 0]
    assert one**2 <= own * (1 + 1e-9) + 1e-30  # no force moves another place more than its own allows (energy)


@given(cutters, st.floats(0, 1), st.floats(0.1, 60))
def test_more_stick_out_never_lowers_the_give(cutter, share, more):
    height = share * cutter.cutting_length
    longer = replace(cutter, stick_out=cutter.stick_out + more, overall_length=cutter.overall_length + more)
    before, after = (d.cutter_give(c, height, height)[0, 0] for c in (cutter, longer))
    assert after >= before * (1 - 2e-3)  # cells move when the bar grows
    assert np.isfinite(after)


@given(cutters, st.floats(0.05, 1), st.floats(0.05, 1))
def test_give_falls_towards_the_collet(cutter, a, b):
    low, high = sorted((a * cutter.stick_out, b * cutter.stick_out))
    at_low, at_high = (d.cutter_give(cutter, h, h)[0, 0] for h in (low, high))
    assert at_low >= at_high
    assert d.cutter_give(cutter, cutter.stick_out, 0)[0, 0] == 0


def test_many_heights_are_one_call():
    loaded, seen = np.array([0.0, 5.0, 20.0]), np.array([0.0, 12.0])
    together = d.cutter_give(TAPERED, loaded, seen)
    assert together.shape == (2, 3)
    for i, s in enumerate(seen):
        assert together[i] == pytest.approx([d.cutter_give(TAPERED, x, s)[0, 0] for x in loaded])


@pytest.mark.parametrize("cutter", [BALL, TAPERED, VEE], ids=lambda c: c.id)
def test_pointed_tips_stay_finite(cutter):
    give = d.cutter_give(cutter, [0.0, 0.01], [0.0, 0.01])
    assert np.all(np.isfinite(give))
    blunt = d.cutter_give(replace(cutter, shape="square end", tip_diameter=0.0, included_angle=0.0), 0.0, 0.0)[0, 0]
    assert give[0, 0] >= blunt
    assert np.isfinite(d.bending_stress(cutter, 20.0, 0.0))


# --- stress


def test_stress_by_hand():
    """32 M / (pi d^3). 100 N at 5 mm: the fluted end at 25 mm sees 20 mm of arm on 4.8 mm, the collet 45 on 12."""
    at_flutes, at_collet = 32 * 100 * 20 / (math.pi * 4.8**3), 32 * 100 * 45 / (math.pi * 12**3)
    assert at_flutes == pytest.approx(184.2, abs=0.05)
    assert at_collet == pytest.approx(26.5, abs=0.05)
    assert d.bending_stress(STEPPED, 100, 5) == pytest.approx(at_flutes)
    assert d.bending_stress(THIN_SHANK, 100, 5) == pytest.approx(32 * 100 * 35 / (math.pi * 12**3))
    assert d.bending_stress(ALL_FLUTE, 100, 5) == pytest.approx(32 * 100 * 25 / (math.pi * 4.8**3))


def test_stress_does_not_ask_which_way_and_takes_arrays():
    force, height = np.array([[-100.0], [50.0]]), np.array([2.0, 5.0, 20.0])
    many = d.bending_stress(STEPPED, force, height)
    assert many.shape == (2, 3)
    assert many[0] == pytest.approx(2 * many[1])
    assert many[0, 1] == pytest.approx(d.bending_stress(STEPPED, 100, 5))


@given(cutters, st.floats(0, 1), st.floats(1, 500))
def test_stress_is_the_greatest_of_all_sections(cutter, share, force):
    """Against 2000 sections from a fiftieth of the flutes up; those that are looked at may miss the peak by 3 %."""
    height = share * cutter.cutting_length
    sections = np.append(np.linspace(0.02 * cutter.cutting_length, cutter.stick_out, 2000), cutter.cutting_length)
    each = 32 * force * np.maximum(sections - height, 0) / (math.pi * d.body_diameter(cutter, sections) ** 3)
    assert d.bending_stress(cutter, force, height) == pytest.approx(each.max(), rel=0.03, abs=1e-9)


# --- work and springs


def test_work_stiffness_by_hand():
    """100 mm above the clamp, 100 x 20 mm, 11 000 and 800 MPa: I 66 667 mm4, so 4.545e-4 + 0.75e-4 mm/N."""
    bending = 100**3 / (3 * 11_000 * 100 * 20**3 / 12)
    shear = 1.2 * 100 / (800 * 100 * 20)
    assert bending == pytest.approx(4.545e-4, abs=1e-7)
    assert shear == pytest.approx(0.75e-4)
    assert d.work_stiffness(100, 100, 20) == pytest.approx(1 / (bending + shear))
    assert d.work_stiffness(0, 100, 20) == math.inf


@given(st.floats(1, 800), st.floats(10, 400), st.floats(5, 80))
def test_work_is_softer_the_higher_and_the_thinner(above, width, thickness):
    plain = d.work_stiffness(above, width, thickness)
    assert d.work_stiffness(1.1 * above, width, thickness) < plain
    assert d.work_stiffness(above, width, 0.9 * thickness) < plain
    assert d.work_stiffness(above, 2 * width, thickness) == pytest.approx(2 * plain)


def test_springs_in_series():
    assert d.Give(10_000, 2_500).quick == pytest.approx(1e-4)
    assert d.Give(10_000, 2_500).slow == pytest.approx(4e-4)
    assert d.Give(10_000, 2_500, 5_000).slow == pytest.approx(6e-4)


def test_bodies_differ():
    assert d.modulus(THIN_SHANK) < d.modulus(STEPPED)
    assert d.strength(THIN_SHANK) < d.strength(STEPPED)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: d.cutter_give(STEPPED, 51, 0), "50 mm"),
        (lambda: d.cutter_give(STEPPED, 0, -1), "from the tip"),
        (lambda: d.cutter_give(replace(STEPPED, stick_out=20), 0, 0), "never clamped"),
        (lambda: d.cantilever(50, 0, 600e3, 6), "length"),
        (lambda: d.Give(0, 100), "holder"),
        (lambda: d.Give(100, math.inf), "machine"),
        (lambda: d.Give(100, 100, 0), "work"),
        (lambda: d.work_stiffness(-1, 100, 20), "clamp"),
        (lambda: d.work_stiffness(10, 100, 0), "thickness"),
    ],
)
def test_bad_input_is_refused_with_a_remedy(call, words):
    with pytest.raises(InputError, match=words) as caught:
        call()
    assert all(f.remedy for f in caught.value.faults)
