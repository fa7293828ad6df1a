"""The least that any layout can cost: areas, lengths and widths that must suffice."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from shopcalc.stock.layout import Item, Piece

_MANY = 60.0  # seconds; the solver's stop, never reached by the sizes a shop meets


def bound(pieces: Sequence[Piece], items: Sequence[Item], kerf: float, *, turnable: bool = False) -> float:
    """The least that any layout of these pieces can cost.

    Parameters
    ----------
    pieces : sequence of Piece
        All of which find a place.
    items : sequence of Item
        To cut from.
    kerf : float
        [mm]
    turnable : bool
        Whether pieces may be turned.

    Returns
    -------
    float
        In the unit of the items' cost.

    Notes
    -----
    Each piece and each clear room is thought larger by a kerf to the right and above; then areas must suffice, for
    pieces of at least each length (width) on rooms of at least that length (width) too; and pieces wider than half of
    the widest room cannot lie side by side, so their lengths must suffice as well. The integer programme's own bound.
    """
    from scipy.optimize import Bounds, LinearConstraint, milp

    if not pieces:
        return 0.0
    size = np.array([(p.length, p.width) for p in pieces])
    if turnable:
        size = np.sort(size, axis=1)
    rooms = [np.array([(r[2], r[3]) for r in i.clear]).reshape(-1, 2) for i in items]
    if turnable:
        rooms = [np.sort(r, axis=1) for r in rooms]
    size, rooms = size + kerf, [r + kerf + 2e-2 for r in rooms]
    rows, need = [], []
    for axis in (0, 1):
        for least in np.unique(size[:, axis]):
            rows.append([float((r[r[:, axis] >= least].prod(axis=1)).sum()) for r in rooms])
            need.append(float(size[size[:, axis] >= least].prod(axis=1).sum()))
    if not turnable:
        for axis in (0, 1):
            half = max(float(r[:, axis].max(initial=0.0)) for r in rooms) / 2
            rows.append([float(r[:, 1 - axis].sum()) for r in rooms])
            need.append(float(size[size[:, axis] > half, 1 - axis].sum()))
    cost = np.array([i.cost for i in items])
    top = np.array([min(i.count, len(pieces)) for i in items], float)
    fits = LinearConstraint(np.array(rows), np.array(need) * (1 - 1e-9), np.inf)
    found = milp(
        cost, integrality=np.ones(cost.size, dtype=np.int64), bounds=Bounds(0, top), constraints=fits,
        options={"node_limit": 50, "time_limit": _MANY},
    )  # fmt: skip
    least = getattr(found, "mip_dual_bound", None)
    return max(float(least), 0.0) if least is not None and math.isfinite(least) else 0.0
