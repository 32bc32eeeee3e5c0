"""Pitch of a sound, frame by frame.

Two steps. The coarse one asks for each 30 ms where the sound repeats itself and picks the
likeliest path; a weak fundamental does not mislead it, and octave errors in noise are rare. The
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
from crowlight.listen.periodicity import Candidates, candidates, frames_of, joined
from crowlight.listen.phases import PARTIALS, partials_at, turn_between, window_length
from crowlight.listen.slope import steady_slope

__all__ = ["HIGHEST", "LOWEST", "PitchTrack", "track_pitch"]

LOWEST = 140.0
"""Lowest pitch looked for [Hz]: below the cor anglais's low E flat at A = 430."""
HIGHEST = 1800.0
"""Highest pitch looked for [Hz]: above the oboe's G6 at A = 450."""

WINDOW = 0.030  # of the coarse step [s]
SHORTEST = 0.006  # window of the fine step [s]
FINE_HOP = 0.0025  # [s]
_AT_ONCE = 1024  # frames worked on together; about what a cache holds
SLOW_RATE = 14_000  # at least this many samples per second are kept
TRUSTED = 0.35  # share of the power that must repeat


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
        Samples, full scale = 1; the loudest channel is taken. At least 60 ms.
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
    if samples.size < 2 * WINDOW * rate:
        msg = f"sound lasts {samples.size / rate:.3f} s; at least {2 * WINDOW} s are needed"
        raise InputError(msg)
    step = max(1, int(rate // SLOW_RATE))
    slow = decimate(samples, step)
    slow_rate = rate / step
    finer = max(1, round(hop / FINE_HOP))
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
    hop = fine_hop * finer
    count = 1 + (slow.size - 1) // hop
    heard, square = _coarse(slow, rate, hop, count, within, lambda done: report(0.6 * done))
    chosen = np.arange(count), best_path(heard)
    rough, clear = heard.pitch[chosen], heard.height[chosen]

    near = _between(rough, finer)
    partials, gain = _fine(
        slow, rate, fine_hop, near, within[0], lambda done: report(0.6 + 0.4 * done)
    )
    # White noise up to half the rate of which the coarse step heard about 4.5 kHz.
    noise = np.repeat((1 - clear) * heard.power * rate / 9000, finer)[: near.size]
    pitch = _refine(partials, noise * gain, near, fine_hop / rate)[::finer]
    astray = np.abs(np.log2(np.maximum(pitch, 1.0) / rough)) > 1 / 12
    pitch = np.where(astray, rough, pitch)
    return PitchTrack(
        time=np.arange(count) * hop / rate,
        pitch=np.where(clear >= TRUSTED, pitch, np.nan),
        clarity=clear,
        level=10 * np.log10(square + 1e-20),
        hop=hop / rate,
    )


def _in_silence(slow: NDArray[np.float32], length: int) -> NDArray[np.float32]:
    """Put `length` zeros before and after the sound."""
    silence = np.zeros(length, np.float32)
    return np.concatenate([silence, slow, silence])


def _coarse(
    slow: NDArray[np.float32],
    rate: float,
    hop: int,
    count: int,
    within: tuple[float, float],
    report: Callable[[float], None],
) -> tuple[Candidates, NDArray[np.float64]]:
    """Candidates and mean square of every coarse frame."""
    length = 2 * round(WINDOW * rate / 2)
    frames = frames_of(_in_silence(slow, length // 2), length, hop)
    found: list[Candidates] = []
    square = np.empty(count)
    for start in range(0, count, _AT_ONCE):
        some = frames[start : min(start + _AT_ONCE, count)]
        found.append(candidates(some, rate, lowest=within[0], highest=within[1]))
        square[start : start + len(some)] = np.einsum("ij,ij->i", some, some) / length
        report(min(1.0, (start + _AT_ONCE) / count))
    return joined(found), square


def _fine(
    slow: NDArray[np.float32],
    rate: float,
    hop: int,
    near: NDArray[np.float64],
    lowest: float,
    report: Callable[[float], None],
) -> tuple[NDArray[np.complex64], NDArray[np.float64]]:
    """Read the partials at every fine moment, and the noise gain of their windows."""
    longest = float(window_length(np.array(lowest), SHORTEST))
    length = 2 * (int(np.ceil(longest * rate / 2)) + 1)
    frames = frames_of(_in_silence(slow, length // 2), length, hop)
    partials = np.empty((near.size, PARTIALS), np.complex64)
    gain = np.empty(near.size)
    for start in range(0, near.size, _AT_ONCE):
        rows = slice(start, min(start + _AT_ONCE, near.size))
        partials[rows], gain[rows] = partials_at(frames[rows], rate, near[rows], shortest=SHORTEST)
        report(min(1.0, (start + _AT_ONCE) / near.size))
    return partials, gain


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
    length = window_length(near, SHORTEST) / hop
    return steady_slope(phase, _around(spread), length) / (2 * np.pi * hop)


def _around(spread: NDArray[np.float64]) -> NDArray[np.float64]:
    """Mean of a turn's variance over 50 ms around each moment."""
    reach = min(10, spread.size - 1)
    ends = np.full(reach, spread[0]), np.full(reach, spread[-1])
    total = np.cumsum(np.concatenate([[0.0], ends[0], spread, ends[1]]))
    smooth = (total[2 * reach + 1 :] - total[: -2 * reach - 1]) / (2 * reach + 1)
    return np.concatenate([smooth[:1], smooth])
