"""The standard atmosphere, and the pressure of a place: altitude and weather kept apart.

ISO 2533 describes a mean atmosphere: it gives what altitude alone does. A barometer on the spot
adds weather. Forecasts give pressure *reduced to sea level*, which hides the altitude; taken for a
reading on the spot it would be wrong by tens of kilopascals in a high place, so it is asked about.

=======  =====================================================
symbol   meaning
=======  =====================================================
z, H     geometric and geopotential height above sea level [m]
T, p     temperature [K], pressure [Pa]
L        lapse rate, 6.5 K/km of geopotential height
=======  =====================================================
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from crowlight.errors import InputError
from crowlight.materials.limits import check_altitude, check_pressure

__all__ = [
    "STANDARD_PRESSURE",
    "Atmosphere",
    "Place",
    "PlacePressure",
    "geopotential_height",
    "place_pressure",
    "pressure_on_the_spot",
    "standard_atmosphere",
]

# ISO 2533:1975, clause 2 and table 1.
STANDARD_PRESSURE = 101325.0
"""Pressure of the standard atmosphere at sea level [Pa]."""
_T0 = 288.15
_LAPSE = -6.5e-3
_R = 287.05287
_G = 9.80665
_EARTH_RADIUS = 6_356_766.0
_HEAT_RATIO = 1.4
_EXPONENT = -_G / (_R * _LAPSE)  # 5.25588

_WEATHER_SHARE = 0.06
"""Largest weather departure taken without asking, as a share of the standard pressure.

Sea-level extremes on record are about -14 % (typhoon) and +7 % (Siberian high), from memory;
everyday weather stays within 4 %."""


@dataclass(frozen=True, slots=True)
class Atmosphere:
    """The standard atmosphere at one or many heights.

    Parameters
    ----------
    temperature : ndarray
        [K].
    pressure : ndarray
        [Pa].
    density : ndarray
        Of dry air [kg/m3].
    speed_of_sound : ndarray
        [m/s].
    """

    temperature: NDArray[np.float64]
    pressure: NDArray[np.float64]
    density: NDArray[np.float64]
    speed_of_sound: NDArray[np.float64]


def geopotential_height(height: ArrayLike) -> NDArray[np.float64]:
    """Turn geometric into geopotential height.

    Parameters
    ----------
    height : array_like
        Geometric height above sea level [m].

    Returns
    -------
    ndarray
        Geopotential height [m].

    References
    ----------
    ISO 2533:1975, equation (8): ``H = r z / (r + z)``.

    Examples
    --------
    >>> round(float(geopotential_height(3000.0)), 1)
    2998.6
    """
    z = np.asarray(height, dtype=float)
    return _EARTH_RADIUS * z / (_EARTH_RADIUS + z)


def standard_atmosphere(height: ArrayLike, *, geopotential: bool = False) -> Atmosphere:
    """Mean atmosphere at a height above sea level.

    Parameters
    ----------
    height : array_like
        Height above sea level [m], -500 to 5500.
    geopotential : bool
        Whether `height` is geopotential; geometric (what maps show) otherwise.

    Returns
    -------
    Atmosphere
        With arrays shaped like `height`.

    Raises
    ------
    InputError
        If a height lies outside the range.

    Notes
    -----
    Valid for the mean mid-latitude atmosphere *outdoors*: indoors only its pressure applies.

    References
    ----------
    ISO 2533:1975, equations (11) to (14) for the layer from -2 to 11 km.

    Examples
    --------
    >>> air = standard_atmosphere(1000.0, geopotential=True)
    >>> round(float(air.pressure), 1), round(float(air.density), 5)
    (89874.6, 1.11164)
    """
    given = check_altitude(height)
    h = given if geopotential else geopotential_height(given)
    temperature = _T0 + _LAPSE * h
    pressure = STANDARD_PRESSURE * (temperature / _T0) ** _EXPONENT
    return Atmosphere(
        temperature=temperature,
        pressure=pressure,
        density=pressure / (_R * temperature),
        speed_of_sound=np.sqrt(_HEAT_RATIO * _R * temperature),
    )


@dataclass(frozen=True, slots=True)
class Place:
    """Where a reed is finished or played.

    Parameters
    ----------
    name : str
        As the maker calls it.
    altitude : float
        Above mean sea level [m], -500 to 5500.
    measured_pressure : float or None
        Read on the spot from a barometer *not* set to sea level [Pa]; None if nobody measured.

    Raises
    ------
    InputError
        If the altitude is missing or outside, or the pressure does not fit the altitude.

    Examples
    --------
    >>> Place("Highfold", 2100.0).altitude
    2100.0
    """

    name: str
    altitude: float
    measured_pressure: float | None = None

    def __post_init__(self) -> None:
        if self.altitude is None:  # pyright: ignore[reportUnnecessaryComparison] -- from a form
            msg = (
                f"the place {self.name!r} has no altitude; a map or the local airport gives it, "
                "-500 to 5500 m"
            )
            raise InputError(msg)
        check_altitude(self.altitude)
        if self.measured_pressure is not None:
            _check_on_the_spot(self.name, self.altitude, self.measured_pressure)


def _check_on_the_spot(name: str, altitude: float, measured: float) -> None:
    check_pressure(measured)
    standard = float(standard_atmosphere(altitude).pressure)
    if abs(measured / standard - 1.0) <= _WEATHER_SHARE:
        return
    asked = "is the altitude right, and the barometer?"
    if altitude > 0.0 and abs(measured / STANDARD_PRESSURE - 1.0) <= _WEATHER_SHARE:
        local = float(pressure_on_the_spot(altitude, measured))
        asked = (
            "is it a forecast, reduced to sea level? "
            f"Then on the spot it is about {local / 100.0:.0f} hPa"
        )
    msg = (
        f"{measured / 100.0:.0f} hPa does not fit {name!r} at {altitude:g} m, where "
        f"{standard / 100.0:.0f} hPa is usual and weather changes it by "
        f"{100 * _WEATHER_SHARE:.0f} % at most; {asked}"
    )
    raise InputError(msg)


@dataclass(frozen=True, slots=True)
class PlacePressure:
    """Pressure of a place, split into what altitude does and what weather adds.

    Parameters
    ----------
    pressure : float
        To compute with: measured if there is a measurement, standard otherwise [Pa].
    by_altitude : float
        Of the standard atmosphere at that altitude [Pa].
    by_weather : float
        Measured minus standard [Pa]; 0 if nobody measured.
    measured : bool
        Whether there was a measurement.
    """

    pressure: float
    by_altitude: float
    by_weather: float
    measured: bool


def place_pressure(place: Place) -> PlacePressure:
    """Air pressure of a place with altitude and weather kept apart.

    Parameters
    ----------
    place : Place
        Altitude, and a barometer reading if there is one.

    Returns
    -------
    PlacePressure
        Total and its two parts [Pa].

    Examples
    --------
    >>> split = place_pressure(Place("Saltmarsh", 0.0, measured_pressure=99325.0))
    >>> split.by_altitude, split.by_weather
    (101325.0, -2000.0)
    """
    standard = float(standard_atmosphere(place.altitude).pressure)
    if place.measured_pressure is None:
        return PlacePressure(standard, standard, 0.0, measured=False)
    measured = float(place.measured_pressure)
    return PlacePressure(measured, standard, measured - standard, measured=True)


def pressure_on_the_spot(altitude: ArrayLike, sea_level_pressure: ArrayLike) -> NDArray[np.float64]:
    """Undo a forecast's reduction to sea level.

    Parameters
    ----------
    altitude : array_like
        Geometric height [m], -500 to 5500.
    sea_level_pressure : array_like
        As forecasts give it [Pa].

    Returns
    -------
    ndarray
        Pressure at that altitude [Pa].

    Raises
    ------
    InputError
        If a value lies outside its range.

    Notes
    -----
    Uses the altimeter-setting convention (the standard profile, displaced). Weather services reduce
    with the actual temperature, which can differ by about 1 % at 2000 m (from memory): a barometer
    reading on the spot is better.

    Examples
    --------
    >>> round(float(pressure_on_the_spot(1600.0, 101325.0)), 1)
    83527.7
    """
    h = geopotential_height(check_altitude(altitude))
    sea = check_pressure(sea_level_pressure)
    displaced = _T0 * ((sea / STANDARD_PRESSURE) ** (1.0 / _EXPONENT)) + _LAPSE * h
    return STANDARD_PRESSURE * (displaced / _T0) ** _EXPONENT
