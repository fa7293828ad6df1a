"""Runs of plain lines executed at once: the same moves as line by line, or fewer lines taken."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shopcalc.gcode.arcs import centre_from_radius, sweep_about
from shopcalc.gcode.modal import FARTHEST, Modal
from shopcalc.gcode.plain import PLAIN
from shopcalc.moves import PLANE_AXES, Floats, Kind


@dataclass(frozen=True)
class Run:
    """What came of a run.

    Parameters
    ----------
    taken : int
        Lines that were executed; the next one needs care.
    blocks : int
        Those of them that held words.
    rows : (n,) int
        Which line each move comes from, counted from 0.
    kind : (n,) uint8
        As in ``Moves``.
    ends : (n, 3) float
        Where each move ends [mm].
    feed : (n,) float
        [mm/min].
    centres : (m, 3) float
        Of the arcs among them [mm].
    sweeps : (m,) float
        [rad].
    feedless : int
        Lines and arcs without a known feed.
    """

    taken: int
    blocks: int
    rows: NDArray[np.int64]
    kind: NDArray[np.uint8]
    ends: Floats
    feed: Floats
    centres: Floats
    sweeps: Floats
    feedless: int


def execute(state: Modal, values: Floats, arc_tolerance: float, *, feedless: bool) -> Run | None:
    """Execute plain lines up to the first that needs care, and bring the state up to there.

    Parameters
    ----------
    state : Modal
        Changed in place.
    values : (m, 10) float
        As ``PlainLines.values``.
    arc_tolerance : float
        Greatest difference of an arc's radii at its two ends [mm].
    feedless : bool
        Whether moves without a known feed may pass, because one was reported already.
    """
    n = len(values)
    mode = _carry(values[:, PLAIN.index("G")], float(state.motion))
    feed = _carry(values[:, PLAIN.index("F")] * state.scale, state.feed)
    has = ~np.isnan(values[:, :7])
    given, offsets, by_radius = has[:, :3], has[:, 3:6], has[:, 6]
    p, q, axial = PLANE_AXES[state.plane]
    arcs = mode >= 2
    centred = offsets[:, p] | offsets[:, q]
    moving = given.any(axis=1)
    turning = arcs & (moving | offsets.any(axis=1) | by_radius)
    careful = ~arcs & (offsets.any(axis=1) | by_radius)
    careful |= turning & ((centred == by_radius) | offsets[:, axial])
    path = np.empty((n + 1, 3))
    path[0] = state.at
    for k in range(3):
        column = values[:, k] * state.scale
        if state.absolute:
            path[1:, k] = _carry(column + state.offset[k], state.at[k])
        else:
            path[1:, k] = state.at[k] + np.cumsum(np.nan_to_num(column))
    careful |= ~(np.abs(path[1:]) < FARTHEST).all(axis=1)
    careful |= (np.abs(values[:, 3:7]) * state.scale >= FARTHEST).any(axis=1)
    kept = turning | (path[1:] != path[:-1]).any(axis=1)
    unknown = (mode > 0) & kept & np.isnan(feed)
    if not feedless:
        careful |= unknown
    arc_rows = np.flatnonzero(turning & ~careful)
    start, end, clockwise = path[arc_rows], path[arc_rows + 1], mode[arc_rows] == 2
    centre = start.copy()
    for k in (p, q):
        centre[:, k] += np.nan_to_num(values[arc_rows, 3 + k] * state.scale)
    radii = values[arc_rows, 6] * state.scale
    if len(r := np.flatnonzero(~np.isnan(radii))):
        centre[r], chord = centre_from_radius(start[r], end[r], radii[r], state.plane, clockwise[r])
        careful[arc_rows[r[(chord == 0.0) | (np.abs(radii[r]) < chord / 2.0 - arc_tolerance)]]] = True
    first = np.hypot(start[:, p] - centre[:, p], start[:, q] - centre[:, q])
    last = np.hypot(end[:, p] - centre[:, p], end[:, q] - centre[:, q])
    careful[arc_rows[(first == 0.0) | ~(np.abs(first - last) <= arc_tolerance)]] = True
    taken = int(np.argmax(careful)) if careful.any() else n
    if taken == 0:
        return None
    rows = np.flatnonzero(kept[:taken])
    kind = np.minimum(mode[rows], Kind.ARC).astype(np.uint8)
    m = int(np.searchsorted(arc_rows, taken))
    sweeps = sweep_about(start[:m], end[:m], centre[:m], state.plane, clockwise[:m])
    run = Run(
        taken, int((~np.isnan(values[:taken])).any(axis=1).sum()), rows, kind, path[1:][rows],
        np.where(kind == Kind.RAPID, math.nan, feed[rows]), centre[:m], sweeps, int(unknown[:taken].sum()),
    )  # fmt: skip
    state.motion, state.feed, state.at = int(mode[taken - 1]), float(feed[taken - 1]), path[taken].copy()
    return run


def _carry(column: Floats, before: float) -> Floats:
    """Each value, or the last one given before it."""
    known = ~np.isnan(column)
    last = np.maximum.accumulate(np.where(known, np.arange(len(column)), -1))
    out: Floats = np.where(last >= 0, column[np.maximum(last, 0)], before)
    return out
