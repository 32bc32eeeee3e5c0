"""Invented crows, peeps and swells, each defect at a stated level; no recording went into them.

Two unrelated ways of making a sound are kept side by side, so that a measure tuned on one can be
tried on the other:

* *additive*: a sum of partials of one slowly moving pitch, plus exactly the defects asked for;
* *pulsed*: a train of pulses whose heights follow the logistic map. Its period-two regime gives
  the lower octave, its chaotic regime a rattle. (May, Nature 261 (1976) 459, from memory.)

The ranges drawn by :func:`draw_crow` are the developers' choice: common practice at best, no
source. They show that a measure answers to a defect, not that it sorts real reeds.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import signal

from crowlight.invented.crows import (
    C5,
    DEFECTS,
    Floats,
    InventedCrow,
    Kind,
    Room,
    draw_crow,
    draw_room,
    with_defect,
)

__all__ = [
    "DEFECTS",
    "InventedCrow",
    "InventedTake",
    "Kind",
    "Room",
    "crow_take",
    "draw_crow",
    "draw_room",
    "peep_take",
    "pulsed_take",
    "speech_like",
    "swell_take",
    "with_defect",
]


@dataclass(frozen=True, slots=True)
class InventedTake:
    """An invented recording and what is true of it.

    Parameters
    ----------
    sound : ndarray, shape (n,)
        Samples, full scale 1.
    rate : float
        Samples per second [Hz].
    pitch : float
        True mean pitch of the lower octave [Hz].
    blows : tuple of (float, float)
        Start and end of each blow [s].
    events : dict of str to float
        Other true times [s]: for swells ``start``, ``octave``, ``rattle``.
    """

    sound: Floats
    rate: float
    pitch: float
    blows: tuple[tuple[float, float], ...]
    events: dict[str, float]


def crow_take(
    crow: InventedCrow,
    rng: np.random.Generator,
    *,
    room: Room | None = None,
    seconds: float = 2.2,
    rate: float = 48_000.0,
    blows: int = 1,
    quiet: float = 0.35,
) -> InventedTake:
    """Make an additive crow of one or more blows with quiet before, between and after.

    Parameters
    ----------
    crow : InventedCrow
        What to sound.
    rng : numpy.random.Generator
        Phases, noise and wandering.
    room : Room, optional
        Microphone and room; an ideal one if absent.
    seconds, quiet : float
        Length of each blow and of the pauses [s].
    rate : float
        Sampling rate [Hz].
    blows : int
        How many attempts; pitch differs between them by about 4 cents.
    """
    gap = np.zeros(int(quiet * rate))
    parts, times, at = [gap], [], quiet
    for _ in range(blows):
        n = int(seconds * rate)
        one = replace(crow, pitch=crow.pitch * 2.0 ** (rng.normal(0.0, 4.0) / 1200.0 * (blows > 1)))
        parts += [_blow(one, rng, n, rate), gap]
        times.append((at, at + n / rate))
        at = times[-1][1] + len(gap) / rate
    sound = _through_room(np.concatenate(parts), times, room or Room(), rng, rate)
    return InventedTake(sound, rate, crow.pitch, tuple(times), {})


def peep_take(
    rng: np.random.Generator,
    *,
    pitch: float = 2.0 * C5,
    breath: float = -30.0,
    room: Room | None = None,
    seconds: float = 1.2,
    rate: float = 48_000.0,
) -> InventedTake:
    """Make an invented peep: one high pitch with few partials (common practice, no source)."""
    crow = InventedCrow(pitch=pitch, lower_level=6.0, tilt=14.0, jitter=3.0, breath=breath)
    return crow_take(crow, rng, room=room, seconds=seconds, rate=rate)


def swell_take(
    rng: np.random.Generator,
    *,
    pitch: float = C5,
    seconds: float = 5.0,
    start: float = 0.15,
    octave: float = 0.45,
    rattle: float = 0.8,
    lower_first: bool = False,
    breath: float = -32.0,
    room: Room | None = None,
    rate: float = 48_000.0,
    quiet: float = 0.35,
) -> InventedTake:
    """Make one slow swell: breath rises evenly from nothing to full, and the reed answers.

    `start`, `octave` and `rattle` are the shares of full breath, 0-1, at which the first pitch
    speaks, the other octave joins and the rattle sets in; above 1 it never does.
    """
    n = int(seconds * rate)
    press = np.linspace(0.0, 1.0, n)
    first, second = (
        np.sqrt(np.clip((press - at) / (1.0 - at), 0.0, None)) if at < 1.0 else np.zeros(n)
        for at in (start, octave)
    )
    upper, lower = (second, first) if lower_first else (first, second)
    depth = 0.7 * np.clip((press - rattle) / 0.05, 0.0, 1.0)
    phase = _phase(InventedCrow(pitch=pitch), rng, n, rate)
    modulation = 1.0 + depth * _wander(rng, n, rate, 45.0, 0.5)
    tone = np.zeros(n)
    for k in range(1, int(9_000.0 / pitch) + 1):
        level = 10.0 ** (-_partial_fall(k * pitch, 9.0) / 20.0)
        tone += level * (lower if k % 2 else upper) * np.cos(k * phase + rng.uniform(0, 2 * np.pi))
    tone *= modulation
    noise = _coloured(rng, n, rate) * press
    noise *= np.sqrt(np.mean(tone**2)) / np.sqrt(np.mean(noise**2)) * 10.0 ** (breath / 20.0)
    body = (tone + noise) * _gate(n, rate, 0.005)
    gap = np.zeros(int(quiet * rate))
    lead = len(gap) / rate
    times = [(lead, lead + n / rate)]
    sound = _through_room(np.concatenate([gap, body, gap]), times, room or Room(), rng, rate)
    marks = {"start": start, "octave": octave, "rattle": rattle}
    events = {name: lead + share * seconds for name, share in marks.items() if share < 1.0}
    return InventedTake(sound, rate, pitch, tuple(times), events)


def pulsed_take(
    rng: np.random.Generator,
    *,
    upper: float = 2.0 * C5,
    growth: float = 3.3,
    jitter: float = 3.0,
    breath: float = -32.0,
    room: Room | None = None,
    seconds: float = 2.2,
    rate: float = 48_000.0,
    quiet: float = 0.35,
) -> InventedTake:
    """Make a crow from pulses at about C6 whose heights follow the logistic map.

    Parameters
    ----------
    rng : numpy.random.Generator
        Noise, wandering, formants.
    upper : float
        Pulse rate [Hz]; the true `pitch` of the take is half of it.
    growth : float
        The map's parameter, 2.5-4: below 3 only the upper octave sounds, from 3 to 3.45 the lower
        octave joins, above 3.57 it rattles (with windows).
    """
    n = int(seconds * rate)
    phase = _phase(InventedCrow(pitch=upper, jitter=jitter), rng, n, rate) / (2.0 * np.pi)
    ticks = np.interp(np.arange(1, int(phase[-1])), phase, np.arange(n))
    heights = np.empty(len(ticks) + 200)
    heights[0] = rng.uniform(0.2, 0.8)
    for i in range(1, len(heights)):
        heights[i] = growth * heights[i - 1] * (1.0 - heights[i - 1])
    train = np.zeros(n + 2)
    whole = ticks.astype(int)
    np.add.at(train, whole, heights[200:] * (1.0 - (ticks - whole)))
    np.add.at(train, whole + 1, heights[200:] * (ticks - whole))
    tone = np.zeros(n)
    for centre, width, gain in ((1_100.0, 500.0, 1.0), (rng.uniform(2_000, 3_500), 900.0, 0.35)):
        tone += gain * signal.lfilter(*_resonance(centre, width, rate), train[:n])
    tone = np.diff(tone, prepend=0.0)  # a small opening radiates the change of its flow
    tone /= np.sqrt(np.mean(tone**2))
    noise = _coloured(rng, n, rate) * 10.0 ** (breath / 20.0)
    gap = np.zeros(int(quiet * rate))
    lead = len(gap) / rate
    times = [(lead, lead + n / rate)]
    body = (tone + noise) * _gate(n, rate, 0.015)
    sound = _through_room(np.concatenate([gap, body, gap]), times, room or Room(), rng, rate)
    return InventedTake(sound, rate, upper / 2.0, tuple(times), {})


def speech_like(
    rng: np.random.Generator, *, seconds: float = 2.5, rate: float = 48_000.0, level: float = -22.0
) -> Floats:
    """Make something with the rhythm, pitch and formants of a voice; it says nothing.

    Syllables of 0.12-0.25 s, pitch gliding between 90 and 230 Hz, two moving formants. The ranges
    are textbook ones (Rabiner & Schafer, Digital Processing of Speech Signals, from memory).
    """
    pieces: list[Floats] = []
    made, wanted = 0, int(seconds * rate)
    base = rng.uniform(100.0, 200.0)
    while made < wanted:
        n = int(rng.uniform(0.12, 0.25) * rate)
        glide = base * 2.0 ** np.linspace(rng.normal(0.1, 0.15), rng.normal(-0.1, 0.15), n)
        pulses = np.diff(np.floor(np.cumsum(glide) / rate), prepend=0.0)
        out = np.zeros(n)
        for low, high, width in ((300.0, 800.0, 80.0), (900.0, 2_300.0, 120.0)):
            out += signal.lfilter(*_resonance(rng.uniform(low, high), width, rate), pulses)
        out = np.diff(out, prepend=0.0)
        out /= max(float(np.sqrt(np.mean(out**2))), 1e-12)
        hiss = signal.lfilter([1.0, -0.95], [1.0], rng.standard_normal(int(0.05 * rate))) * 0.2
        rest = np.zeros(int(rng.uniform(0.02, 0.09) * rate))
        pieces += [hiss * np.hanning(len(hiss)), out * np.sin(np.linspace(0, np.pi, n)), rest]
        made += n + len(hiss) + len(rest)
    sound = np.concatenate(pieces)[:wanted]
    sound = sound / np.sqrt(np.mean(sound**2)) * 10.0 ** (level / 20.0)
    return sound + rng.standard_normal(wanted) * 10.0 ** ((level - 55.0) / 20.0)


def _resonance(centre: float, width: float, rate: float) -> tuple[list[float], list[float]]:
    """Coefficients of one two-pole resonance."""
    radius = np.exp(-np.pi * width / rate)
    return [1.0], [1.0, -2.0 * radius * np.cos(2.0 * np.pi * centre / rate), radius**2]


def _partial_fall(frequency: float, tilt: float) -> float:
    """Attenuation of a partial at `frequency` [dB], a broad hump at 0.8-1.5 kHz."""
    below = 6.0 * max(0.0, np.log2(800.0 / frequency))
    return below + tilt * max(0.0, np.log2(frequency / 1_500.0))


def _slow_noise(rng: np.random.Generator, n: int, rate: float, low: float, high: float) -> Floats:
    """Gaussian noise between two rates, RMS 1, made at 200 samples a second."""
    few = max(int(n / rate * 200.0), 16)
    spectrum = np.fft.rfft(rng.standard_normal(few))
    at = np.fft.rfftfreq(few, 1.0 / 200.0)
    spectrum[(at < low) | (at > high)] = 0.0
    slow = np.fft.irfft(spectrum, few)
    slow /= max(float(np.std(slow)), 1e-12)
    return np.interp(np.linspace(0.0, few - 1.0, n), np.arange(few), slow)


def _phase(crow: InventedCrow, rng: np.random.Generator, n: int, rate: float) -> Floats:
    """Phase of the lower octave [rad]."""
    cents = crow.jitter * _slow_noise(rng, n, rate, 0.5, 6.0)
    cents += crow.drift * (np.arange(n) / rate - n / rate / 2.0)
    return 2.0 * np.pi * np.cumsum(crow.pitch * 2.0 ** (cents / 1200.0)) / rate


def _wander(
    rng: np.random.Generator, n: int, rate: float, centre: float, irregular: float
) -> Floats:
    """Cosine whose rate wanders by the share `irregular` about `centre` [Hz]."""
    rates = centre * (1.0 + irregular * np.clip(_slow_noise(rng, n, rate, 0.5, 30.0), -1.5, 1.5))
    return np.cos(2.0 * np.pi * np.cumsum(rates) / rate + rng.uniform(0.0, 2.0 * np.pi))


def _coloured(rng: np.random.Generator, n: int, rate: float) -> Floats:
    """Breath noise: broad, highest at 1-3 kHz, power 1 between 150 and 8000 Hz."""
    spectrum = np.fft.rfft(rng.standard_normal(n))
    f = np.fft.rfftfreq(n, 1.0 / rate)
    centre = rng.uniform(1_000.0, 3_000.0)
    spectrum *= 1.0 / np.sqrt(1.0 + (np.log2(np.maximum(f, 20.0) / centre) / 1.2) ** 4)
    band = (f >= 150.0) & (f <= 8_000.0)
    power = 2.0 * np.sum(np.abs(spectrum[band]) ** 2) / n**2
    return np.fft.irfft(spectrum, n) / np.sqrt(power)


def _gate(n: int, rate: float, attack: float) -> Floats:
    """Rise 1 - exp(-t/attack) and a 40 ms fall."""
    t = np.arange(n) / rate
    return (1.0 - np.exp(-t / attack)) * np.clip((n / rate - t) / 0.04, 0.0, 1.0)


def _blow(crow: InventedCrow, rng: np.random.Generator, n: int, rate: float) -> Floats:
    """One additive blow with tone power 1."""
    phase = _phase(crow, rng, n, rate)
    modulation = crow.modulation * _wander(rng, n, rate, crow.modulation_rate, crow.irregular)
    count = int(9_000.0 / crow.pitch)
    levels = np.array([-_partial_fall(k * crow.pitch, crow.tilt) for k in range(1, count + 1)])
    levels[0::2] += crow.lower_level
    levels += rng.normal(0.0, 3.0, count)
    strongest = int(np.argmax(levels))
    copy_ratio = 1.0 + crow.beat / (crow.pitch * (strongest + 1))
    tone = np.zeros(n)
    for k, level in enumerate(levels, start=1):
        ratio = k * (1.0 if k % 2 else 2.0 ** (crow.octave_off / 1200.0))
        angle = rng.uniform(0.0, 2.0 * np.pi)
        line = np.cos(ratio * phase + angle)
        if crow.beat:
            shifted = ratio * copy_ratio * phase + rng.uniform(0.0, 2.0 * np.pi)
            line += 10.0 ** (crow.beat_level / 20.0) * np.cos(shifted)
        # the lower octave flickers against the upper one, less deeply
        tone += (
            10.0 ** (level / 20.0)
            * line
            * (1.0 + (modulation if k % 2 == 0 else -0.5 * modulation))
        )
    power = np.mean(tone**2)
    for ratio, level in crow.strays:
        loud = 10.0 ** ((levels[strongest] + level) / 20.0)
        cents = 0.5 * crow.jitter * _slow_noise(rng, n, rate, 0.5, 6.0)
        own = 2.0 * np.pi * np.cumsum(ratio * crow.pitch * 2.0 ** (cents / 1200.0)) / rate
        tone += loud * np.cos(own + rng.uniform(0.0, 2.0 * np.pi))
    noise = _coloured(rng, n, rate) * 10.0 ** (crow.breath / 20.0)
    return (tone / np.sqrt(power) + noise) * _gate(n, rate, crow.attack)


def _through_room(
    dry: Floats,
    times: list[tuple[float, float]],
    room: Room,
    rng: np.random.Generator,
    rate: float,
) -> Floats:
    """Reverberation, colour, room noise, hum and level; the blow's RMS becomes `room.level`."""
    sound = dry
    if room.wet > -100.0:
        m = int(room.reverberation * rate)
        tail = rng.standard_normal(m) * 10.0 ** (-3.0 * np.arange(m) / m)
        tail *= 10.0 ** (room.wet / 20.0) / np.sqrt(np.sum(tail**2))
        tail[0] += 1.0
        sound = signal.fftconvolve(sound, tail)[: len(dry)]
    if any(room.colour):
        size = len(sound) + 2048
        f = np.fft.rfftfreq(size, 1.0 / rate)
        octave = np.log2(np.maximum(f, 50.0) / 50.0) / np.log2(rate / 100.0)
        gain = sum(c * np.cos(np.pi * (i + 1) * octave) for i, c in enumerate(room.colour))
        sound = np.fft.irfft(np.fft.rfft(sound, size) * 10.0 ** (gain / 20.0), size)[: len(dry)]
    inside = np.zeros(len(dry), dtype=bool)
    for begin, end in times:
        inside[int(begin * rate) : int(end * rate)] = True
    sound = sound / max(float(np.sqrt(np.mean(sound[inside] ** 2))), 1e-12)
    sound = sound + _coloured(rng, len(dry), rate) * 10.0 ** (room.noise / 20.0)
    if room.hum > -100.0:
        t = np.arange(len(dry)) / rate
        hum = sum(
            np.cos(2 * np.pi * room.mains * k * t + rng.uniform(0, 6.3)) / k for k in (1, 2, 3)
        )
        sound = sound + hum * 10.0 ** (room.hum / 20.0)
    return sound * 10.0 ** (room.level / 20.0)
