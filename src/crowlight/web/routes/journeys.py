"""Will this reed work where it is going, and what its crow does in the model."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode
from uuid import UUID

import numpy as np
from fastapi import APIRouter, Request
from starlette.responses import Response

from crowlight.bench.desk import Desk, Sheet
from crowlight.bench.places import USUAL, SiteAsked
from crowlight.bench.ports import Heard, PersonPlace
from crowlight.errors import CrowlightError, InputError
from crowlight.materials import Place
from crowlight.materials.limits import (
    ZERO_CELSIUS,
    check_altitude,
    check_humidity,
    check_pressure,
    check_temperature,
)
from crowlight.report.blade_charts import REGIMES, altitude_chart, strip_chart
from crowlight.report.charts import chart_svg
from crowlight.report.journey_rows import CLIMATES, MADE, effect_rows, learned_rows, limits_told
from crowlight.report.words import Words, mark
from crowlight.web.asking import Question
from crowlight.web.looking import as_kept
from crowlight.web.numbers import shown
from crowlight.web.routes.blades import waiting
from crowlight.web.running import Running, UnderWay
from crowlight.web.security import POLICY_REPORT
from crowlight.web.sending import Bench, UseBench

__all__ = ["router"]

router = APIRouter()

_ENDS = ("home", "to")
#: Blowing pressures a modelled crow may be heard at, in multiples of the threshold.
_LOUDEST = 3.0


@dataclass(frozen=True, slots=True)
class _Trip:
    """A journey as it was asked about."""

    home: SiteAsked
    to: SiteAsked
    made: str

    def told(self, desk: Desk, reed: UUID) -> dict[str, Any]:
        return desk.models.travel(reed, home=self.home, to=self.to, made=self.made)


@router.get("/reeds/{reed}/journey", include_in_schema=False)
def journey_page(request: Request, reed: UUID, bench: UseBench) -> Response:
    """Ask about a journey, and answer."""
    running: Running = request.app.state.running
    sheet = as_kept(bench.desk, reed)
    places = bench.desk.people.places()
    question = Question.of(request.query_params, bench.words)
    trip = _trip(question, places) if question.typed.get("ask") else None
    told: dict[str, Any] | None = None
    crows: list[tuple[SiteAsked, dict[str, Any]]] = []
    if trip is not None:
        try:
            state = running.ask(
                ("journey", reed, sheet.reed.seq, trip), bench.desk, lambda d: _all(d, reed, trip)
            )
            if isinstance(state, UnderWay):
                title = bench.words(mark("Following the reed on its journey"))
                back = f"/reeds/{reed}/journey"
                return waiting(request, bench, sheet, state, title=title, back=back)
            told, crows = state.value
        except CrowlightError as error:
            question.trouble("", str(error))
    words = bench.words
    return bench.pages.render(
        request,
        "journey.html",
        status=422 if question.troubles else 200,
        sheet=sheet,
        places=[(str(p.uuid), _place_told(p, words)) for p in places],
        climates=[(code, words(said)) for code, said in CLIMATES.items()],
        made=[(code, words(said)) for code, said in MADE.items()],
        typed=question.typed or _start(bench, sheet),
        troubles=question.troubles,
        told=told,
        trip=trip,
        query=urlencode(_asked_again(trip)) if trip else "",
        effects=effect_rows(told["effects"], words=words) if told else [],
        advice=[(a, limits_told(a["limits"], words=words)) for a in told["advice"]] if told else [],
        learned=learned_rows(told["learned"], words=words) if told else [],
        crows=[(site, crow, _strip(crow, words)) for site, crow in crows],
        usual=USUAL,
    )


def _start(bench: Bench, sheet: Sheet) -> dict[str, list[str]]:
    """Return what the form starts with: a posted reed goes back to where it is played."""
    posting = bench.desk.posted.posting(sheet.reed.uuid)
    place = bench.desk.posted.place(sheet.reed, posting.intake) if posting else None
    return {"to_place": [str(place.uuid)]} if place else {}


@router.get("/reeds/{reed}/journey/altitude.svg", include_in_schema=False)
def journey_chart(request: Request, reed: UUID, bench: UseBench, dark: bool = False) -> Response:
    """Return effects against altitude with both places marked, as a picture."""
    question = Question.of(request.query_params, bench.words)
    trip = _trip(question, bench.desk.people.places())
    if trip is None:
        raise InputError("; ".join(t.text for t in question.troubles))
    told = trip.told(bench.desk, reed)
    places = [(s.name, s.altitude or 0.0) for s in (trip.home, trip.to)]
    return _picture(altitude_chart(told["chart"], places, words=bench.words, dark=dark))


@router.get("/reeds/{reed}/journey/crow.svg", include_in_schema=False)
def crow_chart(reed: UUID, bench: UseBench, altitude: float, dark: bool = False) -> Response:
    """Return what the modelled crow does as one blows harder, as a picture."""
    found = bench.desk.models.crow(reed, altitude=float(check_altitude(altitude)))
    return _picture(strip_chart(found["strip"], words=bench.words, dark=dark))


@router.get("/reeds/{reed}/journey/crow.wav", include_in_schema=False)
def crow_wav(reed: UUID, bench: UseBench, altitude: float, over: float = 1.2) -> Response:
    """Return the modelled crow as a sound: a model, not a recording."""
    name = bench.desk.records.reed(reed).name
    if not 1.0 < over <= _LOUDEST:
        msg = f"blowing pressure {over:g} must lie between 1 and {_LOUDEST:g} times the threshold"
        raise InputError(msg)
    height = float(check_altitude(altitude))
    heard = bench.desk.models.crow_sound(reed, altitude=height, over_threshold=over)
    text = mark("Modelled crow of %(reed)s at %(altitude)s m: a model, not a recording")
    title = bench.words.say(text, reed=name, altitude=f"{height:.0f}")
    sound = np.asarray(heard["samples"], dtype=float)[:, np.newaxis]
    played = Heard(sound=sound, rate=int(heard["rate"]), start=0.0, notes=())
    data = bench.desk.sounds.to_wav(played, title=title)
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
    safe = re.sub(r"[^A-Za-z0-9]+", "-", plain).strip("-")[:60] or "reed"
    said = f'attachment; filename="modelled-crow-{safe}-{height:.0f}-m.wav"'
    return Response(data, media_type="audio/wav", headers={"Content-Disposition": said})


def _picture(specification: dict[str, Any]) -> Response:
    headers = {"Content-Security-Policy": POLICY_REPORT, "Cache-Control": "private, max-age=60"}
    return Response(chart_svg(specification), media_type="image/svg+xml", headers=headers)


def _all(
    desk: Desk, reed: UUID, trip: _Trip
) -> tuple[dict[str, Any], list[tuple[SiteAsked, dict[str, Any]]]]:
    """Compute the journey, and the modelled crow at both its ends."""
    told = trip.told(desk, reed)
    return told, [
        (site, desk.models.crow(reed, altitude=site.altitude or 0.0))
        for site in (trip.home, trip.to)
    ]


def _trip(question: Question, places: tuple[PersonPlace, ...]) -> _Trip | None:
    """Read the form; None with troubles if anything is wrong."""
    known = {str(p.uuid): p for p in places}
    usual = {
        "home": question.words(mark("where it is finished")),
        "to": question.words(mark("where it is going")),
    }
    sites = {end: _site(question, end, known, usual[end]) for end in _ENDS}
    made = question.choice("made", MADE, "finished")
    home, to = sites["home"], sites["to"]
    if question.troubles or home is None or to is None:
        return None
    return _Trip(home, to, made)


def _site(
    question: Question, end: str, known: dict[str, PersonPlace], usual: str
) -> SiteAsked | None:
    place = known.get(question.one(f"{end}_place"))

    def checked(
        part: str, unit: str, check: Callable[[float], Any], kept: float | None, factor: float = 1.0
    ) -> float | None:
        field = f"{end}_{part}"
        before = len(question.troubles)
        value = question.number(field, unit=unit)
        if len(question.troubles) > before or value is None:
            return kept
        shift = ZERO_CELSIUS if part == "temperature" else 0.0
        try:
            check(si := value * factor + shift)
        except InputError as error:
            question.trouble(field, str(error))
            return kept
        return round(si, 9)

    altitude = checked("altitude", "m", check_altitude, place.altitude if place else None)
    temperature = checked(
        "temperature", "°C", check_temperature, place.temperature if place else None
    )
    humidity = checked("humidity", "%", check_humidity, place.humidity if place else None, 0.01)
    pressure = checked("pressure", "hPa", check_pressure, None, 100.0)
    name = place.name if place else question.one(f"{end}_name") or usual
    if altitude is None and not question.one(f"{end}_altitude"):
        text = mark(
            "How high is %(place)s? A map or the nearest airport tells; give it in metres above "
            "sea level."
        )
        question.trouble(f"{end}_altitude", question.words.say(text, place=name))
    if altitude is None:
        return None
    try:
        Place(name, altitude, pressure)
    except InputError as error:  # a pressure that does not fit the altitude
        question.trouble(f"{end}_pressure", str(error))
        return None
    season = question.choice(f"{end}_season", CLIMATES, USUAL)
    return SiteAsked(
        name=name,
        altitude=altitude,
        temperature=temperature,
        humidity=humidity,
        pressure=pressure,
        season=season,
    )


def _asked_again(trip: _Trip) -> dict[str, str]:
    """Return the fields that ask about the same journey, for its chart."""
    asked = {"made": trip.made}
    for end, site in zip(_ENDS, (trip.home, trip.to), strict=True):
        asked[f"{end}_name"] = site.name
        asked[f"{end}_altitude"] = shown(site.altitude)
        asked[f"{end}_season"] = site.season
        if site.temperature is not None:
            asked[f"{end}_temperature"] = shown(site.temperature - ZERO_CELSIUS)
        if site.humidity is not None:
            asked[f"{end}_humidity"] = shown(100.0 * site.humidity)
        if site.pressure is not None:
            asked[f"{end}_pressure"] = shown(0.01 * site.pressure)
    return asked


def _place_told(place: PersonPlace, words: Words) -> str:
    if place.altitude is None:
        return words.say(mark("%(place)s (altitude not known)"), place=place.name)
    high = words.number(place.altitude, 0)
    return words.say(mark("%(place)s, %(altitude)s m"), place=place.name, altitude=high)


def _strip(crow: dict[str, Any], words: Words) -> list[tuple[str, str, str]]:
    """Return the strip as lines: times the threshold, what it does, how many runs agree."""
    strip = crow["strip"]
    rows = zip(strip["pressure_over_threshold"], strip["regime"], strip["agreement"], strict=True)
    return [
        (words.number(over, 2), words(REGIMES.get(regime, regime)), words.number(100 * agree, 0))
        for over, regime, agree in rows
    ]
