"""Drilling cycles: sticky levels, repeats and the moves of each hole."""

from __future__ import annotations

from collections.abc import Iterable

from shopcalc.gcode.blocks import Block
from shopcalc.gcode.cycles import DWELLING, PECKING, Pecking, hole, pecks
from shopcalc.gcode.modal import FARTHEST
from shopcalc.gcode.moving import AXES, Mover
from shopcalc.gcode.reports import Word
from shopcalc.moves import PLANE_AXES, Floats, Kind, Stop

_MOST_REPEATS = 10_000
_MOST_MOVES = 2_000_000  # in a whole program: a slip in L or Q must not fill the memory


class Driller:
    """Expands drilling cycles into moves.

    Parameters
    ----------
    mover : Mover
        Makes them.
    """

    def __init__(self, mover: Mover) -> None:
        self.mover, self.moves = mover, 0

    def drill(self, block: Block, place: Word | None) -> None:
        """A drilling cycle, expanded into its moves; its holes lie across the plane in force.

        R is sticky, and the depth, Q and P too: as levels, so that a hole stays as deep under G91 as under G90.
        """
        mover, reports = self.mover, self.mover.reports
        s, d, code = mover.state, mover.state.drilling, mover.state.motion
        if s.feed_mode == 93:
            reports.refuse(place, "a drilling cycle under inverse time feed", "use G94")
        mover.need_units(place)
        axial = PLANE_AXES[s.plane][2]
        lift = float(s.at[axial])
        r, z = self._levels(block, place, axial)
        repeats = self._repeats(block)
        old = d.old_z if s.absolute else lift
        clear = max(old, r) if s.return_to_old else r
        self._count(repeats, pecks(r, z, d.peck if code in PECKING else 0.0), place)
        if repeats and lift < r:
            mover.to(Kind.RAPID, self._at(axial, r), place)
        across = "".join(letter for k, letter in enumerate(AXES) if k != axial)
        for _ in range(repeats):
            mover.to(Kind.RAPID, mover.target(block, across), place)
            self._hole(hole(code, r, z, clear, d.peck, d.dwell, self._pecking), axial, place)
        block.drop(AXES)

    @property
    def _pecking(self) -> Pecking:
        c = self.mover.controller
        return Pecking(c.peck_return == "clear", c.peck_restart, c.chip_break)

    def _at(self, axial: int, level: float) -> Floats:
        """Where the cutter is, at another level."""
        target = self.mover.state.at.copy()
        target[axial] = level
        return target

    def _levels(self, block: Block, place: Word | None, axial: int) -> tuple[float, float]:
        """Retract level and depth, from the block or from the cycle before it [mm]."""
        mover, reports = self.mover, self.mover.reports
        s, d, code = mover.state, mover.state.drilling, mover.state.motion
        r_word, z_word, q_word, p_word = (block.take(letter) for letter in f"R{AXES[axial]}QP")
        if r_word is not None:
            from_old = mover.controller.incremental_r == "old"
            base = s.offset[axial] if block.absolute("R", s.absolute) else d.old_z if from_old else s.at[axial]
            d.r = float(r_word.value * s.scale + base)
        if d.r is None:
            reports.refuse(place, "a drilling cycle without R (its retract level)", "add R")
        if z_word is not None:
            base = s.offset[axial] if block.absolute(AXES[axial], s.absolute) else d.r
            d.z = float(z_word.value * s.scale + base)
        if d.z is None:
            reports.refuse(place, f"a drilling cycle without {AXES[axial]} (its depth)", f"add {AXES[axial]}")
        if q_word is not None:
            d.peck = q_word.value * s.scale
        if p_word is not None:
            d.dwell = mover.seconds(p_word)
        if code in DWELLING and d.dwell == 0.0:
            reports.note(place, f"G{code} without P: no dwell at the bottom")
        for level, word in ((d.r, r_word), (d.z, z_word)):
            if not abs(level) < FARTHEST:
                reports.refuse(word or place, "the level is beyond any machine", "check the number and its point")
        if d.r < d.z:
            reports.refuse(
                place, f"the retract level R ({d.r:g} mm) lies below the depth ({d.z:g} mm)", "check R and the depth"
            )
        if code in PECKING and d.peck <= 0.0:
            reports.refuse(q_word or place, "a pecking cycle without Q (depth of a peck)", "add Q above zero")
        return d.r, d.z

    def _repeats(self, block: Block) -> int:
        reports = self.mover.reports
        word = block.take("LK")
        if word is None:
            return 1
        if word.value == 0:
            reports.note(word, f"a cycle with {word.letter}0 is not executed")
            return 0
        if word.value != int(word.value) or not 0 < word.value <= _MOST_REPEATS:
            reports.refuse(word, f"'{word.text}' repeats", f"write a whole number from 1 to {_MOST_REPEATS}")
        return int(word.value)

    def _count(self, repeats: int, count: int, place: Word | None) -> None:
        self.moves += repeats * (4 + 3 * count)
        if self.moves > _MOST_MOVES:
            self.mover.reports.refuse(
                place, f"the drilling cycles come to more than {_MOST_MOVES} moves", "check L and Q"
            )

    def _hole(self, steps: Iterable[tuple[Kind, float]], axial: int, place: Word | None) -> None:
        mover, s = self.mover, self.mover.state
        turning = s.spindle
        for kind, value in steps:
            if kind == Kind.DWELL:
                mover.stand(kind, value)
            elif kind == Kind.STOP:
                if value == Stop.PROGRAM_STOP:
                    mover.stand(kind, value)
                elif turning:
                    s.spindle = turning if value == Stop.SPINDLE_START else 0
                    mover.stand(kind, value)
            else:
                mover.to(kind, self._at(axial, value), place)
