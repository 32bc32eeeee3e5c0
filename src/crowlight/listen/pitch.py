"""Pitch of a sound, frame by frame.

Two steps. The coarse one asks for each 30 ms where the sound repeats itself and picks the
likeliest path; it cannot be fooled by a weak fundamental and does not jump octaves in noise. The
fine one follows the phases of the partials every few milliseconds from the coarse pitch on and
takes their slope over as long a stretch as the pitch stays put.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from crowlight.errors import InputError
from crowlight.listen.decimate import as_mono, decimate
from crowlight.listen.path import best_path
from crowlight.listen.periodicity import candidates, frames_of
from crowlight.listen.phases import PARTIALS, partials_at, turn_between, window_length
from crowlight.listen.slope import steady_slope

__all__ = ["HIGHEST", "LOWEST", "PitchTrack", "track_pitch"]

LOWEST = 140.0
"""Lowest pitch looked for [Hz]: below the cor anglais's low E flat at A = 430."""
HIGHEST = 1800.0
"""Highest pitch looked for [Hz]: above the oboe's G6 at A = 450."""

_WINDOW = 0.030  # of the coarse step [s]
_SHORTEST = 0.006  # window of the fine step [s]
_FINE_HOP = 0.0025  # [s]
_AT_ONCE = 2000  # frames held in memory
_SLOW_RATE = 14_000  # at least this many samples per second are kept
_TRUSTED = 0.35  # share of the power that must repeat


@dataclass(frozen=True, slots=True, eq=False)
class PitchTrack:
    """Pitch over time.

    Parameters
    ----------
    time : ndarray, shape (n,)
        Middle of each frame, from the first sample [s]; evenly spaced.
    pitch : ndarray, shape (n,)
        [Hz]; NaN where less than 0.35 of the power repeats: no pitch to trust.
    clarity : ndarray, shape (n,)
        Share of the power below 6 kHz that repeats with the period; 0 to 1.
    level : ndarray, shape (n,)
        Root mean square of the frame [dB re full scale]; -200 for silence.
    hop : float
        Time between frames [s].
    """

    time: NDArray[np.float64]
    pitch: NDArray[np.float64]
    clarity: NDArray[np.float64]
    level: NDArray[np.float64]
    hop: float


def track_pitch(
    sound: ArrayLike,
    rate: float,
    *,
    lowest: float = LOWEST,
    highest: float = HIGHEST,
    hop: float = 0.010,
    report: Callable[[float], None] | None = None,
) -> PitchTrack:
    """Follow the pitch of a sound.

    Parameters
    ----------
    sound : array_like, shape (n,) or (n, channels)
        Samples, full scale = 1; channels are averaged. At least 60 ms.
    rate : float
        [1/s]; at least 8,000.
    lowest, highest : float
        Range looked for [Hz]; 60 <= lowest < highest <= 4,000.
    hop : float
        Time between frames [s]; 2 to 20 ms. Rounded to whole samples, see `PitchTrack.hop`.
    report : callable, optional
        Told the fraction done; may raise `Cancelled`.

    Returns
    -------
    PitchTrack

    Raises
    ------
    InputError
        Where a value cannot be right.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(48_000) / 48_000
    >>> track = track_pitch(np.sin(2 * np.pi * 442 * t), 48_000)
    >>> round(float(np.median(track.pitch)), 3)
    442.0
    """
    if not 60 <= lowest < highest <= 4000:
        msg = f"lowest = {lowest} Hz and highest = {highest} Hz must lie between 60 and 4,000"
        raise InputError(msg + " in this order")
    if not 0.002 <= hop <= 0.020:
        msg = f"hop = {hop} s must be 0.002 to 0.020; a hop of 0.010 suits notes"
        raise InputError(msg)
    samples = as_mono(sound, rate)
    if samples.size < 2 * _WINDOW * rate:
        msg = f"sound lasts {samples.size / rate:.3f} s; at least {2 * _WINDOW} s are needed"
        raise InputError(msg)
    step = max(1, int(rate // _SLOW_RATE))
    slow = decimate(samples, step)
    slow_rate = rate / step
    finer = max(1, round(hop / _FINE_HOP))
    fine_hop = max(1, round(hop * slow_rate / finer))
    return _track(slow, slow_rate, fine_hop, finer, (lowest, highest), report or _nobody)


def _nobody(fraction: float) -> None:
    """Report to nobody."""


def _track(
    slow: NDArray[np.float32],
    rate: float,
    fine_hop: int,
    finer: int,
    within: tuple[float, float],
    report: Callable[[float], None],
) -> PitchTrack:
    """Both steps on the decimated sound; `finer` fine hops [samples] make one coarse hop."""
    lowest, highest = within
    hop = fine_hop * finer
    coarse_length = 2 * round(_WINDOW * rate / 2)
    fine_length = 2 * round((max(3 / lowest, _SHORTEST + 1 / lowest) * rate + 2) / 2)
    pad = max(coarse_length, fine_length) // 2
    padded = np.concatenate([np.zeros(pad, np.float32), slow, np.zeros(pad + 1, np.float32)])

    frames = frames_of(padded[pad - coarse_length // 2 :], coarse_length, hop)
    count = 1 + (slow.size - 1) // hop
    coarse, clarity, power, level = [], [], [], []
    for start in range(0, count, _AT_ONCE):
        some = frames[start : min(start + _AT_ONCE, count)]
        found = candidates(some, rate, lowest=lowest, highest=highest)
        row = np.arange(len(some))
        chosen = best_path(found)
        coarse.append(found.pitch[row, chosen])
        clarity.append(found.height[row, chosen])
        power.append(found.power)
        level.append(np.einsum("ij,ij->i", some, some) / coarse_length)
        report(0.6 * min(1.0, (start + _AT_ONCE) / count))
    rough, clear = np.concatenate(coarse), np.concatenate(clarity)

    fine_count = (count - 1) * finer + 1
    near = _between(rough, finer)
    fine_frames = frames_of(padded[pad - fine_length // 2 :], fine_length, fine_hop)
    partials = np.empty((fine_count, PARTIALS), np.complex64)
    gain = np.empty(fine_count)
    for start in range(0, fine_count, _AT_ONCE):
        rows = slice(start, min(start + _AT_ONCE, fine_count))
        partials[rows], gain[rows] = partials_at(
            fine_frames[rows], rate, near[rows], shortest=_SHORTEST
        )
        report(0.6 + 0.4 * min(1.0, (start + _AT_ONCE) / fine_count))
    # White noise up to half the rate of which the coarse step heard about 4.5 kHz.
    noise = np.repeat((1 - clear) * np.concatenate(power) * rate / 9000, finer)[:fine_count]
    pitch = _refine(partials, noise * gain, near, fine_hop / rate)[::finer]
    astray = np.abs(np.log2(np.maximum(pitch, 1.0) / rough)) > 1 / 12
    pitch = np.where(astray, rough, pitch)
    return PitchTrack(
        time=np.arange(count) * hop / rate,
        pitch=np.where(clear >= _TRUSTED, pitch, np.nan),
        clarity=clear,
        level=10 * np.log10(np.concatenate(level).astype(np.float64) + 1e-20),
        hop=hop / rate,
    )


def _between(rough: NDArray[np.float64], finer: int) -> NDArray[np.float64]:
    """Coarse pitch at the fine moments: straight lines, but no ramp across a new note."""
    at = np.arange((rough.size - 1) * finer + 1) / finer
    before = np.floor(at).astype(np.intp)
    after = np.minimum(before + 1, rough.size - 1)
    share = at - before
    nearest = np.where(share < 0.5, rough[before], rough[after])
    line = rough[before] * (1 - share) + rough[after] * share
    leap = np.abs(np.log2(rough[after] / rough[before])) > 1 / 12
    return np.where(leap, nearest, line)


def _refine(
    partials: NDArray[np.complex64],
    noise: NDArray[np.float64],
    near: NDArray[np.float64],
    hop: float,
) -> NDArray[np.float64]:
    """Pitch at every fine moment from the phases of the partials."""
    if near.size < 2:
        return near
    leap = np.abs(np.log2(near[1:] / near[:-1])) > 1 / 12
    middle = np.where(leap, near[1:], 0.5 * (near[1:] + near[:-1]))
    turn, spread = turn_between(partials, noise, middle, hop)
    phase = np.concatenate([[0.0], np.cumsum(turn)])
    length = window_length(near, _SHORTEST) / hop
    return steady_slope(phase, _around(spread), length) / (2 * np.pi * hop)


def _around(spread: NDArray[np.float64]) -> NDArray[np.float64]:
    """Mean of a turn's variance over 50 ms around each moment."""
    reach = min(10, spread.size - 1)
    total = np.concatenate([[0.0], np.cumsum(np.pad(spread, reach, mode="edge"))])
    smooth = (total[2 * reach + 1 :] - total[: -2 * reach - 1]) / (2 * reach + 1)
    return np.concatenate([smooth[:1], smooth])
