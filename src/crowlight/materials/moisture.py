"""How wet cane is, and how fast it dries and soaks.

=========  =================================================
symbol     meaning
=========  =================================================
h, T       relative humidity, temperature [°C in the formula]
W, K, Ki   Hailwood and Horrobin's constants
D          diffusivity [m2/s]
=========  =================================================
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from crowlight.errors import InputError
from crowlight.materials.cane import cane
from crowlight.materials.humid import saturation_pressure
from crowlight.materials.limits import (
    ZERO_CELSIUS,
    check_humidity,
    check_pressure,
    check_temperature,
)

__all__ = [
    "DryingTime",
    "drying_time",
    "equilibrium_moisture",
    "soaking_time",
    "vapour_diffusivity",
]

_VAPOUR_GAS_CONSTANT = 461.52
"""Of water vapour [J/(kg K)]."""


def equilibrium_moisture(temperature: ArrayLike, humidity: ArrayLike) -> NDArray[np.float64]:
    """Moisture that wood reaches in still air, taken for cane.

    Parameters
    ----------
    temperature : array_like
        [K], 248.15 to 318.15; the table behind the formula starts at -1 °C.
    humidity : array_like
        Relative humidity, 0 to 1.

    Returns
    -------
    ndarray
        Water per dry mass, 0 to about 0.3.

    Raises
    ------
    InputError
        If a value lies outside its range.

    Notes
    -----
    A formula for wood. Cane differs by an unknown offset, and wetting and drying differ by one to
    two points: see ``cane("sorption_offset")``. A reed being played is soaked, whatever the room.

    References
    ----------
    Simpson 1998, "Equilibrium moisture content of wood in outdoor locations in the United States
    and worldwide", USDA FPL-RN-0268; Wood Handbook ch. 4, equation (4-5), Celsius form; after
    Hailwood and Horrobin 1946, Trans. Faraday Soc. 42B:84.

    Examples
    --------
    >>> round(100 * float(equilibrium_moisture(294.25, 0.5)), 1)
    9.2
    """
    t = check_temperature(temperature) - ZERO_CELSIUS
    h = check_humidity(humidity)
    w = 349.0 + 1.29 * t + 0.0135 * t**2
    k = 0.805 + 0.000736 * t - 2.73e-6 * t**2
    k1 = 6.27 - 0.00938 * t - 0.000303 * t**2
    k2 = 1.91 + 0.0407 * t - 0.000293 * t**2
    kh = k * h
    hydrated = (k1 * kh + 2.0 * k1 * k2 * kh**2) / (1.0 + k1 * kh + k1 * k2 * kh**2)
    return 18.0 / w * (kh / (1.0 - kh) + hydrated)


def vapour_diffusivity(temperature: ArrayLike, pressure: ArrayLike) -> NDArray[np.float64]:
    """Diffusivity of water vapour in air; grows as pressure falls.

    Parameters
    ----------
    temperature : array_like
        [K], 248.15 to 318.15.
    pressure : array_like
        [Pa].

    Returns
    -------
    ndarray
        [m2/s].

    Raises
    ------
    InputError
        If a value lies outside its range.

    References
    ----------
    Hall and Pruppacher 1976, J. Atmos. Sci. 33:1995: 2.11e-5 (T/273.15)^1.94 (101325/p), from
    memory.

    Examples
    --------
    >>> round(1e6 * float(vapour_diffusivity(298.15, 101325.0)), 1)
    25.0
    """
    kelvin, pascal = check_temperature(temperature), check_pressure(pressure)
    return 2.11e-5 * (kelvin / 273.15) ** 1.94 * (101325.0 / pascal)


@dataclass(frozen=True, slots=True)
class DryingTime:
    """How fast a wet blade dries.

    Parameters
    ----------
    per_point : ndarray, shape (draws,)
        Time to lose one point (1 % of the dry mass) at the start [s].
    inside : ndarray, shape (draws,)
        Time for moisture to even out across the thickness [s]; when it is longer than the drying,
        the surface is drier than the heart.
    """

    per_point: NDArray[np.float64]
    inside: NDArray[np.float64]


def _check_thickness(thickness: float) -> None:
    if not 2e-5 <= thickness <= 2e-3:
        msg = (
            f"thickness {1e3 * thickness:g} mm is outside 0.02 to 2 mm; "
            "is it in metres? 0.4 mm is 4e-4"
        )
        raise InputError(msg)


def drying_time(
    thickness: float,
    temperature: float,
    pressure: float,
    humidity: float,
    *,
    rng: np.random.Generator,
    draws: int = 200,
) -> DryingTime:
    """Draw how fast a soaked blade dries in still air, at the start, from its outer face.

    Parameters
    ----------
    thickness : float
        Of the blade [m], 2e-5 to 2e-3.
    temperature : float
        Of air and blade [K].
    pressure : float
        [Pa].
    humidity : float
        Relative humidity of the room, 0 to 1.
    rng : numpy.random.Generator
        Source of chance.
    draws : int
        How many.

    Returns
    -------
    DryingTime
        Draws [s]. At humidity 1 nothing dries: the time is infinite.

    Raises
    ------
    InputError
        If a value lies outside its range.

    Notes
    -----
    Vapour diffuses through a still layer whose thickness is the main unknown (a factor of two each
    way). Cooling by evaporation and draught are left out: they pull in opposite directions. The
    *ratio* of two places is better known than either time.

    Examples
    --------
    >>> rng = np.random.default_rng(0)
    >>> time = drying_time(4e-4, 298.15, 101325.0, 0.6, rng=rng)
    >>> bool(8.0 < float(np.median(time.per_point)) < 60.0)
    True
    """
    _check_thickness(thickness)
    wet = float(saturation_pressure(temperature)) / (_VAPOUR_GAS_CONSTANT * temperature)
    missing = wet * (1.0 - float(check_humidity(humidity)))  # vapour density difference [kg/m3]
    layer = cane("still_layer").draw(rng, draws)
    density = cane("dry_density").draw(rng, draws)
    inner = cane("bound_water_diffusivity").draw(rng, draws)
    flux = float(vapour_diffusivity(temperature, pressure)) * missing / layer
    point = 0.01 * density * thickness
    with np.errstate(divide="ignore"):
        per_point = point / flux
    return DryingTime(per_point=per_point, inside=thickness**2 / (np.pi**2 * inner))


def soaking_time(
    thickness: float, *, rng: np.random.Generator, draws: int = 200
) -> NDArray[np.float64]:
    """Draw how long a dry blade needs to soak through from both faces.

    Parameters
    ----------
    thickness : float
        Of the blade [m], 2e-5 to 2e-3.
    rng : numpy.random.Generator
        Source of chance.
    draws : int
        How many.

    Returns
    -------
    ndarray, shape (draws,)
        Time until nine tenths of the water is in [s].

    Raises
    ------
    InputError
        If the thickness lies outside its range.

    References
    ----------
    Crank 1975, The Mathematics of Diffusion, 2nd ed., equation (4.18): the plane sheet's first
    term reaches 0.9 at D t / h**2 = 0.212.

    Examples
    --------
    >>> times = soaking_time(4e-4, rng=np.random.default_rng(0))
    >>> bool(30.0 < float(np.median(times)) < 300.0)
    True
    """
    _check_thickness(thickness)
    diffusivity = cane("soaking_diffusivity").draw(rng, draws)
    return 0.212 * thickness**2 / diffusivity
