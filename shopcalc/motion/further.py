"""Further axes A B C U V W, which few machines have."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from shopcalc.motion.corners import corner_speed_squared
from shopcalc.moves import Floats, Kind, Moves

if TYPE_CHECKING:
    from shopcalc.machines import Machine

_ROTARY = "abc"


def further_axes(
    moves: Moves, machine: Machine, tangents: Floats, length: Floats, asked: Floats, allowed: Floats, accel: Floats,
    gain: Floats, held: NDArray[np.uint8], speed2: Floats, why: NDArray[np.uint8],
) -> None:  # fmt: skip
    """Let further axes bound speeds, accelerations and corners, in place.

    Parameters
    ----------
    moves : Moves
        With positions of further axes.
    machine : Machine
        Its ``more_axes``; an axis it does not know limits nothing.
    tangents : (n, 6) float
        Unit directions of x, y and z at start and end of each move; 0 where they stand.
    length, asked, allowed, accel, gain, held, speed2, why
        As the engine has them for x, y and z.

    Notes
    -----
    The feed counts along x, y and z; where they stand along u, v and w; where these stand, too, along a, b and c in
    degrees per minute. Each further axis travels by a share of that length, which its limits bound; a corner where
    the share changes is a corner of that axis, too. Where the feed changes what it counts, the machine stops.

    References
    ----------
    NISTIR 6556 (2000), section 2.1.2.5: what the feed rate counts along.
    """
    letters = sorted(moves.extra)
    travel = np.diff(np.stack([moves.extra[letter] for letter in letters], axis=1), axis=0)
    turning = np.array([letter.lower() in _ROTARY for letter in letters])
    straight, turned = (np.linalg.norm(travel[:, which], axis=1) for which in (~turning, turning))
    goes = moves.kind <= Kind.ARC
    counts = np.select([length > 0, goes & (straight > 0), goes & (turned > 0)], [1, 2, 3], 0)  # what the feed counts
    length[:] = np.select([counts == 2, counts == 3], [straight, turned], length)
    share = travel / np.where(counts > 0, length, 1.0)[:, None]
    share[counts == 0] = 0.0
    rapid = moves.kind == Kind.RAPID
    acceleration = [a.acceleration for a in machine.axes]
    for k, letter in enumerate(letters):
        part = np.abs(share[:, k])
        axis = machine.more_axes.get(letter.lower())
        acceleration.append(axis.acceleration if axis else math.inf)
        if axis is None:
            continue
        used = np.where(part > 0, part, 1.0)
        top = np.where(part > 0, np.where(rapid, axis.rapid, axis.feed) / 60.0 / used, math.inf)
        held[top < allowed] = 1
        np.minimum(allowed, top, out=allowed)
        np.minimum(accel, np.where(part > 0, axis.acceleration / used, math.inf), out=accel)
    gain[:] = np.where(counts > 0, 2.0 * accel * np.where(counts > 0, length, 1.0), 0.0)
    if len(moves) < 2:
        return
    before = np.concatenate([tangents[:-1, 3:], share[:-1]], axis=1)
    after = np.concatenate([tangents[1:, :3], share[1:]], axis=1)
    corner = corner_speed_squared(before, after, machine.controller, np.asarray(acceleration))
    slower = np.minimum(allowed[:-1], allowed[1:]) ** 2
    stop = (counts[:-1] != counts[1:]) | (counts[1:] == 0) | moves.exact_stop[:-1]
    if machine.controller.stop_between_rapid_and_feed:
        stop |= rapid[:-1] != rapid[1:]
    inner, reason = speed2[1:-1], why[1:-1]
    known = (counts[:-1] == 1) & (counts[1:] == 1)  # the corner in x, y and z bounds it, too
    inner[~known], reason[~known] = math.inf, 0
    for cap, name in ((slower, 0), (corner, 1), (np.where(stop, 0.0, math.inf), 4)):
        lower = cap < inner
        reason[lower] = name
        np.minimum(inner, cap, out=inner)
