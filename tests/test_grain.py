"""Modes of cutting against rotated vectors, numerical integration and what turning the work over may not change."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from shopcalc.cutting import grain as g
from shopcalc.errors import InputError

angles = st.floats(-10, 10)
helices = st.floats(-1.2, 1.2)
grains = st.builds(g.grain_vector, st.sampled_from(["flat", "edge", "end"]), angles, st.floats(-1.5, 1.5))
directions = st.sampled_from(["climb", "conventional"])


def turn_about(axis, angle):
    """Rotation matrix (Rodrigues), counter-clockwise about an axis."""
    x, y, z = np.asarray(axis) / np.linalg.norm(axis)
    k = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    return np.eye(3) + math.sin(angle) * k + (1 - math.cos(angle)) * k @ k


@given(st.sampled_from(["flat", "edge", "end"]), angles, st.floats(-1.5, 1.5))
def test_grain_vectors_are_unit_and_lie_as_said(station, angle, dip):
    v = g.grain_vector(station, angle, dip)
    assert np.linalg.norm(v) == pytest.approx(1)
    upright = math.cos(dip) if station == "end" else math.sin(dip)
    assert v[2] == pytest.approx(upright, abs=1e-12)


@given(grains, angles, helices, st.floats(0.1, math.pi / 2))
def test_shares_are_shares(grain, angle, helix, slope):
    for modes in (g.flute_modes(grain, angle, helix, slope), g.end_modes(grain, angle)):
        assert modes.sum() == pytest.approx(1)
        assert np.all(modes >= 0)


@given(grains, angles, helices, st.floats(0.1, math.pi / 2))
def test_flute_modes_by_rotating_a_flute_into_place(grain, angle, helix, slope):
    """A flute pointing left is tilted about its motion, slanted in its cutting face, then turned clockwise."""
    motion, up = np.array([1.0, 0, 0]), np.array([0, 0, 1.0])
    edge = turn_about(motion, slope) @ np.array([0, 1.0, 0])  # level and outward, raised by the slope
    normal = turn_about(motion, slope) @ np.array([0, 0, -1.0])
    slant = turn_about(normal, helix)  # leans the rising edge towards the motion, as down-cut flutes do
    across, along = slant @ motion, slant @ edge
    assert along @ motion == pytest.approx(math.sin(helix), abs=1e-12)
    spin = turn_about(up, -angle)
    wanted = [(spin @ v @ np.array(grain)) ** 2 for v in (across, along, normal)]
    assert g.flute_modes(grain, angle, helix, slope) == pytest.approx(np.array(wanted), abs=1e-9)


@given(grains, angles, angles)
def test_turning_work_and_flute_together_changes_nothing(grain, angle, turned):
    """Clockwise angle of the flute, clockwise turn of the work."""
    other = turn_about([0, 0, 1], -turned) @ np.array(grain)
    assert g.flute_modes(tuple(other), angle + turned, 0.4) == pytest.approx(g.flute_modes(grain, angle, 0.4), abs=1e-9)
    assert g.end_modes(tuple(other), angle + turned) == pytest.approx(g.end_modes(grain, angle), abs=1e-9)


@given(angles, angles, st.floats(0, 1.2))
def test_hand_of_the_helix_matters_only_where_grain_dips_or_sides_slope(lie, angle, helix):
    for station in ("flat", "end"):
        grain = g.grain_vector(station, lie)
        up, down = (g.flute_modes(grain, angle, h) for h in (-helix, helix))
        assert up == pytest.approx(down, abs=1e-9)
    dips = g.grain_vector("flat", 0.0, 0.5)
    assert g.flute_modes(dips, 0.0, -0.5) == pytest.approx([1, 0, 0], abs=1e-12)  # an up-cut lifts along the fibres
    assert g.flute_modes(dips, 0.0, 0.5) == pytest.approx([math.cos(1) ** 2, math.sin(1) ** 2, 0], abs=1e-12)


@given(grains, angles, helices)
def test_fibres_have_no_head_and_no_tail(grain, angle, helix):
    back = tuple(-v for v in grain)
    assert g.flute_modes(back, angle, helix) == pytest.approx(g.flute_modes(grain, angle, helix), abs=1e-12)
    for direction in ("climb", "conventional"):
        assert g.lie_at_wall(back, direction) == g.lie_at_wall(grain, direction)


@settings(max_examples=40)
@given(grains, st.floats(0.02, 1), st.floats(2, 50), directions, helices)
def test_mean_modes_against_quadrature(grain, share, diameter, direction, helix):
    entry, leave = (float(v) for v in g.arc(share * diameter, diameter, direction))
    chip = quad(math.sin, entry, leave)[0]
    wanted = [
        quad(lambda a, j=j: math.sin(a) * g.flute_modes(grain, a, helix)[j], entry, leave)[0] / chip for j in range(3)
    ]
    got = g.mean_flute_modes(grain, share * diameter, diameter, direction, helix)
    assert got == pytest.approx(np.array(wanted), abs=1e-8)


@given(st.floats(0.01, 1), angles, st.floats(-1.5, 1.5))
def test_climbing_in_mirrored_work_is_cutting_conventionally(share, angle, dip):
    """Mirror the work left for right."""
    here = g.mean_flute_modes(g.grain_vector("flat", angle, dip), share * 10, 10, "climb")
    there = g.mean_flute_modes(g.grain_vector("flat", -angle, dip), share * 10, 10, "conventional")
    assert here == pytest.approx(there, abs=1e-9)


def test_arcs_end_at_the_wall():
    assert g.arc(3, 12, "conventional")[0] == 0
    assert g.arc(3, 12, "climb")[1] == pytest.approx(math.pi)
    for direction in ("climb", "conventional"):
        entry, leave = g.arc(np.array([3.0, 12.0]), 12, direction)
        assert np.degrees(leave - entry) == pytest.approx([60, 180])


@pytest.mark.parametrize("direction", ["climb", "conventional"])
@pytest.mark.parametrize("degrees", [10, 45, 80])
def test_lie_at_the_wall_by_following_a_fibre(degrees, direction):
    """A fibre that starts in the wall just behind the edge: if it comes out of the wall ahead, it is with the grain."""
    for sign in (1, -1):
        v = np.array(g.grain_vector("flat", math.radians(sign * degrees)))
        motion, off_wall = (np.array([1, 0, 0]), np.array([0, -1, 0])) if direction == "conventional" else (
            np.array([-1, 0, 0]),
            np.array([0, 1, 0]),
        )  # fmt: skip
        ahead = v if v @ motion > 0 else -v
        assert g.lie_at_wall(tuple(v), direction) == ("with" if ahead @ off_wall > 0 else "against")


@pytest.mark.parametrize("grain", [g.grain_vector("flat"), g.grain_vector("flat", math.pi / 2), g.grain_vector("end")])
def test_straight_grain_is_neither(grain):
    assert g.lie_at_wall(grain, "climb") == g.lie_at_wall(grain, "conventional") == "neither"


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: g.grain_vector("sideways"), "flat, edge or end"),
        (lambda: g.grain_vector("flat", math.nan), "finite angles"),
        (lambda: g.arc(3, 12, "up"), "climb or conventional"),
        (lambda: g.arc(13, 12, "climb"), "12 mm"),
    ],
)
def test_bad_input_is_refused_with_a_remedy(call, words):
    with pytest.raises(InputError, match=words):
        call()
