"""Everything that is measured on one blow of a crow or a peep."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from crowlight.listen.blows import Blow, steady_part
from crowlight.listen.classes import CLASSES, ClassModel, features
from crowlight.listen.crowpitch import Candidate, candidates
from crowlight.listen.octaves import Octaves, first_heard, line_course, octave_lines
from crowlight.listen.orders import Track, follow, unbend
from crowlight.listen.partials import STANDS_OUT, Parts, Spectrum, divide, power_spectrum
from crowlight.listen.rattle import movement
from crowlight.listen.values import Measure, jackknife
from crowlight.listen.waveform import levels

__all__ = ["MEASURED", "BlowMeasures", "blow_dict", "measure_blow"]

Floats = NDArray[np.float64]

TRUSTED_SHARE, TRUSTED_EXPLAINED = 0.25, 0.3
"""Pitch is shown from this pitched share and this explained share of the lines on."""
STEADY_SHARE = 0.5
"""Steadiness and drift are shown from this pitched share on."""
FLOOR_DB = 0.6
"""What a short look at the noise floor may be off by, beyond its scatter [dB]: counted on invented
crows, 2 s of a blow against 10 s of it."""
MARGIN = 0.1
"""Sound used beside the steady part while following the pitch [s]."""
SHORTEST = 0.35
"""Blows with less steady sound are left out [s]."""


@dataclass(frozen=True, slots=True)
class BlowMeasures:
    """Everything measured on one blow.

    Parameters
    ----------
    start, end : float
        Steady part that was measured [s].
    pitch : Measure or None
        Crow pitch [Hz]; None where it cannot be trusted.
    cents, cents_folded : Measure or None
        Pitch against the target [cents], as it is and moved by whole octaves to within ±600.
    pitched_share : Measure
        Share of the power that belongs to the pitch and its orders, 0-1.
    stray : Measure
        Stray partials against the pitch [dB]; low end -inf where none was found and the value is
        the level that would have been.
    breath : Measure
        Noise against the pitch [dB].
    rattle, beat : Measure
        RMS relative movement of level at 12-150 Hz and 1.5-12 Hz [1].
    beat_rate : float
        Rate of the strongest movement at 1.5-12 Hz [Hz].
    steadiness, drift : Measure or None
        RMS of the pitch about a line [cents] and the line's slope [cents per second].
    attack : float or None
        Time from 20 to 3 dB below the steady level [s].
    octaves : Octaves
        Lines at 1/2, 1, 2, 4, 8 of the pitch in the target's octave.
    first : tuple of float or None
        When the lines at 1/2, 1, 2, 4 are first heard, from the blow's start [s]; the windows are
        60 ms long, so a line that starts with the blow may read up to 30 ms before it.
    probability : tuple of float
        Of clean, mixed, rattling.
    candidates : tuple of Candidate
        Pitches considered, the chosen one first.
    """

    start: float
    end: float
    pitch: Measure | None
    cents: Measure | None
    cents_folded: Measure | None
    pitched_share: Measure
    stray: Measure
    breath: Measure
    rattle: Measure
    beat: Measure
    beat_rate: float
    steadiness: Measure | None
    drift: Measure | None
    attack: float | None
    octaves: Octaves
    first: tuple[float | None, ...]
    probability: tuple[float, ...]
    candidates: tuple[Candidate, ...]

    @property
    def label(self) -> str:
        """Most probable class."""
        return CLASSES[int(np.argmax(self.probability))]

    @property
    def first_octave(self) -> str | None:
        """Which of the lower (1) and upper (2) octave speaks first; "both" within 60 ms."""
        low, high = self.first[1], self.first[2]
        if low is not None and high is not None and abs(low - high) <= 0.06:
            return "both"
        if low is None and high is None:
            return None
        return "lower" if high is None or (low is not None and low < high) else "upper"


MEASURED = (
    "start_s",
    "end_s",
    "class",
    "class_probability",
    "pitch_hz",
    "pitch_cents",
    "pitch_cents_folded",
    "pitched_share",
    "stray_db",
    "breath_db",
    "rattle_percent",
    "beat_percent",
    "beat_hz",
    "steadiness_cents",
    "drift_cents_per_s",
    "attack_s",
    "octave_levels_db",
    "octave_spread_cents",
    "octaves_first_heard_s",
    "first_octave",
    "candidates_hz",
)


def blow_dict(b: BlowMeasures) -> dict[str, Any]:
    """Turn a blow into plain values for JSON, in the units of the edges; None where unknown."""
    measures: dict[str, tuple[Measure | None, float]] = {
        "pitch_hz": (b.pitch, 1.0),
        "pitch_cents": (b.cents, 1.0),
        "pitch_cents_folded": (b.cents_folded, 1.0),
        "pitched_share": (b.pitched_share, 1.0),
        "stray_db": (b.stray, 1.0),
        "breath_db": (b.breath, 1.0),
        "rattle_percent": (b.rattle, 100.0),
        "beat_percent": (b.beat, 100.0),
        "steadiness_cents": (b.steadiness, 1.0),
        "drift_cents_per_s": (b.drift, 1.0),
    }
    names = ("1/2", "1", "2", "4", "8")
    values: dict[str, Any] = dict.fromkeys(MEASURED)
    values |= {name: None if m is None else m.value * by for name, (m, by) in measures.items()}
    values |= {
        "start_s": b.start,
        "end_s": b.end,
        "class": b.label,
        "class_probability": dict(zip(CLASSES, b.probability, strict=True)),
        "beat_hz": b.beat_rate,
        "attack_s": b.attack,
        "octave_levels_db": dict(zip(names, b.octaves.level, strict=True)),
        "octave_spread_cents": b.octaves.spread,
        "octaves_first_heard_s": dict(zip(names[:4], b.first, strict=True)),
        "first_octave": b.first_octave,
        "candidates_hz": [c.pitch for c in b.candidates],
        "intervals": {
            name: [_finite(m.low * by), _finite(m.high * by)]
            for name, (m, by) in measures.items()
            if m is not None
        },
    }
    return values


def _finite(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def measure_blow(
    x: Floats,
    rate: float,
    blow: Blow,
    target: float,
    span: tuple[float, float],
    room: Spectrum | None,
    model: ClassModel,
) -> BlowMeasures | None:
    """Measure one blow.

    Parameters
    ----------
    x : ndarray, shape (n,)
        The whole take at its working rate, mean zero.
    rate, target : float
        Sampling rate and the pitch aimed at [Hz].
    blow : Blow
        Which part.
    span : tuple of float
        Range in which the pitch is looked for [Hz].
    room : Spectrum or None
        Of the quiet part of the take.
    model : ClassModel
        Classes.

    Returns
    -------
    BlowMeasures or None
        None if too little of it is steady or nothing stands above its noise.
    """
    start, end = steady_part(x, rate, blow)
    if end - start < SHORTEST:
        return None
    found = candidates(x[int(start * rate) : int(end * rate)], rate, low=span[0], high=span[1])
    if not found:
        return None
    begin, stop = max(start - MARGIN, 0.0), min(end + MARGIN, x.size / rate)
    wide = x[int(begin * rate) : int(stop * rate)]
    track = follow(wide, rate, found[0].pitch, margin=min(MARGIN, start - begin + 1e-9))
    y, pitch = unbend(wide, rate, track)
    spectrum = power_spectrum(y, rate)
    whole = divide(spectrum, pitch, room=room)

    def from_parts(number: Callable[[Parts], float]) -> Measure:
        def value(rows: NDArray[np.bool_]) -> float:
            return number(whole if rows.all() else divide(spectrum, pitch, room=room, rows=rows))

        return jackknife(value, len(spectrum.frames))

    share = _wider_share(from_parts(lambda parts: parts.share))
    breath = _map(from_parts(lambda parts: parts.breath / max(parts.pitched, 1e-20)), _decibels)
    moving = movement(y, rate, pitch, whole.floor, spectrum.frequency)
    trusted = share.value >= TRUSTED_SHARE and found[0].explained >= TRUSTED_EXPLAINED
    cents = _pitch_cents(track, target)
    octaves_off = float(np.rint(cents.value / 1200.0))
    folded = _map(cents, lambda v: v - 1200.0 * octaves_off)
    stray = _stray(whole, from_parts)
    rattle = jackknife(moving.rattle, len(moving.together))
    rattle = Measure(rattle.value, max(rattle.low, 0.0), rattle.high)
    steady = trusted and share.value >= STEADY_SHARE
    steadiness, drift = _about_line(track)
    in_octave = pitch / 2.0 ** np.rint(np.log2(pitch / target))
    lead = min(0.05, blow.start)
    whole_blow = x[int((blow.start - lead) * rate) : int(blow.end * rate)]
    heard = first_heard(*line_course(whole_blow, rate, in_octave))
    return BlowMeasures(
        start=start,
        end=end,
        pitch=_map(cents, lambda v: target * 2.0 ** (v / 1200.0)) if trusted else None,
        cents=cents if trusted else None,
        cents_folded=folded if trusted else None,
        pitched_share=share,
        stray=stray,
        breath=_wider(breath),
        rattle=rattle,
        beat=_root(moving.beat),
        beat_rate=moving.beat_rate,
        steadiness=steadiness if steady else None,
        drift=drift if steady else None,
        attack=_attack(x, rate, blow, start, end),
        octaves=octave_lines(y, rate, in_octave),
        first=tuple(None if t is None else t - lead for t in heard),
        probability=tuple(
            float(v) for v in model.probability(features(share.value, rattle.value, stray.value))
        ),
        candidates=found,
    )


def _map(m: Measure, to: Callable[[float], float]) -> Measure:
    return Measure(*(float(to(v)) for v in (m.value, m.low, m.high)))


def _decibels(ratio: float) -> float:
    return float(10.0 * np.log10(max(ratio, 1e-20)))


def _stray(whole: Parts, from_parts: Callable[[Callable[[Parts], float]], Measure]) -> Measure:
    """Stray partials; open below where it might be that there are none."""
    limit = STANDS_OUT * float(np.median(whole.floor)) / max(whole.pitched, 1e-20)
    if not whole.strays:
        return Measure(_decibels(limit), -np.inf, _decibels(limit))
    found = from_parts(lambda parts: parts.stray / max(parts.pitched, 1e-20))
    low = _decibels(found.low) if found.low > limit else -np.inf
    return _wider(Measure(_decibels(found.value), low, _decibels(found.high)))


def _wider(m: Measure) -> Measure:
    """Add what the noise floor may be off by to an interval in decibels."""
    below, above = (float(np.hypot(v - m.value, FLOOR_DB)) for v in (m.low, m.high))
    return Measure(m.value, m.value - below, m.value + above)


def _wider_share(m: Measure) -> Measure:
    """Do the same for the pitched share, by way of what is not pitched."""
    rest = _wider(_map(Measure(1.0 - m.value, 1.0 - m.high, 1.0 - m.low), _decibels))
    low, high = (1.0 - 10.0 ** (v / 10.0) for v in (rest.high, rest.low))
    return Measure(m.value, max(low, 0.0), high)


def _root(squares: Floats) -> Measure:
    """Root of the mean of squares by block, noise already taken away, never below zero."""
    found = jackknife(lambda rows: float(squares[rows].mean()), squares.size)
    return _map(found, lambda v: np.sqrt(max(v, 0.0)))


def _pitch_cents(track: Track, target: float) -> Measure:
    cents = 1200.0 * np.log2(track.pitch / target)
    return jackknife(
        lambda rows: float(np.average(cents[rows], weights=track.weight[rows])), cents.size
    )


def _about_line(track: Track) -> tuple[Measure, Measure]:
    """Steadiness and drift: RMS about the weighted straight line, and its slope."""
    cents = 1200.0 * np.log2(track.pitch / np.mean(track.pitch))

    def line(rows: NDArray[np.bool_]) -> tuple[float, float]:
        w, t, c = track.weight[rows], track.time[rows], cents[rows]
        t = t - np.average(t, weights=w)
        slope = np.sum(w * t * c) / np.sum(w * t * t)
        rest = c - np.average(c, weights=w) - slope * t
        return float(np.sqrt(np.average(rest**2, weights=w))), float(slope)

    steadiness = jackknife(lambda rows: line(rows)[0], cents.size)
    return steadiness, jackknife(lambda rows: line(rows)[1], cents.size)


def _attack(x: Floats, rate: float, blow: Blow, start: float, end: float) -> float | None:
    """Time from 20 to 3 dB below the steady level, 6 ms RMS; None if the take does not show it."""
    if blow.start < 0.05 or start - blow.start > 0.6:
        return None  # begins in mid-blow, or is a slow swell
    hop = 0.001
    begin = blow.start - 0.05
    level = levels(x[int(begin * rate) : int(end * rate)], rate, hop=hop, window=0.006)
    steady = float(np.median(level[int((start - begin) / hop) :]))
    high = np.flatnonzero(level >= steady - 3.0)
    if high.size == 0 or level[:20].mean() > steady - 26.0:
        return None
    top = int(high[0])
    under = np.flatnonzero(level[:top] < steady - 20.0)
    if under.size == 0 or top == 0:
        return None
    low = int(under[-1])
    cross = [
        i + (limit - level[i]) / (level[i + 1] - level[i])
        for i, limit in ((low, steady - 20.0), (top - 1, steady - 3.0))
    ]
    return float((cross[1] - cross[0]) * hop)
