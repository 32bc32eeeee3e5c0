"""One state of air with everything the bore needs, and which formula gave it.

Inside their ranges density comes from CIPM-2007 and speed of sound from Cramer; elsewhere both come
from the ideal mixture. Comparisons (here against there, breath against room) ask for the mixture on
both sides, so that the small step between formulas never looks like an effect of altitude.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from crowlight.errors import InputError
from crowlight.materials.humid import (
    CIPM_PRESSURES,
    CIPM_TEMPERATURES,
    CRAMER_PRESSURES,
    CRAMER_TEMPERATURES,
    ROOM_CO2,
    cipm_density,
    cramer_speed_of_sound,
    vapour_fraction,
)
from crowlight.materials.limits import ZERO_CELSIUS
from crowlight.materials.mixture import NORMAL_OXYGEN, mix

__all__ = ["BREATH_CO2", "BREATH_OXYGEN", "BREATH_TEMPERATURE", "Air", "breath", "room_air"]

Formula = Literal["best", "mixture"]

BREATH_CO2 = 0.045
"""Carbon dioxide of a long breath, dry fraction; up to 0.085 (Fuks 1996, from memory)."""
BREATH_OXYGEN = 0.16
"""Oxygen of a long breath, dry fraction (from memory)."""
BREATH_TEMPERATURE = ZERO_CELSIUS + 35.0
"""Breath as it enters the reed [K]; an assumption between mouth (37 °C) and bore (about 28 °C)."""


@dataclass(frozen=True, slots=True)
class Air:
    """One state of air, or arrays of states.

    Parameters
    ----------
    temperature, pressure, humidity : ndarray
        [K], [Pa], relative humidity 0 to 1.
    density : ndarray
        [kg/m3].
    speed_of_sound : ndarray
        [m/s].
    viscosity : ndarray
        [Pa s].
    conductivity : ndarray
        [W/(m K)].
    heat_capacity : ndarray
        At constant pressure [J/(kg K)].
    heat_ratio : ndarray
        Ratio of heat capacities.
    density_by, speed_by : str
        ``"CIPM-2007"``, ``"Cramer 1993"`` or ``"ideal mixture"``.
    """

    temperature: NDArray[np.float64]
    pressure: NDArray[np.float64]
    humidity: NDArray[np.float64]
    density: NDArray[np.float64]
    speed_of_sound: NDArray[np.float64]
    viscosity: NDArray[np.float64]
    conductivity: NDArray[np.float64]
    heat_capacity: NDArray[np.float64]
    heat_ratio: NDArray[np.float64]
    density_by: str
    speed_by: str


def _inside(values: NDArray[np.float64], limits: tuple[float, float]) -> bool:
    return bool(((values >= limits[0] - 1e-9) & (values <= limits[1] + 1e-9)).all())


def room_air(
    temperature: ArrayLike,
    pressure: ArrayLike,
    humidity: ArrayLike = 0.5,
    *,
    co2: ArrayLike = ROOM_CO2,
    formula: Formula = "best",
) -> Air:
    """Air of a room, a hall or a street.

    Parameters
    ----------
    temperature : array_like
        [K], 248.15 to 318.15.
    pressure : array_like
        On the spot, not reduced to sea level [Pa], 45 000 to 115 000.
    humidity : array_like
        Relative humidity, 0 to 1.
    co2 : array_like
        Mole fraction of carbon dioxide, 0 to 0.1.
    formula : {"best", "mixture"}
        ``"best"`` takes a reference formula where *all* states lie in its range; ``"mixture"``
        takes the ideal mixture throughout, for comparisons.

    Returns
    -------
    Air
        Arrays shaped like the broadcast inputs.

    Raises
    ------
    InputError
        If a value lies outside its range.

    Examples
    --------
    >>> air = room_air(293.15, 101325.0, 0.5)
    >>> round(float(air.density), 4), air.density_by
    (1.1993, 'CIPM-2007')
    >>> room_air(293.15, 70121.0, 0.5).speed_by
    'ideal mixture'
    """
    if formula not in ("best", "mixture"):
        msg = f"unknown formula {formula!r}; choose 'best' or 'mixture'"
        raise InputError(msg)
    kelvin, pascal, wet, carbon = np.broadcast_arrays(
        np.asarray(temperature, dtype=float),
        np.asarray(pressure, dtype=float),
        np.asarray(humidity, dtype=float),
        np.asarray(co2, dtype=float),
    )
    mixed = mix(kelvin, pascal, wet, co2=carbon, oxygen=NORMAL_OXYGEN)
    density, speed = mixed.density, mixed.speed_of_sound
    density_by = speed_by = "ideal mixture"
    little_co2 = bool((carbon <= 0.01).all())
    if formula == "best" and little_co2:
        if _inside(kelvin, CIPM_TEMPERATURES) and _inside(pascal, CIPM_PRESSURES):
            density, density_by = cipm_density(kelvin, pascal, wet, co2=carbon), "CIPM-2007"
        if (
            _inside(kelvin, CRAMER_TEMPERATURES)
            and _inside(pascal, CRAMER_PRESSURES)
            and bool((vapour_fraction(kelvin, pascal, wet) <= 0.06).all())
        ):
            speed = cramer_speed_of_sound(kelvin, pascal, wet, co2=carbon)
            speed_by = "Cramer 1993"
    return Air(
        temperature=kelvin,
        pressure=pascal,
        humidity=wet,
        density=density,
        speed_of_sound=speed,
        viscosity=mixed.viscosity,
        conductivity=mixed.conductivity,
        heat_capacity=mixed.heat_capacity,
        heat_ratio=mixed.heat_ratio,
        density_by=density_by,
        speed_by=speed_by,
    )


def breath(
    pressure: ArrayLike,
    *,
    temperature: ArrayLike = BREATH_TEMPERATURE,
    humidity: ArrayLike = 1.0,
    co2: ArrayLike = BREATH_CO2,
    oxygen: ArrayLike = BREATH_OXYGEN,
) -> Air:
    """Breath on its way through a reed, as an ideal mixture.

    Parameters
    ----------
    pressure : array_like
        Of the place [Pa]; the few kilopascals of blowing are left out.
    temperature : array_like
        [K].
    humidity : array_like
        Relative humidity, 0 to 1.
    co2, oxygen : array_like
        Dry mole fractions.

    Returns
    -------
    Air
        Arrays shaped like the broadcast inputs.

    Raises
    ------
    InputError
        If a value lies outside its range.

    Examples
    --------
    >>> air = breath(101325.0)
    >>> round(float(air.density), 3), round(float(air.speed_of_sound), 1)
    (1.141, 351.2)
    """
    kelvin, pascal, wet, carbon, oxy = np.broadcast_arrays(
        *(np.asarray(v, dtype=float) for v in (temperature, pressure, humidity, co2, oxygen))
    )
    mixed = mix(kelvin, pascal, wet, co2=carbon, oxygen=oxy)
    return Air(
        temperature=kelvin,
        pressure=pascal,
        humidity=wet,
        density=mixed.density,
        speed_of_sound=mixed.speed_of_sound,
        viscosity=mixed.viscosity,
        conductivity=mixed.conductivity,
        heat_capacity=mixed.heat_capacity,
        heat_ratio=mixed.heat_ratio,
        density_by="ideal mixture",
        speed_by="ideal mixture",
    )
