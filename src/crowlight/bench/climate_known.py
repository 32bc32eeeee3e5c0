"""From what was written down of places and air to what the findings know of the climate."""

from __future__ import annotations

from datetime import datetime, timedelta

from crowlight.bench.kinds import Climate, Travelled
from crowlight.bench.ports import Entry
from crowlight.bench.state import ReedState
from crowlight.bench.workshop_kinds import Intake
from crowlight.judge.findings import Climate as ClimateKnown

__all__ = ["climate_known", "pressure_altitude"]

#: Barometers within this are at one place, whatever the weather [m].
_SAME = 300.0


def pressure_altitude(pressure: float) -> float:
    """Return the altitude that has this air pressure in the standard atmosphere [Pa, m].

    Below 11 km; weather moves it by some 80 m either way for 10 hPa.

    References
    ----------
    ISO 2533:1975, Standard atmosphere: the layer with a gradient of -6.5 K/km.

    Examples
    --------
    >>> round(pressure_altitude(101_325.0)), round(pressure_altitude(79_495.2))
    (0, 2000)
    """
    return 288.15 / 6.5e-3 * (1.0 - (pressure / 101_325.0) ** (6.5e-3 * 287.05287 / 9.80665))


def climate_known(
    state: ReedState,
    *,
    at: datetime,
    altitude_home: float | None = None,
    humidity_home: float | None = None,
) -> ClimateKnown:
    """Return the air at home and now.

    Parameters
    ----------
    state : ReedState
        What is kept of the reed.
    at : datetime
        Now.
    altitude_home, humidity_home : float, optional
        Where it was made [m], [1]; else what was noted first with the reed.

    Returns
    -------
    Climate
        The altitude now is what a follow-up or an intake says, or what the latest barometer shows;
        without any of them it is not known, and nothing is said about altitude.
    """
    noted = [e for e in state.entries if isinstance(e.payload, Climate)]
    first, last = (noted[0], noted[-1]) if noted else (None, None)
    humidity = _humidity(last)
    altitude, since = _altitude(state)
    home = altitude_home if altitude_home is not None else _home(noted)
    return ClimateKnown(
        altitude_home=home if altitude is not None else None,
        altitude_now=altitude if home is not None else None,
        humidity_home=humidity_home if humidity_home is not None else _humidity(first),
        humidity_now=humidity,
        temperature_now=last.payload.temperature
        if last is not None and isinstance(last.payload, Climate)
        else None,
        here_for=None
        if since is None
        else max((at - since) // timedelta(hours=3), 0) * timedelta(hours=3).total_seconds(),
    )


def _humidity(entry: Entry | None) -> float | None:
    if entry is None or not isinstance(entry.payload, Climate):
        return None
    return entry.payload.humidity


def _home(noted: list[Entry]) -> float | None:
    pressures = [e.payload.pressure for e in noted if isinstance(e.payload, Climate)]
    known = [p for p in pressures if p is not None]
    return pressure_altitude(known[0]) if known else None


def _altitude(state: ReedState) -> tuple[float | None, datetime | None]:
    """Return where the reed is and since when, from the latest entry that says so."""
    places: list[tuple[float, datetime]] = []
    for e in state.entries:
        match e.payload:
            case Climate(pressure=float() as pressure):
                places.append((pressure_altitude(pressure), e.happened_at))
            case Travelled(altitude=altitude) | Intake(altitude=float() as altitude):
                places.append((altitude, e.happened_at))
            case _:
                pass
    if not places:
        return None, None
    here, since = places[-1]
    for altitude, moment in reversed(places):
        if abs(altitude - here) > _SAME:
            break
        since = moment
    return here, since
