"""What air, places and rooms can be: values outside are asked about, not guessed.

Everything inside crowlight is SI, so temperatures arrive in kelvin and humidity as a fraction. The
messages speak the units people type, because they are read by people.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from crowlight.errors import InputError

__all__ = [
    "ALTITUDE_RANGE",
    "PRESSURE_RANGE",
    "TEMPERATURE_RANGE",
    "ZERO_CELSIUS",
    "check_altitude",
    "check_humidity",
    "check_pressure",
    "check_temperature",
]

ZERO_CELSIUS = 273.15
"""The ice point [K]; exact by definition of the degree Celsius."""

ALTITUDE_RANGE = (-500.0, 5500.0)
"""Altitudes of places where people live and play [m]."""

TEMPERATURE_RANGE = (ZERO_CELSIUS - 25.0, ZERO_CELSIUS + 45.0)
"""Air a reed meets, from a winter street to breath [K]."""

PRESSURE_RANGE = (45e3, 115e3)
"""Still air between the altitude limits, with room for weather [Pa]."""


def _first_outside(values: NDArray[np.float64], low: float, high: float) -> float | None:
    outside = ~((values >= low) & (values <= high))  # so that NaN counts as outside
    return float(values[outside].flat[0]) if outside.any() else None


def check_altitude(altitude: ArrayLike) -> NDArray[np.float64]:
    """Return `altitude` as an array, or ask about it.

    Parameters
    ----------
    altitude : array_like
        Height above mean sea level [m], -500 to 5500.

    Returns
    -------
    ndarray
        The same values as floats.

    Raises
    ------
    InputError
        If a value lies outside; the message asks whether it was typed in feet.

    Examples
    --------
    >>> float(check_altitude(1600))
    1600.0
    """
    values = np.asarray(altitude, dtype=float)
    bad = _first_outside(values, *ALTITUDE_RANGE)
    if bad is None:
        return values
    asked = "please give it in metres above sea level"
    if 5500.0 < bad <= 18000.0:
        asked = f"is it in feet? {bad:g} ft is {bad * 0.3048:.0f} m"
    elif not np.isfinite(bad):
        asked = "a place needs its altitude; a map or the local airport gives it"
    msg = f"altitude {bad:g} m is outside -500 to 5500 m; {asked}"
    raise InputError(msg)


def check_temperature(temperature: ArrayLike) -> NDArray[np.float64]:
    """Return `temperature` as an array, or ask about it.

    Parameters
    ----------
    temperature : array_like
        Air temperature [K], 248.15 to 318.15 (-25 to 45 °C).

    Returns
    -------
    ndarray
        The same values as floats.

    Raises
    ------
    InputError
        If a value lies outside; the message asks about Fahrenheit, or about kelvin.

    Examples
    --------
    >>> check_temperature(273.15 + 68.0)
    Traceback (most recent call last):
    ...
    crowlight.errors.InputError: air of 68 °C is outside -25 to 45 °C; is it in Fahrenheit? \
68 °F is 20.0 °C
    """
    values = np.asarray(temperature, dtype=float)
    bad = _first_outside(values, *TEMPERATURE_RANGE)
    if bad is None:
        return values
    celsius = round(bad - ZERO_CELSIUS, 2)
    asked = "please read the thermometer again"
    if 45.0 < celsius <= 113.0:
        asked = f"is it in Fahrenheit? {celsius:g} °F is {(celsius - 32.0) / 1.8:.1f} °C"
    elif celsius > 200.0:
        asked = f"is it in kelvin? {celsius:g} K is {celsius - ZERO_CELSIUS:.1f} °C"
    elif -25.0 <= bad <= 45.0:
        asked = f"temperatures are in kelvin here: {bad:g} °C is {bad + ZERO_CELSIUS:g} K"
    msg = f"air of {celsius:g} °C is outside -25 to 45 °C; {asked}"
    raise InputError(msg)


def check_humidity(humidity: ArrayLike) -> NDArray[np.float64]:
    """Return `humidity` as an array, or ask about it.

    Parameters
    ----------
    humidity : array_like
        Relative humidity as a fraction, 0 to 1.

    Returns
    -------
    ndarray
        The same values as floats.

    Raises
    ------
    InputError
        If a value lies outside.

    Examples
    --------
    >>> float(check_humidity(0.4))
    0.4
    """
    values = np.asarray(humidity, dtype=float)
    bad = _first_outside(values, 0.0, 1.0)
    if bad is None:
        return values
    asked = "is the hygrometer right?"
    if 1.5 < bad <= 100.0:
        asked = f"humidity is a fraction here: is it {bad:g} %, which is {bad / 100.0:g}?"
    msg = f"relative humidity {100.0 * bad:g} % is outside 0 to 100 %; {asked}"
    raise InputError(msg)


def check_pressure(pressure: ArrayLike) -> NDArray[np.float64]:
    """Return `pressure` as an array, or ask about it.

    Parameters
    ----------
    pressure : array_like
        Air pressure on the spot [Pa], 45 000 to 115 000.

    Returns
    -------
    ndarray
        The same values as floats.

    Raises
    ------
    InputError
        If a value lies outside; the message asks about hPa, mmHg and inHg.

    Examples
    --------
    >>> float(check_pressure(83500))
    83500.0
    """
    values = np.asarray(pressure, dtype=float)
    bad = _first_outside(values, *PRESSURE_RANGE)
    if bad is None:
        return values
    asked = "please read the barometer again"
    if 780.0 < bad <= 1150.0:
        asked = f"is it in hPa? {bad:g} hPa is {100.0 * bad:.0f} Pa"
    elif 337.0 <= bad <= 780.0:
        asked = (
            f"is it in hPa ({100.0 * bad:.0f} Pa) or in mmHg ({133.322 * bad:.0f} Pa)? "
            "please give it in Pa"
        )
    elif 13.0 <= bad <= 34.0:
        asked = f"is it in inches of mercury? {bad:g} inHg is {3386.39 * bad:.0f} Pa"
    msg = f"air pressure {bad:g} Pa is outside 45000 to 115000 Pa; {asked}"
    raise InputError(msg)
