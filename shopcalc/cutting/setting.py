"""What tuning answers with, a setting; and what an hour, a spoilt part and a worn edge cost."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from shopcalc.cutting.cut import habit
from shopcalc.cutting.engagement import refuse
from shopcalc.cutting.grain import Direction
from shopcalc.cutting.limits import Limit

if TYPE_CHECKING:
    from shopcalc.shop import Rates


@dataclass(frozen=True)
class Costs:
    """What an hour, a spoilt part and a worn edge cost.

    Parameters
    ----------
    per_hour : float
        Machine and the attended share of a person [currency/h].
    value : float
        Already in the part when this cut is made [currency].
    regrind : float
        Of having the cutter ground, or of a new one [currency]; 0 where the machine's upkeep already counts it.
    currency : str
        Three letters.
    """

    per_hour: float
    value: float = 0.0
    regrind: float = 0.0
    currency: str = ""

    def __post_init__(self) -> None:
        for name, value in (("per_hour", self.per_hour), ("value", self.value), ("regrind", self.regrind)):
            if not (math.isfinite(value) and value >= 0):
                refuse(f"{name} of {value:g} cannot be a cost", "give zero or more")

    @staticmethod
    def of(rates: Rates, *, attended: float = 1.0, value: float | None = None, regrind: float = 0.0) -> Costs:
        """An hour of this shop's machine with somebody beside it.

        Parameters
        ----------
        rates : Rates
            The shop's.
        attended : float
            Share of the time somebody stands by [-].
        value : float or None
            In the part [currency]; None for some hours of a person's work (common practice, no source).
        regrind : float
            See the class.

        Returns
        -------
        Costs
        """
        from shopcalc.quote.costs import machine_hour_rate

        person = float(rates.people["machining"])
        inside = habit("time_in_part") / 3600 * person if value is None else value
        hour = float(machine_hour_rate(rates.machine).total) + attended * person
        return Costs(hour, inside, regrind, rates.currency)


@dataclass(frozen=True)
class Setting:
    """How to run one cut.

    Parameters
    ----------
    rpm, feed_mm_min, plunge_feed_mm_min : float
        To be dialled or programmed [rev/min], [mm/min].
    feed_per_tooth_mm, mean_chip_mm, greatest_chip_mm : float
        At the feed as run [mm].
    direction : {"climb", "conventional"}
        Of the pass that leaves the wall.
    passes : int
        Over the whole length: levels times side steps, and the skim where there is one [-].
    levels, side_steps : int
        [-].
    depth_per_pass_mm, width_per_pass_mm : float
        [mm].
    minutes : dict
        "likely" for this setting; "low" and "high" for what would be run if the wood asked for the low or the high
        force: fewer or more levels and other feeds [min].
    push_off_mm : dict
        Error on the finished wall for the low, likely and high force, each as (bottom, top) of a level; positive
        leaves wood on [mm].
    cost : float or None
        Expected, of this cut [currency]; None without costs.
    scrap_chance : float
        Chance that this cut spoils the part [-].
    binds : str
        Names of the limits that hold it back: all that stand at what they may use, else the tightest.
    limits : tuple of Limit
        Tightest first; unknown ones last.
    timed_points : int
        How often the motion engine was asked [-].
    interpolation_error : float
        Time as searched with over time as the engine gives it in the end, less one [-].
    """

    rpm: float
    feed_mm_min: float
    plunge_feed_mm_min: float
    feed_per_tooth_mm: float
    mean_chip_mm: float
    greatest_chip_mm: float
    direction: Direction
    passes: int
    levels: int
    side_steps: int
    depth_per_pass_mm: float
    width_per_pass_mm: float
    minutes: dict[str, float]
    push_off_mm: dict[str, tuple[float, float]]
    cost: float | None
    scrap_chance: float
    binds: str
    limits: tuple[Limit, ...]
    timed_points: int
    interpolation_error: float

    @property
    def forbidden(self) -> tuple[Limit, ...]:
        """Hard limits that are passed, and the cutter's own greatest speed while it is unknown."""
        return tuple(
            x
            for x in self.limits
            if x.hard and ((x.used or 0.0) > 1 + 1e-9 or (x.bound is None and x.name == "over-speeds the cutter"))
        )

    @property
    def unknown(self) -> tuple[Limit, ...]:
        """Hard limits whose bound nobody has entered: find them out before running."""
        return tuple(x for x in self.limits if x.hard and x.used is None)

    @property
    def runnable(self) -> bool:
        """Whether nothing forbids it."""
        return not self.forbidden

    def as_json(self) -> dict[str, Any]:
        """Every field as plain numbers, texts, lists and dicts; units stand in the keys."""
        out: dict[str, Any] = {k: v for k, v in vars(self).items() if k != "limits"}
        return {
            **out,
            "push_off_mm": {k: list(v) for k, v in self.push_off_mm.items()},
            "runnable": self.runnable,
            "unknown": [x.name for x in self.unknown],
            "limits": [{k: v for k, v in vars(x).items() if k != "least"} for x in self.limits],
        }
