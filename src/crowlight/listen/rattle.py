"""Rattle and beats: how the levels of the strongest orders move.

A rattle moves many orders together, up or down. Breath noise, and a wandering pitch in a room with
its own resonances, move each order on its own. So the rattle is read from what two orders have in
common, never from one alone; the beat, which may sit on one order, is read from all of them.

Symbols: E_k(t) relative level of order k about its slow course, w_k its power, C_jk the covariance
of E_j and E_k, nu the degrees of freedom behind it (twice band width times time).
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
FEW_PAIRS = 0.002
"""Below this weight of all pairs, 2 sum(w_j w_k), there is only one order to speak of."""
BEAT_FROM = 1.5
"""Slower movement is the player's breath [Hz]."""


@dataclass(frozen=True, slots=True)
class Movement:
    """Movement of level in m stretches of time.

    Parameters
    ----------
    together : ndarray, shape (m, k, k)
        C_jk at 12-150 Hz [1].
    power : ndarray, shape (k,)
        w_k, summing to 1.
    noise : ndarray, shape (k,)
        What breath noise adds to C_kk.
    freedom : float
        nu of one stretch.
    beat : ndarray, shape (m,)
        Mean square of the relative level at 1.5-12 Hz, weighted by power, noise taken away [1].
    beat_rate : float
        Rate of the strongest order's strongest movement there [Hz].
    """

    together: Floats
    power: Floats
    noise: Floats
    freedom: float
    beat: Floats
    beat_rate: float

    def rattle(self, rows: NDArray[np.bool_] | None = None) -> float:
        """RMS relative level that orders have in common [1].

        The fourth root of the mean of C_jk^2 - C_jj C_kk / nu over pairs j != k weighted by
        w_j w_k; the second term is what independent movement of both leaves by chance. A sound of
        one order only has no pairs: then sum(w_k (C_kk - noise_k)).
        """
        chosen = self.together if rows is None else self.together[rows]
        c = chosen.mean(axis=0)
        own = np.diag(c)
        pair = np.outer(self.power, self.power)
        np.fill_diagonal(pair, 0.0)
        if pair.sum() < FEW_PAIRS:
            return float(np.sqrt(max(float(self.power @ (own - self.noise)), 0.0)))
        chance = np.outer(own, own) / (self.freedom * len(chosen))
        return float(max(np.sum(pair * (c**2 - chance)) / pair.sum(), 0.0) ** 0.25)


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
    together = np.array([e @ e.T / e.shape[1] for e in np.array_split(fast, blocks, axis=1)])
    freedom = 2.0 * (to - RATTLE_FROM) * fast.shape[1] / a_rate / blocks
    beat = np.array(
        [
            np.average(np.mean(b**2, axis=1) - noise_slow, weights=power)
            for b in np.array_split(beats, blocks, axis=1)
        ]
    )
    spectrum = np.abs(np.fft.rfft(beats[0] * np.hanning(beats.shape[1])))
    beat_rate = float(np.argmax(spectrum) * a_rate / beats.shape[1])
    share = power / power.sum()
    return Movement(together, share, noise_fast, freedom, beat, beat_rate)


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
