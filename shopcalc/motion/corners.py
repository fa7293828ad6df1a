"""Speed through corners."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from shopcalc.moves import Floats

if TYPE_CHECKING:
    from shopcalc.machines import Controller

#: Numbers of the corner rules in the compiled loops.
RULES = {"none": 0, "tolerance": 1, "speed_jump": 2, "stop": 3}


def corner_speed_squared(before: Floats, after: Floats, controller: Controller, accelerations: Floats) -> Floats:
    """Greatest squared speed through corners between straight tangents.

    Parameters
    ----------
    before, after : (m, k) float
        Unit tangents into and out of each corner; columns after the third are further axes, by what they travel for
        each mm [-, deg/mm].
    controller : Controller
        Its corner rule: tolerance D, speed jump J, stop or none.
    accelerations : (k,) float
        Of the axes [mm/s2, deg/s2].

    Returns
    -------
    (m,) float
        Squared speed [mm2/s2]; inf where the corner limits nothing.

    Notes
    -----
    With d = after - before, n = d/|d|, h = sqrt((1 + before.after)/2): *tolerance* v^2 = a_n R, R = D h/(1 - h),
    a_n = min A_k/|n_k| (an arc that touches both legs and passes the corner at distance D); *speed jump*
    v = min J_k/|d_k|. 1 - h is taken from |d|^2 so that nearly straight corners keep their digits. A further axis
    counts for the tolerance when it has an acceleration, and no jump is known of it.

    References
    ----------
    Jeon (2011), as derived from the tangent arc (geometry).
    """
    from shopcalc.motion import kernels

    before, after = (np.ascontiguousarray(t, dtype=float) for t in (before, after))
    count = before.shape[1]
    inverse = np.zeros((2, count))
    with np.errstate(all="ignore"):
        inverse[0] = 1.0 / np.asarray(accelerations, dtype=float)
        inverse[1, :3] = 1.0 / np.asarray(controller.corner_speed_jump)
        counted = (np.arange(count) < 3) | (inverse[0] > 0)
        out = np.empty(len(before))
        tolerance = float(controller.corner_tolerance)
        kernels.corner_speeds2(before, after, inverse, counted, RULES[controller.corner], tolerance, out)
    return out
