"""Air as an ideal mixture: breath, high places and cold streets, where the formulas end.

Every gas is ideal, its heat capacity varies with temperature, and viscosity and conductivity are
mixed from the gases. The price is the missing compressibility: density is up to 5 parts in ten
thousand low at sea level, less higher up. In return breath, 3000 m and room air come from one
formula without a step between them, which is what comparisons need.

==========  ========================================================
symbol      meaning
==========  ========================================================
x, M        mole fractions, molar masses [kg/mol]
cp          molar heat capacity at constant pressure / R
mu, k       viscosity [Pa s], conductivity [W/(m K)]
Phi         Wilke's mixing factors
==========  ========================================================
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from crowlight.errors import InputError
from crowlight.materials.humid import ROOM_CO2, vapour_fraction
from crowlight.materials.limits import check_humidity, check_pressure, check_temperature

__all__ = ["NORMAL_OXYGEN", "Mixture", "mix"]

GAS_CONSTANT = 8.314462618
"""Molar gas constant [J/(mol K)]; exact in the SI of 2019."""

NORMAL_OXYGEN = 0.2095
"""Mole fraction of oxygen in dry outside air (ISO 2533 table 3: 20.9476 %)."""

_ARGON_TO_NITROGEN = 0.00934 / 0.78084  # ISO 2533, table 3

# Order everywhere below: nitrogen, oxygen, argon, carbon dioxide, water.
# IUPAC standard atomic weights, rounded to the digits that matter here.
_MOLAR_MASS = np.array([28.0134, 31.9988, 39.948, 44.0095, 18.01528]) * 1e-3

# cp/R = sum a_i T^i, 200 to 1000 K: seven-coefficient polynomials of the NASA form as
# distributed in the Burcat tables (from memory; checked against a general fluid library).
_HEAT = np.array(
    [
        [3.53100528, -1.23660988e-4, -5.02999433e-7, 2.43530612e-9, -1.40881235e-12],
        [3.78245636, -2.99673416e-3, 9.84730201e-6, -9.68129509e-9, 3.24372837e-12],
        [2.5, 0.0, 0.0, 0.0, 0.0],
        [2.35677352, 8.98459677e-3, -7.12356269e-6, 2.45919022e-9, -1.43699548e-13],
        [4.19864056, -2.0364341e-3, 6.52040211e-6, -5.48797062e-9, 1.77197817e-12],
    ]
)


@dataclass(frozen=True, slots=True)
class Mixture:
    """Properties of one or many states of an ideal gas mixture.

    Parameters
    ----------
    density : ndarray
        [kg/m3].
    speed_of_sound : ndarray
        [m/s].
    heat_capacity : ndarray
        At constant pressure [J/(kg K)].
    heat_ratio : ndarray
        Ratio of heat capacities.
    viscosity : ndarray
        [Pa s].
    conductivity : ndarray
        [W/(m K)].
    """

    density: NDArray[np.float64]
    speed_of_sound: NDArray[np.float64]
    heat_capacity: NDArray[np.float64]
    heat_ratio: NDArray[np.float64]
    viscosity: NDArray[np.float64]
    conductivity: NDArray[np.float64]


def _fractions(
    vapour: NDArray[np.float64], co2: NDArray[np.float64], oxygen: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Mole fractions of the five gases, first axis; `co2` and `oxygen` are of the dry gas."""
    rest = 1.0 - co2 - oxygen
    nitrogen = rest / (1.0 + _ARGON_TO_NITROGEN)
    dry = np.stack(np.broadcast_arrays(nitrogen, oxygen, rest - nitrogen, co2))
    return np.concatenate([dry * (1.0 - vapour), np.broadcast_to(vapour, dry.shape[1:])[None]])


def _pure_viscosities(kelvin: NDArray[np.float64]) -> tuple[NDArray[np.float64], ...]:
    """Viscosity of dry air, carbon dioxide and water vapour [Pa s]."""
    # ISO 2533:1975, equation (22).
    dry = 1.458e-6 * kelvin**1.5 / (kelvin + 110.4)
    # Sutherland's law with White, Viscous Fluid Flow, table 1-2 (from memory).
    carbon = 1.370e-5 * (kelvin / 273.0) ** 1.5 * (273.0 + 222.0) / (kelvin + 222.0)
    # IAPWS R12-08 (2008), equation (11), dilute gas.
    reduced = kelvin / 647.096
    series = 1.67752 + 2.20462 / reduced + 0.6366564 / reduced**2 - 0.241605 / reduced**3
    return dry, carbon, 1e-4 * np.sqrt(reduced) / series


def _pure_conductivities(kelvin: NDArray[np.float64]) -> tuple[NDArray[np.float64], ...]:
    """Thermal conductivity of dry air, carbon dioxide and water vapour [W/(m K)]."""
    # ISO 2533:1975, equation (24).
    dry = 2.648151e-3 * kelvin**1.5 / (kelvin + 245.4 * 10.0 ** (-12.0 / kelvin))
    # Sutherland's law with White, Viscous Fluid Flow, table 1-3 (from memory).
    carbon = 0.0146 * (kelvin / 273.0) ** 1.5 * (273.0 + 1800.0) / (kelvin + 1800.0)
    # IAPWS R15-11 (2011), equation (16), dilute gas.
    reduced = kelvin / 647.096
    series = (
        2.443221e-3
        + 1.323095e-2 / reduced
        + 6.770357e-3 / reduced**2
        - 3.454586e-3 / reduced**3
        + 4.096266e-4 / reduced**4
    )
    return dry, carbon, 1e-3 * np.sqrt(reduced) / series


def _wilke(
    shares: list[NDArray[np.float64]],
    masses: list[NDArray[np.float64]],
    viscosities: tuple[NDArray[np.float64], ...],
    values: tuple[NDArray[np.float64], ...],
) -> NDArray[np.float64]:
    """Mix `values` with Wilke's factors (Wilke 1950, J. Chem. Phys. 18:517, equations (13, 14))."""
    total = np.zeros_like(viscosities[0])
    for i, share in enumerate(shares):
        weight = np.zeros_like(total)
        for j, other in enumerate(shares):
            factor = (
                1.0 + np.sqrt(viscosities[i] / viscosities[j]) * (masses[j] / masses[i]) ** 0.25
            )
            weight = weight + other * factor**2 / np.sqrt(8.0 * (1.0 + masses[i] / masses[j]))
        total = total + share * values[i] / weight
    return total


def mix(
    temperature: ArrayLike,
    pressure: ArrayLike,
    humidity: ArrayLike,
    *,
    co2: ArrayLike = ROOM_CO2,
    oxygen: ArrayLike = NORMAL_OXYGEN,
) -> Mixture:
    """Humid air of any breathable composition as an ideal mixture.

    Parameters
    ----------
    temperature : array_like
        [K], 248.15 to 318.15.
    pressure : array_like
        [Pa], 45 000 to 115 000.
    humidity : array_like
        Relative humidity, 0 to 1.
    co2 : array_like
        Mole fraction of carbon dioxide in the dry gas, 0 to 0.1 (breath: 0.03 to 0.085).
    oxygen : array_like
        Mole fraction of oxygen in the dry gas, 0.05 to 0.25.

    Returns
    -------
    Mixture
        With arrays shaped like the broadcast inputs.

    Raises
    ------
    InputError
        If a value lies outside its range.

    Notes
    -----
    Against general libraries: density 6e-4, speed of sound 5e-4, heat capacity 4e-3, viscosity
    1.5 %, conductivity 2 %.
    Dispersion by relaxation (below 1e-4 here) is left out.

    References
    ----------
    ISO 2533:1975 for dry air; Wilke 1950 for viscosity; Mason and Saxena 1958, Phys. Fluids 1:361,
    for conductivity (with factor 1 instead of 1.065).

    Examples
    --------
    >>> breath = mix(310.15, 101325.0, 1.0, co2=0.04, oxygen=0.165)
    >>> round(float(breath.density), 3), round(float(breath.speed_of_sound), 1)
    (1.128, 353.2)
    """
    kelvin, pascal, wet, carbon, oxy = np.broadcast_arrays(
        check_temperature(temperature),
        check_pressure(pressure),
        check_humidity(humidity),
        np.asarray(co2, dtype=float),
        np.asarray(oxygen, dtype=float),
    )
    if not ((carbon >= 0.0) & (carbon <= 0.1)).all():
        msg = f"carbon dioxide must be a fraction of 0 to 0.1, not {carbon}; breath has about 0.04"
        raise InputError(msg)
    if not ((oxy >= 0.05) & (oxy <= 0.25)).all():
        msg = f"oxygen must be a fraction of 0.05 to 0.25, not {oxy}; outside air has 0.2095"
        raise InputError(msg)
    x = _fractions(vapour_fraction(kelvin, pascal, wet), carbon, oxy)
    along = (slice(None),) + (None,) * (x.ndim - 1)
    mass = (x * _MOLAR_MASS[along]).sum(axis=0)
    powers = np.stack([kelvin**i for i in range(5)])
    heat = (x * np.tensordot(_HEAT, powers, axes=1)).sum(axis=0)  # cp / R
    ratio = heat / (heat - 1.0)
    per_mass = GAS_CONSTANT / mass
    shares = [x[0] + x[1] + x[2], x[3], x[4]]
    masses = [
        (x[:3] * _MOLAR_MASS[:3][along]).sum(axis=0) / shares[0],
        np.asarray(_MOLAR_MASS[3]),
        np.asarray(_MOLAR_MASS[4]),
    ]
    viscosities = _pure_viscosities(kelvin)
    return Mixture(
        density=pascal / (per_mass * kelvin),
        speed_of_sound=np.sqrt(ratio * per_mass * kelvin),
        heat_capacity=heat * per_mass,
        heat_ratio=ratio,
        viscosity=_wilke(shares, masses, viscosities, viscosities),
        conductivity=_wilke(shares, masses, viscosities, _pure_conductivities(kelvin)),
    )
