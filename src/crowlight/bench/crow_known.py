"""What kept recordings tell the findings: class, pitch and order of a crow, peep, played notes."""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Literal

from crowlight.bench.recordings import class_probability
from crowlight.judge.findings import Crow, Measured
from crowlight.listen import ClassModel

__all__ = ["crow_known"]

Heard = Mapping[str, Any]

#: Scatter of a pitch from blow to blow and from day to day [cents] (common practice, no source).
_CROW, _PEEP, _PLAYED = 12.0, 20.0, 5.0
#: Unsteadiness of a crow that nobody minds, and how far ears differ about it [cents] (the same).
_STEADY, _EARS = 4.0, 5.0
#: A rattle this soon after a swell begins is what it begins with [s].
_AT_ONCE = 0.25


def crow_known(
    crows: Sequence[Heard] = (),
    peeps: Sequence[Heard] = (),
    notes: Sequence[Heard] = (),
    *,
    model: ClassModel | None = None,
    loved: Sequence[Heard] = (),
) -> Crow:
    """Return what recordings of a reed as it is now tell.

    Parameters
    ----------
    crows, peeps, notes : sequence of mapping
        Measured recordings, oldest first; see `crowlight.bench.sounds.listen`. What is not usable
        is passed over.
    model : ClassModel, optional
        Tells the class of a crow; what the listening said of it if not given.
    loved : sequence of mapping
        Crows of the reed it is to be like; the usual is wanted if there are none.

    Returns
    -------
    Crow
        Deviations from what is wanted. The pitched share and the low octave are compared only with
        a loved reed: how much of them is wanted is a matter of taste.
    """
    crows = [h for h in crows if h.get("usable")]
    loved = [h for h in loved if h.get("usable")]
    share = _class(crows, model)
    return Crow(
        clean=share.get("clean"),
        mixed=share.get("mixed"),
        rattling=share.get("rattling"),
        speaks="yes" if crows else None,
        first=_first(crows),
        cents=_pitch(crows, "pitch_cents_folded", _CROW),
        peep_cents=_pitch(peeps, "pitch_cents", _PEEP),
        played_cents=_played(notes),
        pitched_share=_against(crows, loved, "pitched_share", 0.05),
        unsteadiness=_unsteady(crows, loved),
    )


def _class(crows: Sequence[Heard], model: ClassModel | None) -> dict[str, float]:
    """Return the class of the latest crow."""
    for heard in reversed(crows):
        found = class_probability(heard, model) if model else heard.get("class_probability")
        if found:
            total = math.fsum(found.values())
            return {name: p / total for name, p in found.items()}
    return {}


def _first(crows: Sequence[Heard]) -> Literal["high", "low", "both", "rattle"] | None:
    """Return what the latest slow swell begins with; high only where the low one never joins."""
    swell = next((h["swell"] for h in reversed(crows) if h.get("swell")), None)
    if not swell or not swell.get("start"):
        return None
    start = swell["start"]["time_s"]
    rattles = swell.get("rattles")
    if rattles and rattles["time_s"] - start <= _AT_ONCE:
        return "rattle"
    match swell.get("first_octave"):
        case "upper":
            return "both" if swell.get("octave_joins") else "high"
        case "lower":
            return "low"
        case "both":
            return "both"
        case _:
            return None


def _values(takes: Iterable[Heard], name: str) -> list[float]:
    return [v for h in takes if h.get("usable") and (v := h.get(name)) is not None]


def _pitch(takes: Iterable[Heard], name: str, scatter: float) -> Measured | None:
    values = _values(takes, name)
    return Measured(statistics.median(values), scatter) if values else None


def _against(
    own: Sequence[Heard], loved: Sequence[Heard], name: str, scatter: float
) -> Measured | None:
    a, b = _values(own, name), _values(loved, name)
    if not a or not b:
        return None
    return Measured(statistics.median(a) - statistics.median(b), math.sqrt(2.0) * scatter)


def _unsteady(own: Sequence[Heard], loved: Sequence[Heard]) -> Measured | None:
    values, wanted = _values(own, "steadiness_cents"), _values(loved, "steadiness_cents")
    if not values:
        return None
    usual = statistics.median(wanted) if wanted else _STEADY
    return Measured(statistics.median(values) - usual, _EARS)


def _played(takes: Iterable[Heard]) -> Measured | None:
    """Return how far notes lie from the player's A; unknown where the A was guessed from them."""
    cents = [
        note["pitch_cents"]
        for take in takes
        if take.get("usable") and take.get("reference_given")
        for note in take.get("notes", ())
        if note.get("pitch_cents") is not None
    ]
    return Measured(statistics.median(cents), _PLAYED) if cents else None
