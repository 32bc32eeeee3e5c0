"""The air at a place, what it does to a reed, and the modelled crow."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass, fields
from typing import Any, TypeVar

import numpy as np

from crowlight.bench.places import SiteAsked
from crowlight.bench.ports import Report
from crowlight.bench.sounds import plain
from crowlight.blade import Lumped
from crowlight.crow import (
    ModelSound,
    ReedParameters,
    Staple,
    crow_sound,
    draw_from_blades,
    draw_reeds,
    find_resonances,
    onsets,
    reed_from_blades,
    sound_strip,
    staple_bore,
)
from crowlight.crow.regimes import blow_steadily
from crowlight.errors import InputError, OutsideModel
from crowlight.materials import (
    Air,
    Place,
    breath,
    place_pressure,
    room_air,
    standard_atmosphere,
)
from crowlight.plan import (
    Climate,
    Journey,
    ReedState,
    Site,
    TravelOutcome,
    altitude_chart,
    measured_climate,
    travel_advice,
    usual_climate,
)

__all__ = [
    "PlaceAir",
    "air_at",
    "crow_model",
    "model_sound",
    "staple_of",
    "travel",
]

#: Draws of a reed: for advice, and for the chart and the crow's intervals.
DRAWS = 200
FEW_DRAWS = 40
#: Change of density below which a journey is on the level.
LEVEL = 0.01
#: Sample rates of the time domain, in the order they are tried [Hz].
RATES = (96e3, 192e3, 384e3)

T = TypeVar("T")


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


def _site(asked: SiteAsked) -> Site:
    """Return a place as a site."""
    if asked.altitude is None:
        msg = (
            f"the altitude of {asked.name} is not known; a map or the nearest airport tells it: "
            f"give it in metres above sea level"
        )
        raise InputError(msg)
    usual = usual_climate(asked.season)
    temperature, humidity = asked.temperature, asked.humidity
    measured = measured_climate(
        usual.temperature.middle if temperature is None else temperature,
        usual.humidity.middle if humidity is None else humidity,
    )
    climate = Climate(
        usual.temperature if temperature is None else measured.temperature,
        usual.humidity if humidity is None else measured.humidity,
    )
    return Site(Place(asked.name, asked.altitude, asked.pressure), climate)


def _draws(
    inputs: Mapping[str, Any], rng: np.random.Generator, size: int
) -> tuple[ReedParameters, ...]:
    """Return reeds this one may be: as learned from data, from its blades, or any."""
    if learned := inputs.get("reeds"):
        return tuple(learned[:size])
    blades: Lumped | None = inputs.get("blades")
    if blades is None:
        return tuple(draw_reeds(rng, size))
    return draw_from_blades(blades, rng=rng, size=size)


def _middle(inputs: Mapping[str, Any]) -> ReedParameters:
    """Return the most ordinary of the reeds this one may be."""
    if learned := inputs.get("reeds"):
        return ReedParameters(
            **{
                f.name: float(np.median([getattr(r, f.name) for r in learned]))
                for f in fields(ReedParameters)
            }
        )
    blades: Lumped | None = inputs.get("blades")
    return reed_from_blades(blades) if blades is not None else ReedParameters()


def staple_of(inputs: Mapping[str, Any]) -> Staple:
    """Return the staple, of the usual size where nobody measured."""
    usual = Staple()
    top, bottom = inputs.get("bore_top"), inputs.get("bore_bottom")
    return Staple(
        length=inputs.get("staple_length") or usual.length,
        top_radius=top / 2 if top else usual.top_radius,
        bottom_radius=bottom / 2 if bottom else usual.bottom_radius,
    )


def travel(inputs: Mapping[str, Any], report: Report = lambda _: None) -> dict[str, Any]:
    """Say what a journey does to a reed and what to do about it.

    Parameters
    ----------
    inputs : mapping
        ``home`` and ``destination`` (`SiteAsked`); ``state`` (finished, blank or cane); optionally
        ``blades`` (`Lumped`; a reed nobody measured otherwise), ``reeds`` (`ReedParameters` drawn
        from what was learned of this one; they count instead of ``blades``), ``staple_length``,
        ``bore_top``, ``bore_bottom`` [m] and ``outcomes``, follow-ups of the maker's travelled
        reeds as tuples (effect, altitude at home, altitude there, observed, accuracy).
    report : callable
        Called with the fraction done; may raise `Cancelled`.

    Returns
    -------
    dict
        Plain values: see `crowlight.plan.TravelAdvice`; with ``chart``, effects against altitude.

    Raises
    ------
    InputError
        If a place has no altitude or a value is outside its range.
    OutsideModel
        If too few draws sound.
    """
    home: SiteAsked = inputs["home"]
    destination: SiteAsked = inputs["destination"]
    journey = Journey(_site(home), _site(destination))
    blades: Lumped | None = inputs.get("blades")
    rng = np.random.default_rng(7)
    reeds = _draws(inputs, rng, DRAWS)
    staple = staple_of(inputs)
    try:
        state = ReedState(inputs.get("state", "finished"))
    except ValueError:
        msg = f"state {inputs['state']!r} must be finished, blank or cane"
        raise InputError(msg) from None
    told = travel_advice(
        journey,
        reeds,
        state,
        rng=rng,
        staple=staple,
        outcomes=_outcomes(inputs.get("outcomes", ())),
        report=lambda f: report(0.8 * f),
    )
    low, high = sorted((journey.home.place.altitude, journey.destination.place.altitude))
    altitudes = np.linspace(min(low, 0.0) if low < 0 else 0.0, max(high * 1.1, 1000.0), 9)
    chart = altitude_chart(
        reeds[:FEW_DRAWS],
        altitudes,
        room=float(journey.home.climate.temperature.middle),
        rng=rng,
        staple=staple,
        report=lambda f: report(0.8 + 0.2 * f),
    )
    effects = told.effects
    return plain(
        {
            "from": asdict(home),
            "to": asdict(destination),
            "state": told.state.value,
            "direction": told.direction,
            "measured_reed": blades is not None,
            "your_data": bool(inputs.get("reeds")),
            "density_ratio": effects.density_ratio,
            "drier_by": asdict(effects.drier_by),
            "effects": [
                {
                    "name": e.name,
                    "unit": e.unit,
                    "basis": "physics",
                    **{
                        part: {
                            **asdict(getattr(e, part)),
                            "straddles_zero": getattr(e, part).straddles_zero,
                        }
                        for part in ("altitude", "temperature", "moisture", "together")
                    },
                }
                for e in effects.effects
            ],
            "compensation": asdict(told.compensation) if told.compensation else None,
            "advice": [asdict(a) for a in told.advice],
            "learned": [asdict(k) for k in told.learned],
            "claims": [asdict(c) for c in told.claims],
            "used": effects.used,
            "silent": effects.silent,
            "chart": asdict(chart),
        }
    )


def _outcomes(told: Sequence[tuple[str, float, float, float, float]]) -> list[TravelOutcome]:
    """Turn follow-ups into outcomes; a journey on the level tells nothing of altitude."""
    outcomes: list[TravelOutcome] = []
    for effect, home, there, found, accuracy in told:
        low, high = standard_atmosphere(np.array([home, there])).pressure
        ratio = float(high / low)  # of densities too, at the same temperature indoors
        if abs(ratio - 1.0) > LEVEL:
            outcomes.append(TravelOutcome(effect, ratio, found, accuracy))
    return outcomes


def crow_model(inputs: Mapping[str, Any], report: Report = lambda _: None) -> dict[str, Any]:
    """Model the crow of a reed: threshold, pitch, and what it does as one blows harder.

    Parameters
    ----------
    inputs : mapping
        ``altitude`` [m]; optionally ``blades``, ``reeds`` and the staple as in `travel`.
    report : callable
        Called with the fraction done; may raise `Cancelled`.

    Returns
    -------
    dict
        ``threshold_pa`` and ``pitch_hz`` as 5, 50 and 95 % points; ``strip``, with pressures as
        multiples of the threshold; ``trust``, what may be believed.
    """
    blades: Lumped | None = inputs.get("blades")
    rng = np.random.default_rng(11)
    bore = _bore(inputs)
    reeds = _draws(inputs, rng, DRAWS)
    found = onsets(reeds, bore)
    report(0.3)
    sounding = np.isfinite(found.pressure)
    if sounding.sum() < len(reeds) // 4:
        msg = "the modelled reed does not crow for most of what is not known about it"
        raise OutsideModel(msg)
    middle = _middle(inputs)
    strip = _steady(
        lambda rate: sound_strip(
            middle, bore, rng=rng, sample_rate=rate, report=lambda f: report(0.3 + 0.7 * f)
        )
    )
    return plain(
        {
            "basis": "physics",
            "measured_reed": blades is not None,
            "your_data": bool(inputs.get("reeds")),
            "sounding": float(sounding.mean()),
            "threshold_pa": np.nanquantile(found.pressure, [0.05, 0.5, 0.95]),
            "pitch_hz": np.nanquantile(found.frequency, [0.05, 0.5, 0.95]),
            "strip": {
                "pressure_over_threshold": strip.pressure / strip.threshold,
                "regime": [r.value for r in strip.regime],
                "frequency_hz": strip.frequency,
                "agreement": strip.agreement,
            },
            "hypothesis": "octave-by-period-doubling",
            "trust": "ratios-and-signs",
        }
    )


def model_sound(inputs: Mapping[str, Any], report: Report = lambda _: None) -> dict[str, Any]:
    """Return a modelled crow as sound: ``samples`` (-1 to 1) and ``rate`` [Hz].

    Inputs as for `crow_model`; ``over_threshold`` is the blowing pressure as a multiple of the
    threshold.
    """
    bore = _bore(inputs)
    reed = _middle(inputs)
    start = float(onsets([reed], bore).pressure[0])
    if not np.isfinite(start):
        msg = "the modelled reed does not crow, so there is nothing to hear"
        raise OutsideModel(msg)
    report(0.2)
    pressure = start * float(inputs.get("over_threshold", 1.2))

    def play(rate: float) -> ModelSound:
        blowing = blow_steadily(np.array([pressure]), sample_rate=rate, duration=2.0)[0]
        return crow_sound(reed, bore, blowing, sample_rate=int(rate))

    sound = _steady(play)
    report(1.0)
    return {"samples": sound.samples, "rate": sound.sample_rate}


def _steady(compute: Callable[[float], T]) -> T:
    """Compute at a sample rate at which the motion does not run away: stiff blades need more."""
    for rate in RATES[:-1]:
        with suppress(OutsideModel):
            return compute(rate)
    return compute(RATES[-1])


def _bore(inputs: Mapping[str, Any]) -> Any:
    pressure = place_pressure(Place("here", float(inputs.get("altitude") or 0.0))).pressure
    return find_resonances(staple_bore(staple_of(inputs)), breath(pressure))
