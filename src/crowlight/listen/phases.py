"""Phase of every partial, followed from one moment to the next.

A Hann window that spans a whole number (three or more) of periods has its zeros on all the other
partials, so each partial's phase is read undisturbed by its neighbours. How far the phases turn
between two moments gives the pitch between them, far more finely than any single spectrum: the
n-th partial turns n times as far, and the partials are combined with the weights that are best in
white noise (number squared times power).
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

__all__ = ["PARTIALS", "partials_at", "turn_between", "window_length"]

PARTIALS = 10
_ORIGIN = 55.0  # [Hz] the grid of analysis pitches starts here
_PER_OCTAVE = 48  # analysis pitches: none is more than 12.5 cents away
_ASIDE = 1e-4  # relative step of the derivative
_FEWEST_PERIODS = 3
_LOW_PARTIALS = 3  # settle whole turns of the higher ones


@lru_cache(maxsize=256)
def _analysis(
    step: int, rate: float, most: int, shortest: float
) -> tuple[NDArray[np.float32], float]:
    """Windowed waves of one analysis pitch, and the window's noise gain.

    Beside the waves stand their rates of change with the natural logarithm of the pitch. Rows are
    samples, as many to either side of the middle as the window needs, at most `most`.
    """
    pitch = _ORIGIN * 2 ** (step / _PER_OCTAVE)
    periods = float(window_length(np.array(pitch), shortest)) * pitch
    reach = min(most, int(np.ceil(periods / pitch / 2 * rate)) + 1)
    time = np.arange(-reach, reach) / rate
    here, below, above = (
        _waves(pitch * (1 + aside), periods, time) for aside in (0.0, -_ASIDE, _ASIDE)
    )
    heard = np.tile(np.arange(1, PARTIALS + 1) * pitch < 0.4 * rate, 2)
    wave = np.hstack([here * heard, (above - below) / (2 * _ASIDE) * heard])
    matrix = wave.astype(np.float32)
    matrix.flags.writeable = False
    window = here[:, 0] ** 2 + here[:, PARTIALS] ** 2
    return matrix, float(window.sum())


def _waves(pitch: float, periods: float, time: NDArray[np.float64]) -> NDArray[np.float64]:
    """Hann-windowed cosines and negative sines of the first ten partials, side by side."""
    half = periods / pitch / 2
    window = np.where(np.abs(time) < half, 0.5 + 0.5 * np.cos(np.pi * time / half), 0.0)
    window /= window.sum()
    angle = 2 * np.pi * pitch * time[:, None] * np.arange(1, PARTIALS + 1)
    return np.hstack([np.cos(angle), -np.sin(angle)]) * window[:, None]


def window_length(pitch: NDArray[np.float64], shortest: float) -> NDArray[np.float64]:
    """Length [s] of the window used at a pitch [Hz]: whole periods, three or more."""
    return np.maximum(_FEWEST_PERIODS, np.rint(shortest * pitch)) / pitch


def partials_at(
    frames: NDArray[np.float32], rate: float, pitch: NDArray[np.float64], *, shortest: float
) -> tuple[NDArray[np.complex64], NDArray[np.float64]]:
    """Amplitude and phase of the first ten partials at the middle of each frame.

    Parameters
    ----------
    frames : ndarray of float32, shape (n, length)
        `length` samples must hold three periods of the lowest pitch.
    rate : float
        [1/s].
    pitch : ndarray, shape (n,)
        Pitch near the middle of each frame, within about 50 cents [Hz].
    shortest : float
        Shortest window [s]; whole periods are added until it is reached.

    Returns
    -------
    partials : ndarray of complex, shape (n, 10)
        Half the amplitude, times the phase factor; 0 above 0.4 `rate`.
    gain : ndarray, shape (n,)
        Variance of a partial per variance of a sample of white noise.
    """
    place = _PER_OCTAVE * np.log2(pitch / _ORIGIN)
    step = np.rint(place).astype(np.intp)
    both = np.empty((len(frames), 4 * PARTIALS), np.float32)
    gain = np.empty(len(frames))
    order = np.argsort(step, kind="stable")
    ordered = step[order]
    ends = [*np.flatnonzero(np.diff(ordered) != 0) + 1, len(frames)] if len(frames) else []
    middle = frames.shape[1] // 2
    start = 0
    for end in ends:  # one matrix product for all frames near the same pitch
        rows = order[start:end]
        matrix, noise = _analysis(int(ordered[start]), rate, middle, shortest)
        reach = len(matrix) // 2
        both[rows] = frames[:, middle - reach : middle + reach][rows] @ matrix
        gain[rows] = noise
        start = end
    # To first order, the waves at the pitch itself rather than at the nearest analysis pitch: only
    # then do the window's zeros lie on the other partials.
    aside = ((place - step) * np.log(2) / _PER_OCTAVE).astype(np.float32)[:, None]
    exact = both[:, : 2 * PARTIALS] + aside * both[:, 2 * PARTIALS :]
    partials = np.empty((len(frames), PARTIALS), np.complex64)
    partials.real, partials.imag = exact[:, :PARTIALS], exact[:, PARTIALS:]
    return partials, gain


def turn_between(
    partials: NDArray[np.complex64],
    noise: NDArray[np.float64],
    pitch: NDArray[np.float64],
    hop: float,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Angle the first partial turns from each moment to the next, from all partials together.

    Parameters
    ----------
    partials : ndarray of complex, shape (n, 10)
        From `partials_at`.
    noise : ndarray, shape (n,)
        Variance of each partial that is noise.
    pitch : ndarray, shape (n - 1,)
        Pitch between the moments, near enough that no partial is half a turn off [Hz].
    hop : float
        Time from one moment to the next [s].

    Returns
    -------
    turn : ndarray, shape (n - 1,)
        [rad].
    spread : ndarray, shape (n - 1,)
        Variance of `turn` judged from how far the partials disagree [rad²].
    """
    number = np.arange(1, PARTIALS + 1)
    product = partials[1:] * partials[:-1].conj()
    expected = 2 * np.pi * hop * pitch
    off = _within_half_turn(np.angle(product) - expected[:, None] * number)
    power = np.abs(product)
    weight = number**2 * power * (power / (power + noise[1:, None] + noise[:-1, None] + 1e-30)) ** 2
    low = weight[:, :_LOW_PARTIALS]
    first = (low * off[:, :_LOW_PARTIALS] / number[:_LOW_PARTIALS]).sum(axis=1)
    first /= low.sum(axis=1) + 1e-30
    each = _within_half_turn(off - number * first[:, None]) / number
    total = weight.sum(axis=1) + 1e-30
    mean = (weight * each).sum(axis=1) / total
    # Effective number of independent partials less one, at least one.
    several = np.maximum(total**2 / ((weight**2).sum(axis=1) + 1e-30) - 1, 1)
    spread = (weight * (each - mean[:, None]) ** 2).sum(axis=1) / total / several
    return expected + first + mean, spread


def _within_half_turn(angle: NDArray[np.float64]) -> NDArray[np.float64]:
    """Take whole turns off, which leaves -π to π."""
    return angle - 2 * np.pi * np.rint(angle / (2 * np.pi))
