"""``crowlight air``: the air at a place."""

from __future__ import annotations

from typing import Annotated

import typer

__all__ = ["air"]


def air(
    altitude: Annotated[float, typer.Option(help="Above mean sea level, m.")],
    temperature: Annotated[float, typer.Option(help="Of the room, °C.")] = 20.0,
    humidity: Annotated[float, typer.Option(help="Relative, percent.")] = 50.0,
    pressure: Annotated[
        float | None,
        typer.Option(help="From a barometer on the spot, hPa, not reduced to sea level."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """Show pressure, density and speed of sound of the air at a place."""
    import json

    from crowlight.bench.air import air_at

    found = air_at(
        altitude,
        temperature + 273.15,
        humidity / 100,
        measured_pressure=None if pressure is None else pressure * 100,
    )
    values = {
        "altitude_m": altitude,
        "temperature_c": temperature,
        "humidity_percent": humidity,
        "pressure_pa": float(found.air.pressure),
        "pressure_from": found.pressure_from,
        "density_kg_m3": float(found.air.density),
        "density_by": found.air.density_by,
        "speed_of_sound_m_s": float(found.air.speed_of_sound),
        "speed_of_sound_by": found.air.speed_by,
        "viscosity_pa_s": float(found.air.viscosity),
    }
    if as_json:
        typer.echo(json.dumps(values, indent=1))
        return
    for name, value in values.items():
        typer.echo(f"{name:20} {value:.6g}" if isinstance(value, float) else f"{name:20} {value}")
