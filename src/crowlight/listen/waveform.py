"""From whatever a file holds to one clean channel at a working rate."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import signal

from crowlight.errors import InputError

__all__ = ["finite", "levels", "one_channel", "working"]

Floats = NDArray[np.float64]

LOWEST_RATE = 4_000.0
"""Below this a crow's octave is not in the file [Hz]."""


def one_channel(sound: ArrayLike, rate: float) -> Floats:
    """Take the loudest channel.

    Parameters
    ----------
    sound : array_like, shape (n,) or (n, channels)
        Samples, full scale 1.
    rate : float
        Samples per second [Hz], >= 4000.

    Returns
    -------
    ndarray, shape (n,)
        The channel with most power; a mean would cancel channels of opposite sign.

    Raises
    ------
    InputError
        If the shape or the rate cannot be right.
    """
    wave = np.asarray(sound, dtype=np.float64)
    if wave.ndim not in (1, 2) or (wave.ndim == 2 and wave.shape[1] == 0):
        msg = f"sound has shape {wave.shape}; it must be (samples,) or (samples, channels)"
        raise InputError(msg)
    if not (np.isfinite(rate) and rate >= LOWEST_RATE):
        msg = (
            f"sampling rate {rate:g} Hz is below {LOWEST_RATE:g} Hz; "
            "give the rate of the file in samples per second, or record at 44100 Hz or more"
        )
        raise InputError(msg)
    if wave.ndim == 1:
        return wave
    power = np.nansum(np.where(np.isfinite(wave), wave, 0.0) ** 2, axis=0)
    return wave[:, int(np.argmax(power))]


def finite(wave: Floats) -> Floats:
    """Replace NaN and infinite samples by 0 and take the mean away."""
    good = np.where(np.isfinite(wave), wave, 0.0)
    return good - good.mean() if good.size else good


def working(wave: Floats, rate: float) -> tuple[Floats, float]:
    """Decimate by a whole number to between 22 and 44 kHz; lower rates stay as they are."""
    factor = int(rate // 22_000.0)
    if factor < 2:
        return wave, float(rate)
    return np.asarray(signal.resample_poly(wave, 1, factor)), rate / factor


def levels(wave: Floats, rate: float, *, hop: float = 0.01, window: float = 0.02) -> Floats:
    """RMS level every `hop` seconds over `window` seconds [dB re full scale], floor -160."""
    step, width = max(hop * rate, 1.0), max(round(window * rate), 1)
    if wave.size < width:
        return np.zeros(0)
    total = np.concatenate([[0.0], np.cumsum(wave**2)])
    # A hop need not be whole samples, as at 22,050 Hz; rounded, a minute would last 0.14 s more.
    starts = np.rint(np.arange(0.0, wave.size - width + 0.5, step)).astype(np.intp)
    power = np.maximum(total[starts + width] - total[starts], 0.0) / width
    return 10.0 * np.log10(np.maximum(power, 1e-16))
