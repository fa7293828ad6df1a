"""Does it hold: lift, slip, tipping and springing of a part under the fixtures placed, from newtons.

``cutting.limits`` judges a station by its whole clamp force; here each fixture counts where it presses, and each cut
where it is made. Friction is common practice without a source: wood on wood, paint and wax differ.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from shopcalc.cutting.cut import Hold, habit
from shopcalc.cutting.engagement import require_positive
from shopcalc.cutting.limits import Limit, Loads
from shopcalc.errors import Fault, raise_all
from shopcalc.holding.fixtures import Placed
from shopcalc.moves import Floats

GRAVITY = 9.80665  # m/s2, standard (definition)


@dataclass(frozen=True)
class Held:
    """A part and what holds it.

    Parameters
    ----------
    length, width, thickness : float
        Of the part, its corner at x = y = 0 [mm].
    mass : float
        [kg].
    placed : tuple of Placed
        What presses and stops it.
    friction : float or None
        Between part and what it lies on [-]; None for common practice.

    Raises
    ------
    InputError
        For every pad that does not stand on the part.
    """

    length: float
    width: float
    thickness: float
    mass: float
    placed: tuple[Placed, ...]
    friction: float | None = None

    def __post_init__(self) -> None:
        require_positive(length=self.length, width=self.width, thickness=self.thickness)
        faults = []
        for p in self.placed:
            x, y = p.pad
            if p.fixture.force > 0 and not (0 <= x <= self.length and 0 <= y <= self.width):
                message = (
                    f"'{p.name or p.fixture.id}' presses at x {x:g}, y {y:g} mm, beside the part of {self.length:g} by "
                    f"{self.width:g} mm"
                )
                faults.append(Fault(message, "put its pad on the part; its body may stand beside it"))
        raise_all(faults)

    @property
    def weight(self) -> float:
        """[N]."""
        return self.mass * GRAVITY

    @property
    def down(self) -> float:
        """All that presses the part down, its weight included [N]."""
        return self.weight + sum(self.presses(p) for p in self.placed)

    def presses(self, p: Placed) -> float:
        """What one fixture holds down with [N].

        Parameters
        ----------
        p : Placed
            A clamp no higher than the part presses its edge: it keeps it down by rubbing alone, on its own side only.
        """
        aside = p.fixture.kind == "clamp" and p.fixture.height > 0 and p.on + p.fixture.height <= 0
        return p.fixture.force * (self.rubs if aside else 1.0)

    @property
    def rubs(self) -> float:
        """The friction that counts [-]."""
        return habit("friction") if self.friction is None else self.friction

    def hold(self) -> Hold:
        """The same as one figure, for ``cutting.cut.ask``: tuning then keeps these clamps."""
        return Hold(self.down, self.rubs, self.thickness, min(self.length, self.width), "fixtures placed")


def forces_of(loads: Loads, rpm: float, feed: float) -> tuple[float, float]:
    """Greatest push within a turn and mean lift, at the high force.

    Parameters
    ----------
    loads : Loads
        Of the cut.
    rpm, feed : float
        [rev/min], [mm/min].

    Returns
    -------
    (float, float)
        [N], the lift not below zero.
    """
    per_tooth = feed / (rpm * loads.cut.cutter.flutes)
    constant, grows = loads.loads["high"].mean_lift
    return float(loads.greatest(np.asarray(per_tooth))), max(0.0, float(constant + grows * per_tooth))


def check_holding(
    held: Held, push: float, lift: float, at: Sequence[tuple[float, float]], *, height: float | None = None,
    greatest_spring: float | None = None, modulus: float | None = None,
) -> tuple[Limit, ...]:  # fmt: skip
    """Whether a part stays where it is while it is cut.

    Parameters
    ----------
    held : Held
        The part and its fixtures.
    push, lift : float
        Greatest sideways force in any direction, and force upwards, as from ``forces_of`` [N].
    at : sequence of (x, y)
        Places of the cut, the corners of what is cut at least [mm].
    height : float, optional
        Of the push over what the part lies on; None for its top [mm].
    greatest_spring : float, optional
        That may be given way between clamps [mm]; None for common practice of a glued wall.
    modulus : float, optional
        Of the wood along the span between clamps [MPa]; None for a middling hardwood along the grain, from memory.

    Returns
    -------
    tuple of Limit
        Lifts, slips, tips and springs, worst place and direction each, tightest first; hard ones keep the reserve of
        ``cutting.limits`` when they use less than 85 %.

    Notes
    -----
    Statics of a rigid part on a plane. *Lifts*: the lift against all that presses down. *Tips*: about each edge, the
    lift and the push at its height against every clamp and the weight, each at its distance. *Slips*: push and its
    turning about the middle of the pads, shared out by pressure and distance as in a group of bolts, against friction;
    what a stop blocks and bears does not slide, and three stops keep it from turning. *Springs*: between the two pads
    furthest apart a cut lies between, a beam on two supports, lift in the middle (all from any textbook of statics;
    definition).
    """
    require_positive(push=push)
    high = held.thickness if height is None else height
    stiff = habit("modulus.wood") if modulus is None else modulus
    spring = habit("push_off") if greatest_spring is None else greatest_spring
    places = np.asarray(list(at), dtype=float).reshape(-1, 2)
    inertia = held.width * held.thickness**3 / 12
    span = _span(held, places)
    down = max(held.down, 1e-9)
    slip, most = _slip(held, push, lift, places)
    over, against = _tip(held, push * high, lift, places)
    words = "fixtures: " + "; ".join(sorted({p.fixture.source or p.fixture.id for p in held.placed}) or ["none"])
    rubs = f"{words}; friction {held.rubs:g}, common practice, no source"
    wood = "modulus of the wood from memory" if modulus is None else "modulus as given"
    found = [
        _limit("lifts", lift, down, "N", words, "clamp harder, or take a straight or down-cut"),
        _limit("slips", slip, most, "N", rubs, "put stops against the push, clamp harder or nearer to the cut"),
        _limit("tips", over, against, "N mm", words, "clamp near the edge that rises, or hold the part lower"),
        _limit("springs", lift * span**3 / (48 * stiff * inertia), spring, "mm", f"beam between pads; {wood}",
               f"put a clamp or screw between those {span:.0f} mm apart", hard=False),
    ]  # fmt: skip
    return tuple(sorted(found, key=lambda x: -(x.used or 0.0)))


def _limit(name: str, value: float, bound: float, unit: str, source: str, remedy: str, *, hard: bool = True) -> Limit:
    return Limit(name, value, bound, value / bound if bound > 0 else math.inf, unit, hard, source, remedy)


def _pads(held: Held) -> tuple[Floats, Floats]:
    """(n, 2) places and (n,) forces of all that presses, the weight in the middle first."""
    pressing = [p for p in held.placed if p.fixture.force > 0]
    at = [(held.length / 2, held.width / 2), *(p.pad for p in pressing)]
    return np.array(at, dtype=float), np.array([held.weight, *(held.presses(p) for p in pressing)])


def _tip(held: Held, moment: float, lift: float, places: Floats) -> tuple[float, float]:
    """Overturning and holding moment about the worst edge [N mm]."""
    at, force = _pads(held)
    worst, most = (0.0, 1.0), 0.0
    for axis, edge, sign in ((0, 0.0, 1), (0, held.length, -1), (1, 0.0, 1), (1, held.width, -1)):
        arm = np.maximum(sign * (places[:, axis] - edge), 0.0)
        over = moment + lift * float(arm.max(initial=0.0))
        against = float(force @ (sign * (at[:, axis] - edge)))
        used = over / against if against > 0 else math.inf
        if used > most:
            worst, most = (over, against), used
    return worst


def _slip(held: Held, push: float, lift: float, places: Floats) -> tuple[float, float]:
    """Push that friction must bear, turning included, and what it bears [N]."""
    at, force = _pads(held)
    stops = [p for p in held.placed if p.stops is not None and p.fixture.bears > 0]
    angles = np.arange(64) * 2 * math.pi / 64
    left = 0.0
    for way in np.stack([np.cos(angles), np.sin(angles)], axis=1) * push:
        rest = way.copy()
        for p in stops:
            against = np.asarray(p.stops, dtype=float) / math.hypot(*(p.stops or (1.0, 0.0)))
            rest -= against * min(max(float(rest @ against), 0.0), p.fixture.bears)
        left = max(left, math.hypot(*rest))
    most = held.rubs * max(float(force.sum()) - lift, 0.0)
    if len(stops) >= 3 or most <= 0:
        return left, most
    middle = force @ at / max(float(force.sum()), 1e-9)
    own = np.array([held.length**2 + held.width**2, *(p.fixture.length**2 + p.fixture.width**2 for p in held.placed
                    if p.fixture.force > 0)]) / 12  # fmt: skip
    distance2 = ((at - middle) ** 2).sum(axis=1) + own
    arm = float(np.hypot(*(places - middle).T).max(initial=0.0))
    radius = math.sqrt(float(distance2.max()))
    turning = push * arm * radius * float(force.sum()) / max(float(force @ distance2), 1e-9)
    return left + turning, most


def _span(held: Held, places: Floats) -> float:
    """Greatest way along x between two neighbouring pads with a cut between them; the part's ends are free [mm]."""
    pads = sorted(p.pad[0] for p in held.placed if p.fixture.force > 0)
    if not pads:
        return held.length
    low, high = float(places[:, 0].min(initial=pads[0])), float(places[:, 0].max(initial=pads[-1]))
    spans = [b - a for a, b in itertools.pairwise(pads) if a < high and b > low]
    return max(spans, default=0.0)
