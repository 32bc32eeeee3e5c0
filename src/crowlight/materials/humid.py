"""Humid air by the reference formulas, inside their ranges only.

Density by CIPM-2007 and speed of sound by Cramer. Both refuse states outside their published
ranges; `crowlight.materials.mixture` serves those (breath, high places, winter streets).

=========  ==========================================
symbol     meaning
=========  ==========================================
T, t       temperature [K], [°C]
p          pressure [Pa]
h          relative humidity, 0 to 1
x_v        mole fraction of water vapour
x_c        mole fraction of carbon dioxide
Z          compressibility factor
=========  ==========================================
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from crowlight.errors import InputError
from crowlight.materials.limits import (
    ZERO_CELSIUS,
    check_humidity,
    check_pressure,
    check_temperature,
)

__all__ = [
    "CIPM_PRESSURES",
    "CIPM_TEMPERATURES",
    "CRAMER_PRESSURES",
    "CRAMER_TEMPERATURES",
    "ROOM_CO2",
    "cipm_density",
    "cramer_speed_of_sound",
    "saturation_pressure",
    "vapour_fraction",
]

ROOM_CO2 = 4.0e-4
"""Mole fraction of carbon dioxide CIPM-2007 takes for granted; a full room has up to 2e-3."""

CIPM_TEMPERATURES = (ZERO_CELSIUS + 15.0, ZERO_CELSIUS + 27.0)
"""Range of CIPM-2007 [K]."""
CIPM_PRESSURES = (60e3, 110e3)
"""Range of CIPM-2007 [Pa]."""

CRAMER_TEMPERATURES = (ZERO_CELSIUS, ZERO_CELSIUS + 30.0)
"""Range of Cramer's formula [K]."""
CRAMER_PRESSURES = (75e3, 102e3)
"""Range of Cramer's formula [Pa]."""
_CRAMER_VAPOUR = 0.06
_CRAMER_CO2 = 0.01

# Cramer 1993, table III: a0 to a15.
_CRAMER = (
    331.5024,
    0.603055,
    -0.000528,
    51.471935,
    0.1495874,
    -0.000782,
    -1.82e-7,
    3.73e-8,
    -2.93e-10,
    -85.20931,
    -0.228525,
    5.91e-5,
    -2.835149,
    -2.15e-13,
    29.179762,
    0.000486,
)


def saturation_pressure(temperature: ArrayLike) -> NDArray[np.float64]:
    """Vapour pressure over water.

    Parameters
    ----------
    temperature : array_like
        [K], 248.15 to 318.15.

    Returns
    -------
    ndarray
        [Pa].

    Raises
    ------
    InputError
        If a temperature lies outside.

    References
    ----------
    Picard et al. 2008, Metrologia 45:149, equation (A1.1). Within 1e-4 of the general equation of
    state of water from 5 to 40 °C.

    Examples
    --------
    >>> round(float(saturation_pressure(293.15)), 2)
    2339.16
    """
    kelvin = check_temperature(temperature)
    return np.exp(
        1.2378847e-5 * kelvin**2 - 1.9121316e-2 * kelvin + 33.93711047 - 6343.1645 / kelvin
    )


def vapour_fraction(
    temperature: ArrayLike, pressure: ArrayLike, humidity: ArrayLike
) -> NDArray[np.float64]:
    """Mole fraction of water vapour, with the enhancement factor.

    Parameters
    ----------
    temperature : array_like
        [K].
    pressure : array_like
        [Pa].
    humidity : array_like
        Relative humidity, 0 to 1.

    Returns
    -------
    ndarray
        0 to about 0.2.

    Raises
    ------
    InputError
        If a value lies outside its range.

    References
    ----------
    Picard et al. 2008, equations (A1.2) and (A1.3).

    Examples
    --------
    >>> round(float(vapour_fraction(293.15, 101325.0, 0.5)), 6)
    0.011589
    """
    kelvin, pascal = check_temperature(temperature), check_pressure(pressure)
    enhancement = 1.00062 + 3.14e-8 * pascal + 5.6e-7 * (kelvin - ZERO_CELSIUS) ** 2
    return check_humidity(humidity) * enhancement * saturation_pressure(kelvin) / pascal


def _refuse_outside(
    formula: str, what: str, values: NDArray[np.float64], limits: tuple[float, float], unit: str
) -> None:
    if ((values >= limits[0]) & (values <= limits[1])).all():
        return
    worst = values[(values < limits[0]) | (values > limits[1])].flat[0]
    msg = (
        f"{formula} ends at {what} {limits[0]:g} to {limits[1]:g} {unit}, not {worst:g}; "
        "use the ideal mixture there"
    )
    raise InputError(msg)


def cipm_density(
    temperature: ArrayLike,
    pressure: ArrayLike,
    humidity: ArrayLike,
    *,
    co2: ArrayLike = ROOM_CO2,
) -> NDArray[np.float64]:
    """Density of humid air by CIPM-2007.

    Parameters
    ----------
    temperature : array_like
        [K], 288.15 to 300.15 (15 to 27 °C).
    pressure : array_like
        [Pa], 60 000 to 110 000.
    humidity : array_like
        Relative humidity, 0 to 1.
    co2 : array_like
        Mole fraction of carbon dioxide, 0 to 0.01.

    Returns
    -------
    ndarray
        [kg/m3]; standard uncertainty of the formula 22 parts per million.

    Raises
    ------
    InputError
        If a value lies outside the formula's range.

    References
    ----------
    Picard, Davis, Gläser, Fujii 2008, "Revised formula for the density of moist air (CIPM-2007)",
    Metrologia 45:149, equations (1) to (4) and appendix A1.

    Examples
    --------
    >>> round(float(cipm_density(296.15, 101325.0, 0.5)), 6)
    1.186085
    """
    kelvin, pascal = check_temperature(temperature), check_pressure(pressure)
    celsius = kelvin - ZERO_CELSIUS
    carbon = np.asarray(co2, dtype=float)
    _refuse_outside("CIPM-2007", "temperatures", np.round(celsius, 9), (15.0, 27.0), "°C")
    _refuse_outside("CIPM-2007", "pressures", pascal, CIPM_PRESSURES, "Pa")
    _refuse_outside("CIPM-2007", "carbon dioxide fractions", carbon, (0.0, 0.01), "mol/mol")
    vapour = vapour_fraction(kelvin, pascal, humidity)
    ratio = pascal / kelvin
    virial = (
        1.58123e-6
        - 2.9331e-8 * celsius
        + 1.1043e-10 * celsius**2
        + (5.707e-6 - 2.051e-8 * celsius) * vapour
        + (1.9898e-4 - 2.376e-6 * celsius) * vapour**2
    )
    compressibility = 1.0 - ratio * virial + ratio**2 * (1.83e-11 - 0.765e-8 * vapour**2)
    per_kelvin = (3.483740 + 1.4446 * (carbon - 4e-4)) * 1e-3
    return per_kelvin * ratio / compressibility * (1.0 - 0.3780 * vapour)


def cramer_speed_of_sound(
    temperature: ArrayLike,
    pressure: ArrayLike,
    humidity: ArrayLike,
    *,
    co2: ArrayLike = ROOM_CO2,
) -> NDArray[np.float64]:
    """Zero-frequency speed of sound in humid air by Cramer.

    Parameters
    ----------
    temperature : array_like
        [K], 273.15 to 303.15 (0 to 30 °C).
    pressure : array_like
        [Pa], 75 000 to 102 000.
    humidity : array_like
        Relative humidity, 0 to 1, with at most 6 % of the molecules vapour.
    co2 : array_like
        Mole fraction of carbon dioxide, 0 to 0.01.

    Returns
    -------
    ndarray
        [m/s]; the author gives 300 parts per million as uncertainty.

    Raises
    ------
    InputError
        If a value lies outside the formula's range.

    References
    ----------
    Cramer 1993, "The variation of the specific heat ratio and the speed of sound in air with
    temperature, pressure, humidity, and CO2 concentration", JASA 93:2510, equation (15).

    Examples
    --------
    >>> round(float(cramer_speed_of_sound(296.15, 101325.0, 0.5)), 4)
    345.8665
    """
    kelvin, pascal = check_temperature(temperature), check_pressure(pressure)
    t = kelvin - ZERO_CELSIUS
    c = np.asarray(co2, dtype=float)
    v = vapour_fraction(kelvin, pascal, humidity)
    formula = "Cramer's formula"
    # The tolerance keeps 30 °C, which is not exact in kelvin, inside.
    _refuse_outside(formula, "temperatures", np.round(t, 9), (0.0, 30.0), "°C")
    _refuse_outside(formula, "pressures", pascal, CRAMER_PRESSURES, "Pa")
    _refuse_outside(formula, "vapour fractions", v, (0.0, _CRAMER_VAPOUR), "mol/mol")
    _refuse_outside(formula, "carbon dioxide fractions", c, (0.0, _CRAMER_CO2), "mol/mol")
    a = _CRAMER
    return (
        a[0]
        + a[1] * t
        + a[2] * t**2
        + (a[3] + a[4] * t + a[5] * t**2) * v
        + (a[6] + a[7] * t + a[8] * t**2) * pascal
        + (a[9] + a[10] * t + a[11] * t**2) * c
        + a[12] * v**2
        + a[13] * pascal**2
        + a[14] * c**2
        + a[15] * v * pascal * c
    )
