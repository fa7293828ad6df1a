"""Equilibrium moisture: how wet wood gets in air of a temperature and humidity when it has all the time it needs.

Moisture is mass of water over ovendry mass in percent; relative humidity is a ratio from 0 to below 1.
"""

from __future__ import annotations

import numpy as np

from shopcalc.errors import Fault, InputError
from shopcalc.moves import Floats

# constants of W, K, K1, K2, each a parabola in the temperature
_CELSIUS = (
    (349.0, 1.29, 0.0135),
    (0.805, 0.000736, -0.00000273),
    (6.27, -0.00938, -0.000303),
    (1.91, 0.0407, -0.000293),
)
_FAHRENHEIT = (
    (330.0, 0.452, 0.00415),
    (0.791, 4.63e-4, -8.44e-7),
    (6.34, 7.75e-4, -9.35e-5),
    (1.09, 2.84e-2, -9.04e-5),
)
# the second fit
_A, _B, _C, _D, _CRITICAL = -0.000612, 2.43, 0.0577, 0.430, 647.1
_KELVIN = 273.15


def equilibrium_moisture(temperature: float | Floats, humidity: float | Floats) -> Floats:
    """Moisture that wood takes on in still air, by the sorption model the handbook's table was computed with.

    Parameters
    ----------
    temperature : float or (n,) float
        Of the air [°C].
    humidity : float or (n,) float
        Relative humidity [ratio], 0 to below 1.

    Returns
    -------
    float or (n,) float
        [% moisture].

    Raises
    ------
    InputError
        When a humidity is below 0, or 1 and more.

    References
    ----------
    Forest Products Laboratory, Wood Handbook, FPL-GTR-282 (2021), Eq. 4-5 (Hailwood and Horrobin's model).

    Example
    -------
    >>> round(float(equilibrium_moisture(21.1, 0.40)), 1)
    7.7
    """
    return _sorption(temperature, humidity, _CELSIUS)


def equilibrium_moisture_fahrenheit(temperature: float | Floats, humidity: float | Floats) -> Floats:
    """The same model with the constants fitted in degrees Fahrenheit.

    Parameters
    ----------
    temperature : float or (n,) float
        Of the air [°F].
    humidity : float or (n,) float
        Relative humidity [ratio], 0 to below 1.

    Returns
    -------
    float or (n,) float
        [% moisture].

    Raises
    ------
    InputError
        When a humidity is below 0, or 1 and more.

    References
    ----------
    W. T. Simpson (1973), constants read second-hand.

    Example
    -------
    >>> round(float(equilibrium_moisture_fahrenheit(70, 0.40)), 1)
    7.7
    """
    return _sorption(temperature, humidity, _FAHRENHEIT)


def _sorption(
    temperature: float | Floats, humidity: float | Floats, constants: tuple[tuple[float, ...], ...]
) -> Floats:
    t, h = np.asarray(temperature, dtype=float), _checked(humidity)
    w, k, k1, k2 = (a + b * t + c * t**2 for a, b, c in constants)
    kh = k * h
    both = k1 * k2 * kh**2
    out: Floats = 1800.0 / w * (kh / (1.0 - kh) + (k1 * kh + 2.0 * both) / (1.0 + k1 * kh + both))
    return out


def _checked(humidity: float | Floats) -> Floats:
    h = np.asarray(humidity, dtype=float)
    if not np.all((h >= 0) & (h < 1)):
        message = f"a relative humidity of {humidity} does not lie from 0 to below 1"
        raise InputError(Fault(message, "give it as a ratio: 0.45 for 45 %"))
    return h


def equilibrium_moisture_second_fit(temperature: float | Floats, humidity: float | Floats) -> Floats:
    """Equilibrium moisture by the handbook's second fit, which can be solved for the humidity.

    Parameters
    ----------
    temperature : float or (n,) float
        Of the air [°C].
    humidity : float or (n,) float
        Relative humidity [ratio], 0 to below 1.

    Returns
    -------
    float or (n,) float
        [% moisture].

    Raises
    ------
    InputError
        When a humidity is below 0, or 1 and more.

    References
    ----------
    Forest Products Laboratory, Wood Handbook, FPL-GTR-282 (2021), Eq. 4-6 (Glass and others, 2014).

    Example
    -------
    >>> round(float(equilibrium_moisture_second_fit(21.1, 0.40)), 1)
    7.7
    """
    t, h = np.asarray(temperature, dtype=float) + _KELVIN, _checked(humidity)
    out: Floats = 100.0 * (_A * t * (1.0 - t / _CRITICAL) ** _B * np.log1p(-h)) ** (_C * t**_D)
    return out


def humidity_for(temperature: float | Floats, moisture: float | Floats) -> Floats:
    """Relative humidity that holds wood at a moisture: the inverse of ``equilibrium_moisture_second_fit``.

    Parameters
    ----------
    temperature : float or (n,) float
        Of the air [°C].
    moisture : float or (n,) float
        [% moisture].

    Returns
    -------
    float or (n,) float
        [ratio].

    References
    ----------
    Forest Products Laboratory, Wood Handbook, FPL-GTR-282 (2021), Eq. 4-7.

    Example
    -------
    >>> round(float(humidity_for(21.1, equilibrium_moisture_second_fit(21.1, 0.40))), 9)
    0.4
    """
    t, m = np.asarray(temperature, dtype=float) + _KELVIN, np.asarray(moisture, dtype=float)
    power = t**-_D / _C
    out: Floats = -np.expm1((m / 100.0) ** power / (_A * t * (1.0 - t / _CRITICAL) ** _B))
    return out
