"""How a frame is refused: the field, what is wrong, and the size to change by how much."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from shopcalc.frames.sizing import USUAL, down, up
from shopcalc.units import System, write


class Refusal(NamedTuple):
    """What is wrong with a frame.

    Parameters
    ----------
    field : str
        Of the frame's table.
    message, remedy : str
        What, and what to do.
    """

    field: str
    message: str
    remedy: str


@dataclass(frozen=True)
class Words:
    """Lengths in the words of the shop, and remedies rounded to the safe side.

    Parameters
    ----------
    system : {"inch", "metric"}
        What the shop reads.
    """

    system: System

    def __call__(self, value: float) -> str:
        """A length in words.

        Parameters
        ----------
        value : float
            [mm].
        """
        return write(value, "length", self.system)

    @property
    def step(self) -> float:
        """What remedies are rounded to [mm]."""
        return USUAL[self.system].step / 2

    def less(self, key: str, now: float, most: float) -> str:
        """What to lessen, by how much and to what; empty where nothing would be left.

        Parameters
        ----------
        key : str
            Of the table.
        now, most : float
            What it is, and may be at most [mm].
        """
        to = down(most, self.step)
        return f"lessen {key} by {self(now - to)}, to {self(to)}" if to > 0 else ""

    def more(self, key: str, now: float, least: float) -> str:
        """What to increase, by how much and to what.

        Parameters
        ----------
        key : str
            Of the table.
        now, least : float
            What it is, and must be at least [mm].
        """
        to = up(least, self.step)
        return f"increase {key} by {self(to - now)}, to {self(to)}"


def either(*remedies: str) -> str:
    """One remedy of several, those that are none left out.

    Parameters
    ----------
    *remedies : str
        In the order to be read.
    """
    return "; or ".join(r for r in remedies if r)
