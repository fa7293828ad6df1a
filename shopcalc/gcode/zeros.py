"""Where the zeros lie that a program's positions count from, and where the machine's own places are.

Everything is kept in the frame of G54's zero, in which moves come out; it is known in machine coordinates only where
the machine's record says so.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np

from shopcalc.gcode.modal import Modal
from shopcalc.gcode.reports import Reports, Word
from shopcalc.moves import Floats

if TYPE_CHECKING:
    from shopcalc.machines import Machine

#: Numbers of the work zeros in the order in which G10 counts them (NISTIR 6556, section 3.5.5).
SYSTEMS = (54, 55, 56, 57, 58, 59, 59.1, 59.2, 59.3)


class Zeros:
    """Work zeros, the shift of G92, home.

    Parameters
    ----------
    state : Modal
        Its ``offset`` is kept up to date.
    machine : Machine or None
        What is known of its places.
    reports : Reports
        Where notes go.
    """

    def __init__(self, state: Modal, machine: Machine | None, reports: Reports) -> None:
        self._state, self._reports = state, reports
        self._in_machine = {k: np.array(v) for k, v in machine.work_zeros.items()} if machine is not None else {}
        self.frame: Floats | None = self._in_machine.get(54)  # where our frame's zero lies, in machine coordinates
        self.system: float = 54
        self._zeros: dict[float, Floats] = {54: np.zeros(3)}  # in our frame
        self._know_all()
        self.shift, self._saved, self._local = np.zeros(3), np.zeros(3), np.zeros(3)
        home = (machine.home, machine.second_home) if machine is not None else (None, None)
        self._homes: dict[int, Floats | None] = {
            28 + 2 * i: None if h is None else np.array(h) for i, h in enumerate(home)
        }
        self._named: dict[int, Floats] = {}  # homes that the program itself set, in our frame

    def _know_all(self) -> None:
        if self.frame is not None:
            for system, zero in self._in_machine.items():
                self._zeros.setdefault(system, zero - self.frame)

    def _update(self) -> None:
        self._state.offset = self._zeros.get(self.system, np.zeros(3)) + self._local + self.shift

    @property
    def moved(self) -> bool:
        """Whether the program itself has moved its zero (G52, G92) and not back."""
        return bool(self.shift.any() or self._local.any())

    # --- work zeros ------------------------------------------------------------------------------------------------

    def use(self, word: Word, system: float) -> None:
        """G54 to G59.3."""
        self.system = system
        if system not in self._zeros:
            message = f"where the zero of {word.text.upper()} lies is not known: taken as that of G54"
            self._reports.note(word, f"{message}; name it under 'places' of the machine")
        self._update()

    def set(self, word: Word, how: float, number: float, to: dict[int, float]) -> None:
        """G10 L2 (a zero in machine coordinates) or L20 (so that the cutter stands at the values given)."""
        system = self.system if number == 0 else SYSTEMS[int(number) - 1]
        if how == 20:
            zero = self._zeros.get(system, np.zeros(3)).copy()
            for k, value in to.items():
                zero[k] = self._state.at[k] - self.shift[k] - self._local[k] - value
            self._zeros[system] = zero
        elif self.frame is None and system == 54:
            self.frame = np.array([to.get(k, 0.0) for k in range(3)])
            self._know_all()
            self._reports.note(word, "the zero of G54 is set in the program: taken as where it lay before")
        else:
            before = self._in_machine.get(system, np.zeros(3))
            self._in_machine[system] = np.array([to.get(k, before[k]) for k in range(3)])
            if self.frame is None:
                self._reports.note(
                    word, "a zero in machine coordinates, and where that of G54 lies is not known: taken as 0"
                )
            else:
                self._zeros[system] = self._in_machine[system] - self.frame
        self._update()

    # --- G92 -------------------------------------------------------------------------------------------------------

    def move(self, to: dict[int, float]) -> None:
        """G92: the cutter stands at the values given."""
        zero = self._zeros.get(self.system, np.zeros(3)) + self._local
        for k, value in to.items():
            self.shift[k] = self._state.at[k] - zero[k] - value
        self._saved = self.shift.copy()
        self._update()

    def move_locally(self, to: dict[int, float]) -> None:
        """G52: positions count from a place in the work zero's frame; 0 takes it back (common practice, no source)."""
        for k, value in to.items():
            self._local[k] = value
        self._update()

    def forget(self, *, saved: bool) -> None:
        """G92.1 forgets what was saved, too; G92.2 does not."""
        self.shift = np.zeros(3)
        if saved:
            self._saved = np.zeros(3)
        self._update()

    def restore(self) -> None:
        """G92.3."""
        self.shift = self._saved.copy()
        self._update()

    # --- machine coordinates ---------------------------------------------------------------------------------------

    def of_machine(self, at: Iterable[float]) -> Floats | None:
        """A place given in machine coordinates, in our frame; None where that is not known."""
        return None if self.frame is None else np.asarray(list(at), dtype=float) - self.frame

    def home(self, code: float) -> Floats | None:
        """Where G28 or G30 goes, in our frame; None where that is not known."""
        if int(code) in self._named:
            return self._named[int(code)]
        home = self._homes[int(code)]
        return None if home is None else self.of_machine(home)

    def set_home(self, code: float) -> None:
        """G28.1 or G30.1: home is where the cutter stands."""
        self._named[int(code)] = self._state.at.copy()

    # --- what programs ask of the control ----------------------------------------------------------------------------

    def parameter(self, number: int) -> float | None:
        """Value of a parameter that the control keeps itself, in the program's unit; None where it is not known.

        Parameters
        ----------
        number : int
            5161 home, 5181 second home, 5211 shift of G92, 5220 work zero in use, 5221 ... the work zeros, 20 apart
            (NISTIR 6556, table 2); 5420 the position (common practice, no source).
        """
        scale = self._state.scale
        if number == 5220:
            return float(SYSTEMS.index(self.system) + 1)
        for first, values in (
            (5211, self.shift), (5420, self._state.at - self._state.offset), (5161, self._homes[28]),
            (5181, self._homes[30]),
        ):  # fmt: skip
            if first <= number < first + 3:
                return None if values is None else float(values[number - first]) / scale
        system, axis = divmod(number - 5221, 20)
        if 0 <= system < len(SYSTEMS) and axis < 3:
            zero = self._in_machine.get(SYSTEMS[system])
            return None if zero is None else float(zero[axis]) / scale
        return None
