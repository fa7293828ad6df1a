"""Push-off: how far the cutter stands off the wall when a flute passes it, which is the error left on the wall."""

from __future__ import annotations

import numpy as np

from shopcalc.cutting.deflection import Give, cutter_give
from shopcalc.cutting.engagement import Numbers, require_positive
from shopcalc.cutting.force import Load
from shopcalc.moves import Floats


def push_off(load: Load, give: Give, feed_per_tooth: Numbers, heights: Numbers) -> Floats:
    """Error left on the wall at heights above the tip.

    Parameters
    ----------
    load : Load
        Of the pass that leaves the wall; its direction says on which side that is.
    give : Give
        Springs in series with the cutter.
    feed_per_tooth : float or (...) float
        [mm/tooth].
    heights : float or (k,) float
        Above the tip, within the level [mm].

    Returns
    -------
    (..., k) float
        Positive where the cutter stands off and leaves wood on the wall, negative where it digs in [mm]. Linear in the
        feed per tooth.

    Notes
    -----
    Cutter and holder follow the force at the moment the flute passes that height of the wall; machine and work are too
    heavy to follow single flutes and yield to the mean sideways force of the turn. That split is reasoning from their
    natural frequencies, far above and far below the tooth's; it leaves out resonance, which sings.
    """
    quick, slow = parts(load, give, feed_per_tooth, heights)
    return quick + slow


def parts(load: Load, give: Give, feed_per_tooth: Numbers, heights: Numbers) -> tuple[Floats, Floats]:
    """The two parts of ``push_off``: of cutter and holder, and of machine and work.

    Parameters
    ----------
    load, give, feed_per_tooth, heights
        As there.

    Returns
    -------
    quick, slow : (..., k) float
        [mm].
    """
    require_positive(feed_per_tooth=feed_per_tooth)
    f = np.asarray(feed_per_tooth, dtype=float)[..., None]
    seen = np.atleast_1d(np.asarray(heights, dtype=float))
    off = 1.0 if load.direction == "climb" else -1.0  # the wall is on the right, or on the left
    constant, grows = load.mean_side
    slow = off * give.slow * (constant + grows * f) + np.zeros(len(seen))
    fixed, growing = np.empty(len(seen)), np.empty(len(seen))
    for i, height in enumerate(seen):
        where, edge, chip = load.at_wall(float(height))
        arm = cutter_give(load.cutter, where, height)[0] + give.quick
        fixed[i], growing[i] = arm @ edge, arm @ chip
    return off * (fixed + growing * f), slow
