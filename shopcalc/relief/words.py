"""Words for people: lengths in notes, long and small numbers, and what is larger than the machine."""

from __future__ import annotations

import math
import re

from shopcalc.machines import Machine
from shopcalc.units import System, write

_NUMBER = r"\d[\d,]*(?:\.\d+)?(?:e-?\d+)?"
_LENGTH = re.compile(rf"({_NUMBER})(?: x ({_NUMBER}))? mm(?![\w/²³])")


def lengths_for(text: str, system: System) -> str:
    """A note with every length in inches too, for those who read inches.

    Parameters
    ----------
    text : str
        With lengths like "2.5 mm" or "300 x 200 mm".
    system : {"metric", "inch"}
        What the reader thinks in.

    Returns
    -------
    str
        As it was for metric readers. Definition: an inch is 25.4 mm.

    Example
    -------
    >>> lengths_for("reaches 12.7 mm of 25.4 mm", "inch")
    'reaches 12.7 mm (0.5 in) of 25.4 mm (1 in)'
    >>> lengths_for("300 x 200 mm", "inch"), lengths_for("300 x 200 mm", "metric")
    ('300 x 200 mm (11.81 x 7.874 in)', '300 x 200 mm')
    """
    if system == "metric":
        return text

    def both(found: re.Match[str]) -> str:
        values = [float(g.replace(",", "")) / 25.4 for g in found.groups() if g is not None]
        return f"{found[0]} ({' x '.join(f'{v:.4g}' if v >= 0.1 else f'{v:.2g}' for v in values)} in)"

    return _LENGTH.sub(both, text)


def beyond_travel(machine: Machine, length: float, width: float, system: System) -> list[str]:
    """Sizes that the machine's flat station or its axes do not take: no time counted for them can be run.

    Parameters
    ----------
    machine : Machine
        With its axes and stations.
    length, width : float
        Along x and y [mm].
    system : {"metric", "inch"}
        What the reader thinks in.

    Returns
    -------
    list of str
        Empty where it fits.
    """
    flat = machine.stations.get("flat")
    room = (math.inf, math.inf) if flat is None else (flat.length, flat.width)
    out = []
    for name, size, takes, axis in zip(("length", "width"), (length, width), room, machine.axes, strict=False):
        least = min(takes, axis.travel)
        if size > least + 1e-6:
            what = "the flat station takes" if takes <= axis.travel else "the machine travels"
            shown, most = (write(v, "length", system) for v in (size, least))
            out.append(
                f"TIME NOT VALID: it does not fit the flat station of machine '{machine.name}': its {name} is {shown}, "
                f"{what} {most} along {'x' if name == 'length' else 'y'}"
            )
    return out


def path_words(length: float, system: System) -> str:
    """A length of path for people.

    Parameters
    ----------
    length : float
        [mm].
    system : {"metric", "inch"}
        What the reader thinks in.

    Example
    -------
    >>> path_words(3_660_831, "inch"), path_words(1646, "inch"), path_words(150_600, "metric")
    ('12,011 ft', '5.4 ft', '151 m')
    """
    value, unit = (length / 1000, "m") if system == "metric" else (length / 304.8, "ft")
    return f"{value:,.0f} {unit}" if value >= 100 else f"{value:.1f} {unit}"
