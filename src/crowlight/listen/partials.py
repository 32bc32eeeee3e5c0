"""What a steady sound is made of: one pitch, stray partials, breath noise.

Symbols: P power spectrum, N its noise floor, S power of the pitch's orders, C of stray partials,
B of the noise.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy import signal, stats

__all__ = ["Parts", "Spectrum", "divide", "power_spectrum"]

Floats = NDArray[np.float64]

LOW, HIGH = 150.0, 8_000.0
"""Band that is listened to [Hz]; common practice for a small loud source, no source."""
ZONE = 10.0
"""Half width of the band that belongs to one order [Hz]."""
GUARD = 20.0
"""Closer than this to an order nothing counts as stray [Hz]: slow movement of the order itself."""
GUARD_SHARE = 0.01
"""The same as a share of frequency, for high orders that move further [1]."""
STANDS_OUT = 10.0**0.8
"""A stray partial stands at least this far (8 dB) above the floor [1]."""


@dataclass(frozen=True, slots=True)
class Spectrum:
    """Power spectra of overlapping frames.

    Parameters
    ----------
    frames : ndarray, shape (m, n)
        Power of each frame in each bin; a row sums to the frame's mean square.
    frequency : ndarray, shape (n,)
        Bin centres [Hz].
    """

    frames: Floats
    frequency: Floats

    @property
    def mean(self) -> Floats:
        """Mean over frames, shape (n,)."""
        return self.frames.mean(axis=0)

    @property
    def step(self) -> float:
        """Bin spacing [Hz]."""
        return float(self.frequency[1] - self.frequency[0])


@dataclass(frozen=True, slots=True)
class Parts:
    """Powers of the parts of a sound, 150-8000 Hz.

    Parameters
    ----------
    pitched, stray, breath, total : float
        Powers [full scale squared].
    strays : tuple of (float, float)
        Frequency [Hz] and power of each stray partial, strongest first.
    floor : ndarray, shape (n,)
        Noise floor in each bin of the spectrum.
    """

    pitched: float
    stray: float
    breath: float
    total: float
    strays: tuple[tuple[float, float], ...]
    floor: Floats

    @property
    def share(self) -> float:
        """Pitched share, 0-1: power of the orders over all power."""
        return float(np.clip(self.pitched / self.total, 0.0, 1.0)) if self.total > 0 else 0.0


def power_spectrum(
    x: Floats, rate: float, *, window: float = 0.4, overlap: float = 0.75
) -> Spectrum:
    """Hann-windowed power spectra; `window` [s] is shortened to the sound if need be."""
    size = min(int(window * rate), x.size)
    step = max(int(size * (1.0 - overlap)), 1)
    hann = signal.windows.hann(size, sym=False)
    cut = np.lib.stride_tricks.sliding_window_view(x, size)[::step]
    power = np.abs(np.fft.rfft(cut * hann, axis=1)) ** 2 * (2.0 / (size * np.sum(hann**2)))
    return Spectrum(power, np.asarray(np.fft.rfftfreq(size, 1.0 / rate), dtype=np.float64))


def noise_floor(p: Floats, frequency: Floats, pitch: float, looks: float) -> Floats:
    """Noise between the orders, carried under them.

    In each interval of one pitch the 30th percentile of the bins more than `GUARD` from an order,
    divided by what that percentile is of the mean for noise seen `looks` times (chi-squared with
    2 * looks degrees of freedom); straight lines in dB between the intervals.
    """
    order = np.rint(frequency / pitch)
    guard = min(GUARD, 0.25 * pitch)
    between = np.abs(frequency - order * pitch) > guard
    ratio = stats.chi2.ppf(0.3, 2.0 * looks) / (2.0 * looks)
    step = max(pitch, 250.0)
    edges = np.arange(LOW, frequency[-1] + step, step)
    centres, found = [], []
    for low, high in pairwise(edges):
        inside = between & (frequency >= low) & (frequency < high)
        if np.count_nonzero(inside) >= 5:
            centres.append(0.5 * (low + high))
            found.append(np.percentile(p[inside], 30.0) / ratio)
    if not centres:
        return np.full_like(p, np.percentile(p, 30.0))
    quiet = np.maximum(found, 1e-300)
    return 10.0 ** np.interp(frequency, centres, np.log10(quiet))


def divide(
    spectrum: Spectrum,
    pitch: float,
    *,
    room: Spectrum | None = None,
    rows: NDArray[np.bool_] | None = None,
) -> Parts:
    """Divide a spectrum of constant pitch into its parts.

    Parameters
    ----------
    spectrum : Spectrum
        Of the sound after :func:`crowlight.listen.orders.unbend`.
    pitch : float
        Its constant pitch [Hz].
    room : Spectrum, optional
        The room without the reed; its noise and hum are taken away.
    rows : ndarray of bool, optional
        Frames to use.
    """
    f = spectrum.frequency
    frames = spectrum.frames if rows is None else spectrum.frames[rows]
    p = frames.mean(axis=0)
    looks = max(0.5 * len(frames), 1.0)
    floor = noise_floor(p, f, pitch, looks)
    order = np.maximum(np.rint(f / pitch), 1.0)
    away = np.abs(f - order * pitch)
    band = (f >= LOW) & (f <= min(HIGH, 0.95 * f[-1]))
    zone = min(ZONE, 0.2 * pitch)
    own = band & (away <= zone)
    free = band & (away > np.minimum(np.maximum(GUARD, GUARD_SHARE * f), 0.25 * pitch))
    over = p - floor
    still = np.zeros_like(p)
    if room is not None:
        still = np.interp(f, room.frequency, room.mean)
    pitched = float(np.sum(over[own]))
    strays = _stray_peaks(p, f, free & (p > STANDS_OUT * floor) & (p > 4.0 * still), over)
    quiet = np.minimum(still, 0.9 * floor)
    breath = float(np.sum((floor - quiet)[band]))
    total = float(np.sum(np.maximum(p - np.minimum(still, p), 0.0)[band]))
    stray = float(sum(power for _, power in strays))
    return Parts(max(pitched, 0.0), stray, max(breath, 0.0), total, strays, floor)


def _stray_peaks(
    p: Floats, f: Floats, standing: NDArray[np.bool_], over: Floats
) -> tuple[tuple[float, float], ...]:
    """Join bins that stand out into partials: centre of power and power of each."""
    edge = np.flatnonzero(np.diff(np.concatenate([[False], standing, [False]]).astype(int)))
    found = []
    for begin, end in zip(edge[::2], edge[1::2], strict=True):
        wide = slice(max(begin - 1, 0), end + 1)
        found.append((float(np.average(f[wide], weights=p[wide])), float(np.sum(over[begin:end]))))
    return tuple(sorted(found, key=lambda pair: -pair[1]))
