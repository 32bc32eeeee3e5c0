"""Played notes against standards and tones whose truth is a formula.

The test tones are made here from their closed forms. A cent measured over a whole note must be
right to 0.1, a single frame within a vibrato to 0.3: small beside the 2 to 3 cents a trained ear
tells apart under the best conditions (from memory, common handbook value). Seeds are fixed, so
every run is the same.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from crowlight.checks.case import Check
from crowlight.listen.hnr import harmonics_to_noise
from crowlight.listen.notes import find_notes
from crowlight.listen.pitch import track_pitch
from crowlight.listen.tuning import Tuning, cents_between, note_pitch, tunings

__all__ = ["cases", "frequency_modulated", "swelling"]

RATE = 48_000.0
_ISO16 = "ISO 16:1975: A4 = 440 Hz"
_MIDI = "equal temperament from A4 = 440 Hz, f = 440 * 2^((m - 69) / 12); table value"
_CLOSED = "closed form"

# note number, printed frequency [Hz]
_EQUAL = (
    (58, "233.08"),
    (60, "261.63"),
    (72, "523.2511"),
    (84, "1046.5023"),
    (91, "1567.98"),
)
_PARTIALS = (0.5, 1.0, 0.8, 0.6, 0.3, 0.2, 0.1)


def frequency_modulated(
    carrier: float, depth: float, speed: float, duration: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Seven partials whose pitch is ``carrier * 2^(depth sin(2 pi speed t) / 1200)``.

    Parameters
    ----------
    carrier : float
        [Hz].
    depth : float
        [cents].
    speed : float
        [Hz].
    duration : float
        [s].

    Returns
    -------
    sound, pitch : ndarray, shape (n,)
        Samples at 48 kHz and the pitch at each [Hz].
    """
    time = np.arange(round(duration * RATE)) / RATE
    pitch = carrier * 2 ** (depth / 1200 * np.sin(2 * np.pi * speed * time))
    # Trapezia; the error of the phase over a second is below 1e-7 rad at these speeds.
    turn = np.concatenate([[0.0], np.cumsum(0.5 * (pitch[1:] + pitch[:-1]))]) / RATE
    return _partials(turn), pitch


def swelling(pitch: float, share: float, speed: float, duration: float) -> NDArray[np.float64]:
    """Seven steady partials times ``1 + share * cos(2 pi speed t)``, at 48 kHz."""
    time = np.arange(round(duration * RATE)) / RATE
    return _partials(pitch * time) * (1 + share * np.cos(2 * np.pi * speed * time))


def _partials(turn: NDArray[np.float64]) -> NDArray[np.float64]:
    """Sum of partials of a phase given in turns."""
    tone = np.zeros_like(turn)
    for number, strength in enumerate(_PARTIALS, 1):
        tone += 0.1 * strength * np.cos(2 * np.pi * number * turn + 0.7 * number)
    return tone


def cases() -> Iterator[Check]:
    """All checks of tunings and of measured notes."""
    yield from _tunings()
    yield from _moving_tones()
    yield from _noise_and_attack()


def _tunings() -> Iterator[Check]:
    yield Check("A4", float(note_pitch(69)), 440.0, 0.5, "Hz", _ISO16 + " within 0.5 Hz")
    for note, printed in _EQUAL:
        half = 0.5 * 10.0 ** -len(printed.split(".")[1])
        name = f"note {note} in equal temperament"
        yield Check(name, float(note_pitch(note)), float(printed), half, "Hz", _MIDI)
    for reference, printed in ((442.0, 7.851), (415.0, -101.271)):
        value = float(cents_between(reference, 440.0))
        yield Check(f"{reference:.0f} against 440", value, printed, 5e-4, "cent", _CLOSED)

    # Offsets are printed to 0.001 cents, so an interval between two is good to 0.001.
    known = tunings()

    def third(tuning: Tuning) -> float:
        return 400 + tuning.offsets[4] - tuning.offsets[0]

    source = "closed form: 1200 log2 of the ratio that defines the tuning"
    pure = 1200 * math.log2(5 / 4)
    fifth = 1200 * math.log2(3 / 2)
    comma = 12 * fifth - 7 * 1200
    for key, expected in (
        ("meantone", pure),
        ("just_c", pure),
        ("pythagorean", 4 * fifth - 2400),
        ("sixth_comma", 4 * (fifth - comma / 6) - 2400),
    ):
        yield Check(f"third C-E, {key}", third(known[key]), expected, 1.1e-3, "cent", source)
    wolf = known["pythagorean"].offsets
    value = 700 + wolf[3] - wolf[8]
    yield Check("fifth G sharp-E flat, pythagorean", value, fifth - comma, 1.1e-3, "cent", source)


def _moving_tones() -> Iterator[Check]:
    for carrier in (233.08, 440.0, 987.77, 1567.98):
        sound, pitch = frequency_modulated(carrier, 25.0, 5.5, 1.5)
        track = track_pitch(sound, RATE)
        inner = (track.time > 0.1) & (track.time < 1.4)
        truth = np.interp(track.time[inner], np.arange(pitch.size) / RATE, pitch)
        worst = float(np.quantile(np.abs(cents_between(track.pitch[inner], truth)), 0.9))
        name = f"vibrato about {carrier} Hz, error nine in ten frames keep below"
        yield Check(name, worst, 0.0, 0.3, "cent", _CLOSED + " of the instantaneous frequency")

    sound, _ = frequency_modulated(523.2511, 20.0, 5.0, 2.04)
    note = find_notes(sound, RATE, reference=440.0).notes[0]
    # 2.04 s less 20 ms at both ends: ten whole periods, whose mean square is half.
    expected = 20 / math.sqrt(2)
    yield Check("steadiness of a vibrato", note.steadiness, expected, 0.1, "cent", _CLOSED)
    yield Check("median of a vibrato", note.cents, 0.0, 0.1, "cent", _CLOSED)

    time = np.arange(round(1.5 * RATE)) / RATE
    rate_of_rise = 30 / 1200 * math.log(2)
    turn = 659.2551 * (np.exp(rate_of_rise * time) - 1) / rate_of_rise
    note = find_notes(_partials(turn), RATE, reference=440.0).notes[0]
    yield Check("drift of a glide", note.drift, 30.0, 0.1, "cent/s", _CLOSED)

    note = find_notes(swelling(440.0, 0.5, 1.0, 3.04), RATE, reference=440.0).notes[0]
    # A cosine's 5th and 95th percentiles are -/+ cos(0.05 pi); the 30 ms mean square rounds the
    # crests of a 1 Hz swell by less than 0.05 dB.
    edge = 0.5 * math.cos(0.05 * math.pi)
    expected = 20 * math.log10((1 + edge) / (1 - edge))
    yield Check("pitch under a swell", note.cents, 0.0, 0.1, "cent", _CLOSED)
    yield Check("span of a swell", note.span, expected, 0.1, "dB", _CLOSED)


def _noise_and_attack() -> Iterator[Check]:
    rng = np.random.default_rng(20)
    tone = swelling(587.33, 0.0, 0.0, 3.0)
    noise = rng.normal(size=tone.size)
    noise *= math.sqrt(float(tone @ tone) / float(noise @ noise))
    for ratio in (30.0, 20.0, 10.0):
        noisy = tone + noise * 10 ** (-ratio / 20)
        value = float(np.nanmedian(harmonics_to_noise(noisy, RATE, track_pitch(noisy, RATE))))
        name = f"harmonics to noise at {ratio:.0f} dB"
        yield Check(name, value, ratio, 0.5, "dB", _CLOSED + ": power of tone over that of noise")

    for constant in (0.02, 0.05, 0.1):
        time = np.arange(round(1.2 * RATE)) / RATE
        grown = _partials(493.88 * time) * (1 - np.exp(-time / constant))
        silence = np.zeros(round(0.5 * RATE))
        note = find_notes(np.concatenate([silence, grown]), RATE).notes[0]
        expected = constant * math.log((1 - 10 ** (-20 / 20)) / (1 - 10 ** (-3 / 20)))
        # The envelope is a mean over 6 ms: half of that is the most it can be early or late.
        name = f"attack, time constant {1000 * constant:.0f} ms"
        yield Check(name, note.attack, expected, 0.003, "s", _CLOSED + " of exponential growth")
