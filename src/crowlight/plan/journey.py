"""From where to where: two places, two indoor climates."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

from crowlight.errors import InputError
from crowlight.materials import Place, Spread
from crowlight.materials.limits import ZERO_CELSIUS, check_humidity, check_temperature

__all__ = [
    "Climate",
    "Journey",
    "Site",
    "measured_climate",
    "seasons",
    "travel_data",
    "usual_climate",
]


@cache
def travel_data() -> dict[str, Any]:
    """Read the packaged table of climates, claims and advice.

    Returns
    -------
    dict
        Content of ``data/travel.toml``; not to be changed.
    """
    text = resources.files("crowlight.plan").joinpath("data", "travel.toml").read_text("utf-8")
    return tomllib.loads(text)


@dataclass(frozen=True, slots=True)
class Climate:
    """Indoor air as well as it is known.

    Parameters
    ----------
    temperature : Spread
        [K].
    humidity : Spread
        Relative humidity, 0 to 1.

    Raises
    ------
    InputError
        If a middle value cannot be indoor air.
    """

    temperature: Spread
    humidity: Spread

    def __post_init__(self) -> None:
        check_temperature(self.temperature.middle)
        check_humidity(self.humidity.middle)


def measured_climate(temperature: float, humidity: float) -> Climate:
    """Climate read from a thermometer and a hygrometer.

    Parameters
    ----------
    temperature : float
        [K].
    humidity : float
        Relative humidity, 0 to 1.

    Returns
    -------
    Climate
        With 1 K and 4 % relative humidity to each side, what a room instrument allows.

    Raises
    ------
    InputError
        If a value lies outside its range.

    Examples
    --------
    >>> measured_climate(294.15, 0.4).humidity.high
    0.44
    """
    kelvin, share = float(check_temperature(temperature)), float(check_humidity(humidity))
    source = "read from an instrument; accuracy of a room hygrometer, from memory"
    return Climate(
        Spread(kelvin - 1.0, kelvin, kelvin + 1.0, "K", "measured", source),
        Spread(
            round(max(share - 0.04, 0.0), 6),
            share,
            round(min(share + 0.04, 1.0), 6),
            "1",
            "measured",
            source,
        ),
    )


def seasons() -> tuple[str, ...]:
    """Name the usual indoor climates.

    Returns
    -------
    tuple of str
        For `usual_climate`.

    Examples
    --------
    >>> "heated-winter" in seasons()
    True
    """
    return tuple(travel_data()["climates"])


def usual_climate(season: str) -> Climate:
    """Climate of a usual room when nobody measured.

    Parameters
    ----------
    season : str
        One of `seasons`.

    Returns
    -------
    Climate
        Wide; common practice, no source.

    Raises
    ------
    InputError
        If the season is unknown.

    Examples
    --------
    >>> usual_climate("heated-winter").humidity.middle
    0.3
    """
    rows = travel_data()["climates"]
    if season not in rows:
        msg = f"no usual climate {season!r}; there are {', '.join(rows)}"
        raise InputError(msg)
    row = rows[season]
    source = "usual indoor air, common practice, no source"
    low, middle, high = (t + ZERO_CELSIUS for t in row["temperature_c"])
    dry, usual, damp = (h / 100.0 for h in row["humidity_pct"])
    return Climate(
        Spread(low, middle, high, "K", row["basis"], source),
        Spread(dry, usual, damp, "1", row["basis"], source),
    )


@dataclass(frozen=True, slots=True)
class Site:
    """A place and the air of its rooms.

    Parameters
    ----------
    place : Place
        With altitude.
    climate : Climate
        Indoors.
    """

    place: Place
    climate: Climate


@dataclass(frozen=True, slots=True)
class Journey:
    """From where to where a reed goes.

    Parameters
    ----------
    home : Site
        Where it is finished.
    destination : Site
        Where it is played.
    """

    home: Site
    destination: Site
