"""The air at a place, for whoever asks."""

from __future__ import annotations

from dataclasses import dataclass

from crowlight.materials import Air, Place, place_pressure, room_air

__all__ = ["PlaceAir", "air_at"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceAir:
    """Air indoors at a place.

    Parameters
    ----------
    air : Air
        The air.
    pressure_from : str
        ``"altitude"`` (standard atmosphere, without the weather) or ``"barometer"``.
    """

    air: Air
    pressure_from: str


def air_at(
    altitude: float,
    temperature: float,
    humidity: float,
    *,
    measured_pressure: float | None = None,
) -> PlaceAir:
    """Return the air of a room at some altitude.

    Parameters
    ----------
    altitude : float
        [m], -500 to 5500.
    temperature : float
        Of the room [K], 248.15 to 318.15.
    humidity : float
        Relative, 0 to 1.
    measured_pressure : float, optional
        From a barometer on the spot, not reduced to sea level [Pa].

    Returns
    -------
    PlaceAir
        The air, and where its pressure came from.

    Raises
    ------
    InputError
        If a value lies outside its range, or the pressure does not fit the altitude.
    """
    found = place_pressure(Place("here", altitude, measured_pressure))
    air = room_air(temperature, found.pressure, humidity)
    measured = measured_pressure is not None
    return PlaceAir(air=air, pressure_from="barometer" if measured else "altitude")
