"""Listening to a recording: crow, peep or notes, as plain values that can be kept and shown."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from crowlight.bench.octave import octave_experiment
from crowlight.bench.ports import Report
from crowlight.errors import InputError
from crowlight.listen import (
    NoteTake,
    find_notes,
    intonation,
    measure_crow,
    measure_peep,
    measure_swell,
    note_name,
    tunings,
)

__all__ = ["KINDS", "listen", "plain"]

#: What a recording may be of.
KINDS = ("crow", "peep", "notes")


def listen(inputs: Mapping[str, Any], report: Report = lambda _: None) -> dict[str, Any]:
    """Measure one recording.

    Parameters
    ----------
    inputs : mapping
        ``sound`` (ndarray, shape (n,) or (n, channels), full scale 1), ``rate`` [Hz], ``kind``
        (crow, peep or notes); optionally ``reference``, the player's A [Hz], ``tuning``, a key of
        the tunings, and ``one_reed``, the maker's word that all blows are of one reed.
    report : callable
        Called with the fraction done; may raise `Cancelled`.

    Returns
    -------
    dict
        Plain values for JSON; what is not known is None.

    Raises
    ------
    InputError
        If a value cannot be right.
    """
    sound: NDArray[np.floating[Any]] = inputs["sound"]
    rate, kind = float(inputs["rate"]), inputs["kind"]
    reference = inputs.get("reference")
    if kind not in KINDS:
        msg = f"a recording is of a {', '.join(KINDS)}, not of {kind!r}"
        raise InputError(msg)
    if kind == "notes":
        tuning = tunings().get(inputs.get("tuning") or "equal")
        if tuning is None:
            msg = f"tuning {inputs['tuning']!r} is not known; use one of: {', '.join(tunings())}"
            raise InputError(msg)
        take = find_notes(sound, rate, reference=reference, tuning=tuning, report=report)
        return plain(_notes(take))
    # the C above the player's A, and its octave for the peep
    target = (reference or 440.0) * 2 ** (3 / 12) * (2.0 if kind == "peep" else 1.0)
    measure = measure_crow if kind == "crow" else measure_peep
    one_reed = bool(inputs.get("one_reed"))
    heard = measure(sound, rate, target=target, one_reed=one_reed, report=report)
    found = heard.as_dict()
    if kind == "crow" and heard.best is not None:
        found["swell"] = measure_swell(sound, rate, target=target).as_dict()
        upper = 2.0 * target
        if found["pitch_hz"]:  # in whichever octave, brought next to the one expected
            upper = found["pitch_hz"] * 2.0 ** round(math.log2(upper / found["pitch_hz"]))
        found["octave_experiment"] = octave_experiment(sound, rate, upper=upper)
    return plain(found)


def _notes(take: NoteTake) -> dict[str, Any]:
    return {
        "kind": "notes",
        "usable": bool(take.notes),
        "reasons": []
        if take.notes
        else [
            {
                "code": "no_notes",
                "text": "no sustained note was found",
                "remedy": "play single notes of at least a tenth of a second, or a slow scale",
                "blocks": True,
            }
        ],
        "reference_hz": take.reference.pitch,
        "reference_given": take.reference_given,
        "tuning": take.tuning.title,
        "span_db": take.span,
        "slur_success": take.slur_success,
        "notes": [
            {
                "name": n.name,
                "number": n.number,
                "start_s": n.start,
                "end_s": n.end,
                "pitch_hz": n.pitch,
                "pitch_cents": n.cents,
                "steadiness_cents": n.steadiness,
                "drift_cents_per_s": n.drift,
                "attack_s": n.attack,
                "joined": n.joined,
                "level_db": n.level,
                "span_db": n.span,
                "hnr_db": n.hnr,
                "brightness_db": n.brightness,
                "centroid_partials": n.centroid,
                "clarity": n.clarity,
            }
            for n in take.notes
        ],
        "slurs": [
            {
                "from": take.notes[s.first].name,
                "to": take.notes[s.first + 1].name,
                "leap_semitones": s.leap,
                "duration_s": s.duration,
                "dip_db": s.dip,
                "mute_s": s.mute,
                "clean": s.clean,
            }
            for s in take.slurs
        ],
        "intonation": [{"name": note_name(c.number), **asdict(c)} for c in intonation(take)],
    }


def plain(value: Any) -> Any:
    """Return `value` with numpy numbers as Python's and None for what is not finite."""
    if isinstance(value, Mapping):
        pairs = cast("Mapping[Any, Any]", value)
        return {str(k): plain(v) for k, v in pairs.items()}
    if isinstance(value, np.ndarray | np.generic):
        return plain(cast("Any", value).tolist())
    if isinstance(value, list | tuple):
        return [plain(v) for v in cast("list[Any]", value)]
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return value if value is None or isinstance(value, bool | int | str) else str(value)
