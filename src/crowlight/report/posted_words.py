"""Names of what can be said of a reed in the workshop."""

from __future__ import annotations

from collections.abc import Mapping

from crowlight.report.words import Words, mark

__all__ = [
    "AFTERWARDS",
    "ALLOWED",
    "CONSENT_ANSWERS",
    "CONSENT_TO",
    "OUTCOMES",
    "REASONS",
    "SHOWS",
    "STAGES",
    "WHERE",
    "air_said",
]

STAGES: Mapping[str, str] = {
    "waiting": mark("waiting"),
    "acclimatising": mark("acclimatising"),
    "on-the-bench": mark("on the bench"),
    "resting": mark("resting"),
    "ready": mark("ready"),
    "posted": mark("posted"),
    "follow-up": mark("follow-up"),
    "done": mark("done"),
    "gouged": mark("gouged"),
    "shaped": mark("shaped"),
    "tied": mark("tied"),
    "scraped": mark("scraped"),
    "finished": mark("finished"),
    "sold": mark("sold"),
}
ALLOWED: Mapping[str, str] = {
    "unknown": mark("not said yet"),
    "yes": mark("yes"),
    "no": mark("no"),
    "ask": mark("ask me first"),
}
CONSENT_TO: Mapping[str, str] = {
    "play": mark("play it"),
    "clean": mark("clean it"),
    "cut": mark("cut it"),
    "break": mark("risk breaking it"),
}
CONSENT_ANSWERS: Mapping[str, str] = {
    "yes": mark("asked: yes"),
    "no": mark("asked: no"),
    "not-asked": mark("it was done without asking"),
}
OUTCOMES: Mapping[str, str] = {
    "sellable": mark("sellable, or plays as it should"),
    "given-up": mark("given up"),
    "broke": mark("broke"),
}
#: Offered, not demanded.
REASONS = (
    mark("leaks"),
    mark("cracked"),
    mark("tip too thin"),
    mark("collapsed"),
    mark("warped"),
    mark("too sharp"),
    mark("too flat"),
    mark("one blade thinner"),
    mark("does not speak"),
    mark("worn out"),
)
WHERE: Mapping[str, str] = {
    "": mark("it did not break"),
    "bench": mark("on the bench"),
    "post": mark("in the post"),
    "player": mark("with the player"),
    "not-known": mark("not known"),
}
SHOWS: Mapping[str, str] = {
    "whole": mark("the whole reed"),
    "marked": mark("marked blade"),
    "plain": mark("plain blade"),
    "light": mark("against the light"),
    "opening": mark("the opening"),
    "tip": mark("the tip"),
    "staple": mark("the staple"),
    "damage": mark("damage"),
    "other": mark("something else"),
}


#: What the player wants of a reed that cannot be saved.
AFTERWARDS: Mapping[str, str] = {
    "ask": mark("ask me"),
    "return": mark("send it back"),
    "discard": mark("throw it away"),
}


def air_said(temperature: float | None, humidity: float | None, words: Words) -> str:
    """Return the air of a room, temperature [K] and relative humidity; empty if it is not known."""
    if temperature is None and humidity is None:
        return ""
    warm = words.number((temperature or 0.0) - 273.15, 0)
    damp = words.number(100.0 * (humidity or 0.0), 0)
    if temperature is None:
        return words.say(mark("%(humidity)s %% humidity"), humidity=damp)
    if humidity is None:
        return words.say(mark("%(warm)s °C"), warm=warm)
    return words.say(mark("%(warm)s °C and %(humidity)s %% humidity"), warm=warm, humidity=damp)
