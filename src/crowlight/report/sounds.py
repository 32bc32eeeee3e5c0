"""Sentences and numbers about recordings: what was measured, what hinders it, what changed."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from crowlight.bench.kinds import Control, Label, Payload, Recording
from crowlight.bench.listening import Compared
from crowlight.bench.recordings import summaries
from crowlight.listen import CLASSES, Change, Learned
from crowlight.report.words import Words, mark

__all__ = [
    "OCTAVES",
    "ChangeRow",
    "MeasureRow",
    "change_rows",
    "class_basis",
    "class_name",
    "class_said",
    "entry_said",
    "kind_said",
    "measure_rows",
    "note_rows",
    "octaves_said",
    "pitch_said",
    "reasons_said",
    "swell_said",
]


@dataclass(frozen=True, slots=True)
class _Shown:
    """How a measure is shown: its name, unit, digits, factor, and whether it has a sign."""

    name: str
    unit: str
    digits: int = 1
    factor: float = 1.0
    signed: bool = False


_CENTS, _DB = mark("cents"), "dB"
_SHOWN: Mapping[str, _Shown] = MappingProxyType(
    {
        "pitch_hz": _Shown(mark("Pitch"), "Hz"),
        "pitch_cents": _Shown(mark("From the target"), _CENTS, signed=True),
        "pitch_cents_folded": _Shown(mark("From the target, octaves aside"), _CENTS, signed=True),
        "pitched_share": _Shown(mark("Pitched share"), "%", digits=2, factor=100.0),
        "stray_db": _Shown(mark("Stray partials"), _DB),
        "breath_db": _Shown(mark("Breath noise"), _DB),
        "rattle_percent": _Shown(mark("Rattle"), "%"),
        "beat_percent": _Shown(mark("Beats"), "%"),
        "steadiness_cents": _Shown(mark("Unsteadiness of the pitch"), _CENTS),
        "drift_cents_per_s": _Shown(mark("Drift"), mark("cents per second"), signed=True),
        "octave_spread_cents": _Shown(mark("Spread of the octave lines"), _CENTS),
        "attack_s": _Shown(mark("Attack"), "s", digits=3),
    }
)
#: Octave lines and what they are called, lowest first.
OCTAVES = (("1/2", "½"), ("1", "1"), ("2", "2"), ("4", "4"), ("8", "8"))

_CLASSES: Mapping[str, str] = {
    "clean": mark("clean"),
    "mixed": mark("mixed"),
    "rattling": mark("rattling"),
}
#: What stands in the way of measuring, and what to do about it.
_REASONS: Mapping[str, tuple[str, str]] = {
    "not_finite": (
        mark("%(value)s samples are not numbers"),
        mark("the file is damaged or was badly converted: export it again or record again"),
    ),
    "silence": (
        mark("there is nothing in the file but silence"),
        mark("check that the right microphone is chosen and not muted"),
    ),
    "too_quiet": (
        mark("the loudest blow reaches %(value)s dB of full scale; it needs %(limit)s"),
        mark("raise the recording level or go nearer to the microphone"),
    ),
    "speech": (
        mark("%(value)s of the sounds seem to be speech"),
        mark("keep quiet between the blows, or cut the spoken part off"),
    ),
    "too_short": (
        mark("the longest steady sound lasts %(value)s s; %(limit)s s is needed"),
        mark("hold the crow for 2 to 3 seconds"),
    ),
    "clipped": (
        mark("the wave is cut off flat %(value)s times"),
        mark("lower the recording level or go further from the microphone"),
    ),
    "offset": (
        mark("the wave is off zero by %(value)s of full scale"),
        mark("the sound card or cable is at fault: try another input"),
    ),
    "noisy_room": (
        mark("the blow is only %(value)s dB above the room; it needs %(limit)s"),
        mark("go nearer to the microphone or find a quieter room"),
    ),
    "hum": (
        mark("mains hum lies at %(value)s dB against the blow; it must lie below %(limit)s"),
        mark("unplug chargers and lamps near the microphone, or record from battery"),
    ),
    "two_reeds": (
        mark("the pitch jumps by %(value)s cents between two blows"),
        mark("record each reed in a take of its own; if it was one reed, say so when sending it"),
    ),
    "no_single_pitch": (
        mark("no single pitch stands out"),
        mark("read the class and the rattle; the pitch comes back when the octaves join"),
    ),
    "no_notes": (
        mark("no sustained note was found"),
        mark("play single notes of at least a tenth of a second, or a slow scale"),
    ),
}
_DIGITS = {"too_short": 2, "offset": 4}


_OF: Mapping[str, str] = {
    "crow": mark("Crow"),
    "peep": mark("Peep"),
    "notes": mark("Notes"),
}


def kind_said(sound_of: str, words: Words) -> str:
    """Return what a recording is of."""
    return words(_OF[sound_of])


def entry_said(payload: Payload, words: Words) -> str:
    """Return what an entry about sounds says in the log; empty for any other."""
    match payload:
        case Recording():
            parts = [kind_said(payload.sound_of, words), str(payload.settings.get("file") or "")]
            return "; ".join(part for part in (*parts, payload.device) if part)
        case Label():
            return class_name(payload.says, words)
        case Control():
            said = words(mark("Left untouched: what changes in its crow is not the knife's doing."))
            return f"{said} {payload.remark}".strip()
        case _:
            return ""


def class_name(code: str, words: Words) -> str:
    """Return the name of a class."""
    return words(_CLASSES[code])


def class_said(probability: Mapping[str, float], words: Words) -> str:
    """Return all three classes with their probabilities, likeliest first."""
    order = sorted(CLASSES, key=lambda c: -probability[c])
    return ", ".join(f"{class_name(c, words)} {_percent(probability[c], words)}" for c in order)


def _percent(share: float, words: Words) -> str:
    """Return a probability; never certainty."""
    if share > 0.99:
        return words(mark("over\u00a099\u00a0%"))
    if share < 0.01:
        return words(mark("under\u00a01\u00a0%"))
    return f"{words.number(100 * share, 0)}\N{NO-BREAK SPACE}%"


def class_basis(learned: Learned, words: Words) -> str:
    """Return what the classes rest on, and how far that can be trusted."""
    if learned.enough and learned.error is not None:
        return words.say(
            mark(
                "Basis: your labels, %(takes)s of %(reeds)s reeds. Judged without its own labels, "
                "a reed's crow was put into another class than yours in %(error)s %% of the takes "
                "(%(low)s to %(high)s %%)."
            ),
            takes=learned.takes,
            reeds=learned.reeds,
            error=words.number(100 * learned.error, 0),
            low=words.number(100 * (learned.error_low or 0.0), 0),
            high=words.number(100 * (learned.error_high or 1.0), 0),
        )
    return words.say(
        mark(
            "Basis: common practice, tried on invented crows only; nobody knows how well it sorts "
            "your reeds. It gives way to your own labels from 8 reeds on, at least 2 of each "
            "class; so far %(takes)s labelled crows of %(reeds)s reeds."
        ),
        takes=learned.takes,
        reeds=learned.reeds,
    )


def pitch_said(heard: Mapping[str, Any], words: Words) -> str:
    """Return the pitch of a crow or peep in a sentence, where it can be trusted."""
    found = summaries([heard])
    blows = len(heard.get("blows", ()))
    if "pitch_hz" not in found:
        return words(mark("No single pitch."))
    said = words.say(
        mark("Pitch %(pitch)s Hz, %(cents)s cents from the target of %(target)s Hz."),
        pitch=words.number(found["pitch_hz"].median, 1),
        cents=words.number(found["pitch_cents"].median, 0, signed=True),
        target=words.number(heard["target_hz"], 1),
    )
    if found["pitch_hz"].attempts == blows:
        return said
    text = mark("In %(n)s of %(of)s blows; the others have no single pitch.")
    return f"{said} {words.say(text, n=found['pitch_hz'].attempts, of=blows)}"


def reasons_said(reasons: Iterable[Mapping[str, Any]], words: Words) -> list[tuple[str, str]]:
    """Return what stands in the way of measuring, and the remedy of each."""
    said: list[tuple[str, str]] = []
    for reason in reasons:
        code = str(reason["code"])
        if code not in _REASONS:
            said.append((str(reason["text"]), str(reason["remedy"])))
            continue
        text, remedy = _REASONS[code]
        digits = _DIGITS.get(code, 0)
        values = {name: words.number(reason.get(name), digits) for name in ("value", "limit")}
        said.append((words.say(text, **values), words(remedy)))
    return said


# --- measures ---------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasureRow:
    """One measure of a recording, as text.

    Parameters
    ----------
    name, unit : str
        What it is.
    median, span : str
        Over the attempts; `median` says so when there are fewer than three.
    attempts : int
        How many attempts had a value.
    enough : bool
        At least three.
    longest, interval : str
        The longest blow's value and its 95 % interval.
    """

    name: str
    unit: str
    median: str
    span: str
    attempts: int
    enough: bool
    longest: str
    interval: str


def measure_rows(heard: Mapping[str, Any], words: Words) -> list[MeasureRow]:
    """Return the measures of a crow or peep that any blow has."""
    found = summaries([heard])
    rows: list[MeasureRow] = []
    for key, shown in _SHOWN.items():
        if key not in found or (
            key == "pitch_cents_folded" and found[key] == found.get("pitch_cents")
        ):  # nothing to fold
            continue
        summary = found[key]
        value, ends = heard.get(key), (heard.get("intervals") or {}).get(key)
        rows.append(
            MeasureRow(
                name=words(shown.name),
                unit=words(shown.unit),
                median=_number(summary.median, shown, words),
                span=_span(summary.low, summary.high, shown, words),
                attempts=summary.attempts,
                enough=summary.enough,
                longest=_number(value, shown, words),
                interval=_interval(value, ends, shown, words) if ends else "",
            )
        )
    return rows


def _interval(
    value: float | None, ends: Sequence[float | None], shown: _Shown, words: Words
) -> str:
    if ends[0] is None and value is not None and ends[1] == value:
        return words(mark("none found; one this loud would have been"))
    return _span(ends[0], ends[1], shown, words)


def _number(value: float | None, shown: _Shown, words: Words) -> str:
    scaled = None if value is None else value * shown.factor
    return words.number(scaled, shown.digits, signed=shown.signed)


def _span(low: float | None, high: float | None, shown: _Shown, words: Words) -> str:
    if low is None or not math.isfinite(low):
        if high is None or not math.isfinite(high):
            return "–"
        return words.say(mark("at most %(high)s"), high=_number(high, shown, words))
    if high is None or not math.isfinite(high):
        return words.say(mark("at least %(low)s"), low=_number(low, shown, words))
    return words.say(
        mark("%(low)s to %(high)s"),
        low=_number(low, shown, words),
        high=_number(high, shown, words),
    )


def octaves_said(heard: Mapping[str, Any], words: Words) -> str:
    """Return the levels of the octave lines of the longest blow, lowest first."""
    levels = heard.get("octave_levels_db") or {}
    parts = [
        f"{sign}: {words.number(levels[key], 0)} dB"
        for key, sign in OCTAVES
        if levels.get(key) is not None
    ]
    return ", ".join(parts) or words(mark("none stands out"))


_FIRST: Mapping[str, str] = {
    "upper": mark("the upper octave"),
    "lower": mark("the lower octave"),
    "both": mark("both octaves together"),
}


def swell_said(heard: Mapping[str, Any], words: Words) -> list[str]:
    """Return what happens during the longest blow, in order: speaks, octave joins, rattles."""
    swell = heard.get("swell")
    if not swell:
        return []
    first = swell.get("first_octave")
    said = [
        _event(
            swell.get("start"),
            mark("Speaks at %(time)s s, %(level)s dB against its loudest."),
            mark("No pitch stands out in it."),
            words,
        )
    ]
    if first in _FIRST:
        said.append(words.say(mark("First speaks %(octave)s."), octave=words(_FIRST[first])))
    if first != "both":
        said.append(
            _event(
                swell.get("octave_joins"),
                mark("The other octave joins at %(time)s s, %(level)s dB."),
                mark("The other octave never joins."),
                words,
            )
        )
    said.append(
        _event(
            swell.get("rattles"),
            mark("The rattle sets in at %(time)s s, %(level)s dB."),
            mark("No rattle sets in."),
            words,
        )
    )
    return said


def _event(moment: Mapping[str, Any] | None, text: str, never: str, words: Words) -> str:
    if moment is None:
        return words(never)
    return words.say(
        text, time=words.number(moment["time_s"], 2), level=words.number(moment["level_db"], 0)
    )


# --- before and after -------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeRow:
    """One measure before and after, as text; `code` is changed, same or few."""

    name: str
    unit: str
    before: str
    after: str
    difference: str
    interval: str
    code: str
    verdict: str


_VERDICTS: Mapping[str, tuple[str, str]] = {
    "changed": ("changed", mark("changed")),
    "no change these recordings show": ("same", mark("no change these recordings show")),
    "too few attempts to tell": ("few", mark("too few attempts to tell")),
}


def change_rows(compared: Compared, words: Words) -> list[ChangeRow]:
    """Return the measures before and after, what changed first."""
    rows: list[ChangeRow] = []
    for key, change in compared.changes.items():
        if not (change.before.attempts or change.after.attempts):
            continue
        rows.append(_change_row(_SHOWN[key], change, words))
    order = {"changed": 0, "same": 1, "few": 2}
    return sorted(rows, key=lambda row: order[row.code])


def _change_row(shown: _Shown, change: Change, words: Words) -> ChangeRow:
    code, verdict = _VERDICTS[change.verdict]
    both = bool(change.before.attempts and change.after.attempts)
    signed = _Shown(shown.name, shown.unit, shown.digits, shown.factor, signed=True)
    return ChangeRow(
        name=words(shown.name),
        unit=words(shown.unit),
        before=_number(change.before.median, shown, words),
        after=_number(change.after.median, shown, words),
        difference=_number(change.difference, signed, words) if both else "–",
        interval="" if code == "few" else _span(change.low, change.high, signed, words),
        code=code,
        verdict=words(verdict),
    )


# --- notes ------------------------------------------------------------------------------------


def note_rows(heard: Mapping[str, Any], words: Words) -> list[dict[str, str]]:
    """Return the notes of a take as text, in the order in which they were played."""
    return [
        {
            "name": str(n["name"]),
            "when": words.say(
                mark("%(low)s to %(high)s"),
                low=words.number(n["start_s"], 2),
                high=words.number(n["end_s"], 2),
            ),
            "cents": words.number(n["pitch_cents"], 0, signed=True),
            "steadiness": words.number(n["steadiness_cents"], 0),
            "attack": words(mark("slurred"))
            if n["joined"]
            else words.number(_milliseconds(n["attack_s"]), 0),
            "noise": words.number(n["hnr_db"], 0),
            "brightness": words.number(n["brightness_db"], 0),
            "span": words.number(n["span_db"], 1),
        }
        for n in heard.get("notes", ())
    ]


def _milliseconds(seconds: float | None) -> float | None:
    return None if seconds is None else seconds * 1e3
