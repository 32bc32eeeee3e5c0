"""Places as they are asked about."""

from __future__ import annotations

from dataclasses import dataclass

from crowlight.bench.kept import PersonPlace

__all__ = ["USUAL", "SiteAsked", "site_of"]

#: Climate taken where nobody measured; see `crowlight.plan.seasons`.
USUAL = "mild-season"


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteAsked:
    """A place and what is known of the air of its rooms.

    Parameters
    ----------
    name : str
        The place.
    altitude : float or None
        [m]; None is asked about, not guessed.
    temperature : float or None
        Indoors, if measured [K].
    humidity : float or None
        Indoors, if measured, 0 to 1.
    pressure : float or None
        From a barometer on the spot, not reduced to sea level [Pa]; that of the altitude if None.
    season : str
        The usual indoor climate where nobody measured; see `crowlight.plan.seasons`.
    """

    name: str
    altitude: float | None
    temperature: float | None = None
    humidity: float | None = None
    pressure: float | None = None
    season: str = USUAL


def site_of(place: PersonPlace) -> SiteAsked:
    """Return a kept place, as it is asked about on a journey."""
    return SiteAsked(
        name=place.name,
        altitude=place.altitude,
        temperature=place.temperature,
        humidity=place.humidity,
    )
