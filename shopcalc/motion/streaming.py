"""Timing of programs too long to hold: pieces of moves in, sums out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from shopcalc.motion.planning import Start, plan
from shopcalc.motion.results import MotionTime, Sums, Totals
from shopcalc.moves import Moves, join

if TYPE_CHECKING:
    from shopcalc.machines import Machine


class Timing:
    """Times pieces of one program as they come, in memory that does not grow with it.

    Undecided moves are kept only until no future can change them: the plan is made once with a stop at the last move
    known and once open there, and what both agree on is handed on. All sums are those of ``machine_time``.

    Parameters
    ----------
    machine : Machine
        What runs the program.
    bands : float or sequence of float, optional
        Depth bands to sum by: height of each, or the ascending heights between them [mm].
    places : int
        How many slowest places to keep.
    on_window : callable, optional
        Is given the index of its first move and the MotionTime of each stretch once it is decided.
    window : int
        How many moves to gather before planning.

    Raises
    ------
    ValueError
        When a piece does not begin where the last one ended, or the depth bands are none.

    Example
    -------
    >>> from shopcalc.machines import Axis, Machine
    >>> from shopcalc.moves import Kind, from_lists
    >>> timing = Timing(Machine(axes=(Axis(6000, 6000, 500),) * 3))
    >>> timing.add(from_lists([(0, 0, 0), (50, 0, 0)], [Kind.LINE], feed=6000))
    >>> timing.add(from_lists([(50, 0, 0), (100, 0, 0)], [Kind.LINE], feed=6000))
    >>> round(timing.finish().total_s, 9)
    1.2
    """

    def __init__(
        self,
        machine: Machine,
        bands: float | Sequence[float] | None = None,
        places: int = 5,
        on_window: Callable[[int, MotionTime], None] | None = None,
        window: int = 16_384,
    ) -> None:
        self._machine, self._on_window, self._window = machine, on_window, max(1, window)
        self._sums = Sums(bands, places)
        self._start = Start()
        self._kept: list[Moves] = []
        self._count, self._undecided = 0, 0
        self._finished = False

    def add(self, moves: Moves) -> None:
        """Take the next piece.

        Parameters
        ----------
        moves : Moves
            Begins where the last piece ended.

        Raises
        ------
        ValueError
            When it does not, or after ``finish``.
        """
        if self._finished:
            raise ValueError("the program has ended: make a new Timing for another one")
        for begin in range(0, max(1, len(moves)), self._window):
            part = moves if len(moves) <= self._window else moves.part(begin, min(len(moves), begin + self._window))
            self._kept.append(part)
            self._count += len(part)
            # at least as many new moves as undecided ones, so that no move is planned over and over
            if self._count >= self._window + 2 * self._undecided:
                self._plan(final=False)

    def finish(self) -> Totals:
        """Let the program end here and say what it took.

        Raises
        ------
        ValueError
            When it has been called before.
        """
        if self._finished:
            raise ValueError("the program has ended already")
        self._plan(final=True)
        self._finished = True
        return self._sums.totals()

    def _plan(self, *, final: bool) -> None:
        moves = self._kept[0] if len(self._kept) == 1 else join(self._kept)
        time, done, self._start = plan(moves, self._machine, self._start, final=final)
        if self._on_window is not None and done:
            self._on_window(self._sums.moves, time)
        self._sums.add(time)
        self._kept = [moves.part(done, len(moves))]
        self._count = self._undecided = len(moves) - done
