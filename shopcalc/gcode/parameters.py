"""What a program remembers under a number or a name."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping


class Parameters:
    """Values by number (#1 to #99999) or by name (#<depth>); each call has its own #1 to #33 and its own plain names.

    Parameters
    ----------
    of_control : callable, optional
        Answers for numbers that a control keeps itself (positions, offsets); None where it does not know.
    missing : callable, optional
        Told of every parameter that is read without having a value: its text and its column.

    References
    ----------
    NISTIR 6556 (Kramer, Proctor, Messina, 2000), section 3.2.1: 5399 numbered parameters, 0 unless set. Names, the
    missing value #0 and local parameters: common practice, no source.
    """

    LARGEST = 99999
    LOCALS = 33

    def __init__(
        self,
        of_control: Callable[[int], float | None] | None = None,
        missing: Callable[[str, int], None] | None = None,
    ) -> None:
        self._shared: dict[int | str, float] = {}
        self._own: list[dict[int | str, float]] = [{}]
        self._leaves_out = [False]
        self._of_control, self._missing = of_control, missing

    def _place(self, key: int | str) -> dict[int | str, float]:
        local = key <= self.LOCALS if isinstance(key, int) else not key.startswith("_")
        return self._own[-1] if local else self._shared

    def has(self, key: int | str) -> bool:
        """Whether a parameter has a value."""
        return key in self._place(key)

    def get(self, key: int | str, column: int) -> float | None:
        """Value of a parameter; None, and reported, where it has none; nan for #0, the missing value itself."""
        if key == 0:
            return math.nan
        value = self._place(key).get(key)
        if value is None and isinstance(key, int) and self._of_control is not None:
            value = self._of_control(key)
        if value is None and self._missing is not None:
            self._missing(f"#{key}" if isinstance(key, int) else f"#<{key}>", column)
        return value

    def set(self, key: int | str, value: float | None) -> None:
        """Give a parameter a value, or take it away."""
        place = self._place(key)
        if value is None:
            place.pop(key, None)
        else:
            place[key] = value

    @property
    def leaves_out(self) -> bool:
        """Whether a word is left out whose parameter has no value, as in a macro called without an argument."""
        return self._leaves_out[-1]

    def enter(self, given: Mapping[int | str, float], *, leaves_out: bool = False) -> None:
        """Begin a call with its own local parameters."""
        self._own.append(dict(given))
        self._leaves_out.append(leaves_out)

    def leave(self) -> None:
        """End a call: its local parameters are gone."""
        if len(self._own) > 1:
            self._own.pop()
            self._leaves_out.pop()
