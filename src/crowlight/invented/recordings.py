"""Invented recordings of the invented workshop: every sound is made, none was recorded.

One slow swell for each reed; for the reed that was clipped, three blows before and three after,
with the control reed blown at both ends of that sitting; for one reed also a peep and a scale.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from crowlight.bench.ports import SoundOf
from crowlight.invented.crows import C5
from crowlight.invented.sounds import (
    InventedCrow,
    Kind,
    Room,
    crow_take,
    draw_crow,
    peep_take,
    swell_take,
)

__all__ = ["DEVICE", "RATE", "InventedRecording", "recordings_for", "scale_take"]

Floats = NDArray[np.float64]

#: Samples per second [Hz]: enough for everything that is measured, and small.
RATE = 24_000
DEVICE = "Invented: computed, no microphone was there"

_ROOM = Room(reverberation=0.15, wet=-22.0, noise=-58.0, level=-22.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class InventedRecording:
    """A recording to be kept.

    Parameters
    ----------
    word : str
        Makes its uuid, together with the reed's name.
    sound_of : {"crow", "peep", "notes"}
        What it is of.
    sound : ndarray, shape (n,)
        Samples at `RATE`.
    minutes : float
        When, from the start of the sitting [min].
    """

    word: str
    sound_of: SoundOf
    sound: Floats
    minutes: float


def scale_take(
    notes: Sequence[int],
    cents: Sequence[float],
    rng: np.random.Generator,
    *,
    seconds: float = 0.55,
    rate: float = RATE,
) -> Floats:
    """Make a scale of oboe-like tones, all but the first tongued softly.

    Parameters
    ----------
    notes : sequence of int
        Semitone numbers, 69 for A4.
    cents : sequence of float
        How far each is off equal temperament from A4 = 440 Hz.
    rng : numpy.random.Generator
        Phases, noise and small unsteadiness.
    seconds, rate : float
        Length of a note [s] and samples per second [Hz].
    """
    n = int(seconds * rate)
    t = np.arange(n) / rate
    rise = np.clip(t / 0.025, 0.0, 1.0) * np.clip((seconds - 0.03 - t) / 0.03, 0.0, 1.0)
    parts = [np.zeros(int(0.3 * rate))]
    for number, off in zip(notes, cents, strict=True):
        pitch = 440.0 * 2.0 ** ((number - 69 + off / 100.0) / 12.0)
        slow = 2.0 * np.cumsum(rng.standard_normal(n)) / np.sqrt(n)  # a walk of about 2 cents
        phase = 2.0 * np.pi * np.cumsum(pitch * 2.0 ** (slow / 1200.0)) / rate
        tone = np.zeros(n)
        for k in range(1, int(min(8_000.0, 0.4 * rate) / pitch) + 1):
            # strongest near 1 kHz, as an oboe (common practice, no source)
            level = -abs(np.log2(k * pitch / 1_050.0)) * 8.0
            tone += 10.0 ** (level / 20.0) * np.cos(k * phase + rng.uniform(0.0, 2.0 * np.pi))
        tone = tone / np.sqrt(np.mean(tone**2)) + 0.02 * rng.standard_normal(n)
        parts.append(0.08 * rise * tone)
    parts.append(np.zeros(int(0.3 * rate)))
    sound = np.concatenate(parts)
    return sound + 1e-4 * rng.standard_normal(sound.size)


def recordings_for(
    kind: Kind,
    seed: int,
    *,
    clip: float | None,
    control: float | None,
    scale: bool,
    cents: float | None = None,
    wobble: float = 0.0,
) -> Iterator[InventedRecording]:
    """Make the recordings of one reed.

    Parameters
    ----------
    kind : {"clean", "mixed", "rattling"}
        How it crows.
    seed : int
        Of its chance.
    clip : float or None
        What is clipped off it at minute 2 [m]: the crow is blown before and after.
    control : float or None
        When the sitting begins at both ends of which it is blown as well [min].
    scale : bool
        Whether a peep and a scale are recorded as well.
    cents : float, optional
        How far above C it crows [cents]; by chance if not given.
    wobble : float
        Wandering of its pitch [cents]; three blows show it. None are recorded for 0.
    """
    rng = np.random.default_rng([seed, 77])
    crow = draw_crow(rng, kind)
    if cents is not None:
        crow = replace(crow, pitch=C5 * 2.0 ** (cents / 1200.0))
    room = _ROOM

    def crowed(word: str, minutes: float, what: InventedCrow) -> InventedRecording:
        take = crow_take(what, rng, room=room, seconds=1.2, rate=RATE, blows=3)
        return InventedRecording(word=word, sound_of="crow", sound=take.sound, minutes=minutes)

    # a shorter reed crows higher: 100 cents a millimetre, invented
    now = replace(crow, pitch=crow.pitch * 2.0 ** ((clip or 0.0) * 1e3 * 100.0 / 1200.0))
    swell = swell_take(
        rng,
        pitch=now.pitch,
        seconds=4.0,
        octave=float(rng.uniform(0.3, 0.6)),
        rattle={"clean": 1.1, "mixed": 0.85, "rattling": 0.6}[kind],
        breath=crow.breath,
        room=room,
        rate=RATE,
    )
    yield InventedRecording(word="swell", sound_of="crow", sound=swell.sound, minutes=26.0)
    if wobble:
        yield crowed("wobble", 25.5, replace(now, jitter=wobble))
    if clip is not None:
        yield crowed("before", 1.5, crow)
        yield crowed("after", 5.0, now)
    if control is not None:
        yield crowed("control, start", control, crow)
        yield crowed("control, end", control + 6.0, crow)
    if scale:
        peep = peep_take(rng, room=room, seconds=1.0, rate=RATE)
        yield InventedRecording(word="peep", sound_of="peep", sound=peep.sound, minutes=27.0)
        notes = (62, 64, 66, 67, 69, 71, 73, 74)
        off = tuple(float(c) for c in rng.normal(0.0, 7.0, len(notes)))
        played = scale_take(notes, off, rng)
        yield InventedRecording(word="scale", sound_of="notes", sound=played, minutes=28.0)
