"""Where a short piece of sound repeats itself: autocorrelation made fair to every lag.

A windowed piece of sound has an autocorrelation that falls with the lag even if the sound is
perfectly periodic. Dividing by the autocorrelation of the window undoes this [1]_: the height
r of a peak then says which share of the power repeats at that lag, whatever the lag.

References
----------
.. [1] P. Boersma (1993), "Accurate short-term analysis of the fundamental frequency and the
   harmonics-to-noise ratio of a sampled sound", Proc. Inst. Phonetic Sciences 17, 97-110;
   equations 9 (division by the window's autocorrelation) and 4 (harmonics-to-noise ratio).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import fft, signal

__all__ = ["Candidates", "candidates", "frames_of", "joined"]

_PER_FRAME = 4
_OCTAVE_COST = 0.015
_NOISY_OCTAVE_COST = 0.25
_NONE = -1.0  # score of a lag that is no peak


@dataclass(frozen=True, slots=True, eq=False)
class Candidates:
    """Possible pitches of every frame, best first.

    Parameters
    ----------
    pitch : ndarray, shape (frames, 4)
        Repetition rate [Hz].
    height : ndarray, shape (frames, 4)
        Height of the peak, the share of the power that repeats; 0 to 1, 0 where there is none.
    score : ndarray, shape (frames, 4)
        Height less the cost of a low octave; what the path through the frames adds up.
    power : ndarray, shape (frames,)
        Mean square of the windowed frame between 100 Hz and 6 kHz, relative to full scale.
    """

    pitch: NDArray[np.float64]
    height: NDArray[np.float64]
    score: NDArray[np.float64]
    power: NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class _Setup:
    window: NDArray[np.float32]
    size: int  # of the transform; long enough that no lag wraps round
    taper: NDArray[np.float32]  # weight of each frequency: 1 to 3 kHz, 0 from 6 kHz
    fair: NDArray[np.float32]  # 1 / (autocorrelation of the window), per half sample of lag
    first: int  # shortest lag [half samples]
    gain: float  # lag-0 value of a sound with mean square 1


@lru_cache(maxsize=16)
def _setup(rate: float, length: int, lowest: float, highest: float) -> _Setup:
    window = signal.windows.hann(length, sym=False)
    longest = int(rate / lowest) + 3
    size = fft.next_fast_len(length + longest, real=True)
    size += size % 2
    frequency = np.arange(size // 2 + 1) * rate / size
    taper = np.clip((6000 - frequency) / 3000, 0, 1)
    taper[frequency < 100] = 0
    own = fft.irfft(np.abs(fft.rfft(window, size)) ** 2, 2 * size)[: 2 * longest]
    return _Setup(
        window.astype(np.float32),
        size,
        taper.astype(np.float32),
        (own[0] / own).astype(np.float32),
        int(2 * rate / highest),
        float(own[0]),
    )


def joined(parts: Sequence[Candidates]) -> Candidates:
    """Candidates of consecutive stretches as those of one; at least one stretch."""
    return Candidates(
        np.concatenate([part.pitch for part in parts]),
        np.concatenate([part.height for part in parts]),
        np.concatenate([part.score for part in parts]),
        np.concatenate([part.power for part in parts]),
    )


def frames_of(sound: NDArray[np.float32], length: int, hop: int) -> NDArray[np.float32]:
    """Overlapping frames of a sound as a view, one per row."""
    return np.lib.stride_tricks.sliding_window_view(sound, length)[::hop]


def candidates(
    frames: NDArray[np.float32], rate: float, *, lowest: float, highest: float
) -> Candidates:
    """Find the lags at which each frame repeats itself best.

    A longer lag costs ``(0.015 + 0.25 (1 - r)) log2(lag / shortest lag)``: every multiple of the
    period repeats just as well, and where noise roughens the heights their chance maxima would
    win more often the more lags there are to choose from.

    Parameters
    ----------
    frames : ndarray of float32, shape (frames, length)
        Raw samples; the Hann window is applied here.
    rate : float
        [1/s].
    lowest, highest : float
        Range searched [Hz].

    Returns
    -------
    Candidates
    """
    setup = _setup(rate, frames.shape[1], lowest, highest)
    spectrum = fft.rfft(frames * setup.window, setup.size, axis=1)
    power = spectrum.real**2
    power += spectrum.imag**2
    power *= setup.taper
    # Twice the transform's length: the autocorrelation every half sample.
    r = fft.irfft(power, 2 * setup.size, axis=1)[:, : setup.fair.size]
    total = r[:, 0].astype(np.float64)
    r = r * setup.fair
    r /= np.maximum(total, 1e-30)[:, None].astype(np.float32)

    first = setup.first
    middle = r[:, first:-1]
    is_peak = (middle > r[:, first - 1 : -2]) & (middle >= r[:, first + 1 :])
    frame, lag = np.divmod(np.flatnonzero(is_peak), middle.shape[1])
    _, top = _peak(r, frame, lag + first)
    noise = np.clip(1 - middle.max(axis=1), 0, 1)
    octaves = np.log2(np.arange(first, first + middle.shape[1]) / first)
    rank = np.full(middle.shape, _NONE, np.float32)
    rank[frame, lag] = top - (_OCTAVE_COST + _NOISY_OCTAVE_COST * noise[frame]) * octaves[lag]

    row = np.arange(len(frames))
    at = np.empty((len(frames), _PER_FRAME), np.intp)
    found = np.empty((len(frames), _PER_FRAME), bool)
    for column in range(_PER_FRAME):
        at[:, column] = rank.argmax(axis=1)
        found[:, column] = rank[row, at[:, column]] > _NONE
        rank[row, at[:, column]] = _NONE
    pitch, height = _peak(r, row[:, None], at + first)
    pitch *= 2 * rate
    found &= (pitch > 0.97 * lowest) & (pitch < 1.03 * highest)  # lags are whole, limits are not
    height = np.where(found, np.clip(height, 0, 1), 0)
    rough = 1 - height.max(axis=1, keepdims=True)
    score = height - (_OCTAVE_COST + _NOISY_OCTAVE_COST * rough) * np.log2(highest / pitch)
    return Candidates(pitch, height, np.where(found, score, -2.0), total / setup.gain / 2)


def _peak(
    r: NDArray[np.floating], row: NDArray[np.intp], at: NDArray[np.intp]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """One over the lag, and the height, of the top of the parabola through three neighbours.

    Short lags are few samples long; without this they would lose to their multiples.
    """
    before, here, after = (r[row, at + shift].astype(np.float64) for shift in (-1, 0, 1))
    bend = np.minimum(before - 2 * here + after, -1e-9)
    shift = np.clip(0.5 * (before - after) / bend, -0.5, 0.5)
    return 1 / (at + shift), here - 0.25 * (before - after) * shift
