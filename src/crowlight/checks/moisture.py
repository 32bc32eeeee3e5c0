"""Equilibrium moisture and vapour diffusion against handbook values."""

from __future__ import annotations

from collections.abc import Iterator

from crowlight.checks.case import Check
from crowlight.materials import equilibrium_moisture, vapour_diffusivity
from crowlight.materials.limits import ZERO_CELSIUS

__all__ = ["cases"]

# Half of the last printed digit, and 0.011 by which the rounded Celsius constants of the formula
# differ from the Fahrenheit ones between 5 and 95 %.
_TOLERANCE = 0.05 + 0.011

# Wood Handbook (FPL-GTR-282) table 4-2, relative humidity 5 to 95 % in steps of 5, from memory [%].
_ROWS = {
    21.1: "1.3 2.5 3.5 4.5 5.4 6.2 6.9 7.7 8.5 9.2 10.1 11.0 12.0 13.1 14.4 16.0 17.9 20.5 23.9",
    37.8: "1.2 2.3 3.3 4.2 5.0 5.8 6.5 7.2 7.9 8.7 9.5 10.3 11.2 12.3 13.6 15.1 17.0 19.5 22.9",
}


def cases() -> Iterator[Check]:
    """Compare cane moisture with the Wood Handbook's table.

    Yields
    ------
    Check
        One per printed number; tolerance half of the last printed digit.
    """
    for celsius, row in _ROWS.items():
        for step, printed in enumerate(row.split(), start=1):
            humidity = 0.05 * step
            yield Check(
                f"equilibrium moisture at {celsius} °C, {100 * humidity:.0f} %",
                100.0 * float(equilibrium_moisture(celsius + ZERO_CELSIUS, humidity)),
                float(printed),
                _TOLERANCE,
                "%",
                "Wood Handbook FPL-GTR-282 table 4-2, from memory",
            )
    yield Check(
        "diffusivity of water vapour in air at 25 °C",
        1e6 * float(vapour_diffusivity(ZERO_CELSIUS + 25.0, 101325.0)),
        24.9,
        0.6,
        "mm2/s",
        "Massman 1998, Atmos. Environ. 32:1111 (0.2178 cm2/s at 0 °C, exponent 1.81), "
        "from memory; two reviews differ by 2 %",
    )
