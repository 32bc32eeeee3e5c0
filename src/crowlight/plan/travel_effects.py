"""What a journey does to a reed, with altitude, temperature and moisture kept apart.

Each draw of the reed is taken along: thresholds and pitches are found exactly at home and followed
to the destination by Newton's method; some draws are then computed there from scratch, and the
largest difference is part of the result.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crowlight.crow import Onsets, ReedArrays, ReedParameters, Staple, scaled, stacked, with_lip
from crowlight.errors import OutsideModel
from crowlight.materials import Spread, breath, cane, equilibrium_moisture, place_pressure
from crowlight.materials.atmosphere import STANDARD_PRESSURE
from crowlight.plan.journey import Climate, Journey
from crowlight.plan.travel_bores import (
    BORE_FOLLOWS,
    BORE_TEMPERATURE,
    Measures,
    bores_at,
    exact_error,
    measure,
    measure_afresh,
)

__all__ = ["Effect", "Interval", "TravelEffects", "interval", "travel_effects"]

Real = NDArray[np.float64]

_FOLLOWS = Spread(
    0.25, BORE_FOLLOWS, 0.8, "1", "assumed", "how the air in a played bore follows the room"
)

_FELT = Spread(
    0.05,
    0.3,
    0.9,
    "1",
    "assumed",
    "a reed being played is soaked: the share of the room's difference it feels, no measurement",
)


@dataclass(frozen=True, slots=True)
class Interval:
    """A range: 5, 50 and 95 % points.

    Parameters
    ----------
    low, middle, high : float
        Rising.

    Examples
    --------
    >>> Interval(-0.01, 0.02, 0.05).straddles_zero
    True
    """

    low: float
    middle: float
    high: float

    @property
    def straddles_zero(self) -> bool:
        """Whether even the direction is open."""
        return self.low < 0.0 < self.high


def interval(values: Real) -> Interval:
    """Take 5, 50 and 95 % points.

    Parameters
    ----------
    values : ndarray
        Draws; NaN is left out.

    Returns
    -------
    Interval
        Of the draws.
    """
    low, middle, high = np.nanquantile(values, [0.05, 0.5, 0.95])
    return Interval(float(low), float(middle), float(high))


@dataclass(frozen=True, slots=True)
class Effect:
    """One thing that changes on a journey, and through what.

    Parameters
    ----------
    name : str
        Such as ``"threshold"``.
    unit : str
        ``"1"`` for a relative change, ``"cents"`` for pitch.
    altitude, temperature, moisture : Interval
        By each alone.
    together : Interval
        All at once.
    draws, by_altitude : ndarray, shape (draws,)
        All at once, and altitude alone, per draw: for joining with a maker's own travelled reeds.
    """

    name: str
    unit: str
    altitude: Interval
    temperature: Interval
    moisture: Interval
    together: Interval
    draws: Real
    by_altitude: Real


@dataclass(frozen=True, slots=True)
class TravelEffects:
    """All effects of a journey.

    Parameters
    ----------
    effects : tuple of Effect
        Threshold, range and flow of a middle note, its pitch; threshold and pitch of a low and a
        high note; pitch and threshold of the crow.
    density_ratio : float
        Air there over air at home.
    drier_by : Interval
        Equilibrium moisture of cane at home minus there [water per dry mass].
    used, silent : int
        Draws that counted, and draws left out because a note did not sound in the model.
    exact_error : float
        Largest relative difference of thresholds between followed and fresh computation.
    """

    effects: tuple[Effect, ...]
    density_ratio: float
    drier_by: Interval
    used: int
    silent: int
    exact_error: float

    def named(self, name: str) -> Effect:
        """Look one effect up.

        Parameters
        ----------
        name : str
            As in `Effect`.

        Returns
        -------
        Effect
            The one of that name.

        Raises
        ------
        OutsideModel
            If there is none.
        """
        for effect in self.effects:
            if effect.name == name:
                return effect
        msg = f"no effect {name!r}; there are {', '.join(e.name for e in self.effects)}"
        raise OutsideModel(msg)


def _cents(after: Onsets, before: Onsets) -> Real:
    return 1200.0 * np.log2(after.frequency / before.frequency)


def _changes(there: Measures, home: Measures) -> dict[str, tuple[str, Real]]:
    """Effects by name: unit and draws."""

    def ratio(name: str) -> Real:
        return there.onset[name].pressure / home.onset[name].pressure - 1.0

    room = (there.closing - there.onset["middle"].pressure) / (
        home.closing - home.onset["middle"].pressure
    )
    return {
        "threshold": ("1", ratio("middle")),
        "range": ("1", room - 1.0),
        "flow": ("1", there.flow / home.flow - 1.0),
        "pitch": ("cents", _cents(there.onset["middle"], home.onset["middle"])),
        "low-threshold": ("1", ratio("low")),
        "low-pitch": ("cents", _cents(there.onset["low"], home.onset["low"])),
        "high-threshold": ("1", ratio("high")),
        "high-pitch": ("cents", _cents(there.onset["high"], home.onset["high"])),
        "crow-threshold": ("1", ratio("crow")),
        "crow-pitch": ("cents", _cents(there.onset["crow"], home.onset["crow"])),
    }


_PLAYED_PITCHES = ("pitch", "low-pitch", "high-pitch")


@dataclass(frozen=True, slots=True)
class _Weather:
    """Draws of both rooms and of what cane makes of them."""

    drier: Real  # equilibrium moisture at home minus there
    extra_cents: Real  # on played notes, beyond what the middle temperatures give
    stiffness: Real
    mass: Real
    opening: Real

    def on(self, reeds: ReedArrays) -> ReedArrays:
        """Reeds as moisture makes them at the destination."""
        return scaled(reeds, opening=self.opening, stiffness=self.stiffness, mass=self.mass)


def _weather(journey: Journey, rng: np.random.Generator, count: int) -> _Weather:
    climates = (journey.home.climate, journey.destination.climate)
    rooms = [_room(climate, rng, count) for climate in climates]
    moisture = [equilibrium_moisture(t, h) for t, h in rooms]
    drier = moisture[0] - moisture[1]
    points = 100.0 * drier * np.minimum(_FELT.draw(rng, count), 1.0)
    factors = [
        np.clip(1.0 + cane(name).draw(rng, count) * points, 0.5, 2.0)
        for name in ("reed_stiffness_per_point", "reed_mass_per_point", "reed_opening_per_point")
    ]
    middle = climates[1].temperature.middle - climates[0].temperature.middle
    follows = np.minimum(_FOLLOWS.draw(rng, count), 1.0)
    warmer = follows * (rooms[1][0] - rooms[0][0]) - BORE_FOLLOWS * middle
    # Pitch goes with the speed of sound in the bore; sea level will do for a ratio.
    speed = breath(STANDARD_PRESSURE, temperature=BORE_TEMPERATURE + warmer).speed_of_sound
    usual = breath(STANDARD_PRESSURE, temperature=BORE_TEMPERATURE).speed_of_sound
    cents = 1200.0 * np.log2(speed / usual)
    return _Weather(drier, cents, *factors)


def _room(climate: Climate, rng: np.random.Generator, count: int) -> tuple[Real, Real]:
    temperature = np.clip(climate.temperature.draw(rng, count), 258.15, 313.15)
    return temperature, np.clip(climate.humidity.draw(rng, count), 0.02, 0.98)


def travel_effects(
    journey: Journey,
    reeds: Sequence[ReedParameters],
    *,
    rng: np.random.Generator,
    staple: Staple | None = None,
    exact: int = 20,
    report: Callable[[float], None] | None = None,
) -> TravelEffects:
    """Predict what a journey does to a reed.

    Parameters
    ----------
    journey : Journey
        From where to where.
    reeds : sequence of ReedParameters
        Draws of the reed as it crows, at least 5; 200 give steady intervals.
    rng : numpy.random.Generator
        Source of chance for lips, climates and cane.
    staple : Staple or None
        Sizes; the defaults of `Staple` if None.
    exact : int
        Draws that are computed afresh at the destination to check the followed ones.
    report : callable or None
        Called with the fraction done; may raise `Cancelled`.

    Returns
    -------
    TravelEffects
        Intervals by cause and together.

    Raises
    ------
    OutsideModel
        If fewer than 5 draws are given, or fewer sound at both places.

    Notes
    -----
    Altitude acts through air density at the reed and in the bore. The room's temperature acts
    through the air in the bore, which is taken to follow it by about half. Moisture acts through
    the stiffness, mass and opening of the cane, whose coefficients are assumptions wide enough to
    leave the sign open; a reed being played is soaked and feels an unknown share of the room.
    Player, lip and vocal tract stay as they are. Trust signs and order more than sizes.
    """
    count = len(reeds)
    if count < 5:
        msg = f"{count} draws of the reed are too few for a range; give at least 5, better 200"
        raise OutsideModel(msg)
    tell = report or (lambda _: None)
    crowing, played = stacked(reeds), stacked(with_lip(reeds, rng=rng))
    weather = _weather(journey, rng, count)
    blowing = played.closing_pressure / 3.0
    pressure = [place_pressure(s.place).pressure for s in (journey.home, journey.destination)]
    room = [s.climate.temperature.middle for s in (journey.home, journey.destination)]

    home = bores_at(pressure[0], room[0], staple)
    tell(0.1)
    base = measure_afresh(crowing, played, home, blowing)
    tell(0.3)
    there = bores_at(pressure[1], room[1], staple)
    moist = (weather.on(crowing), weather.on(played))
    cases = {
        "altitude": (crowing, played, bores_at(pressure[1], room[0], staple)),
        "temperature": (crowing, played, bores_at(pressure[0], room[1], staple)),
        "moisture": (*moist, home),
        "together": (*moist, there),
    }
    changed: dict[str, dict[str, tuple[str, Real]]] = {}
    found = base
    for i, (cause, case) in enumerate(cases.items()):
        found = measure(*case, blowing, base)
        changed[cause] = _changes(found, base)
        tell(0.4 + 0.1 * i)
    for cause in ("temperature", "together"):
        for name in _PLAYED_PITCHES:
            unit, cents = changed[cause][name]
            changed[cause][name] = (unit, cents + weather.extra_cents)
    error = exact_error(*moist, there, blowing, found, exact)
    tell(1.0)
    fine = np.isfinite([v for draws in changed.values() for _, v in draws.values()]).all(axis=0)
    if fine.sum() < 5:
        msg = (
            f"only {int(fine.sum())} of {count} draws of this reed sound in the model at both "
            "places; nothing can be said about the journey"
        )
        raise OutsideModel(msg)
    effects = tuple(
        Effect(
            name,
            unit,
            *(interval(changed[cause][name][1][fine]) for cause in cases),
            draws=values[fine],
            by_altitude=changed["altitude"][name][1][fine],
        )
        for name, (unit, values) in changed["together"].items()
    )
    return TravelEffects(
        effects=effects,
        density_ratio=there.crow.density / home.crow.density,
        drier_by=interval(weather.drier),
        used=int(fine.sum()),
        silent=int(count - fine.sum()),
        exact_error=error,
    )
