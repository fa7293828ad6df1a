"""Units at the door: reading what people write, writing what people read. The only conversion code.

Inside the package quantities are plain floats in house units (``QUANTITIES``): mm, s, N, MPa, W, rad, kg; feed in
mm/min and spindle speed in rev/min by exception because operators read them so. Money is Decimal.
"""

from __future__ import annotations

import math
import re
import unicodedata
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Literal, NoReturn

from shopcalc.errors import Fault, InputError, did_you_mean

if TYPE_CHECKING:
    import pint

System = Literal["metric", "inch"]


@dataclass(frozen=True)
class Quantity:
    """A physical quantity as the house keeps it.

    Parameters
    ----------
    unit : str
        House unit, as pint spells it.
    shown : str
        House unit as people read it.
    examples : str
        Two ways of writing a value, for error messages.
    largest : float
        Anything beyond this is a slip of the keyboard [house unit].
    """

    unit: str
    shown: str
    examples: str
    largest: float


QUANTITIES: dict[str, Quantity] = {
    "length": Quantity("mm", "mm", '"9.5 mm" or "3/8 in"', 1e5),
    "distance": Quantity("mm", "mm", '"12 km" or "800 m"', 1e10),
    "area": Quantity("mm**2", "mm2", '"1.2 m^2" or "13 ft^2"', 1e10),
    "volume": Quantity("mm**3", "mm3", '"0.05 m^3" or "20 board_foot"', 1e13),
    "time": Quantity("s", "s", '"4 s" or "12 min"', 1e9),
    "feed": Quantity("mm/min", "mm/min", '"6 m/min" or "240 in/min"', 1e6),
    "speed": Quantity("mm/s", "mm/s", '"8 mm/s" or "60 m/s"', 1e6),
    "acceleration": Quantity("mm/s**2", "mm/s2", '"500 mm/s^2" or "0.05 g_0"', 1e6),
    "jerk": Quantity("mm/s**3", "mm/s3", '"5000 mm/s^3" or "200 in/s^3"', 1e9),
    "spindle_speed": Quantity("revolution/minute", "rev/min", '"18000 rpm" or "18000 rev/min"', 1e5),
    "rate": Quantity("1/s", "1/s", '"500 1/s" or "30000 1/min"', 1e7),
    "feed_per_tooth": Quantity("mm/tooth", "mm/tooth", '"0.3 mm/tooth" or "0.012 in/tooth"', 10),
    "angle": Quantity("radian", "rad", '"30 deg" or "0.5 rad"', 1e3),
    "turning_acceleration": Quantity("degree/s**2", "deg/s2", '"300 deg/s^2"', 1e7),
    "force": Quantity("N", "N", '"120 N" or "27 lbf"', 1e6),
    "pressure": Quantity("MPa", "MPa", '"30 MPa" or "4350 psi"', 1e7),
    "torque": Quantity("N*mm", "N mm", '"850 N*mm" or "7.5 lbf*in"', 1e8),
    "power": Quantity("W", "W", '"2.2 kW" or "3 hp"', 1e6),
    "stiffness": Quantity("N/mm", "N/mm", '"5000 N/mm" or "28000 lbf/in"', 1e9),
    "density": Quantity("kg/m**3", "kg/m3", '"680 kg/m^3" or "42 lb/ft^3"', 3e4),
    "mass": Quantity("kg", "kg", '"12 kg" or "26 lb"', 1e6),
    "ratio": Quantity("dimensionless", "", '"35 %" or "35 percent"', 1e6),
    "per_moisture": Quantity("1/percent_moisture", "per % moisture", '"0.00365 per_%MC"', 1.0),
}

_SPELLED = {
    '"': "in", "″": "in", "”": "in", "'": "ft", "′": "ft", "’": "ft", "''": "in",
    "%": "percent", "°": "deg", "ipm": "in/min", "m/s2": "m/s**2", "mm/s2": "mm/s**2", "mm/s3": "mm/s**3",
    "m/s3": "m/s**3", "per_%MC": "1/percent_moisture", "1/%MC": "1/percent_moisture", "per %MC": "1/percent_moisture",
    "rev/min": "revolution/minute", "rpm": "revolution/minute", "ft2": "ft**2", "m2": "m**2", "mm2": "mm**2",
    "m3": "m**3", "kg/m3": "kg/m**3", "lb/ft3": "lb/ft**3", "bf": "board_foot", "inches": "inch",
    "ratio": "dimensionless", "deg/s2": "deg/s**2", "mm/flute": "mm/tooth", "in/flute": "in/tooth",
}  # fmt: skip

_NUMBER = re.compile(
    r"""\s*(?P<sign>[+-]?)\s*
    (?: (?P<whole>\d+)(?:\s+|\s*-\s*)(?P<num>\d+)\s*/\s*(?P<den>\d+)
      | (?P<num2>\d+)\s*/\s*(?P<den2>\d+)
      | (?P<plain>(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)
    )\s*(?P<unit>[^\d\s].*|1\s*/\s*\S+)?\s*$""",
    re.VERBOSE,
)
_FEET_INCHES = re.compile(r"\s*(\d+)\s*(?:'|′|’|ft\b)\s*-?\s*(\d.*?)\s*(?:\"|″|”|''|in\b|inch\b)\s*$")


@lru_cache(maxsize=1)
def registry() -> pint.UnitRegistry[Any]:
    """The one pint registry, with the trade's own units added: tooth, percent of moisture content."""
    import pint

    ureg: pint.UnitRegistry[Any] = pint.UnitRegistry()
    ureg.define("tooth = [tooth] = _ = teeth = flute")
    ureg.define("percent_moisture = [moisture] = _ = percent_MC")
    return ureg


#: pint takes an angle for a plain number, so "30 deg" would pass for a ratio and "300 1/s" for 2865 rev/min.
_OF_TURNING = ("angle", "spindle_speed", "turning_acceleration")
_TURNS = ("radian", "milliradian", "degree", "arcminute", "arcsecond", "grade", "turn", "revolutions_per_minute",
          "revolutions_per_second")  # fmt: skip


@lru_cache(maxsize=2048)
def _factor(unit: str, quantity: str) -> float | None:
    """House units per ``unit``; None when the dimension is wrong, LookupError when the unit is unknown."""
    ureg = registry()
    spelled = _SPELLED.get(unit, unit).replace("^", "**")
    import pint

    try:
        given = ureg.parse_units(spelled)
    except (pint.UndefinedUnitError, pint.DefinitionSyntaxError) as e:
        raise LookupError(unit) from e
    except Exception as e:  # the unit text is the user's: whatever pint trips over is an unknown unit
        raise LookupError(unit) from e
    if (quantity in _OF_TURNING) != any(name in _TURNS for name, _ in given._units.items()):
        return None
    try:
        return float(ureg.Quantity(1.0, given).to(QUANTITIES[quantity].unit).magnitude)
    except (pint.DimensionalityError, pint.OffsetUnitCalculusError):
        return None


def _number(text: str, quantity: str) -> tuple[float, str]:
    """Split a text into its number and its unit; a fraction may be mixed ("1 1/4 in")."""
    if quantity == "length" and (feet := _FEET_INCHES.match(text)):
        inches, rest = _number(feet.group(2), quantity)
        if not rest:
            return float(feet.group(1)) * 12 + inches, "in"
    m = _NUMBER.match(text)
    if not m:
        raise ValueError
    unit = (m["unit"] or "").strip()
    if m["plain"] is not None:
        value = float(m["plain"])
    else:
        den = int(m["den"] or m["den2"])
        if den == 0:
            raise ValueError
        value = int(m["whole"] or 0) + int(m["num"] or m["num2"]) / den
    return (-value if m["sign"] == "-" else value), unit


def _refuse(message: str, remedy: str) -> NoReturn:
    raise InputError(Fault(message, remedy))


def read(
    text: object,
    quantity: str,
    *,
    above: float | None = None,
    minimum: float | None = None,
    maximum: float | None = None,
) -> float:
    """Read a value with its unit, as a person writes it, into the house unit.

    Parameters
    ----------
    text : object
        What was written; anything but a text with a unit is refused.
    quantity : str
        A key of ``QUANTITIES``.
    above, minimum, maximum : float, optional
        Bounds in the house unit; ``above`` is not itself allowed.

    Returns
    -------
    float
        In the house unit of the quantity, e.g. [mm] for a length.

    Raises
    ------
    InputError
        When there is no unit, an unknown or wrong one, no number, or the value is out of bounds. The fault says
        what to write instead; the caller adds the place.

    Example
    -------
    >>> read("1 1/4 in", "length")
    31.75
    >>> read("0.012 in/tooth", "feed_per_tooth")
    0.3048
    """
    q = QUANTITIES[quantity]
    name = quantity.replace("_", " ")
    if isinstance(text, bool) or text is None:
        _refuse(f"{text!r} is not a {name}", f"write it with its unit, e.g. {q.examples}")
    if isinstance(text, (int, float)):
        _refuse(f"{text} has no unit", f"write it as text with its unit, e.g. {_with_unit(float(text), quantity)}")
    if not isinstance(text, str):
        _refuse(f"{text!r} is not a {name}", f"write it as text with its unit, e.g. {q.examples}")
    if not text.strip():
        _refuse(f"the {name} is empty", f"write it with its unit, e.g. {q.examples}")
    if re.search(r"\d\s*,\s*\d", text):
        _refuse(
            f"'{text}' has a comma in its number", f"write a point, and no comma between thousands, e.g. {q.examples}"
        )
    text = text.replace("²", "^2").replace("³", "^3")
    if fraction := next((c for c in text if "\u2044" in unicodedata.normalize("NFKC", c)), None):
        parts = unicodedata.normalize("NFKC", fraction).replace("\u2044", "/")
        plain = " ".join(text.replace(fraction, f" {parts} ").split())
        _refuse(f"'{text}' has a fraction in one character", f'write it out: "{plain}"')
    try:
        value, unit = _number(text, quantity)
    except ValueError:
        _refuse(f"'{text}' is not a number with a unit", f"write a {name}, e.g. {q.examples}")
    if not unit:
        _refuse(f"'{text}' has no unit", f"write it with its unit, e.g. {_with_unit(value, quantity)}")
    try:
        factor = _factor(unit, quantity)
    except LookupError:
        known = [q.shown, *(w.strip('" ').split(" ", 1)[-1] for w in q.examples.split(" or "))]
        remedy = f"{did_you_mean(unit, known)} (a {name}, e.g. {q.examples})"
        _refuse(f"'{text}': the unit '{unit}' is not known", remedy)
    if factor is None:
        _refuse(f"'{text}' is not a {name}", f"'{unit}' measures something else; write e.g. {q.examples}")
    house = float(f"{value * factor:.14g}")
    _check_bounds(text, house, quantity, above, minimum, maximum)
    return house


def _check_bounds(
    text: str, house: float, quantity: str, above: float | None, minimum: float | None, maximum: float | None
) -> None:
    q = QUANTITIES[quantity]
    name = quantity.replace("_", " ")
    if not math.isfinite(house) or abs(house) > q.largest:
        _refuse(f"'{text}' is too large for a {name}", f"the most allowed is {q.largest:g} {q.shown}; check the number")
    if above is not None and house <= above:
        _refuse(f"'{text}' must be more than {above:g} {q.shown}".rstrip(), "check the number and its sign")
    if minimum is not None and house < minimum:
        _refuse(f"'{text}' is below the least allowed, {minimum:g} {q.shown}".rstrip(), "check the number and its sign")
    if maximum is not None and house > maximum:
        _refuse(f"'{text}' is above the most allowed, {maximum:g} {q.shown}".rstrip(), "check the number and its unit")


def _with_unit(value: float, quantity: str) -> str:
    """The remedy for a bare number: the same number with each unit the examples show."""
    if quantity == "ratio":  # 0.18 most likely means 18 %
        return f'"{100 * value if abs(value) <= 1 else value:g} %"'
    units = [w.strip('" ').split(" ", 1)[-1] for w in QUANTITIES[quantity].examples.split(" or ")]
    return " or ".join(f'"{value:g} {u}"' for u in units)


_TEMPERATURE = re.compile(r"\s*([+-]?\d+(?:\.\d+)?)\s*(?:°|deg|degree|degrees)?\s*([CF])\s*$")


def read_temperature(text: object) -> float:
    """Read a temperature of the air.

    Parameters
    ----------
    text : object
        "20 degC", "68 °F"; anything but a text with its scale is refused.

    Returns
    -------
    float
        [°C].

    Raises
    ------
    InputError
        When there is no scale, no number, or the air is colder than -60 or hotter than 120 °C.

    Example
    -------
    >>> read_temperature("68 degF"), read_temperature("-5 °C")
    (20.0, -5.0)
    """
    m = _TEMPERATURE.match(text) if isinstance(text, str) else None
    if m is None:
        _refuse(f"{text!r} is not a temperature", 'write it as text with its scale, e.g. "20 degC" or "68 degF"')
    value = float(registry().Quantity(float(m[1]), f"deg{m[2]}").to("degC").magnitude)
    if not -60 <= value <= 120:
        _refuse(f"'{text}' is no temperature of a place wood stands in", "check the number and its scale")
    return round(value, 9)


def write_temperature(celsius: float, system: System = "metric") -> str:
    """Write a temperature for people.

    Parameters
    ----------
    celsius : float
        [°C].
    system : {"metric", "inch"}
        What the reader thinks in.

    Example
    -------
    >>> write_temperature(20, "inch")
    '68 °F'
    """
    value, scale = (celsius * 9 / 5 + 32, "F") if system == "inch" else (celsius, "C")
    return f"{_trim(f'{value:.1f}')} °{scale}"


def read_count(value: object, *, minimum: int = 0, maximum: int = 1_000_000) -> int:
    """Read a count: the only kind of number that stands without a unit.

    Parameters
    ----------
    value : object
        A whole number or its text.
    minimum, maximum : int
        Bounds, both allowed [-].

    Raises
    ------
    InputError
        When it is not a whole number within the bounds.

    Example
    -------
    >>> read_count("3")
    3
    """
    text = str(value).strip()
    if isinstance(value, bool) or not re.fullmatch(r"[+-]?\d+", text):
        _refuse(f"'{value}' is not a whole number", f"write a count from {minimum} to {maximum}, without a unit")
    count = int(text)
    if not minimum <= count <= maximum:
        _refuse(f"{count} is not between {minimum} and {maximum}", "check the count")
    return count


_MONEY = re.compile(r"\s*(-?\d+(?:\.\d+)?)\s*([A-Za-z]{3})(?:\s*/\s*(.+?))?\s*$")


def read_money(text: object, currency: str, *, per: str | None = None, minimum: int | None = 0) -> Decimal:
    """Read an amount of money, or a price per unit, as Decimal in the shop's currency.

    Parameters
    ----------
    text : object
        "95 USD/h", "8.50 USD/bf", "120 USD".
    currency : str
        The shop's currency code; no other is accepted, because rates of exchange change daily.
    per : str, optional
        The unit the price is wanted for, e.g. "h", "board_foot", "m**2"; "piece" and "load" stand for themselves.
    minimum : int or None
        Least amount allowed.

    Raises
    ------
    InputError
        When amount, currency or unit cannot be used.

    Example
    -------
    >>> read_money("1.50 USD/min", "USD", per="h")
    Decimal('90.000')
    """
    shown = f"{currency}/{per}" if per else currency
    if isinstance(text, str) and re.search(r"\d\s*,\s*\d", text):
        _refuse(
            f"'{text}' has a comma in its number", f'write a point, and no comma between thousands, e.g. "85 {shown}"'
        )
    m = _MONEY.match(text) if isinstance(text, str) else None
    if m is None:
        _refuse(f"{text!r} is not an amount of money", f'write it with its currency, e.g. "85 {shown}"')
    amount, code, unit = Decimal(m[1]), m[2].upper(), m[3]
    if code != currency.upper():
        _refuse(f"'{text}' is in {code}", f"this shop counts in {currency}; convert it and write {currency}")
    if amount > Decimal(10) ** 9:
        _refuse(f"'{text}' is too large for an amount of money", "check the number")
    if minimum is not None and amount < minimum:
        _refuse(f"'{text}' is below the least allowed, {minimum} {currency}", "check the number and its sign")
    if per is None:
        if unit:
            _refuse(f"'{text}' is a price per {unit}", f'write the amount alone, e.g. "{amount} {currency}"')
        return amount
    if not unit:
        _refuse(f"'{text}' does not say per what", f'write e.g. "{amount} {shown}"')
    if unit == per:
        return amount
    ureg = registry()
    try:
        ratio = ureg.Quantity(1.0, ureg.parse_units(_spell(per))).to(ureg.parse_units(_spell(unit))).magnitude
    except Exception:  # pint has a dozen ways to say no; the remedy is the same for all
        _refuse(f"'{text}': '{unit}' cannot be turned into '{per}'", f'write e.g. "{amount} {shown}"')
    return amount * Decimal(repr(round(float(ratio), 12)))


def _spell(unit: str) -> str:
    return _SPELLED.get(unit, unit).replace("^", "**")


def write(value: float, quantity: str, system: System = "metric", *, fraction: bool = True) -> str:
    """Write a value of the house for people, in the system they chose.

    Parameters
    ----------
    value : float
        In the house unit of the quantity, e.g. [mm].
    quantity : str
        A key of ``QUANTITIES``.
    system : {"metric", "inch"}
        What the reader thinks in.
    fraction : bool
        Write inch lengths that lie within 0.02 mm of a sixty-fourth as a fraction.

    Example
    -------
    >>> write(31.75, "length", "inch")
    '1 1/4 in'
    >>> write(3600, "feed", "inch")
    '142 in/min'
    """
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return "unknown"
    if math.isinf(value):
        return "no limit" if value > 0 else "none"
    if quantity == "length" and system == "inch":
        return _write_inches(value, fraction)
    if quantity == "ratio":
        return f"{100 * value:.3g} %"
    if quantity == "angle":
        return f"{math.degrees(value):.4g}°"
    if quantity == "time":
        return write_time(value)
    unit, factor, digits = _SHOWN[system].get(quantity, (QUANTITIES[quantity].shown, 1.0, None))
    shown = value * factor
    number = f"{shown:.{digits}f}" if digits is not None else f"{shown:.4g}"
    return f"{_trim(number)} {unit}".strip()


_IN = 1 / 25.4
_SHOWN: dict[str, dict[str, tuple[str, float, int | None]]] = {
    "metric": {
        "length": ("mm", 1.0, 2),
        "feed": ("mm/min", 1.0, 0),
        "speed": ("m/s", 1e-3, 1),
        "spindle_speed": ("rev/min", 1.0, 0),
        "feed_per_tooth": ("mm/tooth", 1.0, 3),
        "area": ("m2", 1e-6, 3),
        "volume": ("cm3", 1e-3, 1),
        "torque": ("N m", 1e-3, 2),
        "mass": ("kg", 1.0, 1),
        "density": ("kg/m3", 1.0, 0),
    },
    "inch": {
        "feed": ("in/min", _IN, 0),
        "speed": ("ft/min", 60 / 304.8, 0),
        "acceleration": ("in/s2", _IN, 1),
        "jerk": ("in/s3", _IN, 0),
        "spindle_speed": ("rev/min", 1.0, 0),
        "feed_per_tooth": ("in/tooth", _IN, 4),
        "area": ("ft2", 1 / 304.8**2, 2),
        "volume": ("in3", _IN**3, 2),
        "force": ("lbf", 1 / 4.4482216152605, 1),
        "pressure": ("psi", 145.03773773, 0),
        "torque": ("lbf in", 1 / 112.9848290276, 2),
        "power": ("hp", 1 / 745.69987158, 2),
        "mass": ("lb", 1 / 0.45359237, 1),
        "density": ("lb/ft3", 1 / 16.018463374, 1),
    },
}


def _trim(number: str) -> str:
    return number.rstrip("0").rstrip(".") if "." in number else number


def _write_inches(value: float, fraction: bool) -> str:
    inches = value / 25.4
    if fraction:
        near = Fraction(round(inches * 64), 64)
        if near and abs(float(near) * 25.4 - value) <= 0.02:
            sign, size = ("-" if near < 0 else ""), abs(near)
            whole, part = divmod(size, 1)
            text = f"{whole} {part}" if whole and part else str(whole or part)
            return f"{sign}{text} in"
    return f"{_trim(f'{inches:.4f}')} in"


def write_time(seconds: float | None) -> str:
    """Write a time for people: "8.4 s", "4 min 30 s", "2 h 05 min".

    Parameters
    ----------
    seconds : float or None
        Time [s]; None or nan is "unknown", never 0.

    Example
    -------
    >>> write_time(7500)
    '2 h 05 min'
    """
    if seconds is None or math.isnan(seconds):
        return "unknown"
    if seconds < 59.95:
        return f"{_trim(f'{seconds:.1f}')} s"
    whole = round(seconds)
    if whole < 3600:
        return f"{whole // 60} min {whole % 60:02d} s"
    minutes = round(seconds / 60)
    return f"{minutes // 60} h {minutes % 60:02d} min"
