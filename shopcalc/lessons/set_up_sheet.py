"""An exercise on reading a set-up sheet: one of its lines does not fit the others."""

from __future__ import annotations

from dataclasses import dataclass, replace

from shopcalc.cutting.chipload import feed_per_tooth
from shopcalc.lessons.drawing_lots import Draft, Lot, teaches
from shopcalc.lessons.judging import Line, Mistake, tell
from shopcalc.units import System


@dataclass(frozen=True)
class Sheet:
    """What a short sheet for a tenon on end says.

    Parameters
    ----------
    diameter, stick_out, length, level, stands : float
        Of the cutter, out of its collet, of the tenon, of each level, of the part above its clamp [mm].
    flutes, levels : int
        Counts [-].
    marked, rpm : float
        Greatest speed on the cutter, and the one that is set [rev/min].
    feed : float
        [mm/min].
    bite : float
        Feed per tooth as written [mm/tooth].
    """

    diameter: float
    stick_out: float
    length: float
    level: float
    stands: float
    flutes: int
    levels: int
    marked: float
    rpm: float
    feed: float
    bite: float

    def lines(self, system: System) -> tuple[str, ...]:
        """As the operator reads it.

        Parameters
        ----------
        system : {"metric", "inch"}
            Units.
        """

        def told(value: float, quantity: str = "length") -> str:
            return tell(value, quantity, system)

        return (
            "rail stood on end, marked face to the stop",
            f"cutter {told(self.diameter)} square end, {self.flutes} flutes, marked {self.marked:.0f} rpm",
            f"stick-out of the cutter {told(self.stick_out)}",
            f"spindle speed {self.rpm:.0f} rpm",
            f"feed {told(self.feed, 'feed')}, bite {told(self.bite, 'feed_per_tooth')}",
            f"tenon {told(self.length)} long: {self.levels} levels of {told(self.level)}",
            f"rail stands {told(self.stands)} above its clamp",
            "height zero found at this rail's end",
        )

    def faults(self) -> list[tuple[int, str]]:
        """Lines that do not fit the others, from 1, and why.

        Returns
        -------
        list of (int, str)
            Definitions; a shortfall of 2 % is none.
        """
        bite = float(feed_per_tooth(self.feed, self.rpm, self.flutes))
        checks = (
            (3, self.stick_out < self.length, "The cutter is too short for the tenon: its holder would meet the wood."),
            (4, self.rpm > self.marked, "The speed is above the mark on the cutter."),
            (5, abs(bite / self.bite - 1) > 0.02, "Feed, speed, flutes and bite do not fit: the bite is another."),
            (6, abs(self.levels * self.level / self.length - 1) > 0.02, "The levels do not add up to the tenon."),
            (7, self.stands < self.length, "The tenon is longer than the rail stands out: the cutter meets the clamp."),
        )
        return [(line, why) for line, wrong, why in checks if wrong]


_SOUND = {
    1: "How it lies fits the rest.", 2: "The cutter is told in full.",
    3: "It sticks out further than the tenon is long.",
    4: "The speed is below the mark.", 5: "Feed over speed and flutes is the bite.", 6: "The levels add up.",
    7: "It stands out further than the tenon is long.", 8: "A height found at this part is meant.",
}  # fmt: skip


def sheet(lot: Lot) -> Sheet:
    """Draw a sound sheet.

    Parameters
    ----------
    lot : Lot
        Draws it.
    """
    per = lot.draw(
        "feed_per_tooth", "feed_per_tooth", "0.1, 0.12, 0.15", "0.004, 0.005, 0.006", ("mm/tooth", "in/tooth")
    )
    rpm, flutes = lot.rpm("12000, 14000, 16000").value, lot.one_of((2, 3))
    length = lot.length("long_tenon", "24, 30, 36", "1, 1 1/4, 1 1/2").value
    levels = lot.one_of((3, 4, 5))
    return Sheet(
        lot.length("diameter", "12, 16", "1/2, 5/8").value, length + lot.one_of((10.0, 15.0)), length, length / levels,
        length + lot.one_of((25.0, 40.0)), flutes, levels, lot.one_of((18000.0, 20000.0)), rpm,
        rpm * flutes * per.value,
        per.value,
    )  # fmt: skip


@teaches("programs", "fault-in-the-sheet", safety=True)
def _sheet(lot: Lot) -> Draft:
    sound = sheet(lot)
    broken = lot.one_of((
        replace(sound, stick_out=0.8 * sound.length),
        replace(sound, rpm=24000.0, bite=sound.feed / 24000 / sound.flutes),
        replace(sound, bite=sound.bite * sound.flutes), replace(sound, levels=sound.levels - 1),
        replace(sound, stands=0.7 * sound.length),
    ))  # fmt: skip
    ((line, why),) = broken.faults()
    wrong = tuple(Mistake("a sound line", str(n), t) for n, t in _SOUND.items() if n != line)
    return Draft(
        "A sheet for a tenon. One line does not fit the others, and somebody could be hurt or the rail spoilt."
        " Which line?",
        ("Hold speed against mark.", "Feed over speed, over flutes: is it the bite?",
         "Do the levels add up? Do cutter and rail stand out far enough?"),
        why, Line(line, broken.lines(lot.system), wrong),
        "definitions; never above the mark: EN 1870, second-hand",
    )  # fmt: skip
