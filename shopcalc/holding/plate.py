"""The fixture plate: the program that drills a bolt pattern and its stop pins into a plate under the work.

The blank lies with its corner at x = y = 0 against two pins along x and one along y: six points fix a body, three
under it, two and one at its sides (kinematics of a rigid body, any textbook of fixtures). Turned over, the same holes
and pins serve, for the pattern is its own mirror image.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from shopcalc.cutting.engagement import refuse, require_positive
from shopcalc.gcode import read_text, write_program
from shopcalc.holding.bolts import Bodies, BoltPattern
from shopcalc.holding.collisions import met
from shopcalc.holding.fixtures import Fixture
from shopcalc.holding.keep_outs import cylinder
from shopcalc.machines import Machine
from shopcalc.motion import machine_time
from shopcalc.moves import Floats, Moves
from shopcalc.paths import Cutting, bore, program
from shopcalc.units import System, write, write_time

_RIM = 15.0  # mm of plate beyond whatever is drilled
_STEP = 5.0  # mm; by so much a pin is moved along its edge where it would be met


@dataclass(frozen=True, eq=False)
class FixturePlate:
    """A plate drilled for one blank.

    Parameters
    ----------
    text : str
        The program; x = y = 0 at the blank's corner, z = 0 at the plate's top.
    moves : Moves
        As read back from it.
    seconds : float
        At the machine [s].
    bolts, pins : (n, 2) float
        Middles of their holes [mm].
    insert, pin : float
        Diameters of their holes [mm].
    depth : float
        Of all holes [mm].
    low, high : (2,) float
        Corners of the least plate [mm].
    """

    text: str
    moves: Moves
    seconds: float
    bolts: Floats
    pins: Floats
    insert: float
    pin: float
    depth: float
    low: tuple[float, float]
    high: tuple[float, float]

    def says(self, system: System = "metric") -> tuple[str, ...]:
        """In sentences.

        Parameters
        ----------
        system : {"metric", "inch"}
            What the reader thinks in.
        """

        def told(v: float) -> str:
            return write(v, "length", system)

        at = "; ".join(", ".join(told(round(v, 1)) for v in p) for p in self.pins.tolist())
        sides = [far - near for near, far in zip(self.low, self.high, strict=True)]
        return (
            f"plate at least {told(sides[0])} by {told(sides[1])}, its lower left corner {told(-self.low[0])} and "
            f"{told(-self.low[1])} outside the blank's; thicker than {told(self.depth)}",
            f"{len(self.bolts)} holes of {told(self.insert)} for the bolts, {len(self.pins)} of {told(self.pin)} for "
            f"pins at x, y: {at}",
            f"{write_time(self.seconds)} at the machine",
        )


def plate_program(
    pattern: BoltPattern, pin: Fixture, settings: Sequence[Cutting], machine: Machine, *, insert: float, depth: float,
    work: Sequence[tuple[Moves, Bodies]], thickness: float, system: System = "metric",
) -> FixturePlate:  # fmt: skip
    """Write the program of a fixture plate, and read it back.

    Parameters
    ----------
    pattern : BoltPattern
        From ``bolt_pattern``.
    pin : Fixture
        A round stop; its holes are as wide as it is.
    settings : sequence of Cutting
        That of the bolts' holes, and that of the pins'; may be one cutter.
    machine : Machine
        It runs on.
    insert, depth : float
        Diameter of the bolts' holes; depth of all [mm].
    work : sequence of (Moves, ToolBody or mapping)
        Both programs the plate is for, as ``bolt_pattern`` took them: pins are moved along their edge until no move
        comes nearer than the pattern's margin.
    thickness : float
        Of the blank [mm].
    system : {"metric", "inch"}
        What the reader of its comments thinks in.

    Returns
    -------
    FixturePlate
        Its program rises before anything else moves; cutters are called by number, holes in the order of the pattern.

    Raises
    ------
    InputError
        When a cutter does not fit or reach, a pin is not round, has no free place, or a bolt stands where a pin must.
    """
    require_positive(insert=insert, depth=depth, thickness=thickness)
    if pin.diameter <= 0 or pin.height <= 0:
        refuse(f"'{pin.id}' is no round pin", "take a stop with a diameter and a height")
    pins = _pins(pattern, pin, work, thickness)
    apart = np.hypot(*(pins[:, None] - pattern.places[None]).transpose(2, 0, 1)).min()
    if apart < (insert + pin.diameter) / 2 + 3.0:
        refuse(f"a bolt stands only {apart:.1f} mm from a pin", "keep bolts further from the blank's edge")
    operations = [
        (c, bore(c, [(float(x), float(y)) for x, y in at], diameter=wide, depth=depth))
        for c, at, wide in zip(settings, (pattern.places, pins), (insert, pin.diameter), strict=True)
    ]
    low = np.minimum(pins.min(axis=0) - pin.diameter / 2, 0.0) - _RIM
    high = np.maximum(pins.max(axis=0) + pin.diameter / 2, (pattern.length, pattern.width)) + _RIM
    text = write_program(
        program(operations), title="fixture plate", notes=_notes(pattern, depth, system),
        dwell_unit=machine.controller.dwell_unit,
    )  # fmt: skip
    read = read_text(text, "fixture plate", machine)
    corner, far = (float(low[0]), float(low[1])), (float(high[0]), float(high[1]))
    return FixturePlate(
        text, read.moves, machine_time(read.moves, machine).total_s, pattern.places, pins, insert, pin.diameter, depth,
        corner, far,
    )  # fmt: skip


def _notes(pattern: BoltPattern, depth: float, system: System) -> list[str]:
    """What stands in its head: where zero is, and what can hurt."""
    size = " by ".join(write(v, "length", system) for v in (pattern.length, pattern.width))
    return [
        f"for a blank of {size}, turned about {pattern.about}",
        "x and y zero: the blank's corner, where two sides meet the pins; z zero: the plate's top",
        f"plate thicker than {write(depth, 'length', system)}, or the table is drilled",
        "hold the plate outside all holes and the ways between them and from zero; in those ways clamps lower than the "
        "safe height",
        "guard and dust extraction on",
        "clear dust from pins and holes before every blank",
        "the marked speed of the cutter is never exceeded; the makers' instructions come first",
        "first run in the air with z zero raised; hand at the stop",
    ]


def _pins(pattern: BoltPattern, pin: Fixture, work: Sequence[tuple[Moves, Bodies]], thickness: float) -> Floats:
    """Two pins along x and one along y, each as near as may be to where it guides best."""
    long, wide, r = pattern.length, pattern.width, pin.diameter / 2
    wanted = [(float(round(0.15 * long)), 0), (float(round(0.85 * long)), 0), (float(round(0.5 * wide)), 1)]
    out = []
    for along, axis in wanted:
        limit = (0.0, long / 2, long) if axis == 0 else (0.0, wide, wide)
        low, high = (limit[1], limit[2]) if axis == 0 and along > long / 2 else (limit[0], limit[1])
        steps = np.arange(np.ceil((low + r - along) / _STEP), np.floor((high - r - along) / _STEP) + 1) * _STEP
        ticks = along + steps[np.argsort(np.abs(steps), kind="stable")]
        places = np.stack([ticks, np.full(len(ticks), -r)][:: 1 if axis == 0 else -1], axis=1)
        keeps = [cylinder(str(k), float(x), float(y), pin.diameter, bottom=-thickness, top=pin.height - thickness)
                 for k, (x, y) in enumerate(places)]  # fmt: skip
        taken = np.any([met(moves, bodies, keeps, margin=pattern.margin) for moves, bodies in work], axis=0)
        free = np.flatnonzero(~taken)
        if not len(free):
            refuse("no pin finds a place along an edge that both programs leave free",
                   "leave more waste round the part, or take lower pins")  # fmt: skip
        out.append(places[free[0]])
    return np.array(out)
