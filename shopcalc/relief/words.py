"""Words for people: lengths in notes, long and small numbers, and what is larger than the machine."""

from __future__ import annotations

import math
import re

from shopcalc.machines import Machine
from shopcalc.units import System, write

_NUMBER = r"\d[\d,]*(?:\.\d+)?(?:e-?\d+)?"
_LENGTH = re.compile(rf"({_NUMBER})(?: x ({_NUMBER}))? mm(?![\w/²³])")


def lengths_for(text: str, system: System) -> str:
    """A note with every length in inches first, for those who read inches.

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
    'reaches 0.5 in (12.7 mm) of 1 in (25.4 mm)'
    >>> lengths_for("300 x 200 mm", "inch"), lengths_for("300 x 200 mm", "metric")
    ('11.81 x 7.874 in (300 x 200 mm)', '300 x 200 mm')
    """
    if system == "metric":
        return text

    def both(found: re.Match[str]) -> str:
        values = [float(g.replace(",", "")) / 25.4 for g in found.groups() if g is not None]
        return f"{' x '.join(f'{v:.4g}' if v >= 0.1 else f'{v:.2g}' for v in values)} in ({found[0]})"

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


def percent_words(share: float) -> str:
    """A share of an area for people, without zeros that are none.

    Parameters
    ----------
    share : float
        [-].

    Example
    -------
    >>> percent_words(0.0), percent_words(0.0002), percent_words(0.359)
    ('0 %', 'less than 0.1 %', '35.9 %')
    """
    if share <= 0:
        return "0 %"
    return "less than 0.1 %" if share < 0.0005 else f"{100 * share:.1f} %"


def hand_time(hours: float) -> str:
    """Work by hand for people: minutes, above two hours hours and minutes.

    Parameters
    ----------
    hours : float
        [h].

    Example
    -------
    >>> hand_time(0.32), hand_time(4.65)
    ('19 min', '4 h 39 min')
    """
    minutes = round(60 * hours)
    return f"{minutes} min" if minutes <= 120 else f"{minutes // 60} h {minutes % 60:02d} min"
