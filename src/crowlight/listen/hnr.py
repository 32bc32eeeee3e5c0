"""Harmonics-to-noise ratio: tone against air.

The share r of the power that repeats after one period, over the share that does not, in decibels:
``10 log10(r / (1 - r))`` [1]_. Whatever keeps one period from being like the next counts as noise:
breath, rattle, and also a quick change of pitch or timbre.

References
----------
.. [1] P. Boersma (1993), "Accurate short-term analysis of the fundamental frequency and the
   harmonics-to-noise ratio of a sampled sound", Proc. Inst. Phonetic Sciences 17, 97-110,
   equation 4.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import signal

from crowlight.listen.decimate import as_mono
from crowlight.listen.pitch import PitchTrack

__all__ = ["harmonics_to_noise"]

_WINDOW = 1 / 75  # of each of the two stretches compared [s]
_REACH = 12  # whole lags used on either side to read between them
_KAISER = 10.0  # shape of the window over them: errors below -100 dB up to 0.7 of half the rate
_FINE_RATE = 40_000.0  # slower recordings are doubled first [1/s]
_ASIDE = 0.001  # the best lag is looked for this share to either side of the period
_MOST, _LEAST = 1 - 1e-5, 1e-5  # 50 dB: beyond it, reading between the lags is the noise
_AT_ONCE = 1000


def harmonics_to_noise(sound: ArrayLike, rate: float, track: PitchTrack) -> NDArray[np.float64]:
    """Harmonics-to-noise ratio of every frame of a pitch track.

    r is the correlation coefficient of two stretches of 1/75 s, one period apart and placed evenly
    about the middle of the frame: computed at whole lags, read between them with a windowed sinc,
    and at the top of a parabola within 0.1 % of the period of the track.

    Parameters
    ----------
    sound : array_like, shape (n,) or (n, channels)
        The sound the track was made from.
    rate : float
        [1/s].
    track : PitchTrack

    Returns
    -------
    ndarray, shape (frames,)
        [dB], -50 to 50; NaN where the track has no pitch or the stretches reach past an end.

    Examples
    --------
    >>> import numpy as np
    >>> from crowlight.listen.pitch import track_pitch
    >>> t = np.arange(48_000) / 48_000
    >>> tone = np.sin(2 * np.pi * 440 * t)
    >>> air = np.random.default_rng(1).normal(size=t.size) * np.sqrt(0.5) / 10
    >>> hnr = harmonics_to_noise(tone + air, 48_000, track_pitch(tone + air, 48_000))
    >>> bool(abs(np.nanmedian(hnr) - 20) < 0.5)
    True
    """
    samples = as_mono(sound, rate)
    if rate < _FINE_RATE:
        half = 2 * signal.firwin(255, 0.5, window=("kaiser", _KAISER))
        samples = signal.upfirdn(half, samples, up=2)[127:-127].astype(np.float32)
        rate = 2 * rate
    length = round(_WINDOW * rate)
    ratio = np.full(track.pitch.size, np.nan)
    lag = rate / np.where(np.isfinite(track.pitch), track.pitch, 1.0)
    whole = np.floor(lag).astype(np.intp)
    first = np.rint(track.time * rate).astype(np.intp) - (length + whole) // 2
    inside = (first >= 0) & (first + whole + _REACH + length <= samples.size)
    measured = np.flatnonzero(inside & np.isfinite(track.pitch) & (whole > _REACH))
    for start in range(0, measured.size, _AT_ONCE):
        rows = measured[start : start + _AT_ONCE]
        share = _repeats(samples, first[rows], whole[rows], lag[rows], length)
        share = np.clip(share, _LEAST, _MOST)
        ratio[rows] = 10 * np.log10(share / (1 - share))
    return ratio


def _repeats(
    samples: NDArray[np.float32],
    first: NDArray[np.intp],
    whole: NDArray[np.intp],
    lag: NDArray[np.float64],
    length: int,
) -> NDArray[np.float64]:
    """Correlation coefficient of the stretches at `first` and `lag` later, per row."""
    stretch = np.lib.stride_tricks.sliding_window_view(samples, length)
    here = stretch[first].astype(np.float64)
    here -= here.mean(axis=1, keepdims=True)
    here /= np.linalg.norm(here, axis=1, keepdims=True) + 1e-30
    shifts = np.arange(1 - _REACH, _REACH + 1)
    product = np.empty((first.size, shifts.size))
    square = np.empty_like(product)
    for column, shift in enumerate(shifts):
        later = stretch[first + whole + shift].astype(np.float64)
        # `here` has no mean, so that of `later` need not be taken out of the product.
        product[:, column] = np.einsum("ij,ij->i", here, later)
        square[:, column] = np.einsum("ij,ij->i", later, later) - length * later.mean(axis=1) ** 2

    def read(at: NDArray[np.float64]) -> NDArray[np.float64]:
        away = (at - whole)[:, None] - shifts
        bell = np.i0(_KAISER * np.sqrt(np.maximum(1 - (away / _REACH) ** 2, 0)))
        weight = np.sinc(away) * bell
        weight /= weight.sum(axis=1, keepdims=True)
        size = np.einsum("ij,ij->i", square, weight)
        return np.einsum("ij,ij->i", product, weight) / np.sqrt(np.maximum(size, 1e-30))

    before, centre, after = (read(lag * (1 + aside)) for aside in (-_ASIDE, 0.0, _ASIDE))
    bend = np.minimum(before - 2 * centre + after, -1e-12)
    top = np.clip(0.5 * (before - after) / bend, -1, 1)
    return centre - 0.5 * (before - after) * top + 0.5 * bend * top**2
