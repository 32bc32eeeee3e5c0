"""Air against published tables: standard atmosphere, humid air, saturation.

Expected values keep the printed digits; each tolerance is half of the last printed one.
"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from crowlight.checks.case import Check
from crowlight.materials import room_air, standard_atmosphere
from crowlight.materials.humid import (
    cipm_density,
    cramer_speed_of_sound,
    saturation_pressure,
    vapour_fraction,
)
from crowlight.materials.limits import ZERO_CELSIUS

__all__ = ["cases"]

_ISO = "ISO 2533:1975 table 1"
_US76 = "US Standard Atmosphere 1976 (same layer as ISO 2533), table 1, from memory"
_IEC = "IEC 61094-2:2009 table F.1"

# geopotential height [m], temperature [K], pressure [Pa], density [kg/m3], speed of sound [m/s]
_GEOPOTENTIAL = (
    (0.0, "288.150", "101325", "1.22500", "340.294"),
    (500.0, "284.900", "95460.8", "1.16727", "338.369"),
    (1000.0, "281.650", "89874.6", "1.11164", "336.434"),
    (1600.0, "277.750", "83523.5", "1.04759", "334.097"),
    (2200.0, "273.850", "77540.9", "0.986407", "331.743"),
    (3000.0, "268.650", "70108.5", "0.909122", "328.578"),
)

# geometric height [m], temperature [K], pressure [Pa], density [kg/m3]
_GEOMETRIC = (
    (0.0, "288.150", "101325", "1.2250"),
    (500.0, "284.900", "95461", "1.1673"),
    (1000.0, "281.651", "89876", "1.1117"),
    (1600.0, "277.753", "83528", "1.0476"),
    (2200.0, "273.855", "77548", "0.9865"),
    (3000.0, "268.659", "70121", "0.9093"),
)

# temperature [°C], pressure [Pa], relative humidity; printed density and speed of sound
_HUMID = (
    (23.0, 101325.0, 0.5, "1.1860848", "345.86652", "1.826566e-5", "1.4007573"),
    (20.0, 80000.0, 0.65, "0.9441589", "344.38267", "1.811295e-5", "1.4000266"),
)


def _half_digit(printed: str) -> float:
    """Half a unit of the last printed digit, with room for rounding of the comparison itself."""
    exponent = int(Decimal(printed).as_tuple().exponent)
    return 0.5000001 * 10.0**exponent


def _printed(name: str, value: float, printed: str, unit: str, source: str) -> Check:
    return Check(name, value, float(printed), _half_digit(printed), unit, source)


def _standard() -> Iterator[Check]:
    for height, *printed in _GEOPOTENTIAL:
        air = standard_atmosphere(height, geopotential=True)
        found = (air.temperature, air.pressure, air.density, air.speed_of_sound)
        names = (
            ("temperature", "K"),
            ("pressure", "Pa"),
            ("density", "kg/m3"),
            ("speed of sound", "m/s"),
        )
        for (name, unit), value, text in zip(names, found, printed, strict=True):
            yield _printed(
                f"standard {name} at {height:g} m geopotential", float(value), text, unit, _ISO
            )
    for height, temperature, pressure, density in _GEOMETRIC:
        air = standard_atmosphere(height)
        at = f"at {height:g} m geometric"
        yield _printed(
            f"standard temperature {at}", float(air.temperature), temperature, "K", _US76
        )
        yield _printed(f"standard pressure {at}", float(air.pressure), pressure, "Pa", _US76)
        yield _printed(f"standard density {at}", float(air.density), density, "kg/m3", _US76)


def _humid() -> Iterator[Check]:
    for celsius, pressure, humidity, density, speed, viscosity, ratio in _HUMID:
        state = (celsius + ZERO_CELSIUS, pressure, humidity)
        at = f"at {celsius:g} °C, {pressure:g} Pa, {100 * humidity:g} %"
        yield _printed(
            f"CIPM-2007 density {at}", float(cipm_density(*state)), density, "kg/m3", _IEC
        )
        yield _printed(
            f"Cramer speed of sound {at}", float(cramer_speed_of_sound(*state)), speed, "m/s", _IEC
        )
        mixed = room_air(*state, formula="mixture")
        # The ideal mixture is another formula: its stated accuracy is what is checked.
        for name, value, text, share, unit in (
            ("density", mixed.density, density, 6e-4, "kg/m3"),
            ("speed of sound", mixed.speed_of_sound, speed, 5e-4, "m/s"),
            ("viscosity", mixed.viscosity, viscosity, 1e-2, "Pa s"),
            ("ratio of heat capacities", mixed.heat_ratio, ratio, 1.5e-3, "1"),
        ):
            yield Check(
                f"ideal mixture {name} {at}",
                float(value),
                float(text),
                share * float(text),
                unit,
                _IEC,
            )


def _constants() -> Iterator[Check]:
    yield _printed(
        "speed of sound in dry air at 0 °C",
        float(cramer_speed_of_sound(ZERO_CELSIUS, 101325.0, 0.0, co2=3.14e-4)),
        "331.45",
        "m/s",
        "Cramer 1993, JASA 93:2510, abstract",
    )
    # 1e-4: the uncertainty CIPM-2007 itself gives its vapour pressure at room temperature.
    for celsius, expected in ((20.0, 2339.32), (37.0, 6282.3)):
        yield Check(
            f"saturation pressure of water at {celsius:g} °C",
            float(saturation_pressure(celsius + ZERO_CELSIUS)),
            expected,
            1e-4 * expected,
            "Pa",
            "IAPWS-95 (Wagner and Pruss 2002, J. Phys. Chem. Ref. Data 31:387)",
        )
    yield Check(
        "enhancement factor at 20 °C, 101325 Pa",
        float(vapour_fraction(293.15, 101325.0, 1.0) * 101325.0 / saturation_pressure(293.15)),
        1.0040,
        0.0001,
        "1",
        "Greenspan 1976, J. Res. NBS 80A:41, from memory",
    )


def cases() -> Iterator[Check]:
    """Compare air with the published tables.

    Yields
    ------
    Check
        One per printed number.
    """
    yield from _standard()
    yield from _humid()
    yield from _constants()
