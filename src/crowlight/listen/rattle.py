"""Rattle and beats: how the levels of the strongest orders move.

Symbols: E_k(t) relative level of order k about its slow course, w_k its power.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crowlight.listen.orders import FLAT, envelopes

__all__ = ["Movement", "movement"]

Floats = NDArray[np.float64]

RATTLE_FROM, RATTLE_TO = 12.0, 150.0
"""Rates that are heard as rattle rather than as beats or pitch [Hz]; common practice, no source."""
BEAT_FROM = 1.5
"""Slower movement is the player's breath [Hz]."""


@dataclass(frozen=True, slots=True)
class Movement:
    """Movement of level.

    Parameters
    ----------
    rattle : ndarray, shape (m,)
        Mean square of the relative level at 12-150 Hz in each of m blocks, noise taken away [1].
    beat : ndarray, shape (m,)
        The same at 1.5-12 Hz for the order that moves most.
    beat_rate : float
        Rate of that order's strongest movement [Hz].
    """

    rattle: Floats
    beat: Floats
    beat_rate: float


def movement(
    y: Floats,
    rate: float,
    pitch: float,
    floor: Floats,
    frequency: Floats,
    *,
    blocks: int = 6,
    count: int = 8,
) -> Movement:
    """Measure how the `count` strongest orders move in level.

    Parameters
    ----------
    y : ndarray, shape (n,)
        Sound of constant `pitch` [Hz].
    rate : float
        Sampling rate [Hz].
    floor, frequency : ndarray, shape (q,)
        Noise power per bin of a spectrum and the bins' frequencies [Hz].
    blocks : int
        Number of equal stretches of time reported separately.
    """
    half = min(RATTLE_TO / FLAT, 0.45 * pitch)
    to = FLAT * half
    top = int((min(8_000.0, 0.45 * rate) - half) / pitch)
    orders = np.arange(1, max(top, 1) + 1)
    a, a_rate = envelopes(y, rate, pitch, orders, half)
    edge = max(int(0.06 * a_rate), 1)
    level = np.abs(a)
    power = np.mean(level**2, axis=1) / 2.0
    strongest = np.argsort(power)[::-1][:count]
    strongest = strongest[power[strongest] >= power.max() * 10.0**-3]
    level, power, orders = level[strongest], power[strongest], orders[strongest]
    slow = _band(level, a_rate, 0.0, BEAT_FROM, mirror=True)
    relative = level / np.maximum(slow, 0.2 * level.mean(axis=1, keepdims=True)) - 1.0
    fast = _band(relative, a_rate, RATTLE_FROM, to)[:, edge:-edge]
    beats = _band(relative, a_rate, BEAT_FROM, RATTLE_FROM)[:, edge:-edge]
    density = np.interp(orders * pitch, frequency, floor) / (frequency[1] - frequency[0])
    # in-phase noise of two sidebands, relative to a partial of this power
    noise_fast = density * (to - RATTLE_FROM) / power
    noise_slow = density * (RATTLE_FROM - BEAT_FROM) / power
    per_block = [np.mean(part**2, axis=1) for part in np.array_split(fast, blocks, axis=1)]
    rattle = np.array([np.average(b - noise_fast, weights=power) for b in per_block])
    beat = np.array(
        [
            np.average(np.mean(b**2, axis=1) - noise_slow, weights=power)
            for b in np.array_split(beats, blocks, axis=1)
        ]
    )
    spectrum = np.abs(np.fft.rfft(beats[0] * np.hanning(beats.shape[1])))
    beat_rate = float(np.argmax(spectrum) * a_rate / beats.shape[1])
    return Movement(rattle, beat, beat_rate)


def _band(level: Floats, rate: float, low: float, high: float, *, mirror: bool = True) -> Floats:
    """Part of each row between two rates; the rows are mirrored so that their ends meet."""
    n = level.shape[1]
    doubled = np.concatenate([level, level[:, ::-1]], axis=1) if mirror else level
    spectrum = np.fft.rfft(doubled, axis=1)
    f = np.fft.rfftfreq(doubled.shape[1], 1.0 / rate)
    spectrum[:, (f < low) | (f >= high)] = 0.0
    if low > 0:
        spectrum[:, 0] = 0.0
    return np.fft.irfft(spectrum, doubled.shape[1], axis=1)[:, :n]
