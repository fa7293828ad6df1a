"""Moves: lengths, extents and joins."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopcalc.moves import PLANE_AXES, Kind, from_lists, join


def test_lengths_by_kind():
    m = from_lists([(0, 0, 0), (3, 4, 0), (3, 4, 12), (3, 4, 12)], [Kind.RAPID, Kind.LINE, Kind.DWELL], feed=60)
    assert m.lengths.tolist() == [5, 12, 0]
    assert (m.rapid_length, m.cutting_length) == (5, 12)
    assert np.isnan(m.feed).tolist() == [True, False, True]


@given(
    st.integers(0, 2), st.floats(0.1, 50), st.floats(-math.pi, math.pi), st.floats(-2 * math.pi, 2 * math.pi),
    st.floats(-20, 20),
)  # fmt: skip
def test_extents_of_an_arc_are_those_of_its_points(plane, radius, begin, sweep, rise):
    """Against ten thousand points along the arc, to the sagitta between them."""
    p, q, axial = PLANE_AXES[plane]
    t = np.linspace(0, 1, 10_001)
    points = np.zeros((len(t), 3))
    points[:, p], points[:, q] = radius * np.cos(begin + sweep * t), radius * np.sin(begin + sweep * t)
    points[:, axial] = rise * t
    m = from_lists([points[0], points[-1]], [Kind.ARC], feed=1, arcs={0: ((0, 0, 0), sweep, plane)})
    sagitta = radius * (1 - math.cos(sweep / 20_000)) + 1e-9
    assert np.allclose(m.extents(), np.stack([points.min(0), points.max(0)], 1), atol=sagitta + 1e-6)
    assert m.lengths[0] == pytest.approx(np.linalg.norm(np.diff(points, axis=0), axis=1).sum(), rel=1e-5, abs=1e-6)


def test_joining_keeps_arcs_in_their_place():
    a = from_lists([(0, 0, 0), (5, 0, 0)], [Kind.LINE], feed=60, cutter=1, labels={1: "SQ6"})
    b = from_lists([(5, 0, 0), (5, 0, 0)], [Kind.ARC], feed=60, arcs={0: ((4, 0, 0), 2 * math.pi, 0)}, cutter=2)
    m = join([a, b, b])
    assert m.arc_index.tolist() == [1, 2]
    assert m.cutting_length == pytest.approx(5 + 4 * math.pi)
    assert m.labels == {1: "SQ6"}


def test_a_gap_is_refused():
    a = from_lists([(0, 0, 0), (5, 0, 0)], [Kind.LINE], feed=60)
    with pytest.raises(ValueError, match="gap of 5 mm"):
        join([a, a])


def test_nothing_joins_to_nothing():
    assert len(join([])) == 0
    assert join([]).extents().tolist() == [[0, 0], [0, 0], [0, 0]]


def test_shifting_moves_arcs_too():
    m = from_lists([(5, 0, 0), (5, 0, 0)], [Kind.ARC], feed=60, arcs={0: ((4, 0, 0), 2 * math.pi, 0)})
    s = m.shifted((1, 2, 3))
    assert s.arc_radius.tolist() == m.arc_radius.tolist()
    assert np.allclose(s.extents(), m.extents() + np.array([[1, 1], [2, 2], [3, 3]]))
